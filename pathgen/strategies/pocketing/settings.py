"""What may be chosen about pockets, and how exact their paths are."""

from __future__ import annotations

from dataclasses import dataclass

from pathgen.base.errors import PathgenError

ARC = 0.0005
"""Chords of the axis' path along the walls lie within this of the arcs that they stand for, in plan, mm."""
FEWER = 0.002
"""Points of the axis' path that lie within this of straight moves past them are left out, in plan, mm."""


@dataclass(frozen=True, kw_only=True)
class PocketOptions:
    """How a pocket is cut; mm and mm2."""

    allowance: float = 0.1
    """What clearing leaves on the walls for the finishing pass; 0 for no finishing pass."""
    floor_ridge: float = 0.1
    """How high a ball end or a v cutter may leave the floor above the depth asked for, between its loops."""
    smallest: float = 0.05
    """Area of the smallest piece worth cutting once a larger cutter has been there."""
    ridges: float = 0.0
    """How high ridges of the first cut stand over the surface."""
    all_of_it: bool = False
    """A cutter that cannot plunge is refused where it has no room for a ramp or a helix; else it leaves that closed."""

    def __post_init__(self) -> None:
        for name in ("allowance", "smallest"):
            if not 0.0 <= getattr(self, name) < float("inf"):
                raise PathgenError("pocket", f"{name} {getattr(self, name)}", allowed="0 or more, and finite")
        if not 0.0 < self.floor_ridge < float("inf"):
            raise PathgenError("pocket", f"floor_ridge {self.floor_ridge}", allowed="above 0, and finite")
