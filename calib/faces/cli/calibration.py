"""Commands on calibrations and their certificates."""

from pathlib import Path
from shlex import quote
from typing import Annotated, Any

import typer

from calib.faces.cli.attachment import tell_kept
from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    OnDate,
    Records,
    clock,
    day_of,
    print_json,
    print_table,
    say,
    signature,
    tell,
)

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Certificates: add, calibrate in house, accept, withdraw, attach files, list, show, and choose another curve.",
)

Tag = Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")]
Certificate = Annotated[str, typer.Argument(metavar="CERTIFICATE", help="The certificate's number.")]


# What a certificate may state beside its comparisons.
Laboratory = Annotated[str, typer.Option(help="Who calibrated.")]
CalibratedOn = Annotated[str, typer.Option(metavar="DATE", help="Day of the calibration.")]
Accreditation = Annotated[str | None, typer.Option(help="The laboratory's accreditation.")]
AcceptedOn = Annotated[str | None, typer.Option(metavar="DATE", help="Day of acceptance; not accepted if not given.")]
AcceptedBy = Annotated[str | None, typer.Option(metavar="NAME", help="Who accepted it; whoever types if not given.")]
DueOn = Annotated[str | None, typer.Option(metavar="DATE", help="A due date earlier than the interval gives.")]
Temperature = Annotated[
    str | None, typer.Option("--temperature-degc", "--temperature", help="Ambient temperature in degC.")
]
Pressure = Annotated[str | None, typer.Option("--pressure-kpa", "--pressure", help="Ambient pressure in kPa.")]
Humidity = Annotated[str | None, typer.Option("--humidity-percent", "--humidity", help="Relative humidity in percent.")]
ReceivedOn = Annotated[str | None, typer.Option(metavar="DATE", help="Day on which the laboratory received it.")]
IssuedOn = Annotated[str | None, typer.Option(metavar="DATE", help="Day on which the certificate was issued.")]
Adjustment = Annotated[str | None, typer.Option(help="yes or no: whether it was adjusted.")]
Procedure = Annotated[str | None, typer.Option(help="By which procedure it was calibrated.")]
Traceability = Annotated[str | None, typer.Option(help="What the certificate says of its traceability.")]
CertificateFile = Annotated[
    Path | None, typer.Option("--file", metavar="FILE", help="The certificate itself: PDF, PNG, JPEG or XML.")
]
Sheet = Annotated[str | None, typer.Option(metavar="NAME", help="Sheet of the workbook, where it has several.")]
Rule = Annotated[str, typer.Option(help="Decision rule: simple, guarded or 'guarded non-binary'; guard band U.")]
JudgedAs = Annotated[
    str | None,
    typer.Option(
        "--judged", help="'indication' or 'corrected value': what is held against the maximum permissible error."
    ),
]
Criterion = Annotated[str | None, typer.Option(help="The criterion in words; that of the register if not given.")]


