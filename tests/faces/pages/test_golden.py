"""Three pages on a phone look as they did: compared with golden pictures, in the font that CI installs."""

import io

import pytest
from PIL import Image

from tests.golden_pages import FOLDER, TOLERATED, differing, pictures

GOLDEN = {path.stem: path.read_bytes() for path in sorted(FOLDER.glob("*.png"))}


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    return pictures(tmp_path_factory.mktemp("golden"))


def test_three_pages_look_as_they_did(shown, tmp_path):
    assert set(shown) == set(GOLDEN) == {"instrument", "entry", "answer"}
    for name, picture in shown.items():
        (tmp_path / f"{name}.png").write_bytes(picture)
    apart = {name: differing(picture, GOLDEN[name]) for name, picture in shown.items()}
    assert max(apart.values()) <= TOLERATED, (
        f"{apart}: see {tmp_path}, and tests/golden_pages.py for how they are renewed"
    )


def moved(picture, by):
    taken = Image.open(io.BytesIO(picture)).convert("RGB")
    canvas = Image.new("RGB", taken.size, "white")
    canvas.paste(taken, (0, by))
    out = io.BytesIO()
    canvas.save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize("name", GOLDEN)
def test_a_page_that_looks_otherwise_is_noticed(name):
    assert differing(GOLDEN[name], GOLDEN[name]) == 0
    assert differing(GOLDEN[name], moved(GOLDEN[name], 12)) > TOLERATED
    assert all(differing(GOLDEN[name], GOLDEN[other]) > TOLERATED for other in GOLDEN if other != name)


def test_a_page_that_is_longer_is_noticed():
    taken = Image.open(io.BytesIO(GOLDEN["entry"])).convert("RGB")
    longer = Image.new("RGB", (taken.width, taken.height + 48), taken.getpixel((0, taken.height - 1)))
    longer.paste(taken)
    out = io.BytesIO()
    longer.save(out, "PNG")
    assert differing(out.getvalue(), GOLDEN["entry"]) > TOLERATED
