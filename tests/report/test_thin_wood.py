"""Wood left standing too thin: found where it was drawn, and not where there is none."""

import math
import re

import pytest

import pathgen
from pathgen.base.markup import as_svg
from pathgen.job.clamping import clamping_of
from pathgen.report.pictures.above import board_from_above, view_above
from pathgen.report.reaching import opened_of, reach_of_all
from pathgen.report.sheet.page import legend_above
from pathgen.report.wood_left import thin_wood_findings, wall_words
from pathgen.verify.findings import Tolerances
from pathgen.verify.neighbours import neighbour_findings
from tests.job.test_plates import HOLE, PLATE, RING, read
from tests.small_board import JOB, SLOTS, cutter, job, svg

OUTLINE = """
[outline]
cutter = "flat"
"""


def drawing(gap, x=10):
    """Two squares of 5 mm with so much wood between them, in a page of 40 by 30 mm about X 45, Y 0."""
    return svg("".join(f'<rect x="{at}" y="12" width="5" height="5" fill="#225577"/>' for at in (x, x + 5 + gap)))


def thin(clamping):
    return thin_wood_findings(clamping, opened_of(clamping))


def found(folder, art, extra="", place=0.0):
    changes = {"at = [45.0, 0.0]": f"at = [45.0, {place:.5f}]"}
    return thin(clamping_of(pathgen.load_job(job(folder, art=art, extra=extra, changes=changes))))


@pytest.mark.parametrize(("gap", "count"), [
    (0.3, 1), (0.39, 1), (0.398, 1), (0.41, 0), (0.04, 1), (0.004, 0), (2.0, 0),
])
def test_between_pockets(tmp_path, gap, count):
    """The report said of 0.02 mm that it breaks out, and no warning came: not of a wider wall elsewhere either."""
    warned = found(tmp_path, drawing(gap))
    assert len(warned) == count
    if count:
        # the page's left edge lies at X 25: the wood is at 25 + 15 + gap / 2
        along, across = (float(w) for w in re.findall(r"(-?[0-9.]+) mm", warned[0].where))
        assert along == pytest.approx(25 + 15 + gap / 2, abs=0.006)
        assert -2.0 <= across <= 3.0
        told = "0.398" if gap == 0.398 else f"{gap:.2f}"  # not "0.40 mm (allowed: 0.4 mm)"
        assert warned[0].got.startswith(f"{told} mm of wood is left standing between pockets")
        assert (warned[0].severity, warned[0].allowed) == ("warn", "0.4 mm")


def test_curves_that_touch_leave_no_wood_between_their_chords(tmp_path):
    """A side that is a circle's tangent: 0.008 mm of wood was warned of, and letting them meet advised."""
    art = '<circle cx="12" cy="15" r="8" fill="#225577"/><rect x="20" y="6" width="6" height="18" fill="#225577"/>'
    assert not found(tmp_path, svg(art))


SQUARE = '<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="#225577"/>'


def squares(*boxes):
    return svg("".join(SQUARE.format(x=x, y=y, w=w, h=h) for x, y, w, h in boxes))


@pytest.mark.parametrize(("boxes", "named"), [
    # a row of three, and a ring round a disc: three walls, of which only the thinnest was told
    ([(4, 4, 8, 5), (12.3, 4, 8, 5), (20.5, 4, 8, 5)], "0.20 and in 1 more place: 0.30"),
    # between each two, but not from corner to corner past a third, sqrt(0.25^2 + 0.3^2) = 0.39
    ([(4, 4, 8, 5), (12.3, 4, 8, 5), (20.5, 4, 8, 5), (4, 9.25, 8, 5)], "0.20 and in 2 more places: 0.25 0.30"),
    # a film and a touch are no wood, and hide none elsewhere
    ([(4, 4, 8, 5), (12.01, 4, 8, 5), (20.31, 4, 8, 5)], "0.30"),
    ([(4, 4, 8, 5), (12, 4, 8, 5), (20.3, 4, 8, 5)], "0.30"),
    # one long strip between two pockets is one wall, though it has two ends and corners half-way
    ([(4, 4, 20, 5), (4, 9.3, 10, 5), (14, 9.3, 10, 4)], "0.30"),
    ([(4 + 4.3 * k, 4, 4, 5) for k in range(7)], "0.30 and in 5 more places: 0.30 0.30 ..")])
