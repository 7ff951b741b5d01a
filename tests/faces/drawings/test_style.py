"""The palette: two series of one picture stay apart in grey and for the colour-blind.

Colour-blindness is simulated after Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision
deficiency", IEEE Trans. Vis. Comput. Graph. 15 (2009), by the library colorspacious. Lightness is CIE L* (0 black, 100 white);
distances of colours are those of CAM02-UCS, where 1 is about what is just seen. Contrast is that of WCAG 2.2 (relative luminance,
and 1.4.11: 3:1 for what a picture is read by; 1.4.3: 4.5:1 for letters).
"""

import json
import re
from importlib import resources
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
import typst
from colorspacious import cspace_convert
from matplotlib.colors import to_rgb
from matplotlib.container import ErrorbarContainer
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Text
from matplotlib.textpath import TextPath

from calib.faces.drawings import style
from calib.faces.drawings.style import (
    COLUMN_WIDTH,
    CONTRIBUTION_LOOKS,
    COVERAGE_BAND,
    EVALUATION_LOOKS,
    FIGURE_WIDTH,
    SERVICE_LOOKS,
    SPAN_LOOKS,
    TOLERANCE_BAND,
)
from calib.faces.palette import EDGE, INK, STROKE, TYPEFACE, WARNING, WHITE
from calib.faces.report.typeset_signs import typefaces
from tests.drawn import DRAWN, figure_of, svg_of

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
    assert legends or name == "small-curve"  # which has no room for one: the text beside it tells what is drawn
    for looks in legends:
        same = [
            (a, b)
            for (a, (light, sign)), (b, (other, other_sign)) in combinations(looks.items(), 2)
            if sign == other_sign and abs(light - other) < LEAST_STEP
        ]
        assert same == []


def luminance(colour):
    """WCAG 2.2, "relative luminance"."""
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in to_rgb(colour)]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def contrast(one, other):
    """WCAG 2.2, "contrast ratio"."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_is_that_of_the_guidelines():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    # 1.4.3, its known edges: #767676 is the lightest grey of 4.5:1 on white, #949494 that of 3:1.
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#949494", "#ffffff") == pytest.approx(3.03, abs=0.005)


@pytest.mark.parametrize("band", [TOLERANCE_BAND, COVERAGE_BAND], ids=["tolerance", "coverage"])
def test_a_band_is_seen_on_paper_and_what_lies_on_it_is_seen_too(band):
    assert contrast(band["edgecolor"], WHITE) >= 3
    assert band["lw"] >= 0.8
    for line in (INK, STROKE, WARNING):
        assert contrast(line, band["facecolor"]) >= 3


@pytest.mark.parametrize("looks", SETS)
def test_a_bar_is_seen_on_paper_by_its_edge(looks):
    assert all(contrast(one.patch["edgecolor"], WHITE) >= 3 for one in looks.values())


def test_letters_and_lines_are_seen_on_paper():
    assert all(contrast(colour, WHITE) >= 4.5 for colour in (INK, STROKE, EDGE, WARNING))


def texts_of(figure):
    return [one for one in figure.findobj(Text) if one.get_visible() and one.get_text().strip()]


@pytest.mark.parametrize("name", DRAWN)
def test_no_letters_are_below_eight_and_a_half_points_as_printed(name):
    """A report sets a picture in its own size: it is as wide as the line of a page at most."""
    figure = figure_of(name)
    assert figure.get_figwidth() == (COLUMN_WIDTH if name == "small-curve" else FIGURE_WIDTH)
    assert min(one.get_fontsize() for one in texts_of(figure)) >= 8.5


def test_what_fails_is_the_largest_sign_in_a_colour_of_its_own_and_is_named():
    axes = figure_of("overview").axes[0]
    sizes = {
        str(line.get_marker()): (line.get_markersize(), line.get_markerfacecolor())
        for line in axes.lines
        if line.get_linestyle() == "None" and isinstance(line.get_marker(), str) and line.get_marker() in "oX"
    }
    assert sizes["X"][1] == WARNING
    assert sizes["X"][0] > sizes["o"][0]
    (named,) = [one for one in axes.texts if one.get_text().endswith("fail")]
    assert (named.get_text(), named.get_fontweight(), named.get_color()) == ("60.0 ± 9.0 L/s, fail", "bold", WARNING)


def test_a_report_sets_its_pictures_in_the_typeface_of_its_text():
    template = resources.files("calib.faces.report").joinpath("report.typ").read_text(encoding="utf-8")
    assert f'#let serif = ("{TYPEFACE}",' in template
    families = {one for name in DRAWN for one in re.findall(r"font-family: ([^;]*);", svg_of(name))}
    assert {one.partition(",")[0] for one in families} == {f"'{TYPEFACE}'"}


def test_no_text_of_a_picture_is_wider_in_the_typeface_of_the_report_than_where_it_was_placed():
    """Widths by the typesetter itself, in points; upright and bold."""
    texts = {
        (one.get_text(), one.get_fontsize(), str(one.get_fontweight()))
        for name in DRAWN
        for one in texts_of(figure_of(name))
        if "\n" not in one.get_text()
    }
    placed = {one: width_as_placed(*one) for one in texts}
    of_report = dict(zip(texts, widths_as_typeset(texts), strict=True))
    assert len(texts) > 200
    assert {one: (of_report[one], placed[one]) for one in texts if of_report[one] > placed[one] + 0.5} == {}


def width_as_placed(text, size, weight):
    with style.house_style():
        path = TextPath((0, 0), text, prop=FontProperties(family="DejaVu Sans", size=size, weight=weight))
    return float(path.get_extents().width)


def widths_as_typeset(texts):
    asked = [{"text": text, "size": size, "bold": weight in ("bold", "700")} for text, size, weight in texts]
    source = (
        f'#set text(font: ("{TYPEFACE}", "DejaVu Sans"))\n#context [#metadata(json("asked.json").map(one => measure(text('
        'size: one.size * 1pt, weight: if one.bold { "bold" } else { "regular" }, one.text)).width.pt())) <widths>]'
    )
    files = {"main.typ": source.encode(), "asked.json": json.dumps(asked).encode()}
    found = typst.query(files, "<widths>", field="value", one=True, font_paths=[str(typefaces())])
    return json.loads(found)


def test_the_style_is_left_at_the_door():
    before = dict(mpl.rcParams)
    with style.house_style():
        assert mpl.rcParams["text.parse_math"] is False
    assert dict(mpl.rcParams) == before
