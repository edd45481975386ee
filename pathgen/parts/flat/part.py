"""A flat part as a value: its outline, what goes through it and into it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.plain import joined
from pathgen.base.surface import Surface
from pathgen.base.tops import level
from pathgen.parts.boxed import Boxed
from pathgen.work.part import Names, Place, wood_in_plan

if TYPE_CHECKING:
    from pathgen.work.clamping import Clamping, Stock


_SAG = 0.0005  # how far the straight pieces of a round hole may lie inside its circle, mm

PLACES = ("near-centre", "far-centre", "blank-near-centre", "blank-far-centre", "blank-near-lower",
          "blank-near-upper", "blank-far-lower", "blank-far-upper", "blank-centre")
"""Places where X 0, Y 0 of a flat part's programs may be: on the part, or on the blank."""


@dataclass(frozen=True, kw_only=True)
class Bore:
    """One round hole, or a slot with round ends: mm."""

    at: tuple[float, float]
    diameter: float
    length: float
    """From end to end; the diameter for a round hole."""
    turn: float
    """Of its length, degrees counter-clockwise from X."""
    depth: float | None
    """Below the surface; None through the part."""

    @property
    def axis(self) -> BaseGeometry:
        """The line that the middle of a cutter of its width would follow; a point for a round hole."""
        return _axis(self.at, self.diameter, self.length, self.turn)

    @cached_property
    def shape(self) -> Polygon:
        """What it opens, in plan."""
        return rounded(self.at, self.diameter, length=self.length, turn=self.turn)


@dataclass(frozen=True, kw_only=True)
class FormFacts:
    """What a template or a half of a form is beside its shape, mm."""

    half: str
    """``inside`` or ``outside`` the line."""
    gap: float
    layers: int
    moved: tuple[float, float]
    """How far it lies from its place in the drawing's frame."""
    wall: float | None
    """The least between its line and its edge; None where no place of the line looks at an edge."""


@dataclass(frozen=True, eq=False, kw_only=True)
class FlatPart(Boxed):
    """A flat part, in its own frame, mm: X 0 is where its job says, Y 0 the middle of its blank."""

    outline: Polygon
    thickness: float
    """When finished."""
    min_web: float
    """Least wood to be left under any pocket or hole."""
    bores: tuple[Bore, ...] = ()
    """Round holes and slots, through it or not, counterbores among them."""
    drawn: tuple[Polygon, ...] = ()
    """Openings from a drawing, all through it."""
    form: FormFacts | None = None
    """What is more to say of a template or form."""

    @property
    def names(self) -> Names:
        """A plate or form with so many holes."""
        what = "form" if self.form else "plate"
        holes = len(self.openings) - len(self.drawn)
        counts = [f"{count} {word}{'s' * (count > 1)}"
                  for count, word in ((holes, "hole"), (len(self.drawn), "opening")) if count]
        holds = f"{joined(counts)} through it" if counts else ""
        return Names(part=what, start=f"the {what}'s near end", along=f"length of the {what} runs", holds=holds,
                     too="" if self.form else "[plate] thickness")

    @cached_property
    def surface(self) -> Surface:
        """A flat top."""
        return level(self.thickness, self.length)

    @property
    def openings(self) -> tuple[Polygon, ...]:
        """Through holes, and drawn openings."""
        return (*(bore.shape for bore in self.bores if bore.depth is None), *self.drawn)

    def places(self, stock: Stock) -> dict[str, Place]:
        """The keys are PLACES."""
        x0, y0, x1, y1 = stock.bounds
        what = self.names.part
        far = self.start + self.length
        return dict(zip(PLACES, (
            Place(at=(self.start, 0.0), words=f"the {what}'s near end, the left one in the picture from above, in the "
                                              "middle of the blank's width"),
            Place(at=(far, 0.0), words=f"the {what}'s far end, in the middle of the blank's width"),
            Place(at=(x0, 0.0), words="the middle of the blank's near end"),
            Place(at=(x1, 0.0), words="the middle of the blank's far end"),
            Place(at=(x0, y0), words="the blank's near corner, the lower one in the picture from above"),
            Place(at=(x0, y1), words="the blank's near corner, the upper one in the picture from above"),
            Place(at=(x1, y0), words="the blank's far corner, the lower one in the picture from above"),
            Place(at=(x1, y1), words="the blank's far corner, the upper one in the picture from above"),
            Place(at=((x0 + x1) / 2, 0.0), words="the centre of the blank"),
        ), strict=True))

    def rows(self, clamping: Clamping) -> dict[str, Any]:
        """Keys plate, holes, and form where it is one."""
        wood, numbers = wood_in_plan(self), numbered(self.bores)
        shown = clamping.to_machine(np.array([[*bore.at, 0.0] for bore in self.bores]))
        return {
            "plate": {"outline_area": round(self.outline.area, 3), "top_area": round(wood.area, 3)},
            "holes": [
                {"number": numbers[bore.at], "at": [round(v, 4) for v in bore.at],
                 "display": [round(v, 4) + 0.0 for v in place[:2].tolist()], "diameter": bore.diameter,
                 "length": bore.length, "turn": bore.turn + 0.0, "depth": bore.depth}
                for bore, place in zip(self.bores, shown, strict=True)
            ],
            **({"form": {
                "half": form.half, "gap": form.gap, "layers": form.layers,
                "height": round(form.layers * self.thickness, 4),
                "wall": None if form.wall is None else round(form.wall, 3),
                "moved": [round(v, 4) for v in form.moved]}} if (form := self.form) else {}),
        }


def numbered(bores: Sequence[Bore]) -> dict[tuple[float, float], int]:
    """The number by which each is called: a counterbore and its hole, which share a place, have one."""
    return {at: number for number, at in enumerate(dict.fromkeys(bore.at for bore in bores), 1)}


def rounded(at: tuple[float, float], diameter: float, *, length: float, turn: float = 0.0) -> Polygon:
    """A circle, or a slot with round ends `length` mm from end to end."""
    segments = max(16, math.ceil(math.pi / 4 / math.acos(1 - _SAG / (diameter / 2)))) if diameter > 4 * _SAG else 16
    return overlay.buffer(_axis(at, diameter, length, turn), diameter / 2, quad_segs=segments)


def _axis(at: tuple[float, float], diameter: float, length: float, turn: float) -> BaseGeometry:
    half, angle = (length - diameter) / 2, math.radians(turn)
    way = np.array([math.cos(angle), math.sin(angle)]) * half
    return shapely.LineString([at - way, at + way]) if half > 0 else shapely.Point(at)
