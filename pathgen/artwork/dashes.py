"""Lines cut into dashes by their length along the line (SVG 1.1, section 11.4; SVG 2, section 9.6.1)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pathgen.artwork.flatten import Polylines
from pathgen.artwork.scene import Stroke
from pathgen.base.arrays import Bools, Floats
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import MOST_DASHES

_DOT = 1e-5
"""Length given to a dash of no length, as a share of the width, so that its caps know their direction."""


def dashed(lines: Polylines, strokes: Sequence[Stroke], where: Sequence[str]) -> Polylines:
    """The lines, those with a dash pattern cut into their dashes."""
    if not len(lines.owner) or not any(stroke.dashes for stroke in strokes):
        return lines
    strokes = _in_true_lengths(lines, strokes)
    pieces: list[tuple[Floats, Bools, bool, int]] = []
    for k, owner in enumerate(lines.owner):
        begin, end = lines.start[k], lines.start[k + 1]
        points, corner, closed = lines.points[begin:end], lines.corner[begin:end], bool(lines.closed[k])
        if strokes[owner].dashes:
            parts = _cut(points, corner, strokes[owner], closed=closed, where=where[owner])
            pieces += [(part, turns, False, owner) for part, turns in parts]
        else:
            pieces.append((points, corner, closed, owner))
    if not pieces:  # all lie in gaps
        return Polylines.none()
    cut, corners, whole, owners = zip(*pieces, strict=True)
    start = np.append(0, np.cumsum([len(points) for points in cut]))
    return Polylines(np.concatenate(cut), start, np.concatenate(corners), np.array(whole), np.array(owners, np.int64))


def _in_true_lengths(lines: Polylines, strokes: Sequence[Stroke]) -> list[Stroke]:
    """Strokes whose path states a length of its own with their dashes in lengths along it as it is."""
    steps = np.hypot(*np.diff(lines.points, axis=0, append=np.nan).T)
    steps[lines.start[1:] - 1] = 0.0
    along = np.append(0.0, np.cumsum(steps))
    total = np.bincount(lines.owner, np.diff(along[lines.start]), len(strokes))
    return [
        replace(one, dashes=tuple(dash * true / one.path_length for dash in one.dashes),
                dash_offset=one.dash_offset * true / one.path_length) if one.path_length and true else one
        for one, true in zip(strokes, total, strict=True)
    ]


def _cut(points: Floats, corner: Bools, stroke: Stroke, *, closed: bool, where: str) -> list[tuple[Floats, Bools]]:
    """The dashes of one line, each with its points and which of them are corners."""
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T)))
    total = float(along[-1])
    if total == 0:
        return [(points[:1], corner[:1])]
    begins, ends = _spans(stroke, total, where)
    if stroke.cap == "butt":
        begins, ends = begins[ends > begins], ends[ends > begins]
    ends = np.maximum(ends, begins + _DOT * stroke.width)
    parts = [_part(points, corner, along, begin, end) for begin, end in zip(begins, ends, strict=True)]
    joins_up = closed and len(parts) > 1 and begins[0] <= 0 and ends[-1] >= total
    if joins_up:
        (last, last_corner), (first, first_corner) = parts[-1], parts[0]
        joined = np.concatenate([last, first[1:]]), np.concatenate([last_corner, first_corner[1:]])
        parts = [joined, *parts[1:-1]]
    return parts


def _spans(stroke: Stroke, total: float, where: str) -> tuple[Floats, Floats]:
    """Where each dash begins and ends along a line of length `total`."""
    pattern = np.array(stroke.dashes)
    period = float(pattern.sum())
    if total / period * len(pattern) > MOST_DASHES:
        raise ArtworkError(where,
                           f"a dash pattern of {period:g} along a line of {total:g} gives more dashes than can be cut",
                           allowed=f"{MOST_DASHES} dashes", remedy="lengthen the dashes or draw a whole line")
    offset = stroke.dash_offset % period
    repeats = np.arange(int(np.ceil((total + offset) / period)) + 1) * period - offset
    edges = np.concatenate([[0.0], np.cumsum(pattern)])
    begins = (repeats[:, None] + edges[:-1:2]).ravel()
    ends = (repeats[:, None] + edges[1::2]).ravel()
    shown = (begins < total) & ((ends > 0) | ((ends == begins) & (begins >= 0)))
    return np.maximum(begins[shown], 0.0), np.minimum(ends[shown], total)


def _part(points: Floats, corner: Bools, along: Floats, begin: float, end: float) -> tuple[Floats, Bools]:
    inside = (along > begin) & (along < end)
    tips = np.stack([np.interp([begin, end], along, points[:, k]) for k in (0, 1)], axis=1)
    if end > along[-1]:  # a dot at the very end of the line
        step = points[-1] - points[np.searchsorted(along, along[-1]) - 1]
        tips[1] = points[-1] + step / np.hypot(*step) * (end - along[-1])
    part = np.concatenate([tips[:1], points[inside], tips[1:]])
    return part, np.concatenate([[True], corner[inside], [True]])
