"""Passes, slots and outlines against closed forms and brute force on points."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pathgen import Cutter, CutterError, scallop_height, stepover_for
from pathgen.base.errors import PathgenError
from pathgen.base.hollow import Hollow
from pathgen.base.lowered import FallAway, Lowered, Relief
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move, Rapids
from pathgen.parts.fingerboard.board import slots
from pathgen.parts.fingerboard.numbers import EndTable
from pathgen.strategies.cutting_line import cutting_line
from pathgen.strategies.cutting_out import outlining
from pathgen.strategies.resurfacing import (
    _link,
    coarse_passes,
    cutting_again_over,
    resurfacing_runs,
    resurfacing_runs_over,
)
from pathgen.strategies.roughing import roughing_runs
from pathgen.strategies.slotting import bevelling, engraving, slotting
from pathgen.strategies.surfacing import _along, finishing_passes, followed, surface_area
from pathgen.strategies.tabs import Tabs, check_tabs_hold, tab_points
from pathgen.work.features import Engraving
from tests.boards import fingerboard
from tests.brute import Block


def cutter_of(shape, diameter, **more):
    return Cutter(**{"name": "c", "shape": shape, "diameter": diameter, "speed": 18000, "feed": 1200.0, "plunge": 300.0,
                     "stepdown": 3.0, **more})


def board(**more):
    return fingerboard(**{"scale_lengths": (640.0, 640.0), "frets": 20, "nut_width": 44.0, "end_width": 57.0,
                          "past_last_fret": 10.0, "thickness": 6.5, "radius": (254.0, 355.6), **more})


BOARDS = {
    "compound": board(),
    "strong cone": board(radius=(120.0, 600.0)),
    "cylinder": board(radius=(254.0, 254.0)),
    "flat": board(radius=(np.inf, np.inf)),
    "fanned": board(scale_lengths=(686.0, 648.0), straight_fret=8, frets=24, radius=(304.8, 508.0)),
}


def left_on_section(run, radius, x, ys):
    """Height that a ball's run leaves at points of a section, by brute force over dense points of the run."""
    step = np.diff(run, axis=0)
    count = np.maximum(2, np.ceil(np.linalg.norm(step, axis=1) / 0.02)).astype(int)
    near = (np.minimum(run[:-1, 0], run[1:, 0]) < x + 1) & (np.maximum(run[:-1, 0], run[1:, 0]) > x - 1)
    points = np.concatenate([a + np.linspace(0, 1, n)[:, None] * s
                             for a, s, n in zip(run[:-1][near], step[near], count[near], strict=True)])
    points = points[np.abs(points[:, 0] - x) < 0.5]
    height = np.full(len(ys), np.inf)
    for px, py, pz in points:
        rows = slice(*np.searchsorted(ys, [py - 2.5, py + 2.5]))
        height[rows] = np.minimum(height[rows], pz + radius - np.sqrt(radius**2 - (ys[rows] - py) ** 2 - (px - x) ** 2))
    return height


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("name", list(BOARDS))
def test_ridges_are_the_limit_and_nothing_is_cut_too_deep(name):
    part, ball, limit = BOARDS[name], cutter_of("ball-end", 12.7), 0.01
    passes = finishing_passes(part.outline, part.surface, ball, scallop=limit)
    assert 0.97 * limit < passes.scallop <= limit
    for x in (part.length * 0.02, part.length * 0.51, part.length * 0.97):
        across = shapely.intersection(shapely.LineString([(x, -60), (x, 60)]), part.outline).bounds
        ys = np.arange(across[1] + 0.001, across[3], 0.005)
        over = left_on_section(passes.run, ball.radius, x, ys) - part.surface.height(x, ys)
        assert 0.9 * limit < over.max() <= limit
        assert over.min() > -0.0004


@pytest.mark.parametrize(("drop", "curved"), [(1.6, True), (1.6, False), (0.1, True)])
def test_a_ball_goes_past_the_end_that_it_falls_to_and_round_the_bend(drop, curved):
    """Its axis stands further along than where it touches a slope: by 1.2 mm at the end of random board 9098. The
    lowest ball over each place, on its way by small steps."""
    surface = Lowered(thickness=8.0, radius_nut=np.inf, radius_end=np.inf, length=26.0,
                      fall_away=FallAway(start=15.0, end=26.0, drop=drop, curved=curved))
    run = finishing_passes(shapely.box(0.0, -2.0, 26.0, 2.0), surface, cutter_of("ball-end", 9.4), scallop=0.05).run
    way = shapely.LineString(run)
    along = shapely.line_interpolate_point(way, np.arange(0.0, way.length, 0.01))
    tips = shapely.get_coordinates(along, include_z=True)
    for x in (14.9, 15.0, 15.1, 15.5, 16.0, 20.0, 25.5, 25.99):
        for y in (-1.99, -0.7, 0.0, 1.1):
            square = (tips[:, 0] - x) ** 2 + (tips[:, 1] - y) ** 2
            left = (tips[:, 2] + 4.7 - np.sqrt(np.maximum(4.7**2 - square, 0.0)))[square < 4.7**2].min()
            assert -0.0005 < left - float(surface.height(x, y)) < 0.053


