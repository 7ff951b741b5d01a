"""One recommendation for a calibration interval, by the rule that accepts the instrument (ILAC-G24:2007 / OIML D 10; from memory).

What an instrument will be found with at the end of a time tau is what it was left with, l, and a change of unknown sign. At an
indication with the limit L, in shares of it:

    s^2    = (sum q_j own + w mean(q_j family)) T/(m + w),  q_j = mean over the indications of (d_j/L)^2/t_j,  w = min(n, 10)
    u(tau) = s max(sqrt(tau/T), tau/T)                       T: mean interval of all that count
    P(tau) = F((g - l)/u) - F((-g - l)/u),  g = 1 - U/L      F: Student's t with m + w degrees of freedom; U where the rule has it

d_j are changes over m own and n other intervals t_j, as found against as left before; l = 0 where the corrected value is judged.
The reliability is the least P of the indications, and proposed is the longest step at which it is not below the target, none
longer than twice the present interval: a history says little about longer times (common practice, no source). With fewer than
three changes nothing is proposed, since a spread from two says little; with fewer than ten a review lengthens by one step.

Where the present interval fails, and what the instrument was left with is a reason for it, that error is what has to go: it is
adjusted, or its corrected value is accepted.

Decision (2026-11-29): one recommendation, by a spread that own and family's changes share, with the law of growth that flows take
for their stability. Options, tried on simulated fleets of known drift (`tests/intervals`): the line through the errors with its
rate (moves by more than a step in 8 % of the reviews, 27 % where an instrument is alone); own changes alone (6 %, and 12 % where
the proposal is below twice the present interval); the family's in full (an instrument that drifts more than its family is found
out of tolerance more often than stated); a shorter interval instead of an adjustment wherever one would do (6 % move by more than
a step, since what is left changes at each calibration). A weight of ten lets an instrument's own history rule after ten
intervals. Cost: a drift that all of a family share is taken as of either sign, and the stated reliability is then lower than what
is found.

Decision (2026-11-29): weak evidence lengthens an interval by one step a review. Of instruments that are alone in their family
14 % of the proposals moved by more than a step with one more certificate, most of them from "keep" (two changes) to twice the
interval (three). Options, on fleets of one instrument: as it was (14 %); one step with fewer than five changes (5.3 %), with fewer
than ten (4.2 % of 600, 4.8 % of 2,500), always (4.2 %, but a family of known drift then takes two reviews for what it shows at
once: 1.15 instead of 1.38 of the present interval over all fleets). Found in tolerance stays above what is stated (98.2 and
97.2 %). Cost: an instrument alone reaches twice its interval in the second review.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from calib.arrays import Floats
from calib.confirmation.history import MONTHS_IN_A_YEAR, Changes
from calib.counted import count_of

KEEP, LENGTHEN, SHORTEN = "keep", "lengthen", "shorten"
ADJUST, ACCEPT_CORRECTED = "adjust", "accept on the corrected value"

STEPS = (1, 2, 3, 4, 6, 9, 12, 18, 24, 36, 48, 60, 84, 120)  # [months], common practice, no source
_LONGEST = 2  # present intervals
_FAMILY_COUNTS = 10  # changes of others, at most as many as these
_FEWEST_CHANGES = 3
# A value on the limit is inside; binary floats must not decide it.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Spread:
    """How much errors change, in shares of their limits."""

    per_interval: float  # s
    mean_interval: float  # T [years]
    own: int  # m
    family: int  # n

    @property
    def degrees_of_freedom(self) -> float:
        """m + w."""
        return float(self.own + min(self.family, _FAMILY_COUNTS))

    def of_change(self, years: float) -> float:
        """u(tau) at a time since the calibration [years]."""
        share = years / self.mean_interval
        return self.per_interval * max(math.sqrt(share), share)


def spread(own: Changes, others: Sequence[Changes], limit: Floats, least: float = 0.0) -> Spread | None:
    """The spread from changes at p indications and the limits there (p,), not below `least` [shares]; None from fewer than three.

    A limit that is NaN or 0 is left out, and so is a change that no indication with a limit has.
    """
    (own_squares, own_years), (squares, years) = _squares([own], limit), _squares(others, limit)
    weight = min(squares.size, _FAMILY_COUNTS)
    if own_squares.size + weight < _FEWEST_CHANGES:
        return None
    mean_interval = float(np.concatenate([own_years, years]).mean())
    of_family = weight * float(squares.mean()) if squares.size else 0.0
    per_year = (float(own_squares.sum()) + of_family) / (own_squares.size + weight)
    s = max(float(np.sqrt(per_year * mean_interval)), least)
    return Spread(s, mean_interval, own_squares.size, squares.size)


def _squares(changes: Sequence[Changes], limit: Floats) -> tuple[Floats, Floats]:
    """q_j and t_j of the changes that are known somewhere."""
    usable = np.where(limit > 0, limit, np.nan)
    shares = np.concatenate([np.zeros((0, limit.size)), *(each.change / usable for each in changes)])
    years = np.concatenate([np.zeros(0), *(each.years for each in changes)])
    known = np.isfinite(shares)
    some = known.any(axis=1)
    squares = np.where(known, shares, 0.0)[some] ** 2
    return squares.sum(axis=1) / known[some].sum(axis=1) / years[some], years[some]


def reliability(left: Floats, guarded: Floats, known: Spread, years: float) -> Floats:
    """P(tau) at p indications: `left` the error as left, `guarded` the limit less U, in shares of the limit; NaN where unknown."""
    if known.per_interval == 0:
        return np.where(np.isnan(left) | np.isnan(guarded), np.nan, np.abs(left) <= guarded + _ROUNDING).astype(float)
    u, dof = known.of_change(years), known.degrees_of_freedom
    inside = stdtr(dof, (guarded - left) / u) - stdtr(dof, (-guarded - left) / u)
    return np.asarray(np.maximum(inside, 0.0))  # below 0 where U is wider than the limit


@dataclass(frozen=True)
class Recommendation:
    """What is recommended, and why."""

    action: str  # one of the words above
    months: int  # the interval that goes with it
    reliability: float | None  # stated: the fraction in tolerance at its end; absent: not enough is known
    at_present: float | None  # the same at the end of the present interval, as the instrument was left
    why: str
    reason_of_size: str | None = None  # of a proposal shorter than half the present interval


def recommend(
    present: int, target: float, left: Floats, guarded: Floats, known: Spread | None, *, adjustable: bool
) -> Recommendation:
    """The recommendation from what an instrument was left with, in shares of its limits; `adjustable`: it was adjusted before."""
    remedy = ADJUST if adjustable else ACCEPT_CORRECTED
    if not (np.isfinite(left) & np.isfinite(guarded)).any():
        return Recommendation(KEEP, present, None, None, "no error of indication with a limit is on record")
    if known is None:
        if bool(np.nanmax(np.abs(left) - guarded) > _ROUNDING):
            why = "it was left with an error that does not pass, and too few changes are known to speak of its interval"
            return Recommendation(remedy, present, None, None, why)
        why = "fewer than three changes between calibrations are known, of it and its family"
        return Recommendation(KEEP, present, None, None, why)

    def at(months: int, error: Floats) -> float:
        return float(np.nanmin(reliability(error, guarded, known, months / MONTHS_IN_A_YEAR)))

    def longest(error: Floats) -> int:  # 0: none
        steps = {present, *(step for step in STEPS if step <= _longest(present, known))}
        return max((months for months in steps if at(months, error) >= target), default=0)

    at_present = at(present, left)
    as_left, without = longest(left), longest(np.zeros_like(left))
    told = (
        f"{percent_down(at_present)} in tolerance after {_months(present)}, as it was left (wanted: {_percent(target)})"
    )
    if at_present < target and without > as_left:
        months = min(without, present)
        largest = _percent(float(np.nanmax(np.abs(left))))
        why = f"{told}: it was left with up to {largest} of its limit, and would keep {_months(months)} without that error"
        size = _reason_of_size(months, present, known)
        return Recommendation(remedy, months, at(months, np.zeros_like(left)), at_present, why, size)
    months = as_left or STEPS[0]
    if not as_left:
        why = f"{told}; not even {_months(months)} would reach that: its limits are narrower than it keeps"
    else:
        why = told if months == present else f"{told}, {percent_down(at(months, left))} after {_months(months)}"
        if months > present and known.degrees_of_freedom < _FAMILY_COUNTS:
            why += f": one step a review, since {_changes_known(known)}"
    action = LENGTHEN if months > present else SHORTEN if months < present else KEEP
    return Recommendation(action, months, at(months, left), at_present, why, _reason_of_size(months, present, known))


def _longest(present: int, known: Spread) -> int:
    """What a review proposes at most: with weak evidence the next step."""
    if known.degrees_of_freedom < _FAMILY_COUNTS:
        return next((step for step in STEPS if step > present), present)
    return _LONGEST * present


def _reason_of_size(months: int, present: int, known: Spread) -> str | None:
    if 2 * months >= present:
        return None
    spread_then = _percent(known.of_change(present / MONTHS_IN_A_YEAR))
    return (
        f"Shorter than half the present interval, since errors change by {spread_then} of their limits (one standard "
        f"deviation) in {_months(present)}."
    )


def _changes_known(known: Spread) -> str:
    count = round(known.degrees_of_freedom)
    return f"{count_of(count, 'change is', 'changes are')} known, fewer than {_FAMILY_COUNTS}"


def _percent(fraction: float) -> str:
    return f"{100 * fraction:.3g} %"


def percent_down(fraction: float) -> str:
    """A fraction as percent with a decimal, rounded down: what is below a target is not printed as the target."""
    return f"{math.floor(1000 * fraction + _ROUNDING) / 10:g} %"


def _months(count: int) -> str:
    return count_of(count, "month", "months")
