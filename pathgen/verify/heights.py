"""What programs leave of a blank, whoever wrote them: a field of heights, with what each move took.

Nothing is known of a job here: a blank, texts and cutters in, heights out. All in mm, in the frame that the programs
are written in, once `zero` says where their zero is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import given
from pathgen.base.arrays import Bools, Floats
from pathgen.base.brief import Brief
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError, ProgramError
from pathgen.base.limits import MOST_POINTS
from pathgen.base.markup import as_svg, as_table
from pathgen.base.picture import INK, PALE, WOOD, View, area, lines
from pathgen.base.shading import as_png, light_on
from pathgen.base.surface import Surface
from pathgen.removal.bites import Bites
from pathgen.removal.grid import Grid, Heights
from pathgen.removal.material import Material, Noting, TooLongError, Worst, most_work
from pathgen.removal.motion import Motion
from pathgen.verify.cutting import is_shaving, longest_piece
from pathgen.verify.findings import Tolerances
from pathgen.verify.in_plan import place_of
from pathgen.verify.program import RAPID, ReadProgram
from pathgen.verify.read import read_program

Text = str | Path | ReadProgram
"""A program: its text, the file that holds it, or what `read_program` made of it."""

_PROGRAM = "text, a pathlib.Path, or a ReadProgram"

MUCH_BESIDE = 0.05
"""Share of a program's cutting over no blank that is told: passes and outlines run a little past its edges."""

_TOLD = 5e-4  # mm: less is rounding
_CHORD = 1e-4  # mm: arcs as straight moves
_WOOD = np.array([190, 150, 112])
_BED = 232
_SHOWN = 1600  # points along a picture's side at most


