"""What came after the first typing is imported too, and each wrong cell of it is named. Source: common practice, no source."""

import pytest
from sqlmodel import select

from calib.procedures.typed.columns import FILES
from calib.records import database
from calib.records.tables.events import Event, IntermediateCheck
from calib.records.tables.readings import Reading, Refusal
from tests.folders import findings_of, flows_of, imported, ledger_head, records_of, small_job, write

EVENT = {"tag": "VA-1", "kind": "suspension", "at": "2026-03-05T08:00+01:00", "reason": "dropped", "value": ""}
CHECK = {
    "tag": "VA-1", "at": "2026-03-05T08:00+01:00", "kind": "zero", "value": "0.01", "low": "-0.02", "high": "0.02",
    "unit": "m/s", "remarks": "", "other": "", "basis": "",
}  # fmt: skip
CURVE = {
    "tag": "VA-1",
    "certificate": "C-101",
    "shape": "polynomial",
    "degree": "1",
    "chosen_by": "Q.",
    "reason": "as before",
}
WITHDRAWAL = {"tag": "VA-1", "certificate": "C-101", "reason": "typed from another sheet"}
PAIRING = {"probe": "VA-2", "meter": "VA-1", "kind": "paired", "at": "2026-03-05T08:00+01:00", "reason": "one case"}
FACTOR = {
    "factor": "G", "revision": "1", "scope": "this outlet", "job": "J-1", "outlet": "S-2", "outlet_type": "",
    "instrument": "VA-1", "certificate": "C-101", "method": "sweep", "value": "0.84", "effective_area": "0.0378",
    "relative_spread": "0.01", "degrees_of_freedom": "", "relative_reference": "0.01", "relative_instrument": "0.01",
    "face_indications": "3.1", "reason": "two traverses",
}  # fmt: skip
PAIR = {"factor": "G", "revision": "1", "value": "0.84"} | {
    f"{where}_{name}": cell
    for where, at in (("traverse", "2026-03-05T09:10+01:00"), ("face", "2026-03-05T09:20+01:00"))
    for name, cell in (
        ("job", "J-1"),
        ("outlet", "S-1" if where == "traverse" else "S-2"),
        ("instrument", "VA-1"),
        ("observed_at", at),
    )
}


def amendment(**changes):
    """Outlet S-1 amended: wider than it was typed."""
    first = small_job()["outlets.csv"][0]
    return first | {"revision": "2", "reason": "measured again", "width": "410"} | changes


ROWS = {
    "events.csv": EVENT,
    "checks.csv": CHECK,
    "curves.csv": CURVE,
    "pairings.csv": PAIRING,
    "withdrawals.csv": WITHDRAWAL,
    "factors.csv": FACTOR,
    "factor_pairs.csv": PAIR,
    "amendments.csv": amendment(),
}


def with_rows(**files):
    """The small job with rows in further files, named without their ending."""
    return small_job() | {f"{name}.csv": found for name, found in files.items()}


def in_records(records, table):
    with database.reading(str(records)) as session:
        return list(session.exec(select(table)))


@pytest.mark.parametrize("file", ROWS)
def test_the_rows_below_have_the_columns_of_their_files(file):
    known = [column.name for column in FILES[file]]
    assert set(ROWS[file]) <= set(known)
    assert {column.name for column in FILES[file] if column.required} <= set(ROWS[file])


def test_events_and_checks_are_written_as_typed(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "in", with_rows(events=[EVENT], checks=[CHECK])))
    (event,) = in_records(empty_records, Event)
    assert (event.kind, event.at, event.reason, event.value) == ("suspension", EVENT["at"], "dropped", None)
    (check,) = in_records(empty_records, IntermediateCheck)
    assert (check.value, check.low, check.high, check.result) == ("0.01", "-0.02", "0.02", "passed")


@pytest.mark.parametrize(
    ("value", "result"), [("0.02", "passed"), ("-0.02", "passed"), ("0.021", "failed"), ("-1", "failed")]
)
def test_whether_a_check_passed_follows_from_its_limits(empty_records, tmp_path, value, result):
    imported(empty_records, write(tmp_path / "in", with_rows(checks=[CHECK | {"value": value}])))
    assert [one.result for one in in_records(empty_records, IntermediateCheck)] == [result]


@pytest.mark.parametrize(
    "rows", [{"events": [EVENT]}, {"checks": [CHECK | {"value": "9"}]}], ids=["suspended", "failed"]
)
def test_the_gate_knows_them_when_the_readings_come(empty_records, tmp_path, rows):
    imported(empty_records, write(tmp_path / "in", with_rows(**rows)))
    assert {one.instrument_id for one in in_records(empty_records, Refusal)} == {1}
    assert {one.instrument_id for one in in_records(empty_records, Reading)} == {2}


def test_they_may_speak_of_instruments_on_record(small_records, tmp_path):
    folder = write(tmp_path / "in", {"events.csv": [EVENT], "checks.csv": [CHECK], "pairings.csv": [PAIRING]})
    imported(small_records, folder)
    assert len(in_records(small_records, Event)) == 1


def test_an_amended_outlet_counts_as_it_was_amended(tmp_path):
    """The area, and so the flow, is 410/400 of what it was."""
    before = flows_of(records_of(tmp_path / "a", small_job()))
    after = flows_of(records_of(tmp_path / "b", with_rows(amendments=[amendment()])))
    assert after["S-1"] == pytest.approx(before["S-1"] * 410 / 400)
    assert after["S-2"] == before["S-2"]


def test_a_chosen_curve_counts(tmp_path):
    before = flows_of(records_of(tmp_path / "a", small_job()))
    degree = CURVE | {"degree": "0"}
    assert flows_of(records_of(tmp_path / "b", with_rows(curves=[degree])))["S-1"] != before["S-1"]


