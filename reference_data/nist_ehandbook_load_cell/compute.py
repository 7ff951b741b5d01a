"""computed.csv: the quadratic through data.csv and its inverse in exact fractions.

Y = a + b X + c X^2,    X = (-b + sqrt(b^2 - 4 c (a - Y)))/(2 c),    u(X) by the law of propagation from s, and C of a, b, c
"""

from decimal import Decimal, localcontext
from fractions import Fraction

from tests.reference import rows

Y_NEW = Fraction(3, 2)


def points():
    """Loads and responses, as printed."""
    return [(Fraction(row["x"]), Fraction(row["y"])) for row in rows("nist_ehandbook_load_cell", "data")]


def inverse(matrix):
    """Inverse of a positive definite matrix, by elimination."""
    size = range(len(matrix))
    lines = [[*matrix[k], *(Fraction(int(k == m)) for m in size)] for k in size]
    for k in size:
        lines[k] = [value / lines[k][k] for value in lines[k]]
        for m in size:
            if m != k:
                lines[m] = [a - lines[m][k] * b for a, b in zip(lines[m], lines[k], strict=True)]
    return [line[len(matrix) :] for line in lines]


def number(fraction):
    """A fraction in decimals of 50 digits."""
    return Decimal(fraction.numerator) / Decimal(fraction.denominator)


def results():
    """Symbol -> value."""
    pairs, size = points(), range(3)
    normal = inverse([[sum(x ** (k + m) for x, _ in pairs) for m in size] for k in size])
    right = [sum(x**k * y for x, y in pairs) for k in size]
    a, b, c = (sum(one * other for one, other in zip(row, right, strict=True)) for row in normal)
    degrees = len(pairs) - 3
    variance = sum((y - a - b * x - c * x**2) ** 2 for x, y in pairs) / degrees
    covariance = [[number(variance * one) for one in row] for row in normal]
    yield from (("a", number(a)), ("b", number(b)), ("c", number(c)))
    yield from ((f"u({name})", covariance[k][k].sqrt()) for k, name in enumerate("abc"))
    yield "s", number(variance).sqrt()
    yield "F of lack of fit", number(lack_of_fit(pairs, variance * degrees, degrees))
    root = number(b**2 - 4 * c * (a - Y_NEW)).sqrt()
    x = (root - number(b)) / (2 * number(c))
    by = [-1 / root, -x / root, -(x**2) / root]
    u2 = sum(by[k] * by[m] * covariance[k][m] for k in size for m in size) + number(variance) / root**2
    yield from (("Y", number(Y_NEW)), ("X", x), ("u(X)", u2.sqrt()))


def lack_of_fit(pairs, square, degrees):
    """F of lack of fit against the scatter of repeated loads."""
    of_load = {}
    for x, y in pairs:
        of_load.setdefault(x, []).append(y)
    pure = sum((y - sum(some) / len(some)) ** 2 for some in of_load.values() for y in some)
    of_pure = len(pairs) - len(of_load)
    return ((square - pure) / (degrees - of_pure)) / (pure / of_pure)


def tables():
    with localcontext(prec=50):
        return {"computed": [{"symbol": symbol, "printed": f"{value:.14e}"} for symbol, value in results()]}
