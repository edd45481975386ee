"""The pictures' coordinates against the report and closed forms; path data read by a library, not by our own code."""

import math
import re
import xml.etree.ElementTree as Tree
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from svgpathtools import parse_path

from pathgen import build as build_all
from pathgen import load_job, read_artwork
from pathgen.base.markup import as_svg
from pathgen.base.picture import View
from pathgen.base.toolpath import Move, Toolpath
from pathgen.job.clamping import clamping_of
from pathgen.job.doubts import doubts_of
from pathgen.job.part import part_of
from pathgen.parts.fingerboard.rows import dot_rows
from pathgen.programs.paths import tabs_of
from pathgen.report.board_text import dot_lines
from pathgen.report.pictures.above import board_from_above
from pathgen.report.pictures.labels import Labels
from pathgen.report.pictures.measuring import measuring_picture
from pathgen.report.pictures.paths import _numbers, bored, path_picture
from pathgen.report.pictures.ridges import OVER, SHADES, lightest, shade
from pathgen.report.pictures.sections import RISE, Section, section_picture, sections_of, spans
from pathgen.report.reaching import opened_of
from pathgen.report.sheet.page import legend_above
from pathgen.report.sheet.results import _section_words, ridges
from pathgen.work.features import Named
from pathgen.work.operations import WitnessMarks
from pathgen.work.part import wood_in_plan
from tests.as_made import hold
from tests.job.test_plates import PLATE
from tests.report.labels import cut_off, labels, over_one_another
from tests.small_board import cutter, job, svg

EXAMPLES = Path(__file__).parents[2] / "examples"
SVG = "{http://www.w3.org/2000/svg}"


def tree(text):
    root = Tree.fromstring(text)
    assert root.tag == f"{SVG}svg"
    return root


def classed(root, name):
    return [e for e in root.iter() if name in e.get("class", "").split()]


def points(path):
    """(n, 2) corners of a path made of straight lines."""
    return [np.array([[p.real, p.imag] for p in [sub[0].start, *(line.end for line in sub)]])
            for sub in parse_path(path.get("d")).continuous_subpaths()]


@pytest.fixture(params=["built", "turned"])
def build(request):
    return request.getfixturevalue(request.param)


@pytest.fixture
def pictures(build):
    return {name: tree(text) for name, text in build.pictures().items()}


def on_board(build, picture):
    """The mapping from places in the picture to the board's frame, known from where it draws the programs' zero."""
    mark = classed(picture, "zero")[0]
    zero = np.array(build.plan.clamping.zero)
    at = np.array([float(mark.get("cx")), float(mark.get("cy"))])
    return lambda places: (np.asarray(places) - at) * [1.0, -1.0] + zero


def test_they_are_as_made(build):
    hold(f"small board, {build.job.title[:6]}", build, pages=True)


def test_frets_lie_where_the_report_says(build, pictures):
    board = pictures["board.svg"]
    place = on_board(build, board)
    for fret in build.report["frets"]:
        drawn = place(points(classed(board, f"landmark-{fret['fret']}")[0])[0])
        ends = np.array([fret["bass"], fret["treble"]])
        assert min(np.abs(drawn - ends).max(), np.abs(drawn[::-1] - ends).max()) < 0.002


def test_outline_and_drawing_have_the_areas_of_the_part(build, pictures):
    board, clamping = pictures["board.svg"], build.plan.clamping
    place = on_board(build, board)
    outline = shapely.Polygon(place(points(classed(board, "board")[0])[0]))
    assert outline.symmetric_difference(clamping.board.outline).area < 0.05 * clamping.board.outline.length
    fills = {e.get("fill"): e for e in board.iter(f"{SVG}path") if e.get("fill") in ("#2f6f4f", "#c8962e")}
    # areas of the drawing's shapes in closed form: a rectangle of 20 by 12, a circle of radius 7
    for colour, area in (("#2f6f4f", 240.0), ("#c8962e", math.pi * 49)):
        shape = shapely.Polygon(place(points(fills[colour])[0]))
        assert shape.area == pytest.approx(area, rel=2e-3)
    # drawn 8 mm off the page's middle, placed with the page's middle at 60, 2
    assert shapely.Polygon(place(points(fills["#2f6f4f"])[0])).centroid.x == pytest.approx(60 - 18, abs=0.02)


