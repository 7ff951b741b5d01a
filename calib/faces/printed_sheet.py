"""How every sheet of a workbook prints: A4, its head on each page, page numbers, and letters that can be read.

A sheet is fitted to the width of a page as long as that makes it no smaller than a stated scale; one that is wider goes on across
further pages, whole columns on each, beside the columns that say what a row is of.

Widths: a digit of the standard letter is 7 pixels of 1/96 inch wide, and a column has 5 more (ECMA-376-1:2016, 18.3.1.13).
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # a fifth of a second
    from xlsxwriter.worksheet import Worksheet

_A4 = 9  # as ECMA-376 numbers papers
SMALLEST_PRINT = 75  # per cent: letters of 10 pt are printed with 7.5
_A4_SIDES = 8.27, 11.69  # inches
_LEFT, _ABOVE, _BELOW = 0.5, 0.6, 0.7  # margins, inches; the right as the left
_DPI = 96
_SPARE = 0.97  # of the room, since not every program has the same letters


def _pixels(width: float) -> int:
    """Width of a column of so many digits."""
    return int(7 * width + 0.5) + 5


def as_printed(page: "Worksheet", widths: Sequence[float], leading: int, footer: str) -> None:
    """Tell a sheet how it prints.

    `widths` are those of its columns [digits], of which the `leading` ones say what a row is of; `footer` stands at the left of
    each page, the page's number at the right.
    """
    upright, on_side = (_SPARE * _DPI * (side - 2 * _LEFT) for side in _A4_SIDES)
    wide = sum(map(_pixels, widths))
    page.set_paper(_A4)
    page.set_margins(left=_LEFT, right=_LEFT, top=_ABOVE, bottom=_BELOW)
    page.set_footer(f"&L&8{footer}&C&8&A&R&8&P of &N")
    if wide > upright:
        page.set_landscape()
    if wide * SMALLEST_PRINT / 100 <= on_side:
        page.fit_to_pages(1, 0)  # as many pages down as it takes
        return
    page.set_print_scale(SMALLEST_PRINT)
    page.print_across()
    page.repeat_columns(0, leading - 1)
    page.set_v_pagebreaks(_breaks(widths, leading, on_side * 100 / SMALLEST_PRINT))


def _breaks(widths: Sequence[float], leading: int, room: float) -> list[int]:
    """The columns that begin a page, but the first; `room` is that of a page [pixels]."""
    repeated = sum(map(_pixels, widths[:leading]))
    breaks, used = [], repeated
    for place, width in enumerate(widths[leading:], start=leading):
        if used + _pixels(width) > room and used > repeated:
            breaks.append(place)
            used = repeated
        used += _pixels(width)
    return breaks
