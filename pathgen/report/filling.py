"""The fills in the report: stages, amounts, the second cut, contrast, what zero can be set from, work that moved."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.contrast import LEAST_CONTRAST, colour_difference, contrast_ratio
from pathgen.base.plain import counted
from pathgen.base.units import INCH, as_written, coarse_length, format_length, place_words
from pathgen.programs.plan import Plan
from pathgen.programs.zeroing import references
from pathgen.report.moving import alone_words, error_words, moved_warnings
from pathgen.verify import Verification
from pathgen.verify.findings import Finding
from pathgen.verify.pockets import PocketMeasure
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay
from pathgen.work.fill import (
    LEAST_LEFT,
    MOST_OVERFILL,
    PAST,
    Amount,
    Batch,
    Resin,
    amount,
    batch_of,
    dam_round,
    fall_under,
    left_by_edge,
    level_resin,
    lies_over,
    resin_left,
    second_cut,
    stands_at_most,
)
from pathgen.work.mark_errors import MarkErrors, seen, unchecked
from pathgen.work.moved import shift_errors
from pathgen.work.operations import CutAgain, WitnessMarks
from pathgen.work.touching import Touch, proposed_stages, touches, walled

_TOLD = 4
"""Pairs of colours that one warning tells of; the page's tables hold all."""

NEIGHBOURS = 2.0
"""Colours nearer than this are seen beside each other, mm."""

ADJOINING = 0.1
"""Colours nearer than this have no wood between them that anybody sees, mm: only these must tell each other apart."""

LAP = {"mm": 0.3, "in": 0.012 * INCH}
"""By how much an earlier colour is advised to run on under a later one, by units, mm."""

WALL = {"mm": 0.5, "in": 0.02 * INCH}
"""How much wood is advised to be left between colours, by units, mm: enough to stand."""

MOST_PLACES = 20
"""Places listed where two colours touch."""

SHIFT = 0.1
"""The shift whose cost is tabled, mm."""


def inlay_filling(planned: Plan, checked: Verification, index: int) -> dict[str, Any]:
    """What one inlay's entry in the report says of its fill."""
    inlay, needed = planned.clamping.inlays[index], amounts(planned, checked, index)
    found = touches(inlay.regions)
    return {
        "name": inlay.name,
        "stage": index + 1,
        "fill": inlay.fill,
        "overfill": inlay.overfill if inlay.fill != "none" else 0.0,
        "surface_fall": _round(fall_under(inlay.area, planned.clamping.board.surface), 3),
        "touching": [_touching(t) for t in found],
        "proposed_stages": _stages(inlay, found),
        "amounts": [_amount(a) for a in needed],
        "batch": _one_batch(planned, needed, index),
        **({} if inlay.dots is None else {
            "dots": {"count": int(shapely.get_num_geometries(inlay.area)), "diameter": _round(inlay.dots)}}),
        "piece_thickness": _round(inlay.depth + inlay.overfill) if inlay.fill == "piece" else None,
        "second_cut": _second_cut(planned, checked, index, needed),
    }


def filling_data(planned: Plan) -> dict[str, Any]:
    """What the report says of the clamping as a whole: keys contrast, shift_errors, references, marks, moved."""
    clamping = planned.clamping
    return {
        "contrast": contrast_rows(planned),
        "shift_errors": _shift_rows(clamping),
        "references": [
            {"order": r.order, "z": list(r.z), "xy": list(r.xy), "gone": list(r.gone), "set_again": r.refit}
            for r in references(planned.around)
        ],
        "marks": _marks(clamping),
        "moved": _moved(clamping),
    }


def filling_findings(planned: Plan, checked: Verification) -> list[Finding]:
    """Warnings and notes about the fills, for a maker who has not yet cut anything."""
    found: list[Finding] = []
    units = planned.clamping.units
    for index, inlay in enumerate(planned.clamping.inlays):
        if inlay.fill == "resin":
            found += [*_touch_warnings(planned.clamping, inlay), *_shared_dams(planned, inlay),
                      *_open_in_dam(planned, inlay)]
        found += _overfill_warnings(planned.clamping, inlay)
        for one in amounts(planned, checked, index):
            found += _pour_warnings(inlay, one, planned.asked.resins[index].pour_depth)
        found += [*_dam_off_blank(planned.clamping, inlay), *_dam_notes(planned, inlay)]
    found += edge_to_edge(planned.clamping.inlays, units)
    found += _contrast_warnings(planned)
    found += _marks_warnings(planned.clamping)
    found += moved_warnings(planned.clamping)
    found += _second_cut_notes(planned.clamping)
    return found


