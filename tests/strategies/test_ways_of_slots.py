"""How the cutter goes down into slots and where it ends, on one slot across a level board, by hand."""

import itertools
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen.base.cutters import LOAD_FACTOR, Cutter
from pathgen.base.errors import CutterError
from pathgen.base.lowered import FallAway, Lowered
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move, Rapids
from pathgen.programs.around import Around
from pathgen.strategies.drilling import _helix, _pecks, drilling
from pathgen.strategies.entering import ramps_down
from pathgen.strategies.slotting import _coarse, bevelling, slotting
from pathgen.work.features import Holes, Slots
from pathgen.work.operations import RUN_OUT, Bevel, Slot
from tests import small_board
from tests.brute import Block, moves_along
from tests.plain_cutting import Wood
from tests.strategies.test_strategies import cutter_of

LEVEL = Surface(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=100.0)
CUTTER = cutter_of("flat-end", 0.6, stepdown=0.5)


def one_slot(*, slant=0.0, **more):
    """A slot 20 mm across the board, slanted by so many degrees."""
    run = 10.0 * np.tan(np.radians(slant))
    return Slots(**{"number": np.array([1]), "lines": np.array([[[50.0 - run, -10.0], [50.0 + run, 10.0]]]),
                    "width": 0.6, "depth": 2.0, **more})


def way(slots, cutter=CUTTER):
    """The way from where it first cuts to where it last does, quick moves in its own hole among it."""
    path = slotting(slots, surface=LEVEL, cutter=cutter, rapids=Rapids(15.0, 7.0))
    feeds = np.flatnonzero(path.kinds != Move.RAPID)
    return path.points[feeds[0] : feeds[-1] + 1]


@pytest.mark.parametrize("width", [0.6, 0.8, 1.1, 1.5])
def test_a_ramp_goes_straight_down_nowhere_in_the_wood(width):
    """In one, two, three and more lines, forth and back, each layer begins where the one before has cut."""
    points = way(one_slot(width=width, entry="ramp"))
    step = np.diff(points, axis=0)
    upright = (np.hypot(step[:, 0], step[:, 1]) < 1e-9) & (step[:, 2] < -1e-9)
    assert points[1:][upright, 2].min(initial=9.0) >= 6.0 - 1e-9
    falls = step[:, 2] < -1e-9
    run = np.hypot(step[:, 0], step[:, 1])[falls & ~upright]
    assert (-step[falls & ~upright, 2] / run).max() <= CUTTER.ramp_slope + 1e-9
    assert points[:, 2].min() == pytest.approx(4.0)


@pytest.mark.parametrize("length", [2.0, 4.0, 20.0])
def test_a_short_slot_has_more_layers_rather_than_steeper_ramps(length):
    """The stated ramp is 5 degrees: 0.5 mm down takes 5.7 mm of way."""
    half = length / 2
    ends = np.array([[[50.0, -half], [50.0, half]]])
    points = way(one_slot(entry="ramp", lines=ends, through=np.full((1, 2), False)))
    step = np.diff(points, axis=0)
    run = np.hypot(step[:, 0], step[:, 1])
    falls = (step[:, 2] < -1e-9) & (run > 1e-9)
    assert falls.any()
    assert np.degrees(np.arctan((-step[falls, 2] / run[falls]).max())) <= 5.0 + 1e-6
    assert points[:, 2].min() == pytest.approx(4.0)


