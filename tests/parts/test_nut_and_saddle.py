"""Blanks for nut and saddle: the board's curve by plane geometry, the strings' marks, and what the programs leave."""

import html
import math
import re

import numpy as np
import pytest
import shapely

from pathgen import JobError, PathgenError, build, check, load_job
from pathgen.app.cli import main
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move
from pathgen.job.bench import gauge_clampings
from pathgen.job.clamping import asked_of, clamping_of
from pathgen.job.doubts.board import nut_plate
from pathgen.job.nut_and_saddle import nut_and_saddle_clampings
from pathgen.job.part import part_of
from pathgen.parts.fingerboard.nut import _beyond_the_radius, saddle_curve
from pathgen.parts.fingerboard.stringing import string_places
from pathgen.programs.instructions import before_start
from pathgen.report.sheet.page import board_words
from pathgen.work.operations import Outline
from tests.small_board import DOTTED, dotted_job

TEXT = DOTTED.read_text()
GAUGES = [1.17, 0.91, 0.66, 0.43, 0.33, 0.25]


def sag(radius, half):
    """Machinery's Handbook, 31st ed., p. 83 (circle segments): h = r - sqrt(r^2 - (c / 2)^2)."""
    return radius - math.sqrt(radius**2 - half**2)


def test_the_tops_are_arcs_of_the_board_at_nut_and_bridge(tmp_path):
    nut, saddle = nut_and_saddle_clampings(dotted_job(tmp_path))
    length = 640.0 * (1 - 2 ** (-20 / 12)) + 10.0
    at_bridge = 254.0 + (355.6 - 254.0) / length * 640.0  # the same straight line, past the board's end
    spread = 37.0 + (55.0 - 43.0) / length * 640.0  # the edges, 3 mm in on each side, run on to the bridge
    for clamping, radius, half, height in ((nut, 254.0, 22.0, 9.0), (saddle, at_bridge, spread / 2 + 4.0, 11.0)):
        x, y = clamping.board.outline.exterior.coords.xy
        x, y = np.array(x), np.array(y)
        top = x > 1e-9
        assert np.hypot(x[top] - (height - radius), y[top]) == pytest.approx(radius, abs=1e-6)
        assert max(y) == pytest.approx(half, abs=0.01)  # 3 mm are square to the slanted edge, 0.3 um more along the nut
        assert x[top].min() == pytest.approx(height - sag(radius, max(y)), abs=1e-6)
    assert "R 254 mm" in nut.title
    assert f"R {at_bridge:.0f} mm, the board's radius carried on to the bridge" in saddle.title


def test_the_strings_table_tells_both_radii(tmp_path, capsys):
    dotted_job(tmp_path)
    assert main(["strings", str(tmp_path / "board.toml")]) == 0
    at_bridge = 254.0 + 101.6 / (640.0 * (1 - 2 ** (-20 / 12)) + 10.0) * 640.0
    assert (f"is 254.000 under the nut and, carried on past the board's end in the same straight line, {at_bridge:.3f} "
            "under the saddle (mm)") in capsys.readouterr().out


def test_radii_along_slanted_lines_are_told_as_such(tmp_path, capsys):
    """254 mm at the nut of a fan is told as more, which looked like a fault."""
    for scale, told in (("scale_length = 640.0", 0),
                        ("scale_length = { bass = 660.0, treble = 635.0, straight_fret = 7 }", 1)):
        dotted_job(tmp_path, ("scale_length = 640.0", scale))
        for command, words in (("strings", "Both are along their slanted lines"), ("fretting", "each slanted fret")):
            assert main([command, str(tmp_path / "board.toml")]) == 0
            assert capsys.readouterr().out.count(f"{words}: larger than square across") == told


def test_a_slanted_saddle_has_the_section_of_the_cone_under_it(tmp_path):
    fan = "scale_length = { bass = 660.0, treble = 635.0, straight_fret = 7 }"
    job = dotted_job(tmp_path, ("scale_length = 640.0", fan))
    board = part_of(job)
    line = saddle_curve(board, job.strings, past=4.0)
    ends = board.layout.bridge
    unit = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    points = ends.mean(axis=0) + line.curve[:, :1] * unit
    radius = 254.0 + (355.6 - 254.0) / board.length * points[:, 0]
    assert line.curve[:, 1] == pytest.approx(-np.array([sag(r, y) for r, y in zip(radius, points[:, 1], strict=True)]),
                                             abs=1e-9)
    assert line.radius > radius.mean() * 1.0005  # a slanted section is flatter


