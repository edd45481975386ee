"""One cut alone: a shape, a top and a cutter make a path that knows its cutter.

The steps of a job are cut by the same strategies (`programs.paths`); here the heights of rapids follow from the top
and the stock, and what is given is looked at first. All lengths are mm, in a frame of your own whose z 0 is the
underside of the work: x along it, y across, the radius's centre-line at y 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pathgen.base import given, overlay
from pathgen.base.arrays import Bounds, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, PathgenError
from pathgen.base.plain import counted
from pathgen.base.scallop import ridge_limits
from pathgen.base.slopes import OVER_HALF, STEEPEST, STEEPEST_ACROSS, steepest_along
from pathgen.base.surface import Surface
from pathgen.base.toolpath import AIR, APPROACH, Move, Rapids, Toolpath
from pathgen.base.units import falls_short, place_words, rounded_down, rounded_up
from pathgen.strategies import pocketing
from pathgen.strategies.cutting_out import (
    Tabs,
    check_tabs_hold,
    check_tabs_stand,
    cutting_line,
    outlining,
    tab_points,
)
from pathgen.strategies.facing import cutting_again, cutting_again_over, finishing, roughing
from pathgen.strategies.slotting import slotting
from pathgen.strategies.surfacing import MOST_LAYERS, Passes, finishing_passes, least_stepdown
from pathgen.work.features import Slots

CLEAR = 10.0
"""How far rapids across the work stay above it where nothing else is said, mm."""

_LEAST = 0.01
"""No cut is less deep, mm."""

_OFF_CUT = 0.1
"""How far off the first cut's outline fill may reach, mm: passes go so far past it."""

_MOST_LAP = 0.3
"""The most that a last lap round an outline may be asked to take off the walls, mm."""

_SEEN = 0.05
"""Area that an outline's cutter leaves from which it is told in words, mm2."""

_INNER, _LITTLE = 1e-3, 1e-3
"""How much wider than the outline's cutter its way is taken to be, as a share of its radius, against rounding; what it
leaves is next to nothing under this area, mm2."""

_OFF = 0.5
"""How far off an outline a place for a tab may lie, mm."""


