"""times.csv: failures at known times, 10 in 7771 hours; lambda = r/T, interval of a reliability R = -ln R/lambda.

The lower limit of the mean time between failures with 90 % confidence is 2 T/chi2_0.90(2 (r + 1)); with an even number of degrees
of freedom chi2 is the distribution of Poisson, P(chi2(2 (r + 1)) > x) = sum_(k <= r) exp(-x/2) (x/2)^k/k!.
"""

from math import exp, factorial, fsum, log

FAILURES, HOURS = 10, 7771.0


def above(x):
    return fsum(exp(-x / 2) * (x / 2) ** k / factorial(k) for k in range(FAILURES + 1))


def chi_squared_90():
    low, high = 1.0, 100.0
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if above(middle) > 0.1 else (low, middle)
    return low


def tables():
    rate = FAILURES / HOURS
    values = {
        "lambda": f"{rate:.10f}",
        "interval_R_0_85": f"{-log(0.85) / rate:.7f}",
        "interval_R_0_95": f"{-log(0.95) / rate:.8f}",
        "chi2_lower_MTBF_90": f"{2 * HOURS / chi_squared_90():.6f}",
    }
    return {"times": [{"symbol": symbol, "printed": text} for symbol, text in values.items()]}
