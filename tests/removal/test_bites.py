"""Bites of single moves, against plane geometry and against a plain simulation, one move after another."""

import itertools

import numpy as np
import pytest

from pathgen.base.cutters import Cutter
from pathgen.removal import bites
from pathgen.removal.bites import Bites, take_bites
from pathgen.removal.grid import Grid
from pathgen.removal.motion import Motion


def _cutter(shape: str) -> Cutter:
    angle = {"angle": 60.0} if shape == "v" else {}
    return Cutter(name="c", shape=shape, diameter=3.0, flutes=2, flute_length=10.0, speed=16000, feed=900.0,
                  plunge=300.0, stepdown=1.0, **angle)


def _motion(points: np.ndarray) -> Motion:
    n = len(points) - 1
    return Motion(start=points[:-1], end=points[1:], rapid=np.zeros(n, bool), feed=np.full(n, 900.0),
                  line=np.arange(n) + 1, motion=np.arange(n))


def _one_by_one(top: np.ndarray, grid: Grid, points: np.ndarray, cutter: Cutter) -> tuple[np.ndarray, np.ndarray]:
    """Depth and volume of each move, its cutter set down at 300 places along it."""
    depth, volume = [], []
    for a, b in itertools.pairwise(points):
        left = np.full_like(top, np.inf)
        for x, y, z in a + np.linspace(0, 1, 300)[:, None] * (b - a):
            d = np.hypot(grid.xs - x, grid.ys[:, None] - y)
            under = {"flat-end": 0 * d, "v": d / np.tan(np.pi / 6),
                     "ball-end": 1.5 - np.sqrt(np.maximum(2.25 - d * d, 0))}[cutter.shape]
            left = np.minimum(left, np.where(d <= 1.5, z + under, np.inf))
        drop = np.maximum(top - left, 0)
        took = drop > 1e-4
        depth.append(float((top - min(a[2], b[2]))[took].max(initial=0.0)))
        volume.append(float(drop.sum() * grid.cell_area))
        top = np.minimum(top, left)
    return np.array(depth), np.array(volume)


@pytest.mark.parametrize("shape", ["flat-end", "ball-end", "v"])
def test_agrees_with_setting_the_cutter_down_all_along_each_move(shape: str) -> None:
    rng = np.random.default_rng(5)
    corners = np.column_stack([rng.uniform(2, 8, (24, 2)), np.repeat([-0.4, -0.8, -1.2], 8)])
    grid, cutter = Grid.over((0, 0, 10, 10), 0.1), _cutter(shape)
    top = rng.uniform(-0.3, 0.0, grid.shape)
    depth, volume = _one_by_one(top.copy(), grid, corners, cutter)
    got = take_bites(top, grid, _motion(corners), cutter)
    level = np.diff(corners[:, 2]) == 0
    assert got.volume == pytest.approx(volume, rel=0.01, abs=0.02)
    assert got.depth[level] == pytest.approx(depth[level], abs=1e-3)


def _second_pass(shape: str, stepover: float, z: float) -> Bites:
    """A first pass as a slot, in pieces of 0.03 mm, and another beside it."""
    x = np.arange(3, 9, 0.03)
    first = np.column_stack([x, np.full(len(x), 5.0), np.full(len(x), z)])
    second = first[::-1] + [0, stepover, 0]
    lifted = np.array([[9.0, 5.0, 5.0], [9.0, 5.0 + stepover, 5.0]])
    grid = Grid.over((0, 0, 12, 12), 0.05)
    return take_bites(np.zeros(grid.shape), grid, _motion(np.concatenate([first, lifted, second])), _cutter(shape))


@pytest.mark.parametrize("stepover", [0.3, 0.75, 1.35])
def test_engaged_angle_of_a_straight_cut(stepover: float) -> None:
    # plane geometry: arccos(1 - s / r) beside a pass, 180 degrees in a full slot
    got = _second_pass("flat-end", stepover, -0.5)
    middle = np.arange(-150, -50)
    assert got.engaged_deg[60:150].mean() == pytest.approx(180.0, rel=0.02)
    cutting = got.engaged_deg[middle][got.depth[middle] > 0]
    assert cutting.mean() == pytest.approx(np.degrees(np.arccos(1 - stepover / 1.5)), rel=0.06)


def test_the_same_ground_twice_takes_nothing() -> None:
    got = _second_pass("ball-end", 0.0, -0.5)
    assert got.volume[-150:].max() < 1e-3


def test_taking_moves_a_few_at_a_time_makes_no_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = _second_pass("flat-end", 0.75, -0.5)
    monkeypatch.setattr(bites, "_TOUCHES", 20_000)
    few = _second_pass("flat-end", 0.75, -0.5)
    for name in ("depth", "volume", "engaged_deg"):
        assert getattr(few, name) == pytest.approx(getattr(whole, name), abs=1e-6), name
