"""The one unit registry: read, convert and write quantity values (VIM 1.19).

Inside the package every value is a float in the coherent SI unit of its quantity. A typed unit becomes a `Unit` at the door;
the factors come from pint. A name that pint reads otherwise than the trade does (it takes `cfm` for centifermi) never reaches it:
the table below is the whole vocabulary.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from calib.errors import UnitError

if TYPE_CHECKING:  # the table of units is read where nothing is converted: arrays and pint take half a second to import
    import pint

    from calib.arrays import Number

# Quantity -> typed unit -> expression for pint; the first unit of each row is the coherent SI one.
# Inches of water and of mercury have several conventions: each is named with its own, none is the default.
# Sources of the factors: foot, inch, pound: exact by definition; inches of water and mercury: NIST SP 811, from memory (249.0889
# and 3386.389 Pa are its conventional inches; its rows at 39.2 degF and 32 degF differ from them by 3 and by 0.3 parts in 100,000).
UNITS: dict[str, dict[str, str]] = {
    "air velocity": {"m/s": "meter/second", "fpm": "foot/minute", "ft/min": "foot/minute", "km/h": "kilometer/hour"},
    "volume flow": {
        "m3/s": "meter**3/second",
        "m3/h": "meter**3/hour",
        "L/s": "liter/second",
        "l/s": "liter/second",
        "cfm": "foot**3/minute",
    },
    "pressure": {
        "Pa": "pascal",
        "hPa": "hectopascal",
        "kPa": "kilopascal",
        "inH2O(4degC)": "249.089*pascal",
        "inH2O(60degF)": "248.84*pascal",
        "inH2O(68degF)": "248.64*pascal",
        "inHg(0degC)": "3386.389*pascal",
    },
    "temperature": {"K": "kelvin", "degC": "degC", "degF": "degF"},
    "relative humidity": {"1": "dimensionless", "%": "percent"},
    "voltage": {"V": "volt", "mV": "millivolt"},
    "length": {"m": "meter", "cm": "centimeter", "mm": "millimeter", "in": "inch", "ft": "foot"},
    "area": {"m2": "meter**2", "cm2": "centimeter**2", "mm2": "millimeter**2", "in2": "inch**2", "ft2": "foot**2"},
    "density": {"kg/m3": "kilogram/meter**3", "lb/ft3": "pound/foot**3"},
}

# What an instrument of the register may measure.
INSTRUMENT_QUANTITIES = (
    "air velocity",
    "volume flow",
    "pressure",
    "temperature",
    "relative humidity",
    "voltage",
)

# Pressure: that of ducts, hoods and outlets, in IP by the conventional inch of water (4 degC). The pressure of the atmosphere wants
# kPa or inHg(0degC), asked for by `unit`. What is absent prints in the SI unit.
_PREFERRED = {
    "si": {
        "air velocity": "m/s",
        "volume flow": "L/s",
        "temperature": "degC",
        "relative humidity": "%",
        "length": "mm",
    },
    "ip": {
        "air velocity": "fpm",
        "volume flow": "cfm",
        "pressure": "inH2O(4degC)",
        "temperature": "degF",
        "relative humidity": "%",
        "length": "in",
        "area": "ft2",
        "density": "lb/ft3",
    },
}


@dataclass(frozen=True)
class Unit:
    """A unit of measurement: value in SI = scale * value + offset."""

    quantity: str  # kind of quantity, a key of UNITS
    symbol: str  # as typed and as printed
    scale: float  # [SI unit per unit]
    offset: float  # [SI unit]; 0 but for degC and degF

    def to_si(self, value: Number) -> Number:
        """Value in this unit, as a value in SI."""
        return value * self.scale + self.offset

    def from_si(self, value: Number) -> Number:
        """Value in SI, as a value in this unit."""
        return (value - self.offset) / self.scale

    def difference_to_si(self, difference: Number) -> Number:
        """Difference or uncertainty in this unit, in SI: 0.3 degC is 0.3 K, never 273.45 K."""
        return difference * self.scale

    def difference_from_si(self, difference: Number) -> Number:
        """Difference or uncertainty in SI, in this unit."""
        return difference / self.scale


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint  # noqa: PLC0415 (a third of a second)

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@lru_cache(maxsize=256)
def unit(quantity: str, symbol: str) -> Unit:
    """The unit that was typed for a quantity; raises UnitError with the units that are known for it."""
    known = UNITS[quantity]
    if symbol not in known:
        raise UnitError(f"{symbol!r} is not a unit of {quantity}: use one of {', '.join(known)}")
    si = next(iter(known.values()))
    registry = _registry()
    unity = registry.Quantity(1.0, registry.parse_expression(known[symbol]).units)
    if known[symbol] in ("degC", "degF"):
        offset = float(registry.Quantity(0.0, known[symbol]).to(si).magnitude)
        return Unit(quantity, symbol, float(registry.Quantity(1.0, f"delta_{known[symbol]}").to(si).magnitude), offset)
    factor = registry.parse_expression(known[symbol])
    scale = registry.Quantity(factor.magnitude, unity.units).to(si).magnitude
    return Unit(quantity, symbol, float(scale), 0.0)


def si_per(expression: str, quantity: str) -> float | None:
    """How many coherent SI units of a quantity one unit is that pint reads from an expression; None where it is of another kind.

    Of degC that of a difference. The expression is the program's own: what is typed reaches pint through a table alone.
    """
    import pint  # noqa: PLC0415 (a third of a second)

    si = next(iter(UNITS[quantity].values()))
    try:
        own = f"delta_{expression}" if expression in ("degC", "degF") else expression
        return float((1.0 * _registry().parse_units(own)).to("delta_degC" if si == "kelvin" else si).magnitude)
    except (pint.PintError, ValueError, OverflowError, ZeroDivisionError):
        return None


def known_units(quantity: str) -> tuple[str, ...]:
    """Units that may be typed for a quantity."""
    return tuple(UNITS[quantity])


def coherent(quantity: str) -> Unit:
    """The coherent SI unit of a quantity, in which it is computed."""
    return unit(quantity, next(iter(UNITS[quantity])))


def preferred(quantity: str, system: str) -> Unit:
    """Unit of a quantity in which `system` ("si" or "ip") is printed."""
    return unit(quantity, _PREFERRED[system].get(quantity, coherent(quantity).symbol))


# No quantity of the trade is larger in any of its units; beyond it a product of two would overflow.
_LARGEST = 1e12
SMALLEST = 1e-12  # nor smaller: below it a quotient would
_LONGEST = 25  # signs: the longest spelling of a double has 24
_DIGITS = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_NUMBER = re.compile(_DIGITS, re.ASCII)
_TYPED = re.compile(rf"\s*([+-]?\d*,\d+|{_DIGITS})\s*(\S.*?)\s*", re.ASCII)
COMMA_OR_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")  # 1,234: it may mean either


def finite_number(text: str) -> str | None:
    """What was expected of a typed number, a finite decimal one of a size that occurs; None where it is right."""
    if _NUMBER.fullmatch(text) is None or not math.isfinite(float(text)):
        return "a finite number with a decimal point, like 4.20"
    if len(text) > _LONGEST:
        return f"a number written with at most {_LONGEST} signs"
    if 0 < abs(float(text)) < SMALLEST:
        return f"0, or a number of at least {SMALLEST:g}"
    return None if abs(float(text)) <= _LARGEST else f"a number of at most {_LARGEST:g}"


def read(text: str, quantity: str) -> tuple[float, Unit]:
    """Typed value with its unit ("2.5 m/s", "2,5 m/s") as a value in SI and the unit; raises UnitError."""
    parts = _TYPED.fullmatch(text)
    # Without white space between them a digit belongs to the number: 0.51 is no 0.5 of the unit 1.
    if parts is None or (parts[2][0].isdigit() and not text[parts.start(2) - 1].isspace()):
        raise UnitError(f"{text!r} is not a value with a unit: write it like '2.5 {coherent(quantity).symbol}'")
    typed = unit(quantity, parts[2])
    with_point = parts[1].replace(",", ".")
    expected = finite_number(with_point)
    if COMMA_OR_THOUSANDS.fullmatch(parts[1]):
        expected = f"{with_point} or {parts[1].replace(',', '')}, written without a comma: it may mean either"
    if expected is not None:
        raise UnitError(f"{text!r}: expected {expected}")
    return typed.to_si(float(with_point)), typed
