"""Each copy of a drawing placed on a board or a plate: where it goes, and how large it comes out.

Between frets it goes in one space, or a copy in each of several, made to fit; or along an edge.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from pathgen.artwork import Artwork, Placement
from pathgen.artwork.place import drawing_box
from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import ArtworkError, JobError
from pathgen.base.units import rounded_down
from pathgen.job.inlay_tables import InlayTable, PlaceTable
from pathgen.job.outlines import Regions, as_a_plate_lies, stated
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.flat.part import FlatPart
from pathgen.work.features import PlacedSize

MARGIN = 1.0
"""Between a drawing that is made to fit and the slots' edges where the job says nothing, mm."""

_FURTHER, _MOST, _ASKED = 0.5, 500, 400
"""How far apart the places are that are tried, mm, how many either way at most, and points that rule one out."""


def placed_on(
    board: Fingerboard | FlatPart, art: Artwork, table: InlayTable, where: str, *, slot: float
) -> tuple[Regions, tuple[PlacedSize, ...]]:
    """The colours to be cut, of every copy of the drawing, in the board's frame; and each copy's size.

    `slot` is how wide the fret slots open, mm, which drawings between frets keep clear of.
    """
    if table.place is None:
        if not art.physical:
            raise JobError(f"{where} artwork", f"{table.artwork} has no physical size", remedy="add place with a width")
        # as the drawing of a plate's own outline lies, so that what is drawn together stays together
        copies = [as_a_plate_lies(art) if isinstance(board, FlatPart) else art]
        sizes = [_size(art, 1.0, table.layers)]
    else:
        try:
            places = list(_placements(table.place, art, board, slot))
        except (ArtworkError, JobError) as wrong:
            raise type(wrong)(f"{where} place", wrong.problem, allowed=wrong.allowed, remedy=wrong.remedy) from None
        copies = [one.of(art) for one in places]
        sizes = [_size(art, one.scale(art), table.layers, mirrored=one.mirror) for one in places]
    wanted = [r.colour for r in art.regions if table.colours is None or r.colour in table.colours]
    shapes = {colour: [r.polygon for copy in copies for r in copy.regions if r.colour == colour] for colour in wanted}
    return tuple((colour, overlay.union_all(parts)) for colour, parts in shapes.items()), tuple(sizes)


