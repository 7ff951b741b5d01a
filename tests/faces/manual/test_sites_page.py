"""What `calib help sites` shows for a machine of a site: its unit and its timer are taken from the page.

Sources: systemd.service(5), systemd.timer(5) and systemd-analyze(1).
"""

import re
import shlex
import subprocess

from calib.faces.manual import pages
from tests.behind_proxy import program, put_in_place, setting
from tests.command import calib
from tests.folders import records_of, small_job

UNIT, TIMER = re.findall(r"^```ini\n(.*?)^```", pages.source("sites"), re.MULTILINE | re.DOTALL)


def test_systemd_finds_nothing_wrong_with_the_unit_and_its_timer(tmp_path):
    unit = put_in_place(UNIT, **{"/opt/calib/bin/calib": program("true", "coreutils")})
    (tmp_path / "calib-anchor.service").write_text(unit)
    (tmp_path / "calib-anchor.timer").write_text(TIMER)
    words = [program("systemd-analyze", "systemd"), "verify", "--man=no", str(tmp_path / "calib-anchor.timer")]
    ran = subprocess.run(words, capture_output=True, text=True, check=False)
    said = [line for line in ran.stderr.splitlines() if "calib" in line]
    assert (ran.returncode, said) == (0, [])


def test_what_the_unit_runs_keeps_the_head_of_the_other_site(tmp_path):
    south = records_of(tmp_path / "there", small_job()).rename(tmp_path / "south.sqlite")
    north = records_of(tmp_path / "here", small_job())
    command = put_in_place(
        setting("ExecStart", UNIT),
        **{
            "postgresql://auditor@south.example/calibration": south,
            "/var/lib/calib/calibration.sqlite": north,
        },
    )
    program_, *words = shlex.split(command)
    assert program_.endswith("/calib")
    assert calib(*words).out.startswith("anchored south at ledger entry 45")
    assert calib(*words).out.startswith("anchored already: south at ledger entry 45")
