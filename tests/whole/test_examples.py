"""The example boards: each builds and verifies, and the fanned one's slots are on their lines in the written text."""

import functools
from pathlib import Path

import numpy as np
import pytest
import shapely
from svgpathtools import parse_path

from pathgen import build, load_job
from pathgen.work.operations import Outline
from tests.as_made import hold
from tests.report.labels import cut_off, labels, over_one_another, pictures_of
from tests.small_board import moves

EXAMPLES = Path(__file__).parents[2] / "examples" / "boards"


@pytest.fixture(scope="module")
def built():
    """Each example's build, made once, on a coarse grid."""
    return functools.cache(lambda name: build(load_job(EXAMPLES / f"{name}.toml"), resolution=0.4))


@pytest.fixture(scope="module")
def page(built):
    """Each example's page, made once."""
    return functools.cache(lambda name: built(name).files(shaded=False)["setup.html"])


def written(text):
    """(n, 4) positions of a program, and 1 where it comes there at a feed."""
    _, end, rapid = moves(text)
    return np.column_stack([end, ~rapid])


def program(result, operation):
    return next(p for p in result.programs if p.operation == operation)


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("name", sorted(p.stem for p in EXAMPLES.glob("*.toml")))
def test_each_builds_and_verifies(built, name):
    result = built(name)
    assert [f for f in result.verification.findings if f.severity != "note"] == []
    assert result.passed
    assert len(result.report["frets"]) == len(result.plan.clamping.board.frets)


@pytest.mark.in_every_run(3)
@pytest.mark.parametrize("name", sorted(p.stem for p in EXAMPLES.glob("*.toml")))
def test_each_is_as_made(built, name):
    hold(f"example {name}", built(name), pages=True)


def test_fanned_slots_are_within_2_um_of_their_lines(built):
    result = built("fanned")
    points = written(program(result, "slots").text)
    board = result.plan.clamping.board
    cut = points[(points[:, 3] == 1) & (points[:, 2] < 5.0)]
    bass, treble = board.frets.bass, board.frets.treble
    unit = (treble - bass) / np.linalg.norm(treble - bass, axis=1)[:, None]
    off = (cut[:, None, 0] - bass[:, 0]) * unit[:, 1] - (cut[:, None, 1] - bass[:, 1]) * unit[:, 0]
    nearest = np.argmin(np.abs(off), axis=1)
    side = off[np.arange(len(off)), nearest]
    # a 0.5 mm cutter in a slot of 0.584: two lines, 0.042 to each side
    assert np.abs(np.abs(side) - 0.042).max() < 0.0005
    for fret in range(24):
        own = side[nearest == fret]
        assert abs(own.max() + own.min()) / 2 < 0.0002
        assert len(own) > 20


def test_no_stroke_of_a_thin_cutter_goes_straight_down_into_wood(built):
    result = built("fanned")
    points = written(program(result, "slots").text)
    down = np.diff(points[:, 2])
    sideways = np.hypot(*np.diff(points[:, :2], axis=0).T)
    surface = result.plan.clamping.board.surface
    below = points[1:, 2] < surface.height(points[1:, 0], points[1:, 1]) - 0.02
    steep = (down < 0) & (points[1:, 3] == 1) & below & (-down > 0.2 * sideways)
    assert not steep.any()


def test_pecks_stay_within_the_stepdown(built):
    result = built("ratios-stepped")
    points = written(program(result, "slots").text)
    moves = np.diff(points[:, :3], axis=0)
    straight = (np.hypot(moves[:, 0], moves[:, 1]) < 1e-9) & (moves[:, 2] < 0) & (points[1:, 3] == 1)
    surface = result.plan.clamping.board.surface
    inside = straight & (points[:-1, 2] < surface.height(points[:-1, 0], points[:-1, 1]))
    assert inside.sum() >= 15 * 6 * 3
    assert -moves[inside, 2].min() <= 0.3 + 1e-6


