"""The path of one cut alone: it knows its cutter, and what that leaves; and several of one cutter in turn."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.base import given
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move, Toolpath
from pathgen.base.units import place_words
from pathgen.strategies import pocketing
from pathgen.strategies.surfacing import Passes

_SEEN = 0.05  # area that an outline's cutter leaves from which it is told in words, mm2


@dataclass(frozen=True, eq=False, repr=False)
class Cut(Toolpath):
    """A toolpath and the cutter that it is for; shows itself in a notebook as seen from above.

    Attributes
    ----------
    points, kinds
        As of a `Toolpath`: (n, 3) tip positions in mm, and the `Move` by which each is reached.
    cutter : Cutter
        What it was made for, and is run with.

    >>> import shapely, pathgen
    >>> flat_6 = pathgen.Cutter(name="flat 6", shape="flat-end", diameter=6.0, speed=16000, feed=1800.0, plunge=400.0,
    ...                         stepdown=2.0)
    >>> cut = pathgen.rough(shapely.box(0, -28, 60, 28), pathgen.flat(6.0), flat_6, stock=8.0)
    >>> cut.cutter.name, float(cut.points[:, 2].min()), round(cut.cut_length / 1000, 1)
    ('flat 6', 6.4, 1.3)
    """

    cutter: Cutter

    def __post_init__(self) -> None:
        given.value("cut cutter", self.cutter, Cutter)
        super().__post_init__()


@dataclass(frozen=True, eq=False, repr=False)
class PocketCut(Cut):
    """What one cutter does of a pocket; empty (``len`` 0) where it has nothing to do.

    Examples
    --------
    >>> import shapely, pathgen
    >>> run = dict(shape="flat-end", speed=18000, feed=600.0, plunge=150.0, stepdown=0.8)
    >>> cutters = [pathgen.Cutter(name=f"flat {d:g}", diameter=d, **run) for d in (3.0, 1.0)]
    >>> big, small = pathgen.pocket(shapely.box(0, -5, 20, 5), top=pathgen.flat(6.0), cutters=cutters, depth=1.5)
    >>> round(big.left.area, 1), round(small.left.area, 1)       # (4 - pi) r^2 in the corners
    (1.9, 0.2)
    """

    pocket: pocketing.PocketCut

    @property
    def opened(self) -> shapely.Polygon | shapely.MultiPolygon:
        """What this cutter and those before it open of the region, at the surface."""
        return self.pocket.opened

    @property
    def left(self) -> shapely.Polygon | shapely.MultiPolygon:
        """What they do not open of it."""
        return self.pocket.left

    @property
    def ridge(self) -> float:
        """How far the floor stands at most above the depth asked for, mm."""
        return self.pocket.ridge

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to know before cutting; why a cutter has nothing to do."""
        return self.pocket.warnings + self.pocket.idle[:1]


@dataclass(frozen=True, eq=False, repr=False)
class FinishCut(Cut):
    """Finishing passes, with what a second cut needs to repeat them.

    Attributes
    ----------
    passes
        ``passes.y`` (p,): where each lies across; ``passes.stepover``: the widest, along the surface;
        ``passes.scallop``: the highest ridge by the exact formula; all mm.

    Examples
    --------
    >>> import shapely, pathgen
    >>> ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000.0, plunge=500.0,
    ...                       stepdown=2.0)
    >>> cut = pathgen.finish(shapely.box(0, -10, 40, 10), pathgen.flat(6.0), ball, ridge=0.02)
    >>> round(cut.passes.stepover, 2), cut.passes.scallop < 0.02
    (0.69, True)
    """

    passes: Passes

    @property
    def outline(self) -> shapely.Polygon:
        """What is finished, in plan."""
        return self.passes.outline

    @property
    def top(self) -> Surface:
        """The surface that was asked for."""
        return self.passes.surface


@dataclass(frozen=True, eq=False, repr=False)
class OutlineCut(Cut):
    """The way round an outline, with what its cutter does not go into.

    Attributes
    ----------
    left : shapely Polygon or MultiPolygon
        What stays beside the outline: in bays narrower than the cutter, in corners that point inward. Empty for none.

    Examples
    --------
    >>> import shapely, pathgen
    >>> flat_3 = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=18000, feed=1200.0, plunge=300.0,
    ...                         stepdown=1.5)
    >>> notched = shapely.box(0, -25, 120, 25).difference(shapely.box(50, 15, 52, 25))
    >>> cut = pathgen.outline(notched, flat_3, stock=6.0, tabs=0)
    >>> round(cut.left.area, 1), len(cut.warnings)
    (20.0, 1)
    """

    left: shapely.Polygon | shapely.MultiPolygon

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to know before cutting: where most stays that was to be cut away."""
        if self.left.area <= _SEEN:
            return ()
        pieces = shapely.get_parts(self.left)
        x, y = shapely.get_coordinates(pieces[np.argmax(shapely.area(pieces))].representative_point())[0]
        return (f"{self.cutter.name!r} leaves {self.left.area:.2f} mm2 of what was to be cut away, most at "
                f"{place_words(float(x), float(y))}: it goes into nothing narrower than {self.cutter.diameter:g} mm, "
                "and rounds corners that point inward",)


def join(paths: Iterable[Toolpath]) -> Toolpath:
    """One path after another, with the cutter lifted to the highest of them in between. Empty ones are left out.

    Returns
    -------
    Toolpath
        A `Cut` where any of them knows its cutter.

    Raises
    ------
    PathgenError
        For paths of different cutters: each cutter is a program of its own. For what is no list of paths.

    Examples
    --------

    >>> import pathgen
    >>> low, high = (pathgen.Toolpath.from_runs([[[x, 0, 1], [x, 9, 1]]], safe_z=z) for x, z in ((0, 5), (3, 8)))
    >>> pathgen.join([low, high]).points[:, 2].tolist()
    [8.0, 5.0, 1.0, 1.0, 5.0, 8.0, 8.0, 1.0, 1.0, 8.0]
    """
    return joined("join paths", paths)


def joined(
    where: str, paths: Iterable[Toolpath], *, words: str = "pathgen.Toolpath values in a list",
    remedy: str = "give a list",
) -> Toolpath:
    """What `join` gives; `where` names the argument, `words` say what it may be, and the `remedy` what to give."""
    every = given.several(where, paths, words=words, remedy=remedy)
    parts = [part for path in every if len(part := given.value(where, path, Toolpath))]
    used = list(dict.fromkeys(path.cutter for path in parts if isinstance(path, Cut)))
    if len(used) > 1:
        raise PathgenError(where, "paths of " + " and ".join(repr(c.name) for c in used), allowed="one cutter",
                           remedy="write a program for each cutter")
    safe_z = max((float(path.points[:, 2].max()) for path in parts), default=0.0)
    whole = Toolpath.joined(_lifted(path, safe_z) for path in parts)
    return Cut(whole.points, whole.kinds, used[0]) if used else whole


def _lifted(path: Toolpath, safe_z: float) -> Toolpath:
    """A path that begins and ends at a height, by rapids straight up and down."""
    first, last = path.points[0], path.points[-1]
    before = [[*first[:2], safe_z]] if first[2] < safe_z else []
    after = [[*last[:2], safe_z]] if last[2] < safe_z else []
    rapid = np.int8(Move.RAPID)
    return Toolpath(
        np.concatenate([np.reshape(before, (-1, 3)), path.points, np.reshape(after, (-1, 3))]),
        np.concatenate([np.full(len(before), rapid), path.kinds, np.full(len(after), rapid)]),
    )
