"""The radiused surface of a fingerboard: height, normal, and where a cutter must go to touch it.

The surface is the fingerboard's finished top, above its underside:

    z(x, y) = thickness + sqrt(R(x)**2 - y**2) - R(x),   R(x) = radius_nut + taper * x

One radius gives a cylinder; two give an oblique circular cone with a level crest line, whose straight lines
all meet in the apex where R is 0; an infinite radius gives a flat. With v = R sin(phi), every line of equal
phi is straight and has one normal, along (-taper * (1 - cos(phi)), sin(phi), cos(phi)). Everything below is
solved for phi, so heights are exact to rounding.

Source of the conical board: derived, by similar triangles: its radius grows as the distance from the apex does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pathgen.base import given
from pathgen.base.arrays import Floats
from pathgen.base.cutters import Cutter
from pathgen.base.errors import CutterError, PathgenError
from pathgen.base.markup import as_svg
from pathgen.base.picture import INK, PALE, View, lines

_NEWTON_STEPS = 6
"""Newton's method doubles the digits each step; from the start below, 3 steps reach rounding on real boards."""


@dataclass(frozen=True, kw_only=True)
class Surface:
    """A flat, cylindrical or compound-radius (conical) top.

    Attributes
    ----------
    thickness : float
        Height of the crest line above the underside, mm.
    radius_nut, radius_end : float
        Radius across the board at x = 0 and at x = length, mm; both infinite for a flat. `radius_end` may be
        smaller than `radius_nut`.
    length : float
        Where `radius_end` holds, mm. The radius runs on in the same line past both ends.

    Made by `pathgen.flat` and `pathgen.radiused`; shows itself as a section in a notebook.

    >>> import pathgen
    >>> top = pathgen.radiused(thickness=6.0, start=254.0)
    >>> round(float(top.height(100.0, 20.0)), 4)     # 6 - (254 - sqrt(254^2 - 20^2))
    5.2114
    """

    thickness: float
    radius_nut: float
    radius_end: float
    length: float

    def __post_init__(self) -> None:
        for name in ("thickness", "length", "radius_nut", "radius_end"):
            got = getattr(self, name)
            if not (name.startswith("radius") and isinstance(got, float) and got == math.inf):
                least, most = (-given.LARGEST, given.LARGEST) if name == "thickness" else (
                    given.SMALLEST, given.LARGEST_FIGURE)
                number = given.length(f"surface {name}", got, least=least, most=most)
                object.__setattr__(self, name, number)
        if math.isinf(self.radius_nut) != math.isinf(self.radius_end):
            raise PathgenError("surface", "flat at one end only", allowed="flat or radiused at both ends")

    @property
    def bends(self) -> Floats:
        """X of the places where the top changes its way along the board, mm; none here."""
        return np.empty(0)

    @property
    def curving(self) -> float:
        """How much the crest line curves, per mm, at most; it is straight here."""
        return 0.0

    @property
    def is_flat(self) -> bool:
        """True when there is no radius at all."""
        return math.isinf(self.radius_nut)

    @property
    def is_level(self) -> bool:
        """True when it is flat, and nowhere lowered along the board."""
        return self.is_flat and not self.curving and not len(self.bends)

    @property
    def taper(self) -> float:
        """Change of radius for each mm along the board."""
        return 0.0 if self.is_flat else (self.radius_end - self.radius_nut) / self.length

    def radius(self, x: ArrayLike) -> Floats:
        """Radius of the section across the board at x, mm (infinite for a flat)."""
        return self.radius_nut + self.taper * np.asarray(x, dtype=float)

    def height(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Height of the surface above the underside, mm; NaN where `y` lies beyond the section's radius."""
        x, y = np.asarray(x, float), np.asarray(y, float)
        if self.is_flat:
            return np.full(np.broadcast_shapes(x.shape, y.shape), self.thickness)
        radius = self.radius(x)
        with np.errstate(divide="ignore", invalid="ignore"):
            drop = y**2 / (radius + np.sqrt(radius**2 - y**2))
        return np.where(np.abs(y) <= radius, self.thickness - drop, np.nan)

    def normal(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Unit normals, pointing up out of the wood: (..., 3) array."""
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if self.is_flat:
            return np.broadcast_to(np.array([0.0, 0.0, 1.0]), (*x.shape, 3)).copy()
        sin = y / self.radius(x)
        cos = np.sqrt(1.0 - sin**2)
        lean = -self.taper * _versine(sin, cos)
        length = np.sqrt(1.0 + lean**2)
        return np.stack([lean / length, sin / length, cos / length], axis=-1)

    def slope(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Steepness of the surface: rise over run in the steepest direction (0 at the crest)."""
        normal = self.normal(x, y)
        return np.hypot(normal[..., 0], normal[..., 1]) / normal[..., 2]

    def tip_height(self, cutter: Cutter, x: ArrayLike, y: ArrayLike) -> Floats:
        """Height of the cutter's tip when, over (x, y), it just touches the surface and cuts nothing below it.

        Parameters
        ----------
        cutter : Cutter
        x, y : float or array
            Position of the cutter's axis, mm.

        Returns
        -------
        float array of the broadcast shape, mm above the underside

        Raises
        ------
        CutterError
            For a v cutter so blunt that its flank, not its tip, would touch a slope this steep.
        PathgenError
            Where the axis lies so far out that the cutter would not touch the surface at all.
        """
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if self.is_flat:
            return np.full(x.shape, self.thickness)
        if cutter.shape == "v":
            return self._v_tip_height(cutter, x, y)
        return self._round_tip_height(cutter.radius, x, y, ball=not cutter.is_flat)

    def ball_from_below(self, ball_radius: float, x: ArrayLike, y: ArrayLike) -> Floats:
        """Height of the top of a ball that, with its centre under (x, y), touches the surface from below, mm.

        Raises PathgenError where the ball would not meet the surface.
        """
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if self.is_flat:
            return np.full(x.shape, self.thickness)
        return self._round_tip_height(-ball_radius, x, y, ball=True)

    def _repr_svg_(self) -> str:
        """Sections across at both ends, for notebooks: heights drawn four times."""
        half = min(30.0, 0.9 * abs(float(self.radius(0.0))), 0.9 * abs(float(self.radius(self.length))))
        y = np.linspace(-half, half, 121)
        runs = [np.column_stack([y, self.height(x, y)]) for x in (0.0, self.length)]
        low, high = min(run[:, 1].min() for run in runs), max(run[:, 1].max() for run in runs)
        view = View.around((-half, min(0.0, low), half, high), 2.0, rise=4.0)
        ends = " to ".join(dict.fromkeys(f"{r:g}" for r in (self.radius_nut, self.radius_end)))
        return as_svg(view.picture(
            f"Section of a top {self.thickness:g} mm thick, " + ("flat" if self.is_flat else f"radius {ends} mm"),
            lines(view, runs[1:], stroke=PALE, stroke_width=0.3), lines(view, runs[:1], stroke=INK, stroke_width=0.3),
            lines(view, [np.array([[-half, 0.0], [half, 0.0]])], stroke=PALE, stroke_width=0.2),
        ))

    def _v_tip_height(self, cutter: Cutter, x: Floats, y: Floats) -> Floats:
        height = self.height(x, y)
        steepest = float(np.max(self.slope(x, y), initial=0.0))
        if steepest > cutter.wall_slope:
            raise CutterError(
                f"cutter {cutter.name!r}",
                f"{cutter.angle:g} degrees is too blunt for a surface sloping {math.degrees(math.atan(steepest)):.1f}"
                " degrees: its flank touches before its tip",
                remedy="take a sharper v cutter",
            )
        return height

    def _round_tip_height(self, r: float, x: Floats, y: Floats, *, ball: bool) -> Floats:
        """Contact of a ball of radius r, or of the rim of a disc of radius r, solved for phi by Newton's method."""
        k, across = self.taper, np.abs(y)
        phi = self._contact_angle(r, x, across, ball=ball)
        sin, cos = np.sin(phi), np.cos(phi)
        versine = _versine(sin, cos)
        if ball:
            m = np.sqrt(1.0 + (k * versine) ** 2)
            radius = self.radius(x + r * k * versine / m)
            # tip = centre - r; the ball's own rise r cos / m - r is written so that it keeps its digits
            lift = -r * (versine + (k * versine) ** 2 / (1.0 + m)) / m
            return self.thickness - radius * versine + lift
        half = sin / (1.0 + cos)
        w = np.sqrt(1.0 + (k * half) ** 2)
        radius = self.radius(x + r * k * half / w)
        return np.where(across <= r, self.thickness, self.thickness - radius * versine)

    def check_meets(self, r: float, x: Floats, y: Floats) -> None:
        """Raises PathgenError where a ball of radius r over a place, or with r negative under it, would not touch the
        surface."""
        across, radius = np.abs(y), self.radius(x)
        if np.any(across >= radius + r) or np.any(radius <= 0):
            raise PathgenError(
                "surface", f"a cutter {float(across.max()):.3f} mm from the centre-line does not meet the surface",
                allowed=f"less than the radius there, {float(radius.min()):.3f} mm",
                remedy="passes run past the part's edges as far as their cutter opens: take a smaller cutter, a larger "
                       "radius, or a narrower part",
            )

    def _contact_angle(self, r: float, x: Floats, across: Floats, *, ball: bool) -> Floats:
        self.check_meets(r, x, across)
        k, radius = self.taper, self.radius(x)
        reach = radius + r
        sin = across / reach if ball else np.maximum(across - r, 0.0) / radius
        phi = np.arcsin(np.minimum(sin, 1.0))
        for _ in range(_NEWTON_STEPS):
            sin, cos = np.sin(phi), np.cos(phi)
            versine = _versine(sin, cos)
            if ball:
                m = np.sqrt(1.0 + (k * versine) ** 2)
                arm = radius + r * (1.0 + k**2 * versine) / m
                d_arm = r * k**2 * sin / m * (1.0 - (1.0 + k**2 * versine) * versine / m**2)
                error = arm * sin - across
                step = error / (arm * cos + d_arm * sin)
            else:
                half = sin / (1.0 + cos)
                d_half = 1.0 / (1.0 + cos)
                w = np.sqrt(1.0 + (k * half) ** 2)
                arm = radius + r * k**2 * half / w
                d_arm = r * k**2 * d_half / w**3
                error = arm * sin + r / w - across
                step = error / (arm * cos + d_arm * sin - r * k**2 * half * d_half / w**3)
                step = np.where(across <= r, 0.0, step)
            phi = np.clip(phi - step, 0.0, math.pi / 2)
            if np.all(np.abs(step) < 1e-15):
                break
        return phi


def _versine(sin: Floats, cos: Floats) -> Floats:
    """1 - cos, without cancellation."""
    return sin**2 / (1.0 + cos)
