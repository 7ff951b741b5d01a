"""What keeps the ledger in order over the years: backups, anchors, steps of a clock, breaks that were closed."""

from typing import ClassVar

from sqlmodel import Field

from calib.records.tables.row import Row, are_above_zero, are_moments, are_not_blank, are_not_negative


class BackupMade(Row, table=True):
    """A backup that was made: how far it reaches."""

    __tablename__: ClassVar[str] = "backup"
    __table_args__ = (*are_not_blank("name", "digest"), *are_not_negative("entries"))
    id: int | None = Field(default=None, primary_key=True)
    name: str  # without its folder
    entries: int
    digest: str


class Anchor(Row, table=True):
    """The head of another ledger: proof that it stood so when this was recorded."""

    __tablename__: ClassVar[str] = "anchor"
    __table_args__ = (*are_not_blank("records", "digest", "reason"), *are_above_zero("sequence"), *are_moments("time"))
    id: int | None = Field(default=None, primary_key=True)
    records: str
    sequence: int
    digest: str
    time: str
    reason: str


class ClockStep(Row, table=True):
    """A clock that had been ahead: from here on the times of the ledger are compared anew."""

    __tablename__: ClassVar[str] = "clock_step"
    __table_args__ = (*are_not_blank("reason"),)
    id: int | None = Field(default=None, primary_key=True)
    reason: str


class LedgerBreak(Row, table=True):
    """A broken place of the chain that its owner has looked into and closed: it stays visible."""

    __tablename__: ClassVar[str] = "ledger_break"
    __table_args__ = (*are_above_zero("sequence"), *are_not_blank("digest", "reason"))
    id: int | None = Field(default=None, primary_key=True)
    sequence: int
    digest: str  # that was there instead of the right one
    reason: str
