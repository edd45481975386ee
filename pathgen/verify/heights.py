"""What stands on the bed, before programs are run and after: a blank, a field of heights with what each move took."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import given
from pathgen.base.arrays import Bools, Floats
from pathgen.base.brief import Brief
from pathgen.base.cutters import Cutter
from pathgen.base.errors import PathgenError
from pathgen.base.markup import as_svg, as_table
from pathgen.base.picture import INK, PALE, WOOD, View, area, lines
from pathgen.base.shading import as_png, light_on
from pathgen.base.surface import Surface
from pathgen.removal.bites import Bites
from pathgen.removal.grid import Grid, Heights
from pathgen.removal.material import Worst
from pathgen.removal.motion import Motion
from pathgen.verify.cutting import is_shaving
from pathgen.verify.findings import Tolerances
from pathgen.verify.in_plan import place_of
from pathgen.work.clamping import LONGEST

MUCH_BESIDE = 0.05
"""Share of a program's cutting over no blank that is told: passes and outlines run a little past its edges."""
_TOLD = 5e-4  # mm: less is rounding
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

    Raises PathgenError for sides under 0.001 mm or over 3 m, and a thickness that is not 0.5 to 100 mm.

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
            given.length(f"blank {name}", high - low, least=given.SMALLEST, most=LONGEST)
            object.__setattr__(self, name, (low, high))
        object.__setattr__(self, "thickness", given.length(
            "blank thickness", self.thickness, least=given.THICKNESS[0], most=given.THICKNESS[1]))
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
    name : str
        The program's.
    motion
        The moves; arcs come as chords. ``motion.feed`` (n,): mm per minute; ``motion.motion`` (n,): the index in the
        `ReadProgram` of what each is, or is a chord of.
    bites
        Of each move, (n,) each: ``bites.volume``, mm3; ``bites.drop``, the most that a point is lowered, and
        ``bites.depth``, the highest that is lowered over the tip, mm; ``bites.travel``, its length, mm.
    pieces
        Both again with long moves in pieces, as they are judged.
    shank
        The highest that stood beside the cutter above its flutes: ``depth`` (mm, 0 for nothing), ``x``, ``y`` (mm)
        and ``line``.

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
        wet = self.standing("filled area", area)
        proud = given.length("filled proud", proud, least=-50.0, most=50.0)
        level = given.value("filled top", top, Surface).height(self.x, self.y[:, None]) + proud
        return replace(self, top=np.where(wet, np.fmax(self.top, level), self.top).astype(np.float32))

    def standing(self, where: str, area: shapely.Polygon | shapely.MultiPolygon) -> Bools:
        """(rows, columns) points over an area (shapely polygon, mm) where something stands.

        Raises PathgenError that names `where` for no polygon, and for one over no such point.
        """
        there = self.grid.covered(given.area(where, area)) & np.isfinite(self.top)
        if not there.any():
            x0, y0, x1, y1 = self.grid.xs[0], self.grid.ys[0], self.grid.xs[-1], self.grid.ys[-1]
            raise PathgenError(where, "one that covers no point of what stands there",
                               allowed=f"on the blank: {x0:.2f} to {x1:.2f} mm along, {y0:.2f} to {y1:.2f} mm across",
                               remedy="give it in the blank's frame, mm; or take a smaller resolution")
        return np.asarray(there)

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


def _fall(bites: Bites, cutter: Cutter) -> Floats:
    """What a round or pointed end lowers a point by bit by bit counts together once that is more than the stepdown."""
    return np.where(bites.over > 0, np.fmax(bites.drop, cutter.stepdown + bites.over), bites.drop)


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
        wanted = field.standing("compare_heights within", within)
    wanted = wanted & np.isfinite(field.top) & np.isfinite(heights)
    if not wanted.any():
        raise PathgenError("compare_heights", "nothing to compare: nothing was cut, or nothing stands there",
                           allowed="heights on both sides", remedy="give within=.., an area where both stand")
    with np.errstate(invalid="ignore"):
        off = np.where(wanted, field.top - heights, np.float32(np.nan))
    low, high = int(np.nanargmin(off)), int(np.nanargmax(off))
    return Difference(low=float(off.flat[low]), low_at=place_of(field.grid, low),
                      high=float(off.flat[high]), high_at=place_of(field.grid, high), map=off)