@pytest.mark.parametrize("high", [6.0, 6.2, 6.69])
def test_a_ramp_begins_on_top_of_what_stands_there(high):
    """Nothing under `high` is met from straight above; the ramp down is as steep as the cutter's own at most."""
    path = slotting(one_slot(entry="ramp"), surface=LEVEL, cutter=CUTTER, rapids=Rapids(15.0, 7.0),
                    stands=lambda places: (np.full(len(places), high), np.full(len(places), high + 0.3)))
    down = np.flatnonzero((path.kinds[:-1] == Move.RAPID) & (path.kinds[1:] != Move.RAPID))
    assert len(down) == 1 + (high > 6.1)  # the far end first, where something stands over it
    points = path.points[down[-1] :]
    assert points[0, 2] == pytest.approx(min(high + 0.3, 7.0))
    step = np.diff(points, axis=0)
    flat = np.hypot(step[:, 0], step[:, 1])
    upright = (flat < 1e-9) & (step[:, 2] < -1e-9)
    assert points[1:][upright, 2].min() >= high - 1e-9
    falls = (step[:, 2] < -1e-9) & ~upright
    assert (-step[falls, 2] / flat[falls]).max() <= CUTTER.ramp_slope + 1e-9
    # what stood over the start is gone, down to the board, before the first layer begins there
    back = np.flatnonzero((np.abs(points[:, :2] - points[0, :2]) < 1e-9).all(axis=1) & (points[:, 2] <= 6.0 + 1e-9))
    assert points[back[0], 2] == pytest.approx(6.0)


def test_pecks_go_down_by_quarters_of_a_layer_and_up_again_after_each():
    z = way(one_slot(entry="peck"))[:, 2]
    # each peck is taken up again quickly, from a quarter of a millimetre above where the last one ended
    layer = (0.125, 0, 0.25, 0, 0.375, 0, 0.125, 0.5)
    wanted = [6.0 - 0.5 * number - part for number in range(4) for part in layer]
    changes = z[np.append(True, np.abs(np.diff(z)) > 1e-9)]
    assert changes[-len(wanted):] == pytest.approx(wanted)


@pytest.mark.parametrize(("through", "plunges", "pecks"), [
    ((True, True), True, True), ((True, False), True, False), ((False, False), True, False),
    ((True, True), False, False),
])
def test_entry_left_open_is_by_pecks_where_both_ends_lie_in_waste(through, plunges, pecks):
    cutter = cutter_of("flat-end", 0.6, stepdown=0.5, plunges=plunges)
    points = way(one_slot(through=np.array([through]), short=3.0), cutter)
    step = np.diff(points, axis=0)
    upright = (np.hypot(step[:, 0], step[:, 1]) < 1e-9) & (step[:, 2] < -1e-9)
    assert bool((points[1:][upright, 2] < 5.99).any()) == pecks


@pytest.mark.parametrize("slant", [0.0, 30.0])
def test_a_slot_runs_out_over_the_edge_at_its_whole_width(slant):
    """0.5 mm past where its farther wall meets an edge that tapers by up to 0.1; a short one ends round on its line."""
    unit = np.array([np.sin(np.radians(slant)), np.cos(np.radians(slant))])
    points = way(one_slot(slant=slant, width=0.6))
    past = (points[:, :2] - [50.0, 0.0]) @ unit - 10.0 / unit[1]
    assert past.max() == pytest.approx(0.5 + 0.3 * (np.tan(np.radians(slant)) + 0.1))
    short = way(one_slot(slant=slant, through=np.array([[True, False]]), short=0.0))
    past = (short[:, :2] - [50.0, 0.0]) @ unit
    assert past.max() == pytest.approx(10.0 / unit[1] - 0.3)
    assert past.min() == pytest.approx(-10.0 / unit[1] - 0.5 - 0.3 * (np.tan(np.radians(slant)) + 0.1))


def test_a_blunt_v_bevels_both_edges_alike_where_the_surface_falls_across_the_slot():
    """A cone stands at every place of its way: what all together leave meets the surface at both edges, at no other
    place (a cone's flank over a place is its tip and the distance by its slope)."""
    surface = Surface(thickness=6.0, radius_nut=60.0, radius_end=400.0, length=30.0)
    v = cutter_of("v", 8.0, angle=165.0)
    slots = one_slot(bevel=0.2, short=0.0, lines=np.array([[[10.0, -10.0], [10.0, 10.0]]]))
    path = bevelling(slots, surface=surface, cutter=v, rapids=Rapids(15.0, 7.0))
    way = shapely.LineString(path.points[path.points[:, 2] < 6.0])
    way = np.array([p.coords[0] for p in (way.interpolate(a) for a in np.linspace(0.0, way.length, 6000))])
    for y in (-9.0, 0.0, 6.0, 9.0):
        for side in (-1, 1):
            inside, outside = (surface_over(way, v, surface, 10.0 + side * (0.5 + by), y) for by in (-0.01, 0.01))
            assert inside < 0.0 < outside


