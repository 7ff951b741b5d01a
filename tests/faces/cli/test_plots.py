"""Every command that draws says in words what its picture shows, beside the name of the file: for whoever cannot see it."""

import pytest
import typer

from calib.faces.cli import program
from tests.command import calib

# Command: as it is typed on the demo's records, and what the words of its picture must hold. The numbers are those that the demo's
# files give: its zero check, its instruments, the duct that is typed.
PLOTS = {
    "due": (("--on", "2026-10-14"), "Time-line of "),
    "balance": (("LM-27",), "Flows of the systems with expanded uncertainty, against the design."),
    "conformity": (("LM-27",), "in percent of design with its expanded uncertainty and tolerance"),
    "budget": (("1",), "Uncertainty budget of reading 1 at "),
    "calibration show": (("VA-11",), "Calibration curve of VA-11, certificate "),
    "check chart": (
        ("TA-05",),
        "Zero: 1 check, 0 failed; the last, on 2026-09-21, is 0.01 within limits of 0 and 0.02",
    ),
    "interval review": (("VA-11",), "VA-11: error of indication as found, with U, over the calibrations."),
    "traverse plan": (
        ("--shape", "round", "--diameter", "400", "--unit", "mm", "--insertion", "25"),
        "25 mm of every mark lies before the inner wall.",
    ),
}


def commands(command, name=""):
    """Every command of the program with the words that call it."""
    if hasattr(command, "commands"):
        for key, part in command.commands.items():
            yield from commands(part, f"{name} {key}".strip())
    yield name, command


def test_every_command_that_draws_stands_in_this_table():
    drawing = {
        name
        for name, command in commands(typer.main.get_command(program()))
        if any("--plot" in each.opts for each in command.params)
    }
    assert drawing == PLOTS.keys()


@pytest.mark.parametrize("name", PLOTS)
def test_a_picture_is_told_in_words_beside_the_name_of_its_file(demo_records, tmp_path, name):
    typed, said = PLOTS[name]
    records = () if name == "traverse plan" else ("--records", demo_records)
    ran = calib(*name.split(), *typed, "--plot", tmp_path / "a.svg", *records)
    (line,) = [line for line in ran.err.splitlines() if line.startswith("wrote ")]
    assert line.startswith(f"wrote {tmp_path / 'a.svg'}: ")
    assert said in line
    assert (tmp_path / "a.svg").read_bytes().startswith(b"<?xml")
