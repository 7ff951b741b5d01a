"""Parts of pages made from the code, in the markup of a page: what is declared once cannot differ from what is documented."""

from collections.abc import Callable, Sequence


def rows(pairs: Sequence[tuple[str, str]]) -> str:
    """A table of two columns."""
    return "\n".join(f"| {term} | {meaning} |" for term, meaning in pairs)


def columns(files: list[str]) -> str:
    """Each import file with its columns, or those that are named; a column that must be filled has a star."""
    from calib.procedures.typed.columns import FILES  # noqa: PLC0415 (it imports pint, which most pages do not need)

    parts = []
    for name in files or FILES:
        pairs = [
            (f"{column.name} *" if column.required else column.name, f"{column.meaning}{_may_be(column.check)}")
            for column in FILES[name]
        ]
        meaning = FILES[name].meaning
        parts.append(f"## {name}\n\n{meaning[0].upper()}{meaning[1:]}.\n\n{rows(pairs)}")
    return "\n\n".join(parts)


def _may_be(check: Callable[[str], str | None]) -> str:
    """What a cell may be besides any text, as the check itself says it of a blank one."""
    expected = (check("") or "").removesuffix(", '' is none")
    return f" ({expected})" if expected else ""


def units(quantities: list[str]) -> str:
    """The units that may be typed for each quantity."""
    from calib.quantities import UNITS  # noqa: PLC0415 (it imports pint)

    return rows([(quantity, ", ".join(UNITS[quantity])) for quantity in quantities or UNITS])


def cautions(_words: list[str]) -> str:
    """The cautions of every report."""
    from calib.faces.cautions import CAUTIONS  # noqa: PLC0415

    return "\n".join(f"- {caution}" for caution in CAUTIONS)
