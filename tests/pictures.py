"""What the pictures of the tests show: invented, written out by hand, the same on every day. And how two PNGs are compared."""

import io
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from calib.confirmation.control_chart import Baseline, ControlLimits
from calib.confirmation.drift import Drift
from calib.faces.drawings import CurveDrawing, DistributionDrawing
from calib.faces.drawings.due_bars import IN_CALIBRATION, NOT_IN_USE, OVERDUE, DueBar, DueDrawing
from calib.faces.drawings.over_time import HistoryDrawing, PointDrawing
from calib.faces.drawings.style import house_style
from calib.procedures.fleet.checks_on_file import ChartedCheck, ChartedSeries

FORMULA = r"$\frac{1}{2}$ <b>&amp; _^{"


def flow(value, expanded, unit="L/s"):
    return {
        "value": value,
        "unit": unit,
        "standard_uncertainty": expanded / 2,
        "expanded_uncertainty": expanded,
        "coverage_factor": 2.0,
        "interval": None,
        "statement": f"({value} ± {expanded}) {unit}, k = 2.00",
    }


def reading(
    outlet, system="AHU-1", *, value=100.0, expanded=6.0, design=100.0, tolerance=10.0, statement="pass", **more
):
    """One reading of a content. Percent of design by hand: value and design are chosen so."""
    judged = None
    if design is not None:
        judged = {
            "value": design,
            "unit": more.get("unit", "L/s"),
            "tolerance_percent": tolerance,
            "percent_of_design": 100 * value / design,
            "conformity": statement,
        }
    return {
        "reading": more.get("number", 1),
        "outlet": outlet,
        "system": system,
        "instrument": "VA-11",
        "latest": more.get("latest", True),
        "flow": flow(value, expanded, more.get("unit", "L/s")),
        "design": judged,
        "contributions": more.get("contributions", CONTRIBUTIONS),
    }


def contribution(name, share, evaluation="B"):
    return {"name": name, "variance_percent": share, "evaluation": evaluation}


# In the order of the budget, not of their shares. They are 100 % together.
CONTRIBUTIONS = [
    contribution("repeatability", 9.5, "A"),
    contribution("resolution", 0.0),
    contribution("calibration scatter", 0.05, "A"),
    contribution("reference standard", 12.25),
    contribution("stability", 20.0),
    contribution("outlet factor", 38.2),
    contribution("method", 20.0),
]
SORTED = [
    ("outlet factor", 38.2),
    ("stability", 20.0),
    ("method", 20.0),
    ("reference standard", 12.25),
    ("repeatability", 9.5),
    ("calibration scatter", 0.05),
    ("resolution", 0.0),
]

JOB = [
    reading("S1", value=90.0, statement="pass"),
    reading("S2", value=60.0, design=75.0, expanded=9.0, tolerance=15.0, statement="fail"),  # 80 %, U 12 %
    reading("S2", value=30.0, design=75.0, statement="fail", latest=False),  # before it was adjusted
    reading("E1", "EF-3", value=43.0, design=40.0, expanded=4.0, statement="conditional pass"),  # 107.5 %, U 10 %
    reading("R1", value=113.0, expanded=5.0, statement="conditional fail"),
    reading("B1", value=36.0, expanded=2.0, design=None),
]


def total(system, service, value, expanded, design=None, tolerance=None, *, unit="L/s", measured=3, outlets=3):
    return {
        "system": system,
        "service": service,
        "outlets": outlets,
        "outlets_measured": measured,
        "flow": None if value is None else flow(value, expanded, unit),
        "design": None
        if design is None
        else {
            "value": design,
            "unit": unit,
            "tolerance_percent": tolerance,
            "percent_of_design": None if value is None else 100 * value / design,
            "conformity": None if tolerance is None else "pass",
        },
    }


