"""A calibration is written as DCC 3.3 so that it reads back to the same comparisons, and as others ask of such a file.

By other hands: the rules of the schema as Schematron (dcclib), the reader dccXMLJSONConv with its list of the elements of 3.3.0,
and the order of elements in dcclib's sample. The XSD itself is in no package that is openly to be had.
"""

import json
import warnings
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.procedures.dcc.document import Node, read_document
from calib.procedures.dcc.read_certificate import CertificateWanted, read_certificate
from calib.procedures.dcc.si_units import in_d_si, is_written
from calib.procedures.dcc.write_certificate import CertificateToWrite, certificate_xml, units_not_written
from calib.quantities import UNITS, unit

SAMPLES = Path(__file__).parents[2] / "dcc" / "samples"
INSTRUMENT = {
    "tag": "VA-9",
    "kind": "vane <& co>",
    "maker": "Maker",
    "model": "M 9",
    "serial": "0-9",
    "quantity": "air velocity",
}
CALIBRATION = {
    "certificate": "IN-26-08", "laboratory": "own bench", "accreditation": None, "received_on": None, "issued_on": "2026-06-03",
    "calibrated_on": "2026-06-02", "due_on": "2026-12-02", "traceability": "to the SI by RS-1", "procedure": "in the tunnel",
    "temperature_degC": "20.1", "pressure_kPa": "101.30", "humidity_percent": "44",
}  # fmt: skip
EMPTY = ("indication_unit", "coverage_probability_percent", "repeatability", "observations")


def row(reference="0.60", indication="0.66", u="0.02", **more):
    cells = dict.fromkeys(EMPTY) | {
        "phase": "as-left", "reference": reference, "indication": indication, "unit": "m/s", "expanded_uncertainty": u,
        "coverage_factor": "2",
    }  # fmt: skip
    return cells | more


def written(rows, calibration=(), instrument=(), indicated=None):
    own = INSTRUMENT | dict(instrument)
    return certificate_xml(
        CertificateToWrite(
            own,
            CALIBRATION | dict(calibration),
            rows,
            indicated or own["quantity"],
            [("standard", "RS-1", "003")],
            "DE",
            "The Company",
            ("A. Person", "B. Person"),
            "0.1.0",
        )
    )


def read_back(content, wanted=None):
    root, wrong = read_document("c.xml", content)
    assert root is not None, wrong
    read = read_certificate(root, "c.xml", wanted or CertificateWanted("air velocity", "air velocity", "m/s", 12))
    assert read.findings == []
    return read


def comparisons(read):
    return [{**dict.fromkeys(EMPTY), "phase": each.name, **cells} for each in read.results for cells in each.rows]


SEVERAL = [
    row(repeatability="0.012", observations="6"),
    row("1.20", "1.25", "0.0246", coverage_factor="2.05", repeatability="0.020", observations="6"),
    row("14.00", "13.60", "0.127", repeatability="0.060", observations="10"),
]


def test_it_reads_back_to_the_same_comparisons_digit_for_digit():
    rows = [*(each | {"phase": "as-found"} for each in SEVERAL), *SEVERAL]
    assert comparisons(read_back(written(rows))) == rows


def test_everything_else_reads_back_too():
    read = read_back(written(SEVERAL))
    assert {column: cell.value for column, cell in read.cells.items()} == {
        name: value for name, value in CALIBRATION.items() if value is not None and name != "certificate"
    }
    assert ([each.value for each in read.numbers], [each.value for each in read.serials]) == (["IN-26-08"], ["0-9"])
    assert (read.maker, read.model) == ("Maker", "M 9")


_DIGITS = st.decimals("0.001", "9000", places=3).map(str)
_QUANTITIES = st.sampled_from([
    ("air velocity", "m/s"), ("air velocity", "km/h"), ("volume flow", "L/s"), ("volume flow", "m3/h"), ("pressure", "Pa"),
    ("pressure", "hPa"), ("temperature", "degC"), ("relative humidity", "%"), ("voltage", "mV"),
])  # fmt: skip


