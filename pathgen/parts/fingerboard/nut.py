"""The nut and the saddle seen from the bridge: the board's curve there, and where the strings cross it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.lowered import Lowered
from pathgen.base.plain import rounded
from pathgen.base.surface import Surface
from pathgen.base.units import rounded_down
from pathgen.parts.fingerboard.ends import chord_across
from pathgen.parts.fingerboard.layout import nutward
from pathgen.parts.fingerboard.stringing import Strings, edge_to_string, on_outer_strings, string_places
from pathgen.parts.fingerboard.top import radius_under

if TYPE_CHECKING:
    from pathgen.parts.fingerboard.part import Fingerboard


_SAG = 5e-4  # how far the straight pieces of the curve lie inside it, at most, mm


@dataclass(frozen=True, eq=False, kw_only=True)
class CrossLine:
    """The board's curve along the nut's or the saddle's line, mm."""

    curve: Floats
    """(n, 2) from the bass end to the treble end: along the line, 0 in the middle of it; over the place where the line
    crosses the centre-line, so 0 or less."""
    strings: Floats
    """(n, 2) where each string crosses it, bass first, on that curve."""
    radius: float
    """Of the curve where it crosses the centre-line; infinite for a flat board."""


def nut_curve(
    board: Fingerboard, strings: Strings | None, *, past: float, behind: float = 0.0, thick: float = 0.0
) -> CrossLine:
    """Along the front of a nut `thick` mm, `behind` mm behind the nut line, from edge to edge and `past` mm outside.

    Both its faces reach so far past the finished board's edges, as they are written and as they are drawn: of a slanted
    nut each end lies past its longer one.
    """
    back, layout = nutward(board.layout.lines[0]), board.layout
    front = layout.lines[0] + behind * back
    unit = (front[1] - front[0]) / np.linalg.norm(front[1] - front[0])
    faces = np.stack([front, front + thick * back])
    ends = [layout.edges.across(faces, board.bass_side)]
    ends += [chord_across(board.finished, faces)] if board.drawn else []
    bass, treble = ((np.concatenate(ends) - front[0]) @ unit).T
    return _curve(board, front[0] + np.outer([np.nanmin(bass), np.nanmax(treble)], unit), strings, past,
                  "[nut_blank] overhang")


def saddle_curve(board: Fingerboard, strings: Strings | None, *, past: float) -> CrossLine:
    """Along the bridge, from `past` (mm) outside the one outer string to as far outside the other.

    The board's radius is carried on past its end in the same straight line, without relief and fall-away.
    """
    return _curve(board, on_outer_strings(board.layout)[-1], strings, past, "[saddle_blank] overhang")


def _beyond_the_radius(surface: Surface, low: float, half: float, past: float, where: str) -> JobError:
    """That a curve from `half` mm to `half` mm, `past` mm of it overhang, has a radius of no more than `low`."""
    most = low / 1.05
    spare = rounded_down(most - (half - past))
    remedy = (f"make it {spare:.2f} mm or less" if spare > 0 else
              "the board's radius shrinks toward its end: make the radii (or the widths that they follow) closer to "
              "each other" if low < surface.radius_nut else "make the radius larger, or the strings lie closer there")
    over = f"over a radius of {low:.2f} mm" if low > 0 else "where the board's radius has shrunk to nothing"
    return JobError(where, f"reaches {half:.2f} mm to each side, {over}", remedy=remedy,
                    allowed=f"less than {most:.2f} mm to each side" if low > 0 else "a radius that is left there")


def _curve(board: Fingerboard, line: Floats, strings: Strings | None, past: float, where: str) -> CrossLine:
    surface = board.surface.above if isinstance(board.surface, Lowered) else board.surface
    run = line[1] - line[0]
    unit = run / np.linalg.norm(run)
    middle, half = (line[0] + line[1]) / 2, float(np.linalg.norm(run)) / 2 + past
    low = float(np.min(surface.radius(middle[0] + np.array([-half, half]) * unit[0])))
    if low <= 1.05 * half:
        raise _beyond_the_radius(surface, low, half, past, where)

    def over_crest(at: Floats) -> Floats:
        points = middle + at[:, None] * unit
        return np.asarray(surface.height(points[:, 0], points[:, 1]) - surface.thickness)

    steepest = 1.0 - (half / low) ** 2  # a curve of radius R bends by up to (1 - s^2)^-1.5 / R in plan
    step = math.sqrt(8.0 * _SAG * low * steepest**1.5) if math.isfinite(low) else 2 * half
    at = np.linspace(-half, half, math.ceil(2 * half / step) + 1)
    outer = board.layout.strings.across(line[None], board.bass_side)[0]
    count = len(strings.gauges) if strings else board.fittings.strings
    places = string_places(strings.gauges if strings else np.zeros(count), float(np.linalg.norm(outer[1] - outer[0])),
                           strings.spacing if strings else "centres", strings.course if strings else None,
                           inset=edge_to_string(board.layout))
    crossed = float((outer[0] - middle) @ unit) + places
    return CrossLine(
        curve=np.column_stack([at, over_crest(at)]), strings=np.column_stack([crossed, over_crest(crossed)]),
        radius=float(radius_under(line[None], board.surface)[0]),
    )


def cross_radii(board: Fingerboard) -> dict[str, float | None]:
    """Radius of the board's curve under the nut's and the saddle's line, mm; None for a flat board.

    At the saddle it is the board's, carried on past its end in the same straight line.
    """
    lines = {"radius_at_nut": board.layout.lines[0], "radius_at_saddle": board.layout.bridge}
    return {name: rounded(radius_under(line[None], board.surface)[0], 3) for name, line in lines.items()}


def nut_top(strings: Strings, crown: float) -> tuple[float, float]:
    """Of the nut over the board, mm: its top, and the bottoms of its slots under it.

    Where no height is stated half of the thickest string stands out.
    """
    bottom = crown + strings.clear
    return strings.nut_height or bottom + max(strings.gauges) / 2, bottom
