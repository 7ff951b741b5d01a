"""The report of a job measured in every way: every part that is new, in JSON, CSV and on the page; hostile text in it stays text.

Sources: the keys of `calib report --format json`, kept below as SHAPE; JCGM 100:2008, 5.1.2; common practice, no source, for
hostile text (spreadsheets run cells that begin with = + - @).
"""

import json
import math
import re

import pytest

from calib.faces.written import SIGNS
from tests.command import calib, copied
from tests.every_way import every_way
from tests.folders import records_of
from tests.report_forms import (
    CSV_RECORDS,
    MAYBE_NUMBER,
    MAYBE_TEXT,
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
    "interval": Maybe({"low": NUMBER, "high": NUMBER, "by": NUMBER}),
}  # fmt: skip
CONTRIBUTION = {
    "name": str, "evaluation": str, "standard_uncertainty": NUMBER, "degrees_of_freedom": MAYBE_NUMBER, "variance_percent": NUMBER,
    "shared_with": str,
}  # fmt: skip
LIMITS = {
    "tolerance_percent": MAYBE_NUMBER, "tolerance_minus_percent": MAYBE_NUMBER, "tolerance_plus_percent": MAYBE_NUMBER,
    "minimum_flow": MAYBE_NUMBER, "maximum_flow": MAYBE_NUMBER, "lower_limit": MAYBE_NUMBER, "upper_limit": MAYBE_NUMBER,
    "guard_band": MAYBE_NUMBER, "guard_factor": MAYBE_NUMBER, "guard_is_one_sided": Maybe(bool),
}  # fmt: skip
DESIGN = {
    "value": NUMBER, "unit": str, "percent_of_design": NUMBER, "conformity": str, "probability_of_conformity": NUMBER,
    "consumer_risk": NUMBER, "producer_risk": NUMBER, "state": str, "density_kg_per_m3": MAYBE_NUMBER, "flow": Maybe(FLOW),
    **LIMITS,
}  # fmt: skip
OBSERVED = {
    "quantity": str, "value": str, "unit": str, "observed_at": str, "instrument": MAYBE_TEXT, "standard_uncertainty": NUMBER,
    "source": MAYBE_TEXT,
}  # fmt: skip
CONDITIONS = {
    "name": str,
    "density": {"value": NUMBER, "unit": str, "standard_uncertainty": NUMBER},
    "contributions": [{"name": str, "standard_uncertainty": NUMBER}],
    "observed": [OBSERVED],
}
TRAVERSE = {
    "rule": str, "lines": int, "points": int, "passes": int, "velocity_unit": str,
    "velocities": [{"line": int, "point": int, "velocity": NUMBER}],
    "profile": {
        "low_share_percent": NUMBER, "skew_across_percent": MAYBE_NUMBER, "skew_up_percent": MAYBE_NUMBER,
        "largest_over_mean": MAYBE_NUMBER, "without_pressure_above_0": int, "findings": [str],
    },
}  # fmt: skip
READING = {
    "reading": int, "outlet": str, "system": str, "service": str, "place": str, "room": MAYBE_TEXT, "instrument": str,
    "certificate": str, "probe": Maybe({"tag": str, "certificate": str}), "conditions": Maybe(CONDITIONS), "observed_at": str,
    "stage": MAYBE_TEXT,
    "indication": MAYBE_TEXT, "observations": MAYBE_TEXT, "throttled_observations": MAYBE_TEXT, "traverse": Maybe(TRAVERSE),
    "observations_counted": int, "effective_observations": NUMBER, "logged": bool, "repeatability_is_pooled": bool,
    "indication_unit": str, "method": str,
    "operator": str, "remarks": MAYBE_TEXT, "averaging_s": MAYBE_TEXT, "latest": bool, "in_totals": bool,
    "found_factor": Maybe({"factor": str, "revision": int}), "flags": [str],
    "velocity": Maybe({"value": NUMBER, "unit": str, "standard_uncertainty": NUMBER}), "flow": FLOW,
    "dominant_contribution": MAYBE_TEXT, "contributions": [CONTRIBUTION], "design": Maybe(DESIGN),
}  # fmt: skip
TOTAL = {
    "system": str, "service": str, "outlets": int, "outlets_measured": int, "flow": Maybe(FLOW), "state": str,
    "density_kg_per_m3": MAYBE_NUMBER,
    "design": Maybe({
        "value": NUMBER, "unit": str, "percent_of_design": MAYBE_NUMBER, "conformity": MAYBE_TEXT,
        "probability_of_conformity": MAYBE_NUMBER, **LIMITS,
    }),
}  # fmt: skip
RISKS = {
    "process": Maybe({"mean_percent_of_design": NUMBER, "standard_deviation_percent": NUMBER, "basis": str}),
    "decisions": [{
        "system": str, "judged": int, "accepted": int, "expected_wrongly_accepted": NUMBER, "expected_wrongly_rejected": NUMBER,
        "global_consumer_risk": MAYBE_NUMBER, "global_producer_risk": MAYBE_NUMBER, "outlets_of_process": int,
        "mean_specific_consumer_risk": MAYBE_NUMBER, "mean_specific_producer_risk": MAYBE_NUMBER,
        "outlets_after_adjustment": int,
    }],
    "readings_before_adjustment": int, "about_the_risks": [str],
}  # fmt: skip
AMENDMENT = {
    "record": str, "revision": int, "changes": [{"column": str, "before": str, "after": str}], "reason": str, "by": str, "at": str,
    "flows": [{"reading": int, "before": FLOW, "after": FLOW}],
}  # fmt: skip
SHAPE = {
    "job": str, "title": MAYBE_TEXT, "site": MAYBE_TEXT, "client": MAYBE_TEXT, "revision": int, "issued": str, "decision_rule": str,
    "decision_rule_in_words": str, "agreed_by": MAYBE_TEXT, "agreed_on": MAYBE_TEXT, "validation": Maybe({
        "record_id": int, "at": str, "version": str, "platform": str, "result": str, "checks": int, "sha256": str, "by": str,
    }),
    "ledger_digest": str, "readings": [READING], "totals": [TOTAL], "job_totals": [TOTAL],
    "rooms": [{"room": str, "wanted": MAYBE_TEXT, "probability_as_wanted": MAYBE_NUMBER} | TOTAL], "risks": Maybe(RISKS),
    "joint_probability": [{
        "system": str, "outlets": int, "probability": NUMBER, "numerical_error": NUMBER,
        "if_common": {"probability": NUMBER, "numerical_error": NUMBER},
        "if_independent": {"probability": NUMBER, "numerical_error": NUMBER},
    }],
    "amendments": [AMENDMENT],
    "compared": {
        "density_kg_per_m3": MAYBE_NUMBER, "stated_density_kg_per_m3": MAYBE_NUMBER, "state": str,
        "air_not_known": [{"outlet": str, "reasons": [str]}],
    },
    "refusals": [{"outlet": str, "system": str, "service": str, "instrument": str, "observed_at": str, "reasons": [str]}],
    "instruments": [{"tag": str, "certificate": str, "due_on": str, "measuring_interval": str}], "cautions": [str],
    "written_by": str,
}  # fmt: skip


