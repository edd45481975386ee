"""The ends of tabs along the cutter's way, and what of the blank holds them, by hand."""

import itertools
import re
from contextlib import nullcontext, suppress
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
import shapely
import shapely.affinity

import pathgen
from pathgen.base.errors import PathgenError
from pathgen.base.toolpath import Move, Rapids
from pathgen.strategies.cutting_line import cutting_line
from pathgen.strategies.cutting_out import _sinking_gently, outlining
from pathgen.strategies.easing import Standing
from pathgen.strategies.tabs import Tabs, check_tabs_hold, holding, left_to_the_saw, round_a_ring, tab_points
from tests.brute import Block, moves_along
from tests.strategies.test_strategies import cutter_of

BOX = shapely.box(0.0, -20.0, 100.0, 20.0)
CUTTER = cutter_of("flat-end", 3.0, stepdown=2.0)
NO_TABS = Tabs(np.empty((0, 2)), 1.0, 6.0)


def heights(tabs, *, height=1.5, width=6.0, places=()):
    """Lowest height of the way at places along the upper edge (Y = 20 + the cutter's radius)."""
    path = outlining(BOX, cutter=CUTTER, top=6.0, bottom=-0.2, tabs=Tabs(np.array(tabs), height, width),
                     finish=0.0, rapids=Rapids(15.0, 7.0))
    points = path.points[path.kinds != Move.RAPID]
    low = np.full(len(places), np.inf)
    for a, b in itertools.pairwise(points):
        if abs(a[1] - 21.5) < 1e-9 and abs(b[1] - 21.5) < 1e-9 and abs(b[0] - a[0]) > 1e-9:
            share = (np.asarray(places) - a[0]) / (b[0] - a[0])
            on = (share >= 0) & (share <= 1)
            low[on] = np.minimum(low[on], (a[2] + share * (b[2] - a[2]))[on])
    return low


def test_a_tab_stands_at_its_width_and_its_ends_fall_by_a_half():
    # 3 mm of half width and the cutter's radius: level to 4.5 mm; then 1.7 mm down over 3.4 mm
    away = np.array([0.0, 4.4, 4.6, 5.5, 7.4, 7.9, 8.0, 12.0])
    wanted = [1.5, 1.5, 1.45, 1.0, 0.05, -0.2, -0.2, -0.2]
    for side in (-1, 1):
        assert heights([(50.0, 20.0)], places=50.0 + side * away) == pytest.approx(wanted, abs=1e-6)


def test_tabs_so_near_that_their_ends_would_meet_have_steeper_ones():
    # 15 mm apart, 9 of them level and 2 cut through: 2 mm for each end
    away = np.array([4.5, 5.5, 6.4, 6.6, 7.5])
    assert heights([(42.5, 20.0), (57.5, 20.0)], places=42.5 + away) == pytest.approx(
        [1.5, 0.65, -0.115, -0.2, -0.2], abs=1e-6)


@pytest.mark.parametrize(("apart", "long"), [(40.0, 12.0), (15.0, 6.0 + 2 * 2.0 * 1.5 / 1.5)])
def test_how_long_tabs_are_with_their_ends(apart, long):
    """Ends that rise 1.5 mm by a half run 3 mm; 15 mm apart they have 2 mm for each to rise in."""
    tabs = Tabs(np.array([(50.0 - apart / 2, 20.0), (50.0 + apart / 2, 20.0)]), 1.5, 6.0)
    assert left_to_the_saw(tabs, BOX, CUTTER, 0.0) == pytest.approx(long, abs=1e-6)


def test_tabs_hold_the_body_of_a_part_and_not_its_tail_alone():
    """Spread along its whole length all four stood on the tail, and nothing held the disc, 86 % of the part."""
    disc = shapely.Point(25.0, 0.0).buffer(25.0, quad_segs=32)
    part = disc.union(shapely.box(45.0, -1.0, 150.0, 1.0))
    at = tab_points(part, 4, avoid=np.empty((0, 2)), width=6.0, cutter=CUTTER, where="tabs")
    assert (at[:, 0] < 50.0).sum() == 2  # there is no room for more where it hardly turns
    even = tab_points(BOX, 4, avoid=np.empty((0, 2)), width=6.0, cutter=CUTTER, where="tabs")
    assert np.sort(even[:, 0]) == pytest.approx([27.0, 27.0, 73.0, 73.0], abs=1.6)


