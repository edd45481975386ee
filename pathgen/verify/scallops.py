"""Ridge heights of one finishing program, whoever wrote it: what its text leaves, against the exact prediction."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial, reduce
from typing import Literal

import numpy as np
import shapely

from pathgen.base import given
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.brief import Brief
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, PathgenError, ProgramError
from pathgen.base.markup import as_table
from pathgen.base.surface import Surface
from pathgen.removal.grid import Grid
from pathgen.removal.material import Material
from pathgen.removal.motion import Motion
from pathgen.verify import passes
from pathgen.verify.findings import Tolerances
from pathgen.verify.heights import HeightField
from pathgen.verify.over_blank import Text, motion_of
from pathgen.verify.ridges import Ridges, measure_ridges, stations
from pathgen.verify.turned import Turned

EXACT = 1e-4
"""How exactly ridges are measured, mm: numbers of a program are rounded to four decimals."""
_AIR = 1.0  # mm of wood left standing over the highest tip, for what no pass cuts to be seen


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ScallopCheck(Brief):
    """Ridges that a program leaves on a surface. Lengths in mm.

    Attributes
    ----------
    ridges
        Every ridge on every section: ``ridges.x``, ``ridges.y`` (n,), where its top is, and ``ridges.height`` (n,), how
        high it stands, square to the surface.
    highest, highest_at : float, (x, y)
        The worst of them. Where passes lie further apart than the ball reaches, and it is not known what stood there,
        as high as its radius and 1 mm over its tip; `check_program` knows.
    predicted : float
        The highest that the exact formula gives for the passes found in the text; NaN where it holds none that run
        side by side one way.
    low, high : float
        Lowest and highest deviation from the surface on the sections, straight up.
    map : (across, along) float array
        The highest ridge in each patch of the area, NaN where there is none.
    area : shapely geometry
        Where the sections were measured.
    passes : int
        Lines on which passes left the surface as it is; those lifted over it do not count.
    limit : float or None
        The height allowed, where one was given.

    Examples
    --------
    >>> import pathgen
    >>> ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000.0, plunge=500.0,
    ...                       stepdown=2.0)
    >>> moves = "".join(f"Y{0.5 * k}\\nX{60 * (k % 2)}\\n" for k in range(1, 9))
    >>> text = f"G21 G90 G17 G94\\nG0 Z20\\nM3 S18000\\nG0 X60 Y0\\nG1 Z6 F500\\nX0 F2000\\n{moves}G0 Z20\\nM5\\nM30\\n"
    >>> found = pathgen.ridges(text, cutter=ball, top=pathgen.flat(6.0), limit=0.02)
    >>> found.passes, found.within_limit, abs(found.highest - found.predicted) < 1e-5
    (9, True, True)
    """

    ridges: Ridges
    highest: float
    highest_at: tuple[float, float]
    predicted: float
    low: float
    high: float
    map: Floats
    area: shapely.Geometry
    passes: int
    limit: float | None

    @property
    def within_limit(self) -> bool:
        """Whether every ridge is as low as allowed, to 0.0001 mm, and nothing was left standing; True without a limit.
        """
        return self.limit is None or bool(self.highest <= self.limit + EXACT and self.high <= standing(self.limit))

    def _repr_html_(self) -> str:
        """A table, for notebooks."""
        x, y = self.highest_at
        return as_table((
            ("highest ridge", f"{1000 * self.highest:.2f} um at {x:.2f} mm along, {y:.2f} mm across"),
            ("by the exact formula", "not known" if math.isnan(self.predicted) else f"{1000 * self.predicted:.2f} um"),
            ("against the surface", f"{1000 * self.low:+.2f} to {1000 * self.high:+.2f} um"),
            ("passes", str(self.passes)), ("allowed", "" if self.limit is None else f"{1000 * self.limit:g} um"),
        ))


def standing(limit: float) -> float:
    """How high over the surface a program leaves something that is no ridge of so much, mm."""
    return max(2 * limit, limit + Tolerances().surface_low)


def ridges(
    program: Text | HeightField, *, cutter: Cutter | None = None, top: Surface,
    area: shapely.Polygon | shapely.MultiPolygon | None = None, limit: float | None = None,
    zero: tuple[float, float, float] = (0.0, 0.0, 0.0), along: Literal["x", "y"] = "x",
    section_spacing: float = 5.0, section_step: float = 0.005,
) -> ScallopCheck:
    """How high the ridges are that a program leaves on a surface, whoever wrote it; or those of a height field.

    The program is read, and what its passes sweep is taken from cross sections square to the way that most of them run,
    whichever way that is: nothing but its moves is believed. Where they run no one way, as in rings, sections are taken
    along and across.

    Parameters
    ----------
    program : text, Path, ReadProgram or HeightField
        Within the plain subset of RS274/NGC, mm or inches. Of a field ridges are found no better than its points are
        near: 0.01 mm or less apart.
    cutter : Cutter
        The ball end that it is run with; not needed for a field.
    top : Surface
        What it should leave.
    area : shapely polygon, optional
        Where to measure, mm; needed for a field, and where no passes run side by side one way. Left out: what the
        passes span.
    limit : float, optional
        Ridge height allowed, mm, for ``within_limit``; ridges are measured to 0.0001 mm.
    zero : (x, y, z)
        Where X 0, Y 0, Z 0 of the program is in the surface's frame, mm; z from the underside of the work.
    along : "x" or "y"
        The machine axis that the surface's centre-line lies along; with "y" the program is turned back first.
    section_spacing, section_step : float
        Distance between sections, and between the points on them, mm. More are laid where a pass bends or is left out
        for a while.

    Returns
    -------
    ScallopCheck
        ``highest`` (mm) and ``highest_at``, ``predicted`` by the exact formula, ``low`` and ``high`` against the
        surface.

    Raises
    ------
    PathgenError
        Naming the argument. ProgramError, with the line, for text outside the subset; CutterError for no ball end.

    Examples
    --------
    >>> import shapely, pathgen
    >>> ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000.0, plunge=500.0,
    ...                       stepdown=2.0)
    >>> moves = "".join(f"Y{0.5 * k}\\nX{60 * (k % 2)}\\n" for k in range(1, 9))
    >>> text = f"G21 G90 G17 G94\\nG0 Z20\\nM3 S18000\\nG0 X60 Y0\\nG1 Z6 F500\\nX0 F2000\\n{moves}G0 Z20\\nM5\\nM30\\n"
    >>> found = pathgen.ridges(text, cutter=ball, top=pathgen.flat(6.0))
    >>> round(found.highest, 4), round(3 - (3**2 - 0.25**2) ** 0.5, 4)      # r - sqrt(r^2 - (s / 2)^2) on a flat
    (0.0104, 0.0104)
    """
    top = given.value("ridges top", top, Surface)
    limit = limit if limit is None else given.length("ridges limit", limit, above=0.0)
    if isinstance(program, HeightField):
        if area is None:
            raise PathgenError("ridges area", "none for a field, which does not tell where passes ran",
                               allowed="a shapely Polygon or MultiPolygon", remedy="give area=shapely.box(x0, y0, x1, "
                               "y1), where they did")
        within = given.area("ridges area", area)
        turned, grid = Turned(top, math.pi / 2), Grid(program.y, -program.x[::-1])
        found = measure_ridges(program.top, program.grid, top, within).joined(
            measure_ridges(program.top[:, ::-1].T, grid, turned, turned.shape(within)).moved(turned.back))
        return _check(found, math.nan, within, 0, limit)
    if not isinstance(cutter, Cutter):
        raise PathgenError("ridges cutter", given.kind_of(cutter), allowed="the pathgen.Cutter it is run with",
                           remedy="make one: pathgen.Cutter(name=.., shape=\"ball-end\", ..)")
    motion, name = motion_of(program, zero, along=given.word("ridges along", along, ("x", "y")))
    area = area if area is None else given.area("ridges area", area)
    return ridges_of_moves(
        motion, name, cutter=cutter, top=top, area=area, limit=limit,
        spacing=given.length("ridges section_spacing", section_spacing, least=0.01),
        step=given.length("ridges section_step", section_step, least=1e-4),
    )


def ridges_of_moves(
    motion: Motion, name: str, *, cutter: Cutter, top: Surface, area: shapely.Geometry | None, limit: float | None,
    stood: HeightField | None = None, spacing: float = 5.0, step: float = 0.005,
) -> ScallopCheck:
    """As `ridges`; nothing is left higher than before the programs of a field `stood`, where that is known."""
    if cutter.shape != "ball-end":
        raise CutterError(f"cutter {cutter.name!r}", f"a {cutter.shape} cutter leaves no ridges of this kind",
                          allowed="ball-end")
    way = passes.way_of(motion)
    if way is None and area is None:
        raise ProgramError(name, "no passes side by side", remedy="give the area to measure")
    one_way = partial(_one_way, motion, name, cutter, area, stood, spacing=spacing, step=step)
    if way is not None:
        return _check(*one_way(Turned(top, way)), limit)
    (found, _, within, _), (across, *_) = one_way(Turned(top, 0.0)), one_way(Turned(top, math.pi / 2))
    return _check(found.joined(across), math.nan, within, 0, limit)


def _one_way(
    motion: Motion, name: str, cutter: Cutter, area: shapely.Geometry | None, stood: HeightField | None,
    turned: Turned, *, spacing: float, step: float,
) -> tuple[Ridges, float, shapely.Geometry, int]:
    """Ridges on sections square to one way, the height expected, where they were measured, and passes found."""
    motion = turned.motion(motion)
    lines = passes.lines_of(motion, 4 * cutter.radius)
    if area is None and len(lines) < 2:
        raise ProgramError(name, "no passes side by side", remedy="give the area to measure")
    within = passes.bounds_of(lines, turned, cutter) if area is None else turned.shape(area)
    _, y0, _, y1 = within.bounds
    even = stations(within, None, spacing=spacing, clear=0.0)
    between = passes.changes(passes.without_leads(lines, turned, cutter))
    grid = Grid(np.union1d(even, between[(between > even[0]) & (between < even[-1])]),
                y0 + step * np.arange(max(2, round((y1 - y0) / step) + 1)))
    blank = float(motion.end[motion.cutting, 2].max(initial=turned.surface.thickness)) + cutter.radius + _AIR
    material = Material(grid, np.full(grid.shape, blank, np.float32))
    material.cut(motion, cutter)
    lines = passes.without_leads(passes.shaping(lines, material.top, grid, turned, cutter), turned, cutter)
    if area is None:
        within = passes.spanned(lines, turned, cutter)
    if within.is_empty:
        raise ProgramError(name, "nothing lies between its passes", remedy="give the area to measure")
    if not np.isfinite(turned.height(*shapely.get_coordinates(within).T)).all():
        raise ProgramError(name, "passes further across than the surface's radius", remedy="are its units right?")
    top = material.top if stood is None else np.fmin(
        material.top, _most_before(stood, *turned.back(grid.xs, grid.ys[:, None])))
    found = measure_ridges(top, grid, turned, within).moved(turned.back)
    return (found, passes.predicted(lines, grid.xs, turned, cutter, within), turned.shape(within, back=True),
            len({round(line.middle, 3) for line in lines}))


def _most_before(field: HeightField, x: Floats, y: Floats) -> Floats:
    """How high a field may have stood at places between its points: as those round them; NaN where nothing did."""
    (i, next_i, in_x), (j, next_j, in_y) = (_between(of, at) for of, at in ((field.x, x), (field.y, y)))
    most = reduce(np.maximum, (field.before[row, column] for row in (j, next_j) for column in (i, next_i)))
    return np.where(in_x & in_y & np.isfinite(most), most, np.nan)


def _between(points: Floats, at: Floats) -> tuple[Ints, Ints, Bools]:
    """The points of a row on both sides of places, and whether these lie no further out than half a step."""
    share = (np.asarray(at) - points[0]) / (points[-1] - points[0]) * (len(points) - 1)
    last = len(points) - 1
    first = np.clip(np.floor(share), 0, last).astype(np.intp)
    return first, np.minimum(first + 1, last), (share >= -0.5) & (share <= last + 0.5)


def _check(
    found: Ridges, predicted: float, area: shapely.Geometry, passes: int, limit: float | None
) -> ScallopCheck:
    return ScallopCheck(
        ridges=found, highest=found.highest, highest_at=found.highest_at, predicted=predicted, low=found.below,
        high=found.above, map=found.map(), area=area, passes=passes, limit=limit,
    )
