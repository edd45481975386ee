"""A channel in the back: both sides by formula, by solids and by the tests' own cutting; turned over on dowels."""

import json
import re
from contextlib import nullcontext
from dataclasses import replace
from types import SimpleNamespace

import manifold3d
import numpy as np
import pytest
import shapely

from pathgen import JobError, build, check, load_job
from pathgen.app.cli import main
from pathgen.base.markup import as_html
from pathgen.job.clamping import clamping_of
from pathgen.job.load import read_job
from pathgen.programs.instructions import before_start, header
from pathgen.programs.paths import tabs_of
from pathgen.programs.plan import plan, pockets_of
from pathgen.programs.timing import times
from pathgen.removal.grid import Grid
from pathgen.report.programs import Program
from pathgen.report.saving import changes
from pathgen.report.sheet.page import _hours, board_words
from pathgen.report.sheet.results import both_sides
from pathgen.report.text import go_on_lines
from pathgen.verify.both_sides import Below, wood_between
from pathgen.verify.findings import Tolerances
from pathgen.work.clamping import numbered
from pathgen.work.features import Marks
from pathgen.work.operations import WitnessMarks
from pathgen.work.underside import wood_over
from tests.as_made import hold
from tests.job.test_plates import PLATE, read
from tests.plain_cutting import Wood
from tests.small_board import SLOT_CUTTER, cutter, job, moves

SIDES = SLOT_CUTTER + """
[slots]
cutter = "slot"
depth = 2.2
width = 0.6
[[cutter]]
name = "flat 4"
shape = "flat-end"
diameter = 4.0
flute_length = 20.0
speed = 14000
feed = 1500.0
plunge = 300.0
stepdown = 1.5
[outline]
cutter = "flat 4"
[holes]
cutter = "flat 4"
at = [[-13.0, 0.0], [99.0, 12.0], [99.0, -12.0]]
diameter = 6.0
through = 5.0
[channel]
cutter = "flat 4"
along = [10.0, 62.0]
across = 3.0
width = 4.4
depth = 1.8
"""
THROUGH = PLATE.replace("thickness = 3.0", "thickness = 6.0") + """
[[hole]]
cutter = "flat 3"
at = [40.0, 8.0]
diameter = 12.0
[holes]
cutter = "flat 3"
at = [[-5.0, 0.0], [105.0, 0.0]]
diameter = 4.0
through = 4.0
[channel]
cutter = "flat 3"
along = [20.0, 80.0]
across = 10.0
width = 5.0
depth = 2.0
"""
SMALL = {"depth = 1.5": "depth = 2.6", "[stock]\nlength = 125.0": "[stock]\nlength = 130.0"}
SHALLOW = {**SMALL, "depth = 1.5": "depth = 0.6"}
RADIUS_NUT, RADIUS_END, CELL = 254.0, 300.0, 0.25


@pytest.mark.parametrize(("ends", "told"), [
    ("", True), ('ends = "square"', False),  # the cutter of one with square ends decides how far it goes
])
def test_a_wider_cutter_for_the_channel_is_told(ends, told, tmp_path):
    fine = cutter(name="fine", shape="flat-end", diameter=2.0, flute_length=20.0, speed=14000, feed=300.0, plunge=100.0,
                  stepdown=0.5)
    sides = SIDES.replace('[channel]\ncutter = "flat 4"', f'[channel]\n{ends}\ncutter = "fine"') + fine
    under = clamping_of(load_job(job(tmp_path, changes=SMALL, extra=sides))).under
    back = plan(under, None, pockets=pockets_of(under))
    programs = [Program(step=step, text="", toolpath=path, times=times(path, step.cutter, back.clamping.machine))
                for step, path in zip(back.clamping.steps, back.paths, strict=True)]
    rows = {row["change"]: row["minutes_saved"] for row in changes(back, programs)}
    assert ('[channel] cutter = "flat 4"' in rows) == told
    assert not told or rows['[channel] cutter = "flat 4"'] > 0.8 * programs[1].minutes


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    """An off-centre channel under slots and a pocket that is not quite over it."""
    folder = tmp_path_factory.mktemp("board")
    path = job(folder, changes=SMALL, extra=SIDES)
    return path, build(load_job(path), resolution=0.2)


def height(x, y, length):
    """Of the radiused surface over the underside: the formula of the design."""
    radius = RADIUS_NUT + (RADIUS_END - RADIUS_NUT) * x / length
    return 6.5 + np.sqrt(radius**2 - y**2) - radius


