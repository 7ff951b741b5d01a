"""A job's report: JSON, CSV and page say the same, the page stands by itself, and typed text stays text.

Sources: the contract of `calib report --format json`, kept below as SHAPE; JCGM 100:2008, 5.1.2 and 6.2;
common practice, no source, for hostile text (spreadsheets run cells that begin with = + - @).
"""

import json
import math
import re
import sqlite3
from contextlib import closing

import pytest

from calib.faces.cautions import CAUTIONS
from calib.faces.demo import run_demo
from calib.faces.report.file_names import file_stem
from calib.faces.written import design_text
from calib.records import database, ledger
from tests.command import calib
from tests.folders import changed, imported, only, records_of, small_job, write
from tests.read_back import Workbook, as_shown
from tests.report_forms import (
    CSV_RECORDS,
    MAYBE_NUMBER,
    NUMBER,
    Maybe,
    Page,
    amended_cells,
    amended_cells_of,
    csv_misfits,
    misfits,
    outside,
    report_of,
    run_by_a_spreadsheet,
    table,
)

FLOW = {
    "value": NUMBER, "unit": str, "standard_uncertainty": NUMBER, "expanded_uncertainty": NUMBER, "coverage_factor": NUMBER,
    "coverage_probability": NUMBER, "effective_degrees_of_freedom": MAYBE_NUMBER, "statement": str,
}  # fmt: skip
CONTRIBUTION = {
    "name": str, "evaluation": str, "standard_uncertainty": NUMBER, "degrees_of_freedom": MAYBE_NUMBER, "variance_percent": NUMBER,
    "shared_with": str,
}  # fmt: skip
DESIGN = {
    "value": NUMBER, "unit": str, "tolerance_percent": NUMBER, "percent_of_design": NUMBER, "conformity": str,
    "probability_of_conformity": NUMBER,
}  # fmt: skip
READING = {
    "outlet": str, "system": str, "service": str, "instrument": str, "certificate": str, "observed_at": str,
    "velocity": Maybe({"value": NUMBER, "unit": str, "standard_uncertainty": NUMBER}), "flow": FLOW,
    "contributions": [CONTRIBUTION], "design": Maybe(DESIGN),
}  # fmt: skip
ALWAYS = {
    "repeatability", "resolution", "calibration scatter", "reference standard", "stability", "dimension", "outlet factor", "method",
}  # fmt: skip
# Every key that the contract names, with the type of what it holds; a report may hold more. A hood indicates the flow and no
# velocity; an outlet may have no design; a total of which nothing was measured has no flow.
SHAPE = {
    "job": str,
    "issued": str,
    "decision_rule": str,
    "ledger_digest": str,
    "readings": [READING],
    "totals": [{"system": str, "service": str, "flow": Maybe(FLOW)}],
    "refusals": [{"outlet": str, "instrument": str, "observed_at": str, "reasons": [str]}],
    "instruments": [{"tag": str, "certificate": str, "due_on": str}],
}
NAMES = ALWAYS | {"density", "probe", "back pressure"}  # the last three where they contribute


@pytest.fixture(scope="module")
def demo(demo_folder):
    """The demo's report in each form."""
    texts = {form: (demo_folder / f"LM-27-r2.{form}").read_text(encoding="utf-8") for form in ("json", "csv", "html")}
    return texts | {"content": json.loads(texts["json"]), "page": Page.of(texts["html"])}


# --- JSON ------------------------------------------------------------------------------------------------------------------------


def test_the_demo_s_report_has_every_key_of_the_contract(demo):
    assert list(misfits(demo["content"], SHAPE)) == []


@pytest.mark.parametrize(
    "broken",
    [
        {"job": 1},
        {"job": True},
        {"readings": [{"flow": {"value": "12"}}]},
        {"readings": [{"velocity": {}}]},
        {"totals": [{"system": None}]},
        {"totals": [{"flow": 12.0}]},
        {},
    ],
)
def test_a_misfit_would_be_seen(broken):
    assert list(misfits(broken, SHAPE))


def test_the_demo_has_what_a_demo_needs(demo):
    """Common practice, no source: enough to show what a report can say."""
    content = demo["content"]
    assert len(content["readings"]) >= 16
    assert len({one["system"] for one in content["readings"]}) == 3
    assert len(content["refusals"]) == 1
    assert any(one["service"] == "net" for one in content["totals"])


