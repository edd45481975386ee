"""Slots: along each line, at a depth that follows the curve of the board, or with a level bottom; and strokes."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np

from pathgen.base.arrays import Bools, Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Rapids, Toolpath, simplified
from pathgen.base.units import falls_short, rounded_down, rounded_up, told_apart
from pathgen.strategies.easing import Standing, eased, may_overload, ridges_ease
from pathgen.strategies.entering import PECKS, pecked_down, pecks, ramped_in, ramps_down
from pathgen.strategies.pocketing.places import are_high, low_ridge
from pathgen.work.features import Engraving, Slots, longer
from pathgen.work.operations import RUN_OUT

_EDGE_SLANT = 0.1  # more than the taper of any board's edges, as a slope
_CHORD = 1e-3  # how far straight moves of slots and bevels may lie from the surface that they follow, mm
LAYER_STRIDE = 3
"""Points of the bottom for each one of the layers above it: nine times its tolerance, which the next layer takes.
Bends, and of thin layers other points, stay."""
_LAYER_OFF = 1 / 8
"""Of a stepdown: how far a layer's straight moves may lie from its points, as the next layer cuts so much more."""
_LEAST_OVER = 0.1  # waste higher than this over a line's end is let down into, mm, however thin the layers are
_HARDLY = 0.01
"""What a cutter that cannot cut at its centre may go straight down into, and any past its stepdown, mm: rounding."""
_ROUND = 16  # places on a cutter's rim at which it is asked how high the surface is
_OPEN = 0.9
"""Of the slots' cutter's radius: so much is open round the ends of its way, whatever it was off by when it cut them."""
_SHARPER = "take a v cutter of a smaller angle"
_NARROWER = 0.005  # how much narrower than asked a bevel may come out where the surface curves along it, mm
_LEAST_STEP = 0.05  # nearer points of a bevel's way, as beside a bend, tell nothing of how the surface curves there, mm

Stands = Callable[[Floats], tuple[Floats, Floats]]
"""How high a cutter's tip at (n, 2) places is over all that stands within its reach, and where rapids down end, mm."""


def slotting(
    slots: Slots, *, surface: Surface, cutter: Cutter, rapids: Rapids, stands: Stands | None = None,
    ridges: float = 0.0, eases: bool = False,
) -> Toolpath:
    """Moves that cut every slot, in layers of the cutter's stepdown, back and forth.

    The first layer begins on the highest of the surface within the cutter's reach, to the side of a slanting slot too,
    and on high `ridges` that stand on it.

    The bottom on the slot's line is `slots.depth` below `surface`, straight down, or level as `slots.bottom` says.
    Each layer is entered by a ramp along the slot, or by pecks, as `slots.entry` says, so that a thin cutter never goes
    a full stepdown straight into wood; left open, by pecks where both ends lie in waste. `stands`
    may know what stands within the cutter's reach of (n, 2) places, for rapids to come lower, and for ramps to begin on
    top of it: where more stands over an end of a line than its first layer has room for, a ramp takes that first. Where
    the cutter's feed is not one for slots, it `eases` its full-width cuts.

    Raises CutterError for a cutter wider than the slots or than a blind one is long, of another shape than flat-end, or
    with too short a flute.
    """
    _check(slots, float(slots.deepest(surface).max(initial=0.0)), cutter)
    floors = slots.floors(surface)
    runs, lines, rooms = [], [], []
    for index in range(len(slots.lines)):
        tops, floor = _lines(slots, index, surface, cutter, ridges, floors[index])
        rooms.append(_room_over(_deepest(tops, floor), cutter))
        entry = slots.entry or ("peck" if slots.through[index].all() and cutter.plunges else "ramp")
        runs.append(_layered(tops, floor, cutter, entry))
        lines.append((tops, entry))
    air: float | Floats = rapids.air_z
    if stands is not None:
        # every slot's ways in, the one that its layers take first, and what stands over where each begins
        ways = [[tops[0], tops[0][::-1], *(way for top in tops[1:] for way in (top, top[::-1]))] for tops, _ in lines]
        over = zip(*map(np.ndarray.tolist, stands(np.array([way[0, :2] for of in ways for way in of]))), strict=True)
        opened: list[tuple[Floats, float]] = []
        for run, of, (_, entry), room in zip(runs, ways, lines, rooms, strict=True):
            first, *others = zip(of, over, strict=False)
            for way, (high, above) in [*others[::2], *others[1::2]]:  # those of the far end first: across once
                if high - way[0, 2] > room:  # waste that the layers would meet at this end
                    opened.append((ramps_down(way, high, cutter), above))
            way, (high, above) = first
            # round the hole of a peck waste would stay, for the first layer to meet
            ramps = entry == "ramp" or high - way[0, 2] > room
            begin = ramps_down(way, high, cutter) if ramps else np.empty((0, 3))
            opened.append((np.vstack([begin[:-1] if entry == "ramp" else begin, run]), above))
        runs = [run for run, _ in opened]
        air = np.array([above for _, above in opened])
    path = Toolpath.from_runs(runs, safe_z=rapids.safe_z, air_z=air).quick_in_own_holes()
    return _eased_by_slots(path, cutter, surface, ridges) if eases else path


