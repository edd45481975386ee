"""Where the axis of a cutter runs round an outline, and what it does not go into."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, MultiPolygon, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.halving import halved
from pathgen.base.units import place_words, rounded_down, rounded_up

_ALONG = 0.1  # between places along the walls at which it is asked how far off the way lies, mm
_SHORT_EDGE, _LEFT = 0.02, 0.003
"""Beside an edge shorter than this a mitred line may leave the walls by more than that, mm, where a round one does not:
a tiny corner that points outward, in one that points inward."""
_WIDER, _LITTLE = 1e-3, 1e-3
"""How much wider than the cutter its way is taken to be, as a share of its radius, against rounding; what it leaves is
next to nothing under this area, mm2."""
_STRAIGHT = 1e-4
"""Corners no further off a straight line, mm, are none: programs are written no finer."""
_FINE = 2.0**-12  # of the cutter, to find the widest that enters: to under a hundredth
_NO_EDGE = 1e-3
"""Beside an edge as short as this, mm, a line set off from an outline leaves it by a hundred times as much."""


def cutting_line(outline: Polygon, cutter: Cutter, *, aside: float = 0.0) -> LinearRing:
    """Where the cutter's axis runs: clockwise, the wood on its right, so that a clockwise spindle climb-cuts. `aside`
    is what stays on the walls, mm."""
    away = cutter.radius + aside
    # past sharp points it is cut off: no further out than `aside` either
    limit = (2.0 * cutter.radius + aside) / away
    outline = shapely.remove_repeated_points(outline, _NO_EDGE)
    grown = overlay.buffer(outline, away, join_style="mitre", mitre_limit=limit, quad_segs=64)
    if np.linalg.norm(np.diff(shapely.get_coordinates(outline.exterior), axis=0), axis=1).min() < _SHORT_EDGE:
        rounded = overlay.buffer(outline, away, quad_segs=64)
        walls = shapely.points(shapely.get_coordinates(shapely.segmentize(outline.exterior, _ALONG)))
        left = walls[~_near(grown, walls, away + _LEFT)]
        if _near(rounded, left, away + _LEFT).any():
            grown = rounded
    ring = shapely.simplify(shapely.orient_polygons(grown, exterior_cw=True).exterior, _STRAIGHT)
    corners = shapely.get_coordinates(ring)[:-1]
    # begun on the longest straight: what goes in and out there meets no corner
    longest = int(np.argmax(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)))
    return LinearRing(np.roll(corners, -longest, axis=0))


def not_entered(outline: Polygon, cutter: Cutter) -> Polygon | MultiPolygon:
    """What stays beside an outline where its cutter does not go in: in narrow bays, in corners that point inward.
    Raises CutterError for a bay that is wider behind its mouth: there the cutter would not come at all."""
    reach = cutter.radius * (1.0 + _WIDER)
    way = overlay.buffer(outline, reach, quad_segs=64)
    rings = shapely.get_rings(way)
    if len(rings) > 1:
        x, y = shapely.get_coordinates(shapely.shortest_line(rings[0], rings[1]).centroid)[0]
        raise CutterError(f"outline cutter {cutter.name!r}", f"does not go into the outline near {place_words(x, y)}",
                          allowed=what_enters(outline, reach),
                          remedy="take a smaller cutter, or make that bay's mouth wider")
    line = cutting_line(outline, cutter)
    pieces = shapely.get_parts(overlay.difference(
        overlay.difference(Polygon(line), overlay.buffer(line, reach, quad_segs=64)), outline))
    pieces = pieces[(shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > _LITTLE)]
    return pieces[0] if len(pieces) == 1 else shapely.multipolygons(pieces)


def what_enters(outline: Polygon, reach: float) -> str:
    """What goes into all bays of an outline that one with `reach` mm from its axis does not: in words, for an error."""
    low, _ = halved(lambda half: not shapely.get_num_interior_rings(overlay.buffer(outline, half, quad_segs=64)), 0.0,
                    reach, within=_FINE * reach)
    widest, past = rounded_down(2.0 * low), Polygon(overlay.buffer(outline, reach).exterior)
    bay = overlay.difference(overlay.buffer(past, -reach), overlay.buffer(outline, 2.0 * low))
    # one that leaves wood in the middle of the bay, loose, is no way out
    cutter = f"a cutter of {widest:.2f} mm or less, or " if widest and bay.area < _LITTLE else ""
    return f"{cutter}bays with mouths {rounded_up(2 * reach):.2f} mm wide or more"


def places_on(ring: LinearRing, stations: Floats) -> Floats:
    """(n, 2) places so far along a ring, (n,), counted on from lap to lap, mm."""
    return shapely.get_coordinates(shapely.line_interpolate_point(ring, stations % ring.length))


def corners_on(ring: LinearRing) -> Floats:
    """(n,) how far along a ring its corners are, mm."""
    return np.asarray(shapely.line_locate_point(ring, shapely.points(shapely.get_coordinates(ring)[:-1])))


def _near(area: Polygon, places: NDArray[np.object_], within: float) -> Bools:
    """(n,) which of some points lie so near to an area's rim."""
    rim = area.exterior
    shapely.prepare(rim)
    return np.asarray(shapely.dwithin(rim, places, within))
