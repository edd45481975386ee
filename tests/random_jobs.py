"""Sensible random jobs, seeded: every one ought to build, or be refused for a reason that is true.

``python -m tests.random_jobs --count 300 --seed 1 [--drawings FOLDER] [--keep FOLDER]`` builds hundreds and
counts how they end. The drawings are our own, or the SVG files of a folder; job.toml, the drawing and message.txt of
each job that does not build are kept. With ``--cut-again 0.15`` what is built is also cut by the tests' own simulation,
on a grid of so many mm: no cut deeper than its stepdown may be wider than a shaving.
"""

import argparse
import contextlib
import io
import math
import multiprocessing
import queue
import re
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from pathgen.job.describe import key_rows
from pathgen.job.job import head_of
from tests.plain_cutting import Cut, deepest_falls

COARSE = 0.2
"""Grid of the simulation in mm for small jobs."""


@dataclass(frozen=True)
class RandomJob:
    """The text of a job file, and of the drawings beside it by name."""

    toml: str
    drawings: dict[str, str]

    def write(self, folder: Path) -> Path:
        """Writes all of it into a folder; gives the job file's path."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in {**self.drawings, "job.toml": self.toml}.items():
            (folder / name).write_text(text)
        return folder / "job.toml"


@dataclass(frozen=True)
class Ending:
    """How a job ended: built, refused, refused by its own check, cut too deep, crashed, too slow; and what was said."""

    kind: str
    message: str
    seconds: float


class Chance:
    """Choices that a maker might make, from one seed; lengths are rounded as they would be written."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def length(self, low: float, high: float, digits: int = 1) -> float:
        return round(float(self.rng.uniform(low, high)), digits)

    def whole(self, low: int, high: int) -> int:
        return int(self.rng.integers(low, high + 1))

    def one(self, *options: Any) -> Any:
        return options[int(self.rng.integers(len(options)))]

    def now_and_then(self, share: float = 0.3) -> bool:
        return bool(self.rng.random() < share)


def random_job(
    seed: int, *, drawings: list[Path] | None = None, small: bool = False, moved: bool = False
) -> RandomJob:
    """The job of a seed: with icons when `drawings` names SVG files; `small` keeps board and drawing short; `moved` has
    the work clamped again."""
    chance = Chance(seed)
    tables: dict[str, Any] = {}
    files: dict[str, str] = {}
    cutters: dict[str, dict[str, Any]] = {}
    board, length, widest, stock = _board(chance, small)
    tables["board"], tables["stock"] = board, stock
    tables["machine"] = {"arcs": chance.now_and_then(), "clearance": chance.length(5, 15),
                         "acceleration": chance.one(200.0, 400.0, 800.0)}
    tables["setup"] = _setup(chance, stock)
    ball = _cutter(cutters, chance, "ball-end", chance.one(6.0, 6.35, 8.0, 12.7), stepdown=3.0)
    proud = stock["thickness"] - board["thickness"]
    tables["surface"] = {"finish": ball, "allowance": min(chance.length(0.2, 0.5), round(proud - 0.1, 1))}
    tables["surface"] |= {"stepover": chance.length(0.6, 1.2)} if chance.now_and_then(0.2) else {
        "scallop": chance.one(0.02, 0.03, 0.05)}
    if chance.now_and_then(0.5):
        tables["surface"]["rough"] = _cutter(cutters, chance, "flat-end", chance.one(4.0, 6.0))
    inlays = 1 if drawings else chance.one(0, 1, 1, 2)
    room = (4.0, length - 4.0, board["nut_width"] / 2 - 4.0)
    whole = room
    for number in range(inlays):
        # side by side: an inlay that cuts into another's empty pocket is not sensible
        share = (whole[1] - whole[0]) / inlays
        room = (whole[0] + number * share, whole[0] + (number + 1) * share, whole[2])
        files[f"a{number}.svg"], size = _icons(chance, drawings, room) if drawings else _drawing(chance, room)
        icons = files[f"a{number}.svg"].count("<svg") - 1
        inlay = _inlay(chance, cutters, f"a{number}.svg", room, size, board, solid=not drawings)
        tables.setdefault("inlay", []).append(inlay)
        if icons:
            _narrow_enough(chance, cutters, inlay, lines=math.sqrt(size[0] * size[1] / icons) / 20)
    if any(inlay["fill"] != "none" for inlay in tables.get("inlay", ())) and chance.now_and_then(0.6):
        area = chance.one("board", "inlay")
        tables["resurface"] = {"area": area, "stepdown": chance.one(0.3, 0.5),
                               "skim": chance.one(0.0, 0.1) if area == "board" else 0.0}
    if not drawings or chance.now_and_then(0.2):
        _steps(chance, cutters, tables, length, widest)
    _more(Chance(seed + 1_000_000), cutters, tables, files, small)
    _rarely(Chance(seed + 2_000_000), cutters, tables, files, length, widest)
    _thick_blank(Chance(seed + 3_000_000), tables)
    _also(Chance(seed + 4_000_000), tables, files, length, drawings)
    _blunter(Chance(seed + 6_000_000), cutters, tables)
    _rounder(Chance(seed + 7_000_000), cutters, tables)
    if moved:
        _moved(Chance(seed + 8_000_000), cutters, tables, length)
    tables["cutter"] = list(cutters.values())
    scale = 25.4 if not small and chance.now_and_then(0.15) else 1.0
    return RandomJob(_toml(tables, inches=scale > 1), files)


