"""What an instrument serves as, by what is on record of it."""

import pytest

from calib.procedures.on_record.serves_as import is_probe
from calib.records.tables.instruments import Instrument


def instrument(kind, **cells):
    return Instrument(id=7, tag="X-1", kind=kind, **{"quantity": "air velocity"} | cells)


@pytest.mark.parametrize(
    ("kind", "probe"),
    [
        ("pitot-static tube", True),
        ("S-type Pitot", True),
        ("averaging probe", True),
        ("vane", False),
        ("vane probe", False),
        ("hot-wire probe", False),
        ("thermal probe", False),
        ("anemometer with telescopic tube", False),
    ],
)
def test_a_probe_is_known_by_its_kind_until_it_is_used(kind, probe):
    assert is_probe(instrument(kind), frozenset(), frozenset()) is probe


def test_what_readings_say_of_a_probe_counts_before_its_kind():
    assert is_probe(instrument("cross"), frozenset({7}), frozenset())
    assert not is_probe(instrument("pitot tube"), frozenset(), frozenset({7}))


@pytest.mark.parametrize(
    "cells",
    [{"quantity": "pressure"}, {"indication_quantity": "pressure"}, {"density_effect": "thermal"}],
)
def test_a_probe_is_calibrated_in_air_velocity_and_indicates_it(cells):
    assert not is_probe(instrument("pitot tube", **cells), frozenset({7}), frozenset())
