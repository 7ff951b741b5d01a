"""One reading's budget, which contribution rules, and what would bring U down, as `calib budget` answers."""

import math

from calib.counted import count_of
from calib.faces.answers import reading as of_reading
from calib.faces.plain_text import one_line, table_text
from calib.faces.written import Content, coverage_percent_text, degrees_text, two_digits
from calib.procedures.measure.budget import budget_of
from calib.procedures.measure.distributions import LawAndDistributions
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.procedures.on_record.flow_unit import flow_unit
from calib.quantities import Unit
from calib.uncertainty.budget import Lever
from calib.uncertainty.estimate import relative_uncertainty_of_s
from calib.uncertainty.statement import round_uncertainty
from calib.uncertainty.validation import ENDS_WITHIN


def document(reading: ReadingInJob, wanted: str | None, units: str | None) -> Content:
    """The reading with its budget and its levers; `wanted` is an expanded uncertainty as typed."""
    judged = budget_of(reading, wanted)
    measured = reading.evaluation.measured[reading.row]
    in_unit = flow_unit(measured.outlet, units)
    answer = of_reading.document(reading, units)
    listed = {each["name"] for each in answer["contributions"]}
    dof = judged.budget.degrees_of_freedom[judged.budget.names.index("repeatability")]
    return answer | {
        "repeatability_uncertain_by_percent": 100.0 * relative_uncertainty_of_s(max(round(float(dof)), 1) + 1)
        if measured.indication.type_a and math.isfinite(dof)
        else None,
        "levers": [_lever_document(lever, in_unit) for lever in judged.levers if lever.name in listed],
        "dominant": judged.dominant,
        "wanted_expanded_uncertainty": None
        if judged.wanted is None
        else float(in_unit.difference_from_si(judged.wanted)),
        "observations_needed": judged.observations_needed,
    }


def ruling(reading: ReadingInJob, units: str | None) -> Content:
    """The contribution that rules the U of a reading, and what U would be if it were smaller."""
    in_unit = flow_unit(reading.evaluation.measured[reading.row].outlet, units)
    return _lever_document(budget_of(reading).levers[0], in_unit)


def _lever_document(lever: Lever, in_unit: Unit) -> Content:
    return {
        "name": lever.name,
        "variance_percent": lever.variance_percent,
        "expanded_uncertainty_if_halved": float(in_unit.difference_from_si(lever.if_halved)),
        "expanded_uncertainty_if_removed": float(in_unit.difference_from_si(lever.if_removed)),
    }


def monte_carlo(reading: ReadingInJob, both: LawAndDistributions, seed: int, units: str | None) -> Content:
    """Propagated distributions as a check of the interval that every face states, and of the law (JCGM 101 clause 8)."""
    in_unit = flow_unit(reading.evaluation.measured[reading.row].outlet, units)
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
        "cited_interval": ends(both.stated.low, both.stated.high),
        "low_end_off_by_percent_of_u": 100.0 * both.check.low,
        "high_end_off_by_percent_of_u": 100.0 * both.check.high,
        "allowed_percent_of_u": 100.0 * ENDS_WITHIN,
        "cited_interval_stands": both.check.stands,
        "u_too_small_by_percent": 100.0 * both.check.longer,
        "middle_above_by_percent_of_u": 100.0 * both.check.above,
        "heavy_tails": _heavy_tails(reading),
    }


def _heavy_tails(reading: ReadingInJob) -> list[str]:
    """Contributions whose t distribution has no standard deviation: two degrees of freedom or fewer."""
    flows, flow, row = reading.evaluation.flows, reading.evaluation.flow, reading.row
    assert flows is not None and flow is not None  # noqa: S101, PT018 (the reading stands)
    return [
        contribution.name
        for place, contribution in enumerate(flows.contributions)
        if contribution.degrees_of_freedom[row] <= 2 and flow.combined.uncertainties[row, place] > 0
    ]


