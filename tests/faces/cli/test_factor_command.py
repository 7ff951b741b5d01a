"""`calib factor` as a person types it."""

import re
import shlex

import pytest

from calib.faces.plain_text import command_text
from calib.procedures.on_record.in_force import outlets_in_force
from calib.records import database
from tests.as_found import drifted
from tests.command import calib, copied
from tests.factor_pairs import OF_S9, OF_TYPE, TRAVERSED, amended, expected_pairs, paired_job
from tests.folders import ledger_head, records_of, write


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("pairs"), paired_job())


@pytest.fixture
def records(made, tmp_path):
    return copied(made, tmp_path / "records.sqlite")


def find(records, *options, name="GR-9", pairs=OF_S9, scope="outlet", reason="D-9 feeds S-9 alone"):
    given = [word for pair in pairs for word in ("--pair", pair)]
    return calib("factor", "find", name, *given, "--scope", scope, "--reason", reason, *options, records=records)


# --- find ------------------------------------------------------------------------------------------------------------------------


def test_the_answer_has_u_with_k_for_both_cases(records):
    found = find(records)
    assert (found.status, found.err) == (0, "")
    assert re.search(
        r"K = 0\.8\d\d ± 0\.0\d\d, k = 2\.00 for readings with the same calibration \(certificate C-101\)", found.out
    )
    assert re.search(r"K = 0\.8\d\d ± 0\.0\d\d, k = 2\.00 after a recalibration", found.out)
    assert re.search(r"effective area \(0\.06\d\d ± 0\.00\d\d\) m2", found.out)
    assert "holds for outlet S-9 of J-1, readings with VA-1 by the method sweep\n" in found.out


def test_a_factor_that_hangs_on_an_open_review_says_so(records, tmp_path):
    calib("import", write(tmp_path / "second", drifted(paired_job(), "VB-1")), records=records)
    found = find(records)
    assert found.status == 0
    assert found.err == "impact review of VB-1, certificate D-1: 1 line more: calib review show 1\n"


def test_the_statements_are_those_of_the_numbers(records):
    one = find(records, "--json").document
    for case in ("same_calibration", "recalibrated"):
        value, expanded, k = re.fullmatch(r"K = (\S+) ± (\S+), k = (\S+)", one[case]["statement"]).groups()
        assert float(value) == pytest.approx(one["value"], abs=0.0006)
        assert float(expanded) == pytest.approx(one[case]["expanded_uncertainty"], abs=0.0006)
        assert float(k) == pytest.approx(one[case]["coverage_factor"], abs=0.006)
        assert one[case]["expanded_uncertainty"] == pytest.approx(
            one[case]["coverage_factor"] * one["value"] * one[case]["relative_standard_uncertainty_percent"] / 100
        )


def test_each_pair_stands_with_its_flow_velocity_and_factor(records):
    flow, face, area = expected_pairs(paired_job())
    one = find(records, "--json").document
    assert [each["value"] for each in one["pairs"]] == pytest.approx(flow / (face * area))
    assert [each["flow"]["value"] for each in one["pairs"]] == pytest.approx(3600 * flow)
    assert [each["velocity"]["value"] for each in one["pairs"]] == pytest.approx(face)
    assert [(each["traverse"], each["face"]) for each in one["pairs"]] == [(1, 7), (2, 8), (3, 9), (4, 10)]
    out = find(records, reason="again").out
    for pair, value in zip(OF_S9, flow / (face * area), strict=True):
        assert re.search(rf"^{pair} .* {value:.4f}$", out, re.MULTILINE)


def test_the_contributions_are_told_with_what_cancels(records):
    one = find(records, "--json").document
    spread, reference, instrument = (each["relative_standard_uncertainty_percent"] for each in one["contributions"])
    assert one["same_calibration"]["relative_standard_uncertainty_percent"] == pytest.approx(
        (spread**2 + reference**2) ** 0.5
    )
    assert one["recalibrated"]["relative_standard_uncertainty_percent"] == pytest.approx(
        (spread**2 + reference**2 + instrument**2) ** 0.5
    )
    assert re.search(r"^calibration at the face +cancels +1\.\d +inf$", find(records, reason="again").out, re.MULTILINE)


