"""A copy of the records that was read back, as `calib backup` answers."""

from calib.faces.answers import verification
from calib.faces.written import Content
from calib.records.backup import Backup


def document(backup: Backup) -> Content:
    """Where it is, how large, and what is wrong in it."""
    copied = verification.document(backup.entries, backup.digest, backup.findings)
    return {"file": str(backup.path), "bytes": backup.size} | copied


def text(answer: Content) -> str:
    """The same for people."""
    copied = (
        f"copied into {answer['file']} ({answer['bytes'] / 1e6:.1f} MB) and read back: {answer['entries']} ledger entries, "
        f"{len(answer['findings'])} finding(s), digest {answer['digest']}"
    )
    return "\n".join([*verification.finding_lines(answer), copied])
