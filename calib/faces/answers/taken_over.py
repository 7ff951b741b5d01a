"""Evidence that was taken over from another site, as `calib instrument take-over` answers."""

from dataclasses import asdict

from calib.counted import count_of
from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.sites.take_over import EvidenceTaken


def document(taken: EvidenceTaken) -> Content:
    """The statement with its digest, and what was new here."""
    return {
        "sha256": taken.sha256,
        "statement": asdict(taken.statement),
        "written": dict(taken.imported.records),
        "on_record": dict(taken.imported.on_record),
    }


def text(answer: Content) -> str:
    """The same for people."""
    stated = answer["statement"]
    written = [f"{count:6d}  {name}" for name, count in answer["written"].items()]
    behind = stated["behind"]
    stay = [f"there stays what its certificates rest on: {', '.join(map(one_line, behind))}"] if behind else []
    accepted = [
        f"accepted there: {one_line(each['tag'])}, {one_line(each['certificate'])} on {each['accepted_on']} by "
        f"{one_line(each['accepted_by'])}"
        for each in stated["acceptances"]
    ]
    return "\n".join(
        [
            *written,
            *accepted,
            *stay,
            (
                f"taken over from {one_line(stated['records'])}: {', '.join(map(one_line, stated['moved']))}, with "
                f"{count_of(len(stated['files']), 'file', 'files')} until its ledger entry {stated['sequence']}"
            ),
            "it may be used once QA has accepted its certificate here: calib status",
        ]
    )
