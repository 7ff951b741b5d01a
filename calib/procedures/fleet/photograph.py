"""A photograph to keep with a reading or an outlet: a JPEG or PNG that can be drawn to its end, and nothing in it but the picture.

Its coded picture stays bit by bit, with its colours, which way up it is and when it was taken; nothing is coded anew. The same
file always gives the same bytes, and what is kept, given once more, gives itself. Bytes in, bytes out: whoever holds them asks.

Source: JPEG, ITU-T T.81 Annex B; PNG, W3C clauses 5 and 11; Exif 2.3 (orientation 0x0112, time 0x9003 with its offset 0x9011),
from memory.

Decision (2026-11-29): what else a camera writes into its file is left out before it is kept: the place, the device, its notes, a
smaller picture that may show what was cut off. A report goes to clients, and the records only append, so what came in could never
be taken out. Options: the file as it came (a digest that the phone's own file has), the picture coded anew (worse each time, with
another digest under another release). Cost: the digest is that of what is kept, not that of the file on the phone.
"""

import hashlib
import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from calib.errors import BadInputError, Finding
from calib.procedures.fleet.attach_file import FileRead, media_type
from calib.procedures.on_record.attached_files import JPEG, PHOTOS
from calib.procedures.typed.sheets import FileContent

LARGEST_PHOTOGRAPH = 15_000_000  # bytes
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 20_000  # pixels
# As pictures are held that a page shows without a profile of a printer: grey or RGB, with or without transparency.
COLOURS = ("1", "L", "LA", "P", "RGB", "RGBA")
# A picture that becomes clearer scan by scan has some ten; each costs a pass over the whole picture.
_MOST_SCANS = 50

_SOI, _EOI, _SOS, _APP0, _APP1, _APP2, _APP14 = 0xD8, 0xD9, 0xDA, 0xE0, 0xE1, 0xE2, 0xEE
_HUFFMAN, _JPG, _ARITHMETIC = 0xC4, 0xC8, 0xCC
_FRAMES = frozenset(range(0xC0, 0xD0)) - {_HUFFMAN, _JPG, _ARITHMETIC}
_TABLES = frozenset({_HUFFMAN, _ARITHMETIC, 0xDB, 0xDC, 0xDD})
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD9)})
_END_OF_SCAN = re.compile(rb"\xff+[\x01-\xcf\xd8-\xfe]")  # neither a stuffed byte nor a restart
_JFIF, _EXIF, _PROFILE = b"JFIF\0", b"Exif\0\0", b"ICC_PROFILE\0"

_PNG_START = b"\x89PNG\r\n\x1a\n"
_PNG_CHUNKS = frozenset({b"IHDR", b"PLTE", b"IDAT", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"bKGD"})

_ORIENTATION, _EXIF_IFD, _TAKEN, _TAKEN_OFFSET = 0x0112, 0x8769, 0x9003, 0x9011
_TIME, _OFFSET = re.compile(r"\d{4}:\d\d:\d\d \d\d:\d\d:\d\d"), re.compile(r"[+-]\d\d:\d\d")


class _NotDrawnError(Exception):
    """What was expected of a picture."""


@dataclass(frozen=True)
class _Parts:
    """A picture in its parts."""

    width: int  # pixels, as coded
    height: int
    head: bytes
    exif: bytes  # as it came: TIFF
    body: bytes


def photograph(file: FileContent) -> FileRead:
    """The photograph as it may be kept; raises BadInputError, naming the file, for what is none or too large."""
    try:
        kind, content = _kept(file)
    except _NotDrawnError as error:
        raise BadInputError([Finding(file.source, None, None, None, str(error))]) from error
    return FileRead(file.name, kind, hashlib.sha256(content).hexdigest(), content)


def _kept(file: FileContent) -> tuple[str, bytes]:
    if file.expected is not None:
        raise _NotDrawnError(file.expected)
    if len(file.content) > LARGEST_PHOTOGRAPH:
        raise _NotDrawnError(f"a photograph of at most {LARGEST_PHOTOGRAPH:,} bytes (it has {len(file.content):,})")
    kind = media_type(file.content)
    if kind not in PHOTOS:
        raise _NotDrawnError("a whole photograph, JPEG or PNG, judged by its content")
    try:
        parts = _parts_of(kind, file.content)
    except (struct.error, IndexError, ValueError) as error:
        raise _NotDrawnError("a photograph that can be drawn to its end") from error
    if not (0 < parts.width <= LONGEST_SIDE and 0 < parts.height <= LONGEST_SIDE):
        raise _NotDrawnError(f"sides of 1 to {LONGEST_SIDE:,} pixels (it has {parts.width:,} × {parts.height:,})")
    if parts.width * parts.height > MOST_PIXELS:
        raise _NotDrawnError(f"at most {MOST_PIXELS:,} pixels (it has {parts.width:,} × {parts.height:,})")
    exif = _exif_kept(parts.exif)
    written = (_segment(_APP1, _EXIF + exif) if kind == JPEG else _chunk(b"eXIf", exif)) if exif else b""
    content = parts.head + written + parts.body
    _must_be_drawn(content)
    return kind, content


def _parts_of(kind: str | None, content: bytes) -> _Parts:
    """Raises struct.error, IndexError or ValueError for what is none."""
    return _jpeg_parts(content) if kind == JPEG else _png_parts(content)


