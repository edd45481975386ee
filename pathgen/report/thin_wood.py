"""Thin wood in words: a warning with its place, what the rings of a picture show, the narrowest wall."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry.base import BaseGeometry

from pathgen.base.units import fine_length, format_length, place_words, rounded_up
from pathgen.parts.coupon.part import Coupon
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping
from pathgen.work.thin_wood import BESIDE_SLOT, BETWEEN_POCKETS, MEET, THIN, by_kind, more_places, what_to_do


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
            got=f"{thin.width:.2f} mm of wood is left standing between {thin.between}{more_places(more)}",
            remedy=what_to_do([thin, *more]),
        )
        for thin, *more in by_kind(clamping, opened)
        if thin.between != BESIDE_SLOT and not (cut and thin.between == BETWEEN_POCKETS)
    ]


def thin_wood_words(clamping: Clamping, opened: Sequence[BaseGeometry]) -> str:
    """What the rings of a picture show; nothing where there is no thin wood."""
    units = clamping.units
    found = [f"{format_length(thin.width, units)} between {thin.between}, {place_words(*thin.at, units)}"
             f"{f', and {len(more)} more' if more else ''}" for thin, *more in by_kind(clamping, opened)]
    return f"Red rings: wood so thin that it breaks out, {'; '.join(found)}." if found else ""
