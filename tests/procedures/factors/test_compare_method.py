"""A method beside traverses: by hand with numpy and scipy, and by the law of what both readings share.

The statistics themselves are tested in tests/uncertainty/test_paired.py; here it is what goes into them.
"""

import math

import numpy as np
import pytest
from scipy import stats

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.factors.compare_method import compare_method, methods
from calib.records import database
from tests.command import calib, copied
from tests.factor_pairs import (
    AREAS,
    BLANK,
    OF_S9,
    OF_TYPE,
    added,
    amended,
    at,
    expected_pairs,
    factor,
    line,
    paired_job,
    sweep,
)
from tests.folders import NOW, ledger_head, records_of


@pytest.fixture(scope="module")
def sheets():
    return paired_job()


@pytest.fixture(scope="module")
def made(tmp_path_factory, sheets):
    return records_of(tmp_path_factory.mktemp("pairs"), sheets)


@pytest.fixture
def records(made, tmp_path):
    return copied(made, tmp_path / "records.sqlite")


def compared(records, pairs, name="sweep"):
    before = ledger_head(records)
    with database.reading(str(records)) as session:
        found = compare_method(session, name, pairs, NOW)
    assert ledger_head(records) == before
    return found


# --- by hand ---------------------------------------------------------------------------------------------------------------------


def test_the_differences_are_relative_to_the_traverses(records, sheets):
    traverse, face, area = expected_pairs(sheets, 6)
    d = face * area * 0.85 / traverse - 1
    found = compared(records, OF_TYPE).comparison
    known = stats.ttest_1samp(d, 0.0)
    assert found.differences == pytest.approx(d, rel=1e-6)
    assert found.mean == pytest.approx(np.mean(d), rel=1e-6)
    assert found.standard_deviation == pytest.approx(np.std(d, ddof=1), rel=1e-6)
    assert found.root_mean_square == pytest.approx(math.sqrt(np.mean(d**2)), rel=1e-6)
    assert (found.t, found.probability) == (
        pytest.approx(known.statistic, rel=1e-6),
        pytest.approx(known.pvalue, rel=1e-5),
    )


def relative(records, number, without=()):
    """Relative standard uncertainty of a reading's flow, from its printed budget."""
    document = calib("budget", number, "--json", records=records).document
    u = [one["standard_uncertainty"] for one in document["contributions"] if one["name"] not in without]
    return math.hypot(*u) / document["flow"]["value"], document["flow"]["value"]


def test_the_budgets_explain_all_but_the_method_s_own(records):
    found = compared(records, OF_S9)
    for explained, (first, second) in zip(found.explained, [(1, 7), (2, 8), (3, 9), (4, 10)], strict=True):
        (u_traverse, traverse), (u_method, method) = relative(records, first), relative(records, second, ("method",))
        assert explained == pytest.approx(method / traverse * math.hypot(u_traverse, u_method), rel=1e-6)
    assert found.comparison.explained == pytest.approx(math.sqrt(np.mean(found.explained**2)))


def test_a_method_in_a_duct_is_compared_too(records, tmp_path, sheets):
    readings = [
        sweep("D-9", at(time), values, "VB-1", "spot") for time, values in (("09:12", "3.5;3.6"), ("09:32", "3.6;3.7"))
    ]
    added(records, tmp_path / "more", {"readings.csv": readings})
    x = np.array([[3.5, 3.6], [3.6, 3.7]])
    spot = np.mean(x + np.polyval(line(sheets, "VB-1"), x), axis=1) * AREAS["D-9"]
    traverse = expected_pairs(sheets)[0][:2]
    assert compared(records, ("1:13", "2:14"), "spot").comparison.differences == pytest.approx(
        spot / traverse - 1, rel=1e-6
    )


# --- what both share -------------------------------------------------------------------------------------------------------------


@pytest.fixture
def shared(records, tmp_path, sheets):
    """VB-1 at the face of S-9, readings 13 and 14, and the same again in another job, 15 and 16."""
    faces = [
        sweep("S-9", at(time), values, "VB-1", "spot")
        for time, values in (("12:00", "3.11;3.14"), ("12:10", "3.15;3.17"))
    ]
    outlet = next(dict(row, job="J-2") for row in sheets["outlets.csv"] if row["outlet"] == "S-9")
    job = dict(sheets["jobs.csv"][0], job="J-2")
    more = {
        "jobs.csv": [job],
        "outlets.csv": [outlet],
        "readings.csv": [*faces, *(dict(row, job="J-2") for row in faces)],
    }
    added(records, tmp_path / "more", more)
    return records


