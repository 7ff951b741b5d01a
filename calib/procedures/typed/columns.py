"""The columns of the import files: what each cell may hold. The names are the contract with the user's spreadsheets."""

from calib.confirmation.acceptance import JUDGED
from calib.confirmation.conformity import DECISION_RULES
from calib.errors import Step
from calib.procedures.typed.cells import (
    above_one,
    above_zero,
    any_text,
    at_least_one,
    basis,
    between,
    day,
    degree,
    finite_number,
    json_text,
    not_negative,
    numbers,
    one_of,
    percent,
    same_count,
    same_time,
    time_with_zone,
    whole,
)
from calib.procedures.typed.declaration import Check, Declaration, Reference, TypedColumn
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
    Calibration,
    Comparison,
    Condition,
    Event,
    FactorPair,
    FoundFactor,
    Instrument,
    IntermediateCheck,
    Job,
    Method,
    Outlet,
    OutletRevision,
    Pairing,
    Reading,
    Room,
    StoredCurve,
    SystemDesign,
    TraversePoint,
    Withdrawal,
)


def unit_check(quantity: str) -> Check:
    """A unit of one quantity."""
    return one_of(*UNITS[quantity])


PHASES = ("as-found", "as-left")
# Where the density of the air is known (calib.airflow.air).
AIR_TEMPERATURE = between(-40, 60, "degC")
AIR_PRESSURE = between(60, 110, "kPa")


def _tag(column: str, stored: str) -> Reference:
    return Reference((column,), Instrument, "the tag of an instrument in instruments.csv or in the records", stored)


def _reading(where: str) -> Reference:
    columns = ("job", "outlet", "instrument", "observed_at")
    expected = "the job, outlet, instrument and time of a reading in readings.csv"
    return Reference(
        tuple(f"{where}_{column}" for column in columns), Reading, expected, f"{where}_reading_id", here=True
    )


_OF_INSTRUMENT = _tag("tag", "instrument_id")
_OF_CALIBRATION = Reference(
    ("tag", "certificate"), Calibration, "a certificate of {tag} in calibrations.csv", "calibration_id", here=True
)
_A_JOB = "a job in jobs.csv or in the records"
_OF_JOB = Reference(("job",), Job, _A_JOB, "job_id")
_AT_OUTLET = Reference(
    ("job", "outlet"), Outlet, "an outlet of job {job} in outlets.csv or in the records", "outlet_id"
)
_BY_METHOD = Reference(("method",), Method, "a method in methods.csv or in the records", "method_id")

