"""What the cutters can reach of each drawing, as data and in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache, partial
from itertools import accumulate
from typing import Any

from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.cutters import FINEST, Cutter
from pathgen.base.units import area_words, fine_length, place_words, rounded_down
from pathgen.programs.plan import Plan, opened_in_plan, opened_of_shape, pockets_with
from pathgen.programs.timing import times
from pathgen.report.programs import Program
from pathgen.report.reckoning import CHANGE, cleared_by, likely_opened, simplified
from pathgen.report.wood_left import wall_words
from pathgen.report.wording import table
from pathgen.strategies.matching import pockets_for
from pathgen.strategies.reach import Cut, CutterReach, Others, Reach, SetReach, alike, reach, share_of, usual_sets
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay
from pathgen.work.thin_wood import MEET
from pathgen.work.touching import Regions, touches
from pathgen.work.walls import Wall, narrowest_wall

FILM = 0.004
"""Thinner places, of this mean width in mm, are what openings drawn as polygons leave along edges."""
_MAY_WIN = 1.5
"""Times the minutes of the quickest set with the same last cutter, by reckoning, up to which one is tried."""
_SAME = 0.001  # share of a drawing below which one set of cutters opens as much as another
DETAILS_IN_WORDS = 8
"""Details listed in words, and in the report of a build, for each colour; `pathgen reach --json` has them all."""


def reach_of_all(clamping: Clamping, cutters: Sequence[Cutter]) -> list[Reach]:
    """For each inlay, what its own cutters and the others of `cutters` open, and in what time; its own set first."""
    found = []
    for index, inlay in enumerate(clamping.inlays):
        own, every = tuple(clamping.cutters_of(inlay)), _candidates(clamping, index, cutters)
        without = [own[:k] + own[k + 1 :] for k in range(len(own))] if len(own) > 1 else []
        into = [one for one in every if one.shape == "v" or
                not overlay.buffer(inlay.area, -one.radius).is_empty]
        others = [one for one in dict.fromkeys((*without, *_promising(inlay, own, into))) if one != own]
        found.append(_reach_of(clamping, index, every, sets=[own, *others]))
    return found


def _promising(inlay: Inlay, own: Sequence[Cutter], cutters: Sequence[Cutter]) -> list[tuple[Cutter, ...]]:
    """Usual sets that may be the quickest to open what they open, by reckoning; and the job's cutters alone."""
    area = simplified(inlay.area)
    opened = {one.name: likely_opened(one, area) if one.is_flat else float(area.area) for one in cutters}
    best: dict[str, float] = {}
    reckoned = {group: cleared_by(group, [opened[one.name] for one in group], inlay.depth)
                for group in usual_sets(cutters)}
    for group, minutes in reckoned.items():
        best[group[-1].name] = min(minutes, best.get(group[-1].name, math.inf))
    likely: dict[tuple[str, int], tuple[Cutter, ...]] = {}
    for group in sorted(reckoned, key=lambda one: reckoned[one]):
        if reckoned[group] < _MAY_WIN * best[group[-1].name]:
            likely.setdefault((group[-1].name, len(group)), group)
    return [group for group in reckoned if group in likely.values() or (len(group) == 1 and group[0] in own)]


def reach_of_plan(planned: Plan, programs: Sequence[Program]) -> list[Reach]:
    """For each inlay, what each of its own cutters can open, and what the programs open and take, cutter by cutter."""
    found = []
    for index, (inlay, cuts) in enumerate(zip(planned.clamping.inlays, planned.pockets, strict=True)):
        own = [p for p in programs if p.step.operation.opens is inlay]
        # the programs of the first few cutters are the same whether others come after them or not
        minutes, later = accumulate(p.minutes for p in own), cut_later(planned.clamping, index)
        sets = [SetReach(cutters=tuple(p.cutter.name for p in own[:count]), minutes=spent,
                         share=share_of(cut.opened, inlay.shown_area, later, wider=bool(inlay.drawn)),
                         narrowest_wall=narrowest_wall(cut.opened, _beside(planned.opened, index)))
                for count, (cut, spent) in enumerate(zip(cuts, minutes, strict=True), 1)]
        one = _reach_of(planned.clamping, index, [p.cutter for p in own], sets=(), most_details=DETAILS_IN_WORDS,
                        opened=planned.opened)
        found.append(replace(one, sets=alike(sets, [row for row in one.cutters if not row.sloping])))
    return found


