"""Flutes as long as a cut is deep: ridges, and wood past the board's edge, stand higher beside it."""

import re

import pytest

import pathgen
from tests.small_board import JOB

PLAIN = JOB.partition("[[inlay]]")[0]
SLOTS = '[slots]\ncutter = "thin"\ndepth = 1.5\n'
NUT = '[nut]\ncutter = "thin"\ndepth = 1.5\nwidth = 4.0\nbottom = "curve"\n'


@pytest.mark.parametrize(("scallop", "more"), [(0.02, SLOTS), (0.2, SLOTS), (0.02, NUT)])
def test_a_shank_that_would_rub_is_told_before_it_is_cut(tmp_path, scallop, more):
    text = PLAIN.replace("scallop = 0.05", f"scallop = {scallop}").replace(
        "thickness = 6.5", "thickness = 6.5\nbehind_nut = 8.0").replace("length = 125.0", "length = 133.0").replace(
        "margin_nut = 20.0", "margin_nut = 28.0")

    def built(flutes):
        job = tmp_path / "job.toml"
        job.write_text(f'{text}{more}[[cutter]]\nname = "thin"\nshape = "flat-end"\ndiameter = 0.6\nspeed = 18000\n'
                       f"feed = 400.0\nplunge = 100.0\nstepdown = 0.5\nflute_length = {flutes}\n")
        return pathgen.build(pathgen.load_job(job))

    with pytest.raises(pathgen.JobError, match="its shank would rub there") as refused:
        built(1.5)
    least = float(re.match(r"([\d.]+) mm or more", refused.value.allowed)[1])
    assert 1.55 < least < 1.75
    assert built(least).passed
