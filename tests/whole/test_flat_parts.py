"""Flat parts: head plate and rosette build and verify; what they come to is held against formulas, from the text."""

import functools
import math
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen import JobError, build, load_job
from pathgen.app.cli import main
from pathgen.job.clamping import clamping_of
from pathgen.job.pieces import piece_sheets
from pathgen.report.reaching import opened_of
from pathgen.report.wood_left import thin_wood_findings
from pathgen.verify import verify
from pathgen.verify.cutouts import _edge
from pathgen.verify.findings import Tolerances
from tests.as_made import hold
from tests.job.test_forms import DISC, FORM
from tests.job.test_forms import read as read_form
from tests.job.test_plates import HOLE, PLATE, RING, drawn, read
from tests.plain_cutting import Wood
from tests.small_board import cutter, moves, svg

EXAMPLES = Path(__file__).parents[2] / "examples" / "parts"
COLOURED = re.compile(r"<style.*?</style>|<[^>]+>", re.S)


def test_a_cutter_as_wide_as_its_ring_reaches_all_of_it_and_no_more(tmp_path):
    result = build(read(tmp_path, PLATE + RING.replace("inner = 10.0", "inner = 11.0")), resolution=0.3)
    (inlay,) = result.report["inlays"]
    assert inlay["reachable_area"] == inlay["area"] == pytest.approx(math.pi * (14.0**2 - 11.0**2), rel=1e-4)
    text = result.files(shaded=False)["report.txt"]
    assert max(map(float, re.findall(r"([\d.]+) %", text))) <= 100.0
    assert "100.0 % of it within reach" in text


@pytest.fixture(scope="module")
def built():
    return functools.cache(lambda name: build(load_job(EXAMPLES / f"{name}.toml"), resolution=0.3))


def program(result, operation):
    return next(p for p in result.programs if p.operation == operation)


def low_moves(text, below):
    """(n, 2) ends of the feed moves whose end lies below a height."""
    _, end, rapid = moves(text)
    with np.errstate(invalid="ignore"):
        return end[~rapid & (end[:, 2] < below)]


def cut_plainly(result, cell):
    """The blank after all programs, by a simulation that shares nothing with the package."""
    x0, y0, x1, y1 = result.plan.clamping.stock.bounds
    zero = np.array(result.plan.clamping.zero)
    wood = Wood((x0 - zero[0], x1 - zero[0]), (y0 - zero[1], y1 - zero[1]), result.plan.clamping.stock.thickness, cell)
    for p in result.programs:
        wood.cut(p.text, shape=p.cutter.shape, diameter=p.cutter.diameter)
    x, y = (np.arange(n) * cell + low for n, low in zip(wood.heights.shape, (x0, y0), strict=True))
    return x, y, wood.heights


@pytest.mark.parametrize("name", ["head-plate", "rosette"])
def test_each_builds_and_verifies(built, name):
    result = built(name)
    assert result.verification.findings == ()
    words = COLOURED.sub(" ", result.files()["setup.html"])
    for word in ("fret", "nut end", "nut face", "strings", "bass", "radius", "curved"):
        assert word not in words.lower(), word
    assert "The plate on the machine" in words


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("name", ["head-plate", "rosette"])
def test_each_is_as_made(built, name):
    hold(f"example {name}", built(name), pages=True)


def test_only_a_later_program_is_told_to_find_the_work_where_it_lay(built):
    first, *later = built("rosette").files(shaded=False)["setup.html"].split(">Before you start<")[1:]
    assert "Do not move the work." not in first
    assert all("Do not move the work." in card for card in later[:2])


def test_a_wide_part_is_not_shown_in_halves_that_a_page_does_not_hold(built):
    finished = built("rosette").files()["setup.html"].split('id="inlays"')[0]
    assert 'id="finished"' in finished
    assert 'class="paper"' not in finished


def test_rings_of_the_rosette(built):
    result = built("rosette")
    for inlay, (inner, outer) in zip(result.report["inlays"], ((56.0, 57.6), (58.6, 66.4), (67.4, 69.0)), strict=True):
        area = math.pi * (outer**2 - inner**2)
        assert inlay["area"] == pytest.approx(area, rel=2e-4)
        assert inlay["pocket_volume"] == pytest.approx(1.5 * area, rel=0.01)


