"""Sheets from bytes: nothing has to lie on a disk to be imported.

Source: RFC 4180 for comma-separated values; what a log is taken from, common practice, no source.
"""

import pytest

from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import FileContent, read_sheets

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
    assert [(row.source, row.number, row.cells) for row in sheets["jobs.csv"]] == [
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
