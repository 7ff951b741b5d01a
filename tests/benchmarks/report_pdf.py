"""A report of 1,000 readings as PDF: two tables of 1,000 rows, of the flows and of their budgets, with links between them.

Run: python tests/benchmarks/report_pdf.py
Promise: within 3 s.
"""

import time

from machine import describe

from calib.faces.report.blocks import Cell, Heading, Layout, Mark, Run, Table, TableColumn, TableRow, Title, runs
from calib.faces.report.pdf import begin_pdf

READINGS = 1_000
FLOWS = ("Outlet", "Service", "Observed", "Instrument", "Velocity", "Flow", "k", "Design", "Tolerance", "% of design")
BUDGETS = (
    "Repeatability",
    "Resolution",
    "Scatter",
    "Reference",
    "Stability",
    "Density",
    "Dimension",
    "Factor",
    "Method",
    "u",
    "nu",
)


def flow(number: int) -> TableRow:
    """One row of the flows."""
    first = ("supply", "2026-10-14 09:12+01:00", "VA-11")
    figures = (
        f"{2 + number / 900:.3f} m/s",
        f"{400 + number} ± 44 m3/h",
        "2.00",
        "600 m3/h",
        "± 15 %",
        f"{80 + number / 40:.1f}",
    )
    statement = (Cell((Run("conditional pass", Mark.STATEMENT),)), Cell(runs("99.9 %")))
    named = Cell(runs(Run(f"S1-{number} reading room", to=f"budget-{number}")))
    return TableRow((named, *(Cell(runs(one)) for one in (*first, *figures)), *statement), anchor=f"flow-{number}")


def budget(number: int) -> TableRow:
    """One row of the budgets."""
    figures = tuple(Cell(runs(f"{number / (3 + place):.3g}")) for place in range(len(BUDGETS)))
    named = Cell(runs(Run(f"S1-{number} reading room", to=f"flow-{number}")))
    return TableRow((named, Cell(runs("m3/h")), *figures), anchor=f"budget-{number}")


def layout() -> Layout:
    """The report's blocks."""
    flows = tuple(TableColumn(one, is_number=number > 3, is_short=number == 1) for number, one in enumerate(FLOWS))
    flows = (*flows, TableColumn("Conformity", is_short=True), TableColumn("Probability", is_number=True))
    budgets = (
        TableColumn("Outlet"),
        TableColumn("Unit", is_short=True),
        *(TableColumn(one, is_number=True) for one in BUDGETS),
    )
    return Layout(
        "LM-27",
        "Air flows",
        revision=1,
        is_draft=False,
        issued="2026-10-14T18:00+01:00",
        ledger_digest="8e4d026a" * 8,
        blocks=(
            Title("Air flows", "Job LM-27"),
            Heading(2, "Measured flows"),
            Table("Flows", flows, tuple(flow(number) for number in range(READINGS))),
            Heading(2, "Budgets"),
            Table("Budgets", budgets, tuple(budget(number) for number in range(READINGS))),
        ),
    )


def main() -> None:
    """Print the time of the first and of a second making."""
    print(describe())
    laid_out = layout()
    for name in ("first", "again"):
        start = time.perf_counter()
        made = begin_pdf(laid_out, {}).result()
        print(f"{READINGS} readings, {name}: {time.perf_counter() - start:.2f} s, {len(made) / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
