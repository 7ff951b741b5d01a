"""A command that the program prints for copying reads as the same words whatever a job, a file or a tag is called."""

import ast
import re
from pathlib import Path

import pytest

from calib.errors import Step
from calib.faces import answers
from calib.faces.answers import issued_reports
from calib.faces.cli.frame import spelled_here

FACES = Path(answers.__file__).parents[1]
COMMAND = re.compile(r"\bcalib [a-z]")
NUMBERS = {"reading['reading']", "review['review']", "review", "months"}  # what needs no quotation marks


def unquoted():
    """Everything that stands in a command of an f-string and may have a space, by its file."""
    for path in sorted(FACES.rglob("*.py")):
        for told in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(told, ast.JoinedStr):
                continue
            in_command = False
            for part in told.values:
                if isinstance(part, ast.Constant):
                    in_command = in_command or COMMAND.search(part.value) is not None
                elif in_command:
                    typed = ast.unparse(part.value)
                    if not typed.startswith("quote(") and typed not in NUMBERS:
                        yield path.name, typed


def test_whatever_stands_in_a_printed_command_is_quoted():
    assert list(unquoted()) == []


def test_the_command_that_issues_a_report_first_has_the_name_of_the_job_as_one_word():
    told = issued_reports.text(issued_reports.document("East wing 2", []))

    assert "`calib report 'East wing 2' --issue`" in told


@pytest.mark.parametrize(("records", "typed"), [("my records.sqlite", "'my records.sqlite'"), ("a.sqlite", "a.sqlite")])
def test_the_command_that_upgrades_names_the_records_as_one_word(records, typed):
    assert spelled_here(Step.UPGRADE, records) == f"`calib upgrade --records {typed}` brings it there"


def test_conditions_that_lack_something_name_the_command_that_enters_them():
    told = spelled_here(f"conditions roof: no altitude: {Step.ADD_CONDITIONS}")

    assert told == "conditions roof: no altitude: enter them whole with `calib conditions add`, under another name"
