"""The load of pockets' paths by a brute-force simulation at 0.02 mm, and which stretches are eased."""

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely import Point, Polygon, box
from shapely.affinity import rotate

from pathgen.base.cutters import LOAD_FACTOR, Cutter
from pathgen.base.errors import CutterError
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move, Rapids
from pathgen.strategies.cutting_out import outlining
from pathgen.strategies.easing import Standing, _front, _lowered_at, _smooth, eased
from pathgen.strategies.pocketing import PocketOptions, pocket
from pathgen.strategies.resurfacing import LINK, _link, _run_over
from pathgen.strategies.roughing import roughing
from pathgen.strategies.tabs import Tabs
from tests.brute import Block, moves_along

BOARD = Surface(thickness=6.5, radius_nut=254.0, radius_end=355.6, length=448.0)
SMALL = Cutter(name="flat 1", shape="flat-end", diameter=1.0, speed=18000, feed=600.0, plunge=150.0, stepdown=0.5)
LARGE = Cutter(name="flat 2", shape="flat-end", diameter=2.0, speed=18000, feed=900.0, plunge=250.0, stepdown=1.0)


def star(points: int) -> Polygon:
    turn = np.arange(2 * points) * math.pi / points
    reach = np.where(np.arange(2 * points) % 2, 2.0, 5.0)
    return Polygon(np.column_stack([100 + reach * np.cos(turn), 8 + reach * np.sin(turn)]))


POCKETS = {
    "square": box(95, 3, 105, 12),
    "round": Point(100, 8).buffer(5.0),
    "narrow": box(95, 7, 105, 8.3),
    "star": star(5),
    "bent": Polygon([(95, 3), (105, 3), (105, 5.4), (97.4, 5.4), (97.4, 12), (95, 12)]),
    "with an island": box(95, 3, 105, 13) - box(98, 6, 102, 9),
}


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("region", POCKETS.values(), ids=POCKETS)
def test_no_tooth_takes_more_than_it_should_and_nothing_is_eased_that_need_not_be(region):
    x0, y0, x1, y1 = region.bounds
    block = Block((x0 - 1, y0 - 1, x1 + 1, y1 + 1), 0.02, BOARD.height)
    for cut in pocket(region, surface=BOARD, cutters=[LARGE, SMALL], depth=1.0, safe_z=20.0):
        cutter = cut.cutter
        if not len(cut.toolpath):
            continue
        loads = block.run(moves_along(cut.toolpath, cutter), cutter.radius)
        # volume for each mm times stepover times stepdown: arithmetic
        straight = cutter.stepover * cutter.diameter * cutter.stepdown
        share = loads.per_tooth(over=cutter.radius) / (straight * cutter.feed)
        assert share[~loads.straight_down].max() <= LOAD_FACTOR
        # and each move at full feed by itself, but for those a grid of 0.02 mm cannot measure
        alone = (loads.feed == cutter.feed) & ~loads.straight_down & (loads.length > 0.05)
        assert (loads.volume / loads.length)[alone].max(initial=0.0) <= LOAD_FACTOR * straight
        eased = (np.abs(loads.feed - cutter.eased_feed) < 1e-6) & (loads.end[:, 2] > loads.start[:, 2] - 0.01)
        needless = eased & (share * cutter.feed / cutter.eased_feed < 1.0)
        # a gap no longer than the cutter is closed, so that the feed does not flutter
        assert loads.length[needless].sum() <= 0.25 * loads.length[eased].sum() + 3 * cutter.diameter


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("diameter", "stepover", "stepdown", "plunge", "region"), [
    # a ramp down which the plunge feed is no slower than the eased one: it took 1.6 times what it should
    (4.0, 0.3, 0.5, 400.0, POCKETS["bent"].buffer(1.5)),
    # what is cut beside an earlier cut was as wide as a cell, and twice of it in a corner was not seen: 1.8 times
    (4.0, 0.1, 0.4, 400.0, POCKETS["square"].buffer(1.5)), (2.0, 0.15, 0.5, 250.0, POCKETS["bent"]),
], ids=["ramp", "corner", "bends"])
def test_nor_with_a_small_stepover_and_a_quick_plunge(diameter, stepover, stepdown, plunge, region):
    cutter = replace(LARGE, diameter=diameter, stepover=stepover, stepdown=stepdown, plunge=plunge)
    x0, y0, x1, y1 = region.bounds
    block = Block((x0 - 1, y0 - 1, x1 + 1, y1 + 1), 0.02, BOARD.height)
    cut, = pocket(region, surface=BOARD, cutters=[cutter], depth=1.0, safe_z=20.0)
    taken = block.run(moves_along(cut.toolpath, cutter), cutter.radius).each_minute(over=cutter.radius)
    assert taken.max() <= LOAD_FACTOR * stepover * diameter * stepdown * cutter.feed


