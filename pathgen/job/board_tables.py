"""The job file's tables for the board: its scale, radius, ends, dots, frets, strings and neck, tools cut beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, ClassVar

from pathgen.base.lowered import MOST_LOWERED
from pathgen.base.slopes import STEEPEST, STEEPEST_ACROSS
from pathgen.job.inlay_tables import LEAST_POCKET, InlayTable, colour
from pathgen.job.keys import (
    CUTTER,
    CUTTERS,
    FRET,
    FRET_OR_NUT,
    Place,
    choice,
    holding,
    holds,
    is_length,
    key,
    limits_of,
    list_of,
    number,
    read_table,
    shown,
    size,
    span,
    table_of,
    yes_or_no,
)
from pathgen.parts.fingerboard.dots import USUAL_DIAMETERS, USUAL_FRETS, Dots
from pathgen.parts.fingerboard.fretting import Crown, FretWire, Tang, WireSize
from pathgen.parts.fingerboard.neck import Neck
from pathgen.parts.fingerboard.numbers import BoardNumbers, End, FallsAway, PartialFret, Radii, ReliefAt, Scale
from pathgen.parts.fingerboard.stringing import BEHIND_ZERO_FRET, Course, Strings
from pathgen.work.features import LEAST_TAB

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
        size(0.0, 20.0), "from each edge in to its outer string", None, shown="[board] edge_to_string")


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
    if isinstance(value, dict):
        return read_table(FannedScale, value, place)
    both = SCALE(value, place)
    return FannedScale(bass=both, treble=both)


@holding('length, table or "flat"', TwoRadii, limits=limits_of(RADIUS))
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


@holding(*holds(FRET), limits=limits_of(FRET))
def _frets(value: Any, place: Place) -> int:
    """How many; 0 is what is written for none."""
    if value == 0 and value is not False:
        raise place.refuse(f"{shown(value)} given", allowed=f"a whole number from {limits_of(FRET)}", remedy=FRETLESS)
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
        "further out", ())
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

    INSTEAD: ClassVar[dict[str, str]] = {"fretless": FRETLESS}

    scale_length: FannedScale = key(
        _scale, "nut to bridge along the centre-line; or { bass, treble, straight_fret } for fanned frets")
    frets: int = key(_frets, "how many frets; of a board without as many as its length would have, without [slots]", 0,
                     shown="required, or as many as ratios")
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
    thickness: float = key(size(1.0, 50.0, usual=(3.0, 12.0)), "finished thickness at the centre-line")
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


@dataclass(frozen=True, kw_only=True)
class TangTable(Tang):
    """The tang of the fret wire."""

    width: float = key(size(0.2, 2.0), "of the tang", 0.5)
    depth: float = key(size(0.2, 5.0), "how far it goes down under the crown", 1.6)
    studs: float = key(size(0.2, 2.5), "width over its studs", 0.7)


@dataclass(frozen=True, kw_only=True)
class CrownTable(Crown):
    """The crown of the fret wire."""

    width: float = key(size(0.5, 5.0), "across", 2.4)
    height: float = key(size(0.2, 3.0), "over the board", 1.2)


@dataclass(frozen=True, kw_only=True)
class WireSizeTable(WireSize):
    """Wire of another size for some of the frets."""

    frets: tuple[int, int] = key(list_of(FRET_OR_NUT, names=("first", "last")), "[first, last] that it is for")
    tang: TangTable | None = key(table_of(TangTable), "{ width, depth, studs }", None, shown="that of [frets]")
    crown: CrownTable | None = key(table_of(CrownTable), "{ width, height }", None, shown="that of [frets]")


@dataclass(frozen=True, kw_only=True)
class FretsTable(FretWire):
    """``[frets]``: the wire, for the fretting sheet."""

    tang: TangTable = key(table_of(TangTable), "{ width, depth, studs }", TangTable, shown="a usual one")
    crown: CrownTable = key(table_of(CrownTable), "{ width, height }", CrownTable, shown="a usual one")
    sizes: tuple[WireSizeTable, ...] = key(
        list_of(table_of(WireSizeTable), least=1, most=12), "other wire for some frets: { frets, tang, crown }", (),
        shown="one wire for all")
    overhang: float = key(size(0.0, 20.0), "past each finished edge, filed off later", 2.0, inch=0.08)
    bend: float = key(number(0.0, 0.5), "share by which a fret is bent to a smaller radius than the board's", 0.15)
    tang_gap: float = key(size(0.0, 3.0), "left between a nipped tang and each end of its slot", 0.5)
    waste: float = key(number(0.0, 1.0), "share added to the wire to buy", 0.1)


DOT_COLOURS = {"pearl": "#ece9e0", "black": "#222222", "brass": "#b99a4b"}


@dataclass(frozen=True, kw_only=True)
class DotsTable(Dots):
    """``[dots]``: dots in the face of the board, pocketed and filled like an inlay, after the drawings."""

    diameter: float = key(size(0.5, 30.0), f"of the dots; usual are {', '.join(f'{d:g}' for d in USUAL_DIAMETERS)} mm "
                          "(from memory)")
    depth: float = key(size(LEAST_POCKET, 10.0), "straight down from the surface")
    cutters: tuple[str, ...] = key(CUTTERS, "names, largest first, a v last")
    frets: tuple[int, ...] | None = key(list_of(FRET, least=1, most=60), "frets that have one",
                                        None, shown=f"those of {', '.join(map(str, USUAL_FRETS))} that there are")
    octave: str = key(choice("across", "along"), "how the two dots of an octave lie", "across")
    apart: float | None = key(size(1.0, 100.0), "between the centres of two dots across", None,
                              shown="half of the width there; along an edge 1.5 diameters, the second inside the line")
    line: str = key(choice("centre", "bass", "treble"), "the line they lie on: the centre-line, or along an edge",
                    "centre")
    inset: float = key(size(0.0, 100.0), "of their centres from that edge", 8.0)
    fill: str = key(choice("resin", "piece"), "resin, or dots let in", "piece")
    gap: float = key(size(0.0, 1.0), 'with fill = "piece": between dot and pocket all round', 0.05)
    overfill: float = key(size(0.0, 10.0), "how far dots or cured resin stand above the surface", 0.5, inch=0.02)
    colour: str = key(choice(*DOT_COLOURS), "in the pictures: " + " or ".join(DOT_COLOURS), "pearl")


@dataclass(frozen=True, kw_only=True)
class DotsInlay(InlayTable):
    """``[dots]`` as the inlay that they are cut as."""

    table: ClassVar[str] = "[dots]"
    dots: DotsTable

    def written(self, number: int) -> str:
        """Where its keys stand in the job file."""
        return self.table


def dots_inlay(dots: DotsTable) -> DotsInlay:
    """The inlay that dots are cut as: it has no drawing."""
    return DotsInlay(artwork="", depth=dots.depth, cutters=dots.cutters, fill=dots.fill, overfill=dots.overfill,
                     dots=dots)


@dataclass(frozen=True, kw_only=True)
class SideDotsTable:
    """``[side_dots]``: holes for them in the bass edge, drilled by ``pathgen side-dots`` in the finished board."""

    cutter: str = key(CUTTER, "a flat-end cutter, over half as wide as the holes")
    diameter: float | None = key(size(0.5, 10.0), "of the holes; 1.5 to 2.5 mm are usual (from memory)", None,
                                 shown="the cutter's")
    depth: float = key(size(0.3, 20.0), "from the edge", 3.0)


TOOL_TAB = 0.8
"""Height of tabs of gauges, nut and saddle blanks where nobody says it, mm."""


def tool_tab_height() -> Any:
    """Of the tabs of a flat tool."""
    return key(size(LEAST_TAB, 10.0), "of the tabs", None,
               shown=f"{TOOL_TAB:g} mm, but at most two thirds of thickness")


@dataclass(frozen=True, kw_only=True)
class BlockTable:
    """``[block]``: a hollow block of the board's radius, for pressing frets or sanding; cut by ``pathgen block``."""

    cutter: str = key(CUTTER, "a ball-end cutter")
    frets: tuple[int, int] | None = key(
        list_of(FRET_OR_NUT, names=("from", "to")),
        "[from, to]; 0 is the nut. It reaches 3 mm past a fret, all along it", None,
        shown="nut to last fret")
    width: float | None = key(size(10.0, 300.0), "across the board", None, shown="the board's and 5 mm on each side")
    thickness: float = key(size(3.0, 100.0), "of its blank", 20.0)
    margin: float = key(size(0.0, 100.0), "how far its blank stands out all round", 10.0)
    least: float = key(size(0.5, 50.0), "least wood under the hollow", 5.0)
    scallop: float = key(size(0.0005, 1.0), "ridge height allowed", 0.02)
    outline: str | None = key(CUTTER, "a flat-end cutter that cuts it free", None, shown="not cut")


