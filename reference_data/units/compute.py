"""factors.csv, the columns of exact factors: from foot = 0.3048 m, inch = 0.0254 m, pound = 0.45359237 kg and the SI prefixes.

degF: T = (t + 459.67) 5/9 K, so its offset is 459.67 * 5/9 K. Fractions; units that are conventional have no exact factor.
"""

from fractions import Fraction

from tests.reference import rows

INCH, FOOT, POUND = Fraction("0.0254"), Fraction("0.3048"), Fraction("0.45359237")
MINUTE, HOUR = 60, 3600
FACTORS = {
    "fpm": FOOT / MINUTE, "ft/min": FOOT / MINUTE, "km/h": Fraction(1000, HOUR),
    "m3/h": Fraction(1, HOUR), "L/s": Fraction(1, 1000), "l/s": Fraction(1, 1000), "cfm": FOOT**3 / MINUTE,
    "hPa": 100, "kPa": 1000, "degF": Fraction(5, 9), "%": Fraction(1, 100), "mV": Fraction(1, 1000),
    "cm": Fraction(1, 100), "mm": Fraction(1, 1000), "in": INCH, "ft": FOOT,
    "cm2": Fraction(1, 10**4), "mm2": Fraction(1, 10**6), "in2": INCH**2, "ft2": FOOT**2, "lb/ft3": POUND / FOOT**3,
}  # fmt: skip
OFFSETS = {"degC": Fraction("273.15"), "degF": Fraction("459.67") * Fraction(5, 9)}


def text(unit, value):
    """A fraction in the file's writing: degC alone is a decimal, and the large ones are not cut."""
    if unit == "degC":
        return f"{float(value):.2f}" if value != 1 else "1"
    return str(value)


def tables():
    made = []
    for row in rows("units", "factors"):
        unit = row["unit"]
        conventional = "(" in unit
        made.append(
            {
                "quantity": row["quantity"],
                "unit": unit,
                "exact factor": "" if conventional else text(unit, Fraction(FACTORS.get(unit, 1))),
                "exact offset": "" if conventional else text(unit, Fraction(OFFSETS.get(unit, 0))),
            }
        )
    return {"factors": made}
