"""The fills in the report: stages, amounts, the second cut, contrast, what zero can be set from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.contrast import colour_difference, contrast_ratio
from pathgen.base.plain import rounded
from pathgen.base.units import INCH
from pathgen.programs.plan import Plan
from pathgen.report.letting_in import off_the_floor
from pathgen.report.moving import marks_data, moved_data
from pathgen.report.zero import reference_rows
from pathgen.strategies.reach import Reach
from pathgen.verify import Verification
from pathgen.verify.pocket_measures import PocketMeasure
from pathgen.work.clamping import Clamping, Step
from pathgen.work.features import Inlay
from pathgen.work.fill import (
    RIM,
    Amount,
    Batch,
    Resin,
    amount,
    batch_of,
    fall_under,
    own_dams,
    resin_above,
    resin_left,
    second_cut,
    thickened,
)
from pathgen.work.moved import shift_errors
from pathgen.work.operations import CutAgain, SurfaceFinish
from pathgen.work.touching import Regions, Touch, pairs_within, proposed_stages, touches

_NEIGHBOURS = 2.0  # colours nearer than this are seen beside each other, mm
ADJOINING = 0.1
"""Colours nearer than this have no wood between them that anybody sees, mm: only these must tell each other apart."""
_MOST_PLACES = 20  # places listed where two colours touch
_MEAN = 1 / 3  # of a ridge's height its mean: between two passes it is an arc, nearly a parabola
_SHIFT = {"mm": 0.1, "in": 0.005 * INCH}  # the shift whose cost is tabled, by units, mm


@dataclass(frozen=True, kw_only=True)
class Near:
    """Two colours of one pour that do not touch, and lie too near to each other for a dam round each."""

    colours: tuple[str, str]
    """Where `inside`, the first lies inside the dam of the second, as a taut thread goes round it."""
    apart: float
    """mm"""
    between: tuple[BaseGeometry, BaseGeometry]
    inside: bool = False

    @property
    def at(self) -> tuple[float, float]:
        """In the middle between them: of many pairs few are told, and finding it takes long."""
        x, y = shapely.get_coordinates(shapely.shortest_line(*self.between)).mean(axis=0).tolist()
        return x, y


def inlay_filling(planned: Plan, checked: Verification, index: int, reached: Reach) -> dict[str, Any]:
    """What one inlay's entry in the report says of its fill."""
    inlay, needed = planned.clamping.inlays[index], amounts(planned, checked, index)
    found = touches(reached.opened)
    return {
        "name": inlay.name,
        "stage": index + 1,
        "fill": inlay.fill,
        "overfill": inlay.overfill if inlay.fill != "none" else 0.0,
        "surface_fall": rounded(fall_under(inlay.area, planned.clamping.board.surface), 3),
        "thickened": list(thickened(inlay, planned.asked.resins[index].dam)) if needed else [],
        "touching": [
            {"colours": list(one.colours), "length": rounded(one.length, 4),  # rounded once more in words
             "places": [[rounded(x, 2), rounded(y, 2)] for x, y in one.places[:_MOST_PLACES]],
             "stretches": len(one.lengths)} for one in found],
        "proposed_stages": pouring_stages(inlay, found, too_near(planned, inlay, reached.opened)),
        "amounts": [
            {"colour": one.colour, "area": rounded(one.area, 2), "depth": [rounded(v, 3) for v in one.depth],
             **{f"{what}_volume": rounded(getattr(one, what), 2) for what in ("pocket", "overfill", "waste", "needed")},
             **_batch(one.batch)} for one in needed],
        "batch": _one_batch(sum(a.needed for a in needed), deep=max(a.depth[1] for a in needed) + inlay.overfill,
                            resin=planned.asked.resins[index]) if len(needed) > 1 else None,
        "coat": _one_batch(_coat(inlay, needed), deep=COAT, resin=planned.asked.resins[index]) if needed else None,
        **({} if inlay.dots is None else {
            "dots": {"count": int(shapely.get_num_geometries(inlay.area)), "diameter": rounded(inlay.dots)}}),
        "piece_thickness": rounded(planned.clamping.opened(inlay) + inlay.overfill) if inlay.fill == "piece" else None,
        "second_cut": _second_cut(planned, checked, index, needed),
    }


