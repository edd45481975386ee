"""Ridges of programs whose passes run any way over the work, against plane geometry; lifted passes are not counted."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.verify.over_blank import motion_of
from pathgen.verify.passes import lines_of, way_of
from pathgen.verify.turned import Turned

BALL = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000, plunge=500, stepdown=2)
AREA = shapely.box(20, -12, 80, 12)
STEP = 0.6
FLAT_RIDGE = 3 - math.sqrt(9 - (STEP / 2) ** 2)
"""r - sqrt(r^2 - (s / 2)^2), plane geometry."""


def passes_at(degrees, top, *, step=STEP, reach=70.0):
    """(n, 3) tips, to and fro at an angle round (50, 0), on the surface every millimetre."""
    along = np.arange(-reach, reach + 1e-9, 1.0)
    way = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
    runs = []
    for k, off in enumerate(np.arange(-36.0, 36.0 + 1e-9, step)):
        plan = [50.0, 0.0] + along[:: -1 if k % 2 else 1, None] * way + off * np.array([-way[1], way[0]])
        runs.append(plan[np.abs(plan[:, 1]) < 40.0] if degrees else plan)
    plan = np.concatenate(runs)
    return np.column_stack([plan, top.tip_height(BALL, plan[:, 0], plan[:, 1])])


def text_of(tips, decimals=4):
    moves = "\n".join(f"X{x:.{decimals}f} Y{y:.{decimals}f} Z{z:.{decimals}f}" for x, y, z in tips.tolist())
    x, y, z = tips[0]
    down = f"G0 X{x:.{decimals}f} Y{y:.{decimals}f}\nG1 Z{z:.{decimals}f} F500\nF900\n"
    return f"G21 G90 G17 G94\nG0 Z30\nM3 S9000\n{down}{moves}\nG0 Z30\nM5\nM30\n"


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0, 90.0, 135.0])
def test_on_a_flat_every_way_gives_the_same_ridge(degrees):
    top = pathgen.flat(6.0)
    found = pathgen.ridges(text_of(passes_at(degrees, top), 6), cutter=BALL, top=top, area=AREA)
    assert found.highest == pytest.approx(FLAT_RIDGE, abs=1.5e-5)  # the sweep's own tolerance, ten nanometres
    assert found.predicted == pytest.approx(FLAT_RIDGE, abs=1e-6)
    assert shapely.buffer(AREA, 1e-6).covers(shapely.Point(found.highest_at))
    assert len(found.ridges.x) > 100


def test_across_a_cylinder_the_surface_is_straight():
    """Square to passes along y the cylinder is a straight line: ridges as on a flat, wherever they stand."""
    top = pathgen.radiused(thickness=6.0, start=254.0)
    found = pathgen.ridges(text_of(passes_at(90.0, top), 6), cutter=BALL, top=top, area=AREA)
    assert found.predicted == pytest.approx(FLAT_RIDGE, rel=1e-6)
    assert found.highest == pytest.approx(FLAT_RIDGE, abs=2e-4)  # straight moves of 1 mm sag on the curve
    assert found.low > -6e-4
    along = pathgen.ridges(text_of(passes_at(0.0, top), 6), cutter=BALL, top=top, area=AREA)
    assert along.predicted == pytest.approx(float(pathgen.scallop_height(along_step(top), 3.0, 254.0)), rel=1e-6)
    assert along.highest == pytest.approx(along.predicted, rel=5e-3)
    assert along.predicted < found.predicted * 0.995  # axes as far apart touch a cylinder nearer together


def along_step(top):
    """The widest step along the surface of the passes over AREA: R times the difference of their angles."""
    y = np.arange(-36.0, 36.0 + 1e-9, STEP)
    y = y[np.abs(y) <= 12.0 * 257.0 / 254.0]
    return 254.0 * np.diff(np.arcsin(y / 257.0)).max()


def test_oblique_over_a_cone_measured_and_predicted_agree():
    top = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
    found = pathgen.ridges(text_of(passes_at(30.0, top)), cutter=BALL, top=top, area=AREA)
    # sections are square to the passes in plan, and they slope: up to a hundredth higher
    assert found.highest == pytest.approx(found.predicted, rel=0.02)


def test_without_an_area_passes_span_it():
    top = pathgen.flat(6.0)
    found = pathgen.ridges(text_of(passes_at(90.0, top), 6), cutter=BALL, top=top)
    assert found.highest == pytest.approx(FLAT_RIDGE, abs=3e-6)
    assert found.passes == 121
    x0, y0, x1, y1 = found.area.bounds
    assert (x0, y0, x1, y1) == pytest.approx((14.02, -38.98, 85.98, 38.98), abs=0.01)


def test_passes_that_fan_out_along_the_lines_of_a_cone():
    top = pathgen.radiused(thickness=6.0, start=100.0, end=200.0, length=400.0)  # its apex at x = -400
    share = np.linspace(-0.05, 0.05, 101)
    tips = [(x, share[k] * (400.0 + x)) for k in range(101) for x in ((0.0, 100.0) if k % 2 else (100.0, 0.0))]
    plan = np.array(tips)
    found = pathgen.ridges(text_of(np.column_stack([plan, top.tip_height(BALL, *plan.T)]), 6), cutter=BALL, top=top)
    assert found.passes == 101
    assert found.highest == pytest.approx(found.predicted, rel=0.01)
    assert found.highest_at[0] > 99.0  # where they lie furthest apart


FLAWS = {  # one pass as (x, y, z) off its line, with a flaw of a stretch; and how far apart passes then are, in steps
    "lifted": (lambda a, b: [(0, 0, 0), (a, 0, 0), (a, 0, 0.3), (b, 0, 0.3), (b, 0, 0), (100, 0, 0)], 2.0),
    "lifted by ramps": (lambda a, b: [(0, 0, 0), (a - 0.8, 0, 0), (a, 0, 0.3), (b, 0, 0.3), (b + 0.8, 0, 0),
                                      (100, 0, 0)], 2.0),
    "aside": (lambda a, b: [(0, 0, 0), (a, 0, 0), (a, 0.2, 0), (b, 0.2, 0), (b, 0, 0), (100, 0, 0)], 4 / 3),
    "ends early": (lambda a, b: [(0, 0, 0), (96, 0, 0)], 2.0),
    "begins late": (lambda a, b: [(4, 0, 0), (100, 0, 0)], 2.0),
}


@pytest.mark.in_every_run(10)
@pytest.mark.parametrize("flaw", FLAWS)
@pytest.mark.parametrize("nth", [12, 1])
@pytest.mark.parametrize(("at", "long"), [(51.5, 2.0), (51.0, 8.0), (88.5, 2.0)])  # between two sections, over one,
def test_a_pass_that_leaves_its_ridge_standing_for_a_while_is_seen(flaw, nth, at, long):  # before a short rest
    off, apart = FLAWS[flaw]
    runs = []
    for k, y in enumerate(np.arange(-9.0, 9.1, STEP)):
        run = np.array(off(at, at + long) if k == nth else [(0, 0, 0), (100, 0, 0)], float) + [0.0, y, 6.0]
        runs.append(run[:: -1 if k % 2 else 1])
    found = pathgen.ridges(text_of(np.concatenate(runs)), cutter=BALL, top=pathgen.flat(6.0), limit=FLAT_RIDGE + 1e-3)
    assert not found.within_limit
    assert found.highest == pytest.approx(3 - math.sqrt(9 - (apart * STEP / 2) ** 2), rel=0.04)  # links cut a little


@pytest.mark.parametrize("first_alone", [True, False])
def test_ways_down_to_passes_are_no_ridges(first_alone):
    """Each pass goes the same way, or they go to and fro: then only the first has one."""
    runs = []
    for k, y in enumerate(np.arange(-9.0, 9.1, STEP)):
        run = np.array([(-8.0, y, 7.0), (0.0, y, 6.0), (100.0, y, 6.0), (100.0, y, 9.0), (-8.0, y, 9.0)])
        runs.append(run[1:3][:: -1 if k % 2 else 1] if first_alone and k else run[: 3 if first_alone else 5])
    found = pathgen.ridges(text_of(np.concatenate(runs)), cutter=BALL, top=pathgen.flat(6.0), limit=FLAT_RIDGE + 1e-4)
    assert found.within_limit
    assert found.passes == len(runs)
    assert found.area.bounds == pytest.approx((0.0, -9.0, 100.0, 9.0), abs=0.03)


def test_passes_lifted_over_the_surface_are_not_counted():
    top = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
    board = shapely.box(0, -15, 40, 15)
    cut = pathgen.finish(board, top, BALL, ridge=0.01, stock=9.0)
    found = pathgen.ridges(pathgen.program(cut), cutter=BALL, top=top)
    assert found.passes == len(cut.passes.y)
    assert found.predicted == pytest.approx(cut.passes.scallop, abs=2e-4)
    assert found.highest == pytest.approx(cut.passes.scallop, abs=2e-4)
    air = pathgen.second_cut(cut, proud=3.0, stepdown=0.5)
    assert pathgen.ridges(pathgen.program(air), cutter=BALL, top=top).passes == len(cut.passes.y)


@pytest.mark.in_every_run(0)
def test_rings_run_no_one_way_and_are_seen_both_ways():
    top = pathgen.flat(6.0)
    turn = np.linspace(0, 2 * np.pi, 541)
    rings = [np.column_stack([r * np.cos(turn), r * np.sin(turn), 0 * turn + 6.0])
             for r in np.arange(STEP / 2, 12.0, STEP)]
    text = text_of(np.concatenate(rings), 6)
    with pytest.raises(pathgen.ProgramError, match="side by side"):
        pathgen.ridges(text, cutter=BALL, top=top)
    found = pathgen.ridges(text, cutter=BALL, top=top, area=shapely.Point(0, 0).buffer(9.0))
    assert found.highest == pytest.approx(FLAT_RIDGE, abs=2e-5)
    assert math.isnan(found.predicted)


@pytest.mark.in_every_run(0)
def test_what_rings_leave_between_sections_is_found_on_the_field():
    """Rings that begin a whole step from their middle leave a tip there, sqrt(r^2 - s^2) below r (plane geometry)."""
    turn = np.linspace(0, 2 * np.pi, 181)
    asked = {"cutter": BALL, "top": pathgen.flat(6.0), "limit": 0.017, "area": shapely.Point(1.3, 1.7).buffer(5.0),
             "blank": pathgen.Blank(x=(-9.05, 9.05), y=(-9.05, 9.05), thickness=6.5)}
    for first, codes in ((STEP / 2, []), (STEP, ["ridge-too-high"])):
        rings = [np.column_stack([r * np.cos(turn), r * np.sin(turn), 0 * turn + 6.0])
                 for r in np.arange(first, 8.0, STEP)]
        found = pathgen.check_program(text_of(np.concatenate(rings), 6), **asked)
        assert [one.code for one in found.findings] == codes
    assert f"stands {3 - math.sqrt(9 - STEP**2):.4f} mm over" in found.findings[0].got


def test_a_field_shows_ridges_that_run_along_y():
    top = pathgen.flat(6.0)
    text = text_of(passes_at(90.0, top), 6)
    blank = pathgen.Blank(x=(50.0, 53.0), y=(0.0, 2.0), thickness=8.0)
    field = pathgen.simulate(blank, text, BALL, resolution=0.01)
    found = pathgen.ridges(field, top=top, area=shapely.box(50.1, 0.1, 52.9, 1.9))
    assert found.highest == pytest.approx(FLAT_RIDGE, abs=1e-4)


def test_the_way_is_found_and_turned_exactly():
    for degrees in (0.0, 45.0, 90.0, 152.0):
        motion, _ = motion_of(text_of(passes_at(degrees, pathgen.flat(6.0))), (0.0, 0.0, 0.0))
        way = way_of(motion)
        assert math.degrees(way) == pytest.approx(degrees, abs=0.05)
        lines = lines_of(Turned(pathgen.flat(6.0), way).motion(motion), 12.0)
        assert len(lines) > 30
        assert max(np.ptp(line.y) for line in lines) < 0.05


@pytest.mark.parametrize(("alone", "spread", "way"), [(5.0, 1.0, 50.0), (9.5, 1.0, 10.0), (1.0, 1.0, 50.0)])
def test_the_way_is_that_of_most_cutting_within_four_degrees(alone, spread, way):
    """One move at 10 degrees and nine from 46 to 54: what lies within 4 degrees goes the same way."""
    angles = np.radians([10.5, *np.arange(46.5, 55.0)])
    length = np.array([alone, *[spread] * 9])
    end = np.column_stack([length * np.cos(angles), length * np.sin(angles), np.zeros(10)])
    found = way_of(SimpleNamespace(start=np.zeros((10, 3)), end=end, cutting=np.ones(10, bool)))
    assert math.degrees(found) == pytest.approx(way + 0.5, abs=1e-6)


def test_cutting_that_goes_every_way_has_none():
    angles = np.radians(np.arange(0.5, 180.0, 4.0))
    end = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(len(angles))])
    motion = SimpleNamespace(start=np.zeros_like(end), end=end, cutting=np.ones(len(end), bool))
    assert way_of(motion) is None
    motion.end[:20] = [1.0, 1.0, 0.0]  # 20 of 45 moves, and longer ones, at 45 degrees: over four tenths
    assert math.degrees(way_of(motion)) == pytest.approx(45.0, abs=0.5)
    motion.cutting[:] = False
    assert way_of(motion) is None
