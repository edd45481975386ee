"""The neck against the body: how high the saddle stands, what angle a wanted one asks for, how long a blank must be.

All is plane trigonometry in the plane of the centre-line. Along from the joint toward the bridge and up from the
body's surface there; the neck leans back by its angle, so the board rises toward the bridge.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pathgen.base.errors import JobError
from pathgen.base.plain import rounded, rounded_point
from pathgen.parts.fingerboard.numbers import FRET
from pathgen.parts.keys import choice, key, number, size, span

if TYPE_CHECKING:
    from pathgen.parts.fingerboard.part import Fingerboard

USUAL_SADDLE = {"steel": (10.0, 14.0), "nylon": (9.0, 12.0)}
"""Height of the saddle's top over a flat top, mm, by strings: common practice, from memory."""


@dataclass(frozen=True, kw_only=True)
class Neck:
    """``[neck]``: the neck against the body, for ``pathgen neck``."""

    kind: str = key(choice("steel", "nylon", "other"), "which saddle heights are usual: of steel or nylon strings over "
                    "a flat top, or those of saddle_range")
    angle: float = key(number(-10.0, 20.0, unit="degrees"), "of the neck against the body, leaning back")
    joint_fret: int = key(FRET, "the fret over the joint")
    fret_height: float = key(size(0.0, 5.0), "of the crowns over the board")
    action_12: float = key(size(-50.0, 20.0), "from the top of the 12th fret to the string")
    action_nut: float = key(  # None until loading fills it in
        size(-50.0, 10.0), "at the nut, over the plane of the frets' tops", None,
        shown="[strings] clear; 0 mm without, or with a zero fret")
    joint_height: float = key(size(-50.0, 50.0), "of the board's underside over the body, at the joint", 0.0)
    body_at_bridge: float = key(size(-50.0, 50.0), "height of the body at the bridge over that at the joint", 0.0)
    saddle_above_bridge: float = key(size(0.0, 20.0), "how far the saddle stands out of the bridge", 3.0)
    saddle: float | None = key(size(0.0, 100.0), "wanted height of its top over the body", None,
                               shown="the middle of the range")
    saddle_range: tuple[float, float] | None = key(span(0.0, 100.0), "[lowest, highest] that your bridge allows", None,
                                                   shown='what is usual; required for kind "other"')
    head_length: float = key(size(0.0, 400.0), "of the head", 180.0)
    head_angle: float = key(number(0.0, 30.0, unit="degrees"), "of the head, sawn from the same blank", 0.0)
    head_thickness: float = key(size(0.0, 50.0), "of the head", 15.0)
    tenon: float = key(size(0.0, 600.0), "how far the neck runs on past the joint", 0.0)
    spare: float = key(size(0.0, 100.0), "waste at each end of the neck blank", 10.0)
    blank: float | None = key(size(10.0, 2000.0), "length of the neck blank that there is", None, shown="not checked")


@dataclass(frozen=True, kw_only=True)
class NeckTable:
    """What comes of it: mm and degrees."""

    string_length: float
    joint: float
    """From the nut to the joint, along the board."""
    saddle_at: tuple[float, float]
    """Of the saddle's top: along from the joint, up from the body's surface there."""
    saddle: float
    """Height of the saddle's top over the body under it."""
    bridge: float
    """Height of the bridge's own top, the saddle not counted."""
    plane_at_bridge: float
    """Height of the plane of the frets' tops over the body, at the bridge."""
    per_tenth: float
    """How much the saddle rises with a tenth of a degree more."""
    wanted: tuple[float, float]
    """Low and high end of the saddle heights that are usual, or that the maker states."""
    angle_for: float
    """The angle that gives the wanted saddle: as stated, or the middle of the range."""
    saddle_for: float
    """The saddle that `angle_for` gives."""
    least_blank: float
    least_blank_depth: float
    """Of a blank that neck and head are sawn from in one piece."""
    too_high: float
    """How far the saddle lies over (below, negative) the range; 0 within it."""
    blank_short: float
    """How much the blank lacks; 0 where it is long enough or not stated."""


