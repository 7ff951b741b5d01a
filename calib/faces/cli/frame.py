"""The frame of every command: its common options, its session, its answer.

    app = group("Intermediate checks between calibrations: add, list, chart.")

    @reads(app, "list")
    def list_(desk: Desk, tag: OneTag = None) -> Reply:
        ...
        return Reply(answer.document(checks_on_file(desk.reading(), tag)), answer.text)

A command takes a desk and the options of its own; the frame adds `--records`, `--json`, `--by` for one that writes, and `--units`
where it is asked for. It opens the records when the command asks for a session and closes them when it has returned: what was
written becomes durable then, all of it or nothing. Then it prints the document or its text, says the remarks, and ends with the
exit status.

What is below the faces knows columns and next steps in words, and no command: the frame says how the running command types them.
"""

import getpass
import inspect
import json
import os
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated, Any, Concatenate, NamedTuple, ParamSpec, TypeVar, get_args

import typer
from typer.models import ParameterInfo

from calib.clock import clock
from calib.errors import BadInputError, CalibError, DoubtError, Finding, Step
from calib.faces.cli import options
from calib.faces.cli.completion import names_for
from calib.faces.cli.manners import PlainCommand, PlainGroup
from calib.faces.plain_text import as_wide_as, fitted, harmless, terminal_columns
from calib.procedures.typed.declaration import Declaration, TypedColumn

if TYPE_CHECKING:
    from sqlmodel import Session

    from calib.faces.drawings import Chart
    from calib.procedures.typed.sheets import Cells, TypedRow
    from calib.records.database import OpenRecords
    from calib.records.ledger import Signature


_Written = TypeVar("_Written")


class Reply(NamedTuple):
    """What a command answers."""

    document: Any  # for machines, as JSON knows it
    text: Callable[[Any], str] | str  # the same for people, or how it is written; blank where the remarks say all
    remarks: Sequence[str] = ()  # beside it, on stderr
    status: int = 0  # the exit status


@dataclass(frozen=True)
class Desk:
    """What a command works with: the records it was given, who writes, and in which units flows are wanted."""

    records: str
    by: str | None
    units: options.Units | None
    words: str  # of the running command: "check add"
    opened: ExitStack
    as_json: bool = False
    engine: "OpenRecords | None" = None  # on the records, where they are kept open

    def reading(self) -> "Session":
        """A session that reads one consistent state of the records."""
        return self.opened.enter_context(self.reading_first())

    def writing(self) -> "Session":
        """A session whose writes become durable together when the command has returned, or not at all where it raises."""
        return self.opened.enter_context(self.writing_last())

    def reading_first(self) -> "AbstractContextManager[Session]":
        """The same as a block that ends before a person is asked: nobody waits then."""
        from calib.records import database

        return database.reading(self.engine or self.records)

    def kept_open(self) -> "Desk":
        """The same desk with the records open until the command has returned: for one that is asked many times."""
        from calib.records import database

        engine = database.open_records(self.records)
        self.opened.callback(engine.dispose)
        return replace(self, engine=engine)

    def writing_last(self) -> "AbstractContextManager[Session]":
        """Writes of a block that ends after a person was asked, within the command: it can still say what became of them."""
        from calib.faces.watched_writing import watched_writing

        return watched_writing(
            self.engine or self.records, self.signature, lambda told: say(spelled_here(told, self.records))
        )

    def written_if_sure(self, write: "Callable[[Session, bool], _Written]", *, sure: bool) -> "_Written":
        """What was written within a session; what is unusual is asked first where somebody is there to answer, else it raises."""
        try:
            with self.writing_last() as session:
                return write(session, sure)
        except DoubtError as error:
            if not _is_right(error):
                raise
        with self.writing_last() as session:
            return write(session, True)

    def row_written(self, file: str, cells: "Cells", *, sure: bool = True) -> "TypedRow":
        """The one row of a file that was typed and written; what is unusual is asked for likewise unless `sure`."""
        from calib.procedures.enter.import_sheets import import_row

        def write(session: "Session", sure: bool) -> "TypedRow":
            return import_row(session, file, cells, self.signature(), clock(), sure=sure)

        return self.written_if_sure(write, sure=sure)

    def observed_at(self, job: str, typed: str | None) -> str:
        """When something of a job was observed: now, as typed, or a time of day in the job's zone; raises NotInRecordsError."""
        if typed is None or options.today_at(typed) == typed:
            return typed or clock().isoformat()
        from calib.procedures.on_record.zone_of_job import zone_of_job

        with self.reading_first() as session:
            return options.today_at(typed, zone_of_job(session, job))

    def signature(self, action: str | None = None) -> "Signature":
        """Who writes, now, by the command's own words or another action; raises BadInputError where nobody is named."""
        from calib.records.ledger import Signature

        person = (self.by if self.by is not None else login_name()).strip()
        if not person:
            raise BadInputError([Finding.typed("by", person, "a name: who writes")])
        return Signature(person, clock(), action or self.words, as_login=self.by is None)


