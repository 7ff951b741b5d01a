"""What the rows of a job must hold together: outlets and ducts, designs, rooms, conditions of the air, readings."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from calib.errors import Finding, Step
from calib.procedures.certificate.fit_curve import indication_quantity
from calib.procedures.enter.check_limits import limit_findings
from calib.procedures.enter.check_readings import reading_findings
from calib.procedures.enter.check_revisions import revision_of
from calib.procedures.enter.check_sources import source_findings
from calib.procedures.enter.check_stages import StagesOnRecord, stage_findings
from calib.procedures.measure.air import (
    ALTITUDE,
    HUMIDITIES,
    PRESSURES,
    TEMPERATURE,
    WET_BULB,
    missing_quantities,
)
from calib.procedures.on_record.flow_limits import IN_FLOWS, LIMITS_TYPED
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.rows_together import KnownNames, TypedCells, duplicate, repeated, unit_known
from calib.procedures.typed.sheets import Cells, TypedRow
from calib.quantities import unit
from calib.records.words import DUCT, MEASURED_AS, THIS_TYPE

LARGEST_USUAL_FACTOR = 1.2  # common practice, no source: a factor above it wants a reason

_OF_A_FACTOR = (
    "outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source", "outlet_factor_reason",
    "effective_area", "effective_area_unit", "effective_area_standard_uncertainty", "found_factor",
)  # fmt: skip
_SIDES = {"rectangular": ("width", "height"), "flat-oval": ("width", "height"), "round": ("diameter",)}


def job_findings(named: KnownNames, factors: Mapping[str, Cells], stages: StagesOnRecord) -> Iterable[Finding]:
    """All findings on the rows of jobs and methods; `factors` found in the field by name."""
    yield from _methods(named)
    yield from repeated(named, "jobs.csv")
    for row in named.sheets["jobs.csv"]:
        yield from agreement_whole(row)
    yield from _outlets(named, factors)
    yield from source_findings(named)
    yield from _systems(named)
    yield from _rooms(named)
    yield from _air(named)
    yield from _conditions(named)
    yield from reading_findings(named)
    yield from stage_findings(named, stages)


_SINGLE, _COMMON, _OWN = (f"{name}_standard_uncertainty_percent" for name in ("relative", "common", "own"))


def _methods(named: KnownNames) -> Iterable[Finding]:
    yield from repeated(named, "methods.csv")
    for row in named.sheets["methods.csv"]:
        yield from figures_together(row)


def figures_together(row: TypedRow) -> Iterable[Finding]:
    """What a method's cells must hold together: one figure, or what its readings share and what each has by itself."""
    declared = [column for column in (_COMMON, _OWN) if not row.blank(column)]
    if not row.blank(_SINGLE):
        for column in declared:
            yield row.finding(column, f"nothing beside {_SINGLE}: one figure, or both {_COMMON} and {_OWN}")
    elif not declared:
        yield row.finding(_SINGLE, f"a percentage, 0 to 100; or instead both {_COMMON} and {_OWN}")
    for column, other in ((_COMMON, _OWN), (_OWN, _COMMON)):
        if declared == [other] and row.blank(_SINGLE):
            yield row.finding(column, f"a percentage beside {other}, 0 where there is none: both or neither")
    for column, figure in (
        ("degrees_of_freedom", _SINGLE), ("common_degrees_of_freedom", _COMMON), ("own_degrees_of_freedom", _OWN),
    ):  # fmt: skip
        if not row.blank(column) and row.blank(figure) and (declared or figure != _SINGLE):
            yield row.finding(column, f"nothing without {figure}")


def agreement_whole(row: TypedRow) -> Iterable[Finding]:
    """The client's agreement to a job's decision rule, where it says when, says who agreed."""
    if row.blank("agreed_by") and not row.blank("agreed_on"):
        yield row.finding("agreed_by", "who agreed to the decision rule, where agreed_on says when")


def _outlets(named: KnownNames, factors: Mapping[str, Cells]) -> Iterable[Finding]:
    yield from repeated(named, "outlets.csv")
    for row in named.sheets["outlets.csv"]:
        yield from named.unknown(row, "outlets.csv", "job")
        yield from outlet_findings(row, factors)


