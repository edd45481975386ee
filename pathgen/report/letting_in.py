"""The pieces let in, in the report: how they differ from the drawing, and the stock they take."""

from __future__ import annotations

from typing import Any

import shapely

from pathgen.base.plain import joined
from pathgen.base.units import area_words, coarse_length, format_length, rounded_down, ruled
from pathgen.programs.plan import Plan
from pathgen.strategies.matching import under_the_edges


def piece_data(planned: Plan, index: int) -> dict[str, Any]:
    """Keys ``piece`` and ``piece_thickness`` of an inlay's entry; nothing where the job says nothing of pieces.

    `stock` is the largest length and width that any colour takes, and the thickness; `colours` has each colour's own.
    ``fits`` is true in every report: a plan with a piece that does not fit is refused.
    """
    if not planned.asked.let_ins or not planned.asked.let_ins[index]:
        return {}
    made = planned.asked.let_ins[index]
    colours = [{
                   "colour": colour, "pieces": int(shapely.get_num_geometries(one.piece)),
                   "stock": [round(one.size[0], 2), round(one.size[1], 2), one.thickness],
                   "lost_area": round(one.lost.area, 4), "gained_area": round(one.gained.area, 4),
               }
               for colour, one in made]
    return {
        "piece_thickness": made[0][1].thickness,
        "piece": {
            "gap": made[0][1].gap,
            "lost_area": round(sum(one.lost.area for _, one in made), 4),
            "gained_area": round(sum(one.gained.area for _, one in made), 4),
            # beside the drawing too
            "opened_area": round(planned.pockets[index][-1].opened.area, 4),
            "pieces": sum(colour["pieces"] for colour in colours),
            "stock": [max(c["stock"][axis] for c in colours) for axis in range(3)],
            "under_edges": round(off_the_floor(planned, index), 4),
            "fits": True,
            "colours": colours,
        },
    }


def off_the_floor(planned: Plan, index: int) -> float:
    """How far flat pieces stand off an inlay's curved floor at their long edges, at most, mm; 0 without pieces."""
    inlay, made = planned.clamping.inlays[index], planned.asked.let_ins[index] if planned.asked.let_ins else ()
    pieces = [one.piece for _, one in made] or [inlay.area] * (inlay.fill == "piece")
    return max((under_the_edges(piece, planned.clamping.surface) for piece in pieces), default=0.0)


def stock_words(inlay: dict[str, Any], units: str) -> str:
    """How thick what is let in may be, where the job says no more of it than how far it may stand proud."""
    # in a pocket as deep as it is then: as thick they would stand as far out as they may, on a floor at its depth
    most = inlay["piece_thickness"]
    least, most = most - inlay["overfill"], most - inlay["floor_high"]
    shown = [format_length(v, units) for v in (least, max(rounded_down(most, units), least))]
    return f"{shown[0]} thick" if shown[0] == shown[1] else f"thicker than {shown[0]}, {shown[1]} at most"


def piece_line(inlay: dict[str, Any], units: str) -> str:
    """One inlay's pieces in words."""
    piece = inlay["piece"]
    thick, gap = format_length(piece["stock"][2], units), format_length(piece["gap"], units)
    of_each = [(one["pieces"], one["colour"], *(coarse_length(ruled(v, units), units) for v in one["stock"][:2]))
               for one in piece["colours"]]
    sheets = [f"{count} piece{'s' if count > 1 else ''} of {colour} from stock of {length} by {width}"
              for count, colour, length, width in of_each]
    edges = " At their long edges the curved floor falls up to " \
            f"{format_length(piece['under_edges'], units)} below the flat pieces: bed them in glue." \
        if piece["under_edges"] else ""
    return (
        f"{inlay['name']}: {joined(sheets)}, {thick} thick, glued in with a gap of {gap}; pathgen pieces cuts them. "
        "They fit their pockets everywhere. Of the drawing "
        f"{area_words(piece['lost_area'], units)} are too narrow for the cutters; "
        f"{area_words(piece['gained_area'], units)} more are cut beside it, where wood would stand too sharp or too "
        f"narrow for the pieces to go round it.{edges}"
    )
