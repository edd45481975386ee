"""The main job, end to end, on a board that the examples do not have: judged by a simulator of the tests' own.

The simulator reads the programs with a few lines of its own and removes material along densely sampled moves; it
shares nothing with pathgen's reader, verifier or planner.
"""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.app.cli import main
from pathgen.removal import material as removal
from tests import small_board
from tests.as_made import hold
from tests.small_board import left_by_ball, moves

EXAMPLES = Path(__file__).parents[2] / "examples"
R_NUT, R_END, SCALE, FRETS, LIMIT, BALL = 228.6, 381.0, 635.0, 21, 0.012, 5.0
LENGTH = SCALE * (1 - 2 ** (-FRETS / 12)) + 10.0

MOTH = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 600 400">
<style>.wing { fill: #aa3311 } .tail { fill: #2255cc }</style>
<g transform="translate(300 200)">
<path class="wing" d="M10,-10 C60,-120 180,-170 240,-150 C260,-90 160,-40 10,-10 Z"/>
<path class="wing" d="M10,10 C60,120 180,170 240,150 C260,90 160,40 10,10 Z"/>
<path class="tail" d="M-20,-12 C-60,-90 -180,-120 -220,-90 C-200,-30 -120,-15 -20,-12Z"/>
<circle class="tail" cx="-100" cy="70" r="40"/></g></svg>"""


def job_text(**changes):
    text = (EXAMPLES / "fern-and-moth.toml").read_text()
    text = re.sub(r"keep_out = \[.*?\n\]", "", text, flags=re.S)
    text = re.sub(r"leave = .*", "", text)  # here the second cut is the first again
    for old, new in {
        "640.0": str(SCALE), "frets = 20": f"frets = {FRETS}", "254.0": str(R_NUT), "355.6": str(R_END),
        "diameter = 12.7": f"diameter = {2 * BALL}", "scallop = 0.01\n": f"scallop = {LIMIT}\n",
        "fern-and-moth.svg": "moth.svg", "#2f6f4f": "#aa3311", "#c8962e": "#2255cc",
        "at = [232.0, 0.0]": "at = [150.0, 0.0]", **changes,
    }.items():
        assert old in text
        text = text.replace(old, new)
    return text


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("moth")
    (folder / "moth.svg").write_text(MOTH)
    (folder / "job.toml").write_text(job_text())
    result = pathgen.build(pathgen.load_job(folder / "job.toml"))
    result.write(folder / "out")
    return folder, result


def written(built, operation, nth=0):
    """The text of a program on disk."""
    folder, result = built
    names = [p.file_name for p in result.programs if p.operation == operation]
    return (folder / "out" / names[nth]).read_text()


def program(built, operation, nth=0):
    return moves(written(built, operation, nth))


def height(x, y):
    radius = R_NUT + (R_END - R_NUT) * x / LENGTH
    return 6.5 + np.sqrt(radius**2 - y**2) - radius


def half_width(x):
    return 22.0 + 6.5 * x / LENGTH


def dense(start, end, spacing):
    count = np.maximum(2, np.ceil(np.linalg.norm(end - start, axis=1) / spacing)).astype(int)
    rows = zip(start, end, count, strict=True)
    return np.concatenate([a + np.linspace(0, 1, n)[:, None] * (b - a) for a, b, n in rows])


def test_it_is_as_made(built):
    hold("main job", built[1], pages=True)


def test_pictures_of_a_whole_board_add_no_more_than_500_kb_to_its_page(built):
    with_them, without = (len(built[1].files(shaded=shaded)["setup.html"].encode()) for shaded in (True, False))
    assert 200_000 < with_them - without < 500_000


def test_ridges_lie_just_below_the_limit_and_nothing_too_deep(built):
    text = written(built, "surface-finish")
    for x in (1.0, 120.0, 301.3, LENGTH - 1.0):
        ys = np.arange(-half_width(x) + 0.002, half_width(x), 0.005)
        over = left_by_ball(text, x, ys, radius=BALL) - height(x, ys)
        assert 0.9 * LIMIT < over.max() < LIMIT + 0.0007
        assert over.min() > -0.002


def test_finishing_length(built):
    start, end, rapid = program(built, "surface-finish")
    length = np.linalg.norm(end - start, axis=1)[~rapid].sum()
    area = (2 * 22.0 + 2 * 28.5) / 2 * LENGTH
    assert length <= 1.05 * area / float(pathgen.stepover_for(LIMIT, BALL))


def test_the_second_cut_repeats_the_first_and_takes_no_wood(built):
    first_start, first_end, rapid = program(built, "surface-finish")
    first = np.hstack([first_start, first_end])[~rapid][1:]
    lowest_first = {tuple(row) for row in first.round(4)}
    for nth in (0, 1):
        start, end, rapid = program(built, "resurface", nth)
        cuts = np.hstack([start, end])[~rapid]
        if nth == 0:  # over its own inlay alone: the last cut goes over all of it again
            assert np.ptp(cuts[:, 3]) < np.ptp(first[:, 3]) - 10.0
            assert (cuts[:, 5] - _ball_height(cuts[:, 3], cuts[:, 4])).min() > -2e-4
            continue
        assert np.array_equal(cuts[-len(first):], first)
        assert {tuple(row) for row in cuts[-len(first):].round(4)} == lowest_first
        # every other move lies above the surface by what the layers leave standing
        others = cuts[: -len(first) - 1, 3:]
        assert (others[:, 2] - _ball_height(others[:, 0], others[:, 1])).min() > 0.1


def _ball_height(x, y):
    """Tip height on a cone to 1 um, by the local radius (enough for radii this large)."""
    radius = R_NUT + (R_END - R_NUT) * x / LENGTH
    return 6.5 + np.sqrt((radius + BALL) ** 2 - y**2) - radius - BALL


def test_slots_are_on_their_lines_and_at_their_depth(built):
    start, end, rapid = program(built, "slots")
    points = np.unique(end[~rapid].round(6), axis=0)
    inside = points[np.abs(points[:, 1]) < half_width(points[:, 0])]
    exact = SCALE * (1 - 2 ** (-np.arange(1, FRETS + 1) / 12))
    assert np.abs(inside[:, :1] - exact).min(axis=1).max() <= 0.0011
    a, b = start[~rapid], end[~rapid]
    for x in exact[[0, 9, 20]]:
        on_line = (np.abs(a[:, 0] - x) < 0.01) & (np.abs(b[:, 0] - x) < 0.01)
        path = dense(a[on_line], b[on_line], 0.01)
        for y in np.linspace(-half_width(x) + 0.01, half_width(x) - 0.01, 9):
            bottom = path[np.abs(path[:, 1] - y) <= 0.29, 2].min()
            assert height(x, y) - bottom == pytest.approx(2.6, abs=0.004)


def _drawn(colour_shapes):
    """The moth's shapes on the board, flattened by hand from the drawing's own numbers."""
    out = []
    for shape in colour_shapes:
        if len(shape) == 3:
            out.append(shapely.Point(shape[0], shape[1]).buffer(shape[2], quad_segs=256))
            continue
        points, t = [], np.linspace(0, 1, 400)[:, None]
        for p in shape:
            p = np.array(p, dtype=float)
            points.append((1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3])
        out.append(shapely.Polygon(np.concatenate(points)))
    # drawing units are tenths of a mm with y down; the page's centre goes to X 150, Y 0
    return shapely.affinity.affine_transform(shapely.union_all(out), [0.1, 0, 0, -0.1, 150.0, 0.0])


WING = [[(10, -10), (60, -120), (180, -170), (240, -150)], [(240, -150), (260, -90), (160, -40), (10, -10)]]
WINGS = [WING, [[(x, -y) for x, y in piece] for piece in WING]]
TAILS = [[[(-20, -12), (-60, -90), (-180, -120), (-220, -90)], [(-220, -90), (-200, -30), (-120, -15), (-20, -12)]],
         (-100, 70, 40)]


@pytest.mark.parametrize(("inlay", "shapes"), [(0, WINGS), (1, TAILS)])
def test_pockets_open_the_drawing_and_nothing_else(built, inlay, shapes):
    region, opened = _drawn(shapes), []
    for nth, radius in ((2 * inlay, 1.5), (2 * inlay + 1, 0.5)):
        start, end, rapid = program(built, "pocket", nth)
        low = ~rapid & (np.minimum(start[:, 2], end[:, 2]) < height(end[:, 0], end[:, 1]) - 0.05)
        lines = shapely.linestrings(np.unique(np.stack([start[low, :2], end[low, :2]], axis=1), axis=0))
        opened.append(shapely.union_all(shapely.buffer(lines, radius, quad_segs=64)))
        # flat ends, never deeper than asked under any part of the cutter
        points = dense(start[low], end[low], 0.05)
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None]
        under = height(points[:, 0] + radius * np.cos(turn), points[:, 1] + radius * np.sin(turn)).max(axis=0)
        assert (under - points[:, 2]).max() < 1.6 + 0.002
    opened = shapely.union_all(opened)
    reachable = region.buffer(-0.5, quad_segs=64).buffer(0.5, quad_segs=64)
    assert opened.difference(region).area < 0.02
    assert reachable.difference(opened).area < 0.001 * reachable.area


def test_no_rapid_goes_below_the_standing_wood(built):
    folder, result = built
    for p in result.programs:
        start, end, rapid = moves((folder / "out" / p.file_name).read_text())
        low = rapid & (np.minimum(start[:, 2], end[:, 2]) < 6.5)
        sideways = np.hypot(*(end - start)[:, :2].T) > 1e-6
        # only straight up out of a cut, or straight down to where the cutter has cut or nothing stands
        assert not (low & sideways & (np.minimum(start[:, 2], end[:, 2]) < height(end[:, 0], end[:, 1]))).any()


def test_the_report_says_what_was_measured(built):
    folder, _ = built
    report = json.loads((folder / "out" / "report.json").read_text())
    assert report["units"] == "mm"
    assert report["checks"]["passed"]
    assert not [f for f in report["checks"]["findings"] if f["severity"] == "forbid"]
    assert 0.9 * LIMIT < report["surface"]["scallop_measured"] <= LIMIT + 0.0001
    assert -0.001 < report["checks"]["surface_low"] < 0 < report["checks"]["surface_high"] <= LIMIT + 0.0001
    assert [p["operation"] for p in report["programs"]] == [
        "surface-rough", "surface-finish", "pocket", "pocket", "resurface", "pocket", "pocket", "resurface", "slots",
        "outline",
    ]
    for inlay, shapes in zip(report["inlays"], (WINGS, TAILS), strict=True):
        region = _drawn(shapes)
        assert inlay["area"] == pytest.approx(region.area, rel=0.005)
        opened = region.buffer(-0.5, quad_segs=64).buffer(0.5, quad_segs=64).area
        assert inlay["reachable_area"] == pytest.approx(opened, rel=0.01)
        assert inlay["pocket_volume"] == pytest.approx(1.6 * opened, rel=0.04)
        assert inlay["fill_volume"] == pytest.approx((1.6 + 0.8) * opened, rel=0.04)
    assert report["frets"][11]["distance"] == pytest.approx(SCALE / 2, abs=1e-5)
    for p in report["programs"]:
        start, end, _ = moves((folder / "out" / p["file"]).read_text())
        assert p["z_min"] == pytest.approx(min(start[:, 2].min(), end[:, 2].min()), abs=1e-4)


# what can go wrong on the way, at the command line


@pytest.fixture
def job(tmp_path):
    def write(**changes):
        (tmp_path / "moth.svg").write_text(MOTH)
        (tmp_path / "job.toml").write_text(job_text(**changes))
        return str(tmp_path / "job.toml")

    return write


REFUSED = {
    "artwork off the board": ({"at = [150.0, 0.0]": "at = [150.0, 12.0]"}, "off the board"),
    "a colour that is not there": ({"#2255cc": "#00ff00"}, "is not in moth.svg"),
    "too little wood under a pocket": ({"depth = 1.6": "depth = 3.9", "min_web = 1.5": "min_web = 2.5"}, "min_web 2.5"),
    "a cutter too short for its pocket": ({"flute_length = 4.0": "flute_length = 1.2"}, "flute"),
    "travel too short": ({"[600.0, 400.0, 80.0]": "[460.0, 400.0, 80.0]"}, "travel 460"),
    "a clamp in the way": (
        {'along = "x"': 'along = "x"\nkeep_out = [ { along = [-3.0, 3.0], across = [20.0, 30.0], height = 20.0 } ]'},
        "keep_out 1",
    ),
    "a drawing that is not there": ({"moth.svg": "noth.svg"}, "is not there"),
    "a flat finishing cutter": ({'finish = "ball 12"': 'finish = "flat 6"'}, "ball-end"),
}


@pytest.mark.parametrize("name", list(REFUSED))
def test_bad_input_is_refused_whole(name, job, tmp_path, capsys):
    changes, words = REFUSED[name]
    status = main(["build", job(**changes), "--out", str(tmp_path / "out")])
    message = capsys.readouterr().err
    assert status == 2
    assert words in message
    assert all(line.startswith("pathgen: ") and words in line for line in message.splitlines())
    assert not (tmp_path / "out").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["job.toml", "moth.svg"]


def test_a_folder_with_other_files_is_left_alone(tmp_path, tmp_path_factory):
    result = small_board.built(tmp_path_factory.mktemp("small"), resolution=0.3)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine")
    with pytest.raises(pathgen.PathgenError, match=r"notes\.txt"):
        result.write(tmp_path / "out")
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["notes.txt"]
    (tmp_path / "file").write_text("mine")
    with pytest.raises(pathgen.PathgenError, match="is a file"):
        result.write(tmp_path / "file")


@pytest.mark.in_every_run(0)
def test_a_build_replaces_its_own_files_but_not_edited_ones(built, tmp_path):
    _, result = built
    first = {p.name: p.read_bytes() for p in result.write(tmp_path / "out")}
    assert {p.name: p.read_bytes() for p in result.write(tmp_path / "out")} == first
    edited = tmp_path / "out" / result.programs[0].file_name
    edited.write_text(edited.read_text() + "\n")
    with pytest.raises(pathgen.PathgenError, match="was changed"):
        result.write(tmp_path / "out")
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@pytest.mark.in_every_run(0)
def test_check_on_disk(built, tmp_path, capsys):
    folder, result = built
    check, out = ["check", "--resolution", "0.5", str(folder / "job.toml")], tmp_path / "out"
    shutil.copytree(folder / "out", out)
    assert main([*check, str(out)]) == 0
    slots = next(out / p.file_name for p in result.programs if p.operation == "slots")
    text = slots.read_text()
    # every slot a tenth of a millimetre too deep
    slots.write_text(re.sub(r"Z(\d\.\d+)", lambda m: f"Z{float(m[1]) - 0.1:.4f}", text))
    capsys.readouterr()
    assert main([*check, str(out)]) == 1
    words = capsys.readouterr().out
    assert "DO NOT CUT" in words
    assert slots.name in words
    slots.unlink()
    assert main([*check, str(out)]) == 1
    assert main([*check, str(tmp_path / "nowhere")]) == 2


def test_frets_on_the_terminal(job, capsys):
    assert main(["frets", job()]) == 0
    frame, fret_table, wood, strings, dots = (part.splitlines() for part in capsys.readouterr().out.split("\n\n"))
    assert "along from the nut face" in frame[0]
    assert len(fret_table) == FRETS + 2  # the heading and the nut
    assert "317.500" in fret_table[13]
    assert "12.5000" in fret_table[13]
    assert "12 1/2" in fret_table[13]
    assert len(wood) == FRETS + 2
    assert len(strings) == 7
    assert dots[5].split()[:4] == ["12", "1", "of", "2"]


def test_a_fault_of_the_program_is_said_plainly(job, tmp_path, capsys, monkeypatch):
    def broken(*_args, **_kwargs):
        raise ZeroDivisionError("no such thing")

    monkeypatch.setattr("pathgen.programs.around.finishing_passes", broken)
    monkeypatch.delenv("PATHGEN_TRACE", raising=False)
    assert main(["build", job(), "--out", str(tmp_path / "out")]) == 2
    message = capsys.readouterr().err
    assert "a fault of the program, not of your job: ZeroDivisionError" in message
    assert "Traceback" not in message
    assert not (tmp_path / "out").exists()


@pytest.mark.in_every_run(0)
def test_a_build_whose_simulation_is_given_up_says_so_and_what_to_do(job, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(removal, "MOST_WORK", 4_000_000)
    monkeypatch.setattr(removal, "_OF_A_LINE", 0)
    assert main(["build", job(), "--out", str(tmp_path / "out"), "--resolution", "0.2"]) == 1
    said = capsys.readouterr()
    assert "not simulated to the end, and so not verified: simulating the programs was given up" in said.out
    assert "must not be cut" not in said.out
    assert "a coarser grid, --resolution 0.4" in said.out
    assert "planned this wrongly" not in said.out
    assert not (tmp_path / "out").exists()
