"""The bytes of a record: many rows together have the digests that they have one by one.

Source: the docstring of `row_digests`; JSON and SHA-256 as Python's own library makes them.
"""

import hashlib
import json

from hypothesis import given
from hypothesis import strategies as st

from calib.records.digests import ENTRY_COLUMNS, entry_digests, row_digests

COLUMNS = ("a", "b", "id")
TEXTS = (
    st.text() | st.text(st.characters(codec="latin-1")) | st.sampled_from(["\udcff", '"],["b","', "null", "\0", "é\n"])
)
CELLS = st.none() | TEXTS | st.integers() | st.floats() | st.binary(max_size=8)
ROWS = st.lists(st.tuples(CELLS, CELLS, st.integers(1, 99)), max_size=6)


def one_by_one(table, columns, rows):
    """Digests made of each record by itself, as the format is stated."""
    found = []
    for row in rows:
        present = [
            [name, {"bytes": cell.hex()} if isinstance(cell, bytes) else cell]
            for name, cell in zip(columns, row, strict=True)
            if cell is not None
        ]
        found.append(hashlib.sha256(json.dumps([table, present], separators=(",", ":")).encode()).hexdigest())
    return found


@given(ROWS)
def test_rows_together_have_the_digests_that_they_have_one_by_one(rows):
    assert row_digests("t", COLUMNS, rows) == one_by_one("t", COLUMNS, rows)


def test_no_rows_have_no_digests():
    assert row_digests("t", COLUMNS, []) == []
    assert entry_digests([]) == []


ENTRIES = st.tuples(TEXTS, TEXTS, TEXTS, TEXTS, st.integers(), TEXTS, st.integers(), TEXTS, st.none() | TEXTS)


@given(st.lists(ENTRIES, max_size=5))
def test_entries_have_the_digests_of_their_bytes(entries):
    assert entry_digests(list(zip(*entries, strict=True))) == one_by_one("ledger", ENTRY_COLUMNS, entries)


@given(st.lists(st.tuples(*[CELLS] * len(ENTRY_COLUMNS)), max_size=5))
def test_entries_with_anything_in_their_cells_have_them_too(entries):
    assert entry_digests(list(zip(*entries, strict=True))) == one_by_one("ledger", ENTRY_COLUMNS, entries)


@given(ROWS, st.integers(0, 2), TEXTS)
def test_another_cell_makes_another_digest(rows, place, text):
    for row in rows:
        other = (*row[:place], text, *row[place + 1 :])
        assert (row_digests("t", COLUMNS, [row]) == row_digests("t", COLUMNS, [other])) == (row[place] == text)
