"""Texts as a person reads them in a page; times are those of this machine's zone, or say theirs."""

import re
from datetime import datetime, timedelta, timezone

import pytest

from calib.faces.pages.frame.form import label_of
from calib.faces.pages.frame.typeset import typeset


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("(1000 ± 40) m3/h, k = 2", "(1000 ± 40) m³/h, k = 2"),
        ("20.1 degC and 12 inH2O(4degC)", "20.1 °C and 12 inH₂O (4 °C)"),
        ("1.2 kg/m3", "1.2 kg/m³"),
        ("filter2, room m3/hall", "filter2, room m3/hall"),
        ("<b>5 & m2</b>", "&lt;b&gt;5 &amp; m²&lt;/b&gt;"),
    ],
)
def test_units_are_typeset_and_what_is_none_stays(text, shown):
    assert typeset(text) == shown


def test_a_day_is_one_piece_of_its_line():
    assert (
        typeset("certificate C-2026-01-12, due 2027-01-12") == "certificate C-2026-01-12, due <time>2027-01-12</time>"
    )


def test_a_time_of_this_machines_zone_is_told_to_the_minute():
    at = datetime(2026, 3, 5, 9, 10, 42).astimezone()
    assert (
        re.sub("<[^>]*>", "", typeset(f"withdrawn at {at.isoformat()} by Tom"))
        == "withdrawn at 2026-03-05 09:10 by Tom"
    )


def test_a_time_of_another_zone_says_it():
    here = datetime(2026, 3, 5, 9, 10).astimezone().utcoffset()
    at = datetime(2026, 3, 5, 9, 10, tzinfo=timezone(here + timedelta(hours=3)))
    assert re.sub("<[^>]*>", "", typeset(at.isoformat())) == f"2026-03-05 09:10 ({at.isoformat()[-6:]})"


@pytest.mark.parametrize(
    "text", ["2026-13-45T99:99+00:00", "0001-01-01T00:00:00+14:00", "2026-3-5", "12026-03-05", "2026-03-055"]
)
def test_what_is_no_time_stays_as_it_is(text):
    assert typeset(text) == text


@pytest.mark.parametrize(
    ("column", "label"),
    [
        ("temperature_degC", "temperature [°C]"),
        ("humidity_percent", "humidity [%]"),
        ("coverage_factor", "coverage factor"),
    ],
)
def test_the_field_of_a_column_is_called_by_its_words_with_its_unit(column, label):
    assert label_of(column) == label


DESK = (
    "/log", "/records", "/due", "/round", "/people", "/people/Tom", "/fleet", "/labels", "/intervals", "/reports",
    "/reviews?state=any", "/jobs/J-1/report/readings/1", "/jobs/J-1/report/revisions", "/instruments/VA-1/history",
    "/instruments/VA-1/events", "/instruments/VA-1/interval",
)  # fmt: skip


def test_pages_of_a_desk_show_days_times_and_units_as_those_of_a_phone_do(ed):
    history = ed.get("/instruments/VA-1/history").text
    certificate = re.search('href="(/instruments/VA-1/certificates/[^"]*)"', history)[1]
    for place in (*DESK, certificate):
        page = ed.get(place)
        assert page.status_code == 200
        said = re.sub("(?s)<(time|option|label|svg)[ >].*?</\\1>", " ", page.text.partition("<main")[2])
        shown = re.sub('<p class="told" id=.*?</p>|<[^>]*>', " ", said)  # it says how a time is typed
        assert not re.findall(r"(?<![\w-])\d{4}-\d\d-\d\d(?![\w-])|\d{4}-\d\d-\d\dT\d\d:\d\d\S*", shown), place
        assert not re.findall("m3|m2|degC|inH2O", shown), place
