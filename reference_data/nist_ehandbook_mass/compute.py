"""statistics.csv: limits of check_standard.csv from its values before 1985, and how many later ones lie beyond.

mean, s2 of K values; UCL, LCL = mean +- t_0.975(K - 1) s2; exponentially weighted mean with 0.2, limits
mean +- 3 s2 sqrt(0.2/1.8) (its lasting spread); single values beyond mean +- 3 s2. Formulae of the page mpc352.
"""

from decimal import Decimal
from math import fsum, sqrt

from scipy.special import stdtrit

from tests.reference import rows

SHARE = 0.2


def tables():
    values = [
        (Decimal(row["year_minus_1900"]), float(row["value_mg"]))
        for row in rows("nist_ehandbook_mass", "check_standard")
    ]
    base = [value for year, value in values if year < 85]
    later = [value for year, value in values if year >= 85]
    k = len(base)
    mean = fsum(base) / k
    s = sqrt(fsum((value - mean) ** 2 for value in base) / (k - 1))
    t = float(stdtrit(k - 1, 0.975))
    spread = 3 * s * sqrt(SHARE / (2 - SHARE))
    weighted, beyond = mean, 0
    for value in later:
        weighted = SHARE * value + (1 - SHARE) * weighted
        beyond += abs(weighted - mean) > spread
    values = {
        "K": f"{k}",
        "mean": f"{mean:.9f}",
        "s2": f"{s:.12f}",
        "UCL": f"{mean + t * s:.9f}",
        "LCL": f"{mean - t * s:.9f}",
        "values after 1985": f"{len(later)}",
        "EWMA LCL": f"{mean - spread:.9f}",
        "EWMA UCL": f"{mean + spread:.9f}",
        "EWMA out": f"{beyond}",
        "3 s out": f"{sum(abs(value - mean) > 3 * s for value in later)}",
    }
    return {"statistics": [{"symbol": symbol, "printed": text} for symbol, text in values.items()]}
