"""effective_area.csv and flow.csv: the area A_k = mean(q/v) of pairs.csv, and the flow v A_k of the grid, with the terms of u.

u of A_k is that of the mean of the four ratios with the traverse's own, and with the vane's calibration where another instrument
uses it. Resolution and drift are rectangular. nu_eff by Welch-Satterthwaite over the mean of the ratios and the
repeatability; k = t at 95.45 %, its digits, with the degrees of freedom uncut. Results have 12 significant digits.
"""

from math import hypot, inf, sqrt
from statistics import fmean, stdev

from scipy.special import stdtrit

from tests.reference import numbers, printed, rows

GROSS, OF_TRAVERSE, OF_VANE = 0.18, 0.022, 0.012


def table(file, values):
    """The inputs, which stand first in the file, as they are; then what is computed."""
    given = [row for row in rows("outlet_factor_vector", file) if row["symbol"] not in values]
    return given + [
        {"symbol": symbol, "printed": value if isinstance(value, str) else f"{value:#.12g}", "unit": unit}
        for symbol, (value, unit) in values.items()
    ]


def tables():
    q, v = (column.tolist() for column in numbers("outlet_factor_vector", "pairs"))
    grid = numbers("outlet_factor_vector", "grid")[0].tolist()
    given = {symbol: float(text) for symbol, text in printed("outlet_factor_vector", "flow").items()}
    ratios = [flow / velocity for flow, velocity in zip(q, v, strict=True)]
    area, of_mean = fmean(ratios), stdev(ratios) / sqrt(len(ratios))
    same = hypot(of_mean / area, OF_TRAVERSE)
    areas = {
        "Ak": (area, "m2"),
        "s of mean": (of_mean, "m2"),
        "dof": (f"{len(ratios) - 1}", ""),
        "Ak over gross": (area / GROSS, ""),
        "u other instrument": (100 * hypot(same, OF_VANE), "%"),
        "u same vane": (100 * same, "%"),
    }
    velocity = fmean(grid) + given["correction"]
    flow = velocity * area
    terms = {
        "Ak": flow * same,
        "repeatability": flow * given["u repeatability"],
        "resolution": area * given["resolution step"] / sqrt(12),
        "drift": flow * given["drift limit"] / sqrt(3),
    }
    u = hypot(*terms.values())
    parts = [(flow * of_mean / area, len(ratios) - 1), (terms["repeatability"], given["dof repeatability"]), (0.0, inf)]
    degrees = u**4 / sum(part**4 / nu for part, nu in parts)
    k = float(stdtrit(degrees, 0.97725))
    flows = {
        "v mean corrected": (velocity, "m/s"),
        "q": (flow, "m3/s"),
        "spatial sd": (100 * stdev(grid) / fmean(grid), "%"),
        "trap": (100 * stdev(grid) / sqrt(len(grid)) / velocity, "%"),
        **{f"term {name}": (value, "m3/s") for name, value in terms.items()},
        "u_c": (u, "m3/s"),
        "u_c relative": (100 * u / flow, "%"),
        "nu_eff": (degrees, ""),
        "k": (k, ""),
        "U relative": (100 * k * u / flow, "%"),
    }
    return {"effective_area": table("effective_area", areas), "flow": table("flow", flows)}
