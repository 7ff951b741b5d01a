"""A factor found on site stands in the report of a job whose flows rest on it: pairs, u, revisions, what cancels, cautions.

Expected values are worked out from the sheets by numpy alone (tests/factor_pairs.py).
"""

import json

import pytest

from tests.factor_pairs import BLANK, OF_S9, amended, expected_pairs, factor, paired_job
from tests.folders import records_of
from tests.report_forms import Page, report_of

SHEETS = paired_job()
WHY = "VA-1 was read once more"


@pytest.fixture(scope="module")
def reported(tmp_path_factory):
    """The report of a job in which S-9 has an effective area of its own, found twice."""
    records = records_of(tmp_path_factory.mktemp("found"), SHEETS)
    factor(records)
    factor(records, pairs=OF_S9[:3], reason=WHY)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    texts = report_of(records, tmp_path_factory.mktemp("reports"))
    return json.loads(texts["json"]), Page.of(texts["html"])


def at_s9(content):
    return [reading for reading in content["readings"] if reading["outlet"] == "S-9"]


def test_every_revision_stands_in_the_json_with_its_pairs(reported):
    first, second = reported[0]["found_factors"]
    flow, velocity, area = expected_pairs(SHEETS)
    assert [pair["value"] for pair in first["pairs"]] == pytest.approx((flow / (velocity * area)).tolist())
    assert [(pair["traverse"], pair["face"]) for pair in second["pairs"]] == [(1, 7), (2, 8), (3, 9)]
    assert (first["revision"], first["counts"], second["revision"], second["counts"]) == (1, False, 2, True)


def test_the_indications_at_the_face_are_the_means_that_were_typed(reported):
    shown = [pair["indication"] for pair in reported[0]["found_factors"][0]["pairs"]]
    assert [each["value"] for each in shown] == pytest.approx([9.37 / 3, 9.49 / 3, 9.31 / 3, 9.40 / 3])
    assert {each["unit"] for each in shown} == {"m/s"}


def test_the_page_shows_pairs_and_revisions(reported):
    flow, velocity, area = expected_pairs(SHEETS)
    pairs = reported[1].under("In the duct", "Observed", "At the face")
    assert [row[0] for row in pairs] == ["1, D-9", "2, D-9", "3, D-9"]
    assert [float(row[-1]) for row in pairs] == pytest.approx((flow / (velocity * area))[:3].tolist(), abs=5e-8)
    revisions = reported[1].under("Revision", "K")
    assert [(row[0], row[3], row[5]) for row in revisions] == [
        ("1", "1:7, 2:8, 3:9, 4:10", "D-9 feeds S-9 alone"),
        ("2", "1:7, 2:8, 3:9", WHY),
    ]


def test_the_page_says_what_cancels_and_what_does_not(reported):
    text = reported[1].text
    assert "an error of VA-1 by its certificate C-101 that makes it read high made the factor low" in text
    assert "the change of VA-1 since its calibration does not cancel" in text
    rows = reported[1].under("What contributes to u(K)/K")
    assert [row[1] for row in rows if row[0] == "calibration at the face"] == ["cancels"]


def test_a_contribution_that_is_small_because_it_cancels_says_so(reported):
    for reading in at_s9(reported[0]):
        cancelling = {each["name"] for each in reading["contributions"] if "cancels_with" in each}
        assert cancelling == {"calibration scatter", "reference standard"}
    others = [reading for reading in reported[0]["readings"] if reading["outlet"] != "S-9"]
    assert not any("cancels_with" in each for reading in others for each in reading["contributions"])
    assert (
        "Calibration scatter and reference standard are small at S-9 since they cancel: the factor GR-9"
        in reported[1].text
    )


def test_the_effective_area_stands_in_the_evidence_unrounded(reported):
    second = reported[0]["found_factors"][1]
    for reading in at_s9(reported[0]):
        found_area = reading["evidence"]["factor"]
        assert (found_area["kind"], found_area["unit"], found_area["source"]) == (
            "found factor",
            "m2",
            "GR-9, revision 2",
        )
        assert found_area["value"] == pytest.approx(second["value"] * 0.4 * 0.2)


def test_a_report_without_such_a_factor_has_no_such_section(tmp_path):
    texts = report_of(records_of(tmp_path, SHEETS), tmp_path / "reports")
    assert json.loads(texts["json"])["found_factors"] == []
    assert "Factors found on site" not in Page.of(texts["html"]).text
