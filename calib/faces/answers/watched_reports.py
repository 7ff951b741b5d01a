"""Issued reports that wait for a revision or a judgement, as open reviews tell; and what the records now say otherwise than one."""

from collections.abc import Iterable

from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.on_record.reviews import Review
from calib.procedures.report.watch_issued import SaysOtherwise

_REPORT = "issued_report"


def document(reviews: Iterable[Review]) -> Content:
    """Each open line on an issued report: what shook it, and what is otherwise since, a sentence each."""
    return {
        "reports": [
            {
                "report": line.finding["report"],
                "job": line.finding["job"],
                "review": review.review,
                "line": line.place,
                "about": review.about,
                "opened_at": review.time,
                "opened_by": review.person,
                "notes": list(line.finding.get("notes", ())),
                "reissue_promised": line.is_promised,
            }
            for review in reviews
            for line in review.lines
            if line.record_table == _REPORT and line.is_open
        ]
    }


def of_latest(says: SaysOtherwise | None) -> Content:
    """What the latest issued report of a job states otherwise than the records now; nothing where none can be compared."""
    if says is None:
        return {"revision": None, "differs": []}
    return {"revision": says.report.revision, "differs": [dict(each) for each in says.differs]}


def text(answer: Content) -> str:
    """The same for people."""
    lines = []
    for each in answer["reports"]:
        lines.append(
            f"{one_line(each['report'])}: review {each['review']}, line {each['line']}: {one_line(each['about'])}"
        )
        lines += [f"  {one_line(note)}" for note in each["notes"]]
    return "\n".join(lines) or "no issued report waits"
