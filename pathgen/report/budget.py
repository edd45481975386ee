"""The error budget: what can be off by hand and by machine, and what each does to the finished board."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base.units import even_length
from pathgen.report.wording import table
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Channel, CutAgain, Pocket, Slot, SurfaceFinish

_Z_SETTING = 0.02  # how exactly Z 0 is set with paper or a setter, mm; common practice, no source
_DIAMETER = 0.02  # how far a cutter's diameter is from what is written on it, mm; common practice, no source
_RUN_OUT = 0.02  # how far a cutter's edge runs out in an ordinary collet, whole swing, mm; common practice, no source
_MOISTURE = 1.0  # change of the wood's moisture while fill cures, percent points; common practice, no source
SWELLING = 0.0025
"""Of flat-sawn hardwood across the grain for each percent point: 0.002 to 0.0035 in the Wood Handbook (FPL-GTR-282,
chapter 13), from memory."""
ROOT_WORDS = "Root-sum-square: the root of the sum of all squares, what is likely, since not all are off the same way."
LOWER_WORDS = ("For slot depth only the worse of both cuts of the surface is added, with what the wood does between "
               "them: slots go down from the lower of the two.")
SIZE_WORDS = ("By how much: X and Y as [machine] repeatability in the job says; Z 0, diameter and run-out as is common "
              "with paper or a setter, cutters as sold and an ordinary collet. Twice as much does twice as much.")
WOOD_WORDS = (f"Wood: {_MOISTURE:g} point more or less of moisture in it meanwhile, by which flat-sawn hardwood moves "
              f"{100 * SWELLING * _MOISTURE:g} % across the grain: that much of half the width, and of the thickness.")
_WOOD = "wood moving"
RESULTS = ("slot place", "slot depth", "slot width", "pocket edge", "flushness", "wood left")


@dataclass(frozen=True, kw_only=True)
class Source:
    """Something that can be off: by how much (mm), and what each mm of it does to each result (mm)."""

    name: str
    size: float
    moves: Mapping[str, float] = field(default_factory=dict)
    surface: int = 0
    """1 or 2 where it lowers the first or the second cut of the surface, of which the lower one counts for slots."""

    def effect(self, result: str) -> float:
        """What it does to a result, mm."""
        return self.size * self.moves.get(result, 0.0)


def sources(clamping: Clamping) -> Iterator[Source]:
    """What can be off in the programs of a clamping."""
    slotted, poured = clamping.cutter(Slot) is not None, clamping.cutter(CutAgain) is not None
    pocketed, surfaced = clamping.cutter(Pocket) is not None, clamping.cutter(SurfaceFinish) is not None
    surfacing = clamping.surfacing
    what = surfacing.what if surfacing is not None else ""
    # a cut that goes deeper than the first takes wood and fill together, whatever was off before
    fresh = poured and surfacing is not None and (surfacing.leave > 0 or surfacing.skim > 0)
    over_all = poured and surfacing is not None and (fresh or surfacing.resurface_area == "board")
    depth = {"slot depth": 1.0} if slotted else {}
    flush = {"flushness": 1.0} if poured and not fresh else {}
    channel = {"wood left": 1.0} if clamping.under and clamping.under.cutter(Channel) else {}
    if channel:
        yield Source(name="Z, cutting the channel", size=_Z_SETTING, moves=channel)
    if surfaced:
        over = {} if slotted or pocketed else channel  # nothing else is cut above it
        yield Source(name=f"Z, finishing the {what}", size=_Z_SETTING, surface=1,
                     moves=flush | ({} if fresh else depth) | over)
    if pocketed:
        # sloping walls open further out the deeper they go
        slopes = [1 / one.cutter.wall_slope for one in clamping.steps if one.operation.opens and one.cutter.angle]
        yield Source(name="Z, pocketing", size=_Z_SETTING,
                     moves={"wood left": 1.0} | ({"pocket edge": max(slopes)} if slopes else {}))
    if poured:
        yield Source(name="Z, second cut", size=_Z_SETTING, surface=2,
                     moves=flush | (depth if over_all else {}))
    if slotted:
        yield Source(name="Z, slotting", size=_Z_SETTING, moves={"slot depth": 1.0, "wood left": 1.0})
    yield Source(name="X and Y, coming back", size=clamping.machine.repeatability,
                 moves=_beside(clamping, slotted, pocketed, bool(flush)))
    width = ({"slot width": 1.0} if slotted else {}) | ({"pocket edge": 0.5} if pocketed else {})
    yield Source(name="diameter of the cutter", size=_DIAMETER, moves=width)
    yield Source(name="run-out of the cutter", size=_RUN_OUT, moves=width)
    if poured:
        low, high = np.array(clamping.board.outline.bounds)[[1, 3]]
        strain = SWELLING * _MOISTURE
        cures = "the fill cures" if any(inlay.fill == "resin" for inlay in clamping.inlays) else "the glue cures"
        yield Source(name=f"{_WOOD} across while {cures}", size=float(high - low) / 2 * strain,
                     moves={"pocket edge": 1.0} if len(clamping.inlays) > 1 else {})
        yield Source(name=f"{_WOOD} in thickness while {cures}", size=clamping.surface.thickness * strain,
                     surface=1, moves=flush | ({} if fresh else depth))


def _beside(clamping: Clamping, slotted: bool, pocketed: bool, repeated: bool) -> dict[str, float]:
    """What a cut beside its place does: on a slope it is too high or too low as well."""
    edge = _slope(clamping, clamping.board.outline)
    drawn = max((_slope(clamping, inlay.area) for inlay in clamping.inlays), default=0.0)
    moves = {"slot place": 1.0, "slot depth": edge} if slotted else {}
    moves |= {"pocket edge": 1.0} if pocketed else {}
    moves |= {"flushness": drawn} if repeated else {}
    return moves | {"wood left": edge if slotted else drawn} if slotted or pocketed else moves


def _slope(clamping: Clamping, area: BaseGeometry) -> float:
    """How steep the surface is across at the most, on the edge of an area."""
    x, y = shapely.get_coordinates(area).T
    low, high = (clamping.surface.height(x, y + side) for side in (-0.01, 0.01))
    return float(np.max(np.abs(high - low)) / 0.02)


def _combined(every: Sequence[Source], result: str, add: Callable[[Sequence[float]], float]) -> float:
    """All sources together. A slot is as deep as the lower of both cuts of the surface leaves it."""
    effects = [[s.effect(result) for s in every if s.surface == cut] for cut in (0, 1, 2)]
    if result != "slot depth":
        return add([e for some in effects for e in some])
    return add([*effects[0], max(add(effects[1]), add(effects[2]))])


def budget_data(clamping: Clamping, frets: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Each source that does something, all of them at worst and as root-sum-square, mm; slot place in cents by fret."""
    every, slotted = [s for s in sources(clamping) if any(s.moves.values())], clamping.cutter(Slot) is not None
    columns = [r for r in RESULTS if any(s.moves.get(r) for s in every)]
    return {
        "results": columns,
        "rows": [{"source": s.name, "size": round(s.size, 5), "effects": {r: round(s.effect(r), 5) for r in columns}}
                 for s in every],
        "worst": {r: round(_combined(every, r, sum), 5) for r in columns},
        "root_sum_square": {r: round(_combined(every, r, lambda effects: math.hypot(*effects)), 5) for r in columns},
        "cents": {str(f["fret"]): f["cents"] for f in frets if f["cents"] is not None and slotted},
    }


