"""The command `help`: pages of the manual."""

import shutil
from collections.abc import Iterator
from typing import Annotated, Any

import typer

from calib.errors import CalibError
from calib.faces.cli.frame import Desk, Reply, group, reads
from calib.faces.cli.manners import first_sentence

NARROWEST_LINE, WIDEST_LINE = 40, 100  # characters: a longer line is hard to follow

app = group()


@reads(app, "help", of_records=False)
def show(
    _desk: Desk,
    topic: Annotated[
        str | None, typer.Argument(metavar="TOPIC", help="A topic; the list of topics if not given.")
    ] = None,
) -> Reply:
    """Show a page of the manual, as wide as the terminal, or the list of its topics.

    How a command is typed is said by `calib COMMAND --help`.

    Example: calib help import
    """
    from calib.faces.manual.pages import page, topics

    titles = topics()
    if topic is None:
        return Reply({"topics": titles}, _list_of(titles).rstrip("\n"))
    if topic not in titles:
        raise CalibError(f"there is no topic {topic!r} in the manual; there is {', '.join(titles)}")
    text = page(topic, _width(), {"commands": commands}).rstrip("\n")
    return Reply({"topic": topic, "title": titles[topic], "text": text}, text)


def _width() -> int:
    return max(NARROWEST_LINE, min(WIDEST_LINE, shutil.get_terminal_size().columns))


def _list_of(titles: dict[str, str]) -> str:
    from calib.faces.manual.layout import laid_out
    from calib.faces.manual.tables import rows

    opening = "`calib help TOPIC` shows a page of the manual; `calib COMMAND --help` says how a command is typed."
    return laid_out(f"{opening}\n\n{rows(list(titles.items()))}", _width())


def commands(groups: list[str]) -> str:
    """Every command with the first sentence of its help, or those that begin with one of the words."""
    from calib.faces.cli import program
    from calib.faces.manual.tables import rows

    wanted = [
        sentence
        for sentence in _sentences(typer.main.get_command(program()))
        if not groups or sentence[0].split()[1] in groups
    ]
    return ("## Commands\n\n" if groups else "") + rows(wanted)


def _sentences(command: Any, words: str = "calib") -> Iterator[tuple[str, str]]:
    if hasattr(command, "commands"):
        for name, subcommand in command.commands.items():
            yield from _sentences(subcommand, f"{words} {name}")
    else:
        yield words, first_sentence(command)
