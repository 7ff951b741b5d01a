"""Values with their uncertainties, and what they say against a design."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Floats, Truths
from calib.confirmation.conformity import (
    GuardBands,
    ToleranceIntervals,
    conformity,
    guard_bands,
    probability_of_conformity,
)
from calib.confirmation.risk import accepted, specific_risks
from calib.measurement import Flows
from calib.uncertainty.budget import Budget
from calib.uncertainty.convolution import coverage_of, error_parts_of
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.propagation import Combined, Contribution, combine
from calib.uncertainty.second_order import Product, SecondOrder, second_order_of


@dataclass(frozen=True)
class Results:
    """Values with their uncertainties; arrays (n,) in SI."""

    value: Floats
    combined: Combined
    coverage_factor: Floats
    coverage_probability: float
    degrees_of_freedom: Floats  # (n,) that k rests on, and with it every probability and risk; `combined` has the law's
    second_order: SecondOrder | None = None  # None: not asked for

    @cached_property
    def expanded_uncertainty(self) -> Floats:
        """U = k u_c."""
        return self.coverage_factor * self.combined.standard_uncertainty


def results(
    value: Floats,
    combined: Combined,
    coverage_probability: float = COVERAGE_PROBABILITY,
    contributions: Sequence[Contribution] = (),
    product: Product | None = None,
) -> Results:
    """Values with their coverage factors, by the law or by convolution (`calib.uncertainty.convolution`).

    `contributions` tell which of the parts of `combined` are rectangular, and which are made of several series; without them none
    is. `product` tells how the values
    are products, and with that where their intervals lie unsymmetrically (`calib.uncertainty.second_order`).
    """
    dof = combined.part_degrees_of_freedom
    known = np.full_like(combined.uncertainties, np.inf) if dof is None else dof
    parts = error_parts_of(combined.uncertainties, known, rectangular_of(contributions))
    for place, each in enumerate(contributions):
        if each.unlike is not None:
            parts = parts.split(place, each.unlike.share, each.unlike.degrees_of_freedom)
    coverage = coverage_of(parts, combined.degrees_of_freedom, coverage_probability)
    told = Results(value, combined, coverage.factor, coverage_probability, coverage.degrees_of_freedom)
    if product is None:
        return told
    expanded = told.expanded_uncertainty
    bent = second_order_of(product, value, expanded, combined.uncertainties, known, coverage_probability)
    return replace(told, second_order=bent)


def results_of(
    value: Floats, contributions: Sequence[Contribution], coverage_probability: float = COVERAGE_PROBABILITY
) -> Results:
    """Values with the uncertainties that their contributions make."""
    return results(value, combine(contributions), coverage_probability, contributions)


def results_of_flows(flows: Flows, coverage_probability: float = COVERAGE_PROBABILITY) -> Results:
    """Flows with the uncertainties that their contributions make, and what terms of second order make of them."""
    combined = combine(flows.contributions)
    return results(flows.flow, combined, coverage_probability, flows.contributions, flows.product)


def rectangular_of(contributions: Sequence[Contribution]) -> Truths | None:
    """(n, c) where a contribution is one rectangular part; None where there are no contributions."""
    if not contributions:
        return None
    size = contributions[0].source.size
    return np.column_stack([np.full(size, each.is_rectangular and each.parts.shape[1] == 1) for each in contributions])


def budget_of_result(
    contributions: Sequence[Contribution],
    combined: Combined,
    row: int,
    coverage_probability: float = COVERAGE_PROBABILITY,
) -> Budget:
    """The budget of one result."""
    known = rectangular_of(contributions)
    series = {place: each.unlike for place, each in enumerate(contributions) if each.unlike is not None}
    return Budget(
        tuple(each.name for each in contributions),
        combined.uncertainties[row],
        np.array([each.degrees_of_freedom[row] for each in contributions]),
        coverage_probability,
        None if known is None else known[row],
        {place: (each.share[row], each.degrees_of_freedom[row]) for place, each in series.items()},
    )


@dataclass(frozen=True)
class Judgement:
    """Conformity of n results with their designs; NaN and "" where there is none to judge by."""

    percent_of_design: Floats  # NaN where the design is 0: a net flow has no share of it
    statement: NDArray[np.str_]
    probability: Floats  # of conformity
    consumer_risk: Floats  # specific: accepted, and does not conform
    producer_risk: Floats  # specific: rejected, and conforms
    limits: ToleranceIntervals
    guard_bands: GuardBands


def judge_flows(results: Results, design: Floats, limits: ToleranceIntervals, rule: str) -> Judgement:
    """Judge results by the limits of their flows under a decision rule; NaN where there is no design or there are no limits."""
    has = np.isfinite(design) & ~np.isnan(limits.lower)
    u, dof = results.combined.standard_uncertainty[has], results.degrees_of_freedom[has]
    interval = limits.at(has)
    guards = guard_bands(
        results.expanded_uncertainty,
        results.coverage_factor,
        results.degrees_of_freedom,
        limits,
        rule,
        results.coverage_probability,
    )
    statement = np.full(design.size, "", dtype="U16")
    probability, consumer, producer = (np.full(design.size, np.nan) for _ in range(3))
    statement[has] = conformity(results.value[has], guards.width[has], interval, rule)
    probability[has] = probability_with_certainty(results.value[has], u, interval, dof)
    consumer[has], producer[has] = specific_risks(probability[has], accepted(statement[has]))
    percent = np.divide(100.0 * results.value, design, out=np.full(design.size, np.nan), where=design != 0)
    return Judgement(percent, statement, probability, consumer, producer, limits, guards)


def probability_with_certainty(value: Floats, u: Floats, interval: ToleranceIntervals, dof: Floats) -> Floats:
    """Probability of conformity, also where u = 0: then it is 1 inside and 0 outside."""
    uncertain = u > 0
    inside = (value >= interval.lower) & (value <= interval.upper)
    probability = probability_of_conformity(value, np.where(uncertain, u, 1.0), interval, dof)
    return np.where(uncertain, probability, inside.astype(float))
