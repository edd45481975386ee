"""The job file's tables: every key, its default, its limits and what it means."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar, Literal

from pathgen.artwork.values import Colour, parse_colour
from pathgen.base.cutters import LIMITS
from pathgen.base.errors import JobError
from pathgen.base.lowered import MOST_LOWERED
from pathgen.base.scallop import RIDGES
from pathgen.base.slopes import STEEPEST, STEEPEST_ACROSS
from pathgen.job.keys import (
    ALONG_ACROSS,
    XYZ,
    Place,
    choice,
    holding,
    holds,
    is_length,
    is_table,
    key,
    limits_of,
    list_of,
    number,
    one_of,
    rate,
    read_table,
    shown,
    size,
    span,
    text,
    yes_or_no,
)
from pathgen.job.keys import table as table_of
from pathgen.parts.fingerboard.dots import USUAL_FRETS
from pathgen.parts.fingerboard.numbers import BoardNumbers, End, FallsAway, PartialFret, Radii, ReliefAt, Scale
from pathgen.parts.fingerboard.part import ZEROS
from pathgen.parts.flat.part import PLACES
from pathgen.strategies.cutting_out import MOST_LAP
from pathgen.work.clamping import LEAST_CLEARANCE, Along, KeepOut, Machine, Setup, Stock
from pathgen.work.features import LEAST_TAB, Bottom, Entry, OutlineCut
from pathgen.work.fill import DAM, LEAST_BATCH, LEAST_WASTE, MEASURE, WASTE
from pathgen.work.mark_errors import ACCURACY, BOARD_LIMIT

SCALE = size(100.0, 2000.0)
RADIUS = size(25.0, 100_000.0)
HIGHEST_RATIO = 64
USUAL_SCALLOP, USUAL_RIDGES = 0.01, (0.005, 0.02)
LEAST_DEPTH, LEAST_POCKET = 0.1, 0.05
"""Of slots, holes and channels, and of inlays, mm."""
MOST_STRINGS = 24
"""Twelve double courses."""
PART = number(0.0, 10_000.0)
"""How many parts of a resin's mix."""


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


@holding("colour")
def colour(value: Any, place: Place) -> str:
    """A colour like ``"#2f6f4f"``."""
    digits = value[1:] if isinstance(value, str) and value.startswith("#") else ""
    if len(digits) == 3:
        digits = "".join(2 * c for c in digits)
    if len(digits) != 6 or any(c not in "0123456789abcdefABCDEF" for c in digits):
        named = (parse_colour(value) or parse_colour(f"#{value}")) if isinstance(value, str) else None
        raise place.refuse(f"{shown(value)} given", allowed='a colour like "#2f6f4f"',
                           remedy=f'write "{named.hex}"' if isinstance(named, Colour) else "")
    return "#" + digits.lower()


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

    fret: int = key(number(0, 60, whole=True), "its number")
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


_SLOPE = f"nowhere steeper than 1 in {1.0 / STEEPEST:g}"


@dataclass(frozen=True, kw_only=True)
class ReliefTable(ReliefAt):
    """A dip under the strings."""

    depth: float = key(size(0.01, MOST_LOWERED), f"at its deepest; 0 at the nut; {_SLOPE}")
    fret: int = key(number(1, 60, whole=True), "where it is deepest", 7)
    to: int = key(number(1, 60, whole=True), "the fret where it is gone", 14)


@dataclass(frozen=True, kw_only=True)
class FallAwayTable(FallsAway):
    """The board falling away from the strings over the last frets."""

    drop: float = key(size(0.01, MOST_LOWERED), f"at the board's end; {_SLOPE}")
    fret: int = key(number(1, 60, whole=True), "where it starts", 14)
    shape: str = key(choice("straight", "curved"), "a straight line, or a curve that starts level", "straight")