def whole(text=""):
    """The job with all that a report can show, and a text before what stands in the free cells of what is new.

    S-1 has a later velocity pressure near what DM-1 can tell from zero; S-3 has two readings, and FH-1 is suspended between them.
    """
    sheets = every_way()
    sheets["comparisons.csv"][0]["expanded_uncertainty"] = "1.2"
    readings = sheets["readings.csv"]
    readings += [
        readings[3] | {
            "instrument": "DM-1", "unit": "Pa", "observations": "5.4;5.6;5.3", "observed_at": "2026-03-05T11:10+01:00",
            "probe": "PT-1", "conditions": "rooms", "remarks": "slow",
        },
        readings[5] | {"observed_at": "2026-03-05T10:15+01:00", "observations": "603;602;608", "remarks": "filter wet"},
    ]  # fmt: skip
    for file, columns in TYPED.items():
        for row in sheets[file]:
            row.update({column: f"{text}{row[column]}" for column in columns if row[column]})
    for row in (row for name in REGISTER for row in sheets[name]):
        row["tag"] = f"{text}PT-1" if row["tag"] == "PT-1" else row["tag"]
    return sheets


TYPED = {
    "outlets.csv": ("room", "outlet_type", "system"),
    "rooms.csv": ("room",),
    "systems.csv": ("system",),
    "conditions.csv": ("conditions", "source"),
    "readings.csv": ("conditions", "probe", "remarks"),
}
REGISTER = ("instruments.csv", "calibrations.csv", "comparisons.csv")


def made(folder, text=""):
    """Records of the whole job: an instrument suspended, two outlets amended."""
    records = records_of(folder, whole(text))
    reason = f"{text}at the frame"
    amend = ("outlet", "amend", "E-1")
    for words in (
        ("instrument", "suspend", "FH-1", "--reason", f"{text}dropped", "--at", "2026-03-05T10:25+01:00"),
        (*amend, "S-1", "--set", "width=410", "--set", f"outlet_type={text}grille H", "--reason", reason),
        (*amend, "S-2", "--set", "design_flow=455", "--reason", reason),
    ):
        assert calib(*words, "--by", f"{text}B. Person", records=records).status == 0
    return records


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return made(tmp_path_factory.mktemp("whole"))


