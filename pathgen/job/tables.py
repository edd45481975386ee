"""The job file's tables for blank, machine and cutters, for flat parts, and what is cut of any part: each key, its
limits, its words. Those of inlays and of the board are modules beside this one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from pathgen.base.cutters import LIMITS
from pathgen.base.given import THICKNESS
from pathgen.base.scallop import RIDGES
from pathgen.job.inlay_tables import InlayTable, PlaceTable, colour, layers_seen
from pathgen.parts.fingerboard.part import ZEROS
from pathgen.parts.flat.part import PLACES
from pathgen.parts.keys import (
    ALONG_ACROSS,
    CUTTER,
    CUTTERS,
    FILE,
    LEAST_POCKET,
    XYZ,
    Place,
    choice,
    holding,
    is_length,
    key,
    list_of,
    number,
    one_of,
    rate,
    read_table,
    size,
    span,
    table_of,
    text,
    yes_or_no,
)
from pathgen.strategies.cutting_out import MOST_LAP
from pathgen.work.clamping import LONGEST, MACHINE, Along, Clamps, KeepOut, Machine, Setup, Stock
from pathgen.work.features import MOST_ALLOWANCE, Bottom, Entry
from pathgen.work.mark_errors import ACCURACY, BOARD_LIMIT

LEAST_DEPTH = 0.1
"""Of slots, holes and channels, mm."""
USUAL_SCALLOP, USUAL_RIDGES = 0.01, (0.005, 0.02)


@dataclass(frozen=True, kw_only=True)
class StockTable(Stock):
    """``[stock]``: the raw blank, centred on the centre-line."""

    length: float = key(size(10.0, LONGEST), "along the board")
    width: float = key(size(10.0, 1000.0), "across the board")
    thickness: float = key(size(*THICKNESS), "as it lies on the bed")
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


_keep_outs = list_of(_keep_out)


@holding(_keep_outs.words, _keep_outs.inner, limits=_keep_outs.limits)
def _clamps(value: Any, place: Place) -> Clamps:
    return Clamps(_keep_outs(value, place))


_ANY_ZERO = choice(*ZEROS, *PLACES)


@holding(_ANY_ZERO.words)
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
                           None, shown='"nut-centre"; "near-centre" of a plate; "blank-near-lower" with [[part]]')
    along: Along = key(choice("x", "y"), "the machine axis that the strings run along", "x")
    keep_out: tuple[KeepOut, ...] = key(
        _clamps, "clamps and other things in the way: { along, across, height }; [] where none stand there", ())
    feeler: float = key(size(0.01, 20.0), "thickness of the feeler or slip of paper that each zero is checked with",
                        0.1, inch=0.004)

    @property
    def elsewhere(self) -> Setup:
        """For another blank: zero at its end, and no clamps, which stand round the job's own."""
        return Setup(z_zero=self.z_zero, along=self.along, feeler=self.feeler)


@dataclass(frozen=True, kw_only=True)
class MachineTable(Machine):
    """``[machine]``: the router."""

    clearance: float = key(size(*MACHINE["clearance"]), "how far rapids across the work pass above blank, clamps and "
                           "fill, whichever is highest; within a pocket, and from slot to slot where no clamp stands, "
                           "they are lower", 10.0, inch=0.4)
    rapid: float = key(rate(*MACHINE["rapid"]), "speed of rapids, per minute", 5000.0)
    acceleration: float = key(size(*MACHINE["acceleration"], usual=(50.0, 5000.0), per=" per second squared"),
                              "per second squared, for the time estimate", 400.0)
    travel: tuple[float, float, float] | None = key(
        list_of(size(*MACHINE["travel"], usual=(50.0, 3000.0)), names=XYZ), "[X, Y, Z] that the machine can move; "
        "checked when given", None, shown="not checked")
    spindle: tuple[float, float] | None = key(
        span(*MACHINE["spindle"], unit="rpm"), "[lowest, highest] speed of the spindle, rpm; checked when given", None,
        shown="not checked")
    arcs: bool = key(yes_or_no, "whether G2 and G3 may be written", False)
    resolution: float = key(size(*MACHINE["resolution"]), "its smallest step, for the fret table's cents", 0.005)
    spin_up: float = key(number(*MACHINE["spin_up"], unit="seconds"), "wait after the spindle starts, written as G4 P "
                         "in seconds; machines that count P in thousandths wait less", 3.0)
    repeatability: float = key(size(*MACHINE["repeatability"]), "how far off in X and Y it comes back to a place: for "
                               "cents off and the error budget; nothing in the way may come nearer to a cutter", 0.05)


