"""Answers of the commands: as documents for machines, as text for people."""

from typing import Any

from calib.faces.document import Content, curve, flow_unit, formula, reading_content, result
from calib.procedures.budget_of import budget_of
from calib.procedures.choose_curve import refit
from calib.procedures.evaluate import Evaluation
from calib.procedures.look_up import CalibrationOnFile, typed
from calib.procedures.reading_of import ReadingInJob
from calib.procedures.ready import AtIndication, Readiness
from calib.quantities import preferred, unit
from calib.uncertainty.statement import plain, round_uncertainty


def readiness(one: Readiness, units: str | None) -> Content:
    """One instrument's answer of `calib ready`."""
    found = one.decision.calibration
    return {
        "tag": one.instrument.tag,
        "kind": one.instrument.kind,
        "quantity": one.instrument.quantity,
        "allowed": one.decision.allowed,
        "reasons": list(one.decision.reasons),
        "certificate": None if found is None else found.certificate,
        "laboratory": None if found is None else found.laboratory,
        "calibrated_on": None if found is None else str(found.calibrated_on),
        "due_on": None if one.decision.due_on is None else str(one.decision.due_on),
        "measuring_interval": None if found is None else found.measuring_interval,
        "at": None if one.at is None else _at(one.at, units),
    }


def _at(there: AtIndication, units: str | None) -> Content:
    in_unit = preferred(there.unit.quantity, units) if units else there.unit
    return {
        "indication": in_unit.from_si(there.indication),
        **result(there.result, 0, in_unit),
        "contributions": [
            {
                "name": name,
                "standard_uncertainty": float(
                    in_unit.difference_from_si(there.result.combined.uncertainties[0, number])
                ),
            }
            for number, name in enumerate(there.names)
        ],
        "repeatability_known": there.repeatability_known,
    }


def readiness_text(one: Content) -> str:
    """The same for people."""
    if not one["allowed"]:
        return "\n".join(
            [f"{one['tag']}: do not use", *(f"  {reason.partition(': ')[2]}" for reason in one["reasons"])]
        )
    lines = [
        f"{one['tag']}: may be used",
        f"  {one['kind']} for {one['quantity']}, indications {one['measuring_interval']}",
        f"  certificate {one['certificate']} ({one['laboratory']}) of {one['calibrated_on']}, due {one['due_on']}",
    ]
    if one["at"]:
        lines += _at_text(one["at"])
    return "\n".join(lines)


def _at_text(there: Content) -> list[str]:
    parts = ", ".join(
        f"{each['name']} {_two(each['standard_uncertainty'])}"
        for each in there["contributions"]
        if each["standard_uncertainty"] > 0
    )
    lines = [
        f"  an indication of {there['indication']:.6g} {there['unit']} means {there['statement']}",
        f"  standard uncertainties [{there['unit']}]: {parts}",
    ]
    if not there["repeatability_known"]:
        lines.append(
            "  without the repeatability of the reading: the instrument declares none, so take two observations or more"
        )
    return lines


def _two(uncertainty: float) -> str:
    return plain(round_uncertainty(uncertainty))


def readings(found: Evaluation, units: str | None) -> list[Content]:
    """Readings of a job that stand."""
    return [reading_content(found, row, units) for row in range(len(found.measured))]


def reading(found: ReadingInJob, units: str | None) -> Content:
    """One reading with its budget."""
    return reading_content(found.evaluation, found.row, units)


def budget(found: ReadingInJob, wanted: str | None, units: str | None) -> Content:
    """One reading with its budget, which contribution rules, and what would bring U down."""
    answer = budget_of(found, wanted)
    in_unit = flow_unit(found.evaluation.measured[found.row].outlet, units)
    return reading(found, units) | {
        "levers": [
            {
                "name": one.name,
                "variance_percent": one.variance_percent,
                "expanded_uncertainty_if_halved": float(in_unit.difference_from_si(one.if_halved)),
                "expanded_uncertainty_if_removed": float(in_unit.difference_from_si(one.if_removed)),
            }
            for one in answer.levers
        ],
        "dominant": answer.dominant,
        "wanted_expanded_uncertainty": None
        if answer.wanted is None
        else float(in_unit.difference_from_si(answer.wanted)),
        "observations_needed": answer.observations_needed,
    }


