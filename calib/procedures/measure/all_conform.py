"""Probability that all outlets of a system, or of a job, conform at once: from the joint distribution of their flows.

Decision (2026-11-29): where it is not known how far readings share an influence, it is worked out with one error for all of a group
and with an error for each, and the smaller of both counts; both are given. Options: the common answer alone, as for a sum of one
sign (for a joint probability it may be the larger one: errors in common let outlets near one limit pass together). Cost: a
sharing between the two is not looked at; it may lie a little below both.
"""

from dataclasses import dataclass

import numpy as np

from calib.arrays import Integers
from calib.confirmation.conformity import ToleranceIntervals
from calib.confirmation.joint_conformity import JointProbability, probability_of_all, standard_limits
from calib.procedures.measure.evaluate import Evaluation
from calib.uncertainty.common_factors import common_factors


@dataclass(frozen=True)
class AllConform:
    """Probability that the outlets which are judged conform at once [1]."""

    if_common: JointProbability  # were what is not known to be shared one error for all of a group
    if_independent: JointProbability  # were it an error for each

    @property
    def counts(self) -> JointProbability:
        """The smaller of both: what is not known is never resolved in favour of the job."""
        return min(self.if_common, self.if_independent, key=lambda answer: answer.probability)


def all_conform(evaluation: Evaluation, rows: Integers) -> AllConform:
    """The joint probability of some readings that are judged."""
    assert evaluation.in_design_state is not None and evaluation.judgement is not None  # noqa: S101, PT018 (asked before)
    flow, limits = evaluation.in_design_state, evaluation.judgement.limits.at(rows)
    combined = flow.combined
    u = combined.standard_uncertainty[rows]
    if not np.all(u > 0):
        return _with_certainty(evaluation, rows)
    scaled = standard_limits(flow.value[rows], u, flow.degrees_of_freedom[rows], limits)
    independent = _joint(evaluation, rows, scaled, 0.0)
    return AllConform(_joint(evaluation, rows, scaled, 1.0), independent)


def _joint(evaluation: Evaluation, rows: Integers, limits: ToleranceIntervals, if_not_known: float) -> JointProbability:
    assert evaluation.compared is not None  # noqa: S101 (asked before)
    factors = common_factors(evaluation.compared.of_designs.contributions, rows, if_not_known)
    whole = np.sqrt(np.sum(factors.loadings**2, axis=1) + factors.own**2)
    return probability_of_all(limits, factors.loadings / whole[:, np.newaxis], factors.own / whole)


def _with_certainty(evaluation: Evaluation, rows: Integers) -> AllConform:
    """Where flows are known exactly, those conform or do not; the others are left."""
    assert evaluation.in_design_state is not None and evaluation.judgement is not None  # noqa: S101, PT018 (asked before)
    exact = evaluation.in_design_state.combined.standard_uncertainty[rows] == 0
    if np.all(evaluation.judgement.probability[rows][exact] == 1) and not np.all(exact):
        return all_conform(evaluation, rows[~exact])
    certain = JointProbability(float(np.all(evaluation.judgement.probability[rows][exact] == 1)), 0.0)
    return AllConform(certain, certain)
