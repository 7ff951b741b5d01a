"""Commands of the register and of certificates: instrument, calibration, file, rule.

Source: `calib help` (commands, certificates, exit-statuses).
"""

import base64
import hashlib
import html.parser
import json
import re
from datetime import date

import openpyxl
import pytest

from calib.errors import CalibError
from calib.faces.handouts.instrument_page import save_page
from tests.as_found import drifted
from tests.command import calib
from tests.folders import changed, ledger_head, records_of, small_job, write

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\ntrailer\n<<>>\n%%EOF\n"
HEADER = (
    "phase",
    "reference",
    "indication",
    "unit",
    "expanded_uncertainty",
    "coverage_factor",
    "repeatability",
    "observations",
)
COMPARISONS = [("10.0", "10.2"), ("100.0", "100.1"), ("400.0", "399.8")]
OTHER = ("--by", "B. Person")


@pytest.fixture
def records(small_records):
    return small_records


@pytest.fixture
def certificate(tmp_path):
    path = tmp_path / "c-7.pdf"
    path.write_bytes(PDF)
    return path


@pytest.fixture
def workbook(tmp_path):
    made = openpyxl.Workbook()
    made.active.append(HEADER)
    for reference, indication in COMPARISONS:
        made.active.append(("as-found", float(reference), float(indication), "Pa", 0.4, 2, 0.2, 5))
    for row in range(2, 5):
        made.active[f"B{row}"].number_format = made.active[f"C{row}"].number_format = "0.0"
    path = tmp_path / "c-7.xlsx"
    made.save(path)
    return path


def add(records, workbook, *more, by="A. Person"):
    words = ("--laboratory", "South Laboratory", "--calibrated-on", "2026-02-20", "--comparisons", workbook, "--by", by)
    return calib("calibration", "add", "PG-1", "C-7", *words, *more, records=records)


# --- certificates ----------------------------------------------------------------------------------------------------------------


def test_a_certificate_is_recorded_from_a_workbook_with_its_file(records, workbook, certificate):
    ran = add(records, workbook, "--file", certificate, "--issued-on", "2026-02-22", "--temperature", "20.5", "--json")
    assert (ran.status, ran.document["comparisons"], ran.document["accepted_on"]) == (0, 3, None)
    shown = calib("calibration", "show", "PG-1", "C-7", "--json", records=records).document
    assert [one["reference"] for one in shown["comparisons"]] == ["10.0", "100.0", "400.0"]
    assert (shown["issued_on"], shown["temperature_degC"], shown["typed_by"]) == ("2026-02-22", "20.5", "A. Person")
    assert [one["sha256"] for one in shown["files"]] == [hashlib.sha256(PDF).hexdigest()]


THEIR_HEADINGS = {"reference": "Reference [Pa]", "indication": "Indicated [Pa]", "expanded_uncertainty": "U (k=2) [Pa]"}
THEIR_MAP = """[comparisons]
[comparisons.headings]
reference = "Reference [Pa]"
indication = "Indicated [Pa]"
expanded_uncertainty = "U (k=2) [Pa]"
[comparisons.constants]
phase = "as-found"
unit = "Pa"
coverage_factor = "2"
"""


def their_table(folder, workbook, end):
    """The comparisons as a laboratory heads them, and the map of its headings."""
    own = openpyxl.load_workbook(workbook).active
    header = [cell.value for cell in own[1]]
    table = [[row[header.index(column)].value for column in THEIR_HEADINGS] for row in own.iter_rows(min_row=2)]
    sheet, named = folder / f"theirs.{end}", folder / "theirs.toml"
    if end == "csv":
        sheet.write_text(
            "\n".join(";".join(map(str, row)) for row in (THEIR_HEADINGS.values(), *table)), encoding="utf-8"
        )
    else:
        made = openpyxl.Workbook()
        for row in (tuple(THEIR_HEADINGS.values()), *table):
            made.active.append(row)
        made.save(sheet)
    named.write_text(THEIR_MAP, encoding="utf-8")
    return sheet, named


