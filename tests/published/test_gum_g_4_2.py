"""JCGM 100:2008 (GUM), G.4.2, with the uses in H.1.6: degrees of freedom of an uncertainty that is judged.

Source: reference_data/gum_small, class C: from memory, recomputed. The values are exact: closer than half a unit.
"""

import pytest

from calib.uncertainty.estimate import degrees_of_freedom_of
from tests.reference import rows


@pytest.mark.parametrize("row", rows("gum_small", "clause_g_4_2"), ids=lambda row: row["nu"])
def test_degrees_of_freedom_of_an_uncertainty_reliable_to_a_fraction(row):
    reliability = float(row["relative uncertainty of u"])
    assert degrees_of_freedom_of(reliability) == pytest.approx(float(row["nu"]), rel=1e-14)
