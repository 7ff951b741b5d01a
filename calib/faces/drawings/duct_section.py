"""The section of a duct with the points of its traverse, drawn to scale with the marks below it."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from calib.airflow.traverse import RECTANGULAR, ROUND, Section, TraversePlace
from calib.faces.drawings.style import SMALL_LETTERS, TITLE_LETTERS, Chart, house_style
from calib.faces.palette import INK, PALE, STROKE
from calib.faces.parts.duct_section_text import (
    inside,
    length_text,
    lines_of,
    lines_text,
    short_length_text,
    size_text,
)
from calib.quantities import Unit

_Array = NDArray[np.float64]
_Line = Sequence[TraversePlace]

# Inches on paper. One unit of the drawing's axes is one inch, so that no text runs into another unseen.
_WIDTH, _WIDEST, _HIGHEST = 6.4, 4.7, 3.8
_ABOVE, _BELOW, _ROW = 0.95, 0.55, 0.19
_MARGIN, _LABELS, _COLUMN, _COLUMNS = 0.3, 1.45, 0.51, 9
_SIGN_WIDE, _SIGN_HIGH = 0.08, 0.105  # a digit of a point's number


@dataclass(frozen=True)
class _Paper:
    """Where the section lies on the paper."""

    section: Section
    scale: float  # [in/m]
    left: float  # [in]
    bottom: float  # [in]

    @property
    def right(self) -> float:
        return self.left + self.section.width * self.scale

    @property
    def top(self) -> float:
        return self.bottom + self.section.height * self.scale

    def place(self, x: _Array, y: _Array) -> _Array:
        """Places in the section [m] on the paper [in]; (n, 2)."""
        return np.column_stack([self.left + x * self.scale, self.bottom + y * self.scale])


@dataclass(frozen=True)
class _Way:
    """One line on the paper [in]."""

    line: int
    start: _Array  # (2,) at the wall where the probe goes in
    end: _Array  # (2,) at the other wall
    places: _Array  # (points, 2)

    @property
    def forward(self) -> _Array:
        """Unit vector from wall to wall."""
        across = self.end - self.start
        unit: _Array = across / np.hypot(*across)
        return unit


def section_chart(
    section: Section, rule: str, points: Sequence[TraversePlace], unit: Unit, insertion: float = 0.0
) -> Chart:
    """The section to scale, its lines and numbered points, and the marks on the probe below.

    `insertion` [m] is what the probe goes through before the inner wall; it is in every mark.
    """
    rows = _table(section, lines_of(points), unit, insertion)
    scale = min(_WIDEST / section.width, _HIGHEST / section.height)
    height = _ABOVE + section.height * scale + _BELOW + _ROW * (len(rows) + 1)
    bottom = height - _ABOVE - section.height * scale
    paper = _Paper(section, scale, (_WIDTH - section.width * scale) / 2, bottom)
    with house_style():
        figure = Figure(figsize=(_WIDTH, height))
        axes = figure.add_axes((0, 0, 1, 1), xlim=(0, _WIDTH), ylim=(0, height))
        axes.set_axis_off()
        _outline(axes, paper)
        _dimensions(axes, paper, unit)
        numbered = _draw_lines(axes, paper, [_way(paper, line) for line in lines_of(points)])
        remarks = [rule, lines_text(points), *([] if numbered else ["numbered from the arrow on"])]
        title = f"{section.shape.capitalize()} duct, {size_text(section, unit)}"
        _title(axes, height, title, "; ".join(remarks))
        _write_table(axes, rows, bottom - _BELOW)
        return Chart(figure, f"{title}; {rule}, {lines_text(points)}. {_places_text(section, points, unit, insertion)}")


def _places_text(section: Section, points: Sequence[TraversePlace], unit: Unit, insertion: float) -> str:
    """Every mark and place of the table, and of what wall they are reckoned from."""
    lines = lines_of(points)
    told = [f"{name}: {', '.join(texts)}" for name, texts in _marks(lines, unit, insertion).items()]
    sentences = [f"Marks [{unit.symbol}] from the inner wall where the probe goes in, {'; '.join(told)}."]
    if section.shape != ROUND:
        across = ", ".join(length_text(line[0].x, unit) for line in lines)
        sentences.append(f"Lines [{unit.symbol}] from the left: {across}.")
    if insertion:
        sentences.append(f"{_before_the_wall(insertion, unit)}.")
    return " ".join(sentences)


def _before_the_wall(insertion: float, unit: Unit) -> str:
    return f"{short_length_text(insertion, unit)} {unit.symbol} of every mark lies before the inner wall"


def _title(axes: Axes, height: float, first: str, second: str) -> None:
    axes.text(_MARGIN, height - 0.22, first, fontsize=TITLE_LETTERS, fontweight="bold", va="center")
    axes.text(_MARGIN, height - 0.41, second, fontsize=SMALL_LETTERS, va="center")


def _outline(axes: Axes, paper: _Paper) -> None:
    radius = 0.0 if paper.section.shape == RECTANGULAR else paper.section.height / 2
    # From the lower right corner on, against the clock: a quarter of a circle at each corner.
    quarters = [np.linspace(a, a + np.pi / 2, 91) for a in np.pi / 2 * np.arange(-1, 3)]
    x, y = paper.section.width - radius, paper.section.height - radius
    corners = zip(quarters, ((x, radius), (x, y), (radius, y), (radius, radius)), strict=True)
    wall = [paper.place(cx + radius * np.cos(turn), cy + radius * np.sin(turn)) for turn, (cx, cy) in corners]
    axes.add_patch(Polygon(np.concatenate(wall), closed=True, fc=(PALE, 0.55), ec=INK, lw=1.6))


def _dimensions(axes: Axes, paper: _Paper, unit: Unit) -> None:
    arrow = {"arrowstyle": "<->", "color": INK, "lw": 0.8, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (paper.left, paper.top + 0.16), (paper.right, paper.top + 0.16), arrowprops=arrow)
    sign = "Ø " if paper.section.shape == ROUND else ""
    across = f"{sign}{short_length_text(paper.section.width, unit)} {unit.symbol}"
    axes.text(
        (paper.left + paper.right) / 2, paper.top + 0.26, across, ha="center", va="center", fontsize=SMALL_LETTERS
    )
    if paper.section.shape != ROUND:
        axes.annotate("", (paper.right + 0.16, paper.bottom), (paper.right + 0.16, paper.top), arrowprops=arrow)
        up = f"{short_length_text(paper.section.height, unit)} {unit.symbol}"
        # Upright where there is room for it, level where the duct is flat.
        turned = 90 if paper.top - paper.bottom > 0.8 else 0
        place = (paper.right + (0.27 if turned else 0.22), (paper.bottom + paper.top) / 2)
        axes.text(
            *place,
            up,
            ha="center" if turned else "left",
            va="center",
            fontsize=SMALL_LETTERS,
            rotation=turned,
            rotation_mode="anchor",
        )


def _way(paper: _Paper, line: _Line) -> _Way:
    places = paper.place(np.array([point.x for point in line]), np.array([point.y for point in line]))
    first = line[0]
    across = places[-1] - places[0] if len(line) > 1 else np.array([0.0, 1.0])
    # Every rule is symmetric: the last point is as far from its wall as the first.
    margin = first.along * paper.scale * across / np.hypot(*across)
    return _Way(first.line, places[0] - margin, places[-1] + margin, places)


def _pair(place: _Array) -> tuple[float, float]:
    return float(place[0]), float(place[1])


def _draw_lines(axes: Axes, paper: _Paper, ways: Sequence[_Way]) -> bool:
    """Lines, arrows where the probe goes in, points; numbers beside all points where there is room, and whether there is."""
    outside = {"arrowstyle": "-|>", "color": INK, "lw": 0.9, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 7}
    for way in ways:
        axes.plot(*np.array([way.start, way.end]).T, color=STROKE, lw=0.7, ls=(0, (4, 3)))
        axes.annotate("", _pair(way.start), _pair(way.start - 0.17 * way.forward), arrowprops=outside)
        axes.plot(*way.places.T, "o", ms=2.8, color=STROKE)
    for way in ways[:: _every(ways)]:
        x, y = _pair(way.start - 0.28 * way.forward)
        axes.text(x, y, str(way.line), ha="center", va="center", fontsize=SMALL_LETTERS, fontweight="bold")
    for sides in _arrangements(paper, ways):
        numbers = [_number(way, point, side) for way, row in zip(ways, sides, strict=True) for point, side in row]
        if _have_room(paper, ways, numbers):
            for written in numbers:
                axes.text(*_pair(written.place), written.text, ha="center", va="center", fontsize=SMALL_LETTERS)
            return True
    return False


def _every(ways: Sequence[_Way]) -> int:
    """The numbers of how many lines share one place: 1, but for lines so close that every second or third is written."""
    closest = min((float(np.hypot(*(after.start - before.start))) for before, after in pairwise(ways)), default=1.0)
    widest = 0.04 + 0.085 * len(str(len(ways)))
    return math.ceil(widest / closest)


@dataclass(frozen=True)
class _Number:
    """The number of a point on the paper [in]."""

    text: str
    place: _Array  # (2,) its middle
    half: _Array  # (2,) half its width and height


def _arrangements(paper: _Paper, ways: Sequence[_Way]) -> Iterator[list[list[tuple[int, int]]]]:
    """Sides of the numbers of each line's points, 1 right of the probe's way or -1 left: all right, all inward, by turns."""
    counts = [len(way.places) for way in ways]
    inward = [1 if way.start[0] < (paper.left + paper.right) / 2 + 1e-9 else -1 for way in ways]
    yield [[(point, 1) for point in range(count)] for count in counts]
    yield [[(point, side) for point in range(count)] for count, side in zip(counts, inward, strict=True)]
    yield [[(point, 1 - 2 * (point % 2)) for point in range(count)] for count in counts]


def _number(way: _Way, point: int, side: int) -> _Number:
    """A point's number beside it, and clear of the two walls of its line."""
    text = str(point + 1)
    half = np.array([_SIGN_WIDE * len(text), _SIGN_HIGH]) / 2
    right = np.array([way.forward[1], -way.forward[0]])
    reach = float(half @ np.abs(way.forward)) + 0.015
    along = float((way.places[point] - way.start) @ way.forward)
    clear = min(max(along, reach), float(np.hypot(*(way.end - way.start))) - reach)
    beside = 0.04 + float(half @ np.abs(right))
    return _Number(text, way.start + clear * way.forward + beside * side * right, half)


