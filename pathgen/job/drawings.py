"""The drawings of a job, placed on its board, as inlays to be cut."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.artwork import Artwork, read_artwork
from pathgen.artwork.curves import Curves
from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import ArtworkError, Doubt, JobError, Mistakes
from pathgen.base.plain import joined
from pathgen.base.units import (
    INCH,
    coarse_length,
    falls_short,
    format_length,
    left_words,
    place_as_written,
    place_words,
    rounded_down,
    rounded_up,
)
from pathgen.job.bench_tables import DOT_COLOURS, DotsInlay
from pathgen.job.filling import resin_of
from pathgen.job.flat import ring_area
from pathgen.job.flat_tables import RingInlay
from pathgen.job.job import Job
from pathgen.job.let_in import let_ins
from pathgen.job.outlines import drawing_path, left_out_words
from pathgen.job.part import crown_width, slot_width
from pathgen.job.placing import place_that_fits, placed_on
from pathgen.job.staged import together
from pathgen.job.tables import LEAST_POCKET, InlayTable
from pathgen.parts.fingerboard.dots import dot_area
from pathgen.parts.fingerboard.lowering import taken
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.flat.part import FlatPart
from pathgen.programs.shanks import BESIDE, RUBS
from pathgen.work.features import Inlay, PlacedSize
from pathgen.work.part import wood_in_plan
from pathgen.work.thin_wood import THIN
from pathgen.work.touching import Regions, lapped, walled

DRAWING_TOLERANCE = 0.002
"""How far the straight pieces of a drawing may lie from its curves, mm: small beside what a cutter leaves."""

BLACK = "#000000"
_HALVINGS = 14  # to find a wall that leaves something
_ROUNDED = 0.002  # mm: by how much an inch in four places may say more
_SOMETHING = 0.01  # mm2 of a colour: less is nothing to anybody
_OPAQUE = 0.995  # the share of a colour that nobody tells from all of it
_STEEPEST = 0.3  # of the slope of a v's flank: there it opens nearly twice as far uphill as downhill
_FLAT = 1e-6  # units of the drawing, squared: what a straight line encloses by rounding
_TOUCHING = 0.05  # mm2: what drawings share that only touch


def inlays_of(
    job: Job, board: Fingerboard | FlatPart, mistakes: Mistakes
) -> tuple[tuple[Inlay, ...], tuple[str, ...], tuple[Doubt, ...]]:
    """The inlays of a job, what its drawings hold that is not cut, in words, and what they hold that is hardly meant.

    `mistakes` gathers drawings that cannot be read or that lack a colour asked for, whose inlays are left out, and
    those that do not lie on the board with wood enough under them, which are kept.
    """
    drawings = _read(job, mistakes)
    inlays = []
    for index, art in drawings.items():
        with mistakes.caught():
            inlays.append(_inlay(job, board, index, art) if art else _dots(job, board, index)
                          if isinstance(board, Fingerboard) else _ring(job, index))
    for inlay in inlays:
        with mistakes.caught():
            _check_on_board(inlay, board, job, inlays, more="".join(
                dict.fromkeys(_in_pixels(art, inlay) for art in drawings[inlay.index])))
            _check_sharp(inlay, board, job)
    arts = {art.name: art for some in drawings.values() for art in some}
    left_out = dict.fromkeys(words for some in drawings.values() for art in some for words in left_out_words(art))
    cut = []
    for inlay in _lapped(job, inlays):
        with mistakes.caught():
            cut.append(_held(job, _for_pieces(job, board, inlay)))
    with mistakes.caught():
        _check_closed(cut)
    doubts = [doubt for art in arts.values() for doubt in (
        *_filled_lines(art), *_see_through(art), *_passed_over(art))]
    doubts += _sized_in_pixels(job, {art.name: (art, inlay) for inlay in cut for art in drawings[inlay.index]})
    return tuple(cut), tuple(left_out), (*doubts, *_cut_by_none(job, drawings), *_over_each_other(inlays))


def _filled_lines(art: Artwork) -> Iterator[Doubt]:
    """Open lines with another colour inside, the black that the format fills them with where nothing is said."""
    paints = art.scene.paints if art.scene is not None else ()
    lines = {paint.where: paint.colour for paint in paints if paint.stroke is not None}
    for paint in paints:
        line = lines.get(paint.where, BLACK)
        if paint.stroke is None and paint.colour == BLACK != line and _has_inside(paint.curves):
            yield Doubt(
                where=paint.where, problem=f"an open line of {line} whose inside is filled with black",
                allowed="what is meant to be cut: black is the fill where none is written",
                remedy='if only the line is meant, write fill="none" there', grave=False,
            )


def _has_inside(curves: Curves) -> bool:
    """Whether open lines, none of them closed, have one that is no straight line."""
    hulls = [shapely.multipoints(one.reshape(-1, 2)).convex_hull for one in np.split(curves.points, curves.first[1:])]
    return not curves.closed.any() and bool(np.any(shapely.area(hulls) > _FLAT))


def _see_through(art: Artwork) -> Iterator[Doubt]:
    """Shadows, tints and second tones, which would be cut as full colour."""
    pale = [paint for paint in (art.scene.paints if art.scene is not None else ()) if paint.opacity < _OPAQUE]
    if pale:
        least = min(pale, key=lambda paint: paint.opacity)
        yield Doubt(
            where=least.where,
            problem=f"drawn see-through, {100 * least.opacity:.0f} %" + (
                f", the palest of {len(pale)} shapes that are" if pale[1:] else "") + ": it is cut as full colour",
            allowed="what is meant to be cut",
            remedy="take shadows and tints out of the drawing, and give what is to be cut a colour of its own",
            grave=False,
        )


def _passed_over(art: Artwork) -> Iterator[Doubt]:
    """What a browser passes over: no colours, it draws in black or in that of what holds them; copies of what is not
    there, it draws nothing; values that no property takes, it draws the line at another width, say."""
    if (scene := art.scene) is None:
        return
    slips: tuple[tuple[tuple[tuple[str, ...], ...], str, Callable[..., Doubt]], ...] = (
        (scene.no_colours, "are none", _no_colour), (scene.no_targets, "name nothing", _no_target),
        (scene.not_read, "are not", _not_read),
    )
    for wrong, are, doubt in slips:
        if wrong:
            yield doubt(*wrong[0], f", the first of {len(wrong)} that {are}" if wrong[1:] else "")


def _no_colour(where: str, what: str, colour: str, others: str) -> Doubt:
    return Doubt(
        where=where, problem=f"{what} is no colour{others}: passed over, as a browser does, so that {colour} is cut "
        "there", allowed='a colour, such as "#2f6f4f"', remedy="write the colour that is meant",
    )


def _no_target(where: str, named: str, others: str) -> Doubt:
    return Doubt(
        where=where, problem=f'a copy of "{named}", and nothing is called so{others}: passed over, as a browser does',
        allowed="the id of what is drawn in the same file", remedy="mend its href, or take it out",
    )


def _not_read(where: str, what: str, others: str) -> Doubt:
    return Doubt(
        where=where, problem=f"{what} is nothing that can be read{others}: passed over, as a browser does, as if it "
        "were not written", allowed="what the format takes, numbers with a point (6.5), and names of what is in the "
        "drawing", remedy="write what is meant, or take it out",
    )


def _cut_by_none(job: Job, drawings: dict[int, list[Artwork]]) -> Iterator[Doubt]:
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
                f"if the wood is to show there, write background = [{listed}] in one that cuts the drawing",
            )


def _outline_colours(job: Job, artwork: str, art: Artwork) -> set[str]:
    """The colours of a drawing that are the part's outline, as they reach furthest, or its openings."""
    if not art.regions or artwork not in [t.artwork for t in (job.plate, job.outline) if t is not None]:
        return set()
    openings = job.plate.openings if job.plate else None
    if openings is not None and openings.layers:
        return {region.colour for region in art.regions}
    bounds = np.array([region.polygon.bounds for region in art.regions])
    furthest = (np.abs(bounds - [*bounds[:, :2].min(axis=0), *bounds[:, 2:].max(axis=0)]) < _ROUNDED).any(axis=1)
    return {art.regions[k].colour for k in np.flatnonzero(furthest)} | set((openings and openings.colours) or ())


