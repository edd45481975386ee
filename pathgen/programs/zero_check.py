"""Is zero right for the cutter just fitted? A bare place of known height, and what the display must show over it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats, Ints
from pathgen.base.cutters import Cutter, reshaped
from pathgen.base.errors import JobError
from pathgen.base.hollow import Hollow
from pathgen.base.plain import in_runs, joined
from pathgen.base.surface import Surface
from pathgen.base.units import format_length, rounded_up
from pathgen.programs.around import Around
from pathgen.programs.waste import left_standing, off_clamps, within_travel
from pathgen.programs.zeroing import covered, refits, tries_zero
from pathgen.work.clamping import Clamping, Step
from pathgen.work.mark_errors import THINNER, influence
from pathgen.work.operations import CutAgain, DowelHoles, WitnessMarks

SPARE = 0.5
"""Bare wood kept round where a cutter touches, mm."""
LEAST_FOOT = 1.5
"""Half the width of a slip of paper that can still be held, mm; common practice, no source."""
BESIDE = 25.0
"""How far beside the blank a place on the bed may be, mm."""
ERROR_TOLD = {"mm": 0.01, "in": 0.0254}
"""The error of Z whose cost is told, by units, mm: what a display or a dial shows."""
WHOLE = {"mm": 0.1, "in": 0.254}
"""Places are told in whole ones of these, by units, mm."""
NEXT_TO = 15.0
"""So near to each other two places of a raw top are taken to be as high, mm; common practice, no source."""
SAME = {"mm": 0.02, "in": 0.0254}
"""How nearly the display must show the same over one place each time, by units, mm; common practice, no source."""
NEARLY = {"mm": 0.05, "in": 0.0508}
"""How nearly it must over two places next to each other of a top that nothing cuts, by units, mm; common practice, no
source."""
_CLEAR = 1.0  # mm: between a cutter and what stands beside it
_ROUNDS = 60
_AS_MUCH = 0.05  # mm: places with so nearly the same room are alike

On = Literal["raw top", "finished surface", "bare face", "bed"]


@dataclass(frozen=True, kw_only=True)
class ZeroCheck:
    """Where to try the zero before one program, the `order`-th of its clamping, with a `feeler` under the cutter.
    Lengths in mm, in the part's frame unless said."""

    order: int
    on: On
    x: float
    y: float
    height: float
    """Of the tip above the underside of the work when the feeler is just held."""
    display: tuple[float, float, float]
    """X, Y and Z as the machine must show them then."""
    feeler: float
    ridge: float
    """How much more it may show, as tips rest on the ridges between passes."""
    if_so: str = ""
    """What the height counts on, where nothing cuts it: words that follow it."""
    mark: int | None = None
    """The measured mark, from 1, that the height of a top that moved was read at, beside the place."""
    by_marks: bool = False
    """Whether it counts on the heights of the marks as drilled."""
    within: float = 0.0
    """How far off the display may be where the work moved, as exactly as marks were measured; 0 where it did not."""
    off: str = ""
    """What it is where the display is off by the same each time Z 0 is set, of the same heights."""
    like: int | None = None
    """The first program whose zero is tried over the same place, or next to it, of a top that nothing cuts."""
    apart: float = 0.0
    """How far from that one's place it is; 0 for the same."""
    stays_for: tuple[int, ...] = ()
    """Later programs that the cutter cuts in without a new zero."""