@pytest.mark.parametrize("name", list(BOARDS))
def test_the_finishing_path_is_little_longer_than_the_least(name):
    part, ball = BOARDS[name], cutter_of("ball-end", 10.0)
    passes = finishing_passes(part.outline, part.surface, ball, scallop=0.012)
    length = np.linalg.norm(np.diff(passes.run, axis=0), axis=1).sum()
    assert length < 1.04 * surface_area(part.outline, part.surface) / passes.stepover
    assert length < 1.05 * part.outline.area / float(stepover_for(0.012, 5.0))


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("diameter", [6.0, 8.0, 10.0, 12.7])
def test_lopsided_boards_are_finished_with_any_ball_and_limit(diameter):
    part = BOARDS["fanned"]
    for limit in np.arange(0.004, 0.031, 0.001):
        passes = finishing_passes(part.outline, part.surface, cutter_of("ball-end", diameter), scallop=float(limit))
        assert np.isfinite(passes.run).all()
        assert passes.scallop <= limit
        # every corner of the board lies within half a stepover of the outermost passes
        contact = passes.y[[0, -1]] / (1 + diameter / 2 / part.surface.radius(np.array([500.0, 500.0])))
        assert contact[0] - part.outline.bounds[1] < 0.6 * passes.stepover
        assert part.outline.bounds[3] - contact[1] < 0.6 * passes.stepover


def test_passes_on_a_cylinder_are_single_straight_moves():
    part = BOARDS["cylinder"]
    passes = finishing_passes(part.outline, part.surface, cutter_of("ball-end", 12.7), scallop=0.01)
    step = np.diff(passes.run, axis=0)
    lengthwise = (np.abs(step[:, 0]) > 10) & (step[:, 1] == 0)
    assert lengthwise.sum() == len(passes.y)
    exact = 6.5 + np.sqrt((254 + 6.35) ** 2 - passes.run[:, 1] ** 2) - 254 - 6.35
    assert passes.run[:, 2] == pytest.approx(exact, abs=1e-12)


def test_what_passes_leave_round_a_place_is_told_by_their_nearest_move_between_and_beside_them():
    part, ball = board(), cutter_of("ball-end", 12.7)
    passes = finishing_passes(part.outline, part.surface, ball, scallop=0.05)
    rng = np.random.default_rng(5)
    (x0, y0, x1, y1), reach = passes.over.bounds, 0.4
    places = rng.uniform([x0 - 9.0, y0 - 9.0], [x1 + 9.0, y1 + 9.0], (600, 2))

    # plain geometry: the foot of each place on every move, and the ball's height over the tip of the nearest
    start, run = passes.run[:-1], np.diff(passes.run, axis=0)
    share = ((places[:, None] - start[:, :2]) * run[:, :2]).sum(axis=2) / (run[:, :2] ** 2).sum(axis=1)
    foot = start + share.clip(0.0, 1.0)[:, :, None] * run
    off = np.hypot(*np.moveaxis(foot[:, :, :2] - places[:, None], 2, 0))
    near = off.min(axis=1)
    tip = np.where(off <= near[:, None] + 1e-9, foot[:, :, 2], np.inf).min(axis=1)
    expected = tip + ball.radius - np.sqrt(np.maximum(ball.radius**2 - (near + reach) ** 2, 0.0))
    found, within = passes.stands(places, part.surface, reach=reach), near + reach < ball.radius
    assert np.count_nonzero(near < passes.stepover / 2) > 200  # between passes
    assert np.count_nonzero(within & (near > passes.stepover)) > 20  # beside them
    np.testing.assert_allclose(found[within], expected[within], atol=1e-6)
    assert np.count_nonzero(~within) > 20
    assert np.isinf(found[~within]).all()


def test_surface_area_of_a_cylinder_in_closed_form():
    part = board(radius=(60.0, 60.0), nut_width=50.0, end_width=50.0)
    arc = 2 * 60.0 * np.arcsin(25.0 / 60.0)
    assert surface_area(part.outline, part.surface) == pytest.approx(arc * part.length, rel=1e-9)
    assert surface_area(BOARDS["flat"].outline, BOARDS["flat"].surface) == BOARDS["flat"].outline.area


@pytest.mark.parametrize("name", list(BOARDS))
def test_the_second_cut_ends_in_the_first_moves_and_steps_down_to_them(name):
    part, ball = BOARDS[name], cutter_of("ball-end", 12.7)
    first = finishing_passes(part.outline, part.surface, ball, scallop=0.01)
    runs = resurfacing_runs(first, proud=1.2, stepdown=0.5)
    assert np.array_equal(runs[-1], first.run)
    # what stands before each run, its ridges counted in, is at most a stepdown above it
    standing = 1.2
    for run in runs[:-1]:
        lift = float((run[:, 2] - part.surface.tip_height(ball, run[:, 0], run[:, 1])).max())
        assert standing - lift <= 0.5 + 1e-9
        standing = lift + 0.1
    assert standing <= 0.5 + 1e-9


def test_skim_lowers_the_whole_last_run():
    part, ball = BOARDS["compound"], cutter_of("ball-end", 12.7)
    first = finishing_passes(part.outline, part.surface, ball, scallop=0.01)
    last = resurfacing_runs(first, proud=0.4, stepdown=0.5, skim=0.05)[-1]
    assert last - first.run == pytest.approx(np.broadcast_to([0, 0, -0.05], first.run.shape), abs=1e-12)


@pytest.mark.parametrize("name", list(BOARDS))
def test_roughing_leaves_its_allowance(name):
    part, flat = BOARDS[name], cutter_of("flat-end", 6.0, stepdown=1.0)
    ball = cutter_of("ball-end", 12.7)
    runs = roughing_runs(part.outline, part.surface, flat, finish=ball, stock_top=8.0, allowance=0.4)
    points = np.concatenate(runs)
    floor = part.surface.tip_height(flat, points[:, 0], points[:, 1])
    assert (points[:, 2] - floor).min() >= 0.4 - 1e-9
    assert (points[:, 2] - floor).min() == pytest.approx(0.4, abs=1e-6)
    steps = np.unique(np.round([run[:, 2].min() for run in runs], 6))
    assert 8.0 - steps.max() <= 1.0 + 1e-9
    assert len(steps) == 1 or np.diff(steps).max() <= 1.0 + 1e-9


