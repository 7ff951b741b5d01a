"""A form of an issued report comes back to the last byte, and what one form repeats of another is kept once.

The message is made by Python's own `email` (RFC 2045, 6.8: base64 in lines of 76 signs), the compression is RFC 1950's; what comes
back is compared with what was issued.
"""

import base64
import hashlib
import random
import sqlite3
import zlib
from contextlib import closing
from email.message import EmailMessage
from email.policy import SMTP

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import select

from calib.errors import RecordsError
from calib.procedures.verify.kept_files import file_findings
from calib.records import database, ledger
from calib.records.issued_forms import form_bytes, kept_forms
from calib.records.tables.jobs import Job
from calib.records.tables.reports import IssuedForm, IssuedReport
from tests.command import calib
from tests.folders import NOW, ledger_head

SIGNED = ledger.Signature("E. Engineer", NOW, "report --issue")
PDF = random.Random(27).randbytes(50_000)  # noqa: S311 (nothing that compresses)
CSV = "\n".join(f"S1-{number},412,23,pass" for number in range(200)).encode()


def mail(*attached, text="An air flow report.\r\n"):
    """A message as mail programs write it, with files attached."""
    message = EmailMessage(policy=SMTP)
    message["From"] = "report@calib.invalid"
    message.set_content(text, cte="base64")
    for content in attached:
        message.add_attachment(content, maintype="application", subtype="octet-stream", filename="a")
    for place, part in enumerate(part for part in message.walk() if part.is_multipart()):
        part.set_boundary(f"=_{place}_fixed")
    return message.as_bytes()


FORMS = {"html": b"<p>412</p>" * 500, "pdf": PDF, "csv": CSV, "eml": mail(PDF, CSV)}


def issued(records, forms):
    """The records of forms, appended as an issue appends them."""
    with database.writing(str(records)) as session:
        job = Job(job="J-9", decision_rule="simple")
        ledger.append_entries(session, [job], SIGNED)
        report = IssuedReport(job_id=job.id, revision=1, issued_at=NOW.isoformat(), ledger_digest="0" * 64)
        ledger.append_entries(session, [report], SIGNED)
        named = {form: (f"J-9-r1.{form}", content) for form, content in forms.items()}
        ledger.append_entries(session, kept_forms(named, report.id), SIGNED)


def read_back(records):
    with database.reading(str(records)) as session:
        return {form.form: form_bytes(session, form) for form in session.exec(select(IssuedForm))}


def kept(records):
    """How many bytes of each form are kept, and how."""
    with database.reading(str(records)) as session:
        return {form.form: (form.encoding, len(form.content)) for form in session.exec(select(IssuedForm))}


def test_each_form_comes_back_to_the_last_byte_with_the_digest_of_the_form_itself(empty_records):
    issued(empty_records, FORMS)
    assert read_back(empty_records) == FORMS
    with database.reading(str(empty_records)) as session:
        digests = {form.form: form.sha256 for form in session.exec(select(IssuedForm))}
        assert ledger.verify(session.connection()) == ()
    assert digests == {form: hashlib.sha256(content).hexdigest() for form, content in FORMS.items()}


def test_what_compresses_is_compressed_and_a_mail_holds_no_second_copy_of_what_is_attached_to_it(empty_records):
    issued(empty_records, FORMS)
    how = kept(empty_records)
    assert {form: encoding for form, (encoding, _) in how.items()} == {
        "html": "zlib", "pdf": None, "csv": "zlib", "eml": "derived"
    }  # fmt: skip
    assert how["pdf"][1] == len(PDF)
    assert how["html"][1] < len(FORMS["html"]) / 50
    assert how["eml"][1] < 1000 < len(FORMS["eml"]) / 60


def test_a_mail_whose_attachment_is_not_among_the_forms_keeps_it(empty_records):
    issued(empty_records, {"json": b"{}", "eml": FORMS["eml"]})
    assert read_back(empty_records)["eml"] == FORMS["eml"]