def filling_data(planned: Plan) -> dict[str, Any]:
    """What the report says of the clamping as a whole: keys contrast, shift_errors, references, marks, moved."""
    clamping = planned.clamping
    return {
        "contrast": contrast_rows(planned),
        "shift_errors": _shift_rows(clamping) if clamping.surfacing is not None else None,
        "references": reference_rows(planned),
        "marks": marks_data(clamping),
        "moved": moved_data(clamping),
    }


def amounts(planned: Plan, checked: Verification, index: int) -> list[Amount]:
    """What each colour of an inlay needs, by the simulated pocket; empty for what is not poured.

    The pocket is measured up to the surface as it stands when it is filled, a [surface] leave above the finished one
    where wood and fill are cut to it together, lower where a skim is off; without the ridges between passes.
    """
    inlay, measure = planned.clamping.inlays[index], measure_of(checked, index)
    if inlay.fill != "resin" or measure is None or not measure.area:
        return []
    resin = planned.asked.resins[index]
    above, left = resin_above(inlay, planned.clamping.surface, resin.dam), planned.clamping.ground(inlay)
    depths = {colour: (least + left, most + left) for colour, (least, most) in _depths(planned, measure).items()}
    return [amount(colour, area=area, pocket=measure.by_colour[colour][1] - inlay.overfill * area,
                   overfill=above[colour], depth=depths[colour], deep=depths[colour][1] + inlay.overfill,
                   resin=resin)
            for colour, area in measure.area_by_colour.items() if area]


def poured_together(parts: Sequence[tuple[Plan, Verification]]) -> list[dict[str, Any]]:
    """What is mixed at each stop for all parts of a blank, by resin: a row for each colour, and one batch of all."""
    found: dict[int, list[tuple[Resin, list[tuple[int, Amount, float]], list[float]]]] = {}
    for number, (planned, checked) in enumerate(parts, 1):
        for step in planned.clamping.steps:
            inlay = step.operation.opens
            if inlay is None or step.turn is None or step.turn.fill_after is None:
                continue
            index = planned.clamping.inlays.index(inlay)
            resin, pours = planned.asked.resins[index], found.setdefault(step.turn.fill_after, [])
            like = next((one for one in pours if replace(one[0], dam=resin.dam) == resin), None)
            if like is None:
                pours.append(like := (resin, [], []))
            needed = amounts(planned, checked, index)
            like[1].extend((number, one, one.depth[1] + inlay.overfill) for one in needed)
            like[2].append(_coat(inlay, needed))
    return [_poured(after, resin, own, sum(coats)) for after, pours in sorted(found.items())
            for resin, own, coats in pours if own]


def _poured(after: int, resin: Resin, every: list[tuple[int, Amount, float]], coat: float) -> dict[str, Any]:
    rows, needed = [], 0.0
    for colour in dict.fromkeys(one.colour for _, one, _ in every):
        own = [(number, one, deep) for number, one, deep in every if one.colour == colour]
        depths = [depth for _, one, _ in own for depth in one.depth]
        whole = amount(colour, area=sum(one.area for _, one, _ in own), pocket=sum(one.pocket for _, one, _ in own),
                       overfill=sum(one.overfill for _, one, _ in own), depth=(min(depths), max(depths)),
                       deep=max(deep for *_, deep in own), resin=resin)
        rows.append({"colour": colour, "parts_for": [number for number, *_ in own],
                     "needed_volume": rounded(whole.needed, 2), **_batch(whole.batch)})
        needed += whole.needed
    return {"after": after, "colours": rows, "batch": _one_batch(
        needed, deep=max(deep for *_, deep in every), resin=resin) if len(rows) > 1 else None,
        "coat": _one_batch(coat, deep=COAT, resin=resin)}


COAT = 0.2
"""How thick the first coat of clear resin is counted, over floor and walls, mm (common practice, no source)."""


def _coat(inlay: Inlay, needed: Sequence[Amount]) -> float:
    """The clear resin of an inlay's first coat, mm3."""
    deep = max((one.depth[1] for one in needed), default=0.0)
    return COAT * (sum(one.area for one in needed) + deep * float(inlay.area.length))


