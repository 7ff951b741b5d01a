"""What a traverse tells of its own profile: whether the place is fit to be measured at.

Every rule of positions supposes a profile without a jet or a wake, and low pressures are lost in the resolution of the
manometer. What is judged here does not enter the flow: it is said beside it.

Three quarters of the velocity pressures above a tenth of the largest: common practice, no source. The limits of skew and
peak ratio are this program's own choice: fully developed turbulent flow has no skew, and a peak ratio near 1.2 (round) to
1.3 (rectangular).
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from calib.airflow.traverse import TraversePlace, mean_velocity
from calib.arrays import Floats
from calib.errors import CalibError

LOW_PRESSURE = 0.1  # of the largest velocity pressure
MOST_LOW = 0.25  # of the points
MOST_SKEW = 0.3  # of the mean velocity
MOST_PEAK = 1.5


@dataclass(frozen=True)
class Profile:
    """Figures of a velocity profile and what stands out in it."""

    low_share: float  # share of the points whose velocity pressure is below a tenth of the largest [1]
    skew_across: (
        float | None
    )  # (mean of the right half - mean of the left half)/mean [1]; absent: no flow, or no point in a half
    skew_up: float | None  # (mean of the upper half - mean of the lower half)/mean [1]; absent as above
    peak_ratio: float | None  # largest velocity/mean velocity [1]; absent where there is no flow
    nonpositive: int  # points without a velocity pressure above 0
    findings: tuple[str, ...]  # in plain words; empty: nothing stands out
    below: tuple[TraversePlace, ...] = ()  # points below the lowest comparison of the instrument


def judge_profile(
    points: Sequence[TraversePlace], velocity: Floats, nonpositive: int, below: Sequence[TraversePlace] = ()
) -> Profile:
    """Judge a profile from its points and their velocities (P,) [m/s].

    A velocity pressure goes with the square of the velocity, so a tenth of the largest is a velocity below 0.316 of the largest.
    `nonpositive` is the number of points whose velocity pressure was 0 or negative; velocities of 0 and below count in any case.
    `below` are the points below the lowest comparison of the instrument, which are named.
    Raises CalibError where velocities and points differ in number, or a velocity is no finite number.
    """
    v = np.asarray(velocity, dtype=float)
    if not np.isfinite(v).all():
        raise CalibError("a velocity of a traverse is no finite number: leave no point out")
    weight = np.array([point.weight for point in points])
    mean, largest = float(mean_velocity(v, weight)), float(v.max())
    flowing = mean > 0
    without = max(nonpositive, int((v <= 0).sum()))
    low = float((v < math.sqrt(LOW_PRESSURE) * largest).mean()) if largest > 0 else 1.0
    across = _skew(np.array([point.x for point in points]), v, weight) if flowing else None
    up = _skew(np.array([point.y for point in points]), v, weight) if flowing else None
    peak = largest / mean if flowing else None
    findings = (*_findings(low, across, up, peak, without, len(points)), *_below(below, len(points)))
    return Profile(low, across, up, peak, without, findings, tuple(below))


def _skew(place: Floats, v: Floats, weight: Floats) -> float | None:
    """Difference of the means of the two halves, over the mean; points on the middle line belong to neither."""
    middle = place @ weight  # as every rule is symmetric
    side = np.where(np.isclose(place, middle), 0, np.sign(place - middle))
    if not side.any():
        return None
    after, before = (float(np.average(v[side == half], weights=weight[side == half])) for half in (1, -1))
    return (after - before) / float(v @ weight)


def _findings(
    low: float, across: float | None, up: float | None, peak: float | None, without: int, count: int
) -> Iterator[str]:
    if peak is None:
        yield "the mean velocity is not above 0: there is no flow in the direction of the probe"
        return
    if without:
        yield f"{without} of {count} points without a velocity pressure above 0: the flow turns back or is too slow there"
    if low > MOST_LOW:
        yield (
            f"{low:.0%} of the velocity pressures are below a tenth of the largest (at most {MOST_LOW:.0%} is usual): "
            "look for a longer straight run"
        )
    yield from _skewed(across or 0.0, "right", "left")
    yield from _skewed(up or 0.0, "upper", "lower")
    if peak > MOST_PEAK:
        yield f"the largest velocity is {peak:.2f} times the mean (above {MOST_PEAK:g}): a jet, or a profile not developed"


def _below(below: Sequence[TraversePlace], count: int) -> Iterator[str]:
    if below:
        named = ", ".join(f"line {place.line} point {place.point}" for place in below)
        yield f"{len(below)} of {count} points below the lowest comparison ({named}): the correction there is held"


def _skewed(skew: float, after: str, before: str) -> Iterator[str]:
    for faster, half in ((skew, after), (-skew, before)):
        if faster > MOST_SKEW:
            yield (
                f"the {half} half is faster than the other by {faster:.0%} of the mean (above {MOST_SKEW:.0%}): "
                "look for a bend or damper close by"
            )
