"""The part that a job describes, and what is cut into it, as values: board or plate, slots, holes, outline."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base.errors import JobError
from pathgen.base.units import INCH, format_length, rounded_up
from pathgen.job.board_tables import BoardTable
from pathgen.job.flat import flat_part_of
from pathgen.job.job import Job
from pathgen.job.outlines import as_cut, closed_by_cutter, drawn_outline, inner_corners, middled
from pathgen.job.tables import HolesTable, SlotsTable
from pathgen.parts.fingerboard.board import fingerboard, nut_slot, slots
from pathgen.parts.fingerboard.dots import usual_frets
from pathgen.parts.fingerboard.part import Fingerboard, Fittings
from pathgen.parts.flat.part import FlatPart
from pathgen.work.features import Holes, OutlineCut, Slots, tab_height
from pathgen.work.part import Part, lowest_edge

_BEHIND_ZERO_FRET = 3.0  # how far behind a zero fret the nut stands, mm (common practice, no source)
_TAB = {"mm": OutlineCut.tab_height, "in": 0.06 * INCH}  # usual height of tabs, mm
_INTO_BED = 0.5  # how far below the blank holes go where the job does not say, mm

LEAST_IN_BED = 3.0
"""How far dowels must go into the spoilboard to hold, mm; common practice, no source."""

_BESIDE_TANG = 1.0  # least wood between a zero fret's slot and the nut's, mm (common practice, no source)


def part_of(job: Job) -> Fingerboard | FlatPart:
    """The board, or the plate, that a job describes. Raises JobError for a job of several parts."""
    if job.parts:
        raise JobError(job.path.name, "is a job of several parts", allowed="the job of one part",
                       remedy=f"name the file of one of them: {', '.join(dict.fromkeys(p.job for p in job.parts))}; "
                              "all are built by pathgen build, in Python by build_blank")
    return flat_part_of(job) if job.board is None else board_of(job)


def board_of(job: Job) -> Fingerboard:
    """The board that a job describes. Raises JobError for a job of a plate."""
    table = _board_table(job)
    outline_cutter = job.cutter(job.outline.cutter, "[outline] cutter") if job.outline else None
    if table.bound and not table.binding:
        raise JobError("[board] bound", "true, but binding is 0", remedy="give binding, its thickness")
    if not (table.frets or table.ratios):
        raise JobError("[board]", "frets is missing", remedy="add frets: how many frets")
    board = fingerboard(replace(table, frets=table.frets or len(table.ratios)), outline=_drawn_outline(job),
                        inner_radius=outline_cutter.radius if outline_cutter else 0.0)
    _over_centre_line(job, board)
    dots = usual_frets(board.layout) if table.side_dots is None else table.side_dots
    return replace(board, fittings=Fittings(
        strings=table.strings, side_dots=dots, wire=job.frets, string_set=job.strings, neck=job.neck,
    ))


def _over_centre_line(job: Job, board: Fingerboard) -> None:
    """Raise JobError for a drawn outline to one side of the strings at the nut, or at every fret: a tongue is none."""
    across = np.vstack([board.nut_line[:, 1], np.column_stack([board.frets.bass[:, 1], board.frets.treble[:, 1]])])
    beside = np.abs(np.sign(across).sum(axis=1)) > 1
    at = 0 if beside[0] else 1
    if not (board.drawn and (beside[0] or beside[1:].all())) or job.outline is None:
        return
    near, far = (format_length(one, job.units) for one in sorted(np.abs(across[at]).tolist()))
    side = "bass" if np.sign(across[at, 0]) == board.bass_side else "treble"
    raise JobError(
        "[outline] artwork", f"the drawn outline lies on the {side} side alone at "
        f"{f'fret {board.frets.number[at - 1]}' if at else 'the nut'}, {near} to {far} from the centre-line",
        allowed="an outline on both sides of it at the nut and at every fret",
        remedy=f"put its middle on it: write {middled(job, job.outline, board.outline)}")


def _board_table(job: Job) -> BoardTable:
    if job.board is None and job.parts:
        part_of(job)  # refuses it
    if job.board is None:
        raise JobError(job.path.name, f"is the job of a {job.body_name}: it has no frets, no strings and no radius",
                       allowed="a job with [board]", remedy="name the job of a fingerboard")
    return job.board


def slots_of(job: Job, board: Fingerboard) -> Slots | None:
    """The fret slots that a job asks for."""
    table = job.slots
    if table is None:
        return None
    binding, bound = _board_table(job).binding, _board_table(job).bound
    at_binding = table.ends == "binding"
    if at_binding and not binding:
        raise JobError("[slots] ends", '"binding", but the board has none', remedy="give [board] binding")
    width = _slot_width(job, table)
    return slots(
        board, width=width, depth=table.depth,
        short=table.ends if isinstance(table.ends, float) else None, bevel=table.bevel,
        # A binding that is glued on later closes slots that are cut through the narrower board.
        within=binding if at_binding and bound else None,
        cutter_radius=min(job.cutter(table.cutter, "[slots] cutter").diameter, width) / 2,
        bottom=table.bottom, entry=table.entry,
    )


def _slot_width(job: Job, table: SlotsTable) -> float:
    return table.width or job.cutter(table.cutter, "[slots] cutter").diameter


def slot_width(job: Job) -> float:
    """How wide the fret slots open at the surface, mm; 0 where none are cut."""
    return _slot_width(job, job.slots) + 2 * job.slots.bevel if job.slots else 0.0


def crown_width(job: Job) -> float:
    """How wide the widest fret is, mm; 0 where its wire is not known."""
    return max(wire.crown.width for wire in job.frets.wires) if job.frets else 0.0


def nut_behind(job: Job) -> float:
    """How far the nut's front stands behind the nut line, mm."""
    usual = _BEHIND_ZERO_FRET if _board_table(job).zero_fret else 0.0
    return usual if job.nut is None or job.nut.behind is None else job.nut.behind


