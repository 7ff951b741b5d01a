"""Impact reviews that fit a wish, in an order: PG-1 was found 4 % high (review 1), and later VA-1 too (review 2)."""

import pytest

from calib.errors import BadInputError
from calib.procedures.impact.dispose_review import DispositionWanted, dispose_review
from calib.procedures.impact.list_reviews import ReviewWish, list_reviews
from calib.records import database, ledger
from tests.as_found import LATER, added, drifted
from tests.folders import small_job


@pytest.fixture
def records(small_records, tmp_path):
    """Both reviews; each of the three lines of the second is disposed of, and no line of the first."""
    added(small_records, tmp_path / "first", drifted(small_job(), "PG-1"))
    added(small_records, tmp_path / "second", drifted(small_job(), "VA-1", certificate="D-2"))
    with database.writing(str(small_records)) as session:
        stands = DispositionWanted(2, [1, 2, 3], "stands", ["small", "small", "small"])
        dispose_review(session, stands, ledger.Signature("Q. Person", LATER, "review dispose"), LATER)
    return small_records


def listed(records, sort="newest", **wish):
    with database.reading(str(records)) as session:
        return [review.review for review in list_reviews(session, ReviewWish(**wish), sort)]


def test_reviews_are_listed_by_what_is_wanted_and_in_the_order_wanted(records):
    assert listed(records) == [2, 1]
    assert listed(records, "instrument") == [1, 2]
    assert listed(records, "open lines") == [1, 2]
    assert listed(records, state="open") == [1]
    assert listed(records, state="closed") == [2]
    assert listed(records, instrument="va") == [2]
    assert listed(records, job="j-1", instrument="pg") == [1]
    assert listed(records, job="J-2") == []


def test_a_state_or_an_order_that_is_none_is_named_with_those_that_there_are(records):
    with pytest.raises(
        BadInputError, match=r"state: 'asleep'; expected one of open, closed\nsort: 'colour'; expected one of newest"
    ):
        listed(records, "colour", state="asleep")