@pytest.mark.in_every_run(6)
@pytest.mark.parametrize("seed", range(40))
def test_roughing_clears_whatever_the_finish_sweeps_of_a_plate_with_a_step(seed):
    """The way from a pass to one far longer led through what roughing left: 1.6 mm at once was asked of a stepdown of
    1.23 on a plate with a step of 59 by 7 mm."""
    rng = np.random.default_rng(seed)
    length, width, step = rng.uniform((60, 30, 3), (160, 90, 12))
    corner = [(length * rng.uniform(0.3, 0.7), step), (length, step)]
    outline = shapely.Polygon([(0, 0), (corner[0][0], 0), *corner, (length, width), (0, width)])
    mill = cutter_of("flat-end", rng.choice([2.0, 3.0, 6.0, 12.0]))
    level = Surface(thickness=5.0, radius_nut=math.inf, radius_end=math.inf, length=100.0)
    finish = finishing_passes(outline, level, mill, scallop=0.01)
    floor = roughing_runs(outline, level, mill, finish=mill, stock_top=7.0, allowance=0.2, past=finish.past)[-1]
    left = swept(finish.run, mill).difference(swept(floor, mill))
    assert left.area < 0.01, shapely.get_coordinates(left)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("wide", [4.0, 6.0, 10.0, 12.0])
def test_roughing_clears_whatever_the_finish_sweeps_round_points_and_tails(wide):
    """Kept within the outline, where its rim was thought to be enough, a flat end of 6 mm left the tail of an arrow
    standing, 0.98 mm for a ball with a stepdown of 0.75 mm; through one of 12 mm the whole of it."""
    arrow = shapely.Polygon([(0, -2.6), (26.4, -2.6), (26.4, -9.2), (39.6, 0), (26.4, 9.2), (26.4, 2.6), (0, 2.6),
                             (4.6, 0)])
    level = Surface(thickness=5.5, radius_nut=math.inf, radius_end=math.inf, length=50.0)
    ball, mill = cutter_of("ball-end", 3.0), cutter_of("flat-end", wide)
    finish = finishing_passes(arrow, level, ball, scallop=0.01)
    floor = roughing_runs(arrow, level, mill, finish=ball, stock_top=6.57, allowance=0.1, past=finish.past)[-1]
    opened = shapely.LineString(finish.run[:, :2]).buffer(ball.half_width(6.57 - 5.5), quad_segs=64)
    assert opened.difference(swept(floor, mill)).area < 0.01


def swept(run, cutter):
    return shapely.LineString(run[:, :2]).buffer(cutter.radius, quad_segs=64)


@pytest.mark.parametrize("name", ["compound", "fanned"])
def test_roughing_that_leaves_nothing_cuts_no_chord_into_the_surface(name):
    """Straight moves cut 0.005 mm into what the finish was to leave, and the finished board was refused for it."""
    part, flat = BOARDS[name], cutter_of("flat-end", 6.0, stepdown=1.0)
    for run in roughing_runs(part.outline, part.surface, flat, finish=None, stock_top=8.0, allowance=0.0):
        between = run[:-1] + np.linspace(0.0, 1.0, 21)[:, None, None] * np.diff(run, axis=0)
        x, y, z = between.reshape(-1, 3).T
        assert (z - part.surface.tip_height(flat, x, y)).min() >= -3e-4


def test_finishing_needs_a_ball_and_a_sensible_limit():
    part = BOARDS["compound"]
    with pytest.raises(CutterError, match="cannot finish"):
        finishing_passes(part.outline, part.surface, cutter_of("flat-end", 6.0), scallop=0.01)
    with pytest.raises(CutterError, match="scallop"):
        finishing_passes(part.outline, part.surface, cutter_of("ball-end", 6.0), scallop=3.5)


@pytest.mark.parametrize("name", list(BOARDS))
@pytest.mark.parametrize("width", [0.6, 1.4])
def test_slots_lie_on_their_lines_at_their_depth(name, width):
    part, cutter = BOARDS[name], cutter_of("flat-end", 0.6, stepdown=0.4)
    cut = slots(part, width=width, depth=2.6)
    path = slotting(cut, surface=part.surface, cutter=cutter, rapids=Rapids(18.0, 9.0))
    moving = path.points[path.kinds != Move.RAPID]
    cutting = path.kinds[1:] == Move.CUT
    middle = ((path.points[1:] + path.points[:-1]) / 2)[cutting, :2]
    inside = middle[np.abs(middle[:, 1]) < 18.0]
    offset = shapely.distance(shapely.points(inside)[:, None], shapely.linestrings(cut.lines)).min(axis=1)
    assert offset.max() == pytest.approx((width - 0.6) / 2, abs=1e-9)
    # the deepest that the swept bottom reaches, at points on each line: lowest tip within a cutter's radius
    for line in cut.lines[[0, -1]]:
        for share in (0.0, 0.3, 0.5, 0.8, 1.0):
            point = line[0] + share * (line[1] - line[0])
            depth = part.surface.height(*point) - _swept_bottom(moving, point, 0.3)
            # a floor as wide as two passes is a stair across the slope of a strong cone
            assert depth == pytest.approx(2.6, abs=0.004 if width == 0.6 else 0.006)


