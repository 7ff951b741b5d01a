"""`calib traverse add` and `calib traverse plan JOB DUCT` as a person types them: the same record as by import.

Sources: `calib help` (commands, exit-statuses); the positions of log-linear printed with the rule (ISO 3966, from memory).
"""

import io
import re

import pytest

from calib.procedures.measure.evaluate import evaluate
from calib.records import database
from calib.records.tables.conditions import Condition
from calib.records.tables.readings import Reading, Refusal, Traverse, TraversePoint
from tests.command import calib, copied
from tests.every_way import every_way
from tests.folders import NOW, all_of, ledger_head, only, records_of

AT = "2026-03-05T09:10+01:00"
PIPE = (
    "--instrument", "DM-1", "--probe", "PT-1", "--conditions", "plant room", "--unit", "Pa", "--method", "traverse",
    "--rule", "log-linear", "--lines", "2", "--points", "6", "--at", AT, "--by", "T. One",
)  # fmt: skip
# Every point of D-1 in three passes, as tests.every_way has them.
LINES = [
    "21.2;20.8;21.5 29.0;28.6;29.4 34.1;33.7;34.3 34.8;34.2;35.0 29.9;29.5;30.1 22.0;21.4;22.1",
    "20.1;19.9;20.6 28.2;27.9;28.6 33.5;33.0;33.9 34.4;34.0;34.7 30.2;29.8;30.6 23.1;22.6;23.3",
]
POINTS = [point.split(";") for line in LINES for point in line.split()]
PASSES = [[point[passage] for point in POINTS] for passage in range(3)]


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """The job without readings."""
    sheets = every_way()
    return records_of(tmp_path_factory.mktemp("job"), {name: sheets[name] for name in sheets if name not in TAKEN})


TAKEN = ("readings.csv", "traverses.csv")


@pytest.fixture
def records(job, tmp_path):
    return copied(job, tmp_path / "records.sqlite")


@pytest.fixture(scope="module")
def imported(tmp_path_factory):
    """The job with the reading at D-1 imported."""
    sheets = every_way()
    for name in TAKEN:
        sheets[name] = [row for row in sheets[name] if row["outlet"] == "D-1"]
    return records_of(tmp_path_factory.mktemp("imported"), sheets)


def by_line(*lines):
    return [word for line in lines for word in ("--line", line)]


def add(records, *words, duct="D-1", options=PIPE, job="E-1"):
    return calib("traverse", "add", job, duct, *options, *words, records=records)


def typing(monkeypatch, answers):
    """A person who types these answers, and then no more."""
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{one}\n" for one in answers)))


def asked(err):
    """Every question that was put."""
    return re.findall(r"pass \d+, line \d+, point \d+ \(.*?\) \[.*?\]: ", err)


def kept(records):
    """Readings, traverses and their points, and each flow."""
    with database.reading(str(records)) as session:
        of = [[one.model_dump() for one in all_of(session, table)] for table in (Reading, Traverse, TraversePoint)]
        found = evaluate(session, "E-1", NOW)
        return of, found.flow.value.tolist(), found.flow.combined.standard_uncertainty.tolist()


def refused(records, *words, **named):
    """Lines of what is wrong; nothing was written."""
    before = ledger_head(records)
    ran = add(records, *words, **named)
    assert (ran.status, ran.out) == (2, "")
    assert "Traceback" not in ran.err
    assert ledger_head(records) == before
    return ran.err


# --- line by line ----------------------------------------------------------------------------------------------------------------


def test_a_traverse_typed_line_by_line_is_recorded(records):
    ran = add(records, *by_line(*LINES))
    assert (ran.status, ran.err) == (0, "")
    assert re.match(r"reading \d+, D-1: \(\d+ ± \d+\) ", ran.out)


def test_the_record_is_the_same_as_by_import(records, imported):
    add(records, *by_line(*LINES))
    assert kept(records) == kept(imported)


def test_the_answer_in_json_is_one_document(records):
    document = add(records, *by_line(*LINES), "--json").document
    assert (document["job"], document["outlet"], document["refused"], document["reasons"]) == ("E-1", "D-1", False, [])
    assert document["flow"]["unit"] in {"m3/h", "L/s", "m3/s"}


