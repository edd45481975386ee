"""Where the centre of an arc lies and how far it turns, from the words of its line: section 3.5.3 of NISTIR 6556."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from pathgen.base.errors import ProgramError
from pathgen.base.limits import FURTHEST
from pathgen.base.plain import figure
from pathgen.base.units import INCH
from pathgen.verify.program import PLANES

Fail = Callable[..., ProgramError]
"""Makes the error for a problem of the line, with `allowed` and `remedy`."""
_ARC_RADII_AGREE = {1.0: 0.002, INCH: 0.0002 * INCH}  # section 3.5.3.2, mm


def centre_and_turn(
    start: Sequence[float], end: Sequence[float], words: Mapping[str, float], *, plane: int, unit: float,
    clockwise: bool, fail: Fail,
) -> tuple[list[float], float]:
    """Centre of an arc between two places, at the height of its start, mm, and the signed angle that it turns, radians.

    `words` are its line's, in units of `unit` mm. Raises what `fail` makes for an arc that is not said in full, or that
    does not meet its end.
    """
    first, second, _ = PLANES[plane]
    if any(map(math.isnan, start)):
        raise fail("an arc from a place that is not known", allowed="arcs from a known place",
                   remedy="move to its start first")
    if "XYZ"[first] not in words and "XYZ"[second] not in words:
        raise fail(f"an arc in G{plane} without {'XYZ'[first]} or {'XYZ'[second]}",
                   allowed="one of them at least",
                   remedy="write where it ends, or the plane that is meant (G17, G18, G19)")
    (a0, b0), (a1, b1) = ((place[first], place[second]) for place in (start, end))
    a, b = _centre(a0, b0, a1, b1, words, plane=plane, unit=unit, clockwise=clockwise, fail=fail)
    if not max(abs(a - a0), abs(b - b0)) <= FURTHEST:
        raise fail(f"an arc whose centre lies {figure(max(abs(a - a0), abs(b - b0)))} mm away",
                   allowed=f"within {FURTHEST:g} mm", remedy="write a straight move")
    r0, r1 = math.hypot(a0 - a, b0 - b), math.hypot(a1 - a, b1 - b)
    if r0 == 0 or abs(r0 - r1) > _ARC_RADII_AGREE[unit] * (1 + 1e-9):
        raise fail(f"an arc whose radius is {r0:.5f} mm at its start and {r1:.5f} mm at its end",
                   allowed=f"{_ARC_RADII_AGREE[unit]:g} mm apart (NISTIR 6556, 3.5.3.2)",
                   remedy=_exchanged((a - a0, b - b0), (a1 - a0, b1 - b0), words, plane=plane, unit=unit) or
                   "does the line before end where this arc begins? else have it written with more decimals, its "
                   "centre from its start")
    turn = math.atan2(b1 - b, a1 - a) - math.atan2(b0 - b, a0 - a)
    if clockwise:
        turn = turn if turn < -1e-12 else turn - 2 * math.pi
    else:
        turn = turn if turn > 1e-12 else turn + 2 * math.pi
    centre = list(start)
    centre[first], centre[second] = a, b
    return centre, turn


def _exchanged(
    centre: tuple[float, float], end: tuple[float, float], words: Mapping[str, float], *, plane: int, unit: float
) -> str:
    """What to do where an arc's centre is told the wrong way round, by its centre and end from its start: then it meets
    its end with the two words exchanged."""
    one, other = ("IJK"[axis] for axis in PLANES[plane][:2])
    b, a = centre
    meets = abs(math.hypot(a, b) - math.hypot(end[0] - a, end[1] - b)) <= _ARC_RADII_AGREE[unit]
    return f"are {one} and {other} exchanged? the arc meets its end with {one}{words.get(other, 0.0):g} " \
        f"{other}{words.get(one, 0.0):g}" if meets and "R" not in words else ""


def _centre(
    a0: float, b0: float, a1: float, b1: float, words: Mapping[str, float], *, plane: int, unit: float,
    clockwise: bool, fail: Fail,
) -> tuple[float, float]:
    """In the plane: from the start by I, J or K, or by the radius."""
    names = ["I J K"[2 * axis] for axis in PLANES[plane][:2]]
    if stray := set("IJK") - set(names) & words.keys():
        raise fail(f"{min(stray)} in an arc in G{plane}", allowed=" and ".join(names),
                   remedy="write the plane that is meant (G17, G18, G19)")
    by_centre = any(name in words for name in names)
    if "R" in words:
        if by_centre:
            raise fail("an arc with both R and a centre", allowed="one of them", remedy="keep the one that is meant")
        return _centre_by_radius(a0, b0, a1, b1, words["R"] * unit, unit=unit, clockwise=clockwise, fail=fail)
    if not by_centre:
        raise fail("an arc without R or a centre", allowed=f"R, or {' and '.join(names)}",
                   remedy="write them, or G1 if a straight move is meant")
    a, b = (place + words.get(name, 0.0) * unit for place, name in zip((a0, b0), names, strict=True))
    return a, b


def _centre_by_radius(
    a0: float, b0: float, a1: float, b1: float, radius: float, *, unit: float, clockwise: bool, fail: Fail
) -> tuple[float, float]:
    da, db = a1 - a0, b1 - b0
    chord = math.hypot(da, db)
    if not abs(radius) <= FURTHEST:
        raise fail(f"an arc with R {figure(radius)} mm", allowed=f"within {FURTHEST:g} mm",
                   remedy="write a straight move")
    if chord == 0:
        raise fail("an arc with R that ends where it starts", allowed="a centre",
                   remedy="write a whole circle with I and J")
    if chord / 2 > abs(radius) + _ARC_RADII_AGREE[unit]:
        raise fail(f"an arc with R {abs(radius):g} mm over a chord of {chord:.4f} mm",
                   allowed=f"R of {chord / 2:.4f} mm or more", remedy="does the line before end where this arc begins?")
    rise = math.sqrt(max(radius**2 - chord**2 / 4, 0.0))
    # the short way round lies left of the chord for G3 with R above 0, right of it for G2
    side = (-1 if clockwise else 1) * (1 if radius > 0 else -1)
    return (a0 + a1) / 2 - side * rise * db / chord, (b0 + b1) / 2 + side * rise * da / chord
