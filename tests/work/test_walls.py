"""Wood that pockets leave between them."""

import numpy as np
import pytest
from shapely import MultiPolygon, box

from pathgen.work.walls import _measured


def test_a_wall_found_further_from_the_drawn_outlines_than_it_is_thick_is_measured_all_the_same():
    """It is found on outlines in fewer points (a grid of icons ended in an IndexError)."""
    pockets = MultiPolygon([box(0, 0, 5, 5), box(5.01, 0, 10, 5)])
    assert _measured(pockets, np.array([4.999, 2.0]), np.array([5.011, 2.0])).width == pytest.approx(0.01)
    assert _measured(pockets, np.array([4.96, 2.0]), np.array([4.965, 2.0])).width == pytest.approx(0.005)
