"""Jobs of a flat plate: what is read, and what is refused with its place and numbers."""

import math
import re
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from shapely import Polygon

from pathgen import JobError, build, load_job
from pathgen.app.cli import main
from pathgen.base.errors import ArtworkError
from pathgen.job import flat
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.job.doubts import doubts_of
from pathgen.job.outlines import as_cut, closed_by_cutter
from pathgen.job.part import outline_of, part_of
from pathgen.programs.paths import tabs_of
from pathgen.report.data import _doubts
from pathgen.report.fill_findings import edge_to_edge
from pathgen.work.operations import Outline
from pathgen.work.part import wood_in_plan
from pathgen.work.thin_wood import thin_wood
from tests.small_board import svg

PLATE = """
[plate]
thickness = 3.0
length = 100.0
width = 60.0
face = false

[stock]
length = 120.0
width = 80.0
thickness = 3.0
margin_nut = 10.0

[[cutter]]
name = "flat 3"
shape = "flat-end"
diameter = 3.0
flute_length = 12.0
speed = 12000
feed = 1200.0
plunge = 300.0
stepdown = 1.0

[[cutter]]
name = "ball"
shape = "ball-end"
diameter = 6.0
speed = 12000
feed = 1200.0
plunge = 300.0
stepdown = 1.0

[outline]
cutter = "flat 3"
"""
HOLE = '\n[[hole]]\ncutter = "flat 3"\nat = [50.0, 0.0]\ndiameter = 10.0\n'
RING = '\n[[ring]]\nat = [50.0, 0.0]\ninner = 10.0\nouter = 14.0\ndepth = 1.5\ncutters = ["flat 3"]\n'


def read(folder, text):
    path = folder / "plate.toml"
    path.write_text(text)
    return load_job(path)


def test_rounded_corners(tmp_path):
    part = part_of(read(tmp_path, PLATE.replace("face = false", "face = false\ncorner_radius = 8.0")))
    # a rectangle with rounded corners: l w - (4 - pi) r^2
    assert part.outline.area == pytest.approx(100.0 * 60.0 - (4 - math.pi) * 64.0, rel=1e-4)
    assert part.outline.bounds == pytest.approx((0.0, -30.0, 100.0, 30.0))


@pytest.mark.parametrize("radius", ["30.0", '"1.1811 in"', '"1.18115 in"'])  # to four places of an inch; a trifle more
def test_a_disc_is_a_plate_whose_corners_meet(tmp_path, radius):
    text = PLATE.replace("length = 100.0", f"length = 60.0\ncorner_radius = {radius}", 1)
    assert part_of(read(tmp_path, text)).outline.area == pytest.approx(math.pi * 900.0, rel=1e-3)


@pytest.mark.parametrize(("thickness", "asked", "high"), [(0.5, 0.3, 0.3), (0.5, None, 0.33), (1.4, None, 0.93)])
def test_a_plate_of_veneer(tmp_path, thickness, asked, high):
    """Its blank may be as thin as itself (sliced veneer is 0.5 to 0.6 mm thick: common practice, no source). Tabs that
    it does not say the height of were 1.5 mm high, and refused."""
    text = PLATE.replace("thickness = 3.0", f"thickness = {thickness}") + (f"tab_height = {asked}\n" if asked else "")
    made = build(read(tmp_path, text), resolution=0.5)
    assert made.passed
    assert made.plan.clamping.feature(Outline).tab_height == high


def test_a_height_of_tabs_that_is_written_is_judged_as_it_is(tmp_path):
    thin = PLATE.replace("thickness = 3.0", "thickness = 1.4")
    with pytest.raises(JobError, match=r"\[outline\] tab_height: 1.5 mm reaches the top of the edge"):
        read(tmp_path, thin + "tab_height = 1.5\n")


def test_a_mirrored_ladder_and_a_slot_with_round_ends(tmp_path):
    text = PLATE + ('\n[[hole]]\ncutter = "flat 3"\nat = [20.0, -14.0]\ndiameter = 6.0\nlength = 9.0\nturn = 30.0\n'
                    "count = 3\npitch = 25.0\nangle = -10.0\nmirror = true\n")
    part = part_of(read(tmp_path, text))
    way = np.array([math.cos(math.radians(-10.0)), math.sin(math.radians(-10.0))])
    row = np.array([20.0, -14.0]) + 25.0 * np.arange(3)[:, None] * way
    wanted = np.concatenate([row, row * [1.0, -1.0]])
    assert np.array([bore.at for bore in part.bores]) == pytest.approx(wanted)
    assert [bore.turn for bore in part.bores] == [30.0] * 3 + [-30.0] * 3
    # a rectangle and two half circles
    one = 6.0 * 3.0 + math.pi * 9.0
    assert [bore.shape.area for bore in part.bores] == pytest.approx([one] * 6, rel=1e-3)
    assert wood_in_plan(part).area == pytest.approx(6000.0 - 6 * one, rel=1e-4)


def test_holes_and_rings_come_where_they_belong(tmp_path):
    text = PLATE + HOLE.replace("diameter = 10.0", "diameter = 5.0\ncounterbore = { diameter = 12.0, depth = 1.0 }")
    steps = clamping_of(read(tmp_path, text + RING)).steps
    assert [s.operation.name for s in steps] == ["pocket", "openings", "round-holes", "outline"]
    names = [s.file_name for s in steps]
    assert [name.split("-flat")[0] for name in names] == ["01-pocket-1", "02-counterbores", "03-holes", "04-outline"]


