"""The fingerboard as a value: its frets, its outline, its lines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Bools, Floats
from pathgen.base.markup import as_svg
from pathgen.base.picture import INK, WOOD, View, area, lines
from pathgen.base.surface import Surface
from pathgen.parts.fingerboard.ends import chord_across
from pathgen.parts.fingerboard.fretting import FretWire
from pathgen.parts.fingerboard.layout import Edges, Layout
from pathgen.parts.fingerboard.neck import Neck
from pathgen.parts.fingerboard.rows import board_rows
from pathgen.parts.fingerboard.stringing import Strings
from pathgen.work.part import Landmarks, Names, Place

if TYPE_CHECKING:
    from pathgen.work.clamping import Clamping, Stock


ZEROS = tuple(
    f"{body}{end}-{side}" for body in ("", "blank-") for end in ("nut", "end") for side in ("centre", "bass", "treble")
) + ("blank-centre",)
"""Places where X 0, Y 0 of a board's programs may be: on the cut board, or on the blank."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Frets:
    """Fret lines, nut side first; a zero fret, where there is one, is the first and has number 0."""

    number: NDArray[np.int64]
    distance: Floats
    """(n,) from the nut, along the centre-line, mm."""
    bass: Floats
    treble: Floats
    """Both: (n, 2) where each fret's line meets the edges of the cut board, mm."""
    ends: Floats
    """(n, 2, 2) where each fret itself ends: at the edges, or nearer for a partial fret. Bass end, treble end."""
    full: Bools
    """(n, 2) whether it reaches the edge at its bass and treble end."""

    def __len__(self) -> int:
        return len(self.number)