def test_a_reading_made_before_the_amendment_stays_a_reading(tmp_path):
    """S-2 got a factor that was found with another method: its reading does not count with it, but it was taken."""
    sheets = with_rows(factors=[FACTOR | {"method": "other"}])
    sheets["methods.csv"] += [{"method": "other", "relative_standard_uncertainty_percent": "1", "basis": "b"}]
    second = sheets["outlets.csv"][1]
    blank = dict.fromkeys(("outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source"), "")
    sheets["amendments.csv"] = [second | blank | {"found_factor": "G", "revision": "2", "reason": "found"}]
    records = records_of(tmp_path / "a", sheets)
    assert len(in_records(records, Reading)) == 4
    assert "S-2" not in flows_of(records)


BAD = {
    "an unknown tag": ("events", EVENT | {"tag": "XX"}, "tag", "the tag of an instrument"),
    "an unknown kind": ("events", EVENT | {"kind": "lost"}, "kind", "one of suspension"),
    "an event to come": ("events", EVENT | {"at": "2027-01-01T00:00+00:00"}, "at", "a time that is not in the future"),
    "a time without zone": ("events", EVENT | {"at": "2026-03-05T08:00"}, "at", "a time with its zone"),
    "no reason": ("events", EVENT | {"reason": ""}, "reason", "a value"),
    "an interval that is none": ("events", EVENT | {"kind": "interval change", "value": "long"}, "value", "in months"),
    "no interval": ("events", EVENT | {"kind": "interval change"}, "value", "in months"),
    "limits that fall": ("checks", CHECK | {"low": "1"}, "high", "a number not below low (1)"),
    "another that is unknown": ("checks", CHECK | {"other": "XX"}, "other", "the tag of an instrument"),
    "a basis that is none": ("checks", CHECK | {"basis": "{"}, "basis", "the JSON that `calib` wrote"),
    "a check to come": ("checks", CHECK | {"at": "2027-01-01T00:00+00:00"}, "at", "a time that is not in the future"),
    "a probe with itself": ("pairings", PAIRING | {"probe": "VA-1"}, "meter", "another instrument than the probe"),
    "an unknown certificate": ("curves", CURVE | {"certificate": "C-9"}, "certificate", "a certificate of VA-1"),
    "a degree too high": ("curves", CURVE | {"degree": "17"}, "degree", "a degree, 0 to 9"),
    "a factor of no outlet": ("factors", FACTOR | {"outlet": "S-9"}, "outlet", "an outlet in outlets.csv"),
    "a factor of both": ("factors", FACTOR | {"outlet_type": "grille"}, "outlet_type", "of a factor for a type alone"),
    "a factor of no type": ("factors", FACTOR | {"scope": "this type", "job": "", "outlet": ""}, "outlet_type", "the type"),
    "a factor of no certificate": ("factors", FACTOR | {"certificate": "C-9"}, "certificate", "a certificate of VA-1"),
    "a factor of no method": ("factors", FACTOR | {"method": "wave"}, "method", "a method in methods.csv"),
    "a factor of 0": ("factors", FACTOR | {"value": "0"}, "value", "a finite number above 0"),
    "a pair of no factor": ("factor_pairs", PAIR, "revision", "a factor and a revision of it"),
    "an amendment of no outlet": ("amendments", amendment(outlet="S-9"), "outlet", "an outlet in outlets.csv"),
    "an amendment out of turn": ("amendments", amendment(revision="3"), "revision", "2: the outlet as first typed"),
    "an amendment that is wrong": ("amendments", amendment(width=""), "width", "a width above 0"),
    "an amendment with an unknown factor": (
        "amendments",
        amendment(outlet_factor="", outlet_factor_standard_uncertainty="", found_factor="H"),
        "found_factor",
        "a factor found from pairs of readings that is on record",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("file", "row", "column", "expected"), BAD.values(), ids=BAD)
def test_a_wrong_cell_is_named_and_nothing_is_written(empty_records, tmp_path, file, row, column, expected):
    findings = findings_of(empty_records, write(tmp_path / "in", with_rows(**{file: [row]})))
    assert [(one.column, one.row) for one in findings] == [(column, 2)]
    assert findings[0].source.endswith(f"{file}.csv")
    assert expected in findings[0].expected
    assert ledger_head(empty_records)[0] == 0


def test_a_factor_for_one_outlet_is_no_factor_of_another(empty_records, tmp_path):
    wrong = amendment(
        outlet_factor="", outlet_factor_standard_uncertainty="", outlet_factor_source="", found_factor="G"
    )
    findings = findings_of(empty_records, write(tmp_path / "in", with_rows(factors=[FACTOR], amendments=[wrong])))
    assert [one.column for one in findings] == ["found_factor"]
    assert "it was found for S-2" in findings[0].expected


def test_a_pair_of_readings_that_are_not_there_is_named(empty_records, tmp_path):
    wrong = PAIR | {"face_observed_at": "2026-03-05T09:21+01:00"}
    findings = findings_of(empty_records, write(tmp_path / "in", with_rows(factors=[FACTOR], factor_pairs=[wrong])))
    assert [one.column for one in findings] == ["face_observed_at"]


def test_a_wrong_first_form_of_an_outlet_is_named_though_it_was_amended(empty_records, tmp_path):
    sheets = with_rows(amendments=[amendment()])
    sheets["outlets.csv"][0]["dimension_unit"] = ""
    findings = findings_of(empty_records, write(tmp_path / "in", sheets))
    assert [(one.source.rpartition("/")[2], one.column) for one in findings] == [("outlets.csv", "dimension_unit")]
