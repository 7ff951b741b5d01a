"""How many design flows have each statement, as one bar: as wide as a telephone, so that its letters stay large there."""

from collections.abc import Mapping
from math import ceil

from matplotlib.figure import Figure
from matplotlib.patches import Patch

from calib.faces.drawings.style import COLUMN_WIDTH, STATEMENT_LOOKS, Chart, house_style
from calib.faces.palette import INK
from calib.faces.written import SIGNS

_BAR_HIGH, _LINE_HIGH = 0.36, 0.17  # [in] of the bar with what is left free about it, and of a line of the legend
_IN_A_ROW = 2  # of the legend
_LEAST_NAMED = 0.05  # of the bar for each digit: in a narrower part the number would hide it; the legend has it


def verdict_bar(counts: Mapping[str, int]) -> Chart | None:
    """A part for each statement, as wide as the number of flows that have it; None where nothing was to be judged."""
    shown = {statement: counts[statement] for statement in STATEMENT_LOOKS if counts.get(statement)}
    if not shown:
        return None
    with house_style():
        figure = Figure(figsize=(COLUMN_WIDTH, _BAR_HIGH + _LINE_HIGH * ceil(len(shown) / _IN_A_ROW)))
        axes = figure.subplots()
        start = 0
        for statement, count in shown.items():
            look = STATEMENT_LOOKS[statement]
            axes.barh(0, count, left=start, **look.patch)
            if count > _LEAST_NAMED * len(str(count)) * sum(shown.values()):
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
        figure.legend(handles=patches, loc="outside lower left", ncols=_IN_A_ROW, columnspacing=0.8, handlelength=1.4)
    said = ", ".join(f"{count} {statement}" for statement, count in shown.items())
    return Chart(figure, f"Design flows by statement: {said}.")