def amounts(planned: Plan, checked: Verification, index: int) -> list[Amount]:
    """What each colour of an inlay needs, by the simulated pocket; empty for what is not poured.

    The pocket is measured up to the surface as it stands when it is filled, a [surface] leave above the finished one
    where wood and fill are cut to it together; without the ridges between passes.
    """
    inlay, measure = planned.clamping.inlays[index], _measure(checked, index)
    if inlay.fill != "resin" or measure is None or not measure.area:
        return []
    resin = planned.asked.resins[index]
    above, left = level_resin(inlay, planned.clamping.surface, resin.dam), planned.clamping.proud(inlay)
    depths = {colour: (least + left, most + left) for colour, (least, most) in measure.depth_by_colour.items()}
    return [
        amount(
            colour, area=area, pocket=measure.by_colour[colour][1] - inlay.overfill * area,
            overfill=above[colour], depth=depths[colour], deep=depths[colour][1] + inlay.overfill,
            resin=resin,
        )
        for colour, area in measure.area_by_colour.items() if area
    ]


def poured_together(parts: Sequence[tuple[Plan, Verification]]) -> list[dict[str, Any]]:
    """What is mixed at each stop for the fills of all parts of a blank, for each kind of resin.

    A row for each colour, whose amounts in all parts are mixed in one cup; and where there are more colours, one
    batch from which all are tinted.
    """
    found: dict[int, list[tuple[Resin, list[tuple[int, Amount, float]]]]] = {}
    for number, (planned, checked) in enumerate(parts, 1):
        for step in planned.clamping.steps:
            inlay = step.operation.opens
            if inlay is None or step.turn is None or step.turn.fill_after is None:
                continue
            index = planned.clamping.inlays.index(inlay)
            resin, pours = planned.asked.resins[index], found.setdefault(step.turn.fill_after, [])
            like = next((own for other, own in pours if replace(other, dam=resin.dam) == resin), None)
            if like is None:
                pours.append((resin, like := []))
            like += [(number, one, one.depth[1] + inlay.overfill) for one in amounts(planned, checked, index)]
    return [_poured(after, resin, own) for after, pours in sorted(found.items()) for resin, own in pours if own]


def _poured(after: int, resin: Resin, every: list[tuple[int, Amount, float]]) -> dict[str, Any]:
    rows, needed = [], 0.0
    for colour in dict.fromkeys(one.colour for _, one, _ in every):
        own = [(number, one, deep) for number, one, deep in every if one.colour == colour]
        depths = [depth for _, one, _ in own for depth in one.depth]
        whole = amount(colour, area=sum(one.area for _, one, _ in own), pocket=sum(one.pocket for _, one, _ in own),
                       overfill=sum(one.overfill for _, one, _ in own), depth=(min(depths), max(depths)),
                       deep=max(deep for *_, deep in own), resin=resin)
        rows.append({"colour": colour, "parts_for": [number for number, *_ in own],
                     "needed_volume": _round(whole.needed, 2), **_batch(whole.batch)})
        needed += whole.needed
    batch = batch_of(needed, deep=max(deep for *_, deep in every), resin=resin)
    return {"after": after, "colours": rows,
            "batch": {"needed_volume": _round(needed, 2), **_batch(batch)} if len(rows) > 1 else None}


def _one_batch(planned: Plan, every: list[Amount], index: int) -> dict[str, Any] | None:
    """All colours of a pour tinted from one batch; None for one colour."""
    if len(every) < 2:
        return None
    inlay = planned.clamping.inlays[index]
    deep = max(one.depth[1] for one in every) + inlay.overfill
    needed = sum(one.needed for one in every)
    return {"needed_volume": _round(needed, 2),
            **_batch(batch_of(needed, deep=deep, resin=planned.asked.resins[index]))}


