"""The appendix: each calibration with its comparisons and its curve, and of each kind of measurement one budget in full."""

from collections.abc import Iterator, Mapping

from calib.faces.drawings.calibration import calibration_charts
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
    TableColumn,
    TableRow,
    number_columns,
    paragraph,
    runs,
)
from calib.faces.report.table_cells import NOTHING, row_of, words_cell
from calib.faces.written import Content, significant, unit_text
from calib.procedures.on_record.calibrations import CalibrationOnFile

Used = Mapping[tuple[str, str], CalibrationOnFile]


def calibrations_appendix(content: Content, used: Used, anchors: Anchors) -> Iterator[Block]:
    """Each calibration that a flow rests on: the certificate, its comparisons as typed, the curve and what differs from it."""
    if not content["instruments"]:
        return
    yield Heading(2, "Appendix A: calibrations", "calibrations")
    yield paragraph(
        "c = reference value − indication. The curve is fitted to the comparisons of one phase; residuals are what those "
        "differ from it. Its scatter is the Type A part of the calibration, with the degrees of freedom given; of each "
        "coefficient u is by that scatter, and r are the correlations with those before it. The reference part is U/k of the "
        "certificate, interpolated between the comparisons, and is not reduced by more of them."
    )
    shown = (*content["instruments"], *content["reference_standards"])
    for instrument in shown:
        yield from _calibration(instrument, anchors)
    caption = "Comparisons with their U, curve with its band, and below them the residuals, enlarged."
    charts = calibration_charts([used[each["tag"], each["certificate"]] for each in shown])
    if charts:
        yield Heading(3, "Curves of the calibrations", "curves")
    for place, chart in enumerate(charts):
        yield Picture(f"curves-{place}", chart.figure, chart.words, runs(caption))


def _calibration(instrument: Content, anchors: Anchors) -> Iterator[Block]:
    place = (instrument["tag"], instrument["certificate"])
    yield Heading(3, f"{instrument['tag']}, certificate {instrument['certificate']}", anchors.of("calibration", *place))
    yield paragraph(*_certificate(instrument, anchors))
    yield paragraph(*_specified(instrument), soft=True)
    yield _comparisons(instrument)
    yield paragraph(*_curve(instrument), *_coefficients(instrument), anchor=anchors.of("curve", *place))


def _certificate(instrument: Content, anchors: Anchors) -> Iterator[str | Run]:
    used = anchors.of("instrument", instrument["tag"], instrument["certificate"])
    yield from (Run(instrument["tag"], to=used), ", ", instrument["kind"], ": ")
    yield from (
        instrument["laboratory"],
        ", ",
        instrument["accreditation"] or "no accreditation stated",
        f"; calibrated {instrument['calibrated_on']}",
    )
    if instrument["issued_on"]:
        yield f", certificate issued {instrument['issued_on']}"
    yield f"; accepted {accepted_on(instrument)}; due {instrument['due_on']}"
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
    yield "; reference standards "
    yield from (
        reference_standards(instrument, anchors)
        if instrument["reference_standards"]
        else ("as the certificate states",)
    )
    yield "."


def reference_standards(instrument: Content, anchors: Anchors) -> Iterator[str | Run]:
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
    yield f"; limits of change since calibration ± {_limits(percent, absolute, unit)}, "
    yield instrument["stability_basis"]
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


def _comparisons(instrument: Content) -> Table:
    columns = (
        TableColumn("Phase", is_short=True),
        *number_columns("Reference", "Indication"),
        TableColumn("Unit", is_short=True),
        *number_columns(
            "U", "k", "Repeatability", "Observations", f"Residual [{unit_text(instrument['residual_unit'])}]"
        ),
    )
    rows = tuple(_comparison(each) for each in instrument["comparisons"])
    return Table(
        f"Comparisons of {instrument['tag']}, certificate {instrument['certificate']}", columns, rows, is_compact=True
    )


def _comparison(each: Content) -> TableRow:
    residual = each["residual"]
    unit = f"{each['unit']}, {each['indication_unit']}" if each["indication_unit"] else each["unit"]
    return row_of(
        words_cell(each["phase"]),
        _typed(each["reference"]),
        _typed(each["indication"]),
        words_cell(unit_text(unit)),
        _typed(each["expanded_uncertainty"]),
        _typed(each["coverage_factor"]),
        _typed(each["repeatability"]),
        _typed(each["observations"]),
        Cell((Run("not used"),)) if residual is None else Cell((Run(significant(residual, 3)),), residual),
    )


def _typed(text: object) -> Cell:
    """A number as somebody typed it."""
    return NOTHING if text is None else Cell((Run(str(text)),), float(str(text)))


def _curve(instrument: Content) -> Iterator[str | Run]:
    curve = instrument["curve"]
    yield Run("Curve", Mark.STRONG)
    yield f" {curve['formula']}, in {unit_text(curve['unit'])}, for indications from {unit_text(instrument['measuring_interval'])}"
    yield f"; made from the comparisons {curve['made_from']}, {curve['degrees_of_freedom']:g} degrees of freedom; {curve['title']}"
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
    """Coefficients with what their scatter says of them; of candidates of a higher degree, whose scatter counts too, it is 0."""
    curve, scatter = instrument["curve"], instrument["curve"]["scatter"]
    known = dict(zip(curve["coefficient_names"], curve["coefficients"], strict=True))
    yield " Coefficients: "
    for place, name in enumerate(scatter["names"]):
        yield f"{'; ' if place else ''}{name} = {significant(known.get(name, 0.0), 7)}"
        yield f", u = {significant(scatter['standard_uncertainties'][place], 5)}"
        correlations = [significant(each, 7) for each in scatter["correlations"][place][:place]]
        yield f", r = {', '.join(correlations)}" if place else ""
    yield "."
