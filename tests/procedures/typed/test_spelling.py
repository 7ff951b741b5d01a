"""Names in other spellings, and names that look like a slip of typing. No source: common practice."""

import pytest

from calib.procedures.typed.spelling import nearly_alike, spelled_alike

ONE = ["Maker's sheet 12", "makers sheet 12", "MAKER'S  SHEET 12", "Makers sheet 12.", "maker’s-sheet12"]
SLIPS = {
    "a letter left out": ("Makers sheet 12", "Maker sheet 12"),
    "a letter left out of a word of four": ("traverses of type G4", "traverses of typ G4"),
    "a letter put in": ("grille table", "grille tabble"),
    "a letter changed": ("data sheet", "data sheat"),
    "two letters exchanged": ("valve table", "vavle table"),
    "two letters of a long word": ("maker's catalogue", "maker's catalog"),
    "a slip in words that are written as one": ("data sheet 7", "datasheat 7"),
    "the same words in another order": ("sheet 12, Maker North", "Maker North sheet 12"),
}
OTHERS = {
    "another number": ("sheet 12", "sheet 13"),
    "another year": ("catalogue 2023", "catalogue 2024"),
    "another letter that tells types apart": ("traverses at grille G", "traverses at grille H"),
    "a letter that tells apart words of three": ("old sheet", "odd sheet"),
    "a letter more than three have not": ("bed wing", "red wing"),
    "a letter left out of a word of three": ("the fan", "the an"),
    "another short word": ("north wing", "south wing"),
    "two letters of a short word": ("east hall", "west hall"),
    "one word more": ("maker's sheet", "maker's sheet, old"),
    "another word": ("traverses at grille G", "traverses at valve G"),
    "a number left out": ("sheet 12", "sheet"),
}


@pytest.mark.parametrize("name", ONE)
def test_names_that_differ_in_case_space_or_punctuation_are_one(name):
    assert spelled_alike(name) == spelled_alike(ONE[0])
    assert not nearly_alike(name, ONE[0])


@pytest.mark.parametrize("names", SLIPS.values(), ids=SLIPS)
def test_a_slip_of_typing_is_nearly_alike_whichever_came_first(names):
    assert nearly_alike(*names)
    assert nearly_alike(*reversed(names))


@pytest.mark.parametrize("names", OTHERS.values(), ids=OTHERS)
def test_names_that_tell_things_apart_are_no_slips(names):
    assert not nearly_alike(*names)
    assert not nearly_alike(*reversed(names))
