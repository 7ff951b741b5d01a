"""What a sitting at a job asks of the records, and what it writes: the job's outlets, what was used last, one entry at a time.

Everything is asked anew for each entry, of the records as they are then: a change by somebody else counts from its commit on.

Decision (2026-11-29). Nothing of a job is kept between two entries but the open records and what the database compiled. Options:
the evaluation kept as long as the ledger's head is the same (it changes with each entry, so it would serve nothing but a look at
what is left). Cost: each answer evaluates the job.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session, col, select

from calib.airflow.traverse import POINT_RULES, point_counts, spoken, traverse, usual
from calib.confirmation.interval import Decision
from calib.errors import BadInputError, Doubt, Finding, NotInRecordsError, RefusedError
from calib.measurement.way import ProbeUse, Way
from calib.procedures.certificate.fit_curve import quantity_indicated
from calib.procedures.enter.add_reading import add_reading, add_traverse, traverse_rows
from calib.procedures.enter.check_readings import slip_among
from calib.procedures.enter.import_sheets import Imported, rehearse
from calib.procedures.enter.odd_cells import odd_passes, odd_point
from calib.procedures.enter.sitting import HalfTraversed, Sitting, TypedEntry
from calib.procedures.measure.duct_section import from_the_wall, section_on_record
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.by_name import amended_instrument, instrument_tagged, not_there, tags_of
from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.jobs_by_name import job_named, outlet_named
from calib.procedures.on_record.methods import method_named
from calib.procedures.on_record.outlets import last_traverses
from calib.procedures.on_record.used_with import decision_on, gear_of
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.typed.answers import as_meant
from calib.procedures.typed.cells import one_of, same_time, whole
from calib.procedures.typed.declared.readings import READINGS_CSV
from calib.procedures.typed.sheets import Cells, FileContent, typed_row
from calib.procedures.typed.unit_spelling import unit_meant
from calib.quantities import known_units, unit
from calib.records import ledger
from calib.records.record import key, typed
from calib.records.tables.conditions import Condition
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal
from calib.records.words import DUCT, STAGES


@dataclass(frozen=True)
class JobOnSite:
    """A job as it stands: its outlets in their order, and those that a reading stands of."""

    job: Job
    outlets: Mapping[str, Outlet]  # by name, as they count now
    measured: frozenset[str]

    @property
    def left(self) -> list[str]:
        """Outlets and ducts that no reading stands of."""
        return [name for name in self.outlets if name not in self.measured]


def job_on_site(session: Session, job: str, now: datetime) -> JobOnSite:
    """A job as it stands now; raises NotInRecordsError."""
    evaluation = evaluate(session, job, now)
    outlets = {outlet.outlet: outlet for outlet in evaluation.outlets.values()}
    measured = frozenset(outlet.outlet for outlet in evaluation.measured_outlets.values())
    return JobOnSite(evaluation.job, outlets, measured)


def job_listed(session: Session, job: str) -> JobOnSite:
    """The same without asking the gate once more: an outlet counts as measured where a reading is on record. Raises as above."""
    on_record = job_named(session, job)
    outlets = outlets_in_force(session, [key(on_record.id)])
    read = set(
        session.exec(
            select(Reading.outlet_id).join(Outlet).where(Outlet.job_id == on_record.id, not_retracted(Reading))
        )
    )
    measured = frozenset(outlet.outlet for outlet_id, outlet in outlets.items() if outlet_id in read)
    return JobOnSite(on_record, {outlet.outlet: outlet for outlet in outlets.values()}, measured)


def readings_on_record(session: Session, outlet: Outlet) -> list[int]:
    """Numbers of the readings of an outlet that were not taken back, as they were recorded."""
    own = select(Reading.id).where(Reading.outlet_id == outlet.id, not_retracted(Reading))
    return [key(each) for each in session.exec(own.order_by(col(Reading.id)))]


# --- with what it is measured ----------------------------------------------------------------------------------------------------


def last_used(
    session: Session, job: str, person: str | None = None, place: str | None = None, instrument: str | None = None
) -> dict[str, str]:
    """With what the latest reading of a job was taken, by whom too; nothing where there is none. Raises NotInRecordsError.

    Of a person that of their own at a like place, where there is one: two at a job have two meters, and a duct is not swept. Of an
    instrument with that alone: another one is used by another method.
    """
    of_job = select(Reading, Method.method).join(Outlet).join(Method, col(Method.id) == Reading.method_id)
    own = of_job.where(Outlet.job_id == job_named(session, job).id, not_retracted(Reading))
    latest_first = own.order_by(col(Reading.id).desc()).limit(1)
    if instrument is not None:
        tagged = select(Instrument.id).where(Instrument.tag == instrument).scalar_subquery()
        latest_first = latest_first.where(Reading.instrument_id == tagged)
    there = latest_first.where(col(Outlet.place).is_not_distinct_from(place))
    queries = (latest_first,) if person is None else (there.where(Reading.operator == person), there, latest_first)
    last = next((row for row in (session.exec(query).first() for query in queries) if row is not None), None)
    if last is None:
        return {}
    reading, method = last
    tags = tags_of(session, {each for each in (reading.instrument_id, reading.probe_id) if each is not None})
    cells = {
        "instrument": tags[reading.instrument_id], "probe": tags.get(reading.probe_id), "conditions": reading.conditions,
        "unit": reading.unit, "method": method, "operator": reading.operator,
    }  # fmt: skip
    return {column: cell for column, cell in cells.items() if cell}


@dataclass(frozen=True)
class InstrumentAsks:
    """What an instrument asks of the set-up."""

    way: Way
    unit: str  # its own
    units: tuple[str, ...]
    cells: Cells  # of the instrument, as it is on record
    decision: Decision  # of the gate, now

    @property
    def highest(self) -> float | None:
        """The highest indication that it is calibrated for [SI]; None where no calibration counts."""
        return None if self.decision.calibration is None else self.decision.calibration.high

    @property
    def columns(self) -> list[str]:
        """What has to be said beside the instrument, in the order in which it is asked."""
        with_probe = ["probe"] if self.way.probe is ProbeUse.NEEDED else []
        in_air = ["conditions"] if self.way.needs_air else []
        return [*with_probe, *in_air, "unit", "method"]


def asks_of_setup(session: Session, tag: str, now: datetime) -> InstrumentAsks:
    """What an instrument asks of the set-up; raises NotInRecordsError."""
    instrument = amended_instrument(session, tag).at(now)
    return InstrumentAsks(
        way_of_instrument(instrument),
        instrument.unit,
        known_units(instrument.indicated),
        typed(instrument),
        _decision(session, tag, now),
    )


def setup_cell(session: Session, job: str, column: str, typed: str, asks: InstrumentAsks | None) -> str:
    """A cell of the set-up as the records have it; raises NotInRecordsError, or BadInputError for an unknown unit."""
    typed = typed.strip()
    if column in ("instrument", "probe"):
        instrument_tagged(session, typed)
    elif column == "method":
        method_named(session, typed)
    elif column == "conditions":
        known = conditions_of(session, job)
        if typed not in known:
            raise not_there(f"conditions {typed!r} in job {job}", known, typed)
    elif column == "unit" and asks is not None:
        meant = unit_meant(typed) or typed
        if meant not in asks.units:
            raise BadInputError([Finding.typed("unit", typed, f"one of {', '.join(asks.units)}")])
        return meant
    return typed


def conditions_of(session: Session, job: str) -> list[str]:
    """Names of the conditions of the air that were recorded in a job."""
    of_job = Condition.job_id == job_named(session, job).id
    return list(session.exec(select(Condition.conditions).where(of_job, not_retracted(Condition)).distinct()))


def stage_meant(typed: str) -> str | None:
    """The stage that a word or its beginning says: before, after, repeat; blank: it is not said. Raises BadInputError."""
    wanted = typed.strip().casefold()
    if not wanted:
        return None
    meant = [stage for stage in STAGES if stage.startswith(wanted)]
    if len(meant) != 1:
        raise BadInputError([Finding.typed("stage", typed, f"one of {', '.join(STAGES)}, or blank")])
    return meant[0]


# --- traverses -------------------------------------------------------------------------------------------------------------------


def is_traversed(outlet: Outlet) -> bool:
    """Whether what is typed at a place are points of a traverse."""
    return outlet.place == DUCT and outlet.shape is not None


def last_traversed(session: Session, outlet: Outlet) -> dict[str, str]:
    """How a duct was traversed last: rule, lines, points; nothing where it never was."""
    last = last_traverses(session, [key(outlet.id)]).get(key(outlet.id))
    return {} if last is None else {"rule": last.rule, "lines": str(last.lines), "points": str(last.points)}


def half_traversed(
    session: Session, job: str, outlet: str, typed: Mapping[str, str], at: datetime
) -> tuple[HalfTraversed, tuple[str, ...]]:
    """A traverse of a duct of which nothing is typed yet, and where each place is, from the wall.

    `typed` are the rule, the numbers of lines and of points and that of the passes; the usual numbers where lines and points are
    not said. Raises BadInputError with every finding, or NotInRecordsError.
    """
    typed = {**typed, "rule": as_meant(READINGS_CSV.by_name["traverse_rule"], typed["rule"])[0]}
    section, in_unit = section_on_record(session, job, outlet)
    checks = {"rule": one_of(*POINT_RULES), "lines": whole, "points": whole, "passes": whole}
    wrong = {name: check(typed[name]) for name, check in checks.items() if name in typed}
    if wrong["rule"] is None:
        for name, counts in zip(("lines", "points"), point_counts(section.shape, typed["rule"]), strict=True):
            if name in typed and wrong[name] is None and int(typed[name]) not in counts:
                wrong[name] = f"{spoken(counts)} by the {typed['rule']} rule in a {section.shape} duct"
    findings = [Finding.typed(name, typed[name], expected) for name, expected in wrong.items() if expected is not None]
    if findings:
        raise BadInputError(findings)
    lines, points = usual(section, typed["rule"])
    lines, points = int(typed.get("lines", lines)), int(typed.get("points", points))
    places = traverse(section, typed["rule"], lines, points)
    keys = tuple((place.line, place.point) for place in places)
    half = HalfTraversed(typed["rule"], lines, points, int(typed.get("passes", 1)), keys, at.isoformat())
    return half, tuple(from_the_wall(place.along, in_unit) for place in places)


def doubts_of_points(sitting: Sitting, typed_before: int, asks: InstrumentAsks) -> list[Doubt]:
    """What is unusual about points of a traverse behind the first `typed_before`, asked while whoever typed them is at the duct.

    Raises BadInputError with every one that no such instrument shows.
    """
    half = sitting.traverse
    assert half is not None  # noqa: S101 (asked by whoever calls)
    findings: list[Finding] = []
    doubts: list[Doubt] = []
    for order, value in enumerate(half.values[typed_before:], start=typed_before):
        run, place = divmod(order, len(half.places))
        named = "line {}, point {}".format(*half.places[place])
        slip = slip_among([float(value)], sitting.setup["unit"], asks.cells)
        if slip is not None:
            findings.append(Finding(named, None, None, value, slip))
            continue
        passes = ";".join(half.values[place : order + 1 : len(half.places)])
        of_pass = half.values[run * len(half.places) : order]
        doubts += [
            Doubt(named, None, "indications", shown, odd)
            for shown, odd in (
                (passes, odd_passes(passes, asks.cells)),
                (value, odd_point(value, of_pass, asks.cells)),
                (value, _too_high(value, sitting.setup["unit"], asks)),
            )
            if odd is not None
        ]
    if findings:
        raise BadInputError(findings)
    return doubts


def _too_high(value: str, symbol: str, asks: InstrumentAsks) -> str | None:
    """A point for which the gate would refuse the whole traverse."""
    typed_in = unit(quantity_indicated(asks.cells), symbol)
    if asks.highest is None or typed_in.to_si(float(value)) <= asks.highest:
        return None
    highest = f"it is calibrated up to {typed_in.from_si(asks.highest):.4g} {symbol}"
    return f"{highest}, and the gate would refuse the traverse"


# --- asked before anything is typed ----------------------------------------------------------------------------------------------


def against_setup(session: Session, sitting: Sitting, person: str, now: datetime) -> list[str]:
    """What is against a reading here with this set-up, whatever it shows: asked before anybody climbs, and before fifty points.

    Asked with an indication in the middle of what the instrument is calibrated for, and nothing is written.
    """
    tag = sitting.setup["instrument"]
    decision = _decision(session, tag, now)
    if decision.calibration is None or not decision.allowed:
        return list(decision.reasons)
    indicated = unit(amended_instrument(session, tag).at(now).indicated, sitting.setup["unit"])
    middle = repr(indicated.from_si((decision.calibration.low + decision.calibration.high) / 2))
    if sitting.traverse is None:
        tried = sitting.with_values([middle, middle], now)
    else:
        of_points = (middle,) * len(sitting.traverse.places) * sitting.traverse.passes
        tried = replace(sitting, traverse=replace(sitting.traverse, values=of_points)).as_whole()
    assert tried.entry is not None  # noqa: S101 (it has every value)
    cells = {**tried.entry.cells, "operator": person}
    sheets = (
        traverse_rows(cells, tried.entry.points) if tried.entry.points else {"readings.csv": [typed_row(None, cells)]}
    )
    try:
        return [reason for refused in rehearse(session, sheets, now) for reason in refused.reasons]
    except BadInputError as error:
        return [str(finding) for finding in error.findings]


def _decision(session: Session, tag: str, now: datetime) -> Decision:
    """What the gate says of an instrument now; raises NotInRecordsError."""
    return decision_on(gear_of(session, [key(instrument_tagged(session, tag).id)]), tag, now, now)


# --- an entry --------------------------------------------------------------------------------------------------------------------


def write_entry(
    session: Session,
    entry: TypedEntry,
    signature: ledger.Signature,
    now: datetime,
    *,
    sure: bool,
    keep_refused: bool,
    log: FileContent | None = None,
) -> Imported:
    """Write an entry: a reading, or where that is wanted the refusal of one; `log` is the file that its log_file names.

    Raises BadInputError, DoubtError (`calib.procedures.enter.add_reading`), or RefusedError with the gate's reasons where no
    refusal is to be kept: nothing must be committed then.
    """
    if entry.points:
        imported = add_traverse(session, entry.cells, entry.points, signature, now, sure=sure)
    else:
        imported = add_reading(session, entry.cells, log, signature, now, sure=sure)
    reasons = [reason for refusal in imported.refusals for reason in refusal.reasons]
    if reasons and not keep_refused:
        raise RefusedError("\n".join(reasons))
    return imported


@dataclass(frozen=True)
class WrittenAs:
    """An entry as it stands in the records."""

    record_id: int
    refused: bool


def written_as(session: Session, entry: TypedEntry) -> WrittenAs | None:
    """As what an entry was written; None where it was not. What was taken back since counts: it was written."""
    try:
        outlet = outlet_named(session, entry.cells["job"], entry.cells["outlet"])
        instrument = instrument_tagged(session, entry.cells["instrument"])
    except NotInRecordsError:
        return None
    for table in (Reading, Refusal):
        own = (table.outlet_id == outlet.id, table.instrument_id == instrument.id)
        recorded = session.exec(select(table.id, table.observed_at).where(*own).order_by(col(table.id).desc()))
        for record_id, observed_at in recorded:
            if same_time(observed_at) == same_time(entry.cells["observed_at"]):
                return WrittenAs(key(record_id), refused=table is Refusal)
    return None


def readings_meanwhile(session: Session, outlet: Outlet, known: Collection[str]) -> int | None:
    """The latest reading of an outlet that was not known to be measured; None where there is none."""
    if outlet.outlet in known:
        return None
    own = select(Reading.id).where(Reading.outlet_id == outlet.id, not_retracted(Reading))
    return session.exec(own.order_by(col(Reading.id).desc()).limit(1)).first()
