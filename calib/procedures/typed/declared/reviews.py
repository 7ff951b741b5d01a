"""What people decided in impact reviews: review_decisions.csv."""

from datetime import datetime

from calib.procedures.typed.cells import any_text, one_of, time_with_zone, whole
from calib.procedures.typed.declaration import Declaration, may, must
from calib.procedures.typed.declared.calibrations import OF_CALIBRATION
from calib.records.tables.reviews import ReviewDecision
from calib.records.words import HOLDING_CURVES

REVIEW_DECISIONS_CSV = Declaration(
    "review_decisions.csv",
    "which curve holds for what a review of comparisons as found touched",
    ReviewDecision,
    (
        must("tag", any_text, "the instrument that was found out of order"),
        must("certificate", any_text, "the certificate whose comparisons as found opened the review"),
        must("curve", one_of(*HOLDING_CURVES), "the curve that holds"),
        may("from_at", time_with_zone, "from when on, with 'as found from'", happened=datetime.fromisoformat),
        may(
            "factors_before",
            whole,
            "how many rows of factors.csv, from the first on, had been found when it was decided; blank: none",
        ),
        must("reason", any_text, "why"),
    ),
    references=(OF_CALIBRATION,),
    told_by=("tag", "certificate", "curve", "from_at", "factors_before", "reason"),
)
