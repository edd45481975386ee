"""Ways across from slot to slot: low where no clamp stands, and nowhere else."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from pathgen.base.toolpath import Move, Toolpath
from pathgen.job import load_job
from pathgen.job.clamping import clamping_of
from pathgen.programs.around import Around
from pathgen.programs.paths import path_of
from pathgen.work.clamping import KeepOut
from pathgen.work.operations import Slot
from tests import small_board

SLOTS = small_board.SLOT_CUTTER + '[slots]\ncutter = "slot"\ndepth = 2.0\n'
HIGHEST = 8.0  # mm of the blank; no fill stands higher


def test_ways_across_are_low_where_they_may_be_and_the_first_and_the_last_stay_high():
    runs = [[[x, 0.0, 5.0], [x, 9.0, 5.0]] for x in (0.0, 10.0, 20.0)]
    path = Toolpath.from_runs(runs, safe_z=20.0)
    box = shapely.box(9.0, -1.0, 30.0, 10.0)
    hops = path.hopping(8.0, safe_z=20.0, free=lambda ways: shapely.covers(box, ways))
    assert np.array_equal(hops.kinds, path.kinds)
    assert hops.points[:, :2] == pytest.approx(path.points[:, :2])
    assert hops.points[hops.kinds == Move.RAPID, 2].tolist() == [20.0, 20.0, 20.0, 8.0, 8.0, 20.0]


def ways_across(path):
    """Each way across as a line, and its height."""
    points, kinds = path.points, path.kinds
    across = (kinds[1:] == Move.RAPID) & (np.diff(points[:, :2], axis=0) != 0).any(axis=1)
    return shapely.linestrings(np.stack([points[:-1, :2], points[1:, :2]], axis=1)[across]), points[1:, 2][across]


def test_where_the_finishing_cutter_has_been_slots_are_gone_to_low(tmp_path):
    result = small_board.built(tmp_path, extra=SLOTS)
    assert result.passed
    _, heights = ways_across(next(p for p in result.programs if p.operation == "slots").toolpath)
    assert len(heights) >= 4
    assert (heights < HIGHEST + 4.0).all()
    assert (heights > HIGHEST + 1.5).all()


def test_where_nothing_was_surfaced_clamps_that_are_given_are_kept_clear_of(tmp_path):
    clamping = clamping_of(load_job(small_board.job(tmp_path, extra=SLOTS)))
    step = next(s for s in clamping.steps if isinstance(s.operation, Slot))
    clamp = KeepOut(x=(-20.0, -16.0), y=(-5.0, 5.0), height=HIGHEST + 20.0)

    def across(*clamps):
        other = replace(clamping, steps=(step,), setup=replace(clamping.setup, keep_out=clamps))
        return other, *ways_across(path_of(step, Around(clamping=other)))

    bare, _, heights = across()  # one may stand anywhere
    assert (heights == bare.safe_z).all()
    _, ways, heights = across(clamp)
    assert (heights < HIGHEST + 4.0).all()
    x, y = shapely.get_coordinates(shapely.centroid(ways[1]))[0]  # in the middle of one
    clamp = replace(clamp, x=(x - 1.0, x + 1.0), y=(y - 1.0, y + 1.0))
    other, ways, heights = across(clamp)
    near = shapely.distance(ways, clamp.shape) < step.cutter.radius + 3.0
    assert 0 < near.sum() < len(near)
    assert (heights[near] == other.safe_z).all()
    assert (heights[~near] < HIGHEST + 4.0).all()
