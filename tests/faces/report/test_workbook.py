"""A report as a workbook: numbers with all their digits, text that stays text, sheets that print, the same bytes each time.

Sources: ECMA-376-1:2016, 18.3.1.4 (a cell's type), 18.8.45 (quotePrefix), 18.3.1.93 (the value of a cell is a decimal);
Microsoft, "Excel specifications and limits" (32,767 signs in a cell, 31 in the name of a sheet); XML 1.0, 2.2 (signs).
That its numbers are those of the other forms, tests/faces/report/test_forms_agree.py holds.
"""

import io
import zipfile
from dataclasses import replace
from datetime import datetime

import pytest

from calib.faces.report.blocks import Heading, Layout, Notice, Picture, Strip, Table, Title, runs
from calib.faces.report.content import content
from calib.faces.report.layout import lay_out
from calib.faces.report.workbook import as_xlsx
from calib.faces.report.workbook_sheets import sheets_of
from calib.procedures.report.collect import report
from calib.records import database
from tests.folders import NOW, records_of, small_job
from tests.hostile import HOSTILE
from tests.printed import every_text, printed_widths, room_of, smallest_scale
from tests.read_back import Workbook, one_spaced

LAYOUT = Layout(
    job="J-1",
    title="Flows of a small hall",
    revision=2,
    is_draft=False,
    issued="2026-03-06T09:00:00+01:00",
    ledger_digest="ab" * 32,
    blocks=(
        Title("Flows of a small hall", "Air flow report on job J-1"),
        Strip((("Site", "Site"), ("Revision", "2"))),
        Notice("Revision 2.", runs("Reason: measured again.")),
    ),
)


@pytest.fixture(scope="module")
def evaluated(tmp_path_factory):
    """The small job for its report, with a refusal."""
    sheets = small_job()
    sheets["calibrations.csv"][1]["due_on"] = "2026-02-10"
    with database.reading(str(records_of(tmp_path_factory.mktemp("workbook"), sheets))) as session:
        return report(session, "J-1", NOW)


@pytest.fixture(scope="module")
def small(evaluated):
    return content(evaluated, NOW)


@pytest.fixture(scope="module")
def book(small):
    return Workbook.of(as_xlsx(small, LAYOUT))


# --- for the reader --------------------------------------------------------------------------------------------------------------


def test_the_first_sheet_has_title_facts_notices_cautions_and_the_names_of_the_others(book, small):
    first = book.book.worksheets[0]
    said = [cell.value for row in first.iter_rows() for cell in row if cell.value]
    assert (first.title, said[0], said[1]) == ("Report", "Flows of a small hall", "Air flow report on job J-1")
    assert {"Site", "Revision 2.", "Reason: measured again.", small["ledger_digest"], *small["cautions"]} <= set(said)
    assert {f"Sheet {name}" for name in book.sheets} <= set(said)


def test_every_sheet_has_a_frozen_head_that_is_repeated_on_each_printed_page(book):
    assert len(book.sheets) >= 9
    for name in book.sheets:
        page = book.book[name]
        assert (page.freeze_panes[1:], page.print_title_rows) == ("2", "$1:$1")
        assert page.freeze_panes[0] > "A"
        assert page.auto_filter.ref.startswith("A1:")


def test_every_sheet_prints_on_a4_with_the_number_of_each_page(book):
    for page in book.book.worksheets:
        assert int(page.page_setup.paperSize) == 9
        assert page.oddFooter.right.text == "&P of &N"
        assert "revision 2, ledger abababababababab" in page.oddFooter.left.text


def test_every_printed_page_can_be_read(book):
    """Scaled to 65 % at the least; what is wider is parted between columns, on pages that fit, beside those that name the row."""
    parted = []
    for page in book.book.worksheets:
        assert smallest_scale(page) >= 65, page.title
        assert all(width <= room_of(page) for width in printed_widths(page)), page.title
        if page.print_title_cols:
            parted.append((page.title, page.print_title_cols))
    assert {("Flows", "$A:$C"), ("Readings", "$A:$B")} <= set(parted)
    assert book.book.worksheets[0].page_setup.orientation == "landscape"  # its tables are nine columns wide


