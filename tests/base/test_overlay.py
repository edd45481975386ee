"""Areas put together where the engine fails: done again on a grid, and said with their place if all fails."""

import itertools

import numpy as np
import pytest
import shapely
from shapely import Polygon, box
from shapely.affinity import rotate, translate
from shapely.errors import GEOSException

from pathgen.base import overlay
from pathgen.base.errors import ArtworkError
from pathgen.base.overlay import _remove_false

BOW = shapely.Polygon([(0, 0), (4, 4), (4, 0), (0, 4)])
"""Crosses itself: the engine raises for it, as it does for valid shapes that rounding spoils."""


@pytest.mark.parametrize(("rule", "area"), [
    (overlay.union, 12.0), (overlay.difference, 4.0), (overlay.intersection, 4.0),
])
def test_one_that_fails_is_done_again_on_a_grid(rule, area):
    """The bow's two triangles of 4 mm2 each, and the left half of their square: 4 x 2 mm."""
    half = shapely.box(0, 0, 2, 4)
    with pytest.raises(GEOSException):
        getattr(shapely, rule.__name__)(BOW, half)
    assert shapely.area(rule(BOW, half)) == pytest.approx(area, abs=1e-4)
    both = rule(np.array([BOW, half], dtype=object), half)
    assert shapely.area(both[0]) == pytest.approx(area, abs=1e-4)
    assert shapely.equals(both[1], getattr(shapely, rule.__name__)(half, half))


def test_what_lies_in_two_areas_is_area_alone():
    """They share 2 x 2 mm, and touch along an edge of 1 mm beside it, which is no area; one alone, and in an array."""
    one, other = box(0, 0, 4, 4), shapely.union(box(2, 0, 6, 2), box(4, 3, 6, 4))
    assert shapely.intersection(one, other).geom_type == "GeometryCollection"
    for both in (overlay.intersection(one, other), *overlay.intersection(np.array([one, other]), other)[:1]):
        assert (both.geom_type, both.area) == ("Polygon", 4.0)
        assert shapely.boundary(both).length == pytest.approx(8.0)
    touching = overlay.intersection(box(0, 0, 1, 1), np.array([box(1, 0, 2, 1), box(1, 1, 2, 2), box(2, 2, 3, 3)]))
    assert [both.geom_type for both in touching[:2]] == ["LineString", "Point"]
    assert touching[2].is_empty
    spiked = Polygon([(0, 0), (4, 0), (4, 1.3), (6.6, 5.2), (4, 1.3000000000000003), (4, 9), (0, 9)])
    small = box(3.9, 1.2, 4.1, 1.4)  # where the spike, as wide as a rounding, begins
    assert spiked.is_valid
    assert shapely.difference(spiked, small).geom_type == "GeometryCollection"
    for left in (overlay.difference(spiked, small), *overlay.difference(np.array([spiked] * 2), small)):
        assert (left.geom_type, left.area) == ("Polygon", pytest.approx(36.0 - 0.1 * 0.2))
    assert overlay.union_all([]).geom_type == "MultiPolygon"
    line = shapely.LineString([(0, 0), (1, 0), (1, 9)])
    assert overlay.intersection(line, shapely.union(box(0, 0, 2, 2), box(0.5, 4, 1, 5))).length == pytest.approx(4.0)


def test_a_union_of_many_that_fails_is_done_again():
    many = [BOW, *(shapely.box(k, 0, k + 1.5, 1) for k in range(5, 10))]
    with pytest.raises(GEOSException):
        shapely.union_all(many)
    assert overlay.union_all(many).area == pytest.approx(8.0 + 5.5, abs=1e-4)
    assert overlay.union_all(many[1:], apart=True).area == pytest.approx(5.5, abs=1e-9)


def test_what_fails_on_every_grid_is_said_with_its_place(monkeypatch):
    def fails(a, b):
        raise GEOSException("TopologyException: side location conflict at 12.25 -3.5. This can occur if it is bad")

    monkeypatch.setattr(shapely, "union", fails)
    with pytest.raises(ArtworkError, match=r"near 12\.25 mm along, -3\.50 mm across.*simplify the drawing"):
        overlay.union(BOW, BOW)


