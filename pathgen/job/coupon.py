"""The test piece of a job: scrap of the same wood, cut with the job's own cutters, feeds and depths."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError, Mistakes
from pathgen.base.tops import level
from pathgen.base.units import INCH, falls_short, format_length, left_words, rounded_down, rounded_up, sawn
from pathgen.job.board_tables import CouponTable
from pathgen.job.clamping import step_of, surfacing_of
from pathgen.job.drawings import inlays_of
from pathgen.job.filling import resin_of
from pathgen.job.job import Job
from pathgen.job.part import part_of
from pathgen.parts.tools import Coupon, Trial
from pathgen.programs.around import Around
from pathgen.programs.plan import pockets_of, without_idle
from pathgen.programs.zero_check import zero_checks
from pathgen.programs.zeroing import refits
from pathgen.work.clamping import Clamping, Step, Stock, numbered
from pathgen.work.features import Inlay, PlacedSize, Slots
from pathgen.work.operations import CutAgain, Operation, Pocket, Slot, SurfaceFinish, SurfaceRough
from pathgen.work.walls import narrowest_wall

WIDTH = 40.0
"""Of the test piece, mm: it can be clamped, and an inside caliper goes in."""

MARGIN, MOST_MORE = 14.0, 30
"""Raw wood left round it, mm: for clamps and to set zero on; how much more at most where a wide cutter needs it."""

GAP = 6.0
"""Wood between its places, mm."""

SQUARE = 6.0
"""Side of a square to be measured, mm, at least: the tips of a caliper's inside jaws go in, and its edges are straight
for long enough between corners as round as their cutter. Common practice, no source. How much too wide it is does not
depend on the side, and a fine cutter takes long to clear a wide one."""

_POUR = 12.0  # side of the place to pour, mm

WIDER = {"mm": 0.05, "in": 0.002 * INCH}
"""From one trial slot's width to the next, mm."""

_ROOMY = 1.2  # times its cutter's diameter that a square is wide at least
_DEEPER = {"mm": 0.2, "in": 0.008 * INCH}  # from one trial slot's depth to the next, mm
_DETAIL = (3.0, 5.0)  # least and greatest radius of what is taken of the drawing round its narrowest place, mm
_JUST = 1e-3  # by how much (mm) a place may be too narrow for a cutter that goes in

_SQUARE = "#7a6a4f"


@dataclass(frozen=True, eq=False, kw_only=True)
class _Cut:
    """Something in a row along the piece: its trials, its inlay with the names of its cutters, its slot."""

    length: float
    trials: tuple[Trial, ...]
    inlay: Inlay | None = None
    cutters: tuple[str, ...] = ()
    slot: Slots | None = None


def coupon_clamping(job: Job) -> Clamping:
    """The clamping that cuts the test piece of a job; ``[coupon]`` may say what it is cut from.

    It takes as much off the scrap as the job takes off its blank. Raises JobError for cutters that the job lacks, a
    job without anything to try, or scrap that is too thin.
    """
    part_of(job)  # refuses a job of several
    table = job.coupon or CouponTable()
    scrap = table.thickness or job.stock.thickness
    taken = job.stock.thickness - job.body.thickness if job.surface else 0.0
    thickness = scrap - taken
    cuts = tuple(_row(job, table, thickness))
    trials = tuple(trial for cut in cuts for trial in cut.trials)
    if not trials and not job.surface:
        raise JobError(job.path.name, "nothing to try on a test piece",
                       remedy="add [surface], [[inlay]] or [slots], or name cutters in [coupon]")
    length = max(sum(cut.length for cut in cuts) + GAP, 3 * GAP)
    rim = Trial(kind="rim", at=(0.0, 0.0), size=taken, cutter=job.surface.finish if job.surface else "")
    part = Coupon(surface=level(thickness, length), min_web=job.body.min_web,
                  outline=shapely.box(0.0, -WIDTH / 2, length, WIDTH / 2),
                  trials=(*([rim] if job.surface and taken > 0 else []), *trials),
                  trying=job.body.thickness if any(inlay.piece for inlay in job.inlays) else None,
                  filled=next((inlay.table for inlay in job.inlays), ""))
    _check_web(part, scrap)
    clamping = Clamping(
        title=f"{job.title}: test piece", kind="coupon", units=job.units, board=part, stock=_stock(job, part, scrap, 0),
        setup=job.setup.elsewhere, machine=job.machine, steps=numbered(_steps(job, cuts, part)),
    )
    clamping = _told_by_what_cuts(without_idle(clamping, pockets_of(clamping))[0], part, cuts)
    wider = (replace(clamping, stock=_stock(job, part, scrap, more)) for more in range(0, MOST_MORE, 2))
    return next(filter(_has_zero_places, wider), clamping)


