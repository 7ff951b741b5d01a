"""The report as a self-contained HTML page that prints well on A4 and Letter."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from calib.curves.curve import CorrectionCurve
from calib.curves.response import from_text
from calib.faces import charts
from calib.faces.curve_answer import Content
from calib.faces.document import total_name
from calib.faces.reading_answer import probability_text
from calib.procedures.fit_curve import points_of
from calib.procedures.look_up import CalibrationOnFile, typed
from calib.quantities import Unit, unit
from calib.records.tables import Comparison
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.statement import plain, round_result, round_uncertainty


def as_html(report: Content, used: Mapping[tuple[str, str], CalibrationOnFile]) -> str:
    """The page; `used` holds each calibration of the report's instruments by tag and certificate number."""
    environment = Environment(
        loader=PackageLoader("calib.faces"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "rounded": _rounded,
        "two_digits": _two_digits,
        "moment": _moment,
        "velocity": _velocity,
        "percent": probability_text,
        "degrees": _degrees,
        "risk": _risk,
        "by_name": _by_name,
        "skew": _skew,
    }
    environment.globals |= {"total_name": total_name}
    shown = charts.most_bars(report["readings"])
    return environment.get_template("report.html").render(
        report=report,
        coverage_probability=report["readings"][0]["flow"]["coverage_probability"]
        if report["readings"]
        else COVERAGE_PROBABILITY,
        systems=_by_system(report),
        counts=_counts(report),
        contribution_names=_contribution_names(report["readings"]),
        conditions=_conditions(report["readings"]),
        traverses=[one for one in report["readings"] if one["traverse"] is not None],
        curve_charts=[(one, _curve_chart(used[one["tag"], one["certificate"]])) for one in report["instruments"]],
        budget_chart=Markup(charts.as_svg(charts.budget_chart(shown), "budget")) if shown else None,  # noqa: S704 (our own drawing)
        budget_shown=len(shown),
    )


def _by_system(report: Content) -> list[dict[str, Any]]:
    names = dict.fromkeys(one["system"] for part in ("readings", "totals") for one in report[part])
    return [
        {
            "name": name,
            "readings": [one for one in report["readings"] if one["system"] == name],
            "totals": [one for one in report["totals"] if one["system"] == name],
        }
        for name in names
    ]


def _contribution_names(readings: Sequence[Content]) -> list[str]:
    """Contributions that at least one budget lists, from the instrument to the outlet."""
    listed = {each["name"] for one in readings for each in one["contributions"]}
    return [name for name in charts.CONTRIBUTIONS if name in listed]


def _conditions(readings: Sequence[Content]) -> list[Content]:
    """Conditions of the air that readings rest on, each once."""
    used = {one["conditions"]["name"]: one["conditions"] for one in readings if one["conditions"] is not None}
    return list(used.values())


def _counts(report: Content) -> dict[str, int]:
    words = [one["design"]["conformity"] for one in report["readings"] if one["design"] and one["in_totals"]]
    return {
        word: words.count(word) for word in ("pass", "conditional pass", "conditional fail", "fail") if word in words
    }


def _curve_chart(kept: CalibrationOnFile) -> Markup:
    name = f"{kept.instrument.tag}, certificate {kept.calibration.certificate}"
    return Markup(charts.as_svg(curve_figure(kept), name))  # noqa: S704 (matplotlib escapes the text it draws)


def curve_figure(kept: CalibrationOnFile) -> Any:
    """The chart of a calibration on file."""
    return charts.curve_chart(_drawing(kept))


def _drawing(kept: CalibrationOnFile) -> charts.CurveDrawing:
    instrument, record = kept.instrument, kept.curves[-1]
    used = [one for one in kept.comparisons if one.phase == record.phase]
    curve = from_text(record.parameters)
    points = points_of(typed(instrument), [typed(one) for one in used])
    of_value = unit(instrument.quantity, used[0].unit)
    of_indication = unit(instrument.indicated, used[0].indication_unit or used[0].unit)
    is_correction = isinstance(curve, CorrectionCurve)
    drawn = curve.correction if isinstance(curve, CorrectionCurve) else curve.value
    convert = of_value.difference_from_si if is_correction else of_value.from_si
    along = np.linspace(curve.low, curve.high, 201)
    band = 2.0 * np.hypot(curve.scatter_uncertainty(along), curve.reference_uncertainty(along))
    return charts.CurveDrawing(
        name=f"{instrument.tag}, certificate {kept.calibration.certificate}, {record.phase}",
        indication_label=f"indication [{of_indication.symbol}]",
        value_label=f"{'correction' if is_correction else instrument.quantity} [{of_value.symbol}]",
        along=of_indication.from_si(along),
        curve=convert(drawn(along)),
        band=of_value.difference_from_si(band),
        indication=of_indication.from_si(points.indication),
        compared=convert(points.correction if is_correction else points.reference),
        expanded_uncertainty=np.array([_stated_u(instrument.quantity, one, of_value) for one in used]),
        fitted=convert(drawn(points.indication)),
        zero_line=is_correction,
    )


def _stated_u(quantity: str, one: Comparison, in_unit: Unit) -> float:
    return in_unit.difference_from_si(unit(quantity, one.unit).difference_to_si(float(one.expanded_uncertainty)))


def save_curve(kept: CalibrationOnFile, path: Path) -> None:
    """Draw the chart of a calibration on file to a .svg, .png or .pdf file; raises CalibError."""
    charts.save_or_tell(curve_figure(kept), path)


def _rounded(flow: Content) -> str:
    """412 ± 23"""
    return str(round_result(flow["value"], flow["expanded_uncertainty"]))


def _velocity(velocity: Content) -> str:
    return plain(round_result(velocity["value"], velocity["standard_uncertainty"]).value)


def _risk(probability: float) -> str:
    """A risk is small: two digits in percent."""
    return "< 0.01 %" if probability < 0.0001 else f"{100 * probability:.2g} %"


def _skew(percent: float | None) -> str:
    return "–" if percent is None else f"{percent:+.0f} %".replace("-", "−")


def _by_name(contributions: Sequence[Content]) -> dict[str, Content]:
    return {one["name"]: one for one in contributions}


def _degrees(degrees_of_freedom: float | None) -> str:
    if degrees_of_freedom is None:
        return "∞"
    return "> 9999" if degrees_of_freedom > 9999 else f"{int(degrees_of_freedom)}"


def _two_digits(uncertainty: float) -> str:
    return plain(round_uncertainty(uncertainty))


def _moment(typed_time: str) -> str:
    return typed_time.replace("T", " ")
