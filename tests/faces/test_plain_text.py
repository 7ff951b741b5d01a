"""Text on a terminal fits its width; a file or a pipe gets it as wide as it is. Expected texts are written by hand."""

import pytest

from calib.faces.plain_text import as_wide_as, fitted, table_text, wrapped

HEADER = ("outlet", "service", "flow", "remark")
ROWS = [
    ("S1 hall", "supply", "(554 ± 35) m3/h", "read from a ladder, the vane held at the middle of the grille"),
    ("R1 hall", "return", "(98 ± 7) m3/h", "-"),
]


def test_a_file_or_a_pipe_gets_a_table_as_wide_as_it_is() -> None:
    lines = table_text(HEADER, ROWS).split("\n")

    assert lines[0].split() == list(HEADER)
    assert lines[1].endswith("middle of the grille")
    assert len(lines) == 3


def test_a_table_that_nearly_fits_a_terminal_wraps_its_last_column() -> None:
    with as_wide_as(70):
        told = table_text(HEADER, ROWS)

    assert told.split("\n") == [
        "outlet   service  flow             remark",
        "S1 hall  supply   (554 ± 35) m3/h  read from a ladder, the vane held",
        "                                   at the middle of the grille",
        "R1 hall  return   (98 ± 7) m3/h    -",
    ]


def test_a_table_too_wide_for_a_terminal_becomes_a_card_for_each_row_without_what_is_blank() -> None:
    with as_wide_as(40):
        told = table_text(HEADER, ROWS)

    assert told.split("\n") == [
        "outlet S1 hall",
        "  service: supply;",
        "  flow: (554 ± 35) m3/h; remark: read",
        "  from a ladder, the vane held at the",
        "  middle of the grille",
        "outlet R1 hall",
        "  service: return; flow: (98 ± 7) m3/h",
    ]


def test_numbers_stand_to_the_right_where_that_is_asked_for() -> None:
    assert table_text(("k", "U"), [("2.0", "7"), ("1.96", "35")], right=(1,)).split("\n") == [
        "k      U",
        "2.0    7",
        "1.96  35",
    ]


@pytest.mark.parametrize("columns", [30, 45, 60, 100])
def test_no_line_of_prose_is_wider_than_the_terminal(columns: int) -> None:
    sentence = (
        "no number of observations suffices, since the method rules: have one declared by pairs of readings in a duct"
    )

    with as_wide_as(columns):
        lines = [*fitted(f"{sentence}\n  - {sentence}\n└─ {sentence}").split("\n"), *wrapped(sentence)]

    assert max(map(len, lines)) <= columns


def test_what_hangs_on_a_branch_or_an_item_stays_below_it() -> None:
    with as_wide_as(30):
        told = fitted("├─ certificate TH-1, Tarn Hill, accepted\n- calibrated on 3 March, accepted")

    assert told.split("\n") == [
        "├─ certificate TH-1, Tarn",
        "│  Hill, accepted",
        "- calibrated on 3 March,",
        "  accepted",
    ]


def test_a_command_to_copy_stays_on_one_line() -> None:
    command = "  calib review show VA-11 TH-26-0412 --records /srv/calibration.sqlite"

    with as_wide_as(40):
        assert fitted(command) == command


def test_nothing_is_fitted_where_no_terminal_is_written_to() -> None:
    assert fitted("x " * 200) == "x " * 200
