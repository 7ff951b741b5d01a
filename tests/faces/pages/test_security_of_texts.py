"""Script in every text that somebody may have typed, of a job, its outlets, instruments, methods, readings and people: on each page
that shows it, it is text. Source: OWASP Application Security Verification Standard 4, 5.3.
"""

import html
import re

import pytest

from calib.faces.pages.frame.routes import address
from tests import folders
from tests.faces.pages.test_security import declared, runs_nothing, text_of
from tests.served import PEOPLE, company, put_on_record

SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{7*7}}"
SIGNED_IN = f"Tom {SCRIPT}"
TEXTS = {  # of the small job: whatever is a name or a remark in it
    "J-1", "S-1", "S-2", "R-1", "E-1", "AH-1", "VA-1", "VA-2", "RS-1", "PG-1",
    "sweep", "T. One", "T. Two", "van 1", "van 2", "bench", "Maker",
    "M1", "001", "Site", "Client", "Flows of a small hall", "North Laboratory", "own bench", "C-101", "C-102", "one pass",
    "traverses at grille G", "24 sweeps against duct traverses",
}  # fmt: skip


def scripted(text):
    return f"{text} {SCRIPT}" if text in TEXTS else text


@pytest.fixture
def served(tmp_path):
    sheets = {
        file: [{column: scripted(cell) for column, cell in row.items()} for row in rows]
        for file, rows in folders.small_job().items()
    }
    records = folders.records_of(tmp_path / "in", sheets)
    put_on_record(
        records,
        dict(zip(("Quinn", "Ed", SIGNED_IN), PEOPLE.values(), strict=True)),
    )
    with company(records, tmp_path) as made:
        yield made


@pytest.fixture
def tom(served):
    return served.signed_in(SIGNED_IN)


def shown(served):
    """Every address that shows something of the job."""
    names = {name: scripted(text) for name, text in (("job", "J-1"), ("outlet", "S-2"), ("tag", "VA-1"))} | {
        "number": "2"
    }
    for page in declared(served):
        holes = re.findall(r"\{(\w+)(?::\w+)?\}", page.address)
        if page.method == "GET" and set(holes) <= names.keys():
            yield re.sub(r"\{(\w+)(?::\w+)?\}", lambda hole: address("{}", names[hole[1]]), page.address)


def test_it_is_text_on_every_page_that_shows_it(served, tom):
    limits_of = {"instrument": scripted("VA-1")}
    pages = {place: tom.get(place, params=limits_of if place.endswith("/limits") else None) for place in shown(served)}
    assert len(pages) >= 6
    for place, answer in pages.items():
        assert answer.status_code in (200, 403, 422), place  # S-2 is no duct that is traversed; some are for others
        kind = answer.headers["content-type"]
        if not kind.startswith("text/html"):  # for a script, or a file to keep: no browser shows it as a page
            is_for_script = kind in ("application/json", "text/javascript; charset=utf-8")
            assert is_for_script or "content-disposition" in answer.headers, place
            continue
        assert runs_nothing(answer), place
        has_figures = place.endswith(
            ("/report", "/correlations", "/interval", "/log", "/records")
        )  # 49 among them, and 2.49 m/s
        assert has_figures or "49" not in re.findall(r"\b49\b", answer.text), place
    # of the person, the job, the outlet, the instrument and the method, each in its own place
    assert text_of(pages["/"]).count(SCRIPT) >= 2
    assert scripted("S-2") in text_of(pages[address("/jobs/{}", scripted("J-1"))])
    assert scripted("VA-1") in text_of(pages[address("/instruments/{}", scripted("VA-1"))])


def test_it_is_text_beside_the_field_where_it_is_refused_and_where_it_is_said(tom):
    place = address("/jobs/{}/outlets/{}", scripted("J-1"), scripted("S-2"))
    right = {
        "client_key": "a key",
        "instrument": scripted("VA-1"),
        "unit": "m/s",
        "method": scripted("sweep"),
        "pass_1": "3.1",
    }
    for field in ("instrument", "unit", "method", "pass_1"):
        answer = tom.fill_in(place, **right | {field: SCRIPT})
        assert (answer.status_code >= 400, runs_nothing(answer)) == (True, True), field
        assert "<script>alert(1)</script>" in html.unescape(answer.text), field
    written = tom.fill_in(place, **right, remarks=SCRIPT, sure="yes")
    assert written.status_code == 303
    page = tom.get(written.headers["location"])
    assert (page.status_code, runs_nothing(page)) == (200, True)
