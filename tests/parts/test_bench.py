"""Hollow blocks and gauges against the board that they are for."""

import math
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.optimize import minimize

from pathgen import Cutter, CutterError, JobError, PathgenError, build, check, load_job, scallop_height
from pathgen.app.cli import main
from pathgen.base.hollow import Hollow
from pathgen.base.lettering import lettering
from pathgen.base.surface import Surface
from pathgen.job.bench import block_clamping, gauge_clampings
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.job.nut_and_saddle import nut_and_saddle_clampings
from pathgen.job.part import board_of
from pathgen.parts.tools import arc_edge
from pathgen.programs.zero_words import zero_words
from pathgen.report.text import minutes_words
from tests import small_board
from tests.as_made import hold
from tests.plain_cutting import left_by
from tests.small_board import dotted_job
from tests.small_board import job as small_job

EXAMPLES = Path(__file__).parents[2] / "examples" / "boards"
BALL = Cutter(name="ball", shape="ball-end", diameter=12.7, speed=16000, feed=2400, plunge=600, stepdown=3.0)


@pytest.fixture(scope="module")
def fanned():
    return load_job(EXAMPLES / "fanned.toml")


@pytest.fixture(scope="module")
def block(fanned):
    return build(fanned, clamping=block_clamping(fanned, (1, 9)), resolution=0.4)


def test_a_ball_in_the_hollow_touches_and_does_not_cut():
    hollow = Hollow(thickness=8.0, radius_nut=120.0, radius_end=300.0, length=200.0)
    for x, y in ((10.0, 0.0), (60.0, 18.0), (150.0, -25.0)):
        centre = np.array([x, y, float(hollow.tip_height(BALL, x, y)) + 6.35])

        def away(place, centre=centre):
            return np.linalg.norm(np.array([*place, float(hollow.height(*place))]) - centre)

        nearest = minimize(away, [x, 0.9 * y], method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-13})
        assert nearest.fun == pytest.approx(6.35, abs=1e-9)


def test_hollow_and_board_are_one_surface():
    board = Surface(thickness=6.5, radius_nut=254.0, radius_end=406.4, length=480.0)
    hollow = Hollow(thickness=15.0, radius_nut=254.0, radius_end=406.4, length=480.0)
    x, y = np.meshgrid(np.linspace(0, 480, 30), np.linspace(-28, 28, 30))
    assert board.height(x, y) + hollow.height(x, y) == pytest.approx(np.full(x.shape, 21.5), abs=1e-12)
    turned_over = hollow.normal(x, y) * [-1, -1, 1]
    assert turned_over == pytest.approx(board.normal(x, y), abs=1e-12)


@pytest.mark.in_every_run(0)
def test_the_block_fits_the_board_within_the_two_ridge_heights(fanned, block):
    board = build(fanned, resolution=0.8)
    start = board.plan.clamping.board.landmarks.edges[0, :, 0].min() - 3.0
    rng = np.random.default_rng(7)
    length = block.plan.clamping.board.length
    x, y = rng.uniform(5, length - 5, 40), rng.uniform(-20, 20, 40)
    in_block = left_by(block.programs[0].toolpath, block.programs[0].cutter, x, y)
    finish = next(p for p in board.programs if p.operation == "surface-finish")
    # turned over about its length: x stays, y changes sides
    on_board = left_by(finish.toolpath, finish.cutter, x + start, -y)
    gap = in_block + on_board - (block.plan.clamping.board.surface.thickness + 6.5)
    assert gap.min() > -0.0005
    assert gap.max() < 0.02 + 0.02 + 0.0005
    assert gap.max() > 0.01


def test_ridges_in_the_block_are_those_of_the_hollow_formula(block):
    surface = block.report["surface"]
    radius = block.plan.clamping.board.surface.radius_nut
    wanted = float(scallop_height(surface["stepover"], 6.35, -radius))
    assert surface["scallop_measured"] == pytest.approx(wanted, abs=0.0007)
    assert surface["scallop_measured"] <= 0.02 + 0.0007
    assert block.passed
    # passes may stand further apart in a hollow than on a board of that radius
    assert float(scallop_height(surface["stepover"], 6.35, radius)) > 0.0202


def test_the_block_is_as_made(block):
    hold("block", block, pages=True)


