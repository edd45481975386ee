"""The board in figures: the fret table with the wood left at each fret, the surface under each string, places for side
dots, the fretting sheet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.plain import rounded, rounded_point
from pathgen.base.surface import Surface
from pathgen.parts.fingerboard.dots import is_octave
from pathgen.parts.fingerboard.fretting import FretWire, fretting, past_binding, wire_faults
from pathgen.parts.fingerboard.layout import centre_crossings
from pathgen.parts.fingerboard.neck import neck_rows
from pathgen.parts.fingerboard.nut import cross_radii
from pathgen.parts.fingerboard.scale import cents_off
from pathgen.parts.fingerboard.stringing import Strings, crossed, on_outer_strings, stringing_data, strings_at
from pathgen.parts.fingerboard.top import bow_under, string_lines
from pathgen.work.features import Inlay, Slots
from pathgen.work.operations import NutSlot, Slot
from pathgen.work.underside import Sunk, sunk_of

if TYPE_CHECKING:
    from pathgen.parts.fingerboard.part import Fingerboard
    from pathgen.work.clamping import Clamping, Machine

_EVERY = 1.0  # spacing of the points along an inlay's edge where the wood under it is measured, mm


def board_rows(board: Fingerboard, clamping: Clamping) -> dict[str, Any]:
    """What report.json says of a board: frets, strings, side dots; fretting, stringing and neck where known."""
    fittings, slots, layout = board.fittings, clamping.feature(Slot), board.layout
    wire, strings = fittings.wire, fittings.string_set
    # every fretted note against its open string, on the centre-line
    lower = 1200.0 * math.log2((layout.to_bridge + layout.nut_offset) / layout.to_bridge)
    return {
        "frets": _fret_rows(board, clamping),
        "board": {"bass_side": board.bass_side,
                  "nut": nut_row(board, clamping.feature(NutSlot), clamping.finished_surface),
                  "behind_nut": rounded(board.behind_nut), "binding": board.binding,
                  "nut_offset": layout.nut_offset, "nut_offset_cents": rounded(lower, 3)},
        "strings": string_rows(board, fittings.strings),
        "side_dots": dot_rows(board, fittings.side_dots),
        "fretting": fretting_data(board, slots, wire) if wire else None,
        "stringing": strung_data(board, strings, wire) if strings else None,
        "neck": neck_rows(fittings.neck, board) if fittings.neck else None,
    }


def nut_row(board: Fingerboard, slot: Slots | None, surface: Surface) -> dict[str, Any]:
    """Where the nut's face meets the edges of the cut board, and its slot or shelf on the centre-line: mm."""
    bass, treble = board.nut_line
    row: dict[str, Any] = {"bass": rounded_point(bass), "treble": rounded_point(treble), "slot": None}
    if slot is not None:
        middle, (run, rise) = float(centre_crossings(slot.lines)[0]), slot.lines[0, 1, :2] - slot.lines[0, 0, :2]
        half = slot.width / 2 * math.hypot(run, rise) / abs(float(rise))
        row["slot"] = {"along": [rounded(middle - half), rounded(middle + half)],
                       "depth": slot.depth, "deepest": rounded(float(slot.deepest(surface)[0]), 3),
                       "bottom": slot.bottom,
                       "shelf": None if slot.on_part is None else rounded(slot.on_part)}
    return row


def _fret_rows(board: Fingerboard, clamping: Clamping) -> list[dict[str, Any]]:
    """A row for each fret, lengths in mm.

    distance from the nut; bass and treble, where its line meets the edges of the cut board; ends, where the fret
    itself ends; depth of its slot, and where it is deepest, under the crown of a level one; cents that it sounds off
    at most on an outer string when the machine rounds its place and does not come back to it exactly;
    width of the finished and of the cut board along the fret; least wood at the edges, under the slot, and under the
    pockets between the fret before and this one.
    """
    frets, slots, machine = board.frets, clamping.feature(Slot), clamping.machine
    if not len(frets):
        return []
    edge, slot, pocket = wood_left(board, slots=slots, inlays=clamping.inlays, finished=clamping.finished_surface,
                     sunk=sunk_of(clamping))
    cents = _cents(board, machine)
    deepest = slots.deepest(clamping.finished_surface) if slots else np.full(len(frets), np.nan)
    edges = np.stack([frets.bass, frets.treble], axis=1)
    cut_width, finished_width = (np.linalg.norm(one[:, 1] - one[:, 0], axis=1)
                                 for one in (edges, past_binding(board, edges)))
    return [
        {
            "fret": int(frets.number[i]), "distance": rounded(frets.distance[i]), "bass": rounded_point(frets.bass[i]),
            "treble": rounded_point(frets.treble[i]), "ends": [rounded_point(end) for end in frets.ends[i]],
            "depth": slots.depth if slots else None, "deepest": rounded(deepest[i], 3), "cents": rounded(cents[i], 4),
            "width": rounded(finished_width[i]), "cut_width": rounded(cut_width[i]),
            "wood": {"edge": rounded(edge[i], 3), "slot": rounded(slot[i], 3), "pocket": rounded(pocket[i], 3)},
        }
        for i in range(len(frets))
    ]


