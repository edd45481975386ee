"""What a caller gives: numbers and shapes looked at on the way in, so that an error names the argument.

Shapes come from elsewhere, often in other units or with mistakes. They are never mended by guessing.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pathgen.base.arrays import Floats
from pathgen.base.errors import PathgenError
from pathgen.base.plain import plain

V = TypeVar("V")
W = TypeVar("W", bound=str)

LARGEST = 1000.0
"""Larger shapes and lengths are taken for a mistake of units, mm."""

SMALLEST = 0.001
"""And so are smaller shapes, mm."""

LARGEST_FIGURE, FINEST_FIGURE = 1e9, 1e-6
"""Lengths that formulas take, in any unit."""

THICKNESS = 0.5, 100.0
"""Of work: the thinnest and the thickest, mm."""

_NONE = str, bytes, bool, np.bool_  # what float() takes, and is no number


def kind_of(got: object) -> str:
    """``"a float"``, ``"an int"``: what kind of value was given."""
    name = type(got).__name__
    return f"{'an' if name[0] in 'aeiouAEIOU' else 'a'} {name}"


def value(where: str, got: object, kind: type[V], *, words: str = "", remedy: str = "") -> V:
    """What was given, if it is of a kind. Raises PathgenError."""
    if not isinstance(got, kind):
        words = words or f"a {'' if kind.__module__ == 'builtins' else 'pathgen.'}{kind.__name__}"
        raise PathgenError(where, kind_of(got), allowed=words, remedy=remedy or f"give {words}")
    return got


def path(where: str, got: object) -> Path:
    """The path of a file or folder. Raises PathgenError for anything but a str, a Path or its like."""
    if not isinstance(got, str | os.PathLike):
        raise PathgenError(where, kind_of(got), allowed="a str or Path", remedy="give its path")
    return Path(got)


def title(where: str, got: object, *, longest: int, error: type[PathgenError] = PathgenError) -> str:
    """Words to tell something by. Raises PathgenError, or another `error`, for none or more than `longest`."""
    if not isinstance(got, str) or not plain(got).strip() or len(got) > longest:
        raise error(where, f"{got!r}" if isinstance(got, str) else kind_of(got), remedy="give it a name",
                    allowed=f"a str of 1 to {longest} characters")
    return got


def several(where: str, got: Any, *, words: str, remedy: str = "give a list") -> list[object]:
    """The values of any list. Raises PathgenError for what is none."""
    if isinstance(got, str | bytes) or not np.iterable(got):  # an array of one number without a list is none
        raise PathgenError(where, kind_of(got), allowed=words, remedy=remedy)
    return list(got)


def length(where: str, value: Any, *, above: float = -math.inf, least: float = -math.inf, most: float = LARGEST,
           unit: str = "mm", error: type[PathgenError] = PathgenError) -> float:
    """A number that is finite, `above` or at `least` some value, and at `most` another. Raises PathgenError, or another
    `error`.

    The text of a number is none, as who keeps it as it was given would go on with text; nor is True or False.
    """
    allowed = f"above {above:g}" if above > -math.inf else f"{least:g} or more" if least > -math.inf else ""
    allowed = ", ".join(filter(None, [allowed, f"at most {most:g} {unit}".strip() if most < math.inf else "a number"]))
    unit_words = f" in {unit}" if unit else ""
    try:
        number = float("no number" if isinstance(value, _NONE) else value)
    except (TypeError, ValueError, OverflowError):
        raise error(where, f"{value!r} is no number", allowed=allowed, remedy=f"give one{unit_words}") from None
    if not (number > above and number >= least and number <= most and math.isfinite(number)):
        raise error(where, f"{number:g} {unit}".strip(), allowed=allowed, remedy=f"give a number{unit_words}"
                    if not (unit and number > most) else f"is it in other units? give it in {unit}")
    return number


def numbers(values: ArrayLike) -> Floats:
    """A float array. Raises TypeError, ValueError or OverflowError for what is none, as text and True are in `length`.
    """
    array = np.asarray(values)
    one_by_one = array.flat if array.dtype.kind == "O" else ()
    if (array.dtype.kind not in "iufO" and array.size) or any(isinstance(one, _NONE) for one in one_by_one):
        raise TypeError(array.dtype)
    return np.asarray(array, dtype=float)


def area(where: str, shape: object, *, parts: bool = True) -> shapely.Polygon | shapely.MultiPolygon:
    """A polygon, or several where `parts` allows, in mm: valid, flat, not empty, 0.001 to 1000 mm across.

    Raises PathgenError that names the argument `where`, and the place of what is wrong.
    """
    kinds = (shapely.Polygon, shapely.MultiPolygon) if parts else (shapely.Polygon,)
    allowed = "a shapely Polygon" + (" or MultiPolygon" if parts else "")
    if not isinstance(shape, kinds):
        raise PathgenError(where, kind_of(shape), allowed=allowed,
                           remedy="make one of it: shapely.Polygon(points), or .buffer(half the width) of a line")
    if shape.is_empty:
        raise PathgenError(where, "an empty polygon", allowed="one with an area", remedy="see what emptied it")
    if shape.has_z:
        raise PathgenError(where, "a polygon with heights (3-D)", allowed="x and y alone",
                           remedy="use shapely.force_2d(polygon); heights come from the surface")
    points = shapely.get_coordinates(shape)
    if not np.isfinite(points).all():
        raise PathgenError(where, "a corner that is not a finite number", allowed="finite x and y, mm",
                           remedy="look for nan in the polygon's points")
    if not shape.is_valid:
        raise PathgenError(where, f"an invalid polygon: {shapely.is_valid_reason(shape)}", allowed="a valid polygon",
                           remedy="mend it where it crosses itself, or look at what shapely.make_valid(polygon) gives")
    x0, y0, x1, y1 = shape.bounds
    if not SMALLEST <= max(x1 - x0, y1 - y0) <= LARGEST:
        raise PathgenError(where, f"{x1 - x0:.4g} mm by {y1 - y0:.4g} mm",
                           allowed=f"{SMALLEST:g} to {LARGEST:g} mm across",
                           remedy="is it in other units? scale it to mm: shapely.transform(polygon, lambda p: p * ..)")
    _near(where, points)
    assert isinstance(shape, shapely.Polygon | shapely.MultiPolygon)
    return shape


def points(where: str, values: ArrayLike, *, shape: tuple[int, ...], words: str) -> Floats:
    """A finite float array whose last axes are `shape`; `words` say what it should be. Raises PathgenError."""
    try:
        array = numbers(values)
    except (TypeError, ValueError, OverflowError):
        raise PathgenError(where, "not an array of numbers", allowed=words) from None
    if array.ndim != len(shape) + 1 or array.shape[1:] != shape:
        raise PathgenError(where, f"an array of shape {array.shape}", allowed=words)
    if not np.isfinite(array).all():
        raise PathgenError(where, "a place that is not a finite number", allowed=words, remedy="look for nan in it")
    _near(where, array)
    return array


def _near(where: str, places: Floats) -> None:
    """Refuse places that no machine of this size reaches."""
    if places.size and np.abs(places).max() > 10 * LARGEST:
        raise PathgenError(where, f"a place {np.abs(places).max():g} mm out", allowed=f"within {10 * LARGEST:g} mm",
                           remedy="is it in other units? give it in mm")


def place(where: str, values: ArrayLike, *, count: int, words: str) -> Floats:
    """(count,) finite numbers. Raises PathgenError as `points` does."""
    try:
        one = numbers(values)
    except (TypeError, ValueError, OverflowError):
        raise PathgenError(where, f"{values!r}", allowed=words) from None
    return np.asarray(points(where, one[None], shape=(count,), words=words)[0])


def word(where: str, value: W, words: Sequence[W]) -> W:
    """One of some words. Raises PathgenError."""
    if not isinstance(value, str) or value not in words:
        raise PathgenError(where, f"{value!r}", allowed=" or ".join(map(repr, words)), remedy="give one of these")
    return value
