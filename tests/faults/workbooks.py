"""Workbooks with mutations: each is refused in one line that names it, or read to what it holds; nothing else, and soon.

Sheets of comparisons (.xlsx, .ods) are cut short, turned over in places, lack a part or have one twice, hold broken or swelling
XML, cells of another type, far away, without number, or formulas. Where the part that is the sheet is as it was, all of its rows
are read, and never more than there were; where its texts or elements were changed, an .xlsx is read as lxml reads it with a plain
path (ECMA-376-1:2016, 18.3.1.4 and 18.3.1.96).

Long run: python -m tests.faults.workbooks 20000
"""

import io
import random
import re
import resource
import sys
import time
import warnings
import zipfile
from collections import Counter

from lxml import etree

from calib.faces.handouts.spreadsheet import SPREADSHEETS
from calib.faces.plain_text import one_line
from calib.procedures.enter.blank_sheet import BlankColumn, BlankSheet
from calib.procedures.typed.comparison_sheets import comparison_columns, read_comparisons
from calib.procedures.typed.sheets import FileContent

LIMIT = 10  # seconds of this process, as `calib/procedures/typed/bounded_workbook.py` states
MEMORY = 1_000_000  # kilobytes, the most that this process has had
COLUMNS = ("phase", "reference", "indication", "unit", "expanded_uncertainty", "coverage_factor")
ROWS = [("as-found", x, x, "m/s", "0.02", "2") for x in ("0.5", "1.0", "2.0", "4.0")]
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_LONGEST_NAME = 65_535  # bytes of the name of a part, that an archive has room for
ODD = (
    b"", b" ", b"NaN", b"1e999", b"9" * 400, b"0,66", b"2026-02-30", b"\xff", b"\x00", b"<", b">", b"&", b"&lt;", b"&#0;", b"&e;",
    b"<!--", b"<![CDATA[", b"]]>", b"<?x?>", b"<!DOCTYPE x [<!ENTITY e 'ha'>]>", b"=1+1", b"#REF!", b"-1", b"1048577", b"XFE1",
    b"A0", b"A" * 70_000, b"s", b"e", b"b", b"inlineStr", b"\xe2\x80\xae", b"../../etc/passwd", b"{0}", b"%s",
)  # fmt: skip


def plain_workbook():
    """The sheet as an .xlsx file whose texts stand in its cells."""
    cells = "".join(
        f'<row r="{line}">'
        + "".join(f'<c r="{"ABCDEF"[place]}{line}" t="inlineStr"><is><t>{text}</t></is></c>' for place, text in enumerate(row))
        + "</row>"
        for line, row in enumerate((COLUMNS, *ROWS), start=1)
    )  # fmt: skip
    parts = _parts(SPREADSHEETS[".xlsx"]([BlankSheet("comparisons", [BlankColumn(name, "") for name in COLUMNS], [])]))
    sheet = f'<worksheet xmlns="{MAIN}"><dimension ref="A1:F5"/><sheetData>{cells}</sheetData></worksheet>'
    return _archive([(name, sheet.encode() if name.endswith("sheet1.xml") else part) for name, part in parts])


def open_document():
    """The sheet as an .ods file."""
    return SPREADSHEETS[".ods"]([BlankSheet("comparisons", [BlankColumn(name, "") for name in COLUMNS], ROWS, False)])


def _parts(content):
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return [(name, archive.read(name)) for name in archive.namelist()]


def _archive(parts):
    out = io.BytesIO()
    with (
        warnings.catch_warnings(action="ignore"),  # of a part that is there twice
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive,
    ):
        for name, part in parts:
            with archive.open(zipfile.ZipInfo(name), "w") as file:
                file.write(part)
    return out.getvalue()


def _turned(chance, content):
    """Bytes cut off, turned over, taken out, or more behind them."""
    place = chance.randrange(len(content))
    kind = chance.randrange(4)
    if kind == 0:
        return content[:place]
    if kind == 1:
        return content[:place] + bytes([chance.randrange(256)]) + content[place + 1 :]
    return content[:place] + (content[place + chance.randrange(1, 60) :] if kind == 2 else chance.choice(ODD) + content)


def _other_parts(chance, parts):
    """A part that is away, there twice, empty, another one, of another name, or swells when it is inflated; and its name."""
    place, other = chance.randrange(len(parts)), chance.randrange(len(parts))
    name, part = parts[place]
    put = chance.choice(
        [
            [],
            [(name, part), (name, part)],
            [(name, b"")],
            [(name, parts[other][1])],
            [(chance.choice(ODD).decode("latin-1")[:_LONGEST_NAME] or "x", part)],
            [(name, part + b" " * chance.choice([10, 1_000_000, 120_000_000]))],
            [(name, part), *((f"{number}", b"") for number in range(chance.choice([1, 1_001])))],
        ]
    )
    return [*parts[:place], *put, *parts[place + 1 :]], name


