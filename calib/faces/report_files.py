"""Write a job's report into a folder."""

import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlmodel import Session

from calib.errors import CalibError
from calib.faces.curve_answer import Content
from calib.faces.document import as_json, content
from calib.faces.report_csv import as_csv
from calib.procedures.report import JobReport, report
from calib.uncertainty.coverage import COVERAGE_PROBABILITY

_LONGEST_NAME = 60  # signs of a job's name in a file name: four bytes each at the most, and systems allow 255


@dataclass(frozen=True)
class WrittenReport:
    """Files of a report."""

    files: tuple[Path, ...]
    refusals: int


def write_report(
    session: Session,
    job: str,
    forms: Sequence[str],
    into: Path,
    issued: datetime,
    now: datetime,
    units: str | None,
    coverage_probability: float = COVERAGE_PROBABILITY,
) -> WrittenReport:
    """Write the report of a job in each form; raises NotInRecordsError, or CalibError where the folder cannot be written."""
    found = report(session, job, now, coverage_probability)
    document = content(found, issued, units)
    name = re.sub(r"[^\w.-]+", "_", job).strip(".")[:_LONGEST_NAME] or "job"
    files = []
    for form in forms:
        path = into / f"{name}.{form}"
        _write(path, _in_form(form, document, found))
        files.append(path)
    return WrittenReport(tuple(files), len(found.evaluation.refused))


def _in_form(form: str, document: Content, found: JobReport) -> str:
    if form == "json":
        return as_json(document)
    if form == "csv":
        return as_csv(document)
    from calib.faces.page import as_html  # noqa: PLC0415 (the drawing library takes a third of a second to import)

    return as_html(document, found.calibrations)


def _write(path: Path, text: str) -> None:
    """Write whole or not at all: a reader never sees half a report."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".report-", delete=False) as part:
            part.write(text.encode("utf-8", "backslashreplace"))
        beside = Path(part.name)
        try:
            beside.chmod(0o644)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)  # nothing is left beside a report that could not be put in place
    except OSError as error:
        raise CalibError(f"{path}: the report cannot be written ({error.strerror})") from error
