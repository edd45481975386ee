"""Pockets: never outside the drawing, never uncut, never too deep, and cut the way a maker would."""

import itertools
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, box

from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, PathgenError
from pathgen.base.lowered import FallAway, Lowered
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move
from pathgen.base.tops import radiused
from pathgen.strategies.entering import to_and_fro
from pathgen.strategies.pocketing import PocketCut, PocketOptions, pocket, tracing
from pathgen.strategies.pocketing.clearing import Nest, Pieces, nest, pieces
from pathgen.strategies.pocketing.corners import _axis_and_depth, _dots, _in_air, _opened_along
from pathgen.strategies.pocketing.linking import (
    begun_on_a_straight,
    inside_out,
    leads,
    tour,
    turned_to,
)
from pathgen.strategies.pocketing.middles import middle_lines
from pathgen.strategies.pocketing.openings import _gentle_enough, opening
from pathgen.strategies.pocketing.places import _bored, _off, layer_depths
from pathgen.strategies.pocketing.settings import FEWER
from pathgen.strategies.pocketing.shapes import polygons
from pathgen.strategies.pocketing.tracing import Trace
from tests.brute import Block, moves_along
from tests.drawings import BOARD, LEVEL, ball_end, comb, flat_end, mixed, ring, star, v_cutter

SAFE_Z = 18.0
STRAYS = FEWER
"""How far a path may be from the plan, where points are left out of it, mm."""


def cut_moves(cut: PocketCut) -> tuple[np.ndarray, np.ndarray]:
    """Starts and ends of the moves at a feed, rounded to four decimals as programs are: (n, 3) each."""
    points = np.round(cut.toolpath.points, 4)
    work = cut.toolpath.kinds[1:] != Move.RAPID
    return points[:-1][work], points[1:][work]


def swept_by_flat(cut: PocketCut, surface: Surface) -> shapely.Geometry:
    """What a flat end opens: its disc swept along every move that is below the surface. Exact to 0.1 um."""
    a, b = cut_moves(cut)
    low = [p[:, 2] < surface.tip_height(cut.cutter, p[:, 0], p[:, 1]) - 1e-4 for p in (a, b)]
    lines = shapely.linestrings(np.unique(np.stack([a[:, :2], b[:, :2]], axis=1)[low[0] | low[1]], axis=0))
    return shapely.union_all(shapely.buffer(lines, cut.cutter.radius, quad_segs=100))


def cut_out_of(block: Block, cuts: list[PocketCut]) -> np.ndarray:
    """How deep flat ends cut each place of a block, mm."""
    before = block.top.copy()
    for cut in cuts:
        if len(cut.toolpath):
            block.run(moves_along(cut.toolpath, cut.cutter), cut.cutter.radius)
    return before - block.top


def reference_opening(region: shapely.Geometry, radius: float) -> shapely.Geometry:
    """Opening by a disc with shapely alone; nothing where the widest circle in the region is smaller than the disc.

    That circle takes long to find: it is asked for only where a disc a twentieth wider has no room.
    """
    parts = shapely.get_parts(shapely.buffer(region, 0))
    roomy = ~shapely.is_empty(shapely.buffer(parts, -1.05 * radius, quad_segs=100))
    wide = [p for p, room in zip(parts, roomy, strict=True)
            if room or shapely.length(shapely.maximum_inscribed_circle(p, 1e-4)) >= radius - 1e-4]
    region = shapely.union_all(wide)
    return region.buffer(-radius, quad_segs=100).buffer(radius, quad_segs=100)


# The loops


@pytest.mark.parametrize(("region", "name"), [
    (box(0, 0, 20, 20), "square 20 mm"),
    (Point(0, 0).buffer(10.0, quad_segs=400), "circle r 10"),
    (box(0, 0, 40, 10), "slot 40 x 10"),
])
@pytest.mark.parametrize("step", [0.4, 0.9])
def test_length_of_contour_parallel_loops_is_the_closed_form(region: Polygon, name: str, step: float) -> None:
    # derived: outlines shrink in a straight line with the offset, so the trapezium rule over offsets is exact:
    # sum = A / s + (P_first + P_last) / 2, A the area between the first and the last loop of the axis
    axis = polygons(opening(flat_end(2.0), LEVEL, 1.0, region, 1e-5).axis_region(polygons(region)))
    nested = nest(axis, first=step, spacing=step, half_width=0.0, tolerance=1e-5)
    loops = sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in
                pieces(nested, half_width=1.0, spacing=step).line)
    first, last = nested.area[0], nested.area[-1]
    assert loops == pytest.approx((first.area - last.area) / step + (first.length + last.length) / 2, rel=2e-4)


@pytest.mark.parametrize("stepover", [0.3, 0.45, 0.7, 0.95])
@pytest.mark.parametrize("region", [star(0, 0, 15, 5, 4), Polygon([(0, 0), (40, 4), (40, -4)]), comb(0, 0)])
def test_nothing_reachable_is_left_uncut_at_any_stepover(region: Polygon, stepover: float) -> None:
    cut, = pocket(region, surface=LEVEL, cutters=[flat_end(1.5, stepover=stepover)], depth=0.5, safe_z=SAFE_Z)
    missed = reference_opening(region, 0.75).difference(swept_by_flat(cut, LEVEL).buffer(1e-4))
    assert missed.area < 2e-3


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("shape", "diameter", "stepover", "width"), [
    ("ring", 1.0, 0.45, 1.0), ("wave", 1.0, 0.45, 1.1), ("ring", 1.0, 0.45, 2.0), ("wave", 1.0, 0.45, 2.9),
    ("ring", 0.5, 0.45, 1.0), ("wave", 3.0, 0.45, 6.0), ("wave", 1.0, 0.5, 2.1), ("ring", 1.0, 0.505, 2.11),
    ("wave", 1.0, 0.6, 2.3), ("ring", 1.0, 0.9, 2.9), ("wave", 3.0, 0.5, 3.0),
])
def test_a_line_just_as_wide_as_its_laps_is_cut_in_laps(
    shape: str, diameter: float, stepover: float, width: float
) -> None:
    # where two laps meet in the middle, what rounding leaves between them is no place of its own: some hundred dips
    x = np.linspace(0.0, 2.0 * np.pi, 200)
    line = LineString(np.column_stack([5.0 * x, 6.0 * np.sin(x)])) if shape == "wave" else Point(0, 0).buffer(
        8.0, quad_segs=100).exterior
    cutter = flat_end(diameter, stepover=stepover)
    for off in (-1e-3, 0.0, 2e-5, 3e-3) if width > diameter else (0.0, 2e-5):
        region = line.buffer((width + off) / 2.0, quad_segs=64)
        cut, = pocket(region, surface=LEVEL, cutters=[cutter], depth=0.5, safe_z=SAFE_Z)
        lifts = (cut.toolpath.kinds[1:] == Move.RAPID) & (np.diff(cut.toolpath.points[:, 2]) > 1e-6)
        assert np.count_nonzero(lifts) <= 6, off
        swept = swept_by_flat(cut, LEVEL)
        assert reference_opening(region, diameter / 2.0 - 1e-4).difference(swept.buffer(1e-3 + STRAYS)).area < 2e-3
        assert swept.difference(region.buffer(0.004 + STRAYS)).is_empty


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("width", [2.0, 2.004, 2.008, 2.9])
def test_corners_crossings_and_knobs_of_such_a_line_are_cut(width: float) -> None:
    """What is left between two laps is wider there than they finish, and was dropped with the film it is part of."""
    line = box(10, -width / 2, 90, width / 2)
    for region in (box(0, 0, 60, 20).difference(box(width, width, 60 - width, 20 - width)),
                   line.union(box(50 - width / 2, -10, 50 + width / 2, 10)), line.union(Point(90, 0).buffer(1.45))):
        cut, = pocket(region, surface=LEVEL, cutters=[flat_end(1.0, stepover=0.45)], depth=0.5, safe_z=SAFE_Z)
        swept = swept_by_flat(cut, LEVEL)
        assert reference_opening(region, 0.5 - 1e-4).difference(swept.buffer(1e-3 + STRAYS)).area < 2e-3


def test_loops_run_so_that_a_cutter_turning_clockwise_climbs() -> None:
    cut, = pocket(ring(130, 0, 10, 4), surface=LEVEL, cutters=[flat_end(3.0)], depth=1.0, safe_z=SAFE_Z)
    a, b = cut_moves(cut)
    axis = Point(130, 0)
    middle = (a[:, :2] + b[:, :2]) / 2
    away = np.hypot(middle[:, 0] - axis.x, middle[:, 1])
    turn = (a[:, 0] - axis.x) * b[:, 1] - a[:, 1] * (b[:, 0] - axis.x)
    assert np.all(turn[np.abs(away - 8.5) < 1e-3] > 0)  # the outer wall on the right: counter-clockwise
    assert np.all(turn[np.abs(away - 5.5) < 1e-3] < 0)  # the island on the right: clockwise
    assert (np.abs(away - 8.5) < 1e-3).sum() > 50
    assert (np.abs(away - 5.5) < 1e-3).sum() > 50


