"""Answers of the commands: as documents for machines, as text for people."""

from typing import TYPE_CHECKING

from calib.faces.answers.reading import flow_unit, reading
from calib.faces.plain_text import one_line
from calib.faces.written import Content, two_digits
from calib.procedures.measure.budget import budget_of
from calib.procedures.measure.distributions import LawAndDistributions
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.uncertainty.estimate import relative_uncertainty_of_s
from calib.uncertainty.statement import round_uncertainty

if TYPE_CHECKING:
    pass


def budget(found: ReadingInJob, wanted: str | None, units: str | None) -> Content:
    """One reading with its budget, which contribution rules, and what would bring U down."""
    answer = budget_of(found, wanted)
    in_unit = flow_unit(found.evaluation.measured[found.row].outlet, units)
    seen = found.evaluation.measured[found.row].indication
    document = reading(found, units)
    listed = {each["name"] for each in document["contributions"]}
    return document | {
        "repeatability_uncertain_by_percent": 100.0 * relative_uncertainty_of_s(seen.observations)
        if seen.type_a
        else None,
        "levers": [
            {
                "name": one.name,
                "variance_percent": one.variance_percent,
                "expanded_uncertainty_if_halved": float(in_unit.difference_from_si(one.if_halved)),
                "expanded_uncertainty_if_removed": float(in_unit.difference_from_si(one.if_removed)),
            }
            for one in answer.levers
            if one.name in listed
        ],
        "dominant": answer.dominant,
        "wanted_expanded_uncertainty": None
        if answer.wanted is None
        else float(in_unit.difference_from_si(answer.wanted)),
        "observations_needed": answer.observations_needed,
    }


def monte_carlo(found: ReadingInJob, both: LawAndDistributions, seed: int, units: str | None) -> Content:
    """Propagation of distributions beside the law, and whether the law is good enough (JCGM 101 clause 8)."""
    in_unit = flow_unit(found.evaluation.measured[found.row].outlet, units)
    simulated, judged = both.simulated, both.validation

    def ends(low: float, high: float) -> list[float]:
        return [float(in_unit.from_si(low)), float(in_unit.from_si(high))]

    return {
        "unit": in_unit.symbol,
        "seed": seed,
        "trials": simulated.trials,
        "stabilised": simulated.stabilised,
        "value": float(in_unit.from_si(simulated.value)),
        "standard_uncertainty": float(in_unit.difference_from_si(simulated.standard_uncertainty)),
        "coverage_probability": simulated.coverage_probability,
        "coverage_factor": simulated.symmetric_interval.coverage_factor(simulated.standard_uncertainty),
        "symmetric_interval": ends(simulated.symmetric_interval.low, simulated.symmetric_interval.high),
        "shortest_interval": ends(simulated.shortest_interval.low, simulated.shortest_interval.high),
        "law_interval": ends(both.value - both.expanded_uncertainty, both.value + both.expanded_uncertainty),
        "d_low": float(in_unit.difference_from_si(judged.d_low)),
        "d_high": float(in_unit.difference_from_si(judged.d_high)),
        "numerical_tolerance": float(in_unit.difference_from_si(judged.delta)),
        "law_validated": judged.validated,
        "heavy_tails": _heavy_tails(found),
    }


def _heavy_tails(found: ReadingInJob) -> list[str]:
    """Contributions whose t distribution has no standard deviation: two degrees of freedom or fewer."""
    flows, flow, row = found.evaluation.flows, found.evaluation.flow, found.row
    assert flows is not None and flow is not None  # noqa: S101, PT018 (the reading stands)
    return [
        one.name
        for number, one in enumerate(flows.contributions)
        if one.degrees_of_freedom[row] <= 2 and flow.combined.uncertainties[row, number] > 0
    ]


def budget_text(one: Content) -> str:
    """The same for people."""
    parts = [*_budget_lines(one), "", *_lever_lines(one)]
    if "monte_carlo" in one:
        parts += ["", *_monte_carlo_lines(one["monte_carlo"])]
    return "\n".join(parts)