@dataclass(frozen=True, kw_only=True)
class Fittings:
    """What goes on a board: how many strings, the frets with side dots; wire, strings and neck where they are known."""

    strings: int = 6
    side_dots: tuple[int, ...] = ()
    wire: FretWire | None = None
    string_set: Strings | None = None
    neck: Neck | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Fingerboard:
    """The finished board, in the board's frame."""

    surface: Surface
    """The radiused top as first cut."""
    outline: Polygon
    """The board as cut on the machine: narrower than finished by the binding on each long side."""
    finished: Polygon
    """The board with its binding on."""
    edges: Edges
    """Long edges of the cut board."""
    frets: Frets
    nut_line: Floats
    """(2, 2) where the nut line meets the cut edges: bass, treble."""
    end_line: Floats
    """(2, 2) where the board's end meets them, stepped or straight, not rounded; with a drawn outline, where a line as
    far past the last fret as stated meets that, or the stated edges where it misses."""
    length: float
    """From the nut to the board's end on the centre-line, mm."""
    min_web: float
    """Least wood to be left under any pocket or slot, mm."""
    layout: Layout
    """Strings, bridge and finished edges."""
    behind_nut: float
    """How far the board runs on behind the nut, mm."""
    binding: float
    """Thickness of the binding on each long side, mm."""
    drawn: bool
    """Whether the outline is from a drawing."""
    bound: float = 0.0
    """Thickness of binding that is on the blank already and is cut with the board, mm."""
    fittings: Fittings = Fittings()

    start: ClassVar[float] = 0.0
    openings: ClassVar[tuple[Polygon, ...]] = ()

    @property
    def bass_side(self) -> int:
        """The sign of y on the bass side: +1 for a left-handed board."""
        return self.layout.bass_side

    @property
    def crossings(self) -> Floats:
        """(n + 1, 2, 2) where nut line and frets meet the cut edges: row k is fret k, bass and treble."""
        frets = np.stack([self.frets.bass, self.frets.treble], axis=1)[self.frets.number > 0]
        return np.concatenate([self.nut_line[None], frets])

    @property
    def distances(self) -> dict[int, float]:
        """How far from the nut each fret is on the centre-line, mm, by its number; 0, the nut, too."""
        return dict(zip(self.frets.number.tolist(), self.frets.distance.tolist(), strict=True)) | {0: 0.0}

    def across(self, lines: Floats, *, inset: float = 0.0) -> Floats:
        """(n, 2, 2) where lines, (n, 2, 2) bass to treble, meet the cut edges or what lies `inset` mm inside them.

        NaN where a line misses a drawn outline.
        """
        if self.drawn:
            return chord_across(overlay.buffer(self.outline, -inset, join_style="mitre"), lines)
        return self.edges.inset(inset).across(lines, self.bass_side)

    @property
    def ends(self) -> tuple[Floats, Floats]:
        """(2, 2) corners of nut and end: bass, treble."""
        return self.nut_line, self.end_line

    @property
    def names(self) -> Names:
        """A board has a nut, an end, and the sides of its outer strings."""
        start, _, end, _ = self.outline.bounds
        near, far = self._ends_on_centre if self.layout.fanned else (start, end)
        return Names(part="board", near="nut", far="end", start="the nut", along="strings run", holds=self._frets_words,
                     too="[board] thickness",
                     sides=("bass", "treble") if self.bass_side < 0 else ("treble", "bass"),
                     extent=end - start, on_centre=far - near if self.layout.fanned else None,
                     behind=0.0 if self.drawn else -near, joints=self._joints)

    @property
    def _joints(self) -> tuple[tuple[str, tuple[float, float]], ...]:
        """Where wood and binding meet on a bound blank, at the nut and at the end."""
        if not self.bound:
            return ()
        inner = self.across(np.stack([self.nut_line, self.end_line]), inset=self.bound)
        return tuple((f"{side} at the {end}", (float(x), float(y)))
                     for end, both in zip(("nut", "end"), inner.tolist(), strict=True)
                     for side, (x, y) in zip(("bass", "treble"), both, strict=True) if not math.isnan(x))

    @property
    def _frets_words(self) -> str:
        count = int(np.count_nonzero(self.frets.number))
        return f"{count} fret{'' if count == 1 else 's'}" + " and a zero fret" * (count < len(self.frets))

    @property
    def landmarks(self) -> Landmarks:
        """Its frets."""
        frets = self.frets
        return Landmarks(number=frets.number, ends=frets.ends, edges=np.stack([frets.bass, frets.treble], axis=1))

    def places(self, stock: Stock) -> dict[str, Place]:
        """The keys are ZEROS, but for places at the end that a drawn outline does not have."""
        missing = self.drawn and shapely.distance(self.outline, shapely.points(self.end_line)).max() > 1e-6
        places = {n: self._place(n, stock) for n in ZEROS if not (missing and n in ("end-bass", "end-treble"))}
        return {name: place for name, place in places.items() if not math.isnan(place.at[0])}

    def _place(self, name: str, stock: Stock) -> Place:
        *on_blank, end, side = name.split("-")
        x0, _, x1, y1 = stock.bounds
        sign = {"centre": 0, "bass": self.bass_side, "treble": -self.bass_side}[side]
        if end == "blank":
            return Place(at=((x0 + x1) / 2, 0.0), words="the centre of the blank")
        if on_blank:
            what = {"nut": "nut end", "end": "far end"}[end]
            words = f"the middle of the blank's {what}" if not sign else f"the blank's corner, {what}, {side} side"
            return Place(at=(x0 if end == "nut" else x1, sign * y1), words=words)
        what = {"nut": "the nut face", "end": "the board's end"}[end]
        if not sign:
            return Place(at=(0.0 if end == "nut" else self._ends_on_centre[1], 0.0), words=f"{what} on the centre-line")
        if self.drawn and end == "end":
            what = "a line past_last_fret beyond the last fret"
        x, y = (self.nut_line if end == "nut" else self.end_line)[0 if side == "bass" else 1].tolist()
        return Place(at=(x, y), words=f"where {what} meets the {side} edge of the cut board")

    @property
    def _ends_on_centre(self) -> tuple[float, float]:
        x0, _, x1, _ = self.outline.bounds
        run = overlay.intersection(shapely.LineString([(x0 - 1, 0), (x1 + 1, 0)]), self.outline).bounds
        return float(run[0]), float(run[2])

    def rows(self, clamping: Clamping) -> dict[str, Any]:
        """Keys frets, board, strings, side_dots, fretting, stringing, neck."""
        return board_rows(self, clamping)

    def _repr_svg_(self) -> str:
        """The board from above, for notebooks: outline, binding and fret lines, at true size."""
        view = View.around(self.finished.bounds, 2.0)
        return as_svg(view.picture(
            f"Fingerboard, {self.names.extent:.1f} mm long, {self._frets_words}",
            area(view, self.finished, stroke=INK, stroke_width=0.3),
            area(view, self.outline, fill=WOOD, stroke=INK, stroke_width=0.5),
            lines(view, self.frets.ends, stroke=INK, stroke_width=0.5),
        ))
