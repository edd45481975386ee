"""Pockets a little inside and a little outside each of their limits: heights made by hand, limits by their formulas.

A pocket 20 by 10 mm and 1.5 mm deep, in a cylinder of radius 100 mm about X.
"""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base import overlay
from pathgen.removal.grid import Grid
from pathgen.verify.findings import Tolerances
from pathgen.verify.pocket_measures import pocket_measures
from pathgen.verify.pocket_openings import openings_of
from pathgen.verify.pockets import (
    _Floor,
    _in_plan,
    _levelled,
    _nowhere_deep,
    _too_deep,
    _too_shallow,
    _uncut,
)
from pathgen.verify.reached_walls import reached_wall_findings
from pathgen.verify.simulate import OPENED, Poured
from pathgen.verify.slanting_walls import wall_findings
from tests.verify.test_repeats import motion

DEEP, RADIUS, CELL = 1.5, 100.0, 0.2
TOL = Tolerances()
AREA = shapely.box(5.0, -5.0, 25.0, 5.0)
INLAY = SimpleNamespace(index=2, depth=DEEP, area=AREA)
TOP = pathgen.radiused(thickness=6.0, start=RADIUS)
GRID = Grid.over((0.0, -8.0, 30.0, 8.0), CELL)
WINDOW = slice(5, 75), slice(10, 140)
PART = GRID.part(WINDOW)


def cutter(shape="flat-end", diameter=3.0):
    return pathgen.Cutter(name=shape, shape=shape, diameter=diameter, speed=100, feed=1, plunge=1, stepdown=1.0,
                          stepover=0.3, **({"angle": 60.0} if shape == "v" else {}))


def made(*cutters, **clamping):
    """A clamping with these cutters' pockets, as they should be, and what is looked at: (seen, poured, openings)."""
    steps = [SimpleNamespace(order=order, cutter=one, operation=SimpleNamespace(opens=INLAY, levels=INLAY),
                             file_name=f"{order}.nc") for order, one in enumerate(cutters, 1)]
    surface = TOP.height(GRID.xs, GRID.ys[:, None]).astype(np.float32)

    def culprit(*_):
        return "1.nc", 7

    culprit.first = lambda x, y, *_: ("1.nc", 7, x, y)
    removed = np.where(PART.covered(AREA), np.float32(DEEP), np.float32(0.0))
    seen = SimpleNamespace(
        clamping=SimpleNamespace(board=SimpleNamespace(surface=TOP), first_surface=TOP, steps=steps, surfacing=None,
                                 **clamping),
        tolerances=TOL, sim=SimpleNamespace(grid=GRID, surface=surface), motions={}, culprit=culprit)
    poured = Poured(inlay=INLAY, window=WINDOW, removed=removed, floor=surface[WINDOW] - removed,
                    fill=np.zeros(removed.shape, bool))
    return seen, poured, openings_of.__wrapped__(INLAY, steps, 0.0, TOL.pocket_plan, TOP)


def at(x, y):
    """Row and column of the point of the window next to a place."""
    return int(np.argmin(np.abs(PART.ys - y))), int(np.argmin(np.abs(PART.xs - x)))


def of_the_floor(seen, poured, openings):
    floor = _Floor.of(poured, poured.removed > OPENED, seen)
    return [*_too_deep(floor, poured, seen), *_too_shallow(floor, poured, openings, seen),
            *_nowhere_deep(poured, openings, seen)]


@pytest.mark.parametrize("share", [0.95, 1.05])
def test_a_point_of_the_floor_too_deep(share):
    seen, poured, openings = made(cutter())
    poured.floor[at(12.0, 3.0)] -= share * TOL.pocket_deep
    found = of_the_floor(seen, poured, openings)
    assert [f.code for f in found] == (["pocket-too-deep"] if share > 1 else [])
    if found:
        assert found[0].where == "inlay 3, 1.nc, line 7, 11.9 mm along, 2.9 mm across"
        assert found[0].got == f"{DEEP + share * TOL.pocket_deep:.4f} mm deep"