# What is opened, how deep


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("dy", [0.0, 14.0])
def test_star_ring_comb_and_needle_on_a_compound_radius(dy: float) -> None:
    region = mixed(dy)
    cuts = pocket(region, surface=BOARD, cutters=[flat_end(6.0), flat_end(2.0)], depth=1.4, safe_z=SAFE_Z)
    reachable = shapely.union_all([reference_opening(region, r) for r in (3.0, 1.0)])
    swept = shapely.union_all([swept_by_flat(cut, BOARD) for cut in cuts])
    assert swept.difference(region).area < 0.1 * STRAYS * region.length
    assert swept.difference(region.buffer(0.02)).area < 1e-9
    assert reachable.difference(swept).area < 0.001 * reachable.area
    assert cuts[-1].opened.area == pytest.approx(reachable.area, rel=0.001)
    x0, y0, x1, y1 = region.bounds
    block = Block((x0 - 1, y0 - 1, x1 + 1, y1 + 1), 0.1, BOARD.height)
    depth = cut_out_of(block, cuts)
    assert depth.max() <= 1.401
    assert block.by_rapids == 0.0


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("cutter", [flat_end(3.0), ball_end(3.0), v_cutter(60.0)])
def test_never_deeper_than_asked_between_points_too(cutter: Cutter) -> None:
    cut, = pocket(mixed(15.0), surface=BOARD, cutters=[cutter], depth=1.2, safe_z=SAFE_Z)
    a, b = cut_moves(cut)
    between = a + np.linspace(0, 1, 12)[:, None, None] * (b - a)
    depth = BOARD.tip_height(cutter, between[..., 0], between[..., 1]) - between[..., 2]
    assert depth.max() < 1.2 + 0.0006
    assert depth.max() > 1.2 - 0.0001


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("radius", [math.inf, 254.0])
@pytest.mark.parametrize("cutter", [flat_end(3.0), ball_end(2.0), v_cutter(60.0)])
def test_floors_follow_the_top_where_it_begins_to_fall_away(cutter: Cutter, radius: float) -> None:
    """Long moves along the board pass the bend (found on a board of icons: 16 um too deep)."""
    top = Lowered(thickness=6.0, radius_nut=radius, radius_end=radius, length=100.0,
                  fall_away=FallAway(start=50.0, end=100.0, drop=0.4, curved=False))
    cut, = pocket(box(20, -6, 80, 6), surface=top, cutters=[cutter], depth=1.0, safe_z=SAFE_Z)
    a, b = cut_moves(cut)
    for t in np.linspace(0.0, 1.0, 41):
        at = a + t * (b - a)
        assert (at[:, 2] - (top.tip_height(cutter, at[:, 0], at[:, 1]) - 1.0)).min() > -0.0015


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("cutter", [ball_end(3.0), v_cutter(60.0), v_cutter(30.0)])
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_round_or_pointed_end_opens_the_drawings_edge_on_a_slope(cutter: Cutter, side: float) -> None:
    # at y 22 the slope is 0.08: taken for level, a ball of 3 mm 1.2 deep would open 0.05 mm past the wall
    region = star(100, side * 22, 9, 6, 7)
    cuts = pocket(region, surface=BOARD, cutters=[cutter], depth=1.2, safe_z=SAFE_Z)
    assert _share_cut(cuts[0], region, 0.002) == 0.0
    assert _share_cut(cuts[0], reference_rim(region, cutter), -0.006) > 0.985


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("cutter", [ball_end(4.0), v_cutter(110.0)])
def test_so_it_does_on_a_flat_that_falls_along_the_board(cutter: Cutter) -> None:
    """Found on a short flat board with relief: a ball passed the drawing's edge by 0.025 mm."""
    top = Lowered(thickness=6.0, radius_nut=math.inf, radius_end=math.inf, length=100.0,
                  fall_away=FallAway(start=20.0, end=80.0, drop=2.4, curved=False))
    region = star(50, 5, 9, 6, 7)
    cut, = pocket(region, surface=top, cutters=[cutter], depth=1.2, safe_z=SAFE_Z)
    assert _share_cut(cut, region, 0.006, top) == 0.0
    assert _share_cut(cut, reference_rim(region, cutter), -0.006, top) > 0.985


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("radius", [math.inf, 254.0])
@pytest.mark.parametrize(("start", "drop", "curved", "opened"), [
    (20.0, 2.4, False, 0.9), (55.0, 2.0, False, 0.5), (45.0, 2.0, True, 0.6), (45.0, 0.5, False, 0.99),
])
def test_and_where_a_board_begins_to_fall_within_the_drawing(
    radius: float, start: float, drop: float, curved: bool, opened: float
) -> None:
    """A blunt v was reckoned with as in the middle of the drawing: over half of it on a slope it passed the drawing's
    edge by more than 0.05 mm, and was refused by its own check; all of it on a slope it stayed so far from the edge."""
    top = Lowered(thickness=6.0, radius_nut=radius, radius_end=radius, length=100.0,
                  fall_away=FallAway(start=start, end=85.0, drop=drop, curved=curved))
    region = shapely.box(34, 2, 66, 10)
    cut, = pocket(region, surface=top, cutters=[v_cutter(150.0)], depth=0.5, safe_z=SAFE_Z)
    assert _share_cut(cut, region, 0.006, top) == 0.0
    assert _share_cut(cut, reference_opening(region, 0.5 * math.tan(math.radians(75.0)) + 0.05), -0.05, top) > opened


def reference_rim(region: Polygon, cutter: Cutter) -> Polygon:
    """The region with its corners rounded as on level ground, a little more."""
    width = float(cutter.half_width(1.2))
    return reference_opening(region, width + 0.05)


def _share_cut(cut: PocketCut, region: Polygon, out: float, top: Surface = BOARD) -> float:
    """Share of the points `out` outside the region's edge at which the surface is cut by more than 0.1 um."""
    a, b = cut_moves(cut)
    rim = shapely.get_coordinates(shapely.segmentize(region.buffer(out).exterior, 0.2))
    near = shapely.dwithin(shapely.linestrings(rim), shapely.linestrings(np.stack([a, b], axis=1)[..., :2]),
                           cut.cutter.half_width(1.2) + 0.1)
    tips = np.concatenate([np.linspace(start, end, 2 + int(np.hypot(*(end - start)[:2]) / 0.02))
                           for start, end in zip(a[near], b[near], strict=True)])
    tree = shapely.STRtree(shapely.points(tips[:, :2]))
    place, tip = tree.query(shapely.points(rim), predicate="dwithin", distance=cut.cutter.radius)
    away = np.hypot(*(tips[tip, :2] - rim[place]).T)
    depth = top.height(*rim[place].T) - tips[tip, 2] - cut.cutter.profile(np.minimum(away, cut.cutter.radius))
    deepest = np.full(len(rim), -1.0)
    np.maximum.at(deepest, place, depth)
    return float((deepest > 1e-4).mean())


@st.composite
def stars_with_holes(draw: st.DrawFn) -> Polygon:
    """Random star-shaped drawings, some with a hole."""
    count = draw(st.integers(5, 24))
    radii = np.array(draw(st.lists(st.floats(2.0, 12.0), min_size=count, max_size=count)))
    angle = np.linspace(0, 2 * math.pi, count, endpoint=False)
    shape = Polygon(np.column_stack([radii * np.cos(angle) + 60, radii * np.sin(angle) + draw(st.floats(-15, 15))]))
    share = draw(st.floats(0.0, 0.7))
    hole = shapely.affinity.scale(shape, share, share, origin=shape.representative_point()) if share > 0.1 else None
    return shape.buffer(0) if hole is None else shape.buffer(0).difference(hole.buffer(0))


@settings(max_examples=12, deadline=None)
@given(region=stars_with_holes(), first=st.sampled_from([3.0, 4.0]), second=st.sampled_from([1.0, 1.5]))
def test_random_drawings_are_never_left_uncut_nor_overcut(region: Polygon, first: float, second: float) -> None:
    try:
        cuts = pocket(region, surface=BOARD, cutters=[flat_end(first), flat_end(second)], depth=1.0, safe_z=SAFE_Z,
                      options=PocketOptions(smallest=0.0))
    except CutterError:
        assert reference_opening(region, second / 2 + 0.001).is_empty
        return
    swept = shapely.union_all([swept_by_flat(cut, BOARD) for cut in cuts])
    reachable = shapely.union_all([reference_opening(region, r / 2) for r in (first, second)])
    # chords may lie 0.002 mm off their arcs, and where two meet a little more: 0.00202 mm has been drawn
    assert swept.difference(region.buffer(0.0022)).area < 1e-6
    assert reachable.difference(swept).area < 0.001 * reachable.area


def test_a_cutter_that_comes_down_beside_its_piece_stays_off_the_walls() -> None:
    """Found by the test above: the way from there to the piece went 0.02 mm into a wall that has been cut before."""
    region = Polygon([
        (62.68, -2.25), (60.35, -1.97), (58.25, -3.03), (56.71, -1.2), (57.18, 1.03), (57.0, 5.2), (62.08, 11.82),
        (64.98, 4.18), (65.0, 0.0),
    ], [[(61.67, 4.59), (61.13, 6.02), (60.17, 4.78), (60.21, 4.0), (60.12, 3.58), (60.41, 3.24), (60.8, 3.44),
         (61.24, 3.39), (61.67, 3.81)]])
    cuts = pocket(region, surface=BOARD, cutters=[flat_end(4.0), flat_end(1.5)], depth=1.0, safe_z=SAFE_Z)
    assert swept_by_flat(cuts[1], BOARD).difference(region.buffer(0.002)).area < 1e-6


@pytest.mark.parametrize("surface", [LEVEL, BOARD])
def test_one_that_does_not_plunge_comes_down_where_a_wider_one_has_been(surface: Surface) -> None:
    """Its pieces begin on outlines, by rounding a hair out of them: a fifth of such pockets were refused for that."""
    second = replace(flat_end(1.0), plunges=False)
    _, cut = pocket(Polygon([(50, 0), (60, 0), (53, 8)]), surface=surface, cutters=[flat_end(2.0), second], depth=0.8,
                    safe_z=SAFE_Z)
    assert len(cut.toolpath)


def test_the_middle_of_a_narrow_place_is_cut_whatever_corner_its_outline_begins_at() -> None:
    """Found by the test above: a true inner loop began at a corner that a coarse chord had drawn nearer to the wall."""
    region = Polygon([
        (61.89, -0.65), (61.58, -1.23), (61.09, -1.67), (61.23, -4.85), (59.83, -1.99), (59.2, -1.83), (58.65, -1.47),
        (58.24, -0.95), (58.03, -0.33), (58.03, 0.33), (58.24, 0.95), (58.65, 1.47), (58.64, 1.48), (58.81, 1.44),
        (59.57, -0.12), (59.5, 1.61), (59.76, 1.85), (59.84, 1.99), (60.49, 1.94), (61.09, 1.67), (61.58, 1.23),
        (61.89, 0.65), (62, 0),
    ])
    cut, = pocket(region, surface=BOARD, cutters=[flat_end(1.0)], depth=1.0, safe_z=SAFE_Z)
    reachable = reference_opening(region, 0.5)
    assert reachable.difference(swept_by_flat(cut, BOARD)).area < 0.001 * reachable.area


# Rest cutting


def test_the_second_cutter_cuts_only_where_the_first_could_not() -> None:
    region = box(0, 0, 40, 30)
    cuts = pocket(region, surface=LEVEL, cutters=[flat_end(6.0), flat_end(2.0)], depth=0.5, safe_z=SAFE_Z)
    a, b = cut_moves(cuts[1])
    corners = MultiPolygon([box(x - 6, y - 6, x + 6, y + 6) for x in (0, 40) for y in (0, 30)])
    assert shapely.covers(corners, shapely.points((a + b)[:, :2] / 2)).all()
    left = [region.area - cut.opened.area for cut in cuts]
    # derived: a corner rounded with r lacks (1 - pi / 4) r^2
    assert left[0] == pytest.approx(4 * (1 - math.pi / 4) * 9.0, rel=0.001)
    assert left[1] == pytest.approx(4 * (1 - math.pi / 4) * 1.0, rel=0.004)
    overlap = swept_by_flat(cuts[1], LEVEL).intersection(swept_by_flat(cuts[0], LEVEL))
    assert overlap.area > 4 * 0.3  # no step where the two meet


