"""One clamping: what is fixed to the machine, and the steps in order."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal, TypeVar

import numpy as np
import shapely
from shapely import Polygon

from pathgen.base import given
from pathgen.base.arrays import Bounds, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import Doubt, JobError, PathgenError
from pathgen.base.markup import as_table
from pathgen.base.plain import base_letters
from pathgen.base.surface import Surface
from pathgen.base.units import axes_words
from pathgen.work.features import Inlay, Named, Surfacing
from pathgen.work.mark_errors import MarkErrors
from pathgen.work.moved import Moved
from pathgen.work.operations import CutAgain, Operation, SurfaceFinish, SurfaceRough, WitnessMarks
from pathgen.work.part import Part, Place

Along = Literal["x", "y", "-x", "-y"]
"""The machine axis along which the part's X runs; those with a sign are of parts turned round on a common blank."""

F = TypeVar("F")
V = TypeVar("V", float, Floats)


LONGEST = 3000.0
"""Of a blank, mm; the keys of a job ask here too."""


@dataclass(frozen=True, kw_only=True)
class Stock:
    """The raw blank, mm: centred on the centre-line, its underside at z 0."""

    length: float
    """Along the part's X."""
    width: float
    thickness: float
    margin_nut: float
    """How far it stands out before x = 0."""

    @property
    def bounds(self) -> Bounds:
        """(x_min, y_min, x_max, y_max)."""
        return (-self.margin_nut, -self.width / 2, self.length - self.margin_nut, self.width / 2)


LEAST_CLEARANCE = 0.5
"""The least that a machine's rapids may be said to pass over the work, mm."""
MACHINE = {"clearance": (LEAST_CLEARANCE, 200.0), "rapid": (100.0, 200_000.0), "acceleration": (1.0, 50_000.0),
           "travel": (10.0, 10_000.0), "spindle": (0.0, 200_000.0), "resolution": (0.0001, 0.5), "spin_up": (0.0, 60.0),
           "repeatability": (0.0, 1.0)}
"""From where to where each lies, in the units of `Machine`; the keys of a job ask here too."""
LEAST_TOUCH = 0.01
"""What passes at less is taken to touch, on a machine said to come back exactly too, mm: programs are rounded."""
CLOSE = 2.0
"""A spinning cutter should keep as far from a clamp, mm: it is measured, and stands, no better (common practice)."""


@dataclass(frozen=True, kw_only=True)
class KeepOut:
    """A clamp or another thing in the way: a box standing on the bed, in the board's frame, mm."""

    x: tuple[float, float]
    y: tuple[float, float]
    height: float
    older_names: bool = False
    """Whether the job calls along and across x and y."""

    @property
    def shape(self) -> Polygon:
        """In plan."""
        return shapely.box(self.x[0], self.y[0], self.x[1], self.y[1])


class Clamps(tuple[KeepOut, ...]):
    """All that stands in the way, as somebody has said: nothing does, where there is none in it."""

    __slots__ = ()


@dataclass(frozen=True, kw_only=True)
class Setup:
    """Where zero is and how the board lies on the machine."""

    z_zero: Literal["bed", "stock-top"] = "bed"
    """Where the programs' Z is 0."""
    along: Along = "x"
    zero: str | None = None
    """One of the part's places; None: the first of them."""
    keep_out: tuple[KeepOut, ...] = ()
    feeler: float = 0.1
    """Thickness of the feeler or slip of paper that a zero is checked with, mm."""

    @property
    def no_clamps(self) -> bool:
        """Whether it is said that none stand there, and not only nothing said of them."""
        return isinstance(self.keep_out, Clamps) and not self.keep_out


