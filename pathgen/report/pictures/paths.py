"""Where a program's cutter goes, from above."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from pathgen.base import overlay
from pathgen.base.arrays import Floats, stretches
from pathgen.base.markup import Element, element
from pathgen.base.picture import INK, PALE, WOOD, View, area, lines, runs_in_plan
from pathgen.base.toolpath import Move, Toolpath
from pathgen.report.pictures.above import free_of, name_places
from pathgen.report.pictures.labels import Labels
from pathgen.work.clamping import Clamping
from pathgen.work.features import Named
from pathgen.work.part import Part, wood_in_plan

LANDMARK = "#c3b394"
_LEAST_SHOWN = 0.25  # least share of the board's length in a picture
MARKED = (1, 3, 5, 7, 9, 12, 15, 17, 19, 21, 24)
"""Landmarks that are numbered, to know the place by."""
_LETTERS = 40  # words are so much smaller than a picture is wide: on paper, beside another, some 7 pt high
_HIGH = 3.5  # width by height of a picture on the page, where the height is the most that it may be
_WIDE = 0.4  # of its length: a part at least so wide is shown whole
_STANDS = 0.1  # mm: a run of cuts that goes no further sideways only goes down


def path_picture(name: str, path: Toolpath, clamping: Clamping, named: Sequence[Named] = ()) -> Element:
    """The cutter's path over the board: cuts as lines, places where it only goes down as discs, rapids dotted, the
    first cut marked with a ring, and the places that are `named` with their names.

    A path that stays on a part of a long board is shown with that part only, at least `_LEAST_SHOWN` of its length.
    """
    view = _view(path, clamping)
    size = _letter(view.width, view.height)
    board, discs = clamping.board, overlay.buffer(shapely.MultiPoint(bored(path)), size / 3)
    holes = overlay.union_all([overlay.buffer(shapely.Point(one.at), one.wide / 2) for one in named if one.wide])
    marks = [discs, *(overlay.buffer(at, 0.4 * size) for at in _first_place(path))]
    # the number of a hole may lie on what is cut in it, its letters with a white rim
    labels = Labels([free_of(board, named), *(overlay.difference(mark, holes) for mark in marks)])
    _numbers(labels, view, board, size)
    name_places(labels, named, board.outline, 1.25 * size, rim=0.25)
    view = View.around(labels.within((view.left, view.bottom, view.right, view.top)), 0.0)
    return view.picture(name, *_board(view, board, size), *_moves(view, path, size), *_holes(view, path, size),
                        *_first_cut(view, path, size), *labels.drawn(view))


def _view(path: Toolpath, clamping: Clamping) -> View:
    low, high = path.points[:, :2].min(axis=0), path.points[:, :2].max(axis=0)
    x0, y0, x1, y1 = clamping.board.outline.bounds
    margin = 0.015 * (x1 - x0)
    least = max(_LEAST_SHOWN * (x1 - x0) - (high[0] - low[0]), 0.0) / 2
    left, right = low[0] - least - margin, high[0] + least + margin
    if right - left > 0.7 * (x1 - x0) or y1 - y0 > _WIDE * (x1 - x0):
        left, right = min(x0, left), max(x1, right)
    numbers = 1.3 * _letter(right - left, max(y1, high[1]) - min(y0, low[1]) + 2 * margin)
    return View.around((left, min(y0, low[1]), right, max(y1, high[1]) + numbers), margin)


def _letter(wide: float, high: float) -> float:
    """Height of the words in a picture: as large on the page where its height limits it as where its width does."""
    return max(wide, _HIGH * high) / _LETTERS


def _board(view: View, board: Part, size: float) -> Iterator[Element]:
    frame = shapely.box(view.left, view.bottom, view.right, view.top)
    wood = wood_in_plan(board)
    yield area(view, overlay.intersection(wood, frame), fill=WOOD)
    edges = shapely.get_parts(shapely.line_merge(overlay.intersection(shapely.boundary(wood), frame)))
    yield lines(view, [shapely.get_coordinates(edge) for edge in edges], stroke=PALE, stroke_width=size / 24)
    yield lines(view, list(_lines_shown(view, board)[1]), decimals=1, stroke=LANDMARK, stroke_width=size / 30)


def _lines_shown(view: View, board: Part) -> tuple[list[int], Floats]:
    """Numbers and (n, 2, 2) ends of the landmarks that lie in a picture whole."""
    ends = board.landmarks.ends
    shown = (ends[..., 0] > view.left).all(axis=1) & (ends[..., 0] < view.right).all(axis=1)
    return board.landmarks.number[shown].tolist(), ends[shown]


def _numbers(labels: Labels, view: View, board: Part, size: float) -> None:
    """Over all else, at the lines' upper ends; none that would run into the one before, or out of the picture."""
    free = -np.inf
    for number, ends in zip(*_lines_shown(view, board), strict=True):
        x = float(ends[ends[:, 1].argmax(), 0])
        half = 0.35 * size * len(str(number))  # of its width
        if number in MARKED and x > free and view.left + half < x < view.right - half:
            free = x + 1.6 * size
            labels.put(str(number), [(x, view.top - 1.2 * size, "middle")], size=size)


def _moves(view: View, path: Toolpath, size: float) -> Iterator[Element]:
    rapid = path.kinds == Move.RAPID
    yield lines(view, runs_in_plan(path.points, rapid), decimals=1, stroke=PALE, stroke_width=size / 45,
                stroke_dasharray=f"0 {size / 12:.2f}")
    yield lines(view, runs_in_plan(path.points, ~rapid), decimals=1, stroke=INK, stroke_width=size / 60)


def _holes(view: View, path: Toolpath, size: float) -> Iterator[Element]:
    """Where the cutter goes down and up again and nowhere else."""
    for x, y in view(bored(path)).tolist():
        yield element("circle", cx=x, cy=y, r=size / 6, fill=INK, class_="bored")


def bored(path: Toolpath) -> Floats:
    """(n, 2) places where a path's cutter, between two rapids, moves in Z alone."""
    runs = [path.points[first : last + 1, :2] for first, last in stretches(path.kinds[1:] != Move.RAPID)]
    places = [run[-1] for run in runs if np.ptp(run, axis=0).max() <= _STANDS]
    return np.unique(np.round(places, 2), axis=0) if places else np.empty((0, 2))


def _first_place(path: Toolpath) -> list[shapely.Point]:
    """Where the first cut begins; nothing where none is made."""
    return [shapely.Point(path.points[at, :2]) for at in np.flatnonzero(path.kinds != Move.RAPID)[:1]]


def _first_cut(view: View, path: Toolpath, size: float) -> Iterator[Element]:
    for at in _first_place(path):
        (x, y), = view([at.x, at.y])
        yield element("circle", cx=x, cy=y, r=size / 3, stroke=INK, stroke_width=size / 12, class_="first-cut")
