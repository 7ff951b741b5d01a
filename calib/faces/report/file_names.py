"""What the files of a report are called."""

import re
from collections.abc import Iterable
from itertools import takewhile

# Windows takes a file of such a name, with whatever ending, for a device.
_DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{port}{digit}" for port in ("COM", "LPT") for digit in range(1, 10))}
FORMS = ("html", "pdf", "json", "csv", "xlsx", "eml")  # of a report; each the ending of its file

_LONGEST = 60  # signs of a job's name in a file name: four bytes each at the most, and systems allow 255


_LIKE_AN_ISSUE = re.compile(r"-r\d+$")


def file_stem(job: str, issued_revision: int | None = None) -> str:
    """Name of a job's report without its form: of a draft the job alone, of an issue with the revision."""
    name = re.sub(r"[^\w.-]+", "_", job).strip(".")[:_LONGEST] or "job"
    if name.partition(".")[0].upper() in _DEVICES:
        name = f"_{name}"
    if _LIKE_AN_ISSUE.search(name):
        name = f"{name}_"  # else the draft of one job were the issue of another
    return name if issued_revision is None else f"{name}-r{issued_revision}"


def stem_among(job: str, jobs: Iterable[str]) -> str:
    """The same, numbered where jobs that were recorded before have it already: `A/1` is A_1, then `A:1` is A_1~2.

    `jobs` are in the order in which they were recorded. Upper and lower case are one: some systems take them for one.
    """
    stem = file_stem(job)
    before = takewhile(lambda other: other != job, jobs)
    count = 1 + sum(file_stem(other).casefold() == stem.casefold() for other in before)
    return stem if count == 1 else f"{stem}~{count}"  # which no job's own name makes


def like_names(job: str) -> str:
    """A pattern (SQL LIKE, on names in lower case) of names whose files may be called the same; of some others too."""
    stem = file_stem(job).removesuffix("_").lower()
    return f"%{''.join(sign if sign.isascii() and (sign.isalnum() or sign in '.-') else '%' for sign in stem)}%"
