"""Kinds of risk that decisions have, as every answer that counts them says: global where a process holds, else mean specific."""

from collections.abc import Iterator, Sequence

from calib.faces.written import Content

KINDS_OF_RISK = ("global", "mean_specific")


def kinds_told(decisions: Sequence[Content]) -> list[str]:
    """The kinds of which any decision has one."""
    return [kind for kind in KINDS_OF_RISK if any(each[f"{kind}_consumer_risk"] is not None for each in decisions)]


def risks_told(decision: Content, kinds: Sequence[str]) -> Iterator[float | None]:
    """Consumer's and producer's risk of each kind; None where the decision has none."""
    return (decision[f"{kind}_{whose}_risk"] for kind in kinds for whose in ("consumer", "producer"))
