"""Commands on the register of instruments."""

from pathlib import Path
from typing import Annotated

import typer

from calib.clock import clock, end_of
from calib.errors import BadInputError, Finding
from calib.faces.cli.file import attached
from calib.faces.cli.frame import Desk, Reply, RowOptions, changes_meant, group, happened_at, reads, writes
from calib.faces.cli.options import (
    AT_A_TERMINAL,
    AtTime,
    CellsToSet,
    FileDigest,
    FileToKeep,
    OnDate,
    Reason,
    Remarks,
    Tag,
    Within,
    begin_of,
    day_of,
    days_of,
    time_happened,
)
from calib.faces.cli.withdrawing import withdrawn
from calib.procedures.typed.declared.instruments import INSTRUMENTS_CSV
from calib.procedures.typed.sheets import Cells

app = group(
    "The register: add, amend, list, show, attach, pair, part, suspend, release, damage, repair, adjust, move, return, retire, "
    "hand-over, take-over."
)


_ADDED = RowOptions(
    INSTRUMENTS_CSV,
    without=["tag"],
    otherwise={"quantity": "that of its unit"},
    asked=AT_A_TERMINAL,
    told={
        "density_effect": "How its velocity depends on the density of the air: thermal, vane friction or velocity pressure; "
        "none: it does not, or it works that out by itself."
    },
)
# Asked for beside what must be: it decides what may be said of readings with the instrument.
_ASKED_TOO = ("mpe_percent", "mpe_absolute", "repeatability")
_USUAL = {"quantity": "air velocity"}  # offered
_ALONE = " (--density-effect none alone where it works the velocity out by itself)"


@writes(app, "add", row=_ADDED)
def add(desk: Desk, tag: Tag, cells: Cells) -> Reply:
    """Add an instrument to the register; at a terminal what is missing is asked for, with what its kind needs.

    A thermal anemometer needs the density effect with the temperature and the pressure of its reference state; one that works out
    the velocity for the air as it is has --density-effect none.

    Example: calib instrument add VA-21 --kind "vane anemometer" --maker M --model N --serial 7 --range-low 0.3 --range-high 20
    --unit m/s --resolution 0.01 --mpe-percent 2 --mpe-absolute 0.1 --interval-months 12
    """
    from calib.faces.cli.frame import is_somebody_there
    from calib.faces.cli.questions import missing_in
    from calib.procedures.typed.kinds import needs_of_kind, without_word
    from calib.procedures.typed.measuring_range import quantity_of

    cells = {**cells, "quantity": quantity_of(cells)}
    of_unit = ["quantity"] if cells["unit"] is not None else []
    needs = [*_ADDED.required, *of_unit, *needs_of_kind(cells)]
    lacking = [name for name in needs if cells.get(name) is None]
    if lacking and is_somebody_there():
        _add_asked(desk, tag, cells)
    else:
        if {*lacking} & {
            *_ADDED.required,
            "quantity",
            "density_effect",
        }:  # what else is lacking is found with all that is wrong
            missing_in(_ADDED, cells, needs, _ALONE if "density_effect" in lacking else "")
        desk.row_written("instruments.csv", {"tag": tag, **without_word(cells)})
    return Reply({"tag": tag}, f"added {tag}; it may be used once a calibration of it is recorded and accepted")


def _add_asked(desk: Desk, tag: str, given: Cells) -> None:
    """Ask for what is missing, show the whole and write it; raises CalibError, nothing written."""
    from calib.faces.cli.questions import Questions, answered_and_written, cells_shown, nothing_written_if_stopped
    from calib.procedures.typed.kinds import columns_for, needs_of_kind, without_word

    cells, questions = dict(given), Questions()
    on_sheet = [column.name for column in _ADDED.columns]

    def ask(again: frozenset[str]) -> bool:
        cells.update(dict.fromkeys(again & set(on_sheet)))
        asked: set[str] = set()
        while True:
            wanted = {
                *_ADDED.required,
                "quantity",
                *needs_of_kind(cells),
                *_ASKED_TOO,
                *(again & set(on_sheet)),
            } - asked
            left = [name for name in on_sheet if name in wanted and cells.get(name) is None]
            if not left:
                return bool(asked)
            asked.add(left[0])
            cells[left[0]] = questions.cell(columns_for(cells)[left[0]], _USUAL.get(left[0]))

    def write() -> None:
        desk.row_written("instruments.csv", {"tag": tag, **without_word(cells)})

    with nothing_written_if_stopped():
        answered_and_written(questions, ask, lambda: cells_shown(f"instrument {tag}", without_word(cells)), write)