def zero_checks(around: Around, reach: Floats | None = None, beside: Sequence[Around] = ()) -> dict[int, ZeroCheck]:
    """A check for each step still to be run before which its cutter is fitted to cut, by its order; none for one that
    has no bare place. `reach` as in `within_travel`; `beside` are all parts of a common blank, which are tried at one
    place.

    Raises JobError for a feeler that does not fit under a cutter at the height of rapids.
    """
    clamping = around.clamping
    feeler, gap = clamping.setup.feeler, clamping.machine.clearance
    if feeler >= gap:
        raise JobError(
            "[setup] feeler", f"{feeler:g} mm does not go under a cutter that passes {gap:g} mm over the work",
            allowed=f"less than [machine] clearance, {gap:g} mm", remedy="take a thinner feeler, or paper of 0.1 mm",
        )
    refit = _refit(clamping)
    parts = [one.clamping for one in beside] or [clamping]
    if beside and clamping.moved is None and (common := _common(beside, reach)) is not None:
        first = min(step.number for one in beside for step in _refit(one.clamping))
        x, y, _ = clamping.to_board(np.array([common.display]))[0].tolist()
        return {step.order: replace(common, order=step.order, x=x, y=y, like=None if step.number == first else first,
                                    stays_for=_stays_for(step, parts)) for step in refit}
    widest = max((step.cutter.radius for step in refit), default=0.0)
    foot = max((_foot(step.cutter) for step in refit), default=0.0)
    wide = off_clamps(_raw(around, foot), clamping, widest + _CLEAR)
    bare = _finished(around, refit[0], foot, widest) if refit and clamping.surfacing is None else ()
    for_all: list[tuple[BaseGeometry, On]] = [(wide, "raw top"), *((free, "bare face") for free in bare)]
    found: dict[int, ZeroCheck] = {}
    for step in sorted(refit, key=lambda one: -_foot(one.cutter) - one.cutter.radius):  # room for it is room for others
        check = _first(around, step, for_all, reach, found.values())
        if check is not None:
            found[step.order] = check
    made: dict[int, ZeroCheck] = {}
    for order, check in sorted(found.items()):
        firsts = [one for one in made.values() if check.if_so and one.if_so and one.on == check.on and one.like is None]
        near = min(firsts, key=lambda one: _apart(one, check), default=check)
        like = near is not check and _apart(near, check) <= NEXT_TO
        made[order] = replace(check, like=clamping.steps[near.order - 1].number if like else None,
                              apart=_apart(near, check) if like else 0.0,
                              stays_for=_stays_for(clamping.steps[order - 1], parts))
    return made


def _stays_for(step: Step, parts: Sequence[Clamping]) -> tuple[int, ...]:
    turns = sorted(((part, one) for part in parts for one in part.steps), key=lambda turn: turn[1].number)
    later = takewhile(lambda turn: not refits(*turn), (turn for turn in turns if turn[1].number > step.number))
    return tuple(one.number for _, one in later if one.operation.spins)


def _apart(one: ZeroCheck, other: ZeroCheck) -> float:
    return math.dist((one.x, one.y), (other.x, other.y))


def _refit(clamping: Clamping) -> list[Step]:
    """The steps still to be run before which their cutter is fitted, and Z 0 tried."""
    return [step for step in clamping.steps if tries_zero(clamping, step) and not clamping.done(step)]


def _common(parts: Sequence[Around], reach: Floats | None) -> ZeroCheck | None:
    """A check on raw top that every cutter of all parts of a blank can be tried at; None where there is none."""
    cutters = [step.cutter for one in parts for step in _refit(one.clamping)]
    for around in sorted(parts, key=lambda one: one.clamping.steps[0].number):
        clamping, widest = around.clamping, max(cutter.radius for cutter in cutters)
        bare = off_clamps(_raw(around, max(map(_foot, cutters))), clamping, widest + _CLEAR)
        free = within_travel(bare, around, reach)
        if not free.is_empty:
            return _check(clamping, clamping.steps[0], "raw top", *_middle(free, WHOLE[clamping.units]))
    return None


def feeler_tip(surface: Surface, cutter: Cutter, x: float, y: float, feeler: float) -> float:
    """Height of the tip, over (x, y), when a feeler that lies on the surface is just held under the cutter, mm.

    The feeler's top is the surface set off by its thickness t along the normal, on which a ball of radius r stands as
    one of r + t does on the wood, t higher. A flat end stands on the highest place of it under its disc, which for a
    surface that falls to both sides is on its rim or over the crest.
    """
    def offset(px: Floats, py: Floats, ball: float = 0.0) -> Floats:
        wide = reshaped(cutter, shape="ball-end", angle=None, diameter=max(2 * (ball + feeler), 1e-9))
        return surface.tip_height(wide, px, py) + feeler

    at = np.array([x]), np.array([y])
    if not cutter.is_flat:
        surface.tip_height(cutter, *at)  # refuses a flank too blunt for the slope
        return float(offset(*at, ball=cutter.tip_radius)[0])
    if abs(y) <= cutter.radius:
        along = np.sqrt(cutter.radius**2 - y * y) * np.linspace(-1.0, 1.0, 201)
        return float(offset(x + along, np.zeros(201)).max())
    return _highest_on_rim(offset, cutter.radius, x, y)


