"""Round holes measured from the text: those wider than their cutter are cut along a helix of many turns."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen.base.cutters import Cutter
from pathgen.base.toolpath import Move, Rapids
from pathgen.removal.grid import Grid
from pathgen.removal.material import most_work
from pathgen.removal.motion import Motion
from pathgen.strategies.drilling import drilling
from pathgen.verify.check import _allowed, verify_once
from pathgen.verify.findings import Tolerances
from pathgen.verify.holes import _off_edge, hole_findings
from pathgen.work.features import Holes
from pathgen.work.operations import DowelHoles
from tests.small_board import built

FLAT = Cutter(name="flat 3", shape="flat-end", diameter=3.0, flute_length=20.0, speed=16000, feed=1164.0,
              plunge=331.0, stepdown=1.24)
HOLES = """
[machine]
arcs = ARCS
[holes]
cutter = "flat"
at = [[-8.0, 31.0], [-8.0, -31.0]]
diameter = 3.3
"""
WHERE = np.array([[-8.0, 31.0], [40.0, -2.0]])


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("arcs", ["true", "false"])
def test_holes_wider_than_their_cutter_with_and_without_arcs(tmp_path, arcs):
    """Chords of one turn's arcs lie within rounding of the next one's: their union took hours."""
    result = built(tmp_path, changes={"[resin]": HOLES.replace("ARCS", arcs) + "[resin]"}, resolution=0.4)
    assert result.passed, [str(f) for f in result.verification.findings]
    assert bool(re.search(r"\bG3\b", result.programs[0].text)) == (arcs == "true")
    # holes take no part of the work that the rest may take: a template with many in thick sheet was given up
    first, clamping = result.programs[0], result.plan.clamping
    found = verify_once(clamping, {first.file_name: first.text}, resolution=0.1)
    grid = Grid.over(clamping.stock.bounds, 0.1)
    spare = _allowed(clamping, found.programs, grid) - most_work(grid, len(clamping.steps), 0)
    assert found.simulation.worked[1] < spare


def drilled(*, diameter=5.0, bottom=-2.0, to=lambda points: points, blank=(-20.0, -40.0, 60.0, 40.0)):
    holes = Holes(at=WHERE, diameter=diameter, bottom=bottom)
    path = drilling(holes, cutter=FLAT, top=8.0, rapids=Rapids(20.0, 9.0))
    points = to(path.points.copy())
    motion = Motion(
        start=points[:-1], end=points[1:], rapid=path.kinds[1:] == Move.RAPID, feed=np.full(len(points) - 1, 300.0),
        line=np.arange(1, len(points)), motion=np.arange(len(points) - 1),
    )
    asked = DowelHoles(replace(holes, diameter=5.0, bottom=-2.0))
    step = SimpleNamespace(file_name="holes.nc", cutter=FLAT, operation=asked)
    clamping = SimpleNamespace(stock=SimpleNamespace(thickness=8.0, bounds=blank))
    return [f.code for f in hole_findings(motion, step, clamping, Tolerances())]


def test_good_holes_have_no_findings():
    assert drilled() == []


@pytest.mark.parametrize("spoilt", [{"diameter": 4.9}, {"diameter": 5.1}, {"bottom": -1.9}, {"bottom": -2.1}])
def test_holes_too_wide_narrow_deep_or_shallow(spoilt):
    assert drilled(**spoilt) == ["hole-wrong", "hole-wrong"]


@pytest.mark.parametrize(("blank", "off"), [
    ((-20.0, -40.0, 42.5, 40.0), 0), ((-20.0, -40.0, 42.4, 40.0), 1), ((-20.0, -40.0, 30.0, 40.0), 1),
    ((-5.0, -40.0, 60.0, 40.0), 1), ((-20.0, -4.0, 60.0, 33.0), 2),
])
def test_a_hole_in_no_wood_is_found(blank, off):
    """One was drilled in air past the end of its blank, where the job had said that too short."""
    assert drilled(blank=blank) == ["hole-wrong"] * off


def test_a_hole_left_out():
    def lifted(points):
        return np.where(points[:, :1] < 20.0, np.maximum(points, [-99.0, -99.0, 9.0]), points)

    assert drilled(to=lifted) == ["hole-missing"]


def test_a_hole_that_is_round_only_above_its_bottom():
    def straightened(points):
        low = points[:, 2] < -1.0
        points[low, 0] = np.where(points[low, 0] < 20.0, -8.0, 40.0)
        return points

    assert drilled(to=straightened) == ["hole-wrong", "hole-wrong"]


def test_the_edge_measured_is_the_edge_of_the_union():
    """Against shapely's Hausdorff distance for one level turn with a flat place, at which the hole is too narrow."""
    angle = np.linspace(0.0, 2.0 * np.pi, 97)
    ring = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(97)])
    ring[:12, :2] *= 0.9
    off = _off_edge(ring[:-1], ring[1:], 1.5, np.zeros(2), 2.5, 0.02)
    opened = shapely.LinearRing(ring[:, :2]).buffer(1.5, quad_segs=64)
    wanted = shapely.Point(0.0, 0.0).buffer(2.5, quad_segs=64)
    assert off == pytest.approx(shapely.hausdorff_distance(shapely.Polygon(opened.exterior).exterior, wanted.exterior),
                                abs=2e-3)
