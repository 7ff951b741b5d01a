"""What an instrument touched since it was last in order, and all that hangs on it."""

from dataclasses import dataclass

from calib.confirmation.in_order import relied_on_since
from calib.confirmation.interval import CalibrationOnRecord
from calib.confirmation.traceability import Record, TraceLink, downward, reached
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.rests_on import OF, Ground
from calib.records.tables.instruments import Instrument

_ALL = ("", 0)  # stands for everything that the instrument touched directly


@dataclass(frozen=True)
class Touched:
    """What an instrument touched since it was last in order."""

    direct: tuple[TraceLink, ...]
    records: tuple[Record, ...]  # all of it, each after what of it it rests on
    waiting: tuple[CalibrationOnRecord, ...]


def touched(ground: Ground, instrument: Instrument, failing: int, since: CalibrationOnRecord) -> Touched:
    """Everything that relied on an instrument since a calibration and before another (by its key), and what hangs on that."""
    own = ground.register[instrument.tag]
    by_key = {calibration.record_id: calibration for calibration in own.calibrations}
    direct = []
    for link in ground.links:
        in_force = by_key.get(link.on[1]) if link.on[0] == RecordKind.CALIBRATION and link.role != OF else None
        if in_force is not None and link.day is not None and relied_on_since(in_force, link.day, since):
            direct.append(link)
    graph = dict(downward(ground.links)) | {_ALL: [TraceLink(_ALL, link.record, link.role) for link in direct]}
    apart = {(RecordKind.CALIBRATION, failing), (RecordKind.CALIBRATION, since.record_id)}
    records = tuple(record for record in reached(graph, [_ALL]) if record not in apart)
    waiting = {link.on[1] for link in direct} - {since.record_id}
    return Touched(tuple(direct), records, tuple(by_key[calibration_id] for calibration_id in sorted(waiting)))
