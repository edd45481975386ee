"""Answers are kept by what they were asked: another digit is another question, the same words the same one."""

import math
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
import shapely

from pathgen.base.memory import Memory, content_key, memory_in_use, remembered, remembering


@dataclass(frozen=True)
class Size:
    wide: float
    high: float


@dataclass(frozen=True)
class Place:
    wide: float
    high: float


class Named(NamedTuple):
    wide: float
    high: float


def area_of(size):
    return size.wide * size.high


ALL_DIFFERENT = [
    None, True, False, 0, 1, 0.0, -0.0, 1.0, math.nextafter(1.0, 2.0), math.inf, math.nan, "", "1", b"1", "None", (),
    [], {}, (1,), (1.0,), ((1,),), ("a", "b"), ("ab",), {"a": 1}, {"a": 2}, {"b": 1}, Size(1.0, 2.0), Size(2.0, 1.0),
    Place(1.0, 2.0), Named(1.0, 2.0), (1.0, 2.0),
    np.zeros(0), np.zeros(2), np.zeros((2, 1)), np.zeros(2, np.float32), np.zeros(1, np.int64),
    np.float64(1.0), shapely.box(0, 0, 1, 1), shapely.box(0, 0, 1, math.nextafter(1.0, 2.0)), shapely.Point(0, 0),
    shapely.MultiPolygon([shapely.box(0, 0, 1, 1)]), np.array([shapely.Point(0, 0), None]), Path("a"), Path("b"),
    slice(1), slice(2), partial(area_of, 1), partial(area_of, 2), area_of,
]


def test_what_differs_at_all_has_another_key():
    keys = [content_key(value) for value in ALL_DIFFERENT]
    assert len(set(keys)) == len(keys)


def test_what_holds_the_same_has_the_same_key():
    def values():
        return Size(0.1 + 0.2, 1.0), np.arange(6.0).reshape(2, 3).T, shapely.Point(1, 2), {"a": [1, "x"]}

    assert content_key(*values()) == content_key(*values())
    turned = np.arange(6.0).reshape(2, 3).T
    assert content_key(turned) == content_key(np.ascontiguousarray(turned))


def test_what_cannot_be_told_by_its_contents_is_refused():
    for value in (object(), lambda: 1, {1, 2}, iter([])):
        with pytest.raises(TypeError, match="cannot be told"):
            content_key(value)


pytestmark = pytest.mark.usefixtures("afresh")
ASKED = []


@remembered
def squares(values):
    ASKED.append(len(values))
    return values * values


def test_an_answer_is_worked_out_once_and_cannot_be_written_to():
    ASKED.clear()
    with remembering(Memory()):
        first, again = squares(np.arange(3.0)), squares(np.arange(3.0))
        assert first is again
        squares(np.arange(4.0))
        with pytest.raises(ValueError, match="read-only"):
            first[0] = 1.0
    assert memory_in_use() is None
    squares(np.arange(3.0))
    assert ASKED == [3, 4, 3]


def test_what_was_not_asked_for_the_longest_is_let_go_first():
    memory = Memory(3000)
    for number in range(4):
        memory.keep(bytes([number]), np.zeros(100))  # 800 bytes and a little
        if number == 2:
            memory.get(bytes([0]))
    assert [number for number in range(4) if bytes([number]) in memory] == [0, 2, 3]
    assert memory.size <= memory.most
    memory.keep(b"large", np.zeros(1000))
    assert b"large" not in memory
    assert bytes([3]) in memory
