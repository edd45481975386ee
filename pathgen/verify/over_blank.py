"""Programs run over a blank, whoever wrote them: what a text says, as moves over it, and what is left.

Nothing is known of a job here: a blank, texts and cutters in, heights out. All in mm, in the frame that the programs
are written in, once `zero` says where their zero is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np

from pathgen.base import given
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError, ProgramError
from pathgen.base.limits import COARSEST_GRID, FINEST_GRID, MOST_POINTS
from pathgen.removal.grid import Grid, Heights
from pathgen.removal.material import Material, Noting, TooLongError, most_work
from pathgen.removal.motion import Motion
from pathgen.verify.cutting import longest_piece
from pathgen.verify.heights import Blank, HeightField, Took
from pathgen.verify.program import ReadMove, ReadProgram
from pathgen.verify.read import read_program

Text = str | Path | ReadProgram
"""A program: its text, the file that holds it, or what `read_program` made of it."""
_PROGRAM = "text, a pathlib.Path, or a ReadProgram"
_CHORD = 1e-4  # mm: arcs as straight moves


def simulate(
    blank: Blank | HeightField, programs: Text | Sequence[Text], cutters: Cutter | Sequence[Cutter], *,
    resolution: float = 0.1, zero: tuple[float, float, float] = (0.0, 0.0, 0.0), along: Literal["x", "y"] = "x",
) -> HeightField:
    """Run programs over a blank, one after another, and see what is left.

    Parameters
    ----------
    blank : Blank or HeightField
        What stands on the bed before; a field that an earlier call gave goes on from there, on its own points.
    programs : text, Path or ReadProgram, or several
        Within the plain subset of RS274/NGC, in mm or inches; whoever wrote them.
    cutters : Cutter or several
        One for each program, or one for all.
    resolution : float
        Distance of the points, 0.01 to 2 mm. Ridges between passes are missed by up to half of it: see `ridges` for
        those.
    zero : (x, y, z)
        Where X 0, Y 0, Z 0 of the programs is in the blank's frame, mm; z from the underside.
    along : "x" or "y"
        The axis of the programs that the blank's own x lies along; with "y" they are turned back first.

    Raises
    ------
    PathgenError
        Naming the argument. ProgramError, with the line, for what is not in the subset, and for a program that takes
        far more work to simulate than one of use.

    Examples
    --------
    >>> import pathgen
    >>> flat_4 = pathgen.Cutter(name="flat 4", shape="flat-end", diameter=4.0, speed=18000, feed=1200.0, plunge=300.0,
    ...                         stepdown=2.0)
    >>> text = "G21 G90 G17 G94\\nG0 Z20\\nM3 S18000\\nG0 X10 Y0\\nG1 Z6 F300\\nX30 F1200\\nG0 Z20\\nM5\\nM30\\n"
    >>> field = pathgen.simulate(pathgen.Blank(x=(0, 40), y=(-10, 10), thickness=8.0), text, flat_4)
    >>> round(field.volume / (2.0 * (4 * 20 + 3.14159 * 2**2)), 2), float(field.top.min())
    (1.0, 6.0)
    """
    resolution = given.length("simulate resolution", resolution, least=FINEST_GRID, most=COARSEST_GRID)
    texts = [programs] if isinstance(programs, str | Path | ReadProgram) else given.several(
        "simulate programs", programs, words=f"{_PROGRAM}, or a list of them", remedy="give the program's text")
    tools = [cutters] * len(texts) if isinstance(cutters, Cutter) else [
        given.value("simulate cutters", tool, Cutter)
        for tool in given.several("simulate cutters", cutters, words="a pathgen.Cutter, or a list of them",
                                  remedy="make one: pathgen.Cutter(name=.., shape=\"flat-end\", ..)")]
    if len(texts) != len(tools):
        raise PathgenError("simulate cutters", f"{len(tools)} for {len(texts)} programs",
                           allowed="one Cutter for each program, or one for all")
    grid, top = _start(blank, resolution)
    before, took = top.copy(), []
    given.word("simulate along", along, ("x", "y"))
    moves = [motion_of(text, zero, name=f"program {number}", along=along) for number, text in enumerate(texts, start=1)]
    lines = sum(int(motion.line.max(initial=0)) for motion, _ in moves)
    material = Material(grid, top, most=most_work(grid, len(texts), lines))
    for (motion, name), cutter in zip(moves, tools, strict=True):
        try:
            count = motion.pieces(longest_piece(cutter, resolution))
            pieces = motion.in_pieces(count)
            taken = material.cut(pieces, cutter, Noting(deeper=cutter.stepdown, floor=0.0, rims=False))
        except TooLongError as error:
            wide = not _within(motion, grid, cutter.diameter)
            raise ProgramError(f"{name}, line {error.line}", "simulating it was given up here",
                               allowed=f"{material.most / 1e6:.0f} million heights worked out",
                               remedy=f"{'is it in other units? if not, ' if wide else ''}take a larger resolution, "
                                      f"say {min(COARSEST_GRID, 2.0 * resolution):g} mm") from None
        assert taken.bites is not None
        took.append(Took(cutter=cutter, motion=motion, bites=taken.bites.together(count), name=name,
                         pieces=(pieces, taken.bites), shank=taken.shank))
    earlier = blank.took if isinstance(blank, HeightField) else ()
    return HeightField(x=grid.xs, y=grid.ys, top=top, before=before, took=(*earlier, *took))


def read(program: object, *, name: str = "program") -> ReadProgram:
    """What a program says, given in any way; `name` is for text that has none."""
    if isinstance(program, str | Path):
        program = read_program(program, name=name)
    if not isinstance(program, ReadProgram):
        raise PathgenError("program", given.kind_of(program), allowed=_PROGRAM,
                           remedy="give the program's text, or Path(..) of its file")
    return program


def one_offset(program: ReadProgram) -> None:
    """Raises ProgramError where moves stand in several work offsets: how far apart those lie only the machine knows."""
    offset = np.where(program.offset == 0, 54, program.offset)  # what a machine begins with (NISTIR 6556, 3.6.1)
    other = np.flatnonzero(offset != offset[:1])
    if len(other):
        raise ProgramError(f"{program.name}, line {program.line[other[0]]}",
                           f"a move in G{offset[other[0]]} after moves in G{offset[0]}: how far apart those two zeros "
                           "lie only the machine knows", allowed="one work offset throughout",
                           remedy="make a program of its own of what stands in each, or have it written from one zero")


def motion_of(
    program: object, zero: tuple[float, float, float], *, name: str = "program", along: str = "x"
) -> tuple[Motion, str]:
    """The moves of a program in the blank's frame, and what to call it.

    Of one whose X lies across, `along` "y": (x, y) of the machine is (y, -x) there.
    """
    shift = given.place("zero", zero, count=3, words="(x, y, z) in mm")
    program = read(program, name=name)
    one_offset(program)
    start, end, motion = program.straight(_CHORD)
    if along == "y":
        start, end = (np.stack([p[:, 1], -p[:, 0], p[:, 2]], axis=1) for p in (start, end))
    return Motion(
        start=start + shift, end=end + shift, rapid=program.kind[motion] == ReadMove.RAPID, feed=program.feed[motion],
        line=program.line[motion], motion=motion,
    ), program.name


def _start(blank: Blank | HeightField, resolution: float) -> tuple[Grid, Heights]:
    if isinstance(blank, HeightField):
        return blank.grid, blank.top.copy()
    if not isinstance(blank, Blank):
        raise PathgenError("simulate blank", given.kind_of(blank), allowed="a pathgen.Blank or HeightField",
                           remedy="make one: pathgen.Blank(x=(0, 480), y=(-35, 35), thickness=8.0)")
    x0, y0, x1, y1 = blank.bounds
    if (x1 - x0) * (y1 - y0) / resolution**2 > MOST_POINTS:
        raise PathgenError("simulate resolution", f"{resolution:g} mm on so large a blank",
                           allowed=f"{math.sqrt((x1 - x0) * (y1 - y0) / MOST_POINTS):.3f} mm or more")
    grid = Grid.over(blank.bounds, resolution)
    return grid, blank.heights(grid)


def _within(motion: Motion, grid: Grid, past: float) -> bool:
    """Whether all feed moves lie over a grid, or no further `past` it."""
    ends = motion.end[motion.cutting, :2]
    low, high = (np.array([grid.xs[k], grid.ys[k]]) for k in (0, -1))
    return bool(((ends >= low - past) & (ends <= high + past)).all())
