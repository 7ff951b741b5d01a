"""What is asked for is asked from the declaration, checked at once, shown whole, and written then. Common practice, no source."""

import io
import json

import pytest

from tests.command import calib
from tests.folders import ledger_head

VANE = ("--kind", "vane anemometer", "--maker", "M", "--model", "N", "--serial", "7", "--range-low", "0.3", "--range-high", "20",
        "--unit", "m/s", "--resolution", "0.01", "--interval-months", "12", "--repeatability", "0.02",
        "--mpe-percent", "2")  # fmt: skip
# Laboratory to due day, then phase, unit, five comparisons, an empty line, no more of them.
STATED = ("North Laboratory", "", "3.2.2026", "", "2026-02-05", "21.0", "", "45 %", "no", "", "", "")
LINES = ("as-found", "m/s", "0,50 0,52 0.02 2", "1.00 1.01 0.02", "2.50;2.53;0.03;2", "5.00 5.04 0.05", "10.0 10.09 0.10", "",
         "")  # fmt: skip


class Typed(io.StringIO):
    """Lines that a person types; an exception among them is raised in its place."""

    def __init__(self, *lines):
        super().__init__()
        self.lines = list(lines)

    def readline(self, *_):
        line = self.lines.pop(0) if self.lines else ""
        if isinstance(line, type):
            raise line
        return f"{line}\n" if self.lines or line else line


@pytest.fixture
def typing(monkeypatch):
    """A function that runs a command with typed lines, at a terminal or from a pipe."""

    def run(lines, *words, records, at_terminal=True):
        monkeypatch.setattr("sys.stdin", Typed(*lines, *([""] if at_terminal else [])))
        monkeypatch.setattr("calib.faces.cli.frame.is_somebody_there", lambda: at_terminal)
        return calib(*words, records=records)

    return run


@pytest.fixture
def with_vane(empty_records):
    assert calib("instrument", "add", "VA-1", *VANE, records=empty_records).status == 0
    return empty_records


ADD = ("calibration", "add", "VA-1", "C-1", "--ask", "--by", "A. Clerk")


def test_a_certificate_is_typed_by_answers(with_vane, typing):
    ran = typing([*STATED, *LINES, "yes"], *ADD, records=with_vane)

    assert ran.status == 0, ran.err
    assert "calibrated on (day of the calibration): " in ran.err
    assert "taken as 2026-02-03" in ran.err
    shown = json.loads(calib("calibration", "show", "VA-1", "C-1", "--json", records=with_vane).out)
    assert (shown["laboratory"], shown["calibrated_on"], shown["issued_on"]) == (
        "North Laboratory", "2026-02-03", "2026-02-05",
    )  # fmt: skip
    assert (shown["humidity_percent"], shown["pressure_kPa"], shown["due_on"]) == ("45", None, None)
    compared = [(each["reference"], each["indication"], each["coverage_factor"]) for each in shown["comparisons"]]
    assert compared == [
        ("0.50", "0.52", "2"),
        ("1.00", "1.01", "2"),  # k left out is that of the line before
        ("2.50", "2.53", "2"),
        ("5.00", "5.04", "2"),
        ("10.0", "10.09", "2"),
    ]


def test_a_wrong_answer_is_asked_for_again_with_the_reason(with_vane, typing):
    stated = list(STATED)
    stated[2:3] = ["2026-02-30", "soon", "2099-01-01", "2026-02-03"]
    lines = list(LINES)
    lines[:1] = ["before", "as-found"]
    lines[3:4] = ["1.00 1.01", "1.00 1.01 -0.02 2", "1.00 1.01 0.02"]

    ran = typing([*stated, *lines, "perhaps", "yes"], *ADD, records=with_vane)

    assert ran.status == 0, ran.err
    assert "'2026-02-30'; expected a date that exists, as YYYY-MM-DD" in ran.err
    assert "'2099-01-01'; expected a date that is not in the future" in ran.err
    assert "'before'; expected one of as-found, as-left" in ran.err
    assert "'-0.02'; expected a finite number above 0" in ran.err
    assert "'perhaps'; expected yes or no" in ran.err


def test_the_whole_is_shown_before_it_is_written_and_no_writes_nothing(with_vane, typing):
    before = ledger_head(with_vane)
    ran = typing([*STATED, *LINES, "no"], *ADD, records=with_vane)
    assert ran.status == 2
    assert "certificate C-1 of VA-1\n  laboratory: North Laboratory\n" in ran.err
    assert "as-found  10.0       10.09       0.10  2" in ran.err
    assert "nothing was written" in ran.err
    assert ledger_head(with_vane) == before


