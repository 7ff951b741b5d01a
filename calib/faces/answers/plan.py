"""What can prove each outlet's tolerance, as `calib plan` answers.

Fields of the document. Flows are in the outlet's own unit (`unit` of its `design`), indications in the instrument's.

    job, title, on, decision_rule                        the job, and the day asked about
    coverage_probability                                 of every expanded uncertainty [1]
    at_most                                              U/T that counts as proof; T is the half-width of the tolerance
    air                                                  conditions counted with; null where none are known
        conditions, expected                             their name; whether they were stated as expected
        temperature, pressure, humidity                  each value, unit, standard_uncertainty
        density                                          value, unit, standard_uncertainty
    air_reasons                                          why later conditions on record are of no use
    outlets                                              in the order of the records
        outlet, system, service, place
        design                                           value, unit, half_width, lower_limit, upper_limit; density_kg_per_m3
                                                         at which it is stated (null: as measured); as typed:
                                                         tolerance_percent, tolerance_minus_percent,
                                                         tolerance_plus_percent, minimum_flow, maximum_flow; null: none, or
                                                         the only limit is the design itself
        provable                                         whether an instrument can prove the tolerance; null without design
        answer                                           instrument, probe, method, observations, u_over_t of the one to take:
                                                         the best that proves it and is no reference standard, or
                                                         failing that a standard; null: none proves it
        reason                                           why none proves it; null where one does, or nothing is to be proved
        traverse                                         rule, lines, points that a duct is planned with; else null
        candidates                                       sorted by u_over_t
            instrument, probe, method, certificate
            indication                                   value, unit: what the design flow would show; resolution of the instrument
            design_as_measured                           value, unit: the design flow in the air counted with; null but where
                                                         the design states a density, at which all others of its flows are
            velocity                                     value, unit: mean velocity; null for a hood
            can_prove                                    yes, no, not known
            observations                                 fewest needed (passes of a traverse); null: none suffices, or not known
            standard_uncertainty, expanded_uncertainty   with so many observations; one where that is null
            u_over_t, capability_index                   U/T, and C_m of JCGM 106, 7.6.3
            of_one_observation                           expanded_uncertainty, u_over_t
            however_many_observations                    u_over_t, ruled_by, variance_percent: what more observations leave
            acceptance_interval                          from, to: flows as measured that would pass with that U; null: none
                                                         would, or U is not known
            conditional_interval                         the same, conditional passes with them; null but by the non-binary rule
            flags                                        what is worth knowing of such a reading
        unusable                                         instrument, probe, reasons
        remarks                                          on the place itself
        left_out                                         instruments that fit the place and may not be used on that day
    left_out                                             instrument, reasons: not to be used on that day
    reference_standards                                  instruments among the candidates that serve as such
    without_instrument                                   outlets with a design that no instrument can prove
    without_design                                       outlets that nothing is to be proved of
"""

import math
import textwrap
from collections.abc import Collection, Iterable, Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from calib.arrays import finite
from calib.counted import count_of
from calib.faces.parts.limits import limits_content
from calib.faces.parts.reading_in_full import state_text
from calib.faces.parts.value_in_unit import value_in, velocity_unit
from calib.faces.plain_text import line_width, one_line, table_text
from calib.faces.written import Content, coverage_percent_text, tolerance_text
from calib.procedures.measure.air import AirFound
from calib.procedures.measure.compared import stated_density
from calib.procedures.on_record.flow_unit import flow_unit
from calib.procedures.plan.planned import (
    EXPECTED,
    NO,
    NOT_KNOWN,
    YES,
    JobPlan,
    OutletPlan,
    PlannedAcceptance,
    Predicted,
)
from calib.quantities import Unit, preferred, unit
from calib.records.tables.instruments import Instrument
from calib.records.words import MEASURED_AS, OUTLET
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.statement import plain, round_uncertainty

_REASONS = 2  # of what speaks against an outlet's instruments, in its answer; all stand below it
_WIDTH = 80  # of what is printed; a table is wider where names are long
_SHOWN = {"temperature": "temperature", "barometric pressure": "pressure", "relative humidity": "humidity"}


# --- for machines ----------------------------------------------------------------------------------------------------------------