def _board(chance: Chance, small: bool) -> tuple[dict[str, Any], float, float, dict[str, Any]]:
    """[board] and [stock], with the board's length and greatest width in mm."""
    scale = chance.length(240, 320, 0) if small else chance.length(300, 660, 0)
    frets = chance.whole(2, 4) if small else chance.whole(5, 22)
    nut = chance.length(32, 48)
    end, past = nut + chance.length(4, 12), chance.length(6, 14)
    nut_radius = chance.length(180, 400, 0)
    board: dict[str, Any] = {"scale_length": scale, "frets": frets, "nut_width": nut, "end_width": round(end, 1),
                             "past_last_fret": past, "thickness": chance.length(5.5, 7), "min_web": 1.0}
    board["radius"] = chance.one("flat", nut_radius, {"nut": nut_radius, "end": round(1.4 * nut_radius, 1)},
                                 {"nut": nut_radius, "bridge": round(1.7 * nut_radius, 1)})
    kind = chance.one("plain", "plain", "fanned", "partial", "ratios", "divisions")
    if kind == "fanned":
        board["scale_length"] = {"bass": scale + chance.length(4, 18, 0), "treble": scale,
                                 "straight_fret": chance.whole(0, min(7, frets))}
    if kind == "partial":
        board["partial_frets"] = [{"fret": chance.whole(1, frets), "across": [round(-nut, 1), chance.length(2, 6)]}]
    if kind == "ratios":
        board["ratios"], board["frets"] = ["9/8", "5/4", "4/3", "3/2", "5/3", "15/8", 2], min(frets, 12)
    if kind == "divisions":
        board["divisions"] = chance.one(17, 19, 24)
    if kind in ("plain", "partial"):
        board |= {"zero_fret": True, "behind_nut": chance.length(6, 12)} if chance.now_and_then() else {}
        if chance.now_and_then():
            board["end"] = chance.one({"rise": chance.length(2, 6)}, {"corner_radius": chance.length(1, 3)},
                                      {"steps": [[0.0, chance.length(3, 8)]]})
    if chance.now_and_then(0.2):
        board |= {"binding": chance.length(1, 2), "bound": chance.one(True, False)}
    board["left_handed"] = chance.now_and_then(0.2)
    ratio = 2 ** (-board["frets"] / board.get("divisions", 12))
    if kind == "ratios":
        in_octave, octave = [9 / 8, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 15 / 8, 2], (board["frets"] - 1) // 7
        ratio = 1 / (2**octave * in_octave[(board["frets"] - 1) % 7])
    length = scale * (1 - ratio) + past
    widest, behind = max(nut, end), board.get("behind_nut", 0.0)
    margin = round(behind + 24.0, 1)
    stock = {"length": round(length + margin + 36.0, 1), "width": round(widest + 26.0, 1),
             "thickness": round(board["thickness"] + chance.length(0.5, 2.5), 1), "margin_nut": margin}
    return board, length, widest, stock


def _thick_blank(chance: Chance, tables: dict[str, Any]) -> None:
    """Now and then a blank that stands much higher than the board, as one has it in the shop."""
    if chance.now_and_then(0.2):
        higher = chance.length(1, 8)
        tables["stock"]["thickness"] = round(tables["stock"]["thickness"] + higher, 1)
        for clamp in tables["setup"].get("keep_out", ()):
            clamp["height"] = round(clamp["height"] + higher, 1)


def _setup(chance: Chance, stock: dict[str, Any]) -> dict[str, Any]:
    setup = {"along": chance.one("x", "y"), "z_zero": chance.one("bed", "bed", "stock-top"),
             "zero": chance.one("nut-centre", "nut-bass", "end-treble", "blank-nut-treble", "blank-centre")}
    if chance.now_and_then(0.2):
        half = stock["width"] / 2
        setup["keep_out"] = [{"along": [-stock["margin_nut"] - 10.0, -stock["margin_nut"] - 5.0],
                              "across": [-half, half], "height": chance.length(12, 25)}]
    return setup


def _cutter(cutters: dict[str, dict[str, Any]], chance: Chance, shape: str, size: float, stepdown: float = 0.0) -> str:
    """Puts a cutter with usual feeds on the list, once; `size` is mm, or degrees of a v. Gives its name."""
    name = f"{shape} {size:g}"
    if name not in cutters:
        diameter = 6.0 if shape == "v" else size
        data = {"name": name, "shape": shape, "diameter": diameter, "speed": chance.one(10000, 16000, 24000),
                "feed": round(min(2400.0, 380 * diameter)), "plunge": round(min(600.0, 120 * diameter)),
                "stepdown": stepdown or chance.length(0.35, 0.55, 2) * diameter}
        if shape == "v":
            data |= {"angle": size, "stepdown": chance.length(0.8, 2.0)}
        data["stepdown"] = round(data["stepdown"], 2)
        cutters[name] = data
    return name


def _inlay(
    chance: Chance, cutters: dict[str, dict[str, Any]], artwork: str, room: tuple[float, float, float],
    size: tuple[float, float], board: dict[str, Any], solid: bool,
) -> dict[str, Any]:
    """An inlay whose pocket leaves the web, cut by cutters that can go as deep; pieces only where it is `solid`."""
    # a curve falls away toward the edges, so wood under a pocket is thinnest there
    radius = board["radius"]
    least = math.inf if radius == "flat" else radius["nut"] if isinstance(radius, dict) else radius
    fall = 0.0 if least == math.inf else least - math.sqrt(least**2 - (board["nut_width"] / 2) ** 2)
    depth = min(chance.length(0.6, 2.0), round(board["thickness"] - fall - board["min_web"] - 0.3, 1))
    kind = chance.one("flat", "flat", "set", "set", "ball", "v")
    sizes = {"flat": [("flat-end", chance.one(0.5, 0.8, 1.0, 2.0))],
             "ball": [("ball-end", chance.one(2.0, 3.0)), ("ball-end", 1.0)],
             "v": [("v", chance.one(30.0, 60.0))],
             "set": [("flat-end", chance.one(2.0, 3.0)), ("flat-end", chance.one(0.5, 0.8, 1.0))]}[kind]
    names = [_cutter(cutters, chance, shape, diameter) for shape, diameter in sizes]
    middle, turn = (room[0] + room[1]) / 2, chance.one(0, 0, 180)
    place = {"at": [round(middle, 1), 0.0], "rotate": turn, "width": size[0], "mirror": chance.now_and_then(0.2)}
    return {"artwork": artwork, "depth": max(0.6, depth), "cutters": names,
            "fill": chance.one("resin", "resin", "piece" if solid else "resin", "none"),
            "overfill": chance.length(0.5, 1.2), "place": place, "artwork_missing": "report"}


