"""A calibration on file, as `calib calibration show` answers."""

import json
from dataclasses import asdict
from shlex import quote
from typing import Any

from calib.arrays import without_rounding
from calib.faces.parts.curve import curve, stored_residuals, unit_of_residuals
from calib.faces.parts.signature import signature_told
from calib.faces.parts.two_days import accepted_on
from calib.faces.plain_text import superseded_text, table_text, withdrawn_text
from calib.faces.written import Content
from calib.procedures.calibrate.judge_calibration import assessments_of, outliers_of
from calib.procedures.certificate.completeness import MISSING, CertificateOnRecord, completeness
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.records.record import typed
from calib.records.tables.comparisons import Comparison


def document(calibration: CalibrationOnFile) -> Content:
    """A calibration on file: what its certificate says, and the curve that the records hold."""
    record = calibration.curve
    compared = [
        (typed(comparison, "id", "calibration_id"), residual)
        for comparison, residual in zip(calibration.comparisons, stored_residuals(calibration), strict=True)
    ]
    return {
        "tag": calibration.instrument.tag,
        **typed(calibration.calibration, "id", "instrument_id"),
        "accepted_on": None if calibration.acceptance is None else calibration.acceptance.accepted_on,
        "accepted_by": None if calibration.acceptance is None else calibration.acceptance.accepted_by,
        **calibration.two_days,
        "withdrawn": calibration.withdrawn,
        "superseded": calibration.superseded,
        "typed_by": calibration.typed_by,
        "criterion": None if calibration.acceptance is None else calibration.acceptance.criterion,
        "departure_reason": None if calibration.acceptance is None else calibration.acceptance.departure_reason,
        "attempts": [dict(each) for each in calibration.attempts],
        "decision_rule": None if calibration.acceptance is None else calibration.acceptance.decision_rule,
        "assessment": _assessment_kept(calibration),
        "assessments": [judgement.content() for judgement in assessments_of(calibration)],
        "completeness": completeness_of(calibration),
        "files": [dict(file) for file in calibration.files],
        "signatures": [dict(each) for each in calibration.signatures],
        "reference_standards": list(calibration.standards),
        "measuring_interval": record.measuring_interval,
        "curve": curve(record, calibration.instrument),
        "earlier_curves": [
            {"shape": each.shape, "degree": each.degree, "chosen_by": each.chosen_by, "reason": each.reason}
            for each in calibration.earlier_curves
        ],
        "outliers": [_named(*outlier) for outlier in outliers_of(calibration)],
        "residual_unit": unit_of_residuals(record, calibration.instrument).symbol,
        "comparisons": [cells | {"residual": residual} for cells, residual in compared if residual is not None],
        "other_comparisons": [cells for cells, residual in compared if residual is None],
        "correlations": [dict(each) for each in calibration.correlations],
    }


def completeness_of(calibration: CalibrationOnFile) -> list[Content]:
    """What the certificate states of what ISO/IEC 17025 asks of it, and what is missing."""
    held = CertificateOnRecord(
        typed(calibration.calibration),
        [typed(each) for each in calibration.comparisons],
        calibration.standards,
        len(calibration.files),
    )
    return [asdict(item) for item in completeness(held)]


def _assessment_kept(calibration: CalibrationOnFile) -> Any:
    """The assessment that the acceptance rests on; None where there is none."""
    text = None if calibration.acceptance is None else calibration.acceptance.assessment
    return None if text is None else json.loads(text)


def _named(place: int, comparison: Comparison) -> str:
    reference = f"reference {comparison.reference} {comparison.unit}"
    return f"comparison {place + 1} ({reference}, indication {comparison.indication})"


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join(
        [
            *certificate_lines(answer),
            "",
            *_comparison_lines(answer),
            *_correlation_lines(answer),
            *(["", *_in_house_lines(answer)] if _in_house(answer) else []),
            "",
            *curve_lines(answer),
            f"what it was chosen from: calib calibration candidates {quote(answer['tag'])} {quote(answer['certificate'])}",
            "",
            *[line for each in answer["assessments"] for line in assessment_lines(each)],
            *missing_lines(answer["completeness"]),
            *[f"file {each['name']} ({each['media_type']}), SHA-256 {each['sha256']}" for each in answer["files"]],
            *map(signature_told, answer["signatures"]),
        ]
    )


def certificate_lines(answer: Content) -> list[str]:
    """Whose certificate it is, whether it counts, and what was attempted."""
    accepted = "not accepted yet"
    if answer["accepted_on"]:
        accepted = f"accepted {accepted_on(answer)} by {answer['accepted_by']}{_after(answer['criterion'] or 'as it was typed')}"
    standards = (
        f", reference standards {', '.join(answer['reference_standards'])}" if answer["reference_standards"] else ""
    )
    withdrawn = withdrawn_text(answer["withdrawn"])
    return [
        f"{answer['tag']}, certificate {answer['certificate']}, {answer['laboratory']}{_after(answer['accreditation'])}",
        *([] if withdrawn is None else [f"{withdrawn}; it counts for nothing, at no time"]),
        *filter(None, [superseded_text(answer["superseded"])]),
        f"calibrated {answer['calibrated_on']}, {accepted}{standards}, typed by {answer['typed_by']}",
        *(
            [f"accepted departing from the register: {answer['departure_reason']}"]
            if answer["departure_reason"]
            else []
        ),
        *map(_attempted, answer["attempts"]),
    ]


def _attempted(attempt: Content) -> str:
    """An attempt to accept it that failed."""
    asked = attempt["asked"]
    first = attempt["findings"][0].partition(": have it")[0]
    return f"not accepted at {attempt['at']} by {attempt['by']}, {asked['rule']}, {asked['judged']}: {first}"