@dataclass(frozen=True, kw_only=True)
class CutterTable:
    """``[[cutter]]``: one for each; a cutter that a step names needs all that has no default here but angle."""

    INSTEAD: ClassVar[dict[str, str]] = dict.fromkeys(
        ("tip", "tip_width", "tip_diameter", "tip_flat", "flat_tip"), "leave it out. A v cutter is taken to "
        "come to a sharp point: where its tip is flat set Z, with the tip where it would show 0, to minus half the "
        "flat's width, divided by the tangent of half the angle, as its programs tell; 0.2 mm and 60 degrees: "
        "-0.173 mm")

    name: str = key(CUTTER, "how the job and the programs call it")
    shape: str | None = key(choice("ball-end", "flat-end", "v"), "its shape", None, shown="required when used")
    diameter: float | None = key(size(*LIMITS["diameter"]), "cutting diameter", None, shown="required when used")
    angle: float | None = key(number(*LIMITS["angle"], unit="degrees"),
                              "included angle of a v cutter, which comes to a sharp point", None,
                              shown="required for v")
    flutes: int = key(number(*LIMITS["flutes"], whole=True), "cutting edges", 2)
    flute_length: float = key(size(*LIMITS["flute_length"]), "how deep it can cut", math.inf, shown="not checked")
    speed: float | None = key(number(*LIMITS["speed"], unit="rpm"), "spindle speed, rpm", None,
                              shown="required when used")
    feed: float | None = key(rate(*LIMITS["feed"]), "cutting feed, per minute", None, shown="required when used")
    plunge: float | None = key(rate(*LIMITS["plunge"]), "feed straight down, per minute", None,
                               shown="required when used")
    stepdown: float | None = key(
        size(*LIMITS["stepdown"], usual=(0.1, 6.0)), "depth of each layer; ridges and stairs of the pass "
        "before may add 0.05 mm, a quarter of it at most; last laps along walls, a shave of a tenth of the cutter at "
        "most, go deeper: four layers in a pocket, all of an outline", None, shown="required when used")
    stepover: float = key(
        number(*LIMITS["stepover"]), "share of the diameter, for roughing and pocketing; layers of a ball down to the "
        "surface lie as far apart as leaves ridges of a fifth of its stepdown", 0.45)
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

    finish: str = key(CUTTER, "the cutter that finishes: a ball end; on a flat board a flat end too")
    rough: str | None = key(CUTTER, "the cutter that roughs: a flat end, or a ball end", None,
                            shown="no roughing; required where a flat end finishes")
    scallop: float | None = key(size(*RIDGES, usual=USUAL_RIDGES), "ridge height allowed", None,
                                shown=f"{USUAL_SCALLOP:g} mm, or as stepover gives; none with a flat end")
    stepover: float | None = key(size(0.01, 20.0), "distance between passes, instead of scallop, with ridges as that "
                                 "may be", None, shown="as scallop gives; with a flat end as its own stepover gives")
    allowance: float = key(size(0.0, MOST_ALLOWANCE), "what roughing leaves", 0.4, inch=0.016)
    leave: float = key(size(0.0, 5.0), "how much the first cut leaves for one last cut of wood and fill together; 0: "
                       "later cuts repeat the first", 0.0)
    leave_scallop: float | None = key(size(*RIDGES), "ridge height allowed on the first cut, with leave", None,
                                      shown="half of leave")

    @property
    def leave_ridges(self) -> float:
        """Ridge height allowed on the first cut, with leave."""
        return self.leave / 2 if self.leave_scallop is None else self.leave_scallop


