"""Files and folders on disk: read for the procedures, which take bytes, and written from what they answer."""

import errno
import os
from collections.abc import Iterable, Sequence
from datetime import datetime
from importlib import resources
from pathlib import Path
from shlex import quote
from stat import S_ISDIR, S_ISREG

from sqlmodel import Session

from calib.errors import BadInputError, CalibError, Finding, RecordsError
from calib.procedures.enter.export_records import NOT_IMPORTED, Exported, ExportedFile
from calib.procedures.enter.import_sheets import Imported, import_sheets
from calib.procedures.typed.any_sheet import read_any, sheets_in
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.evidence_statement import STATEMENT
from calib.procedures.typed.foreign_sheet import SheetMap, read_map
from calib.procedures.typed.points_of_readings import name_readings
from calib.procedures.typed.sheets import FileContent, HowToRead, TypedRow, read_sheets
from calib.procedures.typed.suggested_map import suggested_map
from calib.records.beside import beside, put_new
from calib.records.ledger import Signature
from calib.records.verification import Progress

LARGEST_FILE = 25_000_000  # bytes of a file that is kept, of a workbook or a log that is read
_PUBLISHED = "reference_data"
LARGEST_SHEET = 50_000_000  # bytes of one CSV file of a folder


def file_content(path: Path, largest: int | None = None) -> FileContent:
    """Content of a plain file, or what was expected of it: a pipe or a device has no end that could be waited for."""
    expected = "a file that can be read (this is a pipe or a device)"
    try:
        status = path.stat()
        if S_ISREG(status.st_mode) and largest is not None and status.st_size > largest:
            size = f"{largest / 1e6:g} MB, {largest:,} bytes (it has {status.st_size:,})"
            return FileContent(str(path), b"", f"a file of at most {size}")
        if S_ISREG(status.st_mode) or S_ISDIR(status.st_mode):
            return FileContent(str(path), path.read_bytes())
    except OSError as error:
        expected = f"a file that can be read ({error.strerror})"
    return FileContent(str(path), b"", expected)


def published_file(source: str, file: str) -> str:
    """A file of published numbers, by the folder of its source; raises CalibError where they are not installed.

    Decision (2026-11-29): the digits stand once, in `reference_data/` beside the package, where the tests read them, and
    `pyproject.toml` has a wheel take into the package the folders that `calib validate` asks for. Options: a second copy within
    the package, which would differ one day; all of them (1 MB, most of it asked by tests alone). Cost: two places to look in.
    """
    places = (resources.files("calib").joinpath(_PUBLISHED), Path(__file__).parents[2] / _PUBLISHED)
    home = next((place for place in places if place.is_dir()), None)
    if home is None:
        raise CalibError("the published numbers are not installed with this program: install it again")
    return home.joinpath(source, file).read_text(encoding="utf-8")


def log_content(typed: str | None) -> FileContent | None:
    """Content of the log that was named for a reading, where one was."""
    return file_content(Path(typed.strip()), LARGEST_FILE) if typed is not None and typed.strip() else None


def import_folders(
    session: Session,
    paths: Sequence[Path],
    signature: Signature,
    now: datetime,
    progress: Progress = lambda _: None,
    reason: str | None = None,
    day_first: bool | None = None,
    maps: Path | None = None,
) -> Imported:
    """Read and write all folders and files together.

    `reason` is why their past holds from before today, `day_first` says how dates such as 03/04/2026 are meant, `maps` is the
    file that names the columns of foreign sheets.

    Raises BadInputError with every finding, nothing written.
    """
    sheets: dict[str, list[TypedRow]] = {}
    findings: list[Finding] = []
    reading = HowToRead(day_first)
    if maps is not None:
        reading.maps = maps_in(maps, paths)
    for path in paths:
        progress(f"reading {path}")
        read, wrong = (
            read_any(file_content(path, LARGEST_SHEET), reading) if _is_file(path) else read_folder(path, reading)
        )
        findings += wrong
        for name, rows in read.items():
            sheets.setdefault(name, []).extend(rows)
    reading.notices += name_readings(sheets)
    reading.notices += [
        f"{each.source}: no sheet has all headings of its table {each.declared.name}, and nothing is read with it"
        for each in reading.maps
        if each not in reading.read_with
    ]
    for notice in reading.notices:
        progress(f"notice: {notice}")
    return import_sheets(session, sheets, signature, now, findings, progress, reason=reason, may_have_grown=True)


def maps_in(path: Path, paths: Sequence[Path]) -> list[SheetMap]:
    """The maps of a file for sheets at some paths; raises BadInputError with everything that is wrong with it."""
    expected = "files beside a map: a folder's have the headings of this program"
    findings = [Finding(str(each), None, None, None, expected) for each in paths if not _is_file(each)]
    maps: list[SheetMap] = []
    file = file_content(path, LARGEST_FILE)
    if file.expected is not None:
        findings.append(Finding(file.source, None, None, None, file.expected))
    else:
        maps, wrong = read_map(file.source, file.content)
        findings += wrong
    if findings:
        raise BadInputError(findings)
    return maps