def test_a_traverse_without_a_probe_and_with_the_usual_numbers(records):
    """D-2 is rectangular: five lines with five points by log-Tchebycheff, the rule that is taken where none is named."""
    words = ("--instrument", "TA-1", "--unit", "m/s", "--method", "traverse", "--conditions", "plant room")
    rows = [
        "2.9 3.4 3.5 3.4 2.8",
        "3.3 3.8 4.0 3.8 3.2",
        "3.4 4.0 4.2 4.0 3.3",
        "3.2 3.9 4.0 3.8 3.2",
        "2.8 3.3 3.5 3.3 2.8",
    ]
    assert add(records, *by_line(*rows), "--at", AT, duct="D-2", options=words).status == 0
    ((reading,), (traverse,), points), *_ = kept(records)
    assert (traverse["rule"], traverse["lines"], traverse["points"]) == ("log-Tchebycheff", 5, 5)
    assert (reading["observed_at"], reading["unit"], reading["indication"]) == (AT, "m/s", None)
    assert [one["indications"] for one in points] == " ".join(rows).split()


@pytest.mark.parametrize("rule", ["Log-Linear", "LOG-LINEAR"])
def test_a_rule_may_be_typed_in_capital_letters(records, imported, rule):
    assert add(records, *by_line(*LINES), options=option("--rule", rule)).status == 0
    assert kept(records) == kept(imported)


def test_standing_air_may_be_typed(records):
    """Pressures of 0 and below it are no velocity, and are kept as typed."""
    lines = [line.replace("20.1;19.9;20.6", "-0.4;0.0;-0.1") for line in LINES]
    assert add(records, *by_line(*lines)).status == 0
    assert "-0.4;0.0;-0.1" in [one["indications"] for one in kept(records)[0][2]]


WRONG_LINES = {
    "a line too few": (LINES[:1], "--line: '1 lines'; expected 2 lines"),
    "a line too many": ([*LINES, LINES[0]], "--line: '3 lines'; expected 2 lines"),
    "a point too few": ([LINES[0], "1 2 3 4 5"], "--line: 'line 2: 5 values'; expected 6 values parted by blanks"),
    "a point too many": ([LINES[0], "1 2 3 4 5 6 7"], "--line: 'line 2: 7 values'; expected 6 values parted by blanks"),
    "no number": ([LINES[0].replace("29.0", "29,0"), LINES[1]], "line 1, point 2, indications: '29,0;28.6;29.4'"),
    "a pass too few": (
        [LINES[0].replace("29.0;28.6;29.4", "29.0;28.6"), LINES[1]],
        "line 1, point 2, indications: '29.0;28.6'; expected",
    ),
}


@pytest.mark.parametrize("case", WRONG_LINES)
def test_wrong_lines_are_named_and_nothing_is_written(records, case):
    lines, named = WRONG_LINES[case]
    assert named in refused(records, *by_line(*lines))


def test_what_is_wrong_with_several_lines_is_named_at_once(records):
    err = refused(records, *by_line("1 2", "1 2 3", LINES[0]))
    assert [line for line in err.splitlines() if "--line" in line] == err.splitlines()
    assert len(err.splitlines()) == 3


def option(name, value):
    """The options with one changed."""
    words = list(PIPE)
    words[words.index(name) + 1] = value
    return words


WRONG_OPTIONS = {
    ("--rule", "log-linea"): "--rule: 'log-linea'; expected one of equal-area, log-Tchebycheff, log-linear",
    ("--lines", "two"): "--lines: 'two'; expected",
    ("--points", "-6"): "--points: '-6'; expected",
    ("--lines", "7"): "--lines: '7'; expected 2, 3 or 4 by the log-linear rule in a round duct",
    ("--points", "7"): "--points: '7'; expected 4, 6, ..., 40 by the log-linear rule in a round duct",
    ("--instrument", "DM-9"): "instrument: 'DM-9'; expected",
    ("--instrument", "TH-1"): "instrument: 'TH-1'; expected",
    ("--probe", "PT-9"): "probe: 'PT-9'; expected",
    ("--conditions", "cellar"): "conditions: 'cellar'; expected conditions of job E-1",
    ("--unit", "m/s"): "unit: 'm/s'; expected a unit of pressure",
    ("--method", "sweep"): "method: 'sweep'; expected a method with the pattern traverse",
    ("--at", "2026-03-05 09:10"): "observed_at: '2026-03-05 09:10'; expected",
    ("--by", " "): "--by: blank; expected a name",
}


@pytest.mark.parametrize("changed", WRONG_OPTIONS, ids=" ".join)
def test_a_wrong_option_is_named_and_nothing_is_written(records, changed):
    assert WRONG_OPTIONS[changed] in refused(records, *by_line(*LINES), options=option(*changed))


