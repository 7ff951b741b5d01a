"""Commands on jobs."""

from calib.faces.cli.file import attached
from calib.faces.cli.frame import Desk, Reply, RowOptions, changes_meant, group, reads, writes
from calib.faces.cli.options import AT_A_TERMINAL, CellsToSet, FileDigest, FileToKeep, JobNamed, Reason, Remarks
from calib.faces.cli.withdrawing import withdrawn
from calib.procedures.typed.declared.jobs import JOBS_CSV
from calib.procedures.typed.sheets import Cells

app = group("Jobs: add, amend, list, attach and detach files.")


_ADDED = RowOptions(
    JOBS_CSV, without=["job"], typed_as={"decision_rule": ["--rule", "--decision-rule"]}, asked=AT_A_TERMINAL
)


@writes(app, "add", row=_ADDED)
def add(desk: Desk, job: JobNamed, cells: Cells) -> Reply:
    """Add a job, with the decision rule that was agreed with the client; at a terminal what is missing is asked for.

    Example: calib job add FQ-204 --title "Reading rooms" --client "Lantern House" --rule "guarded non-binary"
    """
    from calib.faces.cli.questions import row_answered

    row = row_answered(_ADDED, cells, f"job {job}", lambda typed: desk.row_written("jobs.csv", {"job": job, **typed}))
    return Reply(row.cells, f"added the job {job}; add its outlets next, and the designs of its systems")


@writes(app, "amend")
def amend(desk: Desk, job: JobNamed, changes: CellsToSet, reason: Reason) -> Reply:
    """Amend a job on record, all but its name: its client, the density of its totals, its decision rule, the client's agreement.

    Example: calib job amend FQ-204 --set density_kg_per_m3=1.2 --reason "the client compares masses"
    """
    from calib.faces.answers import amended as answer
    from calib.procedures.enter.amend_job import amend_job

    meant = changes_meant(JOBS_CSV, changes)
    return Reply(answer.document(amend_job(desk.writing(), job, meant, reason, desk.signature())), answer.text)


@writes(app, "attach")
def attach(desk: Desk, job: JobNamed, file: FileToKeep, remarks: Remarks = None) -> Reply:
    """Keep a file with a job, say the client's agreement to its decision rule: its bytes, once, by their SHA-256.

    Example: calib job attach FQ-204 agreement.pdf --remarks "decision rule agreed by letter"
    """
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.fleet.attach_file import attach_to_job, attachable

    content = attachable(file_content(file, LARGEST_FILE))
    return attached(attach_to_job(desk.writing(), job, content, remarks, desk.signature()), f"job {job}")


@writes(app, "detach")
def detach(desk: Desk, job: JobNamed, sha256: FileDigest, reason: Reason) -> Reply:
    """Take back that a file belongs to a job; its bytes stay with the records.

    Example: calib job detach FQ-204 3a7bd3e2 --reason "the letter of another client"
    """
    return withdrawn(desk, "file of a job", (job, sha256), reason)


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the jobs: how many outlets each has, how many of them were read, and what was issued.

    Example: calib job list
    """
    from calib.faces.answers import jobs as answer
    from calib.procedures.on_record.jobs_on_file import jobs_on_file

    return Reply(answer.document(jobs_on_file(desk.reading())), answer.text)
