"""Where to measure in a duct, and the mean velocity: the traverse.

A section is crossed by lines, each line holds points; every point stands for a share of the area, its weight. Positions
are solved from what each rule supposes of the profile, none is copied from a table. With y the distance from the wall:

    equal area        The section is cut into cells of equal area. A point is the centre of its cell; in a round duct it
                      halves the area of its ring.
    log-Tchebycheff   Equal weights. In the outermost element v = a + b ln y, and its point makes the mean of that exact.
                      Over the rest v is a polynomial, even about the axis, and the points are Tchebycheff's of equal weight.
    log-linear        Equal weights. Elements are taken two by two from the axis outward; in each pair v = a + b ln y + c y,
                      and its two points make the mean of that exact. An odd element is the outermost, with v = a + b ln y.
                      A rectangular duct has a rule of its own, with 26 points of unequal weights.

The pairs have a closed form: with m the mean of y and g that of ln y over their area, y1 + y2 = 2 m and y1 y2 = exp(2 g).
Tchebycheff's points are real for 1 to 7 and for 9 points only (Bernstein), and these are the numbers offered.

Rectangular. Lines stand side by side along the width, the probe goes in along the height. Equal area and log-Tchebycheff
make a grid, the rule of a line in both directions. The 26 points (log-linear) belong to 16 equal panels, each with the mean
of its own points. From the wall, along the height, those of a corner panel stand at 1/4 e^-2, 1/4 e^-1 and 1/4, those of an
inner panel at 1/e, or at 1/4 e^-2 and 1/4 where it touches the wall: all exact for a + b ln y. The panel beside a
corner has its two at 1/4 and 1/2, its ends. Across the width the four lines stand at 1/4 e^-1 and 1/e from the walls. They
hold 7, 6, 6 and 7 points: `lines` is 4, and `points` the most on a line, 7.

Round. The lines are diameters evenly turned, the first entered at the bottom, the next ones clockwise from it.

Flat-oval. Own construction, since no standard has a rule: the map (x, y) -> (share of the area left of x, share of the chord
below y) keeps areas and makes a square of the section; the points of that square, by the rule of a line in both directions,
are mapped back. Weights are equal. Lines are upright, and shorter where they cross the round ends. Near a tip the share of the
area goes with the power 3/2 of the distance, so a log law of the one is a log law of the other. For a velocity that goes
with the power 1/7 of the distance from the wall, and a width of 1 to 6 heights, the mean is -0.4 to +1.0 % off
(log-Tchebycheff, from 5 x 5), -0.9 to +1.0 % (log-linear, from 4 x 4), +1.1 to +3.6 % (equal area, from 4 x 4), up to
11 x 11 points.

Source: ISO 3966 for the rules, their definitions from memory, the positions an independent computation; the panels of the
26 points are read from their weights. The numbers of lines and points of `usual`: common practice, no source.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from calib.airflow.outlet import flat_oval_area, rectangular_area, round_area
from calib.arrays import Floats
from calib.errors import CalibError

EQUAL_AREA = "equal-area"
LOG_TCHEBYCHEFF = "log-Tchebycheff"
LOG_LINEAR = "log-linear"
POINT_RULES = (EQUAL_AREA, LOG_TCHEBYCHEFF, LOG_LINEAR)

RECTANGULAR = "rectangular"
ROUND = "round"
FLAT_OVAL = "flat-oval"
SECTION_SHAPES = (RECTANGULAR, ROUND, FLAT_OVAL)


@dataclass(frozen=True)
class Section:
    """Cross section of a duct; raises CalibError where its sizes make none."""

    shape: str  # one of SHAPES
    width: float  # [m]; of a round duct its diameter, of a flat-oval one the major axis
    height: float  # [m]; of a round duct its diameter, of a flat-oval one the minor axis

    def __post_init__(self) -> None:
        if self.shape not in SECTION_SHAPES:
            raise CalibError(f"{self.shape!r} is no shape of a duct: use one of {', '.join(SECTION_SHAPES)}")
        if not (0 < self.width < math.inf and 0 < self.height < math.inf):
            raise CalibError(f"a duct of {self.width:g} m by {self.height:g} m: give sizes above 0")
        if self.shape == ROUND and self.width != self.height:
            raise CalibError(f"a round duct {self.width:g} m wide and {self.height:g} m high: give one diameter")
        if self.shape == FLAT_OVAL and self.width < self.height:
            raise CalibError(
                f"a flat-oval duct {self.width:g} m wide and {self.height:g} m high: the width is the major axis"
            )

    @property
    def area(self) -> float:
        """Area of the section [m2]: w h; pi d^2/4; h (w - h) + pi h^2/4."""
        if self.shape == ROUND:
            return round_area(self.width)
        return (rectangular_area if self.shape == RECTANGULAR else flat_oval_area)(self.width, self.height)


@dataclass(frozen=True)
class TraversePlace:
    """Where the probe is held, and the share of the section that the point stands for."""

    line: int  # from 1
    point: int  # from 1, in the order in which the probe reaches them
    x: float  # [m] from the left of the section's bounding box
    y: float  # [m] from its bottom
    along: float  # [m] from the wall where the probe enters
    weight: float  # [1]; over the section they add to 1


@dataclass(frozen=True)
class _Line:
    """One line of a traverse; arrays (points,)."""

    x: Floats
    y: Floats
    along: Floats
    weight: Floats


@dataclass(frozen=True)
class _Half:
    """From the wall (y = 0) to the axis (y = 1): what part s of the area lies nearer to the wall, and integrals over it."""

    depth: Callable[[Floats], Floats]  # y of a part s
    integral: Callable[[Floats], Floats]  # of y ds from the wall to y
    log_integral: Callable[[Floats], Floats]  # of ln y ds from the wall to y


def _times_log(factor: Floats, y: Floats) -> Floats:
    """factor ln y, and its limit 0 at the wall, where the factor goes with y."""
    return factor * np.log(y, out=np.zeros_like(y), where=y > 0)


# Between parallel walls s = y. In a disc s = 1 - (1 - y)^2 = y (2 - y), the part outside the radius 1 - y.
_PLANE = _Half(lambda s: s, lambda y: y**2 / 2, lambda y: _times_log(y, y) - y)
_DISC = _Half(
    lambda s: 1 - np.sqrt(1 - s),
    lambda y: y**2 - 2 * y**3 / 3,
    lambda y: _times_log(y * (2 - y), y) - y * (4 - y) / 2,
)


# --- positions on one line, from 0 to 1 ------------------------------------------------------------------------------------------


def _tchebycheff(count: int) -> Floats:
    """Points c in [-1, 1] of equal weight: the mean of c^k over them is its mean over the interval, k = 1 to count.

    Newton's identities, k a_k + sum_(i < k) a_(k-i) p_i = -p_k, make of the power sums p_i the polynomial c^n + a_1 c^(n-1) + ... +
    a_n whose roots they are. p_i is count/(i + 1) for even i, 0 for odd i.
    """
    power_sums = [0 if i % 2 else count / (i + 1) for i in range(1, count + 1)]
    coefficients: list[float] = []
    for k, power_sum in enumerate(power_sums, start=1):
        coefficients.append(-(power_sum + np.dot(coefficients, power_sums[: k - 1][::-1])) / k)
    return np.sort(np.roots([1, *coefficients]).real)


def _log_point(half: _Half, part: float) -> Floats:
    """The one point that makes the mean of a + b ln y exact over the part of the area next to the wall; array (1,)."""
    edge = half.depth(np.array([part]))
    return np.exp(half.log_integral(edge) / part)


def _log_linear_pairs(half: _Half, edges: Floats) -> Floats:
    """The two points of each zone between the edges (parts of the area) that make the mean of a + b ln y + c y exact."""
    y = half.depth(edges)
    part = np.diff(edges)
    mean = np.diff(half.integral(y)) / part
    product = np.exp(2 * np.diff(half.log_integral(y)) / part)
    apart = np.sqrt(mean**2 - product)
    return np.column_stack([mean - apart, mean + apart]).ravel()


def _log_linear_half(half: _Half, count: int) -> Floats:
    odd = count % 2
    pairs = _log_linear_pairs(half, np.linspace(odd / count, 1, count // 2 + 1))
    return np.concatenate([_log_point(half, 1 / count), pairs]) if odd else pairs


def _both_walls(from_wall: Floats) -> Floats:
    """Points of one half, in half widths from its wall, and their mirror images, from 0 to 1."""
    return np.concatenate([from_wall, 2 - from_wall[::-1]]) / 2


def _middles(count: int) -> Floats:
    return (np.arange(count) + 0.5) / count


def _plane_log_tchebycheff(count: int) -> Floats:
    outer = _log_point(_PLANE, 2 / count) / 2
    inner = 0.5 + (0.5 - 1 / count) * _tchebycheff(count - 2)
    return np.concatenate([outer, inner, 1 - outer])


def _plane_log_linear(count: int) -> Floats:
    return _both_walls(_log_linear_half(_PLANE, count // 2))


def _radius_equal_area(rings: int) -> Floats:
    return _DISC.depth(_middles(rings))


def _radius_log_tchebycheff(rings: int) -> Floats:
    inner = 1 - (1 - 1 / rings) * (1 - _tchebycheff(rings - 1)) / 2
    return np.concatenate([_log_point(_DISC, 1 / rings), _DISC.depth(inner)])


def _radius_log_linear(rings: int) -> Floats:
    return _log_linear_half(_DISC, rings)


_ON_WALLS = {EQUAL_AREA: _middles, LOG_TCHEBYCHEFF: _plane_log_tchebycheff, LOG_LINEAR: _plane_log_linear}
_ON_RADIUS = {EQUAL_AREA: _radius_equal_area, LOG_TCHEBYCHEFF: _radius_log_tchebycheff, LOG_LINEAR: _radius_log_linear}


# --- lines over a section --------------------------------------------------------------------------------------------------------


def _upright(x: float, along: Floats, bottom: float, weight: Floats) -> _Line:
    return _Line(np.full_like(along, x), bottom + along, along, weight)


def _rectangular(section: Section, rule: str, lines: int, points: int) -> list[_Line]:
    if rule == LOG_LINEAR:
        return _rectangular_26(section)
    along = _ON_WALLS[rule](points) * section.height
    weight = np.full(points, 1 / (lines * points))
    return [_upright(x, along, 0.0, weight) for x in _ON_WALLS[rule](lines) * section.width]


# Of 96 parts every panel has 6. On the outer lines the corner panel gives 2 to each of its three points, and the panel beside it
# 3 to each of its ends; the inner lines have 3 for each of the two points next to the wall and 6 for the single one.
_OUTER_PARTS = np.array([2.0, 2.0, 5.0, 6.0, 5.0, 2.0, 2.0]) / 96
_INNER_PARTS = np.array([3.0, 3.0, 6.0, 6.0, 3.0, 3.0]) / 96


def _rectangular_26(section: Section) -> list[_Line]:
    near, next_, single = 0.25 * math.exp(-2), 0.25 * math.exp(-1), math.exp(-1)
    outer = np.array([near, next_, 0.25, 0.5, 0.75, 1 - next_, 1 - near]) * section.height
    inner = np.array([near, 0.25, single, 1 - single, 0.75, 1 - near]) * section.height
    across = (next_, single, 1 - single, 1 - next_)
    held = ((outer, _OUTER_PARTS), (inner, _INNER_PARTS), (inner, _INNER_PARTS), (outer, _OUTER_PARTS))
    return [_upright(x * section.width, along, 0.0, part) for x, (along, part) in zip(across, held, strict=True)]


def _round(section: Section, rule: str, lines: int, points: int) -> list[_Line]:
    share = _both_walls(_ON_RADIUS[rule](points // 2))
    along, from_axis = share * section.width, (share - 0.5) * section.width
    weight = np.full(points, 1 / (lines * points))
    centre = section.width / 2
    turned = np.pi / 2 - np.pi * np.arange(lines) / lines
    return [_Line(centre + from_axis * np.cos(a), centre + from_axis * np.sin(a), along, weight) for a in turned]


def _flat_oval(section: Section, rule: str, lines: int, points: int) -> list[_Line]:
    x = _left_of(_ON_WALLS[rule](lines), section)
    chord = _chord(x, section)
    share = _ON_WALLS[rule](points)
    weight = np.full(points, 1 / (lines * points))
    held = zip(x, chord, strict=True)
    return [_upright(place, share * across, (section.height - across) / 2, weight) for place, across in held]


def _left_of(share: Floats, section: Section) -> Floats:
    """Where the upright line stands that has the share of the area to its left [m]."""
    nearer = np.minimum(share, 1 - share) * section.area
    radius = section.height / 2
    end = np.pi * radius**2 / 2
    in_end = radius * (1 - np.cos(_segment_angle(np.minimum(nearer, end) / radius**2) / 2))
    x = in_end + np.maximum(nearer - end, 0) / section.height
    return section.width / 2 + np.copysign(section.width / 2 - x, share - 0.5)


def _segment_angle(area: Floats) -> Floats:
    """Angle t, 0 to pi, of a circle's segment of the area (t - sin t)/2 on the unit circle; by halving, to the last digit."""
    angle, step = np.zeros_like(area), np.pi
    while np.pi - step < np.pi:
        step /= 2
        angle += step * np.sign(2 * area - angle + np.sin(angle))
    return angle


