"""ILAC-G8:09/2019, clause 4.2: the decisions of the three rules, read as errors within a maximum permissible error.

Source: reference_data/ilac_g8/decisions.csv, class D: an interval from L to U is one of errors, value - middle, with limits
+-(U - L)/2.
"""

import numpy as np
import pytest

from calib.confirmation.acceptance import ComparedErrors, judge_errors
from tests.reference import agrees, rows

DECISIONS = rows("ilac_g8", "decisions")


def judged(row, rule):
    lower, upper, value, U = (float(row[name]) for name in ("lower", "upper", "value", "U"))
    error, limit = value - (lower + upper) / 2, (upper - lower) / 2
    return judge_errors(ComparedErrors(*(np.array([one]) for one in (error, U / 2, 2.0, limit))), rule)


@pytest.mark.parametrize("row", DECISIONS, ids=lambda row: row["value"])
@pytest.mark.parametrize("rule", ["simple", "guarded", "guarded non-binary"])
def test_the_statement_is_that_of_the_rule(row, rule):
    assert judged(row, rule).statement[0] == row[rule]


@pytest.mark.parametrize(
    "row", [row for row in DECISIONS if row["probability of conformity"]], ids=lambda row: row["value"]
)
def test_the_probability_of_conformity_stands_beside_the_statement(row):
    assert agrees(judged(row, "simple").probability[0], row["probability of conformity"])
