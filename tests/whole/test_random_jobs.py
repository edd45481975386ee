"""Random small boards build and pass their own check; an independent cutting finds no deep bite."""

from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

import pathgen
from pathgen.job.clamping import clamping_of
from tests.as_made import hold
from tests.coloured_jobs import coloured_job
from tests.crowded_jobs import crowded_job
from tests.plain_cutting import Cut, Wood, deepest_falls
from tests.random_jobs import COARSE, _where_it_lay, ending, random_job
from tests.random_outlines import random_outline
from tests.random_plates import random_plate
from tests.random_workpieces import random_workpieces, workpieces_ending
from tests.small_board import built
from tests.steep_jobs import steep_job


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(
    ("kind", "seed"),
    [("board", seed) for seed in (1, 3, 6, 8, 9, 10, 11, 12, 13)]
    + [("plate", seed) for seed in (117, 9)]  # beside inner corners of the first a tab has no room
    + [("steep board", seed) for seed in (6, 12, 4, 21)]
    + [("moved board", seed) for seed in (60007, 60018)],  # the first cuts again over a part of what has moved
)
def test_a_random_job_builds_as_made(tmp_path, kind, seed):
    job_of = {"board": partial(random_job, small=True), "plate": random_plate, "steep board": steep_job,
              "moved board": partial(random_job, small=True, moved=True)}[kind]
    made = []
    end = ending(job_of(seed).write(tmp_path).parent, resolution=COARSE, made=made)
    assert end.kind == "built", end.message
    hold(f"{kind} {seed}", *made)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("seed", [2009, 2156, 2163, 1048])
def test_a_part_of_a_drawn_outline_builds_on_its_tabs(tmp_path, seed):
    """Where a tab stood on the clearest place, the way round another wall had thinned it, or left a ledge beside it."""
    end = ending(random_outline(seed).write(tmp_path).parent, resolution=COARSE)
    assert end.kind == "built", end.message


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("seed", [4247, 4216])
def test_a_job_of_many_tables_builds(tmp_path, seed):
    """In the first a link of the second cut went through the crest where a lowered board bends."""
    end = ending(crowded_job(seed).write(tmp_path).parent, resolution=COARSE)
    assert end.kind == "built", end.message


def test_the_workpieces_of_a_random_board_build_as_made(tmp_path):
    made = []
    end = workpieces_ending(random_workpieces(116).write(tmp_path).parent, resolution=COARSE, made=made)
    assert end.kind == "built", end.message
    hold("workpieces", *made, pages=True)


def test_random_boards_with_a_drawing_in_its_own_colours_hold_each_colour_once(tmp_path):
    """As one inlay or as stages; they are built by the hundred, not here."""
    drawings = sorted((Path(__file__).parents[2] / "examples").rglob("moth*.svg"))
    stages = []
    for seed in range(6):
        clamping = clamping_of(pathgen.load_job(coloured_job(seed, drawings).write(tmp_path / str(seed))))
        colours = [colour for inlay in clamping.inlays for colour in inlay.colours]
        assert len(colours) == len(set(colours)) > 1
        stages.append(len(clamping.inlays))
    assert set(stages) == {1, 2, 3}


def test_a_random_job_is_the_same_each_time_and_another_for_another_seed():
    assert random_job(5) == random_job(5)
    assert random_job(5) != random_job(6)


def test_every_pocket_of_the_small_board_goes_down_by_its_stepdown(tmp_path):
    result = built(tmp_path, resolution=COARSE)
    wood = Wood((-20.0, 105.0), (-33.0, 33.0), 8.0, 0.2)
    # surfaced, as the finished shape says: the finishing ball is measured by others
    x = wood.x0 + np.arange(wood.heights.shape[0]) * wood.cell
    y = wood.y0 + np.arange(wood.heights.shape[1]) * wood.cell
    length = pathgen.fret_distances(300.0, 5)[-1] + 10.0
    radius = 254.0 + (300.0 - 254.0) * x[:, None] / length
    wood.heights[:] = 6.5 + np.sqrt(radius**2 - y[None, :] ** 2) - radius
    pockets = [p for p in result.programs if p.operation == "pocket"]
    assert pockets
    for program in pockets:
        deepest = wood.cut(program.text, shape=program.cutter.shape, diameter=program.cutter.diameter)
        assert 0.3 < deepest <= program.cutter.stepdown + 0.1


def test_the_second_opinion_cuts_moved_work_where_it_lay_before():
    """A random board moved 1.5 mm was said to be cut too deep where its first surface had not come to."""
    first, again = (f"G21 G90\nG0 X{x} Y0 Z9\nG1 Z4 F100\nG1 X{x + 20}\nG0 Z9\n" for x in (0, 15))
    back = np.vstack([np.eye(3), [-15.0, 0.0, 0.0]])
    groove = Cut("slots", first, "flat-end", 2.0, 90.0, 2.05)
    moved = [list(deepest_falls([groove, replace(groove, text=again, limit=0.5, back=way)], top=6.0, cell=0.2))[1]
             for way in (back, None)]
    assert [fall.width > 1.0 for fall in moved] == [False, True]


def test_where_moved_work_lay_is_told_by_a_turn_that_stretches_nothing(tmp_path):
    """By a point above the safe height, which is only lifted, depths were 1.5 % and floors 0.08 mm too low."""
    clamping = clamping_of(pathgen.load_job(random_job(92011, small=True, moved=True).write(tmp_path)))
    turn = _where_it_lay(clamping, clamping.steps[-1])[:3]
    assert np.abs(turn @ turn.T - np.eye(3)).max() < 1e-9


def test_the_second_opinion_sees_layers_taken_together(tmp_path):
    """Nothing but shavings in programs as they are; a layer left out is a cut as wide as the cutter."""
    result = built(tmp_path, resolution=COARSE)
    pocket = next(p for p in result.programs if p.operation == "pocket")
    flat = Cut("pocket", pocket.text, "flat-end", 2.0, 90.0, pocket.cutter.stepdown + 0.05)
    whole, = deepest_falls([flat], top=6.5, cell=0.25)
    assert whole.width <= 0.25 * 2.0 + 0.25 / 2
    half, = deepest_falls([replace(flat, limit=pocket.cutter.stepdown / 4)], top=6.5, cell=0.25)
    assert half.width > 1.5
    assert half.over > 0.2