def begun_over(slots: Slots, *, surface: Surface, cutter: Cutter, ridges: float = 0.0) -> float:
    """How far the slots' bottom lies below what their layers begin on, at most, mm: what `slotting` has to go down."""
    floors = slots.floors(surface)
    return max(_deepest(*_lines(slots, index, surface, cutter, ridges, floors[index]))
               for index in range(len(slots.lines)))


def _lines(
    slots: Slots, index: int, surface: Surface, cutter: Cutter, ridges: float, level: float
) -> tuple[list[Floats], list[Floats]]:
    """The lines of one slot that together open its width: where their layers begin, and their bottom."""
    line = slots.lines[index]
    asides = _aside(line, slots, cutter)
    # how far ahead the rim reaches on the slot's line and on the nearest cutter line: the mean, a few um apart
    nearest = float(np.linalg.norm(asides, axis=1).min())
    reach = (cutter.radius + math.sqrt(cutter.radius**2 - nearest**2)) / 2
    middle = _line(_ends(line, slots.through[index], slots, cutter), surface, reach, _CHORD)
    floor = [middle + aside - [0.0, 0.0, slots.depth] for aside in asides]
    if slots.bottom == "flat":
        floor = [np.column_stack([low[:, :2], np.full(len(low), level)]) for low in floor]
    return [_begun_on(middle + aside, surface, cutter, ridges) for aside in asides], floor


def _room_over(deepest: float, cutter: Cutter) -> float:
    """How high waste may stand over a line's end for the first layer to take it too, a low ridge more than the stepdown
    at most."""
    layer = deepest / math.ceil(deepest / cutter.stepdown - 1e-9)
    return min(_LEAST_OVER, cutter.stepdown + low_ridge(cutter) - layer)


def _deepest(tops: list[Floats], floors: list[Floats]) -> float:
    return max(float((top[:, 2] - floor[:, 2]).max()) for top, floor in zip(tops, floors, strict=True))


def _eased_by_slots(path: Toolpath, cutter: Cutter, surface: Surface, ridges: float) -> Toolpath:
    """Each slot by itself, so that what stands there is kept in small cells; from one high way across to the next."""
    if not may_overload(cutter):
        return path
    high = path.points[:, 2] >= path.points[:, 2].max() - 1e-9
    begins = np.flatnonzero(high & np.append(~high[1:], False))
    parts = [slice(a, b) for a, b in pairwise([*begins.tolist(), len(path)])]
    stands = ridges if are_high(ridges, cutter) or ridges_ease(ridges, cutter) else 0.0
    return Toolpath.joined(
        eased(Toolpath(path.points[p], path.kinds[p]), cutter,
              Standing.over([*path.points[p, :2].min(axis=0), *path.points[p, :2].max(axis=0)], [cutter], surface,
                            stands))
        for p in parts)


def bevel_tip(slots: Slots, cutter: Cutter) -> float:
    """How deep the tip of a v cutter runs that bevels the slots' edges, mm."""
    return (slots.width / 2 + slots.bevel) * cutter.wall_slope


