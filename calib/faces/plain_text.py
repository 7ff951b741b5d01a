"""Typed text on a terminal: it may hold line ends and escape sequences, and must do no harm there."""

from typing import Any

INSTEAD = "\N{REPLACEMENT CHARACTER}"


def one_line(text: str) -> str:
    """The text on one line, with a sign in place of each that is not printed."""
    return "".join(sign if sign.isprintable() else INSTEAD for sign in text)


def harmless(text: str) -> str:
    """The text in its own lines, with a sign in place of each that is not printed."""
    return "\n".join(one_line(line) for line in text.split("\n"))


def cells_text(cells: dict[str, Any]) -> str:
    """Filled cells, one a line."""
    filled = {name: value for name, value in cells.items() if value is not None and name != "id"}
    return "\n".join(f"  {name.replace('_', ' ')}: {one_line(str(value))}" for name, value in filled.items())
