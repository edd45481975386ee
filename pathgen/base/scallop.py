"""Ridges that a ball-end cutter leaves between passes: exact, both ways.

Two passes whose contact points lie `stepover` apart along the surface leave a ridge where the two balls
meet. With surface radius R, ball radius r and ridge height h the centre of curvature, a ball centre and the
top of the ridge make a triangle with sides R + r, R + h and r; half the stepover is the arc ``R * phi`` that
its angle phi spans:

    cos(phi) = ((R + r)**2 + (R + h)**2 - r**2) / (2 * (R + r) * (R + h))

A hollow has negative R in the same formula. Written with ``sin(phi / 2)**2`` nothing cancels, so the results
hold to the last digits from a dowel to a flat table.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base import given
from pathgen.base.arrays import Floats
from pathgen.base.errors import CutterError

RIDGES = (0.0005, 1.0)
"""Lowest and highest ridges that may be asked for, mm."""

_OF_RADIUS = 0.9
"""Ridges are no higher than this share of the ball's radius: higher ones have hardly a surface between them."""


def ridge_limits(ball_radius: float) -> tuple[float, float]:
    """Lowest and highest ridges that a ball may be asked to leave, mm."""
    return RIDGES[0], min(RIDGES[1], _OF_RADIUS * ball_radius)


def scallop_height(stepover: ArrayLike, ball_radius: ArrayLike, surface_radius: ArrayLike = np.inf) -> Floats:
    """Height of the ridge between two passes of a ball-end cutter.

    Parameters
    ----------
    stepover : float or array
        Distance between the passes' contact points, measured along the surface.
    ball_radius : float or array
        Radius of the ball.
    surface_radius : float or array
        Radius of the surface across the passes: positive convex, negative hollow, infinite flat.

    Returns
    -------
    float array of the broadcast shape, in the unit of the lengths; for scalars one number (a numpy.float64)

    Raises
    ------
    CutterError
        When the passes are too far apart for the ball to leave a ridge between them (the two cuts no longer
        meet), when a length is not 0.000001 to 1e9, or when the ball is larger than a hollow.

    Examples
    --------
    >>> import pathgen
    >>> round(float(pathgen.scallop_height(0.5, 3.175)), 9)
    0.009857823
    """
    s, r, big_r = _checked(stepover, ball_radius, surface_radius)
    # k = R + r over R: 1 for a flat, above 1 convex, below 1 hollow.
    k = 1.0 + r / big_r
    with np.errstate(invalid="ignore"):
        half_chord = np.where(np.isinf(big_r), s / 4.0, big_r * np.sin(s / (4.0 * big_r)))  # R sin(phi / 2)
    inverse = 1.0 / big_r
    under_root = r**2 - 4.0 * k**2 * half_chord**2 * (1.0 - (half_chord * inverse) ** 2)
    if np.any(under_root < 0) or np.any(np.abs(s * inverse) >= np.pi):
        raise CutterError("stepover",
                          f"{_text(s)} with a ball of radius {_text(r)} leaves uncut surface between passes",
                          allowed=_widest(r, big_r), remedy="make the stepover smaller")
    a = r - 2.0 * k * half_chord**2 * inverse
    return _told(4.0 * k * half_chord**2 / (a + np.sqrt(under_root)))


def _told(values: Floats) -> Floats:
    one: Floats = values[()]  # of an array of one number without a list that number, which can be rounded
    return one


def _widest(r: Floats, big_r: Floats) -> str:
    """The stepover from which two cuts no longer meet, in words: sin(phi) is then r / (R + r)."""
    with np.errstate(invalid="ignore"):
        curved = 2.0 * np.abs(big_r) * np.arcsin(np.minimum(r / np.abs(big_r + r), 1.0))
    widest = float(np.where(np.isinf(big_r), 2.0 * r, curved).min())
    unit = 10.0 ** (math.floor(math.log10(widest)) - 4)
    return f"less than {math.floor(widest / unit + 1e-6) * unit:g}, from where the two cuts do not meet"


def stepover_for(scallop: ArrayLike, ball_radius: ArrayLike, surface_radius: ArrayLike = np.inf) -> Floats:
    """Stepover along the surface that leaves ridges of a given height: the inverse of `scallop_height`.

    Parameters
    ----------
    scallop : float or array
        Height of the ridges, in the unit of the other lengths.
    ball_radius, surface_radius : float or array
        As there.

    Returns
    -------
    float array of the broadcast shape, in the unit of the lengths; for scalars one number (a numpy.float64)

    Raises
    ------
    CutterError
        When the ridge would be as high as the ball's radius or more, or a length is not 0.000001 to 1e9.

    Examples
    --------
    >>> import pathgen
    >>> round(float(pathgen.stepover_for(0.01, 3.175, 241.3)), 6)
    0.500296
    """
    h, r, big_r = _checked(scallop, ball_radius, surface_radius, name="scallop")
    if np.any(h >= r):
        raise CutterError("scallop", f"{_text(h)} given", allowed=f"less than the ball's radius {_text(r)}",
                          remedy="make it smaller")
    # sin(phi / 2) * R, with 1 + r / R and 1 + h / R so that a flat is the plain limit.
    half_chord = np.sqrt(h * (2.0 * r - h) / (4.0 * (1.0 + r / big_r) * (1.0 + h / big_r)))
    with np.errstate(invalid="ignore"):
        curved = 4.0 * big_r * np.arcsin(half_chord / big_r)
    return _told(np.where(np.isinf(big_r), 4.0 * half_chord, curved))


def _checked(
    length: ArrayLike, ball_radius: ArrayLike, surface_radius: ArrayLike, *, name: str = "stepover"
) -> tuple[Floats, Floats, Floats]:
    try:
        s, r, big_r = map(given.numbers, (length, ball_radius, surface_radius))
        np.broadcast_shapes(s.shape, r.shape, big_r.shape)
    except (TypeError, ValueError, OverflowError):
        raise CutterError(name, "no numbers, or not as many of each",
                          allowed=f"{name}, ball_radius and surface_radius in mm",
                          remedy="give numbers, or arrays of them") from None
    least, most = given.FINEST_FIGURE, given.LARGEST_FIGURE
    for what, values in ((name, s), ("ball_radius", r)):
        if not np.all((values >= least) & (values <= most)):
            raise CutterError(what, f"{_text(values)} given", allowed=f"{least:g} to {most:g}")
    if not np.all(np.isinf(big_r) | (np.abs(big_r) >= least) & (np.abs(big_r) <= most)):
        raise CutterError("surface_radius", f"{_text(big_r)} given",
                          allowed=f"{least:g} to {most:g}, negative for a hollow, infinite for a flat")
    if np.any((big_r < 0) & (-big_r <= r)):
        raise CutterError("ball_radius", f"{_text(r)} does not fit a hollow of radius {_text(-big_r)}",
                          allowed="a ball smaller than the hollow", remedy="take a smaller ball")
    return s, r, big_r


def _text(values: Floats) -> str:
    return f"{float(values):g}" if values.ndim == 0 else f"{values.min():g} to {values.max():g}"
