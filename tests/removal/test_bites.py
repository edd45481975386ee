"""What each move takes: against plane geometry, and against a simulation of the tests' own, move by move."""

import math
from dataclasses import replace

import numpy as np
import pytest

from pathgen.base.cutters import Cutter
from pathgen.removal.bites import Bites
from pathgen.removal.grid import Grid
from pathgen.removal.material import Material, Noting
from pathgen.removal.motion import Motion
from pathgen.verify.cutting import runs, width_over

RUN = {"speed": 10000.0, "feed": 1000.0, "plunge": 300.0, "stepdown": 1.0}
FLAT = Cutter(name="flat", shape="flat-end", diameter=3.0, **RUN)
CUTTERS = [FLAT, Cutter(name="ball", shape="ball-end", diameter=3.0, **RUN),
           Cutter(name="v", shape="v", diameter=6.0, angle=60.0, **RUN)]


def motion(points) -> Motion:
    points = np.asarray(points, dtype=float)
    n = len(points) - 1
    return Motion(start=points[:-1], end=points[1:], rapid=np.zeros(n, bool), feed=np.full(n, 100.0),
                  line=np.arange(1, n + 1), motion=np.arange(n))


def block(spacing, top=0.0, half=12.0):
    grid = Grid.over((-half, -half, half, half), spacing)
    return Material(grid, np.full(grid.shape, top, np.float32))


def steps(x0, x1, y, z, each):
    x = np.linspace(x0, x1, round(abs(x1 - x0) / each) + 1)
    return [(float(v), y, z) for v in x]


def turned(points, degrees=17.0):
    """Off the rows of the grid, where a whole row more or less would be cut."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    x, y, z = np.asarray(points, float).T
    return np.column_stack([c * x - s * y, s * x + c * y, z])


def engaged_deg(bites, run):
    """(n,) engaged angle over 2 mm of travel, degrees."""
    return np.degrees(bites.around(bites.edge, 2.0, run) / bites.around(bites.travel, 2.0, run))


@pytest.mark.parametrize("each", [0.05, 0.4, 16.0])
@pytest.mark.parametrize("stepover", [0.3, 1.35, 2.4])
def test_engaged_angle_and_volume_of_a_straight_cut(stepover, each):
    """F, plane geometry: arccos(1 - s / r); volume s x depth for each mm."""
    before = [(-9.0, 0.0, 5.0), (-9.0, 0.0, -1.0), (9.0, 0.0, -1.0), (9.0, 0.0, 5.0), (-8.0, stepover, 5.0)]
    path = motion(turned([*before, *steps(-8, 8, stepover, -1.0, each)]))
    bites, run = block(0.04).cut(path, FLAT, Noting(angle=True)).bites, runs(path)
    middle = np.arange(len(path)) >= 5
    middle &= (np.abs(path.start[:, 0]) < 4) | (each > 4)
    asked = math.degrees(math.acos(1 - stepover / FLAT.radius))
    assert np.median(engaged_deg(bites, run)[middle]) == pytest.approx(asked, rel=0.03)
    assert np.median(bites.section(2.0, run)[middle]) == pytest.approx(stepover * 1.0, rel=0.04)
    np.testing.assert_allclose(bites.depth[middle], 1.0, atol=1e-6)


@pytest.mark.parametrize("cutter", CUTTERS, ids=lambda c: c.shape)
@pytest.mark.parametrize("degrees", [0.0, 17.0])
def test_a_full_slot_is_engaged_all_round_the_front(cutter, degrees):
    path = motion(turned([(-8.0, 0.0, 5.0), *steps(-8, 8, 0.0, -1.0, 0.2)], degrees))
    bites = block(0.04).cut(path, cutter, Noting(angle=True)).bites
    middle = np.abs(path.start[:, 0]) < 4
    assert np.median(engaged_deg(bites, runs(path))[middle]) == pytest.approx(180, rel=0.06)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("cutter", CUTTERS, ids=lambda c: c.shape)
@pytest.mark.parametrize("seed", range(2))
def test_against_a_simulation_move_by_move(cutter, seed):
    """Brute force: the cutter stands at many places of each move, in order; each point is lowered at once."""
    rng = np.random.default_rng(seed)
    points = np.cumsum(rng.normal(0, 0.8, (60, 3)) * [1, 1, 0.0], axis=0)
    points[:, 2] = np.repeat(rng.uniform(-1.5, -0.2, 12), 5)
    points = np.concatenate([[[points[0, 0], points[0, 1], 3.0]], points])
    path, material = motion(points), block(0.1)
    bites = material.cut(path, cutter, Noting(deeper=0.7)).bites
    x, y = np.meshgrid(material.grid.xs, material.grid.ys)
    top = np.zeros_like(x)
    cell = material.grid.cell_area
    for k in range(len(path)):
        start, end = path.start[k], path.end[k]
        t = np.linspace(0, 1, 1 + max(1, math.ceil(float(np.linalg.norm(end - start)) / 0.01)))
        at = start + t[:, None] * (end - start)
        near = np.hypot(x - np.clip(x, at[:, 0].min(), at[:, 0].max()), y - np.clip(y, at[:, 1].min(), at[:, 1].max()))
        near = near <= cutter.radius
        off = np.hypot(at[:, 0, None] - x[near], at[:, 1, None] - y[near])
        after = np.minimum(top[near], (at[:, 2, None] + cutter.profile(off)).min(axis=0))
        drop = top[near] - after
        assert bites.volume[k] == pytest.approx(drop.sum() * cell, abs=0.02 + 0.03 * drop.sum() * cell)
        if start[2] == end[2] and (drop > 0.01).any():
            deepest = (top[near] - start[2])[drop > 0.01].max()
            assert bites.depth[k] >= deepest - 5e-3
        top[near] = after


def test_a_wall_along_the_rim_is_not_cut_deep_for_rounding():
    """A row of the grid just at a flat end's rim: level moves leave it, and one that sinks takes it, or not."""
    left = 0
    for y in np.arange(-5.0, 5.0, 0.5):
        material = block(0.1)
        edge = y + float(material.grid.ys[0] % 0.5) + FLAT.radius
        layers = [(x, edge - FLAT.radius, z) for z in (-2.0, -4.0, -6.0) for x in (-8.0, 8.0)]
        material.cut(motion([(-8.0, edge - FLAT.radius, 5.0), *layers]), FLAT, Noting(deeper=2.1, angle=True))
        at_rim = np.abs(material.grid.ys - edge) < 1e-6
        left += int((material.top[at_rim] > -1.0).any())
        sinks = motion([(-8.0, edge - FLAT.radius, -6.0), (8.0, edge - FLAT.radius, -7.9)])
        bites = material.cut(sinks, FLAT, Noting(deeper=2.1, angle=True)).bites
        assert bites.over.max() == 0.0
        assert bites.deep.max() == 0.0
        beside = motion([(-8.0, edge - FLAT.radius + 0.25, -6.0), (8.0, edge - FLAT.radius + 0.25, -7.9)])
        assert material.cut(beside, FLAT, Noting(deeper=2.1, angle=True)).bites.over.max() > 1.0  # a true wall is met
    assert left


