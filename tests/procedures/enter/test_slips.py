"""Slips superseded, on a file and on a server: who may, what an export brings back, what `verify` proves of it.

Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be tracked to previous versions; from memory). What is expected of the flows is a
job without what was taken back, read off the sheets.
"""

from datetime import timedelta

import pytest
from sqlmodel import select

from calib.errors import BadInputError
from calib.faces.files import write_export
from calib.procedures.enter.add_reading import add_reading
from calib.procedures.enter.correct_reading import correct_reading
from calib.procedures.enter.dismiss_refusal import dismiss_refusal
from calib.procedures.enter.export_records import export_records
from calib.procedures.enter.withdraw_reading import withdraw_reading
from calib.procedures.fleet.record_event import record_event
from calib.procedures.fleet.withdraw_event import withdraw_event
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.people.authorise import append
from calib.procedures.people.persons_and_roles import PersonWanted, add_person
from calib.procedures.verify.whole_state import verify_state
from calib.records import database, ledger
from calib.records.tables.entries import Retraction
from calib.records.tables.events import Event
from calib.records.tables.readings import Reading
from tests.command import copied
from tests.folders import NOW, changed, flows_of, imported, ledger_head, records_of, small_job, write

WHY = "two digits were exchanged"
LATER = NOW + timedelta(hours=1)


@pytest.fixture
def small_file(_small, tmp_path):
    """The small job in a file, with people: on a server the login says who writes (tests/procedures/people/test_grants.py)."""
    records = copied(_small, tmp_path / "small.sqlite")
    people(records)
    return records


def signed(person="A. Person", at=NOW):
    return ledger.Signature(person, at, "test")


def reading_at(session, outlet):
    return next(each.reading for each in evaluate(session, "J-1", NOW).measured if each.outlet.outlet == outlet)


def correct(session, outlet, reason=WHY, signature=None, **cells):
    number = reading_at(session, outlet).id
    return correct_reading(session, "J-1", number, cells, None, {}, reason, signature or signed(), NOW)


def without(outlet):
    sheets = small_job()
    sheets["readings.csv"] = [row for row in sheets["readings.csv"] if row["outlet"] != outlet]
    return sheets


def people(records):
    with database.writing(str(records)) as session:
        for name, role in (("Quinn", "QA"), ("Ed", "engineer"), ("Tom", "technician")):
            add_person(session, PersonWanted(name, None, (role,)), signed("Quinn"))


def test_a_job_without_the_withdrawn_reading_is_what_is_left(small_records, tmp_path):
    with database.writing(str(small_records)) as session:
        withdraw_reading(session, "J-1", reading_at(session, "S-2").id, WHY, signed())
    assert flows_of(small_records, "J-1") == flows_of(records_of(tmp_path / "without", without("S-2")), "J-1")


def test_a_corrected_reading_counts_as_typed_right_from_the_start(small_records, tmp_path):
    with database.writing(str(small_records)) as session:
        done = correct(session, "S-1", indication="4.30", observations="4.29;4.32;4.29")
    right = changed(("readings.csv", 2, "indication", "4.30"), ("readings.csv", 2, "observations", "4.29;4.32;4.29"))
    assert flows_of(small_records, "J-1") == flows_of(records_of(tmp_path / "right", right), "J-1")
    with database.reading(str(small_records)) as session:
        retraction = session.exec(select(Retraction)).one()
        both = [session.get(Reading, number) for number in (done.reading, done.corrected)]
        assert (retraction.record_id, retraction.replaced_by_id, retraction.reason) == (
            done.reading,
            done.corrected,
            WHY,
        )
        assert [each.revision for each in both] == [None, 2]
        assert [each.indication for each in both] == ["4.20", "4.30"]
        assert verify_state(session).findings == ()


def test_what_was_superseded_comes_back_from_an_export(small_records, tmp_path):
    with database.writing(str(small_records)) as session:
        correct(session, "S-1", indication="4.30", observations="4.29;4.32;4.29")
        withdraw_reading(session, "J-1", reading_at(session, "S-2").id, WHY, signed())
        event = record_event(session, "VA-2", "suspension", NOW - timedelta(days=2), "dropped", signed())
        withdraw_event(session, "VA-2", event.record.id, "another was dropped", signed())
    with database.reading(str(small_records)) as session:
        write_export(tmp_path / "export", export_records(session))
    new = tmp_path / "new.sqlite"
    database.make(str(new))
    imported(new, tmp_path / "export")
    assert flows_of(new, "J-1") == flows_of(small_records, "J-1")
    with database.reading(str(new)) as session:
        write_export(tmp_path / "again", export_records(session))
        assert len(session.exec(select(Retraction)).all()) == 3
        assert verify_state(session).findings == ()
    for file in (tmp_path / "export").glob("*.csv"):
        assert (tmp_path / "again" / file.name).read_bytes() == file.read_bytes()


