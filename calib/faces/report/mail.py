"""A report as a message to open in a mail program: its first page is the body, and the PDF is attached. Nothing is sent.

RFC 5322 (the message), RFC 2045 to 2047 (its parts and encoded words), RFC 2387 (pictures within a part), RFC 2392 (`cid:`).
The same report gives the same bytes: moment, identifier and boundaries come from the report itself.

From is an address under `.invalid` (RFC 2606), since RFC 5322 asks for one and the name of a person is none; there is no To;
`X-Unsent` opens the message as a draft (common practice, no source). Pictures are PNG parts, since mail programs show no drawing
within a page. The subject is encoded apart: Python 3.11 takes a typed encoded word for its own and would let it make a header.

Decision (2026-11). The pictures are the page's drawings, set by the typesetter's library. Options: each figure drawn once more by
the drawing library (four times as long, a seventh of a report's time); in the typesetter's own process (another start). Cost
(11-29): 75 MB more here while the mail is made; a sign without a glyph is shown by its number, as in the PDF.

Decision (2026-11-29). The body is the first page. Options: the whole report (2.6 MB and 79,000 px for a job of 29 readings, which
nobody reads in a mail, and mail programs cut); its first page as a picture (not searched, not read out). Cost: the rest is a
click away, in the PDF, with JSON and CSV attached within; of a very large job tables of the first page are cut, and say so.
"""

import io
import re
from binascii import b2a_base64
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from email.header import Header
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from hashlib import sha256
from itertools import count

from calib.faces.drawings import as_svg
from calib.faces.drawings.style import COLUMN_WIDTH
from calib.faces.plain_text import by_number, controls_named, shortened
from calib.faces.report.blocks import Block, Layout, Letterhead, Notice, Picture, Table, paragraph
from calib.faces.report.file_names import file_stem
from calib.faces.report.mail_text import as_plain_text
from calib.faces.report.page import as_html, attribute
from calib.faces.report.typeset_signs import shown_in_svg, typefaces
from calib.faces.report.typesetter import as_pngs

# RFC 5322, 3.6 asks for a sender, and who issues a report has no address here. RFC 6854 allows a group without members, which few
# programs read; an address below `.invalid` (RFC 2606, 2) is read by all and belongs to nobody. A message without To is complete.
_SENDER = Address("Sender to be filled in", "report", "calib.invalid")
_DPI = 144  # of a picture
_WIDE, _SMALL = 614, 416  # [px] of a picture on the screen: as wide as the text, and of one for a column
_COLOURS = 128  # of a picture: a drawing has a dozen, and what lies between them at the edges of letters
_COMPRESSION = 6  # of zlib: 9 takes six times as long for a tenth of the bytes
_LONGEST_JOB = 60
_MARK = (360, 108)  # [px] of the company's mark at most: twice as it is shown, for sharp screens
LARGEST = 300_000  # [byte] of a message without the PDF: what every mail server takes, and a telephone loads at once
_BODIES = (
    LARGEST * 2 // 3
)  # [byte] of page and plain text before base64 takes a third more; pictures and heads have the rest
_MOST_ROWS = (1_000, 300, 100, 30, 10, 3)  # of a table in the body: the most with which it is not too large
_LONGEST_SUBJECT = 160  # signs: the whole title stands in the body
CRLF = "\r\n"
_BASE64_LINE = 76  # signs of a line, RFC 2045, 6.8
_BASE64 = "base64"  # the parts come back to the last byte, whatever their lines are like


def drawings_of(layout: Layout) -> list[bytes]:
    """The pictures of a report's first page as the message has them, PNG: the company's mark, if there is one, and drawings."""
    first = layout.parts[0]
    marks = [block.mark for block in first if isinstance(block, Letterhead) and block.mark is not None]
    drawings = [shown_in_svg(as_svg(block.figure, block.name)) for block in first if isinstance(block, Picture)]
    drawn = as_pngs(drawings, str(typefaces()), _DPI)
    return [*(_of_few_colours(mark, _MARK) for mark in marks), *map(_of_few_colours, drawn)]


