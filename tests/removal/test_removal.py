"""Swept shapes and removal, against brute force, grey erosion by a ball and subtracted solids."""

import math
from dataclasses import replace

import manifold3d
import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import ndimage

from pathgen.base.cutters import Cutter
from pathgen.removal import material as removal
from pathgen.removal.bites import Bites
from pathgen.removal.discs import newly_under
from pathgen.removal.grid import Grid
from pathgen.removal.lengthwise import Pass, as_pass, passes_along
from pathgen.removal.material import Material, Noting, _parts_of
from pathgen.removal.motion import Motion
from pathgen.removal.moves import Moves, split
from pathgen.removal.sweep import RIM, swept_heights
from pathgen.verify.cutting import RIDGES, too_deep, widest_shaving

RUN = {"speed": 10000.0, "feed": 1000.0, "plunge": 300.0, "stepdown": 1.0}
BALL = Cutter(name="ball", shape="ball-end", diameter=3.0, **RUN)
FLAT = Cutter(name="flat", shape="flat-end", diameter=3.0, **RUN)
VEE = Cutter(name="v", shape="v", diameter=3.0, angle=60.0, **RUN)
CUTTERS = {cutter.shape: cutter for cutter in (BALL, FLAT, VEE)}


def motion(points, rapid=()) -> Motion:
    points = np.asarray(points, dtype=float)
    n = len(points) - 1
    is_rapid = np.zeros(n, bool)
    is_rapid[list(rapid)] = True
    return Motion(start=points[:-1], end=points[1:], rapid=is_rapid, feed=np.full(n, 100.0), line=np.arange(1, n + 1),
                  motion=np.arange(n))


def blank(xs, ys, top=50.0) -> Material:
    grid = Grid(np.asarray(xs, float), np.asarray(ys, float))
    return Material(grid, np.full(grid.shape, top, np.float32))


def by_brute_force(cutter, start, end, x, y, steps=4001):
    """The lowest underside over every point, of the cutter at many places along the move."""
    t = np.linspace(0, 1, steps)
    at = start + t[:, None] * (end - start)
    off = np.hypot(at[:, 0, None] - x.ravel(), at[:, 1, None] - y.ravel())
    return (at[:, 2, None] + cutter.profile(off)).min(axis=0).reshape(x.shape)


coordinate = st.floats(-4, 4)


@settings(max_examples=40, deadline=None)
@given(
    shape=st.sampled_from(sorted(CUTTERS)), a=st.tuples(coordinate, coordinate, st.floats(0, 3)),
    b=st.tuples(coordinate, coordinate, st.floats(0, 3)),
    kind=st.sampled_from(["slanting", "level", "plunge", "along"]),
)
def test_every_straight_move_against_brute_force(shape, a, b, kind):
    cutter, start, end = CUTTERS[shape], np.array(a), np.array(b)
    if kind == "level":
        end[2] = start[2]
    if kind == "plunge":
        end[:2] = start[:2]
    if kind == "along":
        end[1] = start[1]
    xs = ys = np.linspace(-6, 6, 17) + 0.0137
    material = blank(xs, ys)
    material.cut(motion([start, end]), cutter)
    x, y = np.meshgrid(xs, ys)
    steps = 2001
    brute = np.minimum(by_brute_force(cutter, start, end, x, y, steps), 50.0)
    # brute force only misses: by the profile's steepest rise between two of its places, and at rims it never stood on
    step = float(np.linalg.norm(end - start)) / (steps - 1)
    rim = np.abs(_distance(start, end, x, y) - cutter.radius) < 2 * step + 1e-4
    inner = ~rim
    if shape == "ball-end":  # its flank is upright at the rim
        inner &= _distance(start, end, x, y) < 0.98 * cutter.radius
    # heights are kept in float32, which a ball's steep flank magnifies: ten nanometres
    assert np.all(material.top[inner] <= brute[inner] + 1e-5)
    slack = step * (abs(end[2] - start[2]) / max(np.hypot(*(end - start)[:2]), 1e-9) + 6) + 1e-5
    if kind != "plunge" and abs(end[2] - start[2]) < 2 * np.hypot(*(end - start)[:2]):
        assert np.all(material.top[inner] >= brute[inner] - slack)


def _distance(start, end, x, y):
    run = (end - start)[:2]
    length2 = float(run @ run)
    t = np.clip(((x - start[0]) * run[0] + (y - start[1]) * run[1]) / length2, 0, 1) if length2 else 0.0
    return np.hypot(x - start[0] - t * run[0], y - start[1] - t * run[1])


