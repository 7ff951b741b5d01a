"""Records beside those that a command works on: another site's, by a name of one's own where their own tells little."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import BadInputError, Finding

if TYPE_CHECKING:
    from calib.procedures.verify.anchors import LedgerHead

OTHER_RECORDS = "[NAME=]FILE|URL"  # how they are typed
_NAMED = re.compile(r"([^=/\\:?]+)=(.+)", re.DOTALL)


@dataclass(frozen=True)
class OtherRecords:
    """Where other records live, and what they are called here."""

    name: str  # as typed before the sign =, or their own: without a folder, a machine or a password
    location: str
    is_named: bool

    def heads_in_file(self) -> "Sequence[LedgerHead] | None":
        """The heads in a file of anchors; None for records. Raises BadInputError for a file that is neither."""
        from calib.faces.files import LARGEST_FILE, file_content
        from calib.procedures.verify.anchors import heads_in

        if "://" in self.location or not Path(self.location).is_file():
            return None
        with Path(self.location).open("rb") as file:
            if file.read(15) == b"SQLite format 3":
                return None
        content = file_content(Path(self.location), LARGEST_FILE)
        if content.expected is not None:
            raise BadInputError([Finding(self.location, None, None, None, content.expected)])
        heads = heads_in(content.content, self.location)
        return [replace(head, records=self.name) for head in heads] if self.is_named else heads


def other_records(typed: str) -> OtherRecords:
    """What was typed: a file or a URL, with a name before it or without; raises RecordsError."""
    from calib.records import database

    named = _NAMED.fullmatch(typed)
    if named is not None:
        return OtherRecords(named[1].strip(), named[2], is_named=True)
    return OtherRecords(database.name_of(typed), typed, is_named=False)
