"""How a round or pointed cutter that cannot cut at its centre gets into wood: by a ramp on its own way."""

from __future__ import annotations

import numpy as np

from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.toolpath import along_in_plan
from pathgen.strategies.pocketing.linking import to_and_fro
from pathgen.strategies.pocketing.tracing import no_way_down


def ramped_in(run: Floats, above: float, cutter: Cutter) -> Floats:
    """An (n, 3) run, begun by sinking to its start from the height `above`, to and fro on the run's own beginning.

    Nowhere is that lower than the run, nor steeper than the cutter's ramp and the run itself.
    """
    height = above - float(run[0, 2]) if len(run) else 0.0
    if height <= 0.0:
        return run
    length = height / cutter.ramp_slope
    if not along_in_plan(run)[-1]:
        raise no_way_down(cutter, height, *run[0, :2].tolist(), way=length)
    way = to_and_fro(run, length)
    down = above - height * along_in_plan(way) / length
    return np.vstack([np.column_stack([way[:, :2], np.maximum(way[:, 2], down)]), run[1:]])
