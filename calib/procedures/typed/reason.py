"""That a reason is given where a record needs one."""

from calib.errors import Finding


def without_reason(typed: str, expected: str = "why, in a few words") -> list[Finding]:
    """The finding on a reason that is blank, saying what it should tell; none on any other."""
    return [] if typed.strip() else [Finding.typed("reason", typed, expected)]
