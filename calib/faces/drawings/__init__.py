"""Pictures: matplotlib figures in one calm house style, readable in grey; colour is never the only sign, and each has its words."""

from calib.faces.drawings.budget import CONTRIBUTIONS, DistributionDrawing, budget_bars
from calib.faces.drawings.curve import CurveDrawing, curve_chart, small_curve_chart
from calib.faces.drawings.style import Chart, as_png, as_svg, save_all

__all__ = [
    "CONTRIBUTIONS",
    "Chart",
    "CurveDrawing",
    "DistributionDrawing",
    "as_png",
    "as_svg",
    "budget_bars",
    "curve_chart",
    "save_all",
    "small_curve_chart",
]
