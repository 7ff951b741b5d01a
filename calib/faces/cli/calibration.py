"""Commands on calibrations and their certificates."""

from pathlib import Path
from typing import Annotated

import typer

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
    signature,
    tell,
)

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Certificates: add, accept, list, show, and choose another curve."
)

Tag = Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")]
Certificate = Annotated[str, typer.Argument(metavar="CERTIFICATE", help="The certificate's number.")]


@app.command("add")
def add(
    tag: Tag,
    certificate: Certificate,
    laboratory: Annotated[str, typer.Option(help="Who calibrated.")],
    calibrated_on: Annotated[str, typer.Option(metavar="DATE", help="Day of the calibration.")],
    comparisons: Annotated[Path, typer.Option(metavar="FILE", help="CSV file with the columns of comparisons.csv.")],
    accreditation: Annotated[str | None, typer.Option(help="The laboratory's accreditation.")] = None,
    accepted_on: Annotated[
        str | None, typer.Option(metavar="DATE", help="Day of acceptance; not accepted if not given.")
    ] = None,
    due_on: Annotated[
        str | None, typer.Option(metavar="DATE", help="A due date earlier than the interval gives.")
    ] = None,
    standards: Annotated[
        str | None, typer.Option(help="Tags of the reference standards of an in-house calibration, joined by ;")
    ] = None,
    temperature_degc: Annotated[str | None, typer.Option(help="Ambient temperature in degC.")] = None,
    pressure_kpa: Annotated[str | None, typer.Option(help="Ambient pressure in kPa.")] = None,
    humidity_percent: Annotated[str | None, typer.Option(help="Relative humidity in percent.")] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Record a certificate with its comparisons; the correction curve is fitted from them.

    Example: calib calibration add VA-21 C-0815 --laboratory "Lab" --calibrated-on 2026-02-03 --comparisons c-0815.csv
    """
    from calib.errors import BadInputError
    from calib.procedures.columns import FILES
    from calib.procedures.import_folders import write_sheets
    from calib.procedures.sheets import read_file, typed_row
    from calib.records import database

    cells = {
        "tag": tag, "certificate": certificate, "laboratory": laboratory, "accreditation": accreditation,
        "calibrated_on": calibrated_on, "accepted_on": accepted_on, "due_on": due_on, "standards": standards,
        "temperature_degC": temperature_degc, "pressure_kPa": pressure_kpa, "humidity_percent": humidity_percent,
    }  # fmt: skip
    rows, findings = read_file(comparisons, FILES["comparisons.csv"])
    if findings:
        raise BadInputError(findings)
    sheets = {"calibrations.csv": [typed_row("command line", cells)], "comparisons.csv": rows}
    with database.writing(records) as session:
        write_sheets(session, sheets, signature(by, "calibration add"), clock())
    if as_json:
        print_json({"tag": tag, "certificate": certificate, "comparisons": len(rows), "accepted_on": accepted_on})
    else:
        waits = "" if accepted_on else f"; it counts once it is accepted: calib calibration accept {tag} {certificate}"
        tell(f"recorded certificate {certificate} of {tag} with {len(rows)} comparisons{waits}")


@app.command("accept")
def accept(
    tag: Tag,
    certificate: Certificate,
    on: OnDate = None,
    criterion: Annotated[str | None, typer.Option(help="The acceptance criterion that was applied.")] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Accept a calibration for use.

    Example: calib calibration accept VA-21 C-0815 --criterion "errors plus U within the maximum permissible error"
    """
    from calib.procedures.accept_calibration import accept_calibration
    from calib.records import database

    day = day_of(on)
    with database.writing(records) as session:
        accept_calibration(session, tag, certificate, day, criterion, signature(by, "calibration accept"))
    if as_json:
        print_json({"tag": tag, "certificate": certificate, "accepted_on": str(day)})
    else:
        tell(f"{tag}: certificate {certificate} accepted on {day}")


@app.command("list")
def list_(
    tag: Annotated[str | None, typer.Argument(metavar="[TAG]", help="One instrument; all if not given.")] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """List calibrations.

    Example: calib calibration list VA-11
    """
    from calib.procedures.look_up import calibrations
    from calib.records import database

    with database.reading(records) as session:
        found = calibrations(session, tag)
    if as_json:
        print_json({"calibrations": found})
    else:
        columns = (
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
        header = (
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
        print_table(header, [["-" if one[column] is None else str(one[column]) for column in columns] for one in found])


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
    """Show a calibration: comparisons, correction curve, residuals, and the candidates the curve was chosen from.

    Example: calib calibration show VA-11 --plot va-11.png
    """
    from calib.faces import calibration_answer
    from calib.procedures.look_up import calibration_on_file
    from calib.records import database

    with database.reading(records) as session:
        kept = calibration_on_file(session, tag, certificate)
        document = calibration_answer.calibration(kept)
    if plot is not None:
        from calib.faces.page import save_curve

        save_curve(kept, plot)
    if as_json:
        print_json(document)
    else:
        tell(calibration_answer.calibration_text(document))


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
    from calib.procedures.choose_curve import choose_curve
    from calib.procedures.fit_curve import Wish
    from calib.records import database

    if (degree is None) == (shape is None):
        raise BadInputError(
            [Finding("command line", None, "--degree", None, "either a degree, or a shape with --shape")]
        )
    with database.writing(records) as session:
        kept = choose_curve(session, tag, certificate, Wish(degree, shape), reason, signature(by, "calibration choose"))
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