def _highest_on_rim(offset: Callable[[Floats, Floats], Floats], radius: float, x: float, y: float) -> float:
    """Of a concave surface on a circle, by golden sections round the side that faces the crest."""
    middle = -np.pi / 2 * np.sign(y)
    low, high = middle - np.pi / 2, middle + np.pi / 2
    share = (np.sqrt(5.0) - 1.0) / 2.0
    for _ in range(_ROUNDS):
        angles = np.array([high - share * (high - low), low + share * (high - low)])
        first, second = offset(x + radius * np.cos(angles), y + radius * np.sin(angles))
        low, high = (low, angles[1]) if first >= second else (angles[0], high)
    angle = np.array([(low + high) / 2])
    return float(offset(x + radius * np.cos(angle), y + radius * np.sin(angle))[0])


def _first(
    around: Around, step: Step, wide: Sequence[tuple[BaseGeometry, On]], reach: Floats | None,
    others: Iterable[ZeroCheck],
) -> ZeroCheck | None:
    """A check at the first bare place there is; a top that nothing cuts as `wide` as every cutter needs makes it the
    same for all, else it is that of one of the `others` where there is room."""
    for bare, on in _by_height(around, step, wide):
        free = within_travel(bare, around, reach)
        if not free.is_empty:
            taken = ((one.x, one.y) for one in others if one.on == on and one.if_so
                     and free.intersects(shapely.Point(one.x, one.y)))
            return _check(around.clamping, step, on, *next(taken, None) or _middle(free, WHOLE[around.clamping.units]))
    return None


def _check(clamping: Clamping, step: Step, on: On, x: float, y: float) -> ZeroCheck:
    feeler, ridge, if_so, off, top = clamping.setup.feeler, 0.0, "", "", clamping.stock.thickness
    if on in ("raw top", "bare face"):
        if_so, off = {
            "bed": ("where the blank is as thick as the job says",
                    "the blank is that much thicker or thinner there than the job says"),
            "stock-top": ("where the top is as high as where Z 0 was set",
                          "the blank's top is that much higher or lower there than where Z 0 is set"),
        }[clamping.setup.z_zero]
    elif on == "bed" and clamping.setup.z_zero == "stock-top":
        if_so, off = "where the blank is as thick as the job says", "the blank is that much thicker or thinner"
    marks = clamping.feature(WitnessMarks)
    measured = marks.top_at(x, y, top) if marks is not None and on == "raw top" else None
    if measured is not None:
        if_so, top = "by the heights of the marks as drilled", measured
        off = "the marks' heights as drilled are wrong by so much there"
    mark = _beside(clamping, x, y) if on == "raw top" else None
    if clamping.moved is not None and mark is not None:
        top = float((clamping.moved.places + clamping.moved.residuals)[mark, 2])
        if_so = f"as measured at {_called(clamping, mark)}"
    if on in ("finished surface", "bare face"):
        before, surfacing = (s.operation for s in clamping.steps if s.order < step.order), clamping.surfacing
        last = any(isinstance(one, CutAgain) and not one.goes_round for one in before)  # over the whole board
        surface = clamping.finished_surface if last else clamping.first_surface
        height = feeler_tip(surface, step.cutter, x, y, feeler)
        if surfacing is not None:
            ridge = surfacing.leave_scallop if surfacing.leave and not last else surfacing.scallop
    else:
        height = feeler + (top if on == "raw top" else 0.0)
    # what lies on the bed has not moved with the work
    there = clamping.to_machine(np.array([[x, y, height]]), None if on == "bed" else step)[0]
    return ZeroCheck(order=step.order, on=on, x=x, y=y, height=height, feeler=feeler, ridge=ridge, if_so=if_so, off=off,
                     by_marks=measured is not None, display=(float(there[0]), float(there[1]), float(there[2])),
                     mark=None if mark is None else mark + 1, within=_within(clamping, step, on, (x, y, height), mark))


def _called(clamping: Clamping, mark: int) -> str:
    """A measured mark, from 0, by its number: on a common blank, where those of all parts are measured, that of the
    part's own."""
    marks = clamping.feature(WitnessMarks)
    if clamping.shared is None or marks is None or clamping.moved is None:
        return f"mark {mark + 1}"
    off = np.linalg.norm(marks.places - clamping.moved.places[mark, :2], axis=1)
    return f"mark {int(np.argmin(off)) + 1}" if off.min() < NEXT_TO else f"[[measured]] {mark + 1}"


def _measured_tops(clamping: Clamping) -> Ints:
    """(n,) which measured marks of work that moved lie on its raw top."""
    assert clamping.moved is not None
    return np.flatnonzero(clamping.moved.places[:, 2] >= clamping.stock.thickness - THINNER)


