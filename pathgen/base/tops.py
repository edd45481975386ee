"""Surfaces as makers state them: flat, one radius, or a compound radius by its second radius or by the strings."""

from __future__ import annotations

import math

from pathgen.base.errors import PathgenError
from pathgen.base.given import THICKNESS, place
from pathgen.base.given import length as given
from pathgen.base.surface import Surface

SHARPEST, WIDEST = 1.0, 100_000.0
"""Radii across a top, mm; beyond them it has none, or is flat."""


def flat(thickness: float) -> Surface:
    """A level top, `thickness` mm above the underside of the work.

    Raises PathgenError for a thickness that no blank has: 0.5 to 100 mm.

    >>> import pathgen
    >>> float(pathgen.flat(6.0).height(100.0, 20.0))
    6.0
    """
    return level(_thickness("flat", thickness))


def _thickness(where: str, got: float) -> float:
    """Of a top over the underside of the work, mm."""
    least, most = THICKNESS
    return given(f"{where} thickness", got, least=least, most=most)


def level(thickness: float, length: float = 1.0) -> Surface:
    """The level top of a part `length` mm long, of a thickness that is known to be sound."""
    return Surface(thickness=thickness, radius_nut=math.inf, radius_end=math.inf, length=length)


def radiused(
    *, thickness: float, start: float, end: float | None = None, length: float | None = None,
    bridge: tuple[float, float] | None = None, strings: tuple[float, float, float] | None = None,
) -> Surface:
    """A top with a radius across it: a cylinder, or a cone (a compound radius) in one of three ways.

    Parameters
    ----------
    thickness : float
        Height of the centre-line above the underside, mm.
    start : float
        Radius at x = 0, the nut, mm. Alone it makes a cylinder.
    end, length : float
        The radius at x = `length`, both mm. The radius changes evenly, and goes on so past both ends.
    bridge : (radius, x)
        The same, stated at the bridge: radius and its distance from the nut, mm.
    strings : (spread at the nut, spread at the bridge, x)
        The cone that follows the strings, so that the surface is straight under each: distance between the outer
        strings at the nut and at `x`, mm. Its radius grows as the spread does (derived, by similar triangles).

    Raises
    ------
    PathgenError
        For a thickness that no blank has, a radius under 1 mm or over 100 m, and for two ways at once. A radius may be
        smaller than that of a job's board (25 mm): how steep it is, who cuts a shape into it is told, 45 degrees across
        and 1 in 20 along are the most.

    Examples
    --------
    >>> import pathgen
    >>> top = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
    >>> [round(float(top.height(x, 20.0)), 3) for x in (0.0, 470.0)]
    [5.211, 5.508]
    >>> cone = pathgen.radiused(thickness=6.0, start=254.0, strings=(36.0, 52.0, 640.0))
    >>> float(cone.radius(640.0).round(2))
    366.89
    """
    thickness = _thickness("radiused", thickness)
    start = given("radiused start", start, least=SHARPEST, most=WIDEST)
    ways = {"end": end, "bridge": bridge, "strings": strings}
    if sum(way is not None for way in ways.values()) > 1 or (end is None) != (length is None):
        named = [name for name, way in {**ways, "length": length}.items() if way is not None]
        raise PathgenError("radiused", f"{' and '.join(named)} given", allowed="end with length, or bridge, or strings",
                           remedy="state the second radius in one way")
    if bridge is not None:
        end, length = place("radiused bridge", bridge, count=2, words="(radius, x) in mm").tolist()
    elif strings is not None:
        spreads = place("radiused strings", strings, count=3, words="(spread at the nut, at the bridge, x) in mm")
        at_nut, at_bridge = (given("radiused strings", spread, above=0.0) for spread in spreads[:2].tolist())
        end, length = start * at_bridge / at_nut, float(spreads[2])
    elif end is None:
        end, length = start, 1.0
    name = next((name for name, way in ways.items() if way is not None), "start")
    end = given(f"radiused {name}", end, least=SHARPEST, most=WIDEST)
    where = "radiused length" if name in ("end", "start") else f"radiused {name}"
    return Surface(thickness=thickness, radius_nut=start, radius_end=end,
                   length=given(where, 0.0 if length is None else length, least=1.0, most=2000.0))
