"""The reference data themselves: every source says what it is, what was computed is computed again, and what printed digits allow.

Kinds of values: A, seen in a stored document; B, C, outputs or all from memory, recomputed; D, an independent computation, whose
script is compute.py beside it; I, inputs that this project made up, in tests/worked_cases and for one clause without data.
"""

import ast
import re
from datetime import date

import pytest

from tests.recompute import script
from tests.reference import PUBLISHED, SOURCES, WORKED, agrees, bounds, digits_reached, folder, last_digit, rows, source

ROOT = PUBLISHED.parent
COMPUTED = [name for name in SOURCES if "D" in source(name)["class"].values()]


def test_there_are_sources_and_worked_cases():
    assert "gum_h1" in SOURCES
    assert "worked_vane" in SOURCES


def test_every_folder_is_a_source():
    folders = [one for home in (PUBLISHED, WORKED) for one in home.iterdir() if one.is_dir() and one.name[0] != "_"]
    assert sorted(one.name for one in folders) == SOURCES


def test_every_source_is_described():
    for key in ["document", "edition", "licence", "obtained", "checked_by"]:
        for name in SOURCES:
            assert source(name)[key].strip()


def test_every_source_says_when_it_was_transcribed():
    for name in SOURCES:
        assert isinstance(source(name)["transcribed"], date)


def test_every_source_names_the_scripts_and_tools_that_checked_it_and_the_day():
    for name in SOURCES:
        checked = source(name)["checked_by"]
        day = date.fromisoformat(re.search(r", run on (\S+)$", checked)[1])
        assert day >= source(name)["transcribed"]
        scripts = re.findall(r"\S+\.py", checked)
        assert scripts
        assert all((folder(name) / one).is_file() or (ROOT / one).is_file() for one in scripts)


def test_no_library_or_page_is_cited_without_version_commit_or_date():
    for name in SOURCES:
        obtained = source(name)["document"] + source(name)["edition"] + source(name)["obtained"]
        for library in ("GTC", "dataplot", "lmfit", "propagate", "metRology", "ggmr", "GSL", "PsychroLib", "CoolProp"):
            cited = re.search(rf"\b{library}\b[^;]*", obtained)
            assert cited is None or re.search(r"commit [0-9a-f]{12}|\d+\.\d+\.\d+", cited[0])
        for page in (
            "stored copies",
            "stored copy",
            "stored transcription",
            "index of public code",
            "laboratory's page",
        ):
            cited = re.search(rf"{page}[^;]*", obtained)
            assert cited is None or re.search(r"no date|date was not|neither repository nor commit", cited[0])


def test_what_was_made_up_stands_among_the_worked_cases():
    for name in SOURCES:
        invented = name != "iso_ts_28037_clauses_8_to_10" and "I" in source(name)["class"].values()
        assert invented <= (folder(name).parent == WORKED)
        assert (folder(name).parent == WORKED) <= (set(source(name)["class"].values()) <= {"D", "I"})


def test_a_source_has_a_script_where_values_were_computed_and_only_there():
    for name in SOURCES:
        assert source(name).get("script") == ("compute.py" if name in COMPUTED else None)
        assert (folder(name) / "compute.py").is_file() == (name in COMPUTED)


def test_a_script_knows_nothing_of_this_package():
    for name in COMPUTED:
        tree = ast.parse((folder(name) / "compute.py").read_text(encoding="utf-8"))
        modules = [one.module for one in ast.walk(tree) if isinstance(one, ast.ImportFrom)]
        modules += [alias.name for one in ast.walk(tree) if isinstance(one, ast.Import) for alias in one.names]
        assert not [module for module in modules if module.split(".")[0] == "calib"]


def same(computed, stored):
    """The same text, or numbers no further apart than a unit of the last digit: processors differ in last bits."""
    if computed == stored:
        return True
    numeric = re.fullmatch(r"[-+]?[\d.]+(e[-+]\d+)?", computed) and re.fullmatch(r"[-+]?[\d.]+(e[-+]\d+)?", stored)
    return bool(numeric) and last_digit(computed) == last_digit(stored) and agrees(computed, stored, "1")


@pytest.mark.parametrize("name", COMPUTED)
def test_every_computed_value_is_what_its_script_gives(name):
    tables = script(name).tables()
    files = {file for file, kind in source(name)["class"].items() if kind == "D"}
    assert files - {"exact_factors", "ratios"} <= set(
        tables
    )  # columns of units/factors.csv, of degrees_of_equivalence.csv
    for file, computed in tables.items():
        stored = rows(name, file)
        assert len(computed) == len(stored)
        cells = [(row[k], there[k]) for row, there in zip(computed, stored, strict=True) for k in row]
        assert [pair for pair in cells if not same(*pair)] == []


def test_every_source_names_its_clause_or_table():
    for name in SOURCES:
        assert source(name).get("clause") or source(name).get("table")


def test_every_source_gives_the_class_of_its_values():
    for name in SOURCES:
        classes = source(name)["class"].values()
        assert classes
        assert set(classes) <= set("ABCDI")


WORDS_OF_CLASS = {
    "B": "from memory, recomputed",
    "C": "from memory, recomputed",
    "D": "independent computation",
    "I": "(invented|illustrative)",
}


@pytest.mark.parametrize(
    ("name", "words"),
    sorted({(name, WORDS_OF_CLASS[one]) for name in SOURCES for one in source(name)["class"].values() if one != "A"}),
)
def test_every_value_that_was_not_seen_is_owned_up_to(name, words):
    assert re.search(words, source(name)["obtained"])


def test_every_source_has_digits():
    for name in SOURCES:
        files = sorted(file.stem for file in folder(name).glob("*.csv"))
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