def _cents(board: Fingerboard, machine: Machine) -> Floats:
    """(n,) the most that each fret sounds off on either outer string, by where the machine puts its slot.

    A slot that slants is rounded at both ends, and what is off across moves it along the strings too.
    """
    outer, frets, step = on_outer_strings(board.layout), board.frets, machine.resolution
    at, way = outer[frets.number], outer[-1] - outer[0]
    unit, run = way / np.linalg.norm(way, axis=1, keepdims=True), at[:, 1] - at[:, 0]
    rounding = np.abs(np.round(frets.distance / step) * step - frets.distance)
    rounding = np.full(len(at), step / 2) if board.layout.fanned else rounding
    off = np.abs(run) * (machine.repeatability + np.stack([np.full(len(at), step / 2), rounding], axis=1))
    along = off.sum(axis=1, keepdims=True) / np.abs(unit[:, 0] * run[:, 1:] - unit[:, 1] * run[:, :1])
    return np.asarray(cents_off(np.linalg.norm(outer[-1] - at, axis=2), 0.0, along).max(axis=1))


def string_rows(board: Fingerboard, count: int) -> list[dict[str, Any]]:
    """For each of `count` strings, bass first, spaced by [strings] or else evenly: how far across it crosses the lines
    of the nut and the last fret, which slant on a fanned board, and how bowed the surface is under it.

    `bow` is how far the surface stands above (below, negative) a straight edge laid under the string from the nut to
    the last fret, mm.
    """
    layout, given = board.layout, board.fittings.string_set
    lines = string_lines(layout.strings, count, (0.0, float(board.frets.distance[-1])), board.bass_side) \
        if given is None else strings_at(layout, given, (0, len(layout.lines) - 1))
    bow = bow_under(lines, board.surface)
    at_nut, at_last = (crossed(lines, layout.lines[nth])[:, 1] for nth in (0, -1))
    return [
        {"string": i + 1, "at_nut": rounded(at_nut[i]), "at_last_fret": rounded(at_last[i]), "bow": rounded(bow[i], 6)}
        for i in range(count)
    ]


def dot_rows(board: Fingerboard, frets: Sequence[int]) -> list[dict[str, Any]]:
    """Side dots: how many, where on the bass edge, and how far along that edge from the nut line.

    The edge is the finished board's, its binding on, which they are drilled into.

    A dot stands midway between its fret and the one before; two stand at each octave, a third and two thirds of the
    way, on either side of the middle (common practice, no source). `at` and `along_edge` are the middle, `each` has
    every dot's own.
    """
    edge = past_binding(board, board.crossings)[:, 0]
    rows = []
    for fret in sorted(set(frets)):
        if fret < len(edge):
            shares = (1 / 3, 2 / 3) if is_octave(board.layout, fret) else (1 / 2,)
            middle, *each = (_on_edge(edge, fret, share) for share in (1 / 2, *shares))
            rows.append({"fret": fret, "dots": len(shares), **middle, "each": each})
    return rows


def fretting_data(board: Fingerboard, slots: Slots | None, wire: FretWire) -> dict[str, Any]:
    """A row for each fret, mm; the wire, and what of it does not suit the slots."""
    sheet = fretting(board, slots, wire)
    return {
        "wire": _wire(wire),
        "wires": [
            {"size": i, "frets": sheet.number[sheet.size == i].tolist(), "total": rounded(sheet.totals[i], 1),
             **_wire(one)}
            for i, one in enumerate(wire.wires) if i in sheet.size
        ],
        "overhang": wire.overhang, "waste": wire.waste, "total": rounded(sheet.totals.sum(), 1), **_aslant(board),
        "frets": [
            {"fret": int(sheet.number[i]), "size": int(sheet.size[i]),
             "length": rounded(sheet.length[i], 3), "tang": rounded(sheet.tang[i], 3),
             "nipped": [rounded(v, 3) for v in sheet.nipped[i]], "radius": rounded(sheet.radius[i], 2),
             "bend": rounded(sheet.bend[i], 2)}
            for i in range(len(sheet.number))
        ],
        "faults": [dict(zip(("where", "got", "allowed", "remedy"), fault, strict=True))
                   for fault in wire_faults(wire, slots)],
    }


