"""Every record checked against the ledger, as `calib verify` answers."""

from collections.abc import Sequence

from calib.faces.written import Content
from calib.records.verification import LedgerFinding


def document(
    entries: int, digest: str, findings: Sequence[LedgerFinding], remarks: Sequence[LedgerFinding] = ()
) -> Content:
    """Number of ledger entries, digest of the last one, what is wrong, and what is remarked without being wrong."""
    return {
        "entries": entries,
        "digest": digest,
        "findings": findings_listed(findings),
        "remarks": findings_listed(remarks),
    }


def findings_listed(findings: Sequence[LedgerFinding]) -> list[Content]:
    """Each finding as its record and the problem."""
    return [{"record": finding.record, "problem": finding.problem} for finding in findings]


def text(answer: Content) -> str:
    """The same for people."""
    counts = "{entries} ledger entries, {} finding(s), digest {digest}".format(len(answer["findings"]), **answer)
    remarks = [f"remark: {remark['record']} {remark['problem']}" for remark in answer["remarks"]]
    return "\n".join([*finding_lines(answer), *remarks, counts])


def finding_lines(answer: Content) -> list[str]:
    """Each record with what is wrong with it."""
    return [f"{finding['record']}: {finding['problem']}" for finding in answer["findings"]]
