"""A page laid out as plain text. Common practice, no source; the expected lines are written by hand."""

import pytest

from calib.faces.manual.layout import laid_out

WORDS = "one two three four five six seven eight nine ten"


@pytest.mark.parametrize(
    ("markup", "shown"),
    [
        ("# Title", "Title\n=====\n"),
        ("## Part", "Part\n----\n"),
        (WORDS, "one two three four five\nsix seven eight nine ten\n"),
        ("one\ntwo", "one two\n"),
        ("one\n\n\ntwo", "one\n\ntwo\n"),
        (f"- {WORDS}\n- two\n  more", "- one two three four\n  five six seven eight\n  nine ten\n- two more\n"),
        (f"10. {WORDS}", "10. one two three four\n    five six seven eight\n    nine ten\n"),
        ("```sh\na  b\n\n    c\n```", "    a  b\n\n        c\n"),
        ("an `one two` at that `the end`", "an `one two` at that\n`the end`\n"),
        ("a" * 30, "a" * 30 + "\n"),
        ("| a | one two three four five |\n| bb | c |", "  a   one two three four\n      five\n  bb  c\n"),
        ("| very_long_term | one two three four |\n| b | c |", "  very_long_term\n     one two three four\n  b  c\n"),
        ("| who | a | b |\n| --- | --- | --- |\n| one two three four | - | yes |",
         "who               a  b\n----------------  -  ---\none two three     -  yes\nfour\n"),
    ],
)  # fmt: skip
def test_markup_is_laid_out_for_24_characters(markup, shown):
    assert laid_out(markup, 24) == shown


def test_a_block_that_is_indented_and_in_no_fences_is_refused():
    with pytest.raises(ValueError, match="an indented block without fences: '    a = 1'"):
        laid_out("text\n\n    a = 1\n    b = 2\n", 24)
