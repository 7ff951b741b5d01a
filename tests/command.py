"""Run a command of `calib` within the test's own process, as a person would type it."""

import io
import json
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import typer

from calib.faces.cli import main, program


@dataclass(frozen=True)
class Ran:
    """What a command left behind."""

    status: int
    out: str
    err: str

    @property
    def document(self):
        """The one JSON document that was printed."""
        return json.loads(self.out)


def calib(*arguments, records=None) -> Ran:
    """Run a command; `records` stands for the option of that name."""
    named = [] if records is None else ["--records", str(records)]
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            main([*(str(one) for one in arguments), *named])
            status = 0
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    return Ran(status, out.getvalue(), err.getvalue())


def done(records, *arguments) -> Ran:
    """Run a command that has to succeed."""
    ran = calib(*arguments, records=records)
    assert ran.status == 0, ran.err
    return ran


def commands(group=None, before=()):
    """Every command of the program by its words."""
    for name, command in (group or typer.main.get_command(program())).commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, (*before, name))
        else:
            yield " ".join((*before, name)), command


def copied(source: Path, to: Path) -> Path:
    """A copy of a file."""
    to.write_bytes(source.read_bytes())
    return to
