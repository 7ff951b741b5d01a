"""A factor that was found in the field carries the error of the instrument in the duct, with its sign, into every total.

Source: JCGM 100:2008, 5.2.2. What is expected is worked out by GTC with an error for each influence of VB-1, which traversed the
ducts: at each comparison of its certificate C-201, along each direction of its curve, of its change since then. The directions of
the curve are those of `calib` (tests/curves holds them); all else is from the digits of tests/factor_pairs.py.
"""

import math

import numpy as np
import pytest
from GTC import component, ureal

from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.factors.find_factor import find_factor
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.calibrations import calibration_on_file
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.pairs.factor_from_pairs import FactorWanted
from calib.records import database
from tests.factor_pairs import OF_S9, TRAVERSED, paired_job
from tests.folders import NOW, SIGNED, imported, records_of, write

AT = np.array([1.02, 3.01, 5.98, 11.92])
U = np.array([0.020, 0.036, 0.060, 0.108]) / 2
LIMITS = 0.008 * AT + 0.02
OF_S10 = ("5:11", "6:12")
BLANK = ("outlet_factor=", "outlet_factor_standard_uncertainty=", "outlet_factor_source=")


def found(folder, duct="", service="return"):
    """Records with two factors that were found with VB-1 in the ducts; one duct may count in the totals too."""
    sheets = paired_job()
    next(row for row in sheets["calibrations.csv"] if row["tag"] == "VB-1")["laboratory"] = "South Laboratory"
    for row in sheets["outlets.csv"]:
        row["in_totals"] = "yes" if row["outlet"] == duct else "no" if row["outlet"].startswith("D") else ""
        if row["outlet"] == duct:
            row |= {"service": service}
    records = records_of(folder, sheets)
    with database.writing(str(records)) as session:
        for name, pairs, outlet in (("F-9", OF_S9, "S-9"), ("F-10", OF_S10, "S-10")):
            find_factor(session, FactorWanted(name, pairs, "outlet", None, "two grilles"), SIGNED)
            amend_outlet(session, "J-1", outlet, (*BLANK, f"found_factor={name}"), "found in the field", SIGNED)
    return records


def curve_and_evaluation(records):
    with database.reading(str(records)) as session:
        curve = curve_of(calibration_on_file(session, "VB-1", "C-201").curve.parameters)
        return curve, evaluate(session, "J-1", NOW)


class Errors:
    """Relative errors of flows in the ducts as uncertain numbers, u = 1 for each influence of VB-1."""

    def __init__(self, curve):
        self.curve = curve
        self.scatter = [ureal(0.0, 1.0) for _ in range(curve.parts)]
        self.reference = [ureal(0.0, 1.0) for _ in AT]
        self.stability = [ureal(0.0, 1.0) for _ in AT]

    def of_traverse(self, place):
        """Of one traverse: each point bears what stands at its neighbours, over the mean velocity."""
        x = np.array([float(value) for value in TRAVERSED[place].split()])
        v = float(np.mean(self.curve.value(x)))
        worth = sum(
            part * error for part, error in zip(self.curve.scatter_parts(x).mean(axis=0), self.scatter, strict=True)
        )
        hats = np.array([np.interp(x, AT, row).mean() for row in np.eye(4)])
        for u, errors in ((U, self.reference), (LIMITS / math.sqrt(3), self.stability)):
            worth = worth + sum(hat * one * error for hat, one, error in zip(hats, u, errors, strict=True))
        return worth * (1 / v)

    def of_factor(self, duct):
        places = [place for place in TRAVERSED if place[0] == duct]
        return sum(self.of_traverse(place) for place in places) * (1 / len(places))

    def variances(self, terms):
        """Of a sum of (coefficient, relative error): the scatter with its sign, the others by their rules."""

        def worth(errors, term):
            return np.array([term[0] * component(term[1], error) for error in errors])

        known = sum(sum(worth(self.scatter, term) for term in terms) ** 2)
        reference = sum(worth(self.reference, term) for term in terms)
        change = sum(worth(self.stability, term) for term in terms)
        plus, minus = reference[reference > 0].sum(), reference[reference < 0].sum()
        floors = [sum(worth(errors, term).sum() ** 2 for term in terms) for errors in (self.reference, self.stability)]
        return known + max(plus**2 + minus**2, floors[0]) + max(np.abs(change).sum() ** 2, floors[1])


def lines(evaluation, service):
    total = [one.service for one in evaluation.totals].index(service)
    names = [one.name for one in evaluation.flows.contributions]
    return dict(zip(names, evaluation.of_systems.flow.combined.uncertainties[total] ** 2, strict=True))


def flow_of(evaluation, outlet):
    rows = [
        row for row, one in enumerate(evaluation.measured) if one.outlet.outlet == outlet and evaluation.latest[row]
    ]
    return rows[0], float(evaluation.flow.value[rows[0]])


def line_of(evaluation, row, name):
    names = [one.name for one in evaluation.flows.contributions]
    return float(evaluation.flow.combined.uncertainties[row, names.index(name)])


CALIBRATED = ("calibration scatter", "reference standard", "stability")


