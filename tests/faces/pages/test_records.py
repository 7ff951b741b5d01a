"""The state of the records on a page: what the ledger holds, where it is proven and kept elsewhere; a verification asked for."""

import json
import re
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from calib.procedures.verify.anchors import LedgerHead, anchor
from calib.procedures.verify.record_backup import record_backup
from calib.records import ledger
from calib.records.tables.custody import BackupMade
from tests.command import calib
from tests.conftest import SERVER
from tests.faces.pages.test_security import SCRIPT, as_read, runs_nothing, text_of
from tests.folders import NOW

LONGEST = 300  # [s] for a machine with other work
PAGE, ASKED = "/records", "/records/verification"


@pytest.fixture(autouse=True)
def people_came_after_the_job(monkeypatch):
    """Otherwise a time runs back in the ledger, which a verification says."""
    monkeypatch.setattr("tests.served.ADDED", NOW + timedelta(days=1))


def signed():
    return ledger.Signature("Ed", datetime.now(UTC), "test")


def awaited(visitor):
    """The page once nothing runs any more."""
    until = time.monotonic() + LONGEST
    while (page := visitor.get(PAGE)).headers.get("refresh") and time.monotonic() < until:
        time.sleep(0.2)
    assert "refresh" not in page.headers
    return page


def test_it_has_what_the_ledger_has(served, quinn):
    told = text_of(quinn.get(PAGE))
    verified = calib("verify", "--rows-only", "--json", records=served.records).document
    newest = calib("log", "--limit", "1", "--json", records=served.records).document["entries"][0]
    for fact in (
        verified["digest"],
        f"{verified['entries']:,}",
        f"{newest['sequence']}, {as_read(newest['time'])} by {newest['person']}",
    ):
        assert fact in told
    assert "No backup is on record: calib backup FILE." in told
    assert "None was asked for here yet." in told


def test_a_backup_and_anchors_on_record_are_told(served, quinn):
    with served.writing_as("Ed") as session:
        copy = SimpleNamespace(
            path=SimpleNamespace(name="friday.sqlite"), entries=ledger.ledger_head(session)[0], digest="0" * 64
        )
        record_backup(session, copy, signed())
        anchor(session, [LedgerHead("north", 17, "ab" * 32, "2026-10-01T09:00:00+00:00")], "quarterly", signed())
    told = text_of(quinn.get(PAGE))
    assert "Last backup: friday.sqlite of" in told
    assert "by Ed; 1 ledger entry since." in told
    for fact in ("north", "17", "ab" * 32, "quarterly"):
        assert fact in told
    assert BackupMade.__tablename__ in text_of(quinn.get("/log"))


def test_the_head_is_kept_as_an_anchor_that_a_verification_holds_the_records_against(served, quinn, tmp_path):
    sent = quinn.get("/records/head")
    assert sent.headers["content-disposition"].startswith("attachment")
    file = tmp_path / "kept.anchor"
    file.write_bytes(sent.content)
    assert calib("verify", "--rows-only", "--anchors", file, records=served.records).status == 0
    head = json.loads(sent.content)
    file.write_text(json.dumps(head | {"digest": "0" * 64}))
    assert calib("verify", "--rows-only", "--anchors", file, records=served.records).status == 1


def test_qa_has_the_records_verified_while_the_page_may_be_closed(served, quinn, backend):
    begun = quinn.fill_in(ASKED)
    assert (begun.status_code, begun.headers["location"]) == (303, PAGE)
    running = quinn.get(PAGE)
    assert running.headers["refresh"] == "2"
    assert ("Quinn asked for one" in text_of(running), "None was asked for" in text_of(running)) == (True, False)
    assert "refresh" not in quinn.get(f"{PAGE}?still").headers
    assert quinn.fill_in(ASKED).status_code == 409  # once is enough
    told = text_of(awaited(served.signed_in("Tom")))
    # Times run back in these records, and the guards of a server let them: where tests do not say that they may, it is found.
    words = ["verify", "--json", "--records", served.records]
    program = [sys.executable, "-c", "from calib.faces.cli import main; main()", *words]
    verified = json.loads(subprocess.run(program, capture_output=True, check=False).stdout)
    assert ("Whole" in told, "Not right" in told) == (not verified["findings"], bool(verified["findings"]))
    counts = (
        f"{verified['entries']} ledger entries, {len(verified['findings'])} finding(s), digest {verified['digest']}"
    )
    assert counts in told
    assert all(as_read(each["problem"]) in told for each in verified["findings"])
    assert ("remark: " in told) is (backend == SERVER)  # a login of QA's proves no pages there


def test_what_was_changed_past_the_program_is_named(served, quinn, backend):
    if backend == SERVER:
        pytest.skip("of a server the owner of the tables would have to do it")
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(served.records)) as file:
        for (guard,) in file.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'reading'"
        ).fetchall():
            file.execute(f'DROP TRIGGER "{guard}"')
        file.execute("UPDATE reading SET operator = 'N. Body' WHERE id = 1")
        file.commit()
    quinn.fill_in(ASKED)
    page = awaited(quinn)
    assert "Not right" in text_of(page)
    assert re.search(r"reading 1: [^\n]*", text_of(page))


def test_of_a_server_that_ended_meanwhile_that_is_said(served, quinn):
    served.credentials.ask_verification("a key", "Quinn", datetime.now(UTC) - timedelta(hours=1))
    assert "The server ended while the records were verified" in text_of(quinn.get(PAGE))
    quinn.fill_in(ASKED)
    assert "The server ended" not in text_of(awaited(quinn))


@pytest.mark.parametrize("name", ["Tom", "Ed"])
def test_others_see_it_and_ask_for_nothing(served, name):
    visitor = served.signed_in(name)
    assert "Verify the records" not in visitor.get(PAGE).text
    assert visitor.fill_in(ASKED).status_code == 403
    assert served.credentials.verifications_asked() == []
    for place in (PAGE, "/records/head"):
        assert served.visitor().get(place).headers["location"].startswith("/sign-in")


def test_script_in_what_is_told_is_text(served, quinn):
    served.credentials.ask_verification("a key", SCRIPT, datetime.now(UTC))
    served.credentials.end_verification("a key", f"{SCRIPT}\n{SCRIPT}", datetime.now(UTC), is_right=False)
    with served.writing_as("Ed") as session:
        anchor(session, [LedgerHead(SCRIPT, 1, "0" * 64, "2026-10-01T09:00:00+00:00")], SCRIPT, signed())
    answer = quinn.get(PAGE)
    assert (runs_nothing(answer), SCRIPT in answer.text, text_of(answer).count(SCRIPT)) == (True, False, 5)
