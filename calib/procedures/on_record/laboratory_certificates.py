"""Certificates that laboratories sign with, as they count now: trusted, or no longer; and what was found of signatures on files."""

from collections.abc import Collection
from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import RecordCells
from calib.records.tables.files import Attached, Attachment
from calib.records.tables.signatures import LaboratoryCertificate, SignatureVerdict
from calib.records.words import TRUSTED


@dataclass(frozen=True)
class LaboratoryCertificateOnFile:
    """One certificate of a laboratory with all that was recorded of it, the last one counting."""

    recorded: tuple[LaboratoryCertificate, ...]

    @property
    def latest(self) -> LaboratoryCertificate:
        """What counts."""
        return self.recorded[-1]

    @property
    def is_trusted(self) -> bool:
        """Whether a signature made with it is verified by it."""
        return self.latest.kind == TRUSTED


def laboratory_certificates(session: Session) -> list[LaboratoryCertificateOnFile]:
    """Every certificate on record, by laboratory and in the order in which they were first recorded."""
    own: dict[str, list[LaboratoryCertificate]] = {}
    for each in session.exec(select(LaboratoryCertificate).order_by(col(LaboratoryCertificate.id))):
        own.setdefault(each.sha256, []).append(each)
    on_file = [LaboratoryCertificateOnFile(tuple(recorded)) for recorded in own.values()]
    return sorted(on_file, key=lambda each: each.latest.laboratory.casefold())


def verdicts_of_calibrations(session: Session, calibrations: Collection[int]) -> dict[int, list[RecordCells]]:
    """What was found last of the signature on each file of some calibrations, by calibration; none of files that were not read."""
    asked = (
        select(Attached.calibration_id, Attachment.name, Attachment.sha256, SignatureVerdict, LaboratoryCertificate)  # type: ignore[call-overload]
        .join(Attachment, col(Attached.attachment_id) == Attachment.id)
        .join(SignatureVerdict, col(SignatureVerdict.attachment_id) == Attachment.id)
        .outerjoin(LaboratoryCertificate, col(SignatureVerdict.laboratory_certificate_id) == LaboratoryCertificate.id)
        .where(not_retracted(Attached))
        .order_by(col(Attached.id), col(SignatureVerdict.id))
    )
    latest: dict[int, dict[str, RecordCells]] = {}
    for calibration_id, name, sha256, verdict, certificate in by_keys(
        session, asked, Attached.calibration_id, calibrations
    ):
        latest.setdefault(calibration_id, {})[sha256] = {
            "file": name,
            "sha256": sha256,
            "verdict": verdict.verdict,
            "signer": verdict.signer,
            "laboratory": None if certificate is None else certificate.laboratory,
        }
    return {calibration_id: list(own.values()) for calibration_id, own in latest.items()}
