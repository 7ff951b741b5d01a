"""What the files of a report are called."""

import re

_LONGEST = 60  # signs of a job's name in a file name: four bytes each at the most, and systems allow 255


def file_stem(job: str, issued_revision: int | None = None) -> str:
    """Name of a job's report without its form: of a draft the job alone, of an issue with the revision."""
    name = re.sub(r"[^\w.-]+", "_", job).strip(".")[:_LONGEST] or "job"
    return name if issued_revision is None else f"{name}-r{issued_revision}"
