"""Which authority stamps the time of a signature: what whoever runs the program says in its environment."""

import os

AUTHORITY = "CALIB_TIME_STAMP_AUTHORITY"


def authority() -> str | None:
    """The address of the authority; None where none is named, and no time is stamped."""
    return os.environ.get(AUTHORITY) or None
