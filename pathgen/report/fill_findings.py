"""Warnings and notes about the fills and the second cut, for a maker who has not yet cut anything."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.contrast import AT_A_GLANCE, LEAST_CONTRAST
from pathgen.base.plain import counted, joined
from pathgen.base.units import INCH, as_written, coarse_length, falls_short, format_length, place_words, rounded_up
from pathgen.programs.plan import Plan
from pathgen.programs.timing import times
from pathgen.programs.zeroing import refits, surfaced_before
from pathgen.report.filling import ADJOINING, Near, amounts, contrast_rows, pouring_stages, too_near
from pathgen.report.filltext import stages_head
from pathgen.report.moving import moving_findings
from pathgen.report.reaching import opened_alone
from pathgen.strategies.reach import Reach
from pathgen.verify import Verification
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay, in_one
from pathgen.work.fill import (
    LEAST_INLAY,
    LEAST_LEFT,
    MOST_OVERFILL,
    PAST,
    RIM,
    Amount,
    dams_of,
    left_by_edge,
    stands_at_most,
)
from pathgen.work.fill_words import dammed
from pathgen.work.operations import CutAgain
from pathgen.work.touching import Regions, Touch, touches, walled

_TOLD = 4  # pairs of colours that one warning tells of; the page's tables hold all
_IN_STAGES = 6  # colours of stages that are listed in a warning
_LEFT_OUT = 6  # drawings named as left out of stages; of more the rule is told
_FINER = 0.1  # share of a colour finer than the cutters from which that is told: corners that come out round are less
LAP = {"mm": 0.3, "in": 0.012 * INCH}
"""By how much an earlier colour is advised to run on under a later one, by units, mm."""
WALL = {"mm": 0.5, "in": 0.02 * INCH}
"""How much wood is advised to be left between colours, by units, mm: enough to stand."""


def filling_findings(planned: Plan, checked: Verification, reached: Sequence[Reach]) -> list[Finding]:
    """Warnings and notes about the fills, for a maker who has not yet cut anything. `reached` is the reach of each
    inlay: how near colours come to each other is asked of what is opened of them."""
    found: list[Finding] = []
    units = planned.clamping.units
    for index, inlay in enumerate(planned.clamping.inlays):
        cut = planned.clamping.cut_before(inlay)  # advice on what is drawn comes too late
        if inlay.fill == "resin" and not cut:
            opened = reached[index].opened
            touching, near = touches(opened), too_near(planned, inlay, opened)
            if touching:  # of the others the proposed stages part some
                stages = pouring_stages(inlay, touching, near)
                near = tuple(one for one in near if any(set(one.colours) <= set(stage) for stage in stages))
                found += _touch_warnings(planned, inlay, touching, stages, near, opened)
            found += [*_shared_dams(planned, inlay, near), *_open_in_dam(planned, inlay)]
        found += overfill_warnings(planned.clamping, inlay)
        for one in amounts(planned, checked, index) if not planned.clamping.levelled_before(inlay) else ():
            found += _pour_warnings(inlay, one, planned.asked.resins[index].pour_depth)
        found += [*_dam_off_blank(planned.clamping, inlay), *_dam_notes(planned, inlay)]
    uncut = [(inlay, in_one(tuple(shape for _, shape in one.opened)))
             for inlay, one in zip(planned.clamping.inlays, reached, strict=True)
             if not planned.clamping.cut_before(inlay)]
    found += [*edge_to_edge(uncut, units), *(_contrast_warnings(planned) if uncut else ())]
    found += moving_findings(planned.clamping)
    found += [*_skimmed_away(planned.clamping), *_second_cut_notes(planned.clamping)]
    return found


def _touch_warnings(
    planned: Plan, inlay: Inlay, found: Sequence[Touch], stages: Sequence[Sequence[str]], near: Sequence[Near],
    opened: Regions,
) -> Iterator[Finding]:
    """Colours that are poured together and touch; `near` are those too near each other in the proposed `stages`."""
    clamping = planned.clamping
    finer = _finer_than_cutters(clamping, inlay, opened)
    words = f"for each stage: {' then '.join(' with '.join(stage) for stage in stages)}" \
        if sum(map(len, stages)) <= _IN_STAGES else \
        f"for each of {len(stages)} stages, listed in report.txt ({stages_head(inlay.name)})"
    these = list(dict.fromkeys(itertools.chain(*(one.colours for one in near))))  # they do not touch
    shared = [f"{touch.colours[0]} and {touch.colours[1]} share "
              f"{coarse_length(touch.length, clamping.units)} of edge in "
              f"{counted(len(touch.lengths), 'place')}" for touch in found]
    x, y = found[0].places[0]
    first = "each but the last" if stages[2:] else "the first"
    yield Finding(
        code="colours-touch", severity="warn", where=f"{inlay.name}, {place_words(x, y)}",
        got=f"{_the_first(shared)}, and are poured together" + (
            f"; {finer} finer than the cutters: in one pocket nothing keeps it apart" if finer else ""),
        allowed="colours of one stage with wood between them",
        remedy=f"write an [[inlay]] {words} ({_more_work(planned, inlay, len(stages) - 1)}), "
               + _left_out_of(inlay, stages) +
               f"with lap = {as_written(LAP[clamping.units], clamping.units)} in {first}, so that no sliver stays "
               "between them" + (
            f", and the resin of {joined(these) if len(these) <= _TOLD else 'those near each other'} thickened"
            if these else "") + (
            ", and draw what is so fine wider or add a smaller cutter" if finer else "") + (
            f"; or leave wood between them, with wall = {as_written(WALL[clamping.units], clamping.units)}, and "
            "thicken the resin: poured so near each other, level resin of both still runs together"
            if _stand_apart(clamping, inlay, WALL[clamping.units]) else ""))


def _left_out_of(inlay: Inlay, stages: Sequence[Sequence[str]]) -> str:
    """Which drawings of an inlay have nothing in which of its stages: a job that names them there is refused."""
    without = [(n, [name for name, colours in inlay.drawings if not set(colours) & set(stage)])
               for n, stage in enumerate(stages, 1)]
    told = [f"{joined(names)} out of stage {n}" for n, names in without if names]
    if sum(len(names) for _, names in without) > _LEFT_OUT:
        return "leaving out of each the drawings that have none of its colours, "
    return f"leaving {joined(told)} (it has none of their colours), " if told else ""


def _stand_apart(clamping: Clamping, inlay: Inlay, wall: float) -> bool:
    """Whether the inlay's cutters would still open half of each colour with a wall between them."""
    finest = min((step.cutter.radius for step in clamping.steps
                  if step.operation.opens is inlay and step.cutter.is_flat), default=0.0)

    def opened(regions: Regions) -> bool:
        return all(overlay.buffer(overlay.buffer(shape, -finest), finest).area > 0.5 * was.area
                   for (_, shape), (_, was) in zip(regions, inlay.regions, strict=True))

    return opened(inlay.regions) and opened(walled(inlay.regions, wall))  # of many fine colours walls take long


