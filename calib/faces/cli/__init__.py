"""The command line. Heavy imports stand inside the commands that need them, so that `calib due` starts at once.

Decision (2026-11). The one module whose command is asked for is imported (`_PLACES`). Cost: a table of commands and modules.
"""

import gc
import io
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, redirect_stderr
from importlib import import_module
from typing import Any, TextIO, cast

import typer

from calib import __version__
from calib.errors import CalibError, DamagedError, GapError, RefusedError
from calib.faces.cli.completion import COMPLETING
from calib.faces.cli.manners import PlainGroup
from calib.faces.plain_text import as_wide_as, by_number, fitted, terminal_columns

# Options that a person may also type before the command.
_GLOBAL = {"--records": 1, "--by": 1, "--units": 1, "--json": 0}


# Where each command stands, in the order of the help.
_PLACES = {
    "init": "records", "demo": "records", "import": "records", "due": "records", "ready": "records", "verify": "records",
    "upgrade": "records", "log": "log", "file": "file", "backup": "keep", "export": "keep", "label": "label", "report": "report",
    "help": "help", "budget": "budget", "plan": "plan", "balance": "balance", "conformity": "balance",
    "correlations": "balance", "audit": "audit", "validate": "validate",
    "enter": "enter", "serve": "serve", "status": "status", "template": "template", "sites": "sites",
    "laboratory-certificate": "laboratory_certificate",
    **{group: group for group in (
        "instrument", "calibration", "check", "interval", "method", "source", "job", "system", "room", "outlet", "factor",
        "conditions", "traverse", "reading", "refusal", "event", "rule", "company", "person", "trace", "review", "anchor", "ledger",
    )},
}  # fmt: skip


def program(asked: str | None = None) -> typer.Typer:
    """The program with every command, or with those of the module where the one that is asked for stands: that starts at once."""
    app = typer.Typer(
        cls=PlainGroup,
        no_args_is_help=True,
        context_settings={"help_option_names": ["--help", "-h"]},
        rich_markup_mode=None,  # plain help: nothing to switch off where colours are not wanted
        add_completion=_is_about_completion(asked),
        pretty_exceptions_enable=False,
        help="Keep the calibration records of air-flow instruments, and put a measurement uncertainty beside every flow.",
        epilog="Exit status: 0 done; 1 a finding; 2 wrong usage or bad input, nothing written; 3 refused by the gate.",
    )
    app.callback()(_root)
    names = [_PLACES[asked]] if asked in _PLACES else list(dict.fromkeys(_PLACES.values()))
    for name in names:
        module = import_module(f"calib.faces.cli.{name}")
        if module.app.info.help:
            app.add_typer(module.app, name=name.replace("_", "-"))
        else:  # its commands have no group
            app.registered_commands += module.app.registered_commands
    return app


def _is_about_completion(asked: str | None) -> bool:
    """Whether a shell asks, or a person about it: else its imports are left out of a start."""
    return COMPLETING in os.environ or asked is None or asked.startswith("-")


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"calib {__version__}")
        raise typer.Exit


def _root(
    _version: bool = typer.Option(
        False, "--version", callback=_print_version, is_eager=True, help="Print the version."
    ),
) -> None:
    pass


_STATUS = {RefusedError: 3, DamagedError: 1, GapError: 1}  # any other error of a person's: 2


def globals_last(arguments: Sequence[str]) -> list[str]:
    """Options that hold for every command may stand before it: `calib --json due` means `calib due --json`."""
    leading: list[str] = []
    rest = list(arguments)
    while rest and rest[0].partition("=")[0] in _GLOBAL:
        take = 1 if "=" in rest[0] else 1 + _GLOBAL[rest[0]]
        leading, rest = leading + rest[:take], rest[take:]
    # What stands behind -- is no option.
    end = rest.index("--") if "--" in rest else len(rest)
    return [*rest[:end], *leading, *rest[end:]]


_SWEPT_AFTER = 100_000  # new values


@contextmanager
def _hardly_swept() -> Iterator[None]:
    """What is imported stays until the end, so hardly anybody looks for garbage among it: a third of a start, and of its end.

    Cost: values that form rings wait for the sweep, some ten megabytes at the most.
    """
    gc.set_threshold(_SWEPT_AFTER)
    known = len(sys.modules)
    try:
        yield
    finally:
        if len(sys.modules) > known:
            gc.freeze()


@_hardly_swept()
def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command; a person's mistake is one line on stderr and exit status 2, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal that knows no ± is no reason to stop
    try:
        with redirect_stderr(cast(TextIO, _ByNumber(sys.stderr))):
            _run(globals_last(sys.argv[1:] if arguments is None else arguments))
    except BrokenPipeError:
        sys.stderr.close()  # the reader of our output has gone (calib ... | head): nothing is wrong
        sys.exit(0)


class _ByNumber:
    """A stream on which each sign that is not printed is shown by its number: none turns a line, or ends it."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        return self._stream.write(by_number(text))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def _run(typed: Sequence[str]) -> None:
    try:
        program(typed[0] if typed else None)(typed)
    except CalibError as error:
        with as_wide_as(terminal_columns(sys.stderr)):
            for line in str(error).split("\n"):
                print(fitted(f"error: {line}"), file=sys.stderr)
        sys.exit(next((status for kind, status in _STATUS.items() if isinstance(error, kind)), 2))
