"""Does what is left beside a pocket, a slot or a second cut stand higher than the cutter's flutes reach?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from pathgen.base.arrays import Bools, Floats, numbers_from
from pathgen.base.cutters import Cutter, reshaped
from pathgen.base.errors import JobError
from pathgen.base.surface import Surface
from pathgen.base.toolpath import Move, Toolpath
from pathgen.base.units import SUMS, place_words, rounded_up
from pathgen.programs.around import Around
from pathgen.programs.holding import left_at
from pathgen.programs.paths import path_of
from pathgen.strategies.surfacing import Passes
from pathgen.work.clamping import Step
from pathgen.work.operations import (
    Bevel,
    CutOut,
    Engrave,
    NutSlot,
    Pocket,
    RoundHoles,
    Slot,
    SurfaceFinish,
    SurfaceRough,
)

RUBS = 0.05
"""Above the flutes wood may stand so high, mm, as the verifier lets pass."""
BESIDE, _EVERY = 0.05, 0.2
"""Looked at from the cutter, and along its way, mm."""
_ROUND = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
_AT_ONCE = 20_000  # places that are worked out together


def check_shanks(paths: Sequence[Toolpath], around: Around) -> None:
    """Raise JobError for flutes as long as a cut is deep where ridges, or wood past the edge, stand higher."""
    finished: list[tuple[Toolpath, Step]] = []
    for path, step in zip(paths, around.clamping.steps, strict=True):
        if isinstance(step.operation, (Pocket, Slot, NutSlot)) or (step.operation.finishes and finished):
            with around.remembering():
                _check(path, step, finished, around)
        if step.operation.finishes or isinstance(step.operation, SurfaceRough):
            finished.append((path, step))


def flutes_needed(paths: Sequence[Toolpath], around: Around) -> tuple[float, ...]:
    """How long the flutes of each step's cutter must be at least, mm: as deep as it cuts, and as high as what is left
    beside it stands over its tip. Shorter ones are refused, here or by the strategies; where the surface is cut, those
    that do not come up to the top of the blank, which mostly stands beside its passes."""
    needed, finished = list[float](), list[tuple[Toolpath, Step]]()
    for path, step in zip(paths, around.clamping.steps, strict=True):
        deep = _deep(path, step, around)
        if isinstance(step.operation, (Pocket, Slot)):
            # with these borne it is only looked at what stands past the surface
            deep = max(deep, _over_ridges(path, step, around) - RUBS + SUMS)
            as_long = replace(step, cutter=reshaped(step.cutter, flute_length=deep))
            with around.remembering():
                deep = max(deep, _beside(path, as_long, finished, around)[0] - RUBS)
        needed.append(deep)
        if step.operation.finishes or isinstance(step.operation, SurfaceRough):
            finished.append((path, step))
    return tuple(needed)


def _over_ridges(path: Toolpath, step: Step, around: Around) -> float:
    """How high the ridges of the surface that a step is cut into stand over its tip beside it, mm, at the most."""
    passes, surface = _cut_before(step, around)
    if passes is None:
        return 0.0
    beside, tips = _ring(_lowest(path), step.cutter)
    shapely.prepare(passes.outline)
    inside = shapely.contains_xy(passes.outline, *beside.T)
    over: Floats = surface.height(*beside[inside].T) + passes.scallop - tips[inside, 2]
    return float(over.max(initial=0.0))


def _deep(path: Toolpath, step: Step, around: Around) -> float:
    """How deep a step cuts into what stands where it goes, mm."""
    clamping, operation, cutter = around.clamping, step.operation, step.cutter
    if not operation.spins:
        return 0.0
    from_top = max(around.top - float(path.points[:, 2].min()), 0.0)
    if isinstance(operation, Pocket):
        return operation.inlay.depth + clamping.proud(operation.inlay)
    if isinstance(operation, Slot):
        return operation.deepest(clamping.finished_surface)
    if isinstance(operation, CutOut):
        return operation.feature.depth
    if isinstance(operation, RoundHoles):  # after the surface, as they are in the part
        return min(clamping.finished_surface.thickness, around.top) - operation.feature.bottom
    if isinstance(operation, (Bevel, Engrave)) and around.finish is not None:
        tips = _lowest(path)
        stands = around.finish.stands(tips[:, :2], clamping.finished_surface, reach=cutter.radius + BESIDE)
        return float((np.minimum(stands, around.top) - tips[:, 2]).max(initial=0.0))
    return from_top


def too_high_beside_slots(around: Around) -> float:
    """How much higher than their cutter's flutes bear what is left beside the slots of a clamping stands, mm."""
    steps = {kind: [(path_of(step, around), step) for step in around.clamping.steps if isinstance(step.operation, kind)]
             for kind in (SurfaceRough, SurfaceFinish, Slot)}
    found = [_beside(path, step, steps[SurfaceRough] + steps[SurfaceFinish], around)[0] - step.cutter.flute_length
             for path, step in steps[Slot]]
    return max(found, default=0.0)


