"""The second cut: it repeats the first, leaves fills flush, takes no wood, and costs what the table says when off.

Judged by the tests' own reader and their own densely sampled ball, on cross sections.
"""

import re

import numpy as np
import pytest
import shapely
from shapely import affinity

from pathgen.base.errors import JobError
from pathgen.base.toolpath import Move
from pathgen.job import load_job
from pathgen.job.clamping import clamping_of
from pathgen.programs.around import Around
from pathgen.programs.paths import path_of
from pathgen.report import fill_findings
from pathgen.work import fill, operations
from pathgen.work.fill import DAM, resin_above
from pathgen.work.operations import CutAgain
from tests import random_jobs
from tests.small_board import built, cutter, job, left_by_ball, moves, svg, text_of

R_NUT, R_END, LENGTH = 254.0, 300.0, 300.0 * (1 - 2 ** (-5 / 12)) + 10.0
BALL, LIMIT = 6.35, 0.05
FINE = {"scallop = 0.05": "scallop = 0.02"}

V_60 = cutter(name="v", shape="v", diameter=6.0, angle=60.0, speed=16000, feed=1200.0, plunge=400.0, stepdown=1.0)


def surface(x, y):
    """Height of the small board's cone (CHECKS: drop of a circular arc, radius linear in x)."""
    radius = R_NUT + (R_END - R_NUT) * x / LENGTH
    return 6.5 + np.sqrt(radius**2 - y**2) - radius


def half_width(x):
    return 20.0 + 3.0 * x / LENGTH


def lines_of(text):
    return [line for line in text.splitlines() if not line.startswith("(")]


def leaf(rng):
    """A random smooth closed curve as an SVG path, on a page of 40 by 30 mm."""
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    size = 5.0 + sum(rng.uniform(-0.8, 0.8) * np.cos(k * turn + rng.uniform(0, 6)) for k in (1, 2, 3))
    x, y = rng.uniform(10, 30) + size * np.cos(turn), rng.uniform(10, 20) + size * np.sin(turn)
    path = "M" + " L".join(f"{a:.4f},{b:.4f}" for a, b in zip(x, y, strict=True)) + " Z"
    return path, shapely.Polygon(np.column_stack([x, y]))


def drawing(rng):
    path, shape = leaf(rng)
    art = svg(f'<path d="{path}" fill="#225577"/>')
    # the page's centre, with y turned up, goes to X 45, Y 0
    return art, affinity.affine_transform(shape, [1, 0, 0, -1, 45.0 - 20.0, 15.0])


def test_the_last_pass_is_the_first_again_line_for_line(tmp_path):
    result = built(tmp_path)
    first, again = (lines_of(text_of(result, name)) for name in ("surface-finish", "resurface"))
    # the last run of the first cut: from its last move down to its last move up
    down = max(i for i, line in enumerate(first) if line.startswith("G1") and "Z" in line and "X" not in line)
    up = max(i for i, line in enumerate(first) if line.startswith("G0"))
    run = first[down + 1 : up]
    assert len(run) > 30
    end = max(i for i, line in enumerate(again) if line.startswith("G0"))
    assert again[end - len(run) : end] == run
    assert result.report["inlays"][0]["second_cut"]["repeats_first_pass"]
    said = result.files(shaded=False)["report.txt"]  # whether another ball was run as program 1 nobody can know here
    assert re.search(r"its last pass is that of program 1 again, coordinate for coordinate\. It takes [\d.]+ ml of "
                     "fill and, where program 1 was run as it is here, no wood of the board", said)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("area", ["board", "inlay"])