def test_a_second_cutter_with_nothing_to_do_says_so() -> None:
    region = Point(0, 0).buffer(10.0, quad_segs=64)
    cuts = pocket(region, surface=LEVEL, cutters=[flat_end(6.0), flat_end(2.0)], depth=0.5, safe_z=SAFE_Z)
    assert len(cuts[1].toolpath) == 0
    assert "nothing left to cut" in cuts[1].idle[0]


def test_pieces_too_small_to_matter_are_skipped() -> None:
    region = box(0, 0, 40, 30)
    rest = (1 - math.pi / 4) * (9.0 - 1.0)
    cutters = [flat_end(6.0), flat_end(2.0)]
    common = {"surface": LEVEL, "cutters": cutters, "depth": 0.5, "safe_z": SAFE_Z}
    kept = pocket(region, options=PocketOptions(smallest=0.9 * rest), **common)
    skipped = pocket(region, options=PocketOptions(smallest=1.1 * rest), **common)
    assert len(kept[1].toolpath) > 0
    assert kept[1].left.area == pytest.approx(4 * (1 - math.pi / 4), rel=0.01)
    assert len(skipped[1].toolpath) == 0
    assert skipped[1].left.area - kept[1].left.area == pytest.approx(4 * rest, rel=0.01)


def test_a_slot_exactly_as_wide_as_the_cutter_is_cut() -> None:
    cut, = pocket(box(0, -3, 40, 3), surface=LEVEL, cutters=[flat_end(6.0)], depth=1.0, safe_z=SAFE_Z)
    assert swept_by_flat(cut, LEVEL).area == pytest.approx(34 * 6 + math.pi * 9, rel=0.001)


# Corners with a v cutter


@pytest.mark.parametrize("dy", [0.0, 18.0])
def test_a_v_cutter_sharpens_corners(dy: float) -> None:
    region = star(100, dy, 14, 6)
    cuts = pocket(region, surface=BOARD, cutters=[flat_end(3.0), v_cutter(40.0)], depth=1.4, safe_z=SAFE_Z)
    tips = shapely.points(np.array(region.exterior.coords)[:-1:2])
    assert (shapely.distance(tips, cuts[0].opened) > 1.5).all()
    assert (shapely.distance(tips, cuts[1].opened) < 0.1).all()
    assert _share_cut(cuts[1], region, 0.002) == 0.0
    assert cuts[1].left.area < 0.05


def test_a_v_rises_along_the_middle_line_as_the_walls_close_in() -> None:
    # derived, level: on the bisector of a square corner the walls are x away, so the tip is x / tan(angle / 2) deep
    cutter = v_cutter(60.0)
    cuts = pocket(box(0, 0, 20, 20), surface=LEVEL, cutters=[flat_end(4.0), cutter], depth=1.5, safe_z=SAFE_Z)
    a, b = cut_moves(cuts[1])
    points = (a + np.linspace(0.0, 1.0, 33)[:, None, None] * (b - a)).reshape(-1, 3)
    half = 1.5 * math.tan(math.radians(30))
    rising = points[(points[:, 0] < half - 0.05) & (points[:, 2] < LEVEL.thickness - 0.01)]
    rising = rising[rising[:, 1] < 10]
    assert len(rising) >= 5
    assert rising[:, 0] == pytest.approx(rising[:, 1], abs=0.003)
    assert LEVEL.thickness - rising[:, 2] == pytest.approx(rising[:, 0] / math.tan(math.radians(30)), abs=0.01)
    assert rising[:, 0].min() < 0.1


# How it is cut


@pytest.mark.parametrize(("ridges", "depths"), [
    (0.0, [0.3, 0.6]), (0.04, [0.3, 0.6]), (0.06, [0.27, 0.6]), (0.25, [0.175, 0.6]), (0.8, [-1 / 3, 2 / 15, 0.6]),
    (1.2, [-0.75, -0.3, 0.15, 0.6]),
])
def test_layers_begin_on_high_ridges(ridges: float, depths: list[float]) -> None:
    """By hand, with a stepdown of 0.5 mm: 0.04 mm are not counted."""
    cutter = replace(flat_end(1.0), stepdown=0.5)
    assert layer_depths(cutter, 0.6, ridges) == pytest.approx(depths)


def test_a_pointed_cutter_has_no_layer_of_nothing() -> None:
    """Layers as thick as the ridges: the first one's depth was what rounding left, and its ramp crashed."""
    pointed = replace(v_cutter(60.0), stepdown=0.22)
    assert layer_depths(pointed, 0.4, 0.2) == pytest.approx([0.02, 0.21, 0.4])
    (cut,) = pocket(box(20.0, -2.0, 26.0, 2.0), surface=LEVEL, cutters=[pointed], depth=0.4, safe_z=20.0,
                    options=PocketOptions(ridges=0.2))
    assert cut.toolpath.points[:, 2].min() == pytest.approx(LEVEL.thickness - 0.4)


@pytest.mark.parametrize(("ridges", "depths"), [(0.25, [0.175, 0.6]), (0.8, [0.2, 0.6]), (1.2, [0.3, 0.6])])
def test_a_pointed_cutter_has_no_layer_over_the_surface(ridges: float, depths: list[float]) -> None:
    """By hand: where ridges are higher than a layer the first is a stepdown under the lowest that is left out."""
    pointed = replace(flat_end(1.0), stepdown=0.5, shape="v", angle=60.0)
    assert layer_depths(pointed, 0.6, ridges) == pytest.approx(depths)


@pytest.mark.parametrize("ridges", [0.15, 0.6])
def test_no_bite_is_deeper_than_the_stepdown_where_ridges_of_the_first_cut_stand(ridges: float) -> None:
    """Layers were counted from the surface: the first took the ridges too, 0.40 mm with a stepdown of 0.25."""
    cutter, region = replace(flat_end(0.5), stepdown=0.25, plunges=False), box(20.0, -2.0, 26.0, 2.0)
    (cut,) = pocket(region, surface=LEVEL, cutters=[cutter], depth=0.7, safe_z=20.0,
                    options=PocketOptions(ridges=ridges, allowance=0.0))
    block = Block((19, -3, 27, 3), 0.04, LEVEL.thickness + ridges)
    loads = block.run(moves_along(cut.toolpath, cutter), 0.25).moving_sideways()
    assert loads.deepest.max() < 0.25 + 0.005
    assert loads.per_tooth(over=0.5).max() < 1.5 * 0.45 * 0.5 * 0.25 * cutter.feed
    assert block.top.min() == pytest.approx(LEVEL.thickness - 0.7)
    assert not block.by_rapids


@pytest.mark.parametrize("plunges", [True, False])
def test_corners_that_a_wider_cutter_left_are_cut_without_a_lift_between_layers(plunges: bool) -> None:
    """A small cutter spent a third of its minutes lifting out of strokes of a millimetre, once for each layer."""
    cutters = [replace(flat_end(3.0), stepdown=1.0), replace(flat_end(1.0), stepdown=0.4, plunges=plunges)]
    region = box(20.0, -3.0, 26.0, 3.0)
    cuts = pocket(region, surface=LEVEL, cutters=cutters, depth=2.0, safe_z=20.0)
    path = cuts[1].toolpath
    assert np.count_nonzero((path.kinds[1:] == Move.RAPID) & (np.diff(path.points[:, 2]) > 1e-6)) == 4
    block = Block((19, -4, 27, 4), 0.04, LEVEL.thickness)
    block.run(moves_along(cuts[0].toolpath, cuts[0].cutter), 1.5)
    loads = block.run(moves_along(path, cuts[1].cutter), 0.5).moving_sideways()
    assert loads.deepest.max() < 0.4 + 0.005
    assert not block.by_rapids


def test_ramps_never_sink_faster_than_the_plunge_feed() -> None:
    cutter = flat_end(3.0)
    cut, = pocket(mixed(12.0), surface=BOARD, cutters=[cutter], depth=1.4, safe_z=SAFE_Z)
    path = cut.toolpath
    down = -np.diff(path.points[:, 2])
    length = np.maximum(path.lengths[1:], 1e-12)
    feed = np.where(path.kinds[1:] == Move.EASED, cutter.eased_feed, cutter.feed)
    sinks = feed * down / length
    work = np.isin(path.kinds[1:], [Move.CUT, Move.EASED])
    assert sinks[work].max() <= cutter.plunge * 1.001
    straight = (path.kinds[1:] == Move.PLUNGE) & (down > 0.4)
    assert straight.sum() < 40  # most ways in are ramps
    sloped = work & (np.hypot(*np.diff(path.points[:, :2], axis=0).T) > 1e-6) & (down / length > 0.03)
    assert sloped.any()


@pytest.mark.parametrize("region", [
    shape for r in (1.74, 3.0, 4.34, 5.68) for shape in (Point(0, 0).buffer(r, quad_segs=64), box(-r, -r, r, r))
])
def test_a_cutter_that_cannot_plunge_finds_room_for_a_ramp_beside_a_loop_too_small_for_one(region: Polygon) -> None:
    """The innermost loop of these is a dot: the ramp goes to and fro beside it, or round the wall as a helix."""
    a, b = cut_moves(pocket(region, surface=LEVEL, cutters=[replace(flat_end(3.0), plunges=False)], depth=1.0,
                            safe_z=SAFE_Z)[0])
    down = (b[:, 2] < a[:, 2]) & (np.hypot(*(b - a)[:, :2].T) < 1e-6)
    assert b[down, 2].min() >= LEVEL.thickness - 1e-9
    assert region.buffer(-1.5 + 1e-3).covers(LineString(b[b[:, 2] < LEVEL.thickness][:, :2]))


def test_places_without_room_for_a_ramp_are_left_to_the_next_cutter() -> None:
    region = MultiPolygon([box(0, 0, 12, 12), Point(20, 6).buffer(1.54, quad_segs=64)])
    first = replace(flat_end(3.0), plunges=False)
    cuts = pocket(region, surface=LEVEL, cutters=[first, flat_end(1.0)], depth=1.0, safe_z=SAFE_Z)
    dot = region.geoms[1]
    assert cuts[0].opened.intersection(dot).is_empty
    assert dot.difference(cuts[1].opened).area < 0.01
    # without another they stay closed, unless all of it is asked for
    alone, = pocket(region, surface=LEVEL, cutters=[first], depth=1.0, safe_z=SAFE_Z)
    assert alone.opened.area == pytest.approx(cuts[0].opened.area)
    assert alone.left.covers(dot.buffer(-0.01))
    with pytest.raises(CutterError, match="cannot cut at its centre"):
        pocket(region, surface=LEVEL, cutters=[first], depth=1.0, safe_z=SAFE_Z, options=PocketOptions(all_of_it=True))


