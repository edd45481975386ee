"""The board in figures: the fret table, the surface under each string, places for side dots."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from pathgen.base.surface import Surface
from pathgen.parts.fingerboard.dots import is_octave
from pathgen.parts.fingerboard.layout import centre_crossings
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.radii import bow_under, string_lines
from pathgen.parts.fingerboard.scale import cents_off
from pathgen.parts.fingerboard.webs import wood_left
from pathgen.work.features import Inlay, Slots


def fret_rows(
    board: Fingerboard,
    slots: Slots | None,
    *,
    inlays: Sequence[Inlay] = (),
    finished: Surface | None = None,
    resolution: float = 0.005,
) -> list[dict[str, Any]]:
    """A row for each fret, lengths in mm.

    distance from the nut; bass and treble, where its line meets the edges of the cut board; ends, where the fret
    itself ends; depth of its slot; cents that it sounds off when its distance is rounded to the machine's
    `resolution`; width of the finished and of the cut board along the fret; least wood at the edges, under the slot,
    and under the pockets between the fret before and this one.
    """
    frets = board.frets
    if not len(frets):
        return []
    wood = wood_left(board, slots=slots, inlays=inlays, finished=finished)
    cents = _cents(board, resolution)
    finished_width = _finished_widths(board)
    cut_width = np.linalg.norm(frets.treble - frets.bass, axis=1)
    return [
        {
            "fret": int(frets.number[i]), "distance": plain(frets.distance[i]), "bass": pair(frets.bass[i]),
            "treble": pair(frets.treble[i]), "ends": [pair(frets.ends[i, 0]), pair(frets.ends[i, 1])],
            "depth": slots.depth if slots else None, "cents": plain(cents[i], 4),
            "width": plain(finished_width[i]), "cut_width": plain(cut_width[i]),
            "wood": {"edge": plain(wood.edge[i], 3), "slot": plain(wood.slot[i], 3),
                     "pocket": plain(wood.pocket[i], 3)},
        }
        for i in range(len(frets))
    ]


def string_rows(board: Fingerboard, count: int) -> list[dict[str, Any]]:
    """For each of `count` strings, bass first: where it crosses nut and end, and how bowed the surface is under it.

    `bow` is how far the surface stands above (below, negative) a straight edge laid under the string from the nut to
    the last fret, mm.
    """
    if board.layout is None:
        return []
    last = float(board.frets.distance[-1])
    lines = string_lines(board.layout.strings, count, (0.0, last), board.bass_side)
    bow = bow_under(lines, board.surface)
    return [
        {"string": i + 1, "at_nut": plain(line[0, 1]), "at_last_fret": plain(line[1, 1]), "bow": plain(b, 6)}
        for i, (line, b) in enumerate(zip(lines, bow, strict=True))
    ]


def dot_rows(board: Fingerboard, frets: Sequence[int]) -> list[dict[str, Any]]:
    """Side dots: how many, where on the bass edge of the cut board, and how far along that edge from the nut line.

    A dot stands midway between its fret and the one before; two stand at each octave, a third and two thirds of the
    way, on either side of the middle (common practice, no source). `at` and `along_edge` are the middle, `each` has
    every dot's own.
    """
    edge = np.concatenate([board.nut_line[:1], board.frets.bass[board.frets.number > 0]])
    rows = []
    for fret in sorted(set(frets)):
        if fret < len(edge):
            shares = (1 / 3, 2 / 3) if _is_octave(board, fret) else (1 / 2,)
            middle, *each = (_on_edge(edge, fret, share) for share in (1 / 2, *shares))
            rows.append({"fret": fret, "dots": len(shares), **middle, "each": each})
    return rows


def _on_edge(edge: np.ndarray, fret: int, share: float) -> dict[str, Any]:
    """A place on the bass edge, by its share of the way from the fret before."""
    at = edge[fret - 1] + share * (edge[fret] - edge[fret - 1])
    return {"at": pair(at), "along_edge": plain(float(np.linalg.norm(at - edge[0])))}


def plain(value: float, places: int = 5) -> float | None:
    """A rounded number, or None for one that is not finite."""
    return round(float(value), places) + 0.0 if math.isfinite(value) else None


def pair(point: np.ndarray) -> list[float]:
    """A rounded point."""
    return [round(float(v), 5) + 0.0 for v in point]


def _speaking_length(board: Fingerboard) -> float:
    return float(centre_crossings(board.layout.bridge[None])[0]) if board.layout else math.nan


def _cents(board: Fingerboard, resolution: float) -> np.ndarray:
    wanted = board.frets.distance
    return cents_off(_speaking_length(board), wanted, np.round(wanted / resolution) * resolution)


def _finished_widths(board: Fingerboard) -> np.ndarray:
    """Along each fret, from edge to edge of the finished board, the binding on."""
    run = board.frets.treble - board.frets.bass
    width = np.linalg.norm(run, axis=1)
    # The binding is as thick as it is square to the edge, and longer by the slants of edge and fret along the fret.
    slope = board.edges.slope
    unit = run / width[:, None]
    across = np.abs(unit[:, 1])
    each = [board.binding * math.hypot(1.0, slope) / (across - side * slope * unit[:, 0]) for side in (-1, 1)]
    return np.asarray(width + each[0] + each[1])


def _is_octave(board: Fingerboard, fret: int) -> bool:
    """Whether a fret stops a half, a quarter .. of the outer string on the bass side."""
    return fret % 12 == 0 if board.layout is None else is_octave(board.layout, fret)
