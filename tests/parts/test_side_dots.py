"""Side dots drilled into the edge: where they lie by plane geometry, and what a moved hole or a bad number comes to."""

import math
import re

import numpy as np
import pytest
import shapely

from pathgen import JobError, build, check
from pathgen.app.cli import main
from pathgen.job.bench import side_dot_clamping
from pathgen.job.clamping import clamping_of
from pathgen.job.part import part_of
from pathgen.programs.afterwards import off_the_machine
from pathgen.report.sheet.page import board_words
from tests.small_board import DOTTED, dotted_job, moves

TEXT = DOTTED.read_text()
LENGTH = 640.0 * (1 - 2 ** (-20 / 12)) + 10.0
FAN = "scale_length = { bass = 660.0, treble = 635.0, straight_fret = 7 }"


def at_fret(n):
    return 640.0 * (1 - 2 ** (-n / 12))


def test_they_lie_along_the_finished_edge_half_way_up_it(tmp_path):
    holes = side_dot_clamping(dotted_job(tmp_path)).steps[0].operation.feature
    shares = [(f, s) for f in (3, 5, 7, 9, 12, 15, 17, 19) for s in ((1 / 3, 2 / 3) if f == 12 else (1 / 2,))]
    x = np.array([at_fret(f - 1) + s * (at_fret(f) - at_fret(f - 1)) for f, s in shares])
    slope = 6.0 / LENGTH  # the finished edges: 43 wide at the nut, 55 at the end
    assert holes.at[:, 0] == pytest.approx(x * math.hypot(1.0, slope), abs=2e-5)
    radius, half = 254.0 + 101.6 / LENGTH * x, 21.5 + slope * x
    fall = 0.5 * np.maximum(x - at_fret(14), 0.0) / (LENGTH - at_fret(14))
    assert holes.at[:, 1] == pytest.approx((6.5 - fall - radius + np.sqrt(radius**2 - half**2)) / 2, abs=2e-5)


def test_on_a_fan_they_lie_where_lines_cross_the_edge(tmp_path):
    job = dotted_job(tmp_path, ("scale_length = 640.0", FAN))
    board = part_of(job)
    edge = shapely.LineString([(x, -21.5 - 6.0 * x / board.length) for x in (-60.0, 600.0)])
    crossed = [shapely.intersection(edge, shapely.LineString([1.5 * a - 0.5 * b, 1.5 * b - 0.5 * a]))
               for a, b in board.layout.lines]
    along = np.array([shapely.distance(crossed[0], p) for p in crossed])
    holes = side_dot_clamping(job).steps[0].operation.feature
    assert holes.at[[0, 1], 0] == pytest.approx([(along[f - 1] + along[f]) / 2 for f in (3, 5)], abs=2e-5)


def test_on_a_fan_the_edge_is_as_long_as_its_own_string_makes_it(tmp_path):
    """Not as the centre-line: its last dot lay past the end that page and picture gave it."""
    job = dotted_job(tmp_path, ("scale_length = 640.0", FAN))
    cut = shapely.get_coordinates(part_of(job).outline)[:-1]
    (nut, end), (far_nut, far_end) = sorted(cut[cut[:, 1] < 0].tolist()), sorted(cut[cut[:, 1] > 0].tolist())
    slants = (far_nut[0] - nut[0]) / (far_nut[1] - nut[1]), (end[0] - far_end[0]) / (far_end[1] - end[1])
    # both ends run on over the binding, 1.5 mm
    assert side_dot_clamping(job).stock.length == pytest.approx(math.dist(nut, end) + 1.5 * sum(slants), abs=0.02)


def test_page_and_program_have_them_at_the_same_places(tmp_path):
    """On the finished edge of a fan with a binding: the page once counted along the edge as cut."""
    job = dotted_job(tmp_path, ("scale_length = 640.0", FAN))
    rows = part_of(job).rows(clamping_of(job))["side_dots"]
    holes = side_dot_clamping(job).steps[0].operation.feature
    drilled = [one["along_edge"] for row in rows for one in row["each"]]
    assert len(drilled) == 9
    assert holes.at[:, 0] == pytest.approx(drilled, abs=2e-5)
    assert "the board is 1.5 mm narrower on each side for it" in off_the_machine(clamping_of(job))[0]


def test_the_page_says_how_a_tapered_board_stands_with_its_bass_edge_level(tmp_path):
    """It was to stand on its treble edge with its bass edge level. D: 43 to 55 mm over the length to fret 20 and 10 mm,
    turned by half the taper; the depth of every hole is the same, and both ends of the edge are tried for height."""
    job = dotted_job(tmp_path)
    turned = 1.0 / math.hypot(1.0, 6.0 / LENGTH)
    clamping = side_dot_clamping(job)
    assert clamping.steps[0].operation.under == pytest.approx((43.0 * turned, 55.0 * turned))
    program = build(job, clamping=clamping, resolution=0.4).programs[0]
    said = " ".join(re.findall(r"\((?:\.\. )?(.*)\)", program.text))
    assert "it lies 43 mm under the bass edge at the nut face, 55 mm at the board's end" in said
    assert "rest at the board's end, with a block or wedge 12 mm high under it at the nut face" in said
    assert "on its treble edge" not in said
    _, drilled, _ = moves(program.text)
    ends = drilled[drilled[:, 2] < 0][:, 0]
    shown = re.search(r"over the first and the last hole, at X ([\d.]+) mm, .* and at X ([\d.]+) mm, .*same Z", said)
    assert [float(v) for v in shown.groups()] == pytest.approx([ends.min(), ends.max()], abs=0.5)
    even = dotted_job(tmp_path, ("end_width = 55.0", "end_width = 43.0"))
    assert len(side_dot_clamping(even).steps[0].operation.before(clamping)) == 1


