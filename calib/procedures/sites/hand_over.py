"""Hand an instrument over to another site: its evidence as sheets of an import, with the head of the ledger that it is taken from.

What goes along is the instrument as registered and amended, its certificates with comparisons, chosen curves, withdrawals and
supersessions, its events, checks and pairs, and the files kept with it and its certificates. Where a certificate was made in house,
the evidence of its reference standards goes too, as far as that day; so does that of gear which it was checked against.

Decision (2026-11-30): a past acceptance goes along as a statement and not as an acceptance: at the new site QA accepts anew, by its
own criterion and in its own name, since an acceptance is an act of whoever answers for it there. Options: acceptances in
`calibrations.csv` as an import of the past has them (QA of one site would speak in the ledger of another), nothing of them (an
assessor could not ask who had accepted it before). Cost: an acceptance at the new site before the instrument may be used there, and
one of each reference standard as of the day of a calibration in house.

Decision (2026-11-30): here the instrument is suspended, with the place and the digest of the statement as the reason, so the gate
refuses readings and says where it is; a release takes that back when it comes home with its evidence. Options: a retirement, which
nothing ends; an event of another kind (a migration). Cost: whoever may release may open the gate for what is not here.
"""

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, select

from calib.confirmation.interval import SUSPENSION, is_put_aside
from calib.errors import BadInputError, Finding
from calib.procedures.enter.export_records import ExportedFile, csv_file
from calib.procedures.enter.names_on_record import AskedNames, NamesOnRecord
from calib.procedures.enter.recorded_rows import LogsOnRecord, recorded_rows
from calib.procedures.fleet.attach_file import kept_file
from calib.procedures.fleet.record_event import record_event
from calib.procedures.on_record.attached_files import files_of
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.recorded import recorded_by
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.people.authorise import authorise
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.evidence_statement import STATEMENT, EvidenceStatement, StatedAcceptance, StatedFile
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.sheets import Sheets, typed_row
from calib.procedures.verify.anchors import head_of
from calib.records.ledger import Signature
from calib.records.record import RecordCells, key, moment
from calib.records.tables.calibrations import Acceptance, Calibration, ReferenceStandard
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.files import Attached
from calib.records.tables.instruments import Instrument

# Sheets that go along, and the columns of each that name an instrument: all that a row names must go.
OF_EVIDENCE: Mapping[str, tuple[str, ...]] = {
    "instruments.csv": ("tag",),
    "calibrations.csv": ("tag",),
    "comparisons.csv": ("tag",),
    "correlations.csv": ("tag",),
    "curves.csv": ("tag",),
    "supersessions.csv": ("tag",),
    "withdrawals.csv": ("tag",),
    "instrument_amendments.csv": ("tag",),
    "events.csv": ("tag",),
    "checks.csv": ("tag",),
    "pairings.csv": ("probe", "meter"),
}
# Cells that another ledger's decisions fill: the acceptance of a certificate, factors found after a withdrawal.
_NOT_ALONG = {
    "calibrations.csv": (
        "accepted_on", "accepted_by", "criterion", "decision_rule", "judged", "reason", "departure_reason",
    ),
    "withdrawals.csv": ("factors_after",),
}  # fmt: skip
_SINCE = ("events.csv", "checks.csv")  # of gear that stays, not after the last calibration that rests on it
KEPT = "files/"  # where files that were kept stand in the folder


@dataclass(frozen=True)
class HandedOver:
    """What was handed over, and the digest of its statement."""

    statement: EvidenceStatement
    sha256: str
    files: Sequence[ExportedFile]  # the statement among them


def hand_over(
    session: Session,
    tags: Sequence[str],
    *,
    records: str,
    to: str,
    reason: str,
    at: datetime,
    signature: Signature,
) -> HandedOver:
    """Take an instrument, or several that belong together, out of use here, and answer with the evidence that goes along.

    `records` is what the other site calls these. Raises NotInRecordsError, BadInputError.
    """
    findings = without_reason(reason)
    if not to.strip():
        findings = [*findings, Finding.typed("to", to, "the site that takes it over")]
    if findings:
        raise BadInputError(findings)
    signature = authorise(session, signature, "register")
    moved = {key(each.id): each.tag for each in (instrument_tagged(session, tag) for tag in tags)}
    evidence = _Evidence(session, moved)
    sheets, attached = [*evidence.sheets()], [*evidence.kept_files()]
    head = head_of(session, records, at)
    statement = EvidenceStatement(
        **vars(head),
        to=to.strip(),
        reason=reason.strip(),
        moved=[*moved.values()],
        behind=sorted(evidence.last_resting),
        files=[
            *(StatedFile(each.name, hashlib.sha256(each.content).hexdigest()) for each in sheets),
            *(stated for stated, _ in attached),
        ],
        acceptances=[*evidence.acceptances()],
    )
    content = statement.as_xml()
    sha256 = hashlib.sha256(content).hexdigest()
    _put_aside(session, moved, statement, sha256, at, signature)
    once = {file.name: file for _, file in attached}  # one content may be kept with several certificates
    return HandedOver(statement, sha256, (*sheets, *once.values(), ExportedFile(STATEMENT, content)))


