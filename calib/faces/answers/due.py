"""What is overdue or refused and what comes due, as `calib due` answers.

Nothing heavy is imported here, since it is asked at the start of every day.
"""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date

from calib.confirmation.due import CHECK, DueEntry
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.on_record.reviews import RECORDED_LATER, Review

HEADINGS = ("instrument", "due on", "days", "what", "state")


def document(on: date, ahead: int, entries: Sequence[DueEntry], open_reviews: Sequence[Review]) -> Content:
    """Instruments, the most urgent first, as of a day and so many days ahead; and the impact reviews that wait."""
    return {
        "on": str(on),
        "within_days": ahead,
        "instruments": [
            asdict(entry) | {"due_on": None if entry.due_on is None else str(entry.due_on)} for entry in entries
        ],
        "open_reviews": [
            {
                "review": review.review,
                "cause": review.cause,
                "about": review.about,
                "reports": [
                    str(line.finding["report"]) for line in review.lines if line.is_open and "report" in line.finding
                ],
                "tag": review.tag,
                "certificate": review.certificate,
                "opened_at": review.time,
                "lines": len(review.lines),
                "open_lines": review.open_lines,
                "reissue_promised": list(review.promised),
                "waits_for_curve": review.waits_for_curve,
            }
            for review in open_reviews
        ],
    }


def text(answer: Content) -> str:
    """The same for people."""
    nothing = f"nothing is overdue on {answer['on']}, and nothing comes due within {answer['within_days']} days"
    in_use = [entry for entry in answer["instruments"] if not entry["put_aside"]]
    put_aside = [entry for entry in answer["instruments"] if entry["put_aside"]]
    lines = [table_text(HEADINGS, [due_row(entry) for entry in in_use]) if in_use else nothing]
    if put_aside:
        lines += ["put aside:", table_text(HEADINGS, [due_row(entry) for entry in put_aside])]
    return "\n".join([*lines, *(_waiting(review) for review in answer["open_reviews"])])


def due_row(entry: Content) -> tuple[str, ...]:
    """The cells of an entry, as HEADINGS names them."""
    state = "; ".join(reason.partition(": ")[2] for reason in entry["reasons"]) or "comes due"
    days = "-" if entry["days"] is None else str(entry["days"])
    what = entry["what"] if entry["what"] == CHECK else entry["certificate"] or "-"
    return entry["tag"], entry["due_on"] or "-", days, what, state


def _waiting(review: Content) -> str:
    if review["cause"] == RECORDED_LATER:
        reports = ", ".join(review["reports"])
        return (
            f"issued, but the records now say otherwise: report {reports} ({review['about']}): "
            f"calib review show {review['review']}"
        )
    promised = ", ".join(review["reissue_promised"])
    first = ", once it is decided which curve holds" if review["waits_for_curve"] else ""
    waits = f" (reissue promised: {promised}{first})" if promised else ""
    return (
        f"impact review open: {review['about']}, {review['open_lines']} of {review['lines']} lines{waits}: "
        f"calib review show {review['review']}"
    )
