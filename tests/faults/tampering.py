"""Records changed by SQL past the program, many times: what `verify` then says, with the chain as it was and with one forged anew.

A cell of any table is overwritten, a row is deleted, put in twice or changes its key with another, guards lifted and put back. With
the chain as it was each change is *found* or *refused*; forged to its end, each is found against a digest that was printed before.
What is neither is *missed*, and there must be none. The kinds by name, each with what is said of it, stand in
tests/records/test_tampering.py. Long run: python -m tests.faults.tampering 5000
"""

import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from contextlib import closing, suppress
from pathlib import Path

from calib.errors import CalibError
from calib.procedures.verify.whole_state import verify_state
from calib.records import database
from tests.faults.cells import ODD
from tests.folders import ledger_head, records_of, small_job
from tests.records.test_ledger import behind_the_back
from tests.records.test_tampering import forged

NOT_RECORDS = ("alembic_version", "sqlite_sequence")


def _cell(chance, file, table, columns, keys):
    column, key = chance.choice(columns), chance.choice(keys)
    (before,) = file.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (key,)).fetchone()  # noqa: S608
    after = chance.choice([word for word in (*ODD, None, 7, b"\x00\xff") if word != before])
    file.execute(f"UPDATE OR IGNORE {table} SET {column} = ? WHERE rowid = ?", (after, key))  # noqa: S608
    return f"{table} {key}: {column} {before!r} is {after!r}"


def _gone(chance, file, table, _columns, keys):
    key = chance.choice(keys)
    file.execute(f"DELETE FROM {table} WHERE rowid = ?", (key,))  # noqa: S608
    return f"{table} {key} is deleted"


def _twice(chance, file, table, columns, keys):
    key, first = chance.choice(keys), columns[0]
    others = ", ".join(columns[1:])
    copied = f"SELECT {max(keys) + 1}, {others} FROM {table} WHERE rowid = ?"  # noqa: S608
    file.execute(f"INSERT OR IGNORE INTO {table} ({first}, {others}) {copied}", (key,))
    return f"{table} {key} is there twice"


def _swapped(chance, file, table, columns, keys):
    one, other = chance.choice(keys), chance.choice(keys)
    for before, after in ((one, -1), (other, one), (-1, other)):
        file.execute(f"UPDATE {table} SET {columns[0]} = ? WHERE rowid = ?", (after, before))  # noqa: S608
    return f"{table} {one} and {other} change places"


KINDS = (_cell, _cell, _cell, _gone, _twice, _swapped)


def tampered(chance, path):
    """Change something past the program; says what, or None where nothing became of it."""
    before = _content(path)
    with behind_the_back(path) as file:
        named = "SELECT name FROM sqlite_master WHERE type = 'table'"
        tables = [name for (name,) in file.execute(named) if name not in NOT_RECORDS]
        table = chance.choice([name for name in tables if file.execute(f"SELECT 1 FROM {name}").fetchone()])  # noqa: S608
        keys = [key for (key,) in file.execute(f"SELECT rowid FROM {table}")]  # noqa: S608
        columns = [column[1] for column in file.execute(f"PRAGMA table_info({table})")]
        said = None
        with suppress(sqlite3.IntegrityError):  # a key is a whole number whatever guards are lifted
            said = chance.choice(KINDS)(chance, file, table, columns, keys)
    return None if _content(path) == before else said


def _content(path):
    with closing(sqlite3.connect(path)) as file:
        return sorted(file.iterdump())  # guards that were put back stand in another order


def verdict(path, digest=None):
    """What became of changed records."""
    try:
        with database.reading(str(path)) as session:
            return "found" if verify_state(session, digest).findings else "missed"
    except CalibError:
        return "refused"


def tampering(count, seed):
    """Verdicts of so many changes, as they are and with the chain forged anew, and what was missed."""
    chance, plain, anew, missed = random.Random(seed), Counter(), Counter(), []  # noqa: S311 (no secret)
    with tempfile.TemporaryDirectory() as folder:
        sound = records_of(Path(folder), small_job())
        (_, digest), whole = ledger_head(sound), _content(sound)
        while plain.total() < count:
            path = Path(shutil.copyfile(sound, Path(folder) / "tampered.sqlite"))
            changed = tampered(chance, path)
            if changed is None:
                continue
            said = verdict(path)
            plain[said] += 1
            missed += [changed] * (said == "missed")
            try:
                forged(path)
            except (TypeError, sqlite3.Error):  # of what the change left there is no ledger to be made
                anew["beyond forging"] += 1
                continue
            # Digests that were overwritten are made anew by whoever forges: that puts them right.
            said = "put right" if _content(path) == whole else verdict(path, digest)
            anew[said] += 1
            missed += [f"forged: {changed}"] * (said == "missed")
            for left in path.parent.glob("tampered.sqlite-*"):
                left.unlink()
    return plain, anew, missed


if __name__ == "__main__":
    results = tampering(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0)
    for name, result in zip(("as it was", "forged anew, by a printed digest", "missed"), results, strict=True):
        print(f"{name}: {result}")