def test_the_sound_hole_comes_last_and_has_its_diameter(built):
    result = built("rosette")
    assert result.programs[-1].operation == "openings"
    # the plate's near end, and so X 0, is at the blank's
    low = low_moves(result.programs[-1].text, 2.9)
    assert np.hypot(low[:, 0] - 120.0, low[:, 1]).max() == pytest.approx(50.0 - 1.5, abs=0.001)
    assert low[:, 2].min() == pytest.approx(-0.2)


@pytest.mark.in_every_run(0)
def test_the_rosette_by_another_simulation(built):
    x, y, heights = cut_plainly(built("rosette"), 0.5)
    away = np.hypot(x[:, None] - 120.0, y[None, :])

    def between(low, high):
        return heights[(away > low + 0.5) & (away < high - 0.5)]

    for low, high, left in ((0.0, 50.0, -0.2), (50.0, 56.0, 3.0), (58.6, 66.4, 1.5), (69.0, 90.0, 3.0)):
        assert len(between(low, high)) > 100
        assert between(low, high) == pytest.approx(left, abs=1e-4)
    assert heights[(away > 56.5) & (away < 57.1)] == pytest.approx(1.5, abs=1e-4)


def test_tuner_holes_are_two_mirrored_rows(built):
    result = built("head-plate")
    low = low_moves(program(result, "round-holes").text, 2.0)
    way = np.array([math.cos(math.radians(-2.0)), math.sin(math.radians(-2.0))])
    row = np.array([70.0, -25.0]) + 38.0 * np.arange(3)[:, None] * way
    centres = np.concatenate([row, row * [1.0, -1.0]]) - result.plan.clamping.zero
    away = np.linalg.norm(low[:, None, :2] - centres, axis=2)
    own = away.argmin(axis=1)
    for hole in range(6):
        # a 6 mm cutter round a hole of 10 mm; programs are written to a tenth of a micrometre
        assert away[own == hole, hole].max() == pytest.approx(2.0, abs=2e-4)
        assert low[own == hole, 2].min() == pytest.approx(-0.2)


def test_the_head_plate_by_another_simulation(built):
    result = built("head-plate")
    x, y, heights = cut_plainly(result, 0.5)
    part = result.plan.clamping.board
    gx, gy = np.meshgrid(x, y, indexing="ij")
    pockets = shapely.union_all([i.area for i in result.plan.clamping.inlays])

    def within(shape):
        return heights[shapely.contains_xy(shape.buffer(-0.6), gx, gy)]

    bare = part.outline.difference(shapely.union_all([*part.openings, pockets]))
    assert within(bare).min() > 2.5 - 1e-4
    assert within(bare).max() < 2.5 + 0.0201 + 0.0063
    # faced, with ridges of 20 um; between its own steps, 0.5 mm apart, a ball of radius 5 leaves 0.25^2 / 10 mm more
    assert within(shapely.union_all(part.openings)) == pytest.approx(-0.2, abs=1e-4)
    assert within(result.plan.clamping.inlays[0].area.difference(result.plan.clamping.inlays[1].area.buffer(0.6))) == \
        pytest.approx(1.3, abs=1e-3)


MANY = PLATE + HOLE.replace("diameter = 10.0", "diameter = 5.0\ncounterbore = { diameter = 12.0, depth = 1.0 }") + \
    '\n[[hole]]\ncutter = "flat 3"\nat = [20.0, 10.0]\ndiameter = 6.0\nlength = 14.0\nturn = 30.0\ndepth = 1.5\n'


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    return build(read(tmp_path_factory.mktemp("many"), MANY), resolution=0.1)