@dataclass(frozen=True, kw_only=True)
class Machine:
    """The router; shows itself as a table in a notebook.

    Attributes
    ----------
    clearance : float
        How far rapids across the work pass above the highest thing in the way, mm.
    rapid : float
        Speed of rapids, mm per minute.
    acceleration : float
        Of all axes, for the time estimate, mm per second squared.
    travel : (x, y, z), optional
        How far it moves along each axis, mm; left out: not checked.
    spindle : (lowest, highest), optional
        Its speeds, turns per minute; left out: not checked.
    arcs : bool
        Whether it reads G2 and G3.
    resolution : float
        Its smallest step, mm.
    spin_up : float
        How long the spindle is given to come up to speed before the first descent, seconds (G4 P).
    repeatability : float
        How far off in X and Y it may come back to a place, mm.

    Raises PathgenError that names the attribute: numbers that the keys of [machine] do not take, spindle speeds that
    do not rise.

    >>> import pathgen
    >>> path = pathgen.Toolpath.from_runs([[[0, 0, 5], [9, 0, 5]]], safe_z=15.0)
    >>> thin = pathgen.Cutter(name="thin", shape="flat-end", diameter=0.6, speed=18000, feed=400.0, plunge=100.0,
    ...                      stepdown=0.5)
    >>> "G4 P6" in pathgen.program(path, cutter=thin, machine=pathgen.Machine(spin_up=6.0)).splitlines()
    True
    """

    clearance: float = 10.0
    rapid: float = 5000.0
    acceleration: float = 400.0
    travel: tuple[float, float, float] | None = None
    spindle: tuple[float, float] | None = None
    arcs: bool = False
    resolution: float = 0.005
    spin_up: float = 3.0
    repeatability: float = 0.05  # common practice, no source

    @property
    def touch(self) -> float:
        """What its cutter passes nearer than this it may touch, mm: it comes back no better."""
        return max(self.repeatability, LEAST_TOUCH)

    @property
    def touch_above(self) -> float:
        """The same of what it passes over: less than the rapids' own clearance."""
        return min(self.touch, self.clearance / 2.0)

    def __post_init__(self) -> None:
        def number(name: str, got: object, *, axis: str = "") -> float:
            least, most = MACHINE[name]
            return given.length(f"machine {name}{axis}", got, least=least, most=most, unit="")

        for name in ("clearance", "rapid", "acceleration", "resolution", "spin_up", "repeatability"):
            object.__setattr__(self, name, number(name, getattr(self, name)))
        given.value("machine arcs", self.arcs, bool, words="True or False")
        if self.travel is not None:
            travel = given.several("machine travel", self.travel, words="(x, y, z) in mm")
            if len(travel) != 3:
                raise PathgenError("machine travel", f"{self.travel!r}", allowed="(x, y, z) in mm")
            object.__setattr__(self, "travel", tuple(number("travel", far, axis=f" {axis}")
                                                     for axis, far in zip("xyz", travel, strict=True)))
        if self.spindle is not None:
            speeds = given.several("machine spindle", self.spindle, words="(lowest, highest) in rpm")
            if len(speeds) != 2:
                raise PathgenError("machine spindle", f"{self.spindle!r}", allowed="(lowest, highest) in rpm")
            low, high = (number("spindle", one) for one in speeds)
            if low > high:
                raise PathgenError("machine spindle", f"from {low:g} to {high:g} rpm", allowed="(lowest, highest)",
                                   remedy=f"give ({high:g}, {low:g})")
            object.__setattr__(self, "spindle", (low, high))

    def _repr_html_(self) -> str:
        """What it can do, for notebooks."""
        return as_table((one.name.replace("_", " "), str(getattr(self, one.name))) for one in fields(self))


@dataclass(frozen=True, kw_only=True)
class Idle:
    """A cutter of an inlay that finds nothing to do: it has no step."""

    inlay: int
    """Its index."""
    cutter: Cutter
    why: str
    """Why there is nothing for it to do."""
    remedy: str
    """What would give it work."""


