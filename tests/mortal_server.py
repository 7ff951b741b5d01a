"""Pages served by a process that can be killed at the worst moment: once a change is on record and before it is answered.

    with mortal(records, credentials, folder) as server:
        server.dies_before_the_next_answer()
        ...
        server.start()

As a program: `python -m tests.mortal_server RECORDS CREDENTIALS PORT FLAG`; it kills itself (SIGKILL) where a POST would be
answered while there is a file FLAG.
"""

import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import httpx2 as httpx
import uvicorn

from calib.faces.pages.frame.application import application
from calib.faces.pages.frame.serve import THIS_MACHINE, bound
from calib.faces.pages.frame.served import Served
from calib.records import database
from calib.records.credentials import Credentials

START = 120  # [s] at the longest: the machine may be busy


def dying(inner, flag):
    """An application that ends its process where a change would be answered, once the flag is there."""

    async def answered(scope, receive, send):
        async def sending(message):
            if scope["method"] == "POST" and message["type"] == "http.response.start" and flag.exists():
                flag.unlink()
                os.kill(os.getpid(), signal.SIGKILL)
            await send(message)

        await inner(scope, receive, sending)

    return answered


class Mortal:
    """A server that may be dead; its port stays the same."""

    def __init__(self, records, credentials, folder):
        with bound(THIS_MACHINE, 0) as listening:
            self.port = listening.getsockname()[1]
        self.address = f"http://localhost:{self.port}"
        self._flag = Path(folder) / "dies"
        self._words = [str(records), str(credentials), str(self.port), str(self._flag)]
        self.process = None

    def start(self):
        """Start it, and wait until it answers."""
        self.process = subprocess.Popen([sys.executable, "-m", "tests.mortal_server", *self._words])
        until = time.monotonic() + START
        while time.monotonic() < until:
            try:
                if httpx.get(f"{self.address}/sign-in", timeout=START).status_code == 200:
                    return
            except httpx.TransportError:
                time.sleep(0.05)
        raise AssertionError("the server did not start")

    def dies_before_the_next_answer(self):
        """Let it be killed once the next change is on record."""
        self._flag.touch()

    def await_death(self):
        """Wait until it was killed."""
        assert self.process.wait(START) == -signal.SIGKILL

    def kill(self):
        """Kill it now."""
        self.process.kill()
        self.process.wait()


@contextmanager
def mortal(records, credentials, folder):
    """A server that was started, and is killed in the end."""
    server = Mortal(records, credentials, folder)
    server.start()
    try:
        yield server
    finally:
        server.kill()


def main(records, credentials, port, flag):
    """Serve until killed."""
    engine = database.open_records(records)
    served = Served(engine, Credentials(Path(credentials)), f"http://localhost:{port}")
    app = dying(application(served), Path(flag))
    uvicorn.run(
        app, host=THIS_MACHINE, port=int(port), lifespan="off", access_log=False, log_level="critical", ws="none"
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