def budget_cells(budget: Mapping[str, Any], units: str) -> tuple[list[str], list[list[str]]]:
    """The budget as a table: its head and its rows."""
    def cells(effects: Mapping[str, float]) -> list[str]:
        return [even_length(v, units) if v else "" for v in effects.values()]

    rows = [[r["source"], even_length(r["size"], units), *cells(r["effects"])] for r in budget["rows"]]
    rows += [[name, "", *cells(budget[key])] for name, key in
             (("all at their worst", "worst"), ("root-sum-square", "root_sum_square"))]
    return ["what is off", "by", *budget["results"]], rows


def cents_words(budget: Mapping[str, Any]) -> str:
    """Slot place in cents for the lowest and highest fret."""
    cents = list(budget["cents"].items())
    if not cents:
        return ""
    (low, a), (high, b) = cents[0], cents[-1]
    return f"Slot place in cents, from the machine alone: up to {a:.2f} at fret {low}, up to {b:.2f} at fret {high}."


def budget_lines(budget: Mapping[str, Any], units: str) -> list[str]:
    """The budget in words."""
    if not budget["results"]:
        return []
    head, rows = budget_cells(budget, units)
    return [*table(head, rows, right=range(1, len(head))), *adding_words(budget),
            *filter(None, [cents_words(budget)])]


def adding_words(budget: Mapping[str, Any]) -> list[str]:
    """How the sources are added up, and what their sizes rest on."""
    apart = sum(row["effects"].get("slot depth", 0.0) for row in budget["rows"])
    moves = any(row["source"].startswith(_WOOD) for row in budget["rows"])
    return [ROOT_WORDS, *[LOWER_WORDS] * (apart - budget["worst"].get("slot depth", 0.0) > 1e-4), SIZE_WORDS,
            *[WOOD_WORDS] * moves]
