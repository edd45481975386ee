"""Strokes: areas in closed form (D), and what the standard says of caps, joins and dashes."""

import math

import pytest

from pathgen.base.errors import ArtworkError
from tests.artwork.conftest import Read

LINE = 'd="M50 50H110" fill="none" stroke="#123456" stroke-width="10"'
ANGLE = 'd="M50 100H100V50" fill="none" stroke="#123456" stroke-width="10"'


def area(art) -> float:  # type: ignore[no-untyped-def]
    (region,) = art.regions
    assert region.colour == "#123456"
    assert region.polygon.is_valid
    return region.polygon.area


@pytest.mark.parametrize(("cap", "extra"), [("butt", 0.0), ("square", 100.0), ("round", math.pi * 25)])
def test_caps(read: Read, cap: str, extra: float) -> None:
    assert area(read(f'<path {LINE} stroke-linecap="{cap}"/>', tolerance=1e-4)) == pytest.approx(600 + extra, abs=0.02)


@pytest.mark.parametrize(("join", "extra"), [
    ("miter", 25.0), ("bevel", 12.5), ("round", math.pi * 25 / 4),
])
def test_joins_of_a_right_angle(read: Read, join: str, extra: float) -> None:
    # two 50 x 10 arms share a 5 x 5 square on the inner side; the outer corner is what the join adds
    art = read(f'<path {ANGLE} stroke-linejoin="{join}"/>', tolerance=1e-4)
    assert area(art) == pytest.approx(2 * 500 - 25 + extra, abs=0.01)


@pytest.mark.parametrize(("limit", "extra"), [(1.4, 12.5), (1.42, 25.0), (4, 25.0), (0.5, 12.5)])
def test_mitre_limit(read: Read, limit: float, extra: float) -> None:
    # P, SVG 1.1, section 11.4: the ratio at 90 degrees is sqrt(2); past the limit the join is a bevel
    art = read(f'<path {ANGLE} stroke-miterlimit="{limit}"/>')
    assert area(art) == pytest.approx(2 * 500 - 25 + extra)


@pytest.mark.parametrize("curve", [
    '<circle cx="100" cy="100" r="30" {}/>', '<rect x="70" y="70" width="60" height="60" rx="30" {}/>',
])
def test_ring(read: Read, curve: str) -> None:
    art = read(curve.format('fill="none" stroke="#123456" stroke-width="10"'), tolerance=1e-4)
    assert area(art) == pytest.approx(math.pi * (35**2 - 25**2), rel=1e-4)
    assert len(art.regions[0].polygon.interiors) == 1


def test_pen_wider_than_the_curve_leaves_no_hole(read: Read) -> None:
    # every point within half a width of a circle of radius 5: the disc of radius 5 + 10
    art = read('<circle cx="100" cy="100" r="5" fill="none" stroke="#123456" stroke-width="20"/>', tolerance=1e-4)
    assert area(art) == pytest.approx(math.pi * 225, rel=1e-3)


@pytest.mark.parametrize(("cap", "d", "expected"), [
    # P, SVG 2, section 13.5.4: zero-length subpaths have caps; a lone move has not
    ("round", "M50 50h0", math.pi * 25), ("square", "M50 50z", 100.0), ("butt", "M50 50h0", 0.0),
    ("round", "M50 50", 0.0), ("round", "M50 50h.0001", math.pi * 25),
])
def test_dots(read: Read, cap: str, d: str, expected: float) -> None:
    art = read(f'<path d="{d}" stroke="#123456" stroke-width="10" stroke-linecap="{cap}"/>', tolerance=1e-4)
    assert (area(art) if art.regions else 0.0) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize(("dashes", "offset", "ink"), [
    # P, SVG 1.1, section 11.4: odd lists are doubled, a negative value is an error, all zero is a whole line.
    # Ink along 60 units counted by hand; 5 mm is 18.8976 units of 96 to the inch; 10 % is 20 of this page
    ("10", 0, 30), ("10 5", 0, 40), ("20 10 5", 0, 20 + 5 + 5), ("10", 5, 5 + 10 + 10 + 5), ("none", 0, 60),
    ("0 0", 0, 60), ("10 -5", 0, 60), ("7 200", 3, 4), ("5mm", 0, 2 * 18.8976378), ("10%", 0, 40),
    ("10", -5, 10 + 10 + 10),
])
def test_dashes(read: Read, dashes: str, offset: int, ink: float) -> None:
    art = read(f'<path {LINE} stroke-dasharray="{dashes}" stroke-dashoffset="{offset}"/>')
    assert area(art) == pytest.approx(10 * ink, abs=1e-3)