def test_single_holes_of_several_are_told_apart_by_the_names_of_their_programs(tmp_path):
    bored = HOLE.replace("diameter = 10.0", "diameter = 5.0\ncounterbore = { diameter = 12.0, depth = 1.0 }")
    steps = clamping_of(read(tmp_path, PLATE + bored.replace("[50.0", "[20.0") + bored)).steps
    assert [s.file_name.split("-flat")[0] for s in steps] == [
        "01-counterbores-1", "02-holes-1", "03-counterbores-2", "04-holes-2", "05-outline"]


DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="40mm" viewBox="0 0 80 40">
<path fill="#553311" d="{outline}"/><rect x="30" y="15" width="20" height="{high}" fill="#ffffff"/></svg>"""
DRAWN = PLATE.replace("length = 100.0\nwidth = 60.0", 'artwork = "plate.svg"\nplace = { at = [50.0, 0.0] }', 1)
OPENING = 'openings = { colours = ["#ffffff"], cutter = "flat 3" }\n'


def drawn(folder, *, outline="M0,0H80V40H0Z", openings=OPENING, high=10):
    (folder / "plate.svg").write_text(DRAWING.format(outline=outline, high=high))
    return read(folder, DRAWN.replace("face = false", openings + "face = false"))


@pytest.mark.parametrize(("inner", "outer", "shared", "allowed"), [
    # the opening is 20 mm by 10 mm about the ring's centre: the circle of 6 mm cut off at 5 mm, less that of 2 mm
    (2.0, 6.0, r"91\.5", r"ring beside the openings, or round them"),
    # 200 mm2 less the circle of 9 mm cut off at 5 mm; a corner is sqrt(10^2 + 5^2) away
    (9.0, 14.0, r"29\.[78]", r"inner 11\.19 mm or more"),
])
def test_a_ring_over_a_drawn_opening_is_told_of_both(tmp_path, inner, outer, shared, allowed):
    drawn(tmp_path)
    ring = RING.replace("inner = 10.0", f"inner = {inner}").replace("outer = 14.0", f"outer = {outer}")
    said = rf"1 at: {shared} mm2 of the ring round 50 mm along, 0 mm across lies over the drawn opening .*{allowed}"
    with pytest.raises(JobError, match=rf"\[\[ring\]\] {said}.*change inner or outer") as refused:
        clamping_of(read(tmp_path, DRAWN.replace("face = false", OPENING + "face = false") + ring))
    assert "drawing" not in str(refused.value)
    wide = RING.replace("inner = 10.0", "inner = 11.19").replace("outer = 14.0", "outer = 14.5")
    clamping_of(read(tmp_path, DRAWN.replace("face = false", OPENING + "face = false") + wide))


@pytest.mark.parametrize(("outline", "high", "said"), [
    ("M0,0H80V40H0Z", 2, r'openings cutter: "flat 3", 3 mm, does not go into the opening near [45]\d'),
    ("M0,0H80V40H50V25H30V40H0Z", 10, r"openings: the one near 5\d.* meets the edge"),
])
def test_drawn_openings_refused(tmp_path, outline, high, said):
    with pytest.raises(JobError, match=said):
        drawn(tmp_path, outline=outline, high=high)


def test_a_plate_may_have_its_drawn_openings_cut_and_nothing_else(tmp_path):
    """It was refused as a job with nothing to cut."""
    (tmp_path / "plate.svg").write_text(DRAWING.format(outline="M0,0H80V40H0Z", high=10))
    alone = DRAWN.partition("[outline]")[0]
    steps = clamping_of(read(tmp_path, alone.replace("face = false", OPENING + "face = false"))).steps
    assert [s.operation.name for s in steps] == ["openings"]
    with pytest.raises(JobError, match=r"nothing to cut: add \[surface\], \[\[inlay\]\], \[\[hole\]\] or \[outline\]"):
        read(tmp_path, alone)


def holed(folder, shapes, *, colours='"#ffffff"', cutter=3.0):
    """A plate of 100 mm by 60 mm with openings of its drawing's own shapes."""
    (folder / "plate.svg").write_text(svg('<rect width="100" height="60" fill="#553311"/>' + shapes, 100, 60))
    text = DRAWN.replace("face = false", OPENING.replace('"#ffffff"', colours) + "face = false")
    return read(folder, text.replace("diameter = 3.0", f"diameter = {cutter}"))


def test_a_piece_inside_a_drawn_opening_would_come_loose(tmp_path):
    ring = '<path fill="#ffffff" fill-rule="evenodd" d="M20,20H60V40H20Z M26,26H54V34H26Z"/>'
    with pytest.raises(JobError, match=r"\[plate\] openings: a piece of 224\.0 mm2 near 40 mm along, 0 mm across .* "
                                       r"come loose under the cutter .*: fill it in the drawing, .* or leave bridges"):
        holed(tmp_path, ring)
    bridges = "".join(f'<rect x="{x}" y="20" width="2" height="20" fill="#553311"/>' for x in (30, 48))
    assert len(part_of(holed(tmp_path, ring + bridges)).drawn) == 4


