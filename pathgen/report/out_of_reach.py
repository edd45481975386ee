"""Warnings and notes about what the cutters cannot open of a drawing, or not as deep as asked; cutters with no work."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.cutters import FINEST, Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.plain import counted, time_words
from pathgen.base.units import area_words, rounded_down
from pathgen.programs.plan import Plan, pockets_with
from pathgen.programs.timing import times
from pathgen.report.reaching import FILM, closed_by
from pathgen.report.reckoning import CHANGE, cleared_in
from pathgen.strategies.matching import pockets_for
from pathgen.strategies.pocketing.pockets import PocketCut
from pathgen.strategies.pocketing.shapes import polygons
from pathgen.strategies.reach import LEFT_NOTED, MISSED, SMALLEST, CutterReach, Detail, Reach
from pathgen.verify.findings import Finding, at
from pathgen.verify.pocket_measures import PocketMeasure
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay

_LEFT_UNREMARKED = 0.005  # share of a colour that may stay closed without a word, when no place in it would be seen
LINE = 3.0
"""A closed place at least so long, mm, and wider than a film, is a thin line of the drawing, and told however small its
area."""
_SEEN = 1.0  # area of a closed place that would be seen, mm2
LITTLE = 0.001
"""Share of a drawing up to which what a cutter opens beside those before it is a question of whether it is worth it."""
MUCH_CLOSED = "much-left-closed"
"""Code of those warnings: they are said beside the verdict too."""
CUT_AWAY = "wood-cut-away"
"""Code of warnings of wood that is pocketed beside what is drawn, said there too."""
DEEP, SHALLOWER = 0.9, 0.1
"""Share of its depth, less so many mm, from which a pocket is said to reach it: a grid misses the very tip of a v."""
_ROUND = 0.4  # so wide, mm, is what a v cutter opens anywhere, if it can go in
_COLOURS = 3  # so many colours of an inlay are named, those with the most that stays closed
_DEEPER = "leave it so, or to go deeper draw it wider or take a v cutter of a smaller angle"
_TRIED = (1.0, 0.95, 0.9, 0.8, 0.65, 0.5)  # shares of a diameter that would do, until one does
_SHORT, _WORTH = 1.0, 1.0  # minutes: a cutter that runs longer is not asked for; saved by leaving one out
_MOST = 500  # places that are too narrow for a depth are measured, the largest first


@dataclass(frozen=True, kw_only=True)
class _Closed:
    """What of a colour stays closed, enough of it to be seen."""

    colour: CutterReach
    warned: bool
    place: str = ""
    """The place that is told, in words; none of a colour whose places are all too small to be listed."""
    detail: Detail | None = None

    @property
    def area(self) -> float:
        return self.colour.area - self.colour.reachable_area

    def said(self, what: str) -> str:
        """How much of which colour, and that it is so much ``of that colour``."""
        closed = f"{self.area:{'.1f' if self.area >= 0.1 else '.1g'}} mm2"  # not "0.0 mm2" of a small colour
        return f"{closed} of {self.colour.colour}, {100 * self.area / self.colour.area:.1f} %{what}"


def reach_findings(clamping: Clamping, found: Sequence[Reach], cutters: Sequence[Cutter]) -> list[Finding]:
    """What of each inlay its cutters leave closed between them, when that is enough to be seen; the most first. What is
    warned of in several colours is one warning, as one cutter opens it.

    `cutters` are those of the job, one of which may do. Of what is cut already only what is warned of, without advice.
    """
    findings: list[tuple[float, Finding]] = []
    for inlay, one in zip(clamping.inlays, found, strict=True):
        cut = clamping.cut_before(inlay)
        closed = sorted(filter(None, (_closed(colour, piece=inlay.fill == "piece") for colour in one.together)),
                        key=lambda colour: -colour.area)
        for warned, listed in itertools.product((True, False), repeat=2):
            these = [each for each in closed if (each.warned, each.detail is not None) == (warned, listed)]
            if not these or (cut and not warned):
                continue
            told = (_told if listed else _crumbs)(clamping, inlay, these, cutters)
            if cut:  # no advice changes that
                told = replace(told, severity="note", allowed="",
                               remedy="its pockets were cut so before the work moved")
            findings.append((these[0].area, told))
    return [finding for _, finding in sorted(findings, key=lambda one: -one[0])]


def _closed(colour: CutterReach, *, piece: bool) -> _Closed | None:
    """What of a colour stays closed; None where nobody would see it. A whole shape is always told, and warned of where
    a `piece` is to be let into it, as `pathgen pieces` does."""
    share = 1.0 - colour.share if colour.area else 0.0
    whole = colour.shapes[0] > 0
    if not colour.details:
        return _Closed(colour=colour, warned=share > LEFT_NOTED or (whole and piece)) \
            if (share >= _LEFT_UNREMARKED and share * colour.area >= SMALLEST) or whole else None
    line = next((d for d in colour.details if d.length >= LINE and d.area >= FILM * d.length), None)
    warned = share > LEFT_NOTED or colour.details[0].area >= MISSED or (whole and piece)
    detail = colour.details[0] if share >= _LEFT_UNREMARKED or warned or line is None else line
    if share < _LEFT_UNREMARKED and detail.area < _SEEN and line is None and not whole:
        return None
    place = "the largest place" if detail is colour.details[0] else "one place"
    place += f", {detail.length:.1f} mm long and" if detail is line else ","
    return _Closed(colour=colour, warned=warned, place=place, detail=detail)


def _told(clamping: Clamping, inlay: Inlay, closed: Sequence[_Closed], cutters: Sequence[Cutter]) -> Finding:
    """Colours of an inlay with places that stay closed, the most first, and what opens the narrowest of them."""
    own = clamping.cutters_of(inlay)
    one, detail = closed[0], closed[0].detail
    assert detail is not None
    # it fits, and would have to go straight down
    room = max(detail.width, detail.largest)
    blind = any(not c.plunges and (_ROUND if c.shape == "v" else c.diameter) <= room for c in own)
    narrowest = min(detail.largest, *(_needed(each, piece=inlay.fill == "piece") for each in closed))
    lies = "in a corner" if detail.is_corner else f"{detail.width:.2f} mm wide there"
    return Finding(
        code=MUCH_CLOSED if one.warned else "detail-out-of-reach", severity="warn" if one.warned else "note",
        where=at(inlay.name, None, *detail.at),
        got=f"{_all_said(closed)} with {_names(own)}; {one.place} {detail.area:.2f} mm2, "
            f"is {lies}" + (", with no room for a ramp or a helix down" if blind else ""),
        allowed=f"nine tenths of that place open, as with a cutter of {detail.largest:.2f} mm{' that plunges' * blind}"
                if detail.largest >= FINEST else "lines as wide as a cutter",
        remedy=f"{'take a cutter that plunges, ' if blind else ''}add "
               f"{_smaller(clamping, inlay, narrowest, cutters, warned=one.warned)}, "
               f"or draw {'that detail' if not closed[1:] else 'such details'} wider (pathgen reach lists the rest)")


def _needed(one: _Closed, *, piece: bool) -> float:
    """The largest diameter that opens so many of a colour's places that the rest is not told, mm; 0 if none is known.
    """
    details, colour = one.colour.details, one.colour
    for diameter in sorted({detail.largest for detail in details}, reverse=True):
        left = tuple(detail for detail in details if detail.largest < diameter)
        closed = sum(detail.area for detail in left)
        lines = sum(not detail.is_corner for detail in left)
        if _closed(replace(colour, details=left, reachable_area=colour.area - closed,
                           shapes=(min(colour.shapes[0], lines), colour.shapes[1])), piece=piece) is None:
            return diameter
    return 0.0


def _all_said(closed: Sequence[_Closed]) -> str:
    """How much of each colour stays closed, of many the first few."""
    first, *more = closed
    told = [first.said(" of that colour"), *(each.said("") for each in more[: _COLOURS - 1])]
    rest = f", and of {counted(len(closed) - _COLOURS, 'colour')} more" if closed[_COLOURS:] else ""
    wholly, shapes = np.sum([each.colour.shapes for each in closed], axis=0).tolist()
    whole = f" ({wholly} of {'their' if more else 'its'} {shapes} shapes wholly)" if wholly and shapes > 1 else ""
    return f"{'; '.join(told)}{rest}{', stay' if more else ', stays'} closed{whole}"


def _names(cutters: Sequence[Cutter]) -> str:
    return " and ".join(f'"{name}"' for name in dict.fromkeys(one.name for one in cutters))


def depth_findings(clamping: Clamping, measures: Sequence[PocketMeasure]) -> list[Finding]:
    """Inlays whose depth is reached nowhere, or not in all that is drawn, since sloping walls meet above it."""
    found = []
    for one in measures:
        inlay = clamping.inlays[one.inlay]
        if clamping.cut_before(inlay):
            continue
        if not is_reached(inlay.depth, one.deepest):
            found.append(Finding(
                code="depth-not-reached", severity="note", where=f"{inlay.name} depth",
                got=f"{inlay.depth:g} mm is reached nowhere: its sloping walls meet about {one.deepest:.1f} mm deep",
                allowed="a depth that the widest place is reached at",
                remedy=_DEEPER))
        else:
            found += _too_narrow(clamping, inlay)
    return found


def _too_narrow(clamping: Clamping, inlay: Inlay) -> Iterator[Finding]:
    """Shapes of a drawing whose depth is reached elsewhere: a v that comes last opens them less deep, by rising."""
    cutters = clamping.cutters_of(inlay)
    if cutters[-1].shape != "v":
        return
    parts = narrow = polygons(inlay.area)
    for cutter in cutters:
        narrow = narrow[shapely.is_empty(overlay.buffer(narrow, -float(cutter.half_width(inlay.depth))))]
    narrow = narrow[shapely.area(narrow) >= _SEEN]
    narrow = narrow[np.argsort(-shapely.area(narrow), kind="stable")]
    middles = shapely.maximum_inscribed_circle(narrow[:_MOST], tolerance=0.02)
    deep = cutters[-1].wall_slope * shapely.length(middles)
    short = np.array([not is_reached(inlay.depth, one) for one in deep], dtype=bool)
    if short.any():
        low, high = (f"{one:.1f}" for one in (deep[short].min(), deep[short].max()))
        yield Finding(
            code="depth-not-reached", severity="note",
            where=at(inlay.name, None, *shapely.get_coordinates(middles[short][0])[0].tolist()),
            got=f"{inlay.depth:g} mm is not reached in {short.sum()} of the {len(parts)} places of the drawing: their "
                f"sloping walls meet about {low}{f' to {high}' if high != low else ''} mm deep; this is the largest",
            allowed="places as wide as the v cutter opens at that depth", remedy=_DEEPER)


def is_reached(depth: float, deepest: float | None) -> bool:
    """Whether a pocket's deepest place, or none where nothing is open, is as deep as asked, as far as a grid tells."""
    return not deepest or deepest > DEEP * depth - SHALLOWER