def _swept_bottom(moving, point, radius):
    near = np.abs(moving[:-1, 0] - point[0]) < 20.0
    a, b = moving[:-1][near], moving[1:][near]
    share = np.linspace(0, 1, 200)[:, None, None]
    dense = a + share * (b - a)
    near = np.hypot(dense[..., 0] - point[0], dense[..., 1] - point[1]) <= radius
    return dense[..., 2][near].min()


def test_slots_that_stop_short_open_exactly_to_their_ends():
    part, cutter = BOARDS["compound"], cutter_of("flat-end", 0.6, stepdown=1.0)
    cut = slots(part, width=0.6, depth=2.6, short=3.0)
    path = slotting(cut, surface=part.surface, cutter=cutter, rapids=Rapids(18.0, 9.0))
    first = path.points[(path.kinds != Move.RAPID) & (np.abs(path.points[:, 0] - part.frets.distance[0]) < 1)]
    edge = part.edges.half_width(part.frets.distance[0])
    assert np.abs(first[:, 1]).max() + 0.3 == pytest.approx(edge - 3.0, abs=1e-9)


def test_what_cannot_cut_a_slot():
    part = BOARDS["compound"]
    cut = slots(part, width=0.6, depth=2.6)
    for cutter, words in ((cutter_of("ball-end", 0.5), "cannot cut slots"), (cutter_of("flat-end", 0.7), "wider"),
                          (cutter_of("flat-end", 0.5, flute_length=2.0), "flute")):
        with pytest.raises(CutterError, match=words):
            slotting(cut, surface=part.surface, cutter=cutter, rapids=Rapids(18.0, 9.0))


@example(diameter=1.0, stepdown=0.75, count=0, through=0.0, finish=0.1)
@settings(max_examples=15, deadline=None)
@given(diameter=st.floats(1.0, 8.0), stepdown=st.floats(0.6, 4.0), count=st.integers(0, 7), through=st.floats(0, 1),
       finish=st.sampled_from([0.0, 0.1, 0.2]))
def test_outline_goes_round_at_its_distance_and_leaves_the_tabs(diameter, stepdown, count, through, finish):
    part, cutter = BOARDS["compound"], cutter_of("flat-end", diameter, stepdown=stepdown)
    tabs = tab_points(part.outline, count, avoid=part.frets.bass, width=6.0, cutter=cutter, where="tabs")
    path = outlining(part.outline, cutter=cutter, top=8.0, bottom=-through, tabs=Tabs(tabs, 1.5, 6.0),
                     finish=finish, rapids=Rapids(18.0, 9.0))
    # no more is left to the last lap than a tenth of the cutter, and nine tenths of a layer for each millimetre
    finish = min(finish, 0.1 * diameter, 0.9 * diameter * stepdown / (8.0 + through))
    moving = path.points[path.kinds != Move.RAPID]
    gap = shapely.distance(shapely.points(moving[:, :2]), part.outline)
    assert gap.min() >= cutter.radius - 1e-9
    ring = cutting_line(part.outline, cutter)
    # layers stay `finish` off the wall, measured in corners that are mitred like the outline's
    assert shapely.distance(shapely.points(moving[:, :2]), ring).max() < 1.5 * finish + 1e-9
    if finish:
        at_wall = np.flatnonzero(shapely.distance(shapely.points(moving[:, :2]), ring) < 1e-7)
        assert not (gap[: at_wall[0] - 5] < cutter.radius + finish - 1e-9).any()
        lap = shapely.linestrings(moving[at_wall[0] : at_wall[-1] + 1, :2])
        assert ring.length <= lap.length < ring.length + 5 * finish  # once round, and at full depth but for the tabs
    # nothing goes straight down into wood: tabs have ends that slope
    down = (moving[1:, 2] < moving[:-1, 2] - 1e-9) & (np.hypot(*(moving[1:] - moving[:-1])[:, :2].T) < 1e-9)
    assert not down.any()
    assert not ring.is_ccw
    assert moving[:, 2].min() == pytest.approx(-through, abs=1e-9)
    # over each tab the tip stays up; the wood left is as wide as asked
    middle = np.linspace(0, 1, 20)[:, None, None]
    dense = (moving[:-1] + middle * np.diff(moving, axis=0)).reshape(-1, 3)
    there = shapely.line_locate_point(ring, shapely.points(dense[:, :2])) if len(tabs) else None
    for tab in tabs:
        along = shapely.line_locate_point(ring, shapely.Point(tab))
        near = np.abs(there - along) < 3.0 + cutter.radius - 1e-6
        assert dense[near, 2].min() >= 1.5 - 1e-9
    # sinking never outruns the plunge feed
    drop = -np.diff(path.points[:, 2])
    sinks = (drop > 1e-9) & (path.kinds[1:] == Move.CUT)
    feeds = path.feeds(cutter, rapid=0.0)[1:]
    assert (drop[sinks] * feeds[sinks] <= cutter.plunge * 1.001 * path.lengths[1:][sinks]).all()


def test_a_tab_is_whole_wherever_the_layers_end():
    outline, cutter = shapely.Point(60.0, 0.0).buffer(20.0, quad_segs=16), cutter_of("flat-end", 2.0, stepdown=0.71)
    ring, low = cutting_line(outline, cutter, aside=0.2), np.inf
    end = 0.71 / cutter.ramp_slope  # where the ramp of each layer ends, along the ring
    for past in np.arange(-5.0, 6.0, 0.5):
        tab = shapely.get_coordinates(shapely.line_interpolate_point(ring, [(end + past) % ring.length]))
        path = outlining(outline, cutter=cutter, top=6.9, bottom=-0.2, tabs=Tabs(tab, 1.5, 6.0),
                         finish=0.2, rapids=Rapids(18.0, 9.0))
        step = np.diff(path.points, axis=0)
        dense = (path.points[:-1] + np.linspace(0, 1, 60)[:, None, None] * step).reshape(-1, 3)
        low = min(low, dense[np.hypot(*(dense[:, :2] - tab).T) < 3.9, 2].min())
        straight = (step[:, 2] < -1e-9) & (np.hypot(*step[:, :2].T) < 1e-9)
        assert not (straight & (path.points[1:, 2] < 6.9 - 1e-9)).any()
    assert low == pytest.approx(1.5, abs=0.002)


