"""Sensible random plates and forms, seeded, for `tests.random_jobs`: ``python -m tests.random_jobs --plates``."""

import math
from typing import Any

from tests.random_jobs import Chance, RandomJob, _cutter, _drawing, _svg, _toml

LARGE = "#775533"
"""Of the plate in its own drawing, where that shows openings too."""


def random_plate(seed: int) -> RandomJob:
    """The plate of a seed, or one time in four a form."""
    chance = Chance(seed)
    tables: dict[str, Any] = {}
    files: dict[str, str] = {}
    cutters: dict[str, dict[str, Any]] = {}
    if chance.now_and_then(0.25):
        _form(chance, tables, files, cutters)
    else:
        _plate(chance, tables, files, cutters)
    tables["machine"] = {"arcs": chance.now_and_then(), "clearance": chance.length(5, 15)}
    tables["cutter"] = list(cutters.values())
    return RandomJob(_toml(tables, inches=chance.now_and_then(0.15)), files)


def _plate(
    chance: Chance, tables: dict[str, Any], files: dict[str, str], cutters: dict[str, dict[str, Any]]
) -> None:
    long, wide, thick = chance.length(60, 220, 0), chance.length(40, 120, 0), chance.length(1.6, 6)
    face = chance.now_and_then(0.6)
    plate = tables["plate"] = {"thickness": thick, "min_web": chance.length(0.3, 0.8), "face": face}
    outline = _cutter(cutters, chance, "flat-end", chance.one(2.0, 3.0, 6.0))
    around = math.ceil(2 * (cutters[outline]["diameter"] + 6.0))
    tables["stock"] = {"length": long + around, "width": wide + around, "margin_nut": around / 2,
                       "thickness": round(thick + chance.length(0.3, 2), 1) if face else thick}
    _outline(chance, plate, files, cutters, long, wide)
    tables["setup"] = {"along": chance.one("x", "y"), "z_zero": "bed", "zero": chance.one(
        "near-centre", "far-centre", "blank-near-centre", "blank-near-lower", "blank-far-upper", "blank-centre")}
    if face:
        ball = chance.now_and_then(0.7)
        finish = _cutter(cutters, chance, "ball-end", 6.0, 3.0) if ball else outline
        tables["surface"] = {"finish": finish, "allowance": 0.2, **({"scallop": 0.03} if ball else {"rough": finish})}
        if ball and chance.now_and_then():
            tables["surface"]["rough"] = _cutter(cutters, chance, "flat-end", 6.0)
    # from the near end to the far one: a drawing, rings, holes
    zones = [(0.08 * long, 0.38 * long), (0.40 * long, 0.64 * long), (0.66 * long, 0.92 * long)]
    deep = max(0.3, round(0.7 * (thick - plate["min_web"]), 1))
    fills = ("resin", "resin", "piece", "none") if face else ("none",)
    if chance.now_and_then(0.6):
        low, high = zones[0]
        files["a.svg"], size = _drawing(chance, (low, high, 0.3 * wide))
        sizes = chance.one((1.0,), (3.0, 1.0), (2.0, 0.8))
        tables["inlay"] = [{
            "artwork": "a.svg", "depth": min(deep, 2.0), "fill": chance.one(*fills), "artwork_missing": "report",
            "cutters": [_cutter(cutters, chance, "flat-end", size) for size in sizes],
            "place": {"at": [round((low + high) / 2, 1), 0.0], "width": size[0], "rotate": chance.one(0, 90, 180)},
        }]
    if chance.now_and_then(0.5):
        _rings(chance, tables, cutters, zones[1], wide, deep, face)
    if chance.now_and_then(0.7):
        _holes(chance, tables, cutters, zones[2], wide, deep)
    if any(one["fill"] != "none" for key in ("inlay", "ring") for one in tables.get(key, ())):
        again = {"area": chance.one("board", "inlay"), "stepdown": chance.one(0.3, 0.5)}
        tables |= {"resurface": again} if chance.now_and_then() else {}
        tables |= {"marks": {"cutter": _cutter(cutters, chance, "v", 90.0)}} if chance.now_and_then(0.15) else {}
    tables["outline"] = {"cutter": outline, "finish": chance.one(0.0, 0.2)} | chance.one(
        {"tabs": chance.whole(2, 6), "tab_height": round(0.4 * thick, 1), "tab_width": chance.length(3, 6)},
        {"skin": chance.one(0.2, 0.4)}, {"tabs": 0})
    if chance.now_and_then(0.1):
        del tables["outline"]
    if "artwork" in plate and not any("mirror" in hole for hole in tables.get("hole", ())):
        _aside(tables, chance.one(0.0, 0.5 * wide, -0.4 * wide, 0.8 * wide))


