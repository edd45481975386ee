"""What holds the part at the end of the outline, when tabs or skin are too little: for a maker to stick it down."""

from __future__ import annotations

from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Outline

LEAST_SKIN = 0.2
"""A thinner skin is gone where blank or bed are not true, mm (common practice, no source)."""


def holding_findings(clamping: Clamping) -> list[Finding]:
    """A warning where nothing, one tab or the thinnest of skins holds the part once its outline is cut."""
    cut, part = clamping.feature(Outline), clamping.board.names.part
    if cut is None:
        return []
    if cut.skin:
        if cut.skin >= LEAST_SKIN:
            return []
        got, what = f"a skin of {cut.skin:g} mm is all that holds the {part} at the end", "skin"
    elif cut.tabs > 1:
        return []
    else:
        got = f"{'one tab' if cut.tabs else 'nothing'} holds the {part} once its outline is cut"
        what = "tabs"
    return [Finding(
        code="nothing-holds", severity="warn", where=f"[outline] {what}", got=got,
        allowed=f"two tabs or more, a skin of {LEAST_SKIN:g} mm or more, or a blank stuck down over its whole face",
        remedy=f"stick the blank down over its whole face, or the cutter throws the {part}; or write tabs = 4",
    )]