def _over_each_other(inlays: Sequence[Inlay]) -> Iterator[Doubt]:
    """Inlays that lie on each other as they are drawn: not those that run on under a later one, to leave no sliver."""
    for first, later in combinations(inlays, 2):
        shared = overlay.intersection(first.area, later.area)
        if shared.area > _TOUCHING:
            x, y = shapely.get_coordinates(shared.representative_point())[0]
            yield Doubt(
                where=f"{first.name} and {later.name}",
                problem=f"{shared.area:.1f} mm2 of both lie on each other, near {place_words(x, y)}",
                allowed="drawings beside each other, unless it is meant",
                remedy=f"leave it so where {later.name} is to be cut through what fills {first.name}, or move one of "
                       "them", grave=False,
            )


def _ring(job: Job, index: int) -> Inlay:
    """The inlay that is a ring, without a drawing."""
    table = job.inlays[index]
    assert isinstance(table, RingInlay)
    where = f"inlay {index + 1} (ring {index + 1 - len(job.inlays) + len(job.rings)})"
    return Inlay(index=index, name=where, regions=((table.ring.colour, ring_area(table.ring)),), depth=table.depth,
                 fill=table.fill, overfill=table.overfill)


def _dots(job: Job, board: Fingerboard, index: int) -> Inlay:
    """The inlay that is made of dots, without a drawing."""
    table, where = job.inlays[index], f"inlay {index + 1} (dots)"
    assert isinstance(table, DotsInlay)
    dots = table.dots
    cutters = [job.cutter(name, "[dots] cutters") for name in table.cutters]
    smallest = min(0.0 if one.shape == "v" else one.diameter for one in cutters)  # a v goes in by its tip
    gap = dots.gap if dots.fill == "piece" else 0.0
    wide = dots.diameter + 2 * gap
    if smallest > wide:
        raise JobError("[dots] cutters", f"the smallest is {smallest:g} mm, and a pocket {wide:g} mm",
                       allowed=f"{wide:g} mm or less", remedy="name a smaller cutter")
    area = dot_area(board, dots, gap=gap, fret_width=max(crown_width(job), slot_width(job)),
                    slot_width=slot_width(job))
    return Inlay(index=index, name=where, regions=((DOT_COLOURS[dots.colour], area),), depth=table.depth,
                 fill=table.fill, overfill=table.overfill, dots=dots.diameter)