@given(
    _QUANTITIES,
    st.lists(
        st.tuples(_DIGITS, _DIGITS, _DIGITS, st.sampled_from(["1", "2", "2.13"]), st.none() | _DIGITS),
        min_size=1,
        max_size=5,
    ),
    st.none() | st.sampled_from(["95", "99", "95.45"]),
)
def test_invented_certificates_read_back_digit_for_digit(measured, drawn, percent):
    quantity, symbol = measured
    rows = [
        row(
            x, y, u, unit=symbol, coverage_factor=k, repeatability=s,
            coverage_probability_percent=None if percent == "95" and k == "2" else percent,
        )
        for x, y, u, k, s in drawn
    ]  # fmt: skip
    read = read_back(
        written(rows, instrument={"quantity": quantity}), CertificateWanted(quantity, quantity, symbol, 12)
    )
    for back, own in zip(comparisons(read), rows, strict=True):
        left_out = own | {
            "coverage_probability_percent": own["coverage_probability_percent"] or back["coverage_probability_percent"]
        }
        assert back == left_out
        assert back["coverage_probability_percent"] in {percent, None, "95.45"}


IN_FEET = [
    row("100", "108", "5", unit="fpm", repeatability="2"),
    row("3000", "2962", "50", unit="fpm", repeatability="4.5"),
]
OF_FEET = CertificateWanted("air velocity", "air velocity", "fpm", 12)


def test_a_unit_that_d_si_does_not_know_stands_beside_the_coherent_one_and_reads_back_as_it_was():
    content = written(IN_FEET)
    assert comparisons(read_back(content, OF_FEET)) == IN_FEET
    writing = CertificateToWrite(INSTRUMENT, CALIBRATION, IN_FEET, "air velocity", [], "DE", "C", ["A"], "0.1.0")
    assert [own.symbol for own in units_not_written(writing)] == ["fpm"]
    assert b"<dcc:nonSIUnit>|fpm</dcc:nonSIUnit>" in content
    in_si = comparisons(read_back(content))
    for own, read in zip(IN_FEET, in_si, strict=True):
        for column in ("reference", "indication", "expanded_uncertainty"):
            assert float(read[column]) == pytest.approx(float(own[column]) * 0.3048 / 60, rel=1e-11)


def test_another_unit_that_contradicts_the_coherent_one_is_refused():
    root, _ = read_document("c.xml", written(IN_FEET).replace(b"100 3000", b"101 3000"))
    assert any(
        "one value, told in two units" in str(each) for each in read_certificate(root, "c.xml", OF_FEET).findings
    )


def test_another_unit_that_stands_alone_is_refused():
    content = written(SEVERAL).replace(b"\\metre\\second\\tothe{-1}", b"|fpm")
    root, _ = read_document("c.xml", content)
    assert any(
        "'|fpm'; expected a unit of D-SI" in str(each) for each in read_certificate(root, "c.xml", OF_FEET).findings
    )


def test_rows_in_different_units_are_written_in_the_coherent_one():
    rows = [row("100", "108", "5", unit="fpm"), row("3.00", "2.96", "0.05")]
    read = comparisons(read_back(written(rows)))
    assert [float(each["reference"]) for each in read] == pytest.approx([0.508, 3.0], rel=1e-11)


def test_an_instrument_that_indicates_another_quantity_reads_back():
    rows = [row("1.0", "2.5", "0.02", indication_unit="V"), row("4.0", "4.5", "0.04", indication_unit="V")]
    read = read_back(written(rows, indicated="voltage"), CertificateWanted("air velocity", "voltage", "V", 12))
    assert comparisons(read) == rows


@pytest.mark.parametrize("text", ["<&>\"'", "a\x01b", "\N{GRINNING FACE} 測", "]]>", "x" * 5_000])
def test_any_text_is_written(text):
    read = read_back(written(SEVERAL, calibration={"laboratory": text}))
    assert read.cells["laboratory"].value == text.replace("\x01", "\N{REPLACEMENT CHARACTER}")


