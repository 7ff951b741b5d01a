"""What a digital calibration certificate says is read, and every trap in it is named with its element.

The samples are those of dcclib (tests/dcc/samples, licence beside them), read by dccXMLJSONConv too; the others are invented.
"""

import json
import warnings
from importlib import resources
from pathlib import Path

import pytest

from calib.procedures.dcc.document import read_document
from calib.procedures.dcc.read_certificate import CertificateWanted, read_certificate
from tests.dcc.invented import (
    INDICATION,
    INDICATIONS,
    M_S,
    REFERENCE,
    REFERENCES,
    ROWS,
    U,
    certificate,
    condition,
    expanded,
    expanded_2_2,
    quantity,
    recalibration,
    result,
    values,
)

M_H = r"\metre\hour\tothe{-1}"
SAMPLES = Path(__file__).parents[2] / "dcc" / "samples"
VANE = CertificateWanted("air velocity", "air velocity", "m/s", 12)
THERMOMETER = CertificateWanted("temperature", "temperature", "degC", 24)


def read(text, wanted=VANE):
    content = text if isinstance(text, bytes) else text.encode()
    root, wrong = read_document("c.xml", content)
    assert root is not None, wrong
    return read_certificate(root, "c.xml", wanted)


def findings_of(text):
    root, wrong = read_document("c.xml", text if isinstance(text, bytes) else text.encode())
    return [str(each) for each in (wrong if root is None else read_certificate(root, "c.xml", VANE).findings)]


def comparisons(text):
    own = read(text)
    assert own.findings == []
    return [row for each in own.results for row in each.rows]


def as_typed(*columns):
    return [tuple(row[column] for column in columns) for row in ROWS]


THREE = ("reference", "indication", "expanded_uncertainty")


def _covariance(name):
    """An element that lists covariances, as a column of a matrix would."""
    column = "si:columnXMLList" if name.endswith("XMLList") else "si:column"
    return f"<si:covarianceMatrix><{column}><{name}>0.0001 0.0001</{name}></{column}></si:covarianceMatrix>"


# Names: the elements that repeat themselves in the schemas, as dccXMLJSONConv lists them.
LISTED = json.loads(resources.files("dccXMLJSONConv").joinpath("data/schemaTypeCastCache.json").read_text("utf-8"))
COVARIANCES = {name for each in LISTED.values() for name in each["repeated_elements"] if "covariance" in name}


@pytest.mark.parametrize("name", sorted(COVARIANCES))
def test_covariances_that_are_stated_are_not_passed_over_in_silence(name):
    reference = quantity("basic_referenceValue", values(REFERENCES, uncertainty=expanded() + _covariance(name)))
    own = read(certificate(result(reference, INDICATION)))
    assert (own.findings, [row["reference"] for row in own.results[0].rows]) == ([], REFERENCES.split())
    (said,) = (notice for notice in own.notices if "covariances" in notice)
    assert "are stated and not read" in said
    assert not any("covariances" in notice for notice in read(certificate(result(REFERENCE, INDICATION))).notices)


def test_a_certificate_reads_as_the_comparisons_that_were_typed_of_it():
    rows = comparisons(certificate())
    assert [tuple(row[column] for column in THREE) for row in rows] == as_typed(*THREE)
    assert {(row["unit"], row["coverage_factor"]) for row in rows} == {("m/s", "2")}


def test_laboratory_days_and_air_are_read():
    cells = {column: cell.value for column, cell in read(certificate()).cells.items()}
    assert cells == {
        "laboratory": "North Laboratory", "calibrated_on": "2026-02-12", "received_on": "2026-02-10",
        "issued_on": "2026-02-13", "temperature_degC": "20.1", "pressure_kPa": "101.3", "humidity_percent": "44",
    }  # fmt: skip


# --- the sample, read by others too ----------------------------------------------------------------------------------------------


def test_the_sample_reads_to_the_values_that_a_reader_by_other_hands_reads():
    path = SAMPLES / "valid.xml"
    by_others = dict(_tables_of_json(by_other_hands(path.read_text(encoding="utf-8"))))
    (own,) = read(path.read_bytes(), THERMOMETER).results
    assert [row["reference"] for row in own.rows] == by_others["basic_referenceValue"]
    assert [row["indication"] for row in own.rows] == by_others["basic_measuredValue"]
    assert {(row["expanded_uncertainty"], row["coverage_factor"], row["unit"]) for row in own.rows} == {
        ("0.061", "2", "degC")
    }