def test_a_bevel_that_curves_too_much_for_a_blunt_v_is_refused():
    """By the cones that all stand along such a way: 0.015 mm narrower 15 mm from the crest, of random board 9206."""
    surface = Surface(thickness=6.0, radius_nut=150.0, radius_end=150.0, length=30.0)
    slots = one_slot(bevel=0.13, width=0.75, lines=np.array([[[10.0, -14.0], [10.0, 14.0]]]))
    for angle, narrower in ((165.0, "0.012"), (162.65, "0.00504")):  # the second by a hair, and not "0.005 (0.005)"
        words = rf"{angle:g} degrees is too blunt: .* bevel would be {narrower} mm narrower"
        with pytest.raises(CutterError, match=words):
            bevelling(slots, surface=surface, cutter=cutter_of("v", 4.0, angle=angle), rapids=Rapids(15.0, 7.0))
    bevelling(slots, surface=surface, cutter=cutter_of("v", 4.0, angle=160.0), rapids=Rapids(15.0, 7.0))


def test_a_bevel_s_tip_may_go_as_deep_as_the_slot_and_its_cutter_open_as_wide_as_the_bevel():
    """By a right angle 0.8 mm is as deep as it is wide to each side, and no sum makes either more."""
    for bevel in (0.3, 0.1 + 0.2):
        path = bevelling(one_slot(bevel=bevel, width=1.0, depth=0.8), surface=LEVEL,
                         cutter=cutter_of("v", 1.6, angle=90.0), rapids=Rapids(15.0, 7.0))
        assert path.points[:, 2].min() == pytest.approx(5.2)
    with pytest.raises(CutterError, match="below the slot's bottom"):
        bevelling(one_slot(bevel=0.31, width=1.0, depth=0.8), surface=LEVEL, cutter=cutter_of("v", 2.0, angle=90.0),
                  rapids=Rapids(15.0, 7.0))


def test_a_bevel_s_way_goes_down_no_faster_than_the_plunge_feed():
    """A random board's edge fell by 1 in 4.5, and its v cutter's plunge feed was an eighth of its feed."""
    surface = Surface(thickness=6.0, radius_nut=40.0, radius_end=40.0, length=30.0)
    v = cutter_of("v", 4.0, angle=90.0, feed=1000.0, plunge=120.0)
    path = bevelling(one_slot(bevel=0.13), surface=surface, cutter=v, rapids=Rapids(15.0, 7.0))
    step = np.diff(path.points, axis=0)
    sinks = -step[:, 2] / np.linalg.norm(step, axis=1) * path.feeds(v, rapid=0.0)[1:]
    assert 0.85 * v.plunge < sinks[path.kinds[1:] == Move.CUT].max() <= v.plunge * 1.001


def surface_over(way, v, surface, x, y):
    """How high the cones along a way stand over the surface at a place, mm."""
    away = np.hypot(way[:, 0] - x, way[:, 1] - y)
    return float((way[:, 2] + away * v.wall_slope).min() - surface.height(x, y))


def test_a_bevel_runs_out_as_far_as_its_slot_or_goes_round_the_end():
    v = cutter_of("v", 6.0, angle=90.0)
    slots = one_slot(bevel=0.2, through=np.array([[True, False]]), short=0.0)
    path = bevelling(slots, surface=LEVEL, cutter=v, rapids=Rapids(15.0, 7.0))
    points = path.points[path.kinds != Move.RAPID]
    # half the slot and the bevel is 0.5 mm: so deep with a right angle; the slot's cutter ends where it does
    assert points[:, 1].min() == pytest.approx(way(slots)[:, 1].min()) == pytest.approx(-10.53)
    assert points[:, 1].max() == pytest.approx(10.0 - 0.3)
    assert points[:, 2].min() == pytest.approx(5.5)
    # the finished surface is not looked at where it cuts, on a part that goes on beside the slot's end
    swept = shapely.LineString(points[points[:, 2] < 5.51][:, :2]).buffer(0.5 - 1e-6)
    opened = Slot(slots).leaves_open(0.0)
    assert opened.covers(swept)
    assert opened.bounds[3] == pytest.approx(10.5)


