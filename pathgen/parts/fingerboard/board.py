"""The part from a maker's numbers: the board with its frets, its fret slots and the slot of its nut."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.errors import JobError
from pathgen.base.surface import Surface
from pathgen.base.units import SUMS, rounded_down, rounded_up
from pathgen.parts.fingerboard.ends import board_outline, chord_across, end_points
from pathgen.parts.fingerboard.layout import Edges, Layout, board_layout, centre_crossings, crossing_refused, nutward
from pathgen.parts.fingerboard.numbers import BoardNumbers, EndTable, PartialFretTable
from pathgen.parts.fingerboard.part import Fingerboard, Frets
from pathgen.parts.fingerboard.scale import equal_shares, ratio_shares
from pathgen.parts.fingerboard.top import end_radius, lowered
from pathgen.work.features import Bottom, Entry, Slots

_LEAST_BEHIND_ZERO_FRET = 2.0  # wood needed between a zero fret and the board's end, mm


def fingerboard(numbers: BoardNumbers, *, outline: Polygon | None = None, inner_radius: float = 0.0) -> Fingerboard:
    """The board from a maker's numbers (mm).

    `outline` is the cut board from a drawing, instead of long edges and ends; `inner_radius` the radius that the
    outline's cutter leaves in corners that point inward. Raises JobError for numbers that do not go together.
    """
    shares = ratio_shares(numbers.ratios, numbers.frets) if numbers.ratios else equal_shares(
        np.arange(1, numbers.frets + 1), numbers.divisions)
    layout = board_layout(numbers, shares=shares, straight_share=_straight_share(numbers, shares))
    binding = 0.0 if numbers.bound else numbers.binding  # the board is cut narrower for one that is glued on later
    cut = layout.edges.inset(binding)
    if min(cut.half_width(0.0), cut.half_width(layout.length)) <= 0:
        raise JobError("[board] binding", f"{binding:g} mm on each side leaves no wood", remedy="make it thinner",
                       allowed=f"less than {min(numbers.nut_width, numbers.end_width) / 2:g} mm")
    end = layout.lines[-1] + [layout.length - centre_crossings(layout.lines[-1:])[0], 0.0]

    def shape(edges: Edges) -> Polygon:
        nut = layout.lines[0] - [numbers.behind_nut, 0.0]
        return board_outline(edges, nut, end, nut=numbers.nut_end, end=numbers.end, bass_side=layout.bass_side,
                             inner=inner_radius)

    stated = cut.across(layout.lines, layout.bass_side)
    crossing_refused(stated)
    whole = shape(cut) if outline is None else outline
    finished = shape(layout.edges) if outline is None else overlay.buffer(outline, binding, join_style="mitre")
    edges = _edge_crossings(layout, cut, whole)
    ending = end_points(cut, end, numbers.end if outline is None else EndTable(), layout.bass_side)[[0, -1]]
    if outline is not None:
        met = chord_across(outline, end[None])[0]
        ending = np.where(np.isnan(met), ending, met)
    top = Surface(
        thickness=numbers.thickness, radius_nut=numbers.radius.nut, radius_end=end_radius(numbers.radius, layout),
        length=layout.length,
    )
    return Fingerboard(
        surface=lowered(top, layout, numbers.relief, numbers.fall_away),
        outline=whole, finished=finished, edges=cut, frets=_frets(layout, edges, numbers),
        nut_line=(stated if outline is None else edges)[0], end_line=ending, drawn=outline is not None,
        length=layout.length, min_web=numbers.min_web, layout=layout, behind_nut=numbers.behind_nut, binding=binding,
        bound=numbers.binding if numbers.bound else 0.0,
    )


def slots(
    board: Fingerboard, *, width: float, depth: float, short: float | None = None,
    bottom: Bottom = "curve", bevel: float = 0.0, within: float | None = None,
    entry: Entry | None = None, cutter_radius: float | None = None,
) -> Slots:
    """The board's fret slots: through both edges, or stopping `short` (mm) of each, along the fret.

    With `within` (mm) they stop that far inside the edges of the cut board, measured square to the edge: at a
    binding that is already on, which their round ends only touch, of a cutter of `cutter_radius` (half the width where
    it is left out), also where they slant to it. Partial frets end where they end. Raises JobError for slots that leave
    nothing, that lie all in the binding at a drawn end, or that meet.
    """
    frets = board.frets
    lines = frets.ends.copy()
    if within is not None:
        radius = width / 2 if cutter_radius is None else cutter_radius
        reached = _rounded_within(board, frets.ends, within, width / 2 - radius, radius)
        lines = np.where(frets.full[..., None], reached, frets.ends)
        if np.isnan(lines).any():
            fret = int(frets.number[np.isnan(lines).any(axis=(1, 2))][0])
            raise JobError("[slots] ends", f"fret {fret} lies in the {within:g} mm of binding at the drawn board's end",
                           allowed=f"more than {within:g} mm of board past the outermost frets",
                           remedy="draw the board longer, or make fewer frets")
        short = within
    elif short is not None:
        unit = (frets.ends[:, 1] - frets.ends[:, 0]) / _spans(frets.ends)[:, None]
        lines = lines + np.where(frets.full, short, 0.0)[..., None] * np.stack([unit, -unit], axis=1)
    elif board.drawn:
        lines = np.where(frets.full[..., None], _widest(board, lines, width), lines)
        if np.isnan(lines).any():
            fret = int(frets.number[np.isnan(lines).any(axis=(1, 2))][0])
            of = f"fret {fret}" if fret else "the zero fret"
            raise JobError("[outline] artwork", f"the slot of {of} runs past the drawn outline",
                           allowed="wood under the whole slot",
                           remedy="correct the drawing's place, or draw it longer there")
    _too_short_refused(frets, lines, width, short or 0.0)
    made = Slots(number=frets.number, lines=lines, width=width, depth=depth, short=short, bottom=bottom, bevel=bevel,
                 through=frets.full & (short is None), entry=entry, counted="fret")
    _meeting_refused(made)
    return made


def nut_slot(
    board: Fingerboard, *, width: float | None, depth: float, bottom: Bottom = "flat",
    entry: Entry | None = None, shelf_least: float = 0.0, behind: float = 0.0,
) -> Slots:
    """The slot for the nut, its front `behind` the nut line, `width` along the board; None: a shelf to the board's end.

    Lengths in mm, square to the nut line. A shelf is cut past the board's end, and at least `shelf_least` wide, for a
    cutter of that diameter. Raises JobError where the board ends too near for it.
    """
    square = nutward(board.nut_line)
    slant = -float(square[0])
    if board.drawn:
        runs_on = float(((shapely.get_coordinates(board.outline) - board.nut_line[0]) @ square).max())
        least, longer = "", "move its drawing, or draw it longer behind the nut face"
    else:
        runs_on = board.behind_nut * slant
        wanted = f"{rounded_up((width + behind) / slant):.2f} mm or more" if width else f"above {behind:g} mm"
        least = f"[board] behind_nut {wanted}"
        longer = "make behind_nut in [board] longer: how far the board runs on behind the nut face"
    room = runs_on - behind
    if room <= 0:
        ends = f"{runs_on:.2f} mm behind the nut face" if runs_on > 0 else "at the nut face"
        front = f"{behind:g} mm behind it" if behind else "there too"
        raise JobError("[nut]", f"the board ends {ends}, and the nut's front is {front}",
                       allowed=least, remedy=longer)
    on_part = room if width is None else None
    if width is None:
        width = max(room + _SHELF_OVERRUN, shelf_least)
    elif width > room + _ROUNDING:
        raise JobError("[nut] width", f"{width:g} mm, and the board ends {room:.2f} mm behind the nut's front",
                       allowed=", or ".join(filter(None, [f"{rounded_down(room):.2f} mm or less", least])),
                       remedy=longer)
    middle = board.nut_line[None] + square * (behind + width / 2)
    lines = _widest(board, middle, width) if board.drawn else board.across(middle)
    return Slots(number=np.array([0]), lines=lines, width=width, depth=depth, bottom=bottom, entry=entry,
                 name="the nut's slot" if on_part is None else "the nut's shelf", on_part=on_part)


def _rounded_within(board: Fingerboard, lines: Floats, within: float, aside: float, radius: float) -> Floats:
    """(n, 2, 2) how far slots on `lines` go whose round ends, of a cutter that runs up to `aside` mm beside them, touch
    what lies `within` mm inside the edges; NaN where a line misses that."""
    run = lines[:, 1] - lines[:, 0]
    unit = run / np.linalg.norm(run, axis=1, keepdims=True)
    beside = aside * (unit @ [[0.0, 1.0], [-1.0, 0.0]])[:, None]
    met = np.array([board.across(lines + side * beside, inset=within + radius) for side in (-1.0, 1.0)])
    along = np.einsum("anij,nj->ani", met - lines[:, :1], unit)
    ends = np.stack([along[..., 0].max(axis=0) - radius, along[..., 1].min(axis=0) + radius], axis=1)
    return np.asarray(lines[:, :1] + ends[..., None] * unit[:, None])


def _widest(board: Fingerboard, middles: Floats, width: float) -> Floats:
    """(n, 2, 2) the ends on the `middles` of slots of all that they cross, `width` mm, of a drawn board."""
    run = middles[:, 1] - middles[:, 0]
    unit = run / np.linalg.norm(run, axis=1, keepdims=True)
    aside = width * np.linspace(-0.5, 0.5, 9)[:, None, None, None] * (unit @ [[0.0, 1.0], [-1.0, 0.0]])[:, None]
    met = board.across((middles + aside).reshape(-1, 2, 2)).reshape(9, -1, 2, 2)
    along = np.einsum("anij,nj->ani", met - middles[:, :1], unit)
    ends = np.stack([np.fmin.reduce(along, axis=(0, 2)), np.fmax.reduce(along, axis=(0, 2))], axis=1)
    return np.asarray(middles[:, :1] + ends[..., None] * unit[:, None])


_ROUNDING = 1e-6  # by how much a slot that ends just at the board's end may seem to end past it, mm
_SHELF_OVERRUN = 1.0  # how far a nut shelf is cut past the board's end, mm


def _straight_share(numbers: BoardNumbers, shares: Floats) -> float:
    straight_fret = numbers.scale_length.straight_fret
    if not numbers.ratios:
        return float(equal_shares(straight_fret, numbers.divisions))
    # Between the frets of a list, as far in pitch as the fret's fraction says.
    pitch = np.concatenate([[0.0], -np.log1p(-shares)])
    return float(-np.expm1(-np.interp(straight_fret, np.arange(len(pitch)), pitch)))


def _edge_crossings(layout: Layout, cut: Edges, outline: Polygon) -> Floats:
    """(n + 1, 2, 2) where nut and frets meet an outline; the nut the straight long edges where it misses that."""
    chords = chord_across(outline, layout.lines)
    gone = np.isnan(chords[:, 0, 0])
    if gone[0] and cut.half_width(0.0) > 0:
        chords[0] = cut.across(layout.lines[:1], layout.bass_side)[0]
    if gone[1:].any():
        fret = int(np.argmax(gone[1:])) + 1
        x = float(centre_crossings(layout.lines[fret][None])[0])
        if x < outline.bounds[0] or not gone[fret + 1:].all():
            raise JobError("[outline] artwork", f"the drawn outline misses fret {fret}, {x:.2f} mm from the nut",
                           allowed=f"an outline that every fret crosses; it lies {outline.bounds[0]:.2f} to "
                                   f"{outline.bounds[2]:.2f} mm from the nut",
                           remedy="correct its place, or draw it longer")
        raise JobError("[board] frets", f"fret {fret}, {x:.2f} mm from the nut, is past the board's end",
                       allowed=f"{rounded_down(outline.bounds[2]):.2f} mm or less",
                       remedy="make fewer frets or a longer board")
    return chords


def _frets(layout: Layout, edges: Floats, numbers: BoardNumbers) -> Frets:
    """The frets on lines that meet the edges there, (n + 1, 2, 2), the nut's first."""
    behind_nut = numbers.behind_nut
    if numbers.zero_fret and behind_nut < _LEAST_BEHIND_ZERO_FRET:
        raise JobError("[board] zero_fret", f"the board runs {behind_nut:g} mm behind it",
                       allowed=f"behind_nut {_LEAST_BEHIND_ZERO_FRET:g} mm or more", remedy="make behind_nut longer")
    first = 0 if numbers.zero_fret else 1
    ends, full = edges.copy(), np.ones((len(edges), 2), dtype=bool)
    for entry in numbers.partial_frets:
        if not first <= entry.fret < len(edges):
            raise JobError("[board] partial_frets", f"fret {entry.fret} is not on the board",
                           allowed=f"{first} to {len(edges) - 1}", remedy="correct its number")
        ends[entry.fret], full[entry.fret] = _partial(ends[entry.fret], entry, layout.bass_side)
    return Frets(number=np.arange(first, len(edges)), distance=centre_crossings(layout.lines)[first:],
                 bass=edges[first:, 0], treble=edges[first:, 1], ends=ends[first:], full=full[first:])