def _one_batch(needed: float, *, deep: float, resin: Resin) -> dict[str, Any]:
    """All colours of a pour tinted from one batch."""
    return {"needed_volume": rounded(needed, 2), **_batch(batch_of(needed, deep=deep, resin=resin))}


def contrast_rows(planned: Plan, *, near: float = _NEIGHBOURS) -> list[dict[str, Any]]:
    """Every fill whose colour was chosen against the wood, bare and finished, and against the colours within `near`."""
    rows = []
    bare, finished = planned.asked.wood
    filled = [(c, shape) for i in planned.clamping.inlays if i.fill != "none" for c, shape in i.regions
              if c not in planned.asked.unchosen]
    for colour in dict.fromkeys(c for c, _ in filled):
        rows += [_contrast(colour, "bare wood", bare)] if bare else []
        rows += [_contrast(colour, "finished wood", finished)] if finished else []
    seen = set()
    for i, j in pairs_within([shape for _, shape in filled], near):
        one, other = filled[i][0], filled[j][0]
        pair = frozenset((one, other))
        if one != other and pair not in seen:
            seen.add(pair)
            rows.append(_contrast(one, other, other))
    return rows


def measure_of(checked: Verification, index: int) -> PocketMeasure | None:
    """What was measured of an inlay: they are in the order that they are cut, which need not be that of the job."""
    return next((m for m in checked.pockets if m.inlay == index), None)


def floor_high(planned: Plan, index: int) -> float:
    """How far the floor of an inlay's pockets stands at most above its depth, mm; 0 in a plan without its paths."""
    return max((cut.ridge for cuts in planned.pockets[index : index + 1] for cut in cuts), default=0.0)


def _depths(planned: Plan, measure: PocketMeasure) -> dict[str, tuple[float, float]]:
    """Least and greatest depth of each colour's pocket; at its very walls, which a grid misses, as its floor may be."""
    least = planned.clamping.inlays[measure.inlay].depth - floor_high(planned, measure.inlay)
    return {colour: (min(low, least), high) for colour, (low, high) in measure.depth_by_colour.items()}


def pouring_stages(inlay: Inlay, found: tuple[Touch, ...], near: Sequence[Near]) -> list[list[str]]:
    """In which its colours can be poured so that none touch, and as few as can be are too near to each other."""
    areas = {c: shape.area for c, shape in inlay.regions}
    return proposed_stages(inlay.colours, found, areas, [one.colours for one in near])


@lru_cache(maxsize=8)
def too_near(planned: Plan, inlay: Inlay, opened: Regions) -> tuple[Near, ...]:
    """All such pairs of an inlay that resin is poured into, the nearest first; `opened` is what is opened of it."""
    if inlay.fill != "resin" or len(opened) < 2:
        return ()
    out, found, touching = planned.asked.resins[inlay.index].dam, [], {touch.colours for touch in touches(opened)}
    dams = {one.regions[0][0]: dam for one, dam in own_dams(inlay, out)}
    shapes = [shape for _, shape in opened]
    holding = shapely.STRtree(shapes).query([dams[colour] for colour, _ in opened], predicate="intersects").T.tolist()
    for i, j in sorted({*pairs_within(shapes, 2 * out + RIM), *((min(pair), max(pair)) for pair in holding)}):
        (one, first), (other, second) = opened[i], opened[j]
        if i == j or (one, other) in touching:
            continue
        apart = float(shapely.distance(first, second))
        inside = apart >= 2 * out + RIM
        held = [held for held, shape in (((other, one), second), ((one, other), first))
                if shapely.intersects(dams[held[1]], shape)] if inside else [(one, other)]
        if held:
            found.append(Near(colours=held[0], apart=apart, between=(first, second), inside=inside))
    return tuple(sorted(found, key=lambda one: one.apart))


def _batch(one: Batch) -> dict[str, Any]:
    return {
        "total_volume": rounded(one.total, 2),
        "mass": None if one.mass is None else rounded(one.mass, 3),
        "parts": {name: rounded(part, 9) for name, part in one.parts.items()},
        "parts_unit": one.parts_unit,
        "measure": one.measure,
        "pours": one.pours,
    }