def _chord(x: Floats, section: Section) -> Floats:
    """Height of the opening above x [m]."""
    radius = section.height / 2
    past = np.maximum(np.maximum(radius - x, x - (section.width - radius)), 0)
    return 2 * np.sqrt((radius - past) * (radius + past))


_LAYOUTS = {RECTANGULAR: _rectangular, ROUND: _round, FLAT_OVAL: _flat_oval}


# --- what is asked ---------------------------------------------------------------------------------------------------------------

_MOST = 40
_REAL = (1, 2, 3, 4, 5, 6, 7, 9)  # numbers of Tchebycheff's points
_ANY = tuple(range(1, _MOST + 1))
_TWO_MORE = tuple(count + 2 for count in _REAL)
_DIAMETERS = (2, 3, 4)
_COUNTS = {
    (RECTANGULAR, EQUAL_AREA): (_ANY, _ANY),
    (RECTANGULAR, LOG_TCHEBYCHEFF): (_TWO_MORE, _TWO_MORE),
    (RECTANGULAR, LOG_LINEAR): ((4,), (7,)),
    (ROUND, EQUAL_AREA): (_DIAMETERS, _ANY[1::2]),
    (ROUND, LOG_TCHEBYCHEFF): (_DIAMETERS, tuple(2 * (count + 1) for count in _REAL)),
    (ROUND, LOG_LINEAR): (_DIAMETERS, _ANY[3::2]),
    (FLAT_OVAL, EQUAL_AREA): (_ANY, _ANY),
    (FLAT_OVAL, LOG_TCHEBYCHEFF): (_TWO_MORE, _TWO_MORE),
    (FLAT_OVAL, LOG_LINEAR): (_ANY[3::2], _ANY[3::2]),
}


