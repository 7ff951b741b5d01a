"""Odd cells are said and written; impossible ones are refused. What is usual: common practice, no source."""

import pytest

from tests.folders import changed, findings_of, imported, write


def remarks(tmp_path, empty_records, *changes):
    """What an import of the small job with some cells changed remarks."""
    said = imported(empty_records, write(tmp_path / "in", changed(*changes))).remarks
    return [each for each in said if each.startswith("notice: ") and "accepted by" not in each]


def test_the_small_job_is_usual_in_every_cell(tmp_path, empty_records):
    assert remarks(tmp_path, empty_records) == []


@pytest.mark.parametrize(
    ("file", "row", "column", "typed", "said"),
    [
        ("comparisons.csv", 2, "coverage_factor", "20.0", "'20.0'; k is usually 1 to 5"),
        ("comparisons.csv", 4, "expanded_uncertainty", "1.5", "'1.5'; it is 60 % of the reference value 2.50"),
        ("comparisons.csv", 2, "expanded_uncertainty", "2.00", "it is 333 % of the reference value 0.60"),
        ("comparisons.csv", 4, "expanded_uncertainty", "0.0001", "usually 0.01 to 20 %"),
        # 5.86 for 0.60: 9.77 times; below a tenth of 20 m/s, 0.60 and 1.20, meters may be far off.
        ("comparisons.csv", 2, "indication", "5.86", "'5.86'; it is 9.77 times its reference value 0.60 m/s"),
        (
            "comparisons.csv",
            7,
            "indication",
            "0.874",
            "it is 0.0971 times its reference value 9.00 m/s; usually 0.5 to 2",
        ),
        ("instruments.csv", 2, "mpe_percent", "30", "a maximum permissible error in percent is usually 0 to 20"),
        ("instruments.csv", 5, "interval_months", "120", "an interval in months is usually 1 to 60"),
        ("methods.csv", 2, "relative_standard_uncertainty_percent", "0.1", "is usually 0.5 to 15"),
        ("outlets.csv", 2, "outlet_factor", "0.084", "an outlet factor is usually 0.4 to 1.2"),
        ("outlets.csv", 2, "tolerance_percent", "0.10", "a tolerance in percent is usually 1 to 30"),
        ("outlets.csv", 2, "width", "12", "it is 12 mm; usually 30 to 5000 mm"),
        ("readings.csv", 2, "averaging_s", "30000", "an averaging time in seconds is usually 1 to 3600"),
    ],
)
def test_an_odd_cell_is_named_and_written(tmp_path, empty_records, file, row, column, typed, said):
    every = remarks(tmp_path, empty_records, (file, row, column, typed))
    (told,) = [each for each in every if f"{file} row {row}, {column}: " in each]
    assert said in told


@pytest.mark.parametrize(("shown", "said"), [("60.2", ["'60.2'; its reference value is 0.0 Pa"]), ("0.2", [])])
def test_an_indication_at_a_reference_value_of_zero_is_odd_where_it_is_far_from_it(
    tmp_path, empty_records, shown, said
):
    cells = {"reference": "0.0", "indication": shown}
    told = remarks(tmp_path, empty_records, *(("comparisons.csv", 17, column, cell) for column, cell in cells.items()))
    assert [expected in each for each, expected in zip(told, said, strict=True)] == [True] * len(said)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        # 9.00/3.13 = 2.875.
        ({"indication": "5.09", "observations": "3.13;3.13;9.00"}, "the largest pass is 2.88 times the smallest"),
        ({"indication": "15.9", "observations": "15.8;16.0"}, "15.9 m/s were indicated at its face"),
        # S-2: 0.3 m * 0.15 m * 0.84 * 0.60 m/s = 0.02268 m3/s = 81.6 m3/h of 450.
        (
            {"indication": "0.60", "observations": ""},
            "about 0.18 times its design flow was indicated; usually 0.2 to 5",
        ),
    ],
)
def test_an_odd_reading_is_said_and_written_all_the_same(tmp_path, empty_records, cells, said):
    told = remarks(tmp_path, empty_records, *(("readings.csv", 3, column, typed) for column, typed in cells.items()))
    assert [said in each for each in told] == [True]
    assert "readings.csv row 3, " in told[0]


def test_a_true_coverage_factor_of_one_degree_of_freedom_is_taken_with_a_notice(tmp_path, empty_records):
    """t for 95.45 % and one degree of freedom is 13.97 (GUM, table G.2)."""
    (told,) = remarks(tmp_path, empty_records, ("comparisons.csv", 2, "coverage_factor", "13.97"))
    assert "'13.97'; k is usually 1 to 5" in told


def test_many_odd_cells_of_one_column_are_three_lines_and_a_count(tmp_path, empty_records):
    told = remarks(tmp_path, empty_records, *(("comparisons.csv", row, "coverage_factor", "6") for row in range(2, 10)))
    assert len(told) == 4
    assert told[-1].endswith("comparisons.csv, coverage_factor: 5 more cells are as unusual")


@pytest.mark.parametrize(
    ("file", "row", "column", "typed", "expected"),
    [
        ("instruments.csv", 2, "mpe_percent", "15000", "a percentage, 0 to 100"),
        ("methods.csv", 2, "relative_standard_uncertainty_percent", "250", "a percentage, 0 to 100"),
        ("comparisons.csv", 2, "expanded_uncertainty", "2026-03-05", "a finite number above 0"),
        ("comparisons.csv", 2, "reference", "5e-324", "0, or a number of at least 1e-12"),
        ("comparisons.csv", 2, "reference", "0" * 50 + "1", "a number written with at most 25 signs"),
        ("comparisons.csv", 2, "coverage_factor", "0.5", "a finite number, 1 or above"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(tmp_path, empty_records, file, row, column, typed, expected):
    (finding, *_) = [
        each
        for each in findings_of(empty_records, write(tmp_path / "in", changed((file, row, column, typed))))
        if each.column == column
    ]
    assert (finding.row, finding.value, finding.expected) == (row, typed, expected)