def test_hairs_between_the_colours_of_an_opening_are_no_piece_in_it(tmp_path):
    """Where one is cut by the other: of 150 such drawings 73 kept some, of 1e-15 mm2."""
    discs = ('<circle cx="47.14" cy="33.39" r="9.35" fill="#cc8833"/><circle cx="55.64" cy="28.48" r="7.14" '
             'fill="#225577"/><ellipse cx="46.33" cy="33.27" rx="5.84" ry="4" fill="#ffffff"/>')
    (shape,) = part_of(holed(tmp_path, discs, colours='"#cc8833", "#225577", "#ffffff"')).drawn
    assert not shape.interiors


ROOMS = '<path fill="#ffffff" d="M20,20H32V24H44V20H56V30H44V26H32V30H20Z"/>'
"""Two of 12 mm by 10 mm, a neck 2 mm wide and 12 mm long between them."""
ARM = '<path fill="#ffffff" d="M20,20H32V24H52V26H32V30H20Z"/>'
SPOON = '<path fill="#ffffff" d="M20,20H24V21H60V23H24V24H20Z"/>'


@pytest.mark.parametrize(("shape", "cutter", "said"), [
    (ROOMS, 3.0, r'"flat 3", 3 mm, cuts the opening in 2 pieces and leaves it closed near 38 .*2\.00 mm or less'),
    (ROOMS, 6.0, r'"flat 3", 6 mm, cuts the opening in 2 pieces and leaves it closed .*2\.00 mm or less\): name a sm'),
    (SPOON, 3.0, r"less than half of the opening, and not into it near 4\d.* mm along, 8 mm .*2\.00 mm or less"),
    (ROOMS.replace("V24H44V20H56V30H44V26", "V24.9H44V20H56V30H44V25.1"), 3.0,
     r"cuts .* 5 mm across: draw it wider there"),
])
def test_an_opening_that_its_cutter_cuts_in_pieces_or_little_of(tmp_path, shape, cutter, said):
    with pytest.raises(JobError, match=rf"\[plate\] openings cutter: .*{said}") as refused:
        holed(tmp_path, shape, cutter=cutter)
    if "allowed" in said or "or less" in said:  # the value that it names works
        holed(tmp_path, shape, cutter=re.search(r"([\d.]+) mm or less", str(refused.value))[1])


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("cutter", "wide"), [(2.0, 2.003), (3.0, 3.004), (3.0, 3.0045), (4.0, 4.0065)])
def test_a_round_opening_a_hair_wider_than_its_cutter(tmp_path, cutter, wide):
    """Refused: the chords of its circle, which lie up to 0.005 mm inside it, left the cutter no room."""
    made = build(holed(tmp_path, f'<circle cx="40" cy="30" r="{wide / 2}" fill="#ffffff"/>', cutter=cutter),
                 resolution=0.3)
    assert made.passed


@pytest.mark.parametrize(("shape", "grave", "said"), [
    # the arm, 40 mm2, and of four square corners and two half as long the rest beside a quarter of a circle
    (ARM, True, r"41\.\d\d mm2 closed, the most in a bay narrower than it, 20 mm of it, near 4\d"),
    ('<rect x="20" y="20" width="20" height="10" fill="#ffffff"/>', False, r"1\.93 mm2 in corners that point inward"),
    ('<path d="M30 30 a20 20 0 0 1 40 0" fill="none" stroke="#ffffff" stroke-width="3" stroke-linecap="round"/>',
     False, ""),
])
def test_what_the_cutter_leaves_of_an_opening_is_told(tmp_path, shape, grave, said):
    """A square corner keeps (1 - pi / 4) r^2. A curved slot as wide as its cutter, its ends round, keeps nothing."""
    job = holed(tmp_path, shape)
    clamping = clamping_of(job)
    found = [doubt for doubt in doubts_of(job, clamping) if doubt.where == "[plate] openings"]
    assert [doubt.grave for doubt in found] == [grave] * bool(said)
    told = _doubts(SimpleNamespace(asked=SimpleNamespace(doubts=found), clamping=clamping))
    assert [one.code for one in told] == ["much-left-closed" if grave else "doubt"] * bool(said)
    assert all(re.search(said, doubt.problem) for doubt in found)


def test_a_ring_runs_on_under_the_next_one_that_it_touches(tmp_path):
    """Of two that share an edge the first becomes wider by its lap, and the note of that edge goes."""
    other = RING.replace("inner = 10.0", "inner = 14.0").replace("outer = 14.0", "outer = 20.0")
    for lap, noted in (("", True), ("lap = 0.3\n", False)):
        clamping = clamping_of(read(tmp_path, PLATE + RING + lap + other))
        first, last = clamping.inlays
        assert first.area.area == pytest.approx(math.pi * ((14.3 if lap else 14.0) ** 2 - 100.0), rel=1e-3)
        assert last.area.area == pytest.approx(math.pi * (400.0 - 196.0), rel=1e-3)
        both = [(replace(each, fill="resin"), each.area) for each in (first, last)]
        assert bool(list(edge_to_edge(both, "mm"))) == noted


