"""Let-in pieces: they go in everywhere, and are cut as drawn."""

import re

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, box

from pathgen.base.errors import CutterError, JobError
from pathgen.base.toolpath import Move
from pathgen.strategies.matching import LetIn, NoRoomError, keeping, let_in, misfits, round_pieces, rounded_both_ways
from pathgen.strategies.pocketing import PocketOptions, pocket
from tests.drawings import BOARD, ball_end, flat_end, mixed, ring, star

CUTTERS = (flat_end(3.0), flat_end(1.5))
GAP = 0.04
REST = {"through": 0.1, "where": "inlay"}


def fitted(region: shapely.Geometry, *, from_back: bool = False) -> LetIn:
    """The let-in of a drawing with the cutters of these tests."""
    return let_in(
        region, pocket_cutters=CUTTERS, piece_cutter=flat_end(2.0), gap=GAP, thickness=1.8,
        from_back=from_back, **REST,
    )


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("region", [mixed(6.0), star(80, 0, 14, 6), ring(80, 0, 12, 5), box(0, 0, 30, 10)])
def test_the_piece_goes_into_the_pocket_that_is_really_cut(region: shapely.Geometry) -> None:
    made = fitted(region)
    cuts = pocket(made.pocket, surface=BOARD, cutters=CUTTERS, depth=1.4, safe_z=18.0,
                  options=PocketOptions(smallest=0.0))
    assert len(misfits(made.piece, cuts[-1].opened, GAP)) == 0
    assert made.piece.area > 0.9 * made.pocket.area - GAP * made.pocket.length
    # the check can fail: with 0.03 mm more gap than was left it does
    assert len(misfits(made.piece, cuts[-1].opened, GAP + 0.03)) > 0


def test_a_piece_as_sharp_as_the_drawing_would_not_go_in() -> None:
    region = star(80, 0, 14, 6)
    cuts = pocket(region, surface=BOARD, cutters=CUTTERS, depth=1.4, safe_z=18.0)
    assert len(misfits(region.buffer(-GAP), cuts[-1].opened, GAP)) >= 5