def document(plan: JobPlan, units: str | None) -> Content:
    """A plan as a document; its fields stand at the top of this file. `units` is "si", "ip", or None for those typed."""
    outlets = [_outlet(outlet, plan.job.decision_rule, units) for outlet in plan.outlets]
    left_out = [{"instrument": each.instrument.tag, "reasons": list(each.reasons)} for each in plan.left_out]
    for outlet in outlets:
        outlet.update(_answered(outlet, plan.standards, left_out))
    return {
        "job": plan.job.job,
        "title": plan.job.title,
        "on": str(plan.wish.at.date()),
        "decision_rule": plan.job.decision_rule,
        "coverage_probability": COVERAGE_PROBABILITY,
        "at_most": plan.wish.at_most,
        "air": None if plan.air is None else _air(plan.air, units),
        "air_reasons": list(plan.air_reasons),
        "outlets": outlets,
        "left_out": left_out,
        "reference_standards": list(plan.standards),
        "without_instrument": [outlet.outlet.outlet for outlet in plan.without_instrument],
        "without_design": [outlet.outlet.outlet for outlet in plan.outlets if not outlet.has_design],
    }


def _air(air: AirFound, units: str | None) -> Content:
    rows = {
        _SHOWN[row.condition.quantity]: _condition(row.value, row.standard_uncertainty, row.condition.quantity, units)
        for row in air.rows
        if row.condition.quantity in _SHOWN
    }
    density = value_in(preferred("density", units or "si"), air.density, air.standard_uncertainty)
    return {"conditions": air.name, "expected": air.name == EXPECTED, **rows, "density": density}


def _condition(value: float, u: float, quantity: str, units: str | None) -> Content:
    measured = MEASURED_AS[quantity]
    # The pressure of the atmosphere has other units than that of ducts.
    atmosphere = unit("pressure", "inHg(0degC)" if units == "ip" else "kPa")
    return value_in(atmosphere if measured == "pressure" else preferred(measured, units or "si"), value, u)


def _outlet(plan: OutletPlan, rule: str, units: str | None) -> Content:
    flow = flow_unit(plan.outlet, units)
    traverse = None if plan.traverse is None else dict(zip(("rule", "lines", "points"), plan.traverse, strict=True))
    return {
        "outlet": plan.outlet.outlet,
        "system": plan.outlet.system,
        "service": plan.outlet.service,
        "place": plan.outlet.place or OUTLET,
        "design": _design(plan, flow) if plan.has_design else None,
        "provable": plan.provable if plan.has_design else None,
        "traverse": traverse,
        "candidates": [_candidate(each, plan, flow, rule, units) for each in plan.candidates],
        "unusable": [
            {**_tags(each.gear.instrument, each.gear.probe), "reasons": list(each.reasons)} for each in plan.unusable
        ],
        "remarks": list(plan.remarks),
        "left_out": list(plan.left_out),
    }


def _tags(instrument: Instrument, probe: Instrument | None) -> Content:
    return {"instrument": instrument.tag, "probe": None if probe is None else probe.tag}


def _design(plan: OutletPlan, flow: Unit) -> Content:
    return {
        **value_in(flow, plan.design),
        **limits_content(plan.outlet, plan.design, flow),
        "half_width": flow.difference_from_si(plan.half_width),
        "density_kg_per_m3": finite(stated_density(plan.outlet)),
    }


def _candidate(predicted: Predicted, plan: OutletPlan, flow: Unit, rule: str, units: str | None) -> Content:
    instrument, budget = predicted.gear.instrument, predicted.with_them
    shown = unit(instrument.indicated, instrument.unit)
    accepted, at_density = predicted.acceptance(plan.limits, rule), math.isfinite(stated_density(plan.outlet))
    return {
        **_tags(instrument, predicted.gear.probe),
        "method": predicted.method.method,
        "certificate": predicted.standing.calibration.certificate,
        "indication": value_in(shown, predicted.standing.indication.mean) | {"resolution": instrument.resolution},
        "design_as_measured": value_in(flow, predicted.as_measured(plan.design)) if at_density else None,
        "velocity": None
        if predicted.gear.way.is_flow
        else value_in(velocity_unit(instrument.unit, units), predicted.velocity),
        "can_prove": predicted.verdict,
        "observations": predicted.observations,
        "standard_uncertainty": flow.difference_from_si(budget.standard_uncertainty),
        "expanded_uncertainty": flow.difference_from_si(budget.expanded_uncertainty),
        "u_over_t": predicted.over_tolerance,
        "capability_index": predicted.capability,
        "of_one_observation": {
            "expanded_uncertainty": flow.difference_from_si(predicted.of_one.expanded_uncertainty),
            "u_over_t": predicted.ratio_of(predicted.of_one),
        },
        "however_many_observations": {
            "u_over_t": predicted.least,
            "ruled_by": predicted.ruling.name,
            "variance_percent": predicted.ruling.variance_percent,
        },
        **_intervals(accepted, flow, known=predicted.verdict != NOT_KNOWN),
        "flags": list(predicted.standing.flags),
    }