@pytest.mark.parametrize(
    ("duct", "of_job", "said"),
    [
        ("D-9", "E-1", "no outlet 'D-9' in job E-1"),
        ("D-1", "E-9", "no job 'E-9' in the records"),
        ("S-2", "E-1", "S-2 in job E-1 has no shape on record"),
    ],
)
def test_a_duct_that_is_not_there_is_told_before_anything_is_asked(records, monkeypatch, duct, of_job, said):
    typing(monkeypatch, [])
    err = refused(records, duct=duct, job=of_job)
    assert said in err
    assert asked(err) == []


# --- point by point --------------------------------------------------------------------------------------------------------------


def test_a_traverse_typed_point_by_point_is_the_same_as_by_import(records, imported, monkeypatch):
    typing(monkeypatch, [value for passage in PASSES for value in passage])
    ran = add(records, "--passes", "3")
    assert ran.status == 0
    assert re.match(r"reading \d+, D-1: \(\d+ ± \d+\) ", ran.out)
    assert kept(records) == kept(imported)


def test_each_point_is_asked_for_with_its_mark_pass_after_pass(records, monkeypatch):
    """Log-linear, six points on a diameter of 400 mm: 0.0321, 0.1349, 0.3207 and their mirror images."""
    typing(monkeypatch, [value for passage in PASSES[:2] for value in passage])
    questions = asked(add(records).err)
    marks = ["12.84", "53.96", "128.3", "271.7", "346", "387.2"]
    assert [re.sub(r"\(.*?\)", "()", one) for one in questions] == [
        f"pass {passage}, line {line}, point {point} () [Pa]: "
        for passage in (1, 2)
        for line in (1, 2)
        for point in range(1, 7)
    ]
    found = [float(re.search(r"\((\S+) mm from the wall\)", one)[1]) for one in questions]
    assert found == pytest.approx([float(mark) for mark in marks] * 4, abs=0.03)


def test_one_pass_is_enough_where_the_instrument_declares_its_repeatability(records, monkeypatch):
    typing(monkeypatch, PASSES[0])
    assert add(records, "--passes", "1").status == 0
    assert [one["indications"] for one in kept(records)[0][2]] == PASSES[0]


def test_a_value_that_is_no_number_is_asked_for_again(records, monkeypatch):
    typing(monkeypatch, ["", "21,2", "nan", "21.2 Pa", *PASSES[0][:3], "x", *PASSES[0][3:]])
    ran = add(records, "--passes", "1")
    assert ran.status == 0
    assert ran.err.count("is not a finite number") == 5
    questions = asked(ran.err)
    assert len(questions) == 12 + 5
    assert len(set(questions[:5])) == 1
    assert [one["indications"] for one in kept(records)[0][2]] == PASSES[0]


@pytest.mark.parametrize("typed", [0, 1, 11, 12, 23])
def test_input_that_ends_early_writes_nothing(records, monkeypatch, typed):
    typing(monkeypatch, (PASSES[0] + PASSES[1])[:typed])
    err = refused(records)
    passage, line, point = typed // 12 + 1, typed % 12 // 6 + 1, typed % 6 + 1
    assert f"a value: pass {passage}, line {line}, point {point} " in err
    assert err.rstrip().endswith("nothing was written")
    assert len(asked(err)) == typed + 1


def test_the_last_value_needs_no_line_end(records, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(PASSES[0])))
    assert add(records, "--passes", "1").status == 0


def test_questions_stand_on_stderr_beside_json(records, monkeypatch):
    typing(monkeypatch, PASSES[0])
    ran = add(records, "--passes", "1", "--json")
    assert ran.document["refused"] is False
    assert len(asked(ran.err)) == 12


def test_values_that_were_typed_are_given_back_where_the_rest_is_refused(records, monkeypatch):
    typing(monkeypatch, [value for passage in PASSES for value in passage])
    err = refused(records, "--passes", "3", options=option("--method", "hood"))
    again = re.findall(r'--line "(.*?)"', err)
    assert again == LINES
    assert add(records, *by_line(*again)).status == 0


def test_no_passes_are_no_traverse(records, monkeypatch):
    typing(monkeypatch, [])
    assert "--passes" in refused(records, "--passes", "0")


