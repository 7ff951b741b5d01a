"""The ledger."""

from typing import ClassVar

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row


class LedgerEntry(Row, table=True):
    """One write: the chain that makes a change behind the program's back visible."""

    __tablename__: ClassVar[str] = "ledger"
    __table_args__ = (UniqueConstraint("record_table", "record_id"),)
    sequence: int | None = Field(default=None, primary_key=True)
    time: str
    person: str
    action: str
    record_table: str
    record_id: int
    record_digest: str  # SHA-256 of the record's bytes
    previous: str = Field(unique=True)  # digest of the entry before; unique, so the chain cannot fork
    digest: str = Field(unique=True)  # SHA-256 of this entry's bytes, `previous` among them
    version: str | None = None  # of the program that wrote it