def _narrow_enough(chance: Chance, cutters: dict[str, dict[str, Any]], inlay: dict[str, Any], *, lines: float) -> None:
    """The narrowest cutter no wider than an icon's lines, as who looks at the drawing would choose it."""
    names = inlay["cutters"]
    last = cutters[names[-1]]
    if last["shape"] != "v" and last["diameter"] > lines:
        size = max((size for size in (0.4, 0.5, 0.8, 1.0, 2.0) if size <= lines), default=0.4)
        cutters.pop(names.pop())
        names.append(_cutter(cutters, chance, last["shape"], size))


def _steps(
    chance: Chance, cutters: dict[str, dict[str, Any]], tables: dict[str, Any], length: float, widest: float,
) -> None:
    """Nut slot, fret slots, holes, marks and outline, each now and then, where there is room for them."""
    board = tables["board"]
    if chance.now_and_then() and board.get("behind_nut"):
        tables["nut"] = {"cutter": _cutter(cutters, chance, "flat-end", chance.one(2.0, 3.0)),
                         "depth": chance.length(1, 2),
                         "width": round(min(chance.length(3.2, 5), board["behind_nut"] - 3.0), 1),
                         "bottom": chance.one("curve", "flat"), "entry": chance.one("ramp", "peck")}
    if chance.now_and_then(0.6):
        tables["slots"] = {"cutter": _cutter(cutters, chance, "flat-end", 0.5), "width": chance.one(0.5, 0.58),
                           "depth": chance.length(1.0, 1.8),
                           "ends": "binding" if board.get("bound") else chance.one("through", 2.0),
                           "bottom": chance.one("curve", "flat"), "entry": chance.one("ramp", "peck")}
        if chance.now_and_then(0.2):
            tables["slots"] |= {"bevel": 0.2, "bevel_cutter": _cutter(cutters, chance, "v", 90.0)}
    beside = round(widest / 2 + 8.0, 1)
    if chance.now_and_then(0.2):
        tables["holes"] = {"cutter": _cutter(cutters, chance, "flat-end", 3.0), "diameter": chance.one(3.0, 4.0, 5.0),
                           "at": [[-board.get("behind_nut", 0.0) - 14.0, beside], [round(length + 22.0, 1), -beside]]}
    elif chance.now_and_then(0.2):
        tables["marks"] = {"cutter": _cutter(cutters, chance, "v", 90.0)}
    if chance.now_and_then(0.5):
        tabs = {"tabs": chance.whole(2, 6), "tab_height": chance.length(1, 2)}
        hold = tabs if chance.now_and_then(0.7) else {"skin": 0.3}
        tables["outline"] = {"cutter": _cutter(cutters, chance, "flat-end", chance.one(2.0, 3.0)), **hold}


def _more(
    chance: Chance, cutters: dict[str, dict[str, Any]], tables: dict[str, Any], files: dict[str, str], small: bool,
) -> None:
    """Keys that most jobs leave out, each now and then, where they can be meant."""
    board, inlays = tables["board"], tables.get("inlay", [])
    plain = not {"zero_fret", "partial_frets", "ratios", "divisions"} & set(board)
    for key, value in (("nut_offset", chance.length(0.2, 0.5)), ("edge_to_string", chance.length(2.5, 3.5))):
        if chance.now_and_then(0.1):
            board[key] = value
    if chance.now_and_then(0.1) and board["radius"] != "flat":
        board["radius"] = {"nut": 220.0, "follow": "strings"} if plain and not isinstance(
            board["scale_length"], dict) else board["radius"]
    if chance.now_and_then(0.1) and board["frets"] >= 3:
        board["relief"] = {"depth": chance.length(0.1, 0.3, 2), "fret": 1, "to": board["frets"]}
    elif chance.now_and_then(0.1) and board["frets"] >= 3:
        board["fall_away"] = {"drop": chance.length(0.1, 0.4, 2), "fret": board["frets"] - 2,
                              "shape": chance.one("straight", "curved")}
    tables["setup"] |= {"feeler": chance.one(0.05, 0.1, 0.2)} if chance.now_and_then(0.2) else {}
    tables["machine"] |= {"spin_up": chance.one(0.0, 1.0, 5.0)} if chance.now_and_then(0.2) else {}
    for cutter in cutters.values():
        if chance.now_and_then(0.1) and cutter["shape"] == "flat-end":
            cutter |= {"stepover": chance.length(0.3, 0.6, 2), "ramp": chance.length(2, 8)}
        if chance.now_and_then(0.05) and cutter["shape"] == "flat-end" and cutter["diameter"] >= 2.0:
            cutter["plunges"] = False
    if "nut" in tables and not cutters[tables["nut"]["cutter"]].get("plunges", True):
        tables["nut"]["entry"] = "ramp"
    flat = all(cutters[name]["shape"] == "flat-end" for inlay in inlays for name in inlay["cutters"])
    again = tables.get("resurface")
    if again and not again.get("skim") and flat and chance.now_and_then(0.3):
        tables["surface"]["leave"] = 0.2
    if again and again["area"] == "inlay":
        again["blend"] = chance.length(3, 6)
    for number, inlay in enumerate(inlays):
        narrow = min(inlay["place"]["width"], round(1.6 * (board["nut_width"] - 8.0), 1))
        if chance.now_and_then(0.2) and narrow > 12.0:
            files[f"a{number}.svg"] = _two_colours(chance, round(narrow * 0.6, 1), narrow)
            inlay |= chance.one({}, {"wall": 0.8}, {"lap": 0.3}, {"background": ["#aa4422"]})
            inlay["place"]["width"] = narrow
        elif chance.now_and_then(0.2) and board["frets"] >= 4 and len(inlays) == 1 and (
                files[f"a{number}.svg"].count("<svg") == 1):
            where = {"between": [0, 2]} if small else {"at_frets": [2, 3, board["frets"] - 1]}
            inlay["place"] = {**where, "margin": 2.0}
        if inlay["fill"] == "piece" and flat and chance.now_and_then(0.3):
            thickness = round(inlay["depth"] + 0.2, 1)
            inlay["piece"] = {"cutter": inlay["cutters"][-1], "thickness": thickness, "gap": 0.05}
    if not inlays and chance.now_and_then(0.5) and board["frets"] >= 3:
        tables["dots"] = {"diameter": chance.one(5.0, 6.0), "frets": [2, 3], "depth": 1.0, "fill": chance.one(
            "piece", "resin"), "cutters": [_cutter(cutters, chance, "flat-end", 2.0)], "overfill": 0.6}
    if "outline" in tables:
        tables["outline"] |= {"finish": chance.one(0.0, 0.1, 0.3)} if chance.now_and_then(0.3) else {}
        tables["outline"] |= {"through": chance.one(0.1, 0.4)} if chance.now_and_then(0.2) else {}
        if "tabs" in tables["outline"] and chance.now_and_then(0.3):
            tables["outline"]["tab_width"] = chance.one(4.0, 8.0)


