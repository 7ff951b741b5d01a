"""What is typed of instruments: instruments.csv."""

from datetime import datetime

from calib.confirmation.words import DECISION_RULES, JUDGED
from calib.procedures.typed.cells import (
    AIR_PRESSURE,
    AIR_TEMPERATURE,
    above_one,
    above_zero,
    any_text,
    not_negative,
    one_of,
    share,
    time_with_zone,
    usually,
    whole,
)
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.procedures.typed.measuring_range import high_end, low_end, quantity_of, unit_of_range
from calib.quantities import INSTRUMENT_QUANTITIES, finite_number
from calib.records.tables.instruments import Instrument, InstrumentRevision
from calib.records.words import DENSITY_EFFECTS


def of_tag(column: str, stored: str) -> Reference:
    """The instrument whose tag a column holds, its key stored in another."""
    return Reference((column,), Instrument, "the tag of an instrument in instruments.csv or in the records", stored)


OF_INSTRUMENT = of_tag("tag", "instrument_id")
_OF_AN_INSTRUMENT = (
    must("tag", any_text, "what the company calls it"),
    must("kind", any_text, "the kind of instrument, in words"),
    must("maker", any_text, "who made it"),
    must("model", any_text, "the maker's model"),
    must("serial", any_text, "its serial number"),
    must(
        "quantity",
        one_of(*INSTRUMENT_QUANTITIES),
        "the quantity that it measures; in a sheet its unit may say it",
        by_row=quantity_of,
    ),
    must(
        "range_low",
        finite_number,
        "where its range begins; in a sheet the whole range may stand here, 0.4 to 25 m/s",
        by_row=low_end,
    ),
    must("range_high", finite_number, "where its range ends", by_row=high_end),
    must("unit", any_text, "the unit of range, resolution, repeatability and limits", by_row=unit_of_range),
    must("resolution", above_zero, "the smallest step that it shows"),
    may(
        "mpe_percent",
        share,
        "maximum permissible error, in percent of the indication",
        odd=usually(0, 20, "a maximum permissible error in percent"),
    ),
    may("mpe_absolute", not_negative, "maximum permissible error, in the unit; of both the sum holds"),
    must("interval_months", whole, "calibration interval in months", odd=usually(1, 60, "an interval in months")),
    may("location", any_text, "where it is kept"),
    may("repeatability", above_zero, "declared standard deviation of one indication"),
    may(
        "stability_percent",
        share,
        "limit of change since calibration, in percent of the indication, instead of a maximum permissible error",
        odd=usually(0, 20, "a limit of change in percent"),
    ),
    may("stability_absolute", not_negative, "limit of change since calibration, in the unit"),
    may("stability_basis", any_text, "what the stability limits rest on"),
    may("custodian", any_text, "who looks after it"),
    may("firmware", any_text, "version of its firmware"),
    may(
        "indication_quantity",
        one_of(*INSTRUMENT_QUANTITIES),
        "what it indicates where that is another quantity: then unit, range, resolution and limits are in that",
    ),
    may(
        "check_interval_days",
        whole,
        "days between intermediate checks; blank: none is required",
        odd=usually(1, 366, "a time between checks in days"),
    ),
    may(
        "density_effect",
        one_of(*DENSITY_EFFECTS),
        "how its velocity depends on the density of the air; blank: it does not",
    ),
    may(
        "reference_temperature_degC",
        AIR_TEMPERATURE,
        "temperature of the reference state of a thermal anemometer",
    ),
    may("reference_pressure_kPa", AIR_PRESSURE, "pressure of the reference state of a thermal anemometer"),
    may(
        "resistance_ratio",
        above_one,
        "of a hood with a throttle: its resistance when throttled over that when open",
    ),
    may("resistance_ratio_standard_uncertainty", not_negative, "standard uncertainty of the resistance ratio"),
    may(
        "criterion", any_text, "by which its certificates are accepted, in words; blank: its maximum permissible error"
    ),
    may("decision_rule", one_of(*DECISION_RULES), "rule of that acceptance; blank: simple"),
    may("judged", one_of(*JUDGED), "what is accepted; blank: the indication, where it is a value of the quantity"),
)
INSTRUMENTS_CSV = Declaration(
    "instruments.csv",
    "the register of instruments, each with a maximum permissible error or with stability limits",
    Instrument,
    _OF_AN_INSTRUMENT,
    key=("tag",),
)
INSTRUMENT_AMENDMENTS_CSV = Declaration(
    "instrument_amendments.csv",
    "instruments as they were amended, each time the whole of one",
    InstrumentRevision,
    (
        *_OF_AN_INSTRUMENT,
        must("revision", whole, "revision of the instrument; as first typed it is 1"),
        may(
            "holds_from",
            time_with_zone,
            "from when on; blank: what was typed before was always wrong",
            happened=datetime.fromisoformat,
        ),
        must("reason", any_text, "why"),
    ),
    key=("tag", "revision"),
    references=(Reference(("tag",), Instrument, "an instrument in instruments.csv", "instrument_id", here=True),),
)
