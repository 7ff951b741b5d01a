"""The measurement model of a flow (VIM 2.48): from indications to flows and what each influence contributes.

    y = x + c(x)              corrected indication: a velocity, a velocity pressure, or a flow; other shapes y = f(x)
    v = sqrt(2 y/rho)         where y is a velocity pressure; then through the probe's own curve, where one was used; near zero
                              the mean over what y may be
    v = y rho_ref/rho         where y is the velocity at a reference state (thermal anemometers)
    v = f(x s)/s              vanes whose friction is corrected for the air's density, s = sqrt(rho/rho_cal)
    v_mean = sum w v          over the points of a traverse and its passes: velocities are averaged, never pressures
    q = v_mean A K            volume flow [m3/s]; K = 1 in a duct and with an effective area A = A_e
    q = y                     a hood; from a pair of readings with its throttle open and set, the flow without the hood

    influence                evaluation                                     shared by
    repeatability            s/sqrt(n) of passes, or the declared one       the reading
    resolution               step/sqrt(12) at each point                    the reading
    calibration scatter      correction curve, n-p dof                      readings with the calibration
    reference standard       correction curve                               not known: laboratory and quantity, along comparisons
    stability                limits of change, rectangular; or history      not known: the calibration, along its comparisons
    decided in review        a change found that nobody corrects for        not known: readings with the calibration
    density                  temperature, pressure, humidity, formula       each by what observed it, or by the conditions
    air temperature not      a declared range, rectangular                  readings of one sign: the stream of air
    observed
    probe                    the probe's curve and its stability            readings with the probe's calibration
    back pressure            the hood's resistance ratio                    readings with the hood
    dimension                limits of each dimension, rectangular          the outlet or duct
    outlet factor            its standard uncertainty                       outlets whose factor has the same source
    method                   a single figure, relative                      not known: readings by the method
    method common, own       two figures, relative                          readings by it at one kind of opening, one way; none
    plant drift              a reading repeated at the end, relative        the system and service

What a certificate made in house takes over from its standard is shared as the standard's own errors are, and a certificate may
state the correlations of its reference values (`calib.measurement.standards_behind`). A found factor carries the error of the
instrument in the duct, with its sign (`calib.measurement.carried_by_factors`).

A factor found in the field with the very calibration that a reading uses carries that calibration's error with the opposite sign:
the scatter and the reference part cancel as far as both were taken at the same indication.

An instrument has one error in all that it is used for: one that shows a velocity pressure and the static pressure of the air
moves a flow by both, and they add with their signs in the lines of its calibration (`calib.measurement.influences_of_air`).

Flows that are compared are taken to one density, q rho/rho_0, each with its own correlations (`calib.measurement.at_density`).

Arrays run over the readings of a job, or over their points; there is no loop over readings.
"""

from calib.measurement.at_density import at_density
from calib.measurement.at_points import indication_scale
from calib.measurement.flows import DECIDED, METHOD, PLANT_DRIFT, Flows, flow_values, flows
from calib.measurement.influences_of_air import DENSITY, NOT_OBSERVED, InfluencesOfAir, influences_of_air
from calib.measurement.readings import (
    Air,
    AirOfReadings,
    Calibrations,
    FoundFactors,
    Hoods,
    ObservedBy,
    Points,
    Probes,
    Readings,
    TwoFigures,
)

__all__ = [
    "DECIDED",
    "DENSITY",
    "METHOD",
    "NOT_OBSERVED",
    "PLANT_DRIFT",
    "Air",
    "AirOfReadings",
    "Calibrations",
    "Flows",
    "FoundFactors",
    "Hoods",
    "InfluencesOfAir",
    "ObservedBy",
    "Points",
    "Probes",
    "Readings",
    "TwoFigures",
    "at_density",
    "flow_values",
    "flows",
    "indication_scale",
    "influences_of_air",
]