@dataclass(frozen=True, kw_only=True)
class GaugesTable:
    """``[gauges]``: flat gauges of the board's radius, cut from sheet by ``pathgen gauges``."""

    cutter: str = key(CUTTER, "a flat-end cutter")
    frets: tuple[int, ...] | None = key(list_of(FRET_OR_NUT, least=1, most=12),
                                        "where the radius is taken; 0 is the nut", None, shown="nut, 12th, last")
    along: bool = key(yes_or_no, "one more for the centre-line, with relief and fall-away", False)
    thickness: float = key(size(0.5, 20.0), "of the sheet", 3.0)
    height: float = key(size(8.0, 100.0), "of each gauge, over its arc", 25.0)
    tabs: int = key(number(2, 10, whole=True), "how many tabs hold each", 2)
    tab_height: float | None = tool_tab_height()
    engraver: str | None = key(CUTTER, "a v cutter that engraves the radius on each", None, shown="no labels")
    engrave_depth: float = key(size(0.05, 2.0), "of the labels", 0.2)


@dataclass(frozen=True, kw_only=True)
class CouponTable:
    """``[coupon]``: scrap of the same wood that ``pathgen coupon`` tries the job's cutters on."""

    thickness: float | None = key(size(2.0, 100.0), "of the scrap", None, shown="the blank's")
    cutters: tuple[str, ...] | None = key(list_of(CUTTER, least=1, most=12), "the flat ends that cut a square to be "
                                          "measured", None, shown="those of inlays and outline")