def test_tabs_clamps_and_sides(build, pictures):
    board = pictures["board.svg"]
    assert len(classed(board, "tab")) == 4
    assert len(classed(board, "clamp")) == len(build.plan.clamping.setup.keep_out)
    heights = {e.text: float(e.get("y")) for e in board.iter(f"{SVG}text") if e.text}
    # a left-handed board has its bass side on the other side
    upper = "treble side" if build.plan.clamping.board.bass_side < 0 else "bass side"
    assert heights[upper] == min(heights["bass side"], heights["treble side"])


def test_a_file_prints_at_true_size(pictures):
    for picture in pictures.values():
        left, top, width, height = map(float, picture.get("viewBox").split())
        assert (left, top) == (0.0, 0.0)
        assert picture.get("width") == f"{width:g}mm"
        assert picture.get("height") == f"{height:g}mm"
        assert picture.find(f"{SVG}title").text


@pytest.mark.parametrize(("cutters", "wide", "floor"), [
    ('"v"', 4.0, 4.0 - 2 * math.tan(math.radians(30))), ('"v"', 1.2, 0.0), ('"flat"', 4.0, 4.0),
    ('"flat", "v"', 4.0, 4.0),  # the flat end is as wide as the bar lets it
    ('"flat", "v"', 1.2, 0.0),
])
def test_a_section_shows_walls_as_they_slope(tmp_path, cutters, wide, floor):
    """A bar along the board, 1 mm deep: a v of 60 degrees leaves the floor narrower by its flanks."""
    v = cutter(name="v", shape="v", diameter=6, angle=60, speed=16000, feed=900, plunge=300, stepdown=1)
    art = svg(f'<rect x="5" y="{15 - wide / 2}" width="20" height="{wide}" fill="#225577"/>'
              '<rect x="30" y="10" width="4" height="4" fill="#225577"/>')
    clamping = clamping_of(load_job(job(tmp_path, art=art, extra=v, changes={
        'cutters = ["flat"]': f"cutters = [{cutters}]", "depth = 1.5": "depth = 1.0"})))
    picture = section_picture(clamping, Section(name="x", x=40.0))
    (pocket,) = [path for path in picture.iter() if path.get("class") == "pocket"]
    across, down = points(pocket)[0].T
    assert np.ptp(across) == pytest.approx(wide, abs=0.01)
    deep = min(1.0, wide / 2 / math.tan(math.radians(30)))
    assert np.ptp(down) == pytest.approx(4 * deep, abs=0.1)
    low = across[down > down.max() - 0.02 * 4]
    assert np.ptp(low) == pytest.approx(floor, abs=0.15)


def test_a_section_crosses_nothing_of_a_drawing_that_lies_beside_the_channel():
    assert spans(shapely.Polygon(), 5.0).shape == (0, 2)
    np.testing.assert_allclose(spans(shapely.box(0, -2, 9, 3), 5.0), [[-2.0, 3.0]])


def test_sections_show_the_arc_of_the_radius_with_heights_exaggerated(build, pictures):
    for name, radius, half in (("section-1.svg", 200.0, 18.0), ("section-3.svg", 260.0, 20.0)):
        wood = points(classed(pictures[name], "wood")[0])[0]
        bottom = wood[:, 1].max()
        z = (bottom - wood[:, 1]) / RISE
        middle = (wood[:, 0].max() + wood[:, 0].min()) / 2
        y = wood[:, 0] - middle
        assert np.ptp(y) == pytest.approx(2 * half, abs=0.01)
        top = z > 1.0
        # circle through the crest, 6 mm thick: z = 6 - (R - sqrt(R^2 - y^2))
        assert np.abs(z[top] - (6.0 - (radius - np.sqrt(radius**2 - y[top] ** 2)))).max() < 2e-3
        assert re.search(rf"{RISE:g} times", pictures[name].get("aria-label"))


def test_pockets_in_the_section_are_as_deep_as_asked(pictures):
    cuts = classed(pictures["section-2.svg"], "pocket")
    assert cuts
    for cut in cuts:
        corners = points(cut)[0]
        left = np.isclose(corners[:, 0], corners[:, 0].min(), atol=2e-3)
        assert np.ptp(corners[left, 1]) == pytest.approx(1.2 * RISE, abs=0.01)


