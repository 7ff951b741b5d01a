"""Points, flows and every line of their budgets beside the same equations in the uncertain numbers of GTC.

GTC (GUM Tree Calculator) is given each error by itself and differentiates the whole chain; nothing here is 0 or 1, so that every
factor, sign and term shows. What errors share, and degrees of freedom (GUM G.4, equation G.2b), stand here as they are declared in
`calib.measurement`.
"""

import math
from collections import defaultdict
from dataclasses import replace
from functools import cache

import GTC
import numpy as np
import pytest
from GTC import rp

from calib.curves.response import KING, LINE, ResponseCurve, ResponseFit
from calib.measurement import AirOfReadings, Calibrations, FoundFactors, ObservedBy, TwoFigures, flow_values, flows
from calib.measurement.at_points import at_points
from calib.measurement.calibrated_pair import CALIBRATED_PAIR
from calib.measurement.hood import THROTTLED_HOOD
from calib.measurement.influences_of_air import NOT_OBSERVED, influences_of_air
from calib.measurement.readings import PlantDrift, Probes, StandardBehind
from calib.measurement.thermal import THERMAL
from calib.measurement.vane import VANE
from calib.measurement.velocity_pressure import VELOCITY_PRESSURE
from calib.uncertainty.sharing import common, common_within_a_sign, independent, not_known, not_known_of_a_change
from tests.arrays import correction, pair, readings, several, single
from tests.independent_ways import near_zero as mean_near_zero

SAME = 1e-12

# --- what is given ---------------------------------------------------------------------------------------------------------------


def response(shape, coefficients, covariance, dof, nodes):
    """A curve of which an error of the indication does not move the value by as much."""
    fit = ResponseFit(shape, np.array(coefficients), np.array(covariance), dof, 0.0, np.zeros(1), np.zeros((1, 1)), 1)
    at, u = np.array(nodes).T
    return ResponseCurve(1.0, True, at, u, fit)


OF_KING = [[3e-4, -1e-6, 0.0], [-1e-6, 4e-6, 1e-7], [0.0, 1e-7, 1e-6]]
QUADRATIC = [[4e-4, -2e-5, 0.0], [-2e-5, 9e-6, -1e-7], [0.0, -1e-7, 4e-8]]
CURVES = [
    response(KING, (0.02, 1.05, 1.97), OF_KING, 3.0, ((2.0, 0.03), (9.0, 0.08), (30.0, 0.3))),
    response(LINE, (0.3, 1.04), [[4e-3, -1e-5], [-1e-5, 1e-6]], 4.0, ((4.0, 0.2), (60.0, 0.5), (400.0, 1.9))),
    correction((0.07,), [[5e-4]], 7.0, ((0.5, 0.02), (6.0, 0.05), (20.0, 0.19))),
    correction((0.12, -0.03, 0.002), QUADRATIC, 5.0, ((0.4, 0.01), (5.0, 0.04), (15.0, 0.13))),
    correction((0.004, 0.03), [[2e-6, -1e-6], [-1e-6, 3e-6]], 6.0, ((0.1, 0.002), (0.5, 0.006), (1.2, 0.02))),
]
PROBE, MANOMETER, ANEMOMETER, OF_VANE, OF_HOOD = range(5)
OF_REFERENCE = (20.0, 30.0, 12.0, 15.0, 25.0)  # degrees of freedom
CURVES = [replace(curve, reference_degrees_of_freedom=nu) for curve, nu in zip(CURVES, OF_REFERENCE, strict=True)]

MIXED = (
    several(
        (52.0, 71.0, 38.0), (55.0, 69.0, 41.0), (54.0, 70.0, 36.0), weights=(0.5, 0.3, 0.2), way=VELOCITY_PRESSURE,
        calibration=MANOMETER, probe=PROBE, step=0.1, density=1.13, u_density=0.004, area=0.126, method=0.013, by=1,
    ),
    single(
        6.2, way=THERMAL, calibration=ANEMOMETER, step=0.02, density=1.13, u_density=0.004, reference_density=1.19,
        area=0.08, factor=0.84, u_factor=0.021, source=2, method=0.025, by=2,
    ),
    several(
        (3.1, 4.4), weights=(0.6, 0.4), way=VANE, calibration=OF_VANE, step=0.01, density=1.08, u_density=0.006,
        conditions=1, reference_density=1.2, area=0.11, factor=0.91, u_factor=0.017, source=3, method=0.025, by=2,
    ),
    pair(0.60, 0.54, 4.2, calibration=OF_HOOD, step=0.001, u_ratio=0.21, hood=3, method=0.018, by=3, density=1.5),
    several(
        (33.0, 47.0), weights=(0.3, 0.7), way=VELOCITY_PRESSURE, calibration=MANOMETER, step=0.2, density=1.08,
        u_density=0.006, conditions=1, area=0.07, factor=0.9, u_factor=0.03, source=2, method=0.013, by=1,
    ),
    single(
        2.7, calibration=OF_VANE, step=0.05, density=1.3, area=0.2, factor=0.8, u_factor=0.019, source=3, by=2,
        method=0.025,
    ),
)  # fmt: skip
# Every reading is its one point: then no points are told.
SINGLE = (
    MIXED[1],
    replace(MIXED[4], passes=((33.0,),), weights=(), probe=PROBE),
    replace(MIXED[2], passes=((3.1,),), weights=()),
    MIXED[5],
    replace(MIXED[4], passes=((52.0,),), weights=()),
)

# Pressures near zero and below the lowest comparison: at one place in each pass, at another in one of them.
LOW = (
    replace(MIXED[0], passes=((52.0, 6.0, 1.0, 1.4), (55.0, 2.0, 0.4, 0.9)), weights=(0.4, 0.3, 0.2, 0.1)),
    replace(MIXED[4], passes=((33.0, -0.2, 2.5, 0.0),), weights=(0.4, 0.3, 0.1, 0.2), probe=PROBE),
    MIXED[2],
    replace(MIXED[4], passes=((3.0, 47.0),)),
    MIXED[0],
)
SINGLE_LOW = (replace(SINGLE[1], passes=((0.4,),)), SINGLE[0], replace(SINGLE[4], passes=((1.1,),)), SINGLE[4])


