"""Signs that a typeset page can show: the typefaces at hand have a glyph for them, and they do not turn the line.

PDF/A (ISO 19005-3, 6.2.11.8) forbids the empty box that stands for a missing glyph, so any other sign is shown by its number in
Unicode, such as ⟨U+6E2C⟩: still there to be read, and found again.
"""

import re
from functools import cache
from pathlib import Path
from unicodedata import bidirectional, category

import matplotlib as mpl
from matplotlib.ft2font import FT2Font

from calib.faces.plain_text import shortened

LONGEST_UNSEEN = 8_000  # signs, of at most four bytes each
NUMBERED = re.compile("⟨U\\+[0-9A-F]{4,6}⟩")
# Seen by nobody; format signs (Cf), among them the marks that turn the rest of a line; halves of surrogate pairs.
_UNSHOWN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
_RIGHT_TO_LEFT = {"R", "AL", "AN"}
_FIRST_STRONG_ISOLATE, _POP_ISOLATE = "\N{FIRST STRONG ISOLATE}", "\N{POP DIRECTIONAL ISOLATE}"


def typefaces() -> Path:
    """Folder of the typefaces that come with matplotlib, among them DejaVu, which has the signs that others lack."""
    return Path(mpl.get_data_path()) / "fonts" / "ttf"


def showable(text: str) -> str:
    """The text with the number of each sign that cannot be shown; line ends stay, a tabulator is a space.

    A text with letters written from right to left turns itself and nothing beside it.
    """
    if text.isascii() and text.isprintable():
        return text
    text = "".join(_shown_sign(sign) for sign in text.replace("\r\n", "\n").replace("\t", " "))
    if any(bidirectional(sign) in _RIGHT_TO_LEFT for sign in text):
        return "\n".join(f"{_FIRST_STRONG_ISOLATE}{line}{_POP_ISOLATE}" for line in text.split("\n"))
    return text


def unseen(text: str) -> str:
    """A text that stands in the file and on no page, such as the one for a picture, as PDF/A allows it (6.1.13: 32,767 bytes)."""
    return shortened(showable(text), LONGEST_UNSEEN)


def shown_in_svg(svg: str) -> str:
    """A drawing with the signs of its texts shown so."""
    return re.sub(r">([^<>]+)<", lambda text: f">{showable(text[1])}<", svg)


@cache
def _shown_sign(sign: str) -> str:
    if sign == "\n" or (ord(sign) in _with_a_glyph() and category(sign) not in _UNSHOWN):
        return sign
    return f"⟨U+{ord(sign):04X}⟩"


@cache
def _with_a_glyph() -> frozenset[int]:
    """Signs that DejaVu Sans has upright and bold: every chain of typefaces in the template ends with it."""
    faces = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
    return frozenset.intersection(*(frozenset(FT2Font(str(typefaces() / face)).get_charmap()) for face in faces))