# --- by other hands --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rows", [SEVERAL, IN_FEET])
def test_the_rules_of_the_schema_find_no_error(rows):
    from dcclib.validation import SchematronValidator

    rules = resources.files("dcclib.validation.schema").joinpath("dcc.sch")
    validator = SchematronValidator.from_file(str(rules))
    errors = [
        report.text
        for state in (validator.validate_str(written(rows).decode().partition("\n")[2]),)
        for report in (*state.failed_assertions, *state.successful_reports)
        if report.role == "error"
    ]
    assert errors == []
    wrong = written(SEVERAL).replace(b"<si:uncertaintyXMLList>0.02 ", b"<si:uncertaintyXMLList>")
    state = validator.validate_str(wrong.decode().partition("\n")[2])
    assert any(each.role == "error" for each in (*state.failed_assertions, *state.successful_reports))


def _leaves(node):
    children = list(node.children())
    return {node.name} if not children else set().union(*map(_leaves, children))


def test_every_element_with_a_value_is_one_of_the_schema():
    listed = json.loads(resources.files("dccXMLJSONConv").joinpath("data/schemaTypeCastCache.json").read_text("utf-8"))
    of_3_3 = listed['["https://ptb.de/dcc/dcc.xsd", "3.3.0"]']
    known = {name for kind in ("non_list_typecast_dict", "list_typecast_dict") for name in of_3_3[kind]}
    root, _ = read_document(
        "c.xml", written(SEVERAL, calibration={"accreditation": "K-1", "received_on": "2026-06-01"})
    )
    # Texts and words of a list have no simple type of their own, so the list leaves them out; the sample has them.
    of_sample = {"dcc:content", "dcc:issuer", "dcc:performanceLocation"}
    assert _leaves(root) - known == of_sample & _leaves(root)


def _orders(node):
    """Pairs of children of each element, in their order."""
    names = [child.name for child in node.children()]
    yield from (
        (node.name, before, after)
        for place, before in enumerate(names)
        for after in names[place + 1 :]
        if before != after
    )
    for child in node.children():
        yield from _orders(child)


def test_elements_stand_in_the_order_of_the_sample():
    sample, _ = read_document("valid.xml", (SAMPLES / "valid.xml").read_bytes())
    root, _ = read_document("c.xml", written(SEVERAL))
    of_sample = set(_orders(sample))
    turned = [(parent, after, before) for parent, before, after in _orders(root)]
    # In a usedMethod, say, the sample has norm behind description, and so has what is written.
    assert [each for each in turned if each in of_sample and (each[0], each[2], each[1]) not in of_sample] == []
    assert isinstance(root, Node)


def test_another_reader_reads_the_same_values():
    from dccXMLJSONConv.dccConv import XMLToJson

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = XMLToJson(written(SEVERAL).decode().partition("-->")[2])
    results = other["dcc:digitalCalibrationCertificate"]["dcc:measurementResults"]["dcc:measurementResult"][
        "dcc:results"
    ]
    quantities = results["dcc:result"]["dcc:data"]["dcc:list"]["dcc:quantity"]
    by_others = {each["@refType"]: each["si:realListXMLList"] for each in quantities}
    reference = by_others["basic_referenceValue"]
    assert reference["si:valueXMLList"]["#text"].split() == [each["reference"] for each in SEVERAL]
    u = reference["si:expandedUncXMLList"]
    assert u["si:uncertaintyXMLList"]["#text"].split() == [each["expanded_uncertainty"] for each in SEVERAL]
    assert u["si:coverageFactorXMLList"]["#text"].split() == [each["coverage_factor"] for each in SEVERAL]
    assert by_others["basic_measuredValue"]["si:valueXMLList"]["#text"].split() == [
        each["indication"] for each in SEVERAL
    ]


# --- units -----------------------------------------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore")  # that `\\per` is old, which it reads in `\\percent`
def test_units_are_those_of_d_si_as_a_reader_by_other_hands_has_them():
    from dsi_unit import DsiUnit

    for quantity, symbols in UNITS.items():
        base = in_d_si(next(iter(symbols))) if is_written(next(iter(symbols))) else None
        for symbol in filter(is_written, symbols):
            own = DsiUnit(in_d_si(symbol))
            assert own.valid
            if symbol != "degC":
                scale = float(DsiUnit(base).get_scale_factor(own))
                assert scale == pytest.approx(unit(quantity, symbol).scale, rel=1e-12), symbol
