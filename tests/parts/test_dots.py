"""Face dots: where they lie, and that bad ones are refused with numbers."""

import math
from functools import partial

import numpy as np
import pytest
import shapely

import pathgen
from pathgen.base.errors import JobError
from pathgen.parts.fingerboard.dots import Dots, dot_area, dot_places, template_rows, usual_frets
from pathgen.parts.fingerboard.rows import nut_row
from pathgen.report.fretting import side_template
from pathgen.report.sheet import seen
from pathgen.work.features import Slots
from tests import small_board
from tests.boards import fingerboard

PLAIN = {"scale_lengths": (640.0, 640.0), "frets": 24, "nut_width": 42.0, "end_width": 56.0, "past_last_fret": 10.0,
         "thickness": 6.5, "radius": (250.0, 250.0)}
BOARD = fingerboard(**PLAIN)
plain = partial(Dots, depth=1.5, cutters=("flat",))


def middle(fret):
    """Half-way between a fret and the one before, from the rule of equal temperament."""
    return 640.0 * (1 - (2 ** (-fret / 12) + 2 ** (-(fret - 1) / 12)) / 2)


def test_dots_lie_midway_and_octaves_have_two():
    """3 5 7 9 12 15 17 19 21 24 with two at each octave: common practice."""
    places = dict(dot_places(BOARD, plain(diameter=6.0)))
    assert list(places) == [3, 5, 7, 9, 12, 15, 17, 19, 21, 24]
    assert [len(p) for p in places.values()] == [1, 1, 1, 1, 2, 1, 1, 1, 1, 2]
    assert places[5][0] == pytest.approx([middle(5), 0.0], abs=1e-9)
    assert places[12][:, 0] == pytest.approx([middle(12)] * 2, abs=1e-9)
    assert places[12][0, 1] == pytest.approx(-places[12][1, 1])


DULCIMER = fingerboard(**PLAIN | {"frets": 14}, ratios=(9 / 8, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 16 / 9, 2.0))


@pytest.mark.parametrize(("board", "frets"), [
    (DULCIMER, [7, 14]), (fingerboard(**PLAIN, divisions=19), [19]), (fingerboard(**PLAIN, nut_offset=0.5), None),
    (fingerboard(**PLAIN | {"frets": 6}), [3, 5]), (fingerboard(**PLAIN | {"frets": 6}, divisions=19), []),
])
def test_where_fret_12_is_no_octave_octaves_alone_have_dots_unless_frets_are_named(board, frets):
    """On a board of ratios whose octave is fret 7 they stood at 3, 5, 7, 9 and 12, and nothing was said."""
    frets = [3, 5, 7, 9, 12, 15, 17, 19, 21, 24] if frets is None else frets
    assert list(usual_frets(board.layout)) == frets
    if frets:
        assert [fret for fret, _ in dot_places(board, plain(diameter=4.0))] == frets
    else:
        with pytest.raises(JobError, match=r"no fret of the board is an octave.*list those with dots"):
            dot_places(board, plain(diameter=4.0))
    assert [fret for fret, _ in dot_places(board, plain(diameter=4.0, frets=(3,)))] == [3]


def test_two_along_and_on_a_side_line():
    along = dict(dot_places(BOARD, plain(diameter=4.0, octave="along", frets=(12,))))[12]
    at = [640.0 * (1 - 2 ** (-f / 12)) for f in (11, 12)]
    assert along[:, 0] == pytest.approx([at[0] + (at[1] - at[0]) * s for s in (1 / 3, 2 / 3)], abs=1e-9)
    edge = shapely.LineString([(0.0, -21.0), (BOARD.length, -28.0)])
    for _, points in dot_places(BOARD, plain(diameter=4.0, line="bass", inset=6.0, frets=(3, 5, 7))):
        assert shapely.distance(edge, shapely.Point(points[0])) == pytest.approx(6.0, abs=1e-9)


@pytest.mark.parametrize(("line", "edge"), [("bass", -1.0), ("treble", 1.0)])
def test_along_an_edge_an_octave_has_its_second_dot_inside_the_line(line, edge):
    """Half the board's width apart, as in the middle, one would lie off the board, and behind each other two of 6 mm
    have no room at fret 24."""
    dots = plain(diameter=6.0, line=line, inset=6.0)
    first, second = dict(dot_places(BOARD, dots))[12]
    side = shapely.LineString([(0.0, edge * 21.0), (BOARD.length, edge * 28.0)])
    assert shapely.distance(side, shapely.Point(first)) == pytest.approx(6.0, abs=1e-6)
    assert second - first == pytest.approx([0.0, -edge * 9.0])
    assert len(dot_area(BOARD, dots, fret_width=2.4).geoms) == 12


def test_on_a_fan_they_lie_midway_on_the_centre_line():
    board = fingerboard(**(PLAIN | {"scale_lengths": (660.0, 630.0)}), straight_fret=7)
    for fret, points in dot_places(board, plain(diameter=6.0, frets=(3, 5, 15))):
        assert points[0] == pytest.approx([board.frets.distance[fret - 2 : fret].mean(), 0.0], abs=1e-9)


def test_their_pockets_are_circles_with_the_gap():
    area = dot_area(BOARD, plain(diameter=6.0), gap=0.05, fret_width=2.4)
    assert len(area.geoms) == 12
    assert area.area == pytest.approx(12 * math.pi * 3.05**2, rel=2e-4)


