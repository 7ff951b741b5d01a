"""What a technician waits for on the phone: pages asked for one after another, beside a past.

    python -m tests.benchmarks.pages FILE [REQUESTS]

FILE is made by tests.benchmarks.past; it is copied first. The pages are served by `calib serve`, a program of its own, on the
demo's job of 30 readings; the time is that from the request until the whole answer stands there. Beside it the processor's time
of that program for each, which others on the machine do not lengthen, and in the end the most memory that it took. The aims: the
instrument's page and the form of an entry within 20 ms, a reading written within 100 ms, the job's page within 100 ms, 250 MB.
Linux alone tells what a running program took.
"""

import os
import re
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx2 as httpx

from tests import served
from tests.benchmarks.machine import describe
from tests.serving_program import serving_program

JOB, OUTLET, METER, METHOD = "LM-27", "S1-1 reading room", "VA-11", "sweep with vane"
_NOT_SWEPT = ("S2-5", "M1", "B1", "M3")  # outlets that this meter measures in another way, or not at all
_WARM = 3  # requests before the time counts: the first one imports what is needed


def processor_time(process: int) -> float:
    """What a process took of processors so far [s]."""
    user, system = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def most_memory(process: int) -> float:
    """The most memory that a process held at once [MB]."""
    told = re.search(r"VmHWM:\s+(\d+) kB", Path(f"/proc/{process}/status").read_text(encoding="ascii"))
    assert told is not None
    return int(told[1]) / 1024


def timed(name: str, request: Callable[[int], httpx.Response], status: int, count: int, server: int) -> None:
    """Print the median and the 95th percentile of a request, and what of a processor the server took for it."""
    taken, used = [], 0.0
    for turn in range(count + _WARM):
        if turn == _WARM:
            used = processor_time(server)
        begun = time.perf_counter()
        answer = request(turn)
        taken.append(time.perf_counter() - begun)
        if answer.status_code != status:
            raise SystemExit(f"{name}: {answer.status_code}\n{answer.text}")
    median, most = statistics.median(taken[_WARM:]), statistics.quantiles(taken[_WARM:], n=20)[-1]
    used = (processor_time(server) - used) / count
    print(
        f"{name}: median {1000 * median:.0f} ms, 95 % within {1000 * most:.0f} ms; of a processor {1000 * used:.0f} ms"
    )


def main(past: Path, count: int) -> None:
    """Time each page on a copy of records."""
    print(describe("sqlalchemy", "starlette", "uvicorn"))
    with tempfile.TemporaryDirectory() as folder:
        records = shutil.copyfile(past, Path(folder) / "past.sqlite")
        served.ADDED = datetime.now(UTC) - timedelta(minutes=1)
        served.put_on_record(records)
        with served.company(records, folder) as company:
            company.enrol("Tom")
        with (
            serving_program(records, Path(folder) / "credentials") as (address, server),
            httpx.Client(base_url=address, headers={"Sec-Fetch-Site": "same-origin"}, timeout=60) as tom,
        ):
            _time_pages(tom, count, server.pid)
            print(f"at most {most_memory(server.pid):.0f} MB")


def _time_pages(tom: httpx.Client, count: int, server: int) -> None:
    token = _token(tom.get("/sign-in").text)
    tom.post("/sign-in", data={"token": token, "name": "Tom", "password": served.PASSWORD})
    at = f"/jobs/{JOB}/outlets/{OUTLET}"
    sent = {"token": _token(tom.get("/").text), "instrument": METER, "unit": "m/s", "method": METHOD, "sure": "yes"}
    sent |= {"pass_1": "2.41", "pass_2": "2.38", "pass_3": "2.44"}

    named = re.findall('class="whole" href="([^"?]*)', tom.get(f"/jobs/{JOB}").text)
    outlets = [each for each in named if not any(other in each for other in _NOT_SWEPT)]

    def enter(turn: int) -> httpx.Response:
        now = datetime.now(UTC).replace(microsecond=0)
        observed = now - timedelta(minutes=count + _WARM - turn)  # two readings of one outlet within a second are one
        times = {"observed_at": observed.isoformat(), "sent_at": now.isoformat()}
        return tom.post(outlets[turn % len(outlets)], data=sent | times | {"client_key": f"entry {turn}"})

    timed("an instrument's page", lambda _: tom.get(f"/instruments/{METER}"), 200, count, server)
    timed("the form of an entry", lambda _: tom.get(at, params={"instrument": METER}), 200, count, server)
    timed("the job's page", lambda _: tom.get(f"/jobs/{JOB}"), 200, count, server)
    timed("a reading written", enter, 303, count, server)
    timed("what it proves", lambda _: tom.get(at, params={"reading": "1"}), 200, count, server)


def _token(page: str) -> str:
    return re.findall('<meta name="token" content="([^"]*)">', page)[0]


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), int(sys.argv[2]) if len(sys.argv) > 2 else 50)
