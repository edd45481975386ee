"""Whole jobs at the edge of the usual: all must build, and verify themselves."""

import math
import re

import pytest

from pathgen.base.errors import JobError
from pathgen.verify import verify
from tests.small_board import built, cutter, svg

DOT = svg('<circle cx="5" cy="5" r="2.5" fill="#225577"/>', 10, 10)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("x", [41.0, 45.0, 50.0, 55.0])
def test_a_dot_anywhere_between_the_sections_on_which_ridges_are_measured(tmp_path, x):
    result = built(tmp_path, art=DOT, changes={"at = [45.0, 0.0]": f"at = [{x}, 0.0]"}, resolution=0.2)
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("thickness", [9.5, 11.0])
def test_a_thick_blank_without_roughing(tmp_path, thickness):
    changes = {"thickness = 8.0\nmargin": f"thickness = {thickness}\nmargin"}
    result = built(tmp_path, changes=changes, resolution=0.2)
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(0)
def test_the_finishing_ball_as_the_pocket_cutter(tmp_path):
    """Across its wide opening the board falls away from the plane that touches it."""
    wide = DOT.replace('width="10mm" height="10mm"', 'width="30mm" height="30mm"')
    changes = {'cutters = ["flat"]': 'cutters = ["ball"]', "at = [45.0, 0.0]": "at = [45.0, -9.0]"}
    result = built(tmp_path, art=wide, changes=changes)
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("wide", "cutter"), [(1.06, 0.8), (0.6, 0.5)])
def test_dots_hardly_wider_than_the_cutter(tmp_path, wide, cutter):
    """A finishing pass at full depth would have it in wood all round, many stepdowns deep, where it hardly moves."""
    dots = "".join(f'<circle cx="{2 + 3 * i}" cy="3" r="{wide / 2}" fill="#225577"/>' for i in range(4))
    changes = {"diameter = 2.0": f"diameter = {cutter}", "stepdown = 1.6": f"stepdown = {0.4 * cutter}"}
    result = built(tmp_path, art=svg(dots, 13, 6), changes=changes)
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(0)
def test_a_wide_round_board_is_roughed_in_its_layers(tmp_path):
    """A flat end on a slope cuts all to one height: what stands over the surface downhill is not how deep it cuts."""
    changes = {"nut_width = 40.0": "nut_width = 47.0", "end_width = 46.0": "end_width = 58.6",
               "radius = { nut = 254.0, end = 300.0 }": "radius = 180.0", "width = 66.0": "width = 84.6",
               "thickness = 8.0\nmargin": "thickness = 8.7\nmargin", "thickness = 6.5": "thickness = 6.2",
               'finish = "ball"': 'finish = "ball"\nrough = "rough"\nallowance = 0.2'}
    rough = cutter(name="rough", shape="flat-end", diameter=4.0, speed=16000, feed=1520.0, plunge=480.0, stepdown=1.68)
    result = built(tmp_path, changes=changes, extra=rough, art=DOT, resolution=0.2)
    assert result.passed, [str(f) for f in result.verification.findings]
    deepest = result.verification.simulation.taken[1].bites.depth.max()
    assert 1.0 < deepest < 1.68


OVER = """
[[inlay]]
artwork = "over.svg"
depth = {depth}
cutters = {cutters}
fill = "{fill}"
overfill = 0.7
place = {{ at = [45.0, 0.0] }}
"""


def _over_an_open_pocket(folder, *, depth, fill, cutters='["flat"]', changes=None, extra=""):
    disc = svg('<circle cx="{}" cy="15" r="9" fill="#225577"/>')
    (folder / "over.svg").write_text(disc.format(24))
    changes = {"place = { at = [45.0, 0.0] }": 'place = { at = [45.0, 0.0] }\nfill = "none"', **(changes or {})}
    return built(folder, art=disc.format(14), changes=changes,
                 extra=OVER.format(depth=depth, fill=fill, cutters=cutters) + extra)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("depth", [1.0, 1.5, 2.0])
def test_open_pockets_may_lie_over_each_other(tmp_path, depth):
    """Where the first is as deep already, nothing is left for the second to cut."""
    result = _over_an_open_pocket(tmp_path, depth=depth, fill="none")
    assert result.passed, [str(f) for f in result.verification.findings]


def test_what_an_open_pocket_leaves_of_a_deeper_one_must_still_be_cut(tmp_path):
    result = _over_an_open_pocket(tmp_path, depth=2.0, fill="none")
    texts = {p.file_name: p.text for p in result.programs}
    last = result.programs[-1]
    texts[last.file_name] = re.sub(r"Z([\d.]+)", lambda z: f"Z{float(z[1]) + 3.0:.4f}", last.text)
    codes = {f.code for f in verify(result.plan.clamping, texts, resolution=0.2).findings if f.severity == "forbid"}
    assert "pocket-uncut" in codes


