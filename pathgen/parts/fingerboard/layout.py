"""How nut, frets, outer strings and bridge lie on the board: lines in plan, from a maker's numbers.

All points are (x, y) in the board's frame, mm. Lines run from the bass side to the treble side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.parts.fingerboard.numbers import BoardNumbers

_ROUNDS = 60  # repetitions for length and taper to agree; each gains two digits or more
_MOST_SLANT = 45.0  # degrees; no hand follows a fan near it


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

    def across(self, lines: Floats, bass_side: int) -> Floats:
        """Where straight lines, (n, 2, 2), meet both edges: (n, 2, 2), bass and treble."""
        return np.stack([self.crossings(lines, side) for side in (bass_side, -bass_side)], axis=1)

    def crossings(self, lines: Floats, side: int) -> Floats:
        """Where straight lines, (n, 2, 2), meet the edge on `side` (-1 or +1, the sign of y): (n, 2) points."""
        start, run = lines[:, 0], lines[:, 1] - lines[:, 0]
        gap = side * (self.at_nut + self.slope * start[:, 0]) - start[:, 1]
        t = gap / (run[:, 1] - side * self.slope * run[:, 0])
        return start + t[:, None] * run


@dataclass(frozen=True, eq=False, kw_only=True)
class Layout:
    """Where everything that crosses the strings lies."""

    lines: Floats
    """(n + 1, 2, 2) a bass and a treble point on the line of the nut and of each fret."""
    bridge: Floats
    """(2, 2) the same for the ends of the outer strings' speaking lengths."""
    edges: Edges
    """Long edges of the finished board."""
    strings: Edges
    """The outer strings."""
    length: float
    """From the nut to the board's end on the centre-line, mm."""
    bass_side: int
    """-1 or +1: the sign of y on the bass side."""
    nut_offset: float
    """How far the nut stands nearer to frets and bridge than the scale lengths say, along the strings, mm."""

    @property
    def to_bridge(self) -> float:
        """From the nut to the bridge on the centre-line, mm."""
        return float(centre_crossings(self.bridge[None])[0])

    @property
    def fanned(self) -> bool:
        """Whether any line is not square to the centre-line."""
        return float(np.ptp(self.lines[..., 0], axis=1).max()) > 1e-6


def centre_crossings(lines: Floats) -> Floats:
    """X where straight lines, (n, 2, 2), cross the centre-line."""
    start, run = lines[:, 0], lines[:, 1] - lines[:, 0]
    return start[:, 0] - start[:, 1] / run[:, 1] * run[:, 0]


def nutward(line: Floats) -> Floats:
    """(2,) the unit vector square to a line, (2, 2), toward the nut's end of the board."""
    run = line[1] - line[0]
    return np.array([-abs(run[1]), run[0] * math.copysign(1.0, run[1])]) / np.linalg.norm(run)


def board_layout(numbers: BoardNumbers, *, shares: Floats, straight_share: float) -> Layout:
    """The layout of a maker's numbers.

    `shares` are the frets' distances from the nut as shares of the string, and `straight_share` that of the place
    where a line square to the centre-line crosses both strings. Equal scale lengths are measured along the
    centre-line; two different ones along their own strings, which run `edge_to_string` inside the edges. With a
    `nut_offset` (mm) every fret and the bridge lie that much nearer to the nut: its compensation. Raises JobError for
    one that reaches the first fret.
    """
    bass_side, scale_lengths, nut_offset = numbers.bass_side, numbers.scale_length.both, numbers.nut_offset
    every = np.concatenate([[0.0], shares, [1.0]])
    moved = np.where(every > 0.0, nut_offset, 0.0)
    if nut_offset >= 0.5 * shares[0] * min(scale_lengths):
        raise JobError("[board] nut_offset", f"{nut_offset:g} mm, and the first fret lies "
                       f"{shares[0] * min(scale_lengths):.2f} mm from the nut",
                       allowed=f"less than {0.5 * shares[0] * min(scale_lengths):.2f} mm",
                       remedy="it is a fraction of a mm, or a few")
    if scale_lengths[0] == scale_lengths[1]:
        along = scale_lengths[0] * every - moved
        length = float(along[-2]) + numbers.past_last_fret
        edges = _edges(numbers, length)
        lines = _lines(along, along, -bass_side * np.ones((2, len(along))) * [[-1.0], [1.0]])
    else:
        lines, edges, length = _fanned(numbers, every, moved, straight_share)
    return Layout(
        lines=lines[:-1], bridge=lines[-1], edges=edges, strings=edges.inset(numbers.to_outer_strings), length=length,
        bass_side=bass_side, nut_offset=nut_offset,
    )


