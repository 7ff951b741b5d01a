"""Write the workbooks of the corpus anew: `python tests/sheets/compute.py` does, and imports nothing of `calib`."""

import io
import zipfile
from datetime import UTC, date, datetime, time
from html import escape
from pathlib import Path

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font

METER = (
    ("tag", "kind", "maker", "model", "serial", "quantity", "range_low", "range_high", "unit", "resolution", "mpe_percent",
     "mpe_absolute", "interval_months"),
    ("VA-9", "vane", "M", "N", "007", "air velocity", 0.3, 20, "m/s", 0.01, 2, 0.1, 12),
)  # fmt: skip
JOBS = (("job", "title", "decision_rule"), ("J-9", "Hall", "simple"), ("J-8", "Lobby", "simple"))
DAY = (("tag", "certificate", "laboratory", "calibrated_on"), ("VA-1", "C-9", "L", date(2026, 3, 5)))
TOTAL = (None, "Total", None, None, None, "=SUM(F2:F2)", None, None)
READING = ("job", "outlet", "instrument", "observed_at", "unit", "observations", "method", "operator")


def reading(at, heading="observed_at"):
    """A reading with its time under a heading."""
    row = ("J-1", "S-1", "VA-1", at, "m/s", 4.19, "sweep", "T. One")
    return (tuple(heading if name == "observed_at" else name for name in READING), row)


def workbook(*sheets):
    """A workbook of sheets, (title, rows) each."""
    book = Workbook()
    book.remove(book.active)
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    return book


def saved(book):
    """The bytes of a workbook."""
    book.properties.created = book.properties.modified = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def changed(book, change):
    """The bytes of a workbook of which the first sheet was changed."""
    change(book.worksheets[0])
    return saved(book)


def _formats(sheet):
    sheet["G2"].number_format, sheet["J2"].number_format = "0.00", "0.000"


def _percent(sheet):
    sheet["K2"].value, sheet["K2"].number_format = 0.1, "0 %"


def _struck(sheet):
    for cell in sheet[3]:
        cell.font = Font(strike=True)


def _unit_of_format(sheet):
    sheet["F2"].number_format = '0.00" fpm"'


def _merged(sheet):
    sheet.insert_rows(1)
    sheet["A1"] = "Jobs of March"
    sheet.merge_cells("A1:C1")


def _around(sheet):
    sheet.insert_rows(1, 2)
    sheet.insert_cols(1)


def _commented(sheet):
    sheet["A2"].comment = Comment("ask again", "nobody")


