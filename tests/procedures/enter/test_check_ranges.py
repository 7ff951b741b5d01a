"""Comparisons outside the range that the register states are said, and stand in nobody's way. Common practice, no source."""

import pytest

from tests.folders import changed, imported, only, write

REGISTER = ("instruments.csv", "calibrations.csv", "comparisons.csv")


def said(records, folder, *cells):
    sheets = only(changed(*cells), *REGISTER)
    return [one for one in imported(records, write(folder, sheets)).remarks if "range" in one]


def test_comparisons_within_the_range_need_no_word(empty_records, tmp_path):
    assert said(empty_records, tmp_path) == []


@pytest.mark.parametrize(
    ("unit", "low", "high"),
    [("m/s", "0.66", "13.60"), ("km/h", "2.376", "48.96")],  # the lowest and the highest indication of VA-1
)
def test_the_ends_of_the_range_belong_to_it_in_every_unit(empty_records, tmp_path, unit, low, high):
    cells = {"unit": unit, "range_low": low, "range_high": high}
    assert said(empty_records, tmp_path, *(("instruments.csv", 2, name, cell) for name, cell in cells.items())) == []


def test_a_unit_that_slipped_is_named_with_the_indications(empty_records, tmp_path):
    cells = [("comparisons.csv", row, "unit", "m/s") for row in range(9, 14)]
    assert said(empty_records, tmp_path, *cells) == [
        (
            "notice: VA-2: certificate C-102: 5 of 5 indications lie outside the register's range, 80 to 5000 fpm "
            "(108 m/s, 303 m/s, 796 m/s, …): is the unit right?"
        )
    ]


def test_a_decimal_point_that_slipped_is_named(empty_records, tmp_path):
    cells = [("comparisons.csv", 8, "indication", "136.0")]
    assert said(empty_records, tmp_path, *cells) == [
        (
            "notice: VA-1: certificate C-101: 1 of 7 indications lie outside the register's range, 0.3 to 20 m/s "
            "(136.0 m/s): is the unit right?"
        )
    ]