@dataclass(frozen=True, kw_only=True)
class NutAndSaddleTable:
    """``[saddle_blank]``: a flat plate with the board's curve on top; cut by ``pathgen nut``."""

    cutter: str = key(CUTTER, "a flat-end cutter that cuts it out")
    thickness: float | None = key(size(0.5, 20.0), "of the plate it is cut from, flat on its face", 3.0)
    height: float | None = key(size(3.0, 60.0), "in the middle, from its bottom to its top", None, shown="required")
    overhang: float = key(size(0.0, 30.0), "past the outer strings at each end", 4.0)
    tabs: int = key(number(0, 10, whole=True), "how many tabs hold it, on its ends; 0: it is stuck down", 2)
    tab_height: float | None = tool_tab_height()
    engraver: str | None = key(CUTTER, "a v cutter that marks the strings' places and the radius on its face", None,
                               shown="no marks")
    engrave_depth: float = key(size(0.05, 2.0), "of the marks", 0.2)


@dataclass(frozen=True, kw_only=True)
class NutBlankTable(NutAndSaddleTable):
    """``[nut_blank]``: the same for the nut."""

    thickness: float | None = key(size(0.5, 20.0), "of the plate it is cut from, flat on its face", None,
                                  shown="[nut] width; 6 mm without it")
    height: float | None = key(size(3.0, 60.0), "in the middle, from its bottom to its top", None,
                               shown="from [nut], [strings] and [frets]")
    overhang: float = key(size(0.0, 30.0), "past the board's edge at each end, filed off later", 0.5)


_EACH = "bass first; "


@dataclass(frozen=True, kw_only=True)
class CourseTable(Course):
    """Strings that stand together."""

    strings: int = key(number(2, 6, whole=True), "of each course")
    gap: float = key(size(0.2, 10.0), "clear, between neighbours of one course")


