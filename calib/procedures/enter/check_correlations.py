"""What the correlations that certificates state must hold together: every two points of a phase, and a matrix that can be."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from calib.errors import Finding
from calib.procedures.certificate.fit_curve import correlation_matrix
from calib.procedures.enter.check_certificates import by_certificate, certificate_of
from calib.procedures.typed.rows_together import KnownNames
from calib.procedures.typed.sheets import TypedRow

_ROUNDING = 1e-10  # of an eigenvalue, for each point
_MOST_NAMED = 5  # pairs that are named one by one


def correlation_findings(named: KnownNames) -> Iterator[Finding]:
    """All findings on correlations.csv, row by row and certificate by certificate."""
    rows = named.sheets["correlations.csv"]
    if not rows:
        return
    comparisons = by_certificate(named.sheets["comparisons.csv"])
    phases: dict[tuple[str | None, str | None, str | None], list[TypedRow]] = defaultdict(list)
    for row in rows:
        yield from named.unknown(row, "correlations.csv", "tag", "certificate")
        phases[(*certificate_of(row), row.get("phase"))].append(row)
    for (tag, certificate, phase), those in phases.items():
        own = comparisons[tag, certificate]
        if any(row.bad for row in (*those, *own)) or None in (tag, certificate, phase):
            continue
        points = sum(row.get("phase") == phase for row in own)
        wrong = list(_pairs(those, points))
        yield from wrong or _matrix(those, points)


def _pairs(rows: Sequence[TypedRow], points: int) -> Iterator[Finding]:
    """Two points each, that are there, each pair once and none left out."""
    there = set()
    for row in rows:
        pair = (int(row.cells["point"]), int(row.cells["other_point"]))
        if pair[1] > points:
            yield row.finding(
                "other_point", f"one of the {points} comparisons {row.cells['phase']} of this certificate"
            )
        elif pair[0] >= pair[1]:
            yield row.finding("other_point", f"a number above point ({pair[0]})")
        elif pair in there:
            yield row.finding("other_point", f"each two points once; {pair[0]} and {pair[1]} stand there already")
        there.add(pair)
    missing = [f"{i} and {k}" for i, k in combinations(range(1, points + 1), 2) if (i, k) not in there]
    if missing and not any(row.bad for row in rows):
        more = "" if len(missing) <= _MOST_NAMED else f" and {len(missing) - _MOST_NAMED} more"
        listed = ", ".join(missing[:_MOST_NAMED])
        yield rows[0].finding("other_point", f"the correlation of every two points: there is none of {listed}{more}")


def _matrix(rows: Sequence[TypedRow], points: int) -> Iterator[Finding]:
    values, vectors = np.linalg.eigh(correlation_matrix([row.cells for row in rows], points))
    if values[0] < -_ROUNDING * points:
        parts = np.abs(vectors[:, 0])
        named = ", ".join(str(k + 1) for k in np.flatnonzero(parts > 0.3 * parts.max()))
        expected = (
            f"correlations that can be together: their matrix is not positive semi-definite (its lowest eigenvalue is "
            f"{values[0]:.2g}); see those of points {named}"
        )
        yield rows[0].finding("correlation", expected)