def test_what_a_cutter_opens_of_an_opening_is_worked_out_once(tmp_path):
    flat._opened.cache_clear()
    job = holed(tmp_path, ARM)
    assert [doubt for doubt in doubts_of(job, clamping_of(job)) if doubt.where == "[plate] openings"]
    assert flat._opened.cache_info().misses == 1


def test_drawn_outline_and_opening(tmp_path):
    part = part_of(drawn(tmp_path))
    assert part.outline.bounds == pytest.approx((10.0, -20.0, 90.0, 20.0))
    assert part.outline.area == pytest.approx(3200.0)
    (opening,) = part.openings
    assert opening.bounds == pytest.approx((40.0, -5.0, 60.0, 5.0))


LAYERED = """<svg xmlns="http://www.w3.org/2000/svg" xmlns:d="urn:any-drawing-program" width="80mm" height="40mm"
viewBox="0 0 80 40"><path fill="#553311" d="M0,0H80V40H0Z"/><g id="g12" d:label="Cut through">
<g transform="translate(30 15)"><rect width="20" height="10" fill="#ffffff"/></g>
<circle cx="10" cy="20" r="4" fill="#552211"/></g><circle cx="70" cy="20" r="4" fill="#ffffff"/></svg>"""


@pytest.mark.parametrize("name", ["Cut through", "g12"])
def test_openings_of_a_layer_whatever_their_colours(tmp_path, name):
    (tmp_path / "plate.svg").write_text(LAYERED)
    text = DRAWN.replace("face = false", f'openings = {{ layers = ["{name}"], cutter = "flat 3" }}\nface = false')
    part = part_of(read(tmp_path, text))
    assert sorted(shape.area for shape in part.openings) == pytest.approx([16 * math.pi, 200.0], rel=2e-3)
    assert part.outline.area == pytest.approx(3200.0)
    with pytest.raises(ArtworkError, match=r'plate\.svg: shows nothing in a layer "cuts" .*allowed: g12, Cut through'):
        read(tmp_path, text.replace(name, "cuts"))
    with pytest.raises(JobError, match=r"\[plate\] openings: neither colours nor layers"):
        read(tmp_path, text.replace(f'"{name}"', ""))


def test_holes_in_a_drawn_outline_are_openings_where_the_job_says_so(tmp_path):
    """Without openings it is refused, and what that names works."""
    holed = '<path fill="#553311" fill-rule="evenodd" d="M0,0H80V40H0Z M10,10H30V30H10Z M50,10H70V30H50Z"/>'
    (tmp_path / "plate.svg").write_text(svg(holed, 80, 40))
    with pytest.raises(JobError, match=r"shows 1 shape with 2 holes .* write openings = { cutter = ") as refused:
        read(tmp_path, DRAWN)
    written = re.search(r"openings = {.*?}", str(refused.value))[0].replace("..", "flat 3")
    job = read(tmp_path, DRAWN.replace("face = false", f"{written}\nface = false"))
    part = part_of(job)
    assert [shape.area for shape in part.openings] == pytest.approx([400.0, 400.0])
    assert part.outline.area == pytest.approx(3200.0)
    assert [step.operation.name for step in clamping_of(job).steps] == ["openings", "outline"]


def test_an_inward_corner_is_left_round_and_told(tmp_path):
    job = drawn(tmp_path, outline="M0,0H80V40H20V20H0Z")
    part = part_of(job)
    # a square corner less a quarter of a circle, of the outline cutter's radius and a thousandth
    assert part.outline.area - (3200.0 - 400.0) == pytest.approx((1 - math.pi / 4) * 1.5**2, rel=0.01)
    (doubt,) = [d for d in doubts_of(job, clamping_of(job)) if d.where == "[plate] artwork"]
    assert "0.48 mm2" in doubt.problem
    assert not doubt.grave
    square = drawn(tmp_path)
    assert not [d for d in doubts_of(square, clamping_of(square)) if d.where == "[plate] artwork"]


def test_a_plates_tabs_may_stand_on_its_ends_a_boards_may_not(tmp_path):
    board = load_job(Path(__file__).parents[2] / "examples" / "boards" / "dots-and-fall-away.toml")
    for job, all_round in ((read(tmp_path, PLATE), True), (board, False)):
        assert outline_of(job, part_of(job)).all_round == all_round
    short = PLATE.replace("length = 100.0", "length = 14.0", 1)  # a tab and the cutter take 9 mm
    tabs = tabs_of(clamping_of(read(tmp_path, short)))
    assert len(tabs) == 4
    assert np.count_nonzero(np.abs(tabs[:, 1]) < 29.9) >= 2


def test_where_tabs_may_stand_is_no_key(tmp_path):
    assert "[outline]" in PLATE
    with pytest.raises(JobError, match=r'\[outline\]: unknown key "all_round"'):
        read(tmp_path, PLATE.replace("[outline]", "[outline]\nall_round = true", 1))