def test_ball_on_a_slope_is_a_cylinder():
    """D: under a move of slope m the ball's envelope is the line less rho sqrt(1 + m^2) (a tilted cylinder)."""
    slope, v = 0.5, np.array([0.0, 0.4, 1.1])
    u = np.full(3, 10.0)
    mine = swept_heights(BALL, u, v, np.array(20.0), np.array(20.0 * slope))
    exact = slope * u + BALL.radius - np.sqrt(BALL.radius**2 - v**2) * math.hypot(1, slope)
    np.testing.assert_allclose(mine, exact, atol=1e-12)


@pytest.mark.parametrize("slope", [0.0, 1e-4, 0.05, 0.4])
@pytest.mark.parametrize("shape", sorted(CUTTERS))
def test_whole_passes_cut_what_their_moves_cut_one_by_one(shape, slope):
    rng = np.random.default_rng(4)
    cutter = CUTTERS[shape]
    x = np.linspace(-20, 20, 30)
    z = 2.0 + (slope * x if slope > 1e-3 else slope * x - slope / 10 * (x - 3) ** 2)
    points = np.column_stack([x, np.full_like(x, 0.31), z])
    assert passes_along(motion(points), cutter) == [(0, 29)]
    xs, ys = np.sort(rng.uniform(-25, 25, 400)), np.sort(rng.uniform(-3, 3, 60))
    together, apart = blank(xs, ys), blank(xs, ys)
    together.cut(motion(points), cutter)
    for k in rng.permutation(29):
        apart.cut(motion(points[k : k + 2]), cutter)
    np.testing.assert_allclose(together.top, apart.top, atol=2e-5)  # float32 on a ball's upright flank


@pytest.mark.parametrize("shape", ["ball-end", "v"])
def test_a_pass_that_was_rounded_in_a_turned_program_is_cut_as_one(shape):
    """A board that was put back a little turned: its passes come back with thousandths of a millimetre to and fro."""
    rng, cutter = np.random.default_rng(5), CUTTERS[shape]
    x = np.linspace(-20, 20, 30)
    points = np.column_stack([x, np.full_like(x, 0.31), np.full_like(x, 2.0)])
    turn = np.radians(0.4)
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    points[:, :2] = np.round(points[:, :2] @ turned.T, 3) @ turned
    assert np.ptp(points[:, 1]) > 5e-4
    xs, ys = np.sort(rng.uniform(-25, 25, 400)), np.sort(rng.uniform(-3, 3, 60))
    together, apart = blank(xs, ys), blank(xs, ys)
    together.cut(motion(points), cutter)
    for k in range(29):
        apart.cut(motion(points[k : k + 2]), cutter)
    away = np.abs(ys - 0.31)
    near = away < 0.9 * cutter.radius  # as far as its flank is not all but upright
    np.testing.assert_allclose(together.top[near], apart.top[near], atol=2e-3)
    np.testing.assert_allclose(together.top[away < 0.3], apart.top[away < 0.3], atol=2e-3 if shape == "v" else 2e-4)
    assert together.worked < apart.worked / 3
    assert not passes_along(motion(points), CUTTERS["flat-end"])  # at its rim they would meet other points


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), steepest=st.sampled_from([0.004, 0.03, 0.2]))
def test_passes_of_a_round_end_that_bend_cut_what_their_moves_cut(seed, steepest):
    """Points crowd where it bends, up and down, as along relief: it is cut at once all the same."""
    rng = np.random.default_rng(seed)
    x = np.concatenate([np.linspace(-20, 20, 9), rng.uniform(-9, 9, 3)[:, None].repeat(6, 1).ravel()])
    x = np.unique(np.round(x + rng.uniform(-0.1, 0.1, len(x)), 4))
    z = np.concatenate([[0.0], np.cumsum(np.diff(x) * rng.uniform(-steepest, steepest, len(x) - 1))])
    points = np.column_stack([x, np.full_like(x, 0.31), 3.0 + z])
    path = motion(points)
    whole, _ = as_pass(path, 0, len(path), BALL, np.zeros(len(path), bool), 50.0, ends=False)
    assert whole is not None
    xs, ys = np.sort(rng.uniform(-25, 25, 400)), np.sort(rng.uniform(-3, 3, 60))
    together, apart = blank(xs, ys), blank(xs, ys)
    together.cut(path, BALL)
    for k in rng.permutation(len(path)):
        apart.cut(motion(points[k : k + 2]), BALL)
    x, y = np.meshgrid(xs, ys)
    inner = _distance(points[0], points[-1], x, y) < 0.98 * BALL.radius  # its flank is upright at the rim
    np.testing.assert_allclose(together.top[inner], apart.top[inner], atol=1.5e-5)