@app.command("add")
def add(
    tag: Tag,
    certificate: Certificate,
    laboratory: Laboratory,
    calibrated_on: CalibratedOn,
    comparisons: Annotated[
        Path, typer.Option(metavar="FILE", help="Workbook (.xlsx) or CSV file with the columns of comparisons.csv.")
    ],
    sheet: Sheet = None,
    file: CertificateFile = None,
    accreditation: Accreditation = None,
    received_on: ReceivedOn = None,
    issued_on: IssuedOn = None,
    adjustment: Adjustment = None,
    procedure: Procedure = None,
    traceability: Traceability = None,
    accepted_on: AcceptedOn = None,
    accepted_by: AcceptedBy = None,
    criterion: Criterion = None,
    rule: Rule = "simple",
    judged: JudgedAs = None,
    due_on: DueOn = None,
    standards: Annotated[
        str | None, typer.Option(help="Tags of the reference standards of an in-house calibration, joined by ;")
    ] = None,
    temperature_degc: Temperature = None,
    pressure_kpa: Pressure = None,
    humidity_percent: Humidity = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Record a certificate with its comparisons and its file; the correction curve is fitted from them.

    Example: calib calibration add VA-21 C-0815 --laboratory "Lab" --calibrated-on 2026-02-03 --comparisons c-0815.xlsx
    --file c-0815.pdf
    """
    from calib.errors import BadInputError
    from calib.procedures.calibrate.add_calibration import add_calibration
    from calib.procedures.fleet.attach_file import read_attachment
    from calib.procedures.typed.comparison_sheets import comparison_columns, read_comparisons
    from calib.records import database

    cells = {
        "tag": tag, "certificate": certificate, "laboratory": laboratory, "accreditation": accreditation,
        "calibrated_on": calibrated_on, "due_on": due_on, "standards": standards, "temperature_degC": temperature_degc,
        "pressure_kPa": pressure_kpa, "humidity_percent": humidity_percent, "received_on": received_on, "issued_on": issued_on,
        "adjustment": adjustment, "procedure": procedure, "traceability": traceability,
        **_acceptance(accepted_on, accepted_by, criterion, rule, judged),
    }  # fmt: skip
    rows, findings = read_comparisons(comparisons, tag, certificate, comparison_columns(), sheet)
    if findings:
        raise BadInputError(findings)
    kept_file = None if file is None else read_attachment(file)
    with database.writing(records) as session:
        kept = add_calibration(session, cells, rows, kept_file, signature(by, "calibration add"), clock(), say)
        document = _recorded(kept)
    _tell_recorded(document, as_json)


def _acceptance(
    accepted_on: str | None, accepted_by: str | None, criterion: str | None, rule: str, judged: str | None
) -> dict[str, str | None]:
    """Cells of an acceptance, where there is one."""
    if accepted_on is None:
        return {"accepted_by": accepted_by, "criterion": criterion}
    return {
        "accepted_on": accepted_on, "accepted_by": accepted_by, "criterion": criterion, "decision_rule": rule, "judged": judged,
    }  # fmt: skip


def _recorded(kept: Any) -> dict[str, Any]:
    """What was recorded of a certificate, and what it does not state."""
    from calib.faces.answers import calibration

    return {
        "tag": kept.instrument.tag,
        "certificate": kept.calibration.certificate,
        "comparisons": len(kept.comparisons),
        "accepted_on": None if kept.acceptance is None else kept.acceptance.accepted_on,
        "files": list(kept.files),
        "completeness": calibration.completeness_of(kept),
    }


def _tell_recorded(document: dict[str, Any], as_json: bool) -> None:
    from calib.faces.answers import calibration

    if as_json:
        print_json(document)
        return
    tag, certificate = document["tag"], document["certificate"]
    waits = f"; it counts once it is accepted: calib calibration accept {quote(tag)} {quote(certificate)}"
    tell(
        f"recorded certificate {certificate} of {tag} with {document['comparisons']} comparisons"
        f"{'' if document['accepted_on'] else waits}"
    )
    for line in calibration.missing_lines(document["completeness"]):
        say(line)


@app.command("in-house")
def in_house(
    tag: Tag,
    certificate: Certificate,
    standard: Annotated[
        str, typer.Option(metavar="TAG", help="The reference standard, an instrument of the register.")
    ],
    laboratory: Laboratory,
    calibrated_on: CalibratedOn,
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
    adjustment: Adjustment = None,
    procedure: Procedure = None,
    issued_on: IssuedOn = None,
    due_on: DueOn = None,
    temperature_degc: Temperature = None,
    pressure_kpa: Pressure = None,
    humidity_percent: Humidity = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Record a calibration made in house: the standard's corrected values are the reference, with their whole uncertainty.

    Exit status 3, nothing written, where the standard was not in calibration on that day.

    Example: calib calibration in-house TA-05 IN-26-08 --standard RS-01 --laboratory "in-house bench"
    --calibrated-on 2026-06-02 --comparisons bench.csv
    """
    from calib.errors import BadInputError
    from calib.procedures.calibrate.add_calibration import add_calibration
    from calib.procedures.calibrate.calibrate_in_house import PlaceDifference, in_house_columns
    from calib.procedures.calibrate.calibrate_in_house import in_house as values_of
    from calib.procedures.fleet.attach_file import read_attachment
    from calib.procedures.typed.comparison_sheets import read_comparisons
    from calib.records import database

    day = day_of(calibrated_on, "--calibrated-on")
    cells = {
        "tag": tag, "certificate": certificate, "laboratory": laboratory, "calibrated_on": calibrated_on, "standards": standard,
        "due_on": due_on, "temperature_degC": temperature_degc, "pressure_kPa": pressure_kpa, "humidity_percent": humidity_percent,
        "adjustment": adjustment, "procedure": procedure, "issued_on": issued_on,
    }  # fmt: skip
    rows, findings = read_comparisons(comparisons, tag, certificate, in_house_columns(), sheet)
    if findings:
        raise BadInputError(findings)
    kept_file = None if file is None else read_attachment(file)
    with database.writing(records) as session:
        made = values_of(session, tag, standard, day, rows, PlaceDifference(place_percent, place_basis))
        kept = add_calibration(session, cells, made, kept_file, signature(by, "calibration in-house"), clock(), say)
        document = _recorded(kept)
    _tell_recorded(document, as_json)


@app.command("accept")
def accept(
    tag: Tag,
    certificate: Certificate,
    on: OnDate = None,
    rule: Rule = "simple",
    judged: JudgedAs = None,
    criterion: Criterion = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Accept a calibration for use, if every comparison passes and another person typed it; exit status 3 if not.

    Example: calib calibration accept VA-21 C-0815 --rule guarded
    """
    from calib.faces.answers import calibration
    from calib.procedures.calibrate.accept_calibration import AcceptanceWanted, accept_calibration
    from calib.records import database

    day, wanted = day_of(on), AcceptanceWanted(rule, judged, criterion)
    with database.writing(records) as session:
        found = accept_calibration(session, tag, certificate, day, wanted, signature(by, "calibration accept"))
        by_whom, words = found.acceptance.accepted_by, found.acceptance.criterion
    for line in found.remarks:
        say(line)
    assessment = None if found.assessment is None else found.assessment.content()
    if as_json:
        print_json(
            {
                "tag": tag,
                "certificate": certificate,
                "accepted_on": str(day),
                "accepted_by": by_whom,
                "criterion": words,
            }
            | {"assessment": assessment}
        )
        return
    tell(f"{tag}: certificate {certificate} accepted on {day} by {by_whom}: {words}")
    for line in [] if assessment is None else calibration.assessment_lines(assessment):
        tell(line)


@app.command("withdraw")
def withdraw(
    tag: Tag,
    certificate: Certificate,
    reason: Annotated[str, typer.Option(metavar="TEXT", help="What was recorded wrongly; it is kept and printed.")],
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Withdraw a calibration that was recorded wrongly: it counts for nothing from then on, at no time.

    Example: calib calibration withdraw VA-11 TH-26-0412 --reason "the day of calibration was typed wrong"
    """
    from calib.faces.answers import withdrawal
    from calib.procedures.calibrate.withdraw_calibration import withdraw_calibration
    from calib.records import database

    with database.writing(records) as session:
        found = withdraw_calibration(session, tag, certificate, reason, signature(by, "calibration withdraw"))
        document = withdrawal.withdrawal(found)
    for line in document["remarks"]:
        say(line)
    if as_json:
        print_json(document)
    else:
        tell(withdrawal.withdrawal_text(document))


@app.command("attach")
def attach(
    tag: Tag,
    certificate: Certificate,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="PDF, PNG, JPEG or XML, at most 25 MB.")],
    remarks: Annotated[str | None, typer.Option(help="What it shows.")] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Keep a file with a certificate: its bytes, once, by their SHA-256.

    Example: calib calibration attach VA-21 C-0815 c-0815.pdf
    """
    from calib.procedures.fleet.attach_file import attach_to_calibration, read_attachment
    from calib.records import database

    read = read_attachment(file)
    with database.writing(records) as session:
        kept = attach_to_calibration(session, tag, certificate, read, remarks, signature(by, "calibration attach"))
    tell_kept(kept, f"{tag}, certificate {certificate}", as_json)


@app.command("list")
def list_(
    tag: Annotated[str | None, typer.Argument(metavar="[TAG]", help="One instrument; all if not given.")] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """List calibrations.

    Example: calib calibration list VA-11
    """
    from calib.faces.plain_text import withdrawn_text
    from calib.procedures.on_record.calibrations import calibrations_on_file
    from calib.records import database

    with database.reading(records) as session:
        found = calibrations_on_file(session, tag)
    if as_json:
        print_json({"calibrations": found})
    else:
        columns: tuple[str, ...] = (
            "tag",
            "certificate",
            "laboratory",
            "calibrated_on",
            "accepted_on",
            "due_on",
            "shape",
            "degree",
            "measuring_interval",
        )
        header: tuple[str, ...] = (
            "tag",
            "certificate",
            "laboratory",
            "calibrated",
            "accepted",
            "earlier due",
            "curve",
            "degree",
            "measuring interval",
        )
        if any(one["withdrawn"] for one in found):
            columns, header = (*columns, "withdrawn"), (*header, "withdrawn")
        rows = [one | {"withdrawn": withdrawn_text(one["withdrawn"])} for one in found]
        print_table(header, [["-" if one[column] is None else str(one[column]) for column in columns] for one in rows])


@app.command("show")
def show(
    tag: Tag,
    certificate: Annotated[str | None, typer.Argument(metavar="[CERTIFICATE]", help="The latest if not given.")] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Draw the curve to a .svg, .png or .pdf file.")
    ] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Show a calibration as the records hold it: comparisons, correction curve, residuals.

    Example: calib calibration show VA-11 --plot va-11.png
    """
    from calib.faces.answers import calibration
    from calib.procedures.on_record.calibrations import calibration_on_file
    from calib.records import database

    with database.reading(records) as session:
        kept = calibration_on_file(session, tag, certificate)
        document = calibration.calibration(kept)
    if plot is not None:
        from calib.faces.drawings.calibration import save_curve

        save_curve(kept, plot)
    if as_json:
        print_json(document)
    else:
        tell(calibration.calibration_text(document))


@app.command("candidates")
def candidates(
    tag: Tag,
    certificate: Annotated[str | None, typer.Argument(metavar="[CERTIFICATE]", help="The latest if not given.")] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Fit the candidates that the curve was chosen from anew, and show the figures they are judged by; nothing is written.

    Example: calib calibration candidates VA-11
    """
    from calib.faces.answers import candidates as answer
    from calib.procedures.on_record.calibrations import calibration_on_file
    from calib.records import database

    with database.reading(records) as session:
        document = answer.document(calibration_on_file(session, tag, certificate))
    if as_json:
        print_json(document)
    else:
        tell(answer.text(document))


@app.command("choose")
def choose(
    tag: Tag,
    certificate: Certificate,
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why; it is kept and printed.")],
    degree: Annotated[int | None, typer.Option(help="Degree of the polynomial, one of the candidates.")] = None,
    shape: Annotated[
        str | None, typer.Option(help="Another shape: proportional, line, power, king, 'king square root'.")
    ] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Choose another curve than the rule did; the reason is kept and printed beside the curve.

    Example: calib calibration choose VA-11 TH-26-0412 --degree 2 --reason "the maker states a quadratic response"
    """
    from calib.errors import BadInputError, Finding
    from calib.procedures.calibrate.choose_curve import choose_curve
    from calib.procedures.certificate.fit_curve import CurveWish
    from calib.records import database

    if (degree is None) == (shape is None):
        raise BadInputError(
            [Finding("command line", None, "--degree", None, "either a degree, or a shape with --shape")]
        )
    with database.writing(records) as session:
        kept = choose_curve(
            session, tag, certificate, CurveWish(degree, shape), reason, signature(by, "calibration choose")
        )
        document = {
            "tag": tag,
            "certificate": certificate,
            "shape": kept.shape,
            "degree": kept.degree,
            "reason": reason,
        }
    if as_json:
        print_json(document)
    else:
        named = shape or f"degree {degree}"
        tell(f"{tag}: the curve '{named}' counts for certificate {certificate}; the earlier one stays on record")
