"""Readings written out as the arrays of the measurement model: one line for each, all that it does not say being absent."""

import math
from dataclasses import dataclass, field

import numpy as np

from calib.curves.curve import CorrectionCurve
from calib.curves.regression import Polynomial
from calib.measurement import Air, Hoods, Points, Probes, Readings, TwoFigures
from calib.measurement.hood import THROTTLED_HOOD
from calib.measurement.indicated_velocity import INDICATED_VELOCITY
from calib.measurement.way import Way


def correction(coefficients=(0.0,), covariance=None, dof=5.0, nodes=((-1e6, 0.0), (1e6, 0.0))):
    """Curve with a correction in powers of x itself; `nodes` are indications with the reference part there."""
    own = np.array(coefficients, dtype=float)
    scatter = np.zeros((own.size, own.size)) if covariance is None else np.array(covariance, dtype=float)
    polynomial = Polynomial(0.0, 1.0, own, scatter, dof, 0.0, np.zeros(1))
    at, u = np.array(nodes, dtype=float).T
    return CorrectionCurve(1.0, True, at, u, polynomial)


@dataclass(frozen=True)
class One:
    """One reading. Indications of a pass side by side; of a hood's pair one pass of two."""

    passes: tuple[tuple[float, ...], ...]
    u: float = 0.0  # repeatability at each point
    dof: float = math.inf
    limit: float = 0.0  # half-width of the change since calibration, relative to the indication
    step: float = 0.0
    calibration: int = 0
    way: Way = INDICATED_VELOCITY
    density: float = 1.2
    u_density: float = 0.0  # relative
    conditions: int = 0
    reference_density: float = 1.2
    probe: int = -1
    probe_limit: float = 0.0  # relative
    ratio: float = math.nan
    u_ratio: float = 0.0
    hood: int = 0
    area: float = 1.0
    dimension: float = 0.0  # half-width, relative
    factor: float = 1.0
    u_factor: float = 0.0  # relative
    source: int = 0
    method: float = 0.0  # single figure
    by: int = 0  # number of the method
    method_common: float = 0.0
    method_own: float = 0.0
    opening: int = 0  # kind of opening that the common figure holds for
    weights: tuple[float, ...] = field(default=())  # of a pass; equal ones where none are given


def single(indication, **said):
    """A reading of one indication."""
    return One(((indication,),), **said)


def several(*passes, **said):
    """A reading of several points, in one pass or more."""
    return One(tuple(tuple(one) for one in passes), **said)


def pair(opened, throttled, ratio, **said):
    """A pair of readings of a hood."""
    return One(((opened, throttled),), way=THROTTLED_HOOD, ratio=ratio, weights=(1.0, 1.0), **said)


def readings(*ones, curves=None):
    """The readings as arrays."""
    flat = [(number, one, of_pass) for number, one in enumerate(ones) for of_pass in one.passes]
    sizes = [len(of_pass) for *_, of_pass in flat]
    owner = np.repeat([number for number, *_ in flat], sizes)
    x = np.array([value for *_, of_pass in flat for value in of_pass], dtype=float)
    weight = [share for _, one, of_pass in flat for share in one.weights or [1 / len(of_pass)] * len(of_pass)]

    def each(name):
        return np.array([getattr(one, name) for one in ones])

    exactly = np.full(len(ones), math.inf)
    two = TwoFigures(each("method_common"), exactly, each("method_own"), exactly, each("opening"))
    rows = np.arange(len(ones))
    ways = list(dict.fromkeys(one.way for one in ones))
    air = Air(each("density"), each("u_density"), each("conditions"), each("reference_density"))
    hoods = Hoods(each("ratio"), each("u_ratio"), each("hood"))
    return Readings(
        indication=x,
        repeatability=each("u")[owner],
        repeatability_type_a=np.isfinite(each("dof"))[owner],
        repeatability_dof=each("dof").astype(float)[owner],
        stability_limit=each("limit")[owner] * np.abs(x),
        resolution=each("step"),
        calibration=each("calibration"),
        outlet=rows,
        area=each("area"),
        dimension_relative=np.column_stack([each("dimension"), np.zeros(len(ones))]),
        outlet_factor=each("factor"),
        outlet_factor_relative=each("u_factor"),
        outlet_factor_source=each("source"),
        method_relative=each("method"),
        method=each("by"),
        two_figures=two if any(one.method_common or one.method_own for one in ones) else None,
        curves=[correction()] if curves is None else curves,
        ways=ways,
        way=np.array([ways.index(one.way) for one in ones]),
        points=Points(owner, np.repeat(np.arange(len(flat)), sizes), np.array(weight)) if x.size > len(ones) else None,
        air=air if any(way.in_air for way in ways) else None,
        probes=Probes(each("probe"), each("probe_limit"), np.zeros(len(ones))) if np.any(each("probe") >= 0) else None,
        hoods=hoods if THROTTLED_HOOD in ways else None,
    )


def line(found, name):
    """Uncertainties (n,) that one influence brings to the flows, with the sign of its first part where it has one only."""
    (one,) = [each for each in found.contributions if each.name == name]
    return one.parts[:, 0] if one.parts.shape[1] == 1 else np.linalg.norm(one.parts, axis=1)
