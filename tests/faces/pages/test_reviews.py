"""Impact reviews at QA's desk: which are listed, what each line says, what is decided on it, which curve holds, how it ends.

VA-1 of the small job was found 4 % high on 20 March 2026, after three readings of J-1 were taken with it: review 1 has three lines.
"""

import re
import shutil

import pytest

from calib.faces.pages import review
from tests.as_found import added, drifted
from tests.command import calib
from tests.conftest import SERVER
from tests.faces.pages.test_events_and_checks import told_after
from tests.faces.pages.test_report_desk import DESKS, looked_at
from tests.faces.pages.test_revisions import issue_again
from tests.faces.pages.test_security import SCRIPT, runs_nothing, text_of
from tests.folders import ledger_head, small_job
from tests.pages_browser import phone, serving

REVIEW, LINES, CURVE = "/reviews/1", "/reviews/1/lines", "/reviews/1/curve"
WHY = "the shift is below U"


@pytest.fixture
def small_records(backend, request, _drifted, tmp_path):
    """The small job, and the certificate by which VA-1 was found beyond its limits."""
    if backend != SERVER:
        return shutil.copyfile(_drifted, tmp_path / "drifted.sqlite")
    location = request.getfixturevalue("small_there")
    added(location, tmp_path / "second", drifted(small_job(), "VA-1"))
    return location


def shown(served, number=1):
    """What the command shows of a review."""
    return calib("review", "show", number, "--json", records=served.records).document


def ticked(*lines, **fields):
    return {f"line_{line}": "yes" for line in lines} | fields


def numbers(answer):
    return re.findall(r'<th scope="row"><a href="/reviews/(\d+)">', answer.text)


# --- the list ----------------------------------------------------------------------------------------------------------------


def test_the_open_ones_are_listed_with_what_opened_each_and_how_many_lines_are_open(quinn, served):
    (said,) = calib("review", "list", "--json", records=served.records).document["reviews"]
    page = quinn.get("/reviews")
    assert numbers(page) == ["1"]
    cells = [re.sub("<[^>]*>", "", each) for each in re.findall(r"<td[^>]*>(.*?)</td>", page.text)]
    assert cells[1:] == ["3", "3", "open", "certificate D-1", said["opened_at"][:10], said["opened_by"]]
    assert "VA-1" in cells[0]


def test_what_is_due_and_the_round_lead_to_the_open_ones(quinn):
    assert '<a href="/reviews/1">Review 1</a>' in quinn.get("/due").text
    assert '<a href="/reviews/1">Review 1</a>' in quinn.get("/round?on=2027-02-01").text  # VA-1 is of it


def test_an_address_lists_the_reviews_that_fit(quinn):
    for asked, listed in {
        "": ["1"], "?state=any": ["1"], "?state=closed": [], "?instrument=va-1&sort=instrument": ["1"], "?instrument=VA-2": [],
        "?job=j-1&sort=open+lines": ["1"], "?job=J-2": [],
    }.items():  # fmt: skip
        answer = quinn.get(f"/reviews{asked}")
        assert (answer.status_code, numbers(answer)) == (200, listed), asked


def test_a_heading_sorts_and_keeps_what_was_filtered(quinn):
    page = quinn.get("/reviews?instrument=VA&sort=newest")
    (link,) = re.findall(r'<a href="([^"]+)">Open lines</a>', page.text)
    assert link.replace("&amp;", "&") == "/reviews?instrument=VA&sort=open+lines"
    assert numbers(quinn.get(link.replace("&amp;", "&"))) == ["1"]


def test_what_an_address_cannot_mean_is_said_beside_the_filter(quinn):
    answer = quinn.get("/reviews?state=asleep&sort=colour")
    assert (answer.status_code, text_of(answer).count("expected one of")) == (422, 2)
    assert 'name="instrument"' in answer.text


# --- one review --------------------------------------------------------------------------------------------------------------


def test_each_line_has_the_flow_as_reported_and_as_found_with_its_shift_and_verdict(quinn, served):
    page = quinn.get(REVIEW)
    rows = re.findall(r"<tr class=\"is-refused\">(.*?)</tr>", page.text, re.DOTALL)
    said = shown(served)["items"]
    assert len(rows) == len(said) == 3
    for row, line in zip(rows, said, strict=True):
        assert f'href="/jobs/J-1/readings/{line["id"]}">{line["record"]}</a>' in row
        values = [float(each) for each in re.findall(r"<td>\(([\d.]+) ± ", row)]
        before, after = line["before"], line["after"]
        assert values[0] == pytest.approx(before["value"], abs=before["expanded_uncertainty"] / 10)
        assert values[1] == pytest.approx(after["value"], abs=after["expanded_uncertainty"] / 10)
        assert f"{line['shift_over_U']:+.2f}" in row
        assert line["statement_before"] in row
        assert "a decision" in row
    assert '<th scope="col">Shift/U</th>' in page.text
    told = text_of(page)
    assert "Open: 3 of 3 lines" in told
    assert "which curve holds: not decided yet" in told


