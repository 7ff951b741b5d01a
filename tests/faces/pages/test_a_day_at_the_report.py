"""An engineer's day in Debian's browser: the draft and its budgets, the issue, another revision that is signed, what differs."""

from concurrent.futures import ThreadPoolExecutor

from calib.procedures.report.check_pdf_signature import pdf_signatures
from calib.procedures.report.issued import issued_bytes, issues_of
from calib.records import database
from tests.command import calib
from tests.faces.pages.test_report_desk import DESKS, shuts_nobody_out
from tests.pages_browser import phone, serving, sign_in
from tests.served import PASSWORD
from tests.signing import PASSWORD as OF_KEY
from tests.signing import p12

LONGEST = 300  # [s] of an issue on a machine with much to do
FORMS = {"html", "pdf", "json", "csv", "xlsx", "eml"}


def looked_at(page):
    for width, light in DESKS:
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=light)
        shuts_nobody_out(page)


def read_the_draft(page):
    sign_in(page, "Ed")
    page.get_by_role("link", name="Reports").click()
    page.get_by_role("link", name="J-1").click()
    page.get_by_role("heading", name="Verdict").wait_for()
    page.get_by_role("region", name="What would bring U down").first.get_by_role("link").first.click()
    page.get_by_role("heading", name="Uncertainty").or_(page.get_by_role("heading", level=1)).first.wait_for()
    page.go_back()


def issue(page, revision):
    """Issue it, and wait on its page, which asks by itself."""
    page.get_by_role("link", name="Issue it").click()
    page.get_by_role("heading", name=f"Issue revision {revision}").wait_for()
    yield
    looked_at(page)
    page.get_by_role("button", name=f"Issue revision {revision}").click()
    yield
    page.get_by_text(f"issued as revision {revision}").wait_for(timeout=LONGEST * 1000)
    looked_at(page)
    yield


def test_an_engineer_reads_the_draft_issues_it_signs_another_revision_and_sees_what_differs(browser, served, tmp_path):
    served.enrol("Ed")
    key = p12("Ed")
    with serving(served.engine, served.credentials) as address, phone(browser, address, width=1280) as page:
        read_the_draft(page)
        first = issue(page, 1)
        next(first)
        next(first)
        page.get_by_role("link", name="Keep this page still").click()
        looked_at(page)
        page.get_by_role("link", name="by itself from now on").click()
        next(first)

        page.goto("/jobs/J-1/report")
        second = issue(page, 2)
        next(second)
        page.get_by_label("Why another revision is issued").fill("the room's name")
        page.get_by_label("File of your key").set_input_files(
            {"name": "ed.p12", "mimeType": "application/x-pkcs12", "buffer": key}
        )
        page.get_by_label("Password of that file").fill(OF_KEY)
        next(second)
        next(second)

        page.get_by_role("link", name="Issued reports on J-1").click()
        page.get_by_role("button", name="Side by side").click()
        page.get_by_role("heading", name="Revisions 1 and 2").wait_for()
        page.get_by_text("Why: the room's name").wait_for()
        looked_at(page)
        page.get_by_role("link", name="What the records say otherwise now").click()
        page.get_by_role("heading", level=1).wait_for()
        looked_at(page)

    with database.reading(served.records) as session:
        issues = issues_of(session, "J-1")
        content = issued_bytes(session, "J-1", 2, "pdf")
    with ThreadPoolExecutor() as aside:  # the browser's loop runs here, and whoever checks a signature needs one
        (signature,) = aside.submit(pdf_signatures, content).result()
    assert [(each.person, each.reason, each.signed_by) for each in issues] == [
        ("Ed", None, None), ("Ed", "the room's name", "Ed"),
    ]  # fmt: skip
    assert [{kept.form for kept in each.forms} for each in issues] == [FORMS, FORMS]
    assert (signature.holds, signature.name) == (True, "Ed")
    for content in (file.read_bytes() for file in tmp_path.rglob("*") if file.is_file()):
        assert [secret in content for secret in (OF_KEY.encode(), PASSWORD.encode(), key)] == [False] * 3
    assert calib("verify", records=served.records).status == 0
