"""What is typed of calibrations, of their comparisons and curves, and of those that were recorded wrongly."""

from datetime import date

from calib.confirmation.words import DECISION_RULES, JUDGED
from calib.procedures.typed.cells import (
    AIR_HUMIDITY,
    AIR_PRESSURE,
    AIR_TEMPERATURE,
    above_zero,
    any_text,
    at_least_one,
    basis,
    correlation,
    coverage_percent,
    day,
    degree,
    not_negative,
    one_of,
    usually,
    whole,
)
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.procedures.typed.declared.instruments import OF_INSTRUMENT
from calib.quantities import finite_number
from calib.records.tables.calibrations import AIR_OF_CALIBRATION, Calibration, Withdrawal
from calib.records.tables.comparisons import Comparison, ComparisonCorrelation
from calib.records.tables.curves import StoredCurve
from calib.records.tables.supersessions import Supersession
from calib.records.words import CURVE_SHAPES, PHASES

OF_CALIBRATION = Reference(
    ("tag", "certificate"),
    Calibration,
    "a certificate of {tag} in calibrations.csv",
    "calibration_id",
    here=True,
)
CALIBRATIONS_CSV = Declaration(
    "calibrations.csv",
    "calibrations as their certificates state them, and the acceptance of each",
    Calibration,
    (
        must("tag", any_text, "the instrument that was calibrated"),
        must("certificate", any_text, "number of the certificate"),
        must("laboratory", any_text, "who calibrated"),
        may("accreditation", any_text, "the laboratory's accreditation"),
        must("calibrated_on", day, "day of the calibration", happened=date.fromisoformat),
        may("accepted_on", day, "day on which it was accepted for use", happened=date.fromisoformat, later=True),
        may("due_on", day, "day on which the next one is due, where that is sooner than the interval says"),
        may("temperature_degC", AIR_TEMPERATURE, "temperature of the air at the calibration"),
        may("pressure_kPa", AIR_PRESSURE, "pressure of the air at the calibration"),
        may("humidity_percent", AIR_HUMIDITY, "relative humidity at the calibration"),
        may("standards", any_text, "tags of the reference standards of an in-house calibration, joined by semicolons"),
        may("accepted_by", any_text, "who accepted it, beside accepted_on", later=True),
        may("criterion", any_text, "what it was held against, in words, beside accepted_on", later=True),
        may(
            "decision_rule",
            one_of(*DECISION_RULES),
            "rule of the statement of conformity, beside accepted_on",
            later=True,
        ),
        may("judged", one_of(*JUDGED), "what is held against the criterion, beside decision_rule", later=True),
        may("reason", any_text, "why the acceptance holds from before it was recorded, beside accepted_on", later=True),
        may(
            "departure_reason", any_text, "why the acceptance departs from the register, beside accepted_on", later=True
        ),
        may("received_on", day, "day on which the laboratory received the instrument", happened=date.fromisoformat),
        may("issued_on", day, "day on which the certificate was issued", happened=date.fromisoformat),
        may(
            "adjustment",
            one_of("yes", "no"),
            "whether it was adjusted between the comparisons as found and as left",
        ),
        may("procedure", any_text, "by which the laboratory calibrated"),
        may("traceability", any_text, "what the certificate says of it"),
    ),
    key=("tag", "certificate"),
    references=(OF_INSTRUMENT,),
)
COMPARISONS_CSV = Declaration(
    "comparisons.csv",
    "comparisons of a calibration: a reference value beside an indication",
    Comparison,
    (
        must("tag", any_text, "the instrument that was calibrated"),
        must("certificate", any_text, "number of the certificate"),
        must("phase", one_of(*PHASES), "before or after an adjustment"),
        must("reference", finite_number, "the reference value"),
        must("indication", finite_number, "what the instrument showed"),
        must("unit", any_text, "the unit of the reference value and of its uncertainty"),
        must("expanded_uncertainty", above_zero, "U of the certificate"),
        must("coverage_factor", at_least_one, "k of that U", odd=usually(1, 5, "k")),
        may("repeatability", not_negative, "standard deviation of the indications"),
        may("observations", whole, "how many indications the one is the mean of"),
        may("indication_unit", any_text, "the unit of the indication, where it is not that of the reference value"),
        may(
            "standard_indication",
            finite_number,
            "what the reference standard showed, of a calibration made in house",
        ),
        may(
            "basis",
            basis,
            "what the reference value was worked out from, of a calibration made in house, as `calib` writes it",
        ),
        may(
            "coverage_probability_percent",
            coverage_percent,
            "that U is stated for, where it is not 95.45 %: k tells with it how well U is known",
        ),
    ),
    references=(OF_CALIBRATION,),
    told_by=("tag", "certificate", "phase", "reference"),
)
# What is asked for where a certificate is typed, one after another. An acceptance is another person's.
CERTIFICATE_STATES = (
    "laboratory", "accreditation", "calibrated_on", "received_on", "issued_on", *AIR_OF_CALIBRATION,
    "adjustment", "procedure", "traceability", "due_on",
)  # fmt: skip
COMPARISON_CELLS = (
    "reference",
    "indication",
    "expanded_uncertainty",
    "coverage_factor",
    "repeatability",
    "observations",
)
CORRELATIONS_CSV = Declaration(
    "correlations.csv",
    "correlations of the reference values of a certificate, where it states them: of every two points of a phase",
    ComparisonCorrelation,
    (
        must("tag", any_text, "the instrument that was calibrated"),
        must("certificate", any_text, "number of the certificate"),
        must("phase", one_of(*PHASES), "before or after an adjustment"),
        must("point", whole, "number of the comparison within its phase, from 1 as they stand in comparisons.csv"),
        must("other_point", whole, "number of the other one, above it"),
        must("correlation", correlation, "coefficient of correlation of both reference values"),
    ),
    references=(OF_CALIBRATION,),
    told_by=("tag", "certificate", "phase", "point", "other_point"),
)
CURVES_CSV = Declaration(
    "curves.csv",
    "curves that a person chose",
    StoredCurve,
    (
        must("tag", any_text, "the instrument"),
        must("certificate", any_text, "number of the certificate"),
        must("shape", one_of(*CURVE_SHAPES), "shape of the curve"),
        may("degree", degree, "degree of a polynomial"),
        must("chosen_by", any_text, "who chose it"),
        must("reason", any_text, "why"),
    ),
    references=(OF_CALIBRATION,),
    told_by=("tag", "certificate"),
)
WITHDRAWALS_CSV = Declaration(
    "withdrawals.csv",
    "calibrations that were recorded wrongly",
    Withdrawal,
    (
        must("tag", any_text, "the instrument"),
        must("certificate", any_text, "number of a certificate in calibrations.csv"),
        may("factors_after", whole, "how many rows of factors.csv, the last ones, were found after it; blank: none"),
        must("reason", any_text, "what was wrong"),
    ),
    key=("tag", "certificate"),
    references=(OF_CALIBRATION,),
)
SUPERSESSIONS_CSV = Declaration(
    "supersessions.csv",
    "certificates that their laboratory reissued",
    Supersession,
    (
        must("tag", any_text, "the instrument"),
        must("old_certificate", any_text, "number of the certificate that was reissued"),
        must("certificate", any_text, "number of the one that was issued instead"),
        must("reason", any_text, "why"),
        must("same_values", one_of("yes", "no"), "whether both state the same values"),
    ),
    key=("tag", "old_certificate"),
    references=(
        OF_CALIBRATION,
        Reference(
            ("tag", "old_certificate"),
            Calibration,
            "a certificate of {tag} in calibrations.csv",
            "old_calibration_id",
            here=True,
        ),
    ),
)
