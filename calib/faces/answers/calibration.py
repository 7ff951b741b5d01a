"""A calibration on file, as `calib calibration show` answers: a document for machines, text for people."""

import json
from dataclasses import asdict
from shlex import quote
from typing import Any

from calib.confirmation.conformity import SIMPLE
from calib.curves.choice import whitened
from calib.curves.diagnosis import outliers
from calib.curves.response import from_text
from calib.errors import BadInputError
from calib.faces.answers.curve import curve, fit_of, stored_residuals, unit_of_residuals
from calib.faces.plain_text import withdrawn_text
from calib.faces.written import Content
from calib.procedures.calibrate.accept_calibration import AcceptanceWanted, assessed
from calib.procedures.certificate.completeness import MISSING, CertificateOnRecord, completeness
from calib.procedures.certificate.fit_curve import comparisons_in_si
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.records.record import typed
from calib.records.tables import Comparison


def calibration(kept: CalibrationOnFile) -> Content:
    """A calibration on file: what its certificate says, and the curve that the records hold."""
    record = kept.curve
    compared = [
        (typed(one, "id", "calibration_id"), residual)
        for one, residual in zip(kept.comparisons, stored_residuals(kept), strict=True)
    ]
    return {
        "tag": kept.instrument.tag,
        **typed(kept.calibration, "id", "instrument_id"),
        "accepted_on": None if kept.acceptance is None else kept.acceptance.accepted_on,
        "accepted_by": None if kept.acceptance is None else kept.acceptance.accepted_by,
        "withdrawn": kept.withdrawn,
        "typed_by": kept.typed_by,
        "criterion": None if kept.acceptance is None else kept.acceptance.criterion,
        "decision_rule": None if kept.acceptance is None else kept.acceptance.decision_rule,
        "assessment": _assessment_kept(kept),
        "assessments": _assessments(kept),
        "completeness": completeness_of(kept),
        "files": [dict(one) for one in kept.files],
        "reference_standards": list(kept.standards),
        "measuring_interval": record.measuring_interval,
        "curve": curve(record, kept.instrument),
        "earlier_curves": [
            {"shape": one.shape, "degree": one.degree, "chosen_by": one.chosen_by, "reason": one.reason}
            for one in kept.earlier_curves
        ],
        "outliers": _outliers(kept),
        "residual_unit": unit_of_residuals(record, kept.instrument).symbol,
        "comparisons": [cells | {"residual": residual} for cells, residual in compared if residual is not None],
        "other_comparisons": [cells for cells, residual in compared if residual is None],
    }


def completeness_of(kept: CalibrationOnFile) -> list[Content]:
    """What the certificate states of what ISO/IEC 17025 asks of it, and what is missing."""
    held = CertificateOnRecord(
        typed(kept.calibration), [typed(one) for one in kept.comparisons], kept.standards, len(kept.files)
    )
    return [asdict(one) for one in completeness(held)]


def _assessment_kept(kept: CalibrationOnFile) -> Any:
    """The assessment that the acceptance rests on; None where there is none."""
    text = None if kept.acceptance is None else kept.acceptance.assessment
    return None if text is None else json.loads(text)


def _assessments(kept: CalibrationOnFile) -> list[Content]:
    """Comparisons of each phase against the maximum permissible error, under the rule it was accepted by, or the simple one."""
    rule = SIMPLE if kept.acceptance is None else kept.acceptance.decision_rule or SIMPLE
    phases = [phase for phase in ("as-found", "as-left") if any(one.phase == phase for one in kept.comparisons)]
    found = []
    for phase in phases:
        try:
            judged = assessed(kept, AcceptanceWanted(rule), phase)
        except BadInputError:  # as found outside the curve's interval, say: there is nothing to judge it by
            continue
        if judged is not None:
            found.append(judged.content())
    return found


def _outliers(kept: CalibrationOnFile) -> list[str]:
    """Comparisons that stand out from the curve that counts."""
    used = [one for one in kept.comparisons if one.phase == kept.curve.phase]
    points = comparisons_in_si(typed(kept.instrument), [typed(one) for one in used])
    fit = fit_of(from_text(kept.curve.parameters))
    return [_named(used[place], place) for place in outliers(whitened(fit, points))]


def _named(one: Comparison, place: int) -> str:
    return f"comparison {place + 1} (reference {one.reference} {one.unit}, indication {one.indication})"


def calibration_text(one: Content) -> str:
    """The same for people."""
    return "\n".join(
        [
            *_certificate_lines(one),
            "",
            *_comparison_lines(one),
            *(["", *_in_house_lines(one)] if _in_house(one) else []),
            "",
            *_curve_lines(one),
            f"calib calibration candidates {quote(one['tag'])} {quote(one['certificate'])} shows what it was chosen from",
            "",
            *[line for each in one["assessments"] for line in assessment_lines(each)],
            *missing_lines(one["completeness"]),
            *[f"file {each['name']} ({each['media_type']}), SHA-256 {each['sha256']}" for each in one["files"]],
        ]
    )