@pytest.mark.in_every_run(0)
def test_zero_of_a_blank_turned_over_is_found_again_from_the_side_it_was_set_from_or_the_dowels(tmp_path):
    """Its sides have changed places about the dowels: what X and Y are set from at first is then the other edge, off by
    as much as the blank is narrower than the job says."""
    corner = '[setup]\nzero = "blank-nut-bass"\n'
    made = build(load_job(job(tmp_path, changes=SMALL, extra=SIDES + corner)), resolution=0.6)
    stock = made.job.stock
    wide = f"{stock.width:g} mm"
    for row in made.report["references"]:
        assert row["xy"][0] == "the dowel holes"
        assert "the side that Y 0 was set from for the back" in row["xy"][1]
        assert "the sides" not in " ".join(row["xy"])
        turned = f"The side that lay at Y 0 mm when the back was cut now lies at Y {wide}, the other at Y 0 mm"
        assert turned in row["turned"]
        # the first of three holes: 13 mm before the nut, on the centre-line
        assert f"The dowel holes are at X {stock.margin_nut - 13.0:g} mm, Y {stock.width / 2:g} mm; " in row["turned"]
    files = made.files(shaded=False)
    assert made.report["references"][0]["turned"] in files["report.txt"]
    assert "corner, nut end, bass side, as nearly as the blank is as wide as the job says" in files["setup.html"]
    assert "and mark that side" in files["00-back-setup.html"]
    assert all("turned" not in row for row in made.back.report["references"])


def test_both_are_as_made(board):
    hold("both sides", board[1], pages=True)


@pytest.mark.parametrize("zero", ["bed", "stock-top"])
def test_the_blank_is_measured_before_its_first_side_is_cut(tmp_path, zero):
    """The top is cut over the channel by what the job says of its thickness, and dowel holes go as deep."""
    top = clamping_of(load_job(job(tmp_path, changes=SMALL, extra=f'{SIDES}[setup]\nz_zero = "{zero}"\n')))
    first, turned = (before_start(side, side.steps[0]) for side in (top.under, top))
    (line,) = [line for line in first if line.startswith("Measure the blank: the job says 8 mm thick. Measure both ")]
    assert line.endswith("write the thickest as [stock] thickness, and build again.")
    assert not [line for line in turned if line.startswith("Measure")]
    count = len(top.under.steps)
    assert f"program 1 of {count} for the back of the board: cut" in "\n".join(
        header(top.under, top.under.steps[0], minutes=1.0, start=None))


def test_both_sheets_count_from_the_nut_face_and_give_one_length(tmp_path):
    """The back's blank stands out as far before the nut as the top's, where the board runs on behind that."""
    changes = {**SMALL, "radius = {": "behind_nut = 8.0\nend = { rise = 5.0 }\nradius = {"}
    sides = SIDES.replace("-13.0", "-15.0").replace("99.0", "101.5")
    top = clamping_of(load_job(job(tmp_path, changes=changes, extra=sides)))
    assert top.under.board.start == top.board.start == 0.0
    first, back = (re.match(r"([\d.]+) mm long \(8 mm of it behind the nut\)", board_words(side))[1]
                   for side in (top, top.under))
    x0, _, x1, _ = top.board.outline.bounds
    assert float(first) == float(back) == pytest.approx(x1 - x0, abs=0.01)


def cut(programs, clamping, z_zero):
    """(n, m) heights over the bed that a side's texts leave, at x and y of its own frame."""
    x0, y0, x1, y1 = clamping.stock.bounds
    wood = Wood((x0, x1), (y0, y1 + CELL), clamping.stock.thickness - z_zero, CELL)
    for p in programs:
        wood.cut(p.text, shape=p.cutter.shape, diameter=p.cutter.diameter)
    x, y = (np.arange(n) * CELL + low for n, low in zip(wood.heights.shape, (x0, y0), strict=True))
    return x, y, wood.heights + z_zero


def test_wood_between_both_sides_by_the_tests_own_cutting_and_by_formula(board):
    _, made = board
    front, thick, length = made.plan.clamping, 8.0, made.plan.clamping.board.length
    x, y, back = cut(made.back.programs, front.under, thick)
    _, _, top = cut([p for p in made.programs if p.operation in ("surface-finish", "slots")], front, 0.0)
    bottom = thick - back[:, ::-1]  # turned over about the centre-line
    assert y == pytest.approx(-y[::-1])
    gx, gy = np.meshgrid(x, y, indexing="ij")
    channel = (gx > 12.5) & (gx < 59.5) & (abs(gy - 3.0) < 2.0)
    assert bottom[channel] == pytest.approx(1.8, abs=1e-4)
    assert (bottom[abs(gy - 3.0) > 2.6][(abs(gx - 43.0) < 50.0)[abs(gy - 3.0) > 2.6]] == 0.0).all()
    for fret, number in ((300.0 * (1 - 2 ** (-n / 12)), n) for n in (1, 2, 3)):
        own = channel & (abs(gx - fret) < 0.15)
        left = (top - bottom)[own]
        assert own.any(), number
        assert left == pytest.approx(height(gx[own], gy[own], length) - 2.2 - 1.8, abs=0.004)
    # of the slots the least is fret 1's, where the radius is smallest, at the channel's side away from the middle
    under = {one["under"]: one["least"] for one in made.report["both_sides"]["wood"]}
    first = 300.0 * (1 - 2 ** (-1 / 12))
    assert under["the slot of fret 1"] == pytest.approx(height(first, 5.2, length) - 2.2 - 1.8, abs=1e-3)
    # the least of all is under the disc of 16 mm round 37, 0, where its edge crosses that side; its fill is no wood
    least = float(height(37.0 - np.sqrt(8.0**2 - 5.2**2), 5.2, length)) - 2.6 - 1.8
    assert under["inlay 1"] == min(under.values()) == pytest.approx(least, abs=1e-3)
    # a flat end's floor is a stair that is nowhere too deep
    assert least - 2e-3 < made.verification.between.least < least + 0.02
    # round ends: a rectangle and a circle
    assert made.verification.between.volume == pytest.approx((47.6 * 4.4 + np.pi * 2.2**2) * 1.8, rel=3e-3)