def test_units_are_those_asked_for(records):
    metric = find(records, "--json").document
    one = find(records, "--units", "ip", "--json", reason="again").document
    pair, before = one["pairs"][0], metric["pairs"][0]
    assert (pair["flow"]["unit"], pair["velocity"]["unit"], one["effective_area"]["unit"]) == ("cfm", "fpm", "ft2")
    assert pair["velocity"]["value"] == pytest.approx(before["velocity"]["value"] / 0.00508)
    assert one["effective_area"]["value"] == pytest.approx(metric["effective_area"]["value"] / 0.3048**2)


def test_what_it_says_to_type_gives_the_outlet_the_factor(records):
    (line,) = find(records, "--json").document["to_use_it"]
    assert line in find(records, reason="again").out
    done = calib(*shlex.split(line)[1:], records=records)
    assert (done.status, done.err) == (0, "")
    with database.reading(str(records)) as session:
        (outlet,) = [one for one in outlets_in_force(session).values() if one.outlet == "S-9"]
    assert (outlet.found_factor, outlet.outlet_factor, outlet.outlet_factor_source) == ("GR-9", None, None)
    assert find(records, "--json", reason="and again").document["to_use_it"] == []


def test_a_type_is_given_to_each_of_its_outlets(records):
    one = find(records, "--json", name="grille G", pairs=OF_TYPE, scope="type").document
    assert [re.search(r"J-1 (\S+)", line)[1] for line in one["to_use_it"]] == ["S-9", "S-10"]
    assert (one["outlet"], one["outlet_type"], one["effective_area"]) == (None, "grille G", None)
    for line in one["to_use_it"]:
        assert calib(*shlex.split(line)[1:], records=records).status == 0


def test_a_caution_is_told(records):
    assert "caution: every pair was measured at S-9" in find(records, scope="type").out


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["a", "b=1"], "calib a b=1"),
        (["two words"], 'calib "two words"'),
        (["it's"], 'calib "it\'s"'),
        (['5 "x"'], "calib '5 \"x\"'"),
        (["$HOME", "50 %"], "calib '$HOME' '50 %'"),
    ],
)
def test_a_command_is_printed_so_that_a_shell_takes_it(words, line):
    assert command_text(words) == line
    assert shlex.split(line)[1:] == words


# --- what cannot be --------------------------------------------------------------------------------------------------------------


def test_every_mistake_is_a_line_and_nothing_is_written(records):
    before = ledger_head(records)
    found = find(records, name="X", pairs=("1:7", "2-8", "5:5"), scope="both", reason=" ")
    assert (found.status, found.out) == (2, "")
    lines = found.err.splitlines()
    assert len(lines) == 4
    assert all(re.match(r"error: command line, --(pair|scope|reason): ", line) for line in lines)
    assert ledger_head(records) == before


@pytest.mark.parametrize("missing", ["--pair", "--scope", "--reason"])
def test_what_must_be_said_is_asked_for(records, missing):
    given = {"--pair": "1:7", "--scope": "outlet", "--reason": "x"}
    words = [word for name, value in given.items() if name != missing for word in (name, value)]
    asked = calib("factor", "find", "GR-9", *words, records=records)
    assert (asked.status, asked.out) == (2, "")
    assert missing in asked.err


def test_control_characters_of_a_name_do_no_harm(records):
    found = find(records, name="G\x1b[31m\nR")
    assert found.status == 0
    assert "\x1b" not in found.out
    assert "\x1b" not in calib("factor", "list", records=records).out


# --- list, show ------------------------------------------------------------------------------------------------------------------


def test_an_empty_list_is_a_header(records):
    assert calib("factor", "list", "--json", records=records).document == {"factors": []}
    assert len(calib("factor", "list", records=records).out.splitlines()) == 1


