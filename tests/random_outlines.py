"""Flat parts of drawn outlines, seeded, for `tests.random_jobs`: ``python -m tests.random_jobs --outlines``.

Combs, stars, leaves, notched and rounded plates at any angle, held by tabs; or a drawing's outline, of a folder's.
"""

import math
import tempfile
from pathlib import Path
from typing import Any

import shapely
import shapely.affinity

import pathgen
from tests.random_jobs import Chance, RandomJob, _cutter, _icon, _svg, _toml


def random_outline(seed: int, drawings: list[Path] | None = None) -> RandomJob:
    """The part of a seed; of a drawing's outline where `drawings` names SVG files."""
    chance = Chance(seed)
    cutters: dict[str, dict[str, Any]] = {}
    name = _cutter(cutters, chance, "flat-end", chance.one(1.5, 2.0, 3.0, 4.0, 6.0))
    wide, thick = cutters[name]["diameter"], chance.length(2.0, 6.0)
    if drawings:
        shape = _largest_of(chance.one(*drawings), chance.length(40, 100, 0)) or _star(chance, wide)
    else:
        shape = chance.one(_comb, _star, _notched, _rounded, _leaf)(chance, wide)
    shape = shapely.affinity.rotate(shape, chance.one(0, 0, 90, 180, chance.length(0, 360)))
    x0, y0, x1, y1 = shape.bounds
    long, high = x1 - x0, y1 - y0
    points = " ".join(f"{x - x0:.3f},{y - y0:.3f}" for x, y in shapely.get_coordinates(shape.exterior)[:-1])
    drawing = _svg(long, high, f'<polygon points="{points}"/>')
    around = round(wide + chance.length(2.5, 8.0), 1)
    tables = {
        "plate": {"artwork": "a.svg", "thickness": thick, "face": False},
        "stock": {"length": max(round(long + 2 * around + 0.1, 1), 51.0), "width": round(high + 2 * around + 0.1, 1),
                  "thickness": thick, "margin_nut": around},
        "machine": {"arcs": chance.now_and_then()},
        "outline": {"cutter": name, "tabs": chance.one(1, 2, 2, 3, 3, 4, 6),
                    "tab_width": chance.one(2.0, 4.0, 4.0, 6.0, 9.0),
                    "tab_height": round(thick * chance.one(0.2, 0.4, 0.6), 1), "finish": chance.one(0.0, 0.1, 0.2)},
        "cutter": list(cutters.values()),
    }
    return RandomJob(_toml(tables, inches=chance.now_and_then(0.15)), {"a.svg": drawing})


def _largest_of(drawing: Path, size: float) -> shapely.Polygon | None:
    """The outline of the largest thing that a drawing shows, so large; none of one that cannot be read."""
    with tempfile.TemporaryDirectory() as scratch:
        file = Path(scratch) / "a.svg"
        file.write_text(_svg(size, size, _icon(drawing.read_text(), 0.0, 0.0, size)))
        try:
            regions = pathgen.read_artwork(file, missing="report").regions
        except pathgen.PathgenError:  # what is read of drawings is for the fuzzer
            return None
    shape = _one(shapely.union_all([region.polygon for region in regions]), shapely.Polygon())
    return shape if min(shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1]) > size / 4 else None


def _comb(chance: Chance, wide: float) -> shapely.Polygon:
    """Fingers that taper, with bays between them about as wide as the cutter, or wider."""
    finger, bay, deep = chance.length(3, 14), chance.length(0.9, 4.5, 2) * wide, chance.length(4, 25)
    slant, count = chance.length(0.0, 0.4, 2) * min(finger, bay), chance.whole(2, 5)
    upper = [(i * (finger + bay) + x, y) for i in range(count)
             for x, y in ((0.0, deep), (slant, 0.0), (finger - slant, 0.0), (finger, deep))]
    back = deep + chance.length(8, 30)
    return shapely.Polygon([*upper, (upper[-1][0], back), (0.0, back)])


def _star(chance: Chance, wide: float) -> shapely.Polygon:
    """Points and inner corners at every angle; now and then as round as the cutter."""
    corners, r = 2 * chance.whole(3, 8), chance.length(18, 45)
    radii = [r * (chance.length(0.75, 1, 2) if i % 2 else chance.length(0.35, 0.8, 2)) for i in range(corners)]
    star = shapely.Polygon([(q * math.cos(2 * math.pi * i / corners), q * math.sin(2 * math.pi * i / corners))
                            for i, q in enumerate(radii)])
    rounded = star.buffer(-0.51 * wide).buffer(1.02 * wide).buffer(-0.51 * wide)
    return _one(rounded, star) if chance.now_and_then() else star


def _notched(chance: Chance, wide: float) -> shapely.Polygon:
    """A plate with notches in every edge, as deep and as wide as may be."""
    long, high = chance.length(40, 100), chance.length(30, 70)
    plate: shapely.Geometry = shapely.box(0.0, 0.0, long, high)
    for _ in range(chance.whole(1, 5)):
        across, deep = chance.length(1.0, 5.0) * wide, chance.length(3, 15)
        at, side = chance.length(0.15, 0.85, 2), chance.whole(0, 3)
        x, y = ((at * long, 0.0), (at * long, high), (0.0, at * high), (long, at * high))[side]
        notch = shapely.box(-across / 2, -deep, across / 2, deep)
        notch = shapely.affinity.rotate(notch, (90 if side > 1 else 0) + chance.one(0, chance.length(-40, 40)), (0, 0))
        plate = plate.difference(shapely.affinity.translate(notch, x, y))
    return _one(plate, shapely.box(0.0, 0.0, long, high))


def _rounded(chance: Chance, wide: float) -> shapely.Polygon:
    """Bars and discs melted together, with inner rounds of any radius."""
    parts = [shapely.Point(chance.length(0, 60), chance.length(0, 40)).buffer(chance.length(6, 20)) for _ in range(4)]
    bar = shapely.LineString([(0, 0), (60, 40)]).buffer(chance.length(5, 12))
    away = chance.length(0.3, 3.0) * wide
    return _one(shapely.union_all([*parts, bar]).buffer(away).buffer(-away), bar)


def _leaf(chance: Chance, wide: float) -> shapely.Polygon:
    """A leaf of two arcs with teeth along them, on a stalk."""
    long, bulge, teeth = chance.length(50, 110), chance.length(0.15, 0.4, 2), chance.whole(0, 12)
    tooth = chance.length(0.0, 1.0, 2) * wide

    def edge(share: float, side: int) -> tuple[float, float]:
        jag = tooth * abs((share * teeth) % 1.0 - 0.5) if teeth else 0.0
        return share * long, side * (bulge * long * math.sin(math.pi * share) + jag)

    shares = [i / 60 for i in range(1, 60)]
    blade = shapely.Polygon([(0.0, 0.0), *(edge(s, 1) for s in shares), (long, 0.0),
                             *(edge(s, -1) for s in shares[::-1])])
    return _one(blade.union(shapely.box(-0.2 * long, -chance.length(2, 5), 0.2 * long, 3.0)), blade)


def _one(shape: shapely.Geometry, instead: shapely.Polygon) -> shapely.Polygon:
    """The shape where it is one without openings, or of what it fell into the largest, filled."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon) and not part.is_empty]
    return shapely.Polygon(max(parts, key=lambda part: part.area).exterior) if parts else instead
