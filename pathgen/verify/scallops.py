"""Ridge heights of one finishing program, without a job: what its text leaves, against the exact prediction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, ProgramError
from pathgen.base.scallop import scallop_height
from pathgen.base.surface import Surface
from pathgen.removal.grid import Grid
from pathgen.removal.lengthwise import passes_along
from pathgen.removal.material import Material
from pathgen.removal.motion import Motion
from pathgen.verify.read import RAPID, ReadProgram, read_program
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
    if cutter.shape != "ball-end":
        raise CutterError(f"cutter {cutter.name!r}", f"a {cutter.shape} cutter leaves no ridges of this kind",
                          allowed="ball-end")
    motion = _in_board_frame(read_program(text, name=name), along, z_zero)
    passes = passes_along(motion, 4 * cutter.radius)
    if area is None:
        area = _spanned(motion, passes, cutter, surface, name)
    _, y0, _, y1 = area.bounds
    grid = Grid(stations(area, None, spacing=section_spacing, clear=0.0),
                y0 + section_step * np.arange(max(2, round((y1 - y0) / section_step) + 1)))
    tops = motion.end[motion.cutting, 2]
    blank = float(tops.max(initial=surface.thickness)) + cutter.radius + _AIR
    material = Material(grid, np.full(grid.shape, blank, np.float32))
    material.cut(motion, cutter)
    ridges = measure_ridges(material.top, grid, surface, area)
    return ScallopCheck(
        ridges=ridges, highest=ridges.highest, highest_at=ridges.highest_at,
        predicted=_predicted(motion, passes, grid.xs, cutter, surface), low=ridges.below, high=ridges.above,
        map=ridges.map(), area=area, passes=len({motion.start[first, 1] for first, _ in passes}), limit=limit,
    )


def _in_board_frame(program: ReadProgram, along: str, z_zero: float) -> Motion:
    start, end, motion = program.straight(1e-4)
    turned = [np.stack([p[:, 1], -p[:, 0], p[:, 2]], axis=1) if along == "y" else p for p in (start, end)]
    return Motion(
        start=turned[0] + [0.0, 0.0, z_zero], end=turned[1] + [0.0, 0.0, z_zero], rapid=program.kind[motion] == RAPID,
        feed=program.feed[motion], line=program.line[motion], motion=motion,
    )


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
