"""Commands on calibrations and their certificates."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, Finding
from calib.faces.cli.file import attached
from calib.faces.cli.frame import Desk, Reply, RowOptions, group, plotted, reads, say, say_tried, writes
from calib.faces.cli.options import (
    Certificate,
    FileDigest,
    FileToKeep,
    LatestCertificate,
    OnDate,
    OneTag,
    Reason,
    Remarks,
    SheetMapFile,
    Sure,
    Tag,
    day_of,
    to_draw,
)
from calib.faces.cli.withdrawing import withdrawn
from calib.procedures.typed.declared.calibrations import CALIBRATIONS_CSV
from calib.procedures.typed.sheets import Cells
from calib.records.tables.calibrations import AIR_OF_CALIBRATION

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from sqlmodel import Session

    from calib.procedures.fleet.attach_file import FileRead
    from calib.procedures.on_record.calibrations import CalibrationOnFile
    from calib.procedures.typed.declaration import TypedColumn
    from calib.procedures.typed.sheets import TypedRow

app = group(
    "Certificates: add, calibrate in house, accept, withdraw, supersede, attach files, list, show, and choose another curve."
)


CertificateFile = Annotated[
    Path | None, typer.Option("--file", metavar="FILE", help="The certificate itself: PDF, PNG, JPEG or XML.")
]
# What a certificate states beside its comparisons, under names that are short to type.
_SHORTER = {
    **{
        column: [f"--{column.lower().replace('_', '-')}", f"--{column.partition('_')[0]}"]
        for column in AIR_OF_CALIBRATION
    },
    "decision_rule": ["--rule"],
    "departure_reason": ["--departure"],
}
_ADDED = RowOptions(
    CALIBRATIONS_CSV, ["tag", "certificate"], _SHORTER, asked="that of the file read, or asked for with --ask"
)
Sheet = Annotated[str | None, typer.Option(metavar="NAME", help="Sheet of the workbook, where it has several.")]
Rule = Annotated[
    str | None,
    typer.Option(
        "--rule",
        help="Decision rule: simple, guarded or 'guarded non-binary'; guard band U. That of the register if not given.",
    ),
]
JudgedAs = Annotated[
    str | None,
    typer.Option(
        "--judged", help="'indication' or 'corrected value': what is held against the maximum permissible error."
    ),
]
Criterion = Annotated[
    str | None, typer.Option(help="The criterion in words, where the register states no limits; its own if not given.")
]


@writes(app, "add", row=_ADDED)
def add(
    desk: Desk,
    tag: Tag,
    certificate: Certificate,
    cells: Cells,
    comparisons: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Workbook (.xlsx, .ods) or CSV file with the columns of comparisons.csv; asked for line by line with --ask.",
        ),
    ] = None,
    ask: Annotated[
        bool, typer.Option("--ask", help="Ask for what the certificate states, a question each; a pipe may answer.")
    ] = False,
    correlations: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="CSV file: the matrix of correlations of the reference values, a row for each."
        ),
    ] = None,
    sheet: Sheet = None,
    map_: SheetMapFile = None,
    file: CertificateFile = None,
    read: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="The certificate as XML (DCC 3.x): all of the above is read from it, and it is kept."
        ),
    ] = None,
    phase: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PHASE", help="as-found or as-left, of each result of the file read; asked for on a terminal."
        ),
    ] = None,
    sure: Sure = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would be recorded, and record nothing.")] = False,
) -> Reply:
    """Record a certificate with its comparisons and its file; the correction curve is fitted from them.

    With --ask it is typed by answers to questions, each checked at once; the whole is shown before it is written, and Ctrl-C writes
    nothing.

    A certificate as XML is read with --read c-0815.xml --phase as-left alone: its signature is checked first, and what is typed
    beside it must be what the file says.

    Example: calib calibration add VA-21 C-0815 --laboratory "Lab" --calibrated-on 2026-02-03 --comparisons c-0815.xlsx
    --file c-0815.pdf
    """
    from calib.procedures.calibrate.add_calibration import add_calibration
    from calib.procedures.typed.comparison_sheets import comparison_columns

    if map_ is not None and comparisons is None and read is None:
        raise BadInputError([Finding.typed("map", str(map_), "nothing without --comparisons: it names their columns")])
    if ask:
        if read is not None or phase or dry_run:
            said = "nothing of --read, --phase, --dry-run beside it: no file is read, and the whole is shown before it is written"
            raise BadInputError([Finding.typed("ask", None, said)])
        rows = None if comparisons is None else _read(comparisons, tag, certificate, comparison_columns(), sheet, map_)
        return _asked(desk, (tag, certificate), cells, rows, _file(file), correlations, sure=sure)
    # How it would be judged is stated with an acceptance alone.
    stated = {**cells, "decision_rule": None, "judged": None} if cells["accepted_on"] is None else cells
    typed = {"tag": tag, "certificate": certificate, **stated}
    if read is not None:
        beside = {"comparisons": comparisons, "sheet": sheet, "map": map_, "file": file, "correlations": correlations}
        return _of_file_read(desk, typed, read, phase or [], beside, dry_run=dry_run)
    if comparisons is None or cells["laboratory"] is None or cells["calibrated_on"] is None or phase:
        raise BadInputError(_missing(typed, comparisons, phase))
    rows, content = _read(comparisons, tag, certificate, comparison_columns(), sheet, map_), _file(file)
    matrix = [] if correlations is None else _matrix(correlations, tag, certificate, rows)

    def record(session: "Session", remark: "Callable[[str], None]") -> "CalibrationOnFile":
        return add_calibration(session, typed, rows, content, desk.signature(), clock(), remark, matrix)

    return _added(desk, record, dry_run=dry_run)


def _added(
    desk: Desk, record: "Callable[[Session, Callable[[str], None]], CalibrationOnFile]", *, dry_run: bool
) -> Reply:
    """Record a calibration, or find out what would be recorded."""
    from calib.faces.answers import recorded_certificate as answer

    with desk.writing_last() as session:
        reply = _recorded(record(session, say_tried if dry_run else say))
        if not dry_run:
            return reply
        session.rollback()
    return reply._replace(text=f"{answer.would_record(reply.document)}\nnothing was written: --dry-run")


def _asked(
    desk: Desk,
    names: tuple[str, str],
    cells: Cells,
    comparisons: "list[TypedRow] | None",
    content: "FileRead | None",
    correlations: Path | None,
    *,
    sure: bool,
) -> Reply:
    """What a certificate states, asked for where it was not typed, shown and written; raises CalibError, nothing written."""
    from calib.faces.cli.certificate_questions import CertificateQuestions
    from calib.faces.cli.questions import answered_and_written, nothing_written_if_stopped
    from calib.procedures.calibrate.add_calibration import add_calibration, must_be_new

    with desk.reading_first() as session:
        instrument = must_be_new(session, *names)
    questions = CertificateQuestions(names, instrument, {**cells, "decision_rule": None, "judged": None}, comparisons)

    def write() -> Reply:
        rows = questions.comparisons
        matrix = [] if correlations is None else _matrix(correlations, *names, rows)

        def record(session: "Session", sure: bool) -> Reply:
            signature = desk.signature()
            return _recorded(
                add_calibration(session, questions.cells, rows, content, signature, clock(), say, matrix, sure=sure)
            )

        return desk.written_if_sure(record, sure=sure)

    with nothing_written_if_stopped():
        return answered_and_written(questions, questions.ask, questions.shown, write)


def _missing(cells: Cells, comparisons: Path | None, phase: "Sequence[str] | None") -> list[Finding]:
    """What must be typed where no file is read."""
    of_file = "or a certificate as XML with --read, or questions with --ask"
    findings = [
        Finding.typed(name, None, f"{CALIBRATIONS_CSV.by_name[name].meaning}, {of_file}")
        for name in ("laboratory", "calibrated_on")
        if cells[name] is None
    ]
    if comparisons is None:
        findings.append(Finding.typed("comparisons", None, f"a file with the comparisons, {of_file}"))
    if phase:
        findings.append(
            Finding.typed("phase", ", ".join(phase), "nothing: the comparisons say their phase by themselves")
        )
    return findings


def _of_file_read(
    desk: Desk, cells: Cells, path: Path, phases: "Sequence[str]", beside: "Mapping[str, object]", *, dry_run: bool
) -> Reply:
    """Record a certificate as XML: read first, while nobody waits; then ask what it does not say; then write."""
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.calibrate.read_calibration import read_calibration, record_read_calibration

    said = {
        "file": "nothing: the file that is read is kept; `calib calibration attach` keeps another one beside it",
        "correlations": "nothing beside --read: a certificate with a matrix of correlations is typed as sheets",
    }
    wrong = [
        Finding.typed(name, str(typed), said.get(name, "nothing: the comparisons are those of the file that is read"))
        for name, typed in beside.items()
        if typed is not None
    ]
    if wrong:
        raise BadInputError(wrong)
    with desk.reading_first() as session:
        certificate = read_calibration(session, cells["tag"] or "", file_content(path, LARGEST_FILE))
    typed = [phase.strip().replace(" ", "-") for phase in phases] or _asked_phases(certificate.results)

    def record(session: "Session", remark: "Callable[[str], None]") -> "CalibrationOnFile":
        return record_read_calibration(session, certificate, cells, typed, desk.signature(), clock(), remark)

    return _added(desk, record, dry_run=dry_run)


def _asked_phases(results: "Sequence[str]") -> list[str]:
    """On a terminal: which result is as found and which as left, since the schema does not say it."""
    from calib.faces.cli.frame import is_somebody_there
    from calib.faces.cli.questions import Questions, nothing_written_if_stopped
    from calib.records.words import PHASES

    if not is_somebody_there():
        return []
    questions, phases = Questions(), []
    with nothing_written_if_stopped():
        for name in results:
            while True:
                typed = questions.line(f"{name}: comparisons {' or '.join(PHASES)}?")
                if (phase := typed.replace(" ", "-")) in PHASES:
                    break
                questions.wrong([("phase", typed, " or ".join(PHASES))])
            phases.append(phase)
    return phases


def _matrix(path: Path, tag: str, certificate: str, comparisons: "Sequence[TypedRow]") -> "list[TypedRow]":
    """Correlations of the phase that the curve is made from."""
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.certificate.phase import phase_in_use
    from calib.procedures.typed.correlation_matrix import read_correlations

    phase = phase_in_use(row.get("phase") for row in comparisons)
    points = sum(row.get("phase") == phase for row in comparisons)
    rows, findings = read_correlations(file_content(path, LARGEST_FILE), tag, certificate, phase, points)
    if findings:
        raise BadInputError(findings)
    return rows


def _read(
    path: Path,
    tag: str,
    certificate: str,
    columns: "tuple[TypedColumn, ...]",
    sheet: str | None,
    map_: Path | None = None,
) -> "list[TypedRow]":
    from calib.faces.files import LARGEST_FILE, file_content, maps_in
    from calib.procedures.typed.comparison_sheets import read_comparisons
    from calib.procedures.typed.sheets import HowToRead

    reading = HowToRead(maps=() if map_ is None else maps_in(map_, [path]))
    rows, findings = read_comparisons(file_content(path, LARGEST_FILE), tag, certificate, columns, sheet, reading)
    for notice in reading.notices:
        say(f"notice: {notice}")
    if findings:
        raise BadInputError(findings)
    return rows


def _file(path: Path | None) -> "FileRead | None":
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.fleet.attach_file import attachable

    return None if path is None else attachable(file_content(path, LARGEST_FILE))


def _recorded(calibration: "CalibrationOnFile") -> Reply:
    from calib.faces.answers import recorded_certificate as answer

    document = answer.document(calibration)
    return Reply(document, answer.text, answer.remarks(document))


_IN_HOUSE = RowOptions(
    CALIBRATIONS_CSV,
    without=[
        "tag", "certificate", "accreditation", "accepted_on", "accepted_by", "criterion", "decision_rule", "judged", "reason",
        "departure_reason",
        "received_on", "traceability", "standards",
    ],
    typed_as=_SHORTER,
)  # fmt: skip


@writes(app, "in-house", row=_IN_HOUSE)
def in_house(
    desk: Desk,
    tag: Tag,
    certificate: Certificate,
    cells: Cells,
    standards: Annotated[
        str, typer.Option("--standard", metavar="TAG", help="The reference standard, an instrument of the register.")
    ],
    comparisons: Annotated[
        Path,
        typer.Option(
            metavar="FILE",
            help="Workbook or CSV file: phase, reference_indication, indication, unit, and reference_repeatability, "
            "reference_observations, repeatability, observations, indication_unit where there are any.",
        ),
    ],
    place_percent: Annotated[
        str, typer.Option(metavar="PERCENT", help="Standard uncertainty of the difference between the two places.")
    ] = "0",
    place_basis: Annotated[str | None, typer.Option(metavar="TEXT", help="What that rests on.")] = None,
    sheet: Sheet = None,
    file: CertificateFile = None,
) -> Reply:
    """Record a calibration made in house: the standard's corrected values are the reference, with their whole uncertainty.

    Exit status 3, nothing written, where the standard was not in calibration on that day.

    Example: calib calibration in-house TA-05 IN-26-08 --standard RS-01 --laboratory "in-house bench"
    --calibrated-on 2026-06-02 --comparisons bench.csv
    """
    from calib.procedures.calibrate.add_calibration import add_calibration
    from calib.procedures.calibrate.calibrate_in_house import PlaceDifference, in_house_columns
    from calib.procedures.calibrate.calibrate_in_house import in_house as values_of

    day = day_of(cells["calibrated_on"], "calibrated_on")
    typed = {"tag": tag, "certificate": certificate, "standards": standards, **cells}
    rows, content = _read(comparisons, tag, certificate, in_house_columns(), sheet), _file(file)
    session = desk.writing()
    values = values_of(session, tag, standards, day, rows, PlaceDifference(place_percent, place_basis))
    return _recorded(add_calibration(session, typed, values, content, desk.signature(), clock(), say))


@writes(app, "accept")
def accept(
    desk: Desk,
    tag: Tag,
    certificate: Certificate,
    on: OnDate = None,
    rule: Rule = None,
    judged: JudgedAs = None,
    criterion: Criterion = None,
    reason: Annotated[
        str | None, typer.Option("--reason", metavar="TEXT", help="Why it holds from before today, where it does.")
    ] = None,
    departure_reason: Annotated[
        str | None, typer.Option("--departure", metavar="TEXT", help="Why it departs from what the register says.")
    ] = None,
) -> Reply:
    """Accept a calibration for use, if every comparison passes (exit status 1 if not) and another person typed it (3 if not).

    What it is judged by stands in the register; an attempt that fails stays on record. From an earlier day (--on) it needs a
    --reason, and no certificate is accepted before it was issued.

    Example: calib calibration accept VA-21 C-0815 --rule guarded
    """
    from calib.faces.answers import acceptance as answer
    from calib.procedures.calibrate.accept_calibration import AcceptanceWanted, NotAccepted, accept_calibration

    day, wanted = day_of(on), AcceptanceWanted(rule, judged, criterion, reason, departure_reason)
    accepted = accept_calibration(desk.writing(), tag, certificate, day, wanted, desk.signature())
    if isinstance(accepted, NotAccepted):
        return Reply(answer.attempted(tag, certificate, accepted), "", accepted.reasons, status=1)
    return Reply(answer.document(tag, certificate, accepted), answer.text, accepted.remarks)


@writes(app, "withdraw")
def withdraw(
    desk: Desk,
    tag: Tag,
    certificate: Certificate,
    reason: Reason,
) -> Reply:
    """Withdraw a calibration that was recorded wrongly: it counts for nothing from then on, at no time.

    Example: calib calibration withdraw VA-11 TH-26-0412 --reason "the day of calibration was typed wrong"
    """
    from calib.faces.answers import withdrawal as answer
    from calib.procedures.calibrate.withdraw_calibration import withdraw_calibration

    document = answer.document(withdraw_calibration(desk.writing(), tag, certificate, reason, desk.signature()))
    return Reply(document, answer.text, document["remarks"])


@writes(app, "supersede")
def supersede(
    desk: Desk,
    tag: Tag,
    old: Annotated[str, typer.Argument(metavar="OLD", help="The certificate that was reissued.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="The one that its laboratory issued instead, on record.")],
    reason: Reason,
) -> Reply:
    """Put a certificate that its laboratory reissued in the place of the old one, without a gap.

    Where every value is the same its acceptance carries over; else the old one counts until the new one is accepted.

    Example: calib calibration supersede VA-11 TH-26-0412 TH-26-0412a --reason "the client's address was wrong"
    """
    from calib.faces.answers import supersession as answer
    from calib.procedures.calibrate.supersede_calibration import supersede_calibration

    superseded = supersede_calibration(desk.writing(), tag, (old, new), reason, desk.signature())
    return Reply(answer.document(superseded), answer.text)


@writes(app, "attach")
def attach(
    desk: Desk,
    tag: Tag,
    certificate: Certificate,
    file: FileToKeep,
    remarks: Remarks = None,
) -> Reply:
    """Keep a file with a certificate: its bytes, once, by their SHA-256.

    Example: calib calibration attach VA-21 C-0815 c-0815.pdf
    """
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.fleet.attach_file import attach_to_calibration, attachable

    content = attachable(file_content(file, LARGEST_FILE))
    on_record = attach_to_calibration(desk.writing(), tag, certificate, content, remarks, desk.signature())
    return attached(on_record, f"{tag}, certificate {certificate}")


@writes(app, "detach")
def detach(desk: Desk, tag: Tag, certificate: Certificate, sha256: FileDigest, reason: Reason) -> Reply:
    """Take back that a file belongs to a certificate; its bytes stay with the records.

    Example: calib calibration detach VA-21 C-0815 3a7bd3e2 --reason "the certificate of VA-22"
    """
    return withdrawn(desk, "file of a calibration", (tag, certificate, sha256), reason)


@reads(app, "list")
def list_(
    desk: Desk,
    tag: OneTag = None,
) -> Reply:
    """List calibrations.

    Example: calib calibration list VA-11
    """
    from calib.faces.answers import calibrations as answer
    from calib.procedures.on_record.calibrations import calibrations_on_file

    return Reply(answer.document(calibrations_on_file(desk.reading(), tag)), answer.text)


@reads(app, "show")
def show(
    desk: Desk,
    tag: Tag,
    certificate: LatestCertificate = None,
    plot: Annotated[Path | None, to_draw("the curve")] = None,
    dcc: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a calibration made in house as a certificate as XML (DCC 3.3)."),
    ] = None,
    country: Annotated[
        str | None, typer.Option(metavar="CODE", help="Beside --dcc: the country where it was made, like DE.")
    ] = None,
) -> Reply:
    """Show a calibration as the records hold it: comparisons, correction curve, residuals.

    Example: calib calibration show VA-11 --plot va-11.png
    """
    from calib.faces.answers import calibration as answer
    from calib.procedures.on_record.calibrations import calibration_on_file

    session = desk.reading()
    calibration = calibration_on_file(session, tag, certificate)
    document = answer.document(calibration)
    if dcc is not None:
        _written_as_xml(session, calibration, dcc, country)
    elif country is not None:
        raise BadInputError([Finding.typed("country", country, "nothing without --dcc")])
    if plot is not None:
        from calib.faces.drawings.calibration import calibration_chart

        plotted([calibration_chart(calibration)], plot)
    return Reply(document, answer.text)


def _written_as_xml(session: "Session", calibration: "CalibrationOnFile", path: Path, country: str | None) -> None:
    from calib.faces.write_over import write_over
    from calib.procedures.calibrate.write_calibration import write_calibration
    from calib.procedures.dcc.write_certificate import WRITTEN_BEGINS

    written = write_calibration(session, calibration, country)
    write_over(path, written.content, WRITTEN_BEGINS, "certificate as XML that calib wrote")
    for notice in written.notices:
        say(f"notice: {notice}")
    say(f"wrote {path}: certificate {calibration.calibration.certificate} as DCC 3.3, unsigned")


@reads(app, "candidates")
def candidates(desk: Desk, tag: Tag, certificate: LatestCertificate = None) -> Reply:
    """Fit the candidates that the curve was chosen from anew, and show the figures they are judged by; nothing is written.

    Example: calib calibration candidates VA-11
    """
    from calib.faces.answers import candidates as answer
    from calib.procedures.on_record.calibrations import calibration_on_file

    return Reply(answer.document(calibration_on_file(desk.reading(), tag, certificate)), answer.text)


@writes(app, "choose")
def choose(
    desk: Desk,
    tag: Tag,
    certificate: Certificate,
    reason: Reason,
    degree: Annotated[int | None, typer.Option(help="Degree of the polynomial, one of the candidates.")] = None,
    shape: Annotated[
        str | None, typer.Option(help="Another shape: proportional, line, power, king, 'king square root'.")
    ] = None,
) -> Reply:
    """Choose another curve than the rule did; the reason is kept and printed beside the curve.

    Example: calib calibration choose VA-11 TH-26-0412 --degree 2 --reason "the maker states a quadratic response"
    """
    from calib.procedures.calibrate.choose_curve import choose_curve
    from calib.procedures.certificate.fit_curve import CurveWish

    if (degree is None) == (shape is None):
        raise BadInputError([Finding.typed("degree", None, "either a degree, or a shape with --shape")])
    wish = CurveWish(degree, shape)
    curve = choose_curve(desk.writing(), tag, certificate, wish, reason, desk.signature())
    document = {
        "tag": tag,
        "certificate": certificate,
        "shape": curve.shape,
        "degree": curve.degree,
        "reason": reason,
    }
    named = shape or f"degree {degree}"
    told = f"{tag}: the curve '{named}' counts for certificate {certificate}; the earlier one stays on record"
    return Reply(document, told)