def test_the_page_says_how_high_the_board_stands(tmp_path):
    """One with a fan was "76 mm thick", its end_width, and its treble edge "75.4 mm under the bass edge"; the display
    was to show so much "where the blank is as thick as where Z 0 was set": of an edge, where it is as high."""
    clamping = side_dot_clamping(dotted_job(tmp_path, ("scale_length = 640.0", FAN)))
    assert clamping.stock.thickness == pytest.approx(max(clamping.steps[0].operation.under))
    assert f", {clamping.stock.thickness:.2f} mm high, flat" in board_words(clamping)
    program = build(dotted_job(tmp_path), clamping=clamping, resolution=0.4).programs[0]
    said = " ".join(re.findall(r"\((?:\.\. )?(.*)\)", program.text))
    assert "where the top is as high as where Z 0 was set" in said
    assert "thick" not in said.replace("0.1 mm thick", "")


def test_left_handed_the_top_looks_the_other_way(tmp_path):
    right = side_dot_clamping(dotted_job(tmp_path))
    left = side_dot_clamping(dotted_job(tmp_path, ("frets = 20\n", "frets = 20\nleft_handed = true\n")))
    assert right.steps[0].operation.feature.at * [1, -1] == pytest.approx(left.steps[0].operation.feature.at)
    assert (right.stock.bounds[1], left.stock.bounds[3]) == (0.0, 0.0)  # the underside
    assert "underside toward - Y" in right.steps[0].operation.before(right)[0]
    assert "underside toward + Y" in left.steps[0].operation.before(left)[0]


def test_the_program_drills_them_and_a_moved_hole_is_found(tmp_path):
    job, out = dotted_job(tmp_path), tmp_path / "side"
    made = build(job, clamping=side_dot_clamping(job), resolution=0.2)
    assert made.verification.findings == ()
    program = made.programs[0]
    low = program.toolpath.points[:, 2].min()
    down = np.unique(program.toolpath.points[program.toolpath.points[:, 2] < low + 1e-6][:, :2].round(4), axis=0)
    assert down == pytest.approx(np.unique(program.step.operation.feature.at.round(4), axis=0), abs=1e-3)
    assert made.plan.clamping.stock.thickness - low == pytest.approx(2.5)
    assert re.search(r"Z-2\.5\b", program.text)  # counted from the edge
    made.write(out)
    assert check(job, out, resolution=0.3).findings == ()
    x = f"X{down[0][0]:.4f}".rstrip("0")
    assert x in program.text
    (out / program.file_name).write_text(program.text.replace(x, f"X{down[0][0] + 0.2:.4f}"))
    assert "hole-wrong" in {f.code for f in check(job, out, resolution=0.3).findings}


@pytest.mark.parametrize(("changes", "words"), [
    ([("depth = 2.5", "depth = 2.5\ndiameter = 5.0")],
     r"5 mm at fret 19, where the edge is 5\.10 mm high \(allowed: 4\.09 mm or less"),
    ([("binding = 1.5\n", "binding = 1.5\nside_dots = [5, 21]\n")], r"there is no fret 21 .allowed: 1 to 20"),
    ([("binding = 1.5\n", "binding = 1.5\nside_dots = []\n")], "no fret of the board has one"),
    # two dots at a third and two thirds of the 9.52 mm between frets 23 and 24 (equal temperament)
    ([("frets = 20", "frets = 24"), ("binding = 1.5\n", "binding = 1.5\nside_dots = [24]\n"),
      ("depth = 2.5", "depth = 2.5\ndiameter = 3.9"), ("length = 480.0", "length = 560.0"),
      ("depth = 2.0", "depth = 2.0\nwidth = 2.6")], r"at fret 24, 3\.17 mm from the middle of a slot"),
])
def test_what_cannot_be_is_refused_with_numbers(tmp_path, changes, words):
    with pytest.raises(JobError, match=words):
        side_dot_clamping(dotted_job(tmp_path, *changes))


def test_the_command(tmp_path, capsys):
    assert main(["side-dots", str(DOTTED), "--out", str(tmp_path / "s"), "--resolution", "0.3"]) == 0
    assert len(list((tmp_path / "s").glob("*.nc"))) == 1
    (tmp_path / "none.toml").write_text(TEXT[: TEXT.index("[side_dots]")])
    assert main(["side-dots", str(tmp_path / "none.toml"), "--out", str(tmp_path / "x")]) == 2
    assert "[side_dots] is missing: add a [side_dots] table with its cutter\n" in capsys.readouterr().err


def test_the_edge_lies_along_the_axis_that_the_board_lies_along(tmp_path):
    """A machine that is long in Y only: what is turned a quarter is (x, y) to (-y, x), so the board's + Y looks to - X.
    """
    machine = ("[board]\n", '[machine]\ntravel = [300, 700, 90]\n[setup]\nalong = "y"\n[board]\n')
    job = dotted_job(tmp_path, machine)
    clamping = side_dot_clamping(job)
    made = build(job, clamping=clamping, resolution=0.4)
    assert made.passed
    at = clamping.steps[0].operation.feature.at
    _, drilled, _ = moves(made.programs[0].text)
    drilled = drilled[drilled[:, 2] < 0, :2]
    assert np.hypot(*(drilled[:, None] - np.column_stack([-at[:, 1], at[:, 0]])).T).min(axis=1) == pytest.approx(
        np.zeros(len(at)), abs=1e-3)
    laid, _ = clamping.steps[0].operation.before(clamping)
    assert "nut end toward - Y, its underside toward + X and along Y" in laid
