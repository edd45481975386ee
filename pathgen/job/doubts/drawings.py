"""Likely slips of drawings as they are read: what they hold that is hardly meant, what no inlay cuts, their size."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import shapely

from pathgen.artwork import Artwork
from pathgen.artwork.curves import Curves
from pathgen.artwork.paint import painted
from pathgen.base import overlay
from pathgen.base.errors import Doubt
from pathgen.base.plain import joined
from pathgen.base.units import INCH, coarse_length, place_words
from pathgen.job.job import Job
from pathgen.work.features import Inlay

TOUCHING = 0.05
"""What drawings share that only touch, mm2."""

_BLACK = "#000000"
_OPAQUE = 0.995  # the share of a colour that nobody tells from all of it
_HALF, _MUCH, _SOME = 0.5, 0.1, 0.005  # of a colour; of what is cut that is paler: warned of, told (no source)
_WITHIN = 0.95  # of what lies on another inlay: details lie on it whole, or nearly (no source)
_ALL = 0.98  # of a colour: less is left of it than a line round what lies within (no source)
_FLAT = 1e-6  # units of the drawing, squared: what a straight line encloses by rounding
_HALFWAY = np.array([1.0, 3.0, 3.0, 1.0]) / 8.0  # of a curve: the weights of its points
_ROUND = 1.6  # of the least distance from the middle: the most of what is round
_NARROWER = 0.95  # of a line's width: a hole of a wider shape would hardly be seen
_BACK = 1e-3  # of a line's width: so near to its start a line is back there
_ON_EDGE = 0.002  # mm: so near to the furthest a colour reaches it


def doubts_of_drawings(
    job: Job, drawings: Mapping[int, Sequence[Artwork]], inlays: Sequence[Inlay], cut: Sequence[Inlay]
) -> Iterator[Doubt]:
    """Every doubt about the drawings of each inlay, by its index; `inlays` as they are drawn, and as they are `cut`."""
    for name, art in {art.name: art for arts in drawings.values() for art in arts}.items():
        yield from _filled_lines(art)
        yield from _wider_than_round(art)
        named = [job.inlays[index].colours for index, arts in drawings.items() if name in {one.name for one in arts}]
        yield from _see_through(art, None if None in named else {colour for some in named for colour in some or ()})
        yield from _passed_over(art)
    yield from _sized_in_pixels(job, {art.name: (art, inlay) for inlay in cut for art in drawings[inlay.index]})
    yield from _cut_by_none(job, drawings)
    yield from _over_each_other(inlays)


def _filled_lines(art: Artwork) -> Iterator[Doubt]:
    """Open lines with another colour inside, the black that the format fills them with where nothing is said."""
    paints = art.scene.paints if art.scene is not None else ()
    lines = {paint.where: paint.colour for paint in paints if paint.stroke is not None}
    for paint in paints:
        line = lines.get(paint.where, _BLACK)
        if paint.stroke is None and paint.colour == _BLACK != line and _has_inside(paint.curves):
            yield Doubt(where=paint.where, problem=f"an open line of {line} whose inside is filled with black",
                        allowed="what is meant to be cut: black is the fill where none is written",
                        remedy='if only the line is meant, write fill="none" there', grave=False)


def _wider_than_round(art: Artwork) -> Iterator[Doubt]:
    """Lines wider than the round shape that they go round: each point of the middle lies square to the line within half
    its width, and is cut as the format has it (SVG 2, section 13.5). Programs show a hole in a circle, and none in some
    other shapes."""
    paints = art.scene.paints if art.scene is not None else ()
    fills = {(paint.where, paint.colour) for paint in paints if paint.stroke is None}
    found = [paint for paint in paints if paint.stroke is not None and (paint.where, paint.colour) not in fills
             and _is_round_within(paint.curves, _NARROWER * paint.stroke.width)]
    if found:
        others = f", as are {len(found) - 1} more" if found[1:] else ""
        yield Doubt(where=found[0].where, problem=f"its line is wider than the shape that it goes round{others}: the "
                    "middle is cut full, as the format says, where drawing programs may show a hole",
                    allowed="what is meant to be cut",
                    remedy="for a disc, fill a circle of its full size and take the line off; for a ring, convert the "
                           "stroke to a path")


def _is_round_within(curves: Curves, size: float) -> bool:
    """Whether a closed line, or one back at its start, is round, about the same from its middle all round, has no
    straight piece of any length, and lies within a square."""
    for points, straight in zip(np.split(curves.points, curves.first[1:]), np.split(curves.straight, curves.first[1:]),
                                strict=True):
        long = np.hypot(*(points[:, 3] - points[:, 0]).T) > _BACK * size
        back = np.hypot(*(points[-1, 3] - points[0, 0])) < _BACK * size
        on = np.concatenate([points[:, 3], np.tensordot(points, _HALFWAY, axes=(1, 0))])
        out = np.hypot(*(on - (on.min(axis=0) + on.max(axis=0)) / 2).T)
        if back and not straight.all() and not np.any(straight & long) and 0 < out.max() < _ROUND * out.min() \
                and np.ptp(points, axis=(0, 1)).max() < size:
            return True
    return False


def _has_inside(curves: Curves) -> bool:
    """Whether open lines, none of them closed, have one that is no straight line."""
    hulls = [shapely.multipoints(one.reshape(-1, 2)).convex_hull for one in np.split(curves.points, curves.first[1:])]
    return not curves.closed.any() and bool(np.any(shapely.area(hulls) > _FLAT))


def _see_through(art: Artwork, colours: Set[str] | None) -> Iterator[Doubt]:
    """Shadows, tints and second tones, which would be cut as full colour; `colours` are cut, None for all."""
    pale = [paint for paint in (art.scene.paints if art.scene is not None else ()) if paint.opacity < _OPAQUE]
    if pale:
        least = min(pale, key=lambda paint: paint.opacity)
        share = _paler_than_half(art, colours) if least.opacity < _HALF else 0.0
        yield Doubt(
            where=least.where,
            problem=f"drawn see-through, {100 * least.opacity:.0f} %" + (
                f", the palest of {len(pale)} shapes that are" if pale[1:] else "") + ": it is cut as full colour" + (
                f"; so is {100 * share:.0f} % of all that is cut, drawn paler than half" if share >= _SOME else ""),
            allowed="what is meant to be cut",
            remedy="take shadows and tints out of the drawing, and give what is to be cut a colour of its own",
            grave=share >= _MUCH)


def _paler_than_half(art: Artwork, colours: Set[str] | None) -> float:
    """The share of what is cut of a drawing whose uppermost shape shows less than half of its colour, by area, and lies
    on no other of that colour."""
    paints = art.scene.paints if art.scene is not None else ()
    cut = [paint.colour not in art.background and (colours is None or paint.colour in colours) for paint in paints]
    shown = painted([replace(paint, colour=("pale " if paint.opacity < _HALF else "full ") + paint.colour if wanted
                             else "not cut") for paint, wanted in zip(paints, cut, strict=True)], art.tolerance)
    full = painted([paint for paint in paints if paint.opacity >= _HALF], art.tolerance)
    pale = sum(overlay.difference(area, full.get(kind[5:], shapely.Polygon())).area
               for kind, area in shown.items() if kind.startswith("pale "))
    every = sum(area.area for kind, area in shown.items() if kind != "not cut")
    return float(pale / every) if pale else 0.0


def _passed_over(art: Artwork) -> Iterator[Doubt]:
    """What a browser passes over: no colours, it draws in black or in that of what holds them; copies of what is not
    there, it draws nothing; values that no property takes, it draws the line at another width, say."""
    if (scene := art.scene) is None:
        return
    slips: tuple[tuple[tuple[tuple[str, ...], ...], str, str, str, str], ...] = (
        (scene.no_colours, "are none", "{} is no colour{others}: passed over, as a browser does, so that {} is cut "
         "there", 'a colour, such as "#2f6f4f"', "write the colour that is meant"),
        (scene.no_targets, "name nothing", "{}, and nothing is called so{others}: passed over, as a browser does",
         "the id of something in the same file", "mend the name, or take it out"),
        (scene.not_read, "are not", "{} is nothing that can be read{others}: passed over, as a browser does, as if it "
         "were not written", "what the format takes, numbers with a point (6.5)",
         "write what is meant, or take it out"),
    )
    for wrong, are, problem, allowed, remedy in slips:
        if wrong:
            (where, *words), others = wrong[0], f", the first of {len(wrong)} that {are}" if wrong[1:] else ""
            yield Doubt(where=where, problem=problem.format(*words, others=others), allowed=allowed, remedy=remedy)


def _cut_by_none(job: Job, drawings: Mapping[int, Sequence[Artwork]]) -> Iterator[Doubt]:
    """Colours of a drawing that no table names, where inlays name some: not its background, outline and openings."""
    shown: dict[tuple[str, tuple[str, ...]], Artwork] = {}
    named: dict[str, set[str]] = {}
    for index, arts in drawings.items():
        for one, art in zip(job.inlays[index].drawings, arts, strict=True):
            shown[one.artwork, one.layers] = art
            named.setdefault(one.artwork, set()).update(one.colours or (r.colour for r in art.regions), art.background)
    for (artwork, _), art in shown.items():
        known = named[artwork] | _outline_colours(job, artwork, art)
        left = [region.colour for region in art.regions if region.colour not in known]
        if left:
            listed = ", ".join(f'"{colour}"' for colour in left)
            yield Doubt(
                where=Path(artwork).name, problem=f"{joined(left)} of it {'are' if left[1:] else 'is'} cut by no inlay",
                allowed="every colour that the drawing shows", remedy=f"add {listed} to the colours of an [[inlay]]; "
                f"if the wood is to show there, write background = [{listed}] in one that cuts the drawing")


def _outline_colours(job: Job, artwork: str, art: Artwork) -> set[str]:
    """The colours of a drawing that are the part's outline, as they reach furthest, or its openings."""
    if not art.regions or artwork not in [t.artwork for t in (job.plate, job.outline) if t is not None]:
        return set()
    openings = job.plate.openings if job.plate else None
    if openings is not None and openings.layers:
        return {region.colour for region in art.regions}
    bounds = np.array([region.polygon.bounds for region in art.regions])
    furthest = (np.abs(bounds - [*bounds[:, :2].min(axis=0), *bounds[:, 2:].max(axis=0)]) < _ON_EDGE).any(axis=1)
    return {art.regions[k].colour for k in np.flatnonzero(furthest)} | set((openings and openings.colours) or ())