def test_random_pockets_overfills_and_smears_end_flush(tmp_path, seed, area):
    rng = np.random.default_rng(seed)
    art, shape = drawing(rng)
    overfill, blend = rng.uniform(0.2, 1.4), 4.0
    changes = {"overfill = 0.7": f"overfill = {overfill:.2f}"}
    again = f'[resurface]\narea = "{area}"\nblend = {blend}\nstepdown = {rng.uniform(0.2, 0.6):.2f}\n'
    result = built(tmp_path, changes=changes, extra=again, art=art, resolution=0.2)
    assert result.passed
    smear = shape.buffer(blend).intersection(shape.buffer(rng.uniform(1.0, blend)))
    x0, _, x1, _ = smear.bounds
    for x in rng.uniform(x0, x1, 3):
        ys = np.arange(-half_width(x) + 0.01, half_width(x), 0.01)
        first = left_by_ball(text_of(result, "surface-finish"), x, ys, radius=BALL)
        cut = left_by_ball(text_of(result, "resurface"), x, ys, radius=BALL)
        # any fill within the smear, however high, is cut down to the surface and its ridges
        wet = shapely.contains_xy(smear, x, ys)
        assert wet.any()
        assert np.all(cut[wet] <= surface(x, ys[wet]) + LIMIT + 0.0007)
        # no wood is lost: nowhere does the second cut go below what the first has left
        assert np.all(cut >= first - 0.0003)
        assert np.all(cut >= surface(x, ys) - 0.002)


@pytest.mark.parametrize("dam", [DAM, 9.0])
def test_a_cut_over_an_inlay_alone_takes_all_that_its_dam_holds(tmp_path, dam):
    apart = svg('<path fill="#225577" d="M2,2h4v16h-4zM22,2h4v16h-4z"/>', 40, 20)
    result = built(tmp_path, art=apart, extra='[resurface]\narea = "inlay"\nblend = 3.0\n', changes={
        "mix_by": f"dam = {dam}\nmix_by"})
    assert result.passed
    # inside a taut thread round both bars, `dam` outside them, and midway between them
    inside = shapely.box(27.0, -8.0, 51.0, 8.0).buffer(dam)
    ys = np.arange(-19.9, 19.9, 0.01)
    wet = ys[shapely.contains_xy(inside, 39.0, ys)]
    cut = left_by_ball(text_of(result, "resurface"), 39.0, wet, radius=BALL)
    assert np.all(cut <= surface(39.0, wet) + LIMIT + 0.0007)
    said = result.report["inlays"][0]["second_cut"]
    amounts = result.report["inlays"][0]["amounts"]
    assert said["fill_volume"] == pytest.approx(sum(a["overfill_volume"] for a in amounts), rel=1e-3)


def test_resin_in_the_waste_beside_the_board_is_said_and_scraped_off(tmp_path, monkeypatch):
    across = svg('<rect width="10" height="38" fill="#225577"/>', 10, 38)
    result = built(tmp_path, art=across, extra='[resurface]\narea = "inlay"\n', changes={"mix_by": "dam = 5\nmix_by"})
    assert result.passed
    (note,) = [f for f in result.report["checks"]["findings"] if f["code"] == "dam-past-the-cut"]
    assert "of waste, more than 1 mm outside the board's edge" in note["got"]
    (again,) = [s for s in result.plan.clamping.steps if s.operation.levels]
    (scrape,) = again.operation.afterwards(result.plan.clamping)
    assert "more than 1 mm outside the board's edge still stands: scrape it off" in scrape
    inlay = result.report["inlays"][0]
    assert inlay["second_cut"]["fill_volume"] < sum(a["overfill_volume"] for a in inlay["amounts"]) - 10.0
    # a square millimetre is worth a word, less is not
    for area, told in ((0.99, False), (1.01, True)):
        for module in (operations, fill_findings, fill):
            monkeypatch.setattr(module, "left_by_edge", lambda *_, area=area: shapely.box(45, 18, 45 + area, 19))
        (poured,), board = result.plan.clamping.inlays, result.plan.clamping.board
        assert bool(again.operation.afterwards(result.plan.clamping)) == told
        assert bool(list(fill_findings._dam_notes(result.plan, poured))) == told
        assert (fill.resin_left(poured, board.surface, board.outline) > 0) == told


