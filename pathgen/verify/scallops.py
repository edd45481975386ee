"""Ridge heights of one finishing program, whoever wrote it: what its text leaves, against the exact prediction."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import given, overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, PathgenError, ProgramError
from pathgen.base.scallop import scallop_height
from pathgen.base.surface import Surface
from pathgen.removal.grid import Grid
from pathgen.removal.lengthwise import passes_along
from pathgen.removal.material import Material
from pathgen.removal.motion import Motion
from pathgen.verify.heights import HeightField, Text, motion_of
from pathgen.verify.ridges import Ridges, measure_ridges, stations

Floats = NDArray[np.float64]

_INSET = 0.02  # mm
_AIR = 1.0  # mm of wood left standing over the highest tip, for what no pass cuts to be seen


@dataclass(frozen=True, eq=False, kw_only=True)
class ScallopCheck:
    """Ridges that a program leaves on a surface. Lengths in mm.

    Attributes
    ----------
    ridges : Ridges
        Every ridge on every section: where its top is and how high it stands, square to the surface.
    highest, highest_at : float, (x, y)
        The worst of them.
    predicted : float
        The highest that the exact formula gives for the passes found in the text; NaN where it holds none that run
        along the board side by side.
    low, high : float
        Lowest and highest deviation from the surface on the sections, straight up.
    map : (across, along) float array
        The highest ridge in each patch of the area, NaN where there is none.
    area : shapely geometry
        Where the sections were measured.
    passes : int
        Lengthwise passes found.
    limit : float or None
        The height allowed, where one was given.
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
        """Whether every ridge is as low as allowed and nothing was left standing; True without a limit."""
        return self.limit is None or bool(self.highest <= self.limit and self.high <= 2 * self.limit)

    def _repr_html_(self) -> str:
        """A table, for notebooks."""
        x, y = self.highest_at
        rows = (
            ("highest ridge", f"{1000 * self.highest:.2f} um at {x:.2f} mm along, {y:.2f} mm across"),
            ("by the exact formula", "not known" if math.isnan(self.predicted) else f"{1000 * self.predicted:.2f} um"),
            ("against the surface", f"{1000 * self.low:+.2f} to {1000 * self.high:+.2f} um"),
            ("passes", str(self.passes)), ("allowed", "" if self.limit is None else f"{1000 * self.limit:g} um"),
        )
        return "<table>" + "".join(f"<tr><td>{name}</td><td>{value}</td></tr>" for name, value in rows) + "</table>"


def check_scallop(
    text: str,
    cutter: Cutter,
    surface: Surface,
    *,
    area: shapely.Geometry | None = None,
    limit: float | None = None,
    section_spacing: float = 5.0,
    section_step: float = 0.005,
    along: Literal["x", "y"] = "x",
    z_zero: float = 0.0,
    name: str = "program",
) -> ScallopCheck:
    """Measure the ridges that a finishing program leaves.

    Parameters
    ----------
    text : str
        The program.
    cutter : Cutter
        A ball end.
    surface : Surface
        What it should leave.
    area : shapely geometry, optional
        Where to measure, in the board's frame; left out: what its lengthwise passes span, but for their ends.
    limit : float, optional
        Ridge height allowed, mm.
    section_spacing, section_step : float
        Distance between the sections across the board, and between the points on them, mm. The top of each ridge is
        found between the points, so that a step of a hundredth of the stepover is enough for a tenth of a micrometre.
    along : "x" or "y"
        The machine axis that the strings run along.
    z_zero : float
        Height above the underside of the work where the program's Z is 0, mm.

    Raises
    ------
    ProgramError
        For text outside the plain subset, or with no lengthwise passes when no `area` is given.
    CutterError
        For a cutter that is not a ball end.
    """
    motion, name = motion_of(text, (0.0, 0.0, z_zero), name=name)
    return _measured(motion, name, cutter, surface, area=area, limit=limit, section_spacing=section_spacing,
                     section_step=section_step, along=along)


