"""ILAC-G8:09/2019, clause 4: guard bands with the risk they bound, and the decisions of the three rules.

Source: reference_data/ilac_g8. Guard bands: class B, bounds partly from memory, recomputed. Decisions: class D, built
from the wording of the rules, their probabilities computed independently. A result on a limit is accepted.
"""

import numpy as np
import pytest

from calib.confirmation.conformity import ToleranceIntervals, conformity, probability_of_conformity
from tests.reference import agrees, rows

DECISIONS = rows("ilac_g8", "decisions")
WITH_PROBABILITY = [row for row in DECISIONS if row["probability of conformity"]]


def column(text):
    return np.array([float(text)])


def between(row):
    return ToleranceIntervals(column(row["lower"]), column(row["upper"]))


@pytest.mark.parametrize("row", rows("ilac_g8", "guard_bands"), ids=lambda row: row["rule"])
def test_a_result_on_the_acceptance_limit_bears_no_more_than_the_stated_risk(row):
    # U = 2 u = 1; the acceptance limit lies r U inside the upper tolerance limit 0, or outside it where r is negative.
    at_limit = column(row["r"]) * -1.0
    conforms = probability_of_conformity(at_limit, column("0.5"), ToleranceIntervals(column("-inf"), column("0")))[0]
    risk = conforms if row["bounded risk"] == "false reject" else 1.0 - conforms
    # Simple acceptance promises less than 50 % and reaches 50 % on the limit itself.
    assert risk <= float(row["bound"]) + 1e-15


@pytest.mark.parametrize("row", DECISIONS, ids=lambda row: row["value"])
@pytest.mark.parametrize("rule", ["simple", "guarded", "guarded non-binary"])
def test_the_statement_is_that_of_the_rule(row, rule):
    assert conformity(column(row["value"]), column(row["U"]), between(row), rule)[0] == row[rule]


@pytest.mark.parametrize("row", WITH_PROBABILITY, ids=lambda row: row["value"])
def test_the_probability_of_conformity_stands_beside_the_statement(row):
    found = probability_of_conformity(column(row["value"]), column(row["U"]) / 2, between(row))[0]
    assert agrees(found, row["probability of conformity"])