def neck_table(neck: Neck, *, scale_length: float, joint: float, thickness: float) -> NeckTable:
    """The neck in figures: `joint` is how far the joint's fret lies from the nut, `thickness` the board's, mm.

    Raises JobError for a negative action, a joint past the bridge, or a range that is none.
    """
    _refuse(neck, scale_length, joint)
    along, up = scale_length - joint, thickness + neck.fret_height
    over_plane = 2.0 * neck.action_12 - neck.action_nut

    def top(angle: float, height: float = up + over_plane) -> tuple[float, float]:
        sin, cos = math.sin(math.radians(angle)), math.cos(math.radians(angle))
        return along * cos - height * sin, neck.joint_height + along * sin + height * cos

    here = top(neck.angle)
    saddle = here[1] - neck.body_at_bridge
    low, high = neck.saddle_range or USUAL_SADDLE[neck.kind]
    wanted = (low + high) / 2 if neck.saddle is None else neck.saddle
    head = math.radians(neck.head_angle)
    length = neck.head_length * math.cos(head) + neck.head_thickness * math.sin(head)
    least = length + joint + neck.tenon + 2 * neck.spare
    return NeckTable(
        string_length=scale_length, joint=joint, saddle_at=here, saddle=saddle,
        bridge=saddle - neck.saddle_above_bridge, plane_at_bridge=top(neck.angle, up)[1] - neck.body_at_bridge,
        per_tenth=top(neck.angle + 0.1)[1] - here[1], wanted=(low, high), saddle_for=wanted,
        angle_for=_angle_for(wanted + neck.body_at_bridge - neck.joint_height, along, up + over_plane),
        least_blank=least, least_blank_depth=neck.head_length * math.sin(head) + neck.head_thickness * math.cos(head),
        too_high=max(saddle - high, 0.0) + min(saddle - low, 0.0),
        blank_short=max(least - neck.blank, 0.0) if neck.blank is not None else 0.0,
    )


def neck_of(neck: Neck, board: Fingerboard) -> NeckTable:
    """The neck that a board goes on. Raises JobError as `neck_table` does, and for a joint at no fret of it."""
    places = board.distances
    if neck.joint_fret not in places:
        raise JobError("[neck] joint_fret", f"there is no fret {neck.joint_fret}", allowed=f"1 to {max(places)}",
                       remedy="correct it")
    return neck_table(neck, scale_length=board.layout.to_bridge, joint=places[neck.joint_fret],
                      thickness=board.surface.thickness)


def neck_rows(neck: Neck, board: Fingerboard) -> dict[str, Any]:
    """The neck as plain values, mm and degrees; `side` holds the points of a drawing from the side.

    There along is from the joint toward the bridge, and up from the body's surface at the joint: corners of the board,
    the string at the nut and at the saddle, and the body's surface at the joint and at the bridge.
    """
    found = neck_of(neck, board)
    angle = math.radians(neck.angle)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    thick, nut = board.surface.thickness, board.surface.thickness + neck.fret_height + neck.action_nut

    def there(points: list[tuple[float, float]]) -> list[list[float]]:
        """From along the board from the nut and up from its underside."""
        placed = (np.array(points) - [found.joint, 0.0]) @ turn + [0.0, neck.joint_height]
        return [rounded_point(point) for point in placed]

    values = {name: [rounded(v, 4) for v in value] if isinstance(value, tuple) else rounded(value, 4)
              for name, value in asdict(found).items()}
    return {
        "angle": neck.angle, "joint_fret": neck.joint_fret, "blank": neck.blank,
        "range_is_own": neck.saddle_range is not None, **values,
        "side": {
            "board": there([(0.0, 0.0), (board.length, 0.0), (board.length, thick), (0.0, thick)]),
            "string": [there([(0.0, nut)])[0], rounded_point(np.array(found.saddle_at))],
            "body": [[0.0, 0.0], [rounded(found.saddle_at[0]), neck.body_at_bridge]],
        },
    }


def _angle_for(height: float, along: float, up: float) -> float:
    """Degrees for which ``along * sin + up * cos`` is `height`: one sine of the sum of two angles."""
    reach = math.hypot(along, up)
    if abs(height) > reach:
        raise JobError("[neck] saddle", f"{height:.2f} mm over the joint, but the bridge is {reach:.2f} mm from it",
                       allowed=f"less than {reach:.2f} mm", remedy="correct it")
    return math.degrees(math.asin(height / reach) - math.atan2(up, along))


def _refuse(neck: Neck, scale_length: float, joint: float) -> None:
    for name in ("action_12", "action_nut"):
        if getattr(neck, name) < 0:
            raise JobError(f"[neck] {name}", f"{getattr(neck, name):g} mm: the string would lie under the frets' tops",
                           allowed="0 mm or more", remedy="measure from the fret's top up to the string")
    if neck.action_nut > 2 * neck.action_12:
        raise JobError("[neck] action_nut", f"{neck.action_nut:g} mm, and {neck.action_12:g} mm at the 12th fret: the "
                       "string would meet the frets before the bridge", allowed=f"{2 * neck.action_12:g} mm or less",
                       remedy="lower the nut")
    if not 0 < joint < scale_length:
        raise JobError("[neck] joint_fret", f"lies {joint:.2f} mm from the nut", allowed=f"0 to {scale_length:.2f} mm",
                       remedy="correct it")
    if neck.kind == "other" and neck.saddle_range is None:
        raise JobError("[neck] saddle_range", 'missing, with kind = "other"',
                       remedy="give [lowest, highest] that your bridge allows, over the body")
    if neck.saddle is not None and neck.saddle_range and not (
            neck.saddle_range[0] <= neck.saddle <= neck.saddle_range[1]):
        low, high = neck.saddle_range
        raise JobError("[neck] saddle", f"{neck.saddle:g} mm, and saddle_range is {low:g} to {high:g} mm",
                       allowed="a height that saddle_range holds", remedy="correct one of them")
