"""The work as it looks: the finished part, each inlay before and after, what stands there after each program."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from shapely.geometry.base import BaseGeometry

from pathgen.base.contrast import LEAST_CONTRAST
from pathgen.base.markup import Element, element
from pathgen.base.picture import View, ruler
from pathgen.base.plain import capital
from pathgen.base.shading import as_png
from pathgen.base.units import format_length
from pathgen.programs.plan import Plan
from pathgen.report.pictures.poured import Pour, as_poured, pour_of, pours_of
from pathgen.report.pictures.sections import rise_words
from pathgen.report.pictures.shaded import (
    Pixels,
    as_image,
    changed_share,
    contrast_seen,
    in_parts,
    seen_at_an_angle,
    shaded_board,
)
from pathgen.report.programs import Program
from pathgen.report.sheet.parts import chapter, figure, scrolling, true_size
from pathgen.verify import Verification
from pathgen.verify.stages import Closeup, Stage
from pathgen.work.clamping import Clamping
from pathgen.work.features import Inlay
from pathgen.work.fill_words import LEVEL

e = element
PAGE = 186.0
"""What fits across A4 inside the page's margins, mm."""
_PART = 180.0  # mm: a part of a picture at true size fits any paper
_ROOM = 88.0  # mm: two pictures of that width stand side by side on paper
_NARROW = 0.3  # of its length: two halves of a picture so high, one over the other, stand on a page
_SEEN = 1e-4  # share of a picture that is seen in it
_MOST = 3.0  # times: larger shows nothing more


def finished(planned: Plan, checked: Verification, report: dict[str, Any], about: str) -> Element | None:
    """The part when all programs have run, from the heights that the simulation left; `about` is it in words."""
    if not checked.simulation.stages:
        return None
    clamping, last, (bare, under) = planned.clamping, checked.simulation.stages[-1], planned.asked.wood
    what = clamping.board.names.part
    inlays = ", ".join(inlay["name"] for inlay in report["inlays"])
    words = f"The finished {what} from above: {about}" + (f"; inlaid: {inlays}" if inlays else "") + "."
    caption = "As the simulation left it, lit from the upper left; the deeper, the darker."
    contrast = [] if under else _contrast_words(clamping, last, bare)
    pixels = shaded_board(clamping, last, bare, cut_free=True)
    shown = _whole_and_halves(pixels, words, "finished-picture", clamping.board.length, " ".join([caption, *contrast]))
    if under:
        shown.append(e("div", (_look(clamping, last, wood, kind, words)
                               for wood, kind in ((bare, "Bare wood"), (under, "Under its finish"))), class_="pair"))
    angle = as_image(seen_at_an_angle(clamping, last, bare, cut_free=True),
                     f"The finished {what} at an angle, heights are {rise_words(clamping)}.")
    return chapter("finished", f"The finished {what}", *shown, figure(angle, _angle_words(clamping), wide=True))


def _look(clamping: Clamping, last: Stage, wood: str | None, kind: str, words: str) -> Element:
    """The part in one colour of wood, small, to stand beside another."""
    pixels = shaded_board(clamping, last.coarser(), wood, cut_free=True)
    return figure(as_image(pixels, f"{kind}: {words}"), " ".join([f"{kind}.", *_contrast_words(clamping, last, wood)]))


def inlays_from_near(planned: Plan, checked: Verification, report: dict[str, Any]) -> Element | None:
    """Each inlay's pocket open, filled and finished, at true size or larger, and at an angle; not round dots that lie
    far apart: sheets of bare wood between them show no more than the drawing from above."""
    closeups = [one for one in checked.simulation.closeups if one.inlay.dots is None or _wide(one) <= PAGE]
    if not closeups:
        return None
    pours = pours_of(planned)
    names = {id(inlay): one["name"] for inlay, one in zip(planned.clamping.inlays, report["inlays"], strict=True)}
    what = "pockets" if planned.clamping.kind else "inlays"  # a test piece has squares to measure too
    return chapter("inlays", f"The {what}, before and after",
                   *(part for one in closeups
                     for part in _inlay(planned, one, pours, names.get(id(one.inlay), one.inlay.name))))


