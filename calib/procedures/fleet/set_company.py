"""Say what the company is called and where it is, for its reports and labels. What was said before stays on record."""

from sqlmodel import Session, col, select

from calib.errors import BadInputError, Finding
from calib.procedures.fleet.attach_file import FileRead, kept_attachment
from calib.procedures.fleet.photograph import COLOURS, MOST_PIXELS, colours_of
from calib.procedures.on_record.attached_files import PHOTOS
from calib.procedures.on_record.company import CompanyOnRecord, company_on_record
from calib.procedures.people.authorise import append
from calib.records import ledger
from calib.records.tables.company import Company

_NEEDED = ("name", "address")
_LONGEST = 200  # signs of a text, which stands at the head of each report
LARGEST_MARK = 1_000_000  # bytes, since each report holds it
MARK = "a picture, PNG or JPEG, of at most 1 MB"


def set_company(
    session: Session,
    name: str | None,
    address: str | None,
    contact: str | None,
    base_address: str | None,
    mark: FileRead | None,
    signature: ledger.Signature,
    *,
    without_mark: bool = False,
) -> CompanyOnRecord:
    """Append what the company is called from now on; raises BadInputError with every finding.

    What is not said (None) stays as it is on record; a blank contact or base address is taken out. The mark is a PNG or a JPEG of
    at most 1 MB that can be drawn; `without_mark`: the one on record is taken away.
    """
    cells = {"name": name, "address": address, "contact": contact, "base_address": base_address}
    last = session.exec(select(Company).order_by(col(Company.id).desc()).limit(1)).first()
    before = {} if last is None else {column: getattr(last, column) for column in (*cells, "mark_attachment_id")}
    said = {column: cell.strip() for column, cell in cells.items() if cell is not None}
    findings = [
        Finding.typed(column, cells[column], expected)
        for column, cell in (dict.fromkeys(_NEEDED) | before | said).items()
        if (column in said or column in _NEEDED) and (expected := _expected_of(column, cell)) is not None
    ]
    if without_mark and (mark is not None or not before.get("mark_attachment_id")):
        expected = "nothing beside a mark that is taken away" if mark is not None else "nothing: no mark is on record"
        findings.append(Finding.typed("without_mark", None, expected))
    if not said and mark is None and not without_mark and before:
        findings.append(Finding.typed(None, None, "what is to change"))
    expected = None if mark is None else _expected_of_mark(mark)
    if mark is not None and expected is not None:
        findings.append(Finding.typed("mark", mark.name, expected))
    if findings:
        raise BadInputError(findings)
    row = before | {column: cell or None for column, cell in said.items()}
    if without_mark:
        row["mark_attachment_id"] = None
    if mark is not None:
        row["mark_attachment_id"] = kept_attachment(session, mark, signature)
    append(session, [Company.model_validate(row)], signature)
    session.flush()
    company = company_on_record(session)
    assert company is not None  # noqa: S101 (it was written a line ago)
    return company


def _expected_of(column: str, cell: str | None) -> str | None:
    """What a text of the company should have been; None where it is right."""
    if not cell:
        return "a text that is not blank" if column in _NEEDED else None
    if len(cell) > _LONGEST or not cell.isprintable():
        return f"one line of at most {_LONGEST} signs"
    if column == "base_address" and not cell.startswith(("https://", "http://")):
        return "an address that begins with https:// or http://"
    return None


def _expected_of_mark(mark: FileRead) -> str | None:
    """What a mark should have been; None where it is right."""
    if mark.media_type in PHOTOS and len(mark.content) <= LARGEST_MARK:
        colours = colours_of(mark.content)
        if colours is None:
            return f"a picture that can be drawn, of at most {MOST_PIXELS:,} pixels"
        return None if colours in COLOURS else "a picture in RGB or grey"
    return MARK