def _has_zero_places(clamping: Clamping) -> bool:
    """Whether each cutter that is fitted finds a bare place of known height to try its zero at: from the top of scrap
    that place is no bed, as nobody measures how thick scrap is."""
    checks = zero_checks(Around(clamping=clamping)).values()
    beds = "bed" in {check.on for check in checks} and clamping.setup.z_zero == "stock-top"
    return len(checks) == sum(refits(clamping, step) for step in clamping.steps) and not beds


def _told_by_what_cuts(clamping: Clamping, part: Coupon, cuts: Sequence[_Cut]) -> Clamping:
    """The same, the last cutter of each detail one that finds something to do there."""
    last = {step.operation.opens.index: step.cutter.name for step in clamping.steps if step.operation.opens is not None}
    by = {id(trial): last.get(cut.inlay.index, "") for cut in cuts if cut.inlay is not None for trial in cut.trials}
    return replace(clamping, board=replace(part, trials=tuple(
        replace(t, cutter=by[id(t)]) if t.kind == "detail" else t for t in part.trials)))


def _stock(job: Job, part: Coupon, scrap: float, more: float) -> Stock:
    """Scrap with that much raw wood more than `MARGIN` round the piece."""
    margin = MARGIN + more
    length, width = (sawn(size + 2 * margin, job.units) for size in (part.length, WIDTH))
    return Stock(length=length, width=width, thickness=scrap, margin_nut=margin)


def _row(job: Job, table: CouponTable, thickness: float) -> Iterator[_Cut]:
    """What there is to try, one after the other along the piece."""
    x = GAP
    drawn = _drawn(job)
    squares = [_square(job, cutter, nth) for nth, cutter in enumerate(_measured(job, table), len(drawn))]
    slots = [_slot(job, k, thickness) for k in range(3 if job.slots else 0)]
    for made in [*squares, *drawn, *slots]:
        yield _moved(made, x)
        x += made.length


def _moved(cut: _Cut, x: float) -> _Cut:
    """A cut that was made with its near edge at X 0, further on."""
    def along(shape: BaseGeometry) -> BaseGeometry:
        return shapely.transform(shape, lambda xy: xy + [x, 0.0])

    inlay = cut.inlay and replace(cut.inlay, regions=tuple((c, along(s)) for c, s in cut.inlay.regions))
    return replace(cut, trials=tuple(replace(t, at=(t.at[0] + x, t.at[1])) for t in cut.trials), inlay=inlay,
                   slot=cut.slot and replace(cut.slot, lines=cut.slot.lines + [x, 0.0]))


def _slot(job: Job, nth: int, thickness: float) -> _Cut:
    """A trial slot across the piece: the job's own, and one on either side of it, or two on the one that can be."""
    table = job.slots
    assert table is not None
    cutter = job.cutter(table.cutter, "[slots] cutter")
    width, depth = table.width or cutter.diameter, table.depth
    wider, deeper = WIDER[job.units], _DEEPER[job.units]
    narrowest = -1 if width - wider >= cutter.diameter - 1e-9 else 0
    # at its ends waste stands beside the slot that is a little higher
    deepest = min(thickness - job.body.min_web, cutter.flute_length - deeper)
    # the slot that is as wide as the job's is as deep, too; the two others are shallower and deeper, if that can be
    other = 1 if depth + deeper <= deepest else -2
    step = (0, -1, other) if narrowest == 0 else (-1, 0, other)
    one = round(width + (narrowest + nth) * wider, 9), round(max(depth + step[nth] * deeper, 0.1), 9)
    x = max(GAP, 6 * width) / 2
    slots = Slots(number=np.array([nth + 1]), lines=np.array([[[x, -WIDTH / 2], [x, WIDTH / 2]]]), width=one[0],
                  depth=one[1], entry=table.entry, name=f"slot {nth + 1}", counted="fret")
    trial = Trial(kind="slot", at=(x, WIDTH / 2), size=one[0], depth=one[1], cutter=cutter.name,
                  wanted=abs(one[0] - width) < 1e-9)
    return _Cut(length=2 * x, trials=(trial,), slot=slots)


def _measured(job: Job, table: CouponTable) -> list[Cutter]:
    """The cutters that get a square: those named, or every flat end of inlays and outline, the largest first."""
    names = table.cutters
    if names is None:
        used = [name for inlay in job.inlays for name in inlay.cutters]
        used += [job.outline.cutter] if job.outline else []
        names = tuple(n for n in dict.fromkeys(used) if job.cutter(n, "").shape == "flat-end")
    cutters = [job.cutter(name, "[coupon] cutters") for name in names]
    for cutter in cutters:
        if cutter.shape != "flat-end":
            raise JobError("[coupon] cutters", f'"{cutter.name}" is a {cutter.shape} cutter',
                           allowed="flat-end cutters: a square of theirs can be measured", remedy="leave it out")
        if _ROOMY * cutter.diameter > WIDTH - GAP:
            wide, most = (format_length(one, job.units) for one in (
                cutter.diameter, rounded_down((WIDTH - GAP) / _ROOMY)))
            raise JobError("[coupon] cutters", f'"{cutter.name}" is {wide}, too wide for a square on the test piece',
                           allowed=f"{most} or less", remedy="name the cutters to be measured, without it")
    return sorted(cutters, key=lambda c: -c.diameter)