@pytest.mark.parametrize("place", [0, 5, len(STATED) + 3, len(STATED) + len(LINES)])
def test_ctrl_c_writes_nothing_wherever_it_is_pressed(with_vane, typing, place):
    before = ledger_head(with_vane)
    lines = [*STATED, *LINES, "yes"]
    lines[place] = KeyboardInterrupt
    ran = typing(lines, *ADD, records=with_vane)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.endswith("error: stopped; nothing was written\n")
    assert ledger_head(with_vane) == before


def test_a_pipe_answers_the_same_questions(with_vane, typing):
    ran = typing([*STATED, *LINES, "yes"], *ADD, "--json", records=with_vane, at_terminal=False)
    assert ran.status == 0, ran.err
    assert json.loads(ran.out)["certificate"] == "C-1"


def test_a_wrong_line_of_a_pipe_ends_it_by_its_number(with_vane, typing):
    before = ledger_head(with_vane)
    ran = typing(
        ["North Laboratory", "", "soon", *STATED[3:], *LINES, "yes"], *ADD, records=with_vane, at_terminal=False
    )
    assert (ran.status, ran.out) == (2, "")
    assert "error: answers row 3, calibrated_on: 'soon'; expected a date as YYYY-MM-DD" in ran.err
    assert ledger_head(with_vane) == before


def test_a_pipe_that_ends_too_soon_writes_nothing(with_vane, typing):
    before = ledger_head(with_vane)
    ran = typing([*STATED, *LINES[:4]], *ADD, records=with_vane, at_terminal=False)
    assert ran.status == 2
    assert "the answers end before as-found 3; nothing was written" in ran.err
    assert ledger_head(with_vane) == before


def test_what_stands_as_an_option_is_not_asked(with_vane, typing):
    ran = typing([*STATED[1:2], *STATED[3:], *LINES, "yes"], *ADD, "--laboratory", "South", "--calibrated-on", "2026-02-03",
                 records=with_vane)  # fmt: skip
    assert ran.status == 0, ran.err
    assert "laboratory (who calibrated)" not in ran.err


def test_what_is_wrong_only_with_another_answer_is_asked_for_again(with_vane, typing):
    """A day of issue before the day of the calibration is found when the whole is checked; nothing else is typed again."""
    stated = list(STATED)
    stated[4] = "2026-01-05"
    ran = typing([*stated, *LINES, "yes", "2026-02-05", "yes"], *ADD, records=with_vane)
    assert ran.status == 0, ran.err
    assert "issued_on: '2026-01-05'; expected " in ran.err


SLIPPED = tuple(line.replace("5.04", "50.4") for line in LINES)


def test_a_slipped_point_of_a_certificate_is_asked_about_and_typed_again(with_vane, typing):
    # 50.4 for 5.00: 10.1 times. Not right: the comparisons are asked again, an empty answer takes each that is offered.
    again = ("", "", "", "", "", "5.00 5.04 0.05 2", "", "", "")
    ran = typing([*STATED, *SLIPPED, "yes", "no", *again, "yes"], *ADD, records=with_vane)
    assert ran.status == 0, ran.err
    assert "indication: '50.4'; it is 10.1 times its reference value 5.00 m/s" in " ".join(ran.err.split())
    shown = json.loads(calib("calibration", "show", "VA-1", "C-1", "--json", records=with_vane).out)
    assert [each["indication"] for each in shown["comparisons"]] == ["0.52", "1.01", "2.53", "5.04", "10.09"]


@pytest.mark.parametrize(("options", "status"), [((), 2), (("--sure",), 0)])
def test_a_pipe_with_a_point_that_looks_slipped_writes_it_only_where_somebody_is_sure(
    with_vane, typing, options, status
):
    before = ledger_head(with_vane)
    ran = typing([*STATED, *SLIPPED, "yes"], *ADD, *options, records=with_vane, at_terminal=False)
    assert ran.status == status
    assert "it is 10.1 times its reference value" in " ".join(ran.err.split())
    assert (ledger_head(with_vane) == before) == (status == 2)


def test_on_a_narrow_terminal_a_comparison_is_a_card_and_not_a_broken_line(with_vane, typing, monkeypatch):
    monkeypatch.setattr("calib.faces.cli.questions.terminal_columns", lambda _stream: 40)
    ran = typing([*STATED, *LINES, "no"], *ADD, records=with_vane)
    assert "  phase as-found\n    reference: 10.0; indication: 10.09;\n    U: 0.10; k: 2; unit: m/s\n" in ran.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("calibration", "add", "VA-9", "C-1", "--ask"), "VA-9"),
        (("calibration", "add", "VA-1", "C-101", "--ask"), "CERTIFICATE: 'C-101'; expected a new certificate of VA-1"),
    ],
)
def test_what_cannot_be_written_is_said_before_anything_is_asked(small_records, typing, words, said):
    ran = typing([], *words, records=small_records)
    assert ran.status == 2
    assert said in ran.err


