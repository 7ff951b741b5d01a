"""An instrument, a method or a job that was amended, as their `amend` answers."""

from collections.abc import Iterator

from calib.faces.parts.hung_on import hung_on_document, hung_on_lines
from calib.faces.written import Content
from calib.procedures.enter.amend_method import RecordAmended


def document(amended: RecordAmended) -> Content:
    """What was changed, and what hangs on it."""
    return {
        "name": amended.name,
        "revision": amended.revision,
        "changes": [
            {"column": column, "before": before or None, "after": after or None}
            for column, (before, after) in amended.changes.items()
        ],
        "reason": amended.reason,
        **hung_on_document(amended.hung_on),
    }


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join(_lines(answer))


def _lines(answer: Content) -> Iterator[str]:
    yield f"{answer['name']} is amended: revision {answer['revision']}"
    for each in answer["changes"]:
        yield f"  {each['column']}: {each['before'] or 'none'} -> {each['after'] or 'none'}"
    yield from hung_on_lines(answer)
