"""The part to be made: the board with its frets, and the inlays and slots to be cut into it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from pathgen.errors import JobError
from pathgen.markup import as_svg
from pathgen.picture import INK, WOOD, View, area, lines
from pathgen.scale import fret_distances
from pathgen.surface import Surface

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Edges:
    """The two long edges: half the width is ``at_nut + slope * x`` on either side of the centre-line."""

    at_nut: float
    slope: float

    def inset(self, distance: float) -> Edges:
        """Edges that run `distance` inside these, measured square to the edge."""
        return Edges(at_nut=self.at_nut - distance * math.hypot(1.0, self.slope), slope=self.slope)

    def half_width(self, x: float | Floats) -> float | Floats:
        """Half the width at x, mm."""
        return self.at_nut + self.slope * x

    def crossings(self, lines: Floats, side: int) -> Floats:
        """Where straight lines, (n, 2, 2) pairs of points, meet the edge on `side` (-1 bass, +1 treble): (n, 2)."""
        start, run = lines[:, 0], lines[:, 1] - lines[:, 0]
        gap = side * (self.at_nut + self.slope * start[:, 0]) - start[:, 1]
        t = gap / (run[:, 1] - side * self.slope * run[:, 0])
        return start + t[:, None] * run


@dataclass(frozen=True, eq=False, kw_only=True)
class Frets:
    """Fret lines, nut side first.

    Attributes
    ----------
    number : (n,) int array
    distance : (n,) float array
        From the nut, along the centre-line, mm.
    bass, treble : (n, 2) float array
        Where each fret's line meets the edges of the cut board, mm.
    """

    number: NDArray[np.int64]
    distance: Floats
    bass: Floats
    treble: Floats

    def __len__(self) -> int:
        return len(self.number)


@dataclass(frozen=True, eq=False, kw_only=True)
class Fingerboard:
    """The finished board, in the board's frame.

    Attributes
    ----------
    surface : Surface
        The radiused top as first cut.
    outline : Polygon
        The board as cut on the machine: narrower than finished by the binding on each long side.
    finished : Polygon
        The board with its binding on.
    edges : Edges
        Long edges of the cut board.
    frets : Frets
    nut_line : (2, 2) float array
        Where the nut line meets the cut edges: bass, treble.
    length : float
        From the nut to the board's end on the centre-line, mm.
    min_web : float
        Least wood to be left under any pocket or slot, mm.
    """

    surface: Surface
    outline: Polygon
    finished: Polygon
    edges: Edges
    frets: Frets
    nut_line: Floats
    length: float
    min_web: float

    def _repr_svg_(self) -> str:
        """The board from above, for notebooks: outline, binding and fret lines, at true size."""
        view = View.around(self.finished.bounds, 2.0)
        frets = np.stack([self.frets.bass, self.frets.treble], axis=1)
        return as_svg(view.picture(
            f"Fingerboard, {self.length:.1f} mm long, {len(self.frets)} frets",
            area(view, self.finished, stroke=INK, stroke_width=0.3),
            area(view, self.outline, fill=WOOD, stroke=INK, stroke_width=0.5),
            lines(view, list(frets), stroke=INK, stroke_width=0.5),
        ))


@dataclass(frozen=True, eq=False, kw_only=True)
class Inlay:
    """One artwork to be pocketed and filled, placed on the board.

    Attributes
    ----------
    regions : tuple of (colour, shapely geometry)
        What is cut, by colour ``"#rrggbb"``, in the board's frame.
    depth : float
        Straight down from the surface, mm.
    fill : "resin" or "piece" or "none"
    overfill : float
        How far the cured fill stands above the surface, mm.
    """

    name: str
    regions: tuple[tuple[str, Polygon | MultiPolygon], ...]
    depth: float
    fill: str = "resin"
    overfill: float = 1.0
    area: Polygon | MultiPolygon = field(init=False)
    """All colours together."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "area", shapely.union_all([shape for _, shape in self.regions]))

    @property
    def colours(self) -> list[str]:
        """Colours in the order of `regions`."""
        return [colour for colour, _ in self.regions]


@dataclass(frozen=True, eq=False, kw_only=True)
class Slots:
    """Fret slots.

    Attributes
    ----------
    lines : (n, 2, 2) float array
        Centre-line of each slot in plan, bass end to treble end: to the edges of the cut board, or `short` of them.
    width, depth : float
        mm; the depth straight down from the finished surface.
    short : float or None
        How far each slot stops short of the edges; None for slots cut through both edges.
    """

    number: NDArray[np.int64]
    lines: Floats
    width: float
    depth: float
    short: float | None = None


