"""A shell completes names that stand in the records. Common practice, no source.

The shell asks as typer documents it: `_CALIB_COMPLETE` names the shell, `COMP_WORDS` and `COMP_CWORD` what stands on the line.
"""

import os
import subprocess
import sys

import pytest

PROGRAM = (sys.executable, "-c", "import sys; from calib.faces.cli import main; sys.argv[0] = 'calib'; main()")


def completed(line, records, shell="complete_bash", word=None):
    asked = {
        "_CALIB_COMPLETE": shell,
        "COMP_WORDS": line,
        "COMP_CWORD": str(len(line.split(" ")) - 1 if word is None else word),
    }
    surroundings = os.environ | {"CALIB_RECORDS": str(records)} | asked
    ran = subprocess.run(PROGRAM, env=surroundings, capture_output=True, text=True, check=False)
    assert ran.stderr == ""
    return ran.stdout.split("\n")[:-1] if ran.stdout.strip() else []


@pytest.mark.parametrize(
    ("line", "names"),
    [
        ("calib ready VA", ["VA-1", "VA-2"]),
        ("calib calibration show VA-1 C", ["C-101"]),
        ("calib plan J", ["J-1"]),
        ("calib outlet show J-1 S-1", ["S-1"]),
        ("calib reading add J-1 S-1 --instrument VA-1", ["VA-1"]),
        ("calib ready X", []),
    ],
)
def test_names_on_record_are_completed(small_records, line, names):
    assert completed(line, small_records) == names


def test_a_name_of_several_words_is_typed_as_bash_takes_it(small_records):
    assert completed("calib reading add J-1 S-1 --method ", small_records) != []


def test_a_name_begun_in_quotation_marks_is_completed_as_it_is(demo_records):
    line = "calib\noutlet\nshow\nLM-27\n"  # as bash joins the words
    assert completed(f"{line}S1-6", demo_records, word=4) == ["S1-6\\ corridor"]
    assert completed(f'{line}"S1-6', demo_records, word=4) == ["S1-6 corridor"]


def test_without_records_nothing_is_completed_and_nothing_is_said(tmp_path):
    assert completed("calib ready V", tmp_path / "none.sqlite") == []


def test_commands_are_completed_too(tmp_path):
    assert completed("calib rea", tmp_path / "none.sqlite", word=1) == ["ready", "reading"]
