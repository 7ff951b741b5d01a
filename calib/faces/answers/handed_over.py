"""Evidence that was handed over to another site, as `calib instrument hand-over` answers."""

from dataclasses import asdict
from pathlib import Path

from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.sites.hand_over import HandedOver


def document(handed: HandedOver, folder: Path) -> Content:
    """The statement with its digest, and how many rows each sheet has."""
    return {
        "folder": str(folder),
        "sha256": handed.sha256,
        "statement": asdict(handed.statement),
        "rows": {file.name: file.rows for file in handed.files if file.rows is not None},
    }


def text(answer: Content) -> str:
    """The same for people."""
    stated = answer["statement"]
    files = [each for each in stated["files"] if each["called"] is not None]
    return "\n".join(
        [
            *(f"{count:6d}  {name}" for name, count in answer["rows"].items()),
            *(f"        {one_line(each['called'])}, kept with {one_line(each['tag'])}" for each in files),
            (
                f"handed over to {one_line(stated['to'])}: {', '.join(map(one_line, stated['moved']))}, suspended here; "
                f"evidence until ledger entry {stated['sequence']} stands in {one_line(answer['folder'])}"
            ),
            f"tell them the digest of its statement by another way: {answer['sha256']}",
        ]
    )
