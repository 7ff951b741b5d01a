"""A method beside traverses of the same flows, as `calib method compare` answers."""

from collections.abc import Iterator, Sequence
from datetime import date

from calib.arrays import finite
from calib.faces.plain_text import command_text, table_text
from calib.faces.written import Content, figure_text, two_digits
from calib.procedures.factors.compare_method import FiguresOfKind, MethodCompared
from calib.procedures.on_record.flow_unit import flow_unit
from calib.procedures.pairs.paired_readings import Paired, flow, measured
from calib.uncertainty.components import Components

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
        "components_of_variance": [_components(name, each) for name, each in compared.components.items()],
        "kinds": [_kind(compared, kind, on) for kind in compared.kinds],
        "to_adopt_it": _adopting(compared, on, next(iter(compared.kinds), None)),
    }


def _components(name: str, components: Components) -> Content:
    """What scatters between groups of pairs, and within one, in percent."""
    return {
        "between": name,
        "groups": components.groups,
        "pairs": components.observations,
        "between_percent": 100.0 * components.between,
        "within_percent": 100.0 * components.within,
        "f": finite(components.f),
        "quantile": components.quantile,
        "differ": components.differ,
        "standard_uncertainty_of_mean_percent": 100.0 * components.standard_uncertainty,
    }


def _kind(compared: MethodCompared, kind: FiguresOfKind, on: date) -> Content:
    """Both figures of one kind of opening and direction, in percent."""
    figures = kind.figures
    return {
        "outlet_type": kind.outlet_type or None,
        "service": kind.service,
        "jobs": list(kind.jobs),
        "pairs": kind.pairs,
        "mean_percent": 100.0 * figures.mean,
        "common_standard_uncertainty_percent": 100.0 * figures.common,
        "common_degrees_of_freedom": finite(figures.common_degrees_of_freedom),
        "common_if_corrected_percent": 100.0 * figures.corrected,
        "own_standard_uncertainty_percent": 100.0 * figures.own,
        "own_degrees_of_freedom": figures.own_degrees_of_freedom,
        "to_adopt_it": _adopting(compared, on, kind),
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


def _adopting(compared: MethodCompared, on: date, kind: FiguresOfKind | None = None) -> str:
    """The command that declares what the pairs propose; under a new name, since what is declared is never changed."""
    method, count = compared.method, compared.comparison.count
    basis = f"{count} pairs with traverses: {', '.join(pair.typed for pair in compared.pairs)}"
    if kind is None:
        words = ["method", "add", f"{method.method}, {on}"]
        words += ["--uncertainty", two_digits(100.0 * compared.comparison.root_mean_square)]
        words += ["--degrees-of-freedom", str(count)]
    else:
        figures, where = kind.figures, " ".join(filter(None, (kind.outlet_type, kind.service)))
        words = ["method", "add", f"{method.method}, {where}, {on}"]
        words += ["--common", two_digits(100.0 * figures.common)]
        words += ["--common-degrees-of-freedom", f"{max(figures.common_degrees_of_freedom, 1.0):.3g}"]
        words += [
            "--own",
            two_digits(100.0 * figures.own),
            "--own-degrees-of-freedom",
            f"{figures.own_degrees_of_freedom:g}",
        ]
        basis += f"; {where} in {', '.join(kind.jobs)}"
    words += ["--basis", basis]
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
        *_over_groups(answer["components_of_variance"]),
        *_two_figures(answer["kinds"]),
        "if the company adopts it:",
        *(f"  {each['to_adopt_it']}" for each in answer["kinds"] or [answer]),
    ]
    return "\n".join(lines)


_COMPONENTS = ("between", "groups", "pairs", "s between [%]", "s within [%]", "F", "F 95 %", "u of mean [%]", "")


def _over_groups(components: Sequence[Content]) -> Iterator[str]:
    """Components of variance; nothing where no day and no operator has two pairs beside others."""
    if components:
        yield table_text(_COMPONENTS, [_group_row(each) for each in components])
        yield ""


def _group_row(components: Content) -> tuple[str, ...]:
    return (
        components["between"],
        str(components["groups"]),
        str(components["pairs"]),
        two_digits(components["between_percent"]),
        two_digits(components["within_percent"]),
        "infinite" if components["f"] is None else f"{components['f']:.3g}",
        f"{components['quantile']:.3g}",
        two_digits(components["standard_uncertainty_of_mean_percent"]),
        "they differ" if components["differ"] else "they do not differ",
    )


_KINDS = ("opening", "air", "jobs", "pairs", "common [%]", "dof", "if corrected", "own [%]", "dof")


def _two_figures(kinds: Sequence[Content]) -> Iterator[str]:
    """What readings by the method share and what each has by itself, by kind of opening and direction."""
    if not kinds:
        yield "what its readings share and what each has by itself cannot be told apart: measure two pairs or more in one job"
        return
    yield table_text(_KINDS, [_kind_row(kind) for kind in kinds])
    for kind in kinds:
        if len(kind["jobs"]) == 1:
            yield f"one job tells nothing of others: these figures hold for {kind['jobs'][0]}; pairs of several jobs tell more"
    yield ""


def _kind_row(kind: Content) -> tuple[str, ...]:
    dof = kind["common_degrees_of_freedom"]
    return (
        kind["outlet_type"] or "-",
        kind["service"],
        ", ".join(kind["jobs"]),
        str(kind["pairs"]),
        two_digits(kind["common_standard_uncertainty_percent"]),
        figure_text(dof, ".3g"),
        two_digits(kind["common_if_corrected_percent"]),
        two_digits(kind["own_standard_uncertainty_percent"]),
        f"{kind['own_degrees_of_freedom']:g}",
    )


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
