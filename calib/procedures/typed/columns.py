"""The columns of the import files: what each cell may hold. The names are the contract with the user's spreadsheets."""

from datetime import date, datetime
from functools import partial

from calib.confirmation.words import DECISION_RULES, JUDGED
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
    json_text,
    not_negative,
    numbers,
    one_of,
    percent,
    same_count,
    same_time,
    share,
    time_with_zone,
    usually,
    whole,
)
from calib.procedures.typed.declaration import Check, Declaration, Reference, TypedColumn
from calib.quantities import INSTRUMENT_QUANTITIES, UNITS, finite_number
from calib.records import tables


def unit_check(quantity: str) -> Check:
    """A unit of one quantity."""
    return one_of(*UNITS[quantity])


_may, _must = TypedColumn, partial(TypedColumn, required=True)  # whether the cell must be filled

# Where the density of the air is known (calib.airflow.air).
AIR_TEMPERATURE = between(-40, 60, "degC")
AIR_PRESSURE = between(60, 110, "kPa")


def _tag(column: str, stored: str) -> Reference:
    return Reference(
        (column,), tables.Instrument, "the tag of an instrument in instruments.csv or in the records", stored
    )


def _reading(where: str) -> Reference:
    columns = ("job", "outlet", "instrument", "observed_at")
    expected = "the job, outlet, instrument and time of a reading in readings.csv"
    return Reference(
        tuple(f"{where}_{column}" for column in columns), tables.Reading, expected, f"{where}_reading_id", here=True
    )


_OF_INSTRUMENT = _tag("tag", "instrument_id")
_OF_CALIBRATION = Reference(
    ("tag", "certificate"),
    tables.Calibration,
    "a certificate of {tag} in calibrations.csv",
    "calibration_id",
    here=True,
)
_A_JOB = "a job in jobs.csv or in the records"
_OF_JOB = Reference(("job",), tables.Job, _A_JOB, "job_id")
_AT_OUTLET = Reference(
    ("job", "outlet"), tables.Outlet, "an outlet of job {job} in outlets.csv or in the records", "outlet_id"
)
_BY_METHOD = Reference(("method",), tables.Method, "a method in methods.csv or in the records", "method_id")

