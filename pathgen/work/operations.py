"""What each operation is: a frozen value that holds its feature, and states its facts and its words.

It neither plans nor checks itself: `pathgen.programs.paths` and `pathgen.verify.comparing` have a table each, by type.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar, Generic, Self, TypeVar

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.surface import Surface
from pathgen.base.units import axes_words, coarse_length, format_length
from pathgen.work.features import Cutouts, Engraving, Holes, Inlay, Marks, Named, OutlineCut, Pieces, Slots, Surfacing
from pathgen.work.fill import LEAST_LEFT, PAST, SMEAR, left_by_edge
from pathgen.work.fill_words import STAY, before_second_cut, to_fill, to_measure

if TYPE_CHECKING:
    from pathgen.work.clamping import Clamping

F = TypeVar("F")
N = TypeVar("N", bound=Marks | Holes | Cutouts)
MARGIN = 1.5
"""Surfacing opens so much more round the part than its finishing cutter's half-width at the top of the blank, mm."""
RUN_OUT = 0.5
"""How far past the part's edges a cutter's axis runs out of a slot that is cut through them, mm."""
LAYER = 0.8
"""Of a stepdown: how deep layers through what stands over a surface go: ridges between their passes count in it."""
EVEN = {"mm": 0.1, "in": 0.127}
"""An edge that is so nearly level is drilled deep enough for dots, by units, mm; common practice, no source."""


def _in_depth(what: str, where: str) -> tuple[str, str]:
    return f"{what} deeper, and the wood {where} thinner", f"{what} less deep, and the wood {where} thicker"


@dataclass(frozen=True, eq=False)
class Operation(ABC, Generic[F]):
    """What one program does. Lengths in mm, heights above the underside of the work."""

    feature: F
    name: ClassVar[str]
    """In report.json and headers."""
    hold: ClassVar[str] = "Hold the blank flat and firmly"
    """How the work is held before the first program."""
    spins: ClassVar[bool] = True
    """Whether the spindle turns."""
    keeps_cutter: ClassVar[bool] = True
    """Whether its cutter is still in the spindle when the next program starts."""
    clears_wood: ClassVar[bool] = False
    """Whether it clears wood side by side and layer by layer."""
    makes_surface: ClassVar[bool] = False
    """Whether its passes lie over the part's surface."""
    finishes: ClassVar[bool] = False
    """Whether its last passes are the finished surface."""
    as_wide_as_deep: ClassVar[bool] = False
    """Whether what a v cutter opens is as wide as its tip is deep."""
    off: ClassVar[tuple[str, str]] = ("it cuts deeper", "it cuts less deep")
    """What comes out wrong where its cutter runs lower, and where it runs higher, where that hangs on nothing else."""
    instead: ClassVar[str] = "another cutter or stepdown"
    """What of the job may be tried differently where its program does not come out as it should."""

    def works_hard(self, cutter: Cutter) -> bool:
        """Whether it clears wood with that cutter, so that what a tooth takes is worth measuring."""
        return self.clears_wood

    @property
    def table(self) -> str:
        """The table of the job that asks for it; empty where that is no single one, or its name says it."""
        return ""

    @property
    def in_files(self) -> str:
        """What it is called in the names of files."""
        return self.name

    @property
    def inlay(self) -> Inlay | None:
        """The inlay that it works on."""
        return None

    @property
    def opens(self) -> Inlay | None:
        """The inlay whose pocket it cuts; fill is poured after the last of them."""
        return None

    @property
    def levels(self) -> Inlay | None:
        """The inlay whose fill it cuts level."""
        return None

    @property
    def bottom(self) -> float:
        """The lowest that it may go."""
        return 0.0

    @property
    def depth(self) -> float | None:
        """Its depth below the finished surface, where it has one."""
        return None

    def deepest(self, surface: Surface) -> float | None:
        """How deep it goes below the finished surface where that is most, where it has a depth."""
        return self.depth

    @property
    def named(self) -> tuple[Named, ...]:
        """The places that it cuts or stops at, where they have names."""
        return ()

    def clears_deep(self, top: float, low: float) -> float:
        """How deep it clears wood from `top` down in all its layers, 0 where none; `low` is the part's rim."""
        return self.depth or 0.0

    def at_once(self, cutter: Cutter) -> float:
        """How deep one cut may go into what stands there."""
        return cutter.stepdown

    def bite(self, cutter: Cutter) -> float | None:
        """How deep its cutter mostly stands in, which decides the diameter it cuts at; None for the whole of it."""
        return min(cutter.stepdown, self.inlay.depth) if self.inlay is not None else cutter.stepdown

    def deeper_outside(self, cutter: Cutter) -> float:
        """How much deeper one cut may go outside the part, where it runs out into a blank that stands higher."""
        return 0.0

    def over_ridges(self, cutter: Cutter, ridge: float) -> float:
        """How much deeper one cut may go where ridges so high stand from the passes before: a flat end's layers begin
        on high ones, and low ones are within what any cut may be off by."""
        return 0.0 if cutter.is_flat else ridge

    @abstractmethod
    def clears(self, part: BaseGeometry, cutter: Cutter, proud: float) -> BaseGeometry | None:
        """What it opens outside the part, in plan; None where only its path tells. `proud` is how far the blank stands
        above the lowest place of the part's rim."""

    def leaves_open(self, clear: float) -> BaseGeometry | None:
        """Where the finished surface is open when all is done, and `clear` around it; None where it is whole."""
        return None

    @property
    @abstractmethod
    def purpose(self) -> str:
        """What it does, in one line."""

    def surfaced_as(self, surfacing: Surfacing) -> Self:
        """The same with the surface cut as fine as `surfacing` says, where that is its business."""
        return self

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        """What comes out wrong where its cutter runs lower, and where it runs higher, than its program says."""
        return self.off

    def before(self, work: Clamping) -> list[str]:
        """What to do before its cutter is fitted."""
        return []

    def at_start(self, work: Clamping) -> list[str]:
        """What to know before pressing start."""
        return []

    def afterwards(self, work: Clamping) -> list[str]:
        """What to do when its program has ended."""
        return []

    def cautions(self) -> list[str]:
        """Its own cautions, beside those of every cut."""
        return []