def bevelling(
    slots: Slots, *, surface: Surface, cutter: Cutter, rapids: Rapids, stands: Stands | None = None,
) -> Toolpath:
    """One pass of a v cutter along each slot: its tip runs in the slot, its flanks bevel both edges by `slots.bevel`.

    At a slot's round end the bevel goes round it. `stands` may know what stands within the cutter's reach of (n, 2)
    places, for rapids to come lower. Raises CutterError for another cutter than a v, one too small for the bevel, or
    one whose tip would reach the slot's bottom.
    """
    half = slots.width / 2 + slots.bevel
    where = f"cutter {cutter.name!r}"
    if cutter.shape != "v":
        raise CutterError(where, f"a {cutter.shape} cutter cannot cut a bevel", allowed="a v cutter")
    if falls_short(cutter.radius, half):
        raise CutterError(where, f"opens {cutter.diameter:g} mm and the bevelled slot is {2 * half:g} mm wide",
                          allowed=f"{2 * half:g} mm or more", remedy="take a larger v cutter or a smaller bevel")
    if falls_short(slots.depth, tip := bevel_tip(slots, cutter)):
        most = rounded_down(slots.depth / cutter.wall_slope - slots.width / 2)
        raise CutterError(
            where, f"its tip would be {tip:.2f} mm deep, below the slot's bottom",
            allowed=f"a tip {slots.depth:g} mm deep or less, as the slots are",
            remedy=(f"make bevel {most:.2f} mm or less, " if most > 0 else "") + "take a blunter v cutter, or make the "
            "slots deeper",
        )
    runs: list[Floats] = []
    for line, through in zip(slots.lines, slots.through, strict=True):
        out = np.where(through, _run_out(line, slots, half, surface, cutter), -slots.width / 2)
        # of a blunt v what its height misses is missed in width many times over
        top = _line(longer(line, out), surface, 0.0, _CHORD * min(1.0, cutter.wall_slope))
        run = _bevel(top[:, :2], _unit(line), half, slots, surface, cutter)
        runs.append(_turned(run, len(runs) % 2 == 0))  # back and forth, without ways back across the board
    air: float | Floats = rapids.air_z
    if stands is not None:
        runs, air = _through_waste(runs, stands, cutter)
    elif not cutter.plunges:
        runs = [ramped_in(run, rapids.air_z, cutter) for run in runs]
    return Toolpath.from_runs(runs, safe_z=rapids.safe_z, air_z=air)


def engraving(work: Engraving, *, cutter: Cutter, top: float, rapids: Rapids) -> Toolpath:
    """Moves along each stroke at its depth below `top`. Raises CutterError for another cutter than a v."""
    if cutter.shape != "v":
        raise CutterError(f"cutter {cutter.name!r}", f"a {cutter.shape} cutter does not engrave", allowed="a v cutter")
    if work.depth > cutter.stepdown:
        raise CutterError(f"cutter {cutter.name!r}", f"engraves {work.depth:g} mm deep at once",
                          allowed=f"its stepdown, {cutter.stepdown:g} mm", remedy="make engrave_depth less")
    runs = [np.column_stack([stroke, np.full(len(stroke), top - work.depth)]) for stroke in work.strokes]
    if not cutter.plunges:
        runs = [ramped_in(run, top, cutter) for run in runs]
    return rapids.between(runs)


def _through_waste(runs: list[Floats], stands: Stands, cutter: Cutter) -> tuple[list[Floats], Floats]:
    """The same runs and where rapids come down to each: where a v would take more waste than its stepdown at once with
    an end of its way, it goes down there first, by pecks, or by ramps over its way. One that cannot cut at its centre
    comes down ramps to any bevel."""
    ways = [way for run in runs for way in (run[::-1], run)]  # far ends first
    opened: list[Floats] = []
    air: list[float] = []
    for nth, (way, high, above) in enumerate(zip(ways, *stands(np.array([w[0, :2] for w in ways])), strict=True)):
        pieces = [way] if nth % 2 else []
        if high - way[0, 2] > (cutter.stepdown if cutter.plunges or not pieces else _HARDLY):
            down = pecked_down(way[0], high, cutter.stepdown) if cutter.plunges else ramps_down(way, high, cutter)
            pieces.insert(0, down)
        if any(map(len, pieces)):
            opened.append(np.concatenate(pieces))
            air.append(above)
    return opened, np.array(air)