# --- refused by the gate ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tag", ["DM-1", "PT-1", "BA-1"])
def test_a_refused_traverse_is_kept_as_a_refusal_and_exits_3(records, tag):
    when = ("--at", "2026-03-01T09:00+00:00")
    calib("instrument", "suspend", tag, "--reason", "dropped", *when, records=records)
    ran = add(records, *by_line(*LINES))
    assert (ran.status, ran.out) == (3, "")
    assert ran.err.startswith(f"refused: {tag}: suspended since")
    with database.reading(str(records)) as session:
        assert [one.observed_at for one in all_of(session, Refusal)] == [AT]
        assert [one.indications for one in all_of(session, TraversePoint)] == " ".join(LINES).split()
        assert [one.outlet.outlet for one in evaluate(session, "E-1", NOW).refused] == ["D-1"]


def test_a_refusal_in_json_gives_the_reasons(records):
    when = ("--at", "2026-03-01T09:00+00:00")
    calib("instrument", "suspend", "PT-1", "--reason", "bent", *when, records=records)
    ran = add(records, *by_line(*LINES), "--json")
    assert (ran.status, ran.document["refused"]) == (3, True)
    assert ran.document["reasons"][0].startswith("PT-1: suspended since")


def test_a_pressure_outside_the_measuring_interval_is_refused(records):
    ran = add(records, *by_line(LINES[0].replace("34.8;", "434.8;"), LINES[1]), "--sure")
    assert ran.status == 3
    assert "DM-1: indication 434.8 Pa is outside the calibrated measuring interval" in ran.err


def test_the_same_traverse_twice_is_refused(records):
    assert add(records, *by_line(*LINES)).status == 0
    assert f"--at: '{AT}'; expected a new one; the records hold it already" in refused(records, *by_line(*LINES))


# --- planning a duct on record ---------------------------------------------------------------------------------------------------


def plan(records, *words):
    return calib("traverse", "plan", *words, records=records)


@pytest.mark.parametrize(
    ("duct", "typed"),
    [
        ("D-1", ("--shape", "round", "--diameter", "400")),
        ("D-2", ("--shape", "rectangular", "--width", "500", "--height", "300")),
        ("D-3", ("--shape", "flat-oval", "--width", "600", "--height", "300", "--rule", "equal-area")),
        ("S-1", ("--shape", "rectangular", "--width", "400", "--height", "200")),
    ],
)
@pytest.mark.parametrize("more", [(), ("--json",), ("--insertion", "25"), ("--unit", "in", "--insertion", "1")])
def test_a_duct_on_record_is_planned_as_if_its_section_were_typed(records, duct, typed, more):
    rule = ("--rule", "equal-area") if "flat-oval" in typed else ()
    lengths = [repr(float(one) / 25.4) if "in" in more and one.isdigit() else one for one in typed]
    found, expected = plan(records, "E-1", duct, *rule, *more), plan(records, *lengths, *more)
    assert (found.status, found.err) == (0, "")
    assert found.out == expected.out


def test_the_unit_is_that_of_the_record_where_none_is_named(records):
    cells = ("diameter=15.75", "dimension_unit=in", "dimension_limit=0.05")
    words = [word for cell in cells for word in ("--set", cell)]
    calib("outlet", "amend", "E-1", "D-1", *words, "--reason", "measured in inches", records=records)
    document = plan(records, "E-1", "D-1", "--insertion", "0.5", "--json").document
    assert (document["unit"], document["width"], document["insertion"]) == ("in", pytest.approx(15.75), 0.5)
    in_mm = plan(records, "E-1", "D-1", "--unit", "mm", "--insertion", "12.7", "--json").document
    assert (in_mm["unit"], in_mm["width"]) == ("mm", pytest.approx(15.75 * 25.4))
    marks = [one["mark"] for one in document["points"]]
    assert [one["mark"] for one in in_mm["points"]] == pytest.approx([25.4 * mark for mark in marks])


def test_the_plan_takes_the_section_as_it_counts_now(records):
    calib("outlet", "amend", "E-1", "D-1", "--set", "diameter=450", "--reason", "measured", records=records)
    assert plan(records, "E-1", "D-1").out.startswith("round duct, Ø 450 mm")


WRONG_PLANS = {
    ("E-1",): "DUCT: expected a duct of job E-1",
    ("E-1", "D-9"): "no outlet 'D-9' in job E-1",
    ("E-9", "D-1"): "no job 'E-9'",
    ("E-1", "S-2"): "S-2 in job E-1 has no shape on record: amend it, or plan with a shape of its own",
    ("E-1", "D-1", "--shape", "round"): "--shape: 'round'; expected nothing beside a duct on record",
    ("E-1", "D-1", "--diameter", "400"): "--diameter: '400'; expected nothing beside a duct on record",
    ("E-1", "D-1", "--unit", "yd"): "--unit: 'yd'; expected one of",
    ("E-1", "D-1", "--lines", "9"): "--lines: '9'; expected",
    ("E-1", "D-3", "--rule", "spiral"): "--rule: 'spiral'; expected one of",
}


