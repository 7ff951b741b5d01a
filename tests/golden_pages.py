"""How three pages look on a phone, as golden pictures: an instrument, the entry of a reading, its answer.

They are drawn at a fixed time and in one font, and compared with a tolerance (`tests/faces/pages/test_golden.py`): each browser
draws letters a little otherwise. After a change that is meant:

    python -m tests.golden_pages
"""

import io
import os
import tempfile
from datetime import timedelta
from pathlib import Path
from unittest.mock import patch

import numpy as np
from PIL import Image

from calib.faces.pages.frame import application
from tests import served
from tests.browser import only_font
from tests.folders import NOW, records_of, small_job
from tests.pages_browser import chromium, phone, serving, sign_in

FOLDER = Path(__file__).parent / "golden" / "pages"
FONT, PACKAGE = "DejaVu Sans", "fonts-dejavu-core"
TOLERATED = 0.02  # share of the picture
_ADDED, _AT = NOW + timedelta(hours=1), NOW + timedelta(days=1)
_COLOURS = 32
_GRAIN = 4  # CSS pixels: letters count by how dark they are there, not by their edges
_NOTICED = 24  # of 255, in any of red, green and blue


def pictures(folder):
    """The pages as they look now: PNG by name."""
    fonts = os.environ | {"FONTCONFIG_FILE": str(only_font(folder, FONT, PACKAGE))}
    records = records_of(folder / "made", small_job())
    with (
        patch.object(served, "ADDED", _ADDED),
        patch.object(application, "clock", lambda: _AT),
        chromium(env=fonts) as browser,
    ):
        served.put_on_record(records)
        with served.company(records, folder) as company:
            company.enrol("Tom")
            with serving(company.engine, company.credentials) as address, phone(browser, address) as page:
                return dict(_shown(page))


def _shown(page):
    sign_in(page, "Tom", "/instruments/VA-1")
    page.get_by_text("May be used").wait_for()
    yield "instrument", _picture(page)
    page.goto("/jobs/J-1/outlets/S-2")
    yield "entry", _picture(page)
    page.get_by_label("Pass 1").fill("3.10")
    page.get_by_label("Pass 2").fill("3.12")
    page.get_by_role("button", name="Keep the reading").click()
    page.get_by_text("Reading 5").wait_for()
    yield "answer", _picture(page)


def _picture(page):
    page.wait_for_load_state("networkidle")
    taken = Image.open(io.BytesIO(page.screenshot(full_page=True, animations="disabled", caret="hide")))
    out = io.BytesIO()
    taken.convert("RGB").quantize(_COLOURS).save(out, "PNG", optimize=True)
    return out.getvalue()


def differing(first, other):
    """The share of two pictures that differs; what one has and the other has not differs."""
    one, two = (Image.open(io.BytesIO(each)).convert("RGB") for each in (first, other))
    whole = tuple(max(sides) for sides in zip(one.size, two.size, strict=True))
    grains = [_grains(each, whole) for each in (one, two)]
    there = [np.isfinite(each) for each in grains]
    apart = np.abs(np.nan_to_num(grains[0]) - np.nan_to_num(grains[1])) > _NOTICED
    return float(np.mean(np.any(apart | (there[0] != there[1]), axis=2)))


def _grains(picture, whole):
    """Mean colour of each grain; not a number beyond the picture."""
    width, height = (-(-side // _GRAIN) for side in whole)
    own = (picture.width // _GRAIN, picture.height // _GRAIN)
    grains = np.full((height, width, 3), np.nan)
    grains[: own[1], : own[0]] = np.asarray(picture.resize(own, Image.Resampling.BOX), dtype=float)
    return grains


def main():
    """Write them anew."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        for name, picture in pictures(Path(folder)).items():
            (FOLDER / f"{name}.png").write_bytes(picture)
            print(f"{FOLDER / name}.png: {len(picture)} bytes")


if __name__ == "__main__":
    main()