@pytest.mark.parametrize("shallow", [0.019, 0.021])
def test_wood_between_is_counted_where_the_back_is_open(board, shallow):
    """By hand: 20 points 1.5 mm deep from below, one of 0.02 less or more, one wholly through; fill that stands."""
    part = board[1].plan.clamping.board
    grid = Grid.over((20.0, -6.0, 40.0, 6.0), 0.5)
    top, bottom = np.full(grid.shape, 6.0, np.float32), np.zeros(grid.shape, np.float32)
    bottom[4, 5:25] = 1.5
    bottom[10, 7] = shallow
    top[4, 9], bottom[4, 9] = 5.0, 1.25
    window = slice(3, 6), slice(10, 14)
    poured = SimpleNamespace(window=window, floor=np.full((3, 4), 4.0, np.float32))
    sim = SimpleNamespace(grid=grid, top=top, poured=[poured])
    between = wood_between(sim, Below(grid=grid, bottom=bottom), SimpleNamespace(board=part), Tolerances())
    assert between.least == pytest.approx(4.0 - 1.5)
    assert between.at == pytest.approx((grid.xs[10], grid.ys[4]))
    assert between.volume == pytest.approx((19 * 1.5 + 1.25 + (shallow if shallow > 0.02 else 0.0)) * 0.25)
    bottom[7, 7] = np.inf
    through = wood_between(sim, Below(grid=grid, bottom=bottom), SimpleNamespace(board=part), Tolerances())
    assert (through.least, through.volume) == (-np.inf, pytest.approx(between.volume))
    assert wood_between(sim, Below(grid=grid, bottom=0 * top), SimpleNamespace(board=part), Tolerances()) is None


def test_the_wood_over_a_channel_is_off_by_the_channels_own_z_too(board):
    """A channel that is cut deeper leaves as much less, as the check of a changed program below finds."""
    budget = board[1].report["budget"]
    off = {row["source"]: row["effects"]["wood left"] for row in budget["rows"]}
    assert {name: by for name, by in off.items() if by and name.startswith("Z, ")} == {
        "Z, cutting the channel": 0.02, "Z, pocketing": 0.02, "Z, slotting": 0.02}
    assert budget["worst"]["wood left"] == pytest.approx(sum(off.values()), abs=2e-5)


def test_the_fret_table_counts_the_channel(board):
    _, made = board
    wood = [row["wood"]["slot"] for row in made.report["frets"]]
    length = made.plan.clamping.board.length
    for row, left in zip(made.report["frets"], wood, strict=True):
        if 59.0 < row["distance"] < 63.0:
            continue  # over the channel's round end
        over = row["distance"] < 62.0
        edge = min(abs(row[side][1]) for side in ("bass", "treble"))
        y = 5.2 if over else edge
        assert left == pytest.approx(height(row["distance"], y, length) - 2.2 - 1.8 * over, abs=2e-3)


def test_dowels_stand_in_the_same_holes_of_the_bed(board):
    """Where the back's text cuts below the bed, the top's frame has its dowels: the zero of X and Y is one for both."""
    _, made = board
    for p in made.back.programs:
        _, ends, rapid = moves(p.text)
        into_bed = ends[~rapid & (ends[:, 2] < -8.0), :2]
        assert bool(len(into_bed)) == (p.operation == "holes")
        if p.operation == "holes":
            holes = np.array([[-13.0, 0.0], [99.0, 12.0], [99.0, -12.0]])
            away = np.linalg.norm(into_bed[:, None] - holes, axis=2)
            assert (away.min(axis=1) < 1.001).all()
            assert len(set(away.argmin(axis=1))) == 3