@dataclass(frozen=True, kw_only=True)
class MarksTable:
    """``[marks]``: small holes drilled in the waste first, and looked at before each second cut."""

    cutter: str = key(CUTTER, "the cutter that drills them, and hovers over them with the spindle off")
    at: tuple[tuple[float, float], ...] | None = key(
        list_of(list_of(size(-3000.0, 3000.0), names=ALONG_ACROSS), least=3, most=12), "[[along, across], ..] of each",
        None, shown="four, two near mid-length, each checked by the others")
    drilled: tuple[tuple[float, float, float], ...] | None = key(
        list_of(list_of(size(-5000.0, 5000.0), names=XYZ), least=2, most=12),
        "[[X, Y, Z], ..] of each as measured once they were drilled, as the machine's display counts", None,
        shown="not drilled yet")
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
              "[[part]]")
    found: tuple[float, float, float] = key(
        list_of(size(-150_000.0, 150_000.0), names=XYZ),  # mm in a job in inches are told of all marks together
        "[X, Y, Z] where it was found, as the machine's display counts")


@dataclass(frozen=True, kw_only=True)
class MovedTable:
    """``[moved]``: how the measured marks are used."""

    limit: float = key(size(0.001, 5.0), "largest distance left over at any mark", 0.1)
    accuracy: float = key(size(0.001, 1.0), "how exactly a mark is measured", ACCURACY)
    board_limit: float = key(
        size(0.001, 5.0), "how far errors of accuracy at the marks together may move any place of the board",
        BOARD_LIMIT)
    before: int | None = key(number(1, 1000, whole=True),
                             "the first program written for the work as it lies now, by its number", None,
                             shown="the first after the first fill")


@dataclass(frozen=True, kw_only=True)
class SlotsTable:
    """``[slots]``: the fret slots."""

    cutter: str = key(CUTTER, "a flat-end cutter no wider than the slot")
    width: float | None = key(size(0.1, 10.0), "width of the slots", None, shown="the cutter's diameter")
    depth: float = key(size(LEAST_DEPTH, 20.0, usual=(1.0, 4.0)), "straight down from the finished surface, on the "
                       "slot's line; level across it")
    ends: float | str | None = key(
        one_of((lambda v: v == "through", holding('"through"')(lambda v, place: None)),
               (lambda v: v == "binding", holding('"binding"')(lambda v, place: v)),
               (is_length, size(0.0, 100.0)), allowed='"through", "binding", or a distance'),
        '"through", "binding" (stop at its inner face), or how far short of each edge', None, shown='"through"')
    bottom: Bottom = key(choice("curve", "flat"), "follows the curve, or level and nowhere on its line shallower than "
                         "depth", "curve")
    entry: Entry | None = key(choice("ramp", "peck"), "how the cutter goes down: along a ramp, or by pecks", None,
                            shown="pecks where both ends lie in waste")
    bevel: float = key(size(0.0, 2.0), "bevel along each edge of the slots, in width", 0.0)
    bevel_cutter: str | None = key(CUTTER, "a v cutter", None, shown="required with bevel")


@dataclass(frozen=True, kw_only=True)
class NutTable:
    """``[nut]``: the slot or shelf that the nut stands in, behind X 0."""

    cutter: str = key(CUTTER, "a flat-end cutter no wider than the slot")
    width: float | None = key(size(0.5, 50.0), "along the board", None, shown="a shelf to the board's end")
    behind: float | None = key(size(0.0, 30.0), "how far the nut's front is behind the nut face, "
                               "where frets are measured from", None, shown="0 mm; with a zero fret 3 mm")
    depth: float = key(size(LEAST_DEPTH, 20.0), "below the surface")
    bottom: Bottom = key(choice("curve", "flat"), "follows the curve, or level and nowhere on its line shallower than "
                         "depth", "flat")
    entry: Entry | None = key(choice("ramp", "peck"), "how the cutter goes down", None,
                            shown="pecks where both ends lie in waste")


