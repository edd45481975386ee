"""Boards with relief and fall-away, whole: cut, read back, held against other programs, refused."""

import re

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base.errors import PathgenError
from pathgen.base.lowered import FallAway, Lowered, Relief
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move, Rapids
from pathgen.job.bench import block_clamping
from pathgen.job.clamping import clamping_of
from pathgen.parts.fingerboard.top import bow_under
from pathgen.report.board_text import frame_lines
from pathgen.report.data import part_data
from pathgen.strategies.resurfacing import finishing
from pathgen.strategies.surfacing import finishing_passes
from pathgen.verify.simulate import crest_heights
from tests.plain_cutting import left_by
from tests.small_board import ART, JOB, dotted_job

LOWERED = JOB.replace("[stock]", """relief = { depth = 0.1, fret = 2, to = 3 }
fall_away = { drop = 0.4, fret = 3, shape = "SHAPE" }
[stock]""").replace("finish = \"ball\"", "finish = \"ball\"\nrough = \"flat\"")


def job_of(folder, text):
    folder.mkdir()
    (folder / "art.svg").write_text(ART)
    (folder / "board.toml").write_text(text)
    return pathgen.load_job(folder / "board.toml")


@pytest.fixture(scope="module", params=["straight", "curved"])
def lowered(request, tmp_path_factory):
    job = job_of(tmp_path_factory.mktemp("x") / "a", LOWERED.replace("SHAPE", request.param))
    return job, pathgen.build(job, resolution=0.2)


def test_the_board_is_cut_as_asked(lowered):
    _, result = lowered
    assert [f for f in result.verification.findings if f.severity == "forbid"] == []
    assert result.report["surface"]["scallop_measured"] <= 0.05 + 7e-4


def test_the_finishing_pass_on_the_crest_goes_down_by_relief_and_fall(lowered):
    _, result = lowered
    board = result.plan.clamping.board
    path = next(p for p in result.programs if p.operation == "surface-finish").toolpath.points
    crest = path[(np.abs(path[:, 1]) < 1e-9) & (path[:, 2] < 7.0)]
    third, length = board.frets.distance[2], board.length
    at_end = crest[np.abs(crest[:, 0] - length).argmin()]
    assert at_end[2] == pytest.approx(6.5 - 0.4, abs=0.012)  # the pass runs 0.2 mm on
    order = np.argsort(crest[:, 0])
    deep = np.interp(board.frets.distance[1], crest[order, 0], crest[order, 2])
    assert deep == pytest.approx(6.4, abs=0.002)
    assert np.interp(third, crest[order, 0], crest[order, 2]) == pytest.approx(6.5, abs=0.003)


def test_a_nut_offset_is_said_in_a_length_and_in_cents(tmp_path):
    """300 mm against 299.4 to the bridge: every fretted note is lower by the ratio of the two."""
    job = job_of(tmp_path / "f", JOB.replace("frets = 5", "frets = 5\nnut_offset = 0.6"))
    data = part_data(clamping_of(job))
    assert data["board"]["nut_offset_cents"] == pytest.approx(1200 * np.log2(300.0 / 299.4), abs=1e-3)
    assert "0.6 mm nearer to the nut face" in frame_lines(data["board"], "mm")[1]
    assert "3.47 cents lower" in frame_lines(data["board"], "mm")[1]
    assert "(but partial_frets and steps" not in frame_lines(data["board"], "mm")[0]
    assert "to the bass side (but partial_frets and steps of the job to the treble side)" in frame_lines(
        {"bass_side": 1, "nut_offset": 0.0}, "mm")[0]
    assert len(frame_lines(part_data(clamping_of(job_of(tmp_path / "g", JOB)))["board"], "mm")) == 1


@pytest.mark.in_every_run(1)
def test_programs_of_a_board_without_them_are_found_wrong(lowered, tmp_path):
    job, _ = lowered
    plain = pathgen.build(job_of(tmp_path / "b", JOB.replace('finish = "ball"', 'finish = "ball"\nrough = "flat"')),
                          resolution=0.2)
    plain.write(tmp_path / "out")
    codes = {f.code for f in pathgen.check(job, tmp_path / "out", resolution=0.2).findings}
    assert "surface-too-high" in codes


def test_the_verifier_reckons_the_crest_its_own_way():
    top = Lowered(thickness=6.5, radius_nut=254.0, radius_end=355.6, length=480.0,
                  relief=Relief(depth=0.15, deepest=180.0, end=320.0),
                  fall_away=FallAway(start=340.0, end=480.0, drop=0.8, curved=True))
    x = np.linspace(-20.0, 500.0, 2001)
    assert crest_heights(top, x) == pytest.approx(top.height(x, 0.0), abs=1e-12)
    assert set(crest_heights(top.above, x).tolist()) == {6.5}


