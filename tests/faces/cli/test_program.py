"""The command line as a person types it.

Source: the manual (`calib help commands`, `exit-statuses`), which keeps the contract; that it explains every command is held in
tests/faces/manual/test_pages.py. Common practice, no source, for the rest.
"""

import os
import re
import shlex
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from calib import __version__
from calib.records import database
from calib.records.tables.ledger import LedgerEntry
from tests.command import calib, commands
from tests.folders import changed, ledger_head, only, small_job, write

PROGRAM = Path(sys.executable).with_name("calib")


COMMANDS = dict(commands())


# --- help ------------------------------------------------------------------------------------------------------------------------


def test_the_commands_are_found():
    assert {
        "init",
        "import",
        "instrument add",
        "calibration show",
        "reading list",
        "report",
        "verify",
        "upgrade",
        "balance",
        "conformity",
        "outlet amend",
        "conditions add",
        "traverse plan",
        "traverse add",
    } <= COMMANDS.keys()


def test_every_command_has_one_sentence_of_help():
    for name in COMMANDS:
        summary = " ".join(COMMANDS[name].help.split("\n\n")[0].split())
        assert re.fullmatch(r"[A-Z].*[a-zA-Z0-9)]\.", summary)
        assert ". " not in summary


def example_of(name):
    found = re.search(r"^Example: (calib [\s\S]+)\Z", COMMANDS[name].help.strip(), re.MULTILINE)
    return found and " ".join(found[1].split())


def test_every_command_shows_an_example_of_itself_that_can_be_typed():
    for name, command in COMMANDS.items():
        assert example_of(name).startswith(f"calib {name}")
        command.make_context(name, shlex.split(example_of(name))[1 + len(name.split()) :])


GROUPS = {name.rpartition(" ")[0] for name in COMMANDS}


def test_the_groups_are_found():
    assert {"", "instrument", "calibration", "check", "reading", "outlet", "conditions", "traverse"} <= GROUPS


@pytest.mark.parametrize("group", sorted(GROUPS))
def test_a_group_alone_shows_its_help(group):
    asked = calib(*group.split())
    assert "Usage:" in asked.out + asked.err
    assert asked.status in (0, 2)


def test_the_version_is_the_package_s():
    assert calib("--version").out == f"calib {__version__}\n"


# --- exit statuses ---------------------------------------------------------------------------------------------------------------


@pytest.fixture
def refusing(small_records):
    """Records in which VA-2 is suspended, since before its reading was taken."""
    done = calib(
        "instrument", "suspend", "VA-2", "--reason", "dropped", "--at", "2026-03-01T09:00+00:00", records=small_records
    )
    assert done.status == 0
    return small_records


DAY = ("--on", "2026-03-05")
CHECK = ("check", "add", "VA-1", "--kind", "zero", "--low", "-0.02", "--high", "0.02", "--unit", "m/s")
READING = (
    "reading",
    "add",
    "J-1",
    "S-1",
    "--unit",
    "m/s",
    "--method",
    "sweep",
    "--observations",
    "4.1;4.2",
    "--at",
    "2026-03-05T15:00+01:00",
)
READING += ("--instrument",)
AMEND = ("outlet", "amend", "J-1", "S-1", "--reason", "why", "--set")
LINES = ("--line", "4.1;4.2 4.3;4.2 4.0;4.1", "--line", "4.0;4.1 4.4;4.2 4.1;4.0")
LINES_IN_FPM = ("--line", "610;612 640;650 600;610", "--line", "600;610 660;640 610;600")
TRAVERSE = (
    "traverse", "add", "J-1", "S-1", "--unit", "m/s", "--method", "sweep", "--rule", "equal-area", "--lines", "2", "--points",
    "3", "--at", "2026-03-05T16:00+01:00", *LINES, "--instrument",
)  # fmt: skip
CONDITIONS = (
    "conditions", "add", "J-1", "hall", "--temperature", "21.5 degC", "--temperature-uncertainty", "0.5", "--pressure", "98 kPa",
    "--pressure-uncertainty", "0.2", "--humidity", "45 %", "--humidity-uncertainty", "8", "--source", "estimated",
)  # fmt: skip