def _rarely(
    chance: Chance, cutters: dict[str, dict[str, Any]], tables: dict[str, Any], files: dict[str, str], length: float,
    widest: float,
) -> None:
    """What few jobs ask for: drawn outlines, measured marks, strokes as narrow as a cutter."""
    board, inlays, outline = tables["board"], tables.get("inlay", []), tables.get("outline")
    behind = board.get("behind_nut", 0.0)
    if outline and chance.now_and_then(0.15):
        files["outline.svg"] = _drawn_outline(chance, length + behind, widest)
        outline |= {"artwork": "outline.svg", "place": {"at": [round((length - behind) / 2, 2), 0.0]}}
        if tables["setup"]["zero"] == "end-treble":  # a corner that it need not have
            tables["setup"]["zero"] = "end-centre"
    if "marks" in tables and "resurface" in tables and chance.now_and_then(0.7):
        tables["measured"] = _measured(chance, tables, length)
        tables["moved"] = {"limit": 0.2, "board_limit": 0.5}
    for number, inlay in enumerate(inlays):
        width = inlay["place"].get("width", 0.0)
        if chance.now_and_then(0.1) and width > 10.0 and files[f"a{number}.svg"].count("<svg") == 1:
            least = min(cutters[name]["diameter"] for name in inlay["cutters"])
            files[f"a{number}.svg"] = _lines(chance, width, 2 * board["nut_width"] / 5, least)
        if inlay["fill"] == "resin" and chance.now_and_then(0.2):
            inlay["resin"] = {"mix": [2, 1], "pour_depth": chance.length(2, 6), "dam": chance.length(1, 4)}
    if chance.now_and_then(0.1):
        tables["resin"] = {"density": 1.1, "waste": 0.3}
    if chance.now_and_then(0.1) and not board.get("behind_nut"):
        board["nut_end"] = {"corner_radius": chance.length(1, 3)}
    if outline and "tabs" in outline:  # no more than a short board has room for
        room = outline.get("tab_width", 6.0) + cutters[outline["cutter"]]["diameter"]
        outline["tabs"] = min(outline["tabs"], 2 * (1 + int((length - room - 2.0) / (room + 4.0))))
    slots = tables.get("slots")
    if slots and slots.get("entry") != "peck" and chance.now_and_then(0.2):
        cutters[slots["cutter"]]["plunges"] = False


def _also(
    chance: Chance, tables: dict[str, Any], files: dict[str, str], length: float, drawings: list[Path] | None,
) -> None:
    """Now and then several drawings side by side that are one inlay, with one pour."""
    board, inlays = tables["board"], tables.get("inlay", [])
    for number, inlay in enumerate(inlays):
        share, count = (length - 8.0) / len(inlays), chance.whole(2, 4)
        each, half = share / count - 2.0, board["nut_width"] / 2 - 4.0
        if not chance.now_and_then(0.25):
            continue
        if "at_frets" in inlay["place"] and board["frets"] >= 6:
            inlay["also"] = [{"artwork": f"a{number}.svg", "place": {"at_frets": [4], "margin": 2.0}}]
        if "at" not in inlay["place"] or each < 14.0:
            continue
        first, places = inlay["place"]["at"][0] - share / 2, []
        for nth in range(count):
            room = (first + nth * (each + 2.0) + 1.0, first + (nth + 1) * (each + 2.0) - 1.0, half)
            name = f"a{number}.svg" if not nth or chance.now_and_then(0.2) else f"a{number}-{nth}.svg"
            wide = min(inlay["place"]["width"], round(each, 1))
            if nth and name not in files:
                files[name], (wide, _) = _icon_alone(chance, drawings, room) if drawings else _drawing(chance, room)
            turn = inlay["place"]["rotate"] if not nth else chance.one(0, 0, 180)
            places.append({"artwork": name, "place": {
                "at": [round((room[0] + room[1]) / 2, 1), 0.0], "rotate": turn, "width": wide}})
        inlay["place"] |= places[0]["place"]
        inlay["also"] = places[1:]