@dataclass(frozen=True, kw_only=True)
class BoardTable(BoardNumbers):
    """``[board]``: the part."""

    scale_length: FannedScale = key(
        _scale, "nut to bridge along the centre-line; or { bass, treble, straight_fret } for fanned frets"
    )
    frets: int = key(number(1, 60, whole=True), "how many frets", 0, shown="required, or as many as ratios")
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
    side_dots: tuple[int, ...] | None = key(list_of(number(1, 60, whole=True)),
                                            "frets with dots in the side; 12, 24 .. have two", None,
                                            shown=f"those of {', '.join(map(str, USUAL_FRETS))} that there are")
    min_web: float = key(size(0.0, 20.0), "least wood left under any pocket or slot", 1.0, inch=0.04)
    wood_colour: str | None = key(colour, 'colour of the bare wood, like "#3b2a20", to compare fills with', None,
                                  shown="not compared")
    wood_colour_finished: str | None = key(colour, "colour of the wood under its finish", None, shown="not compared")


@dataclass(frozen=True, kw_only=True)
class StockTable(Stock):
    """``[stock]``: the raw blank, centred on the centre-line."""

    length: float = key(size(50.0, 3000.0), "along the board")
    width: float = key(size(10.0, 1000.0), "across the board")
    thickness: float = key(size(0.5, 100.0), "as it lies on the bed")
    margin_nut: float = key(size(0.0, 500.0), "how far it stands out before the nut face", 10.0, inch=0.4)


@dataclass(frozen=True, kw_only=True)
class KeepOutTable:
    """A clamp or another thing in the way, in the board's frame."""

    along: tuple[float, float] | None = key(
        span(-3000.0, 3000.0), "[from, to]: 0 is the nut face, negative before it", None, shown="required")
    across: tuple[float, float] | None = key(
        span(-1000.0, 1000.0), "[from, to]: 0 is the centre-line, negative on the lower side of the pictures", None,
        shown="required")
    height: float = key(size(0.0, 500.0), "above the bed")
    x: tuple[float, float] | None = key(span(-3000.0, 3000.0), "older name of along", None)
    y: tuple[float, float] | None = key(span(-1000.0, 1000.0), "older name of across", None)


@holding("table", KeepOutTable)
def _keep_out(value: Any, place: Place) -> KeepOut:
    table = read_table(KeepOutTable, value, place)
    for name, older in (("along", "x"), ("across", "y")):
        given = [n for n in (name, older) if getattr(table, n) is not None]
        if len(given) != 1:
            raise place.refuse(f"{name} is missing" if not given else f"{name} and its older name {older} are given",
                               remedy=f"give {name} = [from, to], once")
    return KeepOut(x=table.along or table.x, y=table.across or table.y,  # type: ignore[arg-type]
                   height=table.height, older_names=table.along is None or table.across is None)


_ANY_ZERO = choice(*ZEROS, *PLACES)


@holding(*holds(_ANY_ZERO))
def _zero(value: Any, place: Place) -> str:
    """Of what is no place at all those are told that may be where such a part has them."""
    known = value in (*ZEROS, *PLACES)
    return str((_ANY_ZERO if known else choice(*(ZEROS if "board" in place.tables else PLACES)))(value, place))


@dataclass(frozen=True, kw_only=True)
class SetupTable(Setup):
    """``[setup]``: where zero is, and how the board lies on the machine."""

    z_zero: Literal["bed", "stock-top"] = key(choice("bed", "stock-top"), "where the programs' Z is 0", "bed")
    zero: str | None = key(_zero, "where X 0, Y 0 of the programs is: on the part, or on the "
                           "blank; a board has nut and end, other parts have near and far",
                           None, shown='"nut-centre"; "near-centre" of a plate')
    along: Along = key(choice("x", "y"), "the machine axis that the strings run along", "x")
    keep_out: tuple[KeepOut, ...] = key(
        list_of(_keep_out), "clamps and other things in the way: { along, across, height }", ()
    )
    feeler: float = key(size(0.01, 20.0), "thickness of the feeler or slip of paper that each zero is checked with",
                        0.1, inch=0.004)

    @property
    def elsewhere(self) -> Setup:
        """For another blank: zero at its end, and no clamps, which stand round the job's own."""
        return Setup(z_zero=self.z_zero, along=self.along, feeler=self.feeler)


