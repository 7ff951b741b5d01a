"""The assessor's page, as `calib audit` answers: questions, each with its answer first."""

from calib.counted import count_of
from calib.faces.plain_text import line_width, one_line, wrapped
from calib.faces.written import Content
from calib.procedures.audit.assess_records import Audit

_INDENT = "   "


def document(audit: Audit) -> Content:
    """What was asked about, and each question with its answer, whether it is a finding, and what it rests on."""
    return {
        "of": audit.subject.name,
        "kind": audit.subject.kind,
        "on": str(audit.subject.on),
        "ledger_digest": audit.ledger_digest,
        "findings": audit.findings,
        "questions": [
            {
                "question": answer.question,
                "answer": answer.said,
                "is_finding": answer.is_finding,
                "rests_on": list(answer.rests_on),
            }
            for answer in audit.answers
        ],
    }


def text(answer: Content) -> str:
    """The same for people."""
    lines = wrapped(heading(answer))
    for place, asked in enumerate(answer["questions"], start=1):
        mark = "finding: " if asked["is_finding"] else ""
        lines += ["", *wrapped(f"{place}. {asked['question']}"), *_indented(f"{mark}{asked['answer']}")]
        lines += [line for ground in asked["rests_on"] for line in _indented(f"- {ground}")]
    return "\n".join([*lines, "", *wrapped(ending(answer))])


def heading(answer: Content) -> str:
    """What the page is about."""
    return f"{answer['kind']} {answer['of']}, asked on {answer['on']}"


def ending(answer: Content) -> str:
    """How many findings there are."""
    if not answer["findings"]:
        return "no findings"
    return f"{count_of(answer['findings'], 'finding', 'findings')} of {len(answer['questions'])} questions"


def _indented(text_of: str) -> list[str]:
    return [_INDENT + line for line in wrapped(one_line(text_of), line_width() - len(_INDENT))]
