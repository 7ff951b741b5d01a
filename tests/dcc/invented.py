"""Invented digital calibration certificates, for the vane VA-1 of tests.folders; each part may be put in another's place.

Laboratory, numbers and values are invented. The elements are those of the samples beside it; names of D-SI 2.2 are from memory.
"""

from datetime import UTC, datetime, timedelta
from functools import cache

from tests.folders import small_job

ROWS = [row for row in small_job()["comparisons.csv"] if row["certificate"] == "C-101"]
REFERENCES = " ".join(row["reference"] for row in ROWS)
INDICATIONS = " ".join(row["indication"] for row in ROWS)
U = " ".join(row["expanded_uncertainty"] for row in ROWS)
M_S = r"\metre\second\tothe{-1}"
LABORATORY = "North Laboratory"


def values(digits, unit=M_S, uncertainty=""):
    """A list of values."""
    return (
        f"<si:realListXMLList><si:valueXMLList>{digits}</si:valueXMLList><si:unitXMLList>{unit}</si:unitXMLList>"
        f"{uncertainty}</si:realListXMLList>"
    )


def expanded(u=U, k="2", p=None):
    """U as D-SI names it to 2.1."""
    probability = "" if p is None else f"<si:coverageProbabilityXMLList>{p}</si:coverageProbabilityXMLList>"
    return (
        f"<si:expandedUncXMLList><si:uncertaintyXMLList>{u}</si:uncertaintyXMLList>"
        f"<si:coverageFactorXMLList>{k}</si:coverageFactorXMLList>{probability}</si:expandedUncXMLList>"
    )


def expanded_2_2(u=U, k="2", p="0.95"):
    """U as D-SI 2.2 names it."""
    return (
        "<si:measurementUncertaintyUnivariateXMLList><si:expandedMUXMLList>"
        f"<si:valueExpandedMUXMLList>{u}</si:valueExpandedMUXMLList>"
        f"<si:coverageFactorXMLList>{k}</si:coverageFactorXMLList>"
        f"<si:coverageProbabilityXMLList>{p}</si:coverageProbabilityXMLList>"
        "</si:expandedMUXMLList></si:measurementUncertaintyUnivariateXMLList>"
    )


def quantity(meaning, content):
    """A quantity with its meaning."""
    return (
        f'<dcc:quantity refType="{meaning}"><dcc:name><dcc:content>Q</dcc:content></dcc:name>{content}</dcc:quantity>'
    )


REFERENCE = quantity("basic_referenceValue", values(REFERENCES, uncertainty=expanded()))
INDICATION = quantity("basic_measuredValue", values(INDICATIONS))


def result(*quantities, name="Results"):
    """A result with one table."""
    return (
        f"<dcc:result><dcc:name><dcc:content>{name}</dcc:content></dcc:name><dcc:data><dcc:list>{''.join(quantities)}"
        "</dcc:list></dcc:data></dcc:result>"
    )


def condition(meaning, value, unit):
    """A condition of the air."""
    return (
        f'<dcc:influenceCondition refType="{meaning}"><dcc:name><dcc:content>C</dcc:content></dcc:name><dcc:data>'
        f"<dcc:quantity><si:real><si:value>{value}</si:value><si:unit>{unit}</si:unit></si:real></dcc:quantity>"
        "</dcc:data></dcc:influenceCondition>"
    )


CONDITIONS = (
    condition("basic_temperature", "20.1", r"\degreecelsius")
    + condition("basic_pressureAtmospheric", "1013.0", r"\hecto\pascal")
    + condition("basic_humidityRelative", "0.44", r"\one")
)