def place_that_fits(
    area: BaseGeometry, wood: BaseGeometry, at: tuple[float, float], *, step: float, across_only: bool = False
) -> tuple[float, float] | None:
    """Where a drawing that is placed `at`, in whole steps, lies on the wood: moved inward, along and across, as little
    as it must be.

    None where it is too large, or the wood too hollow, to lie there.
    """
    (x0, y0, x1, y1), (left, low, right, high) = area.bounds, wood.bounds
    out = np.array([max(left - x0, 0.0) + min(right - x1, 0.0), max(low - y0, 0.0) + min(high - y1, 0.0)])
    inward, middle = np.sign(out[0]) if out[0] else np.sign(left + right - x0 - x1), (low + high - y0 - y1) / 2
    along = out[0] + np.arange(0.0, right - left, max(_FURTHER, (right - left) / _MOST)) * inward
    across = np.linspace(out[1], middle, 1 + min(math.ceil(abs(middle - out[1]) / _FURTHER), _MOST))
    moves = np.stack(np.meshgrid(along, across), axis=-1).reshape(-1, 2)
    moves = moves[moves[:, 0] == 0.0] if across_only else moves
    moves = moves[np.argsort(np.abs(moves).sum(axis=1), kind="stable")]
    moves = np.round((np.array(at) + moves + np.sign(moves) * step / 2) / step) * step - at
    shapely.prepare(wood)
    points = shapely.get_coordinates(area)
    for point in points[:: 1 + len(points) // _ASKED]:  # most places are out of question with a few of them
        moves = moves[shapely.intersects_xy(wood, *(moves + point).T)]
    there = next((move for move in moves if wood.covers(translate(area, *move))), None)
    return None if there is None else (float(at[0] + there[0]), float(at[1] + there[1]))


def _size(art: Artwork, scale: float, layers: tuple[str, ...], *, mirrored: bool = False) -> PlacedSize:
    box = drawing_box(art)
    wide, high = ((box[2:] - box[:2]) * scale).tolist()
    return PlacedSize(width=wide, height=high, share=scale if art.physical else None, mirrored=mirrored,
                      layers=layers)


def _placements(place: PlaceTable, art: Artwork, board: Fingerboard | FlatPart, slot: float) -> Iterator[Placement]:
    """Where each copy of a drawing goes; `slot` is the width of the fret slots."""
    turn, margin = place.rotate, MARGIN if place.margin is None else place.margin
    if isinstance(board, Fingerboard):
        lines = board.crossings
        turn += edge_angle(lines, place.along) if place.along else 0.0
    elif place.at is None or place.along:
        raise JobError("place", "between, at_frets and along count frets, and a plate has none",
                       allowed="at = [along, across], and rotate", remedy="write at")
    if (one := stated(place)) is not None:
        yield replace(one, rotate=turn)
    elif place.between is not None:
        one = between_frets(art, lines, frets=place.between, slot=slot, margin=margin, width=place.width,
                            height=place.height, rotate=turn)
        yield replace(one, mirror=place.mirror)
    else:
        last = len(lines) - 1
        if beyond := [fret for fret in place.at_frets or () if fret > last]:
            raise JobError("place", f"at_frets names {', '.join(map(str, beyond))}", allowed=f"frets from 1 to {last}",
                           remedy="leave that out, or give the board more frets")
        for one in at_frets(art, lines, frets=place.at_frets or (), slot=slot, margin=margin, rotate=turn,
                            largest=place.width, highest=place.height):
            yield replace(one, mirror=place.mirror)


def between_frets(
    artwork: Artwork, lines: Floats, *, frets: tuple[int, int], slot: float, margin: float, rotate: float,
    width: float | None = None, height: float | None = None,
) -> Placement:
    """Centred between two frets, 0 the nut, on the line half-way between the edges; `lines`, (n + 1, 2, 2) mm, are
    those of nut and frets from edge to edge, and `slot` is how wide their slots are.

    Without width and height it is made to fit, `margin` mm or more from the two slots and from the edges. Raises
    ArtworkError for frets that are not on the board, or a margin that leaves no room.
    """
    low, high = sorted(frets)
    if not (0 <= low < high < len(lines)):
        raise ArtworkError("place", f"between frets {frets[0]} and {frets[1]}",
                           allowed=f"two different frets, from 0 (the nut) to {len(lines) - 1}")
    corners = np.concatenate([lines[low], lines[high, ::-1]])  # going round
    centre = corners.mean(axis=0)
    if width is None and height is None:
        width = _fitting_width(artwork, corners, rotate, margin, frets, slot)
    return Placement(at=(float(centre[0]), float(centre[1])), rotate=rotate, width=width, height=height,
                     centre="drawing")


def at_frets(
    artwork: Artwork, lines: Floats, *, frets: Sequence[int], slot: float, margin: float, rotate: float,
    largest: float | None, highest: float | None,
) -> tuple[Placement, ...]:
    """A copy in the space before each of several frets, as position markers stand, each made to fit as `between_frets`
    does; none goes over the width `largest` or the height `highest`, mm: with one, markers may all be of one size.
    """
    found = [between_frets(artwork, lines, frets=(n - 1, n), slot=slot, margin=margin, rotate=rotate) for n in frets]
    box = drawing_box(artwork)
    across = (box[2] - box[0]) / (box[3] - box[1])
    most = min(math.inf if largest is None else largest, math.inf if highest is None else float(highest * across))
    return tuple(replace(one, width=min(one.width or most, most)) for one in found)


def edge_angle(lines: Floats, edge: str) -> float:
    """Degrees that turn a drawing's length along an edge of the board: along the taper.

    `edge` is "bass", "treble" or "centre". Edges are straight, so the first and last rows tell.
    """
    first, last = lines[[0, -1]][:, {"bass": [0], "treble": [1], "centre": [0, 1]}[edge]].mean(axis=1)
    dx, dy = last - first
    return math.degrees(math.atan2(dy, dx))


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
