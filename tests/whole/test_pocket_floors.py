"""Floors and walls that round and pointed ends leave: whole builds, measured with a plain sweep of their programs."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

import pathgen
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.strategies.pocketing import PocketOptions
from pathgen.verify import verify
from pathgen.verify.findings import Tolerances as VerifyTolerances
from pathgen.verify.opening import opens_outside
from tests.small_board import built, cutter, moves, svg
from tests.spoiling import Moves

RUN = {"speed": 16000, "feed": 800.0, "plunge": 200.0, "stepdown": 0.5}
CUTTERS = cutter(name="vee", shape="v", angle=60, diameter=3.0, **RUN) \
    + cutter(name="round", shape="ball-end", diameter=2.0, **RUN)
TRIANGLE = '<path d="M10,8 L28,9 L18,22 Z" fill="#225577"/>'
STAR = '<path d="M20,6 L22,12 L29,12 L23,16 L25,23 L20,19 L15,23 L17,16 L11,12 L18,12 Z" fill="#225577"/>'
COMB = '<path d="M10,10 H18 V18 H16.4 V12 H14.8 V18 H13.2 V12 H11.6 V18 H10 Z" fill="#225577"/>'
DISC = '<circle cx="20" cy="15" r="5" fill="#225577"/>'


@cache
def pocketed(drawing: str, cutters: str, depth: float) -> pathgen.Build:
    """A small board with one drawing."""
    changes = {'cutters = ["flat"]': f"cutters = {cutters}", "depth = 1.5": f"depth = {depth}"}
    with TemporaryDirectory() as folder:
        return built(Path(folder), changes=changes, extra=CUTTERS, art=svg(drawing))


def forbidden(result: pathgen.Build) -> list[str]:
    """Codes of what forbids cutting."""
    return [f["code"] for f in result.report["checks"]["findings"] if f["severity"] == "forbid"]


def depths(result: pathgen.Build, at: np.ndarray) -> np.ndarray:
    """(n,) depths below the surface at (n, 2) places that the feed moves of all pocket programs leave, sampled.

    Places that no tip passes so near that it leaves them within 0.4 mm of its own height count as not cut.
    """
    clamping = result.plan.clamping
    top = clamping.board.surface.height(*at.T)
    floor, places = top.copy(), cKDTree(at)
    for program in (p for p in result.programs if p.operation == "pocket"):
        start, end, rapid = moves(program.text)
        start, end = clamping.to_board(start[~rapid]), clamping.to_board(end[~rapid])
        cutter = program.step.cutter
        count = np.maximum(1, np.ceil(np.hypot(*(end - start)[:, :2].T) / 0.02)).astype(int)
        owner = np.repeat(np.arange(len(count)), count)
        share = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 1) / count[owner]
        tips = start[owner] + share[:, None] * (end - start)[owner]
        tips = tips[tips[:, 2] < top.max()]
        reach = float(cutter.half_width(0.4))
        for block in np.array_split(tips, 1 + len(tips) // 5000):
            near = places.query_ball_point(block[:, :2], reach)
            tip = np.repeat(np.arange(len(block)), [len(n) for n in near])
            place = np.concatenate(near).astype(int)
            away = np.minimum(np.hypot(*(at[place] - block[tip, :2]).T), reach)
            np.minimum.at(floor, place, block[tip, 2] + cutter.profile(away))
    return top - floor


def floor_of(result: pathgen.Build, foot: float) -> np.ndarray:
    """Places `foot` inside the drawing's edge, 0.09 mm apart."""
    area = result.plan.clamping.inlays[0].area.buffer(-foot)
    x0, y0, x1, y1 = area.bounds
    x, y = (v.ravel() for v in np.meshgrid(np.arange(x0, x1, 0.09), np.arange(y0, y1, 0.09)))
    inside = shapely.contains_xy(area, x, y)
    return np.column_stack([x, y])[inside]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("drawing", "cutters", "depth", "foot"), [
    (DISC, '["vee"]', 0.8, 0.8 / np.sqrt(3.0)), (DISC, '["vee"]', 1.4, 1.4 / np.sqrt(3.0)),
    (COMB, '["flat", "vee"]', 0.8, 0.8 / np.sqrt(3.0)), (STAR, '["vee"]', 0.8, 0.8 / np.sqrt(3.0)),
    (DISC, '["round"]', 0.8, np.sqrt(0.96)), (STAR, '["round"]', 1.4, 1.0),
], ids=["disc v", "disc v deep", "comb flat v", "star v", "disc ball", "star ball"])
def test_floors_of_pointed_and_round_ends_are_within_a_ridge_of_their_depth(drawing, cutters, depth, foot):
    """Past the foot of the wall, as wide as the cutter opens at that depth, the floor is to depth but for 0.1 mm."""
    result = pocketed(drawing, cutters, depth)
    assert not forbidden(result)
    at = floor_of(result, foot + 0.03)
    deep = depths(result, at)
    assert len(at) > 50
    assert deep.min() > depth - 0.1 - 0.005
    assert deep.max() < depth + 0.004


