"""A report's first page answers by itself: expected counts are made by changing cells of a small job, and read from the page.

The small job has designs of 1000, 450 and 600 m3/h at S-1, S-2 and R-1, and of 40 L/s at E-1.
"""

import csv
import json
import re
from datetime import datetime

import pytest
from openpyxl import load_workbook
from PIL import Image
from pypdfium2 import PdfDocument
from pypdfium2.raw import FPDFText_GetFontWeight

from calib.faces.cautions import RULES_IN_BRIEF
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Mark, Strip, unmarked
from calib.faces.report.first_page import first_page
from calib.faces.report.verdict_section import counted_sentences, mains_told, verdict_sentence
from tests.command import calib
from tests.folders import changed, records_of, small_job
from tests.pictures import flow
from tests.read_back import Mail
from tests.report_forms import Page, report_of, table

FAIL, LEFT = "fail", "not measured"


def summary(**statements):
    counts = {name.replace("_", " "): count for name, count in statements.items()}
    return {"design_flows": sum(counts.values()), "statements": counts}


@pytest.mark.parametrize(
    ("counts", "sentence"),
    [
        ({}, "No outlet of this job has a design flow: nothing was judged."),
        ({"pass": 1}, "The design flow complies."),
        ({"pass": 21}, "All 21 design flows comply."),
        ({"fail": 1}, "Of 1 design flow 1 does not comply."),
        ({"pass": 18, "fail": 2, "not_measured": 1}, "Of 21 design flows 18 comply, 2 do not comply and 1 was not measured."),
        (
            {"pass": 1, "conditional_pass": 1, "conditional_fail": 2, "not_judged": 2},
            "Of 6 design flows 1 complies, 1 probably complies, 2 probably do not and 2 have no limits to be judged by.",
        ),
    ],
)  # fmt: skip
def test_the_verdict_is_a_sentence_whose_counts_add_up(counts, sentence):
    assert verdict_sentence(summary(**counts)) == sentence


def counts(**told):
    """A content whose summary counts these, and nothing else."""
    nothing = ("design_flows", "design_flows_of_ducts", "without_design", "ducts_without_design", "not_measured_without_design",
               "latest_readings", "superseded_readings", "repeats")  # fmt: skip
    measured_from = {"measured_from": "2026-03-05T11:20+01:00"}
    return {"summary": dict.fromkeys(nothing, 0) | measured_from | told, "refusals": [], "readings": []}


def refused_at(outlet, instead=None):
    return {"outlet": outlet, "counts_instead": instead}