@pytest.mark.parametrize("end", ["csv", "xlsx"])
def test_a_table_with_a_laboratory_s_own_headings_is_read_with_a_map(records, workbook, tmp_path, end):
    sheet, named = their_table(tmp_path, workbook, end)
    alone = add(records, sheet, "--dry-run")
    assert alone.status == 2
    assert "Indicated [Pa]: expected a heading that is known (did you mean indication?)" in alone.err
    assert (
        add(records, workbook, "--dry-run", "--json").document
        == add(records, sheet, "--map", named, "--dry-run", "--json").document
    )
    assert add(records, sheet, "--map", named).status == 0
    shown = calib("calibration", "show", "PG-1", "C-7", "--json", records=records).document
    assert [(each["reference"], each["phase"], each["coverage_factor"]) for each in shown["comparisons"]] == [
        ("10", "as-found", "2"), ("100", "as-found", "2"), ("400", "as-found", "2"),
    ]  # fmt: skip


def test_a_map_suggested_for_comparisons_alone_says_how_it_is_read(records, workbook, tmp_path):
    sheet, named = their_table(tmp_path, workbook, "csv")
    named.unlink()
    said = calib("import", "--suggest-map", sheet, records=records).err
    assert f"calib calibration add TAG CERTIFICATE --comparisons {sheet} --map {named} --dry-run" in said
    assert 'indication = "Indicated [Pa]"' in named.read_text(encoding="utf-8")


def test_a_map_that_is_not_of_comparisons_or_of_nothing_is_named(records, workbook, tmp_path):
    sheet, named = their_table(tmp_path, workbook, "csv")
    named.write_text('[methods]\n[methods.headings]\nmethod = "How"\n', encoding="utf-8")
    told = add(records, sheet, "--map", named)
    assert (told.status, told.err.count("error: ")) == (2, 1)
    assert f"{named}, comparisons: expected this table, for the comparisons" in told.err
    words = ("--laboratory", "L", "--calibrated-on", "2026-02-20", "--map", named)
    bare = calib("calibration", "add", "PG-1", "C-7", *words, records=records)
    assert (bare.status, "nothing without --comparisons" in bare.err) == (2, True)


def test_what_the_certificate_does_not_state_is_said_and_does_not_stand_in_the_way(records, workbook):
    ran = add(records, workbook)
    assert ran.status == 0
    assert "7.8.2.1 j  day of issue" in ran.err
    assert "it counts once it is accepted: calib calibration accept PG-1 C-7" in ran.out
    states = {
        (one["clause"], one["state"])
        for one in calib("calibration", "show", "PG-1", "C-7", "--json", records=records).document["completeness"]
    }
    assert ("7.8.2.1 j", "missing") in states
    assert ("7.8.4.1 a", "stated") in states


def test_a_wrong_cell_of_a_workbook_is_named_by_sheet_row_and_column_and_nothing_is_written(records, workbook):
    opened = openpyxl.load_workbook(workbook)
    opened.active["C3"] = "a hundred"
    opened.save(workbook)
    before = ledger_head(records)
    ran = add(records, workbook)
    assert (ran.status, ran.out) == (2, "")
    assert f"{workbook}, sheet Sheet row 3, indication: 'a hundred'; expected a finite number" in ran.err
    assert ledger_head(records) == before


def test_what_comparisons_were_taken_as_is_said(records, tmp_path):
    path = tmp_path / "comparisons.csv"
    path.write_text(
        "phase;reference;indication;unit;expanded_uncertainty;coverage_factor\n"
        "as-found;10,0;10,2;PA;0,4;2\nas-found;100,0;100,1;Pa;0,4;2\nas-found;400,0;399,8;Pa;0,4;2\n",
        encoding="utf-8",
    )
    ran = add(records, path)
    assert ran.status == 0, ran.err
    assert f"notice: {path}: reference: row 2: '10,0' is read as 10.0, and 2 more (a decimal comma)" in ran.err
    assert "row 2: 'PA' is read as Pa" in ran.err


