"""Work that moved, in words: shift, turn and tilt, and what errors in measuring the marks would do."""

from __future__ import annotations

from typing import Any

from pathgen.base.plain import capital
from pathgen.base.units import format_length

FINE = {"mm": 3, "in": 4}


def moved_lines(moved: dict[str, Any] | None, units: str) -> list[str]:
    """How the work is taken to lie, by the report's key ``moved``; nothing where it has not moved."""
    if moved is None:
        return []
    shift = ", ".join(
        f"{_length(v, units)} {way}" for v, way in zip(moved["shift"], ("along", "across", "up"), strict=True)
    )
    left = ", ".join(
        format_length(sum(v * v for v in row) ** 0.5, units) for row in moved["residuals"]
    )
    words = [
        f"From program {moved['first_program']} on the work is taken to lie {shift} from where it was, at the middle "
        f"of the marks, turned by {moved['turn']:z.3f} degrees and tilted by {moved['tilt_along']:z.3f} degrees along "
        f"and {moved['tilt_across']:z.3f} across. Left over at the marks: {left}.",
    ]
    said = error_words(moved["errors"], units) if moved["errors"] else ""
    return words + [f"{capital(line)}." for line in [said] if line]


def error_words(errors: dict[str, Any], units: str) -> str:
    """What errors at the marks do to the part, by a key ``errors`` of the report, in one line."""
    if None in errors["anywhere"]:
        return "the marks leave a turn or tilt of the work open"

    def pair(place: str) -> str:
        height, beside = (_length(v, units) for v in errors[place])
        return f"{height} in height and {beside} in place"

    return (f"measuring errors of {_length(errors['accuracy'], units)} at the marks, all together (root-sum-square), "
            f"move the {errors['near']} by up to {pair('nut')}, the far end by up to {pair('end')}")


def _length(mm: float, units: str) -> str:
    return format_length(mm, units, decimals=FINE[units])


SHOWS = 0.15
"""A change of shape of which less than this share is left over at the marks is one that they do not see."""

_SHAPES = {
    "bow": ("a rise of its middle over its ends", "a straight edge along it"),
    "cup": ("a rise of its edges over its middle", "a straight edge across it"),
    "twist": ("a twist, one corner rising", "winding sticks across both ends"),
}


def seen_lines(seen: dict[str, float]) -> list[str]:
    """Which changes of the blank's shape the marks see and which they do not, by the report's key ``seen``."""
    words = []
    for shape, share in seen.items():
        what, how = _SHAPES[shape]
        said = (f"leaves {100 * share:.0f} % of itself over at the worst mark" if share >= SHOWS else
                f"the marks cannot see, or take for a tilt: lay {how}")
        words.append(f"{capital(what)} {said}.")
    if min(seen["bow"], seen["cup"]) >= SHOWS:
        words.append("The marks cannot tell a rise along from one across: lay a straight edge both ways.")
    return ["What the marks see where the blank has not only moved but changed its shape:", *words]
