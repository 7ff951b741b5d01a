"""Commands on anchors: heads of other ledgers that these records keep."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads, say, writes
from calib.faces.cli.options import Reason
from calib.faces.cli.other_records import OTHER_RECORDS, OtherRecords, other_records

if TYPE_CHECKING:
    from sqlmodel import Session

    from calib.procedures.verify.anchors import LedgerHead
    from calib.records.verification import LedgerFinding

app = group("Anchors: where another company's or site's ledger ended, kept here as proof: add, check, list.")


@writes(app, "add")
def add(
    desk: Desk,
    other: Annotated[
        str,
        typer.Argument(
            metavar=OTHER_RECORDS,
            help="The other records, or a file of their heads; by a name of their own, or by NAME.",
        ),
    ],
    reason: Reason,
) -> Reply:
    """Keep the head of other records here: from now on nobody can rewrite them without it being seen.

    Heads that are kept of them already are asked for first: where one does not fit any more, that is said, nothing is written, and
    the exit status is 1. A head that is kept already is not written again. Two records can anchor each other.

    Example: calib anchor add north=north.sqlite --reason "quarterly exchange with the northern branch"
    """
    from calib.faces.answers import anchors as answer
    from calib.procedures.verify.anchors import anchor

    there = other_records(other)
    if there.location == desk.records:
        raise BadInputError([Finding.typed("other", there.location, "other records than these")])
    session = desk.writing()
    heads, findings = _heads_of(there, session)
    new = [] if findings else anchor(session, heads, reason, desk.signature())
    remarks = ["nothing was anchored, since there are findings"] if findings else []
    return Reply(answer.added(heads, new, findings), answer.text_of_added, remarks, status=int(bool(findings)))


def _heads_of(other: OtherRecords, session: "Session") -> "tuple[Sequence[LedgerHead], Sequence[LedgerFinding]]":
    """The heads of other records, and what does not fit those that are kept of them."""
    from calib.procedures.verify.anchors import (
        anchor_findings,
        contradictions,
        head_of,
        heads_by_records,
        heads_on_record,
    )
    from calib.records import database

    heads = other.heads_in_file()
    if heads is None:
        with database.reading(other.location) as there:
            findings = [*anchor_findings(there, heads_on_record(session, other.name))]
            return [head_of(there, other.name, clock())], findings
    of_name = heads_by_records([*heads_on_record(session), *heads])
    concerned = sorted(heads_by_records(heads))
    return heads, [each for name in concerned for each in contradictions(of_name[name])]


@reads(app, "check")
def check(
    desk: Desk,
    others: Annotated[
        list[str],
        typer.Argument(metavar=OTHER_RECORDS, help="Other records whose heads are kept here, by the name they have."),
    ],
) -> Reply:
    """Prove that other records still hold each head that is kept here of them; exit status 1 where one does not.

    Their rows are held against their ledger too: what was altered or lost is named, as `calib verify --rows-only` there would.

    Example: calib anchor check north=north.sqlite
    """
    from calib.faces.answers import anchors as answer
    from calib.procedures.verify.anchors import anchor_findings, heads_by_records, heads_on_record
    from calib.records import database, ledger

    of_name = heads_by_records(heads_on_record(desk.reading()))
    checked = {}
    for other in map(other_records, others):
        heads = of_name.get(other.name)
        if heads is None:
            expected = f"records of which a head is kept here; kept are those of: {', '.join(of_name) or 'none'}"
            raise BadInputError([Finding.typed("others", other.name, expected)])
        with database.reading(other.location) as there:
            findings = [*ledger.verify(there.connection(), progress=say), *anchor_findings(there, heads)]
        checked[other.name] = (heads, findings)
    document = answer.checked(checked)
    return Reply(document, answer.text_of_checked, status=int(any(findings for _, findings in checked.values())))


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the heads of other ledgers that are kept here.

    Example: calib anchor list
    """
    from calib.faces.answers import anchors as answer
    from calib.procedures.verify.anchors import anchored

    return Reply(answer.document(anchored(desk.reading())), answer.text)