@dataclass(frozen=True, kw_only=True)
class MachineTable(Machine):
    """``[machine]``: the router."""

    clearance: float = key(size(LEAST_CLEARANCE, 200.0), "how far rapids across the work pass above blank, clamps and "
                           "fill, whichever is highest; within a pocket, and from slot to slot where no clamp stands, "
                           "they are lower", 10.0, inch=0.4)
    rapid: float = key(rate(100.0, 200_000.0), "speed of rapids, per minute", 5000.0)
    acceleration: float = key(size(1.0, 50_000.0), "per second squared, for the time estimate", 400.0)
    travel: tuple[float, float, float] | None = key(
        list_of(size(10.0, 10_000.0), names=XYZ), "[X, Y, Z] that the machine can move; checked when given",
        None, shown="not checked",
    )
    spindle: tuple[float, float] | None = key(
        span(0, 200_000, unit="rpm"), "[lowest, highest] speed of the spindle, rpm; checked when given", None,
        shown="not checked",
    )
    arcs: bool = key(yes_or_no, "whether G2 and G3 may be written", False)
    resolution: float = key(size(0.0001, 0.5), "its smallest step, for the fret table's cents", 0.005)
    spin_up: float = key(number(0.0, 60.0, unit="seconds"), "wait after the spindle starts, written as G4 P in "
                         "seconds; machines that count P in thousandths wait less", 3.0)
    repeatability: float = key(size(0.0, 1.0), "how far off in X and Y it comes back to a place: for cents off and the "
                               "error budget; nothing in the way may come nearer to a cutter", 0.05)


@dataclass(frozen=True, kw_only=True)
class CutterTable:
    """``[[cutter]]``: one for each; a cutter that a step names needs all that has no default here but angle."""

    name: str = key(text(60), "how the job and the programs call it")
    shape: str | None = key(choice("ball-end", "flat-end", "v"), "its shape", None, shown="required when used")
    diameter: float | None = key(size(0.05, 100.0), "cutting diameter", None, shown="required when used")
    angle: float | None = key(number(5.0, 170.0, unit="degrees"), "included angle of a v cutter", None,
                              shown="required for v")
    flutes: int = key(number(*LIMITS["flutes"], whole=True), "cutting edges", 2)
    flute_length: float = key(size(0.1, 200.0), "how deep it can cut", math.inf, shown="not checked")
    speed: float | None = key(number(100, 200_000, unit="rpm"), "spindle speed, rpm", None, shown="required when used")
    feed: float | None = key(rate(), "cutting feed, per minute", None, shown="required when used")
    plunge: float | None = key(rate(), "feed straight down, per minute", None, shown="required when used")
    stepdown: float | None = key(size(LIMITS["stepdown"][0], 50.0), "depth of each layer", None,
                                 shown="required when used")
    stepover: float = key(number(*LIMITS["stepover"]), "share of the diameter, for roughing and pocketing", 0.45)
    ramp: float = key(number(*LIMITS["ramp"], unit="degrees"),
                      "steepest way down into wood; a cutter that plunges follows a steeper surface", 5.0)
    plunges: bool = key(yes_or_no, "false: it cannot cut at its centre, and never goes straight down into wood", True)

    @property
    def missing(self) -> tuple[str, ...]:
        """What a step that uses this cutter would still need."""
        needed = ("shape", "diameter", "speed", "feed", "plunge", "stepdown")
        return tuple(name for name in needed if getattr(self, name) is None)


@dataclass(frozen=True, kw_only=True)
class SurfaceTable:
    """``[surface]``: roughing and finishing the radius."""

    finish: str = key(text(60), "the cutter that finishes: a ball end; on a flat board a flat end too")
    rough: str | None = key(text(60), "the cutter that roughs: a flat end, or a ball end", None,
                            shown="no roughing; required where a flat end finishes")
    scallop: float | None = key(size(*RIDGES, usual=USUAL_RIDGES), "ridge height allowed", None,
                                shown=f"{USUAL_SCALLOP:g} mm, or as stepover gives; none with a flat end")
    stepover: float | None = key(size(0.01, 20.0), "distance between passes, instead of scallop, with ridges as that "
                                 "may be", None, shown="as scallop gives; with a flat end as its own stepover gives")
    allowance: float = key(size(0.0, 5.0), "what roughing leaves", 0.4, inch=0.016)
    leave: float = key(size(0.0, 5.0), "how much the first cut leaves for one last cut of wood and fill together; 0: "
                       "later cuts repeat the first", 0.0)
    leave_scallop: float | None = key(size(*RIDGES), "ridge height allowed on the first cut, with leave", None,
                                      shown="half of leave")

    @property
    def leave_ridges(self) -> float:
        """Ridge height allowed on the first cut, with leave."""
        return self.leave / 2 if self.leave_scallop is None else self.leave_scallop