def test_tabs_keep_clear_of_the_slots():
    part = BOARDS["compound"]
    ends = np.concatenate([part.frets.bass, part.frets.treble])
    tabs = tab_points(part.outline, 6, avoid=ends, width=6.0, cutter=cutter_of("flat-end", 3.0), where="tabs")
    assert len(tabs) == 6
    assert np.abs(tabs[:, :1] - part.frets.distance).min() >= 4.5 - 1e-9


@pytest.mark.parametrize(("side", "diameter", "holds"), [(5.1, 3.0, True), (4.9, 3.0, False), (7.9, 6.0, False)])
def test_tabs_that_would_end_in_air_are_refused(side, diameter, holds):
    part, cutter = BOARDS["compound"], cutter_of("flat-end", diameter)
    tabs = tab_points(part.outline, 4, avoid=part.frets.bass, width=6.0, cutter=cutter, where="tabs")
    x, y = tabs[np.argmax(np.abs(tabs[:, 1]))]
    half = float(part.edges.half_width(x + 3.0)) + side  # the tab's wide end, 3 mm on
    blank = (-20.0, -half, part.length + 20.0, half)
    if holds:
        check_tabs_hold(Tabs(tabs, 1.5, 6.0), part.outline, blank=blank, cutter=cutter, where="tabs")
        return
    with pytest.raises(PathgenError, match=f"{abs(y):.4g}.* across.*{diameter + 2:g} mm or more of blank.*wider"):
        check_tabs_hold(Tabs(tabs, 1.5, 6.0), part.outline, blank=blank, cutter=cutter, where="tabs")


@pytest.mark.parametrize(("radii", "limit"), [
    ((38.0, 60.0), 0.02), ((30.0, 120.0), 0.02), ((38.0, 400.0), 0.05), ((254.0, 254.0), 0.02)
])
def test_ridges_on_a_tight_cone_are_within_the_limit_by_the_formula_too(radii, limit):
    """Circles of the ball's radius, all touching the board's, cross at that height (plane geometry)."""
    top = Surface(thickness=12.0, radius_nut=radii[0], radius_end=radii[1], length=370.0)
    outline = shapely.Polygon([(0, -22), (370, -25), (370, 25), (0, 22)])
    passes = finishing_passes(outline, top, cutter_of("ball-end", 6.0), scallop=limit)
    assert passes.scallop <= limit
    for x in np.linspace(1.0, 369.0, 9):
        radius = float(top.radius(x))
        on = passes.y[np.abs(passes.y) < 22.0 + 3.0 * x / 370.0]
        half = np.diff(np.arcsin(on / (radius + 3.0))) / 2
        height = (radius + 3.0) * np.cos(half) - np.sqrt(9.0 - ((radius + 3.0) * np.sin(half)) ** 2) - radius
        assert height.max() <= limit


def test_ridge_between_given_passes_matches_the_formula():
    part, ball = BOARDS["cylinder"], cutter_of("ball-end", 12.7)
    passes = finishing_passes(part.outline, part.surface, ball, scallop=0.02)
    angle = np.diff(np.arcsin(passes.y / (254.0 + 6.35)))
    assert float(scallop_height(254.0 * angle, 6.35, 254.0).max()) == pytest.approx(passes.scallop, rel=1e-9)


@pytest.mark.parametrize("name", list(BOARDS))
def test_the_first_cut_goes_as_far_out_as_finer_passes_that_follow(name):
    part, ball = BOARDS[name], cutter_of("ball-end", 8.0)
    first = finishing_passes(part.outline, part.surface, ball, scallop=0.1)
    last = finishing_passes(part.outline, part.surface, ball, scallop=0.03)
    runs = resurfacing_runs(first, proud=7.0, stepdown=3.0, waste="raw", later=last)
    ends = shapely.points(last.rim)
    over = [run[:, 2] - part.surface.tip_height(ball, run[:, 0], run[:, 1]) for run in runs]
    heights = sorted({round(float(h.mean()), 6) for h in over})
    assert heights[0] == 0.0
    assert len(heights) >= 3
    for height in heights:  # every layer, and the surface itself
        ways = [run[:, :2] for run, h in zip(runs, over, strict=True) if abs(h.mean() - height) < 1e-6]
        assert shapely.distance(shapely.MultiLineString(ways).convex_hull, ends).max() < 0.01


STEPPED = board(end=EndTable(steps=((0.0, 7.7), (12.0, 15.0))))


