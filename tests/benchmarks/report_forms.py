"""How long a report takes: evaluation, content and each form, for 1,000 readings and 10,000, and how much memory.

    python -m tests.benchmarks.report_forms [READINGS ...]

Beside the seconds stands the ratio to one sorting of two million numbers in plain Python, taken in the same run, so that runs on
machines of other speed compare. The aims, on 2 cores: 1,000 readings in all forms within 10 s, 10,000 as HTML and JSON within 10 s
and 1 GB.
"""

import resource
import sys
import tempfile
import time
from pathlib import Path

from calib.faces.report.content import content
from calib.faces.report.file_names import FORMS
from calib.faces.report.forms import in_forms
from calib.procedures.report.collect import report
from calib.records import database
from tests.folders import NOW, records_of, small_job

SIZES = (1_000, 10_000)
_OUTLETS_OF_A_SYSTEM = 40
_ALL_FORMS = 1_000  # readings, up to which every form is made


def job_of(readings):
    """The small job with its outlets and readings again and again, each under a name of its own."""
    sheets = small_job()
    outlets, taken = sheets["outlets.csv"], sheets["readings.csv"]
    names = [f"{number}" for number in range(readings)]
    sheets["outlets.csv"] = [
        outlets[place % 4] | {"outlet": name, "system": f"AH-{place // _OUTLETS_OF_A_SYSTEM}"}
        for place, name in enumerate(names)
    ]
    sheets["readings.csv"] = [taken[place % 4] | {"outlet": name} for place, name in enumerate(names)]
    return sheets


def baseline():
    """Seconds of the work that all others are compared with."""
    numbers = [number * 7919 % 4_000_037 for number in range(2_000_000)]
    return timed(lambda: sorted(numbers))[0]


def timed(do):
    """Seconds that something takes, and what it makes."""
    start = time.perf_counter()
    made = do()
    return time.perf_counter() - start, made


def steps(records, forms):
    """Seconds of each step of a report; the first form that people read is made with the layout that the others share.

    The PDF is typeset while the others are made: what they wait for it is counted with the last of them.
    """
    with database.reading(str(records)) as session:
        evaluation, found = timed(lambda: report(session, "J-1", NOW))
        of_content, document = timed(lambda: content(found, NOW))
    begun = []
    in_forms(document, found, forms, lambda told: begun.append((told.split()[-1], time.perf_counter())))
    ends = [*(start for _, start in begun[1:]), time.perf_counter()]
    made = {form: end - start for (form, start), end in zip(begun, ends, strict=True)}
    return {"evaluation": evaluation, "content": of_content} | made


def main(sizes):
    """Print the figures."""
    unit = baseline()
    print(f"baseline: {unit:.2f} s for one sorting of two million numbers")
    for readings in sizes:
        with tempfile.TemporaryDirectory() as folder:
            found = steps(
                records_of(Path(folder), job_of(readings)), FORMS if readings <= _ALL_FORMS else ("html", "json")
            )
        told = ", ".join(f"{name} {seconds:.2f} s ({seconds / unit:.2f})" for name, seconds in found.items())
        total = sum(found.values())
        print(f"{readings} readings: {total:.2f} s ({total / unit:.2f} baselines): {told}")
    for whose, process in (("this process", resource.RUSAGE_SELF), ("the typesetter", resource.RUSAGE_CHILDREN)):
        used = resource.getrusage(process)
        print(f"{whose}: memory at most {used.ru_maxrss / 1024:.0f} MB, {used.ru_utime:.1f} s of processor time")


if __name__ == "__main__":
    main([int(one) for one in sys.argv[1:]] or SIZES)
