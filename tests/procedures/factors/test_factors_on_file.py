"""Factors as the records hold them: revisions, who found them, and which readings used which."""

import math
from dataclasses import replace
from datetime import datetime

import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import stdtr, stdtrit
from scipy.stats import norm

from calib.errors import NotInRecordsError
from calib.procedures.factors.factors_on_file import factors_on_file, readings_with, revisions_on_file
from calib.procedures.pairs.factor_uncertainty import OTHER, SAME, factor_results
from calib.records import database
from calib.records.tables.factors import FoundFactor
from tests.command import copied
from tests.factor_pairs import BLANK, OF_S9, OF_TYPE, added, amended, at, factor, paired_job, sweep
from tests.folders import SIGNED, records_of


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("pairs"), paired_job())


@pytest.fixture
def records(made, tmp_path):
    return copied(made, tmp_path / "records.sqlite")


# --- with the same calibration, and after a recalibration ------------------------------------------------------------------------

FOUND = FoundFactor(
    value=0.8, relative_spread=0.03, degrees_of_freedom=3.0, relative_reference=0.04, relative_instrument=0.12
)  # 3, 4, 5 and 5, 12, 13


@pytest.mark.parametrize(("row", "relative"), [(SAME, 0.05), (OTHER, 0.13)])
def test_the_calibration_at_the_face_counts_after_a_recalibration_alone(row, relative):
    found = factor_results(FOUND)
    dof = relative**4 / (0.03**4 / 3)  # Welch-Satterthwaite: the spread alone has finite degrees of freedom
    p = math.erf(2 / math.sqrt(2))
    k = stdtrit(dof, (1 + p) / 2)
    # The spread's t beside normal parts, convolved by scipy: at the root of this the half-width.
    rest = math.sqrt(relative**2 - 0.03**2)

    def missing(w):
        return quad(lambda z: (2 * stdtr(3, (w - rest * z) / 0.03) - 1) * norm.pdf(z), -9, 9, epsabs=1e-10)[0] - p

    width = brentq(missing, 0.01, 1.0) / relative
    assert (width > 1.05 * k) == (row == SAME)
    k = width if width > 1.05 * k else k
    assert found.value[row] == 0.8
    assert found.combined.standard_uncertainty[row] == pytest.approx(0.8 * relative)
    assert found.combined.degrees_of_freedom[row] == pytest.approx(dof)
    assert found.expanded_uncertainty[row] == pytest.approx(k * 0.8 * relative, rel=1e-4)


def test_the_reading_s_budget_has_the_same_uncertainty(records):
    """One definition stands in the evaluation of a job, one here."""
    from calib.procedures.measure.evaluate import evaluate

    factor(records)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    with database.reading(str(records)) as session:
        found = evaluate(session, "J-1", SIGNED.time)
        kept = factor_results(factors_on_file(session)[0].factor)
    row = next(row for row, one in enumerate(found.measured) if one.reading.id == 7)
    (of_factor,) = [one for one in found.flows.contributions if one.name == "outlet factor"]
    relative = kept.combined.standard_uncertainty[SAME] / kept.value[SAME]
    assert math.sqrt(of_factor.variance[row]) / found.flow.value[row] == pytest.approx(relative)
    assert of_factor.degrees_of_freedom[row] == pytest.approx(kept.combined.degrees_of_freedom[SAME])


# --- revisions -------------------------------------------------------------------------------------------------------------------


def by(person):
    return replace(SIGNED, person=person, time=datetime.fromisoformat("2026-03-06T10:00+00:00"))


def test_a_factor_stands_with_who_found_it_and_from_what(records):
    factor(records, signed=by("B. Person"))
    with database.reading(str(records)) as session:
        (one,) = factors_on_file(session)
        assert (one.written.person, one.written.time) == ("B. Person", "2026-03-06T10:00:00+00:00")
        assert (one.outlet.outlet, one.job, one.instrument.tag) == ("S-9", "J-1", "VA-1")
        assert (one.calibration.certificate, one.method.method) == ("C-101", "sweep")
        assert [(pair.traverse.outlet.outlet, pair.face.outlet.outlet) for pair in one.pairs] == [("D-9", "S-9")] * 4


