"""Where to measure in the section of a duct, as `calib traverse plan` answers."""

from collections.abc import Sequence

from calib import quantities
from calib.airflow.traverse import Section, TraversePlace
from calib.faces.parts.duct_section_text import lines_text, marked, section_text, size_text
from calib.faces.parts.value_in_unit import value_in
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.quantities import Unit

_AREAS = {"in": "ft2", "ft": "ft2"}  # of lengths; m2 for the others


def document(
    section: Section, rule: str, points: Sequence[TraversePlace], unit: Unit, insertion: float = 0.0
) -> Content:
    """The section and its points, lengths in `unit`; `insertion` [m] is added to every mark."""
    in_area = quantities.unit("area", _AREAS.get(unit.symbol, "m2"))
    return {
        "shape": section.shape,
        "unit": unit.symbol,
        "width": unit.from_si(section.width),
        "height": unit.from_si(section.height),
        "area": value_in(in_area, section.area),
        "rule": rule,
        "insertion": unit.from_si(insertion),
        "points": [
            {
                "line": point.line,
                "point": point.point,
                "mark": unit.from_si(point.along + insertion),
                "x": unit.from_si(point.x),
                "y": unit.from_si(point.y),
                "weight": point.weight,
            }
            for point in points
        ],
    }


def text(answer: Content) -> str:
    """The same for people: a drawing in signs and a table."""
    unit = quantities.unit("length", answer["unit"])
    section = Section(answer["shape"], unit.to_si(answer["width"]), unit.to_si(answer["height"]))
    points = [_point(each, unit) for each in answer["points"]]
    size, area = f"{section.shape} duct, {size_text(section, unit)}", answer["area"]
    before = f", with the {marked(answer['insertion'], unit.symbol)} {unit.symbol} before it"
    header = ("line", "point", f"mark [{unit.symbol}]", f"x [{unit.symbol}]", f"y [{unit.symbol}]", "weight")
    return "\n".join(
        [
            f"{size}, area {area['value']:.4f} {area['unit']}; {answer['rule']}, {lines_text(points)}",
            "",
            section_text(section, points),
            "",
            table_text(header, [_row(each, unit.symbol) for each in answer["points"]]),
            "",
            f"mark: from the inner wall where the probe goes in{before if answer['insertion'] else ''}",
            "x, y: from the left and from the bottom of the section",
        ]
    )


def _point(point: Content, unit: Unit) -> TraversePlace:
    x, y, along = (unit.to_si(point[name]) for name in ("x", "y", "mark"))
    return TraversePlace(point["line"], point["point"], along=along, x=x, y=y, weight=point["weight"])


def _row(point: Content, symbol: str) -> tuple[str, ...]:
    lengths = (marked(point[name], symbol) for name in ("mark", "x", "y"))
    return (str(point["line"]), str(point["point"]), *lengths, f"{point['weight']:.5f}")