@pytest.mark.parametrize("words", WRONG_PLANS, ids=" ".join)
def test_a_wrong_plan_is_told(records, words):
    ran = plan(records, *words)
    assert (ran.status, ran.out) == (2, "")
    assert WRONG_PLANS[words] in ran.err


def test_a_planned_traverse_is_the_one_that_is_asked_for(records, monkeypatch):
    words = ("E-1", "D-1", "--rule", "log-linear", "--lines", "2", "--points", "6", "--json")
    points = plan(records, *words).document["points"]
    typing(monkeypatch, PASSES[0])
    questions = asked(add(records, "--passes", "1").err)
    assert questions == [
        f"pass 1, line {one['line']}, point {one['point']} ({one['mark']:.4g} mm from the wall) [Pa]: "
        for one in points
    ]


# --- readings with a probe, conditions, a throttle -------------------------------------------------------------------------------


def add_reading(records, outlet, instrument, unit, method, *words):
    named = ("--instrument", instrument, "--unit", unit, "--method", method, "--at", AT, "--by", "T. Two")
    return calib("reading", "add", "E-1", outlet, *named, *words, records=records)


def test_velocity_pressures_at_one_place_rest_on_probe_and_conditions(records):
    words = ("--observations", "8.4;8.9;8.2", "--probe", "PT-1", "--conditions", "plant room")
    assert add_reading(records, "S-1", "DM-1", "Pa", "sweep", *words).status == 0
    shown = calib("reading", "show", "1", records=records).out.splitlines()
    assert {"  probe: PT-1", "  conditions: plant room", "  observations: 8.4;8.9;8.2"} <= set(shown)
    document = calib("reading", "show", "1", "--json", records=records).document
    assert (document["probe"], document["conditions"]["name"]) == (
        {"tag": "PT-1", "certificate": "E-102"},
        "plant room",
    )


def test_a_hood_s_pair_is_recorded(records):
    words = ("--observations", "601;606;603", "--throttled-observations", "540;543;541")
    assert add_reading(records, "S-3", "FH-1", "m3/h", "hood", *words).status == 0
    document = calib("reading", "show", "1", "--json", records=records).document
    assert document["throttled_observations"] == "540;543;541"
    assert (document["velocity"], document["indication"]) == (None, "603.333")
    assert "back pressure" in [one["name"] for one in document["contributions"]]
    assert "  throttled observations: 540;543;541" in calib("reading", "show", "1", records=records).out.splitlines()


def test_a_traverse_is_shown_with_its_rule(records):
    add(records, *by_line(*LINES))
    lines = calib("reading", "show", "1", records=records).out.splitlines()
    assert "  traverse: log-linear, 2 × 6 points, 3 pass(es)" in lines
    assert not any(line.startswith("  indication:") for line in lines)


@pytest.mark.parametrize(
    ("given", "named"),
    [
        (("S-1", "DM-1", "Pa", "sweep", "--observations", "8.4;8.9"), ["--conditions", "--probe"]),
        (("S-1", "VF-1", "m/s", "sweep", "--observations", "4.1;4.2", "--probe", "PT-1"), ["--probe"]),
        (("S-2", "FH-1", "m3/h", "hood", "--observations", "452;455", "--throttled-observations", "460;463"),
         ["--throttled-observations"]),
        (("S-1", "VF-1", "m/s", "sweep", "--observations", "4.1;4.2", "--throttled-observations", "4.0"),
         ["--throttled-observations"]),
        (("S-2", "VF-1", "m/s", "sweep", "--observations", "4.1;4.2"), ["--instrument"]),
        (("S-1", "TA-1", "m/s", "sweep", "--observations", "4.1;4.2"), ["--conditions"]),
    ],
)  # fmt: skip
def test_what_a_reading_must_rest_on_is_asked_for(records, given, named):
    before = ledger_head(records)
    ran = add_reading(records, *given)
    assert (ran.status, ran.out) == (2, "")
    assert [re.search(r"command line, (.+?): ", line)[1] for line in ran.err.splitlines()] == named
    assert ledger_head(records) == before


def test_the_files_of_the_job_are_those_that_were_meant(job):
    with database.reading(str(job)) as session:
        assert all_of(session, Reading) == []
        assert len(all_of(session, Condition)) == len(only(every_way(), "conditions.csv")["conditions.csv"])
