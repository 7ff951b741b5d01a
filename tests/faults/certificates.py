"""Certificates as XML with mutations: each is refused with findings that name an element, or read to what it says; nothing else.

A signed one is refused, or no longer verified, or read to the very values that were signed. An unsigned one is read as lxml reads
it with four plain paths. Long run (mutated files): python -m tests.faults.certificates 20000
"""

import random
import re
import sys
from collections import Counter

from lxml import etree

from calib.faces.plain_text import one_line
from calib.procedures.dcc.check_signature import TrustedCertificate, as_der, read_signature
from calib.procedures.dcc.document import NAMESPACES, read_document
from calib.procedures.dcc.read_certificate import CertificateWanted, read_certificate
from calib.records.words import VERIFIED
from tests.dcc.invented import LABORATORY, certificate, recalibration, signed, signing

VANE = CertificateWanted("air velocity", "air velocity", "m/s", 12)
ODD = (
    b"", b" ", b"NaN", b"INF", b"-1", b"0", b"1e999", b"9" * 400, b"0,66", b"0x10", b"2026-02-30", b"\xff", b"\x00", b"<", b">",
    b"&",     b"&lt;", b"&#0;", b"&#xD800;", b"<!--", b"<![CDATA[", b"]]>", b"<?x?>", b"<!DOCTYPE x>",
    b'"', b"\\metre", b"\\tothe{99}",
    b"\\one", b"refType", b"basic_measuredValue", b"xmlns:dcc", b"https://ptb.de/si", b"\xe2\x80\xae", b"{0}", b"%s",
)  # fmt: skip


def mutated(chance, content):
    """The file with one thing changed: a sign, a span, an odd text, an element twice, elsewhere, away or under another name."""
    texts = list(re.finditer(rb">([^<>]+)<", content))
    elements = list(re.finditer(rb"<([a-z]+:\w+)[^<>]*>[^<>]*</\1>", content))
    text, element, other = chance.choice(texts), chance.choice(elements), chance.choice(elements)
    place = chance.randrange(len(content))
    begin, end, put = chance.choice(
        [
            (place, place + 1, bytes([chance.randrange(256)])),
            (place, place + chance.randrange(1, 40), b""),
            (place, place, chance.choice(ODD)),
            (*text.span(1), chance.choice(ODD)),
            (*element.span(), b""),
            (other.start(), other.start(), element.group()),
            (*element.span(), other.group()),
        ]
    )
    return content[:begin] + put + content[end:]


def outcome(content, of_signed):
    """How a file ends; `of_signed` are the rows that were signed, absent for a file without a signature."""
    trusted = [TrustedCertificate(1, LABORATORY, as_der(signing()[1]), trusted=True)]
    root, findings = read_document("c.xml", content)
    verdict = None
    if root is not None:
        signature, findings = read_signature("c.xml", content, root, trusted)
        verdict = signature.verdict
        if signature.covered is not None:
            root, findings = read_document("c.xml", signature.covered)
    if not findings:
        read = read_certificate(root, "c.xml", VANE)
        findings = read.findings
    if findings:
        assert all(each.source and each.expected for each in findings), findings
        assert all(len(one_line(str(each)).splitlines()) == 1 for each in findings), findings
        return "refused"
    rows = [row for each in read.results for row in each.rows]
    if of_signed is not None and verdict == VERIFIED:
        assert rows == of_signed
        return "as it was signed"
    assert rows == [] or _plainly(rows) == _by_lxml(content), content
    return "as it says"


_COLUMNS = ("reference", "indication", "expanded_uncertainty", "coverage_factor")


def _plainly(rows):
    return [tuple(float(row[column]) for column in _COLUMNS) for row in rows]


def _by_lxml(content):
    """Reference, indication, U and k of the one table as four plain paths find them."""
    content = re.sub(rb"^<\?xml[^>]*\?>", b"", content)  # expat does not mind a version that is none
    tree = etree.fromstring(content, etree.XMLParser(remove_comments=True, remove_pis=True, resolve_entities=False))
    quantity = "//dcc:result//dcc:quantity[contains(concat(' ', @refType, ' '), ' basic_{} ')]"
    reference, measured = quantity.format("referenceValue"), quantity.format("measuredValue")
    u = f"({reference}|{quantity.format('measurementError')}|{measured})//si:expandedUncXMLList"
    paths = (
        f"{reference}/si:realListXMLList/si:valueXMLList",
        f"{measured}/si:realListXMLList/si:valueXMLList",
        f"{u}/si:uncertaintyXMLList",
        f"{u}/si:coverageFactorXMLList",
    )
    lists = [[float(each) for each in tree.xpath(path, namespaces=NAMESPACES)[0].text.split()] for path in paths]
    count = max(map(len, lists[:2]))
    return list(zip(*(each * count if len(each) == 1 else each for each in lists), strict=True))


def certificates(files, seed):
    """Outcomes of so many mutated files, half of them signed."""
    chance = random.Random(seed)  # noqa: S311 (nothing is secret)
    plain = certificate(statements=recalibration("2027-01-01")).encode()
    own = signed(plain.decode())
    root, _ = read_document("c.xml", plain)
    of_signed = [row for each in read_certificate(root, "c.xml", VANE).results for row in each.rows]
    outcomes = Counter()
    for place in range(files):
        is_signed = place % 2 == 1
        content = mutated(chance, own if is_signed else plain)
        outcomes["signed" if is_signed else "unsigned", outcome(content, of_signed if is_signed else None)] += 1
    return outcomes


if __name__ == "__main__":
    for (kind, ended), count in sorted(certificates(int(sys.argv[1]), seed=20261129).items()):
        print(f"{count:8,}  {kind}: {ended}")