def given(ones):
    """The readings as arrays, with all that may be told of them."""
    plain = readings(*ones, curves=CURVES)
    point, row = np.arange(1, plain.indication.size + 1), np.arange(1, plain.size + 1)
    of_hood = np.isin(plain.indication, (0.60, 0.54))
    smaller = np.where(of_hood, 0.02, 1.0)  # as its flows are
    return replace(
        plain,
        repeatability=0.009 * (2 + point % 3) * smaller,
        repeatability_dof=3.0 + point % 4,
        repeatability_type_a=~np.isin(plain.indication, (71.0, 4.4)),
        declared_repeatability=0.05 * smaller,
        stability_limit=0.011 * (2 + point % 4) * smaller,
        decided=0.003 * (1 + point % 5) * smaller,
        stability_dof=np.where(row % 2, math.inf, 7.0 + row),
        dimension_relative=np.column_stack([0.002 * row, 0.003 + 0.001 * row]),
        outlet_factor_dof=20.0 + row,
        method_dof=40.0 + row,
        two_figures=TwoFigures(0.004 * (1 + row % 3), 20.0 + row, 0.006 * (1 + row % 2), 30.0 + row, row % 2),
        probes=Probes(plain.probes.calibration, 0.001 * (3 + row), 0.01 * (1 + row), np.where(row % 2, 8.0, 9.0)),
        air=replace(plain.air, not_observed=0.001 * row),
        plant_drift=PlantDrift(0.002 * row, 4 + row % 3),
        calibrations=Calibrations(np.array([7, 8, 9, 7, 8]), [np.array([0.1, 0.4, 0.9]) * (k + 1) for k in range(5)]),
    )


# The air as instruments told it, some of which show a velocity too: calibrations by their names in the records.
IDENTIFIERS = (71, 72, 51, 52, 53, 50)
CURVE_NAMED = {50: PROBE, 51: MANOMETER, 52: ANEMOMETER, 53: OF_VANE}
OF_READINGS = (50, 51, 52, 53, 54)
CHANGE = 0.4  # half-width of the change of what was indicated
NOBODY = len(IDENTIFIERS)
# In each slot: the calibration of each reading, and by it one indication or two, each with what a unit of it does to ln rho.
SLOTS = (
    ((0, 0, 0, NOBODY, NOBODY, 1, 5), ((8.0,) * 7, (5.0,) * 7), ((-0.0011,) * 7, (0.0003,) * 7)),
    ((2, 2, 4, 0, 2, 0, NOBODY), ((240.0, 230.0, 6.0, 7.0, 55.0, 9.0, 9.0), (90.0, 80.0, 2.0, 7.0, 30.0, 9.0, 9.0)),
     ((0.0012, 0.0012, 0.004, 0.001, -0.0014, 0.0017, 0.0), (-0.0005, 0.0006, 0.003, 0.001, 0.0007, -0.0004, 0.0))),
    ((3, 3, 2, 1, 2, 5, 3), ((8.0, 9.0, 100.0, 7.0, 60.0, 11.0, 7.0),), ((0.006, -0.004, 0.0009, 0.002, 0.0013, 0.0006, 0.001),)),
)  # fmt: skip


def observed_in(slot, number):
    """What the calibrations of a slot do to ln rho: of those that have a curve here, by that."""
    place, indications, worth = (np.array(each) for each in slot)
    size, width = place.size, 4
    scatter, reference, stability = np.zeros((size, width)), np.zeros((size, len(worth))), np.zeros((size, len(worth)))
    for row, which in enumerate(place.tolist()):
        if which == NOBODY:
            continue
        curve = CURVES[CURVE_NAMED[IDENTIFIERS[which]]] if IDENTIFIERS[which] in CURVE_NAMED else None
        for q, (x, by) in enumerate(zip(indications[:, row], worth[:, row], strict=True)):
            if curve is None:
                scatter[row] += by * np.array([0.3, 0.2, 0.5, 0.1]) * (1 + q)
                reference[row, q], stability[row, q] = by * 0.7, by * 0.9
            else:
                scatter[row, : curve.parts] += by * curve.scatter_parts(x)
                reference[row, q] = by * float(curve.reference_uncertainty(x))
                stability[row, q] = by * float(curve.error_sensitivity(x)) * CHANGE / math.sqrt(3)
    dof = np.column_stack([5.0 + number + place, 40.0 + number + place, np.full(size, 60.0 + number)])
    return ObservedBy(place, indications.T, scatter, reference, stability, dof)


def in_told_air(ones):
    """The same where each influence of the air is told."""
    plain = given(ones)
    row = np.arange(1, plain.size + 1)
    air = AirOfReadings(
        plain.air.density,
        np.column_stack([0.0013 * row, 0.002 - 0.0004 * row]),
        plain.air.conditions,
        [observed_in(slot, number) for number, slot in enumerate(SLOTS)],
        0.0009 + 0.0001 * row,
        np.column_stack([0.0007 * row, np.full(row.size, -0.0006)]),
        plain.air.not_observed,
        IDENTIFIERS,
    )
    return replace(
        plain,
        air=replace(plain.air, influences=air, relative_uncertainty=np.full(row.size, math.nan)),
        calibrations=replace(plain.calibrations, identifier=OF_READINGS),
    )


# --- the same in uncertain numbers -----------------------------------------------------------------------------------------------


