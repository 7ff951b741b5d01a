"""Commands on jobs."""

from calib.faces.cli.frame import Desk, Reply, group, writes
from calib.faces.cli.options import CellsToSet, JobNamed, Reason

app = group("Jobs: amend.")


@writes(app, "amend")
def amend(desk: Desk, job: JobNamed, changes: CellsToSet, reason: Reason) -> Reply:
    """Amend a job on record, all but its name: its client, the density of its totals, its decision rule, the client's agreement.

    Example: calib job amend FQ-204 --set density_kg_per_m3=1.2 --reason "the client compares masses"
    """
    from calib.faces.answers import amended as answer
    from calib.procedures.enter.amend_job import amend_job

    return Reply(answer.document(amend_job(desk.writing(), job, changes, reason, desk.signature())), answer.text)
