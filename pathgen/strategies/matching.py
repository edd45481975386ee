"""Let-in pieces: a pocket and the piece for it, shaped so that the piece really goes in.

A pocket's cutter rounds the pocket's inner corners; the cutter that goes round the piece rounds the piece's inner
corners. Where one is round the other must be too. So both are cut from one shape, the drawing rounded both ways:
no corner of the pocket is tighter than the pocket's cutter, none of the wood that stands into it is sharper than
the piece's cutter leaves it. The piece is that shape less the gap all round: round the wood its corners are wider by
the gap, so the wood may be sharper than the cutter by that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.cutters import FINEST, Cutter, reshaped
from pathgen.base.errors import CutterError, JobError
from pathgen.base.halving import halved
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Toolpath
from pathgen.base.tops import level
from pathgen.base.units import falls_short, rounded_down
from pathgen.strategies.easing import Standing
from pathgen.strategies.pocketing.linking import way_in
from pathgen.strategies.pocketing.openings import largest_that_opens
from pathgen.strategies.pocketing.places import layer_depths
from pathgen.strategies.pocketing.settings import PocketOptions
from pathgen.strategies.pocketing.shapes import FIT, Shapes, cleaned, eroded, polygons, quad_segments, whole
from pathgen.strategies.pocketing.tracing import Trace

_CHORD = 0.0005  # chords lie within this of the arcs that they stand for, mm
_WIDER = 0.002
"""By how much pockets are larger all round, mm: of a line just as wide as its cutter chords would decide otherwise
whether the cutter goes in."""
_MOST_TURNS, _WIDENED_EVERY = 24, 6
"""How often a shape is rounded both ways at most, and after how many turns necks that do not settle are widened."""
_HALVINGS = 12  # of a diameter that is looked for
_TRIES = (1.0, 0.9, 0.7)  # shares of a cutter's diameter, one after the other, until one does
_LAND = 2.0  # least stock left between the cuts round two pieces, mm


LetIns: TypeAlias = "tuple[tuple[str, LetIn], ...]"
"""The colours of an inlay with their pockets and pieces."""


@dataclass(frozen=True, eq=False, kw_only=True)
class LetIn:
    """A pocket and its pieces."""

    drawing: Polygon | MultiPolygon
    """What they are made from."""
    pocket: Polygon | MultiPolygon
    """The region to pocket, in the board's frame: the drawing with its corners rounded to what the cutters can do.
    Pocket it with `smallest` 0: the corners that a larger cutter leaves are small, and in the piece's way."""
    piece: Polygon | MultiPolygon
    """The pieces where they will lie in the board."""
    lost: Polygon | MultiPolygon
    """Parts of the drawing that are in no pocket: too narrow for the pocket's cutter."""
    gained: Polygon | MultiPolygon
    """What is pocketed outside the drawing, where wood would stand too sharp or too thin for the piece's cutter."""
    stock: Polygon | MultiPolygon
    """The pieces laid out in rows on flat stock, as they are cut: mirrored when they are cut from the back."""
    size: tuple[float, float]
    gap: float
    """Between piece and pocket all round, mm."""
    thickness: float
    """Of the flat stock, mm."""
    through: float
    """How far the cut goes below the stock, mm."""

    @property
    def gained_share(self) -> float:
        """What is pocketed outside the drawing, as a share of its area."""
        return self.gained.area / self.drawing.area


class NoRoomError(JobError):
    """A drawing that is nowhere wide enough for a piece."""


@lru_cache(maxsize=64)
def rounded_both_ways(region: BaseGeometry, *, inner: float, outer: float) -> Polygon | MultiPolygon:
    """The region with no corner of its own tighter than `inner` and none of what surrounds it tighter than `outer`.

    Openings by a disc of radius `inner` and closings by one of radius `outer` in turn (mathematical morphology: Serra,
    *Image Analysis and Mathematical Morphology*, 1982), until nothing changes. At a neck where two notches meet each
    spoils what the other has made, over and over: there discs of radius `inner` make the neck wide enough.
    """
    shape = cleaned(region)
    for turn in range(1, _MOST_TURNS + 1):
        opened = _grown(_grown(shape, FIT - inner), inner - FIT)
        shape = _grown(_grown(opened, outer), -outer)
        spoilt = shapely.get_parts(_thick(overlay.difference(shape, opened)))
        if not len(spoilt):
            break
        if turn % _WIDENED_EVERY == 0:
            shape = overlay.union_all([shape, *overlay.buffer(spoilt, inner)])
    return cleaned(opened)


