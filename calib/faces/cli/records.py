"""Commands on the records as a whole: init, import, due, ready, verify, upgrade, demo."""

import re
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.clock import clock, end_of
from calib.counted import count_of
from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, group, plotted, reads, say, say_tried, writes
from calib.faces.cli.options import OnDate, SheetMapFile, Within, day_of, days_of, to_draw
from calib.faces.cli.serve import DEFAULT_PORT, Port, served_demo

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlmodel import Session

    from calib.procedures.fleet.due import FleetDue
    from calib.procedures.verify.anchors import LedgerHead

app = group()


@reads(app, "init")
def init(
    desk: Desk,
    source: Annotated[
        str | None, typer.Option("--from", metavar="FILE|URL", help="Records to carry over whole, with their ledger.")
    ] = None,
) -> Reply:
    """Make records: an empty file, tables in an empty database on a server, or there a verified copy of others (--from).

    A company that grows carries its file over: the ledger goes on, and a digest printed on an earlier report is still in it.

    Example: calib init --records postgresql://user@host/calibration --from calibration.sqlite
    """
    from calib.records import carry, database

    made = database.shown_location(desk.records)
    if source is None:
        database.make(desk.records)
        return Reply({"records": made, "entries": 0}, f"made {made}")
    entries = carry.carry(source, desk.records, say)
    told = f"made {made} with {entries} ledger entries of {database.shown_location(source)}"
    return Reply({"records": made, "entries": entries}, told)


@reads(app, "demo", of_records=False)
def demo(
    _desk: Desk,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="DIR", help="Folder; reports if not given, with --serve calib-demo."),
    ] = None,
    serve: Annotated[
        bool, typer.Option("--serve", help="Serve its records in a browser, with a link for each of its people.")
    ] = False,
    port: Port = DEFAULT_PORT,
) -> Reply:
    """Run the invented demo job from end to end and write its reports; with --serve its records are used in a browser.

    Example: calib demo
    """
    from calib.faces.demo import run_demo

    if serve:
        return served_demo(into or Path("calib-demo"), port)
    document = run_demo(into or Path("reports"), say)
    return Reply(document, "\n".join(document["said"]))


_DAY_FIRST = {"dmy": True, "mdy": False}


@writes(app, "import")
def import_(
    desk: Desk,
    paths: Annotated[
        list[Path] | None,
        typer.Argument(metavar="PATH", help="Folders with CSV files, or files: CSV or workbooks (.xlsx, .ods)."),
    ] = None,
    reason: Annotated[
        str | None,
        typer.Option("--reason", metavar="TEXT", help="Why acceptances hold from before today, where no cell says so."),
    ] = None,
    dates: Annotated[
        str | None,
        typer.Option("--dates", metavar="ORDER", help="How 03/04/2026 is meant: dmy, 3 April, or mdy, 4 March."),
    ] = None,
    map_: SheetMapFile = None,
    suggest_map: Annotated[
        Path | None,
        typer.Option(
            "--suggest-map", metavar="SHEET", help="Write such a file for a sheet, beside it, and read nothing."
        ),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show each row that would be written, and write nothing.")
    ] = False,
) -> Reply:
    """Read sheets into the records: all of them, or nothing if a single cell is wrong; what was taken as what is said.

    Readings whose instrument is not in calibration are kept as refusals; then the exit status is 3.

    Example: calib import march-campaign --dry-run
    """
    from calib.faces.answers import imported as answer
    from calib.faces.files import import_folders

    if suggest_map is not None:
        return _map_suggested(suggest_map, paths)
    if not paths:
        raise BadInputError([Finding.typed("paths", None, "a folder or a file to read")])
    if dates not in {None, *_DAY_FIRST}:
        raise BadInputError([Finding.typed("dates", dates, "dmy or mdy")])
    day_first = None if dates is None else _DAY_FIRST[dates]
    with desk.writing_last() as session:
        remark = say_tried if dry_run else say
        imported = import_folders(session, paths, desk.signature(), clock(), remark, reason, day_first, map_)
        if dry_run:
            session.rollback()
    for file, count in imported.on_record.items():
        say(f"{file}: {count_of(count, 'row on record already is', 'rows on record already are')} left out")
    if not imported.records:
        say("nothing new: nothing was written")
    document = answer.document(imported, dry_run=dry_run)
    refused = [
        f"refused: {refusal.outlet}, {refusal.observed_at}: {reason}"
        for refusal in imported.refusals
        for reason in refusal.reasons
    ]
    if dry_run:
        refused = [*refused, "nothing was written: --dry-run"]
    text = answer.would_write(imported) if dry_run else answer.text
    return Reply(document, text, refused, status=3 if imported.refusals else 0)


def _map_suggested(sheet: Path, paths: list[Path] | None) -> Reply:
    from calib.faces.files import read_with_map, suggest_map

    if paths:
        expected = "nothing beside --suggest-map: it reads one sheet and writes no record"
        raise BadInputError([Finding.typed("paths", str(paths[0]), expected)])
    written, text = suggest_map(sheet)
    told = f"wrote {written}: look through it, fill in what is missing, then {read_with_map(written, sheet, text)}"
    return Reply({"map": str(written), "text": text}, text, [told])


