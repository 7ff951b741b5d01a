"""Commands on readings."""

from typing import TYPE_CHECKING, Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, RowOptions, group, reads, writes
from calib.faces.cli.options import (
    WHEN,
    FileDigest,
    JobNamed,
    OutletNamed,
    PhotographToKeep,
    ReadingNumbered,
    Reason,
    Remarks,
    Sure,
)
from calib.faces.cli.withdrawing import withdrawn
from calib.procedures.typed.declared.readings import READINGS_CSV
from calib.procedures.typed.sheets import Cells

if TYPE_CHECKING:
    from sqlmodel import Session

    from calib.procedures.enter.correct_reading import CorrectedReading
    from calib.procedures.enter.import_sheets import Imported

app = group("Readings at outlets: add, list, show, withdraw, correct, attach and detach photographs.")


_ROW = RowOptions(
    READINGS_CSV,
    without=[
        "job",
        "outlet",
        "operator",
        "traverse_rule",
        "traverse_lines",
        "traverse_points",
        "revision",
        "withdrawn",
    ],
    typed_as={"observed_at": ["--at"]},
    otherwise={"observed_at": "now"},
    told={"observed_at": WHEN},
)


@writes(app, "add", units=True, row=_ROW)
def add(
    desk: Desk,
    job: JobNamed,
    outlet: OutletNamed,
    cells: Cells,
    values: Annotated[
        list[str] | None,
        typer.Argument(metavar="VALUE", help="The observations, parted by blanks; one is the indication."),
    ] = None,
    sure: Sure = False,
) -> Reply:
    """Enter a reading, and see what it proves; if the gate refuses the instrument it is kept as a refusal (exit status 3).

    Mind ladders, moving machinery and hot surfaces; the site's own safety rules and the local codes come first.

    Example: calib reading add FQ-204 S1-3 2.41 2.38 2.44 --instrument VA-11 --unit m/s --method "sweep, 3 passes"
    """
    from calib.faces.files import log_content
    from calib.procedures.enter.add_reading import add_reading

    typed = {"job": job, "outlet": outlet, **cells, "observed_at": desk.observed_at(job, cells["observed_at"])}
    typed |= _observations(values or [], cells)
    log = log_content(cells["log_file"])

    def write(session: "Session", sure: bool) -> "Imported":
        return add_reading(session, typed, log, desk.signature(), clock(), sure=sure)

    return recorded(desk, job, outlet, desk.written_if_sure(write, sure=sure))


def _observations(values: list[str], cells: Cells) -> Cells:
    """The cell that values typed as words fill; raises BadInputError where it was typed as an option too, or cut there."""
    from calib.procedures.typed.values import cell_of, values_typed

    _must_be_whole(cells)
    typed = cell_of(values_typed(" ".join(values))) if values else {}
    for column in typed:
        if cells[column] is not None:
            expected = "it as an option, or the values as words: not both"
            raise BadInputError([Finding.typed(column, cells[column], expected)])
    return typed


def _must_be_whole(cells: Cells) -> None:
    """Raise BadInputError where the option for repeated passes has one: a shell ends the command at a ; and drops the others."""
    passes = cells["observations"]
    if passes and ";" not in passes:
        expected = "several values in quotation marks, like '2.41;2.38' (a shell cuts at a ; outside them); one is --indication"
        raise BadInputError([Finding.typed("observations", passes, expected)])


def recorded(desk: Desk, job: str, outlet: str, imported: "Imported") -> Reply:
    """What a reading that was recorded proves, or why it is kept as a refusal (exit status 3)."""
    from calib.faces.answers import entered_reading as answer
    from calib.procedures.measure.verdict import reading_before, verdict_on_latest

    reasons = [reason for refusal in imported.refusals for reason in refusal.reasons]
    if reasons:
        remarks = [*imported.remarks, *(f"refused: {reason}" for reason in reasons)]
        return Reply(answer.refused_reading(job, outlet, reasons), "", remarks, status=3)
    session = desk.reading()
    verdict = verdict_on_latest(session, job, outlet, clock())
    before = {"reading_before": reading_before(session, job, outlet)}
    return Reply(answer.document(verdict, desk.units) | before, answer.text, imported.remarks)


