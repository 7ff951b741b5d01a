"""The typesetter: a process of its own, and this one where a machine has none to give. No source: a promise of the house."""

import subprocess
import sys
from datetime import UTC, datetime

import pytest
import typst

from calib.faces.report import typesetter
from calib.faces.report.typeset_signs import typefaces

ISSUED = datetime(2026, 10, 15, 9, 30, tzinfo=UTC)
PAGE = b'#set document(title: "A page")\n#set text(lang: "en")\n#str(read("said.txt"))'


def typeset(page=PAGE, said="What is said: 2 ± 1 m/s"):
    return typesetter.typeset_files({"main.typ": page, "said.txt": said.encode()}, str(typefaces()), ISSUED)


def test_the_typesetter_is_not_loaded_into_this_process():
    program = f"""
import sys
from datetime import datetime
from calib.faces.report.typesetter import typeset_files
files = {{"main.typ": {PAGE!r}, "said.txt": b"said"}}
made = typeset_files(files, {str(typefaces())!r}, datetime.fromisoformat("{ISSUED}"))
print(made[:5], "typst" in sys.modules)
"""
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "b'%PDF-' False"


def test_a_machine_that_starts_no_process_gets_the_same_bytes(monkeypatch):
    elsewhere = typeset()
    with monkeypatch.context() as patched:
        patched.setattr(sys, "executable", "/no/such/program")
        here = typeset()
    assert elsewhere == here
    assert here.startswith(b"%PDF-")


def test_what_is_wrong_with_a_template_is_said():
    with pytest.raises(typst.TypstError, match="unknown variable: missing"):
        typeset(page=b"#missing")