@pytest.mark.parametrize("shape", ["ball-end", "flat-end"])
def test_removal_is_grey_erosion_by_the_cutter(shape):
    """scipy.ndimage: a cutter that follows a map of tip heights everywhere leaves that map eroded by itself."""
    rng = np.random.default_rng(7)
    cutter, spacing = CUTTERS[shape], 0.25
    n = 41
    tips = 3 + ndimage.gaussian_filter(rng.uniform(-3, 3, (n, n)), 3)
    offsets = spacing * np.arange(-6, 7)
    profile = cutter.profile(np.hypot(offsets[:, None], offsets))
    footprint = np.isfinite(profile)
    structure = np.where(footprint, -profile, 0.0)
    eroded = ndimage.grey_erosion(tips, footprint=footprint, structure=structure, mode="constant", cval=1e9)
    xs = spacing * np.arange(n)
    material = blank(xs, xs)
    i, j = np.meshgrid(np.arange(n), np.arange(n))
    places = np.column_stack([xs[i.ravel()], xs[j.ravel()], tips[j.ravel(), i.ravel()]])
    material.cut(Motion(start=places, end=places, rapid=np.zeros(n * n, bool), feed=np.ones(n * n),
                        line=np.arange(n * n), motion=np.arange(n * n)), cutter)
    np.testing.assert_allclose(material.top, eroded, atol=3e-6)


@pytest.mark.parametrize("shape", ["ball-end", "flat-end", "v"])
def test_volumes_of_swept_solids(shape):
    """manifold3d: the hull of the cutter at both ends of a move is its swept solid, taken from a block."""
    cutter = CUTTERS[shape]
    start, end = np.array([-2.0, -1.0, 2.2]), np.array([3.0, 1.5, 1.2])
    ends = [_solid(cutter).translate(place.tolist()) for place in (start, end)]
    swept = manifold3d.Manifold.batch_hull(ends)
    block = manifold3d.Manifold.cube([12.0, 10.0, 3.0]).translate([-6.0, -5.0, 0.0])
    left = (block - swept).volume()
    spacing = 0.02
    grid = Grid.over((-6.0, -5.0, 6.0, 5.0), spacing)
    material = Material(grid, np.full(grid.shape, 3.0, np.float32))
    material.cut(motion([start, end]), cutter)
    assert float(material.top.sum(dtype=float)) * spacing**2 == pytest.approx(left, rel=4e-4)


def _solid(cutter):
    """Facets finer than a micrometre or so; the body goes on upward with the full diameter."""
    if cutter.shape == "ball-end":
        tip = manifold3d.Manifold.sphere(cutter.radius, 400).translate([0, 0, cutter.radius])
    elif cutter.shape == "v":
        tip = manifold3d.Manifold.cylinder(cutter.shape_height, 1e-9, cutter.radius, 400)
    else:
        tip = manifold3d.Manifold.cylinder(0.1, cutter.radius, cutter.radius, 400)
    body = manifold3d.Manifold.cylinder(10.0, cutter.radius, cutter.radius, 400)
    return tip + body.translate([0, 0, cutter.shape_height])


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), shape=st.sampled_from(sorted(CUTTERS)))
@example(seed=6094, shape="ball-end")  # a point on the rim
@example(seed=21237, shape="ball-end")  # a point near it, where a flank is steep
def test_the_order_of_moves_leaves_the_same(seed, shape):
    rng = np.random.default_rng(seed)
    points = rng.uniform([-5, -5, 0], [5, 5, 3], (12, 3))
    xs = ys = np.linspace(-6, 6, 40)
    forward, back = blank(xs, ys, 4.0), blank(xs, ys, 4.0)
    forward.cut(motion(points), CUTTERS[shape], Noting(deeper=0.5))
    back.cut(motion(points[::-1]), CUTTERS[shape])
    moves = shapely.linestrings(np.stack([points[:-1, :2], points[1:, :2]], axis=1))
    off = shapely.distance(moves[:, None, None], shapely.points(*np.meshgrid(xs, ys)))
    # where a flank stands upright, float32 may put a point outside
    clear = (np.abs(off - CUTTERS[shape].radius) > 1e-4).all(axis=0)
    np.testing.assert_allclose(forward.top[clear], back.top[clear], atol=2e-4)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), shape=st.sampled_from(sorted(CUTTERS)), block=st.integers(1, 5))