def test_nor_where_low_ridges_are_much_beside_what_it_takes_in_a_straight_line():
    """Ridges of 0.05 mm, a twentieth of the stepdown, are as much over its width as two and a half straight-line cuts:
    stretches that took so much were not eased."""
    cutter, region = replace(LARGE, stepover=0.02, ramp=0.5), box(95, 3, 98, 11)
    block = Block((94, 2, 99, 12), 0.02, lambda x, y: BOARD.height(x, y) + 0.05)
    cut, = pocket(region, surface=BOARD, cutters=[cutter], depth=0.3, safe_z=20.0, options=PocketOptions(ridges=0.05))
    loads = block.run(moves_along(cut.toolpath, cutter), cutter.radius)
    quick = ~loads.straight_down & (loads.feed > cutter.eased_feed + 1e-6) & (loads.length > 0.1)
    assert (loads.volume / loads.length)[quick].max() <= LOAD_FACTOR * cutter.straight_cut


def test_rows_that_take_no_more_than_a_straight_line_cut_are_not_eased():
    """Rows 2.7 mm apart on cells of 0.6 mm took four of them and five by turns: every second row was eased."""
    cutter = replace(LARGE, diameter=6.0, stepdown=2.4)
    level = Surface(thickness=5.0, radius_nut=math.inf, radius_end=math.inf, length=60.0)
    path = roughing(box(0, -17.2, 60, 17.2), level, cutter, finish=None, stock_top=7.4, allowance=0.0,
                    rapids=Rapids(20.0, 9.0))
    rows = path.lengths > 20.0
    slow = path.points[rows & (path.kinds == Move.EASED), 1]
    assert np.unique(slow).tolist() == [-16.0]  # the first alone goes through wood over its whole width
    assert len(np.unique(path.points[rows, 1])) == 13


@pytest.mark.parametrize(("ramp", "plunge"), [(10.0, 1200.0), (20.0, 600.0), (45.0, 400.0)])
def test_nor_down_the_ramps_round_an_outline_however_steep_ramps_may_be(ramp, plunge):
    """The plunge feed is hardly slower than the eased one, 729 mm a minute: 1.8 to 2.1 times what it should."""
    cutter = replace(LARGE, diameter=3.0, stepdown=0.45, feed=1200.0, plunge=plunge, ramp=ramp)
    path = outlining(box(0, 0, 20, 14), cutter=cutter, top=2.0, bottom=0.0, finish=0.0, rapids=Rapids(18.0, 9.0),
                     tabs=Tabs(np.empty((0, 2)), 0.5, 6.0))
    block = Block((-5, -5, 25, 19), 0.1, 2.0)
    taken = block.run(moves_along(path, cutter), cutter.radius).moving_sideways().each_minute(over=cutter.diameter)
    assert taken.max() <= LOAD_FACTOR * cutter.straight_cut * cutter.feed


BALL = Cutter(name="ball 2", shape="ball-end", diameter=2.0, speed=18000, feed=900.0, plunge=250.0, stepdown=0.8)


