"""Factors found in the field as answers: a document for machines, text and tables for people."""

import math
import shlex
from collections.abc import Iterable, Sequence

from calib.faces.answers.reading import flow_unit, velocity_unit
from calib.faces.written import Content, two_digits
from calib.procedures.factors.factors_on_file import FactorOnFile, PairOnFile, ReadingWithFactor
from calib.procedures.measure.results import Results
from calib.procedures.pairs.factor_from_pairs import FactorFound
from calib.procedures.pairs.factor_uncertainty import OTHER, SAME, factor_results
from calib.procedures.pairs.paired_readings import Paired, flow, measured, velocity
from calib.quantities import Unit, preferred, unit
from calib.records import tables
from calib.uncertainty.statement import round_result

# Contribution -> what it is called in a table.
_CALLED = {
    "spread": "spread of the pairs",
    "reference": "what their traverses share",
    "instrument": "calibration at the face",
}
# Cells of an outlet that make room for a factor found in the field.
_IN_PLACE_OF = (
    "outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source", "outlet_factor_reason",
    "effective_area", "effective_area_unit", "effective_area_standard_uncertainty",
)  # fmt: skip

Row = tuple[str, ...]


def factor(one: FactorOnFile, units: str | None = None) -> Content:
    """One revision of a factor, as it was recorded."""
    record = one.factor
    found = factor_results(record)
    return {
        "factor": record.factor,
        "revision": record.revision,
        "counts": one.latest,
        "scope": record.scope,
        "job": one.job,
        "outlet": None if one.outlet is None else one.outlet.outlet,
        "outlet_type": record.outlet_type,
        "instrument": one.instrument.tag,
        "certificate": one.calibration.certificate,
        "method": one.method.method,
        "pattern": one.method.pattern,
        "value": record.value,
        "effective_area": _effective_area(one, units),
        "same_calibration": _case(found, SAME),
        "recalibrated": _case(found, OTHER),
        "contributions": [_contribution(record, name) for name in _CALLED],
        "pairs": [_pair(each) for each in one.pairs],
        "reason": record.reason,
        "found_by": one.written.person,
        "found_at": one.written.time,
        "cautions": list(one.cautions),
    }


def _case(found: Results, row: int) -> Content:
    value, expanded = float(found.value[row]), float(found.expanded_uncertainty[row])
    u, dof = float(found.combined.standard_uncertainty[row]), float(found.combined.degrees_of_freedom[row])
    k = float(found.coverage_factor[row])
    return {
        "standard_uncertainty": u,
        "relative_standard_uncertainty_percent": 100.0 * u / value,
        "effective_degrees_of_freedom": dof if math.isfinite(dof) else None,
        "coverage_factor": k,
        "coverage_probability": found.coverage_probability,
        "expanded_uncertainty": expanded,
        "statement": f"K = {round_result(value, expanded)}, k = {k:.2f}",
    }


def _effective_area(one: FactorOnFile, units: str | None) -> Content | None:
    if one.factor.effective_area is None:
        return None
    in_unit = _area_unit(one.outlet, units)
    value = float(in_unit.from_si(one.factor.effective_area))
    expanded = value * float(factor_results(one.factor).expanded_uncertainty[SAME]) / one.factor.value
    return {
        "value": value,
        "unit": in_unit.symbol,
        "expanded_uncertainty": expanded,
        "statement": f"({round_result(value, expanded)}) {in_unit.symbol}",
    }


def _area_unit(outlet: tables.Outlet | None, units: str | None) -> Unit:
    if units or outlet is None:
        return preferred("area", units or "si")
    in_feet = outlet.dimension_unit in ("in", "ft")
    return unit("area", outlet.effective_area_unit or ("ft2" if in_feet else "m2"))


def _contribution(record: tables.FoundFactor, name: str) -> Content:
    relative = {
        "spread": record.relative_spread,
        "reference": record.relative_reference,
        "instrument": record.relative_instrument,
    }
    return {
        "name": name,
        "relative_standard_uncertainty_percent": 100.0 * relative[name],
        "degrees_of_freedom": record.degrees_of_freedom if name == "spread" else None,
    }


