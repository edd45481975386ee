"""V cutters on a curved board: all of the drawing opened, nothing past it, and no plunges into wood to sharpen it."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move
from pathgen.strategies.pocketing import PocketCut, PocketOptions, pocket
from pathgen.strategies.pocketing.branches import between
from tests.drawings import LEVEL, ball_end, comb, flat_end, needle, ring, star, v_cutter

STEEP = Surface(thickness=6.5, radius_nut=184.0, radius_end=305.0, length=480.0)
BLUNT = replace(v_cutter(90.0), diameter=8.0)


def cut_depth(cut: PocketCut, at: np.ndarray, surface: Surface, apart: float = 0.03) -> np.ndarray:
    """How far below the surface each of (n, 2) places is cut: the cutter's shape set down `apart` along all moves."""
    points = np.round(cut.toolpath.points, 4)
    work = cut.toolpath.kinds[1:] != Move.RAPID
    a, b = points[:-1][work], points[1:][work]
    count = np.maximum(1, np.ceil(np.hypot(*(b - a)[:, :2].T) / apart)).astype(int)
    owner = np.repeat(np.arange(len(a)), count)
    share = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 1) / count[owner]
    tips = np.vstack([a, a[owner] + share[:, None] * (b - a)[owner]])
    opens = 1.5 * cut.cutter.half_width(float((surface.height(*tips[:, :2].T) - tips[:, 2]).max()))  # on a slope
    place, tip = shapely.STRtree(shapely.points(tips[:, :2])).query(
        shapely.points(at), predicate="dwithin", distance=min(float(opens), cut.cutter.radius)
    )
    away = np.minimum(np.hypot(*(tips[tip, :2] - at[place]).T), cut.cutter.radius)
    deepest = np.full(len(at), -np.inf)
    np.maximum.at(deepest, place, surface.height(*at[place].T) - tips[tip, 2] - cut.cutter.profile(away))
    return deepest


def edges(region: Polygon, out: float) -> np.ndarray:
    """(n, 2) places `out` outside the region's outlines, holes too, between its corners."""
    rings = shapely.get_rings(shapely.buffer(region, out, join_style="mitre"))
    xy, ring = shapely.get_coordinates(shapely.segmentize(rings, 0.25), return_index=True)
    return (xy[1:] + xy[:-1])[ring[1:] == ring[:-1]] / 2.0


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("region", "cutter", "depth"), [
    (Point(100, 14).buffer(6, quad_segs=64), v_cutter(60.0), 3.0), (Point(100, 14).buffer(6, quad_segs=64), BLUNT, 3.0),
    (ring(130, 14, 10, 5), BLUNT, 3.0), (star(100, -18, 12, 5), v_cutter(60.0), 1.4),
    (comb(150, 11), v_cutter(60.0), 1.4), (Point(100, 14).buffer(6, quad_segs=64), ball_end(3.0), 1.4),
], ids=["disc", "disc blunt", "ring along its middle", "star", "comb", "disc ball"])
def test_openings_on_a_slope_come_to_the_drawings_edge_everywhere(region, cutter, depth):
    """Taken for as wide as where it is steepest, openings of the blunt v would end 0.03 mm short elsewhere."""
    cut, = pocket(region, surface=STEEP, cutters=[cutter], depth=depth, safe_z=18.0)
    assert (cut_depth(cut, edges(region, -0.005), STEEP) > 1e-4).mean() > 0.995
    assert cut_depth(cut, edges(region, 0.002), STEEP).max() < 1e-4


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize(("diameter", "depth"), [(6.0, 0.54), (8.0, 0.8), (8.0, 1.13), (3.0, 0.48)])
@pytest.mark.parametrize("region", [Point(100, 19).buffer(7, quad_segs=64), box(90, -20, 110, -10)])
def test_a_blunt_v_that_is_sunk_to_its_rim_uphill_stays_inside_and_comes_to_the_edge(region, diameter, depth):
    """Taken for a disc all round it went up to 0.3 mm past the edge uphill, or ended as far short of it downhill."""
    blunt = replace(v_cutter(150.0), diameter=diameter)
    cut, = pocket(region, surface=STEEP, cutters=[blunt], depth=depth, safe_z=18.0)
    assert cut_depth(cut, edges(region, 0.015), STEEP).max() < 1e-4
    assert (cut_depth(cut, edges(region, -0.1), STEEP) > 1e-4).mean() > 0.95


