"""Read a digital calibration certificate: who calibrated what when, in which air, and the comparisons with U and k.

A pure reading: what the file says, what was taken as what, and everything that is wrong with it, each with its element.

Meanings of quantities (refType): basic_referenceValue, basic_measuredValue, basic_measurementError; of the air:
basic_temperature, basic_humidityRelative, basic_pressure... Source: the samples of dcclib; the others from memory.

Decision (2026-11-29). U is that of the reference value where it has one, else that of the error, else that of the indication, and
the answer says which. Options: refusing where the reference has none (most certificates state U of the error), always the error's
(it holds the instrument's own repeatability, which is counted again). Cost: with U of the error, repeatability counts twice, which
overstates. A coverage probability of 0.95 beside k = 2 is the "about 95 %" of EA-4/02 and taken as 95.45 %: taken as it is written,
it would say that U is known with 60 degrees of freedom.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from calib.confirmation.interval import add_months
from calib.errors import Finding
from calib.procedures.dcc.document import Node, is_later_version
from calib.procedures.dcc.si_units import turned
from calib.procedures.dcc.values import ExpandedRead, QuantityRead, WrongInFile, is_of_another, read_quantity
from calib.procedures.typed.cells import AIR_HUMIDITY, AIR_PRESSURE, AIR_TEMPERATURE, day
from calib.quantities import Unit, coherent, unit

REFERENCE, MEASURED, ERROR = "basic_referenceValue", "basic_measuredValue", "basic_measurementError"
REPEATABILITY, OBSERVATIONS = "calib_repeatability", "calib_observations"  # what the schema has no meaning for
_COVARIANCE = "si:covariance"  # how its elements begin, in the lists that dccXMLJSONConv 2.3.4 ships for DCC 2.4 to 3.3
_NOT_READ = (
    "covariances of values are stated and not read: points share the most that they may. Where that matters type the certificate "
    "as sheets, with the matrix of its correlations"
)
_PARTS = ("dcc:administrativeData", "dcc:measurementResults", "dcc:comment", "dcc:document", "ds:Signature")
_ONCE = (REFERENCE, MEASURED, ERROR, REPEATABILITY, OBSERVATIONS)


@dataclass(frozen=True)
class CertificateWanted:
    """What the certificate is asked for: an instrument of the register, as it was on that day."""

    quantity: str
    indicated: str
    symbol: str  # its unit
    interval_months: int


@dataclass(frozen=True)
class CellRead:
    """What the certificate says for one column, and where."""

    value: str
    node: Node


@dataclass(frozen=True)
class ResultRead:
    """One result of a certificate: its comparisons as cells of comparisons.csv, without their phase."""

    name: str
    rows: tuple[Mapping[str, str], ...]


@dataclass
class CertificateRead:
    """A certificate as it reads."""

    source: str
    cells: dict[str, CellRead] = field(default_factory=dict)  # column of calibrations.csv -> what it says
    numbers: list[CellRead] = field(default_factory=list)  # by which the laboratory calls it
    serials: list[CellRead] = field(default_factory=list)  # of the instrument
    maker: str | None = None
    model: str | None = None
    results: list[ResultRead] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)  # what was taken as what
    findings: list[Finding] = field(default_factory=list)


def read_certificate(root: Node, source: str, wanted: CertificateWanted) -> CertificateRead:
    """Everything that a certificate says of a calibration of an instrument, and everything that is wrong with it."""
    wrong = WrongInFile(source)
    read = CertificateRead(source, findings=wrong.findings)
    if is_later_version(root):
        version = root.element.get("schemaVersion")
        read.notices.append(f"schemaVersion {version} came after 3.3, and is read as that")
    for part in root.children():
        if part.name not in _PARTS:
            wrong.add(part, None, f"one of the parts of a certificate: {', '.join(_PARTS)}")
    for take in (_core, _item, _laboratory, _recalibration):
        take(root, read, wanted, wrong)
    measured = root.at(
        "measurementResults"
    )  # and nothing that stands elsewhere, in a comment of another kind of XML say
    results = [] if measured is None else list(measured.children("dcc:measurementResult"))
    if not results:
        wrong.add(root, None, "measurementResults with at least one measurementResult")
    for result in results:
        _methods(result, read)
    _conditions(results, read, wrong)
    for result in results:
        within = result.first("dcc:results")
        for each in () if within is None else within.children("dcc:result"):
            read.results += _result(each, read, wanted, wrong)
    if results and not read.results and not wrong.findings:
        expected = f"a result of {wanted.quantity} with quantities that are marked {REFERENCE} and {MEASURED} (refType)"
        wrong.add(measured or root, None, expected)
    read.notices = list(dict.fromkeys(read.notices))
    return read


# --- who, what, when -------------------------------------------------------------------------------------------------------------


def in_words(node: Node | None) -> str | None:
    """A text of the schema, in English or without a language where it has several."""
    contents = [] if node is None else list(node.children("dcc:content"))
    ranked = sorted(contents, key=lambda each: {"en": 0, None: 1}.get(each.language, 2))
    return next((" ".join(each.text.split()) for each in ranked if each.text), None)


def _cell(read: CertificateRead, column: str, node: Node | None, value: str | None = None) -> None:
    text = value if node is None or value is not None else node.text
    if node is not None and text:
        read.cells[column] = CellRead(text, node)


def _core(root: Node, read: CertificateRead, _wanted: CertificateWanted, wrong: WrongInFile) -> None:
    core = root.at("administrativeData/coreData")
    if core is None:
        wrong.add(root, None, "administrativeData/coreData")
        return
    identifier = core.first("dcc:uniqueIdentifier")
    if identifier is None or not identifier.text:
        wrong.add(identifier or core, None, "a uniqueIdentifier: the number of the certificate")
    else:
        read.numbers.append(CellRead(identifier.text, identifier))
    read.numbers += _identifications(core, "calibrationLaboratory")
    for column, name in (
        ("received_on", "receiptDate"),
        ("calibrated_on", "endPerformanceDate"),
        ("issued_on", "issueDate"),
    ):
        node = core.first(f"dcc:{name}")
        if node is not None and _is_day(node, wrong):
            _cell(read, column, node)
    begun, ended = core.first("dcc:beginPerformanceDate"), core.first("dcc:endPerformanceDate")
    if ended is None:
        wrong.add(core, None, "an endPerformanceDate: the day of the calibration")
    elif begun is not None and begun.text != ended.text and _is_day(begun, wrong):
        read.notices.append(f"calibrated from {begun.text} to {ended.text}: the last day is taken as calibrated_on")


def _is_day(node: Node, wrong: WrongInFile) -> bool:
    expected = day(node.text)
    if expected is not None:
        wrong.add(node, node.text, expected)
    return expected is None


def _identifications(node: Node, issuer: str) -> list[CellRead]:
    return [
        CellRead(value.text, value)
        for own in node.children("dcc:identifications")
        for each in own.children("dcc:identification")
        if (by := each.first("dcc:issuer")) is not None and by.text == issuer
        if (value := each.first("dcc:value")) is not None and value.text
    ]


def _item(root: Node, read: CertificateRead, _wanted: CertificateWanted, wrong: WrongInFile) -> None:
    items = root.at("administrativeData/items")
    own = [] if items is None else list(items.children("dcc:item"))
    if items is None or len(own) != 1:
        wrong.add(items or root, None, f"one item that was calibrated (it has {len(own)})")
        return
    read.serials = _identifications(own[0], "manufacturer")
    if not read.serials:
        wrong.add(own[0], None, "an identification by its manufacturer: the serial number")
    maker = own[0].first("dcc:manufacturer")
    read.maker = None if maker is None else in_words(maker.first("dcc:name"))
    model = own[0].first("dcc:model")
    read.model = None if model is None or not model.text else model.text


def _laboratory(root: Node, read: CertificateRead, _wanted: CertificateWanted, wrong: WrongInFile) -> None:
    place = root.at("administrativeData/calibrationLaboratory")
    name = None if place is None else place.at("contact/name")
    told = in_words(name)
    if place is None or told is None:
        wrong.add(place or root, None, "a calibrationLaboratory with its name")
        return
    _cell(read, "laboratory", name, told)
    _cell(read, "accreditation", place.first("dcc:calibrationLaboratoryCode"))


def _recalibration(root: Node, read: CertificateRead, wanted: CertificateWanted, wrong: WrongInFile) -> None:
    """When the next calibration is due as the certificate says; the earlier of that and what the own interval gives counts."""
    statements = root.at("administrativeData/statements")
    own = [] if statements is None else list(statements.children("dcc:statement"))
    traced = next((each for each in own if any("traceab" in word.lower() for word in each.meanings)), None)
    if traced is not None:
        _cell(read, "traceability", traced, in_words(traced.first("dcc:declaration")))
    calibrated = read.cells.get("calibrated_on")
    for statement in own:
        place = statement.first("dcc:date", "dcc:period") if "basic_recalibration" in statement.meanings else None
        if place is None:
            continue
        due = _due(place, None if calibrated is None else date.fromisoformat(calibrated.value), wrong)
        if due is None or calibrated is None:
            continue
        end = add_months(date.fromisoformat(calibrated.value), wanted.interval_months)
        if due <= end:
            _cell(read, "due_on", place, due.isoformat())
        else:
            told = f"the certificate says recalibration by {due}; the interval of {wanted.interval_months} months gives {end}"
            read.notices.append(f"{told}: the earlier is taken")


def _due(place: Node, calibrated: date | None, wrong: WrongInFile) -> date | None:
    if place.name == "dcc:date":
        return date.fromisoformat(place.text) if _is_day(place, wrong) else None
    period = re.fullmatch(r"P(?:(\d{1,2})Y)?(?:(\d{1,3})M)?", place.text)
    months = 0 if period is None else 12 * int(period[1] or 0) + int(period[2] or 0)
    if not months:
        wrong.add(place, place.text, "a period of years and months, like P1Y or P18M")
        return None
    return None if calibrated is None else add_months(calibrated, months)


def _methods(result: Node, read: CertificateRead) -> None:
    methods = result.first("dcc:usedMethods")
    for method in () if methods is None else methods.children("dcc:usedMethod"):
        if "basic_uncertainty" in method.meanings or "procedure" in read.cells:
            continue
        norm, name = method.first("dcc:norm"), in_words(method.first("dcc:name"))
        told = "; ".join(filter(None, (name, None if norm is None else norm.text)))
        _cell(read, "procedure", method, told)


# --- the air ---------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class InfluenceCondition:
    """What a certificate states of its air."""

    column: str  # of calibrations.csv
    meaning: str  # how its refType begins
    name: str
    quantity: str
    symbol: str
    check: Callable[[str], str | None]
    expected: str
    more: str = ""  # the rest of its refType, as it is written


INFLUENCE_CONDITIONS = (
    InfluenceCondition(
        "temperature_degC",
        "basic_temperature",
        "Temperature of the air",
        "temperature",
        "degC",
        AIR_TEMPERATURE,
        "-40 to 60 degC, as it is in a laboratory",
    ),
    InfluenceCondition(
        "humidity_percent",
        "basic_humidityRelative",
        "Relative humidity of the air",
        "relative humidity",
        "%",
        AIR_HUMIDITY,
        r"0 to 1 with \one, 0 to 100 with \percent",
    ),
    InfluenceCondition(
        "pressure_kPa",
        "basic_pressure",
        "Pressure of the air",
        "pressure",
        "kPa",
        AIR_PRESSURE,
        "60 to 110 kPa, as the pressure of the air is",
        more="Atmospheric",
    ),
)


def _conditions(results: Sequence[Node], read: CertificateRead, wrong: WrongInFile) -> None:
    for condition in INFLUENCE_CONDITIONS:
        told = [
            (value, place)
            for result in results
            for place in result.all_below("dcc:influenceCondition")
            if any(word.startswith(condition.meaning) for word in place.meanings)
            if (value := _condition(place, condition, read, wrong)) is not None
        ]
        if len({value for value, _ in told}) > 1:
            shown = ", ".join(value for value, _ in told)
            read.notices.append(f"{condition.column}: several are stated ({shown}), none is taken")
        elif told:
            _cell(read, condition.column, told[0][1], told[0][0])


def _condition(place: Node, condition: InfluenceCondition, read: CertificateRead, wrong: WrongInFile) -> str | None:
    """The value of a condition in the unit of its column; of a lowest and a highest one the middle."""
    data = place.first("dcc:data")
    quantities = [] if data is None else list(data.children("dcc:quantity"))
    values = []
    for each in quantities:
        own = read_quantity(each, condition.quantity, condition.symbol, wrong)
        if own is None:
            return None
        for digits in own.digits:
            value = _in(digits, own.unit, condition.quantity, condition.symbol)
            if condition.check(value) is not None:
                wrong.add(own.node, f"{digits} {own.written_unit}", condition.expected)
                return None
            values.append(value)
    if not values or len(set(values)) == 1:
        return values[0] if values else None
    if len(values) != 2:
        read.notices.append(f"{condition.column}: {len(values)} values are stated, none is taken")
        return None
    low, high = sorted(map(Decimal, values))
    middle = format((low + high) / 2, "f")
    read.notices.append(f"{condition.column}: stated from {low} to {high}, the middle {middle} is taken")
    return middle


def _in(digits: str, own: Unit, quantity: str, symbol: str) -> str:
    if own.symbol == symbol:
        return digits
    wanted = unit(quantity, symbol)
    return format(Decimal(f"{wanted.from_si(own.to_si(float(digits))):.10g}"), "f")


# --- comparisons -----------------------------------------------------------------------------------------------------------------


def _result(result: Node, read: CertificateRead, wanted: CertificateWanted, wrong: WrongInFile) -> Iterator[ResultRead]:
    """The comparisons of a result, of all tables in it; a result without any is passed over."""
    rows: list[Mapping[str, str]] = []
    before = len(wrong.findings)
    name = in_words(result.first("dcc:name")) or result.path
    for table in _tables(result):
        if _is_of_another(table, wanted):
            read.notices.append(f"{name}: a table of another quantity than {wanted.quantity} is left out")
        else:
            rows += _rows(table, read, wanted, wrong)
    if rows or len(wrong.findings) > before:
        yield ResultRead(name, tuple(rows))


def _tables(node: Node) -> Iterator[Node]:
    """Every list, or data without lists, whose own quantities are a reference or an indication."""
    for child in node.children("dcc:data", "dcc:list"):
        own = {word for quantity in child.children("dcc:quantity") for word in quantity.meanings}
        if own & {REFERENCE, MEASURED}:
            yield child
        yield from _tables(child)


def _is_of_another(table: Node, wanted: CertificateWanted) -> bool:
    """Whether reference and indication are of other quantities, as where a velocity meter's temperature is calibrated too."""
    own = {word: each for each in table.children("dcc:quantity") for word in each.meanings}
    asked = ((REFERENCE, wanted.quantity), (MEASURED, wanted.indicated))
    return all(meaning in own and is_of_another(own[meaning], quantity) for meaning, quantity in asked)


