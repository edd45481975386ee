"""What is cut into a part or around it, as values: inlays, slots, holes, strokes, the outline, marks in the waste."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats, Ints
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.base.units import format_length, rounded_down
from pathgen.work.mark_errors import ACCURACY, BOARD_LIMIT, THINNER, MarkErrors, height_influence

Bottom = Literal["curve", "flat"]
"""Of a slot: it follows the surface, or is level."""

Entry = Literal["ramp", "peck"]
"""How the cutter goes down into each layer of a slot."""

AS_WIDE = 0.02
"""A hole at most this much wider than the cutter is drilled straight down, mm."""
LEAST_TAB = 0.1
"""Lowest tab that is one, mm."""
MOST_ALLOWANCE = 5.0
"""The most that a job may have roughing leave, mm."""
SCALED = 20.0
"""Times its drawn size: further is likelier a unit left out (no source)."""


@dataclass(frozen=True, kw_only=True)
class PlacedSize:
    """How large one copy of a drawing became: the box around what is drawn, before it is turned, mm."""

    width: float
    height: float
    share: float | None
    """Of its size as drawn; None where the file gives none."""
    mirrored: bool = False
    layers: tuple[str, ...] = ()
    """Of the drawing, where not all of it counts."""

    @property
    def odd_words(self) -> str:
        """What it became, where that is so far from its size as drawn that it cannot be meant; else nothing."""
        if self.share is None or 1 / SCALED <= self.share <= SCALED:
            return ""
        times = f"{self.share:.0f} times" if self.share > 1 else f"{100 * self.share:.2g} % of"
        return f"placed {format_length(self.width)} by {format_length(self.height)}, {times} its drawn size"


@dataclass(frozen=True, eq=False, kw_only=True)
class Inlay:
    """One artwork to be pocketed and filled, placed on the board."""

    name: str
    regions: tuple[tuple[str, Polygon | MultiPolygon], ...]
    """What is cut, by colour ``"#rrggbb"``, in the board's frame."""
    depth: float
    """Straight down from the surface, mm."""
    fill: str = "resin"
    """``resin``, ``piece`` or ``none``."""
    overfill: float = 1.0
    """How far the cured fill stands above the surface, mm."""
    piece: float | None = None
    """Thickness of the pieces that are let in, mm; None where the job does not say."""
    drawn: tuple[tuple[str, Polygon | MultiPolygon], ...] = ()
    """What the drawing shows, where `regions` was made from it to match the pieces that are let in."""
    least_round: float | None = None
    """How round the wood between pockets that match pieces must be, mm; None where they do not."""
    placed: tuple[PlacedSize, ...] = ()
    """The size of each copy of the drawing."""
    drawings: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """What the job calls each drawing that it is cut from, and the colours that are cut of it."""
    dots: float | None = None
    """Diameter of the dots that its pockets are for, mm; None where it is none of dots."""
    dam: float | None = None
    """How far outside the drawing's hull the dam stands that holds its resin, mm; None where none is poured."""
    pour_depth: float | None = None
    """The deepest that the sheet of its resin allows in one pour, mm; None where it is not given."""
    index: int = 0
    """Which of the clamping's inlays it is, and of the job's where it is the part's own: 0 for the first."""
    like: int | None = None
    """Which of the job's inlays it is filled like, where that is not its own index."""
    area: Polygon | MultiPolygon = field(init=False)
    """All colours together."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "area", in_one(tuple(shape for _, shape in self.regions)))

    @property
    def shown(self) -> tuple[tuple[str, Polygon | MultiPolygon], ...]:
        """What the drawing shows, by colour: not as it was matched to the pieces that are let in."""
        return self.drawn or self.regions

    @property
    def shown_area(self) -> Polygon | MultiPolygon:
        """All that the drawing shows together."""
        return in_one(tuple(shape for _, shape in self.shown))

    @property
    def filled_with(self) -> tuple[str, str]:
        """What its pockets take, and that it stands: ``fill``, or pieces that are let in."""
        return ("pieces", "the pieces stand") if self.fill == "piece" else ("fill", "the fill stands")

    @property
    def colours(self) -> list[str]:
        """Colours in the order of `regions`."""
        return [colour for colour, _ in self.regions]


@lru_cache(maxsize=64)
def in_one(shapes: tuple[Polygon | MultiPolygon, ...]) -> Polygon | MultiPolygon:
    """Colours of one inlay as one pocket, without the cracks that rounding leaves where they meet."""
    return overlay.without_cracks(overlay.union_all(shapes))


def longer(lines: Floats, by: Floats) -> Floats:
    """(..., 2, 2) lines in plan, `by` (..., 2) mm longer at each end; shorter where that is less than nothing."""
    along = lines[..., 1, :] - lines[..., 0, :]
    unit = along / np.linalg.norm(along, axis=-1, keepdims=True)
    return np.asarray(lines + by[..., None] * np.stack([-unit, unit], axis=-2))


@dataclass(frozen=True, eq=False, kw_only=True)
class Slots:
    """Slots along numbered lines across the part, or the one slot of the nut."""

    number: NDArray[np.int64]
    lines: Floats
    """(n, 2, 2): centre-line of each slot in plan, bass end to treble end: to the edges of the cut board, or short of
    them."""
    width: float
    depth: float
    """mm; the depth straight down from the finished surface, on the line."""
    short: float | None = None
    """How far each slot stops short of the edges; None for slots cut through both edges."""
    bottom: Bottom = "curve"
    """Whether the bottom follows the surface, or is level: then `depth` below the lower end of the slot's line, so that
    no place along it is shallower."""
    through: Bools = None  # type: ignore[assignment]
    """(n, 2): whether each slot runs out through the edge at its bass and treble end; where not, it ends round at the
    line's end."""
    bevel: float = 0.0
    """Width in plan of the bevel along each edge of the slot, mm; 0 for none."""
    entry: Entry | None = None
    """How the cutter goes down into each layer; None: by pecks where both ends lie in waste."""
    name: str = ""
    """What a slot is called, where it has no number of its own."""
    counted: str = ""
    """What the numbers count, where that is not the slots themselves: each stands on one of them."""
    on_part: float | None = None
    """How much of the width lies on the part, mm, of a shelf that is cut past its end; None: all of it."""

    def __post_init__(self) -> None:
        if self.through is None:
            object.__setattr__(self, "through", np.full((len(self.lines), 2), self.short is None))

    @property
    def words(self) -> str:
        """What they are called together."""
        return f"{self.counted} slots".lstrip()

    def called(self, which: Ints) -> str:
        """Some of them by name or number: ``the slots of lines 3, 4``."""
        every, more = self.number[which].tolist(), "s" if len(which) > 1 else ""
        if self.name or not self.counted:
            return self.name or f"slot{more} {', '.join(map(str, every))}"
        others = [str(number) for number in every if number]
        zero = [f"the zero {self.counted}"] if len(others) < len(every) else []
        of = zero + ([f"{self.counted}{'s' if len(others) > 1 else ''} {', '.join(others)}"] if others else [])
        return f"the slot{more} of {' and '.join(of)}"

    def run_out(self, by: float) -> Floats:
        """(n, 2, 2) lines, `by` mm longer at each end that runs out through an edge."""
        return longer(self.lines, np.asarray(by * self.through))

    def floors(self, surface: Surface) -> Floats:
        """(n,) height of each flat bottom above the underside, mm."""
        ends: Floats = surface.height(self.lines[..., 0], self.lines[..., 1])
        return np.asarray(ends.min(axis=1) - self.depth)

    def deepest(self, surface: Surface) -> Floats:
        """(n,) deepest place of each slot below `surface`, mm: of a level one under the crown."""
        if self.bottom == "curve":
            return np.full(len(self.lines), self.depth)
        share = np.linspace(0.0, 1.0, 33)[:, None]
        points = self.lines[:, :1] + share * (self.lines[:, 1:] - self.lines[:, :1])
        top = surface.height(points[..., 0], points[..., 1]).max(axis=1)
        return np.asarray(top - self.floors(surface))


