"""The one door for certificates as XML: counted first, then parsed without declarations of their own; each element knows its place.

Decision (2026-11-29). The bytes are counted by the reader that counts workbooks (size, elements, depth, no declaration, no document
type) before defusedxml builds anything. Options: defusedxml alone (it bounds no size or depth), lxml for all (it reads entities and
files unless told otherwise). Cost: a certificate is read twice, 1 ms for one of 20 kB, 1.5 s at
the bounds with its signature.

Decision (2026-11). signxml checks XML signatures, defusedxml parses. Options: python-xmlsec (a C library), own code on canonical
forms. Cost: 30 MB, 0.3 s of imports where a file is signed. The schema's XSD is not openly in a package: files are checked by
dcclib's Schematron, by two readers, and against a list of elements. Cost: an order that only the XSD knows may go unnoticed. Whose
signatures are trusted comes back by an import, as an act of QA; what was found of signatures does not. Cost: a folder may bring a
trust.
"""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final

from calib.errors import Finding
from calib.procedures.typed.bounded_archive import BoundedXml, WorkbookError

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

NAMESPACES: Final = {
    "dcc": "https://ptb.de/dcc",
    "si": "https://ptb.de/si",
    "ds": "http://www.w3.org/2000/09/xmldsig#",
}
ROOT: Final = "dcc:digitalCalibrationCertificate"
VERSIONS: Final = ("3.0", "3.1", "3.2", "3.3")
_VERSION = re.compile(r"3\.\d{1,3}\.\d{1,3}(-rc\.\d{1,3})?")
_PREFIXES = {uri: prefix for prefix, uri in NAMESPACES.items()}
_XML_LANG = "{http://www.w3.org/XML/1998/namespace}lang"


class _Counted(BoundedXml):
    """A certificate; it has a place for files of its own, so its size is bounded where it is read."""

    whole: ClassVar[str] = "a certificate"
    most_elements: ClassVar[int] = 100_000


@dataclass(frozen=True)
class Node:
    """An element and where it stands."""

    element: "Element"
    path: str  # names from below the root, counted where there are several

    @property
    def text(self) -> str:
        """Its own text, white space around it left out."""
        return (self.element.text or "").strip()

    @property
    def name(self) -> str:
        """Its name with the prefix of NAMESPACES; as it is for a foreign one."""
        return short_name(self.element.tag)

    @property
    def meanings(self) -> frozenset[str]:
        """Words of its refType: what the quantity is."""
        return frozenset(self.element.get("refType", "").split())

    @property
    def language(self) -> str | None:
        """The language of a text, where it names one."""
        return self.element.get("lang") or self.element.get(_XML_LANG)

    def children(self, *names: str) -> Iterator["Node"]:
        """Its elements of some names, all of them where none is named, in their order."""
        shown = [short_name(child.tag) for child in self.element]
        counts, met = Counter(shown), Counter[str]()
        for child, name in zip(self.element, shown, strict=True):
            met[name] += 1
            if not names or name in names:
                place = name.removeprefix("dcc:") + (f"[{met[name]}]" if counts[name] > 1 else "")
                yield Node(child, f"{self.path}/{place}" if self.path else place)

    def first(self, *names: str) -> "Node | None":
        """The first of its elements of some names."""
        return next(self.children(*names), None)

    def at(self, path: str) -> "Node | None":
        """The first element by a path of names without prefix dcc: 'administrativeData/coreData'."""
        here: Node | None = self
        for name in path.split("/"):
            here = None if here is None else here.first(name if ":" in name else f"dcc:{name}")
        return here

    def below(self) -> Iterator["Node"]:
        """Every element below it, in their order."""
        for child in self.children():
            yield child
            yield from child.below()

    def all_below(self, name: str) -> Iterator["Node"]:
        """Every element of a name below it, in their order."""
        return (each for each in self.below() if each.name == name)


def short_name(tag: str) -> str:
    """The name of an element with the prefix that NAMESPACES has for its namespace."""
    uri, _, local = tag.removeprefix("{").rpartition("}")
    return f"{_PREFIXES[uri]}:{local}" if uri in _PREFIXES else local


def read_document(source: str, content: bytes) -> tuple[Node | None, list[Finding]]:
    """The root of a certificate, or what is wrong with the file as a file."""
    try:
        whole = _Counted().parse("the file", content)
    except WorkbookError as error:
        return None, [_of_file(source, str(error))]
    if not whole:
        return None, [_of_file(source, "XML that is whole")]
    from defusedxml.common import DefusedXmlException  # noqa: PLC0415 (for certificates as XML alone)
    from defusedxml.ElementTree import ParseError, fromstring  # noqa: PLC0415

    try:
        root = Node(fromstring(content, forbid_dtd=True), "")
    except DefusedXmlException:
        return None, [_of_file(source, "a certificate without a document type or declarations of its own")]
    except (ParseError, ValueError, LookupError):
        return None, [_of_file(source, "XML that is whole")]
    wrong = _of_root(source, root)
    return (None, wrong) if wrong else (root, [])


def _of_root(source: str, root: Node) -> list[Finding]:
    if root.name != ROOT:
        return [
            Finding(
                source, None, root.name[:60], None, f"a digital calibration certificate ({ROOT} of {NAMESPACES['dcc']})"
            )
        ]
    version = root.element.get("schemaVersion", "")
    if _VERSION.fullmatch(version) is None:
        return [
            Finding(
                source,
                None,
                "schemaVersion",
                version,
                "a version 3, like 3.3.0: another one of the schema is read otherwise",
            )
        ]
    return []


def _of_file(source: str, expected: str) -> Finding:
    return Finding(source, None, None, None, expected)


def is_later_version(root: Node) -> bool:
    """Whether a certificate says a version of the schema that came after those that are known here."""
    return ".".join(root.element.get("schemaVersion", "").split(".")[:2]) not in VERSIONS
