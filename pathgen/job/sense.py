"""Do the numbers of a job go together? Checked before a drawing is read or a move planned."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import partial

import numpy as np
import shapely
from shapely import Polygon

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError, Mistakes, PathgenError, all_of, asked_by
from pathgen.base.halving import halved
from pathgen.base.plain import joined
from pathgen.base.units import (
    SUMS,
    falls_short,
    format_length,
    left_words,
    place_words,
    rounded_down,
    rounded_up,
    told_apart,
    written_alike,
)
from pathgen.job.back import check_channel
from pathgen.job.clamping import clamping_of, slots_borne
from pathgen.job.cutters import check_cutters
from pathgen.job.drawings import drawing_name, inlay_name
from pathgen.job.filling import check_filling
from pathgen.job.flat import check_flat
from pathgen.job.form import check_tables, parts_of
from pathgen.job.inlay_tables import InlayTable
from pathgen.job.job import Job
from pathgen.job.larger_blank import larger_blank
from pathgen.job.on_wood import check_on_wood, in_groove
from pathgen.job.outlines import drawing_path
from pathgen.job.part import board_of, holes_of, nut_of, outline_of, part_of, slots_of
from pathgen.job.surface import check_radius, check_surface, web_under
from pathgen.job.tables import LEAST_DEPTH, NARROWEST_GROOVE, OutlineTable
from pathgen.parts.fingerboard.fretting import checked_wire
from pathgen.parts.fingerboard.neck import neck_of
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.stringing import checked_strings
from pathgen.parts.fingerboard.top import taken
from pathgen.parts.flat.part import FlatPart
from pathgen.programs.holding import stands_in_groove
from pathgen.strategies.drilling import check_holes
from pathgen.strategies.slotting import bevel_tip
from pathgen.work.features import LEAST_TAB, Slots
from pathgen.work.part import Part, lowest_edge
from pathgen.work.thin_wood import or_less

_BELOW = 0.01  # how far below the edge's top tabs and skins end at least, mm: as fine as they are told
_LONGER = 1.0  # how much further than the nut a board is taken to run on, mm, where it ends too near

_TIMES_AS_THICK, _AND_MORE = 4.0, 20.0
"""So many times the part's thickness, and so many mm: a thicker blank is sawn down, not milled away (common practice;
the figures are our own)."""


def check_sense(job: Job) -> None:
    """Raise JobError for what does not go together: all that is found before it would lead to more."""
    all_of(partial(check_cutters, job), partial(_needed_tables, job), partial(_order, job))
    all_of(*(partial(_part, one) for one in parts_of(job)))


def _part(job: Job) -> None:
    try:
        part = part_of(job)
    except JobError as steep:
        raise _gentler(job, steep) from None
    on_board: list[Callable[[], object]] = []
    if isinstance(part, FlatPart):
        all_of(partial(check_flat, job, part), partial(_blank, job, part))
    else:
        _of_boards(job)
        all_of(partial(check_radius, job, part), partial(_blank, job, part))
        on_board = [partial(check, job, part) for check in (_slots, _nut, _fittings)]
    all_of(partial(_comes_with_its_top, job, part), partial(check_surface, job, part),
           *(partial(_inlay, job, i, inlay) for i, inlay in enumerate(job.inlays, 1)), partial(check_filling, job),
           partial(_pieces, job, part), partial(_holes, job, part), partial(check_channel, job, part),
           partial(_outline, job, part), *on_board)


_PARTS = 16
"""Of what a refusal allows of a slope: as fine is it looked for how much edges and slots bear, as each look takes long.
"""
_LOWERED = {"[board] fall_away drop": ("fall_away", "drop"), "[board] relief depth": ("relief", "depth")}


def _gentler(job: Job, steep: JobError) -> PathgenError:
    """The refusal of what goes down too steeply along a board with no more of it than edges and slots bear too."""
    table, key = _LOWERED.get(steep.where, ("", ""))
    named = re.match(r"make it ([\d.]+) mm or less", steep.remedy)
    if not named or job.board is None:
        return steep

    asked = job.board

    def borne(deep: int) -> bool:
        lowered = replace(getattr(asked, table), **{key: deep / 100})
        one = replace(job, board=replace(asked, **{table: lowered}))
        with suppress(PathgenError):
            board = board_of(one)
            check_radius(one, board)
            _slots(one, board)
            return True
        return False

    most = round(100 * float(named[1]))  # hundredths of a mm
    if borne(most):
        return steep
    enough, _ = halved(borne, 0, most, within=max(most // _PARTS, 1))
    return steep.advising(named[0], f"make it {enough / 100:g} mm or less, for edges and slots to keep min_web too"
                          ) if enough else steep


def _blank(job: Job, part: Part) -> None:
    """Raise JobError for a blank that does not hold the part, or that the outline's cutter does not go through."""
    _stock_holds_part(job, part)
    if job.outline is None:
        return
    cutter = job.cutter(job.outline.cutter, "[outline] cutter")
    deep = job.stock.thickness - (job.outline.skin or -job.outline.through)
    if falls_short(cutter.flute_length, deep):
        what = f"without the skin of {job.outline.skin:g} mm" if job.outline.skin else \
            f"and {job.outline.through:g} mm below it"
        raise JobError("[outline] cutter", f'the flute of "{cutter.name}" is {cutter.flute_length:g} mm long',
                       allowed=f"{rounded_up(deep):.2f} mm or more: the blank {what}", remedy="name a longer cutter")