def test_a_steep_hollow_is_cut_no_deeper_than_the_stepdown_at_once(tmp_path):
    """2.07 mm were cut at once on its flanks, where 2.06 are allowed: our own check refused it."""
    block = '[block]\ncutter = "ball"\nwidth = 59.0\nthickness = 25.0\nfrets = [4, 5]\nscallop = 0.01\n'
    steep = {"radius = { nut = 254.0, end = 300.0 }": "radius = 44.0", "nut_width = 40.0\nend_width = 46.0":
             "nut_width = 30.0\nend_width = 30.0", "diameter = 12.7": "diameter = 3.0",
             "stepdown = 3.0": "stepdown = 2.0"}
    job = load_job(small_job(tmp_path, changes=steep, extra=block))
    found = build(job, clamping=block_clamping(job, None)).verification.findings
    assert [(one.code, one.severity) for one in found] == [("load-high", "warn")]  # nothing roughs the hollow


@pytest.mark.parametrize(("file", "frets"), [
    ("fanned", (12, 24)), ("fanned", (0, 12)), ("bound-left-handed", (3, 12)), ("zero-fret-arched", (0, 5)),
    ("dots-and-fall-away", (0, 5)),
])
def test_a_block_covers_the_frets_that_it_is_named_for(tmp_path, file, frets):
    """It went from one to the other on the centre-line: over half of each crown, and on a fan past a corner of both."""
    text = (EXAMPLES / f"{file}.toml").read_text()
    (tmp_path / "job.toml").write_text(text + '[block]\ncutter = "ball 12"\n' * ("[block]" not in text))
    job = load_job(tmp_path / "job.toml")
    board, clamping = board_of(job), block_clamping(job, frets)
    said = re.search(r", begins (\S+) mm before", clamping.title)
    before = float(said[1]) if said else 0.0
    covered = shapely.affinity.translate(clamping.board.outline, board.distances[frets[0]] - before)
    on_them = board.frets.ends[np.isin(board.frets.number, frets)]
    crowns = shapely.buffer(shapely.linestrings(on_them), 2.4 / 2)  # a usual one is 2.4 mm wide
    assert covered.covers(shapely.unary_union(crowns))
    if not frets[0]:
        assert covered.bounds[0] == pytest.approx(board.nut_line[:, 0].min() - 3.0 * ("zero" in file), abs=0.06)
    assert ("on the centre-line" in clamping.title) == (file in ("fanned", "bound-left-handed"))


def test_block_range_and_blank_are_checked(fanned):
    with pytest.raises(JobError, match="9 to 1"):
        block_clamping(fanned, (9, 1))
    with pytest.raises(JobError, match="to 24, rising"):
        block_clamping(fanned, (0, 25))
    with pytest.raises(CutterError, match="ball of radius 50"):
        Hollow(thickness=5.0, radius_nut=40.0, radius_end=60.0, length=100.0).tip_height(
            Cutter(name="big", shape="ball-end", diameter=100.0, speed=100, feed=1, plunge=1, stepdown=1), 0.0, 0.0)


def test_gauges_have_the_radius_they_say():
    job = load_job(EXAMPLES / "zero-fret-arched.toml")
    clampings = gauge_clampings(job)
    assert len(clampings) == 3
    part = clamping_of(job).board
    for clamping, fret in zip(clampings, (0, 12, 19), strict=True):
        radius = float(part.surface.radius(part.frets.distance[fret]))
        points = shapely.get_coordinates(clamping.board.outline)[2:-1]
        lowest = points[np.argmin(np.abs(points[:, 1])), 0]
        assert np.hypot(points[:, 0] - lowest - radius, points[:, 1]) == pytest.approx(radius, abs=1e-8)
        made = build(job, clamping=clamping, resolution=0.4)
        assert made.verification.findings == ()
        assert [p.operation for p in made.programs] == ["engrave", "outline"]
    outlines = [c.board.outline for c in clampings]
    assert min(a.distance(b) for a, b in pairwise(outlines)) > 2 * 3.0 + 5.0
    assert all(shapely.box(*clampings[0].stock.bounds).covers(o.buffer(3.0)) for o in outlines)


def test_a_gauge_along_the_board_has_its_fall_away(tmp_path):
    """640 mm, 20 frets, 10 past the last: 0.5 mm down on a straight line from the 14th fret to the end."""
    text = (EXAMPLES / "dots-and-fall-away.toml").read_text()
    (tmp_path / "a.toml").write_text(text + '[gauges]\ncutter = "flat 3"\nalong = true\nfrets = [12]\n')
    job = load_job(tmp_path / "a.toml")
    across, along = gauge_clampings(job)
    start, length = 640 * (1 - 2 ** (-14 / 12)), 640 * (1 - 2 ** (-20 / 12)) + 10
    points = shapely.get_coordinates(along.board.outline)[2:-1]
    x = length / 2 - points[:, 1]
    edge = points[:, 0] - points[:, 0].min()
    assert edge == pytest.approx(0.5 * np.maximum(x - start, 0) / (length - start), abs=1e-9)
    assert (x.min(), x.max()) == pytest.approx((0, length))
    made = build(job, clamping=along, resolution=0.3)
    assert made.verification.findings == ()
    assert along.title.endswith("gauge 2, along the board")
    assert across.board.outline.distance(along.board.outline) > 2 * 3.0


