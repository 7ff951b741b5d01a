"""What a shell can complete: names that stand in the records, by what an argument or a column is called.

`calib --install-completion` teaches it to the shell. Where there are no records, or they cannot be read, nothing is completed.
"""

import os
import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import typer

from calib.errors import CalibError

if TYPE_CHECKING:
    from sqlmodel import Session

COMPLETING = "_CALIB_COMPLETE"  # set by a shell that asks
_AT_MOST = 500  # names: nobody reads more
_QUOTED = re.compile(r"""\s(["'])((?!\1).)*$""")  # a last word whose quotation mark is still open

# What an argument is called, or the column of an option -> the function of `names_on_file` that knows its names, and the
# argument before it that it asks for.
_NAMES: Mapping[str, tuple[str, str | None]] = {
    **dict.fromkeys(("TAG", "PROBE", "METER", "instrument", "probe", "other"), ("tags_on_file", None)),
    "JOB": ("jobs_by_name", None),
    "method": ("methods_by_name", None),
    **dict.fromkeys(("OUTLET", "DUCT"), ("outlets_by_name", "job")),
    "CERTIFICATE": ("certificates_by_number", "tag"),
}


def names_for(called: str | None) -> Callable[[typer.Context, str], list[str]] | None:
    """The names with which a shell can complete an argument so called; None where there are none."""
    named = _NAMES.get(called or "")
    if named is None:
        return None
    asked, of = named

    def names(ctx: typer.Context, incomplete: str) -> list[str]:
        from calib.records import database

        try:
            with database.reading(ctx.params["records"]) as session:
                known = _known(session, asked, [] if of is None else [ctx.params.get(of) or ""])
        except CalibError:
            return []
        return [_as_typed(name) for name in known if name.startswith(incomplete)][:_AT_MOST]

    return names


def _known(session: "Session", asked: str, of: list[Any]) -> list[str]:
    from calib.procedures.on_record import names_on_file

    names: list[str] = getattr(names_on_file, asked)(session, *of)
    return names


def _as_typed(name: str) -> str:
    """A name as bash would have it typed, unless it was begun in quotation marks; other shells put it there by themselves."""
    by_itself = os.environ.get(COMPLETING) == "complete_bash" and not _QUOTED.search(os.environ.get("COMP_WORDS", ""))
    return re.sub(r"([^\w\-./:])", r"\\\1", name) if by_itself else name
