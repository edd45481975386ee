"""What fills a job's inlays: resin; or pieces, made from the drawings and held against the pockets that are cut."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.cutters import Cutter
from pathgen.base.errors import Doubt, JobError
from pathgen.base.plain import joined
from pathgen.base.units import INCH, as_written, falls_short, format_length, place_words, told_apart
from pathgen.job.job import Job
from pathgen.job.marks import check_marks
from pathgen.job.measured import check_measured
from pathgen.strategies.matching import LetIn, LetIns, NoRoomError, keeping, let_in, misfits, under_the_edges
from pathgen.strategies.pocketing import PocketCut
from pathgen.strategies.pocketing.shapes import polygons
from pathgen.strategies.reach import LEFT_NOTED, MISSED
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay
from pathgen.work.fill import Resin

THROUGH = 0.1
"""How far the cut round a piece goes below its stock, mm."""

_LOST = 0.2
"""Share of what is drawn beside it that is pocketed, from which the drawing is not to be recognised: the wood between
its lines is gone."""
_TIGHT = 0.25  # share of its gap that a piece may lack in places: it goes in all the same


def check_filling(job: Job) -> None:
    """Raise JobError for fills, marks and measured moves that do not go together."""
    for index in range(1, len(job.inlays) + 1):
        resin = resin_of(job, index - 1)
        if resin.mix and resin.mix_by == "mass" and resin.density is None:
            raise JobError(
                f"inlay {index} resin", "parts by mass without a density", remedy="add density, in g/cm3, of the "
                'mixed resin, or write mix_by = "volume"')
        per_ml, unit = (resin.density or 1.0, "g") if resin.mix_by == "mass" else (1.0, "ml")
        if resin.measure * max(len(resin.mix), 1) > resin.least * per_ml:
            raise JobError(
                f"inlay {index} resin least", f"a batch of {resin.least * per_ml:g} {unit} of {len(resin.mix) or 1} "
                f"{'parts' if len(resin.mix) > 1 else 'part'} that are measured by {resin.measure:g} {unit}",
                allowed=f"{resin.measure * max(len(resin.mix), 1) / per_ml:g} ml or more",
                remedy="make least larger, or measure finer and write that as measure")
    check_marks(job)
    if job.resurface and job.resurface.area == "inlay" and job.resurface.skim > 0:
        raise JobError(
            "[resurface] skim", f"{job.resurface.skim:g} mm over the inlays only leaves a step of as much round them",
            allowed='0 with area = "inlay"', remedy='write skim = 0.0, or area = "board"')
    check_measured(job)


def resin_of(job: Job, index: int) -> Resin:
    """The resin of an inlay: its own keys before those of ``[resin]``."""
    tables = [vars(table) for table in (job.resin, job.inlays[index].resin) if table is not None]
    return Resin(**{name: value for table in tables for name, value in table.items() if value is not None})


def let_ins(job: Job, index: int, inlay: Inlay) -> LetIns:
    """Pocket and pieces for each colour that an inlay was drawn with; none where the job has no ``piece`` for it.

    Raises CutterError for cutters that leave no upright wall, or whose flute is too short for the stock; JobError when
    nothing of a colour is left for a piece, or pieces of two colours would lie in each other's place.
    """
    table, where = job.inlays[index].piece, f"inlay {index + 1} piece"
    if table is None:
        return ()
    cutters = tuple(job.cutter(name, f"inlay {index + 1} cutters") for name in job.inlays[index].cutters)
    found: list[tuple[str, LetIn]] = []
    narrow: dict[str, NoRoomError] = {}
    for colour, shape in inlay.drawn:
        try:
            found.append((colour, let_in(
                shape, pocket_cutters=cutters, piece_cutter=job.cutter(table.cutter, f"{where} cutter"), gap=table.gap,
                thickness=table.thickness, from_back=table.from_back, through=THROUGH, where=f"{where}, {colour}",
            )))
        except NoRoomError as refused:
            narrow[colour] = refused
    made = tuple(found)
    wrong = [JobError(f"{where}, {colour}", f"{_away_words(job, index, one)}; the drawing would not be recognised",
                      allowed=f"up to {100 * _LOST:g} %, with a warning", remedy=_keeping_words(job, index, one))
             for colour, one in made if one.gained_share > _LOST]
    wrong += itertools.islice(_in_one_place(made, where), 1)
    if narrow:
        raise _narrow(narrow, made, wrong)
    if wrong:
        wrong[0].others = tuple(wrong[1:])
        raise wrong[0]
    return made


def _narrow(refused: Mapping[str, NoRoomError], made: LetIns, wrong: Sequence[JobError]) -> JobError:
    """That some colours have no room for a piece, and which have; with what else is in the way of those."""
    first, *others = refused.values()
    left = ", ".join(f'"{colour}"' for colour, _ in made)
    leave = f"; or leave {joined(list(refused))} out, by colours = [{left}] in [[inlay]]"
    leave += ": the others have room" * (not wrong)
    told = JobError(first.where, first.problem, allowed=first.allowed, remedy=first.remedy + leave * bool(left))
    told.others = (*others, *wrong)
    return told


def cut_away(job: Job, index: int, colour: str, one: LetIn) -> Iterator[Doubt]:
    """Wood that is pocketed beside what is drawn, so much that it would be seen: no piece goes round it."""
    if one.gained_share > LEFT_NOTED or shapely.area(polygons(one.gained)).max(initial=0.0) >= MISSED:
        yield Doubt(
            where=f"inlay {index + 1} piece, {colour}", problem=_away_words(job, index, one), beside=True,
            allowed="wood a hair wider than the cutter round the pieces less both gaps, and round at its tips",
            remedy=_keeping_words(job, index, one))


def _away_words(job: Job, index: int, one: LetIn) -> str:
    places = polygons(one.gained)
    x, y = shapely.get_coordinates(places[int(np.argmax(shapely.area(places)))].representative_point())[0]
    return (f"{one.gained.area:.2f} mm2 of wood beside what is drawn, as much as {100 * one.gained_share:.1f} % of it, "
            f'are cut away with "{_round_pieces(job, index).name}" round the pieces, which go round no wood so narrow '
            f"or so sharp; the most, {shapely.area(places).max():.2f} mm2, near {place_words(x, y)}")


def _keeping_words(job: Job, index: int, one: LetIn) -> str:
    """What leaves so much more wood that nobody is warned."""
    cutter, table, inlay = _round_pieces(job, index), job.inlays[index].piece, job.inlays[index]
    assert table is not None
    inner = min(job.cutter(name, f"inlay {index + 1} cutters").radius for name in inlay.cutters)
    fit = tuple(each for each in job.complete_cutters if each.is_flat and each.radius < cutter.radius
                and not falls_short(each.flute_length, table.thickness + THROUGH))
    best = keeping(one.drawing, fit, inner=inner, gap=table.gap, usual=cutter,
                   most=min(LEFT_NOTED * one.drawing.area, MISSED))
    larger = "draw that place with more wood between, make the drawing larger, or fill with resin"
    if best is None:
        return f"{larger}: of finer cutters round the pieces none was found that leaves nearly all of it"
    name = f'"{best.name}"' if best.name else f"one of {best.diameter:.2f} mm"
    return f"name a finer cutter in [[inlay]] piece, {name} leaves nearly all that wood; or {larger}"


def _round_pieces(job: Job, index: int) -> Cutter:
    """The cutter that goes round an inlay's pieces."""
    table = job.inlays[index].piece
    assert table is not None
    return job.cutter(table.cutter, f"inlay {index + 1} piece cutter")