def _rounder(chance: Chance, cutters: dict[str, dict[str, Any]], tables: dict[str, Any]) -> None:
    """Now and then a ball end roughs."""
    if "rough" in tables["surface"] and chance.now_and_then(0.2):
        tables["surface"]["rough"] = _cutter(cutters, chance, "ball-end", chance.one(3.0, 4.0, 5.0, 8.0))


def _blunter(chance: Chance, cutters: dict[str, dict[str, Any]], tables: dict[str, Any]) -> None:
    """Now and then a blunt v in the pockets, or a thin one whose cone is no higher than they are deep."""
    for inlay in tables.get("inlay", []):
        for nth, name in enumerate(inlay["cutters"]):
            if cutters[name]["shape"] == "v" and chance.now_and_then(0.4):
                angle, diameter = chance.one(60.0, 90.0, 120.0, 140.0), chance.one(2.0, 3.0, 6.0)
                own = f"v {angle:g} of {diameter:g}"
                cutters.setdefault(own, cutters[name] | {"name": own, "angle": angle, "diameter": diameter})
                inlay["cutters"][nth] = own


def _icon_alone(
    chance: Chance, drawings: list[Path], room: tuple[float, float, float]
) -> tuple[str, tuple[float, float]]:
    """One icon, as large as the room lets it be; with its size in mm."""
    size = round(min(2 * room[2], room[1] - room[0]), 1)
    return _svg(size, size, _icon(chance.one(*drawings).read_text(), 0.0, 0.0, size)), (size, size)


def _drawn_outline(chance: Chance, long: float, wide: float) -> str:
    """A board's outline with a waist or a belly and round ends; in the middle of a page of the same size."""
    half, bulge = wide / 2 + 1.0, chance.length(-2, 2)
    ends = chance.length(0, 4)
    body = (f'<path d="M0 {ends}Q{long / 2:.2f} {2 * bulge:.2f} {long:.2f} {ends}v{2 * (half - ends):.2f}'
            f'Q{long / 2:.2f} {2 * half - 2 * bulge:.2f} 0 {2 * half - ends:.2f}z"/>')
    return _svg(long, 2 * half, body)


def _mark_places(length: float) -> list[tuple[float, float]]:
    return [(10.0, 5.0), (round(length - 5.0, 1), -5.0), (round(length / 2, 1), 12.0), (round(length / 4, 1), -14.0)]


def _measured(chance: Chance, tables: dict[str, Any], length: float) -> list[dict[str, Any]]:
    """Where three marks or four were found after the work was clamped again, a little turned and moved."""
    turn, by = math.radians(chance.length(-0.3, 0.3, 2)), (chance.length(-2, 2, 2), chance.length(-2, 2, 2))
    places = _mark_places(length)[: chance.one(3, 4)]
    found = [(x * math.cos(turn) - y * math.sin(turn) + by[0], x * math.sin(turn) + y * math.cos(turn) + by[1])
             for x, y in places]
    return [{"at": [*at, 6.0], "found": [round(x, 3), round(y, 3), 6.02]}
            for at, (x, y) in zip(places, found, strict=True)]


def _moved(
    chance: Chance, cutters: dict[str, dict[str, Any]], tables: dict[str, Any], length: float
) -> None:
    """Work that was clamped again before one of its programs, on shims or chips: turned and tilted too."""
    tables.setdefault("marks", {"cutter": _cutter(cutters, chance, "v", 90.0)})
    # with those that there are for sure: no finer cutter of an inlay, which may have nothing to do
    programs = (sum(name in tables for name in ("marks", "surface", "holes", "nut", "slots", "slots", "outline"))
                + ("rough" in tables["surface"]) + len(tables.get("inlay", ())))
    tables["moved"] = {"limit": 0.2, "board_limit": 1.0, "accuracy": 0.01, "before": min(chance.whole(2, 5), programs)}
    if "slots" in tables:
        tables["slots"] |= {"bevel": 0.2, "bevel_cutter": _cutter(cutters, chance, "v", 90.0)}
    for cutter in cutters.values():
        if cutter["shape"] == "flat-end" and chance.now_and_then(0.3):
            cutter["plunges"] = False
    for one in (tables[name] for name in ("nut", "slots") if name in tables):
        one |= {} if cutters[one["cutter"]].get("plunges", True) else {"entry": "ramp"}
    long, wide = length + 100.0, tables["stock"]["width"]
    turn, roll, pitch = (chance.rng.uniform(-1, 1) * most for most in (0.02, 1.5 / wide, 1.5 / long))
    lift = abs(roll) * wide + abs(pitch) * long  # no corner of it has sunk into the bed
    at = np.array([(*place, 6.0) for place in _mark_places(length)[: chance.one(3, 4, 4)]])
    by = [chance.length(-2, 2, 2), chance.length(-2, 2, 2), lift]
    found = Rotation.from_euler("ZXY", (turn, roll, pitch)).apply(at) + by
    tables["measured"] = [{"at": one, "found": other}
                          for one, other in zip(at.tolist(), found.round(3).tolist(), strict=True)]


