"""What both sides of a blank leave between them: the channel, the wood over it, dowels."""

from __future__ import annotations

from typing import Any

from pathgen.base.plain import rounded
from pathgen.base.units import fine_length, format_length, place_words
from pathgen.programs.turning import dowel_length
from pathgen.verify import Verification
from pathgen.work.clamping import Clamping
from pathgen.work.operations import DowelHoles
from pathgen.work.underside import wood_over


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
