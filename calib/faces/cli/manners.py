"""How a command shows its arguments and says what is wrong with them, in words of people rather than of programmers.

Decision (2026-11-29). typer writes types as Python names them (`<list[str]>`), the first missing option alone, and pydantic's
sentences about numbers. These few lines over its command class say them plainly. Option: another library for commands, for which
every command would be declared anew. Cost: they know how typer 0.2x lays out a help record.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import dropwhile, takewhile
from typing import Any, ClassVar, cast

import typer
from typer import core

from calib.records.words import LARGEST_KEY

_SHOWN = {"str": "TEXT", "int": "NUMBER", "int range": "NUMBER", "float": "NUMBER", "float range": "NUMBER"}
_EXPECTED = {int: "a whole number", list[int]: "whole numbers", float: "a number"}
_TYPE = re.compile(r" <([^<>]+)>(\.\.\.)?$")
_HYPHEN = "\N{NON-BREAKING HYPHEN}"  # while lines are broken: an option stays whole
_SHOWN_DEFAULT = re.compile(r"\[default: \(([^()]*)\)")
_RANGE = ((re.compile(r"(\S+)<=x<=(\S+)\]"), r"from \1 to \2]"), (re.compile(r"x>=(\S+)\]"), r"\1 or more]"))


class PlainGroup(core.TyperGroup):
    """A group of commands, each listed with its whole first sentence: cut at the edge it says nothing."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """The commands, one below the other."""
        listed = [(name, first_sentence(self.get_command(ctx, name))) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl([(name, told.replace("-", _HYPHEN)) for name, told in listed])

    def get_help(self, ctx: Any) -> str:
        """The help, in which no line breaks within a word."""
        return str(super().get_help(ctx)).replace(_HYPHEN, "-")


def first_sentence(command: Any) -> str:
    """The first sentence of a command's help, on one line."""
    return " ".join((command.help or "").partition("\n\n")[0].split())


