"""What the rows of an import must hold together: with one another, with the other files, and with the records.

Each function returns every finding; cells that are wrong by themselves have been named before and are passed over here.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from calib.confirmation.interval import add_months
from calib.errors import CalibError, CurveError, Finding
from calib.procedures.certificate.assess import Assessment, assess, usual_object
from calib.procedures.certificate.fit_curve import FittedCurve, fit_curve, indication_quantity
from calib.procedures.certificate.phase import AS_FOUND, phase_in_use
from calib.procedures.enter.check_jobs import job_findings
from calib.procedures.typed.rows_together import (
    Known,
    Typed,
    duplicate,
    names_instrument,
    open_names,
    repeated,
    unit_known,
)
from calib.procedures.typed.sheets import Cells, Row, Sheets
from calib.records.tables import THERMAL


@dataclass(frozen=True)
class Checked:
    """Findings, and the curves that were fitted on the way."""

    findings: tuple[Finding, ...]
    curves: Mapping[tuple[str, str], FittedCurve]  # (tag, certificate) -> curve
    assessments: Mapping[tuple[str, str], Assessment]  # of the acceptances that state a decision rule


def check(sheets: Sheets, known: Known, today: date, unread: frozenset[str] = frozenset()) -> Checked:
    """All findings on the rows of an import, on a day.

    `unread` names files of which something could not be read: what other rows name may stand there, and is not asked for.
    """
    undecided = open_names(sheets, unread)
    of_instruments = list(_instruments(sheets["instruments.csv"], known))
    # Made after their own check, so that no cell found wrong is taken for right below.
    typed = {row.cells["tag"]: Typed(row.cells, row.bad) for row in sheets["instruments.csv"] if row.sound("tag")}
    instruments: dict[str, Cells] = {**typed, **known.instruments}
    curves: dict[tuple[str, str], FittedCurve] = {}
    assessments: dict[tuple[str, str], Assessment] = {}
    findings = [
        *of_instruments,
        *_calibrations(sheets["calibrations.csv"], known, instruments, undecided),
        *_to_come(sheets["calibrations.csv"], today),
        *_comparisons(sheets["comparisons.csv"], sheets["calibrations.csv"], known, instruments, undecided),
        *_curves(sheets, instruments, curves, unread),
        *_adjustments(sheets),
        *_acceptances(sheets, instruments, curves, assessments),
        *repeated(sheets["methods.csv"], ("method",), lambda key: key[0] in known.methods),
        *repeated(sheets["jobs.csv"], ("job",), lambda key: key[0] in known.jobs),
        *job_findings(sheets, known, instruments, undecided),
    ]
    return Checked(tuple(findings), curves, assessments)


def _instruments(rows: Sequence[Row], known: Known) -> Iterable[Finding]:
    yield from repeated(rows, ("tag",), lambda key: key[0] in known.instruments)
    for row in rows:
        yield from unit_known(row, "unit", indication_quantity(row.cells))
        if row.sound("range_low", "range_high") and not float(row.cells["range_low"]) < float(row.cells["range_high"]):
            yield row.finding("range_high", f"a number above range_low ({row.cells['range_low']})")
        stability = not (row.blank("stability_percent") and row.blank("stability_absolute"))
        if row.blank("mpe_percent") and row.blank("mpe_absolute") and not stability:
            yield row.finding(
                "mpe_percent", "a maximum permissible error (mpe_percent, mpe_absolute) or stability limits"
            )
        if stability and row.blank("stability_basis"):
            yield row.finding("stability_basis", "what the stability limits rest on")
        yield from _of_kind(row)


def _of_kind(row: Row) -> Iterable[Finding]:
    """What only thermal anemometers and hoods have."""
    if row.sound("density_effect") and row.get("quantity") not in (None, "air velocity"):
        yield row.finding("density_effect", "nothing for an instrument that does not measure air velocity")
    for column in ("reference_temperature_degC", "reference_pressure_kPa"):
        if row.get("density_effect") == THERMAL and row.blank(column):
            yield row.finding(column, "the reference state at which a thermal anemometer indicates velocity")
        elif row.get("density_effect") != THERMAL and row.sound(column) and "density_effect" not in row.bad:
            yield row.finding(column, "nothing, since density_effect is not thermal")
    if row.sound("resistance_ratio") and row.get("quantity") not in (None, "volume flow"):
        yield row.finding("resistance_ratio", "nothing for an instrument that is no hood (quantity volume flow)")
    elif row.sound("resistance_ratio") and row.blank("resistance_ratio_standard_uncertainty"):
        yield row.finding("resistance_ratio_standard_uncertainty", "the standard uncertainty of the resistance ratio")
    elif row.blank("resistance_ratio") and row.sound("resistance_ratio_standard_uncertainty"):
        yield row.finding("resistance_ratio_standard_uncertainty", "nothing without resistance_ratio")


def _calibrations(
    rows: Sequence[Row], known: Known, instruments: Mapping[str, Cells], undecided: frozenset[str]
) -> Iterable[Finding]:
    yield from repeated(
        rows, ("tag", "certificate"), lambda key: key in known.calibrations, step=_leave_out_or_correct(rows)
    )
    others = [row for row in rows if row.sound("tag", "laboratory", "certificate")]
    tags = defaultdict(set)
    for row in others:
        tags[row.cells["laboratory"], row.cells["certificate"]].add(row.cells["tag"])
    for row in others:
        certificate = (row.cells["laboratory"], row.cells["certificate"])
        if len(tags[certificate]) > 1 or (
            certificate in known.certificates and (row.cells["tag"], row.cells["certificate"]) not in known.calibrations
        ):
            yield duplicate(
                row, ("certificate",), "a certificate number that the laboratory gave to one calibration only"
            )
    for row in rows:
        yield from names_instrument(row, "tag", instruments, undecided)
        yield from _dates(row, instruments)
        yield from _reference_standards(row, instruments, undecided)


def _leave_out_or_correct(rows: Sequence[Row]) -> str:
    """What to do about a certificate that is on record: to type it again corrects nothing."""
    step = "if it was typed wrong there, withdraw it and record the right one under a number that says so"
    return step if all(row.number is None for row in rows) else f"leave the row out; {step}"


def _dates(row: Row, instruments: Mapping[str, Cells]) -> Iterable[Finding]:
    if not row.sound("calibrated_on"):
        return
    calibrated = date.fromisoformat(row.cells["calibrated_on"])
    for column in ("accepted_on", "due_on", "issued_on"):
        cell = row.get(column)
        if cell is not None and date.fromisoformat(cell) < calibrated:
            yield row.finding(column, f"a date on or after calibrated_on ({calibrated})")
    received = row.get("received_on")
    if received is not None and date.fromisoformat(received) > calibrated:
        yield row.finding("received_on", f"a date on or before calibrated_on ({calibrated})")
    instrument = instruments.get(row.get("tag") or "")
    months = None if instrument is None else instrument.get("interval_months")
    due = row.get("due_on")
    if months is not None and due is not None:
        end = add_months(calibrated, int(months))
        if date.fromisoformat(due) > end:
            yield row.finding("due_on", f"no later date than the calibration interval of {months} months gives ({end})")


def _to_come(rows: Sequence[Row], today: date) -> Iterable[Finding]:
    for row in rows:
        for column in ("calibrated_on", "accepted_on", "received_on", "issued_on"):
            cell = row.get(column)
            if cell is not None and date.fromisoformat(cell) > today:
                yield row.finding(column, f"a date that is not in the future (it is {today})")


def _reference_standards(row: Row, instruments: Mapping[str, Cells], undecided: frozenset[str]) -> Iterable[Finding]:
    typed = row.get("standards")
    if typed is None:
        return
    tags = standards_of(typed)
    is_open = "instruments.csv" in undecided
    unknown = [tag for tag in tags if (tag not in instruments and not is_open) or tag == row.get("tag")]
    if unknown or len(set(tags)) < len(tags) or not tags:
        yield row.finding(
            "standards", "tags of other instruments in instruments.csv or in the records, joined by ;, each once"
        )


def standards_of(cell: str) -> list[str]:
    """Tags of the reference standards in a cell."""
    return [tag.strip() for tag in cell.split(";") if tag.strip()]


def _comparisons(
    rows: Sequence[Row],
    calibrations: Sequence[Row],
    known: Known,
    instruments: Mapping[str, Cells],
    undecided: frozenset[str],
) -> Iterable[Finding]:
    typed = {(row.get("tag"), row.get("certificate")) for row in calibrations}
    # A command names one calibration: that it is on record is said once, not again of each of its comparisons.
    by_command = {(row.get("tag"), row.get("certificate")) for row in calibrations if row.number is None}
    # A calibration whose tag or certificate was found wrong must not make all of its comparisons wrong too.
    doubtful = "calibrations.csv" in undecided or any("tag" in row.bad for row in calibrations)
    for row in rows:
        if row.sound("tag", "certificate"):
            key = (row.cells["tag"], row.cells["certificate"])
            if key in known.calibrations and key in by_command:
                continue
            if key in known.calibrations:
                yield row.finding(
                    "certificate", "a new certificate; the records hold this one, and a certificate is recorded whole"
                )
            elif key not in typed and not doubtful:
                yield row.finding("certificate", f"a certificate of {key[0]} in calibrations.csv")
        instrument = instruments.get(row.get("tag") or "")
        if instrument is not None:
            yield from _units_of_comparison(row, instrument)


def _units_of_comparison(row: Row, instrument: Cells) -> Iterable[Finding]:
    quantity, indicated = instrument.get("quantity"), indication_quantity(instrument)
    yield from unit_known(row, "unit", quantity)
    yield from unit_known(row, "indication_unit", indicated)
    if quantity != indicated and row.blank("indication_unit"):
        yield row.finding("indication_unit", f"the unit of the indication, since the instrument indicates {indicated}")


def _curves(
    sheets: Sheets,
    instruments: Mapping[str, Cells],
    curves: dict[tuple[str, str], FittedCurve],
    unread: frozenset[str],
) -> Iterable[Finding]:
    comparisons: dict[tuple[str, str], list[Row]] = defaultdict(list)
    wrong = "comparisons.csv" in unread or any(row.bad for row in sheets["comparisons.csv"])
    for row in sheets["comparisons.csv"]:
        if row.sound("tag", "certificate"):
            comparisons[row.cells["tag"], row.cells["certificate"]].append(row)
    for row in sheets["calibrations.csv"]:
        if not row.sound("tag", "certificate"):
            continue
        key = (row.cells["tag"], row.cells["certificate"])
        instrument, used = instruments.get(key[0]), comparisons[key]
        if (
            instrument is None
            or not {"quantity", "unit", "resolution"} <= instrument.keys()
            or any(one.bad for one in used)
        ):
            continue
        if not used and wrong:
            continue
        try:
            curves[key] = fit_curve(instrument, [Typed(one.cells) for one in used])
        except CurveError as error:
            yield duplicate(row, ("certificate",), f"comparisons that make a correction curve ({error})")


def _adjustments(sheets: Sheets) -> Iterable[Finding]:
    """Adjusted, and no comparisons as left: there is no curve of the instrument as it is now."""
    adjusted = [row for row in sheets["calibrations.csv"] if row.get("adjustment") == "yes"]
    for row in adjusted if not any(one.bad for one in sheets["comparisons.csv"]) else []:
        own = [one for one in sheets["comparisons.csv"] if _names(one) == _names(row)]
        if own and phase_in_use(one.get("phase") for one in own) == AS_FOUND:
            yield row.finding(
                "adjustment", "no, or comparisons as left: those as found do not hold after an adjustment"
            )


def _names(row: Row) -> tuple[str | None, str | None]:
    return row.get("tag"), row.get("certificate")


_OF_ACCEPTANCE = ("accepted_by", "criterion", "decision_rule")


def _acceptances(
    sheets: Sheets,
    instruments: Mapping[str, Cells],
    curves: Mapping[tuple[str, str], FittedCurve],
    assessments: dict[tuple[str, str], Assessment],
) -> Iterable[Finding]:
    """An acceptance that states its decision rule is judged by it; one that states none is taken over as it is."""
    for row in sheets["calibrations.csv"]:
        if row.blank("accepted_on"):
            for column in _OF_ACCEPTANCE:
                if not row.blank(column) and column not in row.bad:
                    yield row.finding(column, "nothing without accepted_on")
        if row.blank("decision_rule") and not row.blank("judged") and "judged" not in row.bad:
            yield row.finding("judged", "nothing without decision_rule")
        if row.sound("tag", "certificate", "accepted_on", "decision_rule") and not row.bad:
            key = (row.cells["tag"], row.cells["certificate"])
            if key in curves:
                yield from _judged(row, sheets, instruments[key[0]], curves[key], assessments)


def _judged(
    row: Row,
    sheets: Sheets,
    instrument: Cells,
    fitted: FittedCurve,
    assessments: dict[tuple[str, str], Assessment],
) -> Iterable[Finding]:
    if getattr(instrument, "bad", None):
        return
    own = [Typed(one.cells) for one in sheets["comparisons.csv"] if _names(one) == _names(row)]
    rule, judged = row.cells["decision_rule"], row.get("judged") or usual_object(instrument)
    try:
        found = assess(instrument, own, phase_in_use(one["phase"] for one in own), rule, judged, fitted.choice.curve)
    except CalibError as error:
        yield row.finding("decision_rule", f"blank, with the criterion in words ({error})")
        return
    assessments[row.cells["tag"], row.cells["certificate"]] = found
    failures = found.failures()
    if failures:
        yield row.finding(
            "decision_rule",
            f"an acceptance that holds by it; {len(failures)} of {len(own)} comparisons fail ({found.criterion}), "
            f"first {failures[0]}",
        )
