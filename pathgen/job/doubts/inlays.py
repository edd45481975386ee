"""Likely slips of drawings, their colours and fills, and the cutters that open them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.bending import LONG_FLUTES, has_long_flutes
from pathgen.base.contrast import JUST_SEEN, colour_difference
from pathgen.base.errors import Doubt
from pathgen.base.plain import counted, joined
from pathgen.base.units import as_written, format_length
from pathgen.job.doubts.tenfold import too_small
from pathgen.job.job import Job
from pathgen.work.clamping import Clamping
from pathgen.work.features import SCALED
from pathgen.work.fill import LEAST_INLAY

_THINNEST = 100.0  # parts of resin to one of catalyst: polyester takes 1 to 2 % (common practice)
_FILLED = 0.99  # share of area
_DEEP_INLAY = 2.5  # mm: few are deeper (common practice, no source)
USUAL_GAP, _WIDE_GAP = 0.05, 0.3  # mm
_TOLD = 3  # pairs of colours that are named each
_SEEN = 0.1  # mm: what an edge may lie off before it is seen


def mixes(job: Job, _: Clamping) -> Iterator[Doubt]:
    """A part so small that no resin is mixed so."""
    tables = [("[resin]", job.resin), *((f"inlay {i} resin", inlay.resin) for i, inlay in enumerate(job.inlays, 1))]
    for where, table in tables:
        if table is not None and table.mix and max(table.mix.values()) > _THINNEST * min(table.mix.values()):
            yield Doubt(
                where=f"{where} mix", problem=" to ".join(f"{part:g} of {name}" for name, part in table.mix.items()),
                allowed=f"1:1 to {_THINNEST:g}:1, the least part a catalyst (common practice)",
                remedy="copy the ratio from the resin maker's sheet: it does not cure with too little")


def nothing_beside(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A wall in an inlay of one colour, or a lap under inlays that do not come: what stands beside it is not moved."""
    for inlay in clamping.inlays:
        table = job.inlays[inlay.index]
        if table.wall and len(inlay.regions) == 1:
            yield Doubt(
                where=f"{inlay.name} wall", problem="given, and one colour is cut: wall stands between colours of one "
                "inlay, and changes nothing", allowed="wall with more colours than one",
                remedy="leave it out; where wood is to stand between stages, draw it", grave=False)
        if table.lap and inlay is clamping.inlays[-1]:
            yield Doubt(
                where=f"{inlay.name} lap", problem="given, and no inlay comes later: lap goes under those, and changes "
                "nothing", allowed="lap in an inlay before others", grave=False,
                remedy="leave it out, or write it in an earlier one")