def _crumbs(clamping: Clamping, inlay: Inlay, closed: Sequence[_Closed], cutters: Sequence[Cutter]) -> Finding:
    """Places that are each too small to be listed, and many."""
    warned = any(one.warned for one in closed)
    return Finding(
        code=MUCH_CLOSED if warned else "detail-out-of-reach", severity="warn" if warned else "note", where=inlay.name,
        got=f"{_all_said(closed)} with {_names(clamping.cutters_of(inlay))} in many places, each under "
            f"{SMALLEST:g} mm2: its corners come out round",
        allowed=f"up to {100 * LEFT_NOTED:g} % of a colour" if warned else "corners as round as the cutter",
        remedy=f"add {_smaller(clamping, inlay, 0.0, cutters, warned=warned)}, or leave it so")


def _smaller(
    clamping: Clamping, inlay: Inlay, diameter: float, cutters: Sequence[Cutter], *, warned: bool
) -> str:
    """The widest flat end of the job that would do, or its steepest v where walls may slope; else what to look for.
    Where it is `warned` of what stays closed, nobody is warned any more with a cutter that is named."""
    own, proud = clamping.cutters_of(inlay), clamping.proud(inlay)
    sharpest = max((one.wall_slope for one in own if one.shape == "v"), default=0.0)
    fit = [one for one in cutters if one.name not in {cutter.name for cutter in own}
           and one.flute_length >= inlay.depth + proud]
    flats = sorted((one for one in fit if one.is_flat and one.diameter <= diameter), key=lambda c: -c.diameter)
    flat = next((one for one in flats if not warned or _does(clamping, inlay, one)), None)
    slopes = inlay.fill != "piece" and not proud
    sharper = [one for one in fit if one.shape == "v" and slopes and one.wall_slope > sharpest]
    vee = max(sharper, key=lambda c: c.wall_slope, default=None)
    if best := flat or vee:
        return f'"{best.name}" to [[inlay]] cutters{"" if best.is_flat else ", last"}{_round_pieces(inlay, best)}'
    or_v, least = " or a v cutter" if slopes else "", min((one for one in own if one.is_flat), key=_wide, default=None)
    some = min((one for one in fit if one.is_flat and least and one.diameter < least.diameter), key=_wide, default=None)
    tried = [replace(least, diameter=wide) for share in _TRIED if (wide := rounded_down(share * diameter)) >= FINEST] \
        if least and (warned or some) else []
    found = next((one for one in tried if not warned or _does(clamping, inlay, one)), None)
    if found is None:
        return f"a smaller cutter{or_v}"
    others = f' ("{some.name}" of the job does not open all such places)' if some else ""
    return f"a cutter of {found.diameter:.2f} mm{or_v}{_round_pieces(inlay, found)}{others}"


