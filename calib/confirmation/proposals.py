"""Proposals for a calibration interval, each by one method with its reason (ILAC-G24:2007 / OIML D 10; from memory).

A proposal changes nothing. Whole calendar months, rounded down, at least one. None goes beyond twice the present interval: a
history says little about times much longer than those it covers (common practice, no source).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calib.confirmation.history import MONTHS_IN_A_YEAR
from calib.confirmation.reliability import FoundInterval, Proportion, Rate, exponential_rate, proportion

_LONGEST = 2  # present intervals

# Simple response: ILAC-G24 names 80 % of the maximum permissible error as an example; the steps are common practice, no source.
_INSIDE = 0.8
_LONGER, _SHORTER = 1.25, 0.5
_WINDOW = 0.2  # intervals that are as long as the present one, within this fraction


@dataclass(frozen=True)
class Proposal:
    """What one method proposes, and why."""

    method: str
    months: int | None  # absent: it has no proposal
    why: str


def by_drift(method: str, present: int, years: Sequence[tuple[float | None, str]]) -> Proposal:
    """The earliest of the times until |error| + band reaches the maximum permissible error, each with its indication (as text)."""
    if not years:
        return Proposal(method, None, "too few calibrations with comparisons as found, or no maximum permissible error")
    reached = [(time, where) for time, where in years if time is not None]
    if not reached:
        return Proposal(
            method, _LONGEST * present, f"|error| + band stays within the maximum permissible error for ten years{_cut}"
        )
    time, where = min(reached)
    months = time * MONTHS_IN_A_YEAR
    text = f"|error| + band reaches the maximum permissible error {months:.1f} months after the last calibration, at {where}"
    return Proposal(method, _whole(months, present), text + _beyond(months, present))


_cut = "; cut to twice the present interval"


def _whole(months: float, present: int) -> int:
    return max(1, min(_LONGEST * present, math.floor(months + 1e-9)))


def _beyond(months: float, present: int) -> str:
    if months < 1:
        return "; a month is the least that is proposed"
    return _cut if months > _LONGEST * present else ""


def by_simple_response(present: int, ended: float, share: float | None) -> Proposal:
    """Staircase: longer after a find well inside the maximum permissible error, shorter after one outside.

    `ended` is the length of the last interval [months], `share` the largest |error|/maximum permissible error found at its end.
    Where it was shorter than the present one by more than a fifth it says nothing for a longer one, and a step down starts there.
    """
    method = "simple response (staircase)"
    if share is None:
        return Proposal(method, None, "no interval ended with comparisons as found, or no maximum permissible error")
    observed = f"largest error as found {100 * share:.0f} % of the maximum permissible error"
    base, after = present, ""
    if ended < (1 - _WINDOW) * present - 1e-9:
        base, after = max(1, round(ended)), f" after {ended:.1f} months, the present interval being longer"
    if share <= _INSIDE and base < present:
        return Proposal(method, None, f"{observed}{after}: that says nothing of {present} months")
    if share <= _INSIDE:
        months = max(present + 1, math.floor(present * _LONGER))
        return Proposal(method, months, f"{observed}, not above {100 * _INSIDE:.0f} %: longer by a quarter")
    if share <= 1:
        return Proposal(method, base, f"{observed}{after}, above {100 * _INSIDE:.0f} % and inside: kept")
    return Proposal(method, max(1, math.floor(base * _SHORTER)), f"{observed}{after}, outside: halved")


def alike(intervals: Sequence[FoundInterval], present: int) -> list[FoundInterval]:
    """Intervals about as long as the present one: within a fifth of it."""
    return [interval for interval in intervals if abs(interval.months - present) <= _WINDOW * present]


def by_proportion(
    present: int, intervals: Sequence[FoundInterval], target: float
) -> tuple[Proposal, Proportion | None]:
    """Fraction of a family found in tolerance after intervals about as long as the present one, against the target."""
    method = "reliability of the family (binomial)"
    used = alike(intervals, present)
    if not used:
        return Proposal(method, None, f"no interval within {100 * _WINDOW:.0f} % of the present one has ended"), None
    in_tolerance = proportion(sum(interval.in_tolerance for interval in used), len(used))
    limits = f"{100 * in_tolerance.low:.0f} to {100 * in_tolerance.high:.0f} % with 95 % confidence"
    text = f"{in_tolerance.passed} of {in_tolerance.count} found in tolerance ({limits})"
    if in_tolerance.high < target:
        months = 0.0 if in_tolerance.passed == 0 else present * math.log(target) / math.log(in_tolerance.fraction)
        shorter = _whole(months, present)
        return Proposal(
            method, shorter, f"{text}: below the target of {100 * target:g} %, shortened by R(t) = exp(-λt)"
        ), in_tolerance
    if in_tolerance.low >= target:
        return Proposal(method, present, f"{text}: the target of {100 * target:g} % is met, kept"), in_tolerance
    return Proposal(method, present, f"{text}: that neither meets nor misses {100 * target:g} %, kept"), in_tolerance


def by_rate(present: int, intervals: Sequence[FoundInterval], target: float) -> tuple[Proposal, Rate | None]:
    """Interval at whose end the target fraction of a family is still in tolerance, by the exponential model."""
    method = "reliability of the family (exponential)"
    if not intervals:
        return Proposal(method, None, "no interval of the family has ended with comparisons as found"), None
    rate = exponential_rate(intervals)
    estimate, shortest, longest = rate.months(target)
    counted = f"{sum(not interval.in_tolerance for interval in intervals)} of {len(intervals)} intervals ended out of tolerance"
    limits = f"with 95 % confidence {shortest:.1f} to {_or_more(longest)} months"
    if math.isinf(estimate):
        why = f"{counted}; {100 * target:g} % in tolerance {limits}: nothing speaks against the present interval, kept"
        return Proposal(method, present, why), rate
    text = f"{counted}; {estimate:.1f} months for {100 * target:g} % in tolerance, {limits}"
    return Proposal(method, _whole(estimate, present), text + _beyond(estimate, present)), rate


def _or_more(months: float) -> str:
    return "any number of" if math.isinf(months) else f"{months:.1f}"


def shortest(proposals: Sequence[Proposal]) -> Proposal | None:
    """The proposal of the fewest months; None where no method has one."""
    return min(
        (proposal for proposal in proposals if proposal.months is not None),
        key=lambda proposal: proposal.months or 0,
        default=None,
    )