@pytest.mark.parametrize(("cutters", "place", "stair", "ridge"), [
    ((cutter(),), (15.0, 0.5), 2 * 0.3 * 3.0, 0.0),  # away from walls: two stepovers of 0.3
    ((cutter(),), (15.0, 4.7), 3.0, 0.0),  # beside a wall, within a cutter's width of it
    ((cutter(), cutter("ball-end", 2.0)), (15.0, 0.5), 2 * 0.3 * 3.0, 0.0),  # where no ball end goes
    ((cutter("ball-end", 2.0),), (15.0, 3.5), 0.0, TOL.floor_ridge),
])
@pytest.mark.parametrize("share", [0.99, 1.01])
def test_a_point_of_the_floor_too_high(cutters, place, stair, ridge, share):
    """The stair of a flat end on a slope is as high as the slope by what hangs over; the slope of a circle is exact."""
    seen, poured, openings = made(*cutters)
    where = at(*place)
    y = abs(PART.ys[where[0]])
    allowed = y / math.sqrt(RADIUS**2 - y**2) * stair + ridge + TOL.pocket_shallow
    poured.floor[where] += share * allowed
    assert [f.code for f in of_the_floor(seen, poured, openings)] == (["pocket-too-shallow"] if share > 1 else [])


@pytest.mark.parametrize(("one", "beside"), [(cutter(), 0.0), (cutter("ball-end", 4.0), None)])
@pytest.mark.parametrize("share", [0.97, 1.03])
def test_a_pocket_that_is_nowhere_as_deep_as_it_should_be(one, beside, share):
    """Its deepest point lies where the surface's rim over the judged floor is steepest, a cell and a half further."""
    seen, poured, openings = made(one)
    inset = 1.5 * TOL.pocket_plan
    half = 0.0 if one.is_flat else float(one.half_width(DEEP))  # of a ball end only where its axis goes is floor
    y = 5.0 - half - 2 * inset
    if beside is None:  # what a ball leaves beside its path: r - sqrt(r^2 - d^2), half a cell off or along the rim
        beside = max(2.0 - math.sqrt(4.0 - off**2) for off in (CELL / 2, 2 * inset + CELL / math.sqrt(2)))
    least = TOL.pocket_deep + y / math.sqrt(RADIUS**2 - y**2) * (inset + 1.5 * CELL) + beside
    poured.floor[poured.removed > OPENED] += share * least
    found = of_the_floor(seen, poured, openings)
    assert any("at its deepest" in f.got for f in found) == (share > 1)


@pytest.mark.parametrize(("one", "depth", "more"), [(cutter(), DEEP, 0.0), (cutter("v", 6.0), DEEP, None)])
@pytest.mark.parametrize("share", [0.5, 1.5])
def test_what_is_opened_outside_the_drawing(one, depth, more, share):
    seen, poured, openings = made(one)
    seen.clamping.surfacing = SimpleNamespace(scallop=0.05)
    if more is None:  # a v opens the ridges wider: tan(30 degrees) for each mm
        more = math.tan(math.pi / 6) * 0.05
    part, row = PART, at(15.0, 0.0)[0]
    grid = Grid(np.append(part.xs[part.xs < 25.0], 25.0 + share * (TOL.pocket_plan + more)), part.ys)
    seen.sim = SimpleNamespace(grid=grid)
    opened = np.zeros(grid.shape, bool)
    opened[row, -1] = True
    poured = SimpleNamespace(inlay=INLAY, window=(slice(None), slice(None)), by=None)
    found = list(_in_plan(poured, openings, opened, seen))
    assert [f.code for f in found] == (["pocket-outside-drawing"] if share > 1 else [])
    assert all(f.allowed.startswith(f"{TOL.pocket_plan + more:.2g} mm") for f in found)


@pytest.mark.parametrize("left", [1, 2])
def test_what_is_left_uncut(left):
    """Cells of 0.04 mm2: one is less than 0.05 mm2, two are more; what the cutter cannot reach does not count."""
    seen, poured, openings = made(cutter())
    opened = PART.covered(AREA)
    row, column = at(15.0, 0.0)
    opened[row, column : column + left] = False
    found = list(_uncut(poured, openings, opened, seen))
    assert [f.code for f in found] == (["pocket-uncut"] if left > 1 else [])
    assert all(f.got.startswith(f"{0.04 * left:.2f} mm2") for f in found)
    opened[at(15.0, 0.0)[0]] = True
    for x, y in ((24.9, 4.9), (5.1, -4.9), (5.1, 4.9)):  # corners, which a radius of 1.5 does not reach
        opened[at(x, y)] = False
    assert not list(_uncut(poured, openings, opened, seen))


