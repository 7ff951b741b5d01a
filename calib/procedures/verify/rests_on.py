"""What an issue or an acceptance rests on is verified before it is written: rows, digests, ledger entries, pages and indexes.

Damage elsewhere does not stop it: `verify` finds that; but a row that is gone from a table they read may have been theirs. A curve
by the rule that the rule does not make, and what was put into a certificate after its acceptance, are refused here too.

Decision (2026-11). An issue and an acceptance check what they rest on, by rows and entries, and the pages and indexes of the
tables they read; not the whole chain, which every other company's record would lengthen. Cost: a table is read once from end to
end. The pages of the ledger, the longest of all, are not: each of its entries that is read proves itself by its digest, so that a
damaged page or index there gives a finding and never a wrong answer (it took two thirds of the time after 19 years).
"""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from sqlmodel import Session, col, select

from calib.errors import DamagedError, Step
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.register import with_standards
from calib.procedures.verify.closed_certificates import late_findings
from calib.procedures.verify.curves_by_rule import curve_findings
from calib.procedures.verify.retractions import retractions_of
from calib.records.pages import page_findings
from calib.records.stored_state import apart_from_closed
from calib.records.tables.calibrations import Acceptance, Calibration, ReferenceStandard, Withdrawal
from calib.records.tables.comparisons import Comparison, ComparisonCorrelation
from calib.records.tables.conditions import Condition
from calib.records.tables.curves import StoredCurve
from calib.records.tables.events import Event, IntermediateCheck, Pairing
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.instruments import InstrumentRevision
from calib.records.tables.jobs import DeclaredAir, JobRevision, Room, SystemDesign
from calib.records.tables.methods import MethodRevision
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.readings import Reading, Refusal, TraversePoint
from calib.records.tables.reviews import ImpactReview, ReviewDecision
from calib.records.tables.supersessions import Supersession
from calib.records.verification import LedgerFinding, head_findings, missing_rows, row_findings

Numbers = Mapping[str, Collection[int]]  # of records, by table


def must_be_whole(session: Session, numbers: Numbers) -> None:
    """Raises DamagedError, a line for each finding, where records or what they stand in were changed past the program."""
    findings = changed_past(session, numbers)
    if findings:
        raise DamagedError(
            "\n".join([*map(str, findings), f"nothing was written; {Step.VERIFY} says all that is wrong"])
        )


def changed_past(session: Session, numbers: Numbers) -> Sequence[LedgerFinding]:
    """What was changed past the program of some records, or of what they stand in."""
    connection = session.connection()
    pages = page_findings(connection, tuple(filter(numbers.get, numbers)))
    calibrations = numbers.get("calibration", ())
    rows = (*row_findings(connection, numbers), *row_findings(connection, missing_rows(connection, numbers)))
    stored, _ = apart_from_closed(connection, [*pages, *rows, *head_findings(connection)])
    return stored or [*late_findings(session, calibrations), *curve_findings(session, calibrations)]


_OF_CALIBRATION: tuple[Any, ...] = (
    Comparison, ComparisonCorrelation, ReferenceStandard, StoredCurve, Acceptance,
    Withdrawal, Supersession,
)  # fmt: skip
_OF_INSTRUMENT: tuple[Any, ...] = (Event, IntermediateCheck, InstrumentRevision)
_OF_JOB: tuple[Any, ...] = (
    Outlet,
    SystemDesign,
    Room,
    Condition,
    JobRevision,
    DeclaredAir,
)


def of_instruments(session: Session, instruments: Collection[int]) -> dict[str, set[int]]:
    """Instruments with the standards that they rest on, their certificates, events and checks."""
    reached = with_standards(session, instruments)
    numbers = {"instrument": reached, "calibration": _of(session, Calibration, "instrument_id", reached)}
    for table in _OF_CALIBRATION:
        numbers[str(table.__tablename__)] = _of(session, table, "calibration_id", numbers["calibration"])
    for table in _OF_INSTRUMENT:
        numbers[str(table.__tablename__)] = _of(session, table, "instrument_id", reached)
    # Decisions of reviews say which curve holds.
    numbers["impact_review"] = _of(session, ImpactReview, "calibration_id", numbers["calibration"])
    numbers["review_decision"] = _of(session, ReviewDecision, "impact_review_id", numbers["impact_review"])
    pairs = (_of(session, Pairing, column, reached) for column in ("probe_id", "meter_id"))
    numbers["pairing"] = set().union(*pairs)
    return numbers | {"retraction": retractions_of(session, numbers)}


def of_job(session: Session, job: int) -> dict[str, set[int]]:
    """All that a job's report rests on."""
    numbers = {"job": {job}}
    for table in _OF_JOB:
        numbers[str(table.__tablename__)] = _of(session, table, "job_id", {job})
    outlets = numbers["outlet"]
    numbers["outlet_revision"] = _of(session, OutletRevision, "outlet_id", outlets)
    for table in (Reading, Refusal):
        numbers[str(table.__tablename__)] = _of(session, table, "outlet_id", outlets)
    numbers["method"] = _used(session, "method_id", outlets)
    numbers["method_revision"] = _of(session, MethodRevision, "method_id", numbers["method"])
    numbers["traverse"] = _used(session, "traverse_id", outlets)
    numbers["traverse_point"] = _of(session, TraversePoint, "traverse_id", numbers["traverse"])
    numbers["logged_series"] = _used(session, "logged_series_id", outlets)
    numbers |= _factors(session, numbers)
    instruments = _used(session, "instrument_id", outlets) | _used(session, "probe_id", outlets)
    for table, column, owners in (
        (Condition, "job_id", {job}), (FoundFactor, "id", numbers["found_factor"]),
    ):  # fmt: skip
        instruments |= _of(session, table, column, owners, "instrument_id")
    numbers |= of_instruments(session, instruments)
    return numbers | {"retraction": retractions_of(session, numbers)}


def _used(session: Session, column: str, outlets: Collection[int]) -> set[int]:
    """What readings and refusals at outlets name in a column."""
    return set().union(*(_of(session, table, "outlet_id", outlets, column) for table in (Reading, Refusal)))


def _factors(session: Session, numbers: Numbers) -> dict[str, set[int]]:
    names = {
        *by_keys(session, select(Outlet.found_factor), Outlet.id, numbers["outlet"]),
        *by_keys(session, select(OutletRevision.found_factor), OutletRevision.id, numbers["outlet_revision"]),
    }
    named = select(FoundFactor.id).where(col(FoundFactor.factor).in_(sorted(filter(None, names))))
    factors = {record_id for record_id in session.exec(named) if record_id is not None}
    return {"found_factor": factors, "factor_pair": _of(session, FactorPair, "found_factor_id", factors)}


def _of(session: Session, table: Any, column: str, owners: Collection[int], wanted: str = "id") -> set[int]:
    """Numbers in one column of the rows that another column says belong to some owners."""
    query = select(getattr(table, wanted)).distinct()
    return {record_id for record_id in by_keys(session, query, getattr(table, column), owners) if record_id is not None}