@writes(app, "amend")
def amend(
    desk: Desk,
    tag: Tag,
    changes: CellsToSet,
    reason: Reason,
    since: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="TIME", help="From when on it is so, like 2026-03-05T14:30+01:00 or 2026-03-05."
        ),
    ] = None,
    always: Annotated[bool, typer.Option("--always-wrong", help="What is on record was never right.")] = False,
) -> Reply:
    """Amend an instrument: serial, range, resolution, limits, criterion; from a time on, or as what was always wrong.

    Example: calib instrument amend VA-11 --set serial=20417 --always-wrong --reason "two digits were exchanged"
    """
    from calib.faces.answers import amended as answer
    from calib.procedures.enter.amend_instrument import amend_instrument

    if always == (since is not None):
        raise BadInputError([Finding.typed("since", since, "a time, or --always-wrong: one of both")])
    holds_from = None if since is None else time_happened(begin_of(since), "since")
    amended = amend_instrument(
        desk.writing(), tag, changes_meant(INSTRUMENTS_CSV, changes), holds_from, reason, desk.signature()
    )
    return Reply(answer.document(amended), answer.text, amended.remarks)


@reads(app, "list")
def list_(
    desk: Desk,
    kind: Annotated[str | None, typer.Option(help="Only those whose kind contains this.")] = None,
    quantity: Annotated[str | None, typer.Option(help="Only those that measure this.")] = None,
    location: Annotated[str | None, typer.Option(help="Only those whose location contains this.")] = None,
    custodian: Annotated[str | None, typer.Option(help="Only those whose custodian contains this.")] = None,
    state: Annotated[str | None, typer.Option(help="Only those that are usable, refused, due or retired.")] = None,
    text: Annotated[str | None, typer.Option(help="Only those with this in any cell or in the certificate.")] = None,
    within: Within = None,
    sort: Annotated[
        str, typer.Option(help="tag, due, kind, quantity, maker, serial, location, custodian or certificate.")
    ] = "tag",
    on: OnDate = None,
) -> Reply:
    """List instruments with certificate, due date and state: all, or those that fit, in an order.

    Example: calib instrument list --state due --location "van 1" --sort due
    """
    from calib.faces.answers import instruments as answer
    from calib.procedures.fleet.list_instruments import InstrumentWish, list_instruments

    wish = InstrumentWish(kind, quantity, location, custodian, text, state, days_of(within))
    listed = list_instruments(desk.reading(), wish, sort, end_of(day_of(on)))
    return Reply(answer.document(listed), answer.text)


@reads(app, "show")
def show(
    desk: Desk,
    tag: Tag,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Write the history as one HTML page too.")
    ] = None,
    on: OnDate = None,
) -> Reply:
    """Show one instrument's whole history: certificates, events, checks, pairs, files, readings, impact reviews.

    Example: calib instrument show VA-11 --html va-11.html
    """
    from calib.faces.answers import instrument as answer
    from calib.procedures.on_record.attached_files import photos_of
    from calib.procedures.on_record.instrument_history import instrument_history

    session, day = desk.reading(), day_of(on)
    document = answer.document(instrument_history(session, tag, end_of(day)))
    if html is not None:
        from calib.faces.handouts.instrument_page import save_page

        save_page(document, photos_of(session, tag), html, day)
    return Reply(document, answer.text)


@writes(app, "attach")
def attach(
    desk: Desk,
    tag: Tag,
    file: FileToKeep,
    remarks: Remarks = None,
) -> Reply:
    """Keep a file with an instrument, a photo or a manual: its bytes, once, by their SHA-256.

    Example: calib instrument attach VA-14 bent-vane.jpg --remarks "after the fall"
    """
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.fleet.attach_file import attach_to_instrument, attachable

    content = attachable(file_content(file, LARGEST_FILE))
    return attached(attach_to_instrument(desk.writing(), tag, content, remarks, desk.signature()), tag)