def test_a_technician_takes_back_a_reading_and_no_event(small_file):
    with database.writing(str(small_file)) as session:
        withdraw_reading(session, "J-1", reading_at(session, "S-2").id, WHY, signed("Tom", LATER))
        event = record_event(session, "VA-2", "suspension", NOW, "dropped", signed("Tom", LATER))
    before = ledger_head(small_file)
    with pytest.raises(BadInputError, match="QA: Quinn"), database.writing(str(small_file)) as session:
        withdraw_event(session, "VA-2", event.record.id, "another was dropped", signed("Tom", LATER))
    assert ledger_head(small_file) == before
    with database.writing(str(small_file)) as session:
        withdraw_event(session, "VA-2", event.record.id, "another was dropped", signed("Quinn", LATER))


def test_a_refusal_is_dismissed_by_qa_or_engineer_and_may_be_typed_again(small_file):
    row = {
        "job": "J-1", "outlet": "S-2", "instrument": "VA-1", "observed_at": "2026-03-05T11:20+01:00", "unit": "m/s",
        "indication": "19.0", "method": "sweep",
    }  # fmt: skip
    with database.writing(str(small_file)) as session:
        assert len(add_reading(session, row, None, signed("Tom", LATER), LATER, sure=True).refusals) == 1
    with pytest.raises(BadInputError, match="engineer: Ed"), database.writing(str(small_file)) as session:
        dismiss_refusal(session, "J-1", 1, "a slip", signed("Tom", LATER))
    with database.writing(str(small_file)) as session:
        dismiss_refusal(session, "J-1", 1, "a slip", signed("Ed", LATER))
    with database.reading(str(small_file)) as session:
        assert evaluate(session, "J-1", LATER).refused == ()
    with database.writing(str(small_file)) as session:
        assert add_reading(session, row | {"indication": "3.1"}, None, signed("Tom", LATER), LATER).refusals == ()


@pytest.mark.parametrize(
    ("rows", "column", "expected"),
    [
        ((("", ""), ("2", "")), "withdrawn", "why: revision 2 takes its place"),
        ((("", "slip"), ("3", "")), "revision", "2: revisions of one reading are counted"),
        ((("2", ""),), "revision", "1: revisions of one reading are counted"),
    ],
)
def test_revisions_of_a_file_are_counted_and_say_why(empty_records, tmp_path, rows, column, expected):
    sheets = small_job()
    first = sheets["readings.csv"][0]
    revised = [first | {"revision": revision, "withdrawn": why} for revision, why in rows]
    blank = {"revision": "", "withdrawn": ""}
    sheets["readings.csv"] = [*revised, *(row | blank for row in sheets["readings.csv"][1:])]
    with pytest.raises(BadInputError) as caught:
        imported(empty_records, write(tmp_path / "import", sheets))
    assert [(each.column, each.expected) for each in caught.value.findings] == [(column, expected)]


@pytest.mark.parametrize(
    ("cells", "problem"),
    [
        ({"record_table": "reading", "record_id": 99}, "takes back reading 99, which is not there"),
        (
            {"record_table": "reading", "record_id": 1, "replaced_by_id": 2},
            "puts reading 2 in the place of 1, which is no revision",
        ),
    ],
)
def test_a_retraction_that_means_nothing_is_found(small_records, cells, problem):
    with database.writing(str(small_records)) as session:
        append(session, [Retraction(reason="put in past the procedures", **cells)], signed())
    with database.reading(str(small_records)) as session:
        assert [each.problem.startswith(problem) for each in verify_state(session).findings] == [True]


def test_a_release_after_a_withdrawn_suspension_is_of_nothing(small_records):
    with database.writing(str(small_records)) as session:
        event = record_event(session, "VA-1", "suspension", NOW, "dropped", signed())
        withdraw_event(session, "VA-1", event.record.id, "another was dropped", signed())
    with pytest.raises(BadInputError, match="not suspended"), database.writing(str(small_records)) as session:
        record_event(session, "VA-1", "release", NOW, "in order", signed())
    with database.reading(str(small_records)) as session:
        assert len(session.exec(select(Event)).all()) == 1
