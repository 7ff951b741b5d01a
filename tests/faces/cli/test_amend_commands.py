"""`calib instrument amend`, `method amend` and `job amend` as a person types them.

Source: ISO/IEC 17025:2017, 6.4.13 and 7.5.2 (from memory). What a flow is expected to be is that of a job typed right at once.
"""

import pytest

from calib.faces.files import write_export
from calib.procedures.enter.export_records import export_records
from calib.procedures.verify.whole_state import verify_state
from calib.records import database
from tests.command import calib
from tests.folders import changed, imported, records_of

REASON = ("--reason", "typed from another sheet")
SAME = 1e-12


@pytest.fixture
def records(small_records):
    return small_records


def stated(records):
    """Flow and U of each reading that stands, by what it is and its outlet."""
    document = calib("reading", "list", "J-1", "--json", records=records).document
    return {
        (each["outlet"], name): each["flow"][name]
        for each in document["readings"]
        for name in ("value", "expanded_uncertainty")
    }


def done(*words, records):
    ran = calib(*words, *REASON, records=records)
    assert (ran.status, ran.err) == (0, "")
    assert calib("verify", records=records).status == 0
    return ran


def comes_back(records, folder):
    """Records imported from an export state the same flows and have the same export."""
    with database.reading(str(records)) as session:
        write_export(folder / "export", export_records(session))
    new = folder / "new.sqlite"
    database.make(str(new))
    imported(new, folder / "export")
    with database.reading(str(new)) as session:
        write_export(folder / "again", export_records(session))
        assert verify_state(session).findings == ()
    for file in (folder / "export").glob("*.csv"):
        assert (folder / "again" / file.name).read_bytes() == file.read_bytes()
    assert stated(new) == stated(records)


# --- method ----------------------------------------------------------------------------------------------------------------------


def test_an_amended_method_counts_for_every_reading_by_it(records, tmp_path):
    ran = done("method", "amend", "sweep", "--set", "relative_standard_uncertainty_percent=4", records=records)
    assert ran.out.splitlines()[0] == "sweep is amended: revision 2"
    assert "relative_standard_uncertainty_percent: 2.5 -> 4" in ran.out
    right = records_of(tmp_path / "right", changed(("methods.csv", 2, "relative_standard_uncertainty_percent", "4")))
    assert stated(records) == pytest.approx(stated(right), rel=SAME)
    assert calib("method", "list", "--json", records=records).document["methods"][0][
        "relative_standard_uncertainty_percent"
    ] == "4"  # fmt: skip
    comes_back(records, tmp_path)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ("relative_standard_uncertainty_percent=-1", "relative_standard_uncertainty_percent"),
        ("own_standard_uncertainty_percent=1", "own_standard_uncertainty_percent"),
        ("relative_standard_uncertainty_percent=2.5", "--set"),
        ("method=scan", "--set"),
    ],
)
def test_a_wrong_amendment_of_a_method_writes_nothing(records, change, named):
    before = calib("verify", "--json", records=records).document
    ran = calib("method", "amend", "sweep", "--set", change, *REASON, records=records)
    assert ran.status == 2
    assert named in ran.err
    assert calib("verify", "--json", records=records).document == before


# --- job -------------------------------------------------------------------------------------------------------------------------


def test_a_job_on_record_gets_another_rule_and_says_so_in_its_report(records, tmp_path):
    done("job", "amend", "J-1", "--set", "decision_rule=simple", "--set", "client=Another", records=records)
    right = records_of(
        tmp_path / "right", changed(("jobs.csv", 2, "decision_rule", "simple"), ("jobs.csv", 2, "client", "Another"))
    )

    def conformity(of):
        document = calib("conformity", "J-1", "--json", records=of).document
        return document["decision_rule"], [each["conformity"] for each in document["outlets"]]

    assert conformity(records) == conformity(right)
    calib("report", "J-1", "--format", "html", "--into", tmp_path, records=records)
    page = next(tmp_path.glob("*.html")).read_text(encoding="utf-8")
    assert "guarded non-binary" in page
    assert REASON[1] in page
    comes_back(records, tmp_path)


def test_a_job_that_states_when_its_rule_was_agreed_states_by_whom(records):
    ran = calib("job", "amend", "J-1", "--set", "agreed_on=2026-02-27", *REASON, records=records)
    assert ran.status == 2
    assert "agreed_by" in ran.err
    done("job", "amend", "J-1", "--set", "agreed_by=C. Client", "--set", "agreed_on=2026-02-27", records=records)