def office():
    """Workbooks (.xlsx) by their names."""
    apart = (
        tuple(each for name in READING for each in (("date", "time [+01:00]") if name == "observed_at" else (name,))),
        ("J-1", "S-1", "VA-1", date(2026, 3, 5), time(14, 30), "m/s", 4.19, "sweep", "T. One"),
    )
    moment = datetime(2026, 3, 5, 14, 30)  # noqa: DTZ001 (a workbook knows no zones)
    hidden = workbook(("Jobs", JOBS[:2]), ("Meters", METER))
    hidden["Meters"].sheet_state = "hidden"
    whole = saved(workbook(("Jobs", JOBS)))
    return {
        "digits.xlsx": changed(workbook(("Instruments", METER)), _formats),
        "days.xlsx": saved(workbook(("Calibrations", DAY))),
        "day-and-time.xlsx": saved(workbook(("Readings", apart))),
        "moment.xlsx": saved(workbook(("Readings", reading(moment, "observed at [+01:00]")))),
        "moment-without-zone.xlsx": saved(workbook(("Readings", reading(moment)))),
        "percent.xlsx": changed(workbook(("Instruments", METER)), _percent),
        "formula.xlsx": saved(workbook(("Jobs", (JOBS[0], ("J-9", '="Ha"&"ll"', "simple"))))),
        "total-formula.xlsx": saved(workbook(("Readings", (*reading("2026-03-05T14:30+01:00"), TOTAL)))),
        "error.xlsx": saved(workbook(("Jobs", (JOBS[0], ("J-9", "#REF!", "simple"))))),
        "truth.xlsx": saved(workbook(("Jobs", (JOBS[0], ("J-9", True, "simple"))))),
        "hidden-row.xlsx": changed(
            workbook(("Jobs", JOBS)), lambda sheet: setattr(sheet.row_dimensions[3], "hidden", True)
        ),
        "hidden-column.xlsx": changed(
            workbook(("Jobs", JOBS)), lambda sheet: setattr(sheet.column_dimensions["B"], "hidden", True)
        ),
        "hidden-sheet.xlsx": saved(hidden),
        "one-fits.xlsx": saved(workbook(("Jobs", JOBS[:2]), ("Photos", (("picture", "of"), ("1.jpg", "a grille"))))),
        "nearly-fits.xlsx": saved(
            workbook(("Jobs", JOBS), ("Meters", tuple(tuple(row[:4] + row[5:]) for row in METER)))
        ),
        "struck-row.xlsx": changed(workbook(("Jobs", JOBS)), _struck),
        "unit-of-format.xlsx": changed(workbook(("Readings", reading("2026-03-05T14:30+01:00"))), _unit_of_format),
        "merged-rows.xlsx": changed(workbook(("Jobs", JOBS)), lambda sheet: sheet.merge_cells("D2:D3")),
        "merged-title.xlsx": changed(workbook(("Jobs", JOBS)), _merged),
        "blank-around.xlsx": changed(workbook(("Jobs", JOBS)), _around),
        "comments.xlsx": changed(workbook(("Jobs", JOBS)), _commented),
        "numbers-as-text.xlsx": saved(workbook(("Instruments", (METER[0], tuple(map(str, METER[1])))))),
        "broken.xlsx": whole[: len(whole) // 2] + whole[-200:],
        "text.xlsx": b"job,title,decision_rule\nJ-9,Hall,simple\n",
    }


_NAMES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in ("office", "table", "text", "style")
)
_KIND = "application/vnd.oasis.opendocument.spreadsheet"


def document(title, rows, styles=""):
    """An OpenDocument spreadsheet of one sheet; a cell is a text, or (kind, attributes, what it shows)."""

    def cell(each):
        kind, attributes, shown = each if isinstance(each, tuple) else ("string", "", each)
        return f'<table:table-cell office:value-type="{kind}" {attributes}><text:p>{escape(shown)}</text:p></table:table-cell>'

    lines = "".join(f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in rows)
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content office:version="1.3" {_NAMES}>{styles}<office:body>'
        f'<office:spreadsheet><table:table table:name="{title}">{lines}</table:table></office:spreadsheet></office:body>'
        "</office:document-content>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in (("mimetype", _KIND), ("content.xml", content)):
            archive.writestr(zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0)), text)
    return out.getvalue()


def open_documents():
    """Spreadsheets (.ods) by their names."""
    meter = [
        ("float", f'office:value="{each}"', f"{each:.2f}") if isinstance(each, float) else str(each)
        for each in METER[1]
    ]
    percent = [
        ("percentage", 'office:value="0.1"', "10 %") if name == "mpe_percent" else str(each)
        for name, each in zip(*METER, strict=True)
    ]
    day = [*map(str, DAY[1][:3]), ("date", 'office:date-value="2026-03-05"', "05.03.26")]
    struck = (
        '<office:automatic-styles><style:style style:name="ce1"><style:text-properties style:text-line-through-style="solid"/>'
        "</style:style></office:automatic-styles>"
    )
    shown = ("float", 'office:value="4.19"', "4,19 m3/h")
    return {
        "struck-cell.ods": document(
            "Instruments", (METER[0], [("string", 'table:style-name="ce1"', "VA-9"), *meter[1:]]), struck
        ),
        "unit-of-format.ods": document(
            "Readings", (READING, [*reading("2026-03-05T14:30+01:00")[1][:5], shown, "sweep", "T. One"])
        ),
        "sheet.ods": document("Instruments", (METER[0], meter)),
        "percent.ods": document("Instruments", (METER[0], percent)),
        "day.ods": document("Calibrations", (DAY[0], day)),
    }


def workbooks():
    """Every workbook of the corpus by its name."""
    return office() | open_documents()


if __name__ == "__main__":
    for own, written in workbooks().items():
        (Path(__file__).parent / own).write_bytes(written)
