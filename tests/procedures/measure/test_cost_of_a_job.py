"""A job costs few questions whatever its size, and makes no mapped object of a reading or an outlet; nor are readings of one
instrument, by one method, on one day asked of the gate one by one. No source: what the house promises of itself.
"""

import pytest
from sqlalchemy import event

from calib.procedures.measure import gate_reading
from calib.procedures.measure.evaluate import evaluate
from calib.records import database
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import LoggedSeries, Reading, Refusal, Traverse, TraversePoint
from tests.benchmarks.report_forms import job_of
from tests.every_way import every_way
from tests.folders import NOW, records_of

OF_A_READING = (Reading, Refusal, Outlet, Traverse, TraversePoint, LoggedSeries)


@pytest.fixture
def cost(tmp_path, monkeypatch):
    """What the evaluation of a job counts: statements, questions to the gate, and mapped objects of its readings."""

    def of(sheets, job):
        counts = {"statements": 0, "gate": 0, "objects": 0}

        def sent(*_):
            counts["statements"] += 1

        def made(*_):
            counts["objects"] += 1

        def gate(*asked, by=gate_reading.gate):
            counts["gate"] += 1
            return by(*asked)

        records = records_of(tmp_path / f"{len(sheets['readings.csv'])}", sheets)
        with monkeypatch.context() as patched, database.reading(str(records)) as session:
            patched.setattr(gate_reading, "gate", gate)
            event.listen(session.get_bind(), "before_cursor_execute", sent)
            for table in OF_A_READING:
                event.listen(table, "load", made)
            found = evaluate(session, job, NOW)
            for table in OF_A_READING:
                event.remove(table, "load", made)
        assert len(found.measured) + len(found.refused) == len(sheets["readings.csv"])
        return counts

    return of


def test_a_job_of_any_size_asks_the_same_and_makes_no_mapped_object_of_a_reading(cost):
    small, large = cost(job_of(40), "J-1"), cost(job_of(400), "J-1")
    assert large == small
    assert small["objects"] == 0
    assert small["statements"] > 0
    assert small["gate"] == 2  # VA-1 and VA-2, by one method on one day


def test_nor_does_a_job_measured_in_every_way_with_traverses_conditions_and_logs(cost):
    assert cost(every_way(), "E-1")["objects"] == 0