def _square(job: Job, cutter: Cutter, index: int) -> _Cut:
    """A square pocket by one cutter alone."""
    depths = [inlay.depth for inlay in job.inlays if cutter.name in inlay.cutters]
    depth = min(depths) if depths else min(cutter.stepdown, job.body.thickness - job.body.min_web)
    side = max(SQUARE, min(2.5 * cutter.diameter, WIDTH - GAP))
    shape = overlay.buffer(shapely.box(GAP / 2, -side / 2, GAP / 2 + side, side / 2), -1.01 * cutter.radius)
    shape = overlay.buffer(shape, 1.01 * cutter.radius)  # its corners as the cutter rounds them
    inlay = Inlay(name=f"square of {cutter.name}", index=index, regions=((_SQUARE, shape),), depth=depth, fill="none",
                  overfill=0.0, placed=(PlacedSize(width=side, height=side, share=1.0),))
    trial = Trial(kind="square", at=(GAP / 2 + side / 2, side / 2), size=side, depth=depth, cutter=cutter.name)
    return _Cut(length=side + GAP, trials=(trial,), inlay=inlay, cutters=(cutter.name,))


def _drawn(job: Job) -> list[_Cut]:
    """The narrowest place of all drawings that a cutter goes into, and a square to pour, each with the cutters of its
    inlay: in one pocket where that inlay is poured. Of drawings nowhere as narrow as what is taken of them, the square
    alone."""
    drawn, *_ = inlays_of(job, part_of(job), mistakes := Mistakes())
    mistakes.refuse()
    found = sorted((*place, index) for index, inlay in enumerate(drawn) for place in _narrow_places(inlay.area))
    if not found:
        return []
    width, at, narrow = next((one for one in found if _goes_in(job, one[2], _near(drawn[one[2]].area, *one[:2]))),
                             found[0])
    poured = [index for index, table in enumerate(job.inlays) if table.fill == "resin" and job.surface is not None]
    pour = narrow if narrow in poured else next(iter(poured), None)
    detail = (width, at) if width <= 2 * _radius(width) else None
    asked = [(narrow, detail, pour == narrow), *([(pour, None, True)] if pour not in (None, narrow) else [])]
    wanted = [one for one in asked if one[1] or one[2]]
    return [_pocket(job, drawn[index], nth, detail, pours) for nth, (index, detail, pours) in enumerate(wanted)]


def _pocket(
    job: Job, drawn: Inlay, nth: int, detail: tuple[float, tuple[float, float]] | None, pours: bool
) -> _Cut:
    """What is taken of an inlay's drawing round a place of that width, a square to pour, or both."""
    table = job.inlays[drawn.index]
    x = _POUR / 2 + GAP / 2  # what is taken of the drawing is no wider
    shapes: list[tuple[BaseGeometry, float]] = []
    trials = []
    colour = drawn.regions[0][0]
    if detail is not None:
        width, at = detail
        radius = _radius(width)
        colour = min(drawn.regions, key=lambda region: shapely.distance(region[1], shapely.Point(at)))[0]
        near = shapely.transform(_near(drawn.area, width, at), lambda xy: xy - at + [x, WIDTH / 4])
        shapes.append((near, 2 * radius))
        trials.append(Trial(kind="detail", at=(x, WIDTH / 4 + radius), size=width, depth=table.depth,
                            cutter=table.cutters[-1]))
    if pours:
        pour = shapely.box(x - _POUR / 2, -WIDTH / 4 - _POUR / 2, x + _POUR / 2, -WIDTH / 4 + _POUR / 2)
        shapes.append((pour, _POUR))
        trials.append(Trial(kind="pour", at=(x, -WIDTH / 4 + _POUR / 2), size=_POUR, depth=table.depth))
    resin = resin_of(job, drawn.index)
    inlay = Inlay(
        name=" and ".join(trial.kind for trial in trials), index=nth, like=drawn.index,
        regions=((colour, overlay.union_all([shape for shape, _ in shapes])),),
        depth=table.depth, fill="resin" if pours else "none", overfill=table.overfill if pours else 0.0,
        dam=resin.dam if pours else None, pour_depth=resin.pour_depth if pours else None,
        # where there are two, with a dam each
        placed=tuple(PlacedSize(width=size, height=size, share=1.0) for _, size in shapes),
    )
    return _Cut(length=_POUR + GAP, trials=tuple(trials), inlay=inlay, cutters=tuple(table.cutters))


