"""How large drawings became: for report.json, and in words."""

from __future__ import annotations

from typing import Any

from pathgen.base.units import coarse_length
from pathgen.work.features import Inlay


def placed_sizes(inlay: Inlay) -> list[dict[str, Any]]:
    """What report.json holds of each copy of an inlay's drawing: mm, and the share of its drawn size."""
    return [{"width": round(one.width, 3), "height": round(one.height, 3),
             "share_of_drawn": None if one.share is None else round(one.share, 5),
             **({"mirrored": True} if one.mirrored else {}),
             **({"layers": list(one.layers)} if one.layers else {})} for one in inlay.placed]


def placed_words(sizes: list[dict[str, Any]], units: str) -> str:
    """``, placed 34.3 mm by 20.1 mm, 71 % of its drawn size``: how large a drawing became; for copies, from and to."""
    if not sizes:
        return ""
    low, high = min(sizes, key=lambda s: s["width"]), max(sizes, key=lambda s: s["width"])
    words = [" by ".join(coarse_length(s[side], units) for side in ("width", "height"))
             for s in (low, high)]
    size = words[0] if words[0] == words[1] else f"{words[0]} to {words[1]}"
    layers = ", ".join(f'"{name}"' for name in low.get("layers", ()))
    placed = (f"{len(sizes)} drawings placed" if len(sizes) > 1 else
              f"what it has in {layers} placed" if layers else "the whole drawing placed")
    mirrored = sum("mirrored" in one for one in sizes)
    way = "" if not mirrored else ", mirrored" if mirrored == len(sizes) else f", {mirrored} of them mirrored"
    known = [100 * s["share_of_drawn"] for s in sizes if s["share_of_drawn"] is not None]
    if not known:
        return f", {placed} {size}{way}"
    shares, of = list(dict.fromkeys(f"{end(known):.0f}" for end in (min, max))), "their" if len(sizes) > 1 else "its"
    if shares == ["100"] and len(known) == len(sizes):
        return f", {placed} {size}, {'as large as drawn' if way else 'as drawn'}{way}"
    where = "" if len(known) == len(sizes) else ", where their file says one"
    return f", {placed} {size}, {' to '.join(shares)} % of {of} drawn size{where}{way}"