def test_a_skim_takes_what_it_says(tmp_path):
    result = built(tmp_path, extra="[resurface]\nskim = 0.2\n")
    assert result.passed
    ys = np.arange(-19.9, 19.9, 0.01)
    cut = left_by_ball(text_of(result, "resurface"), 40.0, ys, radius=BALL)
    assert (cut - surface(40.0, ys)).min() == pytest.approx(-0.2, abs=0.002)
    assert (cut - surface(40.0, ys)).max() <= -0.2 + LIMIT + 0.0007
    said = result.report["inlays"][0]["second_cut"]
    board, pocket = result.plan.clamping.board.outline.area, result.verification.pockets[0].area
    assert said["wood_volume"] == pytest.approx(0.2 * (board - pocket), abs=0.1)
    dams = resin_above(result.plan.clamping.inlays[0], result.plan.clamping.board.surface, DAM)
    assert said["fill_volume"] == pytest.approx(sum(dams.values()) + 0.2 * pocket, rel=1e-3)
    assert said["depth_left"][1] == pytest.approx(1.3, abs=1e-3)
    assert not said["repeats_first_pass"]


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("direction", "shift"), [
    ("along", (0.1, 0.0, 0.0)), ("across", (0.0, 0.1, 0.0)), ("up", (0.0, 0.0, 0.1)),
])
def test_a_shift_in_simulation_costs_what_the_table_says(tmp_path, direction, shift):
    result = built(tmp_path, changes=FINE)
    rows = {r["direction"]: r for r in result.report["shift_errors"]["rows"]}
    text, lows, highs = text_of(result, "resurface"), [], []
    for sign in (-1, 1):
        for x in (0.5, LENGTH - 0.5):
            for side in (-1, 1):
                edge = side * half_width(x)
                ys = np.sort(edge - side * np.arange(0.0, 2.4, 0.01))
                # the work moved one way is the cut moved the other
                cut = left_by_ball(text, x, ys, radius=BALL, shift=-sign * np.array(shift))
                still = left_by_ball(text, x, ys, radius=BALL)
                # the hollows of the passes lie on the surface that was cut
                off, none = (np.min(h - surface(x, ys)) for h in (cut, still))
                lows.append(off - none)
                highs.append(off - none)
    # measured up to a stepover inside the edge, where the slope is a little less
    assert min(lows) == pytest.approx(rows[direction]["low"], rel=0.15, abs=0.0005)
    assert max(highs) == pytest.approx(rows[direction]["high"], rel=0.15, abs=0.0005)


def test_pieces_are_glued_levelled_and_cut_again(tmp_path):
    result = built(tmp_path, changes={"overfill = 0.7": 'overfill = 0.7\nfill = "piece"'})
    assert result.passed
    inlay = result.report["inlays"][0]
    assert inlay["piece_thickness"] == pytest.approx(2.2)
    assert inlay["amounts"] == []
    pocket, again = text_of(result, "pocket"), text_of(result, "resurface")
    assert "glue" in pocket
    assert "glue" in again
    assert "cured" not in again.lower()


REFUSED = {
    "skim through an inlay": ({}, "[resurface]\nskim = 1.5\n", r"1\.5 mm lower.*breaks through.*1\.5 mm"),
    "a step round the inlays": ({}, '[resurface]\nskim = 0.1\narea = "inlay"\n', r"0\.1 mm over the inlays only"),
    "a colour not in the drawing": (
        {"depth = 1.5": 'depth = 1.5\ncolours = ["#010203"]'}, "", r"#010203 is not in art\.svg.*#225577",
    ),
    "a mix of nothing": ({"hardener = 45": "hardener = 0"}, "", r"hardener 0: 0 of hardener mixes nothing"),
    "a mix of one": ({"resin = 100, hardener = 45": "resin = 100"}, "", r"2 to 6 parts"),
    "parts by mass without a density": ({"density = 1.12\n": ""}, "", r"without a density"),
    "a wall that leaves nothing": (  # of 4 mm beside 20, each of which gives way by half of it
        {"depth = 1.5": "depth = 1.5\nwall = 9.9"}, "",
        r"9\.9 mm of wood leaves nothing of #cc8833 \(allowed: 7\.98 mm or"),
}


