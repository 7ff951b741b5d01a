"""Counts in words."""


def count_of(count: int, singular: str, plural: str) -> str:
    """1 reading, 2 readings."""
    return f"{count} {singular if count == 1 else plural}"