@dataclass(frozen=True, kw_only=True)
class PlaceTable:
    """Where a drawing goes on the board."""

    at: tuple[float, float] | None = key(
        list_of(size(-2000.0, 2000.0), names=ALONG_ACROSS), "[along, across] of the drawing's centre", None,
        shown="this, between or at_frets",
    )
    between: tuple[int, int] | None = key(
        list_of(number(0, 60, whole=True), names=("first fret", "second fret")),
        "two frets to centre it between, made to fit there unless width or height is given; 0 is the nut", None,
        shown="this, at or at_frets",
    )
    at_frets: tuple[int, ...] | None = key(
        list_of(number(1, 60, whole=True), least=1, most=60), "frets to put a copy before, each made to fit its space",
        None, shown="this, at or between",
    )
    margin: float | None = key(size(0.0, 100.0), "least distance from the slots' edges, where it is made to fit", None,
                               shown="1 mm")
    along: str | None = key(choice("centre", "bass", "treble"), "turn its length along that edge", None,
                            shown="not turned")
    rotate: float = key(number(-360.0, 360.0, unit="degrees"), "counter-clockwise", 0.0)
    width: float | None = key(size(0.5, 2000.0), "width of the drawing before it is turned", None, shown="as drawn")
    height: float | None = key(size(0.5, 2000.0), "height of the drawing before it is turned", None, shown="as drawn")
    mirror: bool = key(yes_or_no, "left to right", False)
    centre: Literal["page", "drawing"] | None = key(
        choice("page", "drawing"), "whether centre, width and height are those of the page or of what is drawn on it",
        None, shown="page with at, drawing with between and at_frets")

    def __post_init__(self) -> None:
        if self.at is not None and self.centre is None:
            object.__setattr__(self, "centre", "page")

    def check(self, where: str) -> None:
        """Raise JobError for keys that say nothing beside the way that the drawing is placed, or twice the same."""
        ways = [w for w in ("at", "between", "at_frets") if getattr(self, w) is not None]
        if len(ways) != 1:
            raise JobError(f"{where} place", f"{' and '.join(ways) or 'neither at, between nor at_frets'} given",
                           allowed="one of at, between and at_frets", remedy="say where the drawing goes, one way")
        if self.at is None and self.centre == "page":
            raise JobError(f"{where} place centre", f'"page", and {ways[0]} centres what is drawn on it',
                           allowed='"page" with at', remedy="leave centre out, or write at")
        sized = self.between is not None and (self.width is not None or self.height is not None)
        if self.margin is not None and (self.at is not None or sized):
            raise JobError(f"{where} place margin", "given, and the drawing is not made to fit between frets: "
                           + ("at says where it goes" if self.at else "width or height is given"),
                           allowed="with between or at_frets, and no size beside between",
                           remedy="leave margin out")
        if self.at_frets and (twice := sorted({f for f in self.at_frets if self.at_frets.count(f) > 1})):
            raise JobError(f"{where} place at_frets", f"{', '.join(map(str, twice))} is there twice: "
                           "one copy would lie upon another", allowed="each fret once", remedy="leave one out")


@holding("table or list of numbers", limits=f"2 to 6 values, each {limits_of(PART)}")
def _mix(value: Any, place: Place) -> dict[str, float]:
    """Named parts, or a list of them: { resin = 2, hardener = 1 } or [2, 1]."""
    if isinstance(value, list):
        value = {f"part {chr(ord('A') + i)}": part for i, part in enumerate(value)}
    if not is_table(value) or not 2 <= len(value) <= 6:
        raise place.refuse(f"{shown(value)} given", allowed="2 to 6 parts, like { resin = 2, hardener = 1 } or [2, 1]")
    numbers = {str(name): PART(part, place.inside(str(name))) for name, part in value.items()}
    for name, part in numbers.items():
        if part <= 0:
            words = ", ".join(f"{n} {p:g}" for n, p in numbers.items())
            raise place.refuse(f"{words}: {part:g} of {name} mixes nothing", allowed="more than 0 of each part",
                               remedy="copy the ratio from the resin maker's sheet")
    return numbers


