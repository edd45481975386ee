"""The back of a part: its blank lies with the back up, X as on the part, Y turned over about the centre-line."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

from shapely import Polygon

from pathgen.base.surface import Surface
from pathgen.base.tops import level
from pathgen.parts.boxed import Boxed
from pathgen.work.part import Names, Part, Place
from pathgen.work.underside import turned_over

if TYPE_CHECKING:
    from pathgen.work.clamping import Clamping, Stock


@dataclass(frozen=True, eq=False, kw_only=True)
class Back(Boxed):
    """The back of `front`, as it lies: a level face, `blank` mm over the bed.

    `zero` is the place on the bed that both sides' programs count from, in the front's frame.
    """

    front: Part
    blank: float
    zero: Place
    channel: dict[str, Any]
    """What report.json says of the channel: along (from, to), across, width, depth, ends."""

    openings: ClassVar[tuple[Polygon, ...]] = ()
    min_web: ClassVar[float] = 0.0

    @property
    def names(self) -> Names:
        """Those of the part, its sides changed over."""
        own = self.front.names
        return replace(
            own, part=f"back of the {own.part}", sides=own.sides and (own.sides[1], own.sides[0]), holds="", too="",
            joints=tuple((name, (x, -y)) for name, (x, y) in own.joints),
            laid=(f"Take a blank whose faces are flat and parallel. Mark its {own.near.removesuffix(' end')} end on "
                  "both faces, and the face that will be the top.",
                  "Lay it with that face down, the back up, on a spoilboard that stays where it is until the last "
                  "program of the top: the dowels will stand in its holes.",
                  "Set the zero across the blank from one of its long sides alone, and mark that side: no blank is "
                  "quite as wide as the job says, and once it is turned over the zero is found again only from there."),
        )

    @property
    def start(self) -> float:
        """That of the part."""
        return self.front.start

    @cached_property
    def surface(self) -> Surface:
        """The back of the blank."""
        return level(self.blank, self.length)

    @cached_property
    def outline(self) -> Polygon:
        """The part's, turned over."""
        return turned_over(self.front.outline)

    def places(self, stock: Stock) -> dict[str, Place]:
        """One place, the same on the bed for both sides; a corner of the blank by the side that lies there now."""
        words, sides = self.zero.words, self.front.names.sides
        if sides and words.startswith("the blank's corner"):
            one, other = sides
            words = re.sub(f"{one}|{other}", lambda side: other if side[0] == one else one, words) + ", as it lies now"
        elif sides and self.zero.at[1]:
            words = f"where, once the blank is turned over, this will lie: {words}"
        return {"as-the-top": Place(at=self.zero.at, words=words)}

    def rows(self, clamping: Clamping) -> dict[str, Any]:
        """Key channel."""
        return {"channel": self.channel}