def _aside(tables: dict[str, Any], across: float) -> None:
    """A drawn plate, and all in it, so far from the centre-line, as when a page's corner lies there."""
    for one in (tables["plate"]["place"], *(hole for key in ("ring", "hole") for hole in tables.get(key, ())),
                *(inlay["place"] for inlay in tables.get("inlay", ()))):
        one["at"] = [one["at"][0], round(one["at"][1] + across, 2)]
    tables["stock"]["width"] += round(2 * abs(across), 2)


def _outline(
    chance: Chance, plate: dict[str, Any], files: dict[str, str], cutters: dict[str, dict[str, Any]], long: float,
    wide: float,
) -> None:
    """A size, rounded or not; or a drawing, now and then with openings of its own."""
    if chance.now_and_then(0.5):
        plate |= {"length": long, "width": wide}
        if chance.now_and_then():
            plate["corner_radius"] = round(chance.one(0.1, 0.3, 0.5) * min(long, wide), 1)
        return
    bay = chance.length(0.04, 0.08, 2) * wide
    shape = chance.one(
        f"M0 {bay}Q{long / 2} {-bay} {long} {bay}V{wide - bay}Q{long / 2} {wide + bay} 0 {wide - bay}Z",
        f"M0 0H{long}V{wide}H{0.7 * long}Q{0.6 * long} {wide - 3 * bay} {0.5 * long} {wide}H0Z",
        f"M0 {wide / 2}A{wide / 2} {wide / 2} 0 0 1 {wide / 2} 0H{long}V{wide}H{wide / 2}A{wide / 2} {wide / 2} 0 0 1 "
        f"0 {wide / 2}Z",
        f"M0 0H{long}V{wide}H{0.6 * long}V{wide - bay}H0Z",
    )
    body, named = f'<path d="{shape}" fill="{LARGE}"/>', {}
    if chance.now_and_then(0.4):
        x, y, r = 0.52 * long, 0.22 * wide, chance.length(0.05, 0.09, 3) * wide
        body += (f'<g id="cut"><ellipse cx="{x:.2f}" cy="{y:.2f}" rx="{1.5 * r:.2f}" ry="{r:.2f}" fill="#224488"/>'
                 f'<rect x="{x - r:.2f}" y="{wide - y - r:.2f}" width="{2 * r:.2f}" height="{1.5 * r:.2f}" '
                 'fill="#224488"/></g>')
        named["openings"] = {**chance.one({"colours": ["#224488"]}, {"layers": ["cut"]}),
                             "cutter": _cutter(cutters, chance, "flat-end", chance.one(1.0, 2.0))}
    files["plate.svg"] = _svg(long, wide, body)
    plate |= {"artwork": "plate.svg", "place": {"at": [round(long / 2, 2), 0.0]}, **named}


def _rings(
    chance: Chance, tables: dict[str, Any], cutters: dict[str, dict[str, Any]], zone: tuple[float, float], wide: float,
    deep: float, face: bool,
) -> None:
    middle, most = (zone[0] + zone[1]) / 2, min((zone[1] - zone[0]) / 2, 0.2 * wide)
    inner, rings = round(0.4 * most, 1), []
    for _ in range(chance.whole(1, 3)):
        width = chance.length(1.0, 3.0)
        if inner + width > most:
            break
        size = 3.0 if width >= 3.0 else 1.0
        rings.append({"at": [round(middle, 1), 0.0], "inner": inner, "outer": round(inner + width, 1),
                      "depth": min(deep, 1.5), "cutters": [_cutter(cutters, chance, "flat-end", size)],
                      "fill": chance.one("none", "none", "resin") if face else "none"})
        inner = round(inner + width + chance.length(0.8, 2), 1)
    if rings:
        tables["ring"] = rings