def contrast_rows(planned: Plan, *, near: float = NEIGHBOURS) -> list[dict[str, Any]]:
    """Every fill whose colour was chosen against the wood, bare and finished, and against the colours within `near`."""
    rows = []
    bare, finished = planned.asked.wood
    filled = [(c, shape) for i in planned.clamping.inlays if i.fill != "none" for c, shape in i.regions
              if c not in planned.asked.unchosen]
    for colour in dict.fromkeys(c for c, _ in filled):
        rows += [_contrast(colour, "bare wood", bare)] if bare else []
        rows += [_contrast(colour, "finished wood", finished)] if finished else []
    seen = set()
    for (one, a), (other, b) in itertools.combinations(filled, 2):
        pair = frozenset((one, other))
        if one != other and pair not in seen and shapely.distance(a, b) <= near:
            seen.add(pair)
            rows.append(_contrast(one, other, other))
    return rows


def _measure(checked: Verification, index: int) -> PocketMeasure | None:
    return next((m for m in checked.pockets if m.inlay == index), None)


def _stages(inlay: Inlay, found: tuple[Touch, ...]) -> list[list[str]]:
    return proposed_stages(inlay.colours, found, {c: shape.area for c, shape in inlay.regions})


def _touching(touch: Touch) -> dict[str, Any]:
    return {
        "colours": list(touch.colours),
        "length": _round(touch.length, 2),
        "places": [[_round(x, 2), _round(y, 2)] for x, y in touch.places[:MOST_PLACES]],
        "stretches": len(touch.lengths),
    }


def _amount(one: Amount) -> dict[str, Any]:
    return {
        "colour": one.colour,
        "area": _round(one.area, 2),
        "depth": [_round(one.depth[0], 3), _round(one.depth[1], 3)],
        "pocket_volume": _round(one.pocket, 2),
        "overfill_volume": _round(one.overfill, 2),
        "waste_volume": _round(one.waste, 2),
        "needed_volume": _round(one.needed, 2),
        **_batch(one.batch),
    }


def _batch(one: Batch) -> dict[str, Any]:
    return {
        "total_volume": _round(one.total, 2),
        "mass": None if one.mass is None else _round(one.mass, 3),
        "parts": {name: _round(part, 9) for name, part in one.parts.items()},
        "parts_unit": one.parts_unit,
        "measure": one.measure,
        "pours": one.pours,
    }


def _second_cut(
    planned: Plan, checked: Verification, index: int, needed: list[Amount]
) -> dict[str, Any] | None:
    clamping, measure = planned.clamping, _measure(checked, index)
    step = next((s for s in clamping.steps if s.operation.levels is clamping.inlays[index]), None)
    if step is None or measure is None or clamping.surfacing is None:
        return None
    inlay, surfacing, operation = clamping.inlays[index], clamping.surfacing, step.operation
    assert isinstance(operation, CutAgain)
    last, around = operation.takes_all, operation.goes_round
    skim = surfacing.leave if last else surfacing.skim
    depths = [measure.depth_by_colour[c] for c in inlay.colours if measure.area_by_colour[c]]
    proud = inlay.overfill * measure.area
    left = resin_left(inlay, clamping.surface, clamping.board.outline) if around else 0.0
    cut = second_cut(
        board_area=clamping.board.outline.area, area=measure.area, pocket=measure.fill_volume - proud,
        proud=sum(a.overfill for a in needed) - left or proud,
        # depths are counted from the finished surface where a last cut takes what was left
        skim=skim, depth=(min((d[0] for d in depths), default=0.0) + (skim if last else 0.0),
                          max((d[1] for d in depths), default=0.0) + (skim if last else 0.0)),
        skim_before=any(s.operation.levels and s.order < step.order for s in clamping.steps),
    )
    return {
        "program": step.order,
        "area": "inlay" if around else "board",
        "blend": surfacing.blend if around else None,
        "skim": surfacing.skim,
        "leave": surfacing.leave if last else 0.0,
        "wood_volume": _round(cut.wood, 2),
        "fill_volume": _round(cut.fill, 2),
        "depth_left": [_round(cut.depth_left[0], 3), _round(cut.depth_left[1], 3)],
        "repeats_first_pass": surfacing.skim == 0 and clamping.moved_at(step) is None
        and not around and not last,
    }


