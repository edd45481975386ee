"""How much to mix, what the second cut takes of it, and how much inlay is left: from volumes that were simulated."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pathgen.base.surface import Surface

WASTE = 0.2
"""Share added for what stays in the cup and on the stick; common practice, no source."""

MM3_PER_ML = 1000.0

MOST_OVERFILL = 3.0
"""More fill than this above the surface is no workshop's, mm; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Resin:
    """What the resin's sheet says, and how much of it is lost.

    Attributes
    ----------
    density : float or None
        Of the mixed resin, g/cm3.
    mix : dict of name to parts
        Empty when not given.
    mix_by : "volume" or "mass"
        How the parts are measured out.
    pour_depth : float or None
        Deepest that may be poured at once, mm.
    waste : float
        Share added to what the pockets take.
    """

    density: float | None = None
    mix: Mapping[str, float] = field(default_factory=dict)
    mix_by: Literal["volume", "mass"] = "volume"
    pour_depth: float | None = None
    waste: float = WASTE


@dataclass(frozen=True, kw_only=True)
class Amount:
    """What one colour of one inlay needs. Volumes in mm3, mass in g, depths in mm."""

    colour: str
    area: float
    """Opened at the surface, mm2."""
    pocket: float
    """Volume of the pocket up to the first surface: the net volume."""
    overfill: float
    """What stands above the surface, over the pocket."""
    waste: float
    depth: tuple[float, float]
    """Least and greatest depth of the pocket below the first surface."""
    mass: float | None
    parts: Mapping[str, float]
    """Of each part of the mix: ml where mixed by volume, g where mixed by mass."""
    parts_unit: Literal["ml", "g"]
    pours: int
    """In how many pours, by the depth that the resin's sheet allows; 1 where it is not given."""
    pour_depth: float | None

    @property
    def total(self) -> float:
        """Volume to mix, mm3."""
        return self.pocket + self.overfill + self.waste


@dataclass(frozen=True, kw_only=True)
class SecondCut:
    """What cutting the surface again takes, mm3, and what it leaves, mm."""

    wood: float
    fill: float
    depth_left: tuple[float, float]
    """Least and greatest depth of the inlay that remains."""


def fall_under(area: BaseGeometry, surface: Surface) -> float:
    """How far the surface falls from its highest to its lowest place under a drawing, mm.

    Level fill that just covers the highest place stands so much above the surface at the lowest. Both lie on the
    edges of `area`, sampled every half millimetre: the surface is level along the centre-line and falls away from it.
    """
    points = shapely.get_coordinates(shapely.segmentize(area, 0.5))
    return float(np.ptp(surface.height(points[:, 0], points[:, 1])))


def amount(
    colour: str, *, area: float, pocket: float, overfill: float, depth: tuple[float, float], resin: Resin
) -> Amount:
    """What one colour needs.

    Parameters
    ----------
    area : float
        Opened at the surface, mm2.
    pocket : float
        Volume of the pocket as simulated, mm3.
    overfill : float
        How far the fill stands above the surface, mm.
    depth : (least, greatest)
        Of the pocket, mm.
    """
    proud = area * overfill
    waste = resin.waste * (pocket + proud)
    total_ml = (pocket + proud + waste) / MM3_PER_ML
    mass = total_ml * resin.density if resin.density is not None else None
    by_mass = resin.mix_by == "mass"
    whole = sum(resin.mix.values())
    # Without a density, parts by mass cannot be told: the job reader refuses that.
    shared = (mass or 0.0) if by_mass else total_ml
    thickness = depth[1] + overfill
    return Amount(
        colour=colour, area=area, pocket=pocket, overfill=proud, waste=waste, depth=depth, mass=mass,
        parts={name: shared * part / whole for name, part in resin.mix.items()},
        parts_unit="g" if by_mass else "ml",
        pours=math.ceil(thickness / resin.pour_depth - 1e-9) if resin.pour_depth else 1,
        pour_depth=resin.pour_depth,
    )


def second_cut(
    *, board_area: float, area: float, pocket: float, overfill: float, skim: float, skim_before: bool,
    depth: tuple[float, float],
) -> SecondCut:
    """What the second cut over one inlay takes.

    Parameters
    ----------
    board_area, area : float
        Of the board and of the opened pockets, in plan, mm2.
    pocket : float
        Volume of the pockets up to the first surface, mm3.
    skim : float
        How far below the first surface it cuts, mm.
    skim_before : bool
        Whether an earlier second cut has already taken the skim off the wood.

    Notes
    -----
    The skimmed surface lies `skim` straight below the first, so that each mm2 of plan gives `skim` mm3.
    """
    low, high = depth[0] - skim, depth[1] - skim
    return SecondCut(
        wood=0.0 if skim_before else skim * max(board_area - area, 0.0),
        fill=area * overfill + min(area * skim, pocket),
        depth_left=(max(low, 0.0), max(high, 0.0)),
    )
