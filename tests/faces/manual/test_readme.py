"""README and DEVELOPERS.md: what they promise holds. Common practice, no source."""

import math
import os
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from calib.faces.manual import pages
from tests.command import calib
from tests.faces.cli.test_program import COMMANDS, PROGRAM
from tests.test_house import ROOMS

ROOT = Path(__file__).parents[3]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = {name: (ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md")}


def part_of_the_readme(title):
    return README.partition(f"## {title}\n")[2].partition("\n## ")[0]


def blocks_of(text):
    return re.findall(r"```sh\n(.*?)```", text, flags=re.DOTALL)


needs_sh = pytest.mark.skipif(
    shutil.which("sh") is None or not PROGRAM.exists(), reason="needs a shell, and `calib` installed beside this Python"
)


def run(script, folder, **environment):
    """What a shell makes of a script in a folder, with `calib` on its path and stopped at the first command that fails."""
    there = {name: os.environ[name] for name in ("HOME", "LANG") if name in os.environ} | environment
    there["PYTHONPATH"] = str(ROOT)  # this copy of the program, whichever is installed
    there["PATH"] = os.pathsep.join([str(PROGRAM.parent), os.environ["PATH"]])
    words = [shutil.which("sh"), "-e", "-c", script]
    return subprocess.run(words, cwd=folder, env=there, capture_output=True, text=True, check=False)


@needs_sh
def test_the_first_own_job_can_be_copied_into_an_empty_folder(tmp_path):
    (block,) = blocks_of(part_of_the_readme("Your first own job"))
    ran = run(block, tmp_path)
    assert ran.returncode == 0, ran.stderr
    # Mean indication 2.41 m/s, less the error of some 0.03 m/s that the certificate shows there, over 0.08 m2 with the factor 0.85.
    shown = re.search(r"\((\d+) ± (\d+)\) m3/h, k = (2\.[01]\d) +9\d\.\d +pass", ran.stdout).groups()
    flow, expanded, k = map(float, shown)
    assert flow == pytest.approx((2.41 - 0.03) * 0.4 * 0.2 * 0.85 * 3600, abs=1.5)
    # Method 2.5 %, factor 0.02/0.85, stability (2 % + 0.05 m/s) over the root of 3, certificate 0.03/2 m/s of 2.41 m/s.
    relative = [0.025, 0.02 / 0.85, 0.0982 / 3**0.5 / 2.41, 0.015 / 2.41]
    # Three observations, some 3 % of the variance with two degrees of freedom: k is 2.12 by convolution, where the law has 2.00.
    assert k == pytest.approx(2.12, abs=0.02)
    assert expanded / flow == pytest.approx(k * math.hypot(*relative), rel=0.05)
    assert (tmp_path / "reports" / "J-1.html").exists()


@pytest.mark.parametrize(
    ("title", "statuses"),
    [("Three minutes with the demo", [3, 0, 0, 0, 0]), ("Three doors", [1, *[0] * 13])],
)
def test_what_is_shown_with_the_demo_answers_as_it_says(demo_folder, tmp_path, monkeypatch, title, statuses):
    shown = "".join(blocks_of(part_of_the_readme(title))).splitlines()
    commands = [line for line in shown if line.startswith("calib")]
    shutil.copytree(demo_folder, tmp_path / "reports", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CALIB_RECORDS", "reports/demo.sqlite")
    found = [calib(*shlex.split(line)[1:]).status for line in commands]
    assert dict(zip(commands, found, strict=True)) == dict(zip(commands, statuses, strict=True))


def test_what_is_shown_with_the_demo_names_its_day_wherever_one_is_asked_about():
    """So that it answers the same next year; `enter` and what writes is not shown with the demo's records."""
    texts = (part_of_the_readme("Three minutes with the demo"), part_of_the_readme("Three doors"), pages.source("demo"))
    shown = [line for text in texts for line in text.splitlines() if line.startswith("calib ")]
    asks = {name for name in COMMANDS if any("--on" in each.opts for each in COMMANDS[name].params)}
    asking = [line for line in shown if any(re.match(rf"calib {name}\b", line) for name in asks)]
    assert [line for line in asking if "--on 2026-10-14" not in line] == []
    assert len(asking) >= 10


def test_the_two_commands_are_those_that_ci_runs():
    assert [line for line in README.splitlines() if line.startswith("python3 -m venv")] == [
        "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/calib demo",
        "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/python -m pytest",
    ]


def test_fifteen_words_are_explained():
    rows = [line for line in part_of_the_readme("Fifteen words").splitlines() if line.startswith("|")]
    assert len(rows) == 2 + 15


def test_the_licence_stands_at_the_end():
    assert re.search(
        r"MIT License\n\nCopyright .* the calib authors\n\nPermission is hereby granted.*SOFTWARE\.\n\Z",
        README,
        re.DOTALL,
    )


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_document_names_commands_and_topics_that_there_are(name):
    text = " ".join(DOCUMENTS[name].split())
    assert set(re.findall(r"calib help ([a-z-]+)", text)) <= pages.topics().keys()
    typed = re.findall(r"`calib ([a-z-]+)(?: ([a-z-]+))?", text)
    known = {word for name in COMMANDS for word in (name, name.split()[0])}
    assert [one for one in typed if one[0] not in known] == []


def test_what_the_documents_name_in_the_project_is_there():
    for text in DOCUMENTS.values():
        named = re.findall(r"`((?:calib|tests|reference_data|reports|\.ci)/[\w./-]*)`", text)
        assert [one for one in named if not (ROOT / one).exists()] == []


FLOOR = re.compile(r"^\| room in `(calib/\w+)/` \|.*\n((?:\|.*\n)+)", re.MULTILINE)
ROOM = re.compile(r"^\| `(\w+)/` \|.*\|([^|]*)\|$", re.MULTILINE)
TOLD = [
    (f"{floor}/{room}", files)
    for floor, rows in FLOOR.findall(DOCUMENTS["DEVELOPERS.md"])
    for room, files in ROOM.findall(rows)
]


@pytest.mark.parametrize(("room", "named"), TOLD)
def test_the_files_to_know_of_a_room_are_there(room, named):
    assert [name for name in re.findall(r"`(\w+)`", named) if not (ROOT / room / f"{name}.py").exists()] == []


def test_every_room_of_the_house_stands_in_the_table():
    rooms = {f"calib/{floor}/{room}" for floor, below in ROOMS.items() for room in below}
    folders = {room for room in rooms if (ROOT / room).is_dir()}
    assert {room for room, _ in TOLD} == folders