@pytest.fixture(scope="module")
def report(records, tmp_path_factory):
    texts = report_of(records, tmp_path_factory.mktemp("report"), job="E-1")
    return texts | {"content": json.loads(texts["json"]), "page": Page.of(texts["html"])}


def reading(report, outlet, at=""):
    """The reading at an outlet, the one of a time where it has several."""
    (one,) = [
        one for one in report["content"]["readings"] if one["outlet"] == outlet and one["observed_at"][11:16] >= at
    ]
    return one


# --- JSON ------------------------------------------------------------------------------------------------------------------------


def test_the_report_has_every_key(report):
    assert list(misfits(report["content"], SHAPE)) == []


@pytest.mark.parametrize("part", ["readings", "totals", "job_totals", "rooms", "amendments", "refusals", "instruments"])
def test_every_part_has_something_to_show(report, part):
    assert len(report["content"][part]) >= (1 if part == "refusals" else 2)
    assert len(report["content"]["risks"]["decisions"]) == 1


def test_a_hood_indicates_the_flow_and_no_velocity(report):
    assert [one["outlet"] for one in report["content"]["readings"] if one["velocity"] is None] == ["S-2", "S-3"]
    assert {one["instrument"] for one in report["content"]["readings"] if one["velocity"] is None} == {"FH-1"}


def test_a_traverse_has_no_indication_but_the_velocity_at_each_point(report):
    for outlet, count, unit in (("D-1", 12, "m/s"), ("D-2", 25, "m/s"), ("D-3", 12, "m/s")):
        one = reading(report, outlet)
        assert (one["indication"], one["observations"]) == (None, None)
        assert len(one["traverse"]["velocities"]) == count
        assert one["traverse"]["velocity_unit"] == one["velocity"]["unit"] == unit
        # Every point of these three stands for the same share of the section.
        mean = math.fsum(each["velocity"] for each in one["traverse"]["velocities"]) / count
        assert one["velocity"]["value"] == pytest.approx(mean, rel=1e-9)
    assert reading(report, "X-1")["traverse"] is None


def test_places_rooms_probe_and_conditions_are_named(report):
    one = reading(report, "D-1")
    assert (one["place"], one["room"], one["probe"]) == ("duct", None, {"tag": "PT-1", "certificate": "E-102"})
    assert [(each["quantity"], each["value"], each["instrument"]) for each in one["conditions"]["observed"]] == [
        ("temperature", "24.1", "TH-1"),
        ("barometric pressure", "97.52", "BA-1"),
        ("static pressure", "240", "DM-1"),
        ("relative humidity", "38.5", "HY-1"),
    ]
    assert (reading(report, "X-1")["place"], reading(report, "X-1")["room"]) == ("outlet", "Wash")
    assert reading(report, "X-1")["conditions"] is None


def test_the_density_s_contributions_add_in_squares(report):
    for one in report["content"]["readings"]:
        if one["conditions"]:
            u = math.hypot(*(each["standard_uncertainty"] for each in one["conditions"]["contributions"]))
            assert one["conditions"]["density"]["standard_uncertainty"] == pytest.approx(u, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "outlet", "at", "shared"),
    [
        ("density", "D-2", "", "readings with the conditions plant room, or by their instruments"),
        ("probe", "D-1", "", "readings with the probe PT-1"),
        ("back pressure", "S-3", "", "readings with FH-1"),
        ("outlet factor", "X-1", "", "outlets whose factor comes from: data sheet"),
        ("method", "S-2", "", "not known, readings by hood"),
    ],
)
def test_a_budget_says_with_what_a_contribution_is_shared(report, name, outlet, at, shared):
    lines = {one["name"]: one for one in reading(report, outlet, at)["contributions"]}
    assert lines[name]["shared_with"] == shared
    assert lines[name]["standard_uncertainty"] > 0


def test_budgets_list_what_contributes(report):
    listed = {(one["outlet"], each["name"]) for one in report["content"]["readings"] for each in one["contributions"]}
    assert {outlet for outlet, name in listed if name == "probe"} == {"D-1", "S-1"}
    assert {outlet for outlet, name in listed if name == "back pressure"} == {"S-3"}
    assert {outlet for outlet, name in listed if name == "density"} == {"D-1", "D-2", "D-3", "S-1"}