def nut_of(job: Job, board: Fingerboard) -> Slots | None:
    """The slot or shelf for the nut that a job asks for."""
    table = job.nut
    if table is None:
        return None
    behind = nut_behind(job)
    if _board_table(job).zero_fret:
        least = max(crown_width(job), slot_width(job) + 2 * _BESIDE_TANG) / 2
        if behind < least:
            raise JobError("[nut] behind", f"{format_length(behind, job.units)} is too near the zero fret",
                           allowed=f"{rounded_up(least):.2f} mm or more: clear of the fret's crown, and with "
                           f"{_BESIDE_TANG:g} mm of wood between its slot and the nut's",
                           remedy="make it more" + (f", or leave it out for {_BEHIND_ZERO_FRET:g} mm" if table.behind
                                                    and least <= _BEHIND_ZERO_FRET else ""))
    return nut_slot(board, width=table.width, depth=table.depth, bottom=table.bottom, entry=table.entry,
                    shelf_least=job.cutter(table.cutter, "[nut] cutter").diameter, behind=behind)


def holes_of(job: Job) -> Holes | None:
    """The holes that a job asks for."""
    table = job.holes
    if table is None:
        return None
    return Holes(at=np.array(table.at), diameter=table.diameter or job.cutter(table.cutter, "[holes] cutter").diameter,
                 bottom=-into_bed(job, table) if table.depth is None else job.stock.thickness - table.depth)


def into_bed(job: Job, table: HolesTable) -> float:
    """How far holes go below the blank: as stated, or as deep as the dowels of a blank that turns over need."""
    if table.through is not None:
        return table.through
    return LEAST_IN_BED if job.channel is not None else _INTO_BED


def outline_of(job: Job, part: Part) -> OutlineCut | None:
    """How the outline of a part is cut."""
    table = job.outline
    if table is None:
        return None
    tabs = table.tabs if table.tabs is not None else (0 if table.skin else OutlineCut.tabs)
    if tabs and table.skin:
        raise JobError("[outline]", "tabs and skin are both given", remedy="keep one of them")
    high = tab_height(table.tab_height, lowest_edge(part), usual=_TAB[job.units])
    return OutlineCut(tabs=tabs, tab_height=high, tab_width=table.tab_width, through=table.through, skin=table.skin,
                      finish=table.finish, all_round=job.board is None)


def _asked_outline(job: Job) -> Polygon | None:
    """As it is drawn; None where it is not."""
    table = job.outline
    if table is not None and table.artwork is not None:
        return drawn_outline(job, table, "[outline]")
    for name in ("place", "artwork_layers"):
        if getattr(table, name, None):
            raise JobError(f"[outline] {name}", "without a drawing", remedy="give artwork, or leave it out")
    return None


def _drawn_outline(job: Job) -> Polygon | None:
    """As its cutter leaves it."""
    asked = _asked_outline(job)
    return None if asked is None else as_cut(job, asked, closed_by_cutter(job, asked), "[outline] artwork")


def drawn_corners(job: Job) -> BaseGeometry:
    """What the outline's cutter leaves standing where a drawn board turns inward, in plan; empty where it is little."""
    cut, asked = _drawn_outline(job), _asked_outline(job)
    return Polygon() if cut is None or asked is None else inner_corners(cut, asked)
