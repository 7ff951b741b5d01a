"""What waits for somebody, as `calib status` answers.

Nothing heavy is imported here, since it is asked at the start of every day.
"""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime

from calib.counted import count_of
from calib.faces.answers import due
from calib.faces.plain_text import command_text, one_line
from calib.faces.written import Content
from calib.procedures.fleet.status import Status
from calib.procedures.on_record.left_open import LastBackup

_MOST_NAMED = 12  # outlets of a job, or jobs


def document(status: Status, drafts: Sequence[str]) -> Content:
    """Everything that waits; `drafts` are entries of readings that were begun and not finished, by their job."""
    fleet, backup = status.fleet, status.backup
    return {
        **due.document(fleet.on, fleet.within_days, fleet.entries, fleet.open_reviews),
        "jobs": [
            {
                "job": each.job,
                "outlets": each.outlets,
                "not_measured": [{"outlet": left.outlet, "refused": list(left.refused)} for left in each.left],
            }
            for each in status.jobs
        ],
        "not_accepted": [asdict(each) for each in status.waiting],
        "drafts": list(drafts),
        "last_backup": backup_document(backup, status.at),
    }


def backup_document(backup: LastBackup | None, at: datetime) -> Content | None:
    """The backup recorded last, and whether it is too old at a time."""
    return None if backup is None else asdict(backup) | {"late": backup.is_late(at)}


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join(
        [
            due.text(answer),
            *(line for job in answer["jobs"] for line in _job(job)),
            *_measured(answer["jobs"]),
            *(_waiting(each) for each in answer["not_accepted"]),
            *(f"begun and not finished: {command_text(['enter', job])}" for job in answer["drafts"]),
            backup_line(answer["last_backup"]),
        ]
    )


def _job(job: Content) -> Iterator[str]:
    left = job["not_measured"]
    if left:
        outlets, names = count_of(job["outlets"], "outlet", "outlets"), _named([each["outlet"] for each in left])
        yield f"job {one_line(job['job'])}: {len(left)} of {outlets} not measured: {names}"
    for each in left:
        if each["refused"]:
            yield f"  refused at {one_line(each['outlet'])}: {one_line('; '.join(each['refused']))}"


def _measured(jobs: Sequence[Content]) -> Iterator[str]:
    """Jobs of which nothing is left but the issue, the newest first."""
    names = [job["job"] for job in reversed(jobs) if job["outlets"] and not job["not_measured"]]
    if names:
        yield f"every outlet is measured, and the report was not issued: {_named(names)}"


def _named(names: Sequence[str]) -> str:
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(map(one_line, names[:_MOST_NAMED])) + more


def _waiting(each: Content) -> str:
    accept = command_text(["calibration", "accept", each["tag"], each["certificate"]])
    day, by = each["calibrated_on"], one_line(each["typed_by"])
    return f"certificate not accepted: {each['tag']}, {each['certificate']} of {day}, typed by {by}: {accept}"


def backup_line(backup: Content | None) -> str:
    """The backup recorded last."""
    if backup is None:
        return "no backup is on record: calib backup FILE"
    since = count_of(backup["entries_since"], "ledger entry", "ledger entries")
    return f"last backup: {one_line(backup['name'])} of {backup['at'][:10]} by {one_line(backup['by'])}; {since} since"