def test_counterbore_and_slot_have_the_volumes_of_their_formulas(many):
    assert many.verification.findings == ()
    sim = many.verification.simulation
    gone = np.maximum(3.0 - np.maximum(sim.top, 0.0), 0.0)  # down to the underside

    def volume(x, y, half):
        window = sim.grid.window((x - half, y - half, x + half, y + half))
        return float(gone[window].sum()) * sim.grid.cell_area

    assert volume(50.0, 0.0, 8.0) == pytest.approx(math.pi * (6.0**2 * 1.0 + 2.5**2 * 2.0), rel=0.01)
    assert volume(20.0, 10.0, 9.0) == pytest.approx(1.5 * (6.0 * 8.0 + math.pi * 9.0), rel=0.01)
    holes = many.report["holes"]
    assert [(h["diameter"], h["length"], h["depth"]) for h in holes] == [
        (5.0, 5.0, None), (12.0, 12.0, 1.0), (6.0, 14.0, 1.5)]
    text = many.files()["report.txt"]
    assert "20.000  10.000   6.000  14.000    1.500" in text
    assert re.search(r"^ +1  +50.* through\n1, counterbore  +50.* 1\.000$", text, re.M)  # "1" and "1" said nothing


def test_the_ragged_foot_of_a_tab_is_none_on_a_coarse_grid(tmp_path):
    """At most a note says how much the grid may be wrong by."""
    text = PLATE
    for old, new in (
        ("length = 100.0\nwidth = 60.0", "length = 60.71\nwidth = 104.16\ncorner_radius = 19.38"),
        ("length = 120.0\nwidth = 80.0", "length = 100.71\nwidth = 144.16"), ("margin_nut = 10", "margin_nut = 20"),
        ("diameter = 3.0", "diameter = 2.0"), ("thickness = 3.0", "thickness = 6.13"),
        ("stepdown = 1.0", "stepdown = 0.7"),
    ):
        text = text.replace(old, new)
    found = build(read(tmp_path, text), resolution=0.25).verification.findings
    assert [one.severity for one in found if "one row of the grid may be" not in one.got] == []
    assert all(one.severity == "note" for one in found)


def spoilt(result, operation, change):
    """Codes of what is found when one program is changed."""
    texts = {p.file_name: p.text for p in result.programs}
    one = program(result, operation)
    texts[one.file_name] = change(one.text)
    found = verify(result.plan.clamping, texts, resolution=0.2).findings
    return {f.code for f in found if f.severity == "forbid"}


def moved(text, axis, by):
    """Every coordinate of an axis changed, but for heights in the air."""
    def new(match):
        value = float(match[1])
        return f"{axis}{value + by:.4f}" if axis != "Z" or value < 2.9 else match[0]

    return "\n".join(line if line.startswith("(") else re.sub(rf"{axis}(-?[\d.]+)", new, line)
                     for line in text.splitlines())


@pytest.mark.parametrize(("change", "code"), [
    (lambda text: moved(text, "X", 0.05), "opening-overcut"),
    (lambda text: moved(text, "Z", -0.05), "opening-too-deep"),
    (lambda text: moved(text, "Z", 0.05), "opening-uncut"),
])
def test_a_spoilt_opening_is_found(many, change, code):
    assert code in spoilt(many, "openings", change)


def test_an_island_left_in_an_opening_is_found(built):
    """The wall and its foot are right, and the middle of the sound hole still stands: loops near it are lifted."""
    result = built("rosette")
    clear = result.plan.clamping.safe_z

    def lifted(text):
        out = []
        for line in text.splitlines():
            place = re.search(r"X(-?[\d.]+) Y(-?[\d.]+)", line)
            near = place is not None and math.hypot(float(place[1]) - 120.0, float(place[2])) < 10.0
            out.append(f"G1 X{place[1]} Y{place[2]} Z{clear:.1f}" if near else line)
        return "\n".join(out)

    assert "opening-uncut" in spoilt(result, "openings", lifted)


def test_an_opening_a_twentieth_too_narrow_is_found(many, tmp_path):
    """Less than any cell of the grid: only the text shows it."""
    narrower = build(read(tmp_path, MANY.replace("diameter = 12.0", "diameter = 11.9")), resolution=0.4)
    assert narrower.verification.findings == ()
    other = program(narrower, "openings").text
    assert "opening-narrow" in spoilt(many, "openings", lambda text: other)


