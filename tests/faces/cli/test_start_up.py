"""What `calib due` does not import: the libraries that take a third of a second each stand inside the commands that need them."""

import subprocess
import sys

HEAVY = ("numpy", "scipy", "pint", "matplotlib", "alembic", "jinja2")
PROGRAM = f"""
import sys
from calib.faces.cli import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    assert end.code == 1, end.code
print([name for name in {HEAVY!r} if name in sys.modules])
"""


def test_due_on_a_date_loads_none_of_the_heavy_libraries(demo_records):
    words = ["due", "--on", "2026-10-14", "--records", str(demo_records)]
    ran = subprocess.run([sys.executable, "-c", PROGRAM, *words], capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines()[-1] == "[]"
    assert "VA-13" in ran.stdout  # it answered all the same: something is overdue
