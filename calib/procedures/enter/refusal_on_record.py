"""A reading that is on record as a refusal, where it is typed again: it may have been a slip."""

from calib.errors import Step

REFUSAL_NUMBER = "refusal"  # beside the cells of a reading on record that the gate refused: its number


def refusal_told(job: str, refusal: str) -> str:
    """Which refusal it is, and how the reading may be typed again."""
    return f"refused reading {refusal}; a slip is {Step.DISMISS_REFUSAL}: job {job}, number {refusal}; then it is typed again"
