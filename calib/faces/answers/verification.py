"""Every record checked against the ledger, as `calib verify` answers."""

from collections.abc import Sequence

from calib.faces.written import Content
from calib.records.verification import LedgerFinding


def document(entries: int, digest: str, findings: Sequence[LedgerFinding]) -> Content:
    """Number of ledger entries, digest of the last one, and what is wrong."""
    listed = [{"record": finding.record, "problem": finding.problem} for finding in findings]
    return {"entries": entries, "digest": digest, "findings": listed}


def text(answer: Content) -> str:
    """The same for people."""
    counts = "{entries} ledger entries, {} finding(s), digest {digest}".format(len(answer["findings"]), **answer)
    return "\n".join([*finding_lines(answer), counts])


def finding_lines(answer: Content) -> list[str]:
    """Each record with what is wrong with it."""
    return [f"{finding['record']}: {finding['problem']}" for finding in answer["findings"]]
