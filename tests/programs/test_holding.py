"""Beside the edges of a tight radius little wood is left to hold the part: tabs and skin are no higher than that."""

import re

import pytest

import pathgen
from tests.small_board import JOB

STEEP = (JOB.partition("[[inlay]]")[0].replace("{ nut = 254.0, end = 300.0 }", "41.0")
         .replace("thickness = 6.5", "thickness = 9.0").replace("thickness = 8.0", "thickness = 10.0"))
SLOTS = ('[slots]\ncutter = "slot"\ndepth = 0.8\n[[cutter]]\nname = "slot"\nshape = "flat-end"\ndiameter = 0.6\n'
         "speed = 18000\nfeed = 400.0\nplunge = 100.0\nstepdown = 0.5\n")


@pytest.mark.parametrize(("more", "key"), [
    ("", "tab_height"), ('[surface]\nrough = "flat"\n', "tab_height"), (SLOTS, "skin"),
], ids=["the ball's hollow", "roughing", "slots that run out"])
def test_what_is_asked_for_is_no_higher_than_what_is_left(tmp_path, more, key):
    text = STEEP.replace("[surface]\n", more) if "rough" in more else STEEP + more

    def built(high):
        job = tmp_path / "job.toml"
        job.write_text(f'{text}[outline]\ncutter = "flat"\n{key} = {high}\n')
        return pathgen.build(pathgen.load_job(job), resolution=0.3)

    with pytest.raises(pathgen.JobError, match=rf"\[outline\] {key}: 1.9 mm, and what is cut before leaves") as refused:
        built(1.9)
    assert built(re.search(rf"make {key} ([\d.]+) mm or less", refused.value.remedy)[1]).passed