STATUSES = [
    (0, ("due", "--within", "10d", "--on", "2026-02-25")),
    (0, ("ready", "VA-1", "RS-1", *DAY)),
    (0, ("verify",)),
    (0, ("instrument", "list")),
    (0, (*CHECK, "--value", "0.00")),
    (0, (*READING, "VA-1")),
    (0, ("reading", "list", "J-1")),
    (0, ("report", "J-1", "--format", "json")),  # refusals are listed there, and no failure of the report
    (0, ("upgrade",)),
    (0, ("backup", "copy.sqlite")),
    (0, ("export", "all")),
    (0, ("label", "VA-1", "--into", "labels.html", *DAY)),
    (0, ("label", "--all", "--into", "labels.html", *DAY)),
    (0, ("due", "--round", "30d", "--on", "2026-02-25")),
    (0, ("balance", "J-1")),
    (0, ("conformity", "J-1")),
    (0, (*AMEND, "width=410")),
    (0, CONDITIONS),
    (0, (*TRAVERSE, "VA-1")),
    (0, ("traverse", "plan", "J-1", "S-1")),
    (1, ("due", "--on", "2027-06-01")),
    (1, ("due", "--round", "30d", "--on", "2027-06-01")),
    (1, (*CHECK, "--value", "0.03")),
    (1, ("verify", "--digest", "0" * 63 + "1")),
    (2, ("due", "--within", "soon")),
    (2, ("verify", "--digest", "0000")),
    (2, ("backup", "nowhere/copy.sqlite")),
    (2, ("label", "VA-9", "--into", "labels.html")),
    (2, ("ready", "VA-9")),
    (2, ("report", "J-9")),
    (2, (*READING, "VA-9")),
    (2, ("balance", "J-9")),
    (2, ("conformity", "J-1", "--process", "100")),
    (2, (*AMEND, "width=400")),
    (2, (*CONDITIONS, "--humidity", "45")),
    (2, (*TRAVERSE, "VA-9")),
    (2, ("traverse", "plan", "J-1", "R-1")),
    (3, ("ready", "VA-1", "VA-2", *DAY)),
    (3, ("label", "VA-1", "VA-2", "--into", "labels.html", *DAY)),
    (3, (*READING, "VA-2")),
    (3, (*(word if word != "m/s" else "fpm" for word in TRAVERSE[:-7]), *LINES_IN_FPM, "--instrument", "VA-2")),
]


@pytest.mark.parametrize(("status", "words"), STATUSES, ids=[f"{one[0]} {' '.join(one[1][:3])}" for one in STATUSES])
def test_exit_statuses(refusing, tmp_path, monkeypatch, status, words):
    monkeypatch.chdir(tmp_path)
    assert calib(*words, records=refusing).status == status


def test_an_import_whose_only_trouble_is_refused_gear_is_written_and_exits_3(refusing, tmp_path):
    cells = [("readings.csv", row, "observed_at", f"2026-03-05T1{row}:00+01:00") for row in (2, 3, 4, 5)]
    folder = write(tmp_path / "in", only(changed(*cells), "readings.csv"))
    before = ledger_head(refusing)[0]
    ran = calib("import", folder, records=refusing)
    assert ran.status == 3
    assert ledger_head(refusing)[0] == before + 4
    assert "     3  reading\n     1  refusal\n" in ran.out
    assert "refused: R-1, 2026-03-05T14:00+01:00: VA-2: suspended since" in ran.err


def test_a_wrong_import_names_each_cell_on_a_line_and_exits_2(empty_records, tmp_path):
    cells = [
        ("outlets.csv", 2, "width", "-400"),
        ("readings.csv", 2, "unit", "Pa"),
        ("jobs.csv", 2, "decision_rule", "a\nb\x1b[2J"),
    ]
    folder = write(tmp_path / "in", changed(*cells))
    ran = calib("import", folder, records=empty_records)
    assert (ran.status, ran.out) == (2, "")
    assert [line for line in ran.err.splitlines() if line.startswith("error: ")] == [
        f"error: {folder}/jobs.csv row 2, decision_rule: 'a\\nb\\x1b[2J'; expected one of simple, guarded, guarded non-binary",
        f"error: {folder}/outlets.csv row 2, width: '-400'; expected a finite number above 0",
        f"error: {folder}/readings.csv row 2, unit: 'Pa'; expected a unit of air velocity: one of m/s, fpm, ft/min, km/h",
    ]
    assert ledger_head(empty_records)[0] == 0


