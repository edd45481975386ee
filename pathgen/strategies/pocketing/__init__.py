"""Pockets for inlay: what each cutter clears, in which order, and what it cannot reach."""

from __future__ import annotations

from pathgen.strategies.pocketing.pockets import PocketCut, pocket
from pathgen.strategies.pocketing.settings import PocketOptions

__all__ = ["PocketCut", "PocketOptions", "pocket"]
