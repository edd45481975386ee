"""Answers kept between builds of one job: what did not change is not worked out again, and comes out the same.

Functions whose answers follow from their arguments alone are marked `remembered`. While `remembering` is on, as it is
for `pathgen watch` only, their answers are kept by the contents of what they were asked, never by name, place or time:
whatever differs in one digit is another question. What is kept cannot be written to, so an answer stays what it was.
Otherwise they are plain functions.
"""

from __future__ import annotations

import hashlib
import struct
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import fields, is_dataclass
from functools import partial, wraps
from pathlib import Path
from types import FunctionType, NoneType
from typing import Any, ParamSpec, TypeVar

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

P = ParamSpec("P")
R = TypeVar("R")

MOST_BYTES = 400_000_000
"""What is kept of answers at most: the heights after each program of a large board, twice over."""
_EACH = 64  # bytes that anything small is counted for
SEALED = "_bytes"
"""Where a value that closed its arrays when it was made holds how many bytes it comes to."""


class Memory:
    """Answers by key; those not asked for the longest are let go when they come to more than `most` bytes."""

    def __init__(self, most: int = MOST_BYTES) -> None:
        self.most, self.size = most, 0
        self._kept: OrderedDict[bytes, tuple[Any, int]] = OrderedDict()

    def __contains__(self, key: bytes) -> bool:
        return key in self._kept

    def get(self, key: bytes) -> Any:
        self._kept.move_to_end(key)
        return self._kept[key][0]

    def keep(self, key: bytes, answer: Any) -> None:
        """Keep an answer, its arrays closed for writing; the newest of a key, and none larger than the whole memory."""
        size = sealed(answer)
        if size > self.most:
            return
        self.size -= self._kept.pop(key, (None, 0))[1]
        self._kept[key] = answer, size
        self.size += size
        while self.size > self.most:
            self.size -= self._kept.popitem(last=False)[1][1]


_IN_USE: ContextVar[Memory | None] = ContextVar("memory", default=None)


@contextmanager
def remembering(memory: Memory | None) -> Iterator[None]:
    """Within it, what `remembered` functions answer is kept in `memory`, and taken from it; with None nothing is."""
    token = _IN_USE.set(memory)
    try:
        yield
    finally:
        _IN_USE.reset(token)


def memory_in_use() -> Memory | None:
    """The one that `remembering` is on with; None otherwise."""
    return _IN_USE.get()


def remembered(function: Callable[P, R]) -> Callable[P, R]:
    """A function whose answer follows from its arguments alone, and is not written to by who gets it."""
    name = f"{function.__module__}.{function.__qualname__}"

    @wraps(function)
    def asked(*args: P.args, **kwargs: P.kwargs) -> R:
        memory = _IN_USE.get()
        if memory is None:
            return function(*args, **kwargs)
        key = content_key(name, args, kwargs)
        if key not in memory:
            answer = function(*args, **kwargs)
            memory.keep(key, answer)
            return answer
        found: R = memory.get(key)
        return found

    return asked


def content_key(*values: Any) -> bytes:
    """A digest of everything that values hold; TypeError for what cannot be told by what it holds."""
    digest = hashlib.sha1(usedforsecurity=False)  # heights come to megabytes: of all that would do, the quickest
    for value in values:
        _add(digest.update, value)
    return digest.digest()


def _add(add: Callable[[Any], None], value: Any) -> None:
    """Each kind with a mark of its own and its length, so that no two values read alike."""
    kind = type(value)
    if kind in (NoneType, bool, int, str):
        _words(add, f"{kind.__name__} {value}")
    elif kind is float:
        add(b"f" + struct.pack("<d", value))
    elif kind is bytes:
        add(b"b" + struct.pack("<q", len(value)) + value)
    elif isinstance(value, np.ndarray | np.generic):
        _words(add, f"array {value.dtype} {value.shape}")
        if value.dtype == object:
            _add(add, value.ravel().tolist())
        else:
            add(np.ascontiguousarray(value).data)
    elif isinstance(value, BaseGeometry):
        _add(add, shapely.to_wkb(value))
    elif is_dataclass(value) and not isinstance(value, type):
        _words(add, f"{kind.__module__}.{kind.__qualname__} {len(fields(value))}")
        for one in fields(value):
            _add(add, getattr(value, one.name))
    elif isinstance(value, tuple | list):
        _words(add, f"{kind.__module__}.{kind.__qualname__} {len(value)}")
        for one in value:
            _add(add, one)
    elif isinstance(value, Mapping):
        _words(add, f"mapping {len(value)}")
        for pair in value.items():
            _add(add, pair)
    elif isinstance(value, partial):
        _add(add, ("partial", value.func, value.args, value.keywords))
    elif isinstance(value, FunctionType) and value.__closure__ is None and "<lambda>" not in value.__qualname__:
        _words(add, f"function {value.__module__}.{value.__qualname__}")
    elif isinstance(value, slice):
        _add(add, ("slice", value.start, value.stop, value.step))
    elif isinstance(value, Path):
        _words(add, f"path {value}")
    else:
        raise TypeError(f"{kind.__qualname__} cannot be told by what it holds")


def _words(add: Callable[[Any], None], words: str) -> None:
    text = words.encode("utf-8", "surrogatepass")
    add(b"w" + struct.pack("<q", len(text)) + text)


def sealed(value: Any) -> int:
    """Close all arrays in a value for writing; how many bytes it comes to, about."""
    if isinstance(value, np.ndarray):
        value.flags.writeable = False
        return value.nbytes + (sum(map(sealed, value.ravel())) if value.dtype == object else _EACH)
    if isinstance(value, str | bytes):
        return len(value) + _EACH
    if isinstance(value, BaseGeometry):
        return 16 * int(shapely.get_num_coordinates(value)) + _EACH
    if is_dataclass(value) and not isinstance(value, type):
        known: int | None = getattr(value, SEALED, None)
        return _EACH + sum(sealed(getattr(value, one.name)) for one in fields(value)) if known is None else known
    if isinstance(value, tuple | list):
        if set(map(type, value)) == {str}:  # the lines of a program
            return sum(map(len, value)) + _EACH * len(value)
        return _EACH + sum(map(sealed, value))
    if isinstance(value, Mapping):
        return _EACH + sum(map(sealed, value.values()))
    return _EACH
