"""Certificates that their laboratory reissued: which of two counts, and what is said of both.

The old certificate counts until the new one is accepted, and for nothing from then on, at no time; where the new one is withdrawn
it counts again. So no time is without a certificate.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlalchemy import and_, exists
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.recorded import entry_of
from calib.records.record import RecordCells
from calib.records.tables.calibrations import Acceptance, Calibration, Withdrawal
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.supersessions import Supersession


def took_its_place() -> Any:
    """A condition on supersessions joined with calibrations, which are the old ones: the new certificate counts in its place."""
    accepted, withdrawn, new = aliased(Acceptance), aliased(Withdrawal), Supersession.calibration_id
    return and_(
        col(Supersession.old_calibration_id) == Calibration.id,
        select(accepted.id).where(col(accepted.calibration_id) == new).exists(),
        ~select(withdrawn.id).where(col(withdrawn.calibration_id) == new).exists(),
    )


def reissued_and_waiting() -> Any:
    """A column beside calibrations: the certificate that takes the place of one once it is accepted; null where none waits."""
    accepted, withdrawn, waiting, new = (
        aliased(Acceptance),
        aliased(Withdrawal),
        aliased(Supersession),
        aliased(Calibration),
    )
    reissued = select(new.certificate).join(waiting, col(waiting.calibration_id) == new.id)
    return (
        reissued.where(waiting.old_calibration_id == Calibration.id)
        .where(~exists().where(col(accepted.calibration_id) == new.id))
        .where(~exists().where(col(withdrawn.calibration_id) == new.id))
        .correlate(Calibration)
        .scalar_subquery()
    )


@dataclass(frozen=True)
class TakenPlace:
    """The place of a certificate that a reissued one takes, once it is accepted."""

    supersession: Supersession
    old: Calibration
    acceptance: Acceptance | None  # of the old one


def place_of(session: Session, calibration: int) -> TakenPlace | None:
    """The place that a certificate takes; None where it reissues none."""
    query = (
        select(Supersession, Calibration, Acceptance)
        .join(Calibration, col(Calibration.id) == Supersession.old_calibration_id)
        .outerjoin(Acceptance, col(Acceptance.calibration_id) == Calibration.id)
        .where(Supersession.calibration_id == calibration)
        .order_by(col(Supersession.id))
    )
    first = session.exec(query).first()
    return None if first is None else TakenPlace(*first)


def in_place_of(old: str, reason: str) -> str:
    """Why the acceptance of a reissued certificate holds from the day of the old one's."""
    return f"takes the place of {old}: {reason.strip()}"


def superseded_among(session: Session, calibrations: Collection[int]) -> dict[int, RecordCells]:
    """By which certificate each of some is superseded, when, by whom and why, and whether that one counts; by the old one."""
    new = aliased(Calibration)
    query = (
        select(Supersession, new.certificate, LedgerEntry.person, LedgerEntry.time, Acceptance.id, Withdrawal.id)  # type: ignore[call-overload]
        .select_from(Supersession)
        .join(new, col(new.id) == Supersession.calibration_id)
        .join(LedgerEntry, entry_of(Supersession))
        .outerjoin(Acceptance, col(Acceptance.calibration_id) == Supersession.calibration_id)
        .outerjoin(Withdrawal, col(Withdrawal.calibration_id) == Supersession.calibration_id)
    )
    return {
        row.old_calibration_id: {
            "by_certificate": certificate,
            "at": time,
            "by": person,
            "reason": row.reason,
            "same_values": row.same_values == "yes",
            "counts": accepted is not None and withdrawn is None,
        }
        for row, certificate, person, time, accepted, withdrawn in by_keys(
            session, query, Supersession.old_calibration_id, calibrations
        )
    }
