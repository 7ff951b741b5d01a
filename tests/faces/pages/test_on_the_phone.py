"""What a technician does on the pages, on a file and on a server: the records have it as the command would have written it."""

import html
import io
import json
import re
import time
from datetime import timedelta
from urllib.parse import quote

import pytest
from PIL import Image

from calib.procedures.fleet.record_event import record_event
from calib.records import database
from calib.records.ledger import Signature
from calib.records.tables.entries import SentEntry
from calib.records.tables.readings import Reading, Refusal
from tests.command import calib
from tests.folders import all_of, changed, ledger_head, write
from tests.served import ADDED

HOSTILE = "<script>alert(1)</script>\"'&{{7*7}}${7}%0a\u202e"
OUTLET = "/jobs/J-1/outlets/S-2"
WITH = {"instrument": "VA-1", "unit": "m/s", "method": "sweep"}


def passes(*values):
    return {f"pass_{count}": value for count, value in enumerate(values, start=1)}


def text_of(answer):
    """The words of a page, parted by single blanks."""
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", re.sub(r"</?time\b[^>]*>", "", answer.text))).split())


def typeset(statement):
    """A statement of the command as a page has it."""
    return statement.replace("m3/h", "m³/h")


def enter(visitor, *values, at=OUTLET, key="key of a phone", **cells):
    return visitor.fill_in(at, client_key=key, **WITH | passes(*values) | cells)


def last_listed(served):
    return max(listed(served), key=lambda reading: reading["reading"])


def on_record(served, table):
    with database.reading(served.records) as session:
        return [row.model_dump() for row in all_of(session, table)]


def listed(served, job="J-1"):
    return json.loads(calib("reading", "list", job, "--json", records=served.records).out)["readings"]


# --- an instrument by its tag ----------------------------------------------------------------------------------------------------


def test_a_label_leads_to_what_ready_says_of_the_instrument_today(served, tom):
    page = text_of(tom.get("/instruments/VA-1?at=2.5 m/s"))
    said = calib("ready", "VA-1", "--at", "2.5 m/s", records=served.records).out.splitlines()
    assert "May be used" in page
    assert all(" ".join(line.split()) in page for line in said[1:])


def test_what_an_indication_means_is_told_without_being_asked_for(tom):
    assert re.search(
        r"an indication of [\d.]+ m/s means \([\d.]+ ± [\d.]+\) m/s, k = ", text_of(tom.get("/instruments/VA-1"))
    )


def test_an_indication_may_be_typed_with_a_decimal_comma(tom):
    of_point, of_comma = (
        re.findall("<p>(an indication .*)</p>", tom.get(f"/instruments/VA-1?at={typed} m/s").text)
        for typed in ("2.5", "2,5")
    )
    assert of_comma == of_point != []


@pytest.fixture
def suspended(served):
    """VA-1 out of use."""
    at = ADDED + timedelta(minutes=1)
    with served.writing_as("Quinn") as session:
        record_event(session, "VA-1", "suspension", at, "dropped", Signature("Quinn", at, "instrument suspend"))


@pytest.mark.usefixtures("suspended")
def test_an_instrument_that_may_not_be_used_says_why_and_what_else_could_be(tom):
    page = tom.get("/instruments/VA-1")
    assert "Do not use" in page.text
    assert "dropped" in page.text
    assert 'href="/instruments/VA-2"' in page.text
    assert 'href="/instruments/PG-1"' not in page.text  # it measures pressure
    assert 'href="/instruments/RS-1"' not in page.text  # VA-2 was calibrated with it, and nothing was read


@pytest.mark.parametrize(("at", "said"), [("2.5 furlong", "furlong"), ("x", "x"), (HOSTILE, "<script>")])
def test_an_indication_that_is_none_is_told_beside_its_field(tom, at, said):
    page = tom.get(f"/instruments/VA-1?at={quote(at)}")
    assert page.status_code == 200
    assert said in text_of(page)
    assert "<script>alert" not in page.text


def test_a_tag_that_nobody_has_is_told(tom):
    page = tom.get(f"/instruments/{quote(HOSTILE, safe='')}")
    assert page.status_code == 404
    assert "<script>alert" not in page.text