def test_each_thin_wall_is_counted_and_the_thinnest_are_named(tmp_path, boxes, named):
    (warned,) = found(tmp_path, squares(*boxes))
    said = re.sub(r" mm of wood is left standing between pockets,?| mm at -?[\d.]+ mm along, -?[\d.]+ mm across;?", "",
                  warned.got)
    assert said == named


def test_each_thin_place_has_its_ring(tmp_path):
    clamping = clamping_of(pathgen.load_job(job(tmp_path, art=squares((4, 4, 8, 5), (12.3, 4, 8, 5), (20.5, 4, 8, 5)))))
    assert sorted((round(x, 2), words) for x, _, words in rings(clamping)) == [
        (37.15, "0.3 mm between pockets"), (45.4, "0.2 mm between pockets")]
    assert legend_above(clamping, opened_of(clamping)).count(" between pockets") == 1
    assert "and 1 more" in legend_above(clamping, opened_of(clamping))


def test_each_pocket_too_near_the_edge_is_told(tmp_path):
    board = clamping_of(pathgen.load_job(job(tmp_path, art=drawing(3.0), extra=OUTLINE))).board
    half = float(board.edges.half_width(35.0))
    (warned,) = found(tmp_path, drawing(3.0), OUTLINE, place=half - 0.05 - 3.0)
    assert re.match(r"0.0\d mm of wood .* and the edge, and in 1 more place: 0.[23]\d mm at 4\d", warned.got)


@pytest.mark.parametrize(("fill", "said"), [("resin", True), ("none", False)])
def test_resin_goes_through_where_there_is_some(tmp_path, fill, said):
    path = job(tmp_path, art=drawing(0.3), changes={"overfill = 0.7": f'fill = "{fill}"'})
    (warned,) = thin(clamping_of(pathgen.load_job(path)))
    assert ("to let resin through" in warned.remedy) == said


RINGS = PLATE.replace("thickness = 3.0", "thickness = 2.5", 1).replace("face = false\n", "")
RINGS += '[surface]\nfinish = "ball"\nscallop = 0.05\n'


@pytest.mark.parametrize(("first", "second", "hole", "said"), [
    ("resin", "resin", "", False),  # the first has cured, and is cut level, before the second is cut
    ("resin", "none", "", False),
    ("none", "resin", "", True),
    ("resin", "", HOLE, False),  # which is cut after all fills
])
def test_resin_goes_through_into_what_is_open_when_it_is_poured(tmp_path, first, second, hole, said):
    """It was said of each place in a job with resin, beside a hole too."""
    ring = RING.replace("inner = 10.0", "inner = 5.3") if hole else RING
    other = RING.replace("inner = 10.0\nouter = 14.0", "inner = 14.3\nouter = 19.0") if second else ""
    text = "".join(f'{one}fill = "{fill}"\n' for one, fill in ((ring, first), (other, second)) if one)
    (warned,) = thin(clamping_of(read(tmp_path, RINGS + text.replace("flat 3", "flat 1") + hole + cutter(
        name="flat 1", shape="flat-end", diameter=1.0, speed=12000, feed=600.0, plunge=100.0, stepdown=0.5))))
    assert warned.got.startswith("0.30 mm")
    assert ("to let resin through" in warned.remedy) == said


@pytest.mark.parametrize(("gap", "count"), [(0.2, 1), (0.5, 0)])
def test_between_a_pocket_and_the_edge(tmp_path, gap, count):
    board = clamping_of(pathgen.load_job(job(tmp_path, art=drawing(3.0), extra=OUTLINE))).board
    # the upper left corner of the left square, 10 and 3 mm from the page's corner and middle
    half, further = (float(board.edges.half_width(x)) for x in (35.0, 36.0))
    y = half - gap * math.hypot(1.0, further - half) - 3.0
    warned = found(tmp_path, drawing(3.0), OUTLINE, place=y)
    assert [f.code for f in warned] == ["thin-wood"] * count
    # the cutter, of radius 1, rounds that corner off
    round_off = math.hypot(1.0, further - half)
    left = (half - (y + 2.0) + (further - half)) / round_off - 1.0
    said = [f.got.split(" mm of wood is left standing between a pocket and the ") for f in warned]
    assert [(float(wide), what) for wide, what in said] == [(pytest.approx(left, abs=0.011), "edge")] * count