def test_a_floor_left_in_ridges_is_found():
    """Every other loop of a v cutter in a disc left out: what lay between them stands."""
    good = pocketed(DISC, '["vee"]', 0.8)
    assert not forbidden(good)
    texts = {p.file_name: p.text for p in good.programs}
    name = next(name for name in texts if "vee" in name)
    taken = Moves.of(texts[name])
    middle = (taken.points[taken.cuts, :2].min(axis=0) + taken.points[taken.cuts, :2].max(axis=0)) / 2.0
    out = np.hypot(*(taken.points[:, :2] - middle).T)
    found = verify(
        good.plan.clamping, texts | {name: taken.keep(~taken.cuts | (np.floor(out / 0.4) % 2 == 0)).text()},
        resolution=0.1,
    )
    assert "pocket-too-shallow" in {f.code for f in found.findings}


CORNERS = '<path d="M4,5 H24 V13 H4 Z" fill="#225577"/>'
ROUND_A_HOLE = (
    '<path fill-rule="evenodd" fill="#225577" d="M4,3 H32 V24 H4 Z M8,17 a3,3 0 1,0 6,0 a3,3 0 1,0 -6,0 Z'
    ' M17.5,13 a5.5,5.5 0 1,0 11,0 a5.5,5.5 0 1,0 -11,0 Z M20.8,13 a2.2,2.2 0 1,0 4.4,0 a2.2,2.2 0 1,0 -4.4,0 Z"/>'
)
RING = (
    '<path fill-rule="evenodd" fill="#225577" d="M8,15 a9,9 0 1,0 18,0 a9,9 0 1,0 -18,0 Z'
    ' M12.5,15 a4.5,4.5 0 1,0 9,0 a4.5,4.5 0 1,0 -9,0 Z"/>'
)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("drawing", "shape", "diameter", "cutters", "depth"), [
    (CORNERS, "flat-end", 6.0, '["wide", "flat"]', 1.4), (ROUND_A_HOLE, "flat-end", 3.0, '["wide"]', 0.8),
    (RING, "ball-end", 6.0, '["wide"]', 0.8),
], ids=["corners left by 6 mm cut by 2", "3 mm between holes", "ball over ridges"])
def test_what_a_cutters_shape_leaves_on_a_slope_is_no_fault(tmp_path, drawing, shape, diameter, cutters, depth):
    """Each was refused: stairs of flat ends in places where they cannot be less, walls a ball opens through ridges."""
    changes = {'cutters = ["flat"]': f"cutters = {cutters}", "depth = 1.5": f"depth = {depth}",
               "radius = { nut = 254.0, end = 300.0 }": "radius = 240.0", "at = [45.0, 0.0]": "at = [45.0, 5.0]"}
    wide = cutter(name="wide", shape=shape, diameter=diameter, speed=12000, feed=1500.0, plunge=400.0, stepdown=2.0)
    result = built(tmp_path, changes=changes, extra=wide, art=svg(drawing))
    assert not forbidden(result)