def closed_by(clamping: Clamping, index: int, cutters: Sequence[Cutter]) -> tuple[CutterReach, ...]:
    """What some cutters would leave closed of each colour of an inlay between them."""
    return _reach_of(clamping, index, cutters, sets=(), most_details=1).together


def reach_of_cutters(clamping: Clamping) -> list[Reach]:
    """For each inlay, what each of its own cutters can open; no programs are needed, and no times known."""
    opened = opened_of(clamping)
    return [_reach_of(clamping, index, clamping.cutters_of(inlay), sets=(), most_details=DETAILS_IN_WORDS,
                      opened=opened)
            for index, inlay in enumerate(clamping.inlays)]


def opened_of(clamping: Clamping) -> tuple[BaseGeometry, ...]:
    """What the cutters of each inlay open, by its index; no programs are needed."""
    return tuple(
        opened_in_plan(clamping, inlay,
                       of_v=lambda _, inlay: pockets_with(clamping, inlay, clamping.cutters_of(inlay))[-1].opened)
        for inlay in clamping.inlays)


@lru_cache(maxsize=8)
def opened_alone(clamping: Clamping, inlay: Inlay) -> Regions:
    """What an inlay's cutters would open of each of its colours by itself, of those that touch others in one pour: what
    is finer lies open in one pocket with them, and nothing keeps it apart. The rest as drawn. Small cutters may have
    nothing to do but that."""
    cutters = clamping.cutters_named_for(inlay)
    touching = {colour for touch in touches(inlay.regions) for colour in touch.colours}
    if not cutters or cutters[-1].shape == "v" or inlay.fill != "resin":  # a v rises into all that is fine
        return inlay.regions
    return tuple((colour, opened_of_shape(clamping, inlay, shape, cutters) if colour in touching else shape)
                 for colour, shape in inlay.regions)


def _beside(opened: Sequence[BaseGeometry], index: int) -> BaseGeometry | None:
    """What is opened of all inlays but one; None where that is nothing."""
    return overlay.union_all([one for k, one in enumerate(opened) if k != index]) if len(opened) > 1 else None


def cut_later(clamping: Clamping, index: int) -> BaseGeometry | None:
    """What later inlays cut of an inlay, as strips that run on under them; None where that is nothing, or all of it."""
    own = clamping.inlays[index].area
    later = overlay.union_all([other.area for other in clamping.inlays[index + 1 :]
                               if overlay.intersection(own, other.area).area > FILM])
    return None if later.is_empty or overlay.difference(own, later).area <= FILM else later


def reach_data(of_inlay: Reach) -> dict[str, Any]:
    """One inlay's reach as plain values: mm, mm2, minutes."""
    return {
        "cutters": [
            {
                "colour": one.colour, "cutter": one.cutter, "share": round(one.share, 5),
                "area": round(one.area, 3), "reachable_area": round(one.reachable_area, 3),
                "details": [{"at": [round(v, 3) for v in d.at], "area": round(d.area, 3), "width": round(d.width, 3),
                             "largest_cutter": round(d.largest, 3)}
                            for d in one.details],
            }
            for one in of_inlay.cutters
        ],
        "sets": [{"cutters": list(one.cutters), "idle": list(one.idle), "share": round(one.share, 5),
                  "minutes": round(one.minutes, 2), "narrowest_wall": _wall_data(one.narrowest_wall)}
                 for one in of_inlay.sets],
        "worth": worth(of_inlay),
        "narrowest_wall": _wall_data(of_inlay.narrowest_wall),
    }


def _wall_data(wall: Wall | None) -> dict[str, Any] | None:
    return None if wall is None else {"width": round(wall.width, 3), "at": [round(v, 3) for v in wall.at]}


