"""What is typed of methods: methods.csv."""

from calib.procedures.typed.cells import any_text, at_least_one, one_of, share, usually, whole
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.records.tables.methods import Method, MethodRevision
from calib.records.words import PATTERNS

BY_METHOD = Reference(("method",), Method, "a method in methods.csv or in the records", "method_id")
_OF_A_METHOD = (
    must("method", any_text, "name of the method"),
    may(
        "relative_standard_uncertainty_percent",
        share,
        "its relative standard uncertainty in percent, where it is not known how much of it readings share",
        odd=usually(0.5, 15, "the standard uncertainty of a method in percent"),
    ),
    must("basis", any_text, "what that rests on"),
    may("pattern", one_of(*PATTERNS), "where and how the instrument is held"),
    may("degrees_of_freedom", at_least_one, "of the declared uncertainty; blank: taken as exactly known"),
    may(
        "common_standard_uncertainty_percent",
        share,
        "instead of the one figure: what readings by it share, at one kind of opening and one direction of the air",
    ),
    may("common_degrees_of_freedom", at_least_one, "of what they share; blank: taken as exactly known"),
    may("own_standard_uncertainty_percent", share, "with it: what each reading has by itself"),
    may("own_degrees_of_freedom", at_least_one, "of what each has by itself; blank: taken as exactly known"),
    may(
        "share_below_interval_percent",
        share,
        "percent of the flow that points below the lowest comparison may carry; blank: 10",
    ),
)
METHODS_CSV = Declaration(
    "methods.csv",
    "ways of measuring, with the uncertainty that the company declares for each",
    Method,
    _OF_A_METHOD,
    key=("method",),
)
METHOD_AMENDMENTS_CSV = Declaration(
    "method_amendments.csv",
    "methods as they were amended, each time the whole of one",
    MethodRevision,
    (
        *_OF_A_METHOD,
        must("revision", whole, "revision of the method; as first declared it is 1"),
        must("reason", any_text, "why"),
    ),
    key=("method", "revision"),
    references=(Reference(("method",), Method, "a method in methods.csv", "method_id", here=True),),
)
