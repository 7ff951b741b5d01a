"""Numbers and statements as they are written, in every answer, picture and report."""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from calib.quantities import UNITS
from calib.records.words import NET
from calib.uncertainty.statement import interval_text, plain, round_result, round_uncertainty

# Signs of the statements of conformity: they are told apart without colour, and the strongest is that of what fails.
SIGNS = {"pass": "●", "conditional pass": "◐", "conditional fail": "◔", "fail": "✘"}

Content = dict[str, Any]


_TYPESET = (
    (re.compile(r"(?<=[a-z])2\b"), "²"),
    (re.compile(r"(?<=[a-z])3\b"), "³"),
    (re.compile(r"H2O"), "H₂O"),
    (re.compile(r"(?<=\w)\("), " ("),
    (re.compile(r"(?<=\d)deg(?=[CF]\b)"), " °"),
    (re.compile(r"\bdeg(?=[CF]\b)"), "°"),
)


def unit_text(symbol: str) -> str:
    """A unit as it is typeset (SI Brochure, 5.4): m³/h, °C, inH₂O (4 °C), where sheets have m3/h, degC, inH2O(4degC)."""
    for typed, shown in _TYPESET:
        symbol = typed.sub(shown, symbol)
    return symbol


def _any_of(texts: Iterable[str]) -> str:
    """A pattern of one of some texts; of two that begin alike the longer stands first."""
    return "|".join(map(re.escape, sorted(texts, reverse=True)))


_SYMBOLS = {symbol for known in UNITS.values() for symbol in known}
_AS_TYPED = re.compile(rf"(?<![\w/])(?:{_any_of(each for each in _SYMBOLS if unit_text(each) != each)})(?![\w/])")

# A value, with its U, and its unit: what is never parted by the end of a line. Read by Python and by the typesetter, so it looks
# at nothing but itself.
QUANTITY = (
    r"[−+]?\d[\d.]*(?:\)? ± \d[\d.]*)?(?: × 10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)?\)? "
    rf"(?:%|(?:{_any_of({unit_text(each) for each in _SYMBOLS if each[-1].isalpha()})})\b)"
)


def with_units(text: str) -> str:
    """A text with the units in it typeset."""
    return _AS_TYPED.sub(lambda symbol: unit_text(symbol[0]), text)


def probability_text(probability: float) -> str:
    """Never 100 % or 0 %: no measurement proves that much."""
    if probability > 0.9995:
        return "> 99.9 %"
    return "< 0.1 %" if probability < 0.0005 else f"{100 * probability:.1f} %"


def design_text(flow: float, digits: int = 4) -> str:
    """A design flow with some digits, or all of those before the point: 38.5, 14500, never 1.45e+04."""
    return f"{flow:.{digits}g}" if abs(flow) < 10**digits - 0.5 else f"{flow:.0f}"


def tolerance_text(design: Mapping[str, Any]) -> str:
    """The limits of a flow beside its design: ± 10 %, −0/+10 %, ≥ 300 m3/h; nothing where there are none."""
    minus, plus, low, high = (
        design.get(name)
        for name in ("tolerance_minus_percent", "tolerance_plus_percent", "minimum_flow", "maximum_flow")
    )
    if design["tolerance_percent"] is not None:
        return f"± {design['tolerance_percent']:g} %"
    if minus is not None or plus is not None:
        sides = (None if minus is None else f"−{minus:g}", None if plus is None else f"+{plus:g}")
        return _between(*sides, "%", "/")
    flows = (None if low is None else design_text(low, digits=5), None if high is None else design_text(high, digits=5))
    return "" if low is None and high is None else _between(*flows, design["unit"], " to ")


def flow_limits_of(design: Mapping[str, Any]) -> tuple[float | None, float | None]:
    """Lowest and highest flow that conform, in the unit of the design; a report of an earlier version tells the tolerance alone."""
    tolerance = design["tolerance_percent"]
    if "lower_limit" in design or tolerance is None:
        return design.get("lower_limit"), design.get("upper_limit")
    value = float(design["value"])
    return value * (1 - tolerance / 100), value * (1 + tolerance / 100)