def worth(of_inlay: Reach) -> list[dict[str, Any]]:
    """Minutes that each cutter of the first set saves, and share it opens more, where the set without it was tried."""
    own, *others = of_inlay.sets or (SetReach(cutters=(), share=0.0, minutes=0.0),)
    found = {one.cutters: one for one in others}
    rows = []
    for k, name in enumerate(own.cutters):
        less = own.cutters[:k] + own.cutters[k + 1 :]
        without = found.get(less) or found.get(tuple(one for one in less if one not in own.idle))
        if without is not None and name not in own.idle:
            rows.append({"cutter": name, "minutes_saved": round(without.minutes - own.minutes, 2),
                         "opens_more": round(own.share - without.share, 5), "minutes_to_change": CHANGE})
    return rows


def _worth_words(row: dict[str, Any]) -> str:
    name, saved, change = row["cutter"], row["minutes_saved"], row["minutes_to_change"]
    if row["opens_more"] >= _SAME:
        return f"{name} opens {100 * row['opens_more']:.1f} % that the others of the set cannot."
    if row["opens_more"] <= -_SAME:
        return f"Without {name} the others of the set open {-100 * row['opens_more']:.1f} % more."
    saves = f"saves {saved:.1f} min" if saved >= 0 else f"costs {-saved:.1f} min"
    return f"{name} {saves} and opens nothing more; changing to it takes about {change:g} min."


def _rising_words(of_inlay: Reach) -> Iterator[str]:
    """Why a v that others come after in the job's own set opens less there than alone, where it does."""
    own, *others = of_inlay.sets
    alone = {one.cutters[0]: one.share for one in others if len(one.cutters) == 1}
    for name in dict.fromkeys(one.cutter for one in of_inlay.cutters if one.sloping):
        if name in own.cutters[:-1] and alone.get(name, 0.0) >= own.share + _SAME:
            yield f"{name} rises into corners only where it comes last: with others after it less is open than by it " \
                  "alone, as its line above and its own set count it."


def quickest(of_inlay: Reach) -> SetReach:
    """The set quickest with its changes of those that open as much as the first, down to the floor where that does."""
    sloping, own = {one.cutter for one in of_inlay.cutters if one.sloping}, of_inlay.sets[0]
    enough = [one for one in of_inlay.sets if one.share > own.share - _SAME
              and (sloping.isdisjoint(one.cutters) or not sloping.isdisjoint(own.cutters))]
    return min(enough, key=_with_changes)


def _with_changes(one: SetReach) -> float:
    return one.minutes + CHANGE * len(one.busy)


def _quickest_words(of_inlay: Reach) -> str:
    best = quickest(of_inlay)
    names = "the job's own" if best.cutters in (of_inlay.sets[0].cutters, of_inlay.sets[0].busy) \
        else " then ".join(best.cutters)
    crumbs = any(len(one.cutters) > 1 for one in of_inlay.sets)
    return f"Of the sets that open as much as the job's, {names} is the quickest with its changes. They count " \
           f"{CHANGE:g} min for each cutter; one that another step uses next to this one costs none." + (
               " A later cutter is not sent back for crumbs: a set may open a little less than its finest cutter alone."
               if crumbs else "")