def text(answer: Content) -> str:
    """The same for people."""
    parts = [*_budget_lines(answer), "", *_lever_lines(answer)]
    if "monte_carlo" in answer:
        parts += ["", *_monte_carlo_lines(answer["monte_carlo"], answer["flow"])]
    return "\n".join(parts)


def _monte_carlo_lines(simulated: Content, flow: Content) -> list[str]:
    digits = round_uncertainty(simulated["standard_uncertainty"], 3).as_tuple().exponent
    places = max(-int(digits), 0)

    def interval(name: str) -> str:
        low, high = simulated[name]
        return f"{low:.{places}f} to {high:.{places}f}"

    steady = "steady" if simulated["stabilised"] else "not steady to the digits asked for"
    return [
        (
            f"check by propagation of distributions, {simulated['trials']} trials, seed {simulated['seed']}, {steady} "
            f"[{simulated['unit']}]:"
        ),
        (
            f"  value {simulated['value']:.{places}f}, u = {two_digits(simulated['standard_uncertainty'])}, "
            f"k of the interval = {simulated['coverage_factor']:.2f}"
        ),
        f"  interval that is cited       {interval('cited_interval')}",
        f"  symmetric coverage interval  {interval('symmetric_interval')}",
        f"  shortest coverage interval   {interval('shortest_interval')}",
        *_verdict(simulated, flow),
        *(
            f"  {name}: two degrees of freedom or fewer, a distribution without standard deviation, so u may never settle"
            for name in simulated["heavy_tails"]
        ),
    ]


def _verdict(simulated: Content, flow: Content) -> list[str]:
    """What the check means for the one answer, in parts of its U; and how the law fares by the digits of clause 8."""
    beyond = simulated["d_low"], simulated["d_high"]
    return [
        f"  cite {flow['statement']}, as every answer states it",
        (
            f"  the distributions end {_off(simulated['low_end_off_by_percent_of_u'])} its lower end, and "
            f"{_off(simulated['high_end_off_by_percent_of_u'])} its upper end"
        ),
        *(f"  {line}" for line in _meaning(simulated, flow)),
        (
            f"  JCGM 101 clause 8: ends of value ± U off by {beyond[0]:.3g} and {beyond[1]:.3g}, tolerance "
            f"{simulated['numerical_tolerance']:.3g} (half of the last digit of u): "
            f"{'within' if simulated['law_validated'] else 'beyond'} it"
        ),
    ]


def _off(percent: float) -> str:
    return f"{abs(percent):.1f} % of U {'above' if percent >= 0 else 'below'}"


def _meaning(simulated: Content, flow: Content) -> list[str]:
    allowed = f"{simulated['allowed_percent_of_u']:.0f} % of U"
    if simulated["cited_interval_stands"]:
        return [f"within {allowed}: the check upholds U"]
    longer, above = simulated["u_too_small_by_percent"], simulated["middle_above_by_percent_of_u"]
    promised = coverage_percent_text(flow["coverage_probability"])
    less = "too small, and covers less than" if longer > 0 else "larger than needed, and covers more than"
    return [
        f"beyond {allowed}: U is {abs(longer):.1f} % {less} its {promised} %",
        f"and the middle of the distribution lies {_off(above)} that of the interval cited: say so with this flow",
    ]


def _observed(answer: Content) -> str:
    if answer["repeatability_is_pooled"]:
        return "all readings of the job with this instrument and method"
    return f"{answer['observations_counted']} observations"


def _lever_lines(answer: Content) -> list[str]:
    return [
        f"{answer['levers'][0]['name']} rules. What U would be with one contribution smaller [{answer['flow']['unit']}]:",
        table_text(("", "halved", "removed"), [lever_cells(each) for each in answer["levers"]], right=(1, 2)),
        *beside_levers(answer),
    ]