def _have_room(paper: _Paper, ways: Sequence[_Way], numbers: Sequence[_Number]) -> bool:
    """Whether no number touches another one, a point or a wall."""
    place, half = np.array([each.place for each in numbers]), np.array([each.half for each in numbers])
    points = np.concatenate([way.places for way in ways])
    touching = _touching(place, half, place, half)
    np.fill_diagonal(touching, val=False)
    corners = np.concatenate([place + half * sign for sign in ((1, 1), (1, -1), (-1, 1), (-1, -1))])
    x, y = ((corners - (paper.left, paper.bottom)) / paper.scale).T
    on_point = _touching(place, half, points, np.full_like(points, 0.015))
    return bool(not touching.any() and not on_point.any() and inside(paper.section, x, y).all())


def _touching(place: _Array, half: _Array, other: _Array, other_half: _Array) -> NDArray[np.bool_]:
    """Which boxes of the one lot (n, 2) touch which of the other (m, 2); (n, m)."""
    apart = np.abs(place[:, None] - other[None, :]) - half[:, None] - other_half[None, :]
    return (apart[..., 0] < 0) & (apart[..., 1] < 0)


# --- the marks below it ----------------------------------------------------------------------------------------------------------


def _table(section: Section, lines: Sequence[_Line], unit: Unit, insertion: float) -> list[tuple[str, ...]]:
    """Rows below the drawing: numbers of points or lines, and under them their marks or places."""
    marks = _marks(lines, unit, insertion)
    most = max(len(texts) for texts in marks.values())
    numbers = tuple(map(str, range(1, most + 1)))
    rows = _blocks((f"point: mark [{unit.symbol}]", numbers), list(marks.items()))
    if section.shape != ROUND:
        places = tuple(length_text(line[0].x, unit) for line in lines)
        names = tuple(str(line[0].line) for line in lines)
        rows += _blocks((f"line: from the left [{unit.symbol}]", names), [("", places)])
    if insertion:
        rows.append((_before_the_wall(insertion, unit),))
    return rows