def test_words_say_how_to_turn_it(board):
    _, made = board
    first, back = made.programs[0].text, made.back.programs[0].text
    plain = [" ".join(re.findall(r"\((?:\.\. )?(.*)\)", text)) for text in (first, back)]
    assert "turn the blank over about its length" in plain[0]
    assert "the edge that looked toward + Y comes to look toward - Y" in plain[0]
    # 5 mm in the bed, 8 mm of blank, the curve's lowest over a dowel: 6.5 - 0.43 at 15 mm aside
    assert "wooden dowels 6 mm thick and at most 10.5 mm long" in plain[0]
    assert "X 0 and Y 0 stay as they are" in plain[0]
    assert "Keep X 0 and Y 0 as they are." in plain[0]
    assert "Mark its nut end on both faces" in plain[1]
    assert "Measure the blank: the job says 8 mm thick." in plain[1]
    assert "Z 0 is the top of the raw stock" in plain[1]
    page, sheet = made.files()["setup.html"], made.files()["00-back-setup.html"]
    assert "The back first" in page
    assert "00-back-02-channel-flat-4.nc" in page
    assert "back 2  00-back-02-channel-flat-4.nc" in made.files()["report.txt"]
    assert "Back of the board" in sheet
    both, back = made.report["minutes"] + made.back.report["minutes"], made.back.report["minutes"]
    assert f"{_hours(both)} ({_hours(back)} of it for the back), without trying" in page  # those of the top alone


def test_a_back_that_was_cut_before_the_work_moved_is_done(board):
    """What is told of the next program opens with nothing that was done before it: the blank stays as it lies."""
    _, made = board
    moved = replace(made.plan.clamping, moved=SimpleNamespace(), moved_from=3)
    page = as_html(both_sides(moved, made.report))
    assert "The back is done" in page
    assert "do not run them again" in page
    assert "Least wood between the channel and the top" in page
    assert not re.search("come before|turn the blank|Sweep the bed", page)


@pytest.mark.in_every_run(1)
def test_a_back_that_was_run_and_would_now_be_another_is_warned_of(tmp_path):
    """The wood left over a channel was given as if it had been cut as the job says now."""
    moved = "".join(f"[[measured]]\nat = [{x}, {y}, 8.0]\nfound = [{x}, {y + 0.2}, 8.0]\n"
                    for x in (-15, 105) for y in (-25, 25)) + "[moved]\nbefore = 2\n"

    def told(extra):
        made = build(load_job(job(tmp_path, changes=SHALLOW, extra=extra)), resolution=0.5, pictures=False)
        made.write(tmp_path / "out", shaded=False)
        report = json.loads((tmp_path / "out" / "report.json").read_text())
        return [f["where"] for f in report["checks"]["findings"] if f["code"] == "done-otherwise"]

    shallower = SIDES.replace("depth = 1.8", "depth = 1.5")
    channel = ["program 00-back-02-channel-flat-4.nc"]
    assert [told(extra) for extra in (SIDES + moved, shallower + moved, shallower + moved, SIDES + moved)] == [
        [], channel, channel, []]


def test_a_back_is_done_once_the_marks_in_the_top_are_drilled(board):
    """The page still had boxes for turning the blank over, before it said that the marks are drilled already."""
    _, made = board
    clamping = made.plan.clamping
    marks = Marks(places=np.array([[-15.0, 25.0], [-15.0, -25.0], [100.0, 25.0]]), depth=0.8, hover=1.0)
    for tops, done in ((None, False), (np.full(3, 8.0), True)):
        own = WitnessMarks(replace(marks, tops=tops))
        steps = numbered([replace(clamping.steps[0], operation=own), *clamping.steps])
        marked = replace(clamping, steps=steps)
        assert ("The back is done" in as_html(both_sides(marked, made.report))) is done
        lines = before_start(marked, steps[0])
        assert (lines[0] == "The job says that these marks are drilled already. If so, do not run this program "
                            "again.") is done
        assert any("turn the blank" in line for line in lines) is not done


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("said", ["", "drilled", "measured"])
def test_the_backs_own_heads_and_page_say_that_it_is_done(tmp_path, said):
    """They were orders to begin: to set X 0 and Y 0, and to turn the spindle on, under a top that is half cut."""
    marks = [[-17.0, -28.0, 8.0], [-17.0, 28.0, 8.0], [105.0, -28.0, 8.0], [105.0, 28.0, 8.0]]
    extra = SIDES + '[marks]\ncutter = "flat 4"\n' + f"drilled = {marks}\n" * bool(said)
    if said == "measured":
        extra += "[moved]\nbefore = 4\n" + "".join(f"[[measured]]\nfound = {[x + 0.2, y, z]}\n" for x, y, z in marks)
    made = build(load_job(job(tmp_path, changes=SHALLOW, extra=extra)), resolution=0.5)
    files = made.files(shaded=False)
    done = "run before the blank was turned over: do not run"
    texts = [re.sub(r"\)\s*\((\.\. )?", " ", p.text) for p in made.back.programs] + [files["00-back-setup.html"]]
    for text in texts:
        assert (done in text, "Set X 0 and Y 0 at" in text, "X 0 Y 0 is" in text) == (
            (True, False, False) if said else (False, text == texts[0] or "<" in text, True)), text
    page = texts[-1]
    assert ("none for what is left" in page, "by-hand" in page, "go on with the other" in page) == (
        bool(said), not said, False)
    (line,) = go_on_lines(made.report) or [""]
    assert ("those of the back and programs 1 to 3 count as done" in line) is (said == "measured")
    assert made.passed