def drawing_name(index: int, nth: int) -> str:
    """How a drawing of an inlay is named in messages: its first one as the inlay itself."""
    return f"inlay {index + 1}" + (f" also {nth}" if nth else "")


def _read(job: Job, mistakes: Mistakes) -> dict[int, list[Artwork]]:
    """The drawings of each inlay whose drawings can be read, none for dots and rings; a file that several cut from in
    the same way is read once."""
    read: dict[tuple[object, ...], Artwork] = {}
    drawings: dict[int, list[Artwork]] = {}
    for index, inlay in enumerate(job.inlays):
        with mistakes.caught():
            found = []
            for nth, table in enumerate(inlay.drawings):
                key = (table.artwork, table.layers, table.background, table.white_is_background, table.artwork_missing)
                if key not in read:
                    read[key] = _drawing(drawing_path(job, table.artwork, drawing_name(index, nth)), table)
                found.append(read[key])
            drawings[index] = found
    return drawings


def _drawing(path: Path, table: InlayTable) -> Artwork:
    try:
        return read_artwork(
            path, tolerance=DRAWING_TOLERANCE, background=table.background,
            white_is_background=table.white_is_background,
            missing="report" if table.artwork_missing == "report" else "refuse", layers=table.layers,
        )
    except ArtworkError as wrong:
        raise wrong.advising('missing="report"', 'artwork_missing = "report"') from None


def _nothing_shown(table: InlayTable, nth: int, where: str, art: Artwork) -> JobError:
    """What became of all that the `nth` drawing of an inlay holds."""
    file, white = table.drawings[nth].artwork, table.white_is_background
    remedy = "show its shapes where they are hidden, and fill or stroke them with plain colours"
    if behind := [colour for colour in _painted([art]) if colour in table.background]:
        return JobError(where, f"{file} shows only what is background, {joined(behind)}",
                        remedy="leave out of background what is to be cut, or leave the drawing out")
    if not art.left_out:
        return JobError(where, f"{file} shows nothing that could be cut",
                        remedy=f"{remedy}; white ones count with white_is_background = false" if white else remedy)
    first, more = art.left_out[0], len(art.left_out) - 1
    others = f", and {more} more are left out" if more else " is left out"
    return JobError(where, f"{file} shows nothing else that could be cut: {first.words}{others}",
                    remedy=first.remedy)