class _Surface(Operation[Surfacing]):
    """Over the part's whole surface."""

    makes_surface = True
    instead = "another [surface] finish cutter, scallop or allowance"

    @property
    def table(self) -> str:
        return self.feature.table

    def surfaced_as(self, surfacing: Surfacing) -> Self:
        return replace(self, feature=surfacing)  # type: ignore[arg-type]


class _Within(Operation[F]):
    """What opens nothing outside the part, or only what nobody else looks for there: marks stand in the waste."""

    def clears(self, part: BaseGeometry, cutter: Cutter, proud: float) -> BaseGeometry:
        return shapely.Polygon()


class _Named(_Within[N]):
    """What cuts or stops at places that have names."""

    @property
    def named(self) -> tuple[Named, ...]:
        return self.feature.named


class _Finishing(Operation[F]):
    """What leaves the finished surface behind."""

    makes_surface = finishes = True

    def clears(self, part: BaseGeometry, cutter: Cutter, proud: float) -> BaseGeometry:
        return overlay.buffer(part, float(cutter.half_width(proud)) + MARGIN, join_style="mitre")


class SurfaceRough(_Surface):
    """Most of the wood over the surface, in level passes."""

    name = "surface-rough"
    clears_wood = True
    off = "less is left for the finish", "more is left for the finish"

    @property
    def purpose(self) -> str:
        return f"rough the {self.feature.what}"

    def clears_deep(self, top: float, low: float) -> float:
        return top - low

    def clears(self, part: BaseGeometry, cutter: Cutter, proud: float) -> None:
        """Along a tapering edge its passes leave stairs of waste."""


class SurfaceFinish(_Surface, _Finishing[Surfacing]):
    """The surface itself."""

    name = "surface-finish"

    @property
    def purpose(self) -> str:
        what = self.feature.what
        return f"cut the {what} a little proud" if self.feature.leave else f"finish the {what}"

    def bite(self, cutter: Cutter) -> float | None:
        return self.feature.allowance or None

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        if self.feature.leave:
            return "less is left for the last cut", "more is left for the last cut"
        if self.feature.skim:
            return "less is left for the second cut", "more is left for the second cut"
        return (f"the {self.feature.part} is thinner everywhere, and what is cut later less deep",
                f"the {self.feature.part} is thicker everywhere, and what is cut later deeper")


