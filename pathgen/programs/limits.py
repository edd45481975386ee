"""Does a path stay within the machine's travel, clear of what stands in the way, and within what its cutter bears?"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.bending import GULLET, STRENGTH, bending_stress, deepest_layer, has_long_flutes, usual_layer
from pathgen.base.cutters import LIMITS, Cutter
from pathgen.base.errors import JobError, all_of
from pathgen.base.feeds import chip_load, likely_meant, usual_chip_load, usual_feed
from pathgen.base.limits import MOST_LINES
from pathgen.base.toolpath import Move, Toolpath
from pathgen.base.units import (
    MM_PER,
    as_written,
    coarse_length,
    fine_length,
    format_length,
    place_words,
    rounded_down,
    rounded_up,
    told_apart,
)
from pathgen.work.clamping import CLOSE, Clamping, KeepOut, Step
from pathgen.work.layers import layers, thin_layers
from pathgen.work.operations import SurfaceFinish, SurfaceRough

_RUBS = 0.01  # mm: of a shank against what stands beside it
_INTO_BED = 0.01  # mm: of passes over a surface
_UPRIGHT = 0.02  # across by down: straight down, by as much as work that moved may lie tilted since
_LEAST_CLAMP = 1.0  # mm: one cut back to less holds nothing, and is moved instead


def check_limits(toolpath: Toolpath, clamping: Clamping, step: Step) -> None:
    """Raise JobError for a cut that would break its cutter, one of a surface that goes below the underside beside it,
    or a first one over the blank beside which that stands higher than its cutter's flutes."""
    if step.operation.spins:
        _check_tooth(clamping, step.cutter)
    _check_bending(clamping, step)
    if step.operation.makes_surface:
        _check_underside(toolpath, clamping, step.cutter)
    if isinstance(step.operation, SurfaceRough) or (
            isinstance(step.operation, SurfaceFinish) and clamping.feature(SurfaceRough) is None):
        _check_flutes(toolpath, clamping, step.cutter)


def check_lines(texts: Sequence[str], clamping: Clamping) -> None:
    """Raise JobError for programs that have more lines, all together, than are read back."""
    lines = [text.count("\n") for text in texts]
    if sum(lines) <= MOST_LINES:
        return
    worst = int(np.argmax(lines))
    step = clamping.steps[worst]
    thin, deeper = thin_layers(clamping, step)
    raise JobError(
        step.title, f"its program would have {lines[worst]:,} lines, and all of them {sum(lines):,}"
        f"{thin and f': it is cut in {thin}'}",
        allowed=f"{MOST_LINES:,} in all programs",
        remedy=deeper or (
            "name a wider cutter before it (pathgen reach lists them), or leave parts of the drawing to a job of "
            "their own" if step.operation.opens else "let it cut less: the rest is a job of its own"),
    )


def _check_tooth(clamping: Clamping, cutter: Cutter) -> None:
    """No tooth takes more than its flute is deep: what is left runs into the core, at whatever depth."""
    per, most = MM_PER[clamping.units], GULLET * cutter.diameter
    load = float(chip_load(cutter.feed, cutter.speed, cutter.flutes))
    if load <= most:
        return
    low, high = (feed / per for feed in usual_feed(cutter))
    tenfold = 10.0 * cutter.diameter
    least, most_usual = usual_chip_load(tenfold)
    meant = least <= load <= most_usual and tenfold <= LIMITS["diameter"][1]
    taken, borne = told_apart(load, most, unit=clamping.units)
    raise JobError(
        f'[[cutter]] "{cutter.name}"',
        f"would break: feed {cutter.feed / per:g} {clamping.units} per minute at {cutter.speed:g} rpm is "
        f"{taken} a tooth, more than its flutes are deep",
        allowed=f"{borne} a tooth, {GULLET:.1%} of the diameter (by an estimate)",
        remedy="; ".join(filter(None, (
            likely_meant(cutter, clamping.units),
            f"if {fine_length(tenfold, clamping.units)} is meant, correct its diameter" if meant else "",
            f"make its feed {low:.0f} to {high:.0f}, as is usual in hardwood at its speed"
            + (", and plunge no faster" if cutter.plunge / per > low else "") + ", or its speed higher"))))