def _of_boards(job: Job) -> None:
    for name, tables in (("hole", job.bores), ("ring", job.rings)):
        if tables:
            raise JobError(f"[[{name}]]", "the job is of a [board]", allowed=f"[[{name}]] with [plate]",
                           remedy="leave it out; holes outside a board are said in [holes]")
    board = job.board
    one = board is not None and board.strings == 1  # it may lie in the middle
    if board is not None and 2 * board.to_outer_strings - board.nut_width > (SUMS if one else -SUMS):
        inside, wide = (format_length(v, job.units) for v in (board.to_outer_strings, board.nut_width))
        cross = "that is past the middle" if one else "the outer strings would lie on each other or cross"
        raise JobError("[board] edge_to_string", f"{inside} in from each edge, and the nut is {wide} wide: {cross}",
                       allowed=f"{'half' if one else 'less than half'} of nut_width{' or less' if one else ''}",
                       remedy="it counts from the edge in to the outer string; 3 mm is usual (common practice)")


def _fittings(job: Job, board: Fingerboard) -> None:
    if job.frets:
        checked_wire(job.frets, int(board.frets.number[0]), int(board.frets.number[-1]))
    last = int(board.frets.number[-1])
    for fret in (job.board and job.board.side_dots) or ():
        if fret > last:
            raise JobError("[board] side_dots", f"there is no fret {fret}", allowed=f"1 to {last}", remedy="correct it")
    if job.neck:
        neck_of(job.neck, board)
    if job.strings:
        checked_strings(job.strings, board.fittings.strings)