@pytest.mark.parametrize("part", [*BOARDS.values(), STEPPED], ids=[*BOARDS, "stepped"])
def test_between_walls_of_waste_the_second_cut_over_a_fill_goes_no_further_out_either(part):
    """A fill that reaches the tapered edges, and one over the stepped end."""
    ball = cutter_of("ball-end", 6.35)
    first = finishing_passes(part.outline, part.surface, ball, scallop=0.02)
    gone = first.over.buffer(1e-3)
    x1 = part.outline.bounds[2]
    for fill in (shapely.box(150.0, -40.0, 190.0, 10.0), shapely.box(x1 - 30.0, -15.0, x1 + 9.0, 15.0)):
        runs = resurfacing_runs_over(fill, first, proud=0.6, stepdown=0.5, beneath=None, waste="wall")
        assert all(gone.covers(shapely.LineString(run[:, :2])) for run in runs)
        heights = {round(float(run[0, 2] - part.surface.tip_height(ball, *run[:1, :2].T)[0]), 3) for run in runs}
        layers = [shapely.MultiLineString([run[:, :2] for run in runs if abs(
            run[0, 2] - part.surface.tip_height(ball, *run[:1, :2].T)[0] - height) < 2e-3]) for height in heights]
        # every layer comes as near to all of the fill as its own wide passes are apart
        places = shapely.points(shapely.get_coordinates(shapely.segmentize(shapely.LineString(first.run[:, :2]), 2.0)))
        inner = places[shapely.covers(fill, places)]
        wide = np.diff(coarse_passes(first, 0.5).y).max()
        assert len(inner)
        assert all(shapely.distance(layer, inner).max() <= wide / 2 + 1e-6 for layer in layers)


@pytest.mark.parametrize(("kind", "way"), [(Hollow, -1.0), (Surface, 1.0)])
def test_ridges_of_wide_passes_stand_a_fifth_of_a_stepdown_high_on_a_steep_flank_too(kind, way):
    """They were a fifth of it square to the surface: straight up a quarter, and the next layer was cut too deep.

    Circles of 3 mm side by side in, or on, one of 44 mm (plane geometry): what all of them leave, straight up.
    """
    top = kind(thickness=30.0, radius_nut=44.0, radius_end=44.0, length=60.0)
    ball = cutter_of("ball-end", 3.0)
    first = finishing_passes(shapely.box(0.0, -30.0, 60.0, 30.0), top, ball, scallop=0.02)
    axis, y = coarse_passes(first, 2.0).y, np.arange(-30.0, 30.0, 2e-3)
    axis = axis[np.argsort(np.abs(y[:, None] - axis), axis=1)[:, :4]]
    centre = way * np.sqrt((44.0 + way * 1.5) ** 2 - axis**2)
    with np.errstate(invalid="ignore"):
        left = np.nanmin(centre - np.sqrt(1.5**2 - (y[:, None] - axis) ** 2), axis=1)
    over = left - way * np.sqrt(44.0**2 - y**2)
    assert over.min() == pytest.approx(0.0, abs=1e-4)
    for part in (np.abs(y) < 8.0, np.abs(y) > 22.0):
        assert 0.37 < over[part].max() < 0.2 * 2.0 + 2e-3


def test_the_second_cut_over_a_fill_does_not_rise_where_the_first_came_down():
    """A flat end comes down on a ramp along the first of its passes, which the fill lies on."""
    level = Surface(thickness=6.0, radius_nut=math.inf, radius_end=math.inf, length=100.0)
    first = finishing_passes(shapely.box(0, -20, 100, 20), level, cutter_of("flat-end", 6.0), scallop=0.02, entry=2.0)
    assert first.run[:, 2].max() == pytest.approx(8.0)
    *_, last = resurfacing_runs_over(shapely.box(2, -19, 9, 19), first, proud=1.0, stepdown=0.5, beneath=None)
    assert last[:, 2] == pytest.approx(np.full(len(last), 6.0), abs=1e-9)


def test_what_lies_apart_is_cut_again_along_the_board_in_one_layer_and_back_in_the_next():
    """Over three drawings every layer began with the furthest, and went to the nearest and the middle one."""
    level = Surface(thickness=6.0, radius_nut=math.inf, radius_end=math.inf, length=100.0)
    first = finishing_passes(shapely.box(0, -20, 100, 20), level, cutter_of("ball-end", 6.0), scallop=0.02)
    fills = shapely.MultiPolygon([shapely.Point(x, y).buffer(4.0) for x, y in ((80.0, 5.0), (15.0, 0.0), (45.0, -5.0))])
    runs = resurfacing_runs_over(fills, first, proud=1.0, stepdown=0.5, beneath=None)
    assert len(runs) == 9
    at = np.array([run[:, 0].mean() for run in runs]).reshape(3, 3)
    assert at == pytest.approx(np.array([[15.0, 45.0, 80.0], [80.0, 45.0, 15.0], [15.0, 45.0, 80.0]]), abs=1.0)
    assert all(np.diff([run[:, 2].mean() for run in runs]) < 1e-2)


@pytest.mark.parametrize("plunges", [True, False])
def test_a_flat_end_comes_down_beside_the_fill_and_by_a_ramp_where_it_does_not_cut_at_its_centre(plunges):
    level = Surface(thickness=6.0, radius_nut=math.inf, radius_end=math.inf, length=100.0)
    cutter = replace(cutter_of("flat-end", 6.0), plunges=plunges)
    first = finishing_passes(shapely.box(0, -20, 100, 20), level, cutter, scallop=0.02, entry=2.0)
    fill = shapely.Point(50.0, 0.0).buffer(9.0)
    path = cutting_again_over(fill, first, proud=1.0, stepdown=0.5, beneath=0.0, rapids=Rapids(20.0, 8.0))
    step = np.diff(path.points, axis=0, prepend=path.points[:1])
    straight = (path.points[:, 2] < 8.0 - 1e-6) & (step[:, 2] < -1e-6) & (np.hypot(*step[:, :2].T) < 1e-6)
    straight &= path.kinds != Move.RAPID
    assert straight.any() == plunges
    assert path.points[:, 2].min() == pytest.approx(6.1)
    assert shapely.distance(fill, shapely.points(path.points[straight, :2])).min(initial=9.0) > 2.99


