"""20 phones that send what was typed without network, to a server that is killed again and again (SIGKILL).

Each phone is a thread with readings of its own, kept as a browser keeps them, and their keys. It sends one until it is answered, as
a page does when there is network again; some are sent once more though they were answered. The server is killed at random times,
and every other time between a write and its answer (`tests.mortal_server`). In the end every reading is on record once, each
answered one under the number that was answered, and the records verify.

Long run: python -m tests.faults.phones 200 (kills)
"""

import random
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event

import httpx2 as httpx
from sqlmodel import select

from calib.procedures.enter.import_sheets import import_row
from calib.records import database, ledger
from calib.records.tables.entries import SentEntry
from calib.records.tables.readings import Reading
from tests import served
from tests.command import calib
from tests.folders import records_of, small_job
from tests.mortal_server import mortal

PHONES = 20
_READY, _BEGUN = datetime(2026, 6, 1, tzinfo=UTC), datetime(2026, 6, 3, 8, tzinfo=UTC)
_LONGEST = 1.5  # [s] between two kills
_PASSES = {"S-1": ("4.20", "4.22"), "S-2": ("3.10", "3.12")}


def made(folder, count=PHONES):
    """Records of the small job with a job for each phone, and a person who may record; credentials beside them."""
    sheets = small_job()
    records = records_of(folder / "made", sheets)
    with database.writing(str(records)) as session:
        for phone in range(count):
            row = {"job": f"P-{phone}", "decision_rule": "simple"}
            import_row(session, "jobs.csv", row, ledger.Signature("Q", _READY, "job add"), _READY)
            for outlet in sheets["outlets.csv"]:
                if outlet["outlet"] in _PASSES:
                    row = outlet | {"job": f"P-{phone}"}
                    import_row(session, "outlets.csv", row, ledger.Signature("Q", _READY, "outlet add"), _READY)
    served.ADDED = _READY + timedelta(days=1)
    served.put_on_record(records)
    with served.company(records, folder) as company:
        company.enrol("Tom")
    return records


class Phone:
    """A phone with readings that were not sent."""

    def __init__(self, number, readings, address, seed):
        self.number, self.address = number, address
        self.answered = {}  # key -> number of the reading
        self._chance = random.Random(seed * PHONES + number)  # noqa: S311 (no secret)
        self._unsent = [self._reading(count) for count in range(readings)]
        self._client = httpx.Client(base_url=address, headers={"Sec-Fetch-Site": "same-origin"}, timeout=30)

    def _reading(self, count):
        outlet = list(_PASSES)[count % len(_PASSES)]
        first, second = _PASSES[outlet]
        observed_at = (_BEGUN + timedelta(minutes=count)).isoformat()
        fields = {"instrument": "VA-1", "unit": "m/s", "method": "sweep", "pass_1": first, "pass_2": second}
        return {
            "form": 1, "client_key": f"phone {self.number}, reading {count}", "person": "Tom", "job": f"P-{self.number}",
            "outlet": outlet, "fields": fields | {"observed_at": observed_at}, "known": [], "sure": True, "keep": False,
        }  # fmt: skip

    def sign_in(self):
        """Sign in; the session lasts over the deaths of the server."""
        token = self._client.get("/sign-in").text.partition('name="token" content="')[2].partition('"')[0]
        answer = self._client.post("/sign-in", data={"token": token, "name": "Tom", "password": served.PASSWORD})
        assert answer.status_code == 303, answer.text

    def close(self):
        """Give its connections back."""
        self._client.close()

    def send_all(self):
        """Send until each is answered; whatever is no answer is sent again."""
        while self._unsent:
            entry = self._unsent[0]
            try:
                answer = self._send(entry)
            except (httpx.TransportError, httpx.HTTPStatusError, ValueError):  # no server, one too busy, half an answer
                time.sleep(0.05)
                continue
            if answer["outcome"] == "meanwhile":  # of this phone: its page knows of them
                entry["known"] = [*entry["known"], *answer["readings"]]
                continue
            assert answer["outcome"] == "accepted", answer
            (reading,) = answer["readings"]
            assert self.answered.setdefault(entry["client_key"], reading) == reading, entry
            if self._chance.random() > 0.2:  # else once more, as after an answer that was lost
                self._unsent.pop(0)

    def _send(self, entry):
        sender = self._client.get("/unsent/sender").json()
        sent = entry | {"sent_at": datetime.now(UTC).isoformat(timespec="seconds")}
        answer = self._client.post("/unsent/send", json=sent, headers={"Calib-Token": sender["token"]})
        if answer.status_code == 503:
            answer.raise_for_status()
        assert answer.status_code == 200, answer.text
        return answer.json()


def _kill_again_and_again(server, kills, chance, over):
    """Kill the server so many times and start it again; every other time between a write and its answer."""
    done = 0
    while done < kills and not over.is_set():
        if done % 2:
            server.dies_before_the_next_answer()
            while server.process.poll() is None and not over.is_set():
                time.sleep(0.01)
        else:
            time.sleep(chance.random() * _LONGEST)
            server.kill()
        done += not over.is_set() or server.process.poll() is not None
        server.start()
    return done


def phones(kills, readings, seed, folder, count=PHONES):
    """Let every phone of so many send so many readings while the server is killed; how often it was. Raises AssertionError."""
    folder = Path(folder)
    records, over = made(folder, count), Event()
    before = _readings(records)
    with mortal(records, folder / "credentials", folder) as server:
        sending = [Phone(number, readings, server.address, seed) for number in range(count)]
        for phone in sending:
            phone.sign_in()
        with ThreadPoolExecutor(count + 1) as threads:
            chance = random.Random(seed)  # noqa: S311 (no secret)
            killing = threads.submit(_kill_again_and_again, server, kills, chance, over)
            tasks = [threads.submit(phone.send_all) for phone in sending]
            try:
                for task in tasks:
                    task.result()
            finally:
                over.set()
            killed = killing.result()
        for phone in sending:
            phone.close()
    with database.reading(str(records)) as session:
        sent = session.exec(select(SentEntry.client_key, SentEntry.record_id)).all()
    doubled = [key for key, count in Counter(key for key, _ in sent).items() if count > 1]
    answered = {key: reading for phone in sending for key, reading in phone.answered.items()}
    assert doubled == []
    assert dict(sent) == answered
    assert len(answered) == count * readings
    assert _readings(records) == before + count * readings
    assert calib("verify", records=records).status == 0
    return killed


def _readings(records):
    with database.reading(str(records)) as session:
        return len(session.exec(select(Reading.id)).all())


if __name__ == "__main__":
    wanted = int(sys.argv[1])
    with tempfile.TemporaryDirectory() as made_in:
        killed = phones(wanted, max(4, wanted), seed=20261129, folder=made_in)
    print(
        f"{PHONES} phones, {PHONES * max(4, wanted)} readings, {killed} kills: nothing answered is lost, nothing is doubled"
    )