LONG_FAN = (("scale_length = 640.0", "scale_length = { bass = 680.0, treble = 620.0, straight_fret = 7 }"),
            ("length = 480.0", "length = 520.0"), ("margin_nut = 15.0", "margin_nut = 35.0"))


@pytest.mark.parametrize("fanned", [True, False])
def test_the_marks_of_a_slanted_saddle_are_told_with_the_face_that_they_hold_for(tmp_path, fanned):
    """Derived: a string that runs along the board crosses a plate 3 mm thick 3 mm times the saddle's slant aside."""
    job = dotted_job(tmp_path, *LONG_FAN if fanned else ())
    across = float(np.ptp(part_of(job).layout.bridge[:, 1]))
    aside = 3.0 * (680.0 - 620.0) * 2 ** (-7 / 12) / across  # both strings are 7 frets long up to a line square to them
    said = " ".join(nut_and_saddle_clampings(job)[-1].steps[-1].operation.then)
    assert "the strokes on it are the strings' places" in said
    told = re.search(r" if it stands on the saddle's line \(set by its other face, they lie ([\d.]+) mm aside\)", said)
    assert bool(told) == fanned
    assert not told or float(told[1]) == pytest.approx(aside, abs=0.06)


FAN = "scale_length = { bass = 680.0, treble = 620.0, straight_fret = 7 }"


@pytest.mark.parametrize("changes", [
    (), (("frets = 20\n", "frets = 20\nleft_handed = true\n"),),
    (("frets = 20\n", "frets = 20\nzero_fret = true\n"), ("behind_nut = 8", "behind_nut = 10")),
], ids=["right", "left", "zero fret"])
def test_a_slanted_nut_fills_its_slot_from_edge_to_edge(tmp_path, changes):
    """The walls of a slot 5 mm wide lie 2 mm apart along a nut 22 degrees from square: its end came out short there."""
    job = dotted_job(tmp_path, *with_slot(("scale_length = 640.0", FAN), ("length = 480.0", "length = 520.0"),
                                             ("margin_nut = 15.0", "margin_nut = 35.0"), *changes))
    board, clamping = part_of(job), nut_and_saddle_clampings(job)[0]
    behind = 3.0 if job.board.zero_fret else 0.0
    bass, treble = board.layout.strings.crossings(board.layout.lines[:1], board.bass_side)[0], board.nut_line[1]
    unit = (treble - board.nut_line[0]) / np.linalg.norm(treble - board.nut_line[0])
    back = np.array([-abs(unit[1]), unit[0] * math.copysign(1.0, unit[1])])
    front = bass - [behind / abs(unit[1]), 0.0]  # where the outer string crosses it, but for the taper
    marks = [s[0, 1] * board.bass_side for s in clamping.steps[0].operation.feature.strokes[:6]]
    low, high = np.array(clamping.board.outline.bounds)[[1, 3]] - min(marks)
    far = 200.0
    strip = shapely.Polygon([front - far * unit, front + far * unit, front + far * unit + 5.0 * back,
                             front - far * unit + 5.0 * back])
    along = (shapely.get_coordinates(board.finished.intersection(strip)) - front) @ unit
    assert along.min() - low == pytest.approx(0.5, abs=0.06)
    assert high - along.max() == pytest.approx(0.5, abs=0.06)
    assert "0.5 mm or more past" in " ".join(clamping.steps[1].operation.then)


def test_the_nut_of_a_drawn_board_reaches_past_the_edges_that_are_drawn(tmp_path):
    """It went by nut_width, 43 mm, and was too short for a board that is drawn wider."""
    long = part_of(dotted_job(tmp_path)).length
    (tmp_path / "outline.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{long}mm" height="60mm" viewBox="0 0 {long} 60">'
        f'<path d="M0,7H{long}V53H0Z"/></svg>')
    job = dotted_job(tmp_path, ("[outline]\n", '[outline]\nartwork = "outline.svg"\nplace = { at = '
                                f'[{long / 2}, 0.0] }}\n'))
    finished, (clamping, _) = part_of(job).finished.bounds, nut_and_saddle_clampings(job)
    low, high = np.array(clamping.board.outline.bounds)[[1, 3]]
    assert finished[3] - finished[1] > 45.9
    assert (finished[1] - low, high - finished[3]) == pytest.approx((0.5, 0.5), abs=1e-6)
    assert "0.5 mm or more past" in " ".join(clamping.steps[1].operation.then)