def test_passes_and_moves_taken_together_or_apart(seed, shape, block):
    """Two at a time, or a hundred: the same stands there, and the same is noted."""
    rng = np.random.default_rng(seed)
    rows = np.repeat(rng.uniform(-5, 5, 8), 2)
    points = np.column_stack([np.tile([-15.0, 15.0, 15.0, -15.0], 4), rows, np.repeat(rng.uniform(0, 3, 8), 2)])
    path = motion(np.concatenate([[[-15.0, rows[0], 9.0]], points, rng.uniform([-5, -5, 1], [5, 5, 6], (6, 3))]),
                  rapid=[0, 19])
    xs, ys = np.linspace(-16, 16, 90), np.linspace(-6, 6, 60)
    together, apart = blank(xs, ys, 4.0), blank(xs, ys, 4.0)
    noted = together.cut(path, CUTTERS[shape], Noting(deeper=0.8)).bites
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(removal, "_TOGETHER", 4096 * block)
        patch.setattr(removal, "_LOOK_AGAIN", 0)
        noted_apart = apart.cut(path, CUTTERS[shape], Noting(deeper=0.8)).bites
    np.testing.assert_allclose(together.top, apart.top, atol=1e-6)
    for kind in ("volume", "depth", "drop", "deep", "over", "edge"):
        np.testing.assert_allclose(getattr(noted, kind), getattr(noted_apart, kind), atol=2e-5, err_msg=kind)


def deepest(material, path, cutter, limit, **known) -> tuple[float, int]:
    """The deepest cut that is too deep, and the move that does it; 0 and 0 for none."""
    bites = material.cut(path, cutter, Noting(deeper=limit, **known)).bites
    shaving = RIDGES * cutter.diameter if known else float(widest_shaving(cutter, limit))
    depth = np.where(too_deep(bites, path, cutter, limit=limit, shaving=shaving), bites.over + limit, 0.0)
    return (float(depth.max()), int(np.argmax(depth)) + 1) if depth.any() else (0.0, 0)


@pytest.mark.parametrize(("wide", "found"), [(0.11, False), (1.0, True)])
def test_a_last_lap_up_a_tall_wall_is_a_shaving_also_where_a_row_of_the_grid_shows_it_wider(wide, found):
    """5.3 mm of wall, 0.08 mm of it with a cutter of 1 mm, seen as a row of 0.1 mm; and as wide as the cutter is."""
    cutter = replace(CUTTERS["flat-end"], diameter=1.0, stepdown=0.47)
    way = motion([(x, 0.0, -0.2) for x in np.arange(0.0, 6.0, 0.5)])
    bites = Bites.none(np.full(len(way), 0.5))
    bites.drop[:] = 5.3
    bites.volume[:] = 5.3 * wide * 0.5
    bites.over[-1], bites.deep[-1] = 0.28, 0.28 * wide * 0.5
    assert too_deep(bites, way, cutter, limit=0.52, shaving=0.17, grain=0.1).any() == found


def test_cuts_that_are_too_deep_and_rapids_through_wood_are_noted():
    xs = ys = np.linspace(-10, 10, 201)
    path = [(-5, 0, 9), (-5, 0, 4), (5, 0, 4), (5, 0, 2.5), (-5, 0, 2.5), (-5, 4, 2.5), (-5, 4, 9)]
    whole = motion(path, rapid=[0, 4, 5])
    depth, line = deepest(blank(xs, ys, 5.0), whole, FLAT, 1.2)
    assert depth == pytest.approx(1.5, abs=1e-6)
    assert line in (3, 4)
    drop = blank(xs, ys, 5.0).cut(whole, FLAT, Noting()).bites.drop[whole.rapid]
    np.testing.assert_allclose(drop, [1.0, 2.5, 0.0], atol=1e-6)
    assert deepest(blank(xs, ys, 5.0), motion(path[:4]), FLAT, 1.6) == (0, 0)


def test_a_short_move_at_the_end_of_a_long_one_is_not_judged_by_its_own_travel():
    """A thin wall, finished ten stepdowns deep: 0.05 mm wide for 2 mm, and a last move of 0.02 mm into the corner."""
    xs, ys = np.linspace(-4, 4, 801), np.linspace(-4, 4, 801)
    path = [(-2.5, 0, 9), (-2.5, 0, 4), (2, 0, 4), (2, 0, 9), (-2.5, 0.05, 9), (-2.5, 0.05, 4), (2, 0.05, 4),
            (2.02, 0.05, 4)]
    material = blank(xs, ys, 5.0)
    material.cut(motion(path[:4]), FLAT)
    assert deepest(material, motion(path[4:], rapid=[]), FLAT, 0.1) == (0, 0)