class Model:
    """The readings in uncertain numbers; an error is known by its line of the budget, what shares it, its part, and its point.

    At the points of a reading one error is told by a number each, so that it shows what each point brings of it.
    """

    def __init__(self, arrays):
        self.arrays, self.errors = arrays, defaultdict(dict)
        self.reading = np.arange(arrays.size) if arrays.points is None else arrays.points.reading
        self.own, self.near_zero, self.near_places = {}, set(), set()
        for _ in range(2):  # the first look tells at which places the pressure is near zero in some pass
            self.errors.clear()
            self.corrected, self.before_probe, self.points = [], [], []
            self.asked, self.u, self.below = {}, defaultdict(float), set()
            for k in range(self.reading.size):
                self.point(k)
        self.velocity = [self.mean(row) for row in range(arrays.size)]
        self.flow = [self.through_opening(row) for row in range(arrays.size)]

    def error(self, line, shared_by, part=0, point=0):
        key = (shared_by, part, point)
        if key not in self.errors[line]:
            self.errors[line][key] = GTC.ureal(0.0, 1.0)
        return self.errors[line][key]

    def components(self, y, line):
        """What each error of a line does to a number: that of each point."""
        return {key: rp.u_component(y, error) for key, error in self.errors[line].items()}

    def of_line(self, y, line):
        """The same, the points together."""
        whole = defaultdict(float)
        for (shared_by, part, _), component in self.components(y, line).items():
            whole[shared_by, part] += component
        return whole

    def covariance(self, numbers, line):
        """(n, n) of numbers by the errors of one line."""
        of_each = [self.of_line(y, line) for y in numbers]
        return np.array([[math.fsum(a[key] * b[key] for key in a) for b in of_each] for a in of_each])

    def place(self, k):
        """Number of the place of a point within its pass."""
        of_pass = None if self.arrays.points is None else self.arrays.points.passage
        return 0 if of_pass is None else int(np.sum(of_pass[:k] == of_pass[k]))

    def through(self, index, x, lines, k, *, at=None):
        """What a curve makes of an indication, and an error of it of the value; its own errors are those at `at`, or at x."""
        curve = CURVES[index]
        at = GTC.value(x) if at is None else at
        theta = [
            value + sum(part * self.error(lines[0], index, j, k) for j, part in enumerate(of_own))
            for value, of_own in zip(curve.coefficients, np.linalg.cholesky(curve.covariance), strict=True)
        ]
        slope, (a, b, n) = 1.0, [*curve.coefficients, 0.0, 0.0][:3]
        if index == MANOMETER:
            y, slope = (x - theta[0]) / theta[1], 1 / b
        elif index == PROBE:
            y = ((x**2 - theta[0]) / theta[1]) ** (1 / theta[2])
            slope = 2 * at / (b * n * ((at**2 - a) / b) ** ((n - 1) / n))
        else:
            y = x + sum(each * x**power for power, each in enumerate(theta))
        reference = np.interp(at, curve.reference_indications, curve.reference_uncertainties)
        return y + float(reference) * self.error(lines[1], index, 0, k), slope

    def pressure(self, x, k):
        """The corrected pressure: below the lowest comparison the correction of that is held."""
        lines, lowest = ("calibration scatter", "reference standard"), float(CURVES[MANOMETER].low)
        if GTC.value(x) >= lowest:
            return self.through(MANOMETER, x, lines, k)
        y, slope = self.through(MANOMETER, lowest, lines, k, at=lowest)
        return y + slope * (x - lowest), slope

    def behind_probe(self, probe, row, v, k):
        """The velocity by the probe's curve: below the lowest comparison the coefficient of that is held, and its errors."""
        probes, lines, lowest = self.arrays.probes, ("probe", "reference of the probe"), float(CURVES[probe].low)
        at = max(GTC.value(v), lowest)
        if GTC.value(v) >= lowest:
            of_probe, slope = self.through(probe, v, lines, k)
        else:
            self.below.add(k)
            of_lowest, slope = self.through(probe, lowest, lines, k, at=lowest)
            of_probe = of_lowest + GTC.value(of_lowest) * (v / lowest - 1)
        limit = float(probes.stability_relative[row]) * at + float(probes.stability_absolute[row])
        return of_probe + slope * limit / math.sqrt(3) * self.error("stability of the probe", probe, 0, k)

    def corrected_indication(self, row, k, u, scale, *, near):
        """What is indicated through the instrument's curve; errors of the points of a reading near zero are one."""
        arrays, index, place = self.arrays, int(self.arrays.calibration[row]), self.place(k)
        own = self.error("repeatability", row, "near zero" if near else k, k)
        rounding = self.error("resolution", row, "near zero" if (row, place) in self.near_places else place, k)
        step = float(arrays.resolution[row])
        x = (float(arrays.indication[k]) + u * own + step / math.sqrt(12) * rounding) * scale
        self.asked[k], self.own[k] = GTC.value(x), (u, own)
        of_instrument = ("calibration scatter", "reference standard")
        y, slope = self.pressure(x, k) if index == MANOMETER else self.through(index, x, of_instrument, k)
        y += slope * float(arrays.stability_limit[k]) / math.sqrt(3) * self.error("stability", index, 0, k)
        return y + float(arrays.decided[k]) / math.sqrt(3) * self.error("decided in review", index, 0, k)

    def point(self, k):
        arrays, row = self.arrays, int(self.reading[k])
        way, u = arrays.way_of(row), float(arrays.repeatability[k])
        rho, rho_0 = float(arrays.air.density[row]), float(arrays.air.reference_density[row])
        in_air = 1 + self.of_density(row)
        in_air += float(arrays.air.not_observed[row]) * self.error(NOT_OBSERVED, 0, 0, k)
        scale = (in_air * rho / rho_0) ** 0.5 if way is VANE else 1.0
        alone = max(u, float(arrays.declared_repeatability[k]))
        y = self.corrected_indication(row, k, alone, scale, near=True)
        if way is VELOCITY_PRESSURE:
            self.u[k] = y.u
            self.below |= {k} if self.asked[k] < CURVES[MANOMETER].low else set()
        if way is VELOCITY_PRESSURE and (GTC.value(y) <= 0 or y.u / (2 * GTC.value(y)) > 0.1):
            self.near_zero.add(k)
            self.near_places.add((row, self.place(k)))
            v = self.mean_near_zero(y, in_air * rho)
        else:
            y = self.corrected_indication(row, k, u, scale, near=False)
            if way is VELOCITY_PRESSURE:
                v = (2 * y / (in_air * rho)) ** 0.5
            else:
                v = y * (rho_0 / (in_air * rho)) ** {THERMAL: 1.0, CALIBRATED_PAIR: 0.5}.get(way, 0.0) / scale
        self.corrected.append(y)
        self.before_probe.append(GTC.value(v))
        probe = int(arrays.probes.calibration[row])
        self.points.append(self.behind_probe(probe, row, v, k) if probe >= 0 else v)

    @staticmethod
    def mean_near_zero(y, rho):
        """The mean over what the pressure may be; what makes u of it makes its 0.6 sqrt(2 u/rho) in proportion."""
        mean, u = mean_near_zero(GTC.value(y), y.u, GTC.value(rho))
        return mean * (rho / GTC.value(rho)) ** -0.5 + u / y.u * (y - GTC.value(y))

    def of_density(self, row):
        """Relative error of the density in the air of a reading."""
        air, told = self.arrays.air, self.arrays.air.influences
        here = int(air.conditions[row])
        if told is None:
            return float(air.relative_uncertainty[row]) * self.error("density", here)
        error = float(told.pressure[row]) * self.error("density", "pressure")
        for j in range(2):
            error += float(told.own[row, j]) * self.error("density", ("own", here), j)
            error += float(told.stated[row, j]) * self.error("density", "stated", j)
        for slot, by in enumerate(told.of_calibrations):
            if by.calibration[row] != NOBODY:
                error += self.observed(row, slot, by, IDENTIFIERS[by.calibration[row]])
        return error

    def observed(self, row, slot, by, identifier):
        """What the calibration of one slot brings: in the lines of the reading's instrument where it is that one's."""
        index = CURVE_NAMED.get(identifier)
        lines = OF_INSTRUMENT if index == self.arrays.calibration[row] else OF_AIR
        error = 0.0
        if index is None:
            error += sum(float(u) * self.error(lines[0], identifier, j) for j, u in enumerate(by.scatter[row]))
            error += float(by.reference[row].sum()) * self.error(lines[1], identifier)
            return error + float(by.stability[row].sum()) * self.error(lines[2], identifier)
        for q, x in enumerate(by.indication[row].tolist()):
            point = (row, slot, q)
            y, slope = self.through(index, x, lines, point)
            y += slope * CHANGE / math.sqrt(3) * self.error(lines[2], index, 0, point)
            error += float(SLOTS[slot][2][q][row]) * (y - GTC.value(y))
        return error

    def mean(self, row):
        arrays, mine = self.arrays, np.flatnonzero(self.reading == row).tolist()
        if arrays.way_of(row) is THROTTLED_HOOD:
            u = float(arrays.hoods.resistance_ratio_uncertainty[row])
            r = float(arrays.hoods.resistance_ratio[row]) + u * self.error("back pressure", int(arrays.hoods.hood[row]))
            first, second = (self.points[k] for k in mine)
            return ((r / first**2 - 1 / second**2) / (r - 1)) ** -0.5
        if arrays.points is None:
            return self.points[row]
        passes = defaultdict(float)
        for k in mine:
            passes[int(arrays.points.passage[k])] += float(arrays.points.weight[k]) * self.points[k]
        means = [GTC.value(each) for each in passes.values()]
        shown = np.std(means, ddof=1) / math.sqrt(len(means)) if len(means) > 1 else 0.0
        return sum(passes.values()) / len(means) + float(shown) * self.error("repeatability", row, "passes")

    def through_opening(self, row):
        arrays, two = self.arrays, self.arrays.two_figures
        area = float(arrays.area[row]) * (
            1
            + sum(
                float(a) / math.sqrt(3) * self.error("dimension", row, j)
                for j, a in enumerate(arrays.dimension_relative[row])
            )
        )
        of_row = {
            "outlet factor": (arrays.outlet_factor_relative, arrays.outlet_factor_source),
            "method": (arrays.method_relative, arrays.method),
            "method common": (two.common_relative, two.opening),
            "method own": (two.own_relative, two.opening),
            "plant drift": (arrays.plant_drift.relative, arrays.plant_drift.stream),
        }
        flow = self.velocity[row] * area * float(arrays.outlet_factor[row])
        for line, (u, shared_by) in of_row.items():
            flow *= 1 + float(u[row]) * self.error(line, int(shared_by[row]))
        return flow


