"""What an instrument of a kind must declare beyond what every one must: by the words of its kind.

A thermal anemometer indicates the velocity that air of its reference state would have; without that state on record its indication
would be taken for the velocity itself. One that works it out for the air as it is says so: its density effect is none.

The words are common practice, no source. Nothing heavy is imported here.
"""

import re
from collections.abc import Mapping
from dataclasses import replace

from calib.procedures.typed.cells import one_of, unit_check
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.declared.instruments import INSTRUMENTS_CSV
from calib.procedures.typed.sheets import Cells
from calib.records.words import DENSITY_EFFECTS

_THERMAL = re.compile(r"\b(thermal|thermo-?anemometer|hot[ -]?(wire|film|bulb|sphere))", re.IGNORECASE)
_EFFECT = "density_effect"
_OF_THERMAL = (_EFFECT, "reference_temperature_degC", "reference_pressure_kPa")
LIMITS = ("mpe_percent", "mpe_absolute", "stability_percent", "stability_absolute")  # one at least
NO_EFFECT = "none"  # an answer: the cell stays blank
WITHOUT_STATE = (
    "its kind is that of a thermal anemometer, and no reference state is on record: what it indicates is taken as the velocity "
    "itself, whatever the air"
)


def needs_of_kind(cells: Cells) -> tuple[str, ...]:
    """Columns that an instrument must fill beside those of every one: a limit, and what the words of its kind ask for.

    One that says that it has no effect of the density needs no reference state.
    """
    limit = () if any(cells.get(name) for name in LIMITS) else LIMITS[:1]
    if not is_thermal(cells) or cells.get(_EFFECT) == NO_EFFECT:
        return limit
    return (*limit, *_OF_THERMAL)


def is_thermal(cells: Cells) -> bool:
    """Whether an instrument for the velocity of air is a thermal one by its kind."""
    return cells.get("quantity") == "air velocity" and bool(_THERMAL.search(cells.get("kind") or ""))


def lacks_state(cells: Cells) -> bool:
    """Whether its kind needs a reference state and none is on record."""
    return is_thermal(cells) and not cells.get(_EFFECT)


def columns_for(cells: Cells) -> Mapping[str, TypedColumn]:
    """Columns of an instrument as they are asked for one after another: what was answered narrows what is right."""
    columns = {**INSTRUMENTS_CSV.by_name}
    shown = cells.get("indication_quantity") or cells.get("quantity")
    if shown is not None:
        columns["unit"] = replace(columns["unit"], check=unit_check(shown))
    if _EFFECT in needs_of_kind(cells):
        columns |= {name: replace(columns[name], required=True) for name in _OF_THERMAL}
        meaning = f"how its velocity depends on the density of the air; {NO_EFFECT} where it works that out by itself"
        columns[_EFFECT] = replace(columns[_EFFECT], meaning=meaning, check=one_of(*DENSITY_EFFECTS, NO_EFFECT))
    return columns


def without_word(cells: Cells) -> dict[str, str | None]:
    """The cells as they are recorded: an effect that is none stays blank."""
    return {name: None if name == _EFFECT and cell == NO_EFFECT else cell for name, cell in cells.items()}
