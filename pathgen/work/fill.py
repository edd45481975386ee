"""How much to mix, what the second cut takes of it, and how much inlay is left: from volumes that were simulated."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Literal

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.memory import remembered
from pathgen.base.surface import Surface
from pathgen.work.features import Inlay
from pathgen.work.touching import pairs_within

WASTE = 0.2
"""Share added for what stays in the cup and on the stick; common practice, no source."""
LEAST_WASTE = 1.0
"""However little is mixed, so much stays in the cup and on the stick, ml; common practice, no source."""
LEAST_BATCH = 5.0
"""The smallest batch that is mixed, ml; common practice, no source."""
MEASURE = 0.1
"""The smallest part that can be measured, ml with a syringe or g with scales; common practice, no source."""
DAM = 2.0
"""How far outside the drawing's hull a dam stands, mm; common practice, no source."""
RIM = 3.0
"""How wide the rim of a dam is, of wax or clay, mm: so much room one needs between two colours; common practice, no
source."""
ROOM = 10.0
"""Half the width, mm, from which bare wood between the parts of a drawing is kept dry: parts so far apart have a dam
each, and a drawing that goes all the way round something is dammed inside too, as the channel of a rosette is; common
practice, no source."""
RATIO = 0.02
"""How far off the resin's sheet the ratio of two measured parts may be."""
SMEAR = 3.0
"""How far round a pocket fill is taken to lie as high as over it, mm; common practice, no source."""
PAST = 1.0
"""How far past the part's edge a second cut over an inlay alone takes what stands there, mm."""
LEAST_INLAY = 0.4
"""What stays of a fill in the end should be as deep as this, mm, or it is soon sanded through; common practice, no
source."""
_SAME = 1e-6  # mm
LEAST_LEFT = 1.0
"""Less fill than this beside the part is not worth scraping off, mm2."""
MM3_PER_ML = 1000.0
_TRIED = 1000  # batches looked at together, each one measure larger
MOST_OVERFILL = 3.0
"""More fill than this above the surface is no workshop's, mm; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Resin:
    """What the resin's sheet says, and how much of it is lost."""

    density: float | None = None
    """Of the mixed resin, g/cm3."""
    mix: Mapping[str, float] = field(default_factory=dict)
    """Parts by name; empty when not given."""
    mix_by: Literal["volume", "mass"] = "volume"
    """How the parts are measured out."""
    pour_depth: float | None = None
    """Deepest that may be poured at once, mm."""
    waste: float = WASTE
    waste_least: float = LEAST_WASTE
    """Share added to what is poured, and the least that is added for each pour, ml."""
    least: float = LEAST_BATCH
    """The smallest batch, ml."""
    measure: float = MEASURE
    """The smallest part that can be measured, ml where mixed by volume, g where by mass."""
    dam: float = DAM
    """How far outside the drawing's hull the dam stands, mm."""


@dataclass(frozen=True, kw_only=True)
class Batch:
    """What is mixed at once, or in as many equal pours as the depth takes."""

    total: float
    """All pours together, mm3."""
    mass: float | None
    """All pours together, g; None without a density."""
    parts: Mapping[str, float]
    """Of each part of the mix, for one pour: ml where mixed by volume, g where mixed by mass; whole measures."""
    parts_unit: Literal["ml", "g"]
    measure: float
    """The smallest part that can be measured, in that unit."""
    pours: int
    """In how many pours, by the depth that the resin's sheet allows; 1 where it is not given."""


@dataclass(frozen=True, kw_only=True)
class Amount:
    """What one colour of one inlay needs. Volumes in mm3, mass in g, depths in mm."""

    colour: str
    area: float
    """Opened at the surface, mm2."""
    pocket: float
    """Volume of the pocket up to the surface as it stands when it is filled: the net volume."""
    overfill: float
    """What stands above the surface: level resin inside its dams, or what is thickened on its pockets."""
    waste: float
    depth: tuple[float, float]
    """Least and greatest depth of the pocket below that surface."""
    batch: Batch
    """What to mix where it is mixed by itself."""

    @property
    def needed(self) -> float:
        """What is poured and what is lost, mm3."""
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
    return float(np.ptp(_edge_heights(area, surface)))


