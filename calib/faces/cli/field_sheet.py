"""What `calib plan --sheet` writes: the field sheet of a job, each form by the end of its file's name."""

from collections.abc import Sequence
from datetime import date, datetime, time
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


def write_field_sheet(session: "Session", job: str, path: Path, day: date) -> None:
    """Write one form of the field sheet to a new file, its times in the job's zone on the day that it is for, and say so.

    Raises NotInRecordsError, RecordsError.
    """
    from calib.faces.files import write_new
    from calib.faces.handouts.spreadsheet import SPREADSHEETS
    from calib.faces.report.field_sheet import field_pdf, field_workbook
    from calib.procedures.on_record.names_on_file import methods_by_name, tags_on_file
    from calib.procedures.on_record.zone_of_job import zone_of_job
    from calib.procedures.plan.field_sheet import field_places
    from calib.records.ledger import ledger_head

    of_job, places = field_places(session, job)
    if path.suffix.lower() == _PDF:
        _, digest = ledger_head(session)
        content = field_pdf(of_job, places, clock().isoformat(timespec="seconds"), digest)
    else:
        noon = datetime.combine(day, time(12))
        of_zone = zone_of_job(session, job)
        zone = (noon.astimezone() if of_zone is None else noon.replace(tzinfo=of_zone)).isoformat()[-6:]
        sheets = field_workbook(job, places, zone, tags_on_file(session), methods_by_name(session))
        content = SPREADSHEETS[path.suffix.lower()](sheets)
    write_new(path, content)
    say(f"wrote {path}: {len(places)} places")