@dataclass(frozen=True, eq=False)
class Pocket(_Within[Inlay]):
    """An inlay's pocket, by one of its cutters: the `nth` of `count`, counted from 0."""

    nth: int = 0
    count: int = 1
    name = "pocket"
    as_wide_as_deep = True
    instead = "another cutter, depth or place for the inlay"
    clears_wood = True

    @property
    def inlay(self) -> Inlay:
        return self.feature

    opens = inlay

    @property
    def depth(self) -> float:
        return self.feature.depth

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        wider = f", its edges are {1 / cutter.wall_slope:.2f} times that further out" if cutter.angle else ""
        closer = f", its edges are {1 / cutter.wall_slope:.2f} times that further in" if cutter.angle else ""
        return (f"the pocket is deeper{wider}, and the wood under it thinner",
                f"the pocket is less deep{closer}, and the wood under it thicker")

    @property
    def purpose(self) -> str:
        return f"pocket {self.feature.name}"

    def leaves_open(self, clear: float) -> BaseGeometry | None:
        return overlay.buffer(self.feature.area, clear) if self.feature.fill == "none" else None

    def before(self, work: Clamping) -> list[str]:
        return [] if self.nth else [STAY]

    def afterwards(self, work: Clamping) -> list[str]:
        if self.nth + 1 < self.count or self.feature.fill == "none":
            return []
        return to_fill(self.feature, work)


@dataclass(frozen=True, eq=False)
class CutAgain(_Finishing[Inlay]):
    """The surface cut again, level with the fill of an inlay."""

    surfacing: Surfacing
    final: bool = True
    """Whether no other cut over a fill comes after it."""
    first: bool = True
    """Whether none came before it."""
    passing: bool = False
    """Whether a later one goes over all that it could go over beside its inlay."""
    name = "resurface"
    in_files = "second-cut"
    instead = "another [resurface] area or stepdown, or overfill for the inlay"

    @property
    def inlay(self) -> Inlay:
        return self.feature

    levels = inlay

    @property
    def takes_all(self) -> bool:
        """Whether it takes off all over what the first cut left."""
        return self.final and self.surfacing.leave > 0

    @property
    def lowers(self) -> float:
        """How far it takes wood and fill down together, mm; 0 where it cuts down to the wood beside the fill."""
        return self.surfacing.leave if self.takes_all else self.surfacing.skim if self.first else 0.0

    @property
    def near(self) -> float:
        """How far round the inlay its layers go through the fill, mm, beside all that is inside its dam."""
        return self.surfacing.blend if self.goes_round and not self.passing else max(self.surfacing.blend, SMEAR)

    @property
    def goes_round(self) -> bool:
        """Whether it goes over the inlay and round it alone."""
        return not self.takes_all and (self.passing or self.surfacing.resurface_area == "inlay"
                                       or self.surfacing.leave > 0)

    def surfaced_as(self, surfacing: Surfacing) -> Self:
        return replace(self, surfacing=surfacing)

    def bite(self, cutter: Cutter) -> float:
        return self.at_once(cutter)

    def at_once(self, cutter: Cutter) -> float:
        return min(cutter.stepdown, self.surfacing.resurface_stepdown)

    def deeper_outside(self, cutter: Cutter) -> float:
        """The limit is meant for fill: wood may be cut as deep as the cutter stands."""
        return max(0.0, cutter.stepdown - self.at_once(cutter))

    def over_ridges(self, cutter: Cutter, ridge: float) -> float:
        """None: its layers count them in. But above ridges that are to stay, the last of these ends, and what is left
        of the fill between them is taken at once."""
        if self.lowers or self.surfacing.leave:
            return 0.0
        return max(0.0, self.surfacing.scallop - LAYER * self.at_once(cutter))

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        over_again = not self.final and self.surfacing.resurface_area == "board"  # the last takes off what it left
        until, part = "until the last second cut " if over_again else "", self.surfacing.part
        proud = f"{until}{self.feature.filled_with[1]} proud of the wood"
        thinner = f"the whole {part} is thinner, and all that is cut into it less deep"
        if self.lowers:
            return thinner, f"{until}the whole {part} is thicker, and what is cut " + (
                "before it deeper" if until else "later deeper")
        if self.surfacing.leave:
            return "less is left there for the last cut", "more is left there for the last cut"
        return "the wood round the inlay is left with a step down" if self.goes_round else thinner, proud

    @property
    def purpose(self) -> str:
        name, part, filled = self.feature.name, self.surfacing.part, self.feature.filled_with[0]
        if self.takes_all:
            return f"second cut over the {part}, to its final height, wood and {filled} of {name} together"
        over = f"over {name} alone" if self.goes_round else f"over the {part}, level with the {filled} of {name}"
        return f"second cut {over}"

    def before(self, work: Clamping) -> list[str]:
        return before_second_cut(self.feature, work, self.near)

    def afterwards(self, work: Clamping) -> list[str]:
        if not self.goes_round or left_by_edge(self.feature, work.board.outline).area < LEAST_LEFT:
            return []
        past = format_length(PAST, work.units)
        return [f"Fill that lies more than {past} outside the {self.surfacing.part}'s edge still stands: scrape it off "
                "the waste now, down to the wood, before the next cutter meets it."]