def _the_first(told: Sequence[str]) -> str:
    """The first few of what is to be told, and how many more there are."""
    return ", ".join(told[:_TOLD]) + (f" (and {counted(len(told) - _TOLD, 'pair')} more)" if told[_TOLD:] else "")


def _finer_than_cutters(clamping: Clamping, inlay: Inlay, opened: Regions) -> str:
    """What share of which colours is open only since others that they touch are, the largest first; "" for none."""
    alone, drawn = dict(opened_alone(clamping, inlay)), dict(inlay.regions)
    shares = [(colour, (shape.area - alone[colour].area) / drawn[colour].area) for colour, shape in opened]
    finer = sorted((one for one in shares if one[1] > _FINER), key=lambda one: -one[1])
    told = joined([f"{100 * share:.0f} % of {colour}" for colour, share in finer[:_TOLD]] or [""])
    more = f" (and some of {counted(len(finer) - _TOLD, 'colour')} more)" if finer[_TOLD:] else ""
    return told and f"{told}{more} is"


def _more_work(planned: Plan, inlay: Inlay, more: int) -> str:
    """What so many stages more cost, in words: cures, and second cuts with their time where it is known."""
    steps = zip(planned.clamping.steps, planned.paths, strict=False)  # a plan of programs on disk has no paths
    each = sum(times(path, step.cutter, planned.clamping.machine).total
               for step, path in steps if step.operation.levels is inlay)
    return f"{counted(more, 'more cure')} and {counted(more, 'more second cut')}" + (
        f" of about {max(1, round(each))} min{' each' if more > 1 else ''}" if each else "")


