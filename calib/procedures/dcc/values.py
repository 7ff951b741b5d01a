"""Quantities of D-SI: a value or a list of values with a unit, their expanded uncertainty, and the same told in several units.

Lists of length 1 stand for each value; any other mismatch is wrong. Names of U: `expandedUnc` (D-SI 1.3 to 2.1) and `expandedMU`
within `measurementUncertaintyUnivariate` (2.2), each also as a list.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from calib.errors import Finding, UnitError
from calib.procedures.dcc.document import Node
from calib.procedures.dcc.si_units import UnitRead, pint_expression, turned, unit_read
from calib.procedures.typed.cells import above_zero, at_least_one, coverage_percent
from calib.quantities import Unit, finite_number

_MOST_VALUES = 1_000  # of one quantity
_VALUES = ("si:real", "si:realListXMLList")
_NUMBERS = ("si:value", "si:valueXMLList")
_UNITS = ("si:unit", "si:unitXMLList")
_EXPANDED = ("si:expandedUnc", "si:expandedUncXMLList", "si:expandedMU", "si:expandedMUXMLList")
_U = ("si:uncertainty", "si:uncertaintyXMLList", "si:valueExpandedMU", "si:valueExpandedMUXMLList")
_K = ("si:coverageFactor", "si:coverageFactorXMLList")
_P = ("si:coverageProbability", "si:coverageProbabilityXMLList")
_LIST = "XMLList"
_INTERVAL = "si:coverageInterval"
_OTHER_UNCERTAINTY = "an expanded uncertainty with its coverage factor"


@dataclass
class WrongInFile:
    """What is wrong within one file, each with the place of its element."""

    source: str
    findings: list[Finding] = field(default_factory=list)

    def add(self, node: Node, value: str | None, expected: str) -> None:
        """An element is wrong."""
        finding = Finding(self.source, None, node.path or None, value, expected)
        if finding not in self.findings:
            self.findings.append(finding)


@dataclass(frozen=True)
class ExpandedRead:
    """U of n values, in the unit of the values; as it is written."""

    digits: tuple[str, ...]
    coverage_factors: tuple[str, ...]
    coverage_percents: tuple[str | None, ...]  # absent where k = 2 stands for about 95 %
    about_95: bool  # whether that was so
    in_si: tuple[float, ...]  # the same in the coherent unit
    rounding: tuple[float, ...]  # half a unit of the last digit of each, in the coherent unit


@dataclass(frozen=True)
class QuantityRead:
    """n values of a quantity in a unit of the records, as they are written where they are written in it."""

    digits: tuple[str, ...]
    unit: Unit
    rounding: tuple[float, ...]  # half a unit of the last digit that is written of each, in the coherent unit
    expanded: ExpandedRead | None
    is_turned: bool  # from a unit that the records do not know
    written_unit: str  # as the file has it
    node: Node

    def broadcast(self, count: int) -> tuple[str, ...]:
        """The values, one for each of `count`."""
        return self.digits * count if len(self.digits) == 1 else self.digits

    @property
    def in_si(self) -> tuple[float, ...]:
        """The values in the coherent unit."""
        return tuple(float(self.unit.to_si(float(each))) for each in self.digits)


def half_digit(digits: str) -> float:
    """Half a unit of the last digit that is written."""
    exponent = Decimal(digits).as_tuple().exponent
    return float(Decimal((0, (5,), int(exponent) - 1)))


def read_quantity(node: Node, quantity: str, preferred: str, wrong: WrongInFile) -> QuantityRead | None:
    """The values of a `dcc:quantity`; of several units that they are told in, `preferred` where it is among them."""
    hybrid = node.first("si:hybrid")
    told = [*(node if hybrid is None else hybrid).children(*_VALUES)]
    if not told:
        wrong.add(node, None, "values as si:real, si:realListXMLList or si:hybrid of these")
        return None
    units = [unit for each in told if (unit := _unit(each, quantity, wrong, alone=len(told) == 1)) is not None]
    if not units:
        if len(told) > 1:
            wrong.add(hybrid or node, None, f"one of its units for {quantity}")
        return None
    before = len(wrong.findings)
    read = [each for pair in units if (each := _values(*pair, wrong)) is not None]
    if len(wrong.findings) > before or not read:
        return None
    _agree(hybrid or node, read, wrong)
    return min(read, key=lambda each: (each.expanded is None, each.is_turned, each.unit.symbol != preferred))


def is_of_another(node: Node, quantity: str) -> bool:
    """Whether a `dcc:quantity` is told in units that D-SI knows, and none of them is one of the quantity."""
    hybrid = node.first("si:hybrid")
    told = (hybrid or node).children(*_VALUES)
    units = {unit for each in told for unit in _tokens(each, _UNITS)}
    return bool(units) and all(pint_expression(unit) is not None and not _is_of(unit, quantity) for unit in units)


def _is_of(written: str, quantity: str) -> bool:
    try:
        unit_read(written, quantity)
    except UnitError:
        return False
    return True


def _unit(node: Node, quantity: str, wrong: WrongInFile, *, alone: bool) -> tuple[Node, UnitRead] | None:
    """A value with its unit; one of several that the records do not know is passed over."""
    place = node.first(*_named(node, _UNITS))
    if place is None:
        wrong.add(node, None, "a unit")
        return None
    units = place.text.split()
    if len(set(units)) != 1 or len(units) not in {1, len(_tokens(node, _NUMBERS))}:
        wrong.add(place, place.text, "one unit for all values")
        return None
    if alone and units[0].startswith("|"):
        wrong.add(place, units[0], "a unit of D-SI: another one stands beside it, in si:hybrid")
        return None
    try:
        return node, unit_read(units[0], quantity)
    except UnitError as error:
        if alone:
            wrong.add(place, units[0], str(error))
        return None


def _named(node: Node, names: Sequence[str]) -> list[str]:
    """Names of elements within one: those of lists in a list, the others in a single value."""
    return [name for name in names if name.endswith(_LIST) == node.name.endswith(_LIST)]


def _tokens(node: Node, names: Sequence[str]) -> list[str]:
    place = node.first(*_named(node, names))
    return [] if place is None else place.text.split()


def _values(node: Node, unit: UnitRead, wrong: WrongInFile) -> QuantityRead | None:
    digits = _numbers(node, _NUMBERS, "at least one value", wrong)
    expanded = _expanded(node, len(digits), unit, wrong)
    if not digits:
        return None
    is_turned = unit.factor is not None
    return QuantityRead(
        tuple(turned(each, unit.factor) for each in digits),
        unit.unit,
        _rounding(digits, unit),
        expanded,
        is_turned,
        _tokens(node, _UNITS)[0],
        node,
    )


def _rounding(digits: Sequence[str], unit: UnitRead) -> tuple[float, ...]:
    """Half a unit of the last digit of each, in the coherent unit."""
    scale = abs(unit.unit.scale) * float(unit.factor or 1)
    return tuple(half_digit(each) * scale for each in digits)


def _numbers(node: Node, names: Sequence[str], expected: str, wrong: WrongInFile) -> list[str]:
    """The numbers of one list; none where one of them is wrong."""
    places = list(node.children(*_named(node, names)))
    if len(places) != 1:
        wrong.add(node, None, expected if not places else f"{places[0].name} once")
        return []
    tokens = places[0].text.split()
    if not tokens or len(tokens) > _MOST_VALUES:
        wrong.add(
            places[0], None, expected if not tokens else f"at most {_MOST_VALUES:,} values (it has {len(tokens):,})"
        )
        return []
    bad = [(token, said) for token in tokens if (said := finite_number(token)) is not None]
    for token, said in bad:
        wrong.add(places[0], token, said)
    return [] if bad else tokens


def _expanded(node: Node, count: int, unit: UnitRead, wrong: WrongInFile) -> ExpandedRead | None:
    below = list(node.below())
    interval = next((each for each in below if each.name.startswith(_INTERVAL)), None)
    if interval is not None:
        wrong.add(interval, None, f"{_OTHER_UNCERTAINTY}, not a coverage interval")
        return None
    expanded = [each for each in below if each.name in _EXPANDED]
    if not expanded:
        standard = next((each for each in below if each.name.startswith("si:standard")), None)
        if standard is not None:
            wrong.add(standard, None, f"{_OTHER_UNCERTAINTY}, not a standard uncertainty")
        return None
    if len(expanded) > 1:
        wrong.add(node, None, f"its expanded uncertainty once ({len(expanded)} are stated)")
        return None
    (place,) = expanded
    of_u = _broadcast(place, _U, count, "the value of U", above_zero, wrong)
    of_k = _broadcast(place, _K, count, "the coverage factor of U", at_least_one, wrong)
    of_p: Sequence[str | None] = [None] * count
    if place.first(*_named(place, _P)) is not None:
        of_p = [_percent(each) for each in _broadcast(place, _P, count, "a coverage probability", _probability, wrong)]
    if not len(of_u) == len(of_k) == len(of_p) == count:
        return None
    about_95 = [p == "95" and Decimal(k) == 2 for k, p in zip(of_k, of_p, strict=True)]
    percents = tuple(None if about else p for about, p in zip(about_95, of_p, strict=True))
    digits = tuple(turned(each, unit.factor) for each in of_u)
    in_si = tuple(float(unit.unit.difference_to_si(float(each))) for each in digits)
    return ExpandedRead(digits, tuple(of_k), percents, any(about_95), in_si, _rounding(of_u, unit))


def _broadcast(
    node: Node, names: Sequence[str], count: int, what: str, check: Callable[[str], str | None], wrong: WrongInFile
) -> list[str]:
    numbers = _numbers(node, names, what, wrong)
    place = node.first(*_named(node, names))
    if not numbers or place is None or not count:
        return []
    if len(numbers) not in {1, count}:
        wrong.add(place, None, f"1 or {count} numbers, as there are values (it has {len(numbers)})")
        return []
    bad = [(each, said) for each in numbers if (said := check(each)) is not None]
    for each, said in bad:
        wrong.add(place, each, said)
    return [] if bad else numbers * count if len(numbers) == 1 else numbers


def _probability(digits: str) -> str | None:
    return None if coverage_percent(_percent(digits)) is None else "a coverage probability above 0.5 and below 1"


def _percent(digits: str) -> str:
    return format((Decimal(digits) * 100).normalize(), "f")


def _agree(node: Node, told: Sequence[QuantityRead], wrong: WrongInFile) -> None:
    """What is told in several units, its U and k too, must be the same within the digits that are written."""
    first, *others = told
    for other in others:
        if len(other.digits) != len(first.digits):
            wrong.add(node, None, f"as many values in each unit ({len(first.digits)} and {len(other.digits)})")
            continue
        again = _told(other)
        for key, (value, half, shown) in _told(first).items():
            same, its_half, shown_again = again.get(key, (value, half, shown))
            if abs(value - same) > (half + its_half) * (1 + 1e-6) + 1e-12 * abs(value):
                wrong.add(node, f"{shown}, {shown_again}", "one value, told in two units")


def _told(read: QuantityRead) -> dict[tuple[str, int], tuple[float, float, str]]:
    """Values, U and k of a quantity: in the coherent unit, by how much they may be rounded, as they are shown."""
    symbol, expanded = read.unit.symbol, read.expanded
    told = {
        ("", at): (value, half, f"{digits} {symbol}")
        for at, (digits, value, half) in enumerate(zip(read.digits, read.in_si, read.rounding, strict=True))
    }
    if expanded is not None:
        for at, (digits, k) in enumerate(zip(expanded.digits, expanded.coverage_factors, strict=True)):
            told["U", at] = (expanded.in_si[at], expanded.rounding[at], f"U {digits} {symbol}")
            told["k", at] = (float(k), 0.0, f"k {k}")
    return told
