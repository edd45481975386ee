"""Small copies of the simulated heights, by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen.removal.grid import Grid
from pathgen.verify.pocket_measures import pocket_measures
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


def test_coarser_keeps_the_mean_of_four():
    stage = stage_after(1, Grid.over((0, 0, 1.5, 1.2), 0.3), np.array(
        [[9, 8, 7, 6, 0], [5, 9, 9, 1, 0], [3, 3, 4, 4, 0], [3, 2, 4, 4, 0]], np.float32), []).coarser()
    assert stage.heights.tolist() == [[7.75, 5.75], [2.75, 4.0]]
    assert stage.heights.dtype == np.float32
    assert stage.grid.xs == pytest.approx([0.3, 0.9])
    assert stage.grid.ys == pytest.approx([0.3, 0.9])
    assert stage.fill.shape == (2, 2)
    thin = stage_after(1, Grid(np.array([1.0]), np.array([1.0, 2.0])), np.ones((2, 1), np.float32), [])
    assert thin.coarser() is thin


@pytest.mark.parametrize(("fill", "stands"), [("resin", 0.7 + 0.2), ("none", 0.0)])
def test_volumes_of_a_pocket_are_its_cells_by_their_depths(fill, stands):
    """Two colours, 4 and 2 mm2, 1.2 and 0.8 mm deep; cells of half a millimetre; ridges do not count."""
    grid = Grid.over((0.0, 0.0, 6.0, 4.0), 0.5)
    window = slice(2, 6), slice(2, 12)
    removed, surface = np.full((4, 10), 0.01, np.float32), np.full(grid.shape, 6.0, np.float32)
    removed[:, :4], removed[:, 4:6] = 1.2, 0.8
    inlay = SimpleNamespace(index=3, fill=fill, overfill=0.7, regions=(
        ("red", shapely.box(1.0, 1.0, 3.0, 3.0)), ("blue", shapely.box(3.0, 1.0, 4.0, 3.0))))
    poured = SimpleNamespace(inlay=inlay, window=window, removed=removed, floor=6.0 - removed)
    sim = SimpleNamespace(grid=grid, poured=[poured], surface=surface)
    (one,) = pocket_measures(sim, SimpleNamespace(ground=lambda _: 0.2))
    filled = {"red": 4 * (1.2 + stands), "blue": 2 * (0.8 + stands)} if stands else {"red": 0.0, "blue": 0.0}
    assert (one.inlay, one.area) == (3, pytest.approx(6.0))
    assert one.volume == pytest.approx(4 * 1.2 + 2 * 0.8, rel=1e-6)
    assert one.fill_volume == pytest.approx(sum(filled.values()), rel=1e-6)
    assert one.area_by_colour == pytest.approx({"red": 4.0, "blue": 2.0})
    assert one.by_colour["red"] == pytest.approx((4.8, filled["red"]), rel=1e-6)
    assert one.by_colour["blue"] == pytest.approx((1.6, filled["blue"]), rel=1e-6)
    assert one.depth_by_colour["blue"] == pytest.approx((0.8, 0.8), rel=1e-6)