def _pair(one: PairOnFile) -> Content:
    return {
        "traverse": one.traverse.reading.id,
        "duct": one.traverse.outlet.outlet,
        "job_of_duct": one.traverse.job,
        "traversed_at": one.traverse.reading.observed_at,
        "face": one.face.reading.id,
        "outlet": one.face.outlet.outlet,
        "job_of_outlet": one.face.job,
        "observed_at": one.face.reading.observed_at,
        "value": one.value,
    }


def found(one: FactorFound, on_file: FactorOnFile, units: str | None = None) -> Content:
    """A factor that was just found: with the flows and velocities of its pairs, and what to type to use it."""
    document = factor(on_file, units)
    document["pairs"] = [each | _measured(pair, units) for each, pair in zip(document["pairs"], one.pairs, strict=True)]
    return document | {"to_use_it": [as_typed(words) for words in _amending(one)]}


def _measured(pair: Paired, units: str | None) -> Content:
    in_flow = flow_unit(measured(pair.traverse).outlet, units)
    in_velocity = velocity_unit(measured(pair.other).reading, units)
    return {
        "flow": {"value": float(in_flow.from_si(flow(pair.traverse))), "unit": in_flow.symbol},
        "velocity": {"value": float(in_velocity.from_si(velocity(pair.other))), "unit": in_velocity.symbol},
    }


def _amending(one: FactorFound) -> Iterable[list[str]]:
    """For each outlet of the pairs that has not got the factor yet, the words of the command that gives it."""
    faces = [measured(pair.other) for pair in one.pairs]
    jobs = {each.outlet.id: pair.other.evaluation.job.job for each, pair in zip(faces, one.pairs, strict=True)}
    for outlet in {each.outlet.id: each.outlet for each in faces}.values():
        if outlet.found_factor != one.record.factor:
            blank = [f"{column}=" for column in _IN_PLACE_OF if getattr(outlet, column) is not None]
            cells = [word for cell in (*blank, f"found_factor={one.record.factor}") for word in ("--set", cell)]
            words = ["outlet", "amend", jobs[outlet.id], outlet.outlet, *cells]
            yield [*words, "--reason", f"factor found from {len(one.pairs)} traverses"]


def as_typed(words: Sequence[str]) -> str:
    """A command of the program as a person types it, in quotation marks where a shell asks for them."""
    return " ".join(["calib", *(_quoted(word) for word in words)])


def _quoted(word: str) -> str:
    if shlex.quote(word) == word:
        return word
    # Double quotation marks serve every shell, as long as nothing in the word means more to one of them.
    return shlex.quote(word) if set(word) & set('"$`\\!%') else f'"{word}"'


# --- for people ------------------------------------------------------------------------------------------------------------------


def holds_for(one: Content) -> str:
    """For which outlets, and for readings taken with what, a factor holds."""
    pattern = "" if one["pattern"] in (None, one["method"]) else f" (pattern {one['pattern']})"
    return f"{where(one)}, readings with {one['instrument']} by the method {one['method']}{pattern}"


def where(one: Content) -> str:
    """The outlet or the type of outlet that a factor is for."""
    return f"outlet {one['outlet']} of {one['job']}" if one["outlet"] else f"type {one['outlet_type']}"


def head_text(one: Content) -> str:
    """The factor with U in both cases, and what it holds for."""
    lines = [
        f"{one['factor']}, revision {one['revision']}",
        f"  {one['same_calibration']['statement']} for readings with the same calibration (certificate {one['certificate']})",
        f"  {one['recalibrated']['statement']} after a recalibration",
    ]
    if one["effective_area"]:
        lines.append(f"  effective area {one['effective_area']['statement']}, with the same calibration")
    return "\n".join([*lines, f"  holds for {holds_for(one)}"])


def pair_rows(one: Content) -> tuple[Row, list[Row]]:
    """Header and rows of the pairs; with flows and velocities where the answer has them."""
    shown = one["pairs"]
    with_values = all("flow" in each for each in shown)
    more = _units_of(shown) if with_values else ()
    header = ("pair", "duct", "observed", "outlet", "observed", *more, "K")
    rows = [
        (
            f"{each['traverse']}:{each['face']}",
            each["duct"],
            each["traversed_at"],
            each["outlet"],
            each["observed_at"],
            *((f"{each['flow']['value']:.5g}", f"{each['velocity']['value']:.4g}") if with_values else ()),
            f"{each['value']:.4f}",
        )
        for each in shown
    ]
    return header, rows


