"""What `calib plan --sheet` writes: the field sheet of a job, each form by the end of its file's name."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from calib.clock import clock
from calib.errors import Finding
from calib.faces.cli.frame import say

if TYPE_CHECKING:
    from sqlmodel import Session

_PDF = ".pdf"
_FORMS = (_PDF, ".xlsx", ".ods")


def sheet_findings(paths: Sequence[Path]) -> list[Finding]:
    """What is wrong with the names of field sheets."""
    expected = f"a file that ends in one of {', '.join(_FORMS)}"
    return [Finding.typed("sheet", str(path), expected) for path in paths if path.suffix.lower() not in _FORMS]


def write_field_sheet(session: "Session", job: str, path: Path) -> None:
    """Write one form of the field sheet to a new file, and say so; raises NotInRecordsError, RecordsError."""
    from calib.faces.files import write_new
    from calib.faces.handouts.spreadsheet import SPREADSHEETS
    from calib.faces.report.field_sheet import field_pdf, field_workbook
    from calib.procedures.on_record.names_on_file import methods_by_name, tags_on_file
    from calib.procedures.plan.field_sheet import field_places
    from calib.records.ledger import ledger_head

    of_job, places = field_places(session, job)
    now = clock()
    if path.suffix.lower() == _PDF:
        _, digest = ledger_head(session)
        content = field_pdf(of_job, places, now.isoformat(timespec="seconds"), digest)
    else:
        zone = now.astimezone().isoformat()[-6:]
        sheets = field_workbook(job, places, zone, tags_on_file(session), methods_by_name(session))
        content = SPREADSHEETS[path.suffix.lower()](sheets)
    write_new(path, content)
    say(f"wrote {path}: {len(places)} places")