def by_other_hands(text):
    """A certificate as dccXMLJSONConv reads it, which speaks to the standard output of what it meets."""
    from dccXMLJSONConv.dccConv import XMLToJson

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return XMLToJson(text.partition("?>")[2])


def _tables_of_json(node):
    """Meaning and digits in degrees Celsius of each quantity of a certificate in JSON."""
    if isinstance(node, dict):
        if "si:hybrid" in node and "@refType" in node:
            for each in node["si:hybrid"]["si:realListXMLList"]:
                if each["si:unitXMLList"]["#text"] == r"\degreecelsius":
                    yield node["@refType"], each["si:valueXMLList"]["#text"].split()
        for each in node.values():
            yield from _tables_of_json(each)
    if isinstance(node, list):
        for each in node:
            yield from _tables_of_json(each)


@pytest.mark.parametrize("sample", ["valid_bom.xml", "valid_signature.xml"])
def test_the_sample_reads_the_same_with_a_mark_of_its_encoding_and_with_a_signature(sample):
    own, first = (read((SAMPLES / name).read_bytes(), THERMOMETER) for name in (sample, "valid.xml"))
    assert [each.rows for each in own.results] == [each.rows for each in first.results]
    assert own.findings == []


@pytest.mark.parametrize(
    ("sample", "said"), [("invalid_syntax.xml", "XML that is whole"), ("invalid_schema.xml", "uniqueIdentifier")]
)
def test_a_sample_that_is_wrong_is_named(sample, said):
    assert any(said in line for line in findings_of((SAMPLES / sample).read_bytes()))


# --- what is taken as what -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("names", [expanded, expanded_2_2])
def test_u_is_read_by_its_old_names_and_by_those_of_d_si_2_2(names):
    rows = comparisons(
        certificate(result(quantity("basic_referenceValue", values(REFERENCES, uncertainty=names())), INDICATION))
    )
    assert [row["expanded_uncertainty"] for row in rows] == U.split()


def test_a_list_of_length_1_stands_for_every_value():
    reference = quantity("basic_referenceValue", values(REFERENCES, uncertainty=expanded(u="0.05", p="0.9545")))
    rows = comparisons(certificate(result(reference, INDICATION)))
    assert {(row["expanded_uncertainty"], row["coverage_probability_percent"]) for row in rows} == {("0.05", "95.45")}
    assert len(rows) == len(ROWS)


ERRORS = "0.06 0.05 -0.01 -0.08 -0.14 -0.26 -0.40"
OF_ERROR = quantity("basic_measurementError", values(ERRORS, uncertainty=expanded()))


def test_u_that_stands_with_the_error_is_taken_from_there_and_said():
    own = read(certificate(result(quantity("basic_referenceValue", values(REFERENCES)), INDICATION, OF_ERROR)))
    assert own.findings == []
    assert [row["expanded_uncertainty"] for row in own.results[0].rows] == U.split()
    assert "U stands with the error, and is taken from there" in own.notices


def test_u_that_stands_twice_is_that_of_the_reference_value_and_said():
    own = read(
        certificate(
            result(
                REFERENCE, INDICATION, quantity("basic_measurementError", values(ERRORS, uncertainty=expanded(u="9")))
            )
        )
    )
    assert [row["expanded_uncertainty"] for row in own.results[0].rows] == U.split()
    assert "U is stated more than once: that of the reference value is taken" in own.notices


def test_u_in_another_unit_is_turned_into_that_of_the_reference_value():
    in_mm = expanded(u=" ".join(f"{float(u) * 1000:.1f}" for u in U.split()))
    error = values(" ".join(f"{float(e) * 1000:.0f}" for e in ERRORS.split()), r"\milli\metre\second\tothe{-1}", in_mm)
    rows = comparisons(
        certificate(
            result(
                quantity("basic_referenceValue", values(REFERENCES)),
                INDICATION,
                quantity("basic_measurementError", error),
            )
        )
    )
    assert [float(row["expanded_uncertainty"]) for row in rows] == pytest.approx(
        [float(u) for u in U.split()], rel=1e-12
    )


def test_0_95_beside_k_2_is_about_95_percent_and_said():
    own = read(
        certificate(
            result(quantity("basic_referenceValue", values(REFERENCES, uncertainty=expanded(p="0.95"))), INDICATION)
        )
    )
    assert "coverage_probability_percent" not in own.results[0].rows[0]
    assert any("95.45" in notice for notice in own.notices)


