"""Methods with what is declared for them, as `calib method list` answers."""

from collections.abc import Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content

# Name in the document -> heading.
_COLUMNS = {
    "method": "method", "relative_standard_uncertainty_percent": "u [%]", "degrees_of_freedom": "dof", "pattern": "pattern",
    "readings": "readings", "basis": "basis",
}  # fmt: skip


def document(methods: Sequence[Content]) -> Content:
    """Each method as it was declared, with the number of readings taken with it."""
    return {"methods": list(methods)}


def text(answer: Content) -> str:
    """The same for people."""
    rows = [["-" if each[name] is None else str(each[name]) for name in _COLUMNS] for each in answer["methods"]]
    return table_text(list(_COLUMNS.values()), rows)
