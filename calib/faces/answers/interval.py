"""The review of a calibration interval, as `calib interval` answers: a document for machines, text for people."""

import math
from dataclasses import asdict
from shlex import quote

from calib.confirmation.acceptance import CORRECTED, INDICATION
from calib.confirmation.drift import Drift
from calib.confirmation.history import MONTHS_IN_A_YEAR, CalibrationErrors, ErrorPoints
from calib.confirmation.reliability import FoundInterval
from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.fleet.interval_review import IntervalReview
from calib.quantities import Unit, unit

_K = 2.0  # of the U beside each error


def unit_of(found: IntervalReview) -> Unit:
    """Unit of the register, in which the review is printed."""
    return unit(found.instrument.indicated, found.instrument.unit)


def interval_content(found: IntervalReview) -> Content:
    """A review, unrounded, in the unit of the register."""
    own = unit_of(found)
    return {
        "tag": found.instrument.tag,
        "on": str(found.on),
        "interval_months": found.present,
        "target": found.target,
        "judged": found.judged,
        "unit": own.symbol,
        "calibrations": [_calibration(one) for one in found.history],
        "points": [_point(found, number, own) for number in range(len(found.points))],
        "stability_counts": found.counts,
        "family": _family(found),
        "proposals": [asdict(one) for one in found.proposals],
        "shortest_months": None if found.shortest is None else found.shortest.months,
        "to_record": to_record(found),
    }


def to_record(found: IntervalReview) -> str | None:
    """The command that would record the shortest proposal; None where it is the interval in force, or there is none."""
    if found.shortest is None or found.shortest.months == found.present:
        return None
    return f'calib interval set {quote(found.instrument.tag)} {found.shortest.months} --reason "..."'


def _calibration(one: CalibrationErrors) -> Content:
    return {
        "calibrated_on": str(one.on),
        "certificate": one.certificate,
        "laboratory": one.laboratory,
        "accepted": one.accepted,
        "as_found": one.found is not None,
        "adjusted": one.adjusted,
        "repaired_before": one.repaired_before,
    }


def _point(found: IntervalReview, number: int, own: Unit) -> Content:
    one, seen = found.points[number], found.stability
    s = float(seen.per_interval[number])
    return {
        "indication": float(own.from_si(one.indication)),
        "maximum_permissible_error": difference(own, one.limit),
        "corrected_for": difference(own, one.corrected),
        "as_found": [None if each is None else error_of(own, each) for each in one.found],
        "as_left": [error_of(own, each) for each in one.left],
        "drift": _drift(own, one.line, one.reached_by_line),
        "changes": _drift(own, one.wandering, one.reached_by_changes),
        "stability": {
            "intervals": int(seen.intervals[number]),
            "per_interval": difference(own, s),
            "mean_interval_months": _finite(MONTHS_IN_A_YEAR * float(seen.mean_interval[number])),
            "degrees_of_freedom": _finite(float(seen.degrees_of_freedom[number])),
        },
    }


def error_of(own: Unit, one: ErrorPoints) -> Content:
    """An error of indication with its expanded uncertainty, in a unit."""
    u = math.hypot(float(one.independent), float(one.reference))
    return {"error": difference(own, float(one.error)), "expanded_uncertainty": difference(own, _K * u)}


def _drift(own: Unit, one: Drift | None, reached: float | None) -> Content | None:
    if one is None:
        return None
    return {
        "rate_per_year": difference(own, one.rate),
        "band_of_rate": difference(own, one.rate_band),
        "coverage_factor": one.coverage_factor,
        "degrees_of_freedom": _finite(one.degrees_of_freedom),
        "calibrations": one.calibrations,
        "months_to_limit": None if reached is None else MONTHS_IN_A_YEAR * reached,
    }


def _family(found: IntervalReview) -> Content:
    rate = found.rate
    return {
        "kind": found.instrument.kind,
        "maker": found.instrument.maker,
        "model": found.instrument.model,
        "intervals": [_interval(one) for one in found.family],
        "at_present_interval": None if found.proportion is None else asdict(found.proportion),
        "rate_per_month": None
        if rate is None
        else {"estimate": _finite(rate.estimate), "low": rate.low, "high": _finite(rate.high)},
    }


def _interval(one: FoundInterval) -> Content:
    return {
        "tag": one.tag,
        "certificate": one.certificate,
        "months": one.months,
        "in_tolerance": one.in_tolerance,
    }


def difference(own: Unit, value: float) -> float | None:
    """A difference [SI] in a unit; None where there is none."""
    return _finite(float(own.difference_from_si(value)))


