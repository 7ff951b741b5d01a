"""Symbols of quantities within this program's own words: x_i, δ_res and u(x_i), each set as a letter with its subscript."""

import re

from calib.faces.report.blocks import Mark, Run, Runs

# Letters and subscripts that the GUM's notation and `calib help numbers` use; a name that somebody typed is seldom one of these.
_SYMBOL = re.compile(
    r"(?<!\w)((?:X|x̄|x|u|ν|c|q|q̄|δ|A|M|w|ρ|E|r|v)_(?:i|j|n|e|V|P|0|1|2|res|cal|ref|stab|dec|com|own|ρ))(?![A-Za-z0-9_])"
)


def with_symbols(*parts: str | Run) -> Runs:
    """Runs of own words, with each symbol of a quantity in a run of its own."""
    return tuple(run for part in parts for run in ([part] if isinstance(part, Run) else _parted(part)))


def _parted(text: str) -> list[Run]:
    return [
        Run(piece, Mark.SYMBOL if place % 2 else Mark.PLAIN) for place, piece in enumerate(_SYMBOL.split(text)) if piece
    ]


def letter_and_subscript(symbol: str) -> tuple[str, str] | None:
    """x and i of x_i; None of what is no symbol, which is set as it stands."""
    letter, _, subscript = symbol.partition("_")
    return (letter, subscript) if _SYMBOL.fullmatch(symbol) else None
