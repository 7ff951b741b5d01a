"""A method beside traverses of the same flows, as `calib method compare` answers."""

from datetime import date

from calib.faces.plain_text import command_text, table_text
from calib.faces.written import Content, two_digits
from calib.procedures.factors.compare_method import MethodCompared
from calib.procedures.on_record.flow_unit import flow_unit
from calib.procedures.pairs.paired_readings import Paired, flow, measured

_PAIRS = (
    "pair", "duct", "outlet", "instrument", "observed", "q traverse", "q method", "", "d [%]", "explained [%]",
)  # fmt: skip


def document(compared: MethodCompared, on: date, units: str | None) -> Content:
    """Bias, scatter, what the budgets explain of it, and the standard uncertainty that the pairs propose."""
    method, comparison = compared.method, compared.comparison
    differences = zip(compared.pairs, comparison.differences, compared.explained, strict=True)
    return {
        "method": method.method,
        "declared_standard_uncertainty_percent": method.declared_percent,
        "declared_degrees_of_freedom": method.degrees_of_freedom,
        "basis": method.basis,
        "number": comparison.count,
        "pairs": [_pair(pair, float(difference), float(u), units) for pair, difference, u in differences],
        "mean_percent": 100.0 * comparison.mean,
        "standard_uncertainty_of_mean_percent": 100.0 * comparison.standard_uncertainty_of_mean,
        "probability_of_no_bias": comparison.probability,
        "standard_deviation_percent": 100.0 * comparison.standard_deviation,
        "proposed_standard_uncertainty_percent": 100.0 * comparison.root_mean_square,
        "proposed_degrees_of_freedom": comparison.count,
        "upper_limit_percent": 100.0 * comparison.upper_limit,
        "explained_percent": 100.0 * comparison.explained,
        "unexplained_percent": 100.0 * comparison.unexplained,
        "cautions": list(compared.cautions),
        "to_adopt_it": _adopting(compared, on),
    }


def _pair(pair: Paired, difference: float, explained: float, units: str | None) -> Content:
    traverse, other = measured(pair.traverse), measured(pair.other)
    in_unit = flow_unit(other.outlet, units)
    return {
        "traverse": traverse.reading.id,
        "duct": traverse.outlet.outlet,
        "traversed_at": traverse.reading.observed_at,
        "reading": other.reading.id,
        "outlet": other.outlet.outlet,
        "instrument": other.instrument.tag,
        "observed_at": other.reading.observed_at,
        "unit": in_unit.symbol,
        "flow_of_traverse": float(in_unit.from_si(flow(pair.traverse))),
        "flow": float(in_unit.from_si(flow(pair.other))),
        "difference_percent": 100.0 * difference,
        "explained_percent": 100.0 * explained,
    }


def _adopting(compared: MethodCompared, on: date) -> str:
    """The command that declares what the pairs propose; under a new name, since what is declared is never changed."""
    method, count = compared.method, compared.comparison.count
    words = ["method", "add", f"{method.method}, {on}"]
    words += ["--uncertainty", two_digits(100.0 * compared.comparison.root_mean_square)]
    words += ["--degrees-of-freedom", str(count)]
    words += ["--basis", f"{count} pairs with traverses: {', '.join(pair.typed for pair in compared.pairs)}"]
    return command_text(words if method.pattern is None else [*words, "--pattern", method.pattern])


def text(answer: Content) -> str:
    """The same for people."""
    lines = [
        f"{answer['method']} beside traverses, {answer['number']} pairs",
        "",
        table_text(_PAIRS, [_pair_row(pair) for pair in answer["pairs"]]),
        "",
        table_text(("in percent", "value", ""), _figures(answer)),
        *(f"caution: {caution}" for caution in answer["cautions"]),
        "",
        "if the company adopts it:",
        f"  {answer['to_adopt_it']}",
    ]
    return "\n".join(lines)


def _pair_row(pair: Content) -> tuple[str, ...]:
    return (
        f"{pair['traverse']}:{pair['reading']}",
        pair["duct"],
        pair["outlet"],
        pair["instrument"],
        pair["observed_at"],
        f"{pair['flow_of_traverse']:.5g}",
        f"{pair['flow']:.5g}",
        pair["unit"],
        f"{pair['difference_percent']:+.2f}",
        f"{pair['explained_percent']:.2g}",
    )


def _figures(answer: Content) -> list[tuple[str, ...]]:
    def two(name: str) -> str:
        return two_digits(answer[f"{name}_percent"])

    count, declared = answer["number"], answer["declared_degrees_of_freedom"]
    degrees = "exactly known" if declared is None else f"{declared} dof"
    p = answer["probability_of_no_bias"]
    bias = f"u = {two('standard_uncertainty_of_mean')}; as large without a bias with p = {p:.2g}"
    return [
        ("mean difference (bias)", f"{answer['mean_percent']:+.2f}", bias),
        ("standard deviation s", two("standard_deviation"), f"of one difference, {count - 1} dof"),
        ("explained", two("explained"), "by the budgets of both readings without the method's own"),
        ("unexplained", two("unexplained"), "what is left of the proposed beside it"),
        (
            "proposed u",
            two("proposed_standard_uncertainty"),
            f"root mean square about 0, {count} dof; at most {two('upper_limit')} (95 %)",
        ),
        (
            "declared u",
            f"{answer['declared_standard_uncertainty_percent']:g}",
            f"{answer['basis']} ({degrees})",
        ),
    ]