@pytest.mark.parametrize("each", [0.1, 0.3, 2.0, 40.0])
@pytest.mark.parametrize("shape", sorted(CUTTERS))
def test_a_deep_cut_in_short_moves_is_noted_as_in_long_ones(each, shape):
    """One by one short moves take shavings; together they take a groove 6 mm deep."""
    xs, ys = np.linspace(-25, 25, 501), np.linspace(-4, 4, 81)
    along = np.append(np.arange(-30.0, 20.0, each), 20.0)
    path = [(-30.0, 0.0, 12.0), *((x, 0.3 * math.sin(x / 3), 4.0) for x in along)]
    depth, _ = deepest(blank(xs, ys, 10.0), motion(path, rapid=[0]), CUTTERS[shape], 0.5)
    assert depth == pytest.approx(6.0, abs=1e-4 if shape == "flat-end" else 0.05)


def test_short_moves_down_a_ramp_take_what_a_ramp_takes():
    xs, ys = np.linspace(-25, 25, 501), np.linspace(-4, 4, 81)
    along = np.arange(-20.0, 20.0, 0.2)
    path = [(-20.0, 0.0, 12.0), *((x, 0.0, 10.0 - 0.05 * (x + 20.0)) for x in along)]
    assert deepest(blank(xs, ys, 10.0), motion(path, rapid=[0]), FLAT, 2.1) == (0, 0)


@pytest.mark.parametrize("level", [0.1, 0.4])
def test_a_valley_with_a_level_bottom_along_a_pass_of_a_flat_end(level):
    points = np.array([[-15.0, 0.0, 9.9], [-level, 0.0, 8.41], [level, 0.0, 8.41], [15.0, 0.0, 9.9]])
    xs, ys = np.linspace(-12, 12, 481), np.linspace(-1.4, 1.4, 15)
    together, apart = blank(xs, ys), blank(xs, ys)
    together.cut(motion(points), FLAT)
    for k in range(3):
        apart.cut(motion(points[k : k + 2]), FLAT)
    np.testing.assert_allclose(together.top, apart.top, atol=2e-5)


@pytest.mark.parametrize(("layers", "noted"), [([0.0], True), ([0.5, 0.0], False)])
def test_passes_side_by_side_through_what_stands_proud(layers, noted):
    """A round end takes little at each point beside the pass before it, but stands as deep as the layer is thick."""
    ball = Cutter(name="ball 12", shape="ball-end", diameter=12.0, **RUN)
    xs, ys = np.linspace(-30, 30, 301), np.linspace(-12, 12, 241)
    material = blank(xs, ys, 1.0)
    path = [(-40.0, -20.0, 9.0)]
    for z in layers:
        for k, y in enumerate(np.arange(-20.0, 20.0, 0.7)):
            path += [(x, y, z) for x in ((-40.0, 40.0) if k % 2 == 0 else (40.0, -40.0))]
        path += [(path[-1][0], 20.0, 9.0), (-40.0, -20.0, 9.0)]
    rapid = [k for k in range(len(path) - 1) if path[k][2] == path[k + 1][2] == 9.0]
    depth, _ = deepest(material, motion(path, rapid), ball, 0.56, surface=np.zeros_like(material.top))
    assert (depth > 0.8) == noted
    assert noted or depth == 0


def test_a_shank_beside_a_wall_is_noted():
    short = Cutter(name="short", shape="flat-end", diameter=3.0, flute_length=2.0, **RUN)
    xs = ys = np.linspace(-10, 10, 201)
    path = [(-5, 0, 9), (-5, 0, 4), (5, 0, 4), (5, 0, 2.5), (-5, 0, 2.5)]
    assert blank(xs, ys, 5.0).cut(motion(path), short).shank.depth == pytest.approx(0.5, abs=1e-5)
    assert blank(xs, ys, 5.0).cut(motion(path[:3]), short).shank.depth == 0


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_points_inside_a_shape(seed):
    """shapely says the same of every point."""
    rng = np.random.default_rng(seed)
    shape = shapely.union_all([shapely.Point(*rng.uniform(-5, 5, 2)).buffer(rng.uniform(0.5, 3)) for _ in range(5)])
    shape = shape.difference(shapely.Point(*rng.uniform(-5, 5, 2)).buffer(1.0))
    grid = Grid(np.sort(rng.uniform(-9, 9, 50)), np.sort(rng.uniform(-9, 9, 40)))
    x, y = np.meshgrid(grid.xs, grid.ys)
    np.testing.assert_array_equal(grid.covered(shape), shapely.contains_xy(shape, x, y))


