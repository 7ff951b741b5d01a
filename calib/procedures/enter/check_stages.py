"""What the stages of an outlet's readings must hold together: before it was adjusted, after, and a repeat at the end.

An outlet is before its adjustment until it is adjusted, and after it from then on: no reading before adjustment may be as late as
one after. A repeat is a reading of an outlet that was read before, as it was last left: it tells what the plant did meanwhile.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from calib.errors import Finding
from calib.procedures.typed.declaration import TAKEN_BACK
from calib.procedures.typed.rows_together import KnownNames
from calib.procedures.typed.sheets import Sheets, TypedRow
from calib.records.words import AFTER_ADJUSTMENT, BEFORE_ADJUSTMENT, REPEAT

# (job, outlet) -> when each reading on record was observed, and its stage.
StagesOnRecord = dict[tuple[str, ...], list[tuple[str, str | None]]]


@dataclass(frozen=True)
class _Read:
    """A reading of an outlet."""

    at: datetime
    stage: str | None
    row: TypedRow | None  # None: it is on record

    @property
    def place(self) -> str:
        """Where it stands, for a person."""
        return "on record" if self.row is None else f"{self.row.source} row {self.row.row_number}"

    def said(self) -> str:
        """What contradicts another."""
        return f"{self.stage} at {self.at.isoformat(timespec='minutes')} ({self.place})"


def without_corrected(on_record: StagesOnRecord, sheets: Sheets) -> StagesOnRecord:
    """The same without the readings whose place the rows of a sheet take."""
    corrected = {(row.get("job"), row.get("outlet"), row.get("observed_at")) for row in sheets["readings.csv"]}
    return {
        outlet: [read for read in readings if (*outlet, read[0]) not in corrected]
        for outlet, readings in on_record.items()
    }


def staged(sheets: Sheets) -> bool:
    """Whether a reading says its stage: else what is on record need not be asked."""
    return any(not row.blank("stage") for row in sheets["readings.csv"])


def stage_findings(named: KnownNames, on_record: StagesOnRecord) -> Iterable[Finding]:
    """Readings whose stage contradicts another of their outlet, and repeats of nothing."""
    of_outlets: dict[tuple[str, str], list[_Read]] = defaultdict(list)
    for row in named.sheets["readings.csv"]:
        counts = row.blank(TAKEN_BACK) and "stage" not in row.bad
        if counts and row.sound("job", "outlet", "observed_at"):
            at = datetime.fromisoformat(row.cells["observed_at"])
            of_outlets[row.cells["job"], row.cells["outlet"]].append(_Read(at, row.get("stage"), row))
    for outlet, typed in of_outlets.items():
        if any(read.stage is not None for read in typed):
            known = [_Read(datetime.fromisoformat(at), stage, None) for at, stage in on_record.get(outlet, ())]
            yield from _of_outlet(typed, [*known, *typed], unread="readings.csv" in named.unread)


def _of_outlet(typed: Sequence[_Read], every: Sequence[_Read], *, unread: bool) -> Iterable[Finding]:
    for read in typed:
        if read.row is None or read.stage is None:
            continue
        if read.stage == REPEAT:
            if not unread and not any(other.at < read.at and other.stage != REPEAT for other in every):
                yield read.row.finding("stage", "a repeat of an earlier reading of this outlet: there is none")
            continue
        against = [other for other in every if _contradicts(read, other)]
        if against:
            rule = (
                "a reading before adjustment is earlier than any after it"
                if read.stage == BEFORE_ADJUSTMENT
                else "a reading after adjustment is later than any before it"
            )
            yield read.row.finding("stage", f"{rule}; another of this outlet says {against[0].said()}")


def _contradicts(read: _Read, other: _Read) -> bool:
    """Whether two readings of one outlet cannot both be at their stages; of two rows the second is named."""
    if {read.stage, other.stage} != {BEFORE_ADJUSTMENT, AFTER_ADJUSTMENT}:
        return False
    before, after = (read, other) if read.stage == BEFORE_ADJUSTMENT else (other, read)
    is_second = other.row is None or read.row is None or _number(read.row) > _number(other.row)
    return is_second and before.at >= after.at


def _number(row: TypedRow) -> int:
    return row.row_number or 0
