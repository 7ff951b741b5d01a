"""Widths of a printed table's columns. Expected: no table is wider than its page, whatever it holds, and figures are not broken."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.faces.report.blocks import Cell, Table, TableColumn, TableRow, runs
from calib.faces.report.column_widths import columns_of, pieces

UPRIGHT, ON_SIDE = 500.0, 750.0


def table(columns, *rows, compact=False):
    cells = tuple(TableRow(tuple(Cell(runs(text)) for text in row)) for row in rows)
    return Table("Any", tuple(columns), cells, is_compact=compact)


def widths(one):
    return columns_of(one, UPRIGHT, ON_SIDE)


KINDS = st.builds(
    TableColumn, st.text("abc ", max_size=30), is_number=st.booleans(), is_wordy=st.booleans(), is_short=st.booleans()
)


@given(st.lists(st.tuples(KINDS, st.text("abc xM1±\n", max_size=400)), min_size=1, max_size=16), st.booleans())
def test_no_table_is_wider_than_its_page(parts, compact):
    found = widths(table([column for column, _ in parts], [text for _, text in parts], compact=compact))
    assert sum(found.widths) <= (ON_SIDE if found.setting.on_side else UPRIGHT) + 1e-6
    assert min(found.widths) > 0


def test_a_small_table_keeps_its_page_upright_and_its_type_large():
    found = widths(table([TableColumn("Outlet"), TableColumn("Flow", is_number=True)], ["S1-1", "610 ± 44 m3/h"]))
    assert (found.setting.on_side, found.setting.size) == (False, 8.5)


def test_a_table_of_many_figures_lies_on_its_side():
    columns = [TableColumn("Figure", is_number=True) for _ in range(14)]
    assert widths(table(columns, ["123.456 m3/h"] * 14)).setting.on_side


def test_running_text_takes_the_room_that_is_left():
    columns = [TableColumn("Outlet"), TableColumn("Remarks", is_wordy=True), TableColumn("k", is_number=True)]
    found = widths(table(columns, ["S1-1", "read twice", "2.00"]))
    assert sum(found.widths) == pytest.approx(UPRIGHT)
    assert found.widths[1] > 400


def test_a_compact_table_is_no_wider_than_its_text_needs():
    assert sum(widths(table([TableColumn("Outlet")], ["S1-1"], compact=True)).widths) < 60


def test_words_beside_figures_stand_off_a_little():
    found = widths(
        table(
            [TableColumn("k", is_number=True), TableColumn("Conformity"), TableColumn("U", is_number=True)],
            ["2.00", "pass", "1"],
        )
    )
    assert found.left == (0, 4, 0)


@given(st.text("ab \n", max_size=200), st.integers(4, 30))
def test_pieces_are_the_whole_text(text, longest):
    assert "".join(pieces(text, longest)) == text


@given(st.text("ab ", max_size=200), st.integers(4, 30))
def test_a_word_is_broken_only_where_it_is_too_long(text, longest):
    assert len(pieces(text, longest)) == 1 or any(len(word) > longest for word in text.split())
    assert all(len(word) <= max(longest, 2) for piece in pieces(text, longest) for word in piece.split())
