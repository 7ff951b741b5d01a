"""exponential.csv: the rate lambda that makes counts.csv likeliest, each found in tolerance with probability exp(-lambda t).

ln L = sum over rows of -lambda t n_in + (n - n_in) ln(1 - exp(-lambda t)); its slope is brought to 0 by halving.
"""

from math import exp, expm1, fsum, log

from tests.reference import numbers

ROWS = list(zip(*(column.tolist() for column in numbers("counts_in_tolerance", "counts")), strict=True))


def slope(rate):
    return fsum(-t * inside + (n - inside) * t / expm1(rate * t) for t, n, inside in ROWS)


def log_likelihood(rate):
    return fsum(-rate * t * inside + (n - inside) * log(1 - exp(-rate * t)) for t, n, inside in ROWS)


def likeliest():
    low, high = 1e-6, 1.0
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if slope(middle) > 0 else (low, middle)
    return low


def tables():
    rate = likeliest()
    values = {
        "lambda per month": f"{rate:.9f}",
        "interval for 85 %": f"{-log(0.85) / rate:.5f}",
        "interval for 90 %": f"{-log(0.90) / rate:.5f}",
        "negative log likelihood": f"{-log_likelihood(rate):.7f}",
    }
    return {"exponential": [{"symbol": symbol, "printed": text} for symbol, text in values.items()]}