def _check_bending(clamping: Clamping, step: Step) -> None:
    _, layer = layers(clamping, step)
    stress = bending_stress(step.cutter, layer)
    if not step.cutter.is_flat or stress <= STRENGTH:
        return
    cutter, unit = step.cutter, clamping.units
    less = min(usual_layer(cutter), deepest_layer(cutter))
    less = rounded_down(less) if unit == "mm" else less
    flutes, tenth = (format_length(v, unit) for v in (cutter.flute_length, cutter.flute_length / 10))
    raise JobError(
        f'[[cutter]] "{cutter.name}"',
        f"would break in {step.operation.name}: a layer of {format_length(layer, unit)} at its feed bends it to about "
        f"{stress:.0f} N/mm2, by an estimate",
        allowed=f"{STRENGTH:.0f} N/mm2",
        remedy=(f"measure its flute_length, {flutes} (is {tenth} meant?), or " if has_long_flutes(cutter) else "")
               + (f"make stepdown {as_written(less, unit, down=True)} {unit} or less, or "
                  if less >= LIMITS["stepdown"][0] else "")
               + "make its feed lower, or take a shorter or thicker cutter",
    )


def _check_underside(toolpath: Toolpath, clamping: Clamping, cutter: Cutter) -> None:
    """Beside a steep edge a round end reaches lower than where it touches."""
    x, y, z = toolpath.points[np.argmin(toolpath.points[:, 2])].tolist()
    if z >= -_INTO_BED:
        return
    part = clamping.board.names.part
    raise JobError(
        f'[[cutter]] "{cutter.name}"', f"goes {-z:.2f} mm below the underside beside the edge of the {part}, at "
        f"{place_words(x, y, clamping.units)}", allowed="down to the underside",
        remedy=f"make the {part} {rounded_up(-z):.2f} mm thicker or more, or name a smaller ball",
    )


def _check_flutes(toolpath: Toolpath, clamping: Clamping, cutter: Cutter) -> None:
    """What of the blank lies farther out than the cutter reaches stands beside the outer passes to its full height."""
    cuts = toolpath.points[toolpath.kinds != Move.RAPID]
    over = clamping.stock.thickness - cuts[:, 2]
    reach = overlay.buffer(shapely.multipoints(cuts[:, :2]).convex_hull, cutter.radius)
    walls = overlay.difference(shapely.box(*clamping.stock.bounds), reach)
    beside = (over > cutter.flute_length + _RUBS) & shapely.dwithin(shapely.points(cuts[:, :2]), walls,
                                                                    cutter.radius + _RUBS)
    if not beside.any():
        return
    worst, unit = int(np.argmax(np.where(beside, over, -np.inf))), clamping.units
    x, y = cuts[worst, :2].tolist()
    short, stands = told_apart(cutter.flute_length, float(over[worst]), unit=unit)
    raise JobError(
        f'[[cutter]] "{cutter.name}" flute_length', f"{short}, and the blank stands {stands} over its tip beside its "
        f"passes, {place_words(x, y, unit)}: its shank would rub there", allowed=f"{stands} or more",
        remedy="name a longer cutter, or take a thinner blank",
    )


def check_keep_outs(paths: Sequence[Toolpath], clamping: Clamping) -> None:
    """Raise JobError for each box that the cutter of any step meets, or passes no further off than the machine comes
    back to a place: the deepest place, and where it would stand clear.

    The cutter is taken as an upright cylinder of its full diameter: what is above its tip is at least as wide.
    """
    all_of(*(partial(_check_keep_out, number, paths, clamping)
             for number in range(1, len(clamping.setup.keep_out) + 1)))


def _check_keep_out(number: int, paths: Sequence[Toolpath], clamping: Clamping) -> None:
    box, units, part = clamping.setup.keep_out[number - 1], clamping.units, clamping.board
    runs = [(step, clamping.on_bed(path.points, step)) for step, path in zip(clamping.steps, paths, strict=True)
            if not clamping.done(step)]
    if not runs:
        return
    touch, above = clamping.machine.touch, clamping.machine.touch_above
    met = [(_deepest(points, box, step.cutter.radius, (touch, above)), step) for step, points in runs]
    (deep, (x, y, z)), step = max(met, key=lambda one: one[0][0])
    if deep > -touch:
        over = f"it stands over the {part.names.part}, and " if box.shape.intersects(part.outline) else ""
        across = deep >= step.cutter.radius  # its middle goes in: no smaller one would keep off
        into, least = deep > 0 and z < box.height, format_length(touch, units)
        comes = f"comes {'right' if across else f'{deep:.2f} mm'} into it" if into else "all but touches it"
        raise JobError(
            f"{step.title}, keep_out {number}",
            f"{over}the cutter {comes} near {place_words(x, y, units)}, {z:.1f} mm above the bed",
            allowed=f"nothing below its height, {format_length(box.height, units)}" if into else
                    f"{least} or more between them: the machine comes back no better ([machine] repeatability)",
            remedy=_clear(runs, box, units, (touch, above)) + ("" if across else ", or take a smaller cutter"),
        )


