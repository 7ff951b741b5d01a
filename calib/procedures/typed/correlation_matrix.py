"""Read a matrix of correlations as it was typed: a CSV file of numbers, a row and a column for each comparison of a phase."""

import csv
import io
from collections.abc import Iterator, Sequence

from calib.errors import Finding
from calib.procedures.typed.cells import correlation
from calib.procedures.typed.sheets import FileContent, TypedRow

_NAMES = ("tag", "certificate", "phase")


def read_correlations(
    file: FileContent, tag: str, certificate: str, phase: str, points: int
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of correlations.csv from the matrix of a phase with some points, and what is wrong with it, cell by cell."""
    if file.expected is not None:
        return [], [Finding(file.source, None, None, None, file.expected)]
    try:
        lines = [
            line for line in csv.reader(io.StringIO(file.content.decode("utf-8-sig"))) if any(map(str.strip, line))
        ]
    except (UnicodeDecodeError, csv.Error):
        return [], [Finding(file.source, None, None, None, "a CSV file of numbers, in UTF-8")]
    if len(lines) != points or any(len(line) != points for line in lines):
        expected = f"{points} rows of {points} correlations: one for each comparison {phase}"
        return [], [Finding(file.source, None, None, None, expected)]
    cells = [[cell.strip() for cell in line] for line in lines]
    findings = list(_findings(file.source, cells))
    named = dict(zip(_NAMES, (tag.strip(), certificate.strip(), phase), strict=True))
    rows = [
        TypedRow(
            file.source,
            i + 1,
            named | {"point": str(i + 1), "other_point": str(k + 1), "correlation": cells[i][k]},
            given=frozenset(_NAMES),
        )
        for i in range(points)
        for k in range(i + 1, points)
    ]
    return rows, findings


def _findings(source: str, cells: Sequence[Sequence[str]]) -> Iterator[Finding]:
    for i, line in enumerate(cells):
        for k, cell in enumerate(line):
            expected = correlation(cell)
            if expected is None and i == k and float(cell) != 1:
                expected = "1: each value with itself"
            elif expected is None and k < i and correlation(cells[k][i]) is None and float(cell) != float(cells[k][i]):
                expected = f"what stands in row {k + 1}, column {i + 1} ({cells[k][i]}): the matrix is symmetric"
            if expected is not None:
                yield Finding(source, i + 1, str(k + 1), cell, expected)