def test_maker_and_verifier_state_the_same_ridge():
    assert PocketOptions().floor_ridge == VerifyTolerances().floor_ridge


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("cutters", ['["vee"]', '["flat", "vee"]'])
@pytest.mark.parametrize("drawing", [TRIANGLE, STAR, COMB], ids=["triangle", "star", "comb"])
def test_corners_sharpened_with_a_v_are_inside_the_drawing(drawing, cutters):
    assert "pocket-wall-overcut" not in forbidden(pocketed(drawing, cutters, 0.8))


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("shape", ["v", "ball-end"])
@pytest.mark.parametrize("spare", [0.004, -0.004])
def test_rising_moves_are_judged_by_what_they_open_along_their_way(shape, spare):
    """Against discs of the cutter's half-width at 2000 places of the move: their union, grown by more or less."""
    cutter = Cutter(name="c", shape=shape, diameter=3.0, angle=60 if shape == "v" else None, speed=100, feed=1,
                    plunge=1, stepdown=1)
    level = Surface(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=100.0)
    start, end = np.array([10.0, 0.0, 5.0]), np.array([14.0, 1.0, 5.95])
    places = start + np.linspace(0.0, 1.0, 2000)[:, None] * (end - start)
    discs = shapely.buffer(shapely.points(places[:, :2]), cutter.half_width(6.0 - places[:, 2]), quad_segs=64)
    found = opens_outside(start[None], end[None], cutter, level, shapely.union_all(discs).buffer(spare))
    assert found.tolist() == [spare < 0]


def test_a_corner_cut_past_its_walls_is_found():
    """Ends of rising and sinking moves of the sharpening passes moved aside by 0.06 mm: nothing else is wrong."""
    good = pocketed(TRIANGLE, '["flat", "vee"]', 0.8)
    texts = {p.file_name: p.text for p in good.programs}
    name = next(name for name in texts if "vee" in name)
    taken = Moves.of(texts[name])
    rising = np.flatnonzero(taken.cuts[1:] & taken.cuts[:-1] & (np.abs(np.diff(taken.points[:, 2])) > 0.1)) + 1
    taken.points[rising, :2] += 0.06 / np.sqrt(2.0)
    assert len(rising) >= 3
    found = verify(good.plan.clamping, texts | {name: taken.text()}, resolution=0.1)
    assert "pocket-wall-overcut" in {f.code for f in found.findings}


def test_several_separate_shapes_are_sharpened_by_a_v_cutter_last() -> None:
    shapes = (
        '<path d="M4,8 L14,9 L9,20 Z M20,6 h12 v7 h-12 Z" fill="#225577"/>'
        '<circle cx="26" cy="21" r="4" fill="#225577"/>'
    )
    result = pocketed(shapes, '["flat", "vee"]', 0.8)
    assert forbidden(result) == []
    assert result.report["inlays"][0]["reachable_area"] > 0.99 * result.report["inlays"][0]["area"]


ARROW = svg('<path d="M18 8L25 15L18 22M6 15H25"/>', more='fill="none" stroke="#225577" stroke-width="1.51"')


@pytest.mark.parametrize("depth", [1.6, 1.2])
def test_ball_ends_one_after_the_other_reach_the_depth_in_narrow_strips(tmp_path, depth):
    """The second goes along the rims of strips, beside the middle that is judged (found by a row of icons)."""
    changes = {'cutters = ["flat"]': 'cutters = ["ball 2", "ball 1"]', "depth = 1.5": f"depth = {depth}",
               "radius = { nut = 254.0, end = 300.0 }": 'radius = "flat"'}
    balls = "".join(cutter(name=f"ball {size:g}", shape="ball-end", diameter=size, speed=20000, feed=380.0,
                           plunge=120.0, stepdown=0.5) for size in (2.0, 1.0))
    result = built(tmp_path, changes=changes, extra=balls, art=ARROW)
    assert result.passed, [str(f) for f in result.verification.findings if f.severity == "forbid"]


def test_a_line_as_wide_as_the_first_ball_is_its_own_all_along(tmp_path):
    """Its axis, without tolerance, is in places only: between them its wall is no floor, nor cut too deep."""
    line = svg('<path d="M4 10h16" fill="none" stroke="#225577" stroke-width="3" stroke-linecap="square"/>', 24, 20)
    balls = "".join(cutter(name=name, shape="ball-end", diameter=size, **RUN)
                    for name, size in (("wide", 3.0), ("narrow", 1.0)))
    result = built(tmp_path, art=line, extra=balls, changes={
        'cutters = ["flat"]': 'cutters = ["wide", "narrow"]', "depth = 1.5": "depth = 2.0",
        "{ nut = 254.0, end = 300.0 }": '"flat"', "overfill = 0.7": 'overfill = 0.7\nfill = "none"'})
    assert not forbidden(result)