def _lines(chance: Chance, wide: float, most: float, cutter: float) -> str:
    """Strokes about as wide as a cutter, some narrower than it: only a finer or pointed one opens these."""
    high = round(min(0.5 * wide, most), 1)
    strokes = "".join(
        f'<path d="M{0.1 * wide:.2f} {y:.2f}q{0.4 * wide:.2f} {chance.length(-8, 8)} {0.8 * wide:.2f} 0" '
        f'stroke-width="{cutter * share:.3f}" stroke-linecap="{chance.one("round", "butt")}"/>'
        for y, share in zip(np.linspace(0.2, 0.8, 4) * high, (chance.length(0.7, 1), 1.0, 1.2, 2.0), strict=True))
    return _svg(wide, high, f'<g fill="none" stroke="#225577">{strokes}</g>')


def _two_colours(chance: Chance, high: float, wide: float) -> str:
    """One shape upon another, of another colour; or two side by side that touch."""
    x, y, r = wide / 2, high / 2, 0.45 * high
    under = f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{r:.2f}"/>'
    upon = _shape(chance, x, y, 0.55 * r).replace("#225577", "#aa4422")
    beside = f'<rect x="{x:.2f}" y="{y - 0.7 * r:.2f}" width="{1.6 * r:.2f}" height="{1.4 * r:.2f}"/>'
    return _svg(wide, high, under + f'<g fill="#aa4422">{chance.one(upon, beside)}</g>')


def _drawing(chance: Chance, room: tuple[float, float, float]) -> tuple[str, tuple[float, float]]:
    """A drawing of our own that fits the room: a few shapes side by side; with its size in mm."""
    high = round(min(2 * room[2], 26.0), 1)
    high = min(high, round(room[1] - room[0], 1))
    cell, count = high, max(1, min(chance.whole(1, 4), int((room[1] - room[0]) / high)))
    parts = [_shape(chance, (i + 0.5) * cell, high / 2, 0.42 * cell) for i in range(count)]
    return _svg(count * cell, high, "".join(parts)), (round(count * cell, 1), high)


def _shape(chance: Chance, x: float, y: float, r: float) -> str:
    """One shape about (x, y): dot, ring, star, comb, stroke, letter or lump."""
    kind = chance.one("dot", "ring", "star", "comb", "stroke", "letter", "lump", "dots")
    if kind == "dot":
        return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{r * chance.length(0.4, 1):.2f}"/>'
    if kind == "dots":
        return "".join(f'<circle cx="{x + a * r:.2f}" cy="{y + b * r:.2f}" r="{0.2 * r:.2f}"/>'
                       for a in (-0.6, 0, 0.6) for b in (-0.6, 0, 0.6))
    if kind in ("ring", "stroke", "letter"):
        width = chance.length(2.1, 3.0)
        ends = chance.one("round", "butt", "square")
        shape = {"ring": f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{0.7 * r:.2f}"',
                 "stroke": f'<path d="M{x - 0.8 * r:.2f} {y:.2f}q{0.8 * r:.2f} {-1.4 * r:.2f} {1.6 * r:.2f} 0"',
                 "letter": f'<path d="M{x - 0.6 * r:.2f} {y + 0.7 * r:.2f}V{y - 0.7 * r:.2f}h{0.9 * r:.2f}'
                           f'm{-0.9 * r:.2f} {0.7 * r:.2f}h{0.7 * r:.2f}"'}[kind]
        return (f'{shape} fill="none" stroke="#225577" stroke-width="{width}" stroke-linecap="{ends}" '
                f'stroke-linejoin="{chance.one("round", "miter", "bevel")}"/>')
    if kind == "comb":
        teeth = "".join(f"v{-1.2 * r:.2f}h{0.25 * r:.2f}v{1.2 * r:.2f}h{0.2 * r:.2f}" for _ in range(4))
        return f'<path d="M{x - 0.9 * r:.2f} {y + 0.4 * r:.2f}{teeth}v{0.5 * r:.2f}h{-1.8 * r:.2f}z"/>'
    corners = 2 * chance.whole(4, 7) if kind == "star" else chance.whole(5, 12)
    inner = chance.length(0.4, 0.7, 2)
    radii = [r if i % 2 == 0 else inner * r for i in range(corners)] if kind == "star" else [
        r * chance.length(0.6, 1, 2) for _ in range(corners)]
    turns = [2 * math.pi * i / corners for i in range(corners)]
    points = " ".join(f"{x + q * math.cos(a):.2f},{y + q * math.sin(a):.2f}" for a, q in zip(turns, radii, strict=True))
    return f'<polygon points="{points}"/>'


def _svg(width: float, height: float, body: str) -> str:
    return (f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
            f'viewBox="0 0 {width:.2f} {height:.2f}" fill="#225577">{body}</svg>')


def _icons(chance: Chance, drawings: list[Path], room: tuple[float, float, float]) -> tuple[str, tuple[float, float]]:
    """One icon, a row of up to twelve or a grid of up to sixty, as large as the room lets them be."""
    along, across = chance.one((1, 1), (12, 1), (20, 3))
    high = 2 * room[2]
    cell = max(min(high / across, (room[1] - room[0]) / along), 8.0)
    along, across = max(1, min(along, int((room[1] - room[0]) / cell))), max(1, min(across, int(high / cell)))
    body = "".join(_icon(chance.one(*drawings).read_text(), (i + 0.05) * cell, (j + 0.05) * cell, 0.9 * cell)
                   for i in range(along) for j in range(across))
    return _svg(along * cell, across * cell, body), (round(along * cell, 1), round(across * cell, 1))


def _icon(text: str, x: float, y: float, size: float) -> str:
    """An SVG file's drawing as an inner picture of that size at (x, y)."""
    head = re.search(r"<svg\b[^>]*>", text)
    assert head, "the file holds no <svg>"
    kept = re.sub(r'\s(?:width|height|x|y|xmlns|class)="[^"]*"', " ", head[0][4:-1]).replace("currentColor", "#225577")
    body = text[head.end() : text.rindex("</svg>")].replace("currentColor", "#225577")
    return f'<svg x="{x:.2f}" y="{y:.2f}" width="{size:.2f}" height="{size:.2f}" {kept}>{body}</svg>'