@pytest.mark.parametrize(("surfacing", "lost", "found"), [
    ({"skim": 0.0, "leave": 0.0}, 0.00051, True), ({"skim": 0.0, "leave": 0.0}, 0.00049, False),
    ({"skim": 0.1, "leave": 0.0}, 0.3, False), ({"skim": 0.0, "leave": 0.1}, 0.3, False), (None, 0.3, False),
])
def test_wood_that_a_second_cut_takes(surfacing, lost, found):
    seen, poured, _ = made(cutter())
    seen.clamping.surfacing = surfacing and SimpleNamespace(**surfacing)
    poured = SimpleNamespace(inlay=INLAY, lost=lost, lost_at=(3.0, 4.0))
    assert [f.code for f in _levelled(poured, seen)] == (["resurface-takes-wood"] if found else [])
    seen.clamping.steps[0].operation.levels = None
    assert not list(_levelled(poured, seen))


def test_what_each_cutter_opens():
    """A square of 10 mm: a flat end of 3 mm leaves its corners, (1 - pi / 4) r^2 each (D), which one of 1 mm opens."""
    steps = made(cutter(), cutter(diameter=1.0))[0].clamping.steps
    openings = openings_of.__wrapped__(INLAY, steps, 0.0, 0.0, TOP)
    lost = {r: 4 * (1 - math.pi / 4) * r * r for r in (1.5, 0.5)}
    assert openings.alone[0].area == pytest.approx(200.0 - lost[1.5], abs=0.01)
    assert openings.beside[1].area == pytest.approx(lost[1.5] - lost[0.5], abs=0.02)
    assert (openings.beside[0].area, openings.alone[1].area) == (0.0, 0.0)
    assert openings.reach.area == pytest.approx(200.0 - lost[0.5], abs=0.01)
    assert sorted(openings.by_width()) == [(1.0, True), (3.0, True)]  # the wider hangs over in corners
    assert openings.by_width()[3.0, True].area == pytest.approx(200.0 - lost[0.5], abs=0.02)


@pytest.mark.parametrize(("shape", "bend", "up", "found"), [
    ("flat-end", 0.02, 0.0, False), ("flat-end", 0.05, 0.0, True), ("flat-end", 0.0, 0.3, True),
    ("v", 0.02, 0.0, False), ("v", 0.07, 0.0, True), ("v", 0.0, 0.15, True)])
def test_a_wall_that_the_cutter_keeps_off_over_a_millimetre_is_found(shape, bend, up, found):
    """Less than a cell of a grid, and than 0.05 mm2. At 10.5 mm the way bends away from the wall, or is lifted.

    A v of 60 degrees opens tan(30) for each mm of its depth, 0.5 mm here (D), and goes up into the corners.
    """
    one = cutter(shape, 1.0 if shape == "flat-end" else 6.0)
    seen, _, openings = made(one)
    deep = DEEP if one.is_flat else 0.5 / math.tan(math.pi / 6)
    (x0, y0, x1, y1), (left, low, right, high) = shapely.buffer(AREA, -0.5).bounds, shapely.buffer(AREA, -0.01).bounds
    way = [(10.0, y0, 0.0), (10.0, y0 + bend, up), (11.5, y0 + bend, up), (11.5, y0, 0.0)]
    for x, y, at_x, at_y in ((x1, y0, right, low), (x1, y1, right, high), (x0, y1, left, high), (x0, y0, left, low)):
        way += [(x, y, 0.0), *([] if one.is_flat else [(at_x, at_y, deep), (x, y, 0.0)])]
    lap = [(x, y, float(TOP.height(x, y)) - deep + z) for x, y, z in [*way, way[0]]]
    cuts = [(seen.clamping.steps[0], openings.axes[0], motion(lap))]
    cuts = [(step, axis, moves.in_pieces(moves.pieces(0.5))) for step, axis, moves in cuts]
    said = reached_wall_findings(INLAY, cuts, TOP, TOL, tight=0.2, hangs=0.0)
    assert [f.code for f in said] == (["pocket-uncut"] if found else [])


