"""One program as it is handed over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pathgen.base.brief import Brief
from pathgen.base.cutters import Cutter
from pathgen.base.toolpath import Toolpath
from pathgen.programs.starting import Start
from pathgen.programs.timing import Times
from pathgen.programs.zero_check import ZeroCheck
from pathgen.work.clamping import Step


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Program(Brief):
    """One program of a build: its text, its path in the board's frame, and how long it takes.

    Attributes
    ----------
    text : str
        What the machine reads.
    toolpath : Toolpath
        Tip positions in the board's frame, mm.
    step, times, start
        What the report is made from.

    >>> import pathgen
    >>> program = pathgen.build(pathgen.load_job("board.toml"), resolution=0.5).programs[1]
    >>> program.order, program.operation, program.cutter.name, program.file_name
    (2, 'pocket', 'flat', '02-pocket-1-flat.nc')
    """

    step: Step
    text: str
    toolpath: Toolpath
    times: Times
    start: Start | None = None

    def _repr_svg_(self) -> str:
        """Its path from above, for notebooks."""
        return self.toolpath._repr_svg_()

    @property
    def zero(self) -> ZeroCheck | None:
        """Where to try the zero of its cutter, where that is fitted before it."""
        return self.start.zero if self.start else None

    @property
    def minutes(self) -> float:
        """How long it runs, cutting and rapids, minutes."""
        return self.times.total

    @property
    def order(self) -> int:
        """1 for the first to be run."""
        return self.step.order

    @property
    def file_name(self) -> str:
        """Name of its file in the output folder."""
        return self.step.file_name

    @property
    def operation(self) -> str:
        """What it does, as in the report."""
        return self.step.operation.name

    @property
    def cutter(self) -> Cutter:
        """The cutter it runs with."""
        return self.step.cutter


def number_in(row: Mapping[str, Any]) -> int:
    """The number of a program that a report's row is of, as its file and its page have it: among all of the blank."""
    return int(row.get("turn", row["order"]))