@writes(app, "detach")
def detach(desk: Desk, tag: Tag, sha256: FileDigest, reason: Reason) -> Reply:
    """Take back that a file belongs to an instrument; its bytes stay with the records.

    Example: calib instrument detach VA-14 3a7bd3e2 --reason "a photo of VA-15"
    """
    return withdrawn(desk, "file of an instrument", (tag, sha256), reason)


Probe = Annotated[str, typer.Argument(metavar="PROBE", help="The probe.")]
Meter = Annotated[str, typer.Argument(metavar="METER", help="The meter that it is used with.")]


@writes(app, "pair")
def pair(desk: Desk, probe: Probe, meter: Meter, reason: Reason, at: AtTime = None) -> Reply:
    """Pair a probe with its meter: from then on the gate refuses readings of one without the other.

    Example: calib instrument pair PT-07 DM-31 --reason "calibrated together"
    """
    return _pair(desk, (probe, meter), "paired", at, reason)


@writes(app, "part")
def part(desk: Desk, probe: Probe, meter: Meter, reason: Reason, at: AtTime = None) -> Reply:
    """Part a probe from the meter that it is paired with.

    Example: calib instrument part PT-07 DM-31 --reason "the meter goes back to its maker"
    """
    return _pair(desk, (probe, meter), "parted", at, reason)


@writes(app, "withdraw-pair")
def withdraw_pair(desk: Desk, probe: Probe, meter: Meter, reason: Reason) -> Reply:
    """Take back the last pairing or parting of a probe and a meter that was recorded wrongly.

    Example: calib instrument withdraw-pair PT-07 DM-31 --reason "PT-08 was meant"
    """
    return withdrawn(desk, "pairing", (probe, meter), reason)


def _pair(desk: Desk, tags: tuple[str, str], kind: str, at: str | None, reason: str) -> Reply:
    from calib.faces.answers import event as answer
    from calib.procedures.fleet.pair_instruments import change_pair

    since = happened_at(at)
    signature = desk.signature(f"instrument {kind}")
    change_pair(desk.writing(), tags, kind, since, reason, signature)
    pair = {"probe": tags[0], "meter": tags[1]}
    return Reply(answer.document(pair, kind, since.isoformat(), signature.time.isoformat(), reason), answer.text)


@writes(app, "suspend")
def suspend(desk: Desk, tag: Tag, reason: Reason, at: AtTime = None) -> Reply:
    """Take an instrument out of use until it is released.

    Example: calib instrument suspend VA-14 --reason "dropped on site"
    """
    return _event(desk, tag, "suspension", at, reason)


@writes(app, "release")
def release(desk: Desk, tag: Tag, reason: Reason, at: AtTime = None) -> Reply:
    """Give a suspended instrument back to use.

    Example: calib instrument release VA-14 --reason "checked against VA-11, no change"
    """
    return _event(desk, tag, "release", at, reason)


@writes(app, "damage")
def damage(desk: Desk, tag: Tag, reason: Reason, at: AtTime = None) -> Reply:
    """Record damage: the instrument is out of use at once, until it is released.

    Anyone on record may.

    Example: calib instrument damage VA-14 --reason "fell from a ladder, vane bent"
    """
    return _event(desk, tag, "damage", at, reason)


@writes(app, "repair")
def repair(desk: Desk, tag: Tag, reason: Reason, at: AtTime = None) -> Reply:
    """Record a repair: the gate stays closed until a calibration made afterwards is accepted.

    Example: calib instrument repair VA-14 --reason "new vane, by the maker" --at 2026-11-12T14:00+01:00
    """
    return _event(desk, tag, "repair", at, reason)


@writes(app, "adjust")
def adjust(desk: Desk, tag: Tag, reason: Reason, at: AtTime = None) -> Reply:
    """Record an adjustment outside a calibration: the gate stays closed until one made afterwards is accepted.

    Example: calib instrument adjust DM-31 --reason "span set against the bench"
    """
    return _event(desk, tag, "adjustment", at, reason)


@writes(app, "move")
def move(
    desk: Desk,
    tag: Tag,
    location: Annotated[str, typer.Argument(metavar="LOCATION", help="Where it is from then on.")],
    reason: Reason,
    at: AtTime = None,
) -> Reply:
    """Record that an instrument is at another place.

    Example: calib instrument move VA-14 "the laboratory" --reason "sent to be calibrated"
    """
    return _event(desk, tag, "move", at, reason, location)