@pytest.mark.parametrize(("bend", "found"), [(0.0, False), (0.05, True)])
def test_a_wall_that_a_thin_v_just_opens_is_no_finding(bend, found):
    """0.2 mm deep one of 20 degrees opens 0.2 tan(10), 0.035 mm, to each side (D): 0.046 mm was said to be left between
    discs 0.15 mm apart on its long straight moves."""
    one, deep = replace(cutter("v"), angle=20.0), 0.2
    wide = deep * math.tan(math.radians(10.0))
    x0, y0, x1, y1 = shapely.buffer(AREA, -wide).bounds
    plan = np.array([(x0, y0), (10.0, y0), (10.0, y0 + bend), (11.5, y0 + bend), (11.5, y0), (x1, y0), (x1, y1),
                     (x0, y1), (x0, y0)])
    top = pathgen.flat(6.0)
    way = motion(np.column_stack([plan, np.full(len(plan), 6.0 - deep)]))
    cuts = [(SimpleNamespace(cutter=one), None, way)]
    inlay = SimpleNamespace(index=2, depth=deep, area=AREA)
    said = reached_wall_findings(inlay, cuts, top, TOL, tight=0.2, hangs=0.0)
    assert [f.code for f in said] == (["pocket-uncut"] if found else [])


@pytest.mark.parametrize("depth", [0.2, 0.4])
def test_a_flat_end_is_not_asked_to_hang_over_by_half_the_depth(depth):
    """On a circle of 100 mm the chord under a cutter of 3 mm rises y / sqrt(R^2 - y^2) times that (D)."""
    steps = made(cutter())[0].clamping.steps
    floor = openings_of.__wrapped__(SimpleNamespace(depth=depth, area=AREA), steps, 0.0, 0.0, TOP).alone[0]
    slope = 0.49 * depth / 3.0
    furthest = min(RADIUS * slope / math.sqrt(1.0 + slope**2), 3.5)
    assert floor.bounds[3] == pytest.approx(furthest + 1.5, abs=0.05)


def test_a_flat_end_over_the_crest_hangs_over_on_both_sides():
    """It stands on the crest itself: 0.49 of 0.04 mm are h = R - sqrt(R^2 - w^2) at w = y + r (D), not y / R of it."""
    steps = made(cutter())[0].clamping.steps
    axis = openings_of.__wrapped__(SimpleNamespace(depth=0.04, area=AREA), steps, 0.0, 0.0, TOP).axes[0]
    assert axis.bounds[3] == pytest.approx(math.sqrt(RADIUS**2 - (RADIUS - 0.49 * 0.04) ** 2) - 1.5, abs=0.03)


@pytest.mark.parametrize("plunges", [True, False])
def test_no_floor_is_asked_for_where_there_is_no_room_for_a_ramp(plunges):
    """A dot that a cutter of 3 mm only just fits: one that cannot go straight down leaves it to a later one."""
    dot = shapely.Point(0.0, 0.0).buffer(1.55)
    steps = made(replace(cutter(), plunges=plunges))[0].clamping.steps
    area = overlay.union(AREA, dot)
    floor = openings_of.__wrapped__(SimpleNamespace(depth=DEEP, area=area), steps, 0.0, 0.0, TOP).alone[0]
    assert floor.intersects(dot) == plunges
    assert floor.intersects(AREA)


def test_where_a_blunt_v_may_have_been_the_next_cutter_is_asked_for_no_more_than_corners():
    """Of 160 degrees, 0.26 mm deep: on level ground it opens 2.95 mm, fits, and leaves the feet of walls. By how far it
    opens a slope uphill, 2.1 mm on one side alone, it was taken never to have been there."""
    line = SimpleNamespace(depth=0.26, area=shapely.box(5.0, -5.0, 25.0, -1.9))
    steps = made(replace(cutter("v", 18.0), angle=160.0), cutter(diameter=1.9))[0].clamping.steps
    reach = openings_of.__wrapped__(line, steps, 0.0, TOL.pocket_plan, TOP).reach
    assert reach.area < 4 * (1 - math.pi / 4) * 1.5**2