_OF_AN_OUTLET = (
    TypedColumn("job", any_text, "the job", required=True),
    TypedColumn("outlet", any_text, "name of the outlet or of the duct's section", required=True),
    TypedColumn("system", any_text, "the system that it belongs to", required=True),
    TypedColumn("service", one_of(*SERVICES), "what the air does there", required=True),
    TypedColumn("place", one_of(*PLACES), "what is measured; blank: an outlet"),
    TypedColumn(
        "in_totals",
        one_of("yes", "no"),
        "whether it counts in the totals; blank: outlets do, ducts where their system has no outlet of that service",
    ),
    TypedColumn("room", any_text, "the room that it serves"),
    TypedColumn("outlet_type", any_text, "the type of outlet"),
    TypedColumn("shape", one_of(*SHAPES), "shape of the opening or of the section"),
    TypedColumn("width", above_zero, "width, of a flat-oval section the longer axis"),
    TypedColumn("height", above_zero, "height"),
    TypedColumn("diameter", above_zero, "diameter of a round one"),
    TypedColumn("dimension_unit", unit_check("length"), "the unit of the dimensions"),
    TypedColumn("dimension_limit", not_negative, "half-width within which the dimensions are known"),
    TypedColumn("outlet_factor", above_zero, "what the face velocity times the area is multiplied by"),
    TypedColumn("outlet_factor_standard_uncertainty", not_negative, "standard uncertainty of the outlet factor"),
    TypedColumn("outlet_factor_source", any_text, "where the outlet factor or the effective area comes from"),
    TypedColumn("outlet_factor_reason", any_text, "why a factor above 1.2 is right"),
    TypedColumn(
        "effective_area", above_zero, "area that the velocity is multiplied by, instead of dimensions and factor"
    ),
    TypedColumn("effective_area_unit", unit_check("area"), "the unit of the effective area"),
    TypedColumn("effective_area_standard_uncertainty", not_negative, "standard uncertainty of the effective area"),
    TypedColumn("found_factor", any_text, "name of a factor found in the field, instead of an outlet factor"),
    TypedColumn("design_flow", above_zero, "the flow that it was designed for"),
    TypedColumn("flow_unit", unit_check("volume flow"), "the unit of the design flow"),
    TypedColumn("tolerance_percent", percent, "tolerance in percent of the design flow"),
)
_DECLARED = (
    Declaration(
        "instruments.csv",
        "the register of instruments, each with a maximum permissible error or with stability limits",
        Instrument,
        (
            TypedColumn("tag", any_text, "what the company calls it", required=True),
            TypedColumn("kind", any_text, "the kind of instrument, in words", required=True),
            TypedColumn("maker", any_text, "who made it", required=True),
            TypedColumn("model", any_text, "the maker's model", required=True),
            TypedColumn("serial", any_text, "its serial number", required=True),
            TypedColumn("quantity", one_of(*INSTRUMENT_QUANTITIES), "the quantity that it measures", required=True),
            TypedColumn("range_low", finite_number, "where its range begins", required=True),
            TypedColumn("range_high", finite_number, "where its range ends", required=True),
            TypedColumn("unit", any_text, "the unit of range, resolution, repeatability and limits", required=True),
            TypedColumn("resolution", above_zero, "the smallest step that it shows", required=True),
            TypedColumn("mpe_percent", not_negative, "maximum permissible error, in percent of the indication"),
            TypedColumn("mpe_absolute", not_negative, "maximum permissible error, in the unit; of both the sum holds"),
            TypedColumn("interval_months", whole, "calibration interval in months", required=True),
            TypedColumn("location", any_text, "where it is kept"),
            TypedColumn("repeatability", above_zero, "declared standard deviation of one indication"),
            TypedColumn(
                "stability_percent",
                not_negative,
                "limit of change since calibration, in percent of the indication, instead of a maximum permissible error",
            ),
            TypedColumn("stability_absolute", not_negative, "limit of change since calibration, in the unit"),
            TypedColumn("stability_basis", any_text, "what the stability limits rest on"),
            TypedColumn("custodian", any_text, "who looks after it"),
            TypedColumn("firmware", any_text, "version of its firmware"),
            TypedColumn(
                "indication_quantity",
                one_of(*INSTRUMENT_QUANTITIES),
                "what it indicates where that is another quantity: then unit, range, resolution and limits are in that",
            ),
            TypedColumn("check_interval_days", whole, "days between intermediate checks; blank: none is required"),
            TypedColumn(
                "density_effect",
                one_of(*DENSITY_EFFECTS),
                "how its velocity depends on the density of the air; blank: it does not",
            ),
            TypedColumn(
                "reference_temperature_degC",
                AIR_TEMPERATURE,
                "temperature of the reference state of a thermal anemometer",
            ),
            TypedColumn(
                "reference_pressure_kPa", AIR_PRESSURE, "pressure of the reference state of a thermal anemometer"
            ),
            TypedColumn(
                "resistance_ratio",
                above_one,
                "of a hood with a throttle: its resistance when throttled over that when open",
            ),
            TypedColumn(
                "resistance_ratio_standard_uncertainty", not_negative, "standard uncertainty of the resistance ratio"
            ),
        ),
        key=("tag",),
    ),
    Declaration(
        "calibrations.csv",
        "calibrations as their certificates state them, and the acceptance of each",
        Calibration,
        (
            TypedColumn("tag", any_text, "the instrument that was calibrated", required=True),
            TypedColumn("certificate", any_text, "number of the certificate", required=True),
            TypedColumn("laboratory", any_text, "who calibrated", required=True),
            TypedColumn("accreditation", any_text, "the laboratory's accreditation"),
            TypedColumn("calibrated_on", day, "day of the calibration", required=True),
            TypedColumn("accepted_on", day, "day on which it was accepted for use"),
            TypedColumn("due_on", day, "day on which the next one is due, where that is sooner than the interval says"),
            TypedColumn("temperature_degC", AIR_TEMPERATURE, "temperature of the air at the calibration"),
            TypedColumn("pressure_kPa", AIR_PRESSURE, "pressure of the air at the calibration"),
            TypedColumn("humidity_percent", between(0, 100, "%"), "relative humidity at the calibration"),
            TypedColumn(
                "standards", any_text, "tags of the reference standards of an in-house calibration, joined by ;"
            ),
            TypedColumn("accepted_by", any_text, "who accepted it, beside accepted_on"),
            TypedColumn("criterion", any_text, "what it was held against, in words, beside accepted_on"),
            TypedColumn(
                "decision_rule", one_of(*DECISION_RULES), "rule of the statement of conformity, beside accepted_on"
            ),
            TypedColumn("judged", one_of(*JUDGED), "what is held against the criterion, beside decision_rule"),
            TypedColumn("received_on", day, "day on which the laboratory received the instrument"),
            TypedColumn("issued_on", day, "day on which the certificate was issued"),
            TypedColumn(
                "adjustment",
                one_of("yes", "no"),
                "whether it was adjusted between the comparisons as found and as left",
            ),
            TypedColumn("procedure", any_text, "by which the laboratory calibrated"),
            TypedColumn("traceability", any_text, "what the certificate says of it"),
        ),
        key=("tag", "certificate"),
        references=(_OF_INSTRUMENT,),
    ),
    Declaration(
        "comparisons.csv",
        "comparisons of a calibration: a reference value beside an indication",
        Comparison,
        (
            TypedColumn("tag", any_text, "the instrument that was calibrated", required=True),
            TypedColumn("certificate", any_text, "number of the certificate", required=True),
            TypedColumn("phase", one_of(*PHASES), "before or after an adjustment", required=True),
            TypedColumn("reference", finite_number, "the reference value", required=True),
            TypedColumn("indication", finite_number, "what the instrument showed", required=True),
            TypedColumn("unit", any_text, "the unit of the reference value and of its uncertainty", required=True),
            TypedColumn("expanded_uncertainty", above_zero, "U of the certificate", required=True),
            TypedColumn("coverage_factor", at_least_one, "k of that U", required=True),
            TypedColumn("repeatability", not_negative, "standard deviation of the indications"),
            TypedColumn("observations", whole, "how many indications the one is the mean of"),
            TypedColumn(
                "indication_unit", any_text, "the unit of the indication, where it is not that of the reference value"
            ),
            TypedColumn(
                "standard_indication",
                finite_number,
                "what the reference standard showed, of a calibration made in house",
            ),
            TypedColumn(
                "basis",
                basis,
                "what the reference value was worked out from, of a calibration made in house, as `calib` writes it",
            ),
        ),
        references=(_OF_CALIBRATION,),
    ),
    Declaration(
        "methods.csv",
        "ways of measuring, with the uncertainty that the company declares for each",
        Method,
        (
            TypedColumn("method", any_text, "name of the method", required=True),
            TypedColumn(
                "relative_standard_uncertainty_percent",
                not_negative,
                "its relative standard uncertainty in percent",
                required=True,
            ),
            TypedColumn("basis", any_text, "what that rests on", required=True),
            TypedColumn("pattern", one_of(*PATTERNS), "where and how the instrument is held"),
            TypedColumn(
                "degrees_of_freedom", at_least_one, "of the declared uncertainty; blank: taken as exactly known"
            ),
        ),
        key=("method",),
    ),
    Declaration(
        "jobs.csv",
        "jobs, each with its decision rule",
        Job,
        (
            TypedColumn("job", any_text, "number of the job", required=True),
            TypedColumn("title", any_text, "what the job is"),
            TypedColumn("site", any_text, "where it is"),
            TypedColumn("client", any_text, "for whom"),
            TypedColumn(
                "decision_rule",
                one_of(*DECISION_RULES),
                "the rule of its statements of conformity, agreed with the client",
                required=True,
            ),
        ),
        key=("job",),
    ),
    Declaration(
        "systems.csv",
        "designs of systems: what a system's total is judged by",
        SystemDesign,
        (
            TypedColumn("job", any_text, "the job", required=True),
            TypedColumn("system", any_text, "the system", required=True),
            TypedColumn("service", one_of(*SERVICES), "which of its totals", required=True),
            TypedColumn("design_flow", above_zero, "the flow that the total was designed to be", required=True),
            TypedColumn("flow_unit", unit_check("volume flow"), "the unit of the design flow", required=True),
            TypedColumn("tolerance_percent", percent, "tolerance in percent of the design flow", required=True),
        ),
        key=("job", "system", "service"),
        references=(_OF_JOB,),
    ),
    Declaration(
        "rooms.csv",
        "rooms whose supply and extract the design relates",
        Room,
        (
            TypedColumn("job", any_text, "the job", required=True),
            TypedColumn("room", any_text, "the room, as outlets name it", required=True),
            TypedColumn(
                "pressure",
                one_of("positive", "negative"),
                "positive: more supply than extract; negative: less",
                required=True,
            ),
        ),
        key=("job", "room"),
        references=(_OF_JOB,),
    ),
    Declaration(
        "outlets.csv",
        "outlets and measuring sections of ducts: an outlet has a shape, dimensions and an outlet factor or found factor, or an "
        "effective area, or none of these where only a hood measures it; a duct has a shape and no factor",
        Outlet,
        _OF_AN_OUTLET,
        key=("job", "outlet"),
        references=(_OF_JOB,),
    ),
    Declaration(
        "readings.csv",
        "readings at outlets and ducts: an indication, observations, a log file or a traverse",
        Reading,
        (
            TypedColumn("job", any_text, "the job", required=True),
            TypedColumn("outlet", any_text, "the outlet or the duct's section", required=True),
            TypedColumn("instrument", any_text, "tag of the instrument", required=True),
            TypedColumn("observed_at", time_with_zone, "when", required=True, compared=same_time),
            TypedColumn("indication", finite_number, "the mean as shown"),
            TypedColumn("unit", any_text, "the unit of the values", required=True),
            TypedColumn("observations", numbers, "repeated passes, joined by ;"),
            TypedColumn("method", any_text, "the method", required=True),
            TypedColumn("operator", any_text, "who measured", required=True),
            TypedColumn("remarks", any_text, "anything worth keeping"),
            TypedColumn("averaging_s", above_zero, "the meter's averaging time in seconds"),
            TypedColumn("log_file", any_text, "a file in the same folder with time,value, instead of observations"),
            TypedColumn("probe", any_text, "tag of the probe before a manometer"),
            TypedColumn(
                "conditions",
                any_text,
                "name of the conditions of the air: for a manometer, a thermal anemometer, a vane to be corrected for density",
            ),
            TypedColumn("throttled_observations", numbers, "of a hood with its throttle set, joined by ;"),
            TypedColumn("traverse_rule", one_of(*TRAVERSE_RULES), "rule of a traverse, instead of observations"),
            TypedColumn("traverse_lines", whole, "how many lines were traversed"),
            TypedColumn("traverse_points", whole, "how many points on each line"),
        ),
        key=("job", "outlet", "instrument", "observed_at"),
        references=(
            Reference(("job",), Job, _A_JOB),
            _AT_OUTLET,
            _tag("instrument", "instrument_id"),
            _tag("probe", "probe_id"),
            _BY_METHOD,
            Reference(("job", "conditions"), Condition, "conditions of job {job} in conditions.csv or in the records"),
        ),
    ),
    Declaration(
        "traverses.csv",
        "points of the traverses of readings",
        TraversePoint,
        (
            TypedColumn("job", any_text, "that of the reading", required=True),
            TypedColumn("outlet", any_text, "that of the reading", required=True),
            TypedColumn("instrument", any_text, "that of the reading", required=True),
            TypedColumn("observed_at", time_with_zone, "that of the reading", required=True),
            TypedColumn("line", whole, "the line, counted from 1", required=True),
            TypedColumn("point", whole, "the point on it, counted from 1", required=True),
            TypedColumn("indications", numbers, "one for each pass, joined by ;", required=True),
        ),
        key=("job", "outlet", "instrument", "observed_at", "line", "point"),
    ),
    Declaration(
        "conditions.csv",
        "conditions of the air: each quantity with its instrument, or with its standard uncertainty and where it comes from",
        Condition,
        (
            TypedColumn("job", any_text, "the job", required=True),
            TypedColumn("conditions", any_text, "the name by which readings refer to them", required=True),
            TypedColumn("observed_at", time_with_zone, "when", required=True),
            TypedColumn(
                "quantity",
                one_of(*CONDITION_QUANTITIES),
                "which of the quantities; static pressure is that of the duct, and may be left out",
                required=True,
            ),
            TypedColumn("value", finite_number, "the value", required=True),
            TypedColumn("unit", any_text, "its unit", required=True),
            TypedColumn("instrument", any_text, "tag of the instrument that showed it"),
            TypedColumn(
                "standard_uncertainty", not_negative, "of a stated value, in its unit, instead of an instrument"
            ),
            TypedColumn("source", any_text, "where a stated value comes from"),
        ),
        key=("job", "conditions", "quantity"),
        references=(_OF_JOB, _tag("instrument", "instrument_id")),
    ),
    Declaration(
        "events.csv",
        "what happened to instruments",
        Event,
        (
            TypedColumn("tag", any_text, "the instrument", required=True),
            TypedColumn("kind", one_of(*EVENT_KINDS), "what happened", required=True),
            TypedColumn("at", time_with_zone, "when", required=True),
            TypedColumn("reason", any_text, "why", required=True),
            TypedColumn("value", any_text, "what it is now: a location, an interval in months"),
        ),
        references=(_OF_INSTRUMENT,),
    ),
    Declaration(
        "checks.csv",
        "intermediate checks of instruments",
        IntermediateCheck,
        (
            TypedColumn("tag", any_text, "the instrument", required=True),
            TypedColumn("at", time_with_zone, "when", required=True),
            TypedColumn("kind", one_of(*CHECK_KINDS), "the kind of check", required=True),
            TypedColumn("value", finite_number, "what was observed", required=True),
            TypedColumn("low", finite_number, "the lower limit of what passes", required=True),
            TypedColumn("high", finite_number, "the upper limit of what passes", required=True),
            TypedColumn("unit", any_text, "the unit of value and limits", required=True),
            TypedColumn("remarks", any_text, "anything worth keeping"),
            TypedColumn("other", any_text, "tag of the other instrument"),
            TypedColumn("basis", json_text, "what value and limits were worked out from, as `calib` writes it"),
        ),
        references=(_OF_INSTRUMENT, _tag("other", "other_instrument_id")),
    ),
    Declaration(
        "pairings.csv",
        "probes and the meters that they are used with",
        Pairing,
        (
            TypedColumn("probe", any_text, "tag of the probe", required=True),
            TypedColumn("meter", any_text, "tag of the meter", required=True),
            TypedColumn("kind", one_of("paired", "parted"), "whether they are a pair from then on", required=True),
            TypedColumn("at", time_with_zone, "from when on", required=True),
            TypedColumn("reason", any_text, "why", required=True),
        ),
        references=(_tag("probe", "probe_id"), _tag("meter", "meter_id")),
    ),
    Declaration(
        "curves.csv",
        "curves that a person chose",
        StoredCurve,
        (
            TypedColumn("tag", any_text, "the instrument", required=True),
            TypedColumn("certificate", any_text, "number of the certificate", required=True),
            TypedColumn("shape", one_of(*CURVE_SHAPES), "shape of the curve", required=True),
            TypedColumn("degree", degree, "degree of a polynomial"),
            TypedColumn("chosen_by", any_text, "who chose it", required=True),
            TypedColumn("reason", any_text, "why", required=True),
        ),
        references=(_OF_CALIBRATION,),
    ),
    Declaration(
        "withdrawals.csv",
        "calibrations that were recorded wrongly",
        Withdrawal,
        (
            TypedColumn("tag", any_text, "the instrument", required=True),
            TypedColumn("certificate", any_text, "number of a certificate in calibrations.csv", required=True),
            TypedColumn("reason", any_text, "what was wrong", required=True),
        ),
        key=("tag", "certificate"),
        references=(_OF_CALIBRATION,),
    ),
    Declaration(
        "factors.csv",
        "outlet factors found in the field",
        FoundFactor,
        (
            TypedColumn("factor", any_text, "name of the factor", required=True),
            TypedColumn("revision", whole, "how often it was found so far, from 1", required=True, compared=same_count),
            TypedColumn("scope", one_of(*SCOPES), "what it holds for", required=True),
            TypedColumn("job", any_text, "job of the outlet, of a factor for this outlet"),
            TypedColumn("outlet", any_text, "the outlet, of a factor for this outlet"),
            TypedColumn("outlet_type", any_text, "the type of outlet, of a factor for this type"),
            TypedColumn("instrument", any_text, "tag of the instrument at the face", required=True),
            TypedColumn(
                "certificate", any_text, "certificate of the calibration that the instrument had", required=True
            ),
            TypedColumn("method", any_text, "the method at the face", required=True),
            TypedColumn("value", above_zero, "the factor", required=True),
            TypedColumn("effective_area", above_zero, "factor times area in m2, of a factor for this outlet"),
            TypedColumn(
                "relative_spread",
                not_negative,
                "relative standard uncertainty that the spread of the pairs shows",
                required=True,
            ),
            TypedColumn("degrees_of_freedom", above_zero, "of the spread; blank: it was stated"),
            TypedColumn(
                "relative_reference", not_negative, "relative standard uncertainty of the traverses", required=True
            ),
            TypedColumn(
                "relative_instrument",
                not_negative,
                "relative standard uncertainty of the face instrument's calibration",
                required=True,
            ),
            TypedColumn(
                "face_indications", numbers, "mean indication of each face reading in SI, joined by ;", required=True
            ),
            TypedColumn("reason", any_text, "why it was found", required=True),
        ),
        key=("factor", "revision"),
        references=(
            _AT_OUTLET,
            _tag("instrument", "instrument_id"),
            Reference(("instrument", "certificate"), Calibration, "a certificate of {instrument}", "calibration_id"),
            _BY_METHOD,
        ),
    ),
    Declaration(
        "factor_pairs.csv",
        "the readings that a factor was found from",
        FactorPair,
        (
            TypedColumn("factor", any_text, "name of the factor", required=True),
            TypedColumn("revision", whole, "revision of the factor", required=True),
            *(
                TypedColumn(
                    f"{where}_{name}",
                    time_with_zone if name == "observed_at" else any_text,
                    f"{name} of {reading}",
                    required=True,
                )
                for where, reading in (("traverse", "the traverse's reading"), ("face", "the reading at the face"))
                for name in ("job", "outlet", "instrument", "observed_at")
            ),
            TypedColumn("value", above_zero, "the factor that the pair gives", required=True),
        ),
        references=(
            Reference(
                ("factor", "revision"),
                FoundFactor,
                "a factor and a revision of it in factors.csv",
                "found_factor_id",
                here=True,
            ),
            _reading("traverse"),
            _reading("face"),
        ),
    ),
    Declaration(
        "amendments.csv",
        "outlets as they were amended, each time the whole of one",
        OutletRevision,
        (
            *_OF_AN_OUTLET,
            TypedColumn("revision", whole, "revision of the outlet; as first typed it is 1", required=True),
            TypedColumn("reason", any_text, "what was wrong", required=True),
        ),
        key=("job", "outlet", "revision"),
        references=(
            Reference(
                ("job", "outlet"),
                Outlet,
                f"an outlet in outlets.csv; one on record is {Step.AMEND_OUTLET}",
                "outlet_id",
                here=True,
            ),
        ),
    ),
)
DECLARED = {each.table: each for each in _DECLARED}
# File name -> what it holds and its columns, in the order in which files are read.
FILES = {each.file: each for each in _DECLARED}
