"""Let-in pieces as programs: each inlay and colour from its own flat stock, verified from the text."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from pathgen.base.errors import JobError
from pathgen.base.surface import Surface
from pathgen.base.units import format_length
from pathgen.job.clamping import planned_of
from pathgen.job.job import Job
from pathgen.parts.tool import Tool
from pathgen.programs.instructions import cautions, cutter_words
from pathgen.programs.plan import Plan, plan
from pathgen.programs.timing import times
from pathgen.programs.write import program_text
from pathgen.report.programs import Program
from pathgen.strategies.matching import LetIn, LetIns
from pathgen.verify import verify
from pathgen.verify.findings import Finding, forbids
from pathgen.work.clamping import Clamping, Setup, Step, Stock
from pathgen.work.features import Pieces
from pathgen.work.operations import CutPieces


@dataclass(frozen=True, kw_only=True)
class FlatStock(Stock):
    """Flat stock with a corner at x 0, y 0."""

    margin_nut: float = 0.0

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(x_min, y_min, x_max, y_max)."""
        return (0.0, 0.0, self.length, self.width)


@dataclass(frozen=True, eq=False, kw_only=True)
class PieceProgram:
    """The program for the pieces of one colour of one inlay, and what was found in its text."""

    inlay: int
    colour: str
    let_in: LetIn
    clamping: Clamping
    program: Program
    findings: tuple[Finding, ...]

    @property
    def passed(self) -> bool:
        """True when nothing was found that forbids cutting."""
        return not forbids(self.findings)


def pieces(job: Job, *, resolution: float = 0.1) -> tuple[PieceProgram, ...]:
    """Every program for the let-in pieces of a job, read back and verified.

    The board itself is planned too: pieces are made for the pockets that its cutters really open. Raises PathgenError
    for a job without ``piece`` in any inlay, for pieces that would not fit, and for all that a build raises.
    """
    if not any(inlay.piece for inlay in job.inlays):
        raise JobError(job.path.name, "no [[inlay]] has a piece",
                       remedy='write fill = "piece" and piece = { cutter = .., thickness = .. } in one')
    planned = planned_of(job)
    made = (_of_inlay(job, planned, index, let_ins, resolution) for index, let_ins in enumerate(planned.asked.let_ins))
    return tuple(program for programs in made for program in programs)


def _of_inlay(job: Job, planned: Plan, index: int, made: LetIns, resolution: float) -> Iterator[PieceProgram]:
    table = job.inlays[index].piece
    for colour, one in made:
        assert table is not None
        cutter = job.cutter(table.cutter, f"inlay {index + 1} piece cutter")
        name = f"piece-{index + 1}-{colour.lstrip('#')}-{re.sub(r'[^a-z0-9]+', '-', cutter.name.lower()).strip('-')}.nc"
        cut = CutPieces(Pieces(shapes=one.stock, through=one.through))
        step = Step(order=1, operation=cut, cutter=cutter, file_name=name)
        title = f"{job.title}: {planned.clamping.inlays[index].name}, pieces of {colour}"
        clamping = _clamping(job, title, one, step)
        (path,) = plan(clamping).paths
        spent = times(path, cutter, clamping.machine)
        text = program_text(
            path, clamping=clamping, step=step, job=job.fingerprint,
            header=_header(clamping, step, one, from_back=table.from_back, minutes=spent.total),
        )
        yield PieceProgram(
            inlay=index, colour=colour, let_in=one, clamping=clamping,
            program=Program(step=step, text=text, toolpath=path, times=spent),
            findings=verify(
                clamping, {name: text}, resolution=resolution, job_fingerprint=job.fingerprint
            ).findings,
        )


def _clamping(job: Job, title: str, one: LetIn, step: Step) -> Clamping:
    """Zero at the stock's corner and underside, X along its length, nothing standing round it."""
    flat = Surface(thickness=one.thickness, radius_nut=np.inf, radius_end=np.inf, length=one.size[0])
    stock = FlatStock(length=one.size[0], width=one.size[1], thickness=one.thickness)
    return Clamping(
        title=title, units=job.units, board=Tool(surface=flat, outline=shapely.box(*stock.bounds)),  # type: ignore[arg-type]
        stock=stock, setup=Setup(zero="blank-corner"), machine=job.machine,
        steps=(step,),
    )


def _header(clamping: Clamping, step: Step, one: LetIn, *, from_back: bool, minutes: float) -> list[str]:
    """The header of a program, a line each."""
    units = clamping.units
    length, width, thick, through = (format_length(v, units) for v in (*one.size, one.thickness, one.through))
    count = shapely.get_num_geometries(one.stock)
    side = "its show face down: the pieces are cut mirrored, from the back" if from_back else "its show face up"
    return [
        f"job: {clamping.title}",
        f"cut out {count} piece{'s' if count > 1 else ''}, {format_length(one.gap, units)} smaller all round than the "
        "pocket",
        "operation: piece",
        f"cutter {cutter_words(step.cutter, units)}",
        f"stock: {length} along X by {width} along Y or larger, {thick} thick",
        "zero: X 0 Y 0 is the stock's corner, the lowest X and Y of it; Z 0 is its underside.",
        f"about {max(1, round(minutes))} min",
        "before pressing start:",
        "- Stick the stock down flat over its whole face with double-sided tape, on a spare board that may be cut "
        f"into, {side}. Nothing else holds a piece once it is cut round.",
        f"- Set X 0, Y 0 of the work offset at the stock's corner, its side of {length} along X.",
        f"- Fit {step.cutter.name} and set Z 0 for it on the underside of the stock: touch off on its top and take off "
        f"its thickness as measured; it must be {thick}.",
        f"- This program cuts {through} below the stock, through the tape: see that the board under it may be cut.",
        "afterwards: Warm the tape or soak it with its solvent, and lift the pieces off flat: thin ones break. Try "
        "each dry in its pocket before there is glue on it.",
        "cautions:",
        *(f"- {line}" for line in cautions(step)),
    ]
