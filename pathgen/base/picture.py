"""Shapes in mm as pictures: one mapping of coordinates, and a few things to draw with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pathgen.base.arrays import Bools, Floats, stretches
from pathgen.base.markup import Element, element, number
from pathgen.base.memory import remembered
from pathgen.base.units import INCH, format_length

INK = "#1b2624"
"""Lines and words."""
PALE = "#5b6663"
"""Second-rank lines and words."""
GROUND = "#ffffff"
WOOD = "#efe3d0"
BLANK = "#f7f3ec"


@dataclass(frozen=True, kw_only=True)
class View:
    """A rectangle of the board's frame as a picture of 1 unit to the mm, its top left corner at 0, 0.

    `rise` exaggerates what is drawn upward. Everything in a picture is placed by calling its view.
    """

    left: float
    right: float
    bottom: float
    top: float
    rise: float = 1.0

    @classmethod
    def around(cls, bounds: tuple[float, float, float, float], margin: float, *, rise: float = 1.0) -> View:
        """A view of (x_min, y_min, x_max, y_max) with `margin` (picture units) on every side."""
        x0, y0, x1, y1 = bounds
        up = margin / rise
        return cls(left=x0 - margin, right=x1 + margin, bottom=y0 - up, top=y1 + up, rise=rise)

    @property
    def width(self) -> float:
        """Of the picture, in its units."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Of the picture, in its units."""
        return (self.top - self.bottom) * self.rise

    def __call__(self, points: ArrayLike) -> Floats:
        """(n, 2) points in mm as (n, 2) places in the picture."""
        p = np.asarray(points, dtype=float).reshape(-1, 2)
        return np.stack([p[:, 0] - self.left, (self.top - p[:, 1]) * self.rise], axis=1)

    def picture(self, name: str, *content: Element | None, **attributes: str) -> Element:
        """The svg element; `name` says in words what it shows. Its size is true when 1 unit is 1 mm. It has a white
        ground of its own: a browser that makes pages dark leaves the words of a picture as they are."""
        ground = element("rect", width="100%", height="100%", fill=GROUND)
        return element(
            "svg", element("title", name), ground, content, role="img", aria_label=name,
            viewBox=f"0 0 {number(self.width)} {number(self.height)}", width=f"{number(self.width)}mm",
            height=f"{number(self.height)}mm", font_family="system-ui, sans-serif", fill="none",
            stroke_linejoin="round", stroke_linecap="round", **attributes,
        )


def area(view: View, shape: shapely.Geometry, *, decimals: int = 2, **style: str | float | None) -> Element:
    """A polygon, with its holes, or several."""
    rings = [r for p in shapely.get_parts(shape) for r in (p.exterior, *p.interiors) if not p.is_empty]
    data = "".join(_data(view(shapely.get_coordinates(ring)[:-1]), decimals) + "z" for ring in rings)
    return element("path", d=data, fill_rule="evenodd", **style)


def lines(view: View, runs: Floats | list[Floats], *, decimals: int = 2, **style: str | float | None) -> Element:
    """Open lines: each an (n, 2) array of points."""
    data = "".join(_data(view(run), decimals) for run in runs if len(run))
    return element("path", d=data, **style)


def words(view: View, at: ArrayLike, text: str, *, size: float, **style: str | float | None) -> Element:
    """Text with its middle, or the end that `text_anchor` names, at a point."""
    x, y = view(at)[0]
    return element("text", text, x=x, y=y, font_size=size, **{"fill": INK, "text_anchor": "middle", **style})


def ruler(view: View, at: tuple[float, float], units: str) -> list[Element]:
    """A bar of 50 mm (2 in) from a place to the right, to measure on what is printed at true size, and its words."""
    (x, y), long = at, 2 * INCH if units == "in" else 50.0
    bar = [[[x, y], [x + long, y]], [[x, y - 1], [x, y + 1]], [[x + long, y - 1], [x + long, y + 1]]]
    return [lines(view, [np.array(run) for run in bar], stroke=INK, stroke_width=0.3),
            words(view, (x + long / 2, y + 1.0), f"{format_length(long, units)}: measure it on the print", size=3.0)]


def path_in_plan(name: str, points: Floats, rapid: Bools) -> Element:
    """A path of (n, 3) points from above: cuts as lines, and pale the moves that are `rapid`, (n,), of each point's."""
    if not len(points):
        return View(left=0.0, right=1.0, bottom=0.0, top=1.0).picture(name)
    low, high = points.min(axis=0), points.max(axis=0)
    view = View.around((low[0], low[1], high[0], high[1]), max(1.0, 0.02 * float(high[0] - low[0])))
    return view.picture(
        name, lines(view, runs_in_plan(points, rapid), stroke=PALE, stroke_width=view.width / 2000),
        lines(view, runs_in_plan(points, ~rapid), stroke=INK, stroke_width=view.width / 1000),
    )


@remembered
def runs_in_plan(points: Floats, wanted: Bools, *, tolerance: float = 0.1) -> list[Floats]:
    """The parts of a path, seen from above, whose moves are `wanted`: (n, 2) arrays within `tolerance` (mm) of it.

    `wanted` (n,) tells of the move that reaches each point. A part that is run again at another height comes once,
    one that goes to and fro along a line as that line; one that only goes up or down is left out.
    """
    plans: dict[bytes, Floats] = {}
    for first, last in stretches(wanted[1:]).tolist():
        run = points[first : last + 1, :2]
        if np.ptp(run, axis=0).max() > tolerance:
            plan = np.round(_plainer(run, tolerance), 1)
            plans.setdefault(plan.tobytes(), plan)
    return list(plans.values())


def _plainer(run: Floats, tolerance: float) -> Floats:
    """A run with no more points than it takes."""
    far = run[np.argmax(np.hypot(*(run - run[0]).T))] - run[0]
    far = far / np.hypot(*far)
    along, aside = (run - run[0]) @ far, (run - run[0]) @ [-far[1], far[0]]
    if np.ptp(aside) <= tolerance:
        return run[[np.argmin(along), np.argmax(along)]]
    return shapely.get_coordinates(shapely.simplify(shapely.linestrings(run), tolerance, preserve_topology=False))


def _data(points: Floats, decimals: int) -> str:
    """Path data: a move, then lines by their steps, which are shorter to write. Rounding does not add up."""
    places = np.round(points * 10**decimals).astype(np.int64)
    steps = np.diff(places, axis=0, prepend=0 * places[:1])
    steps = steps[np.concatenate([[True], steps[1:].any(axis=1)])]
    text = {step: _short(step, decimals) for step in set(steps.ravel().tolist())}
    pairs = [f"{text[x]},{text[y]}" for x, y in steps.tolist()]
    return "M" + pairs[0] + ("l" + " ".join(pairs[1:]) if len(pairs) > 1 else "")


def _short(value: int, decimals: int) -> str:
    return repr(value / 10**decimals).removesuffix(".0")  # the shortest that reads back; no exponent down to 0.0001
