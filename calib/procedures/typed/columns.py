"""The columns of the import files: what each cell may hold. The names are the contract with the user's spreadsheets."""

from calib.confirmation.acceptance import JUDGED
from calib.confirmation.conformity import DECISION_RULES
from calib.procedures.typed.cells import (
    above_one,
    above_zero,
    at_least_one,
    basis,
    between,
    day,
    degree,
    json_text,
    moment,
    not_negative,
    number,
    numbers,
    one_of,
    percent,
    text,
    whole,
)
from calib.procedures.typed.sheets import Check, Column, Declaration
from calib.quantities import INSTRUMENT_QUANTITIES, UNITS
from calib.records.tables import (
    CHECK_KINDS,
    CONDITION_QUANTITIES,
    CURVE_SHAPES,
    DENSITY_EFFECTS,
    EVENT_KINDS,
    PATTERNS,
    PLACES,
    SCOPES,
    SERVICES,
    SHAPES,
    TRAVERSE_RULES,
)


def unit_of(quantity: str) -> Check:
    """A unit of one quantity."""
    return one_of(*UNITS[quantity])


PHASES = ("as-found", "as-left")
# Where the density of the air is known (calib.airflow.air).
AIR_TEMPERATURE = between(-40, 60, "degC")
AIR_PRESSURE = between(60, 110, "kPa")

