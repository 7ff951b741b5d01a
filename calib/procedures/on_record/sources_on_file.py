"""Look up the sources of outlet factors: those declared, the names that outlets have for them, and what looks like a slip."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from sqlmodel import Session, col, select

from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.sources import source_names
from calib.procedures.typed.spelling import nearly_alike
from calib.records.tables.factors import Source, SourceSpelling


@dataclass(frozen=True)
class SourceOnFile:
    """One source under all its names."""

    names: tuple[str, ...]  # as it is declared, then as outlets have it and as spellings are recorded, each once
    editions: tuple[Source, ...]  # in the order in which they were recorded; none: it is not declared
    outlets: int  # of all jobs, as they count now

    @property
    def latest(self) -> Source | None:
        """The edition that counts."""
        return self.editions[-1] if self.editions else None


@dataclass(frozen=True)
class SourcesOnFile:
    """All sources, by the first of their names."""

    sources: tuple[SourceOnFile, ...]
    nearly_alike: tuple[tuple[str, str], ...]  # of two sources that are not both declared

    @property
    def of_several_names(self) -> tuple[tuple[str, ...], ...]:
        """The names that are one source, of each with more than one."""
        return tuple(source.names for source in self.sources if len(source.names) > 1)


def sources_on_file(session: Session) -> SourcesOnFile:
    """Every source that is declared, or that an outlet names."""
    stands_for = source_names(session).source_of
    declared = session.exec(select(Source).order_by(col(Source.id))).all()
    spellings = session.exec(select(SourceSpelling.spelling).order_by(col(SourceSpelling.id))).all()
    of_outlets = [outlet.outlet_factor_source for outlet in outlets_in_force(session).values()]
    typed = [name for name in of_outlets if name is not None]
    names: dict[str, dict[str, None]] = defaultdict(dict)
    for name in (*(each.source for each in declared), *typed, *spellings):
        names[stands_for(name)][name] = None
    editions: dict[str, list[Source]] = defaultdict(list)
    for each in declared:
        editions[stands_for(each.source)].append(each)
    outlets = Counter(map(stands_for, typed))
    sources = [SourceOnFile(tuple(own), tuple(editions[source]), outlets[source]) for source, own in names.items()]
    sources.sort(key=lambda source: source.names[0].casefold())
    return SourcesOnFile(tuple(sources), tuple(_slips(sources)))


def _slips(sources: Sequence[SourceOnFile]) -> Iterator[tuple[str, str]]:
    for source, other in combinations(sources, 2):
        if not (source.editions and other.editions):
            yield from ((name, its) for name in source.names for its in other.names if nearly_alike(name, its))
