"""The invented demo job, from end to end by the same code as a user's own.

Everything in it is invented: people, companies, the building, the instruments, the certificates and the numbers.
"""

import json
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from shlex import quote
from typing import Any

from sqlmodel import Session

from calib.errors import NotInRecordsError, RecordsError
from calib.faces.files import import_folders
from calib.faces.report.file_names import FORMS
from calib.faces.report.write_report import Wanted, issue, write_issued
from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.enter.import_sheets import Imported
from calib.procedures.factors.find_factor import find_factor
from calib.procedures.fleet.record_check import record_check
from calib.procedures.fleet.record_event import record_event
from calib.procedures.fleet.set_company import set_company
from calib.procedures.on_record.calibrations import calibration_on_file
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.on_record.outlets import readings_at
from calib.procedures.pairs.factor_from_pairs import FactorWanted
from calib.procedures.people.authorise import people_on_record
from calib.procedures.people.persons_and_roles import PersonWanted, add_person
from calib.procedures.report.issued import issued_bytes
from calib.records import database
from calib.records.ledger import Signature

DEMO_JOB = "LM-27"
DEMO_RECORDS = "demo.sqlite"
_BRANCH, _GRILLE = "B1 branch to S1-6", "S1-6 corridor"
_METER = "VA-11"
_HERE = Path(__file__).parent
_COMPANY = "Marram & Sedge Air Measurement", "4 Sluice Lane, Larkmoor", "desk@marram-sedge.example"
_QA, _TECHNICIAN, _ENGINEER = "I. Marlow", "S. Quill", "R. Sorrel"
DEMO_PEOPLE = {_QA: "QA", _TECHNICIAN: "technician", _ENGINEER: "engineer"}  # of the demo in a browser


def _at(typed: str) -> datetime:
    return datetime.fromisoformat(typed)


# The demo's own calendar: its reports are the same on whatever day it is run.
_REGISTERED, _CHECKED, _SUSPENDED = (
    _at("2026-06-05T10:00+01:00"),
    _at("2026-09-21T08:40+01:00"),
    _at("2026-09-02T16:05+01:00"),
)
_FOUND, _AMENDED = _at("2026-10-14T18:05+01:00"), _at("2026-10-14T18:10+01:00")
_IMPORTED, _ISSUED, _REISSUED = (
    _at("2026-10-14T17:40+01:00"),
    _at("2026-10-14T18:00+01:00"),
    _at("2026-10-15T09:00+01:00"),
)
_FIRST_FORMS = ("pdf", "json")
_REVISION, _WHY = 2, "the grille of the corridor has an outlet factor of its own, found in the field"
_WITHOUT = "E3-4 was read with a meter that is overdue; it is read again with another on the next visit"


@dataclass(frozen=True)
class _Place:
    into: Path

    @property
    def records(self) -> str:
        return str(self.into / DEMO_RECORDS)

    def folder(self, name: str) -> Path:
        """A copy of one of the demo's import folders, for people to look at and to try their own changes on."""
        copy = self.into / "demo-import" / name
        copy.mkdir(parents=True, exist_ok=True)
        for path in sorted((_HERE / name).glob("*.csv")):
            shutil.copyfile(path, copy / path.name)
        return copy


def run_demo(into: Path, progress: Callable[[str], None]) -> dict[str, Any]:
    """Make the demo's records in a folder, and its reports; records that are there already are left as they are."""
    place = _Place(into)
    try:
        into.mkdir(parents=True, exist_ok=True)
        folders = [place.folder(name) for name in ("register", "job")]
    except OSError as error:
        raise RecordsError(f"{into}: the demo cannot be written there ({error.strerror})") from error
    said = _make_records(place, folders, progress) if not Path(place.records).exists() else _records_are_there(place)
    with database.reading(place.records) as session:
        files = (*write_issued(session, DEMO_JOB, _REVISION, (), into, over=True), *_pictures(session, into))
    said += [
        f"Wrote revision {_REVISION} of the report of job {DEMO_JOB}, issued {_REISSUED.date()}:",
        *(f"  {path}" for path in files),
    ]
    said += [
        "Next: open the HTML page in a browser, then try",
        f"  calib ready VA-11 VA-13 VA-14 --on 2026-10-14 --records {quote(place.records)}",
        f"  calib budget 1 --records {quote(place.records)}",
    ]
    return {"records": place.records, "job": DEMO_JOB, "files": [str(path) for path in files], "said": said}


def add_demo_people(records: str, at: datetime) -> None:
    """Put the demo's people on record, where they are not yet: from then on the records ask for names and roles."""
    with database.writing(records) as session:
        known = {person.name for person in people_on_record(session).people}
        for name, role in DEMO_PEOPLE.items():
            if name not in known:
                add_person(session, PersonWanted(name, None, [role]), Signature(_QA, at, "person add"))