# --- JSON ------------------------------------------------------------------------------------------------------------------------

ANSWERS = [
    ("instrument", "list"),
    ("instrument", "show", "VA-1"),
    ("instrument", "suspend", "VA-1", "--reason", "why"),
    ("instrument", "release", "VA-2", "--reason", "why"),
    ("instrument", "retire", "VA-1", "--reason", "why"),
    ("calibration", "list"),
    ("calibration", "show", "VA-1"),
    ("calibration", "show", "VA-2", "C-102"),
    ("calibration", "candidates", "VA-1"),
    ("calibration", "choose", "VA-1", "C-101", "--degree", "2", "--reason", "why"),
    (*CHECK, "--value", "0.00"),
    (*CHECK, "--value", "0.05"),
    ("check", "list"),
    ("due", "--on", "2027-06-01"),
    ("ready", "VA-1", "VA-2", *DAY, "--at", "4.2 m/s"),
    ("ready", "PG-1", *DAY, "--at", "100 Pa"),
    (*READING, "VA-1"),
    (*READING, "VA-2"),
    ("reading", "list", "J-1"),
    ("reading", "show", "1"),
    ("budget", "1"),
    ("report", "J-1", "--format", "json"),
    ("verify",),
    ("upgrade",),
    ("backup", "copy.sqlite"),
    ("export", "all"),
    ("label", "VA-1", "--into", "labels.html", *DAY),
    ("due", "--round", "30d", "--on", "2027-06-01"),
    ("balance", "J-1"),
    ("conformity", "J-1"),
    ("conformity", "J-1", "--process", "100,8"),
    ("outlet", "list", "J-1"),
    ("outlet", "show", "J-1", "S-1"),
    (*AMEND, "width=410"),
    CONDITIONS,
    ("conditions", "list", "J-1"),
    (*TRAVERSE, "VA-1"),
    ("traverse", "plan", "J-1", "S-1"),
]


@pytest.mark.parametrize("words", ANSWERS, ids=" ".join)
def test_json_is_one_document_on_stdout(refusing, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    asked = calib(*words, "--json", records=refusing)
    assert asked.document
    assert asked.status in (0, 1, 3)


@pytest.mark.parametrize("words", ANSWERS, ids=" ".join)
def test_people_get_lines_without_trailing_space(refusing, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    asked = calib(*words, records=refusing)
    assert asked.out + asked.err
    assert [line for line in asked.out.splitlines() if line != line.rstrip()] == []


def test_an_import_s_messages_stand_on_stderr(empty_records, tmp_path):
    ran = calib("import", write(tmp_path / "in", small_job()), "--json", records=empty_records)
    assert ran.document == {"records": ran.document["records"], "on_record_already": {}, "refusals": []}
    assert ran.document["records"]["reading"] == 4
    assert f"reading {tmp_path / 'in'}" in ran.err


def test_what_fails_prints_nothing_on_stdout(small_records):
    asked = calib("budget", "99", "--json", records=small_records)
    assert (asked.status, asked.out) == (2, "")
    assert asked.err.startswith("error: no reading 99 in the records")


def test_init_and_demo_answer_in_json_too(tmp_path):
    assert calib("init", "--json", records=tmp_path / "new.sqlite").document == {
        "records": str(tmp_path / "new.sqlite"),
        "entries": 0,
    }
    told = calib("demo", "--into", tmp_path / "demo", "--json").document
    assert [Path(path).suffix for path in told["files"]] == [
        ".html",
        ".pdf",
        ".json",
        ".csv",
        ".xlsx",
        ".eml",
        *[".svg"] * 3,
    ]


# --- options ---------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        ("--json", "budget", "1", "--units", "ip"),
        ("--units", "ip", "budget", "1", "--json"),
        ("--units=ip", "--json", "budget", "1"),
        ("budget", "--units", "ip", "--json", "1"),
        ("budget", "--units=ip", "1", "--json"),
    ],
)
def test_options_stand_before_or_behind_the_command(small_records, words):
    straight = calib("budget", "1", "--units", "ip", "--json", "--at", "2026-03-06T09:00+00:00", records=small_records)
    asked = calib("--records", small_records, *words)
    assert asked.document["flow"] == straight.document["flow"]


