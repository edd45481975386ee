"""Random small boards build and pass their own check; an independent cutting finds no deep bite."""

import numpy as np
import pytest

import pathgen
from tests.plain_cutting import Wood
from tests.random_jobs import COARSE, ending, random_job
from tests.small_board import built


@pytest.mark.parametrize("seed", range(1, 21))
def test_a_random_small_board_builds(tmp_path, seed):
    folder = random_job(seed, small=True).write(tmp_path).parent
    end = ending(folder)
    assert end.kind == "built", end.message


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