def ridges(
    program: Text | HeightField, *, cutter: Cutter | None = None, top: Surface,
    area: shapely.Polygon | shapely.MultiPolygon | None = None, limit: float | None = None,
    zero: tuple[float, float, float] = (0.0, 0.0, 0.0), along: Literal["x", "y"] = "x",
    section_spacing: float = 5.0, section_step: float = 0.005,
) -> ScallopCheck:
    """How high the ridges are that a program leaves on a surface, whoever wrote it; or those of a height field.

    The program is read, and what its passes sweep is taken from cross sections: nothing but its moves is believed.

    Parameters
    ----------
    program : text, Path, ReadProgram or HeightField
        Within the plain subset of RS274/NGC, mm or inches. Of a field ridges are found no better than its points are
        near: 0.01 mm or less apart across the passes.
    cutter : Cutter
        The ball end that it is run with; not needed for a field.
    top : Surface
        What it should leave.
    area : shapely polygon, optional
        Where to measure, mm; needed for a field, and for passes that do not run along x side by side. Left out: what
        the passes span.
    limit : float, optional
        Ridge height allowed, mm, for ``within_limit``.
    zero : (x, y, z)
        Where X 0, Y 0, Z 0 of the program is in the surface's frame, mm; z from the underside of the work.
    along : "x" or "y"
        The machine axis that the surface's centre-line lies along; with "y" the program is turned back first.
    section_spacing, section_step : float
        Distance between sections along x, and between the points on them, mm.

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
    if isinstance(program, HeightField):
        within = given.area("ridges area", area)
        found = measure_ridges(program.top, program.grid, top, within)
        return _check(found, math.nan, within, 0, limit)
    if not isinstance(cutter, Cutter):
        raise PathgenError("ridges cutter", f"a {type(cutter).__name__}", allowed="the pathgen.Cutter it is run with",
                           remedy="make one: pathgen.Cutter(name=.., shape=\"ball-end\", ..)")
    if not isinstance(top, Surface):
        raise PathgenError("ridges top", f"a {type(top).__name__}", allowed="a pathgen.Surface")
    motion, name = motion_of(program, zero)
    return _measured(
        motion, name, cutter, top, area=area if area is None else given.area("ridges area", area), limit=limit,
        section_spacing=given.length("ridges section_spacing", section_spacing, above=0.0), along=along,
        section_step=given.length("ridges section_step", section_step, least=1e-4),
    )


def _measured(
    motion: Motion, name: str, cutter: Cutter, surface: Surface, *, area: shapely.Geometry | None,
    limit: float | None, section_spacing: float, section_step: float, along: str,
) -> ScallopCheck:
    if cutter.shape != "ball-end":
        raise CutterError(f"cutter {cutter.name!r}", f"a {cutter.shape} cutter leaves no ridges of this kind",
                          allowed="ball-end")
    motion = _turned_back(motion) if along == "y" else motion
    passes = passes_along(motion, 4 * cutter.radius)
    if area is None:
        area = _spanned(motion, passes, cutter, surface, name)
    if area.is_empty:
        raise ProgramError(name, "nothing lies between its passes along the board", remedy="give the area to measure")
    _, y0, _, y1 = area.bounds
    grid = Grid(stations(area, None, spacing=section_spacing, clear=0.0),
                y0 + section_step * np.arange(max(2, round((y1 - y0) / section_step) + 1)))
    tops = motion.end[motion.cutting, 2]
    blank = float(tops.max(initial=surface.thickness)) + cutter.radius + _AIR
    material = Material(grid, np.full(grid.shape, blank, np.float32))
    material.cut(motion, cutter)
    found = measure_ridges(material.top, grid, surface, area)
    side_by_side = len({motion.start[first, 1] for first, _ in passes})
    return _check(found, _predicted(motion, passes, grid.xs, cutter, surface), area, side_by_side, limit)


def _check(
    found: Ridges, predicted: float, area: shapely.Geometry, passes: int, limit: float | None
) -> ScallopCheck:
    return ScallopCheck(
        ridges=found, highest=found.highest, highest_at=found.highest_at, predicted=predicted, low=found.below,
        high=found.above, map=found.map(), area=area, passes=passes, limit=limit,
    )


def _turned_back(motion: Motion) -> Motion:
    """A program whose X lies across: (x, y) of the machine to (y, -x) of the surface."""
    start, end = (np.stack([p[:, 1], -p[:, 0], p[:, 2]], axis=1) for p in (motion.start, motion.end))
    return replace(motion, start=start, end=end)


def _spanned(
    motion: Motion, passes: list[tuple[int, int]], cutter: Cutter, surface: Surface, name: str
) -> shapely.Geometry:
    """What lies between where each pass and the next touch the surface, where both run."""
    y = np.array([motion.start[first, 1] for first, _ in passes])
    lines = np.unique(y)
    if len(lines) < 2:
        raise ProgramError(name, "no passes side by side along the board", remedy="give the area to measure")
    ends = np.sort([[motion.start[a, 0], motion.end[b - 1, 0]] for a, b in passes], axis=1)
    low = np.array([ends[y == line, 0].min() for line in lines])
    high = np.array([ends[y == line, 1].max() for line in lines])
    first, last = np.maximum(low[:-1], low[1:]), np.minimum(high[:-1], high[1:])
    both = last > first
    boxes = shapely.segmentize(shapely.box(first[both], lines[:-1][both], last[both], lines[1:][both]), 10.0)
    area = overlay.union_all(shapely.transform(boxes, lambda axis: _contact(axis, cutter, surface)))
    return overlay.buffer(area, -_INSET)


def _contact(axis: Floats, cutter: Cutter, surface: Surface) -> Floats:
    """Where a ball whose axis stands at (x, y) touches the surface, taken as a cylinder of the radius there."""
    share = 1.0 / (1.0 + cutter.radius / surface.radius(axis[:, 0]))
    return np.column_stack([axis[:, 0], axis[:, 1] * share])


def _predicted(
    motion: Motion, passes: list[tuple[int, int]], xs: Floats, cutter: Cutter, surface: Surface
) -> float:
    """The exact formula at every station for each pair of neighbouring passes that both reach it."""
    y = np.array([motion.start[first, 1] for first, _ in passes])
    ends = np.array([[motion.start[a, 0], motion.end[b - 1, 0]] for a, b in passes]).reshape(-1, 2)
    worst = np.nan
    for x in xs:
        there = np.unique(y[(ends.min(axis=1) <= x) & (ends.max(axis=1) >= x)])
        if len(there) < 2:
            continue
        radius = float(surface.radius(x))
        if surface.is_flat:
            stepover = np.diff(there)
        else:
            stepover = radius * np.diff(np.arcsin(np.clip(there / (radius + cutter.radius), -1.0, 1.0)))
        close = stepover < 2 * cutter.radius
        if close.any():
            ridge = float(scallop_height(stepover[close], cutter.radius, np.inf if surface.is_flat else radius).max())
            worst = np.fmax(worst, ridge)
    return float(worst)