def budget_text(one: Content) -> str:
    """The same for people."""
    return "\n".join([*_budget_lines(one), "", *_lever_lines(one)])


def _lever_lines(one: Content) -> list[str]:
    symbol = one["flow"]["unit"]
    lines = [
        f"{one['levers'][0]['name']} rules. What U would be with one contribution smaller [{symbol}]:",
        f"{'':20} {'halved':>10} {'removed':>10}",
    ]
    lines += [
        f"{each['name']:20} {_two(each['expanded_uncertainty_if_halved']):>10} {_two(each['expanded_uncertainty_if_removed']):>10}"
        for each in one["levers"]
    ]
    if one["dominant"]:
        lines.append(
            f"{one['dominant']} dominates and is rectangular: k of a normal distribution overstates U (EA-4/02 S9)"
        )
    if one["wanted_expanded_uncertainty"] is not None:
        target = f"U = {_two(one['wanted_expanded_uncertainty'])} {symbol}"
        number = one["observations_needed"]
        told = (
            f"{number} observations would bring it"
            if number
            else "no number of observations brings it: another contribution must fall"
        )
        lines.append(f"{target}: {told}")
    return lines


def _budget_lines(one: Content) -> list[str]:
    flow = one["flow"]
    dof = flow["effective_degrees_of_freedom"]
    lines = [
        (
            f"reading {one['reading']}: {one['outlet']}, {one['system']} {one['service']}, {one['instrument']} "
            f"(certificate {one['certificate']}), {one['observed_at']}"
        ),
        f"velocity {one['velocity']['value']:.5g} {one['velocity']['unit']}, u = {_two(one['velocity']['standard_uncertainty'])}",
        f"flow {flow['statement']} ({100 * flow['coverage_probability']:.2f} %)",
        "",
        f"{'contribution':20} {'type':4} {'u [' + flow['unit'] + ']':>12} {'share %':>8} {'dof':>6}  shared with",
    ]
    for each in one["contributions"]:
        own = each["degrees_of_freedom"]
        lines.append(
            f"{each['name']:20} {each['evaluation']:4} {_two(each['standard_uncertainty']):>12} {each['variance_percent']:8.1f} "
            f"{'inf' if own is None else f'{own:.3g}':>6}  {each['shared_with']}"
        )
    lines.append(
        f"{'combined':20} {'':4} {_two(flow['standard_uncertainty']):>12} {100:8.1f} {'inf' if dof is None else f'{dof:.0f}':>6}  "
        f"k = {flow['coverage_factor']:.2f}, U = {_two(flow['expanded_uncertainty'])}"
    )
    return lines


def calibration(kept: CalibrationOnFile) -> Content:
    """A calibration on file: what its certificate says, its curve, and the candidates it was chosen from."""
    own = unit(kept.instrument.quantity, kept.instrument.unit)
    record = kept.curves[-1]
    candidates = refit(kept).choice.candidates
    used = [one for one in kept.comparisons if one.phase == record.phase]
    chosen = next(one for one in candidates if one.degree == record.degree)
    scatter = own.scale**2 if record.degree is not None and candidates and not _stated(kept, record.phase) else 1.0
    return {
        "tag": kept.instrument.tag,
        **typed(kept.calibration, "id", "instrument_id"),
        "accepted_on": None if kept.acceptance is None else kept.acceptance.accepted_on,
        "accepted_by": None if kept.acceptance is None else kept.acceptance.accepted_by,
        "reference_standards": list(kept.standards),
        "measuring_interval": record.measuring_interval,
        "curve": curve(record, own),
        "earlier_curves": [
            {"degree": one.degree, "chosen_by": one.chosen_by, "reason": one.reason} for one in kept.curves[:-1]
        ],
        "candidates": [
            {
                "degree": one.degree,
                "formula": formula(one.polynomial.in_unit(own.scale, own.offset).in_powers_of_x()[0].tolist()),
                "sum_of_squares": one.polynomial.chi_squared / scatter,
                "degrees_of_freedom": one.polynomial.degrees_of_freedom,
                "probability": one.probability,
                "aicc": one.aicc,
                "kept": one.kept,
            }
            for one in candidates
        ],
        "judged_by": "chi-squared" if _stated(kept, record.phase) else "F test of the added terms",
        "comparisons": [
            typed(one, "id", "calibration_id") | {"residual": float(own.difference_from_si(residual))}
            for one, residual in zip(used, chosen.polynomial.residuals, strict=True)
        ],
        "other_comparisons": [
            typed(one, "id", "calibration_id") for one in kept.comparisons if one.phase != record.phase
        ],
    }