def _check(path: Toolpath, step: Step, finished: Sequence[tuple[Toolpath, Step]], around: Around) -> None:
    cutter, (above, x, y) = step.cutter, _beside(path, step, finished, around)
    if above <= cutter.flute_length + RUBS:
        return
    least = rounded_up(above)
    less = least - cutter.flute_length
    raise JobError(f'[[cutter]] "{cutter.name}" flute_length',
                   f"{cutter.flute_length:g} mm, and in {step.title} what is left beside it stands {least:.2f} mm over "
                   f"its tip, at {place_words(x, y, around.clamping.units)}: its shank would rub there",
                   allowed=f"{least:.2f} mm or more", remedy="name a longer cutter, or "
                   + ("take a thinner blank" if step.operation.finishes else f"cut {less:.2f} mm less deep"))


def _beside(
    path: Toolpath, step: Step, finished: Sequence[tuple[Toolpath, Step]], around: Around
) -> tuple[float, float, float]:
    """How high what is left beside a cut stands over its tip, mm, and where, (x, y); 0 where its flutes bear it."""
    cutter, (passes, surface) = step.cutter, _cut_before(step, around)
    most = cutter.flute_length + RUBS
    if passes is None or around.top <= float(path.points[:, 2].min()) + most:
        return 0.0, 0.0, 0.0
    tips, reach = _lowest(path), cutter.radius + BESIDE
    tips = tips[np.minimum(passes.stands(tips[:, :2], surface, reach=reach), around.top) > tips[:, 2] + most]
    beside, tips = _ring(tips, cutter)
    shapely.prepare(passes.outline)
    low = surface.height(*beside.T) + passes.scallop <= tips[:, 2] + most
    wanted = ~(low & shapely.contains_xy(passes.outline, *beside.T))
    beside, tips = beside[wanted], tips[wanted]
    if not len(tips):
        return 0.0, 0.0, 0.0
    before = None if cutter.is_flat else _above_last_layer(path, surface, cutter)
    cuts = [(path, cutter, before), *((done, by.cutter, None) for done, by in finished)]
    above = np.concatenate([
        np.minimum(np.min([left_at(some, one, by, moves=moves) for one, by, moves in cuts], axis=0), around.top)
        for some in np.array_split(beside, len(beside) // _AT_ONCE + 1)
    ]) - tips[:, 2]
    worst = int(np.argmax(above))
    x, y, _ = tips[worst].tolist()
    return float(above[worst]), x, y


def _cut_before(step: Step, around: Around) -> tuple[Passes | None, Surface]:
    """The passes of the surface that a step is cut into, or cuts, and that surface."""
    first = isinstance(step.operation, (SurfaceFinish, Pocket))
    return (around.first, around.clamping.first_surface) if first else (
        around.finish, around.clamping.finished_surface)


def _ring(tips: Floats, cutter: Cutter) -> tuple[Floats, Floats]:
    """(n, 2) places round each of some tips, just past a cutter's reach, and (n, 3) the tip that each is beside."""
    ring = (cutter.radius + BESIDE) * np.column_stack([np.cos(_ROUND), np.sin(_ROUND)])
    return (tips[:, None, :2] + ring).reshape(-1, 2), np.repeat(tips, len(ring), axis=0)


def _above_last_layer(path: Toolpath, surface: Surface, cutter: Cutter) -> Bools:
    """(n - 1,) moves of a round or pointed end that it has gone for sure when it comes by at its deepest: what the
    others take may stand uphill of it until then."""
    middle = (path.points[1:] + path.points[:-1]) / 2.0
    depth = surface.height(*middle[:, :2].T) - middle[:, 2]
    return np.asarray(depth < depth[path.kinds[1:] != Move.RAPID].max() - cutter.stepdown / 2.0)


def _lowest(path: Toolpath) -> Floats:
    """(n, 3) tips along the cutting moves of a path, the lowest where there are several."""
    cuts = np.flatnonzero(path.kinds[1:] != Move.RAPID)
    start, run = path.points[cuts], path.points[cuts + 1] - path.points[cuts]
    pieces = np.maximum(np.ceil(np.hypot(*run[:, :2].T) / _EVERY), 1.0).astype(np.intp)
    of, nth = numbers_from(np.ones_like(pieces), pieces + 1)
    tips = start[of] + (nth / pieces[of])[:, None] * run[of]
    tips = tips[np.argsort(tips[:, 2], kind="stable")]
    x, y = np.round(tips[:, :2] / (_EVERY / 4)).T
    _, lowest = np.unique(x + 1j * y, return_index=True)
    found: Floats = tips[lowest]
    return found
