"""Certificates that state the correlations of their reference values: typed, checked, fitted, exported.

Published: ISO/TS 28037:2010, clauses 9 and 10 (reference_data/iso_ts_28037_clauses_8_to_10), its points and the covariances that
this project laid over them, entered as a certificate; what is computed there has 15 digits; and the printed results of clause 7
(reference_data/iso_ts_28037_clause_7). What is refused: common practice, no source.
"""

import itertools

import numpy as np
import pytest
from sqlmodel import select

from calib.curves.generalised import generalised_gauss_markov_regression
from calib.procedures.on_record.calibrations import calibration_on_file
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.verify.curves_by_rule import curve_findings
from calib.records import database
from calib.records.tables.comparisons import ComparisonCorrelation
from tests.command import calib
from tests.folders import UNTOUCHED, findings_of, imported, ledger_head, only, records_of, small_job, write
from tests.published.test_iso_ts_28037_clauses_8_to_10 import X, Y, computed, within_y
from tests.reference import agrees, numbers, printed

REGISTER = ("instruments.csv", "calibrations.csv", "comparisons.csv")


def stated(correlation, tag="VA-1", certificate="C-101", phase="as-found", points=7):
    """Rows of correlations.csv from a function of two points, counted from 1."""
    return [
        {
            "tag": tag, "certificate": certificate, "phase": phase, "point": str(i), "other_point": str(k),
            "correlation": correlation(i, k),
        }
        for i, k in itertools.combinations(range(1, points + 1), 2)
    ]  # fmt: skip


def near(i, k):
    return f"{0.9 ** (k - i):.4f}"


def register(rows):
    return only(small_job(), *REGISTER) | {"correlations.csv": rows}


def shown(records, certificate="C-101"):
    return calib("calibration", "show", "VA-1", certificate, "--json", records=records).document


def test_correlations_are_kept_as_typed_and_the_curve_counts_them(tmp_path):
    plain = records_of(tmp_path / "plain", only(small_job(), *REGISTER))
    records = records_of(tmp_path / "stated", register(stated(near)))
    with database.reading(str(records)) as session:
        kept = session.exec(select(ComparisonCorrelation)).all()
        assert [(each.point, each.other_point, each.correlation) for each in kept[:2]] == [
            (1, 2, "0.9000"),
            (1, 3, "0.8100"),
        ]
        assert list(curve_findings(session)) == []  # the rule makes the same curve again
    assert shown(records)["correlations"][0]["correlation"] == "0.9000"
    assert shown(records)["curve"]["coefficients"] != shown(plain)["curve"]["coefficients"]
    assert calib("verify", records=records).status == 0


def certified(tmp_path, x, y, u_y, *, repeatability, correlation):
    """The curve of a certificate with a line fitted, as it is kept and as it is shown: references y, indications x."""
    sheets = only(small_job(), "instruments.csv", "calibrations.csv", "comparisons.csv")
    for name in ("instruments.csv", "calibrations.csv"):
        sheets[name] = [row for row in sheets[name] if row["tag"] == "VA-1"]
    sheets["instruments.csv"][0]["resolution"] = "1e-7"
    first = next(row for row in sheets["comparisons.csv"] if row["tag"] == "VA-1")
    sheets["comparisons.csv"] = [
        first | {
            "reference": repr(float(reference)), "indication": repr(float(shown)), "expanded_uncertainty": repr(float(2 * u)),
            "coverage_factor": "2", "repeatability": repeatability, "observations": "1",
        }
        for shown, reference, u in zip(x, y, u_y, strict=True)
    ]  # fmt: skip
    records = records_of(tmp_path, sheets | {"correlations.csv": stated(correlation, points=len(x))})
    words = ("calibration", "choose", "VA-1", "C-101", "--degree", "1", "--reason", "a line", "--by", "A. Person")
    assert calib(*words, records=records).status == 0
    with database.reading(str(records)) as session:
        kept = curve_of(calibration_on_file(session, "VA-1", "C-101").curve.parameters)
    return kept, shown(records)["curve"]


def test_clause_9_comes_out_of_a_certificate(tmp_path):
    """Indications exactly known: a step that is nothing beside the rest, and no scatter of their own."""
    covariance = within_y()
    u = np.sqrt(np.diag(covariance))
    kept, curve = certified(
        tmp_path, X, Y, u, repeatability="0",
        correlation=lambda i, k: repr(float(covariance[i - 1, k - 1] / u[i - 1] / u[k - 1])),
    )  # fmt: skip
    expected = computed("9")
    intercept, slope = curve["coefficients"]
    assert (intercept, 1 + slope) == pytest.approx((expected["b0"], expected["b1"]), rel=1e-9)
    assert curve["chi_squared"] == pytest.approx(expected["chi2"], rel=1e-9)
    at = kept.reference_indications
    variance = expected["cov(b0,b0)"] + 2 * at * expected["cov(b0,b1)"] + at**2 * expected["cov(b1,b1)"]
    assert kept.reference_uncertainties == pytest.approx(np.sqrt(variance), rel=1e-9)