@pytest.mark.parametrize(
    "words", [("--records={}", "verify"), ("--records", "{}", "verify"), ("verify", "--records", "{}")]
)
def test_the_records_may_be_named_anywhere(small_records, words):
    assert calib(*(word.format(small_records) for word in words)).status == 0


def test_options_before_the_command_hold_though_its_arguments_stand_behind_two_dashes(small_records):
    assert calib("--json", "--records", small_records, "ready", *DAY, "--", "VA-1").document


def test_the_environment_names_records_and_operator(small_records, monkeypatch):
    monkeypatch.setenv("CALIB_RECORDS", str(small_records))
    monkeypatch.setenv("CALIB_OPERATOR", "E. Person")
    assert calib("instrument", "suspend", "VA-1", "--reason", "why").status == 0
    assert last_entry(small_records).person == "E. Person"


def test_the_option_outweighs_the_environment(small_records, monkeypatch):
    monkeypatch.setenv("CALIB_OPERATOR", "E. Person")
    calib("--by", "O. Person", "instrument", "suspend", "VA-1", "--reason", "why", records=small_records)
    assert last_entry(small_records).person == "O. Person"


def test_the_login_name_signs_where_no_other_is_given(small_records, monkeypatch):
    monkeypatch.delenv("CALIB_OPERATOR", raising=False)
    monkeypatch.setattr("getpass.getuser", lambda: "login")
    calib("instrument", "suspend", "VA-1", "--reason", "why", records=small_records)
    assert last_entry(small_records).person == "login"


def test_a_login_name_that_is_not_known_is_asked_for(small_records, monkeypatch):
    def unknown():
        raise KeyError("getpwuid(): uid not found: 12345")

    monkeypatch.delenv("CALIB_OPERATOR", raising=False)
    monkeypatch.setattr("getpass.getuser", unknown)
    ran = calib("instrument", "suspend", "VA-1", "--reason", "why", records=small_records)
    assert ran.status == 2
    assert "--by" in ran.err


def test_a_blank_name_signs_nothing(small_records):
    before = ledger_head(small_records)
    assert calib("--by", "  ", "instrument", "suspend", "VA-1", "--reason", "why", records=small_records).status == 2
    assert ledger_head(small_records) == before


def last_entry(records):
    with database.reading(str(records)) as session:
        return session.get(LedgerEntry, ledger_head(records)[0])


# --- wrong calls -----------------------------------------------------------------------------------------------------------------

TOO_LONG = "x" * 300

