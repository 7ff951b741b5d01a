"""Points, flows and every line of their budgets beside the same equations in the uncertain numbers of GTC.

GTC (GUM Tree Calculator) is given each error by itself and differentiates the whole chain; nothing here is 0 or 1, so that every
factor, sign and term shows. What errors share, and degrees of freedom (GUM G.4, equation G.2b), stand here as they are declared in
`calib.measurement`.
"""

import math
from collections import defaultdict
from dataclasses import replace

import GTC
import numpy as np
import pytest
from GTC import rp

from calib.curves.response import LINE, ResponseCurve, ResponseFit
from calib.measurement import Calibrations, TwoFigures, flow_values, flows
from calib.measurement.at_points import at_points
from calib.measurement.hood import THROTTLED_HOOD
from calib.measurement.readings import PlantDrift, Probes
from calib.measurement.thermal import THERMAL
from calib.measurement.vane import VANE
from calib.measurement.velocity_pressure import VELOCITY_PRESSURE
from calib.uncertainty.sharing import common, common_within_a_sign, independent, not_known, not_known_of_a_change
from tests.arrays import correction, pair, readings, several, single

SAME = 1e-12

# --- what is given ---------------------------------------------------------------------------------------------------------------


def response(coefficients, covariance, dof, nodes):
    """A straight line x = a + b v, of which an error of the indication moves the value by 1/b."""
    fit = ResponseFit(LINE, np.array(coefficients), np.array(covariance), dof, 0.0, np.zeros(1), np.zeros((1, 2)), 1)
    at, u = np.array(nodes).T
    return ResponseCurve(1.0, True, at, u, fit)


QUADRATIC = [[4e-4, -2e-5, 0.0], [-2e-5, 9e-6, -1e-7], [0.0, -1e-7, 4e-8]]
CURVES = [
    response((0.3, 1.04), [[4e-3, -1e-5], [-1e-5, 1e-6]], 4.0, ((4.0, 0.2), (60.0, 0.5), (400.0, 1.9))),
    response((-0.05, 0.97), [[3e-4, -1e-5], [-1e-5, 2e-6]], 3.0, ((2.0, 0.03), (9.0, 0.08), (30.0, 0.3))),
    correction((0.07,), [[5e-4]], 7.0, ((0.5, 0.02), (6.0, 0.05), (20.0, 0.19))),
    correction((0.12, -0.03, 0.002), QUADRATIC, 5.0, ((0.4, 0.01), (5.0, 0.04), (15.0, 0.13))),
    correction((0.004, 0.03), [[2e-6, -1e-6], [-1e-6, 3e-6]], 6.0, ((0.1, 0.002), (0.5, 0.006), (1.2, 0.02))),
]
MANOMETER, PROBE, ANEMOMETER, OF_VANE, OF_HOOD = range(5)
OF_REFERENCE = (30.0, 20.0, 12.0, 15.0, 25.0)  # degrees of freedom
CURVES = [replace(curve, reference_degrees_of_freedom=nu) for curve, nu in zip(CURVES, OF_REFERENCE, strict=True)]

