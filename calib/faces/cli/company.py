"""Commands on the company as its reports name it."""

from pathlib import Path
from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads, writes

app = group("The company as its reports name it: set, show.")


@writes(app, "set")
def set_(
    desk: Desk,
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="The company.")] = None,
    address: Annotated[str | None, typer.Option(metavar="TEXT", help="Where it is.")] = None,
    contact: Annotated[
        str | None, typer.Option(metavar="TEXT", help="How it is reached: telephone, mail. Blank: taken out.")
    ] = None,
    base_address: Annotated[
        str | None, typer.Option(metavar="URL", help="Where its pages are, as labels print it. Blank: taken out.")
    ] = None,
    mark: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A picture that stands for it, PNG or JPEG, at most 1 MB.")
    ] = None,
    without_mark: Annotated[bool, typer.Option("--without-mark", help="Its mark is taken away.")] = False,
) -> Reply:
    """Say what the company is called and where it is: reports name it from their next revision on, and what is not said stays.

    Example: calib company set "Fenwick Air Measurement" --address "2 Mill Lane, Larkmoor" --contact "office@fenwick.example"
    """
    from calib.faces.answers import company as answer
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.fleet.attach_file import attachable
    from calib.procedures.fleet.set_company import MARK, set_company

    picture = None if mark is None else attachable(file_content(mark, LARGEST_FILE), MARK)
    company = set_company(
        desk.writing(), name, address, contact, base_address, picture, desk.signature(), without_mark=without_mark
    )
    return Reply(answer.document(company), answer.text)


@reads(app, "show")
def show(desk: Desk) -> Reply:
    """Show what the company is called, as the next report names it.

    Example: calib company show
    """
    from calib.faces.answers import company as answer
    from calib.procedures.on_record.company import company_on_record

    return Reply(answer.document(company_on_record(desk.reading())), answer.text)