def _wide(cutter: Cutter) -> float:
    return cutter.diameter


def _round_pieces(inlay: Inlay, flat: Cutter) -> str:
    """That the pieces are to be cut as finely, where wood between what a cutter opens would be cut away for them."""
    if inlay.least_round is None:
        return ""
    beside = [(overlay.difference(pocket, drawn).area, drawn.area) for (_, pocket), (_, drawn) in zip(
        pockets_for(inlay.drawn, [flat], inlay.least_round), inlay.drawn, strict=True)]
    return ", and one as fine round the pieces" if any(away > LEFT_NOTED * area for away, area in beside) else ""


def _does(clamping: Clamping, inlay: Inlay, flat: Cutter) -> bool:
    """Whether a flat end beside an inlay's own cutters opens so much that nobody is warned of what stays closed."""
    rising = [one for one in clamping.cutters_of(inlay) if one.shape == "v"]  # of flat ends the smallest opens all
    told = (_closed(colour, piece=inlay.fill == "piece")
            for colour in closed_by(clamping, clamping.inlays.index(inlay), [flat, *rising]))
    return not any(one.warned for one in told if one)


def little_findings(planned: Plan) -> list[Finding]:
    """Cutters that open next to nothing beside those before them, and are fitted for that alone; and those that save
    less than their change takes."""
    clamping, found = planned.clamping, list[Finding]()
    fitted = [step.cutter.name for step in clamping.steps]
    for inlay, cuts in zip(clamping.inlays, planned.pockets, strict=False):  # a folder that is checked has none
        own = [place for place, step in enumerate(clamping.steps) if step.operation.opens is inlay]
        opened = [0.0, *(cut.opened.area for cut in cuts)]
        for place, cut, before, after in zip(own, cuts, opened, opened[1:], strict=False):
            beside = fitted[max(place - 1, 0) : place] + fitted[place + 1 : place + 2]
            gained = max(after - before, 0.0)
            if len(cuts) == 1 or clamping.cut_before(inlay) or cut.cutter.name in beside:
                continue
            if gained > LITTLE * inlay.area.area:
                found += _for_seconds(planned, inlay, cuts, cut, gained)
                continue
            share = 100.0 * gained / inlay.area.area
            found.append(Finding(
                code="cutter-does-little", severity="note", where=inlay.name,
                got=f'cutter "{cut.cutter.name}" opens {area_words(gained, clamping.units)} that those before it do '
                    f"not, {share:.2g} % of the drawing" if share >= 0.001 else
                    f'cutter "{cut.cutter.name}" opens as good as nothing that those before it do not',
                allowed=f"work worth its change and its zero, about {CHANGE:g} min",
                remedy="leave it out of the cutters named there, if nobody will miss that"))
    return found