@dataclass(frozen=True, kw_only=True)
class Blank:
    """A block of material on the bed: from x[0] to x[1], y[0] to y[1], its underside at z 0, mm.

    Attributes
    ----------
    thickness : float
        Its height.
    top : Surface, optional
        A surface that is cut already: the blank stands no higher than that.

    Raises PathgenError for sizes that are not above 0, or larger than a metre or two.

    >>> import pathgen
    >>> pathgen.Blank(x=(-12, 468), y=(-36, 36), thickness=8.0).bounds
    (-12.0, -36.0, 468.0, 36.0)
    """

    x: tuple[float, float]
    y: tuple[float, float]
    thickness: float
    top: Surface | None = None

    def __post_init__(self) -> None:
        for name in ("x", "y"):
            low, high = given.place(f"blank {name}", getattr(self, name), count=2, words="(from, to) in mm").tolist()
            if low > high:
                raise PathgenError(f"blank {name}", f"from {low:g} to {high:g} mm",
                                   allowed="(from, to), the lower first", remedy=f"give ({high:g}, {low:g})")
            given.length(f"blank {name}", high - low, above=0.0, most=2 * given.LARGEST)
            object.__setattr__(self, name, (low, high))
        object.__setattr__(self, "thickness", given.length("blank thickness", self.thickness, above=0.0))
        if self.top is not None:
            given.value("blank top", self.top, Surface)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(x_min, y_min, x_max, y_max), mm."""
        return self.x[0], self.y[0], self.x[1], self.y[1]

    def _repr_svg_(self) -> str:
        """From above, for notebooks, at true size; its title says how thick it is."""
        view = View.around(self.bounds, 2.0)
        return as_svg(view.picture(
            f"Blank {self.x[1] - self.x[0]:g} by {self.y[1] - self.y[0]:g} mm, {self.thickness:g} mm thick",
            area(view, shapely.box(*self.bounds), fill=WOOD, stroke=INK, stroke_width=0.4),
            lines(view, [np.array([[self.x[0], 0.0], [self.x[1], 0.0]])], stroke=PALE, stroke_width=0.2),
        ))

    def heights(self, grid: Grid) -> Heights:
        """(rows, columns) heights of what stands on a grid; minus infinity beside it."""
        out = np.full(grid.shape, -np.inf, np.float32)
        window = grid.window(self.bounds)
        out[window] = self.thickness
        if self.top is not None:
            part = grid.part(window)
            out[window] = np.fmin(out[window], self.top.height(part.xs, part.ys[:, None]))
        return out


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Took(Brief):
    """What each of the n moves of a program took.

    Attributes
    ----------
    cutter : Cutter
    motion : Motion
        The moves; arcs come as chords.
    bites : Bites
        Of each move: `volume` (mm3), `depth` (mm), `drop` (mm), `edge` and where.
    pieces : Motion, Bites
        The same with long moves in pieces, as they are judged.
    shank : Worst
        The highest that stood beside the cutter above its flutes: `depth` (mm, 0 for nothing), `x`, `y` and `line`.

    Examples
    --------
    >>> import pathgen
    >>> flat_4 = pathgen.Cutter(name="flat 4", shape="flat-end", diameter=4.0, speed=18000, feed=1200.0, plunge=300.0,
    ...                         stepdown=2.0)
    >>> text = "G21 G90 G17 G94\\nG0 Z20\\nM3 S18000\\nG0 X10 Y0\\nG1 Z6 F300\\nX30 F1200\\nG0 Z20\\nM5\\nM30\\n"
    >>> took = pathgen.simulate(pathgen.Blank(x=(0, 40), y=(-10, 10), thickness=8.0), text, flat_4).took[0]
    >>> took.line.tolist(), took.bites.drop.round(3).tolist()       # the plunge in line 5, then the slot in line 6
    ([2, 4, 5, 6, 7], [0.0, 0.0, 2.0, 2.0, 0.0])
    """

    cutter: Cutter
    motion: Motion
    bites: Bites
    name: str
    pieces: tuple[Motion, Bites]
    shank: Worst

    @property
    def start(self) -> Floats:
        """(n, 3) where the tip is when moves begin, mm."""
        return self.motion.start

    @property
    def end(self) -> Floats:
        """(n, 3) where it is when they end, mm."""
        return self.motion.end

    @property
    def through(self) -> Bools:
        """(n,) rapids that go into the work."""
        return np.asarray(self.rapid & (self.bites.drop > Tolerances().rapid))

    @property
    def rapid(self) -> Bools:
        """(n,) whether each is a rapid."""
        return self.motion.rapid

    @property
    def line(self) -> NDArray[np.int64]:
        """(n,) line of the text."""
        return self.motion.line

    @property
    def moves(self) -> int:
        """How many moves the program has, arcs whole."""
        return len(np.unique(self.motion.motion))

    @property
    def volume(self) -> float:
        """All that was taken, mm3."""
        return float(self.bites.volume.sum())

    @property
    def fall(self) -> Floats:
        """(n,) most that any point is lowered while the cutter passes over it once, mm."""
        return _fall(self.bites, self.cutter)

    @property
    def deepest(self) -> tuple[tuple[str, float, int], ...]:
        """("deepest bite", mm, line), and ("tallest shaving", mm, line) where a wall is cut that is taller than that.

        The deepest bite is the most that any point is lowered while the cutter passes over it once. A shaving is as
        thin as the rule for cuts too deep lets it be, a quarter of the cutter: however tall, it is no bite.
        """
        motion, bites = self.pieces
        found: list[tuple[str, float, int]] = []
        thin = is_shaving(bites, motion, self.cutter)
        for name, these in (("deepest bite", ~thin), ("tallest shaving", thin)):
            drop = np.where(these & ~motion.rapid, _fall(bites, self.cutter), 0.0)
            if drop.max(initial=0.0) > max((mm for _, mm, _ in found), default=_TOLD):
                found.append((name, float(drop.max()), int(motion.line[np.argmax(drop)])))
        return tuple(found)

    def _repr_html_(self) -> str:
        """A table, for notebooks."""
        rows = [("program", self.name), ("cutter", self.cutter.name), ("moves", str(self.moves)),
                ("taken", f"{self.volume:.1f} mm3")]
        return as_table([*rows, *((name, f"{mm:.3f} mm in line {line}") for name, mm, line in self.deepest)])


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class HeightField(Brief):
    """Heights of what stands on the bed, at points (x, y); shows itself shaded in a notebook.

    Attributes
    ----------
    x, y : (columns,), (rows,) float array
        Where the points are, mm, both rising.
    top, before : (rows, columns) float32 array
        Height there now, and before the programs were run, mm; minus infinity where nothing stood.
    took : tuple of Took
        What each program took, in order.

    Examples
    --------
    >>> import pathgen, shapely
    >>> field = pathgen.simulate(pathgen.Blank(x=(0, 40), y=(-10, 10), thickness=6.0), [], [], resolution=0.5)
    >>> field.top.shape, field.volume
    ((40, 80), 0)
    >>> float(field.filled(shapely.box(10, -5, 20, 5), top=pathgen.flat(6.0), proud=1.0).top.max())
    7.0
    """

    x: Floats
    y: Floats
    top: Heights
    before: Heights
    took: tuple[Took, ...] = ()

    @property
    def grid(self) -> Grid:
        """Its points."""
        return Grid(self.x, self.y)

    @property
    def cut(self) -> Bools:
        """(rows, columns) where anything was taken."""
        return np.asarray(self.top < self.before)

    @property
    def tips(self) -> Floats:
        """(n, 3) where the tip of the last program's cutter went into what stood there, mm: no point of a grid need be
        there."""
        took = self.took[-1]
        cuts = np.flatnonzero(took.bites.volume > 0)
        points = np.concatenate([took.start[cuts], took.end[cuts]])
        points = points[np.isfinite(points).all(axis=1)]
        (x0, y0), (x1, y1) = ((self.x[k], self.y[k]) for k in (0, -1))
        x, y, _ = points.T
        points = points[(x >= x0) & (x <= x1) & (y >= y0) & (y <= y1)]
        column, row = (np.rint(np.interp(at, of, np.arange(len(of)))).astype(int)
                       for at, of in ((points[:, 0], self.x), (points[:, 1], self.y)))
        return points[self.before[row, column] > points[:, 2]]

    @property
    def volume(self) -> float:
        """What was taken, mm3."""
        return sum(took.volume for took in self.took)

    @property
    def beside(self) -> float:
        """Share of the last program's length at a feed where its cutter is wholly beside the blank; 0 for none."""
        if not self.took:
            return 0.0
        motion, cutter = self.took[-1].pieces[0], self.took[-1].cutter
        middle, length = (motion.start + motion.end) / 2, np.linalg.norm(motion.end - motion.start, axis=1)
        low, high = (np.array([self.x[k], self.y[k]]) for k in (0, -1))
        aside = np.linalg.norm(np.fmax(np.fmax(low - middle[:, :2], middle[:, :2] - high), 0.0), axis=1)
        length = np.where(motion.rapid | ~np.isfinite(length), 0.0, length)
        return float(length[aside > cutter.radius].sum() / (length.sum() or 1.0))

    def filled(
        self, area: shapely.Polygon | shapely.MultiPolygon, *, top: Surface, proud: float = 0.0
    ) -> HeightField:
        """The same with cured fill over an area (shapely polygon, mm), up to `proud` mm above a surface.

        What stands higher stays as it is. Raises PathgenError as `pocket` does, and for an area with no point of these
        that stands on the bed.
        """
        wet = self.grid.covered(given.area("filled area", area)) & np.isfinite(self.top)
        if not wet.any():
            x0, y0, x1, y1 = self.grid.xs[0], self.grid.ys[0], self.grid.xs[-1], self.grid.ys[-1]
            raise PathgenError("filled area", "one that covers no point of what stands there",
                               allowed=f"on the blank: {x0:.2f} to {x1:.2f} mm along, {y0:.2f} to {y1:.2f} mm across",
                               remedy="give it in the blank's frame, mm; or take a smaller resolution")
        proud = given.length("filled proud", proud, least=-50.0, most=50.0)
        level = given.value("filled top", top, Surface).height(self.x, self.y[:, None]) + proud
        return replace(self, top=np.where(wet, np.fmax(self.top, level), self.top).astype(np.float32))

    def _repr_png_(self) -> bytes:
        """Lit from the upper left, X to the right and Y up, at true size; at most 1600 points wide."""
        step = max(1, math.ceil(max(self.top.shape) / _SHOWN))
        top = self.top[::step, ::step]
        there = np.isfinite(top)
        spacing = self.grid.cell_area**0.5 * step
        light = light_on(np.where(there, top, np.float32(0)), spacing) if min(top.shape) > 1 else np.ones_like(top)
        pixels = np.where(there[..., None], _WOOD * light[..., None], _BED)
        return as_png(np.clip(pixels, 0, 255).astype(np.uint8)[::-1], spacing)


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Difference(Brief):
    """How far heights lie above (+) or below (-) others, straight up, mm.

    Attributes
    ----------
    low, high : float
        Lowest and highest; NaN where there was nothing to compare.
    low_at, high_at : (x, y)
    map : (rows, columns) float32 array
        At every point; NaN where not compared.

    Examples
    --------
    >>> import pathgen, shapely
    >>> field = pathgen.simulate(pathgen.Blank(x=(0, 40), y=(-10, 10), thickness=8.0), [], [], resolution=0.5)
    >>> off = pathgen.compare_heights(field, pathgen.flat(6.0), within=shapely.box(5, -5, 35, 5))
    >>> off.low, off.high
    (2.0, 2.0)
    """

    low: float
    low_at: tuple[float, float]
    high: float
    high_at: tuple[float, float]
    map: Heights

    def _repr_html_(self) -> str:
        """A table, for notebooks."""
        rows = (("lowest", self.low, self.low_at), ("highest", self.high, self.high_at))
        return as_table((name, f"{value:+.4f} mm", f"at {at[0]:.2f}, {at[1]:.2f}") for name, value, at in rows)


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
        Distance of the points, mm. Ridges between passes are missed by up to half of it: for those see `ridges`.
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
    resolution = given.length("simulate resolution", resolution, least=0.01, most=2.0)
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
            taken = material.cut(pieces, cutter, Noting(deeper=cutter.stepdown, rims=False))
        except TooLongError as error:
            wide = not _within(motion, grid, cutter.diameter)
            raise ProgramError(f"{name}, line {error.line}", "simulating it was given up here",
                               allowed=f"{material.most / 1e6:.0f} million heights worked out",
                               remedy=f"{'is it in other units? if not, ' if wide else ''}take a larger resolution, "
                                      f"say {min(2.0, 2.0 * resolution):g} mm") from None
        assert taken.bites is not None
        took.append(Took(cutter=cutter, motion=motion, bites=taken.bites.together(count), name=name,
                         pieces=(pieces, taken.bites), shank=taken.shank))
    earlier = blank.took if isinstance(blank, HeightField) else ()
    return HeightField(x=grid.xs, y=grid.ys, top=top, before=before, took=(*earlier, *took))