BALANCE = {
    "totals": [
        total("AHU-1", "supply", 900.0, 45.0, 1000.0, 10.0),
        total("AHU-1", "return", 800.0, 60.0, 780.0, 10.0),
        total("AHU-1", "net", 100.0, 75.0, 220.0),
        total("EF-3", "exhaust", 360.0, 36.0, 400.0, unit="m3/h", measured=2, outlets=3),  # 100 ± 10 L/s of 111.1
        total("EF-4", "exhaust", None, None, 50.0),
    ],
    "job_totals": [total("", "supply", 900.0, 45.0, 1000.0), total("", "net", 0.0, 76.0, 108.9)],
}

CURVE = CurveDrawing(
    name="VA-11, certificate TH-1, as-left",
    indication_label="indication [m/s]",
    value_label="correction [m/s]",
    along=np.linspace(0.5, 15, 30),
    curve=np.linspace(-0.02, 0.15, 30),
    band=np.linspace(0.015, 0.13, 30),
    indication=np.array([0.5, 5.0, 15.0]),
    compared=np.array([-0.03, 0.05, 0.16]),
    expanded_uncertainty=np.array([0.015, 0.05, 0.13]),
    fitted=np.array([-0.02, 0.033, 0.15]),
    zero_line=True,
)

DISTRIBUTION = DistributionDrawing(
    name="S1, reading 1",
    label="flow [L/s]",
    sample=np.sort(90 + 3 * np.random.default_rng(1).standard_normal(20_000)),
    value=90.0,
    standard_uncertainty=3.0,
    law=(84.0, 96.0),
    simulated=(84.1, 95.9),
)

_DRIFT = Drift(date(2025, 3, 1), 0.10, 0.03, 0.01, 2.0, 5.0, 3, lambda years: (0.02 + 0.01 * np.abs(years)) ** 2)
HISTORY = HistoryDrawing(
    "VA-11: error of indication as found",
    "m/s",
    12,
    [
        PointDrawing(
            5.0, [date(2023, 3, 1), date(2024, 3, 1), date(2025, 3, 1)], [0.04, 0.07, 0.10], [0.05, 0.05, 0.06], 0.0, 0.15,
            _DRIFT, 1.0, 1.6,
        ),
        PointDrawing(10.0, [date(2025, 3, 1)], [-0.1], [0.1], 0.0, 0.2, None, 1.0, None),
    ],
)  # fmt: skip

ONE_CALIBRATION = HistoryDrawing(
    "VA-12: error of indication as found",
    "m/s",
    12,
    [
        PointDrawing(indication, [date(2026, 3, 1)], [error], [0.05], 0.0, 0.1 + 0.01 * indication, None, 1.0, None)
        for indication, error in (
            (0.5, 0.02),
            (1.0, 0.03),
            (2.0, 0.0),
            (5.0, -0.04),
            (7.5, -0.05),
            (10.0, -0.1),
            (15.0, -0.12),
        )
    ],
)


def _check(day, value, *, passed=True, in_baseline=False, mean=None):
    return ChartedCheck(datetime(2026, 5, day, 8, tzinfo=UTC), value, 2.4, 2.6, passed, in_baseline, mean)


CHECKS = [
    ChartedSeries(
        "check standard",
        None,
        "m/s",
        (
            *(_check(day, 2.5 + 0.01 * (-1) ** day, in_baseline=True) for day in range(1, 11)),
            _check(11, 2.52, mean=2.504),
            _check(12, 2.55, mean=2.51),
            _check(13, 2.65, passed=False, mean=2.53),
        ),
        Baseline(10, 2.5, 0.01),
        ControlLimits(2.46, 2.5, 2.54),
        ControlLimits(2.48, 2.5, 2.52),
    ),
    ChartedSeries("zero", None, "m/s", (ChartedCheck(datetime(2026, 5, 4, 8, tzinfo=UTC), 0.01, -0.02, 0.02, True),)),
]

RISING = [
    replace(
        CHECKS[0],
        checks=tuple(
            replace(_check(day, value, in_baseline=day <= 10), in_trend=day >= 4)
            for day, value in enumerate(
                (2.49, 2.5, 2.49, 2.48, 2.485, 2.49, 2.5, 2.505, 2.51, 2.52, 2.53, 2.55), start=1
            )
        ),
    )
]