def _needed_tables(job: Job) -> None:
    if job.form:
        check_tables(job)
    if not (job.surface or job.inlays or job.slots or job.outline or job.nut or job.holes or job.bores
            or (job.plate and job.plate.openings)):
        opened = "[slots]" if job.board else "[[hole]]"
        raise JobError(job.path.name, "nothing to cut", remedy=f"add [surface], [[inlay]], {opened} or [outline]")
    filled = next((index for index, inlay in enumerate(job.inlays) if inlay.fill != "none"), None)
    if job.resurface and job.plate and not job.plate.face:
        what = "[resurface] is given" if filled is None else f"{inlay_name(job, filled)} is filled"
        raise JobError("[plate] face", f"false, and {what}, which is cut level with the face",
                       allowed='face = false with fill = "none"',
                       remedy='leave face out and add [surface], or write fill = "none" and level it by hand')
    if job.resurface and not job.surface:
        drawn = any(inlay.fill != "none" and inlay.artwork for inlay in job.inlays)
        ready = not job.board or written_alike(job.stock.thickness, job.body.thickness)  # else its top must be cut
        filled_in = ["the inlays"] * drawn + ["[dots]"] * (job.dots is not None and job.dots.fill != "none")
        ball = next((one.name for one in job.cutters if one.shape == "ball-end"), "..")
        add = f'add [surface] and under it finish = "{ball}", the ball end that finishes'
        raise JobError("[surface]", "is missing, and fills are cut level by its passes",
                       remedy=add + f", and make {job.body_name} thickness less" * bool(job.board and ready)
                       + (f'; or write fill = "none" in {joined(filled_in)}, and level what you fill by hand'
                          if ready and filled_in else ""))
    if job.resurface and filled is None:
        raise JobError("[resurface]", "nothing has a fill to cut over", remedy="leave [resurface] out")


def _order(job: Job) -> None:
    slots = job.slots or job.nut or job.bores or (job.plate and job.plate.openings)
    present = {"surface": job.surface, "inlays": job.inlays, "slots": slots, "outline": job.outline}
    wanted = [name for name, table in present.items() if table]
    at = {name: job.order.index(name) for name in job.order}
    if len(at) < len(job.order) or any(name not in at for name in wanted):
        raise JobError("order", ", ".join(job.order), allowed=f"each of {', '.join(wanted)} once")
    filled, mistakes = any(inlay.fill != "none" for inlay in job.inlays), Mistakes()
    for wrong, problem, allowed, why in (
        (present["slots"] and filled and at["slots"] < at["inlays"], "slots before the last fill",
         "slots after the inlays", "resin would run into the slots, and the second cut would round their edges"),
        (job.surface and any(at["surface"] > at[name] for name in wanted), "something before the surface",
         "surface first", "pockets and slots are measured from the finished surface"),
        (job.outline and any(at["outline"] < at[name] for name in wanted), "something after the outline",
         "outline last", "the part is loose once its outline is cut"),
    ):
        with mistakes.caught():
            if wrong:
                raise JobError("order", problem, allowed=allowed, remedy=why)
    mistakes.refuse()


def _stock_holds_part(job: Job, part: Part) -> None:
    stock, unit = job.stock, job.units
    what = part.names.part
    if stock.thickness < job.body.thickness:
        leave = job.surface.leave if job.surface else 0.0
        thin, least = told_apart(stock.thickness, job.body.thickness + leave, unit=unit)
        more = ", with what [surface] leave lets stand" if leave else ", and some to cut" if job.surface else ""
        raise JobError("[stock] thickness", f"{thin} is less than the finished {what}",
                       allowed=f"{least} or more{more}",
                       remedy=f"take a thicker blank; or, if this and {job.body_name} thickness are swapped, change "
                              "them over")
    most = _TIMES_AS_THICK * job.body.thickness + _AND_MORE
    if stock.thickness > most:
        thick, allowed = told_apart(stock.thickness, most, unit=unit)
        raise JobError(
            "[stock] thickness", f"{thick}, and the finished {what} is {format_length(job.body.thickness, unit)}",
            allowed=f"{allowed} or less",
            remedy="see that the number is right, or saw the blank nearer to its thickness first")
    blank = shapely.box(*stock.bounds)
    if overlay.buffer(blank, SUMS, join_style="mitre").covers(part.outline):
        return
    if stock.length < stock.width and shapely.box(*replace(
            stock, length=stock.width, width=stock.length).bounds).covers(part.outline):
        raise JobError("[stock]", f"length {format_length(stock.length, unit)} and width "
                       f"{format_length(stock.width, unit)}: the {what} does not lie within the blank",
                       allowed=f"length along the {what}, width across it", remedy="swapped? change them over")
    raise JobError("[stock]", f"the {what} does not lie within the blank: {_overhang(part, blank)}",
                   remedy=larger_blank(job, part))


