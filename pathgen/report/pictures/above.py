"""The board from above as it lies on the machine: blank, clamps, zero, drawing, slots, cuts and tabs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.markup import Element, element
from pathgen.base.memory import remembered
from pathgen.base.picture import BLANK, INK, PALE, WOOD, View, area, lines, words
from pathgen.base.toolpath import Toolpath
from pathgen.base.units import format_length
from pathgen.report.pictures.labels import Labels, around, fitting, wide
from pathgen.strategies.cutting_line import cutting_line
from pathgen.work.clamping import Clamping
from pathgen.work.features import Named
from pathgen.work.operations import (
    CutOut,
    CutPieces,
    DowelHoles,
    NutSlot,
    Outline,
    RoundHoles,
    SideDots,
    Slot,
    WitnessMarks,
)
from pathgen.work.part import Part, wood_in_plan
from pathgen.work.thin_wood import by_kind
from pathgen.work.underside import sunk_of

Standing = tuple[BaseGeometry, float]
"""A clamp in plan, and its height, mm."""
CUT_AWAY = "#cfd6d3"
CLAMP = "#e9d3cb"
CLAMP_EDGE = "#7a2a17"
NUT_SLOT = "#8d8069"
_AXIS = 1.2  # length of the arrows of the axes, as a part of the words' size: they stand in the margin
_WORDS_PER_WIDTH = 60  # size of words, as a part of the picture's width
_LEAST = 0.45  # least size of a number in a hole, in sizes of words; one in a smaller hole stands outside the part
_ASIDE = np.outer(np.arange(7), [0.05, -0.05]).ravel()
"""How far from the middle of the board its sides may be named, as shares of its length."""
_FILM, _SEEN, _LONG = 0.1, 1.0, 3.0
"""What stays closed of a drawing is seen where it is wider than a film, mm, and so large, mm2, or so long, mm."""
_MOST_RINGS = 30  # places of thin wood of a kind that are ringed: more would hide the drawing
_HIGH = 2.0
"""Width by height from which a picture keeps its width on the page: a higher one is shown smaller, its words larger."""


def board_from_above(
    clamping: Clamping, *, opened: Sequence[BaseGeometry], paths: Sequence[Toolpath] = (), tabs: Floats | None = None,
) -> Element:
    """The whole set-up in the board's frame: nut on the left, + Y upward.

    `opened` is what is opened of each inlay: the rest has no colour, too little wood beside it has rings. `paths` are
    the paths of the clamping's steps, for the reach of the finishing cutter; `tabs` (n, 2) the middles of the tabs.
    """
    size, labels = _size(clamping), _labels(clamping, tabs)
    view = view_above(clamping, labels=labels)
    return view.picture(
        f"{clamping.title}: the {clamping.board.names.part} from above",
        *_blank_and_part(view, clamping, size),
        *_finishing_reach(view, clamping, paths, size),
        *inlay_areas(view, clamping, opened),
        *_slots(view, clamping),
        *_cut_through(view, clamping, size),
        *_holes(view, clamping, size),
        *(area(view, triangle, fill=INK, class_="tab") for triangle in _tab_triangles(tabs, size)),
        *_thin_wood(view, clamping, opened, size),
        *(clamp_from_above(view, shape, size) for shape, _ in _clamps(clamping)),
        *_zero(view, clamping, size),
        *labels.drawn(view))


def view_above(clamping: Clamping, *, labels: Labels | None = None) -> View:
    """A view of the blank and everything around it, and of all `labels`."""
    x0, y0, x1, y1 = _bounds(clamping)
    margin = 3.2 * _size(clamping)
    framed = x0 - margin, y0 - margin, x1 + margin, y1 + margin
    return View.around((labels or _labels(clamping, None)).within(framed), 0.0)


def _bounds(clamping: Clamping) -> tuple[float, float, float, float]:
    boxes = [shapely.box(*clamping.stock.bounds), clamping.board.outline]
    boxes += [shape for shape, _ in _clamps(clamping)]
    x0, y0, x1, y1 = shapely.total_bounds(boxes).tolist()
    return x0, y0, x1, y1


def _size(clamping: Clamping) -> float:
    """Of the words in the picture."""
    x0, y0, x1, y1 = _bounds(clamping)
    return max(x1 - x0, _HIGH * (y1 - y0)) / (_WORDS_PER_WIDTH - 6)


def _labels(clamping: Clamping, tabs: Floats | None) -> Labels:
    """All words of the picture, over no wood of the part and nothing else that they do not name."""
    size, board = _size(clamping), clamping.board
    back = clamping.under.steps if clamping.under else ()  # dowels stand in its holes
    places = [place for step in (*back, *clamping.steps) for place in step.operation.named]
    taken = [free_of(board, places), *(shape for shape, _ in _clamps(clamping))]
    taken += [_symbol(place, size) for place in places if not board.outline.contains(shapely.Point(place.at))]
    taken += [shapely.box(*shape.bounds) for shape in _tab_triangles(tabs, size)]
    if shows_zero(clamping):
        x0, low = _bounds(clamping)[0] - 3.2 * size, clamping.stock.bounds[1]
        taken += [overlay.buffer(shapely.Point(_zero_of(clamping)), 0.8 * size),
                  shapely.box(x0, low - 2.8 * size, x0 + 2.7 * size, low + 1.9 * size)]
    labels = Labels(taken, [shapely.box(*clamping.stock.bounds).exterior])
    _numbers(labels, clamping, size)
    _ends(labels, clamping, size)
    name_places(labels, places, board.outline, size)
    _sides(labels, clamping, size)
    name_clamps(labels, _clamps(clamping), clamping.units, size)
    return labels


def _clamps(clamping: Clamping) -> list[Standing]:
    """The clamps where they stand beside the blank, which may have moved since their places were measured."""
    moved, top = clamping.moved, clamping.stock.thickness
    return [(box.shape if moved is None else
             shapely.transform(box.shape, lambda at: moved.back(np.insert(at, 2, top, axis=1))[:, :2]), box.height)
            for box in clamping.setup.keep_out]


def _zero_of(clamping: Clamping) -> Floats:
    """Where X 0, Y 0 of the programs lies on the blank, (2,): of work that has moved, no longer where it was set."""
    return clamping.to_board(np.zeros((1, 3)), clamping.steps[-1])[0, :2]


def free_of(board: Part, places: Sequence[Named]) -> BaseGeometry:
    """What no word may lie over: the part, less the holes in it that have names."""
    holes = [overlay.buffer(shapely.Point(place.at), place.wide / 2) for place in places if place.wide]
    whole = overlay.union_all([wood_in_plan(board), overlay.difference(board.finished, board.outline)])
    return overlay.difference(whole, overlay.union_all(holes))


def _symbol(place: Named, size: float) -> BaseGeometry:
    return overlay.buffer(shapely.Point(place.at), max(place.wide / 2, size / 4))


def name_places(
    labels: Labels, places: Sequence[Named], part: BaseGeometry, size: float, *, rim: float = 0.0
) -> None:
    """Marks and holes by their names: beside each, or, of a hole in the part, its number in the hole, with a white rim
    round its letters where it lies over lines, as a share of their size."""
    style = {"paint_order": "stroke", "stroke": "#ffffff", "font_weight": "bold"} if rim else {}
    for name, place in {place.name: place for place in places}.items():
        symbol, (x, y), number = _symbol(place, size), place.at, name.rpartition(" ")[2]
        letter = min(0.8 * size, fitting(number, place.wide))
        if part.contains(shapely.Point(x, y)) and letter >= _LEAST * size:
            labels.put(number, [(x, y - 0.29 * letter, "middle")], size=letter, named=symbol, **style,
                       **({"stroke_width": f"{rim * letter:.3g}"} if rim else {}))
        else:
            labels.put(name, around(symbol, 0.8 * size), size=0.8 * size, named=symbol)


def name_clamps(labels: Labels, clamps: Sequence[Standing], units: str, size: float) -> None:
    """Clamps by number and height."""
    for number, (shape, height) in enumerate(clamps, 1):
        x0, y0, x1, y1 = shape.bounds
        spots = [spot for away in (0.0, size, 2 * size)  # further off where a dashed line runs beside it
                 for spot in around(shapely.box(x0 - away, y0 - away, x1 + away, y1 + away), 0.8 * size)]
        labels.put(f"clamp {number}, {format_length(height, units)} high", spots, size=0.8 * size, named=shape,
                   fill=CLAMP_EDGE)


def inlay_areas(
    view: View, clamping: Clamping, opened: Sequence[BaseGeometry],
    seen: Callable[[BaseGeometry], BaseGeometry] = lambda shape: shape,
) -> Iterator[Element]:
    """The drawings in their own colours as far as they are `opened`, as they are `seen`; dashed what stays closed."""
    for inlay, pocket in zip(clamping.inlays, opened, strict=True):
        for colour, shape in inlay.regions:
            small = shapely.simplify(shape, 0.02)
            if stays_closed(shape, pocket):
                yield area(view, seen(small), stroke=PALE, stroke_width=0.15, stroke_dasharray="0.6 0.4",
                           class_="closed")
                small = overlay.intersection(small, pocket)
            yield area(view, seen(small), fill=colour, stroke=INK, stroke_width=0.15)


@remembered
def stays_closed(shape: BaseGeometry, pocket: BaseGeometry) -> bool:
    """Whether so much of a drawn shape is not opened in one place that it would be seen, more than what a round cutter
    leaves of corners."""
    closed = shapely.get_parts(overlay.buffer(overlay.difference(shape, pocket), -_FILM / 2))
    x0, y0, x1, y1 = shapely.bounds(closed).T
    return bool(((shapely.area(closed) >= _SEEN) | (np.hypot(x1 - x0, y1 - y0) >= _LONG)).any())


def closed_words(clamping: Clamping, opened: Sequence[BaseGeometry]) -> str:
    """What dashed lines of a drawing mean, where there are any."""
    closed = any(stays_closed(shape, pocket) for inlay, pocket in zip(clamping.inlays, opened, strict=True)
                 for _, shape in inlay.regions)
    return "Dashed, without its colour: drawn, but not cut, as no cutter of its inlay fits in." if closed else ""


def _blank_and_part(view: View, clamping: Clamping, size: float) -> Iterator[Element]:
    blank, board = shapely.box(*clamping.stock.bounds), clamping.board
    yield area(view, blank, fill=BLANK, stroke=PALE, stroke_width=size / 12, stroke_dasharray=f"{size / 2} {size / 3}")
    cutter = clamping.cutter(Outline)
    if cutter is not None:
        yield area(view, overlay.buffer(cutting_line(board.outline, cutter), cutter.radius), fill=CUT_AWAY)
    yield area(view, wood_in_plan(board), fill=WOOD, stroke=INK, stroke_width=size / 18, class_="board")
    if board.finished.area > board.outline.area + 1e-6:
        yield area(view, board.finished, stroke=INK, stroke_width=size / 30, stroke_dasharray=f"{size / 5} {size / 7}",
                   class_="finished")


def _finishing_reach(view: View, clamping: Clamping, paths: Sequence[Toolpath], size: float) -> Iterator[Element]:
    for step, path in zip(clamping.steps, paths, strict=False):
        if step.operation.finishes and not step.operation.levels:
            swept = overlay.buffer(shapely.MultiPoint(path.points[:, :2]).convex_hull, step.cutter.radius)
            yield area(view, swept, stroke=PALE, stroke_width=size / 14, stroke_dasharray=f"0 {size / 4}")


def _slots(view: View, clamping: Clamping) -> Iterator[Element]:
    marked, nut = clamping.board.landmarks, clamping.feature(NutSlot)
    cut = [step.operation.feature for step in clamping.steps if type(step.operation) is Slot]
    for number, drawn, width in [(s.number, s.lines, s.width) for s in cut] or [(marked.number, marked.ends, 0.25)]:
        for name, run in zip(number.tolist(), drawn, strict=True):
            yield lines(view, [run], decimals=4, stroke=INK, stroke_width=width, class_=f"landmark landmark-{name}",
                        stroke_linecap="butt")
    if nut is not None:
        yield lines(view, nut.lines, decimals=4, stroke=NUT_SLOT, stroke_width=nut.width, stroke_linecap="butt",
                    class_="nut-slot")


def _numbers(labels: Labels, clamping: Clamping, size: float) -> None:
    """Over the upper edge; left out where they would run into the one before, or into the last, which is there."""
    lines_across = clamping.board.landmarks
    upper = np.take_along_axis(lines_across.edges, lines_across.edges[:, :, 1:].argmax(axis=1)[:, None], 1)[:, 0]
    above, free = clamping.stock.bounds[3] + 0.4 * size, -np.inf
    apart, last = 1.15 * size, float(upper[-1, 0]) if len(upper) else 0.0
    for number, x in zip(lines_across.number.tolist(), upper[:, 0].tolist(), strict=True):
        if x == last or free <= x <= last - apart:
            free = x + apart
            labels.put(str(number), [(x, above, "middle")], size=0.8 * size)


def _cut_through(view: View, clamping: Clamping, size: float) -> Iterator[Element]:
    """Holes and openings in the part, what is cut out of a sheet; as hidden lines what is open in the underside."""
    for operation in (step.operation for step in clamping.steps):
        if isinstance(operation, CutOut | RoundHoles):
            yield area(view, operation.leaves_open(0.0), stroke=INK, stroke_width=0.3, class_="bore")
    if (cut := clamping.feature(CutPieces)) is not None:
        yield area(view, cut.shapes, fill=BLANK, stroke=INK, stroke_width=0.2, class_="piece")
    for sunk in sunk_of(clamping):
        yield area(view, sunk.shape, stroke=INK, stroke_width=0.3, stroke_dasharray=f"{size / 3} {size / 4}",
                   class_="sunk")


def _holes(view: View, clamping: Clamping, size: float) -> Iterator[Element]:
    """Holes for dowels and screws as discs, witness marks as crosses in a ring."""
    under = clamping.under.feature(DowelHoles) if clamping.under else None  # each lies under itself or its mate
    if (holes := clamping.feature(DowelHoles) or clamping.feature(SideDots) or under) is not None:
        for x, y in view(holes.at).tolist():
            yield element("circle", cx=x, cy=y, r=holes.diameter / 2, fill=INK, class_="hole")
    if (marks := clamping.feature(WitnessMarks)) is not None:
        yield from crosses(view, marks.places, size)


def crosses(view: View, places: Floats, size: float) -> Iterator[Element]:
    """Witness marks as crosses in a ring."""
    for x, y in view(places).tolist():
        r = size / 4
        cross = f"M{x - r:.2f},{y:.2f}h{2 * r:.2f}M{x:.2f},{y - r:.2f}v{2 * r:.2f}"
        yield element("g", element("circle", cx=x, cy=y, r=r), element("path", d=cross), stroke=INK,
                      stroke_width=size / 16, class_="mark")


def _thin_wood(view: View, clamping: Clamping, opened: Sequence[BaseGeometry], size: float) -> Iterator[Element]:
    """A ring round each place of wood that is too thin to stand, of many the thinnest of each kind."""
    for thin in (thin for places in by_kind(clamping, opened) for thin in places[:_MOST_RINGS]):
        (x, y), what = view(thin.at)[0], f"{format_length(thin.width, clamping.units)} between {thin.between}"
        yield element("circle", element("title", f"thin wood: {what}"), cx=x, cy=y, r=1.1 * size, stroke=CLAMP_EDGE,
                      stroke_width=size / 6, class_="thin-wood")


def _tab_triangles(tabs: Floats | None, size: float) -> Iterator[BaseGeometry]:
    for x, y in [] if tabs is None else tabs.tolist():
        out = np.sign(y) * size
        yield shapely.Polygon([(x, y), (x - size / 3, y + 0.7 * out), (x + size / 3, y + 0.7 * out)])


def clamp_from_above(view: View, shape: BaseGeometry, size: float) -> Element:
    """A clamp, hatched."""
    x0, y0, x1, y1 = shape.bounds
    reach = max(x1 - x0, y1 - y0) * 2
    starts = np.arange(x0 - reach, x1, size / 1.6)
    hatch = overlay.intersection(
        shapely.linestrings([[(x, y0), (x + reach, y0 + reach)] for x in starts.tolist()]), shape)
    strokes = [shapely.get_coordinates(h) for h in hatch if not h.is_empty]
    return element("g",
                   area(view, shape, fill=CLAMP, stroke=CLAMP_EDGE, stroke_width=size / 14),
                   lines(view, strokes, stroke=CLAMP_EDGE, stroke_width=size / 24),
                   class_="clamp")


def _ends(labels: Labels, clamping: Clamping, size: float) -> None:
    """Over the part where there is room for both, else beside each other to its left and right."""
    board, ends = clamping.board, (clamping.board.names.near, clamping.board.names.far)
    anchors = ("start", "end") if wide(" ".join(ends), size) < board.length else ("end", "start")
    for name, x, anchor in zip(ends, (board.start, board.start + board.length), anchors, strict=True):
        labels.put(name, [(x, _above(clamping, size), anchor)], size=size)


def _sides(labels: Labels, clamping: Clamping, size: float) -> None:
    """In the middle; beside what has a name there."""
    board, below = clamping.board, clamping.stock.bounds[1] - 1.3 * size
    places = board.start + board.length * (0.5 + _ASIDE)
    for name, y in zip(board.names.sides or (), (below, _above(clamping, size)), strict=False):
        labels.put(f"{name} side", [(x, y, "middle") for x in places.tolist()], size=size)


def _above(clamping: Clamping, size: float) -> float:
    """The row over the numbers."""
    return clamping.stock.bounds[3] + 1.6 * size


def _zero(view: View, clamping: Clamping, size: float) -> Iterator[Element]:
    """A target at X 0, Y 0 of the programs, where it lies in the picture, and the machine's axes."""
    if not shows_zero(clamping):
        return
    (x, y), r = view(_zero_of(clamping))[0], 0.7 * size
    yield element("circle", cx=x, cy=y, r=r, fill="#ffffff", stroke=INK, stroke_width=size / 10, class_="zero")
    yield element("path", d=f"M{x:.2f},{y:.2f}v{-r:.2f}a{r:.2f},{r:.2f} 0 0 1 {r:.2f},{r:.2f}z"
                            f"M{x:.2f},{y:.2f}v{r:.2f}a{r:.2f},{r:.2f} 0 0 1 {-r:.2f},{-r:.2f}z", fill=INK)
    ends = clamping.to_board(np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]))[:, :2]
    yield from axes(view, clamping.stock.bounds[1], np.round(ends[1:] - ends[0]), size)