# --- a job -----------------------------------------------------------------------------------------------------------------------


def test_a_job_says_of_each_outlet_what_reading_list_says(served, tom):
    page = text_of(tom.get("/jobs/J-1"))
    for reading in listed(served):
        assert typeset(reading["flow"]["statement"]) in page
        assert f"{reading['design']['percent_of_design']:.1f} % of design, {reading['design']['conformity']}" in page


def test_a_job_leads_to_its_report_and_a_meter_to_its_history(tom):
    assert 'href="/jobs/J-1/report"' in tom.get("/jobs/J-1").text
    for place in ("/instruments/VA-1", "/instruments/VA-1?job=J-1"):
        assert 'href="/instruments/VA-1/history"' in tom.get(place).text


def test_outlets_that_are_left_stand_first(served, tom):
    with database.reading(served.records) as session:
        first = next(row.id for row in all_of(session, Reading))
    assert tom.fill_in(f"/jobs/J-1/readings/{first}/withdrawal", why="at the wrong grille").status_code == 303
    named = re.findall(r'class="whole"[^>]*>([^<]*)<', tom.get("/jobs/J-1").text)
    assert named == ["S-1", "S-2", "R-1", "E-1"]
    assert "1 of 4 outlets left" in text_of(tom.get("/jobs/J-1"))
    assert 'href="/jobs/J-1/outlets/S-1">Next: S-1' in tom.get("/jobs/J-1").text


def test_a_job_that_is_none_is_told_with_a_way_back(tom):
    page = tom.get("/jobs/J-9")
    assert page.status_code == 404
    assert 'href="/"' in page.text


# --- an entry --------------------------------------------------------------------------------------------------------------------


def test_what_was_used_last_is_remembered_and_the_field_asks_for_numbers(tom):
    page = tom.get(OUTLET).text
    assert '<input type="hidden" name="instrument" value="VA-1">' in page
    assert 'value="sweep" selected' in page
    assert page.count('inputmode="decimal"') >= 6


def test_a_reading_is_written_and_its_answer_is_that_of_the_command(served, tom):
    sent = enter(tom, "3,10", "3.12", "3.08", remarks="a remark")
    assert sent.status_code == 303
    page = text_of(tom.get(sent.headers["location"]))
    reading = last_listed(served)
    assert reading["remarks"] == "a remark"
    assert (reading["outlet"], reading["observations"], reading["operator"]) == ("S-2", "3.10;3.12;3.08", "Tom")
    assert typeset(reading["flow"]["statement"]) in page
    assert reading["design"]["conformity"] in page
    assert "would pass" in page


def test_an_averaging_time_may_have_a_decimal_comma_as_the_passes_may(served, tom):
    assert enter(tom, "3,10", "3,12", averaging_s="12,5").status_code == 303
    assert last_listed(served)["averaging_s"] == "12.5"


def test_an_entry_that_is_sent_twice_is_one_reading(served, tom):
    first, again = (enter(tom, "3.10", "3.12") for _ in range(2))
    assert first.headers["location"] == again.headers["location"]
    assert len(on_record(served, SentEntry)) == 1


def test_another_value_under_the_key_of_a_reading_is_told_and_may_be_sent_under_a_key_of_its_own(served, tom):
    enter(tom, "3.10", "3.12")
    sent = enter(tom, "3.10", "3.13")
    assert sent.status_code == 422
    assert "which says otherwise" in sent.text
    fresh = re.search(r'name="client_key" value="([^"]*)"', sent.text)[1]
    assert fresh != "key of a phone"
    time.sleep(1)  # two readings of one second are one
    assert enter(tom, "3.10", "3.13", key=fresh).status_code == 303
    assert len(on_record(served, SentEntry)) == 2


def test_what_is_unusual_is_asked_and_a_button_says_that_it_is_right(served, tom):
    before = ledger_head(served.records)
    asked = enter(tom, "0.61", "4.96")
    assert asked.status_code == 422
    assert "Is that right?" in asked.text
    assert "the largest pass is 8.13 times the smallest" in text_of(asked)
    assert '<button name="sure" value="yes">' in asked.text
    assert 'value="4.96"' in asked.text
    assert ledger_head(served.records) == before
    assert enter(tom, "0.61", "4.96", sure="yes").status_code == 303


