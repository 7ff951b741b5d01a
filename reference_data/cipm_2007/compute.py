"""densities.csv: CIPM-2007 from coefficients.csv, the density and its parts to ten digits.

rho = p M_a/(Z R T) [1 - x_v (1 - M_v/M_a)]     x_v = h f p_sv/p
p_sv = exp(A T^2 + B T + C + D/T)               f = alpha + beta p + gamma t^2
Z = 1 - p/T [a0 + a1 t + a2 t^2 + (b0 + b1 t) x_v + (c0 + c1 t) x_v^2] + (p/T)^2 (d + e x_v^2)
"""

from math import exp

from tests.reference import printed, rows

GIVEN = ("t [degC]", "p [Pa]", "h")


def state(t, p, h):
    c = {symbol: float(text) for symbol, text in printed("cipm_2007", "coefficients").items()}
    t_k = t + 273.15
    p_sv = exp(c["A"] * t_k**2 + c["B"] * t_k + c["C"] + c["D"] / t_k)
    f = c["alpha"] + c["beta"] * p + c["gamma"] * t**2
    x = h * f * p_sv / p
    first = c["a0"] + c["a1"] * t + c["a2"] * t**2 + (c["b0"] + c["b1"] * t) * x + (c["c0"] + c["c1"] * t) * x**2
    z = 1 - p / t_k * first + (p / t_k) ** 2 * (c["d"] + c["e"] * x**2)
    return p * c["Ma"] / (z * c["R"] * t_k) * (1 - x * (1 - c["Mv"] / c["Ma"])), z, x, p_sv, f


def tables():
    made = []
    for row in rows("cipm_2007", "densities"):
        given = {name: row[name] for name in GIVEN}
        rho, z, x, p_sv, f = state(*map(float, given.values()))
        parts = {"density [kg/m3]": f"{rho:.9f}", "Z": f"{z:.10f}", "x_v": f"{x:#.10g}"}
        made.append(given | parts | {"p_sv [Pa]": f"{p_sv:.6f}", "f": f"{f:.9f}"})
    return {"densities": made}