@dataclass(frozen=True, kw_only=True)
class ResinTable:
    """``[resin]``: what the resin's sheet says; ``resin = { .. }`` in an inlay goes before it, key by key."""

    density: float | None = key(number(0.5, 5.0, unit="g/cm3"), "of the mixed resin, g/cm3", None,
                                shown="mass not given")
    mix: dict[str, float] | None = key(_mix, "parts, like { resin = 2, hardener = 1 }", None, shown="parts not given")
    mix_by: str | None = key(choice("volume", "mass"), "how the parts are measured out", None, shown="volume")
    pour_depth: float | None = key(size(0.1, 500.0), "deepest that its sheet allows in one pour", None,
                                   shown="not checked")
    waste: float | None = key(number(0.0, 5.0), "share added for what stays in the cup and on the stick", None,
                              shown=f"{WASTE:g}")
    waste_least: float | None = key(number(0.0, 1000.0, unit="ml"), "the least that is added for that, ml", None,
                                    shown=f"{LEAST_WASTE:g} ml")
    least: float | None = key(number(0.1, 10_000.0, unit="ml"), "the smallest batch that you mix, ml", None,
                              shown=f"{LEAST_BATCH:g} ml")
    measure: float | None = key(number(0.001, 100.0), "the smallest part that you can measure, ml; g where mixed by "
                                "mass", None, shown=f"{MEASURE:g}")
    dam: float | None = key(size(0.0, 100.0),
                            "how far outside the drawing the dam stands, as a taut thread goes round all that lies "
                            "within 20 mm", None,
                            shown=f"{DAM:g} mm")


@dataclass(frozen=True, kw_only=True)
class PieceTable:
    """``piece = { cutter = .., thickness = .. }`` of an inlay: the pieces let in, cut by ``pathgen pieces``."""

    cutter: str = key(text(60), "a flat-end cutter that goes round the pieces")
    gap: float = key(size(0.0, 1.0), "between piece and pocket all round, for the glue", 0.05)
    thickness: float = key(size(0.2, 20.0), "of the flat stock: more than depth, no more than depth and overfill")
    from_back: bool = key(yes_or_no, "the stock lies face down, the pieces are cut mirrored", False)


def layers_seen() -> Any:
    """The layers of a drawing."""
    return key(list_of(text(200), least=1), "its layers that are seen: ids or labels of groups", (),
               shown="every layer")


@dataclass(frozen=True, kw_only=True)
class AlsoTable:
    """A further drawing of an ``[[inlay]]``."""

    artwork: str = key(text(1000), "the drawing, an SVG file")
    layers: tuple[str, ...] = layers_seen()
    place: PlaceTable = key(table_of(PlaceTable), "where it goes, as that of the first")


@dataclass(frozen=True, kw_only=True)
class InlayTable:
    """``[[inlay]]``: each is pocketed, filled and surfaced again, in the order written."""

    table: ClassVar[str] = "[[inlay]]"
    artwork: str = key(text(1000), "the drawing, an SVG file")
    layers: tuple[str, ...] = layers_seen()
    colours: tuple[str, ...] | None = key(list_of(colour, least=1), "the colours to cut", None,
                                          shown="every colour in the drawing")
    depth: float = key(size(LEAST_POCKET, 20.0), "straight down from the surface")
    cutters: tuple[str, ...] = key(list_of(text(60), least=1, most=10), "names, largest first, a v last")
    fill: str = key(choice("resin", "piece", "none"), "what goes in", "resin")
    overfill: float = key(size(0.0, 20.0), "how far the cured fill stands above the surface", 1.0, inch=0.04)
    place: PlaceTable | None = key(table_of(PlaceTable), "where it goes: { at, rotate, width, height, mirror }", None,
                                   shown="page origin at the nut face, on the centre-line")
    also: tuple[AlsoTable, ...] = key(
        list_of(table_of(AlsoTable), most=40),
        "further drawings that are cut, filled and cut level with it: [{ artwork, place }, ..]", (),
    )
    resin: ResinTable | None = key(table_of(ResinTable), "the resin of this inlay, where it differs from [resin]", None,
                                   shown="[resin]")
    piece: PieceTable | None = key(
        table_of(PieceTable), 'fill = "piece": pocket and piece are matched, and pathgen pieces cuts the piece', None,
        shown="pocketed as drawn, no program for the piece",
    )
    wall: float = key(size(0.0, 10.0), "wood left standing between colours that touch: their pockets shrink", 0.0)
    lap: float = key(size(0.0, 5.0), "how far colours run on under those of later inlays that they touch", 0.0)
    background: tuple[str, ...] = key(list_of(colour), "colours that only cut their shape out of what lies below", ())
    white_is_background: bool = key(yes_or_no, "whether white is one of them", False)
    artwork_missing: str = key(choice("refuse", "report"), "what to do with what cannot be cut", "refuse")

    @property
    def drawings(self) -> tuple[InlayTable, ...]:
        """Itself, and one like it for each further drawing; none where it has no drawing."""
        if not self.artwork:
            return ()
        return self, *(replace(self, artwork=one.artwork, layers=one.layers, place=one.place, also=())
                       for one in self.also)

    def written(self, number: int) -> str:
        """Where its keys stand in the job file."""
        return f"inlay {number}"