OF_INSTRUMENT = ("calibration scatter", "reference standard", "stability")
OF_AIR = tuple(f"{name} of another" for name in OF_INSTRUMENT)
OF_PROBE = ("probe", "reference of the probe", "stability of the probe")
LINES = (
    "repeatability", "resolution", "calibration scatter", "reference standard", "stability", "decided in review", "density",
    NOT_OBSERVED, "probe", "back pressure", "dimension", "outlet factor", "method", "method common",
    "method own", "plant drift",
)  # fmt: skip
TOLD = (
    *MIXED[:5],
    replace(MIXED[1], passes=((4.8,),), conditions=1),
    single(5.1, way=CALIBRATED_PAIR, calibration=PROBE, density=1.05, conditions=1, step=0.02, area=0.12, factor=0.7,
           u_factor=0.03, source=2, method=0.025, by=2),
)  # fmt: skip
JOBS = {
    "mixed": given(MIXED),
    "of one point each": given(SINGLE),
    "near zero": given(LOW),
    "of one point each near zero": given(SINGLE_LOW),
    "in told air": in_told_air(TOLD),
}


@cache
def both(name):
    """The readings of a job as arrays, and in uncertain numbers."""
    return JOBS[name], Model(JOBS[name])


@pytest.fixture(params=JOBS)
def job(request):
    """Each job."""
    return both(request.param)


@pytest.fixture(params=[name for name in JOBS if name != "in told air"])
def plain_job(request):
    """Each in which the density of the air has an error for each set of conditions."""
    return both(request.param)


def together(covariances):
    return np.sum(list(covariances), axis=0)


def covariance_of(model, numbers, line):
    of_line = {"probe": OF_PROBE, "density": ("density", *OF_AIR)}.get(line, (line,))
    return together(model.covariance(numbers, name) for name in of_line)


def close(expected):
    """Within 1e-12 of it, or of the largest where it is a matrix."""
    return pytest.approx(expected, rel=SAME, abs=SAME * max(float(np.max(np.abs(expected))), 1e-300))


# --- points ----------------------------------------------------------------------------------------------------------------------


def at(model, line, numbers):
    """What the error of each point by itself does to it."""
    return np.array(
        [model.components(y, line).get(key, 0.0) for y, key in zip(numbers, keys(model, line), strict=True)]
    )


def keys(model, line):
    return [next((key for key in model.errors[line] if key[2] == k), None) for k in range(model.reading.size)]


