"""Make a file beside its place, in a folder of its own, and put it there whole: nobody sees half of it, nor what a kill leaves.

Such a folder is held by a lock as long as its run lives, which ends with the process however it ends. Each run takes away what is
held no more in the folder where it makes its own; on a system without such locks (flock) nothing of another run is taken away.

Decision (2026-11). A file is made in a folder of its own beside its place and put there by a second name, which takes the place
of nothing; a lock says whether the run that made the folder lives. Options: names with a process number (used again within a
container). Cost: on Windows, without such locks, what a killed run left stays.
"""

import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

if sys.platform != "win32":
    import fcntl

_PREFIX = ".calib-"
_LOCK = "held"


@contextmanager
def beside(place: Path) -> Iterator[Path]:
    """Where to make what is then put in its place: a path of the same name, in a new folder on the same disk.

    The folder goes with whatever is in it when the block ends. Raises OSError where none can be made.
    """
    for left in place.parent.glob(f"{_PREFIX}*"):
        _sweep(left)
    folder, lock = _held(place.parent)
    with lock:
        try:
            yield folder / place.name
        finally:
            shutil.rmtree(folder, ignore_errors=True)


def put_new(part: Path, place: Path) -> None:
    """Put a file where none is yet, so that it stays there through a loss of power; raises FileExistsError, OSError."""
    _write_through(part)
    try:
        place.hardlink_to(part)  # unlike a renaming it takes the place of nothing
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no second name of a file
        if place.exists():
            raise FileExistsError(place) from None
        part.replace(place)
    with suppress(OSError):  # not every system lets a folder be opened
        _write_through(place.parent)


def _write_through(path: Path) -> None:
    opened = os.open(path, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def _held(parent: Path) -> tuple[Path, IO[bytes]]:
    """A new folder with its lock."""
    while True:
        folder = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=parent))
        try:
            lock = (folder / _LOCK).open("xb")
        except FileNotFoundError:  # another run took the folder, which nobody held yet, for one that was left
            continue
        except OSError:
            folder.rmdir()
            raise
        _is_locked(lock, wait=True)
        if (folder / _LOCK).exists():  # taken away likewise before it was locked
            return folder, lock
        lock.close()


def _sweep(left: Path) -> None:
    """Take a folder away whose run has ended; what else has such a name stays."""
    try:
        with (left / _LOCK).open("rb+") as lock:
            if _is_locked(lock, wait=False):
                shutil.rmtree(left, ignore_errors=True)
    except FileNotFoundError:  # of a run that ended before it held it
        with suppress(OSError):
            left.rmdir()
    except OSError:  # another's
        pass


def _is_locked(lock: IO[bytes], *, wait: bool) -> bool:
    """Whether the lock was taken: not where another has it, or the disk knows none."""
    if sys.platform == "win32":
        return False
    try:
        fcntl.flock(lock, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
