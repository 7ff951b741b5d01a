"""Choose another curve than the rule did: the reason is kept, the earlier curve stays.

Source: the rule of calib/curves/choice.py; tests/worked_cases/worked_vane (class D), where the rule keeps degree 1.
"""

import numpy as np
import pytest

from calib.errors import BadInputError, CurveError, NotInRecordsError
from calib.procedures.calibrate.choose_curve import choose_curve
from calib.procedures.certificate.fit_curve import CurveWish
from calib.procedures.on_record.calibrations import calibration_on_file
from calib.records import database
from tests.folders import SIGNED, flows_of, ledger_head, small_job


def choose(records, degree, reason="the maker states it", tag="VA-1", certificate="C-101"):
    with database.writing(str(records)) as session:
        return choose_curve(session, tag, certificate, CurveWish(degree), reason, SIGNED).model_dump()


def curves(records):
    with database.reading(str(records)) as session:
        kept = calibration_on_file(session, "VA-1", "C-101")
        return [(one.degree, one.chosen_by, one.reason) for one in (*kept.earlier_curves, kept.curve)]


def test_the_later_curve_counts_and_the_earlier_one_stays(small_records):
    rule = curves(small_records)
    choose(small_records, 2, "  the maker states a bent response  ")
    assert curves(small_records) == [*rule, (2, "A. Person", "the maker states a bent response")]
    assert rule[0][:2] == (1, "rule")


def test_flows_follow_the_curve_that_counts(small_records):
    """With degree 2 the correction at 4.20 m/s is that of a weighted parabola, fitted here with numpy."""
    choose(small_records, 2)
    rows = [row for row in small_job()["comparisons.csv"] if row["tag"] == "VA-1"]
    x, y, s = (np.array([float(row[name]) for row in rows]) for name in ("indication", "reference", "repeatability"))
    parabola = np.polyfit(x, y - x, 2, w=1 / np.sqrt(s**2 / 6 + 0.01**2 / 12))
    expected = (4.20 + np.polyval(parabola, 4.20)) * 0.4 * 0.2 * 0.84
    assert flows_of(small_records)["S-1"] == pytest.approx(expected, rel=1e-9)


def test_choosing_back_brings_the_first_flow_back(small_records):
    before = flows_of(small_records)
    choose(small_records, 3)
    assert flows_of(small_records)["S-1"] != before["S-1"]
    choose(small_records, 1, "degree 3 was a mistake")
    assert flows_of(small_records) == pytest.approx(before, rel=1e-12)


def test_a_degree_that_chi_squared_rejects_has_its_scatter_enlarged(small_records):
    """The worked case: chi-squared of degree 0 is 1036 with 6 degrees of freedom, so u grows."""
    before = flows_of(small_records)
    choose(small_records, 0)
    assert flows_of(small_records)["u S-1"] > before["u S-1"]


@pytest.mark.parametrize("degree", [-1, 4, 5, 99])
def test_a_degree_that_is_no_candidate_is_refused(small_records, degree):
    before = ledger_head(small_records)
    with pytest.raises(CurveError, match=f"degree {degree} is no candidate here"):
        choose(small_records, degree)
    assert ledger_head(small_records) == before


def test_three_comparisons_leave_a_constant_only(small_records):
    with pytest.raises(CurveError, match="degree 1 is no candidate here"):
        choose(small_records, 1, tag="PG-1", certificate="C-104")


@pytest.mark.parametrize("reason", ["", "  "])
def test_a_reason_is_asked_for(small_records, reason):
    with pytest.raises(BadInputError, match="why this curve"):
        choose(small_records, 2, reason)


@pytest.mark.parametrize(("tag", "certificate"), [("VA-9", "C-101"), ("VA-1", "C-999"), ("VA-1", "C-102")])
def test_what_is_not_there_is_named(small_records, tag, certificate):
    with pytest.raises(NotInRecordsError, match="in the records: there is"):
        choose(small_records, 2, tag=tag, certificate=certificate)
