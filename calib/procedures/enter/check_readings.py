"""What a reading's cells must hold together with its instrument, its probe, its outlet, its traverse and the air."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import mode

from calib.airflow.traverse import point_counts, spoken, traverse
from calib.counted import count_of
from calib.errors import CalibError, Finding
from calib.measurement.way import ProbeUse, Way
from calib.measurement.ways import QUANTITIES, THROTTLED, WAYS, way_of
from calib.procedures.certificate.fit_curve import indication_quantity
from calib.procedures.enter.refusal_on_record import REFUSAL_NUMBER, refusal_told
from calib.procedures.on_record.way_of_instrument import expected_of_probe
from calib.procedures.typed.cells import same_revision, same_time
from calib.procedures.typed.columns import DECLARED, FILES
from calib.procedures.typed.declaration import TAKEN_BACK, RecordNames
from calib.procedures.typed.observations import log_findings, logged_values, mean_of, observed_values
from calib.procedures.typed.rows_together import LEAVE_OUT, KnownNames, duplicate, repeated, unit_known
from calib.procedures.typed.section import section_from
from calib.procedures.typed.sheets import Cells, TypedRow
from calib.quantities import unit
from calib.records.tables.readings import Reading
from calib.records.words import DUCT, OUTLET

_TIMES_THE_RANGE = 100  # beyond which a value is a slip of typing
_NEVER_NEGATIVE = ("air velocity", "volume flow")
_ONE_KIND = ("indication", "observations", "log_file")
_KEY, _NAMES = FILES["readings.csv"].key, FILES["readings.csv"].must_name

_ButOne = tuple[str | None, ...]  # a key with one of its names left out


@dataclass(frozen=True)
class _Traverses:
    """Rows of traverses.csv."""

    of_readings: Mapping[RecordNames, Sequence[TypedRow]]
    strays: Mapping[
        _ButOne, Sequence[TypedRow]
    ]  # rows that no reading has as they were typed: with one name changed it may
    unread: bool  # whether there may be rows that could not be read


def _leave_out_or_dismiss(row: TypedRow, on_record: Cells) -> str:
    """What to do about a reading that is on record: one that the gate refused may have been a slip."""
    refusal = on_record.get(REFUSAL_NUMBER) if on_record.get(TAKEN_BACK) is None else None
    return LEAVE_OUT if refusal is None else f"{LEAVE_OUT}; it is {refusal_told(row.cells['job'], refusal)}"


def reading_findings(named: KnownNames) -> Iterable[Finding]:
    """All findings on readings and traverses."""
    rows = named.sheets["readings.csv"]
    yield from repeated(named, "readings.csv", step=_leave_out_or_dismiss)
    traversing = {reading_key(row) for row in rows if row.sound(*_NAMES) and not row.blank("traverse_rule")}
    traverses = _traverses(named, traversing)
    for row in rows:
        yield from _reading(row, named, traverses)
    if traverses.of_readings and "readings.csv" not in named.unread:
        yield from _without_reading(traverses.of_readings, traversing, {_names_of(row) for row in rows})


def reading_key(row: TypedRow) -> RecordNames:
    """What tells one reading from another."""
    return DECLARED[Reading].compared(row.cells.get(column, "") for column in _KEY)


def _traverses(named: KnownNames, traversing: set[RecordNames]) -> _Traverses:
    of_readings: dict[RecordNames, list[TypedRow]] = defaultdict(list)
    strays: dict[_ButOne, list[TypedRow]] = defaultdict(list)
    for row in named.sheets["traverses.csv"]:
        if row.sound(*_NAMES):
            of_readings[reading_key(row)].append(row)
        if _names_of(row) not in traversing:
            for but_one in _but_one(_names_of(row)):
                strays[but_one].append(row)
    return _Traverses(of_readings, strays, "traverses.csv" in named.unread)


def _names_of(row: TypedRow) -> _ButOne:
    """The key of a reading or of a point's row; None for a cell that was found wrong."""
    moment = row.get("observed_at")
    at = None if moment is None else same_time(moment)
    return (*(row.get(column) for column in _NAMES[:-1]), at, same_revision(row.get("revision") or ""))


