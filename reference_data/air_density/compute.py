"""densities.csv: the density of moist air [kg/m3] by five formulas, each written out here or asked of a library.

ideal gas with Magnus   rho = (p - e)/(R_d T) + e/(R_v T),  e = h 611.2 Pa exp(17.62 t/(243.12 + t)),  R_d = 287.055, R_v = 461.52
IEC 61400-12-1          rho = [p/R_0 - h p_w (1/R_0 - 1/R_w)]/T,  p_w = 2.05e-5 Pa exp(0.0631846 T/K),  R_0 = 287.05, R_w = 461.5
CIPM-2007               as reference_data/cipm_2007/compute.py has it
PsychroLib, CoolProp    GetMoistAirDensity; HAPropsSI of the volume of moist air

All gas constants in J/(kg K). Constants and formulas from memory; R_d and R_v read back from the rows: no others
of the common ones give all eleven. The libraries asked: PsychroLib
2.5.0, CoolProp 8.0.0.
"""

from math import exp

from CoolProp.HumidAirProp import HAPropsSI

from tests.recompute import script
from tests.reference import rows

STATE = ("t [degC]", "p [Pa]", "h")


def magnus(t, p, h):
    e = h * 611.2 * exp(17.62 * t / (243.12 + t))
    return ((p - e) / 287.055 + e / 461.52) / (t + 273.15)


def iec(t, p, h):
    t_k = t + 273.15
    return (p / 287.05 - h * 2.05e-5 * exp(0.0631846 * t_k) * (1 / 287.05 - 1 / 461.5)) / t_k


def cipm(t, p, h):
    return script("cipm_2007").state(t, p, h)[0]


def psychrolib_density(t, p, h):
    import psychrolib  # noqa: PLC0415  # it keeps its units in a global

    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib.GetMoistAirDensity(t, psychrolib.GetHumRatioFromRelHum(t, h, p), p)


def coolprop(t, p, h):
    return 1 / HAPropsSI("Vha", "T", t + 273.15, "P", p, "R", h)


FORMULAS = {
    "ideal gas with Magnus": magnus,
    "IEC 61400-12-1": iec,
    "CIPM-2007": cipm,
    "PsychroLib": psychrolib_density,
    "CoolProp": coolprop,
}


def tables():
    states = [{name: row[name] for name in STATE} for row in rows("air_density", "densities")]
    return {
        "densities": [
            row | {name: f"{formula(*map(float, row.values())):.5f}" for name, formula in FORMULAS.items()}
            for row in states
        ]
    }