def let_in(
    region: BaseGeometry, *, pocket_cutters: tuple[Cutter, ...], piece_cutter: Cutter, gap: float, thickness: float,
    from_back: bool, through: float, where: str,
) -> LetIn:
    """The pocket for a let-in piece, and the piece laid out on flat stock. Lengths in mm.

    `region` is the drawing in the board's frame. The walls of both must be upright, so all are flat-end cutters: the
    smallest of the `pocket_cutters` rounds the pocket's corners, the `piece_cutter` goes round the piece. The `gap`
    between them, all round, is for the glue. The flat stock is of a `thickness`, and stuck down over its whole face, as
    nothing else holds a piece once it is cut round; with `from_back` it lies face down, so that the pieces are cut
    mirrored. The cut goes so far `through` below it.

    Raises CutterError for cutters without upright walls, or a flute shorter than the stock is thick; JobError when
    nothing of the drawing is left for a piece, or the gap is negative.
    """
    _checked(pocket_cutters, piece_cutter, gap, thickness + through, where)
    inner = min(c.radius for c in pocket_cutters)
    shape = matched(region, inner=inner, outer=least_round(piece_cutter.radius, gap))
    piece = cleaned(_grown(shape, -gap))
    if piece.is_empty:
        raise _no_room(region, inner, gap, where)
    stock = _in_rows(polygons(piece), 2.0 * piece_cutter.radius + _LAND, from_back)
    long, wide = (shapely.total_bounds(stock)[2:] + piece_cutter.diameter + _LAND).tolist()
    drawing = cleaned(region)
    return LetIn(
        drawing=drawing, pocket=shape, piece=piece, lost=_thick(overlay.difference(drawing, shape)),
        gained=_thick(overlay.difference(shape, drawing)), stock=whole(stock), size=(long, wide),
        gap=gap, thickness=thickness, through=through,
    )


def least_round(radius: float, gap: float) -> float:
    """How round wood between pockets must be, mm, that a piece cut by a cutter of a radius is let in round with a gap.
    """
    return max(radius - gap, 0.0) + 2.0 * _WIDER


def pockets_for(
    regions: Sequence[tuple[str, BaseGeometry]], cutters: Sequence[Cutter], outer: float
) -> list[tuple[str, Polygon | MultiPolygon]]:
    """The pockets for pieces of each colour that some flat ends cut, one after the other."""
    inner = min(cutter.radius for cutter in cutters)
    return [(colour, matched(shape, inner=inner, outer=outer)) for colour, shape in regions]


def matched(region: BaseGeometry, *, inner: float, outer: float) -> Polygon | MultiPolygon:
    """The pocket of a drawing with no corner tighter than a cutter of radius `inner` cuts, and no wood in it or round
    it that is sharper than `outer`, mm."""
    # necks are wider than the cutter by a hair: in one just as wide it would stop short on either side
    return _grown(rounded_both_ways(region, inner=inner - _WIDER / 2, outer=outer + _WIDER), _WIDER)


def keeping(
    region: BaseGeometry, cutters: tuple[Cutter, ...], *, inner: float, gap: float, usual: Cutter, most: float
) -> Cutter | None:
    """The widest of some cutters that pieces can be cut with so that no more than `most` mm2 are pocketed outside the
    drawing; else one like the `usual`, as wide as does; None where none does.

    Closing alone pockets no more than rounding both ways does, and is quickly found: what it allows is tried.
    """
    def keeps(radius: float) -> bool:
        outer = least_round(radius, gap) + _WIDER
        return _grown(_grown(region, outer), -outer).area - region.area <= most

    low, _ = halved(keeps, 0.0, usual.radius, within=usual.radius / 2.0**_HALVINGS)
    own = sorted((one for one in cutters if one.radius <= low), key=lambda one: -one.radius)[:1]
    others = (reshaped(usual, name="", diameter=rounded_down(2.0 * low * share)) for share in _TRIES
              if 2.0 * low * share >= FINEST + 0.01)
    for one in (*own, *others):
        pocket = matched(region, inner=inner, outer=least_round(one.radius, gap))
        if _thick(overlay.difference(pocket, region)).area <= most:
            return one
    return None


def _no_room(region: BaseGeometry, inner: float, gap: float, where: str) -> NoRoomError:
    """That nothing is wide enough for a piece, and what would do: of what keeps it out, cutter or gap."""
    parts = polygons(region)
    widest = 2.0 * max((float(shapely.maximum_inscribed_circle(one).length) for one in parts), default=0.0)
    wide = float(largest_that_opens(np.array([whole(parts)], dtype=object), np.array([whole(parts)], dtype=object),
                                    widest, halvings=_HALVINGS)[0]) if len(parts) else 0.0
    cutter, narrow = rounded_down(wide), rounded_down(wide / 2.0)
    larger = "make the drawing larger"
    if widest <= 2.0 * inner and min(wide, cutter) > max(2.0 * gap, FINEST):
        remedy = f"add a cutter of {cutter:g} mm to [[inlay]] cutters, which opens nine tenths of it, or {larger}"
    elif widest > 2.0 * inner and 0.0 < narrow < gap:
        remedy = f"take a smaller gap, under {narrow:g} mm, or {larger}"
    else:
        remedy = f"{larger}, or fill it with resin"
    return NoRoomError(where, f"nothing of the drawing is wide enough for a piece with a gap of {gap:g} mm: it is "
                  f"{widest:.3f} mm wide at the most", allowed=f"more than {2.0 * max(inner, gap):.3f} mm, as wide as "
                  f"{'its cutter' if inner >= gap else 'both gaps'}", remedy=remedy)


