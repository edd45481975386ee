"""The outline is begun on what stands in its way once the surface is cut, not on top of a blank that is gone there: by
the tests' own simulation, which shares nothing with the program."""

import numpy as np
import pytest

import pathgen
from tests import random_jobs
from tests.plain_cutting import Wood
from tests.small_board import job, moves

SHORT = {"scale_length = 300.0": "scale_length = 100.0", "length = 125.0": "length = 80.0",
         "width = 66.0": "width = 76", "thickness = 8.0": "thickness = 12.0", "frets = 5": "frets = 4"}
ROUGH = {'finish = "ball"': 'rough = "flat"\nfinish = "ball"'}
ROUND = {'finish = "ball"': 'rough = "round"\nfinish = "ball"'}
FINE = {"diameter = 12.7": "diameter = 3"}
OUTLINE = '[outline]\ncutter = "flat"\ntabs = 2\n'
OWN = ('[[cutter]]\nname = "round"\nshape = "ball-end"\ndiameter = 6.8\nstepdown = 3.0\nspeed = 9000\nfeed = 900.0\n'
       'plunge = 300.0\n')


def _without_inlay(path):
    text = path.read_text()
    path.write_text(text[: text.index("[[inlay]]")] + text[text.index("[outline]"):])
    return pathgen.build(pathgen.load_job(path), resolution=0.2, pictures=False)


def _begins(text: str) -> float:
    _, ends, rapid = moves(text)
    return float(ends[~rapid, 2][0])


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("changes", [{**ROUGH, **FINE}, {}, {**ROUND, **FINE}],
                         ids=["roughed, fine ball", "ball alone", "roughed by a ball, fine ball"])
def test_the_first_layer_takes_what_stands_there(tmp_path, changes):
    built = _without_inlay(job(tmp_path, changes={**SHORT, **changes}, extra=OUTLINE + OWN))
    assert built.passed
    *before, outline = built.programs
    wood = Wood((-20.0, 60.0), (-38.0, 38.0), 12.0, 0.3)
    for program in before:
        wood.cut(program.text, shape=program.cutter.shape, diameter=program.cutter.diameter)
    stands = max(float(wood.heights[window][square <= 1.0].max())
                 for start, end, rapid in zip(*moves(outline.text), strict=True) if not rapid
                 for window, square, _, _ in wood.steps(start, end, shape="flat-end", diameter=2.0, angle=90.0))
    assert _begins(outline.text) < stands + outline.cutter.stepdown
    assert random_jobs.cut_again(built, cell=0.3) == []


@pytest.mark.in_every_run(0)
def test_fill_beside_the_part_is_counted_on_to_stand(tmp_path):
    begins = []
    for across in (0.0, 18.0):  # the dam, 2 mm outside the drawing, then stands over the outline's way
        changes = {**SHORT, **ROUGH, "at = [45.0, 0.0]": f"at = [14.0, {across}], width = 12.0"}
        path = job(tmp_path, changes=changes, extra=OUTLINE)
        built = pathgen.build(pathgen.load_job(path), resolution=0.2, pictures=False)
        assert built.passed
        begins.append(_begins(built.programs[-1].text))
    assert begins[0] < 7.0
    np.testing.assert_allclose(begins[1], 12.0)