def _contrast(colour: str, against: str, other: str) -> dict[str, Any]:
    return {
        "colour": colour,
        "against": against,
        "against_colour": other,
        "ratio": math.floor(contrast_ratio(colour, other) * 100) / 100,  # 2.996 is not 3 (WCAG 2.2)
        "difference": _round(colour_difference(colour, other), 1),
    }


def _shift_rows(clamping: Clamping) -> dict[str, Any] | None:
    if clamping.surfacing is None:
        return None
    edge = shapely.get_coordinates(clamping.board.outline.exterior.segmentize(5.0))
    errors = shift_errors(clamping.board.surface, edge, SHIFT)
    rows = [{"direction": d, "low": _round(low), "high": _round(high)} for d, (low, high) in errors.items()]
    return {"shift": SHIFT, "rows": rows}


def _marks(clamping: Clamping) -> dict[str, Any] | None:
    marks = clamping.feature(WitnessMarks)
    if marks is None:
        return None
    tops = np.full(len(marks.places), clamping.stock.thickness) if marks.tops is None else marks.tops
    machine, now = (clamping.to_machine(np.column_stack([marks.places, tops]), step)
                    for step in (None, clamping.steps[-1]))
    return {
        "places": [[_round(x, 3), _round(y, 3)] for x, y in marks.places],
        # where to move the machine to: from the zero of the set-up, along its own axes
        "machine": [[_round(x, 4), _round(y, 4)] for x, y, _ in machine],
        "machine_top": _round(clamping.stock.thickness - clamping.z_zero, 4),
        "blank": [clamping.stock.length, clamping.stock.width, clamping.stock.thickness],
        # what the display shows at each on the blank's top: as measured, where the job says
        "z": [_round(z, 4) for _, _, z in machine],
        # the same of work that has moved since
        "now": [[_round(v, 4) for v in at] for at in now] if clamping.moved else None,
        "unchecked": unchecked(marks.places),
        "depth": marks.depth,
        "hover": marks.hover,
        "errors": _errors(marks.errors, clamping) if marks.errors else None,
        "seen": {shape: _round(share, 3) for shape, share in seen(
            np.insert(marks.places, 2, 0.0, axis=1), clamping.board.outline.bounds).items()},
    }


def _moved(clamping: Clamping) -> dict[str, Any] | None:
    moved = clamping.moved
    if moved is None:
        return None
    along, across = moved.tilt_deg
    return {
        "first_program": clamping.moved_from,
        "shift": [_round(v, 4) for v in moved.shift],
        "about": [_round(v, 3) for v in moved.centre],
        "turn": _round(moved.turn_deg),
        "tilt_along": _round(along),
        "tilt_across": _round(across),
        "residuals": [[_round(v, 4) for v in row] for row in moved.residuals],
        "worst_residual": _round(moved.worst, 4),
        "errors": _errors(moved.errors, clamping) if moved.errors else None,
    }


def _errors(errors: MarkErrors, clamping: Clamping) -> dict[str, Any]:
    """Pairs of (height, place) in mm; None for each where marks leave a turn or tilt open."""
    pairs = {"nut": errors.nut, "end": errors.end, "anywhere": errors.anywhere}
    return {
        "accuracy": errors.accuracy,
        "near": clamping.board.names.near,
        **{name: [_round(v, 4) if math.isfinite(v) else None for v in pair] for name, pair in pairs.items()},
    }


def _touch_warnings(clamping: Clamping, inlay: Inlay) -> Iterator[Finding]:
    found = touches(inlay.regions)
    if not found:
        return
    stages = " then ".join(" with ".join(stage) for stage in _stages(inlay, found))
    shared = [f"{touch.colours[0]} and {touch.colours[1]} share {touch.length:.1f} mm of edge in "
              f"{counted(len(touch.lengths), 'place')}" for touch in found]
    x, y = found[0].places[0]
    yield Finding(
        code="colours-touch", severity="warn", where=f"{inlay.name}, {place_words(x, y)}",
        got=f"{_the_first(shared)}, and are poured together",
        allowed="colours of one stage with wood between them",
        remedy=f"write an [[inlay]] for each stage: {stages}" + (
            f"; or leave wood between them, with wall = {as_written(WALL[clamping.units], clamping.units)}, and "
            "thicken the resin: poured so near each other, level resin of both still runs together"
            if _stand_apart(clamping, inlay, WALL[clamping.units]) else ""),
    )


