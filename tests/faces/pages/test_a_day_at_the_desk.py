"""QA's day in Debian's browser: the fleet, a certificate in and accepted, a check, a meter found out of order and what hung on it.

VA-1 was found 4 % high after three readings of J-1 were taken with it, as in tests/faces/pages/test_reviews.py.
"""

from tests.command import calib
from tests.faces.pages.test_certificates import type_certificate
from tests.faces.pages.test_desk_in_a_browser import at_the_desk
from tests.faces.pages.test_reviews import small_records  # noqa: F401  # a fixture
from tests.pages_browser import phone, serving
from tests.served import PASSWORD


def at_home(page, name):
    """Signed in at the first page, another person signed out."""
    leave = page.get_by_role("button", name="Sign out")
    if leave.count():
        leave.click()
        page.get_by_label("Password").wait_for()
    at_the_desk(page, name)


def hand_in_a_certificate(page):
    page.get_by_role("link", name="Fleet").click()
    page.get_by_role("link", name="VA-2").first.click()
    page.get_by_role("link", name="A certificate comes in").click()
    type_certificate(page)
    page.get_by_text("nothing is written yet").wait_for()
    page.get_by_role("button", name="Record it").click()
    page.get_by_role("heading", name="Certificate C-901").wait_for()


def accept_it(page):
    page.get_by_role("link", name="Fleet").click()
    page.get_by_label("Kind").fill("vane")
    page.get_by_role("button", name="Show").click()
    page.get_by_role("link", name="VA-2").first.click()
    page.get_by_role("link", name="C-901").first.click()
    page.get_by_role("button", name="Accept it").click()
    page.get_by_text("certificate C-901 accepted on").wait_for()


def record_a_check(page):
    page.goto("/instruments/VA-2/checks")
    for name, value in (("value", "0.01"), ("low", "-0.02"), ("high", "0.02")):
        page.get_by_label(name, exact=True).fill(value)
    page.get_by_role("button", name="Record it").click()
    page.get_by_text("zero check passed").wait_for()


def end_the_review(page):
    page.get_by_role("link", name="Jobs").first.click()
    page.get_by_role("link", name="1 impact review is open").click()
    page.get_by_role("link", name="1", exact=True).click()
    page.get_by_role("link", name="Decide which curve holds").click()
    page.get_by_label("Curve").select_option("as found")
    page.get_by_label("Reason").fill("it fell before the job, as the dent shows")
    page.get_by_role("button", name="Decide").click()
    page.get_by_text("as found: it fell before the job").first.wait_for()
    for line in (1, 2, 3):
        page.locator(f'[name="line_{line}"]').check()
        page.get_by_label(f"Reason of line {line}").fill(f"no report was issued with it, {line}")
    page.get_by_label("Decision").select_option("stands")
    page.get_by_role("button", name="Decide").click()
    page.get_by_text("review 1: lines 1, 2, 3: stands").wait_for()
    page.emulate_media(media="print")
    assert "no report was issued with it, 3" in page.get_by_role("table").inner_text()  # without boxes
    assert page.get_by_role("textbox").count() == 0
    page.emulate_media(media="screen")
    page.goto("/reviews")
    page.get_by_text("No impact review is open.").wait_for()


def set_the_interval(page):
    page.goto("/instruments/VA-1/interval")
    page.get_by_label("Months").fill("6")
    page.get_by_label("Reason").fill("found out of order")
    page.get_by_role("button", name="Set it").click()
    page.get_by_text("VA-1: interval 6 months instead of 12, at once").wait_for()


def test_qa_accepts_what_a_technician_handed_in_and_ends_nonconforming_work(browser, served, width, light):
    for name in ("Quinn", "Tom"):
        served.enrol(name)
    with serving(served.engine, served.credentials) as address, phone(browser, address, light, width) as page:
        at_home(page, "Tom")
        hand_in_a_certificate(page)
        at_home(page, "Quinn")
        accept_it(page)
        record_a_check(page)
        end_the_review(page)
        set_the_interval(page)
        assert page.said == []

    (review,) = calib("review", "list", "--json", records=served.records).document["reviews"]
    assert review["open_lines"] == 0
    accepted = calib("calibration", "show", "VA-2", "C-901", "--json", records=served.records).document
    assert accepted["accepted_by"] == "Quinn"
    assert calib("verify", records=served.records).status == 0
    assert PASSWORD not in calib("log", records=served.records).out
