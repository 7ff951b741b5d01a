"""The budget's answers: which contribution rules, what would bring U down."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import calib.uncertainty.budget
from calib.errors import CalibError
from calib.uncertainty.budget import Budget, Repeatability, dominant, levers, observations_needed

INFINITE = math.inf


def budget(*lines):
    """Lines of (name, u, degrees of freedom)."""
    names, uncertainties, degrees = zip(*lines, strict=True)
    return Budget(names, np.array(uncertainties, dtype=float), np.array(degrees, dtype=float))


PYTHAGOREAN = budget(("repeatability", 3.0, INFINITE), ("method", 4.0, INFINITE))


def test_the_ruling_contribution_comes_first_with_its_share():
    first, second = levers(PYTHAGOREAN)
    assert (first.name, second.name) == ("method", "repeatability")
    assert first.variance_percent == pytest.approx(64.0)  # 16 of 25
    assert second.variance_percent == pytest.approx(36.0)


def test_the_shares_are_the_same_in_a_smaller_unit():
    small = levers(budget(("repeatability", 0.003, INFINITE), ("method", 0.004, INFINITE)))
    assert [each.variance_percent for each in small] == pytest.approx([64.0, 36.0])


def test_a_removed_contribution_leaves_the_others():
    first, second = levers(PYTHAGOREAN)
    assert first.if_removed == pytest.approx(2 * 3.0)  # k = 2 for infinite degrees of freedom
    assert second.if_removed == pytest.approx(2 * 4.0)


def test_a_halved_contribution_keeps_a_quarter_of_its_variance():
    assert levers(PYTHAGOREAN)[0].if_halved == pytest.approx(2 * math.sqrt(9.0 + 4.0))


def test_a_budget_of_nothing_has_no_ruler():
    assert {one.variance_percent for one in levers(budget(("method", 0.0, INFINITE)))} == {0.0}


def test_declared_repeatability_falls_with_the_square_root_of_the_observations():
    # 2 sqrt(6^2/n + 4^2) <= 10 where 36/n <= 9: n = 4.
    assert observations_needed(PYTHAGOREAN, 0, Repeatability(6.0, type_a=False), 10.0) == 4


def test_observed_repeatability_needs_more_for_its_own_degrees_of_freedom():
    own = budget(("repeatability", 6.0, 1.0), ("method", 4.0, INFINITE))
    declared = observations_needed(own, 0, Repeatability(6.0, type_a=False), 9.0)
    observed = observations_needed(own, 0, Repeatability(6.0, type_a=True), 9.0)
    assert observed > declared


@pytest.mark.parametrize(("needed", "answer"), [(1_000_000, 1_000_000), (1_000_001, None)])
def test_beyond_a_million_observations_no_number_is_an_answer(needed, answer):
    """2 x 1/sqrt(n), known exactly."""
    alone = budget(("repeatability", 1.0, INFINITE))
    assert observations_needed(alone, 0, Repeatability(1.0, type_a=False), 2.0 / math.sqrt(needed)) == answer


def test_two_series_in_one_line_reach_farther_than_one_t_with_their_degrees_of_freedom_does():
    """Two t of one degree of freedom alike: half-widths by draws, 400,000 of seed 1, of which the end is known to 1 %."""
    two = Budget(
        ("repeatability", "method"),
        np.array([1.0, 4.0]),
        np.array([2.0, INFINITE]),
        unlike={0: (np.array([0.5, 0.5]), np.array([1.0, 1.0]))},
    )
    generator = np.random.default_rng(1)
    of_series = math.sqrt(0.5) * generator.standard_t(1.0, (2, 400_000)).sum(axis=0)
    drawn = np.abs(of_series + 4.0 * generator.standard_normal(400_000))
    assert two.expanded_uncertainty == pytest.approx(np.quantile(drawn, 0.9545), rel=0.02)
    as_one = Budget(two.names, two.uncertainties, two.degrees_of_freedom)
    assert two.with_contribution(0, 1.0, 2.0).expanded_uncertainty == pytest.approx(
        as_one.expanded_uncertainty, rel=1e-12
    )
    assert two.with_contribution(1, 4.0, INFINITE).expanded_uncertainty == two.expanded_uncertainty
    assert two.expanded_uncertainty > 1.2 * as_one.expanded_uncertainty


def test_no_number_of_observations_beats_the_other_contributions():
    assert observations_needed(PYTHAGOREAN, 0, Repeatability(3.0, type_a=False), 7.9) is None  # 2 x 4 remain


@pytest.mark.parametrize("wanted", [0.0, -1.0, math.nan, math.inf])
def test_a_wanted_uncertainty_that_is_none_is_refused(wanted):
    with pytest.raises(CalibError, match="above 0"):
        observations_needed(PYTHAGOREAN, 0, Repeatability(3.0, type_a=False), wanted)


@given(st.floats(0.1, 20.0), st.floats(0.0, 20.0), st.floats(0.5, 60.0), st.booleans())
def test_the_number_of_observations_is_the_fewest_that_reach_the_wanted_uncertainty(of_one, rest, wanted, type_a):
    own = budget(("repeatability", of_one, INFINITE), ("method", rest, INFINITE))
    number = observations_needed(own, 0, Repeatability(of_one, type_a), wanted)

    def reached(n):
        degrees = n - 1.0 if type_a else INFINITE
        return own.with_contribution(0, of_one / math.sqrt(n), degrees).expanded_uncertainty <= wanted * (1 + 1e-9)

    if number is None:
        assert not reached(1_000_000)
    else:
        assert reached(number)
        assert number == (2 if type_a else 1) or not reached(number - 1)


def test_a_wanted_uncertainty_that_is_met_to_the_bit_is_reached(monkeypatch):
    """By nine observations of 3, of which the mean has 1."""
    monkeypatch.setattr(calib.uncertainty.budget, "_ON_THE_MARK", 1.0)
    wanted = PYTHAGOREAN.with_contribution(0, 1.0, INFINITE).expanded_uncertainty
    assert observations_needed(PYTHAGOREAN, 0, Repeatability(3.0, type_a=False), wanted) == 9


def test_n_observations_that_tell_their_own_scatter_have_n_less_1_degrees_of_freedom():
    for number in (3, 5, 12):
        wanted = PYTHAGOREAN.with_contribution(0, 3.0 / math.sqrt(number), number - 1.0).expanded_uncertainty
        assert observations_needed(PYTHAGOREAN, 0, Repeatability(3.0, type_a=True), wanted) == number


@pytest.mark.parametrize(
    ("rectangular", "rest", "found"),
    [
        (1.0, 0.3, "resolution"),  # EA-4/02 S9.14: others together no more than 0.3 of it
        (1.0, 0.31, None),
        (0.1, 1.0, None),
        (5.0, 1.4, "resolution"),  # whatever the unit
        (5.0, 1.6, None),
    ],
)
def test_a_rectangular_contribution_dominates_from_the_ratio_that_is_published(rectangular, rest, found):
    assert dominant(("resolution", "method"), np.array([rectangular, rest]), ("resolution",)) == found


def test_a_ratio_on_the_mark_itself_dominates(monkeypatch):
    """3 of 4, which floats hold exactly, as their squares and the root of the difference."""
    monkeypatch.setattr(calib.uncertainty.budget, "_DOMINANT", 0.75)
    monkeypatch.setattr(calib.uncertainty.budget, "_ON_THE_MARK", 1.0)
    assert dominant(("resolution", "method"), np.array([4.0, 3.0]), ("resolution",)) == "resolution"


def test_a_normal_contribution_dominates_without_changing_the_shape():
    assert dominant(("resolution", "method"), np.array([0.0, 1.0]), ("resolution",)) is None


def test_where_nothing_is_uncertain_nothing_dominates():
    assert dominant(("resolution", "method"), np.zeros(2), ("resolution", "method")) is None
