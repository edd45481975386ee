"""Where zero is, in words: X 0 and Y 0, and what Z 0 is touched off on."""

from __future__ import annotations

import numpy as np

from pathgen.base.units import format_length
from pathgen.programs.sticking import whole_face
from pathgen.work.clamping import Clamping


def zero_words(clamping: Clamping) -> str:
    """Where the programs' zero is."""
    along = clamping.setup.along[-1].upper()
    along += f", toward - {along}" if clamping.setup.along[0] == "-" else ""
    runs, stock = clamping.board.names.along, clamping.stock
    if stock.length < stock.width:
        runs = runs.replace("length of the blank", "shorter side of the blank")
    return f"{zero_place_words(clamping)}; the {runs} along {along}. {z_zero_words(clamping)}."


def zero_place_words(clamping: Clamping) -> str:
    """Where X 0, Y 0 of the programs is; of work that moved, which leaves it where it was, where its place went."""
    place = clamping.zero_place.words
    if clamping.moved is None:
        return f"X 0 Y 0 is {place}"
    return f"X 0 Y 0 stays as it was set before the work moved, do not set it again: {place} now lies at " \
           f"{zero_now(clamping)}"


def zero_now(clamping: Clamping) -> str:
    """What the display shows over the place that X 0, Y 0 was set from, on top of work that moved."""
    shown = clamping.display(np.array([clamping.zero]))[0]
    decimals = {"mm": 2, "in": 3}[clamping.units]
    return ", ".join(f"{axis} {format_length(float(v), clamping.units, decimals=decimals)}"
                     for axis, v in zip("XY", shown, strict=True))


def z_zero_words(clamping: Clamping) -> str:
    """Where Z 0 of the programs is; of work that moved, which leaves it where it was, without it."""
    if clamping.moved is not None:
        return {"bed": "Z 0 is the bed or spoilboard, as before",
                "stock-top": f"Z 0 is where {top_words(clamping)} lay before the work moved"}[clamping.setup.z_zero]
    return {
        "bed": f"Z 0 is the underside of the work: the bed{', ' if taped(clamping) else ' or '}spoilboard"
               f"{' or tape' if taped(clamping) else ''} it lies on",
        "stock-top": f"Z 0 is {top_words(clamping)}",
    }[clamping.setup.z_zero]


def taped(clamping: Clamping) -> bool:
    """Whether tape may hold the work: over its whole face, where no clamps are known, or on a common blank, where
    another part may need it."""
    return not clamping.setup.keep_out or clamping.shared is not None or bool(whole_face(clamping))


def as_it_comes(clamping: Clamping) -> bool:
    """Whether a part is cut into the top that its blank came with."""
    return clamping.surfacing is None and bool(clamping.board.names.too)


def comes_curved(clamping: Clamping) -> bool:
    """Whether that top is highest on its centre-line."""
    return as_it_comes(clamping) and not clamping.board.surface.is_flat


def top_words(clamping: Clamping) -> str:
    """What Z 0 is touched off on, where it is not the bed."""
    if comes_curved(clamping):
        return "the top of the blank on its centre-line, where it is highest"
    return clamping.board.names.top