def test_two_factors_that_one_instrument_found_share_its_error(tmp_path):
    curve, evaluation = curve_and_evaluation(found(tmp_path))
    errors = Errors(curve)
    terms = [
        (flow_of(evaluation, outlet)[1], errors.of_factor(duct)) for outlet, duct in (("S-9", "D-9"), ("S-10", "D-10"))
    ]
    apart = sum(line_of(evaluation, flow_of(evaluation, outlet)[0], "outlet factor") ** 2 for outlet in ("S-9", "S-10"))
    rest = apart - sum(errors.variances([term]) for term in terms)
    together = lines(evaluation, "supply")["outlet factor"]
    assert together == pytest.approx(rest + errors.variances(terms), rel=1e-9)
    assert together > 1.2 * apart


@pytest.mark.parametrize(("service", "sign"), [("return", -1.0), ("supply", 1.0)])
def test_a_traverse_by_the_same_meter_beside_a_found_factor_shares_its_error_with_its_sign(tmp_path, service, sign):
    curve, evaluation = curve_and_evaluation(found(tmp_path, "D-10", service))
    errors, total = Errors(curve), "net" if service == "return" else "supply"
    of_duct, duct = flow_of(evaluation, "D-10")
    latest = [place for place in TRAVERSED if place[0] == "D-10"][-1]
    terms = [
        (flow_of(evaluation, outlet)[1], errors.of_factor(name)) for outlet, name in (("S-9", "D-9"), ("S-10", "D-10"))
    ]
    together = errors.variances([*terms, (sign * duct, errors.of_traverse(latest))])
    faces = [flow_of(evaluation, outlet)[0] for outlet in ("S-9", "S-10")]
    rest = sum(line_of(evaluation, row, "outlet factor") ** 2 for row in faces) - sum(
        errors.variances([term]) for term in terms
    )
    of_faces = sum(
        sum(one.parts[row] for row in faces) @ sum(one.parts[row] for row in faces)
        for one in evaluation.flows.contributions
        if one.name == "calibration scatter"
    ) + sum(sum(line_of(evaluation, row, name) for row in faces) ** 2 for name in ("reference standard", "stability"))
    found_lines = lines(evaluation, total)
    counted = sum(found_lines[name] for name in (*CALIBRATED, "outlet factor"))
    assert counted == pytest.approx(rest + of_faces + together, rel=1e-9)
    apart = errors.variances(terms) + errors.variances([(duct, errors.of_traverse(latest))])
    assert (together < apart) if sign < 0 else (together > 1.2 * apart)
    assert line_of(evaluation, of_duct, "outlet factor") == 0.0


def test_each_reading_keeps_the_uncertainty_of_its_factor(tmp_path):
    _, evaluation = curve_and_evaluation(found(tmp_path))
    row, flow = flow_of(evaluation, "S-9")
    factor = evaluation.measured[row].factor
    expected = flow * math.hypot(factor.relative_spread, factor.relative_reference)
    assert line_of(evaluation, row, "outlet factor") == pytest.approx(expected, rel=1e-12)


def test_a_factor_that_was_found_in_another_job_carries_the_same(tmp_path):
    """J-2 has an outlet of the type that G was found for in J-1, and a duct that VB-1 traversed."""
    sheets = paired_job()
    next(row for row in sheets["calibrations.csv"] if row["tag"] == "VB-1")["laboratory"] = "South Laboratory"
    records = records_of(tmp_path, sheets)
    with database.writing(str(records)) as session:
        find_factor(session, FactorWanted("G", OF_S9, "type", "grille G", "four pairs at one grille"), SIGNED)
    face = next(row for row in sheets["outlets.csv"] if row["outlet"] == "S-9")
    duct = next(row for row in sheets["outlets.csv"] if row["outlet"] == "D-10")
    blank = dict.fromkeys(("outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source"), "")
    usual = {"job": "J-2", "design_flow": "", "flow_unit": "", "tolerance_percent": "", "in_totals": "yes"}
    place = ("D-10", "10:30")
    more = {
        "jobs.csv": [sheets["jobs.csv"][0] | {"job": "J-2"}],
        "outlets.csv": [face | usual | blank | {"found_factor": "G"}, duct | usual],
        "readings.csv": [
            row | {"job": "J-2"}
            for row in sheets["readings.csv"]
            if (row["outlet"], row["observed_at"][11:16]) in (("S-9", "09:20"), place)
        ],
        "traverses.csv": [
            row | {"job": "J-2"} for row in sheets["traverses.csv"] if row["observed_at"][11:16] == place[1]
        ],
    }
    imported(records, write(tmp_path / "more", more))
    with database.reading(str(records)) as session:
        curve = curve_of(calibration_on_file(session, "VB-1", "C-201").curve.parameters)
        evaluation = evaluate(session, "J-2", NOW)
    assert len(evaluation.measured) == evaluation.flow.value.size == 2
    errors, (row, flow), (_, of_duct) = Errors(curve), flow_of(evaluation, "S-9"), flow_of(evaluation, "D-10")
    terms = [(flow, errors.of_factor("D-9")), (of_duct, errors.of_traverse(place))]
    rest = line_of(evaluation, row, "outlet factor") ** 2 - errors.variances(terms[:1])
    of_face = sum(line_of(evaluation, row, name) ** 2 for name in CALIBRATED)
    found_lines = lines(evaluation, "supply")
    counted = sum(found_lines[name] for name in (*CALIBRATED, "outlet factor"))
    assert counted == pytest.approx(rest + of_face + errors.variances(terms), rel=1e-9)