@dataclass(frozen=True, kw_only=True)
class Turn:
    """When a program of one part has its turn among those of all parts of a common blank."""

    number: int
    """1 for the first of all."""
    count: int
    """How many there are in all."""
    stays: bool
    """Whether its cutter stands in the spindle still, zeroed, from the program before."""
    lowest: float = math.inf
    """The lowest tip above the bed in programs of other parts that its cutter stays in the spindle for, mm."""
    fill_after: int | None = None
    """The program after which the fills of all parts are poured, where this one ends with its part's fill."""
    fill_too: tuple[str, ...] = ()
    """Other parts whose fill waits for this program, by name."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """One program: one operation with one cutter, between two stops of the machine."""

    operation: Operation[Any]
    cutter: Cutter
    order: int = 0
    """1 for the first."""
    file_name: str = ""
    run: str = "program"
    """What its clamping's programs are counted as in messages: those of a back are others than those of its top."""
    mark: str = ""
    """What its file's name tells it apart by; left out, the number of its inlay."""
    turn: Turn | None = None
    """Among the programs of other parts; None where the part is alone on its blank."""

    @property
    def number(self) -> int:
        """Its place among all programs of the blank."""
        return self.turn.number if self.turn else self.order

    @property
    def numbers(self) -> dict[str, int]:
        """Its `order` in its part, and where there are others its `turn` among all, as reports have them."""
        return {"order": self.order} | ({"turn": self.turn.number} if self.turn else {})

    @property
    def inlay(self) -> int | None:
        """Index of the inlay that it works on."""
        return self.operation.inlay.index if self.operation.inlay is not None else None

    @property
    def title(self) -> str:
        """Its place in the order and its name, for messages."""
        return f"{self.run} {self.number}, {self.operation.in_files}"


