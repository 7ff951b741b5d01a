"""A certificate comes in: a sheet, a file as XML, or typed; what would be recorded is seen before it is written.

The form holds what was sent, so that nothing waits on the program's side: rows of a sheet become rows of the form, and a file as
XML goes along with it until it is kept.
"""

import base64
import binascii
from collections.abc import Mapping, Sequence

from sqlmodel import Session

from calib.errors import BadInputError, CalibError, Finding
from calib.faces.answers import recorded_certificate as answer
from calib.faces.files import LARGEST_FILE
from calib.faces.pages.certificate import certificate_shown
from calib.faces.pages.frame.door import AROUND_A_FILE, LARGEST_SENT
from calib.faces.pages.frame.form import FormField, choices, label_of
from calib.faces.pages.frame.routes import Filled, Goto, Outcome, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.written import Content
from calib.procedures.calibrate.add_calibration import add_calibration, must_be_new
from calib.procedures.calibrate.read_calibration import CalibrationRead, read_calibration, record_read_calibration
from calib.procedures.fleet.attach_file import media_type
from calib.procedures.on_record.attached_files import XML
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.procedures.typed.comparison_sheets import comparison_columns, read_comparisons
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.declared.calibrations import (
    CALIBRATIONS_CSV,
    CERTIFICATE_STATES,
    COMPARISON_CELLS,
    COMPARISONS_CSV,
)
from calib.procedures.typed.sheets import FileContent, HowToRead, TypedRow
from calib.records.record import typed
from calib.records.words import PHASES

pages = Pages()
CERTIFICATE_IN = "/instruments/{tag:name}/certificate-in"
_LARGEST_XML = LARGEST_SENT * 3 // 4  # [byte]: it goes along with the form in signs of six bits
_LEAST_ROWS, _MORE_ROWS, _MOST_ROWS = 8, 3, 60  # of comparisons in the form
_FIRST = ("phase", "unit")
_AS_BEFORE = ("phase", "unit", "indication_unit", "coverage_factor")  # where they are left out in a row


@pages.shows(CERTIFICATE_IN, act="record")
def certificate_in(visit: Visit, tag: str) -> Filled:
    """The form, with what was sent in it."""
    session = visit.reading()
    instrument = typed(instrument_tagged(session, tag))
    try:
        xml, rows = _xml(visit), _rows(visit, tag, [])
        read = None if xml is None else read_calibration(session, tag, xml)
    except CalibError:  # said already, by what took the form
        xml, rows, read = None, _typed_rows(visit, tag), None
    return _filled(visit, instrument, rows, xml, read)


@pages.takes(CERTIFICATE_IN, again=certificate_in, act="record", largest=LARGEST_FILE + AROUND_A_FILE)
def take_in(visit: Visit, tag: str) -> Outcome:
    """Show what would be recorded, or record it."""
    notices: list[str] = []
    cells = _stated(visit)
    with visit.writing_last() as session:
        instrument = typed(instrument_tagged(session, tag))
        xml = _xml(visit)
        read = None if xml is None else read_calibration(session, tag, xml)
        rows = _rows(visit, tag, notices) if read is None else []
        cells |= {"tag": tag, "certificate": cells["certificate"] or _numbered(read)}
        if not cells["certificate"]:
            raise BadInputError([Finding.typed("certificate", None, CALIBRATIONS_CSV.by_name["certificate"].meaning)])
        must_be_new(session, tag, cells["certificate"])
        on_file = _recorded(visit, session, cells, rows, read, notices)
        if visit.form["do"] == "keep":
            said = [answer.recorded(answer.document(on_file)), *notices]
            return Goto(address("/instruments/{}/certificates/{}", tag, cells["certificate"]), said)
        shown = certificate_shown(on_file)
        session.rollback()
    return _filled(visit, instrument, rows, xml, read, {"shown": shown, "notices": notices})


def _recorded(
    visit: Visit,
    session: Session,
    cells: Mapping[str, str | None],
    rows: Sequence[TypedRow],
    read: CalibrationRead | None,
    notices: list[str],
) -> CalibrationOnFile:
    signature = visit.signature("page certificate")
    if read is not None:
        phases = [visit.form[f"result_{place}"] for place in range(1, len(read.results) + 1)]
        chosen = [phase for phase in phases if phase]
        return record_read_calibration(session, read, cells, chosen, signature, visit.at, notices.append)
    if not rows:
        raise BadInputError([Finding.typed("reference", None, "at least one comparison, typed or in a file")])
    return add_calibration(session, cells, rows, None, signature, visit.at, notices.append, sure=visit.form.is_sure)


# --- what was sent ---------------------------------------------------------------------------------------------------------------


