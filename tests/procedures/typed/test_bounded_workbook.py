"""A workbook is found within its bounds before anything is built from it, and what it says of its own size counts for nothing.

The hostile files are written here part by part, as ECMA-376 lays a workbook out; each is a few kilobytes and would fill a machine.
That OPC allows no declarations of a document type is ECMA-376-2, 8.5.4; the kinds of files are common practice, no source.
"""
# ruff: noqa: E501 (parts of files on their lines)

import ast
import io
import subprocess
import sys
import time
import zipfile
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import pytest

from calib.procedures.typed import bounded_archive as bounds
from calib.procedures.typed.bounded_archive import WorkbookError
from calib.procedures.typed.bounded_workbook import extent_of
from calib.procedures.typed.comparison_sheets import comparison_columns, read_comparisons
from calib.procedures.typed.sheets import FileContent
from tests.command import calib

ROOT = Path(__file__).parents[3]
LIMIT = 10  # s: stated in the module
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
HEADER = ("phase", "reference", "indication", "unit", "expanded_uncertainty", "coverage_factor")
ROWS = [("as-found", x, x, "m/s", "0.02", "2") for x in ("0.5", "1.0", "2.0", "4.0")]


def text_cell(place, text):
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


def row(number, cells):
    return (
        f'<row r="{number}">'
        + "".join(text_cell(f"{'ABCDEFGH'[at]}{number}", cell) for at, cell in enumerate(cells))
        + "</row>"
    )


SOUND = "".join(row(number, cells) for number, cells in enumerate((HEADER, *ROWS), 1))


def workbook(rows=SOUND, *, before="", dimension="", shared="", prolog="", more=()):
    """The bytes of a workbook of one sheet, its parts as given."""
    parts = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{TYPES}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{TYPES}.worksheet+xml"/>'
        f'<Override PartName="/xl/sharedStrings.xml" ContentType="{TYPES}.sharedStrings+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{RELATIONS}"><Relationship Id="rId1" '
        f'Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets><sheet name="comparisons" sheetId="1" '
        'r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{RELATIONS}"><Relationship Id="rId1" '
        f'Type="{OFFICE}/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" '
        f'Type="{OFFICE}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/sharedStrings.xml": f'<sst xmlns="{MAIN}">{shared}</sst>',
        "xl/worksheets/sheet1.xml": f'{prolog}<worksheet xmlns="{MAIN}">{before}{dimension}<sheetData>{rows}</sheetData></worksheet>',
        **dict(more),
    }
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return made.getvalue()


def read(content):
    return read_comparisons(FileContent("typed.xlsx", content), "VA-1", "C-1", comparison_columns())


# --- how far it reaches ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("says", ["", "A1:F4", "A1", "A1:C5", "A1:F1048576", "A1:XFD1048576", "C3:D4"])
def test_a_dimension_that_is_stale_or_wrong_loses_no_comparison(says):
    rows, findings = read(workbook(dimension=f'<dimension ref="{says}"/>' if says else ""))
    assert findings == []
    assert [each.cells["reference"] for each in rows] == ["0.5", "1.0", "2.0", "4.0"]


def test_a_dimension_that_is_none_is_said_in_one_line():
    rows, [finding] = read(workbook(dimension='<dimension ref="nothing"/>'))
    assert (rows, str(finding).partition(" (")[0]) == ([], "typed.xlsx: expected a workbook that can be read")


def test_a_workbook_that_is_cut_off_is_no_text():
    rows, [finding] = read(workbook()[:900])
    assert (rows, str(finding).partition(":")[0]) == ([], "typed.xlsx")
    assert "this one is cut off" in str(finding)


def test_the_extent_is_that_of_the_cells_that_hold_something():
    far = (
        row(1, ("a",))
        + '<row r="7"><c r="C7"><v>1</v></c><c r="AB7" s="3"/></row><row r="1048576"><c r="XFD1048576" s="3"/></row>'
    )
    extent = extent_of(workbook(far))
    assert (extent.rows, extent.columns, extent.has_formulas_without_results) == (7, 3, False)


def test_cells_without_a_place_follow_one_another():
    extent = extent_of(workbook("<row><c><v>1</v></c><c><v>2</v></c></row><row><c/><c/><c><v>3</v></c></row>"))
    assert (extent.rows, extent.columns) == (2, 3)


@pytest.mark.parametrize(("cell", "missing"), [("<f>A1</f>", True), ("<f>A1</f><v>3</v>", False), ("<v>3</v>", False)])
def test_it_is_seen_whether_a_formula_has_its_result(cell, missing):
    assert extent_of(workbook(f'<row r="1"><c r="A1">{cell}</c></row>')).has_formulas_without_results is missing


