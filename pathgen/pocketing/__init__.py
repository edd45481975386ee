"""Pockets for inlay: what each cutter clears, in which order, and what it cannot reach."""

from __future__ import annotations

from pathgen.pocketing.pockets import PocketCut, pocket
from pathgen.pocketing.settings import PocketOptions, Tolerances
from pathgen.pocketing.volume import pocket_volume

__all__ = ["PocketCut", "PocketOptions", "Tolerances", "pocket", "pocket_volume"]
