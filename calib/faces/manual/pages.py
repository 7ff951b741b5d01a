"""The topics of the manual and their pages. A page is a file of this folder: its name is the topic, its first line the title."""

import re
from collections.abc import Callable, Mapping
from importlib.resources import files

from calib.faces.manual import tables
from calib.faces.manual.layout import laid_out

TableMaker = Callable[[list[str]], str]  # from words behind its name to rows in markup
_PLACE = re.compile(r"^\{(\w+)((?: [\w-]+)*)\}$", re.MULTILINE)


def topics() -> dict[str, str]:
    """Topic -> title, in the order of the alphabet."""
    pages = {page.name.removesuffix(".md"): page for page in files(__package__).iterdir() if page.name.endswith(".md")}
    return {topic: pages[topic].read_text(encoding="utf-8").partition("\n")[0][2:] for topic in sorted(pages)}


def source(topic: str) -> str:
    """A page as it was written."""
    return files(__package__).joinpath(f"{topic}.md").read_text(encoding="utf-8")


def page(topic: str, width: int, of_program: Mapping[str, TableMaker]) -> str:
    """A page laid out for lines of a width. A line `{name word word}` in it stands for a table that is made from the code.

    `of_program` are the tables that only the command line can make, by their names.
    """
    known = {"columns": tables.columns, "units": tables.units, "cautions": tables.cautions, **of_program}
    written_out = _PLACE.sub(lambda place: known[place[1]](place[2].split()), source(topic))
    return laid_out(written_out, width)