def test_each_point_has_the_value_and_the_sensitivities_of_the_equations(job):
    arrays, model = job
    found, row = at_points(arrays), model.reading
    assert found.value == close([GTC.value(v) for v in model.points])
    assert found.corrected == close([GTC.value(y) for y in model.corrected])
    assert found.before_probe == close(model.before_probe)
    of_indication = [rp.u_component(v, own) / u for v, (u, own) in zip(model.points, model.own.values(), strict=True)]
    assert found.sensitivity == close(of_indication)
    assert found.stability == close(math.sqrt(3) * at(model, "stability", model.points))
    assert found.decided == close(math.sqrt(3) * at(model, "decided in review", model.points))
    assert found.reference == close(at(model, "reference standard", model.points))
    by_temperature = at(model, NOT_OBSERVED, model.points)
    assert found.density == close(by_temperature / arrays.air.not_observed[row])
    assert found.probe[:, -2] == close(at(model, "reference of the probe", model.points))
    assert found.probe[:, -1] == close(at(model, "stability of the probe", model.points))
    assert set(np.flatnonzero(found.below).tolist()) == model.below
    assert set(np.flatnonzero(found.near_zero).tolist()) == model.near_zero


def test_the_parts_of_scatter_of_points_are_those_of_their_curves(plain_job):
    """Directions may be turned: what counts is the covariance of points of one curve."""
    arrays, model = plain_job
    found, row = at_points(arrays), model.reading
    of_probe = arrays.probes.calibration[row]
    for parts, line, curve in (
        (found.scatter, "calibration scatter", arrays.calibration[row]),
        (found.probe[:, :-2], "probe", np.where(of_probe < 0, 99, of_probe)),
    ):
        one = curve[:, np.newaxis] == curve
        assert one * (parts @ parts.T) == close(model.covariance(model.points, line))
    dof = [CURVES[index].degrees_of_freedom for index in arrays.calibration[row]]
    assert found.scatter_dof.tolist() == dof
    assert found.probe_dof.tolist() == [math.inf if index < 0 else 3.0 for index in of_probe]


def test_a_pressure_alone_is_as_uncertain_as_all_its_errors_make_it(job):
    """The declared repeatability counts also where the passes show it; other ways tell nothing."""
    arrays, model = job
    found = at_points(arrays)
    for k, (y, v) in enumerate(zip(model.corrected, model.points, strict=True)):
        _, own = model.own[k]
        slope = rp.u_component(v, own) / rp.u_component(y, own)
        assert found.corrected_uncertainty[k] == pytest.approx(model.u[k], rel=SAME)
        assert found.value_uncertainty[k] == pytest.approx(slope * model.u[k], rel=SAME)


# --- flows -----------------------------------------------------------------------------------------------------------------------


def lines_of(arrays):
    left_out = () if arrays.hoods is not None else ("back pressure",)
    return [name for name in LINES if name not in left_out]


def test_each_flow_is_that_of_the_equations(job):
    arrays, model = job
    found = flows(arrays)
    assert found.velocity == close([GTC.value(v) for v in model.velocity])
    assert found.flow == close([GTC.value(q) for q in model.flow])
    assert flow_values(arrays).tolist() == found.flow.tolist()
    assert found.point_velocity == close([GTC.value(v) for v in model.points])
    by_temperature = [sum(model.of_line(q, NOT_OBSERVED).values()) for q in model.flow]
    assert found.by_density == close(np.array(by_temperature) / arrays.air.not_observed)


def test_each_line_moves_the_flows_together_as_its_errors_do(job):
    """Variances, and covariances of all that has one source."""
    arrays, model = job
    found = flows(arrays)
    assert [each.name for each in found.contributions] == lines_of(arrays)
    of_value = lines_of(arrays)[: lines_of(arrays).index("dimension")]
    assert [each.name for each in found.velocity_contributions] == of_value
    for contributions, numbers in ((found.contributions, model.flow), (found.velocity_contributions, model.velocity)):
        for each in contributions:
            of_sources = replace(each, shares=()) if each.name != "density" else each
            assert by_shares(of_sources) == close(covariance_of(model, numbers, each.name)), each.name


def by_shares(contribution):
    """(n, n) covariance of what results share, one error for each group, wherever the groups are counted together."""
    pools, size = defaultdict(list), contribution.source.size
    for number, share in enumerate(contribution.shared):
        columns = contribution.parts if share.columns is None else contribution.parts[:, share.columns]
        pools[share.pool or number].append((share.group, columns))
    found = np.zeros((size, size))
    for pool in pools.values():
        for group, parts in pool:
            for other, of_other in pool:
                found += (group[:, np.newaxis] == other) * (parts @ of_other.T)
    return found


def of_one(found, name):
    (one,) = [each for each in found.contributions if each.name == name]
    return one


def welch_satterthwaite(of_each):
    """GUM G.4.1, equation G.2b: of pairs of a standard uncertainty and its degrees of freedom."""
    below = math.fsum(u**4 / nu for u, nu in of_each)
    return math.fsum(u**2 for u, _ in of_each) ** 2 / below if below else math.inf


def of_error(arrays, model, part, row):
    """Degrees of freedom of one error of repeatability: where it is of several points, the fewest that these have."""
    if part == "passes":
        return of_passes(arrays)[row] - 1.0 or math.inf
    mine = [k for k in model.near_zero if model.reading[k] == row] if part == "near zero" else [part]
    return min(arrays.repeatability_dof[mine], default=math.inf)


def of_calibrations(model, row, q):
    """u and degrees of freedom of what moves the density of a reading; what is of no calibration is taken as exactly known."""
    air = model.arrays.air.influences
    yield math.hypot(*model.of_line(q, "density").values()), math.inf
    for by in air.of_calibrations:
        identifier = None if by.calibration[row] == NOBODY else IDENTIFIERS[by.calibration[row]]
        for line, dof in zip(OF_AIR, by.degrees_of_freedom[row], strict=True):
            shared_by = CURVE_NAMED.get(identifier, identifier)
            yield math.hypot(*(u for key, u in model.of_line(q, line).items() if key[0] == shared_by)), dof


