"""Attach files to instruments, calibrations, jobs and competences, photographs to readings and outlets.

Bytes as they are, once, under the SHA-256 of their content; of a photograph (`photograph`) what is left of them.
What kind of file it is, its content says and not its name.

PDF with its end mark, PNG with its last chunk, JPEG with its end mark, XML that parses and declares no entity. 25 MB are 25,000,000
bytes.
"""

import hashlib
from dataclasses import dataclass
from xml.parsers import expat

from sqlmodel import Session, select

from calib.errors import BadInputError, Finding
from calib.procedures.on_record.attached_files import JPEG, PDF, PNG, XML, as_it_was
from calib.procedures.on_record.by_name import calibration_numbered, digest_meant, instrument_tagged
from calib.procedures.on_record.jobs_by_name import job_named, outlet_named, typed_in_job
from calib.procedures.on_record.taken_back import against_taken_back
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.people.authorise import append
from calib.procedures.typed.declared_xml import parser_without_declarations
from calib.procedures.typed.sheets import FileContent
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.files import Attached, Attachment
from calib.records.tables.readings import Reading

_PNG_START, _PNG_END = b"\x89PNG\r\n\x1a\n", b"IEND\xaeB`\x82"
_JPEG_START, _JPEG_END = b"\xff\xd8\xff", b"\xff\xd9"


@dataclass(frozen=True)
class FileRead:
    """A file that may be kept."""

    name: str
    media_type: str
    sha256: str
    content: bytes


@dataclass(frozen=True)
class FileKept:
    """A file of the records, without its content."""

    name: str
    media_type: str
    sha256: str
    remarks: str | None
    attached: bool  # False: it was attached to the same record before


def media_type(content: bytes) -> str | None:
    """PDF, PNG, JPEG or XML by content; None for another kind, for one that is cut short, and for XML that declares entities."""
    if content.startswith(b"%PDF-"):
        return PDF if b"%%EOF" in content[-1024:] else None
    if content.startswith(_PNG_START):
        return PNG if content[12:16] == b"IHDR" and _PNG_END in content[-64:] else None
    if content.startswith(_JPEG_START):
        return JPEG if _JPEG_END in content[-4096:] else None  # cameras write a little behind the end
    return XML if _is_xml(content) else None


def _is_xml(content: bytes) -> bool:
    if not content.lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n").startswith(b"<"):
        return False
    try:
        parser_without_declarations().Parse(content, True)
    except (expat.ExpatError, ValueError, LookupError):
        return False
    return True


def attachable(
    file: FileContent, wanted: str = "a whole PDF, PNG, JPEG or XML file, judged by its content"
) -> FileRead:
    """A file that may be kept; raises BadInputError, naming it and what was wanted, for one that may not."""
    kind = None if file.expected is not None else media_type(file.content)
    if kind is None:
        raise BadInputError([Finding(file.source, None, None, None, file.expected or wanted)])
    return FileRead(file.name, kind, hashlib.sha256(file.content).hexdigest(), file.content)


def attach_to_instrument(
    session: Session, tag: str, file: FileRead, remarks: str | None, signature: ledger.Signature
) -> FileKept:
    """Keep a file with an instrument; raises NotInRecordsError."""
    return _attach(session, file, {"instrument_id": key(instrument_tagged(session, tag).id)}, remarks, signature)


def attach_to_calibration(
    session: Session, tag: str, certificate: str, file: FileRead, remarks: str | None, signature: ledger.Signature
) -> FileKept:
    """Keep a file with a calibration; raises NotInRecordsError."""
    calibration = calibration_numbered(session, instrument_tagged(session, tag), certificate)
    return _attach(session, file, {"calibration_id": key(calibration.id)}, remarks, signature)


def attach_to_job(
    session: Session, job: str, file: FileRead, remarks: str | None, signature: ledger.Signature
) -> FileKept:
    """Keep a file with a job, say the client's agreement to its decision rule; raises NotInRecordsError."""
    return _attach(session, file, {"job_id": key(job_named(session, job).id)}, remarks, signature)


def attach_to_reading(
    session: Session, job: str, reading_id: int, picture: FileRead, remarks: str | None, signature: ledger.Signature
) -> FileKept:
    """Keep a photograph (`photograph`) with a reading of a job; raises NotInRecordsError, BadInputError for one withdrawn."""
    reading, _ = typed_in_job(session, job, Reading, reading_id)
    withdrawn = against_taken_back(session, Reading, reading_id, "reading")
    if withdrawn:
        raise BadInputError(withdrawn)
    return _attach(session, picture, {"reading_id": key(reading.id)}, remarks, signature)


def attach_to_outlet(
    session: Session, job: str, outlet: str, picture: FileRead, remarks: str | None, signature: ledger.Signature
) -> FileKept:
    """Keep a photograph (`photograph`) with an outlet or duct of a job; raises NotInRecordsError."""
    return _attach(session, picture, {"outlet_id": key(outlet_named(session, job, outlet).id)}, remarks, signature)


def attach_to_competence(session: Session, competence_id: int, file: FileRead, signature: ledger.Signature) -> FileKept:
    """Keep a file as the evidence of a competence."""
    return _attach(session, file, {"competence_id": competence_id}, None, signature)


def kept_attachment(session: Session, file: FileRead, signature: ledger.Signature) -> int:
    """The key of a file that is kept once, under its digest."""
    attachment_id = session.exec(select(Attachment.id).where(Attachment.sha256 == file.sha256)).first()
    if attachment_id is None:
        record = Attachment(**vars(file))
        append(session, [record], signature)
        attachment_id = key(record.id)
    return attachment_id


def _attach(
    session: Session, file: FileRead, owner: dict[str, int], remarks: str | None, signature: ledger.Signature
) -> FileKept:
    attachment_id = kept_attachment(session, file, signature)
    column, owned = next(iter(owner.items()))
    there = select(Attached.id).where(Attached.attachment_id == attachment_id, getattr(Attached, column) == owned)
    there = there.where(not_retracted(Attached))
    is_new = session.exec(there).first() is None
    if is_new:
        append(session, [Attached(attachment_id=attachment_id, remarks=remarks or None, **owner)], signature)
    return FileKept(file.name, file.media_type, file.sha256, remarks, is_new)


def kept_file(session: Session, digest: str) -> Attachment:
    """A file of the records by its SHA-256, or by the beginning of it where that is enough.

    Raises NotInRecordsError, and RecordsError where the content is no longer what it was.
    """
    own = digest_meant(digest, session.exec(select(Attachment.sha256)), "file in the records", "files in the records")
    file = session.exec(select(Attachment).where(Attachment.sha256 == own)).one()
    as_it_was(file.name, file.sha256, file.content)
    return file
