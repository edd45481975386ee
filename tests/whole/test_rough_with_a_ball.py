"""Roughing with a ball end: its layers leave ridges and curved walls, and no bite is deeper for them."""

from dataclasses import replace

import pytest

from pathgen.verify import verify
from tests import small_board


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("diameter", "stepdown", "stepover", "thickness", "radius"), [
    (12.7, 1.26, 0.1, 9.0, 120.0), (3.0, 1.04, 0.8, 14.0, 180.0), (4.0, 1.27, 0.1, 10.0, 120.0),
])
def test_a_ball_end_roughs_within_its_stepdown_and_no_less(
    tmp_path, diameter, stepdown, stepover, thickness, radius
):
    ball = small_board.cutter(name="rough", shape="ball-end", diameter=diameter, stepdown=stepdown, stepover=stepover,
                              speed=18000, feed=1200.0, plunge=300.0)
    made = small_board.built(
        tmp_path, resolution=0.2, extra=ball, changes={
            "scale_length = 300.0": "scale_length = 100.0", "length = 125.0": "length = 80.0",
            "at = [45.0, 0.0]": "at = [17.0, 0.0]",
            'finish = "ball"': 'finish = "ball"\nrough = "rough"', "thickness = 8.0": f"thickness = {thickness}",
            "radius = { nut = 254.0, end = 300.0 }": f"radius = {radius}"})
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []
    clamping, first = made.plan.clamping, made.programs[0]
    weaker = replace(clamping, steps=tuple(
        replace(step, cutter=replace(step.cutter, stepdown=0.6 * stepdown)) if step.order == 1 else step
        for step in clamping.steps))
    assert "cut-too-deep" in {f.code for f in verify(weaker, {first.file_name: first.text}, resolution=0.2).findings}


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("diameter", "stepdown", "allowance", "radius", "wide"), [
    (3.0, 0.3, 0.4, 60.0, 30.0), (8.0, 3.0, 5.0, 254.0, 40.0),
])
def test_what_roughing_leaves_is_finished_within_the_stepdown(tmp_path, diameter, stepdown, allowance, radius, wide):
    """Its layers went through the allowance alone, and not round the edges: a flat end leaves stairs of 0.9 mm more on
    the first board, and both were refused by their own check, 1.3 mm at once."""
    wood = allowance + 7.0
    made = small_board.built(
        tmp_path, resolution=0.2, changes={
            "scale_length = 300.0": "scale_length = 100.0", "length = 125.0": "length = 80.0",
            "at = [45.0, 0.0]": "at = [17.0, 0.0], width = 18.0", "nut_width = 40.0": f"nut_width = {wide}",
            "end_width = 46.0": f"end_width = {wide + 4.0}", "thickness = 8.0": f"thickness = {wood}",
            "diameter = 12.7": f"diameter = {diameter}", "stepdown = 3.0": f"stepdown = {stepdown}",
            'finish = "ball"': f'finish = "ball"\nrough = "wide"\nallowance = {allowance}',
            "radius = { nut = 254.0, end = 300.0 }": f"radius = {radius}"},
        extra=small_board.cutter(name="wide", shape="flat-end", diameter=6.0, stepdown=2.7, speed=16000, feed=1500.0,
                                 plunge=400.0))
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("finish", "rough", "allowance", "radius", "nut", "blank"), [
    (("ball-end", 3.4, 2.1), ("ball-end", 36.5, 1.16, 0.45), 1.5, "60.0, end = 60.0", 40.0, 6.6),
    (("ball-end", 4.4, 3.2), ("flat-end", 14.7, 1.56, 0.95), 0.1, "254.0, end = 300.0", 20.0, 12.0),
    (("ball-end", 3.8, 3.45), ("flat-end", 38.2, 0.31, 0.95), 1.5, "100.0, end = 130.0", 40.0, 12.0),
    (("ball-end", 3.3, 0.68), ("flat-end", 9.7, 1.78, 0.2), 1.5, "100.0, end = 130.0", 40.0, 8.0),
])
def test_what_wide_cutters_leave_is_finished_within_the_stepdown(
    tmp_path, finish, rough, allowance, radius, nut, blank
):
    """Ridges of a ball stand higher on a round board than on a level one; past the ends of wide flat passes the blank
    stood between two of them; and a wide pass goes where no fine one does along a tapered edge, and one of a second
    cut where none of the first did."""
    names = "shape", "diameter", "stepdown", "stepover"
    extra = "".join(small_board.cutter(name=name, **dict(zip(names, one, strict=False)), speed=16000, feed=2400.0,
                                       plunge=600.0) for name, one in (("fine", finish), ("wide", rough)))
    made = small_board.built(
        tmp_path, resolution=0.3, extra=extra, changes={
            "nut_width = 40.0": f"nut_width = {nut}", "nut = 254.0, end = 300.0": f"nut = {radius}",
            "thickness = 8.0": f"thickness = {blank}", 'finish = "ball"\nscallop = 0.05':
            f'finish = "fine"\nrough = "wide"\nallowance = {allowance}'})
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []


def test_a_small_cutter_before_a_large_ball_stays_beside_the_blank(tmp_path):
    """As far as a ball of 25.4 mm clears 11 mm beside the part, a cutter of 2 mm went out over the bed."""
    made = small_board.built(tmp_path, resolution=0.4, changes={
        "diameter = 12.7": "diameter = 25.4", 'finish = "ball"': 'finish = "ball"\nrough = "flat"', 
        "width = 66.0": "width = 48.0"})
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []
    rough = made.plan.paths[0].points
    assert abs(rough[:, 1]).max() <= 24.0 + 1.0 + 1e-9