def under_the_edges(piece: BaseGeometry, surface: Surface) -> float:
    """How far the flat underside of the widest piece stands off the curved floor at the piece's long edges, mm.

    A floor that follows a convex surface of radius R touches a flat piece of width w along one line; at the edges it
    has fallen by R - sqrt(R^2 - (w/2)^2) where that line is the middle.
    """
    _, y0, _, y1 = shapely.bounds(polygons(piece)).T
    half = float(np.max(y1 - y0)) / 2
    radius = min(surface.radius_nut, surface.radius_end)
    return 0.0 if surface.is_flat else float(half**2 / (radius + np.sqrt(radius**2 - half**2)))


def misfits(piece: BaseGeometry, opened: BaseGeometry, gap: float, *, tolerance: float = 0.005) -> Shapes:
    """Places where a piece with its gap, less `tolerance` (mm), does not fit into what is opened: none if it fits."""
    needed = overlay.buffer(piece, gap, quad_segs=quad_segments(max(gap, _CHORD), _CHORD))
    over = overlay.difference(needed, overlay.buffer(opened, tolerance, quad_segs=4))
    return polygons(over)


def _grown(shape: BaseGeometry, distance: float) -> BaseGeometry:
    if distance < 0.0:
        return whole(polygons(eroded(polygons(shape), -distance, _CHORD)))
    return overlay.buffer(shape, distance, quad_segs=quad_segments(max(abs(distance), _CHORD), _CHORD))


def _thick(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """Without the films that chords leave along curves."""
    return cleaned(_grown(_grown(shape, -0.005), 0.005))


def _checked(pocket_cutters: tuple[Cutter, ...], piece_cutter: Cutter, gap: float, depth: float, where: str) -> None:
    for cutter in (*pocket_cutters, piece_cutter):
        if cutter.shape != "flat-end":
            raise CutterError(
                f"cutter {cutter.name!r}", f"a {cutter.shape} leaves no upright wall for the piece of {where}",
                allowed="flat-end", remedy="take flat-end cutters, or fill with resin",
            )
    if falls_short(piece_cutter.flute_length, depth):
        raise CutterError(f"cutter {piece_cutter.name!r}", f"{where} needs a cut {depth:g} mm deep round the piece",
                          allowed=f"up to its flute, {piece_cutter.flute_length:g} mm", remedy="take thinner stock")
    if not 0.0 <= gap < float("inf"):
        raise JobError(where, f"gap {gap}", allowed="0 mm or more")


def _in_rows(parts: Shapes, space: float, mirrored: bool) -> Shapes:
    """The parts one beside the other in rows, the tallest first, `space` apart and that far from the corner."""
    if mirrored:
        parts = shapely.transform(parts, lambda xy: xy * [-1.0, 1.0])
        parts = shapely.normalize(parts)
    x0, y0, x1, y1 = shapely.bounds(parts).T
    longest = max(float(np.sqrt(((x1 - x0 + space) * (y1 - y0 + space)).sum()) * 1.3), float((x1 - x0).max()))
    at = np.zeros((len(parts), 2))
    x, y, row = space, space, 0.0
    for k in np.argsort(-(y1 - y0), kind="stable"):
        if x > space and x + x1[k] - x0[k] > longest + space:
            x, y, row = space, y + row + space, 0.0
        at[k] = x - x0[k], y - y0[k]
        x, row = x + x1[k] - x0[k] + space, max(row, float(y1[k] - y0[k]))
    corners, index = shapely.get_coordinates(parts, return_index=True)
    return np.asarray(shapely.set_coordinates(parts.copy(), corners + at[index]))


def round_pieces(pieces: BaseGeometry, *, cutter: Cutter, thickness: float, through: float, safe_z: float) -> Toolpath:
    """Round each piece, its holes first, climb cutting: the piece on the right of the cutter's way. In the frame of the
    flat stock, `thickness` mm: its corner at x 0, y 0, its underside at z 0."""
    parts = polygons(pieces)
    flat = level(thickness)
    trace = Trace(cutter, flat, width=cutter.radius, slope=0.0, safe_z=safe_z, options=PocketOptions())
    wide = overlay.buffer(parts, cutter.radius, quad_segs=quad_segments(cutter.radius, _CHORD))
    around = overlay.simpler(wide, _CHORD)
    for part in shapely.orient_polygons(around, exterior_cw=True):
        for ring in (*part.interiors, part.exterior):
            line, above = shapely.get_coordinates(ring), 0.0
            for depth in layer_depths(cutter, thickness + through):
                ramp = way_in(line, (depth - above) / trace.ramp)
                trace.enter(ramp, above, float(depth))
                trace.follow(line, float(depth))
                above = float(depth)
    return trace.toolpath(Standing.over(shapely.total_bounds(around), [cutter], flat))