def test_inches_are_written_in_inches_from_the_corner_of_the_blank(built):
    result = built("inches")
    text = program(result, "slots").text
    assert "G20 G90 G94 G17 G54" in text
    points = written(text)
    cut = points[(points[:, 3] == 1) & (points[:, 2] < 0.2)]
    # X 0 Y 0 at the blank's corner, nut end, bass side: 0.9 in before the nut and 1.5 in beside the centre-line
    fret_12 = np.abs(cut[:, 0] - (0.9 + 12.625)) < 0.01
    assert fret_12.any()
    assert np.abs(cut[fret_12, 0] - 13.525).max() < 2e-5
    assert np.median(cut[fret_12, 1]) == pytest.approx(1.5, abs=0.08)
    assert cut[:, 1].min() > 0


def test_turned_board_with_zero_in_a_corner(built):
    result = built("bound-left-handed")
    clamping = result.plan.clamping
    points = written(program(result, "holes").text)
    # strings along Y: (x, y) to (-y, x); zero at the blank's nut end, treble side: -28, and -38 for a left-handed board
    hole = np.array([-20.0, 30.0]) - [-28.0, -38.0]
    away = np.hypot(points[:, 0] + hole[1], points[:, 1] - hole[0])
    assert np.nanmin(away) == pytest.approx(1.0, abs=1e-4)
    assert clamping.zero == (-28.0, -38.0)
    there_and_back = clamping.to_board(clamping.to_machine(np.array([[12.0, -3.0, 4.0]])))
    assert there_and_back == pytest.approx(np.array([[12.0, -3.0, 4.0]]), abs=1e-12)


def test_slots_end_at_the_binding(built):
    result = built("bound-left-handed")
    board = result.plan.clamping.board
    path = program(result, "slots").toolpath.points
    low = path[path[:, 2] < 5.0]
    gap = (board.edges.at_nut + board.edges.slope * low[:, 0] - np.abs(low[:, 1])) / np.hypot(1, board.edges.slope)
    # the cutter's round end, 0.25 in radius, reaches the binding's face and not into it
    assert gap.min() == pytest.approx(1.5 + 0.25, abs=0.03)


def test_a_skin_is_left_all_round(built):
    result = built("ratios-stepped")
    points = written(program(result, "outline").text)
    assert points[points[:, 3] == 1, 2].min() == pytest.approx(0.3, abs=1e-6)
    assert result.plan.clamping.feature(Outline).tabs == 0


@pytest.mark.in_every_run(0)
def test_a_drawn_outline_is_where_the_frets_end(built):
    result = built("drawn-outline")
    board = result.plan.clamping.board
    assert board.outline.bounds == pytest.approx((0.0, -28.0, 414.96, 28.0), abs=0.01)
    ends = shapely.points(np.concatenate([board.frets.bass, board.frets.treble]))
    assert shapely.distance(ends, board.outline.exterior).max() < 1e-9
    # 19 equal divisions: the 19th fret halves the string
    assert board.frets.distance[18] == pytest.approx(285.0, abs=1e-9)


def test_a_stepped_end_and_its_inner_corner(built):
    board = built("ratios-stepped").plan.clamping.board
    assert board.outline.bounds[2] == pytest.approx(board.length + 9.0)
    # a corner that points inward keeps the radius of the cutter, 1.5 mm
    inward = shapely.Point(board.length, 0.0).buffer(0.01)
    assert board.outline.exterior.distance(inward) == pytest.approx(1.5 * (np.sqrt(2) - 1) - 0.01, abs=2e-3)


@pytest.mark.in_every_run(5)
@pytest.mark.parametrize("name", sorted(p.stem for p in EXAMPLES.glob("*.toml")))
def test_words_lie_over_no_others_and_whole_in_every_picture(page, name):
    for picture in pictures_of(page(name)):
        assert over_one_another(picture) == [], picture.get("aria-label")
        assert cut_off(picture) == [], picture.get("aria-label")


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("name", sorted(p.stem for p in EXAMPLES.glob("*.toml")))
def test_no_words_lie_over_the_board(page, name):
    (picture,) = [p for p in pictures_of(page(name)) if p.get("aria-label", "").endswith(" from above")]
    paths = [e.get("d") for e in picture.iter() if e.get("class") == "board"]
    rings = [sub for path in paths for sub in parse_path(path).continuous_subpaths()]
    board = shapely.Polygon([(p.start.real, p.start.imag) for p in rings[0]])
    assert board.area > 1000
    assert [words for words, box in labels(picture) if box.intersection(board).area > 0.05 * box.area] == []
