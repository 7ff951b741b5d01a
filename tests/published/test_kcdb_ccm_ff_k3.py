"""BIPM KCDB, CCM.FF-K3.2011: nine laboratories' air speed at 0.5 m/s, and E_n of each against the comparison's reference value.

Source: reference_data/kcdb_ccm_ff_k3, class A; the ratios class D. U of a degree of equivalence is that of the difference, with
what laboratory and reference value share: E_n is D/U, and the reference value, which D is counted from, brings no U of its own.
"""

import pytest

from calib.confirmation.normalised_error import LIMIT, agreement
from tests.reference import agrees, rows

ROWS = rows("kcdb_ccm_ff_k3", "degrees_of_equivalence")


def judged(row):
    return agreement(float(row["D"]), float(row["U (k = 2)"]), 0.0, 0.0)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["laboratory"])
def test_the_normalised_error_is_the_degree_of_equivalence_over_its_uncertainty(row):
    found = judged(row)
    assert agrees(abs(found.normalised_error), row["|D|/U"])
    assert (found.normalised_error < 0) == row["D"].startswith("-")


def test_eight_of_nine_laboratories_agree_with_the_reference_value():
    assert [row["laboratory"] for row in ROWS if abs(judged(row).normalised_error) > LIMIT] == ["E+E"]
    assert not any(judged(row).caution for row in ROWS)
