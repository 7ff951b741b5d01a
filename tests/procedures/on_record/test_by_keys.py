"""Records asked for by numbers that a person typed. Common practice, no source."""

import pytest

from calib.errors import NotInRecordsError
from calib.procedures.impact.record_named import record_named
from calib.procedures.on_record.by_keys import numbered
from calib.procedures.on_record.reviews import review_numbered
from calib.records import database
from calib.records.tables.readings import Reading


@pytest.mark.parametrize("typed", [0, -1, 2**31 - 1, 2**31, 2**63, 10**20])
def test_a_number_that_no_record_has_is_none_however_large_it_is(small_records, typed):
    with database.reading(str(small_records)) as session:
        assert numbered(session, Reading, 1) is not None
        assert numbered(session, Reading, typed) is None
        with pytest.raises(NotInRecordsError, match=f"no impact review {typed}"):
            review_numbered(session, typed)


@pytest.mark.parametrize("typed", [2**31, 10**17, 10**20])
def test_no_reading_is_named_by_a_number_too_large_for_a_database(small_records, typed):
    with database.reading(str(small_records)) as session, pytest.raises(NotInRecordsError, match=f"reading {typed}"):
        record_named(session, ["reading", str(typed)])
