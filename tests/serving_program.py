"""`calib serve` as a program of its own, for whoever times it, or kills it."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_SERVE = "from calib.faces.cli import main; main()"


@contextmanager
def serving_program(records: Path, credentials: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Its address and its process, which is killed where the block ends."""
    words = ["serve", "--port", "0", "--records", str(records), "--credentials", str(credentials)]
    with subprocess.Popen([sys.executable, "-c", _SERVE, *words], stderr=subprocess.PIPE, text=True) as server:
        try:
            assert server.stderr is not None
            yield server.stderr.readline().split()[1], server
        finally:
            server.kill()
