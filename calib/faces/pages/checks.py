"""Intermediate checks of an instrument: control charts, what was observed, and a check recorded; taken back where it was wrong."""

from typing import Any

from calib.faces.answers import check as answer
from calib.faces.answers import control_charts as charts_answer
from calib.faces.drawings.check_line import check_line
from calib.faces.pages.events import happened, take_record_back, to_take_back
from calib.faces.pages.frame.form import FormField, choices, label_of
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.procedures.fleet.checks_on_file import charts_of, check_on_file, checks_on_file
from calib.procedures.fleet.record_check import record_check
from calib.procedures.fleet.withdraw_event import withdraw_check
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.typed.declared.events import CHECKS_CSV, OF_TWO_INSTRUMENTS
from calib.quantities import known_units
from calib.records.words import CHECK_KINDS

pages = Pages()
CHECKS_PAGE = "/instruments/{tag:name}/checks"
_NOT_ASKED = ("tag", "at", "kind", "unit", "basis", "withdrawn")  # with fields of their own, or none
_COLUMNS = tuple(column for column in (*CHECKS_CSV, *OF_TWO_INSTRUMENTS) if column.name not in _NOT_ASKED)


@pages.shows(CHECKS_PAGE)
def checks(visit: Visit, tag: str) -> Filled:
    """Charts of the checks that count, all that are on record, and the form for one more."""
    session = visit.reading()
    instrument = instrument_tagged(session, tag)
    charts = charts_of(session, tag)
    content = {
        "tag": tag,
        "charts": [
            {
                "drawing": check_line(chart, f"chart-{place}"),
                "words": _told(tag, chart),
                "place": place,
                "drifting": chart.drifting,
            }
            for place, chart in enumerate(charts, start=1)
        ],
        "checks": checks_on_file(session, tag),
        "kinds_shown": choices(CHECK_KINDS),
        "units_shown": choices(known_units(instrument.quantity)),
        "unit": instrument.unit,
        "columns": [FormField(each.name, label_of(each.name), each.meaning) for each in _COLUMNS],
    }
    return Filled("checks.html", content, title=f"{tag}: intermediate checks")


@pages.takes(CHECKS_PAGE, again=checks, act="record")
def check_typed(visit: Visit, tag: str) -> Goto:
    """Record a check; a failed one closes the gate, and says so."""
    remarks: list[str] = []
    cells = visit.form.meant([CHECKS_CSV.by_name["kind"], CHECKS_CSV.by_name["unit"], *_COLUMNS])
    at = happened(visit)
    with visit.writing_last() as session:
        check = record_check(session, tag, at, cells, visit.signature("page check"), remarks.append)
        document = answer.document(check_on_file(session, check))
    closed = [f"{tag} may not be used from {document['at']} until it is recalibrated"]
    said = [*answer.text(document).splitlines(), *(closed if document["result"] == "failed" else []), *remarks]
    return Goto(address("/instruments/{}/checks", tag), said)


@pages.shows(f"{CHECKS_PAGE}/{{entry:name}}", act="retract")
def check(visit: Visit, tag: str, entry: str) -> Filled:
    """One check, to be taken back."""
    on_record = checks_on_file(visit.reading(), tag)
    return Filled("taken_back.html", to_take_back(tag, entry, "checks", on_record), title=f"{tag}: check {entry}")


@pages.takes(f"{CHECKS_PAGE}/{{entry:name}}/withdrawal", again=check, act="retract")
def take_back_check(visit: Visit, tag: str, entry: str) -> Goto:
    """Take it back, with the reason."""
    return take_record_back(visit, tag, entry, "checks", withdraw_check)


def _told(tag: str, chart: Any) -> list[str]:
    return charts_answer.text(charts_answer.document(tag, [chart])).splitlines()