def test_an_outline_that_is_not_cut_is_as_it_was_drawn(tmp_path):
    """A corner that points inward: closed by the cutter where there is one, left alone where there is none."""
    job, asked = drawn(tmp_path), Polygon([(0, 0), (80, 0), (80, 40), (20, 40), (20, 20), (0, 20)])
    closed = closed_by_cutter(job, asked)
    assert closed.area - asked.area == pytest.approx((1 - math.pi / 4) * 1.5**2, rel=0.01)
    uncut = replace(job, outline=None)
    assert closed_by_cutter(uncut, asked) is asked
    assert as_cut(uncut, asked, closed, "here") is asked
    assert as_cut(job, asked, asked, "here") is asked


def test_a_slit_hardly_wider_than_a_line_is_filled(tmp_path):
    """One of a random drawing, 0.2 mm long: the walls that it has lie off the cutter's way."""
    part = part_of(drawn(tmp_path, outline="M0,0H40L40.002,0.2L40.004,0H80V40H0Z"))
    assert part.outline.area == pytest.approx(3200.0, abs=1e-5)


def test_a_bay_that_the_cutter_does_not_go_into(tmp_path):
    with pytest.raises(JobError, match=r"near 50\.?\d* mm along, .*\(allowed: bays with mouths 3\.01 mm wide or"):
        drawn(tmp_path, outline="M0,0H39V10H35V16H45V10H41V0H80V40H0Z")


def test_a_bay_is_told_with_the_cutter_that_enters_where_no_wood_is_left_in_it(tmp_path):
    with pytest.raises(JobError, match=r"\(allowed: a cutter of 1\.99 mm or less, or bays with mouths 3\.01 mm"):
        drawn(tmp_path, outline="M0,0H39V10H38.2V13.6H41.8V10H41V0H80V40H0Z")


def test_a_bay_between_two_points_is_not_gone_into_either(tmp_path):
    """Of a random drawing: a disc of 3 mm touches all of the bay's walls from both sides, and goes through nowhere."""
    with pytest.raises(JobError, match=r"does not go into the outline near 50 mm along, 20 mm across"):
        drawn(tmp_path, outline="M0,0H39L30,8V18H50V8L41,0H80V40H0Z")


@pytest.mark.parametrize(("more", "said"), [
    (HOLE.replace("[50.0, 0.0]", "[97.0, 0.0]"),
     r"\[\[hole\]\] 1 at: the hole at 97 mm along, 0 mm across leaves the plate: its edge lies 2\.00 mm outside.*"
     r": move it 2\.\d\d mm further in"),
    (HOLE.replace("[50.0, 0.0]", "[108.0, 0.0]"), r"leaves the plate: its edge lies 13\.00 mm outside"),
    (HOLE + HOLE.replace("[50.0, 0.0]", "[58.0, 0.0]"),
     r"\[\[hole\]\] 1 and \[\[hole\]\] 2 at: .*50 mm along.*58 mm along.* meet: 8\.00 mm.*more than 10\.00 mm"),
    (HOLE + "count = 3\npitch = 9.0\n", r"\[\[hole\]\] 1 pitch: .* meet: 9\.00 mm between their middles .*: make pitch "
     r"10\.40 mm or more"),
    (HOLE + "count = 3\npitch = 19.0\nlength = 21.0\n", r" meet: 8\.00 mm between their middle lines \(allowed: "),
    (HOLE + "count = 3\npitch = 30.0\n",
     r"\[\[hole\]\] 1 pitch: the hole at 110 mm along, 0 mm across leaves .*: make pitch 22\.30 mm or less"),
    (HOLE + "mirror = true\n", r"meet: 0\.00 mm.*: leave mirror out, .* or move it 5\.\d\d mm or more off"),
    (RING.replace("[50.0, 0.0]", "[0.0, 0.0]"), r"allowed: a ring whose middle lies on the plate\): write at"),
    (HOLE + "count = 3\n", r"pitch: left out with count 3"),
    (HOLE + "pitch = 3.0\n", r"pitch: given with count 1"),
    (HOLE + "length = 8.0\n", r"length: 8 mm from end to end of a slot 10 mm wide"),
    (HOLE + "depth = 2.5\n", r"depth: 2\.5 mm leaves 0\.50 mm of 3 mm.*min_web 1 mm.*2\.00 mm or less"),
    (HOLE.replace("10.0", "2.0"), r'"flat 3" is 3 mm, wider than the hole'),
    (HOLE.replace("flat 3", "ball"), r'"ball" is a ball-end cutter'),
    ('[plate.openings]\nlayers = ["cut"]\ncutter = "ball"\n', r'openings cutter: "ball" is a ball-end cutter'),
    (HOLE + "counterbore = { diameter = 9.0, depth = 1.0 }\n", r"counterbore diameter: 9 mm round a hole of 10 mm"),
    (HOLE + "depth = 1.0\ncounterbore = { diameter = 14.0, depth = 1.5 }\n", r"counterbore depth: 1\.5 mm round"),
    (RING.replace("outer = 14.0", "outer = 33.0"),
     r"\[\[ring\]\] 1 outer: 33 mm, and the ring round 50 mm along.* reaches 3\.00 mm past the edge.*less than 30\.00"),
    (RING.replace("inner = 10.0", "inner = 12.0"), r"\[\[ring\]\] 1 cutters: .* is 3 mm, and the ring 2\.000 mm wide"),
    (RING.replace("inner = 10.0", "inner = 15.0"), r"\[\[ring\]\] 1 inner: 15 mm with outer 14 mm"),
    (RING.replace("depth = 1.5", "depth = 2.4"), r"the pocket leaves 0\.60 mm under it near .*min_web 1 mm"),
    (RING + HOLE.replace("10.0", "24.0"), r"\[\[ring\]\] 1 and \[\[hole\]\] 1 at: the hole at 50 mm along, 0 mm across "
     r"takes 138\.\d mm2 of the ring round 50 mm along"),  # pi (12^2 - 10^2)
    (RING + HOLE.replace("diameter = 10.0", "diameter = 24.0\ndepth = 1.0"), r"the hole at .* of the ring"),
    ('[slots]\ncutter = "flat 3"\ndepth = 1.0\n', r"\[slots\]: the job is of a \[plate\], which has no frets"),
    ("[frets]\n", r"\[frets\]: the job is of a \[plate\]"),
    ('[surface]\nfinish = "ball"\n', r"\[plate\] face: false, and there is a \[surface\]"),
])
def test_refused(tmp_path, more, said):
    with pytest.raises(JobError, match=said):
        clamping_of(read(tmp_path, PLATE + more))