def _for_seconds(planned: Plan, inlay: Inlay, cuts: Sequence[PocketCut], cut: PocketCut, gained: float
                 ) -> Iterator[Finding]:
    """A cutter that does not save the minutes of its change: as those after it open as much in hardly longer."""
    def minutes(some: Sequence[PocketCut]) -> float:
        return sum(times(one.toolpath, one.cutter, planned.clamping.machine).total for one in some)

    own, after = minutes([cut]), cuts[cuts.index(cut) + 1 :]
    flat = any(one.cutter.is_flat for one in after)
    if (not after or own > _SHORT or not (flat or inlay.fill == "resin")  # of a v walls and floor are as was chosen
            or cleared_in(after[0].cutter, gained, inlay.depth) > 2.0 * CHANGE):
        return
    try:
        without = pockets_with(planned.clamping, inlay, [one.cutter for one in cuts if one is not cut])
    except PathgenError:
        return
    longer = minutes(without) - minutes(cuts)
    if longer > CHANGE - _WORTH or cuts[-1].opened.area - without[-1].opened.area > LITTLE * inlay.area.area:
        return
    yield Finding(
        code="cutter-does-little", severity="note", where=inlay.name,
        got=f'cutter "{cut.cutter.name}" runs {time_words(own)}: without it those after it take '
            + (f"{time_words(longer)} longer" if longer > 0.0 else "no longer"),
        allowed=f"work worth its change and its zero, about {CHANGE:g} min",
        remedy="leave it out of the cutters named there" + (
            "" if flat else f', if a floor cut by "{after[0].cutter.name}" alone will do'))


def idle_findings(clamping: Clamping) -> list[Finding]:
    """Cutters of inlays that have no step, as they find nothing to do."""
    return [Finding(
                code="cutter-idle", severity="note", where=clamping.inlays[one.inlay].name,
                got=f'cutter "{one.cutter.name}" {one.why}: its program is left out', allowed="cutters that find work",
                remedy=", or ".join(filter(None, (one.remedy, "leave it out of the cutters named there"))))
            for one in clamping.idle if not clamping.cut_before(clamping.inlays[one.inlay])]