def _shared_dams(planned: Plan, inlay: Inlay, pairs: Sequence[Near]) -> Iterator[Finding]:
    """Colours of one pour that do not touch, and still so near that a dam round each would meet or hold the other."""
    out, units = planned.asked.resins[inlay.index].dam, planned.clamping.units
    inside, every = [one.colours for one in pairs if one.inside], len(inlay.regions)
    if near := [one for one in pairs if not one.inside]:
        told = _the_first([f"{one.colours[0]} and {one.colours[1]} are {_gap(one.apart, units)} apart"
                           for one in near])
        yield _run_together(
            f"{inlay.name}, {place_words(*near[0].at)}", told,
            f"{coarse_length(2 * out + RIM, units)} or more, for a dam round each ([resin] dam on either side of a rim "
            f"{coarse_length(RIM, units)} wide)",
            [one.colours for one in near], every=every)
    if inside:
        told = _the_first([f"{within} lies inside the dam of {dammed}" for within, dammed in inside])
        around = list(dict.fromkeys(dammed for _, dammed in inside))
        parts = " and ".join(around) if len(around) <= _TOLD else f"each of these {len(around)} outer colours"
        yield _run_together(
            inlay.name, f"{told}, as a taut thread goes round it", "each colour inside a dam of its own", inside,
            every=every, first=f"dam the parts of {parts} one by one, ")


def _gap(apart: float, units: str) -> str:
    least = {"mm": 0.1, "in": 0.01 * INCH}[units]
    return coarse_length(apart, units) if apart >= least else f"less than {coarse_length(least, units)}"


def _open_in_dam(planned: Plan, inlay: Inlay) -> Iterator[Finding]:
    """What was opened before the pour, and stays open, inside the dam: level resin runs into it."""
    dammed = overlay.union_all([dam.inside for dam in planned.dams[inlay.index]])
    for other in planned.clamping.inlays:
        if other.fill == "none" and other.index < inlay.index and shapely.intersects(dammed, other.area):
            yield Finding(
                code="open-in-dam", severity="warn", where=inlay.name,
                got=f"{other.name} is open, and lies inside the dam: level resin runs into it",
                allowed="nothing open inside the dam", remedy=f"fill {other.name} with tape or wax before you pour, or "
                "write it after this one: it is then opened when the fill is cut level")


def _run_together(where: str, got: str, allowed: str, pairs: Sequence[tuple[str, str]], *, every: int,
                  first: str = "") -> Finding:
    these = list(dict.fromkeys(itertools.chain(*pairs)))
    of = f" of {joined(these) if len(these) <= _TOLD else 'these'}" if len(these) < every else ""
    return Finding(
        code="colours-near", severity="note", where=where, allowed=allowed,
        got=f"{got}: no rims stand between, and level resin of both runs together",
        remedy=f"{first}thicken the resin{of} so that it stays where it is put, or write an [[inlay]] for "
               f"each{' of them' if of else ''}: one is then cut level before the next is opened")


