"""computed.csv: fits to data.csv and common_errors.csv in decimals of 50 digits.

    S(b, xi) = d^T V^-1 d,    d = (x - xi, y - p(xi)),    C = the block of b in (D^T V^-1 D)^-1, D the derivative of d

S is brought to its minimum by Newton steps with all second derivatives.
"""

from decimal import Decimal, localcontext

from tests.reference import rows

ZERO = Decimal(0)


def columns(file):
    """Columns of a csv file by their header."""
    read = rows("iso_ts_28037_clauses_8_to_10", file)
    return {name: [Decimal(row[name]) for row in read] for name in read[0]}


def inverse(matrix):
    """Inverse by elimination with the largest pivot."""
    size = range(len(matrix))
    lines = [[*matrix[k], *(Decimal(int(k == m)) for m in size)] for k in size]
    for k in size:
        best = max(size[k:], key=lambda m, k=k: abs(lines[m][k]))
        lines[k], lines[best] = lines[best], lines[k]
        lines[k] = [value / lines[k][k] for value in lines[k]]
        for m in size:
            if m != k:
                lines[m] = [a - lines[m][k] * b for a, b in zip(lines[m], lines[k], strict=True)]
    return [line[len(matrix) :] for line in lines]


def product(left, right):
    """Matrix product."""
    return [
        [sum((a * b for a, b in zip(row, column, strict=True)), ZERO) for column in zip(*right, strict=True)]
        for row in left
    ]


def times(matrix, vector):
    """Matrix times vector."""
    return [sum((a * b for a, b in zip(row, vector, strict=True)), ZERO) for row in matrix]


def polynomial(b, x, order=0):
    """Derivative of an order of sum b_k x^k."""
    total = ZERO
    for k in range(order, len(b)):
        factor = Decimal(1)
        for m in range(order):
            factor *= k - m
        total += factor * b[k] * x ** (k - order)
    return total


def unit(size, k):
    """Row k of the unit matrix."""
    return [Decimal(int(k == m)) for m in range(size)]


def fit(x, y, weight, degree, newton):
    """Minimum over b and, where the weight matrix is (2n, 2n), over xi: b, covariance of b, S."""
    n, p = len(x), degree + 1
    both = len(weight) == 2 * n
    start = inverse([[sum(v ** (k + m) for v in x) for m in range(p)] for k in range(p)])
    b = times(start, [sum(v**k * w for v, w in zip(x, y, strict=True)) for k in range(p)])
    xi = list(x)
    for step in range(newton):
        d = [
            *(a - c for a, c in zip(x, xi, strict=True) if both),
            *(w - polynomial(b, c) for w, c in zip(y, xi, strict=True)),
        ]
        rows = [[*([ZERO] * p), *(-one for one in unit(n, k))] for k in range(n) if both]
        for k in range(n):
            slope = [-polynomial(b, xi[k], 1) * one for one in unit(n, k)] if both else []
            rows.append([*(-(xi[k] ** m) for m in range(p)), *slope])
        pull = times(weight, d)
        normal = product(list(zip(*rows, strict=True)), product(weight, rows))
        hessian = [list(row) for row in normal]
        if both and step >= 40:  # Gauss-Newton steps first, then all second derivatives
            for k in range(n):
                hessian[p + k][p + k] -= pull[n + k] * polynomial(b, xi[k], 2)
                for m in range(1, p):
                    cross = pull[n + k] * m * xi[k] ** (m - 1)
                    hessian[m][p + k] -= cross
                    hessian[p + k][m] -= cross
        move = times(inverse(hessian), times(list(zip(*rows, strict=True)), pull))
        square = sum(a * c for a, c in zip(d, pull, strict=True))
        b = [one - change for one, change in zip(b, move[:p], strict=True)]
        xi = [one - change for one, change in zip(xi, move[p:], strict=True)] if both else xi
    assert max(abs(one) for one in move) < Decimal("1e-40")  # noqa: S101  # it has come to rest
    return b, [row[:p] for row in inverse(normal)[:p]], square


def outer(vector):
    """Covariance of one common error."""
    return [[a * b for b in vector] for a in vector]


def total(matrices):
    """Sum of matrices."""
    return [[sum(values) for values in zip(*rows, strict=True)] for rows in zip(*matrices, strict=True)]


def diagonal(values):
    """Matrix of independent errors."""
    return [[value * one for one in unit(len(values), k)] for k, value in enumerate(values)]


def cases():
    """Clause -> b, C and S, for a line and, for clause 10, a parabola."""
    data, common = columns("data"), columns("common_errors")
    x, y = data["x"], data["y"]
    none = [ZERO] * len(x)
    squares = [one**2 for one in [*data["u(x)"], *data["u(y)"]]]
    pairs = diagonal(squares)
    for k, value in enumerate(data["cov(x,y)"]):
        pairs[k][len(x) + k] = pairs[len(x) + k][k] = value
    ranges = [common["y: lower range"], common["y: upper range"]]
    within_y = total([diagonal(squares[len(x) :]), *(outer(one) for one in ranges)])
    shared = [*([*none, *one] for one in ranges), [*common["x: reference"], *none]]
    everything = total(
        [diagonal(squares), *map(outer, shared), outer(common["x: temperature"] + common["y: temperature"])]
    )
    yield "8", fit(x, y, inverse(pairs), 1, 50)
    yield "9", fit(x, y, inverse(within_y), 1, 3)
    yield "10", fit(x, y, inverse(everything), 1, 50)
    yield "10 parabola", fit(x, y, inverse(everything), 2, 50)


def tables():
    made = []
    with localcontext(prec=50):
        for clause, (b, covariance, square) in cases():
            size = range(len(b))
            values = {f"b{k}": b[k] for k in size}
            values |= {f"cov(b{k},b{m})": covariance[k][m] for k in size for m in size[k:]} | {"chi2": square}
            made += [
                {"clause": clause, "symbol": symbol, "printed": f"{value:.14e}"} for symbol, value in values.items()
            ]
    return {"computed": made}
