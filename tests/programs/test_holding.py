"""Beside the edges of a tight radius little wood is left to hold the part: tabs and skin are no higher than that."""

import re

import pytest

import pathgen
from pathgen.work.operations import Outline
from tests.small_board import JOB

STEEP = (JOB.partition("[[inlay]]")[0].replace("{ nut = 254.0, end = 300.0 }", "41.0")
         .replace("thickness = 6.5", "thickness = 9.0").replace("thickness = 8.0", "thickness = 10.0"))
SLOTS = ('[slots]\ncutter = "slot"\ndepth = 0.8\n[[cutter]]\nname = "slot"\nshape = "flat-end"\ndiameter = 0.6\n'
         "speed = 18000\nfeed = 400.0\nplunge = 100.0\nstepdown = 0.5\n")


@pytest.mark.in_every_run(1)
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


def in_hand(text):
    """The same board from a blank that has its radius already."""
    return re.sub(r"\[surface\](\n.+)*", "", text).replace("thickness = 10.0", "thickness = 9.0")


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("text", [STEEP, in_hand(STEEP.replace("41.0", "43.0"))],
                         ids=["the ball's hollow", "a blank with its radius"])
def test_tabs_that_nobody_says_the_height_of_are_as_high_as_what_is_left(tmp_path, text):
    """They were 1.5 mm high, and refused with the height that builds."""
    job = tmp_path / "job.toml"

    def built(high):
        job.write_text(f'{text}[outline]\ncutter = "flat"\n{high}')
        return pathgen.build(pathgen.load_job(job), resolution=0.1)

    made = built("")
    assert made.passed
    found = pathgen.check(pathgen.load_job(job), made.write(tmp_path / "out")[0].parent, resolution=0.1).findings
    assert {one.code for one in found} <= {"load-high"}  # nothing roughs the hollow
    high = made.plan.clamping.feature(Outline).tab_height
    assert 0.1 <= high < 1.5
    with pytest.raises(pathgen.JobError, match=rf"\[outline\] tab_height: 1.5 mm, and .* {high:.2f} mm in its groove"):
        built("tab_height = 1.5\n")


def test_a_ball_that_would_go_into_the_bed_beside_a_steep_edge_is_refused_with_the_thickness_that_does(tmp_path):
    """Our own check refused its program: 0.26 mm below the underside."""
    job = tmp_path / "job.toml"

    def built(thickness):
        text = STEEP.replace("41.0", "38.0\nmin_web = 0.2").replace("thickness = 9.0", f"thickness = {thickness}")
        job.write_text(text)
        return pathgen.build(pathgen.load_job(job), resolution=0.3)

    with pytest.raises(pathgen.JobError, match=r'"ball": goes 0\.26 mm below the underside beside the edge') as refused:
        built(8.8)
    thicker = float(re.search(r"make the board ([\d.]+) mm thicker", refused.value.remedy)[1])
    assert built(round(8.8 + thicker, 2)).passed
