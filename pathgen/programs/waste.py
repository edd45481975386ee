"""What of the blank no program cuts: the waste round the board, where witness marks and a raw top last to the end."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.toolpath import Move
from pathgen.base.units import coarse_length
from pathgen.programs.around import Around
from pathgen.programs.paths import path_of
from pathgen.work.clamping import Clamping, Step
from pathgen.work.mark_errors import ACCURACY, BOARD_LIMIT, CHECKED, MarkErrors, height_influence, leverage, mark_errors
from pathgen.work.part import Part
from pathgen.work.underside import turned_over

MARK_GAP = 0.5
"""Wood between a mark and all that is cut or in the way, mm."""
NEAR_MIDDLE = 0.125
"""How far from the middle of the length a pair of marks may lie, as a share of the length."""
_FAR = 1e4  # mm: past any blank
_INSET = 0.5  # mm: how far inside the edge of the waste a place is put
SAFE = 0.1
"""Taken more than roughing passes sweep, mm: a disc is drawn as a polygon a little inside it."""


def left_standing(around: Around, *, reach: float, blank: BaseGeometry | None = None) -> BaseGeometry:
    """Where a tool `reach` mm round its axis may come down on the raw top of the blank, clear of all that is cut; of a
    blank of another size where `blank` is given.

    A safe side is taken of what each program opens. Clamps are kept clear of too.
    """
    clamping = around.clamping
    free = overlay.buffer(blank or shapely.box(*clamping.stock.bounds), -reach, join_style="mitre")
    free = overlay.difference(free, overlay.buffer(_cleared(around), reach, join_style="mitre"))
    return off_clamps(free, clamping, reach)


def off_clamps(free: BaseGeometry, clamping: Clamping, away: float) -> BaseGeometry:
    """The part of `free` that lies `away` mm or more from all clamps."""
    for thing in clamping.setup.keep_out:
        free = overlay.difference(free, overlay.buffer(thing.shape, away))
    return free


def within_travel(free: BaseGeometry, around: Around, reach: Floats | None = None) -> BaseGeometry:
    """The part of `free` that the machine's travel reaches with all that is cut, and zero, in its middle. `reach` is
    (2, 2), the lowest and the highest X, Y on the display of all that it must reach, where paths are known."""
    clamping = around.clamping
    if clamping.machine.travel is None:
        return free
    if reach is None:
        cut = _cleared(around)
        zero = shapely.Point(clamping.zero) if clamping.moved is None else cut
        x0, y0, x1, y1 = shapely.total_bounds([cut, zero]).tolist()
    else:
        x0, y0, x1, y1 = shapely.multipoints(clamping.to_board(np.insert(reach, 2, 0.0, axis=1))).bounds
    along, across = clamping.reach
    x, y = (x0 + x1 - along) / 2, (y0 + y1 - across) / 2
    return overlay.intersection(free, shapely.box(x, y, x + along, y + across))


def spread_places(
    free: BaseGeometry, board: Part, *, where: str, top: float, accuracy: float = ACCURACY,
    limit: float = BOARD_LIMIT, clamped: bool = True, rooms: Sequence[BaseGeometry] = (), near: float = 0.0,
) -> Floats:
    """Four places in `free`, or three where there is no room for more, that settle how the board lies: (n, 2), mm.

    Two of the four lie near the middle of its length, one on each side, where there is waste there and toward both
    ends: a board that bows shows there. The others are those corners of the free waste with which errors in the heights
    of the marks move the board least; of those, where there are such, with which the height of each mark is checked by
    the others. Each is moved into the first of `rooms` that lies `near` it, mm, where one does.

    Raises JobError where there is no room for three, or where errors of `accuracy` at the marks would move the board by
    more than `limit`.
    """
    corners = shapely.get_coordinates(shapely.convex_hull(free).simplify(0.5))[:-1]
    remedy = f"take a larger blank{', move clamps off the corners,' if clamped else ''} or leave [marks] out"
    if len(corners) < 3:
        raise JobError(where, f"no waste is left round the {board.names.part} for three marks", remedy=remedy)
    placed = (_placed(free, rooms, near, places) for places in _layouts(free, board, corners))
    made = [(places, board_errors(board, np.column_stack([places, np.full(len(places), top)]), accuracy=accuracy))
            for places in placed]
    fits = next((places for places, errors in made if errors.worst <= limit), None)
    if fits is None:
        errors = min((errors for _, errors in made), key=lambda e: e.worst)
        span = np.ptp(corners, axis=0)
        raise JobError(where, f"the waste has room only for marks within {coarse_length(span[0])} along and "
                       f"{coarse_length(span[1])} across, for a {board.names.part} {coarse_length(board.length)} long: "
                       f"{error_words(errors)}",
                       allowed=f"{limit:g} mm", remedy=remedy)
    return fits


def _layouts(free: BaseGeometry, board: Part, corners: Floats) -> Iterator[Floats]:
    """Four with a pair near mid-length and one toward each end, four of the corners, three of them; each in order along
    the board. First those fours of which each mark is checked; a pair with both others on one side comes last.
    """
    pair, (low, high) = _middle_pair(free, board), _middle(board)
    paired = np.reshape([[*pair, *two] for two in combinations(corners, 2) if len(pair) == 2], (-1, 4, 2))
    along = paired[:, 2:, 0]
    apart = paired[(along.min(axis=1) < low) & (along.max(axis=1) > high)]
    four, three = (np.reshape(list(combinations(corners, count)), (-1, count, 2)) for count in (4, 3))
    fours = [groups for groups in (apart, four, paired) if len(groups)]
    checked = [groups[leverage(groups).max(axis=1) <= CHECKED] for groups in fours]
    for groups in [*checked, *fours, three]:
        if len(groups):
            yield _best(groups, board)


def _middle(board: Part) -> tuple[float, float]:
    """From where to where along the board is near the middle of its length, mm."""
    middle, near = board.start + board.length / 2, board.length * NEAR_MIDDLE
    return middle - near, middle + near


def _middle_pair(free: BaseGeometry, board: Part) -> list[Floats]:
    """The place furthest out on each side near the middle of the board's length; fewer where there is no waste."""
    start, end = _middle(board)
    pair = []
    for side in (-1.0, 1.0):
        low, high = sorted((0.0, side * _FAR))
        own = overlay.intersection(free, shapely.box(start, low, end, high))
        if not own.is_empty:
            out = np.abs(shapely.get_coordinates(own)[:, 1]).max()
            pair.append(_nearest(np.array([(start + end) / 2, side * out]), [own], 0.0))
    return pair


