"""The stages of one drawing: inlays that cut other colours of it each, and must fit each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from typing import Any

import shapely
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from pathgen.base import overlay
from pathgen.base.errors import Doubt
from pathgen.base.plain import in_runs, joined
from pathgen.base.units import place_as_written
from pathgen.job.inlay_tables import InlayTable, PlaceTable
from pathgen.job.job import Job
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay
from pathgen.work.fill import RIM

_MANY = 8
"""Inlays that differ in depth alone, from which it is told what that costs."""


def apart_doubts(job: Job, _: Clamping) -> Iterator[Doubt]:
    """Stages of one drawing that do not lie at one place: the first of each drawing that lies elsewhere is named."""
    told = set()
    for index, table in enumerate(job.inlays):
        first = stages_of(job, index)[0]
        if job.inlays[first].place == table.place or table.artwork in told:
            continue
        told.add(table.artwork)
        both = f"inlays {first + 1} and {index + 1}"
        yield Doubt(
            where=f"inlay {index + 1} place",
            problem=f"{both} cut other colours of {table.artwork}, and {_unlike(job, first, index)}: they will not fit "
                    "each other",
            allowed="one place for all stages of a drawing",
            remedy=f"write {_written(job, first, index)} for both; leave it so only if they are meant to lie apart")


def cut_apart(job: Job, clamping: Clamping) -> Iterator[Doubt]:
    """Drawings that each have programs, and a pour and a second cut, of their own, and could be cut and poured all at
    once: they meet nothing. Many that differ in depth alone are told too."""
    inlays = clamping.inlays
    free = [one for one in inlays if job.inlays[one.index].artwork
            and not any(shapely.intersects(one.area, other.area) for other in inlays if other is not one)]
    groups = _apart(job, free)
    for first, *others in (group for group in groups if group[1:]):
        names = _numbers(others)
        cut, allowed, or_so = _by_itself(first)
        yield Doubt(
            where=f"inlay {first.index + 1} with {names}", allowed=allowed,
            problem=f"they lie apart and are alike, and each is {cut}", grave=False,
            remedy=f"write {names} into inlay {first.index + 1} as also = [{{ artwork = .., "
                   f"{'layers = .., ' * any(job.inlays[one.index].layers for one in others)}place = .. }}, ..]{or_so}")
    for first, *others in _apart(job, [group[0] for group in groups], depth=0.0):
        if len(others) + 1 >= _MANY:
            cut, allowed, _ = _by_itself(first)
            yield Doubt(
                where=f"inlay {first.index + 1} with {_numbers(others)}", allowed=allowed, grave=False,
                problem=f"they lie apart and differ in depth alone, and each is {cut}",
                remedy="give one depth to as many as it does for: then write them into one inlay, as its also")


def _apart(job: Job, inlays: Sequence[Inlay], **but: Any) -> list[list[Inlay]]:
    """Inlays that are alike, `but` for some keys, and lie so far apart that one pour does for them, together."""
    groups: list[list[Inlay]] = []
    for inlay in inlays:
        clear = 0.0 if inlay.dam is None else 2 * inlay.dam + RIM
        fits = (group for group in groups if _alike(job, group[0], **but) == _alike(job, inlay, **but)
                and all(shapely.distance(one.area, inlay.area) > clear for one in group))
        group = next(fits, None)
        if group is None:
            groups.append([inlay])
        else:
            group.append(inlay)
    return groups


def _numbers(inlays: Sequence[Inlay]) -> str:
    return joined(in_runs([one.index + 1 for one in inlays]))


def _by_itself(inlay: Inlay) -> tuple[str, str, str]:
    """What is done to each by itself, what could be, and where that is meant so."""
    if inlay.dam is not None:
        return ("poured, cured and cut level by itself", "one pour where drawings lie apart",
                ", or leave it so if they are to be tinted apart")
    return "opened by programs of its own", "one program for a cutter where drawings lie apart", ""


def _alike(job: Job, inlay: Inlay, **but: Any) -> InlayTable:
    """What a job says of an inlay beside its drawings and their places, `but` for some keys."""
    return replace(job.inlays[inlay.index], artwork="", layers=(), place=None, also=(), **but)


def stages_of(job: Job, index: int) -> tuple[int, ...]:
    """The inlays that belong into one picture with this one, itself too: of one drawing, at its place or, where they
    share no colour with what lies there, elsewhere."""
    table = job.inlays[index]
    places = _by_place(job, table) if table.artwork else []
    own = next((group for group in places if index in group), [index])
    others = [group for group in places if group is not own and not _colours(job, group) & _colours(job, own)]
    return tuple(sorted([*own, *(one for group in others for one in group)]))


def together(
    job: Job, inlays: list[Inlay], inlay: Inlay
) -> tuple[list[int], BaseGeometry, tuple[float, float] | None]:
    """The stages that can lie where one of them does, what they cut there, and the `at` of the first; None without."""
    own = job.inlays[inlay.index].place
    if own is None or own.at is None:
        return [inlay.index], inlay.area, None
    stages = stages_of(job, inlay.index)
    at = {one.index: place.at for one in inlays if one.index in stages
          and (place := job.inlays[one.index].place) and place.at and replace(place, at=own.at) == own}
    there = at[min(at)]
    moved = [translate(one.area, there[0] - at[one.index][0], there[1] - at[one.index][1])
             for one in inlays if one.index in at]
    return sorted(at), overlay.union_all(moved), there


def _by_place(job: Job, table: InlayTable) -> list[list[int]]:
    """The inlays of a drawing, those at one place together; other layers that lie elsewhere are other drawings."""
    groups: list[list[int]] = []
    for index, other in enumerate(job.inlays):
        if other.artwork == table.artwork and (other.layers == table.layers or other.place == table.place):
            at = next((group for group in groups if job.inlays[group[0]].place == other.place), None)
            if at is None:
                groups.append([index])
            else:
                at.append(index)
    return groups


def _colours(job: Job, group: list[int]) -> set[str]:
    """The colours that some inlays name; all that there are of one that names none."""
    named = [job.inlays[index].colours for index in group]
    every = {colour for table in job.inlays for colour in table.colours or ()} | {""}
    return every if None in named else {colour for colours in named for colour in colours or ()}


def _unlike(job: Job, first: int, other: int) -> str:
    """In what the places of two inlays differ, in words."""
    was, now = job.inlays[first].place, job.inlays[other].place
    if was is None or now is None:
        return "one has a place and the other has none"
    named = [f.name for f in fields(PlaceTable) if getattr(was, f.name) != getattr(now, f.name)]
    at = [place_as_written(place.at, job.units) for place in (was, now) if place.at and was.at != now.at]
    ats = f" ({' and '.join(at)})" if at[1:] else ""
    return f"their places differ in {' and '.join(named)}{ats}"


def _written(job: Job, first: int, other: int) -> str:
    """What to write so that the other inlay lies where the first one does."""
    was, now = job.inlays[first].place, job.inlays[other].place
    if was and now and was.at and replace(now, at=was.at) == was:
        return f"at = {place_as_written(was.at, job.units)}"
    return f"the place of inlay {first + 1}"