def test_layers_are_no_thicker_than_the_stepdown_and_follow_the_curve() -> None:
    cutter = flat_end(3.0, stepdown=0.5)
    cut, = pocket(box(50, 8, 90, 20), surface=BOARD, cutters=[cutter], depth=1.4, safe_z=SAFE_Z)
    a, b = cut_moves(cut)
    level = (a[:, 2] != b[:, 2]) | (np.hypot(*(b - a)[:, :2].T) > 0.3)
    depth = np.round(BOARD.tip_height(cutter, b[level, 0], b[level, 1]) - b[level, 2], 3)
    values, counts = np.unique(depth, return_counts=True)
    assert sorted(values[np.argsort(-counts)[:3]]) == pytest.approx([0.467, 0.933, 1.4], abs=0.001)


def test_walls_get_a_finishing_pass_of_their_own_at_full_depth() -> None:
    cutter = flat_end(3.0, stepdown=0.5)
    common = {"surface": LEVEL, "cutters": [cutter], "depth": 1.4, "safe_z": SAFE_Z}
    cut, = pocket(box(0, 0, 30, 20), options=PocketOptions(allowance=0.2), **common)
    a, b = cut_moves(cut)
    wall = LineString([(1.5, 1.5), (28.5, 1.5), (28.5, 18.5), (1.5, 18.5), (1.5, 1.5)])
    on_wall = shapely.covers(wall.buffer(0.001), shapely.linestrings(np.stack([a[:, :2], b[:, :2]], axis=1)))
    assert on_wall.sum() >= 4
    assert b[on_wall, 2] == pytest.approx(LEVEL.thickness - 1.4, abs=1e-4)
    none, = pocket(box(0, 0, 30, 20), options=PocketOptions(allowance=0.0), **common)
    assert none.toolpath.cut_length > 0
    a, b = cut_moves(none)
    on_wall = shapely.covers(wall.buffer(0.001), shapely.linestrings(np.stack([a[:, :2], b[:, :2]], axis=1)))
    assert len(np.unique(np.round(b[on_wall, 2], 3))) == 3  # without one, the wall is cut in every layer


@pytest.mark.parametrize(("diameter", "left"), [(6.0, 0.1), (2.0, 0.1), (1.0, 0.05), (0.6, 0.03)])
def test_clearing_leaves_a_tenth_on_walls_and_small_cutters_a_twentieth_of_themselves(
    diameter: float, left: float
) -> None:
    cutter = flat_end(diameter, stepdown=0.5)
    cut, = pocket(box(0, 0, 20, 16), surface=LEVEL, cutters=[cutter], depth=1.0, safe_z=SAFE_Z)
    a, b = cut_moves(cut)
    nearest = shapely.distance(box(0, 0, 20, 16).exterior, shapely.points((a + b)[:, :2] / 2)) - cutter.radius
    first_layer = np.abs(b[:, 2] - (LEVEL.thickness - 0.5)) < 1e-3
    assert nearest[first_layer].min() == pytest.approx(left, abs=2e-3)
    assert nearest.min() == pytest.approx(0.0, abs=2e-3)


@pytest.mark.parametrize("turned", [0.0, 90.0, 180.0, 270.0])
def test_walls_round_islands_come_last(turned: float) -> None:
    """All else in their place is cut before, so that nothing is left to push on thin wood that stands inside."""
    rim = shapely.affinity.rotate(box(0, 0, 40, 24), turned, origin=(0, 0))
    islands = shapely.affinity.rotate(MultiPolygon([box(9, 8, 10, 16), box(5, 5, 6, 6)]), turned, origin=(0, 0))
    region = rim.difference(islands)
    cut, = pocket(region, surface=LEVEL, cutters=[flat_end(3.0, stepdown=0.8)], depth=1.6, safe_z=SAFE_Z)
    a, b = cut_moves(cut)
    middle = shapely.points((a + b)[:, :2] / 2)
    whole = (np.hypot(*(b - a)[:, :2].T) > 1e-6) & (np.abs(b[:, 2] - (LEVEL.thickness - 1.6)) < 1e-3)
    on_rim, on_islands = (
        np.flatnonzero(whole & (np.abs(shapely.distance(wall, middle) - 1.5) < 0.002))
        for wall in (rim.exterior, islands.boundary)
    )
    assert len(on_rim) > 3
    assert len(on_islands) > 7
    assert on_islands.min() > on_rim.max()


def test_a_later_ball_end_does_not_plunge_into_the_foot_of_an_earlier_ones_wall() -> None:
    region = star(100, 0, 12, 5)
    cutters = [ball_end(6.0), ball_end(2.0)]
    cuts = pocket(region, surface=LEVEL, cutters=cutters, depth=2.0, safe_z=SAFE_Z)
    points, kinds = cuts[1].toolpath.points, cuts[1].toolpath.kinds
    down = np.flatnonzero(kinds[1:-1] == Move.PLUNGE) + 1
    foot = shapely.distance(region.exterior, shapely.points(points[down, :2])) < 2.9
    at_depth = foot & (points[down + 1, 2] > points[down, 2] - 1e-4)  # and not on along a ramp
    assert foot.sum() > 10
    assert at_depth.sum() == 0


def test_a_ramp_to_and_fro_ends_where_the_line_begins() -> None:
    line = np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 2.0]])
    for length in (2.0, 4.9, 5.0, 7.0, 23.0):
        way = to_and_fro(line, length)
        assert way[-1].tolist() == [0.0, 0.0]
        assert np.hypot(*np.diff(way, axis=0).T).sum() == pytest.approx(length)
        assert shapely.distance(LineString(line), shapely.points(way)).max() < 1e-12


def test_a_small_cutter_stays_down_along_the_walls_of_what_a_wider_one_opened() -> None:
    """Ways from spot to spot in a corner, and to the next layer, run at the walls: each was a lift, 26 in all."""
    diamond, small = Polygon([(7, 1), (12, 7), (7, 13), (2, 7)]), flat_end(0.5, stepdown=0.25)
    wide, narrow = pocket(diamond, surface=LEVEL, cutters=[flat_end(2.0), small], depth=1.5, safe_z=20.0)
    path = narrow.toolpath
    assert ((path.kinds[:-1] != Move.RAPID) & (path.kinds[1:] == Move.RAPID)).sum() == 4  # one for each corner
    block = Block((0, 0, 14, 14), 0.05, LEVEL.thickness)
    for cut in (wide, narrow):
        block.run(moves_along(cut.toolpath, cut.cutter), cut.cutter.radius)
    assert block.by_rapids == 0.0
    y, x = np.nonzero(block.top < LEVEL.thickness - 1e-9)
    assert shapely.dwithin(diamond, shapely.points(block.xs[x], block.ys[y]), 1e-3).all()


def test_one_region_is_cleared_without_lifting() -> None:
    cut, = pocket(box(0, -15, 60, 15), surface=BOARD, cutters=[flat_end(3.0)], depth=1.8, safe_z=SAFE_Z)
    z = cut.toolpath.points[:, 2]
    # the way in, where the ramp begins over its uphill side, the way out
    assert (z > BOARD.thickness + 0.2).sum() <= 4
    assert z[0] == z[-1] == SAFE_Z


def test_short_hops_stay_low_but_clear_and_go_high_over_a_keep_out() -> None:
    region = MultiPolygon([box(x, -2, x + 4, 2) for x in (0, 10, 20)])
    common = {"surface": BOARD, "cutters": [flat_end(2.0, stepdown=2.0)], "depth": 1.0, "safe_z": SAFE_Z}
    low, = pocket(region, **common)
    across = _ways_across(low)
    assert len(across) == 2
    assert across[:, 2] == pytest.approx(BOARD.thickness + 2.0, abs=0.02)
    kept, = pocket(region, keep_out=box(6, -5, 8, 5), **common)
    assert sorted(_ways_across(kept)[:, 2]) == pytest.approx([BOARD.thickness + 2.0, SAFE_Z], abs=0.02)


def _ways_across(cut: PocketCut) -> np.ndarray:
    """Ends of the rapids that go across."""
    points, kinds = cut.toolpath.points, cut.toolpath.kinds
    step = np.hypot(*np.diff(points[:, :2], axis=0).T)
    return points[1:][(kinds[1:] == Move.RAPID) & (step > 1e-6)]


def test_the_way_round_the_regions_is_near_the_shortest() -> None:
    rng = np.random.default_rng(2)
    centres = rng.uniform([0, -20], [200, 20], (8, 2))
    dots = MultiPolygon(polygons(shapely.union_all(shapely.buffer(shapely.points(centres), 1.5))).tolist())
    cut, = pocket(dots, surface=LEVEL, cutters=[flat_end(2.0)], depth=0.5, safe_z=SAFE_Z)
    points, kinds = cut.toolpath.points, cut.toolpath.kinds
    rapid = np.hypot(*np.diff(points[:, :2], axis=0).T)[kinds[1:] == Move.RAPID].sum()
    # the shortest open way through the middles from the first region cut, by trying all
    away = np.hypot(*(centres[:, None] - centres[None]).T)
    first = int(np.argmin(np.hypot(*(centres - points[0, :2]).T)))
    rest = [k for k in range(8) if k != first]
    ways = ((first, *order) for order in itertools.permutations(rest))
    best = min(sum(away[a, b] for a, b in itertools.pairwise(way)) for way in ways)
    assert rapid <= 1.3 * best


def test_a_tour_of_many_places_is_short() -> None:
    rng = np.random.default_rng(3)
    points = rng.uniform(0, 100, (400, 2))
    way = points[tour(points, np.zeros(2))]
    length = np.hypot(*np.diff(way, axis=0).T).sum()
    # Beardwood, Halton and Hammersley (1959): the shortest is near 0.7124 sqrt(n A) (the constant from memory)
    assert length < 1.15 * 0.7124 * math.sqrt(400 * 100 * 100)
    assert len(np.unique(way, axis=0)) == 400


