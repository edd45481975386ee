"""What moves of a round or pointed end open at the surface, exactly: also of moves that rise or sink."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.removal.motion import in_pieces

_PIECE = 0.5
"""Longest piece (mm) of a move over which its depth below the curved surface is taken as even."""
_BALL_PIECE = 0.05
"""The same for the opening of a ball end, which does not grow in proportion to its depth."""
_DIRECTIONS, _HALVINGS = 128, 22
"""In which, and by which, the rim of an opening is found: within a micrometre for cutters of up to 6 mm."""
_LEVEL = 1e-4
"""Depths at both ends of a move that differ by less (mm) are one depth."""


def opens_outside(start: Floats, end: Floats, cutter: Cutter, surface: Surface, allowed: shapely.Geometry) -> Bools:
    """Which straight moves of a ball end or a v cutter open something of `surface` outside `allowed`.

    Parameters
    ----------
    start, end : (n, 3) float array
        Positions of the tip in the board's frame, mm.
    allowed : shapely geometry
        In plan, mm.

    Returns
    -------
    (n,) bool array

    Over a plane a cone or a ball opens a disc; a move opens the hull of the discs at its ends while their radius
    changes evenly between them. Long moves are taken in pieces, those of a ball that rise or sink in short ones. A
    curved surface falls away under that plane, so that less is opened: what its discs reach outside with is looked at
    again by where the cutter's underside meets the surface itself.
    """
    shapely.prepare(allowed)
    rim = shapely.boundary(allowed)
    shapely.prepare(rim)
    a, radius_a = opened_discs(start, cutter, surface)
    b, radius_b = opened_discs(end, cutter, surface)
    ways = shapely.linestrings(np.stack([a, b], axis=1))
    # the surface bulges above the straight way by s^2 / 8R: far less than a hundredth of the way in a move of use
    most = np.maximum(radius_a, radius_b) + 0.01 * np.hypot(*(b - a).T)
    clear = shapely.covers(allowed, ways) & ~shapely.dwithin(rim, ways, most)
    outside = np.zeros(len(start), bool)
    close = np.flatnonzero(~clear)
    if len(close):
        first, last, owner, _ = in_pieces(start[close], end[close], _pieces((end - start)[close], cutter))
        opened = _hulls(_discs(first, cutter, surface), _discs(last, cutter, surface))
        out = np.flatnonzero(~shapely.covers(allowed, opened))
        opened = _hulls(_rims(first[out], cutter, surface), _rims(last[out], cutter, surface))
        outside[close[owner[out[~shapely.covers(allowed, opened)]]]] = True
    return outside


def opened_discs(tip: Floats, cutter: Cutter, surface: Surface) -> tuple[Floats, Floats]:
    """(n, 2) middles and (n,) radii of the discs that the cutter opens with its tip at (n, 3) places; 0 for nothing.

    Over the plane that touches the surface there, of gradient g: a cone of flank slope w, h deep, meets it in an
    ellipse with the axis in one focus, e = g / w, half its length h / w / (1 - e^2), its middle e times that uphill.
    A ball whose centre lies c above the plane meets it in a circle of radius sqrt(r^2 - c^2), its middle
    c sin(slope) uphill. The disc is the one round the ellipse: at 5 degrees 0.4 % wide at most.
    """
    xy = tip[:, :2]
    deep = np.maximum(surface.tip_height(cutter, xy[:, 0], xy[:, 1]) - tip[:, 2], 0.0)
    normal = surface.normal(xy[:, 0], xy[:, 1])
    uphill = -normal[:, :2]
    match cutter.shape:
        case "v":
            eccentric = np.hypot(*uphill.T) / normal[:, 2] / cutter.wall_slope
            half = deep / cutter.wall_slope / (1.0 - eccentric**2)
            shift = uphill / normal[:, 2:] * (half / cutter.wall_slope)[:, None]
        case "ball-end":
            centre = np.maximum(cutter.radius - deep * normal[:, 2], 0.0)
            half = np.sqrt(cutter.radius**2 - centre**2)
            shift = uphill * centre[:, None]
        case other:
            raise ValueError(f"what a {other} cutter opens is no disc on a slope")
    sunk = (half >= cutter.radius)[:, None]
    return np.where(sunk, xy, xy + shift), np.minimum(np.where(deep > 0.0, half, 0.0), cutter.radius)


def _discs(tip: Floats, cutter: Cutter, surface: Surface) -> NDArray[np.object_]:
    middle, radius = opened_discs(tip, cutter, surface)
    return np.asarray(overlay.buffer(shapely.points(middle), radius, quad_segs=32))


def _rims(tip: Floats, cutter: Cutter, surface: Surface) -> NDArray[np.object_]:
    """What the cutter opens with its tip at (n, 3) places: in each of many directions as far as its underside, not
    past its radius, lies below the surface. Found by halving on ways from within: the tip of a v; of a ball end, which
    meets a slope uphill of its axis, the middle of what it opens. So such ways leave the wood once."""
    turn = np.linspace(0.0, 2.0 * np.pi, _DIRECTIONS, endpoint=False)
    middle = tip[:, :2] if cutter.shape == "v" else opened_discs(tip, cutter, surface)[0]
    x, y, z = (column[:, None] for column in tip.T)
    from_x, from_y = (column[:, None] for column in middle.T)
    low = np.zeros((len(tip), _DIRECTIONS))
    high = low + cutter.radius + np.hypot(from_x - x, from_y - y)
    for _ in range(_HALVINGS):
        out = (low + high) / 2.0
        at_x, at_y = from_x + out * np.cos(turn), from_y + out * np.sin(turn)
        met = surface.height(at_x, at_y) > z + cutter.profile(np.hypot(at_x - x, at_y - y))
        low, high = np.where(met, out, low), np.where(met, high, out)
    rim = np.stack([from_x + high * np.cos(turn), from_y + high * np.sin(turn)], axis=2)
    return np.where(low.any(axis=1), shapely.polygons(rim), shapely.Polygon())


def _pieces(run: Floats, cutter: Cutter) -> Ints:
    """(n,) in how many pieces moves of (n, 3) run are taken."""
    rises = np.abs(run[:, 2]) > _LEVEL
    longest = np.where(rises & (cutter.shape == "ball-end"), _BALL_PIECE, _PIECE)
    return np.maximum(1, np.ceil(np.hypot(run[:, 0], run[:, 1]) / longest)).astype(np.intp)


def _hulls(a: NDArray[np.object_], b: NDArray[np.object_]) -> NDArray[np.object_]:
    """What is opened from one place to the next; empty where nothing is."""
    return np.asarray(shapely.convex_hull(shapely.geometrycollections(np.stack([a, b], axis=1))))
