"""How entries came and what became of them: sent by a device, refused, taken back."""

from typing import ClassVar

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_moments, are_not_blank, is_one_of
from calib.records.words import RETRACTABLE


class Retraction(Row, table=True):
    """A record that counts for nothing from then on, or whose place another of its table takes."""

    __tablename__: ClassVar[str] = "retraction"
    __table_args__ = (
        UniqueConstraint("record_table", "record_id"),
        is_one_of("record_table", *RETRACTABLE),
        *are_not_blank("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    record_table: str
    record_id: int
    replaced_by_id: int | None = None  # of the same table; absent: nothing takes its place
    reason: str


class SentEntry(Row, table=True):
    """An entry that a device sent, by the key it gave: sent twice, it is written once."""

    __tablename__: ClassVar[str] = "sent_entry"
    __table_args__ = (*are_not_blank("client_key", "device"), *are_moments("sent_at"))
    id: int | None = Field(default=None, primary_key=True)
    client_key: str = Field(unique=True)
    record_table: str
    record_id: int
    sent_at: str
    clock_offset_s: str  # of the device's clock against the server's
    device: str


class Attempt(Row, table=True):
    """An act that was asked for and refused: what was asked, and why not."""

    __tablename__: ClassVar[str] = "attempt"
    __table_args__ = (*are_not_blank("act"),)
    id: int | None = Field(default=None, primary_key=True)
    act: str
    record_table: str
    record_id: int
    asked: str  # JSON
    findings: str  # JSON