@pytest.mark.in_every_run(0)
def test_how_high_a_floor_stands_is_that_of_where_the_drawing_lies() -> None:
    """D: a flat end rests on its uphill side. Of two discs one lies near the crest of the tight end, the other far out
    at the wide end: nothing is as steep as the corner of the box round both. The floor from the path's own points."""
    surface = Surface(thickness=6.5, radius_nut=120.0, radius_end=480.0, length=200.0)
    near, far = Point(6, 2).buffer(3, 64), Point(190, 16).buffer(3, 64)
    (cut,) = pocket(near.union(far), surface=surface, cutters=[flat_end(2.0)], depth=1.0, safe_z=SAFE_Z)
    tips = cut.toolpath.points
    tips = np.concatenate([a + np.linspace(0, 1, 20)[:, None] * (b - a) for a, b in itertools.pairwise(tips)
                           if max(a[2], b[2]) < 6.5])
    at = np.array([[x, y] for x in np.arange(187, 193, 0.1) for y in np.arange(13.0, 19, 0.1)
                   if far.buffer(-0.05).contains(Point(x, y))])
    floor = [tips[np.hypot(*(tips[:, :2] - one).T) <= 1.0, 2].min() for one in at]
    high = float((floor - surface.height(*at.T)).max()) + 1.0
    assert high - 0.002 < cut.ridge < high + 0.02


# Bad input


def test_cutters_larger_than_every_region_name_the_largest_that_fits() -> None:
    with pytest.raises(CutterError, match=r"allowed: a cutter 2\.00 mm wide or less at the pocket's depth"):
        pocket(box(0, 0, 30, 2), surface=LEVEL, cutters=[flat_end(6.0), flat_end(3.0)], depth=1.0, safe_z=SAFE_Z)


def test_one_of_two_cutters_that_fits_nowhere_is_a_warning() -> None:
    cuts = pocket(box(0, 0, 30, 2), surface=LEVEL, cutters=[flat_end(6.0), flat_end(1.0)], depth=1.0, safe_z=SAFE_Z)
    assert len(cuts[0].toolpath) == 0
    assert cuts[0].idle == ("goes in nowhere", "take one that is 2.00 mm wide or less at the pocket's depth, "
                             "or make the drawing larger")
    assert len(cuts[1].toolpath) > 0


@pytest.mark.parametrize("depth", [12.5, 0.0, -1.0, math.nan])
def test_depths_that_cannot_be_cut(depth: float) -> None:
    with pytest.raises(CutterError, match="deep"):
        pocket(box(0, 0, 30, 20), surface=LEVEL, cutters=[flat_end(3.0)], depth=depth, safe_z=SAFE_Z)


def test_negative_settings_are_refused() -> None:
    with pytest.raises(PathgenError, match="allowance"):
        PocketOptions(allowance=-0.1)


def test_self_touching_and_sliver_drawings() -> None:
    bow_tie = Polygon([(0, 0), (20, 10), (20, 0), (0, 10)])
    sliver = Polygon([(30, 0), (60, 0), (45, 1e-9)])
    region = shapely.GeometryCollection([bow_tie, sliver, LineString([(0, 0), (5, 5)])])
    cut, = pocket(region, surface=LEVEL, cutters=[flat_end(1.0)], depth=0.5, safe_z=SAFE_Z)
    both = shapely.make_valid(bow_tie)
    assert cut.opened.area == pytest.approx(reference_opening(both, 0.5).area, rel=0.001)
    assert swept_by_flat(cut, LEVEL).difference(both.buffer(0.002)).area < 1e-6


def test_nothing_to_cut_is_an_empty_path() -> None:
    cut, = pocket(Polygon(), surface=BOARD, cutters=[flat_end(3.0)], depth=0.5, safe_z=SAFE_Z)
    assert len(cut.toolpath) == 0
    assert cut.opened.is_empty


def test_a_flat_end_too_wide_for_a_shallow_pocket_on_a_slope_is_refused_or_keeps_off() -> None:
    """D: resting on its uphill side, a flat end of diameter d hangs d times the slope over its downhill side."""
    region = box(50, 0, 80, 24)
    with pytest.raises(CutterError, match=r"a flat end of 1\.\d\d mm or less"):
        pocket(region, surface=BOARD, cutters=[flat_end(6.0)], depth=0.3, safe_z=SAFE_Z)
    cuts = pocket(region, surface=BOARD, cutters=[flat_end(6.0), flat_end(1.0)], depth=0.3, safe_z=SAFE_Z)
    wide = cuts[0].toolpath.points[cuts[0].toolpath.kinds == Move.CUT]
    assert 6.0 * BOARD.slope(wide[:, 0], wide[:, 1]).max() == pytest.approx(0.15, rel=0.03)
    assert cuts[1].opened.area == pytest.approx(reference_opening(region, 0.5).area, rel=0.001)
    depth = cut_out_of(Block((51.0, 1.0, 79.0, 23.0), 0.1, BOARD.height), cuts)
    assert depth.min() > 0.15 - 0.001
    assert depth.max() < 0.301


def test_a_region_a_little_smaller_than_the_cutter_is_not_cut() -> None:
    # GEOS 3.14 turns this octagon inside out when it is shrunk by more than its inner radius, 1.848
    angle = np.arange(8) * math.pi / 4
    octagon = Polygon(np.column_stack([60 + 2 * np.cos(angle), 2 * np.sin(angle)]))
    with pytest.raises(CutterError, match=r"a cutter 3\.[67]\d mm wide"):
        pocket(octagon, surface=LEVEL, cutters=[flat_end(4.0)], depth=0.5, safe_z=SAFE_Z)
    cuts = pocket(octagon, surface=LEVEL, cutters=[flat_end(3.6)], depth=0.5, safe_z=SAFE_Z)
    assert len(cuts[0].toolpath) > 0


def test_the_plane_of_openings_holds_a_wide_drawing_where_the_board_is_more_curved() -> None:
    """On a cone the radius at one end is smaller than in the drawing's middle: its outer edge was drawn in there."""
    cone = Surface(thickness=6.5, radius_nut=254.0, radius_end=355.6, length=480.0)
    region = box(60, -21, 380, 21)
    one = opening(ball_end(2.0), cone, 1.0, region, 0.0005)
    assert one.slanted is not None
    corners = np.array([[60.0, -21.0], [60.0, 21.0], [380.0, -21.0], [380.0, 21.0]])
    plane = shapely.get_coordinates(one.in_plane(np.array([shapely.MultiPoint(corners)])))
    assert one.out_of_plane(plane) == pytest.approx(corners, abs=1e-6)


def test_a_point_that_stands_twice_is_no_wall():
    """The engine refuses to divide a wall of no length (found by a row of icons cut with a v)."""
    twice = Polygon([(0.0, 0.0), (4.0, 0.0), (4.0, 0.0), (2.0, 3.0)])
    both = np.array([twice, Polygon([(0.0, 0.0), (4.0, 0.0), (2.0, 3.0)])])
    lines, of = middle_lines(both, both, 2.0)
    assert np.bincount(of).tolist() == [3, 3]
    assert shapely.length(lines[of == 0]).sum() == pytest.approx(shapely.length(lines[of == 1]).sum(), abs=0.2)


def test_middle_lines_of_many_regions_are_those_of_each_alone() -> None:
    """Also of two that share a wall, and of one that stands in another's hole."""
    outer = box(0, 0, 9, 8).difference(box(2, 2, 7, 6))
    regions = np.array([outer, box(9, 0, 12, 8), box(3, 3, 6, 5), outer])
    lines, of = middle_lines(regions, regions, 3.0)
    for k, region in enumerate(regions):
        alone, _ = middle_lines(regions[k:k + 1], np.array([region]), 3.0)
        assert len(alone)
        assert shapely.equals_exact(lines[of == k], alone, 0.0).all()


def test_a_v_opens_the_hulls_of_discs_along_its_lines() -> None:
    """Derived, level: from each point to the next the hull of both discs, each disc drawn with 512 corners."""
    random = np.random.default_rng(7)
    one = opening(v_cutter(60.0), LEVEL, 1.5, box(0, 0, 20, 20), 0.002)
    along = np.linspace(0.0, 3.0, 40)
    curve = np.column_stack([along, np.sin(2.0 * along), 0.8 + 0.3 * np.sin(3.0 * along)])
    zigzag = np.column_stack([np.arange(6.0), np.arange(6.0) % 2, random.uniform(0.0, 1.5, 6)])
    nested = np.array([[5.0, 5.0, 1.5], [5.2, 5.0, 0.1], [5.3, 5.1, 0.0], [5.3, 5.2, 1.4]])
    dot = np.array([[8.0, 1.0, 1.0], [8.01, 1.0, 1.0]])
    lines, of = [curve, zigzag, nested, dot], np.array([0, 2, 2, 3])
    opened = _opened_along(one, lines, of, 4)
    assert opened[1].is_empty
    for k in (0, 2, 3):
        discs = [[shapely.Point(x, y).buffer(max(depth, 1e-9) / math.sqrt(3), 128) for x, y, depth in lines[n]]
                 for n in np.flatnonzero(of == k)]
        hulls = shapely.union_all([(a | b).convex_hull for each in discs for a, b in itertools.pairwise(each)])
        assert shapely.hausdorff_distance(opened[k].boundary, hulls.boundary, densify=0.1) < 0.02
        assert opened[k].difference(hulls.buffer(1e-4)).is_empty
        assert hulls.difference(opened[k].buffer(0.002)).is_empty


def test_a_spike_whose_walls_run_straight_back_has_a_middle_line():
    """The angle between walls that are one rounding apart is nothing (found by a drawing in its own colours)."""
    thin = Polygon([(0, -1), (4, -1), (4, 0.5), (5, 0.5), (4, np.nextafter(0.5, 1)), (4, 1), (0, 1)])
    without = Polygon([(0, -1), (4, -1), (4, 1), (0, 1)])
    both, of = middle_lines(np.array([thin, without]), np.array([without, without]), 2.0)
    lines, plain = (shapely.union_all(both[of == k]) for k in (0, 1))
    assert shapely.intersection(lines, plain.buffer(0.1)).length > 0.7 * plain.length
    assert shapely.length(lines) > shapely.length(plain) - 0.2


def test_a_v_cutter_opens_a_dot_whose_middle_line_is_a_point() -> None:
    dot = Point(5.0, 5.0).buffer(0.5, quad_segs=32)
    pointed = v_cutter(60.0)
    cut, = pocket(dot, surface=LEVEL, cutters=[pointed], depth=1.6, safe_z=SAFE_Z)
    assert dot.difference(cut.opened).area < 0.005 * dot.area
    assert cut.toolpath.points[:, 2].min() == pytest.approx(LEVEL.thickness - 0.5 * math.sqrt(3), abs=0.01)