def test_nothing_is_asked_for_between_two_parts_that_all_but_touch():
    """Each cutter ends a hair within the walls: a crack of 1 nm between two parts is a film of wood then."""
    halves = shapely.MultiPolygon([shapely.box(5.0, -5.0, 25.0, -1e-6), shapely.box(5.0, 0.0, 25.0, 5.0)])
    steps = made(cutter(), cutter(diameter=1.0))[0].clamping.steps
    reach = openings_of.__wrapped__(SimpleNamespace(depth=DEEP, area=halves), steps, 0.0, TOL.pocket_plan, TOP).reach
    crack = shapely.LineString([(7.0, 0.0), (23.0, 0.0)])
    assert reach.distance(crack) > TOL.pocket_plan
    assert reach.area > 190.0


@pytest.mark.parametrize(("cutters", "skimmed"), [
    ((cutter("v", 6.0),), 0.0), ((cutter("v", 6.0),), 0.3), ((cutter(), cutter("v", 6.0)), 0.1),
])
@pytest.mark.parametrize(("share", "cells"), [(0.98, 40), (1.02, 40), (1.02, 12), (1.02, 13)])
def test_wood_beside_walls_that_a_v_cutter_goes_down(cutters, skimmed, share, cells):
    """The flank falls by its slope less the surface's for each mm from the wall (D); half a square mm counts."""
    seen, poured, _ = made(*cutters, skimmed=lambda _: skimmed)
    gx, gy = np.meshgrid(PART.xs, PART.ys)
    inward = np.minimum(5.0 - np.abs(gy), np.minimum(gx - 5.0, 25.0 - gx)).clip(0.0)
    slope = np.abs(gy) / np.sqrt(RADIUS**2 - gy**2)
    wanted = np.minimum(DEEP, (math.sqrt(3.0) - slope) * inward) - skimmed
    high = wanted - slope * (3.0 if len(cutters) > 1 else 0.0) - share * (TOL.floor_ridge + TOL.pocket_shallow)
    surface = seen.sim.surface[WINDOW]
    poured.floor[:] = surface - np.where(inward > 0, wanted, 0.0)
    row, column = at(15.0, 4.4)
    these = row, slice(column - cells // 2, column - cells // 2 + cells)
    poured.floor[these] = (surface - high)[these]
    found = list(wall_findings(poured, seen.clamping.steps, seen.sim, seen.clamping, TOL))
    assert [f.code for f in found] == (["pocket-too-shallow"] if share > 1 and cells > 12 else [])
    assert all(f.got.startswith(f"{cells * 0.04:.2f} mm2 beside the walls stand up to 0.12 mm") for f in found)


def test_walls_that_no_v_cutter_ends_are_not_asked_to_slant():
    """A flat end, a ball end, a v before a flat end, or a v after a ball end; dots of less than 0.02 mm2."""
    v, ball = cutter("v", 6.0), cutter("ball-end", 2.0)
    for cutters, found in (((cutter(),), 0), ((ball,), 0), ((v, cutter()), 0), ((ball, v), 0), ((cutter(), v), 1)):
        seen, poured, _ = made(*cutters, skimmed=lambda _: 0.0)
        poured.floor[:] = seen.sim.surface[WINDOW] - 0.2
        assert len(list(wall_findings(poured, seen.clamping.steps, seen.sim, seen.clamping, TOL))) == found


def test_a_cell_at_the_rim_that_a_layer_just_missed_is_no_floor():
    removed = np.zeros((7, 9), np.float32)
    removed[2:5, 2:7] = 1.5
    removed[1, 4] = 0.75  # met by the first layer alone
    window, shape = (slice(None), slice(None)), shapely.box(0, 0, 1, 1)
    grid = SimpleNamespace(cell_area=0.01, part=lambda window: SimpleNamespace(
        covered=lambda shape: np.ones(removed.shape, bool)))
    inlay = SimpleNamespace(fill="none", regions=(("#204060", shape),), index=0, overfill=0.0)
    sim = SimpleNamespace(grid=grid, surface=np.zeros_like(removed), poured=[
        SimpleNamespace(inlay=inlay, removed=removed, floor=-removed, window=window)])
    (measure,) = pocket_measures(sim, SimpleNamespace())
    assert measure.depth_by_colour["#204060"] == (1.5, 1.5)
