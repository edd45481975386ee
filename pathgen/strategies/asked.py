"""What is asked of one cut alone, looked at on the way in.

`where` names the argument in errors. All raise PathgenError, or CutterError for a cutter that does not fit.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pathgen.base import given, overlay
from pathgen.base.arrays import Bounds, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, PathgenError
from pathgen.base.scallop import ridge_limits
from pathgen.base.slopes import OVER_HALF, STEEPEST, STEEPEST_ACROSS, steepest_along
from pathgen.base.surface import Surface
from pathgen.base.toolpath import AIR, Rapids
from pathgen.base.units import falls_short, place_words, rounded_down, rounded_up
from pathgen.strategies.cutting_out import MOST_LAP
from pathgen.strategies.resurfacing import MOST_LAYERS, least_stepdown

LEAST = 0.01
"""No cut is less deep, mm."""
_OFF_CUT = 0.1  # how far off the first cut's outline fill may reach, mm: passes go so far past it
_OFF = 0.5  # how far off an outline a place for a tab may lie, mm


def cutter(where: str, got: object) -> Cutter:
    """One cutter."""
    return cutters(where, [got])[0]


def rougher(where: str, got: object) -> Cutter:
    """One cutter that leaves no furrows."""
    found = cutter(where, got)
    if found.shape == "v":
        raise CutterError(where, f"{found.name!r} is a v cutter: it leaves furrows",
                          allowed="a flat end, or a ball end", remedy="take another cutter")
    return found


def cutters(where: str, got: object) -> list[Cutter]:
    """One cutter or more, in a list."""
    every = given.several(where, got, words="pathgen.Cutter values in a list")
    found = [one for one in every if isinstance(one, Cutter)]
    if not found or len(found) < len(every):
        raise PathgenError(where, "no cutter" if not every else "something that is no cutter",
                           allowed="pathgen.Cutter values", remedy="make one: pathgen.Cutter(name=.., shape=.., ..)")
    return found


def stock(where: str, high: float, top: Surface) -> float:
    """Height of raw stock, no lower than the top, mm."""
    high = given.length(where, high, above=0.0, most=given.THICKNESS[1])
    if high < top.thickness - 1e-9:
        raise PathgenError(where, f"{high:g} mm, and the surface is {top.thickness:g} mm above the underside",
                           allowed=f"{top.thickness:g} mm or more", remedy="take a thicker blank or a lower surface")
    return high


def ridge(where: str, high: float, ball: Cutter) -> float:
    """Height of ridges that a ball can leave, mm."""
    least, most = ridge_limits(ball.radius)
    return given.length(where, high, least=least, most=most)


def few_layers(where: str, high: float, stepdown: float) -> None:
    """Refuse a stepdown so small that what stands over a surface would be gone over for hours, layer by layer."""
    least = least_stepdown(high)
    if falls_short(stepdown, least):
        raise PathgenError(where, f"{MOST_LAYERS * least / stepdown:.0f} layers of {stepdown:g} mm through what stands "
                           f"over the surface, {high:.3g} mm", allowed=f"{MOST_LAYERS} layers or fewer",
                           remedy=f"make the stepdown {rounded_up(least):.2f} mm or more, or rough first")


def surfaced(where: str, shape: object, top: Surface, *cutters: Cutter) -> shapely.Polygon:
    """One polygon, no wider than the top, that cutters run past by as much as they are wide."""
    area = given.area(where, shape, parts=False)
    assert isinstance(area, shapely.Polygon)
    under(where, area, top, past=max((cutter.diameter for cutter in cutters), default=0.0))
    return area


def reaches(where: str, shape: shapely.Polygon, top: Surface, cutter: Cutter) -> None:
    """Refuse a cutter that, reaching over the edges of a shape, comes where the top is not."""
    x, y = corners(shape)
    room = float((0.98 * np.abs(top.radius(x)) - np.abs(y)).min())
    if cutter.diameter + AIR > room:
        raise CutterError(where, f"{cutter.diameter:g} mm, reaches over the edges to where the surface is not",
                          allowed=f"at most {room - AIR:.1f} mm", remedy="take a smaller cutter")


def under(where: str, shape: shapely.Geometry, top: Surface, *, past: float = 0.0) -> None:
    """Refuse a shape that reaches to where the top is steeper than any, or `past` its ends where it is so along."""
    if not isinstance(top, Surface):
        raise PathgenError(f"{where.split()[0]} top", given.kind_of(top), allowed="a pathgen.Surface",
                           remedy="make one: pathgen.flat(6.0), or pathgen.radiused(thickness=6.0, start=254.0)")
    x, y = corners(shape)
    room = top.radius(x) - np.abs(y) * OVER_HALF
    worst = int(np.argmin(room))
    if falls_short(float(room[worst]), 0.0):
        radius = float(top.radius(x[worst]))
        steepest = math.degrees(math.atan(STEEPEST_ACROSS))
        raise PathgenError(
            where, f"reaches {abs(y[worst]):.1f} mm across, where the surface's radius is {radius:.1f} mm",
            allowed=f"{rounded_down(max(radius, 0.0) / OVER_HALF):.2f} mm: there it goes down at {steepest:g} degrees",
            remedy="the centre-line of the surface is y 0: move or shrink the shape, or take a larger radius",
        )
    steep = steepest_along(top, x + past * np.sign(x - (x.min() + x.max()) / 2), y)
    if falls_short(STEEPEST, steep):
        goes = f"1 in {1.0 / steep:.2g}" if math.isfinite(steep) else "past the apex"
        raise PathgenError(where, f"the surface's radius changes so fast that its edges go {goes} along it",
                           allowed=f"1 in {1.0 / STEEPEST:g}", remedy="take radii nearer to each other, or a narrower "
                           "or a shorter shape")


def thinnest(where: str, x: Floats, y: Floats, top: Surface) -> float:
    """The least height of a surface over some places, mm; refused where that is as good as none."""
    high = top.height(x, y)
    worst = int(np.argmin(high))
    if high[worst] > LEAST:
        return float(high[worst])
    raise PathgenError(
        where, f"comes to {place_words(float(x[worst]), float(y[worst]))}, where the surface lies "
        f"{abs(high[worst]):.2f} mm {'above' if high[worst] > 0 else 'below'} the underside: there is no wood",
        allowed=f"where it lies more than {LEAST:g} mm above the underside",
        remedy="the centre-line of the surface is y 0: move or shrink the shape, or take a thicker top",
    )


def corners(shape: shapely.Geometry) -> tuple[Floats, Floats]:
    """(n,) x and (n,) y of a shape's corners."""
    points = shapely.get_coordinates(shape)
    return points[:, 0], points[:, 1]