def dam_round(inlay: Inlay, out: float, *, each: bool = False) -> BaseGeometry:
    """What is inside the dam: the drawing's hull and `out` mm round it, and for what lies further from the rest than
    twice `ROOM`, a dam of its own; for copies and dots, one round each group.

    With `each` it is one round each group of any drawing.

    Where the drawing, or parts of it that one dam goes round, lie all the way round more than `ROOM` mm to each side,
    a second dam keeps resin out of there.
    """
    near, before = overlay.buffer(inlay.area, out), -1
    dams, room = near, max(out, ROOM)
    hollow = _inside_rings(near)
    if len(inlay.placed) == 1 and not each:
        groups = overlay.buffer(inlay.area, room)
        dams = overlay.union_all([overlay.buffer(overlay.intersection(inlay.area, group).convex_hull, out)
                                  for group in shapely.get_parts(groups)])
        inside = overlay.difference(_inside_rings(groups), groups)
        hollow = overlay.union_all([hollow, overlay.buffer(inside, room - out)])
    while shapely.get_num_geometries(dams) != before:  # hulls that overlap are one dam
        before = shapely.get_num_geometries(dams)
        dams = overlay.union_all([one.convex_hull for one in shapely.get_parts(dams)])
    dry = overlay.buffer(overlay.buffer(overlay.difference(hollow, near), -ROOM), ROOM)
    return overlay.difference(dams, dry) if not dry.is_empty else dams


def _inside_rings(area: BaseGeometry) -> BaseGeometry:
    return overlay.union_all([Polygon(ring) for part in shapely.get_parts(area) for ring in part.interiors])


@dataclass(frozen=True, eq=False, kw_only=True)
class Dammed:
    """What is inside one dam, which holds resin of one colour, and how high over the underside it stands, mm."""

    colour: str
    inside: BaseGeometry
    level: float


@remembered
def dams_of(inlay: Inlay, surface: Surface, out: float) -> list[Dammed]:
    """The dams of an inlay: one round each colour; where those would meet, one round each group of its parts; none of
    a colour that is `thickened`.

    In each, resin covers the highest place of the drawing, and stands `overfill` above the lowest place of all where
    that is enough.
    """
    return [Dammed(colour=one.regions[0][0], inside=dam, level=_level(dam, one, surface))
            for one, dam in _each_dam(inlay, out) if one.regions[0][0] not in thickened(inlay, out)]


@lru_cache(maxsize=64)
def lies_over(inlay: Inlay) -> BaseGeometry:
    """Where its fill may lie before it is cut level: its pockets, all that is inside the dams of poured resin, and
    round pockets what is heaped on them."""
    if inlay.dam is None:
        return inlay.area
    thick = thickened(inlay, inlay.dam)
    return overlay.union_all([inlay.area, *(dam for one, dam in _each_dam(inlay, inlay.dam)
                                            if one.regions[0][0] not in thick),
                              *(_heap(inlay, shape) for colour, shape in inlay.regions if colour in thick)])


def _heap(inlay: Inlay, shape: BaseGeometry) -> BaseGeometry:
    """What thickened resin lies over that stands `overfill` high on a pocket: it slopes down round it."""
    return overlay.buffer(shape, inlay.overfill)


def left_by_edge(inlay: Inlay, part: BaseGeometry) -> BaseGeometry:
    """What fill a second cut over the inlay alone leaves in the waste beside the part."""
    return overlay.difference(lies_over(inlay), overlay.buffer(part, PAST, join_style="mitre"))


@lru_cache(maxsize=64)
def own_dams(inlay: Inlay, out: float) -> tuple[tuple[Inlay, BaseGeometry], ...]:
    """Each colour of an inlay by itself, in their order, and what is inside its dam where no other colour is near."""
    each = [replace(inlay, regions=(region,)) for region in inlay.regions]
    return tuple((one, dam_round(one, out)) for one in each)


