"""The house style of every picture: its colours, its signs, and how a figure is written.

Rules, which tests/faces/drawings/test_style.py holds: two series of one picture differ in lightness by 12 of CIE L* at least, or
in their sign (hatch, marker, line); so they stay apart in grey and for the colour-blind, and colour is never the only sign. What
is to be seen (lines, signs, the edges of bands) has a contrast of 3:1 to the paper at least, what fails the strongest sign. No
letters are below 8.5 pt as printed. A hatch lies on a light ground; none is of dots, whose outlines make a large file. Typed text
is text: no sign in it makes a formula.

Decision (2026-11). Pictures are held by golden PNGs, tile by tile after a blur: font builds move letters. Two series differ in
lightness, hatch or line. Cost (11-27): a change of style is eleven pictures drawn anew and looked at by a person; a shift below
half a pixel goes unseen.
"""

import io
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap
from threading import RLock
from typing import Any
from weakref import WeakKeyDictionary, WeakSet

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, MaxNLocator

from calib.errors import CalibError
from calib.faces.drawings.arrangement import arrange
from calib.faces.drawings.due_bars import IN_CALIBRATION, NOT_IN_USE, OVERDUE
from calib.faces.palette import BAND, EDGE, INK, PALE, STROKE, TYPEFACES, WHITE
from calib.faces.plain_text import one_line, shortened

# [in] of every picture, and of those in a report at most: what an A4 or Letter page holds between its margins, with a caption.
FIGURE_WIDTH, HIGHEST_FIGURE = 6.4, 8.55
COLUMN_WIDTH = 3.4  # [in] of a picture in a column of a page that has two
SMALL_LETTERS, TITLE_LETTERS = 8.5, 9.5  # sizes of letters [pt]
_LINE = 0.145  # [in] of small letters
_MOST_LINES = 16  # of a label: no name has more, and a text that has ends in an ellipsis

# Bands, and their samples in a legend.
TOLERANCE_BAND: dict[str, Any] = {"facecolor": PALE, "edgecolor": EDGE, "lw": 0.8}
COVERAGE_BAND: dict[str, Any] = {"facecolor": BAND, "edgecolor": EDGE, "lw": 0.8}


@dataclass(frozen=True)
class Chart:
    """A figure, and the words that stand for it where it cannot be seen; none is made without them."""

    figure: Figure
    words: str


@dataclass(frozen=True)
class Look:
    """How a series is told from its neighbours."""

    colour: str
    sign: str = ""  # hatch of a bar, marker of a point, dashes of a line

    @property
    def patch(self) -> dict[str, Any]:
        """A bar in this look, or its sample in a legend."""
        return {"facecolor": self.colour, "hatch": self.sign, "edgecolor": INK, "lw": 0.5}


# Contributions, from the instrument to the outlet.
CONTRIBUTION_LOOKS = {
    "repeatability": Look("#1d5c63"),
    "resolution": Look("#9cc7c1", "-----"),
    "calibration scatter": Look("#dcbb66"),
    "reference standard": Look("#f0dfb0", "////"),
    "stability": Look("#a9694c"),
    "decided in review": Look("#e8c9b8", "xx"),
    "density": Look("#b7cfe6", "xxxx"),
    "air temperature not observed": Look("#8fb3d9", "////"),
    "probe": Look("#a3b9dd", "|||||"),
    "back pressure": Look("#e3c9d6", "++++"),
    "dimension": Look("#c9d3d8", "\\\\\\\\"),
    "outlet factor": Look("#8a9ba5"),
    "method": Look("#f3f5f6"),
    "method common": Look("#d6dcdf", "||"),
    "method own": Look("#f3f5f6", "//"),
    "plant drift": Look("#c4d9b5", "--"),
}

# Evaluations of a budget (GUM 4.2 and 4.3), services of a balance, statements of conformity, and spans of a time-line.
EVALUATION_LOOKS = {"A": Look(STROKE), "B": Look(BAND, "////")}
SERVICE_LOOKS = {
    "supply": Look("#1d5c63"),
    "return": Look("#b9d3d0", "////"),
    "exhaust": Look("#f0dfb0", "||||"),
    "net": Look("#eef1f2"),
}
STATEMENT_LOOKS = {
    "pass": Look("#1d5c63"),
    "conditional pass": Look("#b9d3d0", "////"),
    "conditional fail": Look("#f0dfb0", "xxxx"),
    "fail": Look("#8a3b12", "||||"),
    "not measured": Look(WHITE, "\\\\"),
    "not judged": Look(PALE),
}
SPAN_LOOKS = {IN_CALIBRATION: Look(BAND), OVERDUE: Look(WHITE, "/////"), NOT_IN_USE: Look(PALE, "xxxx")}

_STYLE: Any = {
    "text.parse_math": False,
    "text.usetex": False,
    "svg.fonttype": "none",  # text stays text in the SVG, so that it can be read and searched
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],  # comes with the drawing library: the same everywhere
    "font.size": 9,
    "text.hinting": "none",  # a text is as wide as it was when the figure was laid out, at every resolution
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "hatch.linewidth": 0.6,
    "hatch.color": INK,
    "legend.frameon": False,
    "legend.fontsize": SMALL_LETTERS,
    "figure.facecolor": WHITE,
}

_ONE_AT_A_TIME = RLock()
_DAYS_BY_THEMSELVES = 150  # of a longer axis months or years are enough


@contextmanager
def house_style() -> Iterator[None]:
    """The house style. A sign that the measuring font lacks is drawn by the reader's own font: no reason to warn.

    One thread draws at a time: the settings of the drawing library are those of the whole process.
    """
    with _ONE_AT_A_TIME, mpl.rc_context(_STYLE), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        yield


