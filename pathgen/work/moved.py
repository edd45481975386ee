"""The work has moved: the small shift, turn and tilt that explains what was measured, and what a shift would cost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base.arrays import Bounds, Floats
from pathgen.base.errors import JobError
from pathgen.base.surface import Surface
from pathgen.work.mark_errors import ACCURACY, MarkErrors, named, odd_heights

_WHERE = "[[measured]]"
LEAST_SPREAD = 4.0
"""Marks must lie this far off one line, mm (root mean square): nearer, a tilt about the line is guesswork."""
LARGEST_ANGLE = 2.0
"""Degrees of turn or tilt; more is not work that moved a little, but numbers of another frame."""
LARGEST_SHIFT = 20.0
"""mm of shift; more is not work that moved a little."""
MISTAKEN = 3.0
"""Distance left over at a mark above which something was written wrongly, mm: wood warps less (common practice)."""
MOST_OPEN = 3
"""Marks that always leave something to fit: with one of four left out, the others can still disagree."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Moved:
    """A rigid move of the work on the bed: ``found = rotation (place - centre) + centre + shift``."""

    rotation: Floats
    """(3, 3)."""
    shift: Floats
    """(3,): along, across and up at `centre`, mm."""
    centre: Floats
    """(3,): middle of the marks as they should lie, in the board's frame, mm."""
    residuals: Floats = field(default_factory=lambda: np.empty((0, 3)))
    """(n, 3): measured less explained, for each mark, mm."""
    places: Floats = field(default_factory=lambda: np.empty((0, 3)))
    """(n, 3): the marks as they should lie, in the board's frame, mm."""
    errors: MarkErrors | None = None
    """What a measuring error at one mark does to the board; None where it was not worked out."""
    guessed: bool = False
    """Whether a mark's height before is what the stock's thickness says, and no measure."""
    names: tuple[str, ...] = ()
    """Of the marks, where they are not known by their numbers alone."""

    def __post_init__(self) -> None:
        for name in ("rotation", "shift", "centre", "residuals", "places"):
            array = np.array(getattr(self, name), dtype=float)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    def there(self, tips: ArrayLike, *, ball: float = 0.0) -> Floats:
        """Where (n, 3) tips go, so that the cutter meets the moved work as it would have met the work before.

        `ball` is the radius of a ball end, whose centre moves with the work; other cutters stay upright, which a
        small tilt makes wrong by tilt times radius.
        """
        lift = np.array([0.0, 0.0, ball])
        points = np.asarray(tips, dtype=float).reshape(-1, 3) + lift
        moved: Floats = (points - self.centre) @ self.rotation.T + self.centre + self.shift - lift
        return moved

    def back(self, tips: ArrayLike, *, ball: float = 0.0) -> Floats:
        """The inverse of `there`."""
        lift = np.array([0.0, 0.0, ball])
        points = np.asarray(tips, dtype=float).reshape(-1, 3) + lift
        before: Floats = (points - self.centre - self.shift) @ self.rotation + self.centre - lift
        return before

    def seen_in(self, axes: ArrayLike, origin: ArrayLike) -> Moved:
        """The same move in another frame that lies level: the rows of `axes`, (3, 3), are its axes in this one, and
        `origin` is its own origin there."""
        turn, at = np.asarray(axes, dtype=float), np.asarray(origin, dtype=float)
        return replace(self, rotation=turn @ self.rotation @ turn.T, shift=turn @ self.shift,
                       centre=turn @ (self.centre - at), residuals=self.residuals @ turn.T,
                       places=(self.places - at) @ turn.T)

    @property
    def turn_deg(self) -> float:
        """Turn about the vertical, degrees, counter-clockwise seen from above."""
        return math.degrees(math.atan2(self.rotation[1, 0], self.rotation[0, 0]))

    @property
    def tilt_deg(self) -> tuple[float, float]:
        """(along, across): how much the work rises toward the body end and toward the treble side, degrees."""
        rise = self.rotation[2]
        return math.degrees(math.asin(rise[0])), math.degrees(math.asin(rise[1]))

    def of_corners(self, box: Bounds) -> Floats:
        """How far the corners of the underside of a blank (x_min, y_min, x_max, y_max) move: (4, 3), mm."""
        corners = corners_of(box)
        return self.there(corners) - corners

    def lowest(self, box: Bounds) -> tuple[float, tuple[float, float]]:
        """The least rise of a corner of a blank's underside, mm, and the corner: below 0 it sinks."""
        rises = self.of_corners(box)[:, 2]
        x, y, _ = corners_of(box)[np.argmin(rises)].tolist()
        return float(rises.min()), (x, y)

    @property
    def accuracy(self) -> float:
        """How exactly its marks were measured, mm."""
        return self.errors.accuracy if self.errors else ACCURACY

    @property
    def far(self) -> float:
        """The largest shift along, across or up, mm."""
        return float(np.abs(self.shift).max())

    @property
    def angle(self) -> float:
        """The largest turn or tilt, degrees."""
        return max(abs(self.turn_deg), *map(abs, self.tilt_deg))

    @property
    def small(self) -> bool:
        """Whether work that moved a little can have moved so."""
        return self.far <= LARGEST_SHIFT and self.angle <= LARGEST_ANGLE

    @property
    def rises(self) -> Floats:
        """(n,) how much higher each mark was found, mm."""
        higher: Floats = (self.there(self.places) + self.residuals - self.places)[:, 2]
        return higher

    @property
    def worst(self) -> float:
        """Length of the largest residual, mm."""
        return float(np.linalg.norm(self.residuals, axis=1).max(initial=0.0))