def test_several_lines_are_disposed_of_for_one_reason_and_the_ledger_names_qa(quinn, served):
    told = told_after(quinn, quinn.fill_in(LINES, **ticked(1, 3, decision="reissue", reason="the client asks")))
    assert "review 1: lines 1, 3: reissue" in told
    assert "3 open lines left" in told
    assert "a revision of the report on J-1, once it is decided which curve holds" in told
    decided = [line["dispositions"] for line in shown(served)["items"]]
    assert [[(each["decision"], each["reason"], each["by"]) for each in own] for own in decided] == [
        [("reissue", "the client asks", "Quinn")], [], [("reissue", "the client asks", "Quinn")],
    ]  # fmt: skip


def test_what_stands_has_a_reason_of_each_line_and_the_last_one_closes_the_review(quinn, served):
    before = ledger_head(served.records)
    answer = quinn.fill_in(LINES, **ticked(1, 2, decision="stands", reason=WHY))
    assert (answer.status_code, "one for each line" in text_of(answer)) == (422, True)
    half = quinn.fill_in(LINES, **ticked(1, 2, decision="stands", reason_1=WHY))
    assert (half.status_code, "reason_2" in text_of(half)) == (422, True)
    assert f'value="{WHY}"' in half.text
    assert half.text.count(" checked>") == 2
    assert ledger_head(served.records) == before
    quinn.fill_in(LINES, **ticked(1, 2, decision="stands", reason_1=WHY, reason_2="so is this"))
    told = told_after(quinn, quinn.fill_in(LINES, **ticked(3, decision="stands", reason="and this")))
    assert "no open line left: the review is done" in told
    assert "Closed" in told
    assert [line["disposition"] for line in shown(served)["items"]] == ["stands"] * 3
    assert numbers(quinn.get("/reviews")) == []
    assert numbers(quinn.get("/reviews?state=closed")) == ["1"]


def test_a_promised_reissue_is_open_until_a_revision_is_issued_after_the_curve_was_decided(quinn, served):
    served.enrol("Ed")
    issue_again(served, None, forms=("json",))
    quinn.fill_in(LINES, **ticked(2, 3, decision="measure again", reason="to be sure"))
    quinn.fill_in(LINES, **ticked(1, decision="reissue", reason="the client asks"))
    page = quinn.get(REVIEW)
    assert "J-1, once it is decided which curve holds" in text_of(page)
    assert 'href="/jobs/J-1/report/watched"' in page.text
    assert 'href="/jobs/J-1/report/issue"' in served.signed_in("Ed").get(REVIEW).text
    issue_again(served, "too early", forms=("json",))
    assert "reissue, open" in text_of(quinn.get(REVIEW))
    quinn.fill_in(CURVE, curve="as found", reason="it fell before the job")
    issue_again(served, "as it was found", forms=("json",))
    assert "reissued, revision 3" in text_of(quinn.get(REVIEW))
    assert "Reissue promised" not in text_of(quinn.get(REVIEW))


def test_which_curve_holds_is_qas_choice_with_its_reason_and_flows_follow(quinn, served):
    job = lambda: calib("reading", "list", "J-1", "--json", records=served.records).document["readings"]  # noqa: E731
    flow_before = next(each["flow"]["value"] for each in job() if each["reading"] == 1)
    as_found = shown(served)["items"][0]["after"]["value"]
    told = told_after(quinn, quinn.fill_in(CURVE, curve="as found", reason="it fell before the job, as the dent shows"))
    assert "as found: it fell before the job, as the dent shows" in told
    assert "not decided yet" not in told
    flow_now = next(each["flow"]["value"] for each in job() if each["reading"] == 1)
    assert flow_now == pytest.approx(as_found)
    assert flow_now != pytest.approx(flow_before, rel=0.01)
    (decided,) = shown(served)["decisions"]
    assert (decided["curve"], decided["by"]) == ("as found", "Quinn")


CURVES_REFUSED = (
    ({"curve": ""}, "one of as before, as found"),
    ({"reason": " "}, "why, in a few words"),
    ({"curve": "as found from"}, "the time from which on"),
    ({"curve": "as found from", "from_at": "yesterday"}, "expected"),
    ({"curve": "as found from", "from_at": "2020-01-01T00:00+00:00"}, "when VA-1 was last in order"),
    ({"from_at": "2026-03-01T00:00+00:00"}, "nothing but with the curve"),
)


def test_a_decision_that_cannot_be_is_told_and_nothing_is_written(quinn, served):
    before = ledger_head(served.records)
    for fields, told in CURVES_REFUSED:
        answer = quinn.fill_in(CURVE, **({"curve": "as found", "reason": "the dent"} | fields))
        assert (answer.status_code, told in text_of(answer), runs_nothing(answer)) == (422, True, True), fields
        assert "Which curve holds" in text_of(answer)
    assert ledger_head(served.records) == before