WRONG = [
    ("nonsense",),
    ("due", "--nonsense"),
    ("instrument",  "nonsense"),
    ("ready",),
    ("ready", "VA-9"),
    ("ready", "VA-1", ""),
    ("ready", "VA-1", "--on", "5 March"),
    ("ready", "VA-1", "--on", "2026-02-30"),
    ("ready", "VA-1", "--on", "05/03/2026"),
    ("ready", "VA-1", "--on", ""),
    ("ready", "VA-1", "--at", "4.2"),
    ("ready", "VA-1", "--at", "4.2 Pa"),
    ("ready", "VA-1", "--units", "metric"),
    ("due", "--within"),
    ("due", "--within", "soon"),
    ("due", "--within", "-5d"),
    ("due", "--within", "5 days"),
    ("due", "--within", "99999d"),
    ("due", "--on", "tomorrow"),
    ("due", "--round", "soon"),
    ("due", "--round", "30d", "--within", "60d"),
    ("due", "--round", "30d", "--ics", "due.ics"),
    ("due", "--ics", "{records}"),
    ("due", "--ics", "/dev/full"),
    ("due", "--ics", "."),
    ("label", "VA-1"),
    ("label", "--into", "labels.html"),
    ("label", "VA-1", "--all", "--into", "labels.html"),
    ("label", "VA-1", "--into", "{records}", *DAY),
    ("label", "VA-1", "--into", "/dev/full", *DAY),
    ("label", "VA-1", "--into", ".", *DAY),
    ("backup",),
    ("backup", "."),
    ("backup", "/dev/full"),
    ("backup", "{records}"),
    ("backup", TOO_LONG),
    ("export",),
    ("export", "{records}"),
    ("export", "/dev/full"),
    ("export", TOO_LONG),
    ("verify", "--digest", "my digest"),
    ("init", "--from", "nowhere.sqlite"),
    ("due", "extra"),
    ("import",),
    ("import", "nowhere"),
    ("import", "."),
    ("import", TOO_LONG),
    ("init",),
    ("instrument", "show"),
    ("instrument", "show", "VA-9"),
    ("instrument", "add", "VA-7"),
    ("instrument", "suspend", "VA-1"),
    ("instrument", "suspend", "VA-1", "--reason", " "),
    ("instrument", "suspend", "VA-9", "--reason", "why"),
    ("instrument", "suspend", "VA-1", "--reason", "why", "--at", "2026-03-05T09:00"),
    ("instrument", "suspend", "VA-1", "--reason", "why", "--at", "2999-03-05T09:00+01:00"),
    ("instrument", "release", "VA-1", "--reason", "why"),
    ("calibration", "show", "VA-9"),
    ("calibration", "candidates", "VA-9"),
    ("calibration", "show", "VA-1", "C-999"),
    ("calibration", "show", "VA-1", "--plot", "curve.bmp"),
    ("calibration", "show", "VA-1", "--plot", "nowhere/curve.png"),
    ("calibration", "list", "VA-9"),
    ("calibration", "accept", "VA-1", "C-101"),
    ("calibration", "accept", "VA-1", "C-999"),
    ("calibration", "choose", "VA-1", "C-101", "--degree", "9", "--reason", "why"),
    ("calibration", "choose", "VA-1", "C-101", "--degree", "two", "--reason", "why"),
    ("calibration", "choose", "VA-1", "C-101", "--degree", "2", "--reason", ""),
    ("calibration", "add", "VA-1", "C-7", "--laboratory", "L", "--calibrated-on", "2026-01-01", "--comparisons", "nowhere.csv"),
    ("check", "add", "VA-1", "--kind", "glance", "--value", "0", "--low", "0", "--high", "1", "--unit", "m/s"),
    ("check", "list", "VA-9"),
    ("balance",),
    ("balance", "J-9"),
    ("conformity", "J-1", "--process", "mean"),
    ("outlet", "amend", "J-1", "S-1", "--set", "width=410"),
    (*AMEND, "width"),
    ("outlet", "show", "J-1", "S-9"),
    ("conditions", "add", "J-1", "hall"),
    ("conditions", "list", "J-9"),
    ("traverse", "plan", "J-1"),
    ("traverse", "add", "J-1", "R-1", *LINES, "--instrument", "VA-1", "--unit", "m/s", "--method", "sweep"),
    ("reading", "list"),
    ("reading", "list", "J-9"),
    ("reading", "show", "99"),
    ("reading", "show", "first"),
    (*READING, "PG-1"),
    (*READING, "VA-1", "--remarks"),
    ("reading", "add", "J-1", "S-1", "--instrument", "VA-1", "--unit", "m/s", "--method", "sweep"),
    ("budget",),
    ("budget", "99"),
    ("budget", "0"),
    ("budget", "1.5"),
    ("budget", "first"),
    ("budget", "1", "--at", "now"),
    ("budget", "9" * 30),
    ("reading", "show", "9" * 30),
    ("report", "J-9"),
    ("report", "J-1", "--format", "docx"),
    ("report", "J-1", "--format", ""),
    ("report", "J-1", "--issued", "today"),
    ("report", "J-1", "--format", "json", "--into", "{records}"),
    ("report", "J-1", "--format", "json", "--into", "{records}/below"),
    ("demo", "--into", "{records}"),
    ("demo", "--into", "{records}/below"),
    ("demo", "--into", TOO_LONG),
]  # fmt: skip