MIXED = (
    several(
        (52.0, 71.0, 38.0), (55.0, 69.0, 41.0), weights=(0.5, 0.3, 0.2), way=VELOCITY_PRESSURE, probe=PROBE, step=0.1,
        density=1.13, u_density=0.004, area=0.126, method=0.013, by=1,
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
        (33.0, 47.0), weights=(0.3, 0.7), way=VELOCITY_PRESSURE, step=0.2, density=1.08, u_density=0.006, conditions=1,
        area=0.07, factor=0.9, u_factor=0.03, source=2, method=0.013, by=1,
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


# --- the same in uncertain numbers -----------------------------------------------------------------------------------------------


class Model:
    """The readings in uncertain numbers; an error is known by its line of the budget, what shares it, its part, and its point.

    At the points of a reading one error is told by a number each, so that it shows what each point brings of it.
    """

    def __init__(self, arrays):
        self.arrays, self.errors = arrays, defaultdict(dict)
        self.reading = np.arange(arrays.size) if arrays.points is None else arrays.points.reading
        self.asked, self.corrected, self.before_probe, self.points = [], [], [], []
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

    def through(self, index, x, lines, k):
        """What a curve makes of an indication."""
        curve, at = CURVES[index], GTC.value(x)
        theta = [
            value + sum(part * self.error(lines[0], index, j, k) for j, part in enumerate(of_own))
            for value, of_own in zip(curve.coefficients, np.linalg.cholesky(curve.covariance), strict=True)
        ]
        reference = np.interp(at, curve.reference_indications, curve.reference_uncertainties)
        is_response = index in (MANOMETER, PROBE)
        y = (x - theta[0]) / theta[1] if is_response else x + sum(b * x**power for power, b in enumerate(theta))
        return y + float(reference) * self.error(lines[1], index, 0, k), 1 / curve.coefficients[
            1
        ] if is_response else 1.0

    def point(self, k):
        arrays, row = self.arrays, int(self.reading[k])
        way, index = arrays.way_of(row), int(arrays.calibration[row])
        own = float(arrays.repeatability[k]) * self.error("repeatability", row, k)
        rounding = float(arrays.resolution[row]) / math.sqrt(12) * self.error("resolution", row, self.place(k), k)
        rho, rho_0 = float(arrays.air.density[row]), float(arrays.air.reference_density[row])
        in_air = 1 + float(arrays.air.relative_uncertainty[row]) * self.error(
            "density", int(arrays.air.conditions[row]), 0, k
        )
        in_air += float(arrays.air.not_observed[row]) * self.error("air temperature not observed", 0, 0, k)
        scale = (in_air * rho / rho_0) ** 0.5 if way is VANE else 1.0
        x = (float(arrays.indication[k]) + own + rounding) * scale
        self.asked.append(GTC.value(x))
        y, slope = self.through(index, x, ("calibration scatter", "reference standard"), k)
        y += slope * float(arrays.stability_limit[k]) / math.sqrt(3) * self.error("stability", index, 0, k)
        y += float(arrays.decided[k]) / math.sqrt(3) * self.error("decided in review", index, 0, k)
        self.corrected.append(y)
        v = y
        if way is VELOCITY_PRESSURE:
            v = (2 * y / (in_air * rho)) ** 0.5
        elif way is THERMAL:
            v = y * rho_0 / (in_air * rho)
        elif way is VANE:
            v = y / scale
        self.before_probe.append(GTC.value(v))
        probe = int(arrays.probes.calibration[row])
        if probe >= 0:
            limit = float(arrays.probes.stability_relative[row]) * GTC.value(v) + float(
                arrays.probes.stability_absolute[row]
            )
            v, slope = self.through(probe, v, ("probe", "reference of the probe"), k)
            v += slope * limit / math.sqrt(3) * self.error("stability of the probe", probe, 0, k)
        self.points.append(v)

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


OF_PROBE = ("probe", "reference of the probe", "stability of the probe")
LINES = (
    "repeatability", "resolution", "calibration scatter", "reference standard", "stability", "decided in review", "density",
    "air temperature not observed", "probe", "back pressure", "dimension", "outlet factor", "method", "method common",
    "method own", "plant drift",
)  # fmt: skip
JOBS = {"mixed": MIXED, "of one point each": SINGLE}


@pytest.fixture(scope="module", params=JOBS)
def job(request):
    """The readings as arrays, and in uncertain numbers."""
    arrays = given(JOBS[request.param])
    return arrays, Model(arrays)


def together(covariances):
    return np.sum(list(covariances), axis=0)


def covariance_of(model, numbers, line):
    return together(model.covariance(numbers, name) for name in (OF_PROBE if line == "probe" else (line,)))


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
    of_indication = [rp.u_component(v, model.errors["repeatability"][row[k], k, 0]) for k, v in enumerate(model.points)]
    assert found.sensitivity == close(np.array(of_indication) / arrays.repeatability)
    assert found.stability == close(math.sqrt(3) * at(model, "stability", model.points))
    assert found.decided == close(math.sqrt(3) * at(model, "decided in review", model.points))
    assert found.reference == close(at(model, "reference standard", model.points))
    by_temperature = at(model, "air temperature not observed", model.points)
    assert found.density == close(by_temperature / arrays.air.not_observed[row])
    assert found.probe[:, -2] == close(at(model, "reference of the probe", model.points))
    assert found.probe[:, -1] == close(at(model, "stability of the probe", model.points))
    assert not np.any(found.below | found.near_zero)


def test_the_parts_of_scatter_of_points_are_those_of_their_curves(job):
    """Directions may be turned: what counts is the covariance of points of one curve."""
    arrays, model = job
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
    found, row = at_points(arrays), model.reading
    for k, (y, v) in enumerate(zip(model.corrected, model.points, strict=True)):
        is_pressure = arrays.way_of(row[k]) is VELOCITY_PRESSURE
        own = model.errors["repeatability"][row[k], k, 0]
        of_own, slope = rp.u_component(y, own), rp.u_component(v, own) / rp.u_component(y, own)
        alone = of_own * 0.05 / arrays.repeatability[k]
        u = math.sqrt(y.u**2 - of_own**2 + alone**2) if is_pressure else 0.0
        assert found.corrected_uncertainty[k] == pytest.approx(u, rel=SAME)
        assert found.value_uncertainty[k] == pytest.approx(slope * u, rel=SAME)


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
    by_temperature = [sum(model.of_line(q, "air temperature not observed").values()) for q in model.flow]
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
            one = each.source[:, np.newaxis] == each.source
            expected = covariance_of(model, numbers, each.name)
            assert one * (each.parts @ each.parts.T) == close(expected), each.name


def of_one(found, name):
    (one,) = [each for each in found.contributions if each.name == name]
    return one


def welch_satterthwaite(of_each):
    """GUM G.4.1, equation G.2b: of pairs of a standard uncertainty and its degrees of freedom."""
    below = math.fsum(u**4 / nu for u, nu in of_each)
    return math.fsum(u**2 for u, _ in of_each) ** 2 / below if below else math.inf


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
            [
                (u, 1.0 if point == "passes" else arrays.repeatability_dof[point])
                for (_, point), u in model.of_line(q, "repeatability").items()
            ]
        )
        for q in model.flow
    ]
    expected["probe"] = []
    for row, q in enumerate(model.flow):
        u = [math.hypot(*model.of_line(q, name).values()) for name in OF_PROBE]
        dof = (3.0, OF_REFERENCE[PROBE], arrays.probes.stability_dof[row])
        expected["probe"].append(welch_satterthwaite([*zip(u, dof, strict=True)]))
    for name, dof in expected.items():
        assert of_one(found, name).degrees_of_freedom == pytest.approx(dof, rel=SAME), name