def test_one_that_is_far_from_the_others_says_which_readings_its_scatter_moves(served, tom):
    for name, *values in (("S-1", "4.20", "4.22"), ("R-1", "3.10", "3.12"), ("E-1", "2.50", "2.52")):
        assert enter(tom, *values, at=f"/jobs/J-1/outlets/{name}", key=name).status_code == 303
    before = stated(served)
    sent = enter(tom, "0.61", "4.96", sure="yes")
    after = stated(served)
    tells_what_moved(tom.get(sent.headers["location"]), before, after)
    again = tom.fill_in(
        f"/jobs/J-1/readings/{number_of_last(served)}/correction",
        **passes("3.10", "3.12"), unit="m/s", method="sweep", reason="a slip", sure="yes",
    )  # fmt: skip
    corrected = stated(served)
    tells_what_moved(tom.get(again.headers["location"]), after, corrected)
    time.sleep(1)  # two readings of one second are one
    assert enter(tom, "0.61", "4.96", sure="yes", key="far").status_code == 303
    after = stated(served)
    taken_back = tom.fill_in(f"/jobs/J-1/readings/{number_of_last(served)}/withdrawal", why="at the wrong grille")
    tells_what_moved(tom.get(taken_back.headers["location"]), after, stated(served), "without it")


def stated(served):
    return {each["outlet"]: each["flow"]["statement"] for each in listed(served) if each["latest"]}


def tells_what_moved(page, before, after, since="with it"):
    others = before.keys() - {"S-2"}
    assert any(before[name] != after[name] for name in others)
    for name in others:
        said = [re.escape(typeset(each[name])) for each in (after, before)]
        told = re.search("{} {} is {}[^;]*; it was {}".format(since, re.escape(name), *said), text_of(page))
        assert bool(told) == (before[name] != after[name])


def test_what_the_gate_refuses_says_why_and_what_else_could_be_used_and_is_kept_where_that_is_wanted(served, tom):
    before = ledger_head(served.records)
    refused = enter(tom, "14.1", "14.2", sure="yes")
    assert refused.status_code == 409
    assert "13.6" in text_of(refused)  # m/s, up to which it is calibrated
    assert 'instrument=VA-2"' in refused.text
    assert re.findall("<button>([^<]*)</button>", refused.text) == ["Send what I changed"]  # the meter may be used
    assert ledger_head(served.records) == before
    kept = enter(tom, "14.1", "14.2", sure="yes", keep="yes")
    assert "Kept as refused reading" in text_of(tom.get(kept.headers["location"]))
    assert len(on_record(served, Refusal)) == 1


@pytest.mark.usefixtures("suspended")
def test_where_the_meter_may_not_be_used_at_all_the_way_on_is_another_meter_and_no_sending_again(tom):
    refused = enter(tom, "3.10", "3.12")
    assert refused.status_code == 409
    assert "<button>" not in refused.text.partition('class="reach"')[2].partition("</div>")[0]
    assert f'<a class="button" href="{OUTLET}?instrument=VA-2">Measure with VA-2</a>' in refused.text


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ((), "values"),
        (("three",), "'three'"),
        (("3,100 4",), "3.100, or 3 and 100"),
        (("-3",), "-3"),
        (("3000",), "3000"),
    ],
)
def test_a_slip_is_told_and_nothing_is_written(served, tom, values, said):
    before = ledger_head(served.records)
    sent = enter(tom, *values)
    assert sent.status_code == 422
    assert said in text_of(sent)
    assert "Nothing was written" in sent.text
    assert ledger_head(served.records) == before


@pytest.mark.parametrize(
    "column",
    ["instrument", "unit", "method", "probe", "conditions", "stage", "remarks", "averaging_s", "pass_1", "client_key"],
)
def test_hostile_text_in_a_field_is_text(tom, column):
    sent = enter(tom, "3.10", **{column: HOSTILE} if column != "client_key" else {"key": HOSTILE})
    page = tom.get(sent.headers["location"]) if sent.status_code == 303 else sent
    assert sent.status_code in (303, 404, 422)
    assert "<script>alert" not in page.text
    assert "<script>alert" not in tom.get("/jobs/J-1").text