def test_the_worst_ridge_is_marked_where_it_was_measured(build, pictures):
    ridges = build.verification.ridges
    cross = points(classed(pictures["ridges.svg"], "worst")[-1])
    centre = np.mean([p.mean(axis=0) for p in cross], axis=0)
    outline = build.plan.clamping.board.outline.bounds
    board = [p for e in pictures["ridges.svg"].iter(f"{SVG}path") if e.get("fill") is None for p in points(e)]
    left, low = min(board[0][:, 0]), max(board[0][:, 1])
    assert centre == pytest.approx(
        [left + ridges.highest_at[0] - outline[0], low - (ridges.highest_at[1] - outline[1])], abs=0.05
    )
    label = f"{build.report['surface']['scallop_measured'] * 1000:.1f} µm"
    assert label in [e.text for e in pictures["ridges.svg"].iter(f"{SVG}text")]


def test_shades_run_from_the_lowest_to_the_limit_and_warn_above():
    assert shade(np.array([0.008, 0.0089, 0.01, 0.0105, 0.02]), 0.008, 0.01).tolist() == [0, 3, 7, 7, len(SHADES)]
    assert OVER not in SHADES


def test_ridges_all_about_as_high_as_one_another_are_of_one_shade():
    even = np.array([0.01499, 0.0152, 0.01524])
    assert len(set(shade(even, lightest(even, 0.01524), 0.01524).tolist())) == 1
    assert lightest(np.array([0.0021, 0.01]), 0.01524) == pytest.approx(0.0021)


def test_the_number_of_a_hole_can_be_read_over_the_path_that_opens_it():
    clamping = clamping_of(load_job(EXAMPLES / "moth-three-colours.toml"))
    down = Toolpath(np.array([[200.0, 5.0, z] for z in (20.0, 7.0, 2.0, 20.0)]),
                    np.array([Move.RAPID, Move.RAPID, Move.PLUNGE, Move.RAPID]))
    picture = tree(as_svg(path_picture("holes", down, clamping, [Named("hole 4", (200.0, 5.0), 8.0)])))
    (number,) = [one for one in picture.iter(f"{SVG}text") if one.text == "4"]
    (at,) = classed(picture, "bored")
    assert np.hypot(*(float(number.get(way)) - float(at.get(f"c{way}")) for way in "xy")) < 4.0
    assert number.get("stroke") == "#ffffff"


def test_a_path_is_drawn_over_its_whole_extent(build, pictures):
    for program in build.programs:
        picture = pictures[program.file_name.replace(".nc", ".svg")]
        drawn = [p for e in picture.iter(f"{SVG}path") if e.get("stroke-dasharray") is None and e.get("fill") is None
                 for p in points(e)]
        extent = np.ptp(np.concatenate(drawn), axis=0)
        cuts = program.toolpath.points[program.toolpath.kinds != 0]
        board = np.ptp(np.array(build.plan.clamping.board.outline.exterior.coords)[:, 0])
        assert extent[0] == pytest.approx(np.ptp(cuts[:, 0]), abs=0.3) or extent[0] >= 0.2 * board
        assert picture.get("viewBox")


def test_notebooks_show_boards_paths_and_drawings(build, tmp_path):
    from tests.report.conftest import DRAWING

    (tmp_path / "d.svg").write_text(DRAWING)
    board = build.plan.clamping.board
    root = tree(board._repr_svg_())
    frets = points(root.findall(f"{SVG}path")[-1])
    assert len(frets) == len(board.frets)
    assert np.diff([f[0, 0] for f in frets]) == pytest.approx(np.diff(board.frets.bass[:, 0]), abs=0.02)
    path = build.programs[0].toolpath
    assert len(tree(path._repr_svg_()).findall(f"{SVG}path")) == 2
    assert tree(type(path).empty()._repr_svg_()) is not None
    assert len(tree(read_artwork(tmp_path / "d.svg")._repr_svg_()).findall(f".//{SVG}path")) == 2


@pytest.mark.parametrize("name", ["fern-and-moth.toml", "boards/fanned.toml", "boards/bound-left-handed.toml"])
def test_the_last_fret_has_its_number_and_numbers_keep_apart(name):
    job = load_job(EXAMPLES / name)
    clamping = clamping_of(job)
    picture = tree(as_svg(board_from_above(clamping, opened=opened_of(clamping))))
    numbers = {int(t.text): t for t in picture.iter(f"{SVG}text") if (t.text or "").isdigit()}
    assert job.board.frets in numbers
    assert 1 in numbers
    x = sorted(float(t.get("x")) for t in numbers.values())
    assert min(np.diff(x)) >= 0.9 * 2 * 0.56 * float(numbers[1].get("font-size"))  # two digits, 0.56 em each


