"""Writing as every face does it: afterwards the issued reports are asked whether they still say what the records do."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sqlmodel import Session

from calib.clock import clock
from calib.records import database, ledger
from calib.records.database import OpenRecords
from calib.records.ledger import Signature


@contextmanager
def watched_writing(
    records: str | OpenRecords, signature: Callable[[], Signature], tell: Callable[[str], None]
) -> Iterator[Session]:
    """A session whose writes become durable together when the block ends; reports that they contradict are told of within it."""
    with database.writing(records) as session:
        since, _ = ledger.ledger_head(session)
        yield session
        # What was tried alone was taken back already.
        if session.in_transaction() and ledger.ledger_head(session)[0] > since:
            # Within: it brings the evaluation and numpy with it.
            from calib.procedures.report.watch_issued import watch_issued  # noqa: PLC0415

            for told in watch_issued(session, since, signature(), clock()):
                tell(told)
