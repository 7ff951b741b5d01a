"""A command of `calib` at a terminal of its own, as a person sits before it: what it shows, what is typed, and a plug to pull."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent
_PATIENCE = 120.0  # s, until something shown that is waited for


def _with_its_keys():
    """Ctrl-C and a terminal that is closed reach the command."""
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # tests may run in the background of a shell, which ignores it


class Terminal:
    """A running command with its screen."""

    def __init__(self, *arguments, records, columns=100, **environment):
        self._own, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
        kept = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "CALIB_OPERATOR")}
        program = [sys.executable, "-c", "from calib.faces.cli import main; main()"]
        self.process = subprocess.Popen(
            [*program, *map(str, arguments), "--records", str(records)],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            start_new_session=True,
            preexec_fn=_with_its_keys,  # noqa: PLW1509 (there is one thread alone)
            cwd=ROOT,
            env={**kept, "PYTHONPATH": str(ROOT), **environment},
        )
        os.close(theirs)
        self.screen = ""
        self._read_to = 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.kill()
        os.close(self._own)

    def shown(self, wanted):
        """What is shown since the last time, up to a pattern; fails where it does not come."""
        until = time.monotonic() + _PATIENCE
        while True:
            match = re.search(wanted, self.screen[self._read_to :])
            if match is not None:
                text = self.screen[self._read_to :][: match.end()]
                self._read_to += match.end()
                return text
            if not self._more(until):
                raise AssertionError(f"{wanted!r} is not shown: {self.screen[self._read_to :]!r}")

    def type(self, line):
        """Type a line and press Enter."""
        os.write(self._own, f"{line}\n".encode())

    def press(self, control):
        """Press a key with Control."""
        os.write(self._own, bytes([ord(control.upper()) - ord("@")]))

    def kill(self):
        """Pull the plug."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def ended(self):
        """The exit status, and all that was shown."""
        until = time.monotonic() + _PATIENCE
        while self._more(until):
            pass
        return self.process.wait(_PATIENCE), self.screen

    def _more(self, until):
        ready, _, _ = select.select([self._own], [], [], max(0.0, until - time.monotonic()))
        if not ready:
            return False
        try:
            part = os.read(self._own, 65536)
        except OSError:  # of a terminal whose command has ended
            return False
        self.screen += part.decode(errors="replace").replace("\r\n", "\n")
        return bool(part)