def _but_one(names: _ButOne) -> list[_ButOne]:
    """Each of the names left out in turn."""
    return [(*names[:place], None, *names[place + 1 :]) for place in range(len(names))]


def _reading(row: TypedRow, named: KnownNames, traverses: _Traverses) -> Iterable[Finding]:
    yield from named.unknown(row, "readings.csv", "job")
    outlet = named.cells("outlets.csv").get((row.get("job") or "", row.get("outlet") or ""))
    if _job_known(row, named):
        yield from named.unknown(row, "readings.csv", "job", "outlet")
    yield from named.unknown(row, "readings.csv", "method")
    yield from named.unknown(row, "readings.csv", "instrument")
    instrument = named.instruments.get(row.get("instrument") or "")
    if instrument is None:
        return
    quantity = instrument.get("quantity")
    if quantity is not None and quantity not in QUANTITIES:
        yield row.finding("instrument", f"an instrument for {', '.join(QUANTITIES)} (this one is for {quantity})")
        return
    yield from _place(row, instrument, outlet)
    if not row.sound("instrument"):  # found out of place: the other cells are those of the right one
        return
    if quantity is not None:
        yield from _pattern(row, instrument, named.cells("methods.csv").get((row.get("method") or "",)))
        yield from _air(row, instrument, named)
    yield from _throttled(row, instrument)
    if row.blank("traverse_rule"):
        yield from _observations(row, instrument)
    elif row.sound("traverse_rule"):
        yield from _traverse(row, instrument, outlet, traverses)


def _job_known(row: TypedRow, named: KnownNames) -> bool:
    return (row.get("job"),) in named.cells("jobs.csv")


def _place(row: TypedRow, instrument: Cells, outlet: Cells | None) -> Iterable[Finding]:
    way = _way(instrument)
    if outlet is None or way is None or "place" in _bad(outlet):
        return
    place = outlet["place"] or OUTLET
    if place in way.not_at:
        yield row.finding("instrument", way.not_at[place])
    if way.is_flow:
        return
    factors = ("outlet_factor", "effective_area", "found_factor")
    if place != DUCT and all(outlet[column] is None for column in factors) and not _bad(outlet) & set(factors):
        yield row.finding(
            "instrument", "one that indicates a flow: the outlet has no outlet factor, effective area or found factor"
        )


def _pattern(row: TypedRow, instrument: Cells, method: Cells | None) -> Iterable[Finding]:
    """A method that is declared for one way of holding the instrument is for that way only."""
    pattern = None if method is None else method["pattern"]
    if pattern is None or "traverse_rule" in row.bad:
        return
    way = _way(instrument)
    own = None if way is None else way.pattern
    used = own if row.blank("traverse_rule") else "traverse"
    if used is not None and pattern != used:
        yield row.finding("method", f"a method with the pattern {used} (this one has {pattern})")
    elif used is None and pattern in ("traverse", *(each.pattern for each in WAYS)):
        yield row.finding("method", f"a method for what was done (this one has the pattern {pattern})")


def _air(row: TypedRow, instrument: Cells, named: KnownNames) -> Iterable[Finding]:
    way = _way(instrument)
    if way is None:
        return
    if row.blank("conditions") and way.needs_air:
        yield row.finding("conditions", f"the conditions of the air, since the instrument indicates {way.indicates}")
    elif _job_known(row, named):
        yield from named.unknown(row, "readings.csv", "job", "conditions")
    yield from _probe(row, way, named)


def _bad(cells: Cells) -> frozenset[str]:
    return getattr(cells, "bad", frozenset())


def _way(instrument: Cells) -> Way | None:
    return way_of(instrument.get("quantity"), instrument.get("density_effect"))


