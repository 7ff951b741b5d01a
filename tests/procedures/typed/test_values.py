"""Values in a line as a person types them; what two things may be meant by is refused."""

import pytest

from calib.errors import BadInputError
from calib.procedures.typed.values import cell_of, values_typed


@pytest.mark.parametrize(
    ("line", "values"),
    [
        ("412 418 409", ["412", "418", "409"]),
        ("412;418;409", ["412", "418", "409"]),
        ("412; 418 ;409", ["412", "418", "409"]),
        ("412, 418, 409", ["412", "418", "409"]),
        ("2,41 2,38 2,4", ["2.41", "2.38", "2.4"]),
        ("2,41;2,38", ["2.41", "2.38"]),
        ("2,41, 2,38", ["2.41", "2.38"]),
        ("2,411 2,38", ["2.411", "2.38"]),
        (" 2.41 ", ["2.41"]),
        ("-3.2 0", ["-3.2", "0"]),
    ],
)
def test_a_line_is_read_as_people_write_it(line, values):
    assert values_typed(line) == values


@pytest.mark.parametrize(
    ("line", "value", "expected"),
    [
        ("412,418", "412,418", "412.418, or 412 and 418 parted by a blank: it may mean either"),
        ("412,418,409", "412,418,409", "numbers, parted by blanks"),
        ("2.41 2.x8", "2.x8", "numbers, parted by blanks"),
        ("nan", "nan", "numbers, parted by blanks"),
        ("1e999", "1e999", "numbers, parted by blanks"),
        (" ; ", ";", "values parted by blanks"),
    ],
)
def test_what_is_no_value_or_may_be_two_is_named(line, value, expected):
    with pytest.raises(BadInputError) as caught:
        values_typed(line)
    assert [(each.value, each.expected) for each in caught.value.findings] == [(value, expected)]


def test_one_value_is_the_mean_as_shown():
    assert cell_of(["2.41"]) == {"indication": "2.41"}
    assert cell_of(["2.41", "2.38"]) == {"observations": "2.41;2.38"}
