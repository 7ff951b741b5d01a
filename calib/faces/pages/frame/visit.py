"""A visit: one request of a person, with what its handler needs."""

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.authority import ACTS, ANYONE, roles_of
from calib.errors import CalibError, DeniedError
from calib.faces.pages.frame.form import Form
from calib.faces.pages.frame.served import Served
from calib.faces.watched_writing import watched_writing
from calib.procedures.people.authorise import people_on_record
from calib.records import database
from calib.records.credentials import Enrolled
from calib.records.database import OpenRecords
from calib.records.ledger import Signature


class NotSignedInError(CalibError):
    """Nobody is signed in, or not any more."""


class MayNotError(CalibError):
    """Who is signed in may not do this."""


@dataclass(frozen=True)
class Visit:
    """Who asks, when, and what was typed. A visit of nobody has no person: what is open to all."""

    served: Served
    at: datetime
    address: str  # of the page, with what follows its ?
    secret: str  # that the browser showed, or was given with this page
    opened: ExitStack = field(default_factory=ExitStack)
    person: str = ""
    roles: Sequence[str] = ()
    engine: OpenRecords | None = None  # as the person
    since: datetime | None = None  # when the person signed in
    form: Form = field(default_factory=Form)
    asked: "dict[str, str]" = field(default_factory=dict)  # what follows the ? of the address
    is_change: bool = False  # something was sent
    client: str = ""  # address of the network that asks
    agent: str = ""  # what the browser says that it is
    is_for_keeping: bool = False  # a worker asks for the page, and nobody looks at it yet
    is_by_worker: bool = False  # a worker sends what was typed, and keeps it where it is not taken
    remarks: list[str] = field(default_factory=list)  # to be said beside what was done

    @property
    def path(self) -> str:
        """The address without what follows its ?."""
        return self.address.partition("?")[0]

    @property
    def login(self) -> str | None:
        """The login as which the person's transactions run on a server; None for a file."""
        enrolled = self.served.credentials.enrolled(self.person)
        return None if enrolled is None else enrolled.login

    def asked_for(self, names: Iterable[str]) -> dict[str, str]:
        """What the address asks for by some names; what is blank, or was found wrong, is absent."""
        return {
            name: typed for name in names if (typed := self.asked.get(name, "").strip()) and not self.form.wrong(name)
        }

    def reading(self) -> Session:
        """A session that reads one consistent state of the records until the handler has returned."""
        return self.opened.enter_context(self.reading_first())

    def writing(self) -> Session:
        """A session whose writes become durable together when the handler has returned, or not at all where it raises."""
        return self.opened.enter_context(self.writing_last())

    def reading_first(self) -> AbstractContextManager[Session]:
        """The same as a block that ends within the handler."""
        return database.reading(self._records)

    def writing_last(self) -> AbstractContextManager[Session]:
        """The same as a block: durable when it has ended. Issued reports that it contradicts are told of on the next page."""
        return watched_writing(self._records, self.signature, self.remarks.append)

    @property
    def _records(self) -> OpenRecords:
        if self.engine is None:
            raise NotSignedInError("sign in first")
        return self.engine

    def signature(self, action: str = "page") -> Signature:
        """The person, now, and what they do, in the words of the ledger."""
        return Signature(self.person, self.at, action)

    def may(self, act: str | None) -> bool:
        """Whether the person may do an act of ACTS; with none everybody signed in may."""
        if not self.person:
            return False
        roles = ANYONE if act is None else ACTS[act].roles
        return roles is ANYONE or bool(set(roles) & set(self.roles))


def roles_on_record(served: Served, enrolled: Enrolled, at: datetime) -> Sequence[str]:
    """The roles that a person who is enrolled has now; none where they are on record no more, or their login is another's."""
    try:
        with database.reading(database.acting_as(served.engine, enrolled.login)) as session:
            known = people_on_record(session)
    except DeniedError:  # a server lets nobody read who has no role
        return ()
    is_theirs = any(
        person.name == enrolled.person and enrolled.login in (None, person.login) for person in known.people
    )
    return roles_of(enrolled.person, known.changes, at) if is_theirs else ()