LINES_REFUSED = (
    ({"decision": "stands", "reason": WHY}, "at least one line that is ticked"),
    (ticked(9, decision="stands", reason=WHY), "a line of the review, 1 to 3"),
    (ticked(1, decision="", reason=WHY), "one of stands, reissue"),
    (ticked(1, decision="immaterial", reason=WHY), "immaterial is said of a report"),
    (ticked(1, decision="stands", reason=" "), "why, in a few words"),
    ({"line_": "yes", "line_x": "yes", "line_99999": "yes", "decision": "stands", "reason": WHY}, "at least one line"),
)


def test_a_disposition_that_cannot_be_is_told_and_nothing_is_written(quinn, served):
    before = ledger_head(served.records)
    for fields, told in LINES_REFUSED:
        answer = quinn.fill_in(LINES, **fields)
        assert (answer.status_code, told in text_of(answer), runs_nothing(answer)) == (422, True, True), fields
        assert "What rests on it" in text_of(answer)
    assert ledger_head(served.records) == before


def test_others_see_a_review_and_decide_nothing(served):
    before = ledger_head(served.records)
    for name in ("Tom", "Ed"):
        other = served.signed_in(name)
        page = other.get(REVIEW)
        assert (page.status_code, "<form" in page.text.partition("<main")[2].partition("</main>")[0]) == (200, False)
        assert "Decide which curve holds" not in page.text
        assert other.get(CURVE).status_code == 403
        assert other.fill_in(CURVE, curve="as found", reason="mine").status_code == 403
        assert other.fill_in(LINES, **ticked(1, decision="stands", reason="mine")).status_code == 403
    assert ledger_head(served.records) == before


def test_a_review_that_is_none_is_told(quinn):
    for number in ("2", "x", "99999999999", "0"):
        for answer in (
            quinn.get(f"/reviews/{number}"),
            quinn.get(f"/reviews/{number}/curve"),
            quinn.fill_in(f"/reviews/{number}/lines", **ticked(1, decision="stands", reason=WHY)),
        ):
            assert (answer.status_code, "no impact review" in text_of(answer)) == (404, True), number


def test_long_reviews_stand_in_portions_and_a_decision_comes_back_to_its_own(quinn, served, monkeypatch):
    monkeypatch.setattr(review, "MOST_LINES", 2)
    page = quinn.get(REVIEW)
    assert re.findall(r'name="line_(\d)"', page.text) == ["1", "2"]
    assert re.findall(r'href="(/reviews/1\?after=\d)"', page.text) == ["/reviews/1?after=0", "/reviews/1?after=2"]
    assert re.findall(r'name="line_(\d)"', quinn.get("/reviews/1?after=2").text) == ["3"]
    wrong = quinn.fill_in(f"{LINES}?after=2", **ticked(3, decision="stands", reason=" "))
    assert (wrong.status_code, re.findall(r'name="line_(\d)"', wrong.text)) == (422, ["3"])
    answer = quinn.fill_in(f"{LINES}?after=2", **ticked(3, decision="stands", reason=WHY))
    assert answer.headers["location"] == "/reviews/1?after=2"
    assert shown(served)["items"][2]["disposition"] == "stands"
    assert "There are no lines there." in text_of(quinn.get("/reviews/1?after=7"))


def test_what_waits_leads_to_the_review(quinn):
    home = quinn.get("/")
    assert 'href="/reviews">1 impact review is open</a>' in home.text
    for place in ("/", "/instruments/VA-1/history", "/jobs/J-1/report"):
        assert 'href="/reviews/1"' in quinn.get(place).text, place
    assert {'href="/reviews"', 'href="/intervals"'} <= set(re.findall(r'href="[^"]+"', quinn.get("/fleet").text))
    assert 'href="/instruments/VA-1/interval"' in quinn.get("/instruments/VA-1/history").text


def test_script_in_what_is_decided_is_text(quinn):
    quinn.fill_in(LINES, **ticked(1, decision="stands", reason=SCRIPT))
    quinn.fill_in(CURVE, curve="widened", reason=SCRIPT)
    for place in (REVIEW, CURVE, "/reviews?job=%3Cscript%3E&instrument=%22%3E%3Cscript%3E"):
        answer = quinn.get(place)
        assert (answer.status_code, runs_nothing(answer), SCRIPT in answer.text) == (200, True, False)
    assert text_of(quinn.get(REVIEW)).count("<script>") >= 2


@pytest.mark.parametrize(("width", "light"), DESKS)
def test_everybody_can_use_them(browser, served, width, light):
    served.enrol("Quinn")
    with serving(served.engine, served.credentials) as address, phone(browser, address, light, width) as page:
        looked_at(page, "/reviews", REVIEW, CURVE, name="Quinn")