def _units_of(pairs: Sequence[Content]) -> Row:
    """Headings with units; ducts of several jobs may have several, and then the first pair's is not everyone's."""
    flows, velocities = ({each[name]["unit"] for each in pairs} for name in ("flow", "velocity"))
    return f"q [{', '.join(sorted(flows))}]", f"v [{', '.join(sorted(velocities))}]"


def uncertainty_rows(one: Content) -> tuple[Row, list[Row]]:
    """Header and rows of the relative standard uncertainties, with the same calibration and after a recalibration."""
    rows = []
    for each in one["contributions"]:
        u = two_digits(each["relative_standard_uncertainty_percent"])
        rows.append((_CALLED[each["name"]], "cancels" if each["name"] == "instrument" else u, u, _degrees(each)))
    combined = [
        two_digits(one[case]["relative_standard_uncertainty_percent"]) for case in ("same_calibration", "recalibrated")
    ]
    header = ("relative u [%]", "same calibration", "recalibrated", "dof")
    return header, [*rows, ("combined", *combined, _effective(one))]


def _degrees(each: Content) -> str:
    return "inf" if each["degrees_of_freedom"] is None else f"{each['degrees_of_freedom']:g}"


def _effective(one: Content) -> str:
    both = [one[case]["effective_degrees_of_freedom"] for case in ("same_calibration", "recalibrated")]
    return ", ".join("inf" if each is None else f"{math.floor(each)}" if each < 1000 else "> 999" for each in both)


# --- revisions -------------------------------------------------------------------------------------------------------------------


def history(
    revisions: Sequence[FactorOnFile], readings: Sequence[ReadingWithFactor], units: str | None = None
) -> Content:
    """A factor with all its revisions, the first one first, and the readings that used or use it."""
    return {
        "factor": revisions[0].factor.factor,
        "revisions": [
            factor(one, units)
            | {"readings": [_reading(each) for each in readings if each.revision_then == one.factor.revision]}
            for one in revisions
        ],
        # Recorded while their outlets had no factor of this name.
        "other_readings": [_reading(each) for each in readings if each.revision_then is None],
    }


def _reading(one: ReadingWithFactor) -> Content:
    return {
        "reading": one.of.reading.id,
        "job": one.of.job,
        "outlet": one.of.outlet.outlet,
        "observed_at": one.of.reading.observed_at,
        "recorded_at": one.written.time,
        "evaluated_with_revision": one.revision_now,
    }


def revision_text(one: Content) -> str:
    """Who found a revision, when and why, above its pairs."""
    state = "counts now" if one["counts"] else "superseded"
    return f"{head_text(one)}\n  {state}; found {one['found_at']} by {one['found_by']}: {one['reason']}"


def readings_text(one: Content, latest: int) -> list[str]:
    """The readings recorded while a revision counted, and what they are evaluated with now."""
    if not one["readings"]:
        return ["no reading was recorded while it counted" if not one["counts"] else "no reading was recorded since"]
    now = [each for each in one["readings"] if each["evaluated_with_revision"] is not None]
    gone = [each for each in one["readings"] if each["evaluated_with_revision"] is None]
    evaluated = "" if one["counts"] else f"; evaluated with revision {latest} now"
    lines = [f"recorded while it {'counts' if one['counts'] else 'counted'}: {_named(now)}{evaluated}"] if now else []
    if gone:
        lines.append(f"recorded while it counted: {_named(gone)}; their outlets were amended and have it no more")
    return lines


def others_text(one: Content) -> list[str]:
    """Readings that were recorded before their outlet had the factor, and use it now."""
    others = one["other_readings"]
    return [f"recorded before their outlets had this factor, evaluated with it now: {_named(others)}"] if others else []


def _named(readings: Sequence[Content]) -> str:
    outlets = dict.fromkeys(each["outlet"] for each in readings)
    listed = ", ".join(f"{_numbers(readings, outlet)} ({outlet})" for outlet in outlets)
    return f"reading{'s' if len(readings) > 1 else ''} {listed}"


def _numbers(readings: Sequence[Content], outlet: str) -> str:
    return ", ".join(str(each["reading"]) for each in readings if each["outlet"] == outlet)