def _correlation_lines(answer: Content) -> list[str]:
    stated = [float(each["correlation"]) for each in answer["correlations"]]
    if not stated:
        return []
    return [f"correlations of reference values are stated, {min(stated):g} to {max(stated):g}: the curve counts them"]


def assessment_lines(assessment: Content) -> list[str]:
    """An assessment: each comparison with its error, U, limits, statement and probability of conformity."""
    verdict = "every comparison passes" if assessment["accepted"] else "not every comparison passes"
    lines = [
        f"{assessment['phase']}: {assessment['criterion']}: {verdict} [{assessment['unit']}]",
        table_text(
            JUDGED_HEADINGS, [judged_row(each) for each in assessment["comparisons"]], "  ", right=(0, 1, 2, 3, 5)
        ),
    ]
    return lines + _of_wide_uncertainty(assessment)


JUDGED_HEADINGS = ("reference", "error", "U", "limits", "statement", "probability")


def judged_row(comparison: Content) -> tuple[str, ...]:
    """A comparison of an assessment, under JUDGED_HEADINGS."""
    return (
        comparison["reference"],
        f"{without_rounding(comparison['error']):+.4g}",
        f"{comparison['expanded_uncertainty']:.2g}",
        f"±{comparison['limit']:.4g}",
        comparison["statement"],
        f"{comparison['probability_of_conformity']:.3f}",
    )


def _of_wide_uncertainty(assessment: Content) -> list[str]:
    """Where U is wider than the limits a pass by simple acceptance shows little (common practice, no source)."""
    wide = [each for each in assessment["comparisons"] if each["expanded_uncertainty"] > each["limit"]]
    if not wide or not assessment["accepted"]:
        return []
    least = min(each["probability_of_conformity"] for each in assessment["comparisons"])
    told = f"U is wider than the limits at {len(wide)} of {len(assessment['comparisons'])} comparisons"
    step = "--rule guarded, or a calibration with a smaller U, shows more"
    return [f"{told}, the smallest probability of conformity is {least:.3f}: {step}"]


def missing_lines(items: list[Content]) -> list[str]:
    """What a certificate does not state, with the clause that asks for it."""
    missing = [each for each in items if each["state"] == MISSING]
    if not missing:
        return [
            "the records hold all that ISO/IEC 17025:2017, 7.8.2 and 7.8.4 ask of a certificate, but what is read in it only"
        ]
    return [
        "not stated, or not typed (ISO/IEC 17025:2017; it does not stand in the way of use):",
        *(f"  {each['clause']:10} {each['what']}" for each in missing),
    ]


def _in_house(answer: Content) -> list[Content]:
    return [each for each in (*answer["other_comparisons"], *answer["comparisons"]) if each["basis"] is not None]


def _in_house_lines(answer: Content) -> list[str]:
    """What each reference value of an in-house calibration was worked out from."""
    lines = []
    for each in _in_house(answer):
        basis = json.loads(each["basis"])
        parts = ", ".join(f"{part['name']} {part['standard_uncertainty']:.2g}" for part in basis["contributions"])
        lines.append(
            f"reference {each['reference']} {each['unit']}: {basis.get('standard')} showed {each['standard_indication']} "
            f"(certificate {basis.get('certificate')}); u: {parts}"
        )
    return lines


def _after(text: str | None) -> str:
    return f" ({text})" if text else ""


COMPARED_HEADINGS = ("phase", "reference", "indication", "unit", "U", "k", "repeatability", "residual")


def _comparison_lines(answer: Content) -> list[str]:
    rows = [compared_row(each) for each in (*answer["other_comparisons"], *answer["comparisons"])]
    return [table_text(COMPARED_HEADINGS, rows, right=(1, 2, 4, 5, 6, 7))]


def compared_row(comparison: Content) -> tuple[str, ...]:
    """A comparison as the certificate states it, under COMPARED_HEADINGS."""
    return (
        comparison["phase"],
        comparison["reference"],
        comparison["indication"],
        _units(comparison),
        comparison["expanded_uncertainty"],
        comparison["coverage_factor"],
        comparison["repeatability"] or "-",
        f"{comparison['residual']:.3g}" if "residual" in comparison else "not used",
    )


def _units(comparison: Content) -> str:
    both = (comparison["unit"], comparison["indication_unit"])
    return ", ".join(filter(None, both))


def curve_lines(answer: Content) -> list[str]:
    """The curve in words: its equation, where it holds, why it was chosen, what stands out from it."""
    curve = answer["curve"]
    uncertainties = ", ".join(f"{u:.2g}" for u in curve["standard_uncertainties"])
    lines = [
        f"curve {curve['formula']}   (in {curve['unit']}; u of the coefficients from scatter: {uncertainties})",
        f"valid for indications {answer['measuring_interval']}, made from the comparisons {curve['made_from']}",
        f"{curve['title']}, chosen by {curve['chosen_by']}: {curve['reason']}",
    ]
    if curve["scatter_enlarged_by"] > 1:
        lines.append(
            f"scatter variance enlarged by {curve['scatter_enlarged_by']:.3g}: chi-squared rejects the curve at 5 %"
        )
    lines += [f"stands out from the curve at 5 %: {each}; it is used all the same" for each in answer["outliers"]]
    lines += [
        f"before: {each['shape']}{_degree(each['degree'])}, chosen by {each['chosen_by']}: {each['reason']}"
        for each in answer["earlier_curves"]
    ]
    return lines


def _degree(degree: int | None) -> str:
    return "" if degree is None else f" of degree {degree}"
