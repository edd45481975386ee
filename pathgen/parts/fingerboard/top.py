"""The top of a board from a maker's numbers: its compound radius, its relief and fall-away by frets.

A compound-radius board is a cone; two numbers fix it: the radius at the nut and how fast it grows. Makers give the
second as the radius at the board's end or at the bridge, or ask for the surface to follow the strings: then the
cone's apex is where the two outer strings would meet, and every string lies over one of the cone's straight lines.

Source: R(x) = Rn (1 + x (Sf - Sn) / (Df Sn)), apex at -Df Sn / (Sf - Sn), with string spreads Sn at the nut and Sf
at distance Df: derived, by similar triangles.
"""

from __future__ import annotations

import math

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.lowered import MOST_LOWERED, FallAway, Lowered, Relief
from pathgen.base.slopes import STEEPEST
from pathgen.base.surface import Surface
from pathgen.base.units import falls_short, rounded_down
from pathgen.parts.fingerboard.layout import Edges, Layout, centre_crossings
from pathgen.parts.fingerboard.numbers import FallAwayTable, ReliefTable, TwoRadii

_WORTH_NAMING = 0.005  # mm


def end_radius(radii: TwoRadii, layout: Layout) -> float:
    """Radius at the board's end, mm, in whichever way it was stated."""
    if radii.end is not None:
        return radii.end
    if radii.bridge is not None:
        return _not_below_zero(radii.nut + (radii.bridge - radii.nut) * layout.length / layout.to_bridge)
    if radii.follow is not None:
        return _not_below_zero(radii.nut * (1.0 + layout.length * layout.strings.slope / layout.strings.at_nut),
                               "make nut_width and end_width closer to each other, or state both radii")
    return radii.nut


def string_lines(strings: Edges, count: int, x: tuple[float, float], bass_side: int = -1) -> Floats:
    """(count, 2, 2) lines of `count` strings spread evenly between the outer two, from x[0] to x[1], bass first."""
    ends = np.array(x)
    share = np.linspace(bass_side, -bass_side, count) if count > 1 else np.zeros(1)
    y = share[:, None] * strings.half_width(ends)
    return np.stack([np.broadcast_to(ends, y.shape), y], axis=2)


def bow_under(lines: Floats, surface: Surface) -> Floats:
    """How far the surface stands above a straight edge laid along each line from end to end: (n,) mm.

    Positive where the surface is high in the middle, negative where it is hollow, whichever is more. Along the
    straight lines of the cone it is 0: there the straight edge touches everywhere.
    """
    share = np.linspace(0.0, 1.0, 201)[:, None]
    points = lines[:, 0][:, None] + share * (lines[:, 1] - lines[:, 0])[:, None]
    height = surface.height(points[..., 0], points[..., 1])
    chord = height[:, :1] + share[:, 0] * (height[:, -1:] - height[:, :1])
    off = height - chord
    worst = np.argmax(np.abs(off), axis=1)
    return off[np.arange(len(off)), worst]


def radius_under(lines: Floats, surface: Surface) -> Floats:
    """(n,) radius of the curve under each line where it crosses the centre-line, mm: a slant makes it larger."""
    run = lines[:, 1] - lines[:, 0]
    return np.asarray(surface.radius(centre_crossings(lines)) * (run**2).sum(axis=1) / run[:, 1] ** 2)


def _not_below_zero(radius: float, remedy: str = "make the radii closer to each other") -> float:
    if not (math.isfinite(radius) and radius > 0):
        raise JobError(
            "[board] radius", f"shrinks to {radius:.1f} mm at the board's end", allowed="above half the width there",
            remedy=remedy)
    return radius


def lowered(surface: Surface, layout: Layout, relief: ReliefTable | None, fall: FallAwayTable | None) -> Surface:
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