def corners_of(box: Bounds) -> Floats:
    """The corners of a blank's underside, of its (x_min, y_min, x_max, y_max): (4, 3), mm."""
    x0, y0, x1, y1 = box
    return np.array([[x0, y0, 0.0], [x0, y1, 0.0], [x1, y0, 0.0], [x1, y1, 0.0]])


def fit_move(
    places: ArrayLike, found: ArrayLike, *, limit: float, accuracy: float = ACCURACY, names: tuple[str, ...] = ()
) -> Moved:
    """The rigid move that takes three or more marks from `places` to where they were `found` with the least sum of
    squared distances: (n, 3) each, in the board's frame, mm.

    `limit` is the largest distance left over at any mark, mm. How exactly a mark's height is measured, `accuracy`,
    tells in a refusal which one was misread, where that can be; `names` are theirs, where they are not known by their
    numbers alone.

    Raises JobError for fewer than three marks, marks on one line, a move that is not small, or residuals over `limit`:
    then the work has not just moved, it has warped, or a mark was measured wrongly.

    References
    ----------
    Kabsch, "A solution for the best rotation to relate two sets of vectors", Acta Crystallographica A32 (1976);
    the guard against a mirror image is Umeyama's, IEEE Trans. PAMI 13 (1991).
    """
    p, q = (np.asarray(points, dtype=float).reshape(-1, 3) for points in (places, found))
    _check_marks(p)
    moved = replace(_least(p, q), names=names)
    if moved.worst > limit or not moved.small:
        _refuse(moved, p, q, limit, accuracy)
    return moved


def shift_errors(surface: Surface, edge: ArrayLike, shift: float = 0.1) -> dict[str, tuple[float, float]]:
    """What a second cut loses when the work lies `shift` off: (deepest, highest) surface error on `edge`, (n, 2) places
    on the board's long edges, mm; by "along", "across" and "up".

    That is the height of the cut surface less that of the work's own, over shifts of either sign. What is below 0 is
    wood taken, what is above 0 is fill left proud.
    """
    x, y = np.asarray(edge, dtype=float).reshape(-1, 2).T
    here = surface.height(x, y)
    errors = {}
    for name, (dx, dy, dz) in {"along": (1, 0, 0), "across": (0, 1, 0), "up": (0, 0, 1)}.items():
        off = [surface.height(x + s * shift * dx, y + s * shift * dy) - s * shift * dz - here for s in (-1, 1)]
        errors[name] = float(np.min(off)), float(np.max(off))
    return errors


def _least(p: Floats, q: Floats) -> Moved:
    centre, to = p.mean(axis=0), q.mean(axis=0)
    u, _, vt = np.linalg.svd((p - centre).T @ (q - to))
    upright = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    rotation = (u @ upright @ vt).T
    moved = Moved(rotation=rotation, shift=to - centre, centre=centre)
    return replace(moved, residuals=q - moved.there(p), places=p)


def _swapped(p: Floats, q: Floats, limit: float, names: Sequence[str]) -> list[str]:
    """Pairs of marks that fit the other way round, in words."""
    found = []
    for a, b in combinations(range(len(p)), 2):
        order = np.arange(len(p))
        order[[a, b]] = b, a
        other = _least(p, q[order])
        if other.worst <= limit and other.small:
            found.append(f"{named([a, b], names)} are likely swapped: the other way round all fit to "
                         f"{other.worst:.2f} mm")
    return found