def test_a_long_sheet_of_gauges_lies_along_the_axis_that_the_board_lies_along(tmp_path):
    text = (EXAMPLES / "dots-and-fall-away.toml").read_text()
    long = '[gauges]\ncutter = "flat 3"\nalong = true\n[machine]\ntravel = {}\n'
    for along, travel in (("x", [700, 300, 90]), ("y", [300, 700, 90])):
        turned = text.replace("[board]\n", f'[setup]\nalong = "{along}"\n[board]\n')
        assert turned != text
        (tmp_path / "a.toml").write_text(turned + long.format(travel))
        job = load_job(tmp_path / "a.toml")
        gauge = gauge_clampings(job)[-1]
        assert gauge.stock.width > gauge.stock.length
        planned_of(job, gauge)
        assert f"the shorter side of the blank runs along {'Y' if along == 'x' else 'X'}." in zero_words(gauge)


@pytest.mark.parametrize("count", [1, 3])
def test_the_sheet_of_gauges_ends_one_groove_and_a_web_past_the_last(count):
    """Each side by side: 26 mm and the hollow of its edge high, its groove 3 mm wide, then 9 mm of sheet."""
    job = load_job(EXAMPLES / "zero-fret-arched.toml")
    object.__setattr__(job, "gauges", replace(job.gauges, frets=(0, 12, 19)[:count]))
    made = gauge_clampings(job)
    assert len(made) == count
    x0, x1 = made[-1].stock.bounds[::2]
    last = made[-1].board.outline
    assert made[0].board.outline.bounds[0] - x0 == pytest.approx(2 * 3.0 + 6.0)
    deepest = max(float(np.ptp(one.board.outline.bounds[::2])) - job.gauges.height for one in made)
    slack = deepest - (last.bounds[2] - last.bounds[0] - job.gauges.height)
    assert 0.0 <= x1 - last.bounds[2] - slack - (2 * 3.0 + 6.0) < 1.0  # sawn to whole mm


def test_labels_are_made_of_known_strokes():
    strokes = lettering("R 254 mm", height=6.0)
    x, y = np.concatenate(strokes).T
    assert np.ptp(y) == pytest.approx(6.0)
    assert x.min() == pytest.approx(-x.max())
    with pytest.raises(ValueError, match="no strokes for Q"):
        lettering("Q", height=6.0)


def test_the_commands_write_all_or_nothing(tmp_path, capsys):
    along = (EXAMPLES / "zero-fret-arched.toml").read_text().replace("[gauges] ", "[gauges]\nalong = true ")
    (tmp_path / "along.toml").write_text(re.sub(r"(?s)\[\[inlay\]\].*?(?=\n\[(?!\[))", "", along))
    assert main(["gauges", str(tmp_path / "along.toml"), "--out", str(tmp_path / "g"), "--resolution", "0.5"]) == 0
    assert len(list((tmp_path / "g").glob("*.nc"))) == 7  # the last has no label
    assert {path.name for path in (tmp_path / "g").glob("*setup*")} == {f"gauge-{k}-setup.html" for k in (1, 2, 3, 4)}
    assert "replaced" not in capsys.readouterr().err
    pages = [(tmp_path / "g" / f"gauge-{k}-setup.html").read_text() for k in (1, 2, 3, 4)]
    for said, on in (("All gauges of the folder are cut from this one sheet", [1]), ("Set X 0 and Y 0 at", [1]),
                     ("leave it so, and X 0 and Y 0 as they are.", [2, 3, 4]), ("gauge 2 is next", [1]),
                     ("gauge 4 is next", [3]), ("Cut the tabs", [4])):
        assert [k for k, page in enumerate(pages, 1) if said in page] == on, said
    assert main(["block", str(EXAMPLES / "fanned.toml"), "--frets", "1", "2", "--out", str(tmp_path / "g"),
                 "--resolution", "0.8"]) == 2
    assert re.search("holds 7 programs of .*, gauge .allowed: an empty folder, or an earlier build of .*, block",
                     capsys.readouterr().err)
    assert len(list((tmp_path / "g").glob("gauge*.nc"))) == 7
    assert main(["block", str(EXAMPLES / "inches.toml"), "--out", str(tmp_path / "b")]) == 2
    assert "[block] is missing" in capsys.readouterr().err
    assert not (tmp_path / "b").exists()
    assert main(["block", str(EXAMPLES / "fanned.toml"), "--frets", "one", "9", "--out", str(tmp_path / "b")]) == 2


