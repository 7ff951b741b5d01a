"""Labels for instruments that may be used: chosen on a page, and sent as one sheet to print."""

from calib.errors import BadInputError, Finding, RefusedError
from calib.faces.pages.frame.routes import Filled, Pages, Sent
from calib.faces.pages.frame.visit import Visit
from calib.procedures.fleet.labels import LabelsAsked, labels_of
from calib.procedures.fleet.list_instruments import InstrumentWish, list_instruments
from calib.procedures.on_record.company import company_on_record

pages = Pages()
_TEXTS = ("text", "kind", "location", "custodian")  # each contained in what is wanted
_TICK = "label "  # before the tag, in the name of its mark


@pages.shows("/labels")
def labels_shown(visit: Visit) -> Filled:
    """What gets a label of what the address asks for, and why the rest gets none."""
    session = visit.reading()
    asked = visit.asked_for(_TEXTS)
    wish = InstrumentWish(
        kind=asked.get("kind"), location=asked.get("location"), custodian=asked.get("custodian"), text=asked.get("text")
    )
    fitting = [str(each.cells["tag"]) for each in list_instruments(session, wish, "tag", visit.at)]
    ready = labels_of(session, None, visit.at)
    content = {
        "labels": [label for label in ready.labels if label.tag in fitting],
        "refused": [(tag, reasons) for tag, reasons in ready.refused if tag in fitting],
        "asked": asked,
    }
    return Filled("labels.html", content, title="Labels")


@pages.takes("/labels", again=labels_shown)
def labels_sent(visit: Visit) -> Sent:
    """The sheet of those that were ticked; raises BadInputError for none, RefusedError where one may not be used any more."""
    on, session = visit.at.date(), visit.reading()
    ticked = [name.removeprefix(_TICK) for name in visit.form.typed if name.startswith(_TICK)]
    asked: LabelsAsked = labels_of(session, ticked, visit.at)
    if asked.refused:
        raise RefusedError("no label: " + "; ".join(reason for _, reasons in asked.refused for reason in reasons))
    if not asked.labels:
        raise BadInputError([Finding.typed("instruments", None, "at least one that may be used")])
    from calib.faces.report.label_pdf import as_label_pdf  # noqa: PLC0415 (the typesetter, for this alone)

    company = company_on_record(session)
    sheet = as_label_pdf(asked.labels, on, None if company is None else company.base_address)
    return Sent(sheet, "application/pdf", f"labels-{on}.pdf")
