"""stated.csv: u of the sum of flows.csv, 2.5 % of each common and 3 % its own; all independent; all shared."""

from math import fsum, hypot, sqrt

from tests.reference import numbers

COMMON, OWN = 0.025, 0.03


def tables():
    q = numbers("ten_outlets", "flows")[0].tolist()
    total = fsum(q)
    squares = sqrt(fsum(one**2 for one in q)) / total
    values = [
        ("u common", f"{COMMON:.3f}", "relative"),
        ("u own", f"{OWN:.2f}", "relative"),
        ("Q", f"{total:.3f}", "m3/s"),
        ("u(Q)/Q", f"{100 * hypot(COMMON, OWN * squares):.2f}", "%"),
        ("u(Q)/Q were all independent", f"{100 * hypot(COMMON, OWN) * squares:.2f}", "%"),
        ("u(Q)/Q were all shared", f"{100 * hypot(COMMON, OWN):.2f}", "%"),
    ]
    return {"stated": [dict(zip(("symbol", "printed", "unit"), row, strict=True)) for row in values]}