@dataclass(frozen=True, kw_only=True)
class HolesTable:
    """``[holes]``: for dowels or screws, outside the board."""

    cutter: str = key(CUTTER, "a flat-end cutter, over half as wide as the holes")
    at: tuple[tuple[float, float], ...] = key(
        list_of(list_of(size(-3000.0, 3000.0), names=ALONG_ACROSS), least=1, most=40),
        "[[along, across], ..] of the centres")
    diameter: float | None = key(size(0.5, 50.0), "of the holes", None, shown="the cutter's")
    depth: float | None = key(size(0.5, 100.0), "from the top of the blank", None, shown="through the blank")
    through: float | None = key(size(0.0, 40.0), "how far below the underside, into the bed", None,
                                shown="0.5 mm; 3 mm with [channel]")


@dataclass(frozen=True, kw_only=True)
class ChannelTable:
    """``[channel]``: for the truss rod, cut into the back before the blank is turned over on the dowels of [holes]."""

    cutter: str = key(CUTTER, "a flat-end cutter no wider than the channel")
    along: tuple[float, float] = key(
        span(-3000.0, 3000.0), "[from, to], its ends; one that lies past an end of the part lets it run out there")
    across: float = key(size(-500.0, 500.0), "of its middle, from the centre-line", 0.0)
    width: float | None = key(size(0.5, 60.0), "across", None, shown="the cutter's diameter")
    depth: float = key(size(LEAST_DEPTH, 50.0), "from the back")
    ends: str = key(choice("round", "square"), "square ends keep the cutter's rounding in their corners", "round")


NARROWEST_GROOVE = 0.25
"""Through which it can be told that a part is cut free, mm; no outline is cut with so slender an end."""


@dataclass(frozen=True, kw_only=True)
class OutlineTable:
    """``[outline]``: cutting the board free."""

    tabs: int | None = key(number(0, 40, whole=True), "how many tabs hold the part, on its long edges; all round a "
                           "plate or form where these have no room", None, shown="4, or none with skin")
    tab_height: float | None = key(
        size(0.0, 50.0), "wood left under the cutter at a tab", None,
        shown="1.5 mm, or 0.06 in of a job in inches, but at most two thirds of the edge, or what stands beside it")
    tab_width: float = key(size(0.5, 100.0), "of a tab at its narrowest, in the middle of the groove; a round cutter "
                           "leaves it wider toward the edge, by its diameter in all, and slopes at its ends", 6.0,
                           inch=0.25)
    through: float = key(size(0.0, 5.0), "how far below the underside to cut, into the spoilboard", 0.2, inch=0.008)
    skin: float = key(size(0.0, 5.0), "wood left under the cut all round, instead of tabs", 0.0)
    finish: float = key(size(0.0, MOST_LAP), "the most that a last lap at full depth takes off the walls; 0 for none",
                        0.2)
    cutter: str = key(CUTTER, f"a flat-end cutter, {NARROWEST_GROOVE:g} mm wide or more")
    artwork: str | None = key(FILE, "a drawing of the cut board's outline", None, shown="edges and ends as stated")
    artwork_layers: tuple[str, ...] = layers_seen()
    place: PlaceTable | None = key(table_of(PlaceTable), "where that drawing goes", None,
                                   shown="page origin at the nut face, on the centre-line")


RING_COLOUR = "#6b4a2f"
"""Of rings in the pictures."""


@dataclass(frozen=True, kw_only=True)
class OpeningsTable:
    """Openings of a plate that its drawing shows in colours or layers of their own."""

    colours: tuple[str, ...] = key(list_of(colour), "the colours that are cut through", (), shown="those of layers, or "
                                    "the holes in the outline")
    layers: tuple[str, ...] = key(list_of(text(200)), "the layers that are cut through: ids or labels of groups", (),
                                  shown="none")
    cutter: str = key(CUTTER, "a flat-end cutter that clears them")
    through: float = key(size(0.0, 5.0), "how far below the underside to cut, into the spoilboard", 0.2, inch=0.008)


