"""One cut alone: a shape, a top and a cutter make a path that knows its cutter.

The steps of a job are cut by the same strategies (`programs.paths`); here the heights of rapids follow from the top
and the stock, and what is given is looked at first. All lengths are mm, in a frame of your own whose z 0 is the
underside of the work: x along it, y across, the radius's centre-line at y 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pathgen.base import given, overlay
from pathgen.base.arrays import Bounds, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.plain import counted
from pathgen.base.surface import Surface
from pathgen.base.toolpath import APPROACH, Toolpath
from pathgen.strategies import asked, pocketing
from pathgen.strategies.cutting_line import not_entered
from pathgen.strategies.cutting_out import outlining
from pathgen.strategies.one_cut import Cut, FinishCut, OutlineCut, PocketCut
from pathgen.strategies.resurfacing import cutting_again, cutting_again_over, finishing
from pathgen.strategies.roughing import roughing
from pathgen.strategies.slotting import slotting
from pathgen.strategies.surfacing import finishing_passes
from pathgen.strategies.tabs import Tabs, check_tabs_hold, check_tabs_stand, tab_points
from pathgen.work.features import Slots

CLEAR = 10.0
"""How far rapids across the work stay above it where nothing else is said, mm."""


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
        Of the floor below the surface, mm: nowhere deeper, but for the 0.0005 mm that straight moves may sag. How much
        wood is left under it is for you to see to.
    allowance, floor_ridge, smallest : float
        What clearing leaves on the walls for a finishing pass, mm; how high a ball end or v cutter may leave the
        floor, mm; pieces smaller than this (mm2) are left to no later cutter, and are still in its `left`.
    clear : float
        How far rapids stay above the work, mm.

    Returns
    -------
    tuple of PocketCut, one for each cutter in the order given
        Walls lie within 0.0025 mm of the region's edge in plan, wherever the cutter reaches.

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
    asked.under("pocket region", area, top)
    depth = given.length("pocket depth", depth, least=asked.LEAST)
    lowest = asked.thinnest("pocket region", *asked.corners(area), top)
    if depth >= lowest:
        raise PathgenError("pocket depth", f"{depth:g} mm, through wood {lowest:.2f} mm thick",
                           allowed=f"less than {lowest:.2f} mm", remedy="make the pocket shallower")
    cutters = tuple(asked.cutters("pocket cutters", cutters))
    cuts = pocketing.pocket(
        area, surface=top, cutters=cutters, depth=depth, safe_z=asked.rapids(top.thickness, clear).safe_z,
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
        Naming the argument, as `pocket` does; for stock lower than the surface. CutterError for a v cutter.

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
    cutter = asked.rougher("rough cutter", cutter)
    if finish is not None:
        finish = asked.rougher("rough finish", finish)
    area = asked.surfaced("rough outline", outline, top, cutter, *([finish] if finish else []))
    stock = asked.stock("rough stock", stock, top)
    allowance = given.length("rough allowance", allowance, least=0.0)
    if finish is not None:
        asked.reaches("rough finish", area, top, finish)
    asked.reaches("rough cutter", area, top, cutter)
    past = 0.0
    if ridge is not None:
        if finish is None:
            raise PathgenError("rough ridge", "given without finish", allowed="with the cutter that will leave them",
                               remedy="give finish=.. too, or leave ridge out")
        past = finishing_passes(area, top, finish, scallop=asked.ridge("rough ridge", ridge, finish)).past
    return _cut(roughing(area, top, cutter, finish=finish, stock_top=stock, allowance=allowance, past=past,
                         rapids=asked.rapids(stock, clear)), cutter)


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
    cutter = asked.cutter("finish cutter", cutter)
    area = asked.surfaced("finish outline", outline, top, cutter)
    passes = finishing_passes(area, top, cutter, scallop=asked.ridge("finish ridge", ridge, cutter))
    allowance = given.length("finish allowance", allowance, least=0.0)
    if stock is None:
        highest = top.thickness + max(allowance, cutter.stepdown)
    else:
        highest = asked.stock("finish stock", stock, top)
        asked.few_layers("finish stock", highest - float(top.height(*asked.corners(area)).min()), cutter.stepdown)
    path = finishing(passes, allowance=allowance if stock is None else None, stock_top=highest,
                     rapids=asked.rapids(highest, clear))
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
    blend : float
        How far round the fill the surface is cut again with it, mm: there the passes run in and out.
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
        raise PathgenError("second_cut passes", given.kind_of(passes), allowed="what pathgen.finish gave",
                           remedy="make the first cut with pathgen.finish and give it here")
    proud = given.length("second_cut proud", proud, least=0.0, most=50.0)
    stepdown = given.length("second_cut stepdown", stepdown, least=asked.LEAST, most=passes.cutter.stepdown)
    asked.few_layers("second_cut stepdown", proud, stepdown)
    blend = given.length("second_cut blend", blend, least=0.0)
    fill = None if over is None else asked.filled(over, passes.outline)
    rapids = asked.rapids(passes.top.thickness + proud, clear)
    if fill is None:
        path = cutting_again(passes.passes, proud=proud, stepdown=stepdown, rapids=rapids)
    else:
        path = cutting_again_over(overlay.buffer(fill, blend), passes.passes, proud=proud, stepdown=stepdown,
                                  rapids=rapids)
    return _cut(path, passes.cutter)


def slots(
    lines: ArrayLike, top: Surface, cutter: Cutter, *, width: float, depth: float, through: bool = True,
    bottom: Literal["curve", "flat"] = "curve", entry: Literal["ramp", "peck"] | None = None,
    after: FinishCut | None = None, clear: float = CLEAR,
) -> Cut:
    """Slots along straight lines, on which their bottoms are `depth` below a surface; across a slot these are level.

    Where the surface falls to one side of a slot, as on a radius of one that is slanted, it is deeper toward its higher
    side and less deep toward the other: by what the surface falls over half the width at most. None is lower than on
    the line itself.

    Parameters
    ----------
    lines : (n, 2, 2) array
        Both ends of each slot's centre-line, (x, y) in mm.
    width, depth : float
        mm; the depth straight down from the surface, on the line.
    through : bool
        Whether slots run out over both ends, as over the edges of a board, or end there. Where they end, and the
        surface falls toward that end, they are less deep in the last cutter's width before it: a flat end rests on its
        uphill side. By what the surface falls over that width: 0.04 mm, 22 mm across a radius of 254 mm with 0.5 mm.
    bottom : "curve" or "flat"
        Whether the bottom follows the surface, or is level: then `depth` below the lower end, and deeper between.
    entry : "ramp" or "peck", optional
        How the cutter goes down into each layer. Left out: by pecks where slots run out at both ends, else by ramps.
    after : FinishCut, optional
        What cut the surface before, as `finish` made it: ramps begin on top of what that leaves beside the board, and
        layers on its ridges where these are high.

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
    asked.under("slots lines", shapely.MultiLineString(list(ends)), top)
    depth = given.length("slots depth", depth, least=asked.LEAST,
                         most=asked.thinnest("slots lines", ends[..., 0].ravel(), ends[..., 1].ravel(), top))
    cutter = asked.cutter("slots cutter", cutter)
    cut = Slots(
        number=np.arange(1, len(ends) + 1), lines=ends, width=given.length("slots width", width, above=0.0),
        depth=depth,
        through=np.full((len(ends), 2), given.value("slots through", through, bool, words="True or False")),
        bottom=given.word("slots bottom", bottom, ("curve", "flat")),
        entry=None if entry is None else given.word("slots entry", entry, ("ramp", "peck")),
    )
    if after is not None:
        given.value("slots after", after, FinishCut, remedy="make the surface with pathgen.finish and give it here")
    rapids = asked.rapids(top.thickness, clear)

    def stands(places: Floats) -> tuple[Floats, Floats]:
        assert after is not None
        over = np.minimum(after.passes.stands(places, top, reach=cutter.radius), rapids.air_z - APPROACH)
        return over, over + APPROACH

    return _cut(slotting(cut, surface=top, cutter=cutter, stands=stands if after else None, rapids=rapids,
                         ridges=after.passes.scallop if after else 0.0), cutter)


