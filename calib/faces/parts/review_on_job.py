"""What a report says of an impact review that concerns its job: what was found, what was decided, and by whom."""

from calib.faces.written import Content
from calib.procedures.on_record.held_curves import AS_BEFORE, AS_FOUND_ALWAYS, AS_FOUND_FROM, WIDENED
from calib.procedures.on_record.reviews import SUPERSESSION, WITHDRAWAL, CurveDecided, Review, ReviewLine

NOT_DECIDED = "not decided yet: the flows are as before"
_BY_WHAT_COUNTS = "the flows are those of the certificate that counts now"  # where the one before counts no more
_WITHDRAWN = "what was recorded there was withdrawn since: it shakes no flow"
CURVES_IN_WORDS = {
    AS_BEFORE: "the flows stand as they were",
    AS_FOUND_ALWAYS: "the flows are those of the curve as found, for the whole time since it was last in order",
    AS_FOUND_FROM: "the flows are those of the curve as found from {} on, and as before until then",
    WIDENED: "the flows are as before, and their U is widened by the change found",
}


def review_document(review: Review, job: str, revision: int) -> Content:
    """A review with what concerns one job; what was recorded since an issue is answered by the first revision after it."""
    lines = review.of_job(job)
    answered = min((line.reissued or revision for line in lines), default=None) if review.is_of_reports else None
    return {
        "review": review.review,
        "cause": review.cause,
        "instrument": review.tag,
        "certificate": review.certificate,
        "happened": review.happened,
        "opened_at": review.time,
        "open": review.is_open_for(job),
        "withdrawn": review.is_of_withdrawn,  # what opened it was taken back since
        "answered_by": answered,  # a revision; absent where the review is of an instrument
        "readings": [line.record for line in lines if line.record_table == "reading"],
        "decision": None if review.holds is None else _decision(review.holds),
        "lines": [_line(line) for line in lines if line.disposition is not None],
    }


def _decision(decided: CurveDecided) -> Content:
    return {
        "curve": decided.curve,
        "from_at": decided.from_at,
        "said": CURVES_IN_WORDS[decided.curve].format(decided.from_at),
        "reason": decided.reason,
        "by": decided.person,
        "at": decided.time,
    }


def _line(line: ReviewLine) -> Content:
    last = line.decided[-1]
    named = f"reading {line.record}" if line.record_table == "reading" else str(line.finding.get("report"))
    return {
        "record": named,
        "decision": last.decision,
        "reissued": line.reissued,
        "reason": last.reason,
        "by": last.person,
        "at": last.time,
    }


def decided_text(review: Content) -> str:
    """What was decided, by whom and why, in a sentence."""
    decision = review["decision"]
    if decision is None:
        if review["withdrawn"]:
            return _WITHDRAWN
        answered = review["answered_by"]
        if answered is None and review["cause"] in (WITHDRAWAL, SUPERSESSION):
            return _BY_WHAT_COUNTS
        return NOT_DECIDED if answered is None else f"revision {answered} says what the records say since"
    return f"{decision['said']} (decided by {decision['by']} on {decision['at'][:10]}: {decision['reason']})"


def disposed_text(review: Content) -> str:
    """What was decided of each line, by whom and why."""
    return "; ".join(
        f"{line['record']} {line['decision']} ({line['by']}: {line['reason']})" for line in review["lines"]
    )