def test_an_uncertainty_in_percent_is_refused_in_a_file_of_comparisons(records, workbook):
    opened = openpyxl.load_workbook(workbook)
    opened.active["E3"] = "2%"
    opened.save(workbook)
    before = ledger_head(records)
    ran = add(records, workbook)
    assert ran.status == 2
    assert "row 3, expanded_uncertainty: '2%'; expected a number in Pa, without %: a percentage of what?" in ran.err
    assert ledger_head(records) == before


def test_a_wrong_file_is_named_and_the_certificate_is_not_written(records, workbook):
    before = ledger_head(records)
    ran = add(records, workbook, "--file", workbook)
    assert ran.status == 2
    assert "expected a whole PDF, PNG, JPEG or XML file, judged by its content" in ran.err
    assert ledger_head(records) == before


def test_another_person_accepts_it_under_a_stated_rule(records, workbook):
    add(records, workbook)
    ran = calib(
        "calibration", "accept", "PG-1", "C-7", "--rule", "guarded non-binary", "--json", *OTHER, records=records
    )
    assert ran.status == 0
    assert ran.document["accepted_by"] == "B. Person"
    assert [one["statement"] for one in ran.document["assessment"]["comparisons"]] == [
        "conditional pass",
        "pass",
        "pass",
    ]
    shown = calib("calibration", "show", "PG-1", "C-7", "--json", records=records).document
    assert shown["assessment"] == ran.document["assessment"]
    assert shown["decision_rule"] == "guarded non-binary"


def test_people_see_the_assessment_line_by_line(records, workbook):
    add(records, workbook)
    ran = calib("calibration", "accept", "PG-1", "C-7", *OTHER, records=records)
    assert "PG-1: certificate C-7 accepted on " in ran.out
    assert "every comparison passes [Pa]" in ran.out
    assert [line for line in ran.out.splitlines() if line != line.rstrip()] == []


def test_the_same_person_is_refused_until_the_house_allows_it(records, workbook):
    add(records, workbook)
    mine = ("calibration", "accept", "PG-1", "C-7", "--by", "A. Person")
    before = ledger_head(records)
    ran = calib(*mine, records=records)
    assert (ran.status, ran.out) == (3, "")
    assert "typed by A. Person, who may not accept it too" in ran.err
    assert ledger_head(records) == before
    allowed = ("rule", "set", "one person may accept", "--holds", "yes", "--reason", "there is one of us")
    assert calib(*allowed, records=records).status == 0
    assert calib(*mine, records=records).status == 0


def test_a_calibration_that_fails_is_refused_with_each_failure(records, workbook):
    add(records, workbook)
    ran = calib("calibration", "accept", "PG-1", "C-7", "--rule", "guarded", *OTHER, records=records)
    assert (ran.status, ran.out) == (1, "")
    lines = ran.err.splitlines()
    assert "1 of 3 comparisons fail" in lines[0]
    assert lines[1].startswith("as-found reference 10.0 Pa: error +0.2 Pa with U = 0.44, limits ± 0.602: fail")
    shown = calib("calibration", "show", "PG-1", "C-7", records=records).out
    assert (
        "by B. Person, guarded, indication: PG-1: certificate C-7 cannot be accepted: 1 of 3 comparisons fail" in shown
    )


def test_a_certificate_may_be_recorded_with_another_person_s_acceptance(records, workbook):
    ran = add(
        records, workbook, "--accepted-on", "2026-02-23", "--accepted-by", "B. Person", "--reason", "late", "--json"
    )
    assert (ran.status, ran.document["accepted_on"]) == (0, "2026-02-23")


