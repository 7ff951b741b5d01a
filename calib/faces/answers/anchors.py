"""The heads of other ledgers that the records keep, as `calib anchor list` answers."""

from collections.abc import Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.records.tables.custody import Anchor

_COLUMNS = ("records", "sequence", "digest", "time", "reason")


def document(anchors: Sequence[Anchor]) -> Content:
    """Each head with the time at which it was read, and why it was anchored."""
    return {"anchors": [{name: getattr(anchor, name) for name in _COLUMNS} for anchor in anchors]}


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["anchors"]:
        return "no other ledger is anchored here"
    rows = [[str(anchor[name]) for name in _COLUMNS] for anchor in answer["anchors"]]
    return table_text(("records", "entry", "digest", "read at", "reason"), rows)
