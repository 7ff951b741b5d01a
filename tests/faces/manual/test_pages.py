"""The pages of the manual: what each holds, that nothing of the program is missing in them, and that they fit a terminal.

Common practice, no source. What they say of roles is held in tests/faces/cli/test_person_command.py.
"""

import re
import tomllib
from functools import cache
from importlib.resources import files

import pytest

from calib.faces.cli.help import commands
from calib.faces.manual import pages
from calib.procedures.typed.columns import FILES
from calib.quantities import UNITS
from tests.faces.cli.test_program import COMMANDS

TOPICS = pages.topics()
WRITTEN = {topic: pages.source(topic) for topic in TOPICS}


@cache
def page(topic, width=80):
    return pages.page(topic, width, {"commands": commands})


def test_a_topic_is_a_file_whose_first_line_is_its_title():
    there = {one.name for one in files("calib.faces.manual").iterdir() if one.name.endswith(".md")}
    assert {f"{topic}.md" for topic in TOPICS} == there
    assert all(text.startswith(f"# {TOPICS[topic]}\n") and TOPICS[topic] for topic, text in WRITTEN.items())
    assert {"import", "certificates", "duct", "report", "server", "numbers", "python", "changes"} <= TOPICS.keys()


def test_a_page_is_as_wide_as_the_terminal():
    """But for code, which stands as it is typed, and for what has no space in it."""
    for topic in TOPICS:
        for width in [40, 60, 80, 100]:
            lines = page(topic, width).splitlines()
            assert [
                line for line in lines if len(line) > width and not line.startswith("    ") and len(line.split()) > 2
            ] == []
            assert max(map(len, lines)) > width - 12


def test_no_markup_and_no_empty_place_is_left_in_a_page():
    for topic in TOPICS:
        text = re.sub(r"^    .*$", "", page(topic), flags=re.MULTILINE)  # code may hold anything
        assert not re.search(r"^#|^\{|```|^\||\*\*", text, re.MULTILINE)


def test_the_example_of_a_map_can_be_copied_from_the_page():
    text = page("import", 60)
    table = tomllib.loads(text[text.index("    [readings]") : text.index("A heading that the sheet has not")])
    assert table["readings"]["headings"]["observed_at"] == ["Date", "Time"]
    assert table["readings"]["units"] == {"observations": "fpm"}


def test_every_command_is_explained_in_a_page_besides_the_tables():
    explained = " ".join(" ".join(WRITTEN.values()).split())
    assert [name for name in COMMANDS if not re.search(rf"calib {name}\b", explained)] == []


def test_every_command_stands_in_the_list_of_commands_with_its_sentence():
    listed = page("commands", 400)
    for name in COMMANDS:
        sentence = " ".join(COMMANDS[name].help.partition("\n\n")[0].split())
        assert re.search(rf"^  calib {name} +{re.escape(sentence)}$", listed, re.MULTILINE)


def test_every_column_of_an_import_file_is_explained():
    parts = re.split(r"^(\w+\.csv)\n-+$", page("import", 400), flags=re.MULTILINE)
    for file in FILES:
        part = parts[parts.index(file) + 1]
        for column in FILES[file]:
            term = f"{column.name} *" if column.required else column.name
            assert re.search(rf"^  {re.escape(term)}  +{re.escape(column.meaning)}", part, re.MULTILINE)


def test_what_a_cell_may_be_is_said():
    text = page("import", 400)
    for said in (
        "(one of supply, return, exhaust)",
        "(a finite number above 0)",
        "(finite numbers joined by ;)",
        "(a date as YYYY-MM-DD,",
    ):
        assert said in text
    for symbols in UNITS.values():
        assert ", ".join(symbols) in text


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_names_only_pages_and_commands_that_there_are(topic):
    a_line_each = re.sub("```.*?```", lambda code: code[0].replace("\n", " ; "), WRITTEN[topic], flags=re.DOTALL)
    text = " ".join(a_line_each.split())
    assert set(re.findall(r"calib help ([a-z-]+)", text)) <= TOPICS.keys()
    named = re.findall(r"calib ([a-z][a-z-]*)(?: ([a-z][a-z-]*))?", text)
    groups = {name.split()[0] for name in COMMANDS}
    assert {first for first, _ in named} <= groups | {"sends"}
    several = {name.split()[0] for name in COMMANDS if " " in name}
    assert {f"{first} {second}" for first, second in named if first in several and second} <= COMMANDS.keys()