def _painted(arts: Sequence[Artwork]) -> dict[str, None]:
    """The colours of all that drawings hold, seen or covered."""
    return dict.fromkeys(paint.colour for art in arts if art.scene is not None for paint in art.scene.paints)


def _not_shown(colour: str, table: InlayTable, arts: Sequence[Artwork], known: str, where: str) -> JobError:
    """Why a colour that an inlay names is none that its drawings show."""
    files = joined(list(dict.fromkeys("these layers of " * bool(one.layers) + one.artwork for one in table.drawings)))
    if colour in table.background:
        return JobError(f"{where} colours", f"{colour} is background too, which only cuts its shape out of what lies "
                        "below", allowed=known, remedy="leave it out of colours, or out of background")
    if colour in _painted(arts):
        return JobError(f"{where} colours", f"all of {colour} in {files} lies under other colours",
                        allowed=known, remedy="bring it to the front in the drawing, or name with layers "
                        "the groups that are to be seen")
    return JobError(f"{where} colours", f"{colour} is not in {files}", allowed=known)


def _inlay(job: Job, board: Fingerboard | FlatPart, index: int, arts: list[Artwork]) -> Inlay:
    table, where = job.inlays[index], f"inlay {index + 1}"
    drawn: dict[str, list[BaseGeometry]] = {}
    sizes: list[PlacedSize] = []
    known = dict.fromkeys(region.colour for art in arts for region in art.regions)
    for colour in table.colours or ():
        if colour not in known:
            raise _not_shown(colour, table, arts, ", ".join(known), where)
    for nth, (one, art) in enumerate(zip(table.drawings, arts, strict=True)):
        if not art.regions:
            raise _nothing_shown(table, nth, f"{drawing_name(index, nth)} artwork", art)
        some, copies = placed_on(board, art, one, drawing_name(index, nth), slot=slot_width(job))
        if not some:
            raise JobError(f"{drawing_name(index, nth)} artwork", f"{one.artwork} has none of the inlay's colours",
                           allowed=", ".join(region.colour for region in art.regions),
                           remedy="add one of these to colours, or leave it out")
        sizes += copies
        for colour, shape in some:
            drawn.setdefault(colour, []).append(shape)
    regions = _beside(drawn, where)
    if table.wall:
        regions = _walled(regions, table.wall, f"{where} wall", job.units)
    return Inlay(index=index, name=where, regions=regions, depth=table.depth, fill=table.fill, overfill=table.overfill,
                 piece=table.piece.thickness if table.piece else None, placed=tuple(sizes))


def _beside(drawn: dict[str, list[BaseGeometry]], where: str) -> tuple[tuple[str, BaseGeometry], ...]:
    """The colours of several drawings. Raises JobError where one lies over another: nothing says which is on top."""
    apart = [shape for shapes in drawn.values() for shape in shapes]
    for one, other in combinations(apart, 2):
        shared = overlay.intersection(one, other)
        if shared.area > _TOUCHING:
            x, y = shapely.get_coordinates(shared.representative_point())[0]
            raise JobError(f"{where} also", f"two of its drawings lie on each other, near {place_words(x, y)}",
                           allowed="drawings beside each other", remedy="move one, or give it an [[inlay]] of its own")
    return tuple((colour, overlay.union_all(shapes) if shapes[1:] else shapes[0]) for colour, shapes in drawn.items())


