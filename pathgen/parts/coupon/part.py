"""A test piece: flat, with places to be measured, each cut by a cutter of the job as the job would cut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import shapely

from pathgen.base.tops import level
from pathgen.parts.tool import Tool
from pathgen.work.part import Names

if TYPE_CHECKING:
    from pathgen.work.clamping import Clamping

Kind = Literal["rim", "square", "detail", "pour", "slot"]


@dataclass(frozen=True, kw_only=True)
class Trial:
    """A place on a test piece, and what it should measure there: mm."""

    kind: Kind
    at: tuple[float, float]
    size: float
    """Height of the rim, side of a square or pour, width of a detail or slot."""
    depth: float = 0.0
    """Below the surface."""
    cutter: str = ""
    wanted: bool = False
    """Whether a slot is as the job has it."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Coupon(Tool):
    """It lies along X with its trials in order; a rim of raw wood stays round it."""

    names: ClassVar[Names] = Names(part="test piece", start="the test piece", thickness="[coupon] thickness",
                                  again="run pathgen coupon again")
    trials: tuple[Trial, ...]
    trying: float | None = None
    """Thickness of the job's own part, mm, where pieces are let into it that can be tried; else None."""
    filled: str = ""
    """The first table of the job file that says what is pocketed and filled; nothing where it has none."""

    @property
    def lettered(self) -> dict[str, Trial]:
        """Its trials by the letters that stand beside them on paper."""
        return {chr(ord("A") + k): trial for k, trial in enumerate(self.trials)}

    def rows(self, clamping: Clamping) -> dict[str, Any]:
        """Every trial, by its letter."""
        return {"coupon": {
            letter: {"kind": t.kind, "at": [round(v, 3) for v in t.at], "size": round(t.size, 5),
                     "depth": round(t.depth, 5), "cutter": t.cutter, "wanted": t.wanted}
            for letter, t in self.lettered.items()
        }}


def coupon(trials: tuple[Trial, ...], *, length: float, width: float, thickness: float, min_web: float,
           trying: float | None = None, filled: str = "") -> Coupon:
    """A flat test piece with its near end at X 0; mm."""
    surface = level(thickness, length)
    return Coupon(surface=surface, outline=shapely.box(0.0, -width / 2, length, width / 2), min_web=min_web,
                  trials=trials, trying=trying, filled=filled)
