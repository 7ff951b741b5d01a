"""What an assessor asks about an instrument, a job or an issued report: answered on a page that prints, and as a file to keep."""

from urllib.parse import urlencode

from markupsafe import Markup

from calib.errors import BadInputError, NotInRecordsError
from calib.faces.answers import audit as answer
from calib.faces.pages.frame.form import day_typed
from calib.faces.pages.frame.routes import Filled, Pages, Sent
from calib.faces.pages.frame.visit import Visit
from calib.faces.report.audit_page import BEGINS, audit_page, audit_within
from calib.faces.report.file_names import file_stem
from calib.faces.written import Content
from calib.procedures.audit.assess_records import assess_records

pages = Pages()
_KINDS = {".html": "text/html; charset=utf-8", ".pdf": "application/pdf"}


@pages.shows("/audit")
def audit_shown(visit: Visit) -> Filled:
    """The answers on what the address names, as of its day; without a name the form alone."""
    of, on = (visit.asked.get(name, "").strip() for name in ("of", "on"))
    shown: Content = {"of": of, "on": on or str(visit.at.date()), "wrong": "", "answers": None}
    if not of:
        return Filled("audit.html", shown, title="An assessor asks")
    try:
        document = _assessed(visit, of, on)
    except (BadInputError, NotInRecordsError) as error:
        return Filled("audit.html", shown | {"wrong": str(error)}, title="An assessor asks", status=404)
    asked = urlencode({"of": of, "on": document["on"]})
    shown |= {
        "answers": Markup(audit_within(document, _now(visit))),  # noqa: S704 (it escapes what was typed)
        "files": [(form.removeprefix(".").upper(), f"/audit/file/{form.removeprefix('.')}?{asked}") for form in BEGINS],
    }
    return Filled("audit.html", shown, title=answer.heading(document))


@pages.shows("/audit/file/{form:name}")
def audit_sent(visit: Visit, form: str) -> Sent:
    """The page in one of its forms, to keep; raises NotInRecordsError for another form."""
    ending = f".{form}"
    if ending not in BEGINS:
        raise NotInRecordsError(f"no form {form!r} of this page: there is {', '.join(BEGINS)}")
    document = _assessed(visit, visit.asked.get("of", "").strip(), visit.asked.get("on", ""))
    return Sent(audit_page(document, _now(visit), ending), _KINDS[ending], f"{file_stem(document['of'])}-audit{ending}")


def _assessed(visit: Visit, of: str, on: str) -> Content:
    day = day_typed("on", on, visit.at.date())
    return answer.document(assess_records(visit.reading(), [of], day, visit.at))


def _now(visit: Visit) -> str:
    return visit.at.isoformat(timespec="seconds")