def test_tabs_as_near_as_may_be_leave_what_is_cut_through_between_them():
    # 9 mm of each level, 2 mm between: rounding leaves next to nothing for their ends
    places = np.array([41.0, 48.9, 50.0, 51.1, 59.0])
    assert heights([(44.5, 20.0), (55.5 + 1e-13, 20.0)], places=places) == pytest.approx(
        [1.5, 1.5, -0.2, 1.5, 1.5], abs=1e-6)


@pytest.mark.parametrize("at", [50.0, 42.5])
@pytest.mark.parametrize("apart", [50.0, 25.0, 16.0])
def test_behind_a_tab_the_cutter_sinks_into_wood_no_steeper_than_along_a_ramp(at, apart):
    """By the tests' own simulation of the path; the stated ramp is 5 degrees, whatever the tab's end is."""
    places = np.array([(at, 20.0), (at + apart, 20.0), (at, -20.0)])
    path = outlining(BOX, cutter=CUTTER, top=6.0, bottom=-0.2, tabs=Tabs(places, 1.5, 6.0), finish=0.0,
                     rapids=Rapids(15.0, 7.0))
    block = Block((-10, -30, 110, 30), 0.1, 6.0)
    loads = block.run(moves_along(path, CUTTER), CUTTER.radius)
    run = np.hypot(*(loads.end - loads.start)[:, :2].T)
    slope = (loads.start - loads.end)[:, 2] / np.maximum(run, 1e-9)
    steep = slope > 1.01 * np.tan(np.radians(5.0))
    assert loads.volume[steep].sum() < 0.5  # mm3, of a cell's width at the ends
    assert loads.volume[(slope > 0.05) & ~steep].sum() > 50.0


def test_tabs_that_touch_leave_one_long_one():
    assert heights([(46.0, 20.0), (54.0, 20.0)], places=np.array([46.0, 49.0, 50.0, 51.0, 54.0])).min() >= 1.5 - 1e-9


@pytest.mark.parametrize(("tab", "side", "words"), [
    ((0.0, 5.0), 0, "longer"), ((50.0, -20.0), 1, "wider"), ((100.0, 5.0), 2, "longer"), ((50.0, 20.0), 3, "wider"),
])
def test_each_side_of_the_blank_holds_the_tabs_that_face_it(tab, side, words):
    """A cutter of 3 mm and 2 mm of waste need 5 mm there, and nothing of the other sides."""
    out = np.zeros(4)
    out[side] = 4.9
    blank = tuple(np.array(BOX.bounds) + out * [-1, -1, 1, 1])
    with pytest.raises(PathgenError, match=f"stands out 4.90 mm beside.* 5 mm or more.*0.2 mm {words}"):
        check_tabs_hold(Tabs(np.array([tab]), 1.5, 6.0), BOX, blank=blank, cutter=CUTTER, where="tabs")
    out[side] = 5.0
    blank = tuple(np.array(BOX.bounds) + out * [-1, -1, 1, 1])
    check_tabs_hold(Tabs(np.array([tab]), 1.5, 6.0), BOX, blank=blank, cutter=CUTTER, where="tabs")


def test_the_wider_blank_that_is_asked_for_holds_what_stands_out_further_than_the_tab_too():
    """3.5 mm beside the tab: 3 mm wider was asked for, and then, for 2 mm where the board is widest, 6 mm as before."""
    board = shapely.Polygon([(0, -22), (100, -28), (100, 28), (0, 22)])
    tab, blank = np.array([[75.0, -26.5]]), (-10.0, -30.0, 110.0, 30.0)
    with pytest.raises(PathgenError, match=r"a blank ([\d.]+) mm wider or more") as refused:
        check_tabs_hold(Tabs(tab, 1.5, 6.0), board, blank=blank, cutter=CUTTER, where="tabs")
    assert refused.value.remedy.startswith("take a blank 6 mm wider or more")
    enough = float(re.search(r"whole along that side \(([\d.]+) mm is enough for the tabs\)", refused.value.remedy)[1])
    assert 3.0 <= enough < 5.0
    for more, held in ((enough, True), (enough - 0.02, False)):
        wider = (blank[0], blank[1] - more / 2, blank[2], blank[3] + more / 2)
        with nullcontext() if held else pytest.raises(PathgenError, match="stands out"):
            check_tabs_hold(Tabs(tab, 1.5, 6.0), board, blank=wider, cutter=CUTTER, where="tabs")