def test_another_meter_is_chosen_by_its_tag_and_asks_in_its_own_unit(tom):
    page = tom.get(f"{OUTLET}?instrument=VA-2").text
    assert '<input type="hidden" name="instrument" value="VA-2">' in page
    assert "Passes [fpm]" in page
    unknown = tom.get(f"{OUTLET}?instrument=VA-9")
    assert unknown.status_code == 200
    assert "no instrument" in unknown.text


def test_an_outlet_that_is_none_is_told(tom):
    assert tom.get("/jobs/J-1/outlets/X-9").status_code == 404
    assert enter(tom, "3.1", at="/jobs/J-1/outlets/X-9").status_code in (404, 422)


# --- corrections -----------------------------------------------------------------------------------------------------------------


def number_of_last(served):
    return last_listed(served)["reading"]


def test_a_correction_takes_the_place_of_the_reading_with_its_reason(served, tom):
    enter(tom, "3.10", "3.12")
    number = number_of_last(served)
    corrected = tom.fill_in(
        f"/jobs/J-1/readings/{number}/correction",
        **passes("3.10", "3.21"),
        unit="m/s",
        method="sweep",
        reason="two digits exchanged",
    )
    assert corrected.status_code == 303
    page = tom.get(corrected.headers["location"])
    assert f"reading {number} at S-2 is corrected" in text_of(page)
    assert last_listed(served)["observations"] == "3.10;3.21"
    for shown, link in ((number, number_of_last(served)), (number_of_last(served), number)):
        page = tom.get(f"/jobs/J-1/readings/{shown}")
        assert "corrected by Tom" in text_of(page)
        assert "two digits exchanged" in page.text
        assert "observations: 3.10;3.12 → 3.10;3.21" in text_of(page)
        assert f'href="/jobs/J-1/readings/{link}"' in page.text


@pytest.mark.parametrize(
    ("reason", "values", "said"), [("", ("3.1", "3.2"), "reason"), ("a slip", ("3.10", "3.12"), "another value")]
)
def test_a_correction_without_a_reason_or_a_change_is_told(served, tom, reason, values, said):
    enter(tom, "3.10", "3.12")
    sent = tom.fill_in(
        f"/jobs/J-1/readings/{number_of_last(served)}/correction",
        **passes(*values),
        unit="m/s",
        method="sweep",
        reason=reason,
    )
    assert sent.status_code == 422
    assert said in sent.text


def test_a_reading_that_was_withdrawn_says_so_and_cannot_be_corrected(served, tom):
    enter(tom, "3.10", "3.12")
    number = number_of_last(served)
    tom.fill_in(f"/jobs/J-1/readings/{number}/withdrawal", why=HOSTILE)
    page = tom.get(f"/jobs/J-1/readings/{number}")
    assert "was withdrawn" in page.text
    assert "<script>alert" not in page.text
    assert "/correction" not in page.text


@pytest.mark.parametrize("number", ["0", "-1", "x", "99999999999999999999", "1e3"])
def test_a_number_that_no_reading_has_is_told(tom, number):
    assert tom.get(f"/jobs/J-1/readings/{number}").status_code == 404


# --- the opening -----------------------------------------------------------------------------------------------------------------

MEASURED = {"shape": "rectangular", "width": "310", "height": "150", "dimension_unit": "mm", "dimension_limit": "1"}


def test_an_opening_that_was_measured_again_counts_from_then_on(served, tom):
    before = next(each for each in listed(served) if each["outlet"] == "S-2")["flow"]["value"]
    amended = tom.fill_in(f"{OUTLET}/opening", **MEASURED, reason="measured again")
    assert amended.status_code == 303
    assert "S-2 is amended: revision 2" in text_of(tom.get(amended.headers["location"]))
    after = next(each for each in listed(served) if each["outlet"] == "S-2")["flow"]["value"]
    assert after / before == pytest.approx(310 / 300)