def _comes_with_its_top(job: Job, part: Part) -> None:
    """What no program cuts must be there: a board's blank without [surface] is as thick as the board."""
    if job.board and not job.surface and not written_alike(job.stock.thickness, job.body.thickness):
        top = "flat top" if part.surface.is_flat else "radius"
        blank, board = told_apart(job.stock.thickness, job.body.thickness, unit=job.units)
        raise JobError(
            "[surface]", f"is missing: no program cuts the {top}, and the blank of "
            f"{blank} is thicker than the board",
            allowed=f"without [surface] a blank that has its {top} already, and is as thick as the board, "
            f"{board}",
            remedy="add [surface] with its finish; or, where the blank has it already, measure its thickest place, and "
            "write that as [stock] thickness and as [board] thickness")


def _overhang(part: Part, blank: Polygon) -> str:
    bounds = zip(part.outline.bounds, blank.bounds, strict=True)
    out = [b - p if i < 2 else p - b for i, (p, b) in enumerate(bounds)]
    return ", ".join(f"{by:.2f} mm out {name}" for by, name in zip(out, part.names.around, strict=True) if by > 0)


def _inlay(job: Job, i: int, inlay: InlayTable) -> None:
    for k, drawing in enumerate(inlay.drawings):
        where, place = drawing_name(i - 1, k), drawing.place
        drawing_path(job, drawing.artwork, where)
        if place:
            place.check(where)
    where = f"{inlay.written(i)} cutters"
    cutters = [job.cutter(name, where) for name in inlay.cutters]
    best = sorted(cutters, key=lambda one: (one.shape == "v", -one.diameter))
    while len(cutters) > 1 and cutters[-1].shape == "v":
        cutters.pop()
    if cutters != sorted(cutters, key=lambda one: -one.diameter):
        names = ", ".join(f'"{one.name}"' for one in best)
        raise JobError(where, "not in order of size", allowed="largest first", remedy=f"write cutters = [{names}]: "
                       "each later cutter cuts only what the earlier could not reach")


def _pieces(job: Job, part: Part) -> None:
    for i, inlay in enumerate(job.inlays, 1):
        if inlay.piece is None:
            continue
        if inlay.fill != "piece":
            raise JobError(f"inlay {i} piece", f'given with fill = "{inlay.fill}"', allowed='only with fill = "piece"',
                           remedy='write fill = "piece", or leave piece out')
        if inlay.depth >= job.body.thickness:
            continue  # that is the mistake, and is told of the pocket
        thickness, highest = inlay.piece.thickness, inlay.depth + inlay.overfill
        if not inlay.depth < thickness <= highest + 1e-9:
            curved = "" if part.surface.is_level else \
                ", and on a curve, where the floor falls, one nearer to the most stands too high"
            raise JobError(
                f"inlay {i} piece thickness", f"{thickness:g} mm in a pocket {inlay.depth:g} mm deep",
                allowed=f"above {inlay.depth:g} mm, to {highest:g} mm: depth and overfill",
                remedy=f"make thickness {inlay.depth + inlay.overfill / 2:g} mm: a thinner piece ends below the "
                f"surface{curved}")


