"""The drawings of a job, placed on its board, as inlays to be cut."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.affinity import scale, translate
from shapely.geometry.base import BaseGeometry

from pathgen.artwork import Artwork, read_artwork
from pathgen.base import overlay
from pathgen.base.errors import ArtworkError, Doubt, JobError, Mistakes
from pathgen.base.halving import halved
from pathgen.base.plain import joined
from pathgen.base.units import INCH, as_written, format_length, place_as_written, place_words, rounded_down
from pathgen.job.board_tables import DotsInlay
from pathgen.job.depths import check_depth, check_sharp
from pathgen.job.doubts.drawings import TOUCHING, doubts_of_drawings, in_pixels
from pathgen.job.filling import let_ins, resin_of
from pathgen.job.flat import ring_area
from pathgen.job.inlay_tables import InlayTable
from pathgen.job.job import Job
from pathgen.job.outlines import drawing_path, left_out_words
from pathgen.job.part import crown_width, slot_width
from pathgen.job.placing import place_that_fits, placed_on
from pathgen.job.staged import together
from pathgen.job.tables import RingInlay
from pathgen.parts.fingerboard.dots import DOT_COLOURS, dot_area
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.flat.part import FlatPart
from pathgen.strategies.matching import least_round
from pathgen.work.features import Inlay, PlacedSize
from pathgen.work.part import wood_in_plan
from pathgen.work.thin_wood import BESIDE_PRESSED, THIN
from pathgen.work.touching import Regions, lapped, walled

DRAWING_TOLERANCE = 0.002
"""How far the straight pieces of a drawing may lie from its curves, mm: small beside what a cutter leaves."""

_FINE = 2.0**-14  # of a wall, to find one that leaves something
_ROUNDED = 0.002  # mm: by how much an inch in four places may say more
_SOMETHING = 0.01  # mm2 of a colour: less is nothing to anybody
_NEAR = 15.0  # mm: so much further a drawing is moved so that it stands clear of slots
_MOST_OF = 0.5  # share of area
_IN_ITS_STEAD = " (the first of also is then its artwork)"
_HAIR = 0.01  # mm: more than just what stands beside a slot


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
            _check_within(inlay, board, job, inlays, drawings[inlay.index])
            check_depth(inlay, board, job)
            check_sharp(inlay, board, job)
    left_out = dict.fromkeys(words for some in drawings.values() for art in some for words in left_out_words(art))
    cut = []
    for inlay in _lapped(job, inlays):
        with mistakes.caught():
            cut.append(_held(job, _for_pieces(job, board, inlay, drawings[inlay.index])))
    with mistakes.caught():
        _check_closed(cut)
    return tuple(cut), tuple(left_out), tuple(doubts_of_drawings(job, drawings, inlays, cut))


def _ring(job: Job, index: int) -> Inlay:
    """The inlay that is a ring, without a drawing."""
    table = job.inlays[index]
    assert isinstance(table, RingInlay)
    regions = ((table.ring.colour, ring_area(table.ring)),)
    return Inlay(index=index, name=inlay_name(job, index), regions=regions, depth=table.depth, fill=table.fill,
                 overfill=table.overfill)


def inlay_name(job: Job, index: int) -> str:
    """What an inlay of a plate is called, a ring by its own number too."""
    own = index + 1 - len(job.inlays) + len(job.rings)
    return f"inlay {index + 1}" + (f" (ring {own})" if own > 0 else "")


def _dots(job: Job, board: Fingerboard, index: int) -> Inlay:
    """The inlay that is made of dots, without a drawing."""
    table, where = job.inlays[index], f"inlay {index + 1} (dots)"
    assert isinstance(table, DotsInlay)
    dots = table.dots
    cutters = [job.cutter(name, "[dots] cutters") for name in table.cutters]
    smallest = min(0.0 if one.shape == "v" else one.diameter for one in cutters)  # a v goes in by its tip
    gap = 0.0 if dots.fill == "resin" else dots.gap
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
        return read_artwork(path, tolerance=DRAWING_TOLERANCE, background=table.background,
                            white_is_background=table.white_is_background,
                            missing="report" if table.artwork_missing == "report" else "refuse", layers=table.layers)
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
    drawn: list[Regions] = []
    sizes: list[PlacedSize] = []
    known = dict.fromkeys(region.colour for art in arts for region in art.regions)
    wrong = Mistakes()
    for colour in table.colours or ():
        with wrong.caught():
            if colour not in known:
                raise _not_shown(colour, table, arts, ", ".join(known), where)
    wrong.refuse()
    for nth, (one, art) in enumerate(zip(table.drawings, arts, strict=True)):
        if not art.regions:
            raise _nothing_shown(table, nth, f"{drawing_name(index, nth)} artwork", art)
        some, copies = placed_on(board, art, one, drawing_name(index, nth), slot=slot_width(job))
        if not some:
            raise JobError(f"{drawing_name(index, nth)} artwork", f"{one.artwork} has none of the inlay's colours",
                           allowed=", ".join(region.colour for region in art.regions),
                           remedy="add one of these to colours, or leave it out" if not table.also else
                           f"leave {_own_name(nth)} out of this inlay, where others cut it"
                           f"{_IN_ITS_STEAD * (nth == 0)}, or add one of these to colours")
        sizes += copies
        drawn.append(some)
    regions = _beside(drawn, where)
    if table.wall:
        regions = _walled(regions, table.wall, f"{where} wall", job.units)
    return Inlay(index=index, name=where, regions=regions, depth=table.depth, fill=table.fill, overfill=table.overfill,
                 piece=table.piece.thickness if table.piece else None, placed=tuple(sizes),
                 drawings=tuple((_own_name(nth), tuple(c for c, _ in some)) for nth, some in enumerate(drawn)))


def _own_name(nth: int) -> str:
    """What a drawing is called within its inlay."""
    return f"also {nth}" if nth else "the first drawing"


def _beside(drawn: list[Regions], where: str) -> tuple[tuple[str, Polygon | MultiPolygon], ...]:
    """The colours of several drawings. Raises JobError where one lies over another: nothing says which is on top."""
    shapes = np.array([shape for some in drawn for _, shape in some])
    owner = np.repeat(np.arange(len(drawn)), [len(some) for some in drawn])  # what is of one drawing lies apart
    pairs = shapely.STRtree(shapes).query(shapes).T
    for one, other in pairs[owner[pairs[:, 0]] < owner[pairs[:, 1]]]:
        shared = overlay.intersection(shapes[one], shapes[other])
        if shared.area > TOUCHING:
            x, y = shapely.get_coordinates(shared.representative_point())[0]
            raise JobError(f"{where} also", f"two of its drawings lie on each other, near {place_words(x, y)}",
                           allowed="drawings beside each other", remedy="move one, or give it an [[inlay]] of its own")
    of: dict[str, list[Polygon | MultiPolygon]] = {}
    for colour, shape in (region for some in drawn for region in some):
        of.setdefault(colour, []).append(shape)
    return tuple((colour, overlay.union_all(same) if same[1:] else same[0]) for colour, same in of.items())


def _walled(regions: Regions, wall: float, where: str, units: str) -> tuple[tuple[str, BaseGeometry], ...]:
    """Colours with wood between them. Raises JobError where that leaves nothing of one, with a wall that does not."""
    apart = tuple(walled(regions, wall))
    gone = [colour for colour, shape in apart if shape.is_empty]
    if not gone:
        return apart
    fits, _ = halved(lambda width: all(shape.area > _SOMETHING for _, shape in walled(regions, width)), 0.0, wall,
                     within=_FINE * wall)
    most = rounded_down(max(fits - _ROUNDED, 0.0))
    raise JobError(
        where, f"{format_length(wall, units)} of wood leaves nothing of {' and '.join(gone)}",
        allowed=f"{format_length(most, units)} or less leaves something of each"
        if most else "",
        remedy=("make wall smaller, or " if most else "") + "cut the colours in stages: an [[inlay]] for each")


def _lapped(job: Job, inlays: list[Inlay]) -> Iterator[Inlay]:
    """The inlays, run on under those of later stages where the job asks for it."""
    for nth, inlay in enumerate(inlays):
        table, later = job.inlays[inlay.index], [later.area for later in inlays[nth + 1 :]]
        yield replace(inlay, regions=tuple(lapped(inlay.regions, later, table.lap, wall=table.wall))) \
            if table.lap else inlay


def _for_pieces(job: Job, board: Fingerboard | FlatPart, inlay: Inlay, arts: list[Artwork]) -> Inlay:
    """The inlay with pockets that match its pieces, where the job says how the pieces are cut."""
    piece = job.inlays[inlay.index].piece
    if piece is None:
        return inlay
    drawn = replace(inlay, drawn=inlay.regions, least_round=least_round(
        job.cutter(piece.cutter, f"inlay {inlay.index + 1} piece cutter").radius, piece.gap))
    pockets = tuple((colour, made.pocket) for colour, made in let_ins(job, inlay.index, drawn))
    matched = replace(drawn, regions=pockets)
    _check_within(matched, board, job, [matched], arts)
    check_depth(matched, board, job)
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
            if shared.area > TOUCHING:
                x, y = shapely.get_coordinates(shared.representative_point())[0]
                raise JobError(
                    f"inlay {over.index + 1}",
                    f"{shared.area:.1f} mm2 of it, near {place_words(x, y)}, lie over inlay {under.index + 1}, which "
                    'stays open (fill = "none")', allowed="no fill over an open pocket: it runs in there",
                    remedy=f"write inlay {under.index + 1} after the others in the job, fill it, or move one of them")


def _fits_centred(
    inlay: Inlay, board: Fingerboard | FlatPart, wood: BaseGeometry, job: Job, arts: list[Artwork]
) -> bool:
    """Whether a drawing lies on the wood where what is drawn is centred instead of its page."""
    own = job.inlays[inlay.index]
    if own.place is None or own.place.centre != "page" or _too_large(inlay.area, wood):  # no smaller than on its page
        return False
    centred = replace(own, place=replace(own.place, centre="drawing"))
    changed = replace(job, inlays=(*job.inlays[: inlay.index], centred, *job.inlays[inlay.index + 1 :]))
    with suppress(ArtworkError, JobError):  # as where it is smaller and walls leave nothing of it, or is stretched
        return bool(wood.covers(_inlay(changed, board, inlay.index, arts).area))
    return False


def _too_large(area: BaseGeometry, wood: BaseGeometry) -> bool:
    """Whether an area lies on the wood nowhere, as it is turned."""
    (x0, y0, x1, y1), (left, low, right, high) = area.bounds, wood.bounds
    return bool(x1 - x0 > right - left or y1 - y0 > high - low)


def _onto(
    inlay: Inlay, board: Fingerboard | FlatPart, wood: BaseGeometry, job: Job, inlays: list[Inlay], arts: list[Artwork]
) -> str:
    """How a drawing comes to lie on the wood: the place to write, where moving it is enough, for all its stages."""
    centred = _fits_centred(inlay, board, wood, job, arts)
    smaller = "or " * (not centred) + "make the drawing smaller" + _size_that_fits(inlay, wood, job, inlays, arts) + (
        ', or centre what is drawn with place centre = "drawing"' * centred)
    stages, area, at = together(job, inlays, inlay)
    step = {"mm": 0.1, "in": 0.254}[job.units]
    found = apart = None
    if at and not job.inlays[inlay.index].also:
        within = overlay.buffer(wood, -THIN - _ROUNDED)
        clear = _clear(within, board, job)
        nearest, apart = (next((place for room, across_only in rooms if (place := place_that_fits(
            area, room, at, step=step, across_only=across_only))), None) for rooms in (
                ((within, True), (within, False), (wood, False)), ((clear, True), (clear, False))))
        found = apart if apart and nearest and math.dist(at, apart) < math.dist(at, nearest) + _NEAR else nearest
    if not found or not at:
        return f"move the drawing, {smaller}"
    of = f" for inlays {' and '.join(f'{one + 1}' for one in stages)}" if stages[1:] else ""
    or_apart = f" (it meets slots there; at = {place_as_written(apart, job.units)} is clear of them)" if (
        apart and apart != found) else ""
    said = f"make at = {place_as_written(found, job.units)}{of}{or_apart}, {smaller}"
    x, y = (one / INCH for one in at)
    if job.units == "in" and wood.covers(translate(area, x - at[0], y - at[1])):
        return f'if mm are meant, write at = ["{x:g} mm", "{y:g} mm"]{of}; else {said}'
    if abs(at[1]) > abs(at[0]) and wood.covers(translate(area, at[1] - at[0], at[0] - at[1])):
        other = place_as_written(at[::-1], job.units)
        return f"if along and across are changed over, write at = {other}{of}; else {said}"
    return said


def _size_that_fits(
    inlay: Inlay, wood: BaseGeometry, job: Job, inlays: list[Inlay], arts: list[Artwork]
) -> str:
    """The largest size, in whole steps, at which a drawing and its stages lie on the wood where they are placed: how to
    write it; nothing where that is not known."""
    (stages, area, at), table = together(job, inlays, inlay), job.inlays[inlay.index]
    if at is None or table.also or table.place is None:
        return ""
    key = "height" if table.place.height and not table.place.width else "width"
    size, step = getattr(table.place, key), {"mm": 0.5, "in": 0.02 * INCH}[job.units]
    if size is None:
        (art,) = arts
        size = art.page[0] if table.place.centre == "page" else inlay.placed[0].width

    def covered(room: BaseGeometry, steps: int) -> bool:
        share = steps * step / size
        return bool(room.covers(scale(area, share, share, origin=at)))

    for room in (overlay.buffer(wood, -THIN - _ROUNDED), wood):
        shapely.prepare(room)
        fits, _ = halved(partial(covered, room), 0, math.ceil(size / step), within=1)
        if fits * step >= size / 5.0 and _goes_in(inlay, fits * step / size, job):  # else it is rather moved
            of = f" for inlays {joined([str(one + 1) for one in stages])}" if stages[1:] else ""
            return f" ({key} = {as_written(fits * step, job.units)} fits there{of}" \
                   f"{', without height' * bool(table.place.height and key == 'width')})"
    return ""


def _goes_in(inlay: Inlay, share: float, job: Job) -> bool:
    """Whether the cutters of an inlay open most of what they open now when its drawing is made smaller; a v that comes
    last does."""
    cutters = [job.cutter(name, f"{inlay.name} cutters") for name in job.inlays[inlay.index].cutters]
    half = min(float(one.half_width(inlay.depth)) for one in cutters)
    now, then = (overlay.buffer(overlay.buffer(inlay.area, -half / by), half / by).area for by in (1.0, share))
    return bool(cutters[-1].shape == "v" or then > _MOST_OF * now)


def _clear(wood: BaseGeometry, board: Fingerboard | FlatPart, job: Job) -> BaseGeometry:
    """The wood less what breaks out beside slots."""
    if not (isinstance(board, Fingerboard) and slot_width(job)):
        return wood
    slots = overlay.buffer(shapely.linestrings(board.frets.ends), slot_width(job) / 2 + BESIDE_PRESSED + _HAIR)
    return overlay.difference(wood, overlay.union_all(slots))


def _check_within(
    inlay: Inlay, board: Fingerboard | FlatPart, job: Job, inlays: list[Inlay], arts: list[Artwork]
) -> None:
    """Raise JobError for a drawing off the wood, or over a hole in it; `inlays` are all that lie with it, and `arts`
    its drawings as they were read."""
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
                       f"{place_words(*met.at)}", remedy="move the drawing or the hole, or make it smaller"
                       + _size_that_fits(inlay, wood, job, inlays, arts))
    where = "over openings of" if any(one.covers(there) for one in drawn) else "off"
    x0, y0, x1, y1 = inlay.area.bounds
    beside = overlay.intersection(wood, shapely.box(x0, wood.bounds[1], x1, wood.bounds[3])).bounds
    across = "" if math.isnan(beside[1]) else f", and there {beside[1]:z.2f} mm to {beside[3]:z.2f} mm across"
    raise JobError(
        f"{inlay.name} place",
        f"{much} of the drawing lies {where} the {what}, near {place_words(there.x, there.y)}; it is {x1 - x0:.2f} mm "
        f"along by {y1 - y0:.2f} mm across",
        allowed=f"within the {what}, {wood.bounds[0]:z.2f} mm to {wood.bounds[2]:z.2f} mm along{across}",
        remedy=_onto(inlay, board, wood, job, inlays, arts) + "".join(dict.fromkeys(
            in_pixels(art, inlay) for art in arts)))