def test_a_low_velocity_pressure_is_flagged(report):
    flagged = [(one["outlet"], one["flags"]) for one in report["content"]["readings"] if one["flags"]]
    ((outlet, (flag,)),) = flagged
    assert outlet == "S-1"
    assert re.match(r"DM-1: velocity pressure 5\.\d* Pa with its expanded uncertainty 1\.\d* Pa leaves", flag)


def test_a_reading_that_is_refused_now_is_kept_with_what_was_typed(report):
    (refused,) = report["content"]["refusals"]
    assert (refused["outlet"], refused["observed_at"], refused["unit"]) == ("S-3", "2026-03-05T10:30+01:00", "m3/h")
    assert refused["observations"] == "601;606;603"
    assert refused["reasons"][0].startswith("FH-1: suspended since 2026-03-05T10:25")


def test_instruments_of_probe_and_conditions_are_listed_too(report):
    tags = [one["tag"] for one in report["content"]["instruments"]]
    assert tags == ["BA-1", "DM-1", "FH-1", "HY-1", "PT-1", "TA-1", "TH-1", "VF-1"]


# --- CSV -------------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("record", CSV_RECORDS)
def test_csv_and_json_agree_to_the_last_digit(report, record):
    assert report["content"][CSV_RECORDS[record][0]]
    assert list(csv_misfits(report["csv"], report["content"], record)) == []


def test_csv_gives_flags_reasons_and_amended_cells(report):
    rows, content = table(report["csv"]), report["content"]
    flags = [row["flags"] for row in rows if row["record"] == "reading"]
    assert flags == [" | ".join(one["flags"]) for one in content["readings"]]
    reasons = [row["reasons"] for row in rows if row["record"] == "refusal"]
    assert reasons == [" | ".join(one["reasons"]) for one in content["refusals"]]
    assert amended_cells(report["csv"]) == amended_cells_of(content)
    assert len(amended_cells_of(content)) == 3


# --- the page --------------------------------------------------------------------------------------------------------------------


def stated(flow):
    """value ± U unit, and k, as the statement has them."""
    return re.fullmatch(r"\((.*)\) (\S+), k = (.*)", flow["statement"]).groups()


def flow_and_k(flow):
    value, unit, k = stated(flow)
    return [f"{value.replace('-', '−')} {unit}", k]


def percent(p):
    return "> 99.9 %" if p > 0.9995 else "< 0.1 %" if p < 0.0005 else f"{100 * p:.1f} %"


def risk(p):
    return "< 0.01 %" if p < 1e-4 else f"{100 * p:.2g} %"


def near(cell, value):
    """Whether a cell shows a value to two significant digits, in its unit."""
    return float(cell.split()[0].replace("−", "-")) == pytest.approx(value, rel=0.051)


def test_the_page_stands_by_itself(report):
    assert outside(report["page"]) == []
    assert re.findall(r"@import|url\((?!#)|javascript:", report["html"]) == []


def test_every_reading_stands_on_the_page(report):
    """Beside its design: those that count by their outlets, earlier ones by their numbers with the evidence."""
    for one in report["content"]["readings"]:
        said = [*flow_and_k(one["flow"]), *judged(one["design"])]
        rows = [row for row in report["page"].rows if row[-len(said) :] == said]
        own = [] if one["latest"] else [str(one["reading"])]
        (row,) = [row for row in rows if row[: len(own)] == own and row[len(own)].startswith(one["outlet"])]
        assert len(row) == len(own) + 2 + len(said)
        assert row[len(own) + 1] == one["service"]
        assert ("(duct)" in row[len(own)]) == (one["place"] == "duct")
        assert ("(a later reading counts)" in row[len(own)]) == (not one["latest"])


def judged(design):
    if design is None:
        return ["none", "", "", "", ""]
    return [
        in_both_units(design), f"± {design['tolerance_percent']:g} %",
        f"{design['percent_of_design']:.1f}", signed(design["conformity"]), percent(design["probability_of_conformity"]),
    ]  # fmt: skip


def test_when_and_with_what_each_reading_was_taken_stands_with_the_evidence(report):
    taken = {row[0]: row for row in report["page"].under("Taken with")}
    evidence = {row[0]: row for row in report["page"].under("Reading", "Outlet", "Observed")}
    for one in report["content"]["readings"]:
        # All readings of the job are of one day and one zone, said once: its rows give the time.
        assert one["observed_at"][:10] + one["observed_at"][16:] == "2026-03-05+01:00"
        row = evidence[str(one["reading"])]
        assert row[1:3] == [one["outlet"], one["observed_at"][11:16]]
        assert taken[row[3]][1].startswith(f"{one['instrument']}, certificate")
        assert (row[-2] == "") == (one["velocity"] is None)