def _slots(job: Job, board: Fingerboard) -> None:
    cut = slots_of(job, board)
    if cut is None or job.slots is None:
        return
    check_on_wood(job, board, cut)
    cutter = _goes_in(job, cut, "slots", job.slots.cutter)
    if bool(cut.bevel) != bool(job.slots.bevel_cutter):
        raise JobError("[slots]", "bevel and bevel_cutter go together", remedy="give both or neither")
    # a level bottom is deepest under the crown, on a tight curve deeper than flutes go at any depth
    deepest = float(cut.deepest(board.surface).max(initial=0.0))
    reached, short = cutter.flute_length - deepest + cut.depth, falls_short(cutter.flute_length, deepest)
    if reached >= LEAST_DEPTH and (short or falls_short(float(np.min(web_under(job, board, cut))), board.min_web)):
        with suppress(PathgenError):  # what is wrong besides is told beside this
            reached = slots_borne(job, min(reached, cut.depth))
    bevel = job.slots.bevel_cutter and job.cutter(job.slots.bevel_cutter, "[slots] bevel_cutter")
    tip = bevel_tip(cut, bevel) if bevel and bevel.shape == "v" else 0.0
    goes, level = reached >= max(LEAST_DEPTH, tip), deepest > cut.depth + SUMS
    _enough_left(job, board, cut, "[slots] depth", most=reached if goes else math.inf)
    if short:
        instead = 'write bottom = "curve"' if level else "make bevel smaller"
        raise JobError(
            "[slots] depth",
            (f'{cut.depth:g} mm with bottom = "flat", {deepest:.4g} mm under the crown,' if level else
             f"{deepest:.4g} mm") + f' is deeper than the flute of "{cutter.name}", {cutter.flute_length:g} mm',
            allowed=f"{rounded_down(reached):g} mm or less" if goes
            else f"flutes of {rounded_up(deepest):g} mm or more",
            remedy=f"name a longer cutter, or {'make depth as allowed' if goes else instead}")


def _goes_in(job: Job, cut: Slots, table: str, name: str) -> Cutter:
    """The cutter of slots. Raises JobError for one that is wider than they are."""
    cutter = job.cutter(name, f"[{table}] cutter")
    if cutter.diameter > cut.width + 1e-9:
        raise JobError(f"[{table}] cutter",
                       f'"{cutter.name}" is {cutter.diameter:g} mm, wider than {cut.name or "the slots"}',
                       allowed=f"{cut.width:g} mm or less", remedy="name a thinner cutter or make width larger")
    return cutter


def _nut(job: Job, board: Fingerboard) -> None:
    if job.nut is None:
        return
    mistakes, cut = Mistakes(), None
    with mistakes.caught():
        cut = nut_of(job, board)
    if cut is None:  # what else is wrong with it is seen on a board that is long enough
        with suppress(PathgenError):
            longer = board.behind_nut + (job.nut.behind or 0.0) + (job.nut.width or 0.0) + _LONGER
            cut = nut_of(job, replace(board, behind_nut=longer))
    if cut is not None:
        with mistakes.caught():
            if not mistakes:
                check_on_wood(job, board, cut)
        with mistakes.caught():
            _goes_in(job, cut, "nut", job.nut.cutter)
        with mistakes.caught():
            _enough_left(job, board, cut, "[nut] depth")
    mistakes.refuse()


def _enough_left(job: Job, board: Fingerboard, cut: Slots, where: str, *, most: float = math.inf) -> None:
    """Raise JobError where a cut leaves too little wood; `most` is how deep its cutter goes."""
    web = web_under(job, board, cut)
    if falls_short(float(np.min(web)), board.min_web):
        fret = int(cut.number[int(np.argmin(web.min(axis=1)))])
        least = float(np.min(web))
        borne = cut.depth - board.min_web + least
        deep, goes = rounded_down(min(borne, most)), ""
        if LEAST_DEPTH <= most < borne:
            goes = f", as depth {rounded_down(borne):.2f} mm leaves; its cutter goes no deeper than {deep:.2f} mm"
        takes, less = taken(board.surface, web.ravel(), cut.lines[..., 0].ravel(), board.min_web)
        raise JobError(
            where, f"{cut.depth:g} mm {left_words(least)} under {f'fret {fret}' if fret else 'the nut'} at the edge"
            f"{takes}",
            allowed=f"min_web {board.min_web:g} mm or more{goes}",
            remedy=f"make depth {deep:.2f} mm or less{less}{or_less(board.min_web)}" if deep >= LEAST_DEPTH else
            f"make the board thicker, or min_web smaller{'' if least > 0 else ' and depth less'}{less}: no depth "
            "leaves so much")