def test_every_picture_has_its_own_white_ground():
    """Dark words on a page that a browser has made dark were not seen: Chromium, its dark pages forced, leaves them."""
    ground = tree(as_svg(measuring_picture()))[1]
    assert (ground.tag, ground.get("width"), ground.get("height"), ground.get("fill")) == (
        f"{SVG}rect", "100%", "100%", "#ffffff")


def test_what_stays_closed_has_no_colour_in_the_picture_from_above(tmp_path):
    """A line 0.8 mm wide, which a cutter of 2 mm does not open, and a square with a corner of 0.1 mm, which it does."""
    square = '<rect x="4" y="4" width="12" height="12" fill="#225577"/>'
    line = '<rect x="4" y="22" width="30" height="0.8" fill="#7fb48a"/>'
    clamping = clamping_of(load_job(job(tmp_path, art=svg(square + line))))
    opened = opened_of(clamping)
    picture = tree(as_svg(board_from_above(clamping, opened=opened)))
    (dashed,), coloured = classed(picture, "closed"), {path.get("fill"): path.get("d") for path in picture.iter()}
    assert (dashed.get("fill"), coloured["#7fb48a"]) == (None, "")
    (left, low), (right, high) = (points(dashed)[0].min(axis=0), points(dashed)[0].max(axis=0))
    assert (right - left, high - low) == pytest.approx((30.0, 0.8), abs=0.02)
    assert len(coloured["#225577"]) > 20
    assert "Long dashes: the edge of the blank." in legend_above(clamping, opened)
    assert "Dashed, without its colour: drawn, but not cut" in legend_above(clamping, opened)
    whole = clamping_of(load_job(job(tmp_path, art=svg(square))))
    assert not classed(tree(as_svg(board_from_above(whole, opened=opened_of(whole)))), "closed")
    assert "Dashed, without" not in legend_above(whole, opened_of(whole))


def test_two_side_dots_have_a_place_each():
    """Thirds of the twelfth space, between 2^(-11/12) and 1/2 of the string: equal temperament."""
    board = part_of(load_job(EXAMPLES / "fern-and-moth.toml"))
    one, two = dot_rows(board, [9, 12])
    assert (one["dots"], two["dots"], len(one["each"]), len(two["each"])) == (1, 2, 1, 2)
    assert one["each"][0] == {"at": one["at"], "along_edge": one["along_edge"]}
    eleventh, twelfth = 640.0 * (1 - 2 ** (-11 / 12)), 320.0
    assert [e["at"][0] for e in two["each"]] == pytest.approx(
        [eleventh + share * (twelfth - eleventh) for share in (1 / 3, 2 / 3)], abs=0.001)
    assert np.mean([e["along_edge"] for e in two["each"]]) == pytest.approx(two["along_edge"], abs=2e-5)
    lines = dot_lines([one, two], "mm")
    assert [line.split()[:4] for line in lines[1:]] == [
        ["9", "1", "of", "1"], ["12", "1", "of", "2"], ["12", "2", "of", "2"]]


def test_every_mark_of_a_drilling_program_is_shown_and_no_number_lies_on_the_board():
    clamping = clamping_of(load_job(EXAMPLES / "moth-three-colours.toml"))
    step = next(s for s in clamping.steps if isinstance(s.operation, WitnessMarks))
    marks = step.operation.feature.places
    down = [[*at, z] for at in marks.tolist() for z in (20.0, 7.0, 20.0)]
    kinds = [kind for _ in marks for kind in (Move.RAPID, Move.PLUNGE, Move.RAPID)]
    picture = tree(as_svg(path_picture("marks", Toolpath(np.array(down), np.array(kinds)), clamping)))
    places = np.array([[float(d.get("cx")), float(d.get("cy"))] for d in classed(picture, "bored")])
    assert len(places) == len(marks) == 4
    from_left = marks[np.argsort(marks[:, 0], kind="stable")]
    apart = np.abs(np.subtract.outer(from_left[:, 0], from_left[:, 0]))
    assert np.abs(np.subtract.outer(np.sort(places[:, 0]), np.sort(places[:, 0]))) == pytest.approx(apart, abs=0.02)
    assert not len(bored(Toolpath(np.array([[0, 0, 9], [0, 0, 1], [5, 0, 1], [5, 0, 9.0]]),
                                  np.array([Move.RAPID, Move.PLUNGE, Move.CUT, Move.RAPID]))))