def _intervals(accepted: PlannedAcceptance, flow: Unit, *, known: bool) -> Content:
    interval = accepted.interval if known else None
    ends = {"acceptance_interval": interval, "conditional_interval": accepted.conditional}
    return {
        name: None
        if pair is None
        else {end: finite(flow.from_si(limit)) for end, limit in zip(("from", "to"), pair, strict=True)}
        for name, pair in ends.items()
    }


def _answered(outlet: Content, standards: Collection[str], left_out: Sequence[Content]) -> Content:
    """What to take, or why nothing proves it."""
    if outlet["design"] is None:
        return {"answer": None, "reason": None}
    proving = [each for each in outlet["candidates"] if each["can_prove"] == YES]
    first = next((each for each in proving if each["instrument"] not in standards), next(iter(proving), None))
    if first is None:
        return {"answer": None, "reason": _reason(outlet, left_out)}
    names = ("instrument", "probe", "method", "observations", "u_over_t")
    return {"answer": {name: first[name] for name in names}, "reason": None}


def _reason(outlet: Content, left_out: Sequence[Content]) -> str:
    """What stands in the way: the best instrument's largest influence, or what keeps each from being used."""
    if outlet["candidates"]:
        best = next((each for each in outlet["candidates"] if each["can_prove"] == NOT_KNOWN), outlet["candidates"][0])
        why = [f"{_name(best)} is the best, and {each}" for each in _why_not(best, outlet)]
        away = [f"left out that day: {', '.join(outlet['left_out'])}"] if outlet["left_out"] else []
    else:
        why = [_said_of(those, reason) for reason, those in _together(outlet["unusable"])]
        away = [reason for each in left_out if each["instrument"] in outlet["left_out"] for reason in each["reasons"]]
    return "; ".join([*why[:_REASONS], *away[:_REASONS]]) or "nothing at hand fits the place"


# --- for people ------------------------------------------------------------------------------------------------------------------


def text(answer: Content) -> str:
    """The same for people."""
    blocks = [
        *_answers(answer),
        _head(answer),
        *(_outlet_lines(outlet) for outlet in answer["outlets"]),
        *_tail(answer),
    ]
    return "\n\n".join("\n".join(block) for block in blocks)


def _answers(answer: Content) -> list[list[str]]:
    """First what each outlet is measured with, or why nothing proves its tolerance."""
    title = f", {answer['title']}" if answer["title"] else ""
    first = f"{answer['job']}{title}: what can prove each outlet's tolerance on {answer['on']}"
    designed = [outlet for outlet in answer["outlets"] if outlet["design"]]
    lines = [line for outlet in designed for line in _wrapped(f"{outlet['outlet']}: {_answer(outlet)}", "  ", "    ")]
    return [[*_wrapped(first, ""), *_wrapped(_summary(answer), "")], *([lines] if lines else [])]


def _answer(outlet: Content) -> str:
    taken = outlet["answer"]
    if taken is None:
        return f"NOT PROVABLE: {outlet['reason']}"
    counted = ("pass", "passes") if outlet["traverse"] else ("observation", "observations")
    how = f"{_name(taken)}, {taken['method']}, {count_of(taken['observations'], *counted)}"
    return f"{how} (U/T = {taken['u_over_t']:.2f})"


def _head(answer: Content) -> list[str]:
    probability = f"{coverage_percent_text(answer['coverage_probability'])} %"
    return [
        *_wrapped(_air_line(answer), ""),
        "",
        f"  T         half-width of the tolerance; U/T up to {answer['at_most']:g} proves it (--at-most)",
        "  obs.      observations needed for that (passes of a traverse); -: none suffice",
        f"  U         expanded uncertainty ({probability}) with them; where -, with one",
        f"  accepted  measured flows that would pass with that U; rule: {answer['decision_rule']}",
    ]