def crossing_refused(ends: Floats) -> None:
    """Raise JobError when lines, by their (n, 2, 2) ends on the edges of the board, cross or slant too much."""
    bass, treble = ends[:, 0], ends[:, 1]
    for name, ends in (("bass", bass), ("treble", treble)):
        back = np.diff(ends[:, 0])
        if np.any(back <= 0):
            worst = int(np.argmin(back))
            nut = "the nut" if worst == 0 else f"fret {worst}"
            raise JobError(
                "[board] scale_length",
                f"the fanned frets cross each other: fret {worst + 1} lies {-back[worst]:.2f} mm before {nut} at the "
                f"{name} edge",
                remedy="bring the two scale lengths closer, or choose another straight_fret")
    slant = np.degrees(np.arctan2(np.abs(treble[:, 0] - bass[:, 0]), np.abs(treble[:, 1] - bass[:, 1])))
    if slant.max() > _MOST_SLANT:
        worst = int(np.argmax(slant))
        raise JobError(
            "[board] scale_length", f"the fan turns {f'fret {worst}' if worst else 'the nut'} {slant[worst]:.0f} "
            "degrees from square", allowed=f"{_MOST_SLANT:g} degrees or less",
            remedy="bring the two scale lengths closer, or choose another straight_fret")


def _edges(numbers: BoardNumbers, length: float) -> Edges:
    return Edges(at_nut=numbers.nut_width / 2, slope=(numbers.end_width - numbers.nut_width) / 2 / length)


def _lines(x_bass: Floats, x_treble: Floats, y: Floats) -> Floats:
    """(n, 2, 2) lines from x at the bass and treble side and y, (2, n)."""
    return np.stack([np.stack([x_bass, y[0]], axis=1), np.stack([x_treble, y[1]], axis=1)], axis=1)


def _fanned(
    numbers: BoardNumbers, shares: Floats, moved: Floats, straight_share: float
) -> tuple[Floats, Edges, float]:
    """Lines through both outer strings, with the edges and length that follow from them.

    The taper of the edges depends on the board's length, which depends on where the last fret crosses the
    centre-line, which depends on the taper: a contraction, since the taper is small; solved by repetition. So is
    the shift along the board that brings the nut line's crossing with the centre-line to x = 0.
    """
    scales, past_last_fret = np.array(numbers.scale_length.both)[:, None], numbers.past_last_fret
    along = scales * (shares - straight_share) - moved
    length, shift = float(scales.mean() * shares[-2]) + past_last_fret, float(scales.mean() * straight_share)
    for _ in range(_ROUNDS):
        edges = _edges(numbers, length)
        strings = edges.inset(numbers.to_outer_strings)
        x = along / math.hypot(1.0, strings.slope) + shift
        y = strings.half_width(x) * np.array([[numbers.bass_side], [-numbers.bass_side]])
        lines = _lines(x[0], x[1], y)
        crossings = centre_crossings(lines[[0, -2]])
        off = np.array([crossings[0], crossings[1] - crossings[0] + past_last_fret - length])
        shift -= float(off[0])
        length += float(off[1])
        if np.all(np.abs(off) < 1e-12):
            break
    return lines, edges, length
