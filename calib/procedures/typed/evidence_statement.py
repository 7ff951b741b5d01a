"""The statement that goes with an instrument's evidence from one site to another: whose ledger stood where, and which files it is.

An XML file, so that it can be kept among the files of the instrument: one element `evidence` with the head of the ledger, in it the
instruments that move, those of which only what certificates rest on goes along, each file with its SHA-256, and the acceptances.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from xml.parsers import expat

from calib.errors import BadInputError, Finding
from calib.procedures.typed.declared_xml import DeclarationError, parser_without_declarations

STATEMENT = "evidence.xml"
_EXPECTED = "a statement of evidence as a hand-over writes it"
_SHA256 = frozenset("0123456789abcdef")


@dataclass(frozen=True)
class StatedFile:
    """A file of the evidence: a sheet, or one that was kept with the instrument or with a certificate of it."""

    name: str  # in the folder
    sha256: str
    called: str | None = None  # of a kept file: its own name; absent: a sheet
    tag: str | None = None  # of a kept file: the instrument
    certificate: str | None = None  # that it was kept with; absent: with the instrument
    remarks: str | None = None


@dataclass(frozen=True)
class StatedAcceptance:
    """An acceptance at the site that handed over: evidence of what was decided there, and no acceptance here."""

    tag: str
    certificate: str
    accepted_on: str
    accepted_by: str
    recorded_at: str
    criterion: str | None = None
    decision_rule: str | None = None


@dataclass(frozen=True)
class EvidenceStatement:
    """What was handed over, and the head of the ledger that it was taken from."""

    records: str  # what the records are called by other sites
    sequence: int
    digest: str
    time: str
    to: str
    reason: str
    moved: Sequence[str] = ()  # tags
    behind: Sequence[str] = ()  # tags of gear that stays, of which the evidence of certificates goes along
    files: Sequence[StatedFile] = ()
    acceptances: Sequence[StatedAcceptance] = ()

    def as_xml(self) -> bytes:
        """The statement as a file."""
        return "".join(self._lines()).encode()

    def _lines(self) -> Iterator[str]:
        own = {name: getattr(self, name) for name in ("records", "sequence", "digest", "time", "to", "reason")}
        yield f'<?xml version="1.0" encoding="UTF-8"?>\n<evidence{_attributes(own)}>\n'
        yield from (f"  <moved{_attributes({'tag': tag})}/>\n" for tag in self.moved)
        yield from (f"  <behind{_attributes({'tag': tag})}/>\n" for tag in self.behind)
        yield from (f"  <file{_attributes(vars(each))}/>\n" for each in self.files)
        yield from (f"  <acceptance{_attributes(vars(each))}/>\n" for each in self.acceptances)
        yield "</evidence>\n"


def _attributes(cells: Mapping[str, Any]) -> str:
    from xml.sax.saxutils import quoteattr  # noqa: PLC0415 (it imports what speaks to networks)

    return "".join(f" {name}={quoteattr(str(cell))}" for name, cell in cells.items() if cell is not None)


def statement_in(content: bytes, source: str) -> EvidenceStatement:
    """The statement in a file; raises BadInputError where it is none."""
    elements: list[tuple[str, dict[str, str]]] = []
    parser = parser_without_declarations()
    parser.StartElementHandler = lambda name, attributes: elements.append((name, attributes))
    try:
        parser.Parse(content, True)
        return _statement(elements)
    except (expat.ExpatError, DeclarationError, TypeError, ValueError, LookupError) as error:
        raise BadInputError([Finding(source, None, None, None, _EXPECTED)]) from error


def _statement(elements: Sequence[tuple[str, dict[str, str]]]) -> EvidenceStatement:
    """A statement of its elements; raises ValueError, TypeError or LookupError where they are not those of one."""
    of = {name: [cells for own, cells in elements if own == name] for name in ("moved", "behind", "file", "acceptance")}
    (root, own), *rest = elements
    if root != "evidence" or {name for name, _ in rest} - of.keys() or not of["moved"]:
        raise ValueError(root)
    stated = EvidenceStatement(
        **{**own, "sequence": int(own["sequence"])},  # type: ignore[arg-type]
        moved=[each["tag"] for each in of["moved"]],
        behind=[each["tag"] for each in of["behind"]],
        files=[StatedFile(**each) for each in of["file"]],
        acceptances=[StatedAcceptance(**each) for each in of["acceptance"]],
    )
    datetime.fromisoformat(stated.time)
    digests = [stated.digest, *(each.sha256 for each in stated.files)]
    if stated.sequence < 1 or not all(len(each) == 64 and _SHA256.issuperset(each) for each in digests):
        raise ValueError(stated.sequence)
    return stated