@dataclass(frozen=True, kw_only=True)
class Surfacing:
    """How fine the finished surface must be, and how the second cut goes."""

    scallop: float
    """Ridge height allowed between finishing passes, mm; 0 where a flat end finishes a level top."""
    stepover: float | None = None
    """Distance between the passes of a flat end, mm; None for its own share of its diameter."""
    allowance: float = 0.4
    """What roughing leaves on the surface, mm."""
    skim: float = 0.0
    """How far below the first surface the second cut goes, mm."""
    resurface_stepdown: float = 0.5
    """Depth of each pass through what stands proud, mm."""
    resurface_area: Literal["board", "inlay"] = "board"
    """Where the second cut's last pass goes: over the whole board, or only over an inlay, as its layers above do."""
    leave: float = 0.0
    """How far the first surface stands proud of the finished one, until the last second cut, mm."""
    leave_scallop: float = 0.0
    """Ridge height allowed on that first surface, mm."""
    blend: float = 5.0
    """How far round a drawing the second cut takes what stands proud, mm; it takes all inside the dam too."""
    what: str
    """What a maker calls the surface."""
    part: str
    """What a maker calls the part."""
    table: str = "[surface]"
    """Of the job file, where its `scallop` stands."""

    @property
    def entry(self) -> float:
        """The most that stands over finishing passes where they begin, mm."""
        return max(self.allowance, self.leave, self.skim)