def _bevel(plan: Floats, unit: Floats, half: float, slots: Slots, surface: Surface, cutter: Cutter) -> Floats:
    """The tip's way for a bevel that reaches `half` mm to either side of a slot's line, at places on it.

    Along a slope m the swept cone's flank is as steep as sqrt(k^2 - m^2), k being its own steepness. It meets the
    surface at both edges of the bevel: where that falls across the slot, the tip lies toward the lower one.
    """
    where, left = f"cutter {cutter.name!r}", np.array([-unit[1], unit[0]])
    edges = [plan + side * half * left for side in (1.0, -1.0)]
    one, other = (surface.height(*edge.T) for edge in edges)
    normals = np.stack([surface.normal(*edge.T) for edge in edges])
    slope = np.abs(normals[..., :2] @ unit) / normals[..., 2]
    if (steepest := float(slope.max())) >= cutter.wall_slope:
        raise CutterError(where, f"{cutter.angle:g} degrees is too blunt: the surface slopes by "
                          f"{math.degrees(math.atan(steepest)):.1f} degrees along a slot, its flank by "
                          f"{math.degrees(math.atan(cutter.wall_slope)):.1f}", remedy=_SHARPER)
    flank = np.sqrt(cutter.wall_slope**2 - slope**2)
    # where the slope itself changes, the tip's way is not as steep as the surface: what that takes off the bevel
    bent = np.abs(np.diff(slope)) / np.maximum(np.linalg.norm(np.diff(plan, axis=0), axis=1), _LEAST_STEP)
    if (narrower := float((half**2 * slope[:, 1:] ** 2 * bent / (2.0 * flank[:, 1:] ** 3)).max())) > _NARROWER:
        less, most = told_apart(narrower, _NARROWER)
        raise CutterError(where, f"{cutter.angle:g} degrees is too blunt: where the surface curves along a slot the "
                          f"bevel would be {less} narrower", allowed=most, remedy=_SHARPER)
    aside = (half * (flank[0] - flank[1]) + other - one) / (flank[0] + flank[1])
    if (worst := float(np.abs(aside).max())) > min(slots.width / 2, cutter.radius - half):
        raise CutterError(where, f"is so blunt that its tip would lie {worst:.2f} mm beside the slot's middle, as "
                          "the surface falls across it", remedy=_SHARPER)
    return np.column_stack([plan + aside[:, None] * left, one - flank[0] * (half - aside)])


def _check(slots: Slots, deepest: float, cutter: Cutter) -> None:
    where = f"cutter {cutter.name!r}"
    if cutter.shape != "flat-end":
        raise CutterError(where, f"a {cutter.shape} cutter cannot cut slots", allowed="flat-end")
    if cutter.diameter > slots.width + 1e-9:
        raise CutterError(
            where, f"{cutter.diameter:g} mm is wider than the slot", allowed=f"{slots.width:g} mm or less",
            remedy="take a thinner cutter, or make its width larger",
        )
    if falls_short(cutter.flute_length, deepest):
        raise CutterError(
            where, f"its flute is {cutter.flute_length:g} mm long and the slots are {deepest:.2f} mm deep",
            allowed=f"a flute of {rounded_up(deepest):.2f} mm or more",
            remedy="take a longer cutter or cut shallower slots",
        )
    length = np.linalg.norm(slots.lines[:, 1] - slots.lines[:, 0], axis=1)
    if len(short := np.flatnonzero((length <= cutter.diameter) & ~slots.through.any(axis=1))):
        raise CutterError(
            where, f"is as wide as slot {short[0] + 1} is long, {length[short[0]]:.2f} mm, or wider",
            allowed="slots longer than their cutter is wide", remedy="let the slots end nearer to the edges",
        )
    if slots.entry == "peck" and not cutter.plunges:
        raise CutterError(where, 'cannot cut at its centre (plunges = false), and entry = "peck" goes straight down',
                          allowed='entry = "ramp"', remedy="leave entry out, or take a cutter that plunges")