@pytest.mark.parametrize(("finish", "bevel", "angle", "ends"), [
    (12.7, 0.2, 90.0, "through"), (6.0, 0.2, 90.0, "through"),
    (12.7, 0.3, 60.0, "through"), (12.7, 0.3, 60.0, 2.0),  # 1.04 deep, in slots that are open
])
def test_a_bevel_begins_over_what_stands_at_its_place(finish, bevel, angle, ends, tmp_path):
    """It was let down from 9 mm, over the raw blank, and later by pecks at both ends of each slot, half of its minutes.
    D: a flank of 45 degrees is as high over the tip as far off it."""
    v = small_board.cutter(name="v", shape="v", angle=angle, diameter=6.0, speed=18000, feed=400.0, plunge=100.0,
                           stepdown=1.0)
    extra = small_board.SLOT_CUTTER + v + \
        f'[slots]\ncutter = "slot"\ndepth = 2.0\nbevel = {bevel}\nbevel_cutter = "v"\nends = {ends!r}\n'
    made = small_board.built(tmp_path, extra=extra, changes={"diameter = 12.7": f"diameter = {finish}"}, resolution=0.1)
    assert made.passed
    path = next(path for step, path in zip(made.plan.clamping.steps, made.plan.paths, strict=True)
                if isinstance(step.operation, Bevel))
    down = path.points[np.flatnonzero(path.kinds == Move.PLUNGE) - 1]
    assert len(down) == 5
    assert (down[:, 2] > made.plan.clamping.finished_surface.height(*down[:, :2].T)).all()
    assert (down[:, 2] < 9.0 - 1.0).all()


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("plunges", [True, False])
def test_a_wide_v_is_let_down_into_the_blank_that_stands_beside_the_slots_ends(plunges, tmp_path):
    """A small ball leaves the raw blank 3 mm over the board's edges near them, and a blunt v reaches it."""
    v = small_board.cutter(name="v", shape="v", angle=140.0, diameter=6.0, speed=18000, feed=400.0, plunge=100.0,
                           stepdown=0.5, plunges=plunges)
    extra = small_board.SLOT_CUTTER + v + \
        '[slots]\ncutter = "slot"\ndepth = 2.0\nbevel = 0.2\nbevel_cutter = "v"\n'
    made = small_board.built(tmp_path, extra=extra, changes={"diameter = 12.7": "diameter = 3.0",
                                                             "thickness = 8.0": "thickness = 10.0"}, resolution=0.2)
    assert made.passed


@pytest.mark.parametrize("width", [0.6, 0.8, 1.1, 1.5])
def test_every_line_is_level_at_the_bottom(width):
    points = way(one_slot(width=width, entry="ramp"))
    low = (np.abs(points[1:, 2] - 4.0) < 1e-9) & (np.abs(points[:-1, 2] - 4.0) < 1e-9)
    lines = {round(float(x), 6) for x in points[:, 0]}
    for x in lines:
        along = low & (np.abs(points[1:, 0] - x) < 1e-6) & (np.abs(points[:-1, 0] - x) < 1e-6)
        reached = np.concatenate([points[1:][along, 1], points[:-1][along, 1]])
        assert np.ptp(reached) == pytest.approx(21.0 + 0.1 * width)
    assert max(lines) - min(lines) == pytest.approx(width - 0.6)


def test_layers_above_the_bottom_have_a_third_of_its_points():
    round_top = Surface(thickness=6.0, radius_nut=25.0, radius_end=25.0, length=100.0)
    path = slotting(one_slot(entry="peck"), surface=round_top, cutter=CUTTER, rapids=Rapids(15.0, 7.0))
    sideways = np.flatnonzero(np.abs(np.diff(path.points[:, 1])) > 1e-9)
    layers = [len(run) for run in np.split(sideways, np.flatnonzero(np.diff(sideways) > 1) + 1)]
    assert len(layers) == 4
    assert layers[-1] > 40
    assert all(layers[-1] / 3 <= count <= layers[-1] / 3 + 2 for count in layers[:-1])


