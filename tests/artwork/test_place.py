"""Placing: positions by plain geometry (D), and the tolerance in final size."""

import math

import numpy as np
import pytest
import shapely

from pathgen.artwork import placed
from pathgen.base.errors import ArtworkError
from pathgen.base.units import in_units
from tests.artwork.conftest import Read

WEDGE = '<path d="M100 100h40v-20z"/>'  # right-angled, 40 x 20, its upright side to the right


def test_moved_turned_scaled_and_mirrored(read: Read) -> None:
    art = read(WEDGE)
    there = placed(art, at=(300.0, 5.0), centre="drawing", width=80.0, rotate=90.0)
    assert there.regions[0].polygon.bounds == pytest.approx((280, -35, 320, 45))
    # the upright side, once turned a quarter counter-clockwise, lies at the top
    assert shapely.Point(299, 44).within(there.regions[0].polygon)
    mirrored = placed(art, at=(0.0, 0.0), centre="drawing", mirror=True)
    assert mirrored.regions[0].polygon.equals(shapely.Polygon([(20, -10), (-20, -10), (-20, 10)]))


def test_proportions_are_kept_unless_told(read: Read) -> None:
    art = read(WEDGE)
    assert placed(art, at=(0, 0), width=10.0, height=5.0, centre="drawing").page == pytest.approx((10, 5))
    with pytest.raises(ArtworkError, match="stretch") as wrong:
        placed(art, at=(0, 0), width=25.4, height=25.4, centre="drawing")
    # every length has its unit, or a job in inches is told of 25.4 in
    assert "width 1 in and height 1 in stretch a drawing of 1.5748 in x 0.7874 in: give one of them, or height 0.5 in" \
        in in_units(str(wrong.value), "in")


@pytest.mark.parametrize(("options", "words"), [
    ({"width": 0.0}, "0.01 or more"), ({"height": math.inf}, "0.01 or more"), ({"rotate": math.nan}, "nan degrees"),
])
def test_impossible_placements(read: Read, options: dict[str, float], words: str) -> None:
    with pytest.raises(ArtworkError, match=words):
        placed(read(WEDGE), at=(0, 0), **options)


def test_no_size_and_nothing_drawn(read: Read) -> None:
    art = read(WEDGE, 'viewBox="0 0 200 200"')
    assert not art.physical
    with pytest.raises(ArtworkError, match="width or a height"):
        placed(art, at=(0, 0))
    assert placed(art, at=(0, 0), width=50.0, centre="drawing").page == pytest.approx((50, 25))
    with pytest.raises(ArtworkError, match="nothing"):
        placed(read("<g/>"), at=(0, 0), width=5.0)


def test_the_tolerance_holds_in_final_size(read: Read) -> None:
    art = read('<circle cx="1" cy="1" r="1"/>', 'width="2mm" height="2mm" viewBox="0 0 2 2"')
    large = placed(art, at=(0, 0), width=300.0)
    points = shapely.get_coordinates(large.regions[0].polygon)
    middles = (points[1:] + points[:-1]) / 2
    assert np.hypot(*points.T) == pytest.approx(150.0, abs=0.005)
    assert np.hypot(*middles.T).min() >= 150.0 - 0.0051
    assert large.tolerance == pytest.approx(0.005)


def test_one_of_two_sizes_gives_the_other_and_both_may_stretch(read: Read) -> None:
    art = read(WEDGE)
    assert placed(art, at=(0, 0), height=5.0, centre="drawing").page == pytest.approx((10, 5))
    wide = placed(art, at=(0, 0), width=120.0, height=10.0, stretch=True, centre="drawing")
    assert wide.page == pytest.approx((120, 10))
    # three times as wide and half as high: a third of the tolerance as drawn, three times as much once placed
    assert wide.tolerance == pytest.approx(art.tolerance)
    small = placed(art, at=(0, 0), width=20.0, height=5.0, stretch=True, centre="drawing")
    assert small.tolerance == pytest.approx(art.tolerance / 2)
    assert small.corner == pytest.approx((-10, -2.5))


def test_a_shape_that_rounding_lets_cross_itself_is_whole_where_it_is_placed(read: Read) -> None:
    """A corner 1 nm and less off another edge: some of them cross it once they are scaled and moved."""
    spoilt = 0
    for k in range(10, 290, 7):
        x, y = k / 100, float(np.nextafter(k / 300, 9.0))
        art = read(f'<path fill="#225577" d="M0 0L3 1L3 2L{x!r} {y!r}L0 2Z"/>')
        there = placed(art, at=(310.0, 3.0), width=31.0, centre="drawing")
        shape = there.regions[0].polygon
        assert shape.is_valid
        assert shape.area == pytest.approx(art.regions[0].polygon.area * (31.0 / 3.0) ** 2, rel=1e-6)
        spoilt += shape.geom_type == "MultiPolygon"
    assert spoilt