@pytest.mark.parametrize("cut", [RING, HOLE + "depth = 1.0\n"])
def test_a_web_that_no_depth_leaves(tmp_path, cut):
    """It was told to make depth -0.50 mm or less, or 0.00 mm."""
    with pytest.raises(JobError, match=r"min_web 3\.5 mm or more\): make min_web smaller, or the plate thicker"):
        clamping_of(read(tmp_path, PLATE.replace("face = false", "face = false\nmin_web = 3.5") + cut))


@pytest.mark.parametrize(("old", "new", "said"), [
    ("face = false", "", r"\[surface\]: is missing: the plate is to be faced"),
    ("thickness = 3.0\nlength", "thickness = 2.5\nlength", r"2\.5 mm from a blank of 3 mm whose face is left"),
    ("length = 100.0\n", "", r"there is no outline"),
    ("length = 100.0", "length = 115.0", r"the plate does not lie within the blank: 5\.00 mm out past the far end"),
    ("diameter = 3.0", "diameter = 0.2", r'outline\] cutter: "flat 3" is 0.2 mm wide \(allowed: 0.25 mm or more'),
    ("face = false", "face = false\ncorner_radius = 30.01", r"corner_radius: 30.01 mm.*30 mm or less"),
    ("[plate]", "[board]\n[plate]", r"\[board\] and \[plate\] are both given"),
    ("[plate]", "[plait]", r"did you mean plate"),
    ("face = false", 'artwork = "plate.svg"\nface = false', r"artwork is given, and length, width"),
    ("face = false", OPENING + "face = false", r"openings without a drawing.*\[\[hole\]\]"),
    ('[outline]\n', '[outline]\nartwork = "plate.svg"\n', r"\[outline\] artwork: the outline is said in \[plate\]"),
])
def test_plates_refused(tmp_path, old, new, said):
    with pytest.raises(JobError, match=said):
        read(tmp_path, PLATE.replace(old, new, 1))


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("command", ["frets", "strings", "neck", "fretting", "block", "gauges", "nut", "side-dots"])
def test_what_is_of_boards_refuses_a_plate_and_a_form(tmp_path, capsys, command):
    read(tmp_path, PLATE)
    form = Path(__file__).parents[2] / "examples" / "parts" / "bending-form.toml"
    out = ["--out", str(tmp_path / "out")] if command in ("block", "gauges", "nut", "side-dots") else []
    for path, body in ((tmp_path / "plate.toml", "[plate]"), (form, "[form]")):
        assert main([command, str(path), *out]) == 2
        assert f"is the job of a {body}: it has no frets, no strings and no radius" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_colours_that_cross_within_the_outline_leave_no_holes(tmp_path):
    """A disc over another, both over the plate: where one is cut by the other hairs stay between them."""
    (tmp_path / "plate.svg").write_text(svg(
        '<rect width="100" height="60" fill="#553311"/><circle cx="50" cy="30" r="11" fill="#cc8833"/>'
        '<circle cx="54" cy="30" r="8" fill="#225577"/>', 100, 60))
    part = part_of(read(tmp_path, DRAWN))
    assert not part.outline.interiors
    assert part.outline.area == pytest.approx(6000.0, abs=1e-3)


def test_an_outline_with_a_hole_is_refused_with_its_count(tmp_path):
    with pytest.raises(JobError, match=r"plate\.svg shows 1 shape with 1 hole \("):
        part_of(drawn(tmp_path, outline="M0,0H80V40H0Z M10,5V9H14V5Z", openings=""))
    with pytest.raises(JobError, match=r"shows 3 shapes with 0 holes .*: keep the outline alone in that drawing"):
        part_of(drawn(tmp_path, outline="M0,0H20V20H0Z M60,20H80V40H60Z", openings=""))


def test_a_drawing_over_a_hole_names_the_hole(tmp_path):
    (tmp_path / "dot.svg").write_text(svg('<rect width="8" height="8" fill="#553311"/>', 8, 8))
    dot = '[[inlay]]\nfill = "none"\nartwork = "dot.svg"\ndepth = 1.0\ncutters = ["flat 3"]\n' \
          "place = { at = [54.0, 0.0] }\n"
    with pytest.raises(JobError, match=r"lies over holes, the first at 50 mm along, 0 mm across: move the drawing or"):
        clamping_of(read(tmp_path, PLATE + HOLE + dot))