def _rows(table: Node, read: CertificateRead, wanted: CertificateWanted, wrong: WrongInFile) -> list[Mapping[str, str]]:
    columns = _columns(table, wanted, wrong)
    reference, measured = columns.get(REFERENCE), columns.get(MEASURED)
    if reference is None or measured is None:
        return []
    count = max(len(reference.digits), len(measured.digits))
    if not _as_long(columns.values(), count, wrong):
        return []
    expanded = _uncertainty(table, columns, count, read, wrong)
    if any(each.name.startswith(_COVARIANCE) for column in columns.values() for each in column.node.below()):
        read.notices.append(_NOT_READ)
    _error_agrees(columns, count, wanted, wrong)
    if expanded is None:
        return []
    more = {
        name: columns[meaning].broadcast(count)
        for name, meaning in (("repeatability", REPEATABILITY), ("observations", OBSERVATIONS))
        if meaning in columns
    }
    return [
        {
            "reference": reference.broadcast(count)[place],
            "indication": measured.broadcast(count)[place],
            "unit": reference.unit.symbol,
            "expanded_uncertainty": expanded.digits[place],
            "coverage_factor": expanded.coverage_factors[place],
            **(
                {}
                if (percent := expanded.coverage_percents[place]) is None
                else {"coverage_probability_percent": percent}
            ),
            **({} if measured.unit == reference.unit else {"indication_unit": measured.unit.symbol}),
            **{name: values[place] for name, values in more.items() if float(values[place])},
        }
        for place in range(count)
    ]