def _unit(line: Floats) -> Floats:
    return np.asarray((line[1] - line[0]) / np.linalg.norm(line[1] - line[0]))


def _ends(line: Floats, through: Bools, slots: Slots, cutter: Cutter) -> Floats:
    """(2, 2) ends of the cutter's way along a slot."""
    # A through slot runs out over the edge at its whole width, which the cutter has at its axis; a short one ends where
    # the cutter's round end reaches.
    return longer(line, np.where(through, RUN_OUT + _past_edge(line, slots.width / 2), -cutter.radius))


def _past_edge(line: Floats, half: float) -> float:
    """How far along its line a slot's edges, `half` mm to either side, may leave the part after the line does."""
    unit = _unit(line)
    return half * (abs(float(unit[0])) / max(abs(float(unit[1])), 0.1) + _EDGE_SLANT)


def _run_out(line: Floats, slots: Slots, half: float, surface: Surface, cutter: Cutter) -> float:
    """How far past the edge a bevel's way goes: as far as its slot, where a v comes down in the open; or as both edges
    of the bevel need, which a v opens behind its tip on its way down a slope."""
    steep = min(float(surface.slope(*line.T).max()) / cutter.wall_slope, math.sqrt(0.5))
    behind = half * steep / math.sqrt(1.0 - steep**2)
    return max(RUN_OUT + _past_edge(line, slots.width / 2), _past_edge(line, half) + behind)


def open_where_bevels_begin(slots: Slots, *, surface: Surface, cutter: Cutter, slotter: Cutter) -> float:
    """How far round where a v comes down to any bevel its slot is open, as a flat end cut it, mm."""
    half = slots.width / 2 + slots.bevel
    past = max(_run_out(line, slots, half, surface, cutter) - RUN_OUT - _past_edge(line, slots.width / 2)
               for line in slots.lines)
    return max(_OPEN * slotter.radius - past, 0.0)


def _aside(line: Floats, slots: Slots, cutter: Cutter) -> Floats:
    """(k, 3) shifts square to a slot's line that together open its width; its bottom is level across the slot."""
    spare = slots.width - cutter.diameter
    count = 1 if spare < 1e-9 else 1 + math.ceil(spare / (cutter.stepover * cutter.diameter))
    offsets = np.linspace(-spare / 2, spare / 2, count) if count > 1 else np.zeros(1)
    unit = _unit(line)
    return offsets[:, None] * np.array([-unit[1], unit[0], 0.0])


def _line(ends: Floats, surface: Surface, reach: float, tolerance: float) -> Floats:
    """Tip positions along a line so that a disc of radius `reach` moved along it leaves the surface's height on it.

    The disc's rim goes as far ahead of its axis as behind it: its tip stands as high as the highest place of the line
    within its reach, and what it leaves at each place is the lowest that it stood there, which is the surface again
    since the surface is nowhere hollow.
    """
    length, unit = float(np.linalg.norm(ends[1] - ends[0])), _unit(ends)
    least = float(np.min(surface.radius(ends[:, 0])))
    longest = math.sqrt(8.0 * tolerance * least) if math.isfinite(least) else length
    share = np.linspace(0.0, 1.0, max(1, math.ceil(length / longest)) + 1)
    across = ends[1, 0] - ends[0, 0]
    if across and len(surface.bends):  # the path turns where either rim passes a bend
        turns = (surface.bends[:, None] + reach * unit[0] * np.array([-1.0, 0.0, 1.0])).ravel()
        at = (turns - ends[0, 0]) / across
        share = np.unique(np.concatenate([share, at[(at > 0.0) & (at < 1.0)]]))
    plan = ends[0] + share[:, None] * (ends[1] - ends[0])
    behind, ahead = plan - reach * unit, plan + reach * unit
    highest = np.maximum(surface.height(behind[:, 0], behind[:, 1]), surface.height(ahead[:, 0], ahead[:, 1]))
    over_crest = behind[:, 1] * ahead[:, 1] <= 0
    return np.column_stack([plan, np.where(over_crest, np.maximum(highest, surface.height(plan[:, 0], 0.0)), highest)])


