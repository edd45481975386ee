"""The ways in which makers state a compound radius, and what each comes to at the board's end.

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
from pathgen.base.surface import Surface
from pathgen.parts.fingerboard.layout import Edges, Layout, centre_crossings
from pathgen.parts.fingerboard.numbers import Radii


def end_radius(radii: Radii, layout: Layout) -> float:
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
