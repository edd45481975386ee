"""What the page and the report say of how large and how thick things become."""

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from pathgen import build, load_job
from pathgen.app.blank import build_blank
from pathgen.base.errors import PathgenError
from pathgen.base.lowered import FallAway, Lowered, Relief
from pathgen.job.clamping import clamping_of, planned_of
from pathgen.job.doubts import doubts_of
from pathgen.programs.instructions import before_start, stand_out
from pathgen.report.sheet import seen
from pathgen.report.sheet.material import if_it_moves
from pathgen.report.sheet.page import board_words, size_lines
from pathgen.report.sheet.seen import _whole_and_halves
from pathgen.work.operations import SurfaceFinish
from pathgen.work.thin_wood import wood_under
from tests import small_board
from tests.job.test_plates import HOLE, PLATE
from tests.small_board import changed


def test_the_page_says_how_large_the_drawing_became(built):
    # 2 to 52 mm along, 3 to 17 mm across, placed as drawn
    assert built.report["inlays"][0]["placed"] == [{"width": 50.0, "height": 14.0, "share_of_drawn": 1.0}]
    assert size_lines(built.report, "mm") == ["Inlay 1, the whole drawing placed 50 mm by 14 mm, as drawn."]
    one = built.report["inlays"][0]
    many = {"inlays": [one | {"name": f"inlay {k}"} for k in (1, 2, 3)] + [one | {"name": "inlay 4", "placed": []}]}
    assert size_lines(many, "mm") == ["Each of inlays 1 to 3, the whole drawing placed 50 mm by 14 mm, as drawn."]
    assert "the whole drawing placed 50 mm by 14 mm, as drawn" in built.files()["setup.html"]


def test_the_page_says_both_thicknesses_where_the_second_cut_goes_deeper(built):
    clamping = built.plan.clamping
    assert "6 mm thick," in board_words(clamping)
    deeper = changed(clamping, SurfaceFinish, skim=0.3)
    assert "6 mm thick as first cut, 5.7 mm when finished," in board_words(deeper)


def test_how_far_the_cutter_must_stand_out_is_said_before_each_program(built):
    clamping = built.plan.clamping
    # the clamp is 15 mm high; the outline goes 0.2 mm below the blank; 2 mm more
    assert stand_out(clamping, -0.2) == 17.2
    words = ("The cutter must stand out 17.5 mm or more from the collet: "
             "the collet nut must clear clamps and blank.")
    outline = next(p for p in built.programs if p.operation == "outline")
    assert words in " ".join(outline.text.split(")\n(")).replace(".. ", "")
    assert words in built.files()["setup.html"]
    bare = replace(clamping, setup=replace(clamping.setup, keep_out=()))
    assert stand_out(bare, -0.2) == 7.0 + 0.2 + 2.0
    assert "no clamps are given" in " ".join(before_start(bare, outline.step, outline.start))


@pytest.mark.parametrize(("size", "told"), [
    ('width="40mm" height="30mm"', []),
    ('width="2" height="1.5"', ["placed 22.4 mm by 11.2 mm, 53 times its drawn size"]),
    ('width="1000mm" height="750mm"', ["placed 22.4 mm by 11.2 mm, 2.8 % of its drawn size"]),
])
def test_a_drawing_far_off_its_drawn_size_is_told(tmp_path, size, told):
    """2 without a unit is 2 px of 1/96 inch, 0.529 mm, and is made 28 mm wide."""
    path = small_board.job(tmp_path, changes={"at = [45.0, 0.0]": "at = [45.0, 0.0], width = 28.0"})
    art = tmp_path / "art.svg"
    art.write_text(art.read_text().replace('width="40mm" height="30mm"', size))
    made = load_job(path)
    found = [one for one in doubts_of(made, clamping_of(made)) if "drawn size" in one.problem]
    assert [one.problem for one in found] == told
    assert all(one.grave and "a number alone counts px" in one.remedy for one in found)
    assert all(one.remedy.startswith("if width = 28 in place is a slip, correct it; else write") for one in found)


def test_a_drawing_too_small_for_any_cutter_is_told_its_size(tmp_path):
    """0.9 in was meant in a job in mm: it was told to take a cutter of 0.13 mm."""
    made = load_job(small_board.job(tmp_path, changes={"at = [45.0, 0.0]": "at = [45.0, 0.0], width = 0.9"}))
    with pytest.raises(PathgenError, match=r"^inlay 1, placed 0\.72 mm by 0\.36 mm, [\d.]+ % of its drawn size: no c"):
        planned_of(made, clamping_of(made))