def _stand_apart(clamping: Clamping, inlay: Inlay, wall: float) -> bool:
    """Whether the inlay's cutters would still open half of each colour with a wall between them."""
    finest = min((step.cutter.radius for step in clamping.steps
                  if step.operation.opens is inlay and step.cutter.is_flat), default=0.0)
    return all(
        overlay.buffer(overlay.buffer(shape, -finest), finest).area > 0.5 * was.area
        for (_, shape), (_, was) in zip(walled(inlay.regions, wall), inlay.regions, strict=True)
    )


def _the_first(told: Sequence[str]) -> str:
    """The first few of what is to be told, and how many more there are."""
    return ", ".join(told[:_TOLD]) + (f" (and {counted(len(told) - _TOLD, 'pair')} more)" if told[_TOLD:] else "")


def _shared_dams(planned: Plan, inlay: Inlay) -> Iterator[Finding]:
    """Colours of one pour that do not touch, and still so near that a dam round each would meet or hold the other."""
    out, units = planned.asked.resins[inlay.index].dam, planned.clamping.units
    touching = {touch.colours for touch in touches(inlay.regions)}
    dams = {colour: dam_round(replace(inlay, regions=((colour, shape),)), out) for colour, shape in inlay.regions} \
        if len(inlay.regions) > 1 else {}
    near, inside = [], []
    for (one, first), (other, second) in itertools.combinations(inlay.regions, 2):
        if (one, other) in touching:
            continue
        apart = float(shapely.distance(first, second))
        if apart < 2 * out:
            way = shapely.get_coordinates(shapely.shortest_line(first, second)).mean(axis=0)
            near.append((apart, f"{one} and {other} are {_gap(apart, units)} apart", way))
        else:
            inside += [pair for pair, shape in (((one, other), second), ((other, one), first))
                       if shapely.intersects(dams[pair[0]], shape)][:1]
    if near:
        near.sort(key=lambda one: one[0])
        yield _run_together(
            f"{inlay.name}, {place_words(*near[0][2].tolist())}", f"{_the_first([told for _, told, _ in near])}",
            f"{coarse_length(2 * out, units)} or more, for a dam round each ([resin] dam on either side)", "thicken")
    if inside:
        told = _the_first([f"{within} lies inside the dam of {dammed}" for dammed, within in inside])
        around = list(dict.fromkeys(dammed for dammed, _ in inside))
        parts = " and ".join(around) if len(around) <= _TOLD else f"each of these {len(around)} outer colours"
        yield _run_together(
            inlay.name, f"{told}, as a taut thread goes round it", "each colour inside a dam of its own",
            f"dam the parts of {parts} one by one, thicken")


def _gap(apart: float, units: str) -> str:
    least = {"mm": 0.1, "in": 0.01 * INCH}[units]
    return coarse_length(apart, units) if apart >= least else f"less than {coarse_length(least, units)}"


def _inside_dams(planned: Plan, inlay: Inlay) -> BaseGeometry:
    """All that is inside any of the dams of an inlay."""
    return overlay.union_all([dam.inside for dam in planned.dams[inlay.index]])


def _open_in_dam(planned: Plan, inlay: Inlay) -> Iterator[Finding]:
    """What was opened before the pour, and stays open, inside the dam: level resin runs into it."""
    dammed = _inside_dams(planned, inlay)
    for other in planned.clamping.inlays:
        if other.fill == "none" and other.index < inlay.index and shapely.intersects(dammed, other.area):
            yield Finding(
                code="open-in-dam", severity="warn", where=inlay.name,
                got=f"{other.name} is open, and lies inside the dam: level resin runs into it",
                allowed="nothing open inside the dam", remedy=f"fill {other.name} with tape or wax before you pour, or "
                "write it after this one: it is then opened when the fill is cut level",
            )