def test_an_opening_may_be_typed_with_a_decimal_comma(served, tom):
    assert tom.fill_in(f"{OUTLET}/opening", **MEASURED | {"width": "310,5"}, reason="again").status_code == 303
    assert json.loads(calib("outlet", "show", "J-1", "S-2", "--json", records=served.records).out)["width"] == "310.5"


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"width": "wide"}, "wide"),
        ({"width": "-1"}, "-1"),
        ({"width": "12"}, "Is that right?"),
        ({"width": HOSTILE}, "<script>"),
        ({"reason": ""}, "what was wrong"),
        ({"width": "300"}, "other than the one on record"),
        ({"shape": "oval"}, "oval"),
    ],
)
def test_an_opening_that_is_none_is_told_and_stays_as_it_was(served, tom, wrong, said):
    before = ledger_head(served.records)
    sent = tom.fill_in(f"{OUTLET}/opening", **{**MEASURED, "reason": "measured again"} | wrong)
    assert sent.status_code == 422
    assert said in text_of(sent)
    assert "<script>alert" not in sent.text
    assert ledger_head(served.records) == before


# --- who may ---------------------------------------------------------------------------------------------------------------------

PLACES = ["/jobs/J-1", OUTLET, "/jobs/J-1/readings/1", "/instruments/VA-1", f"{OUTLET}/traverse", f"{OUTLET}/opening"]


@pytest.mark.parametrize("place", PLACES)
def test_nobody_sees_or_sends_anything_who_has_not_signed_in(served, place):
    before = ledger_head(served.records)
    visitor = served.visitor()
    assert visitor.get(place).status_code == 303
    assert enter(visitor, "3.1").headers["location"].startswith("/sign-in")
    assert ledger_head(served.records) == before


# --- a traverse ------------------------------------------------------------------------------------------------------------------

DUCT = "/jobs/J-1/outlets/D-1"
PLAN = {"rule": "equal-area", "lines": "2", "points": "3", "passes": "2"}


@pytest.fixture
def duct(served, tmp_path):
    """A duct of the job, on record before anybody signs in."""
    sheets = changed()
    cells = dict.fromkeys(sheets["outlets.csv"][0], "") | {
        "job": "J-1", "outlet": "D-1", "system": "AH-1", "service": "supply", "shape": "rectangular", "width": "300",
        "height": "200", "dimension_unit": "mm", "dimension_limit": "1",
        "design_flow": "520", "flow_unit": "m3/h", "tolerance_percent": "10",
    } | {"place": "duct"}  # fmt: skip
    method = {
        "method": "traverse",
        "relative_standard_uncertainty_percent": "1.0",
        "basis": "own profiles",
        "pattern": "traverse",
    }
    served.imports(write(tmp_path / "duct", {"outlets.csv": [cells], "methods.csv": [method]}))


def begun(tom, **plan):
    """The address of the first point."""
    typed = PLAN | {"instrument": "VA-1", "unit": "m/s", "method": "traverse", "client_key": "key of a traverse"} | plan
    asked = tom.get(f"{DUCT}/traverse", params=typed)
    assert asked.status_code == 303, text_of(asked)
    return asked.headers["location"]