def test_check_reads_both_sides_and_finds_what_was_changed(board, tmp_path, capsys):
    path, made = board
    job_file = load_job(path)
    made.write(tmp_path / "out")
    assert check(job_file, tmp_path / "out", resolution=0.3).passed
    channel = tmp_path / "out" / "00-back-02-channel-flat-4.nc"
    text = channel.read_text()
    assert "Z-1.8" in text
    channel.write_text(text.replace("Z-1.8", "Z-3.6"))
    found = check(job_file, tmp_path / "out", resolution=0.3)
    codes = {f.code: f for f in found.findings}
    assert not found.passed
    assert "opening-too-deep" in codes
    thin = codes["thin-between-sides"]
    assert "channel" in thin.where
    assert "holes" not in thin.where
    left = float(re.match(r"([\d.]+) mm of wood", thin.got)[1])
    assert left == pytest.approx(made.verification.between.least - 1.8, abs=0.01)
    assert re.search(r"along, [\d.]+ mm across", thin.where)
    channel.unlink()
    assert main(["check", str(path), str(tmp_path / "out"), "--resolution", "0.3"]) == 1
    assert "00-back-02-channel-flat-4.nc" in capsys.readouterr().out


@pytest.mark.in_every_run(1)
def test_a_dowel_hole_off_its_mate_is_found(board, tmp_path):
    path, made = board
    made.write(tmp_path / "out")
    holes = tmp_path / "out" / "00-back-01-holes-flat-4.nc"
    lines = holes.read_text().splitlines()
    # all of the pair on one side, 2 mm further out
    moved = [re.sub(r"Y(\d+(?:\.\d+)?)\b", lambda m: f"Y{float(m[1]) + (2.0 if float(m[1]) > 9 else 0.0):g}", line)
             if not line.startswith("(") else line for line in lines]
    assert moved != lines
    holes.write_text("\n".join(moved) + "\n")
    codes = {f.code for f in check(load_job(path), tmp_path / "out", resolution=0.3).findings}
    assert {"hole-wrong", "dowels-off"} <= codes


def test_a_plate_cut_from_both_sides_is_the_solid(tmp_path):
    """Volume of what is left, and the wood over the channel, against solids of manifold3d."""
    text = THROUGH.replace("diameter = 12.0\n", "diameter = 12.0\ndepth = 2.5\n") + 'ends = "square"\n'
    made = build(read(tmp_path, text), resolution=0.1)
    assert made.passed, made.verification.findings
    seen = made.verification
    grid, top = seen.simulation.grid, seen.simulation.top
    bottom = 6.0 - seen.under.simulation.top[::-1]
    inside = grid.covered(made.plan.clamping.board.outline)
    volume = float((top - bottom)[inside].sum(dtype=float)) * grid.cell_area
    solid = manifold3d.Manifold.cube((100.0, 60.0, 6.0)).translate((0.0, -30.0, 0.0))
    solid -= manifold3d.Manifold.cylinder(9.0, 6.0, circular_segments=512).translate((40.0, 8.0, 3.5))
    # square ends keep the rounding of a 3 mm cutter in their corners
    r = 1.5
    posts = [manifold3d.Manifold.cylinder(4.0, r, circular_segments=256).translate((x, y, -2.0))
             for x in (20 + r, 80 - r) for y in (7.5 + r, 12.5 - r)]
    solid -= manifold3d.Manifold.batch_hull(posts)
    assert volume == pytest.approx(solid.volume(), rel=1e-4)
    assert made.verification.between.least == pytest.approx(6.0 - 2.5 - 2.0, abs=1e-4)


