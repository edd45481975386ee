"""Likely slips of outlines and openings: corners that stay, wood that comes loose or is too thin to hold."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.errors import Doubt
from pathgen.base.units import SUMS, coarse_length, falls_short, fine_length, format_length, place_words
from pathgen.job.doubts.tenfold import too_small
from pathgen.job.flat import opening_corners, openings_cutter, plate_corners
from pathgen.job.form import closed_by_page, to_the_page
from pathgen.job.job import Job
from pathgen.job.larger_blank import larger_blank
from pathgen.job.part import drawn_corners
from pathgen.parts.flat.part import FlatPart
from pathgen.programs.paths import tabs_of
from pathgen.programs.sticking import loose_wood
from pathgen.strategies.reach import MISSED, lengths
from pathgen.strategies.tabs import LEAST_WASTE, SAWN, Tabs, left_to_the_saw, stands_out
from pathgen.work.clamping import Clamping
from pathgen.work.features import OutlineCut
from pathgen.work.operations import Outline, Slot
from pathgen.work.thin_wood import THIN, wood_under

_TAB = 0.4, 2.0  # mm: thinner is soon torn, thicker is much to saw (common practice, no source)
_DEEP_IN_BED = 1.02  # mm, or 0.04 in: 0.1 to 0.5 mm is usual (common practice, no source)
_SEEN = 0.1  # mm: what an edge may lie off before it is seen


def line_on_page(job: Job, _: Clamping) -> Iterator[Doubt]:
    """A form's line that is the page's edge, where it was likely to end at it."""
    closed = closed_by_page(job) if job.form else None
    if closed is None or job.form is None:
        return
    on_edge, page = closed
    yield Doubt(
        where="[form] artwork",
        problem=f"what is filled reaches the page's edge along {coarse_length(on_edge, job.units)}, and the form goes "
                "further: there the page's edge is cut as part of the line",
        allowed="a line that is drawn, or runs out through the form's edge", remedy=to_the_page(job, page))


def inner_corners(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """What stays in corners that point inward, of the outline and of openings, which a round cutter does not reach."""
    if job.outline is not None and (job.board or job.plate):
        where = "[outline]" if job.board else job.body_name
        left = drawn_corners(job) if job.board else plate_corners(job)
        yield from _closed(f"{where} artwork", "the outline's", left, job, "[outline] cutter", job.outline.cutter)
    if isinstance(clamping.board, FlatPart) and clamping.board.drawn:
        key, cutter = openings_cutter(job)
        yield from _closed(f"{job.body_name} {'artwork' if job.form else 'openings'}", "the openings'",
                           opening_corners(job, clamping.board), job, key, cutter.name)


def _closed(where: str, whose: str, left: BaseGeometry, job: Job, key: str, name: str) -> Iterator[Doubt]:
    if left.is_empty:
        return
    cutter = job.cutter(name, key)
    largest = max(shapely.get_parts(left), key=lambda part: float(part.area))
    x, y = shapely.get_coordinates(largest.representative_point())[0]
    long = float(lengths(np.array([largest]))[0])
    # a bay is about as wide at its end as where it opens, and does not end in a point
    if long > cutter.diameter and largest.area > _BAY * shapely.minimum_rotated_rectangle(largest).area:
        yield Doubt(where=where,
                    problem=f"{whose} cutter leaves {left.area:.2f} mm2 closed, the most in a bay narrower than it, "
                            f"{coarse_length(long, job.units)} of it, near {place_words(x, y)}",
                    allowed=f"bays wider than the cutter, {format_length(cutter.diameter, job.units)}",
                    remedy=f"draw it wider, name a smaller {key}, or cut it out by hand",
                    closed=left.area >= MISSED)
        return
    yield Doubt(where=where,
                problem=f"{whose} cutter leaves {left.area:.2f} mm2 in corners that point inward, the most near "
                        f"{place_words(x, y)}",
                allowed="corners as round as the cutter", remedy="cut them out by hand, or take a smaller cutter",
                grave=False)


_BAY = 0.6
"""Share of the box round it that a bay fills at least; a corner, being a triangle less a round, fills under half."""


def tenths(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Tabs so thin that they tear, and a cut far into the bed: each a tenth, or ten times, of what is usual."""
    cut, asked = clamping.feature(Outline), job.outline
    if asked is None or cut is None:
        return
    if cut.tabs and asked.tab_height is not None:
        yield from too_small("[outline] tab_height", asked.tab_height, _TAB, job.units,
                             why=", thin for a tab: it tears, and a Z a little low leaves none",
                             remedy="leave it out, or write more")
    if asked.through > _DEEP_IN_BED:
        deep, tenth = (format_length(v, job.units) for v in (asked.through, asked.through / 10))
        yield Doubt(
            where="[outline] through", problem=f"goes {deep} below the underside, into the bed",
            allowed=f"up to {coarse_length(_DEEP_IN_BED, job.units)} (common practice)",
            remedy=f"see that a spoilboard so thick lies under it; is {tenth} meant?")