def _probe(row: TypedRow, way: Way, named: KnownNames) -> Iterable[Finding]:
    # A meter calibrated together with its probe may name it: a pair on record must be used together.
    if way.probe is ProbeUse.NEEDED and row.blank("probe"):
        yield row.finding("probe", "the tag of the probe whose velocity pressure was indicated")
    elif way.probe is ProbeUse.NONE and not row.blank("probe"):
        yield row.finding("probe", "nothing: the instrument indicates no velocity pressure")
    yield from named.unknown(row, "readings.csv", "probe")
    probe = named.instruments.get(row.get("probe") or "")
    expected = None if probe is None else expected_of_probe(probe)
    if expected is not None:
        yield row.finding("probe", expected)


def _throttled(row: TypedRow, instrument: Cells) -> Iterable[Finding]:
    if not row.sound("throttled_observations"):
        return
    way = _way(instrument)
    if (way is not None and way.throttled is None) or not row.blank("traverse_rule"):
        yield row.finding("throttled_observations", f"nothing: only a {THROTTLED} has a throttle")
    elif instrument.get("resistance_ratio") is None and "resistance_ratio" not in _bad(instrument):
        yield row.finding("throttled_observations", f"nothing: no resistance_ratio is on record for the {THROTTLED}")
    elif not row.blank("log_file"):
        yield row.finding("log_file", "nothing beside throttled_observations: the open ones stand in observations")
    elif row.sound("observations") or row.sound("indication"):
        yield from _pair(row, instrument)


def _pair(row: TypedRow, instrument: Cells) -> Iterable[Finding]:
    shown = row.get("observations") or row.cells["indication"]
    opened, throttled = (mean_of(observed_values(values)) for values in (shown, row.cells["throttled_observations"]))
    ratio = instrument.get("resistance_ratio")
    lowest = None if ratio is None else opened / float(ratio) ** 0.5
    if not (throttled <= opened and (lowest is None or throttled > lowest)):
        least = "" if lowest is None else f" and above {lowest:.6g} (the open one by the root of the resistance ratio)"
        yield row.finding("throttled_observations", f"flows not above the open one ({opened:.6g}){least}")
    elif len(observed_values(row.cells["throttled_observations"])) < 2 and not _declares(instrument):
        yield row.finding("throttled_observations", _TWO)


_TWO = "two observations or more, since the instrument declares no repeatability for one alone"


def _declares(instrument: Cells) -> bool:
    return instrument.get("repeatability") is not None or "repeatability" in _bad(instrument)


def _traverse(row: TypedRow, instrument: Cells, outlet: Cells | None, traverses: _Traverses) -> Iterable[Finding]:
    for column in _ONE_KIND:
        if row.sound(column):
            yield row.finding(column, "nothing beside traverse_rule: the points stand in traverses.csv")
    yield from unit_known(row, "unit", indication_quantity(instrument))
    way = _way(instrument)
    if way is not None and way.not_traversed is not None:
        yield row.finding("traverse_rule", f"nothing: {way.not_traversed}")
        return
    for column in ("traverse_lines", "traverse_points"):
        if row.blank(column):
            yield row.finding(column, "how many lines, and how many points on each, beside traverse_rule")
    if outlet is None or not row.sound("traverse_rule", "traverse_lines", "traverse_points"):
        return
    if outlet["shape"] is None:
        if "shape" not in _bad(outlet):
            yield row.finding("traverse_rule", "a traverse of a section: no shape is on record for this place")
        return
    wrong = list(_counts(row, str(outlet["shape"])))
    yield from wrong
    if not wrong and row.sound(*_NAMES):
        yield from _points(row, instrument, outlet, traverses)


def _counts(row: TypedRow, shape: str) -> Iterable[Finding]:
    rule = row.cells["traverse_rule"]
    for column, possible in zip(("traverse_lines", "traverse_points"), point_counts(shape, rule), strict=True):
        if int(row.cells[column]) not in possible:
            yield row.finding(column, f"for {rule} in a {shape} section: {spoken(possible)}")