def _fall(bites: Bites, cutter: Cutter) -> Floats:
    """What a round or pointed end lowers a point by bit by bit counts together once that is more than the stepdown."""
    return np.where(bites.over > 0, np.fmax(bites.drop, cutter.stepdown + bites.over), bites.drop)


def _within(motion: Motion, grid: Grid, past: float) -> bool:
    """Whether all feed moves lie over a grid, or no further `past` it."""
    ends = motion.end[motion.cutting, :2]
    low, high = (np.array([grid.xs[k], grid.ys[k]]) for k in (0, -1))
    return bool(((ends >= low - past) & (ends <= high + past)).all())


def beside_words(share: float) -> str:
    """That so much of a program lies over no blank."""
    return f"{100 * share:.0f} % of its cutting runs beside the blank, over nothing"


def compare_heights(
    field: HeightField, other: Surface | HeightField, *, within: shapely.Polygon | shapely.MultiPolygon | None = None,
) -> Difference:
    """How far a field lies above or below a surface or another field on the same points.

    `within` (a shapely polygon, mm) limits where; left out: wherever the field was cut, or the other was. Raises
    PathgenError for fields on different points, and where nothing is left to compare.

    >>> import pathgen
    >>> blank = pathgen.Blank(x=(0, 40), y=(-10, 10), thickness=8.0)
    >>> field = pathgen.simulate(blank, [], [])
    >>> import shapely
    >>> pathgen.compare_heights(field, pathgen.flat(6.5), within=shapely.box(5, -5, 35, 5)).high
    1.5
    """
    field = given.value("compare_heights field", field, HeightField)
    if isinstance(other, HeightField):
        if not (np.array_equal(field.x, other.x) and np.array_equal(field.y, other.y)):
            raise PathgenError("compare_heights other", "a field on other points", allowed="the same x and y",
                               remedy="simulate both with the same blank and resolution")
        heights, wanted = other.top, field.cut | other.cut
    else:
        other = given.value("compare_heights other", other, Surface, words="a pathgen.Surface or HeightField")
        heights, wanted = other.height(field.x, field.y[:, None]).astype(np.float32), field.cut
    if within is not None:
        wanted = field.grid.covered(given.area("compare_heights within", within))
    wanted = wanted & np.isfinite(field.top) & np.isfinite(heights)
    if not wanted.any():
        raise PathgenError("compare_heights", "nothing to compare: nothing was cut, or nothing stands there",
                           allowed="an area on the blank", remedy="give `within`, in the same frame")
    with np.errstate(invalid="ignore"):
        off = np.where(wanted, field.top - heights, np.float32(np.nan))
    low, high = int(np.nanargmin(off)), int(np.nanargmax(off))
    return Difference(low=float(off.flat[low]), low_at=place_of(field.grid, low),
                      high=float(off.flat[high]), high_at=place_of(field.grid, high), map=off)


