"""The look of the pages: the colours of the report and of its pictures by day, and their like on a dark ground.

Contrast (WCAG 2.2, 1.4.3 and 1.4.11): letters 4.5:1 at least on the ground they stand on, edges of what is used 3:1; a test holds
both.
"""

from calib.faces.palette import BAND, EDGE, INK, PALE, STROKE, TYPEFACES, WARNING, WHITE

LIGHT = {
    "ink": INK, "soft": "#52616b", "ground": WHITE, "raised": "#f3f5f5", "pale": PALE, "line": "#cfd6da", "edge": EDGE,
    "accent": STROKE, "on-accent": WHITE, "band": BAND, "warning": WARNING, "warning-ground": "#fbf1e9",
}  # fmt: skip
DARK = {
    "ink": "#e4eaed", "soft": "#a9b6be", "ground": "#12191e", "raised": "#1b252b", "pale": "#26323b", "line": "#33424c",
    "edge": "#8596a1", "accent": "#8cc9c1", "on-accent": "#0d2327", "band": "#234a4d", "warning": "#f0a987",
    "warning-ground": "#33221a",
}  # fmt: skip


def custom_properties() -> str:
    """The colours as CSS: by day and on paper, and where the device asks for dark."""
    return (
        f":root {{ color-scheme: light dark; --serif: {TYPEFACES}; {_declared(LIGHT)} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {_declared(DARK)} }} }}\n"
        "@media print { :root { color-scheme: light; } }\n"
    )


def _declared(colours: dict[str, str]) -> str:
    return " ".join(f"--{name}: {colour};" for name, colour in colours.items())
