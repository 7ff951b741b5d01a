"""The look of the pages: contrast by day and in the dark (WCAG 2.2, 1.4.3, 1.4.11, and its relative luminance)."""

import re
from pathlib import Path

import pytest

from calib.faces.pages.frame import look
from calib.faces.pages.frame.look import DARK, LIGHT, custom_properties

STYLE = (Path(look.__file__).parents[1] / "assets" / "calib.css").read_text(encoding="utf-8")
GROUNDS = ("ground", "raised", "warning-ground")
LETTERS, EDGES = 4.5, 3.0


def luminance(colour):
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first, second):
    darker, lighter = sorted([luminance(first), luminance(second)])
    return (lighter + 0.05) / (darker + 0.05)


def test_black_on_white_is_the_definitions_21_to_1():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("light", [LIGHT, DARK], ids=["day", "dark"])
@pytest.mark.parametrize("letters", ["ink", "soft", "accent", "warning"])
def test_letters_are_read_on_every_ground(light, letters):
    assert all(contrast(light[letters], light[ground]) >= LETTERS for ground in GROUNDS)
    assert contrast(light["on-accent"], light["accent"]) >= LETTERS


@pytest.mark.parametrize("light", [LIGHT, DARK], ids=["day", "dark"])
@pytest.mark.parametrize("edge", ["edge", "accent", "warning"])
def test_edges_of_what_is_used_are_seen(light, edge):
    assert all(contrast(light[edge], light[ground]) >= EDGES for ground in GROUNDS)


def test_the_style_uses_colours_by_their_names_alone_and_only_such_as_there_are():
    used = set(re.findall(r"var\(--([\w-]+)\)", STYLE))
    assert used <= {*LIGHT, "serif"}
    assert not re.search(r"#[0-9a-f]{3,8}\b|rgb|hsl", STYLE)
    assert set(LIGHT) == set(DARK)


def test_both_lights_are_declared():
    declared = custom_properties()
    assert f"--ink: {LIGHT['ink']};" in declared
    assert f"@media screen and (prefers-color-scheme: dark) {{ :root {{ --ink: {DARK['ink']};" in declared