def _stated(visit: Visit) -> dict[str, str | None]:
    """What the certificate states beside its comparisons, as it is meant; an acceptance is another act."""
    declared = CALIBRATIONS_CSV.by_name
    return dict.fromkeys(declared) | visit.form.meant(declared[name] for name in ("certificate", *CERTIFICATE_STATES))


def _xml(visit: Visit) -> FileContent | None:
    """A certificate as XML: chosen now, or gone along with the form."""
    upload, carried = visit.form.file("file"), visit.form["xml"]
    if upload is not None and media_type(upload.content) == XML:
        if len(upload.content) > _LARGEST_XML:
            expected = f"a certificate as XML of at most {_LARGEST_XML // 1000} kB"
            raise BadInputError([Finding.typed("file", upload.name, expected)])
        return FileContent(upload.name, upload.content)
    if upload is None and carried:
        try:
            return FileContent(visit.form["xml_name"], base64.b64decode(carried, validate=True))
        except binascii.Error:
            raise BadInputError([Finding.typed("file", None, "the certificate, chosen once more")]) from None
    return None


def _rows(visit: Visit, tag: str, notices: list[str]) -> list[TypedRow]:
    """Comparisons of a sheet that was chosen now, or as they were typed."""
    upload = visit.form.file("file")
    if upload is None or media_type(upload.content) == XML:
        return _typed_rows(visit, tag)
    reading = HowToRead()
    content = FileContent(upload.name, upload.content)
    rows, findings = read_comparisons(content, tag, visit.form["certificate"], comparison_columns(), None, reading)
    notices += reading.notices
    if len(rows) > _MOST_ROWS:
        findings.append(Finding.typed("file", upload.name, f"a sheet of at most {_MOST_ROWS} comparisons"))
    if findings:
        raise BadInputError(findings)
    return rows


def _typed_rows(visit: Visit, tag: str) -> list[TypedRow]:
    """Rows that were filled; what each leaves out of unit, phase and k is that of the row before."""
    named = {"tag": tag, "certificate": visit.form["certificate"].strip()}
    columns = [column for column in COMPARISONS_CSV if column.name not in named]
    rows: list[TypedRow] = []
    before: dict[str, str] = {}
    for place in range(1, _MOST_ROWS + _MORE_ROWS + 1):
        cells = visit.form.meant(columns, f"_{place}")
        if set(cells) - set(_FIRST):
            before = {name: cells.get(name, before.get(name, "")) for name in _AS_BEFORE}
            whole = named | {name: cell for name, cell in (before | cells).items() if cell}
            rows.append(TypedRow(None, len(rows) + 1, whole, given=frozenset(named)))
    return rows


def _numbered(read: CalibrationRead | None) -> str | None:
    """The number that a file as XML says by itself."""
    return None if read is None or not read.certificate.numbers else read.certificate.numbers[0].value


# --- what is shown ---------------------------------------------------------------------------------------------------------------


def _filled(
    visit: Visit,
    instrument: Mapping[str, object],
    rows: Sequence[TypedRow],
    xml: FileContent | None,
    read: CalibrationRead | None,
    preview: Content | None = None,
) -> Filled:
    tag = str(instrument["tag"])
    filled = {name for row in rows for name in row.cells}
    own = {*_FIRST, *COMPARISON_CELLS, *filled, *(("indication_unit",) if instrument["indication_quantity"] else ())}
    columns = [each for each in COMPARISONS_CSV if each.name in own and each.name not in ("tag", "certificate")]
    places = range(1, max(len(rows) + _MORE_ROWS, _LEAST_ROWS) + 1)
    by_place = dict(enumerate(rows, start=1))
    start = {"phase": PHASES[0], "unit": str(instrument["unit"]), "coverage_factor": "2"} if not rows else {}
    content = {
        "tag": tag,
        "instrument": instrument,
        "stated": [_field(CALIBRATIONS_CSV.by_name[name]) for name in ("certificate", *CERTIFICATE_STATES)],
        "columns": [_field(column) for column in columns],
        "rows": [
            (place, by_place[place].cells if place in by_place else start if place == 1 else {}) for place in places
        ],
        "wrong_cells": {(finding.row, finding.column) for finding in visit.form.findings if finding.source is None},
        "phases_shown": choices(PHASES, may_be_blank=True),
        "xml": None if xml is None else {"name": xml.name, "content": base64.b64encode(xml.content).decode("ascii")},
        "results": [] if read is None else list(enumerate(read.results, start=1)),
        "seen": preview,
    }
    return Filled("certificate_in.html", content, title=f"A certificate of {tag}")


def _field(column: TypedColumn) -> FormField:
    """A column of the declaration as a field: what it is called, what it means, and the words that it may be."""
    words = column.check("") or ""
    told = f"{column.meaning}; {words}" if words.startswith("one of ") else column.meaning
    return FormField(column.name, label_of(column.name), told, required=column.required)