def test_lines_that_lie_in_gaps_alone_leave_nothing(read: Read) -> None:
    art = read(f'<path {LINE} stroke-dasharray="1 1000" stroke-dashoffset="20"/><path {LINE} stroke-dasharray="0 3"/>'
               '<rect width="5" height="5" fill="#123456"/>')
    assert area(art) == pytest.approx(25.0)


@pytest.mark.parametrize(("path", "ink"), [
    # P, SVG 2, section 9.6.1: dashes count in units of which the whole path has pathLength. By hand: 25 dashes 2 long;
    # 12, the first after 6; on parts 40 and 60 long, each begun anew, 2 dashes and 3 that are 10 long
    ('d="M0 50h100" pathLength="50" stroke-dasharray="1"', 50.0),
    ('d="M0 50h100" pathLength="50" stroke-dasharray="1 3" stroke-dashoffset="1"', 24.0),
    ('d="M0 50h40M0 60h60" pathLength="10" stroke-dasharray="1"', 20.0 + 30.0),
    ('d="M0 50h100" pathLength="-5" stroke-dasharray="20"', 60.0),
    ('d="M0 50h100" pathLength="whatnot" stroke-dasharray="20"', 60.0),
])
def test_dashes_of_a_path_that_states_its_length(read: Read, path: str, ink: float) -> None:
    art = read(f'<path {path} stroke="red" stroke-width="2" fill="none"/>')
    assert sum(region.polygon.area for region in art.regions) == pytest.approx(2 * ink)


def test_endless_dashes_are_refused(read: Read) -> None:
    with pytest.raises(ArtworkError, match="more dashes than can be cut"):
        read(f'<path {LINE} stroke-dasharray="1e-9"/>')


def test_a_stretched_pen_is_an_ellipse(read: Read) -> None:
    art = read('<path transform="scale(1 3)" d="M50 20h0" stroke="#123456" stroke-width="10" stroke-linecap="round"/>',
               tolerance=1e-4)
    assert area(art) == pytest.approx(3 * math.pi * 25, rel=2e-4)


def test_stroke_over_fill_and_under_it(read: Read) -> None:
    shape = '<rect x="50" y="50" width="40" height="40" fill="#00ff00" stroke="#ff0000" stroke-width="10" {}/>'
    over = {region.colour: region.polygon.area for region in read(shape.format("")).regions}
    under = {region.colour: region.polygon.area for region in read(shape.format('paint-order="stroke"')).regions}
    assert over == pytest.approx({"#00ff00": 900, "#ff0000": 1600})
    assert under == pytest.approx({"#ff0000": 900, "#00ff00": 1600})


@pytest.mark.parametrize("still", ["", "l0 0"])
def test_caps_and_joins_of_curves_follow_their_tangents(read: Read, still: str) -> None:
    # D: a quarter circle that starts straight up has its butt cap level, however wide the pen
    arc = '<path d="M100 50A50 50 0 0 1 50 100' + still + '{}" fill="none" stroke="#123456" stroke-width="30"/>'
    assert read(arc.format("")).regions[0].polygon.bounds[2:] == pytest.approx((115, 150), abs=0.03)
    # D: it arrives at (50, 100) level and leaves at 60 degrees to that; the mitre of ratio 2 reaches 2 * 15 along the
    # line that halves the angle (30 degrees above level, to the left), as seen from the corner
    tip = read(arc.format(f"l{20 * math.cos(math.pi / 3)} {-20 * math.sin(math.pi / 3)}")).regions[0].polygon.bounds[0]
    assert tip == pytest.approx(50 - 30 * math.cos(math.radians(30)), abs=0.05)