@pytest.mark.parametrize(("gap", "found"), [(0.2, False), (0.5, True)])
def test_a_short_way_left_out_beside_the_edge_of_an_opening_is_found_wherever_it_is(gap, found):
    """Of a 0.8 mm cutter half a millimetre leaves 0.09 mm of wood at its middle, a fifth of one 0.013 mm."""
    step = SimpleNamespace(cutter=SimpleNamespace(radius=0.4), file_name="1.nc",
                           operation=SimpleNamespace(feature=SimpleNamespace(shapes=shapely.box(0.0, 0.0, 40.0, 20.0))))
    round_it = shapely.box(0.4, 0.4, 39.6, 19.6).exterior
    for x in np.linspace(10.0, 10.5, 6):
        way = shapely.difference(round_it, shapely.box(x, 0.0, x + gap, 1.0))
        assert bool([*_edge(shapely.get_parts(way), step, Tolerances())]) == found


def test_a_spoilt_round_hole_is_found(many):
    assert "hole-wrong" in spoilt(many, "round-holes", lambda text: moved(text, "X", 0.05))


@pytest.mark.parametrize(("between", "beside"), [(0.2, 0.3), (0.01, 0.01)])
def test_wood_too_thin_beside_an_opening_is_told(tmp_path, between, beside):
    near = HOLE + HOLE.replace("50.0,", f"{60.0 + between},") + HOLE.replace("[50.0, 0.0]", f"[20.0, {25.0 - beside}]")
    report = build(read(tmp_path, PLATE + near), resolution=0.4).report
    found = [f["got"] for f in report["checks"]["findings"] if f["code"] == "thin-wood"]
    assert found == [f"{between:.2f} mm of wood is left standing between two holes",
                     f"{beside:.2f} mm of wood is left standing between a hole and the edge"]


def test_thin_wood_is_between_what_stands_beside_it(tmp_path):
    """The drawn opening reaches to 60 mm along; two blind holes were called openings."""
    near = HOLE.replace("[50.0, 0.0]", "[65.3, 0.0]").replace("diameter = 10.0", "diameter = 10.0\ndepth = 1.5")
    job = drawn(tmp_path)
    clamping = clamping_of(read(tmp_path, job.path.read_text() + near))
    found = thin_wood_findings(clamping, opened_of(clamping))
    assert [f.got for f in found] == ["0.30 mm of wood is left standing between a hole and an opening"]


BORE = '\n[[hole]]\ncutter = "flat 3"\nat = [{}, 0.0]\ndiameter = 12.0\n'
BORED = BORE.replace("12.0", "6.0") + "counterbore = {{ diameter = 12.0, depth = 1.0 }}\n"


@pytest.mark.parametrize("hole", [BORE, BORE + "depth = 1.5\n", BORED])
@pytest.mark.parametrize(("beside", "at", "said"), [
    (RING, 57.75, "0.25 mm of wood is left standing between a pocket and a hole"),  # its edge lies at 51.5 mm
    (BORE.format(30.0), 42.3, "0.30 mm of wood is left standing between two holes"), ("", 6.2, "0.20 mm"),
])
def test_wood_too_thin_beside_a_hole_that_is_not_through_is_told(tmp_path, hole, beside, at, said):
    clamping = clamping_of(read(tmp_path, PLATE + beside.replace("[50.0", "[37.5") + hole.format(at)))
    assert [f.got[: len(said)] for f in thin_wood_findings(clamping, opened_of(clamping))] == [said]


@pytest.mark.parametrize(("thickness", "beside", "told"), [(3.0, 0.45, 0), (18.0, 1.7, 1), (18.0, 1.85, 0)])
def test_wood_beside_a_hole_is_thicker_where_it_is_high(tmp_path, thickness, beside, told):
    """A tenth of its height (common practice, no source): 0.4 mm stood in 18 mm, and nothing was said."""
    text = PLATE.replace("thickness = 3.0", f"thickness = {thickness}").replace("flute_length = 12.0",
                                                                              "flute_length = 25.0")
    clamping = clamping_of(read(tmp_path, text + BORE.format(6.0 + beside)))
    found = thin_wood_findings(clamping, opened_of(clamping))
    assert [f.allowed for f in found] == ["1.8 mm"] * told