def dense(seed):
    """Shapes that nearly coincide: turned by hairs, a rounding apart, outlines laid on their own offsets."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(0, 10, (40, 2))
    shapes = [shapely.LineString(points[k:k + 3]).buffer(rng.choice([0.3, 0.3000001, 0.5]), quad_segs=16)
              for k in range(0, 36, 2)]
    shapes += [rotate(shape, rng.choice([1e-9, 1e-7, 1e-5])) for shape in shapes[:9]]
    shapes += [translate(shape, 1e-12, rng.choice([1e-9, 1e-13])) for shape in shapes[9:18]]
    shapes += [shape.buffer(-0.1).buffer(0.1) for shape in shapes[:9]]
    return np.array([shape for shape in shapes if not shape.is_empty], dtype=object)


def put_together(seed):
    """Union, offsets in and out, differences of what nearly coincides: valid, and of the areas that they must have."""
    shapes = dense(seed)
    total = overlay.union_all(shapes)
    assert total.is_valid
    inner = overlay.buffer(total, -0.05, quad_segs=16)
    opened = overlay.buffer(inner, 0.05, quad_segs=16)
    left, both = overlay.difference(total, opened), overlay.intersection(total, opened)
    assert left.area + both.area == pytest.approx(total.area, rel=1e-6)
    for a, b in itertools.pairwise(shapes):
        one, other, shared = overlay.difference(a, b), overlay.difference(b, a), overlay.intersection(a, b)
        assert one.area + other.area + shared.area == pytest.approx(overlay.union(a, b).area, abs=1e-6)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("first", range(0, 20, 5))
def test_dense_drawings(first):
    """`put_together` was tried on seeds 0 to 1000."""
    for seed in range(first, first + 5):
        put_together(seed)


@pytest.mark.parametrize("kind", ["areas", "lines", "points"])
def test_many_parts_let_out_one_by_one_are_the_same_as_all_at_once(kind):
    rng = np.random.default_rng(12)
    at = rng.uniform(0.0, 40.0, (60, 2))
    spots = shapely.points(at)
    parts = {"areas": shapely.difference(shapely.buffer(spots, 1.0), shapely.buffer(spots, 0.7)),
             "lines": shapely.linestrings(np.stack([at, at + [1.5, 0.4]], axis=1)), "points": spots}[kind]
    together = shapely.union_all(parts)
    assert shapely.get_num_geometries(together) > 20
    for by, options in ((0.05, {}), (0.5, {"quad_segs": 3}), (4.0, {"join_style": "mitre"})):
        expected = shapely.buffer(together, by, **options)
        assert overlay.buffer(together, by, **options).symmetric_difference(expected).area < 1e-7 * expected.length


def test_edges_in_one_line_are_no_warning():
    """Two corners nearly in one place, as drawn outlines have them: GEOS divides by zero, and goes on."""
    shape = shapely.Polygon([
        (26.834295078085166, -26.158044384274632), (-1.485116933449812, -22.18122812654683),
        (-1.4851169334498147, -22.181228126546827), (-1.485116933449817, -22.181228126546824),
        (-1.834572689201995, -21.445547476189)])
    with pytest.raises(RuntimeWarning):
        shapely.buffer(shape, 3.0, join_style="mitre")
    out = overlay.buffer(shape, 3.0, join_style="mitre")
    assert out.is_valid
    assert out.covers(shape)


@pytest.mark.parametrize("distance", [-2.0, -0.3, 0.3, 2.0])
def test_many_parts_one_by_one_are_what_all_at_once_is(distance):
    """Twenty squares with holes, of sizes that some vanish: GEOS itself, all at once, is the reference."""
    squares = [shapely.box(8 * k, 0, 8 * k + 1 + k / 4, 3).difference(shapely.box(8 * k + 0.4, 1, 8 * k + 0.6, 2))
               for k in range(20)]
    shape = shapely.multipolygons(squares)
    done, wanted = overlay.buffer(shape, distance), shapely.buffer(shape, distance)
    assert done.is_valid
    assert done.symmetric_difference(wanted).area < 1e-9 + 1e-7 * wanted.length * max(distance, 0.0)


@pytest.mark.parametrize("segments", [8, 32])
def test_what_was_taken_in_is_let_out_by_as_much_with_its_holes(segments):
    """GEOS 3.14 fills this thorn of wood, 1 mm2, where what lies round it, taken in by 0.25 mm, is let out by that."""
    thorn = shapely.Polygon([
        (130.80998389735706, 5.019240303311571), (130.94141416451728, 4.54122748571284),
        (130.78723173867144, 5.101990066473215), (130.20194345161332, 7.615846754254539),
        (129.775898623098, 8.09964602306373),
    ])
    around = shapely.Polygon(thorn.buffer(5.0).exterior, [thorn.exterior])
    inner = overlay.buffer(around, -0.25, quad_segs=segments)
    assert overlay.buffer(inner, 0.25).intersection(thorn).area < 0.01


@pytest.mark.parametrize("many", [False, True])
@pytest.mark.parametrize("corners", [8, 12])
def test_nothing_is_left_of_a_shape_smaller_than_what_it_is_taken_in_by(corners, many):
    """GEOS 3.14 leaves a piece of a regular octagon that is smaller than what is taken off it."""
    turn = np.arange(corners) * 2 * np.pi / corners
    small = shapely.Polygon(np.column_stack([np.cos(turn), np.sin(turn)]))
    assert not small.buffer(-1.0, quad_segs=32).is_empty
    if many:
        found = overlay.buffer(np.array([small, shapely.box(0, 0, 3, 4)]), np.array([-1.0, -1.0]), quad_segs=32)
        assert shapely.area(found) == pytest.approx([0.0, 2.0])
    else:
        assert overlay.buffer(small, -1.0, quad_segs=32).is_empty


def test_nothing_is_left_outside_a_thin_shape_that_is_taken_in():
    """Two corners of it are 1e-14 mm apart: GEOS 3.14 leaves chips beside it."""
    thin = shapely.Polygon([
        (184.69687242798352, -3.7192146776406005), (184.83416666666665, -3.495000000000001),
        (184.83608664383942, -3.492380017858004), (184.835, -3.495000000000001),
        (184.83499999999998, -3.495000000000001), (185.71870615374178, -6.27037892665717),
    ])
    assert thin.is_valid
    for by in (0.46, 0.5):
        assert not shapely.buffer(thin, -by, quad_segs=32).is_empty
        assert overlay.buffer(thin, -by, quad_segs=32).is_empty


@pytest.mark.parametrize("segments", [2, 3, 4, 6, 8])
def test_what_is_left_by_coarse_arcs_is_kept(segments):
    """In the middle of a cross, only its inner corners are near: chords of arcs round them cut corners off the arcs."""
    cross = shapely.union(shapely.box(-2, -1, 2, 1), shapely.box(-1, -2, 1, 2))
    for by in np.arange(1.02, 1.4, 0.02):
        left = shapely.buffer(cross, -by, quad_segs=64).area
        for shape in (cross, rotate(cross, 10.0)):
            assert overlay.buffer(shape, -by, quad_segs=segments).area >= left - 1e-9


@pytest.mark.parametrize("corners", [8, 12])
def test_no_hole_smaller_than_what_a_shape_is_let_out_by_is_left(corners):
    """GEOS 3.14 leaves a hole in place of a regular octagon, in a shape and in a line, that is smaller than that."""
    turn = np.arange(corners) * 2 * np.pi / corners
    ring = shapely.LinearRing(np.column_stack([np.cos(turn), np.sin(turn)]))
    around = shapely.Polygon(shapely.box(-4, -4, 4, 4).exterior, [ring])
    assert around.buffer(1.0, quad_segs=32).interiors
    two = shapely.Polygon(around.exterior, [shapely.box(-3, -3, -1, 3).exterior, ring])
    shapes = np.array([around, ring, two, around])
    found = overlay.buffer(shapes, np.array([1.0, 1.0, 0.98, 0.5]), quad_segs=32)
    assert shapely.get_num_interior_rings(found).tolist() == [0, 0, 1, 1]
    assert not overlay.buffer(around, 1.0, quad_segs=32).interiors


@pytest.mark.parametrize("many", [False, True])
def test_what_is_let_out_over_itself_is_whole(many):
    """GEOS 3.14 crosses the outline and leaves 0.003 mm2 out of this shape, 0.08 mm wider, and not a hair wider."""
    by = 0.0781250421875
    bent = shapely.Polygon([
        (112.56088853761321, -5.631818694495904), (112.38867802554783, -5.818519624811026),
        (112.28142834473744, -5.823285751064159), (112.28069843557864, -5.979345918449504),
        (112.28836517997678, -5.979381776587093), (112.5219644104941, -5.9690007347334735),
        (111.51437111707453, -6.029136588872199),
    ])
    assert bent.is_valid
    assert not shapely.buffer(bent, by).is_valid
    out = overlay.buffer(np.array([bent, shapely.box(0, 0, 1, 1)]), by)[0] if many else overlay.buffer(bent, by)
    assert out.is_valid
    assert out.area == pytest.approx(shapely.buffer(bent, by + 1e-6).area, abs=1e-5)


@pytest.mark.parametrize("many", [False, True])
def test_a_shape_whose_edges_cross_at_a_corner_by_rounding_is_kept(many):
    """GEOS 3.14 leaves nothing of this one, 0.03 mm2, when it is made valid by its structure; two corners are one."""
    crossed = shapely.Polygon([
        (135.08548077061513, -3.9296175497006605), (135.09100833333335, -4.1166805555555595),
        (135.09100833333335, -4.116680555555556), (134.85367897959267, -5.3816818385497065),
    ])
    assert not crossed.is_valid
    found = overlay.sound(np.array([shapely.box(0, 0, 1, 1), crossed]))[1] if many else overlay.sound(crossed)
    assert found.is_valid
    assert found.area == pytest.approx(crossed.area, rel=1e-9)


def test_a_hole_that_shares_an_edge_with_its_shape_stays_a_hole():
    """GEOS 3.14 fills it when the shape, a bent strip, is made valid by its lines."""
    strip = shapely.Polygon([(0, 0), (8, 0), (8, 8), (0, 8)], [[(0, 0), (8, 0), (8, 7), (1, 7)]])
    assert not strip.is_valid
    assert shapely.make_valid(strip).area > 60
    assert overlay.sound(strip).area == pytest.approx(strip.area, rel=1e-9)


def test_what_lies_twice_within_a_shape_that_crosses_itself_is_kept():
    """A loop of 2 by 2 in a shape of 6 by 4 that goes round it twice."""
    twice = shapely.Polygon([(0, 0), (6, 0), (6, 4), (2, 4), (2, 2), (4, 2), (4, 5), (0, 5)])
    assert not twice.is_valid
    assert overlay.sound(twice).is_valid
    assert overlay.sound(twice).area >= shapely.make_valid(twice).area
    assert overlay.sound(shapely.box(0, 0, 1, 1)) == shapely.box(0, 0, 1, 1)


@pytest.mark.parametrize("gap", [1e-12, 1e-7, 1e-4, 0.0015])
def test_cracks_between_shapes_that_meet_are_closed(gap):
    """Two squares side by side with a crack of 10 mm between them, closed at one end, and a hole as fine."""
    slit = Polygon([(5, 0), (5 + gap, 0), (5 + gap / 2, 9)])
    speck = box(2, 2, 2 + gap, 2 + gap)
    cracked = overlay.difference(box(0, 0, 10, 10), overlay.union_all([slit, speck]))
    assert len(shapely.get_rings(cracked)) == 2
    closed = overlay.without_cracks(cracked)
    assert len(shapely.get_rings(closed)) == 1
    assert closed.length == pytest.approx(40.0, abs=1e-6)
    assert closed.area == pytest.approx(100.0, abs=1e-6)


@pytest.mark.parametrize("shape", [
    box(0, 0, 10, 10), box(0, 0, 10, 10).difference(box(4, 0, 4.01, 8)),
    box(0, 0, 10, 10).difference(box(2, 2, 2.1, 8)), Polygon([(0, 0), (30, 0.2), (0, 0.4)]),
    Polygon([(0, 0), (30, 0), (30, 9), (1, 4.6), (30, 4.8), (30, 20), (0, 20)]),
], ids=["square", "slot of 0.01 mm", "hole of 0.1 mm", "acute tip", "acute bay"])
def test_what_has_no_cracks_stays_as_it_is(shape):
    assert overlay.without_cracks(shape) is shape


def test_drawings_in_many_pieces_lose_their_cracks_alone():
    """Random polygons cut up along random lines, each piece moved by a rounding: put together they are whole again."""
    rng = np.random.default_rng(7)
    closed = 0
    for _ in range(60):
        whole = Polygon(rng.uniform(0, 40, (12, 2))).convex_hull.buffer(1.0)
        pieces = [whole]
        for _ in range(4):
            (x, y), turn = rng.uniform(5, 35, 2), rng.uniform(0, np.pi)
            along = 100 * np.array([np.cos(turn), np.sin(turn)])
            side = Polygon([(x, y) - along, (x, y) + along, (x, y) + along + along[::-1] * [-1, 1],
                            (x, y) - along + along[::-1] * [-1, 1]])
            pieces = [part for one in pieces for part in (one.intersection(side), one.difference(side))
                      if part.area > 0.01]
        rounded = [translate(one, *rng.uniform(-1e-6, 1e-6, 2)) for one in pieces]
        put = overlay.union_all(rounded)
        found = overlay.without_cracks(put)
        closed += found is not put
        assert found.length == pytest.approx(whole.length, rel=0.01)  # of chips so small that they were left out
        assert found.area == pytest.approx(whole.area, rel=1e-4)
    assert closed > 20


def test_a_part_with_one_corner_too_near_the_outline_is_kept():
    """As the engine now and then leaves one, where an outline all but touches itself: not the whole part goes."""
    given, by = np.array([box(0, 0, 10, 10)] * 2), np.array([-0.5, -0.5])
    one, every = Polygon([(0.2, 5), (0.5, 9.5), (9.5, 9.5), (9.5, 0.5), (0.5, 0.5)]), box(0.1, 0.1, 0.3, 9.9)
    out = np.array([one, every])
    _remove_false(out, given, by, nearest=0.99)
    assert [shape.area for shape in out] == [one.area, 0.0]