@dataclass(frozen=True, kw_only=True)
class StringsTable(Strings):
    """``[strings]``: the set of strings, for nut, saddle and compensation."""

    gauges: tuple[float, ...] = key(list_of(size(0.1, 5.0), least=1, most=MOST_STRINGS), _EACH + "outer diameters")
    spacing: str = key(choice("gaps", "centres"), "what is equal between neighbours or courses: clear gaps, or centres",
                       "gaps")
    course: Course | None = key(
        table_of(CourseTable), "strings that stand together, as a mandolin's: { strings, gap }", None, shown="none")
    clear: float = key(  # None until loading fills it in
        size(-2.0, 3.0), "at the nut, from a string's underside down to the plane of the frets' tops; less than 0: the "
        "nut's slots end under it, as behind a zero fret", None,
        shown=f"0.2 mm; with a zero fret {BEHIND_ZERO_FRET:g} mm")
    action_12: float = key(size(0.0, 10.0), "from the top of the 12th fret to the string", 2.0)
    nut_height: float | None = key(size(0.5, 20.0), "of the nut's top over the board", None,
                                   shown="half of each string stands out")
    pitches: tuple[float, ...] = key(list_of(number(10.0, 5000.0, unit="Hz")), _EACH + "open strings, Hz", (),
                                     shown="no cents")
    mass: tuple[float, ...] = key(list_of(number(0.01, 100.0, unit="g/m")), _EACH + "g per m", (), shown="no cents")
    core: tuple[float, ...] = key(list_of(size(0.05, 5.0)), _EACH + "diameters of the cores", (), shown="no cents")
    modulus: tuple[float, ...] = key(list_of(number(0.5, 400.0, unit="GPa")),
                                     _EACH + "of elasticity of the cores, GPa", (), shown="no cents")
    nut_compensation: tuple[float, ...] = key(
        list_of(size(-10.0, 10.0)), _EACH + "how far the nut's edge lies nearer to the first fret", (), shown="none")
    saddle_compensation: tuple[float, ...] = key(
        list_of(size(-20.0, 20.0)), _EACH + "how far the saddle lies behind the scale length", (), shown="none")


@dataclass(frozen=True, kw_only=True)
class NeckKeys(Neck):
    """``[neck]``: the neck against the body, for ``pathgen neck``."""

    kind: str = key(choice("steel", "nylon", "other"), "which saddle heights are usual: of steel or nylon strings over "
                    "a flat top, or those of saddle_range")
    angle: float = key(number(-10.0, 20.0, unit="degrees"), "of the neck against the body, leaning back")
    joint_fret: int = key(FRET, "the fret over the joint")
    fret_height: float = key(size(0.0, 5.0), "of the crowns over the board")
    action_12: float = key(size(-50.0, 20.0), "from the top of the 12th fret to the string")
    action_nut: float = key(  # None until loading fills it in
        size(-50.0, 10.0), "at the nut, over the plane of the frets' tops", None,
        shown="[strings] clear; 0 mm without, or with a zero fret")
    joint_height: float = key(size(-50.0, 50.0), "of the board's underside over the body, at the joint", 0.0)
    body_at_bridge: float = key(size(-50.0, 50.0), "height of the body at the bridge over that at the joint", 0.0)
    saddle_above_bridge: float = key(size(0.0, 20.0), "how far the saddle stands out of the bridge", 3.0)
    saddle: float | None = key(size(0.0, 100.0), "wanted height of its top over the body", None,
                               shown="the middle of the range")
    saddle_range: tuple[float, float] | None = key(span(0.0, 100.0), "[lowest, highest] that your bridge allows", None,
                                                   shown='what is usual; required for kind "other"')
    head_length: float = key(size(0.0, 400.0), "of the head", 180.0)
    head_angle: float = key(number(0.0, 30.0, unit="degrees"), "of the head, sawn from the same blank", 0.0)
    head_thickness: float = key(size(0.0, 50.0), "of the head", 15.0)
    tenon: float = key(size(0.0, 600.0), "how far the neck runs on past the joint", 0.0)
    spare: float = key(size(0.0, 100.0), "waste at each end of the neck blank", 10.0)
    blank: float | None = key(size(10.0, 2000.0), "length of the neck blank that there is", None, shown="not checked")