@pytest.mark.parametrize(("old", "new", "where", "words"), [
    ("depth = 1.8", "depth = 3.6", "[channel] depth", "0.65 mm of wood is left under the slot of fret 1"),
    ("depth = 1.8", "depth = 5.0", "[channel] depth", "breaks 0.75 mm into the slot of fret 1"),
    ("width = 4.4", "width = 3.5", "[channel] cutter", '"flat 4" is 4 mm, wider than the channel'),
    ("along = [10.0, 62.0]", "along = [0.5, 62.0]", "[channel] along", "0.50 mm from the edge of the board"),
    # out through an end at its whole width: half of that and 0.5 mm past it
    ("along = [10.0, 62.0]", "along = [-1.0, 62.0]", "[channel] along",
     "-1 mm does not let it out at its whole width through the board's nut end (allowed: -2.7 mm or less"),
    ("along = [10.0, 62.0]", "along = [10.0, 87.0]", "[channel] along",
     "87 mm does not let it out at its whole width through the board's end (allowed: 87.9"),
    ("along = [10.0, 62.0]", "along = [10.0, 110.5]", "[channel] along", "leaves the blank (allowed: within -20 mm to"),
    ("along = [10.0, 62.0]\nacross = 3.0", "along = [-12.0, 62.0]\nacross = 0.0", "[channel] along",
     "0.00 mm from the dowel's hole at -13 mm along"),
    # of a board that is 20 mm wide on each side at the nut
    ("along = [10.0, 62.0]\nacross = 3.0", "along = [-4.0, 62.0]\nacross = 17.5", "[channel] along",
     "not through its ends alone"),
    ("along = [10.0, 62.0]\nacross = 3.0", "along = [-4.0, 62.0]\nacross = 24.5", "[channel] along",
     "not through its ends alone"),
    ("across = 3.0", "across = 17.6", "[channel] along", "from the edge of the board"),
    ("along = [10.0, 62.0]", "along = [10.0, 12.0]", "[channel] along", "2 mm long"),
    ("through = 5.0", "through = 0.5", "[holes] through", "only 0.5 mm in the spoilboard"),
    ("[99.0, -12.0]]", "[99.0, -11.0]]", "[holes] at 2", "at 99 mm along, -12 mm across, where the bed has none"),
    ("at = [[-13.0, 0.0], [99.0, 12.0], [99.0, -12.0]]", "at = [[-13.0, 0.0]]", "[holes] at", "one hole"),
    ("through = 5.0", "depth = 4.0", "[holes] depth", "dowels go through the blank"),
    ("[-13.0, 0.0]", "[-6.0, 0.0]", "[holes] at 1", "cut into the dowel at -6 mm along"),
    ("depth = 1.8", "depth = 1.8\nends = \"oval\"", "[channel] ends", "oval"),
])
def test_refused_with_place_and_numbers(tmp_path, old, new, where, words):
    assert old in SIDES
    with pytest.raises(JobError) as wrong:
        build(load_job(job(tmp_path, changes=SHALLOW, extra=SIDES.replace(old, new))))
    assert wrong.value.where == where
    assert words in str(wrong.value)


def test_a_flute_too_short_for_the_dowels_holes_is_told_once(tmp_path):
    short = SIDES.replace("flute_length = 20.0", "flute_length = 9.0")
    _, mistakes = read_job(job(tmp_path, changes=SHALLOW, extra=short))
    assert [str(one).count("flute") for one in mistakes if "holes" in str(one)] == [1]


def test_a_channel_under_what_goes_right_through_is_no_matter_of_its_depth(tmp_path):
    """Its depth was named, and none would do."""
    with pytest.raises(JobError) as wrong:
        build(read(tmp_path, THROUGH))
    assert wrong.value.where == "[channel]"
    assert wrong.value.remedy == "move the channel from under there"


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("along", "ends"), [([-5.0, 62.0], "round"), ([-5.0, 93.0], "square")])
def test_a_channel_that_runs_out_through_an_end_is_open_there_at_its_whole_width(tmp_path, along, ends):
    """By the tests' own cutting: as deep and as wide as asked from the inner end to past the board's, or both of them;
    all that stands on the top keeps clear of it, and dowels and marks are where it does not go."""
    text = SIDES.replace("along = [10.0, 62.0]", f'along = {along}\nends = "{ends}"') + '[marks]\ncutter = "flat"\n'
    made = build(load_job(job(tmp_path, changes=SHALLOW, extra=text)), resolution=0.2)
    assert made.passed
    assert made.back.passed
    front = made.plan.clamping
    x, y, back = cut(made.back.programs, front.under, 8.0)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    bottom, board = 8.0 - back[:, ::-1], (gx >= 0.0) & (gx <= front.board.length)
    right = 59.5 if along[1] == 62.0 else front.board.length
    own = board & (gx < right) & (abs(gy - 3.0) < 2.0)
    assert bottom[own] == pytest.approx(1.8, abs=1e-4)
    assert (bottom[board & (abs(gy - 3.0) > 2.45)] == 0.0).all()
    assert (bottom[board & (gx > 62.1)] == 0.0).all() == (along[1] == 62.0)
    round_end = np.pi * 2.2**2 / 2 if along[1] == 62.0 else 0.0
    long = 59.8 if along[1] == 62.0 else front.board.length
    assert made.verification.between.volume == pytest.approx((long * 4.4 + round_end) * 1.8, rel=3e-3)
    channel = shapely.box(along[0], 0.8, along[1], 5.2)
    assert shapely.distance(shapely.points(front.feature(WitnessMarks).places), channel).min() > 0.5


