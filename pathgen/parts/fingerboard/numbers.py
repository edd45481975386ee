"""A maker's numbers of a board, as they are written down; everything else of it follows from them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, ClassVar

from pathgen.base.lowered import MOST_LOWERED
from pathgen.base.slopes import STEEPEST, STEEPEST_ACROSS
from pathgen.base.tops import WIDEST
from pathgen.parts.keys import (
    Place,
    choice,
    holding,
    is_length,
    key,
    list_of,
    number,
    read_table,
    shown,
    size,
    span,
    table_of,
    yes_or_no,
)

FRET, FRET_OR_NUT = number(1, 60, whole=True), number(0, 60, whole=True)
USUAL_FRETS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)
"""Those with dots where fret 12 is the octave."""
USUAL = f"those of {', '.join(map(str, USUAL_FRETS))} that there are; octaves alone where fret 12 is none"
SCALE = size(100.0, 2000.0)
RADIUS = size(25.0, WIDEST)
WIDTHS = 10.0, 200.0
"""That a board may have at its ends, mm."""
HIGHEST_RATIO = 64
MOST_STRINGS = 24
"""Twelve double courses."""
_SLOPE = f"nowhere steeper than 1 in {1.0 / STEEPEST:g}"


@dataclass(frozen=True, kw_only=True)
class FannedScale:
    """Two scale lengths: ``scale_length = { bass = .., treble = .. }``."""

    bass: float = key(SCALE, "scale length of the lowest string, along itself")
    treble: float = key(SCALE, "scale length of the highest string, along itself")
    straight_fret: float = key(number(0, 60), "the fret that is square to the centre-line; 0 is the nut", 0.0)
    edge_to_string: float | None = key(
        size(0.0, 20.0), "from each edge in to its outer string", None, shown="[board] edge_to_string")

    @property
    def both(self) -> tuple[float, float]:
        """(bass, treble)."""
        return self.bass, self.treble


@dataclass(frozen=True, kw_only=True)
class TwoRadii:
    """A compound radius: ``radius = { nut = .., end = .. }``, or bridge or follow instead of end."""

    nut: float = key(RADIUS, "radius across the board at the nut")
    end: float | None = key(RADIUS, "radius across the board at its end", None, shown="or bridge, or follow")
    bridge: float | None = key(RADIUS, "radius at the bridge, on the same straight line", None, shown="or end")
    follow: str | None = key(choice("strings"), '"strings": straight under every string', None, shown="or end")
    written: str = field(default="", init=False, repr=False, compare=False)
    """One length with a unit of its own, as it stands in the file."""


@holding("length or table", FannedScale, limits=SCALE.limits)
def _scale(value: Any, place: Place) -> FannedScale:
    if isinstance(value, dict):
        return read_table(FannedScale, value, place)
    both = SCALE(value, place)
    return FannedScale(bass=both, treble=both)


@holding('length, table or "flat"', TwoRadii, limits=RADIUS.limits)
def _radius(value: Any, place: Place) -> TwoRadii:
    if value == "flat":
        return TwoRadii(nut=math.inf, end=math.inf)
    if isinstance(value, dict):
        radii = read_table(TwoRadii, value, place)
        ways = [way for way in ("end", "bridge", "follow") if getattr(radii, way) is not None]
        if len(ways) != 1:
            raise place.refuse(f"{' and '.join(ways) or 'only nut'} given", allowed="nut, and end, bridge or follow")
        return radii
    if isinstance(value, list) and len(value) == 2:
        nut, end = map(shown, value)
        raise place.refuse(f"[{nut}, {end}] given", allowed="one length, or { nut, end }",
                           remedy=f"write {{ nut = {nut}, end = {end} }}")
    if isinstance(value, str) and not is_length(value):
        raise place.refuse(f"{shown(value)} given", allowed='one length, { nut, end }, or "flat"')
    both = RADIUS(value, place)
    radii = TwoRadii(nut=both, end=both)
    object.__setattr__(radii, "written", value.strip() if isinstance(value, str) else "")
    return radii


FRETLESS = "for a board without frets write as many as one of its length has, and leave [slots] out"


@holding(FRET.words, limits=FRET.limits)
def _frets(value: Any, place: Place) -> int:
    """How many; 0 is what is written for none."""
    if value == 0 and value is not False:
        raise place.refuse(f"{shown(value)} given", allowed=f"a whole number from {FRET.limits}", remedy=FRETLESS)
    return int(FRET(value, place))


@holding("ratio", limits=f"above 1, at most {HIGHEST_RATIO}")
def _ratio(value: Any, place: Place) -> float:
    """A number, or a text like "3/2"."""
    parts = value.split("/") if isinstance(value, str) else [value]
    try:
        ratio = float(parts[0]) / float(parts[1] if len(parts) == 2 else 1)
    except (TypeError, ValueError, ZeroDivisionError):
        ratio = math.nan
    if isinstance(value, bool) or len(parts) > 2 or not 1 < ratio <= HIGHEST_RATIO:
        raise place.refuse(f"{shown(value)} given",
                           allowed=f'a ratio above 1, at most {HIGHEST_RATIO}, like 1.5 or "3/2"')
    return ratio


@dataclass(frozen=True, kw_only=True)
class PartialFretTable:
    """A fret that stops within the board."""

    fret: int = key(FRET_OR_NUT, "its number")
    across: tuple[float, float] = key(span(-200.0, 200.0),
                                      "[from, to] from the centre-line; + to the treble side, left-handed too")


@dataclass(frozen=True, kw_only=True)
class EndTable:
    """The shape of an end of the board."""

    rise: float = key(size(-100.0, 100.0), "an arch this high over the straight end; negative: hollow", 0.0)
    steps: tuple[tuple[float, float], ...] = key(
        list_of(list_of(size(-200.0, 200.0), names=("across", "by")), least=1, most=12),
        "[[across, by], ..]: from there (+ to the treble side, left-handed too) to the treble edge the end lies `by` "
        "further out", ())
    corner_radius: float = key(size(0.0, 50.0), "both corners rounded", 0.0)


@dataclass(frozen=True, kw_only=True)
class ReliefTable:
    """A dip under the strings."""

    depth: float = key(size(0.01, MOST_LOWERED), f"at its deepest; 0 at the nut; {_SLOPE}")
    fret: int = key(FRET, "where it is deepest", 7)
    to: int = key(FRET, "the fret where it is gone", 14)


@dataclass(frozen=True, kw_only=True)
class FallAwayTable:
    """The board falling away from the strings over the last frets."""

    drop: float = key(size(0.01, MOST_LOWERED), f"at the board's end; {_SLOPE}")
    fret: int = key(FRET, "where it starts", 14)
    shape: str = key(choice("straight", "curved"), "a straight line, or a curve that starts level", "straight")


@dataclass(frozen=True, kw_only=True)
class BoardNumbers:
    """``[board]``: the part."""

    INSTEAD: ClassVar[dict[str, str]] = {"fretless": FRETLESS}

    scale_length: FannedScale = key(
        _scale, "nut to bridge along the centre-line; or { bass, treble, straight_fret } for fanned frets")
    frets: int = key(_frets, "how many frets; of a board without as many as its length would have, without [slots]", 0,
                     shown="required, or as many as ratios")
    nut_width: float = key(size(*WIDTHS), "finished width at the nut face, edge to edge")
    end_width: float = key(size(*WIDTHS), "finished width at the board's end")
    past_last_fret: float = key(size(1.0, 200.0), "how far the board's end, before its arch or steps, lies past the "
                                "last fret, on the centre-line", 10.0)
    thickness: float = key(size(1.0, 50.0, usual=(3.0, 12.0)), "finished thickness at the centre-line")
    radius: TwoRadii = key(_radius, 'radius of the top: one length, { nut, end }, or "flat"; '
                           f"{_SLOPE} along the board, {math.degrees(math.atan(STEEPEST_ACROSS)):g} degrees across it")
    divisions: int = key(number(1, 72, whole=True), "equal divisions of the octave", 12)
    ratios: tuple[float, ...] = key(
        list_of(_ratio, least=1, most=60),
        'pitch of each fret over the open string, like "9/8"; a list that ends in 2 goes on in the next octave', (),
        shown="equal divisions")
    nut_offset: float = key(size(0.0, 10.0), "all frets and the bridge lie this much nearer to the nut face, which "
                            "compensates the open strings", 0.0)
    zero_fret: bool = key(yes_or_no, "a fret at the nut face; the nut behind it only guides the strings", False)
    partial_frets: tuple[PartialFretTable, ...] = key(
        list_of(table_of(PartialFretTable)), "frets that stop within the board: { fret, across }", ())
    left_handed: bool = key(yes_or_no, "bass and treble sides change places: bass is at + across", False)
    behind_nut: float = key(size(0.0, 100.0), "how far the board runs on behind the nut face", 0.0)
    edge_to_string: float = key(size(0.0, 20.0), "from each edge in to its outer string", 3.0)
    nut_end: EndTable = key(table_of(EndTable), "shape of the end at the nut: { rise, steps, corner_radius }", EndTable,
                            shown="straight")
    end: EndTable = key(table_of(EndTable), "shape of the other end: { rise, steps, corner_radius }", EndTable,
                        shown="straight")
    relief: ReliefTable | None = key(table_of(ReliefTable), "a dip along the board, cut into it: { depth, fret, to }",
                                     None, shown="none")
    fall_away: FallAwayTable | None = key(
        table_of(FallAwayTable), "the board falls away from the strings: { drop, fret, shape }", None, shown="none")
    binding: float = key(size(0.0, 10.0), "thickness glued on each long side later; the board is cut narrower by it",
                         0.0)
    bound: bool = key(yes_or_no, "true: the binding is on the blank already, and the board is cut with it", False)
    min_web: float = key(size(0.0, 20.0), "least wood left under any pocket or slot", 1.0, inch=0.04)
    strings: int = key(  # None until loading fills it in
        number(1, MOST_STRINGS, whole=True), "how many, for the straightness under each", None,
        shown="as many as [strings] gauges has, else 6")
    side_dots: tuple[int, ...] | None = key(list_of(FRET),
                                            "frets with dots in the side; octaves have two", None, shown=USUAL)

    @property
    def bass_side(self) -> int:
        """-1 or +1: the sign of y on the bass side."""
        return 1 if self.left_handed else -1

    @property
    def to_outer_strings(self) -> float:
        """From each edge in to its outer string, mm."""
        own = self.scale_length.edge_to_string
        return self.edge_to_string if own is None else own