def test_rule_density_and_agreement_are_not_a_technicians(records):
    for name, role in (("Quinn", "QA"), ("Ed", "engineer"), ("Tom", "technician")):
        assert calib("person", "add", name, "--role", role, "--by", "Quinn", records=records).status == 0
    for change, status in (("client=Another", 0), ("decision_rule=simple", 2), ("density_kg_per_m3=1.2", 2)):
        ran = calib("job", "amend", "J-1", "--set", change, *REASON, "--by", "Tom", records=records)
        assert ran.status == status, ran.err
    ran = calib("job", "amend", "J-1", "--set", "decision_rule=simple", *REASON, "--by", "Ed", records=records)
    assert ran.status == 0


# --- instrument ------------------------------------------------------------------------------------------------------------------


def test_an_instrument_that_was_always_wrong_counts_as_typed_right(records, tmp_path):
    ran = done("instrument", "amend", "VA-1", "--set", "mpe_percent=2", "--always-wrong", records=records)
    assert "mpe_percent: 1.0 -> 2" in ran.out
    right = records_of(tmp_path / "right", changed(("instruments.csv", 2, "mpe_percent", "2")))
    assert stated(records) == pytest.approx(stated(right), rel=SAME)
    comes_back(records, tmp_path)


def test_an_amendment_from_a_time_on_leaves_the_readings_before_it(records):
    before = stated(records)
    done("instrument", "amend", "VA-1", "--set", "mpe_percent=2", "--from", "2026-03-05T09:30+01:00", records=records)
    after = stated(records)
    assert {named for named in before if before[named] != after[named]} == {("E-1", "expanded_uncertainty")}
    assert after["E-1", "expanded_uncertainty"] > before["E-1", "expanded_uncertainty"]


def test_a_later_amendment_of_what_was_always_wrong_leaves_what_held_from_a_time(records):
    done("instrument", "amend", "VA-1", "--set", "mpe_percent=2", "--from", "2026-03-05T09:30+01:00", records=records)
    before = stated(records)
    done("instrument", "amend", "VA-1", "--set", "serial=009", "--always-wrong", records=records)
    assert stated(records) == before
    shown = calib("instrument", "show", "VA-1", "--json", records=records).document
    assert shown["instrument"]["serial"] == "009"
    assert [each["column"] for each in shown["amendments"]] == ["mpe_percent", "serial"]
    assert "always wrong" in calib("instrument", "show", "VA-1", records=records).out


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("--set", "mpe_percent=2"), "--from"),
        (("--set", "mpe_percent=2", "--from", "2026-03-05", "--always-wrong"), "--from"),
        (("--set", "mpe_percent=2", "--from", "2999-01-01"), "--from"),
        (("--set", "quantity=pressure", "--always-wrong"), "--set"),
        (("--set", "location=van 9", "--from", "2026-03-05"), "--set"),
        (("--set", "range_high=0.1", "--always-wrong"), "range_high"),
        (("--set", "serial=", "--always-wrong"), "serial"),
    ],
)
def test_a_wrong_amendment_of_an_instrument_writes_nothing(records, words, named):
    before = calib("verify", "--json", records=records).document
    ran = calib("instrument", "amend", "VA-1", *words, *REASON, records=records)
    assert ran.status == 2
    assert named in ran.err
    assert calib("verify", "--json", records=records).document == before


def test_a_resolution_that_was_wrong_leaves_the_curves_on_record_and_verify_knows_why(records):
    done("instrument", "amend", "VA-1", "--set", "resolution=0.1", "--always-wrong", records=records)


def test_a_tag_in_use_is_not_given_again_and_the_message_says_to_whom_it_belongs(records):
    calib("instrument", "retire", "VA-1", "--reason", "beyond repair", records=records)
    ran = calib(
        "instrument", "add", "VA-1", "--kind", "vane", "--maker", "M", "--model", "N", "--serial", "7", "--range-low", "0.3",
        "--range-high", "20", "--unit", "m/s", "--resolution", "0.01", "--mpe-percent", "2", "--interval-months", "12",
        records=records,
    )  # fmt: skip
    assert ran.status == 2
    assert "Maker M1, serial 001" in ran.err
    assert "retired" in ran.err
