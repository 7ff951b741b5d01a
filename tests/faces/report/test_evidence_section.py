"""What each flow was worked out from stands in the report as it was typed, what readings share once.

Expected cells are those of the sheets that were imported.
"""

import json
import math
import re

import openpyxl
import pytest

from calib.faces.report.evidence_section import evidence_section
from tests.every_way import every_way
from tests.folders import records_of, small_job
from tests.report_forms import Page, report_of


@pytest.fixture(scope="module")
def every(tmp_path_factory):
    """The report of a job measured in every way."""
    folder = tmp_path_factory.mktemp("evidence")
    texts = report_of(records_of(folder, every_way()), folder / "reports", job="E-1")
    return json.loads(texts["json"]), Page.of(texts["html"])


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The report of the small job: a remark that a spreadsheet would run, an indication that ends in 0, a declared source."""
    folder, sheets = tmp_path_factory.mktemp("small"), small_job()
    sheets["readings.csv"][0] |= {"observations": "2.50;2.55;2.500", "indication": "", "remarks": "=1+1 <b>"}
    named = sheets["outlets.csv"][0]["outlet_factor_source"]
    sheets["sources.csv"] = [
        {"source": named.upper(), "document": "Sheet 12", "edition": edition, "basis": "the maker's own"}
        for edition in ("2020", "2024")
    ]
    texts = report_of(records_of(folder, sheets), folder / "reports", "json,html")
    return sheets, json.loads(texts["json"]), Page.of(texts["html"])


def test_indications_keep_the_digits_that_were_typed(small):
    first = small[1]["readings"][0]
    assert first["evidence"]["indications"] == ["2.50", "2.55", "2.500"]
    (row,) = [
        row for row in small[2].under("Reading", "Outlet", "Observed", "Taken with") if row[0] == str(first["reading"])
    ]
    assert row[4] == "2.50; 2.55; 2.500 m/s"


def test_text_that_somebody_typed_stays_text(small):
    assert "=1+1 <b>" in small[2].text
    assert "b" not in small[2].elements


def test_every_reading_has_its_opening_its_factor_and_its_method_as_typed(small):
    sheets, content, _ = small
    outlets = {row["outlet"]: row for row in sheets["outlets.csv"]}
    methods = {row["method"]: row for row in sheets["methods.csv"]}
    for reading in content["readings"]:
        evidence, outlet = reading["evidence"], outlets[reading["outlet"]]
        sizes = evidence["dimensions"] or dict.fromkeys(("width", "height", "diameter"))
        assert [sizes[side] or "" for side in ("width", "height", "diameter")] == [
            outlet[side] for side in ("width", "height", "diameter")
        ]
        assert evidence["factor"]["value"] == (outlet["outlet_factor"] or outlet["effective_area"])
        declared = methods[reading["method"]]
        assert evidence["method"]["basis"] == declared["basis"]
        figure = evidence["method"]["relative_standard_uncertainty_percent"]
        assert figure == declared["relative_standard_uncertainty_percent"]


def test_a_declared_source_stands_with_its_latest_edition_however_it_is_spelled(small):
    named = small[0]["outlets.csv"][0]["outlet_factor_source"]
    for reading in small[1]["readings"]:
        is_of_it = reading["evidence"]["factor"]["source"] == named
        assert [each["edition"] for each in reading["evidence"]["sources"]] == (["2024"] if is_of_it else [])


def test_what_readings_share_is_said_once(every):
    content, page = every
    methods = [row[0] for row in page.under("Method", "u of a reading [%]")]
    assert sorted(methods) == sorted({reading["method"] for reading in content["readings"]})
    openings = [name for row in page.under("Outlets and ducts") for name in row[0].split("; ")]
    assert len(openings) == len(set(openings))


POINTS = "Points of the traverse | with semicolons between passes ‖ and double strokes between lines"


def test_the_points_of_a_traverse_stand_line_by_line_as_typed(every):
    content, page = every
    typed = {
        (row["outlet"], row["observed_at"], int(row["line"]), int(row["point"])): row["indications"]
        for row in every_way()["traverses.csv"]
    }
    traversed = [reading for reading in content["readings"] if reading["traverse"] is not None]
    rows = page.under("Reading", POINTS)
    for reading in traversed:
        where = (reading["outlet"], reading["observed_at"])
        expected = {key[2:]: values for key, values in typed.items() if key[:2] == where}
        assert reading["evidence"]["indications"] == [
            f"{line}/{point}={expected[line, point]}" for line, point in sorted(expected)
        ]
        (shown,) = [row[1].split(" ‖ ") for row in rows if row[0] == str(reading["reading"])]
        lines = sorted({line for line, _ in expected})
        assert shown == [
            " | ".join("; ".join(expected[key].split(";")) for key in sorted(expected) if key[0] == line)
            for line in lines
        ]
    assert traversed


def test_weights_that_differ_stand_with_the_points_and_the_budget_says_so(tmp_path):
    """ISO 3966, the 26 points of a rectangular duct: 7, 6, 6 and 7 on a line, of unequal weights that add to 1."""
    sheets = every_way()
    (reading,) = (row for row in sheets["readings.csv"] if row["outlet"] == "D-2")
    reading |= {"traverse_rule": "log-linear", "traverse_lines": "4", "traverse_points": "7"}
    first, *_ = of_duct = [row for row in sheets["traverses.csv"] if row["outlet"] == "D-2"]
    sheets["traverses.csv"] = [row for row in sheets["traverses.csv"] if row not in of_duct] + [
        first | {"line": str(line), "point": str(point), "indications": f"{3 + 0.1 * line + 0.07 * point:.2f}"}
        for line, count in enumerate((7, 6, 6, 7), start=1)
        for point in range(1, count + 1)
    ]
    texts = report_of(records_of(tmp_path, sheets), tmp_path / "reports", "json,html", "E-1")
    content, page = json.loads(texts["json"]), Page.of(texts["html"])
    number = next(str(each["reading"]) for each in content["readings"] if each["outlet"] == "D-2")
    shown = [
        float(weight)
        for row in page.under("Reading", POINTS)
        if row[0] == number
        for weight in re.split(r" [|‖] ", row[3])
    ]
    assert len(shown) == 26
    assert len(set(shown)) > 1
    assert math.isclose(sum(shown), 1, rel_tol=1e-5)
    assert (
        page.text.count(
            "for the indications at its points as typed see What each flow was worked out from , with weights w_j"
        )
        == 1
    )


def test_a_flow_is_printed_with_six_digits_for_whoever_works_it_out(every):
    content, page = every
    flows = {str(reading["reading"]): reading["flow"] for reading in content["readings"]}
    rows = page.under("Reading", "Outlet", "Observed", "Taken with")
    assert {row[0] for row in rows} == set(flows)
    for row in rows:
        value, unit = row[-1].split()
        assert unit == flows[row[0]]["unit"]
        assert math.isclose(float(value), flows[row[0]]["value"], rel_tol=5e-6)


def test_a_job_without_readings_has_no_such_section():
    assert list(evidence_section({"readings": []}, None)) == []


def test_the_workbook_has_it_in_its_sheet_of_readings(demo_folder):
    page = openpyxl.load_workbook(demo_folder / "LM-27-r2.xlsx")["Readings"]
    head, *rows = page.iter_rows(values_only=True)
    first = dict(zip(head, rows[0], strict=True))
    said = [
        first[label]
        for label in (
            "Width",
            "Height",
            "Limit of each",
            "Unit of length",
            "K or Aₑ",
            "u of it",
            "u of the method [%]",
        )
    ]
    assert said == [400, 200, 1, "mm", 0.84, 0.017, 2.5]


def test_the_day_of_all_readings_is_said_once(demo_folder):
    page = Page.of((demo_folder / "LM-27-r2.html").read_text())
    assert "All readings were observed on 2026-10-14; times are local, +01:00 from UTC." in page.text
    assert page.under("Reading", "Outlet", "Observed", "Taken with")[0][2] == "09:12"


def test_each_reading_has_its_own_day_where_they_differ(tmp_path):
    sheets = small_job()
    sheets["readings.csv"][0]["observed_at"] = "2026-03-04T16:00+01:00"
    page = Page.of(report_of(records_of(tmp_path, sheets), tmp_path / "reports", "html")["html"])
    assert "All readings were observed on" not in page.text
    observed = [row[2] for row in page.under("Reading", "Outlet", "Observed", "Taken with")]
    assert "2026-03-04 16:00+01:00" in observed
    assert all(len(each) == len("2026-03-04 16:00+01:00") for each in observed)