def test_contributions_have_the_names_of_the_contract(demo):
    for reading in demo["content"]["readings"]:
        names = [one["name"] for one in reading["contributions"]]
        assert len(names) == len(set(names))
        assert set(names) >= ALWAYS
        assert set(names) <= NAMES
        assert {one["evaluation"] for one in reading["contributions"]} <= {"A", "B"}


def test_shares_of_the_variance_add_to_100(demo):
    for reading in demo["content"]["readings"]:
        assert math.fsum(one["variance_percent"] for one in reading["contributions"]) == pytest.approx(100, rel=1e-12)


def test_contributions_add_in_squares_to_the_combined_uncertainty(demo):
    """GUM 5.1.2, equation 10."""
    for reading in demo["content"]["readings"]:
        combined = math.hypot(*(one["standard_uncertainty"] for one in reading["contributions"]))
        assert reading["flow"]["standard_uncertainty"] == pytest.approx(combined, rel=1e-12)
        for one in reading["contributions"]:
            share = 100 * (one["standard_uncertainty"] / combined) ** 2
            assert one["variance_percent"] == pytest.approx(share, rel=1e-9, abs=1e-12)


def test_expanded_uncertainty_is_k_times_u(demo):
    """GUM 6.2.1, equation 18."""
    for one in [*demo["content"]["readings"], *demo["content"]["totals"]]:
        flow = one["flow"]
        assert flow["expanded_uncertainty"] == pytest.approx(
            flow["coverage_factor"] * flow["standard_uncertainty"], rel=1e-12
        )
        assert flow["coverage_probability"] == 0.9545
        assert flow["coverage_factor"] >= 2 * (1 - 1e-12)


STATEMENT = re.compile(r"\((-?[\d.]+) ± ([\d.]+)\) (\S+), k = (\d\.\d\d)")


def decimals(text):
    return len(text.partition(".")[2])


def test_a_statement_rounds_to_the_place_of_two_digits_of_u(demo):
    """GUM 7.2.6: both to one place; half a unit of it is the most that either may be off, a whole one for U rounded up."""
    for one in [*demo["content"]["readings"], *demo["content"]["totals"]]:
        flow = one["flow"]
        value, expanded, unit, k = STATEMENT.fullmatch(flow["statement"]).groups()
        place = 10.0 ** -decimals(expanded) if "." in expanded else 10.0 ** (len(expanded) - 2)
        assert decimals(value) == decimals(expanded)
        assert abs(float(value) - flow["value"]) <= 0.5000001 * place
        assert abs(float(expanded) - flow["expanded_uncertainty"]) <= place
        assert 10 <= float(expanded) / place < 100
        assert (unit, float(k)) == (flow["unit"], pytest.approx(flow["coverage_factor"], abs=0.0051))


def test_a_flow_s_percent_of_design_is_its_share(demo):
    judged = [one for one in demo["content"]["readings"] if one["design"]]
    assert len(judged) >= 16
    for one in judged:
        flow, design = one["flow"], one["design"]
        assert design["unit"] == flow["unit"]
        assert design["percent_of_design"] == pytest.approx(100 * flow["value"] / design["value"], rel=1e-12)
        assert 0 <= design["probability_of_conformity"] <= 1


LITRES_A_SECOND = {"L/s": 1.0, "m3/h": 1 / 3.6, "cfm": 0.3048**3 / 60 * 1000}
SIGN = {"supply": 1, "return": -1, "exhaust": -1}


def litres_a_second(flow):
    return flow["value"] * LITRES_A_SECOND[flow["unit"]]


def is_the_sum(total, own):
    """Whether a total is the sum of readings, in their unit, or in L/s where they have several."""
    units = {one["flow"]["unit"] for one in own}
    net = sum(SIGN[one["service"]] * litres_a_second(one["flow"]) for one in own)
    expected = net if total["service"] == "net" else abs(net)
    in_unit = total["flow"]["unit"] == (units.pop() if len(units) == 1 else "L/s")
    return in_unit and litres_a_second(total["flow"]) == pytest.approx(expected, rel=1e-9)