def shows_zero(clamping: Clamping) -> bool:
    """Whether X 0, Y 0 lies in the picture from above: that of a part on a common blank may lie far off its share."""
    (x, y), (x0, y0, x1, y1) = clamping.zero, clamping.stock.bounds
    return clamping.shared is None or (x0 <= x <= x1 and y0 <= y <= y1)


def axes(view: View, low: float, ways: Floats, size: float) -> Iterator[Element]:
    """The machine's X and Y, (2, 2) ways in the picture: two arrows in the left margin, where nothing lies under them.
    `low` is the lower edge of what the picture shows."""
    corner = np.array([view.left + 0.3 * size, low - 0.6 * size])
    corner += np.maximum(-ways.sum(axis=0), 0.0) * [_AXIS * size, 0.0]  # one that points left begins further right
    for name, way in zip("XY", ways, strict=True):
        tip, square = corner + _AXIS * size * way, np.array([-way[1], way[0]])
        foot = tip - 0.6 * size * way
        yield lines(view, [np.array([corner, foot])], stroke=INK, stroke_width=size / 8)
        yield area(view, shapely.Polygon([tip, foot + 0.3 * size * square, foot - 0.3 * size * square]), fill=INK)
        aside = np.array([0.4 * way[0], -0.35] if way[1] == 0 else [0.0, 0.25 if way[1] > 0 else -0.95]) * size
        yield words(view, tip + aside, name, size=0.9 * size, font_weight="bold")
