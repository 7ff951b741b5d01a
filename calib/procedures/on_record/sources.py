"""Which names of outlet factor sources stand for one source, as the records hold it.

What rests on one source is in error together. A source is a record, not a spelling: names that differ in case, space or punctuation
alone are one, and a spelling that differs by more is one of them where a person recorded so.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from sqlmodel import Session, col, select

from calib.procedures.typed.spelling import spelled_alike
from calib.records.tables.factors import Source, SourceSpelling


@dataclass(frozen=True)
class SourceNames:
    """Recorded spellings of sources, both as `spelled_alike` has them."""

    spellings: Mapping[str, str] = field(default_factory=dict)  # spelling -> name of the source

    def source_of(self, name: str) -> str:
        """What all names of one source have in common."""
        alike = spelled_alike(name)
        return self.spellings.get(alike, alike)


def source_names(session: Session) -> SourceNames:
    """The recorded spellings."""
    recorded = session.exec(
        select(SourceSpelling.spelling, Source.source).join(Source).order_by(col(SourceSpelling.id))
    )
    return SourceNames({spelled_alike(spelling): spelled_alike(source) for spelling, source in recorded})


def declared_sources(session: Session, names: Collection[str]) -> dict[str, Source]:
    """The declared sources, each in its latest edition, that names stand for: by the name; none where it is not declared."""
    stands_for = source_names(session).source_of
    declared = {spelled_alike(each.source): each for each in session.exec(select(Source).order_by(col(Source.id)))}
    return {name: declared[stands_for(name)] for name in names if stands_for(name) in declared}