def test_an_outline_drawn_as_a_line_is_said_to_be_one(tmp_path):
    (tmp_path / "plate.svg").write_text(DRAWING.split("<path")[0] + '<rect x="2" y="2" width="76" height="36" '
                                        'fill="none" stroke="#553311" stroke-width="2"/></svg>')
    with pytest.raises(JobError, match=r"outline in plate\.svg is drawn as a line .*: fill it, and give it no stroke"):
        part_of(read(tmp_path, DRAWN))


def test_every_ring_that_a_hole_meets_is_named(tmp_path):
    inner = RING.replace("inner = 10.0", "inner = 4.0").replace("outer = 14.0", "outer = 8.0")
    with pytest.raises(JobError) as wrong:
        clamping_of(read(tmp_path, PLATE + RING + inner + HOLE.replace("10.0", "24.0")))
    assert [line.split(" at:")[0] for line in wrong.value.lines] == [
        f"[[ring]] {number} and [[hole]] 1" for number in (1, 2)]


def test_of_corners_that_a_cutter_leaves_the_largest_is_named(tmp_path):
    """A notch with corners of 90 and of 30 degrees: what a round cutter leaves grows as the corner gets sharper."""
    job = drawn(tmp_path, outline="M0,0H30V12H60L42.7,2H80V40H0Z", openings="")
    (found,) = (doubt for doubt in doubts_of(job, clamping_of(job)) if "point inward" in doubt.problem)
    along, across = (float(word) for word in re.search(r"near ([-\d.]+) mm along, ([-\d.]+) mm across",
                                                       found.problem).groups())
    assert math.dist((along, across), (70.0, 8.0)) < 6.0
    pieces = replace(clamping_of(job), kind="piece")  # on their own stock, which that outline does not cut
    assert not list(doubts_of(job, pieces))


@pytest.mark.parametrize(("flute", "good"), [(3.49, False), (3.5, True)])
def test_the_outlines_cutter_is_as_long_as_the_blank_and_what_it_goes_below_it(tmp_path, flute, good):
    text = PLATE.replace("flute_length = 12.0", f"flute_length = {flute}") + "through = 0.5\n"
    with nullcontext() if good else pytest.raises(JobError, match=r"allowed: 3\.50 mm or more: the blank and 0\.5 mm"):
        read(tmp_path, text)


@pytest.mark.parametrize("diameter", [3.0, 10.0])
def test_flutes_bear_holes_from_the_surface_down(tmp_path, diameter):
    """Holes come after the surface: of 6 mm in a plate of 3 on a blank of 6 mm, flutes of 6.2 mm were asked for."""
    text = PLATE.replace("thickness = 3.0\nmargin", "thickness = 6.0\nmargin").replace("face = false", "face = true")
    text = text.replace("[stock]", '[surface]\nfinish = "ball"\n[stock]') + HOLE.replace('"flat 3"', '"short"').replace(
        "10.0", f"{diameter}")
    short = "[[cutter]]" + text.split("[[cutter]]")[1].replace('"flat 3"', '"short"')

    def steps(flute):
        return planned_of(read(tmp_path, text + short.replace("flute_length = 12.0", f"flute_length = {flute}")))

    planned = steps(3.2)
    needed = dict(zip((step.cutter.name for step in planned.clamping.steps), planned.flutes, strict=True))
    assert needed["short"] == pytest.approx(3.2)  # 3 mm of the plate, and 0.2 mm below it
    with pytest.raises(JobError, match=r"3\.19 mm long.*3\.20 mm or more"):
        steps(3.19)


@pytest.mark.parametrize(("table", "said"), [
    (HOLE + "depth = 3.0\n", "3 mm leaves 0.00 mm of 3 mm under it"),
    (RING.replace("depth = 1.5", "depth = 3.0"), "the pocket leaves 0.00 mm under it near"),
])
def test_what_leaves_nothing_is_told_in_a_sentence(tmp_path, table, said):
    with pytest.raises(JobError, match=said):
        clamping_of(read(tmp_path, PLATE + table))


def test_a_ring_that_holes_meet_is_told_once_and_asked_whether_diameters_are_meant(tmp_path):
    """Four lines, one for each hole and counterbore of a table, said the same, and none asked."""
    bored = HOLE.replace("[50.0, 0.0]", "[50.0, 12.0]").replace(
        "diameter = 10.0", "diameter = 4.0\nmirror = true\ncounterbore = { diameter = 6.0, depth = 1.0 }")
    diameters = RING.replace("outer = 14.0", "outer = 16.0")
    with pytest.raises(JobError, match=r"takes .* and 3 more do too") as refused:
        read(tmp_path, PLATE + bored + diameters)
    assert not refused.value.others
    assert "inner and outer are radii: write inner = 5 and outer = 8; else" in str(refused.value)
    read(tmp_path, PLATE + bored + diameters.replace("10.0", "5.0").replace("16.0", "8.0"))


