"""What was issued of a job's report, as `calib report --revisions` answers."""

from collections.abc import Sequence
from dataclasses import asdict
from shlex import quote

from calib.faces.plain_text import line_width, one_line, wrapped
from calib.faces.written import Content
from calib.procedures.report.issued import Issue


def document(job: str, issues: Sequence[Issue]) -> Content:
    """Each issue with the digests of its forms."""
    return {
        "job": job,
        "revisions": [of_revision(issue) for issue in issues],
    }


def of_revision(issue: Issue) -> Content:
    """One issue with the digests of its forms."""
    return {
        "revision": issue.revision,
        "issued": issue.issued_at,
        "issued_by": issue.person,
        "signed_by": issue.signed_by,
        "reason": issue.reason,
        "gaps_reason": issue.gaps_reason,
        "ledger_digest": issue.ledger_digest,
        "forms": [asdict(form) for form in issue.forms],
    }


def text(answer: Content) -> str:
    """The same for people."""
    job = one_line(answer["job"])
    if not answer["revisions"]:
        return f"no report of {job} was issued: `calib report {quote(job)} --issue` does so"
    lines = []
    for issue in answer["revisions"]:
        why = "" if issue["reason"] is None else f": {one_line(issue['reason'])}"
        signed = "" if issue["signed_by"] is None else f", signed by {one_line(issue['signed_by'])}"
        issued = f"issued {issue['issued']} by {one_line(issue['issued_by'])}"
        lines += wrapped(f"revision {issue['revision']}, {issued}{signed}{why}")
        if issue["gaps_reason"] is not None:
            gaps = wrapped(
                f"issued without outlets that were not measured: {one_line(issue['gaps_reason'])}", line_width() - 2
            )
            lines += [f"  {line}" for line in gaps]
        lines += [f"  {form['sha256']}  {one_line(form['name'])}" for form in issue["forms"]]
    return "\n".join(lines)
