"""The review of a calibration interval, as `calib interval review` answers."""

import math
from dataclasses import asdict
from shlex import quote

from calib.arrays import finite
from calib.confirmation.drift import Drift
from calib.confirmation.history import MONTHS_IN_A_YEAR, CalibrationErrors, ErrorPoints
from calib.confirmation.recommendation import ACCEPT_CORRECTED, ADJUST, KEEP, LENGTHEN, SHORTEN, percent_down
from calib.confirmation.reliability import FoundInterval
from calib.confirmation.words import CORRECTED, INDICATION
from calib.counted import count_of
from calib.faces.plain_text import one_line, table_text, wrapped, wrapped_lines
from calib.faces.written import Content, figure_text
from calib.procedures.fleet.interval_review import IntervalReview
from calib.quantities import Unit, unit

_K = 2.0  # of the U beside each error


def register_unit(review: IntervalReview) -> Unit:
    """Unit of the register, in which the review is printed."""
    return unit(review.instrument.indicated, review.instrument.unit)


def document(review: IntervalReview) -> Content:
    """A review, unrounded, in the unit of the register."""
    own = register_unit(review)
    return {
        "tag": review.instrument.tag,
        "on": str(review.on),
        "interval_months": review.present,
        "target": review.target,
        "judged": review.judged,
        "unit": own.symbol,
        "calibrations": [_calibration(each) for each in review.history],
        "points": [_point(review, place, own) for place in range(len(review.points))],
        "stability_counts": review.counts,
        "family": _family(review),
        "decision_rule": review.rule,
        "spread": None if review.spread is None else asdict(review.spread),
        "recommendation": asdict(review.recommendation),
        "to_record": to_record(review),
    }


def to_record(review: IntervalReview) -> str | None:
    """The command that would record the recommended interval; None where it is the one in force."""
    months = review.recommendation.months
    if months == review.present:
        return None
    return f'calib interval set {quote(review.instrument.tag)} {months} --reason "..."'


def _calibration(calibration: CalibrationErrors) -> Content:
    return {
        "calibrated_on": str(calibration.on),
        "certificate": calibration.certificate,
        "laboratory": calibration.laboratory,
        "accepted": calibration.accepted,
        "as_found": calibration.as_found is not None,
        "adjusted": calibration.adjusted,
        "repaired_before": calibration.repaired_before,
    }


def _point(review: IntervalReview, place: int, own: Unit) -> Content:
    point, stability = review.points[place], review.stability
    return {
        "indication": float(own.from_si(point.indication)),
        "maximum_permissible_error": difference(own, point.limit),
        "corrected_for": difference(own, point.corrected),
        "as_found": [None if error is None else error_of(own, error) for error in point.as_found],
        "as_left": [error_of(own, error) for error in point.as_left],
        "drift": _drift(own, point.line, point.reached_by_line),
        "changes": _drift(own, point.wandering, point.reached_by_changes),
        "in_tolerance": finite(float(review.at_present[place])),
        "stability": {
            "intervals": int(stability.intervals[place]),
            "per_interval": difference(own, float(stability.per_interval[place])),
            "mean_interval_months": finite(MONTHS_IN_A_YEAR * float(stability.mean_interval[place])),
            "degrees_of_freedom": finite(float(stability.degrees_of_freedom[place])),
        },
    }


def error_of(own: Unit, error: ErrorPoints) -> Content:
    """An error of indication with its expanded uncertainty, in a unit."""
    u = math.hypot(float(error.independent), float(error.reference))
    return {"error": difference(own, float(error.error)), "expanded_uncertainty": difference(own, _K * u)}


def _drift(own: Unit, drift: Drift | None, reached: float | None) -> Content | None:
    if drift is None:
        return None
    return {
        "rate_per_year": difference(own, drift.rate),
        "band_of_rate": difference(own, drift.rate_band),
        "coverage_factor": drift.coverage_factor,
        "degrees_of_freedom": finite(drift.degrees_of_freedom),
        "calibrations": drift.calibrations,
        "months_to_limit": None if reached is None else MONTHS_IN_A_YEAR * reached,
    }


def _family(review: IntervalReview) -> Content:
    rate = review.rate
    return {
        "kind": review.instrument.kind,
        "maker": review.instrument.maker,
        "model": review.instrument.model,
        "intervals": [_interval(each) for each in review.family],
        "at_present_interval": None if review.proportion is None else asdict(review.proportion),
        "rate_per_month": None
        if rate is None
        else {"estimate": finite(rate.estimate), "low": rate.low, "high": finite(rate.high)},
    }


def _interval(interval: FoundInterval) -> Content:
    return {
        "tag": interval.tag,
        "certificate": interval.certificate,
        "months": interval.months,
        "in_tolerance": interval.in_tolerance,
    }


def difference(own: Unit, value: float) -> float | None:
    """A difference [SI] in a unit; None where there is none."""
    return finite(float(own.difference_from_si(value)))


# --- for people ------------------------------------------------------------------------------------------------------------------


