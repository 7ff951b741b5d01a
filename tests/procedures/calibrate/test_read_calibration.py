"""A certificate as XML is recorded with its file and the verdict on its signature, on a file and on a server alike.

Common practice, no source. How it is typed and refused: tests/faces/cli/test_read_certificate.py.
"""

import hashlib
from datetime import timedelta

import pytest
from sqlmodel import select

from calib.errors import BadInputError
from calib.procedures.calibrate.add_laboratory_certificate import (
    add_laboratory_certificate,
    distrust_laboratory_certificate,
)
from calib.procedures.calibrate.read_calibration import read_calibration, record_read_calibration
from calib.procedures.people.authorise import login_of
from calib.procedures.people.persons_and_roles import PersonWanted, add_person
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import FileContent
from calib.procedures.verify.whole_state import verify_state
from calib.records import database
from calib.records.tables.calibrations import Calibration
from calib.records.tables.signatures import LaboratoryCertificate, SignatureVerdict
from tests.dcc.invented import LABORATORY, certificate, pem, signed, signing
from tests.folders import NOW, SIGNED

KEY = FileContent("north.pem", pem(signing()[1]))
CELLS = dict.fromkeys(column.name for column in FILES["calibrations.csv"]) | {"tag": "VA-1", "certificate": "C-201"}


def recorded(records, content):
    with database.writing(str(records)) as session:
        read = read_calibration(session, "VA-1", FileContent("c.xml", content))
        record_read_calibration(session, read, CELLS, ["as-found"], SIGNED, NOW)


def test_the_verdict_stands_with_the_file_and_the_certificate_that_vouches(small_records):
    with database.writing(str(small_records)) as session:
        add_laboratory_certificate(session, LABORATORY, KEY, "told by telephone", SIGNED)
    recorded(small_records, signed(certificate()))
    with database.reading(str(small_records)) as session:
        (verdict,) = session.exec(select(SignatureVerdict))
        (trusted,) = session.exec(select(LaboratoryCertificate))
        assert (verdict.verdict, verdict.laboratory_certificate_id) == ("verified", trusted.id)
        assert hashlib.sha256(trusted.content).hexdigest() == trusted.sha256
        assert verify_state(session).findings == ()


def test_a_trust_that_ends_leaves_the_verdicts_before_it(small_records):
    with database.writing(str(small_records)) as session:
        digest = add_laboratory_certificate(session, LABORATORY, KEY, "told by telephone", SIGNED)[0].latest.sha256
    recorded(small_records, signed(certificate()))
    later = SIGNED.__class__(SIGNED.person, SIGNED.time + timedelta(hours=1), SIGNED.action)
    with database.writing(str(small_records)) as session:
        ended = distrust_laboratory_certificate(session, digest[:10], "key stolen", later)
        assert not ended.is_trusted
    with database.reading(str(small_records)) as session:
        assert [each.verdict for each in session.exec(select(SignatureVerdict))] == ["verified"]
        assert verify_state(session).findings == ()


def test_a_broken_signature_leaves_nothing_behind(small_records):
    with pytest.raises(BadInputError, match="a signature that fits"):
        recorded(small_records, signed(certificate()).replace(b"0.60 1.20", b"0.61 1.20"))
    with database.reading(str(small_records)) as session:
        assert session.exec(select(SignatureVerdict)).all() == []
        assert "C-201" not in session.exec(select(Calibration.certificate)).all()


def test_whoever_is_not_qa_trusts_nobody(small_records):
    with database.writing(str(small_records)) as session:
        for name, login, role in ((SIGNED.person, login_of(session), "QA"), ("T. One", "tom", "technician")):
            add_person(session, PersonWanted(name, login, (role,)), SIGNED)
    other = SIGNED.__class__("T. One", NOW, "laboratory-certificate add")
    with pytest.raises(BadInputError, match=r"QA|login"), database.writing(str(small_records)) as session:
        add_laboratory_certificate(session, LABORATORY, KEY, "r", other)
