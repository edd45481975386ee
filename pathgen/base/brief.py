"""Values that hold much: shown in a few lines, and never changed."""

from __future__ import annotations

import reprlib
from dataclasses import fields
from typing import Any

from pathgen.base.memory import SEALED, sealed


class Brief:
    """A dataclass that holds much: what Python shows of it is a few lines (with repr=False), and its arrays stay, also
    those of the values in it."""

    def __post_init__(self) -> None:
        vars(self)[SEALED] = sealed(self)

    def __repr__(self: Any) -> str:
        shown = ", ".join(f"{one.name}={reprlib.repr(getattr(self, one.name))}" for one in fields(self))
        return f"{type(self).__name__}({shown})"
