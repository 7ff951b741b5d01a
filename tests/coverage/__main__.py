"""Count worlds under every assumption, on all processors, and print a table; with --write, keep the figures, and with them the
manual's table and the picture.

    python -m tests.coverage WORLDS [--write]

WORLDS are those of each assumption; each takes about 0.03 s of a processor.
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
    shares = ", ".join(f"{kind} {float(row[kind]):.1f}" for kind in KINDS if row[kind])
    if not row["wrong passes"]:
        return f"| {row['assumption']} | {shares} % |"
    passes = f"{float(row['wrong passes']):.1f} % of the passes wrong, {float(row['printed risk']):.1f} % by the printed risks"
    return f"| {row['assumption']} | {shares} %; {passes} |"


def figures(worlds: int) -> list[dict[str, str]]:
    """A row for each assumption, shares in percent."""
    firsts = range(0, worlds, AT_ONCE)
    parts = [
        (place, min(AT_ONCE, worlds - first), _SEED + first) for place in range(len(ASSUMPTIONS)) for first in firsts
    ]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        told = list(pool.map(_counted, parts))
    return [
        _row(place, worlds, functools.reduce(operator.add, told[place * len(firsts) : (place + 1) * len(firsts)]))
        for place in range(len(ASSUMPTIONS))
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
        "wrong passes": f"{100 * told.wrong:.2f}" if told.risk else "",
        "printed risk": f"{100 * told.printed_risk:.2f}" if told.risk else "",
    }
    is_held = "yes" if assumption.holds else "no"
    return {"assumption": assumption.name, "holds": is_held, "worlds": str(worlds)} | cells | passes


def draw_picture(rows: list[dict[str, str]]) -> None:
    """What U promises and what it kept: a point for each kind of result under each assumption."""
    from calib.faces.drawings import save_all
    from tests.coverage.picture import chart

    save_all([chart(rows)], PICTURE)


if __name__ == "__main__":
    rows = figures(int(sys.argv[1]))
    for row in rows:
        print(", ".join(f"{name} {cell}" for name, cell in row.items()))
        print(told(row))
    if "--write" in sys.argv:
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
        MANUAL.write_text(text, encoding="utf-8")