def _begun_on(top: Floats, surface: Surface, cutter: Cutter, ridges: float) -> Floats:
    """What layers begin on, over tips that stand on the surface of a slot's line: the surface beside that line where it
    is higher under the cutter, and `ridges`, square to it, where they are wood to it."""
    turn = 2.0 * math.pi / _ROUND * np.arange(_ROUND)
    rim = top[:, None, :2] + cutter.radius / math.cos(math.pi / _ROUND) * np.column_stack([np.cos(turn), np.sin(turn)])
    highest = np.fmax.reduce(surface.height(rim[..., 0], rim[..., 1]), axis=1)
    rise = np.maximum(highest - top[:, 2], 0.0)
    begun = top + np.outer(rise if rise.max() > _HARDLY else np.zeros(len(top)), [0.0, 0.0, 1.0])
    if are_high(ridges, cutter):
        begun[:, 2] += ridges / surface.normal(top[:, 0], top[:, 1])[:, 2]
    return begun


def _layered(tops: list[Floats], floors: list[Floats], cutter: Cutter, entry: str) -> Floats:
    """One run: every line at every depth, without lifting out.

    A layer begins at an end of the first line, by a ramp there and back, or by pecks. Then come that line and the
    others, back and forth. What stands between two lines at their round ends goes with the way across there: an odd
    number of lines goes back the way that the layer before came, an even one across to its beginning.
    """
    deepest = _deepest(tops, floors)
    count = math.ceil(deepest / cutter.stepdown - 1e-9)
    pieces: list[Floats] = []
    forward, lines = True, list(zip(tops, floors, strict=True))
    for layer in range(1, count + 1):
        was, now = (_turned(_at(*lines[0], deepest, k / count), forward) for k in (layer - 1, layer))
        pieces.append(ramps_down(now, float(was[0, 2]), cutter) if entry == "ramp" else pecks(was[0], now[0]))
        for top, floor in lines:
            line = _turned(_at(top, floor, deepest, layer / count), forward)
            pieces.append(line if layer == count else _coarse(line, cutter.stepdown))
            forward = not forward
        if len(lines) % 2:
            lines.reverse()
        else:
            pieces.append(_at(*lines[0], deepest, layer / count)[:1])
    return np.concatenate(pieces)


def _at(top: Floats, floor: Floats, deepest: float, share: float) -> Floats:
    """A line at a share of its way down: of the `deepest` of all, nowhere below a level floor and with a point
    where it meets that; of its own to another, which no layer above it comes down to, as those have fewer points."""
    if np.ptp(floor[:, 2]):
        return np.column_stack([top[:, :2], top[:, 2] - (top[:, 2] - floor[:, 2]) * share])
    down, level = top - [0.0, 0.0, deepest * share], float(floor[0, 2])
    over = down[:, 2] - level
    meets = np.flatnonzero((np.minimum(over[:-1], over[1:]) < -1e-9) & (np.maximum(over[:-1], over[1:]) > 1e-9))
    at = (over[meets] / (over[meets] - over[meets + 1]))[:, None]
    down = np.insert(down, meets + 1, down[meets] + at * (down[meets + 1] - down[meets]), axis=0)
    return np.column_stack([down[:, :2], np.maximum(down[:, 2], level)])


def _coarse(piece: Floats, stepdown: float) -> Floats:
    """Every third point, the last, and those that straight moves between these would miss."""
    if len(piece) <= 2 * PECKS:
        return piece
    first = np.arange(0, len(piece) - 1, LAYER_STRIDE)
    off = min(LAYER_STRIDE**2 * _CHORD, _LAYER_OFF * stepdown)
    return piece[simplified(piece, off, first, np.append(first[1:], len(piece) - 1))]


def _turned(line: Floats, forward: bool) -> Floats:
    return line if forward else line[::-1]