def is_somebody_there() -> bool:
    """Whether a person at a terminal can answer a question."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def _is_right(doubted: DoubtError) -> bool:
    """Whether whoever typed what is unusual says that it is right; nobody does where there is no terminal."""
    if not is_somebody_there():
        return False
    for doubt in doubted.findings:
        say(str(doubt))
    print("Is that right? yes or no: ", end="", flush=True, file=sys.stderr)
    return sys.stdin.readline().strip().casefold() == "yes"


def login_name() -> str:
    """The name of whoever is logged in; blank on a machine that has none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):  # a machine without a name for its user
        return ""


def cell_meant(column: TypedColumn, typed: str, shown: str) -> str:
    """A cell as it is meant where people write it otherwise than the column wants it; what it is taken as is said."""
    from calib.procedures.typed.answers import as_meant

    cell, taken = as_meant(column, typed)
    if taken is not None:
        say(f"notice: {shown}: {typed!r} is {taken}")
    return cell


def changes_meant(declared: Declaration, changes: Sequence[str]) -> list[str]:
    """Changes typed as COLUMN=VALUE, their values as they are meant."""
    parted = [change.partition("=") for change in changes]
    columns = [declared.by_name.get(name.strip()) for name, _, _ in parted]
    return [
        change if column is None else f"{name}={cell_meant(column, cell, column.name)}"
        for change, column, (name, _, cell) in zip(changes, columns, parted, strict=True)
    ]


# --- options that are columns of a file ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class RowOptions:
    """The options of a command that types one row of a file: a column each, with the words of its declaration."""

    declared: Declaration
    without: Sequence[str] = ()  # columns that the command fills itself
    typed_as: Mapping[str, Sequence[str]] = field(default_factory=dict)  # column -> options, where it has a shorter one
    defaults: Mapping[str, str] = field(default_factory=dict)
    # column that a file must fill -> what the command takes else
    otherwise: Mapping[str, str] = field(default_factory=dict)
    more: Sequence[TypedColumn] = ()  # what is typed beside the columns of the file
    # Of a command that types several rows: which one this is, as findings name it. It may be left out as a whole.
    named: str | None = None
    behind: Mapping[str, str] = field(default_factory=dict)  # column -> the one whose option it is typed in: a unit
    told: Mapping[str, str] = field(
        default_factory=dict
    )  # column -> the help of its option, where it is typed otherwise
    asked: str | None = None  # when the command itself asks for what must be typed and was not; None: it does not

    @property
    def columns(self) -> list[TypedColumn]:
        """The columns that have an option of their own."""
        return [each for each in (*self.declared, *self.more) if each.name not in {*self.without, *self.behind}]

    def options_of(self, column: str) -> Sequence[str]:
        """How a column is typed."""
        return self.typed_as.get(column, (f"--{column.lower().replace('_', '-')}",))

    def typed_in(self) -> dict[str, str]:
        """Column -> the option that a finding on it names."""
        own = {column.name: self.options_of(column.name)[0] for column in self.columns}
        return own | {column: own[before] for column, before in self.behind.items()}

    def parameters(self) -> Iterator[inspect.Parameter]:
        """Parameters as typer reads them, those that must be typed first."""
        for column in sorted(self.columns, key=lambda each: not self._lacks(each)):
            option = typer.Option(
                *self.options_of(column.name), help=self._in_words(column), autocompletion=names_for(column.name)
            )
            default = inspect.Parameter.empty if self._must(column) else self.defaults.get(column.name)
            kind = str if self._must(column) else str | None
            yield inspect.Parameter(
                self._parameter(column),
                inspect.Parameter.KEYWORD_ONLY,
                annotation=Annotated[kind, option],
                default=default,
            )

    def _parameter(self, column: TypedColumn) -> str:
        """The parameter of a column, as Python spells it."""
        return "_".join(filter(None, (self.named, column.name))).lower().replace(" ", "_").replace("-", "_")

    def _must(self, column: TypedColumn) -> bool:
        return self.asked is None and self._lacks(column)

    def _lacks(self, column: TypedColumn) -> bool:
        return self.named is None and column.required and not {column.name} & {*self.otherwise, *self.defaults}

    @property
    def required(self) -> list[str]:
        """Columns that must be typed."""
        return [column.name for column in self.columns if self._lacks(column)]

    @property
    def made_by(self) -> str:
        """The option without which there is no such row."""
        return next(self.options_of(column.name)[0] for column in self.columns if column.required)

    def taken(self, typed: dict[str, Any]) -> dict[str, str | None]:
        """The cells among what was typed, by their columns; what is left is the command's own."""
        return {column.name: self._meant(column, typed.pop(self._parameter(column))) for column in self.columns}

    def _meant(self, column: TypedColumn, typed: str | None) -> str | None:
        """A cell as it is meant; one that is typed together with its unit is read with it."""
        if typed is None or column.name in self.behind.values():
            return typed
        return cell_meant(column, typed, self.options_of(column.name)[0])

    def _in_words(self, column: TypedColumn) -> str:
        """What a column holds, as the help of an option, with other columns by their options."""
        if column.name in self.told:
            return self.told[column.name]
        with_it = (each.meaning for each in self.declared if self.behind.get(each.name) == column.name)
        meaning = " and ".join((column.meaning, *with_it))
        of_row = "" if self.named is None else f"{self.named}: "
        otherwise = self.asked if self._lacks(column) else None
        told = _sentence(f"{of_row}{meaning}", column, otherwise or self.otherwise.get(column.name))
        options_of = self.typed_in()
        return _COLUMN_NAMED.sub(lambda named: options_of.get(named[0], named[0]), told)