def _blocks(heading: tuple[str, tuple[str, ...]], rows: Sequence[tuple[str, tuple[str, ...]]]) -> list[tuple[str, ...]]:
    """A heading and its rows, broken where they are wider than the paper."""
    starts = range(0, len(heading[1]), _COLUMNS)
    cut = [[(name, *cells[start : start + _COLUMNS]) for name, cells in (heading, *rows)] for start in starts]
    return [row for block in cut for row in block if len(row) > 1]


def _marks(lines: Sequence[_Line], unit: Unit, insertion: float) -> dict[str, tuple[str, ...]]:
    """Marks of the lines that are marked alike, by the numbers of these lines."""
    alike: dict[tuple[str, ...], list[int]] = {}
    for line in lines:
        texts = tuple(length_text(point.along + insertion, unit) for point in line)
        alike.setdefault(texts, []).append(line[0].line)
    if len(alike) == 1:
        return {"every line": next(iter(alike))}
    return {f"line{'s' * (len(lot) > 1)} {_runs(lot)}": texts for texts, lot in alike.items()}


def _runs(numbers: Sequence[int]) -> str:
    """Numbers in their order, runs of them joined: "1, 2, 4 to 6"."""
    starts = [line for line in numbers if line - 1 not in numbers]
    ends = [line for line in numbers if line + 1 not in numbers]
    runs = zip(starts, ends, strict=True)
    return ", ".join(f"{a} to {b}" if b > a + 1 else ", ".join(map(str, range(a, b + 1))) for a, b in runs)


def _write_table(axes: Axes, rows: Sequence[tuple[str, ...]], top: float) -> None:
    for place, row in enumerate(rows):
        y = top - _ROW * (place + 0.5)
        colour = STROKE if row[0].endswith("]") else INK
        axes.text(_MARGIN, y, row[0], ha="left", va="center", fontsize=SMALL_LETTERS, color=colour)
        for column, cell in enumerate(row[1:], start=1):
            right = _MARGIN + _LABELS + _COLUMN * column
            axes.text(right, y, cell, ha="right", va="center", fontsize=SMALL_LETTERS, color=colour)
