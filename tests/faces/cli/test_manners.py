"""The command line says plainly what is typed and what is wrong with it. Common practice, no source."""

import re
import subprocess
import sys

import pytest

from tests.command import calib, commands

COMMANDS = (
    ("ready",),
    ("budget",),
    ("label",),
    ("report",),
    ("calibration", "show"),
    ("instrument", "add"),
    ("reading", "add"),
)


def test_everything_that_is_missing_is_named_at_once(small_records):
    ran = calib("instrument", "add", "VA-9", "--kind", "vane", records=small_records)

    assert ran.status == 2
    missing = (
        "--maker, --model, --serial, --range-low, --range-high, --unit, --resolution, --interval-months, --mpe-percent"
    )
    assert f"missing: {missing}\n" in ran.err


def test_a_missing_argument_is_named_as_it_is_typed(small_records):
    assert (
        "missing: JOB, OUTLET, --instrument, --unit, --method\n" in calib("reading", "add", records=small_records).err
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("budget", "first"), "READING: 'first'; expected a whole number\n"),
        (("budget", "1", "--digits", "two"), "--digits: 'two'; expected a whole number\n"),
        (
            ("review", "dispose", "1", "2", "first", "--decision", "stands", "--reason", "r"),
            "LINE: 'first'; expected whole numbers\n",
        ),
        (
            ("budget", "1", "--coverage-probability", "most"),
            "--coverage-probability PERCENT: 'most'; expected a number\n",
        ),
    ],
)
def test_a_word_where_a_number_is_expected_is_said_in_plain_words(small_records, words, said):
    ran = calib(*words, records=small_records)

    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err


def test_an_option_that_takes_one_value_is_not_taken_twice(small_records):
    stages = ("--stage", "before adjustment", "--stage", "after adjustment", "--unit", "m/s", "--unit=fpm")

    ran = calib(
        "reading", "add", "J-1", "S1", "2.4", "--instrument", "VA-1", "--method", "grid", *stages, records=small_records
    )

    assert (ran.status, ran.out) == (2, "")
    assert "--stage: given 2 times; expected once; --unit: given 2 times; expected once\n" in ran.err


def test_an_option_that_takes_several_values_is_given_as_often_as_one_likes(small_records):
    ran = calib("import", "nowhere-1", "nowhere-2", "--dates", "dmy", "--dry-run", "--dry-run", records=small_records)

    assert "times; expected once" not in ran.err


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_help_shows_no_type_of_python_and_no_doubled_brackets(words):
    told = calib(*words, "-h").out

    assert not re.search(r"<(str|int|float|list|path|file)|\[\[|\]\]|\{|\.\.\.\}", told)
    assert f" {' '.join(words)} [OPTIONS]" in told.split("\n")[0]
    assert "Example:" in told


def test_what_may_be_left_out_stands_in_brackets_and_what_repeats_has_dots():
    for words, typed in (
        (("label",), "[TAG...]"),
        (("ready",), "TAG..."),
        (("calibration", "show"), "TAG [CERTIFICATE]"),
    ):
        assert calib(*words, "--help").out.split("\n")[0].endswith(f" {' '.join(words)} [OPTIONS] {typed}")


@pytest.mark.parametrize("words", [(), ("calibration",), ("calibration", "show"), ("interval",)], ids=" ".join)
def test_the_short_option_for_help_works_everywhere(words):
    assert calib(*words, "-h").out == calib(*words, "--help").out


def test_an_answer_on_readiness_says_for_which_day(small_records):
    ran = calib("ready", "VA-1", "--on", "2026-05-04", records=small_records)

    assert ran.out.startswith("VA-1: may be used on 2026-05-04\n")


EVERY_COMMAND = dict(commands())
WHOLE_NUMBERS = [
    (words, parameter)
    for words, command in EVERY_COMMAND.items()
    for parameter in command.params
    if getattr(getattr(parameter, "type_descriptor", None), "annotation", None) is int
]


def _typed_whole(command, asked, number):
    """A command's words with one whole number typed, and with anything for what must be typed besides."""
    for parameter in command.params:
        word = str(number) if parameter is asked else "1"
        if parameter.param_type_name == "argument" and (parameter.required or parameter is asked):
            yield word
        elif parameter is asked or parameter.required:
            yield from (parameter.opts[0], word)


@pytest.mark.parametrize(
    ("words", "parameter"), WHOLE_NUMBERS, ids=[f"{words}, {each.name}" for words, each in WHOLE_NUMBERS]
)
@pytest.mark.parametrize("number", [2**31, 2**63, 10**20])
def test_a_whole_number_too_large_for_any_record_is_wrong_usage_of_every_command(
    small_records, words, parameter, number
):
    typed = _typed_whole(EVERY_COMMAND[words], parameter, number)

    asks_records = any(each.name == "records" for each in EVERY_COMMAND[words].params)
    ran = calib(*words.split(), *typed, records=small_records if asks_records else None)

    assert (ran.status, ran.out) == (2, "")
    assert f"{number}" in ran.err
    assert re.search(r"expected a whole number|from \d+ to \d+|less than or equal", ran.err)


def test_the_commands_with_whole_numbers_are_met():
    assert {"log", "report", "review show", "review decide", "review dispose", "budget"} <= {
        words for words, _ in WHOLE_NUMBERS
    }


def test_help_breaks_no_option_and_names_options_rather_than_columns(monkeypatch):
    """An example can be copied; `if not given` and defaults are said once, and a list is no type of a language."""
    for words in sorted(EVERY_COMMAND):
        for columns in ["60", "100"]:
            monkeypatch.setenv("COLUMNS", columns)
            asked = calib(*words.split(), "--help")
            told = asked.out

            assert (asked.status, asked.err) == (0, "")
            assert "Example: calib" in told
            assert not re.search(r"[a-z]-\n", told)
            assert "if not given if not given" not in told
            assert not re.search(r"default: \(|list\[|beside [a-z]+_[a-z]+", told)


@pytest.mark.parametrize(
    ("words", "status"), [(("log", "--limit", "10000"), 0), (("due", "--on", "2027-06-01", "--json"), 1)]
)
def test_whoever_reads_the_first_lines_alone_ends_it_quietly(small_records, words, status):
    """As `calib log | head` does; the exit status is still what was found."""
    program = "from calib.faces.cli import main; import sys; sys.stdin.readline(); main(sys.argv[1:])"
    with subprocess.Popen(
        [sys.executable, "-c", program, *words, "--records", str(small_records)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as ran:  # fmt: skip
        ran.stdout.close()  # nobody reads a line
        ran.stdin.write("\n")
        ran.stdin.close()
        told = ran.stderr.read()
    assert (ran.returncode, told) == (status, "")


@pytest.mark.parametrize("words", [(), ("calibration",), ("interval",)], ids=" ".join)
def test_a_list_of_commands_has_the_whole_sentence_of_each(monkeypatch, words):
    monkeypatch.setenv("COLUMNS", "60")
    told = calib(*words, "--help").out
    assert "..." not in told.partition("Commands:")[2]
    assert max(map(len, told.splitlines())) <= 60