@pytest.mark.parametrize(("angle", "taken"), [(15.0, 0.2), (25.0, 0.08)])
def test_less_is_left_to_the_last_lap_where_an_inner_corner_is_met_head_on(angle, taken):
    """Corners of 20 degrees and more are inner ones; a tenth of a cutter of 3 mm is more than the 0.2 mm asked for."""
    dip = 50.0 * np.tan(np.radians(angle / 2))
    waisted = shapely.Polygon([(0, -20), (100, -20), (100, 20), (50, 20 - dip), (0, 20)])
    path = outlining(waisted, cutter=CUTTER, top=1.0, bottom=0.0, tabs=NO_TABS, finish=0.2, rapids=Rapids(15.0, 7.0))
    off = shapely.distance(shapely.points(path.points[path.kinds == Move.CUT, :2]), cutting_line(waisted, CUTTER))
    assert np.median(off[off > 1e-6]) == pytest.approx(taken, abs=0.002)


@pytest.mark.parametrize(("diameter", "stepdown", "stepover", "dip", "kind"), [
    (3.0, 0.7, 0.45, 0.0, Move.EASED), (3.0, 1.0, 0.45, 0.0, Move.CUT), (3.0, 0.5, 0.3, 36.0, Move.EASED),
    (6.0, 2.0, 0.45, 0.0, Move.CUT)])
def test_the_last_lap_goes_at_one_feed(diameter, stepdown, stepover, dip, kind):
    """A wall that runs at a slant to any grid: 0.2 of it by 6.9 mm is 1.38 mm2, a straight-line cut 0.95, 1.35 and 5.4
    mm2. A shave of 1.02 times that went slow all round. With an inner corner it is thinner, 0.54 mm2 of 0.45, and may
    meet half as much again there."""
    tapered = shapely.Polygon([(0, -21.3), (400, -28.9), (400, 28.9), (200, 25.1 - dip), (0, 21.3)])
    wide = replace(CUTTER, diameter=diameter, stepdown=stepdown, stepover=stepover)
    path = outlining(tapered, cutter=wide, top=6.9, bottom=0.0, tabs=NO_TABS, finish=0.2, rapids=Rapids(15.0, 9.0))
    beside = shapely.distance(shapely.points(path.points[:, :2]), cutting_line(tapered, wide)) < 1e-6
    lap = beside[1:] & beside[:-1] & (path.points[1:, 2] == 0.0)
    assert set(path.kinds[1:][lap].tolist()) == {int(kind)}


@pytest.mark.parametrize("radius", [0.5, 0.9, 1.5, 4.0])
def test_the_last_lap_round_a_small_part_goes_in_and_out_past_it(radius):
    small, wide = shapely.Point(10.0, 0.0).buffer(radius, quad_segs=64), replace(CUTTER, diameter=6.0, stepdown=9.0)
    path = outlining(small, cutter=wide, top=8.0, bottom=0.0, tabs=NO_TABS, finish=0.6, rapids=Rapids(15.0, 9.0))
    cuts = path.kinds[1:] != Move.RAPID
    moves = shapely.linestrings(np.stack([path.points[:-1, :2], path.points[1:, :2]], axis=1)[cuts])
    assert shapely.distance(moves, small).min() == pytest.approx(3.0, abs=0.002)


@pytest.mark.parametrize("finish", [0.0, 0.2])
def test_layers_go_where_something_stands_and_take_the_same_as_whole_laps(finish):
    """A rest of raw wood past one end, as high as three layers; on the long edges a ridge that one move crosses."""
    def height(x, y):
        return np.where((x > 102.0) | (abs(x - 30.0) < 1.0), 8.0, 2.0) + 0.0 * y

    standing = Standing.over(cutting_line(BOX, CUTTER, aside=finish).bounds, [CUTTER], None, level=8.0)
    y, x = np.indices(standing.top.shape) * standing.cell + np.reshape([standing.low, standing.left], (2, 1, 1))
    standing.top[:] = height(x + standing.cell / 2, y)
    left, long = [], []
    for stands in (None, standing):
        path = outlining(BOX, cutter=CUTTER, top=8.0, bottom=-0.2, finish=finish, rapids=Rapids(15.0, 9.0),
                         tabs=Tabs(np.array([[60.0, 20.0]]), 1.5, 6.0), stands=stands)
        block = Block((-5, -25, 105, 25), 0.2, height)
        block.run(moves_along(path, CUTTER), CUTTER.radius)
        assert block.by_rapids == 0.0
        left.append(block.top)
        long.append(path.cut_length)
    np.testing.assert_allclose(left[1], left[0], atol=1e-9)
    assert long[1] < long[0] - 2 * 250.0  # of three laps round 292 mm more than two and a half