def _walled(regions: Regions, wall: float, where: str, units: str) -> tuple[tuple[str, BaseGeometry], ...]:
    """Colours with wood between them. Raises JobError where that leaves nothing of one, with a wall that does not."""
    apart = tuple(walled(regions, wall))
    gone = [colour for colour, shape in apart if shape.is_empty]
    if not gone:
        return apart
    fits, least = 0.0, wall
    for _ in range(_HALVINGS):
        middle = (fits + least) / 2.0
        some = all(shape.area > _SOMETHING for _, shape in walled(regions, middle))
        fits, least = (middle, least) if some else (fits, middle)
    most = rounded_down(max(fits - _ROUNDED, 0.0))
    raise JobError(
        where, f"{format_length(wall, units)} of wood leaves nothing of {' and '.join(gone)}",
        allowed=f"{format_length(most, units)} or less leaves something of each"
        if most else "",
        remedy=("make wall smaller, or " if most else "") + "cut the colours in stages: an [[inlay]] for each",
    )


def _lapped(job: Job, inlays: list[Inlay]) -> Iterator[Inlay]:
    """The inlays, run on under those of later stages where the job asks for it."""
    for nth, inlay in enumerate(inlays):
        table, later = job.inlays[inlay.index], [later.area for later in inlays[nth + 1 :]]
        yield replace(inlay, regions=tuple(lapped(inlay.regions, later, table.lap, wall=table.wall))) \
            if table.lap else inlay


def _for_pieces(job: Job, board: Fingerboard | FlatPart, inlay: Inlay) -> Inlay:
    """The inlay with pockets that match its pieces, where the job says how the pieces are cut."""
    if job.inlays[inlay.index].piece is None:
        return inlay
    drawn = replace(inlay, drawn=inlay.regions)
    pockets = tuple((colour, made.pocket) for colour, made in let_ins(job, inlay.index, drawn))
    matched = replace(drawn, regions=pockets)
    _check_on_board(matched, board, job, [matched])
    return matched


def _held(job: Job, inlay: Inlay) -> Inlay:
    """The inlay with the dam that holds its resin, where it is poured."""
    if inlay.fill != "resin":
        return inlay
    resin = resin_of(job, inlay.index)
    return replace(inlay, dam=resin.dam, pour_depth=resin.pour_depth)


def _check_closed(inlays: list[Inlay]) -> None:
    """A fill runs into every pocket that it meets and that stays open."""
    for over in (inlay for inlay in inlays if inlay.fill != "none"):
        for under in (inlay for inlay in inlays if inlay.index < over.index and inlay.fill == "none"):
            shared = overlay.intersection(over.area, under.area)
            if shared.area > _TOUCHING:
                x, y = shapely.get_coordinates(shared.representative_point())[0]
                raise JobError(
                    f"inlay {over.index + 1}",
                    f"{shared.area:.1f} mm2 of it, near {place_words(x, y)}, lie over inlay {under.index + 1}, which "
                    'stays open (fill = "none")', allowed="no fill over an open pocket: it runs in there",
                    remedy=f"write inlay {under.index + 1} after the others in the job, fill it, or move one of them",
                )


def _in_pixels(art: Artwork, inlay: Inlay) -> str:
    """That a drawing lies as large as its px come to, where it does: its maker may have meant them for no size."""
    wide, high = art.page
    if art.scene is None or not art.scene.pixels or any(one.share != 1.0 for one in inlay.placed):
        return ""
    return (f"; its {96 * wide / INCH:.0f} by {96 * high / INCH:.0f} px count 96 to the inch, {wide:.1f} mm by "
            f"{high:.1f} mm: give place a width if that is not meant")


def _sized_in_pixels(job: Job, drawn: dict[str, tuple[Artwork, Inlay]]) -> Iterator[Doubt]:
    """Drawings that are as large as their px come to: some programs count 72 or 90 to the inch (common practice)."""
    for name, (art, inlay) in drawn.items():
        if _in_pixels(art, inlay):
            wide, high = (coarse_length(side, job.units) for side in art.page)
            yield Doubt(
                where=name, problem="its page is sized in px, or by numbers alone: at 96 to the inch it is "
                f"{wide} by {high}", allowed="a size in mm, cm or in, or a place with a width",
                remedy="leave it so if that is its size; else give place a width", grave=False,
            )