def colours(_: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Colours that nobody tells apart, and a sheet of paper that is drawn behind the rest: each is a pocket."""
    colours = sorted({colour for inlay in clamping.inlays for colour, _ in inlay.regions if colour.startswith("#")})
    alike = [(apart, one, other) for one, other in itertools.combinations(colours, 2)
             if (apart := colour_difference(one, other)) < JUST_SEEN]
    told = alike if len(alike) <= _TOLD else [min(alike)]
    more = f", and so do {counted(len(alike) - 1, 'more pair')} of colours" if len(alike) > _TOLD else ""
    for apart, one, other in told:
        yield Doubt(where=f"{one} and {other}", problem=f"look alike, a difference of {apart:.1f} by CIEDE2000{more}",
                    allowed=f"{JUST_SEEN:g} can just be seen; each colour is a pocket and a batch of its own",
                    remedy="if one colour is meant, draw both in it", grave=False)
    for inlay in clamping.inlays:
        for colour, shape in inlay.regions:
            if inlay.regions[1:] and _behind_the_rest(shape, inlay.area):
                yield Doubt(
                    where=f"{inlay.name}, {colour}", problem="a rectangle behind all the rest is cut as a pocket",
                    allowed="what is meant to be cut", grave=False,
                    remedy=f'if it is the paper of the drawing, write background = ["{colour}"] for that inlay')


def sizes(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Drawings that became so much larger or smaller than drawn that their own size cannot have been meant, or that
    which their place gives."""
    for inlay in clamping.inlays:
        given = [f"{key} = {as_written(getattr(one.place, key), job.units)}" for one in job.inlays[inlay.index].drawings
                 if one.place is not None for key in ("width", "height") if getattr(one.place, key) is not None]
        first = f"if {joined(given)} in place is a slip, correct it; else " if given else ""
        for odd in [one.odd_words for one in inlay.placed if one.odd_words][:1]:
            yield Doubt(
                where=f"{inlay.name} {'place' if given else 'artwork'}", problem=odd,
                allowed=f"a twentieth to {SCALED:g} times",
                remedy=f"{first}write the unit in width and height of the drawing, as 50mm or 2in: a number alone "
                       "counts px, 96 to the inch; if the size that it has now is meant, leave it")


def shallow(job: Job, _: Clamping) -> Iterator[Doubt]:
    """Inlays so thin that they are sanded through."""
    for number, inlay in enumerate(job.inlays, 1):
        if inlay.fill != "none":
            yield from too_small(f"{inlay.written(number)} depth", inlay.depth, (LEAST_INLAY, _DEEP_INLAY), job.units,
                                 why=": a fill so thin is soon sanded through", remedy="make it deeper")


def _behind_the_rest(shape: BaseGeometry, every: BaseGeometry) -> bool:
    """Whether an area and `every` one with it, which all lie within it, fill a rectangle."""
    whole = shape.convex_hull
    if whole.area <= _FILLED * shapely.minimum_rotated_rectangle(whole).area:
        return False
    return bool(overlay.intersection(every, whole).area > _FILLED * overlay.union(every, whole).area)


def v_before_others(job: Job, _: Clamping) -> Iterator[Doubt]:
    """A v cutter with others after it, which does not rise into corners."""
    for number, inlay in enumerate(job.inlays, 1):
        vees = [name for name in inlay.cutters if job.cutter(name, "").shape == "v"]
        others = [name for name in inlay.cutters if name not in vees]
        if vees and others and inlay.cutters.index(vees[0]) < inlay.cutters.index(others[-1]):
            better = ", ".join(f'"{name}"' for name in (*others, vees[-1]))
            yield Doubt(
                where=f"{inlay.written(number)} cutters",
                problem=f'"{vees[0]}", a v cutter, stands before "{others[-1]}": its walls slope, and only one that '
                        "comes last rises into corners",
                allowed="a v last, for the corners that the others leave", remedy=f"write cutters = [{better}]")


def wide_gaps(job: Job, _: Clamping) -> Iterator[Doubt]:
    """So much room round a piece that it lies loose in a pocket of glue."""
    for number, inlay in enumerate(job.inlays, 1):
        if inlay.piece is not None and inlay.piece.gap > _WIDE_GAP:
            yield Doubt(
                where=f"{inlay.written(number)} piece gap",
                problem=f"{format_length(inlay.piece.gap, job.units)} all round: so much of the pocket is glue, and "
                        "details narrower than twice that are left out of the piece",
                allowed=f"up to {format_length(_WIDE_GAP, job.units)}, usually "
                        f"{format_length(USUAL_GAP, job.units)} (common practice)",
                remedy=f"leave gap out for {format_length(USUAL_GAP, job.units)}")


def sloping_for_pieces(job: Job, _: Clamping) -> Iterator[Doubt]:
    """Pockets with sloping walls for pieces that the job does not make, and whose sides nobody slopes."""
    for number, inlay in enumerate(job.inlays, 1):
        sloping = [name for name in inlay.cutters if not job.cutter(name, "").is_flat]
        if inlay.fill == "piece" and inlay.piece is None and sloping:
            yield Doubt(
                where=f"{inlay.written(number)} cutters",
                problem=f'fill = "piece", and "{sloping[0]}" leaves walls that slope: a piece with upright sides does '
                        "not go in",
                allowed="flat ends where pieces are let in", remedy="take flat ends" +
                ("; with a piece table pathgen then makes both to match" if inlay.artwork else "") +
                "; or slope each piece's sides to fit")


def sloping_walls(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A surface cut lower than the first one meets the walls of v cutters and ball ends further in."""
    skim = clamping.skim
    for step in clamping.steps if skim > 0 else ():
        inlay, cutter = step.operation.opens, step.cutter
        if inlay is None or cutter.is_flat:
            continue
        narrower = float(cutter.half_width(inlay.depth) - cutter.half_width(inlay.depth - skim))
        if narrower > 0:
            yield Doubt(where=f"[[inlay]] {inlay.index + 1}",
                        problem=f'the walls that "{cutter.name}" leaves slope, and the second cut, '
                                f"{format_length(skim, job.units)} lower (skim), meets them "
                                f"{format_length(narrower, job.units)} further in",
                        allowed="the drawing's own width, with skim = 0 or flat ends",
                        remedy="write [resurface] skim = 0, or see on scrap that so much less is not missed",
                        grave=narrower > _SEEN)


def flutes(_: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Flutes much longer than cutters so thin have them: a slip lets them reach too deep."""
    for cutter in {step.cutter.name: step.cutter for step in clamping.steps}.values():
        if has_long_flutes(cutter):
            long, tenth = (format_length(v, clamping.units) for v in (cutter.flute_length, cutter.flute_length / 10))
            yield Doubt(where=f'[[cutter]] "{cutter.name}" flute_length',
                        problem=f"{long}, {cutter.flute_length / cutter.diameter:.0f} times its diameter",
                        allowed=f"up to {LONG_FLUTES:.0f} times it (common practice)",
                        remedy=f"measure how long its flutes are; is {tenth} meant?")