def _between(low: str | None, high: str | None, unit: str, joined: str) -> str:
    if low is None or high is None:
        return f"≥ {low} {unit}" if high is None else f"≤ {high} {unit}"
    return f"{low}{joined}{high} {unit}"


def total_in_full(total: Mapping[str, Any]) -> str:
    """What a total is called beside those of other systems."""
    return f"{total['system'] or 'all systems'}, {total_name(total)}"


def total_name(total: Mapping[str, Any]) -> str:
    """What a total is called."""
    return "net (supply − return − exhaust)" if total["service"] == NET else str(total["service"])


def rounded(flow: Mapping[str, Any]) -> str:
    """A flow with its expanded uncertainty, rounded: 412 ± 23."""
    return rounded_text(flow["value"], flow["expanded_uncertainty"])


def ends_of_interval(flow: Mapping[str, Any]) -> str:
    """The ends of a flow's interval where it lies unsymmetrically, rounded as the flow: 392 to 438."""
    ends = flow["interval"]
    return interval_text(ends["low"], ends["high"], flow["expanded_uncertainty"]).replace("-", "−")


def rounded_text(value: float, expanded_uncertainty: float) -> str:
    """Value and expanded uncertainty to the place of two digits of it, with a minus sign where it is negative."""
    return str(round_result(value, expanded_uncertainty)).replace("-", "−")


def significant(value: float, digits: int) -> str:
    """Significant digits, trailing zeros left out, with a minus sign where it is negative: 0.0025, −2.6458 × 10⁻⁷."""
    return with_powers(format(value, f".{digits}g").replace("-", "−"))


def figure_text(figure: float | None, form: str) -> str:
    """A number in a form as `format` knows it; a dash where there is none."""
    return "-" if figure is None else format(figure, form)


def all_digits(value: float, digits: int) -> str:
    """So many significant digits with their trailing zeros, as a column of one quantity has them: 3249.90, −0.00300."""
    return with_powers(format(value, f"#.{digits}g").rstrip(".").replace("-", "−"))


def with_powers(text: str) -> str:
    """A text with the powers of ten of its numbers raised: 2.6458 × 10⁻⁷ for 2.6458e-07."""
    return _EXPONENT.sub(lambda power: f" × 10{str(int(power[1].replace('−', '-'))).translate(_RAISED)}", text)


_EXPONENT = re.compile(r"(?<=\d)e([-−+]?\d+)")
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def two_digits(uncertainty: float) -> str:
    """An uncertainty with two digits (GUM 7.2.6)."""
    return plain(round_uncertainty(uncertainty))


def moment_text(typed_time: str, zone: str = "") -> str:
    """2026-10-14 09:12+01:00: to the minute, and without its difference from UTC where that is `zone`, which was said before."""
    return _SECONDS.sub("", typed_time.replace("T", " ")).removesuffix(zone)


_SECONDS = re.compile(r"(?<= \d\d:\d\d):\d\d(?:\.\d+)?")


def coverage_percent_text(probability: float) -> str:
    """A coverage probability in percent as it was asked for: 95.45, 99.9999."""
    return f"{100 * probability:.12g}"


def risk_text(probability: float) -> str:
    """A risk is small: two digits in percent."""
    return "< 0.01 %" if probability < 0.0001 else f"{all_digits(100 * probability, 2)} %"


def degrees_text(degrees_of_freedom: float | None) -> str:
    """Degrees of freedom as k rests on them: to three digits, whole from 100 on."""
    if degrees_of_freedom is None:
        return "∞"
    if degrees_of_freedom > 9999:
        return "> 9999"
    return f"{degrees_of_freedom:.3g}" if degrees_of_freedom < 100 else f"{degrees_of_freedom:.0f}"


def signed_percent(percent: float | None) -> str:
    """+3 %, −4 %, or – where there is none."""
    return "–" if percent is None else f"{percent:+.0f} %".replace("-", "−")


_MOST_NAMES = 6


def names_text(names: Sequence[str], between: str = ", ") -> str:
    """Names in a row, those beyond the first ones counted."""
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return f"{between.join(names[:_MOST_NAMES])}{more}"
