"""The records as files, as `calib export` answers."""

from pathlib import Path
from shlex import quote

from calib.faces.written import Content
from calib.procedures.enter.export_records import Exported


def document(folder: Path, exported: Exported) -> Content:
    """Rows by file, and how many files there are that an import does not read."""
    return {
        "folder": str(folder),
        "imported": dict(exported.imported),
        "not_imported": dict(exported.not_imported),
    }


def text(answer: Content) -> str:
    """The same for people."""
    folder = answer["folder"]
    lines = [f"{count:6d}  {name}" for name, count in answer["imported"].items()]
    lines += [f"{count:6d}  {name} (not imported)" for name, count in answer["not_imported"].items()]
    return "\n".join([*lines, f"wrote {folder}: calib import {quote(folder)} reads it back into other records"])
