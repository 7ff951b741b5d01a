"""What the files of a report are called."""

import re

# Windows takes a file of such a name, with whatever ending, for a device.
_DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{port}{digit}" for port in ("COM", "LPT") for digit in range(1, 10))}
FORMS = ("html", "pdf", "json", "csv", "xlsx", "eml")  # of a report; each the ending of its file

_LONGEST = 60  # signs of a job's name in a file name: four bytes each at the most, and systems allow 255


def file_stem(job: str, issued_revision: int | None = None) -> str:
    """Name of a job's report without its form: of a draft the job alone, of an issue with the revision."""
    name = re.sub(r"[^\w.-]+", "_", job).strip(".")[:_LONGEST] or "job"
    if name.partition(".")[0].upper() in _DEVICES:
        name = f"_{name}"
    return name if issued_revision is None else f"{name}-r{issued_revision}"
