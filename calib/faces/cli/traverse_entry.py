"""Enter a duct traverse, line by line or point by point."""

import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli.frame import Desk, Reply, cell_meant, say
from calib.faces.cli.options import (
    DEFAULT_RULE,
    AtTime,
    Conditions,
    JobNamed,
    MeterProbe,
    Remarks,
    Sure,
    TraverseLines,
    TraversePoints,
    TraverseRule,
)
from calib.faces.cli.reading import recorded
from calib.procedures.typed.declared.readings import READINGS_CSV

if TYPE_CHECKING:
    from sqlmodel import Session

    from calib.procedures.enter.import_sheets import Imported

_Place = tuple[int, int]  # line and point


def add(
    desk: Desk,
    job: JobNamed,
    outlet: Annotated[str, typer.Argument(metavar="DUCT", help="The duct, as outlets.csv names it.")],
    instrument: Annotated[str, typer.Option(metavar="TAG", help="The instrument used.")],
    unit: Annotated[str, typer.Option(help="Unit of the values.")],
    method: Annotated[str, typer.Option(help="The method used.")],
    rule: TraverseRule = DEFAULT_RULE,
    lines: TraverseLines = None,
    points: TraversePoints = None,
    line: Annotated[
        list[str] | None,
        typer.Option(
            "--line", metavar="VALUES", help="Values of one line, parted by blanks; those of several passes joined by ;"
        ),
    ] = None,
    passes: Annotated[int, typer.Option(min=1, help="Number of passes to ask for, without --line.")] = 2,
    probe: MeterProbe = None,
    conditions: Conditions = None,
    observed_at: AtTime = None,
    remarks: Remarks = None,
    sure: Sure = False,
) -> Reply:
    """Enter a traverse: with a --line for each line, or point by point where none is given; refused ones are kept (exit status 3).

    Mind ladders, moving machinery and hot surfaces. Do not open test holes in ducts that carry hazardous air, or that may,
    without the site's permission.

    Example: calib traverse add FQ-204 D-1 --instrument DM-2 --probe PT-2 --conditions roof
    --unit Pa --method "duct traverse" --rule log-linear --lines 2 --points 6
    """
    from calib.procedures.enter.add_reading import add_traverse
    from calib.procedures.enter.on_site import half_traversed
    from calib.procedures.people.authorise import authorise

    with desk.reading_first() as session:
        who = authorise(session, desk.signature(), "record")
    unit = cell_meant(READINGS_CSV.by_name["unit"], unit, "--unit")
    cells = {
        "job": job, "outlet": outlet, "instrument": instrument, "observed_at": desk.observed_at(job, observed_at), "unit": unit,
        "method": method, "remarks": remarks, "probe": probe, "conditions": conditions,
    }  # fmt: skip
    wanted = {"rule": rule, "lines": lines, "points": points, "passes": str(passes)}
    # The values are read before the records are opened for writing: nobody waits for a person at a duct.
    with desk.reading_first() as session:
        said = {name: cell for name, cell in wanted.items() if cell is not None}
        planned, marks = half_traversed(session, job, outlet, said, clock())
    typed = _typed_lines(line, planned.places) if line else _asked(planned.places, passes, unit, marks)
    values = dict(zip(planned.places, typed, strict=True))

    def write(session: "Session", sure: bool) -> "Imported":
        return add_traverse(session, cells | planned.cells(), values, who, clock(), sure=sure)

    try:
        imported = desk.written_if_sure(write, sure=sure)
    except CalibError:
        if not line:
            say(f"the values again, to be typed no second time: {_as_options(values)}")
        raise
    return recorded(desk, job, outlet, imported)


def _typed_lines(typed: Sequence[str], places: Sequence[_Place]) -> list[str]:
    """Values in the order of the points; raises BadInputError with every line that has another number of them."""
    counts = Counter(line for line, _ in places)
    findings = []
    if len(typed) != len(counts):
        findings.append(Finding.typed("line", f"{len(typed)} lines", f"{len(counts)} lines"))
    values = [cell.split() for cell in typed]
    for (line, count), of_line in zip(sorted(counts.items()), values, strict=False):
        if len(of_line) != count:
            said = f"line {line}: {len(of_line)} values"
            findings.append(Finding.typed("line", said, f"{count} values parted by blanks"))
    if findings:
        raise BadInputError(findings)
    return [value for of_line in values for value in of_line]


def _asked(places: Sequence[_Place], passes: int, unit: str, marks: Sequence[str]) -> list[str]:
    """Ask for the value at each point, pass after pass; a value that is no number is asked for again."""
    typed: list[list[str]] = [[] for _ in places]
    for run in range(1, passes + 1):
        for (line, point), mark, values in zip(places, marks, typed, strict=True):
            values.append(_value(f"pass {run}, line {line}, point {point} ({mark}) [{unit}]: "))
    return [";".join(values) for values in typed]


def _value(question: str) -> str:
    from calib.quantities import finite_number

    for answer in _answers(question):
        wrong = finite_number(answer)
        if wrong is None:
            return answer
        say(f"{answer!r} is not {wrong}")
    raise BadInputError([Finding.typed(None, None, f"a value: {question.rstrip(': ')}; nothing was written")])


def _answers(question: str) -> Iterator[str]:
    """Lines typed in answer to a question, which is put again until it is left; none where the input ends."""
    while True:
        print(question, end="", flush=True, file=sys.stderr)
        line = sys.stdin.readline()
        if not line:
            return
        yield line.strip()


def _as_options(typed: Mapping[_Place, str]) -> str:
    """Values of each line as the option that enters them."""
    lines: dict[int, list[str]] = {}
    for (line, _), value in typed.items():
        lines.setdefault(line, []).append(value)
    return " ".join(f'--line "{" ".join(values)}"' for values in lines.values())
