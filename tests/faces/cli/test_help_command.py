"""`calib help` as a person types it. Source: common practice, no source."""

import re
import subprocess
import sys

import pytest

from calib.faces.manual import pages
from tests.command import calib
from tests.faces.cli.test_start_up import HEAVY

TOPICS = pages.topics()


def test_alone_it_lists_the_topics(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    asked = calib("help")
    assert (asked.status, asked.err) == (0, "")
    assert re.findall(r"^  ([a-z-]+) +(.*)$", asked.out, re.MULTILINE) == list(TOPICS.items())


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_is_shown(topic):
    asked = calib("help", topic)
    assert (asked.status, asked.err) == (0, "")
    assert asked.out.startswith(f"{TOPICS[topic]}\n===")
    assert "\x1b" not in asked.out


@pytest.mark.parametrize(("columns", "widest"), [("20", 40), ("60", 60), ("100", 100), ("200", 100)])
def test_a_page_is_as_wide_as_the_terminal_but_can_be_followed(monkeypatch, columns, widest):
    monkeypatch.setenv("COLUMNS", columns)
    lines = calib("help", "due").out.splitlines()
    assert widest - 12 < max(len(line) for line in lines if not line.startswith("    ")) <= widest


@pytest.mark.parametrize("topic", ["nonsense", "", "Import", "../pages", "import.md"])
def test_an_unknown_topic_is_told_in_one_line_with_those_there_are(topic):
    asked = calib("help", topic)
    assert (asked.status, asked.out, asked.err.count("\n")) == (2, "", 1)
    assert asked.err == f"error: there is no topic {topic!r} in the manual; there is {', '.join(TOPICS)}\n"


def test_it_answers_in_json_too():
    assert calib("help", "--json").document == {"topics": TOPICS}
    shown = calib("help", "due", "--json").document
    assert (shown["topic"], shown["title"]) == ("due", TOPICS["due"])
    assert shown["text"].startswith(TOPICS["due"])


@pytest.mark.parametrize("words", [(), ("numbers",), ("due",)])
def test_a_page_without_tables_of_columns_loads_none_of_the_heavy_libraries(words):
    program = f"import sys; from calib.faces.cli import main; main(sys.argv[1:], )\nassert not {set(HEAVY)!r} & sys.modules.keys()"
    program = program.replace(
        "main(sys.argv[1:], )", "\ntry: main(sys.argv[1:])\nexcept SystemExit as end: assert not end.code"
    )
    subprocess.run([sys.executable, "-c", program, "help", *words], capture_output=True, text=True, check=True)
