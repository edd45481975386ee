"""Relief and fall-away from a maker's numbers, by frets."""

from __future__ import annotations

from pathgen.base.errors import JobError
from pathgen.base.lowered import FallAway, Lowered, Relief
from pathgen.base.surface import Surface
from pathgen.parts.fingerboard.layout import Layout, centre_crossings
from pathgen.parts.fingerboard.numbers import FallsAway, ReliefAt


def lowered(surface: Surface, layout: Layout, relief: ReliefAt | None, fall: FallsAway | None) -> Surface:
    """The surface with relief and fall-away, or as it is without. Raises JobError for what cannot be."""
    if relief is None and fall is None:
        return surface
    places = centre_crossings(layout.lines)

    def at(name: str, fret: int) -> float:
        if not 1 <= fret < len(places):
            raise JobError(f"[board] {name}", f"there is no fret {fret}", allowed=f"1 to {len(places) - 1}",
                           remedy="correct it")
        return float(places[fret])

    for name, deep in (("relief", relief.depth if relief else 0.0), ("fall_away", fall.drop if fall else 0.0)):
        if deep >= surface.thickness:
            raise JobError(f"[board] {name}", f"{deep:g} mm in a board {surface.thickness:g} mm thick",
                           allowed=f"less than {surface.thickness:g} mm", remedy="correct it: it is a fraction of a mm")
        if deep > MOST:
            raise JobError(f"[board] {name}", f"{deep:g} mm deep", allowed=f"{MOST:g} mm or less", remedy="correct it")
    if relief and relief.fret >= relief.to:
        raise JobError("[board] relief", f"deepest at fret {relief.fret}, and gone at fret {relief.to}",
                       allowed="fret before to", remedy="correct it")
    return Lowered(
        thickness=surface.thickness, radius_nut=surface.radius_nut, radius_end=surface.radius_end,
        length=surface.length,
        relief=Relief(depth=relief.depth, deepest=at("relief fret", relief.fret), end=at("relief to", relief.to))
        if relief else None,
        fall_away=FallAway(start=at("fall_away fret", fall.fret), end=layout.length, drop=fall.drop,
                           curved=fall.shape == "curved") if fall else None,
    )


MOST = 3.0
"""mm; more than any board has, and what the cutters' paths are made for."""
