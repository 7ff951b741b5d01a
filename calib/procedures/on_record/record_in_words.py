"""A record as a sentence names it: `reading 3`, `suspension 7 of VA-11`, `zero check 2 of VA-11`."""

from collections.abc import Mapping
from typing import Any

from sqlmodel import Session, SQLModel

from calib.records.tables.evidence import EVIDENCE
from calib.records.tables.instruments import Instrument

_TABLES: Mapping[str, type[SQLModel]] = {str(table.__tablename__): table for table in EVIDENCE}
_WORDS = {"system_design": "design", "attached": "attached file"}
_OF_AN_INSTRUMENT = ("event", "intermediate_check")  # these have a kind, and are numbered beside one another


def record_in_words(session: Session, table: str, record_id: int) -> str:
    """Its kind and number, and of an event or a check whose it is."""
    word = _WORDS.get(table, table.replace("_", " "))
    if table not in _OF_AN_INSTRUMENT:
        return f"{word} {record_id}"
    record: Any = session.get_one(_TABLES[table], record_id)
    kind = record.kind if table == "event" else f"{record.kind} check"
    return f"{kind} {record_id} of {session.get_one(Instrument, record.instrument_id).tag}"
