"""Commands on intermediate checks."""

from pathlib import Path
from shlex import quote
from typing import Annotated, Any

import typer

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    AtTime,
    By,
    Records,
    print_json,
    print_table,
    say,
    signature,
    tell,
    time_of,
)

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Intermediate checks between calibrations: add, list, chart."
)


@app.command("add")
def add(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")],
    kind: Annotated[str, typer.Option(help="zero, comparison or 'check standard'.")],
    value: Annotated[str, typer.Option(help="What was found.")],
    unit: Annotated[str, typer.Option(help="Unit of the values and limits.")],
    low: Annotated[
        str | None, typer.Option(help="Lowest value that passes; worked out for a check standard with a baseline.")
    ] = None,
    high: Annotated[str | None, typer.Option(help="Highest value that passes.")] = None,
    other: Annotated[
        str | None, typer.Option(metavar="TAG", help="The instrument compared with, or the check standard.")
    ] = None,
    other_value: Annotated[str | None, typer.Option(help="What the other instrument showed.")] = None,
    expanded_uncertainty: Annotated[
        str | None,
        typer.Option(help="U (k = 2) of a value that is corrected already; from the calibration if not given."),
    ] = None,
    other_expanded_uncertainty: Annotated[str | None, typer.Option(help="U (k = 2) of the other value.")] = None,
    remarks: Annotated[str | None, typer.Option(help="Anything worth keeping.")] = None,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Record an intermediate check; a failed one closes the gate until the instrument is recalibrated (exit status 1).

    A comparison with another instrument passes where |E_n| is not above 1; a check standard within limits from its values before.

    Example: calib check add VA-11 --kind comparison --value 2.51 --other VA-12 --other-value 2.48 --unit m/s
    """
    from calib.procedures.fleet.checks_on_file import check_on_file
    from calib.procedures.fleet.record_check import record_check
    from calib.records import database

    cells = {
        "kind": kind, "value": value, "low": low, "high": high, "unit": unit, "remarks": remarks, "other": other,
        "other_value": other_value, "expanded_uncertainty": expanded_uncertainty,
        "other_expanded_uncertainty": other_expanded_uncertainty,
    }  # fmt: skip
    with database.writing(records) as session:
        document = check_on_file(session, record_check(session, tag, time_of(at), cells, signature(by, "check add")))
    if as_json:
        print_json(document)
    else:
        tell("\n".join(_check_lines(document)))
    if document["result"] == "failed":
        say(f"{tag} may not be used from {document['at']} until it is recalibrated")
        say(f"what was measured with it, and the reports that hold it: calib trace down {quote(tag)}")
        raise typer.Exit(1)


def _check_lines(one: dict[str, Any]) -> list[str]:
    basis = one["basis"] or {}
    lines = [f"{one['tag']}: {one['kind']} check {one['result']}{_found(one)}"]
    lines += [
        f"  {each['tag']}: {each['value']:.6g} ± {each['expanded_uncertainty']:.2g} {basis['unit']}, k = 2 ({each['uncertainty']})"
        for each in basis.get("values", ())
    ]
    if basis.get("caution"):
        lines.append("  caution: |E_n| is 0.8 or above: compare again, or with a third instrument")
    if basis.get("same_laboratory"):
        lines.append(
            f"  both were calibrated by {basis['same_laboratory']}: an error that both share does not show here"
        )
    if "count" in basis:
        lines.append(
            f"  limits from {basis['count']} values, mean {basis['mean']:.6g}, s {basis['standard_deviation']:.2g}"
        )
    return lines


def _found(one: dict[str, Any]) -> str:
    if one["basis"] is None:
        return ""
    if "normalised_error" in one["basis"]:
        return f", E_n = {one['basis']['normalised_error']:.2f} against {one['other']}"
    return f": {one['value']} {one['unit']} against {one['low']} to {one['high']} {one['unit']}"


@app.command("list")
def list_(
    tag: Annotated[str | None, typer.Argument(metavar="[TAG]", help="One instrument; all if not given.")] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """List intermediate checks.

    Example: calib check list VA-11
    """
    from calib.procedures.fleet.checks_on_file import checks_on_file
    from calib.records import database

    with database.reading(records) as session:
        found = checks_on_file(session, tag)
    if as_json:
        print_json({"checks": found})
    else:
        columns = ("tag", "at", "kind", "other", "value", "low", "high", "unit", "result", "remarks")
        print_table(columns, [[one[column] or "" for column in columns] for one in found])


@app.command("chart")
def chart(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")],
    kind: Annotated[str | None, typer.Option(help="One kind of check; all if not given.")] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Draw the charts to a .svg, .png or .pdf file.")
    ] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Chart an instrument's checks: values against their limits, baseline and control limits of a check standard.

    Exit status 1 where the weighted mean of a check standard is out of control, though each value passed.

    Example: calib check chart VA-11 --plot va-11-checks.png
    """
    from dataclasses import asdict

    from calib.procedures.fleet.checks_on_file import charts_of
    from calib.records import database

    with database.reading(records) as session:
        found = charts_of(session, tag, kind)
    if plot is not None:
        from calib.faces.drawings import save_or_tell
        from calib.faces.drawings.over_time import control_chart

        save_or_tell(control_chart(tag, found), plot)
    if as_json:
        series = [asdict(one) | {"drifting": one.drifting} for one in found]
        for one in series:
            one["checks"] = [each | {"at": each["at"].isoformat()} for each in one["checks"]]
        print_json({"tag": tag, "series": series})
    else:
        tell("\n".join(_chart_lines(tag, found)))
    if any(one.drifting for one in found):
        say(f"{tag}: a check standard has shifted: its weighted mean is out of control")
        raise typer.Exit(1)


def _ends(limits: Any) -> str:
    return f"{limits.low:.6g} to {limits.high:.6g}"


def _chart_lines(tag: str, found: list[Any]) -> list[str]:
    lines = [] if found else [f"{tag}: no checks"]
    for one in found:
        failed = sum(not each.passed for each in one.checks)
        lines.append(f"{one.kind}{f', {one.other}' if one.other else ''}: {len(one.checks)} checks, {failed} failed")
        if one.limits is not None and one.base is not None:
            lines.append(
                f"  baseline of {one.base.count}: mean {one.base.mean:.6g}, s {one.base.standard_deviation:.2g}; "
                f"limits of the next value {one.limits.low:.6g} to {one.limits.high:.6g} {one.unit}"
            )
            lines.append(
                f"  limits of the baseline's own values: 3 s {_ends(one.shewhart_limits)}, "
                f"Student's t {_ends(one.t_limits)} {one.unit}"
            )
    return lines