def overfill_warnings(clamping: Clamping, inlay: Inlay) -> Iterator[Finding]:
    """Fill that no shop would leave so high; level resin that cannot cover a pocket and stay within the overfill."""
    units = clamping.units
    stands = format_length(inlay.overfill, units)
    if inlay.fill != "none" and inlay.overfill > MOST_OVERFILL:
        yield Finding(
            code="much-overfill", severity="warn", where=f"{inlay.name} overfill", got=f"{stands} above the surface",
            allowed=f"usually {format_length(MOST_OVERFILL, units)} or less",
            remedy="see that it is no slip: the second cut begins that high, and it all has to be mixed and cut off")
    most = stands_at_most(inlay, clamping.board.surface, clamping.board.outline) if inlay.fill == "resin" else 0.0
    if most > inlay.overfill + 1e-6:
        low = format_length(rounded_up(most, units), units)  # so high an overfill is enough
        yield Finding(
            code="resin-levels", severity="warn", where=f"{inlay.name} overfill",
            got=f"liquid resin that covers the highest place of the drawing stands {low} above the lowest "
            "inside its dam",
            allowed=f"overfill, {stands}",
            remedy=f"make overfill {low}, dam nearer to the drawing, thicken the resin so that it stays where it is "
            "put, or dam and fill the drawing's parts one by one")


def _pour_warnings(inlay: Inlay, one: Amount, limit: float | None) -> Iterator[Finding]:
    if one.batch.pours > 1 and limit is not None:
        yield Finding(
            code="too-deep-a-pour", severity="warn", where=f"{inlay.name}, {one.colour}",
            got=f"{format_length(one.depth[1] + inlay.overfill)} of resin", allowed=f"{limit:g} mm in one pour",
            remedy=f"fill it in {one.batch.pours} pours, as the resin's sheet says, or make depth or overfill smaller")


def _dam_off_blank(clamping: Clamping, inlay: Inlay) -> Iterator[Finding]:
    """A dam that would stand in the air beside the blank; its resin is counted as if it did not."""
    dams = [] if inlay.dam is None else [one.inside for one in dams_of(inlay, clamping.surface, inlay.dam)]
    if not dams:
        return
    x0, y0, x1, y1 = shapely.total_bounds(dams)
    left, low, right, high = clamping.stock.bounds
    past = max(left - x0, low - y0, x1 - right, y1 - high)
    if past > 0.005:
        yield Finding(
            code="dam-off-blank", severity="note", where=f"{inlay.name} dam",
            got=f"the dam, {inlay.dam:g} mm round the drawing, goes up to {past:.2f} mm past the edge of the blank",
            allowed="on the blank",
            remedy="run it along the blank's edge (the resin counted for what lies past that is to spare), or make dam "
                   "smaller or the blank larger")


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
            code="dam-past-the-cut", severity="note", where=f"{inlay.name}, program {step.number}",
            got=f"{'the dam holds resin' if dammed(inlay) else 'resin lies'} on {left.area:.0f} mm2 of waste, more "
                f"than {near} outside the {part}'s edge, where this program does not cut", allowed="",
            remedy=f"dam along the {part}'s edge, or " * dammed(inlay) + "scrape that resin off when this program has "
                   "ended")


def edge_to_edge(inlays: Sequence[tuple[Inlay, BaseGeometry]], units: str) -> Iterator[Finding]:
    """Colours of different stages that share an edge where they are opened, and do not overlap under it, in one note;
    what stays open runs on under none. Each inlay comes with what is opened of it."""
    pairs = []
    for (first, a), (later, b) in itertools.combinations(inlays, 2):
        if first.fill == "none" or overlay.intersection(first.area, later.area).area > 0.01:
            continue
        pairs += [(first.name, later.name, f"{coarse_length(one.length, units)} of edge")
                  for one in touches([(first.name, a), (later.name, b)])]
    if pairs:
        (*_, edge), *more = pairs
        got = f"{edge} are" if not more else "; ".join(
            f"{long} between {before} and {after}" for before, after, long in pairs) + " are"
        lapping = list(dict.fromkeys(before for before, _, _ in pairs))
        yield Finding(
            code="edge-to-edge", severity="note",
            where=joined(list(dict.fromkeys(itertools.chain(*(pair[:2] for pair in pairs))))),
            got=f"{got} cut twice, once from each side", allowed="",
            remedy=f"write lap = {as_written(LAP[units], units)} for {joined(lapping)}: the later cut "
                   f"then goes through what fills {'it' if not lapping[1:] else 'them'} and leaves no sliver")