def _partial(ends: Floats, entry: PartialFretTable, bass_side: int) -> tuple[Floats, Bools]:
    """A fret's line cut down to a range across the board; whether each end is still at the edge."""
    y = np.array(entry.across) * -bass_side
    share = (y - ends[0, 1]) / (ends[1, 1] - ends[0, 1])
    full = np.array([share[0] <= 0, share[1] >= 1])
    share = np.clip(share, 0.0, 1.0)
    if share[1] <= share[0]:
        low, high = ends[:, 1] * -bass_side
        raise JobError("[board] partial_frets", f"fret {entry.fret} from {entry.across[0]:g} to {entry.across[1]:g} mm",
                       allowed=f"a range that meets the board, {low:.2f} mm, its bass edge, to {high:.2f} mm",
                       remedy="correct it")
    return ends[0] + share[:, None] * (ends[1] - ends[0]), full


def _too_short_refused(frets: Frets, lines: Floats, width: float, short: float) -> None:
    """Raise JobError where a slot on one of `lines` is no longer than it is wide."""
    spans, at_edges = _spans(frets.ends), frets.full.sum(axis=1)
    if np.any(spans <= width):
        i = int(np.argmax(spans <= width))
        raise JobError("[board] partial_frets", f"fret {frets.number[i]} is {spans[i]:.2f} mm long, and its slot "
                       f"{width:g} mm wide", allowed=f"more than {width:g} mm", remedy="make it longer")
    forward = np.einsum("ij,ij->i", lines[:, 1] - lines[:, 0], frets.ends[:, 1] - frets.ends[:, 0])
    if np.any(forward <= width * spans):
        most = float(np.min((spans - width)[at_edges > 0] / at_edges[at_edges > 0]))  # a partial fret's own ends stay
        raise JobError("[slots] ends", f"{short:g} mm short of each edge leaves no slot",
                       allowed=f"{rounded_down(most - SUMS):.2f} mm or less", remedy="make it shorter")


def _spans(ends: Floats) -> Floats:
    return np.asarray(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1))


def _meeting_refused(made: Slots) -> None:
    lines = shapely.linestrings(made.lines)
    gap = shapely.distance(lines[1:], lines[:-1]) - made.width
    if len(gap) and gap.min() <= 0:
        i = int(np.argmin(gap))
        raise JobError(
            "[slots] width", f"the slots of frets {made.number[i]} and {made.number[i + 1]} meet: their lines are "
            f"{gap[i] + made.width:.3f} mm apart", allowed=f"slots narrower than that, not {made.width:g} mm",
            remedy="make fewer frets or narrower slots")
