"""The heads of other ledgers that the records keep, as `calib anchor list` answers."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from calib.counted import count_of
from calib.faces.answers.verification import finding_lines, findings_listed
from calib.faces.plain_text import one_line, table_text
from calib.faces.written import Content
from calib.procedures.verify.anchors import LedgerHead
from calib.records.tables.custody import Anchor
from calib.records.verification import LedgerFinding

_COLUMNS = ("records", "sequence", "digest", "time", "reason")


def document(anchors: Sequence[Anchor]) -> Content:
    """Each head with the time at which it was read, and why it was anchored."""
    return {"anchors": [{name: getattr(anchor, name) for name in _COLUMNS} for anchor in anchors]}


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["anchors"]:
        return "no other ledger is anchored here"
    rows = [[str(anchor[name]) for name in _COLUMNS] for anchor in answer["anchors"]]
    return table_text(("records", "entry", "digest", "read at", "reason"), rows)


def added(heads: Sequence[LedgerHead], new: Sequence[LedgerHead], findings: Sequence[LedgerFinding]) -> Content:
    """Heads that were handed in, whether each was written now, and what does not fit those that were kept."""
    return {
        "heads": [asdict(head) | {"written": head in new} for head in heads],
        "findings": findings_listed(findings),
    }


def text_of_added(answer: Content) -> str:
    """The same for people."""
    if answer["findings"]:
        return "\n".join(finding_lines(answer))
    return "\n".join(
        f"{'anchored' if head['written'] else 'anchored already:'} {one_line(head['records'])} at ledger entry "
        f"{head['sequence']}, digest {head['digest']}"
        for head in answer["heads"]
    )


def checked(records: Mapping[str, tuple[Sequence[LedgerHead], Sequence[LedgerFinding]]]) -> Content:
    """Other records by their name: the heads that are kept of them, and what does not fit."""
    return {
        "checked": [
            {"records": name, "anchors": len(heads), "last": asdict(heads[-1]), "findings": findings_listed(findings)}
            for name, (heads, findings) in records.items()
        ]
    }


def text_of_checked(answer: Content) -> str:
    """The same for people."""
    lines = []
    for each in answer["checked"]:
        name, heads = one_line(each["records"]), count_of(each["anchors"], "head", "heads")
        lines += [f"{name}: {line}" for line in finding_lines(each)]
        if not each["findings"]:
            lines.append(f"{name} holds {heads} kept here, the last at ledger entry {each['last']['sequence']}")
    return "\n".join(lines)