def _columns(table: Node, wanted: CertificateWanted, wrong: WrongInFile) -> dict[str, QuantityRead]:
    """The quantities of a table by their meaning; one that is there twice, or missing, is wrong."""
    places: dict[str, list[Node]] = {meaning: [] for meaning in _ONCE}
    for quantity in table.children("dcc:quantity"):
        for meaning in quantity.meanings & places.keys():
            places[meaning].append(quantity)
    columns = {}
    for meaning, own in places.items():
        if len(own) > 1:
            wrong.add(own[1], None, f"one quantity that is {meaning} in a table (there are {len(own)})")
        if not own and meaning in {REFERENCE, MEASURED}:
            wrong.add(table, None, f"a quantity that is {meaning} (refType)")
        if len(own) == 1:
            read = read_quantity(own[0], *_kind(meaning, wanted), wrong)
            if read is not None:
                columns[meaning] = read
    return columns


def _kind(meaning: str, wanted: CertificateWanted) -> tuple[str, str]:
    """The quantity of a column, and the unit that is preferred for it."""
    if meaning == OBSERVATIONS:
        return "relative humidity", "1"  # a number: the records know no other quantity of that dimension
    if meaning in {MEASURED, REPEATABILITY}:
        return wanted.indicated, wanted.symbol
    return wanted.quantity, wanted.symbol if wanted.quantity == wanted.indicated else coherent(wanted.quantity).symbol