def _deepest(
    points: Floats, box: KeepOut, radius: float, touch: tuple[float, float] = (0.0, 0.0)
) -> tuple[float, tuple[float, float, float]]:
    """How far a cutter comes into a box, mm (0 or less: not at all, but so near), and where its tip is then; of moves
    within `touch` mm of it, aside and above."""
    lowest, highest = np.minimum(points[:-1], points[1:]), np.maximum(points[:-1], points[1:])
    corners = np.array([box.x, box.y])
    reach, high = radius + touch[0], box.height + touch[1]
    near = (highest[:, :2] > corners[:, 0] - reach) & (lowest[:, :2] < corners[:, 1] + reach)
    low = (lowest[:, 2] < high) & near.all(axis=1)
    if not low.any():
        return -np.inf, (0.0, 0.0, 0.0)
    start, end = points[:-1][low], points[1:][low]
    area, moves = box.shape, shapely.linestrings(np.stack([start[:, :2], end[:, :2]], axis=1))
    gap = shapely.distance(moves, area) - radius
    worst = int(np.argmin(gap))
    nearest = shapely.get_coordinates(shapely.shortest_line(moves[worst], area))[0]
    length = shapely.length(moves[worst])
    (*_, first), (*_, last) = start[worst], end[worst]
    upright = length <= _UPRIGHT * abs(last - first)
    share = 0.0 if upright else shapely.line_locate_point(moves[worst], shapely.Point(nearest)) / length
    z = min(first, last) if upright else first + share * (last - first)
    return -float(gap[worst]), (float(nearest[0]), float(nearest[1]), float(z))


def _clear(runs: Sequence[tuple[Step, Floats]], box: KeepOut, units: str, touch: tuple[float, float]) -> str:
    """The shortest way for a box to stand clear of every step, in the job's own keys."""
    ways = []
    for axis, name, (first, last) in ((0, "along", box.x), (1, "across", box.y)):
        low, high = _passing(runs, box, axis, touch)
        before, after = _outward(low - CLOSE, -1, units), _outward(high + CLOSE, 1, units)
        end = "let it end" if before - first > _LEAST_CLAMP else "move it until it ends"
        begin = "let it begin" if last - after > _LEAST_CLAMP else "move it until it begins"
        ways.append((last - low, f"{end} at {coarse_length(before, units)} {name} or before"))
        ways.append((high - first, f"{begin} at {coarse_length(after, units)} {name} or after"))
    return min(ways)[1] + " (with a larger blank, if it must still hold it)"


def _passing(
    runs: Sequence[tuple[Step, Floats]], box: KeepOut, axis: int, touch: tuple[float, float]
) -> tuple[float, float]:
    """From where to where along an axis cutters go lower than a box, or just above it, of moves that it may meet when
    moved along it."""
    low, high, (first, last), other = np.inf, -np.inf, (box.x, box.y)[1 - axis], 1 - axis
    for step, points in runs:
        lowest, highest = np.minimum(points[:-1], points[1:]), np.maximum(points[:-1], points[1:])
        r = step.cutter.radius
        met = (lowest[:, 2] < box.height + touch[1]) & (highest[:, other] > first - r - touch[0])
        met &= lowest[:, other] < last + r + touch[0]
        low = min(low, lowest[met, axis].min(initial=np.inf) - r)
        high = max(high, highest[met, axis].max(initial=-np.inf) + r)
    return low, high


def _outward(mm: float, way: int, units: str) -> float:
    """A place rounded away from the cutter to what a maker can measure."""
    step = {"mm": 0.1, "in": 0.254}[units]
    return float((np.floor if way < 0 else np.ceil)(mm / step - way * 1e-9) * step)
