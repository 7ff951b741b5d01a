"""The company as its reports and labels name it, with its mark; QA says it anew, and what was said before stays on record."""

from functools import partial

from sqlmodel import Session

from calib.faces.answers import company as answer
from calib.faces.pages.frame.door import AROUND_A_FILE
from calib.faces.pages.frame.routes import Filled, Goto, Pages
from calib.faces.pages.frame.visit import Visit
from calib.faces.written import Content
from calib.procedures.fleet.attach_file import attachable
from calib.procedures.fleet.set_company import LARGEST_MARK, MARK, set_company
from calib.procedures.on_record.company import company_on_record

pages = Pages()
_CELLS = ("name", "address", "contact", "base_address")


@pages.shows("/company")
def company_shown(visit: Visit) -> Filled:
    """What the next report names, and a form to say it otherwise."""
    company = _on_record(visit.reading())
    said = {name: company.get(name) or "" for name in _CELLS}
    content = {"is_named": bool(company), "said": said, "mark": company.get("mark"), "mark_told": MARK}
    return Filled("company.html", content, title="The company")


def _on_record(session: Session) -> Content:
    """The company as it was named last; nothing where nobody named it."""
    company: Content | None = answer.document(company_on_record(session))["company"]
    return company or {}


@pages.takes("/company", again=company_shown, act="company", largest=LARGEST_MARK + AROUND_A_FILE)
def company_said(visit: Visit) -> Goto:
    """Say what changes."""
    form = visit.form
    mark = None if form.file("mark") is None else form.file_read("mark", MARK, partial(attachable, wanted=MARK))
    with visit.writing_last() as session:
        before = _on_record(session)
        name, at, contact, base_address = (
            None if form[cell].strip() == (before.get(cell) or "") else form[cell] for cell in _CELLS
        )
        set_company(
            session, name, at, contact, base_address, mark, visit.signature("page company"),
            without_mark=form["without_mark"] == "yes",
        )  # fmt: skip
    return Goto("/company", said="reports and labels name it so from now on")