@pytest.mark.parametrize("cutter", [LARGE, BALL], ids=lambda cutter: cutter.name)
@pytest.mark.parametrize("beside", [1.0, 0.5], ids=["alone", "with a narrow one"])
def test_what_is_taken_adds_up_to_what_brute_force_finds(cutter, beside):
    region = POCKETS["bent"]
    x0, y0, x1, y1 = region.bounds
    path = pocket(region, surface=BOARD, cutters=[cutter], depth=1.0, safe_z=20.0)[0].toolpath
    # on a grid finer by as much as another cutter is narrower: the walls lie along the edges of cells
    standing = Standing.over(region.bounds, [cutter, replace(cutter, diameter=2.0 * beside)], BOARD)
    before = standing.top.sum(dtype=float)
    eased(path, cutter, standing)
    taken = (before - standing.top.sum(dtype=float)) * standing.cell**2
    block = Block((x0 - 1, y0 - 1, x1 + 1, y1 + 1), 0.02, BOARD.height)
    loads = block.run(moves_along(path, cutter), cutter.radius, ball=not cutter.is_flat)
    assert taken == pytest.approx(loads.volume.sum(), rel=0.02)


def test_samples_of_a_wide_end_grow_with_its_width_not_with_its_area():
    few, many = (_front(BALL, BALL.diameter / across)[0].shape[1] for across in (10, 40))
    assert few < 50
    assert many < 4.0 * few


def test_a_straight_cut_and_a_full_slot():
    # stepover x stepdown; a full slot is diameter / stepover times it, 2.22 at 0.45 (arithmetic)
    assert SMALL.straight_cut == pytest.approx(0.45 * 0.5, rel=2e-3)
    assert SMALL.full_cut / SMALL.straight_cut == pytest.approx(2.2222, rel=2e-3)
    ball = Cutter(name="ball", shape="ball-end", diameter=4.0, speed=18000, feed=900.0, plunge=250.0, stepdown=1.0)
    # a segment of 1 mm height in a circle of radius 2: r^2 acos((r - h) / r) - (r - h) sqrt(2 r h - h^2)
    assert ball.full_cut == pytest.approx(4 * math.acos(0.5) - math.sqrt(3.0), rel=1e-3)
    assert SMALL.eased_feed * SMALL.full_cut < LOAD_FACTOR * SMALL.feed * SMALL.straight_cut


@pytest.mark.parametrize("region", POCKETS.values(), ids=POCKETS)
def test_ways_into_wood_are_ramps_of_five_degrees_or_helixes(region):
    cut, *_ = pocket(region, surface=BOARD, cutters=[replace(LARGE, diameter=1.0)], depth=1.0, safe_z=20.0)
    x0, y0, x1, y1 = region.bounds
    block = Block((x0 - 1, y0 - 1, x1 + 1, y1 + 1), 0.02, BOARD.height)
    loads = block.run(moves_along(cut.toolpath, cut.cutter), 0.5)
    # straight down meets nothing but what it may graze of a wall beside it
    assert loads.deepest[loads.straight_down & (loads.end[:, 2] < loads.start[:, 2])].max() < 0.02
    run = np.hypot(*(loads.end - loads.start)[:, :2].T)
    sinks = (loads.end[:, 2] < loads.start[:, 2] - 1e-4) & (run > 1e-6) & (loads.volume > 1e-6)
    slope = (loads.start - loads.end)[sinks, 2] / run[sinks]
    assert (slope > 0.06).any()  # steeper than the board
    # as the text says it: from the level, whichever way the surface slopes; heights are written in 0.1 um
    assert np.degrees(np.arctan(slope.max())) < 5.0 + 0.05


@pytest.mark.parametrize("stepdown", [0.5, 0.8, 2.0])
def test_ramps_of_roughing_are_no_more_than_the_rest(stepdown):
    wide = Cutter(name="flat 6", shape="flat-end", diameter=6.0, speed=16000, feed=2000.0, plunge=400.0,
                  stepdown=stepdown)
    plan, level = box(0, -15, 40, 15), Surface(thickness=6.5, radius_nut=math.inf, radius_end=math.inf, length=40.0)
    path = roughing(plan, level, wide, finish=None, stock_top=8.5, allowance=0.4, rapids=Rapids(20.0, 9.5))
    block = Block((-12, -25, 52, 25), 0.1, 8.5)
    loads = block.run(moves_along(path, wide), wide.radius).moving_sideways()
    # a straight-line cut is stepover times stepdown: arithmetic
    share = loads.per_tooth(over=wide.diameter) / (wide.stepover * wide.diameter * wide.stepdown * wide.feed)
    assert share.max() <= LOAD_FACTOR