@pytest.mark.parametrize(("diameter", "high", "noted"), [(1.0, 2.0, True), (4.0, 2.0, False), (4.0, 18.0, True)])
def test_what_is_a_shaving_goes_by_the_cutter(diameter, high, noted):
    """A strip 0.26 mm wide: too wide for a 1 mm cutter; for a 4 mm one a shaving, until it is so tall that it takes
    more than a full slot, 4 mm wide and 1 mm deep."""
    xs, ys = np.arange(0.0, 12.0, 0.02), np.arange(0.0, 8.0, 0.02)
    material = blank(xs, ys, top=4.0 + high)
    material.top[ys < 4.0] = 4.0
    cutter = Cutter(name="c", shape="flat-end", diameter=diameter, speed=100, feed=1, plunge=1, stepdown=1)
    y = 4.26 - diameter / 2
    depth, _ = deepest(material, motion([(3.0, y, 4.0), (9.0, y, 4.0)]), cutter, 1.0)
    assert (depth > 1.0) is noted


@pytest.mark.parametrize(("high", "long", "noted"), [
    (2.3, 0.35, True), (2.3, 0.05, False), (0.9, 0.16, False), (1.5, 0.22, True), (1.5, 0.16, False),
])
@pytest.mark.parametrize("aside", [0.0, 0.2])
def test_a_bite_several_stepdowns_deep_is_noted_however_short(high, long, noted, aside):
    """Wood left standing across a slot 0.6 mm wide, for tenths of a millimetre of a level cut in pieces of 0.5 mm."""
    slot = Cutter(name="c", shape="flat-end", diameter=0.6, speed=100, feed=1, plunge=1, stepdown=0.4)
    xs, ys = np.arange(0.01, 9, 0.02), np.arange(-1.01, 1.2, 0.02)
    material = blank(xs, ys, top=0.2)
    material.top[:, (xs > 4.0) & (xs < 4.0 + long)] = high
    along = np.arange(0.5, 8.6, 0.5)
    depth, _ = deepest(material, motion([(x, aside * x / 9, 0.0) for x in along], rapid=[]), slot, 0.45)
    assert depth == pytest.approx(high if noted else 0.0, abs=1e-6)


BUSY = {
    "many pieces": (FLAT, [[-9000.0, -9000.0, 49.0], [9000.0, 9000.0, 49.0]] * 40),
    "passes along": (BALL, [[x, y, 50.0 - y / 60] for y in range(60) for x in (0.0, 50.0)]),
    "points": (BALL, [[x, y, 47.0] for x in range(60) for y in (0.0, 50.0)]),
    "points lowered": (FLAT, [[25.0 + 0.01 * (k % 9), 25.0, 49.9 - 0.01 * k] for k in range(400)]),
    "rows": (FLAT, [[25.0 + 15 * math.cos(k / 90), 25.0 + 15 * math.sin(k / 90), 49.0] for k in range(560)]),
}


@pytest.mark.parametrize("name", BUSY)
@pytest.mark.parametrize("note", [True, False])
def test_work_is_counted_before_it_is_done(name, note):
    """Of each kind: given up where it would be more, the line said, and never more than allowed; enough is enough."""
    cutter, points = BUSY[name]
    at = np.arange(0.05, 50, 0.5)

    def worked(most):
        material = Material(Grid(at, at), np.full((100, 100), 50.0, np.float32), most=most)
        try:
            material.cut(motion(points), cutter, Noting() if note else None)
        except removal.TooLongError as error:
            return material.worked, error.line
        return material.worked, 0

    whole, never = worked(math.inf)
    assert never == 0
    assert worked(whole) == (whole, 0)
    some, line = worked(0.6 * whole)
    assert some <= 0.6 * whole
    assert 1 <= line < len(points)
    least = {"many pieces": 400 * 79 * 1500, "passes along": 60 * 8000, "points": 300_000 if note else 1000,
             "points lowered": 100 * 400, "rows": 560 * 20 * 10}
    assert whole > least[name]


def test_level_chords_of_an_arc_count_by_their_rows():
    """Each was counted by the window round it, some 60 by 60 points of a tenth of a millimetre, of which few are new;
    an opening with arcs was given up that took 5 s."""
    at = np.arange(0.05, 50, 0.1)
    turn = np.linspace(0, 2 * np.pi, 2001)
    points = np.column_stack([25 + 15 * np.cos(turn), 25 + 15 * np.sin(turn), np.full(2001, 49.0)])
    cutter = Cutter(name="flat 6", shape="flat-end", diameter=6.0, speed=16000, feed=2000.0, plunge=500.0, stepdown=2.0)
    material = Material(Grid(at, at), np.full((500, 500), 50.0, np.float32))
    material.cut(motion(points.tolist()), cutter, Noting())
    lowered = np.pi * (18**2 - 12**2) / 0.01
    assert 2000 * 60 * 10 + 3 * lowered < material.worked < 0.6 * 2000 * 60 * 60