def point_counts(shape: str, rule: str) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Numbers of lines, and numbers of points on a line, for which a rule is defined; raises CalibError for an unknown rule.

    Equal area and log-linear have no largest number: 40 is where this list ends. Of the rectangular log-linear rule the number of
    points is that of its longest lines.
    """
    if (shape, rule) not in _COUNTS:
        raise CalibError(
            f"{rule!r} in a {shape} duct: use one of {', '.join(POINT_RULES)} and of {', '.join(SECTION_SHAPES)}"
        )
    return _COUNTS[shape, rule]


@lru_cache(maxsize=256)
def traverse(section: Section, rule: str, lines: int, points: int) -> tuple[TraversePlace, ...]:
    """Points of a traverse, line by line, with weights that add to 1; the rules stand at the top of this file.

    Raises CalibError, with the numbers that can be had, where the rule is not defined for so many lines or points.
    """
    for name, count, possible in zip(
        ("lines", "points on a line"), (lines, points), point_counts(section.shape, rule), strict=True
    ):
        if count not in possible:
            raise CalibError(f"{count} {name} by the {rule} rule in a {section.shape} duct: use {spoken(possible)}")
    return tuple(
        TraversePlace(line_number, count, *(float(value) for value in values))
        for line_number, line in enumerate(_LAYOUTS[section.shape](section, rule, lines, points), start=1)
        for count, values in enumerate(zip(line.x, line.y, line.along, line.weight, strict=True), start=1)
    )


def spoken(counts: tuple[int, ...]) -> str:
    """Numbers as a person lists them: "4, 6, ..., 40" where many are evenly spaced, "3, 5 or 7"."""
    if len(counts) > 5 and len(set(np.diff(counts))) == 1:
        return f"{counts[0]}, {counts[1]}, ..., {counts[-1]}"
    *others, last = map(str, counts)
    return f"{', '.join(others)} or {last}" if others else last


def usual(section: Section, rule: str) -> tuple[int, int]:
    """Numbers of lines and of points on each that are usual for a section. Common practice, no source.

    Across a width or height: one for each 200 mm, at least 5 and at most 8 (log-Tchebycheff), at least 4 and at most 8 and even
    (log-linear, flat-oval); one for each 150 mm, at least 4 and at most 8 (equal area). Round: two diameters with 6 points up to
    250 mm, 8 up to 500 mm, 10 beyond, by every rule. Raises CalibError for an unknown rule.
    """
    possible = point_counts(section.shape, rule)
    if section.shape == ROUND:
        return 2, 6 if section.width <= 0.25 else 8 if section.width <= 0.5 else 10
    match possible:
        case (lines,), (points,):
            return lines, points
    return _usual_across(section.width, rule), _usual_across(section.height, rule)


_SPACING = {EQUAL_AREA: 0.15, LOG_TCHEBYCHEFF: 0.2, LOG_LINEAR: 0.2}  # [m]
_FEWEST = {EQUAL_AREA: 4, LOG_TCHEBYCHEFF: 5, LOG_LINEAR: 4}


def _usual_across(side: float, rule: str) -> int:
    # Rounded first: 1.05/0.15 is a hair above 7 in binary.
    wanted = math.ceil(round(side / _SPACING[rule], 9))
    even = wanted % 2 if rule == LOG_LINEAR else 0
    return min(max(wanted + even, _FEWEST[rule]), 8)


def mean_velocity(velocities: Floats, weights: Floats) -> Floats:
    """Mean velocity over the section, v = sum(w_i v_i) [m/s]: velocities (..., P) and weights (P,) that add to 1, result (...).

    Velocities are averaged, never velocity pressures: the root is concave, so sqrt(sum(w_i p_i)) >= sum(w_i sqrt(p_i)), and the
    mean pressure always gives too much flow, unless all pressures are equal (Jensen's inequality).
    Raises CalibError where velocities and weights differ in number or the weights do not add to 1.
    """
    v, w = np.asarray(velocities, dtype=float), np.asarray(weights, dtype=float)
    if w.ndim != 1 or v.shape[-1:] != w.shape:
        raise CalibError(f"velocities of shape {v.shape} for {w.size} points: give one velocity for each point")
    if not math.isclose(w.sum(), 1):
        raise CalibError(f"the weights of a section add to 1, these to {w.sum():.9g}: give those of all its points")
    return np.asarray(v @ w)
