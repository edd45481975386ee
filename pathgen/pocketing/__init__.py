"""Pockets for inlay: what each cutter clears, in which order, and what it cannot reach."""

from __future__ import annotations

from pathgen.pocketing.pockets import PocketCut, Tolerances, pocket

__all__ = ["PocketCut", "Tolerances", "pocket"]
