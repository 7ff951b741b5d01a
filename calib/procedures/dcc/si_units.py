r"""Units of D-SI, `\metre\second\tothe{-1}`, as units of `calib.quantities`, and back.

A unit is a product: prefix, name, and a power in `\tothe{...}`; `\per` turns the next one round. Source: D-SI, "Digital System of
Units", 2.x, and siunitx, whose notation it takes (names and prefixes from memory).
"""

import re
from dataclasses import dataclass
from decimal import Decimal, localcontext
from functools import lru_cache

from calib.errors import UnitError
from calib.quantities import UNITS, Unit, coherent, si_per, unit

# Names of D-SI that occur in calibrations of the trade -> expression for pint.
_NAMES = {
    "metre": "meter", "second": "second", "kilogram": "kilogram", "gram": "gram", "kelvin": "kelvin", "ampere": "ampere",
    "pascal": "pascal", "newton": "newton", "joule": "joule", "watt": "watt", "volt": "volt", "hertz": "hertz",
    "hour": "hour", "minute": "minute", "day": "day", "litre": "liter", "bar": "bar", "one": "dimensionless",
    "percent": "percent", "degreecelsius": "degC", "degreeCelsius": "degC",
}  # fmt: skip
_PREFIXES = {
    "micro": "micro", "milli": "milli", "centi": "centi", "deci": "deci", "deca": "deca", "hecto": "hecto", "kilo": "kilo",
    "mega": "mega",
}  # fmt: skip
_TOKEN = re.compile(r"\\([A-Za-z]+)(?:\{([+-]?\d{1,2}(?:\.\d{1,2})?)\})?")
_OTHER = "|"  # before a unit that D-SI does not know: it stands beside one that it does, in si:hybrid
_LONGEST = 200  # signs of a unit
_WRITTEN = {
    "m/s": r"\metre\second\tothe{-1}",
    "km/h": r"\kilo\metre\hour\tothe{-1}",
    "m3/s": r"\metre\tothe{3}\second\tothe{-1}",
    "m3/h": r"\metre\tothe{3}\hour\tothe{-1}",
    "L/s": r"\litre\second\tothe{-1}",
    "l/s": r"\litre\second\tothe{-1}",
    "Pa": r"\pascal",
    "hPa": r"\hecto\pascal",
    "kPa": r"\kilo\pascal",
    "K": r"\kelvin",
    "degC": r"\degreecelsius",
    "1": r"\one",
    "%": r"\percent",
    "V": r"\volt",
    "mV": r"\milli\volt",
}


@dataclass(frozen=True)
class UnitRead:
    """A unit of a certificate: the one of the records it is, or the coherent one and what turns values into it."""

    unit: Unit
    factor: Decimal | None  # digits are multiplied by it; None: they stay as they are


def pint_expression(written: str) -> str | None:
    """A unit of D-SI as an expression for pint; None where it is none that is known."""
    if len(written) > _LONGEST or _TOKEN.sub("", written).strip():
        return None
    factors: list[str] = []
    prefix, is_turned, waiting = "", False, False
    for name, power in _TOKEN.findall(written):
        if name == "tothe":
            if not waiting or not power:
                return None
            factors[-1] = f"({factors[-1]})**({power})"
            waiting = False
        elif power:
            return None
        elif name == "per":
            if is_turned or prefix:
                return None
            is_turned = True
        elif name in _PREFIXES and not prefix:
            prefix = _PREFIXES[name]
        elif name in _NAMES and not (prefix and _NAMES[name] in {"degC", "dimensionless", "percent", "kilogram"}):
            factors.append(f"({prefix}{_NAMES[name]})**(-1)" if is_turned else f"{prefix}{_NAMES[name]}")
            prefix, is_turned, waiting = "", False, True
        else:
            return None
    return None if prefix or is_turned or not factors else "*".join(factors)


@lru_cache(maxsize=256)
def unit_read(written: str, quantity: str) -> UnitRead:
    """The unit of the records that a unit of D-SI is, for a quantity; raises UnitError where it is none of that quantity.

    Where the records know no such unit of the quantity its values are turned into the coherent one: `factor`.
    """
    if written.startswith(_OTHER) and written.removeprefix(_OTHER) in UNITS[quantity]:
        return UnitRead(unit(quantity, written.removeprefix(_OTHER)), None)
    expression = pint_expression(written)
    factor = None if expression is None else si_per(expression, quantity)
    if expression is None or factor is None:
        known = ", ".join(_WRITTEN[symbol] for symbol in UNITS[quantity] if symbol in _WRITTEN)
        raise UnitError(f"a unit of {quantity} as D-SI writes it, like {known}")
    if expression == "degC":
        return UnitRead(unit(quantity, "degC"), None)
    for symbol in UNITS[quantity]:
        known_unit = unit(quantity, symbol)
        if symbol not in ("degC", "degF") and abs(known_unit.scale / factor - 1) < 1e-12:
            return UnitRead(known_unit, None)
    return UnitRead(coherent(quantity), Decimal(repr(factor)))


def is_written(symbol: str) -> bool:
    """Whether D-SI has a way to write a unit of the records: it has none for those of inches and feet."""
    return symbol in _WRITTEN


def of_no_d_si(symbol: str) -> str:
    """A unit of the records that D-SI does not know, as it may stand beside one that it does."""
    return f"{_OTHER}{symbol}"


def in_d_si(symbol: str) -> str:
    """A unit of the records as D-SI writes it."""
    return _WRITTEN[symbol]


def turned(digits: str, factor: Decimal | None) -> str:
    """The digits of a value in another unit: exact, and as many as they were where the factor is a power of ten."""
    if factor is None:
        return digits
    with localcontext() as context:
        context.prec = 15
        value = Decimal(digits) * factor
        if factor.normalize().as_tuple().digits != (1,):
            value = value.normalize()
    return format(value, "f") if -12 < value.adjusted() < 15 or not value else format(value, "E")