def after_programs(planned: Plan, programs: Sequence[Program], checked: Verification) -> dict[int, Element]:
    """What should lie on the machine when each program has ended, and what follows it has been poured, by its order;
    nothing after one that leaves all as it was, or no more than small holes, which would not be seen."""
    pours, clamping, wood = pours_of(planned), planned.clamping, planned.asked.wood[0]
    stages = as_poured(planned, checked.simulation.stages, pours)
    found = {}
    for before, stage in zip((None, *stages), stages, strict=False):
        if changed_share(clamping, stage, before or "blank") < _SEEN:
            continue
        program = next(one for one in programs if one.order == stage.order)
        opened = program.step.operation.opens
        poured = opened is not None and opened.fill != "none" and opened in stage.inlays
        pour = pour_of(opened, pours) if opened is not None and poured else None
        words = "What should lie on the machine then"
        words += ", with the fill poured and standing proud (above the wood)" if pour and pour.inlay.fill == "resin" \
            else \
            ", with the pieces let in" + (
                " and standing proud (above the wood)" if clamping.stands(opened) >= LEVEL else
                f", {_stands_words(clamping, opened)}") if poured and opened else ""
        pixels = shaded_board(clamping, stage.coarser(), wood, dam=pour and pour.dam,
                              before=before.coarser() if before is not None else "blank")
        seen = f"The work from above after program {program.step.number}; what it left as it was is pale."
        caption = f"{words}.{_dam_words('the fill', pour)}"
        found[stage.order] = e("figure", as_image(pixels, seen), e("figcaption", caption))
    return found


def seen_files(planned: Plan, checked: Verification) -> dict[str, bytes]:
    """All these pictures as PNG files by name; those from above print at true size."""
    clamping, (bare, under), pours = planned.clamping, planned.asked.wood, pours_of(planned)
    stages = as_poured(planned, checked.simulation.stages, pours)
    found = {f"after-{stage.order:02d}.png": as_png(shaded_board(clamping, stage, bare), stage.spacing)
             for stage in stages}
    for number, one in enumerate(checked.simulation.closeups, 1):
        for name, stage, dam in _stages_of(one, pours):
            found[f"inlay-{number}-{name}.png"] = as_png(shaded_board(clamping, stage, bare, dam=dam), stage.spacing)
        found[f"inlay-{number}-at-an-angle.png"] = as_png(seen_at_an_angle(clamping, one.opened, bare), None)
    if stages:
        found["finished.png"] = finished_png(planned, checked, bare)
        found["finished-at-an-angle.png"] = as_png(seen_at_an_angle(clamping, stages[-1], bare, cut_free=True), None)
    if stages and under:
        found["finished-under-finish.png"] = finished_png(planned, checked, under)
    return found


def finished_png(planned: Plan, checked: Verification, wood: str | None) -> bytes:
    """The finished part from above as a PNG file."""
    last = checked.simulation.stages[-1]
    return as_png(shaded_board(planned.clamping, last, wood, cut_free=True), last.spacing)


def _stands_words(clamping: Clamping, inlay: Inlay) -> str:
    """How high what fills an inlay stands in the wood round it."""
    by, units = clamping.stands(inlay), clamping.units
    if inlay.piece is None:
        return f"standing {format_length(by, units)} proud"
    if abs(by) < LEVEL:
        return "level with the wood"
    return f"standing {format_length(by, units)} proud" if by > 0 else f"{format_length(-by, units)} below the wood"


def _wide(one: Closeup) -> float:
    """Of a picture at true size, mm."""
    return one.opened.spacing * one.opened.heights.shape[1]


