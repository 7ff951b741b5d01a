"""Work that takes longer than a page may: one at a time, in a process of its own, while pages are served.

Decision (2026-11-29). Each piece of work has a new process, started anew (spawn), and no more than one runs. Options: a thread (the
settings of the drawing library are those of a process, and pages wait for its numbers), one process that is kept (some 200 MB for
ever, and a password in its memory for as long). Cost: the program is imported each time, some 2 s. A server that ends takes the
work with it: the process finds nobody to tell and stops before it writes. What was asked for, and what became of it, stands beside
the credentials; how far it is, in memory.
"""

import logging
import signal
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from queue import SimpleQueue
from threading import Lock, Thread
from typing import Any

from calib.errors import CalibError

Tell = Callable[[str], None]
_LOG = logging.getLogger("calib.pages")
_ENDED = "the process that did it has ended before it was done"


@dataclass(frozen=True)
class Ended:
    """How a piece of work ended, in words."""

    told: str
    is_right: bool = False  # it was done, and what it looked at is as it should be


@dataclass(frozen=True)
class _Work:
    key: str
    act: Callable[[Any, Tell], str]  # a function of a module
    wish: Any
    ended: Callable[[Ended], None]


class Aside:
    """Work that waits and work that is under way, with the steps that it has told of."""

    def __init__(self) -> None:
        """Start nothing yet."""
        self._steps: dict[str, list[str]] = {}
        self._waiting: SimpleQueue[_Work] = SimpleQueue()
        self._thread: Thread | None = None
        self._lock = Lock()

    def begin(self, key: str, act: Callable[[Any, Tell], str], wish: Any, ended: Callable[[Ended], None]) -> None:
        """Do it after what was begun before; `act` tells its steps and answers in words, or raises CalibError."""
        with self._lock:
            self._steps[key] = []
            self._waiting.put(_Work(key, act, wish, ended))
            if self._thread is None:
                self._thread = Thread(target=self._work, name="aside", daemon=True)
                self._thread.start()

    def steps(self, key: str) -> list[str] | None:
        """What a piece of work has told so far; None where it does not run here, or no longer."""
        with self._lock:
            steps = self._steps.get(key)
            return None if steps is None else list(steps)

    def _work(self) -> None:
        while True:
            work = self._waiting.get()
            outcome = self._outcome(work)
            try:
                work.ended(outcome)
            except CalibError:
                _LOG.exception("what became of a piece of work could not be written down")
            with self._lock:
                del self._steps[work.key]

    def _outcome(self, work: _Work) -> Ended:
        context = get_context("spawn")
        here, there = context.Pipe(duplex=False)
        process = context.Process(target=_in_process, args=(there, work.act, work.wish), daemon=True)
        try:
            process.start()
            there.close()
            while isinstance(told := here.recv(), str):
                with self._lock:
                    self._steps[work.key].append(told)
            return told if isinstance(told, Ended) else Ended(_ENDED)
        except (EOFError, OSError):
            return Ended(_ENDED)
        finally:
            here.close()
            if process.pid is not None:
                process.join()


def _in_process(pipe: Connection, act: Callable[[Any, Tell], str], wish: Any) -> None:
    """Do it and tell the server; where that is gone telling fails, and so does what was to come."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the key that ends the server reaches this process too
    try:
        pipe.send(Ended(act(wish, pipe.send), is_right=True))
    except CalibError as error:
        pipe.send(Ended(str(error)))
    except OSError:  # nobody is there to be told
        return
    except Exception:  # noqa: BLE001 (whatever it is, no visitor sees it)
        _LOG.exception("a piece of work failed")
        pipe.send(Ended("it failed: whoever runs the program finds the reason in its log"))