@pytest.mark.parametrize("outline", ["M0,0H80V40H0Z", "M0,0H80V40H20V20H0Z"])
def test_drawn_openings_are_cleared_before_the_outline(tmp_path, outline):
    result = build(drawn(tmp_path, outline=outline), resolution=0.2)
    assert result.verification.findings == ()
    assert [p.operation for p in result.programs] == ["openings", "outline"]
    sim = result.verification.simulation
    window = sim.grid.window((38.0, -7.0, 62.0, 7.0))
    # a rectangle of 20 by 10 with corners of the cutter's radius: less (4 - pi) r^2
    opened = float((sim.top[window] < 0.0).sum()) * sim.grid.cell_area
    assert opened == pytest.approx(200.0 - (4 - math.pi) * 1.5**2, rel=0.01)


FACED = PLATE.replace("face = false\n", "").replace("thickness = 3.0\nmargin", "thickness = 3.6\nmargin")


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_ring_of_resin_in_a_faced_plate(tmp_path, units):
    text = FACED + '[surface]\nfinish = "ball"\nscallop = 0.03\n' + RING + 'fill = "resin"\n' + HOLE
    if units == "in":  # the same numbers, each with its unit
        text = re.sub(r"(?<![-\w\"])(\d+\.\d+)(?=[\s,\]])", r'"\1 mm"', text)
        text = re.sub(r'(feed|plunge|stepdown) = "([\d.]+) mm"', lambda m: f"{m[1]} = {float(m[2]) / 25.4:.6f}", text)
        text = 'units = "in"\n' + text
    result = build(read(tmp_path, text), resolution=0.2)
    assert result.verification.findings == ()
    assert [p.operation for p in result.programs] == ["surface-finish", "pocket", "resurface", "openings", "outline"]
    # pi (14^2 - 10^2) by 1.5 deep, and 1 mm of overfill over it
    (inlay,) = result.report["inlays"]
    assert inlay["pocket_volume"] == pytest.approx(math.pi * 96.0 * 1.5, rel=0.01)
    assert inlay["fill_volume"] == pytest.approx(math.pi * 96.0 * 2.5, rel=0.01)


@pytest.mark.in_every_run(0)
def test_a_face_by_a_flat_end_has_no_ridges(tmp_path):
    result = build(read(tmp_path, FACED + '[surface]\nfinish = "flat 3"\nrough = "flat 3"\nallowance = 0.2\n' + RING +
                        'fill = "resin"\n' + HOLE), resolution=0.4)
    assert result.verification.findings == ()
    assert [p.operation for p in result.programs] == \
        ["surface-rough", "surface-finish", "pocket", "resurface", "openings", "outline"]
    x, y, heights = cut_plainly(result, 0.5)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    bare = shapely.box(1.0, -29.0, 99.0, 29.0).difference(shapely.Point(50.0, 0.0).buffer(15.0))
    assert heights[shapely.contains_xy(bare, gx, gy)] == pytest.approx(3.0, abs=1e-4)
    assert "no ridges by the formula" in result.files(shaded=False)["report.txt"]


def test_a_plate_on_a_skin(tmp_path):
    result = build(read(tmp_path, PLATE + "skin = 0.4\n" + HOLE), resolution=0.4)
    assert result.verification.findings == ()
    outline = program(result, "outline")
    assert low_moves(outline.text, 2.9)[:, 2].min() == pytest.approx(0.4)
    assert low_moves(program(result, "openings").text, 2.9)[:, 2].min() == pytest.approx(-0.2)
    x, y, heights = cut_plainly(result, 0.5)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    groove = shapely.box(0.0, -30.0, 100.0, 30.0).buffer(2.4).difference(shapely.box(-0.6, -30.6, 100.6, 30.6))
    assert heights[shapely.contains_xy(groove, gx, gy)] == pytest.approx(0.4, abs=1e-4)
    assert "leaving a skin" in outline.text
    assert "In the end a thin skin alone joins the part to its waste" in result.files(shaded=False)["setup.html"]
    assert "The part comes free" not in result.files(shaded=False)["setup.html"]
    assert spoilt(result, "outline", lambda text: moved(text, "Z", -0.3))


PIECE = cutter(name="flat 1", shape="flat-end", diameter=1.0, flute_length=5.0, speed=18000, feed=600.0, plunge=150.0,
               stepdown=0.4) + """
[[inlay]]
artwork = "leaf.svg"
depth = 1.2
cutters = ["flat 1"]
fill = "piece"
piece = { cutter = "flat 1", thickness = 1.8 }
place = { at = [30.0, 0.0] }
"""


