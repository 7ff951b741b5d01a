"""Jobs as a list, as `calib job list` answers."""

from collections.abc import Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.on_record.jobs_on_file import JobOnFile
from calib.records.record import typed

_HEADER = ("job", "title", "site", "client", "decision rule", "outlets", "read", "issued")


def document(jobs: Sequence[JobOnFile]) -> Content:
    """Jobs with their outlets, the revision that was issued last and the day of the last reading."""
    return {
        "jobs": [
            typed(each.job)
            | {
                "outlets": each.outlets,
                "outlets_read": each.read,
                "issued_revision": each.revision,
                "last_read_on": each.last_read_on,
            }
            for each in jobs
        ]
    }


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["jobs"]:
        return "there is no job"
    return table_text(_HEADER, [_row(job) for job in answer["jobs"]], right=(5, 6))


def _row(job: Content) -> tuple[str, ...]:
    revision = job["issued_revision"]
    return (
        *(job[name] or "-" for name in ("job", "title", "site", "client", "decision_rule")),
        str(job["outlets"]),
        str(job["outlets_read"]),
        "-" if revision is None else f"revision {revision}",
    )