def test_upper_layers_take_every_third_point_and_the_last_once():
    for count in (20, 21, 22, 60):
        line = np.column_stack([np.arange(count), np.zeros(count), np.zeros(count)])
        assert _coarse(line, 0.5)[:, 0].tolist() == [*range(0, count - 1, 3), count - 1]


@pytest.mark.parametrize("bottom", ["flat", "curve"])
@pytest.mark.parametrize(("radius", "stepdown"), [(15.0, 0.2), (25.0, 0.03), (50.0, 0.08), (100.0, 0.03)])
def test_no_layer_of_a_round_top_goes_far_below_the_one_before(bottom, radius, stepdown):
    """Neither where the curve meets a level bottom, nor between the fewer points of thin layers."""
    round_top = Surface(thickness=6.0, radius_nut=radius, radius_end=radius, length=100.0)
    thin = replace(CUTTER, stepdown=stepdown, flute_length=9.0)
    path = slotting(one_slot(entry="peck", bottom=bottom), surface=round_top, cutter=thin, rapids=Rapids(15.0, 7.0))
    across = np.linspace(-10.0, 10.0, 4001)
    stands = round_top.height(50.0, np.maximum(np.abs(across) - 0.3, 0.0))
    for a, b in itertools.pairwise(path.points[path.kinds != Move.RAPID]):
        if abs(b[1] - a[1]) > 1e-9:
            a, b = (a, b) if a[1] < b[1] else (b, a)
            now = np.where((across >= a[1]) & (across <= b[1]), np.interp(across, [a[1], b[1]], [a[2], b[2]]), stands)
            assert (stands - now).max() < stepdown + min(0.009, stepdown / 8) + 0.0015
            stands = np.minimum(stands, now)


def test_a_slanted_slot_follows_the_top_where_it_begins_to_fall_away():
    top = Lowered(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=100.0,
                  fall_away=FallAway(start=50.0, end=100.0, drop=0.5, curved=False))
    path = slotting(one_slot(slant=30.0), surface=top, cutter=CUTTER, rapids=Rapids(15.0, 7.0))
    points = path.points[path.kinds != Move.RAPID]
    deep = points[points[:, 2] < 4.2]
    unit = np.array([np.sin(np.pi / 6), np.cos(np.pi / 6)])
    for a, b in itertools.pairwise(deep):
        at = a + np.linspace(0.0, 1.0, 21)[:, None] * (b - a)
        rims = (top.height(*(at[:, :2] + side * 0.3 * unit).T) for side in (-1.0, 1.0))
        assert (at[:, 2] - np.maximum(*rims) + 2.0).min() > -0.0005


@pytest.mark.parametrize(("high", "layers"), [(0.9, 1), (1.0, 1), (2.0, 2), (2.1, 3), (3.0, 3)])
def test_what_divides_evenly_gets_no_layer_more(high, layers):
    """Down to slots, down holes by pecks of half a stepdown, and round and down by the pitch of a helix."""
    cutter = Cutter(name="c", shape="flat-end", diameter=1.0, speed=18000, feed=500.0, plunge=500.0, stepdown=1.0)
    line = np.array([[0.0, 0.0, 2.0], [20.0, 0.0, 2.0]])
    assert (np.diff(ramps_down(line, 2.0 + high, cutter)[:, 0]) > 0).sum() == layers
    assert (np.diff(_pecks(cutter, high / 2, 0.0, 9.0)[:, 2]) > 0).sum() == layers - 1
    # in a hole twice as wide as the cutter, pi mm2, a turn's pitch is a stepdown, as a full-width cut of 1 mm2 takes as
    # much over its way; that is 36 chords, within CHORD of it
    pitch = 36.0 * np.sin(np.pi / 36.0) / np.pi
    round_, _ = _helix(replace(cutter, ramp=45.0), 0.5, high * pitch, 0.0)
    assert (np.unwrap(np.arctan2(round_[:, 1], round_[:, 0]))[-1]) / (2 * np.pi) == pytest.approx(layers + 1)
    assert round_[-1, 2] == 0.0