def test_each_line_says_how_it_was_evaluated(job):
    """GUM 2.3.2: statistics of observations are Type A, of points where all have them or where passes show more than one."""
    arrays, _ = job
    found, row = flows(arrays), arrays.of_points
    of_points = np.array(
        [arrays.repeatability_type_a[np.arange(arrays.size)[row] == k].all() for k in range(arrays.size)]
    )
    passes = np.array([len(one.passes) for one in (MIXED if arrays.hoods is not None else SINGLE)])
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
    arrays, _ = job
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
    assert found.product.bend == pytest.approx(np.where(is_pressure, -1.0, 0.0), rel=SAME)
    assert replace(found, bend=None).product.bend.tolist() == [0.0] * arrays.size


# --- what is shared --------------------------------------------------------------------------------------------------------------


def along_comparisons(model, line, calibration, asked, worth):
    """(n, comparisons) shares by hat functions of what is worth so much at each comparison, by what each point brings."""
    borne = np.zeros((model.arrays.size, 3 * len(CURVES)))
    for row, v in enumerate(model.velocity):
        brought = model.components(v, line)
        for k in np.flatnonzero(model.reading == row).tolist():
            index = int(calibration[row])
            if (index, 0, k) in brought:
                nodes, mine = CURVES[index].reference_indications, slice(3 * index, 3 * index + 3)
                hats = np.array([np.interp(asked[k], nodes, hat) for hat in np.eye(3)]) * worth[index]
                borne[row, mine] += abs(brought[index, 0, k]) * hats / hats.sum()
    whole = borne.sum(axis=1, keepdims=True)
    return np.divide(borne, whole, out=borne, where=whole > 0)


def shares_at(at, size):
    found = np.zeros((size, 3 * len(CURVES)))
    np.add.at(found, (at.result, at.comparison), at.share)
    return found


U_REFERENCE = [curve.reference_uncertainties for curve in CURVES]


@pytest.mark.parametrize("is_told", [True, False])
def test_errors_of_calibrations_are_shared_along_their_comparisons(job, is_told):
    """Where nothing is told of the calibrations each is of another laboratory, and changes alike at all its comparisons."""
    arrays, model = job
    known = arrays.calibrations if is_told else Calibrations(np.arange(5), [np.ones(3)] * 5)
    found = flows(arrays if is_told else replace(arrays, calibrations=None))
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
        along_comparisons(model, "reference standard", own, model.asked, U_REFERENCE),
        along_comparisons(model, "stability", own, model.asked, known.stability),
        along_comparisons(model, "reference of the probe", probes, model.before_probe, U_REFERENCE)[has_one],
        along_comparisons(model, "stability of the probe", probes, model.before_probe, known.stability)[has_one],
    )
    shown = (
        shares_at(of_reference.at, arrays.size),
        shares_at(of_change.at, arrays.size),
        shares_at(reference_of_probe.at, arrays.size)[has_one],
        shares_at(change_of_probe.at, arrays.size)[has_one],
    )
    for one, other in zip(shown, expected, strict=True):
        assert one == close(other)


def test_what_is_not_of_a_calibration_is_shared_as_it_is_declared(job):
    arrays, _ = job
    found = flows(arrays)
    nobody = np.zeros(arrays.size, dtype=int)
    expected = {
        "decided in review": (arrays.calibration, not_known_of_a_change),
        "air temperature not observed": (nobody, common_within_a_sign),
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


def test_what_is_not_told_leaves_the_other_lines_as_they_are(job):
    arrays, _ = job
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
    untold = {"decided in review", "air temperature not observed", "method common", "method own", "plant drift"}
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
