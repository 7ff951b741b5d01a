"""Readings that name a file of logged values: kept whole, evaluated with their autocorrelation, wrong files named."""

import numpy as np
import pytest
from scipy.signal import lfilter

from calib.records import database
from calib.records.tables.readings import LoggedSeries
from tests.command import calib
from tests.folders import all_of, changed, findings_of, imported, write


def log_text(values, step=1):
    return "time,value\n" + "".join(f"{step * k},{value:.3f}\n" for k, value in enumerate(values))


def correlated(phi=0.9, size=300):
    return 4.2 + 0.05 * lfilter([1.0], [1.0, -phi], np.random.default_rng(5).normal(size=size + 100))[100:]


def folder_with(tmp_path, text, name="log-1.csv", **cells):
    sheets = changed(
        ("readings.csv", 2, "observations", ""),
        ("readings.csv", 2, "indication", ""),
        ("readings.csv", 2, "log_file", name),
        *(("readings.csv", 2, column, value) for column, value in cells.items()),
    )
    for row in sheets["readings.csv"]:
        row.setdefault("log_file", "")
    folder = write(tmp_path / "in", sheets)
    if text is not None:
        (folder / "log-1.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


def test_the_log_is_kept_whole_byte_for_byte(empty_records, tmp_path):
    text = log_text(correlated())
    imported(empty_records, folder_with(tmp_path, text))
    with database.reading(str(empty_records)) as session:
        assert [one.content for one in all_of(session, LoggedSeries)] == [text.encode()]


def test_ignoring_the_correlation_would_understate_the_repeatability(empty_records, tmp_path):
    values = np.round(correlated(), 3)
    imported(empty_records, folder_with(tmp_path, log_text(values)))
    budget = calib("budget", 1, "--json", records=empty_records).document
    line = budget["contributions"][0]
    per_velocity = budget["flow"]["value"] / budget["velocity"]["value"] * 1.04  # dv/dx of the vane's curve is 1.039
    plain = np.std(values, ddof=1) / np.sqrt(values.size) * per_velocity
    assert line["name"] == "repeatability"
    assert line["standard_uncertainty"] > 2 * plain
    assert budget["observations_counted"] == values.size
    assert budget["effective_observations"] < values.size / 5


def test_the_budget_says_how_many_observations_a_log_counts_as(empty_records, tmp_path):
    imported(empty_records, folder_with(tmp_path, log_text(correlated())))
    assert "the 300 logged values remember one another: they count as" in calib("budget", 1, records=empty_records).out


def test_the_mean_of_the_log_is_the_indication(empty_records, tmp_path):
    imported(empty_records, folder_with(tmp_path, log_text([4.2] * 20)))
    assert calib("reading", "show", 1, "--json", records=empty_records).document["indication"] == "4.2"


@pytest.mark.parametrize(
    ("text", "row", "expected"),
    [
        ("time;value\n0;1\n", 1, "the header time,value"),
        ("", 1, "the header time,value"),
        ("time,value\n" + "0,4.2\n" * 3, None, "at least 10 values"),
        ("time,value\n" + "".join(f"{k},{'x' if k == 3 else 4.2}\n" for k in range(12)), 5, "a finite number"),
        ("time,value\n" + "".join(f"{'noon' if k == 3 else k},4.2\n" for k in range(12)), 5, "seconds, or a time"),
        ("time,value\n" + "".join(f"{k},4.2,1\n" for k in range(12)), 2, "two cells"),
        ("time,value\n" + "".join(f"{0 if k == 5 else k},4.2\n" for k in range(12)), 7, "a time after the one before"),
        ("time,value\n" + "".join(f"{k if k < 6 else k + 9},4.2\n" for k in range(12)), 8, "a step of about 1 s"),
        (b"time,value\n0,\xff\n", None, "comma-separated UTF-8 text"),
    ],
)
def test_a_log_that_is_none_is_named_with_its_row(empty_records, tmp_path, text, row, expected):
    found = findings_of(empty_records, folder_with(tmp_path, text))
    assert found[0].source.endswith("log-1.csv")
    assert found[0].row == row
    assert expected in found[0].expected


@pytest.mark.parametrize("name", ["../log-1.csv", "/etc/passwd", "sub/log-1.csv"])
def test_a_log_elsewhere_than_beside_its_sheet_is_not_read(empty_records, tmp_path, name):
    found = findings_of(empty_records, folder_with(tmp_path, None, name))
    assert [(one.column, one.value) for one in found] == [("log_file", name)]


def test_a_log_that_is_not_there_is_named(empty_records, tmp_path):
    found = findings_of(empty_records, folder_with(tmp_path, None))
    assert [(one.column, one.value) for one in found] == [("log_file", "log-1.csv")]


def test_a_log_and_observations_together_are_one_too_many(empty_records, tmp_path):
    folder = folder_with(tmp_path, log_text(correlated()), observations="4.19;4.22;4.19")
    assert [one.column for one in findings_of(empty_records, folder)] == ["log_file"]


def test_an_indication_that_is_not_the_mean_of_the_log_is_named(empty_records, tmp_path):
    folder = folder_with(tmp_path, log_text([4.2] * 20), indication="4.30")
    assert [(one.column, one.value) for one in findings_of(empty_records, folder)] == [("indication", "4.30")]
