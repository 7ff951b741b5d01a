"""Commands on intermediate checks."""

from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, RowOptions, group, happened_at, plotted, reads, writes
from calib.faces.cli.options import AtTime, EntryNumbered, OneTag, Reason, Tag, to_draw
from calib.procedures.typed.declared.events import CHECKS_CSV, OF_TWO_INSTRUMENTS
from calib.procedures.typed.sheets import Cells

app = group("Intermediate checks between calibrations: add, list, chart, withdraw.")


_ROW = RowOptions(
    CHECKS_CSV,
    without=["tag", "at", "basis", "withdrawn"],
    otherwise=dict.fromkeys(
        ("low", "high"), "worked out for two instruments, and for a check standard with a baseline,"
    ),
    more=OF_TWO_INSTRUMENTS,
)


@writes(app, "add", row=_ROW)
def add(desk: Desk, tag: Tag, cells: Cells, at: AtTime = None) -> Reply:
    """Record an intermediate check; a failed one closes the gate until the instrument is recalibrated (exit status 1).

    A comparison with another instrument passes where |E_n| is not above 1; a check standard within limits from its values before.

    Example: calib check add VA-11 --kind comparison --value 2.51 --other VA-12 --other-value 2.48 --unit m/s
    """
    from calib.faces.answers import check as answer
    from calib.procedures.fleet.checks_on_file import check_on_file
    from calib.procedures.fleet.record_check import record_check

    session = desk.writing()
    remarks: list[str] = []
    recorded = record_check(session, tag, happened_at(at), cells, desk.signature(), remarks.append)
    document = answer.document(check_on_file(session, recorded))
    if document["result"] != "failed":
        return Reply(document, answer.text, remarks)
    closed = f"{tag} may not be used from {document['at']} until it is recalibrated"
    follows = f"what was measured with it, and the reports that hold it: calib trace down {quote(tag)}"
    return Reply(document, answer.text, [closed, follows, *remarks], status=1)


@writes(app, "withdraw")
def withdraw(desk: Desk, tag: Tag, entry: EntryNumbered, reason: Reason) -> Reply:
    """Take back an intermediate check that was recorded wrongly; it is kept, and counts no more.

    Example: calib check withdraw VA-11 7 --reason "typed of the wrong instrument"
    """
    from calib.faces.answers import withdrawn_event as answer
    from calib.procedures.fleet.withdraw_event import withdraw_check

    return Reply(answer.document(withdraw_check(desk.writing(), tag, entry, reason, desk.signature())), answer.text)


@reads(app, "list")
def list_(desk: Desk, tag: OneTag = None) -> Reply:
    """List intermediate checks.

    Example: calib check list VA-11
    """
    from calib.faces.answers import checks as answer
    from calib.procedures.fleet.checks_on_file import checks_on_file

    return Reply(answer.document(checks_on_file(desk.reading(), tag)), answer.text)


@reads(app, "chart")
def chart(
    desk: Desk,
    tag: Tag,
    kind: Annotated[str | None, typer.Option(help="One kind of check; all if not given.")] = None,
    plot: Annotated[Path | None, to_draw("the charts")] = None,
) -> Reply:
    """Chart an instrument's checks: values against their limits, baseline and control limits of a check standard.

    Exit status 1 where the weighted mean of a check standard is out of control, though each value passed.

    Example: calib check chart VA-11 --plot va-11-checks.png
    """
    from calib.faces.answers import control_charts as answer
    from calib.procedures.fleet.checks_on_file import charts_of

    charts = charts_of(desk.reading(), tag, kind)
    if plot is not None:
        from calib.faces.drawings.over_time import control_chart

        plotted([control_chart(tag, charts)], plot)
    drifting = any(each.drifting for each in charts)
    shifted = [f"{tag}: a check standard has shifted: its weighted mean is out of control"] if drifting else []
    return Reply(answer.document(tag, charts), answer.text, shifted, status=int(drifting))
