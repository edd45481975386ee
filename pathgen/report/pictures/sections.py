"""Sections across the board: curve, pockets, fill, slots and what is left under them, heights exaggerated."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.markup import Element, element
from pathgen.base.picture import BLANK, INK, PALE, WOOD, View, area, lines, words
from pathgen.base.units import fine_length
from pathgen.programs.plan import Plan
from pathgen.verify import Verification
from pathgen.verify.both_sides import below_of
from pathgen.verify.simulate import OPENED
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay
from pathgen.work.operations import Slot
from pathgen.work.part import wood_in_plan
from pathgen.work.underside import sunk_of

RISE = 4.0
"""How much heights are exaggerated."""
_INSIDE = 1e-6  # how far inside the board's ends sections lie, mm: a rounded corner is wider further in
_HOLLOW = 40.0  # mm: how far in from an end a whole section is looked for
_TIP = 0.3  # of the part's width: narrower at an end, it is the tip of a part that ends in a point or a round
_WORDS, _WORD = 16.0, 6.0  # sizes of words that the three thicknesses of a piece take, and that one does
STEP = 0.25
"""Spacing of points along a curve, mm."""


@dataclass(frozen=True, kw_only=True)
class Section:
    """A place to look across the board, and what it is called."""

    name: str
    x: float
    inlay: int | None = None


def rise_of(clamping: Clamping) -> float:
    """How many times as high the work is drawn: a thick one as it is."""
    board = clamping.board
    wide = board.outline.bounds[3] - board.outline.bounds[1]
    return RISE if RISE * board.surface.thickness < min(board.length / 3, wide) else 1.0


def rise_words(clamping: Clamping) -> str:
    """How heights are drawn."""
    rise = rise_of(clamping)
    return f"drawn {rise:g} times as high" if rise > 1 else "true"


def sections_of(clamping: Clamping) -> tuple[Section, ...]:
    """At the nut, where each inlay is widest across, and at the end: as far out as the board has its full width. None
    of a part that stands on its edge, or of flat stock that nothing is cut into: there is nothing to see."""
    board = clamping.board
    if board.surface.thickness > board.outline.bounds[3] - board.outline.bounds[1]:
        return ()
    if board.surface.is_flat and not clamping.inlays and not sunk_of(clamping) and clamping.feature(Slot) is None:
        return ()
    plan = wood_in_plan(board)
    near = _in_one_piece(plan, float(board.ends[0][:, 0].max()) + _INSIDE, 1)
    far = _in_one_piece(plan, float(board.ends[1][:, 0].min()) - _INSIDE, -1)
    inlays = [Section(name=inlay.name, x=widest_across(inlay), inlay=i) for i, inlay in enumerate(clamping.inlays)]
    inlays += [Section(name=sunk.name, x=(sunk.shape.bounds[0] + sunk.shape.bounds[2]) / 2)
               for sunk in sunk_of(clamping)]
    return (Section(name=f"the {board.names.near}", x=near), *inlays,
            Section(name=f"the {board.names.far}", x=far))


def _in_one_piece(plan: shapely.Geometry, end: float, inward: int) -> float:
    """The first place from an end inward where a section is one wide piece: past a hollow or a tip at the end."""
    tried = end + inward * np.arange(0.0, _HOLLOW, STEP)
    _, low, _, high = plan.bounds
    found = ((x, spans(plan, x)) for x in tried.tolist())
    return next((x for x, parts in found if len(parts) == 1 and np.ptp(parts) > _TIP * (high - low)), end)


def widest_across(inlay: Inlay) -> float:
    """X at which most of an inlay lies across the board."""
    x0, y0, x1, y1 = inlay.area.bounds
    xs = np.linspace(x0, x1, 102)[1:-1]
    cuts = overlay.intersection(_across(xs, y0 - 1, y1 + 1), inlay.area.simplify(0.1))
    return float(xs[int(np.argmax(shapely.length(cuts)))])


def section_picture(clamping: Clamping, section: Section) -> Element:
    """The board cut across, seen from its end toward the nut, + Y right; widths true, heights `rise_of` times so."""
    x, stock = section.x, clamping.stock
    proud = max([i.overfill for i in clamping.inlays if i.fill != "none"], default=0.0)
    top = max(stock.thickness, clamping.board.surface.thickness + proud)
    size = stock.width / 30
    view = View.around((stock.bounds[1], 0.0, stock.bounds[3], top), 2.2 * size, rise=rise_of(clamping))
    return view.picture(
        f"Section across the {clamping.board.names.part} at {section.name}, "
        f"heights {rise_words(clamping)}",
        *_bed(view, clamping, size),
        *_wood(view, clamping, x),
        *(part for inlay in clamping.inlays for part in _pocket(view, clamping, inlay, x)),
        *_slot_floor(view, clamping, x, size),
        *_sunk(view, clamping, x),
        *_sizes(view, clamping, x, size),
        *_sides(view, clamping, size))


def _sides(view: View, clamping: Clamping, size: float) -> Iterator[Element]:
    if clamping.board.names.sides is None:
        return
    left, right = clamping.board.names.sides
    for name, y, anchor in ((left, clamping.stock.bounds[1], "start"), (right, clamping.stock.bounds[3], "end")):
        yield words(view, [y, -1.4 * size / view.rise], name, size=size, text_anchor=anchor, fill=PALE)


def least_under(planned: Plan, checked: Verification, inlay: Inlay) -> float:
    """Least wood under all pockets of an inlay as cut, mm: under what its cutters leave closed none is taken."""
    clamping = planned.clamping
    tips = [path.points[:, 2].min() for step, path in zip(clamping.steps, planned.paths, strict=True)
            if step.operation.opens is inlay]
    if clamping.under is not None and checked.under is not None:
        below = below_of(checked.under.simulation, clamping.stock.thickness)
        tips += [(cut.floor - below.bottom[cut.window])[
            (cut.removed > OPENED) & ~below.through[cut.window]].min(initial=np.inf)
                 for cut in checked.simulation.poured if cut.inlay.index == inlay.index]
    return float(min(tips))


def spans(shape: shapely.Geometry, x: float) -> Floats:
    """(n, 2) from and to, in y, of the parts of an area that a section at x crosses; none of one that is empty."""
    if shape.is_empty:  # such as what of a drawing lies over the channel
        return np.empty((0, 2))
    _, y0, _, y1 = shape.bounds
    crossing = overlay.intersection(_across(np.array([x]), y0 - 1, y1 + 1)[0], shape)
    parts = [p for p in shapely.get_parts(crossing) if p.geom_type == "LineString" and p.length > 1e-6]
    return np.array([sorted(shapely.get_coordinates(p)[[0, -1], 1]) for p in parts]).reshape(-1, 2)


def _across(xs: Floats, low: float, high: float) -> NDArray[np.object_]:
    ends = np.stack([np.stack([xs, np.full_like(xs, low)], 1), np.stack([xs, np.full_like(xs, high)], 1)], 1)
    return np.asarray(shapely.linestrings(ends))


def _bed(view: View, clamping: Clamping, size: float) -> Iterator[Element]:
    stock = clamping.stock
    blank = shapely.box(stock.bounds[1], 0.0, stock.bounds[3], stock.thickness)
    yield area(view, blank, fill=BLANK, stroke=PALE, stroke_width=size / 14, stroke_dasharray=f"{size / 2} {size / 3}")
    yield lines(view, [np.array([[view.left, 0.0], [view.right, 0.0]])], stroke=INK, stroke_width=size / 8)


def _wood(view: View, clamping: Clamping, x: float) -> Iterator[Element]:
    for low, high in spans(wood_in_plan(clamping.board), x):
        y = _steps(low, high)
        curve = np.stack([y, clamping.finished_surface.height(x, y)], axis=1)
        shape = shapely.Polygon([(low, 0.0), *curve.tolist(), (high, 0.0)])
        yield area(view, shape, decimals=3, fill=WOOD, stroke=INK, stroke_width=0.25, class_="wood")


def _pocket(view: View, clamping: Clamping, inlay: Inlay, x: float) -> Iterator[Element]:
    first, finished = clamping.board.surface, clamping.finished_surface
    flat = all(step.cutter.is_flat for step in clamping.steps if step.operation.opens is inlay)
    for colour, shape in inlay.regions:
        for low, high in spans(shape, x):
            y = _steps(low, high, step=STEP if flat else STEP / 4)
            floor, top = first.height(x, y) - inlay.depth + _raised(clamping, inlay, x, y), finished.height(x, y)
            cut = shapely.Polygon(np.concatenate([np.stack([y, floor], 1), np.stack([y, top], 1)[::-1]]))
            yield area(view, cut, decimals=3, fill="#ffffff" if inlay.fill == "none" else colour, stroke=INK,
                       stroke_width=0.2, class_="pocket")
            above = inlay.overfill if inlay.piece is None else inlay.piece - inlay.depth
            if inlay.fill != "none" and above > 0:
                proud = np.stack([y, first.height(x, y) + above], axis=1)
                yield lines(view, [proud], decimals=3, stroke=INK, stroke_width=0.2, stroke_dasharray="0.6 0.6")


def _raised(clamping: Clamping, inlay: Inlay, x: float, y: Floats) -> Floats:
    """(n,) how far a pocket's floor lies over its depth: beside walls that v cutters and ball ends leave sloping."""
    own = clamping.cutters_of(inlay)
    sloping = [cutter for cutter in own if not cutter.is_flat]
    if not sloping:
        return np.zeros(len(y))
    reach = 1.0 + 2 * max(cutter.diameter for cutter in own)
    near = overlay.intersection(inlay.area, shapely.box(x - reach, y.min() - reach, x + reach, y.max() + reach))
    places = shapely.points(np.full(len(y), x), y)
    aside = shapely.distance(shapely.boundary(near), places)
    raised = np.min([one.profile(np.maximum(float(one.half_width(inlay.depth)) - aside, 0.0)) for one in sloping],
                    axis=0)
    for cutter in own:
        if cutter.is_flat:
            opened = overlay.buffer(overlay.buffer(near, -cutter.radius), cutter.radius)
            raised[shapely.covers(opened, places)] = 0.0
    return np.minimum(raised, inlay.depth)


