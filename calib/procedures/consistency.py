"""What the rows of an import must hold together: with one another, with the other files, and with the records.

Each function returns every finding; cells that are wrong by themselves have been named before and are passed over here.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

from calib.confirmation.interval import add_months
from calib.errors import CurveError, Finding
from calib.procedures.fit_curve import Cells, FittedCurve, fit_curve, indication_quantity
from calib.procedures.observations import log_findings, logged_values, mean_of, observed_values
from calib.procedures.sheets import Row, Sheets
from calib.quantities import UNITS, known_units, unit

LARGEST_USUAL_FACTOR = 1.2  # common practice, no source: a factor above it wants a reason


@dataclass
class Known:
    """What the records hold already, by the names that people type."""

    instruments: dict[str, Cells] = field(default_factory=dict)
    calibrations: set[tuple[str, str]] = field(default_factory=set)  # (tag, certificate)
    certificates: set[tuple[str, str]] = field(default_factory=set)  # (laboratory, certificate)
    methods: set[str] = field(default_factory=set)
    jobs: set[str] = field(default_factory=set)
    outlets: set[tuple[str, str]] = field(default_factory=set)  # (job, outlet)
    readings: set[tuple[str, str, str, str]] = field(default_factory=set)  # (job, outlet, instrument, time in UTC)


@dataclass(frozen=True)
class Checked:
    """Findings, and the curves that were fitted on the way."""

    findings: tuple[Finding, ...]
    curves: Mapping[tuple[str, str], FittedCurve]  # (tag, certificate) -> curve


def check(sheets: Sheets, known: Known, today: date, unread: frozenset[str] = frozenset()) -> Checked:
    """All findings on the rows of an import, on a day.

    `unread` names files of which something could not be read: what other rows name may stand there, and is not asked for.
    """
    open_names = _open_names(sheets, unread)
    of_instruments = list(_instruments(sheets["instruments.csv"], known))
    # Made after their own check, so that no cell found wrong is taken for right below.
    typed = {row.cells["tag"]: Typed(row.cells, row.bad) for row in sheets["instruments.csv"] if row.sound("tag")}
    instruments: dict[str, Cells] = {**typed, **known.instruments}
    curves: dict[tuple[str, str], FittedCurve] = {}
    findings = [
        *of_instruments,
        *_calibrations(sheets["calibrations.csv"], known, instruments, open_names),
        *_to_come(sheets["calibrations.csv"], today),
        *_comparisons(sheets["comparisons.csv"], sheets["calibrations.csv"], known, instruments, open_names),
        *_curves(sheets, instruments, curves, unread),
        *_repeated(sheets["methods.csv"], ("method",), lambda key: key[0] in known.methods),
        *_repeated(sheets["jobs.csv"], ("job",), lambda key: key[0] in known.jobs),
        *_outlets(sheets["outlets.csv"], known, sheets["jobs.csv"], open_names),
        *_readings(sheets, known, instruments, open_names),
    ]
    return Checked(tuple(findings), curves)


class Typed(dict[str, str | None]):
    """Cells of a row, where what is absent reads None; `bad` names those that were found wrong."""

    def __init__(self, cells: Mapping[str, str], bad: Iterable[str] = ()) -> None:
        super().__init__(cells)
        self.bad = frozenset(bad)

    def __missing__(self, _column: str) -> None:
        return None


# The column of a file whose cells other files refer to.
_NAMED_BY = {
    "instruments.csv": "tag",
    "calibrations.csv": "certificate",
    "methods.csv": "method",
    "jobs.csv": "job",
    "outlets.csv": "outlet",
}


def _open_names(sheets: Sheets, unread: frozenset[str]) -> frozenset[str]:
    """Files in which a name may stand that was not read: one mistake is named once, not in each row that rests on it."""
    wrong = {file for file, column in _NAMED_BY.items() if any(column in row.bad for row in sheets[file])}
    return frozenset(unread | wrong)


def _as_typed(row: Row, columns: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(row.cells[column] for column in columns)


def _repeated(
    rows: Iterable[Row],
    columns: tuple[str, ...],
    recorded: Callable[[tuple[str, ...]], bool],
    key_of: Callable[[Row, tuple[str, ...]], tuple[str, ...]] = _as_typed,
) -> Iterable[Finding]:
    first: dict[tuple[str, ...], Row] = {}
    for row in rows:
        if not row.sound(*columns):
            continue
        key = key_of(row, columns)
        if key in first:
            place = f"{first[key].source} row {first[key].number}"
            yield _duplicate(row, columns, f"each {' and '.join(columns)} once; it stands in {place} already")
        elif recorded(key):
            yield _duplicate(row, columns, "a new one; the records hold it already (leave the row out)")
        else:
            first[key] = row


def same_time(typed: str) -> str:
    """A time as it compares with others, whatever zone it was typed in."""
    return datetime.fromisoformat(typed).astimezone(UTC).isoformat()


def _reading_key(row: Row, _columns: tuple[str, ...]) -> tuple[str, ...]:
    cells = row.cells
    return cells["job"], cells["outlet"], cells["instrument"], same_time(cells["observed_at"])


def _duplicate(row: Row, columns: tuple[str, ...], expected: str) -> Finding:
    # The cell stays: other rows refer to it, and one mistake is named once.
    return Finding(row.source, row.number, columns[-1], row.get(columns[-1]), expected)


def _instruments(rows: Sequence[Row], known: Known) -> Iterable[Finding]:
    yield from _repeated(rows, ("tag",), lambda key: key[0] in known.instruments)
    for row in rows:
        yield from _unit_known(row, "unit", indication_quantity(row.cells))
        if row.sound("range_low", "range_high") and not float(row.cells["range_low"]) < float(row.cells["range_high"]):
            yield row.finding("range_high", f"a number above range_low ({row.cells['range_low']})")
        stability = not (row.blank("stability_percent") and row.blank("stability_absolute"))
        if row.blank("mpe_percent") and row.blank("mpe_absolute") and not stability:
            yield row.finding(
                "mpe_percent", "a maximum permissible error (mpe_percent, mpe_absolute) or stability limits"
            )
        if stability and row.blank("stability_basis"):
            yield row.finding("stability_basis", "what the stability limits rest on")


def _unit_known(row: Row, column: str, quantity: str | None) -> Iterable[Finding]:
    typed = row.get(column)
    if quantity is not None and typed is not None and typed not in UNITS[quantity]:
        yield row.finding(column, f"a unit of {quantity}: one of {', '.join(known_units(quantity))}")


def _calibrations(
    rows: Sequence[Row], known: Known, instruments: Mapping[str, Cells], open_names: frozenset[str]
) -> Iterable[Finding]:
    yield from _repeated(rows, ("tag", "certificate"), lambda key: key in known.calibrations)
    others = [row for row in rows if row.sound("tag", "laboratory", "certificate")]
    tags = defaultdict(set)
    for row in others:
        tags[row.cells["laboratory"], row.cells["certificate"]].add(row.cells["tag"])
    for row in others:
        certificate = (row.cells["laboratory"], row.cells["certificate"])
        if len(tags[certificate]) > 1 or (
            certificate in known.certificates and (row.cells["tag"], row.cells["certificate"]) not in known.calibrations
        ):
            yield _duplicate(
                row, ("certificate",), "a certificate number that the laboratory gave to one calibration only"
            )
    for row in rows:
        yield from _names_instrument(row, "tag", instruments, open_names)
        yield from _dates(row, instruments)
        yield from _reference_standards(row, instruments, open_names)


def _names_instrument(
    row: Row, column: str, instruments: Mapping[str, Cells], open_names: frozenset[str]
) -> Iterable[Finding]:
    tag = row.get(column)
    if tag is not None and tag not in instruments and "instruments.csv" not in open_names:
        yield row.finding(column, "the tag of an instrument in instruments.csv or in the records")


def _dates(row: Row, instruments: Mapping[str, Cells]) -> Iterable[Finding]:
    if not row.sound("calibrated_on"):
        return
    calibrated = date.fromisoformat(row.cells["calibrated_on"])
    for column in ("accepted_on", "due_on"):
        cell = row.get(column)
        if cell is not None and date.fromisoformat(cell) < calibrated:
            yield row.finding(column, f"a date on or after calibrated_on ({calibrated})")
    instrument = instruments.get(row.get("tag") or "")
    months = None if instrument is None else instrument.get("interval_months")
    due = row.get("due_on")
    if months is not None and due is not None:
        end = add_months(calibrated, int(months))
        if date.fromisoformat(due) > end:
            yield row.finding("due_on", f"no later date than the calibration interval of {months} months gives ({end})")


def _to_come(rows: Sequence[Row], today: date) -> Iterable[Finding]:
    for row in rows:
        for column in ("calibrated_on", "accepted_on"):
            cell = row.get(column)
            if cell is not None and date.fromisoformat(cell) > today:
                yield row.finding(column, f"a date that is not in the future (it is {today})")


def _reference_standards(row: Row, instruments: Mapping[str, Cells], open_names: frozenset[str]) -> Iterable[Finding]:
    typed = row.get("standards")
    if typed is None:
        return
    tags = standards_of(typed)
    is_open = "instruments.csv" in open_names
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
    open_names: frozenset[str],
) -> Iterable[Finding]:
    typed = {(row.get("tag"), row.get("certificate")) for row in calibrations}
    # A calibration whose tag or certificate was found wrong must not make all of its comparisons wrong too.
    doubtful = "calibrations.csv" in open_names or any("tag" in row.bad for row in calibrations)
    for row in rows:
        if row.sound("tag", "certificate"):
            key = (row.cells["tag"], row.cells["certificate"])
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
    yield from _unit_known(row, "unit", quantity)
    yield from _unit_known(row, "indication_unit", indicated)
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
            yield _duplicate(row, ("certificate",), f"comparisons that make a correction curve ({error})")


def _outlets(rows: Sequence[Row], known: Known, jobs: Sequence[Row], open_names: frozenset[str]) -> Iterable[Finding]:
    yield from _repeated(rows, ("job", "outlet"), lambda key: key in known.outlets)
    names = known.jobs | {row.cells["job"] for row in jobs if row.sound("job")}
    for row in rows:
        if row.sound("job") and row.cells["job"] not in names and "jobs.csv" not in open_names:
            yield row.finding("job", "a job in jobs.csv or in the records")
        yield from _opening(row)
        yield from _factor(row)
        yield from _design(row)


def _opening(row: Row) -> Iterable[Finding]:
    shape = row.get("shape")
    needed = {"rectangular": ("width", "height"), "round": ("diameter",)}.get(shape or "", ())
    for column in ("width", "height", "diameter"):
        if column in needed and row.blank(column):
            yield row.finding(column, f"a {column} above 0 for a {shape} opening")
        elif shape is not None and column not in needed and not row.blank(column):
            yield row.finding(column, f"nothing for a {shape} opening")
    if not row.blank("outlet_factor") and row.blank("shape"):
        yield row.finding("shape", "rectangular or round, since an outlet factor multiplies the area")
    if any(not row.blank(column) for column in ("width", "height", "diameter")):
        for column, what in (
            ("dimension_unit", "the unit of the dimensions"),
            ("dimension_limit", "the half-width within which the dimensions are known"),
        ):
            if row.blank(column):
                yield row.finding(column, what)


def _factor(row: Row) -> Iterable[Finding]:
    if row.blank("outlet_factor") == row.blank("effective_area"):
        yield row.finding(
            "outlet_factor",
            "either an outlet factor or an effective area (1 with source 'free opening' where there is no outlet)",
        )
        return
    for column in ("outlet_factor", "effective_area"):
        uncertainty = f"{column}_standard_uncertainty"
        if not row.blank(column) and row.blank(uncertainty):
            yield row.finding(uncertainty, f"the standard uncertainty of the {column.replace('_', ' ')}")
        if row.blank(column) and not row.blank(uncertainty):
            yield row.finding(uncertainty, f"nothing without {column}")
    if not row.blank("effective_area") and row.blank("effective_area_unit"):
        yield row.finding("effective_area_unit", "the unit of the effective area")
    factor = row.get("outlet_factor")
    if factor is not None and float(factor) > LARGEST_USUAL_FACTOR and row.blank("outlet_factor_reason"):
        yield row.finding(
            "outlet_factor", f"a factor above 0, up to {LARGEST_USUAL_FACTOR}, or the reason in outlet_factor_reason"
        )


def _design(row: Row) -> Iterable[Finding]:
    if not row.blank("design_flow"):
        for column in ("flow_unit", "tolerance_percent"):
            if row.blank(column):
                yield row.finding(column, "a value beside design_flow")
    elif not row.blank("tolerance_percent"):
        yield row.finding("tolerance_percent", "nothing without design_flow")


def _readings(
    sheets: Sheets, known: Known, instruments: Mapping[str, Cells], open_names: frozenset[str]
) -> Iterable[Finding]:
    rows = sheets["readings.csv"]
    columns = ("job", "outlet", "instrument", "observed_at")
    yield from _repeated(rows, columns, lambda key: key in known.readings, _reading_key)
    methods = known.methods | {row.cells["method"] for row in sheets["methods.csv"] if row.sound("method")}
    jobs = known.jobs | {row.cells["job"] for row in sheets["jobs.csv"] if row.sound("job")}
    outlets = known.outlets | {
        (row.cells["job"], row.cells["outlet"]) for row in sheets["outlets.csv"] if row.sound("job", "outlet")
    }
    no_outlet = "outlets.csv" in open_names or any("job" in row.bad for row in sheets["outlets.csv"])
    for row in rows:
        if row.sound("job") and row.cells["job"] not in jobs:
            if "jobs.csv" not in open_names:
                yield row.finding("job", "a job in jobs.csv or in the records")
        elif row.sound("job", "outlet") and (row.cells["job"], row.cells["outlet"]) not in outlets and not no_outlet:
            yield row.finding("outlet", f"an outlet of job {row.cells['job']} in outlets.csv or in the records")
        if row.sound("method") and row.cells["method"] not in methods and "methods.csv" not in open_names:
            yield row.finding("method", "a method in methods.csv or in the records")
        yield from _names_instrument(row, "instrument", instruments, open_names)
        instrument = instruments.get(row.get("instrument") or "")
        if instrument is not None:
            yield from _observations(row, instrument)


def _observations(row: Row, instrument: Cells) -> Iterable[Finding]:
    quantity = instrument.get("quantity")
    if quantity is not None and quantity != "air velocity":
        yield row.finding("instrument", f"an instrument for air velocity (this one is for {quantity})")
        return
    if row.blank("indication") and row.blank("observations") and row.blank("log_file"):
        yield row.finding("indication", "an indication, observations, or a log file")
        return
    if not row.blank("observations") and not row.blank("log_file"):
        yield row.finding("log_file", "nothing beside observations: the log holds the observations")
        return
    yield from _unit_known(row, "unit", indication_quantity(instrument))
    yield from _log(row)
    declared = instrument.get("repeatability") is not None or "repeatability" in getattr(instrument, "bad", ())
    if row.blank("log_file") and _count(row) < 2 and not declared:
        yield row.finding(
            "observations", "two observations or more, since the instrument declares no repeatability for one alone"
        )
    yield from _mean_as_shown(row, instrument)


def _count(row: Row) -> int:
    observations = row.get("observations")
    if row.blank("observations"):
        return 1
    return 2 if observations is None else len(observed_values(observations))


def _log(row: Row) -> Iterable[Finding]:
    name = row.get("log_file")
    if name is None:
        return
    # In an import the log lies beside readings.csv, and nowhere else: a sheet must not make the program read any file.
    if row.number is not None and Path(name).name != name:
        yield row.finding("log_file", "the name of a file in the folder of readings.csv")
        return
    path = Path(row.source).parent / name if row.number is not None else Path(name)
    try:
        content = path.read_bytes()
    except OSError as error:
        yield row.finding("log_file", f"a file that can be read ({error.strerror})")
        return
    wrong = log_findings(str(path), content)
    yield from wrong
    if wrong:
        row.bad.add("log_file")
    else:
        row.log = content


def _mean_as_shown(row: Row, instrument: Cells) -> Iterable[Finding]:
    typed, step, own = row.get("unit"), instrument.get("resolution"), instrument.get("unit")
    indicated = indication_quantity(instrument)
    values = observed_values(row.cells["observations"]) if row.sound("observations") else []
    values = logged_values(row.log) if row.log is not None else values
    if not row.sound("indication") or not values or typed is None or step is None or own is None or indicated is None:
        return
    mean = mean_of(values)
    allowed = unit(indicated, own).difference_to_si(float(step))
    apart = unit(indicated, typed).difference_to_si(abs(float(row.cells["indication"]) - mean))
    # Compared after a stated rounding: a difference of one step, to nine digits, agrees.
    if apart > allowed * (1 + 1e-9):
        yield row.finding(
            "indication", f"the mean of the observations ({mean:.6g}) to within the resolution of {step} {own}"
        )
