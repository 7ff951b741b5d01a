"""The picture of the proof: what U promises, and what it kept."""

from matplotlib.figure import Figure

from calib.faces.drawings.style import FIGURE_WIDTH, SMALL_LETTERS, Chart, house_style, titled
from calib.faces.palette import INK, STROKE, WHITE
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from tests.coverage.counted import FOUND, KINDS

_MARKERS = dict(
    zip(KINDS, (("o", STROKE), ("s", WHITE), ("D", "#a9694c"), ("^", "#dcbb66"), ("v", "#9cc7c1")), strict=True)
)
_ROW = 0.45  # [in]


def chart(rows: list[dict[str, str]]) -> Chart:
    """A line for each assumption with a point for each kind of result, its bar two standard errors of the count."""
    with house_style():
        figure = Figure(figsize=(FIGURE_WIDTH, 1.6 + _ROW * len(rows)))
        axes = figure.subplots()
        axes.axvline(100 * COVERAGE_PROBABILITY, color=INK, lw=1)
        for offset, kind in enumerate(KINDS):
            marker, colour = _MARKERS[kind]
            lines = [line for line, row in enumerate(rows) if row[kind]]
            axes.errorbar(
                [float(rows[line][kind]) for line in lines],
                [line + (0 if kind == FOUND else 0.18 * offset - 0.27) for line in lines],
                xerr=[2 * float(rows[line][f"{kind} error"]) for line in lines],
                fmt=marker, mfc=colour, mec=INK, ecolor=INK, ms=5, lw=0.8, label=kind,
            )  # fmt: skip
        axes.set_yticks(range(len(rows)), [row["assumption"] for row in rows], fontsize=SMALL_LETTERS)
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(len(rows) - 0.5, -0.5)
        shares = [float(row[kind]) for row in rows for kind in KINDS if row[kind]]
        axes.set_xlim(min(80.0, min(shares) - 2), 100.5)
        axes.set_xlabel("true values within U [%]")
        worlds = rows[0]["worlds"]
        titled(
            axes,
            "What U promises, and what it kept",
            f"upright: the 95.45 % that U promises; {worlds} worlds each",
        )
        figure.legend(loc="outside lower left", ncols=len(KINDS))
        words = "; ".join(
            f"{row['assumption']}: " + ", ".join(f"{kind} {row[kind]} %" for kind in KINDS if row[kind]) for row in rows
        )
        return Chart(figure, f"True values within U, of 95.45 % promised. {words}.")