def test_each_line_has_its_degrees_of_freedom(job):
    arrays, model = job
    found, exactly = flows(arrays), [math.inf] * arrays.size
    expected = dict.fromkeys(lines_of(arrays), exactly)
    expected["calibration scatter"] = [CURVES[index].degrees_of_freedom for index in arrays.calibration]
    expected["reference standard"] = [OF_REFERENCE[index] for index in arrays.calibration]
    expected |= {
        "stability": arrays.stability_dof,
        "outlet factor": arrays.outlet_factor_dof,
        "method": arrays.method_dof,
        "method common": arrays.two_figures.common_dof,
        "method own": arrays.two_figures.own_dof,
    }
    expected["repeatability"] = [
        welch_satterthwaite(
            [(u, of_error(arrays, model, part, row)) for (row, part), u in model.of_line(q, "repeatability").items()]
        )
        for q in model.flow
    ]
    expected["probe"] = []
    for row, q in enumerate(model.flow):
        u = [math.hypot(*model.of_line(q, name).values()) for name in OF_PROBE]
        dof = (3.0, OF_REFERENCE[PROBE], arrays.probes.stability_dof[row])
        expected["probe"].append(welch_satterthwaite([*zip(u, dof, strict=True)]))
    if arrays.air.influences is not None:
        expected["density"] = [welch_satterthwaite([*of_calibrations(model, *each)]) for each in enumerate(model.flow)]
    for name, dof in expected.items():
        line = of_one(found, name)
        counts = line.variance > 0 if name == "density" else np.ones(arrays.size, dtype=bool)
        assert line.degrees_of_freedom[counts] == pytest.approx(np.array(dof)[counts], rel=SAME), name


def test_the_two_series_of_a_hood_keep_their_own_degrees_of_freedom():
    arrays, model = both("mixed")
    repeatability = of_one(flows(arrays), "repeatability")
    row = next(row for row in range(arrays.size) if arrays.way_of(row) is THROTTLED_HOOD)
    first, second = np.flatnonzero(model.reading == row).tolist()
    of_each = model.of_line(model.velocity[row], "repeatability")
    variances = [of_each[row, first] ** 2, of_each[row, second] ** 2]
    share, dof = np.tile([1.0, 0.0], (arrays.size, 1)), np.full((arrays.size, 2), math.inf)
    share[row] = np.array(variances) / sum(variances)
    dof[:, 0] = repeatability.degrees_of_freedom
    dof[row] = arrays.repeatability_dof[[first, second]]
    assert dof[row, 0] != dof[row, 1]
    assert repeatability.unlike.share == close(share)
    assert repeatability.unlike.degrees_of_freedom == pytest.approx(dof, rel=SAME)
    assert of_one(flows(JOBS["of one point each"]), "repeatability").unlike is None


def test_a_hood_that_repeats_itself_exactly_has_one_series_of_nothing():
    known = readings(pair(0.6, 0.54, 4.0), several((3.0, 4.0)))
    repeatability = of_one(flows(known), "repeatability")
    assert repeatability.unlike.share.tolist() == [[1.0, 0.0]] * 2
    assert repeatability.degrees_of_freedom.tolist() == [math.inf] * 2
    assert of_one(flows(readings(several((3.0, 4.0)))), "repeatability").unlike is None


def of_passes(arrays):
    """Number of passes of each reading."""
    if arrays.points is None:
        return np.ones(arrays.size)
    pairs = set(zip(arrays.points.reading.tolist(), arrays.points.passage.tolist(), strict=True))
    return np.bincount([row for row, _ in pairs], minlength=arrays.size)


def test_each_line_says_how_it_was_evaluated(job):
    """GUM 2.3.2: statistics of observations are Type A, of points where all have them or where passes show more than one."""
    arrays, _ = job
    found, row = flows(arrays), arrays.of_points
    of_points = np.array(
        [arrays.repeatability_type_a[np.arange(arrays.size)[row] == k].all() for k in range(arrays.size)]
    )
    passes = of_passes(arrays)
    expected = {
        "repeatability": of_points | (passes > 1),
        "calibration scatter": np.ones(arrays.size, dtype=bool),
        "stability": np.isfinite(arrays.stability_dof),
    }
    for each in found.contributions:
        assert each.type_a.tolist() == expected.get(each.name, np.zeros(arrays.size, dtype=bool)).tolist(), each.name
    # Several rounded or widened values added are no longer rectangular; a change is one error.
    of_limits = {"stability"} if arrays.points is not None else {"resolution", "stability", "decided in review"}
    assert {each.name for each in found.contributions if each.is_rectangular} == of_limits


def test_errors_within_the_measured_value_add_and_the_others_multiply_it(job):
    """v = sqrt(2 dp/rho) has (m - 1)/m = -1 with m = 1/2; the other ways go straight."""
    arrays, model = job
    found = flows(arrays)
    within = (
        "repeatability",
        "resolution",
        "calibration scatter",
        "reference standard",
        "stability",
        "decided in review",
    )
    others = iter(range(1, 99))
    names = [each.name for each in found.contributions]
    assert found.product.factor.tolist() == [
        0 if name in (*within, "back pressure") else next(others) for name in names
    ]
    is_pressure = [arrays.way_of(row) is VELOCITY_PRESSURE for row in range(arrays.size)]
    bend = np.where(is_pressure, -1.0, 0.0)
    bend[model.reading[sorted(model.near_zero)]] = math.nan  # the mean over what may be is bent already
    assert found.product.bend == pytest.approx(bend, rel=SAME, nan_ok=True)
    assert replace(found, bend=None).product.bend.tolist() == [0.0] * arrays.size


# --- what is shared --------------------------------------------------------------------------------------------------------------


def along_comparisons(model, line, asked, worth, of_slot=None):
    """(n, comparisons) shares by hat functions of what is worth so much at each comparison, by what each use brings there.

    The points of a reading share by what each brings, whatever its sign; so do the indications of one slot of the air. What the
    reading and the slots bring adds with its sign; of one slot alone, where it is told.
    """
    found = np.zeros((model.arrays.size, 3 * len(CURVES)))
    for row, v in enumerate(model.velocity):
        uses = defaultdict(list)
        for (index, _, point), brought in model.components(v, line).items():
            if index in IDENTIFIERS:  # of a calibration that has no curve here
                continue
            if isinstance(point, tuple):
                its_row, slot, q = point
                at, of_row = SLOTS[slot][1][q][its_row], its_row == row
            else:
                at, slot, of_row = asked[point], None, model.reading[point] == row
            if of_row and of_slot in (None, slot):
                nodes, place = CURVES[index].reference_indications, np.arange(3 * index, 3 * index + 3)
                hats = np.array([np.interp(at, nodes, hat) for hat in np.eye(3)]) * worth[index]
                uses[slot].append((brought, place, hats / hats.sum()))
        for use in uses.values():
            whole, size = (math.fsum(each) for each in zip(*((c, abs(c)) for c, *_ in use), strict=True))
            for brought, place, hats in use:
                found[row, place] += whole * abs(brought) / size * hats if size else 0.0
    whole = found.sum(axis=1, keepdims=True)
    return np.divide(found, whole, out=found, where=whole != 0)


