"""Import folders with mutated cells: each is written, or refused with findings that name file, row and column; nothing else.

Long run (folders, cells mutated in each): python -m tests.faults.cells 20000 50
"""

import copy
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from sqlmodel import Session

from calib.errors import BadInputError
from calib.faces.files import import_folders
from calib.faces.plain_text import one_line
from calib.records import database
from tests.folders import NOW, SIGNED, small_job, write

ODD = (
    "", " ", "0", "-0", "-1", "1e308", "1e-308", "5e-324", "nan", "inf", "-inf", "1,5", "1.5.2", "0x10", "1_000", "\u0661\u0662",
    "9" * 400, "0" * 50 + "1", "2026-02-30", "2026-03-05T09:10", "0000-00-00", "9999-12-31T23:59+14:00", "=1+1", "@x", "a\tb",
    "\u202ea", "\u2028", "\x00", "\x1b[31m", "\ud800".encode("utf-8", "surrogatepass").decode("utf-8", "replace"), "\U0001f6e0",
    "'; DROP TABLE reading; --", "%s%n", "{0}", "../../etc/passwd", "yes", "no", "m/s", "fpm", "Pa", "VA-1", "C-101", "sweep",
)  # fmt: skip


def mutated(chance, sheets, cells):
    """The sheets with so many cells changed: to something odd, to another cell's content, or by one sign."""
    sheets = copy.deepcopy(sheets)
    for _ in range(cells):
        rows = sheets[chance.choice(sorted(sheets))]
        row = chance.choice(rows)
        column = chance.choice(sorted(row))
        other = chance.choice(sorted(chance.choice(sheets[chance.choice(sorted(sheets))]).values()))
        typed = row[column]
        place = chance.randrange(len(typed) + 1)
        row[column] = chance.choice(
            [chance.choice(ODD), other, typed[:place] + chance.choice("0.-;,e ") + typed[place:]]
        )
    return sheets


def outcome(records, folder):
    """How an import of a folder ends; what was written is taken back, so that the next one meets the same records."""
    try:
        with Session(records.execution_options(writes=True)) as session:
            import_folders(session, [folder], SIGNED, NOW)
            session.rollback()
            return "written"
    except BadInputError as error:
        findings = error.findings
    assert findings
    assert all(finding.source and finding.expected for finding in findings), findings
    assert all(len(one_line(str(finding)).splitlines()) == 1 for finding in findings), findings
    return "refused"


def cells(folders, each, seed):
    """How so many imports end, and the longest [s]."""
    chance, outcomes, longest = random.Random(seed), Counter(), 0.0  # noqa: S311 (no secret)
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "records.sqlite"
        database.make(str(path))
        records = database.open_records(str(path))
        for number in range(folders):
            folder = write(Path(place) / str(number), mutated(chance, small_job(), chance.randint(1, 2 * each - 1)))
            begun = time.monotonic()
            outcomes[outcome(records, folder)] += 1
            longest = max(longest, time.monotonic() - begun)
            for left in folder.iterdir():
                left.unlink()
        records.dispose()
    return outcomes, longest


if __name__ == "__main__":
    print(*cells(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 0))