@reads(app, "due")
def due(
    desk: Desk,
    within: Within = None,
    on: OnDate = None,
    ics: Annotated[
        Path | None, typer.Option("--ics", metavar="FILE", help="Write the list as an iCalendar file too.")
    ] = None,
    round_: Annotated[
        str | None,
        typer.Option("--round", metavar="DAYS", help="Say instead what a recalibration round of so many days holds."),
    ] = None,
    plot: Annotated[Path | None, to_draw("the time-line of the whole fleet")] = None,
) -> Reply:
    """List what is overdue or refused and what comes due, the most urgent first; exit status 1 if anything in use is overdue.

    An intermediate check that is due has a line of its own. Gear that is put aside (suspended) and open impact reviews are listed
    below; they do not change the exit status. --round groups by laboratory and quantity what
    should go to recalibration together, and warns of what nothing in calibration would measure meanwhile.

    Example: calib due --within 90d --ics due.ics --plot due.png
    """
    if round_ is not None:
        _must_stand_alone(within, ics, plot)
        return _round(desk, day_of(on), days_of(round_, "round"))
    from calib.faces.answers import due as answer
    from calib.procedures.fleet.due import due as ask

    session = desk.reading()
    fleet = ask(session, day_of(on), days_of(within))
    if ics is not None:
        _write_calendar(session, ics, fleet)
    if plot is not None:
        from calib.faces.drawings.due import due_chart
        from calib.faces.drawings.due_bars import due_drawing

        plotted([due_chart(due_drawing(fleet.register, fleet.decisions, fleet.on, fleet.within_days))], plot)
    document = answer.document(fleet.on, fleet.within_days, fleet.entries, fleet.open_reviews)
    return Reply(document, answer.text, status=int(fleet.is_overdue))


def _write_calendar(session: "Session", path: Path, fleet: "FleetDue") -> None:
    from calib.faces.handouts.due_calendar import CALENDAR_BEGINS, as_calendar
    from calib.faces.write_over import write_over
    from calib.procedures.fleet.recalibration_round import due_instruments, identity

    day = fleet.on
    in_use = [entry for entry in fleet.entries if not entry.put_aside]
    instruments = due_instruments(session, in_use, day)
    write_over(path, as_calendar(instruments, day, identity(session)), CALENDAR_BEGINS, "calendar")
    without = [each.entry.tag for each in instruments if each.entry.due_on is None]
    say(f"wrote {path} with {len(instruments) - len(without)} due dates")
    put_aside = dict.fromkeys(entry.tag for entry in fleet.entries if entry.put_aside)
    if put_aside:
        say(f"put aside, and so not in it: {', '.join(put_aside)}")
    if without:
        say(f"without a due date, and so not in it: {', '.join(without)}")


def _must_stand_alone(within: str | None, ics: Path | None, plot: Path | None) -> None:
    findings = [
        Finding.typed(name, str(typed), "nothing beside --round, which has days of its own")
        for name, typed in (("within", within), ("ics", ics), ("plot", plot))
        if typed is not None
    ]
    if findings:
        raise BadInputError(findings)


def _round(desk: Desk, day: date, ahead: int) -> Reply:
    from calib.faces.answers import recalibration_round as answer
    from calib.procedures.fleet.recalibration_round import round_of

    planned = round_of(desk.reading(), day, ahead)
    travellers = [each for parcel in planned.parcels for each in parcel.travellers]
    overdue = any(each.days is None or each.days < 0 for each in travellers)
    return Reply(answer.document(planned, day, ahead), answer.text, status=int(overdue))


@reads(app, "ready", units=True)
def ready(
    desk: Desk,
    tags: Annotated[list[str], typer.Argument(metavar="TAG", help="Instruments.")],
    on: OnDate = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="VALUE", help='An indication to expect, like "2.5 m/s".')
    ] = None,
) -> Reply:
    """May these instruments be used, for what, and with which uncertainty; exit status 3 if one may not.

    Example: calib ready VA-11 --at "2.5 m/s"
    """
    from calib.faces.answers import readiness as answer
    from calib.procedures.fleet.ready import ready as ask

    moment = end_of(day_of(on))
    instruments = ask(desk.reading(), tags, moment, clock(), at)
    allowed = all(each.decision.allowed for each in instruments)
    return Reply(answer.document(moment, instruments, desk.units), answer.text, status=0 if allowed else 3)


