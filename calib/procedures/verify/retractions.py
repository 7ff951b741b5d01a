"""What retractions say: each names a record that is there, and one that takes its place is of the same thing and later."""

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from sqlmodel import Session, col, select

from calib.procedures.on_record.by_keys import by_keys
from calib.records.tables.entries import Retraction
from calib.records.tables.evidence import EVIDENCE_NAMED
from calib.records.tables.readings import Reading, Refusal
from calib.records.verification import LedgerFinding
from calib.records.words import RETRACTABLE

_TABLES: Mapping[str, Any] = {name: EVIDENCE_NAMED[name] for name in RETRACTABLE}


def retraction_findings(session: Session) -> Iterator[LedgerFinding]:
    """Retractions of nothing, and those in whose place a record of something else, or an earlier one, is put."""
    for name, table in _TABLES.items():
        own = session.exec(select(Retraction).where(Retraction.record_table == name).order_by(col(Retraction.id))).all()
        named = {key for each in own for key in (each.record_id, each.replaced_by_id) if key is not None}
        there = {record.id: record for record in by_keys(session, select(table), table.id, named)}
        for each in own:
            before, after = there.get(each.record_id), there.get(each.replaced_by_id)
            if before is None:
                yield _of(each, f"takes back {name} {each.record_id}, which is not there")
            elif each.replaced_by_id is not None and (after is None or not _takes_its_place(before, after)):
                yield _of(
                    each,
                    f"puts {name} {each.replaced_by_id} in the place of {each.record_id}, which is no revision of it",
                )


def retractions_of(session: Session, numbers: Mapping[str, Collection[int]]) -> set[int]:
    """Keys of the retractions of some records, by table."""
    wanted = [(name, keys) for name, keys in numbers.items() if name in _TABLES and keys]
    return {
        retraction
        for name, keys in wanted
        for retraction in by_keys(
            session, select(Retraction.id).where(Retraction.record_table == name), Retraction.record_id, keys
        )
    }


def _of(retraction: Retraction, problem: str) -> LedgerFinding:
    return LedgerFinding(f"retraction {retraction.id}", problem)


def _takes_its_place(before: Any, after: Any) -> bool:
    """Whether a record is a later revision of another; of tables that count none, whether it was recorded later."""
    if not isinstance(before, Reading | Refusal):
        return bool(after.id > before.id)
    names = ("outlet_id", "instrument_id", "observed_at")
    same = all(getattr(before, name) == getattr(after, name) for name in names)
    return same and (after.revision or 1) == (before.revision or 1) + 1