def outlet_findings(row: TypedRow, factors: Mapping[str, Cells], outlet: int | None = None) -> Iterable[Finding]:
    """What an outlet's cells must hold together, when it is first typed or amended; `outlet` is its key where it has one."""
    yield from _opening(row)
    if "place" not in row.bad:  # else it is not known whether a factor is wanted
        yield from (_duct(row) if row.get("place") == DUCT else _factor(row))
    yield from _found_factor(row, factors, outlet)
    yield from _design(row)


def _opening(row: TypedRow) -> Iterable[Finding]:
    shape = row.get("shape")
    needed = _SIDES.get(shape or "", ())
    for column in ("width", "height", "diameter"):
        if column in needed and row.blank(column):
            yield row.finding(column, f"a {column} above 0 for a {shape} opening")
        elif shape is not None and column not in needed and row.sound(column):
            yield row.finding(column, f"nothing for a {shape} opening")
    if shape == "flat-oval" and row.sound("width", "height") and float(row.cells["width"]) < float(row.cells["height"]):
        yield row.finding("width", f"the longer axis, not below height ({row.cells['height']})")
    if not row.blank("outlet_factor") and row.blank("shape"):
        yield row.finding("shape", "rectangular, round or flat-oval, since an outlet factor multiplies the area")
    if any(row.sound(column) for column in ("width", "height", "diameter")):
        for column, what in (
            ("dimension_unit", "the unit of the dimensions"),
            ("dimension_limit", "the half-width within which the dimensions are known"),
        ):
            if row.blank(column):
                yield row.finding(column, what)


def _duct(row: TypedRow) -> Iterable[Finding]:
    if row.blank("shape"):
        yield row.finding("shape", "the shape of the duct: rectangular, round or flat-oval")
    for column in _OF_A_FACTOR:
        if row.sound(column):
            yield row.finding(column, "nothing for a duct: its section is the area")


def _factor(row: TypedRow) -> Iterable[Finding]:
    given = [column for column in ("outlet_factor", "effective_area", "found_factor") if not row.blank(column)]
    # An outlet that only a hood measures has neither a factor nor an opening.
    if len(given) > 1 or (not given and row.sound("shape")):
        yield row.finding(
            "outlet_factor",
            "one of outlet_factor, effective_area and found_factor (1 with source 'free opening' where there is no outlet)",
        )
        return
    for column in ("outlet_factor", "effective_area"):
        yield from _with_uncertainty(row, column)
    if row.blank("outlet_factor_source") and given and given != ["found_factor"]:
        yield row.finding("outlet_factor_source", f"where the {given[0].replace('_', ' ')} comes from")
    if not row.blank("effective_area") and row.blank("effective_area_unit"):
        yield row.finding("effective_area_unit", "the unit of the effective area")
    factor = row.get("outlet_factor")
    if factor is not None and float(factor) > LARGEST_USUAL_FACTOR and row.blank("outlet_factor_reason"):
        yield row.finding(
            "outlet_factor", f"a factor above 0, up to {LARGEST_USUAL_FACTOR}, or the reason in outlet_factor_reason"
        )


def _with_uncertainty(row: TypedRow, column: str) -> Iterable[Finding]:
    uncertainty, named = f"{column}_standard_uncertainty", column.replace("_", " ")
    if not row.blank(column) and row.blank(uncertainty):
        yield row.finding(uncertainty, f"the standard uncertainty of the {named}")
    if row.blank(column) and row.sound(uncertainty):
        yield row.finding(uncertainty, f"nothing without {column}")
    exact = column == "outlet_factor" and row.sound(column) and float(row.cells[column]) == 1
    if row.sound(column, uncertainty) and float(row.cells[uncertainty]) == 0 and not exact:
        yield row.finding(
            uncertainty, f"above 0: only the outlet factor 1 of a free opening is exact, no other {named}"
        )