def certificate(
    *results,
    number="C-201",
    serial="001",
    laboratory=LABORATORY,
    calibrated="2026-02-12",
    begun=None,
    received="2026-02-10",
    issued="2026-02-13",
    statements="",
    conditions=CONDITIONS,
    version="3.3.0",
    root="",
    before="",
    after="",
    items=None,
):
    """The whole as text."""
    item = (
        "<dcc:item><dcc:name><dcc:content>Vane</dcc:content></dcc:name><dcc:manufacturer><dcc:name><dcc:content>Maker"
        "</dcc:content></dcc:name></dcc:manufacturer><dcc:model>M1</dcc:model><dcc:identifications><dcc:identification>"
        f"<dcc:issuer>manufacturer</dcc:issuer><dcc:value>{serial}</dcc:value></dcc:identification></dcc:identifications>"
        "</dcc:item>"
    )
    return f"""<?xml version="1.0" encoding="UTF-8"?>{before}
<dcc:digitalCalibrationCertificate xmlns:dcc="https://ptb.de/dcc" xmlns:si="https://ptb.de/si" schemaVersion="{version}"{root}>
<dcc:administrativeData>
<dcc:coreData>
<dcc:countryCodeISO3166_1>DE</dcc:countryCodeISO3166_1>
<dcc:usedLangCodeISO639_1>en</dcc:usedLangCodeISO639_1>
<dcc:mandatoryLangCodeISO639_1>en</dcc:mandatoryLangCodeISO639_1>
<dcc:uniqueIdentifier>{number}</dcc:uniqueIdentifier>
<dcc:receiptDate>{received}</dcc:receiptDate>
<dcc:beginPerformanceDate>{begun or calibrated}</dcc:beginPerformanceDate>
<dcc:endPerformanceDate>{calibrated}</dcc:endPerformanceDate>
<dcc:performanceLocation>laboratory</dcc:performanceLocation>
<dcc:issueDate>{issued}</dcc:issueDate>
</dcc:coreData>
<dcc:items>{item if items is None else items}</dcc:items>
<dcc:calibrationLaboratory><dcc:contact><dcc:name><dcc:content>{laboratory}</dcc:content></dcc:name></dcc:contact>
</dcc:calibrationLaboratory>
<dcc:statements>{statements}</dcc:statements>
</dcc:administrativeData>
<dcc:measurementResults><dcc:measurementResult>
<dcc:name><dcc:content>Results</dcc:content></dcc:name>
<dcc:influenceConditions>{conditions}</dcc:influenceConditions>
<dcc:results>{"".join(results or [result(REFERENCE, INDICATION)])}</dcc:results>
</dcc:measurementResult></dcc:measurementResults>{after}
</dcc:digitalCalibrationCertificate>
"""


def recalibration(day):
    """A statement of the day of recalibration."""
    return (
        '<dcc:statement refType="basic_recalibration"><dcc:declaration><dcc:content>Due</dcc:content></dcc:declaration>'
        f"<dcc:date>{day}</dcc:date></dcc:statement>"
    )


# --- signatures ------------------------------------------------------------------------------------------------------------------


@cache
def signing(name=LABORATORY, begins="2025-06-01", days=730, bits=2048):
    """A key and its certificate, made for the test: of a laboratory that signs for itself."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import rsa

    key = rsa.generate_private_key(public_exponent=65537, key_size=bits)
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, f"{name} signing")])
    begin = datetime.fromisoformat(begins).replace(tzinfo=UTC)
    builder = x509.CertificateBuilder().subject_name(subject).issuer_name(subject).public_key(key.public_key())
    builder = builder.serial_number(1000 + days).not_valid_before(begin).not_valid_after(begin + timedelta(days=days))
    return key, builder.sign(key, hashes.SHA256())


def pem(certificate_of_signer):
    """A certificate as the file that a laboratory hands out."""
    from cryptography.hazmat.primitives.serialization import Encoding

    return certificate_of_signer.public_bytes(Encoding.PEM)


def signed(text, signer=None, reference_uri=None, **options):
    """A certificate as XML with a signature in it, as bytes."""
    from lxml import etree
    from signxml import XMLSigner, methods

    key, certificate_of_signer = signer or signing()
    tree = etree.fromstring(text.encode())
    made = XMLSigner(method=methods.enveloped, **options).sign(
        tree, key=key, cert=[certificate_of_signer], reference_uri=reference_uri
    )
    return etree.tostring(made, xml_declaration=True, encoding="UTF-8")
