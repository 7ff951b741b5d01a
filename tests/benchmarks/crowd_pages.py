"""50 people at once on the pages for a minute: an instrument's page, a job, the form of an entry, a reading, beside a past.

    python -m tests.benchmarks.crowd_pages FILE [--people 50] [--minutes 1] [--every 8]

FILE is made by tests.benchmarks.past; it is copied first, and served by a process of its own. Each person has a job, an instrument
and a turn of four requests, one every so many seconds; people begin at times spread at random and do not wait for one another. A
latency runs from the moment at which the request was due, so what comes late makes the next one of its person late too.

Aims: no error; those of one request after another stand in tests.benchmarks.pages.
"""

import argparse
import random
import re
import shutil
import tempfile
import time
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx2 as httpx
import numpy as np

from tests import served
from tests.benchmarks.crowd import people_of
from tests.benchmarks.machine import describe
from tests.benchmarks.past import METHOD, OUTLETS
from tests.mortal_server import mortal

_TURN = ("an instrument's page", "a job", "the form of an entry", "a reading written")
_TOKEN = re.compile('<meta name="token" content="([^"]*)">')


def signed_in(address, name):
    """A browser of a person, without a screen."""
    # A connection each: a browser asks again by itself where the server has just closed one, and httpx does not.
    limits = httpx.Limits(max_keepalive_connections=0)
    client = httpx.Client(base_url=address, headers={"Sec-Fetch-Site": "same-origin"}, timeout=120, limits=limits)
    token = _TOKEN.search(client.get("/sign-in").text)[1]
    answer = client.post("/sign-in", data={"token": token, "name": name, "password": served.PASSWORD})
    assert answer.status_code == 303, answer.text
    return client, _TOKEN.search(client.get("/").text)[1]


def asked(client, token, person, turn):
    """One request of a person; what it was and its answer."""
    what = _TURN[turn % len(_TURN)]
    outlet = f"/jobs/{person.job}/outlets/S-{(turn // len(_TURN)) % OUTLETS}"
    if what == _TURN[0]:
        return what, client.get(f"/instruments/{person.instrument}"), 200
    if what == _TURN[1]:
        return what, client.get(f"/jobs/{person.job}"), 200
    if what == _TURN[2]:
        return what, client.get(outlet, params={"instrument": person.instrument}), 200
    sent = {
        "token": token, "client_key": f"{person.name}, {turn}", "instrument": person.instrument, "unit": "m/s",
        "method": METHOD, "sure": "yes", "keep": "yes", "pass_1": "2.41", "pass_2": "2.38", "pass_3": "2.44",
    }  # fmt: skip
    return what, client.post(outlet, data=sent), 303


def _said(answer):
    """What a page says, without its marks."""
    return " ".join(re.sub("<[^>]*>", " ", answer.text.partition("<main")[2]).split())[:300]


def one_person(browser, person, began, first):
    """Every request of a person at its time: what it was, how long it was waited for [s], and what was wrong."""
    client, token = browser
    taken = []
    for turn, due in enumerate(person.due):
        time.sleep(max(0.0, began + due - time.time()))
        try:
            what, answer, wanted = asked(client, token, person, turn + first)
            error = None if answer.status_code == wanted else f"{what}: {answer.status_code} {_said(answer)}"
        except httpx.HTTPError as caught:
            what, error = _TURN[(turn + first) % len(_TURN)], repr(caught)
        taken.append((what, time.time() - began - due, error))
    return taken


def tell(taken, seconds):
    """Print what was seen."""
    waits, errors = defaultdict(list), [error for _, _, error in taken if error is not None]
    for what, waited, _ in taken:
        waits[what].append(waited)
    print(f"{len(taken)} requests in {seconds:.0f} s; errors: {len(errors)} (aim: 0) {errors[:1] or ''}")
    for what in _TURN:
        of = np.array(waits[what])
        quantiles = ", ".join(f"{share} % within {1000 * np.percentile(of, share):.0f} ms" for share in (50, 95, 99))
        print(f"  {what}: {len(of)}, {quantiles}, at most {1000 * of.max():.0f} ms")


def main():
    """Run the crowd."""
    parser = argparse.ArgumentParser()
    parser.add_argument("records", type=Path)
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--every", type=float, default=8.0, help="seconds between two requests of a person")
    wanted = parser.parse_args()
    print(describe("sqlalchemy", "starlette", "uvicorn"))
    with tempfile.TemporaryDirectory() as folder:
        records = shutil.copyfile(wanted.records, Path(folder) / "crowd.sqlite")
        people = people_of(str(records), wanted.people, wanted.minutes, wanted.every)
        served.ADDED = datetime.now(UTC) - timedelta(minutes=1)
        served.put_on_record(records, {"Quinn": "QA"} | {person.name: "technician" for person in people})
        with served.company(records, folder) as company:
            for person in people:
                company.enrol(person.name)
        with (
            mortal(records, Path(folder) / "credentials", folder) as server,
            ThreadPoolExecutor(len(people)) as threads,
        ):
            browsers = [signed_in(server.address, person.name) for person in people]
            for turn in range(len(_TURN)):  # the first ones import what is needed
                asked(*browsers[0], people[0], turn)
            # People stand at different places of the turn.
            firsts = [random.Random(place).randrange(4, 12) for place in range(len(people))]  # noqa: S311 (no secret)
            began = time.time() + 1.0
            each = threads.map(one_person, browsers, people, [began] * len(people), firsts)
            tell([request for of_person in each for request in of_person], time.time() - began)


if __name__ == "__main__":
    main()