@pytest.mark.parametrize(
    ("more", "column"),
    [
        (("--accepted-on", "2026-02-23"), "--accepted-by"),
        (("--accepted-on", "2026-02-23", "--accepted-by", "B. Person", "--rule", "guarded"), "--rule"),
        (("--accepted-by", "B. Person"), "--accepted-by"),
        (("--adjustment", "yes"), "--adjustment"),
        (("--issued-on", "2026-02-19"), "--issued-on"),
        (("--sheet", "June"), "sheet"),
    ],
)
def test_a_call_that_cannot_be_is_told_and_nothing_is_written(records, workbook, more, column):
    before = ledger_head(records)
    ran = add(records, workbook, *more)
    assert (ran.status, ran.out) == (2, "")
    assert f", {column}: " in ran.err
    assert ledger_head(records) == before


def test_a_certificate_typed_again_attaches_no_file(records, workbook, certificate):
    add(records, workbook)
    before = ledger_head(records)
    assert add(records, workbook, "--file", certificate).status == 2
    assert ledger_head(records) == before


def test_a_certificate_typed_wrong_is_recorded_again_under_a_number_that_says_so(records, workbook):
    """`calib help` (certificates): both stay, and of one day the one recorded later counts."""
    add(records, workbook)
    calib("calibration", "accept", "PG-1", "C-7", "--on", "2026-03-01", "--reason", "late", *OTHER, records=records)
    told = add(records, workbook)
    assert told.err.count("error: ") == 1
    assert "withdraw it and record the right one under a number that says so" in told.err
    words = ("--laboratory", "South Laboratory", "--calibrated-on", "2026-02-20", "--comparisons", workbook)
    kept = calib("calibration", "add", "PG-1", "C-7 (corrected)", *words, "--by", "A. Person", records=records)
    assert "calib calibration accept PG-1 'C-7 (corrected)'" in kept.out
    calib(
        "calibration",
        "accept",
        "PG-1",
        "C-7 (corrected)",
        "--on",
        "2026-03-01",
        "--reason",
        "late",
        *OTHER,
        records=records,
    )
    (answer,) = calib("ready", "PG-1", "--on", "2026-03-01", "--json", records=records).document["instruments"]
    assert answer["certificate"] == "C-7 (corrected)"
    listed = calib("calibration", "list", "PG-1", "--json", records=records).document["calibrations"]
    assert [one["certificate"] for one in listed][-2:] == ["C-7", "C-7 (corrected)"]


def test_blanks_about_a_certificate_number_are_not_part_of_it(records, workbook):
    words = ("--laboratory", "South Laboratory", "--calibrated-on", "2026-02-20", "--comparisons", workbook)
    assert calib("calibration", "add", "PG-1", " C-7 ", *words, records=records).status == 0
    assert calib("calibration", "show", "PG-1", "C-7", "--json", records=records).document["certificate"] == "C-7"


def test_a_pass_with_a_u_wider_than_the_limits_says_how_little_it_shows(records, workbook):
    wide = openpyxl.load_workbook(workbook)
    for row in (2, 3, 4):
        wide.active.cell(row, 5).value = 40.0
    wide.save(workbook)
    add(records, workbook)
    told = calib("calibration", "accept", "PG-1", "C-7", *OTHER, records=records)
    assert told.status == 0
    assert "U is wider than the limits at 3 of 3 comparisons, the smallest probability of conformity is 0." in told.out


# --- in house --------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def bench(tmp_path):
    path = tmp_path / "bench.csv"
    lines = ["phase,reference_indication,indication,unit,repeatability,observations"]
    lines += [
        f"as-found,{one},{other},m/s,0.012,6"
        for one, other in (("0.604", "0.66"), ("2.500", "2.49"), ("7.900", "7.66"))
    ]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def in_house(records, bench, *more, on="2026-02-20"):
    words = ("--standard", "RS-1", "--laboratory", "own bench", "--calibrated-on", on, "--comparisons", bench)
    return calib("calibration", "in-house", "VA-1", "IN-1", *words, *more, records=records)