@pytest.mark.parametrize("name", list(REFUSED))
def test_bad_fills_are_refused_with_the_numbers(tmp_path, name):
    changes, extra, words = REFUSED[name]
    art = None
    if name == "a wall that leaves nothing":
        art = svg('<rect x="5" y="5" width="20" height="15" fill="#225577"/>'
                  '<rect x="25" y="5" width="4" height="15" fill="#cc8833"/>')
    with pytest.raises(JobError, match=words):
        clamping_of(load_job(job(tmp_path, changes=changes, extra=extra, **({"art": art} if art else {}))))


def test_a_part_cut_that_strays_from_the_first_is_found(tmp_path):
    from pathgen.verify import verify

    result = built(tmp_path, extra='[resurface]\narea = "inlay"\n')
    texts = {p.file_name: p.text for p in result.programs}
    name = next(p.file_name for p in result.programs if p.operation == "resurface")
    start, _, _ = moves(texts[name])
    lowest = f"Z{start[:, 2].min():g}"
    assert lowest in texts[name]
    spoilt = texts[name].replace(lowest, f"Z{start[:, 2].min() - 0.01:.4f}")
    found = verify(result.plan.clamping, {**texts, name: spoilt}, resolution=0.2).findings
    assert "resurface-differs" in {f.code for f in found}


def test_waste_beside_a_narrow_board_is_no_loss_of_wood(tmp_path):
    """The fill's surroundings reach past the edge of the board, where the second cut may take more of the blank."""
    result = built(tmp_path, art=svg('<rect x="10" y="0.2" width="12" height="35.6" fill="#225577"/>', 40, 36))
    assert result.passed, [str(f) for f in result.verification.findings]
    assert result.verification.simulation.poured[0].lost < 5e-4


def _again(folder, **changed):
    """Second cuts of a job, planned alone: of each the tips of its feed moves, and how high over the surface a ball
    there is, from the last finishing pass of all."""
    clamping = clamping_of(load_job(job(folder, **changed)))
    around = Around(clamping=clamping)
    for step in clamping.steps:
        if isinstance(step.operation, CutAgain):
            path = path_of(step, around)
            tips = path.points[path.kinds == Move.CUT]
            yield tips, tips[:, 2] - clamping.finished_surface.tip_height(step.cutter, tips[:, 0], tips[:, 1])


STAGES = """
[[inlay]]
artwork = "art.svg"
colours = ["#cc8833"]
depth = 1.5
cutters = ["flat"]
overfill = 1.4
place = { at = [45.0, 0.0] }
"""


@pytest.mark.parametrize(("skim", "blend", "dam", "round_it"), [(0.0, 6.0, 2.0, 6.0), (0.0, 0.5, 2.0, 3.0),
                                                             (0.3, 4.0, 7.0, 7.0)])
