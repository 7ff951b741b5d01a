"""Units as people write them: m³/h, m^3/h, CMH, FPM, sq ft, °C, ". Each means one unit of `calib.quantities`, or none.

Inches of water are left alone: they have three conventions, and only who wrote them knows which (`calib.quantities`).
"""

from functools import lru_cache

from calib.quantities import UNITS

_RAISED = str.maketrans({"²": "2", "³": "3", "^": None, "·": None, " ": None, "\N{NO-BREAK SPACE}": None})
# Common practice, no source.
_ALSO = {
    "cmh": "m3/h", "m3/hr": "m3/h", "m3h": "m3/h", "cum/h": "m3/h", "cms": "m3/s", "m3/sec": "m3/s", "lps": "L/s", "l/sec": "L/s",
    "ft3/min": "cfm", "ft3/m": "cfm", "cuft/min": "cfm", "feet/min": "fpm", "ft/m": "fpm", "m/sec": "m/s", "mps": "m/s",
    "kph": "km/h", "km/hr": "km/h", "sqft": "ft2", "sqm": "m2", "sqin": "in2", "sqcm": "cm2", "sqmm": "mm2", "inch": "in",
    "inches": "in", "in.": "in", '"': "in", "″": "in", "feet": "ft", "foot": "ft", "ft.": "ft", "'": "ft", "′": "ft", "°c": "degC",
    "c": "degC", "℃": "degC", "°f": "degF", "f": "degF", "℉": "degF", "%rh": "%", "rh%": "%", "pascal": "Pa", "mbar": "hPa",
}  # fmt: skip


_SYMBOLS = frozenset(symbol for units in UNITS.values() for symbol in units)


@lru_cache(maxsize=1)
def _known() -> dict[str, str]:
    own = {symbol.casefold(): symbol for units in UNITS.values() for symbol in units}
    return _ALSO | own


def unit_meant(typed: str) -> str | None:
    """The unit that was written in some way, as `calib.quantities` spells it; None where it is none."""
    if typed in _SYMBOLS:
        return typed
    return _known().get(typed.strip().translate(_RAISED).casefold())