def test_from_pass_to_pass_the_second_cut_does_not_go_through_the_crest_at_a_bend():
    """Where a steep relief ends, the straight way down to the next pass took 3 um off the ridges beside it."""
    top = Lowered(thickness=6.0, radius_nut=213.0, radius_end=213.0, length=100.0,
                  relief=Relief(depth=0.35, deepest=30.0, end=55.0))
    ball, clear = cutter_of("ball-end", 8.0), 0.07
    for start, end in ((57.83, 54.67), (52.0, 55.4)):
        a, b = (np.array([x, y, float(top.tip_height(ball, x, y))]) for x, y in ((start, 12.8), (end, 13.8)))
        way = np.vstack([_link(a, b, top, ball, clear), b])
        x = np.linspace(start, end, 501)
        z = np.interp(x, way[:, 0], way[:, 2]) if end > start else np.interp(-x, -way[:, 0], way[:, 2])
        share = (x - start) / (end - start)
        over = z - top.tip_height(ball, x, 12.8 + share)
        assert (over - clear * np.minimum(1.0, 2.0 * (1.0 - share))).min() > -2e-3


def test_a_way_round_a_stepped_corner_that_runs_on_the_edge_itself_is_found():
    """Its ends lie on the edge but for rounding."""
    ball = cutter_of("ball-end", 3.0)
    first = finishing_passes(STEPPED.outline, STEPPED.surface, ball, scallop=0.02)
    x1 = STEPPED.outline.bounds[2]
    runs = resurfacing_runs_over(shapely.box(x1 - 30.0, -40.0, x1 + 9.0, 40.0), first, proud=1.2, stepdown=1.0,
                                 beneath=None, waste="wall")
    gone = first.over.buffer(1e-3)
    assert all(gone.covers(shapely.LineString(run[:, :2])) for run in runs)


@pytest.mark.parametrize("bay", [(0.0, 1.0), (-1.5, 1.6), (-1.9, 2.2), (2.6, 9.0)])
def test_between_walls_of_waste_ways_go_round_a_bay_of_the_boards_end(bay):
    """A bay between two wide passes: straight on, and round any corner between them, a way would leave the board."""
    middle, radius = bay
    outline = shapely.box(0, -25, 120, 25).difference(shapely.Point(0.0, middle).buffer(radius, 32))
    round_ = Surface(thickness=6.5, radius_nut=254.0, radius_end=254.0, length=120.0)
    first = finishing_passes(outline, round_, cutter_of("ball-end", 6.0), scallop=0.02)
    gone = first.over.buffer(1e-3)
    for runs in (resurfacing_runs(first, proud=2.0, stepdown=1.0, waste="wall"),
                 resurfacing_runs_over(outline, first, proud=2.0, stepdown=1.0, beneath=None, waste="wall")):
        assert all(gone.covers(shapely.LineString(run[:, :2])) for run in runs)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("part", [*BOARDS.values(), STEPPED], ids=[*BOARDS, "stepped"])
def test_between_walls_of_waste_the_second_cut_goes_no_further_out_than_the_first(part):
    ball = cutter_of("ball-end", 12.7)
    first = finishing_passes(part.outline, part.surface, ball, scallop=0.01)
    runs = resurfacing_runs(first, proud=1.2, stepdown=0.5, waste="wall")
    gone = shapely.Polygon(first.rim).buffer(1e-3)
    assert all(gone.covers(shapely.LineString(run[:, :2])) for run in runs)
    # and a layer is as near to every place: the ridges between its ways are as low as those of wide passes alone
    wide = coarse_passes(first, 0.5)
    ways = shapely.MultiLineString([run[:, :2] for run in runs[:-1]])
    places = shapely.points(shapely.get_coordinates(shapely.segmentize(shapely.LineString(first.run[:, :2]), 1.0)))
    assert shapely.distance(ways, places).max() <= np.diff(wide.y).max() / 2 + 1e-6


@pytest.mark.parametrize(("drop", "most"), [(0.2, 3), (4.0, 17)])
def test_passes_over_a_bend_have_no_points_that_make_no_difference(drop, most):
    """Seventeen points 15 um apart stood round each bend of a board with relief: 2,600 lines a second."""
    top = Lowered(thickness=6.5, radius_nut=300.0, radius_end=300.0, length=480.0,
                  fall_away=FallAway(start=200.0, end=300.0, drop=drop))
    ball = cutter_of("ball-end", 6.0)
    run = followed(np.array([[100.0, 5.0], [290.0, 5.0], [290.0, 5.5], [100.0, 5.5]]), top, ball, 2e-4)
    near = run[(np.abs(run[:, 0] - 200.0) < 1.0) & (run[:, 1] == 5.0)]
    assert 1 <= len(near) <= most
    x = np.linspace(199.0, 201.0, 2001)
    first = run[run[:, 1] == 5.0]
    off = np.interp(x, first[:, 0], first[:, 2]) - top.tip_height(ball, x, np.full_like(x, 5.0))
    assert np.abs(off).max() < 3e-4


@pytest.mark.parametrize(("cutter", "words"), [
    (cutter_of("flat-end", 3.0), "a flat-end cutter does not engrave"),
    (cutter_of("v", 3.0, angle=60.0, stepdown=0.1), "engraves 0.2 mm deep at once .*its stepdown, 0.1 mm"),
])
def test_what_cannot_engrave(cutter, words):
    line = Engraving(strokes=(np.array([[0.0, 0.0], [9.0, 0.0]]),), depth=0.2)
    with pytest.raises(CutterError, match=words):
        engraving(line, cutter=cutter, top=6.0, rapids=Rapids(15.0, 7.0))


