"""The job file's tables for the board that are no more than its numbers, and for the tools cut beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from pathgen.job.inlay_tables import InlayTable, colour
from pathgen.parts.fingerboard.dots import Dots
from pathgen.parts.fingerboard.numbers import FRET_OR_NUT, BoardNumbers
from pathgen.parts.keys import CUTTER, key, list_of, number, size, yes_or_no
from pathgen.work.features import LEAST_TAB


@dataclass(frozen=True, kw_only=True)
class BoardTable(BoardNumbers):
    """``[board]``: the part."""

    wood_colour: str | None = key(colour, 'colour of the bare wood, like "#3b2a20", to compare fills with', None,
                                  shown="not compared")
    wood_colour_finished: str | None = key(colour, "colour of the wood under its finish", None, shown="not compared")


@dataclass(frozen=True, kw_only=True)
class DotsInlay(InlayTable):
    """``[dots]`` as the inlay that they are cut as."""

    table: ClassVar[str] = "[dots]"
    dots: Dots

    def written(self, number: int) -> str:
        """Where its keys stand in the job file."""
        return self.table


def dots_inlay(dots: Dots) -> DotsInlay:
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
    """``[block]``: a hollow block that fits the board, for pressing frets; of one radius, for sanding too."""

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
                                  shown="[nut] width; a shelf's own, 6 mm at most; 6 mm without [nut]")
    height: float | None = key(size(3.0, 60.0), "in the middle, from its bottom to its top", None,
                               shown="from [nut], [strings] and [frets]")
    overhang: float = key(size(0.0, 30.0), "past the board's edge at each end, filed off later", 0.5)
