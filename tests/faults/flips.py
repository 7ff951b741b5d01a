"""One bit of a records file turned over, many times: what `verify` then says, and what the program answers.

A flip is *found* (a finding), *refused* (the file cannot be opened, or an answer is refused in one line) or *harmless* (every
answer is the one from before). What is none of these is *missed*, and there must be none. Every second flip hits a byte that is
not zero: most of a small file is room that is free. Long run: python -m tests.faults.flips 10000
"""

import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from contextlib import closing
from pathlib import Path

from calib.errors import RecordsError
from calib.procedures.verify.whole_state import verify_state
from calib.records import database
from tests.command import calib
from tests.folders import records_of, small_job

ANSWERS = (
    ("balance", "J-1", "--json"),
    ("reading", "list", "J-1", "--json"),
    ("ready", "VA-1", "VA-2", "--on", "2026-03-05", "--json"),
)


def answers(records):
    """What the program answers from records: exit statuses and documents."""
    return [(ran.status, ran.out) for ran in (calib(*words, records=records) for words in ANSWERS)]


def prepared(folder):
    """Records in one file, with nothing left in its log."""
    path = records_of(folder, small_job())
    with closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        file.execute("PRAGMA journal_mode=DELETE")
    return path


def verdict(path, before):
    """What became of a damaged file."""
    try:
        with database.reading(str(path)) as session:
            if verify_state(session).findings:
                return "found"
    except RecordsError:
        return "refused"
    after = answers(path)
    if after == before:
        return "harmless"
    changed = [now for now, then in zip(after, before, strict=True) if now != then]
    return "refused" if all(status == 2 for status, _ in changed) else "missed"


def flips(count, seed):
    """Verdicts of so many flips, and the places that were missed."""
    chance, verdicts, missed = random.Random(seed), Counter(), []  # noqa: S311 (no secret)
    with tempfile.TemporaryDirectory() as folder:
        sound = prepared(Path(folder))
        content, before = sound.read_bytes(), answers(sound)
        filled = [place for place, byte in enumerate(content) if byte]
        for number in range(count):
            place = chance.choice(filled) if number % 2 else chance.randrange(len(content))
            bit = chance.randrange(8)
            path = Path(folder) / "flipped.sqlite"
            shutil.copyfile(sound, path)
            with path.open("r+b") as file:
                file.seek(place)
                file.write(bytes([content[place] ^ 1 << bit]))
            said = verdict(path, before)
            verdicts[said] += 1
            if said == "missed":
                missed.append((place, bit))
            for left in path.parent.glob("flipped.sqlite-*"):
                left.unlink()
    return verdicts, missed


if __name__ == "__main__":
    count, seed = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0
    print(*flips(count, seed), sep="\nmissed at (byte, bit): ")
