"""Corners that a v cutter sharpens after a flat end: what stays closed there is found."""

import re

import pytest

from pathgen.verify import verify
from tests import small_board

STAR = small_board.svg('<polygon points="18,2 21,11 30,11 23,17 26,27 18,21 10,27 13,17 6,11 15,11"/>',
                       more='fill="#225577"')
SHARP = small_board.cutter(name="sharp", shape="v", angle=60.0, diameter=6.0, speed=18000, feed=1200.0, plunge=300.0,
                           stepdown=1.6)
CHANGES = {'cutters = ["flat"]': 'cutters = ["flat", "sharp"]'}


@pytest.fixture(scope="module", params=["", "[resurface]\nskim = 0.15\n"], ids=["no skim", "skim"])
def made(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("star")
    return small_board.built(folder, art=STAR, changes=CHANGES, extra=SHARP + request.param)


def lifted(text: str, *, above: float, by: float) -> str:
    """The program with what it cuts higher than `above` raised."""
    return re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) + by * (above < float(m[1])):.4f}", text)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("above", "by"), [(0.0, 0.3), (5.4, 1.0)], ids=["all of it higher", "its corners in air"])
def test_corners_that_stay_closed_are_found(made, above, by):
    assert made.passed
    last = [p for p in made.programs if p.operation == "pocket"][-1]
    texts = {p.file_name: p.text for p in made.programs} | {last.file_name: lifted(last.text, above=above, by=by)}
    found = verify(made.plan.clamping, texts, resolution=0.1).findings
    assert "pocket-uncut" in {f.code for f in found if f.severity == "forbid"}


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("name", "shape"), [("flat 1", "flat-end"), ("ball 1", "ball-end"), ("v 30", "v")])
def test_a_v_that_others_follow_is_not_asked_to_sharpen_corners(tmp_path, name, shape):
    angle = {"angle": 30.0} if shape == "v" else {}
    after = small_board.cutter(name=name, shape=shape, diameter=1.0, speed=18000, feed=400.0, plunge=100.0,
                               stepdown=0.5, **angle)
    made = small_board.built(tmp_path, art=STAR, changes={'cutters = ["flat"]': f'cutters = ["sharp", "{name}"]'},
                             extra=SHARP + after)
    assert len([p for p in made.programs if p.operation == "pocket"]) == 2
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []
