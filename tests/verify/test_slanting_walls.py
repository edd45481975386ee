"""The slanting walls that a v cutter alone opens: right as planned, and seen where runs of them are left out."""

import numpy as np

from pathgen.verify import verify
from tests.small_board import built, cutter, svg
from tests.spoiling import Moves

POINTED = cutter(name="v", shape="v", angle=60, diameter=6.0, speed=18000, feed=800.0, plunge=300.0, stepdown=0.6)
LINES = svg('<path d="M6 6h12v12M24 8q8 10 0 16" fill="none" stroke="#225577" stroke-width="1.2"/>')


def test_deeper_runs_left_out_beside_the_walls_are_seen(tmp_path):
    result = built(tmp_path, art=LINES, extra=POINTED, changes={'cutters = ["flat"]': 'cutters = ["v"]'})
    assert result.passed, [str(f) for f in result.verification.findings]
    name, = (p.file_name for p in result.programs if p.operation == "pocket")
    texts = {p.file_name: p.text for p in result.programs}
    moves = Moves.of(texts[name])
    which = np.ones(len(moves.kind), bool)
    for run in moves.runs():
        which[run] = moves.points[run, 2].min() > 5.8
    texts[name] = moves.keep(which).text()
    found = [f for f in verify(result.plan.clamping, texts).findings if f.severity == "forbid"]
    assert any("beside the walls" in f.got for f in found), [str(f) for f in found]
