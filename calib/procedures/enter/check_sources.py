"""What the names of outlet factor sources must hold together: one source under one name, whoever types it.

A name that looks like a slip of another (`nearly_alike`) is found where nobody has recorded what it is. Two names that are declared
as sources, with documents of their own, are two; one recorded as a spelling of the other is that one. Compared are the names that
are recorded and those that outlets of one job have, since totals go no further.
"""

from collections.abc import Iterable, Iterator, Mapping

from calib.errors import Finding
from calib.procedures.typed.declaration import RecordNames
from calib.procedures.typed.rows_together import Known, KnownNames, duplicate, repeated
from calib.procedures.typed.sheets import Cells, TypedRow
from calib.procedures.typed.spelling import nearly_alike, spelled_alike
from calib.records.tables.outlets import Outlet

_NAMED = "outlet_factor_source"


class NamesInUse:
    """Names of sources: those recorded as sources or spellings, and those of outlets of one job."""

    def __init__(self, recorded: Iterable[str]) -> None:
        self.recorded = {spelled_alike(name): (name, "recorded") for name in recorded}
        self._of_jobs: dict[str | None, dict[str, tuple[str, str]]] = {}

    def add(self, job: str | None, name: str, place: str) -> None:
        """A name that an outlet of a job has, and where it stands."""
        self._of_jobs.setdefault(job, {}).setdefault(spelled_alike(name), (name, place))

    def slip(self, job: str | None, name: str) -> str | None:
        """What is expected of a name that looks like a slip of another; None where it is known, or looks like none."""
        of_job, alike = self._of_jobs.get(job, {}), spelled_alike(name)
        if alike in self.recorded or alike in of_job:
            return None
        for other, place in (*self.recorded.values(), *of_job.values()):
            if nearly_alike(name, other):
                return f"{other!r} ({place}) if it is that source; if not, both declared in sources.csv, each with its document"
        return None


def names_recorded(known: Known) -> NamesInUse:
    """The names of sources, and their spellings, that the records hold."""
    return NamesInUse(_recorded((known["sources.csv"], known["source_spellings.csv"])))


def _recorded(sources_and_spellings: Iterable[Mapping[RecordNames, Cells]]) -> Iterator[str]:
    for column, rows in zip(("source", "spelling"), sources_and_spellings, strict=True):
        yield from (str(cells[column]) for cells in rows.values() if cells[column] is not None)


def source_findings(named: KnownNames) -> Iterator[Finding]:
    """All findings on sources, on their spellings, and on the names of sources that outlets have."""
    yield from repeated(named, "sources.csv")
    yield from _of_one_document(named)
    yield from repeated(named, "source_spellings.csv")
    for row in named.sheets["source_spellings.csv"]:
        yield from named.unknown(row, "source_spellings.csv", "source")
        yield from _spelling(row, named)
    if not any(named.undecided(file, 1) for file in ("sources.csv", "source_spellings.csv")):
        yield from _of_outlets(named)


def _of_one_document(named: KnownNames) -> Iterator[Finding]:
    """Sources of one document, under names of which one looks like a slip of the other."""
    known = [(str(cells["source"]), str(cells["document"])) for cells in named.on_record("sources.csv").values()]
    for row in named.sheets["sources.csv"]:
        if row.sound("source", "document"):
            name, document = row.cells["source"], row.cells["document"]
            for other, of_other in known:
                if spelled_alike(document) == spelled_alike(of_other) and nearly_alike(name, other):
                    yield duplicate(row, ("source",), f"{other!r} if it is that source; if not, a document of its own")
                    break
            known.append((name, document))


def _spelling(row: TypedRow, named: KnownNames) -> Iterator[Finding]:
    if not row.sound("spelling", "source"):
        return
    alike = spelled_alike(row.cells["spelling"])
    if alike == spelled_alike(row.cells["source"]):
        yield row.finding(
            "spelling", "another one: names that differ in case, space or punctuation alone are one already"
        )
    elif (alike,) in named.cells("sources.csv", 1):
        yield row.finding("spelling", "a name that is not a source by itself; this one is recorded as one")


def _of_outlets(named: KnownNames) -> Iterator[Finding]:
    rows = [row for row in named.sheets["outlets.csv"] if row.sound("job", _NAMED)]
    if not rows:
        return
    names = NamesInUse(_recorded((named.cells("sources.csv"), named.cells("source_spellings.csv"))))
    jobs = {row.cells["job"] for row in rows}
    for (job, outlet), cells in named.known["outlets.csv"].items():
        if job in jobs and cells[_NAMED] is not None:
            names.add(job, str(cells[_NAMED]), f"outlet {outlet}")
    for row in rows:
        job, name = row.cells["job"], row.cells[_NAMED]
        expected = names.slip(job, name)
        if expected is None:
            names.add(
                job, name, f"{row.source} row {row.row_number}" if row.row_number else f"outlet {row.get('outlet')}"
            )
        else:
            yield row.finding(_NAMED, expected)


def source_of_amended(row: TypedRow, known: Known, others: Iterable[Outlet]) -> Iterator[Finding]:
    """The same of an outlet that is amended to have another source; `others` are those of its job."""
    if row.sound(_NAMED):
        names = names_recorded(known)
        for other in others:
            if other.outlet_factor_source is not None:
                names.add(None, other.outlet_factor_source, f"outlet {other.outlet}")
        expected = names.slip(None, row.cells[_NAMED])
        if expected is not None:
            yield row.finding(_NAMED, expected)
