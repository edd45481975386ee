"""The clampings that cut the pieces let into inlays: each inlay and colour from its own flat stock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import shapely

from pathgen.base.errors import Doubt, JobError
from pathgen.base.units import ruled
from pathgen.job.clamping import planned_of
from pathgen.job.filling import cut_away
from pathgen.job.job import Job
from pathgen.job.part import part_of
from pathgen.parts.tools import FlatStock, sheet
from pathgen.strategies.matching import LetIn
from pathgen.strategies.pocketing.shapes import polygons
from pathgen.strategies.reach import LEFT_NOTED, SMALLEST
from pathgen.work.clamping import Clamping, Setup, Step, slug
from pathgen.work.features import Inlay, Pieces
from pathgen.work.operations import CutPieces


@dataclass(frozen=True, eq=False, kw_only=True)
class PieceSheet:
    """What the pieces of one colour of one inlay are cut from, and how."""

    inlay: int
    colour: str
    let_in: LetIn
    clamping: Clamping


def piece_sheets(job: Job) -> tuple[PieceSheet, ...]:
    """One for each inlay and colour that is let in; zero at the stock's corner and underside, X along its length.

    The board itself is planned too: pieces are made for the pockets that its cutters really open. Raises PathgenError
    for a job without ``piece`` in any inlay, for pieces that would not fit, and for all that a plan raises.
    """
    part_of(job)  # refuses a job of several
    if not any(inlay.piece for inlay in job.inlays):
        raise JobError(job.path.name, "no [[inlay]] has a piece",
                       remedy='write fill = "piece" and piece = { cutter = .., thickness = .. } in one')
    planned, sheets = planned_of(job), []
    for index, made in enumerate(planned.asked.let_ins):
        for colour, one in made:
            table = job.inlays[index].piece
            assert table is not None
            cutter = job.cutter(table.cutter, f"inlay {index + 1} piece cutter")
            length, width = (ruled(size, job.units) for size in one.size)
            cut = CutPieces(Pieces(shapes=one.stock, through=one.through, size=(length, width), gap=one.gap,
                                   from_back=table.from_back, colour=colour))
            step = Step(order=1, operation=cut, cutter=cutter,
                        file_name=f"piece-{index + 1}-{colour.lstrip('#')}-{slug(cutter.name, 'cutter')}.nc")
            stock = FlatStock(length=length, width=width, thickness=one.thickness)
            sheets.append(PieceSheet(inlay=index, colour=colour, let_in=one, clamping=Clamping(
                title=f"{job.title}: {planned.clamping.inlays[index].name}, pieces of {colour}", kind="piece",
                units=job.units, board=sheet(stock), stock=stock,
                doubts=(*_without_piece(planned.clamping.inlays[index], colour, one),
                        *cut_away(job, index, colour, one)),
                setup=Setup(feeler=job.setup.feeler), machine=job.machine, steps=(step,))))
    return tuple(sheets)


def _without_piece(inlay: Inlay, colour: str, made: LetIn) -> Iterator[Doubt]:
    """Shapes of a colour that are too narrow for a piece, or much of it that is."""
    shapes = polygons(dict(inlay.shown)[colour])
    none = shapes[~shapely.intersects(shapes, made.piece)]
    if len(none):
        seen = bool((shapely.area(none) >= SMALLEST).any())  # as a build has it
        wide = 2 * float(shapely.length(shapely.maximum_inscribed_circle(none, tolerance=0.01)).max())
        yield Doubt(where=f"{inlay.name} piece, {colour}", problem=f"no piece for {len(none)} of the {len(shapes)} "
                    f"shapes drawn, {wide:.2f} mm wide at most: they are not cut", allowed="shapes wider than the "
                    "cutters", remedy="name a smaller cutter in [[inlay]] cutters, or draw them wider", grave=seen,
                    closed=seen)
    lost = made.lost.area - float(shapely.area(none).sum())  # of shapes that have one
    if (share := lost / made.drawing.area) > LEFT_NOTED:
        yield Doubt(where=f"{inlay.name} piece, {colour}", problem=f"{lost:.1f} mm2 of what is drawn, "
                    f"{100 * share:.1f} % of it, are no part of the pieces with the cutters of the pocket", closed=True,
                    allowed="lines wider than the cutters", remedy="name a smaller cutter in [[inlay]] cutters, or "
                    "draw them wider (pathgen reach lists what would do)")