@dataclass(frozen=True, kw_only=True)
class Shared:
    """What the parts of one blank have in common; `stock` is then the part's own share of it."""

    number: int
    """Of the part, from 1."""
    zero: Place
    """Where X 0, Y 0 of all programs is, in the part's own frame."""
    places: Mapping[str, Place]
    """All where it may be, by name, in that frame."""
    highest: float
    """Of all that stands on the blank, other parts' fills and clamps too, mm."""
    blank: Bounds
    """(x_min, y_min, x_max, y_max) of the whole blank, in the part's own frame."""
    marked: int | None = None
    """The first program, by its number, that drills marks of any part; None where none does."""
    errors: MarkErrors | None = None
    """What measuring errors at the marks of all parts together do to this one, where there are any."""
    limit: float = 0.0
    """What is allowed of that, mm."""
    go_on: int = 0
    """The first program, by its number, that is run since the blank moved; 0 where it did not."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Clamping:
    """All that a run of programs must agree with: the part, what it is cut from, where it lies, the steps. The fill of
    an inlay is poured between its last pocket step and its resurface step."""

    title: str
    """What its programs and its report are headed with."""
    units: Literal["mm", "in"]
    """Of its programs and its report; all lengths here are in mm."""
    board: Part
    stock: Stock
    setup: Setup
    machine: Machine
    steps: tuple[Step, ...]
    """In the order in which they are run."""
    kind: str = ""
    """What of a job it cuts, where that is not the part itself, such as ``gauge``: its programs state it."""
    left_out: tuple[str, ...] = ()
    """What the drawings hold that is not cut, in words."""
    doubts: tuple[Doubt, ...] = ()
    """What they hold that is hardly meant."""
    idle: tuple[Idle, ...] = ()
    """Cutters of inlays that find nothing to do."""
    moved: Moved | None = None
    """How the work moved on the bed before the step `moved_from`, where it did."""
    moved_from: int = 0
    """The first step, by its order, that is run since then."""
    shared: Shared | None = None
    """What it has in common with other parts of one blank; None where the part is alone on its blank."""
    under: Clamping | None = None
    """That of the other side, cut before: the blank is then turned over about its length, and its Y with it."""
    turned_over: bool = False
    """Of that other side: whether the blank was turned over since, as the job of the top says; all is done then."""
    inlays: tuple[Inlay, ...] = field(init=False)
    """Those that its steps open, in the order of the job."""
    safe_z: float = field(init=False)
    """Height of rapids across the work: the machine's clearance above the highest thing in the way, mm."""

    def __post_init__(self) -> None:
        opened = {id(i): i for step in self.steps if (i := step.operation.opens) is not None}
        object.__setattr__(self, "inlays", tuple(sorted(opened.values(), key=lambda inlay: inlay.index)))
        marks = self.feature(WitnessMarks)
        highest = max(self.highest, marks.top(self.stock.thickness)) if marks else self.highest
        object.__setattr__(self, "safe_z", highest + self.machine.clearance)

    @property
    def highest(self) -> float:
        """Of blank, clamps, fills, and what other parts have on the blank, mm."""
        tops = [self.stock.thickness, *(k.height for k in self.setup.keep_out)]
        tops += [self.first_surface.thickness + i.overfill for i in self.inlays if i.fill != "none"]
        return max([*tops, self.shared.highest] if self.shared else tops)

    @property
    def blank(self) -> Bounds:
        """(x_min, y_min, x_max, y_max) of all there before the first cut: the common blank of several parts."""
        return self.shared.blank if self.shared else self.stock.bounds

    @property
    def files(self) -> set[str]:
        """The names of all its programs, those of the other side too."""
        return {step.file_name for step in self.steps} | (self.under.files if self.under else set())

    def step(self, kind: type[Operation[Any]]) -> Step | None:
        """The first of a kind of operation; None where there is none of that kind."""
        return next((step for step in self.steps if type(step.operation) is kind), None)

    def feature(self, kind: type[Operation[F]]) -> F | None:
        """What that operation holds."""
        step = self.step(kind)
        return step.operation.feature if step is not None else None

    def cutter(self, kind: type[Operation[Any]]) -> Cutter | None:
        """What that operation is cut with."""
        step = self.step(kind)
        return step.cutter if step is not None else None

    def cutters_of(self, inlay: Inlay) -> list[Cutter]:
        """Those that cut an inlay's pockets, in their order."""
        return [step.cutter for step in self.steps if step.operation.opens is inlay]

    def cutters_named_for(self, inlay: Inlay) -> list[Cutter]:
        """The same with those that find nothing to do, last."""
        return self.cutters_of(inlay) + [one.cutter for one in self.idle if one.inlay == inlay.index]

    @property
    def marks(self) -> tuple[Named, ...]:
        """The witness marks; none where none are drilled."""
        marks = self.feature(WitnessMarks)
        return marks.named if marks else ()

    @property
    def drilled_key(self) -> str:
        """The key of a job that says where they are drilled."""
        return f"[[part]] {self.shared.number} drilled" if self.shared else "[marks] drilled"

    @property
    def whose_job(self) -> str:
        """The job that what was measured is written into."""
        return "the job of the common blank" if self.shared else "the job"

    @property
    def surface(self) -> Surface:
        """The part's surface as first cut."""
        return self.board.surface

    @property
    def surfacing(self) -> Surfacing | None:
        """How fine its surface is cut; None where it is not."""
        return self.feature(SurfaceFinish)

    @property
    def first_surface(self) -> Surface:
        """The surface that the first finish cuts: `leave` above the board's, where a later cut takes that off."""
        leave = self.surfacing.leave if self.surfacing else 0.0
        return replace(self.surface, thickness=self.surface.thickness + leave)

    def proud(self, inlay: Inlay) -> float:
        """How far the wood stands above the finished surface when an inlay is cut, but for ridges, mm."""
        places = {id(step.operation.opens): place for place, step in enumerate(self.steps)}
        later = any(isinstance(step.operation, CutAgain) for step in self.steps[places.get(id(inlay), 0) :])
        return self.surfacing.leave if self.surfacing and later else 0.0

    def opened(self, inlay: Inlay) -> float:
        """How deep an inlay is from the wood round it once it is opened, but for ridges, mm."""
        return inlay.depth + self.ground(inlay)

    def ground(self, inlay: Inlay) -> float:
        """How far the wood round an inlay stands above the part's surface when opened, mm; below 0 after a skim."""
        return self.proud(inlay) - self.skimmed(inlay)

    def stands(self, inlay: Inlay) -> float:
        """How far what fills an inlay stands above the wood round it, mm: pieces lie below it where that is negative.
        Pieces stand so high where they rest on the floor; of fill it is the most that the job allows."""
        return inlay.overfill if inlay.piece is None else inlay.piece - self.opened(inlay)

    def skimmed(self, inlay: Inlay) -> float:
        """How far the wood stands below the first surface when an inlay is opened, mm."""
        opening = min((s.order for s in self.steps if s.operation.opens is inlay), default=0)
        earlier = any(isinstance(s.operation, CutAgain) and s.order < opening for s in self.steps)
        return self.skim if earlier else 0.0

    @property
    def skim(self) -> float:
        """How far the finished surface lies below the first one, mm: where something was filled and cut again."""
        return self.surfacing.skim if self.surfacing and self.cutter(CutAgain) else 0.0

    @property
    def finished_surface(self) -> Surface:
        """The surface when all is done: `skim` below the first."""
        return replace(self.surface, thickness=self.surface.thickness - self.skim)

    @property
    def begun(self) -> bool:
        """Whether the blank is laid down and zero set already, as the job says: its marks are drilled, or it moved."""
        marks = self.feature(WitnessMarks)
        return self.moved is not None or (marks is not None and marks.tops is not None)

    def clears_wood(self, step: Step) -> bool:
        """Whether a step clears wood, so that what a tooth takes is worth measuring: a finish too, in a blank that
        stands over it and that nothing roughs."""
        raw = isinstance(step.operation, SurfaceFinish) and self.step(SurfaceRough) is None \
            and self.stock.thickness > self.first_surface.thickness
        return raw or step.operation.works_hard(step.cutter)

    def moved_at(self, step: Step | None) -> Moved | None:
        """How the work lies when a step is run, where it is not as it was first clamped."""
        return self.moved if step is not None and step.order >= self.moved_from else None

    def done(self, step: Step) -> bool:
        """Whether a step was run before the work last moved or was turned over, and is not run again."""
        return self.turned_over or (self.moved is not None and step.order < self.moved_from)

    @property
    def done_before(self) -> str:
        """What happened since such a step was run; of earlier moves the job says nothing."""
        return f"the {'blank was turned over' if self.turned_over else 'work last moved'}"

    def cut_before(self, inlay: Inlay) -> bool:
        """Whether an inlay's pockets were cut before the work moved: advice on their drawing comes too late."""
        own = [step for step in self.steps if step.operation.opens is inlay]
        return bool(own) and all(map(self.done, own))

    def levelled_before(self, inlay: Inlay) -> bool:
        """Whether its second cut was run before the work moved: until then it may not even be filled."""
        return any(step.operation.levels is inlay and self.done(step) for step in self.steps)

    @property
    def moved_number(self) -> int | None:
        """The number, among all programs of the blank, of the first step that is run since the work moved; None where
        all of this part were run before."""
        return next((step.number for step in self.steps if not self.done(step)), None)

    def safe_at(self, step: Step | None) -> float:
        """The safe height when a step is run: where work that moved stands higher, by as much more, mm."""
        moved = self.moved_at(step)
        return self.safe_z + (max(float(moved.of_corners(self.stock.bounds)[:, 2].max()), 0.0) if moved else 0.0)

    def on_bed(self, points: Floats, step: Step | None) -> Floats:
        """(n, 3) tips of a step as they stand on the bed: where the work moved, so do they; the safe height only up."""
        points = np.asarray(points, dtype=float).reshape(-1, 3)
        moved = self.moved_at(step)
        if moved is None or step is None:
            return points
        there = moved.there(points, ball=step.cutter.tip_radius)
        higher = points[:, 2] + self.safe_at(step) - self.safe_z
        up = np.where(points[:, 2] >= self.safe_z - 1e-9, higher - there[:, 2], 0.0)
        # on along the work's own upright: a lift that leans out of it rubs against the walls of what it comes out of
        return there + up[:, None] * moved.rotation[:, 2] / moved.rotation[2, 2]

    @property
    def reach(self) -> tuple[float, float]:
        """How far the machine travels along the part and across it, mm; infinite where that is not known."""
        x, y, _ = self.machine.travel or (math.inf, math.inf, math.inf)
        return (x, y) if self.setup.along.endswith("x") else (y, x)

    def to_machine(self, points: Floats, step: Step | None = None) -> Floats:
        """(n, 3) points of the board's frame in the frame of the programs: turned, zeroed, and moved with the work.
        Without a `step` the work lies as it was first clamped."""
        return self._shown(self.on_bed(points, step))

    def wood_now(self, points: Floats) -> Floats:
        """(n, 3) where points of the work itself lie in the frame of the programs, as it lies now. Unlike tips: where
        work tilts, that of a ball end goes aside, as its centre keeps its place over the wood."""
        return self._shown(points if self.moved is None else self.moved.there(points))

    def _shown(self, on_bed: Floats) -> Floats:
        x, y, z = (on_bed - [*self.zero, self.z_zero]).T
        return np.stack([*turned(x, y, self.setup.along), z], axis=1)

    def display(self, places: Floats) -> Floats:
        """(n, 2) what the machine's display shows over (n, 2) places on the blank's top, as the work lies now."""
        return self.wood_now(np.insert(places, 2, self.stock.thickness, axis=1))[:, :2]

    def where(self, named: Sequence[Named]) -> str:
        """Names and where they are on the machine's display now: ``mark 1 at X 5 mm, Y 3 mm; mark 2 at ..``."""
        there = zip(named, self.display(np.array([one.at for one in named])).tolist(), strict=True)
        return "; ".join(f"{one.name} at {axes_words(x, y, self.units)}" for one, (x, y) in there)

    def to_board(self, points: Floats, step: Step | None = None) -> Floats:
        """The inverse of `to_machine`."""
        x, y, z = np.asarray(points, dtype=float).reshape(-1, 3).T
        bed = np.stack([*turned(x, y, _BACK[self.setup.along]), z], axis=1) + [*self.zero, self.z_zero]
        moved = self.moved_at(step)
        if moved is None or step is None:
            return bed
        board = moved.back(bed, ball=step.cutter.tip_radius)
        safe = self.safe_at(step)
        board[:, 2] = np.where(bed[:, 2] >= safe - 2e-4, bed[:, 2] - safe + self.safe_z, board[:, 2])
        return board

    @property
    def zero_place(self) -> Place:
        """The place of X 0, Y 0 of the programs. Raises JobError for one that the part does not have."""
        if self.shared is not None:
            return self.shared.zero
        places = self.board.places(self.stock)
        zero = next(iter(places)) if self.setup.zero is None else self.setup.zero
        if zero not in places:
            raise JobError("[setup] zero", f'"{zero}" is nowhere on the {self.board.names.part}',
                           allowed=", ".join(places), remedy="name a place that it has, or one on the blank")
        return places[zero]

    @property
    def zero(self) -> tuple[float, float]:
        """Where in the board's frame X 0, Y 0 of the programs is, mm."""
        return self.zero_place.at

    @property
    def z_zero(self) -> float:
        """Height above the underside where the programs' Z is 0, mm."""
        return self.stock.thickness if self.setup.z_zero == "stock-top" else 0.0


