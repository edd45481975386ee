"""Floors and walls that round and pointed ends leave: whole builds, measured with a plain sweep of their programs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.cutters import Cutter
from pathgen.surface import Surface
from pathgen.verify import verify
from pathgen.verify.opening import opens_outside
from tests.small_board import built
from tests.spoiling import Moves

CUTTERS = """
[[cutter]]
name = "vee"
shape = "v"
angle = 60
diameter = 3.0
speed = 16000
feed = 800.0
plunge = 200.0
stepdown = 0.5
[[cutter]]
name = "round"
shape = "ball-end"
diameter = 2.0
speed = 16000
feed = 800.0
plunge = 200.0
stepdown = 0.5
"""
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">{}</svg>'
TRIANGLE = '<path d="M10,8 L28,9 L18,22 Z" fill="#225577"/>'
STAR = '<path d="M20,6 L22,12 L29,12 L23,16 L25,23 L20,19 L15,23 L17,16 L11,12 L18,12 Z" fill="#225577"/>'
COMB = '<path d="M10,10 H18 V18 H16.4 V12 H14.8 V18 H13.2 V12 H11.6 V18 H10 Z" fill="#225577"/>'
DISC = '<circle cx="20" cy="15" r="5" fill="#225577"/>'


def pocketed(folder: Path, drawing: str, cutters: str, depth: float) -> pathgen.Build:
    """A small board with one drawing."""
    changes = {'cutters = ["flat"]': f"cutters = {cutters}", "depth = 1.5": f"depth = {depth}"}
    return built(folder, changes=changes, extra=CUTTERS, art=SVG.format(drawing))


def forbidden(result: pathgen.Build) -> list[str]:
    """Codes of what forbids cutting."""
    return [f["code"] for f in result.report["checks"]["findings"] if f["severity"] == "forbid"]


@pytest.mark.parametrize("cutters", ['["vee"]', '["flat", "vee"]'])
@pytest.mark.parametrize("drawing", [TRIANGLE, STAR, COMB], ids=["triangle", "star", "comb"])
def test_corners_sharpened_with_a_v_are_inside_the_drawing(tmp_path, drawing, cutters):
    assert "pocket-wall-overcut" not in forbidden(pocketed(tmp_path, drawing, cutters, 0.8))


@pytest.mark.parametrize("shape", ["v", "ball-end"])
@pytest.mark.parametrize("spare", [0.004, -0.004])
def test_rising_moves_are_judged_by_what_they_open_along_their_way(shape, spare):
    """Against discs of the cutter's half-width at 2000 places of the move: their union, grown by more or less."""
    cutter = Cutter(name="c", shape=shape, diameter=3.0, angle=60 if shape == "v" else None, speed=1, feed=1, plunge=1,
                    stepdown=1)
    level = Surface(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=100.0)
    start, end = np.array([10.0, 0.0, 5.0]), np.array([14.0, 1.0, 5.95])
    places = start + np.linspace(0.0, 1.0, 2000)[:, None] * (end - start)
    discs = shapely.buffer(shapely.points(places[:, :2]), cutter.half_width(6.0 - places[:, 2]), quad_segs=64)
    found = opens_outside(start[None], end[None], cutter, level, shapely.union_all(discs).buffer(spare))
    assert found.tolist() == [spare < 0]


def test_a_corner_cut_past_its_walls_is_found(tmp_path):
    """The ends of the rising moves of the sharpening passes moved aside by 0.06 mm: nothing else is wrong."""
    good = pocketed(tmp_path, TRIANGLE, '["flat", "vee"]', 0.8)
    texts = {p.file_name: p.text for p in good.programs}
    name = next(name for name in texts if "vee" in name)
    moves = Moves.of(texts[name])
    rising = np.flatnonzero(moves.cuts[1:] & moves.cuts[:-1] & (np.diff(moves.points[:, 2]) > 0.1)) + 1
    moves.points[rising, :2] += 0.06 / np.sqrt(2.0)
    assert len(rising) >= 3
    found = verify(good.plan.clamping, texts | {name: moves.text()}, resolution=0.1)
    assert "pocket-wall-overcut" in {f.code for f in found.findings}
