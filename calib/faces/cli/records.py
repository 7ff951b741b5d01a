"""Commands on the records as a whole: init, import, due, ready, verify, upgrade, demo."""

import re
from dataclasses import asdict
from datetime import date
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from calib.confirmation.due import DueEntry, due_list
from calib.errors import BadInputError, Finding
from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    InUnits,
    OnDate,
    Records,
    clock,
    day_of,
    days_of,
    end_of,
    print_json,
    print_table,
    say,
    signature,
    stop,
    tell,
)

if TYPE_CHECKING:
    from sqlmodel import Session

    from calib.procedures.impact.reviews import Review


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("init")(init)
    app.command("demo")(demo)
    app.command("import")(import_)
    app.command("due")(due)
    app.command("ready")(ready)
    app.command("verify")(verify)
    app.command("upgrade")(upgrade)


def init(
    records: Records = DEFAULT_RECORDS,
    source: Annotated[
        str | None, typer.Option("--from", metavar="FILE|URL", help="Records to carry over whole, with their ledger.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make records: an empty file, tables in an empty database on a server, or there a verified copy of others (--from).

    A company that grows carries its file over: the ledger goes on, and a digest printed on an earlier report is still in it.

    Example: calib init --records postgresql://user@host/calibration --from calibration.sqlite
    """
    from calib.records import carry, database

    made = database.shown(records)
    if source is None:
        database.make(records)
    entries = 0 if source is None else carry.carry(source, records, say)
    if as_json:
        print_json({"records": made, "entries": entries})
    else:
        tell(
            f"made {made}"
            if source is None
            else f"made {made} with {entries} ledger entries of {database.shown(source)}"
        )


def demo(
    into: Annotated[Path, typer.Option("--into", metavar="DIR", help="Folder for the records and the reports.")] = Path(
        "reports"
    ),
    as_json: AsJson = False,
) -> None:
    """Run the invented demo job from end to end and write its reports.

    Example: calib demo
    """
    from calib.faces.demo import run_demo

    told = run_demo(into, say)
    if as_json:
        print_json(told)
    else:
        tell("\n".join(told["said"]))


def import_(
    folders: Annotated[list[Path], typer.Argument(metavar="FOLDER...", help="Folders with CSV files.")],
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Read the CSV files of folders into the records: all of them, or nothing if a single cell is wrong.

    Readings whose instrument is not in calibration are kept as refusals; then the exit status is 3.

    Example: calib import march-campaign
    """
    from calib.procedures.enter.import_folders import import_folders
    from calib.records import database

    with database.writing(records) as session:
        found = import_folders(session, folders, signature(by, "import"), clock(), say)
    if as_json:
        print_json({"records": dict(found.records), "refusals": [asdict(one) for one in found.refusals]})
    else:
        for name, count in found.records.items():
            tell(f"{count:6d}  {name.replace('_', ' ')}")
    for one in found.refusals:
        for reason in one.reasons:
            say(f"refused: {one.outlet}, {one.observed_at}: {reason}")
    if found.refusals:
        stop(3)


def due(
    within: Annotated[
        str | None,
        typer.Option("--within", metavar="DAYS", help="How far to look ahead, like 60d or 8w.", show_default="60d"),
    ] = None,
    on: OnDate = None,
    ics: Annotated[
        Path | None, typer.Option("--ics", metavar="FILE", help="Write the list as an iCalendar file too.")
    ] = None,
    round_: Annotated[
        str | None,
        typer.Option("--round", metavar="DAYS", help="Say instead what a recalibration round of so many days holds."),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot", metavar="FILE", help="Draw the time-line of the whole fleet to a .svg, .png or .pdf file."
        ),
    ] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """List what is overdue or refused and what comes due, the most urgent first; exit status 1 if anything is overdue.

    Open impact reviews are listed below; they do not change the exit status. --round groups by laboratory and quantity what
    should go to recalibration together, and warns of what nothing in calibration would measure meanwhile.

    Example: calib due --within 90d --ics due.ics --plot due.png
    """
    if round_ is not None:
        _must_stand_alone(within, ics, plot)
        _due_round(round_, on, records, as_json)
        return
    from calib.procedures.impact.reviews import reviews
    from calib.procedures.on_record.register import load_register
    from calib.records import database

    day, ahead = day_of(on), days_of("60d" if within is None else within)
    with database.reading(records) as session:
        fleet = load_register(session)
        entries = due_list(fleet, day, ahead)
        waiting = reviews(session, only_open=True)
        if ics is not None:
            _write_calendar(session, ics, day, ahead)
    if plot is not None:
        from calib.faces.drawings import save_or_tell
        from calib.faces.drawings.due import drawing_of, due_chart

        save_or_tell(due_chart(drawing_of(fleet, day, ahead)), plot)
    if as_json:
        document = {"on": str(day), "within_days": ahead, "instruments": [_due_json(one) for one in entries]}
        print_json(document | {"open_reviews": [_review_json(one) for one in waiting]})
    elif entries:
        print_table(
            ("instrument", "due on", "days", "certificate", "state"),
            [
                (
                    one.tag,
                    str(one.due_on or "-"),
                    "-" if one.days is None else str(one.days),
                    one.certificate or "-",
                    _state(one),
                )
                for one in entries
            ],
        )
    else:
        tell(f"nothing is overdue on {day}, and nothing comes due within {ahead} days")
    for one in waiting if not as_json else ():
        tell(
            f"impact review open: {one.tag}, certificate {one.certificate}, {one.open_lines} of {len(one.lines)} lines: "
            f"calib review show {quote(one.tag)} {quote(one.certificate)}"
        )
    if any(one.overdue for one in entries):
        stop(1)


def _write_calendar(session: "Session", path: Path, day: date, ahead: int) -> None:
    from calib.faces.answers.due_calendar import BEGINS, as_calendar
    from calib.faces.write_over import write_over
    from calib.procedures.fleet.recalibration_round import due_instruments, identity
    from calib.procedures.on_record.register import load_register

    found = due_instruments(session, load_register(session), day, ahead)
    write_over(path, as_calendar(found, day, identity(session)), BEGINS, "calendar")
    without = [one.entry.tag for one in found if one.entry.due_on is None]
    say(f"wrote {path} with {len(found) - len(without)} due dates")
    if without:
        say(f"without a due date, and so not in it: {', '.join(without)}")


def _must_stand_alone(within: str | None, ics: Path | None, plot: Path | None) -> None:
    given = {
        "--within": within,
        "--ics": None if ics is None else str(ics),
        "--plot": None if plot is None else str(plot),
    }
    found = [
        Finding("command line", None, name, typed, "nothing beside --round, which has days of its own")
        for name, typed in given.items()
        if typed is not None
    ]
    if found:
        raise BadInputError(found)


def _due_round(typed: str, on: str | None, records: str, as_json: bool) -> None:
    from calib.faces.answers.recalibration_round import as_document, as_text
    from calib.procedures.fleet.recalibration_round import round_of
    from calib.records import database

    day, ahead = day_of(on), days_of(typed, "--round")
    with database.reading(records) as session:
        found = round_of(session, day, ahead)
    if as_json:
        print_json(as_document(found, day, ahead))
    else:
        tell(as_text(found, day, ahead))
    if any(one.days is None or one.days < 0 for parcel in found.parcels for one in parcel.travellers):
        stop(1)


def _state(entry: DueEntry) -> str:
    return "; ".join(reason.partition(": ")[2] for reason in entry.reasons) or "comes due"


def _due_json(entry: DueEntry) -> dict[str, object]:
    return asdict(entry) | {"due_on": None if entry.due_on is None else str(entry.due_on)}


def _review_json(one: "Review") -> dict[str, object]:
    return {
        "tag": one.tag,
        "certificate": one.certificate,
        "opened_at": one.time,
        "lines": len(one.lines),
        "open_lines": one.open_lines,
    }


def ready(
    tags: Annotated[list[str], typer.Argument(metavar="TAG...", help="Instruments.")],
    on: OnDate = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="VALUE", help='An indication to expect, like "2.5 m/s".')
    ] = None,
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    as_json: AsJson = False,
) -> None:
    """May these instruments be used, for what, and with which uncertainty; exit status 3 if one may not.

    Example: calib ready VA-11 --at "2.5 m/s"
    """
    from calib.faces.answers import readiness
    from calib.procedures.fleet.ready import ready as ask
    from calib.records import database

    moment = end_of(day_of(on))
    with database.reading(records) as session:
        found = ask(session, tags, moment, clock(), at)
        document = [readiness.readiness(one, units) for one in found]
    if as_json:
        print_json({"at": moment.isoformat(), "instruments": document})
    else:
        for one in document:
            tell(readiness.readiness_text(one))
    if not all(one.decision.allowed for one in found):
        stop(3)


def verify(
    digest: Annotated[
        str | None,
        typer.Option(
            "--digest", metavar="DIGEST", help="A ledger digest printed on a report: it must be in the chain."
        ),
    ] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Check every record against the ledger; exit status 1 if a byte was changed, a row is missing or the order is not kept.

    Example: calib verify
    """
    from calib.records import database, ledger

    if digest is not None and not re.fullmatch("[0-9a-f]{64}", digest):
        expected = "64 digits and letters from a to f, as on the report"
        raise BadInputError([Finding("command line", None, "--digest", digest, expected)])
    with database.reading(records) as session:
        findings = ledger.verify(session.connection(), digest, say)
        entries, head = ledger.head(session)
    if as_json:
        document = [{"record": one.record, "problem": one.problem} for one in findings]
        print_json({"entries": entries, "digest": head, "findings": document})
    else:
        for one in findings:
            tell(str(one))
        tell(f"{entries} ledger entries, {len(findings)} finding(s), digest {head}")
    if findings:
        stop(1)


def upgrade(records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """Bring a records file of an earlier version to the present schema; a copy of it as it was stays beside it.

    Example: calib upgrade --records calibration.sqlite
    """
    from calib.records import database

    copy = database.upgrade(records)
    records = database.shown(records)
    if as_json:
        print_json({"records": records, "schema": database.SCHEMA, "copy": None if copy is None else str(copy)})
    elif copy is None:
        tell(f"{records} has the present schema {database.SCHEMA} already: nothing was done")
    else:
        tell(f"{records} has schema {database.SCHEMA} now; as it was before it is kept in {copy}")