@pytest.mark.parametrize(("aside", "met"), [(1e-7, 0.0), (5e-4, 0.0), (0.003, 0.0), (0.02, 2.0)])
def test_a_rapid_in_its_own_hole_may_be_aside_by_rounding_alone(aside, met):
    """Of work that moved, programs are written to a tenth of a micrometre beside where the cutter went down before; and
    round walls have chords: one 1 um within the circle of the cutter that cut them was taken for wood."""
    cutter = CUTTERS["flat-end"]
    xs = -cutter.radius - np.array([0.01, 2e-4, 5e-8, -cutter.radius])
    material = blank(xs, [-0.5, 0.0, 0.5], top=5.0)
    way = [[0, 0, 9], [0, 0, 3], [0, 0, 9], [-aside, 0, 9], [-aside, 0, 3]]
    taken = material.cut(motion(way, rapid=[1, 2, 3]), cutter, Noting())
    assert taken.bites.drop[3] == pytest.approx(met)
    assert taken.bites.drop[0] == pytest.approx(2.0)


@pytest.mark.parametrize(("width", "length", "programs", "lines", "times"), [
    (90.0, 700.0, 10, 0, 1.0), (200.0, 400.0, 20, 0, 1.0), (400.0, 400.0, 20, 0, 2.0), (200.0, 400.0, 50, 0, 2.5),
    (400.0, 400.0, 30, 0, 3.0), (20.0, 20.0, 1, 0, 1.0), (90.0, 700.0, 10, 640_000, 2.0),
    (400.0, 400.0, 20, 64_000, 2.1),
])
def test_more_work_is_allowed_for_large_blanks_many_programs_and_many_lines(width, length, programs, lines, times):
    """In points of a tenth of a millimetre: every fingerboard has the same, three times what the examples take.

    Icons of 230 to 260 mm cut by 0.4 and 0.5 mm take 380,000 to 684,000 lines, and more work than examples by far.
    """
    grid = Grid(np.arange(0.05, length, 0.1), np.arange(0.05, width, 0.1))
    assert removal.most_work(grid, programs, lines) == pytest.approx(removal.MOST_WORK * times, rel=1e-9)


@pytest.mark.parametrize(("end", "angle"), [((55.0, 15.0), False), ((55.0, 15.0), True), ((55.0, 5.0), False)])
def test_the_place_of_a_moves_deepest_bite_is_where_the_most_stood(end, angle):
    """A ridge across the way of one move, slanting or along the board, and of another before it that meets less."""
    material = blank(np.arange(0.05, 60, 0.1), np.arange(0.05, 20, 0.1), 5.0)
    material.top[:, 300:310] = 9.0
    material.top[:, 400:410] = 7.0
    bites = material.cut(motion([(2, 5, 4.5), (5, 5, 4), (*end, 4)]), FLAT, Noting(deeper=1.0, angle=angle)).bites
    assert bites.depth.tolist() == pytest.approx([1.0, 5.0], abs=0.51)
    x, y = bites.at[1]
    assert 30.0 <= x <= 31.0
    assert abs(y - np.interp(x, [5, 55], [5, end[1]])) <= 1.6


def test_moves_are_taken_together_in_order_and_large_ones_alone():
    def spans(points):
        return [(part.start, part.stop) for part in _parts_of(np.array(points), 5)]

    assert spans([]) == []
    assert spans([7]) == [(5, 6)]
    assert spans([10] * 100) == [(5, 105)]
    large = removal._ALONE + 1
    assert spans([10, 10, large, 10, large, large]) == [(5, 7), (7, 8), (8, 9), (9, 10), (10, 11)]
    many = np.random.default_rng(1).integers(1, removal._ALONE, 500)
    found = spans(many)
    assert [a for a, _ in found[1:]] == [b for _, b in found[:-1]]
    assert (found[0][0], found[-1][1]) == (5, 505)
    assert all(many[a - 5: b - 5].sum() <= 1.1 * removal._TOGETHER for a, b in found)
    assert len(found) <= many.sum() / removal._TOGETHER + 2