def _without(p: Floats, q: Floats, limit: float) -> dict[int, tuple[float, float]]:
    """Marks without which the others fit: how well these do, and how far from where they put it the mark lies, mm."""
    found = {}
    for k in range(len(p)) if len(p) > MOST_OPEN else ():
        others = [i for i in range(len(p)) if i != k]
        if _spread(p[others]) < LEAST_SPREAD:
            continue
        other = _least(p[others], q[others])
        if other.worst <= limit and other.small:
            found[k] = other.worst, float(np.linalg.norm(q[k] - other.there(p[k])))
    return found


def _spread(p: Floats) -> float:
    """How far points lie off the line that fits them best, mm, root mean square."""
    return float(np.linalg.svd(p - p.mean(axis=0), compute_uv=False)[1]) / math.sqrt(len(p))


def _check_marks(p: Floats) -> None:
    if len(p) < 3:
        raise JobError(_WHERE, f"{len(p)} marks", allowed="3 or more",
                       remedy="measure the others too: the height of each of four is checked by the rest")
    spread = _spread(p)
    if spread < LEAST_SPREAD:
        raise JobError(
            _WHERE, f"the marks lie within {spread:.2f} mm of one line (root mean square)",
            allowed=f"{LEAST_SPREAD:g} mm or more off it", remedy="measure a mark well to the side of the others",
        )


def _refuse(moved: Moved, p: Floats, q: Floats, limit: float, accuracy: float) -> None:
    """Raise JobError for a move that is not small or leaves too much over, naming what was misread if told."""
    mistyped = moved.worst > MISTAKEN or not moved.small
    names = moved.names
    swapped, without = _swapped(p, q, limit, names) if mistyped else [], _without(p, q, limit)
    odd, _ = odd_heights(p, moved.rises, accuracy)
    if len(without) > 1 and len(odd) == 1 and odd[0] in without:  # the others rose alike
        without = {odd[0]: without[odd[0]]}
    some = "one of the marks" if len(without) in (0, len(p)) else \
        f"one of {named([*without], names)}"
    cannot = f"which one cannot be told from {len(p)}"
    if mistyped and (swapped or without):
        told = moved.small and len(without) == 1  # in what is wrong, below
        likely = [f"a number of {named([k], names)} is likely mistyped" + ("" if told else
                  f": the others fit to {fit:.2f} mm without it, and it lies {off:.2f} mm from where they put it")
                  for k, (fit, off) in without.items()]
        likely = [f"a number of {some} is likely mistyped, {cannot}"] if len(likely) > 1 else likely
        remedy = f"{'; or '.join([*swapped, *likely])}: correct it"
    elif not moved.small:
        remedy = ("check the order of the marks, the signs and the zero, and that the marks are where this build has "
                  "them: one built since they were drilled may have put them elsewhere, unless [marks] drilled or at "
                  "says where they are; work that does lie so is laid nearer to where it was, and measured again")
    else:
        remedy = (f"{'marks may be swapped, or a number mistyped: compare with what was measured, and ' * mistyped}"
                  "measure again; if it stays, the work has warped and not moved: let it rest, or clamp it flat")
    if not moved.small:
        raise JobError(_WHERE, f"the marks explain a shift of {moved.far:.2f} mm with {moved.angle:.2f} degrees of "
                       "turn or tilt", allowed=f"{LARGEST_SHIFT:g} mm and {LARGEST_ANGLE:g} degrees", remedy=remedy)
    mark = int(np.argmax(np.linalg.norm(moved.residuals, axis=1)))
    got = f"{named([mark], names)} is {moved.worst:.3f} mm from where any shift, turn and tilt would put it"
    if len(without) == 1:
        (mark, (fit, off)), = without.items()
        got = (f"{named([mark], names)} is {off:.3f} mm from where the others put it, which fit to {fit:.3f} mm "
               "without it")
    elif without or len(p) <= MOST_OPEN:
        got = (f"{moved.worst:.3f} mm is left over that no shift, turn and tilt explains; if {some} was "
               f"misread, {cannot}")
    raise JobError(_WHERE, got, allowed=f"[moved] limit {limit:g} mm", remedy=remedy)
