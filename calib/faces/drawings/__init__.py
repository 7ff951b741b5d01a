"""Pictures: matplotlib figures in one calm house style, readable in grey; colour is never the only sign."""

from calib.faces.drawings.budget import (
    CONTRIBUTIONS,
    DistributionDrawing,
    budget_alternative,
    budget_bars,
    budget_bars_alternative,
    budget_chart,
    distribution_alternative,
    distribution_chart,
    most_bars,
)
from calib.faces.drawings.curve import CurveDrawing, curve_alternative, curve_chart
from calib.faces.drawings.style import as_png, as_svg, save_all, save_or_tell

__all__ = [
    "CONTRIBUTIONS",
    "CurveDrawing",
    "DistributionDrawing",
    "as_png",
    "as_svg",
    "budget_alternative",
    "budget_bars",
    "budget_bars_alternative",
    "budget_chart",
    "curve_alternative",
    "curve_chart",
    "distribution_alternative",
    "distribution_chart",
    "most_bars",
    "save_all",
    "save_or_tell",
]