class WitnessMarks(_Named[Marks]):
    """Small holes in the waste, to find the work again by."""

    name = "witness-marks"
    table = "[marks]"
    instead = "another [marks] cutter, or places of your own in at"
    purpose = "drill witness marks in the waste"
    keeps_cutter = False  # they are measured with a pointed one

    def afterwards(self, work: Clamping) -> list[str]:
        places = work.where(self.named)
        if self.feature.tops is not None:
            return [f"The marks are {places}."]
        return [f"It has drilled {places}. Measure X, Y and Z of each now, while the blank lies as it was clamped, "
                f"and write them into {work.whose_job}, as {work.drilled_key}: the line is under How to measure the "
                "marks. What is measured later is compared with it, and later builds leave the marks there."]

    def before(self, work: Clamping) -> list[str]:
        drilled = "The job says that these marks are drilled already. If so, do not run this program again."
        return [drilled] if self.feature.tops is not None else []


@dataclass(frozen=True, eq=False)
class Hover(_Named[Marks]):
    """A look at the marks before an inlay's fill is cut level."""

    over: Inlay
    name = "hover"
    instead = "places of your own in [marks] at"
    off = "it stops nearer to the marks", "it stops further above the marks"
    spins = False

    @property
    def inlay(self) -> Inlay:
        return self.over

    @property
    def purpose(self) -> str:
        return f"look over the witness marks, spindle off, before the second cut of {self.over.name}"

    def before(self, work: Clamping) -> list[str]:
        return to_measure(self.over, work)

    def at_start(self, work: Clamping) -> list[str]:
        hover, off = (format_length(v, work.units) for v in (self.feature.hover, self.feature.errors_limit))
        return [
            f"Leave the spindle off. The program stops {hover} above each mark; look, best through a loupe, then press "
            f"start to go on. Stop if the tip is more than {off} off the middle of a mark, and measure all of them: "
            f"write where they are into {work.whose_job}, as measured marks.",
            f"It stops, in this order, over {work.where(self.named)}."
        ]

    def cautions(self) -> list[str]:
        return ["The cutter is sharp even when it stands still; keep a hand on the stop."]


class _Bored(_Within[Holes]):
    """What is drilled, or gone round, at some places."""

    def works_hard(self, cutter: Cutter) -> bool:
        """It goes round in holes that are wider than the cutter."""
        return not self.feature.drilled_by(cutter)

    def leaves_open(self, clear: float) -> BaseGeometry:
        return overlay.buffer(shapely.multipoints(self.feature.at), self.feature.diameter / 2 + clear)


class _Holes(_Bored, _Named[Holes]):
    """Holes with names, into the blank or through it."""

    @property
    def bottom(self) -> float:
        return self.feature.bottom


class DowelHoles(_Holes):
    """Round holes outside the part."""

    name = "holes"
    table = "[holes]"
    instead = "another [holes] cutter or diameter"
    purpose = "cut the holes outside the part"

    def clears(self, part: BaseGeometry, cutter: Cutter, proud: float) -> BaseGeometry:
        return self.leaves_open(0.0)

    def at_start(self, work: Clamping) -> list[str]:
        return [f"It cuts {work.where(self.named)}."]