def shares_at(at, size):
    found = np.zeros((size, 3 * len(CURVES)))
    np.add.at(found, (at.result, at.comparison), at.share)
    return found


U_REFERENCE = [curve.reference_uncertainties for curve in CURVES]


def test_errors_of_calibrations_are_shared_along_their_comparisons(job):
    arrays, model = job
    shared_along_comparisons(arrays, model, arrays.calibrations)


def test_where_nothing_is_told_of_calibrations_each_is_of_another_laboratory_and_changes_alike(plain_job):
    arrays, model = plain_job
    shared_along_comparisons(replace(arrays, calibrations=None), model, Calibrations(np.arange(5), [np.ones(3)] * 5))


def shared_along_comparisons(arrays, model, known):
    """Assert that the lines of calibrations share as those that are known say."""
    found = flows(arrays)
    own, probes = arrays.calibration, arrays.probes.calibration
    has_one = probes >= 0
    of_probe = np.where(has_one, probes, len(CURVES))
    (of_scatter,), (of_reference,), (of_change,) = (
        of_one(found, name).shared for name in ("calibration scatter", "reference standard", "stability")
    )
    scatter_of_probe, change_of_probe, reference_of_probe = of_one(found, "probe").shared
    last = of_one(found, "probe").parts.shape[1] - 1
    of_probe_s_laboratory = np.where(has_one, known.laboratory[probes], len(CURVES))
    for share, group, rule, columns, pool in (
        (of_scatter, own, common, None, "calibration scatter"),
        (of_reference, known.laboratory[own], not_known, slice(0, 1), "reference standard"),
        (of_change, own, not_known_of_a_change, None, "stability"),
        (scatter_of_probe, of_probe, common, slice(0, last - 1), "calibration scatter"),
        (change_of_probe, of_probe, not_known_of_a_change, slice(last - 1, last), "stability"),
        (reference_of_probe, of_probe_s_laboratory, not_known, slice(last, last + 1), "reference standard"),
    ):  # fmt: skip
        assert share.group.tolist() == group.tolist()
        assert (share.rule, share.columns, share.pool, share.behind) == (rule, columns, pool, False)
    exactly = np.full(arrays.size, math.inf)
    assert scatter_of_probe.degrees_of_freedom.tolist() == np.where(has_one, 3.0, exactly).tolist()
    assert change_of_probe.degrees_of_freedom.tolist() == arrays.probes.stability_dof.tolist()
    assert reference_of_probe.degrees_of_freedom.tolist() == np.where(has_one, OF_REFERENCE[PROBE], exactly).tolist()
    expected = (
        along_comparisons(model, "reference standard", model.asked, U_REFERENCE),
        along_comparisons(model, "stability", model.asked, known.stability),
        along_comparisons(model, "reference of the probe", model.before_probe, U_REFERENCE)[has_one],
        along_comparisons(model, "stability of the probe", model.before_probe, known.stability)[has_one],
    )
    shown = (
        shares_at(of_reference.at, arrays.size),
        shares_at(of_change.at, arrays.size),
        shares_at(reference_of_probe.at, arrays.size)[has_one],
        shares_at(change_of_probe.at, arrays.size)[has_one],
    )
    for one, other in zip(shown, expected, strict=True):
        assert one == close(other)


def others_of(arrays, by):
    """The curves of the calibrations of a slot, -1 for none, and which of them are not of the instrument of the reading."""
    names = [IDENTIFIERS[place] if place != NOBODY else 0 for place in by.calibration.tolist()]
    curve = np.array([CURVE_NAMED.get(name, -1) for name in names])
    return curve, (curve >= 0) & (curve != arrays.calibration)


