"""The appendix of calibrations, each with its comparisons and its curve."""

from collections.abc import Iterator, Mapping

from calib.faces.drawings.calibration import small_calibration_chart
from calib.faces.parts.signature import signature_told
from calib.faces.parts.two_days import accepted_on
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Cell,
    Heading,
    Mark,
    Picture,
    Run,
    Table,
    TableRow,
    number_columns,
    paragraph,
    runs,
)
from calib.faces.report.table_cells import NOTHING, digits_cell, row_of
from calib.faces.written import Content, degrees_text, significant, unit_text, with_powers
from calib.procedures.measure.stability import MPE
from calib.procedures.on_record.calibrations import CalibrationOnFile

Used = Mapping[tuple[str, str], CalibrationOnFile]


def calibrations_appendix(content: Content, used: Used, anchors: Anchors) -> Iterator[Block]:
    """Each calibration that a flow rests on: the certificate, its comparisons as typed, the curve and what differs from it."""
    if not content["instruments"]:
        return
    yield Heading(2, "Appendix B: calibrations", "calibrations", is_in_columns=True)
    yield paragraph(
        "c = reference value − indication. The curve is fitted to the comparisons of one phase; residuals are what those "
        "differ from it. U is that of the certificate, s the repeatability of n observations. The curve's scatter is the Type A "
        "part of the calibration, with the degrees of freedom given; of each "
        "coefficient u is by that scatter, and r are the correlations with those before it. The reference part is U/k of the "
        "certificate, interpolated between the comparisons, and is not reduced by more of them. Limits of change since the "
        f"calibration are the {MPE} where nothing else is said, reference standards are as the certificate states. Pictures show "
        "the comparisons with their U, and the curve with its band for k = 2; a curve that is a constant has none."
    )
    for instrument in (*content["instruments"], *content["reference_standards"]):
        yield from _calibration(instrument, used[instrument["tag"], instrument["certificate"]], anchors)


def _calibration(instrument: Content, on_file: CalibrationOnFile, anchors: Anchors) -> Iterator[Block]:
    place = (instrument["tag"], instrument["certificate"])
    yield Heading(3, f"{instrument['tag']}, certificate {instrument['certificate']}", anchors.of("calibration", *place))
    yield paragraph(*_certificate(instrument, anchors), *_specified(instrument))
    yield from _comparisons(instrument)
    yield paragraph(*_curve(instrument), *_coefficients(instrument), anchor=anchors.of("curve", *place))
    if len(instrument["curve"]["coefficients"]) > 1:
        chart = small_calibration_chart(on_file)
        yield Picture(f"curve-{anchors.of('calibration', *place)}", chart.figure, chart.words)


def _certificate(instrument: Content, anchors: Anchors) -> Iterator[str | Run]:
    used = anchors.of("instrument", instrument["tag"], instrument["certificate"])
    yield from (Run(instrument["tag"], to=used), ": ")
    yield from (instrument["laboratory"], ", ", instrument["accreditation"] or "no accreditation stated")
    if instrument["issued_on"]:
        yield f"; certificate issued {instrument['issued_on']}"
    yield f"; accepted {accepted_on(instrument)}"
    if instrument["departure_reason"]:
        yield f"; accepted departing from the register: {instrument['departure_reason']}"
    air = [
        f"{instrument[name]} {symbol}"
        for name, symbol in (
            ("temperature_degC", "°C"),
            ("pressure_kPa", "kPa"),
            ("humidity_percent", "% relative humidity"),
        )
        if instrument[name]
    ]
    yield f"; conditions {', '.join(air)}" if air else "; conditions not stated"
    if instrument["procedure"]:
        yield from ("; procedure ", instrument["procedure"])
    for signature in instrument["signatures"]:
        yield f"; {signature_told(signature)}"
    if instrument["reference_standards"]:
        yield "; reference standards "
        yield from _reference_standards(instrument, anchors)
    yield ". "


def _reference_standards(instrument: Content, anchors: Anchors) -> Iterator[str | Run]:
    """The reference standards of the register that a calibration was made with, each leading to its own calibration."""
    certificates = {each["tag"]: each["certificate"] for each in instrument["standards"]}
    for place, tag in enumerate(instrument["reference_standards"]):
        yield ", " if place else ""
        if tag in certificates:
            said = f"{tag}, certificate {certificates[tag]}"
            yield Run(said, to=anchors.of("calibration", tag, certificates[tag]))
        else:
            yield tag