def _of_few_colours(picture: bytes, within: tuple[int, int] | None = None) -> bytes:
    """A drawing as a picture with a table of its colours: a third of the bytes, and no colour moves by what an eye can tell.

    `within`: no larger than so many pixels.
    """
    from PIL import Image  # noqa: PLC0415 (the drawing library has imported it by now)

    out = io.BytesIO()
    with Image.open(io.BytesIO(picture)) as drawn:
        shown = drawn.convert("RGBA")
        if within is not None:
            shown.thumbnail(within)
        paper = Image.new("RGBA", shown.size, "white")  # seen where the picture is not
        paper.alpha_composite(shown)
    few = paper.convert("RGB").quantize(_COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(out, "PNG", compress_level=_COMPRESSION)
    return out.getvalue()


def as_eml(layout: Layout, pdf: bytes, drawings: Sequence[bytes] | None = None) -> bytes:
    """The message, with lines ended by CR LF; `drawings` are those of the layout, where they were drawn before."""
    digest = sha256(b"\0".join((_identity(layout), pdf))).hexdigest()
    bodies = _Bodies(digest)
    drawn = drawings_of(layout) if drawings is None else drawings
    pictures = _Pictures(digest, [bodies.stand_in(drawing) for drawing in drawn])
    name = f"{file_stem(layout.job, None if layout.is_draft else layout.revision)}.pdf"
    plain, page = _body(layout, name, pictures)
    message = EmailMessage(policy=SMTP)
    message["From"] = _SENDER
    message["Date"] = format_datetime(datetime.fromisoformat(layout.issued))
    message["Message-ID"] = f"<{digest[:40]}@calib.invalid>"
    message["X-Unsent"] = "1"  # common practice, no source: opened to be addressed and sent, not as received
    message.set_content(plain, cte=_BASE64)
    message.add_alternative(page, subtype="html", cte=_BASE64)
    pictures.beside(message)
    message.add_attachment(bodies.stand_in(pdf), maintype="application", subtype="pdf", filename=name)
    _bound(message, digest)
    return _subject_line(_subject(layout)) + bodies.put_into(message.as_bytes())


def _body(layout: Layout, attached: str, pictures: "_Pictures") -> tuple[str, str]:
    """The first page as plain text and as a page, with as many rows of its tables as are not too large."""
    for most in _MOST_ROWS:
        blocks = (
            *map(_led_on, _cut(layout.parts[0], most)),
            paragraph(f"The whole report is attached: {attached}. {_WITHIN}"),
        )
        first = replace(layout, blocks=blocks)
        plain, page = _encodable(as_plain_text(first)), _encodable(_for_mail(pictures.page_of(first)))
        if len(plain.encode()) + len(page.encode()) <= _BODIES:
            break
    return plain, page


_WITHIN = "Within that file are its CSV, and a JSON file with every number unrounded."


def _led_on(block: Block) -> Block:
    """A notice that leads on to sections which the body has not says where they are."""
    if not isinstance(block, Notice):
        return block
    return replace(
        block,
        text=tuple(
            replace(run, text=f"{run.text}, in the attached report", to=None) if run.to else run for run in block.text
        ),
    )


def _cut(blocks: Sequence[Block], most: int) -> Iterable[Block]:
    """Blocks whose tables have so many rows at most, and say how many are left out."""
    for block in blocks:
        if isinstance(block, Table) and len(block.rows) > most:
            yield replace(block, rows=block.rows[:most])
            yield paragraph(f"{block.name}: {len(block.rows) - most} more in the attached report.")
        else:
            yield block


class _Bodies:
    """The large parts of a message, each put in the place of a short one at the end.

    The mail library writes base64 line by line, twice: half a second for the 5 MB of a large report.
    """

    def __init__(self, digest: str) -> None:
        self._digest = digest
        self._contents: dict[bytes, bytes] = {}  # by the only line of what stands for it

    def stand_in(self, content: bytes) -> bytes:
        """What stands for a part until then: a digest, which no other part has."""
        short = sha256(f"{self._digest} {len(self._contents)}".encode()).digest()
        self._contents[b2a_base64(short, newline=False)] = content
        return short

    def put_into(self, message: bytes) -> bytes:
        """The message with its parts, in base64 (RFC 2045, 6.8)."""
        for line, content in self._contents.items():
            encoded = b2a_base64(content, newline=False).decode()
            starts = range(0, len(encoded), _BASE64_LINE)
            lines = CRLF.join(encoded[start : start + _BASE64_LINE] for start in starts)
            message = message.replace(line, lines.encode(), 1)
        return message


class _Pictures:
    """The pictures of a page as parts beside it, since mail programs show no drawing within a page."""

    def __init__(self, digest: str, drawn: Sequence[bytes]) -> None:
        self._digest = digest
        self._drawn = drawn

    def page_of(self, layout: Layout) -> str:
        """The page, with its pictures in their places."""
        self._places = count(1)
        return as_html(layout, self._within, lambda _: self._next_address(), is_folded=False)

    def _within(self, picture: Picture) -> str:
        style = "max-width: 100%; height: auto"
        width = _WIDE if picture.figure.get_figwidth() > COLUMN_WIDTH else _SMALL
        return (
            f'<img src="{self._next_address()}" width="{width}" style="{style}" alt="{attribute(picture.alternative)}">'
        )

    def _next_address(self) -> str:
        return f"cid:{self._identifier(next(self._places))}"

    def _identifier(self, place: int) -> str:
        return f"picture-{place}.{self._digest[:24]}@calib.invalid"

    def beside(self, message: EmailMessage) -> None:
        """Put them beside the page."""
        if not self._drawn:
            return
        page = message.get_body(("html",))
        assert isinstance(page, EmailMessage)  # noqa: S101
        for place, drawn in enumerate(self._drawn, start=1):
            identifier = f"<{self._identifier(place)}>"
            page.add_related(drawn, maintype="image", subtype="png", cid=identifier, disposition="inline")
        page.set_param("type", "text/html")  # RFC 2387, 3.1


def _for_mail(page: str) -> str:
    """The page with its colours written out in its style: mail programs know no names for them. Pictures come with the message.

    What its links lead to stands in the attached report.
    """
    head, style, rest = page.partition("<style>")
    style, end, rest = (style + rest).partition("</style>")
    colours = dict(re.findall(r"(--[a-z-]+): (#[0-9a-f]+)", style))
    style = re.sub(r"var\((--[a-z-]+)\)", lambda named: colours[named[1]], style)
    return f"{head.replace('img-src data:', 'img-src cid: data:', 1)}<style>{style}{end}{_LINK.sub('', rest)}"


_LINK = re.compile('<a href="#[A-Za-z0-9-]+">|</a>')


def _identity(layout: Layout) -> bytes:
    parts = (layout.job, str(layout.revision), layout.issued, layout.ledger_digest)
    return "\n".join(parts).encode("utf-8", "backslashreplace")


def _subject(layout: Layout) -> str:
    """Job, revision and title in one line: no sign in it ends the header or turns its direction."""
    state = "draft of revision" if layout.is_draft else "revision"
    job, title = _one_line(layout.job), _one_line(layout.title)
    said = f"Air flow report {shortened(job, _LONGEST_JOB)}, {state} {layout.revision}: {title}"
    return shortened(said, _LONGEST_SUBJECT)


def _subject_line(subject: str) -> bytes:
    """The field, in encoded words where it is not plain ASCII, or looks like one of them (RFC 2047, 5).

    Written beside the message: its own way of writing a field (Python 3.11) decodes what looks like an encoded word, line ends
    and all, and loses spaces between encoded words.
    """
    plain = subject.isascii() and "=?" not in subject
    field = Header(subject, "us-ascii" if plain else "utf-8", maxlinelen=76, header_name="Subject")
    return f"Subject: {field.encode(linesep=CRLF)}{CRLF}".encode("ascii")


def _one_line(text: str) -> str:
    return by_number(" ".join(controls_named(text).split()))


def _encodable(text: str) -> str:
    """Halves of surrogate pairs cannot be written in UTF-8."""
    return text.encode("utf-8", "backslashreplace").decode()


def _bound(message: EmailMessage, digest: str) -> None:
    """Fixed boundaries. None of them can stand in a part: each part is base64, in which there is no `_` (RFC 2045, 6.7 and 6.8)."""
    several = [part for part in message.walk() if part.is_multipart()]
    for place, part in enumerate(several):
        part.set_boundary(f"=_{place}_{digest[:40]}")