def _holes(
    chance: Chance, tables: dict[str, Any], cutters: dict[str, dict[str, Any]], zone: tuple[float, float], wide: float,
    deep: float,
) -> None:
    size = chance.one(2.0, 3.0)
    diameter = chance.one(size, 1.5 * size, 2 * size, chance.length(6, 9))
    hole: dict[str, Any] = {"cutter": _cutter(cutters, chance, "flat-end", size), "diameter": diameter,
                            "at": [round(zone[0] + 4.0, 1), round(-0.3 * wide, 1)]}
    hole |= {"depth": deep} if chance.now_and_then() else {"through": chance.one(0.0, 0.2, 0.5)}
    hole |= {"mirror": True} if chance.now_and_then() else {}
    if chance.now_and_then(0.4):
        count = chance.whole(2, 4)
        hole |= {"count": count, "pitch": round((zone[1] - zone[0] - 8.0) / (count - 1), 1),
                 "angle": chance.length(-4, 4)}
    if chance.now_and_then():
        hole |= {"length": round(diameter + chance.length(1, 5), 1), "turn": chance.length(-90, 90)}
    if chance.now_and_then() and hole.get("depth", 9.0) > 0.6:
        hole["counterbore"] = {"diameter": diameter + chance.length(1, 3), "depth": min(0.5, deep)}
    tables["hole"] = [hole]


def _form(
    chance: Chance, tables: dict[str, Any], files: dict[str, str], cutters: dict[str, dict[str, Any]]
) -> None:
    """Halves along a wave, or a template from a closed line."""
    thick = chance.length(6, 19)
    cutter = _cutter(cutters, chance, "flat-end", chance.one(4.0, 6.0))
    cut = chance.one("halves", "halves", "inside", "outside", "on")
    long, wide = chance.length(160, 360, 0), chance.length(120, 200, 0)
    form = tables["form"] = {"artwork": "line.svg", "cut": cut, "wall": 20.0, "layers": chance.whole(1, 4),
                             "place": {"at": [round(long / 2, 2), 0.0]}}
    if cut == "halves":
        rise = chance.length(0.02, 0.12, 2) * wide
        form |= {"length": long, "width": wide, "gap": chance.length(1.5, 4), "line": chance.one("inside", "outside")}
        form["wall"] = 12.0
        y = wide / 2
        body = (f'<path d="M-5 {y}H{0.1 * long}C{0.3 * long} {y} {0.3 * long} {y - rise} {0.5 * long} {y - rise}'
                f'S{0.7 * long} {y} {0.9 * long} {y}H{long + 5}V{wide + 5}H-5Z"/>')
    else:
        body = chance.one(
            f'<ellipse cx="{long / 2}" cy="{wide / 2}" rx="{0.2 * long}" ry="{0.2 * wide}"/>',
            f'<rect x="{0.3 * long}" y="{0.3 * wide}" width="{0.4 * long}" height="{0.3 * wide}" rx="9"/>')
    files["line.svg"] = _svg(long, wide, body)
    tables["stock"] = {"length": long + 60.0, "width": wide + 60.0, "thickness": thick, "margin_nut": 20.0}
    tables["outline"] = {"cutter": cutter, **chance.one({"tabs": 4, "tab_height": 2.0}, {"skin": 0.5}, {"tabs": 0})}
    cutters[cutter]["flute_length"] = 25.0
    if chance.now_and_then() and cut == "halves":
        tables["hole"] = [{"cutter": cutter, "at": [20.0, round(side * (wide / 2 - 12.0), 1)], "diameter": 8.0,
                           "count": 2, "pitch": long - 40.0} for side in (-1, 1)]
