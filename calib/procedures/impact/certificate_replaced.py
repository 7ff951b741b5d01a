"""A certificate that counts no more, or was replaced by one with other values, shakes what was measured with it.

Asked is what rested on it before that is recorded, since nothing does afterwards: `RestedOnCertificate` is made before, and opens
the review after.
"""

from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from calib.procedures.impact.open_review import Reviewed, open_for_cause
from calib.procedures.impact.shaken import Shaken, rested_on
from calib.records.ledger import Signature
from calib.records.record import key
from calib.records.tables.calibrations import Calibration


class RestedOnCertificate:
    """What rests on a certificate, and what the records answer of it, before the certificate counts no more."""

    def __init__(self, session: Session, calibration: Calibration, now: datetime) -> None:
        self.session, self.now = session, now
        self.shaken = Shaken("", ("", 0), calibration.instrument_id, "", certificate=key(calibration.id))
        self.certificate = calibration.certificate
        self.rested = rested_on(session, self.shaken, now)

    def withdrawn(self, withdrawal: int, signature: Signature) -> Reviewed:
        """Open the review of a withdrawal, by its key, once it was appended; none where the same is answered without it."""
        happened = f"certificate {self.certificate} was withdrawn on {self.now.date()}"
        return self._open("withdrawal", withdrawal, happened, signature)

    def superseded(self, supersession: int, by: str, signature: Signature) -> Reviewed:
        """Open the review of a supersession by a certificate, once it was appended; none where the same is answered with that."""
        happened = f"certificate {self.certificate} was superseded by {by} on {self.now.date()}"
        return self._open("supersession", supersession, happened, signature)

    def _open(self, cause: str, record: int, happened: str, signature: Signature) -> Reviewed:
        shaken = replace(self.shaken, cause=cause, record=(cause, record), happened=happened)
        return open_for_cause(self.session, shaken, signature, self.now, self.rested)