class PlainCommand(core.TyperCommand):
    """A command with its arguments, options and mistakes in plain words."""

    # Of one that types several rows, each of which may be left out: the option that makes each, and its parameters.
    rows: ClassVar[Mapping[str, Sequence[str]]] = {}

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """The words behind the command's name: JOB, [CERTIFICATE], TAG..."""
        arguments = (each for each in self.get_params(ctx) if each.param_type_name == "argument")
        return ["[OPTIONS]", *map(_usage, arguments)]

    def get_help(self, ctx: Any) -> str:
        """The help, in which no line breaks within a word like --outlet-factor: an example can be copied."""
        return str(super().get_help(ctx)).replace(_HYPHEN, "-")

    def format_help_text(self, ctx: Any, formatter: Any) -> None:
        """What the command does."""
        told, self.help = self.help, (self.help or "").replace("-", _HYPHEN)
        try:
            super().format_help_text(ctx, formatter)
        finally:
            self.help = told

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Arguments and options, each with what is typed for it."""
        for title, kind in (("Arguments", "argument"), ("Options", "option")):
            records = [each.get_help_record(ctx) for each in self.get_params(ctx) if each.param_type_name == kind]
            if shown := [_plain(*record, kind) for record in records if record is not None]:
                with formatter.section(title):
                    formatter.write_dl(shown)

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """The arguments as typer reads them; raises its errors, with all that is missing or given twice at once."""
        typed = list(args)
        try:
            left = super().parse_args(ctx, args)
        except typer.BadParameter as error:
            told = _told(self, ctx, typed, error)
            if told is None:
                raise
            cast(typer.Context, ctx).fail(told)
        except Exception as error:  # typer exports no name of what it raises for an option that there is not
            values = _below_zero(typed, str(getattr(error, "option_name", "--")))
            if not values:
                raise
            told = f"{values[0]}: write -- before values below zero, behind the options: -- {' '.join(values)}"
            cast(typer.Context, ctx).fail(told)
        if not ctx.resilient_parsing and (missing := "".join(_row_missing(self, ctx.params))):
            cast(typer.Context, ctx).fail(f"missing: {missing}")
        if wrong := "; ".join([*_twice(self, ctx, typed), *_too_large(self, ctx)]):
            cast(typer.Context, ctx).fail(wrong)
        return left


def _below_zero(typed: list[str], unknown: str) -> list[str]:
    """The values below zero that were typed from an unknown option on: of -2.2 typer names -2 alone."""
    begun = dropwhile(lambda word: not word.startswith(unknown), typed)
    return list(takewhile(re.compile(r"-[.,]?\d").match, begun))


def _too_large(command: PlainCommand, ctx: Any) -> Iterator[str]:
    """Every whole number that was typed and that no record, count or degree reaches: a database would take none of them."""
    for each in command.get_params(ctx):
        typed = ctx.params.get(each.name)
        if _annotation(each) is int and typed is not None and abs(typed) > LARGEST_KEY:
            yield f"{_named(each)}: '{typed}'; expected a whole number of at most {LARGEST_KEY}"


def _told(command: PlainCommand, ctx: Any, typed: list[str], error: typer.BadParameter) -> str | None:
    """What is wrong, in plain words; None where typer says it well."""
    if not hasattr(error.__cause__, "errors"):
        missing = list(_missing(command, ctx, typed))
        return f"missing: {', '.join(missing)}" if missing else None
    expected = _EXPECTED.get(_annotation(error.param))
    return expected and f"{_named(error.param)}: {_typed_for(error)}expected {expected}"


def _annotation(parameter: Any) -> type:
    """The type that a parameter was declared with."""
    return getattr(getattr(parameter, "type_descriptor", None), "annotation", object)


def _typed_for(error: typer.BadParameter) -> str:
    """The word that was typed, as a finding shows it."""
    word = error.__cause__.errors()[0].get("input")  # type: ignore[union-attr] # asked by the caller
    return f"{word!r}; " if isinstance(word, str) else ""


def _missing(command: PlainCommand, ctx: Any, typed: list[str]) -> Iterator[str]:
    """Every argument and option that must be typed, was not, and stands in no variable of the environment either."""
    given, _, _ = command.make_parser(ctx).parse_args(args=typed)
    for each in command.get_params(ctx):
        if each.required and not given.get(each.name) and each.resolve_envvar_value(ctx) is None:
            yield _named(each)
    yield from _row_missing(command, given)


def _row_missing(command: PlainCommand, given: Mapping[str, Any]) -> Iterator[str]:
    """The options of which one must be typed, where a command types several rows and none was."""
    if command.rows and all(given.get(name) is None for names in command.rows.values() for name in names):
        yield f"one of {', '.join(command.rows)}"


def _twice(command: PlainCommand, ctx: Any, typed: list[str]) -> Iterator[str]:
    """Every option that takes one value and was given more: typer would take the last without a word."""
    _, _, order = command.make_parser(ctx).parse_args(args=list(typed))
    options: Iterator[Any] = (each for each in order if each.param_type_name == "option")
    single = (each for each in options if not (each.multiple or each.is_flag))
    return (
        f"{_named(each)}: given {count} times; expected once" for each, count in Counter(single).items() if count > 1
    )


def _named(parameter: Any) -> str:
    """How a parameter is typed: JOB, --maker TEXT."""
    if parameter.param_type_name == "argument":
        return str(parameter.metavar or parameter.name.upper())
    return f"{parameter.opts[0]} {parameter.metavar}" if parameter.metavar else str(parameter.opts[0])


def _usage(argument: Any) -> str:
    named = _named(argument) + ("..." if argument.nargs != 1 else "")
    return named if argument.required else f"[{named}]"


def _plain(name: str, told: str, kind: str) -> tuple[str, str]:
    """A line of the help: how it is typed, and what it means."""
    for pattern, words in _RANGE:
        told = pattern.sub(words, told)
    told = _SHOWN_DEFAULT.sub(r"[default: \1", told).replace("-", _HYPHEN)
    return _TYPE.sub("" if kind == "argument" else _typed_as, name), told


def _typed_as(shown: re.Match[str]) -> str:
    kind = re.sub(r"^list\[(\w+)\]$", r"\1", shown[1])
    return f" {_SHOWN.get(kind, kind.upper() if kind.isalpha() else kind)}"