def test_pieces_let_into_a_plate(tmp_path, capsys):
    (tmp_path / "leaf.svg").write_text(svg('<ellipse cx="10" cy="5" rx="9" ry="4" fill="#2255aa"/>', 20, 10))
    job = read(tmp_path, FACED + '[surface]\nfinish = "ball"\nscallop = 0.03\n' + PIECE)
    result = build(job, resolution=0.4)
    assert result.verification.findings == ()
    files = result.files(shaded=False)
    words = COLOURED.sub(" ", files["setup.html"] + files["report.txt"]).lower()
    for word in ("curved", "fret", "finished board", "the board and", "whole board", "same board"):
        assert word not in words, word
    out = ["--out", str(tmp_path / "out")]
    assert main(["pieces", str(job.path), *out, "--resolution", "0.3"]) == 0
    assert main(["check", str(job.path), out[1], "--resolution", "0.3"]) == 0
    # an ellipse, in the stock smaller all round by the gap of 0.05 mm
    (sheet,) = piece_sheets(job)
    gap = job.inlays[0].piece.gap
    assert sheet.let_in.stock.area == pytest.approx(math.pi * (9.0 - gap / 2) * (4.0 - gap / 2), rel=0.02)


FOREIGN = re.compile(r"\b(board'?s?|fingerboard|truss|frets?|strings?|neck|bridge|nut (end|face)|radius|curve[ds]?)\b")
"""Words of a board, which no other part has; but for the spare board under it, which some words call so."""
SPARE = re.compile(r"spare (flat )?board")
DOWELS = """
[holes]
cutter = "flat 3"
at = [[-5.0, 0.0], [105.0, 0.0]]
diameter = 4.0
through = 3.0
[channel]
cutter = "flat 3"
along = [20.0, 80.0]
across = -20.0
width = 4.0
depth = 1.0
"""


def said(folder):
    """All that the files of a folder say to a maker, by name: pages, reports, comments of programs."""
    words = {}
    for path in folder.iterdir():
        text = path.read_text() if path.suffix in (".html", ".txt", ".nc") else ""
        text = " ".join(re.findall(r"\((.*)\)", text)) if path.suffix == ".nc" else COLOURED.sub(" ", text)
        words[path.name] = SPARE.sub("", " ".join(text.lower().replace(" .. ", " ").split()))
    return words


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("command", ["build", "pieces", "coupon"])
def test_no_command_tells_a_plate_of_a_board(tmp_path, command):
    (tmp_path / "leaf.svg").write_text(svg('<ellipse cx="10" cy="5" rx="9" ry="4" fill="#2255aa"/>', 20, 10))
    job = read(tmp_path, FACED.replace("thickness = 3.0\n", "thickness = 3.4\n", 1).replace("= 3.6", "= 4.0")
               + '[surface]\nfinish = "ball"\nscallop = 0.04\n' + PIECE + DOWELS
               + RING.replace("inner = 10.0\nouter = 14.0", "inner = 0.0\nouter = 6.0").replace("50.0", "75.0")
               + 'fill = "resin"\n' + HOLE)
    assert main([command, str(job.path), "--out", str(tmp_path / "out"), "--resolution", "0.4"]) == 0
    words = said(tmp_path / "out")
    assert {"build": "00-back-setup.html", "coupon": "coupon.html"}.get(command, "report.txt") in " ".join(words)
    for name, text in words.items():
        found = FOREIGN.search(text)
        assert found is None, (name, text[max(0, found.start() - 60): found.end() + 60])


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("command", ["build", "coupon"])
def test_no_command_tells_a_form_of_a_board_or_of_inlays(tmp_path, command):
    inside = FORM.replace('cut = "halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0', 'cut = "inside"')
    job = read_form(tmp_path, inside, DISC)
    assert main([command, str(job.path), "--out", str(tmp_path / "out"), "--resolution", "0.5"]) == 0
    for name, text in said(tmp_path / "out").items():
        found = re.search(rf"{FOREIGN.pattern}|\binlays?\b", text)
        assert found is None, (name, text[max(0, found.start() - 60): found.end() + 60])


VEE = cutter(name="v", shape="v", diameter=6.0, angle=60.0, speed=16000, feed=900.0, plunge=250.0, stepdown=0.5)


