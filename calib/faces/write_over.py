"""Write a file whole or not at all; one that is made anew each time takes the place of an earlier one of its kind alone."""

from pathlib import Path

from calib.errors import CalibError
from calib.records.beside import beside


def write_over(path: Path, content: bytes, begins: bytes, what: str, mark: bytes = b"") -> None:
    """Write whole or not at all; raises CalibError where another kind of file is there, or the file cannot be written.

    `begins` is how every file of this kind begins, `what` its name for people, `mark` what stands in each and in no other kind.
    """
    try:
        if path.exists() and not path.is_dir() and not _is_of_kind(path, begins, mark):
            raise CalibError(f"{path} is there already and is no {what}: name another file")
        write_whole(path, content)
    except OSError as error:
        raise CalibError(f"{path}: the {what} cannot be written ({error.strerror})") from error


def write_whole(path: Path, content: bytes) -> None:
    """Write whole or not at all: a reader never sees half a file, and nothing is left beside one that could not be put in place.

    Raises OSError.
    """
    with beside(path) as part:
        part.write_bytes(content)
        part.replace(path)


def _is_of_kind(path: Path, begins: bytes, mark: bytes) -> bool:
    """Whether a file begins so, and has the mark; a device or a pipe, which may give bytes for ever or none, does not."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(len(begins)) == begins and (not mark or mark in file.read())
