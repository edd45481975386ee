"""One clamping: what is fixed to the machine, and the steps in order."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.surface import Surface
from pathgen.parts.fingerboard.board import Fingerboard, Inlay, Slots
from pathgen.work.mark_errors import BOARD_LIMIT, MarkErrors
from pathgen.work.moved import Moved

Floats = NDArray[np.float64]

SURFACE_ROUGH = "surface-rough"
SURFACE_FINISH = "surface-finish"
POCKET = "pocket"
RESURFACE = "resurface"
HOLES = "holes"
NUT_SLOT = "nut-slot"
SLOTS = "slots"
BEVEL = "bevel"
ENGRAVE = "engrave"
OUTLINE = "outline"
WITNESS_MARKS = "witness-marks"
HOVER = "hover"


@dataclass(frozen=True, kw_only=True)
class Stock:
    """The raw blank, mm: centred on the centre-line, its underside at z 0."""

    length: float
    width: float
    thickness: float
    margin_nut: float
    """How far it stands out before x = 0."""

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(x_min, y_min, x_max, y_max)."""
        return (-self.margin_nut, -self.width / 2, self.length - self.margin_nut, self.width / 2)


@dataclass(frozen=True, kw_only=True)
class KeepOut:
    """A clamp or another thing in the way: a box standing on the bed, in the board's frame, mm."""

    x: tuple[float, float]
    y: tuple[float, float]
    height: float


ZEROS = tuple(
    f"{body}{end}-{side}" for body in ("", "blank-") for end in ("nut", "end") for side in ("centre", "bass", "treble")
) + ("blank-centre",)
"""Places where X 0, Y 0 of the programs may be: on the cut board, or on the blank."""