NUT = """
[nut]
cutter = "flat"
width = 2.8
depth = 2.0
"""


@pytest.mark.parametrize(("slots", "board", "told"), [
    # past a rounded corner a slot runs out at the tip of a wedge, which is no wall
    ("", "end = { corner_radius = 9 }\npast_last_fret = 3.1", None),
    ("ends = 0.2", "", "0.20 mm of wood is left standing between a slot and the edge, and in 9 more places: 0.20 mm"),
    ("ends = 0.5", "", None),
    # measured square to the edge, which the binding's width is
    ('ends = "binding"', "binding = 0.3\nbound = true", "0.30 mm of wood is left standing between a slot and the edge"),
    # the hollow comes within 10 - 9.4 mm of fret 5's line, half a slot less
    ("", "end = { rise = -9.4 }", "0.30 mm of wood is left standing between a slot and the edge"),
    ("", "end = { rise = -9.0 }", None),
    ("width = 1.4", "past_last_fret = 1.0", "0.30 mm of wood is left standing between a slot and the edge"),
    (NUT, "behind_nut = 3.0", "0.20 mm of wood is left standing between a slot and the edge"),
    (NUT, "behind_nut = 3.3", None),
    # frets 4 and 5 are 300 (2^(-4 / 72) - 2^(-5 / 72)) = 2.766 mm apart
    ("width = 2.5", "divisions = 72", "0.27 mm of wood is left standing between two slots, and in 3 more places: 0.29"),
    (NUT.replace("width = 2.8\n", ""), "behind_nut = 3.3", None),  # a shelf, out to the end
    # which run out through slanting edges: tips in their corners are no wood between two cuts
    ("", "scale_length = { bass = 310.0, treble = 290.0 }", None),
])
def test_beside_a_slot_without_pockets(tmp_path, slots, board, told):
    """Wood between slots, and between them and the edge, was looked at in no job: without pockets nothing was."""
    inlay = JOB[JOB.index("[[inlay]]"):]
    cut = SLOTS.replace("width = 0.6", "") if slots.startswith("width") else SLOTS
    changes = {inlay: "", "thickness = 6.5": f"thickness = 6.5\n{board}",
               **({"scale_length = 300.0": ""} if "scale_length" in board else {})}
    read = pathgen.load_job(job(tmp_path, extra=cut + slots + OUTLINE, changes=changes))
    warned = thin(clamping_of(read))
    assert len(warned) == len(rings(clamping_of(read))[:1]) == (told is not None)
    assert not told or warned[0].got.startswith(told)


def rings(clamping):
    """(x, y) on the board and words of each ring of the picture from above."""
    view = view_above(clamping)
    picture = as_svg(board_from_above(clamping, opened=opened_of(clamping)))
    found = re.findall(r'<circle cx="(.*?)" cy="(.*?)".*?class="thin-wood"><title>thin wood: (.*?)</title>', picture)
    return [(float(x) + view.left, view.top - float(y), words) for x, y, words in found]


def test_the_place_is_ringed_in_the_picture_and_named_under_it(tmp_path):
    clamping = clamping_of(pathgen.load_job(job(tmp_path, art=drawing(0.3))))
    (x, y, words), = rings(clamping)
    assert (x, y) == (pytest.approx(40.15, abs=0.01), pytest.approx(0.5, abs=2.6))
    assert words == "0.3 mm between pockets"
    legend = legend_above(clamping, opened_of(clamping))
    assert "Red rings: wood so thin that it breaks out, 0.3 mm between pockets, 40.15 mm along" in legend
    wide = clamping_of(pathgen.load_job(job(tmp_path, art=drawing(0.5))))
    assert not rings(wide)
    assert "Red rings" not in legend_above(wide, opened_of(wide))


