"""`plunges = false` through a whole build: by the text, nothing goes straight down into wood."""

import numpy as np
import pytest

import pathgen
from pathgen.app.building import check
from pathgen.base.errors import CutterError
from tests import small_board
from tests.brute import Block, moves_of

BLIND = {'name = "flat"\nshape = "flat-end"': 'name = "flat"\nplunges = false\nshape = "flat-end"'}
OUTLINE = '[outline]\ncutter = "flat"\ntabs = 4\n'


def test_no_program_of_that_cutter_sinks_into_wood_straight_down(tmp_path):
    result = small_board.built(tmp_path, resolution=0.2, changes=BLIND, extra=OUTLINE)
    assert result.passed
    block = Block((-30.0, -45.0, 120.0, 45.0), 0.1, lambda x, y: np.full(np.broadcast(x, y).shape, 8.0))
    sunk, sideways = [], 0.0
    for program in result.programs:  # the tests' own simulation, of the text
        loads = block.run(moves_of(program.text), program.cutter.radius, ball=program.cutter.shape == "ball-end")
        if program.cutter.name == "flat":
            down = loads.straight_down & (loads.end[:, 2] < loads.start[:, 2])
            sunk.append(loads.volume[down].max(initial=0.0))
            sideways += loads.volume[~loads.straight_down].sum()
    assert len(sunk) == 2
    assert max(sunk) < 0.02 * np.pi  # mm3: a fiftieth of a millimetre under all of the cutter
    assert sideways > 500.0


def test_a_program_edited_to_do_so_is_refused(tmp_path):
    result = small_board.built(tmp_path, resolution=0.2, changes=BLIND)
    name = next(p.file_name for p in result.programs if p.operation == "pocket")
    paths = result.write(tmp_path / "out")
    program = next(path for path in paths if path.name == name)
    lines = program.read_text().splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("G1"))
    # where the first ramp begins, straight down to its first layer and up again
    lines[first:first] = ["G1 Z5.4 F300", "G0 Z20", "G0 Z9"]
    program.write_text("\n".join(lines) + "\n")
    found = [f for f in check(result.job, tmp_path / "out", resolution=0.2).findings if f.code == "plunge-into-wood"]
    assert len(found) == 1
    assert name in found[0].where
    assert "plunges = false" in found[0].got


def test_a_pocket_with_no_room_for_a_ramp_is_refused_with_its_place(tmp_path):
    dot = small_board.ART.replace('r="8"', 'r="1.03"')
    job = pathgen.load_job(small_board.job(tmp_path, changes=BLIND, art=dot))
    with pytest.raises(CutterError, match=r"no room for a ramp or a helix down 1\.\d+ mm at "):
        pathgen.build(job, resolution=0.3)