def test_tabs_stand_evenly_on_both_long_edges():
    points = tab_points(BOX, 3, avoid=np.empty((0, 2)), width=6.0, cutter=CUTTER, where="tabs")
    lower, upper = (points[points[:, 1] * side > 0] for side in (-1, 1))
    assert lower == pytest.approx(np.array([[50.0, -20.0]]), abs=1.0)
    assert upper == pytest.approx(np.array([[27.25, 20.0], [72.75, 20.0]]), abs=1.5)  # of the 91 mm between the ends


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("finish", [0.0, 0.1])
def test_the_ways_up_and_down_a_tab_beside_a_corner_go_round_it(finish):
    """Climb cutting round a short board: the cutter comes off the tab past the corner, and never into the board."""
    board = shapely.Polygon([(0, -20.95), (34.53, -23.2), (34.53, 23.2), (0, 20.95)])
    for x in np.arange(5.0, 30.0, 0.5):
        at = np.array([[x, side * (20.95 + 2.25 * x / 34.53)] for side in (-1.0, 1.0)])
        path = outlining(board, cutter=CUTTER, top=8.0, bottom=-0.2, tabs=Tabs(at, 1.9, 6.0), finish=finish,
                         rapids=Rapids(15.0, 9.0))
        assert shapely.distance(shapely.LineString(path.points[:, :2]), board) > CUTTER.radius - 2e-3


@pytest.mark.parametrize("up", [-70.0, 19.0, 21.0, 55.0])
def test_tabs_stand_on_both_edges_of_a_part_beside_the_centre_line(up):
    """As of a plate drawn on a page whose corner lies on it."""
    none = np.empty((0, 2))
    moved = tab_points(shapely.affinity.translate(BOX, 0.0, up), 4, avoid=none, width=6.0, cutter=CUTTER, where="tabs")
    assert moved == pytest.approx(tab_points(BOX, 4, avoid=none, width=6.0, cutter=CUTTER, where="tabs") + [0.0, up])


def test_a_tab_keeps_half_its_width_from_where_the_edge_turns():
    stepped = shapely.Polygon([(0, -20), (100, -20), (100, 30), (60, 30), (50, 20), (0, 20)])
    upper = tab_points(stepped, 2, avoid=np.empty((0, 2)), width=6.0, cutter=CUTTER, where="tabs")[1]
    steep = shapely.LineString([(50, 20), (60, 30)])
    assert shapely.distance(shapely.Point(upper), steep) >= 4.5 - 1e-9
    assert shapely.distance(shapely.Point(upper), steep) < 7.0  # and no further than it must


@pytest.mark.parametrize("side", [1, -1])
def test_a_tab_keeps_half_its_width_from_a_corner_of_a_fanned_end(side):
    """Of the edge that begins after the other: a tab that stood 4 mm from there came out narrower than it may."""
    fanned = shapely.Polygon([(0, -20 * side), (8, 20 * side), (90, 22 * side), (82, -22 * side)])
    slots = np.array([[x, y] for x in (52.0, 56.0, 60.0, 64.0, 68.0, 72.0) for y in (-21.0, 21.0)])
    tabs = tab_points(fanned, 4, avoid=slots, width=11.0, cutter=CUTTER, where="tabs")
    corners = shapely.MultiPoint([(8, 20 * side), (82, -22 * side)])
    assert shapely.distance(shapely.points(tabs), corners).min() >= 7.0 - 0.2


@pytest.mark.parametrize("rounding", [0.0, 5e-8])
def test_between_two_tabs_near_each_other_the_cutter_goes_down_along_ramps(rounding):
    """2 mm of way, 1.17 mm down, at 5 degrees: seven ramps to and fro. Rounding had it taken for no way at all."""
    slope = np.tan(np.radians(5.0))
    stations, z = np.array([0.0, 10.0, 10.03, 12.03, 12.06]), np.array([0.97, 0.97, -0.2 - rounding, -0.2, 1.3])
    gone, low = _sinking_gently(stations, z, slope, around=1e4)
    ramps = -np.diff(low) / np.maximum(np.abs(np.diff(gone)), 1e-12)
    opened = np.minimum.accumulate(low)[:-1]
    fresh = (low[1:] < opened - 1e-6) & (ramps > 1.01 * slope)
    assert not fresh.any()
    assert np.sum(np.diff(gone) < -1.0) >= 7