@pytest.mark.parametrize(("region", "room"), [
    (box(0, 0, 3.2, 3.2), False), (box(0, 0, 3.3, 3.3), False), (box(0, 0, 3.33, 3.33), True),
    (Point(0, 0).buffer(1.71, quad_segs=64), False), (Point(0, 0).buffer(1.74, quad_segs=64), True),
    (box(0, 0, 3.44, 3.0), False), (box(0, 0, 3.46, 3.0), True), (box(0, 0, 3.46, 3.02), True),
])
def test_a_loop_is_a_way_down_by_the_measure_of_a_line(region: Polygon, room: bool) -> None:
    """A square 0.2 mm wide was, as it is 0.8 mm all round: the axis never left its middle by more than 0.14 mm, and a
    core 0.28 mm wide stayed. A line had to be 0.225 mm long, where the axis leaves its middle by half of that."""
    blind = replace(flat_end(3.0), plunges=False)
    if not room:
        with pytest.raises(CutterError, match=r"no room for a ramp.*a way of 0\.45 mm or more for its axis, straight"):
            pocket(region, surface=LEVEL, cutters=[blind], depth=1.0, safe_z=SAFE_Z)
        return
    a, b = cut_moves(pocket(region, surface=LEVEL, cutters=[blind], depth=1.0, safe_z=SAFE_Z)[0])
    top = float(LEVEL.height(0.0, 0.0))
    low = b[(b[:, 2] < top - 1e-6) & (b[:, 2] < a[:, 2])]
    assert np.hypot(*np.ptp(low[:, :2], axis=0)) > 0.44
    assert not ((a[:, :2] == b[:, :2]).all(axis=1) & (b[:, 2] < top - 1e-3) & (b[:, 2] < a[:, 2] - 1e-6)).any()


def test_a_wide_place_is_entered_beside_its_innermost_loop_where_that_is_small() -> None:
    """That loop, 0.2 mm wide, was its way down."""
    blind = replace(flat_end(3.0), plunges=False)
    side = 3.2 + 2 * (0.1 + 0.45 * 3.0)
    a, b = cut_moves(pocket(box(0, 0, side, side), surface=LEVEL, cutters=[blind], depth=1.0, safe_z=SAFE_Z)[0])
    ramp = b[:, 2] < a[:, 2] - 1e-6
    first = ramp & (b[:, 2] > float(LEVEL.height(0.0, 0.0)) - 1.0 + 1e-3)
    assert np.hypot(*np.ptp(b[first, :2], axis=0)) > 0.45


@pytest.mark.parametrize("cutter", [v_cutter(60.0), flat_end(1.0)])
def test_a_cutter_that_plunges_goes_straight_down_where_it_has_hardly_room_to_go_along(cutter: Cutter) -> None:
    """Along a tenth of a millimetre it went to and fro, or round and round, some hundred times."""
    dot = Point(5.0, 5.0).buffer(0.52, quad_segs=32)
    cut, = pocket(dot, surface=LEVEL, cutters=[replace(cutter, feed=1200.0, plunge=100.0)], depth=0.8, safe_z=SAFE_Z)
    a, b = cut_moves(cut)
    assert len(a) < 30
    down = b[(a[:, :2] == b[:, :2]).all(axis=1) & (b[:, 2] < a[:, 2]), 2]
    assert down.min() == pytest.approx(LEVEL.thickness - 0.8, abs=1e-4)
    assert dot.difference(cut.opened).area < 0.01


def test_a_v_goes_straight_down_into_a_dot_whose_middle_line_is_a_point() -> None:
    """The line through it is a hundredth of a millimetre long: it took a thousand moves to sink along that."""
    dot = Point(5.0, 5.0).buffer(0.5, quad_segs=32)
    cut, = pocket(dot, surface=BOARD, cutters=[v_cutter(60.0)], depth=1.6, safe_z=SAFE_Z)
    assert len(cut_moves(cut)[0]) < 10


@pytest.mark.parametrize("surface", [LEVEL, BOARD])
@pytest.mark.parametrize("cutter", [flat_end(1.0), v_cutter(60.0)])
def test_along_curves_moves_are_as_long_as_two_micrometres_allow(
    monkeypatch: pytest.MonkeyPatch, surface: Surface, cutter: Cutter,
) -> None:
    """Chords within t of an arc of radius r are up to the root of 8 r t long (plane geometry): 27 um in the ends of a
    line nearly as wide as its cutter. They were 6 um, 2,500 lines a second at a usual feed."""
    drawn = LineString([(40, 5), (46, 7), (52, 3)]).buffer(0.545, quad_segs=64)
    cut, = pocket(drawn, surface=surface, cutters=[cutter], depth=0.8, safe_z=SAFE_Z)
    monkeypatch.setattr(tracing, "FEWER", 1e-9)
    exact, = pocket.__wrapped__(drawn, surface=surface, cutters=[cutter], depth=0.8, safe_z=SAFE_Z)  # not from memory
    assert len(cut.toolpath) < 0.85 * len(exact.toolpath)
    a, b = cut_moves(cut)
    run = np.hypot(*(b - a)[:, :2].T)
    assert np.quantile(run[run > 1e-6], 0.25) > 0.5 * math.sqrt(8 * 0.045 * FEWER)
    lines = [shapely.linestrings(np.stack([start, end], axis=1)[:, :, :2]) for start, end in (cut_moves(exact), (a, b))]
    off = shapely.hausdorff_distance(*(shapely.multilinestrings(each.tolist()) for each in lines), densify=0.05)
    assert off < FEWER + 2e-4


@pytest.mark.parametrize("stem", [0.2, 0.4])
def test_a_v_cutter_opens_a_berry_on_a_thin_stem(stem: float) -> None:
    """From the middle of the berry both corners of the stem's mouth are seen as one place of its wall."""
    berry = Point(212.0, 0.0).buffer(1.5, quad_segs=32)
    region = shapely.union_all([box(190.0, -6.0, 202.0, 6.0), box(201.0, -stem / 2, 212.0, stem / 2), berry])
    cut, = pocket(region, surface=BOARD, cutters=[v_cutter(90.0)], depth=2.4, safe_z=SAFE_Z)
    assert berry.difference(cut.opened).area < 0.01 * berry.area
    here = np.hypot(*(cut.toolpath.points[:, :2] - [212.0, 0.0]).T) < 0.2
    deepest = BOARD.height(212.0, 0.0) - cut.toolpath.points[here, 2].min()
    assert deepest == pytest.approx(1.5, abs=0.02)


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("y", [0.0, 18.0])
@pytest.mark.parametrize("apart", [4.0, 5.0])
@pytest.mark.parametrize("first", [None, 1.0])
def test_a_neck_opened_from_both_sides_is_cut_as_deep_as_its_walls_allow(y: float, apart: float, first) -> None:
    """Two discs of radius 3 mm that overlap: a v of 90 degrees goes everywhere 2.4 mm deep, but through the neck.

    Where a flat end has been before, it is open to the floor.
    """
    region = shapely.union(*(Point(x, y).buffer(3.0, quad_segs=64) for x in (200.0, 200.0 + apart)))
    cutters = [*([flat_end(first)] if first else []), v_cutter(90.0)]
    half = math.sqrt(9.0 - apart**2 / 4.0)  # of the neck, derived, and so the depth at 45 degrees
    middle = np.column_stack([200.0 + apart / 2 + np.linspace(-0.5, 0.5, 11), np.full(11, y)])
    left = np.full(11, np.inf)
    for cut in pocket(region, surface=BOARD, cutters=cutters, depth=2.4, safe_z=SAFE_Z):
        a, b = cut_moves(cut)
        tips = np.concatenate([a + t * (b - a) for t in np.linspace(0.0, 1.0, 21)])
        away = np.hypot(*(middle[:, None] - tips[:, :2]).transpose(2, 0, 1))
        over = np.where(away > cut.cutter.radius, np.inf, 0.0) if cut.cutter.is_flat else away * cut.cutter.wall_slope
        left = np.minimum(left, (tips[:, 2] + over).min(axis=1, initial=np.inf))
    assert BOARD.height(*middle.T) - left == pytest.approx(np.full(11, 2.4 if first else half), abs=0.2)


def test_a_v_goes_through_no_neck_that_an_earlier_cutter_has_opened_to_the_floor() -> None:
    """A stem too narrow for the v at full depth was gone along whole after a flat end had been there: all in air."""
    stem = LineString([(40, 0), (50, 3), (60, 0)]).buffer(0.6, quad_segs=32)
    leaves = shapely.union_all([stem, box(36, -2, 40, 2), box(60, -2, 64, 2)])
    cuts = pocket(leaves, surface=LEVEL, cutters=[flat_end(1.0), v_cutter(60.0)], depth=1.5, safe_z=SAFE_Z)
    a, b = cut_moves(cuts[1])
    middle = (a[:, 0] + b[:, 0]) / 2
    assert np.linalg.norm(b - a, axis=1)[(middle > 41.5) & (middle < 58.5)].sum() == 0.0
    assert len(a)
    assert leaves.difference(cuts[1].opened).area < 0.01


@pytest.mark.parametrize("wall", [40.0, 12.0, 6.0])
def test_a_middle_line_goes_on_through_a_mouth(wall: float) -> None:
    """As far as the two corners of the mouth are seen at more than a wall's least turn; wherever the next wall is."""
    hall = Polygon([(-8, -0.5), (0, -0.5), (0, -20), (wall, -20), (wall, 20), (0, 20), (0, 0.5), (-8, 0.5)])
    lines, _ = middle_lines(np.array([hall]), np.array([box(-8, -0.5, 0, 0.5)]), 3.0)
    middle = shapely.union_all(lines)
    assert shapely.distance(middle, shapely.points(np.arange(0.2, 1.8, 0.2), 0.0)).max() < 0.01
    assert middle.bounds[2] <= 3.1


def test_a_closed_line_begins_and_ends_at_its_corner_nearest_by() -> None:
    square = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0], [0.0, 0.0]])
    for here, order in (((-1, -1), [0, 1, 2, 3, 0]), ((9, 1), [1, 2, 3, 0, 1]), ((1, 8), [3, 0, 1, 2, 3])):
        assert turned_to(square, np.array(here)).tolist() == square[order].tolist()


