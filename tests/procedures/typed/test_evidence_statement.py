"""The statement that goes with an instrument's evidence is read back as it was written, and nothing else is taken for one.

Source: XML 1.0, 2.4 and 3.3.3 (what has to be escaped, and what a reader does to white space in an attribute).
"""

from xml.etree import ElementTree as ET

import pytest

from calib.errors import BadInputError
from calib.procedures.typed.evidence_statement import (
    EvidenceStatement,
    StatedAcceptance,
    StatedFile,
    statement_in,
)

DIGEST = "0123456789abcdef" * 4
AWKWARD = "two\nlines, a\ttab, \"both\" 'quotes', <angles> & ampersands, é中"
STATED = EvidenceStatement(
    "north",
    45,
    DIGEST,
    "2026-03-06T09:00:00+00:00",
    AWKWARD,
    AWKWARD,
    moved=["VA-1", "VA <2>"],
    behind=["RS-1"],
    files=[
        StatedFile("instruments.csv", DIGEST),
        StatedFile(f"files/{DIGEST}", DIGEST, AWKWARD, "VA-1", "C & 1", AWKWARD),
    ],
    acceptances=[StatedAcceptance("VA-1", "C & 1", "2026-01-19", AWKWARD, "2026-01-19T10:00:00+01:00", None, "simple")],
)


def test_whatever_was_typed_is_read_back():
    assert statement_in(STATED.as_xml(), "evidence.xml") == STATED


def test_it_is_xml_as_another_reader_reads_it():
    root = ET.fromstring(STATED.as_xml())  # noqa: S314 (written here)
    assert (root.tag, root.get("reason"), [each.tag for each in root]) == (
        "evidence",
        AWKWARD,
        ["moved", "moved", "behind", "file", "file", "acceptance"],
    )


@pytest.mark.parametrize(
    ("was", "instead"),
    [
        (b"<evidence", b"<!DOCTYPE e [<!ENTITY x 'y'>]><evidence"),
        (b"evidence", b"proof"),
        (b"<behind", b"<beside"),
        (b'sequence="45"', b'sequence="0"'),
        (b'sequence="45"', b'sequence="many"'),
        (b'sequence="45"', b""),
        (b'records="north"', b'records="north" more="x"'),
        (b"2026-03-06T09:00:00+00:00", b"yesterday"),
        (f'digest="{DIGEST}"'.encode(), b'digest="0123"'),
        (f'sha256="{DIGEST}"'.encode(), f'sha256="{DIGEST[:-1]}X"'.encode()),
        (b"</evidence>", b""),
        (b'<moved tag="VA-1"/>', b"<moved/>"),
    ],
)
def test_what_is_no_statement_is_refused_by_its_file(was, instead):
    content = STATED.as_xml()
    assert was in content
    with pytest.raises(BadInputError, match=r"^evidence\.xml: expected a statement of evidence"):
        statement_in(content.replace(was, instead), "evidence.xml")