def _air_line(answer: Content) -> str:
    air = answer["air"]
    if air is None:
        why = f" ({'; '.join(answer['air_reasons'])})" if answer["air_reasons"] else ""
        return f"Air: no conditions are stated or on record{why}."
    three = [air[quantity] for quantity in _SHOWN.values()]
    values = ", ".join(f"{condition['value']:.4g} {condition['unit']}" for condition in three)
    within = ", ".join(f"{condition['standard_uncertainty']:.2g} {condition['unit']}" for condition in three)
    density = f"density {air['density']['value']:.4g} {air['density']['unit']}"
    if air["expected"]:
        return f"Air, as expected: {values}, {density}; to be measured with standard uncertainties of {within}."
    return f"Air, conditions {air['conditions']!r} on record: {values}, {density}."


def _outlet_lines(outlet: Content) -> list[str]:
    place = f"{outlet['outlet']} ({outlet['place']}, {outlet['system']} {outlet['service']})"
    if outlet["design"] is None:
        return _wrapped(f"{place}: {' '.join(outlet['remarks']) or 'no design flow, nothing to prove'}", "")
    lines = _wrapped(f"{place}: {_design_text(outlet)}", "")
    if outlet["traverse"]:
        lines += _wrapped("traverse: {rule}, {lines} lines of {points} points".format(**outlet["traverse"]))
    if not outlet["provable"]:
        lines += _wrapped(f"NO INSTRUMENT AT HAND CAN PROVE IT: {_best(outlet)}")
    if outlet["candidates"]:
        lines += _table(outlet)
    return [*lines, *_conditional(outlet), *_why_lines(outlet)]


def _design_text(outlet: Content) -> str:
    design, moving = outlet["design"], [each["velocity"] for each in outlet["candidates"] if each["velocity"]]
    mean = f", mean velocity {_short(moving[0]['value'], 3)} {moving[0]['unit']}" if moving else ""
    return (
        f"{_short(design['value'])} {design['unit']}{_state(design)} {tolerance_text(design)}, "
        f"T = {_short(design['half_width'])} {design['unit']}{mean}"
    )


def _state(design: Content) -> str:
    """The density at which a design is stated, as it is said behind the flow."""
    density = design["density_kg_per_m3"]
    return "" if density is None else f" {state_text(density)}"


def _best(outlet: Content) -> str:
    away = f"; left out that day: {', '.join(outlet['left_out'])} (reasons at the end)" if outlet["left_out"] else ""
    if not outlet["candidates"]:
        return f"none can be used here{away}"
    best = outlet["candidates"][0]
    return f"the best is {_name(best)}, {best['method']}, with U/T = {best['u_over_t']:.2f}{away}"


def _name(candidate: Content) -> str:
    return (
        candidate["instrument"] if candidate["probe"] is None else f"{candidate['instrument']} + {candidate['probe']}"
    )


def _table(outlet: Content) -> list[str]:
    counted = "passes" if outlet["traverse"] else "obs."
    header = (
        "instrument",
        "method",
        "will show",
        f"U [{outlet['design']['unit']}]",
        "U/T",
        counted,
        "proves",
        "accepted",
    )
    return [table_text(header, [_row(candidate) for candidate in outlet["candidates"]], "  ", right=(2, 3, 4, 5, 7))]


def _row(candidate: Content) -> tuple[str, ...]:
    shown, count = candidate["indication"], candidate["observations"]
    at_least = ">= " if candidate["can_prove"] == NOT_KNOWN else ""
    return (
        one_line(_name(candidate)),
        one_line(candidate["method"]),
        f"{shown['value']:.{_decimals(shown['resolution'])}f} {shown['unit']}",
        at_least + plain(round_uncertainty(candidate["expanded_uncertainty"])),
        f"{candidate['u_over_t']:.2f}",
        "-" if count is None else str(count),
        candidate["can_prove"],
        _ends(candidate["acceptance_interval"], candidate["expanded_uncertainty"]),
    )


def _decimals(resolution: str) -> int:
    """Decimals that an instrument of a resolution shows."""
    return max(-int(Decimal(resolution).as_tuple().exponent), 0)


