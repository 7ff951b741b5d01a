"""Which of several records of one thing counts: the latest. The earlier ones stay, to be traced back.

Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be tracked to previous versions, both are kept), from memory. The ledger only
appends, so the key of a record, or its revision, says which of two is the later one.

A curve "by the rule" that was written after the acceptance of its certificate counts for nothing: whoever accepted it has not seen
it, and the program writes none. So a false one, put in past the program, is not used where the gate is asked; one put in before
the acceptance is fitted anew there, and refused.

Decision (2026-11). Options: each curve in use fitted anew wherever the gate is asked (0.5 s of imports for `ready` and `due`, 1 to
4 ms a certificate), the role of whoever wrote it (a technician may write one). Cost: two look-ups in the ledger's index for each
certificate, 2.6 µs each of 4,213; who can forge an acceptance too is found by `verify` and at the issue, not by the gate.

What somebody took back (`retraction`) counts for nothing, at no time; what took its place is a record of its own. Whatever reads a
table of RETRACTABLE for what counts asks `not_retracted`; what shows how it came about, `calib.procedures.on_record.taken_back`.

Decision (2026-11-29). A retraction is asked row by row in the index of its table and key. Options: a set of keys read before (a
second statement for each reader), a list (`NOT IN`, read whole each time). Cost: one look-up a row.

A curve on trial counts in the place of the one on record, for one session and while somebody works out what would be: it is held
in memory alone, so that no store is asked whether its owner may write it. Whatever reads the curve that counts asks `on_trial`.

Nothing heavy is imported here: `calib due` starts with it.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from typing import Any, TypeVar

from sqlalchemy import and_, exists, not_, or_
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, func, select

from calib.procedures.on_record.supersessions import took_its_place
from calib.records.tables.calibrations import Acceptance, Calibration, Withdrawal
from calib.records.tables.curves import StoredCurve
from calib.records.tables.entries import Retraction
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.supersessions import Supersession
from calib.records.words import BY_THE_RULE

_Record = TypeVar("_Record")
_Thing = TypeVar("_Thing", bound=Hashable)
_TRIALS = "curves on trial"  # in what a session carries along


def that_count(records: Iterable[_Record], of: Callable[[_Record], _Thing]) -> dict[_Thing, _Record]:
    """The record that counts of each thing, by the thing; `records` in the order in which they were recorded."""
    return {of(record): record for record in records}


def after_acceptance(table: Any) -> Any:
    """A condition on records of a certificate: they were written after its acceptance."""
    accepted, own, closing = aliased(Acceptance), aliased(LedgerEntry), aliased(LedgerEntry)
    return exists().where(
        col(accepted.calibration_id) == table.calibration_id,
        and_(col(closing.record_table) == Acceptance.__tablename__, col(closing.record_id) == accepted.id),
        and_(col(own.record_table) == table.__tablename__, col(own.record_id) == table.id),
        col(own.sequence) > closing.sequence,
    )


@cache  # made once: a register asks it of each certificate
def curve_may_count() -> Any:
    """A condition on curves: a person chose it, or the rule made it before the certificate was accepted."""
    return or_(col(StoredCurve.chosen_by) != BY_THE_RULE, not_(after_acceptance(StoredCurve)))


def curves_of(session: Session, calibration: int) -> tuple[StoredCurve, ...]:
    """Curves of a calibration in the order in which they were recorded, then the one on trial: of several the last one counts."""
    own = select(StoredCurve).where(StoredCurve.calibration_id == calibration, curve_may_count())
    trial = on_trial(session).get(calibration)
    return (*session.exec(own.order_by(col(StoredCurve.id))), *([] if trial is None else [trial]))


def curve_that_counts(session: Session, calibration: int) -> StoredCurve:
    """The curve of a calibration, whether the rule or a person chose it; raises IndexError for a calibration without one."""
    return curves_of(session, calibration)[-1]


@contextmanager
def trials(session: Session) -> Iterator[dict[int, StoredCurve]]:
    """Curves by their calibration that count for this session within the block: put them in."""
    session.info[_TRIALS] = {}
    try:
        yield session.info[_TRIALS]
    finally:
        del session.info[_TRIALS]


def on_trial(session: Session) -> Mapping[int, StoredCurve]:
    """The curves that are put on trial in this session, by their calibration; they are on no record."""
    curves: Mapping[int, StoredCurve] = session.info.get(_TRIALS, {})
    return curves


def counts_of_its_calibration() -> Any:
    """The same as a condition on calibrations joined with curves: the curve is the latest of its calibration."""
    latest = select(func.max(StoredCurve.id)).where(StoredCurve.calibration_id == Calibration.id, curve_may_count())
    return col(StoredCurve.id) == latest.correlate(Calibration).scalar_subquery()


def not_withdrawn() -> Any:
    """A condition on calibrations: whatever asks which of them counts leaves out those that were withdrawn or superseded."""
    superseded = select(Supersession.id).where(took_its_place()).correlate(Calibration)
    return and_(col(Calibration.id).not_in(select(Withdrawal.calibration_id)), ~superseded.exists())


def not_retracted(table: Any) -> Any:
    """A condition on records of a table: nobody took them back."""
    same_table = col(Retraction.record_table) == table.__tablename__
    return not_(select(Retraction.id).where(same_table, col(Retraction.record_id) == table.id).exists())
