"""Columns of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(head: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[int] = ()) -> list[str]:
    """Columns of text under a head; the columns in `right` are set right."""
    body = [list(row) for row in rows]
    widths = [max(len(row[i]) for row in [list(head), *body]) for i in range(len(head))]
    lines = []
    for row in [list(head), *body]:
        cells = [c.rjust(w) if i in right else c.ljust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))]
        lines.append("  ".join(cells).rstrip())
    return lines
