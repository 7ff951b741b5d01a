"""Commands on calibration intervals: a review, and a change that a person decided."""

from pathlib import Path
from typing import Annotated

import typer

from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, group, plotted, reads, writes
from calib.faces.cli.manners import PlainGroup
from calib.faces.cli.options import OnDate, Reason, Tag, day_of, to_draw

_REVIEW = "review"


class _TagFirst(PlainGroup):
    """`calib interval TAG` means `calib interval review TAG`."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        named = args[:1]
        if named and named[0] not in self.commands and named[0] not in ("--help", "-h"):
            args = [_REVIEW, *args]
        return super().parse_args(ctx, args)


app = group("Calibration intervals: review one, set another, withdraw what was set.", _TagFirst)


@reads(app, _REVIEW)
def review(
    desk: Desk,
    tag: Tag,
    on: OnDate = None,
    target: Annotated[
        float,
        typer.Option(
            metavar="PERCENT", help="How probable it is to be that it is in tolerance at the end of an interval."
        ),
    ] = 95.0,
    judged: Annotated[
        str | None,
        typer.Option(
            help="Held against the limits: indication or 'corrected value'; as the latest acceptance did if not given."
        ),
    ] = None,
    plot: Annotated[Path | None, to_draw("the history")] = None,
) -> Reply:
    """Review an instrument's interval: errors over its calibrations, drift, the family, and one recommendation with its reason.

    It may be to keep, lengthen or shorten the interval, to adjust, or to accept on the corrected value. Nothing is changed; `calib
    interval TAG` is short for it.

    Example: calib interval review VA-11 --target 95 --plot va-11-history.png
    """
    from calib.confirmation.words import JUDGED
    from calib.faces.answers import interval as answer
    from calib.procedures.fleet.interval_review import review_interval

    if not 0 < target < 100:
        raise BadInputError([Finding.typed("target", f"{target:g}", "a percentage above 0 and below 100")])
    if judged not in (None, *JUDGED):
        raise BadInputError([Finding.typed("judged", judged, f"one of {', '.join(JUDGED)}")])
    reviewed = review_interval(desk.reading(), tag, day_of(on), round(target / 100, 12), judged)
    if plot is not None:
        from calib.faces.drawings.over_time import history_chart, history_drawing

        plotted([history_chart(history_drawing(reviewed))], plot)
    return Reply(answer.document(reviewed), answer.text)


@writes(app, "set")
def set_(
    desk: Desk,
    tag: Tag,
    months: Annotated[str, typer.Argument(metavar="MONTHS", help="The new interval in calendar months.")],
    reason: Reason,
) -> Reply:
    """Set another calibration interval: a shorter one holds at once, a longer one from the next calibration accepted on.

    One that was accepted the same day is accepted with it.

    Example: calib interval set VA-11 9 --reason "review of 2026: drift reaches the limit after 10 months"
    """
    from calib.faces.answers import changed_interval as answer
    from calib.procedures.fleet.change_interval import change_interval

    changed = change_interval(desk.writing(), tag, months, reason, desk.signature())
    return Reply(answer.document(tag, changed), answer.text)


@writes(app, "withdraw")
def withdraw(desk: Desk, tag: Tag, reason: Reason) -> Reply:
    """Take back the last change of an interval: the one before holds again, as if it had never been changed.

    Example: calib interval withdraw VA-11 --reason "set by a slip: VA-12 was meant"
    """
    from calib.faces.answers import withdrawn_event as answer
    from calib.procedures.fleet.withdraw_event import withdraw_interval

    return Reply(answer.document(withdraw_interval(desk.writing(), tag, reason, desk.signature())), answer.text)