def _holes(job: Job, board: Part) -> None:
    holes = holes_of(job)
    if holes is None or job.holes is None:
        return
    radius, mistakes = holes.diameter / 2, Mistakes()
    with mistakes.caught(), asked_by("[holes]"):
        check_holes(holes, job.cutter(job.holes.cutter, "[holes] cutter"), job.stock.thickness - holes.bottom)
    discs = overlay.buffer(shapely.points(holes.at), radius)
    inside, blank = shapely.distance(discs, board.finished) <= 0, shapely.covers(shapely.box(*job.stock.bounds), discs)
    before, after = (board.finished.bounds[k] + way for k, way in ((0, -radius), (2, radius)))
    if job.channel and not inside.any() and (cut_into := in_groove(job, board)):
        with mistakes.caught():
            raise JobError(cut_into.where, cut_into.problem, allowed=cut_into.allowed, remedy=cut_into.remedy)
    for i in np.flatnonzero(inside | ~blank):
        x, y = holes.at[i].tolist()
        problem = f"meets the {board.names.part}" if inside[i] else "leaves the blank"
        with mistakes.caught():
            raise JobError(
                f"[holes] at {i + 1}", f"the hole at {place_words(x, y, job.units)} {problem}",
                allowed=f"within the blank, outside the {board.names.part}: less than {before:.2f} mm or more than "
                        f"{after:.2f} mm along, or beside it", remedy="move it")
    mistakes.refuse()


def _outline(job: Job, board: Part) -> None:
    table = job.outline
    if table is None:
        return
    cutter = job.cutter(table.cutter, "[outline] cutter")
    if falls_short(cutter.diameter, NARROWEST_GROOVE):
        wide, least = told_apart(cutter.diameter, NARROWEST_GROOVE, unit=job.units)
        raise JobError("[outline] cutter", f'"{cutter.name}" is {wide} wide', allowed=f"{least} or more",
                       remedy="name a wider cutter")
    edge, cut = lowest_edge(board), outline_of(job, board)
    if cut and cut.tabs and cut.tab_height < LEAST_TAB - 1e-9:
        low, least = told_apart(cut.tab_height, LEAST_TAB, unit=job.units)
        raise JobError("[outline] tab_height", f"{low}, and so low a tab cannot hold the {board.names.part}",
                       allowed=f"{least} or more", remedy="make it higher, or write tabs = 0 for one that is stuck "
                       "down over its whole face")
    if cut and cut.tabs and cut.tab_height >= edge:
        most = _stands(job, edge, replace(table, tab_height=LEAST_TAB))
        raise JobError("[outline] tab_height", f"{cut.tab_height:g} mm reaches the top of the edge",
                       allowed=f"{most:.2f} mm or less" if most >= LEAST_TAB else f"less than {edge:.2f} mm",
                       remedy="make the tabs lower" if most >= LEAST_TAB else
                       f"make the {board.names.part} thicker, or write tabs = 0 and stick the work down")
    if cut and cut.skin >= edge:
        most = _stands(job, edge, replace(table, skin=rounded_down(edge / 2.0)))
        raise JobError("[outline] skin", f"{cut.skin:g} mm reaches the top of the edge",
                       allowed=f"{most:.2f} mm or less", remedy="make it thinner")


def _stands(job: Job, edge: float, lower: OutlineTable) -> float:
    """How high tabs or a skin may be below an edge: no higher than what is cut before them leaves in the groove, which
    is less beside a tight radius. `lower` asks for a height that is in order."""
    most = rounded_down(edge - _BELOW)
    with suppress(PathgenError):  # another mistake, which is told in its own place
        alone = replace(job, outline=lower, inlays=(), marks=None, measured=(), moved=None)
        most = min(most, rounded_down(stands_in_groove(clamping_of(alone))))
    return most
