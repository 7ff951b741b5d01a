"""decisions.csv: statements of the three rules on a value with U (k = 2) in an interval, and the probability that it conforms.

simple       pass inside the tolerance interval, its ends included
guarded      pass inside the acceptance interval, w = U
non-binary   beside it "conditional" pass or fail within U of a limit; a fail beyond it
"""

from decimal import Decimal
from math import erf, sqrt

from tests.reference import rows

GIVEN = ("lower", "upper", "value", "U")


def statements(lower, upper, value, u):
    inside = min(value - lower, upper - value)
    simple = "pass" if inside >= 0 else "fail"
    guarded = "pass" if inside >= u else "fail"
    non_binary = ("" if abs(inside) > u or inside == u else "conditional ") + simple
    return {"simple": simple, "guarded": guarded, "guarded non-binary": non_binary}


def probability(lower, upper, value, u):
    below, above = (float((limit - value) / (u / 2)) / sqrt(2) for limit in (lower, upper))
    return (erf(above) - erf(below)) / 2


def tables():
    made = []
    for row in rows("ilac_g8", "decisions"):
        given = {name: row[name] for name in GIVEN}
        values = list(map(Decimal, given.values()))
        stated = f"{probability(*values):.4f}" if row["probability of conformity"] else ""
        made.append(given | statements(*values) | {"probability of conformity": stated})
    return {"decisions": made}