@pytest.mark.parametrize(("text", "told"), [
    (FACED + '[surface]\nfinish = "v"\n' + VEE,
     r"^\[surface\] finish: .*\(allowed: a ball-end cutter, or a flat end\): it leaves furrows: name a ball-end cutter "
     "or a flat end$"),
    (FACED + '[surface]\nfinish = "ball"\nrough = "v"\n' + VEE,
     r"^\[surface\] rough: .*\(allowed: a ball-end cutter, or a flat end\): it leaves furrows: name a ball-end cutter "
     "or a flat end$"),
    (FACED + '[surface]\nfinish = "ball"\n' + PIECE.replace("thickness = 1.8", "thickness = 1.1"),
     "a thinner piece ends below the surface$"),
    (PLATE + RING + 'fill = "resin"\n', r"face: false, and inlay 1 \(ring 1\) is filled"),
    (FACED.replace("length = 120.0", "length = 100.0").replace("width = 80.0", "width = 60.0")
     .replace("margin_nut = 10.0", "margin_nut = 0.0").replace('[outline]\ncutter = "flat 3"\n', "")
     + '[surface]\nfinish = "ball"\n[marks]\ncutter = "flat 3"\n' + RING + 'fill = "resin"\n',
     "no waste is left round the plate for three marks"),
])
def test_no_mistake_of_a_plate_is_told_in_words_of_a_board(tmp_path, text, told):
    (tmp_path / "leaf.svg").write_text(svg('<ellipse cx="10" cy="5" rx="9" ry="4" fill="#2255aa"/>', 20, 10))
    with pytest.raises(JobError, match=told) as wrong:
        build(read(tmp_path, text))
    assert not FOREIGN.search(str(wrong.value))


def test_a_drawing_without_a_place_begins_at_x_0_with_its_middle_on_the_centre_line(tmp_path):
    """Outline, openings and inlays of one drawing alike: they stay in register."""
    text = (EXAMPLES / "head-plate.toml").read_text()
    (tmp_path / "head-plate.svg").write_text((EXAMPLES / "head-plate.svg").read_text())
    assert text.count("place = { at = [95.0, 0.0] }\n") == 3
    (tmp_path / "as-given.toml").write_text(text)
    (tmp_path / "left-out.toml").write_text(text.replace("place = { at = [95.0, 0.0] }\n", ""))
    given, left_out = (clamping_of(load_job(tmp_path / f"{name}.toml")) for name in ("as-given", "left-out"))
    page = float(re.search(r'width="([\d.]+)mm"', (tmp_path / "head-plate.svg").read_text())[1])
    assert left_out.board.outline.bounds == pytest.approx(
        np.add(given.board.outline.bounds, [page / 2 - 95.0, 0.0] * 2), abs=1e-9)
    for one, other in zip(given.inlays, left_out.inlays, strict=True):
        assert other.area.bounds == pytest.approx(np.add(one.area.bounds, [page / 2 - 95.0, 0.0] * 2), abs=1e-9)


def test_rapids_end_above_ridges_however_high(tmp_path):
    """Ridges 1 mm high: before rings and counterbores rapids ended 0.3 mm over the face as asked for, in the wood."""
    plate = PLATE.replace("face = false", "face = true").replace("thickness = 3.0\nmargin", "thickness = 5.0\nmargin")
    run = {"speed": 12000, "feed": 1200.0, "plunge": 300.0, "stepdown": 3.0}
    extra = cutter(name="round", shape="ball-end", diameter=4.0, **run)
    extra += '[surface]\nfinish = "round"\nrough = "round"\nscallop = 1.0\n'
    extra += cutter(name="point", shape="v", angle=90, diameter=8.0, **run)
    ring = RING.replace("flat 3", "point").replace("50.0", "30.0").replace("inner", 'fill = "none"\ninner')
    bore = "diameter = 5.0\ncounterbore = { diameter = 12.0, depth = 1.0 }"
    hole = HOLE.replace("diameter = 10.0", bore).replace("50.0", "70.0")
    result = build(read(tmp_path, plate + extra + ring + hole), resolution=0.5)
    assert not [str(f) for f in result.verification.findings if f.severity == "forbid"]