def reach_lines(name: str, of_inlay: Reach, units: str, *, smallest: str) -> Iterator[str]:
    """One inlay's reach in words; details for its `smallest` cutter. The first of the sets is the job's own."""
    yield name
    yield from table(["colour", "cutter", "within reach"],
                     [[one.colour, one.cutter, f"{100 * one.share:.1f} %"] for one in of_inlay.cutters], right=(2,))
    sloping = dict.fromkeys(one.cutter for one in of_inlay.cutters if one.sloping and one.share > _SAME)
    if sloping:
        yield f"{' and '.join(sloping)}: so much is open at the surface; the walls slope, and the floor is smaller."
    yield from _detail_lines(of_inlay, smallest, units)
    if wall := _wall_data(of_inlay.narrowest_wall):  # rounded as the report is, which says it too
        yield f"Narrowest wood between what the job's cutters open: {wall_words(wall['width'], wall['at'], units)}"
    if of_inlay.sets:
        yield "Cutters to choose from, one after the other (* as the job says):"
        yield from table(
            ["  cutters", "opened", "narrowest wood", "time", "with changes"],
            [[("  " if k else "* ") + " then ".join(one.cutters), f"{100 * one.share:.1f} %", _narrowest(one, units),
              f"{one.minutes:.1f} min", f"{_with_changes(one):.1f} min"]
             for k, one in enumerate(of_inlay.sets) if one.share > 0 or k == 0], right=(1, 2, 3, 4))
        if idle := of_inlay.sets[0].idle:
            yield f"{' and '.join(idle)}: nothing to do in the job's set, so no program, and no change is counted."
        yield from _rising_words(of_inlay)
        yield from map(_worth_words, worth(of_inlay))
        if len(of_inlay.sets) > 1:
            yield _quickest_words(of_inlay)


def _narrowest(one: SetReach, units: str) -> str:
    wall = one.narrowest_wall
    return "none" if wall is None or wall.width < MEET else fine_length(wall.width, units)


def _detail_lines(of_inlay: Reach, cutter: str, units: str) -> Iterator[str]:
    for one in of_inlay.cutters:
        if one.cutter != cutter or not one.details:
            continue
        yield f"What {cutter} cannot open of {one.colour}, the largest first:"
        rows = [[f"  {area_words(d.area, units)}", place_words(*d.at, units),
                 "a corner" if d.is_corner else fine_length(d.width, units),
                 fine_length(rounded_down(d.largest, units), units) if d.largest >= FINEST else "a v cutter"]
                for d in one.details[:DETAILS_IN_WORDS]]
        yield from table(["  area", "at", "width there", "opens nine tenths"], rows, right=(0, 2, 3))
        if len(one.details) > DETAILS_IN_WORDS:
            yield f"  and {len(one.details) - DETAILS_IN_WORDS} more, all smaller"


def _reach_of(
    clamping: Clamping, index: int, cutters: Sequence[Cutter], *, sets: Sequence[Sequence[Cutter]],
    most_details: int = 100, opened: Sequence[BaseGeometry] | None = None,
) -> Reach:
    inlay, surface = clamping.inlays[index], clamping.board.surface
    beside = opened or (opened_of(clamping) if len(clamping.inlays) > 1 else ())
    proud = clamping.proud(inlay)  # only flat ends are let through what is left, and they open the same at any depth
    return reach(
        inlay.shown, cutters, depth=inlay.depth + proud, sets=sets,
        surface=replace(surface, thickness=surface.thickness + proud),
        most_details=most_details, opened=opened[index] if opened else None,
        cuts=partial(_cuts, clamping, inlay) if sets else None,  # a clamping is nothing to remember an answer by
        others=Others(pocketed=_beside(beside, index), later=cut_later(clamping, index), least_round=inlay.least_round))


def _cuts(clamping: Clamping, inlay: Inlay, group: Sequence[Cutter]) -> Cut:
    """As the plan of a build cuts it: of pockets for pieces as that group would have them."""
    if inlay.least_round is not None:
        if not all(cutter.is_flat for cutter in group):
            return ()
        inlay = replace(inlay, regions=tuple(pockets_for(inlay.drawn, group, inlay.least_round)))
        if inlay.area.is_empty:
            return ()
    return [(cut, times(cut.toolpath, cut.cutter, clamping.machine).total)
            for cut in pockets_with(clamping, inlay, group)]


def _candidates(clamping: Clamping, index: int, cutters: Sequence[Cutter]) -> list[Cutter]:
    """The inlay's own cutters, then every other one that may cut there and whose flute is long enough: beside upright
    pieces a flat end."""
    inlay = clamping.inlays[index]
    own, proud = clamping.cutters_of(inlay), clamping.proud(inlay)
    names, depth = {cutter.name for cutter in own}, inlay.depth + proud
    return own + [c for c in cutters if c.name not in names and c.flute_length >= depth
                  and (c.shape == "flat-end" or not (proud or inlay.drawn))]