def test_the_surface_is_cut_over_a_bay_as_wide_as_a_slot_across_it_runs_out():
    """A bay 4 mm wide from X 45 to the end of the board, which a slot crosses at X 50."""
    part = shapely.difference(shapely.box(0.0, -20.0, 100.0, 20.0), shapely.box(45.0, -2.0, 100.0, 2.0))
    for x, width, more in ((50.0, 0.6, 4 * (5.3 + RUN_OUT)), (50.0, 2.0, 4 * (6.0 + RUN_OUT)), (20.0, 2.0, 0.0)):
        slots = Slots(number=np.array([1]), lines=np.array([[[x, -20.0], [x, 20.0]]]), width=width, depth=2.0)
        board = SimpleNamespace(board=SimpleNamespace(outline=part), feature=lambda kind, slots=slots: slots,
                                cutter=lambda kind: None)
        assert Around(clamping=board).surfaced.area == pytest.approx(part.area + more)


@pytest.mark.parametrize(("diameter", "ramp", "stepdown", "plunge"), [
    (3.1, 5.0, 1.2, 300.0), (5.0, 5.0, 1.2, 300.0), (5.99, 5.0, 1.2, 300.0), (5.99, 12.0, 1.2, 300.0),
    (5.0, 20.0, 1.2, 900.0), (4.0, 45.0, 0.5, 1200.0), (5.0, 2.0, 2.0, 300.0),
])
def test_down_a_hole_it_keeps_to_its_ramp_and_takes_no_more_than_it_should(diameter, ramp, stepdown, plunge):
    """It went down by the stepdown and the plunge feed alone: 11.8 degrees, with 2.4 times what a tooth should take."""
    cutter = Cutter(name="c", shape="flat-end", diameter=3.0, speed=12000, feed=1200.0, plunge=plunge, ramp=ramp,
                    stepdown=stepdown, plunges=diameter < 3.45)
    holes = Holes(at=np.array([[10.0, 5.0]]), diameter=diameter, bottom=-0.5)
    path = drilling(holes, cutter=cutter, top=3.0, rapids=Rapids(15.0, 4.0))
    run = np.diff(path.points, axis=0)
    along = np.hypot(*run[:, :2].T)
    sinks = (along > 1e-9) & (run[:, 2] < 0.0)
    assert np.degrees(np.arctan2(-run[sinks, 2], along[sinks])).max() <= ramp + 1e-6
    block = Block((6, 1, 14, 9), 0.04, 3.0)
    taken = block.run(moves_along(path, cutter), 1.5).moving_sideways().each_minute(over=cutter.diameter)
    # stepover times stepdown at the feed, and half as much again: arithmetic
    assert taken.max() <= LOAD_FACTOR * 0.45 * 3.0 * stepdown * 1200.0 * 1.01


@pytest.mark.parametrize("width", [2.0, 3.3])
def test_the_slot_of_the_nut_is_eased_where_it_is_cut_over_the_whole_width(width):
    """Its cutter is one for pockets: it took 2.2 times what it should."""
    cutter = Cutter(name="c", shape="flat-end", diameter=2.0, speed=12000, feed=900.0, plunge=250.0, stepdown=0.9)
    slots = Slots(number=np.array([0]), lines=np.array([[[20.0, -10.0], [20.0, 10.0]]]), width=width, depth=1.8)
    level = Surface(thickness=5.0, radius_nut=np.inf, radius_end=np.inf, length=40.0)
    shares = []
    for eases in (True, False):
        path = slotting(slots, surface=level, cutter=cutter, rapids=Rapids(15.0, 7.0), eases=eases)
        loads = Block((15, -16, 25, 16), 0.04, 5.0).run(moves_along(path, cutter), 1.0).moving_sideways()
        shares.append(loads.per_tooth(over=cutter.diameter).max() / (0.45 * 2.0 * 0.9 * 900.0))
    assert shares[0] <= LOAD_FACTOR
    assert shares[1] > 2.0