def test_the_marks_are_where_the_strings_are_and_end_at_the_slots_bottoms(tmp_path):
    job = dotted_job(tmp_path)
    strokes = nut_and_saddle_clampings(job)[0].steps[0].operation.feature.strokes[:6]
    at = -np.array([s[0, 1] for s in strokes])  # bass is at + Y
    edge = 3.0 * math.hypot(1.0, 6.0 / (640.0 * (1 - 2 ** (-20 / 12)) + 10.0))
    assert at + 21.5 - edge == pytest.approx(string_places(GAUGES, 43.0 - 2 * edge, "gaps"), abs=1e-9)
    assert [s[0, 0] for s in strokes] == pytest.approx([9.0 - sag(254.0, y) for y in at], abs=1e-9)
    # half of the thickest string stands out of the nut
    assert [s[0, 0] - s[1, 0] for s in strokes] == pytest.approx([1.17 / 2] * 6, abs=1e-9)


def test_left_handed_is_the_mirror_image(tmp_path):
    right = nut_and_saddle_clampings(dotted_job(tmp_path))[0].steps[0].operation.feature.strokes
    left = nut_and_saddle_clampings(dotted_job(tmp_path, ("frets = 20\n", "frets = 20\nleft_handed = true\n")))[0]
    for a, b in zip(right[:6], left.steps[0].operation.feature.strokes[:6], strict=True):
        assert a * [1, -1] == pytest.approx(b, abs=1e-9)


NUT_SLOT = '[nut]\ncutter = "flat 3"\nwidth = 5.0\ndepth = 2.5\n[nut_blank]'


def with_slot(*more):
    return (("[nut_blank]", NUT_SLOT), ("past_last_fret = 10.0", "past_last_fret = 10.0\nbehind_nut = 8.0"), *more)


def test_the_height_comes_from_slot_strings_and_frets(tmp_path):
    job = dotted_job(tmp_path, *with_slot(("height = 9.0\n", "")))
    clamping = nut_and_saddle_clampings(job)[0]
    # a level floor 2.5 mm under the surface at the cut edges, 20 mm from the middle; crown 1.2, clear 0.2, half of 1.17
    edge = 21.5 - 1.5
    assert clamping.board.outline.bounds[2] == pytest.approx(sag(254.0, edge) + 2.5 + 1.2 + 0.2 + 1.17 / 2, abs=2e-3)


def test_a_nut_is_as_thick_as_its_slot_is_wide(tmp_path):
    nut, saddle = nut_and_saddle_clampings(dotted_job(tmp_path, *with_slot()))
    assert nut.stock.thickness == nut.board.surface.thickness == 5.0
    assert saddle.stock.thickness == 3.0
    assert nut_and_saddle_clampings(dotted_job(tmp_path))[0].stock.thickness == 6.0
    other = ("height = 9.0\n", "height = 9.0\nthickness = 6.0\n")
    job = dotted_job(tmp_path, *with_slot(other))
    made = build(job, clamping=nut_and_saddle_clampings(job)[0], resolution=0.3)
    doubts = [f for f in made.report["checks"]["findings"] if f["where"] == "[nut_blank] thickness"]
    assert [f["got"] for f in doubts] == ["6 mm, and the slot for the nut is 5 mm wide"]


@pytest.mark.parametrize(("behind", "thick"), [(5.0, 5.0), (8.0, 6.0)])
def test_a_nut_on_a_shelf_is_no_thicker_than_that_is_wide(tmp_path, behind, thick):
    """Of 6 mm where nobody said it, the nut stood out past the board's end, and was to be filed "in its slot"."""
    shelf = with_slot(("width = 5.0\n", ""), ("behind_nut = 8.0", f"behind_nut = {behind}"))
    nut = nut_and_saddle_clampings(dotted_job(tmp_path, *shelf))[0]
    assert nut.stock.thickness == pytest.approx(thick)
    assert [line.endswith("file that off when it is on its shelf.") for line in nut.steps[-1].operation.then
            if "file" in line] == [True]
    stated = dotted_job(tmp_path, *shelf, ("height = 9.0\n", f"height = 9.0\nthickness = {behind + 1}\n"))
    assert [(doubt.problem, doubt.remedy) for doubt in nut_plate(stated, nut)] == [
        (f"{behind + 1:g} mm, and the shelf for the nut is {behind:g} mm wide: it stands 1 mm out past the board's end",
         f"leave thickness out, or write {behind:g} or less")]
    thin = dotted_job(tmp_path, *shelf, ("height = 9.0\n", f"height = 9.0\nthickness = {behind - 1}\n"))
    assert list(nut_plate(thin, nut)) == []