def test_a_mail_within_a_mail_comes_back_too(empty_records):
    forms = {"outer": mail(FORMS["eml"]), **FORMS}
    issued(empty_records, forms)
    assert read_back(empty_records) == forms


# Lines of base64 that are none: of another length, with other line ends, with bits set that no encoder sets, cut off.
_ENCODED = base64.b64encode(PDF[:300])
_LINES = b"\r\n".join(_ENCODED[start : start + 76] for start in range(0, len(_ENCODED), 76))
ODD = {
    "lines ended by LF": _LINES.replace(b"\r\n", b"\n"),
    "a line end after the last": _LINES + b"\r\n",
    "bits that no encoder sets": b"A" * 76 + b"\r\n" + b"QR==",
    "cut off": _LINES[:-3],
    "a sign too many": _LINES + b"A",
    "three signs of padding": _LINES + b"===",
    "two after one another": _LINES + b"\r\n" + _LINES,
    "empty": b"",
    "one long line": base64.b64encode(PDF),
}


@pytest.mark.parametrize("odd", ODD)
def test_what_only_looks_like_an_attachment_comes_back_as_it_was(empty_records, odd):
    forms = {"pdf": PDF[:300], "eml": ODD[odd]}
    issued(empty_records, forms)
    assert read_back(empty_records) == forms


@given(
    attached=st.lists(st.binary(max_size=400), max_size=3),
    between=st.lists(st.binary(max_size=90), min_size=4, max_size=4),
)
def test_whatever_stands_between_attachments_comes_back(attached, between):
    """Past the records, which only hold them: 100 texts of any bytes around base64 of any bytes."""
    made = b"".join(
        text + base64.encodebytes(part).replace(b"\n", b"\r\n") for text, part in zip(between, attached, strict=False)
    )
    forms = {f"f{place}": (f"f{place}", part) for place, part in enumerate(attached)} | {"eml": ("eml", made)}
    by_name = {form.form: form for form in kept_forms(forms, 1)}

    class Held:
        """What form_bytes asks of a session: a form of this report by its name."""

        def exec(self, asked):
            name = asked.compile().params["form_1"]
            return type("Rows", (), {"one": staticmethod(lambda: by_name[name])})

    assert {form: form_bytes(Held(), record) for form, record in by_name.items()} == {
        form: content for form, (_, content) in forms.items()
    }


# --- damage ----------------------------------------------------------------------------------------------------------------------


def bomb(size):
    return zlib.compress(b"\0" * size, 9)


DAMAGE = {
    "another byte": "UPDATE issued_form SET content = x'00' WHERE form = '{form}'",
    "no byte": "UPDATE issued_form SET content = x'' WHERE form = '{form}'",
    "another way of keeping it": "UPDATE issued_form SET encoding = NULL WHERE form = '{form}'",
    "text": "UPDATE issued_form SET content = 'text' WHERE form = '{form}'",
    "another digest": "UPDATE issued_form SET sha256 = '00' WHERE form = '{form}'",
}


@pytest.fixture
def damaged(tmp_path):
    """A function that makes records with the forms, and damages one of them behind the program's back."""

    def damage(statement, *values):
        path = tmp_path / "records.sqlite"
        database.make(str(path))
        issued(path, FORMS)
        with closing(sqlite3.connect(path)) as file, file:
            file.execute("DROP TRIGGER issued_form_no_update")
            file.execute("DROP TRIGGER issued_form_no_delete")
            file.execute(statement, values)
        return path

    return damage


def said_of(path, form):
    with database.reading(str(path)) as session, pytest.raises(RecordsError) as refused:
        form_bytes(session, session.exec(select(IssuedForm).where(IssuedForm.form == form)).one())
    return str(refused.value)