_COLUMN_NAMED = re.compile(r"\b[a-zA-Z]+(_[a-zA-Z]+)+\b")
_OF_SHEETS = re.compile(
    r" in \w+\.csv or(?= in the records)| \(leave the row out\)|leave the row out; "
)  # advice on rows


def _sentence(meaning: str, column: TypedColumn, otherwise: str | None) -> str:
    words = column.check("") or ""
    told = f"{meaning}: {words}" if words.startswith("one of ") and "one of" not in meaning else meaning
    ending = "" if otherwise is None else f"; {otherwise} if not given"
    return f"{told[0].upper()}{told[1:]}{ending}."


# --- declaring commands ----------------------------------------------------------------------------------------------------------

_Own = ParamSpec("_Own")
_Command = Callable[Concatenate[Desk, _Own], Reply]

_OF_ROWS = ("cells", "rows")  # parameters that hold what was typed as the columns of a file

# Common options in the order of the help: name, type, default.
_COMMON = (
    ("records", options.Records, options.DEFAULT_RECORDS),
    ("by", options.By, None),
    ("units", options.InUnits, None),
    ("as_json", options.AsJson, False),
)


def group(told: str | None = None, cls: type[typer.core.TyperGroup] | None = None) -> typer.Typer:
    """A group of commands, or one without a name of its own, whose commands stand in the program itself."""
    return typer.Typer(cls=cls or PlainGroup, no_args_is_help=True, rich_markup_mode=None, help=told)


def reads(
    app: typer.Typer, name: str, *, units: bool = False, of_records: bool = True, no_args_is_help: bool = False
) -> Callable[[_Command[_Own]], _Command[_Own]]:
    """Declare a command that writes nothing into the records; some answer without any records at all."""
    common = {"as_json"} | ({"records"} if of_records else set()) | ({"units"} if units else set())
    return _declared(app, name, common, no_args_is_help=no_args_is_help)


def writes(
    app: typer.Typer, name: str, *, units: bool = False, row: RowOptions | None = None, rows: Sequence[RowOptions] = ()
) -> Callable[[_Command[_Own]], _Command[_Own]]:
    """Declare a command that writes into the records, in the name of a person.

    One that types a row is handed its `cells`, one that types several `rows`: the cells of each by what it is named.
    """
    typed_rows = rows if row is None else [row]
    return _declared(app, name, {"as_json", "records", "by"} | ({"units"} if units else set()), rows=typed_rows)


