"""The small picture beside a flow's share of its design: the flow with its U on the band of what is allowed."""

from collections.abc import Iterator, Sequence

from calib.faces.report.blocks import Bar
from calib.faces.written import Content, flow_limits_of

_REACHES = (20.0, 30.0, 50.0, 100.0)  # from the design [%]
_BESIDE_LIMITS = 1.4  # a reach to the widest tolerance, so that what lies outside is seen


def reach_of(stated: Sequence[Content]) -> float:
    """How far from the design the bars of these flows and totals reach [%]: beyond the widest tolerance, all on one scale."""
    widest = max((side for each in stated if each["design"] for side in _sides(each["design"])), default=0.0)
    return next((reach for reach in _REACHES if reach >= _BESIDE_LIMITS * widest), _REACHES[-1])


def _sides(design: Content) -> Iterator[float]:
    """What is allowed below and above the design [%]."""
    if design["value"]:
        yield from (abs(100 * limit / design["value"] - 100) for limit in flow_limits_of(design) if limit is not None)


def bar_of(flow: Content, design: Content, reach: float) -> Bar:
    """The flow as a share of its design with its U, from 100 % - `reach` to 100 % + `reach`."""

    def at(percent: float) -> float:
        return min(1.0, max(0.0, 0.5 + (percent - 100) / (2 * reach)))

    percent = design["percent_of_design"]
    expanded = percent * abs(flow["expanded_uncertainty"] / flow["value"]) if flow["value"] else 0.0
    ends = flow_limits_of(design)
    low, high = (
        otherwise if limit is None else at(100 * limit / design["value"])
        for limit, otherwise in zip(ends, (0.0, 1.0), strict=True)
    )
    return Bar(
        at(percent - expanded),
        at(percent),
        at(percent + expanded),
        None if ends == (None, None) else (low, high),
        is_outside=design["conformity"] in ("fail", "conditional fail"),
    )
