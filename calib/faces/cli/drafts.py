"""What is half-typed at a terminal, in a file: beside the records, or for records on a server in the person's own state folder.

There is one for each person and job, and only as long as something is half-typed. It is put there whole: a kill leaves the one
before, or the new one.

Decision (2026-11-29). No lock is held on it: two sittings of one person at one job share a draft, the later line counts. What both
would write has one key, so nothing is written twice. Options: a lock (it outlives a network's disk), a draft for each process
(nobody would know which to offer). Cost: of two such sittings that are both killed one half-typed entry is offered.
"""

import hashlib
import json
import os
from contextlib import suppress
from pathlib import Path

from calib.errors import RecordsError
from calib.records.location import Server, located


def draft_place(location: str, job: str, person: str) -> Path:
    """Where a person's draft of a job stands; raises RecordsError for a location that is none."""
    place = located(location)
    where = str(place) if isinstance(place, Server) else ""
    named = hashlib.sha256(f"{where}\0{job}\0{person}".encode()).hexdigest()[:12]
    if isinstance(place, Server):
        return _state_folder() / "calib" / f"half-typed-{named}.json"
    return place.with_name(f"{place.name}.half-typed-{named}.json")


def _state_folder() -> Path:
    """Where a person's programs keep what they must not lose (XDG base directories; on Windows the local application data)."""
    named = os.environ.get("XDG_STATE_HOME") or os.environ.get("LOCALAPPDATA")
    return Path(named) if named else Path.home() / ".local" / "state"


def draft_text(place: Path) -> str | None:
    """The draft that was left, or None where there is none; raises RecordsError where it cannot be read."""
    try:
        return place.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise RecordsError(f"{place}: what was half-typed cannot be read ({error}): move the file away") from error


def keep_draft(place: Path, text: str) -> None:
    """Put a draft in its place and see it on the disk; raises RecordsError where that cannot be."""
    part = place.with_name(f"{place.name}.part")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with part.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        part.replace(place)
    except OSError as error:
        raise RecordsError(
            f"{place}: what is half-typed cannot be kept ({error.strerror}); nothing was written"
        ) from error


def drop_draft(place: Path) -> None:
    """Take a draft away: what it held is written, or is not wanted."""
    for each in (place, place.with_name(f"{place.name}.part")):
        with suppress(OSError):
            each.unlink(missing_ok=True)


def jobs_half_typed(location: str) -> list[str]:
    """Jobs of these records with something half-typed, by the drafts that stand where this person's would; raises RecordsError."""
    jobs = set()
    for path in draft_place(location, "", "").parent.glob("*half-typed-*.json"):
        with suppress(OSError, ValueError, KeyError, TypeError):  # one that cannot be read is told where it is taken up
            cells = json.loads(path.read_text(encoding="utf-8"))
            if draft_place(location, cells["job"], cells["person"]) == path:
                jobs.add(cells["job"])
    return sorted(jobs)
