"""computed.csv: the line through data.csv with equal unknown uncertainties, in exact fractions; s^2 = sum(residual^2)/(m - 2)."""

from decimal import Decimal, localcontext
from fractions import Fraction

from tests.reference import rows


def decimal(fraction):
    return Decimal(fraction.numerator) / Decimal(fraction.denominator)


def tables():
    with localcontext(prec=30):
        return {"computed": line()}


def line():
    points = [(Fraction(row["x"]), Fraction(row["y"])) for row in rows("iso_ts_28037_annex_e", "data")]
    m = len(points)
    x_mean, y_mean = (sum(column) / m for column in zip(*points, strict=True))
    s_xx = sum((x - x_mean) ** 2 for x, _ in points)
    b = sum((x - x_mean) * (y - y_mean) for x, y in points) / s_xx
    a = y_mean - b * x_mean
    square = sum((y - a - b * x) ** 2 for x, y in points)
    variance = square / (m - 2)
    values = {
        "a": decimal(a),
        "b": decimal(b),
        "sum of squared residuals": decimal(square),
        "nu": Decimal(m - 2),
        "u(a)": decimal(variance * (Fraction(1, m) + x_mean**2 / s_xx)).sqrt(),
        "u(b)": decimal(variance / s_xx).sqrt(),
        "cov(a,b)": decimal(-variance * x_mean / s_xx),
    }
    return [{"symbol": symbol, "printed": f"{value:.15g}", "unit": ""} for symbol, value in values.items()]