def test_a_value_told_in_two_units_is_read_in_that_of_the_register():
    per_hour, per_second = (
        values("2160 9000", M_H, expanded(u="72")),
        values("0.60 2.50", uncertainty=expanded(u="0.02")),
    )
    both = f"<si:hybrid>{per_hour}{per_second}</si:hybrid>"
    rows = comparisons(
        certificate(
            result(quantity("basic_referenceValue", both), quantity("basic_measuredValue", values("0.66 2.49")))
        )
    )
    assert [(row["reference"], row["unit"], row["expanded_uncertainty"]) for row in rows] == [
        ("0.60", "m/s", "0.02"),
        ("2.50", "m/s", "0.02"),
    ]


@pytest.mark.parametrize(
    ("day", "taken", "said"),
    [
        ("2026-08-12", "2026-08-12", None),
        ("2027-02-12", "2027-02-12", None),
        (
            "2028-02-12",
            None,
            "recalibration by 2028-02-12; the interval of 12 months gives 2027-02-12: the earlier is taken",
        ),
    ],
)
def test_of_the_recalibration_date_and_the_own_interval_the_earlier_is_taken(day, taken, said):
    own = read(certificate(statements=recalibration(day)))
    cell = own.cells.get("due_on")
    assert (None if cell is None else cell.value) == taken
    assert said is None or any(said in notice for notice in own.notices)


def test_a_lowest_and_a_highest_temperature_are_read_as_their_middle_and_said():
    both = "".join(
        f"<dcc:quantity><si:real><si:value>{value}</si:value><si:unit>\\kelvin</si:unit></si:real></dcc:quantity>"
        for value in ("293.15", "295.15")
    )
    air = f'<dcc:influenceCondition refType="basic_temperature"><dcc:data>{both}</dcc:data></dcc:influenceCondition>'
    own = read(certificate(conditions=air))
    assert own.cells["temperature_degC"].value == "21"
    assert any("from 20 to 22" in notice for notice in own.notices)


def test_a_later_minor_version_is_read_and_said():
    own = read(certificate(version="3.7.0"))
    assert own.findings == []
    assert any("3.7.0" in notice for notice in own.notices)


WARMTH = result(
    quantity("basic_referenceValue", values("20.0 25.0", r"\degreecelsius", expanded(u="0.1"))),
    quantity("basic_measuredValue", values("20.1 25.2", r"\degreecelsius")),
    name="Temperature",
)


def test_a_table_of_another_quantity_is_left_out_and_said():
    own = read(certificate(result(REFERENCE, INDICATION), WARMTH))
    assert own.findings == []
    assert [len(each.rows) for each in own.results] == [7]
    assert "Temperature: a table of another quantity than air velocity is left out" in own.notices
    assert any("a result of air velocity with quantities" in line for line in findings_of(certificate(WARMTH)))


@pytest.mark.parametrize("version", ["3.0.0", "3.1.2", "3.2.1", "3.3.0", "3.3.0-rc.2"])
def test_every_version_of_the_schema_that_is_known_is_read(version):
    own = read(certificate(version=version))
    assert (own.findings, own.notices) == ([], [])


def test_a_comment_within_a_number_does_not_cut_it():
    rows = comparisons(certificate().replace("0.60 1.20", "0.6<!-- x -->0 1.20"))
    assert rows[0]["reference"] == "0.60"


# --- what is refused -------------------------------------------------------------------------------------------------------------

PLAIN = quantity("basic_referenceValue", values(REFERENCES))
TABLE = "measurementResults/measurementResult/results/result/data/list"


def with_reference(content):
    return certificate(result(quantity("basic_referenceValue", content), INDICATION))


INTERVAL = (
    "<si:coverageIntervalXMLList><si:standardUncXMLList>0.1</si:standardUncXMLList><si:intervalMinXMLList>0</si:intervalMinXMLList>"
    "<si:intervalMaxXMLList>1</si:intervalMaxXMLList></si:coverageIntervalXMLList>"
)


def with_hybrid(of_m_s, of_m_h):
    both = f"<si:hybrid>{values('0.60 2.50', uncertainty=of_m_s)}{values('2160 9000', M_H, of_m_h)}</si:hybrid>"
    return certificate(
        result(quantity("basic_referenceValue", both), quantity("basic_measuredValue", values("0.66 2.49")))
    )


