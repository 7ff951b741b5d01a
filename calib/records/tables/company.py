"""The company: how reports name it, and the rules that it set itself."""

from typing import ClassVar

from sqlmodel import Field

from calib.records.tables.row import Row, are_not_blank, is_one_of
from calib.records.words import HOUSE_RULES


class Company(Row, table=True):
    """The company as its reports name it; of several the latest counts."""

    __tablename__: ClassVar[str] = "company"
    __table_args__ = (*are_not_blank("name", "address"),)
    id: int | None = Field(default=None, primary_key=True)
    name: str
    address: str
    contact: str | None = None
    base_address: str | None = None  # of its pages, which labels print
    mark_attachment_id: int | None = Field(default=None, foreign_key="attachment.id")


class HouseRule(Row, table=True):
    """A rule of the company that the program follows; of several of one name the latest counts."""

    __tablename__: ClassVar[str] = "house_rule"
    __table_args__ = (
        is_one_of("rule", *HOUSE_RULES),
        is_one_of("holds", "yes", "no"),
        *are_not_blank("value", "reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    rule: str
    holds: str
    reason: str
    value: str | None = None  # of a rule that has one: years
