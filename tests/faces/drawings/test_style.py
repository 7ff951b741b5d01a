"""The palette: two series of one picture stay apart in grey and for the colour-blind.

Colour-blindness is simulated after Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision
deficiency", IEEE Trans. Vis. Comput. Graph. 15 (2009), by the library colorspacious. Lightness is CIE L* (0 black, 100 white);
distances of colours are those of CAM02-UCS, where 1 is about what is just seen.
"""

from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from colorspacious import cspace_convert
from matplotlib.colors import to_rgb
from matplotlib.container import ErrorbarContainer
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.faces.drawings import style
from calib.faces.drawings.style import CONTRIBUTION_LOOKS, EVALUATION_LOOKS, INK, SERVICE_LOOKS, SPAN_LOOKS
from tests.drawn import DRAWN, figure_of

LEAST_STEP = 12.0  # of CIE L*, between two series of one picture that have the same sign
KINDS = ("deuteranomaly", "protanomaly", "tritanomaly")
LEAST_DISTANCE = 10.0  # of CAM02-UCS, under complete colour-blindness
SETS = [CONTRIBUTION_LOOKS, EVALUATION_LOOKS, SERVICE_LOOKS, SPAN_LOOKS]


def lightness(colour):
    return float(cspace_convert(to_rgb(colour), "sRGB1", "CIELab")[0])


def seen(colour, kind):
    space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    return np.clip(cspace_convert(to_rgb(colour), space, "sRGB1"), 0, 1)


def distance(one, other, kind):
    places = [cspace_convert(seen(colour, kind), "sRGB1", "CAM02-UCS") for colour in (one, other)]
    return float(np.linalg.norm(places[0] - places[1]))


def test_lightness_is_that_of_the_standard():
    assert [lightness("#000000"), lightness("#ffffff")] == pytest.approx([0, 100], abs=0.01)
    # 119/255 of sRGB is linear 0.1845, and L* = 116 * 0.1845**(1/3) - 16 (IEC 61966-2-1, CIE 15).
    assert lightness("#777777") == pytest.approx(116 * (((119 / 255 + 0.055) / 1.055) ** 2.4) ** (1 / 3) - 16, abs=0.05)


def test_red_and_green_of_one_lightness_are_close_for_some():
    red, green = "#c06060", "#609060"
    assert distance(red, green, "deuteranomaly") < 0.5 * distance(red, green, "tritanomaly")


def alike(looks):
    """Pairs of one sign: what must differ in colour alone."""
    return [(a, b) for (a, one), (b, other) in combinations(looks.items(), 2) if one.sign == other.sign]


@pytest.mark.parametrize("looks", SETS)
def test_bars_of_one_sign_differ_in_lightness(looks):
    steps = {pair: abs(lightness(looks[pair[0]].colour) - lightness(looks[pair[1]].colour)) for pair in alike(looks)}
    assert {pair: step for pair, step in steps.items() if step < LEAST_STEP} == {}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("looks", SETS)
def test_bars_of_one_sign_differ_for_the_colour_blind(looks, kind):
    apart = {pair: distance(looks[pair[0]].colour, looks[pair[1]].colour, kind) for pair in alike(looks)}
    assert {pair: far for pair, far in apart.items() if far < LEAST_DISTANCE} == {}


@pytest.mark.parametrize("looks", SETS)
def test_a_hatch_is_seen_on_its_ground_and_is_not_of_dots(looks):
    hatched = [one for one in looks.values() if one.sign]
    assert all(lightness(one.colour) - lightness(INK) > 40 for one in hatched)
    assert not [one for one in hatched if set(one.sign) & set(".oO*")]


def series_of(figure):
    """What a legend tells apart, by its word: (lightness of the colour, sign)."""
    for part in (figure, *figure.subfigs, *figure.axes):
        for legend in part.legends if hasattr(part, "legends") else [part.get_legend()]:
            if legend is not None:
                texts = [one.get_text() for one in legend.get_texts()]
                yield {text: look_of(handle) for text, handle in zip(texts, legend.legend_handles, strict=True)}


def look_of(handle):
    if isinstance(handle, ErrorbarContainer):
        return lightness(handle.lines[0].get_color()), ("bar of U", handle.lines[0].get_marker())
    if isinstance(handle, Line2D):
        marker = handle.get_marker()
        colour = handle.get_color() if marker in ("None", "", None) else handle.get_markerfacecolor()
        return lightness(colour), ("line", handle.get_linestyle(), marker, handle.get_linewidth())
    if isinstance(handle, Patch):
        return lightness(handle.get_facecolor()[:3]), ("area", handle.get_hatch())
    return lightness(handle.get_colors()[0][:3]) if hasattr(handle, "get_colors") else 0.0, ("other", type(handle))


@pytest.mark.parametrize("name", [name for name in DRAWN if name not in ("section", "overview", "overview-of-many")])
def test_what_a_legend_tells_apart_differs_in_lightness_or_sign(name):
    legends = list(series_of(figure_of(name)))
    assert legends
    for looks in legends:
        same = [
            (a, b)
            for (a, (light, sign)), (b, (other, other_sign)) in combinations(looks.items(), 2)
            if sign == other_sign and abs(light - other) < LEAST_STEP
        ]
        assert same == []


def test_the_style_is_left_at_the_door():
    before = dict(mpl.rcParams)
    with style.house_style():
        assert mpl.rcParams["text.parse_math"] is False
    assert dict(mpl.rcParams) == before