def test_the_sheet_says_how_so_small_a_plate_is_held_and_what_its_dust_does(tmp_path):
    job = dotted_job(tmp_path)
    for clamping, high in zip(nut_and_saddle_clampings(job), (9, 11), strict=True):
        stick, dust, _, hold, *more = before_start(clamping, clamping.steps[0])
        # the tape lifts the plate, and Z 0 is its underside
        assert any("touch off" in line and "on a strip of the same tape" in line for line in more)
        assert "down over its whole face" in stick
        assert "bone and shell is harmful" in dust
        assert hold == "Clamp the spare board, not the plate; keep clamps out of the cutter's way."
        assert board_words(clamping).startswith(f"{high} mm high, ")


def test_a_plate_that_is_stuck_down_already_is_held_by_no_other_tape_where_it_has_no_tabs(tmp_path):
    """The spare board under it is clamped; the plate on it is stuck down by its whole face, tabs or none."""
    job = dotted_job(tmp_path, ("height = 9.0", "tabs = 0\nheight = 9.0"))
    clamping = nut_and_saddle_clampings(job)[0]
    said = before_start(clamping, clamping.steps[0])
    assert "Clamp the spare board, not the plate; keep clamps out of the cutter's way." in said
    assert sum("double-sided tape" in line for line in said) == 1


def test_sheet_and_program_say_how_the_marked_face_is_set_in_and_what_is_filed_off(tmp_path):
    job = dotted_job(tmp_path)
    for clamping, face, past in zip(nut_and_saddle_clampings(job), ("toward the bridge", "away from the nut"),
                                    ("0.5 mm past the board's edge", "4 mm past the outer strings"), strict=True):
        said = [f"The face that lay up looks {face}: the strokes on it are the strings' places, B at its bass end.",
                f"It reaches {past} at each end: file "]
        made = build(job, clamping=clamping, resolution=0.5)
        header = " ".join(re.findall(r"\((?:\.\. )?(.*)\)", made.programs[-1].text))
        for words in said:
            assert words in html.unescape(made.files()["setup.html"])
            assert words in header


@pytest.mark.parametrize(("changes", "words"), [
    ([("height = 9.0\n", "")], r"height.*missing, and not known without \[nut\]"),
    ([("height = 11.0\n", "")], r"\[saddle_blank\] height"),
    (with_slot(("height = 9.0", "height = 4.0")), r"4 mm, and its slots' bottoms lie 4\.\d\d mm over"),
    ([("height = 11.0", "height = 3.0")], r"3 mm, and the curve leaves 1\.79 mm at the ends.*3\.22 mm or more"),
    ([("end = 355.6", "end = 98.0"), ("depth = 2.0", "depth = 1.0")],
     r"reaches 31\.06 mm to each side, over a radius of 31\.\d\d mm.*: make it \d\.\d\d mm or less$"),
])
def test_what_cannot_be_is_refused_with_numbers(tmp_path, changes, words):
    job = dotted_job(tmp_path, *changes)
    with pytest.raises(JobError, match=words):
        nut_and_saddle_clampings(job)


@pytest.mark.parametrize(("end", "low", "words"), [
    (30.0, 30.0, r"over a radius of 30\.00 mm \(allowed: less than 28.57 mm to each side\): make the radius larger"),
    (20.0, -15.0, r"where the board's radius has shrunk to nothing \(allowed: .*\): the board's radius shrinks"),
])
def test_a_curve_past_its_radius_says_what_may_help(end, low, words):
    """Of random boards: one was "over a radius of -416.40 mm", the radius of another, 136 mm all along, "shrinks"."""
    surface = Surface(thickness=6.0, radius_nut=30.0, radius_end=end, length=100.0)
    with pytest.raises(JobError, match=words):
        raise _beyond_the_radius(surface, low, 31.0, 2.0, "[saddle_blank] overhang")