def _fits_centred(inlay: Inlay, board: Fingerboard | FlatPart, wood: BaseGeometry, job: Job) -> bool:
    """Whether a drawing lies on the wood where what is drawn is centred instead of its page."""
    own = job.inlays[inlay.index]
    if own.place is None or own.place.centre != "page":
        return False
    centred = replace(own, place=replace(own.place, centre="drawing"))
    changed = replace(job, inlays=(*job.inlays[: inlay.index], centred, *job.inlays[inlay.index + 1 :]))
    with suppress(JobError):  # as where it is smaller, and walls leave nothing of it
        return bool(wood.covers(_inlay(changed, board, inlay.index, _read(changed, Mistakes())[inlay.index]).area))
    return False


def _onto(
    inlay: Inlay, board: Fingerboard | FlatPart, wood: BaseGeometry, job: Job, inlays: list[Inlay]
) -> str:
    """How a drawing comes to lie on the wood: the place to write, where moving it is enough, for all its stages."""
    smaller = "or make the drawing smaller" if not _fits_centred(inlay, board, wood, job) else (
        'make the drawing smaller, or centre what is drawn with place centre = "drawing"')
    stages, area, at = together(job, inlays, inlay)
    step = {"mm": 0.1, "in": 0.254}[job.units]
    found = None
    if at and not job.inlays[inlay.index].also:
        within = overlay.buffer(wood, -THIN - _ROUNDED)
        found = next((place for room in (_clear(within, board, job), within, wood)
                      if (place := place_that_fits(area, room, at, step=step))), None)
    if not found:
        return f"move the drawing, {smaller}"
    of = f" for inlays {' and '.join(f'{one + 1}' for one in stages)}" if stages[1:] else ""
    return f"make at = {place_as_written(found, job.units)}{of}, {smaller}"


def _clear(wood: BaseGeometry, board: Fingerboard | FlatPart, job: Job) -> BaseGeometry:
    """The wood less what breaks out beside slots."""
    if not (isinstance(board, Fingerboard) and slot_width(job)):
        return wood
    slots = overlay.buffer(shapely.linestrings(board.frets.ends), slot_width(job) / 2 + _BESIDE_SLOT)
    return overlay.difference(wood, overlay.union_all(slots))


_BESIDE_SLOT = 0.81
"""Wood beside a slot that stands, mm, and a hair (common practice, no source)."""


def _check_on_board(
    inlay: Inlay, board: Fingerboard | FlatPart, job: Job, inlays: list[Inlay], *, more: str = ""
) -> None:
    """Raise JobError for a drawing off the wood, or too little wood under it; `inlays` are all that lie with it, and
    `more` says why it may be so large."""
    _within(inlay, board, job, inlays, more)
    shortest, (leave, ridges) = min(_cutters(job, inlay), key=lambda one: one.flute_length), _stands(job, inlay)
    uphill = float(board.surface.slope(*shapely.get_coordinates(inlay.area).T).max()) * (shortest.radius + BESIDE)
    reached, surely = (shortest.flute_length - leave - max(one - RUBS, 0.0) for one in (ridges, ridges + uphill))
    goes = surely >= LEAST_POCKET
    _wood_under(inlay, board, surely if goes else math.inf)
    if inlay.depth > reached + 1e-9:
        above = shortest.flute_length - reached
        raise JobError(
            f"{inlay.name} depth", f'{inlay.depth + above:.4g} mm is deeper than the flute of "{shortest.name}", '
            f"{shortest.flute_length:g} mm" + f"; {above:.4g} mm of that is over the finished surface" * (above > 0.0),
            allowed=f"depth {rounded_down(surely):g} mm or less" if goes else
            f"flutes of {rounded_up(inlay.depth + above):g} mm or more",
            remedy="name a longer cutter" + ", or make depth as allowed" * goes,
        )


