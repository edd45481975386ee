"""By how much a blank is too small for its part, and what its outline needs round it."""

from __future__ import annotations

import numpy as np

from pathgen.base.units import SUMS, format_length
from pathgen.job.job import Job
from pathgen.strategies.tabs import LEAST_WASTE
from pathgen.work.part import Part


def room_beside(job: Job) -> float:
    """What a part's outline needs beside it for its cutter, and what holds tabs or skin, mm."""
    cut = job.outline
    if cut is None or not (cut.tabs != 0 or cut.skin):
        return 0.0
    return job.cutter(cut.cutter, "[outline] cutter").diameter + LEAST_WASTE


def larger_blank(job: Job, part: Part) -> str:
    """What of the blank to change, with the least value that holds the part, and what its outline needs round it."""
    (x0, y0, x1, y1), stock, unit = part.outline.bounds, job.stock, job.units
    step = {"mm": 0.1, "in": 0.254}[unit]

    def up(mm: float) -> str:
        return format_length(float(np.ceil(mm / step - 1e-9)) * step, unit)

    cut, beside = job.outline, room_beside(job)
    width = 2 * (max(-y0, y1) + beside)
    room, ends = (f" (with {up(beside)} {where} for the outline's cutter and {'skin' if cut and cut.skin else 'tabs'})"
                  if beside else "" for where in ("on each side", "at each end"))
    ways = [f"width {up(width)} or more{room}"] if stock.width < width - SUMS else []
    least, most = beside - x0, stock.length - x1 - beside
    low, high = (np.array([np.ceil(least / step - 1e-6), np.floor(most / step + 1e-6)]) * step).tolist()
    before = max(stock.margin_nut, low)
    length = f"length {up(before + x1 + beside)} or more"
    fits = least - SUMS <= stock.margin_nut <= most + SUMS
    if not fits and least > most:
        ways.append(f"{length} with a margin_nut of {format_length(before, unit)}{ends}")
    elif not fits:
        one, other = (format_length(v if low <= high else (least + most) / 2, unit) for v in (low, high))
        longer = f"{length}, or " if stock.margin_nut > most else ""  # first: it leaves what is clamped where it is
        ways.append(f"{longer}margin_nut {one if one == other else f'from {one} to {other}'}{ends}")
    return "make [stock] " + ", and ".join(ways)
