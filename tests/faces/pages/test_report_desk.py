"""The report of a job on the engineer's desk: what the draft says, what would bring U down, what is missing."""

import json
import re

import pytest

from calib.faces.pages import report_desk
from tests.accessible import violations_on
from tests.command import calib
from tests.faces.pages.test_home import add_job
from tests.faces.pages.test_on_the_phone import HOSTILE
from tests.faces.pages.test_security import as_read, runs_nothing, text_of
from tests.pages_browser import phone, scrolls_sideways, serving, sign_in

DESKS = ((768, "light"), (1280, "dark"))  # CSS pixels


def budget_said(served, reading, *more):
    return json.loads(calib("budget", str(reading), *more, "--json", records=served.records).out)


def test_the_reports_page_leads_to_the_report_of_each_job(ed, served):
    assert 'href="/jobs/J-1/report"' in ed.get("/reports").text
    assert 'href="/reports"' in ed.get("/").text
    assert served.signed_in("Tom").get("/reports").status_code == 403


def test_reports_are_filtered_and_sorted_and_their_address_keeps_it(ed, served):
    served.enrol("Quinn")
    add_job(served, "A-9")

    def listed(asked):
        return re.findall(r'href="/jobs/([^/"]+)/report"', ed.get(f"/reports?{asked}").text)

    assert (listed("sort=job"), listed("sort=read"), listed("sort=revision")) == (
        ["A-9", "J-1"],
        ["J-1", "A-9"],
        ["A-9", "J-1"],
    )
    assert (listed("text=a-"), listed("text=nowhere")) == (["A-9"], [])
    page = ed.get("/reports?text=a-&sort=read").text
    assert 'name="text" value="a-"' in page
    assert '<th scope="col" aria-sort="descending"><a href="/reports?text=a-&amp;sort=read">Last read on</a>' in page
    assert "No job fits." in ed.get("/reports?text=nowhere").text
    unknown = ed.get("/reports?text=a-&sort=colour")
    assert (unknown.status_code, re.findall(r'href="/jobs/([^/"]+)/report"', unknown.text)) == (422, ["A-9"])
    assert "one of job, read, revision" in text_of(unknown)


def test_the_verdict_comes_first_and_it_is_said_to_be_a_draft(ed):
    told = text_of(ed.get("/jobs/J-1/report"))
    assert told.index("Verdict") < told.index("What would bring U down") < told.index("Every outlet is measured")
    assert "was not issued" in told


def test_every_flow_stands_there_as_the_report_states_it(ed, served, tmp_path):
    told = text_of(ed.get("/jobs/J-1/report"))
    assert calib("report", "J-1", "--format", "json", "--into", tmp_path, records=served.records).status == 0
    readings = json.loads((tmp_path / "J-1.json").read_text())["readings"]
    assert [each["flow"]["statement"] in told for each in readings if each["latest"]] == [
        True
    ] * 4  # S-1, S-2, R-1, E-1


def test_what_would_bring_u_down_is_what_budget_says_of_the_reading(ed, served):
    page = ed.get("/jobs/J-1/report")
    links = re.findall(r'href="/jobs/J-1/report/readings/(\d+)"', page.text)
    assert len(links) == 4
    for number in links:
        said = budget_said(served, number)
        in_cubic_metres_per_hour = {"m3/h": 1.0, "L/s": 3.6}[said["flow"]["unit"]]
        row = re.search(rf'readings/{number}">.*?</tr>', page.text, re.DOTALL)[0]
        halved = said["levers"][0]["expanded_uncertainty_if_halved"] * in_cubic_metres_per_hour
        assert said["levers"][0]["name"] in row
        assert float(re.findall(r">([\d.]+) m3/h</td>", row)[-2]) == pytest.approx(halved, rel=0.05)  # two digits


def test_flows_that_are_folded_stand_in_a_region_of_a_name_of_its_own(ed, monkeypatch):
    monkeypatch.setattr(report_desk, "LEVERS_OPEN", 1)
    page = ed.get("/jobs/J-1/report").text
    regions = re.findall(r'role="region" aria-label="([^"]+)"', page)
    assert "<summary>3 more</summary>" in page
    assert sorted(set(regions)) == sorted(regions)


def test_the_least_sure_flow_stands_first(ed):
    shares = re.findall(r'class="n">([\d.]+) %</td><td>', ed.get("/jobs/J-1/report").text)
    assert len(shares) > 1
    assert [float(each) for each in shares] == sorted(map(float, shares), reverse=True)