_OF_AN_OUTLET = (
    Column("job", text, "the job", required=True),
    Column("outlet", text, "name of the outlet or of the duct's section", required=True),
    Column("system", text, "the system that it belongs to", required=True),
    Column("service", one_of(*SERVICES), "what the air does there", required=True),
    Column("place", one_of(*PLACES), "what is measured; blank: an outlet"),
    Column(
        "in_totals",
        one_of("yes", "no"),
        "whether it counts in the totals; blank: outlets do, ducts where their system has no outlet of that service",
    ),
    Column("room", text, "the room that it serves"),
    Column("outlet_type", text, "the type of outlet"),
    Column("shape", one_of(*SHAPES), "shape of the opening or of the section"),
    Column("width", above_zero, "width, of a flat-oval section the longer axis"),
    Column("height", above_zero, "height"),
    Column("diameter", above_zero, "diameter of a round one"),
    Column("dimension_unit", unit_of("length"), "the unit of the dimensions"),
    Column("dimension_limit", not_negative, "half-width within which the dimensions are known"),
    Column("outlet_factor", above_zero, "what the face velocity times the area is multiplied by"),
    Column("outlet_factor_standard_uncertainty", not_negative, "standard uncertainty of the outlet factor"),
    Column("outlet_factor_source", text, "where the outlet factor or the effective area comes from"),
    Column("outlet_factor_reason", text, "why a factor above 1.2 is right"),
    Column("effective_area", above_zero, "area that the velocity is multiplied by, instead of dimensions and factor"),
    Column("effective_area_unit", unit_of("area"), "the unit of the effective area"),
    Column("effective_area_standard_uncertainty", not_negative, "standard uncertainty of the effective area"),
    Column("found_factor", text, "name of a factor found in the field, instead of an outlet factor"),
    Column("design_flow", above_zero, "the flow that it was designed for"),
    Column("flow_unit", unit_of("volume flow"), "the unit of the design flow"),
    Column("tolerance_percent", percent, "tolerance in percent of the design flow"),
)
_DECLARED = (
    Declaration(
        "instruments.csv",
        "the register of instruments, each with a maximum permissible error or with stability limits",
        (
            Column("tag", text, "what the company calls it", required=True),
            Column("kind", text, "the kind of instrument, in words", required=True),
            Column("maker", text, "who made it", required=True),
            Column("model", text, "the maker's model", required=True),
            Column("serial", text, "its serial number", required=True),
            Column("quantity", one_of(*INSTRUMENT_QUANTITIES), "the quantity that it measures", required=True),
            Column("range_low", number, "where its range begins", required=True),
            Column("range_high", number, "where its range ends", required=True),
            Column("unit", text, "the unit of range, resolution, repeatability and limits", required=True),
            Column("resolution", above_zero, "the smallest step that it shows", required=True),
            Column("mpe_percent", not_negative, "maximum permissible error, in percent of the indication"),
            Column("mpe_absolute", not_negative, "maximum permissible error, in the unit; of both the sum holds"),
            Column("interval_months", whole, "calibration interval in months", required=True),
            Column("location", text, "where it is kept"),
            Column("repeatability", above_zero, "declared standard deviation of one indication"),
            Column(
                "stability_percent",
                not_negative,
                "limit of change since calibration, in percent of the indication, instead of a maximum permissible error",
            ),
            Column("stability_absolute", not_negative, "limit of change since calibration, in the unit"),
            Column("stability_basis", text, "what the stability limits rest on"),
            Column("custodian", text, "who looks after it"),
            Column("firmware", text, "version of its firmware"),
            Column(
                "indication_quantity",
                one_of(*INSTRUMENT_QUANTITIES),
                "what it indicates where that is another quantity: then unit, range, resolution and limits are in that",
            ),
            Column("check_interval_days", whole, "days between intermediate checks; blank: none is required"),
            Column(
                "density_effect",
                one_of(*DENSITY_EFFECTS),
                "how its velocity depends on the density of the air; blank: it does not",
            ),
            Column(
                "reference_temperature_degC",
                AIR_TEMPERATURE,
                "temperature of the reference state of a thermal anemometer",
            ),
            Column("reference_pressure_kPa", AIR_PRESSURE, "pressure of the reference state of a thermal anemometer"),
            Column(
                "resistance_ratio",
                above_one,
                "of a hood with a throttle: its resistance when throttled over that when open",
            ),
            Column(
                "resistance_ratio_standard_uncertainty", not_negative, "standard uncertainty of the resistance ratio"
            ),
        ),
    ),
    Declaration(
        "calibrations.csv",
        "calibrations as their certificates state them, and the acceptance of each",
        (
            Column("tag", text, "the instrument that was calibrated", required=True),
            Column("certificate", text, "number of the certificate", required=True),
            Column("laboratory", text, "who calibrated", required=True),
            Column("accreditation", text, "the laboratory's accreditation"),
            Column("calibrated_on", day, "day of the calibration", required=True),
            Column("accepted_on", day, "day on which it was accepted for use"),
            Column("due_on", day, "day on which the next one is due, where that is sooner than the interval says"),
            Column("temperature_degC", AIR_TEMPERATURE, "temperature of the air at the calibration"),
            Column("pressure_kPa", AIR_PRESSURE, "pressure of the air at the calibration"),
            Column("humidity_percent", between(0, 100, "%"), "relative humidity at the calibration"),
            Column("standards", text, "tags of the reference standards of an in-house calibration, joined by ;"),
            Column("accepted_by", text, "who accepted it, beside accepted_on"),
            Column("criterion", text, "what it was held against, in words, beside accepted_on"),
            Column("decision_rule", one_of(*DECISION_RULES), "rule of the statement of conformity, beside accepted_on"),
            Column("judged", one_of(*JUDGED), "what is held against the criterion, beside decision_rule"),
            Column("received_on", day, "day on which the laboratory received the instrument"),
            Column("issued_on", day, "day on which the certificate was issued"),
            Column(
                "adjustment",
                one_of("yes", "no"),
                "whether it was adjusted between the comparisons as found and as left",
            ),
            Column("procedure", text, "by which the laboratory calibrated"),
            Column("traceability", text, "what the certificate says of it"),
        ),
    ),
    Declaration(
        "comparisons.csv",
        "comparisons of a calibration: a reference value beside an indication",
        (
            Column("tag", text, "the instrument that was calibrated", required=True),
            Column("certificate", text, "number of the certificate", required=True),
            Column("phase", one_of(*PHASES), "before or after an adjustment", required=True),
            Column("reference", number, "the reference value", required=True),
            Column("indication", number, "what the instrument showed", required=True),
            Column("unit", text, "the unit of the reference value and of its uncertainty", required=True),
            Column("expanded_uncertainty", above_zero, "U of the certificate", required=True),
            Column("coverage_factor", at_least_one, "k of that U", required=True),
            Column("repeatability", not_negative, "standard deviation of the indications"),
            Column("observations", whole, "how many indications the one is the mean of"),
            Column("indication_unit", text, "the unit of the indication, where it is not that of the reference value"),
            Column("standard_indication", number, "what the reference standard showed, of a calibration made in house"),
            Column(
                "basis",
                basis,
                "what the reference value was worked out from, of a calibration made in house, as `calib` writes it",
            ),
        ),
    ),
    Declaration(
        "methods.csv",
        "ways of measuring, with the uncertainty that the company declares for each",
        (
            Column("method", text, "name of the method", required=True),
            Column(
                "relative_standard_uncertainty_percent",
                not_negative,
                "its relative standard uncertainty in percent",
                required=True,
            ),
            Column("basis", text, "what that rests on", required=True),
            Column("pattern", one_of(*PATTERNS), "where and how the instrument is held"),
            Column("degrees_of_freedom", at_least_one, "of the declared uncertainty; blank: taken as exactly known"),
        ),
    ),
    Declaration(
        "jobs.csv",
        "jobs, each with its decision rule",
        (
            Column("job", text, "number of the job", required=True),
            Column("title", text, "what the job is"),
            Column("site", text, "where it is"),
            Column("client", text, "for whom"),
            Column(
                "decision_rule",
                one_of(*DECISION_RULES),
                "the rule of its statements of conformity, agreed with the client",
                required=True,
            ),
        ),
    ),
    Declaration(
        "systems.csv",
        "designs of systems: what a system's total is judged by",
        (
            Column("job", text, "the job", required=True),
            Column("system", text, "the system", required=True),
            Column("service", one_of(*SERVICES), "which of its totals", required=True),
            Column("design_flow", above_zero, "the flow that the total was designed to be", required=True),
            Column("flow_unit", unit_of("volume flow"), "the unit of the design flow", required=True),
            Column("tolerance_percent", percent, "tolerance in percent of the design flow", required=True),
        ),
    ),
    Declaration(
        "rooms.csv",
        "rooms whose supply and extract the design relates",
        (
            Column("job", text, "the job", required=True),
            Column("room", text, "the room, as outlets name it", required=True),
            Column(
                "pressure",
                one_of("positive", "negative"),
                "positive: more supply than extract; negative: less",
                required=True,
            ),
        ),
    ),
    Declaration(
        "outlets.csv",
        "outlets and measuring sections of ducts: an outlet has a shape, dimensions and an outlet factor or found factor, or an "
        "effective area, or none of these where only a hood measures it; a duct has a shape and no factor",
        _OF_AN_OUTLET,
    ),
    Declaration(
        "readings.csv",
        "readings at outlets and ducts: an indication, observations, a log file or a traverse",
        (
            Column("job", text, "the job", required=True),
            Column("outlet", text, "the outlet or the duct's section", required=True),
            Column("instrument", text, "tag of the instrument", required=True),
            Column("observed_at", moment, "when", required=True),
            Column("indication", number, "the mean as shown"),
            Column("unit", text, "the unit of the values", required=True),
            Column("observations", numbers, "repeated passes, joined by ;"),
            Column("method", text, "the method", required=True),
            Column("operator", text, "who measured", required=True),
            Column("remarks", text, "anything worth keeping"),
            Column("averaging_s", above_zero, "the meter's averaging time in seconds"),
            Column("log_file", text, "a file in the same folder with time,value, instead of observations"),
            Column("probe", text, "tag of the probe before a manometer"),
            Column(
                "conditions",
                text,
                "name of the conditions of the air: for a manometer, a thermal anemometer, a vane to be corrected for density",
            ),
            Column("throttled_observations", numbers, "of a hood with its throttle set, joined by ;"),
            Column("traverse_rule", one_of(*TRAVERSE_RULES), "rule of a traverse, instead of observations"),
            Column("traverse_lines", whole, "how many lines were traversed"),
            Column("traverse_points", whole, "how many points on each line"),
        ),
    ),
    Declaration(
        "traverses.csv",
        "points of the traverses of readings",
        (
            Column("job", text, "that of the reading", required=True),
            Column("outlet", text, "that of the reading", required=True),
            Column("instrument", text, "that of the reading", required=True),
            Column("observed_at", moment, "that of the reading", required=True),
            Column("line", whole, "the line, counted from 1", required=True),
            Column("point", whole, "the point on it, counted from 1", required=True),
            Column("indications", numbers, "one for each pass, joined by ;", required=True),
        ),
    ),
    Declaration(
        "conditions.csv",
        "conditions of the air: each quantity with its instrument, or with its standard uncertainty and where it comes from",
        (
            Column("job", text, "the job", required=True),
            Column("conditions", text, "the name by which readings refer to them", required=True),
            Column("observed_at", moment, "when", required=True),
            Column(
                "quantity",
                one_of(*CONDITION_QUANTITIES),
                "which of the quantities; static pressure is that of the duct, and may be left out",
                required=True,
            ),
            Column("value", number, "the value", required=True),
            Column("unit", text, "its unit", required=True),
            Column("instrument", text, "tag of the instrument that showed it"),
            Column("standard_uncertainty", not_negative, "of a stated value, in its unit, instead of an instrument"),
            Column("source", text, "where a stated value comes from"),
        ),
    ),
    Declaration(
        "events.csv",
        "what happened to instruments",
        (
            Column("tag", text, "the instrument", required=True),
            Column("kind", one_of(*EVENT_KINDS), "what happened", required=True),
            Column("at", moment, "when", required=True),
            Column("reason", text, "why", required=True),
            Column("value", text, "what it is now: a location, an interval in months"),
        ),
    ),
    Declaration(
        "checks.csv",
        "intermediate checks of instruments",
        (
            Column("tag", text, "the instrument", required=True),
            Column("at", moment, "when", required=True),
            Column("kind", one_of(*CHECK_KINDS), "the kind of check", required=True),
            Column("value", number, "what was observed", required=True),
            Column("low", number, "the lower limit of what passes", required=True),
            Column("high", number, "the upper limit of what passes", required=True),
            Column("unit", text, "the unit of value and limits", required=True),
            Column("remarks", text, "anything worth keeping"),
            Column("other", text, "tag of the other instrument"),
            Column("basis", json_text, "what value and limits were worked out from, as `calib` writes it"),
        ),
    ),
    Declaration(
        "pairings.csv",
        "probes and the meters that they are used with",
        (
            Column("probe", text, "tag of the probe", required=True),
            Column("meter", text, "tag of the meter", required=True),
            Column("kind", one_of("paired", "parted"), "whether they are a pair from then on", required=True),
            Column("at", moment, "from when on", required=True),
            Column("reason", text, "why", required=True),
        ),
    ),
    Declaration(
        "curves.csv",
        "curves that a person chose",
        (
            Column("tag", text, "the instrument", required=True),
            Column("certificate", text, "number of the certificate", required=True),
            Column("shape", one_of(*CURVE_SHAPES), "shape of the curve", required=True),
            Column("degree", degree, "degree of a polynomial"),
            Column("chosen_by", text, "who chose it", required=True),
            Column("reason", text, "why", required=True),
        ),
    ),
    Declaration(
        "withdrawals.csv",
        "calibrations that were recorded wrongly",
        (
            Column("tag", text, "the instrument", required=True),
            Column("certificate", text, "number of a certificate in calibrations.csv", required=True),
            Column("reason", text, "what was wrong", required=True),
        ),
    ),
    Declaration(
        "factors.csv",
        "outlet factors found in the field",
        (
            Column("factor", text, "name of the factor", required=True),
            Column("revision", whole, "how often it was found so far, from 1", required=True),
            Column("scope", one_of(*SCOPES), "what it holds for", required=True),
            Column("job", text, "job of the outlet, of a factor for this outlet"),
            Column("outlet", text, "the outlet, of a factor for this outlet"),
            Column("outlet_type", text, "the type of outlet, of a factor for this type"),
            Column("instrument", text, "tag of the instrument at the face", required=True),
            Column("certificate", text, "certificate of the calibration that the instrument had", required=True),
            Column("method", text, "the method at the face", required=True),
            Column("value", above_zero, "the factor", required=True),
            Column("effective_area", above_zero, "factor times area in m2, of a factor for this outlet"),
            Column(
                "relative_spread",
                not_negative,
                "relative standard uncertainty that the spread of the pairs shows",
                required=True,
            ),
            Column("degrees_of_freedom", above_zero, "of the spread; blank: it was stated"),
            Column("relative_reference", not_negative, "relative standard uncertainty of the traverses", required=True),
            Column(
                "relative_instrument",
                not_negative,
                "relative standard uncertainty of the face instrument's calibration",
                required=True,
            ),
            Column(
                "face_indications", numbers, "mean indication of each face reading in SI, joined by ;", required=True
            ),
            Column("reason", text, "why it was found", required=True),
        ),
    ),
    Declaration(
        "factor_pairs.csv",
        "the readings that a factor was found from",
        (
            Column("factor", text, "name of the factor", required=True),
            Column("revision", whole, "revision of the factor", required=True),
            *(
                Column(
                    f"{where}_{name}", moment if name == "observed_at" else text, f"{name} of {reading}", required=True
                )
                for where, reading in (("traverse", "the traverse's reading"), ("face", "the reading at the face"))
                for name in ("job", "outlet", "instrument", "observed_at")
            ),
            Column("value", above_zero, "the factor that the pair gives", required=True),
        ),
    ),
    Declaration(
        "amendments.csv",
        "outlets as they were amended, each time the whole of one",
        (
            *_OF_AN_OUTLET,
            Column("revision", whole, "revision of the outlet; as first typed it is 1", required=True),
            Column("reason", text, "what was wrong", required=True),
        ),
    ),
)
# File name -> what it holds and its columns, in the order in which files are read.
FILES = {each.file: each for each in _DECLARED}