def test_papers_of_a_tool_do_not_speak_of_a_board(fanned, tmp_path, capsys):
    """A block from fret 12 has no nut, no frets and, turned over in use, no bass side; a gauge neither."""
    arched = load_job(EXAMPLES / "zero-fret-arched.toml")
    for job, clamping in ((fanned, block_clamping(fanned, (12, 24))), (arched, gauge_clampings(arched)[0])):
        made = build(job, clamping=clamping, resolution=0.8)
        page = re.sub(r"<style.*?</style>|<[^>]+>", " ", made.files()["setup.html"], flags=re.S)
        for word in ("0 frets", "at the nut", "nut end", "before the nut", "bass", "treble", "strings", "Fret"):
            assert word not in page.replace(clamping.title, ""), word
        assert "near end, the left one in the picture" in page
        text = made.files()["report.txt"]
        assert "[stock]" not in page + text
        assert "[surface]" not in page + text
        assert (clamping.stock.length % 1.0, clamping.stock.width % 1.0) == (0.0, 0.0), "a blank is sawn to whole mm"
        assert ("Across the" in page) == (clamping.surfacing is not None), "a section of flat stock shows nothing"
        if made.report["minutes"] < 1:
            assert "In all less than a minute at the machine." in text
        assert " 0 minutes" not in text
        assert ("mm high, " in page) == (clamping.kind == "gauge")
    assert "507.64 mm at the end nearest the bridge" in build(fanned, clamping=block_clamping(fanned, (12, 24)),
                                                              resolution=0.8).files()["setup.html"]
    assert minutes_words(0.4) == "less than a minute"
    assert [minutes_words(some) for some in (1.02, 1.2, 2.96, 3.2)] == [
        "about 1 minute", "about 1.2 minutes", "about 3 minutes", "about 3 minutes"]
    assert minutes_words(51.9) == "about 52 minutes"


def test_check_takes_the_folder_of_a_tool(fanned, tmp_path, capsys):
    """What most of its programs state to be is what all are held against."""
    job = str(EXAMPLES / "zero-fret-arched.toml")
    out = tmp_path / "g"
    assert main(["gauges", job, "--out", str(out), "--resolution", "0.8"]) == 0
    assert main(["check", job, str(out), "--resolution", "0.8"]) == 0
    second = out / "gauge-2-02-outline-flat-3.nc"
    moved = re.sub(r"(?m)^(.*)X(-?\d+\.\d+)", lambda m: f"{m[1]}X{float(m[2]) + 0.3:.4f}", second.read_text())
    second.write_text(moved)
    (out / "stray.nc").write_text("G21\nM30\n")
    found = [f for f in check(load_job(job), out, resolution=0.8).findings if f.severity == "forbid"]
    assert any("gauge-2-02" in f.where for f in found)
    assert any("stray.nc" in f.where for f in found)
    assert not any("gauge-1" in f.where or "gauge-3" in f.where for f in found)


def test_check_reads_the_frets_of_a_block_in_its_programs(fanned, tmp_path):
    made = build(fanned, clamping=block_clamping(fanned, (12, 24)), resolution=0.8)
    made.write(tmp_path / "b")
    assert "(part: block, frets 12 to 24)" in made.programs[0].text
    assert check(fanned, tmp_path / "b", resolution=0.8).findings == ()
    lost = tmp_path / "b" / made.programs[0].file_name
    lost.write_text("G21\nM30\n")  # states nothing any more
    wrong = check(fanned, tmp_path / "b", resolution=0.8).findings
    assert {f.where for f in wrong if f.severity == "forbid"} >= {lost.name}
    lost.write_text("(part: chair)\nG21\nM30\n")
    (tmp_path / "b" / made.programs[1].file_name).unlink()
    with pytest.raises(PathgenError, match="chair"):
        check(fanned, tmp_path / "b", resolution=0.8)


@pytest.mark.parametrize("radius", [100.0, 254.0, 700.0])
def test_the_edge_of_a_gauge_lies_within_half_a_thousandth_of_its_arc_with_no_more_points_than_that_takes(radius):
    """A chord over an angle a lies r (1 - cos(a / 2)) off its arc."""
    x, y = arc_edge(radius, 50.0).T
    assert np.hypot(radius - x, y) == pytest.approx(radius, abs=1e-9)
    assert (y[0], y[-1]) == pytest.approx((25.0, -25.0))
    off = radius * (1 - math.cos(math.asin(25.0 / radius) / (len(y) - 1)))
    assert 4e-4 < off <= 5e-4