def _toml(tables: dict[str, Any], *, inches: bool, top: dict[str, Any] | None = None) -> str:
    """The tables as TOML, after keys that stand before any; in inches every length and feed is turned into them."""
    lines = [f'units = "{"in" if inches else "mm"}"', *(f"{k} = {_value(k, v, False)}" for k, v in (top or {}).items())]
    for name, table in tables.items():
        head = head_of(name)
        for each in table if isinstance(table, list) else [table]:
            lines.append(head)
            lines += [f"{key} = {_value(f'{head} {key}', value, inches)}" for key, value in each.items()]
    return "\n".join(lines) + "\n"


LENGTHS = {f"{row.table} {row.key}" for row in key_rows() if "length" in row.holds}


def _value(key: str, value: Any, inches: bool) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(f'{key} {k}', v, inches)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(key, v, inches) for v in value) + "]"
    if inches and key in LENGTHS:
        return f"{value / 25.4:.9f}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def ending(
    folder: Path, *, resolution: float = 0.1, texts: Path | None = None, cell: float | None = None,
    made: list[Any] | None = None, beside: bool = False, asks: bool = False,
) -> Ending:
    """Builds the job of a folder in this process; with `texts` its programs are written there when it passes.

    With `cell` what passes is cut again on a grid of so many mm; `beside` builds what the job asks for beside its part
    too, and all pages; `asks` runs the commands that build nothing of it too. Builds are put into the list `made`.
    """
    import pathgen

    start = time.perf_counter()
    warnings.simplefilter("error")  # one that reaches the maker's terminal is a fault
    try:
        kind, message = "built", ""
        for result in _builds(pathgen.load_job(folder / "job.toml"), resolution, beside=beside):
            if made is not None:
                made.append(result)
            forbidding = [f for f in result.verification.findings if f.severity == "forbid"]
            if forbidding:
                kind, message = "refused by its own check", "\n".join(map(str, forbidding))
            elif cell is not None and (found := cut_again(result, cell=cell)):
                kind, message = "cut too deep", "\n".join(found)
            if texts is not None and not forbidding:
                result.write(texts)
            if beside:
                result.files(shaded=False)
        if asks and (faults := _faults_of_commands(folder)):
            kind, message = "crashed", faults
    except pathgen.PathgenError as error:
        kind, message = "refused", str(error)
    except Exception:
        kind, message = "crashed", traceback.format_exc()
    return Ending(kind, message, time.perf_counter() - start)


def _faults_of_commands(folder: Path) -> str:
    """What the commands said that ended in a fault of the program, those that a build has no part in."""
    from pathgen.app.cli import main as pathgen

    said = []
    for command in ("show", "frets", "strings", "fretting", "neck", "reach", "compare", "coupon"):
        out = io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out), contextlib.chdir(folder):
            pathgen([command, "job.toml", *(["--out", "test-piece"] if command == "coupon" else [])])
        if "a fault of the program" in out.getvalue():
            said.append(f"{command}: {out.getvalue().strip().splitlines()[-1]}")
    return "\n".join(said)


def _builds(job: Any, resolution: float, *, beside: bool) -> Iterator[Any]:
    """Of each part that a job makes, and of what it asks for beside it."""
    import pathgen
    from pathgen.app.building import build
    from pathgen.job.form import parts_of

    if job.parts:
        yield from pathgen.build_blank(job, resolution=resolution).builds
        return
    yield from (build(part, resolution=resolution) for part in parts_of(job))
    yield from (build(job, clamping=one, resolution=resolution) for one in (clampings_beside(job) if beside else ()))


def clampings_beside(job: Any) -> Iterator[Any]:
    """What a job has tables for beside its part: block, gauges, nut and saddle, side dots, test piece, pieces."""
    from pathgen.job.kinds import KINDS

    asked = {"nut": job.nut_blank or job.saddle_blank, "side-dots": job.side_dots, "block": job.block,
             "gauges": job.gauges, "coupon": job.coupon, "pieces": any(inlay.piece for inlay in job.inlays)}
    return (one for kind in KINDS if asked.get(kind.command) for one in kind.clampings(job, None))


def cut_again(build: Any, *, cell: float) -> list[str]:
    """What the tests' own simulation of a build's programs finds: cuts too deep that are wider than a shaving.

    The grid is no coarser than a fifth of the smallest cutter, and half that where it finds something: the shavings of
    a finishing pass along both walls of a narrow place may each fall on a row of points.
    """
    cell = min(cell, *(program.cutter.diameter / 5 for program in build.programs))
    return _cut_again(build, cell) and _cut_again(build, cell / 2)


def _cut_again(build: Any, cell: float) -> list[str]:
    plan, programs = build.plan.clamping, build.programs
    ridge = max(plan.surfacing.scallop, plan.surfacing.leave_scallop) if plan.surfacing else 0.0
    cuts = []
    for nth, program in enumerate(programs):
        does, cutter = program.step.operation, program.cutter
        last = does.opens is not None and not any(p.step.operation.opens is does.opens for p in programs[nth + 1 :])
        cuts.append(Cut(
            program.operation, program.text, cutter.shape, cutter.diameter, cutter.angle or 90.0,
            limit=does.at_once(cutter) + does.deeper_outside(cutter) + does.over_ridges(cutter, ridge)
            + min(0.05, does.at_once(cutter) / 4),
            overfill=does.opens.overfill if last and does.opens.fill != "none" else None, last=last,
            back=_where_it_lay(plan, program.step),
        ))
    top = float(plan.to_machine(np.array([[0.0, 0.0, plan.stock.thickness]]))[0, 2])
    return [
        f"{program.file_name}: {fall.over:.2f} mm deeper than its stepdown over {fall.width:.2f} mm at {fall.at}"
        for program, fall in zip(programs, deepest_falls(cuts, top=top, cell=cell), strict=True)
        if fall.width > 0.25 * program.cutter.diameter + cell / 2
    ]


