"""Write sheets of typed rows into the records: everything in one transaction, all or nothing.

Readings that the gate refuses are no trouble: they are kept as refusals.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlmodel import Session, SQLModel, select

from calib.confirmation.traceability import Record
from calib.counted import count_of
from calib.errors import BadInputError, DoubtError, Finding
from calib.procedures.enter.check_certificates import certificate_findings, past_findings, use_findings
from calib.procedures.enter.check_correlations import correlation_findings
from calib.procedures.enter.check_house import competence_findings, house_findings, without_review
from calib.procedures.enter.check_jobs import job_findings
from calib.procedures.enter.check_ranges import outside_range
from calib.procedures.enter.check_revisions import revision_findings, typed_again
from calib.procedures.enter.check_stages import staged, without_corrected
from calib.procedures.enter.fit_certificates import AcceptancesJudged, CurvesFitted, fit_curves, judge_acceptances
from calib.procedures.enter.grown_sheets import Grown, grown
from calib.procedures.enter.later_records import factors_here, history_findings, in_force, states_of_instruments
from calib.procedures.enter.names_on_record import AskedNames, NamesOnRecord, Recorded
from calib.procedures.enter.odd_cells import doubts_of, odd_cells
from calib.procedures.enter.record_rows import decision_of_row, keys_of, rows_of_table
from calib.procedures.enter.write_certificates import acceptances, chosen_curves, curves_by_rule, standards_of_rows
from calib.procedures.enter.write_readings import RefusedReading, on_record_of_rows, write_readings
from calib.procedures.enter.write_retractions import retractions_of_rows
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import Reviewed, open_reviews
from calib.procedures.impact.out_of_order import open_for_damage, open_for_failed_check
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.by_name import retired_among
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.people import four_eyes
from calib.procedures.people.authorise import append_rows, people_on_record, signed
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import TAKEN_BACK
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.rows_together import KnownNames
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow, cell_findings, typed_row
from calib.procedures.typed.time_to_come import findings_of_times, notices_of_times
from calib.records import ledger
from calib.records.tables.calibrations import Acceptance, ReferenceStandard
from calib.records.tables.curves import StoredCurve
from calib.records.tables.entries import Retraction
from calib.records.tables.events import Event, IntermediateCheck
from calib.records.tables.outlets import OutletRevision
from calib.records.tables.reviews import ImpactReview, ReviewDecision
from calib.records.verification import Progress
from calib.records.words import DAMAGE
from calib.unswept import unswept

# Files of which each row is a record by itself, in the order in which records refer to one another.
_CERTIFICATES = (
    "instruments.csv", "instrument_amendments.csv", "methods.csv", "method_amendments.csv", "sources.csv", "source_spellings.csv",
    "jobs.csv", "job_amendments.csv", "calibrations.csv", "comparisons.csv", "correlations.csv",
)  # fmt: skip
_OF_INSTRUMENTS = ("events.csv", "checks.csv", "pairings.csv")
_OF_JOBS = ("systems.csv", "rooms.csv", "air.csv", "outlets.csv")
_ON_FACTORS = ("amendments.csv", "conditions.csv")
_OF_THE_HOUSE = (
    "house_rules.csv",
    "competences.csv",
    "validations.csv",
    "laboratory_certificates.csv",
)  # last: what comes before was written without them
# Tables whose new records may open an impact review or add a line to one.
_TOUCHED_BY_REVIEWS = frozenset(
    {"calibration", "condition", "reading", "found_factor", "outlet_revision", "intermediate_check"}
)


@dataclass(frozen=True)
class Imported:
    """What an import wrote."""

    records: Mapping[str, int]  # name of the table -> number of records
    refusals: tuple[RefusedReading, ...]
    on_record: Mapping[str, int]  # file -> rows that the records held already, as they stand
    rows: Sheets  # that were new, as they are meant; files without any are absent
    remarks: tuple[str, ...] = ()  # what is worth saying, each told to `progress` too


def import_row(
    session: Session, file: str, cells: Cells, signature: ledger.Signature, now: datetime, *, sure: bool = True
) -> TypedRow:
    """Write one row of a file that was typed by itself, and answer with it as it was kept; raises BadInputError, DoubtError."""
    row = typed_row(None, cells)
    import_sheets(session, {file: [row]}, signature, now, sure=sure)
    return row


@unswept
def import_sheets(
    session: Session,
    sheets: Mapping[str, Sequence[TypedRow]],
    signature: ledger.Signature,
    now: datetime,
    findings: Sequence[Finding] = (),
    progress: Progress = lambda _: None,
    *,
    strict: bool = False,
    correcting: str | None = None,
    reason: str | None = None,
    sure: bool = True,
    may_have_grown: bool = False,
) -> Imported:
    """Check sheets and append their records; files that are not there have no rows. Raises BadInputError with every finding.

    `findings` are those of the files themselves; what could not be read there is asked for nowhere else. `strict`: whoever types a
    certificate may not accept it too unless the rule of the house says so, and says why an acceptance holds from an earlier day;
    otherwise that is only said, and `reason` is why for all that does not say so itself. `correcting`:
    why the readings on record that rows of readings.csv take the place of are taken back. `sure`: what is unusual is written with
    a notice; not so where it was typed by hand and nobody said yet that it is right: raises DoubtError then. `may_have_grown`: rows
    that the records hold as they stand are left out and counted, and those that they hold otherwise are findings.
    """
    complete: Sheets = {name: sheets.get(name, ()) for name in FILES}
    progress(f"checking {sum(len(rows) for rows in complete.values())} rows")
    asked = AskedNames(complete)
    recorded = Recorded(session, asked)
    of_cells = [finding for name, columns in FILES.items() for finding in cell_findings(complete[name], columns)]
    parted = grown(complete, recorded) if may_have_grown else Grown(complete, Counter(), ())
    complete = parted.new
    checked = _checked(
        complete,
        recorded,
        frozenset(Path(each.source).name for each in findings if each.source is not None),
        now,
        correcting=correcting is not None,
    )
    signature = signed(session, signature)
    alone, said = four_eyes.of_import(session, complete["calibrations.csv"], signature.person, strict)
    people = people_on_record(session)
    of_acceptors = four_eyes.of_acceptors(people, complete["calibrations.csv"], signature.time)
    of_people = competence_findings(complete["competences.csv"], people, signature)
    of_past = past_findings(complete["calibrations.csv"], signature.time.date()) if strict else []
    wrong = [
        *findings,
        *of_cells,
        *parted.findings,
        *checked.findings,
        *alone,
        *of_acceptors,
        *of_people,
        *of_past,
        *_of_reason(reason),
    ]
    if wrong:
        raise BadInputError(sorted(wrong, key=_place))
    doubts = list(doubts_of(complete, checked.named.instruments, checked.named.cells("outlets.csv")))
    if doubts and not sure:
        raise DoubtError(doubts)
    writing = _Writing(session, asked, signature, now, progress, reason, correcting)
    writing.on_record = parted.on_record
    for notice in [
        *([] if said is None else [said]),
        *parted.notices,
        *notices_of_times(complete, now),
        *outside_range(complete, checked.named.instruments),
        *odd_cells(doubts),
        *_of_retired(session, complete["calibrations.csv"]),
    ]:
        writing.remark(f"notice: {notice}")
    return writing.write(complete, checked)


def rehearse(session: Session, sheets: Mapping[str, Sequence[TypedRow]], now: datetime) -> tuple[RefusedReading, ...]:
    """What the gate would refuse of readings, nothing written: asked before anybody types fifty points. Raises BadInputError."""
    complete: Sheets = {name: sheets.get(name, ()) for name in FILES}
    asked = AskedNames(complete)
    checked = _checked(complete, Recorded(session, asked), frozenset(), now, correcting=False)
    if checked.findings:
        raise BadInputError(sorted(checked.findings, key=_place))
    return write_readings(session, complete, NamesOnRecord(session, asked), None, now, lambda _, rows: range(len(rows)))


def _of_retired(session: Session, rows: Sequence[TypedRow]) -> list[str]:
    """What is said of certificates of instruments that are retired."""
    tags = retired_among(session, {row.cells["tag"] for row in rows})
    told = "is kept for what it was found to be, and opens no gate"
    return [
        f"{row.cells['tag']} is retired: certificate {row.cells['certificate']} {told}"
        for row in rows
        if row.cells["tag"] in tags
    ]


def _of_reason(reason: str | None) -> list[Finding]:
    return [] if reason is None else without_reason(reason, "why it holds from before it is recorded, in a few words")


def _place(finding: Finding) -> tuple[str, int]:
    return finding.source or "", finding.row or 0


@dataclass(frozen=True)
class _Checked:
    """What checking found out of the sheets."""

    named: KnownNames
    fitted: CurvesFitted
    judged: AcceptancesJudged
    findings: Sequence[Finding]


def _checked(
    sheets: Sheets, recorded: Recorded, unread: frozenset[str], now: datetime, *, correcting: bool
) -> _Checked:
    of_times = findings_of_times(sheets, now)
    typed_again(sheets, recorded)
    of_history = history_findings(KnownNames(sheets, recorded, unread, recorded.every))
    named = KnownNames(in_force(sheets), recorded, unread, recorded.every)
    of_certificates = [*certificate_findings(named, recorded.retired_since), *correlation_findings(named)]
    fitted = fit_curves(named)
    of_use = use_findings(named.sheets)
    judged = judge_acceptances(named, fitted.curves, states_of_instruments(sheets))
    factors = factors_here(named) if sheets["outlets.csv"] else {}
    stages = recorded.stages if staged(sheets) else {}
    of_jobs = job_findings(named, factors, without_corrected(stages, sheets) if correcting else stages)
    of_revisions = revision_findings(named, correcting=correcting)
    of_house = list(house_findings(named))
    findings = [
        *of_times, *of_history, *of_certificates, *fitted.findings, *of_use, *judged.findings, *of_jobs,
        *of_revisions, *of_house,
    ]  # fmt: skip
    return _Checked(named, fitted, judged, findings)


def _touched(kind: type[SQLModel], rows: Sequence[Mapping[str, Any]], keys: Sequence[int]) -> list[Record]:
    """The records that new rows touch: an outlet is touched by its amendment."""
    if kind is OutletRevision:
        return [(RecordKind.OUTLET, row["outlet_id"]) for row in rows]
    return [(str(kind.__tablename__), record_id) for record_id in keys]


def _found_after(withdrawal: TypedRow) -> int:
    """How many factors were found after a withdrawal."""
    return int(withdrawal.get("factors_after") or 0)


class _Writing:
    """One write of checked sheets, in the order in which records refer to one another."""

    def __init__(
        self,
        session: Session,
        asked: AskedNames,
        signature: ledger.Signature,
        now: datetime,
        progress: Progress,
        reason: str | None,
        correcting: str | None = None,
    ) -> None:
        self.session = session
        self.signature = signature
        self.now = now
        self.progress = progress
        self.correcting = correcting
        self.reason = None if reason is None else reason.strip()  # why what it brings holds from an earlier day
        self.names = NamesOnRecord(session, asked)
        self.counts: dict[str, int] = {}
        self.on_record: Mapping[str, int] = {}
        self.remarks: list[str] = []
        self.touched: list[Record] = []  # that may hang on an instrument which is under review

    def remark(self, text: str) -> None:
        """Keep what is worth saying, and say it."""
        self.remarks.append(text)
        self.progress(text)

    def append(self, kind: type[SQLModel], rows: Sequence[Mapping[str, Any]]) -> Sequence[int]:
        """Append rows of one table with their ledger entries, and count them; their keys."""
        if not rows:
            return ()
        keys = append_rows(self.session, kind, rows, self.signature)
        self.names.forget(kind)
        name = str(kind.__tablename__)
        self.counts[name] = self.counts.get(name, 0) + len(rows)
        if name in _TOUCHED_BY_REVIEWS:
            self.touched += _touched(kind, rows, keys)
        self.progress(f"{name}: {count_of(len(rows), 'record', 'records')}")  # a rehearsal takes them back
        return keys

    def write(self, sheets: Sheets, checked: _Checked) -> Imported:
        """Append everything."""
        certificates = self._append_rows(sheets, *_CERTIFICATES)
        rows = sheets["calibrations.csv"]
        self.append(StoredCurve, curves_by_rule(rows, self.names, checked.fitted.curves))
        self.append(ReferenceStandard, standards_of_rows(rows, self.names))
        self.append(Acceptance, acceptances(rows, self.names, checked.judged.assessments, self.signature, self.reason))
        of_instruments = self._append_rows(sheets, *_OF_INSTRUMENTS)
        self.append(StoredCurve, chosen_curves(self.session, sheets["curves.csv"]))
        self._append_rows(sheets, *_OF_JOBS)
        # Of the last withdrawals first: whatever was found after the first of them waits for that.
        withdrawals = sorted(sheets["withdrawals.csv"], key=_found_after, reverse=True)
        factors = sheets["factors.csv"]
        waiting = min(_found_after(withdrawals[0]), len(factors)) if withdrawals else 0
        decisions = sheets["review_decisions.csv"]
        reviews = self._reviews_opened(decisions) if decisions else {}
        self._append_among(
            factors[: len(factors) - waiting],
            [(int(row.get("factors_before") or 0), row) for row in decisions],
            lambda row: self.append(ReviewDecision, [decision_of_row(row, reviews[self._calibration(row)])]),
        )
        self._append_rows(sheets, "supersessions.csv", *_ON_FACTORS)
        # What counted before, where readings came before the withdrawals and decisions.
        was_otherwise = sheets["withdrawals.csv"] or sheets["review_decisions.csv"]
        before = on_record_of_rows(self.session, sheets, self.names, decided=False) if was_otherwise else None
        self._append_among(
            factors[len(factors) - waiting :],
            [(waiting - _found_after(row), row) for row in withdrawals],
            lambda row: self._append_of("withdrawals.csv", [row]),
        )
        refused = write_readings(
            self.session, sheets, self.names, before, self.now, self.append, correcting=self.correcting
        )
        self._append_rows(sheets, "factor_pairs.csv")
        self._review_impact(certificates.get("calibrations.csv", ()), defaultdict(tuple, of_instruments))
        self._append_rows(sheets, *_OF_THE_HOUSE)
        return Imported(
            self.counts,
            refused,
            self.on_record,
            {file: rows for file, rows in sheets.items() if rows},
            tuple(self.remarks),
        )

    def _append_rows(self, sheets: Sheets, *files: str) -> dict[str, Sequence[int]]:
        """Append the rows of files of which each is a record by itself; their keys by file."""
        written = {file: self._append_of(file, sheets[file]) for file in files if sheets[file]}
        for file, keys in written.items():
            if any(row.sound(TAKEN_BACK) for row in sheets[file]):
                self.append(Retraction, retractions_of_rows(FILES[file].table, sheets[file], keys))
        return written

    def _append_of(self, file: str, rows: Sequence[TypedRow]) -> Sequence[int]:
        return self.append(FILES[file].table, rows_of_table(FILES[file], rows, self.names))

    def _append_among(
        self,
        factors: Sequence[TypedRow],
        acts: Sequence[tuple[int, TypedRow]],
        append: Callable[[TypedRow], object],
    ) -> None:
        """Append acts, each with how many factors were found before it, and found factors in their order."""
        written = 0
        for before, row in acts:
            until = max(written, before)
            self._append_of("factors.csv", factors[written:until])
            written = until
            append(row)
        self._append_of("factors.csv", factors[written:])

    def _reviews_opened(self, decisions: Sequence[TypedRow]) -> Mapping[int, int]:
        """The reviews that decisions name, by the key of the certificate; raises BadInputError where one has none."""
        named = {self._calibration(row): row for row in decisions}
        self._tell(open_reviews(self.session, self.signature, self.now, named.keys()))
        query = select(ImpactReview.calibration_id, ImpactReview.id)
        reviews = dict(by_keys(self.session, query, ImpactReview.calibration_id, named.keys()))
        wrong = [without_review(row) for calibration, row in named.items() if calibration not in reviews]
        if wrong:
            raise BadInputError(wrong)
        return reviews

    def _calibration(self, row: TypedRow) -> int:
        return int(keys_of(FILES["review_decisions.csv"], row, self.names)["calibration_id"] or 0)

    def _review_impact(self, recorded: Collection[int], of_instruments: Mapping[str, Sequence[int]]) -> None:
        """Open an impact review for whatever was found out of order, and bring those on record up to date."""
        if _TOUCHED_BY_REVIEWS & self.counts.keys():
            self._tell(open_reviews(self.session, self.signature, self.now, recorded, self.touched))
        for check in by_keys(
            self.session,
            select(IntermediateCheck).where(not_retracted(IntermediateCheck)),
            IntermediateCheck.id,
            of_instruments["checks.csv"],
        ):
            self._tell(open_for_failed_check(self.session, check, self.signature, self.now))
        events = select(Event).where(not_retracted(Event))
        for event in by_keys(self.session, events, Event.id, of_instruments["events.csv"]):
            if event.kind == DAMAGE:
                self._tell(open_for_damage(self.session, event, self.signature, self.now))

    def _tell(self, reviews: Reviewed) -> None:
        for review in reviews.opened:
            for name, count in (("impact_review", int(review.new is not None)), ("impact_line", review.lines)):
                self.counts |= {name: self.counts.get(name, 0) + count} if count else {}
        for text in reviews.remarks:
            self.remark(text)
