"""Write a file that is made anew each time, and takes the place of an earlier one of its kind alone."""

import tempfile
from pathlib import Path

from calib.errors import CalibError


def write_over(path: Path, content: bytes, begins: bytes, what: str) -> None:
    """Write whole or not at all; raises CalibError where another kind of file is there, or the file cannot be written.

    `begins` is how every file of this kind begins, `what` its name for people.
    """
    try:
        if path.exists() and not path.is_dir() and not _begins(path, begins):
            raise CalibError(f"{path} is there already and is no {what}: name another file")
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".calib-", delete=False) as part:
            part.write(content)
        beside = Path(part.name)
        try:
            beside.chmod(0o644)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise CalibError(f"{path}: the {what} cannot be written ({error.strerror})") from error


def _begins(path: Path, begins: bytes) -> bool:
    """Whether a file begins so; a device or a pipe, which may give bytes for ever or none, does not."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(len(begins)) == begins