def in_both_units(design):
    """A design in the report's unit, and as it was typed where that is another."""
    typed = design["typed"]
    said = f"{design['value']:.4g} {design['unit']}"
    return said if typed["unit"] == design["unit"] else f"{said} {typed['value']} {typed['unit']}"


def signed(statement):
    """A statement of conformity with its sign."""
    return f"{SIGNS[statement]} {statement}" if statement else ""


def total_cells(one):
    design = one["design"] or {}
    tolerance, share, p = (
        design.get(name) for name in ("tolerance_percent", "percent_of_design", "probability_of_conformity")
    )
    is_whole = one["outlets_measured"] == one["outlets"]
    return [
        "total" if is_whole else f"total of {one['outlets_measured']} of {one['outlets']}, incomplete",
        one["service"],
        *flow_and_k(one["flow"]),
        f"{design['value']:.4g} {design['unit']}" if design else "",
        f"± {tolerance:g} %" if tolerance else "",
        "" if share is None else f"{share:.1f}",
        signed(design.get("conformity")),
        "" if p is None else percent(p),
    ]


def test_every_total_stands_on_the_page(report):
    totals = [row for row in report["page"].rows if row[0].startswith("total") and len(row) == 9]
    content = report["content"]
    assert totals == [total_cells(one) for one in (*content["totals"], *content["job_totals"])]
    assert len(report["page"].under("All systems")) == len(content["job_totals"])


def test_every_room_stands_on_the_page(report):
    asked = {"positive": "a surplus of supply", "negative": "a surplus of extract"}
    assert report["page"].under("Room") == [
        [one["room"], *flow_and_k(one["flow"]), asked[one["wanted"]], percent(one["probability_as_wanted"]), "2 of 2"]
        for one in report["content"]["rooms"]
    ]
    assert "the pressure itself was not measured" in report["page"].text


def test_the_risks_stand_on_the_page(report):
    risks = report["content"]["risks"]
    (one,) = risks["decisions"]
    assert report["page"].under("Decisions") == [
        [
            "System AH-1", str(one["judged"]), str(one["accepted"]), f"{one['expected_wrongly_accepted']:.2f}",
            f"{one['expected_wrongly_rejected']:.2f}",
            risk(one["mean_specific_consumer_risk"]), risk(one["mean_specific_producer_risk"]),
        ]
    ]  # fmt: skip
    assert risks["process"] is None
    assert "No global risks: a process is estimated from 20 readings before adjustment or more" in report["page"].text
    assert report["page"].under("All conform at once") == [
        [
            "System AH-1", str(one["outlets"]), percent(one["probability"]), f"{100 * one['numerical_error']:.1g} %",
            percent(one["if_common"]["probability"]), percent(one["if_independent"]["probability"]),
        ]
        for one in report["content"]["joint_probability"]
    ]  # fmt: skip


def test_every_amendment_stands_on_the_page_with_the_flow_before_and_after(report):
    rows = report["page"].under("Corrected")
    amendments = report["content"]["amendments"]
    for row, one in zip(rows, amendments, strict=True):
        assert row[0] == f"{one['record']}, revision {one['revision']}"
        for each in one["changes"]:
            assert f"{each['column'].replace('_', ' ')}: {each['before']} → {each['after']}" in row[1]
        assert row[2] == one["reason"]
        assert row[3].startswith(f"{one['by']}, {one['at'][:16].replace('T', ' ')}")
        last = one["flows"][-1]
        assert row[4:] == [flow_and_k(last[part])[0] for part in ("before", "after")]
    assert amendments[0]["flows"][-1]["before"] != amendments[0]["flows"][-1]["after"]
    assert report["content"]["revision"] == 1
    assert "Corrected. 2 corrections were made since the job was first entered" in report["page"].text


def test_the_refused_reading_stands_on_the_page(report):
    (one,) = report["content"]["refusals"]
    assert report["page"].under("Outlet", "System", "Indicated; remarks") == [
        [
            "S-3",
            "AH-1, supply",
            "FH-1 indicated 601, 606, 603 m3/h",
            "2026-03-05 10:30",
            "; ".join(one["reasons"]),
            "FH-1 at 2026-03-05 10:15 counts",
        ]
    ]
    assert "1 was refused (S-3: FH-1 at 2026-03-05 10:15 counts)" in report["page"].text


def skew(share):
    return "–" if share is None else f"{share:+.0f} %".replace("-", "−")