def test_a_cutter_too_wide_for_tabs_is_refused_with_one_that_is_not(tmp_path):
    wide = dotted_job(tmp_path, ('name = "flat 3"\nshape = "flat-end"\ndiameter = 3.0',
                                 'name = "flat 3"\nshape = "flat-end"\ndiameter = 8.5'))
    with pytest.raises(PathgenError, match=r"9.50 mm of the edge.*edge is 9.00 mm long.*0.60 mm narrower or more; "):
        build(wide, clamping=nut_and_saddle_clampings(wide)[0])
    narrower = dotted_job(tmp_path, ('name = "flat 3"\nshape = "flat-end"\ndiameter = 3.0',
                                     'name = "flat 3"\nshape = "flat-end"\ndiameter = 7.9'))
    assert build(narrower, clamping=nut_and_saddle_clampings(narrower)[0], resolution=0.3).passed


def test_tabs_as_high_as_the_plate_are_refused(tmp_path):
    """A random nut blank was 0.5 mm thick: none of its edge was cut there, and its own check refused it."""
    thin = dotted_job(tmp_path, ("height = 11.0", "height = 11.0\nthickness = 0.8\ntab_height = 0.8"))
    with pytest.raises(JobError, match=r"\[saddle_blank\] tab_height: 0.8 mm reaches.*less than 0.80 mm"):
        build(thin, clamping=nut_and_saddle_clampings(thin)[1])


@pytest.mark.parametrize(("made_by", "thin"), [
    (nut_and_saddle_clampings, ("height = 11.0", "height = 11.0\nthickness = 0.8")),
    (gauge_clampings, ("[dots]", '[gauges]\ncutter = "flat 3"\nthickness = 0.8\n[dots]')),
], ids=["saddle", "gauge"])
def test_tabs_of_a_thin_plate_are_lower_where_nobody_says_their_height(tmp_path, made_by, thin):
    job = dotted_job(tmp_path, thin)
    clamping = made_by(job)[-1]
    assert clamping.feature(Outline).tab_height == 0.53
    assert build(job, clamping=clamping, resolution=0.3).passed


def test_what_is_cut_out_is_the_plate(tmp_path):
    job = dotted_job(tmp_path)
    for clamping in nut_and_saddle_clampings(job):
        made = build(job, clamping=clamping, resolution=0.2)
        assert made.verification.findings == ()
        path = made.programs[1].toolpath
        deep = path.points[path.points[:, 2] < 0.0, :2]
        away = shapely.distance(clamping.board.outline, shapely.points(deep))
        assert away.min() == pytest.approx(1.5, abs=2e-3)
        cut = path.kinds[1:] != Move.RAPID  # over the tabs too: in plan it goes all the way round
        moves = np.stack([path.points[:-1, :2], path.points[1:, :2]], axis=1)[cut]
        once = np.unique(moves.round(6), axis=0)  # GEOS takes seconds to widen lines that lie on one another
        ring = shapely.union_all(shapely.linestrings(once)).buffer(1.5)
        left = max(shapely.get_parts(shapely.box(*ring.bounds).difference(ring)), key=lambda p: p.area)
        assert left.symmetric_difference(clamping.board.outline).area < 0.02 * clamping.board.outline.length


def test_the_command_writes_both_and_check_reads_them(tmp_path, capsys):
    out = tmp_path / "nut"
    assert main(["nut", str(DOTTED), "--out", str(out), "--resolution", "0.3"]) == 0
    assert len(list(out.glob("*.nc"))) == 4
    assert main(["check", str(DOTTED), str(out), "--resolution", "0.3"]) == 0
    saddle = out / "saddle-blank-02-outline-flat-3.nc"
    moved = re.sub(r"(?m)^(.*)X(-?\d+\.\d+)", lambda m: f"{m[1]}X{float(m[2]) + 0.3:.4f}", saddle.read_text())
    saddle.write_text(moved)
    found = [f for f in check(load_job(DOTTED), out, resolution=0.3).findings if f.severity == "forbid"]
    assert found
    assert all("saddle" in f.where for f in found)
    (tmp_path / "none.toml").write_text(TEXT[: TEXT.index("[nut_blank]")])
    assert main(["nut", str(tmp_path / "none.toml"), "--out", str(tmp_path / "x")]) == 2
    assert "[nut_blank] and [saddle_blank] are missing" in capsys.readouterr().err


def test_a_nut_is_not_pictured_in_the_boards_wood(tmp_path):
    """On an ebony board its engraved marks were black on black."""
    job = dotted_job(tmp_path, ("[board]\n", '[board]\nwood_colour = "#1c1511"\n'))
    assert asked_of(job, clamping_of(job)).wood[0] == "#1c1511"
    assert {asked_of(job, one).wood for one in nut_and_saddle_clampings(job)} == {(None, None)}