def belongs(reading, total):
    """Whether a total of a system, or of the job, takes a reading."""
    return (
        reading["in_totals"]
        and total["system"] in (reading["system"], "")
        and total["service"] in (reading["service"], "net")
    )


@pytest.mark.parametrize(("part", "count"), [("totals", 6), ("job_totals", 3)])
def test_a_total_is_the_sum_of_the_readings_that_count(demo, part, count):
    content = demo["content"]
    assert len(content[part]) >= count
    assert any(not one["in_totals"] for one in content["readings"])
    for total in content[part]:
        own = [one for one in content["readings"] if belongs(one, total)]
        assert len(own) == total["outlets_measured"]
        assert is_the_sum(total, own)


def test_a_room_s_net_flow_is_the_sum_of_its_readings(demo):
    content = demo["content"]
    assert len(content["rooms"]) >= 2
    for room in content["rooms"]:
        own = [one for one in content["readings"] if one["room"] == room["room"] and one["in_totals"]]
        assert is_the_sum(room, own)


def test_the_digest_is_that_of_the_records(demo, demo_folder):
    """What was the ledger's head when the report was issued: the issue itself is the next entry."""
    digest = demo["content"]["ledger_digest"]
    asked = "SELECT previous FROM ledger WHERE record_table = 'issued_report' ORDER BY sequence DESC LIMIT 1"
    with closing(sqlite3.connect(demo_folder / "demo.sqlite")) as connection:
        assert connection.execute(asked).fetchone() == (digest,)
    assert calib("verify", "--digest", digest, records=demo_folder / "demo.sqlite").status == 0


def test_json_is_read_by_any_reader(demo):
    def refused(constant):
        raise AssertionError(constant)

    assert json.loads(demo["json"], parse_constant=refused)["job"] == "LM-27"
    assert "\\u" not in demo["json"]


# --- CSV -------------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("record", CSV_RECORDS)
def test_csv_and_json_agree_to_the_last_digit(demo, record):
    assert demo["content"][CSV_RECORDS[record][0]]
    assert list(csv_misfits(demo["csv"], demo["content"], record)) == []


def test_csv_has_a_row_of_each_cell_that_was_amended(demo):
    rows = amended_cells(demo["csv"])
    assert rows == amended_cells_of(demo["content"])
    assert len(rows) > 1


def test_csv_has_a_row_of_each_factor_found_on_site_and_of_each_of_its_pairs(demo):
    rows = table(demo["csv"])
    (factor,) = demo["content"]["found_factors"]
    (row,) = [row for row in rows if row["record"] == "found factor"]
    u = factor["same_calibration"]["standard_uncertainty"]
    assert (float(row["factor_value"]), float(row["factor_standard_uncertainty"])) == (factor["value"], u)
    assert row["reasons"] == " | ".join([factor["reason"], *factor["cautions"]])
    pairs = [(row["pair"], float(row["factor_value"])) for row in rows if row["record"] == "factor pair"]
    assert pairs == [(f"{pair['traverse']}:{pair['face']}", pair["value"]) for pair in factor["pairs"]]


def test_csv_holds_nothing_but_these_records(demo):
    records = [row["record"] for row in table(demo["csv"])]
    assert list(dict.fromkeys(records)) == [
        "report", "reading", "total", "job total", "room", "refusal", "not measured", "amendment", "change", "instrument",
        "reference standard", "found factor", "factor pair", "cross-check", "joint probability",
    ]  # fmt: skip


def test_every_column_of_the_csv_is_of_use(demo):
    rows = table(demo["csv"])
    # The demo states no density: tests/faces/parts/test_state_of_flows.py does. No interval of it lies beside its value, no
    # outlet was read again, none of its methods has two figures, and no source is declared: tests/procedures/measure has such jobs.
    flow_at = "flow_at_design_density"
    densities = ["flow_density_kg_per_m3", "design_density_kg_per_m3", flow_at, f"{flow_at}_expanded_uncertainty"]
    drift = ["drift_percent", "standard_uncertainty_percent", "carried_percent"]
    figures = [f"method_{part}_{of}" for part in ("common", "own") for of in ("percent", "degrees_of_freedom")]
    without = [*densities, *drift, "interval_low", "interval_high", "source_document", *figures]
    assert [name for name in rows[0] if not any(row[name] for row in rows)] == without