def _as_long(columns: Iterable[QuantityRead], count: int, wrong: WrongInFile) -> bool:
    sound = True
    for column in columns:
        if len(column.digits) not in {1, count}:
            wrong.add(column.node, None, f"1 or {count} values, as the table has (it has {len(column.digits)})")
            sound = False
    return sound


def _uncertainty(
    table: Node, columns: Mapping[str, QuantityRead], count: int, read: CertificateRead, wrong: WrongInFile
) -> ExpandedRead | None:
    """U of each comparison in the unit of the reference value, and whose it is."""
    names = {REFERENCE: "the reference value", ERROR: "the error", MEASURED: "the indication"}
    stated = [
        (meaning, columns[meaning]) for meaning in names if meaning in columns and columns[meaning].expanded is not None
    ]
    if not stated:
        wrong.add(table, None, "U with its coverage factor, of the reference value or of the error")
        return None
    meaning, column = stated[0]
    expanded = column.expanded
    if expanded is None or (meaning == MEASURED and column.unit.quantity != columns[REFERENCE].unit.quantity):
        wrong.add(column.node, None, "U of the reference value, or of the error")
        return None
    if meaning != REFERENCE:
        read.notices.append(f"U stands with {names[meaning]}, and is taken from there")
    elif len(stated) > 1:
        read.notices.append("U is stated more than once: that of the reference value is taken")
    if expanded.about_95:
        read.notices.append("a coverage probability of 0.95 beside k = 2 is taken as about 95 % (95.45 %)")
    ratio = column.unit.scale / columns[REFERENCE].unit.scale
    factor = None if abs(ratio - 1) < 1e-12 else Decimal(repr(ratio))
    times = count if len(expanded.digits) == 1 else 1
    digits = tuple(turned(each, factor) for each in expanded.digits)
    return replace(
        expanded,
        digits=digits * times,
        coverage_factors=expanded.coverage_factors * times,
        coverage_percents=expanded.coverage_percents * times,
    )


def _error_agrees(
    columns: Mapping[str, QuantityRead], count: int, wanted: CertificateWanted, wrong: WrongInFile
) -> None:
    """An error that is stated is the indication less the reference value, within the digits that are written."""
    error = columns.get(ERROR)
    if error is None or wanted.quantity != wanted.indicated:
        return
    told = (columns[REFERENCE], columns[MEASURED], error)
    for place in range(count):
        (value, x, e), halves = _at(told, place)
        follows = told[1].unit.to_si(float(x)) - told[0].unit.to_si(float(value))
        stated = error.unit.difference_to_si(float(e))
        if abs(stated - follows) > halves * (1 + 1e-6):
            expected = (
                f"indication less reference value, {error.unit.difference_from_si(follows):.6g} {error.unit.symbol}"
            )
            wrong.add(error.node, f"{e} {error.unit.symbol}", expected)


def _at(columns: Sequence[QuantityRead], place: int) -> tuple[list[str], float]:
    """The digits of one row, and by how much they may differ all together for they are rounded."""
    places = [0 if len(each.digits) == 1 else place for each in columns]
    own = list(zip(columns, places, strict=True))
    return [each.digits[at] for each, at in own], sum(each.rounding[at] for each, at in own)
