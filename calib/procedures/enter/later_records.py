"""What came after the first typing, as an export writes it and an import reads it back.

events.csv       suspensions, releases, damage, repairs, moves, retirements, interval changes
checks.csv       intermediate checks; whether one passed follows from its limits
pairings.csv     probes and the meters that they are used with
curves.csv       curves that a person chose instead of the rule
withdrawals.csv  calibrations that were recorded wrongly, and count for nothing
factors.csv      outlet factors found in the field, as they were stored; factor_pairs.csv has the readings that they rest on
amendments.csv   outlets as they were amended, each time the whole of them

Readings are checked against outlets as they were last amended: so they are evaluated. Events, checks and pairings may speak of what
is on record already; the others of what the same import brings.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlmodel import Session, SQLModel, select

from calib.errors import CurveError, Finding, Step
from calib.procedures.certificate.fit_curve import CurveWish, curve_record
from calib.procedures.enter.check_jobs import outlet_findings
from calib.procedures.on_record.by_name import calibration_numbered, instrument_tagged
from calib.procedures.on_record.calibrations import calibration_on_file, refit
from calib.procedures.typed.rows_together import Known, Typed, duplicate, repeated, same_time
from calib.procedures.typed.sheets import Cells, Row, Sheets
from calib.records.record import key
from calib.records.tables import (
    INTERVAL_CHANGE,
    THIS_TYPE,
    Calibration,
    CorrectionCurve,
    Event,
    FactorPair,
    FoundFactor,
    Instrument,
    IntermediateCheck,
    Job,
    Method,
    Outlet,
    OutletRevision,
    Pairing,
    Reading,
    Withdrawal,
)

Append = Callable[[Sequence[SQLModel]], None]
Names = tuple[str, str]

_OUTLET = ("job", "outlet")
_TRAVERSE = ("traverse_job", "traverse_outlet", "traverse_instrument", "traverse_observed_at")
_FACE = ("face_job", "face_outlet", "face_instrument", "face_observed_at")
_INDICATIONS = "face_indications"
_NUMBERS_OF_FACTORS = (
    "value", "effective_area", "relative_spread", "degrees_of_freedom", "relative_reference", "relative_instrument",
)  # fmt: skip


# --- outlets and factors as the other rows see them ------------------------------------------------------------------------------


def in_force(sheets: Sheets) -> Sheets:
    """The sheets with each amended outlet as its last amendment has it."""
    last = {_outlet(row): row for row in _amendments(sheets)}
    outlets = [_amended(row, last.get(_outlet(row))) for row in sheets["outlets.csv"]]
    return {**sheets, "outlets.csv": outlets}


def _amendments(sheets: Sheets) -> list[Row]:
    rows = [row for row in sheets["amendments.csv"] if row.sound(*_OUTLET, "revision")]
    return sorted(rows, key=lambda row: int(row.cells["revision"]))


def _outlet(row: Row) -> Names:
    return row.cells.get("job", ""), row.cells.get("outlet", "")


def _amended(first: Row, last: Row | None) -> Row:
    if last is None:
        return first
    cells = {name: cell for name, cell in last.cells.items() if name not in ("revision", "reason")}
    return Row(last.source, last.number, cells, set(last.bad))


def with_factors(known: Known, sheets: Sheets) -> Known:
    """What is known, with the factors that this import brings."""
    return replace(known, factors=known.factors | _factors(sheets))


def _factors(sheets: Sheets) -> dict[str, Cells]:
    # They name no key of an outlet, which is not on record yet: whether one for this outlet is used there is asked below.
    return {row.cells["factor"]: Typed(row.cells) for row in _by_revision(sheets["factors.csv"])}


def _by_revision(rows: Iterable[Row]) -> list[Row]:
    sound = [row for row in rows if row.sound("factor", "revision")]
    return sorted(sound, key=lambda row: (row.cells["factor"], int(row.cells["revision"])))


# --- what is wrong ---------------------------------------------------------------------------------------------------------------


def history_findings(sheets: Sheets, known: Known, now: datetime) -> list[Finding]:
    """All findings on these files that stand in a row, or in a row beside the others."""
    tags = {row.cells["tag"] for row in sheets["instruments.csv"] if row.sound("tag")} | known.instruments.keys()
    open_tags = any("tag" in row.bad for row in sheets["instruments.csv"])
    return [
        *(_tags_known(sheets, tags) if not open_tags else ()),
        *_not_to_come(sheets, now),
        *_values(sheets["events.csv"]),
        *_limits(sheets["checks.csv"]),
        *_of_certificates(sheets),
        *_of_factors(sheets, known),
        *_of_pairs(sheets),
        *_of_amendments(sheets, known),
    ]


def _tags_known(sheets: Sheets, tags: set[str]) -> Iterable[Finding]:
    where = {
        "events.csv": ("tag",),
        "checks.csv": ("tag", "other"),
        "pairings.csv": ("probe", "meter"),
        "factors.csv": ("instrument",),
    }
    for file, columns in where.items():
        for row in sheets[file]:
            for column in columns:
                if row.sound(column) and row.cells[column] not in tags:
                    yield row.finding(column, "the tag of an instrument in instruments.csv or in the records")
    for row in sheets["pairings.csv"]:
        if row.sound("probe", "meter") and row.cells["probe"] == row.cells["meter"]:
            yield row.finding("meter", "another instrument than the probe")


def _not_to_come(sheets: Sheets, now: datetime) -> Iterable[Finding]:
    for file in ("events.csv", "checks.csv", "pairings.csv"):
        for row in sheets[file]:
            at = row.get("at")
            if at is not None and datetime.fromisoformat(at) > now:
                yield row.finding("at", f"a time that is not in the future (it is {now.isoformat(timespec='minutes')})")


def _values(rows: Iterable[Row]) -> Iterable[Finding]:
    for row in rows:
        value = row.get("value")
        if row.get("kind") == INTERVAL_CHANGE and not (value or "").isdecimal():
            yield row.finding("value", "the new interval in months, a whole number")


def _limits(rows: Iterable[Row]) -> Iterable[Finding]:
    for row in rows:
        if row.sound("low", "high") and not float(row.cells["low"]) <= float(row.cells["high"]):
            yield row.finding("high", f"a number not below low ({row.cells['low']})")


def _of_certificates(sheets: Sheets) -> Iterable[Finding]:
    """Curves and withdrawals speak of certificates that the same import brings; each is withdrawn once."""
    there = {(row.get("tag"), row.get("certificate")) for row in sheets["calibrations.csv"]}
    for row in (*sheets["curves.csv"], *sheets["withdrawals.csv"]):
        if row.sound("tag", "certificate") and (row.cells["tag"], row.cells["certificate"]) not in there:
            yield duplicate(row, ("certificate",), f"a certificate of {row.cells['tag']} in calibrations.csv")
    yield from repeated(sheets["withdrawals.csv"], ("tag", "certificate"), lambda _: False)


def _of_factors(sheets: Sheets, known: Known) -> Iterable[Finding]:
    rows = sheets["factors.csv"]
    yield from repeated(rows, ("factor", "revision"), lambda names: names[0] in known.factors)
    outlets = _typed_first(sheets)
    certificates = {(row.get("tag"), row.get("certificate")) for row in sheets["calibrations.csv"]} | known.calibrations
    methods = {row.get("method") for row in sheets["methods.csv"]} | known.methods.keys()
    for row in rows:
        of_type = row.get("scope") == THIS_TYPE
        if row.sound("scope") and of_type != row.sound("outlet_type"):
            yield row.finding("outlet_type", "the type of outlet, of a factor for a type alone")
        if row.sound("scope") and of_type == (_outlet(row) in outlets):
            yield row.finding("outlet", "an outlet in outlets.csv, of a factor for this outlet alone")
        if row.sound("instrument", "certificate") and _used(row) not in certificates:
            yield row.finding("certificate", f"a certificate of {row.cells['instrument']}")
        if row.sound("method") and row.cells["method"] not in methods:
            yield row.finding("method", "a method in methods.csv or in the records")


def _used(row: Row) -> Names:
    return row.cells["instrument"], row.cells["certificate"]


def _typed_first(sheets: Sheets) -> dict[Names, Row]:
    return {_outlet(row): row for row in sheets["outlets.csv"] if row.sound(*_OUTLET)}


def _of_pairs(sheets: Sheets) -> Iterable[Finding]:
    factors = {(row.get("factor"), row.get("revision")) for row in sheets["factors.csv"]}
    readings = {_reading(row, ("job", "outlet", "instrument", "observed_at")) for row in sheets["readings.csv"]}
    for row in sheets["factor_pairs.csv"]:
        if row.sound("factor", "revision") and (row.cells["factor"], row.cells["revision"]) not in factors:
            yield row.finding("revision", "a factor and a revision of it in factors.csv")
        for columns in (_TRAVERSE, _FACE):
            if row.sound(*columns) and _reading(row, columns) not in readings:
                yield row.finding(columns[-1], "the job, outlet, instrument and time of a reading in readings.csv")


def _reading(row: Row, columns: Sequence[str]) -> tuple[str, ...]:
    if not row.sound(*columns):
        return ()
    return (*(row.cells[column] for column in columns[:-1]), same_time(row.cells[columns[-1]]))


def _of_amendments(sheets: Sheets, known: Known) -> Iterable[Finding]:
    rows, outlets = _amendments(sheets), _typed_first(sheets)
    factors = known.factors | _factors(sheets)
    seen: dict[Names, int] = defaultdict(lambda: 1)
    last = {_outlet(row): row for row in rows}
    for row in rows:
        seen[_outlet(row)] += 1
        if _outlet(row) not in outlets:
            yield duplicate(row, ("outlet",), f"an outlet in outlets.csv; one on record is {Step.AMEND_OUTLET}")
        elif int(row.cells["revision"]) != seen[_outlet(row)]:
            yield duplicate(row, ("revision",), f"{seen[_outlet(row)]}: the outlet as first typed is revision 1")
        yield from _of_one_outlet(row, sheets)
        if last[_outlet(row)] is not row:  # the last one is looked at with the outlets
            yield from outlet_findings(row, factors)
    for names in last.keys() & outlets.keys():
        yield from outlet_findings(outlets[names], factors)


def _of_one_outlet(row: Row, sheets: Sheets) -> Iterable[Finding]:
    for factor in sheets["factors.csv"]:
        own = factor.get("factor") == row.get("found_factor") and factor.get("scope") not in (None, THIS_TYPE)
        if own and row.sound("found_factor") and _outlet(factor) != _outlet(row):
            yield row.finding("found_factor", f"a factor of this outlet; it was found for {factor.get('outlet')}")
            return


# --- what is written -------------------------------------------------------------------------------------------------------------


def write_of_instruments(session: Session, sheets: Sheets, append: Append) -> None:
    """Events, checks, pairings and chosen curves: what the gate and the evaluation of readings ask for."""
    tags = {one.tag: key(one.id) for one in session.exec(select(Instrument))}
    append([Event(instrument_id=tags[row.cells["tag"]], **_without(row, "tag")) for row in sheets["events.csv"]])
    append([_check(row, tags) for row in sheets["checks.csv"]])
    append(
        [
            Pairing(
                probe_id=tags[row.cells["probe"]],
                meter_id=tags[row.cells["meter"]],
                **_without(row, "probe", "meter"),
            )
            for row in sheets["pairings.csv"]
        ]
    )
    append([_chosen(session, row) for row in sheets["curves.csv"]])


def _without(row: Row, *columns: str) -> dict[str, Any]:
    return {name: cell for name, cell in row.cells.items() if name not in columns}


def _check(row: Row, tags: Mapping[str, int]) -> IntermediateCheck:
    low, value, high = (float(row.cells[column]) for column in ("low", "value", "high"))
    return IntermediateCheck(
        instrument_id=tags[row.cells["tag"]],
        other_instrument_id=tags.get(row.cells.get("other", "")),
        result="passed" if low <= value <= high else "failed",
        **_without(row, "tag", "other"),
    )


def write_withdrawals(session: Session, sheets: Sheets, append: Append) -> None:
    """Calibrations that count for nothing."""
    append([_withdrawn(session, row) for row in sheets["withdrawals.csv"]])


def _withdrawn(session: Session, row: Row) -> Withdrawal:
    instrument = instrument_tagged(session, row.cells["tag"])
    calibration = calibration_numbered(session, instrument, row.cells["certificate"])
    return Withdrawal(calibration_id=key(calibration.id), reason=row.cells["reason"])


def _chosen(session: Session, row: Row) -> CorrectionCurve:
    """Fitted anew, as the person asked for it; raises BadInputError where the comparisons make no such curve."""
    kept = calibration_on_file(session, row.cells["tag"], row.cells["certificate"])
    degree = row.get("degree")
    wish = CurveWish(None if degree is None else int(degree), None if degree is not None else row.get("shape"))
    try:
        fitted = refit(kept, wish)
    except CurveError as error:
        raise CurveError(f"{row.source} row {row.number}: {error}") from error
    return curve_record(key(kept.calibration.id), fitted, row.cells["chosen_by"], row.cells["reason"])


def write_of_outlets(session: Session, sheets: Sheets, append: Append) -> None:
    """Found factors and amendments: what the outlets of readings are."""
    rows = _by_revision(sheets["factors.csv"]), sheets["amendments.csv"]
    if not any(rows):
        return
    outlets = _outlet_keys(session)
    append(_factor_records(session, rows[0], outlets))
    append(
        [
            OutletRevision(
                outlet_id=outlets[_outlet(row)],
                revision=int(row.cells["revision"]),
                **_without(row, *_OUTLET, "revision"),
            )
            for row in sheets["amendments.csv"]
        ]
    )


def _outlet_keys(session: Session) -> dict[Names, int]:
    found = session.exec(select(Job.job, Outlet.outlet, Outlet.id).join(Outlet))
    return {(job, outlet): key(number) for job, outlet, number in found}


def _factor_records(session: Session, rows: Sequence[Row], outlets: Mapping[Names, int]) -> list[FoundFactor]:
    tags = {one.tag: key(one.id) for one in session.exec(select(Instrument))}
    methods = {one.method: key(one.id) for one in session.exec(select(Method))}
    calibrations = {
        (tag, certificate): key(number)
        for tag, certificate, number in session.exec(
            select(Instrument.tag, Calibration.certificate, Calibration.id).join(Calibration)
        )
    }
    return [
        FoundFactor(
            outlet_id=outlets.get(_outlet(row)),
            instrument_id=tags[row.cells["instrument"]],
            calibration_id=calibrations[_used(row)],
            method_id=methods[row.cells["method"]],
            revision=int(row.cells["revision"]),
            face_indications=json.dumps([float(one) for one in row.cells[_INDICATIONS].split(";")]),
            **_as_stored(row),
        )
        for row in rows
    ]


def _as_stored(row: Row) -> dict[str, Any]:
    numbers = {name: float(row.cells[name]) for name in _NUMBERS_OF_FACTORS if row.sound(name)}
    return numbers | {name: row.get(name) for name in ("factor", "scope", "outlet_type", "reason")}


def write_pairs(session: Session, sheets: Sheets, append: Append) -> None:
    """The readings that each factor rests on."""
    rows = sheets["factor_pairs.csv"]
    if not rows:
        return
    factors = {(one.factor, str(one.revision)): key(one.id) for one in session.exec(select(FoundFactor))}
    readings: dict[tuple[str, ...], int] = {
        (job, outlet, tag, same_time(at)): key(number)
        for job, outlet, tag, at, number in session.exec(
            select(Job.job, Outlet.outlet, Instrument.tag, Reading.observed_at, Reading.id)  # type: ignore[call-overload]
            .join(Outlet, Outlet.job_id == Job.id)
            .join(Reading, Reading.outlet_id == Outlet.id)
            .join(Instrument, Reading.instrument_id == Instrument.id)
        )
    }
    append(
        [
            FactorPair(
                found_factor_id=factors[row.cells["factor"], row.cells["revision"]],
                traverse_reading_id=readings[_reading(row, _TRAVERSE)],
                face_reading_id=readings[_reading(row, _FACE)],
                value=float(row.cells["value"]),
            )
            for row in rows
            # A reading that the gate refuses today is kept as a refusal, and no factor rests on that.
            if _reading(row, _TRAVERSE) in readings and _reading(row, _FACE) in readings
        ]
    )


def amended_outlets(sheets: Sheets) -> frozenset[Names]:
    """Outlets that this import brings with amendments."""
    return frozenset(_outlet(row) for row in sheets["amendments.csv"])