def test_every_traverse_stands_on_the_page(report):
    expected = []
    for one in report["content"]["readings"]:
        if one["traverse"]:
            traverse, profile = one["traverse"], one["traverse"]["profile"]
            expected.append([
                one["outlet"], traverse["rule"], f"{traverse['lines']} × {traverse['points']}", str(traverse["passes"]),
                f"{profile['largest_over_mean']:.2f}", f"{profile['low_share_percent']:.0f} %",
                f"{skew(profile['skew_across_percent'])}, {skew(profile['skew_up_percent'])}",
                "; ".join(profile["findings"]) or "nothing stands out",
            ])  # fmt: skip
    assert report["page"].under("Duct") == expected
    assert [row[:4] for row in expected] == [
        ["D-1", "log-linear", "2 × 6", "3"],
        ["D-2", "log-Tchebycheff", "5 × 5", "1"],
        ["D-3", "equal-area", "3 × 4", "2"],
    ]


def test_the_conditions_of_the_air_stand_on_the_page_once(report):
    used = {one["conditions"]["name"]: one["conditions"] for one in report["content"]["readings"] if one["conditions"]}
    rows = report["page"].under("Conditions")
    assert [row[0] for row in rows] == list(used) == ["plant room", "rooms"]
    for row, one in zip(rows, used.values(), strict=True):
        assert row[1] == f"{one['density']['value']:.4f} kg/m3"
        assert near(row[2], one["density"]["standard_uncertainty"])
        for each in one["observed"]:
            by, shown = each["instrument"] or each["source"], each["unit"].replace("degC", "°C")
            typed = re.escape(f"{each['quantity']} {each['value']} {shown} ({by}, u = ")
            found = re.search(rf"{typed}(\S+)\)", row[3])
            assert near(found[1], each["standard_uncertainty"])


def test_what_is_flagged_stands_on_the_page(report):
    (flag,) = reading(report, "S-1", "11:00")["flags"]
    assert f"S-1: {flag}." in report["page"].text


def test_every_line_of_each_budget_stands_on_the_page(report):
    readings = report["content"]["readings"]
    (header,) = [row for row in report["page"].rows if row[:2] == ["Outlet", "Repeatability"]]
    names = [name.lower() for name in header[1:-2]]
    for row, one in zip(report["page"].under("Outlet", "Repeatability"), readings, strict=True):
        shown = {name: cell for name, cell in zip(names, row[1:-2], strict=True) if cell}
        listed = {each["name"]: each["standard_uncertainty"] for each in one["contributions"]}
        assert shown.keys() == listed.keys()
        assert all(near(shown[name], u) for name, u in listed.items())
        assert near(row[-2], one["flow"]["standard_uncertainty"])
        dof = one["flow"]["effective_degrees_of_freedom"]
        assert float(row[-1]) == pytest.approx(dof, rel=0.005)
        assert "." not in row[-1] or dof < 100


# --- units -----------------------------------------------------------------------------------------------------------------------

CFM = {"m3/h": 1 / (0.3048**3 * 60), "L/s": 3.6 / (0.3048**3 * 60)}
FPM = 60 / 0.3048


@pytest.fixture(scope="module")
def in_feet(records, tmp_path_factory):
    folder = tmp_path_factory.mktemp("feet")
    assert calib("report", "E-1", "--units", "ip", "--into", folder, records=records).status == 0
    texts = {form: (folder / f"E-1.{form}").read_text(encoding="utf-8") for form in ("json", "csv", "html")}
    return texts | {"content": json.loads(texts["json"]), "page": Page.of(texts["html"])}


def in_cfm(flow, typed):
    factor = CFM[typed["unit"]]
    names = ("value", "standard_uncertainty", "expanded_uncertainty")
    return flow["unit"] == "cfm" and [flow[name] for name in names] == pytest.approx(
        [factor * typed[name] for name in names], rel=1e-9
    )


def test_every_flow_is_printed_in_cfm_and_every_velocity_in_fpm(report, in_feet):
    for part in ("readings", "totals", "job_totals", "rooms"):
        for one, typed in zip(in_feet["content"][part], report["content"][part], strict=True):
            assert in_cfm(one["flow"], typed["flow"])
            if typed["design"]:
                assert one["design"]["unit"] == "cfm"
                assert one["design"]["percent_of_design"] == typed["design"]["percent_of_design"]
            if typed.get("velocity"):
                assert one["velocity"]["unit"] == "fpm"
                assert one["velocity"]["value"] == pytest.approx(FPM * typed["velocity"]["value"], rel=1e-9)
            if typed.get("traverse"):
                assert one["traverse"]["velocity_unit"] == "fpm"
                points = [[each["velocity"] for each in each_["traverse"]["velocities"]] for each_ in (one, typed)]
                assert points[0] == pytest.approx([FPM * v for v in points[1]], rel=1e-9)
    for one, typed in zip(in_feet["content"]["amendments"], report["content"]["amendments"], strict=True):
        for flow, other in zip(one["flows"], typed["flows"], strict=True):
            assert in_cfm(flow["before"], other["before"])
            assert in_cfm(flow["after"], other["after"])