@reads(app, "verify")
def verify(
    desk: Desk,
    digest: Annotated[
        str | None,
        typer.Option(
            "--digest", metavar="DIGEST", help="A ledger digest printed on a report: it must be in the chain."
        ),
    ] = None,
    anchor: Annotated[
        Path | None,
        typer.Option(
            "--anchor", metavar="FILE", help="Append where the ledger ends to a file that may live elsewhere."
        ),
    ] = None,
    anchors: Annotated[
        str | None,
        typer.Option(
            "--anchors",
            metavar="[NAME=]FILE|URL",
            help="Check such a file, or what other records keep of these (calib anchor), under their own name or NAME.",
        ),
    ] = None,
    rows_only: Annotated[
        bool, typer.Option("--rows-only", help="Only the rows against the ledger: quick, and says less.")
    ] = False,
) -> Reply:
    """Check the whole state; exit status 1 if a byte was changed, a row is missing, the order is not kept, or a record is false.

    Pages and indexes, the schema, every row against the ledger, who signed each entry, curves fitted anew, certificates closed by
    their acceptance, kept files. Whoever may rewrite everything can make all of that fit: only a digest that was printed, or an
    anchor that is kept elsewhere, proves the contrary.

    Example: calib verify
    """
    from calib.faces.answers import verification as answer
    from calib.faces.files import append_line
    from calib.procedures.verify.anchors import anchor_findings, head_of
    from calib.procedures.verify.whole_state import Verified, verify_state
    from calib.records import database, ledger

    if digest is not None and not re.fullmatch("[0-9a-f]{64}", digest):
        expected = "64 digits and letters from a to f, as on the report"
        raise BadInputError([Finding.typed("digest", digest, expected)])
    session = desk.reading()
    rows = partial(ledger.verify, session.connection(), digest, say)
    verified = Verified(rows()) if rows_only else verify_state(session, digest, say, clock())
    name = database.name_of(desk.records)
    heads = () if anchors is None else _heads_kept(anchors, name)
    findings = (*verified.findings, *anchor_findings(session, heads))
    _, last = ledger.ledger_head(session)
    told = answer.document(ledger.ledger_length(session), last, findings, verified.remarks) | {"anchors": len(heads)}
    remarks = []
    if anchor is not None and findings:
        remarks.append(f"{anchor}: nothing was appended, since there are findings")
    elif anchor is not None:
        append_line(anchor, head_of(session, name, clock()).as_line())
        remarks.append(
            f"{anchor}: appended where the ledger ends; keep it where whoever writes these records cannot change it"
        )
    return Reply(told, answer.text, remarks, int(bool(findings)))


def _heads_kept(anchors: str, records: str) -> "Sequence[LedgerHead]":
    """The heads in a file of anchors, or those of records of this name that other records keep."""
    from calib.faces.cli.other_records import other_records
    from calib.procedures.verify.anchors import heads_by_records, heads_on_record
    from calib.records import database

    other = other_records(anchors)
    heads = other.heads_in_file()
    if heads is not None:
        return heads
    called = other.name if other.is_named else records
    with database.reading(other.location) as there:
        of_name = heads_by_records(heads_on_record(there))
    if called not in of_name:
        names = ", ".join(of_name) or "none"
        expected = f"records that keep an anchor of {called}; they keep those of: {names}"
        raise BadInputError([Finding.typed("anchors", anchors, expected)])
    return of_name[called]


@reads(app, "upgrade")
def upgrade(desk: Desk) -> Reply:
    """Bring records of an earlier version to the present schema; of a file a copy as it was stays beside it.

    On a server the owner of the tables runs it, after a backup by the version before, and then the grants that it prints.

    Example: calib upgrade --records calibration.sqlite
    """
    from calib.procedures.people.grants import grants
    from calib.records import database

    upgraded = database.upgrade(desk.records)
    records = database.shown_location(desk.records)
    copy = None if upgraded is None or upgraded.copy is None else str(upgraded.copy)
    document: dict[str, object] = {"records": records, "schema": database.SCHEMA, "copy": copy}
    if upgraded is None:
        return Reply(document, f"{records} has the present schema {database.SCHEMA} already: nothing was done")
    names, told_of_names = _names_of_sources(desk)
    document |= names
    if copy is not None:
        told = f"{records} has schema {database.SCHEMA} now; as it was before it is kept in {copy}"
        return Reply(document, "\n".join((told, *told_of_names)))
    statements = list(grants(desk.reading(), clock()))
    functions = f", with functions of this version: {', '.join(upgraded.functions)}" if upgraded.functions else ""
    document |= {"functions": list(upgraded.functions)}
    told = f"{records} has schema {database.SCHEMA} now{functions}; run these grants as the owner of the tables"
    return Reply(document | {"grants": statements}, "\n".join(statements), remarks=[*told_of_names, told])


def _names_of_sources(desk: Desk) -> tuple[dict[str, object], list[str]]:
    """Names of outlet factor sources that are one from now on, and those that look like slips: their texts stay as typed."""
    from calib.faces.answers.sources import merged_told, slips_told
    from calib.procedures.on_record.sources_on_file import sources_on_file

    sources = sources_on_file(desk.reading())
    merged, slips = sources.of_several_names, sources.nearly_alike
    names: dict[str, object] = {
        "sources_of_several_names": [list(own) for own in merged],
        "sources_nearly_alike": [list(two) for two in slips],
    }
    return names, [*merged_told(merged), *slips_told(slips)]
