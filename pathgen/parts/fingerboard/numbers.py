"""A maker's numbers of a board, as they are written down; everything else of it follows from them."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Radii:
    """A radius at the nut and one of the others; none of them means a cylinder."""

    nut: float
    end: float | None = None
    bridge: float | None = None
    follow: str | None = None
    """``"strings"``: the apex is where the outer strings meet."""


@dataclass(frozen=True, kw_only=True)
class PartialFret:
    """A fret that does not cross the whole board: from ``across[0]`` to ``across[1]``, negative on the bass side."""

    fret: int
    across: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class End:
    """The shape of one end of the board."""

    rise: float = 0.0
    """An arch over the straight end, this high in its middle; negative for one that is hollow. mm."""
    steps: tuple[tuple[float, float], ...] = ()
    """(y, by) each: from y toward the treble edge the end lies `by` further out; y is measured from the centre-line,
    negative on the bass side. Rising in y. mm."""
    corner_radius: float = 0.0
    """Both corners are rounded by this much, mm."""


@dataclass(frozen=True, kw_only=True)
class ReliefAt:
    """``relief = { depth, fret, to }``: deepest at a fret, gone at the nut and at another fret."""

    depth: float
    fret: int = 7
    to: int = 14


@dataclass(frozen=True, kw_only=True)
class FallsAway:
    """``fall_away = { drop, fret, shape }``: from a fret to the board's end."""

    drop: float
    fret: int = 14
    shape: str = "straight"


@dataclass(frozen=True, kw_only=True)
class Scale:
    """Scale lengths of the outer strings, mm; equal for straight frets, then measured along the centre-line."""

    bass: float
    treble: float
    straight_fret: float = 0
    edge_to_string: float | None = None

    @property
    def both(self) -> tuple[float, float]:
        """(bass, treble)."""
        return self.bass, self.treble


@dataclass(frozen=True, kw_only=True)
class BoardNumbers:
    """The board in mm; see the job file's ``[board]`` for their meaning."""

    scale_length: Scale
    frets: int
    nut_width: float
    end_width: float
    past_last_fret: float
    thickness: float
    radius: Radii
    divisions: int = 12
    ratios: tuple[float, ...] = ()
    nut_offset: float = 0.0
    zero_fret: bool = False
    partial_frets: tuple[PartialFret, ...] = ()
    left_handed: bool = False
    behind_nut: float = 0.0
    edge_to_string: float = 3.0
    nut_end: End = field(default_factory=End)
    end: End = field(default_factory=End)
    relief: ReliefAt | None = None
    fall_away: FallsAway | None = None
    binding: float = 0.0
    bound: bool = False
    min_web: float = 1.0

    @property
    def bass_side(self) -> int:
        """-1 or +1: the sign of y on the bass side."""
        return 1 if self.left_handed else -1

    @property
    def to_outer_strings(self) -> float:
        """From each edge in to its outer string, mm."""
        own = self.scale_length.edge_to_string
        return self.edge_to_string if own is None else own