def _outs(text):
    """What is said of how far a cutter must stand out, mm, in a page or in a program's comments."""
    return [float(v) for v in re.findall(r"must stand out ([\d.]+) mm", re.sub(r"\)\n\((\.\. )?", " ", text))]


def test_a_cutter_is_fitted_to_stand_out_for_all_programs_that_it_stays_in_for(tmp_path):
    """Drawn further out between them it would lose its Z 0."""
    shallow = HOLE.replace("at = [50.0, 0.0]", "at = [20.0, 0.0]") + "depth = 1.0\n"
    (tmp_path / "job.toml").write_text(PLATE + shallow + HOLE)
    made = build(load_job(tmp_path / "job.toml"), resolution=0.3)
    assert len(made.programs) == 3
    first, *_ = lows = [p.toolpath.points[:, 2].min() for p in made.programs]
    assert first == pytest.approx(2.0)  # mm: 1 mm deep in a plate of 3 mm
    assert min(lows) < 0.0
    out = np.ceil((3.0 - min(lows) + 2.0) * 2 - 1e-9) / 2  # 2 mm clear, by halves
    assert [_outs(p.text) for p in made.programs] == [[out]] * 3
    assert _outs(made.files()["setup.html"]) == [out] * 3


def test_on_a_common_blank_other_parts_programs_count_too(tmp_path):
    shallow = HOLE + "depth = 1.0\n"
    (tmp_path / "one.toml").write_text(PLATE.replace('[outline]\ncutter = "flat 3"\n', "") + shallow)
    (tmp_path / "two.toml").write_text(PLATE)
    at = "".join(f'[[part]]\njob = "{name}.toml"\nat = [{x}, 0.0]\n' for name, x in (("one", 65.0), ("two", 190.0)))
    (tmp_path / "blank.toml").write_text(f"[stock]\nlength = 260.0\nwidth = 90.0\nthickness = 3.0\n{at}")
    made = build_blank(load_job(tmp_path / "blank.toml"), resolution=0.3)
    one, two = ([out for p in part.programs for out in _outs(p.text)] for part in made.builds)
    assert one == two
    assert two[0] > 5.0  # mm: its outline goes through the blank of 3 mm


def test_a_long_picture_at_true_size_is_printed_in_parts_that_fit_the_paper():
    for long, count in ((300.0, 2), (400.0, 3), (725.0, 5)):
        whole, *on_paper = _whole_and_halves(np.zeros((4, 40, 3), np.uint8), "w", "n", long, "c", true_size=True)
        parts = [part for figure in on_paper for part in figure.iter("svg")]
        assert [part.get("style") for part in parts] == [f"width: {long / count:.2f}mm; max-width: none"] * count
        assert long / count <= 180.0  # mm: A4 within its margins of 12 mm has 186, Letter 191.9
        shown = [float(part.get("viewBox").split()[2]) for part in parts]
        assert shown == [pytest.approx(40 / count, abs=0.01)] * count
    whole, on_paper = _whole_and_halves(np.zeros((4, 40, 3), np.uint8), "w", "n", 300.0, "c", true_size=True)
    assert (whole.get("class"), on_paper.get("class")) == ("wide screen", "paper")  # never both in one place
    whole, on_paper = _whole_and_halves(np.zeros((4, 40, 3), np.uint8), "w", "n", 300.0, "c")
    assert (whole.get("class"), on_paper.get("class")) == ("wide screen", "paper")
    assert not any("width" in (p.get("style") or "") for p in whole.iter())  # as wide as the screen has room


def test_a_picture_that_is_not_loaded_has_its_words_in_its_place():
    whole, _ = _whole_and_halves(np.zeros((4, 40, 3), np.uint8), "The board from above: long", "n", 300.0, "c")
    drawn = [e for e in whole.iter() if e.tag in ("text", "image")]
    assert [(e.tag, e.text) for e in drawn] == [("text", "The board from above"), ("image", None)]  # the image over it


def test_contrast_is_told_where_the_woods_colour_is_known(built, monkeypatch):
    monkeypatch.setattr(seen, "contrast_seen", lambda *_: {"#112233": 2.5, "#ffffff": 9.0})
    assert list(seen._contrast_words(built.plan.clamping, None, None)) == []
    (words,) = seen._contrast_words(built.plan.clamping, None, "#5a3d2b")
    assert "#112233 2.5:1, #ffffff 9.0:1; under 3:1, hard to tell by lightness alone: #112233" in words