@lru_cache(maxsize=64)
def _each_dam(inlay: Inlay, out: float) -> tuple[tuple[Inlay, BaseGeometry], ...]:
    """Each dam with the one colour of the inlay that it holds; slivers with nothing of the drawing in them are none."""
    each, dams = [one for one, _ in own_dams(inlay, out)], [dam for _, dam in own_dams(inlay, out)]
    if any(shapely.dwithin(one, other, RIM - _SAME) for one, other in itertools.combinations(dams, 2)):
        dams = [dam_round(one, out, each=True) for one in each]
    return tuple((one, dam) for one, all_of_it in zip(each, dams, strict=True) for dam in shapely.get_parts(all_of_it)
                 if shapely.intersects(dam, one.area))


@lru_cache(maxsize=64)
@remembered
def resin_above(inlay: Inlay, surface: Surface, out: float) -> Mapping[str, float]:
    """Volume of resin above the surface of each colour, mm3: level inside its dams; where it is thickened, as high as
    `overfill` over its pocket and, where no other is, where it slopes down round that."""
    found = dict.fromkeys((colour for colour, _ in inlay.regions), 0.0)
    for dam in dams_of(inlay, surface, out):
        found[dam.colour] += _above(dam, surface)
    thick = thickened(inlay, out)
    heaps = {colour: overlay.union_all([shape, overlay.difference(_heap(inlay, shape), inlay.area)])
             for colour, shape in inlay.regions if colour in thick}
    return found | {colour: inlay.overfill * heap.area for colour, heap in heaps.items()}


@lru_cache(maxsize=64)
def thickened(inlay: Inlay, out: float) -> tuple[str, ...]:
    """The colours that lie so near another that no dam round each can stand: their resin must stay where it is put."""
    dams = _each_dam(inlay, out)
    near = {id(dams[k][0]) for i, j in pairs_within([dam for _, dam in dams], RIM - _SAME)
            if dams[i][0] is not dams[j][0] for k in (i, j)}
    return tuple(dict.fromkeys(one.regions[0][0] for one, _ in dams if id(one) in near))


def _level(dam: BaseGeometry, inlay: Inlay, surface: Surface) -> float:
    covered = float(_edge_heights(overlay.intersection(inlay.area, dam), surface).max())
    return max(float(_edge_heights(dam, surface).min()) + inlay.overfill, covered)


def stands_at_most(inlay: Inlay, surface: Surface, part: BaseGeometry) -> float:
    """The most that level resin stands above the part inside its dams, where it covers the highest place of the
    drawing, mm; without any dam the most above the drawing, nothing where all of it is thickened."""
    dams = [] if inlay.dam is None else dams_of(inlay, surface, inlay.dam)
    if inlay.dam is not None and not dams:
        return 0.0
    over = [(dam.level, overlay.intersection(dam.inside, part)) for dam in dams]
    return max((level - float(_edge_heights(there, surface).min()) for level, there in over if there.area > 0),
               default=fall_under(inlay.area, surface))


def resin_left(inlay: Inlay, surface: Surface, part: BaseGeometry) -> float:
    """Volume of level resin that a second cut over the inlay alone leaves in the waste beside the part, mm3."""
    left = left_by_edge(inlay, part)
    if left.area < LEAST_LEFT or inlay.dam is None:
        return 0.0
    dams = dams_of(inlay, surface, inlay.dam)
    beside = [(dam, overlay.intersection(dam.inside, left)) for dam in dams]
    return sum(_above(replace(dam, inside=there), surface) for dam, there in beside if there.area > 0)


def _above(dammed: Dammed, surface: Surface) -> float:
    """What stands above the surface inside a dam, or part of one."""
    dam = dammed.inside
    x0, y0, x1, y1 = dam.bounds
    step = min(0.25, math.sqrt(dam.area) / 20)
    x, y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    shapely.prepare(dam)
    inside = shapely.contains_xy(dam, x, y)
    x, y = x[inside], y[inside]
    # of the points inside only their mean counts: their number follows the edge less closely than the area
    return float((dammed.level - surface.height(x, y)).mean() * dam.area)


def _edge_heights(area: BaseGeometry, surface: Surface) -> Floats:
    """Of the surface along the edges of an area, every half millimetre."""
    points = shapely.get_coordinates(shapely.segmentize(area, 0.5))
    return np.asarray(surface.height(points[:, 0], points[:, 1]))


