"""Write a calibration as a digital calibration certificate, DCC 3.3.0.

The digits are those of the records in their unit. One that D-SI does not know (feet, inches) stands beside the coherent one in
si:hybrid, declared in a statement; where the units of rows differ all are written in the coherent one. U stands with
the reference value by names that D-SI 2.2 shares with the versions before it. What the schema has no meaning for has one of this
program's: repeatability and number of observations (`calib_...`). Elements and their order are those of the samples of dcclib;
calibrationLaboratoryCode and issueDate stand where they do from memory.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from calib.procedures.dcc.document import NAMESPACES
from calib.procedures.dcc.read_certificate import INFLUENCE_CONDITIONS, MEASURED, OBSERVATIONS, REFERENCE, REPEATABILITY
from calib.procedures.dcc.si_units import in_d_si, is_written, of_no_d_si
from calib.quantities import Unit, coherent, unit

WRITTEN_BEGINS = b'<?xml version="1.0" encoding="UTF-8"?>\n<!-- written by calib from its records -->\n'
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, 2.2
_SCHEMA = "http://www.w3.org/2001/XMLSchema-instance"
_ABOUT_95 = "0.9545"
_DIGITS = 12  # of a value that is written in another unit than it was typed in


@dataclass(frozen=True)
class CertificateToWrite:
    """What a certificate is written from: cells as the records hold them."""

    instrument: Mapping[str, Any]
    calibration: Mapping[str, Any]
    comparisons: Sequence[Mapping[str, Any]]
    indicated: str  # the quantity that the instrument indicates
    standards: Sequence[tuple[str, str, str]]  # of each reference standard: what it is, tag, serial number
    country: str  # ISO 3166-1
    customer: str
    people: Sequence[str]  # who answers for it, the first one signing
    version: str  # of this program


def certificate_xml(writing: CertificateToWrite) -> bytes:
    """The whole file."""
    from lxml import etree  # noqa: PLC0415 (for certificates as XML alone)

    names = {"xsi": _SCHEMA, "dcc": NAMESPACES["dcc"], "si": NAMESPACES["si"]}
    root = etree.Element(f"{{{NAMESPACES['dcc']}}}digitalCalibrationCertificate", nsmap=names)
    root.set(f"{{{_SCHEMA}}}schemaLocation", f"{NAMESPACES['dcc']} {NAMESPACES['dcc']}/v3.3.0/dcc.xsd")
    root.set("schemaVersion", "3.3.0")
    whole = _Element(root)
    _administrative(whole.add("administrativeData"), writing)
    _results(whole.add("measurementResults").add("measurementResult"), writing)
    etree.indent(root)
    return WRITTEN_BEGINS + bytes(etree.tostring(root, encoding="UTF-8")) + b"\n"


class _Element:
    """An element to which others are added, those of the schema by their bare name."""

    def __init__(self, element: Any) -> None:
        self._element = element

    def add(self, name: str, text: str | None = None, meaning: str | None = None) -> "_Element":
        from lxml import etree  # noqa: PLC0415

        prefix, _, local = name.rpartition(":")
        child = etree.SubElement(self._element, f"{{{NAMESPACES[prefix or 'dcc']}}}{local}")
        if text is not None:
            child.text = _NO_XML.sub("\N{REPLACEMENT CHARACTER}", text)
        if meaning is not None:
            child.set("refType", meaning)
        return _Element(child)

    def first(self, name: str, text: str) -> None:
        """Add an element before the others."""
        self.add(name, text)
        self._element.insert(0, self._element[-1])

    def worded(self, name: str, text: str) -> None:
        """A text of the schema, which may stand in several languages."""
        self.add(name).add("content", text)


# --- who, what, when -------------------------------------------------------------------------------------------------------------


def _administrative(part: _Element, writing: CertificateToWrite) -> None:
    software = part.add("dccSoftware").add("software")
    software.worded("name", "calib")
    software.add("release", f"v{writing.version}")
    _core(part.add("coreData"), writing)
    _item(part.add("items").add("item"), writing.instrument)
    laboratory = part.add("calibrationLaboratory")
    if writing.calibration["accreditation"]:
        laboratory.add("calibrationLaboratoryCode", writing.calibration["accreditation"])
    _contact(laboratory.add("contact"), writing.calibration["laboratory"], writing.country)
    responsible = part.add("respPersons")
    for place, name in enumerate(dict.fromkeys(writing.people)):
        person = responsible.add("respPerson")
        person.add("person").worded("name", name)
        if place == 0:
            person.add("mainSigner", "true")
    _contact(part.add("customer"), writing.customer, writing.country)
    _statements(part, writing)


def _core(core: _Element, writing: CertificateToWrite) -> None:
    stated = writing.calibration
    core.add("countryCodeISO3166_1", writing.country)
    core.add("usedLangCodeISO639_1", "en")
    core.add("mandatoryLangCodeISO639_1", "en")
    core.add("uniqueIdentifier", stated["certificate"])
    if stated["received_on"]:
        core.add("receiptDate", stated["received_on"])
    core.add("beginPerformanceDate", stated["calibrated_on"])
    core.add("endPerformanceDate", stated["calibrated_on"])
    core.add("performanceLocation", "laboratory")
    if stated["issued_on"]:
        core.add("issueDate", stated["issued_on"])


def _item(item: _Element, instrument: Mapping[str, Any]) -> None:
    item.worded("name", instrument["kind"])
    item.add("manufacturer").worded("name", instrument["maker"])
    item.add("model", instrument["model"])
    own = item.add("identifications")
    for issuer, value, name in (
        ("manufacturer", instrument["serial"], "Serial number"),
        ("customer", instrument["tag"], "Tag"),
    ):
        _identification(own, issuer, value, name)


def _identification(own: _Element, issuer: str, value: str, name: str) -> None:
    identification = own.add("identification")
    identification.add("issuer", issuer)
    identification.add("value", value)
    identification.worded("name", name)


def _contact(contact: _Element, name: str, country: str) -> None:
    contact.worded("name", name)
    contact.add("location").add("countryCode", country)


def _statements(part: _Element, writing: CertificateToWrite) -> None:
    stated, others = writing.calibration, list(units_not_written(writing))
    if not (stated["due_on"] or stated["traceability"] or others):
        return
    statements = part.add("statements")
    if stated["traceability"]:
        traced = statements.add("statement", meaning="basic_metrologicallyTraceable")
        traced.worded("declaration", stated["traceability"])
    if stated["due_on"]:
        due = statements.add("statement", meaning="basic_recalibration")
        due.worded("declaration", "The instrument is to be calibrated again on this day at the latest.")
        due.add("date", stated["due_on"])
    for own in others:
        declared = statements.add("statement")
        declared.worded("declaration", f"{own.symbol} is a unit of {own.quantity} that D-SI does not know.")
        declared.add("nonSIDefinition", f"{own.scale:.{_DIGITS}g} {coherent(own.quantity).symbol}")
        declared.add("nonSIUnit", of_no_d_si(own.symbol))


# --- results ---------------------------------------------------------------------------------------------------------------------


def _results(result: _Element, writing: CertificateToWrite) -> None:
    result.worded("name", "Comparisons")
    methods = result.add("usedMethods")
    uncertainty = methods.add("usedMethod", meaning="basic_uncertainty")
    uncertainty.worded("name", "Expanded uncertainty")
    said = "The standard uncertainty of the reference value, multiplied by the coverage factor that stands beside it."
    uncertainty.worded("description", said)
    uncertainty.add("norm", "GUM")
    if writing.calibration["procedure"]:
        methods.add("usedMethod").worded("name", writing.calibration["procedure"])
    if writing.standards:
        equipment = result.add("measuringEquipments")
        for kind, tag, serial in writing.standards:
            standard = equipment.add("measuringEquipment", meaning="basic_normalUsed")
            standard.worded("name", kind)
            own = standard.add("identifications")
            _identification(own, "manufacturer", serial, "Serial number")
            _identification(own, "calibrationLaboratory", tag, "Tag")
    _conditions(result, writing.calibration)
    results = result.add("results")
    for phase, rows in groupby(writing.comparisons, key=lambda row: str(row["phase"])):
        own_result = results.add("result")
        own_result.worded("name", phase)
        _table(own_result.add("data").add("list"), list(rows), writing)


def _conditions(result: _Element, stated: Mapping[str, Any]) -> None:
    own = [each for each in INFLUENCE_CONDITIONS if stated[each.column]]
    conditions = result.add("influenceConditions") if own else result
    for each in own:
        meaning = f"{each.meaning}{each.more}"
        condition = conditions.add("influenceCondition", meaning=meaning)
        condition.worded("name", each.name)
        quantity = condition.add("data").add("quantity", meaning=meaning)
        quantity.worded("name", each.name)
        value = quantity.add("si:real")
        value.add("si:value", stated[each.column])
        value.add("si:unit", in_d_si(each.symbol))


def _table(table: _Element, rows: Sequence[Mapping[str, Any]], writing: CertificateToWrite) -> None:
    quantity = writing.instrument["quantity"]
    units = [unit(quantity, row["unit"]) for row in rows]
    of_indication = [unit(writing.indicated, row["indication_unit"] or row["unit"]) for row in rows]
    for values, in_si in _quantity(table, REFERENCE, "Reference value", units):
        _values(values, rows, "reference", units if in_si else None)
        _expanded(values.add("si:expandedUncXMLList"), rows, units if in_si else None)
    for values, in_si in _quantity(table, MEASURED, "Indication", of_indication):
        _values(values, rows, "indication", of_indication if in_si else None)
    if any(row["repeatability"] for row in rows):
        for values, in_si in _quantity(table, REPEATABILITY, "Standard deviation of the indications", of_indication):
            spread = _differences(rows, "repeatability", of_indication if in_si else None)
            values.first("si:valueXMLList", " ".join(spread))
    if any(row["observations"] for row in rows):
        told = "Number of indications, of which the one is the mean"
        for values, _ in _quantity(table, OBSERVATIONS, told, [unit("relative humidity", "1")]):
            values.first("si:valueXMLList", " ".join(str(row["observations"] or 0) for row in rows))


def _quantity(table: _Element, meaning: str, name: str, units: Sequence[Unit]) -> Iterator[tuple[_Element, bool]]:
    """Where the values of a quantity go, each with its unit in place, and whether they are turned into the coherent one."""
    quantity = table.add("quantity", meaning=meaning)
    quantity.worded("name", name)
    symbol, in_si = units[0].symbol, coherent(units[0].quantity).symbol
    if len(set(units)) > 1:
        ways = [(in_d_si(in_si), True)]
    elif is_written(symbol):
        ways = [(in_d_si(symbol), False)]
    else:
        ways = [(in_d_si(in_si), True), (of_no_d_si(symbol), False)]
    place = quantity.add("si:hybrid") if len(ways) > 1 else quantity
    for written, is_turned in ways:
        values = place.add("si:realListXMLList")
        values.add("si:unitXMLList", written)
        yield values, is_turned


def _values(values: _Element, rows: Sequence[Mapping[str, Any]], column: str, units: Sequence[Unit] | None) -> None:
    """The values of a column, as they were typed where no units are given to turn them."""
    digits = (
        [row[column] for row in rows]
        if units is None
        else [f"{own.to_si(float(row[column])):.{_DIGITS}g}" for row, own in zip(rows, units, strict=True)]
    )
    values.first("si:valueXMLList", " ".join(digits))


def _expanded(expanded: _Element, rows: Sequence[Mapping[str, Any]], units: Sequence[Unit] | None) -> None:
    expanded.add("si:uncertaintyXMLList", " ".join(_differences(rows, "expanded_uncertainty", units)))
    expanded.add("si:coverageFactorXMLList", " ".join(row["coverage_factor"] for row in rows))
    stated = [row["coverage_probability_percent"] for row in rows]
    if any(stated):
        probabilities = (_ABOUT_95 if each is None else f"{float(each) / 100:.10g}" for each in stated)
        expanded.add("si:coverageProbabilityXMLList", " ".join(probabilities))


def _differences(rows: Sequence[Mapping[str, Any]], column: str, units: Sequence[Unit] | None) -> list[str]:
    """Uncertainties and deviations, 0 where there is none."""
    if units is None:
        return [row[column] or "0" for row in rows]
    pairs = zip(rows, units, strict=True)
    return [f"{own.difference_to_si(float(row[column] or 0)):.{_DIGITS}g}" for row, own in pairs]


def units_not_written(writing: CertificateToWrite) -> Iterator[Unit]:
    """Units of the records that D-SI does not know, each once."""
    of_rows = (
        own
        for row in writing.comparisons
        for own in (
            unit(writing.instrument["quantity"], row["unit"]),
            unit(writing.indicated, row["indication_unit"] or row["unit"]),
        )
    )
    yield from (own for own in dict.fromkeys(of_rows) if not is_written(own.symbol))