def test_clause_8_comes_out_of_a_certificate(tmp_path):
    """An indication's own error stands in its correction with the opposite sign: a covariance within each pair, clause 8.

    The line of references over indications has none, and is that of clause 7, whose results are printed (class A): the same
    points, as a certificate that states no correlation between them.
    """
    x, y, u_x, u_y = numbers("iso_ts_28037_clause_7", "data")
    assert set(u_x) == {0.2}
    kept, curve = certified(tmp_path, x, y, u_y, repeatability="0.2", correlation=lambda *_: "0")
    published = printed("iso_ts_28037_clause_7", "published")
    intercept, slope = curve["coefficients"]
    assert agrees(intercept, published["a"])
    assert agrees(1 + slope, published["b"])
    assert agrees(curve["chi_squared"], published["chi2"])
    u_a, u_b, both = (float(published[symbol]) for symbol in ("u(a)", "u(b)", "cov(a,b)"))
    variance = kept.scatter_uncertainty(x) ** 2 + kept.reference_uncertainty(x) ** 2
    # Half a digit of each: 2 u(a) 5e-5 + 2 x 5e-5 + 2 x^2 u(b) 5e-5.
    digits = 2 * 5e-5 * (u_a + x + x**2 * u_b)
    assert np.all(np.abs(variance - (u_a**2 + 2 * x * both + (x * u_b) ** 2)) <= digits)


def test_clause_10_comes_out_of_a_certificate(tmp_path):
    """Correlated references and indications with a scatter of their own: the line of references over indications, fitted whole."""
    covariance = within_y()
    u = np.sqrt(np.diag(covariance))
    kept, curve = certified(
        tmp_path, X, Y, u, repeatability="0.2",
        correlation=lambda i, k: repr(float(covariance[i - 1, k - 1] / u[i - 1] / u[k - 1])),
    )  # fmt: skip
    nothing = np.zeros_like(covariance)
    whole = np.block([[np.diag(np.full_like(X, 0.2**2)), nothing], [nothing, covariance]])
    line = generalised_gauss_markov_regression(X, Y, whole, 1).polynomial
    intercept, slope = curve["coefficients"]
    assert (intercept, 1 + slope) == pytest.approx(line.in_powers_of_x()[0], rel=1e-9)
    assert curve["chi_squared"] == pytest.approx(line.chi_squared, rel=1e-9)
    variance = kept.scatter_uncertainty(X) ** 2 + kept.reference_uncertainty(X) ** 2
    powers = np.vander(X, 2, increasing=True)
    assert variance == pytest.approx(np.sum((powers @ line.in_powers_of_x()[1]) * powers, axis=1), rel=1e-9)


