"""Questions made from the declaration of a file: a cell each, checked at once, asked again with the reason.

At a terminal a wrong answer is asked for again. From a pipe the lines are the answers, in the order of the questions; a wrong one
ends it, by its line. Nothing is written before the whole was shown and found right; Ctrl-C, or an end of the answers, writes
nothing.

Decision (2026-11-29). What is missing is asked for at a terminal alone, and where somebody asked for it; a script is told all that
is missing at once. Options: always ask (a script would hang). Cost: two ways of one command.
"""

import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

from calib.clock import clock
from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli import frame
from calib.faces.cli.frame import RowOptions, say
from calib.faces.plain_text import as_wide_as, cells_text, fitted, terminal_columns
from calib.procedures.typed.answers import answered, answered_line
from calib.procedures.typed.declaration import TypedColumn

if TYPE_CHECKING:
    from collections.abc import Iterator

    from calib.procedures.typed.sheets import Cells

_Written = TypeVar("_Written")
_ENDED = "nothing was written"


class Questions:
    """Questions one after another."""

    def __init__(self) -> None:
        self.at_terminal = frame.is_somebody_there()
        self._line = 0

    def line(self, prompt: str) -> str:
        """What is typed to a prompt; raises CalibError where the answers end."""
        if self.at_terminal:
            with as_wide_as(terminal_columns(sys.stderr)):
                print(fitted(prompt.rstrip()), end=" ", flush=True, file=sys.stderr)
        typed = sys.stdin.readline()
        self._line += 1
        if not typed:
            if self.at_terminal:
                print(file=sys.stderr)
            raise CalibError(f"the answers end before {prompt.rstrip(': ')}; {_ENDED}")
        return typed.strip()

    def cell(self, column: TypedColumn, offered: str | None = None) -> str | None:
        """The answer for a column; `offered` is taken where nothing is typed."""
        while True:
            typed = self.line(f"{_asked(column)}{_offer(offered)}: ") or offered or ""
            answer = answered(column, typed, clock())
            for said in answer.said:
                self.tell(said)
            if answer.expected is None:
                return answer.cell
            self.wrong([(column.name, typed, answer.expected)])

    def cells_on_line(
        self, prompt: str, columns: Sequence[TypedColumn], before: Mapping[str, str], offered: str | None = None
    ) -> dict[str, str] | None:
        """Several cells on one line; None for an empty one. One that is offered is taken by an empty answer, - drops it: {}."""
        while True:
            typed = self.line(f"{prompt}{_offer(offered)}: ") or offered
            if not typed:
                return None
            if offered and typed == "-":
                return {}
            cells, wrong, said = answered_line(columns, typed, before, clock())
            if not wrong:
                for each in said:
                    self.tell(each)
                return cells
            self.wrong(wrong)

    def wrong(self, findings: Iterable[tuple[str, str, str]]) -> None:
        """Say what was wrong with the last answer, to be asked again; raises BadInputError from a pipe."""
        told = [Finding("answers", self._line, column, value, expected) for column, value, expected in findings]
        if not self.at_terminal:
            raise BadInputError(told)
        for _, value, expected in findings:
            self.tell(f"{value!r}; expected {expected}" if value else f"expected {expected}")

    def is_right(self, shown: Callable[[], str]) -> bool:
        """Whether the whole, as it is shown, is to be written."""
        with as_wide_as(terminal_columns(sys.stderr)):
            say(shown())
        while True:
            typed = self.line("write it? yes or no: ").casefold()
            if typed in ("yes", "y", "no", "n"):
                return typed in ("yes", "y")
            self.wrong([("", typed, "yes or no")])

    def tell(self, text: str) -> None:
        """Say something between the questions."""
        say(f"  {text}")


def _offer(offered: str | None) -> str:
    return f" [{offered}]" if offered else ""


def _asked(column: TypedColumn) -> str:
    """A column as a question: its name, what it means, the words that it may be."""
    words = column.check("") or ""
    choices = f": {words}" if words.startswith("one of ") else ""
    blank = "" if column.required else "; empty: none"
    return f"{column.name.replace('_', ' ')} ({column.meaning}{choices}{blank})"


@contextmanager
def nothing_written_if_stopped() -> "Iterator[None]":
    """A conversation in which Ctrl-C ends the command, with one line and nothing written."""
    try:
        yield
    except KeyboardInterrupt:
        print(file=sys.stderr)
        raise CalibError(f"stopped; {_ENDED}") from None


def missing_in(row: RowOptions, cells: Mapping[str, str | None], needs: Iterable[str], or_else: str = "") -> None:
    """Raise CalibError with all options that must be typed and were not, in one line, and what would do in place of them."""
    options = row.typed_in()
    missing = [options.get(name, f"--{name}") for name in needs if not (cells.get(name) or "").strip()]
    if missing:
        raise CalibError(f"missing: {', '.join(missing)}{or_else}")


def row_answered(row: RowOptions, cells: "Cells", title: str, write: "Callable[[Cells], _Written]") -> _Written:
    """Write a row whose missing cells are asked for at a terminal, and named all at once where there is none; raises CalibError."""
    if all(cells.get(name) for name in row.required) or not frame.is_somebody_there():
        missing_in(row, cells, row.required)
        return write(cells)
    given, questions = dict(cells), Questions()

    def ask(again: frozenset[str]) -> bool:
        given.update(dict.fromkeys(again & given.keys()))
        wanted = {*row.required, *again}
        left = [column for column in row.columns if column.name in wanted and given.get(column.name) is None]
        for column in left:
            given[column.name] = questions.cell(column)
        return bool(left)

    with nothing_written_if_stopped():
        return answered_and_written(questions, ask, lambda: cells_shown(title, given), lambda: write(given))


def answered_and_written(
    questions: Questions,
    ask: Callable[[frozenset[str]], bool],
    shown: Callable[[], str],
    write: Callable[[], _Written],
) -> _Written:
    """Ask, show the whole, write; where that finds answers wrong these are asked for again. Raises CalibError, nothing written.

    `ask` is handed the columns whose answers were found wrong, none the first time; it says whether it asked for any of them.
    """
    ask(frozenset())
    while True:
        if not questions.is_right(shown):
            raise CalibError(_ENDED)
        try:
            return write()
        except BadInputError as error:
            if not questions.at_terminal:
                raise
            say(str(error))
            if not ask(frozenset(finding.column for finding in error.findings if finding.column)):
                raise


def cells_shown(title: str, cells: Mapping[str, str | None]) -> str:
    """Cells under a title, to be looked at before they are written."""
    return f"{title}\n{cells_text(dict(cells))}"