def _specified(instrument: Content) -> Iterator[str]:
    """What the budgets take from the register."""
    unit = unit_text(instrument["unit"])
    yield f"Resolution {instrument['resolution']} {unit}"
    yield (
        f"; declared repeatability {instrument['repeatability']} {unit}"
        if instrument["repeatability"]
        else "; no repeatability declared"
    )
    limits = instrument["stability_percent"] is not None or instrument["stability_absolute"] is not None
    percent, absolute = (instrument[f"{'stability' if limits else 'mpe'}_{part}"] for part in ("percent", "absolute"))
    yield f"; limits of change ± {_limits(percent, absolute, unit)}"
    if instrument["stability_basis"] != MPE:
        yield from (", ", instrument["stability_basis"])
    if instrument["resistance_ratio"]:
        yield f"; ratio of resistances r = {instrument['resistance_ratio']}"
        yield f", u(r) = {instrument['resistance_ratio_standard_uncertainty']}"
    if instrument["reference_temperature_degC"]:
        yield f"; reference state {instrument['reference_temperature_degC']} °C, "
        yield f"{instrument['reference_pressure_kPa']} kPa, dry air"
    yield "."


def _limits(percent: object, absolute: object, unit: str) -> str:
    """A part that is nothing is not named: 0.05 kPa, 2 % of the indication, (2 % of the indication + 0.02 m/s)."""
    limits = ((percent, "% of the indication"), (absolute, unit))
    parts = [f"{limit} {of}" for limit, of in limits if float(str(limit or 0))]
    return f"({' + '.join(parts)})" if len(parts) > 1 else (parts or [f"0 {unit}"])[0]


def _comparisons(instrument: Content) -> Iterator[Table]:
    """A table of each phase; its caption names it where there are several."""
    phases = dict.fromkeys(each["phase"] for each in instrument["comparisons"])
    for phase in phases:
        rows = [each for each in instrument["comparisons"] if each["phase"] == phase]
        is_used = phase == instrument["curve"]["made_from"]
        unit, indicated = rows[0]["unit"], rows[0]["indication_unit"] or rows[0]["unit"]
        has_spread = any(each["repeatability"] for each in rows)
        columns = (
            *number_columns(f"Reference [{unit_text(unit)}]", f"Indication [{unit_text(indicated)}]", "U", "k"),
            *(number_columns("s", "n") if has_spread else ()),
            *(number_columns(f"Residual [{unit_text(instrument['residual_unit'])}]") if is_used else ()),
        )
        yield Table(
            f"Comparisons of {instrument['tag']}, certificate {instrument['certificate']}, {phase}",
            columns,
            tuple(_comparison(each, has_spread=has_spread) for each in rows),
            runs(f"{phase}{'' if is_used else ', not used'}") if len(phases) > 1 else (),
            is_compact=True,
        )


def _comparison(each: Content, *, has_spread: bool) -> TableRow:
    """With its repeatability where one of its phase has it, with its residual where the phase is used."""
    typed = [_typed(each[name]) for name in ("reference", "indication", "expanded_uncertainty", "coverage_factor")]
    spread = [_typed(each["repeatability"]), _typed(each["observations"])] if has_spread else []
    residual = [] if each["residual"] is None else [digits_cell(each["residual"], 3)]
    return row_of(*typed, *spread, *residual)


def _typed(text: object) -> Cell:
    """A number as somebody typed it."""
    return NOTHING if text is None else Cell((Run(str(text)),), float(str(text)))


def _curve(instrument: Content) -> Iterator[str | Run]:
    curve = instrument["curve"]
    yield Run("Curve", Mark.STRONG)
    unit, interval = unit_text(curve["unit"]), unit_text(instrument["measuring_interval"])
    yield f" {with_powers(curve['formula'])}, in {unit}, for indications from {interval}"
    yield f"; made from the comparisons {curve['made_from']}, {degrees_text(curve['degrees_of_freedom'])} degrees of freedom"
    yield f"; {curve['title']}"
    if curve["chosen_by"] == "rule":
        yield from (": ", curve["reason"], ".")
    else:
        yield from (", chosen by ", curve["chosen_by"], ": ", curve["reason"], ".")
    if curve["probability"] is not None:
        yield f" Chi-squared {curve['chi_squared']:.2f}, probability {curve['probability']:.3f}."
    if curve["scatter_enlarged_by"] > 1:
        yield f" The scatter variance is enlarged by {curve['scatter_enlarged_by']:.2f}, "
        yield "since the comparisons scatter more than their repeatability explains."


def _coefficients(instrument: Content) -> Iterator[str]:
    """Coefficients with what their scatter says of them; candidates of a higher degree count in that of a lower one too."""
    curve, scatter = instrument["curve"], instrument["curve"]["scatter"]
    known = dict(zip(curve["coefficient_names"], curve["coefficients"], strict=True))
    yield " Coefficients: "
    for place, name in enumerate(scatter["names"]):
        said = f"= {significant(known[name], 7)}" if name in known else "not in the curve"
        yield f"{'; ' if place else ''}{name} {said}"
        yield f", u = {significant(scatter['standard_uncertainties'][place], 5)}"
        correlations = [significant(each, 7) for each in scatter["correlations"][place][:place]]
        yield f", r = {', '.join(correlations)}" if place else ""
    yield "."