GAUGED = ("[dots]", '[gauges]\ncutter = "flat 3"\nengraver = "v 60"\n[dots]')


@pytest.mark.parametrize(("width", "radius"), [(46.0, 406.4), (24.0, 254.0), (17.0, 254.0)])
def test_labels_lie_on_the_part_and_not_on_each_other(tmp_path, width, radius):
    """A label of ten letters is 8.9 times as long as high: 53.5 mm at 6 mm, 26.75 mm at 3 mm."""
    job = dotted_job(
        tmp_path, ("nut_width = 43.0\nend_width = 55.0", f"nut_width = {min(width, 35.0)}\nend_width = {width}"),
        ("{ nut = 254.0, end = 355.6 }", f"{radius}"), GAUGED)
    gauge, plates = gauge_clampings(job)[0], nut_and_saddle_clampings(job)
    for clamping in (gauge, *plates):
        strokes = [shapely.linestrings(s) for s in clamping.steps[0].operation.feature.strokes]
        assert clamping.board.outline.buffer(1e-3).covers(shapely.union_all(strokes))
    for clamping in plates:
        strings = len(job.strings.gauges)
        letters = sorted((s[:, 1].min(), s[:, 1].max()) for s in clamping.steps[0].operation.feature.strokes[strings:])
        assert max(b[0] - a[1] for a, b in pairwise(letters)) > 0.8, "between B and radius"
    assert build(job, clamping=gauge, resolution=0.4).verification.findings == ()


def test_a_gauge_too_narrow_for_a_label_that_can_be_read_is_refused(tmp_path):
    job = dotted_job(tmp_path, ("nut_width = 43.0\nend_width = 55.0", "nut_width = 11.5\nend_width = 11.5"),
                     ("{ nut = 254.0, end = 355.6 }", "254.3"),
                     ("gauges = [1.17, 0.91, 0.66, 0.43,", "gauges = [0.45, 0.45, 0.45, 0.43,"),
                     GAUGED)
    with pytest.raises(JobError, match=r"R 254.3 mm on a gauge 11.50 mm wide would be 0.84 mm high"):
        gauge_clampings(job)


def test_programs_of_another_version_that_this_one_gives_too_are_right(tmp_path):
    text = (EXAMPLES / "dots-and-fall-away.toml").read_text() + '[gauges]\ncutter = "flat 3"\nfrets = [0, 12]\n'
    path, out = tmp_path / "a.toml", tmp_path / "gauges"

    def codes(old="", new=""):
        assert old in text
        path.write_text(text.replace(old, new, 1))
        return {(f.code, f.severity, f.where) for f in check(load_job(path), out, resolution=0.4).findings}

    path.write_text(text)
    assert main(["gauges", str(path), "--out", str(out), "--resolution", "0.4"]) == 0
    same = ("earlier-version", "note")
    assert codes() == set()
    assert codes("thickness = 6.5", "thickness = 6.4") == {(*same, "all 2 programs")}
    first, second = sorted(path.name for path in out.glob("*.nc"))
    found = codes("end = 355.6", "end = 340.0")
    assert (*same, first) in found
    assert ("other-job", "forbid", second) in found
    (out / first).write_text((out / first).read_text().replace("(end", "(the end", 1) + "(by hand)\n")
    found = codes("thickness = 6.5", "thickness = 6.4")
    assert {("other-job", "forbid", first), ("edited", "warn", first), (*same, second)} <= found


@pytest.mark.parametrize(("table", "where"), [
    ('[block]\ncutter = "ball"\noutline = "short"\n', "[block] outline cutter 'short'"),
    ('[gauges]\ncutter = "short"\nthickness = 6.0\n', "[gauges] cutter 'short'"),
])
def test_a_flute_too_short_for_an_outline_is_told_by_the_key_that_names_the_cutter(tmp_path, table, where):
    short = small_board.cutter(name="short", shape="flat-end", diameter=3.0, flute_length=5.0, speed=16000, feed=900,
                               plunge=300, stepdown=1.0)
    read = load_job(small_board.job(tmp_path, extra=short + table))
    clamping = block_clamping(read, (1, 3)) if read.block else gauge_clampings(read)[0]
    with pytest.raises(CutterError) as refused:
        build(read, clamping=clamping, resolution=0.5)
    assert refused.value.where == where
