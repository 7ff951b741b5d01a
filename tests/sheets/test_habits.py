"""What people write in sheets is read as it is meant, or refused with a line that says what to do: none wrongly, none silently.

The habits stand in habits.toml, each with its file. What a habit means is common practice, no source; where two things may be meant
nothing is taken.
"""

import tomllib
from pathlib import Path

import pytest

from calib.errors import BadInputError
from calib.procedures.enter.import_sheets import import_sheets
from calib.procedures.typed.any_sheet import read_any, sheets_in
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import FileContent, HowToRead, cell_findings
from calib.records import database, ledger
from tests.folders import NOW, SIGNED
from tests.sheets.compute import workbooks

HERE = Path(__file__).parent
HABITS = tomllib.loads((HERE / "habits.toml").read_text(encoding="utf-8"))["habit"]
ORDERS = {"dmy": True, "mdy": False, None: None}
LEAST = 120  # habits that the corpus has


def read(habit):
    """Rows by the file that they are of, findings, and what was said."""
    reading = HowToRead(ORDERS[habit.get("dates")])
    sheets, findings = read_any(FileContent(habit["file"], (HERE / habit["file"]).read_bytes()), reading)
    return sheets, findings, reading.notices


def checked(sheets, findings):
    """Everything that is wrong, as it is told."""
    wrong = [*findings, *(each for file, rows in sheets.items() for each in cell_findings(rows, FILES[file].columns))]
    return [str(each) for each in wrong]


def imported(records, habit):
    """What an import says and finds; nothing is written."""
    sheets, findings, said = read(habit)
    with database.writing(str(records)) as session:
        before = ledger.ledger_head(session)
        try:
            done = import_sheets(session, sheets, SIGNED, NOW, findings, said.append, may_have_grown=True)
            said += [f"{count} row on record already" for count in done.on_record.values()]
            wrong = []
        except BadInputError as error:
            wrong = [str(each) for each in error.findings]
            assert ledger.ledger_head(session) == before
        session.rollback()
    return sheets, wrong, said


@pytest.fixture(scope="module")
def records(_small):
    """Records of the small job, which no habit changes."""
    return _small


@pytest.mark.parametrize("habit", HABITS, ids=[habit["name"] for habit in HABITS])
def test_a_habit_is_read_as_it_is_meant_or_refused(records, habit):
    if habit.get("in_records"):
        sheets, wrong, said = imported(records, habit)
    else:
        sheets, findings, said = read(habit)
        wrong = checked(sheets, findings)
    told = "\n".join(said)
    if "refused" in habit:
        assert [each for each in wrong if habit["refused"] in each], (wrong, told)
        return
    assert wrong == []
    [(file, rows)] = [(file, rows) for file, rows in sheets.items() if file == habit["read"]]
    assert len(rows) == habit.get("rows", 1), told
    for column, cell in habit.get("cells", {}).items():
        assert rows[0].cells.get(column) == cell
    assert habit.get("said", "") in told
    if habit.get("silent"):
        assert [each for each in said if not each.endswith(f"by its headings it is read as {file}")] == []


def test_the_corpus_has_its_habits_each_with_a_name_and_a_file():
    """And every file belongs to a habit."""
    files = {path.relative_to(HERE).as_posix() for path in HERE.rglob("*") if path.suffix in {".csv", ".xlsx", ".ods"}}

    assert len(HABITS) >= LEAST
    assert len({habit["name"] for habit in HABITS}) == len(HABITS)
    assert {habit["file"] for habit in HABITS} == files


def test_the_workbooks_are_those_that_their_script_writes():
    """Cell by cell: archives differ in what packs them."""
    for name, written in workbooks().items():
        on_file, anew = (
            sheets_in(FileContent(name, content), HowToRead()) for content in ((HERE / name).read_bytes(), written)
        )
        assert on_file == anew, name