def test_a_budget_has_every_line_of_the_command_and_says_how_many_observations_bring_a_wanted_u(ed, served):
    said = budget_said(served, 1, "--wanted", "9 %")
    told = text_of(ed.get("/jobs/J-1/report/readings/1?wanted=9 %"))
    assert as_read(said["flow"]["statement"]) in told
    for line in said["contributions"]:
        assert line["name"] in told
    assert f"{said['observations_needed']} observations would bring it" in told or "no number of observations" in told


def test_the_matrix_of_correlations_is_that_of_the_command_and_of_one_system_where_it_is_named(ed, served):
    said = calib("correlations", "J-1", "--json", records=served.records).document
    page = ed.get("/jobs/J-1/report/correlations?system=AH-1")
    for each in said["readings"]:
        assert f'href="/jobs/J-1/report/readings/{each["reading"]}/correlations">{each["outlet"]}</a>' in page.text
    assert f"{said['r_high'][0][1]:.2f}" in text_of(page)
    wrong = ed.get("/jobs/J-1/report/correlations", params={"system": HOSTILE})
    assert (wrong.status_code, "expected one of AH-1" in text_of(wrong), runs_nothing(wrong)) == (422, True, True)


@pytest.mark.parametrize("wanted", ["much", "-5 %", HOSTILE])
def test_a_wanted_u_that_is_none_is_told_beside_its_field(ed, wanted):
    page = ed.get("/jobs/J-1/report/readings/1", params={"wanted": wanted})
    assert "like '30 m3/h'" in text_of(page)
    assert runs_nothing(page)


@pytest.mark.parametrize(
    "address", ["/jobs/none/report", "/jobs/J-1/report/readings/999", "/jobs/J-1/report/readings/x"]
)
def test_what_is_not_there_is_told(ed, address):
    page = ed.get(address)
    assert page.status_code == 404
    assert runs_nothing(page)


def test_nothing_of_it_runs_and_its_links_lead_somewhere(ed):
    page = ed.get("/jobs/J-1/report")
    assert runs_nothing(page)
    assert "style=" not in page.text
    places = set(re.findall(r'id="([^"]+)"', page.text))
    assert set(re.findall(r'href="#([^"]+)"', page.text)) <= places


def test_whoever_is_not_signed_in_signs_in_first(served):
    assert served.visitor().get("/jobs/J-1/report").headers["location"].startswith("/sign-in?to=")


def test_everybody_can_use_the_desk(browser, served, width, light):
    served.enrol("Ed")
    with serving(served.engine, served.credentials) as address, phone(browser, address, light, width) as page:
        looked_at(
            page,
            "/reports",
            "/jobs/J-1/report",
            "/jobs/J-1/report/readings/1",
            "/jobs/J-1/report/readings/1/correlations",
            "/jobs/J-1/report/correlations",
        )


def looked_at(page, *addresses, name="Ed"):
    """Somebody signs in and looks at pages, one after the other."""
    sign_in(page, name, addresses[0])
    for each in addresses:
        page.goto(each)
        shuts_nobody_out(page, each)


def shuts_nobody_out(page, place=None):
    """The page that is open is as wide as its window, everybody can use it, and its console says nothing."""
    page.wait_for_load_state()
    assert not scrolls_sideways(page), place
    assert violations_on(page) == [], place
    assert page.said == [], place


def test_how_far_flows_go_together_is_told_from_the_budget_with_what_both_share(ed):
    """S-1 and S-2 were read with one meter by one method."""
    (link,) = re.findall(r'href="([^"]+/correlations)"', ed.get("/jobs/J-1/report/readings/1").text)
    page = ed.get(link)
    rows = dict(re.findall(r'<th scope="row"><a [^>]+>([^<]+)</a></th>(.*?)</tr>', page.text, re.DOTALL))
    assert "S-1" not in rows
    assert "method" in rows["S-2"]
    assert "stability" in rows["S-2"]
    low, high = re.search(r"<td>(−?[01]\.\d\d) to ([01]\.\d\d)</td>", rows["S-2"]).groups()
    assert float(low.replace("−", "-")) < float(high) <= 1
    assert "a sum takes the upper one" in text_of(page)
    assert ed.get("/jobs/J-1/report/readings/999/correlations").status_code == 404