def test_a_ring_has_the_colour_that_is_given(tmp_path):
    assert read(tmp_path, PLATE + RING + 'colour = "#aa5500"\n').rings[0].colour == "#aa5500"
    with pytest.raises(JobError, match=r'\[\[ring\]\] 1 colour: "no colour" given'):
        read(tmp_path, PLATE + RING + 'colour = "no colour"\n')


GUIDED = """<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">
<g id="plate"><rect x="10" y="10" width="80" height="40" fill="#204060"/></g>
<g id="window"><rect x="40" y="20" width="20" height="10" fill="#204060"/></g>
<g id="guides"><text x="5" y="9">words</text><path d="M0 30H100" stroke="#ff0000"/></g></svg>"""


@pytest.mark.parametrize(("openings", "area"), [
    ("", 3200.0), ('openings = { layers = ["window"], cutter = "flat 3" }\n', 3000.0),
])
def test_layers_of_a_plates_drawing_keep_guides_out_of_its_outline(tmp_path, openings, area):
    (tmp_path / "plate.svg").write_text(GUIDED)
    layers = 'artwork_layers = ["plate"]\n'
    clamping = clamping_of(read(tmp_path, DRAWN.replace("face = false", layers + openings + "face = false")))
    part = clamping.board
    assert part.outline.area - sum(shape.area for shape in part.openings) == pytest.approx(area, abs=0.01)
    assert clamping.left_out == ()
    with pytest.raises(ArtworkError, match="text"):
        clamping_of(read(tmp_path, DRAWN.replace("face = false", openings + "face = false")))


@pytest.mark.parametrize(("old", "new", "words"), [
    ("[outline]\n", '[outline]\nartwork_layers = ["plate"]\n', r"the outline is said in \[plate\]: write artwork, "),
    ("face = false", 'artwork_layers = ["plate"]\nface = false', "artwork_layers without a drawing"),
])
def test_layers_of_no_drawing_are_refused(tmp_path, old, new, words):
    with pytest.raises(JobError, match=words):
        clamping_of(read(tmp_path, PLATE.replace(old, new, 1)))


def loose(job):
    return [doubt.problem for doubt in doubts_of(job, clamping_of(job)) if "comes loose" in doubt.problem]

@pytest.mark.parametrize(("half", "wide"), [(0.15, [0.3]), (0.4, []), (3.0, [])])
def test_a_neck_of_a_drawn_outline_too_thin_to_stand_is_told(tmp_path, half, wide):
    """Two bays of 14 mm that leave so much between them; a corner that points outward is no neck."""
    neck = f"M0,0H52V{20 - half}H66V0H80L76,20L80,40H66V{20 + half}H52V40H0Z"
    found = thin_wood(clamping_of(drawn(tmp_path, outline=neck, openings="")), ())
    assert [thin.width for thin in found] == pytest.approx(wide, abs=1e-3)
    assert all(thin.at[0] == pytest.approx(69.0, abs=7.1) and abs(thin.at[1]) < 0.1 for thin in found)


@pytest.mark.parametrize("outer", [12.9999999, 12.9995])
def test_a_ring_as_wide_as_its_cutter_as_inches_are_written(tmp_path, outer):
    """10 mm and 13 mm in inches of nine digits part by a little less than the 3 mm of the cutter."""
    clamping = clamping_of(read(tmp_path, PLATE + RING.replace("outer = 14.0", f"outer = {outer}")))
    assert clamping.inlays[0].area.area == pytest.approx(math.pi * (outer**2 - 10.0**2), rel=1e-3)



@pytest.mark.parametrize(("depth", "told"), [(3.0, True), (2.7, True), (2.5, False)])
def test_the_disc_inside_a_ring_that_goes_through_comes_loose(tmp_path, depth, told):
    text = PLATE.replace("face = false", "face = false\nmin_web = 0.0") + RING.replace("1.5", str(depth))
    job = read(tmp_path, text)
    assert loose(job) == ["314 mm2 of wood near 50 mm along, 0.1 mm across comes loose under the cutter: all round it "
                          "is cut through, or nearly"] * told  # pi 10^2
    (floor,) = [doubt for doubt in doubts_of(job, clamping_of(job)) if "stays under it" in doubt.problem] or [None]
    assert (floor is not None) == told
    assert floor is None or floor.remedy.endswith("the cutter goes through")  # nothing is filled in


@pytest.mark.parametrize(("mouth", "more", "told"), [(4.0, "", True), (7.9, "", True), (8.1, "", False),
                                                     (4.0, "skin = 0.3\n", False), (4.0, "tabs = 0\n", False)])
def test_waste_in_a_bay_that_the_outlines_groove_closes_comes_loose(tmp_path, mouth, more, told):
    """A cutter of 3 mm goes along both sides of its mouth, and less than 2 mm between hold nothing. A skin holds what
    is in it, and so does tape."""
    (tmp_path / "plate.svg").write_text(svg(
        f'<path d="M0,0H{50 - mouth / 2}V10H35V30H65V10H{50 + mouth / 2}V0H100V60H0Z" fill="#553311"/>', 100, 60))
    found = loose(read(tmp_path, DRAWN + more))
    assert [re.sub(r"^3\d\d mm2|: .*", "", words) for words in found] == \
        [" of wood near 50 mm along, 10 mm across comes loose under the cutter"] * told  # 24 mm by 14 mm, and the mouth