def _best(groups: Floats, board: Part) -> Floats:
    rise = height_influence(groups, shapely.get_coordinates(board.outline.convex_hull))
    best: Floats = groups[int(np.argmin(rise))]
    return best[np.lexsort((best[:, 1], best[:, 0]))]


def _placed(free: BaseGeometry, rooms: Sequence[BaseGeometry], near: float, places: Floats) -> Floats:
    """Each in the first of `rooms` that lies near it, or in `free`."""
    kept = []
    for place in places:
        room = next((r for r in rooms if not r.is_empty and r.distance(shapely.Point(place)) <= near), free)
        kept.append(nearest_inside(place, room))
    return np.array(kept)


def board_errors(board: Part, marks: Floats, *, accuracy: float) -> MarkErrors:
    """What measuring errors of `accuracy` mm at all (n, 3) `marks` do to a board's nut, end and outline."""
    nut, end, outline = (
        np.column_stack([line, board.surface.height(*line.T)])
        for line in (*board.ends, shapely.get_coordinates(board.outline))
    )
    return mark_errors(marks, nut=nut, end=end, outline=outline, accuracy=accuracy)


def error_words(errors: MarkErrors) -> str:
    """What measuring errors do, in one line, in mm: for refusals."""
    if not np.isfinite(errors.worst):
        return "they leave a turn or tilt open"
    return (f"measuring errors of {errors.accuracy:g} mm at the marks, root-sum-square, would move the work by up to "
            f"{errors.anywhere[0]:.2f} mm in height and {errors.anywhere[1]:.2f} mm in place")


@lru_cache(maxsize=2)
def _cleared(around: Around) -> BaseGeometry:
    """Where any program may cut, in plan: asked for by every check of zero, and for the marks."""
    clamping, board = around.clamping, around.clamping.board
    x, y = shapely.get_coordinates(board.outline).T
    proud = max(clamping.stock.thickness - float(np.min(board.surface.height(x, y))), 0.0)
    parts = [board.outline]
    for step in clamping.steps:
        cleared = step.operation.clears(board.outline, step.cutter, proud)
        parts.append(_swept(around, step) if cleared is None else cleared)
    if clamping.under is not None:  # turned over: holes through the blank are in its top too
        parts += [turned_over(there) for step in clamping.under.steps
                  if (there := step.operation.clears(clamping.under.board.outline, step.cutter, proud)) is not None]
    return overlay.union_all(parts)


def _swept(around: Around, step: Step) -> BaseGeometry:
    """Where a step's passes go, widened by the cutter."""
    path = path_of(step, around)
    runs = np.split(path.points[:, :2], np.flatnonzero(path.kinds == Move.RAPID))
    lines = [shapely.linestrings(run[1:]) for run in runs if len(run) > 2]
    return overlay.union_all(overlay.buffer(lines, step.cutter.radius + SAFE))


def nearest_inside(place: Floats, free: BaseGeometry) -> Floats:
    """The place in `free` nearest to one, a little inside its edge where that is near, on half millimetres where that
    may be."""
    at_edge = _nearest(place, [free], 0.0)
    near = _nearest(at_edge, [overlay.buffer(free, -_INSET), free], 2 * _INSET)
    half: Floats = np.round(near * 2) / 2
    return half if shapely.intersects_xy(free, *half) else near


def _nearest(place: Floats, shapes: Sequence[BaseGeometry], within: float) -> Floats:
    """The point nearest to `place` of the first shape that comes so near, or of the last."""
    point = shapely.Point(place)
    shape = next((s for s in shapes if not s.is_empty and s.distance(point) <= within), shapes[-1])
    nearest: Floats = shapely.get_coordinates(shapely.shortest_line(shape, point))[0]
    return nearest
