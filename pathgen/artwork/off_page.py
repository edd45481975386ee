"""What of a drawing hangs over its page, where it is cut off as in a browser."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import shapely

from pathgen.artwork.paint import box_round, painted
from pathgen.artwork.scene import Clip, LeftOut, Scene
from pathgen.base import overlay
from pathgen.base.arrays import Floats

_LEAST = 0.05
"""Area that would be missed, mm2, and how far it hangs over at least, mm: half the line of a frame does by less."""
_TOLERANCE = 0.02  # mm: of shapes that are only looked at


def cut_off_by_page(scene: Scene, background: Collection[str]) -> tuple[LeftOut, ...]:
    """The shape that hangs over the page's edge the furthest, and how many others do; none where all lies on it."""
    page, found = np.array(scene.page), []
    for paint in scene.paints:
        if paint.colour in background or _past(*box_round(paint), page) < _LEAST:
            continue
        areas = painted([replace(paint, clip=_without_page(paint.clip))], _TOLERANCE)
        lost = overlay.difference(overlay.union_all(list(areas.values())), shapely.box(0.0, 0.0, *scene.page))
        low, high = np.reshape(lost.bounds, (2, 2))
        if lost.area > _LEAST and _past(low, high, page) >= _LEAST:  # its box holds more than what is drawn
            found.append((_past(low, high, page), paint.where))
    if not found:
        return ()
    past, where = max(found)
    others = ("", ", as does another")[len(found) - 1] if len(found) < 3 else f", as do {len(found) - 1} others"
    return (LeftOut("part of", where, f"it hangs {past:.1f} mm over the page's edge{others}",
                    "cut off at the edge: move it onto the page, or make the page larger, if that is not meant"),)


def _past(low: Floats, high: Floats, page: Floats) -> float:
    return float(max(np.max(-low), np.max(high - page)))


def _without_page(clip: Clip | None) -> Clip | None:
    """The same without the outermost, which is the page's."""
    return None if clip is None or clip.outer is None else replace(clip, outer=_without_page(clip.outer))