@pytest.mark.parametrize("words", WRONG, ids=lambda words: " ".join(words)[:60])
def test_a_wrong_call_is_told_and_changes_nothing(small_records, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    before = ledger_head(small_records)
    named = () if words[0] == "demo" else ("--records", small_records)
    ran = calib(*(word.format(records=small_records) for word in words), *named)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.strip()
    assert "Traceback" not in ran.err
    assert ledger_head(small_records) == before


READERS = [
    ("due",),
    ("ready", "VA-1"),
    ("verify",),
    ("instrument", "list"),
    ("report", "J-1"),
    ("budget", "1"),
    ("import", "."),
    ("upgrade",),
    ("backup", "copy.sqlite"),
    ("export", "all"),
    ("label", "--all", "--into", "labels.html"),
    ("balance", "J-1"),
    ("outlet", "list", "J-1"),
    (*AMEND, "width=410"),
    CONDITIONS,
    (*TRAVERSE, "VA-1"),
]


@pytest.mark.parametrize("words", READERS, ids=" ".join)
@pytest.mark.parametrize(
    "records",
    [
        "missing.sqlite",
        "nowhere/missing.sqlite",
        ".",
        "notes.txt",
        "postgresql://host/name",
        "mysql://host/name",
        "",
        TOO_LONG,
    ],
    ids=lambda name: name[:30],
)
def test_records_that_are_none_are_told(tmp_path, monkeypatch, words, records):
    monkeypatch.chdir(tmp_path)
    Path("notes.txt").write_text("dear diary, " * 100, encoding="utf-8")
    ran = calib(*words, records=records)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith("error: ")
    assert len(ran.err.splitlines()) == 1
    assert [path.name for path in Path().iterdir()] == ["notes.txt"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is read-only to the superuser")
def test_a_folder_that_may_not_be_written_to_is_told(small_records, tmp_path):
    (tmp_path / "closed").mkdir(mode=0o500)
    ran = calib("report", "J-1", "--format", "json", "--into", tmp_path / "closed", records=small_records)
    assert (ran.status, ran.out) == (2, "")
    assert "the report cannot be written" in ran.err


def test_a_finding_of_verify_is_printed_with_its_record(small_records):
    with closing(sqlite3.connect(small_records)) as file, file:
        file.execute("INSERT INTO job (job, decision_rule) VALUES ('J-2', 'simple')")
    ran = calib("verify", records=small_records)
    assert ran.status == 1
    assert ran.out.splitlines()[0] == "job 2: is in the records without a ledger entry"
    assert calib("verify", "--json", records=small_records).document["findings"] == [
        {"record": "job 2", "problem": "is in the records without a ledger entry"}
    ]


def test_escape_sequences_in_typed_text_do_not_reach_the_terminal(empty_records, tmp_path):
    cells = [("instruments.csv", 2, "location", "van\x1b[2J\x07"), ("readings.csv", 2, "remarks", "a\x1b]0;b\x07")]
    calib("import", write(tmp_path / "in", changed(*cells)), records=empty_records)
    for words in (
        ("instrument", "show", "VA-1"),
        ("instrument", "list"),
        ("reading", "show", "1"),
        ("reading", "list", "J-1"),
    ):
        assert "\x1b" not in calib(*words, records=empty_records).out


NOT_PRINTED = {
    "right to left": ("\u202e", "⟨U+202E⟩"),
    "an isolate": ("\u2066", "⟨U+2066⟩"),
    "a line separator": ("\u2028", "⟨U+2028⟩"),
    "a paragraph separator": ("\u2029", "⟨U+2029⟩"),
    "next line": ("\x85", "⟨U+0085⟩"),
    "an escape sequence": ("\x1b[31m", "⟨U+001B⟩[31m"),
    "no width": ("\u200b", "⟨U+200B⟩"),
}


@pytest.mark.parametrize("sign", NOT_PRINTED)
@pytest.mark.parametrize(
    "words",
    [
        ("{}",),
        ("due", "--within{}", "3d"),
        ("due", "{}"),
        ("check", "{}"),
        ("balance", "J-1", "--units", "{}"),
        ("ready", "{}"),
        ("import", "{}"),
        ("verify", "--records", "no{}file"),
    ],
    ids=" ".join,
)
def test_a_sign_that_is_not_printed_is_shown_by_its_number_in_whatever_is_wrong(small_records, words, sign):
    """Unicode 15, 9.0 (UAX #9 bidirectional) and 5.8 (separators of lines): none of them turns a message or ends its line."""
    typed, shown = NOT_PRINTED[sign]
    named = () if "--records" in words else ("--records", small_records)
    ran = calib(*(word.format(f"a{typed}b") for word in words), *named)
    assert ran.status == 2
    assert typed not in ran.err
    assert typed.encode().decode() not in ran.out
    assert f"a{shown}b" in ran.err or repr(typed)[1:-1] in ran.err


# --- as processes ----------------------------------------------------------------------------------------------------------------


def process(*words, folder, **environment):
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG", "SYSTEMROOT") if name in os.environ}
    arguments = [str(PROGRAM), *(str(word) for word in words)]
    return subprocess.run(
        arguments, cwd=folder, env=kept | environment, capture_output=True, text=True, check=False, encoding="utf-8"
    )


@pytest.mark.skipif(shutil.which(str(PROGRAM)) is None, reason="the command is not installed beside this Python")
def test_from_an_empty_folder_to_a_report(tmp_path):
    write(tmp_path / "march", small_job())
    for words, out in (
        (("init",), "made calibration.sqlite\n"),
        (("import", "march", "--by", "A. Person"), "     4  instrument\n"),
        (("report", "J-1"), "wrote reports/J-1.html\nwrote reports/J-1.csv\nwrote reports/J-1.json\n"),
        (("verify",), " 0 finding(s), digest "),
    ):
        ran = process(*words, folder=tmp_path, NO_COLOR="1")
        assert ran.returncode == 0
        assert out in ran.stdout
        assert "\x1b" not in ran.stdout + ran.stderr
    assert sorted(path.name for path in (tmp_path / "reports").iterdir()) == ["J-1.csv", "J-1.html", "J-1.json"]


@pytest.mark.skipif(shutil.which(str(PROGRAM)) is None, reason="the command is not installed beside this Python")
def test_an_output_that_knows_no_plus_minus_is_no_reason_to_stop(small_records):
    ran = process(
        "calibration", "show", "VA-1", "--records", small_records, folder=small_records.parent, PYTHONIOENCODING="ascii"
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "\\u2212" in ran.stdout


@pytest.mark.skipif(shutil.which(str(PROGRAM)) is None, reason="the command is not installed beside this Python")
def test_a_reader_that_goes_away_is_no_error(small_records):
    with subprocess.Popen(
        [str(PROGRAM), "calibration", "show", "VA-1", "--records", str(small_records)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as running:
        running.stdout.close()
        assert "Traceback" not in running.stderr.read().decode()


def on_a_terminal(*words, **environment):
    """What a command writes to a terminal."""
    pty = pytest.importorskip("pty")
    ours, terminal = pty.openpty()
    with subprocess.Popen(
        [str(PROGRAM), *words], stdin=terminal, stdout=terminal, stderr=terminal, env=os.environ | environment
    ):
        os.close(terminal)
        written = all_from(ours)
    os.close(ours)
    return written.decode()


def all_from(descriptor):
    written = b""
    try:
        while block := os.read(descriptor, 65536):
            written += block
    except OSError:
        pass  # a terminal closes with the last program that writes to it
    return written


@pytest.mark.parametrize("words", [("--help",), ("due", "--nonsense")])
def test_no_color_leaves_no_escape_sequence_on_a_terminal(words):
    written = on_a_terminal(*words, NO_COLOR="1", TERM="xterm-256color")
    assert "Usage: calib" in re.sub(r"\x1b\[[0-9;]*m", "", written)
    assert "\x1b" not in written


def test_no_color_leaves_no_escape_sequence_in_what_a_command_prints(small_records):
    written = on_a_terminal(
        "ready", "VA-1", "--on", "2026-03-05", "--records", str(small_records), NO_COLOR="1", TERM="xterm-256color"
    )
    assert "VA-1: may be used" in written
    assert "\x1b" not in written