def test_the_first_sheet_says_all_that_the_first_page_says(small, evaluated):
    """In words, but for the moment of issue and what stands in its tables: those are numbers there (`test_first_page`)."""
    laid_out = lay_out(small, evaluated.every_calibration)
    sections = [place for place, each in enumerate(laid_out.blocks) if isinstance(each, Heading) and each.level == 2]
    first = Workbook.of(as_xlsx(small, laid_out)).book.worksheets[0]
    said = one_spaced(" ".join(str(cell.value) for row in first.iter_rows() for cell in row if cell.value))
    in_words = [each for each in laid_out.blocks[: sections[1]] if not isinstance(each, Picture | Table)]
    texts = [one_spaced(text) for block in in_words for text in every_text(block)]
    assert len(texts) > 20
    assert [text for text in texts if text not in said] == ["2026-03-06 09:00+00:00"]
    assert "2026-03-06 09:00:00" in said


def test_a_draft_says_so_on_every_printed_page(small):
    pages = Workbook.of(as_xlsx(small, replace(LAYOUT, is_draft=True))).book.worksheets
    assert all(page.oddFooter.left.text.endswith("draft, J-1, revision 2, ledger abababababababab") for page in pages)


def test_an_ampersand_of_a_job_is_no_code_of_the_footer(small):
    pages = Workbook.of(as_xlsx(small, replace(LAYOUT, job="A&B&P"))).book.worksheets
    assert all("A&&B&&P, revision 2" in page.oddFooter.left.text for page in pages)


def test_a_sheet_without_rows_is_left_out(small):
    parts = (
        "readings",
        "totals",
        "job_totals",
        "rooms",
        "refusals",
        "not_measured",
        "instruments",
        "budgets_in_full",
        "joint_probability",
    )
    nothing = small | {part: [] for part in parts}
    assert list(Workbook.of(as_xlsx(nothing | {"risks": None}, LAYOUT)).sheets) == []


def test_names_of_sheets_are_short_enough_and_each_stands_once(small):
    names = [one.name for one in sheets_of(small)]
    assert len(names) == len(set(names))
    assert all(len(name) <= 31 and not set(name) & set("[]:*?/\\'") for name in names)


def test_changes_and_open_reviews_have_sheets_of_their_own(small):
    changed = small | {
        "changes": [{"what": "flow at S-1", "before": "(410 ± 20) m3/h", "after": None, "because": ["typed anew"]}],
        "open_reviews": [
            {"instrument": "VA-1", "certificate": "C-101", "calibrated_on": "2026-03-01", "opened_at": "2026-03-02T08:00Z",
             "readings": [1, 2], "lines": 3, "open_lines": 2, "open_lines_in_all": 5},
        ],
    }  # fmt: skip
    sheets = Workbook.of(as_xlsx(changed, LAYOUT)).sheets
    assert sheets["Changes"] == [{"What": "flow at S-1", "Before": "(410 ± 20) m³/h", "Why": "typed anew"}]
    assert sheets["Open reviews"][0] | {"Readings": "1, 2", "Open lines in all": 5} == sheets["Open reviews"][0]


# --- numbers ---------------------------------------------------------------------------------------------------------------------

# Each needs 17 digits: with 16 another float is read back.
DIGITS = (
    0.1 + 0.2,
    1 / 3 + 1e-17,
    2 / 3 * 1e-7,
    9007199254740993.0,
    1.7976931348623157e308,
    5e-324,
    -0.30000000000000004,
)


@pytest.mark.parametrize("number", DIGITS)
def test_a_number_is_read_back_to_the_last_bit(small, number):
    changed = small | {
        "readings": [one | {"flow": one["flow"] | {"coverage_factor": number}} for one in small["readings"]]
    }
    assert {row["k"] for row in Workbook.of(as_xlsx(changed, LAYOUT)).sheets["Flows"]} == {number}


