"""Control charts of an instrument's checks, as `calib check chart` answers."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict

from calib.confirmation.control_chart import TREND
from calib.counted import count_of
from calib.faces.written import Content, unit_text
from calib.procedures.fleet.checks_on_file import ChartedSeries

SEVEN_IN_A_ROW = f"{TREND} or more in a row rising or falling"


def document(tag: str, charts: Sequence[ChartedSeries]) -> Content:
    """Each chart with its checks, baseline and limits."""
    return {"tag": tag, "series": [_series(chart) for chart in charts]}


def _series(chart: ChartedSeries) -> Content:
    cells = asdict(chart) | {"drifting": chart.drifting}
    if chart.components is not None:
        cells["components"]["differ"] = chart.components.differ
    return cells | {"checks": [check | {"at": check["at"].isoformat()} for check in cells["checks"]]}


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join(line for chart in answer["series"] for line in _lines(chart)) or f"{answer['tag']}: no checks"


def _lines(chart: Content) -> Iterator[str]:
    failed = sum(not check["passed"] for check in chart["checks"])
    other = f", {chart['other']}" if chart["other"] else ""
    yield f"{chart['kind']}{other}: {count_of(len(chart['checks']), 'check', 'checks')}, {failed} failed"
    base, limits, symbol = chart["base"], chart["limits"], unit_text(chart["unit"])
    if base is not None and limits is not None:
        yield (
            f"  centre line {base['mean']:.6g}, the mean of a baseline of {base['count']}, s {base['standard_deviation']:.2g}; "
            f"control limits of the next value {_ends(limits)} {symbol}"
        )
        yield (
            f"  control limits of the baseline's own values: 3 s {_ends(chart['shewhart_limits'])}, "
            f"Student's t {_ends(chart['t_limits'])} {symbol}"
        )
    trend = [check["at"] for check in chart["checks"] if check["in_trend"]]
    if trend:
        yield f"  trend: {len(trend)} values, from {trend[0][:10]} to {trend[-1][:10]}, {SEVEN_IN_A_ROW}"
    if chart["components"] is not None:
        yield f"  {_components(chart['components'], symbol)}"


def _components(components: Content, symbol: str) -> str:
    f = "infinite" if math.isinf(components["f"]) else f"{components['f']:.3g}"
    told = (
        "days differ: limits from values of few days are too narrow" if components["differ"] else "days do not differ"
    )
    between, within = (f"{components[name]:.2g}" for name in ("between", "within"))
    return (
        f"baseline over {components['groups']} days: s between days {between}, within a day {within} {symbol}; "
        f"F {f}, its 95 % quantile {components['quantile']:.3g}: {told}"
    )


def _ends(limits: Content) -> str:
    return f"{limits['low']:.6g} to {limits['high']:.6g}"