@pytest.mark.parametrize("radius", [2.0, 2.002])
def test_beside_a_tiny_edge_the_cutter_stays_at_the_wall(radius):
    """As one is left where the round in an inner corner of a drawing ends: the way left the wall there by 0.1 mm."""
    turn, cutter = np.radians(np.linspace(-65, -101, 27)), replace(CUTTER, diameter=4.0)
    round_in = np.array([66.975, 9.932 + radius]) + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    outline = shapely.Polygon([*round_in, round_in[-1] + [-1e-5, 1e-4], (10.6, 3.12), (11.3, -3.4), (35.9, -9.2),
                               (69.3, -5.4), (80.5, 3.0), (72.5, 12.24)])
    away = shapely.distance(shapely.points(outline.exterior.coords), cutting_line(outline, cutter))
    assert away.max() < 2.001


def test_beside_a_tiny_corner_in_an_inner_one_the_cutter_stays_at_the_wall():
    """Of a public drawing: an edge of 0.01 mm that turns out by 50 degrees had the mitred way 0.047 mm off the wall."""
    outline = shapely.Polygon([(22.513, 20.613), (1.294, 5.587), (1.284, 5.589), (1.049, 5.403), (0.639, 4.969),
                               (0.2, 4.2), (0.1, -20.0), (22.513, -20.0)])
    way = cutting_line(outline, replace(CUTTER, diameter=6.0))
    edges = shapely.segmentize(shapely.LineString(outline.exterior.coords[:5]), 0.02)
    wall = shapely.points(shapely.get_coordinates(edges))
    assert shapely.distance(wall, way).max() < 3.008
    assert shapely.distance(way, outline) > 2.999


@pytest.mark.parametrize("up", [1, -1])
def test_a_tab_stands_in_no_notch_without_room_for_the_cutter_beside_it(up):
    """A cutter of 4 mm at the notch's wall reaches 4 mm into it: of 12.7 mm it left a tab of 6 mm too thin."""
    notched = shapely.Polygon([(0, 0), (14, 0), (14, 12 * up), (26.7, 12 * up), (26.7, 0), (44, 0), (44, 48 * up),
                               (0, 48 * up)])
    tabs = tab_points(notched, 2, avoid=np.empty((0, 2)), width=6.0, cutter=cutter_of("flat-end", 4.0), where="tabs")
    notch = shapely.box(14, min(0, 12 * up), 26.7, max(0, 12 * up))
    assert shapely.distance(shapely.points(tabs), notch).min() >= 5.0 - 0.2


def outlined(shape, cutter, *, finish, top=1.0):
    path = outlining(shape, cutter=cutter, top=top, bottom=0.0, tabs=NO_TABS, finish=finish, rapids=Rapids(15.0, 7.0))
    return path.points[path.kinds != Move.RAPID]


def test_the_last_lap_takes_no_more_for_each_millimetre_than_a_layer_does():
    """Of a thick block: a layer of 0.8 mm in full wood is 2.4 mm2 to a cutter of 3 mm, 0.2 mm off 25 mm would be 5."""
    cutter = cutter_of("flat-end", 3.0, stepdown=0.8)
    points = shapely.points(outlined(BOX, cutter, finish=0.2, top=25.0)[:, :2])
    aside = shapely.distance(points, cutting_line(BOX, cutter)).max() / np.sqrt(2.0)  # at corners
    assert 25.0 * aside == pytest.approx(0.9 * 2.4, rel=0.01)


def test_the_last_lap_takes_no_more_past_a_sharp_point():
    wedge = shapely.Polygon([(0, -8), (60, 0), (0, 8)])
    cutter = cutter_of("flat-end", 3.0, stepdown=2.0)
    points = outlined(wedge, cutter, finish=0.2)
    tip = shapely.points(points[points[:, 0] > 59.0, :2])
    assert 0.19 < shapely.distance(cutting_line(wedge, cutter), tip).max() < 0.28  # at corners of 82 degrees