def test_the_bow_under_the_strings_counts_them_in():
    cone = {"thickness": 6.5, "radius_nut": 254.0, "radius_end": 254.0, "length": 480.0}
    top = Lowered(**cone, relief=Relief(depth=0.15, deepest=150.0, end=400.0))
    line = np.array([[[0.0, 5.0], [400.0, 5.0]]])
    assert bow_under(line, Surface(**cone)) == pytest.approx([0.0], abs=1e-9)
    assert bow_under(line, top) == pytest.approx([-0.15], abs=1e-4)


def test_the_first_layer_through_raw_stock_is_a_stepdown_deep_where_the_board_dips_too():
    top = Lowered(thickness=6.0, radius_nut=np.inf, radius_end=np.inf, length=100.0,
                  relief=Relief(depth=0.3, deepest=40.0, end=90.0))
    ball = pathgen.Cutter(name="ball", shape="ball-end", diameter=6.0, flutes=2, flute_length=20.0, speed=16000,
                          feed=2000.0, plunge=500.0, stepdown=3.0)
    outline = shapely.box(0.0, -20.0, 100.0, 20.0)
    path = finishing(finishing_passes(outline, top, ball, scallop=0.05), allowance=None, stock_top=10.0,
                     rapids=Rapids(safe_z=20.0, air_z=11.0))
    runs = np.split(path.points[:, 2], np.flatnonzero(path.kinds == Move.RAPID))
    first = next(run for run in runs if len(run) and run.min() < 10.0)
    assert 10.0 - first.min() == pytest.approx(3.0, abs=0.001)


@pytest.mark.parametrize(("old", "new", "words"), [
    ("depth = 0.1, fret", "depth = 7.0, fret", "relief depth: 7.0 given .allowed: 0.01 mm to 3 mm"),
    ("drop = 0.4", "drop = 3.5", "fall_away drop: 3.5 given .allowed: 0.01 mm to 3 mm"),
    ("fret = 2, to = 3", "fret = 3, to = 3", "deepest at fret 3, and gone at fret 3"),
    ("fret = 2, to = 3", "fret = 20, to = 3", "there is no fret 20"),
    ("to = 3", "to = 5", r"fall_away fret: 3, and the relief goes on to fret 5 .allowed: 5 or more.: start it at fret "
                         r"5 or later, or end the relief sooner .to = 3.$"),
    ("fret = 2, to = 3", "fret = 4, to = 5", r"make the relief deepest and gone before fret 3$"),
    ("fret = 3, shape", "fret = 9, shape", "no fret 9"),
    ("drop = 0.4, fret = 3", "drop = 3.0, fret = 5",
     r"drop: 3 mm goes down 1 in 3.3 there.*allowed: 1 in 20 .*make it 0.5 mm or less, or start it at an earlier fret"),
    ("depth = 0.1, fret", "depth = 2.9, fret", r"relief depth: 2.9 mm goes down 1 in .*, or let its frets lie further"),
])
def test_what_cannot_be_is_refused_with_numbers(tmp_path, old, new, words):
    text = LOWERED.replace("SHAPE", "straight")
    assert old in text
    with pytest.raises(PathgenError, match=words):
        job_of(tmp_path / "c", text.replace(old, new))


def test_no_relief_goes_through_a_thin_board(tmp_path):
    text = LOWERED.replace("SHAPE", "straight").replace("thickness = 6.5", "thickness = 1.5")
    with pytest.raises(PathgenError, match=r"1\.49 mm in a board 1\.5 mm thick .allowed: 1\.48 mm or less"):
        job_of(tmp_path / "c", text.replace("depth = 0.1, fret", "depth = 1.49, fret"))


def test_a_block_follows_relief_and_fall_away(lowered, tmp_path):
    """Laid on the board upside down it fits within the two ridge heights: by balls at dense places of both programs."""
    job, board = lowered
    text = LOWERED.replace("SHAPE", job.board.fall_away.shape) + '[block]\ncutter = "ball"\n'
    job = job_of(tmp_path / "d", text)
    block = pathgen.build(job, clamping=block_clamping(job, (1, 5)), resolution=0.3)
    assert block.verification.findings == ()
    part, surface = block.plan.clamping.board, board.plan.clamping.board.surface
    start = board.plan.clamping.board.frets.distance[0] - 3.0
    rng = np.random.default_rng(3)
    x, y = rng.uniform(2, part.length - 2, 60), rng.uniform(-18, 18, 60)
    assert surface.lowering(x + start).max() > 0.15
    finish = next(p for p in board.programs if p.operation == "surface-finish")
    in_block = left_by(block.programs[0].toolpath, block.programs[0].cutter, x, y)
    on_board = left_by(finish.toolpath, finish.cutter, x + start, -y)
    gap = in_block + on_board - (part.surface.thickness + surface.thickness)
    assert gap.min() > -0.0005
    assert 0.01 < gap.max() < 0.05 + 0.02 + 0.0005