def fingerboard(
    *,
    scale_lengths: tuple[float, float],
    frets: int,
    nut_width: float,
    end_width: float,
    past_last_fret: float,
    thickness: float,
    radius: tuple[float, float],
    divisions: int = 12,
    straight_fret: float = 0,
    edge_to_string: float = 3.0,
    binding: float = 0.0,
    min_web: float = 1.0,
) -> Fingerboard:
    """The board from a maker's numbers (mm); see the job file's ``[board]`` for their meaning.

    `scale_lengths` is (bass, treble); equal for straight frets, which are then measured along the centre-line.
    `radius` is (nut, end), infinite for a flat board. Raises JobError for numbers that do not go together.
    """
    if scale_lengths[0] == scale_lengths[1]:
        along = np.concatenate([[0.0], fret_distances(scale_lengths[0], frets, divisions)])
        lines = np.stack([np.stack([along, -np.ones_like(along)], 1), np.stack([along, np.ones_like(along)], 1)], 1)
        length = float(along[-1]) + past_last_fret
        edges = _edges(nut_width, end_width, length)
    else:
        lines, edges, length = _fanned(
            scale_lengths, frets, divisions, straight_fret, edge_to_string, nut_width, end_width, past_last_fret
        )
    cut = edges.inset(binding)
    if min(cut.half_width(0.0), cut.half_width(length)) <= 0:
        raise JobError(
            "[board] binding", f"{binding:g} mm on each side leaves no wood",
            allowed=f"less than {min(nut_width, end_width) / 2:g} mm", remedy="make it thinner",
        )
    bass, treble = cut.crossings(lines, -1), cut.crossings(lines, +1)
    if np.any(np.diff(bass[:, 0]) <= 0) or np.any(np.diff(treble[:, 0]) <= 0):
        raise JobError(
            "[board] scale_length", "the fanned frets cross each other on the board",
            remedy="bring the two scale lengths closer, or choose another straight_fret",
        )
    return Fingerboard(
        surface=Surface(thickness=thickness, radius_nut=radius[0], radius_end=radius[1], length=length),
        outline=_outline(cut, lines, length),
        finished=_outline(edges, lines, length),
        edges=cut,
        frets=Frets(
            number=np.arange(1, frets + 1), distance=centre_crossings(lines)[1:], bass=bass[1:], treble=treble[1:]
        ),
        nut_line=np.stack([bass[0], treble[0]]),
        length=length,
        min_web=min_web,
    )


def centre_crossings(lines: Floats) -> Floats:
    """X where straight lines, (n, 2, 2), cross the centre-line."""
    start, run = lines[:, 0], lines[:, 1] - lines[:, 0]
    return start[:, 0] - start[:, 1] / run[:, 1] * run[:, 0]


def slots(board: Fingerboard, *, width: float, depth: float, short: float | None = None) -> Slots:
    """The board's fret slots: through both edges, or stopping `short` (mm) of each, along the fret."""
    bass, treble = board.frets.bass, board.frets.treble
    unit = treble - bass
    span = np.linalg.norm(unit, axis=1, keepdims=True)
    inset = (short or 0.0) * unit / span
    if short is not None and np.any(2 * short + width >= span):
        raise JobError(
            "[slots] ends", f"{short:g} mm short of each edge leaves no slot",
            allowed=f"less than {float(span.min()) / 2:.2f} mm", remedy="make it shorter",
        )
    lines = np.stack([bass + inset, treble - inset], axis=1)
    return Slots(number=board.frets.number, lines=lines, width=width, depth=depth, short=short)


def _edges(nut_width: float, end_width: float, length: float) -> Edges:
    return Edges(at_nut=nut_width / 2, slope=(end_width - nut_width) / 2 / length)


def _outline(edges: Edges, lines: Floats, length: float) -> Polygon:
    """Nut line, edge, an end parallel to the last fret, edge: counter-clockwise."""
    last = lines[-1]
    end = last + [length - centre_crossings(last[None])[0], 0.0]
    ends = np.stack([lines[0], end])
    bass, treble = edges.crossings(ends, -1), edges.crossings(ends, +1)
    return Polygon([bass[0], bass[1], treble[1], treble[0]])


def _fanned(
    scale_lengths: tuple[float, float],
    frets: int,
    divisions: int,
    straight_fret: float,
    edge_to_string: float,
    nut_width: float,
    end_width: float,
    past_last_fret: float,
) -> tuple[Floats, Edges, float]:
    """Fret lines through both outer strings, with the edges and length that follow from them.

    The taper of the edges depends on the board's length, which depends on where the last fret crosses the
    centre-line, which depends on the taper: a contraction, since the taper is small; solved by repetition.
    """
    steps = np.arange(frets + 1)
    along = [-scale * np.expm1(-steps * math.log(2.0) / divisions) for scale in scale_lengths]
    at_straight = [-scale * math.expm1(-straight_fret * math.log(2.0) / divisions) for scale in scale_lengths]
    length = float(np.mean([a[-1] for a in along])) + past_last_fret
    for _ in range(50):
        edges = _edges(nut_width, end_width, length)
        strings = edges.inset(edge_to_string)
        cos = 1.0 / math.hypot(1.0, strings.slope)
        x = [(a - s) * cos for a, s in zip(along, at_straight, strict=True)]  # straight fret at 0, for now
        # shift along the board until the nut line crosses the centre-line at 0
        shift = 0.0
        for _ in range(50):
            lines = np.stack(
                [np.stack([xi + shift, side * strings.half_width(xi + shift)], 1)
                 for xi, side in zip(x, (-1, 1), strict=True)], 1
            )
            off = float(centre_crossings(lines[:1])[0])
            shift -= off
            if abs(off) < 1e-12:
                break
        new_length = float(centre_crossings(lines[-1:])[0]) + past_last_fret
        if abs(new_length - length) < 1e-12:
            break
        length = new_length
    return lines, edges, length
