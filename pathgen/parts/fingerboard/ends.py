"""The outline of the board in plan: long edges, straight, arched or stepped ends, rounded corners."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import NoReturn

import numpy as np
import shapely
from shapely import LineString, Polygon

from pathgen.base import overlay
from pathgen.base.arrays import Floats
from pathgen.base.errors import JobError
from pathgen.base.units import rounded_down
from pathgen.parts.fingerboard.layout import Edges
from pathgen.parts.fingerboard.numbers import EndTable

_ARC_SAG = 5e-4  # how far chords may lie inside an arc of the outline, mm
_LEFT = 0.01  # so near the rounded outline still runs along the end somewhere, mm
_TRIED = 5e-3  # how exactly the largest radius that fits is found, mm


def board_outline(
    edges: Edges, nut_line: Floats, end_line: Floats, *, nut: EndTable, end: EndTable, bass_side: int, inner: float
) -> Polygon:
    """The outline between the two ends' lines, (2, 2) bass to treble, counter-clockwise.

    `inner` is the radius that the outline's cutter leaves in corners that point inward. Raises JobError for an
    arch higher than half its width, or a step or corner that does not fit.
    """
    def around(nut: EndTable, end: EndTable) -> tuple[Floats, Floats, Polygon]:
        there = end_points(edges, end_line, end, bass_side)
        back = _end_points(edges, nut_line, nut, -1.0, bass_side, "[board] nut_end")
        return there, back, shapely.orient_polygons(Polygon(np.concatenate([there, back[::-1]])))

    try:
        there, back, plain = around(nut, end)
    except JobError:
        if max(-nut.rise, -end.rise) <= 0:
            raise
        plain = None  # a hollow that is too deep crosses the edges sooner
    if plain is None or not plain.is_valid:
        _refuse_crossing(lambda nut, end: around(nut, end)[2], nut, end)
    if inner > 0 and (nut.rise < 0 or end.rise < 0 or nut.steps or end.steps):
        # Mitred first, so that only the corners that point inward come back rounded.
        plain = overlay.buffer(overlay.buffer(plain, inner, join_style="mitre"), -inner, quad_segs=_quad_segs(inner))
    ends = {"nut_end": shapely.LineString(back), "end": shapely.LineString(there)}
    return shapely.orient_polygons(_rounded(plain, ends, {"nut_end": nut.corner_radius, "end": end.corner_radius}))


def _refuse_crossing(around: Callable[[EndTable, EndTable], Polygon], nut: EndTable, end: EndTable) -> NoReturn:
    """Raises JobError for ends with which the outline crosses itself, with hollows that it bears, by trying."""

    def bears(share: float) -> bool:
        with suppress(JobError):
            hollow = (replace(one, rise=share * one.rise) if one.rise < 0 else one for one in (nut, end))
            return bool(around(*hollow).is_valid)
        return False

    ends = {"nut_end": nut, "end": end}
    where = min(ends, key=lambda name: ends[name].rise)
    if ends[where].rise >= 0 or not bears(0.0):
        raise JobError("[board] end", "the outline crosses itself", remedy="make arches and steps smaller")
    low, high = 0.0, 1.0
    while (high - low) * -ends[where].rise > _TRIED:
        middle = (low + high) / 2
        low, high = (middle, high) if bears(middle) else (low, middle)
    most = {name: f"-{rounded_down(-low * one.rise):g} mm" for name, one in ends.items() if one.rise < 0}
    raise JobError(
        f"[board] {where} rise", f"{ends[where].rise:g} mm is so deep a hollow that the outline crosses itself",
        allowed=" and ".join(f"{name} rise from {least}" for name, least in most.items()) + " up",
        remedy=f"make the hollow{'s' * (len(most) > 1)} shallower")


def end_points(edges: Edges, line: Floats, end: EndTable, bass_side: int) -> Floats:
    """(n, 2) points of the end away from the nut, before corners are rounded: bass edge to treble edge.

    Raises JobError for an arch higher than half its width, or steps that are not between the edges.
    """
    return _end_points(edges, line, end, +1.0, bass_side, "[board] end")


def chord_across(outline: Polygon, lines: Floats) -> Floats:
    """(n, 2, 2) where straight lines, (n, 2, 2), enter and leave an outline; NaN where a line misses it."""
    run = lines[:, 1] - lines[:, 0]
    unit = run / np.linalg.norm(run, axis=1, keepdims=True)
    far = 2.0 * max(np.ptp(outline.bounds[::2]), np.ptp(outline.bounds[1::2])) + np.abs(lines).max()
    middle = lines.mean(axis=1)
    long = shapely.linestrings(np.stack([middle - far * unit, middle + far * unit], axis=1))
    inside = overlay.intersection(long, outline)
    chords = np.full_like(lines, np.nan)
    for i, piece in enumerate(inside):
        points = shapely.get_coordinates(piece)
        if len(points) > 1:
            along = (points - middle[i]) @ unit[i]
            chords[i] = points[[np.argmin(along), np.argmax(along)]]
    return chords


def _end_points(edges: Edges, line: Floats, end: EndTable, out: float, bass_side: int, where: str) -> Floats:
    """(n, 2) points of one end, bass edge to treble edge; `out` is the sign of x that points out of the board."""
    if end.steps and end.rise:
        raise JobError(where, "rise and steps are both given", remedy="keep one of them")
    if end.steps:
        return _stepped(edges, line, end.steps, out, bass_side, where)
    corners = edges.across(line[None], bass_side)[0]
    return _arch(corners, out * end.rise, where) if end.rise else corners


def _arch(corners: Floats, rise: float, where: str) -> Floats:
    """Points on the arc over a chord, from its first end to its second."""
    chord = corners[1] - corners[0]
    half = float(np.linalg.norm(chord)) / 2
    if abs(rise) > half:
        raise JobError(where, f"a rise of {abs(rise):g} mm over {2 * half:.2f} mm",
                       allowed=f"{rounded_down(half):.2f} mm or less",
                       remedy="make the arch flatter")
    radius = (half**2 + rise**2) / (2 * abs(rise))
    angle = 2 * math.atan2(abs(rise), half)
    count = 2 * max(1, math.ceil(angle / math.sqrt(8 * _ARC_SAG / radius)))
    turn = np.linspace(-angle, angle, count + 1)
    along, up = radius * np.sin(turn), radius * (np.cos(turn) - math.cos(angle)) * math.copysign(1.0, rise)
    unit = chord / (2 * half)
    outward = np.array([abs(unit[1]), -unit[0] * math.copysign(1.0, unit[1])])
    points = (corners[0] + corners[1]) / 2 + along[:, None] * unit + up[:, None] * outward
    points[[0, -1]] = corners
    return points


def _stepped(
    edges: Edges, line: Floats, steps: tuple[tuple[float, float], ...], out: float, bass_side: int, where: str
) -> Floats:
    asked = np.array([y for y, _ in steps])
    at = asked * -bass_side
    by = np.array([0.0, *(b for _, b in steps)]) * out
    shifted = line[None] + np.stack([by, np.zeros_like(by)], axis=1)[:, None]
    first, last = edges.crossings(shifted[:1], bass_side), edges.crossings(shifted[-1:], -bass_side)
    low, high = first[0, 1] * -bass_side, last[0, 1] * -bass_side
    if np.any(np.diff(asked) <= 0) or asked.min() <= low or asked.max() >= high:
        raise JobError(where, f"steps at {', '.join(f'{y:g} mm' for y in asked)} to the treble side",
                       allowed=f"rising, between {low:.2f} mm, the bass edge, and {high:.2f} mm",
                       remedy="move the steps")
    share = (at[:, None] - shifted[:, 0, 1][None, :]) / (shifted[:, 1, 1] - shifted[:, 0, 1])[None, :]
    corners = []
    for k, y in enumerate(at):
        for level in (k, k + 1):
            x = shifted[level, 0, 0] + share[k, level] * (shifted[level, 1, 0] - shifted[level, 0, 0])
            corners.append([x, y])
    return np.concatenate([first, np.array(corners), last])


def _rounded(plain: Polygon, ends: Mapping[str, LineString], radii: Mapping[str, float]) -> Polygon:
    """Corners of each half of the board rounded by its own radius; raises JobError where one does not fit."""
    if not any(radii.values()):
        return plain
    whole = _opened(plain, ends, radii)
    if whole is None:
        most = {where: _widest(plain, ends, where) for where in ends}
        where = max(ends, key=lambda one: radii[one] - most[one])
        raise JobError(f"[board] {where} corner_radius", f"{radii[where]:g} mm does not fit the board",
                       allowed=f"{most[where]:.2f} mm or less", remedy="make it smaller")
    return whole


def _widest(plain: Polygon, ends: Mapping[str, LineString], where: str) -> float:
    """The largest radius, mm, that the corners at one end can be rounded by, by trying."""
    fits, not_any_more = 0.0, float(max(np.ptp(plain.bounds[::2]), np.ptp(plain.bounds[1::2])))
    while not_any_more - fits > _TRIED:
        tried = (fits + not_any_more) / 2.0
        whole = _opened(plain, ends, {"nut_end": 0.0, "end": 0.0, where: tried})
        fits, not_any_more = (tried, not_any_more) if whole is not None else (fits, tried)
    return rounded_down(fits)


def _opened(plain: Polygon, ends: Mapping[str, LineString], radii: Mapping[str, float]) -> Polygon | None:
    """Each half of the board without what a disc of its own radius does not reach; None where a half falls apart, or
    the disc does not come to its end."""
    halves = []
    middle, (x0, y0, x1, y1) = float(np.mean(plain.bounds[::2])), plain.bounds
    for where, half in (("nut_end", (x0 - 1, middle)), ("end", (middle, x1 + 1))):
        radius = radii[where]
        opened = overlay.buffer(plain, -radius, join_style="mitre") if radius else plain
        opened = overlay.buffer(opened, radius, quad_segs=_quad_segs(radius)) if radius else plain
        halves.append(overlay.intersection(opened, shapely.box(half[0], y0 - 1, half[1], y1 + 1)))
        if radius and shapely.distance(ends[where], halves[-1]) > _LEFT:
            return None
    whole = overlay.union_all(halves)
    if whole.geom_type != "Polygon" or not halves[0].area or not halves[1].area:
        return None
    corners = shapely.get_coordinates(whole.exterior)[:-1]
    # Where the halves meet, the union leaves points on the straight edges.
    return Polygon(corners[np.abs(corners[:, 0] - middle) > 1e-9])


def _quad_segs(radius: float) -> int:
    return max(8, math.ceil(math.pi / 2 / math.sqrt(8 * _ARC_SAG / radius))) if radius else 8