def test_a_workbook_of_another_library_has_the_extent_that_was_written(tmp_path):
    made = openpyxl.Workbook()
    for number in range(40):
        made.active.append([number] * 9)
    made.create_sheet("other")["M3"] = "far"
    made.save(tmp_path / "a.xlsx")
    extent = extent_of((tmp_path / "a.xlsx").read_bytes())
    assert (extent.rows, extent.columns) == (40, 13)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (row(3, ("a",)) + row(2, ("b",)), "rows rise"),
        (row(2, ("a",)) + row(2, ("b",)), "rows rise"),
        ('<row r="1"><c r="B1"><v>1</v></c><c r="A1"><v>2</v></c></row>', "cells rise"),
        ('<row r="one"><c><v>1</v></c></row>', "rows have numbers"),
        (f'<row r="{"9" * 5000}"><c><v>1</v></c></row>', "rows have numbers"),
        ('<row r="-1"><c><v>1</v></c></row>', "rows have numbers"),
    ],
)
def test_cells_out_of_order_would_be_lost_and_are_refused(rows, said):
    with pytest.raises(WorkbookError, match=said):
        extent_of(workbook(rows))


# --- hostile files ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Hostile:
    """A workbook that is small and would fill a machine, and what is said of it."""

    make: object
    said: str


def swelling(prolog, used):
    return lambda: workbook(f'<row r="1"><c r="A1" t="inlineStr"><is><t>{used}</t></is></c></row>', prolog=prolog)


LAUGHS = (
    "<!DOCTYPE a [<!ENTITY e0 'ha'>" + "".join(f"<!ENTITY e{n} '{f'&e{n - 1};' * 10}'>" for n in range(1, 12)) + "]>"
)
CELLS = '<c t="s"><v>0</v></c>' * 50
HOSTILE = {
    "zeros that inflate a thousand times": Hostile(
        lambda: workbook(more={"xl/media/image1.png": b"\0" * 200_000_000}), "100,000,000 bytes within it"
    ),
    "a sheet that inflates a thousand times": Hostile(lambda: workbook(before=" " * 150_000_000), "100,000,000 bytes within it"),
    "many files": Hostile(lambda: workbook(more={f"a{n}": b"" for n in range(1_001)}), "at most 1,000 files"),
    "one far cell down": Hostile(lambda: workbook(row(1, HEADER) + '<row r="1048576"><c r="A1048576"><v>1</v></c></row>'), "20,000 rows"),
    "one far cell across": Hostile(lambda: workbook('<row r="1"><c r="A1"><v>1</v></c><c r="XFD1"><v>1</v></c></row>'), "100 columns"),
    "a column of a name without end": Hostile(lambda: workbook(f'<row r="1"><c r="{"Z" * 9}1"><v>1</v></c></row>'), "100 columns"),
    "a shared text that a million cells show": Hostile(
        lambda: workbook("".join(f"<row>{CELLS}</row>" for _ in range(4_000)), shared=f"<si><t>{'x' * 32_000}</t></si>"),
        "20,000,000 signs of text in its cells",
    ),
    "a shared text in a million runs": Hostile(
        lambda: workbook(shared="<si>" + "<r><t>x</t></r>" * 600_000 + "</si>"), "1,000,000 elements"
    ),
    "a million cells": Hostile(lambda: workbook(f"<row>{'<c/>' * 2_000_000}</row>"), "1,000,000 elements"),
    "entities within entities": Hostile(swelling(LAUGHS, "&e11;"), "without declarations"),
    "one long entity many times": Hostile(
        swelling(f"<!DOCTYPE a [<!ENTITY e '{'x' * 100_000}'>]>", "&e;" * 100_000), "without declarations"
    ),
    "a file of this machine": Hostile(swelling('<!DOCTYPE a [<!ENTITY e SYSTEM "file:///etc/hostname">]>', "&e;"), "without declarations"),
    "a long value for every cell": Hostile(
        lambda: workbook("<row>" + "<c/>" * 100_000 + "</row>", prolog=f"<!DOCTYPE a [<!ATTLIST c x CDATA '{'x' * 100_000}'>]>"),
        "without declarations",
    ),
    "elements within elements": Hostile(lambda: workbook(before="<a>" * 200_000 + "</a>" * 200_000), "100 elements within one another"),
    "one tag without end": Hostile(lambda: workbook(before=f'<a b="{"x" * 30_000_000}"/>'), "signs of one tag"),
    "one comment without end": Hostile(lambda: workbook(before=f"<!--{'x' * 30_000_000}-->"), "signs of one comment"),
    "a long formula that all cells share": Hostile(
        lambda: workbook(
            "".join(
                f'<row r="{n}"><c r="A{n}"><f t="shared" si="0"{f""" ref="A1:A9000">{"A1+" * 2_500}A1</f>""" if n == 1 else "/>"}</c></row>'
                for n in range(1, 9_001)
            )
        ),
        "signs of formulas",
    ),
    "styles without end": Hostile(
        lambda: workbook(more={"xl/styles.xml": f'<styleSheet xmlns="{MAIN}"><cellXfs>{"<xf/>" * 1_200_000}</cellXfs></styleSheet>'}),
        "1,000,000 elements",
    ),
}  # fmt: skip