def _inlay(planned: Plan, one: Closeup, pours: Sequence[Pour], name: str) -> Iterator[Element]:
    clamping, wood, inlay = planned.clamping, planned.asked.wood[0], one.inlay
    wide = _wide(one)
    times = float(min(max(2 * _ROOM // wide / 2, 1.0), _MOST))
    pour = pour_of(inlay, pours)
    captions = {
        "opened": "Before: the pocket, open.",
        "filled": f"{'Filled' if inlay.fill == 'resin' else 'With its pieces let in'}, "
                  f"{_stands_words(clamping, inlay)}.{_dam_words('it', pour)}",
        "finished": "After: as it looks in the end.",
    }
    size = "true size" if times == 1 else f"{times:g} times true size"
    size += " on paper" if wide * times > PAGE else ""
    bar = View(left=-1.0, right=56.0, bottom=-1.5, top=4.5)
    yield e("h3", f"{capital(name)}, {size}")
    yield e("div", true_size(bar.picture("A bar to measure on paper", *ruler(bar, (0.0, 0.0), clamping.units))),
            class_="bar")
    small = []
    for stage_name, stage, dam_shown in _stages_of(one, pours):
        pixels, caption = shaded_board(clamping, stage, wood, dam=dam_shown), captions[stage_name]
        words = f"{name} from above. {caption}"
        if wide * times > PAGE:
            yield from _whole_and_halves(pixels, words, f"{stage_name}-{one.opened.order}", wide * times, caption,
                                         true_size=True)
        else:
            small.append(_sized(as_image(pixels, words), wide * times, caption))
    angle = as_image(seen_at_an_angle(clamping, one.opened, wood),
                     f"{name}: the open pocket at an angle, heights are {rise_words(clamping)}.")
    small.append(_sized(angle, min(wide * times, PAGE), f"The open pocket. {_angle_words(clamping)}"))
    yield e("div", *((one, " ") for one in small), class_="sized")


def _stages_of(one: Closeup, pours: Sequence[Pour]) -> list[tuple[str, Stage, BaseGeometry | None]]:
    """(name, stage, what is inside the dam that is drawn): a pocket that is not filled has no second one."""
    pour = pour_of(one.inlay, pours)
    filled = pour.over(one.opened, one.filled) if pour else one.filled
    return [("opened", one.opened, None),
            *([("filled", filled, pour and pour.dam)] if one.inlay.fill != "none" else []),
            ("finished", one.finished, None)]


def _dam_words(what: str, pour: Pour | None) -> str:
    return f" The line round {what} is the dam: level resin runs up to it." if pour and pour.dam else ""


def _sized(picture: Element, wide: float, caption: str) -> Element:
    """A picture so many mm wide."""
    picture.set("style", f"width: {wide:.1f}mm; max-width: none")
    return e("figure", scrolling(picture, caption), e("figcaption", caption), style=f"width: {wide:.1f}mm")


def _whole_and_halves(
    pixels: Pixels, words: str, name: str, long: float, caption: str, *, true_size: bool = False
) -> list[Element]:
    """A figure as wide as the screen has room; where it is longer than the page, on paper in two halves instead, at
    true size in as many parts as it takes. Halves that would not both stand on a page are no larger than the whole: it
    is left at that."""
    if long <= PAGE or (not true_size and pixels.shape[0] > _NARROW * pixels.shape[1]):
        return [figure(as_image(pixels, words), caption, wide=True)]
    count = math.ceil(long / _PART) if true_size else 2
    whole, parts = in_parts(pixels, words, name, count)
    if true_size:
        for part in parts:
            part.set("style", f"width: {long / count:.2f}mm; max-width: none")
    shown = figure(whole, caption, wide=True)
    shown.set("class", "wide screen")
    told = e("figcaption", f"{caption} In {count} parts, from the left.")
    together = [parts] if count == 2 else [[part] for part in parts]
    return [shown, *(e("figure", some, None if k else told, class_="paper") for k, some in enumerate(together))]


def _contrast_words(clamping: Clamping, stage: Stage, wood: str | None) -> Iterator[str]:
    """How clearly each fill stands out from the wood in the picture, where the wood's colour is known."""
    if wood is None:
        return
    found = contrast_seen(clamping, stage, wood)
    if found:
        ratios = ", ".join(f"{colour} {ratio:.1f}:1" for colour, ratio in found.items())
        low = [colour for colour, ratio in found.items() if ratio < LEAST_CONTRAST]
        yield (f"Contrast with the wood as seen here: {ratios}"
               + (f"; under {LEAST_CONTRAST:g}:1, hard to tell by lightness alone: {', '.join(low)}." if low else "."))


def _angle_words(clamping: Clamping) -> str:
    """From where a picture at an angle is seen: from the side toward - y, and the near end."""
    names = clamping.board.names
    side = f"the {names.sides[0]} side and " if names.sides else ""
    return f"Seen at an angle, from {side}the {names.near}; heights are {rise_words(clamping)}."