@pytest.mark.parametrize("off", [0.0, 0.003, -0.003])
def test_no_wood_between_is_counted_at_an_edge_that_was_cut_through(off):
    """Points of the grid on the outline and on an opening's edge, or within what either may be off."""
    hole = shapely.box(10.0, -2.0, 14.0, 2.0)
    part = SimpleNamespace(outline=shapely.box(0.0 + off, -5.0, 30.0 + off, 5.0), openings=[hole])
    grid = Grid(np.arange(-4.0, 34.0, 0.25), np.arange(-6.0, 6.1, 0.25))
    gx, gy = np.meshgrid(grid.xs, grid.ys)
    bottom = np.where(abs(gy) <= 3.0, 1.5, 0.0).astype(np.float32)
    top = np.where((gx <= 0.0) | (gx >= 30.0), -0.2, 4.0).astype(np.float32)
    top[(gx >= 10.0) & (gx <= 14.0) & (abs(gy) <= 2.0)] = -0.2
    sim, board = SimpleNamespace(grid=grid, top=top, poured=[]), SimpleNamespace(board=part)
    below = Below(grid=grid, bottom=bottom)
    assert wood_between(sim, below, board, Tolerances()).least == pytest.approx(2.5)
    top[(gx == 0.25) & (gy == 1.0)] = 1.0  # inside it all counts
    assert wood_between(sim, below, board, Tolerances()).least == pytest.approx(-0.5)


def test_a_channel_out_of_a_plates_end_passes_with_points_of_the_grid_on_its_outline(tmp_path):
    """The near end lies on a column of the grid: 10.1 mm are whole cells of 0.2 mm, and a half."""
    text = PLATE + """
[holes]
cutter = "flat 3"
at = [[-6.0, 8.0], [-6.0, -8.0]]
diameter = 4.0
through = 4.0
[channel]
cutter = "flat 3"
along = [-5.0, 15.0]
width = 5.0
depth = 2.0
"""
    for old, new in (("margin_nut = 10.0", "margin_nut = 10.1"), ("thickness = 3.0", "thickness = 6.0"),
                     ("length = 100.0", "length = 30.0"), ("width = 60.0", "width = 20.0"),
                     ("length = 120.0", "length = 50.0"), ("width = 80.0", "width = 40.0")):
        assert old in text
        text = text.replace(old, new)
    made = build(read(tmp_path, text), resolution=0.2)
    assert np.abs(made.verification.simulation.grid.xs).min() < 1e-9
    assert made.passed, made.verification.findings
    assert made.verification.between.least == pytest.approx(4.0, abs=1e-4)


def test_no_mark_is_drilled_over_a_channel_in_the_waste(tmp_path):
    text = SIDES.replace("along = [10.0, 62.0]", "along = [10.0, 98.0]")
    marks = '[marks]\ncutter = "flat"\nat = [[{}], [-16.0, 25.0], [-16.0, -25.0]]\n'
    for at, allowed in (("97.0, -3.0", True), ("97.0, 3.0", False)):
        refused = nullcontext() if allowed else pytest.raises(JobError, match=r"^\[marks\] at")
        with refused:
            clamping_of(load_job(job(tmp_path, changes=SHALLOW, extra=text + marks.format(at))))


def test_wood_over_a_channel_is_counted_within_the_part(tmp_path):
    """The shelf of the nut runs on past the board's end, where the curve is lower."""
    text = SIDES.replace("along = [10.0, 62.0]", "along = [-9.0, 62.0]").replace("[-13.0, 0.0]", "[-15.0, 0.0]")
    behind = {**SHALLOW, "frets = 5": "frets = 5\nbehind_nut = 3.0"}
    nut = '[nut]\ncutter = "flat 4"\nbottom = "curve"\ndepth = 1.0\n'
    over = {one.under: one for one in wood_over(clamping_of(load_job(job(tmp_path, changes=behind, extra=text + nut))))}
    assert over["the nut's shelf"].at == pytest.approx((-3.0, 5.2), abs=1e-6)


def test_no_tab_stands_over_the_mouth_of_a_channel(tmp_path):
    """Of a plate so short that tabs stand on its ends, where two would stand right over it."""
    text = PLATE.replace("thickness = 3.0", "thickness = 6.0").replace("length = 100.0", "length = 14.0") + """tabs = 6
[holes]
cutter = "flat 3"
at = [[-6.0, 22.0], [-6.0, -22.0]]
diameter = 4.0
through = 4.0
[channel]
cutter = "flat 3"
along = [-5.0, 19.0]
width = 6.0
depth = 2.0
"""
    mouths = shapely.MultiPoint([(0.0, 0.0), (14.0, 0.0)])
    for channel, tabs_off in (("along = [-5.0, 19.0]", 4.5 + 3.0), ("along = [2.0, 12.0]", 0.0)):
        made = clamping_of(read(tmp_path, text.replace("along = [-5.0, 19.0]", channel)))
        away = shapely.distance(shapely.points(tabs_of(made)), mouths).min()
        assert away >= tabs_off
        assert (away < 0.1) == (not tabs_off)  # that they would stand there