def _monte_carlo_lines(one: Content) -> list[str]:
    digits = round_uncertainty(one["standard_uncertainty"], 3).as_tuple().exponent
    places = max(-int(digits), 0)

    def interval(name: str) -> str:
        low, high = one[name]
        return f"{low:.{places}f} to {high:.{places}f}"

    verdict = "the law is good enough"
    if not one["law_validated"]:
        verdict = "the law is not good enough: cite the interval of the distributions"
    steady = "steady" if one["stabilised"] else "not steady to the digits asked for"
    return [
        f"propagation of distributions, {one['trials']} trials, seed {one['seed']}, {steady} [{one['unit']}]:",
        (
            f"  value {one['value']:.{places}f}, u = {two_digits(one['standard_uncertainty'])}, "
            f"k of the interval = {one['coverage_factor']:.2f}"
        ),
        f"  interval of the law          {interval('law_interval')}",
        f"  symmetric coverage interval  {interval('symmetric_interval')}",
        f"  shortest coverage interval   {interval('shortest_interval')}",
        f"  ends differ by {one['d_low']:.2g} and {one['d_high']:.2g}, tolerance {one['numerical_tolerance']:.2g}",
        f"  {verdict} (JCGM 101 clause 8)",
        *(
            f"  {name}: two degrees of freedom or fewer, a distribution without standard deviation, so u may never settle"
            for name in one["heavy_tails"]
        ),
    ]


def _lever_lines(one: Content) -> list[str]:
    symbol = one["flow"]["unit"]
    lines = [
        f"{one['levers'][0]['name']} rules. What U would be with one contribution smaller [{symbol}]:",
        f"{'':20} {'halved':>10} {'removed':>10}",
    ]
    lines += [
        f"{each['name']:20} {two_digits(each['expanded_uncertainty_if_halved']):>10} "
        f"{two_digits(each['expanded_uncertainty_if_removed']):>10}"
        for each in one["levers"]
    ]
    if one["repeatability_uncertain_by_percent"] is not None and not one["logged"]:
        lines.append(
            f"the repeatability comes from {one['observations_counted']} observations: "
            f"it is itself uncertain by {one['repeatability_uncertain_by_percent']:.0f} % (GUM Table E.1)"
        )
    if one["logged"]:
        lines.append(
            f"the {one['observations_counted']} logged values remember one another: "
            f"they count as {one['effective_observations']:.0f} independent observations"
        )
    if one["dominant"]:
        lines.append(
            f"{one['dominant']} dominates and is rectangular: k of a normal distribution overstates U (EA-4/02 S9)"
        )
    if one["wanted_expanded_uncertainty"] is not None:
        target = f"U = {two_digits(one['wanted_expanded_uncertainty'])} {symbol}"
        number = one["observations_needed"]
        told = (
            f"{number} observations would bring it"
            if number
            else "no number of observations brings it: another contribution must fall"
        )
        lines.append(f"{target}: {told}")
    return lines


def _rests_on(one: Content) -> list[str]:
    """Velocity, traverse and air of a reading, where it has them."""
    lines = []
    traverse, air, velocity = one["traverse"], one["conditions"], one["velocity"]
    if traverse:
        passes = "1 pass" if traverse["passes"] == 1 else f"{traverse['passes']} passes"
        lines.append(f"traverse, {traverse['rule']}, {traverse['lines']} x {traverse['points']} points, {passes}")
        lines += [f"  profile: {finding}" for finding in traverse["profile"]["findings"]]
    if air:
        density = air["density"]
        lines.append(
            f"air: {air['name']}, density {density['value']:.4f} kg/m3, u = {two_digits(density['standard_uncertainty'])}"
        )
    if velocity:
        u = two_digits(velocity["standard_uncertainty"])
        lines.append(f"velocity {velocity['value']:.5g} {velocity['unit']}, u = {u}")
    return lines + [f"  {flag}" for flag in one["flags"]]


def _budget_lines(one: Content) -> list[str]:
    flow = one["flow"]
    dof = flow["effective_degrees_of_freedom"]
    lines = [
        (
            f"reading {one['reading']}: {one['outlet']}, {one['system']} {one['service']}, {one['instrument']} "
            f"(certificate {one['certificate']}), {one['observed_at']}"
        ),
        *_rests_on(one),
        f"flow {flow['statement']} ({100 * flow['coverage_probability']:.2f} %)",
        "",
        f"{'contribution':20} {'type':4} {'u [' + flow['unit'] + ']':>12} {'share %':>8} {'dof':>6}  shared with",
    ]
    for each in one["contributions"]:
        own = each["degrees_of_freedom"]
        lines.append(
            f"{each['name']:20} {each['evaluation']:4} {two_digits(each['standard_uncertainty']):>12} "
            f"{each['variance_percent']:8.1f} "
            f"{'inf' if own is None else f'{own:.3g}':>6}  {each['shared_with']}"
        )
    lines.append(
        f"{'combined':20} {'':4} {two_digits(flow['standard_uncertainty']):>12} {100:8.1f} "
        f"{'inf' if dof is None else f'{dof:.0f}':>6}  "
        f"k = {flow['coverage_factor']:.2f}, U = {two_digits(flow['expanded_uncertainty'])}"
    )
    return lines + [f"{each['name']}: {one_line(each['basis'])}" for each in one["contributions"] if "basis" in each]