def v_cutter(angle, diameter):
    return cutter(name=f"v {angle}", shape="v", angle=float(angle), diameter=diameter, speed=16000, feed=800.0,
                  plunge=250.0, stepdown=1.0)


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("first", "second", "depth"), [(20, 90, 1.6), (90, 20, 1.6), (120, 60, 1.0)])
def test_open_pockets_with_sloping_walls_may_lie_over_each_other(tmp_path, first, second, depth):
    """On the one's wall the other has nothing to cut, and is not as deep as its own floor."""
    changes = {'cutters = ["flat"]': f'cutters = ["v {first}"]'}
    extra = "".join(v_cutter(angle, 6.0) for angle in {first, second})
    result = _over_an_open_pocket(tmp_path, depth=depth, fill="none", changes=changes, extra=extra,
                                  cutters=f'["v {second}"]')
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("high", [3.04, 3.08, 3.12])
def test_a_v_on_a_slope_in_a_bar_that_it_just_fits(tmp_path, high):
    """Uphill it opens more than on level ground: steep as it is in places, a finer one after it has no floor there."""
    bar = svg(f'<rect x="10" y="{28 - high}" width="20" height="{high}" fill="#225577"/>')
    extra = v_cutter(90, 10.0) + v_cutter(60, 3.0)
    changes = {'cutters = ["flat"]': 'cutters = ["v 90", "v 60"]'}
    result = built(tmp_path, art=bar, changes=changes, extra=extra)
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(0)
def test_what_a_blunt_v_hardly_opens_is_not_asked_of_a_flat_end_after_it(tmp_path):
    extra = v_cutter(150, 6.0)
    star = " ".join(f"{15 + r * math.cos(a):.3f},{15 + r * math.sin(a):.3f}" for a, r in
                    ((math.pi * k / 7, (6.5, 11.0)[k % 2]) for k in range(14)))
    art = svg(f'<polygon points="{star}" fill="#225577"/>')
    changes = {'cutters = ["flat"]': 'cutters = ["v 150", "flat"]', "depth = 1.5": "depth = 0.5"}
    result = built(tmp_path, art=art, changes=changes, extra=extra)
    assert result.passed, [str(f) for f in result.verification.findings]


def test_a_fill_over_an_open_pocket_is_refused(tmp_path):
    with pytest.raises(JobError, match=r"inlay 2: 84.2 mm2 of it, near 44 mm along.* over inlay 1, which stays open"):
        _over_an_open_pocket(tmp_path, depth=1.0, fill="resin")


def test_a_clamp_may_stand_between_two_pockets_of_a_board_that_is_not_surfaced(tmp_path):
    pair = svg("".join(f'<circle cx="{x}" cy="5" r="4" fill="#225577"/>' for x in (5, 55)), 60, 10)
    changes = {'[surface]\nfinish = "ball"\nscallop = 0.05\n':
               "[setup]\nkeep_out = [{ along = [40.0, 50.0], across = [-40.0, 40.0], height = 20.0 }]\n",
               "thickness = 8.0\nmargin": "thickness = 6.5\nmargin", "overfill = 0.7": 'fill = "none"'}
    result = built(tmp_path, art=pair, changes=changes, resolution=0.2)
    assert result.passed, [str(f) for f in result.verification.findings]


def test_a_skin_round_a_blank_that_ends_at_the_nut(tmp_path):
    """Beyond it there is no wood for the cutter to leave a skin of."""
    changes = {"margin_nut = 20.0": "margin_nut = 0.0"}
    extra = '[outline]\ncutter = "flat"\nskin = 0.3\n'
    result = built(tmp_path, art=DOT, changes=changes, extra=extra, resolution=0.2)
    assert result.passed, [str(f) for f in result.verification.findings]


def test_the_flutes_of_a_finishing_cutter_reach_over_what_stands_beside_its_passes(tmp_path):
    """Refused before anything is simulated; what is allowed does."""
    flutes = 'name = "ball"\nflute_length = {}'
    with pytest.raises(JobError, match=r'"ball" flute_length: 2 mm, and the blank stands 2.4\d* mm over') as short:
        built(tmp_path, art=DOT, changes={'name = "ball"': flutes.format(2.0)})
    least = float(re.search(r"[\d.]+", short.value.allowed)[0])
    result = built(tmp_path, art=DOT, changes={'name = "ball"': flutes.format(least)}, resolution=0.2)
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("kind", "rough"), [("v", ""), ("flat-end", 'rough = "wide"\n')])
def test_a_board_as_round_as_may_be_is_roughed_above_the_bed_and_pocketed_no_faster_than_it_may_sink(
    tmp_path, kind, rough
):
    """Of 30 mm radius and 42 mm wide: roughing followed the curve 11 mm down into the bed beside it, and pockets sank
    along slopes of 30 degrees at their feed: refused by our own check."""
    angle = {"angle": 60.0} if kind == "v" else {}
    made = built(
        tmp_path, resolution=0.2, changes={
            "scale_length = 300.0": "scale_length = 100.0", "length = 125.0": "length = 80.0",
            "nut_width = 40.0": "nut_width = 42.0", "end_width = 46.0": "end_width = 42.0",
            "radius = { nut = 254.0, end = 300.0 }": "radius = 30.0", "thickness = 6.5": "thickness = 12.6",
            "thickness = 8.0": "thickness = 13.6", 'cutters = ["flat"]': 'cutters = ["fine"]',
            'finish = "ball"\n': f'finish = "ball"\n{rough}', "width = 66.0": "width = 90.0",
            "place = { at = [45.0, 0.0] }": "place = { at = [17.0, 9.0], width = 12.0 }"},
        extra=cutter(name="fine", shape=kind, diameter=2.0, speed=16000, feed=1140.0, plunge=200.0, stepdown=0.6,
                     **angle)
        + cutter(name="wide", shape="flat-end", diameter=6.0, speed=16000, feed=2200.0, plunge=600.0, stepdown=2.0))
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []


def test_a_skin_that_a_dowel_hole_meets_is_as_deep_there_as_the_hole(tmp_path):
    """It was refused by our own check: nothing was left under the groove."""
    made = built(tmp_path, resolution=0.2, art=DOT, extra=cutter(
        name="drill", shape="flat-end", diameter=3.0, speed=11000, feed=1100.0, plunge=300.0, stepdown=1.2)
        + '[holes]\ncutter = "drill"\nat = [[-2.5, 0.0], [100.0, 0.0]]\n[outline]\ncutter = "flat"\nskin = 0.4\n')
    assert [str(f) for f in made.verification.findings if f.severity == "forbid"] == []