def _beside(clamping: Clamping, x: float, y: float) -> int | None:
    """The measured mark, from 0, beside a place on the raw top of work that moved: its top was read there."""
    if clamping.moved is None:
        return None
    tops = _measured_tops(clamping)
    off = np.linalg.norm(clamping.moved.places[tops, :2] - [x, y], axis=1)
    return int(tops[np.argmin(off)]) if off.min(initial=np.inf) <= NEXT_TO else None


def _within(clamping: Clamping, step: Step, on: On, place: tuple[float, float, float], mark: int | None) -> float:
    """How far off the display may be over a place that moved: as an error at its mark, or those at all of them, moves
    it, and as it shows the same again; 0 where it lies still, or was cut where it lies now."""
    cut = any(s.operation.finishes and not (isinstance(s.operation, CutAgain) and s.operation.goes_round)
              for s in clamping.steps if clamping.moved_from <= s.order < step.order)
    if clamping.moved is None or on == "bed" or (on == "finished surface" and cut):
        return 0.0
    share = 1.0 if mark is not None else float(influence(clamping.moved.places, [place])[0][0])
    return clamping.moved.accuracy * share + SAME[clamping.units]


def _by_height(
    around: Around, step: Step, wide: Sequence[tuple[BaseGeometry, On]]
) -> Iterator[tuple[BaseGeometry, On]]:
    """Bare places in the order they are looked for: level ones of the blank, then the surface, then the bed."""
    clamping, foot, radius = around.clamping, _foot(step.cutter), step.cutter.radius
    own = off_clamps(_raw(around, foot), clamping, radius + _CLEAR)
    if clamping.moved is not None:
        marks = shapely.multipoints(clamping.moved.places[_measured_tops(clamping), :2])
        beside = overlay.buffer(marks, NEXT_TO)
        yield overlay.intersection(wide[0][0], beside), "raw top"
        yield overlay.intersection(own, beside), "raw top"
        yield overlay.intersection(wide[0][0], marks.convex_hull), "raw top"
    yield from wide
    if clamping.surfacing is None:
        yield from ((free, "bare face") for free in _finished(around, step, foot, radius))
    yield own, "raw top"
    if clamping.surfacing is not None:
        yield from ((free, "finished surface") for free in _finished(around, step, foot, radius))
    yield from ((free, "bed") for free in _bed(around, step, foot))


def _raw(around: Around, foot: float) -> BaseGeometry:
    clamping = around.clamping
    if clamping.surfacing is None:
        return shapely.Polygon()  # the blank came with its surface: what it is outside the part nobody said
    free = left_standing(around, reach=foot)
    marks, holes = clamping.feature(WitnessMarks), clamping.feature(DowelHoles)
    if marks is not None:
        free = overlay.difference(free, overlay.buffer(shapely.multipoints(marks.places), foot + marks.depth + 1.0))
    if holes is not None:
        free = overlay.difference(free, overlay.buffer(shapely.multipoints(holes.at), foot + holes.diameter / 2))
    return free


def _finished(around: Around, step: Step, foot: float, radius: float) -> Iterator[BaseGeometry]:
    """The surface as cut, bare of fill, away from all that is ever opened in it: near its crest, and all of it."""
    clamping = around.clamping
    before = [s for s in clamping.steps if s.order < step.order]
    cut = clamping.surfacing is None or any(s.operation.finishes for s in before)
    if not cut or covered(clamping, step) or isinstance(clamping.surface, Hollow):
        return
    free = overlay.buffer(clamping.board.outline, -foot, join_style="mitre")
    opened = [o for s in clamping.steps if (o := s.operation.leaves_open(foot)) is not None]
    opened += [overlay.buffer(inlay.area, foot + _SMEAR) for inlay in clamping.inlays]
    free = off_clamps(overlay.difference(free, overlay.union_all(opened)), clamping, radius + _CLEAR)
    x0, _, x1, _ = free.bounds if not free.is_empty else (0.0, 0.0, 0.0, 0.0)
    yield overlay.intersection(free, shapely.box(x0, -2 * foot, x1, 2 * foot))
    yield free


_SMEAR = 2.0  # kept from a drawing whose fill may have run over its edge and been cut off again, mm