def test_csv_gives_the_reasons_of_a_refusal(demo):
    (row,) = [row for row in table(demo["csv"]) if row["record"] == "refusal"]
    assert row["reasons"] == " | ".join(demo["content"]["refusals"][0]["reasons"])
    assert row["flow"] == ""


def test_csv_gives_what_a_refused_reading_indicated_and_its_remark(demo):
    """As typed in the sheet of the demo's readings."""
    (row,) = [row for row in table(demo["csv"]) if row["record"] == "refusal"]
    assert (row["indications"], row["indication_unit"]) == ("2.36;2.41;2.37", "m/s")
    assert (row["operator"], row["remarks"]) == ("S. Quill", "taken with the meter from van 3")


# --- the page --------------------------------------------------------------------------------------------------------------------


def test_the_page_stands_by_itself(demo):
    assert outside(demo["page"]) == []
    assert re.findall(r"@import|url\((?!#)", demo["html"]) == []


def test_the_page_is_made_for_a_phone_and_for_paper(demo):
    assert ("meta", "name", "viewport") in demo["page"].attributes
    assert "@page" in demo["html"]
    assert "@media print" in demo["html"]
    assert ("html", "lang", "en") in demo["page"].attributes
    assert ("meta", "charset", "utf-8") in demo["page"].attributes


def test_every_reading_stands_on_the_page_with_u_and_k(demo):
    rows = [row for row in demo["page"].rows if len(row) in (9, 10)]  # those of the tables of flows
    for one in demo["content"]["readings"]:
        stated, unit, k = re.fullmatch(r"\((.*)\) (\S+), k = (.*)", one["flow"]["statement"]).groups()
        named = 0 if one["latest"] else 1  # behind its number
        mine = [row for row in rows if row[named].startswith(one["outlet"]) and f"{stated} {unit}" in row]
        assert len(mine) >= 1
        assert all(k in row and one["service"] in row for row in mine)


@pytest.mark.parametrize("part", ["totals", "job_totals", "rooms"])
def test_every_total_stands_on_the_page(demo, part):
    for one in demo["content"][part]:
        stated, unit, _ = re.fullmatch(r"\((.*)\) (\S+), k = (.*)", one["flow"]["statement"]).groups()
        assert any(f"{stated.replace('-', '−')} {unit}" in row for row in demo["page"].rows)


def test_the_first_page_counts_the_decisions_that_the_table_of_risks_counts(demo):
    """The latest reading of each outlet and duct that has a tolerance: 20 in the demo, of which 18 are accepted."""
    assert (
        "Of 21 design flows 13 comply, 5 probably comply, 1 probably does not, 1 does not comply and 1 was not measured."
    ) in demo["page"].text
    assert ["Whole job", "20", "18"] in [row[:3] for row in demo["page"].rows]


def test_the_largest_contribution_of_each_budget_is_in_strong_letters(demo):
    rows = re.findall(r'<tr id="budget-[^"]*">.*?</tr>', demo["html"])
    (names,) = [row[1:-2] for row in demo["page"].rows if row[:2] == ["Outlet", "Repeatability"]]
    for row, one in zip(rows, demo["content"]["readings"], strict=True):
        cells = re.findall(r"<td[^>]*>(.*?)</td>", row)[:-2]
        strong = {name.lower() for name, cell in zip(names, cells, strict=True) if "<strong>" in cell}
        largest = max(each["standard_uncertainty"] for each in one["contributions"])
        assert strong == {each["name"] for each in one["contributions"] if each["standard_uncertainty"] == largest}


def test_limits_name_no_part_that_is_nothing(demo):
    text = demo["page"].text
    assert "Limits of change since the calibration are the maximum permissible error where nothing else is said" in text
    assert "limits of change ± 0.05 kPa. " in text
    assert "limits of change ± (0.5 % of the indication + 0.1 Pa). " in text
    assert "limits of change ± 0.5 % of the indication. " in text


@pytest.mark.parametrize(
    ("flow", "written"),
    [
        (38.5, "38.5"),
        (550.86, "550.9"),
        (9999.4, "9999"),
        (9999.6, "10000"),
        (14500.0, "14500"),
        (-123456.7, "-123457"),
    ],
)
def test_a_design_is_written_with_four_digits_and_never_with_an_exponent(flow, written):
    assert design_text(flow) == written