@pytest.mark.parametrize("from_back", [False, True])
def test_the_program_round_the_piece_leaves_the_piece(from_back: bool) -> None:
    made = fitted(star(80, 0, 14, 6), from_back=from_back)
    path = round_pieces(made.stock, cutter=flat_end(2.0), thickness=1.8, through=0.1, safe_z=12.0)
    low = path.points[:, 2] < 0.0
    line = shapely.linestrings(np.stack([path.points[:-1, :2], path.points[1:, :2]], 1)[low[1:] & low[:-1]])
    kerf = shapely.union_all(shapely.buffer(line, 1.0, quad_segs=64))
    assert kerf.intersection(made.stock).area < 0.02
    assert kerf.union(made.stock).buffer(-0.003).buffer(0.01).contains(made.stock.buffer(1.9))
    assert path.points[:, 2].min() == pytest.approx(-0.1)
    assert made.stock.area == pytest.approx(made.piece.area, rel=1e-6)
    # climb: the piece on the right, so clockwise round it
    ends = path.points[low][-50:, :2]
    middle = np.array(made.stock.centroid.coords[0])
    a, b = ends[:-1] - middle, ends[1:] - middle
    assert (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() < 0
    assert np.all(path.kinds[path.points[:, 2] < 1.7] != Move.RAPID)


def test_from_the_back_is_mirrored() -> None:
    lopsided = shapely.union(box(0, 0, 20, 8), box(0, 0, 8, 20))
    front, back = fitted(lopsided), fitted(lopsided, from_back=True)
    flipped = shapely.transform(front.stock, lambda xy: xy * [-1.0, 1.0])
    to = np.array(back.stock.centroid.coords[0]) - np.array(flipped.centroid.coords[0])
    assert shapely.affinity.translate(flipped, *to).symmetric_difference(back.stock).area < 1e-3
    to = np.array(back.stock.centroid.coords[0]) - np.array(front.stock.centroid.coords[0])
    assert shapely.affinity.translate(front.stock, *to).symmetric_difference(back.stock).area > 5.0


def test_both_kinds_of_corners_are_rounded() -> None:
    corner = shapely.union(box(0, 0, 20, 8), box(0, 0, 8, 20))
    shape = rounded_both_ways(corner, inner=0.75, outer=1.0)
    assert shape.distance(Point(0, 0)) == pytest.approx((2**0.5 - 1) * 0.75, abs=0.006)
    # the inner corner at (8, 8) is filled out to a radius of 1
    assert Point(8, 8).distance(shape.exterior) == pytest.approx((2**0.5 - 1) * 1.0, abs=0.006)
    assert shape.contains(Point(8.1, 8.1))


def test_what_is_lost_and_gained_is_told() -> None:
    made = fitted(MultiPolygon([box(0, 0, 30, 10), box(0, 20, 30, 21)]))
    assert made.lost.area == pytest.approx(30.0, rel=0.05)
    island = fitted(ring(80, 0, 12, 0.6))
    assert island.gained.area == pytest.approx(np.pi * 0.36, rel=0.05)


@pytest.mark.parametrize(("apart", "gained"), [(0.82, False), (0.78, True)])
def test_wood_stays_that_is_as_wide_as_the_cutter_less_both_gaps(apart: float, gained: bool) -> None:
    """D: a piece is smaller by its gap, so 2 mm go round wood of 2 - 2 (0.6) mm between two. Wider wood was taken."""
    bars = MultiPolygon([box(0, 0, 10, 4), box(0, 4 + apart, 10, 8 + apart)])
    made = let_in(bars, pocket_cutters=CUTTERS, piece_cutter=flat_end(2.0), gap=0.6, thickness=1.8, from_back=False,
                  **REST)
    assert made.gained.area > 0.8 * 10 * apart if gained else made.gained.area < 0.05
    assert shapely.get_num_geometries(made.piece) == (1 if gained else 2)
    # both pieces are cut free, and whole
    path = round_pieces(made.piece, cutter=flat_end(2.0), thickness=1.8, through=0.1, safe_z=12.0)
    low = path.points[:, 2] < 0.0
    line = shapely.linestrings(np.stack([path.points[:-1, :2], path.points[1:, :2]], 1)[low[1:] & low[:-1]])
    kerf = shapely.union_all(shapely.buffer(line, 1.0, quad_segs=64))
    assert shapely.difference(made.piece.boundary, kerf.buffer(0.01)).length == 0.0
    assert kerf.intersection(made.piece).area < 0.02


def test_the_widest_cutter_that_keeps_the_wood_between_is_found() -> None:
    bars = MultiPolygon([box(0, 0, 10, 4), box(0, 4.7, 10, 8.7)])
    how = {"inner": 0.75, "gap": GAP, "usual": flat_end(2.0), "most": 0.5}
    found = keeping(bars, (), **how)
    assert found.diameter == pytest.approx(0.7 + 2 * GAP, abs=0.03)  # D
    with_it = let_in(bars, pocket_cutters=CUTTERS, piece_cutter=found, gap=GAP, thickness=1.8, from_back=False, **REST)
    assert with_it.gained.area < 0.5
    # of the job's own the widest that does
    own = tuple(flat_end(wide) for wide in (0.3, 0.5, 0.6, 1.0))
    assert keeping(bars, own, **how) is own[2]
    touching = MultiPolygon([box(0, 0, 10, 4), box(0, 4.01, 10, 8)])
    assert keeping(touching, own, **how | {"gap": 0.0, "most": 0.01}) is None


@pytest.mark.parametrize(("wide", "gap", "words"), [
    (1.0, GAP, r"as wide as its cutter\): add a cutter of 0.9\d mm to \[\[inlay\]\] cutters"),
    (1.0, 0.0, r"as wide as its cutter\): add a cutter of 0.9\d mm to"),  # no gap is smaller
    (1.6, 0.85, r"as wide as both gaps\): take a smaller gap, under 0.[78]\d? mm"),
    (0.1, GAP, r"as wide as its cutter\): make the drawing larger, or fill it with resin"),
])
def test_what_would_let_a_piece_in_is_named(wide: float, gap: float, words: str) -> None:
    """A smaller gap was advised where the cutter kept the piece out."""
    common = {"piece_cutter": flat_end(2.0), "thickness": 1.8, "from_back": False, **REST}
    with pytest.raises(NoRoomError, match=words) as refused:
        let_in(box(0, 0, 9, wide), pocket_cutters=CUTTERS, gap=gap, **common)
    if named := re.search(r"cutter of ([\d.]+) mm|under ([\d.]+) mm", refused.value.remedy):
        cutter, less = named.groups()
        cutters = (flat_end(float(cutter)),) if cutter else CUTTERS
        made = let_in(box(0, 0, 9, wide), pocket_cutters=cutters, gap=float(less) - 0.01 if less else gap, **common)
        assert made.pocket.area > 0.9 * 9 * wide


def test_what_cannot_be_let_in() -> None:
    common = {"gap": GAP, "thickness": 1.8, "from_back": False, **REST}
    with pytest.raises(CutterError, match="upright"):
        let_in(box(0, 0, 9, 9), pocket_cutters=(ball_end(3.0),), piece_cutter=flat_end(2.0), **common)
    with pytest.raises(CutterError, match="flute"):
        let_in(box(0, 0, 9, 9), pocket_cutters=CUTTERS, piece_cutter=flat_end(2.0, flute_length=1.0), **common)
    with pytest.raises(JobError, match=r"wide enough .* 1.000 mm wide at the most .allowed: more than \d"):
        let_in(box(0, 0, 9, 1), pocket_cutters=CUTTERS, piece_cutter=flat_end(2.0), **common)
    with pytest.raises(JobError, match="gap"):
        let_in(box(0, 0, 9, 9), pocket_cutters=CUTTERS, piece_cutter=flat_end(2.0), **(common | {"gap": -1.0}))


@pytest.mark.parametrize("count", [44, 52])
def test_a_line_just_as_wide_as_its_cutter_is_let_in(count: int) -> None:
    # as many chords as make it a hair narrower than the cutter in some places, and not in others
    t = np.linspace(0, 1, count)[:, None]

    def bow(y: float, rise: float, width: float) -> shapely.Geometry:
        a, b, c = (np.array(at) for at in ([5.2, y], [26.0, y + rise], [46.8, y]))
        return shapely.LineString((1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c).buffer(width / 2, cap_style="flat")

    lines = shapely.union(bow(6.32, 7.1, 1.0), bow(9.48, 5.7, 1.2))
    made = let_in(lines, pocket_cutters=(flat_end(1.0),), piece_cutter=flat_end(1.0), gap=0.05, thickness=1.1,
                  from_back=False, **REST)
    cuts = pocket(made.pocket, surface=BOARD, cutters=(flat_end(1.0),), depth=0.9, safe_z=18.0,
                  options=PocketOptions(smallest=0.0))
    assert len(misfits(made.piece, cuts[-1].opened, 0.05)) == 0
    assert made.lost.area < 0.5


@pytest.mark.parametrize("gap", [0.3, 0.7, 1.2])
def test_two_dots_that_nearly_touch_are_joined_by_a_neck_that_both_cutters_can_go_round(gap):
    """What a disc of one radius opens it closes too: no notch of the neck is sharper, and no neck narrower."""
    dots = shapely.union(shapely.Point(0, 0).buffer(2.0, 64), shapely.Point(4 + gap, 0).buffer(2.0, 64))
    shape = rounded_both_ways(dots, inner=1.0, outer=1.0)
    notches = shapely.get_parts(shape.buffer(1.0, 256).buffer(-1.0, 256).difference(shape))
    assert shapely.length(shapely.maximum_inscribed_circle(notches)).max() < 0.005
    assert shape.difference(shape.buffer(-0.9999, 256).buffer(1.0, 256)).area < 0.001
