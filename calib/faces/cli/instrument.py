"""Commands on the register of instruments."""

from pathlib import Path
from typing import Annotated

import typer

from calib.faces.cli.attachment import tell_kept
from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    AtTime,
    By,
    OnDate,
    Records,
    clock,
    day_of,
    days_of,
    end_of,
    print_json,
    print_table,
    signature,
    tell,
    time_of,
)

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="The register: add, list, show, attach files, pair and part, suspend, release, retire.",
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
    from calib.procedures.enter.import_folders import write_sheets
    from calib.procedures.typed.sheets import typed_row
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
def list_(
    kind: Annotated[str | None, typer.Option(help="Only those whose kind contains this.")] = None,
    quantity: Annotated[str | None, typer.Option(help="Only those that measure this.")] = None,
    location: Annotated[str | None, typer.Option(help="Only those whose location contains this.")] = None,
    custodian: Annotated[str | None, typer.Option(help="Only those whose custodian contains this.")] = None,
    state: Annotated[str | None, typer.Option(help="Only those that are usable, refused, due or retired.")] = None,
    text: Annotated[str | None, typer.Option(help="Only those with this in any cell or in the certificate.")] = None,
    within: Annotated[
        str, typer.Option("--within", metavar="DAYS", help="How far ahead one counts as due, like 60d or 8w.")
    ] = "60d",
    sort: Annotated[
        str, typer.Option(help="tag, due, kind, quantity, maker, serial, location, custodian or certificate.")
    ] = "tag",
    on: OnDate = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """List instruments with certificate, due date and state: all, or those that fit, in an order.

    Example: calib instrument list --state due --location "van 1" --sort due
    """
    from calib.faces.answers import instrument
    from calib.procedures.fleet.list_instruments import InstrumentWish, list_instruments
    from calib.records import database

    wish = InstrumentWish(kind, quantity, location, custodian, text, state, days_of(within))
    with database.reading(records) as session:
        found = list_instruments(session, wish, sort, end_of(day_of(on)))
    if as_json:
        print_json({"instruments": [instrument.status(one) for one in found]})
    elif found:
        print_table(instrument.LIST_HEADER, [instrument.list_row(one) for one in found])
    else:
        tell("no instrument fits")


@app.command("show")
def show(
    tag: Tag,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Write the history as one HTML page too.")
    ] = None,
    on: OnDate = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Show one instrument's whole history: certificates, events, checks, pairs, files, readings, impact reviews.

    Example: calib instrument show VA-11 --html va-11.html
    """
    from calib.faces.answers import instrument
    from calib.procedures.on_record.attached_files import photos_of
    from calib.procedures.on_record.instruments import instrument_history
    from calib.records import database

    with database.reading(records) as session:
        found = instrument_history(session, tag, end_of(day_of(on)))
        photos = [] if html is None else photos_of(session, tag)
    document = instrument.history(found)
    if html is not None:
        instrument.save_page(document, photos, html, str(day_of(on)))
    if as_json:
        print_json(document)
    else:
        tell(instrument.history_text(document))


@app.command("attach")
def attach(
    tag: Tag,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="PDF, PNG, JPEG or XML, at most 25 MB.")],
    remarks: Annotated[str | None, typer.Option(help="What it shows.")] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Keep a file with an instrument, a photo or a manual: its bytes, once, by their SHA-256.

    Example: calib instrument attach VA-14 bent-vane.jpg --remarks "after the fall"
    """
    from calib.procedures.fleet.attach_file import attach_to_instrument, read_attachment
    from calib.records import database

    read = read_attachment(file)
    with database.writing(records) as session:
        kept = attach_to_instrument(session, tag, read, remarks, signature(by, "instrument attach"))
    tell_kept(kept, tag, as_json)


Probe = Annotated[str, typer.Argument(metavar="PROBE", help="The probe.")]
Meter = Annotated[str, typer.Argument(metavar="METER", help="The meter that it is used with.")]


def _pair(
    tags: tuple[str, str], kind: str, at: str | None, reason: str, records: str, by: str | None, as_json: bool
) -> None:
    from calib.procedures.fleet.pair_instruments import change_pair
    from calib.records import database

    moment = time_of(at)
    with database.writing(records) as session:
        change_pair(session, tags, kind, moment, reason, signature(by, f"instrument {kind}"))
    if as_json:
        print_json({"probe": tags[0], "meter": tags[1], "kind": kind, "at": moment.isoformat(), "reason": reason})
    else:
        tell(f"{tags[0]} and {tags[1]}: {kind} from {moment.isoformat()}")


@app.command("pair")
def pair(
    probe: Probe,
    meter: Meter,
    reason: Reason,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Pair a probe with its meter: from then on the gate refuses readings of one without the other.

    Example: calib instrument pair PT-07 DM-31 --reason "calibrated together"
    """
    _pair((probe, meter), "paired", at, reason, records, by, as_json)


@app.command("part")
def part(
    probe: Probe,
    meter: Meter,
    reason: Reason,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Part a probe from the meter that it is paired with.

    Example: calib instrument part PT-07 DM-31 --reason "the meter goes back to its maker"
    """
    _pair((probe, meter), "parted", at, reason, records, by, as_json)


def _event(tag: str, kind: str, at: str | None, reason: str, records: str, by: str | None, as_json: bool) -> None:
    from calib.procedures.fleet.record_event import record_event
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