@pytest.mark.parametrize("join", ["miter", "round", "bevel"])
@pytest.mark.parametrize("points", ["30,30 170,30 170,170 30,170", "30,30 170,60 90,170", "60,60 90,60 90,66 60,66"])
def test_closed_lines_are_the_union_of_their_edges_and_joins(read: Read, points: str, join: str) -> None:
    # against a library: buffers of a closed line of the same joins (a mitre limit of 4 in SVG is one of 4 there too)
    import shapely

    art = read(f'<polygon points="{points}" fill="none" stroke="#123456" stroke-width="12" stroke-linejoin="{join}"/>')
    ring = shapely.LinearRing([[float(x), 200 - float(y)] for x, y in (p.split(",") for p in points.split())])
    style = {"miter": "mitre"}.get(join, join)
    outer = shapely.Polygon(ring).buffer(6, join_style=style, mitre_limit=4, quad_segs=64)
    inner = shapely.Polygon(ring).buffer(-6, join_style="mitre", mitre_limit=99)
    assert area(art) == pytest.approx(outer.area - inner.area, rel=2e-4)


@pytest.mark.parametrize("join", ["miter", "round", "bevel"])
@pytest.mark.parametrize("end", [
    "L30 30", "L30 30L30 30", "L30 30H30", "L30 30v0V30", "L30 30C30 30 30 30 30 30", "L30 30L30.000000001 30",
    "L30 30A5 5 0 0 1 30 30l0 0", "C156 147 60 57.857142857 30 30L30 30",
])
def test_a_closed_line_back_at_its_start_is_joined_there(read: Read, end: str, join: str) -> None:
    # against a library: pieces of no length change no corner (SVG 2, section 13.5.4)
    import shapely

    art = read(f'<path d="M30 30L170 30L170 160{end}z" fill="none" stroke="#123456" stroke-width="12" '
               f'stroke-linejoin="{join}"/>')
    ring = shapely.LinearRing([(30, 170), (170, 170), (170, 40)])
    outer = shapely.Polygon(ring).buffer(6, join_style={"miter": "mitre"}.get(join, join), mitre_limit=4, quad_segs=64)
    inner = shapely.Polygon(ring).buffer(-6, join_style="mitre", mitre_limit=99)
    assert area(art) == pytest.approx(outer.area - inner.area, rel=2e-4)


@pytest.mark.parametrize("join", ["miter", "round", "bevel"])
@pytest.mark.parametrize("points", [
    "30,60 100,60 100,63 170,63", "30,60 100,60 103,63 100,66 30,66", "30,60 100,60 101,61 102,63 102,170",
    "30,60 32,60 32,120", "32,120 32,60 30,60", "30,60 100,60 102,61 40,68", "40,68 102,61 100,60 30,60",
])
def test_edges_shorter_than_the_pen_is_wide(read: Read, points: str, join: str) -> None:
    """SVG 2, 13.5: each edge's oblong and, outside each corner, what fills it: the union of these, by shapely."""
    import numpy as np
    import shapely

    art = read(f'<polyline points="{points}" fill="none" stroke="#123456" stroke-width="12" stroke-linejoin="{join}"/>',
               tolerance=1e-4)
    line = np.array([[float(x), 200 - float(y)] for x, y in (p.split(",") for p in points.split())])
    step = np.diff(line, axis=0) / np.linalg.norm(np.diff(line, axis=0), axis=1)[:, None]
    side = 6 * np.column_stack([-step[:, 1], step[:, 0]])
    parts = [shapely.Polygon([a + n, b + n, b - n, a - n]) for a, b, n in zip(line, line[1:], side, strict=False)]
    for p, before, after, m, n in zip(line[1:], step, step[1:], side, side[1:], strict=False):
        out = -np.sign(before[0] * after[1] - before[1] * after[0])
        tip = p + out * (m + n) / (1 + before @ after)
        limited = "bevel" if join == "miter" and math.sqrt(2 / (1 + before @ after)) > 4 else join
        parts.append({"round": shapely.Point(p).buffer(6, quad_segs=200) & shapely.Polygon(
                          [p, p + 9 * out * m, p + 99 * (tip - p), p + 9 * out * n]),
                      "bevel": shapely.Polygon([p, p + out * m, p + out * n]),
                      "miter": shapely.Polygon([p, p + out * m, tip, p + out * n])}[limited])
    wanted = shapely.union_all(parts)
    assert shapely.area(shapely.symmetric_difference(art.regions[0].polygon, wanted)) < 0.02
