"""Sources of outlet factors under all their names, as `calib source list` answers."""

from collections.abc import Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.on_record.sources_on_file import SourceOnFile, SourcesOnFile

_HEADER = ("source", "document", "edition", "outlets", "basis", "other names")


def document(on_file: SourcesOnFile) -> Content:
    """Each source with the edition that counts; names that look like a slip of another, and are not recorded as two."""
    return {
        "sources": [_source(source) for source in on_file.sources],
        "nearly_alike": [list(names) for names in on_file.nearly_alike],
    }


def _source(source: SourceOnFile) -> Content:
    latest = source.latest
    return {
        "source": source.names[0],
        "document": None if latest is None else latest.document,
        "edition": None if latest is None else latest.edition,
        "basis": None if latest is None else latest.basis,
        "editions": len(source.editions),
        "outlets": source.outlets,
        "other_names": list(source.names[1:]),
    }


def text(answer: Content) -> str:
    """The same for people."""
    rows = [
        (
            each["source"],
            each["document"] or "not declared",
            each["edition"] or "-",
            str(each["outlets"]),
            each["basis"] or "-",
            "; ".join(each["other_names"]) or "-",
        )
        for each in answer["sources"]
    ]
    return "\n".join([table_text(_HEADER, rows), *slips_told(answer["nearly_alike"])])


def slips_told(names: Sequence[Sequence[str]]) -> list[str]:
    """A line for each two names that look like slips of one another."""
    return [
        f"{name!r} and {other!r} are nearly alike, and count as two sources: say which they are"
        for name, other in names
    ]


def merged_told(names: Sequence[Sequence[str]]) -> list[str]:
    """A line for each source that has several names."""
    return [f"one source, whose error its outlets share: {' = '.join(map(repr, own))}" for own in names]
