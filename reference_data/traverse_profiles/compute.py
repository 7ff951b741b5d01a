"""means.csv: known profiles, their true mean by quadrature over the section, and the mean by each rule at its points.

power 1/n   v = y^(1/n) in a round section, the product of two in a rectangle, y from the wall in half widths
log law     u+ = 2.44 ln(R+ y) + 4.9      parabolic   v = 1 - r^2

Points and weights: traverse_positions/compute.py; the 26 points as log_linear_26.csv prints them, weights in 96ths.
"""

import re
from math import log, sqrt

from scipy.integrate import quad

from tests.recompute import script
from tests.reference import rows

KEY = ("rule", "shape", "points", "profile")


def number(profile):
    return float(re.search(r"[\d.]+$", profile)[0])


def wall_distance(place):
    return 2 * min(place, 1 - place)


def velocity(profile, y):
    if "power" in profile:
        return y ** (1 / number(profile))
    if "log law" in profile:
        return 2.44 * log(number(profile) * y) + 4.9
    return 1 - (1 - y) ** 2


def true_mean(shape, profile):
    if shape == "rectangular":
        return quad(lambda y: velocity(profile, y), 0, 1)[0] ** 2
    return quad(lambda s: velocity(profile, 1 - sqrt(1 - s)), 0, 1, epsabs=1e-10, limit=200)[0]


def rule_mean(rule, shape, points, profile):
    if points == "26":
        places = [
            (float(row["height"]), float(row["width"]), round(float(row["weight"]) * 96) / 96)
            for row in rows("traverse_positions", "log_linear_26")
        ]
        return sum(w * velocity(profile, wall_distance(h)) * velocity(profile, wall_distance(b)) for h, b, w in places)
    on_line = int(points) if shape == "round" else round(sqrt(int(points)))
    line = script("traverse_positions").positions(rule, shape, on_line)
    along = sum(velocity(profile, wall_distance(place)) for place in line) / on_line
    return along if shape == "round" else along**2


def tables():
    made = []
    for row in rows("traverse_profiles", "means"):
        key = {name: row[name] for name in KEY}
        true, mean = true_mean(key["shape"], key["profile"]), rule_mean(**key)
        decimals = 6 if true < 1 else 5
        error = round(100 * (mean / true - 1), 3) + 0.0  # no zero has a sign
        figures = {"true_mean": f"{true:.{decimals}f}", "rule_mean": f"{mean:.{decimals}f}"}
        made.append(key | figures | {"error_percent": f"{error:+.3f}"})
    return {"means": made}