def suggest_map(path: Path) -> tuple[Path, str]:
    """A map suggested for a sheet, written beside it; the file and its text. Raises BadInputError, RecordsError."""
    reading = HowToRead()
    sheets, findings = sheets_in(file_content(path, LARGEST_SHEET), reading)
    text = None if findings and not sheets else suggested_map(sheets, is_workbook=path.name not in sheets)
    if text is None:
        expected = "a sheet with a header of which some heading is known: write a map by hand"
        raise BadInputError(findings or [Finding(str(path), None, None, None, expected)])
    written = path.with_suffix(".toml")
    write_new(
        written,
        text.encode(),
        f"read the sheet with it ({read_with_map(written, path, text)}), or move it away to begin anew",
    )
    return written, text


def read_with_map(sheet_map: Path, sheet: Path, text: str) -> str:
    """The command that tries a map on its sheet; comparisons alone are those of one certificate."""
    if text.startswith("[comparisons]"):
        return (
            f"calib calibration add TAG CERTIFICATE --comparisons {quote(str(sheet))} --map {quote(str(sheet_map))} "
            "--dry-run"
        )
    return f"calib import --map {quote(str(sheet_map))} {quote(str(sheet))} --dry-run"


def read_folder(folder: Path, reading: HowToRead | None = None) -> tuple[dict[str, list[TypedRow]], list[Finding]]:
    """Rows of every CSV file of a folder, and what is wrong with the files; raises BadInputError where there is none to read."""
    if not _is_folder(folder):
        raise BadInputError(
            [Finding(str(folder), None, None, None, "a file, or a folder with CSV files; there is none of this name")]
        )
    paths = sorted(path for path in folder.iterdir() if path.suffix.lower() == ".csv")
    if not paths:
        raise BadInputError([Finding(str(folder), None, None, None, f"at least one of {', '.join(FILES)}")])
    files = (file_content(path, LARGEST_SHEET) if path.name in FILES else FileContent(str(path), b"") for path in paths)
    return read_sheets(
        files, FILES, lambda file, name: file_content(Path(file.source).parent / name, LARGEST_FILE), reading
    )


def read_evidence(folder: Path) -> tuple[FileContent, dict[str, FileContent]]:
    """The statement of a folder that a hand-over wrote, and every other file by its name; raises BadInputError for no folder."""
    if not _is_folder(folder):
        raise BadInputError([Finding(str(folder), None, None, None, "a folder that a hand-over wrote")])
    paths = sorted(path for path in folder.rglob("*") if not _is_folder(path))
    files = {path.relative_to(folder).as_posix(): file_content(path, LARGEST_SHEET) for path in paths}
    files.pop(STATEMENT, None)
    return file_content(folder / STATEMENT, LARGEST_FILE), files


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name that is too long for the system
        return False


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:  # a name that is too long for the system
        return False


def write_new(path: Path, content: bytes, instead: str = "name another file") -> None:
    """Write a file's bytes; raises RecordsError where they cannot be written, or a file is there: what to do `instead`."""
    try:
        with beside(path) as part:
            part.write_bytes(content)
            put_new(part, path)
    except FileExistsError as error:
        raise RecordsError(f"{path} is there already: {instead}") from error
    except OSError as error:
        raise RecordsError(f"{path}: the file cannot be written there ({error.strerror})") from error


def append_line(path: Path, line: str) -> None:
    """Append a line to a file and see it on the disk; raises RecordsError where it cannot be written."""
    try:
        with path.open("ab") as file:
            file.write(line.encode())
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise RecordsError(f"{path}: {error.strerror}; nothing was appended") from error


def write_export(folder: Path, files: Iterable[ExportedFile], progress: Progress = lambda _: None) -> Exported:
    """Write a folder whole or not at all; raises CalibError where something is in it already, or it cannot be written."""
    try:
        _must_be_new(folder)
        with beside(folder.resolve()) as part:
            part.mkdir()
            counts = _write_files(part, files, progress)
            _must_be_new(folder)
            if not folder.exists():
                part.replace(folder)  # at once
            for path in sorted(part.iterdir()) if part.exists() else ():
                path.rename(folder / path.name)  # the folder may be the one that a person stands in: it must stay
    except OSError as error:
        raise CalibError(f"{folder}: the records cannot be written there ({error.strerror})") from error
    others = {name: count for name, count in counts.items() if name.startswith(f"{NOT_IMPORTED}/")}
    return Exported({name: count for name, count in counts.items() if name not in others}, others)


def _write_files(folder: Path, files: Iterable[ExportedFile], progress: Progress) -> dict[str, int]:
    counts: dict[str, int] = {}
    for file in files:
        path = folder / file.name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(file.content)
        if file.rows is not None:
            counts[file.name] = file.rows
            progress(f"wrote {file.name}")
        elif path.parent == folder:
            counts["logs"] = counts.get("logs", 0) + 1
    return counts


def _must_be_new(folder: Path) -> None:
    if folder.is_dir() and any(folder.iterdir()):
        raise CalibError(f"{folder} holds something already: name a new folder, an export overwrites nothing")
    if folder.exists() and not folder.is_dir():
        raise FileExistsError(errno.EEXIST, "a file is there")
    folder.parent.mkdir(parents=True, exist_ok=True)
