"""Record a calibration from a certificate as XML (DCC): read, held against the register and what was typed, then as any other.

First the file is read, its signature before anything else; then a person says which results are as found and which as left, which
the schema does not; then `add_calibration` records it, and the verdict on the signature beside the file as it was received.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation

from sqlmodel import Session, select

from calib.errors import BadInputError, Finding
from calib.procedures.calibrate.add_calibration import add_calibration
from calib.procedures.certificate.fit_curve import quantity_indicated
from calib.procedures.dcc.check_signature import SignatureRead, TrustedCertificate, read_signature
from calib.procedures.dcc.document import read_document
from calib.procedures.dcc.read_certificate import CellRead, CertificateRead, CertificateWanted, read_certificate
from calib.procedures.fleet.attach_file import FileRead, attachable
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.calibrations import CalibrationOnFile, calibration_on_file
from calib.procedures.on_record.laboratory_certificates import laboratory_certificates
from calib.procedures.people.authorise import append
from calib.procedures.typed.sheets import FileContent, typed_row
from calib.records import ledger
from calib.records.record import RecordCells, key, typed
from calib.records.tables.files import Attachment
from calib.records.tables.signatures import SignatureVerdict
from calib.records.words import PHASES, VERIFIED

_NO_FILE_STATES = ("accepted_on", "accepted_by", "criterion", "decision_rule", "judged", "reason", "departure_reason")


@dataclass(frozen=True)
class CalibrationRead:
    """A calibration as a file states it, before anything of it is recorded."""

    file: FileRead
    signature: SignatureRead
    certificate: CertificateRead

    @property
    def results(self) -> list[str]:
        """The results with comparisons, each of one phase."""
        return [result.name for result in self.certificate.results]


def read_calibration(session: Session, tag: str, content: FileContent) -> CalibrationRead:
    """Read a certificate for an instrument of the register; nothing is written.

    Raises NotInRecordsError; BadInputError where the file is none, or its signature is broken. What else is wrong with it is found
    and kept, to be told together with what was typed.
    """
    instrument = typed(instrument_tagged(session, tag))
    trusted = [
        TrustedCertificate(key(each.latest.id), each.latest.laboratory, each.latest.content, each.is_trusted)
        for each in laboratory_certificates(session)
    ]
    if content.expected is not None:
        raise BadInputError([Finding(content.source, None, None, None, content.expected)])
    root, wrong = read_document(content.source, content.content)
    if root is None:
        raise BadInputError(wrong)
    signature, wrong = read_signature(content.source, content.content, root, trusted)
    if not wrong and signature.covered is not None:
        root, wrong = read_document(content.source, signature.covered)
    if wrong or root is None:
        raise BadInputError(wrong)
    wanted = CertificateWanted(
        instrument["quantity"],
        quantity_indicated(instrument),
        instrument["unit"],
        int(instrument["interval_months"]),
    )
    read = read_certificate(root, content.source, wanted)
    read.findings += [*_of_identity(read, instrument), *_of_signer(read, signature)]
    return CalibrationRead(attachable(content), signature, read)


def record_read_calibration(
    session: Session,
    read: CalibrationRead,
    cells: Mapping[str, str | None],
    phases: Sequence[str],
    signature: ledger.Signature,
    now: datetime,
    remark: Callable[[str], None] = lambda _: None,
) -> CalibrationOnFile:
    """Append a calibration that was read, its file and the verdict on its signature; `cells` are those that were typed.

    What is typed too must be what the file says; what the file does not say is taken as typed. Raises as `add_calibration`.
    """
    certificate = read.certificate
    findings = [*certificate.findings, *_of_phases(read, phases), *_of_typed(certificate, cells)]
    if findings:
        raise BadInputError(findings)
    tag, name = cells["tag"] or "", (cells["certificate"] or "").strip()
    stated = {column: cell.value for column, cell in certificate.cells.items()}
    for notice in [*certificate.notices, *_typed_beside(certificate, cells)]:
        remark(f"notice: {notice}")
    rows = [
        typed_row(certificate.source, {"tag": tag, "certificate": name, "phase": phase, **row})
        for result, phase in zip(certificate.results, phases, strict=True)
        for row in result.rows
    ]
    given = frozenset(("tag", "certificate"))
    for row in rows:
        row.given = given
    merged = stated | {column: cell for column, cell in cells.items() if cell is not None}
    whole = dict.fromkeys(cells) | merged
    add_calibration(session, whole, rows, read.file, signature, now, remark, source=certificate.source)
    _keep_verdict(session, read, signature)
    if read.signature.notice is not None:
        remark(f"notice: {read.signature.notice}")
    return calibration_on_file(session, tag, name)


def _keep_verdict(session: Session, read: CalibrationRead, signature: ledger.Signature) -> None:
    attachment_id = session.exec(select(Attachment.id).where(Attachment.sha256 == read.file.sha256)).one()
    verdict = SignatureVerdict(
        attachment_id=key(attachment_id),
        verdict=read.signature.verdict,
        signer=read.signature.signer,
        laboratory_certificate_id=read.signature.record_id,
    )
    append(session, [verdict], signature)


# --- what must agree -------------------------------------------------------------------------------------------------------------


def _of_identity(read: CertificateRead, instrument: RecordCells) -> Iterator[Finding]:
    """The serial number is that of the register, or the certificate is one of another instrument."""
    serial = str(instrument["serial"]).strip()
    if read.serials and serial not in {each.value for each in read.serials}:
        first = read.serials[0]
        said = f"the serial number of {instrument['tag']} in the register, {serial}"
        yield Finding(read.source, None, first.node.path, first.value, said)
    for column, stated in (("maker", read.maker), ("model", read.model)):
        if stated is not None and not _alike(stated, str(instrument[column])):
            read.notices.append(f"{column}: the certificate says {stated!r}, the register {instrument[column]!r}")


def _of_signer(read: CertificateRead, signature: SignatureRead) -> Iterator[Finding]:
    """A certificate that one laboratory signed is not that of another."""
    named = read.cells.get("laboratory")
    if signature.verdict == VERIFIED and named is not None and not _alike(named.value, signature.laboratory or ""):
        expected = f"{signature.laboratory}, whose certificate signed it as QA recorded that"
        yield Finding(read.source, None, named.node.path, named.value, expected)


def _alike(text: str, other: str) -> bool:
    return " ".join(text.split()).casefold() == " ".join(other.split()).casefold()


def _of_phases(read: CalibrationRead, phases: Sequence[str]) -> Iterator[Finding]:
    """As many phases as there are results, each said by a person."""
    names = "; ".join(f"{place}: {name}" for place, name in enumerate(read.results, start=1))
    for phase in phases:
        if phase not in PHASES:
            yield Finding.typed("phase", phase, f"one of {', '.join(PHASES)}")
    if len(phases) != len(read.results) and read.results:
        each = "for each result with comparisons, in this order" if len(read.results) > 1 else "of its result"
        said = f"{' or '.join(PHASES)}, {each} ({names}): the schema does not say it"
        yield Finding.typed("phase", ", ".join(phases), said)


def _of_typed(read: CertificateRead, cells: Mapping[str, str | None]) -> Iterator[Finding]:
    name = (cells["certificate"] or "").strip()
    if read.numbers and name not in {each.value for each in read.numbers}:
        first = read.numbers[0]
        yield Finding.typed("certificate", name, f"{first.value}, as the file says ({first.node.path})")
    for column, cell in cells.items():
        stated = read.cells.get(column)
        if cell is not None and stated is not None and not _same(column, cell, stated):
            yield Finding.typed(column, cell, f"{stated.value}, as the file says ({stated.node.path}), or nothing")


def _same(column: str, typed_cell: str, stated: CellRead) -> bool:
    """Whether a cell that was typed says what the file does; a day by which it is due may be sooner."""
    if column == "due_on":
        return typed_cell <= stated.value
    try:
        return Decimal(typed_cell) == Decimal(stated.value)
    except InvalidOperation:
        return _alike(typed_cell, stated.value)


def _typed_beside(read: CertificateRead, cells: Mapping[str, str | None]) -> Iterator[str]:
    """What was typed and the file does not say."""
    for column, cell in cells.items():
        if cell is not None and column not in {*read.cells, *_NO_FILE_STATES, "tag", "certificate"}:
            yield f"{column}: the file does not say it, {cell!r} is taken as typed"
