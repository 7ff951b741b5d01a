"""`calib balance` and `calib conformity` as a person types them: the numbers of the report, in tables and as JSON.

Sources: `calib help` (commands, cautions); JCGM 106:2012, 7.6.3 and 9.5; the procedures have tests of their own.
"""

import json
import re
from itertools import pairwise

import pytest

from tests.command import calib, copied
from tests.every_way import every_way
from tests.folders import changed, ledger_head, only, records_of, small_job

M3_H_IN_CFM = 1 / (0.3048**3 * 60)  # one m3/h in cubic feet per minute


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("ways"), every_way())


@pytest.fixture
def records(job, tmp_path):
    return copied(job, tmp_path / "records.sqlite")


@pytest.fixture(scope="module")
def report(job, tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    calib("report", "E-1", "--format", "json", "--into", folder, records=job)
    return json.loads((folder / "E-1.json").read_text(encoding="utf-8"))


def tables(told):
    """Tables as rows of cells, by their headings; columns are parted by two blanks or more."""
    found, starts = [], None
    for line in told.splitlines():
        if re.match(r"(system|room|outlet|decisions) ", line) and starts is None:
            starts = [0, *(one.end() for one in re.finditer(r" {2,}", line)), None]
            found.append([])
        if not line:
            starts = None
        elif starts is not None:
            found[-1].append([line[a:b].strip() for a, b in pairwise(starts)])
    return found


# --- balance ---------------------------------------------------------------------------------------------------------------------


def test_the_balance_is_that_of_the_report(job, report):
    document = calib("balance", "E-1", "--json", records=job).document
    names = (
        "totals",
        "job_totals",
        "rooms",
        "joint_probability",
        "compared",
        "plant_drift",
        "not_measured",
        "cross_checks",
    )
    assert document == {"job": "E-1"} | {name: report[name] for name in names}


def shown_total(one):
    """What a line of the table must say of a total."""
    design = one["design"] or {}
    tolerance, percent = design.get("tolerance_percent"), design.get("percent_of_design")
    return [
        "net (supply − return − exhaust)" if one["service"] == "net" else one["service"],
        one["flow"]["statement"],
        f"{design['value']:.5g} {design['unit']}" + (f" ± {tolerance:g} %" if tolerance else "") if design else "-",
        f"{percent:.1f}" if percent is not None else "-",
        design.get("conformity") or "-",
    ]


def test_every_total_stands_on_a_line(job, report):
    header, *rows = tables(calib("balance", "E-1", records=job).out)[0]
    assert header == ["system", "service", "flow ± U", "design", "% of design", "conformity", "probability", "measured"]
    expected = [[one["system"], *shown_total(one)] for one in report["totals"]]
    expected += [["all systems", *shown_total(one)] for one in report["job_totals"]]
    assert [row[:6] for row in rows] == expected
    assert rows[0][5:] == ["pass", "> 99.9 %", "4 of 4"]


def test_every_room_stands_on_a_line_with_what_is_asked_of_it(job, report):
    header, *rows = tables(calib("balance", "E-1", records=job).out)[1]
    assert header == ["room", "supply less extract ± U", "the design asks for", "probability", "measured"]
    store, wash = report["rooms"]
    assert rows == [
        ["Store", store["flow"]["statement"], "a surplus of supply", "> 99.9 %", "2 of 2"],
        [
            "Wash", wash["flow"]["statement"], "a surplus of extract", f"{100 * wash['probability_as_wanted']:.1f} %", "2 of 2",
        ],
    ]  # fmt: skip


def test_what_was_not_measured_is_said(tmp_path):
    sheets = every_way()
    sheets["readings.csv"] = [row for row in sheets["readings.csv"] if row["outlet"] not in ("S-2", "X-1")]
    systems, rooms = tables(calib("balance", "E-1", records=records_of(tmp_path, sheets)).out)
    by_name = {(row[0], row[1]): row for row in systems}
    assert by_name["AH-1", "supply"][4:] == ["-", "-", "-", "3 of 4"]
    assert by_name["AH-1", "supply"][2].endswith("m3/h, k = 2.14")
    assert by_name["AH-1", "exhaust"] == ["AH-1", "exhaust", "not measured", "720 m3/h", "-", "-", "-", "0 of 1"]
    assert [row[3:] for row in rooms[1:]] == [["-", "1 of 2"], ["-", "1 of 2"]]


def test_a_job_without_readings_has_a_balance(tmp_path):
    sheets = every_way()
    del sheets["readings.csv"], sheets["traverses.csv"]
    records = records_of(tmp_path, sheets)
    systems, rooms = tables(calib("balance", "E-1", records=records).out)
    assert {row[2] for row in systems[1:]} == {row[1] for row in rooms[1:]} == {"not measured"}
    assert all(one["flow"] is None for one in calib("balance", "E-1", "--json", records=records).document["totals"])


def test_a_job_without_rooms_has_no_table_of_them(tmp_path):
    sheets = every_way()
    del sheets["rooms.csv"]
    for row in sheets["outlets.csv"]:
        row["room"] = ""
    assert len(tables(calib("balance", "E-1", records=records_of(tmp_path, sheets)).out)) == 1


def test_a_job_without_outlets_has_a_heading_alone(tmp_path):
    ran = calib("balance", "E-1", records=records_of(tmp_path, only(every_way(), "jobs.csv")))
    assert (ran.status, len(ran.out.splitlines())) == (0, 1)


def test_the_balance_speaks_cfm(job, report):
    document = calib("balance", "E-1", "--units", "ip", "--json", records=job).document
    for part in ("totals", "job_totals", "rooms"):
        for one, typed in zip(document[part], report[part], strict=True):
            to_cfm = {"m3/h": M3_H_IN_CFM, "L/s": 3.6 * M3_H_IN_CFM}[typed["flow"]["unit"]]
            assert one["flow"]["unit"] == "cfm"
            assert one["flow"]["value"] == pytest.approx(typed["flow"]["value"] * to_cfm, rel=1e-9)
            assert one["flow"]["coverage_factor"] == typed["flow"]["coverage_factor"]
            if typed["design"]:
                assert one["design"]["unit"] == "cfm"
                assert one["design"]["percent_of_design"] == typed["design"]["percent_of_design"]
    assert "m3/h" not in calib("balance", "E-1", "--units", "ip", records=job).out


def test_another_coverage_probability_widens_u(job, report):
    words = ("balance", "E-1", "--coverage-probability", "99", "--json")
    for one, usual in zip(calib(*words, records=job).document["totals"], report["totals"], strict=True):
        assert one["flow"]["coverage_probability"] == 0.99
        assert one["flow"]["coverage_factor"] > max(2.57, 1.28 * usual["flow"]["coverage_factor"])
        assert one["flow"]["standard_uncertainty"] == usual["flow"]["standard_uncertainty"]


# --- conformity ------------------------------------------------------------------------------------------------------------------


def test_conformity_is_that_of_the_report(job, report):
    document = calib("conformity", "E-1", "--json", records=job).document
    readings = {one["reading"]: one for one in report["readings"]}
    judged = [one["reading"] for one in report["readings"] if one["design"]]
    assert [one["reading"] for one in document["outlets"]] == judged
    for one in document["outlets"]:
        reading = readings[one["reading"]]
        assert reading["design"].items() <= one.items()
        assert (one["outlet"], one["statement"]) == (reading["outlet"], reading["flow"]["statement"])
        half_width = reading["design"]["tolerance_percent"] / 100 * reading["design"]["value"]
        assert one["capability_index"] == pytest.approx(half_width / (2 * reading["flow"]["standard_uncertainty"]))
    assert document["risks"] == report["risks"]
    assert (document["decision_rule"], document["decision_rule_in_words"]) == (
        report["decision_rule"], report["decision_rule_in_words"],
    )  # fmt: skip


def test_the_rule_stands_above_the_table(job, report):
    above, _, _ = calib("conformity", "E-1", records=job).out.partition("\n\n")
    assert " ".join(above.split()) == report["decision_rule_in_words"]
    assert all(len(line) <= 100 for line in above.splitlines())


def test_every_outlet_that_is_judged_stands_on_a_line(job):
    document = calib("conformity", "E-1", "--json", records=job).document
    outlets, decisions = tables(calib("conformity", "E-1", records=job).out)
    assert outlets[1:] == [
        [
            one["outlet"], one["statement"], f"{one['percent_of_design']:.1f}", f"± {one['tolerance_percent']:g} %",
            f"{one['capability_index']:.2f}", one["conformity"],
            probability(one["probability_of_conformity"]), f"{100 * one['consumer_risk']:.2g} %",
            f"{100 * one['producer_risk']:.2g} %",
        ]
        for one in document["outlets"]
    ]  # fmt: skip
    (one,) = document["risks"]["decisions"]
    assert decisions[1] == [
        "system AH-1", "6", "6", f"{one['expected_wrongly_accepted']:.2f}", f"{one['expected_wrongly_rejected']:.2f}",
        f"{100 * one['mean_specific_consumer_risk']:.2g} %", f"{100 * one['mean_specific_producer_risk']:.2g} %",
    ]  # fmt: skip
    assert decisions[0][-2:] == ["mean specific: consumer", "producer"]
    _, decisions = tables(calib("conformity", "E-1", "--process", "100,8", records=job).out)
    assert decisions[0][-2:] == ["global: consumer", "producer"]


def probability(p):
    return "> 99.9 %" if p > 0.9995 else f"{100 * p:.1f} %"


def test_one_reading_before_adjustment_is_counted_in_the_singular(tmp_path):
    sheets = changed()
    sheets["readings.csv"] = [row | {"stage": ""} for row in sheets["readings.csv"]]
    sheets["readings.csv"][0]["stage"] = "before adjustment"
    told = " ".join(calib("conformity", "J-1", records=records_of(tmp_path, sheets)).out.split())
    assert "20 readings before adjustment or more (there is 1), or declared" in told


def test_the_process_is_said_with_where_it_comes_from(job):
    told = " ".join(calib("conformity", "E-1", records=job).out.split())
    assert (
        "no global risks: a process is estimated from 20 readings before adjustment or more (there are 0), or declared"
        in told
    )
    assert "mean specific risk of readings that no process describes" in told
    declared = " ".join(calib("conformity", "E-1", "--process", "98.5, 8", records=job).out.split())
    assert "global risks: true flows about 98.5 % of design with a standard deviation of 8.0 % (declared)" in declared
    assert "mean specific" not in declared


def test_readings_after_adjustment_say_what_their_risk_is_of(tmp_path):
    sheets = every_way()
    for row in sheets["readings.csv"]:
        row["stage"] = "after adjustment"
    records = records_of(tmp_path, sheets)
    told = " ".join(calib("conformity", "E-1", "--process", "100,8", records=records).out.split())
    assert (
        "mean specific risk, after setting to the reading: about right if the error stays at the outlet, high if it was read "
        "afresh; outlets left untouched can be worse, up to half again in simulations"
    ) in told
    assert "global: consumer" not in told
    (one,) = calib("conformity", "E-1", "--json", records=records).document["risks"]["decisions"]
    assert (one["outlets_of_process"], one["outlets_after_adjustment"], one["global_consumer_risk"]) == (0, 6, None)


@pytest.mark.parametrize("command", ["balance", "conformity"])
def test_how_likely_all_flows_conform_at_once_is_said(job, command):
    told = " ".join(calib(command, "E-1", records=job).out.split())
    (one,) = calib(command, "E-1", "--json", records=job).document["joint_probability"]
    assert (
        f"all 6 judged flows of system AH-1 conform at once with probability {probability(one['probability'])}" in told
    )
    assert one["probability"] == min(one[name]["probability"] for name in ("if_common", "if_independent"))


@pytest.mark.parametrize("typed", ["100,8", " 100 , 8 ", "100 %, 8 %", "1e2,8.0"])
def test_a_process_may_be_typed_in_these_ways(job, typed):
    process = calib("conformity", "E-1", "--process", typed, "--json", records=job).document["risks"]["process"]
    assert process == {"mean_percent_of_design": 100.0, "standard_deviation_percent": 8.0, "basis": "declared"}


def test_a_process_without_spread_within_its_tolerance_has_no_consumer_s_risk(job):
    risks = calib("conformity", "E-1", "--process", "100,0", "--json", records=job).document["risks"]
    assert risks["decisions"][0]["global_consumer_risk"] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("typed", ["", "100", "100,8,1", "0,8", "-100,8", "100,-8", "mean,sd", "nan,8", "100,inf", ","])
def test_a_process_that_is_none_is_told(job, typed):
    ran = calib("conformity", "E-1", f"--process={typed}", records=job)
    assert (ran.status, ran.out) == (2, "")
    assert "--process: " in ran.err
    assert "expected a mean above 0 and a standard deviation, both in percent of the design, like 100,8" in ran.err


def test_a_job_in_which_nothing_is_judged_has_a_rule_and_a_heading(tmp_path):
    sheets = every_way()
    for row in sheets["outlets.csv"]:
        row |= {"design_flow": "", "flow_unit": "", "tolerance_percent": ""}
    records = records_of(tmp_path, sheets)
    (outlets,) = tables(calib("conformity", "E-1", records=records).out)
    assert len(outlets) == 1
    document = calib("conformity", "E-1", "--json", records=records).document
    assert (document["outlets"], document["risks"]) == ([], None)


def test_systems_and_job_are_counted_where_there_are_several(tmp_path):
    sheets = every_way()
    sheets["outlets.csv"][2] |= {"design_flow": "400", "flow_unit": "L/s", "tolerance_percent": "10"}
    _, decisions = tables(calib("conformity", "E-1", records=records_of(tmp_path, sheets)).out)
    assert [row[:2] for row in decisions[1:]] == [["system AH-1", "6"], ["system AH-2", "1"], ["whole job", "7"]]


# --- both ------------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["balance", "conformity"])
@pytest.mark.parametrize(
    "words",
    [(), ("E-9",), ("E-1", "--units", "metric"), ("E-1", "--coverage-probability", "100"), ("E-1", "extra")],
)
def test_wrong_calls_exit_2(job, command, words):
    ran = calib(command, *words, records=job)
    assert (ran.status, ran.out) == (2, "")
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("command", ["balance", "conformity"])
def test_asking_writes_nothing(records, command):
    before = records.read_bytes(), ledger_head(records)
    calib(command, "E-1", records=records)
    assert (records.read_bytes(), ledger_head(records)) == before


LIFE = "Flows that protect life"
LICENSED = "are judged by the local code and a licensed practitioner, not by this program."
DUCTS = "Mind ladders, moving machinery and hot surfaces."
CAUTIONS = {
    ("balance",): (LIFE, LICENSED),
    ("conformity",): (LIFE, LICENSED),
    ("report",): (LIFE, LICENSED),
    ("traverse", "plan"): (DUCTS, "Do not drill test holes into ducts that carry hazardous air", "without the site's permission."),
    ("traverse", "add"): (DUCTS, "Do not open test holes in ducts that carry hazardous air", "without the site's permission."),
}  # fmt: skip


@pytest.mark.parametrize("words", CAUTIONS, ids=" ".join)
def test_the_usual_cautions_stand_in_the_help(words):
    told = " ".join(calib(*words, "--help").out.split())
    assert [one for one in CAUTIONS[words] if one not in told] == []


# --- correlations ----------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("small"), small_job())


def test_totals_are_worked_out_with_the_correlations_that_are_printed(small):
    """GUM 5.2.2, equation 13: u^2(a + b) = u^2(a) + u^2(b) + 2 r u(a) u(b); of a sum the upper r counts."""
    told = calib("correlations", "J-1", "--json", records=small).document
    place = {each["outlet"]: row for row, each in enumerate(told["readings"])}
    readings = calib("reading", "list", "J-1", "--json", records=small).document["readings"]
    u = {each["outlet"]: each["flow"]["expanded_uncertainty"] / each["flow"]["coverage_factor"] for each in readings}
    (supply,) = [
        each
        for each in calib("balance", "J-1", "--json", records=small).document["totals"]
        if each["service"] == "supply"
    ]
    r = told["r_high"][place["S-1"]][place["S-2"]]
    assert 0 < told["r_low"][place["S-1"]][place["S-2"]] <= r < 1
    expected = (u["S-1"] ** 2 + u["S-2"] ** 2 + 2 * r * u["S-1"] * u["S-2"]) ** 0.5
    assert supply["flow"]["expanded_uncertainty"] / supply["flow"]["coverage_factor"] == pytest.approx(
        expected, rel=1e-6
    )


def test_one_flow_has_the_row_of_the_matrix_and_what_both_share(small):
    told = calib("correlations", "J-1", "--json", records=small).document
    first = told["readings"][0]["reading"]
    others = calib("correlations", "J-1", "--reading", first, "--json", records=small).document["others"]
    assert [(each["r_low"], each["r_high"]) for each in others] == [
        pytest.approx(ends) for ends in list(zip(told["r_low"][0], told["r_high"][0], strict=True))[1:]
    ]
    assert any(each["shared"] for each in others)
    out = calib("correlations", "J-1", records=small).out
    assert all(each["outlet"] in out for each in told["readings"])


def test_a_system_that_the_job_has_not_is_told(small):
    assert calib("correlations", "J-1", "--system", "AH-1", "--json", records=small).document["system"] == "AH-1"
    ran = calib("correlations", "J-1", "--system", "AH-9", records=small)
    assert (ran.status, "--system: 'AH-9'; expected one of AH-1, with at most 100 flows" in ran.err) == (2, True)