def test_above_the_last_pass_the_second_cut_keeps_to_where_fill_may_stand(tmp_path, skim, blend, dam, round_it):
    """Layers over the whole board were a third to a half of its time, in air."""
    cuts = list(_again(tmp_path, extra=f"{STAGES}[resurface]\nskim = {skim}\nblend = {blend}\n", changes={
        "mix_by": f"dam = {dam}\nmix_by", 'artwork = "art.svg"': 'artwork = "art.svg"\ncolours = ["#225577"]'}))
    drawn = ((29.0, 45.0), (49.0, 61.0))  # along the board
    for nth, ((tips, over), (low, high)) in enumerate(zip(cuts, drawn, strict=True)):
        layers = tips[over > (skim + 0.05 if nth == 0 else 0.01)]
        assert len(layers) > 20
        assert low - round_it - 0.01 <= layers[:, 0].min() < low - round_it + 1.0
        assert high + round_it - 1.0 < layers[:, 0].max() <= high + round_it + 0.01
        last = tips[np.abs(over) < 0.01]
        # one that takes no skim off keeps to its fill, where a later one goes over the whole board
        over_all = nth == 1 or skim > 0
        assert (np.ptp(last[:, 0]) == pytest.approx(LENGTH + 0.4, abs=0.1)) == over_all
        assert over_all or np.ptp(last[:, 0]) < high - low + 2 * round_it + 0.01


# What the first cut leaves


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("stages", ["", STAGES])
def test_no_pass_takes_more_than_the_stepdown_of_what_the_first_cut_left_nor_of_its_ridges(tmp_path, stages):
    """The height of the ridges was added to the stepdown; at the corners one pass took all that the wide ones left.

    By the tests' own simulation of all programs.
    """
    changes = {"scallop = 0.05": 'scallop = 0.05\nrough = "flat"\nallowance = 0.8\nleave = 0.9\nleave_scallop = 0.45',
               "thickness = 8.0": "thickness = 8.4", "diameter = 12.7": "diameter = 6.0"}
    changes |= {'artwork = "art.svg"': 'artwork = "art.svg"\ncolours = ["#225577"]'} if stages else {}
    result = built(tmp_path, changes=changes, extra=f"{stages}[resurface]\nstepdown = 0.4\n", resolution=0.3)
    assert result.passed, [str(f) for f in result.verification.findings]
    assert random_jobs.cut_again(result, cell=0.3) == []


def test_each_layer_through_the_wood_goes_as_far_out_as_the_last_pass(tmp_path):
    """Wide passes end further in: at the corners the last pass took what several layers had left."""
    changes = {"scallop = 0.05": 'scallop = 0.05\nrough = "flat"\nallowance = 0.8\nleave = 0.9',
               "thickness = 8.0": "thickness = 8.4"}
    ((tips, over),) = _again(tmp_path, changes=changes, extra="[resurface]\nstepdown = 0.4\n")
    ends = shapely.points(tips[np.abs(over) < 0.002, :2])
    heights = [h for h in np.unique(np.round(over, 2)) if 0.05 < h < 1.1]
    assert len(heights) >= 3
    for height in heights:
        layer = shapely.MultiPoint(tips[np.abs(over - height) < 0.006, :2]).convex_hull
        assert shapely.distance(layer, ends).max() < 0.05


def test_the_layers_through_what_the_first_cut_leaves_are_counted_too(tmp_path):
    changes = {"scallop = 0.05": "scallop = 0.05\nleave = 1.0", "overfill = 0.7": "overfill = 0.4"}
    words = r"\[resurface\] stepdown.*75 layers.*what the first cut leaves, 1\.5 mm.*0\.05 mm or"
    with pytest.raises(JobError, match=words):
        load_job(job(tmp_path, changes=changes, extra="[resurface]\nstepdown = 0.025\n"))


LEAVE = {"scallop = 0.05": "scallop = 0.05\nleave = 0.3"}