def test_a_calibration_in_house_names_its_standard_and_what_its_uncertainty_is_made_of(records, bench):
    assert in_house(records, bench, "--place-percent", "0.5", "--place-basis", "24 maps").status == 0
    shown = calib("calibration", "show", "VA-1", "IN-1", "--json", records=records).document
    assert shown["reference_standards"] == ["RS-1"]
    basis = json.loads(shown["comparisons"][0]["basis"])
    assert "place" in [one["name"] for one in basis["contributions"]]
    text = calib("calibration", "show", "VA-1", "IN-1", records=records).out
    assert "RS-1 showed 0.604 (certificate C-103); u: repeatability " in text


def test_a_standard_out_of_calibration_refuses_with_exit_status_3(records, bench):
    before = ledger_head(records)
    ran = in_house(records, bench, on="2026-01-19")
    assert (ran.status, ran.out) == (3, "")
    assert "error: RS-1: no calibration accepted on or before 2026-01-19" in ran.err
    assert ledger_head(records) == before


def test_a_wrong_sheet_from_the_bench_is_told(records, bench):
    bench.write_text("phase,indication,unit\nas-found,0.66,m/s\n", encoding="utf-8")
    ran = in_house(records, bench)
    assert ran.status == 2
    assert "reference_indication: expected this column, which is missing" in ran.err


# --- files -----------------------------------------------------------------------------------------------------------------------


def test_files_are_attached_once_and_written_back(records, certificate, tmp_path):
    kept = calib(
        "instrument", "attach", "VA-1", certificate, "--remarks", "as it came", "--json", records=records
    ).document
    assert (kept["media_type"], kept["attached"]) == ("application/pdf", True)
    again = calib("instrument", "attach", "VA-1", certificate, records=records)
    assert "already" in again.out
    assert (
        "with VA-1, certificate C-101"
        in calib("calibration", "attach", "VA-1", "C-101", certificate, records=records).out
    )
    back = tmp_path / "back.pdf"
    assert calib("file", kept["sha256"][:12], "--into", back, "--json", records=records).document["into"] == str(back)
    assert back.read_bytes() == PDF
    assert calib("file", kept["sha256"], "--into", back, records=records).status == 2
    assert calib("file", "0" * 64, "--into", tmp_path / "none.pdf", records=records).status == 2
    assert calib("verify", records=records).status == 0


# --- the register ----------------------------------------------------------------------------------------------------------------


def test_the_list_filters_and_sorts(records):
    ran = calib("instrument", "list", "--kind", "vane", "--sort", "due", "--json", records=records)
    assert [one["tag"] for one in ran.document["instruments"]] == ["VA-1", "VA-2"]
    assert calib("instrument", "list", "--text", "nothing like it", records=records).out == "no instrument fits\n"


@pytest.mark.parametrize(
    "words", [("--state", "lost"), ("--sort", "colour"), ("--within", "soon"), ("--on", "today")], ids=" ".join
)
def test_a_wish_that_is_none_is_told(records, words):
    ran = calib("instrument", "list", *words, records=records)
    assert (ran.status, ran.out) == (2, "")
    assert words[0] in ran.err


def test_a_pair_is_made_shown_and_parted(records):
    pair = ("VA-2", "PG-1", "--reason", "calibrated together")
    assert calib("instrument", "pair", *pair, "--at", "2026-03-01T09:00+00:00", records=records).status == 0
    shown = calib("instrument", "show", "VA-2", "--json", records=records).document
    assert shown["instrument"]["paired_with"] == ["PG-1"]
    assert [one["kind"] for one in shown["pairings"]] == ["paired"]
    assert calib("instrument", "pair", *pair, records=records).status == 2
    assert calib("instrument", "part", *pair, "--json", records=records).document["kind"] == "parted"
    assert calib("instrument", "show", "VA-2", "--json", records=records).document["instrument"]["paired_with"] == []


