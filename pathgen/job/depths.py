"""Is each inlay as deep as the wood under it, its cutters and their flutes allow?"""

from __future__ import annotations

import math

import numpy as np
import shapely

from pathgen.base.cutters import Cutter
from pathgen.base.errors import JobError
from pathgen.base.units import falls_short, left_words, place_words, rounded_down, rounded_up
from pathgen.job.job import Job
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.top import taken
from pathgen.parts.flat.part import FlatPart
from pathgen.parts.keys import LEAST_POCKET
from pathgen.programs.shanks import BESIDE, RUBS
from pathgen.work.features import Inlay
from pathgen.work.thin_wood import or_less

_STEEPEST = 0.3  # of the slope of a v's flank: there it opens nearly twice as far uphill as downhill


def check_depth(inlay: Inlay, board: Fingerboard | FlatPart, job: Job) -> None:
    """Raise JobError for a pocket with too little wood under it, or deeper than a flute of its cutters."""
    shortest, (leave, ridges) = min(_cutters(job, inlay), key=lambda one: one.flute_length), _stands(job, inlay)
    uphill = float(board.surface.slope(*shapely.get_coordinates(inlay.area).T).max()) * (shortest.radius + BESIDE)
    reached, surely = (shortest.flute_length - leave - max(one - RUBS, 0.0) for one in (ridges, ridges + uphill))
    goes = surely >= LEAST_POCKET
    _wood_under(inlay, board, surely if goes else math.inf)
    if inlay.depth > reached + 1e-9:
        above = shortest.flute_length - reached
        raise JobError(
            f"{inlay.name} depth", f'{inlay.depth + above:.4g} mm is deeper than the flute of "{shortest.name}", '
            f"{shortest.flute_length:g} mm" + f"; {above:.4g} mm of that is over the finished surface" * (above > 0.0),
            allowed=f"depth {rounded_down(surely):g} mm or less" if goes else
            f"flutes of {rounded_up(inlay.depth + above):g} mm or more",
            remedy="name a longer cutter" + ", or make depth as allowed" * goes)


def check_sharp(inlay: Inlay, board: Fingerboard | FlatPart, job: Job) -> None:
    """Raise JobError for a v cutter so blunt that on the board's slope it opens nearly twice as far uphill as down."""
    vs = [cutter for cutter in _cutters(job, inlay) if cutter.shape == "v"]
    if not vs:
        return
    points, blunt = shapely.get_coordinates(inlay.area), min(vs, key=lambda cutter: cutter.wall_slope)
    slopes = board.surface.slope(points[:, 0], points[:, 1])
    worst = int(np.argmax(slopes))
    if slopes[worst] > _STEEPEST * blunt.wall_slope:
        degrees = np.degrees(np.arctan([slopes[worst], _STEEPEST / slopes[worst]])).tolist()
        raise JobError(
            f"{inlay.name} cutters", f'"{blunt.name}", a v of {blunt.angle:g} degrees, is too blunt near '
            f"{place_words(*points[worst].tolist())}, where the {board.names.part} slopes {degrees[0]:.1f} degrees",
            allowed=f"{math.floor(2.0 * degrees[1])} degrees or less there",
            remedy="take a sharper v cutter, or place the drawing nearer to the centre-line")


def _wood_under(inlay: Inlay, board: Fingerboard | FlatPart, reached: float) -> None:
    """Raise JobError where a pocket leaves too little wood; `reached` is as deep as its cutters go."""
    points = shapely.get_coordinates(inlay.area)
    web = board.surface.height(points[:, 0], points[:, 1]) - inlay.depth
    worst = int(np.argmin(web))
    if not falls_short(float(web[worst]), board.min_web):
        return
    place = f"near {place_words(*points[worst].tolist())}"
    if isinstance(board, Fingerboard):
        place = f"after fret {int(np.searchsorted(board.frets.distance[board.frets.number > 0], points[worst, 0]))}"
    takes, less = taken(board.surface, web, points[:, 0], board.min_web)
    most = rounded_down(min(inlay.depth - board.min_web + web[worst], reached))
    raise JobError(
        f"{inlay.name} depth",
        f"the pocket {left_words(web[worst])} {'under it' if web[worst] > -0.005 else 'the underside'} {place}{takes}",
        allowed=f"min_web {board.min_web:g} mm or more",
        remedy=f"make depth {most:.2f} mm or less{less}{or_less(board.min_web)}" if most >= LEAST_POCKET else
        f"make min_web smaller, or the {board.names.part} thicker: no depth leaves so much")


def _cutters(job: Job, inlay: Inlay) -> list[Cutter]:
    return [job.cutter(name, f"{inlay.name} cutters") for name in job.inlays[inlay.index].cutters]


def _stands(job: Job, inlay: Inlay) -> tuple[float, float]:
    """How high wood, and ridges on it, stand over the finished surface when an inlay is cut, mm."""
    if job.surface is None:
        return 0.0, 0.0
    leave = job.surface.leave if any(later.fill != "none" for later in job.inlays[inlay.index :]) else 0.0
    return leave, job.surface.leave_ridges if leave else job.surface.scallop or 0.0