HALF = f"<si:hybrid>{values('0.60 2.50', uncertainty=expanded(u='0.02'))}{values('2160 9999', M_H)}</si:hybrid>"
TRAPS = {
    "another length of U": (
        with_reference(values(REFERENCES, uncertainty=expanded(u="0.02 0.03"))),
        "quantity[1]/si:realListXMLList/si:expandedUncXMLList/si:uncertaintyXMLList: expected 1 or 7 numbers",
    ),
    "another length of k": (
        with_reference(values(REFERENCES, uncertainty=expanded(k="2 2 2"))),
        "si:coverageFactorXMLList: expected 1 or 7 numbers",
    ),
    "another length of the indication": (
        certificate(result(REFERENCE, quantity("basic_measuredValue", values("1 2 3")))),
        "quantity[2]/si:realListXMLList: expected 1 or 7 values",
    ),
    "two units": (
        with_reference(values(REFERENCES, unit=f"{M_S} {M_S}", uncertainty=expanded())),
        "one unit for all values",
    ),
    "a unit of another kind": (
        with_reference(values(REFERENCES, unit=r"\pascal", uncertainty=expanded())),
        r"'\\pascal'; expected a unit of air velocity",
    ),
    "a unit in words": (
        with_reference(values(REFERENCES, unit="m/s", uncertainty=expanded())),
        "'m/s'; expected a unit of air velocity as D-SI writes it",
    ),
    "values that contradict one another": (
        certificate(
            result(quantity("basic_referenceValue", HALF), quantity("basic_measuredValue", values("0.66 2.49")))
        ),
        "si:hybrid: '2.50 m/s, 2.7775 m/s'; expected one value, told in two units",
    ),
    "U that contradicts itself": (
        with_hybrid(expanded(u="0.02"), expanded(u="72 108")),
        "si:hybrid: 'U 0.02 m/s, U 0.03 m/s'; expected one value, told in two units",
    ),
    "k that contradicts itself": (
        with_hybrid(expanded(u="0.02", k="2"), expanded(u="72", k="2.1")),
        "si:hybrid: 'k 2, k 2.1'; expected one value, told in two units",
    ),
    "a coverage interval": (
        with_reference(values(REFERENCES, uncertainty=INTERVAL)),
        "si:coverageIntervalXMLList: expected an expanded uncertainty with its coverage factor, not a coverage interval",
    ),
    "no U": (certificate(result(PLAIN, INDICATION)), f"{TABLE}: expected U with its coverage factor"),
    "U without k": (
        with_reference(
            values(
                REFERENCES,
                uncertainty=f"<si:expandedUncXMLList><si:uncertaintyXMLList>{U}</si:uncertaintyXMLList></si:expandedUncXMLList>",
            )
        ),
        "si:expandedUncXMLList: expected the coverage factor of U",
    ),
    "NaN": (
        certificate(result(REFERENCE, quantity("basic_measuredValue", values(INDICATIONS.replace("0.66", "NaN"))))),
        "si:valueXMLList: 'NaN'; expected a finite number",
    ),
    "infinity": (
        certificate(result(REFERENCE, quantity("basic_measuredValue", values(INDICATIONS.replace("0.66", "INF"))))),
        "'INF'; expected a finite number",
    ),
    "a decimal comma": (
        certificate(result(REFERENCE, quantity("basic_measuredValue", values(INDICATIONS.replace("0.66", "0,66"))))),
        "'0,66'; expected a finite number",
    ),
    "U of nothing": (
        with_reference(values(REFERENCES, uncertainty=expanded(u="0"))),
        "si:uncertaintyXMLList: '0'; expected",
    ),
    "k below 1": (
        with_reference(values(REFERENCES, uncertainty=expanded(k="0.5"))),
        "si:coverageFactorXMLList: '0.5'; expected",
    ),
    "a probability in percent": (
        with_reference(values(REFERENCES, uncertainty=expanded(p="95"))),
        "'95'; expected a coverage probability above 0.5 and below 1",
    ),
    "two indications": (
        certificate(result(REFERENCE, INDICATION, INDICATION)),
        "quantity[3]: expected one quantity that is basic_measuredValue in a table (there are 2)",
    ),
    "no indication": (certificate(result(REFERENCE)), f"{TABLE}: expected a quantity that is basic_measuredValue"),
    "no table": (
        certificate(result(quantity("basic_else", values("1")))),
        "measurementResults: expected a result of air velocity with quantities that are marked",
    ),
    "an error that does not follow": (
        certificate(
            result(REFERENCE, INDICATION, quantity("basic_measurementError", values(ERRORS.replace("-0.26", "0.26"))))
        ),
        "'0.26 m/s'; expected indication less reference value, -0.26 m/s",
    ),
    "40 of humidity": (
        certificate(conditions=condition("basic_humidityRelative", "40", r"\one")),
        r"'40 \\one'; expected 0 to 1 with \\one, 0 to 100 with \\percent",
    ),
    "a temperature in the unit of another": (
        certificate(conditions=condition("basic_temperature", "20.1", r"\kelvin")),
        r"'20.1 \\kelvin'; expected -40 to 60 degC",
    ),
    "no serial number": (
        certificate(items="<dcc:item><dcc:name/></dcc:item>"),
        "items/item: expected an identification by its manufacturer",
    ),
    "two items": (
        certificate(items="<dcc:item/><dcc:item/>"),
        "items: expected one item that was calibrated (it has 2)",
    ),
    "no laboratory": (
        certificate(laboratory=" "),
        "calibrationLaboratory: expected a calibrationLaboratory with its name",
    ),
    "a day that is none": (
        certificate(calibrated="2026-02-30"),
        "coreData/endPerformanceDate: '2026-02-30'; expected a date",
    ),
    "version 2": (certificate(version="2.4.0"), "schemaVersion: '2.4.0'; expected a version 3"),
    "a version that is none": (certificate(version="3.x"), "schemaVersion: '3.x'; expected a version 3"),
    "no version": (certificate(version=""), "schemaVersion: blank; expected a version 3"),
    "another document": (
        "<html xmlns='http://www.w3.org/1999/xhtml'/>",
        "html: expected a digital calibration certificate",
    ),
    "an entity": (
        certificate(before='<!DOCTYPE x [<!ENTITY a "1">]>'),
        "c.xml: expected a certificate without declarations of its own",
    ),
    "entities within one another": (
        certificate(before='<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>', number="&b;"),
        "without declarations of its own",
    ),
    "an outside entity": (
        certificate(before='<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>', number="&a;"),
        "without declarations of its own",
    ),
    "a document type": (
        certificate(before='<!DOCTYPE x SYSTEM "http://localhost/x.dtd">'),
        "without a document type or declarations of its own",
    ),
    "too deep": (
        certificate(after="<a>" * 120 + "</a>" * 120),
        "a certificate with at most 100 elements within one another",
    ),
    "too many elements": (certificate(after="<a/>" * 100_001), "a certificate with at most 100,000 elements of XML"),
    "too many values": (
        with_reference(values("1 " * 1_001, uncertainty=expanded(u="0.1"))),
        "at most 1,000 values (it has 1,001)",
    ),
}