def _points(row: TypedRow, instrument: Cells, outlet: Cells, traverses: _Traverses) -> Iterable[Finding]:
    try:
        sizes = (outlet["width"], outlet["height"], outlet["diameter"])
        section = section_from(str(outlet["shape"]), sizes, str(outlet["dimension_unit"]))
        expected = {
            (place.line, place.point)
            for place in traverse(
                section, row.cells["traverse_rule"], int(row.cells["traverse_lines"]), int(row.cells["traverse_points"])
            )
        }
    except CalibError:  # sizes that were found wrong in outlets.csv
        return
    rows = traverses.of_readings.get(reading_key(row), ())
    there: dict[tuple[int, int], TypedRow] = {}
    for row_of_point in rows:
        yield from _point(row_of_point, expected, there)
    yield from _missing(row, expected - there.keys(), rows, traverses)
    yield from _passes(rows, instrument)
    for row_of_point in rows:
        yield from _slips(row_of_point, "indications", instrument, row.get("unit"))


def _point(row: TypedRow, expected: set[tuple[int, int]], there: dict[tuple[int, int], TypedRow]) -> Iterable[Finding]:
    if not row.sound("line", "point"):
        return
    line, point = place = (int(row.cells["line"]), int(row.cells["point"]))
    on_line = [its_point for its_line, its_point in expected if its_line == line]
    if place in there:
        first = there[place]
        yield row.finding("point", f"each point once; it stands in {first.source} row {first.row_number} already")
    elif not on_line:
        yield row.finding("line", f"a line of the rule: 1 to {max(expected)[0]}")
    elif point not in on_line:
        yield row.finding("point", f"a point of the rule: 1 to {max(on_line)} on line {line}")
    else:
        there[place] = row


def _missing(
    row: TypedRow, missing: set[tuple[int, int]], rows: Sequence[TypedRow], traverses: _Traverses
) -> Iterable[Finding]:
    """Points that no row has, but for those whose rows are named for another mistake."""
    strays = [stray for names in _but_one(reading_key(row)) for stray in traverses.strays.get(names, ())]
    elsewhere = {
        (int(stray.cells["line"]), int(stray.cells["point"])) for stray in strays if stray.sound("line", "point")
    }
    unplaced = sum(not point.sound("line", "point") for point in (*rows, *strays))
    absent = sorted(missing - elsewhere)
    if len(absent) > unplaced and not traverses.unread:
        named = ", ".join(f"{line}/{point}" for line, point in absent[:5])
        more = f" and {len(absent) - 5} more" if len(absent) > 5 else ""
        yield duplicate(row, ("traverse_rule",), f"all points in traverses.csv: no line/point {named}{more}")


def _passes(rows: Sequence[TypedRow], instrument: Cells) -> Iterable[Finding]:
    counted = [(row, len(observed_values(row.cells["indications"]))) for row in rows if row.sound("indications")]
    if not counted:
        return
    usual = mode(count for _, count in counted)
    values = count_of(usual, "value", "values")
    for row, count in counted:
        if count != usual:
            yield row.finding("indications", f"{values}, one for each pass, as at the other points")
    if usual < 2 and not _declares(instrument):
        first = next(row for row, count in counted if count == usual)
        yield first.finding("indications", _TWO.replace("observations", "passes"))


def _without_reading(
    traversed: Mapping[RecordNames, Sequence[TypedRow]], traversing: set[RecordNames], of_readings: set[_ButOne]
) -> Iterable[Finding]:
    """Points of a traverse belong to a reading; those of one traverse that belong to none are named once."""
    if any(names.count(None) > 1 for names in of_readings):
        return
    near = {names for reading in traversing for names in _but_one(reading)}
    for key, rows in traversed.items():
        but_one = _but_one(key)
        # A reading of which one name was found wrong may be theirs.
        if key in traversing or of_readings.intersection(but_one):
            continue
        # One name that is not the reading's is the one that is wrong.
        apart = [column for column, names in zip(_KEY, but_one, strict=True) if names in near]
        more = "" if len(rows) == 1 else f" (for this and {len(rows) - 1} more row{'s' if len(rows) > 2 else ''})"
        expected = f"a reading with traverse_rule of this job, outlet, instrument and time{more}"
        yield duplicate(rows[0], (apart[0] if apart else "observed_at",), expected)


