"""Fit the curves of typed certificates, and judge the acceptances that state a decision rule: both before anything is written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calib.errors import CalibError, CurveError, Finding
from calib.procedures.certificate.assess import Assessment, assess, usual_object
from calib.procedures.certificate.fit_curve import FittedCurve, fit_curve
from calib.procedures.certificate.phase import phase_in_use
from calib.procedures.enter.check_certificates import by_certificate
from calib.procedures.typed.declaration import RecordNames
from calib.procedures.typed.rows_together import KnownNames, TypedCells, duplicate
from calib.procedures.typed.sheets import Cells, TypedRow

_NEEDED = {"quantity", "unit", "resolution"}  # of the instrument


@dataclass(frozen=True)
class CurvesFitted:
    """Curves by tag and certificate, and the comparisons that make none."""

    curves: Mapping[RecordNames, FittedCurve]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class AcceptancesJudged:
    """Assessments by tag and certificate, and the acceptances that do not hold."""

    assessments: Mapping[RecordNames, Assessment]
    findings: tuple[Finding, ...]


def fit_curves(named: KnownNames) -> CurvesFitted:
    """A curve for each calibration whose rows were all found right."""
    comparisons = by_certificate(named.sheets["comparisons.csv"])
    correlations = by_certificate(named.sheets["correlations.csv"])
    unread = "comparisons.csv" in named.unread or any(row.bad for row in named.sheets["comparisons.csv"])
    curves: dict[RecordNames, FittedCurve] = {}
    findings = []
    for row in named.sheets["calibrations.csv"]:
        if not row.sound("tag", "certificate"):
            continue
        names = (row.cells["tag"], row.cells["certificate"])
        instrument, own = named.instruments.get(names[0]), comparisons[names]
        if instrument is None or not instrument.keys() >= _NEEDED or any(each.bad for each in own):
            continue
        if (not own and unread) or any(each.bad for each in correlations[names]):
            continue
        try:
            stated = [each.cells for each in correlations[names]]
            curves[names] = fit_curve(instrument, [TypedCells(each.cells) for each in own], correlations=stated)
        except CurveError as error:
            findings.append(duplicate(row, ("certificate",), f"comparisons that make a correction curve ({error})"))
    return CurvesFitted(curves, tuple(findings))


def judge_acceptances(
    named: KnownNames, curves: Mapping[RecordNames, FittedCurve], states: Mapping[str, Sequence[Cells]]
) -> AcceptancesJudged:
    """An acceptance that states its decision rule is judged by it; one that states none is taken over as it is.

    `states` of an instrument, as first typed and as amended: it was accepted in one of them, so that it holds in one is enough.
    """
    assessments: dict[RecordNames, Assessment] = {}
    findings = []
    comparisons = by_certificate(named.sheets["comparisons.csv"])
    for row in named.sheets["calibrations.csv"]:
        if row.bad or not row.sound("tag", "certificate", "accepted_on", "decision_rule"):
            continue
        names = (row.cells["tag"], row.cells["certificate"])
        if names in curves and not getattr(named.instruments[names[0]], "bad", None):
            asked = states.get(names[0]) or [named.instruments[names[0]]]
            every = [_judged(state, row, comparisons[names], curves[names]) for state in reversed(asked)]
            judged = next((each for each in every if isinstance(each, Assessment)), every[0])
            if isinstance(judged, str):
                findings.append(row.finding("decision_rule", judged))
            else:
                assessments[names] = judged
    return AcceptancesJudged(assessments, tuple(findings))


def _judged(instrument: Cells, row: TypedRow, comparisons: Sequence[TypedRow], fitted: FittedCurve) -> Assessment | str:
    """The assessment of an acceptance that holds, or what was expected instead of its rule."""
    own = [TypedCells(each.cells) for each in comparisons]
    rule, judged = row.cells["decision_rule"], row.get("judged") or instrument.get("judged") or usual_object(instrument)
    try:
        assessment = assess(
            instrument, own, phase_in_use(each["phase"] for each in own), rule, judged, fitted.choice.curve
        )
    except CalibError as error:
        return f"blank, with the criterion in words ({error})"
    failures = assessment.failures()
    if failures:
        return (
            f"an acceptance that holds by it; {len(failures)} of {len(own)} comparisons fail ({assessment.criterion}), "
            f"first {failures[0]}"
        )
    return assessment