def _certificate_lines(one: Content) -> list[str]:
    accepted = "not accepted yet"
    if one["accepted_on"]:
        accepted = (
            f"accepted {one['accepted_on']} by {one['accepted_by']}{_after(one['criterion'] or 'as it was typed')}"
        )
    standards = f", reference standards {', '.join(one['reference_standards'])}" if one["reference_standards"] else ""
    withdrawn = withdrawn_text(one["withdrawn"])
    return [
        f"{one['tag']}, certificate {one['certificate']}, {one['laboratory']}{_after(one['accreditation'])}",
        *([] if withdrawn is None else [f"{withdrawn}; it counts for nothing, at no time"]),
        f"calibrated {one['calibrated_on']}, {accepted}{standards}, typed by {one['typed_by']}",
    ]


def assessment_lines(one: Content) -> list[str]:
    """An assessment: each comparison with its error, U, limits, statement and probability of conformity."""
    verdict = "every comparison passes" if one["accepted"] else "not every comparison passes"
    lines = [
        f"{one['phase']}: {one['criterion']}: {verdict} [{one['unit']}]",
        f"  {'reference':>10} {'error':>10} {'U':>9} {'limits':>10}  {'statement':16} {'probability':>11}",
    ]
    lines += [
        f"  {each['reference']:>10} {each['error'] + 0.0:>+10.4g} {each['expanded_uncertainty']:>9.2g} "
        f"{'±' + format(each['limit'], '.4g'):>10}  {each['statement']:16} {each['probability_of_conformity']:>11.3f}"
        for each in one["comparisons"]
    ]
    return lines + _of_wide_uncertainty(one)


def _of_wide_uncertainty(one: Content) -> list[str]:
    """Where U is wider than the limits a pass by simple acceptance shows little (common practice, no source)."""
    wide = [each for each in one["comparisons"] if each["expanded_uncertainty"] > each["limit"]]
    if not wide or not one["accepted"]:
        return []
    least = min(each["probability_of_conformity"] for each in one["comparisons"])
    told = f"U is wider than the limits at {len(wide)} of {len(one['comparisons'])} comparisons"
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


def _in_house(one: Content) -> list[Content]:
    return [each for each in (*one["other_comparisons"], *one["comparisons"]) if each["basis"] is not None]


def _in_house_lines(one: Content) -> list[str]:
    """What each reference value of an in-house calibration was worked out from."""
    lines = []
    for each in _in_house(one):
        basis = json.loads(each["basis"])
        parts = ", ".join(f"{part['name']} {part['standard_uncertainty']:.2g}" for part in basis["contributions"])
        lines.append(
            f"reference {each['reference']} {each['unit']}: {basis.get('standard')} showed {each['standard_indication']} "
            f"(certificate {basis.get('certificate')}); u: {parts}"
        )
    return lines


def _after(text: str | None) -> str:
    return f" ({text})" if text else ""


def _comparison_lines(one: Content) -> list[str]:
    lines = [
        f"{'phase':9} {'reference':>10} {'indication':>10} {'unit':8} {'U':>8} {'k':>5} {'repeatability':>13} {'residual':>10}"
    ]
    for each in [*one["other_comparisons"], *one["comparisons"]]:
        residual = f"{each['residual']:.3g}" if "residual" in each else "not used"
        lines.append(
            f"{each['phase']:9} {each['reference']:>10} {each['indication']:>10} {_units(each):8} "
            f"{each['expanded_uncertainty']:>8} {each['coverage_factor']:>5} {each['repeatability'] or '-':>13} {residual:>10}"
        )
    return lines


def _units(one: Content) -> str:
    return f"{one['unit']}, {one['indication_unit']}" if one["indication_unit"] else str(one["unit"])


def _curve_lines(one: Content) -> list[str]:
    found = one["curve"]
    uncertainties = ", ".join(f"{u:.2g}" for u in found["standard_uncertainties"])
    lines = [
        f"curve {found['formula']}   (in {found['unit']}; u of the coefficients from scatter: {uncertainties})",
        f"valid for indications {one['measuring_interval']}, made from the comparisons {found['made_from']}",
        f"{found['title']}, chosen by {found['chosen_by']}: {found['reason']}",
    ]
    if found["scatter_enlarged_by"] > 1:
        lines.append(
            f"scatter variance enlarged by {found['scatter_enlarged_by']:.3g}: chi-squared rejects the curve at 5 %"
        )
    lines += [f"stands out from the curve at 5 %: {each}; it is used all the same" for each in one["outliers"]]
    lines += [
        f"before: {each['shape']}{_degree(each['degree'])}, chosen by {each['chosen_by']}: {each['reason']}"
        for each in one["earlier_curves"]
    ]
    return lines


def _degree(degree: int | None) -> str:
    return "" if degree is None else f" of degree {degree}"
