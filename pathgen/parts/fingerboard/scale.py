"""Where frets go along a string, and how far out of tune a misplaced one is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base import given
from pathgen.base.arrays import Floats
from pathgen.base.errors import PathgenError


def fret_distances(scale_length: float, frets: int, divisions: int = 12) -> Floats:
    """Distances from the nut to each of so many frets, (frets,), in the unit of `scale_length`, the open string's.

    Equal temperament: the length left beyond fret n is ``scale_length * 2 ** (-n / divisions)``, so that
    each fret raises the pitch by the same ratio and fret number `divisions`, an octave, halves the string. Raises
    PathgenError for a length that is not 0.000001 to 1e9, and for more than 1000 frets or divisions.

    >>> import pathgen
    >>> pathgen.fret_distances(650.0, 12)[[0, 11]].round(4).tolist()
    [36.4817, 325.0]
    """
    scale_length = given.length("scale_length", scale_length, least=given.FINEST_FIGURE,
                                most=given.LARGEST_FIGURE, unit="")
    for name, count in (("frets", frets), ("divisions", divisions)):
        if given.length(name, count, least=1.0, most=1000.0, unit="") % 1:
            raise PathgenError(name, f"{count} given", allowed="a whole number", remedy="give how many")
    return scale_length * equal_shares(np.arange(1, int(frets) + 1), int(divisions))


def equal_shares(frets: ArrayLike, divisions: int = 12) -> Floats:
    """Distance of each fret from the nut as a share of the string, in equal temperament; frets need not be whole."""
    # expm1 keeps full precision for the small steps of fine divisions.
    shares: Floats = -np.expm1(-np.asarray(frets, dtype=float) * (np.log(2.0) / divisions))
    return shares


def ratio_shares(ratios: Sequence[float], frets: int) -> Floats:
    """Distance of each fret from the nut as a share of the string, for a list of pitch ratios above the open string.

    A ratio of 3/2 stops two thirds of the string. A list that ends in 2 is an octave, and goes on in the next
    octaves as far as `frets` asks. Returns a (frets,) array. Raises PathgenError for ratios that do not rise
    from above 1, or too few of them.
    """
    given = np.asarray(ratios, dtype=float)
    rising = np.concatenate([[1.0], given])
    if not np.isfinite(given).all() or np.any(np.diff(rising) <= 0):
        worst = int(np.argmin(np.diff(rising)))
        raise PathgenError("ratios", f"{rising[worst + 1]:g} comes after {rising[worst]:g}",
                           allowed="each larger than the one before, the first above 1")
    octaves = -(-frets // len(given))
    if octaves > 1 and abs(given[-1] - 2.0) > 1e-9:
        raise PathgenError("ratios", f"{len(given)} ratios for {frets} frets",
                           allowed=f"{frets} ratios, or a list that ends in 2 and repeats in the next octave")
    every = np.ravel(2.0 ** np.arange(octaves)[:, None] * given)[:frets]
    shares: Floats = 1.0 - 1.0 / every
    return shares


def cents_off(scale_length: ArrayLike, wanted: ArrayLike, placed: ArrayLike) -> Floats:
    """How far a fret at `placed` from the nut sounds above one at `wanted`, in cents (1200 to the octave)."""
    length, wanted, placed = (np.asarray(v, dtype=float) for v in (scale_length, wanted, placed))
    cents: Floats = 1200.0 * np.log2((length - wanted) / (length - placed))
    return cents