def _found_factor(row: TypedRow, factors: Mapping[str, Cells], outlet: int | None) -> Iterable[Finding]:
    name = row.get("found_factor")
    if name is None:
        return
    factor = factors.get(name)
    if factor is None:
        known = ", ".join(factors) or "none"
        yield row.finding("found_factor", f"{Step.FIND_FACTOR} (there is {known})")
    elif factor["scope"] == THIS_TYPE:
        if row.get("outlet_type") != factor["outlet_type"]:
            yield row.finding("found_factor", f"a factor for outlet_type {row.get('outlet_type') or ''!r}")
        if row.blank("shape"):
            yield row.finding("shape", "the shape of the opening, since the factor multiplies the area")
    elif str(factor["outlet_id"]) != str(outlet):
        yield row.finding(
            "found_factor", "a factor of this outlet, or of its type: this one was found for another outlet"
        )


def _design(row: TypedRow) -> Iterable[Finding]:
    yield from limit_findings(row)
    if not row.blank("design_flow"):
        if row.blank("flow_unit"):
            yield row.finding("flow_unit", "a value beside design_flow")
        return
    for column in (*LIMITS_TYPED, "design_density_kg_per_m3"):
        if row.sound(column):
            alone = f"; a flow with a limit alone is designed for that limit: type {row.cells[column]} there too"
            yield row.finding(column, f"nothing without design_flow{alone if column in IN_FLOWS else ''}")


def _systems(named: KnownNames) -> Iterable[Finding]:
    columns = FILES["systems.csv"].must_name
    yield from repeated(named, "systems.csv")
    there = _on_outlets(named, columns)
    for row in named.sheets["systems.csv"]:
        yield from named.unknown(row, "systems.csv", "job")
        yield from limit_findings(row)
        if there is not None and row.sound(*columns) and tuple(row.cells[name] for name in columns) not in there:
            yield row.finding("system", f"a system with outlets for {row.cells['service']} in job {row.cells['job']}")


def _on_outlets(named: KnownNames, columns: Sequence[str]) -> set[tuple[str | None, ...]] | None:
    """What outlets say in some columns; None where one of them may say what could not be read."""
    rows = named.sheets["outlets.csv"]
    if named.undecided("outlets.csv") or any(row.bad.intersection(columns) for row in rows):
        return None
    of_outlets = [TypedCells(row.cells) for row in rows]
    of_outlets += [TypedCells(_texts(cells) | {"job": job}) for (job, _), cells in named.known["outlets.csv"].items()]
    return {tuple(cells[column] for column in columns) for cells in of_outlets}


def _texts(cells: Cells) -> dict[str, str]:
    return {name: str(cell) for name, cell in cells.items() if cell is not None}


def _rooms(named: KnownNames) -> Iterable[Finding]:
    columns = FILES["rooms.csv"].must_name
    yield from repeated(named, "rooms.csv")
    there = _on_outlets(named, columns)
    for row in named.sheets["rooms.csv"]:
        yield from named.unknown(row, "rooms.csv", "job")
        if there is not None and row.sound(*columns) and tuple(row.cells[name] for name in columns) not in there:
            yield row.finding("room", f"a room that an outlet of job {row.cells['job']} names")


def _air(named: KnownNames) -> Iterable[Finding]:
    low, high = "temperature_low_degC", "temperature_high_degC"
    for row in named.sheets["air.csv"]:
        yield from named.unknown(row, "air.csv", "job")
        if row.sound(low, high) and not float(row.cells[low]) < float(row.cells[high]):
            yield row.finding(high, f"above {low} ({row.cells[low]})")


def _conditions(named: KnownNames) -> Iterable[Finding]:
    rows = named.sheets["conditions.csv"]
    yield from repeated(named, "conditions.csv", recorded={})
    groups: dict[tuple[str, str, int], list[TypedRow]] = defaultdict(list)
    for row in rows:
        yield from named.unknown(row, "conditions.csv", "job")
        yield from _condition(row, named)
        if row.sound("job", "conditions"):
            groups[row.cells["job"], row.cells["conditions"], revision_of(row)].append(row)
    # A row that could not be read, or whose job was found wrong, may be the one that is missing.
    whole = not named.undecided("conditions.csv", 2)
    for (job, conditions, revision), members in groups.items():
        on_record = named.known["conditions.csv"]
        held = [int(names[-1]) for names in on_record if names[:2] == (job, conditions)]
        if held and revision <= max(held):
            yield duplicate(
                members[0], ("conditions",), "a new name; the records hold it already, and conditions are whole"
            )
            continue
        if whole:
            yield from _missing(members)
        yield from _together(members)


