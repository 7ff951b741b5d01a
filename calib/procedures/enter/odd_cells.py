"""Cells that may be right and are unusual: said, and written all the same. What cannot be is a finding of the cell's own check.

What is usual stands with each column (`TypedColumn.odd`); an expanded uncertainty is held against its reference value and against
the instrument's range. Common practice, no source.
"""

from collections.abc import Iterator, Mapping

from calib.errors import Finding
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
                usual = ((row, column.odd(row.cells[column.name])) for row in sheets[name] if row.sound(column.name))
                yield from _told([_odd(row, column.name, said) for row, said in usual if said is not None])
    yield from _told(
        [each for row in sheets["comparisons.csv"] if (each := _odd_uncertainty(row, instruments)) is not None]
    )


def _odd(row: TypedRow, column: str, said: str) -> Finding:
    return Finding(row.source, row.number, column, row.cells[column], said)


def _told(odd: list[Finding]) -> Iterator[str]:
    for finding in odd[:_NAMED]:
        yield str(finding).replace("expected ", "", 1)
    if len(odd) > _NAMED:
        yield f"{odd[0].source}, {odd[0].column}: {len(odd) - _NAMED} more cells are as unusual"


def _odd_uncertainty(row: TypedRow, instruments: Mapping[str, Cells]) -> Finding | None:
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
    return _odd(
        row, "expanded_uncertainty", f"it is {percent}; usually {100 * _SMALLEST_SHARE:g} to {100 * _LARGEST_SHARE:g} %"
    )
