"""Columns of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(head: Sequence[str], rows: Iterable[Sequence[str]], *, right: Iterable[int] = ()) -> list[str]:
    """Columns of text under a head; the columns in `right` are set right."""
    body, to_the_right = [list(row) for row in rows], set(right)
    widths = [max(len(row[i]) for row in [list(head), *body]) for i in range(len(head))]
    lines = []
    for row in [list(head), *body]:
        cells = [
            c.rjust(w) if i in to_the_right else c.ljust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return lines
