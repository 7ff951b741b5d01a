"""JCGM 100:2008 (GUM), 7.2.6: rounding of a result and its uncertainty.

Source: reference_data/gum_small, class C: from memory, recomputed. Rounding is what is tested: the texts must be equal.
"""

import pytest

from calib.uncertainty.statement import round_result, round_uncertainty
from tests.reference import rows

EXAMPLES = rows("gum_small", "clause_7_2_6")
WITH_VALUE = [row for row in EXAMPLES if row["value"]]


@pytest.mark.parametrize("row", EXAMPLES, ids=lambda row: row["uncertainty"])
def test_the_uncertainty_is_rounded_as_printed(row):
    rounded = round_uncertainty(float(row["uncertainty"]), rounding=row["rounding"])
    assert str(rounded) == row["printed uncertainty"]


@pytest.mark.parametrize("row", WITH_VALUE, ids=lambda row: row["value"])
def test_the_value_is_rounded_to_the_place_of_its_uncertainty(row):
    rounded = round_result(float(row["value"]), float(row["uncertainty"]), rounding=row["rounding"])
    assert str(rounded.value) == row["printed value"]
