"""Commands on duct traverses."""

from collections.abc import Callable, Container, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import BadInputError, Finding
from calib.faces.cli import traverse_entry
from calib.faces.cli.frame import Desk, Reply, group, plotted, reads, writes
from calib.faces.cli.options import DEFAULT_RULE, TraverseLines, TraversePoints, TraverseRule, to_draw

if TYPE_CHECKING:
    from calib.airflow.traverse import Section
    from calib.procedures.typed.declaration import Check
    from calib.quantities import Unit

app = group("Duct traverses: plan where to measure, add.")

_DEFAULT_UNIT = "mm"
_ENDINGS = (".svg", ".png", ".pdf")


@reads(app, "plan", no_args_is_help=True)
def plan(
    desk: Desk,
    job: Annotated[str | None, typer.Argument(metavar="JOB", help="A job, with the duct's section on record.")] = None,
    duct: Annotated[str | None, typer.Argument(metavar="DUCT", help="A duct of the job.")] = None,
    shape: Annotated[str | None, typer.Option(help="rectangular, round or flat-oval.")] = None,
    width: Annotated[
        str | None, typer.Option(help="Width inside, along which the lines stand; the major axis.")
    ] = None,
    height: Annotated[
        str | None, typer.Option(help="Height inside, along which the probe goes; the minor axis.")
    ] = None,
    diameter: Annotated[str | None, typer.Option(help="Diameter inside, of a round duct.")] = None,
    unit: Annotated[
        str | None, typer.Option(help="Unit of every length: mm, cm, m, in or ft; that of the duct on record, else mm.")
    ] = None,
    rule: TraverseRule = DEFAULT_RULE,
    lines: TraverseLines = None,
    points: TraversePoints = None,
    insertion: Annotated[
        str, typer.Option(help="What the probe goes through before the inner wall (wall, fitting); added to each mark.")
    ] = "0",
    plot: Annotated[Path | None, to_draw("the section")] = None,
) -> Reply:
    """Plan a duct traverse: where to hold the probe, and what each point counts.

    Lines stand side by side along the width and the probe goes in at the bottom of the drawing; the lines of a round duct are
    diameters, the first entered at the bottom, the next ones clockwise from it. Width and height may be exchanged to enter
    from a side.

    Mind ladders, moving machinery and hot surfaces. Do not drill test holes into ducts that carry hazardous air, or that may,
    without the site's permission.

    Example: calib traverse plan --shape round --diameter 400 --rule log-linear --insertion 25
    """
    from calib.airflow.traverse import traverse
    from calib.faces.answers import traverse_plan as answer

    typed = {"width": width, "height": height, "diameter": diameter, "lines": lines, "points": points}
    typed |= {"shape": shape, "unit": unit, "rule": rule, "insertion": insertion}
    if job is not None:
        typed |= _on_record(desk, job, duct, typed)
    typed["unit"] = typed["unit"] or _DEFAULT_UNIT
    given = {name: cell for name, cell in typed.items() if cell is not None}
    section, rule, counts, length, before = _read(given, plot)
    places = traverse(section, rule, *counts)
    if plot is not None:
        from calib.faces.drawings.duct_section import section_chart

        plotted([section_chart(section, rule, places, length, before)], plot)
    return Reply(answer.document(section, rule, places, length, before), answer.text)


def _on_record(desk: Desk, job: str, duct: str | None, typed: "Mapping[str, str | None]") -> dict[str, str]:
    """Shape and sizes of a duct on record, as if they had been typed; raises BadInputError where they were."""
    from calib import quantities
    from calib.airflow.traverse import ROUND
    from calib.procedures.measure.duct_section import section_on_record

    also = [name for name in ("shape", "width", "height", "diameter") if typed.get(name) is not None]
    findings = [Finding.typed(name, typed[name], "nothing beside a duct on record") for name in also]
    if duct is None:
        findings.append(Finding.typed("duct", None, f"a duct of job {job}"))
    if findings or duct is None:
        raise BadInputError(findings)
    section, unit = section_on_record(desk.reading(), job, duct)
    symbol = typed["unit"] or unit.symbol
    if symbol in quantities.known_units("length"):  # else it is named with all that is wrong
        unit = quantities.unit("length", symbol)
    width, height = (repr(unit.from_si(side)) for side in (section.width, section.height))
    sizes = {"diameter": width} if section.shape == ROUND else {"width": width, "height": height}
    return {"shape": section.shape, "unit": symbol, **sizes}


