"""Page one of the sample report, the picture that README shows; `python -m tests.page_one` draws it anew from the PDF."""

from pathlib import Path

from PIL import Image
from pypdfium2 import PdfDocument

REPORTS = Path(__file__).parent.parent / "reports"
PDF, PICTURE = REPORTS / "LM-27-r2.pdf", REPORTS / "page-one.png"
_SCALE = 1.4  # of 72 dots to the inch


def page_one(pdf):
    """The first page of a PDF as a picture of few colours."""
    with PdfDocument(pdf) as document:
        return document[0].render(scale=_SCALE).to_pil().convert("RGB").quantize(256, method=Image.Quantize.MAXCOVERAGE)


if __name__ == "__main__":
    page_one(PDF).save(PICTURE, optimize=True)
