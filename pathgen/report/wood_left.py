"""Wood that is left: where it is too thin to stand, and between both sides of a blank; as data and in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from shapely.geometry.base import BaseGeometry

from pathgen.base.plain import rounded
from pathgen.base.units import fine_length, format_length, place_words, rounded_up
from pathgen.parts.tools import Coupon
from pathgen.programs.turning import dowel_length
from pathgen.verify import Verification
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping
from pathgen.work.operations import DowelHoles
from pathgen.work.thin_wood import BESIDE_SLOT, BETWEEN_POCKETS, MEET, THIN, by_kind, more_places, what_to_do
from pathgen.work.underside import wood_over


def wall_words(width: float, at: tuple[float, float], units: str) -> str:
    """The narrowest wall of wood in words: whether it stands, and what is no wall."""
    if width < MEET:
        return f"none, they touch at {place_words(*at, units)}."
    stands = f": thinner than {format_length(THIN, units)}, it breaks out" if width < THIN else ""
    place = place_words(*at, units)
    return f"{fine_length(width, units)}, at {place}{stands}. Tips of wood in acute corners are not counted."


def thin_wood_findings(clamping: Clamping, opened: Sequence[BaseGeometry]) -> list[Finding]:
    """A warning with its places for the wood of each kind that does not stand; beside slots the verifier looks.

    `opened` is what is opened of each inlay. A test piece has none of its own: details are cut there without the
    stages that cut wood away or have filled it.
    """
    cut = all(map(clamping.cut_before, clamping.inlays))
    return [] if isinstance(clamping.board, Coupon) else [
        Finding(
            code="thin-wood", severity="warn", where=place_words(*thin.at), allowed=f"{rounded_up(thin.needed):g} mm",
            got=f"{thin.wide} of wood is left standing between {thin.between}{more_places(more)}",
            remedy=what_to_do([thin, *more]))
        for thin, *more in by_kind(clamping, opened)
        if thin.between != BESIDE_SLOT and not (cut and thin.between == BETWEEN_POCKETS)
    ]


def thin_wood_words(clamping: Clamping, opened: Sequence[BaseGeometry]) -> str:
    """What the rings of a picture show; nothing where there is no thin wood."""
    units = clamping.units
    found = [f"{format_length(thin.width, units)} between {thin.between}, {place_words(*thin.at, units)}"
             f"{f', and {len(more)} more' if more else ''}" for thin, *more in by_kind(clamping, opened)]
    return f"Red rings: wood so thin that it breaks out, {'; '.join(found)}." if found else ""


def both_sides_data(clamping: Clamping, checked: Verification) -> dict[str, Any] | None:
    """The least wood by the formula, under each thing that crosses the channel, and in the simulation; mm, mm3."""
    dowels = clamping.under.feature(DowelHoles) if clamping.under else None
    if dowels is None:
        return None
    between = checked.between
    return {
        "wood": [{"under": over.under, "least": rounded(over.least, 4), "at": [rounded(v, 3) for v in over.at]}
                 for over in wood_over(clamping)],
        "simulated": between and {"least": rounded(between.least, 4), "at": [rounded(v, 3) for v in between.at],
                                  "volume": rounded(between.volume, 2)},
        "min_web": clamping.board.min_web,
        "dowels": {"diameter": dowels.diameter, "longest": dowel_length(clamping, dowels), "count": len(dowels.at)},
    }


def between_words(sides: dict[str, Any], units: str) -> str:
    """The least wood between both sides, in words."""
    least = min(sides["wood"], key=lambda over: over["least"])
    seen, (x, y), web = sides["simulated"], least["at"], format_length(sides["min_web"], units)
    simulated = f", {fine_length(seen['least'], units)} in the simulation of both sides" if seen else ""
    return (f"Least wood between the channel and the top: {fine_length(least['least'], units)} under {least['under']}, "
            f"at {place_words(x, y, units)}{simulated}; {web} is allowed.")
