"""A view at an angle of a plain block, against its corners worked out by hand."""

import io

import numpy as np
import pytest
from PIL import Image

from pathgen.base.shading import TILT, TURN, as_png, at_an_angle

GROUND = (232, 235, 231)
TOP, SIDE = (200, 100, 50), (20, 10, 5)


def block(rows, columns, height):
    """A block that fills its field, as (heights, colours of the top, colours of the sides)."""
    return (np.full((rows, columns), height, np.float32), np.full((rows, columns, 3), TOP, np.uint8),
            np.full((rows, columns, 3), SIDE, np.uint8))


def at_column(picture, column, colour):
    return np.flatnonzero((picture[:, column] == colour).all(axis=1))


@pytest.mark.parametrize("rise", [1.0, 4.0])
def test_the_front_of_a_block_is_as_high_as_it_is_drawn(rise):
    picture = at_an_angle(*block(40, 200, 10.0), GROUND, rise=rise)
    for column in (60, 120):
        assert len(at_column(picture, column, SIDE)) == pytest.approx(rise * 10.0 * np.cos(TILT), abs=2.0)
        # a line away from the eye crosses 40 rows on 40 / cos(turn) steps
        assert len(at_column(picture, column, TOP)) == pytest.approx(40 / np.cos(TURN) * np.sin(TILT), abs=2.0)


def test_the_near_corner_is_lowest_and_left():
    picture = at_an_angle(*block(40, 200, 10.0), GROUND, rise=1.0)
    lowest = np.flatnonzero((picture != GROUND).any(axis=(1, 2)))[-1]
    last = np.flatnonzero((picture[lowest] != GROUND).any(axis=1))
    assert lowest >= len(picture) - 3
    assert last.mean() == pytest.approx(40 * np.sin(TURN), abs=3.0)
    assert picture.shape[1] == pytest.approx(200 * np.cos(TURN) + 40 * np.sin(TURN), abs=1.0)


def test_what_stands_before_hides_what_lies_behind():
    heights, colours, sides = block(40, 200, 2.0)
    heights[:5] = 30.0
    colours[5:12] = (0, 0, 255)
    picture = at_an_angle(heights, colours, sides, GROUND, rise=1.0)
    assert not (picture[:, 60:120] == (0, 0, 255)).all(axis=2).any()
    heights[:5] = 2.0
    assert (at_an_angle(heights, colours, sides, GROUND, rise=1.0)[:, 60:120] == (0, 0, 255)).all(axis=2).any()


def test_a_groove_across_is_seen_at_the_near_side_as_deep_as_it_is():
    heights, colours, sides = block(40, 200, 10.0)
    heights[:, 90:100] = 4.0
    colours[:, 90:100] = (0, 0, 255)
    picture = at_an_angle(heights, colours, sides, GROUND, rise=1.0)
    darker = (picture != (0, 0, 255)).any(axis=2) & (picture < SIDE).all(axis=2)
    there = np.flatnonzero(darker.any(axis=0))
    # seen at 90 to 100 along less what 40 rows turn it aside, and the wall behind it on the far side
    assert there.min() == pytest.approx(90 * np.cos(TURN) + 40 * np.sin(TURN), abs=4.0)
    assert darker[:, there.min() + 2].sum() == pytest.approx(6.0 * np.cos(TILT), abs=2.0)
    heights[:] = 10.0
    assert not (at_an_angle(heights, sides, sides, GROUND, rise=1.0) < SIDE).all(axis=2).any()


def test_only_a_picture_with_a_scale_states_one():
    picture = np.zeros((4, 4, 3), np.uint8)
    assert Image.open(io.BytesIO(as_png(picture, 0.1))).info["dpi"][0] == pytest.approx(254, abs=0.1)
    assert "dpi" not in Image.open(io.BytesIO(as_png(picture, None))).info
