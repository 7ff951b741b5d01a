"""Cells that may be right and are unusual: said of a file, and written all the same; asked of whoever typed them by hand.

What cannot be is a finding of the cell's own check.

What is usual stands with each column (`TypedColumn.odd`); an expanded uncertainty is held against its reference value and against
the instrument's range. Common practice, no source.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby

from calib.errors import Doubt
from calib.procedures.certificate.fit_curve import indication_quantity
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import RecordNames
from calib.procedures.typed.kinds import WITHOUT_STATE, lacks_state
from calib.procedures.typed.observations import mean_of, observed_values
from calib.procedures.typed.section import section_from
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow
from calib.quantities import unit
from calib.records.words import DUCT

_NAMED = 3  # cells told of one column
_LARGEST_SHARE = 0.2  # of a reference value, that an expanded uncertainty usually has at most
_SMALLEST_SHARE = 1e-4
_LOWEST_PART = 0.1  # of the range, above which that is asked
_SHARES_OF_REFERENCE = (0.5, 2.0)  # that an indication usually is
_SIDES = ("width", "height", "diameter")
_USUAL_SIDE = (0.03, 5.0)  # of an opening or a duct [m]
_LARGEST_RATIO = 2.0  # of the passes at one outlet
_LARGEST_STEP = 3.0  # of a point of a traverse over the largest of those before it
_BEFORE_A_STEP = 2  # points, before that is asked: the first ones are by the wall
_FASTEST = 15.0  # at the face of an outlet [m/s]
_SHARES_OF_DESIGN = (0.2, 5.0)
_FLOWING = ("air velocity", "volume flow")


def odd_cells(doubts: Iterable[Doubt]) -> Iterator[str]:
    """A line for each odd cell, the first few of each column, and how many more there are."""
    for (_, column), each in groupby(doubts, lambda doubt: (doubt.source, doubt.column)):
        odd = list(each)
        yield from map(str, odd[:_NAMED])
        if len(odd) > _NAMED:
            yield f"{odd[0].source}, {column}: {len(odd) - _NAMED} more cells are as unusual"


def doubts_of(
    sheets: Sheets, instruments: Mapping[str, Cells], outlets: Mapping[RecordNames, Cells]
) -> Iterator[Doubt]:
    """Each odd cell of checked sheets, column by column."""
    for name, columns in FILES.items():
        for column in columns:
            if column.odd is not None:
                rows = [row for row in sheets.get(name, ()) if row.sound(column.name)]
                yield from _doubts(column.name, ((row, column.odd(row.cells[column.name])) for row in rows))
    kinds = [row for row in sheets.get("instruments.csv", ()) if row.source is not None and lacks_state(row.cells)]
    yield from _doubts("kind", ((row, WITHOUT_STATE) for row in kinds))
    compared = ((row, _odd_uncertainty(row, instruments)) for row in sheets.get("comparisons.csv", ()))
    yield from _doubts("expanded_uncertainty", compared)
    shown = ((row, _odd_indication(row, instruments)) for row in sheets.get("comparisons.csv", ()))
    yield from _doubts("indication", shown)
    for side in _SIDES:
        sides = ((row, _odd_side(row, side)) for row in sheets.get("outlets.csv", ()) if row.sound(side))
        yield from _doubts(side, sides)
    readings = sheets.get("readings.csv", ())
    for repeated in ("observations", "throttled_observations"):
        passes = (
            (row, odd_passes(row.cells[repeated], instruments[row.cells["instrument"]]))
            for row in readings
            if row.sound(repeated)
        )
        yield from _doubts(repeated, passes)
    points = sheets.get("traverses.csv", ())
    of_points = ((row, odd_passes(row.cells["indications"], instruments[row.cells["instrument"]])) for row in points)
    yield from _doubts("indications", of_points)
    at = ((row, outlets.get((row.cells["job"], row.cells["outlet"]))) for row in readings)
    means = _means_of_traverses(readings, points)
    flows = (
        (row, _odd_flow(row, instruments[row.cells["instrument"]], outlet, means.get(_of_reading(row))))
        for row, outlet in at
        if outlet is not None
    )
    yield from _doubts("outlet", flows)


def _doubts(column: str, said_of: Iterable[tuple[TypedRow, str | None]]) -> Iterator[Doubt]:
    for row, said in said_of:
        if said is not None:
            yield Doubt(row.source, row.row_number, column, row.cells[column], said)


def _of_reading(row: TypedRow) -> RecordNames:
    """What a reading and the points of its traverse have in common, as they were typed."""
    return tuple(row.cells[column] for column in FILES["readings.csv"].must_name)


def _means_of_traverses(readings: Sequence[TypedRow], points: Sequence[TypedRow]) -> dict[RecordNames, float]:
    """The mean over the points of each traverse, in the unit typed."""
    values: dict[RecordNames, list[float]] = {_of_reading(row): [] for row in readings if row.sound("traverse_rule")}
    for row in points:
        values.get(_of_reading(row), []).extend(observed_values(row.cells["indications"]))
    return {names: mean_of(typed) for names, typed in values.items() if typed}


def _odd_uncertainty(row: TypedRow, instruments: Mapping[str, Cells]) -> str | None:
    """An expanded uncertainty that is large or small beside a reference value well within the range, or above it anywhere."""
    instrument = instruments[row.cells["tag"]]
    own = unit(str(instrument["quantity"]), row.cells["unit"])
    reference, expanded = (abs(float(row.cells[name])) for name in ("reference", "expanded_uncertainty"))
    if instrument.get("indication_quantity") is None:
        highest = unit(str(instrument["quantity"]), str(instrument["unit"])).to_si(float(str(instrument["range_high"])))
        if own.to_si(reference) < _LOWEST_PART * abs(highest) and expanded <= reference:
            return None
    if not reference or _SMALLEST_SHARE <= expanded / reference <= _LARGEST_SHARE:
        return None
    percent = f"{100 * expanded / reference:.3g} % of the reference value {row.cells['reference']}"
    return f"it is {percent}; usually {100 * _SMALLEST_SHARE:g} to {100 * _LARGEST_SHARE:g} %"


def _odd_indication(row: TypedRow, instruments: Mapping[str, Cells]) -> str | None:
    """An indication well within the range that is far from its reference value: often a decimal point that slipped."""
    instrument = instruments[row.cells["tag"]]
    if instrument.get("indication_quantity") is not None:
        return None
    quantity = str(instrument["quantity"])
    highest, reference, shown = (
        abs(unit(quantity, symbol).to_si(float(value)))
        for symbol, value in (
            (str(instrument["unit"]), str(instrument["range_high"])),
            (row.cells["unit"], row.cells["reference"]),
            (row.get("indication_unit") or row.cells["unit"], row.cells["indication"]),
        )
    )
    low, high = _SHARES_OF_REFERENCE
    if max(reference, shown) < _LOWEST_PART * highest or low * reference <= shown <= high * reference:
        return None
    told = f"it is {shown / reference:.3g} times its reference value" if reference else "its reference value is"
    return f"{told} {row.cells['reference']} {row.cells['unit']}; usually {low:g} to {high:g} times that"


def _odd_side(row: TypedRow, side: str) -> str | None:
    """A side of an opening that is very short or long: often another unit than the one typed."""
    length = unit("length", row.cells["dimension_unit"]).to_si(float(row.cells[side]))
    low, high = _USUAL_SIDE
    return (
        None if low <= length <= high else f"it is {1000 * length:.4g} mm; usually {1000 * low:g} to {1000 * high:g} mm"
    )


def odd_passes(typed: str, instrument: Cells) -> str | None:
    """Passes at one place that differ many-fold: often a decimal point that slipped. Pressures go with the square of a velocity."""
    values = observed_values(typed)
    low, high = min(values), max(values)
    is_pressure = indication_quantity(instrument) not in _FLOWING
    if low < 0 or high <= 0 or (is_pressure and low == 0):
        return None
    largest = _LARGEST_RATIO**2 if is_pressure else _LARGEST_RATIO
    usual = f"usually less than {largest:g} times"
    if low == 0:
        return f"a pass is 0 beside one of {high:g}; {usual}"
    return None if high / low <= largest else f"the largest pass is {high / low:.3g} times the smallest; {usual}"


def odd_point(typed: str, before: Sequence[str], instrument: Cells) -> str | None:
    """A point far above all that were typed before it in this pass of a traverse."""
    value, highest = float(typed), max(map(float, before), default=0.0)
    largest = _LARGEST_STEP if indication_quantity(instrument) in _FLOWING else _LARGEST_STEP**2
    if len(before) < _BEFORE_A_STEP or highest <= 0 or value <= largest * highest:
        return None
    return f"it is {value / highest:.3g} times the largest before it in this pass; usually less than {largest:g} times"


def _odd_flow(row: TypedRow, instrument: Cells, outlet: Cells, of_traverse: float | None) -> str | None:
    """A face velocity that is no outlet's, or a flow far from the design; both as indicated, before any correction."""
    shown, is_velocity = _shown(row, instrument, of_traverse), instrument["quantity"] == "air velocity"
    if shown is None:
        return None
    if is_velocity and outlet["place"] != DUCT and shown > _FASTEST:
        return f"{shown:.3g} m/s were indicated at its face; usually less than {_FASTEST:g} m/s"
    area, design = _area(outlet) if is_velocity else 1.0, outlet["design_flow"]
    if area is None or design is None:
        return None
    share = shown * area / unit("volume flow", str(outlet["flow_unit"])).to_si(float(design))
    low, high = _SHARES_OF_DESIGN
    if low <= share <= high:
        return None
    return f"about {share:.2g} times its design flow was indicated; usually {low:g} to {high:g} times"


def _shown(row: TypedRow, instrument: Cells, of_traverse: float | None) -> float | None:
    """The mean that an instrument for velocity or flow showed of that itself [SI]."""
    itself = instrument.get("indication_quantity") in (None, instrument["quantity"])
    if not itself or instrument["quantity"] not in _FLOWING:
        return None
    typed = row.get("indication") or row.get("observations")
    mean = mean_of(observed_values(typed)) if typed is not None and of_traverse is None else of_traverse
    return None if mean is None else unit(str(instrument["quantity"]), row.cells["unit"]).to_si(mean)


def _area(outlet: Cells) -> float | None:
    """What a velocity is multiplied by there [m2], where the outlet itself says."""
    if outlet["effective_area"] is not None:
        return unit("area", str(outlet["effective_area_unit"])).to_si(float(str(outlet["effective_area"])))
    if outlet["shape"] is None or (outlet["place"] != DUCT and outlet["outlet_factor"] is None):
        return None
    sizes = (outlet["width"], outlet["height"], outlet["diameter"])
    area = section_from(str(outlet["shape"]), sizes, str(outlet["dimension_unit"])).area
    return area * float(outlet["outlet_factor"] or 1)
