"""The forms of a report as tests read them: its page, its table, and where a document lacks a key of a shape."""

import csv
import io
import re
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any

from tests.command import calib


def report_of(records, folder, forms="json,csv,html", job="J-1", *words):
    """A job's report in each form, as texts."""
    assert calib("report", job, "--format", forms, "--into", folder, *words, records=records).status == 0
    return {form: next(folder.glob(f"*.{form}")).read_bytes().decode() for form in forms.split(",")}


# --- JSON ------------------------------------------------------------------------------------------------------------------------

NUMBER = (int, float)
MAYBE_NUMBER = (int, float, type(None))
MAYBE_TEXT = (str, type(None))


@dataclass(frozen=True)
class Maybe:
    """A part that may be null."""

    shape: Any


def misfits(value, shape, where="report"):
    """Where a document lacks a key of a shape, or holds another type."""
    if isinstance(shape, Maybe):
        yield from () if value is None else misfits(value, shape.shape, where)
    elif isinstance(shape, dict):
        for key, inner in shape.items():
            there = isinstance(value, dict) and key in value
            yield from misfits(value[key], inner, f"{where}.{key}") if there else [f"{where}.{key} is missing"]
    elif isinstance(shape, list):
        for number, one in enumerate(value):
            yield from misfits(one, shape[0], f"{where}[{number}]")
    elif not isinstance(value, shape) or (isinstance(value, bool) and shape is not bool):
        yield f"{where} is {value!r}"


# --- CSV -------------------------------------------------------------------------------------------------------------------------


def table(text):
    """Rows of a CSV file, each a dict of its cells."""
    return list(csv.DictReader(io.StringIO(text, newline="")))


DESIGN_CELLS = {"design_flow": ("design", "value")} | {
    name: ("design", name)
    for name in (
        "lower_limit", "upper_limit", "guard_band", "guard_factor", "tolerance_percent", "percent_of_design",
        "conformity", "probability_of_conformity", "consumer_risk", "producer_risk",
    )
}  # fmt: skip
OWN_CELLS = (
    "system",
    "service",
    "outlet",
    "instrument",
    "certificate",
    "observed_at",
    "in_totals",
    "place",
    "room",
    "stage",
)
READING_CELLS = {name: (name,) for name in OWN_CELLS} | {
    "velocity": ("velocity", "value"), "velocity_unit": ("velocity", "unit"),
    "velocity_standard_uncertainty": ("velocity", "standard_uncertainty"), "probe": ("probe", "tag"),
    "conditions": ("conditions", "name"), "density_kg_m3": ("conditions", "density", "value"),
    "found_factor": ("found_factor", "factor"),
    "reading": ("reading",), "indication_unit": ("evidence", "unit"), "source_document": ("evidence", "sources", 0, "document"),
} | {name: (name,) for name in ("method", "operator", "remarks", "averaging_s")} | {
    name: ("evidence", "dimensions", name)
    for name in ("shape", "width", "height", "diameter", "dimension_unit", "dimension_limit")
} | {
    f"factor_{name}": ("evidence", "factor", name)
    for name in ("kind", "value", "unit", "standard_uncertainty", "source")
} | {
    f"method_{said}": ("evidence", "method", name)
    for said, name in {
        "percent": "relative_standard_uncertainty_percent", "degrees_of_freedom": "degrees_of_freedom",
        "common_percent": "common_standard_uncertainty_percent", "common_degrees_of_freedom": "common_degrees_of_freedom",
        "own_percent": "own_standard_uncertainty_percent", "own_degrees_of_freedom": "own_degrees_of_freedom",
        "basis": "basis",
    }.items()
}  # fmt: skip
FLOW_CELLS = {"flow": ("flow", "value"), "flow_unit": ("flow", "unit")} | {
    name: ("flow", name)
    for name in (
        "standard_uncertainty", "expanded_uncertainty", "coverage_factor", "coverage_probability",
        "effective_degrees_of_freedom", "statement",
    )
} | {"interval_low": ("flow", "interval", "low"), "interval_high": ("flow", "interval", "high")}  # fmt: skip
TOTAL_CELLS = (
    {name: (name,) for name in ("system", "service", "outlets", "outlets_measured")} | FLOW_CELLS | DESIGN_CELLS
)
ROOM_CELLS = {name: (name,) for name in ("room", "wanted", "probability_as_wanted")}
REFUSED = ("system", "service", "outlet", "instrument", "observed_at", "operator", "remarks")


def cells_of(one, paths):
    """What the CSV must hold of a part of the JSON, to the last digit; blank where there is nothing."""
    cells = {}
    for name, path in paths.items():
        value = one
        for key in path:
            value = _within(value, key)
        cells[name] = "" if value is None else value if isinstance(value, str) else repr(value)
    return cells


def _within(value, key):
    """What stands under a key, or at a place of a list; nothing where there is none."""
    if isinstance(value, list):
        return value[key] if key < len(value) else None
    return None if value is None else value.get(key)


