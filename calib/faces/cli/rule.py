"""Commands on the rules of the house."""

from dataclasses import asdict
from typing import Annotated

import typer

from calib.faces.cli.options import DEFAULT_RECORDS, AsJson, By, Records, print_json, print_table, signature, tell

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Rules of the house that the program follows: set, list."
)


@app.command("set")
def set_(
    rule: Annotated[str, typer.Argument(metavar="RULE", help="'one person may accept'.")],
    holds: Annotated[str, typer.Option(metavar="yes|no", help="Whether it holds from now on.")],
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why, in a few words.")],
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Say whether a rule of the house holds from now on.

    Example: calib rule set "one person may accept" --holds yes --reason "one person looks after all instruments"
    """
    from calib.procedures.people.house_rules import set_rule
    from calib.records import database

    with database.writing(records) as session:
        set_rule(session, rule, holds, reason, signature(by, "rule set"))
    if as_json:
        print_json({"rule": rule, "holds": holds == "yes", "reason": reason})
    else:
        tell(f"{rule}: {holds} from now on")


@app.command("list")
def list_(records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """List the rules of the house as they were set, the last of each one counting.

    Example: calib rule list
    """
    from calib.procedures.people.house_rules import rules
    from calib.records import database

    with database.reading(records) as session:
        found = rules(session)
    if as_json:
        print_json({"rules": [asdict(one) for one in found]})
    elif found:
        print_table(
            ("rule", "holds", "counts", "set by", "at", "reason"),
            [
                (
                    one.rule,
                    "yes" if one.holds else "no",
                    "yes" if one.counts else "no",
                    one.person,
                    one.time,
                    one.reason,
                )
                for one in found
            ],
        )
    else:
        tell("no rule of the house is on record: whoever types a certificate does not accept it")
