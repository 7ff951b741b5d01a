"""The page on a company by commands alone: its commands, one after the other, make a report and no file before it.

Common practice, no source.
"""

import io
import re
import shlex

from calib.faces.manual import pages
from tests.command import calib

# What the clerk types to the questions of the certificate: what it does not state is left empty.
ANSWERS = [*[""] * 10, "as-found", "m/s", "0.50 0.52 0.02 2 0.01 10", "1.00 1.01 0.02 2 0.01 10", "2.50 2.53 0.03 2 0.01 10",
           "5.00 5.04 0.05 2 0.02 10", "10.00 10.09 0.10 2 0.03 10", "", "", "yes"]  # fmt: skip
ENDS_OTHERWISE = {"calib status": 1}  # no backup yet


def commands():
    blocks = re.findall(r"^```\n(.*?)```", pages.source("company"), flags=re.DOTALL | re.MULTILINE)
    return [line for block in blocks for line in re.sub(r" \\\n +", " ", block).splitlines()]


def test_each_line_of_a_command_fits_a_screen_of_60_columns():
    assert [line for line in pages.page("company", 60, {}).splitlines() if len(line) > 60] == []


def test_the_commands_of_the_page_make_a_company_from_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CALIB_RECORDS", raising=False)
    said = {}
    for command in commands():
        monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(ANSWERS) + "\n"))
        assert sorted(path.name for path in tmp_path.iterdir() if not path.name.startswith("calibration.sqlite")) in (
            [], ["reports"],
        )  # fmt: skip
        ran = calib(*shlex.split(command)[1:])
        assert ran.status == ENDS_OTHERWISE.get(command, 0), (command, ran.err)
        said[command.partition(" --")[0]] = ran

    # Mean indication 2.41 m/s, less the error of some 0.03 m/s that the certificate shows there, over 0.08 m2 with the factor 0.85.
    flow = float(re.search(r"\((\d+) ± \d+\) m3/h", said["calib reading list J-1"].out)[1])
    assert abs(flow - (2.41 - 0.03) * 0.4 * 0.2 * 0.85 * 3600) < 1.5
    assert "S-1: VA-1, sweep, " in said["calib plan J-1"].out
    assert "no backup is on record" in said["calib status"].out
    assert (tmp_path / "reports" / "J-1.html").exists()
