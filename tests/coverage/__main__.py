"""Count worlds under every assumption, on all processors, and print a table; with --write, keep the figures, and with them the
manual's table and the picture.

    python -m tests.coverage WORLDS [--write] [ASSUMPTION...]
    python -m tests.coverage --draw        # the picture alone, anew from the figures that are kept

WORLDS are those of each assumption, or of those named alone; each takes about 0.05 s of a processor.
"""

import csv
import functools
import operator
import os
import re
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.coverage.assumptions import ASSUMPTIONS
from tests.coverage.counted import AT_ONCE, KINDS, Counted, counted

MANUAL = Path(__file__).parents[2] / "calib" / "faces" / "manual" / "numbers.md"
FIGURES = Path(__file__).with_name("figures.csv")
PICTURE = Path(__file__).parents[2] / "reports" / "coverage.svg"
_SEED = 1_000_000


def told(row: dict[str, str]) -> str:
    """A line of the manual's table."""
    shares = ", ".join(
        f"{kind} {float(row[kind]):.1f} ± {float(row[f'{kind} error']):.1f}" for kind in KINDS if row[kind]
    )
    counted = f"{row['worlds']} worlds: {shares} %"
    if not row["wrong passes"]:
        return f"| {row['assumption']} | {counted} |"
    error = f" ± {float(row['wrong passes error']):.1f}" if row["wrong passes error"] else ""
    passes = (
        f"{float(row['wrong passes']):.1f}{error} % of the passes wrong, "
        f"{float(row['printed risk']):.1f} % by the printed risks"
    )
    return f"| {row['assumption']} | {counted}; {passes} |"


def passes_told(rows: list[dict[str, str]]) -> str:
    """What the figures say of wrong passes beside the printed risks, as a line of the manual."""
    beyond = [float(row["wrong passes"]) - float(row["printed risk"]) for row in rows if row["wrong passes"]]
    more = [by for by in beyond if by > 0]
    said = "Wrong passes are outlets that were stated to pass and do not conform. In "
    if not more:
        return f"{said}each of {len(beyond)} lines they are no more than the risks printed beside them say."
    return (
        f"{said}{len(beyond) - len(more)} of {len(beyond)} lines they are no more than the risks printed beside them say, in "
        f"{len(more)} more, by {max(more):.1f} points at the most."
    )


def figures(worlds: int, places: list[int]) -> list[dict[str, str]]:
    """A row for each assumption at these places, shares in percent."""
    firsts = range(0, worlds, AT_ONCE)
    parts = [(place, min(AT_ONCE, worlds - first), _SEED + first) for place in places for first in firsts]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        told = list(pool.map(_counted, parts))
    return [
        _row(place, worlds, functools.reduce(operator.add, told[at * len(firsts) : (at + 1) * len(firsts)]))
        for at, place in enumerate(places)
    ]


def _counted(part: tuple[int, int, int]) -> Counted:
    place, worlds, seed = part
    return counted(ASSUMPTIONS[place], worlds, seed)


def _row(place: int, worlds: int, told: Counted) -> dict[str, str]:
    assumption = ASSUMPTIONS[place]
    cells = {f"{kind}{of}": "" for kind in KINDS for of in ("", " error")}
    for kind in told.covered:
        cells |= {kind: f"{100 * told.share(kind):.2f}", f"{kind} error": f"{100 * told.error(kind):.2f}"}
    passes = {
        "wrong passes": f"{100 * told.wrong:.2f}" if told.passes else "",
        "wrong passes error": f"{100 * told.wrong_error:.2f}" if told.passes else "",
        "printed risk": f"{100 * told.printed_risk:.2f}" if told.passes else "",
    }
    is_held = "yes" if assumption.holds else "no"
    return {"assumption": assumption.name, "holds": is_held, "worlds": str(worlds)} | cells | passes


def draw_picture(rows: list[dict[str, str]]) -> None:
    """What U promises and what it kept: a point for each kind of result under each assumption."""
    from calib.faces.drawings import save_all
    from tests.coverage.picture import chart

    save_all([chart(rows)], PICTURE)


def kept() -> list[dict[str, str]]:
    """The figures as they were counted last."""
    with FIGURES.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


if __name__ == "__main__":
    if sys.argv[1:] == ["--draw"]:
        draw_picture(kept())
        sys.exit()
    named = [word for word in sys.argv[2:] if word != "--write"]
    order = [assumption.name for assumption in ASSUMPTIONS]
    rows = figures(int(sys.argv[1]), [order.index(name) for name in named or order])
    for row in rows:
        print(", ".join(f"{name} {cell}" for name, cell in row.items()))
        print(told(row))
    if "--write" in sys.argv:
        told_before = {row["assumption"]: row for row in kept()}
        blank = dict.fromkeys(rows[0], "")  # a column that a line counted earlier has not
        now = {name: blank | row for name, row in told_before.items()} | {row["assumption"]: row for row in rows}
        rows = [now[name] for name in order if name in now]
        with FIGURES.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        draw_picture(rows)
        text = MANUAL.read_text(encoding="utf-8")
        for row in rows:
            text = re.sub(
                rf"^\| {re.escape(row['assumption'])} \|.*$", lambda _line, row=row: told(row), text, flags=re.MULTILINE
            )
        text = re.sub(r"^Wrong passes are outlets .*$", lambda _line: passes_told(rows), text, flags=re.MULTILINE)
        MANUAL.write_text(text, encoding="utf-8")
