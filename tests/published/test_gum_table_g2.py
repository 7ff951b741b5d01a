"""JCGM 100:2008 (GUM), Table G.2: t_p(nu).

Source: reference_data/gum_table_g2, class C: from memory, recomputed. The headings 68.27, 95.45 and 99.73 % mean
exactly 1, 2 and 3 standard deviations. Left out: nu = 35, p = 90 %, where the value recalled (1.70) differs from t =
1.6896 and was not confirmed.
"""

from decimal import Decimal

from calib.uncertainty.coverage import coverage_factor
from tests.reference import agrees, rows

PRINTED = [
    (row["nu"], percent, text)
    for row in rows("gum_table_g2", "table_g2")
    for percent, text in row.items()
    if percent != "nu" and text
]


def test_every_cell_but_one_is_checked():
    assert len(PRINTED) == 28 * 6 - 1


def test_t_is_the_printed_one():
    found = [(cell, coverage_factor(float(cell[0]), float(Decimal(cell[1]) / 100))) for cell in PRINTED]
    assert [(cell, k) for cell, k in found if not agrees(k, cell[2])] == []