def test_dowels_go_deep_enough_into_the_bed_unless_the_job_says_how_deep(tmp_path):
    clamping = clamping_of(load_job(job(tmp_path, changes=SHALLOW, extra=SIDES.replace("through = 5.0\n", ""))))
    assert {step.operation.feature.bottom for step in clamping.under.steps if step.operation.name == "holes"} == {-3.0}


def test_a_channel_needs_dowels(tmp_path):
    text = re.sub(r"\[holes\].*?(?=\[channel\])", "", SIDES, flags=re.S)
    with pytest.raises(JobError, match="no dowel holes to turn the blank over on"):
        load_job(job(tmp_path, changes=SMALL, extra=text))


def test_a_channel_under_a_pocket(tmp_path):
    deep = SIDES.replace("across = 3.0", "across = 0.0").replace("depth = 1.8", "depth = 2.2")
    deep = deep.replace("depth = 2.2\nwidth = 0.6", "depth = 0.5\nwidth = 0.6")
    with pytest.raises(JobError, match=r"\[channel\] depth: 0.\d\d mm of wood is left under inlay 1"):
        build(load_job(job(tmp_path, changes={**SMALL, "depth = 1.5": "depth = 3.9"}, extra=deep)))


def test_turned_on_the_machine_the_zero_stays_on_the_bed(tmp_path):
    setup = '[setup]\nalong = "y"\nzero = "blank-nut-bass"\n'
    clamping = clamping_of(load_job(job(tmp_path, changes=SMALL, extra=SIDES + setup)))
    there = clamping.to_machine(np.array([[99.0, 12.0, 0.0], [99.0, -12.0, 0.0]]))
    back = clamping.under.to_machine(np.array([[99.0, 12.0, 0.0], [99.0, -12.0, 0.0]]))
    assert there[:, :2] == pytest.approx(back[:, :2])
    assert clamping.under.zero_place.words == "the blank's corner, nut end, treble side, as it lies now"
    assert clamping.under.zero[1] < 0
    assert clamping.under.board.names.sides[0] == "treble"


def test_the_joints_of_a_fanned_bound_board_are_turned_over_with_it(tmp_path):
    """As in a mirror: the same X, Y with the other sign; at the nut and the end the sides lie at different X."""
    bound = {"scale_length = 300.0": "scale_length = { bass = 304.0, treble = 298.0, straight_fret = 3 }",
             "thickness = 6.5": "thickness = 6.5\nbinding = 1.5\nbound = true"}
    clamping = clamping_of(load_job(job(tmp_path, changes={**SMALL, **bound}, extra=SIDES)))
    top, back = dict(clamping.board.names.joints), dict(clamping.under.board.names.joints)
    assert len(top) == 4
    assert top["bass at the nut"][0] != pytest.approx(top["treble at the nut"][0], abs=0.05)
    assert back == {name: (x, -y) for name, (x, y) in top.items()}
    line = " ".join(before_start(clamping.under, clamping.under.steps[0]))
    where = re.search(r"bass at the nut at X -?[\d.]+ mm, Y (-?[\d.]+) mm", line)[1]
    assert float(where) == pytest.approx(-top["bass at the nut"][1], abs=0.01)
    assert float(where) > 0


@pytest.mark.in_every_run(0)
def test_both_sides_fit_in_the_travel_together(tmp_path):
    """D: dowel holes of 6 mm before the nut, 13 mm, and the outline past the end, at 85.25 mm, by a cutter of 4 mm.

    X 0 stays when the blank is turned over: from -14 to 87.25 mm, and to 87.45 for the lap that leaves 0.2 mm. Of a
    machine that does less only verification said so.
    """
    holes = SIDES.replace("[[-13.0, 0.0], [99.0, 12.0], [99.0, -12.0]]", "[[-13.0, 14.0], [-13.0, -14.0]]")

    def made(travel):
        machine = f"[machine]\ntravel = [{travel}, 200.0, 80.0]\n"
        return build(load_job(job(tmp_path, changes=SMALL, extra=holes + machine)), resolution=0.6)

    fits = made(102.0)
    assert fits.passed
    with pytest.raises(JobError, match=r"spans 101.45\d? mm in X, from -14 mm \(back 1, holes\) to 87.45\d? mm \("):
        made(101.0)
    fits.write(tmp_path / "out", shaded=False)
    found = check(load_job(tmp_path / "job.toml"), tmp_path / "out", resolution=0.6)
    assert "beyond-travel" in [f.code for f in found.findings]


def test_a_clamp_on_a_dowel_is_told_of_the_backs_own_program(tmp_path):
    """Program 1 of the top is another one."""
    clamp = "[setup]\nkeep_out = [{ along = [-16.0, -10.0], across = [-3.0, 3.0], height = 20.0 }]\n"
    with pytest.raises(JobError, match=r"^back 1, holes, keep_out 1: the cutter comes right into it"):
        build(load_job(job(tmp_path, changes=SHALLOW, extra=SIDES + clamp)))
