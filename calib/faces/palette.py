"""Colours and typeface of everything that is shown: the report, its pictures, pages in a browser; where they hold says `style`."""

INK, STROKE, BAND, PALE, WHITE = "#26323b", "#1d5c63", "#b9d3d0", "#e6eaec", "#ffffff"
EDGE, WARNING = "#66757f", "#8a3b12"  # of a band, which without it is hardly seen on paper; what fails

TYPEFACE = "Libertinus Serif"  # of the report, and of its pictures there
TYPEFACES = (
    f"'{TYPEFACE}', Georgia, 'Times New Roman', 'DejaVu Sans', serif"  # the page's own where it has not the first
)