_BACK = {"x": "x", "y": "-y", "-x": "-x", "-y": "y"}  # the quarter turns that undo each other


def turned(x: V, y: V, along: str) -> tuple[V, V]:
    """A frame's places in one in which its X runs along an axis: exact, and a place unknown in X may be known in Y."""
    return {"x": (x, y), "y": (-y, x), "-x": (-x, -y), "-y": (y, -x)}[along]


def slug(name: str, default: str) -> str:
    """A name as part of a file's: small letters and digits, joined by hyphens; the default where it has none. A point
    that begins a number is told: ``flat-0-5`` for ``flat .5``, not the name of one ten times as wide."""
    whole = re.sub(r"(?<![0-9])[.,](?=[0-9])", "0.", base_letters(name).lower())
    return re.sub(r"[^a-z0-9]+", "-", whole).strip("-") or default


def numbered(steps: Iterable[Step]) -> tuple[Step, ...]:
    """The steps with their order and file names."""
    made = []
    for order, step in enumerate(steps, 1):
        about = step.mark or (str(step.inlay + 1) if step.inlay is not None else "")
        name = f"{order:02d}-{step.operation.in_files}{about and f'-{about}'}-{slug(step.cutter.name, 'cutter')}.nc"
        made.append(replace(step, order=order, file_name=name))
    return tuple(made)