def _must_be_drawn(content: bytes) -> None:
    colours = colours_of(content)
    if colours is None:
        raise _NotDrawnError("a photograph that can be drawn to its end")
    if colours not in COLOURS:
        raise _NotDrawnError("a photograph in RGB or grey")


def colours_of(content: bytes) -> str | None:
    """How a picture holds its colours, once all of it is drawn; None where that cannot be done, or it is larger than any kept."""
    from PIL import ImageFile  # noqa: PLC0415 (where there is a picture)

    parser = ImageFile.Parser()
    try:
        parts = _parts_of(media_type(content), content)
        if parts.width * parts.height > MOST_PIXELS:  # before it is drawn
            return None
        parser.feed(content)
        return parser.close().mode
    except Exception:  # noqa: BLE001 (a damaged picture ends its reader in any way)
        return None


# --- JPEG ------------------------------------------------------------------------------------------------------------------------


def _jpeg_parts(content: bytes) -> _Parts:
    """Raises IndexError, struct.error or ValueError where the file ends before its picture does."""
    head, exif, body, sizes, scans = bytes([0xFF, _SOI]), b"", [], [], 0
    for marker, payload, scan in _segments(content):
        if marker == _APP0 and payload.startswith(_JFIF):
            head += _segment(_APP0, payload[:12] + b"\0\0")  # with no smaller picture in it
        elif marker == _APP1 and payload.startswith(_EXIF):
            exif = exif or payload[len(_EXIF) :]
        elif marker in _FRAMES or marker in _TABLES or marker == _SOS or _says_colours(marker, payload):
            body += [_segment(marker, payload), scan]
            scans += marker == _SOS
        if marker in _FRAMES:
            sizes.append(struct.unpack(">HH", payload[1:5]))
    if scans > _MOST_SCANS:
        raise _NotDrawnError(f"a photograph coded in at most {_MOST_SCANS} scans (it has {scans})")
    ((height, width),) = sizes  # of two, one would be drawn and the other bounded
    return _Parts(width, height, head, exif, b"".join([*body, bytes([0xFF, _EOI])]))


def _says_colours(marker: int, payload: bytes) -> bool:
    return (marker == _APP2 and payload.startswith(_PROFILE)) or (marker == _APP14 and payload.startswith(b"Adobe"))


def _segments(content: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Marker, what it holds and, of a scan, what is coded behind it; up to the end of the first picture."""
    place = 2
    while True:
        if content[place] != 0xFF:
            raise ValueError(place)
        while content[place] == 0xFF:
            place += 1
        marker = content[place]
        place += 1
        if marker == _EOI:
            return
        if marker in _WITHOUT_LENGTH:
            continue
        end = place + struct.unpack_from(">H", content, place)[0]
        payload, place, scan = content[place + 2 : end], end, b""
        if marker == _SOS:
            behind = _END_OF_SCAN.search(content, place)
            if behind is None:
                raise ValueError(place)
            scan, place = content[place : behind.start()], behind.start()
        yield marker, payload, scan


def _segment(marker: int, payload: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(payload) + 2) + payload


# --- PNG -------------------------------------------------------------------------------------------------------------------------


def _png_parts(content: bytes) -> _Parts:
    """Raises struct.error or ValueError where the file ends before its picture does."""
    place, head, exif, body, sizes, kind = len(_PNG_START), b"", b"", [], [], b""
    while kind != b"IEND":
        length, kind = struct.unpack_from(">I4s", content, place)
        payload, chunk = content[place + 8 : place + 8 + length], content[place : place + 12 + length]
        place += len(chunk)
        if chunk != _chunk(kind, payload):
            raise ValueError(kind)  # its check sum says so
        if kind == b"IHDR":
            sizes.append(struct.unpack(">II", payload[:8]))
            head = chunk
        elif kind == b"eXIf":
            exif = payload
        elif kind in _PNG_CHUNKS:
            body.append(chunk)
    ((width, height),) = sizes  # as above
    return _Parts(width, height, _PNG_START + head, exif, b"".join([*body, _chunk(b"IEND", b"")]))


def _chunk(kind: bytes, payload: bytes) -> bytes:
    return struct.pack(">I", len(payload)) + kind + payload + struct.pack(">I", zlib.crc32(kind + payload))


# --- Exif ------------------------------------------------------------------------------------------------------------------------


def _exif_kept(came: bytes) -> bytes:
    """Which way up the picture is and when it was taken, of all that was written about it; nothing where neither is said."""
    from PIL import Image  # noqa: PLC0415 (as above)

    before, after = Image.Exif(), Image.Exif()
    try:
        before.load(came)
        orientation, times = before.get(_ORIENTATION), before.get_ifd(_EXIF_IFD)
    except Exception:  # noqa: BLE001 (what is damaged says nothing)
        return b""
    if orientation in range(2, 9):  # 1: as it is coded
        after[_ORIENTATION] = orientation
    for tag, form in ((_TAKEN, _TIME), (_TAKEN_OFFSET, _OFFSET)):
        if form.fullmatch(str(times.get(tag, ""))):
            after.get_ifd(_EXIF_IFD)[tag] = times[tag]
    return after.tobytes(8).removeprefix(_EXIF) if after or after.get_ifd(_EXIF_IFD) else b""