def _radius(width: float) -> float:
    """How far round a place of that width the drawing is taken."""
    return float(np.clip(2.5 * width, *_DETAIL))


def _near(area: BaseGeometry, width: float, at: tuple[float, float]) -> BaseGeometry:
    """What is taken of a drawing round a place: of what lies beside it slivers would be all that the window leaves."""
    taken = overlay.intersection(area, overlay.buffer(shapely.Point(at), _radius(width)))
    parts = [part for part in shapely.get_parts(taken) if part.geom_type == "Polygon"]
    return min(parts, key=shapely.Point(at).distance)


def _goes_in(job: Job, index: int, shape: BaseGeometry) -> bool:
    """Whether the narrowest cutter of an inlay goes into a shape anywhere: a v that comes last goes in less deep."""
    table = job.inlays[index]
    half = min(float(job.cutter(name, "").half_width(table.depth)) for name in table.cutters)
    half = 0.0 if job.cutter(table.cutters[-1], "").shape == "v" else half
    return not overlay.buffer(shape, _JUST - half).is_empty


def _narrow_places(area: BaseGeometry) -> Iterator[tuple[float, tuple[float, float]]]:
    """Width and middle of places of a drawing: the narrowest where edges face each other, and each part's widest.

    Round spots have no edges that face each other: they are as wide as the largest circle in them.
    """
    around = overlay.difference(overlay.buffer(shapely.box(*area.bounds), 10.0), area)
    wall = narrowest_wall(around)
    if wall is not None and shapely.intersects(area, shapely.Point(wall.at)):
        yield wall.width, wall.at
    for part in shapely.get_parts(area):
        circle = shapely.maximum_inscribed_circle(part, 0.05)
        x, y = shapely.get_coordinates(circle)[0].tolist()
        yield 2 * float(shapely.length(circle)), (x, y)


def _steps(job: Job, cuts: Sequence[_Cut], part: Coupon) -> Iterator[Step]:
    """Surface, pockets cutter by cutter, the pour and the second cut, slots: as the job would go.

    Their files are told apart by the letters of what they cut.
    """
    def step(cut: _Cut, operation: Operation[Any], name: str) -> Step:
        letters = "".join(letter.lower() for letter, trial in part.lettered.items() if trial in cut.trials)
        return replace(step_of(job, operation, name), mark=letters)

    surfacing = surfacing_of(job)
    if surfacing is not None and job.surface is not None:
        # the second cut goes round the pour alone: what it leaves there stands beside what the first cut left
        surfacing = replace(surfacing, resurface_area="inlay", skim=0.0, leave=0.0, leave_scallop=0.0,
                            part="test piece")
        if job.surface.rough:
            yield step_of(job, SurfaceRough(surfacing), job.surface.rough)
        yield step_of(job, SurfaceFinish(surfacing), job.surface.finish)
    # of the places that a cutter opens the squares come first: what is poured is filled after its last program
    pockets = [(name, Pocket(cut.inlay, nth, len(cut.cutters)), cut) for cut in cuts if cut.inlay is not None
               for nth, name in enumerate(cut.cutters)]
    turn = _turns([cut.cutters for cut in cuts])
    for name, pocket, cut in sorted(pockets, key=lambda p: turn[p[0]]):
        yield step(cut, pocket, name)
    for cut in cuts:
        if cut.inlay is not None and cut.inlay.fill == "resin" and surfacing is not None and job.surface is not None:
            yield step(cut, CutAgain(cut.inlay, surfacing, True), job.surface.finish)
    for cut in cuts:
        if cut.slot is not None and job.slots is not None:
            yield step(cut, Slot(cut.slot), job.slots.cutter)


def _turns(sets: Sequence[Sequence[str]]) -> dict[str, int]:
    """When each cutter's turn is, so that none is fitted twice, if the sets agree on who comes before whom."""
    left = [list(names) for names in sets if names]
    turn: dict[str, int] = {}
    while left:
        first = next((one[0] for one in left if not any(one[0] in other[1:] for other in left)), left[0][0])
        turn[first] = len(turn)
        left = [names for one in left if (names := [name for name in one if name != first])]
    return turn


def _check_web(part: Coupon, scrap: float) -> None:
    deepest = max((trial.depth for trial in part.trials), default=0.0)
    left = part.surface.thickness - deepest
    if falls_short(left, part.min_web) or part.surface.thickness <= 0:
        raise JobError("[coupon] thickness", f"of scrap {scrap:g} mm thick what is tried on it {left_words(left)}",
                       allowed=f"{rounded_up(scrap + part.min_web - left):.2f} mm or more", remedy="take thicker scrap")