def test_numbers_are_numbers_and_typed_digits_keep_their_zeros(book):
    flows, comparisons = book.sheets["Flows"][0], book.sheets["Comparisons"][0]
    assert {type(flows[label]) for label in ("Flow", "U", "k", "Design", "% of design")} <= {float, int}
    assert (comparisons["Reference"], book.formats["Comparisons"][0]["Reference"]) == (0.6, "0.00")  # typed: 0.60


# --- days and moments ------------------------------------------------------------------------------------------------------------


def times_of(small, *typed):
    """The head and the cells of the times at which readings were observed, with some of them typed otherwise."""
    readings = [one | {"observed_at": text} for one, text in zip(small["readings"], typed, strict=False)]
    rows = Workbook.of(as_xlsx(small | {"readings": readings}, LAYOUT)).sheets["Readings"]
    (label,) = {name for row in rows for name in row if name.startswith("Observed")}
    return label, [row[label] for row in rows]


def at(*parts):
    return datetime(*parts)  # noqa: DTZ001 (as a cell has it: the head names the zone)


def test_days_and_moments_are_dates_with_the_zone_once_in_the_head(book):
    reading, instrument = book.sheets["Readings"][0], book.sheets["Instruments"][0]
    assert reading["Observed (UTC+01:00)"] == at(2026, 3, 5, 9, 10)
    assert book.formats["Readings"][0]["Observed (UTC+01:00)"] == "yyyy-mm-dd hh:mm"
    assert instrument["Calibrated"] == at(2026, 1, 12)
    assert book.formats["Instruments"][0]["Calibrated"] == "yyyy-mm-dd"


def test_moments_of_another_zone_are_told_in_the_zone_of_most(small):
    label, cells = times_of(small, "2026-03-05T09:10+01:00", "2026-03-05T09:10+01:00", "2026-03-05T23:30:05-05:00")
    assert label == "Observed (UTC+01:00)"
    assert cells[1:] == [at(2026, 3, 5, 9, 10), at(2026, 3, 6, 5, 30, 5)]


@pytest.mark.parametrize("typed", ["1899-12-31T10:00+01:00", "1900-02-28T10:00+01:00", "2026-03-05T09:10", "noon"])
def test_what_is_no_date_of_a_spreadsheet_stays_text_and_says_so(small, typed):
    _, cells = times_of(small, "2026-03-05T09:10+01:00", typed)
    assert cells == [at(2026, 3, 5, 9, 10), f"{typed} (a text: no date of a spreadsheet)"]


@pytest.mark.parametrize(
    ("column", "typed", "shown"),
    [("width", "400.0", "0.0"), ("height", "200", "0"), ("dimension_limit", "0.50", "0.00")],
)
def test_typed_numbers_are_numbers_that_keep_their_zeros(small, column, typed, shown):
    first = small["readings"][0]
    evidence = first["evidence"] | {"dimensions": first["evidence"]["dimensions"] | {column: typed}}
    book = Workbook.of(as_xlsx(small | {"readings": [first | {"evidence": evidence}]}, LAYOUT))
    label = {"dimension_limit": "Limit of each"}.get(column, column.capitalize())
    assert book.sheets["Readings"][0][label] == float(typed)
    assert book.formats["Readings"][0][label] == shown


# --- text ------------------------------------------------------------------------------------------------------------------------

_FREE = {"outlet", "system", "tag", "instrument", "certificate", "maker", "laboratory", "remarks", "operator", "method"}


def typed_everywhere(value, text):
    """The content with a text before what stands in each free cell."""
    if isinstance(value, list):
        return [typed_everywhere(one, text) for one in value]
    if not isinstance(value, dict):
        return value
    return {
        key: f"{text}{one}" if key in _FREE and isinstance(one, str) else typed_everywhere(one, text)
        for key, one in value.items()
    }


