"""The report as a self-contained HTML page that prints well on A4 and Letter."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from calib.curves.curve import from_text
from calib.errors import CalibError
from calib.faces import charts
from calib.faces.document import Content, total_name
from calib.procedures.fit_curve import points_of
from calib.procedures.look_up import CalibrationOnFile, typed
from calib.quantities import unit
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
        "percent": _percent,
        "degrees": _degrees,
    }
    environment.globals |= {"total_name": total_name}
    shown = charts.most_bars(report["readings"])
    return environment.get_template("report.html").render(
        report=report,
        coverage_probability=report["readings"][0]["flow"]["coverage_probability"] if report["readings"] else 0.9545,
        systems=_by_system(report),
        counts=_counts(report),
        contribution_names=[one["name"] for one in report["readings"][0]["contributions"]]
        if report["readings"]
        else [],
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
    own = unit(kept.instrument.quantity, kept.instrument.unit)
    record = kept.curves[-1]
    used = [one for one in kept.comparisons if one.phase == record.phase]
    points = points_of(typed(kept.instrument), [typed(one) for one in used])
    stated = [
        unit(kept.instrument.quantity, one.unit).difference_to_si(float(one.expanded_uncertainty)) for one in used
    ]
    compared = charts.ComparedPoints(
        own.from_si(points.indication),
        own.difference_from_si(points.correction),
        own.difference_from_si(np.array(stated)),
    )
    name = f"{kept.instrument.tag}, certificate {kept.calibration.certificate}, {record.phase}"
    return charts.curve_chart(from_text(record.parameters), compared, own, name)


def save_curve(kept: CalibrationOnFile, path: Path) -> None:
    """Draw the chart of a calibration on file to a .svg, .png or .pdf file; raises CalibError."""
    if path.suffix not in (".svg", ".png", ".pdf"):
        raise CalibError(f"{path}: a plot is written as .svg, .png or .pdf; give the file one of these endings")
    try:
        charts.save(curve_figure(kept), path)
    except OSError as error:
        raise CalibError(f"{path}: the plot cannot be written ({error.strerror})") from error


def _rounded(flow: Content) -> str:
    """412 ± 23"""
    return str(round_result(flow["value"], flow["expanded_uncertainty"]))


def _velocity(velocity: Content) -> str:
    return plain(round_result(velocity["value"], velocity["standard_uncertainty"]).value)


def _percent(probability: float) -> str:
    """Never 100 % or 0 %: no measurement proves that much."""
    if probability > 0.9995:
        return "> 99.9 %"
    return "< 0.1 %" if probability < 0.0005 else f"{100 * probability:.1f} %"


def _degrees(degrees_of_freedom: float | None) -> str:
    if degrees_of_freedom is None:
        return "∞"
    return "> 9999" if degrees_of_freedom > 9999 else f"{int(degrees_of_freedom)}"


def _two_digits(uncertainty: float) -> str:
    return plain(round_uncertainty(uncertainty))


def _moment(typed_time: str) -> str:
    return typed_time.replace("T", " ")
