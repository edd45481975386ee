"""Where a drawing goes between frets: in one space, or a copy in each of several, made to fit; along an edge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from pathgen.artwork.place import Placement, drawing_box
from pathgen.artwork.reader import Artwork
from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import ArtworkError
from pathgen.base.units import rounded_down

MARGIN = 1.0
"""Between a drawing that is made to fit and the slots' edges where the job says nothing, mm."""


@dataclass(frozen=True, eq=False, kw_only=True)
class FretLines:
    """Where each fret line meets the edges: row 0 the nut, row k fret k; (n + 1, 2) each, mm in the board's frame."""

    bass: Floats
    treble: Floats
    slot: float = 0.0
    """How wide the slots are, mm: margins are measured from their edges. 0: from the fret lines."""


def between_frets(
    artwork: Artwork, lines: FretLines, *, frets: tuple[int, int], margin: float = 0.0, width: float | None = None,
    height: float | None = None, rotate: float = 0.0,
) -> Placement:
    """Centred between two frets on the line half-way between the edges.

    Parameters
    ----------
    frets : (int, int)
        The two frets, such as (4, 5); 0 is the nut.
    margin : float
        Least distance from the two slots and from the edges, when neither width nor height is given, mm.
    width, height, rotate
        As in Placement; with neither, the drawing is scaled to fit between the frets and the edges.

    Raises
    ------
    ArtworkError
        For frets that are not on the board, or a margin that leaves no room.
    """
    corners = _space(lines, frets)
    centre = corners.mean(axis=0)
    if width is None and height is None:
        width = _fitting_width(artwork, corners, rotate, margin, frets, lines.slot)
    return Placement(
        at=(float(centre[0]), float(centre[1])), rotate=rotate, width=width, height=height, centre="drawing"
    )


def at_frets(
    artwork: Artwork, lines: FretLines, *, frets: Sequence[int], margin: float, rotate: float = 0.0,
    largest: float | None = None, highest: float | None = None,
) -> tuple[Placement, ...]:
    """A copy in the space before each of several frets, as position markers stand, each scaled to fit its space.

    Parameters
    ----------
    margin, rotate
        As in `between_frets`.
    frets : sequence of int
        Such as (3, 5, 7, 9, 12): the copies stand between fret n - 1 and fret n.
    largest, highest : float or None
        A width and a height that no copy goes over, mm: with one, markers may all be of one size.

    Raises
    ------
    ArtworkError
        As `between_frets`.
    """
    found = [between_frets(artwork, lines, frets=(n - 1, n), margin=margin, rotate=rotate) for n in frets]
    box = drawing_box(artwork)
    across = (box[2] - box[0]) / (box[3] - box[1])
    most = min(math.inf if largest is None else largest, math.inf if highest is None else float(highest * across))
    return tuple(replace(one, width=min(one.width or most, most)) for one in found)


def edge_angle(lines: FretLines, *, edge: str) -> float:
    """Degrees that turn a drawing's length along an edge of the board: along the taper.

    `edge` is "bass", "treble" or "centre". Edges are straight, so the first and last rows tell.
    """
    ends = {"bass": [lines.bass], "treble": [lines.treble], "centre": [lines.bass, lines.treble]}
    line = np.mean([points[[0, -1]] for points in ends[edge]], axis=0)
    dx, dy = line[1] - line[0]
    return math.degrees(math.atan2(dy, dx))


def _space(lines: FretLines, frets: tuple[int, int]) -> Floats:
    """Corners of the space between two fret lines, going round: (4, 2)."""
    low, high = sorted(frets)
    if not (0 <= low < high < len(lines.bass)):
        raise ArtworkError(
            "place", f"between frets {frets[0]} and {frets[1]}",
            allowed=f"two different frets, from 0 (the nut) to {len(lines.bass) - 1}",
        )
    return np.array([lines.bass[low], lines.treble[low], lines.treble[high], lines.bass[high]])


def _fitting_width(
    artwork: Artwork, corners: Floats, rotate: float, margin: float, frets: tuple[int, int], slot: float
) -> float:
    """The largest width at which the turned drawing keeps `margin` from every side of a space.

    Each side allows the drawing a reach from its centre along the side's normal; the drawing's own reach in that
    direction grows with its size. The drawing is measured by its convex hull.
    """
    box = drawing_box(artwork)
    hull = shapely.convex_hull(overlay.union_all([shapely.convex_hull(r.polygon) for r in artwork.regions]))
    points = shapely.get_coordinates(hull) - [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2]
    cos, sin = math.cos(math.radians(rotate)), math.sin(math.radians(rotate))
    points = points @ np.array([[cos, sin], [-sin, cos]])
    along = np.roll(corners, -1, axis=0) - corners
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(along[:, 0], along[:, 1])[:, None]
    room = np.sum((corners - corners.mean(axis=0)) * normal, axis=1)
    normal *= np.sign(room)[:, None]
    # the first and the third side are fret lines, with half a slot on this side of each
    room = np.abs(room) - np.array([slot / 2, 0.0, slot / 2, 0.0]) - margin
    if not (room > 0).all():
        most = float(room.min()) + margin
        raise ArtworkError(
            artwork.name, f"a margin of {margin:g} mm leaves no room between frets {frets[0]} and {frets[1]}",
            allowed=f"less than {most:.4g} mm",
            remedy=f"make margin {min(MARGIN, rounded_down(most / 2)):g} mm or less: the drawing has the rest",
        )
    reach = (points @ normal.T).max(axis=0)
    scale = np.min(np.divide(room, reach, out=np.full(len(reach), np.inf), where=reach > 0))
    return float(scale * (box[2] - box[0]))
