"""The job file's tables for the board: its scale, radius, ends, relief and all else that is said of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from pathgen.base.lowered import MOST_LOWERED
from pathgen.base.slopes import STEEPEST, STEEPEST_ACROSS
from pathgen.job.inlay_tables import colour
from pathgen.job.keys import (
    FRET,
    FRET_OR_NUT,
    Place,
    choice,
    holding,
    is_length,
    is_table,
    key,
    limits_of,
    list_of,
    number,
    read_table,
    shown,
    size,
    span,
    yes_or_no,
)
from pathgen.job.keys import table as table_of
from pathgen.parts.fingerboard.dots import USUAL_FRETS
from pathgen.parts.fingerboard.numbers import BoardNumbers, End, FallsAway, PartialFret, Radii, ReliefAt, Scale

SCALE = size(100.0, 2000.0)
RADIUS = size(25.0, 100_000.0)
HIGHEST_RATIO = 64
MOST_STRINGS = 24
"""Twelve double courses."""
_SLOPE = f"nowhere steeper than 1 in {1.0 / STEEPEST:g}"


@dataclass(frozen=True, kw_only=True)
class FannedScale(Scale):
    """Two scale lengths: ``scale_length = { bass = .., treble = .. }``."""

    bass: float = key(SCALE, "scale length of the lowest string, along itself")
    treble: float = key(SCALE, "scale length of the highest string, along itself")
    straight_fret: float = key(number(0, 60), "the fret that is square to the centre-line; 0 is the nut", 0.0)
    edge_to_string: float | None = key(
        size(0.0, 20.0), "from each edge in to its outer string", None, shown="[board] edge_to_string"
    )


@dataclass(frozen=True, kw_only=True)
class TwoRadii(Radii):
    """A compound radius: ``radius = { nut = .., end = .. }``, or bridge or follow instead of end."""

    nut: float = key(RADIUS, "radius across the board at the nut")
    end: float | None = key(RADIUS, "radius across the board at its end", None, shown="or bridge, or follow")
    bridge: float | None = key(RADIUS, "radius at the bridge, on the same straight line", None, shown="or end")
    follow: str | None = key(choice("strings"), '"strings": straight under every string', None, shown="or end")
    written: str = field(default="", init=False, repr=False, compare=False)
    """One length with a unit of its own, as it stands in the file."""


@holding("length or table", FannedScale, limits=limits_of(SCALE))
def _scale(value: Any, place: Place) -> FannedScale:
    if is_table(value):
        return read_table(FannedScale, value, place)
    both = SCALE(value, place)
    return FannedScale(bass=both, treble=both)


@holding('length, table or "flat"', TwoRadii, limits=limits_of(RADIUS))
def _radius(value: Any, place: Place) -> TwoRadii:
    if value == "flat":
        return TwoRadii(nut=math.inf, end=math.inf)
    if is_table(value):
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
class PartialFretTable(PartialFret):
    """A fret that stops within the board."""

    fret: int = key(FRET_OR_NUT, "its number")
    across: tuple[float, float] = key(span(-200.0, 200.0),
                                      "[from, to] from the centre-line; + to the treble side, left-handed too")


@dataclass(frozen=True, kw_only=True)
class EndTable(End):
    """The shape of an end of the board."""

    rise: float = key(size(-100.0, 100.0), "an arch this high over the straight end; negative: hollow", 0.0)
    steps: tuple[tuple[float, float], ...] = key(
        list_of(list_of(size(-200.0, 200.0), names=("across", "by")), least=1, most=12),
        "[[across, by], ..]: from there (+ to the treble side, left-handed too) to the treble edge the end lies `by` "
        "further out", ()
    )
    corner_radius: float = key(size(0.0, 50.0), "both corners rounded", 0.0)


@dataclass(frozen=True, kw_only=True)
class ReliefTable(ReliefAt):
    """A dip under the strings."""

    depth: float = key(size(0.01, MOST_LOWERED), f"at its deepest; 0 at the nut; {_SLOPE}")
    fret: int = key(FRET, "where it is deepest", 7)
    to: int = key(FRET, "the fret where it is gone", 14)


@dataclass(frozen=True, kw_only=True)
class FallAwayTable(FallsAway):
    """The board falling away from the strings over the last frets."""

    drop: float = key(size(0.01, MOST_LOWERED), f"at the board's end; {_SLOPE}")
    fret: int = key(FRET, "where it starts", 14)
    shape: str = key(choice("straight", "curved"), "a straight line, or a curve that starts level", "straight")


@dataclass(frozen=True, kw_only=True)
class BoardTable(BoardNumbers):
    """``[board]``: the part."""

    scale_length: FannedScale = key(
        _scale, "nut to bridge along the centre-line; or { bass, treble, straight_fret } for fanned frets"
    )
    frets: int = key(FRET, "how many frets", 0, shown="required, or as many as ratios")
    divisions: int = key(number(1, 72, whole=True), "equal divisions of the octave", 12)
    ratios: tuple[float, ...] = key(
        list_of(_ratio, least=1, most=60),
        'pitch of each fret over the open string, like "9/8"; a list that ends in 2 goes on in the next octave', (),
        shown="equal divisions",
    )
    nut_offset: float = key(size(0.0, 10.0), "all frets and the bridge lie this much nearer to the nut face, which "
                            "compensates the open strings", 0.0)
    zero_fret: bool = key(yes_or_no, "a fret at the nut face; the nut behind it only guides the strings", False)
    partial_frets: tuple[PartialFretTable, ...] = key(
        list_of(table_of(PartialFretTable)), "frets that stop within the board: { fret, across }", ()
    )
    left_handed: bool = key(yes_or_no, "bass and treble sides change places: bass is at + across", False)
    nut_width: float = key(size(10.0, 200.0), "finished width at the nut face, edge to edge")
    end_width: float = key(size(10.0, 200.0), "finished width at the board's end")
    past_last_fret: float = key(size(1.0, 200.0), "how far the board's end, before its arch or steps, lies past the "
                                "last fret, on the centre-line", 10.0)
    behind_nut: float = key(size(0.0, 100.0), "how far the board runs on behind the nut face", 0.0)
    edge_to_string: float = key(size(0.0, 20.0), "from each edge in to its outer string", 3.0)
    strings: int = key(  # None until loading fills it in
        number(1, MOST_STRINGS, whole=True), "how many, for the straightness under each", None,
        shown="as many as [strings] gauges has, else 6")
    nut_end: EndTable = key(table_of(EndTable), "shape of the end at the nut: { rise, steps, corner_radius }", EndTable,
                            shown="straight")
    end: EndTable = key(table_of(EndTable), "shape of the other end: { rise, steps, corner_radius }", EndTable,
                        shown="straight")
    thickness: float = key(size(1.0, 50.0), "finished thickness at the centre-line")
    radius: TwoRadii = key(_radius, 'radius of the top: one length, { nut, end }, or "flat"; '
                           f"{_SLOPE} along the board, {math.degrees(math.atan(STEEPEST_ACROSS)):g} degrees across it")
    relief: ReliefTable | None = key(table_of(ReliefTable), "a dip along the board, cut into it: { depth, fret, to }",
                                     None, shown="none")
    fall_away: FallAwayTable | None = key(
        table_of(FallAwayTable), "the board falls away from the strings: { drop, fret, shape }", None, shown="none")
    binding: float = key(size(0.0, 10.0), "thickness glued on each long side later; the board is cut narrower by it",
                         0.0)
    bound: bool = key(yes_or_no, "true: the binding is on the blank already, and the board is cut with it", False)
    side_dots: tuple[int, ...] | None = key(list_of(FRET),
                                            "frets with dots in the side; 12, 24 .. have two", None,
                                            shown=f"those of {', '.join(map(str, USUAL_FRETS))} that there are")
    min_web: float = key(size(0.0, 20.0), "least wood left under any pocket or slot", 1.0, inch=0.04)
    wood_colour: str | None = key(colour, 'colour of the bare wood, like "#3b2a20", to compare fills with', None,
                                  shown="not compared")
    wood_colour_finished: str | None = key(colour, "colour of the wood under its finish", None, shown="not compared")