def test_of_an_instrument_that_both_share_only_what_is_known_cancels_within_a_job(shared):
    """The scatter of its curve is known to be one error, of which 2 u u' falls away at the most.

    How reference part and stability go on from one indication to another is not, so that they count as if they were apart, or more.
    """
    one, other = compared(shared, ("1:13", "2:14"), "spot"), compared(shared, ("1:15", "2:16"), "spot")
    assert one.comparison.differences == pytest.approx(other.comparison.differences, rel=1e-12)
    ratio = 1 + one.comparison.differences[0]
    scatter = []
    for number in (1, 13):
        document = calib("budget", number, "--json", records=shared).document
        (u,) = [
            each["standard_uncertainty"] for each in document["contributions"] if each["name"] == "calibration scatter"
        ]
        scatter.append(u / document["flow"]["value"])
    falls_away = (other.explained[0] ** 2 - one.explained[0] ** 2) / ratio**2
    assert 0.5 < falls_away / (2 * scatter[0] * scatter[1]) < 1


def test_both_figures_are_found_from_the_pairs_of_a_kind(records, sheets):
    """One job of six pairs at one kind of opening: mean^2 + s^2/6 + u_R^2, and s^2 less what the two budgets have by themselves."""
    traverse, face, area = expected_pairs(sheets, 6)
    d = face * area * 0.85 / traverse - 1
    (kind,) = compared(records, OF_TYPE).kinds
    assert (kind.outlet_type, kind.service, kind.jobs, kind.pairs) == ("grille G", "supply", ("J-1",), 6)
    own_of_pairs, of_all_pairs = [], []
    for (first, second), difference in zip([(1, 7), (2, 8), (3, 9), (4, 10), (5, 11), (6, 12)], d, strict=True):
        each = ("repeatability", "resolution")
        shared_names = (
            "calibration scatter",
            "reference standard",
            "stability",
            "dimension",
            "outlet factor",
            "density",
            "probe",
        )
        own = [relative(records, n, (*shared_names, "method"))[0] for n in (first, second)]
        rest = [relative(records, first, each)[0], relative(records, second, (*each, "method"))[0]]
        own_of_pairs.append((1 + difference) * math.hypot(*own))
        of_all_pairs.append((1 + difference) * math.hypot(*rest))
    s2 = np.var(d, ddof=1)
    u_own, u_all = (math.sqrt(np.mean(np.square(u))) for u in (own_of_pairs, of_all_pairs))
    assert kind.figures.own == pytest.approx(math.sqrt(max(s2 - u_own**2, 0)), rel=1e-5, abs=1e-9)
    assert kind.figures.corrected == pytest.approx(math.sqrt(s2 / 6 + u_all**2), rel=1e-5)
    assert kind.figures.common == pytest.approx(math.sqrt(np.mean(d) ** 2 + s2 / 6 + u_all**2), rel=1e-5)


# --- days and operators ----------------------------------------------------------------------------------------------------------

DAYS = {
    "09:10": "03",
    "09:20": "03",
    "09:30": "03",
    "09:40": "03",
    "09:50": "04",
    "10:00": "04",
    "10:10": "04",
    "10:20": "04",
}


@pytest.fixture
def on_days(tmp_path, sheets):
    """The first two pairs on one day, the next two on another and by another operator, the last two on a third by the first."""

    def moved(row):
        day = DAYS.get(row["observed_at"][11:16], "05")
        operator = {"operator": "T. Two" if day == "04" else "T. One"} if "operator" in row else {}
        return row | {"observed_at": row["observed_at"].replace("-05T", f"-{day}T")} | operator

    moved_sheets = {
        name: [moved(row) for row in rows] if name in ("readings.csv", "traverses.csv") else rows
        for name, rows in sheets.items()
    }
    return records_of(tmp_path, moved_sheets)


def test_what_scatters_between_days_and_between_operators_is_told_apart_from_what_scatters_within(on_days, sheets):
    traverse, face, area = expected_pairs(sheets, 6)
    d = face * area * 0.85 / traverse - 1
    found = compared(on_days, OF_TYPE).components
    grouped = {"days": (d[:2], d[2:4], d[4:]), "operators": (np.r_[d[:2], d[4:]], d[2:4])}
    for name, groups in grouped.items():
        by_scipy = stats.f_oneway(*groups)
        assert found[name].f == pytest.approx(by_scipy.statistic, rel=1e-5)
        assert found[name].quantile == pytest.approx(stats.f.ppf(0.95, len(groups) - 1, 6 - len(groups)))
        assert found[name].differ == (by_scipy.pvalue < 0.05)
    # Groups of one size: u of the mean is that of the means of days (GUM H.5.2.5, from memory).
    means = [np.mean(day) for day in grouped["days"]]
    if found["days"].f > 1:
        assert found["days"].standard_uncertainty == pytest.approx(np.std(means, ddof=1) / math.sqrt(3), rel=1e-5)


