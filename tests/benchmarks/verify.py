"""`verify` on a million ledger entries, beside reading the same rows with sqlite3 and hashing each once with hashlib.

Run: python tests/benchmarks/verify.py [ENTRIES]
Promise: 100,000 entries a second on two cores, and memory that does not grow with the ledger.

The file is written by the code below, which makes each record's bytes with `json` and shares nothing with the program under test
but its tables: readings and points of traverses, as a company gathers them in some decades.
"""

import hashlib
import json
import os
import resource
import sqlite3
import sys
import tempfile
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from machine import describe

from calib.procedures.on_record.declared_cells import wrong_cells_told
from calib.records import database, ledger

ENTRIES = 1_000_000
START, MINUTE = datetime(2000, 1, 1, tzinfo=UTC), timedelta(minutes=1)
POINTS = 4  # of a traverse, for each reading
SIGNED = {"time": "2026-03-06T09:00:00+00:00", "person": "T. One", "action": "import"}
FIRST = {
    "instrument": {
        "id": 1, "tag": "VA-1", "kind": "vane", "maker": "Maker", "model": "M1", "serial": "1", "quantity": "pressure",
        "range_low": "0.3", "range_high": "200", "unit": "Pa", "resolution": "0.01", "mpe_percent": "1", "interval_months": 12,
    },
    "method": {"id": 1, "method": "sweep", "relative_standard_uncertainty_percent": "2.5", "basis": "comparisons"},
    "job": {"id": 1, "job": "J-1", "decision_rule": "simple"},
    "outlet": {"id": 1, "job_id": 1, "outlet": "S-1", "system": "AH-1", "service": "supply"},
}  # fmt: skip


def records():
    """Tables and records, without end."""
    yield from FIRST.items()
    number = 0
    while True:
        number += 1
        yield "traverse", {"id": number, "rule": "log-linear", "lines": 1, "points": POINTS}
        for point in range(1, POINTS + 1):
            record_id = (number - 1) * POINTS + point
            indications = f"{20 + number % 7}.{point};{20 + number % 7}.{point + 1}"
            yield (
                "traverse_point",
                {"id": record_id, "traverse_id": number, "line": 1, "point": point, "indications": indications},
            )
        moment = (START + number * MINUTE).isoformat()
        yield (
            "reading",
            {
                "id": number, "outlet_id": 1, "instrument_id": 1, "method_id": 1, "observed_at": moment, "unit": "Pa",
                "operator": "T. One", "remarks": f"branch {number % 40}, damper as found", "traverse_id": number,
            },
        )  # fmt: skip


def sha256(*parts):
    """Digest of a record as the ledger's docstring states it."""
    return hashlib.sha256(json.dumps(parts, separators=(",", ":")).encode()).hexdigest()


def write(path, entries):
    """A records file with so many entries."""
    database.make(str(path))
    previous = "0" * 64
    with closing(sqlite3.connect(path)) as file, file:
        file.execute("PRAGMA synchronous=OFF")
        for sequence, (table, record) in zip(range(1, entries + 1), records(), strict=False):
            entry = SIGNED | {
                "sequence": sequence,
                "record_table": table,
                "record_id": record["id"],
                "record_digest": sha256(table, sorted(record.items())),
                "previous": previous,
            }
            previous = sha256("ledger", sorted(entry.items()))
            for name, row in ((table, record), ("ledger", entry | {"digest": previous})):
                marks = ", ".join("?" * len(row))
                file.execute(f"INSERT INTO {name} ({', '.join(row)}) VALUES ({marks})", list(row.values()))  # noqa: S608


def processor_seconds():
    """Processor time of this process and of those that it waited for [s]: what counts where others use the machine too."""
    return sum(
        one.ru_utime + one.ru_stime for one in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


def timed(function, path):
    """Elapsed and processor time of a call [s]."""
    start, busy = time.perf_counter(), processor_seconds()
    function(path)
    return time.perf_counter() - start, processor_seconds() - busy


def read_and_hash(path):
    """Read every row with sqlite3 and make one SHA-256 of each; nothing is compared."""
    with closing(sqlite3.connect(path)) as file:
        for table in ("ledger", "traverse_point", "traverse", "reading", *FIRST):
            for row in file.execute(f"SELECT * FROM {table}"):  # noqa: S608
                hashlib.sha256(repr(row).encode()).hexdigest()


def verify(path):
    """The program's own verification, which must find nothing."""
    with database.reading(str(path)) as session:
        findings = ledger.verify(session.connection())
    if findings:
        raise SystemExit(f"{len(findings)} findings, the first: {findings[0]}")


def hold_cells(path):
    """Hold the cells of every row to their declarations, which must find nothing."""
    with database.reading(str(path)) as session:
        if wrong := wrong_cells_told(session):
            raise SystemExit(f"{len(wrong)} findings, the first: {wrong[0]}")


def peak_megabytes():
    """Largest memory of this process, and of the largest of those that it started [MB]."""
    return [resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]


def main():
    """Write the file, then time both in turns."""
    entries = int(sys.argv[1]) if len(sys.argv) > 1 else ENTRIES
    print(describe("sqlmodel"), f"load before {os.getloadavg()[0]:.2f}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.sqlite"
        write(path, entries)
        print(f"{entries} entries, {path.stat().st_size / 1e6:.0f} MB")
        before = peak_megabytes()
        pairs = [(timed(read_and_hash, path), timed(verify, path)) for _ in range(3)]
        cells, cells_busy = min(timed(hold_cells, path) for _ in range(2))
        after = peak_megabytes()
    (base, base_busy), (ours, busy) = (min(column) for column in zip(*pairs, strict=True))
    print(f"read and hash once: {base:.2f} s   verify: {ours:.2f} s   (best of 3)")
    print(f"ratio: {ours / base:.2f}   {entries / ours:,.0f} entries/s (promised: at least 100,000 on two cores)")
    print(
        f"processor time: {base_busy:.2f} s and {busy:.2f} s: with two cores for it alone {2 * entries / busy:,.0f} entries/s"
    )
    print(
        f"cells held to their declarations: {cells:.2f} s, processor time {cells_busy:.2f} s, {entries / cells:,.0f} rows/s"
    )
    print(f"peak memory: {after[0]:.0f} MB (before: {before[0]:.0f}), largest process started: {after[1]:.0f} MB")


if __name__ == "__main__":
    main()