def test_wood_under_pockets_is_counted_where_they_are_cut(tmp_path):
    """Lines too thin for the cutter lie furthest out, where the surface is lowest: nothing is taken there."""
    art = small_board.svg('<path d="M8 2H28V2.4H8ZM8 11H28V16H8ZM8 25H28V25.4H8Z" fill="#225577"/>')
    result = build(load_job(small_board.job(tmp_path, art=art)), resolution=0.3)
    page = result.files(shaded=False)["setup.html"]
    (left,) = re.findall(r"here or elsewhere, at least ([\d.]+) mm of wood is left", page)
    (pocket,) = (p for p in result.programs if p.operation == "pocket")
    (lowest,) = re.findall(r"deep, lowest Z ([\d.]+) mm", page)
    assert left == lowest
    assert float(left) == pytest.approx(pocket.toolpath.points[:, 2].min(), abs=0.006)
    clamping = result.plan.clamping
    assert float(left) > wood_under(clamping.board.surface, clamping.inlays[0].area, 1.5)[1].min() + 0.1


def test_what_a_shift_does_is_told_where_any_inlay_is_cut_again(built):
    report = built.report
    assert if_it_moves(built.plan.clamping, report) is not None
    first = next(row["order"] for row in report["programs"] if row["operation"] == "surface-finish")
    said = f"ends with the finishing passes of program {first} again, coordinate for coordinate: where that was run as"
    assert report["inlays"][0]["second_cut"]["repeats_first_pass"]
    assert said in "".join(if_it_moves(built.plan.clamping, report).itertext())
    second, never = dict(report["inlays"][0]), {**report["inlays"][0], "second_cut": None}
    assert if_it_moves(built.plan.clamping, {**report, "inlays": [never, second]}) is not None
    assert if_it_moves(built.plan.clamping, {**report, "inlays": [never, never]}) is None


def test_relief_and_fall_away_are_told_each_where_there_is_one(built):
    clamping, surface = built.plan.clamping, built.plan.clamping.board.surface
    size = {name: getattr(surface, name) for name in ("thickness", "radius_nut", "radius_end", "length")}
    dip = {"relief": Relief(depth=0.15, deepest=80.0, end=120.0)}
    fall = {"fall_away": FallAway(start=130.0, end=180.0, drop=0.4)}
    for lowered, words in ((dip, ["relief 0.15 mm deep"]), (fall, ["falling away 0.4 mm"]),
                           (dip | fall, ["relief 0.15 mm deep", "falling away 0.4 mm"])):
        board = SimpleNamespace(length=clamping.board.length, names=clamping.board.names,
                                surface=Lowered(**size, **lowered))
        said = board_words(SimpleNamespace(board=board, units="mm", finished_surface=board.surface))
        assert [part for part in said.split(", ") if part.startswith(("relief", "falling"))] == words


def test_a_board_is_as_long_as_it_is_with_what_lies_behind_the_nut_and_a_zero_fret_is_not_counted():
    """19 frets of 630 mm, 14 mm past the last, an arch of 6 mm and 12 mm behind the zero fret."""
    path = Path(__file__).parents[2] / "examples" / "boards" / "zero-fret-arched.toml"
    said = board_words(clamping_of(load_job(path)))
    long = 630.0 * (1 - 2 ** (-19 / 12)) + 14.0 + 6.0 + 12.0
    assert said.startswith(f"{long:.2f} mm long (12 mm of it behind the nut), 19 frets and a zero fret, 7 mm thick")


def test_a_fanned_board_says_its_length_over_all_and_on_the_centre_line():
    """One over 541 mm of the machine was "516.39 mm long"; one with a stepped end as long as on its shorter side."""
    said = {}
    for file in ("fanned", "ratios-stepped"):
        clamping = clamping_of(load_job(Path(__file__).parents[2] / "examples" / "boards" / f"{file}.toml"))
        said[file] = board_words(clamping), np.ptp(clamping.board.outline.bounds[::2]), clamping.board.length
    words, over_all, length = said["fanned"]
    assert words.startswith(f"{over_all:.2f} mm long over all, {length:.2f} mm on the centre-line, 24 frets")
    words, over_all, length = said["ratios-stepped"]
    assert over_all == pytest.approx(length + 9.0)
    assert words.startswith(f"{over_all:.2f} mm long, 15 frets")


def test_a_drawn_board_is_as_long_as_its_drawing(built):
    """Not as [board] says, from the nut to a little past the last fret."""
    clamping = built.plan.clamping
    drawn = replace(clamping.board, outline=shapely.box(-10.0, -20.0, 113.5, 20.0), drawn=True)
    said = board_words(replace(clamping, board=drawn))
    assert said.startswith("123.5 mm long, ")