# Reads each file that it is told in a fork of its own, so that what it needs is imported once.
READER = f"""
import os, resource, signal, sys, time
from pathlib import Path
import openpyxl
from calib.faces.files import LARGEST_FILE, file_content
from calib.procedures.typed.comparison_sheets import comparison_columns, read_comparisons
for path in sys.stdin:
    if (child := os.fork()) == 0:
        resource.setrlimit(resource.RLIMIT_AS, (10**9, 10**9))
        signal.alarm(10 * {LIMIT})
        file = file_content(Path(path.rstrip()), LARGEST_FILE)
        begun = time.process_time()
        rows, findings = read_comparisons(file, 'VA-1', 'C-1', comparison_columns())
        said = [str(each) for each in findings]
        print(repr((len(rows), said, time.process_time() - begun)), flush=True)
        os._exit(0)
    if (status := os.waitpid(child, 0)[1]) != 0:
        print(repr((0, [f'ended with {{status}}'], 0)), flush=True)
"""


@pytest.fixture(scope="module")
def reader():
    """A function that has a file read in a process of its own: how many rows, the findings, and the processor's time for it [s]."""
    with subprocess.Popen(
        [sys.executable, "-c", READER], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:

        def told(path):
            process.stdin.write(f"{path}\n")
            process.stdin.flush()
            return ast.literal_eval(process.stdout.readline())

        yield told
        process.stdin.close()


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_workbook_is_refused_in_one_line_with_the_bound_within_ten_seconds(reader, tmp_path, name):
    """In a process of its own, which would be killed at ten times the limit, with a gigabyte of memory."""
    content = HOSTILE[name].make()
    assert len(content) < 1_000_000
    (tmp_path / "a.xlsx").write_bytes(content)
    rows, said, seconds = reader(tmp_path / "a.xlsx")
    assert (rows, len(said)) == (0, 1)
    assert HOSTILE[name].said in said[0]
    assert "\n" not in said[0]
    assert "expected a workbook" in said[0]
    assert seconds < LIMIT


# The heaviest that are let in: each bound by itself, as far as it goes.
HEAVY = {
    "rows and columns to the bounds": lambda: workbook(
        "".join(f'<row r="{n}"><c r="A{n}"><v>1</v></c><c r="CV{n}"><v>1</v></c></row>' for n in range(1, bounds.MOST_SHEET_ROWS + 1))
    ),
    "elements to the bound": lambda: workbook(
        "".join(f"<row>{'<c><v>1</v></c>' * 49}</row>" for _ in range(bounds.MOST_ELEMENTS // 100))
    ),
    "formulas to the bound": lambda: workbook(
        "".join(
            f'<row r="{n}"><c r="A{n}"><f t="shared" si="0"{""" ref="A1:A5000">""" + "A1+" * 120 + "A1</f>" if n == 1 else "/>"}</c></row>'
            for n in range(1, 5_001)
        )
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", HEAVY)
def test_the_heaviest_workbook_within_the_bounds_is_read_within_ten_seconds(name):
    content = HEAVY[name]()
    extent_of(content)
    begun = time.process_time()
    read(content)
    assert time.process_time() - begun < LIMIT


def test_a_command_says_it_in_one_line_and_writes_nothing(small_records, tmp_path):
    before = [each.name for each in tmp_path.iterdir()]
    (tmp_path / "a.xlsx").write_bytes(HOSTILE["one far cell down"].make())
    words = (
        "calibration",
        "add",
        "VA-1",
        "C-9",
        "--comparisons",
        tmp_path / "a.xlsx",
        "--laboratory",
        "L",
        "--calibrated-on",
        "2026-03-01",
    )
    ran = calib(*words, records=small_records)
    assert (ran.status, ran.err.count("\n")) == (2, 1), ran.err
    assert "expected a workbook with at most 20,000 rows in a sheet" in ran.err
    assert {each.name for each in tmp_path.iterdir()} - {"a.xlsx"} == set(before)
