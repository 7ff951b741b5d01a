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


def validations(session: Session) -> list[ValidationOnRecord]:
    """Every validation, in the order in which they were recorded, without what each check gave."""
    own = SoftwareValidation
    columns = (own.id, own.at, own.version, own.platform, own.result, own.checks, own.sha256)
    rows: Sequence[Any] = session.exec(select(*columns).order_by(col(own.id))).all()  # type: ignore[call-overload]
    return [ValidationOnRecord(*(*row, ledger.written(session, "validation", key(row[0]))[0])) for row in rows]


def latest_validation(session: Session, version: str) -> ValidationOnRecord | None:
    """The last validation of a version of the program; None where it has none."""
    return next((each for each in reversed(validations(session)) if each.version == version), None)