def test_the_list_holds_the_latest_of_each(records):
    factor(records, "Z")
    factor(records, "Z", OF_S9[:3])
    factor(records, "A", OF_TYPE, "type")
    with database.reading(str(records)) as session:
        found = [
            (one.factor.factor, one.factor.revision, one.latest, len(one.pairs)) for one in factors_on_file(session)
        ]
    assert found == [("A", 1, True, 6), ("Z", 2, True, 3)]


def test_all_revisions_are_there_the_first_one_first(records):
    factor(records)
    factor(records, pairs=OF_S9[:3])
    with database.reading(str(records)) as session:
        found = revisions_on_file(session, "GR-9")
    assert [(one.factor.revision, one.latest) for one in found] == [(1, False), (2, True)]


def test_a_factor_that_is_not_there_is_named_with_those_that_are(records):
    nothing = "no factor 'X' in the records: there is none"
    with database.reading(str(records)) as session, pytest.raises(NotInRecordsError, match=nothing):
        revisions_on_file(session, "X")
    factor(records)
    with database.reading(str(records)) as session, pytest.raises(NotInRecordsError, match="there is GR-9"):
        revisions_on_file(session, "X")


# --- cautions --------------------------------------------------------------------------------------------------------------------


def cautions(records, name):
    with database.reading(str(records)) as session:
        return revisions_on_file(session, name)[-1].cautions


def test_pairs_at_one_outlet_show_little_of_its_type(records):
    factor(records, "one", OF_S9, "type")
    factor(records, "two", OF_TYPE, "type")
    factor(records, "outlet")
    assert ["S-9" in caution for caution in cautions(records, "one")] == [True]
    assert cautions(records, "two") == cautions(records, "outlet") == ()


def test_readings_far_apart_hardly_measure_one_flow(records):
    # Readings 1 and 10 were taken at 09:10 and 10:20, 4 and 7 at 10:10 and 09:20.
    factor(records, pairs=("1:10", "2:8", "4:7"))
    (caution,) = cautions(records, "GR-9")
    assert caution.startswith("pair 1:10: the readings lie 1.2 h apart")


# --- readings with a factor ------------------------------------------------------------------------------------------------------


@pytest.fixture
def history(records, tmp_path):
    """Reading 13 recorded while the first revision counted, 14 while the second did, 15 once S-9 had another factor."""
    factor(records)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    for day in range(7, 10):
        more = {"readings.csv": [sweep("S-9", at("10:00", f"2026-03-0{day}"), "3.01;3.04;3.02")]}
        added(records, tmp_path / str(day), more, datetime.fromisoformat("2026-03-10T09:00+00:00"))
        if day == 7:
            factor(records, pairs=OF_S9[:3])
        if day == 8:
            amended(records, "S-9", "found_factor=", "outlet_factor=0.82", "outlet_factor_standard_uncertainty=0.02",
                    "outlet_factor_source=sheet")  # fmt: skip
    return records


def used(records):
    with database.reading(str(records)) as session:
        found = readings_with(session, revisions_on_file(session, "GR-9"))
        return [(one.of.reading.id, one.revision_then, one.revision_now) for one in found]


def test_each_reading_has_the_revision_that_counted_when_it_was_recorded(history):
    # Readings 7 to 10 were recorded before the outlet had the factor, and it has it no more.
    assert used(history) == [(13, 1, None), (14, 2, None)]


def test_each_reading_has_the_revision_that_it_is_evaluated_with(history):
    amended(history, "S-9", *BLANK, "found_factor=GR-9")
    before = [(number, None, 2) for number in (7, 8, 9, 10)]
    assert used(history) == [*before, (13, 1, 2), (14, 2, 2), (15, None, 2)]


def test_a_factor_that_no_outlet_has_is_used_by_no_reading(records):
    factor(records)
    assert used(records) == []
