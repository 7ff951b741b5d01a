"""The time-line of the fleet in a page: whole words beside bars that do not touch one another."""

import re
from datetime import date
from itertools import pairwise

from calib.faces.drawings.due_bars import IN_CALIBRATION, NOT_IN_USE, DueBar, DueDrawing
from calib.faces.drawings.time_line import time_line

LONG = "certificate TH-26-0414 of the laboratory at Tarn Hill is not accepted by anybody yet"
BARS = (
    DueBar("VA-14", date(2026, 10, 2), date(2027, 10, 2), NOT_IN_USE, LONG),
    DueBar(
        "VA-11 of the second van, lower shelf", date(2026, 9, 1), date(2027, 9, 1), IN_CALIBRATION, "due in 275 days"
    ),
)


def drawn():
    return time_line(DueDrawing(date(2026, 11, 30), 60, BARS), "words")


def texts(kind):
    return [
        (float(y), text)
        for y, text in re.findall(rf'<text class="{kind}" x="[\d.]+" y="([\d.]+)"[^>]*>([^<]*)<', drawn())
    ]


def test_words_are_whole_however_long_they_are():
    assert " ".join(text for _, text in texts("word not-in-use")) == LONG
    assert " ".join(text for _, text in texts("name")).endswith("VA-11 of the second van, lower shelf")


def test_lines_stand_below_one_another_and_within_the_drawing():
    heights = [y for kind in ("word not-in-use", "word in-calibration") for y, _ in texts(kind)]
    assert all(after - before >= 15 for before, after in pairwise(heights))
    assert heights[-1] < float(re.search(r'viewBox="0 0 \d+ (\d+)"', drawn())[1])