def test_a_cutter_that_cannot_plunge_is_refused_where_nothing_else_goes():
    blind = replace(LARGE, plunges=False)
    assert len(pocket(POCKETS["square"], surface=BOARD, cutters=[blind], depth=1.0, safe_z=20.0)[0].toolpath)
    tight = Point(100, 8).buffer(1.02)
    with pytest.raises(CutterError, match=r"no room for a ramp or a helix down 1.00 mm at 100"):
        pocket(tight, surface=BOARD, cutters=[blind], depth=1.0, safe_z=20.0)
    # one that plunges pecks there: a quarter of the stepdown at a time
    cut, = pocket(tight, surface=BOARD, cutters=[LARGE], depth=1.0, safe_z=20.0)
    down = -np.diff(cut.toolpath.points[:, 2])[(cut.toolpath.kinds == Move.PLUNGE)[1:]]
    assert len(down) >= 4


STEEP = Surface(thickness=12.0, radius_nut=38.0, radius_end=60.0, length=400.0)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("turned", [0.0, 30.0])
def test_a_cutter_that_cannot_plunge_cuts_a_steep_fall_from_below(turned):
    """In wood over its whole width it followed the surface down by up to 17 degrees, its centre in wood too."""
    region = rotate(box(100, -15, 103.6, 15), turned)
    x0, y0, x1, y1 = region.bounds
    steep, tops = [], []
    for plunges in (True, False):
        cutter = replace(LARGE, diameter=3.0, stepdown=1.5, plunges=plunges)
        cut, = pocket(region, surface=STEEP, cutters=[cutter], depth=2.5, safe_z=25.0)
        block = Block((x0 - 1, y0 - 1, x1 + 1, y1 + 1), 0.06, STEEP.height)
        loads = block.run(moves_along(cut.toolpath, cutter), cutter.radius)
        run, drop = np.hypot(*(loads.end - loads.start)[:, :2].T), (loads.start - loads.end)[:, 2]
        steep.append(loads.volume[(drop > math.tan(math.radians(5.5)) * run) & (run > 1e-6)].sum())
        tops.append(block.top)
        assert not block.by_rapids
        assert loads.deepest[loads.straight_down & (drop > 0.0)].max() < 0.1
        over = loads.moving_sideways().each_minute(over=cutter.diameter).max()
        assert over <= LOAD_FACTOR * cutter.straight_cut * cutter.feed
    assert steep[0] > 50.0
    # what is left is beside an earlier cut, and its last tenths of a millimetre
    assert steep[1] < 0.1 * steep[0]
    assert np.abs(tops[1] - tops[0]).max() < 0.01


def test_what_is_open_is_not_gone_down_at_the_plunge_feed():
    finer = replace(SMALL, diameter=0.5, stepdown=0.25)
    block, air, all_of_it = Block((94, 1, 106, 15), 0.02, BOARD.height), 0.0, 0.0
    for cut in pocket(POCKETS["star"], surface=BOARD, cutters=[LARGE, finer], depth=1.0, safe_z=20.0):
        loads = block.run(moves_along(cut.toolpath, cut.cutter), cut.cutter.radius)
        down = loads.straight_down & (loads.feed == cut.cutter.plunge) & (loads.end[:, 2] < loads.start[:, 2])
        met = np.minimum(loads.deepest[down], loads.length[down])
        all_of_it += down.sum()
        air = max(air, (loads.length[down] - met).max(initial=0.0))
    assert all_of_it > 5
    # a rapid ends 0.3 mm above what stands
    assert air < 0.3 + 0.005