def test_a_large_design_is_written_out_in_page_picture_and_workbook(tmp_path):
    records = records_of(tmp_path, changed(("outlets.csv", 2, "design_flow", "14500")))
    assert calib("report", "J-1", "--format", "html,xlsx", "--into", tmp_path, records=records).status == 0
    page = (tmp_path / "J-1.html").read_text(encoding="utf-8")
    assert any("14500 m3/h" in row for row in Page.of(page).rows)
    assert "e+04" not in page
    book = Workbook.of((tmp_path / "J-1.xlsx").read_bytes())
    rows = zip(book.sheets["Flows"], book.formats["Flows"], strict=True)
    assert "14500" in [as_shown(row["Design"], form["Design"]) for row, form in rows]


def test_refused_readings_stand_on_the_page_with_their_reasons(demo):
    for one in demo["content"]["refusals"]:
        assert all(reason in demo["page"].text for reason in one["reasons"])
        assert any(row[:1] == [one["outlet"]] for row in demo["page"].rows)


def test_rule_cautions_and_digest_stand_on_the_page(demo):
    content = demo["content"]
    assert content["decision_rule_in_words"] in demo["page"].text
    assert all(" ".join(one.split()) in demo["page"].text for one in CAUTIONS)
    assert content["ledger_digest"] in demo["page"].text


def test_instruments_stand_on_the_page_with_certificate_and_due_date(demo):
    for one in demo["content"]["instruments"]:
        row = next(row for row in demo["page"].rows if row[:1] == [one["tag"]])
        assert {one["certificate"], one["due_on"], one["calibrated_on"]} <= set(row)


def test_the_page_has_a_drawing_of_each_curve_that_is_not_a_constant(demo):
    """And of the verdict."""
    calibrations = [*demo["content"]["instruments"], *demo["content"]["reference_standards"]]
    drawn = [one for one in calibrations if len(one["curve"]["coefficients"]) > 1]
    _, *curves = demo["page"].drawings
    assert 0 < len(drawn) < len(calibrations)
    assert len(curves) == len(drawn)
    for one, words in zip(drawn, curves, strict=True):
        assert words.startswith(f"Calibration curve of {one['tag']}, certificate {one['certificate']}")
    for one in calibrations:
        assert f"{one['tag']}, certificate {one['certificate']}" in demo["page"].text


def test_each_flow_that_has_a_share_of_its_design_has_a_bar_on_its_tolerance(demo):
    """The bar is centred on the share, as wide as twice U, on a band as wide as the tolerance; one scale for all."""
    readings = [one for one in demo["content"]["readings"] if one["latest"] and one["design"]]
    half = float(re.search(r"from (\d+) % to", demo["page"].text)[1])
    scale = 60 / (2 * (100 - half))  # of a bar's 60 units to the percent

    def across(percent):
        return min(60.0, max(0.0, 30 + (percent - 100) * scale))

    for one in readings:
        row = re.search(rf'<tr id="reading-{one["reading"]}">.*?</tr>', demo["html"], re.DOTALL)[0]
        rect = [float(each) for each in re.search(r'<rect x="([\d.]+)" y="1" width="([\d.]+)"', row).groups()]
        low, high, middle = (
            float(each) for each in re.search(r'"u" d="M([\d.]+) 4.5H([\d.]+)"/><circle cx="([\d.]+)"', row).groups()
        )
        design, flow = one["design"], one["flow"]
        share = design["percent_of_design"]
        u = share * flow["expanded_uncertainty"] / flow["value"]
        limits = [across(100 * design[end] / design["value"]) for end in ("lower_limit", "upper_limit")]
        expected = [across(share - u), across(share + u), across(share), limits[0], limits[1] - limits[0]]
        assert [low, high, middle, *rect] == pytest.approx(expected, abs=0.06)
        assert ("bar outside" in row) == (design["conformity"] in ("fail", "conditional fail"))