def read(program: object, *, name: str = "program") -> ReadProgram:
    """What a program says, given in any way; `name` is for text that has none."""
    if isinstance(program, str | Path):
        program = read_program(program, name=name)
    if not isinstance(program, ReadProgram):
        raise PathgenError("program", f"a {type(program).__name__}", allowed=_PROGRAM,
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
        start=start + shift, end=end + shift, rapid=program.kind[motion] == RAPID, feed=program.feed[motion],
        line=program.line[motion], motion=motion,
    ), program.name


def _start(blank: Blank | HeightField, resolution: float) -> tuple[Grid, Heights]:
    if isinstance(blank, HeightField):
        return blank.grid, blank.top.copy()
    if not isinstance(blank, Blank):
        raise PathgenError("simulate blank", f"a {type(blank).__name__}", allowed="a pathgen.Blank or HeightField",
                           remedy="make one: pathgen.Blank(x=(0, 480), y=(-35, 35), thickness=8.0)")
    x0, y0, x1, y1 = blank.bounds
    if (x1 - x0) * (y1 - y0) / resolution**2 > MOST_POINTS:
        raise PathgenError("simulate resolution", f"{resolution:g} mm on so large a blank",
                           allowed=f"{math.sqrt((x1 - x0) * (y1 - y0) / MOST_POINTS):.3f} mm or more")
    grid = Grid.over(blank.bounds, resolution)
    return grid, blank.heights(grid)