@dataclass(frozen=True, kw_only=True)
class ResurfaceTable:
    """``[resurface]``: the second cut, over the cured fill."""

    skim: float = key(
        size(0.0, 2.0),
        "below the first surface: pockets end as much less deep; 0 repeats the first finishing moves exactly", 0.0,
    )
    stepdown: float = key(size(0.02, 10.0), "the most that a pass through what stands proud takes, ridges of "
                          "the one above counted in: each goes 0.8 of it deeper, 40 at most", 0.5, inch=0.02)
    area: str = key(choice("board", "inlay"), "cut the whole board again, or only over each inlay", "board")
    blend: float = key(size(0.5, 100.0), 'how far round a drawing area = "inlay" cuts, beside all inside its dam', 5.0,
                       inch=0.2)


@dataclass(frozen=True, kw_only=True)
class MarksTable:
    """``[marks]``: small holes drilled in the waste first, and looked at before each second cut."""

    cutter: str = key(text(60), "the cutter that drills them, and hovers over them with the spindle off")
    at: tuple[tuple[float, float], ...] | None = key(
        list_of(list_of(size(-3000.0, 3000.0), names=ALONG_ACROSS), least=3, most=12), "[[along, across], ..] of each",
        None, shown="four, two near mid-length, each checked by the others",
    )
    drilled: tuple[tuple[float, float, float], ...] | None = key(
        list_of(list_of(size(-5000.0, 5000.0), names=XYZ), least=2, most=12),
        "[[X, Y, Z], ..] of each as measured once they were drilled, as the machine's display counts", None,
        shown="not drilled yet",
    )
    depth: float | None = key(size(0.1, 5.0), "below the top of the raw stock, in one plunge", None,
                              shown="0.8 mm, or the cutter's stepdown where that is less")
    hover: float = key(size(0.2, 20.0), "how far above the top of the raw stock the cutter stops over each", 1.0)


@dataclass(frozen=True, kw_only=True)
class MeasuredTable:
    """``[[measured]]``: where a mark was found after the work had moved, as the machine shows it."""

    at: tuple[float, float, float] | None = key(
        list_of(size(-5000.0, 5000.0), names=XYZ),
        "[X, Y, Z] where it should be, as the machine's display counts", None,
        shown="the witness mark of the same number: where drilled says, or on top of the raw stock; required with "
              "[[part]]",
    )
    found: tuple[float, float, float] = key(
        list_of(size(-150_000.0, 150_000.0), names=XYZ),  # mm in a job in inches are told of all marks together
        "[X, Y, Z] where it was found, as the machine's display counts"
    )


@dataclass(frozen=True, kw_only=True)
class MovedTable:
    """``[moved]``: how the measured marks are used."""

    limit: float = key(size(0.001, 5.0), "largest distance left over at any mark", 0.1)
    accuracy: float = key(size(0.001, 1.0), "how exactly a mark is measured", ACCURACY)
    board_limit: float = key(
        size(0.001, 5.0), "how far errors of accuracy at the marks together may move any place of the board",
        BOARD_LIMIT,
    )
    before: int | None = key(number(1, 1000, whole=True),
                             "the first program written for the work as it lies now, by its number", None,
                             shown="the first after the first fill")