def test_without_questions_all_that_is_missing_is_named_at_once(small_records):
    ran = calib("calibration", "add", "VA-1", "C-9", records=small_records)
    assert ran.status == 2
    for option in ("--laboratory", "--calibrated-on", "--comparisons"):
        assert f"{option}: expected " in ran.err
    assert "or questions with --ask" in ran.err


# --- instruments -----------------------------------------------------------------------------------------------------------------

THERMAL = ("--kind", "hot-wire anemometer", *VANE[2:])
STATE = ("--density-effect", "thermal", "--reference-temperature-degc", "21", "--reference-pressure-kpa", "101.3")


def test_a_thermal_anemometer_without_its_reference_state_is_not_registered_in_silence(empty_records):
    ran = calib("instrument", "add", "TA-1", *THERMAL, records=empty_records)
    assert ran.status == 2
    missing = "missing: --density-effect, --reference-temperature-degc, --reference-pressure-kpa"
    assert f"{missing} (--density-effect none alone where it works the velocity out by itself)\n" in ran.err
    assert calib("instrument", "add", "TA-1", *THERMAL, *STATE, records=empty_records).status == 0


def test_one_that_works_it_out_by_itself_says_so(empty_records):
    ran = calib("instrument", "add", "TA-1", *THERMAL, "--density-effect", "none", records=empty_records)
    assert ran.status == 0, ran.err
    shown = json.loads(calib("instrument", "show", "TA-1", "--json", records=empty_records).out)
    assert shown["instrument"]["density_effect"] is None


def test_an_imported_one_without_the_state_is_told_of_then_and_whenever_it_is_asked_for(small_records):
    calib("instrument", "amend", "VA-1", "--set", "kind=thermal anemometer", "--always-wrong", "--reason", "typed wrong",
          records=small_records)  # fmt: skip
    ran = calib("ready", "VA-1", "--on", "2026-05-04", records=small_records)
    assert "VA-1: may be used on 2026-05-04\n" in ran.out
    said = "but its kind is that of a thermal anemometer, and no reference state is on record"
    assert said in ran.out
    assert said in calib("instrument", "show", "VA-1", "--on", "2026-05-04", records=small_records).out


def test_at_a_terminal_what_its_kind_needs_is_asked_for(empty_records, typing):
    ran = typing(
        ["thermal anemometer", "M", "N", "7", "", "0,2", "20", "Pa", "FPM", "1", "2", "", "12", "0.03",
         "none of these", "thermal", "21", "101.3", "yes"],
        "instrument", "add", "TA-1", records=empty_records,
    )  # fmt: skip
    assert ran.status == 0, ran.err
    assert "'Pa'; expected one of m/s, fpm, ft/min, km/h" in ran.err
    shown = json.loads(calib("instrument", "show", "TA-1", "--json", records=empty_records).out)
    assert [shown["instrument"][name] for name in ("range_low", "unit", "mpe_percent", "mpe_absolute", "density_effect")] == [
        "0.2", "fpm", "2", None, "thermal",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "unit", "quantity"),
    [
        ("CFM", "cfm", "volume flow"),
        ("°C", "degC", "temperature"),
        ("Pa", "Pa", "pressure"),
        ("fpm", "fpm", "air velocity"),
    ],
)
def test_the_unit_of_an_instrument_tells_what_it_measures(empty_records, typed, unit, quantity):
    cells = list(VANE)
    cells[cells.index("--unit") + 1] = typed
    ran = calib("instrument", "add", "FH-1", *cells, records=empty_records)
    assert ran.status == 0, ran.err
    shown = json.loads(calib("instrument", "show", "FH-1", "--json", records=empty_records).out)["instrument"]
    assert (shown["quantity"], shown["unit"]) == (quantity, unit)


def test_a_unit_that_is_none_leaves_open_what_the_instrument_measures(empty_records):
    cells = list(VANE)
    cells[cells.index("--unit") + 1] = "in WC"
    ran = calib("instrument", "add", "DM-1", *cells, records=empty_records)
    assert (ran.status, ran.err) == (2, "error: missing: --quantity\n")


