"""Odd command lines: every command with odd words for its arguments and options; each ends with an answer or a line, in time.

A line *answered* (exit status 0, 1 or 3) or was *refused* (2, with a line on stderr). What ends otherwise, or takes longer than ten
seconds, is a *fault*, and there must be none. Half the words are such as the records know, so that commands get past their first
question. Long run: python -m tests.faults.command_lines 20000
"""

import io
import os
import random
import resource
import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.command import calib, commands
from tests.faults.cells import ODD
from tests.folders import records_of, small_job

LONGEST = 10.0  # [s]
# What draws a whole demo or runs the published checks says nothing of its words, and takes long.
LEFT_OUT = ("demo", "serve", "validate")
WHOLE = ("0", "1", "-1", "2", "2147483647", "2147483648", str(2**63), str(10**20), "1" * 5000, "1e3", "0x1", "\u0663")
TYPED = tuple(word for word in ODD if "\0" not in word)  # which no system hands to a program
KNOWN = (
    "J-1", "S-1", "VA-1", "VA-2", "RS-1", "PG-1", "C-101", "C-102", "sweep", "m/s", "2026-03-05", "2026-03-05T14:30+01:00", "2.4",
    "2.4;2.5", "simple", "guarded", "json", "outlet_factor=0.8", "reading 1", "reading", "60d", "yes",
)  # fmt: skip


def line(chance, words, command):
    """A command's words with odd ones for what must be typed, and for some of what may be."""
    typed = []
    for parameter in command.params:
        if parameter.name in ("records", "help") or not (parameter.required or chance.random() < 0.25):
            continue
        word = chance.choice(chance.choice((TYPED, KNOWN, WHOLE, KNOWN)))
        if parameter.param_type_name == "argument":
            typed += [word] * chance.choice((1, 1, 1, 2) if parameter.nargs != 1 else (1,))
        elif getattr(parameter, "is_flag", False):
            typed.append(parameter.opts[0])
        else:
            typed += [parameter.opts[0], word]
    return (*words.split(), *typed)


def verdict(typed, records):
    """What became of a line: answered, refused, or what is at fault."""
    start = time.perf_counter()
    try:
        ran = calib(*typed, records=records)
    except Exception as error:  # noqa: BLE001 (a person would see a traceback)
        return f"traceback: {type(error).__name__}: {error}"
    if (took := time.perf_counter() - start) > LONGEST:
        return f"took {took:.0f} s"
    if ran.status == 2 and ran.err.strip():
        return "refused"
    return "answered" if ran.status in (0, 1, 3) else f"exit status {ran.status}, {ran.err!r}"


def command_lines(count, seed):
    """Verdicts of so many lines, and the lines that are at fault with what was wrong."""
    chance, verdicts, faults = random.Random(seed), Counter(), []  # noqa: S311 (no secret)
    every = [(words, command) for words, command in commands() if words not in LEFT_OUT]
    before, typed_in = Path.cwd(), sys.stdin
    with tempfile.TemporaryDirectory() as folder:
        sound = records_of(Path(folder), small_job())
        try:
            for number in range(count):
                words, command = every[number % len(every)]
                place = Path(folder) / "place"
                shutil.rmtree(place, ignore_errors=True)
                place.mkdir()
                records = shutil.copyfile(sound, place / "records.sqlite")
                os.chdir(place)
                sys.stdin = io.StringIO()
                typed = line(chance, words, command)
                said = verdict(typed, records)
                verdicts[said if said in ("answered", "refused") else "fault"] += 1
                if said not in ("answered", "refused"):
                    faults.append((typed, said))
        finally:
            sys.stdin = typed_in
            os.chdir(before)
    return verdicts, faults


if __name__ == "__main__":
    print(*command_lines(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0), sep="\nfaults: ")
    print(f"memory at the most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