def test_no_other_unit_of_flow_is_left_on_the_page_or_in_the_table(in_feet):
    assert {row["flow_unit"] for row in table(in_feet["csv"])} == {"cfm", ""}
    # What instruments are calibrated in, and what was typed of readings and of the air, stays as it is.
    before, _, typed = in_feet["html"].partition('id="worked-out"')
    page = Page.of(before + typed.partition('id="traverses"')[2].partition('id="in-full"')[0])
    tables = [row for row in page.rows if row[0] not in ("FH-1", "TA-1", "VF-1", "PT-1")]
    designs = {
        in_both_units(each["design"]) for each in in_feet["content"]["readings"] if each["design"]
    }  # as typed, beside
    cells = [cell for row in tables for cell in row if cell not in designs and " indicated " not in cell]
    assert [cell for cell in cells if re.search(r"m3/h|L/s|m/s", cell)] == []


def test_figures_that_have_no_unit_are_the_same_in_every_unit(report, in_feet):
    assert in_feet["content"]["risks"] == report["content"]["risks"]
    for one, typed in zip(in_feet["content"]["readings"], report["content"]["readings"], strict=True):
        assert one["conditions"] == typed["conditions"]
        assert one["flow"]["coverage_factor"] == typed["flow"]["coverage_factor"]


# --- hostile text ----------------------------------------------------------------------------------------------------------------

HOSTILE = {
    "html": "<script>alert(1)</script><img src=x onerror=alert(2)>\"' onload=alert(3) {{ 7*7 }} </td></style></svg> &lt;",
    "equals": '=HYPERLINK("http://x";"y")',
    "plus": "+1+cmd|' /C calc'!A0",
    "minus": "-2+3",
    "at": "@SUM(A1)",
    "marks": "\u202etxet\u202c \u200f \u2066x\u2069",
    "long": "x" * 10_000,
    "emoji": "\N{GRINNING FACE}\N{FAMILY}測",
    "lines": "one\ntwo\r\nthree",
}
# The drawing library warns of a sign that its font lacks.
DRAWN = pytest.mark.filterwarnings("ignore:Glyph", "ignore:constrained_layout")


@pytest.fixture(scope="module", params=HOSTILE)
def attacked(request, tmp_path_factory):
    """A text, and the reports of a job that holds it in every free cell of what is new."""
    folder, text = tmp_path_factory.mktemp("hostile"), HOSTILE[request.param]
    written = report_of(made(folder, text), folder / "out", job="E-1")
    return text, written | {"content": json.loads(written["json"]), "page": Page.of(written["html"])}


@DRAWN
def test_hostile_text_runs_nowhere(attacked):
    _, written = attacked
    assert outside(written["page"]) == []
    curves = [one["curve"] for one in written["content"]["instruments"]]
    drawn = sum(len(curve["coefficients"]) > 1 for curve in curves)
    assert len(written["page"].drawings) == 1 + drawn  # the verdict, and curves that are not constants
    assert run_by_a_spreadsheet(written["csv"]) == []


@DRAWN
def test_hostile_text_is_shown_as_typed(attacked):
    text, written = attacked
    shown = " ".join(text.split())
    cells = {cell for row in written["page"].rows for cell in row}
    for typed in ("Store", "plant room", "at the frame"):
        assert {f"{shown}{typed}", f"{shown} {typed}"} & cells
    for typed in ("PT-1", "weather station corrected for height", "grille G → ", "dropped", "B. Person, 20", "AH-1"):
        assert any(f"{shown}{typed}" in cell or f"{shown} {typed}" in cell for cell in cells)


@DRAWN
def test_hostile_text_is_whole_in_the_json(attacked):
    text, written = attacked
    content = written["content"]
    assert list(misfits(content, SHAPE)) == []
    assert content["rooms"][0]["room"] == f"{text}Store".strip()
    duct = next(one for one in content["readings"] if one["outlet"] == "D-1")
    assert (duct["probe"]["tag"], duct["conditions"]["name"]) == (f"{text}PT-1".strip(), f"{text}plant room".strip())
    assert next(one for one in content["readings"] if one["outlet"] == "X-1")["remarks"] == f"{text}one pass".strip()
    amendment = content["amendments"][0]
    assert (amendment["reason"], amendment["by"]) == (f"{text}at the frame".strip(), f"{text}B. Person".strip())


