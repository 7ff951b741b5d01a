"""Cells that may be right and are unusual: said, and written all the same. What cannot be is a finding of the cell's own check.

What is usual stands with each column (`TypedColumn.odd`); an expanded uncertainty is held against its reference value and against
the instrument's range. Common practice, no source.
"""

from collections.abc import Iterable, Iterator, Mapping

from calib.errors import told_of_cell
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow
from calib.quantities import unit

_NAMED = 3  # cells told of one column
_LARGEST_SHARE = 0.2  # of a reference value, that an expanded uncertainty usually has at most
_SMALLEST_SHARE = 1e-4
_LOWEST_PART = 0.1  # of the range, above which that is asked


def odd_cells(sheets: Sheets, instruments: Mapping[str, Cells]) -> Iterator[str]:
    """A line for each odd cell of checked sheets, the first few of each column, and how many more there are."""
    for name, columns in FILES.items():
        for column in columns:
            if column.odd is not None:
                sound = ((row, column.odd(row.cells[column.name])) for row in sheets[name] if row.sound(column.name))
                yield from _told(column.name, sound)
    compared = ((row, _odd_uncertainty(row, instruments)) for row in sheets["comparisons.csv"])
    yield from _told("expanded_uncertainty", compared)


def _told(column: str, said_of: Iterable[tuple[TypedRow, str | None]]) -> Iterator[str]:
    odd = [(row, said) for row, said in said_of if said is not None]
    for row, said in odd[:_NAMED]:
        yield told_of_cell(row.source, row.row_number, column, row.cells[column], said)
    if len(odd) > _NAMED:
        yield f"{odd[0][0].source}, {column}: {len(odd) - _NAMED} more cells are as unusual"


def _odd_uncertainty(row: TypedRow, instruments: Mapping[str, Cells]) -> str | None:
    """An expanded uncertainty that is large or small beside a reference value well within the range."""
    instrument = instruments[row.cells["tag"]]
    own = unit(str(instrument["quantity"]), row.cells["unit"])
    reference, expanded = (abs(float(row.cells[name])) for name in ("reference", "expanded_uncertainty"))
    if instrument.get("indication_quantity") is None:
        highest = unit(str(instrument["quantity"]), str(instrument["unit"])).to_si(float(str(instrument["range_high"])))
        if own.to_si(reference) < _LOWEST_PART * abs(highest):
            return None
    if not reference or _SMALLEST_SHARE <= expanded / reference <= _LARGEST_SHARE:
        return None
    percent = f"{100 * expanded / reference:.3g} % of the reference value {row.cells['reference']}"
    return f"it is {percent}; usually {100 * _SMALLEST_SHARE:g} to {100 * _LARGEST_SHARE:g} %"