@pytest.mark.parametrize("damage", DAMAGE)
@pytest.mark.parametrize("form", ["csv", "eml"])
def test_a_form_that_was_changed_is_not_given_back(damaged, damage, form):
    path = damaged(DAMAGE[damage].format(form=form))
    assert f"J-9-r1.{form}: its bytes are not those that were issued" in said_of(path, form)


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM issued_form WHERE form = 'pdf'",
        "UPDATE issued_form SET content = x'00' WHERE form = 'pdf'",
        "UPDATE issued_form SET form = 'gone' WHERE form = 'pdf'",
    ],
)
def test_a_form_that_rests_on_one_that_was_changed_is_not_given_back(damaged, statement):
    assert "its bytes are not those that were issued" in said_of(damaged(statement), "eml")


@pytest.mark.parametrize(("form", "found"), [("csv", {3, 4}), ("eml", {4})])
def test_verify_names_each_form_that_does_not_come_back(damaged, form, found):
    path = damaged("UPDATE issued_form SET content = x'00' WHERE form = ?", form)
    with database.reading(str(path)) as session:
        named = {finding.record for finding in file_findings(session)}
    assert named == {f"issued_form {number}" for number in found}


def test_forms_that_someone_made_rest_on_each_other_end_in_one_line(damaged):
    ring = zlib.compress(b'[["plain", "eml"]]\n')
    path = damaged("UPDATE issued_form SET content = ?, encoding = 'derived' WHERE form IN ('pdf', 'eml')", ring)
    assert "its bytes are not those that were issued" in said_of(path, "eml")


@pytest.mark.parametrize("pieces", [b"[1]", b"{}", b'[["plain", -5]]', b'[["plain", 1e300]]', b"[" * 20_000, b"\xff"])
def test_pieces_that_are_none_end_in_one_line(damaged, pieces):
    path = damaged("UPDATE issued_form SET content = ? WHERE form = 'eml'", zlib.compress(pieces + b"\n"))
    assert "its bytes are not those that were issued" in said_of(path, "eml")


def test_a_form_that_would_fill_the_memory_is_not_inflated(damaged, monkeypatch):
    monkeypatch.setattr("calib.records.issued_forms._LARGEST", 10_000)
    path = damaged("UPDATE issued_form SET content = ? WHERE form = 'csv'", bomb(1_000_000))
    assert "its bytes are not those that were issued" in said_of(path, "csv")


# --- the demo job ----------------------------------------------------------------------------------------------------------------


def test_two_thousand_issues_of_the_demo_job_stay_below_2_gb(demo_records):
    """Its second issue has every form."""
    asked = "SELECT sum(length(content)) FROM issued_form WHERE issued_report_id = 2"
    with closing(sqlite3.connect(demo_records)) as file:
        [(size,)] = file.execute(asked)
    assert 2_000 * size < 2e9


def test_every_form_of_the_demo_is_written_again_exported_and_recognised_byte_for_byte(
    demo_folder, demo_records, tmp_path
):
    assert calib("report", "LM-27", "--revision", "2", "--into", tmp_path / "again", records=demo_records).status == 0
    assert calib("export", tmp_path / "all", records=demo_records).status == 0
    written = sorted(demo_folder.glob("LM-27-r2.*"))
    assert [each.suffix for each in written] == [".csv", ".eml", ".html", ".json", ".pdf", ".xlsx"]
    for file in written:
        content = file.read_bytes()
        digest = hashlib.sha256(content).hexdigest()
        assert (tmp_path / "again" / file.name).read_bytes() == content
        assert (tmp_path / "all" / "not-imported" / "files" / digest).read_bytes() == content
        assert calib("report", "--check", file, records=demo_records).status == 0
    rows = (tmp_path / "all" / "not-imported" / "issued_form.csv").read_text(encoding="utf-8")
    assert "derived" not in rows
    assert "zlib" not in rows


def test_a_backup_gives_back_the_same_forms(empty_records, tmp_path):
    issued(empty_records, FORMS)
    before = ledger_head(empty_records)
    assert calib("backup", tmp_path / "copy.sqlite", records=empty_records).status == 0
    assert ledger_head(tmp_path / "copy.sqlite") == before  # that it was made is recorded after it
    assert read_back(tmp_path / "copy.sqlite") == FORMS
