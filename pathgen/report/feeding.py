"""Which feeds of a job are unusual for their cutters: starting points, not rules."""

from __future__ import annotations

import math

from pathgen.base.bending import usual_layer
from pathgen.base.cutters import Cutter
from pathgen.base.feeds import ABOUT, ROUND_UP, USUAL_CHIP_LOAD, UnusualFeed, unusual_feed, usual_speed
from pathgen.base.units import MM_PER, as_written, format_length, rounded_up
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping, Step
from pathgen.work.layers import layers, thin_layers

_QUICKEST = 30_000.0  # turns a minute that the spindles of small routers reach: common practice, no source
_MUCH = 3.0  # times the usual most that a tooth may take before it is a warning: common practice, no source
_DEEP = 2.0  # times the usual layer from which a cutter may well break at any feed: common practice, no source
_SLOWEST = 5_000.0  # turns a minute under which such spindles have no strength: common practice, no source
_FAR = 5.0  # times under the usual least that a feed is likely a slip: common practice, no source
_LONG = 8.0  # diameters from which few cutters have flutes so long: 3 to 5 are usual (common practice, no source)


def feed_findings(clamping: Clamping) -> list[Finding]:
    """A note for each cutter whose feed lies outside the usual range for its size and all that it cuts; a warning where
    a tooth takes more than _MUCH times the most that is usual, or _FAR under the least."""
    found, cut = [], dict[str, list[Step]]()
    eased = {s.cutter.name for s in clamping.steps
             if s.operation.works_hard(s.cutter) and s.cutter.eased_feed < s.cutter.feed}
    for step in clamping.steps:
        if step.operation.spins:
            cut.setdefault(step.cutter.name, []).append(step)
    for name, steps in cut.items():
        cutter = steps[0].cutter
        bites = [None if cutter.is_flat else step.operation.bite(cutter) for step in steps]
        off = unusual_feed(cutter, bites)
        if off is not None:
            found.append(_note(clamping, cutter, bites, off, eased=name in eased))
    return found


def layer_findings(clamping: Clamping) -> list[Finding]:
    """A warning for each cutter with thicker layers than is usual, a note for one with many much thinner ones."""
    found, unit = {}, clamping.units
    for step in clamping.steps:
        (_, layer), usual = layers(clamping, step), usual_layer(step.cutter)
        thin, deeper = thin_layers(clamping, step)
        if thin and step.cutter.name not in found:
            found[step.cutter.name] = Finding(
                code="layers-thin", severity="note", where=f'cutter "{step.cutter.name}", {step.operation.name}',
                got=f"{thin}: its program takes many times as long as it would with usual ones",
                allowed=f"{format_length(usual / 2, unit)} to {format_length(usual, unit)} is usual in hardwood",
                remedy=deeper)
        if layer <= usual * (1.0 + ROUND_UP) or step.cutter.name in found:
            continue
        got = (f"layers of {format_length(layer, unit)} with {format_length(step.cutter.diameter, unit)}"
               f" and {step.cutter.flutes} flutes")
        low, high = (as_written(v, unit, down=True) for v in (usual / 2, usual))
        given, meant = step.cutter.stepdown / MM_PER[unit], ""
        if unit == "in" and usual / _FAR <= given <= _DEEP * usual < step.cutter.stepdown:
            meant = f'if mm are meant, write stepdown = "{given:g} mm"; else '
        found[step.cutter.name] = Finding(
            code="layer-unusual", severity="warn", where=f'cutter "{step.cutter.name}", {step.operation.name}',
            got=f"{got}: it may well break" if layer > _DEEP * usual else got,
            allowed=f"up to {format_length(usual, unit)} is usual in hardwood",
            remedy=f"{meant}write stepdown = {low} to {high}" + (
                "" if layer > _DEEP * usual else ", unless you know that this cutter takes it"))
    return list(found.values())


