"""What is typed of what happens to instruments between calibrations: events.csv, checks.csv, pairings.csv."""

from datetime import datetime

from calib.procedures.typed.cells import above_zero, any_text, json_text, one_of, time_with_zone
from calib.procedures.typed.declaration import Declaration, may, must
from calib.procedures.typed.declared.instruments import OF_INSTRUMENT, of_tag
from calib.procedures.typed.declared.taken_back import why_taken_back
from calib.quantities import finite_number
from calib.records.tables.events import Event, IntermediateCheck, Pairing
from calib.records.words import CHECK_KINDS, EVENT_KINDS

EVENTS_CSV = Declaration(
    "events.csv",
    "what happened to instruments",
    Event,
    (
        must("tag", any_text, "the instrument"),
        must("kind", one_of(*EVENT_KINDS), "what happened"),
        must("at", time_with_zone, "when", happened=datetime.fromisoformat),
        must("reason", any_text, "why"),
        may("value", any_text, "what it is now: a location, an interval in months"),
        why_taken_back(),
    ),
    references=(OF_INSTRUMENT,),
    told_by=("tag", "kind", "at"),
)
CHECKS_CSV = Declaration(
    "checks.csv",
    "intermediate checks of instruments",
    IntermediateCheck,
    (
        must("tag", any_text, "the instrument"),
        must("at", time_with_zone, "when", happened=datetime.fromisoformat),
        must("kind", one_of(*CHECK_KINDS), "the kind of check"),
        must("value", finite_number, "what was observed"),
        must("low", finite_number, "the lowest value that passes"),
        must("high", finite_number, "the highest value that passes"),
        must("unit", any_text, "the unit of value and limits"),
        may("remarks", any_text, "anything worth keeping"),
        may("other", any_text, "tag of the instrument compared with, or of the check standard"),
        may("basis", json_text, "what value and limits were worked out from, as `calib` writes it"),
        why_taken_back(),
    ),
    references=(OF_INSTRUMENT, of_tag("other", "other_instrument_id")),
    told_by=("tag", "kind", "at"),
)
# What is typed beside a row of checks.csv where two instruments are compared; it is kept in the row's basis.
OF_TWO_INSTRUMENTS = (
    may("other_value", finite_number, "what the other instrument showed"),
    may(
        "expanded_uncertainty",
        above_zero,
        "U (k = 2) of a value that is corrected already; from the calibration if not given",
    ),
    may("other_expanded_uncertainty", above_zero, "U (k = 2) of the other value, beside it"),
)
PAIRINGS_CSV = Declaration(
    "pairings.csv",
    "probes and the meters that they are used with",
    Pairing,
    (
        must("probe", any_text, "tag of the probe"),
        must("meter", any_text, "tag of the meter"),
        must("kind", one_of("paired", "parted"), "whether they are a pair from then on"),
        must("at", time_with_zone, "from when on", happened=datetime.fromisoformat),
        must("reason", any_text, "why"),
        why_taken_back(),
    ),
    references=(of_tag("probe", "probe_id"), of_tag("meter", "meter_id")),
    told_by=("probe", "meter", "kind", "at"),
)