SHORT = size(0.0, 100.0)


@dataclass(frozen=True, kw_only=True)
class SlotsTable:
    """``[slots]``: the fret slots."""

    cutter: str = key(text(60), "a flat-end cutter no wider than the slot")
    width: float | None = key(size(0.1, 10.0), "width of the slots", None, shown="the cutter's diameter")
    depth: float = key(size(LEAST_DEPTH, 20.0), "straight down from the finished surface")
    ends: float | str | None = key(
        one_of((lambda v: v == "through", holding('"through"')(lambda v, place: None)),
               (lambda v: v == "binding", holding('"binding"')(lambda v, place: v)),
               (is_length, SHORT), allowed='"through", "binding", or a distance'),
        '"through", "binding" (stop at its inner face), or how far short of each edge', None, shown='"through"',
    )
    bottom: Bottom = key(choice("curve", "flat"), "follows the curve, or level and nowhere shallower than depth",
                         "curve")
    entry: Entry | None = key(choice("ramp", "peck"), "how the cutter goes down: along a ramp, or by pecks", None,
                            shown="pecks where both ends lie in waste")
    bevel: float = key(size(0.0, 2.0), "bevel along each edge of the slots, in width", 0.0)
    bevel_cutter: str | None = key(text(60), "a v cutter", None, shown="required with bevel")


@dataclass(frozen=True, kw_only=True)
class NutTable:
    """``[nut]``: the slot or shelf that the nut stands in, behind X 0."""

    cutter: str = key(text(60), "a flat-end cutter no wider than the slot")
    width: float | None = key(size(0.5, 50.0), "along the board", None, shown="a shelf to the board's end")
    behind: float | None = key(size(0.0, 30.0), "how far the nut's front is behind the nut face, "
                               "where frets are measured from", None, shown="0 mm; with a zero fret 3 mm")
    depth: float = key(size(LEAST_DEPTH, 20.0), "below the surface")
    bottom: Bottom = key(choice("curve", "flat"), "follows the curve, or level and nowhere shallower than depth",
                         "flat")
    entry: Entry | None = key(choice("ramp", "peck"), "how the cutter goes down", None,
                            shown="pecks where both ends lie in waste")


@dataclass(frozen=True, kw_only=True)
class BlockTable:
    """``[block]``: a hollow block of the board's radius, for pressing frets or sanding; cut by ``pathgen block``."""

    cutter: str = key(text(60), "a ball-end cutter")
    frets: tuple[int, int] | None = key(
        list_of(number(0, 60, whole=True), names=("from", "to")),
        "[from, to]; 0 is the nut. It reaches 3 mm past a fret, all along it", None,
        shown="nut to last fret")
    width: float | None = key(size(10.0, 300.0), "across the board", None, shown="the board's and 5 mm on each side")
    thickness: float = key(size(3.0, 100.0), "of its blank", 20.0)
    margin: float = key(size(0.0, 100.0), "how far its blank stands out all round", 10.0)
    least: float = key(size(0.5, 50.0), "least wood under the hollow", 5.0)
    scallop: float = key(size(0.0005, 1.0), "ridge height allowed", 0.02)
    outline: str | None = key(text(60), "a flat-end cutter that cuts it free", None, shown="not cut")


TOOL_TAB = 0.8
"""Height of tabs of gauges, nut and saddle blanks where nobody says it, mm."""


def tool_tab_height() -> Any:
    """Of the tabs of a flat tool."""
    return key(size(LEAST_TAB, 10.0), "of the tabs", None,
               shown=f"{TOOL_TAB:g} mm, but at most two thirds of thickness")


@dataclass(frozen=True, kw_only=True)
class GaugesTable:
    """``[gauges]``: flat gauges of the board's radius, cut from sheet by ``pathgen gauges``."""

    cutter: str = key(text(60), "a flat-end cutter")
    frets: tuple[int, ...] | None = key(list_of(number(0, 60, whole=True), least=1, most=12),
                                        "where the radius is taken; 0 is the nut", None, shown="nut, 12th, last")
    along: bool = key(yes_or_no, "one more for the centre-line, with relief and fall-away", False)
    thickness: float = key(size(0.5, 20.0), "of the sheet", 3.0)
    height: float = key(size(8.0, 100.0), "of each gauge, over its arc", 25.0)
    tabs: int = key(number(2, 10, whole=True), "how many tabs hold each", 2)
    tab_height: float | None = tool_tab_height()
    engraver: str | None = key(text(60), "a v cutter that engraves the radius on each", None, shown="no labels")
    engrave_depth: float = key(size(0.05, 2.0), "of the labels", 0.2)