def test_every_line_of_each_budget_stands_on_the_page(demo):
    """Under the name of each contribution a number for every reading whose budget lists it, and for no other."""
    readings = demo["content"]["readings"]
    rows = demo["page"].under("Outlet", "Repeatability")
    (header,) = [row for row in demo["page"].rows if row[:2] == ["Outlet", "Repeatability"]]
    names = header[1:-2]
    assert {name.lower() for name in names} == {each["name"] for one in readings for each in one["contributions"]}
    for row, one in zip(rows, readings, strict=True):
        listed = {each["name"] for each in one["contributions"]}
        assert row[0] == one["outlet"]
        assert {name.lower() for name, cell in zip(names, row[1:-2], strict=True) if cell} == listed
    assert {one["flow"]["unit"] for one in readings} == {"m3/h"}
    assert "the standard uncertainty u of each flow, in m3/h" in demo["page"].text


def test_the_page_names_no_design_where_there_is_none(tmp_path):
    sheets = small_job()
    for row in sheets["outlets.csv"]:
        row |= {"design_flow": "", "flow_unit": "", "tolerance_percent": ""}
    written = report_of(records_of(tmp_path, sheets), tmp_path / "out")
    assert all(one["design"] is None for one in json.loads(written["json"])["readings"])
    assert outside(Page.of(written["html"])) == []


# --- hostile text ----------------------------------------------------------------------------------------------------------------

TYPED = {
    "instruments.csv": ("tag", "kind", "maker", "model", "serial", "location"),
    "calibrations.csv": ("tag", "certificate", "laboratory", "accreditation"),
    "comparisons.csv": ("tag", "certificate"),
    "methods.csv": ("method", "basis"),
    "jobs.csv": ("title", "site", "client"),
    "outlets.csv": ("outlet", "system", "outlet_factor_source", "outlet_factor_reason"),
    "readings.csv": ("outlet", "instrument", "method", "operator", "remarks"),
}


def hostile(text):
    """The small job with a text before what stands in every free cell, and VA-2 out of calibration."""
    sheets = small_job()
    sheets["calibrations.csv"][1]["due_on"] = "2026-02-10"
    sheets["calibrations.csv"][1]["standards"] = ""  # tags are joined by ; there
    for file, columns in TYPED.items():
        for row in sheets[file]:
            row.update({column: f"{text}{row[column]}" for column in columns})
    return sheets


HTML = "<script>alert(1)</script><img src=x onerror=alert(2)>\"' onload=alert(3) {{ 7*7 }} {% raw %} ]]> --> </style></svg> &lt;"
SIGNS = "$\\frac{1}{0}$ %s %(x)d \\x41 \u202etxet\u202c \u200f'; DROP TABLE job; -- \ttab"
HOSTILE = {
    "html": HTML,
    "signs": SIGNS,
    "long": "x" * 10_000,
    "lines": "one\ntwo\r\nthree",
    "emoji": "\N{GRINNING FACE}\N{FAMILY}測",
}
# The drawing library warns of a sign that its font lacks and of a label that leaves no room.
DRAWN = pytest.mark.filterwarnings("ignore:Glyph", "ignore:constrained_layout")


@pytest.fixture(scope="module", params=HOSTILE)
def attacked(request, tmp_path_factory):
    """A text, and the reports of a job that holds it in every free cell."""
    folder = tmp_path_factory.mktemp("hostile")
    text = HOSTILE[request.param]
    return text, report_of(records_of(folder, hostile(text)), folder / "out")


@DRAWN
def test_hostile_text_runs_nowhere_on_the_page(attacked):
    _text, written = attacked
    assert outside(Page.of(written["html"])) == []
    assert len(Page.of(written["html"]).drawings) == 2  # the verdict, the curve


@DRAWN
def test_hostile_text_is_shown_as_typed(attacked):
    text, written = attacked
    page = Page.of(written["html"]).text
    shown = " ".join(text.split())
    for typed in ("Flows of a small hall", "Site", "Client", "S-1", "AH-1", "M1", "001", "North Laboratory", "C-101"):
        assert f"{shown} {typed}" in page or f"{shown}{typed}" in page


@DRAWN
def test_hostile_text_is_whole_in_the_json(attacked):
    text, written = attacked
    content = json.loads(written["json"])
    assert content["title"] == f"{text}Flows of a small hall".strip()
    assert content["readings"][0]["outlet"] == f"{text}S-1".strip()
    assert content["refusals"][0]["instrument"] == f"{text}VA-2".strip()


