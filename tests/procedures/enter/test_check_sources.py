"""Names of outlet factor sources as they are typed: one source under one name, and slips named with what they look like.

Source: `calib help factors`; common practice, no source, for what is refused.
"""

import pytest
from sqlmodel import select

from calib.procedures.on_record.sources import source_names
from calib.records import database
from calib.records.tables.factors import Source, SourceSpelling
from calib.records.tables.outlets import Outlet
from tests.command import calib, copied
from tests.folders import all_of, changed, findings_of, imported, ledger_head, records_of, small_job, write

GRILLE = {"source": "Grille table", "document": "Data sheet 12", "edition": "2024", "basis": "measured by the maker"}
SPELLING = {"spelling": "gr. tab.", "source": "grille TABLE", "reason": "short for it in the drawings"}


def with_sources(*sources, spellings=(), cells=()):
    """The small job, whose return has the factor of maker's sheet, with sources."""
    sheets = changed(*cells) | {"sources.csv": list(sources), "source_spellings.csv": list(spellings)}
    return {name: rows for name, rows in sheets.items() if rows}


def from_source(row, name):
    return ("outlets.csv", row, "outlet_factor_source", name)


def first_finding(empty_records, tmp_path, sheets):
    """The one finding, its file without the folder."""
    (finding,) = findings_of(empty_records, write(tmp_path / "in", sheets))
    return finding


def test_sources_and_spellings_are_kept_as_they_were_typed(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "in", with_sources(GRILLE, spellings=[SPELLING])))
    with database.reading(str(empty_records)) as session:
        (source,), (spelling,) = session.exec(select(Source)).all(), session.exec(select(SourceSpelling)).all()
        assert source.model_dump(exclude={"id"}) == GRILLE
        assert (spelling.spelling, spelling.source_id, spelling.reason) == ("gr. tab.", source.id, SPELLING["reason"])
        names = source_names(session)
    assert names.source_of("GR TAB") == names.source_of("grille-table") != names.source_of("grille")