@dataclass(frozen=True, kw_only=True)
class Setup:
    """Where zero is and how the board lies on the machine."""

    z_zero: Literal["bed", "stock-top"] = "bed"
    along: Literal["x", "y"] = "x"
    zero: str = "nut-centre"
    """One of ZEROS."""
    keep_out: tuple[KeepOut, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Machine:
    """The router: mm, mm per minute, mm per second squared."""

    clearance: float = 10.0
    rapid: float = 5000.0
    acceleration: float = 400.0
    travel: tuple[float, float, float] | None = None
    arcs: bool = False
    resolution: float = 0.005
    """Its smallest step, mm; for the fret table."""


@dataclass(frozen=True, kw_only=True)
class Surfacing:
    """How fine the finished surface must be, and how the second cut goes."""

    scallop: float
    """Ridge height allowed between finishing passes, mm."""
    allowance: float = 0.4
    """What roughing leaves on the surface, mm."""
    skim: float = 0.0
    """How far below the first surface the second cut goes, mm."""
    resurface_stepdown: float = 0.5
    """Depth of each pass through what stands proud, mm."""
    resurface_area: Literal["board", "inlay"] = "board"
    """Where the second cut goes: over the whole board, or only over an inlay and `blend` around it."""
    blend: float = 5.0
    """How far round an inlay the second cut goes with ``resurface_area`` "inlay", mm: fill lies no further out."""


@dataclass(frozen=True, eq=False, kw_only=True)
class WitnessMarks:
    """Small holes in the waste, to find the work's place again by.

    Attributes
    ----------
    places : (n, 2) float array
        Centres, mm.
    depth : float
        Below the top of the raw stock, mm.
    hover : float
        How far above the top of the raw stock the cutter stops over each, mm.
    errors : MarkErrors or None
        What a measuring error at one of them does to a move worked out from all.
    errors_limit : float
        What is allowed of that, mm.
    """

    places: Floats
    depth: float
    hover: float
    errors: MarkErrors | None = None
    errors_limit: float = BOARD_LIMIT


@dataclass(frozen=True, kw_only=True)
class OutlineCut:
    """Cutting the board free: mm."""

    tabs: int = 4
    tab_height: float = 1.5
    tab_width: float = 6.0
    through: float = 0.2
    """How far below the underside the cutter goes, into the spoilboard."""
    skin: float = 0.0
    """Wood left all round above the underside instead of tabs; 0 to cut through."""

    @property
    def bottom(self) -> float:
        """Height of the lowest cut above the underside, mm."""
        return self.skin or -self.through


@dataclass(frozen=True, eq=False, kw_only=True)
class Holes:
    """Round holes outside the part, for dowels or screws that hold or locate the blank: mm."""

    at: Floats
    """(n, 2) centres."""
    diameter: float
    bottom: float
    """Height above the underside; negative into the spoilboard."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Engraving:
    """Strokes, (n, 2) each, cut `depth` deep into a level surface: mm."""

    strokes: tuple[Floats, ...]
    depth: float


@dataclass(frozen=True, kw_only=True)
class Idle:
    """A cutter of an inlay that finds nothing to do: it has no step."""

    inlay: int
    place: int
    """Its place among the inlay's cutters, 0 for the first."""
    cutter: str
    why: str
    remedy: str
    """What would give it work."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """One program: one operation with one cutter, between two stops of the machine."""

    order: int
    """1 for the first."""
    operation: str
    cutter: Cutter
    inlay: int | None = None
    """Index of the inlay that a pocket step cuts, or whose fill a resurface step levels."""
    file_name: str = ""


@dataclass(frozen=True, eq=False, kw_only=True)
class Clamping:
    """All that a run of programs must agree with: the part, what it is cut from, where it lies, the steps.

    The fill of an inlay is poured between its last pocket step and its resurface step.
    """

    title: str
    units: Literal["mm", "in"]
    board: Fingerboard
    stock: Stock
    setup: Setup
    machine: Machine
    steps: tuple[Step, ...]
    surfacing: Surfacing | None = None
    left_out: tuple[str, ...] = ()
    idle: tuple[Idle, ...] = ()
    """What the drawings hold that is not cut, in words."""
    inlays: tuple[Inlay, ...] = ()
    slots: Slots | None = None
    outline: OutlineCut | None = None
    marks: WitnessMarks | None = None
    moved: Moved | None = None
    """How the work moved on the bed before the step `moved_from`, where it did."""
    moved_from: int = 0
    nut_slot: Slots | None = None
    holes: Holes | None = None
    engraving: Engraving | None = None
    safe_z: float = field(init=False)
    """Height of rapids across the work: the machine's clearance above the highest thing in the way, mm."""

    def __post_init__(self) -> None:
        tops = [self.stock.thickness, *(k.height for k in self.setup.keep_out)]
        tops += [self.board.surface.thickness + i.overfill for i in self.inlays if i.fill != "none"]
        object.__setattr__(self, "safe_z", max(tops) + self.machine.clearance)

    @property
    def finished_surface(self) -> Surface:
        """The surface when all is done: `skim` below the first where something was filled and cut again."""
        first = self.board.surface
        resurfaced = any(step.operation == RESURFACE for step in self.steps)
        skim = self.surfacing.skim if self.surfacing and resurfaced else 0.0
        return replace(first, thickness=first.thickness - skim)

    def moved_at(self, step: Step | None) -> Moved | None:
        """How the work lies when a step is run, where it is not as it was first clamped."""
        return self.moved if step is not None and step.order >= self.moved_from else None

    def on_bed(self, points: Floats, step: Step | None) -> Floats:
        """(n, 3) tips of a step as they stand on the bed: where the work moved, so do they, but not the safe height."""
        points = np.asarray(points, dtype=float).reshape(-1, 3)
        moved = self.moved_at(step)
        if moved is None or step is None:
            return points
        there = moved.there(points, ball=_ball(step.cutter))
        there[:, 2] = np.where(points[:, 2] >= self.safe_z - 1e-9, points[:, 2], there[:, 2])
        return there

    def to_machine(self, points: Floats, step: Step | None = None) -> Floats:
        """(n, 3) points of the board's frame in the frame of the programs: turned, zeroed, and moved with the work.

        Without a `step` the work lies as it was first clamped.
        """
        x, y, z = (self.on_bed(points, step) - [*self.zero, self.z_zero]).T
        return np.stack([-y, x, z] if self.setup.along == "y" else [x, y, z], axis=1)

    def to_board(self, points: Floats, step: Step | None = None) -> Floats:
        """The inverse of `to_machine`."""
        x, y, z = np.asarray(points, dtype=float).reshape(-1, 3).T
        turned = np.stack([y, -x, z] if self.setup.along == "y" else [x, y, z], axis=1)
        bed = turned + [*self.zero, self.z_zero]
        moved = self.moved_at(step)
        if moved is None or step is None:
            return bed
        board = moved.back(bed, ball=_ball(step.cutter))
        board[:, 2] = np.where(bed[:, 2] >= self.safe_z - 1e-4, bed[:, 2], board[:, 2])
        return board

    @property
    def zero(self) -> tuple[float, float]:
        """Where in the board's frame X 0, Y 0 of the programs is, mm."""
        if self.setup.zero not in ZEROS:
            raise JobError("[setup] zero", f'"{self.setup.zero}"', allowed=", ".join(ZEROS))
        *on_blank, end, side = self.setup.zero.split("-")
        x0, _, x1, y1 = self.stock.bounds
        sign = {"centre": 0, "bass": self.board.bass_side, "treble": -self.board.bass_side}[side]
        if not on_blank and end == "blank":
            return (x0 + x1) / 2, 0.0
        if on_blank:
            return (x0 if end == "nut" else x1), sign * y1
        if not sign:
            return (0.0 if end == "nut" else self.board.length), 0.0
        line = self.board.nut_line if end == "nut" else self.board.end_line
        x, y = line[0 if side == "bass" else 1].tolist()
        return x, y

    @property
    def z_zero(self) -> float:
        """Height above the underside where the programs' Z is 0, mm."""
        return self.stock.thickness if self.setup.z_zero == "stock-top" else 0.0


def _ball(cutter: Cutter) -> float:
    return cutter.radius if cutter.shape == "ball-end" else 0.0
