"""The pictures of the wood against the drawing, placed: colours where they should be, nothing mirrored."""

import io
import re

import numpy as np
import pytest
import shapely
from PIL import Image

from pathgen.report.pictures.shaded import BED, PLAIN_WOOD


@pytest.fixture(params=["built", "turned"])
def build(request):
    return request.getfixturevalue(request.param)


def pixels(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def rgb(colour):
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])


def places(picture, bounds):
    """The place that each pixel shows, by nothing but the extent: X to the right, Y up."""
    x0, y0, x1, y1 = bounds
    rows, columns = picture.shape[:2]
    xs = x0 + (np.arange(columns) + 0.5) / columns * (x1 - x0)
    ys = y1 - (np.arange(rows) + 0.5) / rows * (y1 - y0)
    return np.meshgrid(xs, ys)


def shares_seen(picture, clamping):
    """For each colour of each inlay, the share of its pixels, well inside it, that show it.

    Shading changes how light a colour is, not which it is.
    """
    colours = [*{colour for inlay in clamping.inlays for colour in inlay.colours}, PLAIN_WOOD]
    tones = np.array([rgb(colour) / rgb(colour).sum() for colour in colours])
    shown = picture / np.maximum(picture.sum(axis=2, keepdims=True), 1)
    nearest = np.abs(shown[..., None, :] - tones).sum(axis=3).argmin(axis=2)
    xs, ys = places(picture, clamping.board.outline.bounds)
    for inlay in clamping.inlays:
        for colour, shape in inlay.regions:
            inside = shapely.contains_xy(shape.buffer(-0.6), xs, ys)
            assert inside.sum() > 100
            yield (nearest[inside] == colours.index(colour)).mean()


def test_fills_are_seen_where_they_were_drawn_and_not_mirrored(build):
    picture, clamping = pixels(build.shaded_pictures()["finished.png"]), build.plan.clamping
    straight = min(shares_seen(picture, clamping))
    for mirrored in (picture[::-1], picture[:, ::-1], picture[::-1, ::-1]):
        assert min(shares_seen(mirrored, clamping)) < straight - 0.05
    assert straight > 0.9


def test_the_first_picture_shows_the_whole_blank_and_the_last_the_board_cut_free(build):
    found = {name: pixels(data) for name, data in build.shaded_pictures().items()}
    assert not (found["after-01.png"] == BED).all(axis=2).any()
    outline = build.plan.clamping.board.outline
    x0, y0, x1, y1 = outline.bounds
    gone = (found["finished.png"] == BED).all(axis=2).mean()
    assert gone == pytest.approx(1 - outline.area / ((x1 - x0) * (y1 - y0)), abs=0.01)


def test_a_png_holds_its_scale(build):
    picture = Image.open(io.BytesIO(build.shaded_pictures()["finished.png"]))
    x0, _, x1, _ = build.plan.clamping.board.outline.bounds
    assert picture.width / picture.info["dpi"][0] * 25.4 == pytest.approx(x1 - x0, abs=0.7)


def test_the_page_shows_the_board_first_and_one_picture_for_each_program(build):
    page = build.files()["setup.html"]
    assert page.index('id="finished"') < page.index('id="board"')
    words = re.findall(r'<img src="data:image/jpeg;base64,[^"]+" alt="([^"]+)"', page)
    assert len(words) == 1 + len(build.programs)
    assert "<img" not in build.files(shaded=False)["setup.html"]