def test_what_is_left_is_taken_by_the_last_cut(tmp_path):
    result = built(tmp_path, changes=LEAVE)
    assert result.report["checks"]["passed"]
    ys = np.arange(-19.5, 19.5, 0.05)
    for x in (20.0, 75.0):
        first = left_by_ball(text_of(result, "surface-finish"), x, ys, radius=BALL) - surface(x, ys)
        last = left_by_ball(text_of(result, "resurface"), x, ys, radius=BALL) - surface(x, ys)
        # coarse: half of what is left may stand as ridges (the stated default)
        assert first.min() == pytest.approx(0.3, abs=0.003)
        assert 0.35 < first.max() <= 0.45 + 0.003
        assert last.min() == pytest.approx(0.0, abs=0.003)
        assert last.max() <= LIMIT + 0.003
    # pockets get their depth from the finished surface: the lowest tip of a flat end in the middle of the board
    _, end, rapid = moves(text_of(result, "pocket"))
    low = end[~rapid]
    assert (low[:, 2] - surface(low[:, 0], np.abs(low[:, 1]))).min() == pytest.approx(-1.5, abs=0.08)
    assert result.report["inlays"][0]["depth"] == 1.5


@pytest.mark.in_every_run(0)
def test_an_early_stage_is_levelled_over_its_inlay_and_the_last_cut_takes_all(tmp_path):
    second = STAGES.replace("overfill = 1.4", "overfill = 0.7")
    changes = {**LEAVE, 'artwork = "art.svg"': 'artwork = "art.svg"\ncolours = ["#225577"]'}
    result = built(tmp_path, changes=changes, extra=second)
    assert result.report["checks"]["passed"]
    texts = [text_of(result, "resurface", nth) for nth in (0, 1)]
    spans = [np.ptp(moves(text)[1][~moves(text)[2]][:, 0]) for text in texts]
    assert spans[0] < 35.0 < 80.0 < spans[1]
    # the stage that comes first stays as proud as the first cut left the board
    x = 45.0 - 20.0 + 12.0
    ys = np.arange(-7.0, 7.0, 0.05)
    assert left_by_ball(texts[0], x, ys, radius=BALL).min() == pytest.approx(surface(x, ys).min() + 0.3, abs=0.06)


@pytest.mark.parametrize(("changes", "words"), [
    ({"scallop = 0.05": "scallop = 0.05\nleave = 1.6"}, "1.5 mm or less"),
    ({"scallop = 0.05": "scallop = 0.05\nleave = 0.1\nleave_scallop = 0.2"}, "no more than leave"),
    ({**LEAVE, "[resin]": "[resurface]\nskim = 0.1\n[resin]"}, "keep one of them"),
    ({**LEAVE, "overfill = 0.7": 'fill = "none"'}, "no cut over a fill"),
    ({**LEAVE, 'shape = "flat-end"': 'shape = "v"\nangle = 60'}, "flat-end cutters for every inlay"),
])
def test_what_cannot_be_left_is_refused(tmp_path, changes, words):
    with pytest.raises(JobError) as error:
        load_job(job(tmp_path, changes=changes))
    assert words in str(error.value)


@pytest.mark.in_every_run(0)
def test_a_v_after_a_skim_opens_as_much_less_as_its_walls_slope(tmp_path):
    """The skim after the first fill lowers the wood before the second inlay is opened (found by a random board)."""
    (tmp_path / "star.svg").write_text(
        svg('<polygon points="19,10 13,12 10,19 7,12 1,10 7,8 10,1 13,8" fill="#225577"/>', 20, 20))
    second = '\n[[inlay]]\nartwork = "star.svg"\ndepth = 1.5\ncutters = ["v"]\noverfill = 0.7\n'
    second += "place = { at = [66.0, 0.0] }\n"
    v = V_60 + second + '[resurface]\nskim = 0.1\narea = "board"\n'
    result = built(tmp_path, changes={"at = [45.0, 0.0]": "at = [28.0, 0.0]"}, extra=v)
    assert result.passed, [str(f) for f in result.verification.findings]
    told = [f["got"] for f in result.report["checks"]["findings"] if f["where"] == "[[inlay]] 2"]
    further_in = 0.1 * np.tan(np.radians(30.0))
    assert any(f"{further_in:.3f} mm further in" in words for words in told)