def test_a_hood_is_added_by_answers(empty_records, typing):
    answers = ["hood", "M", "N", "7", "volume flow", "50", "2000", "m/s", "CMH", "1", "3", "", "12", "2", "yes"]
    ran = typing(answers, "instrument", "add", "FH-1", records=empty_records)
    assert ran.status == 0, ran.err
    assert "relative humidity, voltage) [air velocity]: " in ran.err
    assert "'m/s'; expected one of m3/s, m3/h, L/s, l/s, cfm" in ran.err


def test_at_a_terminal_nothing_is_asked_where_nothing_is_missing(empty_records, typing):
    assert typing([], "instrument", "add", "VA-1", *VANE, records=empty_records).status == 0


def test_comparisons_that_make_no_curve_are_offered_to_be_typed_again(with_vane, typing):
    """Repeatability for one line alone: the lines are offered, an empty answer takes one as it was."""
    lines = [*LINES[:2], "0.50 0.52 0.02 2 0.01 10", *LINES[3:]]
    again = ["", "m/s", "0.50 0.52 0.02 2", "", "-", "", "", "", ""]
    ran = typing([*STATED, *lines, "yes", *again, "yes"], *ADD, records=with_vane)
    assert ran.status == 0, ran.err
    assert "repeatability is stated for some comparisons of a phase and blank for others" in ran.err
    assert "as-found 2 [1.00 1.01 0.02 2]: " in ran.err
    shown = json.loads(calib("calibration", "show", "VA-1", "C-1", "--json", records=with_vane).out)
    assert [each["reference"] for each in shown["comparisons"]] == ["0.50", "1.00", "5.00", "10.0"]


def test_an_uncertainty_in_percent_is_asked_for_again(with_vane, typing):
    """2 % of a reference value is no 2 m/s."""
    lines = ["as-found", "m/s", "0.50 0.51 2% 2", "0.50 0.51 0.02 2", *LINES[3:]]

    ran = typing([*STATED, *lines, "yes"], *ADD, records=with_vane)

    assert ran.status == 0, ran.err
    assert "'2%'; expected a number, without %: a percentage of what?" in ran.err
    assert "taken as 2\n" not in ran.err


# --- rows of a job ---------------------------------------------------------------------------------------------------------------

# What is typed, the answers, a wrong one to the last question, and what is said to be missing where nobody answers.
ROWS = [
    (("job", "add", "J-9"), ["simple"], "guesses", "--rule"),
    (("outlet", "add", "J-1", "S-9"), ["AH-1", "supply"], "suply", "--system, --service"),
    (
        ("system", "add", "J-1", "AH-1", "return", "--tolerance-percent", "10"),
        ["600", "m3/h"],
        "furlong",
        "--design-flow, --flow-unit",
    ),
    (("room", "add", "J-1", "Hall"), ["negative"], "low", "--pressure"),
]
NAMED = [" ".join(words[:2]) for words, *_ in ROWS]


@pytest.fixture
def with_hall(small_records):
    words = ("outlet", "add", "J-1", "S-8", "--system", "AH-1", "--service", "supply", "--room", "Hall")
    assert calib(*words, records=small_records).status == 0
    return small_records


@pytest.mark.parametrize(("words", "right", "wrong"), [row[:3] for row in ROWS], ids=NAMED)
def test_what_is_missing_of_a_row_is_asked_for_at_a_terminal(with_hall, typing, words, right, wrong):
    ran = typing([*right[:-1], wrong, right[-1], "yes"], *words, "--by", "A. Clerk", "--json", records=with_hall)

    assert ran.status == 0, ran.err
    assert {*right} <= {*ran.document.values()}
    assert f"{wrong!r}; expected " in ran.err


@pytest.mark.parametrize(("words", "missing"), [(row[0], row[3]) for row in ROWS], ids=NAMED)
def test_a_script_is_told_all_options_of_a_row_that_are_missing(with_hall, typing, words, missing):
    before = ledger_head(with_hall)
    ran = typing([], *words, records=with_hall, at_terminal=False)

    assert (ran.status, ran.err) == (2, f"error: missing: {missing}\n")
    assert ledger_head(with_hall) == before


def test_what_a_row_lacks_together_is_asked_for_then(small_records, typing):
    """A design flow is judged by a tolerance, whichever way that is said."""
    answers = ["600", "m3/h", "yes", "10", "yes"]
    ran = typing(answers, "system", "add", "J-1", "AH-1", "return", "--json", records=small_records)

    assert ran.status == 0, ran.err
    assert ran.document["tolerance_percent"] == "10"


def test_a_row_that_is_not_right_is_not_written(small_records, typing):
    before = ledger_head(small_records)
    ran = typing(["negative", "no"], "room", "add", "J-1", "Hall", records=small_records)

    assert ran.status == 2
    assert "nothing was written" in ran.err
    assert ledger_head(small_records) == before
