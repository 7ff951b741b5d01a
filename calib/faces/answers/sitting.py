"""What came of a sitting at a job, as `calib enter` answers in the end."""

from collections.abc import Sequence

from calib.counted import count_of
from calib.faces.plain_text import one_line
from calib.faces.written import Content


def document(
    job: str,
    outlets: int,
    entries: Sequence[Content],
    not_written: Sequence[Content],
    left: Sequence[str],
    *,
    half_typed: bool,
) -> Content:
    """Each entry with what it proves, by the line it was typed in; lines of a pipe that were not written; what is left."""
    return {
        "job": job,
        "entries": list(entries),
        "not_written": list(not_written),
        "half_typed": half_typed,
        "outlets": outlets,
        "outlets_left": list(left),
    }


def text(answer: Content) -> str:
    """The same for people, who were told of each entry already: how many there were, and what is left."""
    entries = answer["entries"]
    refused = sum(each["refused"] for each in entries)
    withdrawn = sum("withdrawn" in each for each in entries)
    told = [count_of(len(entries) - refused, "reading entered", "readings entered")]
    told += [f"{refused} kept as refused"] if refused else []
    told += [f"{withdrawn} of them withdrawn"] if withdrawn else []
    lines = [", ".join(told)]
    lines += [f"not written, line {each['line']}: {one_line(each['typed'])}" for each in answer["not_written"]]
    lines += ["what is half-typed is kept, and offered at the next start"] if answer["half_typed"] else []
    return "\n".join([*lines, _left(answer["outlets"], answer["outlets_left"])])


def _left(outlets: int, left: Sequence[str]) -> str:
    if not outlets:
        return "the job has no outlet yet"
    if not left:
        return "every outlet is measured"
    return f"{count_of(len(left), 'outlet', 'outlets')} left: {', '.join(map(one_line, left))}"
