"""Words of which there are some: a state, an order, a rule."""

from collections.abc import Collection

from calib.errors import Finding


def not_among(*asked: tuple[str, str | None, Collection[str]]) -> list[Finding]:
    """A finding on each value that is none of its words; `asked` are columns, their values (absent: none is meant) and words."""
    return [
        Finding.typed(column, value, f"one of {', '.join(known)}")
        for column, value, known in asked
        if value is not None and value not in known
    ]
