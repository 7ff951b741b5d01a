"""What is written of outlet factors found in the field: factors.csv, factor_pairs.csv."""

from calib.procedures.typed.cells import (
    above_zero,
    any_text,
    not_negative,
    numbers,
    one_of,
    same_count,
    time_with_zone,
    whole,
)
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.procedures.typed.declared.instruments import of_tag
from calib.procedures.typed.declared.methods import BY_METHOD
from calib.procedures.typed.declared.outlets import AT_OUTLET
from calib.procedures.typed.declared.readings import _reading
from calib.records.tables.calibrations import Calibration
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.words import SCOPES

FACTORS_CSV = Declaration(
    "factors.csv",
    "outlet factors found in the field",
    FoundFactor,
    (
        must("factor", any_text, "name of the factor"),
        must("revision", whole, "how often it was found so far, from 1", compared=same_count),
        must("scope", one_of(*SCOPES), "what it holds for"),
        may("job", any_text, "job of the outlet, of a factor for this outlet"),
        may("outlet", any_text, "the outlet, of a factor for this outlet"),
        may("outlet_type", any_text, "the type of outlet, of a factor for this type"),
        must("instrument", any_text, "tag of the instrument at the face"),
        must("certificate", any_text, "certificate of the calibration that the instrument had"),
        must("method", any_text, "the method at the face"),
        must("value", above_zero, "the factor"),
        may("effective_area", above_zero, "factor times area in m2, of a factor for this outlet"),
        must("relative_spread", not_negative, "relative standard uncertainty that the spread of the pairs shows"),
        may("degrees_of_freedom", above_zero, "of the spread; blank: it was stated"),
        must("relative_reference", not_negative, "relative standard uncertainty of the traverses"),
        must(
            "relative_instrument",
            not_negative,
            "relative standard uncertainty of the face instrument's calibration",
        ),
        must("face_indications", numbers, "mean indication of each face reading in SI, joined by semicolons"),
        must("reason", any_text, "why it was found"),
    ),
    key=("factor", "revision"),
    references=(
        AT_OUTLET,
        of_tag("instrument", "instrument_id"),
        Reference(("instrument", "certificate"), Calibration, "a certificate of {instrument}", "calibration_id"),
        BY_METHOD,
    ),
)
FACTOR_PAIRS_CSV = Declaration(
    "factor_pairs.csv",
    "the readings that a factor was found from",
    FactorPair,
    (
        must("factor", any_text, "name of the factor"),
        must("revision", whole, "revision of the factor"),
        *(
            must(f"{where}_{name}", time_with_zone if name == "observed_at" else any_text, f"{name} of {reading}")
            for where, reading in (("traverse", "the traverse's reading"), ("face", "the reading at the face"))
            for name in ("job", "outlet", "instrument", "observed_at")
        ),
        must("value", above_zero, "the factor that the pair gives"),
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
    told_by=("factor", "revision", "traverse_observed_at", "face_observed_at", "traverse_outlet", "face_outlet"),
)
