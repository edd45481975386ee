"""In which order the programs of all parts of one blank are run: each cutter fitted seldom, fills poured together."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from heapq import heappop, heappush
from typing import NamedTuple

import numpy as np
import shapely

from pathgen.work.clamping import Clamping, Step, Turn
from pathgen.work.operations import Outline


def turns_of(parts: Sequence[Clamping], names: Sequence[str]) -> list[list[Turn]]:
    """When each step of each part has its turn, with the lowest that other parts go with its cutter meanwhile."""
    turns = _turns([one.steps for one in parts], names)
    runs: list[list[tuple[int, int]]] = []
    for _, part, k in sorted((turn.number, p, k) for p, own in enumerate(turns) for k, turn in enumerate(own)):
        if not turns[part][k].stays:
            runs.append([])
        runs[-1].append((part, k))
    low = {at: min((_lowest(parts[p], parts[p].steps[k]) for p, k in run if p != at[0]), default=math.inf)
           for run in runs for at in run}
    return [[replace(turn, lowest=low[p, k]) for k, turn in enumerate(own)] for p, own in enumerate(turns)]


class Task(NamedTuple):
    """What one step needs: its cutter; or, of a fill that is poured after it, nothing."""

    cutter: str
    """Empty for a fill."""
    last: bool
    """Whether it may only come when every part has nothing but such left: cutting parts free."""
    step: int


def _tasks(steps: Sequence[Step]) -> list[Task]:
    tasks = []
    for k, step in enumerate(steps):
        tasks.append(Task(step.cutter.name, isinstance(step.operation, Outline), k))
        inlay = step.operation.opens
        if inlay is not None and inlay.fill != "none" and all(s.operation.opens is not inlay for s in steps[k + 1 :]):
            tasks.append(Task("", False, k))
    return tasks


def _turns(parts: Sequence[Sequence[Step]], names: Sequence[str]) -> list[list[Turn]]:
    """When each step of each part has its turn; fills are poured after the last pocket that waits for one."""
    tasks = [_tasks(steps) for steps in parts]
    in_order = [(part, tasks[part][k]) for part, k in merged(tasks)]
    count = sum(bool(task.cutter) for _, task in in_order)
    turns: list[dict[int, Turn]] = [{} for _ in parts]
    number, fitted, ended = 0, "", []
    for (part, task), following in itertools.zip_longest(in_order, in_order[1:]):
        if task.cutter:
            number += 1
            turns[part][task.step] = Turn(number=number, count=count, stays=task.cutter == fitted)
            fitted = task.cutter if parts[part][task.step].operation.keeps_cutter else ""
            continue
        ended.append((part, task.step))
        if following is None or following[1].cutter:  # every fill that is poured now is known
            last = max(turns[p][s].number for p, s in ended)
            for p, s in ended:
                too = tuple(names[q] for q, _ in ended if q != p) if turns[p][s].number == last else ()
                turns[p][s] = replace(turns[p][s], fill_after=last, fill_too=too)
            ended = []
    return [[own[k] for k in sorted(own)] for own in turns]


def _lowest(clamping: Clamping, step: Step) -> float:
    """No tip of a step goes lower above the bed, mm: of what is cut into a surface, by that surface's lowest place."""
    operation = step.operation
    if operation.depth is None and not operation.makes_surface:
        return operation.bottom
    x, y = shapely.get_coordinates(clamping.board.outline).T
    return float(np.nanmin(clamping.finished_surface.height(x, y), initial=clamping.stock.thickness)) - (
        operation.depth or 0.0)


def merged(parts: Sequence[Sequence[Task]]) -> list[tuple[int, int]]:
    """(part, index) of all tasks in an order that waits for fills, and then changes cutters, as few times as may be.

    The order within each part stays. All tasks that a fitted cutter can do are done before it is changed, which costs
    nothing; over what is left the shortest way is looked for (Dijkstra, Numerische Mathematik 1, 1959).
    """
    start = (0,) * len(parts)
    queue: list[tuple[int, int, int, tuple[int, ...], str, tuple[tuple[int, int], ...]]] = [(0, 0, 0, start, "", ())]
    seen: set[tuple[tuple[int, ...], str]] = set()
    counter = itertools.count(1)
    while True:
        fills, changes, _, at, fitted, done = heappop(queue)
        if all(k == len(own) for k, own in zip(at, parts, strict=True)):
            return list(done)
        if (at, fitted) in seen:
            continue
        seen.add((at, fitted))
        for cutter in _next(parts, at):
            there, more = _advanced(parts, at, cutter)
            pour, change = not cutter, bool(cutter) and cutter != fitted
            heappush(queue, (fills + pour, changes + change, next(counter), there, cutter or fitted, (*done, *more)))


def _next(parts: Sequence[Sequence[Task]], at: Sequence[int]) -> list[str]:
    """The cutters (or a fill) that some part can go on with."""
    free = _only_last(parts, at)
    return sorted({own[k].cutter for k, own in zip(at, parts, strict=True)
                   if k < len(own) and (free or not own[k].last)})


def _only_last(parts: Sequence[Sequence[Task]], at: Sequence[int]) -> bool:
    """Whether every part has nothing left but tasks that wait for that."""
    return all(task.last for k, own in zip(at, parts, strict=True) for task in own[k:])


def _advanced(
    parts: Sequence[Sequence[Task]], at: tuple[int, ...], cutter: str
) -> tuple[tuple[int, ...], list[tuple[int, int]]]:
    """How far every part comes with a cutter, or with one fill each, and the tasks done."""
    there, done, moved = list(at), [], True
    while moved:
        moved, free = False, _only_last(parts, there)
        for part, own in enumerate(parts):
            while there[part] < len(own) and own[there[part]].cutter == cutter \
                    and (free or not own[there[part]].last):
                done.append((part, there[part]))
                there[part] += 1
                moved = bool(cutter)
                if not cutter:
                    break
    return tuple(there), done