@dataclass(frozen=True, kw_only=True)
class PlateTable:
    """``[plate]``: a flat part, instead of ``[board]``."""

    thickness: float = key(size(0.5, 50.0), "finished")
    length: float | None = key(size(10.0, 2000.0), "along; X 0 is its near end", None, shown="length and width, or "
                               "artwork")
    width: float | None = key(size(10.0, 1000.0), "across, the centre-line in its middle", None,
                              shown="length and width, or artwork")
    corner_radius: float = key(size(0.0, 500.0), "all corners rounded", 0.0)
    artwork: str | None = key(FILE, "a drawing: the outline is the edge of all that it shows, one shape together", None,
                              shown="length and width")
    artwork_layers: tuple[str, ...] = layers_seen()
    place: PlaceTable | None = key(table_of(PlaceTable), "where that drawing goes: { at, rotate, width, height, "
                                   "mirror }", None, shown="the page begins at along 0, its middle on the centre-line")
    openings: OpeningsTable | None = key(table_of(OpeningsTable), "openings in that drawing: { colours, layers, "
                                         "cutter, through }", None, shown="none")
    face: bool = key(yes_or_no, "false: the face is left as it is, and [surface] is left out", True)
    min_web: float = key(size(0.0, 20.0), "least wood left under any pocket or hole", 1.0)
    wood_colour: str | None = key(colour, 'colour of the bare wood, like "#3b2a20", to compare fills with', None,
                                  shown="not compared")
    wood_colour_finished: str | None = key(colour, "colour of the wood under its finish", None, shown="not compared")


@dataclass(frozen=True, kw_only=True)
class FormTable:
    """``[form]``: a template, mould or bending form from sheet, instead of ``[board]``; as thick as ``[stock]``."""

    artwork: str = key(FILE, "a drawing of what lies inside the line, as one filled area; where that runs out "
                       "through the form's edge the line ends")
    colours: tuple[str, ...] | None = key(list_of(colour, least=1), "the colours of that area", None,
                                          shown="every colour in the drawing")
    artwork_layers: tuple[str, ...] = layers_seen()
    place: PlaceTable | None = key(table_of(PlaceTable), "where that drawing goes: { at, rotate, width, height, "
                                   "mirror }", None, shown="the page begins at along 0, its middle on the centre-line")
    cut: str = key(choice("inside", "outside", "on", "halves"), "on which side of the line the cutter runs: outside "
                   "keeps what is inside it, and so does on, half a cutter smaller; halves makes both parts", "outside")
    gap: float = key(size(0.0, 50.0), "thickness of the wood that is bent between the halves", 0.0)
    line: str = key(choice("inside", "outside"), "which face of that wood the line is", "inside")
    length: float | None = key(size(10.0, 2000.0), "of both halves together, along; X 0 is its near end", None,
                               shown="wall all round the line")
    width: float | None = key(size(10.0, 1000.0), "across, the centre-line in its middle", None,
                              shown="wall all round the line")
    wall: float = key(size(0.0, 500.0), "least between the line and the form's edge, square to the line", 50.0)
    layers: int = key(number(1, 50, whole=True), "how many of each part are stacked, each from its own sheet", 1)
    min_web: float = key(size(0.0, 20.0), "least wood left under a hole that does not go through", 1.0)


@dataclass(frozen=True, kw_only=True)
class CounterboreTable:
    """A wider, shallower hole round a hole."""

    diameter: float = key(size(0.5, 500.0), "wider than the hole")
    depth: float = key(size(LEAST_DEPTH, 50.0), "below the surface")