READ_AGAIN = {"reading": 9, "instrument": "VA-2", "observed_at": "2026-03-05T11:20+01:00"}
COUNTED = [
    (counts(design_flows=4, latest_readings=4), []),
    (
        counts(design_flows=21, design_flows_of_ducts=2, without_design=1, ducts_without_design=1),
        ["The design flows are those of 19 outlets and 2 ducts.", "1 duct without a design was measured too."],
    ),
    (
        counts(design_flows=1, design_flows_of_ducts=1, without_design=3, ducts_without_design=1, not_measured_without_design=2),
        [
            "The design flow is that of 1 duct.",
            "2 outlets and 1 duct without a design were measured too.",
            "2 more without a design were not measured.",
        ],
    ),
    (
        counts(latest_readings=21, superseded_readings=8, repeats=1),
        ["Of 30 readings 21 count, 8 were superseded by a later one and 1 is a repeat."],
    ),
    (
        counts(latest_readings=1) | {"refusals": [refused_at("S-2", 9), refused_at("E-4")], "readings": [READ_AGAIN]},
        ["Of 3 readings 1 counts and 2 were refused (S-2: VA-2 at 2026-03-05 11:20 counts; E-4: not measured)."],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("content", "sentences"), COUNTED)
def test_what_counts_is_told_apart_from_ducts_from_what_has_no_design_and_from_what_was_superseded(content, sentences):
    assert list(counted_sentences(content)) == sentences


def test_ducts_and_what_has_no_design_are_counted_as_the_sheet_of_outlets_has_them(demo_folder):
    content = json.loads((demo_folder / "LM-27-r2.json").read_text())
    told = content["summary"]
    with (demo_folder / "demo-import" / "job" / "outlets.csv").open(newline="") as sheet:
        outlets = list(csv.DictReader(sheet))

    has_design = [each for each in outlets if each["design_flow"]]
    assert told["design_flows"] == len(has_design)
    assert told["design_flows_of_ducts"] == sum(each["place"] == "duct" for each in has_design)
    assert told["without_design"] == told["ducts_without_design"] == len(outlets) - len(has_design)
    assert told["latest_readings"] + told["superseded_readings"] + told["repeats"] == len(content["readings"])
    assert told["latest_readings"] == len(outlets) - len(content["not_measured"])


def test_page_one_says_how_many_decisions_are_to_be_expected_to_be_wrong(tmp_path):
    content, page = first_page_of(tmp_path, small_job())

    whole = content["risks"]["decisions"][-1]  # of one system that is the whole
    assert whole["judged"] == 4
    accepts = {"pass", "conditional pass"}
    of_designs = [each["design"] for each in content["readings"] if each["design"]]
    risks = [each["probability_of_conformity"] for each in of_designs]
    expected = sum(1 - p for p, each in zip(risks, of_designs, strict=True) if each["conformity"] in accepts)
    assert whole["expected_wrongly_accepted"] == pytest.approx(expected)
    said = page.text.partition("Measured flows")[0]
    among = f"among the {whole['accepted']} flows accepted"
    assert among in said
    assert f"{expected:.2f} {among}" in said or expected < 0.005


MAIN = {
    "kind": "main and its outlets",
    "system": "AHU-1",
    "service": "supply",
    "first": {"outlets": ["M1"], "flow": flow(903.0, 29.0)},
    "second": {"outlets": ["S1", "S2"], "flow": flow(871.0, 60.0)},
    "not_measured": [],
    "difference": flow(32.0, 66.0),
    "agrees": True,
    "wanted": None,
}


def test_mains_are_held_against_the_sum_of_their_outlets_on_page_one():
    apart = MAIN | {"agrees": False, "difference": flow(332.0, 66.0)}
    less = MAIN | {
        "kind": "by difference", "agrees": None, "not_measured": ["E4"], "difference": flow(40.0, 17.0),
    }  # fmt: skip
    branch = MAIN | {"kind": "branch and its outlet"}

    said = list(mains_told([MAIN, apart, less, branch]))

    assert [unmarked((each,)) for each in said] == [
        "M1 903 ± 29 L/s and its 2 outlets 871 ± 60 L/s agree",
        "M1 903 ± 29 L/s and its 2 outlets 871 ± 60 L/s do not agree: they differ by 332 ± 66 L/s",
        "M1 903 ± 29 L/s less the 2 outlets measured 871 ± 60 L/s leaves 40 ± 17 L/s for E4",
    ]
    assert [each.mark is Mark.STRONG for each in said] == [False, True, False]


def test_an_issue_with_gaps_says_what_is_missing_and_why_on_page_one(tmp_path):
    sheets = small_job()
    sheets["readings.csv"] = sheets["readings.csv"][:1] + sheets["readings.csv"][3:]
    records = records_of(tmp_path, sheets)
    words = ("--issue", "--with-gaps", "the hall was locked", "--format", "json,html,pdf", "--into", tmp_path / "out")
    assert calib("report", "J-1", *words, "--by", "E. Engineer", records=records).status == 0

    page = Page.of(next((tmp_path / "out").glob("*.html")).read_text())
    before = page.text.partition("Measured flows")[0]
    assert "Issued without S-2, R-1: the hall was locked." in before
    with PdfDocument(next((tmp_path / "out").glob("*.pdf"))) as document:
        assert "the hall was locked" in " ".join(document[0].get_textpage().get_text_range().split())


def first_page_of(tmp_path, sheets):
    written = report_of(records_of(tmp_path, sheets), tmp_path / "out", "json,html")
    return json.loads(written["json"]), Page.of(written["html"])


def written_by(tmp_path, records):
    assert calib("report", "J-1", "--format", "json,html,pdf", "--into", tmp_path / "out", records=records).status == 0
    return {each.suffix[1:]: each for each in (tmp_path / "out").iterdir()}


@pytest.fixture
def a_failing_job(tmp_path):
    """S-1 far below its design, S-2 not measured, R-1 with no design, E-1 read twice."""
    sheets = changed(("readings.csv", 2, "indication", "2.00"), ("readings.csv", 2, "observations", "2.00;2.00;2.00"),
                     ("readings.csv", 2, "remarks", "damper stuck"))  # fmt: skip
    del sheets["readings.csv"][1]
    sheets["outlets.csv"][2] |= {"design_flow": "", "flow_unit": "", "tolerance_percent": ""}
    sheets["readings.csv"].append(sheets["readings.csv"][-1] | {"observed_at": "2026-03-05T10:40+01:00"})
    return written_by(tmp_path, records_of(tmp_path, sheets))


def test_readings_and_designs_are_counted_so_that_they_add_up(a_failing_job):
    content = json.loads(a_failing_job["json"].read_text())
    told = content["summary"]

    assert told["design_flows"] == 3 == sum(told["statements"].values())
    assert told["statements"][FAIL] == told["statements"][LEFT] == 1
    assert (told["without_design"], told["superseded_readings"], told["repeats"]) == (1, 1, 0)
    latest = sum(each["latest"] for each in content["readings"])
    assert latest + told["superseded_readings"] + told["repeats"] == len(content["readings"])


def test_what_failed_and_what_was_not_measured_is_named_first_with_what_would_settle_it(a_failing_job):
    page = Page.of(a_failing_job["html"].read_text())
    (failed,) = [row for row in page.rows if row and row[0].startswith("S-1 (AH-1") and len(row) == 6]
    (missing,) = [row for row in page.rows if row and row[0].startswith("S-2 (AH-1") and len(row) == 6]

    # limits of the register: 1000 m3/h and 450 m3/h, each by 10 %
    assert failed[2] == "900 to 1100"
    assert "fail" in failed[3]
    assert failed[4] == "< 0.1 %"
    assert "set the damper and read it again" in failed[5]
    assert failed[5].endswith("remarked: damper stuck")
    assert missing == ["S-2 (AH-1, supply)", "", "405 to 495", "not measured", "", "measure it"]


def test_what_needs_attention_stands_under_its_name(a_failing_job):
    page = a_failing_job["html"].read_text()
    above = re.search(
        r"<p>((?:(?!</p>).)*)</p>\s*<table[^>]*><thead><tr>(?:(?!</tr>).)*What would settle it", page, re.DOTALL
    )

    assert re.sub("<[^>]+>", "", above[1]) == "What needs attention"


def test_flows_that_would_pass_lie_within_the_allowed_range_by_their_own_guard_band(a_failing_job):
    content = json.loads(a_failing_job["json"].read_text())
    (failed,) = [each for each in content["summary"]["attention"] if each["statement"] == FAIL]
    (flow,) = [each["flow"] for each in content["readings"] if each["reading"] == failed["reading"]]

    # guarded acceptance with w = U, and U in proportion to the flow: L/(1 - w/q), U/(1 + w/q)
    relative = flow["expanded_uncertainty"] / flow["value"]
    assert failed["passing_flows"]["from"] == pytest.approx(900 / (1 - relative))
    assert failed["passing_flows"]["to"] == pytest.approx(1100 / (1 + relative))


# ISO/IEC 17025, 7.8.2.1
ABOUT_THE_PAPER = "Results relate only to the items measured, as they were then. Not to be copied except in full"


def test_what_the_results_relate_to_and_that_the_paper_is_copied_whole_is_read_without_turning_it(
    a_failing_job, tmp_path
):
    with PdfDocument(a_failing_job["pdf"]) as document:
        pages = [" ".join(page.get_textpage().get_text_range().split()) for page in document]
    assert [ABOUT_THE_PAPER in page for page in pages] == [True, *([False] * (len(pages) - 1))]
    assert ABOUT_THE_PAPER in a_failing_job["html"].read_text().partition("<details")[0]

    for form in ("xlsx", "eml"):
        assert (
            calib(
                "report", "J-1", "--format", form, "--into", tmp_path / form, records=tmp_path / "records.sqlite"
            ).status
            == 0
        )
    sheet = load_workbook(tmp_path / "xlsx" / "J-1.xlsx").worksheets[0]
    assert any(ABOUT_THE_PAPER in str(cell) for row in sheet.iter_rows(values_only=True) for cell in row)
    mail = Mail.of((tmp_path / "eml" / "J-1.eml").read_bytes())
    assert ABOUT_THE_PAPER in " ".join(mail.plain.split())
    assert ABOUT_THE_PAPER in mail.html


def test_the_strongest_letters_of_a_statement_are_those_of_what_failed(a_failing_job):
    with PdfDocument(a_failing_job["pdf"]) as document:
        text = document[0].get_textpage()
        whole = text.get_text_range()
        begun = whole.index("What needs attention")
        failed, missing = (FPDFText_GetFontWeight(text, whole.index(word, begun)) for word in (FAIL, LEFT))

    assert failed >= 700 > missing


def test_times_are_told_to_the_minute_and_their_difference_from_utc_on_page_one_and_beside_the_readings(demo_folder):
    page = re.sub("<[^>]+>", "", (demo_folder / "LM-27-r2.html").read_text())

    assert page.count("+01:00") == 2
    assert not re.search(r"\d\d:\d\d:\d\d", page)


def test_the_first_page_of_the_pdf_has_the_verdict_the_failing_outlet_and_room_for_the_signature(a_failing_job):
    with PdfDocument(a_failing_job["pdf"]) as document:
        text = " ".join(document[0].get_textpage().get_text_range().split())

    about = ("Of 3 design flows", "What needs attention", "S-1", "S-2", "damper stuck", "AH-1")
    for said in (*about, "Certifying engineer", "T. One", "T. Two"):
        assert said in text


def test_all_flows_of_a_report_have_the_unit_in_which_most_were_typed_and_the_typed_one_stands_beside(tmp_path):
    content, page = first_page_of(tmp_path, small_job())

    assert {each["flow"]["unit"] for each in content["readings"]} == {"m3/h"}
    (of_valve,) = [each["design"] for each in content["readings"] if each["outlet"] == "E-1"]
    assert of_valve["value"] == pytest.approx(144)  # 40 L/s × 3.6
    assert of_valve["typed"] == {"value": "40", "unit": "L/s"}
    assert any("144 m3/h 40 L/s" in " ".join(cell.split()) for row in page.rows for cell in row)


def test_another_system_of_units_is_no_change(tmp_path):
    records = records_of(tmp_path, small_job())
    engineer = ("--by", "E. Engineer")
    assert (
        calib("report", "J-1", "--issue", "--format", "json", "--into", tmp_path, *engineer, records=records).status
        == 0
    )

    calib("report", "J-1", "--units", "ip", "--format", "json", "--into", tmp_path / "again", records=records)

    (draft,) = (tmp_path / "again").iterdir()
    assert json.loads(draft.read_text())["changes"] == []


def test_the_decision_rule_stands_in_one_plain_sentence(tmp_path):
    _, page = first_page_of(tmp_path, small_job())

    assert RULES_IN_BRIEF["guarded non-binary"] in page.text


def test_a_job_with_nothing_measured_has_a_first_page(tmp_path):
    sheets = small_job()
    del sheets["readings.csv"]

    content, page = first_page_of(tmp_path, sheets)

    assert content["summary"]["measured_by"] == []
    assert "Of 4 design flows 4 were not measured." in page.text


def test_a_job_with_nothing_measured_has_no_table_of_systems_and_one_unit(tmp_path):
    sheets = small_job()
    del sheets["readings.csv"]

    content, page = first_page_of(tmp_path, sheets)

    assert not any("[]" in cell for row in page.rows for cell in row)
    assert {total["design"]["unit"] for total in content["totals"] if total["design"]} <= {"m3/h"}


def test_the_verdict_stands_before_what_is_folded(tmp_path):
    written = report_of(records_of(tmp_path, small_job()), tmp_path / "out", "html")["html"]

    assert written.index('id="verdict"') < written.index("<details") < written.index('id="flows"')


def test_the_signature_stands_on_page_one_however_many_outlets_need_attention(tmp_path):
    sheets = small_job()
    valve, reading = sheets["outlets.csv"][-1], sheets["readings.csv"][-1]
    sheets["outlets.csv"] += [valve | {"outlet": f"E-{number}"} for number in range(2, 90)]
    sheets["readings.csv"] += [reading | {"outlet": f"E-{number}", "indication": "1.20"} for number in range(2, 90)]

    pdf = written_by(tmp_path, records_of(tmp_path, sheets))["pdf"]

    with PdfDocument(pdf) as document:
        first, second = (" ".join(document[page].get_textpage().get_text_range().split()) for page in (0, 1))
    assert "Certifying engineer" in first
    assert "E-40" in second


# --- the company -----------------------------------------------------------------------------------------------------------------

HOSTILE = "<script>alert(1)</script>#eval(1)$x$ =1+1"


@pytest.fixture
def of_a_company(tmp_path):
    mark = tmp_path / "mark.png"
    Image.new("RGB", (60, 30), "#336655").save(mark)
    records = records_of(tmp_path, small_job())
    said = ("--address", "3 Weir Road, Alder", "--contact", HOSTILE, "--mark", mark, "--by", "Q. Keeper")
    assert calib("company", "set", "Brook & Vane Ltd", *said, records=records).status == 0
    return written_by(tmp_path, records)


def test_the_company_stands_at_the_head_of_every_form(of_a_company):
    assert json.loads(of_a_company["json"].read_text())["company"]["name"] == "Brook & Vane Ltd"
    page = Page.of(of_a_company["html"].read_text())
    assert page.text.index("Brook & Vane Ltd") < page.text.index("Air flow report on job J-1")
    assert HOSTILE in page.text
    with PdfDocument(of_a_company["pdf"]) as document:
        text = document[0].get_textpage().get_text_range()
        assert "Brook & Vane Ltd" in text
        assert "3 Weir Road, Alder" in text


def test_the_mark_is_drawn_on_the_first_page(of_a_company):
    with PdfDocument(of_a_company["pdf"]) as document:
        drawn = document[0].render(scale=1).to_pil().convert("RGB")
    colours = {colour for _, colour in drawn.getcolors(1 << 20)}

    assert (0x33, 0x66, 0x55) in colours
    assert of_a_company["html"].read_text().count('class="mark" alt="" src="data:image/png;base64,') == 1


# --- the workbook ----------------------------------------------------------------------------------------------------------------


def test_the_first_sheet_of_the_workbook_says_what_the_first_page_does(tmp_path):
    records = records_of(tmp_path, small_job())
    assert calib("report", "J-1", "--format", "xlsx", "--into", tmp_path / "out", records=records).status == 0

    sheet = load_workbook(tmp_path / "out" / "J-1.xlsx").worksheets[0]
    cells = [str(cell) for row in sheet.iter_rows(values_only=True) for cell in row if cell is not None]
    assert "Verdict" in cells
    assert any(cell.startswith("Of 4 design flows ") or cell == "All 4 design flows comply." for cell in cells)
    assert RULES_IN_BRIEF["guarded non-binary"] in cells


# --- each outlet that probably complies, and what speaks against it --------------------------------------------------------------


def test_a_nearly_failed_outlet_has_its_flow_its_range_and_what_would_settle_it(demo_folder):
    """By the fields of the JSON: flow ± U, allowed range, and the flows that would pass with this U or the observations."""
    content = json.loads((demo_folder / "LM-27-r2.json").read_text())
    words = Page.of((demo_folder / "LM-27-r2.html").read_text()).text.replace(" :", ":")  # behind a link
    readings = {each["reading"]: each for each in content["readings"]}
    doubtful = [each for each in content["summary"]["attention"] if each["statement"] == "conditional pass"]
    assert len(doubtful) == 5
    for each in doubtful:
        stated = readings[each["reading"]]["flow"]["statement"].partition(")")[0].lstrip("(")
        low, high = (f"{each['design'][end]:.4g}" for end in ("lower_limit", "upper_limit"))
        assert f"{each['outlet']}: {stated} ({low} to {high}, " in words  # names may be numbers
        if each["observations_to_settle"] is None:
            ends = (f"{each['passing_flows'][end]:.4g}" for end in ("from", "to"))
            assert f"clearly {' to '.join(ends)}" in words


def test_the_first_sheet_counts_statements_in_the_order_of_the_bar(demo_folder):
    rows = load_workbook(demo_folder / "LM-27-r2.xlsx").worksheets[0].iter_rows(values_only=True)
    counted = [row[0] for row in rows if isinstance(row[1], int | float)]
    assert counted[:5] == ["pass", "conditional pass", "conditional fail", "fail", "not measured"]


def test_who_signed_is_said_by_the_signature_alone_so_that_page_one_of_a_signed_report_is_no_longer(demo_folder):
    content = json.loads((demo_folder / "LM-27-r2.json").read_text())
    signature = {
        "by": "R. Sorrel",
        "issuer": "A CA",
        "level": "PAdES B-B",
        "at": "2026-10-15T09:00:00+01:00",
        "sha256": "ab" * 32,
    }
    facts = [
        block.facts
        for each in (content, content | {"signature": signature})
        for block in first_page(each, Anchors())
        if isinstance(block, Strip)
    ]
    assert facts[0] == facts[1]
    assert len(facts[0]) <= 8  # two rows on paper


def test_an_outlet_that_was_not_measured_has_what_the_refused_meter_indicated_and_the_remark(demo_folder):
    """As typed in the demo's sheets: 2.36, 2.41 and 2.37 m/s with VA-13."""
    words = Page.of((demo_folder / "LM-27-r2.html").read_text()).text
    assert words.count("VA-13 indicated 2.36, 2.41, 2.37 m/s; remarked: taken with the meter from van 3") == 2
    text = PdfDocument(demo_folder / "LM-27-r2.pdf")[0].get_textpage().get_text_range()
    assert "taken with the meter from van 3" in " ".join(text.split())


def test_a_repeat_that_does_not_agree_is_said_at_its_outlet(tmp_path):
    """S-1 read again at 4.6 m/s, 7 % above its 4.30 m/s: the same vane and method, so that the two differ by more than U(d)."""
    sheets = small_job()
    first = next(row for row in sheets["readings.csv"] if row["outlet"] == "S-1")
    again = {
        "observed_at": "2026-03-05T16:10+01:00",
        "indication": "",
        "observations": "4.60;4.61;4.60",
        "stage": "repeat",
    }
    sheets["readings.csv"] = [row | {"stage": ""} for row in sheets["readings.csv"]] + [first | again]
    content, page = first_page_of(tmp_path, sheets)
    (check,) = [each for each in content["cross_checks"] if each["kind"] == "repeated reading"]
    assert abs(check["normalised_error"]) > 1
    assert "a repeat: " in page.text
    assert "does not agree" in page.text


def test_a_system_whose_total_fails_is_named_by_the_verdict_and_needs_attention(tmp_path):
    """AH-1's supply against 4200 m3/h, where its outlets give some 1350."""
    sheets = small_job()
    sheets["systems.csv"] = [
        {"job": "J-1", "system": "AH-1", "service": "supply", "design_flow": "4200", "flow_unit": "m3/h", "tolerance_percent": "10"}
    ]  # fmt: skip
    _, page = first_page_of(tmp_path, sheets)
    assert "AH-1, supply: the total does not comply with its design." in page.text
    assert "3780 to 4620" in page.text


def test_the_first_sheet_has_a_date_and_its_counts_and_flows_as_numbers(a_failing_job, tmp_path):
    content = json.loads(a_failing_job["json"].read_text())
    assert (
        calib(
            "report", "J-1", "--format", "xlsx", "--into", tmp_path / "book", records=tmp_path / "records.sqlite"
        ).status
        == 0
    )
    rows = list(load_workbook(tmp_path / "book" / "J-1.xlsx").worksheets[0].iter_rows(values_only=True))

    (written,) = [row for row in rows if str(row[0]).startswith("Written (UTC")]
    assert isinstance(written[1], datetime)
    assert [row for row in rows if "What needs attention" in row] == [("What needs attention", *[None] * 8)]
    assert {row[0]: row[1] for row in rows if row[0] in (FAIL, LEFT)} == {FAIL: 1, LEFT: 1}
    (failed,) = [row for row in rows if row[0] == "S-1"]
    (flow,) = [each["flow"] for each in content["readings"] if each["outlet"] == "S-1"]
    assert failed[1:7] == (flow["value"], flow["expanded_uncertainty"], "m³/h", 900, 1100, FAIL)
    (total,) = [each for each in content["summary"]["systems"] if each["service"] == "supply" and each["flow"]]
    (supply,) = [row for row in rows if row[:2] == (total["system"], "supply")]
    assert supply[2:5] == (total["flow"]["value"], total["flow"]["expanded_uncertainty"], "m³/h")


def test_units_are_typeset_in_the_workbook_and_in_the_sentences_of_the_csv(tmp_path):
    written = tmp_path / "out"
    assert (
        calib(
            "report", "J-1", "--format", "xlsx,csv", "--into", written, records=records_of(tmp_path, small_job())
        ).status
        == 0
    )

    cells = [
        str(cell)
        for sheet in load_workbook(written / "J-1.xlsx")
        for row in sheet.iter_rows(values_only=True)
        for cell in row
    ]
    assert [cell for cell in cells if re.search(r"m3|ft2|degC|_eff|_[en12]\b", cell)] == []
    flows = [row for row in table((written / "J-1.csv").read_text()) if row["statement"]]
    assert {row["flow_unit"] for row in flows} == {"m3/h"}
    assert [row["statement"] for row in flows if " m³/h, k = " not in row["statement"]] == []
