"""The tree of errors.

    CalibError                    what a person can mend; the message says how
    ├── BadInputError             findings, cell by cell; nothing was written              exit status 2
    │   └── DoubtError            what is unusual and may be right: questions              exit status 2
    ├── UnitError                 a unit that is not known for the quantity                exit status 2
    ├── CurveError                comparisons that make no curve                           exit status 2
    ├── MeasuringIntervalError    an indication outside the calibrated measuring interval  exit status 2
    ├── NotInRecordsError         a tag, certificate, job or reading that is not there     exit status 2
    ├── GapError                  outlets that were not measured, where nobody says why    exit status 1
    ├── RecordsError              the records file cannot be opened, read or written       exit status 2
    │   ├── DeniedError           a server does not let the login do it                    exit status 2
    │   └── UnreachableError      no server takes the connection, or one that did has gone exit status 2
    │       └── UnsureError       it has gone while it confirmed what was written          exit status 2
    └── RefusedError              what the gate or the rules of acceptance refuse          exit status 3

A reading that the gate refuses while it is typed is no error: it is an answer, kept as a refusal (exit status 3).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Self


class Step(StrEnum):
    """A next step in words, as it stands within messages: a face that has a way of its own to take it says that in its place."""

    MAKE_RECORDS = "make records there"
    NAME_RECORDS = "name other records"
    NAME_FILE = "name the file of the records"
    NAME_ANOTHER_FILE = "name another file for the records"
    NAME_ANOTHER_DATABASE = "name another database for the records"
    UPGRADE = "an upgrade brings it there"
    VERIFY = "a verification of the records"
    LIST_INSTRUMENTS = "the list of instruments"
    LIST_READINGS = "the job's list of readings"
    CLOSE_CLOCK_STEP = "QA closes that step of the clock with a reason"
    SEE_GRANTS = "the grants of the people on record tell"
    FIND_FACTOR = "a factor found from pairs of readings that is on record"
    AMEND_OUTLET = "amended with a reason"
    AMEND_INSTRUMENT = "amended in the register with a reason"
    AMEND_METHOD = "amended as a method with a reason"
    AMEND_JOB = "amended as a job with a reason"
    CORRECT_READING = "corrected with a reason"
    ADD_CONDITIONS = "enter what is missing among the conditions of the air"
    ORDER_OF_DATES = "the order of day and month says which"
    MAP_HEADINGS = "a map that says which heading is which column"
    SAY_SURE = "say that it is right, and it is written"
    LET_ONE_ACCEPT = "record the rule that one person may accept"
    SAY_WHY_WITHOUT = "say why it is issued without, and it is"
    SEE_REVIEW = "see impact review"  # its number
    DISMISS_REFUSAL = "dismissed with a reason"  # of a job, a comma, the number of the refusal
    WRITE_AGAIN = "write again"  # a job, a comma, a revision


class CalibError(Exception):
    """What a person can mend; its text is one line that says how."""


@dataclass(frozen=True)
class Finding:
    """One thing wrong with what was typed; it knows the cell, and not the face where it was typed."""

    source: str | None  # the file; absent for what was typed at a face, which says how it is typed there
    row: int | None  # row as a spreadsheet numbers it (the header is row 1); absent where the whole file is meant
    column: str | None  # absent where the whole row is meant
    value: str | None  # as typed; absent where nothing was typed
    expected: str  # what would have been right

    @classmethod
    def typed(cls, column: str | None, value: str | None, expected: str) -> Self:
        """A finding on a cell typed at a face: by the name of the cell in the records, absent where several are meant."""
        return cls(None, None, column, value, expected)

    def __str__(self) -> str:
        return told_of_cell(self.source, self.row, self.column, self.value, f"expected {self.expected}")


def told_of_cell(source: str | None, row: int | None, column: str | None, value: str | None, said: str) -> str:
    """A line on a cell: where it stands, what was typed there, and what is said of it."""
    numbered = None if row is None else f"row {row}"
    place = ", ".join(filter(None, [" ".join(filter(None, [source, numbered])), column]))
    return f"{place}{': ' if place else ''}{_shown(value)}{said}"


def _shown(value: str | None) -> str:
    if value is None:
        return ""
    if value == "":
        return "blank; "
    # A cell may hold line ends and escape sequences: repr keeps the message on one line and harmless.
    short = value if len(value) <= 60 else value[:57] + "..."
    return f"{short!r}; "


class BadInputError(CalibError):
    """Findings in what was typed; nothing was written."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(str(finding) for finding in self.findings))


class Doubt(Finding):
    """A cell that may be right and is unusual; `expected` is what is unusual about it."""

    def __str__(self) -> str:
        return told_of_cell(self.source, self.row, self.column, self.value, self.expected)


class DoubtError(BadInputError):
    """What is unusual in what was typed by hand, each a question to whoever typed it; nothing was written."""

    def __init__(self, findings: Sequence[Finding], step: str = Step.SAY_SURE) -> None:
        super().__init__(findings)
        self.step = step  # how it is answered

    def __str__(self) -> str:
        asked = (f"{doubt}: is that right?" for doubt in self.findings)
        return "\n".join([*asked, f"nothing was written; {self.step}"])


class UnitError(CalibError):
    """A unit that is not known for the quantity."""


class CurveError(CalibError):
    """Comparisons that make no correction curve."""


class MeasuringIntervalError(CalibError):
    """An indication outside the calibrated measuring interval."""


class NotInRecordsError(CalibError):
    """A tag, certificate, job or reading that the records do not hold."""


class GapError(CalibError):
    """Outlets that were not measured, where a report is to be issued and nobody said why without them; nothing was written."""


class RecordsError(CalibError):
    """The records cannot be opened, read or written."""


class DeniedError(RecordsError):
    """A server does not let the login do it: its roles do not allow it, or it has none."""


class UnreachableError(RecordsError):
    """No server of the records takes the connection, or one that did has gone; nothing was written, and it may be tried again."""


class UnsureError(UnreachableError):
    """A server has gone while it confirmed what was written: all of it may be on record, or nothing."""


class DamagedError(CalibError):
    """Records that were changed past the program, where something would rest on them; nothing was written."""


class RefusedError(CalibError):
    """What the gate refuses on what is known now (a reading, a reference standard), or a calibration that cannot be accepted."""