class RoundHoles(_Holes):
    """Round holes in the part, hardly wider than their cutter."""

    name = "round-holes"
    table = "[[hole]]"
    instead = "another [[hole]] cutter"

    @property
    def in_files(self) -> str:
        return self.feature.in_files

    @property
    def purpose(self) -> str:
        return f"{'sink' if self.bottom > 0 else 'cut'} {self.feature.what}"

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        return _bored_off_in_z(self.bottom)


class CutOut(_Named[Cutouts]):
    """Wide holes, slots and drawn openings, with all the wood in them taken: no piece comes loose."""

    name = "openings"
    instead = "another cutter for the holes or openings"
    clears_wood = True

    @property
    def in_files(self) -> str:
        return self.feature.in_files or self.name

    @property
    def purpose(self) -> str:
        return f"clear {self.feature.what}"

    @property
    def bottom(self) -> float:
        return self.feature.bottom

    def clears_deep(self, top: float, low: float) -> float:
        return self.feature.depth

    def leaves_open(self, clear: float) -> BaseGeometry:
        return overlay.buffer(self.feature.shapes, clear)

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        return _bored_off_in_z(self.bottom)


class Channel(CutOut):
    """A channel in the back of the part, a board's for the truss rod, cut before the blank is turned over."""

    name = "channel"
    table = "[channel]"
    instead = "another [channel] cutter"

    def clears(self, part: BaseGeometry, cutter: Cutter, proud: float) -> BaseGeometry:
        """It may run out through an end of the part."""
        return overlay.difference(self.feature.shapes, part)

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        return _in_depth("the channel is", "over it")

    def afterwards(self, work: Clamping) -> list[str]:
        deep = format_length(self.feature.depth, work.units)
        lay = f"Lay {self.feature.takes} in: it" if self.feature.takes else "What is to lie in it"
        return [f"Measure the channel: it must be {deep} deep. {lay} must not stand proud.",
                "The programs of the top come next. Leave the spoilboard, X 0 and Y 0 as they are."]


def _bored_off_in_z(bottom: float) -> tuple[str, str]:
    if bottom > 0:
        return "the holes are deeper, and the wood under them thinner", "the holes are less deep"
    return "the bed is cut deeper", "a skin may be left at the bottom"


@dataclass(frozen=True, eq=False)
class SideDots(_Bored):
    """Holes for dots in the bass edge of a finished board that stands upright, that edge up and level."""

    under: tuple[float, float] = (0.0, 0.0)
    """How far the treble edge lies under it then at the nut line and at the board's end, mm: by the taper."""
    toward: int = 1
    """Where the board's top looks with the edge along X: toward + Y, or - Y."""
    along: str = "x"
    """The machine axis that the edge lies along."""
    name = "side-dots"
    table = "[side_dots]"
    purpose = "drill the holes for the side dots"
    hold = ""  # as said before

    def before(self, work: Clamping) -> list[str]:
        edge, other = ("X", "Y") if self.along == "x" else ("Y", "X")
        under = "-" if (self.toward > 0) == (self.along == "x") else "+"
        return [
            f"Put the board between two straight pieces of wood in a vice, nut end toward - {edge}, its underside "
            f"toward {under} {other} and along {edge}; the bass edge stands level and a little above everything that "
            "holds it. Check with a square that its underside stands upright.", *self._packed(work.units)
        ]

    def _packed(self, units: str) -> list[str]:
        """How the treble edge lies under a level bass edge; nothing where it is as good as level too."""
        nut, end = self.under
        lift = abs(end - nut)
        if lift < EVEN[units]:
            return []
        at_nut, at_end, high = (coarse_length(v, units) for v in (nut, end, lift))
        wide, narrow = ("board's end", "nut face") if end > nut else ("nut face", "board's end")
        return ["With the bass edge level the treble edge slopes by the taper: it lies "
                f"{at_nut} under the bass edge at the nut face, {at_end} at the board's end. Let it rest at the "
                f"{wide}, with a block or wedge {high} "
                f"high under it at the {narrow}; or hold it in the vice alone, clear of all below."]

    def at_start(self, work: Clamping) -> list[str]:
        along = self.feature.at[np.argsort(self.feature.at[:, 0])][[0, -1]]
        first, last = (axes_words(x, y, work.units) for x, y in work.display(along).tolist())
        if first == last:
            return []
        return [f"Check that the bass edge is level, with the spindle off: lower the cutter on a feeler over the first "
                f"and the last hole, at {first} and at {last}. The display must show the same Z at both, within "
                f"{format_length(EVEN[work.units], work.units)}; if it does not, lift the lower end and set Z 0 again."]

    def cautions(self) -> list[str]:
        return ["A board on its edge tips easily: hold it over its whole length, and keep hands off while it drills."]


