"""Sheets from bytes: nothing has to lie on a disk to be imported.

Source: RFC 4180 for comma-separated values; what a log is taken from, common practice, no source.
"""

import time

import pytest

from calib.faces.files import log_content, read_folder
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.observations import log_findings
from calib.procedures.typed.sheets import FileContent, read_csv, read_sheets

HEADER = "job,outlet,instrument,observed_at,unit,method,operator,log_file\n"
ROW = "J-1,S-1,VA-1,2026-03-05T14:30+01:00,m/s,sweep,T. One,{log}\n"
LOG = b"time,value\n0,2.4\n"


def read(files, logs=()):
    """Sheets of files in memory, and their findings as sentences; `logs` by name."""
    contents = [FileContent(name, content) for name, content in files.items()]
    sheets, findings = read_sheets(contents, FILES, lambda _file, name: FileContent(name, dict(logs)[name]))
    return sheets, [str(finding) for finding in findings]


def test_rows_keep_their_cells_as_they_were_typed():
    sheets, findings = read({"jobs.csv": b"job,decision_rule,title\nJ-1,simple, 1.10 \n,,\n"})
    assert findings == []
    assert [(row.source, row.row_number, row.cells) for row in sheets["jobs.csv"]] == [
        ("jobs.csv", 2, {"job": "J-1", "decision_rule": "simple", "title": "1.10"})
    ]


def test_a_log_comes_with_the_row_that_names_it_and_is_no_stranger():
    files = {"readings.csv": (HEADER + ROW.format(log="s-1.csv")).encode(), "s-1.csv": LOG}
    sheets, findings = read(files, {"s-1.csv": LOG})
    assert findings == []
    assert sheets["readings.csv"][0].log.content == LOG


@pytest.mark.parametrize("name", ["../s-1.csv", "/etc/hostname", "logs/s-1.csv"])
def test_a_log_is_asked_for_by_a_name_and_never_by_a_path(name):
    sheets, _ = read({"readings.csv": (HEADER + ROW.format(log=name)).encode()})
    assert sheets["readings.csv"][0].log is None


def test_a_file_of_another_name_is_named():
    _, findings = read({"job.csv": b"job,decision_rule\nJ-1,simple\n"})
    assert len(findings) == 1
    assert findings[0].startswith("job.csv: expected one of the file names instruments.csv, ")


def test_what_could_not_be_read_is_said_of_the_file():
    sheets, findings = read_sheets([FileContent("jobs.csv", b"", "a file that can be read")], FILES, lambda *_: None)
    assert sheets["jobs.csv"] == []
    assert [str(finding) for finding in findings] == ["jobs.csv: expected a file that can be read"]


@pytest.mark.parametrize(("count", "lines"), [(1, 1), (20, 20), (21, 1), (100_000, 1)])
def test_many_unknown_columns_are_one_line_with_their_count(count, lines):
    header = ",".join(["job", "decision_rule", *(f"c{number}" for number in range(count))])
    begun = time.process_time()
    rows, findings = read_csv(FileContent("jobs.csv", header.encode()), FILES["jobs.csv"])
    assert time.process_time() - begun < 5
    assert rows == []
    assert len(findings) == lines
    assert findings[0].column == "c0"
    assert (f"{count - 1} more are none of them" in findings[0].expected) is (count > 20)


def test_a_column_of_a_name_without_end_is_shortened():
    _, [finding] = read_csv(FileContent("jobs.csv", b"job,decision_rule," + b"x" * 100_000), FILES["jobs.csv"])
    assert len(str(finding)) < 300


def test_a_known_column_that_stands_there_often_is_one_line():
    header = ",".join(["job", "decision_rule", *["title"] * 100_000])
    _, [finding] = read_csv(FileContent("jobs.csv", header.encode()), FILES["jobs.csv"])
    assert (finding.column, finding.expected) == ("title", "the column once, found 100000 times")


def test_a_log_has_a_bound_which_is_said():
    log = b"time,value\n" + b"".join(b"%d,2.4\n" % second for second in range(500_001))
    [finding] = log_findings("log.csv", log)
    assert str(finding) == "log.csv: expected at most 500,000 values; found 500,001"


def test_a_log_beyond_25_mb_is_not_read(tmp_path):
    (tmp_path / "log.csv").write_bytes(b" " * 25_000_001)
    found = log_content(str(tmp_path / "log.csv"))
    assert (found.content, found.expected) == (b"", "a file of at most 25 MB, 25,000,000 bytes (it has 25,000,001)")


@pytest.mark.parametrize("line", [b"\n", b"S-1,J-1\n"])
def test_a_sheet_has_at_most_half_a_million_lines_blank_ones_too(line):
    sheets, findings = read({"jobs.csv": b"job,decision_rule\n" + line * 500_000})
    assert sheets["jobs.csv"] == []
    assert findings == ["jobs.csv: expected a sheet of at most 500,000 lines (it has more)"]


def test_a_sheet_beyond_50_mb_is_not_read(tmp_path):
    (tmp_path / "jobs.csv").write_bytes(b" " * 50_000_001)
    sheets, (finding,) = read_folder(tmp_path)
    assert sheets["jobs.csv"] == []
    assert "expected a file of at most 50 MB, 50,000,000 bytes (it has 50,000,001)" in str(finding)