def test_what_stands_at_the_rim_for_rounding_is_no_deep_bite():
    """Along a 3-4-5 triangle points of the grid lie at the rim exactly: layers above left some of them, or not."""
    ends = [(-4.75, -3.55), (4.85, 3.65)]
    layers = [(*xy, z) for n, z in enumerate((-1.0, -2.0, -3.0)) for xy in ends[:: 1 - 2 * (n % 2)]]
    sinks = [(*ends[0], -3.0 - 0.2 * n) if n % 2 else (*ends[1], -3.0 - 0.2 * n) for n in range(6)]
    path = motion([(*ends[0], 5.0), *layers, *sinks])
    bites = block(0.1).cut(path, FLAT, Noting(deeper=1.1, rims=False)).bites
    assert bites.drop.max() == pytest.approx(1.0, abs=1e-3)
    assert block(0.1).cut(path, FLAT, Noting(deeper=1.1)).bites.drop.max() > 1.5
    assert (bites.over.max(), bites.deep.max()) == (0.0, 0.0)


@pytest.mark.parametrize("cutter", CUTTERS, ids=lambda c: c.shape)
@pytest.mark.parametrize("back", [1.0, -1.0])
def test_a_slot_that_turns_off_a_long_pass_takes_as_much_for_each_mm(cutter, back):
    """D, Pappus: a front that follows its middle sweeps its own width, straight and round a bend wider than itself.

    Of a round end some is told late where a pass ends, a tenth at most.
    """
    turn = np.radians(np.linspace(-90, 0, 40))
    points = [(-20.0, -4.0), *np.column_stack([4 * np.cos(turn), 4 * np.sin(turn)])]
    path = motion([(back * x, y, -1.0) for x, y in points]).in_pieces(np.array([40, *[1] * 39]))
    bites = block(0.04, half=24.0).cut(path, cutter, Noting(angle=True)).bites
    taken = bites.around(bites.volume, cutter.diameter, runs(path)) / bites.around(
        bites.travel, cutter.diameter, runs(path))
    gone = np.cumsum(bites.travel)
    middle = (gone > 2 * cutter.diameter) & (gone < gone[-1] - cutter.diameter)
    straight = np.median(taken[(gone > 8.0) & (gone < 15.0)])
    late = 0.12 if cutter.shape == "ball-end" else 0.05
    assert taken[middle] == pytest.approx(np.full(middle.sum(), straight), rel=late)


@pytest.mark.parametrize("cutter", CUTTERS, ids=lambda c: c.shape)
@pytest.mark.parametrize("back", [False, True])
def test_what_a_pass_takes_near_its_ends_is_a_slot_of_its_own_section(cutter, back):
    """A pass is taken at once but for its ends, which are cut as moves: a tenth was missing where the two meet."""
    line = steps(-9, 9, 0.0, -1.0, 0.25)[::-1 if back else 1]
    path = motion([(*line[0][:2], 5.0), *line])
    bites = block(0.04).cut(path, cutter, Noting(angle=True)).bites
    around = np.ones(round(cutter.diameter / 0.25))  # as loads are judged: over a diameter of travel
    section = np.convolve(bites.volume[1:], around, "valid") / np.convolve(bites.travel[1:], around, "valid")
    assert section == pytest.approx(np.median(section), rel=0.05)


def test_a_trace_that_sums_leave_of_a_volume_is_no_wide_bite():
    """Beside 1 mm3 a few 1e-16 mm3 count, and as many from 0.1 mm over the limit do not: that divided by nothing."""
    way = motion([(0, 0, 0), (100, 0, 0), (200, 0, 0)])
    bites = replace(Bites.none(np.full(2, 100.0)), deep=np.array([1.0, 3e-16]), over=np.array([1.0, 0.1]))
    with np.errstate(all="raise"):
        assert width_over(bites, way, 4.0).tolist() == [0.01, 0.0]