class Slot(Operation[Slots]):
    """Slots along lines across the part."""

    name = "slots"
    table = "[slots]"
    instead = "another [slots] entry, depth or cutter"
    off = _in_depth("the slots are", "under them")

    @property
    def purpose(self) -> str:
        return f"cut the {self.feature.words}"

    @property
    def depth(self) -> float:
        return self.feature.depth

    def deepest(self, surface: Surface) -> float:
        return float(self.feature.deepest(surface).max(initial=self.depth))

    def at_start(self, work: Clamping) -> list[str]:
        return self._measured(f"The {self.feature.words} come", work)

    def _measured(self, said: str, work: Clamping) -> list[str]:
        """How wide it comes out, and to measure the cutter that this depends on."""
        wide = format_length(self.feature.width, work.units)
        return [f"{said} out {wide} wide, by {self.table} width or the cutter's diameter in the job. Measure the "
                "cutter: a thinner one cuts narrower."]

    def clears(self, part: BaseGeometry, cutter: Cutter, proud: float) -> BaseGeometry:
        lines = shapely.linestrings(self.feature.lines)
        return overlay.union_all(overlay.buffer(lines, cutter.diameter + self.feature.width + RUN_OUT))

    def leaves_open(self, clear: float) -> BaseGeometry:
        """As far as the cutters run out, too: where an edge is met at a slant that is beside it, on the part."""
        half = self.feature.width / 2 + self.feature.bevel
        lines = shapely.linestrings(self.feature.run_out(half + RUN_OUT))
        return overlay.union_all(overlay.buffer(lines, half + clear, cap_style="square"))


class NutSlot(Slot):
    """The slot of the nut, or its shelf."""

    name = "nut-slot"
    table = "[nut]"
    instead = "another [nut] entry, depth or cutter"

    @property
    def _called(self) -> str:
        return "slot" if self.feature.on_part is None else "shelf"

    @property
    def in_files(self) -> str:
        return f"nut-{self._called}"

    @property
    def purpose(self) -> str:
        return f"cut the {self._called} for the nut"

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        return _in_depth(f"the {self._called} is", "under it")

    def works_hard(self, cutter: Cutter) -> bool:
        """Its cutter is one for pockets, and eased over its whole width; those of other slots have a feed for slots."""
        return True

    def at_start(self, work: Clamping) -> list[str]:
        left = self.feature.on_part
        if left is None:
            return self._measured("The slot comes", work)
        past = format_length(self.feature.width - left, work.units)
        return [f"The shelf for the nut is {format_length(left, work.units)} wide on the finished board, from the "
                f"nut's front to the board's end; the cutter runs {past} past that end, in what is waste. Measure the "
                "cutter: a thinner one cuts narrower."]


class Bevel(_Within[Slots]):
    """Bevels along the edges of the slots."""

    name = "bevel"
    table = "[slots]"
    as_wide_as_deep = True
    instead = "another [slots] bevel, or none"
    off = "the bevels are deeper", "the bevels are less deep"

    @property
    def purpose(self) -> str:
        return f"bevel the edges of the {self.feature.words}"


class Engrave(_Within[Engraving]):
    """A label."""

    name = "engrave"
    purpose = "engrave the marks"
    as_wide_as_deep = True

    def leaves_open(self, clear: float) -> BaseGeometry:
        return overlay.union_all(overlay.buffer([shapely.linestrings(s) for s in self.feature.strokes], clear))


