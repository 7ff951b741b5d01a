"""The section of a report with the photographs kept with its outlets and readings, each made small, the right way up.

What is kept stays as it is, under its digest, which the caption names; here it is drawn anew with fewer pixels.
"""

from collections.abc import Iterator, Sequence
from io import BytesIO

from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Heading, Mark, Photograph, Photographs, Run, Runs, paragraph, runs
from calib.procedures.on_record.photographs import JobPhotograph

_LONGEST_SIDE = 480  # pixels: 200 to an inch on paper
_QUALITY = 75  # of a JPEG, in per cent as its library counts
_DIGITS = 16  # of a digest, as at the foot of each page


def photographs_section(photographs: Sequence[JobPhotograph], anchors: Anchors) -> Iterator[Block]:
    """Each photograph with what it belongs to; nothing where there is none."""
    if not photographs:
        return
    yield Heading(2, "Photographs", "photographs")
    small = [(each, _made_small(each.content)) for each in photographs]
    yield Photographs(
        tuple(Photograph(jpeg, _alternative(each), _caption(each, anchors)) for each, jpeg in small if jpeg is not None)
    )
    for each, jpeg in small:
        if jpeg is None:
            yield paragraph("Cannot be drawn: ", *_caption(each, anchors))


def _alternative(photograph: JobPhotograph) -> str:
    of = "" if photograph.reading is None else f", kept with reading {photograph.reading}"
    return f"Photograph at {photograph.outlet}{of}: {photograph.remarks or 'nothing was remarked'}"


def _caption(photograph: JobPhotograph, anchors: Anchors) -> Runs:
    to = None if photograph.reading is None else anchors.of("reading", photograph.reading)
    remarks = f": {photograph.remarks}" if photograph.remarks else ""
    said = f"{remarks}. {photograph.name}, kept by {photograph.attached_by} on {photograph.attached_at[:10]}, SHA-256 "
    return runs(Run(photograph.outlet, Mark.STRONG, to), said, Run(photograph.sha256[:_DIGITS], Mark.CODE))


def _made_small(content: bytes) -> bytes | None:
    """A photograph as a small JPEG, the right way up, without anything beside the picture; None where it cannot be drawn."""
    from PIL import Image, ImageOps  # noqa: PLC0415 (where there is a photograph)

    out = BytesIO()
    try:
        with Image.open(BytesIO(content), formats=("JPEG", "PNG")) as picture:
            picture.draft("RGB", (2 * _LONGEST_SIDE, 2 * _LONGEST_SIDE))
            upright = ImageOps.exif_transpose(picture).convert("RGBA")
        upright.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
        white = Image.new("RGB", upright.size, "white")
        white.paste(upright, mask=upright.getchannel("A"))
        white.save(out, "JPEG", quality=_QUALITY)
    except Exception:  # noqa: BLE001 (put there past the program: a damaged picture ends its reader in any way)
        return None
    return out.getvalue()