def titled(axes: Axes, title: str, below: str = "") -> None:
    """The title of a picture, its reading in small letters below."""
    shown, height = in_lines(title, 60), None
    if isinstance(axes.yaxis.get_major_formatter(), FixedFormatter):
        # Names at the axis have no label and no power of ten that a title makes room for: neither is sought at each drawing.
        height = 1.0
        axes.yaxis.set_label_coords(0, 0.5)
    if not below:
        axes.set_title(shown, loc="left", y=height, fontsize=TITLE_LETTERS, fontweight="bold")
        return
    beneath = in_lines(below, 100)
    above = 20 + 72 * _LINE * beneath.count("\n")
    axes.set_title(beneath, loc="left", y=height, fontsize=SMALL_LETTERS)
    axes.annotate(
        shown, (0, 1), (0, above), xycoords="axes fraction", textcoords="offset points", fontsize=TITLE_LETTERS, fontweight="bold",
        va="bottom",
    )  # fmt: skip


def dated(axes: Axes) -> None:
    """Days along an axis that is as long as it will be, each with its month and year: "21" under "Nov" may be one of October."""
    from matplotlib.dates import (  # noqa: PLC0415 (of pictures over time alone)
        MONTHLY,
        AutoDateFormatter,
        AutoDateLocator,
        DateFormatter,
    )

    first, last = axes.get_xlim()
    if last - first < _DAYS_BY_THEMSELVES:
        axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
        axes.xaxis.set_major_formatter(DateFormatter("%Y-%m-%d"))  # type: ignore[no-untyped-call]
        return
    locator = AutoDateLocator(minticks=3, maxticks=7)  # type: ignore[no-untyped-call]
    locator.intervald[MONTHLY] = [1, 2, 3, 4, 6, 12]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(AutoDateFormatter(locator))  # type: ignore[no-untyped-call]


def beside_row(axes: Axes, row: float, text: str, **letters: Any) -> None:
    """A text right of the axes beside one of their rows."""
    axes.annotate(
        text, (1, row), (6, 0), xycoords=axes.get_yaxis_transform(), textcoords="offset points", va="center",
        fontsize=SMALL_LETTERS, **letters,
    )  # fmt: skip


def in_lines(text: str, longest: int = 34) -> str:
    """A label whole, in lines of so many signs at most: a longer word is parted anywhere."""
    return "\n".join(wrap(one_line(text), longest, max_lines=_MOST_LINES, placeholder="…"))


def stacked(labels: Sequence[str], row: float) -> tuple[list[float], float]:
    """Rows one below the other, each as high as its label: their middles, and how many rows of this height [in] they take."""
    middles, top = [], 0.0
    for label in labels:
        more = label.count("\n") * _LINE / row
        middles.append(top + more / 2)
        top += 1 + more
    return middles, top


def short(text: str, longest: int = 34) -> str:
    """A label that leaves room for the drawing; the full text stands in the page beside it."""
    return shortened(one_line(text), longest)


def _settle(figure: Figure) -> None:
    """Arrange a figure once and for all: arranged at each drawing, it would look otherwise after every one before."""
    if figure not in _SETTLED:
        arrange(figure)
        _SETTLED.add(figure)


def as_svg(figure: Figure, salt: str) -> str:
    """The figure as an SVG element to stand within a page; the same figure and salt give the same bytes.

    A figure is drawn once: the page and the PDF of a report hold the same drawing.
    """
    drawn = _DRAWN.setdefault(figure, {})
    if salt not in drawn:
        drawn[salt] = _svg(figure, salt)
    return drawn[salt]


# As long as the figure lives; nobody changes one that was drawn.
_SETTLED: WeakSet[Figure] = WeakSet()
_DRAWN: WeakKeyDictionary[Figure, dict[str, str]] = WeakKeyDictionary()


def _svg(figure: Figure, salt: str) -> str:
    out = io.StringIO()
    with house_style(), mpl.rc_context({"svg.hashsalt": salt}):
        _settle(figure)
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Type": None, "Format": None})
    svg = out.getvalue()
    in_typeface = re.sub(r"'DejaVu Sans'[^;\"]*", TYPEFACES, svg[svg.index("<svg") :])
    return re.sub(r"[ \t]+\n", "\n", in_typeface)


def as_png(figure: Figure, dpi: int = 160) -> bytes:
    """The figure as the bytes of a PNG file."""
    out = io.BytesIO()
    with house_style():
        _settle(figure)
        figure.savefig(out, format="png", dpi=dpi, metadata={"Software": None})
    return out.getvalue()


def save_all(charts: Sequence[Chart], path: Path) -> dict[Path, str]:
    """Charts as .svg, .png or .pdf files, numbered where there are several: `job.svg`, or `job-1.svg`, `job-2.svg`.

    Returns the words of each file, for whoever cannot see it. Raises CalibError where a file cannot be.
    """
    paths = [path] if len(charts) == 1 else [
        path.with_name(f"{path.stem}-{place}{path.suffix}") for place in range(1, len(charts) + 1)
    ]  # fmt: skip
    for chart, each in zip(charts, paths, strict=True):
        _save(chart.figure, each)
    return {each: chart.words for chart, each in zip(charts, paths, strict=True)}


def _save(figure: Figure, path: Path) -> None:
    if path.suffix not in (".svg", ".png", ".pdf"):
        raise CalibError(f"{path}: a plot is written as .svg, .png or .pdf; give the file one of these endings")
    try:
        with house_style(), mpl.rc_context({"svg.hashsalt": "calib"}):
            _settle(figure)
            figure.savefig(path, dpi=160, metadata={"Date": None} if path.suffix == ".svg" else None)
    except OSError as error:
        raise CalibError(f"{path}: the plot cannot be written ({error.strerror})") from error