@pytest.fixture
def eventful(records, certificate):
    """VA-1 with something of everything."""
    calib("instrument", "attach", "VA-1", certificate, "--remarks", "<b>as it came</b>", records=records)
    calib("calibration", "attach", "VA-1", "C-101", certificate, records=records)
    calib("instrument", "suspend", "VA-1", "--reason", "dropped & bent", records=records)
    zero = ("--kind", "zero", "--value", "0.00", "--low", "-0.02", "--high", "0.02", "--unit", "m/s")
    calib("check", "add", "VA-1", *zero, records=records)
    return records


def test_the_history_holds_everything_that_happened(eventful):
    shown = calib("instrument", "show", "VA-1", "--json", records=eventful).document
    assert shown["used"]["readings"] == 3
    assert [one["kind"] for one in shown["events"]] == ["suspension"]
    assert [one["result"] for one in shown["checks"]] == ["passed"]
    assert [one["name"] for one in shown["files"]] == ["c-7.pdf"]
    (certificate,) = shown["calibrations"]
    assert (certificate["certificate"], certificate["accepted_by"], len(certificate["files"])) == (
        "C-101",
        "A. Person",
        1,
    )
    text = calib("instrument", "show", "VA-1", records=eventful).out
    for title in (
        "calibrations",
        "events",
        "intermediate checks",
        "files",
        "3 readings were taken with it, ",
        "; 0 readings were refused",
    ):
        assert title in text
    assert [line for line in text.splitlines() if line != line.rstrip()] == []


class Page(html.parser.HTMLParser):
    """Tags and text of a page."""

    def __init__(self):
        super().__init__()
        self.tags, self.text = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text.append(data.strip())


def test_the_history_is_one_page_that_needs_nothing_else(eventful, tmp_path):
    path = tmp_path / "va-1.html"
    assert calib("instrument", "show", "VA-1", "--html", path, records=eventful).status == 0
    page = Page()
    page.feed(path.read_text(encoding="utf-8"))
    assert not [
        attrs for tag, attrs in page.tags if "src" in attrs or "href" in attrs or tag in ("script", "link", "b")
    ]
    assert {"C-101", "dropped & bent", "<b>as it came</b>", "c-7.pdf"} <= set(page.text)


def test_a_page_takes_the_place_of_another_page_of_an_instrument_and_of_nothing_else(eventful, tmp_path):
    path = tmp_path / "va-1.html"
    for _ in range(2):
        assert calib("instrument", "show", "VA-1", "--html", path, records=eventful).status == 0
    path.write_text("<!DOCTYPE html><title>ours</title>", encoding="utf-8")
    ran = calib("instrument", "show", "VA-1", "--html", path, records=eventful)
    assert (ran.status, "is there already and is no page of an instrument: name another file" in ran.err) == (2, True)
    assert path.read_text(encoding="utf-8") == "<!DOCTYPE html><title>ours</title>"


def test_a_page_that_cannot_be_written_is_told(eventful, tmp_path):
    ran = calib("instrument", "show", "VA-1", "--html", tmp_path / "nowhere" / "va-1.html", records=eventful)
    assert (ran.status, ran.out) == (2, "")
    assert "the page of an instrument cannot be written (No such file or directory)" in ran.err
    document = calib("instrument", "show", "VA-1", "--json", records=eventful).document
    with pytest.raises(CalibError):
        save_page(document, [], tmp_path, date(2026, 3, 6))


PHOTO = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(17) + b"\x00\x00\x00\x00IEND\xaeB`\x82"


@pytest.fixture
def photographed(records, certificate, tmp_path):
    """VA-1 with a photo, named as if it were a certificate, and with a PDF, which is none."""
    photo = tmp_path / "bent.pdf"
    photo.write_bytes(PHOTO)
    calib("instrument", "attach", "VA-1", photo, "--remarks", 'after the "fall"', records=records)
    calib("instrument", "attach", "VA-1", certificate, records=records)
    return records


