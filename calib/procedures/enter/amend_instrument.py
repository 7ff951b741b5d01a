"""Amend an instrument: what was always typed wrongly, or what is another from a time on, by a revision with its reason.

Source: ISO/IEC 17025:2017, 6.4.13 and 7.5.2, from memory. What an instrument measures and how its certificates were read (quantity,
what it indicates, its effect of density) cannot be amended once a certificate of it is on record: curves and readings would mean
something else. Where it is kept and how often it is calibrated change by events; amended they were always wrong.

Decision (2026-11-29). Curves on record stay as they are, though the resolution enters the scatter of certificates that state a
repeatability. Option: fit all anew, which would change reported flows without anyone's act. Cost: a curve of a certificate that was
recorded before follows an amended resolution only when a person chooses it anew.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlmodel import Session, select

from calib.errors import BadInputError, Finding
from calib.procedures.enter.amend_method import RecordAmended
from calib.procedures.enter.amended_row import AmendedRow, amended_row
from calib.procedures.enter.check_certificates import instrument_findings
from calib.procedures.enter.record_rows import cells_of_table
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.impact.take_back import hung_on_instrument
from calib.procedures.on_record.amended import cells_of_amendable
from calib.procedures.on_record.by_name import amended_instrument
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.time_to_come import expected_of
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.calibrations import Calibration
from calib.records.tables.instruments import InstrumentRevision

_WHAT_IT_IS = ("quantity", "indication_quantity", "density_effect")
_BY_EVENTS = {"location": "a move", "interval_months": "a change of its interval"}
_ALWAYS = ("check_interval_days",)


def amend_instrument(
    session: Session,
    tag: str,
    typed: Sequence[str],
    since: datetime | None,
    reason: str,
    signature: ledger.Signature,
) -> RecordAmended:
    """Append a revision of an instrument; `typed` are changes as column=value, `since` is None for what was always wrong.

    Certificates that were found beyond limits that are narrower now open their impact reviews. Raises NotInRecordsError, or
    BadInputError with every finding.
    """
    signature = authorise(session, signature, "register")
    instrument = amended_instrument(session, tag)
    owner, counted = key(instrument.first.id), 2 + len(instrument.revisions)
    asked = amended_row(FILES["instruments.csv"], cells_of_amendable(instrument.now), typed, reason)
    calibrations = [
        key(each) for each in session.exec(select(Calibration.id).where(Calibration.instrument_id == owner))
    ]
    findings = [*asked.findings, *_of_changes(asked, since, signature.time, is_calibrated=bool(calibrations))]
    findings += instrument_findings(asked.row)
    if findings:
        raise BadInputError(findings)
    revision = InstrumentRevision(
        instrument_id=owner,
        revision=counted,
        holds_from=None if since is None else since.isoformat(timespec="seconds"),
        reason=reason.strip(),
        **cells_of_table(FILES["instrument_amendments.csv"], asked.row.cells),
    )
    append(session, [revision], signature)
    reviewed = open_reviews(session, signature, signature.time, calibrations, [(RecordKind.INSTRUMENT, owner)])
    hung_on = hung_on_instrument(session, owner, since)
    return RecordAmended(tag, counted, asked.changes, reason.strip(), hung_on, reviewed.remarks)


def _of_changes(asked: AmendedRow, since: datetime | None, now: datetime, *, is_calibrated: bool) -> Iterable[Finding]:
    for column, (_, after) in asked.changes.items():
        if column in _WHAT_IT_IS and is_calibrated:
            expected = (
                f"{column} as it is: certificates are on record; register it anew under another tag, and withdraw them"
            )
            yield Finding.typed("set", f"{column}={after}", expected)
        elif column in _BY_EVENTS and since is not None:
            yield Finding.typed("set", f"{column}={after}", f"{_BY_EVENTS[column]}, which holds from its time on")
        elif column in _ALWAYS and since is not None:
            yield Finding.typed(
                "set", f"{column}={after}", "an amendment of what was always wrong: it holds at all times"
            )
    to_come = None if since is None else expected_of(since, now)
    if since is not None and to_come is not None:
        yield Finding.typed("from", since.isoformat(), to_come)
