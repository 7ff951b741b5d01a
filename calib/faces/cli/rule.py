"""Commands on the rules of the house."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads, writes
from calib.faces.cli.options import Reason

app = group("Rules of the house that the program follows: set, list.")


@writes(app, "set")
def set_(
    desk: Desk,
    rule: Annotated[
        str,
        typer.Argument(
            metavar="RULE", help="'one person may accept', 'open review closes the gate' or 'retention in years'."
        ),
    ],
    holds: Annotated[str, typer.Option(metavar="yes|no", help="Whether it holds from now on.")],
    reason: Reason,
    value: Annotated[
        str | None, typer.Option(metavar="YEARS", help="Of the rule of retention: how many years.")
    ] = None,
) -> Reply:
    """Say whether a rule of the house holds from now on; that of retention has a value, and nothing is deleted by it.

    Example: calib rule set "one person may accept" --holds yes --reason "one person looks after all instruments"
    """
    from calib.procedures.people.house_rules import set_rule

    set_rule(desk.writing(), rule, holds, reason, desk.signature(), value)
    document = {"rule": rule, "holds": holds == "yes", "reason": reason, "value": value}
    return Reply(document, f"{rule}: {value or holds} from now on")


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the rules of the house as they were set, the last of each one counting.

    Example: calib rule list
    """
    from calib.faces.answers import rules as answer
    from calib.procedures.people.house_rules import rules

    return Reply(answer.document(rules(desk.reading())), answer.text)