def test_a_closed_line_begins_in_the_middle_of_an_edge_that_is_long_enough() -> None:
    oblong = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 4.0], [0.0, 4.0], [0.0, 0.0]])
    at = np.array([11.0, 3.0])  # nearest the short edge
    assert begun_on_a_straight(oblong, at, 4.0).tolist() == [[9, 2], [9, 4], [0, 4], [0, 0], [9, 0], [9, 2]]
    assert begun_on_a_straight(oblong, at, 9.0).tolist() == [[4.5, 4], [0, 4], [0, 0], [9, 0], [9, 4], [4.5, 4]]
    assert begun_on_a_straight(oblong, at, 9.1) is oblong


@pytest.mark.parametrize(("corners", "smooth"), [(19, True), (17, False)])
def test_or_on_a_short_one_between_corners_of_less_than_twenty_degrees(corners: int, smooth: bool) -> None:
    ring = np.exp(2j * np.pi * np.arange(corners + 1) / corners)
    ring[-1] = ring[0]
    line, middle = np.column_stack([ring.real, ring.imag]), (ring[3] + ring[4]) / 2
    begun = begun_on_a_straight(line, 3 * np.array([middle.real, middle.imag]), 5.0)
    assert (begun is not line) == smooth
    if smooth:
        assert begun[0] == pytest.approx([middle.real, middle.imag])
        assert begun[1] == pytest.approx(line[4])
    kink = np.vstack([line[:3], [[0.0, 3.0]], line[6:]])  # the edges beside three sharp corners are none
    begun = begun_on_a_straight(kink, np.array([0.0, 3.0]), 50.0)
    if smooth:
        assert begun[0] == pytest.approx((line[7] + line[8]) / 2)


def test_beside_a_dot_a_lobe_may_just_touch_what_is_looked_at() -> None:
    """A region goes round and comes back to the edge, 0.5 mm off, of what is near a place that no line opens."""
    rest = box(0, 0, 1, 1)
    lobe = shapely.union_all([rest, box(0.4, -3, 0.6, 0), box(0.4, -3, 3, -2.8), box(2.8, -3, 3, 2),
                              box(0.2, 1.5, 3, 2)])
    one = opening(v_cutter(90.0), LEVEL, 0.5, lobe, 0.0005)
    near = shapely.intersection(lobe, rest.buffer(one.half_width))
    assert near.geom_type == "GeometryCollection"
    region, none = np.array([lobe], dtype=object), np.array([Polygon()], dtype=object)
    (dot,), of = _dots(one, region, region, np.array([rest], dtype=object), none, 0.05)
    assert dot[0] == pytest.approx([0.5, 0.5, 0.5], abs=0.02)
    assert of.tolist() == [0]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("depth", "stepdown"), [(1.0, 2.0), (1.6, 2.0), (1.6, 0.5)])
def test_a_v_goes_from_piece_to_piece_past_what_it_has_cut(depth: float, stepdown: float) -> None:
    """Lines as wide as the v opens them, that cross: 12 to 26 lifts within a millimetre of each other before."""
    t = np.linspace(0.0, math.pi, 600)
    line = LineString(np.column_stack([10.0 * np.cos(3 * t) * np.cos(t), 10.0 * np.cos(3 * t) * np.sin(t)]))
    cutter = replace(v_cutter(60.0), stepdown=stepdown)
    region = line.buffer(float(cutter.half_width(depth)) + 0.025, quad_segs=32)
    cut, = pocket(region, surface=LEVEL, cutters=[cutter], depth=depth, safe_z=SAFE_Z)
    points, kinds = cut.toolpath.points, cut.toolpath.kinds
    lifts = np.count_nonzero((kinds[1:] == Move.RAPID) & (np.diff(points[:, 2]) > 1e-6))
    assert lifts <= 6 * math.ceil(depth / stepdown)
    fine = shapely.get_coordinates(shapely.segmentize(LineString(points), 0.02), include_z=True)
    deep = LEVEL.thickness - fine[:, 2]
    under, places = deep > 0.0, shapely.points(fine[:, :2])
    assert shapely.covers(region, places[under]).all()
    room = shapely.distance(region.boundary, places[under])
    assert np.max(deep[under] / cutter.wall_slope - room) < 0.003  # points within 0.002 of straight moves are left out


def test_a_v_that_has_cut_a_floor_goes_straight_down_to_its_lines_beyond_it() -> None:
    """Joints of a narrow line are wider: the tip has been there at full depth, and went to and fro on the line."""
    cutter = v_cutter(60.0)
    zigzag = LineString([(0, 0), (10, 8), (20, 0), (30, 8), (40, -3)])
    region = zigzag.buffer(float(cutter.half_width(1.6)) - 0.01, quad_segs=32)
    cut, = pocket(region, surface=LEVEL, cutters=[cutter], depth=1.6, safe_z=SAFE_Z)
    working = cut.toolpath.kinds != Move.RAPID
    assert cut.toolpath.lengths[working].sum() < 1.9 * zigzag.length  # 2.9 times it before


def test_a_v_lifts_between_dots_that_are_nearly_one() -> None:
    """Two dots of 0.08 mm, nearly touching: a way between them at depth would cut the wood there."""
    dots = shapely.MultiPolygon([Point(x, 5.0).buffer(0.04, quad_segs=16) for x in (5.0, 5.145)])
    cut, = pocket(dots, surface=LEVEL, cutters=[v_cutter(60.0)], depth=1.6, safe_z=SAFE_Z,
                  options=PocketOptions(smallest=0.001))
    points = cut.toolpath.points
    low = (points[1:, 2] < LEVEL.thickness) & (points[:-1, 2] < LEVEL.thickness)
    across = low & (np.abs(np.diff(points[:, 0])) > 0.05)
    assert low.sum() >= 2
    assert not across.any()


@pytest.mark.parametrize(("inner", "place", "free"), [
    ([[0.0, 0.0], [4.0, 0.0]], 0, True),
    ([[0.0, 0.02], [4.0, 0.02]], 0, False),  # leaves a sliver of 0.02 mm beside it (a house with round corners)
    ([[0.0, 0.0], [4.0, 0.0]], 1, False),  # of a place that comes later
])
def test_a_pass_along_a_wall_begins_in_air_where_loops_inside_it_have_been(inner, place, free) -> None:
    passes = [np.array(inner), np.array([[2.0, 0.0], [2.1, -0.1], [4.0, -0.1]])]
    found = _bored(passes, np.array([place, 0]), np.array([0]), np.array([1]), 0.25)
    assert found.tolist() == [free]


def test_a_ramp_that_begins_below_the_layer_before_is_come_down_to_straight() -> None:
    """Open a little below it, where an earlier cutter has been: nothing but air down to there."""
    trace = Trace(flat_end(2.0), LEVEL, width=1.0, slope=0.0, safe_z=SAFE_Z, options=PocketOptions())
    trace.hop(np.array([0.0, 0.0]), 0.5)
    trace.enter(np.array([[3.0, 0.0], [8.0, 0.0]]), 0.5, 1.0, opened=0.7, through_cleared=True)
    down = np.diff(trace.toolpath(None).points[2:-1], axis=0)
    sloped = down[np.hypot(down[:, 0], down[:, 1]) > 1e-9]
    assert -sloped[:, 2].min() == pytest.approx(0.3)
    assert down[:, 2].sum() == pytest.approx(LEVEL.thickness - 1.0 - trace.toolpath(None).points[2, 2])


@pytest.mark.parametrize("apart", [(3.0, 0.0), (0.0, -3.0), (2.0, 2.0)])
def test_of_places_to_cut_the_nearest_comes_next(apart: tuple[float, float]) -> None:
    """Two within one along the wall, and two lines of each: nearer ones first, the wall last."""
    nested = Nest(area=np.array([box(-20, -20, 20, 20)] * 3), level=np.array([0, 1, 1]), parent=np.array([-1, 0, 0]))
    ways = [(0, (-19.0, 0.0)), (1, (-2.0, -8.0)), (1, (1.0, 7.0)), (2, apart), (2, (0.0, -4.5))]
    pieces = Pieces(line=[np.array([at, at]) for _, at in ways], closed=np.zeros(5, bool),
                    node=np.array([node for node, _ in ways]), outline=np.ones(5, bool), island=np.zeros(5, bool))
    order, _ = inside_out(nested, pieces, np.arange(5), np.zeros(2))
    assert order == [3, 4, 1, 2, 0]


@pytest.mark.parametrize(("length", "expected"), [(2.0, 5.0), (5.0, 5.0), (9.0, 9.0), (12.0, 12.0), (26.0, 26.0)])
def test_a_ramp_off_the_start_of_a_line_begins_beside_it_as_long_as_it_must(length: float, expected: float) -> None:
    """It comes down where there is air all round: at the start of the line it might graze a wall."""
    start, beside = np.array([10.0, -2.0]), np.array([[13.0, 2.0]])
    way = _off(start, beside, length)
    assert np.hypot(*np.diff(way, axis=0).T).sum() == pytest.approx(expected)
    assert shapely.distance(shapely.LineString([start, beside[0]]), shapely.points(way)).max() < 1e-9
    assert way[[0, -1]] == pytest.approx(np.array([beside[0], start]))
    assert _off(start, start[None], length).tolist() == [start.tolist()]


def test_a_v_goes_down_through_air_only_where_its_whole_opening_is_open() -> None:
    """A 60 degree v at 1 mm depth is tan(30) = 0.577 mm wide on each side; or where a cutter's axis has been."""
    one = SimpleNamespace(cutter=v_cutter(60.0), depth=1.0)
    ends = np.array([[2.0, 2.0, 1.0], [0.5, 2.0, 1.0], [0.6, 2.0, 1.0], [5.0, 2.0, 1.0], [3.0, 9.0, 1.0]])
    lines = [np.array([end, ends[0]]) for end in ends]
    in_air = _in_air(one, lines, np.full(5, box(0, 0, 4, 4)), np.full(5, shapely.LineString([(0, 9), (8, 9)])))
    assert in_air[:, 0].tolist() == [True, False, True, False, True]
    assert in_air[:, 1].all()


@pytest.mark.parametrize("ahead", [(1.0, 0.0), (0.0, 1.0), (-0.6, 0.8)])
def test_leads_are_quarter_circles_on_the_left_that_touch_the_line_at_its_start(ahead: tuple[float, float]) -> None:
    start, way = np.array([10.0, -5.0]), np.array(ahead)
    onto, off = leads(np.array([start, start + 3 * way, start + 9 * way]), 0.4)
    centre = start + 0.4 * np.array([-way[1], way[0]])
    for lead, side in ((onto, -1), (off, 1)):
        assert np.hypot(*(lead - centre).T) == pytest.approx(np.full(5, 0.4))
        assert (side * (lead - start) @ way > 0).all()
    # a quarter circle: its far end stands as far aside as the centre
    assert [onto[0], off[-1]] == [pytest.approx(centre - 0.4 * way), pytest.approx(centre + 0.4 * way)]