@pytest.mark.parametrize("depth", [1.4, 3.0])
def test_the_thinnest_of_a_tip_is_cut_to_its_corner(depth):
    cut, = pocket(needle(185, 14), surface=STEEP, cutters=[v_cutter(60.0)], depth=depth, safe_z=18.0)
    along = np.array([0.1, 0.3, 0.5, 0.8])  # the needle is 0.06 mm wide at 1 mm
    depths = cut_depth(cut, np.column_stack([185.0 + along, np.full(4, 14.0)]), STEEP, apart=0.002)
    # derived: half its width over tan(angle / 2); the points of the path have four decimals
    assert depths == pytest.approx(0.03 * along * np.sqrt(3.0), abs=0.003)


def sunk_into_wood(cuts: tuple[PocketCut, ...]) -> np.ndarray:
    """How deep each straight plunge of the last cutter is that neither earlier cutters nor earlier moves opened."""
    points, kinds, cutter = cuts[-1].toolpath.points, cuts[-1].toolpath.kinds, cuts[-1].cutter
    step = np.maximum(1, np.ceil(cuts[-1].toolpath.lengths / 0.1)).astype(int)
    straight = np.hypot(*np.diff(points[:, :2], axis=0).T) < 1e-9
    sinks = np.flatnonzero((kinds[1:] == Move.PLUNGE) & straight) + 1
    depth = LEVEL.thickness - points[:, 2]
    earlier = cuts[-2].opened if len(cuts) > 1 else Polygon()
    wood = []
    for k in sinks:
        bore = Point(points[k, :2]).buffer(max(depth[k] / cutter.wall_slope - 0.04, 0.0))
        way = [np.linspace(points[i - 1], points[i], step[i] + 1) for i in range(1, k)]
        been = np.concatenate(way or [points[:0]])
        near = (np.hypot(*(been[:, :2] - points[k, :2]).T) < 0.2) & (LEVEL.thickness - been[:, 2] > depth[k] - 0.06)
        wood.append(0.0 if earlier.covers(bore) or near.any() else float(depth[k]))
    return np.array(wood)


SLOW = replace(v_cutter(60.0), stepdown=0.5)
CAPSULE = LineString([(100, 0), (112, 3)]).buffer(0.5, quad_segs=32)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("region", "cutters"), [
    (comb(150, 0), [flat_end(2.0), v_cutter(60.0)]), (comb(150, 0), [flat_end(2.0), SLOW]),
    (star(100, 0, 12, 5), [flat_end(2.0), v_cutter(60.0)]), (CAPSULE, [v_cutter(60.0)]), (CAPSULE, [SLOW]),
], ids=["comb", "comb in layers", "star", "wood at both ends", "wood at both ends, layers"])
def test_sharpening_goes_into_wood_along_its_lines(region, cutters):
    cuts = pocket(region, surface=LEVEL, cutters=cutters, depth=1.4, safe_z=18.0, options=PocketOptions(smallest=0.005))
    wood = sunk_into_wood(cuts)
    assert (wood > 0.1).sum() == 0
    assert cuts[-1].opened.area > 0.997 * region.area


@pytest.mark.parametrize("cutter", [v_cutter(60.0), SLOW])
def test_sharpening_never_sinks_faster_than_the_plunge_feed(cutter):
    cuts = pocket(star(100, 14, 12, 5), surface=STEEP, cutters=[flat_end(3.0), cutter], depth=1.4, safe_z=18.0)
    path = cuts[-1].toolpath
    share = -np.diff(path.points[:, 2]) / np.maximum(path.lengths[1:], 1e-12)
    assert (share * path.feeds(cutter, rapid=0.0)[1:]).max() <= cutter.plunge * 1.001


def test_a_line_is_cut_layer_by_layer_where_it_is_deeper_than_the_layer_before():
    line = np.array([[0.0, 0.0, 1.4], [4.0, 0.0, 0.4], [8.0, 0.0, 0.0]])
    first = np.array([[0.0, 0.0, 0.7], [2.8, 0.0, 0.7], [4.0, 0.0, 0.4], [8.0, 0.0, 0.0]])
    assert between(line, 0.0, 0.7) == pytest.approx(first)
    assert between(line, 0.7, 1.4) == pytest.approx(np.array([[0.0, 0.0, 1.4], [2.8, 0.0, 0.7]]))
    assert len(between(line, 1.4, 2.0)) == 0


@pytest.mark.in_every_run(0)
def test_a_v_says_what_it_opens():
    """What it says against a grid of places 0.2 mm apart."""
    region = star(100, 14, 9, 4)
    cut, = pocket(region, surface=STEEP, cutters=[BLUNT], depth=2.0, safe_z=18.0)
    x, y = (v.ravel() for v in np.meshgrid(np.arange(90, 110, 0.2), np.arange(4, 24, 0.2)))
    inside = shapely.contains_xy(region, x, y)
    opened = cut_depth(cut, np.column_stack([x, y])[inside], STEEP) > 1e-5
    assert cut.opened.area / region.area == pytest.approx(opened.mean(), abs=0.0015)