def test_numbers_in_a_path_picture_lie_over_the_board_and_its_cuts(pictures):
    picture = next(p for name, p in pictures.items() if "slots" in name)
    upper = min(float(re.match(r"M[-\d.]+,([-\d.]+)", e.get("d"))[1]) for e in picture.iter(f"{SVG}path"))
    boxes = [box for _, box in labels(picture)]
    assert len(boxes) >= 3
    assert all(box.bounds[3] <= upper for box in boxes)


@pytest.mark.in_every_run(0)
def test_letters_of_a_path_picture_can_be_read_on_paper_beside_another(pictures):
    """Three fifths of what lies between the margins of A4 and of a card, 105 mm: 7 points are 2.47 mm."""
    for name, picture in pictures.items():
        if re.match(r"\d\d-", name):
            wide = float(picture.get("viewBox").split()[2])
            sizes = [float(text.get("font-size")) for text in picture.iter(f"{SVG}text")]
            assert all(size * 105.0 / wide >= 2.47 for size in sizes), name


def test_no_number_of_a_path_picture_is_cut_off_wherever_the_path_lies():
    clamping, numbered = clamping_of(load_job(EXAMPLES / "moth-three-colours.toml")), 0
    for x in np.arange(60.0, 250.0, 1.0):
        points = np.array([[x, 0, 9.0], [x, 0, 5], [x + 120, 9, 5]])
        path = Toolpath(points, np.array([Move.RAPID, Move.PLUNGE, Move.CUT]))
        picture = tree(as_svg(path_picture("a run", path, clamping)))
        numbered += len(list(labels(picture)))
        assert cut_off(picture) == []
    assert numbered > 400


@pytest.mark.parametrize(("name", "whole"), [("fern-and-moth", False), ("parts/rosette", True)])
def test_a_path_picture_shows_a_wide_part_whole_and_draws_no_edge_where_it_ends(name, whole):
    clamping = clamping_of(load_job(EXAMPLES / f"{name}.toml"))
    points = np.array([[100.0, 0, 9.0], [100.0, 0, 5], [120.0, 9, 5]])
    picture = tree(as_svg(path_picture("a run", Toolpath(points, np.array([Move.RAPID, Move.PLUNGE, Move.CUT])),
                                       clamping)))
    wide = float(picture.get("viewBox").split()[2])
    assert (wide > clamping.board.length) == whole
    fill, edge = list(picture.iter(f"{SVG}path"))[:2]
    assert fill.get("stroke") is None
    assert edge.get("d").count("M") == 2  # both long edges of the board; the plate's edge, and that of its hole


def test_the_words_of_how_to_measure_a_mark_are_whole_and_apart():
    picture = measuring_picture()
    assert len(list(labels(picture))) == 6
    assert cut_off(picture) == over_one_another(picture) == []


def test_numbers_stand_over_the_upper_ends_of_slanted_lines():
    ends = np.array([[[10.0, -5.0], [20.0, 5.0]], [[60.0, -5.0], [50.0, 5.0]]])
    board = SimpleNamespace(landmarks=SimpleNamespace(ends=ends, number=np.array([3, 5])))
    view = View.around((0.0, -10.0, 100.0, 10.0), 1.0)
    placed = Labels([shapely.box(0, -10, 100, 5)])
    _numbers(placed, view, board, 2.0)
    told = [(node.text, float(node.get("x"))) for node in placed.drawn(view)]
    assert told == [("3", view((20.0, 0.0))[0][0]), ("5", view((50.0, 0.0))[0][0])]


def test_lines_are_thinner_than_half_of_the_words_beside_them(pictures):
    for name, picture in pictures.items():
        words = [float(e.get("font-size")) for e in picture.iter(f"{SVG}text")]
        widths = [float(e.get("stroke-width", 0)) for e in picture.iter()]
        assert 0 < max(widths) < max(words) / 2, name