def filled(over: object, outline: shapely.Polygon) -> shapely.Polygon | shapely.MultiPolygon:
    """Where fill is, within the `outline` of the first cut: no pass comes past that."""
    fill = given.area("second_cut over", over)
    if not fill.intersects(outline):
        raise PathgenError("second_cut over", "a fill that lies off the outline of the first cut", allowed="one on it",
                           remedy="give both in the same frame, mm")
    places = shapely.get_coordinates(overlay.difference(fill, outline))
    off = shapely.distance(shapely.points(places), outline)
    if len(off) and off.max() > _OFF_CUT:
        worst = int(np.argmax(off))
        raise PathgenError(
            "second_cut over", f"a fill that reaches {off[worst]:.2f} mm off the outline of the first cut, at "
            f"{place_words(*places[worst].tolist())}: there it would stay proud", allowed="one on it",
            remedy="make the first cut as far as the fill goes, or give shapely.intersection(over, passes.outline) "
                   "and scrape off what stands outside",
        )
    return fill


def places(tabs: ArrayLike, board: shapely.Polygon) -> Floats:
    """(n, 2) places for tabs on the outline, as given."""
    at = given.points("outline tabs", tabs, shape=(2,), words="a whole number, or an (n, 2) array of places, mm")
    off = shapely.distance(shapely.points(at), board.exterior)
    if np.any(off > _OFF):
        worst = int(np.argmax(off))
        raise PathgenError(
            "outline tabs", f"({at[worst, 0]:g}, {at[worst, 1]:g}) lies {off[worst]:.2f} mm off the outline",
            allowed=f"places on it, within {_OFF:g} mm", remedy="take the nearest: shapely.ops.nearest_points",
        )
    return at


def blank(bounds: ArrayLike | None, board: shapely.Polygon) -> Bounds:
    """What the outline is cut from, and that it lies in it."""
    words = "(x_min, y_min, x_max, y_max) in mm, as Blank(..).bounds"
    if bounds is None:
        raise PathgenError("outline blank", "not given, and tabs need waste to hold on to", allowed=words,
                           remedy="give it; or stick the work down over its whole face and give tabs=0")
    x0, y0, x1, y1 = given.place("outline blank", bounds, count=4, words=words).tolist()
    if not shapely.box(x0, y0, x1, y1).covers(board) or x1 < x0 or y1 < y0:
        raise PathgenError("outline blank", f"from {x0:g}, {y0:g} to {x1:g}, {y1:g}: the shape reaches out of it",
                           allowed="a blank that holds the shape", remedy="give both in the same frame, mm")
    return x0, y0, x1, y1


def lap(finish: float) -> float:
    """What the last lap round an outline takes off the walls at most, mm."""
    got = given.length("outline finish", finish, least=0.0)
    if got > MOST_LAP:
        raise PathgenError("outline finish", f"{got:g} mm", allowed=f"0 to {MOST_LAP:g} mm: the last lap meets the "
                           "whole height of the wall at once", remedy="make it less")
    return got


def rapids(highest: float, clear: float) -> Rapids:
    """Heights of rapids, `clear` mm over the highest on ways across."""
    return Rapids(highest + given.length("clear", clear, least=2 * AIR, most=200.0), highest + AIR)
