"""Relief and fall-away from a maker's numbers, by frets."""

from __future__ import annotations

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.lowered import MOST_LOWERED, FallAway, Lowered, Relief
from pathgen.base.slopes import STEEPEST
from pathgen.base.surface import Surface
from pathgen.base.units import falls_short, rounded_down
from pathgen.parts.fingerboard.layout import Layout, centre_crossings
from pathgen.parts.fingerboard.numbers import FallsAway, ReliefAt

_WORTH_NAMING = 0.005  # mm


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

    most = min(MOST_LOWERED, rounded_down(0.99 * surface.thickness))
    for name, deep in (("relief", relief.depth if relief else 0.0), ("fall_away", fall.drop if fall else 0.0)):
        if deep > most:
            raise JobError(f"[board] {name}", f"{deep:g} mm in a board {surface.thickness:g} mm thick",
                           allowed=f"{most:g} mm or less", remedy="correct it: it is a fraction of a mm")
    if relief and fall and fall.fret < relief.to:
        sooner = f"end the relief sooner (to = {fall.fret})" if fall.fret > relief.fret else \
            f"make the relief deepest and gone before fret {fall.fret}"
        raise JobError("[board] fall_away fret", f"{fall.fret}, and the relief goes on to fret {relief.to}",
                       allowed=f"{relief.to} or more", remedy=f"start it at fret {relief.to} or later, or {sooner}")
    if relief and relief.fret >= relief.to:
        at("relief fret", relief.fret)  # that there is none says more
        raise JobError("[board] relief", f"deepest at fret {relief.fret}, and gone at fret {relief.to}",
                       allowed="fret before to", remedy="correct it")
    dip = Relief(depth=relief.depth, deepest=at("relief fret", relief.fret), end=at("relief to", relief.to)) \
        if relief else None
    away = FallAway(start=at("fall_away fret", fall.fret), end=layout.length, drop=fall.drop,
                    curved=fall.shape == "curved") if fall else None
    if dip:
        _check_slope("relief depth", dip.depth, dip.steepest, "let its frets lie further apart")
    if away:
        _check_slope("fall_away drop", away.drop, away.steepest, "start it at an earlier fret")
    return Lowered(thickness=surface.thickness, radius_nut=surface.radius_nut, radius_end=surface.radius_end,
                   length=surface.length, relief=dip, fall_away=away)


def _check_slope(key: str, deep: float, steepest: float, longer: str) -> None:
    """Raises JobError for what goes down along the board more steeply than any board does."""
    if falls_short(STEEPEST, steepest):
        raise JobError(
            f"[board] {key}", f"{deep:g} mm goes down 1 in {1.0 / steepest:.2g} there, at its steepest",
            allowed=f"1 in {1.0 / STEEPEST:g} along the board",
            remedy=f"make it {rounded_down(deep * STEEPEST / steepest):g} mm or less, or {longer}")


def taken(surface: Surface, web: Floats, x: Floats, least: float) -> tuple[str, str]:
    """What relief or fall-away take where the wood is thinnest, and how much less of it would leave enough.

    `web` is the wood left at places `x` along, mm, and `least` what must be. Either is empty where there is none.
    """
    if not isinstance(surface, Lowered):
        return "", ""
    worst, short, low = int(np.argmin(web)), web < least, surface.lowering(x)
    if low[worst] < _WORTH_NAMING:
        return "", ""
    start = surface.fall_away.start if surface.fall_away else np.inf
    what, key, deep = ("relief", "relief depth", surface.relief.depth if surface.relief else 0.0)
    if falls := x[worst] > start:
        what, key, deep = "fall-away", "fall_away drop", surface.fall_away.drop if surface.fall_away else 0.0
    words = f", where the {what} takes {low[worst]:.2f} mm"
    if not np.all(((x[short] > start) == falls) & (low[short] > 0)):
        return words, ""
    most = rounded_down(deep * float(np.min(1 - (least - web[short]) / low[short])))
    return words, f", or [board] {key} {most:.2f} mm or less" if most > 0 else ""