def _declared(
    app: typer.Typer, name: str, common: set[str], *, no_args_is_help: bool = False, rows: Sequence[RowOptions] = ()
) -> Callable[[_Command[_Own]], _Command[_Own]]:
    def declare(command: _Command[_Own]) -> _Command[_Own]:
        def run(context: typer.Context, **typed: Any) -> None:
            shared = {option: typed.pop(option, default) for option, _, default in _COMMON}
            cells = {each.named: each.taken(typed) for each in rows}
            handed = {} if not rows else {"cells": cells[None]} if None in cells else {"rows": cells}
            _tell(_answered(context, command, shared, typed | handed, rows), as_json=shared["as_json"])

        own = [each for each in list(inspect.signature(command).parameters.values())[1:] if each.name not in _OF_ROWS]
        for each in own:
            _completed(each)
        own += [parameter for each in rows for parameter in each.parameters()]
        kind = inspect.Parameter.KEYWORD_ONLY
        first = inspect.Parameter("context", kind, annotation=typer.Context)
        last = [
            inspect.Parameter(*each[:1], kind, annotation=each[1], default=each[2])
            for each in _COMMON
            if each[0] in common
        ]
        parameters = [first, *(each.replace(kind=kind) for each in own), *last]
        run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined] # typer reads the options from it
        run.__annotations__ = {each.name: each.annotation for each in parameters}
        several = {each.made_by: [own.name for own in each.parameters()] for each in rows if each.named is not None}
        kind_of_command = type("CommandOfRows", (PlainCommand,), {"rows": several})
        app.command(name, cls=kind_of_command, help=inspect.getdoc(command), no_args_is_help=no_args_is_help)(run)
        return command

    return declare


def _completed(parameter: inspect.Parameter) -> None:
    """Let a shell complete what is typed, where the records know its names."""
    for info in get_args(parameter.annotation):
        if isinstance(info, ParameterInfo):
            info.autocompletion = names_for(info.metavar)


# --- running one -----------------------------------------------------------------------------------------------------------------


def _answered(
    context: typer.Context,
    command: Callable[..., Reply],
    shared: dict[str, Any],
    typed: dict[str, Any],
    rows: Sequence[RowOptions],
) -> Reply:
    """The reply of a command, the records closed behind it; raises its error in the words of the command line."""
    try:
        with ExitStack() as opened:
            words = _words_of(context)
            desk = Desk(shared["records"], shared["by"], shared["units"], words, opened, shared["as_json"])
            reply = command(desk, **typed)
    except BadInputError as error:
        told = dict.fromkeys(_as_typed_here(finding, context, rows) for finding in error.findings)
        if isinstance(error, DoubtError):
            raise DoubtError(tuple(told), spelled_here(error.step)) from error
        raise BadInputError(tuple(told)) from error
    except CalibError as error:
        raise type(error)(spelled_here(str(error), shared["records"])) from error
    return reply


def _words_of(context: typer.Context) -> str:
    """The words of the running command, without the program's name."""
    words: list[str] = []
    within: Any = context
    while within.parent is not None:
        words.insert(0, within.info_name)
        within = within.parent
    return " ".join(words)


def _tell(reply: Reply, *, as_json: bool) -> None:
    try:
        _print(reply, as_json=as_json)
        sys.stdout.flush()
    except (
        BrokenPipeError
    ):  # whoever read it has gone (calib ... | head): nothing is wrong, and the status stays what it is
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    for remark in reply.remarks:
        say(remark)
    if reply.status:
        raise typer.Exit(reply.status)


def _print(reply: Reply, *, as_json: bool) -> None:
    if as_json:
        print(json.dumps(reply.document, indent=2, ensure_ascii=False))
    else:
        with as_wide_as(terminal_columns(sys.stdout)):
            text = reply.text if isinstance(reply.text, str) else reply.text(reply.document)
            if text:
                print(fitted(harmless(text)))


def say(text: str) -> None:
    """A message for people, on stderr."""
    with as_wide_as(terminal_columns(sys.stderr)):
        print(fitted(harmless(spelled_here(text))), file=sys.stderr)


def say_tried(text: str) -> None:
    """The same of what is only tried: an impact review that it would open is not there to be shown."""
    before, step, _ = text.rpartition(f": {Step.SEE_REVIEW} ")
    say(f"{before}, would be opened" if step else text)


def happened_at(typed: str | None, column: str = "at") -> datetime:
    """When something happened, as typed, or now; a time just ahead of this clock is said. Raises BadInputError for one to come."""
    from calib.procedures.typed.time_to_come import notice_of

    at = options.time_happened(typed, column)
    notice = notice_of(at, clock())
    if notice is not None:
        say(f"notice: {notice}")
    return at