def hidden(page):
    """Fields that a form carries without showing them."""
    return dict(re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', page.text))


def typed(tom, address, value, **fields):
    """Type at the point of an address: what is answered."""
    carried = {name: html.unescape(cell) for name, cell in hidden(tom.get(address)).items() if name != "token"}
    return tom.fill_in(f"{DUCT}/traverse", **carried, value=value, **fields)


@pytest.mark.usefixtures("duct")
def test_each_point_of_a_traverse_says_where_to_hold_the_probe_as_the_plan_does(served, tom):
    asked = ("traverse", "plan", "J-1", "D-1", "--rule", "equal-area", "--lines", "2", "--points", "3", "--json")
    plan = json.loads(calib(*asked, records=served.records).out)["points"]
    address = begun(tom, passes="1")
    for point in plan:
        page = tom.get(address)
        assert f"Line {point['line']}, point {point['point']}: {point['mark']:.4g} mm from the wall" in text_of(page)
        assert '<svg class="section"' in page.text
        address = typed(tom, address, "2.4").headers["location"]
    assert "Every point is typed" in tom.get(address).text


@pytest.mark.usefixtures("duct")
def test_a_traverse_is_written_once_all_points_are_typed_and_sent_twice_it_is_one_reading(served, tom):
    address = begun(tom)
    address = typed(tom, address, "2,41 2.44 2.40").headers["location"]  # a line at once
    for value in ("2.42", "2.45", "2.41", "2.40", "2.43", "2.39", "2.41", "2.44", "2.40"):
        address = typed(tom, address, value).headers["location"]
    first, again = (typed(tom, address, "") for _ in range(2))
    assert first.status_code == 303
    assert first.headers["location"] == again.headers["location"]
    reading = last_listed(served)
    assert reading["outlet"] == "D-1"
    assert typeset(reading["flow"]["statement"]) in text_of(tom.get(first.headers["location"]))
    assert sum(each["outlet"] == "D-1" for each in listed(served)) == 1


@pytest.mark.usefixtures("duct")
def test_a_traverse_that_was_left_is_reached_again_from_its_outlet_and_its_job_until_it_is_written(served, tom):
    address = typed(tom, begun(tom, passes="1", averaging_s="5"), "2.41 2.44").headers["location"]
    for place in (DUCT, "/jobs/J-1", f"{DUCT}/traverse"):
        page = tom.get(place)
        assert "Traverse begun, 2 of 6 points" in text_of(page)
        assert html.escape(address) in page.text
    assert "Traverse begun" not in text_of(served.signed_in("Ed").get(DUCT))
    address = typed(tom, address, "2.40 2.42 2.45 2.41").headers["location"]
    assert typed(tom, address, "").status_code == 303
    assert "Traverse begun" not in text_of(tom.get("/jobs/J-1"))
    assert last_listed(served)["averaging_s"] == "5"


@pytest.mark.usefixtures("duct")
def test_settings_that_cannot_be_are_told_at_once_and_stay_as_they_were_typed(tom):
    settings = PLAN | {
        "lines": "0",
        "points": "many",
        "passes": "two",
        "stage": "repeat",
        "remarks": "a damper behind it",
    }
    page = tom.get(f"{DUCT}/traverse", params=settings | WITH | {"client_key": "k"}, follow_redirects=True)
    assert page.status_code == 422
    told = text_of(page)
    assert all(f"{value!r}; expected" in told for value in ("0", "many", "two"))
    assert all(f'value="{settings[name]}"' in page.text for name in ("lines", "points", "passes"))
    assert 'value="repeat" selected' in page.text
    assert "a damper behind it" in told


@pytest.mark.usefixtures("duct")
def test_numbers_of_lines_and_points_that_a_rule_has_not_are_told_both(tom):
    settings = PLAN | WITH | {"rule": "log-Tchebycheff", "lines": "2", "points": "40", "client_key": "k"}
    told = text_of(tom.get(f"{DUCT}/traverse", params=settings, follow_redirects=True))
    counts = "expected 3, 4, 5, 6, 7, 8, 9 or 11 by the log-Tchebycheff rule in a rectangular duct"
    assert f"lines: '2'; {counts}" in told
    assert f"points: '40'; {counts}" in told


@pytest.mark.usefixtures("duct")
def test_a_traverse_whose_points_were_changed_since_it_was_written_is_told_and_loses_none(served, tom):
    plan = {"passes": "1", "values": "2.41 2.44 2.40 2.42 2.45 2.41"}
    assert typed(tom, begun(tom, **plan), "").status_code == 303
    time.sleep(1)
    sent = typed(tom, begun(tom, **plan | {"values": "2.41 2.44 2.40 2.42 2.45 2.47"}), "")
    assert sent.status_code == 422
    assert "which says otherwise" in sent.text
    carried = {name: html.unescape(cell) for name, cell in hidden(sent).items() if name != "token"}
    assert carried["values"].split()[-1] == "2.47"
    assert tom.fill_in(f"{DUCT}/traverse", **carried).status_code == 303
    assert sum(each["outlet"] == "D-1" for each in listed(served)) == 2


@pytest.mark.usefixtures("duct")
def test_a_point_that_is_unusual_is_asked_about_while_the_probe_is_there(tom):
    address = begun(tom)
    for value in ("2.41 2.44 2.40", "2.42 2.45 2.41"):
        address = typed(tom, address, value).headers["location"]
    asked = typed(tom, address, "24.1")
    assert asked.status_code == 422
    assert "Is that right?" in asked.text
    assert typed(tom, address, "24.1", sure="yes").status_code in (303, 422)
    assert typed(tom, address, "2.41").status_code == 303


@pytest.mark.parametrize("value", ["", "x", "1 2 3 4 5 6 7", "-3", HOSTILE])
@pytest.mark.usefixtures("duct")
def test_what_no_point_shows_is_told_and_the_points_before_stay(tom, value):
    address = typed(tom, begun(tom), "2.41").headers["location"]
    sent = typed(tom, address, value)
    assert sent.status_code == 422
    assert "Line 1, point 2" in text_of(sent)
    assert "<script>alert" not in sent.text


@pytest.mark.parametrize(
    "wrong",
    [
        {"rule": "by eye"},
        {"lines": "x"},
        {"points": "-1"},
        {"passes": HOSTILE},
        {"values": "1 " * 50},
        {"values": "x"},
        {"began": "now"},
    ],
)
@pytest.mark.usefixtures("duct")
def test_a_plan_that_is_none_is_told(tom, wrong):
    typed = (
        PLAN
        | {
            "instrument": "VA-1",
            "unit": "m/s",
            "method": "traverse",
            "client_key": "k",
            "began": "2026-11-20T09:00:00+00:00",
        }
        | wrong
    )
    page = tom.get(f"{DUCT}/traverse", params=typed)
    assert page.status_code == 422
    assert "<script>alert" not in page.text
    assert 'href="/"' in page.text


@pytest.mark.usefixtures("duct")
def test_what_is_against_a_traverse_is_told_before_its_first_point(tom):
    assert "as it stands" in text_of(tom.get(begun(tom, method="hall")))
    assert "as it stands" not in text_of(tom.get(begun(tom)))


def test_an_outlet_without_a_shape_is_not_traversed(tom):
    assert tom.get("/jobs/J-1/outlets/R-1/traverse").status_code == 422


# --- photographs -----------------------------------------------------------------------------------------------------------------


@pytest.fixture
def camera():
    """A picture as a phone writes it, with the place where it was taken."""
    made = io.BytesIO()
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 8.0, 30.0), 3: "E", 4: (11.0, 34.0, 0.0)})
    Image.new("RGB", (400, 300), "#446688").save(made, "JPEG", exif=exif)
    return made.getvalue()