def _missing(members: Sequence[TypedRow]) -> Iterable[Finding]:
    if any("quantity" in row.bad for row in members):
        return
    missing = missing_quantities({str(row.get("quantity")) for row in members})
    if missing:
        there = f"rows for temperature, barometric pressure, relative humidity: there is no {', no '.join(missing)}"
        yield duplicate(members[0], ("conditions",), there)


def _together(members: Sequence[TypedRow]) -> Iterable[Finding]:
    """What rows of one set may not say both, and a wet bulb that is not cooler."""
    by_quantity = {row.cells["quantity"]: row for row in members if row.sound("quantity")}
    for stated in (PRESSURES, HUMIDITIES):
        both = [by_quantity[quantity] for quantity in stated if quantity in by_quantity]
        if len(both) > 1:
            yield both[1].finding("quantity", f"{' or '.join(stated)}, not both")
    dry, wet = by_quantity.get(TEMPERATURE), by_quantity.get(WET_BULB)
    if dry is None or wet is None or not (dry.sound("value", "unit") and wet.sound("value", "unit", "quantity")):
        return
    kelvin = [unit("temperature", row.cells["unit"]).to_si(float(row.cells["value"])) for row in (wet, dry)]
    if kelvin[0] > kelvin[1] + 1e-9:
        shown = f"{dry.cells['value']} {dry.cells['unit']}"
        yield wet.finding("value", f"not above the temperature ({shown}): water cools the wet bulb")


# Values of the conditions for which the density is known, in SI and as they are said (calib.airflow.air).
_KNOWN_AIR = {
    "temperature": (233.15, 333.15, "a temperature from -40 to 60 degC"),
    "barometric pressure": (60e3, 110e3, "a barometric pressure from 60 to 110 kPa"),
    "relative humidity": (0.0, 1.0, "a relative humidity from 0 to 100 %"),
    "wet-bulb temperature": (273.15, 333.15, "a wet-bulb temperature from 0 to 60 degC, where water does not freeze"),
    "altitude": (-500.0, 4000.0, "an altitude from -500 to 4000 m"),
}


def _value_of_air(row: TypedRow, quantity: str | None) -> Iterable[Finding]:
    known = _KNOWN_AIR.get(row.get("quantity") or "")
    if known is None or quantity is None or not row.sound("value", "unit"):
        return
    low, high, said = known
    value = unit(quantity, row.cells["unit"]).to_si(float(row.cells["value"]))
    if not low <= round(value, 9) <= high:
        yield row.finding("value", said)


def _condition(row: TypedRow, named: KnownNames) -> Iterable[Finding]:
    quantity = MEASURED_AS.get(row.get("quantity") or "")
    yield from unit_known(row, "unit", quantity)
    yield from _value_of_air(row, quantity)
    if row.get("quantity") == ALTITUDE and row.sound("instrument"):
        yield row.finding("instrument", "nothing: an altitude is stated, with its standard uncertainty and its source")
        return
    yield from named.unknown(row, "conditions.csv", "instrument")
    instrument = named.instruments.get(row.get("instrument") or "")
    if instrument is not None and quantity is not None:
        measures = (instrument.get("quantity"), indication_quantity(instrument))
        if any(measured not in (None, quantity) for measured in measures):
            yield row.finding("instrument", f"an instrument for {quantity} (this one is for {measures[0]})")
    used, stated = not row.blank("instrument"), not row.blank("standard_uncertainty")
    if used == stated and not row.bad & {"instrument", "standard_uncertainty"}:
        yield row.finding(
            "standard_uncertainty", "either the instrument that was used, or the standard uncertainty of a stated value"
        )
    elif stated and not used and row.blank("source"):
        yield row.finding("source", "where the stated value comes from")
