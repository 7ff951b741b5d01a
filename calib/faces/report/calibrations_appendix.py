"""The appendix: each calibration with its comparisons and its curve, and of each kind of measurement one budget in full."""

from collections.abc import Iterator, Mapping

from calib.faces.drawings.calibration import calibration_chart
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Cell,
    Heading,
    Mark,
    Paragraph,
    Picture,
    Run,
    Table,
    TableColumn,
    TableRow,
    runs,
)
from calib.faces.report.table_cells import NOTHING, digits_cell, words_cell
from calib.faces.written import Content, significant
from calib.procedures.on_record.calibrations import CalibrationOnFile

Used = Mapping[tuple[str, str], CalibrationOnFile]


def calibrations_appendix(content: Content, used: Used, anchors: Anchors) -> Iterator[Block]:
    """Each calibration that a flow rests on: the certificate, its comparisons as typed, the curve and what differs from it."""
    if not content["instruments"]:
        return
    yield Heading(2, "Appendix A: calibrations", "calibrations", begins_page=True)
    yield Paragraph(
        runs(
            "c = reference value − indication. The curve is fitted to the comparisons of one phase; residuals are what those "
            "differ from it. Its scatter is the Type A part of the calibration, with the degrees of freedom "
            "given; the reference part is "
            "U/k of the certificate, interpolated between the comparisons, and is not reduced by more of them."
        )
    )
    for one in (*content["instruments"], *content["reference_standards"]):
        yield from _calibration(one, used[one["tag"], one["certificate"]], anchors)


def _calibration(one: Content, kept: CalibrationOnFile, anchors: Anchors) -> Iterator[Block]:
    place = (one["tag"], one["certificate"])
    yield Heading(3, f"{one['tag']}, certificate {one['certificate']}", anchors.of("calibration", *place))
    yield Paragraph(runs(*_certificate(one, anchors)))
    yield Paragraph(runs(*_specified(one)), soft=True)
    yield _comparisons(one)
    yield Paragraph(runs(*_curve(one)), anchor=anchors.of("curve", *place))
    yield _coefficients(one)
    chart = calibration_chart(kept)
    caption = runs(
        Run(one["tag"], Mark.STRONG), ", certificate ", one["certificate"], ": comparisons, curve and residuals."
    )
    yield Picture(anchors.of("picture", *place), chart.figure, chart.words, caption)


def _certificate(one: Content, anchors: Anchors) -> Iterator[str | Run]:
    yield from (Run(one["tag"], to=anchors.of("instrument", one["tag"], one["certificate"])), ", ", one["kind"], ": ")
    yield from (
        one["laboratory"],
        ", ",
        one["accreditation"] or "no accreditation stated",
        f"; calibrated {one['calibrated_on']}",
    )
    if one["issued_on"]:
        yield f", certificate issued {one['issued_on']}"
    yield f"; accepted {one['accepted_on'] or 'not yet'}; due {one['due_on']}"
    air = [
        f"{one[name]} {symbol}"
        for name, symbol in (
            ("temperature_degC", "°C"),
            ("pressure_kPa", "kPa"),
            ("humidity_percent", "% relative humidity"),
        )
        if one[name]
    ]
    yield f"; conditions {', '.join(air)}" if air else "; conditions not stated"
    if one["procedure"]:
        yield from ("; procedure ", one["procedure"])
    yield "; reference standards "
    yield from standards(one, anchors) if one["reference_standards"] else ("as the certificate states",)
    yield "."


def standards(one: Content, anchors: Anchors) -> Iterator[str | Run]:
    """The reference standards of the register that a calibration was made with, each leading to its own calibration."""
    certificates = {each["tag"]: each["certificate"] for each in one["standards"]}
    for place, tag in enumerate(one["reference_standards"]):
        yield ", " if place else ""
        if tag in certificates:
            said = f"{tag}, certificate {certificates[tag]}"
            yield Run(said, to=anchors.of("calibration", tag, certificates[tag]))
        else:
            yield tag


def _specified(one: Content) -> Iterator[str]:
    """What the budgets take from the register."""
    unit = one["unit"]
    yield f"Resolution {one['resolution']} {unit}"
    yield (
        f"; declared repeatability {one['repeatability']} {unit}"
        if one["repeatability"]
        else "; no repeatability declared"
    )
    limits = one["stability_percent"] is not None or one["stability_absolute"] is not None
    percent, absolute = (one[f"{'stability' if limits else 'mpe'}_{part}"] for part in ("percent", "absolute"))
    yield f"; limits of change since calibration ± {_limits(percent, absolute, unit)}, "
    yield one["stability_basis"]
    if one["resistance_ratio"]:
        yield f"; ratio of resistances r = {one['resistance_ratio']}, u(r) = {one['resistance_ratio_standard_uncertainty']}"
    yield "."


def _limits(percent: object, absolute: object, unit: str) -> str:
    """A part that is nothing is not named: 0.05 kPa, 2 % of the indication, (2 % of the indication + 0.02 m/s)."""
    limits = ((percent, "% of the indication"), (absolute, unit))
    parts = [f"{limit} {of}" for limit, of in limits if float(str(limit or 0))]
    return f"({' + '.join(parts)})" if len(parts) > 1 else (parts or [f"0 {unit}"])[0]


def _comparisons(one: Content) -> Table:
    columns = (
        TableColumn("Phase", is_short=True),
        TableColumn("Reference", is_number=True),
        TableColumn("Indication", is_number=True),
        TableColumn("Unit", is_short=True),
        TableColumn("U", is_number=True),
        TableColumn("k", is_number=True),
        TableColumn("Repeatability", is_number=True),
        TableColumn("Observations", is_number=True),
        TableColumn(f"Residual [{one['residual_unit']}]", is_number=True),
    )
    rows = tuple(_comparison(each) for each in one["comparisons"])
    return Table(f"Comparisons of {one['tag']}, certificate {one['certificate']}", columns, rows, is_compact=True)


def _comparison(each: Content) -> TableRow:
    residual = each["residual"]
    unit = f"{each['unit']}, {each['indication_unit']}" if each["indication_unit"] else each["unit"]
    return TableRow(
        (
            words_cell(each["phase"]),
            _typed(each["reference"]),
            _typed(each["indication"]),
            words_cell(unit),
            _typed(each["expanded_uncertainty"]),
            _typed(each["coverage_factor"]),
            _typed(each["repeatability"]),
            _typed(each["observations"]),
            Cell((Run("not used"),)) if residual is None else Cell((Run(significant(residual, 3)),), residual),
        )
    )


def _typed(text: object) -> Cell:
    """A number as somebody typed it."""
    return NOTHING if text is None else Cell((Run(str(text)),), float(str(text)))


def _curve(one: Content) -> Iterator[str | Run]:
    curve = one["curve"]
    yield Run("Curve", Mark.STRONG)
    yield f" {curve['formula']}, in {curve['unit']}, for indications from {one['measuring_interval']}"
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


def _coefficients(one: Content) -> Table:
    curve = one["curve"]
    columns = (
        TableColumn("Coefficient"),
        TableColumn("Value", is_number=True),
        TableColumn("u, from scatter", is_number=True),
    )
    rows = tuple(
        TableRow((words_cell(name), digits_cell(value, 7), digits_cell(u, 2)))
        for name, value, u in zip(
            curve["coefficient_names"], curve["coefficients"], curve["standard_uncertainties"], strict=True
        )
    )
    return Table(f"Coefficients of {one['tag']}, certificate {one['certificate']}", columns, rows, is_compact=True)
