"""Texts that must do no harm wherever they are typed, and the report of a job that holds one in every free cell.

Common practice, no source: markup of a page, of the typesetter and of formulas, what a spreadsheet runs, marks that turn the
direction of a line, long texts and signs beyond the basic plane.
"""

from calib.faces.report.content import content
from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.report.collect import report
from calib.records import database, ledger
from tests.folders import NOW, records_of, small_job

_SIGNS = "$\\frac{1}{0}$ %s %(x)d \\x41 '; DROP TABLE job; -- \ttab"
HOSTILE = {
    "html": "<script>alert(1)</script>"
    "<img src=x onerror=alert(2)>\"' onload=alert(3) {{ 7*7 }} {% raw %} ]]> --> </style></svg> &lt;",
    "signs": _SIGNS,
    "right to left": "\u202etfel ot thgir\u202c \u200f\u05d0\u05d1\u05d2 \u2067open",
    "typesetter": '#import "x.typ": * #read("/etc/hosts") $x^2$ *bold* _slanted_ @ref <label> `raw` = Heading \\ // no /* no */',
    "formula": '=HYPERLINK("http://x";"y")',
    "plus": "+1+cmd|' /C calc'!A0",
    "at": "@SUM(A1)",
    "long": "x" * 10_000,
    "long words": "seven words that go on and on " * 333,
    "lines": "one\ntwo\r\nthree",
    "emoji": "\N{GRINNING FACE}\N{FAMILY}\N{ZERO WIDTH JOINER}\N{GIRL}測",
}
# Every cell of the small job that takes free text.
FREE = {
    "instruments.csv": ("tag", "kind", "maker", "model", "serial", "location"),
    "calibrations.csv": ("tag", "certificate", "laboratory", "accreditation"),
    "comparisons.csv": ("tag", "certificate"),
    "methods.csv": ("method", "basis"),
    "jobs.csv": ("title", "site", "client"),
    "outlets.csv": ("outlet", "system", "outlet_factor_source", "outlet_factor_reason"),
    "readings.csv": ("outlet", "instrument", "method", "operator", "remarks"),
}


def hostile_job(text):
    """The small job with a text before what stands in every free cell, and VA-2 out of calibration."""
    sheets = small_job()
    sheets["calibrations.csv"][1]["due_on"] = "2026-02-10"
    sheets["calibrations.csv"][1]["standards"] = ""  # tags are joined by ; there
    for file, columns in FREE.items():
        for row in sheets[file]:
            row.update({column: f"{text}{row[column]}" for column in columns})
    return sheets


def hostile_records(folder, text):
    """Records that hold the job, with an outlet amended for the text as a reason."""
    records = records_of(folder, hostile_job(text))
    with database.writing(str(records)) as session:
        outlet = f"{text}S-2".strip()
        signature = ledger.Signature(f"{text[:200]}B. Person", NOW, "outlet amend")
        amend_outlet(session, "J-1", outlet, ["width=310"], f"{text}measured again", signature)
    return records


def hostile_report(folder, text):
    """Content of the report on such a job, and the calibrations it rests on."""
    with database.reading(str(hostile_records(folder, text))) as session:
        found = report(session, "J-1", NOW)
        return content(found, NOW), found.every_calibration