@pytest.mark.parametrize(("cutter", "words"), [
    (cutter_of("flat-end", 3.0), "cannot cut a bevel"), (cutter_of("v", 0.8, angle=60.0), "opens 0.8 mm and the bev"),
    (cutter_of("v", 8.0, angle=170.0), "170 degrees is too blunt"),
])
def test_what_cannot_cut_a_bevel(cutter, words):
    part = BOARDS["compound"]
    with pytest.raises(CutterError, match=words):
        bevelling(slots(part, width=0.6, depth=2.6, bevel=0.2), surface=part.surface, cutter=cutter,
                  rapids=Rapids(15.0, 7.0))


def test_a_board_hardly_wider_than_it_is_round_is_followed_in_few_moves():
    """Its ball's path bends to the radius and the ball's: no move across it cuts into the surface or leaves it."""
    surface, ball = Surface(thickness=24.0, radius_nut=30.0, radius_end=30.0, length=100.0), cutter_of("ball-end", 12.7)
    way = _along(np.array([50.0, -26.0]), np.array([50.0, 26.0]), surface, ball.radius, 1e-3)
    assert len(way) < 2000
    z = surface.tip_height(ball, *way.T)
    middle = surface.tip_height(ball, *((way[1:] + way[:-1]) / 2).T)
    assert np.abs(middle - (z[1:] + z[:-1]) / 2).max() < 1e-3


def test_passes_beyond_the_apex_of_a_cone_are_refused():
    surface = Surface(thickness=5.0, radius_nut=40.0, radius_end=300.0, length=30.0)
    with pytest.raises(PathgenError, match="does not meet the surface"):
        roughing_runs(shapely.box(0, -15, 30, 15), surface, cutter_of("flat-end", 6.0),
                      finish=cutter_of("ball-end", 12.0), stock_top=7.0, allowance=0.4)


def test_roughing_with_a_flat_end_that_cannot_plunge_goes_down_to_its_next_pass_by_ramps():
    """On flanks of a circle of 60 mm its ways from pass to pass fell by up to 20 degrees; what stays is the same."""
    top, left = Surface(thickness=9.0, radius_nut=60.0, radius_end=60.0, length=40.0), []
    for plunges in (True, False):
        flat = cutter_of("flat-end", 6.0, stepdown=3.0, plunges=plunges)
        runs = roughing_runs(shapely.box(0, -25, 40, 25), top, flat, finish=None, stock_top=12.0, allowance=0.4)
        step = np.concatenate([np.diff(run, axis=0) for run in runs])
        falls = np.degrees(np.arctan2(-step[:, 2], np.hypot(step[:, 0], step[:, 1]))).max()
        assert falls > 19.0 if plunges else falls < 5.5
        block = Block((0.0, -25.0, 40.0, 25.0), 0.25, 12.0)
        block.run(((a, b, False, 1.0) for run in runs for a, b in pairwise(run.tolist())), 3.0)
        left.append(block.top[:, (block.xs > 4.5) & (block.xs < 35.5)])  # near their ends ways across lower its stairs
    assert np.abs(left[1] - left[0]).max() < 1e-6


def test_a_v_that_cannot_plunge_goes_into_a_stroke_to_and_fro():
    line = Engraving(strokes=(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0]]),), depth=0.3)
    blind = cutter_of("v", 6.0, angle=60.0, stepdown=1.0, plunges=False)
    path = engraving(line, cutter=blind, top=6.0, rapids=Rapids(15.0, 7.0))
    cut = path.points[path.kinds == Move.CUT]
    begins = path.points[path.kinds == Move.PLUNGE]
    assert begins[0, 2] == 6.0  # in air
    way = np.vstack([begins[:1], cut])
    run, sunk = np.hypot(*np.diff(way[:, :2], axis=0).T), -np.diff(way[:, 2])
    assert (sunk <= np.tan(np.radians(5.0)) * run + 1e-9).all()
    np.testing.assert_allclose(way[-3:], [[0.0, 0.0, 5.7], [2.0, 0.0, 5.7], [2.0, 1.0, 5.7]])
    dot = Engraving(strokes=(np.array([[0.0, 0.0], [0.0, 0.0]]),), depth=0.3)
    with pytest.raises(CutterError, match="no room for a ramp"):
        engraving(dot, cutter=blind, top=6.0, rapids=Rapids(15.0, 7.0))


def test_round_an_outline_and_over_tabs_there_are_no_corners_but_its_own():
    """Edges in many pieces gave each layer as many, and each tab each height of a ramp: 15,800 moves of 0.04 mm round a
    drawing of 340 corners, too many to be simulated."""
    drawn = shapely.Polygon([(0, 0), (60, 0), (70, 25), (30, 40), (-10, 25)])
    pieces, mill = drawn.segmentize(0.1), cutter_of("flat-end", 3.0, stepdown=1.0)
    at = tab_points(pieces, 4, avoid=np.empty((0, 2)), width=6.0, cutter=mill, where="tabs")
    path = outlining(pieces, cutter=mill, top=8.0, bottom=0.0, tabs=Tabs(at, 1.5, 6.0), finish=0.2,
                     rapids=Rapids(12.0, 9.0))
    steps = np.linalg.norm(np.diff(path.points, axis=0), axis=1)
    assert len(steps) < 9 * (10 + 4 * 4)  # of a lap, cut off past corners, and of its tabs
    assert np.sort(steps)[3] > 0.05
