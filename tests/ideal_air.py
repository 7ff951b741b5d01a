"""Moist air as an ideal gas with the saturation pressure of Magnus: a second formula, to hold the density of `calib` against.

Source: WMO-No. 8, Guide to Instruments and Methods of Observation, Annex 4.B (from memory; stated there for -45 to 60 degC).
"""

import numpy as np

from calib.airflow.air import GAS_CONSTANT, MOLAR_MASS_OF_DRY_AIR, MOLAR_MASS_OF_WATER


def magnus_saturation_pressure(temperature):
    """Saturation vapour pressure over water p_sv = 611.2 Pa exp(17.62 t/(243.12 degC + t)) [Pa] from the temperature [K]."""
    t = temperature - 273.15
    return 611.2 * np.exp(17.62 * t / (243.12 + t))


def density_ideal(temperature, pressure, humidity):
    """Density [kg/m3] rho = [(p - e) M_a + e M_v]/(R T), e = h p_sv: neither enhancement nor compressibility."""
    vapour = humidity * magnus_saturation_pressure(temperature)
    mass = (pressure - vapour) * MOLAR_MASS_OF_DRY_AIR + vapour * MOLAR_MASS_OF_WATER
    return mass / (GAS_CONSTANT * temperature)