CASES = {
    "above 1": (lambda rows: rows[0].update(correlation="1.2"), (2, "correlation", "1.2", "a correlation, from -1 to 1")),
    "below -1": (lambda rows: rows[3].update(correlation="-1.01"), (5, "correlation", "-1.01", "a correlation, from -1 to 1")),
    "no number": (lambda rows: rows[0].update(correlation="high"), (2, "correlation", "high", "a correlation, from -1 to 1")),
    "a point that is not there": (
        lambda rows: rows[0].update(other_point="8"), (2, "other_point", "8", "one of the 7 comparisons as-found"),
    ),
    "points out of order": (
        lambda rows: rows[6].update(point="4", other_point="2"), (8, "other_point", "2", "a number above point (4)"),
    ),
    "a pair twice": (
        lambda rows: rows[1].update(other_point="2"),
        (3, "other_point", "2", "each two points once; 1 and 2 stand there already"),
    ),
    "pairs left out": (
        lambda rows: rows.pop(1), (2, "other_point", "2", "of every two points: there is none of 1 and 3"),
    ),
    "another certificate": (
        lambda rows: [row.update(certificate="C-999") for row in rows],
        (2, "certificate", "C-999", "a certificate of VA-1 in calibrations.csv"),
    ),
    "a matrix that cannot be": (
        lambda rows: (rows[0].update(correlation="0.9"), rows[1].update(correlation="-0.9"), rows[6].update(correlation="0.9")),
        (2, "correlation", "0.9", "not positive semi-definite (its lowest eigenvalue is -"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_what_cannot_be_is_named_and_nothing_is_written(empty_records, tmp_path, case):
    change, (row, column, value, expected) = case
    rows = stated(lambda *_: "0.2")
    change(rows)
    finding = findings_of(empty_records, write(tmp_path / "in", register(rows)))[0]
    assert (finding.source.rpartition("/")[2], finding.row, finding.column, finding.value) == (
        "correlations.csv", row, column, value,
    )  # fmt: skip
    assert expected in finding.expected
    assert ledger_head(empty_records) == UNTOUCHED


def test_the_points_of_a_matrix_that_cannot_be_are_named(empty_records, tmp_path):
    rows = stated(lambda *_: "0.2")
    for place, value in ((0, "0.9"), (1, "-0.9"), (6, "0.9")):
        rows[place]["correlation"] = value
    (finding,) = findings_of(empty_records, write(tmp_path / "in", register(rows)))
    assert finding.expected.endswith("see those of points 1, 2, 3")


def test_comparisons_without_their_scatter_cannot_be_fitted_with_correlations(empty_records, tmp_path):
    rows = stated(lambda *_: "0.2", "VA-2", "C-102", "as-left", 5)
    (finding,) = findings_of(empty_records, write(tmp_path / "in", register(rows)))
    assert (finding.column, finding.value) == ("certificate", "C-102")
    assert "state the repeatability" in finding.expected


def test_a_certificate_that_is_on_record_gets_no_correlations_later(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "first", only(small_job(), *REGISTER)))
    found = findings_of(empty_records, write(tmp_path / "later", {"correlations.csv": stated(near)}))
    assert {(each.column, each.value) for each in found} == {("certificate", "C-101")}


def test_an_export_is_read_back_with_its_correlations(tmp_path):
    records = records_of(tmp_path / "first", register(stated(near)))
    assert calib("export", tmp_path / "export", records=records).status == 0
    other = tmp_path / "other.sqlite"
    database.make(str(other))
    imported(other, tmp_path / "export")
    assert shown(other)["curve"] == shown(records)["curve"]
    assert calib("export", tmp_path / "again", records=other).status == 0
    assert (tmp_path / "again" / "correlations.csv").read_bytes() == (
        tmp_path / "export" / "correlations.csv"
    ).read_bytes()


# --- a matrix in a file ---------------------------------------------------------------------------------------------------------


COMPARISONS = """phase,reference,indication,unit,expanded_uncertainty,coverage_factor,repeatability,observations
as-found,0.60,0.66,m/s,0.0198,2,0.012,6
as-found,4.00,3.92,m/s,0.0470,2,0.018,6
as-found,9.00,8.74,m/s,0.0870,2,0.035,6
as-found,14.00,13.60,m/s,0.1270,2,0.060,6
"""
MATRIX = "1,0.9,0.8,0.7\n0.9,1,0.9,0.8\n0.8,0.9,1,0.9\n0.7,0.8,0.9,1\n"


def added(records, folder, matrix):
    (folder / "c.csv").write_text(COMPARISONS, encoding="utf-8")
    (folder / "m.csv").write_text(matrix, encoding="utf-8")
    words = ("calibration", "add", "VA-1", "C-7", "--laboratory", "L", "--calibrated-on", "2026-02-01")
    files = ("--comparisons", folder / "c.csv", "--correlations", folder / "m.csv")
    return calib(*words, *files, "--by", "A. Person", records=records)


@pytest.fixture
def records(tmp_path):
    return records_of(tmp_path / "register", only(small_job(), "instruments.csv"))


def test_a_matrix_is_recorded_and_shown(records, tmp_path):
    assert added(records, tmp_path, MATRIX).status == 0
    kept = shown(records, "C-7")["correlations"]
    assert [(each["point"], each["other_point"], each["correlation"]) for each in kept[:3]] == [
        (1, 2, "0.9"), (1, 3, "0.8"), (1, 4, "0.7"),
    ]  # fmt: skip
    told = calib("calibration", "show", "VA-1", "C-7", records=records).out
    assert "correlations of reference values are stated, 0.7 to 0.9: the curve counts them" in told


MATRICES = {
    "not square": ("1,0.9\n0.9,1\n", "m.csv: '' is wrong; expected 4 rows of 4 correlations: one for each comparison as-found"),
    "not symmetric": (
        MATRIX.replace("0.7,0.8,0.9,1", "0.6,0.8,0.9,1"), "what stands in row 1, column 4 (0.7): the matrix is symmetric",
    ),
    "not 1 with itself": (MATRIX.replace("0.9,1,0.9,0.8", "0.9,2,0.9,0.8"), "row 2, 2: '2'; expected a correlation, from -1 to 1"),
    "0.5 with itself": (MATRIX.replace("0.9,1,0.9,0.8", "0.9,0.5,0.9,0.8"), "1: each value with itself"),
    "one that cannot be": (
        "1,0.9,-0.9,0\n0.9,1,0.9,0\n-0.9,0.9,1,0\n0,0,0,1\n", "not positive semi-definite (its lowest eigenvalue is -0.8)",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", MATRICES.values(), ids=MATRICES)
def test_a_wrong_matrix_is_named_and_nothing_is_written(records, tmp_path, case):
    matrix, expected = case
    before = ledger_head(records)
    ran = added(records, tmp_path, matrix)
    assert (ran.status, ran.out) == (2, "")
    assert expected.rpartition("wrong; ")[2] in ran.err
    assert ledger_head(records) == before