def _put_aside(
    session: Session,
    moved: Mapping[int, str],
    statement: EvidenceStatement,
    sha256: str,
    at: datetime,
    signature: Signature,
) -> None:
    told = (
        f"handed over to {statement.to} with its evidence until ledger entry {statement.sequence}, statement {sha256}: "
        f"{statement.reason}"
    )
    register = load_register(session, moved)
    for tag in moved.values():
        record_event(session, tag, "move", at, told, signature, location=statement.to)
        if not is_put_aside(register[tag], at):
            record_event(session, tag, SUSPENSION, at, told, signature)


class _Evidence:
    """What of the records goes along with instruments that move, which are given by key with their tags."""

    def __init__(self, session: Session, moved: Mapping[int, str]) -> None:
        self._session = session
        self._moved = frozenset(moved.values())
        self._instruments = dict(moved)
        self.last_resting: dict[str, date] = {}  # gear that stays -> the day of the last calibration that rests on it
        self._gather()
        rows = by_keys(session, select(Calibration), Calibration.instrument_id, self._instruments)
        self._calibrations = {key(each.id): each for each in sorted(rows, key=lambda each: key(each.id))}

    def _gather(self) -> None:
        """Instruments that certificates and checks rest on, outward from those that move."""
        asked = {*self._instruments}
        while asked:
            resting = list(_rests_on(self._session, asked))
            known = {*self._instruments}
            further = {record_id for record_id, _ in resting} - known
            named = select(Instrument.id, Instrument.tag)
            self._instruments |= dict(by_keys(self._session, named, Instrument.id, further))
            for record_id, day in resting:
                tag = self._instruments[record_id]
                if tag not in self._moved:
                    self.last_resting[tag] = max(day, self.last_resting.get(tag, day))
            asked = further

    def sheets(self) -> Iterator[ExportedFile]:
        """The rows of the evidence, a file for each kind that has any."""
        asked: Sheets = dict.fromkeys(FILES, ()) | {
            "instruments.csv": [typed_row(None, {"tag": tag}) for tag in self._instruments.values()],
            "calibrations.csv": [
                typed_row(None, {"tag": self._instruments[each.instrument_id], "certificate": each.certificate})
                for each in self._calibrations.values()
            ],
        }
        names = NamesOnRecord(self._session, AskedNames(asked))
        logs = LogsOnRecord(names)
        for file in OF_EVIDENCE:
            rows = (row for row in recorded_rows(names, file, logs) if self._goes_along(file, row))
            yield from csv_file(
                file, [name for name in FILES[file].by_name if name not in _NOT_ALONG.get(file, ())], rows
            )

    def _goes_along(self, file: str, row: RecordCells) -> bool:
        tags = {row[column] for column in OF_EVIDENCE[file]}
        if not tags <= {*self._instruments.values()}:
            return False
        if file not in _SINCE or tags <= self._moved:
            return True
        return all(moment(row["at"]).date() <= self.last_resting[tag] for tag in tags - self._moved)

    def kept_files(self) -> Iterator[tuple[StatedFile, ExportedFile]]:
        """Files kept with the instruments and with their certificates."""
        of_instruments = files_of(self._session, Attached.instrument_id, self._instruments)
        of_certificates = files_of(self._session, Attached.calibration_id, self._calibrations)
        for instrument_id, files in of_instruments.items():
            yield from (self._kept(each, instrument_id, None) for each in files)
        for calibration_id, files in of_certificates.items():
            own = self._calibrations[calibration_id]
            yield from (self._kept(each, own.instrument_id, own.certificate) for each in files)

    def _kept(
        self, file: Mapping[str, Any], instrument_id: int, certificate: str | None
    ) -> tuple[StatedFile, ExportedFile]:
        sha256, name = file["sha256"], f"{KEPT}{file['sha256']}"
        stated = StatedFile(name, sha256, file["name"], self._instruments[instrument_id], certificate, file["remarks"])
        return stated, ExportedFile(name, kept_file(self._session, sha256).content)

    def acceptances(self) -> Iterator[StatedAcceptance]:
        """Who accepted each certificate here, and when."""
        rows = [*by_keys(self._session, select(Acceptance), Acceptance.calibration_id, self._calibrations)]
        recorded = recorded_by(self._session, Acceptance, [key(each.id) for each in rows])
        for each in sorted(rows, key=lambda row: key(row.id)):
            calibration = self._calibrations[each.calibration_id]
            yield StatedAcceptance(
                self._instruments[calibration.instrument_id],
                calibration.certificate,
                each.accepted_on,
                each.accepted_by,
                recorded[key(each.id)]["recorded_at"],
                each.criterion,
                each.decision_rule,
            )


def _rests_on(session: Session, instruments: Collection[int]) -> Iterator[tuple[int, date]]:
    """Instruments that the certificates and checks of some rest on, each with the day."""
    standards = select(ReferenceStandard.instrument_id, Calibration.calibrated_on).join(
        Calibration, col(Calibration.id) == col(ReferenceStandard.calibration_id)
    )
    for record_id, day in by_keys(session, standards, Calibration.instrument_id, instruments):
        yield record_id, date.fromisoformat(day)
    checks = select(IntermediateCheck.other_instrument_id, IntermediateCheck.at).where(
        col(IntermediateCheck.other_instrument_id).is_not(None), not_retracted(IntermediateCheck)
    )
    for record_id, at in by_keys(session, checks, IntermediateCheck.instrument_id, instruments):
        yield record_id, moment(at).date()
