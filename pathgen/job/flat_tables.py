"""The job file's tables for a flat part: the plate, its holes, its rings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from pathgen.job.inlay_tables import LEAST_POCKET, InlayTable, PlaceTable, colour, layers_seen
from pathgen.job.keys import (
    ALONG_ACROSS,
    CUTTER,
    CUTTERS,
    FILE,
    XYZ,
    Place,
    choice,
    holding,
    key,
    list_of,
    number,
    size,
    text,
    yes_or_no,
)
from pathgen.job.keys import table as table_of
from pathgen.job.tables import LEAST_DEPTH

RING_COLOUR = "#6b4a2f"
"""Of rings in the pictures."""


@dataclass(frozen=True, kw_only=True)
class OpeningsTable:
    """Openings of a plate that its drawing shows in colours or layers of their own."""

    colours: tuple[str, ...] = key(list_of(colour), "the colours that are cut through", (), shown="those of layers")
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
    artwork: str | None = key(FILE, "a drawing: the outline is the outer edge of all that it shows", None,
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
    colour: str = key(colour, "in the pictures", RING_COLOUR)


@dataclass(frozen=True, kw_only=True)
class RingInlay(InlayTable):
    """``[[ring]]`` as the inlay that it is cut as."""

    table: ClassVar[str] = "[[ring]]"
    ring: RingTable


def ring_inlay(ring: RingTable) -> RingInlay:
    """The inlay that a ring is cut as: it has no drawing."""
    return RingInlay(artwork="", depth=ring.depth, cutters=ring.cutters, fill=ring.fill, overfill=ring.overfill,
                     ring=ring)


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
        None, shown="not drilled yet",
    )