@dataclass(frozen=True, kw_only=True)
class CouponTable:
    """``[coupon]``: scrap of the same wood that ``pathgen coupon`` tries the job's cutters on."""

    thickness: float | None = key(size(2.0, 100.0), "of the scrap", None, shown="the blank's")
    cutters: tuple[str, ...] | None = key(list_of(text(60), least=1, most=12), "the flat ends that cut a square to be "
                                          "measured", None, shown="those of inlays and outline")


@dataclass(frozen=True, kw_only=True)
class HolesTable:
    """``[holes]``: for dowels or screws, outside the board."""

    cutter: str = key(text(60), "a flat-end cutter, over half as wide as the holes")
    at: tuple[tuple[float, float], ...] = key(
        list_of(list_of(size(-3000.0, 3000.0), names=ALONG_ACROSS), least=1, most=40),
        "[[along, across], ..] of the centres",
    )
    diameter: float | None = key(size(0.5, 50.0), "of the holes", None, shown="the cutter's")
    depth: float | None = key(size(0.5, 100.0), "from the top of the blank", None, shown="through the blank")
    through: float | None = key(size(0.0, 40.0), "how far below the underside, into the bed", None,
                                shown="0.5 mm; 3 mm with [channel]")


@dataclass(frozen=True, kw_only=True)
class ChannelTable:
    """``[channel]``: for the truss rod, cut into the back before the blank is turned over on the dowels of [holes]."""

    cutter: str = key(text(60), "a flat-end cutter no wider than the channel")
    along: tuple[float, float] = key(
        span(-3000.0, 3000.0), "[from, to], its ends; one that lies past an end of the part lets it run out there")
    across: float = key(size(-500.0, 500.0), "of its middle, from the centre-line", 0.0)
    width: float | None = key(size(0.5, 60.0), "across", None, shown="the cutter's diameter")
    depth: float = key(size(LEAST_DEPTH, 50.0), "from the back")
    ends: str = key(choice("round", "square"), "square ends keep the cutter's rounding in their corners", "round")


NARROWEST_GROOVE = 0.25
"""Through which it can be told that a part is cut free, mm; no outline is cut with so slender an end."""


@dataclass(frozen=True, kw_only=True)
class OutlineTable(OutlineCut):
    """``[outline]``: cutting the board free."""

    where: str = field(default="[outline]", init=False)  # no key
    all_round: bool = field(default=False, init=False)  # no key
    cutter: str = key(text(60), f"a flat-end cutter, {NARROWEST_GROOVE:g} mm wide or more")
    tabs: int | None = key(number(0, 40, whole=True),  # type: ignore[assignment]
                           "how many tabs hold the part, on its long edges; all round a plate or form where these have "
                           "no room", None, shown="4, or none with skin")
    tab_height: float | None = key(  # type: ignore[assignment]
        size(0.0, 50.0), "wood left under the cutter at a tab", None,
        shown="1.5 mm, or 0.06 in of a job in inches, but at most two thirds of the edge, or what stands beside it")
    tab_width: float = key(size(0.5, 100.0), "wood left along the edge at a tab", 6.0, inch=0.25)
    through: float = key(size(0.0, 5.0), "how far below the underside to cut, into the spoilboard", 0.2, inch=0.008)
    skin: float = key(size(0.0, 5.0), "wood left under the cut all round, instead of tabs", 0.0)
    finish: float = key(size(0.0, MOST_LAP), "the most that a last lap at full depth takes off the walls; 0 for none",
                        0.2)
    artwork: str | None = key(text(1000), "a drawing of the cut board's outline", None,
                                     shown="edges and ends as stated")
    artwork_layers: tuple[str, ...] = layers_seen()
    place: PlaceTable | None = key(table_of(PlaceTable), "where that drawing goes", None,
                                   shown="page origin at the nut face, on the centre-line")