@pytest.mark.parametrize("half", [10.0, 4.0, 1.03, 1.1], ids=["square", "sharp", "tight", "inlet"])
def test_the_last_lap_goes_little_further_into_inner_corners_than_the_layers(half):
    """It takes 0.2 mm off the walls: into a square corner, as round as the cutter, it would go 1.4 times as far."""
    mouth = [(40 - half, 0), (40, 9), (40 + half, 0)] if half > 2 else [
        (40 - half, 0), (40 - half, 9), (40 + half, 9), (40 + half, 0)]
    plate = shapely.Polygon([(0, 0), *mouth, (80, 0), (80, 30), (0, 30)])
    for shape in (plate, plate.buffer(1.01).buffer(-1.01)):
        points = outlined(shape, cutter_of("flat-end", 2.0, stepdown=2.0), finish=0.2, top=5.0)
        layers = shapely.LineString(points[(points[:, 2] > 0.5) & (points[:, 2] < 5.0 - 1e-9), :2])
        lap = shapely.points(points[points[:, 2] < 1e-9, :2])
        assert 0.0 < shapely.distance(layers, lap).max() < 0.12


@pytest.mark.parametrize(("diameter", "taken"), [(3.0, 0.2), (1.0, 0.1)])
def test_the_last_lap_takes_a_tenth_of_the_cutter_at_most_and_is_come_to_aslant(diameter, taken):
    cutter = cutter_of("flat-end", diameter, stepdown=2.0)
    points = outlined(BOX, cutter, finish=0.2)
    off = shapely.distance(shapely.points(points[:, :2]), cutting_line(BOX, cutter))
    assert off.max() == pytest.approx(taken, rel=0.5)  # in corners 1.41 times as far
    goes_in = np.flatnonzero((off[:-1] > taken / 2) & (off[1:] < taken / 2))
    assert len(goes_in) == 1
    step = points[goes_in[0] + 1] - points[goes_in[0]]
    assert np.hypot(*step[:2]) == pytest.approx(taken * np.hypot(4.0, 1.0), rel=0.01)  # 4 along for 1 across


def test_each_layer_of_a_short_way_is_level_for_half_of_it():
    disc, cutter = shapely.Point(0.0, 0.0).buffer(3.0, quad_segs=32), cutter_of("flat-end", 2.0, stepdown=2.0)
    points = outlined(disc, cutter, finish=0.0, top=4.0)
    step = np.diff(points, axis=0)
    around = cutting_line(disc, cutter).length
    for layer in (2.0, 0.0):
        level = (np.abs(points[1:, 2] - layer) < 1e-9) & (np.abs(step[:, 2]) < 1e-9)
        assert np.hypot(*step[level, :2].T).sum() >= around / 2 - 1e-6


@pytest.mark.parametrize("slots", [(), (5.0, 12.0, 19.0, 27.0, 36.0), (20.0,)])
def test_tabs_of_a_short_board_stay_apart(slots):
    """Six on a 40 mm board (a random board joined two of them): 2 mm are cut through between any two, or more."""
    avoid = np.array([[x, y] for x in slots for y in (-20.0, 20.0)]).reshape(-1, 2)
    tabs = tab_points(shapely.box(0.0, -20.0, 40.0, 20.0), 6, avoid=avoid, width=7.0, cutter=CUTTER, where="tabs")
    for side in (-1, 1):
        along = np.sort(tabs[tabs[:, 1] * side > 0, 0])
        assert len(along) == 3
        assert np.diff(along).min() >= 12.0


def test_more_tabs_than_an_edge_holds_are_refused():
    with pytest.raises(PathgenError, match=r"8 tabs do not fit: each takes 10.00 mm.*allowed: 6 tabs or fewer"):
        tab_points(shapely.box(0.0, -20.0, 40.0, 20.0), 8, avoid=np.empty((0, 2)), width=7.0, cutter=CUTTER,
                   where="tabs")


SQUARE = shapely.box(0.0, -20.0, 40.0, 20.0)


def test_tabs_stand_on_the_ends_too_where_the_long_edges_have_no_room():
    """Eight on a part that holds three on each long edge: two on each of its four edges, each standing whole."""
    tabs = tab_points(SQUARE, 8, avoid=np.empty((0, 2)), width=7.0, cutter=CUTTER, where="tabs", rise=1.0,
                      all_round_in=(-5.0, -25.0, 45.0, 25.0))
    assert sorted(np.count_nonzero(np.abs(tabs @ n - at) < 1e-6) for n, at in (
        ((1, 0), 0), ((1, 0), 40), ((0, 1), -20), ((0, 1), 20))) == [2] * 4
    assert shapely.distance(shapely.points(tabs[:, None]), shapely.points(tabs))[~np.eye(8, dtype=bool)].min() > 12.0
    assert [stands(SQUARE, tab, CUTTER, width=7.0) > 0.78 for tab in tabs] == [True] * 8


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("ends", "fit"), [(5.0, 12), (4.9, 6)])
def test_the_refusal_of_tabs_all_round_tells_the_number_that_fits(ends, fit):
    """Three on each of four edges; on ends beside which the blank holds none, none are counted."""
    def tabs(count):
        return tab_points(SQUARE, count, avoid=np.empty((0, 2)), width=7.0, cutter=CUTTER, where="[outline] tabs",
                          all_round_in=(-ends, -25.0, 40.0 + ends, 25.0))

    words = rf"13 tabs do not fit: each takes 10.00 mm of the outline .*\(allowed: {fit} tabs or fewer, each 7 mm wide,"
    with pytest.raises(PathgenError, match=words):
        tabs(13)
    assert tabs(fit).shape == (fit, 2)
    with pytest.raises(PathgenError, match=rf"{fit + 1} tabs do not fit"):
        tabs(fit + 1)