def attacked(small, text):
    layout = replace(
        LAYOUT,
        job=f"{text}J-1",
        title=text,
        blocks=(Title(text, text), Strip(((text, text),)), Notice(text, runs(text))),
    )
    return as_xlsx(typed_everywhere(small, text), layout)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_hostile_text_is_text_and_whole(small, text):
    file = attacked(small, text)
    read = Workbook.of(file)
    assert {cell.data_type for cell in read.cells()} == {"s", "n", "d"}
    assert all(cell.style and cell.quotePrefix for cell in read.cells() if cell.data_type == "s")
    expected = text.replace("\r\n", "\n")
    assert read.sheets["Flows"][0]["Outlet"] == f"{expected}S-1"
    assert read.sheets["Instruments"][0]["Certificate"].startswith(expected)
    with zipfile.ZipFile(io.BytesIO(file)) as parts:
        names = parts.namelist()
        assert not [
            name for name in names if "external" in name.lower() or "vba" in name.lower() or "sheets/_rels" in name
        ]
        assert not [name for name in names if b"<f>" in parts.read(name) or b"hyperlink" in parts.read(name)]


def test_signs_that_xml_forbids_are_shown_by_their_numbers(small):
    read = Workbook.of(attacked(small, "a\x01b\x1bc\x7fd\ufffee\udc80f\rg\th"))
    assert read.sheets["Flows"][0]["Outlet"] == "a⟨U+0001⟩b⟨U+001B⟩c⟨U+007F⟩d⟨U+FFFE⟩e⟨U+DC80⟩f\ng\thS-1"


@pytest.mark.parametrize("sign", ["x", "\N{GRINNING FACE}"], ids=["letters", "emoji"])
def test_a_text_longer_than_a_cell_goes_on_in_a_sheet_of_its_own(small, sign):
    text = "".join(f"{sign}{number:05d}" for number in range(10_000))
    changed = small | {"readings": [one | {"remarks": text} for one in small["readings"][:1]]}
    read = Workbook.of(as_xlsx(changed, LAYOUT))
    begun, _, note = read.sheets["Readings"][0]["Remarks"].partition("⟨goes on")
    rests = [row[0].value for row in read.book["Long texts"].iter_rows()]
    assert note == f" in the sheet Long texts, rows 1 to {len(rests)}⟩"
    assert begun + "".join(rests) == text
    assert max(len(cell.encode("utf-16-le")) // 2 for cell in (begun + "⟨goes on" + note, *rests)) <= 32_767


# --- bytes -----------------------------------------------------------------------------------------------------------------------


def test_the_same_report_is_the_same_bytes_with_the_moment_of_issue(small, book):
    file = as_xlsx(small, LAYOUT)
    assert file == as_xlsx(small, LAYOUT)
    assert book.book.properties.created == datetime(2026, 3, 6, 8, 0)  # noqa: DTZ001 (UTC, as the file has it)
    with zipfile.ZipFile(io.BytesIO(file)) as parts:
        assert {one.date_time for one in parts.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_a_blank_that_is_searched_for_is_a_plain_one(small):
    layout = replace(LAYOUT, blocks=(Notice("Flow.", runs("431\N{NO-BREAK SPACE}±\N{NARROW NO-BREAK SPACE}35")),))
    said = {str(cell.value) for sheet in Workbook.of(as_xlsx(small, layout)).book for row in sheet for cell in row}
    assert "431 ± 35" in said
    assert not {"\N{NO-BREAK SPACE}", "\N{NARROW NO-BREAK SPACE}"} & set("".join(said))


def test_reviews_stand_in_sheets_under_the_headings_of_the_page(small):
    found, late = {"review": 1, "answered_by": None}, {"review": 2, "answered_by": 2}
    sheets = {each.name: each.rows for each in sheets_of(small | {"reviews": [found, late]})}
    assert (sheets["Nonconforming work"], sheets["Recorded since an issue"]) == ([found], [late])
    assert "Nonconforming work" not in {each.name for each in sheets_of(small | {"reviews": [late]})}