@pytest.mark.parametrize(("cutter", "diameter", "said"), [
    ({}, 3.0, None), ({}, 5.99, None), ({}, 6.0, "more than 3 mm and at most 6 mm"),
    ({}, 2.99, "more than 1.495 mm and at most 2.99 mm"), ({"shape": "ball-end"}, 4.0, "flat-end"),
    ({"plunges": False}, 4.0, None), ({"plunges": False}, 3.45, None),
    *(({"plunges": False}, wide, "holes of 3.45 mm or more, or a cutter that plunges") for wide in (3.0, 3.02, 3.44)),
    ({"flute_length": 6.5}, 4.0, None), ({"flute_length": 6.45}, 4.0, "6.50 mm or more"),
])
def test_which_cutters_make_a_hole(cutter, diameter, said):
    """6 mm of wood and half a millimetre under it; as wide as the cutter, and less than twice as wide."""
    one = Cutter(**{"name": "c", "shape": "flat-end", "diameter": 3.0, "speed": 18000, "feed": 500.0, "plunge": 500.0,
                    "stepdown": 1.0, **cutter})
    holes = Holes(at=np.array([[10.0, 5.0]]), diameter=diameter, bottom=-0.5)

    def made():
        return drilling(holes, cutter=one, top=6.0, rapids=Rapids(15.0, 7.0))

    if said is None:
        cut = made().points[made().kinds != Move.RAPID]
        assert cut[:, 2].min() == -0.5
        assert np.hypot(*(cut[:, :2] - [10.0, 5.0]).T).max() == pytest.approx((diameter - 3.0) / 2, abs=1e-9)
        return
    with pytest.raises(CutterError) as caught:
        made()
    assert caught.value.allowed == said


def across(path):
    """How far rapids go across the board, mm."""
    return float(np.abs(np.diff(path.points[:, 1]))[path.kinds[1:] == Move.RAPID].sum())


def test_bevels_are_cut_back_and_forth():
    pair = np.array([[[at, -10.0], [at, 10.0]] for at in (30.0, 50.0, 65.0)])
    path = bevelling(one_slot(bevel=0.2, number=np.arange(1, 4), lines=pair), surface=LEVEL,
                     cutter=cutter_of("v", 6.0, angle=90.0), rapids=Rapids(15.0, 7.0))
    assert across(path) == 0.0


@pytest.mark.parametrize("width", [0.6, 0.8, 1.1, 1.5])
def test_waste_at_both_ends_of_all_lines_is_opened_in_one_way_across(width):
    path = slotting(one_slot(width=width, entry="ramp"), surface=LEVEL, cutter=CUTTER, rapids=Rapids(15.0, 7.0),
                    stands=lambda places: (np.full(len(places), 6.69), np.full(len(places), 7.0)))
    assert across(path) == pytest.approx(21.0 + 0.1 * width)


@pytest.mark.parametrize(("width", "lines"), [(0.6, 1), (0.8, 2), (1.1, 3)])
def test_each_layer_is_its_lines_once_and_a_short_ramp_to_and_fro(width, lines):
    """Four layers of 0.5 mm: at the stated 5 degrees a ramp is 5.7 mm long, there and back."""
    points = way(one_slot(width=width, entry="ramp"))
    long = 20.0 + 2 * (0.5 + 0.05 * width)
    moves = np.abs(np.diff(points[:, 1])).sum()
    assert moves == pytest.approx(4 * (lines * long + 0.5 / np.tan(np.radians(5.0))))


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("entry", ["ramp", "peck"])
@pytest.mark.parametrize(("width", "lines"), [(1.0, 2), (1.5, 3), (2.4, 5)])
def test_no_layer_takes_what_the_ones_above_it_left_between_lines_at_a_blind_end(entry, width, lines):
    """By the tests' own simulation; wide stepovers leave such corners two layers high, or on the slot's line."""
    cutter = cutter_of("flat-end", 0.6, stepdown=0.5, stepover=0.8)
    points = way(one_slot(width=width, entry=entry, through=np.full((1, 2), False)), cutter)
    assert len(set(np.round(points[:, 0], 6))) == lines
    wood, deepest = Wood((48.0, 52.0), (-11.0, 11.0), 6.0, 0.03), 0.0
    for start, end in itertools.pairwise(points):
        for window, _, foot, tip in wood.steps(start, end, shape="flat-end", diameter=0.6, angle=90.0):
            under = wood.heights[window]
            deepest = max(deepest, float(under[foot < under].max(initial=tip[2])) - tip[2])
            np.minimum(under, foot, out=under)
    assert deepest <= 0.5 + 1e-6
    on_line = np.abs(wood.xs - 50.0) < 0.016
    near_ends = (np.abs(np.abs(wood.ys) - 9.9) < 0.08) if lines == 2 else np.abs(wood.ys) < 9.6
    assert wood.heights[np.ix_(on_line, near_ends)].max() == pytest.approx(4.0)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("bottom", ["flat", "curve"])