def test_a_refusal_counts_the_tabs_of_both_edges():
    """A nose leaves one of them room for two, where the other holds three."""
    nosed = shapely.union(SQUARE, shapely.box(28.0, 0.0, 33.0, 25.0))
    for count in (5, 8):
        with pytest.raises(PathgenError, match=r"allowed: 4 tabs or fewer"):
            tab_points(nosed, count, avoid=np.empty((0, 2)), width=7.0, cutter=CUTTER, where="tabs")
    assert tab_points(nosed, 4, avoid=np.empty((0, 2)), width=7.0, cutter=CUTTER, where="tabs").shape == (4, 2)


def test_no_tabs_need_no_edge():
    """Nor does one tab need both."""
    short = shapely.box(0.0, -15.0, 8.0, 15.0)
    assert tab_points(short, 0, avoid=np.empty((0, 2)), width=9.0, cutter=CUTTER, where="tabs").shape == (0, 2)
    with pytest.raises(PathgenError, match="tabs = 0"):
        tab_points(short, 2, avoid=np.empty((0, 2)), width=9.0, cutter=CUTTER, where="tabs")


@pytest.mark.parametrize("table", ["[block]", "[gauges]"])
def test_no_tabs_is_no_remedy_where_the_job_file_has_no_key_for_it(table):
    part, where = shapely.box(0.0, -15.0, 40.0, 15.0), f"{table} tabs"
    with pytest.raises(PathgenError, match=r"narrower or more$"):
        tab_points(part, 2, avoid=np.empty((0, 2)), width=39.0, cutter=CUTTER, where=where)
    with pytest.raises(PathgenError, match=r"or a smaller cutter$"):
        check_tabs_hold(Tabs(np.array([[20.0, 15.0]]), 1.5, 6.0), part, blank=(-3.0, -18.0, 43.0, 18.0),
                        cutter=cutter_of("flat-end", 3.0), where=where)


def test_no_cutter_is_asked_for_that_is_narrower_than_nothing():
    """Found on a block from fret to fret of a small board: its cutter of 3.1 mm was to be 4.1 mm narrower."""
    for long, words in ((7.5, "a cutter 1.60 mm narrower"), (5.1, "cut out 4.00 mm longer or more: no cutter is")):
        part = shapely.box(0.0, -15.0, long, 15.0)
        with pytest.raises(PathgenError, match=words):
            tab_points(part, 2, avoid=np.empty((0, 2)), width=6.0, cutter=cutter_of("flat-end", 3.0), where="[block]")


