"""Each copy of a drawing placed on a board or a plate: where it goes, and how large it comes out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from pathgen.artwork import Artwork, Placement
from pathgen.artwork.place import drawing_box
from pathgen.base import overlay
from pathgen.base.errors import ArtworkError, JobError
from pathgen.job.between_frets import MARGIN, FretLines, at_frets, between_frets, edge_angle
from pathgen.job.inlay_tables import InlayTable, PlaceTable
from pathgen.job.outlines import Regions, as_a_plate_lies, stated
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.flat.part import FlatPart
from pathgen.work.features import PlacedSize

_TRIED, _FURTHER, _ASKED = 21, 0.5, 400
"""Places on the way to the middle that are tried, how far apart those along are, mm, and points that rule one out."""


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
    area: BaseGeometry, wood: BaseGeometry, at: tuple[float, float], *, step: float
) -> tuple[float, float] | None:
    """Where a drawing that is placed `at`, in whole steps, lies on the wood: moved inward along, as far as it must be,
    then to the middle.

    None where it is too large, or the wood too hollow, to lie there.
    """
    (x0, y0, x1, y1), (left, low, right, high) = area.bounds, wood.bounds
    out = np.array([max(left - x0, 0.0) + min(right - x1, 0.0), (low + high - y0 - y1) / 2])
    inward = np.sign(out[0]) if out[0] else np.sign(left + right - x0 - x1)
    shares, along = np.linspace(0.0, 1.0, _TRIED if out[1] else 1), np.arange(0.0, right - left, _FURTHER)
    moves = np.stack([np.tile(out[0] + along * inward, len(shares)), np.repeat(out[1] * shares, len(along))], axis=1)
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
        lines = FretLines(bass=board.crossings[:, 0], treble=board.crossings[:, 1], slot=slot)
        turn += edge_angle(lines, edge=place.along) if place.along else 0.0
    elif place.at is None or place.along:
        raise JobError("place", "between, at_frets and along count frets, and a plate has none",
                       allowed="at = [along, across], and rotate", remedy="write at")
    if (one := stated(place)) is not None:
        yield replace(one, rotate=turn)
    elif place.between is not None:
        one = between_frets(art, lines, frets=place.between, margin=margin, width=place.width,
                            height=place.height, rotate=turn)
        yield replace(one, mirror=place.mirror)
    else:
        last = len(lines.bass) - 1
        if beyond := [fret for fret in place.at_frets or () if fret > last]:
            raise JobError("place", f"at_frets names {', '.join(map(str, beyond))}", allowed=f"frets from 1 to {last}",
                           remedy="leave that out, or give the board more frets")
        for one in at_frets(art, lines, frets=place.at_frets or (), margin=margin, rotate=turn,
                            largest=place.width, highest=place.height):
            yield replace(one, mirror=place.mirror)
