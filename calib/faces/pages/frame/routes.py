"""How a page is declared, and what its handler answers."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote


@dataclass(frozen=True)
class Filled:
    """A page from its template."""

    template: str
    content: Mapping[str, Any] = field(default_factory=dict)
    title: str = ""
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Goto:
    """Another page, after something was done; what is to be said there."""

    address: str
    said: str | Sequence[str] = ()
    session: str | None = None  # the secret of one that begins now; blank: the session has ended

    @property
    def lines(self) -> Sequence[str]:
        """What is to be said, line by line."""
        return [self.said] if isinstance(self.said, str) else self.said


@dataclass(frozen=True)
class Sent:
    """Bytes of a kind: a picture, a file to keep (by its name)."""

    content: bytes
    kind: str
    name: str | None = None
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Document:
    """A document for a script, as JSON."""

    content: Any
    status: int = 200
    session: str | None = None  # as in `Goto`


Outcome = Filled | Goto | Sent | Document
Handler = Callable[..., Outcome]


@dataclass(frozen=True)
class Page:
    """One address of the pages, what answers there, and who may ask."""

    address: str
    method: str
    handler: Handler
    act: str | None  # of ACTS; absent: everybody signed in
    open_to_all: bool
    menu: str | None
    again: Handler | None = None  # shows the form once more with what was wrong
    largest: int | None = None  # [byte] of what is sent there; as everywhere if not given


class Pages:
    """The pages of one file."""

    def __init__(self) -> None:
        self.declared: list[Page] = []

    def shows(
        self,
        address: str,
        *,
        again: bool = False,
        act: str | None = None,
        open_to_all: bool = False,
        menu: str | None = None,
    ) -> Callable[[Handler], Handler]:
        """Declare what an address shows; with `again` it shows too what was wrong with what follows its ?, as a form's findings."""

        def declare(handler: Handler) -> Handler:
            self.declared.append(Page(address, "GET", handler, act, open_to_all, menu, handler if again else None))
            return handler

        return declare

    def takes(
        self,
        address: str,
        *,
        again: Handler | None = None,
        act: str | None = None,
        open_to_all: bool = False,
        largest: int | None = None,
    ) -> Callable[[Handler], Handler]:
        """Declare what an address takes: a change. What is wrong with it is shown by `again`, a page of the same names."""

        def declare(handler: Handler) -> Handler:
            self.declared.append(Page(address, "POST", handler, act, open_to_all, None, again, largest))
            return handler

        return declare


def address(form: str, *names: object) -> str:
    """An address with names in it, whatever signs they hold: address("/jobs/{}", "LM 27/2")."""
    return form.format(*(quote(str(name), safe="") for name in names))


def is_within(wanted: str) -> bool:
    """Whether an address that came with a request leads to a page of this program and nowhere else."""
    return wanted.startswith("/") and not wanted.startswith("//") and "\\" not in wanted and wanted.isprintable()