def test_tabs_on_both_sides_of_a_notch_stay_apart():
    """No place is left between 0.3 and 0.7 of this edge, so tabs spread by length alone would meet there."""
    notched = shapely.Polygon([(0, -20), (96, -20), (96, 20), (67, 20), (67, 5), (29, 5), (29, 20), (0, 20)])
    for count, width in itertools.product((2, 4, 6, 8, 10), (6.0, 9.0, 12.0, 14.12)):
        with nullcontext() if count <= 4 else suppress(PathgenError):
            upper = tab_points(notched, count, avoid=np.empty((0, 2)), width=width - 3.0, cutter=CUTTER,
                               where="tabs")[count // 2:]
            assert np.linalg.norm(np.diff(upper[upper[:, 0].argsort()], axis=0), axis=1).min(initial=99) >= width + 2


def stands(shape, tab, cutter, *, width, height=0.8):
    """How high wood is left across the groove in the middle of a tab, by the tests' own simulation of the path."""
    path = outlining(shape, cutter=cutter, top=4.0, bottom=-0.2, tabs=Tabs(tab[None], height, width), finish=0.0,
                     rapids=Rapids(15.0, 5.0))
    x0, y0, x1, y1 = np.array(shape.bounds) + np.array([-1, -1, 1, 1]) * 3 * cutter.diameter
    block = Block((x0, y0, x1, y1), 0.1, 4.0)
    block.run(moves_along(path, cutter), cutter.radius)
    line = cutting_line(shape, cutter)
    out = shapely.get_coordinates(line.interpolate(line.project(shapely.Point(tab)))) - tab
    across = tab + np.linspace(0.05, 2.0 + 1.0 / cutter.diameter, 60)[:, None] * out
    column, row = ((across - [x0, y0]) / 0.1).astype(int).T
    return float(block.top[row, column].min())


def test_no_tab_stands_where_another_walls_way_takes_it_away():
    """A star of a random drawing, whose inner corners slant: 0.63 mm of 0.8 were left of one."""
    star = shapely.Polygon([(49, 42.55), (42.35, 54.11), (38.06, 53.47), (29.56, 58.61), (11.17, 31.23), (17.23, 29.94),
                            (39.61, 4.19), (38.56, 13.54), (40.98, 11.73)])
    star = shapely.affinity.scale(star, 1.0, -1.0, origin=(0, 0))
    tabs = tab_points(star, 5, avoid=np.empty((0, 2)), width=2.0, cutter=CUTTER, where="tabs", rise=1.0)
    assert [stands(star, tab, CUTTER, width=2.0) > 0.78 for tab in tabs] == [True] * 5


def test_a_tab_in_a_bay_holds_on_to_waste_that_stays():
    """What a bay with a narrow mouth leaves between two grooves is loose when they are cut."""
    flask = shapely.Polygon([(0, 0), (100, 0), (100, 40), (53, 40), (53, 34), (80, 34), (80, 12), (20, 12), (20, 34),
                             (47, 34), (47, 40), (0, 40)])
    places = np.array([[50.0, 12.0], [50.0, 0.0]])
    held = holding(places, outline=flask, ring=cutting_line(flask, CUTTER), width=6.0, radius=1.5, slopes=0.0)
    assert held.tolist() == [False, True]


def test_tabs_that_no_place_holds_are_refused_with_what_to_do():
    """A wheel with teeth of 4 mm all round, and 4 mm between them."""
    teeth = shapely.union_all([shapely.affinity.rotate(shapely.box(0, -2, 30, 2), 15 * k, (0, 0)) for k in range(24)])
    wheel = shapely.Point(0, 0).buffer(24).union(teeth)
    words = (r"2 tabs do not fit: .* takes away again a tab at .* \(allowed: no tabs, each 6 mm wide, with a cutter of "
             r"3 mm\): make tab_width smaller, or take a smaller cutter; or write tabs = 0")
    with pytest.raises(PathgenError, match=words):
        tab_points(wheel, 2, avoid=np.empty((0, 2)), width=6.0, cutter=CUTTER, where="[outline] tabs")


def test_places_round_a_ring_stand_apart_past_its_end_too():
    stations = np.array([1.0, 5.0, 30.0, 34.0, 60.0, 97.0])
    assert sorted(stations[round_a_ring(stations, 3, around=100.0, least=10.0)]) == [30.0, 60.0, 97.0]
    assert len(round_a_ring(stations, 4, around=100.0, least=10.0)) == 3


def test_places_given_for_tabs_are_asked_whether_they_hold_one_and_the_one_that_is_named_does():
    """In an inner corner 0.04 mm of 0.8 were left, without a word."""
    star = shapely.Polygon([(49, 42.55), (42.35, 54.11), (38.06, 53.47), (29.56, 58.61), (11.17, 31.23), (17.23, 29.94),
                            (39.61, 4.19), (38.56, 13.54), (40.98, 11.73)])
    cut = partial(pathgen.outline, star, CUTTER, stock=4.0, blank=(0, -10, 70, 70), bottom=-0.2, tab_width=2.0,
                  tab_height=0.8, finish=0.0)
    assert stands(star, np.array([38.56, 13.54]), CUTTER, width=2.0) < 0.1
    with pytest.raises(PathgenError, match=r"leaves no whole tab: .*: move it to .* mm across, the nearest") as refused:
        cut(tabs=[(38.56, 13.54)])
    named = [float(n) for n in re.findall(r"([\d.]+) mm (?:along|across)", str(refused.value))][-2:]
    assert stands(star, np.array(named), CUTTER, width=2.0) > 0.78
    cut(tabs=[named, (24.69, 21.36)])