def _ends(pair: Content | None, expanded_uncertainty: float) -> str:
    """An interval with its ends rounded inwards, to the place of U or, where that leaves nothing, to finer ones."""
    if pair is None:
        return "-"
    low, high = (None if pair[end] is None else Decimal(repr(pair[end])) for end in ("from", "to"))
    for digits in (2, 4, 6):
        grain = round_uncertainty(expanded_uncertainty, digits)
        if low is None:
            return "-" if high is None else f"≤ {plain(high.quantize(grain, ROUND_FLOOR))}"
        if high is None:
            return f"≥ {plain(low.quantize(grain, ROUND_CEILING))}"
        ends = low.quantize(grain, ROUND_CEILING), high.quantize(grain, ROUND_FLOOR)
        if ends[0] <= ends[1]:
            return " to ".join(plain(end) for end in ends)
    return "-"


def _conditional(outlet: Content) -> list[str]:
    pairs = [each["conditional_interval"] for each in outlet["candidates"]]
    if not pairs or pairs[0] is None:
        return []
    ends = " and ".join(_short(end) for end in pairs[0].values() if end is not None)
    return _wrapped(f"conditional pass: out to {ends} {outlet['design']['unit']}")


def _short(value: float, digits: int = 5) -> str:
    """A number to a few digits, as a person writes it: 1305.4, 67.5, 120000."""
    return plain(Decimal(f"{value:.{digits}g}"))


def _why_lines(outlet: Content) -> list[str]:
    lines = list(outlet["remarks"])
    for each in outlet["candidates"]:
        lines += [_said_of([each], why) for why in (*_why_not(each, outlet), *each["flags"])]
    lines += [_said_of(those, reason) for reason, those in _together(outlet["unusable"])]
    return [line for told in lines for line in _wrapped(told, "  - ")]


def _why_not(candidate: Content, outlet: Content) -> Iterable[str]:
    counted = "passes" if outlet["traverse"] else "observations"
    left = candidate["however_many_observations"]
    if candidate["can_prove"] == NO:
        yield (
            f"no number of {counted} suffices, U/T stays at {left['u_over_t']:.2f}: {left['ruled_by']} rules "
            f"({left['variance_percent']:.0f} % of the variance)"
        )
    if candidate["can_prove"] == NOT_KNOWN:
        yield (
            f"it declares no repeatability, so U holds none and the {counted} needed cannot be told: have one declared, or "
            "take two or more and see"
        )


def _together(unusable: Sequence[Content]) -> Iterable[tuple[str, list[Content]]]:
    """Each reason with all that it speaks against."""
    those: dict[str, list[Content]] = {}
    for gear in unusable:
        for reason in gear["reasons"]:
            those.setdefault(reason, []).append(gear)
    return those.items()


def _said_of(those: Sequence[Content], reason: str) -> str:
    """A reason with the names before it, unless it begins with the tag that it speaks of."""
    tags = {tag for gear in those for tag in (gear["instrument"], gear["probe"])}
    if any(reason.startswith(f"{tag}: ") for tag in tags):
        return reason
    return f"{', '.join(_name(gear) for gear in those)}: {reason}"


def _tail(answer: Content) -> list[list[str]]:
    left_out = [line for gear in answer["left_out"] for reason in gear["reasons"] for line in _wrapped(reason, "  - ")]
    blocks = [[f"Left out on {answer['on']}:", *left_out]] if left_out else []
    last = []
    if answer["reference_standards"]:
        tags = ", ".join(answer["reference_standards"])
        last += _wrapped(f"Reference standard: {tags}; keep it for calibrations where another instrument can do.", "")
    return [*blocks, [*last, *_wrapped(_PREDICTED, "")]]


_PREDICTED = (
    "These are predictions at the design flow, with the repeatability that each instrument declares: air that fluctuates "
    "more needs more observations."
)


def _summary(answer: Content) -> str:
    without, designed = answer["without_instrument"], [outlet for outlet in answer["outlets"] if outlet["design"]]
    if not designed:
        return "No outlet of this job has a design flow: there is nothing to prove."
    if without:
        return (
            f"Outlets with a design: {len(designed)}; without an instrument that can prove them: {', '.join(without)}."
        )
    return f"Outlets with a design: {len(designed)}; each has an instrument that can prove it."


def _wrapped(told: str, before: str = "  ", after: str | None = None) -> list[str]:
    after = " " * len(before) if after is None else after
    return textwrap.wrap(
        one_line(told), line_width(_WIDTH), initial_indent=before, subsequent_indent=after, break_on_hyphens=False
    )
