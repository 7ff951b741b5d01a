"""What may be used instead of an instrument: what measures the same, where it does."""

from datetime import datetime

import pytest

from calib.procedures.fleet.ready_instead import ready_instead
from calib.procedures.on_record.serves_as import Duty
from calib.records import database

AT = datetime.fromisoformat("2026-10-15T12:00+01:00")


def instead(records, tag, wanted=None):
    with database.reading(str(records)) as session:
        return [each.instrument.tag for each in ready_instead(session, tag, AT, AT, wanted)]


# Of the demo: VA-11, VA-12 and TA-05 were read at grilles, TA-06 in ducts, PT-07 before DM-31; RS-01 is a standard.
@pytest.mark.parametrize(
    ("tag", "wanted", "others"),
    [
        ("VA-11", None, ["TA-05", "VA-12"]),
        ("VA-11", Duty.AT_A_FACE, ["TA-05", "VA-12"]),
        ("VA-11", Duty.IN_A_SECTION, ["TA-06"]),
        ("TA-06", None, []),
        ("PT-07", None, []),
        ("RS-01", None, []),
        ("DM-31", None, []),  # the other one for pressure is a barometer
        ("BP-01", None, []),
    ],
)
def test_what_serves_as_the_same_is_offered(demo_records, tag, wanted, others):
    assert instead(demo_records, tag, wanted) == others