@DRAWN
def test_hostile_text_is_whole_in_the_csv(attacked):
    text, written = attacked
    rows = table(written["csv"])
    assert [row["record"] for row in rows] == (
        ["report"]
        + ["reading"] * 8
        + ["total"] * 5
        + ["job total"] * 4
        + ["room"] * 2
        + ["refusal"]
        + ["amendment"] * 3
        + ["instrument"] * 8
        + ["cross-check"]
        + ["joint probability"]
    )
    rows = rows[1:]
    before = "'" if text[0] in "=+-@" else ""
    assert rows[0]["probe"] == f"{before}{text}PT-1".strip()
    assert next(row for row in rows if row["record"] == "room")["room"] == f"{before}{text}Store".strip()
    amended = [row for row in rows if row["record"] == "amendment"]
    assert {row["reasons"] for row in amended} == {f"{before}{text}at the frame".strip()}
    assert f"{before}{text}grille H" in {row["after"] for row in amended}


# --- commands on such a job ------------------------------------------------------------------------------------------------------

READERS = [
    *(("reading", "show", str(number)) for number in (1, 2, 3, 4, 5, 7, 8, 9)),
    *(("budget", str(number)) for number in (1, 2, 3, 4, 5, 7, 8, 9)),
    *(("calibration", "show", tag) for tag in ("DM-1", "PT-1", "TA-1", "VF-1", "FH-1", "TH-1", "BA-1", "HY-1")),
    *(("instrument", "show", tag) for tag in ("PT-1", "FH-1")),
    *(("outlet", "show", "E-1", outlet) for outlet in ("D-1", "D-3", "S-1", "S-2")),
    *(("traverse", "plan", "E-1", duct) for duct in ("D-1", "D-2")),
    ("traverse", "plan", "E-1", "D-3", "--rule", "equal-area"),
    ("ready", "DM-1", "PT-1", "TA-1", "VF-1", "TH-1", "--on", "2026-03-05"),
    ("instrument", "list"),
    ("calibration", "list"),
    ("check", "list"),
    ("method", "list"),
    ("factor", "list"),
    ("due", "--on", "2026-03-05"),
    ("reading", "list", "E-1"),
    ("outlet", "list", "E-1"),
    ("conditions", "list", "E-1"),
    ("balance", "E-1"),
    ("conformity", "E-1"),
    ("conformity", "E-1", "--process", "100,8", "--units", "ip"),
    ("balance", "E-1", "--units", "ip"),
    ("verify",),
    ("upgrade",),
]


@pytest.mark.parametrize("words", READERS, ids=" ".join)
def test_every_answer_has_lines_without_trailing_space_and_one_json_document(records, words):
    told, asked = calib(*words, records=records), calib(*words, "--json", records=records)
    assert (told.status, asked.status) == (0, 0)
    assert [line for line in told.out.splitlines() if line != line.rstrip()] == []
    assert told.out.strip()
    assert isinstance(asked.document, dict)


def test_a_reading_that_is_refused_now_is_told(records):
    ran = calib("reading", "show", "6", records=records)
    assert (ran.status, ran.out) == (3, "")
    assert "FH-1: suspended since" in ran.err


def test_asking_writes_nothing(records, tmp_path):
    mine = copied(records, tmp_path / "records.sqlite")
    before = mine.read_bytes()
    for words in (
        ("balance", "E-1"),
        ("conformity", "E-1"),
        ("outlet", "show", "E-1", "S-1"),
        ("conditions", "list", "E-1"),
    ):
        calib(*words, records=mine)
    report_of(mine, tmp_path / "out", job="E-1")
    assert mine.read_bytes() == before


def test_the_report_issued_at_a_stated_time_is_the_same_each_time(records, tmp_path):
    for name in ("one", "two"):
        report_of(records, tmp_path / name, "json,csv,html", "E-1", "--issued", "2026-03-06T09:00+00:00")
    for form in ("json", "csv", "html"):
        assert (tmp_path / "one" / f"E-1.{form}").read_bytes() == (tmp_path / "two" / f"E-1.{form}").read_bytes()


def test_the_records_of_such_a_job_verify(records):
    assert calib("verify", "--json", records=records).document["findings"] == []