def _contrast_warnings(planned: Plan) -> Iterator[Finding]:
    """A warning of colours that are hard to tell apart, and a note of those that lightness alone does not tell."""
    rows = sorted(contrast_rows(planned, near=ADJOINING), key=lambda row: (row["ratio"], row["difference"]))
    alike = sorted((row for row in rows if row["difference"] < AT_A_GLANCE), key=lambda row: row["difference"])
    as_light = [row for row in rows if row["ratio"] < LEAST_CONTRAST and row not in alike]
    kinds = {inlay.fill for inlay in planned.clamping.inlays} - {"none"}
    piece = "piece" if kinds == {"piece"} else "fill"
    if alike:
        yield Finding(
            code="colours-alike", severity="warn", where=_of_what(alike, kinds),
            got="hard to tell apart: " + _the_first([f"{_pair_words(row)} (colour difference {row['difference']:.1f})"
                                                     for row in alike]),
            allowed=f"a colour difference (CIEDE2000) of {AT_A_GLANCE:g} or more, which is seen at a glance",
            remedy=f"try both on a scrap under the finish, or take a {piece} of another colour")
    if as_light:
        yield Finding(
            code="low-contrast", severity="note", where=_of_what(as_light, kinds),
            got="about as light as each other, and some eyes (colour-blind, or in dim light) tell colours by lightness "
            "alone: " + _the_first([f"{_pair_words(row)} ({row['ratio']:.2f}:1)" for row in as_light]),
            allowed=f"{LEAST_CONTRAST:g}:1 or more for such eyes",
            remedy=f"where that matters, take a lighter or darker {piece}")


def _pair_words(row: dict[str, Any]) -> str:
    return f"{row['colour']} and {row['against']}"


def _of_what(rows: list[dict[str, Any]], kinds: set[str]) -> str:
    return " and ".join(["fills"] * bool(kinds - {"piece"}) + ["pieces"] * ("piece" in kinds)
                        + ["wood"] * any("wood" in row["against"] for row in rows))


def _skimmed_away(clamping: Clamping) -> Iterator[Finding]:
    """Inlays that a second cut lower than the first leaves hardly anything of."""
    units, skim = clamping.units, clamping.skim
    for inlay in clamping.inlays if skim else ():
        left = inlay.depth - skim
        if inlay.fill != "none" and falls_short(left, LEAST_INLAY):
            deep, less = (as_written(v, units, down=down) for v, down in ((skim + LEAST_INLAY, False),
                                                                          (inlay.depth - LEAST_INLAY, True)))
            smaller = f"make [resurface] skim {less} {units} or less, or" if inlay.depth > LEAST_INLAY else "make"
            yield Finding(
                code="thin-inlay", severity="warn", where=inlay.name,
                got=f"a second cut {format_length(skim, units)} lower than the first leaves "
                    f"{format_length(left, units)} of its {format_length(inlay.depth, units)}, less where the floor is "
                    "higher",
                allowed=f"{format_length(LEAST_INLAY, units)} or more: a thinner fill is soon sanded through",
                remedy=f"{smaller} its depth {deep} {units} or more")


def _second_cut_notes(clamping: Clamping) -> Iterator[Finding]:
    surfacing = clamping.surfacing
    # with leave the last cut goes over the whole all the same
    if surfacing and surfacing.resurface_area == "inlay" and not surfacing.leave and clamping.cutter(CutAgain):
        yield Finding(
            code="second-cut-in-part", severity="note", where="[resurface] area", allowed="",
            got=f"the second cut goes {format_length(surfacing.blend, clamping.units)} round each drawing and "
            f"{'over all that is inside a dam, ' * any(dammed(inlay) for inlay in clamping.inlays)}on the lines of "
                "the first",
            remedy="see that no fill lies further out, or scrape it off first, and sand what it leaves")
    if clamping.setup.z_zero == "stock-top" and any(
            refits(clamping, step) and surfaced_before(clamping, step) for step in clamping.steps):
        yield Finding(
            code="zero-on-raw-top", severity="warn", where="[setup] z_zero",
            got="Z 0 is the raw top, which surfacing takes away over the part, and cutters are changed after that",
            allowed="", remedy="set Z by what was noted on the bed before program 1"
                               + ("" if clamping.begun else ', or write z_zero = "bed"'))
