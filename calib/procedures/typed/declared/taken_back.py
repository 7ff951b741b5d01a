"""Columns of records that can be taken back: why, and how often one of them was typed."""

from calib.procedures.typed.cells import any_text, same_revision, whole
from calib.procedures.typed.declaration import TAKEN_BACK, TypedColumn, may


def why_taken_back() -> TypedColumn:
    """The column of a record that counts for nothing any more."""
    return may(TAKEN_BACK, any_text, "why it was taken back: it is kept, and counts for nothing; blank: it counts")


def how_often_typed(otherwise: str = "one that was withdrawn was typed again") -> TypedColumn:
    """The column that tells a record from those of its names which were taken back."""
    return may("revision", whole, f"how often it was typed, from 1: {otherwise}; blank: 1", compared=same_revision)