def test_ridges_of_a_lowered_board_by_cutting_it_plainly(lowered):
    """The lowest of all balls over places of the board: nothing below the surface, ridges no higher than allowed."""
    _, result = lowered
    surface = result.plan.clamping.board.surface
    finish = next(p for p in result.programs if p.operation == "surface-finish")
    rng = np.random.default_rng(5)
    x, y = rng.uniform(1, result.plan.clamping.board.length - 1, 150), rng.uniform(-17, 17, 150)
    over = (left_by(finish.toolpath, finish.cutter, x, y) - surface.height(x, y)) * surface.normal(x, y)[:, 2]
    assert over.min() > -0.0005
    assert 0.035 < over.max() <= 0.05 + 2e-4


@pytest.mark.in_every_run(0)
def test_a_flat_board_with_relief_and_fall_away(tmp_path):
    text = LOWERED.replace("SHAPE", "curved")
    old = "radius = { nut = 254.0, end = 300.0 }"
    assert old in text
    job = job_of(tmp_path / "e", text.replace(old, 'radius = "flat"') + '[block]\ncutter = "ball"\n')
    result = pathgen.build(job, resolution=0.2)
    assert [f for f in result.verification.findings if f.severity == "forbid"] == []
    finish = next(p for p in result.programs if p.operation == "surface-finish")
    surface = result.plan.clamping.board.surface
    x, y = np.random.default_rng(6).uniform([1, -17], [84, 17], (80, 2)).T
    over = left_by(finish.toolpath, finish.cutter, x, y) - surface.height(x, y)
    assert over.min() > -0.0005
    assert over.max() <= 0.05 + 2e-4
    assert surface.lowering(x).max() > 0.3
    block = pathgen.build(job, clamping=block_clamping(job, (1, 5)), resolution=0.3)
    assert block.verification.findings == ()


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("fall", "more", "words", "depths"), [
    ("{ drop = 3.0, fret = 14 }", "", "under fret 20 at the edge, where the fall-away takes", ("fall_away", "drop")),
    ("{ drop = 0.1, fret = 14 }", "relief = { depth = 2.9 }", "under fret 7 at the edge, where the relief takes",
     ("relief", "depth")),
])
def test_wood_that_relief_or_fall_away_take_is_told_of_them_with_how_much_would_do(tmp_path, fall, more, words, depths):
    table, key = depths

    def job(slots, deep=None):
        lowered = f"{fall}\n{more}"
        if deep is not None:
            lowered = re.sub(rf"{key} = [\d.]+", f"{key} = {deep}", lowered)
        return dotted_job(tmp_path, ("{ drop = 0.5, fret = 14 }", lowered), ("depth = 2.0", f"depth = {slots}"))

    with pytest.raises(PathgenError, match=words) as refused:
        job(2.5)
    shallower, less = re.search(rf"make depth ([\d.]+) mm or less, or \[board\] {table} {key} ([\d.]+) mm or less",
                                str(refused.value)).groups()
    job(shallower)
    job(2.5, less)
    for slots, deep in ((float(shallower) + 0.02, None), (2.5, float(less) + 0.03)):
        with pytest.raises(PathgenError, match="min_web"):
            job(slots, deep)


@pytest.mark.in_every_run(0)
def test_a_fall_away_too_steep_is_told_one_that_the_slots_bear_too(tmp_path):
    """2.4 mm were named, the most that is not too steep, and then refused for the wood under the slots. What is named
    is looked for by a sixteenth of that."""
    def refused(drop):
        try:
            dotted_job(tmp_path, ("{ drop = 0.5, fret = 14 }", f"{{ drop = {drop}, fret = 17 }}"),
                       ("depth = 2.0", "depth = 2.9"))
        except PathgenError as wrong:
            return str(wrong)
        return ""

    words = refused(3.0)
    assert re.search(r"goes down 1 in \d+ there.* for edges and slots to keep min_web too, or start it at an", words)
    named = float(re.search(r"make it ([\d.]+) mm or less", words)[1])
    assert refused(named) == ""
    assert "min_web" in refused(round(named + 2.4 / 16 + 0.01, 2))


def test_edges_that_the_fall_away_leaves_too_thin_are_told_of_it(tmp_path):
    """1.07 mm of the curve at the end, 27.5 mm wide of R 355.6, and 3 mm of the fall-away."""
    with pytest.raises(PathgenError, match=r"thickness: the curve leaves 0\.44 mm at the edges, where the fall-away "
                                           r"takes 3\.00 mm .*, or \[board\] fall_away drop [\d.]+ mm or less"):
        dotted_job(tmp_path, ("thickness = 6.5", "thickness = 4.5"), ("{ drop = 0.5,", "{ drop = 3.0,"))


def test_a_pocket_that_the_fall_away_leaves_no_wood_is_told_of_it(tmp_path):
    with pytest.raises(PathgenError, match=r"the pocket .* where the fall-away takes 2.19 mm .*\[board\] fall_away"):
        clamping_of(dotted_job(tmp_path, ("{ drop = 0.5,", "{ drop = 3.0,"), ("depth = 1.3", "depth = 3.8"),
                               ("depth = 2.0", "depth = 0.5")))