@DRAWN
def test_hostile_text_is_whole_in_the_csv(attacked):
    text, written = attacked
    rows = table(written["csv"])
    assert rows[1]["outlet"] == f"{text}S-1".strip()
    expected = [
        "report",
        *["reading"] * 3,
        *["total"] * 4,
        "refusal",
        "not measured",
        "instrument",
        "joint probability",
    ]
    assert [row["record"] for row in rows] == expected


@pytest.mark.parametrize("text", ["x" * 300, "a\tb", "測風口"], ids=["long", "tab", "other script"])
def test_a_chart_of_hostile_text_is_drawn_without_a_warning(tmp_path, text):
    assert report_of(records_of(tmp_path, hostile(text)), tmp_path / "out", "html")


@pytest.mark.parametrize(
    "sign",
    [
        "=",
        "+",
        "-",
        "@",
        '=HYPERLINK("http://x";"y")',
        "+1+cmd|' /C calc'!A0",
        "-2+3",
        "@SUM(A1)",
        "\uff1d1",
        "%0A=1",
        "|=1",
    ],
)
def test_no_cell_of_the_csv_is_run_by_a_spreadsheet(tmp_path, sign):
    text = report_of(records_of(tmp_path, hostile(sign)), tmp_path / "out", "csv")["csv"]
    assert run_by_a_spreadsheet(text) == []


@pytest.mark.parametrize(
    "job",
    [
        "../../up",
        "a/b",
        "..",
        "con\\nul",
        'J 1: "x"',
        "<b>",
        "$HOME",
        "x" * 300,
        "\N{GRINNING FACE}",
    ],
)
def test_a_job_s_name_makes_a_file_in_the_folder_that_was_named(tmp_path, job):
    sheets = small_job()
    for file in ("jobs.csv", "outlets.csv", "readings.csv"):
        for row in sheets[file]:
            row["job"] = job
    records = records_of(tmp_path, sheets)
    before = set(tmp_path.iterdir())
    ran = calib("report", job, "--format", "json", "--into", tmp_path / "out", records=records)
    assert ran.status in (0, 2)  # a name may be too long for the disk, and is then told
    assert set(tmp_path.iterdir()) - before <= {tmp_path / "out"}
    assert len(list((tmp_path / "out").iterdir())) == (1 if ran.status == 0 else 0)


@pytest.mark.parametrize(
    ("job", "stem"),
    [
        ("CON", "_CON"),
        ("nul.txt", "_nul.txt"),
        ("com1", "_com1"),
        ("CONE", "CONE"),
        ("LM-27", "LM-27"),
        ("../../x", "_.._x"),
    ],
)
def test_a_job_called_as_a_device_of_windows_makes_a_file(job, stem):
    """Microsoft, Naming files, paths and namespaces: CON, PRN, AUX, NUL, COM1 to COM9, LPT1 to LPT9, with whatever ending."""
    assert file_stem(job) == stem


@pytest.mark.parametrize(
    ("certificates", "said"),
    [(1, "1 refused reading is listed in the report; no flow is given for it"),
     (2, "4 refused readings are listed in the report; no flow is given for them")],
)  # fmt: skip
def test_the_command_tells_how_many_readings_were_refused(tmp_path, certificates, said):
    sheets = small_job()
    for row in sheets["calibrations.csv"][2 - certificates : 2]:
        row["due_on"] = "2026-02-10"
    ran = calib("report", "J-1", "--format", "json", "--into", tmp_path / "out", records=records_of(tmp_path, sheets))
    assert said in ran.err


# --- little to report ------------------------------------------------------------------------------------------------------------


def test_a_job_without_readings_has_a_report(tmp_path):
    sheets = only(small_job(), "jobs.csv", "outlets.csv")
    written = report_of(records_of(tmp_path, sheets), tmp_path / "out")
    content = json.loads(written["json"])
    assert (content["readings"], content["refusals"], content["instruments"]) == ([], [], [])
    assert [(one["service"], one["flow"]) for one in content["totals"]] == [
        (name, None) for name in ("supply", "return", "exhaust", "net")
    ]
    assert "not measured" in Page.of(written["html"]).text
    assert "None: no reading was recorded." in Page.of(written["html"]).text
    assert outside(Page.of(written["html"])) == []


