"""Files kept with instruments, calibrations, readings and outlets, as the records hold them."""

import hashlib
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, func, select

from calib.errors import RecordsError, Step
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import key
from calib.records.tables.files import Attached, Attachment

PDF, PNG, JPEG, XML = "application/pdf", "image/png", "image/jpeg", "application/xml"
PHOTOS = (PNG, JPEG)


def files_of(session: Session, owner: Any, keys: Collection[int]) -> dict[int, list[dict[str, Any]]]:
    """Files of each instrument, calibration, reading or outlet, in the order in which they were attached, without their content.

    `owner` is the column of `Attached` that holds the keys.
    """
    columns = (owner, Attachment.name, Attachment.media_type, Attachment.sha256, Attached.remarks)
    query = select(*columns).join(Attached).where(not_retracted(Attached))  # type: ignore[call-overload]
    query = query.order_by(col(Attached.id))
    files: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for owner_id, name, kind, sha256, remarks in by_keys(session, query, owner, keys):
        files[owner_id].append({"name": name, "media_type": kind, "sha256": sha256, "remarks": remarks})
    return files


@dataclass(frozen=True)
class Photo:
    """A photo of an instrument."""

    name: str
    media_type: str
    remarks: str | None
    content: bytes


def photos_of(session: Session, tag: str) -> list[Photo]:
    """Photos kept with an instrument, PNG and JPEG, in the order in which they were attached; raises NotInRecordsError."""
    query = (
        select(Attachment.name, Attachment.media_type, Attached.remarks, Attachment.content)
        .join(Attached)
        .where(Attached.instrument_id == instrument_tagged(session, tag).id, col(Attachment.media_type).in_(PHOTOS))
        .where(not_retracted(Attached))
        .order_by(col(Attached.id))
    )
    return [Photo(*row) for row in session.exec(query)]


def photo_counts(session: Session, instruments: Collection[int]) -> dict[int, int]:
    """Number of photos by the key of each of the instruments that has any."""
    query = (
        select(Attached.instrument_id, func.count())
        .join(Attachment)
        .where(col(Attached.instrument_id).in_(instruments), col(Attachment.media_type).in_(PHOTOS))
        .where(not_retracted(Attached))
        .group_by(col(Attached.instrument_id))
    )
    return {key(instrument_id): count for instrument_id, count in session.exec(query)}


def as_it_was(name: str, sha256: str, content: bytes) -> bytes:
    """The content of a file of the records; raises RecordsError where it is no longer what it was."""
    if hashlib.sha256(content).hexdigest() != sha256:
        raise RecordsError(f"the content of file {name} is no longer what it was: {Step.VERIFY} names it")
    return content


def photographs_at(session: Session, outlet: int, readings: Collection[int]) -> list[dict[str, Any]]:
    """Photographs kept with an outlet and with some of its readings, without their content."""
    of_readings = files_of(session, Attached.reading_id, readings)
    own = files_of(session, Attached.outlet_id, [outlet])[outlet]
    return [{"reading": None, **file} for file in own] + [
        {"reading": reading, **file} for reading, files in sorted(of_readings.items()) for file in files
    ]
