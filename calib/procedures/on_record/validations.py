"""Validations of the program as the records hold them (ISO/IEC 17025:2017, 7.11.2)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, select

from calib.records import ledger
from calib.records.record import key
from calib.records.tables.reports import SoftwareValidation

PASSED, FAILED = "passed", "failed"


@dataclass(frozen=True)
class ValidationOnRecord:
    """The published checks as the program passed or failed them on a machine."""

    record_id: int
    at: str
    version: str
    platform: str
    result: str  # PASSED or FAILED
    checks: int
    sha256: str  # of what each check gave
    by: str


def validations(session: Session, version: str | None = None) -> list[ValidationOnRecord]:
    """Validations in the order in which they were recorded, without what each check gave: all, or the last of a version."""
    own = SoftwareValidation
    columns = (own.id, own.at, own.version, own.platform, own.result, own.checks, own.sha256)
    query = select(*columns)  # type: ignore[call-overload]
    if version is None:
        query = query.order_by(col(own.id))
    else:  # a report asks for one, however many there are
        query = query.where(own.version == version).order_by(col(own.id).desc()).limit(1)
    rows: Sequence[Any] = session.exec(query).all()
    return [ValidationOnRecord(*(*row, ledger.written(session, "validation", key(row[0]))[0])) for row in rows]


def latest_validation(session: Session, version: str) -> ValidationOnRecord | None:
    """The last validation of a version of the program; None where it has none."""
    return next(iter(validations(session, version)), None)
