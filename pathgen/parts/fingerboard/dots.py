"""Position dots on the face of the board: where each goes, and whether it keeps clear of the frets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.units import rounded_down, rounded_up
from pathgen.parts.fingerboard.layout import Layout, centre_crossings
from pathgen.parts.fingerboard.numbers import FRET, USUAL, USUAL_FRETS
from pathgen.parts.keys import CUTTERS, LEAST_POCKET, choice, key, list_of, size
from pathgen.work.part import inside
from pathgen.work.thin_wood import BESIDE_PRESSED, THIN

if TYPE_CHECKING:
    from pathgen.parts.fingerboard.part import Fingerboard


_USUAL_DIAMETERS = (5.0, 6.0, 6.35, 6.5)  # face dots of pearl as they are sold, mm: common practice, from memory

BESIDE = 1.5
"""Diameters between the centres of two dots beside each other along an edge (our own: half a dot of wood between)."""

_QUADRANT = 64  # straight pieces for a quarter of a dot: 0.3 um inside a circle of 8 mm.
_HAIR = 0.01  # what is lost in straight pieces, mm
_CLEAR = THIN + _HAIR  # wood between dots, and to the edge, that stands, whatever circles lose in straight pieces: mm

DOT_COLOURS = {"pearl": "#ece9e0", "black": "#222222", "brass": "#b99a4b"}


@dataclass(frozen=True, kw_only=True)
class Dots:
    """``[dots]``: dots in the face of the board, pocketed and filled like an inlay, after the drawings."""

    diameter: float = key(size(0.5, 30.0), f"of the dots; usual are {', '.join(f'{d:g}' for d in _USUAL_DIAMETERS)} mm "
                          "(from memory)")
    frets: tuple[int, ...] | None = key(list_of(FRET, least=1, most=60), "frets that have one",
                                        None, shown=USUAL)
    octave: str = key(choice("across", "along"), "how the two dots of an octave lie", "across")
    apart: float | None = key(size(1.0, 100.0), "between the centres of two dots across", None,
                              shown="half of the width there; along an edge 1.5 diameters, the second inside the line")
    line: str = key(choice("centre", "bass", "treble"), "the line they lie on: the centre-line, or along an edge",
                    "centre")
    inset: float = key(size(0.0, 100.0), "of their centres from that edge", 8.0)
    depth: float = key(size(LEAST_POCKET, 10.0), "straight down from the surface")
    cutters: tuple[str, ...] = key(CUTTERS, "names, largest first, a v last")
    fill: str = key(choice("resin", "piece", "none"), "resin, or dots let in; none: let in, and made level "
                    "by hand", "piece")
    gap: float = key(size(0.0, 1.0), 'between dot and pocket all round; with fill = "resin" none', 0.05)
    overfill: float = key(size(0.0, 10.0), "how far dots or cured resin stand above the surface", 0.5, inch=0.02)
    colour: str = key(choice(*DOT_COLOURS), "in the pictures: " + " or ".join(DOT_COLOURS), "pearl")


def dot_places(board: Fingerboard, dots: Dots) -> tuple[tuple[int, Floats], ...]:
    """(fret, (1 or 2, 2) centres) of every dot: midway between its fret and the one before, mm.

    Raises JobError for frets that the board does not have.
    """
    layout = board.layout
    last = len(layout.lines) - 1
    for fret in dots.frets or ():
        if not 1 <= fret <= last:
            raise JobError("[dots] frets", f"there is no fret {fret}", allowed=f"1 to {last}", remedy="correct it")
    wanted = sorted(set(dots.frets)) if dots.frets is not None else usual_frets(layout)
    if not wanted:
        raise JobError("[dots] frets", "left out, and no fret of the board is an octave", remedy="list those with dots")
    on_line = _line_points(layout, dots)
    return tuple((fret, _at(layout, on_line, dots, fret)) for fret in wanted)


def dot_area(
    board: Fingerboard, dots: Dots, *, gap: float = 0.0, fret_width: float, slot_width: float = 0.0
) -> shapely.MultiPolygon:
    """The pockets of all dots, `gap` larger all round.

    Raises JobError for a dot that reaches under a fret, whose crown or slot is `fret_width` wide, off the board, or
    into another dot; the diameter that it names leaves wood beside the slot too.
    """
    radius = dots.diameter / 2 + gap
    lines = shapely.linestrings(board.frets.ends)
    placed = [(fret, p) for fret, points in dot_places(board, dots) for p in points]
    rooms = [float(shapely.distance(lines, shapely.Point(p)).min()) - fret_width / 2 for _, p in placed]
    in_line = ', or write octave = "across"' if dots.octave == "along" else ""
    if placed and min(rooms) < radius:
        fret, room = placed[int(np.argmin(rooms))][0], min(rooms)
        beside = in_line if [one for one, _ in placed].count(fret) > 1 else ""
        beside_slot = max(fret_width, slot_width + 2 * BESIDE_PRESSED if slot_width else 0.0)
        most = rounded_down(max(2 * (room - gap) + fret_width - beside_slot - _HAIR, 0.0))
        raise JobError("[dots] diameter", f"the dot of fret {fret} reaches under a fret: {2 * radius:.2f} mm wide, "
                       f"and the wood between the frets leaves {2 * room:.2f} mm",
                       allowed=f"{most:.2f} mm or less, for wood that stands beside the slots",
                       remedy=f"take smaller dots, or leave that fret out{beside}")
    _refuse_off_board(board, dots, radius, placed)
    tree = np.array([p for _, p in placed])
    near = np.linalg.norm(tree[:, None] - tree[None], axis=2) + np.where(np.eye(len(tree)), np.inf, 0.0)
    if len(tree) > 1 and near.min() <= 2 * radius:
        first = placed[int(np.argmin(near.min(axis=1)))][0]
        smaller = f"make diameter {rounded_down(max(near.min() - _CLEAR - 2 * gap, 0.0)):.2f} mm or less"
        apart = in_line or f", or make apart {rounded_up(2 * radius + _CLEAR):.2f} mm or more"
        raise JobError("[dots] octave" if in_line else "[dots] apart",
                       f"two dots at fret {first} meet: {near.min():.2f} mm between centres",
                       allowed=f"more than {2 * radius:.2f} mm", remedy=smaller + apart)
    circles = overlay.buffer(shapely.points(tree), radius, quad_segs=_QUADRANT)
    return shapely.MultiPolygon(list(shapely.get_parts(overlay.union_all(circles))))


def _refuse_off_board(board: Fingerboard, dots: Dots, radius: float, placed: list[tuple[int, Floats]]) -> None:
    """Raises JobError for a dot that reaches over the edge, with what leaves wood there that stands."""
    over = [radius - float(inside(board.outline, shapely.Point(p))) for _, p in placed]
    if not placed or max(over) <= 0.0:
        return
    fret = placed[int(np.argmax(over))][0]
    of_own = dots.line == "centre" or dots.apart is not None  # else they lie inside the line
    pairs = {one: points for one, points in dot_places(board, dots)
             if len(points) > 1 and dots.octave == "across" and of_own}
    key, remedy = "diameter", "take smaller dots"
    if fret in pairs:
        middles = shapely.points([points.mean(axis=0) for points in pairs.values()])
        room = float(inside(board.outline, middles).min()) - radius - _CLEAR
        key, apart = "apart", f"make apart {rounded_down(2 * room):.2f} mm or less"
        if dots.line != "centre":  # beside each other, with as much wood between them as outside
            least = rounded_up(2 * radius + _CLEAR)
            apart = f"make apart {least:.2f} mm and inset {rounded_up(dots.inset + least / 2 - room):.2f} mm or more"
        remedy = f"{apart}, or leave fret {fret} out of frets"
    elif dots.line != "centre":
        key = "inset"
        remedy = f"make inset {rounded_up(dots.inset + max(over) + _CLEAR):.2f} mm or more, or take smaller dots"
    raise JobError(f"[dots] {key}", f"the dot of fret {fret} reaches over the edge of the cut board",
                   allowed=f"centres {radius:.2f} mm or more inside it", remedy=remedy)


def _line_points(layout: Layout, dots: Dots) -> Floats:
    """(n + 1, 2) where nut and frets cross the line that the dots lie on."""
    if dots.line == "centre":
        x = centre_crossings(layout.lines)
        return np.stack([x, np.zeros_like(x)], axis=1)
    side = layout.bass_side if dots.line == "bass" else -layout.bass_side
    return layout.edges.inset(dots.inset).crossings(layout.lines, side)


def _at(layout: Layout, on_line: Floats, dots: Dots, fret: int) -> Floats:
    before, here = on_line[fret - 1], on_line[fret]
    if not is_octave(layout, fret):
        return np.asarray((before + here)[None] / 2)
    if dots.octave == "along":
        return np.asarray(before + np.array([[1 / 3], [2 / 3]]) * (here - before))
    middle = (before + here) / 2
    unit = [run / np.linalg.norm(run) for run in layout.lines[fret - 1 : fret + 1, 1]
            - layout.lines[fret - 1 : fret + 1, 0]]
    across = sum(unit) / np.linalg.norm(sum(unit))
    if dots.apart is None and dots.line != "centre":
        inward = {"bass": 1.0, "treble": -1.0}[dots.line] * BESIDE * dots.diameter
        return np.asarray(middle + np.array([[0.0], [inward]]) * across)
    apart = dots.apart if dots.apart is not None else float(layout.edges.half_width(middle[0]))
    return np.asarray(middle + np.array([[-0.5], [0.5]]) * apart * across)


def is_octave(layout: Layout, fret: int) -> bool:
    """Whether a fret stops a half, a quarter .. of the outer string on the bass side."""
    octaves = _octaves(layout, fret)
    return octaves > 0.5 and abs(octaves - round(octaves)) < 1e-6


def usual_frets(layout: Layout) -> tuple[int, ...]:
    """Those with dots where nothing is said: the usual ones that there are, and octaves alone where twelve frets, or as
    many as there are, do not rise as those of a board do whose octave is fret 12."""
    last = len(layout.lines) - 1
    first = min(last, 12)
    as_usual = abs(12.0 * _octaves(layout, first) - first) < 0.5
    return tuple(f for f in (USUAL_FRETS if as_usual else range(1, last + 1))
                 if f <= last and (as_usual or is_octave(layout, f)))


def _octaves(layout: Layout, fret: int) -> float:
    """By how many octaves a fret raises the outer string on the bass side."""
    nut, stopped, bridge = layout.lines[0, 0], layout.lines[fret, 0], layout.bridge[0]
    return -float(np.log2(np.linalg.norm(bridge - stopped) / (np.linalg.norm(bridge - nut) + layout.nut_offset)))


def template_rows(places: Sequence[float], row: float, lap: float) -> list[tuple[float, list[float]]]:
    """Places along an edge, in rows of a length that lap over the next: (start of the row, places from its start). None
    lies within half a `lap` of where a row is cut off, but at the edge's own beginning."""
    starts = [max((row - lap) * ((at - lap / 2) // (row - lap)), 0.0) for at in places]
    return [(start, [at - start for at, its in zip(places, starts, strict=True) if its == start])
            for start in sorted(set(starts))]
