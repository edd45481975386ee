"""Cutters: what shape they leave, and how wide they open a surface."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Literal, assert_never

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base import given
from pathgen.base.arrays import Floats
from pathgen.base.errors import CutterError
from pathgen.base.markup import as_svg
from pathgen.base.picture import INK, View, lines

Shape = Literal["ball-end", "flat-end", "v"]
EASED_LOAD = 1.35
"""Times the load of a straight-line cut that an eased full-width cut has: under LOAD_FACTOR by what depths vary."""

FINEST = 0.1
"""Cutters are not made thinner, mm; common practice."""

FEEDS = 1.0, 50_000.0
"""Slowest and fastest, mm per minute."""

LIMITS = {"diameter": (0.05, 100.0), "speed": (100.0, 200_000.0), "feed": FEEDS, "plunge": FEEDS,
          "stepdown": (0.01, 50.0), "stepover": (0.02, 1.0), "ramp": (0.5, 45.0), "angle": (5.0, 170.0),
          "flutes": (1.0, 12.0), "flute_length": (0.1, 200.0)}
"""From where to where each lies, in the units of `Cutter`; the keys of a job ask here too. Thinner layers and narrower
steps would take for ever."""

LONGEST_NAME = 60
"""Characters in a cutter's name."""

LOAD_FACTOR = 1.5
"""Times the volume per tooth of a straight-line cut that any move may take."""

LEAST_RAMP = 0.02
"""Rise over run under which a ramp would take longer than going down it at the plunge feed."""

_LAYERS = 33
"""Depths for which what a layer takes is worked out; between them it is about straight."""

SHAPES: tuple[Shape, ...] = ("ball-end", "flat-end", "v")

TOO_MUCH = 1.05 * LOAD_FACTOR
"""Times the straight-line cut, at the eased feed, from which a ramp is gone down at the plunge feed: a short stretch
may have a little more than a long one."""