@pytest.mark.in_every_run(0)
def test_ridges_of_a_floor_stay_below_a_skim_that_leaves_little_of_its_pocket(tmp_path):
    """A tenth of a millimetre is left of the second: ridges as high would stand in it up to the surface."""
    (tmp_path / "square.svg").write_text(svg('<rect width="9" height="9" fill="#225577"/>', 9, 9))
    second = '\n[[inlay]]\nartwork = "square.svg"\ndepth = 0.3\ncutters = ["v"]\noverfill = 0.7\n'
    second += "place = { at = [66.0, 0.0] }\n[resurface]\nskim = 0.2\n"
    result = built(tmp_path, changes={"at = [45.0, 0.0]": "at = [28.0, 0.0]"},
                   extra=V_60.replace("60.0", "90.0") + second)
    assert result.passed, [str(f) for f in result.verification.findings]


def test_after_a_skim_a_narrower_ball_need_not_open_what_a_wider_one_had_opened_to_the_edge(tmp_path):
    (tmp_path / "dot.svg").write_text(svg('<path d="M15 1v14H8a7 7 0 0 1 0 -14z" fill="#225577"/>', 16, 16))
    balls = "".join(cutter(name=f"ball {d}", shape="ball-end", diameter=d, speed=16000, feed=400.0, plunge=120.0,
                           stepdown=0.45 * d) for d in (3.0, 1.0))
    second = '\n[[inlay]]\nartwork = "dot.svg"\ndepth = 1.0\ncutters = ["ball 3.0", "ball 1.0"]\noverfill = 0.7\n'
    second += "place = { at = [66.0, 0.0] }\n"
    result = built(tmp_path, changes={"at = [45.0, 0.0]": "at = [28.0, 0.0]"},
                   extra=balls + second + "[resurface]\nskim = 0.1\n")
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(0)
def test_its_layers_are_no_thicker_than_its_cutter_takes(tmp_path):
    """Those of [resurface] are 0.5 mm where nothing is said: a build with a finer ball was refused by its own check."""
    result = built(tmp_path, resolution=0.2, changes={
        "stepdown = 3.0": "stepdown = 0.4", "overfill = 0.7": "overfill = 1.4",
        'finish = "ball"': 'finish = "ball"\nrough = "flat"\nallowance = 0.2'})
    assert result.passed, [str(f) for f in result.verification.findings]


def test_what_stands_over_a_surface_left_proud_is_cut_in_steps_down_to_the_last(tmp_path):
    """The last cut takes what the first left as well: over the fill that is more than over the wood."""
    result = built(tmp_path, extra='[resurface]\narea = "inlay"\nstepdown = 0.5\nblend = 5.0\n', changes={
        "scallop = 0.05": "scallop = 0.05\nleave = 0.2", "overfill = 0.7": "overfill = 0.9",
        "diameter = 12.7": "diameter = 6.35"})
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("leave", "stepdown"), [(0.5, 0.5), (0.8, 0.5), (0.5, 0.3)])
def test_as_much_left_as_one_step_down_or_more_is_cut_in_steps_too(tmp_path, leave, stepdown):
    """The last cut begins above the wide passes' ridges in the fill, which stand higher than those of the wood."""
    result = built(tmp_path, resolution=0.2, changes={"scallop = 0.05": f"scallop = 0.05\nleave = {leave}"},
                   extra=f"[resurface]\nstepdown = {stepdown}\n")
    assert result.passed, [str(f) for f in result.verification.findings]


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("ridge", [0.5, 1.0])
def test_over_an_inlay_it_goes_clear_of_ridges_steeper_than_its_way_down(tmp_path, ridge):
    """And of such as stand higher than the fill: it is refused where it takes of them."""
    result = built(tmp_path, extra='[resurface]\narea = "inlay"\n', changes={
        "diameter = 12.7": "diameter = 3.17", "stepdown = 3.0": "stepdown = 1.5",
        "scallop = 0.05": f"scallop = {ridge}"})
    assert result.passed, [str(f) for f in result.verification.findings]