def _pictures(session: Session, into: Path) -> list[Path]:
    """Three pictures of the report, each by itself."""
    from calib.faces.drawings import save_all  # noqa: PLC0415 (the drawing library takes a third of a second to import)
    from calib.faces.drawings.balance import balance_charts  # noqa: PLC0415
    from calib.faces.drawings.calibration import calibration_chart  # noqa: PLC0415
    from calib.faces.drawings.overview import overview_charts  # noqa: PLC0415

    content = json.loads(issued_bytes(session, DEMO_JOB, _REVISION, "json"))
    pictures = {
        "outlets": overview_charts(content["readings"], content["not_measured"])[0],
        "balance": balance_charts(content)[0],
        _METER: calibration_chart(calibration_on_file(session, _METER, None)),
    }
    return [path for name, chart in pictures.items() for path in save_all([chart], into / f"{DEMO_JOB}-{name}.svg")]


def _records_are_there(place: _Place) -> list[str]:
    try:
        with database.reading(place.records) as session:
            job_named(session, DEMO_JOB)
    except NotInRecordsError as error:
        raise RecordsError(f"{place.records} is not the demo's: name another folder with --into") from error
    return [f"The demo's records are in {place.records} already; they were left as they are."]


def _make_records(place: _Place, folders: list[Path], progress: Callable[[str], None]) -> list[str]:
    database.make(place.records)
    register, job = folders
    with database.writing(place.records) as session:
        set_company(session, *_COMPANY, None, None, Signature(_QA, _REGISTERED, "company set"))
        first = import_folders(session, [register], Signature(_QA, _REGISTERED, "import"), _REGISTERED, progress)
    with database.writing(place.records) as session:
        record_event(
            session,
            "VA-14",
            "suspension",
            _SUSPENDED,
            "fell from a ladder, vane bent",
            Signature(_QA, _SUSPENDED, "suspension"),
        )
    zero = {"kind": "zero", "value": "0.01", "low": "0.00", "high": "0.02", "unit": "m/s", "remarks": "probe capped"}
    with database.writing(place.records) as session:
        record_check(session, "TA-05", _CHECKED, zero, Signature(_TECHNICIAN, _CHECKED, "check add"))
    with database.writing(place.records) as session:
        second = import_folders(session, [job], Signature(_TECHNICIAN, _IMPORTED, "import"), _IMPORTED, progress)
    _issue(place, _FIRST_FORMS, _ISSUED, None, progress)
    progress("finding an outlet factor from traverses of a branch")
    _find_factor(place)
    _issue(place, FORMS, _REISSUED, _WHY, progress)
    return _story(place, first, second)


def _issue(
    place: _Place, forms: Sequence[str], at: datetime, reason: str | None, progress: Callable[[str], None]
) -> None:
    signed = Signature(_ENGINEER, at, "report --issue")
    wanted = Wanted(DEMO_JOB, forms, at, at, gaps_reason=_WITHOUT)
    issue(place.records, wanted, reason, lambda: signed, None, progress)


def _find_factor(place: _Place) -> None:
    """The factor of one grille from traverses of its branch, and the grille amended to use it."""
    with database.writing(place.records) as session:
        traverses, faces = (readings_at(session, DEMO_JOB, name) for name in (_BRANCH, _GRILLE))
        # The first reading at the grille was taken before the traverses.
        pairs = [f"{duct}:{face}" for duct, face in zip(traverses, faces[-len(traverses) :], strict=True)]
        wanted = FactorWanted("G4", pairs, "type", "grille G4", "four traverses of the branch to S1-6")
        find_factor(session, wanted, Signature(_TECHNICIAN, _FOUND, "factor find"))
    typed = ("outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source")
    changes = [*(f"{column}=" for column in typed), "found_factor=G4"]
    with database.writing(place.records) as session:
        signed = Signature(_TECHNICIAN, _AMENDED, "outlet amend")
        amend_outlet(session, DEMO_JOB, _GRILLE, changes, "its own factor was found in the field", signed)


def _story(place: _Place, first: Imported, second: Imported) -> list[str]:
    return [
        f"Made the demo's records in {place.records}; people, building, instruments and numbers are invented.",
        (
            f"Imported {first.records['instrument']} instruments and {first.records['calibration']} certificates from "
            f"{place.into / 'demo-import' / 'register'}; VA-14 was suspended after a fall, TA-05 passed a zero check."
        ),
        (
            f"Imported {second.records['outlet']} outlets and ducts of 3 air systems and {second.records['reading']} readings "
            f"from {place.into / 'demo-import' / 'job'}: grilles, diffusers and valves with vanes and thermal anemometers, "
            "a diffuser with a hood, ducts traversed with a pitot-static tube and a thermal probe."
        ),
        "Issued revision 1 of the report; found the outlet factor G4 from four traverses of a branch, and amended S1-6 to use it.",
        *(f"Refused 1 reading, at {refusal.outlet}: {'; '.join(refusal.reasons)}." for refusal in second.refusals),
    ]