def test_the_air_is_shared_by_what_told_it():
    """By calibrations that others of the readings have as their errors are shared there, by others wholly."""
    arrays, model = both("in told air")
    air, density = arrays.air.influences, of_one(flows(arrays), "density")
    of_others = [share for share in density.shared if isinstance(share.pool, str)]
    of_observers = [share for share in density.shared if isinstance(share.pool, tuple)]
    by_others = [(by, *others_of(arrays, by)) for by in air.of_calibrations if others_of(arrays, by)[1].any()]
    for number, share in enumerate(of_others):
        kind, (by, curve, other) = number % 3, by_others[number // 3]
        group = arrays.calibrations.laboratory[curve] if kind == 1 else curve
        assert share.group[other].tolist() == group[other].tolist()
        assert not set(share.group[~other].tolist()) & {*range(len(CURVES)), *arrays.calibrations.laboratory.tolist()}
        assert (share.rule, share.pool) == ((common, not_known, not_known_of_a_change)[kind], OF_INSTRUMENT[kind])
        assert share.degrees_of_freedom.tolist() == by.degrees_of_freedom[:, kind].tolist()
        if share.at is not None:
            slot = next(place for place, each in enumerate(air.of_calibrations) if each is by)
            worth = (None, U_REFERENCE, arrays.calibrations.stability)[kind]
            expected = along_comparisons(model, OF_AIR[kind], None, worth, slot)
            moved = other & expected.any(axis=1)
            assert shares_at(share.at, arrays.size)[moved] == close(expected[moved])
    assert len(of_others) == 3 * len(by_others)
    assert [share.pool for share in of_observers] == [("instruments of the air", name) for name in OF_INSTRUMENT] * 3
    for number, share in enumerate(of_observers):
        by, kind = air.of_calibrations[number // 3], number % 3
        assert share.group.tolist() == by.calibration.tolist()
        assert (share.rule, share.at) == (common, None)
        assert share.degrees_of_freedom.tolist() == by.degrees_of_freedom[:, kind].tolist()
    *_, own, pressure, stated = density.shared
    assert [each.rule for each in (own, pressure, stated)] == [common, common, common_within_a_sign]
    assert own.group.tolist() == air.conditions.tolist()
    for share in (own, pressure, stated):
        assert share.degrees_of_freedom.tolist() == [math.inf] * arrays.size
    assert pressure.group.tolist() == stated.group.tolist() == [0] * arrays.size


def test_what_is_not_of_a_calibration_is_shared_as_it_is_declared(plain_job):
    arrays, _ = plain_job
    found = flows(arrays)
    nobody = np.zeros(arrays.size, dtype=int)
    expected = {
        "decided in review": (arrays.calibration, not_known_of_a_change),
        NOT_OBSERVED: (nobody, common_within_a_sign),
        "method": (arrays.method, not_known),
        "method own": (arrays.two_figures.opening, independent),
        "density": (arrays.air.conditions, common),
        "dimension": (arrays.outlet, common),
        "outlet factor": (arrays.outlet_factor_source, common),
        "method common": (arrays.two_figures.opening, common),
        "plant drift": (arrays.plant_drift.stream, common),
        "repeatability": (np.arange(arrays.size), common),
        "resolution": (np.arange(arrays.size), common),
    }
    for name, (group, rule) in expected.items():
        (share,) = of_one(found, name).shared
        assert (share.group.tolist(), share.rule, share.columns) == (group.tolist(), rule, None), name


@pytest.mark.parametrize("name", ["mixed", "of one point each"])  # near zero the slopes go with all that is told
def test_what_is_not_told_leaves_the_other_lines_as_they_are(name):
    arrays, _ = both(name)
    told = flows(arrays)
    bare = flows(
        replace(
            arrays,
            decided=None,
            stability_dof=None,
            outlet_factor_dof=None,
            method_dof=None,
            method=None,
            two_figures=None,
            plant_drift=None,
            calibrations=None,
            air=replace(arrays.air, not_observed=None),
            probes=replace(arrays.probes, stability_dof=None),
        )
    )
    untold = {"decided in review", NOT_OBSERVED, "method common", "method own", "plant drift"}
    assert [each.name for each in bare.contributions] == [name for name in lines_of(arrays) if name not in untold]
    exactly = [math.inf] * arrays.size
    for each in bare.contributions:
        before = of_one(told, each.name)
        assert each.parts == close(before.parts)
        if each.name in ("stability", "outlet factor", "method"):
            assert each.degrees_of_freedom.tolist() == exactly
        elif each.name != "probe":
            assert each.degrees_of_freedom == pytest.approx(before.degrees_of_freedom, rel=SAME)
    assert not of_one(bare, "stability").type_a.any()
    assert len(set(of_one(bare, "method").shared[0].group.tolist())) == 1
    assert of_one(bare, "probe").shared[1].degrees_of_freedom.tolist() == exactly


def test_without_a_probe_or_a_hood_there_is_no_line_of_theirs(job):
    arrays, _ = job
    plain = replace(arrays, probes=None)
    names = {each.name for each in flows(plain).contributions}
    assert "probe" not in names
    assert flows(plain).low is not None


# --- a factor found in the field -------------------------------------------------------------------------------------------------


def carried(arrays):
    """The lines of the scatter and of the reference part, without and with what the factor carries; the flows, and the factors."""
    row = np.arange(1, arrays.size + 1)
    scatter = 0.001 * np.column_stack([row, 2 - row, 3 + row])
    factors = FoundFactors(scatter, 0.002 * row)
    plain, found = flows(arrays), flows(replace(arrays, found_factors=factors))
    for name in lines_of(arrays):
        if name not in OF_INSTRUMENT[:2]:
            assert of_one(found, name).parts.tolist() == of_one(plain, name).parts.tolist()
    lines = [(of_one(plain, name).parts, of_one(found, name).parts) for name in OF_INSTRUMENT[:2]]
    return *lines, plain.flow[:, np.newaxis], factors


def with_known_reference(arrays):
    """The same where the vane was calibrated without any uncertainty of the reference."""
    curves = [*arrays.curves]
    curves[OF_VANE] = replace(curves[OF_VANE], reference_uncertainties=np.zeros(3))
    return replace(arrays, curves=curves)


def test_a_factor_takes_from_a_flow_what_its_calibration_was_wrong_by():
    """The error of the product v K: e/v of the reading less that of the factor, in each direction; also where e is nothing."""
    (scatter, left_of_scatter), (reference, left), flow, factors = carried(with_known_reference(given(SINGLE)))
    assert left_of_scatter == close(scatter - factors.scatter * flow)
    assert left == close(reference - factors.reference[:, np.newaxis] * flow)


def test_what_it_takes_from_a_reference_part_with_standards_behind_is_taken_from_each_alike():
    arrays = with_known_reference(given(SINGLE))
    behind = StandardBehind(OF_HOOD, np.full((3, 3), 0.1), np.full((3, 2), 0.3), np.full((3, 3), 0.15))
    standards = [(behind,) if index in (ANEMOMETER, MANOMETER) else () for index in range(len(CURVES))]
    told = replace(arrays, calibrations=replace(arrays.calibrations, standards=standards))
    _, (reference, left), flow, factors = carried(told)
    assert reference.shape[1] > 3
    length = np.linalg.norm(reference, axis=1)
    assert (length > 0).tolist() == [index != OF_VANE for index in arrays.calibration]
    taken = np.divide(factors.reference * flow[:, 0], length, out=np.zeros_like(length), where=length > 0)
    assert left == close(reference * (1 - taken)[:, np.newaxis])


# --- calibrations that nothing is known of ---------------------------------------------------------------------------------------


def test_an_air_whose_calibrations_are_not_among_those_of_the_readings_is_told_by_observers_alone():
    arrays = JOBS["in told air"]
    told = arrays.air.influences
    alone, beside = influences_of_air(told), influences_of_air(told, replace(arrays, calibrations=None))
    assert alone.of_instrument == beside.of_instrument == ()
    for one in (alone, beside):
        pools = [share.pool for share in one.of_air.shared if share.pool]
        assert pools == [("instruments of the air", name) for name in OF_INSTRUMENT] * len(SLOTS)
    assert beside.of_air.parts.tolist() == alone.of_air.parts.tolist()
    unrelated = replace(arrays.calibrations, identifier=(90, 91, 92, 93, 94))
    assert influences_of_air(told, replace(arrays, calibrations=unrelated)).of_instrument == ()