def _slot_floor(view: View, clamping: Clamping, x: float, size: float) -> Iterator[Element]:
    """The bottom of a slot that lay here, where bottoms follow the curve."""
    slots = clamping.feature(Slot)
    if slots is None or slots.bottom != "curve":
        return
    short = slots.short or 0.0
    for low, high in spans(wood_in_plan(clamping.board), x):
        y = _steps(low + short, high - short)
        floor = np.stack([y, clamping.finished_surface.height(x, y) - slots.depth], axis=1)
        yield lines(view, [floor], decimals=3, stroke=INK, stroke_width=size / 10, stroke_dasharray=f"0 {size / 4}",
                    class_="slot-floor")


def _sizes(view: View, clamping: Clamping, x: float, size: float) -> Iterator[Element]:
    """Thickness in the middle and at the edges, where there is room, and the width."""
    units, surface = clamping.units, clamping.finished_surface
    middle = (clamping.stock.bounds[1] + clamping.stock.bounds[3]) / 2
    for low, high in spans(wood_in_plan(clamping.board), x):
        if high - low < _WORD * size or not low < middle < high:
            continue
        z = float(surface.height(x, middle))
        yield lines(view, [np.array([[middle, 0.0], [middle, z]])], stroke=INK, stroke_width=size / 16)
        places = ((low, "start", 0.4), (middle, "middle", 0.0), (high, "end", -0.4))
        for y, anchor, aside in places if high - low >= _WORDS * size else places[1:2]:
            yield words(view, [y + aside * size, 0.4 * size / view.rise],
                        fine_length(float(surface.height(x, y)), units), size=size, text_anchor=anchor,
                        paint_order="stroke", stroke=WOOD, stroke_width=size / 3)
        yield words(view, [middle, -1.4 * size / view.rise], f"{fine_length(high - low, units)} wide", size=size)
    yield element("desc", f"{fine_length(x, units)} along")


def _sunk(view: View, clamping: Clamping, x: float) -> Iterator[Element]:
    """What is open in the underside."""
    for sunk in sunk_of(clamping):
        for low, high in spans(sunk.shape, x):
            yield area(view, shapely.box(low, 0.0, high, sunk.depth), decimals=3, fill="#ffffff", stroke=INK,
                       stroke_width=0.25, class_="sunk")


def _steps(low: float, high: float, *, step: float = STEP) -> Floats:
    return np.linspace(low, high, max(2, int(np.ceil((high - low) / step)) + 1))