class Named(NamedTuple):
    """A place that texts and pictures call by one name: its middle and how wide it is, mm; 0 for a point."""

    name: str
    at: tuple[float, float]
    wide: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Marks:
    """Small holes in the waste, to find the work's place again by."""

    places: Floats
    """(n, 2): centres, mm."""
    depth: float
    """Below the top of the raw stock, mm."""
    hover: float
    """How far above the top of the raw stock the cutter stops over each, mm."""
    tops: Floats | None = None
    """(n,): how high the blank's top lies at each above its underside, mm, as measured once they
    were drilled; None for marks that are not in the wood yet."""
    errors: MarkErrors | None = None
    """What a measuring error at one of them does to a move worked out from all."""
    errors_limit: float = BOARD_LIMIT
    """What is allowed of that, mm."""

    def top(self, thickness: float) -> float:
        """The highest of the blank at them, mm, which is nowhere taken for thinner than its `thickness`."""
        return thickness if self.tops is None else max(thickness, float(self.tops.max()))

    def top_at(self, x: float, y: float, thickness: float) -> float | None:
        """How high the blank's top is at a place by what was measured at the marks, mm; None where that is not known.

        It is where their heights lie in a plane, between them, and the blank is about as thick there as the job says;
        where all are higher than that, it is taken for as high as the lowest.
        """
        if self.tops is None:
            return None
        rows = np.column_stack([self.places - [x, y], np.ones(len(self.places))])
        plane = np.linalg.lstsq(rows, self.tops, rcond=None)[0]
        flat = np.abs(rows @ plane - self.tops).max() <= ACCURACY
        between = height_influence(self.places[None], np.array([[x, y]]))[0] <= 1.0
        if flat and between and plane[2] > thickness - THINNER:
            return float(plane[2])
        low = float(self.tops.min())
        return low if low > thickness else None

    @property
    def named(self) -> tuple[Named, ...]:
        """Mark 1, mark 2 .."""
        return tuple(Named(f"mark {number}", (x, y)) for number, (x, y) in enumerate(self.places.tolist(), 1))


@dataclass(frozen=True, kw_only=True)
class OutlineCut:
    """Cutting the board free: mm."""

    tabs: int = 4
    """How many hold the part."""
    tab_height: float = 1.5
    """Wood left under the cutter at each."""
    tab_width: float = 6.0
    """Wood left along the edge at each."""
    through: float = 0.2
    """How far below the underside the cutter goes, into the spoilboard."""
    skin: float = 0.0
    """Wood left all round above the underside instead of tabs; 0 to cut through."""
    finish: float = 0.2
    """What a last lap at full depth takes off the walls."""
    where: str = "[outline]"
    """What the job calls it."""
    all_round: bool = False
    """Whether tabs may stand on the ends too where the long edges have no room for them."""

    @property
    def bottom(self) -> float:
        """Height of the lowest cut above the underside, mm."""
        return self.skin or -self.through


def tab_height(asked: float | None, edge: float, *, usual: float = OutlineCut.tab_height) -> float:
    """Of tabs, mm: as `asked`; else the `usual` height, or two thirds of a thin `edge` that they stand in."""
    return min(usual, max(rounded_down(2.0 * edge / 3.0), LEAST_TAB)) if asked is None else asked


@dataclass(frozen=True, eq=False, kw_only=True)
class Holes:
    """Round holes, outside the part for dowels or screws that hold or locate the blank, or in it: mm."""

    at: Floats
    """(n, 2) centres."""
    diameter: float
    bottom: float
    """Height above the underside; negative into the spoilboard."""
    numbers: tuple[int, ...] = ()
    """What each is called by; counted from 1 where none are given."""
    what: str = "round holes"
    """What a maker calls them."""
    in_files: str = "holes"
    """What they are called in the name of their program."""

    def drilled_by(self, cutter: Cutter) -> bool:
        """Whether they are at most so much wider than a cutter that it goes straight down in them, not round."""
        return self.diameter - cutter.diameter < AS_WIDE

    @property
    def named(self) -> tuple[Named, ...]:
        """Hole 1, hole 2 .."""
        numbers = self.numbers or range(1, len(self.at) + 1)
        return tuple(Named(f"hole {number}", (x, y), self.diameter)
                     for number, (x, y) in zip(numbers, self.at.tolist(), strict=True))


@dataclass(frozen=True, eq=False, kw_only=True)
class Cutouts:
    """Openings of any shape, cleared to a level floor or through the part: mm."""

    shapes: Polygon | MultiPolygon
    bottom: float
    """Height of the floor above the underside; negative into the spoilboard."""
    depth: float
    """Of the floor below the finished surface."""
    what: str
    """What a maker calls them."""
    named: tuple[Named, ...] = ()
    """Those of its openings that have names."""
    in_files: str = ""
    """What they are called in the name of their program, where they are no openings."""
    takes: str = ""
    """What is laid into them, where that is known."""
    key: str = ""
    """Of the job, that names their cutter; none where another one would not cut the same."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Pieces:
    """Pieces to be cut out of a flat sheet, where they lie in it: mm."""

    shapes: Polygon | MultiPolygon
    through: float
    """How far below the sheet the cutter goes."""
    size: tuple[float, float]
    """Length and width of the sheet."""
    gap: float = 0.0
    """How much smaller they are than their pockets all round."""
    from_back: bool = False
    """Whether they are cut mirrored, the sheet lying face down."""
    colour: str | None = None
    """Of the sheet, as they are drawn."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Engraving:
    """Strokes, (n, 2) each, cut `depth` deep into a level surface: mm."""

    strokes: tuple[Floats, ...]
    depth: float