def test_the_way_between_two_passes_follows_the_surface_and_stays_above_it():
    ball = Cutter(name="ball", shape="ball-end", diameter=6.0, speed=18000, feed=900.0, plunge=250.0, stepdown=1.0)
    start, end = (np.array([50.0, y, BOARD.tip_height(ball, 50.0, y)]) for y in (-20.0, 20.0))
    way = np.vstack([_link(start, end, BOARD, ball, 0.2), end])
    assert np.hypot(*np.diff(way[:, :2], axis=0).T).max() <= LINK
    above = way[:, 2] - BOARD.tip_height(ball, way[:, 0], way[:, 1])
    assert above[: len(way) // 2] == pytest.approx(0.2)
    assert above.min() >= -1e-12
    assert above[-1] == 0.0


def test_what_sinks_takes_its_own_before_the_next_station_does():
    """Its front lies under the first: of 3 mm the first takes 2 there, and 2 ahead; the second what is left."""
    standing = Standing(0.0, 0.0, 1.0, np.full((3, 3), 3.0, np.float32))
    front, under = ((np.array([[at]], np.complex64), np.zeros((1, 1), np.float32)) for at in (1.0, 0.0))
    tips, heights, way = np.array([1.5 + 1.5j, 0.5 + 1.5j]), np.array([1.0, 0.0]), np.ones(2)
    lowered, _ = _lowered_at(standing, front, tips, heights, way, sinks=np.array([True, False]), under=under)
    assert lowered.tolist() == [4.0, 1.0]


def test_what_stands_is_kept_in_cells_of_a_tenth_of_the_narrowest_cutter_and_a_fortieth_of_the_widest():
    wide = replace(LARGE, diameter=16.0)
    for cutters, cell in (([SMALL], 0.1), ([LARGE, SMALL], 0.1), ([wide, SMALL], 0.4)):
        standing = Standing.over((10.0, 20.0, 30.0, 25.0), cutters, None, level=3.0)
        out = max(c.radius for c in cutters) + 2 * cell
        assert standing.cell == pytest.approx(cell)
        assert (standing.left, standing.low) == pytest.approx((10.0 - out, 20.0 - out))
        assert standing.top.shape == pytest.approx(((5 + 2 * out) / cell, (20 + 2 * out) / cell), abs=1)
        assert (standing.top == 3.0).all()


def test_a_volume_is_spread_over_its_window_as_much_ahead_as_asked():
    stations, taken = np.arange(20) * 0.5, np.zeros(20)
    taken[10] = 6.0  # at 5 mm
    for ahead, first, last in ((0.5, 4.0, 5.5), (0.0, 5.0, 6.5), (1.0, 3.0, 4.5)):
        spread = _smooth(taken, stations, 2.0, ahead=ahead)
        assert stations[spread > 0].min() == pytest.approx(first)
        assert stations[spread > 0].max() == pytest.approx(last)
        assert spread.max() == pytest.approx(6.0 / 2.0)


def test_passes_cut_again_go_back_and_forth_the_nearest_end_next():
    """Four passes of 10 mm, 1 mm apart, over all but the first: one way in plan, no pass left out or gone twice."""
    level = Surface(thickness=6.0, radius_nut=math.inf, radius_end=math.inf, length=100.0)
    ball = Cutter(name="ball", shape="ball-end", diameter=6.0, speed=18000, feed=900.0, plunge=250.0, stepdown=1.0)
    lines = [np.array([[10.0, y, 6.0], [14.0, y, 6.0], [20.0, y, 6.0]]) for y in range(4)]
    run = _run_over(box(8.0, 0.6, 22.0, 5.0), np.arange(4.0), lines, level, ball, 0.0, inside=None)
    way = np.hypot(*np.diff(run[:, :2], axis=0).T)
    assert way.sum() == pytest.approx(3 * 10 + 2)
    assert run[0, :2].tolist() == [10.0, 1.0]
    assert run[-1, :2].tolist() == [20.0, 3.0]
    assert not len(_run_over(box(8.0, 9.0, 9.0, 10.0), np.arange(4.0), lines, level, ball, 0.0, inside=None))