def _finite(number: float) -> float | None:
    """JSON knows no infinity: what is infinite, or not there, is null."""
    return number if math.isfinite(number) else None


# --- for people ------------------------------------------------------------------------------------------------------------------


def history_rows(document: Content) -> tuple[list[str], list[list[str]]]:
    """Header and rows of the errors as found, U beside them, one column for each calibration."""
    header = [f"indication [{document['unit']}]", *(one["calibrated_on"] for one in document["calibrations"]), "mpe"]
    rows = [
        [
            f"{one['indication']:.6g}",
            *(_found_text(found, left) for found, left in zip(one["as_found"], one["as_left"], strict=True)),
            _plus_minus(one["maximum_permissible_error"]),
        ]
        for one in document["points"]
    ]
    return header, rows


def _found_text(found: Content | None, left: Content) -> str:
    if found is None:
        return f"left {_error_text(left)}"
    return _error_text(found)


def _error_text(one: Content) -> str:
    if one["error"] is None:
        return "-"
    return f"{one['error']:+.3g} ± {one['expanded_uncertainty']:.2g}"


def drift_rows(document: Content) -> tuple[list[str], list[list[str]]]:
    """Header and rows of the drift at each indication."""
    header = [
        f"indication [{document['unit']}]", "drift per year", "months to mpe", "by changes", "months to mpe", "s per interval",
        "intervals",
    ]  # fmt: skip
    rows = [
        [
            f"{one['indication']:.6g}",
            _rate_text(one["drift"]),
            _months_text(one["drift"]),
            _rate_text(one["changes"]),
            _months_text(one["changes"]),
            _number(one["stability"]["per_interval"], ".2g"),
            str(one["stability"]["intervals"]),
        ]
        for one in document["points"]
    ]
    return header, rows


def _rate_text(one: Content | None) -> str:
    return "-" if one is None else f"{one['rate_per_year']:+.2g} ± {one['band_of_rate']:.2g}"


def _months_text(one: Content | None) -> str:
    if one is None:
        return "-"
    return "> 120" if one["months_to_limit"] is None else f"{one['months_to_limit']:.1f}"


def _number(number: float | None, form: str) -> str:
    return "-" if number is None else format(number, form)


def _plus_minus(number: float | None) -> str:
    return "none" if number is None else f"± {number:.2g}"


def head_line(document: Content) -> str:
    """What is reviewed."""
    count = len(document["calibrations"])
    waiting = [one["certificate"] for one in document["calibrations"] if not one["accepted"]]
    counted = "1 calibration" if count == 1 else f"{count} calibrations"
    text = f"{document['tag']} on {document['on']}: interval in force {document['interval_months']} months, {counted}"
    return text + (f" (not accepted: {', '.join(one_line(each) for each in waiting)})" if waiting else "")


_JUDGED = {
    INDICATION: "the error of the indication",
    CORRECTED: "the error of the corrected value: what the error changed by since the last calibration",
}


def notes(document: Content) -> list[str]:
    """What the tables rest on."""
    lines = [
        "Errors of indication as found, U with k = 2.",
        "Drift by the line through them: band at k = 2, or Student's t where the errors scatter by more than their U.",
        "By changes: from one calibration to the next, Student's t.",
        "Time until |error| + band reaches the maximum permissible error (mpe), from the last calibration on.",
        f"Judged is {_JUDGED[document['judged']]}.",
    ]
    counts = "take their stability from s" if document["stability_counts"] else "take their stability from limits"
    return [*lines, f"Readings with the latest accepted calibration {counts}; history counts from three intervals on."]


def proposal_lines(document: Content) -> list[str]:
    """Each method with its number and why, and what would record the shortest."""
    lines = []
    for one in document["proposals"]:
        number = "no proposal" if one["months"] is None else _months(one["months"])
        lines.append(f"{one['method']}: {number}; {one['why']}")
    family = document["family"]
    tags = sorted({one["tag"] for one in family["intervals"]})
    lines.append(
        f"family: {one_line(family['kind'])}, {one_line(family['maker'])} {one_line(family['model'])}; "
        f"{len(family['intervals'])} intervals of {', '.join(tags) or 'none'}"
    )
    return [*lines, _end(document)]


def _months(count: int) -> str:
    return "1 month" if count == 1 else f"{count} months"


def _end(document: Content) -> str:
    if document["shortest_months"] is None:
        return "no method has a proposal: the interval stays as it is"
    if document["to_record"] is None:
        return f"the shortest proposal is the interval in force, {_months(document['interval_months'])}"
    return f"nothing is changed; the shortest proposal would be recorded by: {document['to_record']}"