@dataclass(frozen=True, eq=False, repr=False)
class Cut(Toolpath):
    """A toolpath and the cutter that it is for; shows itself in a notebook as seen from above.

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
    passes : Passes
        Where each lies (`y`), the widest `stepover` and the highest ridge by the formula (`scallop`), mm.

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


def pocket(
    region: shapely.Polygon | shapely.MultiPolygon, *, top: Surface, cutters: Sequence[Cutter], depth: float,
    allowance: float = 0.1, floor_ridge: float = 0.1, smallest: float = 0.05, clear: float = CLEAR,
) -> tuple[PocketCut, ...]:
    """Clear a region of a surface to a depth straight below it, with one cutter after another.

    Parameters
    ----------
    region : shapely Polygon or MultiPolygon
        In plan, mm.
    top : Surface
        Where the wood stands now; the floor follows it. It goes on past its ends: where the blank ends is not known.
    cutters : sequence of Cutter
        Largest first: each later one cuts only what those before could not reach. A v cutter that comes last also
        sharpens the corners.
    depth : float
        Of the floor below the surface, mm: nowhere deeper. How much wood is left under it is for you to see to.
    allowance, floor_ridge, smallest : float
        What clearing leaves on the walls for a finishing pass, mm; how high a ball end or v cutter may leave the
        floor, mm; pieces smaller than this (mm2) are left to no later cutter.
    clear : float
        How far rapids stay above the work, mm.

    Returns
    -------
    tuple of PocketCut, one for each cutter in the order given

    Raises
    ------
    PathgenError
        Naming the argument: a polygon that is invalid, empty, 3-D or larger than a metre, a depth through the work,
        nan. CutterError where no cutter goes in, or a flute is too short.

    Examples
    --------
    >>> import shapely, pathgen
    >>> flat_3 = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=18000, feed=1200.0, plunge=300.0,
    ...                         stepdown=1.5)
    >>> cuts = pathgen.pocket(shapely.box(100, -8, 130, 8), top=pathgen.flat(6.0), cutters=[flat_3], depth=1.5)
    >>> float(cuts[0].points[:, 2].min()), round(cuts[0].left.area, 2)      # the corners stay round
    (4.5, 1.93)
    >>> print(pathgen.program(cuts[0]).splitlines()[0])
    (job: a path)
    """
    area = given.area("pocket region", region)
    _under("pocket region", area, top)
    depth = given.length("pocket depth", depth, least=_LEAST)
    lowest = _thinnest("pocket region", *_corners(area), top)
    if depth >= lowest:
        raise PathgenError("pocket depth", f"{depth:g} mm, through wood {lowest:.2f} mm thick",
                           allowed=f"less than {lowest:.2f} mm", remedy="make the pocket shallower")
    cutters = tuple(_cutters("pocket cutters", cutters))
    cuts = pocketing.pocket(
        area, surface=top, cutters=cutters, depth=depth, safe_z=_above(top.thickness, clear),
        options=pocketing.PocketOptions(
            allowance=given.length("pocket allowance", allowance, least=0.0),
            floor_ridge=given.length("pocket floor_ridge", floor_ridge, above=0.0),
            smallest=given.length("pocket smallest", smallest, least=0.0, unit="mm2"),
        ),
    )
    return tuple(PocketCut(c.toolpath.points, c.toolpath.kinds, c.cutter, c) for c in cuts)


def rough(
    outline: shapely.Polygon, top: Surface, cutter: Cutter, *, stock: float, allowance: float = 0.4,
    finish: Cutter | None = None, ridge: float | None = None, clear: float = CLEAR,
) -> Cut:
    """Take the stock down to `allowance` above a surface, in layers of the cutter's stepdown.

    Parameters
    ----------
    outline : shapely Polygon
        What is to be cut, in plan, mm; as much around it is cleared as `finish` opens there.
    stock : float
        Height of the raw stock above the underside, mm.
    allowance : float
        What is left for finishing, mm; no cut goes nearer to the surface, but for the 0.005 mm that straight moves may
        sag.
    finish : Cutter
        The cutter that comes after, so that it meets no standing wall.
    ridge : float
        The ridges that `finish` will leave, mm: its passes end further past the outline the further they are apart.

    Raises
    ------
    PathgenError
        Naming the argument, as `pocket` does; for stock lower than the surface.

    Examples
    --------
    >>> import shapely, pathgen
    >>> top = pathgen.radiused(thickness=6.0, start=254.0)
    >>> flat_6 = pathgen.Cutter(name="flat 6", shape="flat-end", diameter=6.0, speed=16000, feed=1800.0, plunge=400.0,
    ...                         stepdown=2.0)
    >>> cut = pathgen.rough(shapely.box(0, -28, 60, 28), top, flat_6, stock=8.0)
    >>> bool((cut.points[:, 2] >= top.tip_height(flat_6, cut.points[:, 0], cut.points[:, 1]) + 0.395).all())
    True
    """
    (cutter,) = _cutters("rough cutter", [cutter])
    if finish is not None:
        (finish,) = _cutters("rough finish", [finish])
    area = _board("rough outline", outline, top, cutter, *([finish] if finish else []))
    stock = _stock("rough stock", stock, top)
    allowance = given.length("rough allowance", allowance, least=0.0)
    if finish is not None:
        _reaches("rough finish", area, top, finish)
    _reaches("rough cutter", area, top, cutter)
    past = 0.0
    if finish is not None and ridge is not None:
        ridge = _ridge("rough ridge", ridge, finish)
        past = finishing_passes(area, top, finish, scallop=ridge).past
    return _cut(roughing(area, top, cutter, finish=finish, stock_top=stock, allowance=allowance, past=past,
                         rapids=_rapids(stock, clear)), cutter)


def finish(
    outline: shapely.Polygon, top: Surface, cutter: Cutter, *, ridge: float, stock: float | None = None,
    allowance: float = 0.4, clear: float = CLEAR,
) -> FinishCut:
    """Passes of a ball end along x that leave ridges no higher than `ridge` on a surface.

    On a level top a flat end finishes too: its passes lie its `stepover` apart and leave no ridges.

    Parameters
    ----------
    outline : shapely Polygon
        What is finished, in plan, mm.
    ridge : float
        Highest ridge allowed between passes, square to the surface, mm (exact; see `scallop_height`): 0.0005 to 1, and
        no more than 0.9 of the ball's radius.
    stock : float, optional
        Height of raw stock above the underside, mm: it is stepped down through first.
    allowance : float
        Where `stock` is left out: what stands above the surface, as `rough` left it, mm.
    clear : float
        How far rapids stay above what stands there, mm.

    Raises
    ------
    PathgenError
        Naming the argument; for more than 40 layers through the stock. CutterError for a cutter that does not fit the
        surface: a flat end where it is not level, a v anywhere.

    Examples
    --------
    >>> import shapely, pathgen
    >>> ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000.0, plunge=500.0,
    ...                       stepdown=2.0)
    >>> top = pathgen.radiused(thickness=6.0, start=254.0, end=406.4, length=470.0)
    >>> passes = pathgen.finish(shapely.box(0, -10, 40, 10), top, ball, ridge=0.01)
    >>> len(passes.passes.y), passes.passes.scallop <= 0.01
    (43, True)
    """
    (cutter,) = _cutters("finish cutter", [cutter])
    area = _board("finish outline", outline, top, cutter)
    passes = finishing_passes(area, top, cutter, scallop=_ridge("finish ridge", ridge, cutter))
    allowance = given.length("finish allowance", allowance, least=0.0)
    if stock is None:
        highest = top.thickness + max(allowance, cutter.stepdown)
    else:
        highest = _stock("finish stock", stock, top)
        _few_layers("finish stock", highest - float(top.height(*_corners(area)).min()), cutter.stepdown)
    path = finishing(passes, allowance=allowance if stock is None else None, stock_top=highest,
                     rapids=_rapids(highest, clear))
    return FinishCut(path.points, path.kinds, cutter, passes)


def second_cut(
    passes: FinishCut, *, over: shapely.Polygon | shapely.MultiPolygon | None = None, proud: float, stepdown: float,
    blend: float = 5.0, clear: float = CLEAR,
) -> Cut:
    """Cut a surface again over a cured fill: step down through what stands proud, then the same last passes.

    Parameters
    ----------
    passes : FinishCut
        The first cut, as `finish` made it. Its cutter is taken again, its lines are followed to the same numbers.
    over : shapely Polygon or MultiPolygon, optional
        Where the fill is, in plan, mm, within the first cut's outline: only this and `blend` mm round it is cut. Left
        out: the whole surface.
    proud : float
        How far the fill stands above the surface at most, mm. Measure it: the first pass must not go too deep.
    stepdown : float
        Deepest cut in the fill, mm.
    clear : float
        How far rapids stay above the fill, mm.

    Raises
    ------
    PathgenError
        Naming the argument; for fill that lies off the first cut, or reaches off it: there it would stay proud.

    Examples
    --------
    >>> import numpy as np, shapely, pathgen
    >>> ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000.0, plunge=500.0,
    ...                       stepdown=2.0)
    >>> top = pathgen.radiused(thickness=6.0, start=254.0)
    >>> passes = pathgen.finish(shapely.box(0, -20, 90, 20), top, ball, ridge=0.01)
    >>> again = pathgen.second_cut(passes, over=shapely.Point(45, 0).buffer(6), proud=1.0, stepdown=0.5)
    >>> set(np.unique(again.points[-9:-1, 1])) & set(passes.passes.y) != set()      # on the lines of the first cut
    True
    """
    if not isinstance(passes, FinishCut):
        raise PathgenError("second_cut passes", f"a {type(passes).__name__}", allowed="what pathgen.finish gave",
                           remedy="make the first cut with pathgen.finish and give it here")
    proud = given.length("second_cut proud", proud, least=0.0, most=50.0)
    stepdown = given.length("second_cut stepdown", stepdown, least=_LEAST, most=passes.cutter.stepdown)
    _few_layers("second_cut stepdown", proud, stepdown)
    blend = given.length("second_cut blend", blend, least=0.0)
    fill = None if over is None else given.area("second_cut over", over)
    if fill is not None and not fill.intersects(passes.outline):
        raise PathgenError("second_cut over", "a fill that lies off the outline of the first cut", allowed="one on it",
                           remedy="give both in the same frame, mm")
    if fill is not None:
        _all_on(fill, passes)
    rapids = _rapids(passes.top.thickness + proud, clear)
    if fill is None:
        path = cutting_again(passes.passes, proud=proud, stepdown=stepdown, rapids=rapids)
    else:
        path = cutting_again_over(overlay.buffer(fill, blend), passes.passes, proud=proud, stepdown=stepdown,
                                  rapids=rapids)
    return _cut(path, passes.cutter)


def _all_on(fill: shapely.Polygon | shapely.MultiPolygon, passes: FinishCut) -> None:
    """Refuse fill of which a part lies off the first cut, where no pass comes."""
    places = shapely.get_coordinates(overlay.difference(fill, passes.outline))
    off = shapely.distance(shapely.points(places), passes.outline)
    if len(off) and off.max() > _OFF_CUT:
        worst = int(np.argmax(off))
        raise PathgenError(
            "second_cut over", f"a fill that reaches {off[worst]:.2f} mm off the outline of the first cut, at "
            f"{place_words(*places[worst].tolist())}: there it would stay proud", allowed="one on it",
            remedy="make the first cut as far as the fill goes, or give shapely.intersection(over, passes.outline) "
                   "and scrape off what stands outside",
        )


def slots(
    lines: ArrayLike, top: Surface, cutter: Cutter, *, width: float, depth: float, through: bool = True,
    bottom: Literal["curve", "flat"] = "curve", entry: Literal["ramp", "peck"] | None = None,
    after: FinishCut | None = None, clear: float = CLEAR,
) -> Cut:
    """Slots along straight lines, their bottoms `depth` below a surface all along, and nowhere deeper.

    Parameters
    ----------
    lines : (n, 2, 2) array
        Both ends of each slot's centre-line, (x, y) in mm.
    width, depth : float
        mm; the depth straight down from the surface.
    through : bool
        Whether slots run out over both ends, as over the edges of a board, or end there. Where they end, and the
        surface falls toward that end, they are less deep in the last cutter's width before it: a flat end rests on its
        uphill side. By what the surface falls over that width: 0.04 mm, 22 mm across a radius of 254 mm with 0.5 mm.
    bottom : "curve" or "flat"
        Whether the bottom follows the surface, or is level: then `depth` below the lower end, and deeper between.
    entry : "ramp" or "peck", optional
        How the cutter goes down into each layer. Left out: by pecks where slots run out at both ends, else by ramps.
    after : FinishCut, optional
        What cut the surface before, as `finish` made it: ramps begin on top of what that leaves beside the board.

    Raises
    ------
    PathgenError
        Naming the argument; CutterError for a cutter that is not a flat end, is wider than the slot or too short.

    Examples
    --------
    >>> import numpy as np, pathgen
    >>> thin = pathgen.Cutter(name="0.5 mm", shape="flat-end", diameter=0.5, speed=24000, feed=300.0, plunge=100.0,
    ...                      stepdown=0.3)
    >>> x = pathgen.fret_distances(640.0, 3)
    >>> lines = np.stack([np.column_stack([x, x * 0 - 22]), np.column_stack([x, x * 0 + 22])], axis=1)
    >>> cut = pathgen.slots(lines, pathgen.radiused(thickness=6.0, start=254.0), thin, width=0.5, depth=2.0)
    >>> round(float(cut.points[np.abs(cut.points[:, 1]) < 1e-9, 2].min()), 3) >= 4.0
    True
    """
    ends = given.points("slots lines", lines, shape=(2, 2), words="an (n, 2, 2) array: both ends of each line, mm")
    if not len(ends) or np.any(np.hypot(*(ends[:, 1] - ends[:, 0]).T) <= 0):
        raise PathgenError("slots lines", "no line, or one of no length", allowed="lines with two different ends")
    _under("slots lines", shapely.MultiLineString(list(ends)), top)
    depth = given.length("slots depth", depth, least=_LEAST,
                         most=_thinnest("slots lines", ends[..., 0].ravel(), ends[..., 1].ravel(), top))
    (cutter,) = _cutters("slots cutter", [cutter])
    cut = Slots(
        number=np.arange(1, len(ends) + 1), lines=ends, width=given.length("slots width", width, above=0.0),
        depth=depth,
        through=np.full((len(ends), 2), given.value("slots through", through, bool, words="True or False")),
        bottom=given.word("slots bottom", bottom, ("curve", "flat")),
        entry=None if entry is None else given.word("slots entry", entry, ("ramp", "peck")),
    )
    if after is not None:
        given.value("slots after", after, FinishCut, remedy="make the surface with pathgen.finish and give it here")
    rapids = _rapids(top.thickness, clear)

    def stands(places: Floats) -> tuple[Floats, Floats]:
        assert after is not None
        over = np.minimum(after.passes.stands(places, top, reach=cutter.radius), rapids.air_z - APPROACH)
        return over, over + APPROACH

    return _cut(slotting(cut, surface=top, cutter=cutter, stands=stands if after else None, rapids=rapids), cutter)


def outline(
    shape: shapely.Polygon, cutter: Cutter, *, stock: float, blank: tuple[float, float, float, float] | None = None,
    bottom: float = 0.0, tabs: int | ArrayLike = 4, tab_height: float = 1.5, tab_width: float = 6.0,
    finish: float = 0.2, clear: float = CLEAR,
) -> OutlineCut:
    """Cut round the outside of a shape, leaving tabs that hold it.

    Parameters
    ----------
    shape : shapely Polygon
        The finished outline, in plan, mm, without holes: openings are cut before it, with `pocket`. What the cutter
        does not go into, narrow bays and corners that point inward, stays: see ``left`` and ``warnings`` of the cut.
    stock : float
        Height of the stock above the underside, mm.
    blank : (x_min, y_min, x_max, y_max)
        What the shape is cut from, mm, as ``Blank(..).bounds``: beside each tab must be enough of it for the tab to
        hold on to. May be left out only with no tabs.
    bottom : float
        Where the cut ends, mm above the underside; below 0 it goes into what lies under the work.
    tabs : int or (n, 2) array
        How many, spread over the long edges along x, or all round where these have no room; or where on the outline,
        mm. With 0 what sticks the work down over its whole face must hold the part when it comes free.
    tab_height, tab_width : float
        What is left standing of each, mm; lower than the stock.
    finish : float
        The most that a last lap at full depth takes off the walls, mm, up to 0.3: never more than a tenth of the
        cutter, and less where that would load it too hard. 0 for no such lap.

    Raises
    ------
    PathgenError
        Naming the argument; for tabs that nothing beside them holds, or that the cutter's own way would take away.
        CutterError for a cutter that is not a flat end or too short, and for a bay with a mouth that it does not go
        through.

    Examples
    --------
    >>> import shapely, pathgen
    >>> flat_3 = pathgen.Cutter(name="flat 3", shape="flat-end", diameter=3.0, speed=18000, feed=1200.0, plunge=300.0,
    ...                         stepdown=1.5)
    >>> cut = pathgen.outline(shapely.box(0, -25, 120, 25), flat_3, stock=6.0, blank=(-10, -35, 130, 35), tabs=2)
    >>> [float(cut.points[:, axis].min()) for axis in range(3)]
    [-1.7, -26.7, 0.0]
    >>> round(cut.left.area, 2)
    0.0
    """
    board = given.area("outline shape", shape, parts=False)
    assert isinstance(board, shapely.Polygon)
    if board.interiors:
        raise PathgenError("outline shape", f"a polygon with {counted(len(board.interiors), 'hole')}: only the outside "
                           "is cut", allowed="one without holes",
                           remedy="cut the holes first, with pathgen.pocket, and give shapely.Polygon(shape.exterior)")
    bottom = given.length("outline bottom", bottom, least=-5.0)
    stock = given.length("outline stock", stock, least=max(0.0, bottom) + _LEAST)
    (cutter,) = _cutters("outline cutter", [cutter])
    wide = given.length("outline tab_width", tab_width, above=0.0)
    high = given.length("outline tab_height", tab_height, least=0.0)
    if high >= stock and not (isinstance(tabs, int | np.integer) and tabs == 0):
        raise PathgenError("outline tab_height", f"{high:g} mm reaches the top of the blank",
                           allowed=f"less than {stock:g} mm", remedy="make the tabs lower")
    lap = given.length("outline finish", finish, least=0.0)
    if lap > _MOST_LAP:
        raise PathgenError("outline finish", f"{lap:g} mm", allowed=f"0 to {_MOST_LAP:g} mm: the last lap meets the "
                           "whole height of the wall at once", remedy="make it less")
    if isinstance(tabs, int | np.integer):
        count = int(given.length("outline tabs", tabs, least=0.0, most=100.0, unit=""))
        at = tab_points(board, count, avoid=np.empty((0, 2)), width=wide, cutter=cutter, rise=max(high - bottom, 0.0),
                        where="outline tabs", all_round_in=_blank(blank, board) if count else None)
    else:
        at = _places(tabs, board)
        check_tabs_stand(Tabs(at, high, wide), board, cutter=cutter, rise=max(high - bottom, 0.0), where="outline tabs")
    stand = Tabs(at, high, wide)
    if len(at):
        check_tabs_hold(stand, board, blank=_blank(blank, board), cutter=cutter, where="outline tabs")
    path = outlining(board, cutter=cutter, top=stock, bottom=bottom, tabs=stand, finish=lap,
                     rapids=_rapids(stock, clear))
    return OutlineCut(path.points, path.kinds, cutter, _not_entered(board, cutter))


def _not_entered(board: shapely.Polygon, cutter: Cutter) -> shapely.Polygon | shapely.MultiPolygon:
    """What stays beside an outline where its cutter does not go in: in narrow bays, in corners that point inward.

    Raises CutterError for a bay that is wider behind its mouth: there the cutter would not come at all.
    """
    reach = cutter.radius * (1.0 + _INNER)
    way = overlay.buffer(board, reach, quad_segs=64)
    rings = shapely.get_rings(way)
    if len(rings) > 1:
        x, y = shapely.get_coordinates(shapely.shortest_line(rings[0], rings[1]).centroid)[0]
        raise CutterError(f"outline cutter {cutter.name!r}", f"does not go into the outline near {place_words(x, y)}",
                          allowed=f"bays with mouths {rounded_up(2 * reach):.2f} mm wide or more",
                          remedy="take a smaller cutter, or make that bay's mouth wider")
    line = cutting_line(board, cutter)
    pieces = shapely.get_parts(overlay.difference(
        overlay.difference(shapely.Polygon(line), overlay.buffer(line, reach, quad_segs=64)), board))
    pieces = pieces[(shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > _LITTLE)]
    return pieces[0] if len(pieces) == 1 else shapely.multipolygons(pieces)


def _places(tabs: ArrayLike, board: shapely.Polygon) -> Floats:
    """(n, 2) places for tabs on the outline, as given."""
    words = "a whole number, or an (n, 2) array of places, mm"
    places = given.points("outline tabs", tabs, shape=(2,), words=words)
    off = shapely.distance(shapely.points(places), board.exterior)
    if np.any(off > _OFF):
        worst = int(np.argmax(off))
        raise PathgenError(
            "outline tabs", f"({places[worst, 0]:g}, {places[worst, 1]:g}) lies {off[worst]:.2f} mm off the outline",
            allowed=f"places on it, within {_OFF:g} mm", remedy="take the nearest: shapely.ops.nearest_points",
        )
    return places


def _blank(bounds: ArrayLike | None, board: shapely.Polygon) -> Bounds:
    """What the outline is cut from, and that it lies in it."""
    words = "(x_min, y_min, x_max, y_max) in mm, as Blank(..).bounds"
    if bounds is None:
        raise PathgenError("outline blank", "not given, and tabs need waste to hold on to", allowed=words,
                           remedy="give it; or stick the work down over its whole face and give tabs=0")
    x0, y0, x1, y1 = given.place("outline blank", bounds, count=4, words=words).tolist()
    if not shapely.box(x0, y0, x1, y1).covers(board) or x1 < x0 or y1 < y0:
        raise PathgenError("outline blank", f"from {x0:g}, {y0:g} to {x1:g}, {y1:g}: the shape reaches out of it",
                           allowed="a blank that holds the shape", remedy="give both in the same frame, mm")
    return x0, y0, x1, y1


def join(paths: Iterable[Toolpath]) -> Toolpath:
    """One path after another, with the cutter lifted to the highest of them in between: a `Toolpath`.

    Paths of different cutters cannot be joined (PathgenError): each cutter is a program of its own. Empty ones are
    left out.

    >>> import pathgen
    >>> low, high = (pathgen.Toolpath.from_runs([[[x, 0, 1], [x, 9, 1]]], safe_z=z) for x, z in ((0, 5), (3, 8)))
    >>> pathgen.join([low, high]).points[:, 2].tolist()
    [8.0, 5.0, 1.0, 1.0, 5.0, 8.0, 8.0, 1.0, 1.0, 8.0]
    """
    return joined("join paths", paths)


def joined(
    where: str, paths: Iterable[Toolpath], *, words: str = "pathgen.Toolpath values in a list"
) -> Toolpath:
    """What `join` gives; `where` names the argument, and `words` say what it may be."""
    every = given.several(where, paths, words=words)
    parts = [part for path in every if len(part := given.value(where, path, Toolpath))]
    used = list(dict.fromkeys(path.cutter for path in parts if isinstance(path, Cut)))
    if len(used) > 1:
        raise PathgenError(where, "paths of " + " and ".join(repr(c.name) for c in used), allowed="one cutter",
                           remedy="write a program for each cutter")
    safe_z = max((float(path.points[:, 2].max()) for path in parts), default=0.0)
    whole = Toolpath.joined(_lifted(path, safe_z) for path in parts)
    return _cut(whole, used[0]) if used else whole


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


def _cut(path: Toolpath, cutter: Cutter) -> Cut:
    return Cut(path.points, path.kinds, cutter)


def _rapids(highest: float, clear: float) -> Rapids:
    return Rapids(_above(highest, clear), highest + AIR)


def _above(highest: float, clear: float) -> float:
    """Where rapids across the work go."""
    return highest + given.length("clear", clear, least=2 * AIR, most=200.0)


def _cutters(where: str, cutters: object) -> list[Cutter]:
    found = given.several(where, cutters, words="pathgen.Cutter values in a list")
    if not found or not all(isinstance(cutter, Cutter) for cutter in found):
        raise PathgenError(where, "no cutter" if not found else "something that is no cutter",
                           allowed="pathgen.Cutter values", remedy="make one: pathgen.Cutter(name=.., shape=.., ..)")
    return [cutter for cutter in found if isinstance(cutter, Cutter)]


def _stock(where: str, stock: float, top: Surface) -> float:
    stock = given.length(where, stock, above=0.0)
    if stock < top.thickness - 1e-9:
        raise PathgenError(where, f"{stock:g} mm, and the surface is {top.thickness:g} mm above the underside",
                           allowed=f"{top.thickness:g} mm or more", remedy="take a thicker blank or a lower surface")
    return stock


def _ridge(where: str, ridge: float, ball: Cutter) -> float:
    least, most = ridge_limits(ball.radius)
    return given.length(where, ridge, least=least, most=most)


def _few_layers(where: str, high: float, stepdown: float) -> None:
    """Refuse a stepdown so small that what stands over a surface would be gone over for hours, layer by layer."""
    least = least_stepdown(high)
    if falls_short(stepdown, least):
        raise PathgenError(where, f"{MOST_LAYERS * least / stepdown:.0f} layers of {stepdown:g} mm through what stands "
                           f"over the surface, {high:.3g} mm", allowed=f"{MOST_LAYERS} layers or fewer",
                           remedy=f"make the stepdown {rounded_up(least):.2f} mm or more, or rough first")


def _board(where: str, shape: object, top: Surface, *cutters: Cutter) -> shapely.Polygon:
    """One polygon, no wider than the top, that cutters run past by as much as they are wide."""
    area = given.area(where, shape, parts=False)
    assert isinstance(area, shapely.Polygon)
    _under(where, area, top, past=max((cutter.diameter for cutter in cutters), default=0.0))
    return area


def _reaches(where: str, shape: shapely.Polygon, top: Surface, cutter: Cutter) -> None:
    """Refuse a cutter that, reaching over the edges of a shape, comes where the top is not."""
    x, y = _corners(shape)
    room = float((0.98 * np.abs(top.radius(x)) - np.abs(y)).min())
    if cutter.diameter + AIR > room:
        raise CutterError(where, f"{cutter.diameter:g} mm, reaches over the edges to where the surface is not",
                          allowed=f"at most {room - AIR:.1f} mm", remedy="take a smaller cutter")


def _under(where: str, shape: shapely.Geometry, top: Surface, *, past: float = 0.0) -> None:
    """Refuse a shape that reaches to where the top is steeper than any, or `past` its ends to where that is so along.
    """
    if not isinstance(top, Surface):
        raise PathgenError(f"{where.split()[0]} top", f"a {type(top).__name__}", allowed="a pathgen.Surface",
                           remedy="make one: pathgen.flat(6.0), or pathgen.radiused(thickness=6.0, start=254.0)")
    x, y = _corners(shape)
    room = top.radius(x) - np.abs(y) * OVER_HALF
    worst = int(np.argmin(room))
    if falls_short(float(room[worst]), 0.0):
        radius = float(top.radius(x[worst]))
        steepest = math.degrees(math.atan(STEEPEST_ACROSS))
        raise PathgenError(
            where, f"reaches {abs(y[worst]):.1f} mm across, where the surface's radius is {radius:.1f} mm",
            allowed=f"{rounded_down(max(radius, 0.0) / OVER_HALF):.2f} mm: there it goes down at {steepest:g} degrees",
            remedy="the centre-line of the surface is y 0: move or shrink the shape, or take a larger radius",
        )
    steep = steepest_along(top, x + past * np.sign(x - (x.min() + x.max()) / 2), y)
    if falls_short(STEEPEST, steep):
        goes = f"1 in {1.0 / steep:.2g}" if math.isfinite(steep) else "past the apex"
        raise PathgenError(where, f"the surface's radius changes so fast that its edges go {goes} along it",
                           allowed=f"1 in {1.0 / STEEPEST:g}", remedy="take radii nearer to each other, or a narrower "
                           "or a shorter shape")


def _thinnest(where: str, x: Floats, y: Floats, top: Surface) -> float:
    """The least height of a surface over some places, mm. Raises PathgenError where that is as good as none."""
    high = top.height(x, y)
    worst = int(np.argmin(high))
    if high[worst] > _LEAST:
        return float(high[worst])
    raise PathgenError(
        where, f"comes to {place_words(float(x[worst]), float(y[worst]))}, where the surface lies "
        f"{abs(high[worst]):.2f} mm {'above' if high[worst] > 0 else 'below'} the underside: there is no wood",
        allowed=f"where it lies more than {_LEAST:g} mm above the underside",
        remedy="the centre-line of the surface is y 0: move or shrink the shape, or take a thicker top",
    )


def _corners(shape: shapely.Geometry) -> tuple[Floats, Floats]:
    points = shapely.get_coordinates(shape)
    return points[:, 0], points[:, 1]