def _of_xml(chance, part):
    """XML with one thing changed: an element, a text or an attribute; and whether a plain path still finds what is there."""
    elements = list(re.finditer(rb"<([a-z]+:)?(\w[\w-]*)[^<>]*>[^<>]*</\1?\2>|<[\w:-]+[^<>]*/>", part))
    texts, attributes = list(re.finditer(rb">([^<>]+)<", part)), list(re.finditer(rb'="([^"]*)"', part))
    if not (elements and texts and attributes):
        return _turned(chance, part), False
    element, other, text = chance.choice(elements), chance.choice(elements), chance.choice(texts)
    begin, end, put, is_plain = chance.choice(
        [
            (*element.span(), b"", True),
            (*text.span(1), chance.choice(ODD), True),
            (element.start(), element.start(), element.group(), False),
            (other.start(), other.start(), element.group(), False),
            (*chance.choice(attributes).span(1), chance.choice(ODD), False),
            (*chance.choice(attributes).span(1), chance.choice(ODD), False),
            (element.start(), element.start(), b"<a>" * chance.choice([9, 90_000]), False),
            (*element.span(), b"<f>" + chance.choice(ODD) + b"</f>", False),
            (0, 0, chance.choice(ODD), False),
        ]
    )
    return part[:begin] + put + part[end:], is_plain


def mutated(chance, content, sheet):
    """The file with one thing changed, and what its rows have to be: "all", "plain" as lxml reads them, or None, not known."""
    kind = chance.random()
    if kind < 0.25:
        return _turned(chance, content), None
    parts = _parts(content)
    if kind < 0.4:
        made, name = _other_parts(chance, parts)
        return _archive(made), None if name == sheet else "all"
    place = (
        chance.randrange(len(parts)) if kind < 0.6 else next(at for at, each in enumerate(parts) if each[0] == sheet)
    )
    part, is_plain = _of_xml(chance, parts[place][1])
    made = _archive([*parts[:place], (parts[place][0], part), *parts[place + 1 :]])
    is_of_sheet = parts[place][0] == sheet
    return made, "all" if not is_of_sheet else "plain" if is_plain else None


def _by_lxml(content, sheet):
    """Cells of each filled row below the head as a plain path finds them, by the name of their column."""
    tree = etree.fromstring(dict(_parts(content))[sheet], etree.XMLParser(resolve_entities=False))
    names = {"m": MAIN}
    rows = [
        {
            re.match("[A-Z]+", cell.get("r"))[0]: "".join(cell.xpath("m:is//m:t/text()", namespaces=names)).strip()
            for cell in row
        }
        for row in tree.xpath("//m:sheetData/m:row", namespaces=names)
    ]
    head, *others = rows
    told = [{head.get(letter, ""): text for letter, text in row.items() if text} for row in others]
    return [row for row in told if row]


def _with_points(rows):
    """The filled cells of rows, a decimal comma as a point: which of both is meant, the program asks the whole sheet."""
    return [{name: row[name].replace(",", ".") for name in COLUMNS if row.get(name)} for row in rows]


def outcome(content, sheet, expected):
    """How a file ends; raises AssertionError."""
    begun = time.process_time()
    rows, findings = read_comparisons(FileContent("typed.xlsx", content), "VA-1", "C-1", comparison_columns())
    assert time.process_time() - begun < LIMIT
    if findings:
        assert all(each.source and each.expected for each in findings), findings
        assert all(len(one_line(str(each)).splitlines()) == 1 for each in findings), findings
        return "refused"
    if expected == "plain" and sheet.endswith("sheet1.xml"):
        cells, plainly = [each.cells for each in rows], _by_lxml(content, sheet)
        assert _with_points(cells) == _with_points(plainly), (cells, plainly)
        return "read as it says"
    assert len(rows) == len(ROWS) or (expected != "all" and len(rows) < len(ROWS)), rows
    return "read, every row" if len(rows) == len(ROWS) else "read, fewer rows"


def workbooks(files, seed):
    """Outcomes of so many mutated workbooks, half of them .ods; raises AssertionError."""
    chance = random.Random(seed)  # noqa: S311 (nothing is secret)
    kinds = ((".xlsx", plain_workbook(), "xl/worksheets/sheet1.xml"), (".ods", open_document(), "content.xml"))
    for kind, content, sheet in kinds:
        assert outcome(content, sheet, "plain").startswith("read"), kind
    outcomes = Counter()
    for place in range(files):
        kind, content, sheet = kinds[place % 2]
        made, expected = mutated(chance, content, sheet)
        outcomes[kind, outcome(made, sheet, expected)] += 1
    return outcomes


if __name__ == "__main__":
    for (kind, ended), count in sorted(workbooks(int(sys.argv[1]), seed=20261129).items()):
        print(f"{count:8,}  {kind}: {ended}")
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{most:8,}  kB of memory at the most")
    assert most < MEMORY
