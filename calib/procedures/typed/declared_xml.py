"""Read XML that somebody else wrote: what it declares for itself can swell to any size, and is refused."""

from typing import Any
from xml.parsers import expat


class DeclarationError(ValueError):
    """An entity, or a value of an attribute, that the document declares for itself (XML 1.0, 3.3 and 4.2)."""


def parser_without_declarations() -> expat.XMLParserType:
    """A parser that raises DeclarationError at such a declaration; nothing from outside the document is ever read."""
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.EntityDeclHandler = parser.AttlistDeclHandler = _refuse
    return parser


def _refuse(*_declared: Any) -> None:
    raise DeclarationError("a declaration within the document")