def answered(records, *options):
    pairs = [word for pair in OF_TYPE for word in ("--pair", pair)]
    ran = calib("method", "compare", "sweep", *pairs, *options, records=records)
    assert ran.status == 0, ran
    return ran


def test_they_are_printed_and_days_that_differ_are_a_caution(on_days):
    ran = answered(on_days)
    document = answered(on_days, "--json").document
    days, operators = document["components_of_variance"]
    assert (days["between"], days["groups"], days["pairs"]) == ("days", 3, 6)
    assert (operators["between"], operators["groups"]) == ("operators", 2)
    assert "s between [%]" in ran.out
    for each in (days, operators):
        told = [caution for caution in document["cautions"] if caution.startswith(f"{each['between']} differ")]
        assert bool(told) == each["differ"]
    assert days["differ"]


def test_pairs_of_one_day_and_operator_tell_nothing_of_others(records):
    assert compared(records, OF_TYPE).components == {}
    assert "s between" not in answered(records).out


# --- cautions --------------------------------------------------------------------------------------------------------------------


def test_a_factor_found_from_the_very_readings_proves_nothing(records, tmp_path):
    factor(records)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    more = [sweep("S-9", at("09:12"), "3.11;3.14")]
    added(records, tmp_path / "more", {"readings.csv": more})
    told = [one for one in compared(records, ("1:13", "2:8")).cautions if "was found from" in one]
    assert [one.partition(":")[0] + one.partition("the factor")[2][:5] for one in told] == ["pair 2 GR-9"]


def test_readings_far_apart_are_named(records):
    told = compared(records, ("1:10", "2:8", "4:7")).cautions
    assert [one for one in told if "apart" in one] == [
        "pair 1:10: the readings lie 1.2 h apart; they measure one flow only if it stayed as it was"
    ]


def test_the_cautions_of_the_statistics_are_told(records):
    assert any(one.startswith("4 pairs tell little") for one in compared(records, OF_S9).cautions)


# --- what cannot be --------------------------------------------------------------------------------------------------------------


def findings(records, pairs, name="sweep"):
    with pytest.raises(BadInputError) as caught:
        compared(records, pairs, name)
    return [str(one) for one in caught.value.findings]


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        (("1:7",), "pair: '1:7'; expected at least 2 pairs, since one shows no spread"),
        (("1:7", "1:8"), "expected each reading once, since pairs are independent; reading 1 stands in 1:7 already"),
        (("1:7", "8:2"), "expected the reading in the duct first; reading 8 was taken at outlet S-9"),
        (("1:7", "2:3"), "expected a reading with the method sweep second; reading 3 has traverse"),
    ],
)
def test_one_wrong_thing_is_named_in_one_line(records, pairs, said):
    (told,) = findings(records, pairs)
    assert told.startswith("pair: ")
    assert said in told


def test_a_method_is_not_compared_with_itself(records):
    (first, second) = findings(records, ("1:2", "3:4"), "traverse")
    assert "pair: '1:2'; expected a traverse by another method first; reading 1 has traverse itself" in first
    assert "'3:4'" in second


def test_a_method_that_is_not_there_is_named_with_those_that_are(records):
    with pytest.raises(NotInRecordsError, match="no method 'swep' in the records: there is spot, sweep, traverse"):
        compared(records, OF_S9, "swep")


def test_standing_air_compares_nothing(tmp_path, sheets):
    still = [
        dict(row, indications="0") if row["observed_at"] == at("09:10") else row for row in sheets["traverses.csv"]
    ]
    exact = dict.fromkeys(("reference", "indication", "repeatability"), "0") | {
        "expanded_uncertainty": "0.02",
        "observations": "6",
    }
    certificate = [row for row in sheets["comparisons.csv"] if row["tag"] != "VB-1"]
    certificate += [
        dict(certificate[0], tag="VB-1", certificate="C-201", **exact | {"reference": x, "indication": x})
        for x in "0369"
    ]
    records = records_of(tmp_path, sheets | {"traverses.csv": still, "comparisons.csv": certificate})
    (told,) = findings(records, OF_S9)
    assert "'1:7'; expected air that moves: 0 m3/s in the duct" in told


# --- the list --------------------------------------------------------------------------------------------------------------------


def test_methods_are_listed_with_the_number_of_their_readings(records):
    with database.reading(str(records)) as session:
        found = {
            one["method"]: (one["relative_standard_uncertainty_percent"], one["readings"]) for one in methods(session)
        }
    assert found == {"spot": ("4.0", 0), "sweep": ("2.5", 6), "traverse": ("1.0", 6)}