@pytest.mark.parametrize(("gap", "count"), [(0.25, 1), (0.5, 1), (0.9, 0), (-0.2, 0)])
def test_beside_a_slot(tmp_path, gap, count):
    """The verifier warns, the picture rings it: one limit, twice that of other wood. Rings were only under 0.4 mm."""
    fret = 300 - 300 / 2 ** (2 / 12)  # its slot is 0.6 mm wide; the left square ends 15 mm from the page's edge
    along = fret - 0.3 - gap - 15.0 + 20.0
    changes = {"at = [45.0, 0.0]": f"at = [{along:.5f}, 0.0]"}
    clamping = clamping_of(pathgen.load_job(job(tmp_path, art=drawing(8.0), extra=SLOTS, changes=changes)))
    found = rings(clamping)
    assert len(found) == count
    slivers = [f for f in neighbour_findings(clamping, Tolerances()) if f.code == "sliver"]
    assert len(slivers) == count
    assert all(f.allowed.startswith("0.8 mm, or none: beside a slot twice what stands elsewhere") for f in slivers)
    for x, _, words in found:
        assert x == pytest.approx(fret - 0.15, abs=0.5)
        assert words == f"{gap:g} mm between a pocket and a slot"
    assert not thin(clamping)


def test_a_narrow_wall_is_said_to_break_out_and_tips_to_be_none():
    assert wall_words(0.02, (12.0, 3.0), "mm") == (
        "0.02 mm, at 12 mm along, 3 mm across: thinner than 0.4 mm, it breaks out. Tips of wood in acute corners are "
        "not counted.")
    assert wall_words(0.01, (12.0, 3.0), "mm") == "none, they touch at 12 mm along, 3 mm across."
    assert "breaks out" not in wall_words(0.5, (12.0, 3.0), "mm")
    assert wall_words(0.254, (25.4, 0.0), "in").startswith(
        "0.01 in, at 1 in along, 0 in across: thinner than 0.0157 in")


@pytest.mark.parametrize(("cutter", "count"), [("flat", 0), ("vee", 1)])
def test_walls_stand_between_what_the_cutters_open(tmp_path, cutter, count):
    """A tip drawn 0.2 mm before a square: a flat end rounds it off r (1 / sin 15 degrees - 1) before its point (D), and
    no thin wood stands there, of which report, picture and `pathgen reach` warned. A v opens all of it."""
    half = 8 * math.tan(math.radians(15))
    tip = f'<path d="M14.8,15L6.8,{15 - half}V{15 + half}Z" fill="#225577"/>'
    path = job(tmp_path, art=svg(tip + SQUARE.format(x=15, y=12, w=5, h=6)),
               changes={'cutters = ["flat"]': f'cutters = ["{cutter}"]'},
               extra='[[cutter]]\nname = "vee"\nshape = "v"\nangle = 60.0\ndiameter = 6.0\nspeed = 16000\n'
                     'feed = 500.0\nplunge = 100.0\nstepdown = 1.0\nflutes = 2\nflute_length = 6.0\n')
    read = pathgen.load_job(path)
    clamping = clamping_of(read)
    assert len(thin(clamping)) == len(rings(clamping)) == count
    (reached,) = reach_of_all(clamping, read.complete_cutters)
    row = {one.cutters: one for one in reached.sets}
    flat = 0.2 + read.cutter("flat", "").radius * (1 / math.sin(math.radians(15)) - 1)
    assert row[("flat",)].narrowest_wall.width == pytest.approx(flat, abs=0.02)
    assert row[("vee",)].narrowest_wall.width == pytest.approx(0.2, abs=0.01)
    assert reached.narrowest_wall == reached.sets[0].narrowest_wall == row[(cutter,)].narrowest_wall


def test_a_neck_that_no_cutter_goes_into_is_a_wall(tmp_path):
    """Two squares with a neck between them 0.3 mm long and 0.5 wide: one shape as drawn, and wood as it is cut."""
    neck = SQUARE.format(x=14.9, y=14, w=0.5, h=0.5)
    both = [SQUARE.format(x=x, y=12, w=5, h=5) for x in (10, 15.3)]
    (warned,) = found(tmp_path, svg("".join([*both, neck])))
    wall = 0.3 - 2 * (1 - math.sqrt(1 - 0.25**2))  # from both sides the cutter, of radius 1, bulges into the neck (D)
    assert warned.got.startswith(f"{wall:.2f} mm of wood is left standing between pockets")