def mostly_tabs(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Tabs so many or so wide that much of the outline is left to the saw."""
    cut, cutter, units = clamping.feature(Outline), clamping.cutter(Outline), job.units
    if job.outline is None or cut is None or cutter is None or not cut.tabs:
        return
    outline = clamping.board.outline
    each = left_to_the_saw(Tabs(tabs_of(clamping), cut.tab_height, cut.tab_width), outline, cutter, cut.through)
    round_it = float(outline.length)
    most = int(SAWN * round_it / each)
    if cut.tabs > most:
        yield Doubt(
            where="[outline] tabs", problem=f"{cut.tabs}, each about {coarse_length(each, units)} long with the slopes "
            "at its ends, in the middle of the groove: "
            f"{coarse_length(cut.tabs * each, units)} of {coarse_length(round_it, units)} round the "
            f"{clamping.board.names.part} would be left to the saw",
            allowed=f"a third of it at most; usual are {OutlineCut.tabs}, {coarse_length(OutlineCut.tab_width, units)} "
                    "wide each (common practice)",
            remedy=", or ".join(["make tab_width smaller"] * (most < 2 or cut.tab_width > 2 * OutlineCut.tab_width)
                                + [f"write tabs = {most}"] * (most > 1)), grave=False)


def no_waste_beyond(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """A blank that ends so near the part that its outline's groove parts the waste that tabs or a skin hold on to."""
    cut, cutter, units = clamping.feature(Outline), clamping.cutter(Outline), job.units
    if job.outline is None or cut is None or cutter is None or not (cut.tabs or cut.skin):
        return
    out = stands_out(clamping.board.outline, clamping.blank)
    short = np.flatnonzero(out < cutter.diameter + LEAST_WASTE - SUMS)
    if not len(short) or out.min() < -SUMS:  # that is refused
        return
    names, what = clamping.board.names, "a skin holds" if cut.skin else "tabs hold"
    there = " and ".join(f"{format_length(max(float(out[k]), 0.0), units)} {names.around[k]}" for k in short)
    yield Doubt(where="[stock]",
                problem=f"the blank stands out {there}: the outline's cutter parts the waste there, and {what} the "
                        f"{names.part} to {'loose strips alone' if len(short) > 1 else 'strips that bend'}"
                        + ("; its edge there is the blank's, as it comes" if out.min() < _SEEN else ""),
                allowed=f"{format_length(cutter.diameter + LEAST_WASTE, units)} or more all round: the cutter and "
                        f"{format_length(LEAST_WASTE, units)}",
                remedy=f"{larger_blank(job, clamping.board)}; or stick the blank down over its whole face, waste too")


def thin_floors(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Wood under pockets and slots so thin that a Z a little low goes through it: a small min_web allows that."""
    cut, table = clamping.feature(Slot), "board" if job.board else "plate"
    left = [(f"{one.name} depth", one.fill != "none", *wood_under(clamping.board.surface, one.area, one.depth))
            for one in clamping.inlays]
    if cut is not None and len(cut.lines):
        left.append(("[slots] depth", False, cut.lines.mean(axis=1), cut.floors(clamping.finished_surface)))
    for where, filled, at, web in left:
        worst = int(np.argmin(web))
        x, y = at[worst].tolist()
        if web[worst] < THIN and not falls_short(float(web[worst]), clamping.board.min_web):  # less is refused
            yield Doubt(
                where=where, problem=f"{fine_length(float(web[worst]), job.units)} of wood stays under it near "
                f"{place_words(x, y, job.units)}, as [{table}] min_web lets it",
                allowed=f"{fine_length(THIN, job.units)} or more", remedy="make depth less: with Z set a little low "
                f"the cutter goes through{', and what is filled in sticks to the bed' if filled else ''}")


def loose(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Wood that hangs on to neither the part, a tab nor the blank once all round it is cut through, or as good as."""
    last, loose = clamping.step(Outline), loose_wood(clamping)
    if len(loose):
        largest, more = loose[np.argmax(shapely.area(loose))], len(loose) - 1
        x, y = shapely.get_coordinates(largest.representative_point())[0]
        allowed, remedy = "wood that something holds", "make depth less"
        if last is not None and not clamping.board.outline.covers(largest):
            largest = overlay.buffer(largest, LEAST_WASTE / 2)
            wide = format_length(2 * last.cutter.diameter + LEAST_WASTE, job.units)
            allowed = f"bays that open {wide} wide or more: two cutters, and waste between"
            remedy = "draw the bay wider, take a smaller cutter"
        yield Doubt(
            where=job.body_name, allowed=allowed,
            remedy=f"{remedy}, or stick the blank down over its whole face, waste too",
            problem=f"{largest.area:.0f} mm2 of wood near {place_words(x, y, job.units)} comes loose under the cutter: "
                    f"all round it is cut through, or nearly{f'; so do {more} more' if more else ''}")
