"""Methods with what is declared for them, as `calib method list` answers."""

from collections.abc import Mapping, Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content

# Name in the document -> heading.
_COLUMNS = {
    "method": "method", "relative_standard_uncertainty_percent": "u [%]", "degrees_of_freedom": "dof",
    "common_standard_uncertainty_percent": "common [%]", "common_degrees_of_freedom": "dof",
    "own_standard_uncertainty_percent": "own [%]", "own_degrees_of_freedom": "dof",
    "share_below_interval_percent": "low [%]", "pattern": "pattern", "readings": "readings", "basis": "basis",
}  # fmt: skip
# Columns that a list goes without where no method has the first of them.
_COMMON, _SHARE = "common_standard_uncertainty_percent", "share_below_interval_percent"
_WITH = {
    "common_standard_uncertainty_percent": _COMMON,
    "common_degrees_of_freedom": _COMMON,
    "own_standard_uncertainty_percent": _COMMON,
    "own_degrees_of_freedom": _COMMON,
    "share_below_interval_percent": _SHARE,
}


def document(methods: Sequence[Content]) -> Content:
    """Each method as it was declared, with the number of readings taken with it."""
    return {"methods": list(methods)}


def text(answer: Content) -> str:
    """The same for people."""
    methods = answer["methods"]
    columns = {
        name: heading
        for name, heading in _COLUMNS.items()
        if name not in _WITH or any(each[_WITH[name]] is not None for each in methods)
    }
    rows = [["-" if each[name] is None else str(each[name]) for name in columns] for each in methods]
    return table_text(list(columns.values()), rows)


def figures_of(cells: Mapping[str, str | None]) -> str:
    """The figure, or both, of a method's cells."""
    single = cells.get("relative_standard_uncertainty_percent")
    if single is not None:
        return f"{single} %"
    common, own = (cells.get(f"{name}_standard_uncertainty_percent") for name in ("common", "own"))
    return f"{common} % common, {own} % own"