def plotted(charts: "Sequence[Chart]", plot: Path) -> None:
    """Write charts to the file that --plot names, and say what each shows for whoever cannot see it; raises CalibError."""
    from calib.faces.drawings import save_all

    for path, words in save_all(charts, plot).items():
        say(f"wrote {path}: {words}")


# --- how it is typed here --------------------------------------------------------------------------------------------------------

_SPELLED = {
    Step.MAKE_RECORDS: "make them with `calib init`",
    Step.NAME_RECORDS: "name others with --records",
    Step.NAME_FILE: "name the file of the records with --records",
    Step.NAME_ANOTHER_FILE: "name another file with --records",
    Step.NAME_ANOTHER_DATABASE: "name another database with --records",
    Step.VERIFY: "`calib verify`",
    Step.LIST_INSTRUMENTS: "`calib instrument list`",
    Step.LIST_READINGS: "`calib reading list`",
    Step.CLOSE_CLOCK_STEP: "QA closes that with `calib ledger step --reason ...`",
    Step.SEE_GRANTS: "`calib person grants` prints",
    Step.FIND_FACTOR: "a factor that `calib factor find` has put into the records",
    Step.AMEND_OUTLET: "amended by `calib outlet amend`",
    Step.AMEND_INSTRUMENT: "amended by `calib instrument amend`",
    Step.AMEND_METHOD: "amended by `calib method amend`",
    Step.AMEND_JOB: "amended by `calib job amend`",
    Step.CORRECT_READING: "corrected by `calib reading correct`",
    Step.ADD_CONDITIONS: "enter them whole with `calib conditions add`, under another name",
    Step.ORDER_OF_DATES: "--dates dmy or mdy says which",
    Step.MAP_HEADINGS: "a map of its headings, which `calib import --suggest-map FILE` begins",
    Step.SAY_WHY_WITHOUT: "--with-gaps REASON issues it all the same, and keeps the reason",
    Step.SAY_SURE: "the same with --sure writes it",
    Step.LET_ONE_ACCEPT: 'record the rule: calib rule set "one person may accept" --holds yes --reason ...',
}
_SPELLED_OF = (
    (re.compile(rf"{Step.SEE_REVIEW} (\d+)"), "calib review show {}"),
    (
        re.compile(rf"{Step.DISMISS_REFUSAL}: job (.+), number (\d+)"),
        "dismissed with `calib refusal dismiss {} {} --reason TEXT`",
    ),
    (re.compile(rf"{Step.WRITE_AGAIN} (.+), revision (\d+)"), "`calib report {} --revision {}` writes it again"),
)


def spelled_here(told: str, records: str = options.DEFAULT_RECORDS) -> str:
    """A message with its next steps as commands."""
    for plain, typed in _SPELLED.items():
        told = told.replace(plain, typed)
    if Step.UPGRADE in told:
        from calib.records import database

        told = told.replace(
            Step.UPGRADE, f"`calib upgrade --records {quote(database.shown_location(records))}` brings it there"
        )
    for step, typed in _SPELLED_OF:
        told = step.sub(partial(_filled, typed), told)
    return told


def _filled(typed: str, names: re.Match[str]) -> str:
    return typed.format(*map(quote, names.groups()))


def _as_typed_here(finding: Finding, context: typer.Context, rows: Sequence[RowOptions]) -> Finding:
    """A finding with the option or the argument of the running command in place of its column, where it was typed here."""
    finding = replace(finding, expected=spelled_here(finding.expected))
    of_row = next((each.typed_in() for each in rows if each.named == finding.source), None)
    if finding.source is not None and of_row is None:
        return finding
    named = {name: shown for parameter in context.command.params for name, shown in _names_of(parameter)}
    named |= {column.casefold(): option for column, option in (of_row or {}).items()}
    columns = (finding.column or "").split(", ")
    shown = ", ".join(named.get(column.casefold(), column) for column in columns)
    without_sheet = _OF_SHEETS.sub("", finding.expected)
    expected = _COLUMN_NAMED.sub(lambda other: named.get(other[0].casefold(), other[0]), without_sheet)
    return replace(finding, source="command line", column=shown or None, expected=expected)


def _names_of(parameter: Any) -> list[tuple[str, str]]:
    """Names by which a column may mean a parameter, and how it is typed: --reason, TAG."""
    if parameter.param_type_name == "argument":
        return [(str(parameter.name).casefold(), re.sub(r"[\[\].]", "", str(parameter.metavar)))]
    names = (str(parameter.name), *(each.lstrip("-").replace("-", "_") for each in parameter.opts))
    return [(name.casefold(), parameter.opts[0]) for name in names]
