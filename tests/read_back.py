"""The forms of a report as other programs read them: the workbook, the PDF's text, the message."""

import email
import email.policy
import io
import json
import re
from contextlib import closing
from dataclasses import dataclass, field
from datetime import date
from html import unescape
from typing import Any

import openpyxl
import pypdfium2

from tests.report_forms import Page, in_symbols, table

BROKEN_AFTER_HYPHEN = "\ufffe"  # PDFium's sign for the end of a line within a word
RESULT = re.compile(r"−?-?[\d.]+ ± [\d.]+ (?:m3/h|L/s|cfm|m3/s|m/s|fpm)(?=[ ;,]|$)")


def one_spaced(text):
    """The text with one space wherever it had any white."""
    return " ".join(text.split())


# --- the workbook ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Workbook:
    """A workbook's sheets: name -> rows, each a dict of its filled cells by the label of their column."""

    sheets: dict[str, list[dict[str, Any]]]
    formats: dict[str, list[dict[str, str]]]  # the same with the number formats
    book: Any = field(repr=False)

    @classmethod
    def of(cls, file):
        """The workbook of a file's bytes."""
        book = openpyxl.load_workbook(io.BytesIO(file))
        tables = [page for page in book.worksheets if page.freeze_panes]
        return cls(
            {page.title: list(cls._rows(page, "value")) for page in tables},
            {page.title: list(cls._rows(page, "number_format")) for page in tables},
            book,
        )

    @staticmethod
    def _rows(page, attribute):
        head, *rows = page.iter_rows()
        for row in rows:
            pairs = zip(head, row, strict=True)
            yield {label.value: getattr(cell, attribute) for label, cell in pairs if cell.value is not None}

    def texts(self):
        """Every text of the workbook, and every day as ISO 8601 writes it."""
        values = [cell.value for cell in self.cells()]
        return [str(value) for value in values if isinstance(value, str | date)]

    def cells(self):
        """Every cell that is filled."""
        return [
            cell for page in self.book.worksheets for row in page.iter_rows() for cell in row if cell.value is not None
        ]


def as_shown(number, form):
    """A number under a number format of the workbook: decimal places, percent, and what stands above or below a bound."""
    for condition, text in re.findall(r'\[([<>][\d.]+)\]"([^"]*)"', form):
        bound = float(condition[1:])
        if number > bound if condition[0] == ">" else number < bound:
            return text
    plain = form.rpartition(";")[2]
    places = len(re.match(r"0\.?(0*)", plain)[1])
    return f"{100 * number:.{places}f} %" if "%" in plain else f"{number:.{places}f}"


def page_text(html):
    """Text of a page, without its style and the texts of its drawings; a space stands between two boxes."""
    without = re.sub(r"<(style|svg|math)\b.*?</\1>", " ", html, flags=re.DOTALL)
    without = re.sub(r"</?(?:span|strong|code|bdi|a)\b[^>]*>", "", without)
    return one_spaced(unescape(re.sub(r"<[^>]+>", " ", without)))


def drawn_text(html):
    """Texts of a page's drawings, one after the other."""
    texts = re.findall(r"<text\b[^>]*>(.*?)</text>", html, flags=re.DOTALL)
    return one_spaced(" ; ".join(unescape(re.sub(r"<[^>]+>", "", one)) for one in texts))


# --- the PDF and the message -----------------------------------------------------------------------------------------------------


def pdf_pages(file):
    """Text of each page of a PDF, a file or its bytes, in the order of its content; each page on one line."""
    with closing(pypdfium2.PdfDocument(file)) as document:
        pages = [page.get_textpage().get_text_range() for page in document]
    return [in_symbols(one_spaced(text.replace(BROKEN_AFTER_HYPHEN, "- "))) for text in pages]


def pdf_text(file):
    """Text of a PDF in the order of its content, on one line."""
    return one_spaced(" ".join(pdf_pages(file)))


@dataclass(frozen=True)
class Mail:
    """A message as a mail program reads it."""

    message: Any

    @classmethod
    def of(cls, file):
        """The message of a file's bytes."""
        return cls(email.message_from_bytes(file, policy=email.policy.default))

    @property
    def html(self):
        """Its body as a page."""
        return self.message.get_body(("html",)).get_content()

    @property
    def plain(self):
        """Its body as plain text."""
        return in_symbols(self.message.get_body(("plain",)).get_content())

    @property
    def attachments(self):
        """File name -> bytes."""
        return {one.get_filename(): one.get_payload(decode=True) for one in self.message.iter_attachments()}


@dataclass(frozen=True)
class Forms:
    """A report in every form, read back."""

    content: dict[str, Any]
    csv: str
    workbook: Workbook
    html: str
    page: Page
    pdf: str
    mail: Mail
    mail_page: Page

    @property
    def texts(self):
        """What people read of each form: form -> text with single spaces."""
        return {
            "csv": one_spaced(" ".join(cell for row in table(self.csv) for cell in row.values())),
            "xlsx": one_spaced(" ".join(self.workbook.texts())),
            "html": in_symbols(page_text(self.html)),
            "pdf": self.pdf,
            "mail": in_symbols(page_text(self.mail.html)),
            "plain": one_spaced(self.mail.plain),
        }

    @property
    def drawn(self):
        """What people read in the drawings of the page, which the PDF has too."""
        return in_symbols(drawn_text(self.html))

    @classmethod
    def of(cls, made, pdf_file):
        """The forms of their bytes; the PDF stands in a file too, for the program that reads it."""
        mail = Mail.of(made["eml"])
        return cls(
            json.loads(made["json"]),
            made["csv"].decode(),
            Workbook.of(made["xlsx"]),
            made["html"].decode(),
            Page.of(made["html"].decode()),
            pdf_text(pdf_file),
            mail,
            Page.of(mail.html),
        )
