"""Wood that pockets leave between them."""

import numpy as np
import pytest
from shapely import MultiPolygon, Polygon, box

from pathgen.work.walls import _measured, thin_walls


def test_a_wall_found_further_from_the_drawn_outlines_than_it_is_thick_is_measured_all_the_same():
    """It is found on outlines in fewer points (a grid of icons ended in an IndexError)."""
    pockets = MultiPolygon([box(0, 0, 5, 5), box(5.01, 0, 10, 5)])
    assert _measured(pockets, np.array([4.999, 2.0]), np.array([5.011, 2.0])).width == pytest.approx(0.01)
    assert _measured(pockets, np.array([4.96, 2.0]), np.array([4.965, 2.0])).width == pytest.approx(0.005)


@pytest.mark.parametrize("gap", [0.3, 0.35, 0.39])
def test_two_tips_that_face_each_other_have_one_wall_between(gap):
    """Closing them leaves nothing in between, which ended `show` and the build in a fault."""
    left, right = Polygon([(-5, -2), (0, 0), (-5, 2)]), Polygon([(gap + 5, -2), (gap + 5, 2), (gap, 0)])
    (wall,) = thin_walls(MultiPolygon([left, right]), below=0.4, touching=0.015)
    assert wall.width == pytest.approx(gap)
    assert wall.at == pytest.approx((gap / 2, 0.0))


def test_walls_that_cross_are_counted_once_each():
    """By counting: 4 by 4 pockets have 12 walls along and 12 across; the ways across where they meet are none."""
    pockets = [box(x, y, x + 3.0, y + 3.0) for x in np.arange(4) * 3.2 for y in np.arange(4) * 3.3]
    found = thin_walls(MultiPolygon(pockets), below=0.4, touching=0.015)
    assert sorted(round(wall.width, 6) for wall in found) == [0.2] * 12 + [0.3] * 12