@dataclass(frozen=True, kw_only=True)
class Cutter:
    """A rotating cutter and the feeds it is run at.

    Attributes
    ----------
    name : str
    shape : "ball-end", "flat-end" or "v"
    diameter : float
        mm.
    speed : float
        Turns per minute.
    feed, plunge : float
        Along a cut, and straight down, mm per minute.
    stepdown : float
        Deepest cut at once, mm.
    stepover : float
        From one pass to the next, where these rough or clear, as a share of the diameter.
    flutes : int
        How many cutting edges it has.
    flute_length : float
        How deep it can cut, mm; infinite where it is not given.
    angle : float, optional
        Included angle of a v cutter, degrees; none for others.
    ramp : float
        Steepest way down along a path, degrees.
    plunges : bool
        Whether it cuts at its centre; one that does not never goes straight down into wood.

    Raises CutterError for a shape, size or angle that no cutter has.

    >>> import pathgen
    >>> ball = pathgen.Cutter(name="ball 6", shape="ball-end", diameter=6.0, speed=18000, feed=2000.0, plunge=500.0,
    ...                       stepdown=2.0)
    >>> round(float(ball.half_width(0.01)), 4)
    0.2447
    """

    name: str
    shape: Shape
    diameter: float
    speed: float
    feed: float
    plunge: float
    stepdown: float
    stepover: float = 0.45
    flutes: int = 2
    flute_length: float = math.inf
    angle: float | None = None
    ramp: float = 5.0  # common practice for flat ends, no source
    plunges: bool = True

    def __post_init__(self) -> None:
        given.title("cutter name", self.name, longest=LONGEST_NAME, error=CutterError)
        where = f"cutter {self.name!r}"
        if not isinstance(self.shape, str) or self.shape not in SHAPES:
            raise CutterError(where, f"shape {self.shape!r}", allowed=", ".join(SHAPES))
        if (self.shape == "v") != (self.angle is not None):
            raise CutterError(where, f"shape {self.shape} with angle {self.angle}",
                              allowed="an included angle for a v cutter, none for the others")
        for name, unit in (("diameter", "mm"), ("speed", "turns per minute"), ("feed", "mm per minute"),
                           ("plunge", "mm per minute"), ("stepdown", "mm"), ("stepover", "of the diameter"),
                           ("ramp", "degrees"), ("flutes", ""), ("angle", "degrees"), ("flute_length", "mm")):
            got = getattr(self, name)
            endless = isinstance(got, float) and got == math.inf
            if (name == "angle" and got is None) or (name == "flute_length" and endless):
                continue
            least, most = LIMITS[name]
            number = given.length(f"{where} {name}", got, least=least, most=most, unit=unit, error=CutterError)
            object.__setattr__(self, name, number)
        if self.flutes % 1:
            raise CutterError(f"{where} flutes", f"{self.flutes:g}", allowed="a whole number")
        object.__setattr__(self, "flutes", int(self.flutes))
        if not isinstance(self.plunges, bool):
            raise CutterError(f"{where} plunges", f"{self.plunges!r}", allowed="True or False")

    @property
    def radius(self) -> float:
        """Half the diameter."""
        return self.diameter / 2.0

    @property
    def ramp_slope(self) -> float:
        """Rise over run of the steepest ramp: bearable, and by what the plunge feed allows at the eased feed."""
        return min(self.bearable_ramp, 0.9 * self.plunge / self.eased_feed)

    @property
    def steepest_ramp(self) -> float:
        """Rise over run of its `ramp`."""
        return math.tan(math.radians(self.ramp))

    @property
    def bearable_ramp(self) -> float:
        """Rise over run of the steepest ramp by its angle that a flat end goes down without a tooth taking too much: it
        takes what is under it beside a full-width cut, at the slower of both its slow feeds. Others take little more.
        """
        if not self.is_flat:
            return self.steepest_ramp
        most = TOO_MUCH * self.straight_cut * self.feed / min(self.eased_feed, self.plunge)
        return min(self.steepest_ramp, max((most - self.full_cut) / (math.pi * self.radius**2), LEAST_RAMP))

    @property
    def is_flat(self) -> bool:
        """Whether its underside is level: it opens as much at its tip as above, and leaves no ridges on a floor."""
        return {"ball-end": False, "flat-end": True, "v": False}[self.shape]

    @property
    def tip_radius(self) -> float:
        """Radius of the ball at its tip, mm; 0 for none."""
        return {"ball-end": self.radius, "flat-end": 0.0, "v": 0.0}[self.shape]

    @property
    def wall_slope(self) -> float:
        """Rise over run of a v cutter's flank; infinite for the others, which have upright flanks."""
        return 1.0 / math.tan(math.radians(self.angle / 2.0)) if self.angle is not None else math.inf

    @property
    def shape_height(self) -> float:
        """Height above the tip at which the cutter reaches its full diameter."""
        return {"ball-end": self.radius, "flat-end": 0.0, "v": self.radius * self.wall_slope}[self.shape]

    @cached_property
    def full_cut(self) -> float:
        """Cross-section of a full-width cut at the stepdown, mm2: what a mm of a slot takes."""
        return self._section(self.diameter, self.stepdown)

    @cached_property
    def straight_cut(self) -> float:
        """Cross-section of a straight-line cut at the stepover and the stepdown, mm2.

        For a flat end stepover times stepdown; for a round or pointed one what its own shape takes beside the cut
        before.
        """
        return self._section(self.stepover * self.diameter, self.stepdown)

    def straight_cuts(self, depth: Floats) -> Floats:
        """The same, (n,), in the last of several layers with the tip `depth` (n,) below what stood, mm2.

        The layers of a v take more the deeper they lie: its flanks widen what those above it opened, on both sides of
        the line that it follows, whatever its stepover.
        """
        aside = self.diameter if self.shape == "v" else self.stepover * self.diameter
        deepest = max(self.shape_height, self.stepdown)
        layers = np.linspace(self.stepdown, deepest, _LAYERS if deepest > self.stepdown else 1)
        sections = [self._section(aside, float(layer)) for layer in layers]
        return np.asarray(np.interp(depth, layers, sections))

    def _section(self, aside: float, depth: float) -> float:
        """Of a cut to a depth, beside one `aside` of it and under one that is a stepdown less deep, mm2."""
        y = (np.arange(1000) + 0.5) / 1000 * self.diameter - self.radius
        under = np.minimum(self.profile(y) + self.stepdown, self.profile(y + aside))
        return float(np.maximum(depth - self.profile(y) - np.maximum(depth - under, 0.0), 0.0).mean()) * self.diameter

    @property
    def eased_feed(self) -> float:
        """The feed at which each tooth of a full-width cut takes EASED_LOAD times what it takes in a straight-line cut.

        Never above `feed`, and no less than a tenth of it.
        """
        return self.feed * min(1.0, max(0.1, EASED_LOAD * self.straight_cut / self.full_cut))

    def profile(self, distance: ArrayLike) -> Floats:
        """Height of the cutter's underside above its tip, at distances from its axis; infinite past the radius."""
        d = np.abs(np.asarray(distance, dtype=float))
        with np.errstate(invalid="ignore"):
            match self.shape:
                case "ball-end":  # r - sqrt(r^2 - d^2) without the cancellation near the tip
                    inside = d**2 / (self.radius + np.sqrt(self.radius**2 - d**2))
                case "flat-end":
                    inside = np.zeros_like(d)
                case "v":
                    inside = d * self.wall_slope
                case unlisted:
                    assert_never(unlisted)
        return np.where(d <= self.radius, inside, np.inf)

    def half_width(self, depth: ArrayLike) -> Floats:
        """Half the width at which the cutter opens a level surface when its tip is `depth` below it.

        Ball: sqrt(r^2 - (r - depth)^2) up to the radius; v: depth * tan(angle / 2); flat: the radius. Never
        more than the radius. Zero for no depth.
        """
        d = np.asarray(depth, dtype=float)
        match self.shape:
            case "ball-end":
                inside = np.minimum(d, self.radius)
                width = np.sqrt(np.maximum(inside * (2.0 * self.radius - inside), 0.0))
            case "flat-end":
                width = np.full_like(d, self.radius)
            case "v":
                width = np.minimum(d / self.wall_slope, self.radius)
            case unlisted:
                assert_never(unlisted)
        return np.where(d > 0, width, 0.0)

    def _repr_svg_(self) -> str:
        """The outline of its cutting end, for notebooks."""
        across = np.linspace(-self.radius, self.radius, 81)
        top = self.shape_height + self.radius
        end = np.column_stack([across, self.profile(across)])
        run = np.concatenate([[[-self.radius, top]], end, [[self.radius, top]]])
        view = View.around((-self.radius, 0.0, self.radius, top), 1.0)
        return as_svg(view.picture(f"{self.name}: {self.shape}, {self.diameter:g} mm",
                                   lines(view, [run], stroke=INK, stroke_width=0.2)))


def reshaped(cutter: Cutter, **changes: object) -> Cutter:
    """The same cutter of another shape or size, to reckon with: such as nobody makes too, so that no limits hold."""
    made: Cutter = object.__new__(Cutter)
    for field in fields(Cutter):
        object.__setattr__(made, field.name, changes.get(field.name, getattr(cutter, field.name)))
    return made


def within(name: str, value: float) -> float:
    """The nearest to a value that the LIMITS of this allow."""
    least, most = LIMITS[name]
    return min(max(value, least), most)
