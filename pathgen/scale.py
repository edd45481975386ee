"""Where frets go along a string."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pathgen.errors import PathgenError

Floats = NDArray[np.float64]


def fret_distances(scale_length: float, frets: int, divisions: int = 12) -> Floats:
    """Distances from the nut to each fret, in the unit of `scale_length`.

    Equal temperament: the length left beyond fret n is ``scale_length * 2 ** (-n / divisions)``, so that
    each fret raises the pitch by the same ratio and fret number `divisions` halves the string.

    Parameters
    ----------
    scale_length : float
        Speaking length of the open string, above 0.
    frets : int
        Number of frets, 1 or more.
    divisions : int
        Equal divisions of the octave.

    Returns
    -------
    (frets,) float array

    Raises
    ------
    PathgenError
        For a number that is not finite or out of range.

    Examples
    --------
    >>> fret_distances(650.0, 12)[[0, 11]].round(4).tolist()
    [36.4817, 325.0]
    """
    if not (np.isfinite(scale_length) and scale_length > 0):
        raise PathgenError("scale_length", f"{scale_length} given", allowed="a finite length above 0")
    if frets < 1 or divisions < 1:
        raise PathgenError("frets", f"{frets} frets, {divisions} divisions given", allowed="1 or more of each")
    steps = np.arange(1, frets + 1)
    # expm1 keeps full precision for the small steps of fine divisions.
    distances: Floats = -scale_length * np.expm1(-steps * (np.log(2.0) / divisions))
    return distances
