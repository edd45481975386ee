"""The tools of the bench: block, gauges, blanks for nut and saddle, a board on its edge, a sheet that pieces are cut
from, a test piece.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import shapely
from shapely import Polygon

from pathgen.base.arrays import Bounds, Floats
from pathgen.base.errors import JobError
from pathgen.base.hollow import Hollow
from pathgen.base.lowered import Lowered
from pathgen.base.surface import Surface
from pathgen.base.tops import level
from pathgen.base.units import left_words, rounded_up
from pathgen.parts.boxed import Tool
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.work.clamping import Clamping, Stock
from pathgen.work.part import Names

BLOCK = Names(part="block", near="end nearest the nut", far="end nearest the bridge", start="the block",
              thickness="[block] thickness", again="run pathgen block again")
"""It lies with its hollow up, X 0 at its end nearest the nut."""


def hollow_block(
    board: Fingerboard, start: float, end: float, *, width: float, thickness: float, least: float
) -> Tool:
    """The block for a board from one X to another, cut from a blank of a thickness; mm.

    The hollow follows the board's relief and fall-away; of a flat board they are all there is of it. Raises JobError
    for a width that the radius does not span, or less than `least` under the hollow.
    """
    surface = board.surface
    radius_start, radius_end = (float(surface.radius(x)) for x in (start, end))
    if width / 2 >= min(radius_start, radius_end):
        raise JobError("[block] width", f"{width:g} mm over a radius of {min(radius_start, radius_end):g} mm",
                       allowed="less than twice the radius", remedy="make it narrower")
    along = np.unique(np.clip([*np.linspace(start, end, 501), *surface.bends], start, end))
    drop = surface.thickness - float(np.min(surface.height(along, width / 2)))
    lowest = thickness - drop
    if lowest < least:
        raise JobError("[block] thickness", f"{thickness:g} mm, and the hollow {left_words(lowest)}",
                       allowed=f"{rounded_up(drop + least):.2f} mm or more", remedy="take a thicker blank")
    dip, fall = (surface.relief, surface.fall_away) if isinstance(surface, Lowered) else (None, None)
    hollow = Hollow(thickness=lowest, radius_nut=radius_start, radius_end=radius_end, length=end - start,
                    relief=dip and dip.seen_from(start), fall_away=fall and fall.seen_from(start))
    return Tool(names=BLOCK, surface=hollow, outline=shapely.box(0.0, -width / 2, end - start, width / 2),
                min_web=board.min_web)


GAUGE = Names(part="gauge", start="the gauge", long="high", thickness="[gauges] thickness", wooden=False,
              again="run pathgen gauges again")
"""Its straight back is square to X, its hollow edge the far one."""
FIRST_GAUGE = replace(GAUGE, laid=(
    "All gauges of the folder are cut from this one sheet with one zero, in the order of their numbers: leave the "
    "sheet where it lies between them, and saw their tabs when the last is cut.",))
NEXT_GAUGE = replace(GAUGE, lies=True, laid=(
    "The sheet lies as it did for the gauge before: leave it so, and X 0 and Y 0 as they are.",))
_SAG = 5e-4  # how far the straight pieces of an arc may lie inside it, mm


def radius_gauge(names: Names, arc: Floats, *, x: float, height: float, thickness: float) -> Tool:
    """A gauge with its back at `x` and the lowest place of its edge, an `arc` of `arc_edge`, `height` further on."""
    y = float(arc[0, 1])
    outline = Polygon(np.concatenate([[[x, y], [x, -y]], arc[::-1] + [x + height, 0.0]]))
    return Tool(names=names, surface=level(thickness, x + height), outline=outline)


def lengthwise_edge(surface: Surface, start: float, end: float) -> Floats:
    """(n, 2) points, as of `arc_edge`, on the edge that fits a top along its centre-line, its `start` at +y."""
    along = np.unique([*np.linspace(start, end, 401), *np.clip(surface.bends, start, end)])
    lower = surface.thickness - surface.height(along, 0.0)
    return np.column_stack([lower - lower.min(), (start + end) / 2 - along])


def arc_edge(radius: float, width: float) -> Floats:
    """(n, 2) points on the hollow edge from +y to -y: x above its lowest place."""
    half = np.arcsin(width / 2 / radius)
    count = 2 * int(np.ceil(half / np.sqrt(8 * _SAG / radius)))
    angle = np.linspace(half, -half, count + 1)
    return np.column_stack([2 * radius * np.sin(angle / 2) ** 2, radius * np.sin(angle)])


NUT = Names(
    part="nut", start="the nut", wooden=False, long="high", thickness="[nut_blank] thickness", measured=False,
    hold="Clamp the spare board, not the plate", again="run pathgen nut again", laid=(
        "Stick the plate down over its whole face with double-sided tape, on a spare board that may be cut into: it is "
        "too small for clamps.",
        "The dust of bone and shell is harmful: extract it at the cutter, and wear a mask that fits."))
"""As it comes from the machine its straight bottom is square to X, at X 0; its top is the far edge."""
SADDLE = replace(NUT, part="saddle", start="the saddle", thickness="[saddle_blank] thickness")
"""It lies as a nut does."""


def nut_or_saddle(names: Names, top: Floats, *, thickness: float) -> Tool:
    """Its blank from the bottom at x 0 to a `top`, (n, 2) points in the order of falling or rising y, mm."""
    ends = [[0.0, top[-1, 1]], [0.0, top[0, 1]]]
    outline = shapely.orient_polygons(Polygon(np.concatenate([top, ends])))
    return Tool(names=names, surface=level(thickness, float(top[:, 0].max())), outline=outline)


@dataclass(frozen=True, kw_only=True)
class StandingBoard(Stock):
    """The board as stock: X along the upper edge from the nut line, Y 0 at the board's underside.

    `width` is how high the edge is there, at most; `thickness` is how high the board stands.
    """

    top_side: int
    """+1 where the board's top looks toward + Y, -1 where it looks toward - Y."""

    @property
    def bounds(self) -> Bounds:
        """(x_min, y_min, x_max, y_max)."""
        low, high = sorted((0.0, self.top_side * self.width))
        return (-self.margin_nut, low, self.length - self.margin_nut, high)


def standing_edge(stock: StandingBoard) -> Tool:
    """The upper edge of a standing board."""
    return Tool.all_of(
        stock, Names(part="edge", start="the nut face", along="edge runs", thick="high",
                     blank="the finished board on its edge,", top="the edge that lies uppermost", measured=False,
                     again="run pathgen side-dots again"),
        ("nut-underside", "where the nut face meets the board's underside, on the edge that lies uppermost"))


@dataclass(frozen=True, kw_only=True)
class FlatStock(Stock):
    """Flat stock with a corner at x 0, y 0."""

    margin_nut: float = 0.0

    @property
    def bounds(self) -> Bounds:
        """(x_min, y_min, x_max, y_max)."""
        return (0.0, 0.0, self.length, self.width)


def sheet(stock: FlatStock) -> Tool:
    """The stock is the part."""
    return Tool.all_of(
        stock, Names(part="sheet", start="the sheet", wooden=False, thickness="[[inlay]] piece thickness",
                     measured=False, again="build the job again, and run pathgen pieces again"),
        ("corner", "the stock's corner, the lowest X and Y of it"))


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

    names: Names = Names(part="test piece", start="the test piece", thickness="[coupon] thickness",
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
