"""A sitting at a job: readings typed one after another by hand. What is asked next, and what was typed, whatever the face.

No records are asked here, no clock and no screen. What is typed as a whole is an entry: it is written at once, and only then the
next outlet is offered. What is half-typed (an entry that is not known to be written, points of a traverse, a remark) can be put
down as text and taken up again: the key of an entry, its time among it, stands in that text, so that whoever takes it up asks the
records whether it was written, and nothing is lost or written twice.

Decision (2026-11-29). The time of an entry is fixed before it is written, and so is its key. Options: a key of its own for each
entry (a column that nobody types), a time at the write (an entry written just before a power cut could not be known again). Cost:
two readings of one outlet with one instrument within one second are one key; the second gets the next second.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta

from calib.errors import BadInputError, Finding
from calib.procedures.typed.spelling import did_you_mean
from calib.procedures.typed.values import cell_of

SETUP = ("instrument", "probe", "conditions", "unit", "method")  # what is asked once: with what it is measured
_NEEDED = ("instrument", "unit", "method")
_FORM = 1  # of the text in which what is half-typed is put down


@dataclass(frozen=True)
class HalfTraversed:
    """A traverse of which some points are typed: pass after pass, each in the order of the points."""

    rule: str
    lines: int
    points: int
    passes: int
    places: tuple[tuple[int, int], ...]  # line and point of each place, in the order in which they are typed
    observed_at: str
    values: tuple[str, ...] = ()

    @property
    def is_whole(self) -> bool:
        """Whether every pass has all of its points."""
        return len(self.values) == self.passes * len(self.places)

    @property
    def wanted(self) -> tuple[int, int]:
        """The pass and the place, both counted from 0, that the next value is for."""
        return divmod(len(self.values), len(self.places))

    def cells(self) -> dict[str, str]:
        """Cells of readings.csv that tell of the traverse."""
        counts = {"traverse_lines": str(self.lines), "traverse_points": str(self.points)}
        return {"traverse_rule": self.rule, **counts}

    def of_points(self) -> dict[tuple[int, int], str]:
        """Indications at each line and point, joined by ; over the passes."""
        count = len(self.places)
        return {place: ";".join(self.values[order::count]) for order, place in enumerate(self.places)}


@dataclass(frozen=True)
class TypedEntry:
    """A reading typed as a whole: its cells as readings.csv has them, and the points of a traverse."""

    cells: Mapping[str, str]
    points: Mapping[tuple[int, int], str] = field(default_factory=dict)

    @property
    def shown(self) -> str:
        """What the instrument showed, as it was typed; blank of a traverse."""
        shown = next(filter(None, map(self.cells.get, ("observations", "indication", "log_file"))), "")
        throttled = self.cells.get("throttled_observations")
        return f"{shown} throttled {throttled}" if throttled else shown


@dataclass(frozen=True)
class Sitting:
    """Where a sitting stands."""

    job: str
    setup: Mapping[str, str] = field(default_factory=dict)
    needs: tuple[str, ...] = _NEEDED  # what has to be said of it with this instrument
    outlet: str | None = None  # that what is typed next is for
    stage: str | None = None
    remarks: str | None = None  # of the next reading
    traverse: HalfTraversed | None = None
    entry: TypedEntry | None = None  # that is not known to be written
    skipped: frozenset[str] = frozenset()
    taken: Mapping[str, str] = field(default_factory=dict)  # outlet -> time of the entry before, of this sitting

    # --- what is asked next -----------------------------------------------------------------------------------------------------

    def missing(self) -> list[str]:
        """What has to be said of the set-up before anything can be typed."""
        return [column for column in self.needs if not self.setup.get(column)]

    def next_outlet(self, outlets: Sequence[str], measured: Collection[str]) -> str | None:
        """The outlet not yet measured that comes next in the order of the job; those that were skipped come last."""
        place = outlets.index(self.outlet) + 1 if self.outlet in outlets else 0
        left = [name for name in (*outlets[place:], *outlets[:place]) if name not in measured]
        return next((name for name in left if name not in self.skipped), left[0] if left else None)

    @property
    def is_half_typed(self) -> bool:
        """Whether something would be lost if it was not put down."""
        return self.entry is not None or self.remarks is not None or bool(self.traverse and self.traverse.values)

    # --- what was typed ---------------------------------------------------------------------------------------------------------

    def with_shown(self, cells: Mapping[str, str], at: datetime) -> "Sitting":
        """What was shown at the outlet, as cells of readings.csv: an entry.

        Raises BadInputError where points of a traverse are wanted, or there is nothing that it could be for.
        """
        self._must_be_ready()
        if self.traverse is not None:
            expected = "values at the points of the traverse alone"
            raise BadInputError([Finding.typed(column, cell, expected) for column, cell in cells.items()])
        return replace(self, entry=TypedEntry({**self._cells(self._not_before(at)), **cells}))

    def with_values(self, values: Sequence[str], at: datetime) -> "Sitting":
        """Values at the outlet: an entry, or the next points of its traverse, which becomes an entry with the last of them.

        Raises BadInputError where there are more values than points left in the pass, or nothing that they could be for.
        """
        self._must_be_ready()
        if self.traverse is None:
            return self.with_shown(cell_of(values), at)
        run, place = self.traverse.wanted
        left = len(self.traverse.places) - place
        if len(values) > left or run == self.traverse.passes:
            expected = f"at most {left} values, for the points that are left of pass {run + 1}"
            raise BadInputError([Finding.typed("value", " ".join(values), expected)])
        traverse = replace(self.traverse, values=(*self.traverse.values, *values))
        return replace(self, traverse=traverse).as_whole()

    def as_whole(self) -> "Sitting":
        """The same with an entry of the traverse, where all of its points are typed."""
        if self.traverse is None or not self.traverse.is_whole:
            return self
        cells = self._cells(self.traverse.observed_at) | self.traverse.cells()
        return replace(self, entry=TypedEntry(cells, self.traverse.of_points()))

    def _must_be_ready(self) -> None:
        findings = [
            Finding.typed(column, None, "it to be said once, before the first value") for column in self.missing()
        ]
        if self.outlet is None:
            findings.append(Finding.typed("outlet", None, "an outlet first: every one is measured, or there is none"))
        if findings:
            raise BadInputError(findings)

    def _not_before(self, at: datetime) -> str:
        """The time of the next entry: a second after the one before it at this outlet, where that is not past."""
        before = self.taken.get(self.outlet or "")
        return (at if before is None else max(at, datetime.fromisoformat(before) + timedelta(seconds=1))).isoformat()

    def _cells(self, observed_at: str) -> dict[str, str]:
        cells = {
            "job": self.job, "outlet": self.outlet, "observed_at": observed_at, "stage": self.stage, "remarks": self.remarks,
            **self.setup,
        }  # fmt: skip
        return {name: cell for name, cell in cells.items() if cell}

    # --- what became of it ------------------------------------------------------------------------------------------------------

    def with_setup(self, column: str, typed: str) -> "Sitting":
        """Measured with something else from now on; blank: without it."""
        setup = {name: cell for name, cell in self.setup.items() if name != column}
        return replace(self, setup=setup | ({column: typed.strip()} if typed.strip() else {}))

    def at_outlet(self, outlet: str | None) -> "Sitting":
        """At another outlet: what is half-typed of a traverse is left behind."""
        skipped = self.skipped - {outlet} if outlet is not None else self.skipped
        return replace(self, outlet=outlet, traverse=None, entry=None, skipped=skipped)

    def without_entry(self) -> "Sitting":
        """The entry will not be written; the points of a traverse stay typed."""
        return replace(self, entry=None)

    def after_entry(self) -> "Sitting":
        """The entry is written."""
        cells = {} if self.entry is None else self.entry.cells
        taken = {cells["outlet"]: cells["observed_at"]} if cells else {}
        return replace(self, entry=None, traverse=None, remarks=None, taken={**self.taken, **taken})

    def without_last_point(self) -> "Sitting | None":
        """Without the point typed last; None where there is none."""
        if self.traverse is None or not self.traverse.values:
            return None
        return replace(self, entry=None, traverse=replace(self.traverse, values=self.traverse.values[:-1]))

    # --- put down, and taken up again -------------------------------------------------------------------------------------------

    def put_down(self, person: str) -> str:
        """What is half-typed, as text."""
        cells = asdict(self) | {"skipped": sorted(self.skipped), "form": _FORM, "person": person}
        if self.entry is not None:
            points = [[*place, values] for place, values in self.entry.points.items()]
            cells["entry"] = {"cells": dict(self.entry.cells), "points": points}
        return json.dumps(cells | {"setup": dict(self.setup)}, ensure_ascii=False, indent=1)


def taken_up(text: str) -> Sitting:
    """The sitting that was put down; raises ValueError where the text is none of this version."""
    try:
        cells = json.loads(text)
        if cells.pop("form") != _FORM:
            raise ValueError("another form")
        cells.pop("person")
        entry, traverse = cells.pop("entry"), cells.pop("traverse")
        if traverse is not None:
            places = tuple((line, point) for line, point in traverse.pop("places"))
            traverse = HalfTraversed(**traverse | {"places": places, "values": tuple(traverse["values"])})
        if entry is not None:
            entry = TypedEntry(entry["cells"], {(line, point): values for line, point, values in entry["points"]})
        cells |= {"skipped": frozenset(cells["skipped"]), "needs": tuple(cells["needs"])}
        return Sitting(**cells, entry=entry, traverse=traverse)
    except (KeyError, TypeError, AttributeError) as error:
        raise ValueError(str(error)) from error


def outlet_meant(typed: str, outlets: Sequence[str]) -> str:
    """The outlet of a name, or of what no other name begins with or has in it; raises BadInputError with those that it may be."""
    wanted = typed.strip().casefold()
    for fits in (str.__eq__, str.startswith, str.__contains__):
        meant = [name for name in outlets if wanted and fits(name.casefold(), wanted)]
        if len(meant) == 1:
            return meant[0]
        if meant:
            raise BadInputError([Finding.typed("outlet", typed, f"one of {', '.join(meant)}")])
    raise BadInputError([Finding.typed("outlet", typed, f"an outlet of the job{did_you_mean(typed, outlets)}")])