def beside_levers(answer: Content) -> list[str]:
    """What is to be said beside what would bring U down, and how many observations would bring it to what is wanted."""
    symbol = answer["flow"]["unit"]
    lines = []
    if answer["repeatability_uncertain_by_percent"] is not None and not answer["logged"]:
        lines.append(
            f"the repeatability comes from {_observed(answer)}: "
            f"it is itself uncertain by {answer['repeatability_uncertain_by_percent']:.0f} % (GUM Table E.1)"
        )
    if answer["logged"]:
        lines.append(
            f"the {answer['observations_counted']} logged values remember one another: "
            f"they count as {answer['effective_observations']:.0f} independent observations"
        )
    if answer["dominant"]:
        lines.append(
            f"{answer['dominant']} dominates and is rectangular: k of a normal distribution overstates U (EA-4/02 S9)"
        )
    if answer["wanted_expanded_uncertainty"] is not None:
        target = f"U = {two_digits(answer['wanted_expanded_uncertainty'])} {symbol}"
        count = answer["observations_needed"]
        told = (
            f"{count} observations would bring it"
            if count
            else "no number of observations brings it: another contribution must fall"
        )
        lines.append(f"{target}: {told}")
    return lines


def lever_cells(lever: Content) -> tuple[str, str, str]:
    """The name of a contribution, U with it halved, and without it."""
    smaller = (lever["expanded_uncertainty_if_halved"], lever["expanded_uncertainty_if_removed"])
    return lever["name"], two_digits(smaller[0]), two_digits(smaller[1])


def rests_on_lines(answer: Content) -> list[str]:
    """Velocity, traverse and air of a reading, where it has them."""
    lines = []
    traverse, air, velocity = answer["traverse"], answer["conditions"], answer["velocity"]
    if traverse:
        passes = count_of(traverse["passes"], "pass", "passes")
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
    return lines + [f"  {flag}" for flag in answer["flags"]]


def _beside(interval: Content | None) -> list[str]:
    """How far an interval lies beside its value."""
    if interval is None:
        return []
    where = "above" if interval["by"] > 0 else "below"
    return [f"  the middle of the interval lies {abs(interval['by']):.0f} % of U {where} the value"]


def contribution_cells(contribution: Content) -> tuple[str, ...]:
    """A contribution as a row of the budget."""
    dof = contribution["degrees_of_freedom"]
    return (
        contribution["name"],
        contribution["evaluation"],
        two_digits(contribution["standard_uncertainty"]),
        f"{contribution['variance_percent']:.1f}",
        "inf" if dof is None else f"{dof:.3g}",
        contribution["shared_with"],
    )


def combined_cells(flow: Content) -> tuple[str, ...]:
    """What the contributions make together, as the last row of the budget."""
    dof = flow["effective_degrees_of_freedom"]
    said = f"k = {flow['coverage_factor']:.2f}, U = {two_digits(flow['expanded_uncertainty'])}"
    return (
        "combined",
        "",
        two_digits(flow["standard_uncertainty"]),
        "100.0",
        "inf" if dof is None else degrees_text(dof),
        said,
    )


def _budget_lines(answer: Content) -> list[str]:
    flow = answer["flow"]
    lines = [
        (
            f"reading {answer['reading']}: {answer['outlet']}, {answer['system']} {answer['service']}, {answer['instrument']} "
            f"(certificate {answer['certificate']}), {answer['observed_at']}"
        ),
        *rests_on_lines(answer),
        f"flow {flow['statement']} ({coverage_percent_text(flow['coverage_probability'])} %)",
        *_beside(flow["interval"]),
        "",
        table_text(
            headings(flow), [*map(contribution_cells, answer["contributions"]), combined_cells(flow)], right=(2, 3, 4)
        ),
    ]
    return lines + bases(answer)


def headings(flow: Content) -> tuple[str, ...]:
    """Of the columns of the budget."""
    return ("contribution", "type", f"u [{flow['unit']}]", "share %", "dof", "shared with")


def bases(answer: Content) -> list[str]:
    """What contributions that were decided rest on."""
    return [f"{each['name']}: {one_line(each['basis'])}" for each in answer["contributions"] if "basis" in each]