def _second_cut(planned: Plan, checked: Verification, index: int, needed: list[Amount]) -> dict[str, Any] | None:
    clamping, measure = planned.clamping, measure_of(checked, index)
    step = next((s for s in clamping.steps if s.operation.levels is clamping.inlays[index]), None)
    if step is None or measure is None or clamping.surfacing is None:
        return None
    inlay, surfacing, operation = clamping.inlays[index], clamping.surfacing, step.operation
    assert isinstance(operation, CutAgain)
    last, around = operation.takes_all, operation.goes_round
    skim = surfacing.leave if last else surfacing.skim
    depths = [depth for colour, depth in _depths(planned, measure).items() if measure.area_by_colour[colour]]
    proud = inlay.overfill * measure.area
    left = resin_left(inlay, clamping.surface, clamping.board.outline) if around else 0.0
    filled, empty = _levelled_before(clamping, step)
    cut = second_cut(
        wood_area=max(clamping.board.outline.area - measure.area - filled - empty, 0.0), area=measure.area,
        pocket=measure.fill_volume - proud,
        proud=sum(a.overfill for a in needed) - left or proud,
        # depths are counted from the finished surface, and what is left stands over that until the last cut
        skim=skim, depth=(min((d[0] for d in depths), default=0.0) + surfacing.leave,
                          max((d[1] for d in depths), default=0.0) + surfacing.leave),
        skim_before=not last and any(s.operation.levels and s.order < step.order for s in clamping.steps),
        ridges=(planned.around.first_passes.scallop - planned.around.last_passes.scallop) * _MEAN if last else 0.0,
        filled=filled)
    first = clamping.step(SurfaceFinish)
    return {
        "program": step.number,
        "first_program": first.number if first else None,
        "area": "inlay" if around else "board",
        "blend": surfacing.blend if around else None,
        "skim": surfacing.skim,
        "leave": surfacing.leave if last else 0.0,
        "wood_volume": rounded(cut.wood, 2),
        "fill_volume": rounded(cut.fill, 2),
        # under the edges of flat pieces lies glue
        "depth_left": [rounded(max(cut.depth_left[0] - off_the_floor(planned, index), 0.0), 3),
                       rounded(cut.depth_left[1], 3)],
        # of one that is done nobody knows how the work lay then: it may have moved before, too
        "repeats_first_pass": surfacing.skim == 0 and clamping.moved is None and not around and not last,
    }


def _levelled_before(clamping: Clamping, step: Step) -> tuple[float, float]:
    """In plan, of pockets other than a second cut's own: those that are filled when it runs, and empty ones, mm2."""
    own = step.operation.levels
    filled, empty = shapely.Polygon(), shapely.Polygon()
    for inlay in dict.fromkeys(one.operation.opens for one in clamping.steps[: step.order]):
        if inlay is None or inlay is own:
            continue
        if inlay.fill == "none":
            filled, empty = overlay.difference(filled, inlay.area), overlay.union_all([empty, inlay.area])
        else:
            filled, empty = overlay.union_all([filled, inlay.area]), overlay.difference(empty, inlay.area)
    at = own.area if own is not None else shapely.Polygon()
    return overlay.difference(filled, at).area, overlay.difference(empty, at).area


def _contrast(colour: str, against: str, other: str) -> dict[str, Any]:
    return {
        "colour": colour,
        "against": against,
        "against_colour": other,
        "ratio": math.floor(contrast_ratio(colour, other) * 100) / 100,  # 2.996 is not 3 (WCAG 2.2)
        "difference": rounded(colour_difference(colour, other), 1),
    }


def _shift_rows(clamping: Clamping) -> dict[str, Any]:
    edge = shapely.get_coordinates(clamping.board.outline.exterior.segmentize(5.0))
    shift = _SHIFT[clamping.units]
    errors = shift_errors(clamping.board.surface, edge, shift)
    rows = [{"direction": d, "low": rounded(low), "high": rounded(high)} for d, (low, high) in errors.items()]
    return {"shift": rounded(shift), "rows": rows}