def test_the_list_says_how_many_photos_an_instrument_has(photographed):
    listed = calib("instrument", "list", "--json", records=photographed).document["instruments"]
    assert {one["tag"]: one["photos"] for one in listed} == {"PG-1": 0, "RS-1": 0, "VA-1": 1, "VA-2": 0}
    header, *lines = calib("instrument", "list", records=photographed).out.splitlines()
    column = header.index("photos")
    assert [line[column] for line in lines] == ["-", "-", "1", "-"]


def test_a_state_is_listed_whole_with_its_time(eventful):
    (line,) = [one for one in calib("instrument", "list", records=eventful).out.splitlines() if one.startswith("VA-1 ")]
    assert re.search(r"suspended since \d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\S* \(dropped & bent\)$", line)


def test_photos_stand_on_the_page_byte_for_byte(photographed, tmp_path):
    path = tmp_path / "va-1.html"
    assert calib("instrument", "show", "VA-1", "--html", path, records=photographed).status == 0
    page = Page()
    page.feed(path.read_text(encoding="utf-8"))
    (photo,) = [attrs for tag, attrs in page.tags if tag == "img"]
    kind, _, content = photo["src"].partition(";base64,")
    assert (kind, base64.b64decode(content)) == ("data:image/png", PHOTO)
    assert photo["alt"] == 'after the "fall"'
    assert 'bent.pdf: after the "fall"' in page.text


def test_the_page_states_the_register_in_words_and_what_is_not_on_record(records, tmp_path):
    path = tmp_path / "va-1.html"
    calib("instrument", "show", "VA-1", "--html", path, records=records)
    page = Page()
    page.feed(path.read_text(encoding="utf-8"))
    assert {"0.3 to 20 m/s", "± (1.0 % of the indication + 0.03 m/s)", "12 months"} <= set(page.text)
    assert (
        "Nothing on record: events, intermediate checks, pairs of probe and meter, files, impact reviews." in page.text
    )


def test_an_open_review_stands_at_the_head_of_the_history(records, tmp_path):
    calib("import", write(tmp_path / "second", drifted(small_job(), "VA-1")), records=records)
    told = "impact review 1 open: VA-1, found at"
    assert told in calib("instrument", "show", "VA-1", records=records).out
    path = tmp_path / "va-1.html"
    calib("instrument", "show", "VA-1", "--html", path, records=records)
    assert f"I{told[1:]}" in path.read_text(encoding="utf-8")


def test_comparisons_outside_the_range_are_said_when_a_certificate_is_typed(records, workbook):
    book = openpyxl.load_workbook(workbook)
    for row in range(2, 5):
        book.active[f"D{row}"] = "kPa"
    book.save(workbook)
    ran = add(records, workbook)
    assert ran.status == 0
    assert (
        "PG-1: certificate C-7: 3 of 3 indications lie outside the register's range, 0 to 500 Pa (10.2 kPa" in ran.err
    )


# --- rules of the house ----------------------------------------------------------------------------------------------------------


def test_rules_are_listed_as_they_were_set(records):
    assert "no rule of the house is on record" in calib("rule", "list", records=records).out
    for holds in ("yes", "no"):
        calib("rule", "set", "one person may accept", "--holds", holds, "--reason", "said so", records=records)
    found = calib("rule", "list", "--json", records=records).document["rules"]
    assert [(one["holds"], one["counts"]) for one in found] == [(True, False), (False, True)]
    assert "said so" in calib("rule", "list", records=records).out
    assert calib("rule", "set", "anything goes", "--holds", "yes", "--reason", "why", records=records).status == 2


def test_the_whole_import_needs_another_person_once_the_rule_says_no(empty_records, tmp_path):
    calib("rule", "set", "one person may accept", "--holds", "no", "--reason", "we are two", records=empty_records)
    waiting = changed(*(("calibrations.csv", row, "accepted_on", "") for row in (2, 3, 4, 5)))
    assert records_of(tmp_path / "elsewhere", waiting)
    ran = calib("import", tmp_path / "elsewhere" / "import", records=empty_records)
    assert ran.status == 3  # nothing is accepted yet: the readings are refused
