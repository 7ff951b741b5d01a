"""The bounds of a workbook, whatever its kind: a zip archive of XML files, counted as they are inflated.

A workbook is small when it is closed and may be of any size when it is opened: so its files are counted one after the other, and
nothing is built from them before they were found within the bounds.
"""

import io
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from typing import ClassVar, Final
from xml.parsers.expat import ExpatError

from calib.procedures.typed.declared_xml import DeclarationError, parser_without_declarations

MOST_FILES: Final = 1_000  # within a workbook
MOST_BYTES: Final = 100_000_000  # of all its files, inflated
MOST_ELEMENTS: Final = 1_000_000  # of XML, in all its files
DEEPEST: Final = 100  # elements within one another
LONGEST_TAG: Final = 1_000_000  # signs of one tag or comment
MOST_SHEET_ROWS: Final = 20_000  # of each sheet, to the last one that is filled
MOST_SHEET_COLUMNS: Final = 100
MOST_TEXT: Final = 20_000_000  # signs of all cells, a text that several share counted for each


_WORKBOOK: Final = "a workbook"


READABLE = "a workbook that can be read (this one is cut off, or made otherwise: save it again as .xlsx or .ods)"
_ARCHIVE = b"PK\x03\x04"  # the head of its first file (ISO/IEC 21320-1)


class WorkbookError(ValueError):
    """A workbook, or XML by itself, beyond the bounds; the text says what was expected."""


def is_archive(content: bytes) -> bool:
    """Whether a file begins as an archive does, whole or cut off: a workbook, and no text."""
    return content.startswith(_ARCHIVE)


def at_most(bound: int, counted: int, what: str, whole: str = _WORKBOOK) -> None:
    """Raises WorkbookError where more was counted than the bound allows."""
    if counted > bound:
        raise WorkbookError(f"{whole} with at most {bound:,} {what} (it has {counted:,} or more)")


def inflated(content: bytes) -> Iterator[tuple[str, bytes]]:
    """Name and content of each file of an archive, one after the other; raises WorkbookError beyond a bound or where it is none."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            files = archive.infolist()
            at_most(MOST_FILES, len(files), "files within it")
            at_most(MOST_BYTES, sum(file.file_size for file in files), "bytes within it when it is inflated")
            names = Counter(file.filename for file in files)
            if doubled := next((name for name, count in names.items() if count > 1), None):
                raise WorkbookError(
                    f"a workbook that has each file within it once (it has {doubled!r} {names[doubled]} times)"
                )
            for file in files:
                # Never more than the archive says that the file has; whatever it holds more makes another checksum.
                yield file.filename, archive.read(file)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError) as error:
        raise WorkbookError(READABLE) from error


class BoundedXml:
    """Elements of XML, counted as they are met; raises WorkbookError beyond a bound. A subclass says what it makes of them."""

    whole: ClassVar[str] = _WORKBOOK  # what is bounded, in words
    most_elements: ClassVar[int] = MOST_ELEMENTS

    def __init__(self) -> None:
        self.elements = 0
        self._depth = 0

    def parse(self, name: str, content: bytes) -> bool:
        """Meet every element of one file; False where it is not XML to its end."""
        parser = parser_without_declarations()
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self.characters
        parser.CommentHandler = self._comment
        parser.ProcessingInstructionHandler = self._comment
        self._depth = 0
        try:
            parser.Parse(content, True)
        except DeclarationError as error:
            raise WorkbookError(f"{self.whole} without declarations of its own in {name}") from error
        except WorkbookError:
            raise
        except (ExpatError, LookupError, ValueError):  # no XML, or in an encoding that nobody knows
            return False
        return True

    def opened(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins."""

    def closed(self, name: str) -> None:
        """An element ends."""

    def characters(self, text: str) -> None:
        """Text of the element that is open."""

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self.elements += 1
        self._depth += 1
        if self.elements > self.most_elements:
            at_most(self.most_elements, self.elements, "elements of XML", self.whole)
        if self._depth > DEEPEST:
            at_most(DEEPEST, self._depth, "elements within one another", self.whole)
        if attributes:
            signs = len("".join(attributes)) + len("".join(attributes.values()))
            at_most(LONGEST_TAG, signs, "signs of one tag", self.whole)
        self.opened(name, attributes)

    def _end(self, name: str) -> None:
        self._depth -= 1
        self.closed(name)

    def _comment(self, *texts: str) -> None:
        at_most(LONGEST_TAG, sum(map(len, texts)), "signs of one comment", self.whole)
