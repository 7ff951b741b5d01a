"""Record that a backup was made, so that it can be asked how old the last one is (ISO/IEC 17025:2017, 7.11.3 and 8.4.2)."""

from sqlmodel import Session

from calib.procedures.people.authorise import append
from calib.records.backup import Backup
from calib.records.ledger import Signature
from calib.records.tables.custody import BackupMade


def record_backup(session: Session, copy: Backup, signature: Signature) -> None:
    """Append it, by the name of its file alone; raises BadInputError where the person may not write."""
    append(session, [BackupMade(name=copy.path.name, entries=copy.entries, digest=copy.digest)], signature)