@dataclass(frozen=True, kw_only=True)
class HoleTable:
    """``[[hole]]``: a round hole in the plate, a slot with round ends, or a row of them."""

    cutter: str = key(CUTTER, "a flat-end cutter no wider than the hole")
    at: tuple[float, float] = key(list_of(size(-2000.0, 2000.0), names=ALONG_ACROSS),
                                  "[along, across] of its centre, or of the first of a row")
    diameter: float = key(size(0.5, 500.0), "of the hole, or width of the slot")
    length: float | None = key(size(0.5, 500.0), "of a slot with round ends, from end to end", None, shown="round")
    turn: float = key(number(-360.0, 360.0, unit="degrees"), "of a slot, counter-clockwise from along", 0.0)
    depth: float | None = key(size(LEAST_DEPTH, 50.0), "below the surface", None, shown="through the plate")
    through: float = key(size(0.0, 5.0), "how far below the underside to cut, into the spoilboard", 0.2, inch=0.008)
    counterbore: CounterboreTable | None = key(table_of(CounterboreTable), "{ diameter, depth }", None, shown="none")
    count: int = key(number(1, 100, whole=True), "how many in a row", 1)
    pitch: float | None = key(size(0.5, 1000.0), "from centre to centre in a row", None, shown="required with count")
    angle: float = key(number(-360.0, 360.0, unit="degrees"), "of the row, counter-clockwise from along", 0.0)
    mirror: bool = key(yes_or_no, "the same again on the other side of the centre-line", False)


@dataclass(frozen=True, kw_only=True)
class RingTable:
    """``[[ring]]``: a ring let into the plate, pocketed like an inlay, after the drawings."""

    at: tuple[float, float] = key(list_of(size(-2000.0, 2000.0), names=ALONG_ACROSS), "[along, across] of its centre")
    inner: float = key(size(0.0, 500.0), "inner radius")
    outer: float = key(size(0.5, 500.0), "outer radius")
    depth: float = key(size(LEAST_POCKET, 20.0), "straight down from the surface")
    cutters: tuple[str, ...] = key(CUTTERS, "names, largest first, a v last")
    fill: str = key(choice("none", "resin"), "none: a channel for strips of wood or shell", "none")
    overfill: float = key(size(0.0, 20.0), "how far the cured fill stands above the surface", 1.0, inch=0.04)
    lap: float = key(size(0.0, 5.0), "how far it runs on under later rings that it touches", 0.0)
    colour: str = key(colour, "in the pictures", RING_COLOUR)


@dataclass(frozen=True, kw_only=True)
class RingInlay(InlayTable):
    """``[[ring]]`` as the inlay that it is cut as."""

    table: ClassVar[str] = "[[ring]]"
    ring: RingTable


def ring_inlay(ring: RingTable) -> RingInlay:
    """The inlay that a ring is cut as: it has no drawing."""
    return RingInlay(artwork="", depth=ring.depth, cutters=ring.cutters, fill=ring.fill, overfill=ring.overfill,
                     lap=ring.lap, ring=ring)


@holding("0, 90, 180 or 270")
def _quarter(value: Any, place: Place) -> float:
    """A quarter turn, in degrees."""
    turn = number(0.0, 270.0)(value, place)
    if turn % 90:
        raise place.refuse(f"{turn:g} given", allowed="0, 90, 180 or 270", remedy="parts lie along or across the grain")
    return float(turn)


@dataclass(frozen=True, kw_only=True)
class PartTable:
    """``[[part]]``: one of several parts that are cut from one blank in one clamping."""

    job: str = key(FILE, "its job file; what its [stock] says is its own share of the blank")
    at: tuple[float, float] = key(list_of(size(-3000.0, 3000.0), names=ALONG_ACROSS),
                                  "[along, across] of the middle of that share, from margin_nut inside the blank's "
                                  "near end and from the middle of its width")
    turn: float = key(_quarter, "counter-clockwise", 0.0)
    drilled: tuple[tuple[float, float, float], ...] | None = key(
        list_of(list_of(size(-5000.0, 5000.0), names=XYZ), least=2, most=12),
        "[[X, Y, Z], ..] of each of its marks as measured once they were drilled, as the machine's display counts",
        None, shown="not drilled yet")