def _where_it_lay(clamping: Any, step: Any) -> np.ndarray | None:
    """What turns places of a program for work that has moved into those it had when the first program was run."""
    if clamping.moved_at(step) is None:
        return None
    corners = np.vstack([np.zeros(3), np.eye(3)])  # under the safe height, over which moves are only lifted
    now: np.ndarray = np.column_stack([clamping.to_machine(corners, step), np.ones(4)])
    return np.linalg.solve(now, clamping.to_machine(corners))


def _work(judge: Callable[[Path], Ending], folder: Path, answers: Any) -> None:
    answers.put(judge(folder))


def in_a_process(folder: Path, judge: Callable[[Path], Ending], *, limit: float) -> Ending:
    """How `judge` says that the job of a folder ends, in a process of its own that is ended after `limit` seconds."""
    context = multiprocessing.get_context("fork")
    answers = context.Queue()
    worker = context.Process(target=_work, args=(judge, folder, answers))
    worker.start()
    try:
        return answers.get(timeout=limit)
    except queue.Empty:
        return Ending("too slow", f"no end within {limit:g} s", limit)
    finally:
        worker.terminate()
        worker.join()


def main() -> None:
    """The documented command."""
    from tests.coloured_jobs import coloured_job
    from tests.crowded_jobs import crowded_job
    from tests.key_jobs import grown_job, key_job
    from tests.random_outlines import random_outline
    from tests.random_plates import random_plate
    from tests.random_workpieces import random_workpieces, workpieces_ending
    from tests.steep_jobs import steep_job

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--drawings", type=Path, help="a folder of SVG files, instead of drawings of our own")
    parser.add_argument("--coloured", action="store_true", help="each drawing alone, in its own colours")
    parser.add_argument("--keep", type=Path, help="where jobs that do not build are kept")
    parser.add_argument("--limit", type=float, default=120.0, help="seconds for each job")
    parser.add_argument("--cut-again", type=float, metavar="CELL", help="cut what is built again, on such a grid in mm")
    parser.add_argument("--asks", action="store_true", help="run reach, compare and the other commands on each too")
    parser.add_argument("--small", action="store_true", help="short boards only")
    parser.add_argument("--moved", action="store_true", help="short boards that were clamped again, turned and tilted")
    parser.add_argument("--plates", action="store_true", help="plates and forms instead of boards")
    parser.add_argument("--outlines", action="store_true", help="flat parts of drawn outlines, on tabs")
    parser.add_argument("--keys", action="store_true", help="every key there is, of every table, by chance")
    parser.add_argument("--grown", action="store_true", help="small boards and plates with keys and tables more")
    parser.add_argument("--steep", action="store_true", help="tight radii, drawings out to the edges, pointed cutters")
    parser.add_argument("--crowded", action="store_true", help="many tables in one job")
    parser.add_argument("--workpieces", action="store_true", help="blocks, gauges, nuts and the like of short boards")
    asked = parser.parse_args()
    beside = asked.keys or asked.crowded or asked.grown
    judge = workpieces_ending if asked.workpieces else partial(
        ending, cell=asked.cut_again, beside=beside, asks=asked.asks)
    icons = sorted(asked.drawings.rglob("*.svg")) if asked.drawings else None
    kinds: Counter[str] = Counter()
    causes: Counter[str] = Counter()
    slowest: list[tuple[float, int]] = []
    for seed in range(asked.seed, asked.seed + asked.count):
        with tempfile.TemporaryDirectory() as scratch:
            job = (random_workpieces(seed) if asked.workpieces else
                   key_job(seed) if asked.keys else
                   grown_job(seed, icons) if asked.grown else
                   crowded_job(seed, icons) if asked.crowded else
                   random_outline(seed, icons) if asked.outlines else
                   random_plate(seed) if asked.plates else coloured_job(seed, icons or []) if asked.coloured else
                   steep_job(seed, icons) if asked.steep else
                   random_job(seed, drawings=icons, small=asked.small or asked.moved, moved=asked.moved))
            if asked.cut_again:  # whose reader knows straight moves only
                job = replace(job, toml=job.toml.replace("arcs = true", "arcs = false"))
            end = in_a_process(job.write(Path(scratch)).parent, judge, limit=asked.limit)
        kinds[end.kind] += 1
        slowest = sorted([*slowest, (end.seconds, seed)], reverse=True)[:5]
        if end.kind != "built":
            last = end.message.strip().splitlines()[-1 if end.kind == "crashed" else 0]
            causes[f"{end.kind}: {re.sub(r'-?[0-9.]+', '#', last)[:150]}"] += 1
            print(f"seed {seed}: {end.kind}: {last[:200]}", flush=True)
            if asked.keep:
                job.write(asked.keep / f"{seed:05d}")
                (asked.keep / f"{seed:05d}" / "message.txt").write_text(f"{end.kind}\n{end.message}\n")
    print(", ".join(f"{count} {kind}" for kind, count in kinds.most_common()))
    for cause, count in causes.most_common():
        print(f"{count:4d}  {cause}")
    print("slowest: " + ", ".join(f"{seconds:.1f} s (seed {seed})" for seconds, seed in slowest))


if __name__ == "__main__":
    main()
