"""The job file's tables for inlays: drawings and where they go, resin, pieces, the second cut over a fill."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, ClassVar, Literal

from pathgen.artwork.values import Colour, parse_colour
from pathgen.base.errors import JobError
from pathgen.parts.fingerboard.numbers import FRET, FRET_OR_NUT
from pathgen.parts.keys import (
    ALONG_ACROSS,
    CUTTER,
    CUTTERS,
    FILE,
    LEAST_POCKET,
    Place,
    choice,
    holding,
    key,
    list_of,
    number,
    shown,
    size,
    table_of,
    text,
    yes_or_no,
)
from pathgen.work.fill import DAM, LEAST_BATCH, LEAST_WASTE, MEASURE, WASTE

PART = number(0.0, 10_000.0)
"""How many parts of a resin's mix."""


@holding("colour")
def colour(value: Any, place: Place) -> str:
    """A colour like ``"#2f6f4f"``, or as CSS writes it otherwise, such as ``"red"``; none that is see-through."""
    text = value.strip() if isinstance(value, str) else ""
    written = parse_colour(text)
    if isinstance(written, Colour) and written.alpha == 1.0:
        return written.hex
    meant = written if isinstance(written, Colour) else parse_colour(f"#{text}")
    raise place.refuse(f"{shown(value)} given", allowed='a colour like "#2f6f4f" or "red"',
                       remedy=f'write "{meant.hex}"' if isinstance(meant, Colour) else
                       "pathgen show names those of a drawing where no colours are given"
                       if "wood_colour" not in place.where else "")


@dataclass(frozen=True, kw_only=True)
class PlaceTable:
    """Where a drawing goes on the board."""

    at: tuple[float, float] | None = key(
        list_of(size(-2000.0, 2000.0), names=ALONG_ACROSS), "[along, across] of the drawing's centre", None,
        shown="this, between or at_frets")
    between: tuple[int, int] | None = key(
        list_of(FRET_OR_NUT, names=("first fret", "second fret")),
        "two frets to centre it between, made to fit there unless width or height is given; 0 is the nut", None,
        shown="this, at or at_frets")
    at_frets: tuple[int, ...] | None = key(
        list_of(FRET, least=1, most=60), "frets to put a copy before, each made to fit its space",
        None, shown="this, at or between")
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
                           allowed="one of at, between and at_frets", remedy="say where the drawing goes, one way"
                           if ways else "write at, where its centre goes: to turn, mirror or size it; "
                           "or leave place out: it then lies as it is on its page")
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


@holding("table or list of numbers", limits=f"2 to 6 values, each {PART.limits}")
def _mix(value: Any, place: Place) -> dict[str, float]:
    """Named parts, or a list of them: { resin = 2, hardener = 1 } or [2, 1]."""
    if isinstance(value, list):
        value = {f"part {chr(ord('A') + i)}": part for i, part in enumerate(value)}
    if not isinstance(value, dict) or not 2 <= len(value) <= 6:
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
    waste_least: float | None = key(number(0.0, 1000.0, unit="ml"), "the least that is added for that in each pour, ml",
                                    None, shown=f"{LEAST_WASTE:g} ml")
    least: float | None = key(number(0.1, 10_000.0, unit="ml"), "the smallest batch that you mix, ml", None,
                              shown=f"{LEAST_BATCH:g} ml")
    measure: float | None = key(number(0.001, 100.0), "the smallest part that you can measure, ml; g where mixed by "
                                "mass", None, shown=f"{MEASURE:g}")
    dam: float | None = key(size(0.0, 100.0),
                            "how far outside the drawing the dam stands, as a taut thread goes round all that lies "
                            "within 20 mm", None, shown=f"{DAM:g} mm")


@dataclass(frozen=True, kw_only=True)
class PieceTable:
    """``piece = { cutter = .., thickness = .. }`` of an inlay: the pieces let in, cut by ``pathgen pieces``."""

    cutter: str = key(CUTTER, "a flat-end cutter that goes round the pieces")
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

    artwork: str = key(FILE, "the drawing, an SVG file")
    layers: tuple[str, ...] = layers_seen()
    place: PlaceTable = key(table_of(PlaceTable), "where it goes, as that of the first")


@dataclass(frozen=True, kw_only=True)
class InlayTable:
    """``[[inlay]]``: each is pocketed, filled and surfaced again, in the order written."""

    table: ClassVar[str] = "[[inlay]]"
    artwork: str = key(FILE, "the drawing, an SVG file")
    layers: tuple[str, ...] = layers_seen()
    colours: tuple[str, ...] | None = key(list_of(colour, least=1), "the colours to cut", None,
                                          shown="every colour in the drawing")
    depth: float = key(size(LEAST_POCKET, 20.0), "straight down from the surface")
    cutters: tuple[str, ...] = key(CUTTERS, "names, largest first, a v last")
    fill: str = key(choice("resin", "piece", "none"), "what goes in", "resin")
    overfill: float = key(size(0.0, 20.0), "how far the cured fill stands above the surface", 1.0, inch=0.04)
    place: PlaceTable | None = key(table_of(PlaceTable), "where it goes: { at, rotate, width, height, mirror }", None,
                                   shown="page origin at the nut face, on the centre-line")
    also: tuple[AlsoTable, ...] = key(
        list_of(table_of(AlsoTable), most=40),
        "further drawings that are cut, filled and cut level with it: [{ artwork, place }, ..]", ())
    resin: ResinTable | None = key(table_of(ResinTable), "the resin of this inlay, where it differs from [resin]", None,
                                   shown="[resin]")
    piece: PieceTable | None = key(
        table_of(PieceTable), 'fill = "piece": pocket and piece are matched, and pathgen pieces cuts the piece', None,
        shown="pocketed as drawn, no program for the piece")
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
        "below the first surface: pockets end as much less deep; 0 repeats the first finishing moves exactly", 0.0)
    stepdown: float = key(size(0.02, 10.0), "the most that a pass through what stands proud takes, ridges of "
                          "the one above counted in: each goes 0.8 of it deeper, 40 at most", 0.5, inch=0.02)
    area: Literal["board", "inlay"] = key(
        choice("board", "inlay"), "cut the whole board again over the last inlay, with layers above its last pass over "
        "the fill alone, and only round those before it; or only over each inlay", "board")
    blend: float = key(size(0.5, 100.0), "how far round a drawing its fill is cut down, beside all inside its dam; "
                       "over the whole board 3 mm at least", 5.0, inch=0.2)