def _within(inlay: Inlay, board: Fingerboard | FlatPart, job: Job, inlays: list[Inlay], more: str) -> None:
    """Raise JobError for a drawing off the wood, or over a hole in it."""
    bores, drawn = (board.bores, board.drawn) if isinstance(board, FlatPart) else ((), ())
    wood, what = wood_in_plan(board), board.names.part
    if bores:  # nor over a hole that does not go through
        wood = overlay.difference(wood, overlay.union_all([bore.shape for bore in bores]))
    outside = overlay.difference(inlay.area, wood)
    if outside.area <= 1e-6:
        return
    much = f"{outside.area:.1f} mm2" if outside.area >= 0.05 else "less than 0.1 mm2"
    there = outside.representative_point()
    if met := next((bore for bore in bores if bore.shape.covers(there)), None):
        raise JobError(f"{inlay.name} place", f"{much} of the drawing lies over holes, the first at "
                       f"{place_words(*met.at)}", remedy="move the drawing or the hole, or make it smaller")
    where = "over openings of" if any(one.covers(there) for one in drawn) else "off"
    x0, y0, x1, y1 = inlay.area.bounds
    beside = overlay.intersection(wood, shapely.box(x0, wood.bounds[1], x1, wood.bounds[3])).bounds
    across = "" if math.isnan(beside[1]) else f", and there {beside[1]:.2f} mm to {beside[3]:.2f} mm across"
    raise JobError(
        f"{inlay.name} place",
        f"{much} of the drawing lies {where} the {what}, near {place_words(there.x, there.y)}; it is {x1 - x0:.2f} mm "
        f"along by {y1 - y0:.2f} mm across",
        allowed=f"within the {what}, {wood.bounds[0]:.2f} mm to {wood.bounds[2]:.2f} mm along{across}",
        remedy=_onto(inlay, board, wood, job, inlays) + more,
    )


def _wood_under(inlay: Inlay, board: Fingerboard | FlatPart, reached: float) -> None:
    """Raise JobError where a pocket leaves too little wood; `reached` is as deep as its cutters go."""
    points = shapely.get_coordinates(inlay.area)
    web = board.surface.height(points[:, 0], points[:, 1]) - inlay.depth
    worst = int(np.argmin(web))
    if not falls_short(float(web[worst]), board.min_web):
        return
    place = f"near {place_words(*points[worst].tolist())}"
    if isinstance(board, Fingerboard):
        place = f"after fret {int(np.searchsorted(board.frets.distance[board.frets.number > 0], points[worst, 0]))}"
    takes, less = taken(board.surface, web, points[:, 0], board.min_web)
    most = rounded_down(min(inlay.depth - board.min_web + web[worst], reached))
    raise JobError(
        f"{inlay.name} depth",
        f"the pocket {left_words(web[worst])} {'under it' if web[worst] > 0 else 'the underside'} {place}{takes}",
        allowed=f"min_web {board.min_web:g} mm or more",
        remedy=f"make depth {most:.2f} mm or less{less}" if most >= LEAST_POCKET else
        f"make min_web smaller, or the {board.names.part} thicker: no depth leaves so much",
    )


def _check_sharp(inlay: Inlay, board: Fingerboard | FlatPart, job: Job) -> None:
    """Raise JobError for a v cutter so blunt that on the board's slope it opens nearly twice as far uphill as down."""
    vs = [cutter for cutter in _cutters(job, inlay) if cutter.shape == "v"]
    if not vs:
        return
    points, blunt = shapely.get_coordinates(inlay.area), min(vs, key=lambda cutter: cutter.wall_slope)
    slopes = board.surface.slope(points[:, 0], points[:, 1])
    worst = int(np.argmax(slopes))
    if slopes[worst] > _STEEPEST * blunt.wall_slope:
        degrees = np.degrees(np.arctan([slopes[worst], _STEEPEST / slopes[worst]])).tolist()
        raise JobError(
            f"{inlay.name} cutters", f'"{blunt.name}", a v of {blunt.angle:g} degrees, is too blunt near '
            f"{place_words(*points[worst].tolist())}, where the {board.names.part} slopes {degrees[0]:.1f} degrees",
            allowed=f"{math.floor(2.0 * degrees[1])} degrees or less there",
            remedy="take a sharper v cutter, or place the drawing nearer to the centre-line",
        )


def _cutters(job: Job, inlay: Inlay) -> list[Cutter]:
    return [job.cutter(name, f"{inlay.name} cutters") for name in job.inlays[inlay.index].cutters]


def _stands(job: Job, inlay: Inlay) -> tuple[float, float]:
    """How high wood, and ridges on it, stand over the finished surface when an inlay is cut, mm."""
    if job.surface is None:
        return 0.0, 0.0
    leave = job.surface.leave if any(later.fill != "none" for later in job.inlays[inlay.index :]) else 0.0
    return leave, job.surface.leave_ridges if leave else job.surface.scallop or 0.0
