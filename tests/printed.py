"""How sheets of a workbook print, by what they declare: no spreadsheet program runs here, widths are worked out.

A4 is 210 mm × 297 mm (ISO 216); a digit of the standard letter is 7 pixels of 1/96 inch wide, and the width of a column in digits
holds its padding too (ECMA-376-1:2016, 18.3.1.13).
"""

from dataclasses import fields, is_dataclass
from itertools import pairwise

from openpyxl.utils import column_index_from_string

from calib.faces.report.blocks import Run, TableColumn, unmarked


def column_widths(page):
    """Width of each column [mm], hidden ones and all."""
    digits = {}
    for letter, column in page.column_dimensions.items():
        first = column.min or column_index_from_string(letter)
        digits |= dict.fromkeys(range(first, (column.max or first) + 1), column.width)
    return [7 * digits.get(place, 9.14) / 96 * 25.4 for place in range(1, page.max_column + 1)]


def room_of(page):
    """What a page has beside its margins [mm]."""
    across = 297 if page.page_setup.orientation == "landscape" else 210
    return across - 25.4 * (page.page_margins.left + page.page_margins.right)


def _is_fitted(page):
    setup = page.sheet_properties.pageSetUpPr
    return setup is not None and bool(setup.fitToPage)


def smallest_scale(page):
    """Per cent of its own size at which a sheet is printed."""
    if _is_fitted(page):
        return min(100.0, 100 * room_of(page) / sum(column_widths(page)))
    return int(page.page_setup.scale or 100)


def printed_widths(page):
    """Width of what stands beside one another on each printed page [mm], at the scale at which it is printed."""
    widths, scale = column_widths(page), smallest_scale(page) / 100
    if _is_fitted(page):
        return [scale * sum(widths) - 1e-9]
    begins = [0, *sorted(each.id for each in page.col_breaks.brk), len(widths)]
    named = page.print_title_cols.replace("$", "").partition(":")[2] if page.print_title_cols else None
    repeated = sum(widths[: column_index_from_string(named)]) if named else 0.0
    return [scale * (sum(widths[begin:end]) + (repeated if begin else 0.0)) for begin, end in pairwise(begins)]


def every_text(block):
    """Every text that a block of a report shows, but the heads of its columns: a sheet has those of cells that are filled."""
    if isinstance(block, TableColumn):
        return
    if isinstance(block, str):
        yield block
    elif isinstance(block, tuple) and block and all(isinstance(each, Run) for each in block):
        yield unmarked(block)
    elif isinstance(block, tuple):
        for each in block:
            yield from every_text(each)
    elif is_dataclass(block):
        for each in fields(block):
            if each.name not in ("anchor", "unit", "name", "media_type", "place"):
                yield from every_text(getattr(block, each.name))
