"""What signing adds to a report: reading the key, importing what signs, and signing the PDF.

    python -m tests.benchmarks.signed_report [READINGS ...]

Each time is that of a process of its own, so that the imports are in it; the PDF is made before. The imports fall into the time in
which the typesetter works beside, and are told apart. The promise: under 0.5 s.
"""

import json
import subprocess
import sys
import tempfile
from itertools import pairwise
from pathlib import Path

from calib.faces.report.content import Issuing, content
from calib.faces.report.layout import lay_out
from calib.faces.report.pdf import begin_pdf
from calib.procedures.report.collect import report
from calib.records import database
from tests import signing
from tests.benchmarks.machine import describe
from tests.benchmarks.report_forms import job_of
from tests.folders import NOW, records_of

SIZES = (40, 1_000)
RUNS = 5
SIGN = """
import json, sys, time
from datetime import datetime
from itertools import pairwise
from pathlib import Path
import calib.procedures.report.issue
def clocks(): return time.perf_counter(), time.process_time()
file, key, at, password = sys.argv[1:]
pdf, held = Path(file).read_bytes(), Path(key).read_bytes()
times = [clocks()]
from calib.procedures.report.signing_key import Signing, read_signing_key
signing = Signing(read_signing_key(key, held, password), datetime.fromisoformat(at))
times.append(clocks())
from calib.procedures.report.sign_pdf import sign_pdf
times.append(clocks())
made = sign_pdf(pdf, signing)
times.append(clocks())
print(json.dumps([times, len(made) - len(pdf)]))
"""


def pdf_of(readings, folder):
    """The PDF of a report that is to be signed, in a file."""
    with database.reading(str(records_of(folder, job_of(readings)))) as session:
        evaluated = report(session, "J-1", NOW)
    told = {"by": "Ed", "at": NOW.isoformat(), "level": "PAdES B-B", "issuer": "Ed", "sha256": "0" * 64}
    document = content(evaluated, NOW, None, Issuing("Ed", None)) | {"signature": told}
    file = folder / "unsigned.pdf"
    file.write_bytes(begin_pdf(lay_out(document, evaluated.every_calibration), {}).result())
    return file


def seconds(file, key):
    """Seconds by the clock and of the processor for each step, in a process of its own, and bytes that the file grew by."""
    words = [sys.executable, "-c", SIGN, str(file), str(key), NOW.isoformat(), signing.PASSWORD]
    times, grown = json.loads(subprocess.run(words, capture_output=True, text=True, check=True).stdout)
    steps = [[after - before for before, after in zip(*pair, strict=True)] for pair in pairwise(times)]
    return steps, grown


def main(sizes):
    """Print the median of several runs, for a key of each kind."""
    print(describe("pyhanko", "cryptography"))
    for readings in sizes:
        with tempfile.TemporaryDirectory() as folder:
            file, key = pdf_of(readings, Path(folder)), Path(folder) / "ed.p12"
            for kind in ("EC", "RSA"):
                key.write_bytes(signing.p12(kind=kind))
                runs = sorted(
                    (seconds(file, key) for _ in range(RUNS)), key=lambda run: sum(step[1] for step in run[0])
                )
                steps, grown = runs[RUNS // 2]
                clock, processor = (sum(step[place] for step in steps) for place in (0, 1))
                each = ", ".join(
                    f"{name} {step[1]:.2f}" for name, step in zip(("key", "imports", "signing"), steps, strict=True)
                )
                print(
                    f"{readings} readings, {kind}: {clock:.2f} s, {processor:.2f} s of the processor ({each}), {grown} bytes more"
                )


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or SIZES)