# --- what was typed --------------------------------------------------------------------------------------------------------------


def _read(typed: dict[str, str], plot: Path | None) -> "tuple[Section, str, tuple[int, int], Unit, float]":
    """Section, rule, numbers of lines and points, unit and insertion [m]; raises BadInputError with every option that is wrong."""
    from calib import quantities
    from calib.airflow.traverse import usual
    from calib.procedures.typed.answers import as_meant
    from calib.procedures.typed.declared.outlets import OUTLETS_CSV
    from calib.procedures.typed.declared.readings import READINGS_CSV
    from calib.procedures.typed.section import section_from

    columns = {"rule": READINGS_CSV.by_name["traverse_rule"], "shape": OUTLETS_CSV.by_name["shape"]}
    typed = typed | {name: as_meant(column, typed[name])[0] for name, column in columns.items() if name in typed}
    _refuse_wrong(typed, plot)
    unit = quantities.unit("length", typed["unit"])
    sizes = (typed.get("width"), typed.get("height"), typed.get("diameter"))
    section = section_from(typed["shape"], sizes, unit.symbol)
    lines, points = usual(section, typed["rule"])
    counts = int(typed.get("lines", lines)), int(typed.get("points", points))
    return section, typed["rule"], counts, unit, unit.to_si(float(typed["insertion"]))


def _refuse_wrong(typed: dict[str, str], plot: Path | None) -> None:
    """Raise BadInputError with every option that is wrong, by itself or beside the others."""
    wrong = {name: expected for name, check in _checks().items() if (expected := check(typed.get(name)))}
    wrong |= dict(_beside_each_other(typed, wrong))
    if plot is not None and plot.suffix not in _ENDINGS:
        typed, wrong = typed | {"plot": str(plot)}, wrong | {"plot": f"a file ending in {', '.join(_ENDINGS)}"}
    if wrong:
        raise BadInputError([Finding.typed(name, typed.get(name), wrong[name]) for name in wrong])


def _checks() -> dict[str, Callable[[str | None], str | None]]:
    """What each option may hold by itself."""
    from calib.airflow.traverse import POINT_RULES, SECTION_SHAPES
    from calib.procedures.typed import cells
    from calib.quantities import known_units

    def given(check: "Check") -> Callable[[str | None], str | None]:
        return lambda typed: None if typed is None else check(typed)

    shape = cells.one_of(*SECTION_SHAPES)
    return {
        "shape": lambda typed: shape(typed or ""),
        "width": given(cells.above_zero),
        "height": given(cells.above_zero),
        "diameter": given(cells.above_zero),
        "unit": given(cells.one_of(*known_units("length"))),
        "rule": given(cells.one_of(*POINT_RULES)),
        "lines": given(cells.whole),
        "points": given(cells.whole),
        "insertion": given(cells.not_negative),
    }


def _beside_each_other(typed: dict[str, str], wrong: Container[str]) -> Iterator[tuple[str, str]]:
    """What the shape and the rule ask of the options that are right by themselves."""
    from calib.airflow.traverse import FLAT_OVAL, ROUND, point_counts, spoken

    shape, rule = (typed.get(name, "") for name in ("shape", "rule"))
    if "shape" in wrong:
        return
    sizes = ("diameter",) if shape == ROUND else ("width", "height")
    for name in ("diameter", "width", "height"):
        if name in sizes and name not in typed:
            yield name, f"a finite number above 0, since the duct is {shape}"
        if name not in sizes and name in typed and name not in wrong:
            yield name, f"{' and '.join(f'--{size}' for size in sizes)} alone, since the duct is {shape}"
    right = [float(typed[name]) for name in sizes if name in typed and name not in wrong]
    if shape == FLAT_OVAL and len(right) == 2 and right[0] < right[1]:
        yield "width", "the major axis, at least the height"
    counts = () if "rule" in wrong else zip(("lines", "points"), point_counts(shape, rule), strict=True)
    for name, possible in counts:
        if name in typed and name not in wrong and int(typed[name]) not in possible:
            yield name, f"{spoken(possible)}, by the {rule} rule in a {shape} duct"


writes(app, "add")(traverse_entry.add)