@pytest.mark.parametrize(("back", "moves"), [(False, slice(0, 2)), (True, slice(10, 12))])
def test_the_front_of_a_cutter_comes_first_from_where_it_comes(back, moves):
    """D: with 2 mm wet and 1.2 mm beside its line the front is 1.6 mm ahead of the axis; moves change at X 2 and 5."""
    x = np.array([0.0, 2.0, 5.0, 10.0])
    one = Pass(cutter=BALL, y=0.0, x=x, z=np.zeros(4), row=10 if back else 0, back=back)
    found, sums = one.by_front(np.ones((2, 2)), np.array([3.45, 3.55]), np.array([1.2, 1.99]), 2.0)
    assert found == moves
    assert sums.tolist() == [[2.0, 0.0], [0.0, 2.0]]


def test_moves_in_pieces_go_on_where_the_piece_before_ended_but_for_the_first():
    moves = Moves(np.array([[0.0, 0, 0], [3, 6, 9], [7, 0, 0]]), np.array([[3.0, 6, 9], [4, 6, 9], [9, 4, 2]]),
                  np.array([4, 5, 6]), np.array([False, True, False]))
    cut = split(moves, np.array([3, 0, 2]))
    assert cut.row.tolist() == [4, 4, 4, 6, 6]
    assert cut.onward.tolist() == [False, True, True, False, True]
    assert cut.start.tolist() == [[0, 0, 0], [1, 2, 3], [2, 4, 6], [7, 0, 0], [8, 2, 1]]
    assert cut.end.tolist() == [[1, 2, 3], [2, 4, 6], [3, 6, 9], [8, 2, 1], [9, 4, 2]]
    assert split(moves, np.array([0, 1, 1])).row.tolist() == [5, 6]
    assert split(moves, np.array([0, 1, 1])).onward.tolist() == [True, False]


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), even=st.booleans())
def test_level_moves_of_a_flat_end_row_by_row(seed, even):
    """Each point once within the way of a move, but what the disc at its start had; by distances of a library."""
    rng = np.random.default_rng(seed)
    points = np.cumsum(rng.normal(0, rng.choice([0.02, 0.3, 3.0]), (8, 2)) * rng.integers(0, 2, (8, 2)), axis=0)
    xs, ys = np.linspace(-6, 6, 90), np.linspace(-6, 6, 80)
    grid = Grid(xs if even else np.sort(rng.uniform(-6, 6, 90)), ys)
    start, end = np.column_stack([points[:-1], np.ones(7)]), np.column_stack([points[1:], np.ones(7)])
    onward = rng.random(7) < 0.7
    rows = np.array([[np.searchsorted(ys, min(a, b) - 1.5), np.searchsorted(ys, max(a, b) + 1.5, side="right")]
                     for a, b in zip(start[:, 1], end[:, 1], strict=True)])
    cell, of = newly_under(Moves(start, end, np.arange(7), onward), rows, 1.5, grid)
    found = np.zeros((7, 80, 90), int)
    np.add.at(found.reshape(7, -1), (of, cell), 1)
    places = shapely.points(*np.meshgrid(grid.xs, ys))
    off = shapely.distance(shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))[:, None, None], places)
    stood = shapely.distance(shapely.points(points[:-1])[:, None, None], places) < 1.5 - RIM
    stood &= (onward & (points[:-1] != points[1:]).any(axis=1))[:, None, None]
    clear = np.abs(off - 1.5) > 1e-6
    assert (found == ((off < 1.5) & ~stood))[clear].all()


def test_a_flat_end_straight_down_but_for_rounding_cuts_where_it_stood():
    material = blank(np.linspace(-2, 2, 21), np.linspace(-2, 2, 21), top=5.0)
    way = [[0, 0, 9], [0, 0, 4], [1e-12, 0, 3], [2, 0, 3], [2 + 1e-12, 1e-12, 2.5]]
    taken = material.cut(motion(way), CUTTERS["flat-end"], Noting())
    assert taken.bites.drop.tolist() == pytest.approx([1.0, 1.0, 2.0, 0.5])


@pytest.mark.parametrize("at", [(2.0, 30.0), (38.0, 30.0)])
def test_at_the_grids_edge_slanting_moves_take_each_point_once(at):
    """Short ones that end past it, taken together with longer ones: their windows are made as wide as the widest."""
    material = blank(np.arange(0.0, 40.05, 0.1), np.arange(0.0, 30.05, 0.1))
    x, y = at
    ways = [(x, y - 9, 50), (x + 1, y - 5, 49.5), (x, y - 1.2, 49.4), (x + 1, y, 49), (x, y + 1, 48.7), (x, y - 3, 48)]
    bites = material.cut(motion(ways), FLAT, Noting(deeper=0.2, angle=True)).bites
    assert bites.volume.sum() == pytest.approx((50.0 - material.top).sum() * material.grid.cell_area, rel=1e-5)
