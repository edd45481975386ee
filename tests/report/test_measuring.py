"""The filled-in blocks of the report: copied into the job as they are, they say that nothing has moved."""

import re
import tomllib

import numpy as np
import pytest

import pathgen
from tests import small_board


@pytest.mark.in_every_run(1)
def test_the_blocks_as_they_stand_mean_no_move(tmp_path):
    extra = '[marks]\ncutter = "flat"\n'
    first = small_board.built(tmp_path, extra=extra, resolution=0.4)
    lines = first.files(shaded=False)["report.txt"].splitlines()
    blocks = "\n".join(line for line in lines if re.match(r"\[\[measured\]\]|found = ", line))
    assert len(tomllib.loads(blocks)["measured"]) == len(first.report["marks"]["machine"]) >= 3
    again = small_board.built(tmp_path, extra=extra + blocks + "\n", resolution=0.4)
    assert np.abs(again.report["moved"]["shift"]).max() == pytest.approx(0, abs=1e-3)
    nudged = re.sub(r"found = \[(-?[\d.]+)", lambda m: f"found = [{float(m[1]) + 0.5:.4f}", blocks)
    job = pathgen.load_job(small_board.job(tmp_path, extra=extra + nudged + "\n"))
    moved = pathgen.build(job, resolution=0.4)
    assert moved.report["moved"]["shift"][0] == pytest.approx(0.5, abs=1e-3)
    begins = moved.report["moved"]["first_program"]
    words = f"From program {begins} on the work is taken to lie 0.5 mm along, 0 mm across,"
    files = moved.files(shaded=False)
    assert all(words in " ".join(files[name].split()) for name in ("report.txt", "setup.html"))