def _wire(wire: FretWire) -> dict[str, float]:
    return {"tang": wire.tang.width, "tang_depth": wire.tang.depth, "studs": wire.tang.studs,
            "crown_width": wire.crown.width, "crown_height": wire.crown.height}


def _aslant(board: Fingerboard) -> dict[str, bool]:
    """That radii along frets, nut and saddle are not those square across: of fanned frets alone."""
    return {"aslant": True} if board.layout.fanned else {}


def strung_data(board: Fingerboard, strings: Strings, wire: FretWire | None) -> dict[str, Any]:
    """The strings at nut and saddle, and the board's radius under both."""
    crown = wire.wire_of(int(board.frets.number[0])).crown.height if wire else None
    rows = cross_radii(board) | _aslant(board) | stringing_data(board.layout, strings, crown=crown)
    on_zero_fret = board.frets.number[0] == 0 and strings.clear <= 0
    return rows | ({"under_zero_fret": rounded(-strings.clear)} if on_zero_fret else {})


def _on_edge(edge: Floats, fret: int, share: float) -> dict[str, Any]:
    """A place on the bass edge, by its share of the way from the fret before."""
    at = edge[fret - 1] + share * (edge[fret] - edge[fret - 1])
    return {"at": rounded_point(at), "along_edge": rounded(float(np.linalg.norm(at - edge[0])))}


def wood_left(
    board: Fingerboard, *, slots: Slots | None, inlays: Sequence[Inlay], finished: Surface | None, sunk: Sequence[Sunk]
) -> tuple[Floats, Floats, Floats]:
    """The least wood for each fret, mm, or NaN: (n,) at the edges of the board in line with it, where the curve has
    dropped most; (n,) under its slot; (n + 1,) under the pockets between the fret before (or the nut) and it, past the
    last fret in the last place.

    Slots are measured from the `finished` surface, pockets from the first; `sunk` is what is open in the underside.
    """
    surface = finished or board.surface
    frets = board.frets
    edge = np.min([surface.height(p[:, 0], p[:, 1]) for p in (frets.bass, frets.treble)], axis=0)
    # Both surfaces are lowest at the outer ends of a slot's line.
    slot = slots.floors(surface) if slots is not None else np.full(len(frets), np.nan)
    pocket = np.full(len(frets) + 1, np.nan)
    for k, space in enumerate(_spaces(board)):
        for inlay in inlays:
            pocket[k] = np.fmin(pocket[k], _under(inlay.area, space, board.surface) - inlay.depth)
            for below in sunk:
                both = overlay.intersection(inlay.area, below.shape)
                pocket[k] = np.fmin(pocket[k], _under(both, space, board.surface) - inlay.depth - below.depth)
    if slots is not None:
        for below in sunk:
            slot = np.fmin(slot, _over(slots, below, surface))
    return edge, slot, pocket


def _spaces(board: Fingerboard) -> list[shapely.Polygon]:
    """The spaces before, between and after the frets, far out to both sides."""
    lines = np.stack([board.frets.bass, board.frets.treble], axis=1)
    run = lines[:, 1] - lines[:, 0]
    lines = np.stack([lines[:, 0] - run, lines[:, 1] + run], axis=1)
    x0, _, x1, _ = board.outline.bounds
    out = x1 - x0
    first = np.array([[x0 - out, lines[0, 0, 1]], [x0 - out, lines[0, 1, 1]]])
    last = np.array([[x1 + out, lines[-1, 0, 1]], [x1 + out, lines[-1, 1, 1]]])
    every = np.concatenate([first[None], lines, last[None]])
    return [shapely.Polygon([a[0], b[0], b[1], a[1]]) for a, b in pairwise(every)]


def _under(area: BaseGeometry, space: shapely.Polygon, surface: Surface) -> float:
    """The lowest that the surface is over the part of an area in one space: somewhere on its edge."""
    part = overlay.intersection(area, space)
    points = shapely.get_coordinates(shapely.segmentize(part, _EVERY))
    return float(np.min(surface.height(points[:, 0], points[:, 1]))) if len(points) else float("nan")


def _over(slots: Slots, below: Sunk, surface: Surface) -> Floats:
    """(n,) least wood between each slot and what is open under it; NaN where nothing is."""
    out = np.full(len(slots.lines), np.nan)
    for k, (line, floor) in enumerate(zip(slots.lines, slots.floors(surface), strict=True)):
        points = shapely.get_coordinates(overlay.intersection(shapely.linestrings(line), below.shape))
        if len(points):
            bottom = surface.height(points[:, 0], points[:, 1]) - slots.depth if slots.bottom == "curve" else floor
            out[k] = np.min(bottom) - below.depth
    return out
