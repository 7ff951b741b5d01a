"""Commands on the register of instruments."""

from typing import Annotated

import typer

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    AtTime,
    By,
    OnDate,
    Records,
    clock,
    day_of,
    end_of,
    print_json,
    print_table,
    signature,
    tell,
    time_of,
)
from calib.faces.plain_text import cells_text

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="The register: add, list, show, suspend, release, retire."
)

Tag = Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why, in a few words.")]


@app.command("add")
def add(
    tag: Tag,
    kind: Annotated[str, typer.Option(help="What it is, like 'vane anemometer'.")],
    maker: Annotated[str, typer.Option(help="Maker.")],
    model: Annotated[str, typer.Option(help="Model.")],
    serial: Annotated[str, typer.Option(help="Serial number.")],
    range_low: Annotated[str, typer.Option(help="Lowest indication.")],
    range_high: Annotated[str, typer.Option(help="Highest indication.")],
    unit: Annotated[str, typer.Option(help="Unit of the range, the resolution and the limits.")],
    resolution: Annotated[str, typer.Option(help="Smallest digital step.")],
    interval_months: Annotated[str, typer.Option(help="Calibration interval in calendar months.")],
    quantity: Annotated[str, typer.Option(help="What it measures.")] = "air velocity",
    mpe_percent: Annotated[
        str | None, typer.Option(help="Maximum permissible error, percent of the indication.")
    ] = None,
    mpe_absolute: Annotated[str | None, typer.Option(help="Maximum permissible error, absolute part.")] = None,
    repeatability: Annotated[str | None, typer.Option(help="Declared standard deviation of one indication.")] = None,
    location: Annotated[str | None, typer.Option(help="Where it is kept.")] = None,
    custodian: Annotated[str | None, typer.Option(help="Who looks after it.")] = None,
    firmware: Annotated[str | None, typer.Option(help="Firmware version.")] = None,
    check_interval_days: Annotated[str | None, typer.Option(help="Days between required intermediate checks.")] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Add an instrument to the register.

    Example: calib instrument add VA-21 --kind "vane anemometer" --maker M --model N --serial 7 --range-low 0.3 --range-high 20
    --unit m/s --resolution 0.01 --mpe-percent 2 --mpe-absolute 0.1 --interval-months 12
    """
    from calib.procedures.import_folders import write_sheets
    from calib.procedures.sheets import typed_row
    from calib.records import database

    cells = {
        "tag": tag, "kind": kind, "maker": maker, "model": model, "serial": serial, "quantity": quantity, "range_low": range_low,
        "range_high": range_high, "unit": unit, "resolution": resolution, "mpe_percent": mpe_percent, "mpe_absolute": mpe_absolute,
        "interval_months": interval_months, "repeatability": repeatability, "location": location, "custodian": custodian,
        "firmware": firmware, "check_interval_days": check_interval_days,
    }  # fmt: skip
    with database.writing(records) as session:
        write_sheets(
            session, {"instruments.csv": [typed_row("command line", cells)]}, signature(by, "instrument add"), clock()
        )
    if as_json:
        print_json({"tag": tag})
    else:
        tell(f"added {tag}; it may be used once a calibration of it is recorded and accepted")


@app.command("list")
def list_(on: OnDate = None, records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """List every instrument with its certificate, due date and state.

    Example: calib instrument list
    """
    from calib.procedures.look_up import instruments
    from calib.records import database

    with database.reading(records) as session:
        found = instruments(session, end_of(day_of(on)))
    if as_json:
        document = [
            one.cells | {"certificate": one.certificate, "due_on": one.due_on, "reasons": list(one.reasons)}
            for one in found
        ]
        print_json({"instruments": document})
        return
    print_table(
        ("tag", "kind", "maker, model", "serial", "certificate", "due on", "state"),
        [
            (
                one.cells["tag"],
                one.cells["kind"],
                f"{one.cells['maker']} {one.cells['model']}",
                one.cells["serial"],
                one.certificate or "-",
                one.due_on or "-",
                "; ".join(reason.partition(": ")[2].partition(":")[0] for reason in one.reasons) or "may be used",
            )
            for one in found
        ],
    )


@app.command("show")
def show(tag: Tag, on: OnDate = None, records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """Show one instrument's whole history: as registered, calibrations, events, intermediate checks.

    Example: calib instrument show VA-11
    """
    from calib.procedures.look_up import instrument_history
    from calib.records import database

    with database.reading(records) as session:
        found = instrument_history(session, tag, end_of(day_of(on)))
    if as_json:
        print_json(
            {
                "instrument": found.status.cells,
                "reasons": list(found.status.reasons),
                "calibrations": list(found.calibrations),
                "events": list(found.events),
                "checks": list(found.checks),
            }
        )
        return
    tell(f"{tag}: {'; '.join(found.status.reasons) or 'may be used'}")
    tell(cells_text(found.status.cells))
    for name, part in (
        ("calibration", found.calibrations),
        ("event", found.events),
        ("intermediate check", found.checks),
    ):
        for one in part:
            tell(f"{name}")
            tell(cells_text(one))


def _event(tag: str, kind: str, at: str | None, reason: str, records: str, by: str | None, as_json: bool) -> None:
    from calib.procedures.record_event import record_event
    from calib.records import database

    moment = time_of(at)
    with database.writing(records) as session:
        record_event(session, tag, kind, moment, reason, signature(by, kind))
    if as_json:
        print_json({"tag": tag, "event": kind, "at": moment.isoformat(), "reason": reason})
    else:
        tell(f"{tag}: {kind} recorded, from {moment.isoformat()}")


@app.command("suspend")
def suspend(
    tag: Tag,
    reason: Reason,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Take an instrument out of use until it is released.

    Example: calib instrument suspend VA-14 --reason "dropped on site"
    """
    _event(tag, "suspension", at, reason, records, by, as_json)


@app.command("release")
def release(
    tag: Tag,
    reason: Reason,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Give a suspended instrument back to use.

    Example: calib instrument release VA-14 --reason "checked against VA-11, no change"
    """
    _event(tag, "release", at, reason, records, by, as_json)


@app.command("retire")
def retire(
    tag: Tag,
    reason: Reason,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Take an instrument out of use for good; its records stay.

    Example: calib instrument retire VA-14 --reason "beyond repair"
    """
    _event(tag, "retirement", at, reason, records, by, as_json)