@pytest.mark.parametrize("place", [OUTLET, "/jobs/J-1/readings/{}"])
def test_a_photograph_is_kept_without_the_place_where_it_was_taken(served, tom, camera, place):
    enter(tom, "3.10", "3.12")
    place = place.format(number_of_last(served))
    files = {"photograph": ("../../x<b>.jpg", camera, "image/jpeg")}
    sent = tom.fill_in(f"{place}/photographs", files=files, about=HOSTILE)
    assert sent.status_code == 303
    page = tom.get(sent.headers["location"])
    assert "<script>alert" not in page.text
    address = re.search(r'<img src="([^"]*)"', page.text)[1]
    kept = tom.get(address)
    assert kept.headers["content-type"] == "image/jpeg"
    assert not Image.open(io.BytesIO(kept.content)).getexif().get_ifd(0x8825)
    assert Image.open(io.BytesIO(kept.content)).size == (400, 300)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"<svg onload=alert(1)>", "photograph"),
        (b"", "picture"),
        (b"\xff\xd8\xff\xd9", "photograph"),
        (b"%PDF-1.7 %%EOF", "photograph"),
    ],
)
def test_what_is_no_photograph_is_told_and_not_kept(served, tom, content, said):
    before = ledger_head(served.records)
    files = {"photograph": ("x.jpg", content, "image/jpeg")} if content else None
    sent = tom.fill_in(f"{OUTLET}/photographs", files=files, about="")
    assert sent.status_code == 422
    assert said in text_of(sent)
    assert ledger_head(served.records) == before


def test_a_digest_that_nothing_has_is_told(tom):
    assert tom.get("/photographs/0000").status_code == 404