def amount(
    colour: str, *, area: float, pocket: float, overfill: float, depth: tuple[float, float], deep: float, resin: Resin
) -> Amount:
    """What one colour needs: of an `area` that is opened at the surface, mm2; a volume of its `pocket`, as simulated,
    and of its `overfill` above the surface, mm3; a least and a greatest `depth` of the pocket, and the resin `deep`
    where it is deepest, mm.
    """
    cups = pours_of(deep, resin.pour_depth)
    waste = max(resin.waste * (pocket + overfill), cups * resin.waste_least * MM3_PER_ML)
    return Amount(colour=colour, area=area, pocket=pocket, overfill=overfill, waste=waste, depth=depth,
                  batch=batch_of(pocket + overfill + waste, deep=deep, resin=resin))


AS_DEEP = 0.005
"""Resin deeper by less is as deep as the sheet allows, mm: what is told of it is rounded to hundredths."""


def pours_of(deep: float, most: float | None) -> int:
    """In how many pours resin so deep goes in, where its sheet allows no more than `most` mm at once."""
    return math.ceil((deep - AS_DEEP) / most) if most else 1


def batch_of(needed: float, *, deep: float, resin: Resin) -> Batch:
    """The smallest batch of whole measures that gives `needed` mm3 and is no smaller than the resin's least. A pour
    that would be deeper than the resin's sheet allows is shared between equal pours, each mixed by itself."""
    pours = pours_of(deep, resin.pour_depth)
    by_mass = resin.mix_by == "mass"
    # Without a density, parts by mass cannot be told: the job reader refuses that.
    per_ml = (resin.density or 1.0) if by_mass else 1.0
    mixed = max(needed / MM3_PER_ML / pours, resin.least) * per_ml
    ratio = np.array(list(resin.mix.values()) or [1.0])
    parts = _measured(mixed, ratio / ratio.sum(), resin.measure)
    one = float(parts.sum()) / per_ml
    return Batch(
        total=one * pours * MM3_PER_ML, mass=None if resin.density is None else one * pours * resin.density,
        parts=dict(zip(resin.mix, parts.tolist(), strict=False)), parts_unit="g" if by_mass else "ml",
        measure=resin.measure, pours=pours,
    )


def _measured(mixed: float, shares: Floats, measure: float) -> Floats:
    """Parts in whole measures, no less than `mixed` in all, any two of them in their ratio within `RATIO`."""
    for first in itertools.count(math.ceil(mixed / measure - 1e-9), _TRIED):
        wholes = np.round(np.arange(first, first + _TRIED)[:, None] * shares)
        off = wholes / shares
        fits = (wholes.min(axis=1) > 0) & (off.max(axis=1) <= (1.0 + RATIO) * off.min(axis=1))
        fits &= wholes.sum(axis=1) * measure >= mixed - 1e-9
        if fits.any():
            return np.asarray(np.round(wholes[np.argmax(fits)] * measure, 9))
    raise AssertionError("a batch large enough keeps any ratio")


def second_cut(
    *, wood_area: float, area: float, pocket: float, proud: float, skim: float, skim_before: bool,
    depth: tuple[float, float], ridges: float = 0.0, filled: float = 0.0,
) -> SecondCut:
    """What the second cut over one inlay takes, `skim` mm below the first surface.

    `wood_area`, `area` and `filled` are the board's wood, the opened pockets, and other pockets that are filled and
    level already, in plan, mm2; `pocket` is the volume of the pockets up to the surface as it stands when they are
    filled, and `proud` that of what stands above it, mm3. With `skim_before` an earlier second cut has already taken
    the skim off the wood. `ridges` is the mean height of those that it takes off on top of that, where it leaves finer
    ones, mm.

    The skimmed surface lies `skim` straight below the first, so that each mm2 of plan gives `skim` mm3.
    """
    low, high = depth[0] - skim, depth[1] - skim
    return SecondCut(
        wood=0.0 if skim_before else (skim + ridges) * wood_area,
        fill=proud + (0.0 if skim_before else min(area * skim, pocket) + (skim + ridges) * filled),
        depth_left=(max(low, 0.0), max(high, 0.0)),
    )