@writes(app, "withdraw")
def withdraw(desk: Desk, job: JobNamed, reading: ReadingNumbered, reason: Reason) -> Reply:
    """Take back a reading that was typed wrongly: it is kept, shown among the amendments of the report, and yields no flow.

    Example: calib reading withdraw FQ-204 3 --reason "read at S1-4, typed at S1-3"
    """
    from calib.faces.answers import withdrawn_reading as answer
    from calib.procedures.enter.withdraw_reading import withdraw_reading

    withdrawn = withdraw_reading(desk.writing(), job, reading, reason, desk.signature())
    return Reply(answer.document(withdrawn), answer.text)


_CORRECTED = RowOptions(
    READINGS_CSV,
    without=[
        "job", "outlet", "instrument", "observed_at", "operator", "traverse_rule", "traverse_lines", "traverse_points", "revision",
        "withdrawn",
    ],
    otherwise=dict.fromkeys(("unit", "method"), "as it was"),
)  # fmt: skip


@writes(app, "correct", row=_CORRECTED)
def correct(
    desk: Desk,
    job: JobNamed,
    reading: ReadingNumbered,
    reason: Reason,
    cells: Cells,
    point: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LINE/POINT=VALUES", help="Values at a point of a traverse, of several passes joined by ;"
        ),
    ] = None,
    sure: Sure = False,
) -> Reply:
    """Correct a reading by a new record that takes its place: outlet, instrument and time stay; a blank value takes a cell out.

    The gate is asked anew: what it refuses is kept as a refusal (exit status 3).

    Example: calib reading correct FQ-204 3 --observations "2.41;2.38;2.44" --indication 2.41 --reason "two digits were exchanged"
    """
    from calib.faces.answers import corrected_reading as answer
    from calib.faces.files import log_content
    from calib.procedures.enter.correct_reading import correct_reading
    from calib.procedures.typed.observations import points_typed

    _must_be_whole(cells)
    log = log_content(cells["log_file"]) if cells["log_file"] else None
    points = points_typed(point or ())

    def write(session: "Session", sure: bool) -> "CorrectedReading":
        signed = desk.signature()
        return correct_reading(session, job, reading, cells, log, points, reason, signed, clock(), sure=sure)

    corrected = desk.written_if_sure(write, sure=sure)
    remarks = [*corrected.remarks, *(f"refused: {each}" for each in corrected.reasons)]
    return Reply(answer.document(corrected), answer.text, remarks, status=3 if corrected.reasons else 0)


@writes(app, "attach")
def attach(
    desk: Desk, job: JobNamed, reading: ReadingNumbered, file: PhotographToKeep, remarks: Remarks = None
) -> Reply:
    """Keep a photograph with a reading: the picture, which way up it is and when it was taken; its place and all else is left out.

    Example: calib reading attach FQ-204 3 display.jpg --remarks "the display after the third pass"
    """
    from calib.faces.cli.file import attached
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.fleet.attach_file import attach_to_reading
    from calib.procedures.fleet.photograph import photograph

    picture = photograph(file_content(file, LARGEST_FILE))
    on_record = attach_to_reading(desk.writing(), job, reading, picture, remarks, desk.signature())
    return attached(on_record, f"reading {reading}")


@writes(app, "detach")
def detach(desk: Desk, job: JobNamed, reading: ReadingNumbered, sha256: FileDigest, reason: Reason) -> Reply:
    """Take back that a photograph belongs to a reading; its bytes stay with the records, and no report prints it any more.

    Example: calib reading detach FQ-204 3 3a7bd3e2 --reason "the display of another meter"
    """
    return withdrawn(desk, "file of a reading", (job, str(reading), sha256), reason)


@reads(app, "list", units=True)
def list_(desk: Desk, job: JobNamed) -> Reply:
    """List a job's readings, each flow with its expanded uncertainty and coverage factor.

    Example: calib reading list FQ-204
    """
    from calib.faces.answers import readings as answer
    from calib.procedures.measure.evaluate import evaluate
    from calib.procedures.on_record.withdrawn_readings import withdrawn_readings

    session = desk.reading()
    evaluation = evaluate(session, job, clock())
    withdrawn = withdrawn_readings(session, evaluation.job.id or 0)
    document = answer.document(evaluation, desk.units, withdrawn)
    return Reply(document, answer.text, list(answer.without_flow(document)))


@reads(app, "show", units=True)
def show(desk: Desk, reading: ReadingNumbered) -> Reply:
    """Show one reading as typed, with its flow.

    Example: calib reading show 3
    """
    from calib.faces.answers import reading as answer
    from calib.procedures.measure.reading_in_job import reading_in_job

    return Reply(answer.document(reading_in_job(desk.reading(), reading, clock()), desk.units), answer.text)
