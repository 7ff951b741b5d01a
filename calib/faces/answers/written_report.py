"""Files of a report that were written: a draft, or an issue, as `calib report` answers."""

from collections.abc import Sequence
from pathlib import Path

from calib.counted import count_of
from calib.faces.written import Content


def document(job: str, revision: int, files: Sequence[Path], refusals: int, *, is_draft: bool) -> Content:
    """The files, and how many readings the report refuses."""
    return {
        "job": job,
        "revision": revision,
        "is_draft": is_draft,
        "files": [str(file) for file in files],
        "refusals": refusals,
    }


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join(f"wrote {file}" for file in answer["files"])


def remarks(answer: Content) -> list[str]:
    """Whether it was issued, and what is not in it."""
    state = (
        "a draft of revision {revision}: nothing was issued" if answer["is_draft"] else "issued as revision {revision}"
    )
    lines = [state.format(**answer)]
    refusals = answer["refusals"]
    if refusals:
        listed = count_of(refusals, "refused reading is", "refused readings are")
        lines.append(f"{listed} listed in the report; no flow is given for {'them' if refusals > 1 else 'it'}")
    return lines
