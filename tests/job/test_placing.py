"""Drawings between frets: by plain geometry (D), on a board of three frets with straight edges."""

import math

import numpy as np
import pytest
import shapely

from pathgen.artwork import placed
from pathgen.base.errors import ArtworkError
from pathgen.job.placing import at_frets, between_frets, edge_angle
from tests.artwork import conftest
from tests.artwork.conftest import Read

read = conftest.read

WEDGE = '<path d="M100 100h40v-20z"/>'  # right-angled, 40 x 20, its upright side to the right

FRETS = np.array([0.0, 36.0, 70.0, 102.0])
BASS = np.stack([FRETS, -20.0 - FRETS / 100], axis=1)
TREBLE = BASS * [1, -1]
LINES = np.stack([BASS, TREBLE], axis=1)
PLAIN = {"slot": 0.0, "margin": 0.0, "rotate": 0.0}
FREE = PLAIN | {"largest": None, "highest": None}


def test_between_frets_is_half_way(read: Read) -> None:
    one = between_frets(read(WEDGE), LINES, frets=(1, 2), width=8.0, **PLAIN)
    assert one.at == pytest.approx((53.0, 0.0))
    assert one.width == 8.0


def test_markers_fit_their_spaces_with_the_margin(read: Read) -> None:
    art = read('<circle cx="50" cy="50" r="20"/>')
    copies = at_frets(art, LINES, frets=[1, 2, 3], **FREE | {"margin": 3.0})
    for space, one in zip((36.0, 34.0, 32.0), copies, strict=True):
        assert one.width == pytest.approx(space - 6.0, rel=1e-4)
    sizes = [one.width for one in at_frets(art, LINES, frets=[1, 3], **FREE | {"margin": 3.0, "largest": 27.0})]
    assert sizes == pytest.approx([27.0, 26.0], rel=1e-4)
    low = read('<ellipse cx="50" cy="50" rx="20" ry="10"/>')
    sizes = [one.width for one in at_frets(low, LINES, frets=[1, 3], **FREE | {"margin": 3.0, "highest": 13.5})]
    assert sizes == pytest.approx([27.0, 26.0], rel=1e-4)


@pytest.mark.parametrize("turn", [0.0, 30.0, 90.0, -45.0])
def test_fitted_drawings_keep_the_margin_from_slanted_frets(read: Read, turn: float) -> None:
    art = read('<path d="M0 0h60v5h-20v30z"/>')
    bass, treble = BASS + [-3.0, 0.0], TREBLE + [4.0, 0.0]
    (one,) = at_frets(art, np.stack([bass, treble], axis=1), frets=[2], **FREE | {"margin": 2.0, "rotate": turn})
    shape = placed(art, at=one.at, rotate=one.rotate, width=one.width, centre="drawing").regions[0].polygon
    space = shapely.Polygon([bass[1], treble[1], treble[2], bass[2]])
    assert shape.within(space)
    assert shapely.distance(shape, space.exterior) == pytest.approx(2.0, abs=0.01)


def test_frets_off_the_board_and_too_wide_a_margin(read: Read) -> None:
    with pytest.raises(ArtworkError, match="0 \\(the nut\\) to 3"):
        between_frets(read(WEDGE), LINES, frets=(3, 4), **PLAIN)
    with pytest.raises(ArtworkError, match="no room"):
        at_frets(read(WEDGE), LINES, frets=[3], **FREE | {"margin": 16.5})


def test_along_the_taper() -> None:
    assert edge_angle(LINES, "treble") == pytest.approx(math.degrees(math.atan2(1.02, 102)))
    assert edge_angle(LINES, "bass") == pytest.approx(-math.degrees(math.atan2(1.02, 102)))
    assert edge_angle(LINES, "centre") == pytest.approx(0.0)
