"""Small copies of the simulated heights, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pathgen.removal.grid import Grid
from pathgen.verify.stages import CLOSE, stage_after

GRID = Grid.over((0.0, 0.0, 240.0, 1.2), 0.1)
TOP = np.arange(GRID.shape[0] * GRID.shape[1], dtype=np.float32).reshape(GRID.shape)


def poured(window, floor, fill=True):
    shape = GRID.xs[window[1]].size
    rows = GRID.ys[window[0]].size
    return SimpleNamespace(window=window, floor=np.full((rows, shape), floor, np.float32),
                           fill=np.full((rows, shape), fill), inlay=f"inlay {floor}")


def test_every_third_point_of_a_grid_of_a_tenth():
    stage = stage_after(4, GRID, TOP, [])
    assert (stage.order, stage.inlays) == (4, ())
    assert stage.heights.shape == (4, 800)
    assert np.array_equal(stage.heights, TOP[::3, ::3])
    assert np.array_equal(stage.grid.xs, GRID.xs[::3])
    assert stage.spacing == pytest.approx(0.3)
    coarse = Grid.over((0.0, 0.0, 24.0, 8.0), 0.8)
    assert stage_after(1, coarse, np.zeros(coarse.shape, np.float32), []).heights.shape == coarse.shape
    TOP[0, 0] += 5.0
    assert stage.heights[0, 0] == 0.0  # a copy
    TOP[0, 0] -= 5.0


@pytest.mark.parametrize(("columns", "step"), [(CLOSE, 1), (CLOSE + 1, 2), (2 * CLOSE, 2)])
def test_a_window_seen_from_near_has_no_more_points_along_than_it_may(columns, step):
    near = slice(2, 10), slice(50, 50 + columns)
    stage = stage_after(1, GRID, TOP, [], near=near)
    assert np.array_equal(stage.heights, TOP[2:10:step, 50 : 50 + columns : step])
    assert stage.heights.shape[1] <= CLOSE


def test_fill_is_seen_where_it_stands_a_thousandth_over_its_floor():
    top = np.full(GRID.shape, 5.0, np.float32)
    first, second = (slice(0, 6), slice(0, 300)), (slice(3, 12), slice(150, 600))
    stage = stage_after(1, GRID, top, [poured(first, 4.9), poured(second, 4.9985)])
    assert stage.inlays == ("inlay 4.9", "inlay 4.9985")
    assert stage.fill[0, [0, 99, 100]].tolist() == [1, 1, 0]
    assert stage.fill[1, [0, 49, 50, 199, 200]].tolist() == [1, 1, 2, 2, 0]  # the later one over the earlier one
    assert not stage_after(1, GRID, top, [poured(first, 4.9995)]).fill.any()
    assert not stage_after(1, GRID, top, [poured(first, 4.9, fill=False)]).fill.any()


def test_coarser_keeps_the_lowest_of_four():
    stage = stage_after(1, Grid.over((0, 0, 1.5, 1.2), 0.3), np.array(
        [[9, 8, 7, 6, 0], [5, 9, 9, 1, 0], [3, 3, 4, 4, 0], [3, 2, 4, 4, 0]], np.float32), []).coarser()
    assert stage.heights.tolist() == [[5, 1], [2, 4]]
    assert stage.grid.xs == pytest.approx([0.3, 0.9])
    assert stage.grid.ys == pytest.approx([0.3, 0.9])
    assert stage.fill.shape == (2, 2)
    thin = stage_after(1, Grid(np.array([1.0]), np.array([1.0, 2.0])), np.ones((2, 1), np.float32), [])
    assert thin.coarser() is thin