def test_the_pictures_in_the_readme_are_as_the_program_draws_them():
    clamping = clamping_of(load_job(EXAMPLES / "fern-and-moth.toml"))
    drawn = {"board": board_from_above(clamping, opened=opened_of(clamping), tabs=tabs_of(clamping)),
             "section": section_picture(clamping, sections_of(clamping)[2])}
    for name, picture in drawn.items():
        kept = tree((EXAMPLES.parent / ".pictures" / f"{name}.svg").read_text())
        if name == "board":  # without the finishing cutter's reach, which is drawn from its path
            kept.remove(next(e for e in kept if e.get("stroke-dasharray", "").startswith("0 ")))
        for old, new in zip(kept.iter(), tree(as_svg(picture)).iter(), strict=True):
            (words, numbers), (now, moved) = (_apart([e.tag, e.text, *e.attrib.items()]) for e in (old, new))
            assert now == words, f"{name}: run .ci/refresh-readme"
            assert moved == pytest.approx(numbers, abs=0.011), f"{name}: run .ci/refresh-readme"


def _apart(values):
    """The words and the numbers of an element: the last digits of numbers may differ between machines."""
    text = str(values)
    return re.sub(r"-?\d*\.?\d+", "#", text), [float(one) for one in re.findall(r"-?\d*\.?\d+", text)]


def test_every_section_shows_wood_and_how_thick_and_wide_it_is():
    """The head plate ends in a point, and is narrow at its other end."""
    clamping = clamping_of(load_job(EXAMPLES / "parts" / "head-plate.toml"))
    for section in sections_of(clamping):
        root = tree(as_svg(section_picture(clamping, section)))
        said = [e.text for e in root.iter(f"{SVG}text")]
        assert "2.5 mm" in said, section.name
        assert any(words.endswith("wide") for words in said), section.name


def test_where_no_ridge_was_measured_the_map_says_why_it_is_white(built):
    checked = built.verification
    low = checked.ridges.y < 0
    half = replace(checked.ridges, **{f.name: value[low] for f in fields(checked.ridges)
                                      if np.shape(value := getattr(checked.ridges, f.name)) == low.shape})
    for found, white in ((checked.ridges, False), (half, True)):
        page = ridges(built.plan.clamping, replace(checked, ridges=found), built.report)
        assert any("White: none was measured" in words for words in page.itertext()) is white


def test_the_least_wood_under_an_inlay_is_that_under_its_path(tmp_path):
    """The warning, from the drawing alone, says what is left at least: a cutter stands on what lies uphill of it."""
    art = svg('<rect x="6" y="11" width="2" height="6" fill="#225577"/>'
              '<rect x="20" y="4" width="2" height="3" fill="#225577"/>')
    one = load_job(job(tmp_path, art=art, changes={
        "depth = 1.5": "depth = 5.0", "thickness = 6.5": "thickness = 5.4\nmin_web = 0.05"}))
    clamping = clamping_of(one)
    (told,) = [doubt.problem for doubt in doubts_of(one, clamping) if "stays under it" in doubt.problem]
    (section,) = [each for each in sections_of(clamping) if each.inlay == 0]
    least = float(re.search(r"([\d.]+) mm of wood", told)[1])
    made = build_all(one, resolution=0.5, pictures=False)
    left = float(re.search(r"at least ([\d.]+) mm", _section_words(made.plan, made.verification, section))[1])
    cut = next(program.toolpath for program in made.programs if program.operation == "pocket")
    assert left == pytest.approx(cut.points[:, 2].min(), abs=0.006)
    assert least <= left < least + 0.1


def test_a_section_at_an_end_with_rounded_corners_is_as_wide_as_the_end(tmp_path):
    """A thousandth of a millimetre further in it was 0.11 mm wider than the straight between the corners."""
    (tmp_path / "art.svg").write_text(svg('<rect x="6" y="11" width="5" height="6" fill="#225577"/>'))
    inlay = ('[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\ncutters = ["flat 3"]\nfill = "none"\n'
             "place = { at = [50.0, 0.0] }\n")
    (tmp_path / "plate.toml").write_text(PLATE.replace("width = 60.0", "width = 60.0\ncorner_radius = 12.0") + inlay)
    clamping = clamping_of(load_job(tmp_path / "plate.toml"))
    near, *_, far = sections_of(clamping)
    for section in (near, far):
        ((low, high),) = spans(wood_in_plan(clamping.board), section.x)
        assert high - low == pytest.approx(36.0, abs=0.005)
