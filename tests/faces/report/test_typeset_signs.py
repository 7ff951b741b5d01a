"""Signs that a typeset page can show. Expected: Unicode names and numbers of the signs; ISO 19005-3, 6.2.11.8 and 6.1.13."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.faces.report.typeset_signs import showable, shown_in_svg, unseen

ISOLATES = "\N{FIRST STRONG ISOLATE}\N{POP DIRECTIONAL ISOLATE}"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "plain",
        "610 ± 44 m³/h, k = 2.00, −3 %",
        "Šárka Þór Ωμέγα Яна",
        "● ◐ ◔ ✘",
        "one\ntwo",
        "a\N{NO-BREAK SPACE}b",
    ],
)
def test_what_the_typefaces_have_is_shown_as_typed(text):
    assert showable(text) == text


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("測", "⟨U+6E2C⟩"),
        ("\N{FAMILY}", "⟨U+1F46A⟩"),
        ("\N{RIGHT-TO-LEFT OVERRIDE}abc", "⟨U+202E⟩abc"),
        ("a\N{ZERO WIDTH SPACE}b", "a⟨U+200B⟩b"),
        ("a\N{SOFT HYPHEN}b", "a⟨U+00AD⟩b"),
        ("\x00", "⟨U+0000⟩"),
        ("\ud800", "⟨U+D800⟩"),
        ("one\r\ntwo\ttabs", "one\ntwo tabs"),
    ],
)
def test_any_other_sign_is_shown_by_its_number(typed, said):
    assert showable(typed) == said


def test_letters_from_right_to_left_turn_nothing_beside_them():
    assert showable("אבג 12") == "\N{FIRST STRONG ISOLATE}אבג 12\N{POP DIRECTIONAL ISOLATE}"


def test_each_line_is_set_apart_for_itself():
    assert showable("אבג\nab").split("\n")[1] == "\N{FIRST STRONG ISOLATE}ab\N{POP DIRECTIONAL ISOLATE}"


def test_a_drawing_s_texts_are_shown_so_and_its_marks_stay():
    assert shown_in_svg('<text style="a">測 &lt;b&gt;</text>') == '<text style="a">⟨U+6E2C⟩ &lt;b&gt;</text>'


@given(st.text(st.characters(exclude_characters=ISOLATES), max_size=40))
def test_what_is_shown_holds_no_sign_that_cannot_be(text):
    said = "".join(sign for sign in showable(text) if sign not in ISOLATES)
    assert "".join(sign for sign in showable(said) if sign not in ISOLATES) == said


@given(st.characters())
def test_a_text_on_no_page_is_no_longer_than_pdf_a_allows(sign):
    assert len(unseen(sign * 40_000).encode("utf-16-be")) + 2 <= 32_767
