"""What is typed of readings and of the points of their traverses: readings.csv, traverses.csv."""

from datetime import datetime

from calib.procedures.typed.cells import (
    above_zero,
    any_text,
    numbers,
    one_of,
    same_revision,
    same_time,
    time_with_zone,
    usually,
    usually_a_person,
    whole,
)
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.procedures.typed.declared.instruments import of_tag
from calib.procedures.typed.declared.jobs import A_JOB
from calib.procedures.typed.declared.methods import BY_METHOD
from calib.procedures.typed.declared.outlets import AT_OUTLET
from calib.procedures.typed.declared.taken_back import how_often_typed, why_taken_back
from calib.quantities import finite_number
from calib.records.tables.conditions import Condition
from calib.records.tables.jobs import Job
from calib.records.tables.readings import Reading, TraversePoint
from calib.records.words import STAGES, TRAVERSE_RULES


def _reading(where: str) -> Reference:
    columns = ("job", "outlet", "instrument", "observed_at")
    expected = "the job, outlet, instrument and time of a reading in readings.csv"
    return Reference(
        tuple(f"{where}_{column}" for column in columns), Reading, expected, f"{where}_reading_id", here=True
    )


READINGS_CSV = Declaration(
    "readings.csv",
    "readings at outlets and ducts: an indication, observations, a log file or a traverse",
    Reading,
    (
        must("job", any_text, "the job", beforehand=True),
        must("outlet", any_text, "the outlet or the duct's section", beforehand=True),
        must("instrument", any_text, "tag of the instrument"),
        must("observed_at", time_with_zone, "when", compared=same_time, happened=datetime.fromisoformat),
        may("indication", finite_number, "the mean as shown"),
        must("unit", any_text, "the unit of the values"),
        may("observations", numbers, "repeated passes, joined by semicolons"),
        must("method", any_text, "the method"),
        must("operator", any_text, "who measured", odd=usually_a_person),
        may("remarks", any_text, "anything worth keeping"),
        may(
            "stage",
            one_of(*STAGES),
            "whether the outlet was read before it was adjusted or after, or is read again for the drift of the plant; blank: "
            "not said",
        ),
        may(
            "averaging_s",
            above_zero,
            "the meter's averaging time in seconds",
            odd=usually(1, 3600, "an averaging time in seconds"),
        ),
        may(
            "log_file",
            any_text,
            "a file of time,value instead of observations, beside readings.csv in a folder",
            names_file=True,
        ),
        may("probe", any_text, "tag of the probe before a manometer"),
        may(
            "conditions",
            any_text,
            "name of the conditions of the air: for a manometer, a thermal anemometer, a vane to be corrected for density, and for "
            "flows that are compared at a density",
        ),
        may(
            "throttled_observations",
            numbers,
            "repeated values of a hood with its throttle set, joined by semicolons",
        ),
        may("traverse_rule", one_of(*TRAVERSE_RULES), "rule of a traverse, instead of observations", beforehand=True),
        may("traverse_lines", whole, "how many lines were traversed", beforehand=True),
        may("traverse_points", whole, "how many points on each line", beforehand=True),
        how_often_typed("a corrected reading takes the place of the one before"),
        why_taken_back(),
    ),
    key=("job", "outlet", "instrument", "observed_at", "revision"),
    references=(
        Reference(("job",), Job, A_JOB),
        AT_OUTLET,
        of_tag("instrument", "instrument_id"),
        of_tag("probe", "probe_id"),
        BY_METHOD,
        Reference(("job", "conditions"), Condition, "conditions of job {job} in conditions.csv or in the records"),
    ),
)
TRAVERSES_CSV = Declaration(
    "traverses.csv",
    "points of the traverses of readings",
    TraversePoint,
    (
        must("job", any_text, "that of the reading", beforehand=True),
        must("outlet", any_text, "that of the reading", beforehand=True),
        must("instrument", any_text, "that of the reading"),
        must("observed_at", time_with_zone, "that of the reading"),
        must("line", whole, "the line, counted from 1", beforehand=True),
        must("point", whole, "the point on it, counted from 1", beforehand=True),
        must("indications", numbers, "one for each pass, joined by semicolons"),
        may("revision", whole, "that of the reading; blank: 1", compared=same_revision),
    ),
    key=("job", "outlet", "instrument", "observed_at", "revision", "line", "point"),
)