def _over_each_other(inlays: Sequence[Inlay]) -> Iterator[Doubt]:
    """Inlays that lie on each other as they are drawn: not those that run on under a later one, to leave no sliver.

    A warning where much of a colour is taken by dots, or by what lies partly beside it: details lie within. So too
    where next to nothing of it is left, as under a copy.
    """
    for first, later in combinations(inlays, 2):
        shared = overlay.intersection(first.area, later.area)
        if shared.area > TOUCHING:
            x, y = shapely.get_coordinates(shared.representative_point())[0]
            share, colour = max((overlay.intersection(shape, later.area).area / shape.area, colour)
                                for colour, shape in first.regions)
            over = [part for part in shapely.get_parts(later.area) if part.intersects(shared)]
            beside = later.dots is not None or shared.area < _WITHIN * sum(part.area for part in over)
            grave = share > (_MUCH if beside else _ALL)
            yield Doubt(
                where=f"{first.name} and {later.name}",
                problem=f"{shared.area:.1f} mm2 of both lie on each other, near {place_words(x, y)}" + (
                    f": {share:.0%} of {colour} is cut away" if grave else ""),
                allowed="drawings beside each other, unless it is meant",
                remedy=f"leave it so where {later.name} is to be cut through what fills {first.name}, or move one of "
                       "them", grave=grave)


def _sized_in_pixels(job: Job, drawn: dict[str, tuple[Artwork, Inlay]]) -> Iterator[Doubt]:
    """Drawings that are as large as their px come to: some programs count 72 or 90 to the inch (common practice)."""
    for name, (art, inlay) in drawn.items():
        if in_pixels(art, inlay):
            wide, high = (coarse_length(side, job.units) for side in art.page)
            yield Doubt(where=name, problem="its page is sized in px, or by numbers alone: at 96 to the inch it is "
                        f"{wide} by {high}", allowed="a size in mm, cm or in, or a place with a width",
                        remedy="leave it so if that is its size; else give place a width", grave=False)


def in_pixels(art: Artwork, inlay: Inlay) -> str:
    """That a drawing lies as large as its px come to, where it does: its maker may have meant them for no size."""
    wide, high = art.page
    if art.scene is None or not art.scene.pixels or any(one.share != 1.0 for one in inlay.placed):
        return ""
    return (f"; its {96 * wide / INCH:.0f} by {96 * high / INCH:.0f} px count 96 to the inch, {wide:.1f} mm by "
            f"{high:.1f} mm: give place a width if that is not meant")