def text(answer: Content) -> str:
    """The same for people."""
    tables = [table_text(*history_table(answer)), "", table_text(*drift_table(answer))] if answer["points"] else []
    recorded = [
        f"  nothing is changed; it would be recorded by: {command}" for command in [answer["to_record"]] if command
    ]
    action, *why = recommended_lines(answer)
    said = wrapped_lines([f"recommended: {action}", *(f"  {line}" for line in why), *recorded])
    notes = wrapped_lines(note_lines(answer)) if tables else []
    return "\n".join([head_line(answer), *said, "", *tables, *notes, *wrapped(family_line(answer))])


def history_table(answer: Content) -> tuple[list[str], list[list[str]]]:
    """Errors as found, U beside them, one column for each calibration: headings and rows."""
    header = [f"indication [{answer['unit']}]", *(each["calibrated_on"] for each in answer["calibrations"]), "mpe"]
    rows = [
        [
            f"{point['indication']:.6g}",
            *(_found_text(error, left) for error, left in zip(point["as_found"], point["as_left"], strict=True)),
            _plus_minus(point["maximum_permissible_error"]),
        ]
        for point in answer["points"]
    ]
    return header, rows


def _found_text(as_found: Content | None, as_left: Content) -> str:
    return f"left {_error_text(as_left)}" if as_found is None else _error_text(as_found)


def _error_text(error: Content) -> str:
    return "-" if error["error"] is None else f"{error['error']:+.3g} ± {error['expanded_uncertainty']:.2g}"


def drift_table(answer: Content) -> tuple[list[str], list[list[str]]]:
    """Drift and stability at each indication: headings and rows."""
    header = [
        f"indication [{answer['unit']}]", "drift per year", "by changes", "s per interval", "intervals", "in tolerance",
    ]  # fmt: skip
    rows = [
        [
            f"{point['indication']:.6g}",
            _rate_text(point["drift"]),
            _rate_text(point["changes"]),
            figure_text(point["stability"]["per_interval"], ".2g"),
            str(point["stability"]["intervals"]),
            "-" if point["in_tolerance"] is None else percent_down(point["in_tolerance"]),
        ]
        for point in answer["points"]
    ]
    return header, rows


def _rate_text(drift: Content | None) -> str:
    return "-" if drift is None else f"{drift['rate_per_year']:+.2g} ± {drift['band_of_rate']:.2g}"


def _plus_minus(limit: float | None) -> str:
    return "none" if limit is None else f"± {limit:.2g}"


def head_line(answer: Content) -> str:
    """The interval in force, and how many calibrations speak of it."""
    count = len(answer["calibrations"])
    waiting = [each["certificate"] for each in answer["calibrations"] if not each["accepted"]]
    counted = count_of(count, "calibration", "calibrations")
    told = f"{answer['tag']} on {answer['on']}: interval in force {answer['interval_months']} months, {counted}"
    return told + (f" (not accepted: {', '.join(one_line(each) for each in waiting)})" if waiting else "")


_JUDGED = {
    INDICATION: "the error of the indication",
    CORRECTED: "the error of the corrected value: what the error changed by since the last calibration",
}


def note_lines(answer: Content) -> list[str]:
    """What the tables state, and what was judged."""
    lines = [
        "Errors of indication as found, U with k = 2; mpe: the maximum permissible error.",
        "Drift by the line through them: band at k = 2, or Student's t where the errors scatter by more than their U.",
        "By changes: from one calibration to the next, Student's t.",
        "In tolerance: the probability at the end of the interval in force, as it was left.",
        f"Judged is {_JUDGED[answer['judged']]}, by the rule {answer['decision_rule']}.",
    ]
    counts = "take their stability from s" if answer["stability_counts"] else "take their stability from limits"
    lines.append(f"Readings with the latest accepted calibration {counts}; history counts from three intervals on.")
    return lines


_ACTIONS = {
    KEEP: "keep the interval of {}",
    LENGTHEN: "lengthen the interval to {}",
    SHORTEN: "shorten the interval to {}",
    ADJUST: "adjust it; then {}",
    ACCEPT_CORRECTED: "accept it on the corrected value, or have it adjusted; then {}",
}


def recommended_lines(answer: Content) -> list[str]:
    """What is recommended, and why."""
    said = answer["recommendation"]
    return [
        _ACTIONS[said["action"]].format(count_of(said["months"], "month", "months")),
        *([] if said["reliability"] is None else [f"{percent_down(said['reliability'])} in tolerance at its end"]),
        said["why"],
        *([] if said["reason_of_size"] is None else [said["reason_of_size"]]),
    ]


def family_line(answer: Content) -> str:
    """Of how many intervals of instruments made alike the end was found in tolerance."""
    family = answer["family"]
    tags = sorted({each["tag"] for each in family["intervals"]})
    passed = sum(each["in_tolerance"] for each in family["intervals"])
    return (
        f"Family: {one_line(family['kind'])}, {one_line(family['maker'])} {one_line(family['model'])}: {passed} of "
        f"{count_of(len(family['intervals']), 'interval', 'intervals')} ended in tolerance ({', '.join(tags) or 'none on record'})."
    )
