"""Commands on the sources of outlet factors."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, RowOptions, group, reads, writes
from calib.procedures.typed.declared.sources import SOURCE_SPELLINGS_CSV, SOURCES_CSV
from calib.procedures.typed.sheets import Cells

app = group("Sources of outlet factors, whose errors outlets share: add, spelling, list.")

SourceNamed = Annotated[str, typer.Argument(metavar="NAME", help="The name of the source, as outlets have it.")]
Spelled = Annotated[str, typer.Argument(metavar="SPELLING", help="Another name that outlets have for it.")]


@writes(app, "add", row=RowOptions(SOURCES_CSV, without=["source"]))
def add(desk: Desk, source: SourceNamed, cells: Cells) -> Reply:
    """Declare a source of outlet factors with its document; a new edition of it is one source with the old.

    Example: calib source add "grille table" --document "Maker's data sheet 12" --edition 2024 --basis "maker's measurements"
    """
    row = desk.row_written("sources.csv", {"source": source, **cells})
    return Reply(row.cells, f"added the source {source}: {row.cells['document']}")


@writes(app, "spelling", row=RowOptions(SOURCE_SPELLINGS_CSV, without=["spelling", "source"]))
def spelling(desk: Desk, spelling: Spelled, source: SourceNamed, cells: Cells) -> Reply:
    """Record that another name stands for a source: outlets with either then share its error, and what was typed stays.

    Example: calib source spelling "gril table" "grille table" --reason "a slip in the job sheet"
    """
    row = desk.row_written("source_spellings.csv", {"spelling": spelling, "source": source, **cells})
    return Reply(row.cells, f"{spelling} stands for the source {source} from now on")


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the sources, declared or only named by outlets, each with all its names; says which look like slips of one another.

    Example: calib source list
    """
    from calib.faces.answers import sources as answer
    from calib.procedures.on_record.sources_on_file import sources_on_file

    return Reply(answer.document(sources_on_file(desk.reading())), answer.text)
