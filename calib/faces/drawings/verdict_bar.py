"""How many design flows have each statement, as one bar."""

from collections.abc import Mapping

from matplotlib.figure import Figure
from matplotlib.patches import Patch

from calib.faces.drawings.style import FIGURE_WIDTH, STATEMENT_LOOKS, Chart, house_style
from calib.faces.palette import INK
from calib.faces.written import SIGNS

_HIGH = 0.85  # [in]
_IN_A_ROW, _SIGNS_IN_A_ROW = 3, 72  # of the legend: three of the longest, or more if they have no more signs together
_LEAST_NAMED = 0.03  # of the bar: a narrower part has its number in the legend alone


def verdict_bar(counts: Mapping[str, int]) -> Chart | None:
    """A part for each statement, as wide as the number of flows that have it; None where nothing was to be judged."""
    shown = {statement: counts[statement] for statement in STATEMENT_LOOKS if counts.get(statement)}
    if not shown:
        return None
    with house_style():
        figure = Figure(figsize=(FIGURE_WIDTH, _HIGH))
        axes = figure.subplots()
        start = 0
        for statement, count in shown.items():
            look = STATEMENT_LOOKS[statement]
            axes.barh(0, count, left=start, **look.patch)
            if count > _LEAST_NAMED * sum(shown.values()):
                axes.text(
                    start + count / 2, 0, str(count), ha="center", va="center", fontweight="bold", color=INK,
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2},
                )  # fmt: skip
            start += count
        axes.set_xlim(0, start)
        axes.set_xticks([])
        axes.set_yticks([])
        axes.set_axis_off()
        labels = [f"{SIGNS.get(each, '')} {shown[each]} {each}".strip() for each in shown]
        patches = [Patch(**STATEMENT_LOOKS[each].patch, label=label) for each, label in zip(shown, labels, strict=True)]
        in_a_row = len(labels) if sum(map(len, labels)) <= _SIGNS_IN_A_ROW else _IN_A_ROW
        figure.legend(handles=patches, loc="outside lower left", ncols=in_a_row, columnspacing=1.0, handlelength=1.6)
    said = ", ".join(f"{count} {statement}" for statement, count in shown.items())
    return Chart(figure, f"Design flows by statement: {said}.")
