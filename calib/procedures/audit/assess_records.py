"""Questions that an assessor asks, answered from the records: ten, and of a job and a report one more.

Source: ISO/IEC 17025:2017; common practice which questions.

Decision (2026-11-29): the answers are sentences with what they rest on, made here once, and every form shows them alike. Options:
figures that each face words by itself, which would say ten things six times. Cost: another language would begin here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.procedures.audit.answer import Answer, said_once
from calib.procedures.audit.complete import complete
from calib.procedures.audit.corrected import corrected, out_of_order
from calib.procedures.audit.in_calibration import in_calibration, traceable, who_accepted
from calib.procedures.audit.of_the_house import agreed, as_written, retained, validated
from calib.procedures.audit.subject import Subject, subject_named
from calib.procedures.audit.who import authorised
from calib.procedures.typed.time_to_come import expected_of
from calib.records import ledger


@dataclass(frozen=True)
class Audit:
    """The answers."""

    subject: Subject
    answers: tuple[Answer, ...]
    ledger_digest: str  # the ledger's head when they were given

    @property
    def findings(self) -> int:
        """Number of answers that are findings."""
        return sum(answer.is_finding for answer in self.answers)


def assess_records(session: Session, words: Sequence[str], on: date, now: datetime) -> Audit:
    """Answer on an instrument on a day, a job, or an issued report (`LM-27 2`); raises NotInRecordsError, BadInputError.

    Of a day to come nothing is known yet: it is bad input.
    """
    to_come = expected_of(on, now)
    if to_come is not None:
        raise BadInputError([Finding.typed("on", str(on), to_come)])
    subject = subject_named(session, words, on)
    answers = said_once(
        in_calibration(session, subject, now),
        who_accepted(session, subject),
        traceable(session, subject),
        corrected(session, subject, now),
        out_of_order(session, subject),
        authorised(session, subject),
        validated(session, subject),
        agreed(session, subject),
        as_written(session, subject),
        retained(session),
        *complete(session, subject),
    )
    return Audit(subject, answers, ledger.ledger_head(session)[1])