def _stated(kept: CalibrationOnFile, phase: str) -> bool:
    return all(one.repeatability is not None for one in kept.comparisons if one.phase == phase)


def calibration_text(one: Content) -> str:
    """The same for people."""
    return "\n".join(
        [*_certificate_lines(one), "", *_comparison_lines(one), "", *_curve_lines(one), "", *_candidate_lines(one)]
    )


def _certificate_lines(one: Content) -> list[str]:
    accepted = f"accepted {one['accepted_on']} by {one['accepted_by']}" if one["accepted_on"] else "not accepted yet"
    standards = f", reference standards {', '.join(one['reference_standards'])}" if one["reference_standards"] else ""
    return [
        f"{one['tag']}, certificate {one['certificate']}, {one['laboratory']}{_after(one['accreditation'])}",
        f"calibrated {one['calibrated_on']}, {accepted}{standards}",
    ]


def _after(text: str | None) -> str:
    return f" ({text})" if text else ""


def _comparison_lines(one: Content) -> list[str]:
    lines = [
        f"{'phase':9} {'reference':>10} {'indication':>10} {'unit':6} {'U':>8} {'k':>5} {'repeatability':>13} {'residual':>10}"
    ]
    for each in [*one["other_comparisons"], *one["comparisons"]]:
        residual = f"{each['residual']:.3g}" if "residual" in each else "not used"
        lines.append(
            f"{each['phase']:9} {each['reference']:>10} {each['indication']:>10} {each['unit']:6} "
            f"{each['expanded_uncertainty']:>8} {each['coverage_factor']:>5} {each['repeatability'] or '-':>13} {residual:>10}"
        )
    return lines


def _curve_lines(one: Content) -> list[str]:
    found = one["curve"]
    uncertainties = ", ".join(f"{u:.2g}" for u in found["standard_uncertainties"])
    lines = [
        f"correction {found['formula']}   (x and c in {found['unit']}; u of the coefficients from scatter: {uncertainties})",
        f"valid for indications {one['measuring_interval']}, made from the comparisons {found['made_from']}",
        f"degree {found['degree']} chosen by {found['chosen_by']}: {found['reason']}",
    ]
    if found["scatter_enlarged_by"] > 1:
        lines.append(
            f"scatter variance enlarged by {found['scatter_enlarged_by']:.3g}: chi-squared rejects the curve at 5 %"
        )
    lines += [
        f"before: degree {each['degree']} chosen by {each['chosen_by']}: {each['reason']}"
        for each in one["earlier_curves"]
    ]
    return lines


def _candidate_lines(one: Content) -> list[str]:
    squares = "chi-squared" if one["judged_by"] == "chi-squared" else "sum of res.²"
    lines = [
        f"candidates, judged by {one['judged_by']}:",
        f"{'degree':6} {squares:>12} {'dof':>4} {'probability':>11} {'AICc':>9}  at 5 %",
    ]
    for each in one["candidates"]:
        verdict = "not rejected" if each["kept"] else "rejected"
        lines.append(
            f"{each['degree']:6d} {each['sum_of_squares']:12.5g} {each['degrees_of_freedom']:4g} {each['probability']:11.3g} "
            f"{each['aicc']:9.4g}  {verdict}{'  <- chosen' if each['degree'] == one['curve']['degree'] else ''}"
        )
    return lines


def cells_text(cells: dict[str, Any]) -> str:
    """Filled cells, one a line."""
    return "\n".join(
        f"  {name.replace('_', ' ')}: {value}" for name, value in cells.items() if value is not None and name != "id"
    )