@pytest.mark.parametrize(("width", "diameter", "ridge"), [(5.0, 2.0, 0.0), (0.8, 0.6, 0.0), (0.6, 0.6, 0.4)])
def test_no_layer_of_a_slanted_slot_takes_more_than_a_stepdown_on_its_uphill_side_or_on_ridges(
    bottom, width, diameter, ridge
):
    """By the tests' own simulation, on a circle of 40 mm with furrows along it; the uphill side of a wide slot stands
    0.4 mm over its line."""
    steep = Surface(thickness=12.0, radius_nut=40.0, radius_end=40.0, length=100.0)
    cutter = cutter_of("flat-end", diameter, stepdown=0.3)
    slots = one_slot(slant=40.0, width=width, bottom=bottom)
    path = slotting(slots, surface=steep, cutter=cutter, rapids=Rapids(15.0, 13.0), ridges=ridge)
    begin = np.flatnonzero(path.kinds != Move.RAPID)[0]
    wood = Wood((35.0, 65.0), (-14.0, 14.0), 0.0, 0.05)
    round_top = np.sqrt(40.0**2 - wood.ys**2)
    wood.heights[:] = 12.0 - 40.0 + round_top + ridge * 40.0 / round_top * np.abs(np.sin(2.0 * wood.ys))
    away = (wood.xs[:, None] - 50.0) * np.cos(np.radians(40.0)) - wood.ys * np.sin(np.radians(40.0))
    inside, deepest = (np.abs(away) < width / 2 - 0.08) & (np.abs(wood.ys) < 10.0), 0.0  # walls are ragged on a grid
    for k in range(begin, len(path)):
        for window, _, foot, tip in wood.steps(path.points[k - 1], path.points[k], shape="flat-end", diameter=diameter,
                                               angle=90.0):
            under = wood.heights[window]
            bitten = (foot < under) & inside[window]
            deepest = max(deepest, float(under[bitten].max(initial=tip[2])) - tip[2])
            np.minimum(under, foot, out=under)
    assert 0.2 < deepest <= 0.3 + 0.02
    if bottom == "curve" and width == 5.0:  # no upper layer, of fewer points, goes below what a rim on the line leaves
        ways = path.points[:-1, None] + np.linspace(0.0, 1.0, 21)[:, None] * np.diff(path.points, axis=0)[:, None]
        unit = np.array([np.sin(np.radians(40.0)), np.cos(np.radians(40.0))])
        on_line = [50.0, 0.0] + ((ways[..., :2] - [50.0, 0.0]) @ unit)[..., None] * unit
        rims = (steep.height(*np.moveaxis(on_line + side * unit, -1, 0)) for side in (-1.0, 1.0))
        assert (ways[..., 2] - np.maximum(*rims)).min() >= -2.0 - 0.002


def test_a_blind_slot_no_longer_than_its_cutter_is_wide_is_refused_and_one_hardly_longer_is_cut():
    def across(length):
        return one_slot(lines=np.array([[[50.0, 0.0], [50.0, length]]]), through=np.full((1, 2), False))

    with pytest.raises(CutterError, match=r"as wide as slot 1 is long, 0\.60 mm, or wider"):
        way(across(0.6))
    assert way(across(0.7))[:, 2].min() == pytest.approx(4.0)