def _bed(around: Around, step: Step, foot: float) -> Iterator[BaseGeometry]:
    """Beside the blank, where a cutter and a hand with a feeler go: past the full width of one that stands beside it;
    and, for a wide one or between clamps, from where it just clears the blank to as far as it needs."""
    blank = shapely.box(*around.clamping.blank)
    wide = step.cutter.radius + _CLEAR
    for least, most in ((wide + 2 * foot, BESIDE), (max(wide, foot), max(wide + 2 * foot, BESIDE))):
        near, far = (overlay.buffer(blank, away, join_style="mitre") for away in (least, most))
        yield off_clamps(overlay.difference(far, near), around.clamping, wide)


def has_place(around: Around, step: Step) -> bool:
    """Whether there is a bare place to try the zero of a step at; whether the machine's travel reaches it is not asked.
    """
    return _first(around, step, [], None, ()) is not None


def _middle(free: BaseGeometry, whole: float) -> tuple[float, float]:
    """The place with most room round it, in whole steps of `whole` mm where that is still inside.

    Of several with as much room, on both sides or at both ends, always the same one: the last digits of a place are
    not alike on all machines.
    """
    best = max(getattr(free, "geoms", [free]), key=lambda part: float(part.area))
    circle = shapely.maximum_inscribed_circle(best, tolerance=_AS_MUCH) if best.area > 0 else best
    (x, y), (x0, _, x1, _) = shapely.get_coordinates(circle)[0].tolist(), free.bounds
    alike = [(u, v) for v in (abs(y), -abs(y)) for u in sorted((x, x0 + x1 - x))]
    points = shapely.points(alike)
    rims = shapely.distance(points[:, None], shapely.boundary(shapely.get_parts(free)))
    room = np.where(shapely.intersects(free, points), rims.min(axis=1), -1.0)
    x, y = alike[int(np.argmax(room > room.max() - 2 * _AS_MUCH))]
    near = shapely.Point(round(round(x / whole) * whole, 9), round(round(y / whole) * whole, 9))
    return (near.x, near.y) if free.intersects(near) else (x, y)


def _foot(cutter: Cutter) -> float:
    """Half the bare width that a cutter and the feeler under it need."""
    return max((cutter.radius if cutter.is_flat else 0.0) + SPARE, LEAST_FOOT)


def check_words(check: ZeroCheck, step: Step, units: str) -> list[str]:
    """How to try the zero, and what follows where the display says otherwise: two lines."""
    x, y, z = (format_length(v, units, decimals={"mm": d, "in": 4}[units])
               for v, d in zip(check.display, (2, 2, 3), strict=True))
    feeler, step_of = format_length(check.feeler, units), format_length(ERROR_TOLD[units], units)
    over = f" to {format_length(check.display[2] + check.ridge, units)}" if check.ridge else ""
    where = {"raw top": "the bare raw top", "finished surface": "the finished surface",
             "bare face": "the bare face", "bed": "the bare bed"}[check.on]
    shown = " ".join(filter(None, [f"Z {z}{over}", check.if_so]))
    within = (NEARLY if check.apart else SAME)[units]
    same, off = (format_length(v, units) for v in (within, rounded_up(check.within)))
    lower, higher = step.operation.off_in_z(step.cutter)
    too = ""
    if check.stays_for:
        what = "program {} cuts" if len(check.stays_for) == 1 else "programs {} cut"
        too = f" What {what.format(joined(in_runs(check.stays_for)))}, with the cutter still in, is off by as much."
    if check.like:
        wrong = "the mark's measure" if check.mark else "the marks' heights" if check.by_marks else "the blank"
        apart = f", {format_length(check.apart, units)} from the place then" if check.apart else ""
        return [
            f"Check Z 0 as before program {check.like}: at X {x}, Y {y}{apart}, over {where}, on a feeler or paper "
            f"{feeler} thick, the display must show what it did then, within {same} ({shown}). What it was off by then "
            f"comes from {wrong}, not from Z 0.",
            f"Each {step_of} more on the display means: {lower}, by as much. Each less: {higher}.{too} Set Z 0 again "
            f"until it shows what it did before program {check.like}.",  # it stands alone in report.txt
        ]
    must, again = shown, "until it is right"
    if check.within:
        must, again = f"{shown}, within {off}", f"only where it is more than {off} off"
    return [
        f"Check Z 0, spindle off: raise the cutter clear, go to X {x}, Y {y}, over {where}; lower it "
        f"on a feeler or paper {feeler} thick until it is just held. The display must show {must}. Then raise the "
        "cutter.",
        f"Each {step_of} more on the display means: {lower}, by {step_of}. Each {step_of} less: {higher}, by "
        f"{step_of}.{too} Set Z 0 again {again}.",
    ]