def outline(
    shape: shapely.Polygon, cutter: Cutter, *, stock: float, blank: Bounds | None = None, bottom: float = 0.0,
    tabs: int | ArrayLike = 4, tab_height: float = 1.5, tab_width: float = 6.0, finish: float = 0.2,
    clear: float = CLEAR,
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
        What is left standing of each, mm; lower than the stock. So wide it is at its narrowest, in the middle of the
        groove; a round cutter leaves it wider toward the edge.
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
    stock = given.length("outline stock", stock, least=max(0.0, bottom) + asked.LEAST)
    cutter = asked.cutter("outline cutter", cutter)
    wide = given.length("outline tab_width", tab_width, above=0.0)
    high = given.length("outline tab_height", tab_height, least=0.0)
    if high >= stock and not (isinstance(tabs, int | np.integer) and tabs == 0):
        raise PathgenError("outline tab_height", f"{high:g} mm reaches the top of the blank",
                           allowed=f"less than {stock:g} mm", remedy="make the tabs lower")
    lap = asked.lap(finish)
    if isinstance(tabs, int | np.integer):
        count = int(given.length("outline tabs", tabs, least=0.0, most=100.0, unit=""))
        at = tab_points(board, count, avoid=np.empty((0, 2)), width=wide, cutter=cutter, rise=max(high - bottom, 0.0),
                        where="outline tabs", all_round_in=asked.blank(blank, board) if count else None)
    else:
        at = asked.places(tabs, board)
        check_tabs_stand(Tabs(at, high, wide), board, cutter=cutter, rise=max(high - bottom, 0.0), where="outline tabs")
    stand = Tabs(at, high, wide)
    if len(at):
        check_tabs_hold(stand, board, blank=asked.blank(blank, board), cutter=cutter, where="outline tabs")
    path = outlining(board, cutter=cutter, top=stock, bottom=bottom, tabs=stand, finish=lap,
                     rapids=asked.rapids(stock, clear))
    return OutlineCut(path.points, path.kinds, cutter, not_entered(board, cutter))


def _cut(path: Toolpath, cutter: Cutter) -> Cut:
    return Cut(path.points, path.kinds, cutter)
