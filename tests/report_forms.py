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


def run_by_a_spreadsheet(text):
    """Cells that a spreadsheet would take for a formula; a negative number is none."""
    return [
        cell
        for row in csv.reader(io.StringIO(text, newline=""))
        for cell in row
        if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and not re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
    ]


# --- the page --------------------------------------------------------------------------------------------------------------------


class Page(HTMLParser):
    """An HTML page as its elements, attributes, rows of cells and text."""

    def __init__(self):
        """Nothing was read yet."""
        super().__init__(convert_charrefs=True)
        self.elements, self.attributes, self.rows, self.text, self.in_cell = [], [], [], "", False

    @classmethod
    def of(cls, html):
        """The page of a text."""
        page = cls()
        page.feed(html)
        page.close()
        page.text = " ".join(page.text.split())
        page.rows = [[" ".join(cell.split()) for cell in row] for row in page.rows]
        return page

    def handle_starttag(self, tag, attrs):
        """An element begins."""
        self.elements.append(tag)
        self.attributes += [(tag, *one) for one in attrs]
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self.in_cell = True
        elif tag == "br" and self.in_cell:
            self.rows[-1][-1] += " "

    def handle_endtag(self, tag):
        """An element ends."""
        self.in_cell = self.in_cell and tag not in ("td", "th")

    def handle_data(self, data):
        """Text between elements."""
        if self.elements and self.elements[-1] == "style":
            return
        self.text += f" {data}" if "svg" in self.elements else data
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