@dataclass(frozen=True, eq=False)
class Outline(Operation[OutlineCut]):
    """The part cut free."""

    saw: str = "Cut the tabs with a fine saw and trim them flush."
    """What to do with its tabs when it is cut."""
    then: tuple[str, ...] = ()
    """What to know and do once it is free."""
    name = "outline"
    instead = "another [outline] cutter, number of tabs or finish"
    clears_wood = True

    @property
    def table(self) -> str:
        return self.feature.where

    @property
    def bottom(self) -> float:
        return self.feature.bottom

    def clears_deep(self, top: float, low: float) -> float:
        return top - self.bottom

    def clears(self, part: BaseGeometry, cutter: Cutter, proud: float) -> BaseGeometry:
        return overlay.buffer(part, cutter.diameter + MARGIN, join_style="mitre")

    def off_in_z(self, cutter: Cutter) -> tuple[str, str]:
        if self.bottom > 0:
            return "the skin is thinner", "the skin is thicker"
        if not self.feature.tabs:
            return "the bed is cut deeper", "a skin may be left at the bottom"
        return "tabs are thinner and the bed is cut deeper", "tabs are thicker and wood is left between them"

    @property
    def purpose(self) -> str:
        tabs = {0: "right through, without tabs", 1: "leaving one tab"}.get(self.feature.tabs, "leaving tabs")
        return f"cut the outline, {'leaving a skin' if self.feature.skin else tabs}"

    def afterwards(self, work: Clamping) -> list[str]:
        if self.feature.skin:
            freed = "Take the work up, cut through the skin with a knife or a fine saw, and trim the edge."
        elif not self.feature.tabs:
            freed = "The part is free: only what the blank is stuck down with holds it. Ease it up without bending it."
        else:
            freed = self.saw
        return [freed, *self.then]

    def cautions(self) -> list[str]:
        if self.feature.skin:
            return ["In the end a thin skin alone joins the part to its waste: it, and what holds the blank, must keep "
                    "the part still."]
        held = "tabs, and what holds the blank,"
        if self.feature.tabs < 2:
            tab = "one tab and " if self.feature.tabs else ""
            held = f"{tab}what sticks the blank down over its whole face"
        return [f"The part comes free in this program: {held} must keep it still."]


class CutPieces(_Within[Pieces]):
    """Pieces to be let in, cut out of a flat sheet that is stuck down."""

    name = "piece"
    hold = "Clamp the spare board, not the stock"

    @property
    def purpose(self) -> str:
        count = shapely.get_num_geometries(self.feature.shapes)
        return f"cut out {count} piece{'s' if count > 1 else ''}"

    def before(self, work: Clamping) -> list[str]:
        back, sizes = self.feature.from_back, (*self.feature.size, work.surface.thickness, self.feature.gap)
        length, width, thick, gap = (format_length(v, work.units) for v in sizes)
        side = "its show face down: the pieces are cut mirrored, from the back" if back else "its show face up"
        return [
            f"Take stock of {length} along X by {width} along Y or larger, {thick} thick: measure it. The pieces come "
            f"out {gap} smaller all round than the pocket.",
            "Stick the stock down flat over its whole face with double-sided tape, on a spare board that may be cut "
            f"into, {side}. Nothing else holds a piece once it is cut round.",
        ]

    def at_start(self, work: Clamping) -> list[str]:
        return ["Z 0 is the underside of the stock, on the tape: you may touch off on its top instead, and set the "
                "display there to the thickness that you measured."]

    def afterwards(self, work: Clamping) -> list[str]:
        return ["Warm the tape or soak it with its solvent, and lift the pieces off flat: thin ones break. Try each "
                "dry in its pocket before there is glue on it."]

    @property
    def bottom(self) -> float:
        return -self.feature.through

    def cautions(self) -> list[str]:
        return ["The pieces come free in this program: a piece that lifts is thrown. Stop if the tape lets go.",
                "The dust of shell and bone is harmful: extract it at the cutter, and wear a mask that fits."]


def every_operation(kind: type[Operation[Any]] = Operation) -> set[type[Operation[Any]]]:
    """Every kind of operation there is."""
    return {each for sub in kind.__subclasses__() for each in (sub, *every_operation(sub)) if hasattr(each, "name")}