def test_the_list_has_each_factor_as_it_counts(records):
    find(records)
    find(records, pairs=OF_S9[:3], reason="pair 4:10 was disturbed")
    find(records, "--by", "B. Person", name="G", pairs=OF_TYPE, scope="type")
    listed = calib("factor", "list", records=records).out.splitlines()
    assert re.match(
        r"G +1 +type grille G +VA-1 +C-101 +sweep +0\.8\d+ ± 0\.0\d+, k = 2\.00 +6 .*B\. Person$", listed[1]
    )
    assert re.match(r"GR-9 +2 +outlet S-9 of J-1 +VA-1 +C-101 +sweep +0\.8\d+ ± 0\.0\d+, k = 2\.00 +3 ", listed[2])


@pytest.fixture
def history(records):
    """The first revision used by reading 13, the second one by reading 14."""
    (line,) = find(records, "--json").document["to_use_it"]
    calib(*shlex.split(line)[1:], records=records)
    add = (
        "reading",
        "add",
        "J-1",
        "S-9",
        "--instrument",
        "VA-1",
        "--unit",
        "m/s",
        "--method",
        "sweep",
        "--observations",
        "3.1;3.2",
    )
    assert calib(*add, "--at", "2026-03-07T10:00+01:00", records=records).status == 0
    find(records, pairs=OF_S9[:3], reason="pair 4:10 was disturbed")
    assert calib(*add, "--at", "2026-03-08T10:00+01:00", records=records).status == 0
    return records


def test_each_revision_is_shown_with_its_readings_the_latest_first(history):
    shown = calib("factor", "show", "GR-9", records=history)
    assert (shown.status, shown.err) == (0, "")
    told = [
        "GR-9, revision 2",
        "counts now; found ",
        "pair 4:10 was disturbed",
        "recorded while it counts: reading 14 (S-9)\n",
        "GR-9, revision 1",
        "superseded; found ",
        "D-9 feeds S-9 alone",
        "recorded while it counted: reading 13 (S-9); evaluated with revision 2 now\n",
        "recorded before their outlets had this factor, evaluated with it now: readings 7, 8, 9, 10 (S-9)\n",
    ]
    places = [shown.out.index(each) for each in told]
    assert places == sorted(places)


def test_the_document_has_the_revisions_in_their_order(history):
    document = calib("factor", "show", "GR-9", "--json", records=history).document
    first, second = document["revisions"]
    assert (first["revision"], first["counts"], len(first["pairs"])) == (1, False, 4)
    assert (second["revision"], second["counts"], len(second["pairs"])) == (2, True, 3)
    assert [(each["reading"], each["evaluated_with_revision"]) for each in first["readings"]] == [(13, 2)]
    assert [each["reading"] for each in document["other_readings"]] == [7, 8, 9, 10]


def test_a_reading_whose_outlet_was_amended_away_is_told(history):
    amended(
        history,
        "S-9",
        "found_factor=",
        "outlet_factor=1",
        "outlet_factor_standard_uncertainty=0",
        "outlet_factor_source=free",
    )
    out = calib("factor", "show", "GR-9", records=history).out
    assert "recorded while it counted: reading 13 (S-9); their outlets were amended and have it no more" in out
    assert "evaluated with" not in out


def test_without_readings_it_says_so(records):
    find(records)
    find(records, reason="again")
    out = calib("factor", "show", "GR-9", records=records).out
    assert "no reading was recorded since" in out
    assert "no reading was recorded while it counted" in out


def test_a_factor_that_is_not_there_is_named(records):
    shown = calib("factor", "show", "GR-8", records=records)
    assert (shown.status, shown.out) == (2, "")
    assert shown.err == "error: no factor 'GR-8' in the records: there is none\n"


def test_the_shown_pairs_are_those_that_were_typed(history):
    out = calib("factor", "show", "GR-9", records=history).out
    for (duct, time), pair in zip(list(TRAVERSED)[:4], OF_S9, strict=True):
        assert re.search(rf"^{pair} +{duct} +2026-03-05T{time}\+01:00 +S-9 ", out, re.MULTILINE)
