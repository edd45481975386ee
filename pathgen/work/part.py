"""What a part is to those who plan, cut, check and report it; each kind of part is one folder of `pathgen.parts`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.surface import Surface

if TYPE_CHECKING:
    from pathgen.work.clamping import Clamping, Stock


@dataclass(frozen=True, kw_only=True)
class Names:
    """What a maker calls a part, its ends and its sides."""

    part: str
    near: str = "near end"
    far: str = "far end"
    start: str
    """What the blank stands out before."""
    sides: tuple[str, str] | None = None
    """Its sides, toward - y and toward + y; None where they have no names."""
    along: str = "length of the blank runs"
    """What runs along the machine axis of the set-up, with its verb."""
    laid: tuple[str, ...] = ()
    """How its blank is laid on the machine before the first program, a line each, where that needs saying."""
    hold: str = ""
    """How its blank is held, where that is its own business and not the first operation's."""
    lies: bool = False
    """Whether its blank lies and is held already, its X 0 and Y 0 set, from another part that was cut from it."""
    blank: str = "a blank"
    """What it is cut from."""
    wooden: bool = True
    """Whether it is of the job's wood, or likely of wood at all, for which feeds are judged."""
    thickness: str = "[stock] thickness"
    """The key of the job file that says how thick it is."""
    measured: bool = True
    """Whether its blank is measured once it lies there: not what is stuck down as it was bought, or was cut before."""
    too: str = ""
    """The key that says it as well where no program surfaces the blank; empty where there is none."""
    again: str = "build again"
    """What to do when that was changed."""
    top: str = "the top of the raw stock"
    """What Z 0 is touched off on before anything is cut, where it is not the bed."""
    long: str = "long"
    """What its extent along X is called."""
    thick: str = "thick"
    """What its extent along Z is called."""
    extent: float | None = None
    """That extent where it is not the part's `length`, mm."""
    on_centre: float | None = None
    """That on its centre-line, mm, where its ends lie aslant."""
    behind: float = 0.0
    """How much of the last of these lies before `start`, mm."""
    joints: tuple[tuple[str, tuple[float, float]], ...] = ()
    """Places where what is glued to the blank already must end, by their names, mm."""
    holds: str = ""
    """What there is on it, counted: ``1 hole``."""

    @property
    def around(self) -> tuple[str, str, str, str]:
        """Where what lies outside it lies, in the order of bounds: toward - x, - y, + x, + y."""
        lower, upper = self.sides or ("lower", "upper")
        return f"before {self.start}", f"on the {lower} side", f"past the {self.far}", f"on the {upper} side"


@dataclass(frozen=True, kw_only=True)
class Place:
    """A place for X 0, Y 0 of the programs, mm, and what it is called."""

    at: tuple[float, float]
    words: str


@dataclass(frozen=True, eq=False, kw_only=True)
class Landmarks:
    """Numbered lines across a part, by which a place on it is known in pictures."""

    number: NDArray[np.int64]
    ends: Floats
    """(n, 2, 2): where each ends, mm."""
    edges: Floats
    """(n, 2, 2): where each would meet the edges of the part, mm."""


NO_LANDMARKS = Landmarks(number=np.empty(0, dtype=int), ends=np.empty((0, 2, 2)), edges=np.empty((0, 2, 2)))


class Part(Protocol):
    """A part in its own frame: X along it, Y across, 0 on its centre-line, Z above its underside. Lengths in mm."""

    @property
    def names(self) -> Names:
        """What it, its ends and its sides are called."""

    @property
    def surface(self) -> Surface:
        """Its top as first cut."""

    @property
    def outline(self) -> Polygon:
        """What is cut free on the machine, in plan."""

    @property
    def openings(self) -> tuple[Polygon, ...]:
        """What goes through it inside its outline: nothing can be let in there."""

    @property
    def finished(self) -> Polygon:
        """Its outline when all is glued on."""

    @property
    def start(self) -> float:
        """X of its near end on the centre-line."""

    @property
    def length(self) -> float:
        """How far it runs along X from there."""

    @property
    def ends(self) -> tuple[Floats, Floats]:
        """(2, 2) corners of its near and of its far end."""

    @property
    def min_web(self) -> float:
        """Least wood to be left under any pocket or slot."""

    @property
    def landmarks(self) -> Landmarks:
        """Lines that pictures of it show."""

    def places(self, stock: Stock) -> Mapping[str, Place]:
        """Where zero may be, on the part or on the blank, by the name that a set-up gives; the usual one first."""

    def rows(self, clamping: Clamping) -> dict[str, Any]:
        """What report.json says of it beside its size: plain values by key."""


def lowest_edge(part: Part) -> float:
    """How high the surface lies over the part's outline where that is lowest, mm."""
    return float(np.nanmin(part.surface.height(*shapely.get_coordinates(part.outline).T)))


def inside(outline: Polygon, shapes: Any) -> Any:
    """How far each of some shapes lies inside an outline, mm; less than 0 outside it."""
    return shapely.distance(outline.exterior, shapes) * np.where(shapely.covers(outline, shapes), 1.0, -1.0)


def wood_in_plan(part: Part) -> BaseGeometry:
    """The outline of a part less its openings."""
    return overlay.difference(part.outline, overlay.union_all(part.openings)) if part.openings else part.outline