_OF_AN_OUTLET = (
    _must("job", any_text, "the job"),
    _must("outlet", any_text, "name of the outlet or of the duct's section"),
    _must("system", any_text, "the system that it belongs to"),
    _must("service", one_of(*tables.SERVICES), "what the air does there"),
    _may("place", one_of(*tables.PLACES), "what is measured; blank: an outlet"),
    _may(
        "in_totals",
        one_of("yes", "no"),
        "whether it counts in the totals; blank: outlets do, ducts where their system has no outlet of that service",
    ),
    _may("room", any_text, "the room that it serves"),
    _may("outlet_type", any_text, "the type of outlet"),
    _may("shape", one_of(*tables.SHAPES), "shape of the opening or of the section"),
    _may("width", above_zero, "width, of a flat-oval section the longer axis"),
    _may("height", above_zero, "height"),
    _may("diameter", above_zero, "diameter of a round one"),
    _may("dimension_unit", unit_check("length"), "the unit of the dimensions"),
    _may("dimension_limit", not_negative, "half-width within which the dimensions are known"),
    _may(
        "outlet_factor",
        above_zero,
        "what the face velocity times the area is multiplied by",
        odd=usually(0.4, 1.2, "an outlet factor"),
    ),
    _may("outlet_factor_standard_uncertainty", not_negative, "standard uncertainty of the outlet factor"),
    _may("outlet_factor_source", any_text, "where the outlet factor or the effective area comes from"),
    _may("outlet_factor_reason", any_text, "why a factor above 1.2 is right"),
    _may("effective_area", above_zero, "area that the velocity is multiplied by, instead of dimensions and factor"),
    _may("effective_area_unit", unit_check("area"), "the unit of the effective area"),
    _may("effective_area_standard_uncertainty", not_negative, "standard uncertainty of the effective area"),
    _may("found_factor", any_text, "name of a factor found in the field, instead of an outlet factor"),
    _may("design_flow", above_zero, "the flow that it was designed for"),
    _may("flow_unit", unit_check("volume flow"), "the unit of the design flow"),
    _may(
        "tolerance_percent",
        percent,
        "tolerance in percent of the design flow",
        odd=usually(1, 30, "a tolerance in percent"),
    ),
)
_DECLARED = (
    Declaration(
        "instruments.csv",
        "the register of instruments, each with a maximum permissible error or with stability limits",
        tables.Instrument,
        (
            _must("tag", any_text, "what the company calls it"),
            _must("kind", any_text, "the kind of instrument, in words"),
            _must("maker", any_text, "who made it"),
            _must("model", any_text, "the maker's model"),
            _must("serial", any_text, "its serial number"),
            _must("quantity", one_of(*INSTRUMENT_QUANTITIES), "the quantity that it measures"),
            _must("range_low", finite_number, "where its range begins"),
            _must("range_high", finite_number, "where its range ends"),
            _must("unit", any_text, "the unit of range, resolution, repeatability and limits"),
            _must("resolution", above_zero, "the smallest step that it shows"),
            _may(
                "mpe_percent",
                share,
                "maximum permissible error, in percent of the indication",
                odd=usually(0, 20, "a maximum permissible error in percent"),
            ),
            _may("mpe_absolute", not_negative, "maximum permissible error, in the unit; of both the sum holds"),
            _must(
                "interval_months", whole, "calibration interval in months", odd=usually(1, 60, "an interval in months")
            ),
            _may("location", any_text, "where it is kept"),
            _may("repeatability", above_zero, "declared standard deviation of one indication"),
            _may(
                "stability_percent",
                share,
                "limit of change since calibration, in percent of the indication, instead of a maximum permissible error",
                odd=usually(0, 20, "a limit of change in percent"),
            ),
            _may("stability_absolute", not_negative, "limit of change since calibration, in the unit"),
            _may("stability_basis", any_text, "what the stability limits rest on"),
            _may("custodian", any_text, "who looks after it"),
            _may("firmware", any_text, "version of its firmware"),
            _may(
                "indication_quantity",
                one_of(*INSTRUMENT_QUANTITIES),
                "what it indicates where that is another quantity: then unit, range, resolution and limits are in that",
            ),
            _may(
                "check_interval_days",
                whole,
                "days between intermediate checks; blank: none is required",
                odd=usually(1, 366, "a time between checks in days"),
            ),
            _may(
                "density_effect",
                one_of(*tables.DENSITY_EFFECTS),
                "how its velocity depends on the density of the air; blank: it does not",
            ),
            _may(
                "reference_temperature_degC",
                AIR_TEMPERATURE,
                "temperature of the reference state of a thermal anemometer",
            ),
            _may("reference_pressure_kPa", AIR_PRESSURE, "pressure of the reference state of a thermal anemometer"),
            _may(
                "resistance_ratio",
                above_one,
                "of a hood with a throttle: its resistance when throttled over that when open",
            ),
            _may("resistance_ratio_standard_uncertainty", not_negative, "standard uncertainty of the resistance ratio"),
        ),
        key=("tag",),
    ),
    Declaration(
        "calibrations.csv",
        "calibrations as their certificates state them, and the acceptance of each",
        tables.Calibration,
        (
            _must("tag", any_text, "the instrument that was calibrated"),
            _must("certificate", any_text, "number of the certificate"),
            _must("laboratory", any_text, "who calibrated"),
            _may("accreditation", any_text, "the laboratory's accreditation"),
            _must("calibrated_on", day, "day of the calibration", happened=date.fromisoformat),
            _may("accepted_on", day, "day on which it was accepted for use", happened=date.fromisoformat),
            _may("due_on", day, "day on which the next one is due, where that is sooner than the interval says"),
            _may("temperature_degC", AIR_TEMPERATURE, "temperature of the air at the calibration"),
            _may("pressure_kPa", AIR_PRESSURE, "pressure of the air at the calibration"),
            _may("humidity_percent", between(0, 100, "%"), "relative humidity at the calibration"),
            _may("standards", any_text, "tags of the reference standards of an in-house calibration, joined by ;"),
            _may("accepted_by", any_text, "who accepted it, beside accepted_on"),
            _may("criterion", any_text, "what it was held against, in words, beside accepted_on"),
            _may("decision_rule", one_of(*DECISION_RULES), "rule of the statement of conformity, beside accepted_on"),
            _may("judged", one_of(*JUDGED), "what is held against the criterion, beside decision_rule"),
            _may(
                "received_on", day, "day on which the laboratory received the instrument", happened=date.fromisoformat
            ),
            _may("issued_on", day, "day on which the certificate was issued", happened=date.fromisoformat),
            _may(
                "adjustment",
                one_of("yes", "no"),
                "whether it was adjusted between the comparisons as found and as left",
            ),
            _may("procedure", any_text, "by which the laboratory calibrated"),
            _may("traceability", any_text, "what the certificate says of it"),
        ),
        key=("tag", "certificate"),
        references=(_OF_INSTRUMENT,),
    ),
    Declaration(
        "comparisons.csv",
        "comparisons of a calibration: a reference value beside an indication",
        tables.Comparison,
        (
            _must("tag", any_text, "the instrument that was calibrated"),
            _must("certificate", any_text, "number of the certificate"),
            _must("phase", one_of(*tables.PHASES), "before or after an adjustment"),
            _must("reference", finite_number, "the reference value"),
            _must("indication", finite_number, "what the instrument showed"),
            _must("unit", any_text, "the unit of the reference value and of its uncertainty"),
            _must("expanded_uncertainty", above_zero, "U of the certificate"),
            _must("coverage_factor", at_least_one, "k of that U", odd=usually(1, 5, "k")),
            _may("repeatability", not_negative, "standard deviation of the indications"),
            _may("observations", whole, "how many indications the one is the mean of"),
            _may(
                "indication_unit", any_text, "the unit of the indication, where it is not that of the reference value"
            ),
            _may(
                "standard_indication",
                finite_number,
                "what the reference standard showed, of a calibration made in house",
            ),
            _may(
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
        tables.Method,
        (
            _must("method", any_text, "name of the method"),
            _must(
                "relative_standard_uncertainty_percent",
                share,
                "its relative standard uncertainty in percent",
                odd=usually(0.5, 15, "the standard uncertainty of a method in percent"),
            ),
            _must("basis", any_text, "what that rests on"),
            _may("pattern", one_of(*tables.PATTERNS), "where and how the instrument is held"),
            _may("degrees_of_freedom", at_least_one, "of the declared uncertainty; blank: taken as exactly known"),
        ),
        key=("method",),
    ),
    Declaration(
        "jobs.csv",
        "jobs, each with its decision rule",
        tables.Job,
        (
            _must("job", any_text, "number of the job"),
            _may("title", any_text, "what the job is"),
            _may("site", any_text, "where it is"),
            _may("client", any_text, "for whom"),
            _must(
                "decision_rule",
                one_of(*DECISION_RULES),
                "the rule of its statements of conformity, agreed with the client",
            ),
        ),
        key=("job",),
    ),
    Declaration(
        "systems.csv",
        "designs of systems: what a system's total is judged by",
        tables.SystemDesign,
        (
            _must("job", any_text, "the job"),
            _must("system", any_text, "the system"),
            _must("service", one_of(*tables.SERVICES), "which of its totals"),
            _must("design_flow", above_zero, "the flow that the total was designed to be"),
            _must("flow_unit", unit_check("volume flow"), "the unit of the design flow"),
            _must(
                "tolerance_percent",
                percent,
                "tolerance in percent of the design flow",
                odd=usually(1, 30, "a tolerance in percent"),
            ),
        ),
        key=("job", "system", "service"),
        references=(_OF_JOB,),
    ),
    Declaration(
        "rooms.csv",
        "rooms whose supply and extract the design relates",
        tables.Room,
        (
            _must("job", any_text, "the job"),
            _must("room", any_text, "the room, as outlets name it"),
            _must("pressure", one_of("positive", "negative"), "positive: more supply than extract; negative: less"),
        ),
        key=("job", "room"),
        references=(_OF_JOB,),
    ),
    Declaration(
        "outlets.csv",
        "outlets and measuring sections of ducts: an outlet has a shape, dimensions and an outlet factor or found factor, or an "
        "effective area, or none of these where only a hood measures it; a duct has a shape and no factor",
        tables.Outlet,
        _OF_AN_OUTLET,
        key=("job", "outlet"),
        references=(_OF_JOB,),
    ),
    Declaration(
        "readings.csv",
        "readings at outlets and ducts: an indication, observations, a log file or a traverse",
        tables.Reading,
        (
            _must("job", any_text, "the job"),
            _must("outlet", any_text, "the outlet or the duct's section"),
            _must("instrument", any_text, "tag of the instrument"),
            _must("observed_at", time_with_zone, "when", compared=same_time, happened=datetime.fromisoformat),
            _may("indication", finite_number, "the mean as shown"),
            _must("unit", any_text, "the unit of the values"),
            _may("observations", numbers, "repeated passes, joined by semicolons"),
            _must("method", any_text, "the method"),
            _must("operator", any_text, "who measured"),
            _may("remarks", any_text, "anything worth keeping"),
            _may(
                "averaging_s",
                above_zero,
                "the meter's averaging time in seconds",
                odd=usually(1, 3600, "an averaging time in seconds"),
            ),
            _may(
                "log_file",
                any_text,
                "a file of time,value instead of observations, beside readings.csv in a folder",
            ),
            _may("probe", any_text, "tag of the probe before a manometer"),
            _may(
                "conditions",
                any_text,
                "name of the conditions of the air: for a manometer, a thermal anemometer, a vane to be corrected for density",
            ),
            _may(
                "throttled_observations",
                numbers,
                "repeated values of a hood with its throttle set, joined by semicolons",
            ),
            _may("traverse_rule", one_of(*tables.TRAVERSE_RULES), "rule of a traverse, instead of observations"),
            _may("traverse_lines", whole, "how many lines were traversed"),
            _may("traverse_points", whole, "how many points on each line"),
        ),
        key=("job", "outlet", "instrument", "observed_at"),
        references=(
            Reference(("job",), tables.Job, _A_JOB),
            _AT_OUTLET,
            _tag("instrument", "instrument_id"),
            _tag("probe", "probe_id"),
            _BY_METHOD,
            Reference(
                ("job", "conditions"), tables.Condition, "conditions of job {job} in conditions.csv or in the records"
            ),
        ),
    ),
    Declaration(
        "traverses.csv",
        "points of the traverses of readings",
        tables.TraversePoint,
        (
            _must("job", any_text, "that of the reading"),
            _must("outlet", any_text, "that of the reading"),
            _must("instrument", any_text, "that of the reading"),
            _must("observed_at", time_with_zone, "that of the reading"),
            _must("line", whole, "the line, counted from 1"),
            _must("point", whole, "the point on it, counted from 1"),
            _must("indications", numbers, "one for each pass, joined by ;"),
        ),
        key=("job", "outlet", "instrument", "observed_at", "line", "point"),
    ),
    Declaration(
        "conditions.csv",
        "conditions of the air: each quantity with its instrument, or with its standard uncertainty and where it comes from",
        tables.Condition,
        (
            _must("job", any_text, "the job"),
            _must("conditions", any_text, "the name by which readings refer to them"),
            _must("observed_at", time_with_zone, "when", happened=datetime.fromisoformat),
            _must(
                "quantity",
                one_of(*tables.CONDITION_QUANTITIES),
                "which of the quantities; static pressure is that of the duct, and may be left out",
            ),
            _must("value", finite_number, "the value"),
            _must("unit", any_text, "its unit"),
            _may("instrument", any_text, "tag of the instrument that showed it"),
            _may("standard_uncertainty", not_negative, "of a stated value, in its unit, instead of an instrument"),
            _may("source", any_text, "where a stated value comes from"),
        ),
        key=("job", "conditions", "quantity"),
        references=(_OF_JOB, _tag("instrument", "instrument_id")),
    ),
    Declaration(
        "events.csv",
        "what happened to instruments",
        tables.Event,
        (
            _must("tag", any_text, "the instrument"),
            _must("kind", one_of(*tables.EVENT_KINDS), "what happened"),
            _must("at", time_with_zone, "when", happened=datetime.fromisoformat),
            _must("reason", any_text, "why"),
            _may("value", any_text, "what it is now: a location, an interval in months"),
        ),
        references=(_OF_INSTRUMENT,),
    ),
    Declaration(
        "checks.csv",
        "intermediate checks of instruments",
        tables.IntermediateCheck,
        (
            _must("tag", any_text, "the instrument"),
            _must("at", time_with_zone, "when", happened=datetime.fromisoformat),
            _must("kind", one_of(*tables.CHECK_KINDS), "the kind of check"),
            _must("value", finite_number, "what was observed"),
            _must("low", finite_number, "the lowest value that passes"),
            _must("high", finite_number, "the highest value that passes"),
            _must("unit", any_text, "the unit of value and limits"),
            _may("remarks", any_text, "anything worth keeping"),
            _may("other", any_text, "tag of the instrument compared with, or of the check standard"),
            _may("basis", json_text, "what value and limits were worked out from, as `calib` writes it"),
        ),
        references=(_OF_INSTRUMENT, _tag("other", "other_instrument_id")),
    ),
    Declaration(
        "pairings.csv",
        "probes and the meters that they are used with",
        tables.Pairing,
        (
            _must("probe", any_text, "tag of the probe"),
            _must("meter", any_text, "tag of the meter"),
            _must("kind", one_of("paired", "parted"), "whether they are a pair from then on"),
            _must("at", time_with_zone, "from when on", happened=datetime.fromisoformat),
            _must("reason", any_text, "why"),
        ),
        references=(_tag("probe", "probe_id"), _tag("meter", "meter_id")),
    ),
    Declaration(
        "curves.csv",
        "curves that a person chose",
        tables.StoredCurve,
        (
            _must("tag", any_text, "the instrument"),
            _must("certificate", any_text, "number of the certificate"),
            _must("shape", one_of(*tables.CURVE_SHAPES), "shape of the curve"),
            _may("degree", degree, "degree of a polynomial"),
            _must("chosen_by", any_text, "who chose it"),
            _must("reason", any_text, "why"),
        ),
        references=(_OF_CALIBRATION,),
    ),
    Declaration(
        "withdrawals.csv",
        "calibrations that were recorded wrongly",
        tables.Withdrawal,
        (
            _must("tag", any_text, "the instrument"),
            _must("certificate", any_text, "number of a certificate in calibrations.csv"),
            _must("reason", any_text, "what was wrong"),
        ),
        key=("tag", "certificate"),
        references=(_OF_CALIBRATION,),
    ),
    Declaration(
        "factors.csv",
        "outlet factors found in the field",
        tables.FoundFactor,
        (
            _must("factor", any_text, "name of the factor"),
            _must("revision", whole, "how often it was found so far, from 1", compared=same_count),
            _must("scope", one_of(*tables.SCOPES), "what it holds for"),
            _may("job", any_text, "job of the outlet, of a factor for this outlet"),
            _may("outlet", any_text, "the outlet, of a factor for this outlet"),
            _may("outlet_type", any_text, "the type of outlet, of a factor for this type"),
            _must("instrument", any_text, "tag of the instrument at the face"),
            _must("certificate", any_text, "certificate of the calibration that the instrument had"),
            _must("method", any_text, "the method at the face"),
            _must("value", above_zero, "the factor"),
            _may("effective_area", above_zero, "factor times area in m2, of a factor for this outlet"),
            _must("relative_spread", not_negative, "relative standard uncertainty that the spread of the pairs shows"),
            _may("degrees_of_freedom", above_zero, "of the spread; blank: it was stated"),
            _must("relative_reference", not_negative, "relative standard uncertainty of the traverses"),
            _must(
                "relative_instrument",
                not_negative,
                "relative standard uncertainty of the face instrument's calibration",
            ),
            _must("face_indications", numbers, "mean indication of each face reading in SI, joined by ;"),
            _must("reason", any_text, "why it was found"),
        ),
        key=("factor", "revision"),
        references=(
            _AT_OUTLET,
            _tag("instrument", "instrument_id"),
            Reference(
                ("instrument", "certificate"), tables.Calibration, "a certificate of {instrument}", "calibration_id"
            ),
            _BY_METHOD,
        ),
    ),
    Declaration(
        "factor_pairs.csv",
        "the readings that a factor was found from",
        tables.FactorPair,
        (
            _must("factor", any_text, "name of the factor"),
            _must("revision", whole, "revision of the factor"),
            *(
                _must(f"{where}_{name}", time_with_zone if name == "observed_at" else any_text, f"{name} of {reading}")
                for where, reading in (("traverse", "the traverse's reading"), ("face", "the reading at the face"))
                for name in ("job", "outlet", "instrument", "observed_at")
            ),
            _must("value", above_zero, "the factor that the pair gives"),
        ),
        references=(
            Reference(
                ("factor", "revision"),
                tables.FoundFactor,
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
        tables.OutletRevision,
        (
            *_OF_AN_OUTLET,
            _must("revision", whole, "revision of the outlet; as first typed it is 1"),
            _must("reason", any_text, "what was wrong"),
        ),
        key=("job", "outlet", "revision"),
        references=(
            Reference(
                ("job", "outlet"),
                tables.Outlet,
                f"an outlet in outlets.csv; one on record is {Step.AMEND_OUTLET}",
                "outlet_id",
                here=True,
            ),
        ),
    ),
)
# What is typed beside a row of checks.csv where two instruments are compared; it is kept in the row's basis.
OF_TWO_INSTRUMENTS = (
    _may("other_value", finite_number, "what the other instrument showed"),
    _may(
        "expanded_uncertainty",
        above_zero,
        "U (k = 2) of a value that is corrected already; from the calibration if not given",
    ),
    _may("other_expanded_uncertainty", above_zero, "U (k = 2) of the other value, beside it"),
)
DECLARED = {each.table: each for each in _DECLARED}
# File name -> what it holds and its columns, in the order in which files are read.
FILES = {each.file: each for each in _DECLARED}
