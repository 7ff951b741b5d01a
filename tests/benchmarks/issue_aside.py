"""What others wait for while a report is issued from its page: the first page, asked for again and again, alone and meanwhile.

    python -m tests.benchmarks.issue_aside [REQUESTS]

The demo's records, served as `calib serve` does by a program of its own; the report is issued in every form, unsigned. The time is
that from the request until the whole answer stands there.
"""

import re
import statistics
import sys
import tempfile
import time
from pathlib import Path

import httpx2 as httpx

from calib.clock import clock
from calib.faces.demo import DEMO_JOB, add_demo_people, run_demo
from tests.benchmarks.machine import describe
from tests.served import PASSWORD, company
from tests.serving_program import serving_program

_WARM = 3  # requests before the time counts
_ENGINEER = "R. Sorrel"
_TOKEN = re.compile('name="token" content="([^"]*)"')


def told(name: str, taken: list[float]) -> None:
    """Print the median and the 95th percentile of times."""
    most = statistics.quantiles(taken, n=20)[-1]
    print(
        f"{name}: median {1000 * statistics.median(taken):.0f} ms, 95 % within {1000 * most:.0f} ms, {len(taken)} requests"
    )


def main(count: int) -> None:
    """Time the first page on the demo's records, alone and while a report is issued."""
    print(describe("sqlalchemy", "starlette", "uvicorn"))
    with tempfile.TemporaryDirectory() as folder:
        records = Path(run_demo(Path(folder) / "demo", lambda _: None)["records"])
        add_demo_people(str(records), clock())
        with company(records, folder) as enrolling:
            enrolling.enrol(_ENGINEER)
        with (
            serving_program(records, Path(folder) / "credentials") as (address, _),
            httpx.Client(base_url=address, headers={"Sec-Fetch-Site": "same-origin"}, timeout=300) as visitor,
        ):
            _timed(visitor, count)


def _timed(visitor: httpx.Client, count: int) -> None:
    def sent(place: str, page: str, **fields: str) -> str:
        found = _TOKEN.search(visitor.get(page).text)
        assert found is not None
        return visitor.post(place, data={"token": found[1]} | fields).headers["location"]

    def first_page() -> float:
        begun = time.perf_counter()
        visitor.get("/").raise_for_status()
        return time.perf_counter() - begun

    sent("/sign-in", "/sign-in", name=_ENGINEER, password=PASSWORD)
    told("alone", [first_page() for _ in range(count + _WARM)][_WARM:])
    issue = f"/jobs/{DEMO_JOB}/report/issue"
    begun = time.perf_counter()
    progress = sent(issue, issue, reason="a try", gaps_reason="nobody may go there")
    meanwhile = [first_page()]
    while "refresh" in visitor.get(progress).headers:
        meanwhile += [first_page() for _ in range(5)]
    print(f"issued within {time.perf_counter() - begun:.1f} s")
    told("meanwhile", meanwhile)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