@pytest.mark.parametrize("trap", TRAPS)
def test_a_trap_is_named_with_its_element(trap):
    text, said = TRAPS[trap]
    lines = findings_of(text)
    assert any(said.replace("\\\\", "\\") in line.replace("\\\\", "\\") for line in lines), lines
    assert all("\n" not in line for line in lines)


@pytest.mark.parametrize("encoding", ["UTF-99", "x" * 500, "utf-7", ""])
def test_an_encoding_that_nobody_knows_is_no_certificate(encoding):
    text = certificate().replace('encoding="UTF-8"', f'encoding="{encoding}"')
    assert findings_of(text) == ["c.xml: expected XML that is whole"]


def test_a_single_value_within_a_list_is_none():
    lines = findings_of(with_reference(values(REFERENCES).replace("valueXMLList", "value")))
    assert any("si:realListXMLList: expected at least one value" in line for line in lines)


def test_a_part_that_the_schema_does_not_know_is_named():
    lines = findings_of(certificate(after="<ds:Signature xmlns:ds='http://www.w3.org/2000/09/xmldsi'/>"))
    assert lines == [
        (
            "c.xml, Signature: expected one of the parts of a certificate: dcc:administrativeData, dcc:measurementResults, "
            "dcc:comment, dcc:document, ds:Signature"
        )
    ]


def test_everything_wrong_is_told_at_once():
    lines = findings_of(
        certificate(
            result(REFERENCE, quantity("basic_measuredValue", values(INDICATIONS.replace("0.66", "NaN")))),
            serial="",
            calibrated="yesterday",
            conditions=condition("basic_humidityRelative", "40", r"\one"),
        )
    )
    assert [any(said in line for line in lines) for said in ("NaN", "manufacturer", "yesterday", "40 ")] == [True] * 4