def _run_together(where: str, got: str, allowed: str, first: str) -> Finding:
    return Finding(
        code="colours-near", severity="note", where=where, got=f"{got}: level resin of both would run together there",
        allowed=allowed, remedy=f"{first} the resin so that it stays where it is put, or write an [[inlay]] for each: "
                                "one is then cut level before the next is opened",
    )


def _overfill_warnings(clamping: Clamping, inlay: Inlay) -> Iterator[Finding]:
    """Fill that no shop would leave so high; level resin that cannot cover a pocket and stay within the overfill."""
    units = clamping.units
    stands = format_length(inlay.overfill, units)
    if inlay.fill != "none" and inlay.overfill > MOST_OVERFILL:
        yield Finding(
            code="much-overfill", severity="warn", where=f"{inlay.name} overfill", got=f"{stands} above the surface",
            allowed=f"usually {format_length(MOST_OVERFILL, units)} or less",
            remedy="see that it is no slip: the second cut begins that high, and it all has to be mixed and cut off",
        )
    most = stands_at_most(inlay, clamping.board.surface, clamping.board.outline) if inlay.fill == "resin" else 0.0
    if most > inlay.overfill + 1e-6:
        low = format_length(most, units, decimals={"mm": 2, "in": 3}[units])
        yield Finding(
            code="resin-levels", severity="warn", where=f"{inlay.name} overfill",
            got=f"liquid resin that covers the highest place of the drawing stands {low} above the lowest "
            "inside its dam",
            allowed=f"overfill, {stands}",
            remedy="make overfill larger, dam nearer to the drawing, thicken the resin so that it stays where it is "
            "put, or dam and fill the drawing's parts one by one",
        )


def _pour_warnings(inlay: Inlay, one: Amount, limit: float | None) -> Iterator[Finding]:
    if one.batch.pours > 1 and limit is not None:
        yield Finding(
            code="too-deep-a-pour", severity="warn", where=f"{inlay.name}, {one.colour}",
            got=f"{one.depth[1] + inlay.overfill:.2f} mm of resin", allowed=f"{limit:g} mm in one pour",
            remedy=f"pour it in {one.batch.pours} layers, as the resin's sheet says, or make depth or overfill smaller",
        )


def _dam_off_blank(clamping: Clamping, inlay: Inlay) -> Iterator[Finding]:
    """A dam that would stand in the air beside the blank; its resin is counted as if it did not."""
    x0, y0, x1, y1 = lies_over(inlay).bounds
    left, low, right, high = clamping.stock.bounds
    past = max(left - x0, low - y0, x1 - right, y1 - high)
    if inlay.dam is not None and past > 0.005:
        yield Finding(
            code="dam-off-blank", severity="note", where=f"{inlay.name} dam",
            got=f"the dam, {inlay.dam:g} mm round the drawing, goes up to {past:.2f} mm past the edge of the blank",
            allowed="on the blank",
            remedy="run it along the blank's edge (the resin counted for what lies past that is to spare), or make dam "
                   "smaller or the blank larger",
        )


def _dam_notes(planned: Plan, inlay: Inlay) -> Iterator[Finding]:
    """Resin that cures in the waste beside the part, where a second cut over the inlay alone does not come."""
    clamping = planned.clamping
    step = next((s for s in clamping.steps if s.operation.levels is inlay), None)
    if step is None or not isinstance(step.operation, CutAgain):
        return
    left = left_by_edge(inlay, clamping.board.outline)
    if step.operation.goes_round and left.area >= LEAST_LEFT:
        part, near = step.operation.surfacing.part, format_length(PAST, clamping.units)
        yield Finding(
            code="dam-past-the-cut", severity="note", where=f"{inlay.name}, program {step.order}",
            got=f"the dam holds resin on {left.area:.0f} mm2 of waste, more than {near} outside the {part}'s edge, "
            "where this program does not cut", allowed="",
            remedy=f"dam along the {part}'s edge, or scrape that resin off when this program has ended",
        )


