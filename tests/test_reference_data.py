"""The reference data themselves: every source says what it is, and the tolerance that printed digits allow."""

import pytest

from tests.reference import FOLDER, agrees, bounds, digits_reached, rows, source

SOURCES = sorted(folder.name for folder in FOLDER.iterdir() if folder.is_dir())


def test_there_are_sources():
    assert "gum_h1" in SOURCES


@pytest.mark.parametrize("name", SOURCES)
@pytest.mark.parametrize("key", ["document", "edition", "licence", "obtained", "checked_by"])
def test_every_source_is_described(name, key):
    assert source(name)[key].strip()


@pytest.mark.parametrize("name", SOURCES)
def test_every_source_names_its_clause_or_table(name):
    assert source(name).get("clause") or source(name).get("table")


@pytest.mark.parametrize("name", SOURCES)
def test_every_source_gives_the_class_of_its_values(name):
    classes = source(name)["class"].values()
    assert classes
    assert set(classes) <= set("ABCD")


WORDS_OF_CLASS = {"B": "from memory, recomputed", "C": "from memory, recomputed", "D": "independent computation"}


@pytest.mark.parametrize(
    ("name", "words"),
    sorted({(name, WORDS_OF_CLASS[one]) for name in SOURCES for one in source(name)["class"].values() if one != "A"}),
)
def test_every_value_that_was_not_seen_is_owned_up_to(name, words):
    assert words in source(name)["obtained"]


@pytest.mark.parametrize("name", SOURCES)
def test_every_source_has_digits(name):
    files = sorted(file.stem for file in (FOLDER / name).glob("*.csv"))
    assert files
    assert all(rows(name, file) for file in files)
    assert all(None not in row and None not in row.values() for file in files for row in rows(name, file))


@pytest.mark.parametrize(
    ("value", "text", "agreed"),
    [
        (2.9249, "2.92", True),
        (2.9251, "2.92", False),
        (1002.6, "1002", False),
        (-0.0504, "-0.050", True),
        (0.0504, "-0.050", False),
        (124.9, "1.2E+2", True),
        (125.1, "1.2E+2", False),
        (4.5e-4, "0.429796848199937E-03", False),
    ],
)
def test_a_value_agrees_within_half_a_unit_of_the_last_printed_digit(value, text, agreed):
    assert agrees(value, text) is agreed


def test_an_exception_may_allow_a_whole_unit():
    assert agrees(1002.6, "1002", units="1")
    assert not agrees(1003.1, "1002", units="1")


def test_the_bounds_of_a_printed_number_are_half_a_unit_away():
    assert bounds("9.488") == (9.4875, 9.4885)


@pytest.mark.parametrize(("value", "digits"), [(1.0, 15.0), (1.001, 3.0), (0.99, 2.0), (2.0, 0.0)])
def test_digits_reached_count_the_relative_error(value, digits):
    assert digits_reached(value, "1.00000000000000") == pytest.approx(digits, abs=1e-9)