def test_on_its_way_to_the_next_layer_the_cutter_stays_off_the_walls():
    """Where a ramp to and fro begins at its other end the way there led 20 um past a wall (found by a row of icons)."""
    corners = (
        "0.88,3.38 5.56,3.38 5.56,1.21 5.43,1.34 5.23,1.52 5.00,1.71 4.75,1.89 4.47,2.09 4.19,1.89 3.94,1.71 "
        "3.71,1.52 3.51,1.34 3.33,1.16 3.18,0.99 3.05,0.82 2.95,0.66 2.86,0.50 2.79,0.34 2.74,0.19 2.71,0.05 "
        "2.70,-0.09 2.70,-0.22 2.71,-0.34 2.74,-0.46 2.78,-0.57 2.84,-0.67 2.90,-0.76 2.97,-0.85 3.05,-0.92 "
        "3.14,-0.99 3.24,-1.05 3.33,-1.09 3.44,-1.13 3.54,-1.16 3.65,-1.18 3.76,-1.18 3.87,-1.18 3.98,-1.16 "
        "4.09,-1.13 4.19,-1.09 4.29,-1.04 4.38,-0.98 4.47,-0.90 4.56,-0.98 4.65,-1.04 4.75,-1.09 4.85,-1.13 "
        "4.96,-1.16 5.07,-1.18 5.18,-1.18 5.29,-1.18 5.40,-1.16 5.50,-1.13 5.56,-1.11 5.56,-2.62 0.88,-2.62 "
    )
    region = Polygon([tuple(map(float, corner.split(","))) for corner in corners.split()])
    round_board = Surface(thickness=6.0, radius_nut=213.0, radius_end=213.0, length=20.0)
    cutters = [flat_end(2.0, stepdown=1.04), flat_end(0.5, stepdown=0.25)]
    for cut in pocket(region, surface=round_board, cutters=cutters, depth=1.1, safe_z=20.0):
        ways = shapely.linestrings(np.stack(cut_moves(cut), axis=1)[..., :2])
        assert shapely.distance(region.boundary, ways).min() > cut.cutter.radius - 0.002 - STRAYS


@pytest.mark.parametrize("gap", [1e-4, 1e-6])
def test_edges_that_all_but_touch_do_not_cross_where_openings_are_discs(gap: float) -> None:
    """A line on a slope, and a spot of wood `gap` mm beside it with more corners: offsets of crossed ones are wrong."""
    along, across = np.array([19.0, 10.0]) / math.hypot(19.0, 10.0), np.array([-10.0, 19.0]) / math.hypot(19.0, 10.0)
    start = np.array([100.0, 4.0])
    near = [start + s * along + gap * across for s in np.linspace(3.0, 18.0, 12)]
    far = [start + s * along + by * across for s, by in ((18.0, 0.4), (10.0, 3.0), (3.0, 0.4))]
    corners = [start, start + 21.5 * along, start + 21.5 * along + 14.0 * across, start + 14.0 * across]
    region = Polygon(corners, [near + far])
    assert region.is_valid
    top = radiused(thickness=6.0, start=180.0, end=260.0, length=200.0)
    one = opening(ball_end(3.0), top, 1.4, region, 0.005)
    assert shapely.is_valid(one.in_plane(np.array([region], dtype=object))).all()


@pytest.mark.parametrize("y", [0.0, 8.0, -14.0])
def test_the_cone_over_a_slope_is_as_wide_across_it_as_the_walls_are_apart(y: float) -> None:
    """On the plane that touches the surface: its flank comes out of the wood `width` to each side of the middle."""
    round_top = Surface(thickness=20.0, radius_nut=30.0, radius_end=30.0, length=100.0)
    one = opening(v_cutter(60.0), round_top, 6.0, box(0, -16, 100, 16), 0.0005)
    steep = math.sqrt(3.0)  # 30 degrees to each side of the axis
    middle, width = np.array([[50.0, y]]), np.array([1.5])
    x, across, depth = _axis_and_depth(one, middle, width, np.array([box(-100, -20, 200, 20)]), np.array([0]))[0]
    assert x == pytest.approx(50.0)
    climb = -y / math.sqrt(900.0 - y * y)  # of a circle of radius 30 (D)
    rise = steep * np.hypot(1.5, across - y)  # of the flank over the middle's two sides
    assert climb * (across - y) - depth + rise == pytest.approx(0.0, abs=1e-9)
    # and it comes out as far up the slope of the middle as down: the middle of an ellipse
    up, down = (side * depth / (steep - side * climb) for side in (1.0, -1.0))
    assert across + (up + down) / 2 == pytest.approx(y, abs=1e-9)


@pytest.mark.parametrize("radius", [40.0, 60.0])
def test_a_flat_end_hangs_over_no_more_than_it_may_as_far_out_as_is_told(radius: float) -> None:
    """On a cylinder: it touches with its uphill rim at y - r, its downhill rim is at y + r (D, two heights)."""
    top = Surface(thickness=20.0, radius_nut=radius, radius_end=radius, length=100.0)
    gentle = _gentle_enough(flat_end(3.0), top, 0.25, box(10, -20, 90, 25))

    def height(y):
        return math.sqrt(radius**2 - y * y)

    low, high = 1.5, 23.5
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if height(middle - 1.5) - height(middle + 1.5) <= 0.25 else (low, middle)
    assert gentle.bounds == pytest.approx((9.0, -low, 91.0, low), abs=1e-5)
    assert gentle.area == pytest.approx(82.0 * 2 * low, rel=1e-5)
    assert _gentle_enough(flat_end(3.0), top, 9.0, box(10, -20, 90, 25)) is None
    assert _gentle_enough(flat_end(3.0), top, 0.0, box(10, -1.4, 90, 1.5)) is None


def test_of_a_slope_too_steep_for_a_flat_end_is_told_what_each_cutter_does_there() -> None:
    """3 mm on a cylinder of 40: half of 0.5 mm overhangs from 3.3 mm on (as above), of 0.4 mm of cutter nowhere."""
    top, where = Surface(thickness=20.0, radius_nut=40.0, radius_end=40.0, length=100.0), {"depth": 0.5, "safe_z": 30.0}
    wide, thin = flat_end(3.0), flat_end(0.4)
    first, second = pocket(box(10, 0, 20, 9), surface=top, cutters=[wide, thin], where="leaf", **where)
    assert [words.split(" of ")[0] for words in first.warnings] == [
        f"leaf: cutter {wide.name!r} is too wide for 0.5 mm on a slope"]
    assert (second.warnings, first.idle, second.idle) == ((), (), ())
    level, = pocket(box(10, -2, 20, 2), surface=top, cutters=[wide], **where)
    assert level.warnings == ()
    first, second = pocket(box(10, 5, 20, 9), surface=top, cutters=[wide, thin], **where)
    assert (first.warnings, second.idle) == ((), ())
    why, remedy = first.idle
    assert "it would leave more than half of 0.5 mm" in why
    # at 9 mm the cylinder falls by 9 / sqrt(40^2 - 9^2) a mm (D): it is steepest there, so this wide it does all of it
    assert f"a flat end of {math.floor(25.0 * math.sqrt(40.0**2 - 9.0**2) / 9.0) / 100.0:.2f} mm or less" in remedy
    fits, _ = pocket(box(10, 5, 20, 9), surface=top, cutters=[flat_end(1.08), thin], **where)
    assert (len(fits.toolpath) > 0, fits.warnings) == (True, ())


def test_a_flat_end_that_hangs_over_too_far_on_the_crest_already_opens_nothing() -> None:
    """16 mm on a cylinder of 100 leave 8^2 / 200 = 0.32 mm beside the crest (D): a line was taken for a place to go."""
    top = Surface(thickness=20.0, radius_nut=100.0, radius_end=100.0, length=100.0)
    first, second = pocket(box(10, -13, 46, 13), surface=top, cutters=[flat_end(16.0), flat_end(1.0)], depth=0.4,
                           safe_z=30.0)
    assert first.opened.is_empty
    assert "it would leave more than half of 0.4 mm" in first.idle[0]
    # all but what a round end leaves in four corners
    assert swept_by_flat(second, top).area == pytest.approx(36 * 26 - (4 - math.pi) * 0.5**2, abs=0.02)
    # on a cone it is so far along the board only
    cone = Surface(thickness=20.0, radius_nut=100.0, radius_end=180.0, length=100.0)
    first, second = pocket(box(10, -13, 90, 13), surface=cone, cutters=[flat_end(16.0), flat_end(1.0)], depth=0.5,
                           safe_z=30.0)
    swept = shapely.union_all([swept_by_flat(cut, cone) for cut in (first, second)])
    assert swept.area == pytest.approx(80 * 26 - (4 - math.pi) * 0.5**2, abs=0.02)


def test_fewer_points_make_no_ramp_steeper_of_a_cutter_that_cannot_plunge() -> None:
    """Round a loop of 16 um chords of 2 um cut its way short: it sank faster than the plunge feed."""
    cutter = replace(flat_end(0.2), plunges=False, feed=600.0, plunge=20.0)
    cut, = pocket(Point(100, 0).buffer(0.116, quad_segs=32), surface=LEVEL, cutters=[cutter], depth=0.2, safe_z=SAFE_Z,
                  options=PocketOptions(all_of_it=False))
    points, kinds = cut.toolpath.points, cut.toolpath.kinds
    step = np.diff(points, axis=0)
    sinks = (kinds[1:] != Move.RAPID) & (step[:, 2] < -1e-6) & (points[:-1, 2] < LEVEL.thickness)
    slope = -step[sinks, 2] / np.hypot(*step[sinks, :2].T)
    assert slope.max() <= cutter.plunge / cutter.eased_feed


def test_ways_across_and_down_stay_above_the_ridges_that_stand():
    """Ways across went 2 mm above the surface, and down to 0.3 mm above it, however high a wide stepover leaves it."""
    two = MultiPolygon([box(100, -5, 106, 5), box(112, -5, 118, 5)])
    (cut,) = pocket(two, surface=LEVEL, cutters=[flat_end(3.0)], depth=1.0, safe_z=SAFE_Z,
                    options=PocketOptions(ridges=3.0))
    rapid = cut.toolpath.points[cut.toolpath.kinds == Move.RAPID, 2]
    assert LEVEL.thickness + 3.0 < rapid.min() < SAFE_Z - 1.0
