"""Words that records hold where a column takes one of a few, and the largest key that they have."""

LARGEST_KEY = 2**31 - 1  # of a record, a revision, a count: what the narrowest column of a server holds

NET = "net"
BY_THE_RULE = "rule"
INTERVAL_CHANGE = "interval change"
DENSITY_EFFECTS = ("thermal", "vane friction", "velocity pressure")
PATTERNS = ("spot grid", "sweep", "centre", "traverse", "hood")
SHAPES = ("rectangular", "round", "flat-oval")
OUTLET, DUCT = "outlet", "duct"
PLACES = (OUTLET, DUCT)
SERVICES = ("supply", "return", "exhaust")
THIS_OUTLET, THIS_TYPE = "this outlet", "this type"
SCOPES = (THIS_OUTLET, THIS_TYPE)
TRAVERSE_RULES = ("equal-area", "log-Tchebycheff", "log-linear")
EVENT_KINDS = (
    "suspension", "release", "damage", "repair", "adjustment", "move", "return", "retirement", "interval change",
)  # fmt: skip
DAMAGE = EVENT_KINDS[2]
PUT_SOMEWHERE = EVENT_KINDS[5:7]  # of an event that says where an instrument is, and of no result anything
CHECK_KINDS = ("zero", "comparison", "check standard")
CURVE_SHAPES = ("polynomial", "proportional", "king", "power")
# Quantity of the conditions -> quantity of the instrument that observes it.
MEASURED_AS = {
    "temperature": "temperature",
    "barometric pressure": "pressure",
    "static pressure": "pressure",
    "relative humidity": "relative humidity",
    "wet-bulb temperature": "temperature",
    "altitude": "length",
}
CONDITION_QUANTITIES = tuple(MEASURED_AS)
BEFORE_ADJUSTMENT, AFTER_ADJUSTMENT, REPEAT = "before adjustment", "after adjustment", "repeat"
STAGES = (BEFORE_ADJUSTMENT, AFTER_ADJUSTMENT, REPEAT)
REVIEW_CAUSES = (
    "as found", "check", "withdrawal", "supersession", "reference standard", "factor", "damage", "recorded later",
)  # fmt: skip
HOLDING_CURVES = ("as before", "as found", "as found from", "widened")
PHASES = ("as-found", "as-left")
VERDICTS = ("verified", "signed and not verified", "unsigned")  # on the signature of a file
VERIFIED, NOT_VERIFIED, UNSIGNED = VERDICTS
TRUST = ("trusted", "no longer trusted")  # of a certificate that a laboratory signs with
TRUSTED, NO_LONGER = TRUST
ATTACHED_TO = ("instrument", "calibration", "reading", "outlet", "job", "competence")
ONE_PERSON_MAY_ACCEPT = "one person may accept"  # whoever typed a certificate may accept it too
OPEN_REVIEW_CLOSES = "open review closes the gate"
RETENTION = "retention in years"  # how long the records are kept at least; nothing is ever deleted
HOUSE_RULES = (ONE_PERSON_MAY_ACCEPT, OPEN_REVIEW_CLOSES, RETENTION)
RETRACTABLE = (
    "reading", "refusal", "condition", "intermediate_check", "event", "pairing", "attached", "system_design", "room",
    "competence",
)  # fmt: skip