ON = date(2026, 10, 14)
FLEET = DueDrawing(
    ON,
    60,
    (
        DueBar("TT-02", None, None, OVERDUE, "no calibration accepted"),
        DueBar("VA-13", date(2025, 8, 20), date(2026, 8, 20), OVERDUE, "overdue by 55 days"),
        DueBar("VA-14", date(2026, 3, 19), date(2027, 3, 19), NOT_IN_USE, "suspended since 2026-09-02"),
        DueBar("VA-11", date(2025, 11, 2), date(2026, 11, 2), IN_CALIBRATION, "due in 19 days"),
        DueBar("RS-01", date(2026, 2, 10), date(2027, 2, 10), IN_CALIBRATION, "due in 119 days"),
    ),
)


def many(count, systems=12):
    """Readings of a large job: percent of design from 76 to 124, each statement among them."""
    words = ("fail", "conditional fail", "conditional pass", "pass")
    made = []
    for number in range(count):
        percent = 76 + (37 * number) % 49
        statement = words[min(int((25 - abs(percent - 100)) // 4), 3)]
        system = f"AHU-{1 + number * systems // count}"
        made.append(reading(f"S-{number}", system, value=float(percent), statement=statement, number=number))
    return made


def boxes_of_texts(figure):
    """What is written in a figure that was laid out, with the box of each: (text, box in pixels)."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    written = []
    draw_text = renderer.draw_text

    def noted(gc, x, y, s, prop, angle, ismath=False, mtext=None):
        written.append(mtext)
        draw_text(gc, x, y, s, prop, angle, ismath, mtext)

    renderer.draw_text = noted
    with house_style():  # in which it is always drawn: other letters are fitted to pixels, and wider
        figure.draw(renderer)
        return [(one.get_text(), one.get_window_extent(renderer)) for one in dict.fromkeys(written) if one is not None]


def texts_over_texts(boxes):
    """Pairs of texts whose boxes overlap by more than a pixel each way."""
    pairs = [(one, other) for number, one in enumerate(boxes) for other in boxes[:number]]
    return [
        (one[0], other[0])
        for one, other in pairs
        if min(one[1].x1, other[1].x1) - max(one[1].x0, other[1].x0) > 1
        and min(one[1].y1, other[1].y1) - max(one[1].y0, other[1].y0) > 1
    ]


def in_few_colours(png):
    """A PNG with 96 colours: small."""
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(96, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def pixels(png):
    """A PNG as an array (height, width, 3) from 0 to 255."""
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"), dtype=float)


TILE = 24  # [pixels]


def difference(one, other):
    """How far two PNGs differ: the largest root mean square of any tile [0 to 255]; infinite where their sizes differ.

    Both are blurred by a box of 3 pixels, and a pixel counts by how far it lies outside what the other picture has within one pixel
    of it, so that letters and lines that another font library moves by a pixel or less are let be. By tiles, so that a small change
    is not lost in a large picture.
    """
    a, b = pixels(one), pixels(other)
    return float("inf") if a.shape != b.shape else difference_of(a, b)


def difference_of(a, b):
    a, b = _blurred(a), _blurred(b)
    apart = np.maximum(_outside(a, b), _outside(b, a)) ** 2
    rows, columns, _ = apart.shape
    half = TILE // 2  # a tile of less than that at the edge is part of the one before
    starts = [(row, column) for row in range(0, rows - half, half) for column in range(0, columns - half, half)]
    return float(max(np.sqrt(apart[row : row + TILE, column : column + TILE].mean()) for row, column in starts))


def _blurred(a):
    return _around(a).mean(axis=0)


def _around(a):
    """Every pixel with its eight neighbours: (9, height, width, 3)."""
    rows, columns, _ = a.shape
    padded = np.pad(a, ((1, 1), (1, 1), (0, 0)), mode="edge")
    return np.stack([padded[i : i + rows, j : j + columns] for i in range(3) for j in range(3)])


def _outside(a, b):
    """How far each pixel of a lies outside the least and the largest that b has within one pixel of it."""
    near = _around(b)
    return np.maximum(0, np.maximum(near.min(axis=0) - a, a - near.max(axis=0)))