def edge_to_edge(inlays: Sequence[Inlay], units: str) -> Iterator[Finding]:
    """Colours of different stages that share an edge, and do not overlap under it."""
    for first, later in itertools.combinations(inlays, 2):
        if overlay.intersection(first.area, later.area).area > 0.01:
            continue
        found = touches([(first.name, first.area), (later.name, later.area)])
        if found:
            yield Finding(
                code="edge-to-edge", severity="note", where=f"{first.name} and {later.name}",
                got=f"{found[0].length:.1f} mm of edge are cut twice, once from each side", allowed="",
                remedy=f"write lap = {as_written(LAP[units], units)} for {first.name}: the later cut "
                       "then goes through cured fill and leaves no sliver",
            )


def _contrast_warnings(planned: Plan) -> Iterator[Finding]:
    low = sorted((row for row in contrast_rows(planned, near=ADJOINING) if row["ratio"] < LEAST_CONTRAST),
                 key=lambda row: row["ratio"])
    if low:
        yield Finding(
            code="low-contrast", severity="warn", where="fills and wood",
            got=("contrasts of " if low[1:] else "a contrast of ") + _the_first([
                f"{row['ratio']:.2f}:1 ({row['colour']} against {row['against']}, colour difference "
                f"{row['difference']:.1f})" for row in low]),
            allowed=f"{LEAST_CONTRAST:g}:1 or more (WCAG 2.2, 1.4.11)",
            remedy="try both on a scrap under the finish, or take a lighter or darker fill",
        )


def _marks_warnings(clamping: Clamping) -> Iterator[Finding]:
    """Marks in the wood already from which the work could not be found again: places to come are refused."""
    marks = clamping.feature(WitnessMarks)
    if marks is None or marks.errors is None or marks.errors.worst <= marks.errors_limit:
        return
    yield Finding(
        code="marks-too-near", severity="warn", where="[marks] drilled",
        got=error_words(_errors(marks.errors, clamping), clamping.units),
        allowed=format_length(marks.errors_limit, clamping.units),
        remedy="they show whether the work has moved, but not how: see that their numbers are what was measured"
               f"{marks.errors.more_exactly(marks.errors_limit)}",
    )


def _second_cut_notes(clamping: Clamping) -> Iterator[Finding]:
    if clamping.moved is not None:
        moved, first = clamping.moved, clamping.moved_from
        along, across = moved.tilt_deg
        yield Finding(
            code="work-moved", severity="note", where=f"program {first} and later",
            got=f"written for work shifted by {', '.join(f'{v:z.3f} mm' for v in moved.shift)} (along, across, up) at "
            f"the middle of the marks, turned by {moved.turn_deg:z.3f} degrees and tilted by {along:z.3f} degrees "
            f"along and {across:z.3f} across; {moved.worst:.3f} mm is left over at the worst mark"
            + (f"; {error_words(_errors(moved.errors, clamping), clamping.units)}" if moved.errors else ""), allowed="",
            remedy="the second cut repeats the first only as nearly as the marks were measured",
        )
        if len(moved.residuals) == 3:
            yield Finding(
                code="three-marks", severity="note", where="[[measured]]", got="three marks", allowed="",
                remedy="three always fit a tilt: measure a fourth to see whether the work has twisted, and each twice, "
                       "from Z 0 on: no other checks its height",
            )
        elif alone := unchecked(moved.places):
            yield Finding(code="height-unchecked", severity="note", where="[[measured]]", got=alone_words(alone),
                          allowed="", remedy="an error there tilts all that is cut from now on")
    limited = clamping.surfacing is not None and clamping.surfacing.resurface_area == "inlay"
    if limited and clamping.surfacing and clamping.cutter(CutAgain):
        yield Finding(
            code="second-cut-in-part", severity="note", where="[resurface] area", allowed="",
            got=f"the second cut goes {format_length(clamping.surfacing.blend, clamping.units)} round each drawing and "
            "over all that is inside its dam, on the lines of the first",
            remedy="see that no fill lies further out, or scrape it off first, and sand what it leaves",
        )
    if clamping.setup.z_zero == "stock-top" and len({s.cutter.name for s in clamping.steps}) > 1:
        yield Finding(
            code="zero-on-raw-top", severity="warn", where="[setup] z_zero",
            got="Z 0 is the raw top, which surfacing takes away over the part, and cutters are changed after that",
            allowed="", remedy='set Z from raw top left outside the cut, or write z_zero = "bed"',
        )


def _round(value: float, places: int = 5) -> float:
    return round(float(value), places) + 0.0