@pytest.mark.parametrize(("dots", "words"), [
    (plain(diameter=18.0, frets=(21,)), "fret 21 reaches under a fret: 18.00 mm"),
    (plain(diameter=6.0, frets=(25,)), "no fret 25"),
    (plain(diameter=6.0, line="bass", inset=2.0), "over the edge"),
    (plain(diameter=6.0, apart=5.0), "two dots at fret 12 meet: 5.00 mm"),
    (plain(diameter=6.0, octave="along", frets=(24,)), 'fret 24 .* leave that fret out, or write octave = "across"$'),
    (plain(diameter=3.5, octave="along", frets=(24,)), 'fret 24 meet.* or less, or write octave = "across"$'),
    (plain(diameter=18.0, octave="along", frets=(21,)), "fret 21 reaches .* or leave that fret out$"),
])
def test_dots_that_cannot_be_are_refused_with_numbers(dots, words):
    with pytest.raises(JobError, match=words):
        dot_area(BOARD, dots, fret_width=2.4)


def test_a_dot_between_slots_may_still_reach_under_a_crown():
    """11.31 mm from fret 20 to 21 at 640 mm (equal temperament): 9.5 fits between slots of 0.6, not crowns of 2.4."""
    dots = plain(diameter=9.5, frets=(21,))
    assert len(dot_area(BOARD, dots, fret_width=0.6).geoms) == 1
    with pytest.raises(JobError, match=r"leaves 8\.91 mm"):
        dot_area(BOARD, dots, fret_width=2.4)


def test_numbers_of_near_side_dots_do_not_meet_on_the_template():
    dots = [{"fret": fret, "each": [{"along_edge": at}]} for fret, at in ((19, 100.0), (21, 102.0), (24, 110.0))]
    picture = side_template({"side_dots": dots, "job_units": "mm", "frets": [{"wood": {"edge": 6.0}}]})
    assert "50 mm: measure it on the print" in [one.text for one in picture.iter("text")]
    numbers = {one.text: (float(one.get("x")), float(one.get("y"))) for one in picture.iter() if one.text and
               one.text.isdigit()}
    assert numbers["24"][1] == numbers["19"][1]
    assert abs(numbers["21"][1] - numbers["19"][1]) >= 3.0  # letters of 3 mm, 2 mm apart


def test_rows_of_the_template_hold_every_place():
    """And hold it whole: a cross of 3 mm on a row's end would be cut away in part."""
    every = [2.0, 10.0, 164.0, 166.0, 169.0, 171.0, 400.0, 1360.158]
    rows = template_rows(every, 170.0, 10.0)
    assert [start + at for start, places in rows for at in places] == pytest.approx(every)
    assert all(5.0 <= at <= 165.0 for start, places in rows for at in places if start)
    assert [places for start, places in rows if not start] == [[2.0, 10.0, 164.0]]


JOB = small_board.JOB[: small_board.JOB.index("[[inlay]]")] + """
[dots]
diameter = 5.0
depth = 1.2
cutters = ["flat"]
"""


def test_dots_are_pocketed_and_verified_like_inlays(tmp_path, monkeypatch):
    (tmp_path / "board.toml").write_text(JOB)
    result = pathgen.build(pathgen.load_job(tmp_path / "board.toml"), resolution=0.2)
    assert result.passed
    assert "The inlays, before and after" in result.files()["setup.html"]
    monkeypatch.setattr(seen, "PAGE", 20.0)  # of dots over more than a sheet there would be sheets of bare wood
    assert "The inlays, before and after" not in result.files()["setup.html"]
    cut = next(p for p in result.programs if p.operation == "pocket").toolpath.points
    low = cut[cut[:, 2] < 6.0]
    assert {3, 5} == {int(np.argmin([abs(x - 300 / 640 * middle(f)) for f in range(1, 6)])) + 1 for x in low[:, 0]}
    # the axis of a 2 mm cutter stays 1 mm inside a pocket 5.1 mm wide
    centres = np.array([[300 / 640 * middle(f), 0.0] for f in (3, 5)])
    off = np.linalg.norm(low[:, None, :2] - centres, axis=2).min(axis=1)
    assert 1.5 < off.max() <= 1.552
    (tmp_path / "wide.toml").write_text(JOB.replace("diameter = 2.0", "diameter = 5.5"))
    with pytest.raises(JobError, match=r"the smallest is 5.5 mm, and a pocket 5.1 mm"):
        pathgen.build(pathgen.load_job(tmp_path / "wide.toml"))


def test_a_v_wider_than_the_dots_goes_in_by_its_tip(tmp_path):
    """It was refused for its diameter, with a smaller cutter as the only way out."""
    v = '[[cutter]]\nname = "v"\nshape = "v"\nangle = 60\ndiameter = 6.0\nspeed = 16000\nfeed = 600.0\n' \
        'plunge = 200.0\nstepdown = 0.5\n'
    (tmp_path / "board.toml").write_text(f'{JOB.replace("diameter = 5.0", "diameter = 3.0")}{v}'.replace(
        'cutters = ["flat"]\n', 'cutters = ["v"]\nfill = "resin"\n'))
    assert pathgen.build(pathgen.load_job(tmp_path / "board.toml"), resolution=0.2).passed


def test_the_slot_of_a_slanting_nut_is_told_where_it_crosses_the_centre_line():
    board = fingerboard(**(PLAIN | {"scale_lengths": (660.0, 630.0)}), straight_fret=7)
    (x0, y0), (x1, y1) = board.nut_line
    slope = (x1 - x0) / (y1 - y0)
    lines = np.array([[[x0, y0], [x1 + 10.0 * slope, y1 + 10.0]]])  # it reaches out unevenly
    slot = nut_row(board, Slots(lines=lines, number=np.zeros(1, int), width=3.0, depth=2.0),
                   board.surface)["slot"]
    crossing, half = x0 - y0 * slope, 1.5 * math.hypot(slope, 1.0)
    assert half > 1.51
    assert slot["along"] == pytest.approx([crossing - half, crossing + half], abs=1e-3)
