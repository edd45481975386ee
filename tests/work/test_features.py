"""Inlays as values."""

import numpy as np
import pytest
import shapely
from shapely import box

from pathgen.strategies.pocketing import pocket
from pathgen.work.features import Inlay
from tests.drawings import BOARD, ball_end, flat_end


@pytest.mark.parametrize("apart", [1e-9, 1e-6])
def test_colours_that_meet_are_one_pocket_without_cracks(apart):
    """Cutters kept off a crack by their radius: along it stood a ridge, and a pocket's time went into its edges."""
    left, right = box(100, -8, 112, 8), box(112 + apart, -8, 124, 8)
    inlay = Inlay(name="inlay 1", regions=(("#225577", left), ("#cc8833", right)), depth=1.0)
    assert len(shapely.get_parts(inlay.area)) == 1
    plain = box(100, -8, 124, 8)
    for cutters in ([flat_end(2.0)], [ball_end(2.0)]):
        ours, asked = (pocket(area, surface=BOARD, cutters=cutters, depth=1.0, safe_z=20.0)[-1]
                       for area in (inlay.area, plain))
        assert ours.toolpath.lengths.sum() == pytest.approx(asked.toolpath.lengths.sum(), rel=0.02)
        way = shapely.linestrings(ours.toolpath.points[:, :2])
        middle = np.stack([np.full(60, 112.0), np.linspace(-6.5, 6.5, 60)], axis=1)
        assert shapely.distance(shapely.points(middle), way).max() < 0.9