def check_fit(job: Job, clamping: Clamping, index: int, made: LetIns, cuts: Sequence[PocketCut]) -> None:
    """Hold an inlay's pieces against what its pocket cutters open; nothing to hold where `made` is empty.

    Raises JobError with the place and size of the worst misfit, or for a piece that would stand higher than the
    second cut reckons with.
    """
    where = f"inlay {index + 1} piece"
    for colour, one in made:
        wrong = misfits(one.piece, cuts[-1].opened, one.gap, tolerance=max(_TIGHT * one.gap, 0.005))
        if len(wrong):
            worst = wrong[int(np.argmax(shapely.area(wrong)))]
            x, y = shapely.get_coordinates(worst.representative_point())[0]
            x0, y0, x1, y1 = worst.bounds
            raise JobError(where, f"the piece of {colour} does not go into its pocket in {len(wrong)} place"
                           f"{'s' if len(wrong) > 1 else ''}, the largest near "
                           f"{place_words(x, y)}: {x1 - x0:.3f} by {y1 - y0:.3f} mm, {worst.area:.4f} mm2",
                           allowed="no place", remedy="take a smaller last cutter for the pocket, or a larger gap")
    if made:
        _check_height(job, clamping, index, made)


def _check_height(job: Job, clamping: Clamping, index: int, made: LetIns) -> None:
    """The second cut reckons with `overfill`: the piece of that colour is told which stands the highest."""
    inlay, table, units = clamping.inlays[index], job.inlays[index].piece, job.units
    assert table is not None
    off, colour = max((under_the_edges(one.piece, clamping.surface), colour) for colour, one in made)
    proud = table.thickness - inlay.depth + off
    if proud > inlay.overfill + 1e-6:
        given, stands = told_apart(inlay.overfill, proud, unit=units)
        step = {"mm": 0.01, "in": INCH / 1e4}[units]
        needed = as_written(math.ceil(proud / step - 1e-6) * step, units)
        raise JobError(
            f"inlay {index + 1} overfill",
            f"{given}, but a flat piece of {format_length(table.thickness, units)} stands {stands} proud at its edges, "
            f"that of {colour} the most: the floor falls {format_length(off, units)} under it",
            allowed=f"{needed} {units} or more",
            remedy=f"make overfill {needed} {units}, or the piece thinner or narrower")


def _in_one_place(made: LetIns, where: str) -> Iterator[JobError]:
    """Pairs of colours whose pieces share a place: where wood between would be too thin, both may have grown into it.
    """
    for (one, a), (other, b) in itertools.combinations(made, 2):
        shared = polygons(overlay.buffer(overlay.intersection(a.piece, b.piece), 0.0))
        if shapely.area(shared).sum() > 1e-4:
            x, y = shapely.get_coordinates(shared[int(np.argmax(shapely.area(shared)))].representative_point())[0]
            yield JobError(where, f"the pieces of {one} and {other} would both lie near {place_words(x, y)}: "
                           f"{shapely.area(shared).sum():.3f} mm2", allowed="pieces that do not overlap",
                           remedy="give each colour an [[inlay]] of its own, or a smaller piece cutter, or wall")
