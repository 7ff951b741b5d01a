"""The words that people choose from in acceptance and conformity: decision rules, and what is judged.

Nothing is computed or imported here, so that a sheet's cells and a command's options are checked at once.
"""

# Decision rules: `conformity` says what each means.
SIMPLE = "simple"
GUARDED = "guarded"
GUARDED_NON_BINARY = "guarded non-binary"
DECISION_RULES = (SIMPLE, GUARDED, GUARDED_NON_BINARY)

# What is held against the limits: what the instrument shows, or what its curve makes of it.
INDICATION, CORRECTED = "indication", "corrected value"
JUDGED = (INDICATION, CORRECTED)