def test_a_job_without_outlets_has_a_report(tmp_path):
    written = report_of(records_of(tmp_path, only(small_job(), "jobs.csv")), tmp_path / "out")
    assert json.loads(written["json"])["totals"] == []
    assert "Flows of a small hall" in Page.of(written["html"]).text


def test_a_job_whose_readings_are_all_refused_has_a_report(tmp_path):
    sheets = small_job()
    for row in sheets["calibrations.csv"]:
        row["accepted_on"] = ""
    written = report_of(records_of(tmp_path, sheets), tmp_path / "out")
    content, page = json.loads(written["json"]), Page.of(written["html"])
    assert (len(content["readings"]), len(content["refusals"])) == (0, 4)
    assert all(reason in page.text for one in content["refusals"] for reason in one["reasons"])
    assert "were not measured." in page.text


def test_an_outlet_that_was_not_measured_is_remarked(tmp_path):
    sheets = small_job()
    del sheets["readings.csv"][1]
    written = report_of(records_of(tmp_path, sheets), tmp_path / "out")
    supply = json.loads(written["json"])["totals"][0]
    assert (supply["outlets_measured"], supply["outlets"]) == (1, 2)
    (row,) = [row for row in Page.of(written["html"]).rows if row[0] == "total of 1 of 2, incomplete"]
    (left,) = [row for row in Page.of(written["html"]).rows if row[0] == "S-2"]
    assert left[1:4] == ["supply", "not measured", ""]
    assert left[4:] == ["450 m3/h", "± 10 %", "", "", ""]
    assert row[1] == "supply"
    assert row[6:9] == ["", "", ""]  # no share of the design, no conformity, no probability


# --- again -----------------------------------------------------------------------------------------------------------------------


def test_reporting_writes_nothing_into_the_records(small_records, tmp_path):
    before = small_records.read_bytes()
    report_of(small_records, tmp_path / "out")
    assert small_records.read_bytes() == before


def test_a_report_issued_at_a_stated_time_is_the_same_each_time(small_records, tmp_path):
    issued = ("--issued", "2026-03-06T09:00+00:00")
    for name in ("one", "two"):
        calib("report", "J-1", *issued, "--into", tmp_path / name, records=small_records)
    for form in ("json", "csv", "html"):
        assert (tmp_path / "one" / f"J-1.{form}").read_bytes() == (tmp_path / "two" / f"J-1.{form}").read_bytes()


@pytest.mark.parametrize(("units", "flow", "velocity"), [("si", "L/s", "m/s"), ("ip", "cfm", "fpm")])
def test_a_report_speaks_the_units_asked_for(small_records, tmp_path, units, flow, velocity):
    calib("report", "J-1", "--format", "json", "--units", units, "--into", tmp_path, records=small_records)
    content = json.loads((tmp_path / "J-1.json").read_text(encoding="utf-8"))
    assert {one["flow"]["unit"] for part in ("readings", "totals") for one in content[part]} == {flow}
    assert {one["velocity"]["unit"] for one in content["readings"]} == {velocity}


def test_the_demo_run_twice_leaves_its_records_as_they_are(demo_records, demo_folder):
    before = demo_records.read_bytes()
    told = run_demo(demo_records.parent, lambda _: None)
    assert "left as they are" in told["said"][0]
    assert demo_records.read_bytes() == before
    for form in ("json", "csv", "html"):
        assert (demo_records.parent / f"LM-27-r2.{form}").read_bytes() == (
            demo_folder / f"LM-27-r2.{form}"
        ).read_bytes()


def test_the_demo_s_records_verify(demo_folder):
    with database.reading(str(demo_folder / "demo.sqlite")) as session:
        assert ledger.verify(session.connection()) == ()


def test_the_demo_leaves_another_s_records_alone(empty_records, tmp_path):
    other = empty_records.rename(tmp_path / "demo.sqlite")
    imported(other, write(tmp_path / "in", only(small_job(), "jobs.csv")))
    before = other.read_bytes()
    ran = calib("demo", "--into", tmp_path)
    assert (ran.status, ran.out) == (2, "")
    assert "is not the demo's" in ran.err
    assert other.read_bytes() == before