@writes(app, "return")
def return_(
    desk: Desk,
    tag: Tag,
    reason: Reason,
    location: Annotated[
        str | None, typer.Argument(metavar="LOCATION", help="Where it is from then on; as registered if not given.")
    ] = None,
    at: AtTime = None,
) -> Reply:
    """Record that an instrument has come back.

    Example: calib instrument return VA-14 --reason "back from the laboratory"
    """
    return _event(desk, tag, "return", at, reason, location)


@writes(app, "hand-over")
def hand_over(
    desk: Desk,
    tags: Annotated[list[str], typer.Argument(metavar="TAG", help="The instrument, or several that belong together.")],
    to: Annotated[str, typer.Option("--to", metavar="SITE", help="The site that takes it over.")],
    into: Annotated[Path, typer.Option("--into", metavar="FOLDER", help="The new folder for its evidence.")],
    reason: Reason,
    site: Annotated[
        str | None,
        typer.Option("--site", metavar="NAME", help="What the others call these records; their own name if not given."),
    ] = None,
) -> Reply:
    """Hand an instrument over to another site, with its evidence and the head of this ledger; here it is suspended.

    The folder holds sheets of an import, kept files, and evidence.xml, which states the head and each file's SHA-256. Tell the
    other site the digest of that statement by another way. Acceptances go along as a statement: QA there accepts anew.

    Example: calib instrument hand-over VA-11 --to south --into va-11 --reason "the south has more supply outlets"
    """
    from calib.faces.answers import handed_over as answer
    from calib.faces.files import write_export
    from calib.procedures.sites.hand_over import hand_over as hand
    from calib.records import database

    records = database.name_of(desk.records) if site is None else site
    with desk.writing_last() as session:
        handed = hand(session, tags, records=records, to=to, reason=reason, at=clock(), signature=desk.signature())
        write_export(into, handed.files)
    return Reply(answer.document(handed, into), answer.text)


@writes(app, "take-over")
def take_over(
    desk: Desk,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="What the other site's hand-over wrote.")],
    reason: Reason,
    digest: Annotated[
        str | None,
        typer.Option("--digest", metavar="SHA256", help="The statement's digest, as the other site told it."),
    ] = None,
    location: Annotated[str | None, typer.Option("--location", metavar="TEXT", help="Where it is from now on.")] = None,
) -> Reply:
    """Take an instrument over from another site with its evidence; nothing is written where a file or a digest does not fit.

    The head of the other ledger is anchored here, and the statement is kept with the instrument. It may be used once QA has
    accepted its certificate here, and where it was suspended here, released it.

    Example: calib instrument take-over va-11 --reason "comes from the north" --location "van 7"
    """
    from calib.faces.answers import taken_over as answer
    from calib.faces.cli.frame import say
    from calib.faces.files import read_evidence
    from calib.procedures.sites.take_over import statement_handed_over
    from calib.procedures.sites.take_over import take_over as take

    file, files = read_evidence(folder)
    statement, as_file = statement_handed_over(file, digest)
    with desk.writing_last() as session:
        taken = take(session, statement, as_file, files, location, reason, desk.signature(), clock(), say)
    return Reply(answer.document(taken), answer.text)


@writes(app, "retire")
def retire(desk: Desk, tag: Tag, reason: Reason, at: AtTime = None) -> Reply:
    """Take an instrument out of use for good; its records stay.

    Example: calib instrument retire VA-14 --reason "beyond repair"
    """
    return _event(desk, tag, "retirement", at, reason)


def _event(desk: Desk, tag: str, kind: str, at: str | None, reason: str, location: str | None = None) -> Reply:
    from calib.faces.answers import event as answer
    from calib.procedures.fleet.record_event import record_event
    from calib.procedures.on_record.by_name import instrument_tagged

    since = happened_at(at)
    signature = desk.signature(kind)
    session = desk.writing()
    recorded = record_event(session, tag, kind, since, reason, signature, location)
    named: dict[str, str | None] = {"tag": tag, "event": kind}
    if recorded.record.value is not None:
        named |= {"location": recorded.record.value, "custodian": instrument_tagged(session, tag).custodian}
    document = answer.document(named, kind, since.isoformat(), signature.time.isoformat(), reason)
    return Reply(document, answer.text, recorded.remarks)
