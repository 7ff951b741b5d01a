"""People: who writes, in which role, with which login, and for what they are authorised (ISO/IEC 17025:2017, 6.2.5)."""

from typing import ClassVar

from sqlmodel import Field

from calib.records.tables.row import Row, are_days, are_moments, are_not_blank, is_one_of


class Person(Row, table=True):
    """A person who writes, and the login of a shared database that is theirs."""

    __tablename__: ClassVar[str] = "person"
    __table_args__ = (*are_not_blank("name"),)
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    login: str | None = Field(default=None, unique=True)


class Role(Row, table=True):
    """A role given to a person, or withdrawn, from a time on."""

    __tablename__: ClassVar[str] = "role"
    __table_args__ = (
        is_one_of("role", "technician", "QA", "engineer"),
        is_one_of("kind", "given", "withdrawn"),
        *are_moments("at"),
        *are_not_blank("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    role: str
    kind: str
    at: str
    reason: str


class PersonLogin(Row, table=True):
    """The login of a person from a time on, instead of the one before; of several the latest counts."""

    __tablename__: ClassVar[str] = "person_login"
    __table_args__ = (*are_moments("at"), *are_not_blank("login", "reason"))
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    login: str | None = None  # absent: none any more
    at: str
    reason: str


class Competence(Row, table=True):
    """What a person was authorised to do, by whom, from when and until when (6.2.5); of one scope the latest counts."""

    __tablename__: ClassVar[str] = "competence"
    __table_args__ = (*are_days("from_on", "until_on"), *are_not_blank("scope", "authorised_by"))
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    scope: str
    from_on: str
    until_on: str | None = None
    authorised_by: str