def flute_findings(clamping: Clamping) -> list[Finding]:
    """A warning for each cutter that goes many times its diameter deep, where nobody said how long its flutes are."""
    found, unit = {}, clamping.units
    for step in clamping.steps:
        count, layer = layers(clamping, step)
        if math.isfinite(step.cutter.flute_length) or count * layer <= _LONG * step.cutter.diameter:
            continue
        deep = format_length(rounded_up(count * layer), unit)
        found[step.cutter.name] = Finding(
            code="flutes-not-given", severity="warn", where=f'cutter "{step.cutter.name}", {step.operation.name}',
            got=f"it must cut {deep} deep, {count * layer / step.cutter.diameter:.0f} times its diameter, and its "
                "flute_length is not given",
            allowed="3 to 5 times the diameter is usual",
            remedy=f"measure its flutes and write their length as flute_length; shorter than {deep}, its shank would "
                   "rub and burn")
    return list(found.values())


def _note(clamping: Clamping, cutter: Cutter, bites: list[float | None], off: UnusualFeed, *, eased: bool) -> Finding:
    per = MM_PER[clamping.units]
    high = "high: " + ("its tip may break" if cutter.shape == "v" else "so small a cutter may break"
                       if cutter.diameter <= USUAL_CHIP_LOAD[0][0] else "it may tear the wood or stall the spindle")
    low = "low: it may rub and burn"
    if eased:
        slow = cutter.eased_feed
        low += (f", the more where it cuts full width, its feed eased to {slow / per:.3g}: "
                f"{off.load * slow / cutter.feed / per:.2g} {clamping.units} a tooth")
    word = low if cutter.feed < off.low else high
    slowest, fastest = (round(rpm, -2) for rpm in usual_speed(cutter, bites))
    reached = max(_QUICKEST, *(one.cutter.speed for one in clamping.steps))
    weakest, reached = clamping.machine.spindle or (_SLOWEST, reached)
    turns = f"{max(slowest, weakest):.0f} to {min(fastest, reached):.0f} rpm"
    turned = slowest <= reached and fastest >= weakest
    most = min(off.high, clamping.machine.rapid)
    least = max(off.low, cutter.plunge) if cutter.plunge < most else off.low  # a slower one is refused
    feeds = f"{least / per:.0f} to {most / per:.0f} {clamping.units} per minute is usual in hardwood"
    if most <= off.low:  # the machine cannot go as fast as this speed asks
        feeds = f"at this feed {turns if turned else 'a slower spindle'} is usual in hardwood"
    times, under = cutter.feed / off.high, off.low / cutter.feed
    much, far = times > _MUCH, under > _FAR
    word += f", and {float(f'{times:.2g}'):g} times the most that is usual" if much else ""
    word += f", and {under:.0f} times slower than the least that is usual" if far else ""
    change = f"change its feed in the job{f', or the speed to {turns}' if turned else ''}"
    meant = [f"if {cutter.speed:g} is {what}, write speed = {cutter.speed * by:.0f}"
             for by, what in ((60.0, "turns per second (Hz)"), (1000.0, "thousands of turns"))
             if much and slowest / ABOUT <= cutter.speed * by <= min(fastest * ABOUT, reached)]
    meant += [f"if {clamping.units} per second are meant, write feed = {cutter.feed / per * 60.0:g}"
              for _ in range(far) if off.low / ABOUT <= cutter.feed * 60.0 <= min(off.high * ABOUT,
                                                                                   clamping.machine.rapid)]
    change = f"{'; '.join(meant)}; else {change}" if meant else change
    return Finding(
        code="feed-unusual", severity="warn" if much or far else "note", where=f'cutter "{cutter.name}"',
        got=f"feed {cutter.feed / per:g} {clamping.units} per minute at {cutter.speed:.0f} rpm is "
            f"{off.load / per:.2g} {clamping.units} a tooth, {word}",
        allowed=feeds,
        remedy=f"{change}; a starting point only: the cutter maker's chart, your "
               + ("wood and your ears decide" if clamping.board.names.wooden else
                  "material and your ears decide: shell, bone and metal are mostly cut slower than wood"))