def _observations(row: TypedRow, instrument: Cells) -> Iterable[Finding]:
    for column in ("traverse_lines", "traverse_points"):
        if row.sound(column):
            yield row.finding(column, "nothing without traverse_rule")
    if all(row.blank(column) for column in _ONE_KIND):
        yield row.finding("indication", "an indication, observations, or a log file")
        return
    if not row.blank("observations") and not row.blank("log_file"):
        yield row.finding("log_file", "nothing beside observations: the log holds the observations")
        return
    way = _way(instrument)
    if way is not None and way.each_by_itself and not row.blank("log_file"):
        yield row.finding("log_file", "observations: of pressures each becomes a velocity before the mean is taken")
        return
    yield from unit_known(row, "unit", indication_quantity(instrument))
    yield from _log(row)
    for column in ("indication", "observations", "throttled_observations"):
        yield from _slips(row, column, instrument, row.get("unit"))
    if row.blank("log_file") and _count(row) < 2 and not _declares(instrument):
        yield row.finding("observations", _TWO)
    yield from _mean_as_shown(row, instrument)


def _slips(row: TypedRow, column: str, instrument: Cells, symbol: str | None) -> Iterable[Finding]:
    """Values that no such instrument shows: slips of typing, and nothing for the gate. A negative pressure is a reading."""
    slip = slip_among(observed_values(row.cells[column]), symbol, instrument) if row.sound(column) and symbol else None
    if slip is not None:
        yield row.finding(column, slip)


def slip_among(values: Sequence[float], symbol: str, instrument: Cells) -> str | None:
    """What was expected of values [symbol] where the instrument cannot show one of them; None where it may, or is not known."""
    indicated, own = indication_quantity(instrument), instrument.get("unit")
    ends = [instrument.get(name) for name in ("range_low", "range_high")]
    if indicated is None or own is None or None in ends:
        return None
    if indicated in _NEVER_NEGATIVE and min(values) < 0:
        return f"{indicated.removeprefix('air ').removeprefix('volume ')} values of 0 or above"
    typed_in = unit(indicated, symbol)
    in_si = [unit(indicated, own).to_si(float(str(end))) for end in ends]
    farthest = max(values, key=lambda value: abs(typed_in.to_si(value)))
    if not any(in_si) or abs(typed_in.to_si(farthest)) < _TIMES_THE_RANGE * max(map(abs, in_si)):
        return None
    low, high = ends if symbol == own else (f"{typed_in.from_si(end):.4g}" for end in in_si)
    return (
        f"values within the instrument's range or near it, {low} to {high} {symbol}: {farthest:g} {symbol} is over a hundred times "
        "that; was another unit meant?"
    )


def _count(row: TypedRow) -> int:
    observations = row.get("observations")
    if row.blank("observations"):
        return 1
    return 2 if observations is None else len(observed_values(observations))


def _log(row: TypedRow) -> Iterable[Finding]:
    name = row.get("log_file")
    if name is None:
        return
    # In an import the log lies beside readings.csv, and nowhere else.
    if row.row_number is not None and Path(name).name != name:
        yield row.finding("log_file", "the name of a file in the folder of readings.csv")
    elif row.log is None or row.log.expected is not None:
        yield row.finding("log_file", "a file that comes with the row" if row.log is None else str(row.log.expected))
    else:
        wrong = log_findings(row.log.source, row.log.content)
        yield from wrong
        if wrong:
            row.bad.add("log_file")


def _mean_as_shown(row: TypedRow, instrument: Cells) -> Iterable[Finding]:
    typed, step, own = row.get("unit"), instrument.get("resolution"), instrument.get("unit")
    indicated = indication_quantity(instrument)
    values = observed_values(row.cells["observations"]) if row.sound("observations") else []
    if row.log is not None and row.sound("log_file") and "log_file" not in row.bad:
        values = logged_values(row.log.content)
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