SLIP = "(recorded) if it is that source; if not, both declared in sources.csv"
SLIPS = {
    "of another outlet of the job": (
        with_sources(cells=[from_source(3, "traverse at grille G")]),
        ("outlets.csv", 3, "outlet_factor_source", "traverse at grille G", "'traverses at grille G' ("),
    ),
    "of a source": (
        with_sources(GRILLE, cells=[from_source(2, "Grile table"), from_source(3, "grille TABLE")]),
        ("outlets.csv", 2, "outlet_factor_source", "Grile table", f"'Grille table' {SLIP}"),
    ),
    "of a recorded spelling": (
        with_sources(GRILLE, spellings=[SPELLING | {"spelling": "maker table"}], cells=[from_source(5, "makers table")]),
        ("outlets.csv", 5, "outlet_factor_source", "makers table", f"'maker table' {SLIP}"),
    ),
}  # fmt: skip
WRONG = {
    "a source twice": (
        with_sources(GRILLE, GRILLE | {"source": "grille-table", "basis": "again"}),
        ("sources.csv", 3, "edition", "2024", "each source and edition once; it stands in"),
    ),
    "a source without an edition twice": (
        with_sources(GRILLE | {"edition": ""}, GRILLE | {"edition": "", "source": "GRILLE table"}),
        ("sources.csv", 3, "source", "GRILLE table", "each source once; it stands in"),
    ),
    "a slip of a source of the same document": (
        with_sources(GRILLE, GRILLE | {"source": "grile table", "edition": "2025"}),
        ("sources.csv", 3, "source", "grile table", "'Grille table' if it is that source; if not, a document of its own"),
    ),
    "a source without its document": (
        with_sources(GRILLE | {"document": ""}), ("sources.csv", 2, "document", "", "a value"),
    ),
    "a spelling of no source": (
        with_sources(spellings=[SPELLING]),
        ("source_spellings.csv", 2, "source", "grille TABLE", "a source in sources.csv or in the records"),
    ),
    "a spelling that is none": (
        with_sources(GRILLE, spellings=[SPELLING | {"spelling": "grille (table)"}]),
        ("source_spellings.csv", 2, "spelling", "grille (table)", "differ in case, space or punctuation alone are one"),
    ),
    "a spelling that is a source": (
        with_sources(GRILLE, GRILLE | {"source": "valve table"}, spellings=[SPELLING | {"spelling": "Valve Table"}]),
        ("source_spellings.csv", 2, "spelling", "Valve Table", "a name that is not a source by itself"),
    ),
    "a spelling twice": (
        with_sources(GRILLE, spellings=[SPELLING, SPELLING | {"spelling": "GR TAB"}]),
        ("source_spellings.csv", 3, "spelling", "GR TAB", "each spelling once; it stands in"),
    ),
    "a spelling without its reason": (
        with_sources(GRILLE, spellings=[SPELLING | {"reason": ""}]),
        ("source_spellings.csv", 2, "reason", "", "a value"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", (SLIPS | WRONG).values(), ids=SLIPS | WRONG)
def test_a_slip_or_a_wrong_cell_is_named_and_nothing_is_written(empty_records, tmp_path, case):
    sheets, (file, row, column, value, expected) = case
    finding = first_finding(empty_records, tmp_path, sheets)
    assert (finding.source.rpartition("/")[2], finding.row, finding.column, finding.value) == (file, row, column, value)
    assert expected in finding.expected
    with database.reading(str(empty_records)) as session:
        assert all_of(session, Outlet) == []


def test_two_names_that_are_declared_with_documents_of_their_own_are_two(empty_records, tmp_path):
    other = GRILLE | {"source": "Grile table", "document": "Letter of 2026-01-09"}
    cells = [from_source(2, "grille table"), from_source(3, "grile table")]
    imported(empty_records, write(tmp_path / "in", with_sources(GRILLE, other, cells=cells)))


def test_a_slip_that_is_recorded_as_a_spelling_is_taken(empty_records, tmp_path):
    cells = [from_source(2, "grille table"), from_source(3, "grile table")]
    spelling = SPELLING | {"spelling": "grile table"}
    imported(empty_records, write(tmp_path / "in", with_sources(GRILLE, spellings=[spelling], cells=cells)))


def test_outlets_of_another_job_are_not_compared(empty_records, tmp_path):
    sheets = small_job()
    sheets["jobs.csv"].append(sheets["jobs.csv"][0] | {"job": "J-2"})
    sheets["outlets.csv"][1] |= {"job": "J-2", "outlet_factor_source": "traverse at grille G"}
    del sheets["readings.csv"][1]
    imported(empty_records, write(tmp_path / "in", sheets))


def test_outlets_that_are_on_record_are_compared(small_records, tmp_path):
    row = small_job()["outlets.csv"][0] | {"outlet": "S-9", "outlet_factor_source": "traverses at grile G"}
    (finding,) = findings_of(small_records, write(tmp_path / "in", {"outlets.csv": [row]}))
    assert finding.value == "traverses at grile G"
    assert finding.expected.startswith("'traverses at grille G' (outlet S-1) if it is that source")


def test_an_edition_that_is_on_record_is_no_new_one(small_records, tmp_path):
    for edition in ("2024", ""):
        imported(small_records, write(tmp_path / f"first {edition}", {"sources.csv": [GRILLE | {"edition": edition}]}))
        folder = write(tmp_path / f"again {edition}", {"sources.csv": [GRILLE | {"edition": edition}]})
        assert imported(small_records, folder).on_record == {"sources.csv": 1}


# --- by hand ---------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def records(_small, tmp_path):
    return copied(_small, tmp_path / "records.sqlite")


ADD = ("source", "add", "Grille table", "--document", "Data sheet 12", "--basis", "measured by the maker")
SPELL = ("source", "spelling", "gr. tab.", "grille table", "--reason", "short for it")


def test_a_source_and_a_spelling_are_added_and_listed(records):
    assert calib(*ADD, "--edition", "2024", records=records).out == "added the source Grille table: Data sheet 12\n"
    assert calib(*SPELL, records=records).out == "gr. tab. stands for the source grille table from now on\n"
    amended = ("outlet", "amend", "J-1", "S-1", "--set", "outlet_factor_source=GRILLE-TABLE", "--reason", "looked up")
    assert calib(*amended, records=records).status == 0
    listed = calib("source", "list", "--json", records=records).document
    (grille,) = [each for each in listed["sources"] if each["source"] == "Grille table"]
    assert grille == {
        "source": "Grille table", "document": "Data sheet 12", "edition": "2024", "basis": "measured by the maker",
        "editions": 1, "outlets": 1, "other_names": ["GRILLE-TABLE", "gr. tab."],
    }  # fmt: skip
    (maker,) = [each for each in listed["sources"] if each["source"] == "maker's sheet"]
    assert (maker["document"], maker["outlets"], listed["nearly_alike"]) == (None, 1, [])


def test_an_outlet_is_not_amended_to_a_slip_and_is_amended_from_one(records):
    def amend(outlet, name):
        words = ("outlet", "amend", "J-1", outlet, "--set", f"outlet_factor_source={name}", "--reason", "looked up")
        return calib(*words, records=records)

    before = ledger_head(records)
    refused = amend("S-1", "traverse at grille G")  # S-2 has the other still
    assert (refused.status, ledger_head(records)) == (2, before)
    assert "'traverses at grille G' (outlet S-2) if it is that source" in refused.err
    assert amend("R-1", "makers sheets").status == 0  # no other outlet has its old name


def test_a_person_without_the_role_declares_no_source(records):
    people = [("Quinn", "QA"), ("Tom", "technician")]
    for name, role in people:
        assert calib("person", "add", name, "--role", role, "--by", "Quinn", records=records).status == 0
    refused = calib(*ADD, "--by", "Tom", records=records)
    assert (refused.status, "add a source of outlet factors" in refused.err) == (2, True)


def test_an_export_has_sources_and_spellings_and_is_read_back(tmp_path):
    sheets = with_sources(GRILLE, GRILLE | {"edition": ""}, spellings=[SPELLING])
    records = records_of(tmp_path / "first", sheets)
    assert calib("export", tmp_path / "export", records=records).status == 0
    other = tmp_path / "other.sqlite"
    database.make(str(other))
    imported(other, tmp_path / "export")
    assert calib("export", tmp_path / "again", records=other).status == 0
    for name in ("sources.csv", "source_spellings.csv"):
        assert (tmp_path / "again" / name).read_bytes() == (tmp_path / "export" / name).read_bytes()
    assert "2024" in (tmp_path / "again" / "sources.csv").read_text(encoding="utf-8")
