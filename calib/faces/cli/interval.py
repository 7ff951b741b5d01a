"""Commands on calibration intervals: a review, and a change that a person decided."""

from pathlib import Path
from typing import Annotated

import typer
from typer.core import TyperGroup

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    OnDate,
    Records,
    day_of,
    plotted,
    print_json,
    print_table,
    signature,
    tell,
)

Tag = Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")]
_REVIEW = "review"


class _TagFirst(TyperGroup):
    """`calib interval TAG` means `calib interval review TAG`."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        named = args[:1]
        if named and named[0] not in self.commands and named[0] != "--help":
            args = [_REVIEW, *args]
        return super().parse_args(ctx, args)


app = typer.Typer(
    cls=_TagFirst, no_args_is_help=True, rich_markup_mode=None, help="Calibration intervals: review one, set another."
)


@app.command(_REVIEW)
def review(
    tag: Tag,
    on: OnDate = None,
    target: Annotated[
        float,
        typer.Option(metavar="PERCENT", help="How many of a family are to be in tolerance at the end of an interval."),
    ] = 95.0,
    judged: Annotated[
        str | None,
        typer.Option(
            help="Held against the limits: indication or 'corrected value'; as the latest acceptance did if not given."
        ),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Draw the history to a .svg, .png or .pdf file.")
    ] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Review an instrument's interval: errors over its calibrations, drift, time to the limit, and a proposal by each method.

    Nothing is changed; `calib interval TAG` is short for it.

    Example: calib interval review VA-11 --target 95 --plot va-11-history.png
    """
    from calib.confirmation.acceptance import JUDGED
    from calib.errors import BadInputError, Finding
    from calib.faces.answers import interval
    from calib.procedures.fleet.interval_review import review_interval
    from calib.records import database

    if not 0 < target < 100:
        expected = "a percentage above 0 and below 100"
        raise BadInputError([Finding("command line", None, "--target", f"{target:g}", expected)])
    if judged not in (None, *JUDGED):
        raise BadInputError([Finding("command line", None, "--judged", judged, f"one of {', '.join(JUDGED)}")])
    with database.reading(records) as session:
        found = review_interval(session, tag, day_of(on), round(target / 100, 12), judged)
        document = interval.interval_content(found)
    if plot is not None:
        from calib.faces.drawings.over_time import history_chart, history_drawing

        plotted([history_chart(history_drawing(found))], plot)
    if as_json:
        print_json(document)
        return
    tell(interval.head_line(document))
    if document["points"]:
        print_table(*interval.history_rows(document))
        tell("")
        print_table(*interval.drift_rows(document))
        tell("\n".join(interval.notes(document)))
    tell("")
    tell("\n".join(interval.proposal_lines(document)))


@app.command("set")
def set_(
    tag: Tag,
    months: Annotated[str, typer.Argument(metavar="MONTHS", help="The new interval in calendar months.")],
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why, in a few words.")],
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Set another calibration interval: a shorter one holds at once, a longer one from the next calibration accepted on.

    One that was accepted the same day is accepted with it.

    Example: calib interval set VA-11 9 --reason "review of 2026: drift reaches the limit after 10 months"
    """
    from calib.procedures.fleet.change_interval import change_interval
    from calib.records import database

    with database.writing(records) as session:
        changed = change_interval(session, tag, months, reason, signature(by, "interval set"))
    due = changed.decision.due_on
    if as_json:
        document = {"tag": tag, "before": changed.before, "interval_months": changed.months}
        print_json(document | {"due_on": None if due is None else str(due), "reasons": list(changed.decision.reasons)})
        return
    since = "at once" if changed.at_once else "from the next calibration accepted on"
    tell(f"{tag}: interval {changed.months} months instead of {changed.before}, {since}; due on {due or '-'}")