# Record of the CSV: the part of the JSON that it shows, and where each of its cells stands there.
CSV_RECORDS = {
    "reading": ("readings", READING_CELLS | FLOW_CELLS | DESIGN_CELLS),
    "total": ("totals", TOTAL_CELLS),
    "job total": ("job_totals", TOTAL_CELLS),
    "room": ("rooms", ROOM_CELLS | TOTAL_CELLS),
    "refusal": ("refusals", {name: (name,) for name in REFUSED} | {"indication_unit": ("unit",)}),
}
_TEXTS = ("record", "flags", "reasons", "indications", "throttled_indications")  # several texts joined


def csv_misfits(text, content, record):
    """Cells of one kind of record that are not those of the JSON, to the last digit."""
    part, paths = CSV_RECORDS[record]
    rows = [row for row in table(text) if row["record"] == record]
    expected = [cells_of(one, paths) for one in content[part]]
    if len(rows) != len(expected):
        yield f"{len(rows)} rows for {len(expected)} {part}"
    for row, cells in zip(rows, expected, strict=False):
        filled = {name: in_symbols(cell) for name, cell in row.items() if cell and name not in _TEXTS}
        yield from filled.items() ^ {name: cell for name, cell in cells.items() if cell}.items()


def amended_cells(text):
    """What the CSV says of each cell that was amended."""
    names = ("outlet", "revision", "column", "before", "after", "reasons")
    return [tuple(row[name] for name in names) for row in table(text) if row["record"] == "amendment"]


def amended_cells_of(content):
    """The same of the JSON."""
    return [
        (one["record"], str(one["revision"]), each["column"], each["before"], each["after"], one["reason"])
        for one in content["amendments"]
        for each in one["changes"]
    ]


def run_by_a_spreadsheet(text):
    """Cells that a spreadsheet would take for a formula; a negative number is none."""
    return [
        cell
        for row in csv.reader(io.StringIO(text, newline=""))
        for cell in row
        if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and not re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
    ]


# --- the page --------------------------------------------------------------------------------------------------------------------


def in_symbols(text):
    """A text with the units of flows and densities as JSON has them: m3/h for m³/h; without marks where a word may be parted."""
    text = text.replace("\N{SOFT HYPHEN}", "")
    return re.sub("(?<=m)³(?=/)|(?<=/m)³", "3", text)


_BETWEEN = {"br": " ", "sub": "_"}  # x_i is a letter with a subscript


class Page(HTMLParser):
    """An HTML page as its elements, attributes, rows of cells and text."""

    def __init__(self):
        """Nothing was read yet."""
        super().__init__(convert_charrefs=True)
        self.elements, self.attributes, self.rows, self.text, self.in_cell = [], [], [], "", False
        self.headings = set()  # numbers of the rows that are headings
        self.runs_on = False  # within a line: a date or a time, or what follows it

    @classmethod
    def of(cls, html):
        """The page of a text."""
        page = cls()
        page.feed(html)
        page.close()
        page.text = in_symbols(" ".join(page.text.split()))
        page.rows = [[in_symbols(" ".join(cell.split())) for cell in row] for row in page.rows]
        return page

    def under(self, *header):
        """Rows of the table whose heading begins so."""
        (place,) = [number for number in self.headings if self.rows[number][: len(header)] == list(header)]
        end = min((number for number in self.headings if number > place), default=len(self.rows))
        return self.rows[place + 1 : end]

    @property
    def drawings(self):
        """The words of each drawing; a bar in a cell has none, since its row says the same."""
        return [words for tag, name, words in self.attributes if (tag, name) == ("svg", "aria-label")]

    def handle_starttag(self, tag, attrs):
        """An element begins."""
        self.elements.append(tag)
        self.runs_on = ("class", "at") in attrs
        self.attributes += [(tag, *one) for one in attrs]
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self.in_cell = True
            self.headings |= {len(self.rows) - 1} if ("scope", "col") in attrs else set()
        elif tag in _BETWEEN:
            self.text += _BETWEEN[tag]
            if self.in_cell:
                self.rows[-1][-1] += _BETWEEN[tag]

    def handle_endtag(self, tag):
        """An element ends."""
        self.runs_on = self.runs_on and tag == "span"
        self.in_cell = self.in_cell and tag not in ("td", "th")

    def handle_data(self, data):
        """Text between elements."""
        if self.elements and self.elements[-1] == "style":
            return
        is_subscript = self.elements[-1:] == ["sub"] and self.text.endswith("_")
        self.text += data if self.runs_on or is_subscript or "svg" not in self.elements else f" {data}"
        if self.in_cell:
            self.rows[-1][-1] += data


RUNNING = {"script", "link", "iframe", "object", "embed", "base", "form", "img", "audio", "video", "applet", "frame"}


def outside(page):
    """What a page would fetch, or run."""
    running = [tag for tag in page.elements if tag in RUNNING]
    fetched = [
        one
        for one in page.attributes
        if one[1] in ("src", "href", "xlink:href", "action", "data", "srcset") and not one[2].startswith("#")
    ]
    handlers = [one for one in page.attributes if one[1].startswith("on")]
    return running + fetched + handlers
