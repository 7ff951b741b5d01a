"""What is typed of the conditions of the air: conditions.csv."""

from datetime import datetime

from calib.procedures.typed.cells import any_text, not_negative, one_of, time_with_zone
from calib.procedures.typed.declaration import Declaration, may, must
from calib.procedures.typed.declared.instruments import of_tag
from calib.procedures.typed.declared.jobs import OF_JOB
from calib.procedures.typed.declared.taken_back import how_often_typed, why_taken_back
from calib.quantities import finite_number
from calib.records.tables.conditions import Condition
from calib.records.words import CONDITION_QUANTITIES

CONDITIONS_CSV = Declaration(
    "conditions.csv",
    "conditions of the air: each quantity with its instrument, or with its standard uncertainty and where it comes from",
    Condition,
    (
        must("job", any_text, "the job"),
        must("conditions", any_text, "the name by which readings refer to them"),
        must("observed_at", time_with_zone, "when", happened=datetime.fromisoformat),
        must(
            "quantity",
            one_of(*CONDITION_QUANTITIES),
            "which of the quantities: a barometric pressure, or the altitude; a temperature with the relative humidity, or with "
            "the wet bulb's; neither where the temperature is declared in air.csv; and, as may be, the duct's static pressure",
        ),
        must("value", finite_number, "the value"),
        must("unit", any_text, "its unit"),
        may("instrument", any_text, "tag of the instrument that showed it"),
        may("standard_uncertainty", not_negative, "of a stated value, in its unit, instead of an instrument"),
        may("source", any_text, "where a stated value comes from"),
        how_often_typed(),
        why_taken_back(),
    ),
    key=("job", "conditions", "quantity", "revision"),
    references=(OF_JOB, of_tag("instrument", "instrument_id")),
)
