"""Many tables in one job, for `tests.random_jobs`: ``python -m tests.random_jobs --crowded``.

On a short board: a relief or a fall-away, stages of one drawing that touch, more drawings, a channel in the back, work
that has moved and tilted, clamps, a machine hardly larger than the job, tabs of any number and width. Or a plate with
pieces to let in, clamped again. One in three is in inches. With ``--drawings FOLDER`` boards cut those, and stages are
three of them upon each other.
"""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from tests.random_jobs import Chance, RandomJob, _cutter, _icon, _svg, _toml, random_job
from tests.random_plates import random_plate

COLOURS = "#225577", "#aa4422", "#557722"
SETS = ([("flat-end", 2.0), ("flat-end", 0.8)], [("flat-end", 1.0)], [("flat-end", 2.0), ("v", 60.0)],
        [("ball-end", 1.0)])
"""Cutters of a stage."""
FINE = ([("flat-end", 1.0), ("flat-end", 0.3)], [("flat-end", 0.3)], [("flat-end", 1.0), ("v", 60.0)],
        [("ball-end", 0.3)])
"""The same for icons."""

Own = dict[str, Any]


def crowded_job(seed: int, drawings: list[Path] | None = None) -> RandomJob:
    """The board of a seed with much more asked of it, or one time in three a plate."""
    chance = Chance(seed + 40_000_000)
    plate = chance.now_and_then(1 / 3)
    job = next(job for job in (random_plate(n) if plate else random_job(n, small=True, drawings=drawings)
                               for n in range(seed, seed + 10_000_000, 1_000_000))
               if job.toml.startswith('units = "mm"') and "[form]" not in job.toml)
    tables, files = tomllib.loads(job.toml), dict(job.drawings)
    tables.pop("units")
    cutters = {one["name"]: one for one in tables["cutter"]}
    if plate:
        _pieces(chance, tables)
    else:
        _lowered(chance, tables["board"])
        if chance.now_and_then(0.7):
            _stages(chance, tables, files, cutters, fine=bool(drawings))
            if drawings:
                _drawn_stages(chance, files, drawings, tables["inlay"][0]["place"]["width"])
        if chance.now_and_then(0.4):
            _channel(chance, tables, cutters)
    if "outline" in tables and "tabs" in tables["outline"] and chance.now_and_then(0.6):
        tables["outline"] |= {"tabs": chance.whole(0, 9), "tab_width": chance.length(2, 9),
                              "tab_height": chance.length(0.2, 1.4)}
    if chance.now_and_then(0.5):
        _clamps(chance, tables)
    if chance.now_and_then(0.4):
        _moved(chance, tables, cutters)
    if chance.now_and_then(0.4):
        _small_machine(chance, tables)
    tables["cutter"] = list(cutters.values())
    return RandomJob(_toml(tables, inches=chance.now_and_then(1 / 3)), files)


def _lowered(chance: Chance, board: Own) -> None:
    """A relief, a fall-away, or both."""
    for name in ("relief", "fall_away"):
        board.pop(name, None)
    bend = chance.whole(1, board["frets"] - 1)
    if bend > 1 and chance.now_and_then(0.5):
        board["relief"] = {"depth": chance.length(0.05, 0.4, 2), "fret": 1, "to": bend}
    if chance.now_and_then(0.5) and board.get("relief", {"to": bend})["to"] == bend:
        board["fall_away"] = {"drop": chance.length(0.05, 0.5, 2), "fret": bend,
                              "shape": chance.one("straight", "curved")}


def _stages(
    chance: Chance, tables: Own, files: dict[str, str], cutters: dict[str, Own], *, fine: bool = False
) -> None:
    """One drawing of three colours that touch, cut as two inlays or three at one place, with all else as it comes; by
    `FINE` cutters where asked."""
    board, stock = tables["board"], tables["stock"]
    room = stock["length"] - stock["margin_nut"] - 36.0  # of the board
    wide = min(chance.length(14, 24), round(room - 14.0, 1))
    middle = round(room / 2, 1)
    r = wide / 2
    files["s.svg"] = _svg(wide, wide, (
        f'<ellipse cx="{r:.2f}" cy="{r:.2f}" rx="{0.9 * r:.2f}" ry="{0.7 * r:.2f}"/>'
        f'<path d="M{0.2 * r:.2f} {r:.2f}q{0.8 * r:.2f} {chance.length(-0.5, 0.5, 2) * r:.2f} {1.6 * r:.2f} 0'
        f'v{0.4 * r:.2f}h{-1.6 * r:.2f}z" fill="{COLOURS[1]}"/>'
        f'<circle cx="{r:.2f}" cy="{r:.2f}" r="{chance.length(0.2, 0.4, 2) * r:.2f}" fill="{COLOURS[2]}"/>'))
    names = [[_cutter(cutters, chance, *one) for one in sizes] for sizes in (FINE if fine else SETS)]
    colours = chance.one([[COLOURS[0]], [COLOURS[1], COLOURS[2]]], [[COLOURS[1]], [COLOURS[2]], [COLOURS[0]]],
                         [[COLOURS[2], COLOURS[0]], [COLOURS[1]]])
    place = {"at": [middle, chance.length(-3, 3)], "rotate": chance.one(0, 90, 33.0), "width": wide}
    apart = chance.one({}, {"wall": chance.length(0.4, 0.9)}, {"lap": chance.length(0.1, 0.4)})
    stages = [{"artwork": "s.svg", "colours": some, "depth": chance.length(0.6, 1.6), "cutters": chance.one(*names),
               "fill": chance.one("resin", "resin", "resin", "piece" if nth else "resin"),
               "overfill": chance.length(0.4, 1.2), "place": place, "artwork_missing": "report"}
              | ({} if "lap" in apart and nth == len(colours) - 1 else apart)
              for nth, some in enumerate(colours)]
    tables["inlay"] = stages
    if any(cutters[name]["shape"] != "flat-end" for one in stages for name in one["cutters"]):
        tables["surface"].pop("leave", None)
    tables.pop("dots", None)
    if chance.now_and_then(0.5):
        tables["dots"] = {"diameter": chance.length(2, 4), "frets": [board["frets"]], "depth": chance.length(0.5, 1.2),
                          "fill": chance.one("resin", "piece"),
                          "cutters": [_cutter(cutters, chance, "flat-end", 1.0)], "overfill": 0.6}
    tables.setdefault("resurface", {"area": chance.one("board", "inlay"), "stepdown": 0.4,
                                    "skim": chance.one(0.0, 0.0, 0.1)})
    if tables["resurface"]["area"] == "inlay":
        tables["resurface"]["skim"] = 0.0


def _drawn_stages(chance: Chance, files: dict[str, str], drawings: list[Path], wide: float) -> None:
    """The stages' drawing anew: three of a folder's upon each other, as they come, each of one colour."""
    files["s.svg"] = _svg(wide, wide, "".join(
        f'<g color="{colour}" fill="{colour}">{_icon(chance.one(*drawings).read_text(), 0.0, 0.0, wide)}</g>'.replace(
            COLOURS[0], colour) for colour in COLOURS))


def _channel(chance: Chance, tables: Own, cutters: dict[str, Own]) -> None:
    """For the truss rod, from the back, turned over on dowels at both ends."""
    board, stock = tables["board"], tables["stock"]
    long = stock["length"] - stock["margin_nut"]
    tables["holes"] = {"cutter": _cutter(cutters, chance, "flat-end", 3.0), "diameter": chance.one(3.0, 5.0),
                       "at": [[round(6.0 - stock["margin_nut"], 1), 0.0], [round(long - 6.0, 1), 0.0]],
                       **({"through": chance.length(3, 6)} if chance.now_and_then() else {})}
    tables["channel"] = {"cutter": _cutter(cutters, chance, "flat-end", 3.0),
                         "along": [chance.length(4, 10), round(long - 40.0 - chance.length(2, 10), 1)],
                         "depth": chance.length(1.0, 0.4 * board["thickness"]), "across": chance.one(0.0, 2.0),
                         "ends": chance.one("round", "square")}
    tables["channel"]["width"] = chance.one(3.0, 5.0)


def _pieces(chance: Chance, tables: Own) -> None:
    """For the drawings of a plate, with the second cut that levels them."""
    for inlay in tables.get("inlay", []) if "surface" in tables else []:
        inlay |= {"fill": "piece", "overfill": 1.0, "piece": {
            "cutter": inlay["cutters"][-1], "thickness": round(inlay["depth"] + chance.length(0.2, 0.9), 1),
            "gap": chance.one(0.02, 0.05, 0.1), "from_back": chance.now_and_then()}}


def _clamps(chance: Chance, tables: Own) -> None:
    """At the ends of the blank or along its edges, some over the margin, some beside it."""
    stock = tables["stock"]
    near, far, half = -stock["margin_nut"], stock["length"] - stock["margin_nut"], stock["width"] / 2
    high, over = round(stock["thickness"] + chance.length(2, 15), 1), chance.length(0, 4)
    middle = round((near + far) / 2, 1)
    tables["setup"]["keep_out"] = [
        {"along": [round(x0, 1), round(x1, 1)], "across": [round(y0, 1), round(y1, 1)], "height": high}
        for x0, x1, y0, y1 in ((near - 20.0, near + over, -10.0, 10.0), (far - over, far + 20.0, -10.0, 10.0),
                               (middle - 8.0, middle + 8.0, half - over / 2, half + 15.0),
                               (middle - 8.0, middle + 8.0, -half - 15.0, -half + over / 2))
        if chance.now_and_then(0.6)]


def _moved(chance: Chance, tables: Own, cutters: dict[str, Own]) -> None:
    """Work that was clamped again, a little turned and tilted, before one of its programs."""
    stock = tables["stock"]
    if "surface" in tables:
        tables.setdefault("marks", {"cutter": _cutter(cutters, chance, "v", 90.0)})
    programs = (sum(name in tables for name in ("marks", "surface", "nut", "slots", "outline")) +
                len(tables.get("inlay", ())))
    tables["moved"] = {"limit": 0.2, "board_limit": 1.0, "accuracy": 0.01, "before": chance.whole(1, max(1, programs))}
    turn, roll, pitch = (chance.rng.uniform(-1, 1) * most for most in (
        0.02, 1.0 / stock["width"], 1.0 / stock["length"]))
    near, far, half = -stock["margin_nut"], stock["length"] - stock["margin_nut"], stock["width"] / 2
    at = np.array([(near + 4, half - 4, 6.0), (far - 4, 4 - half, 6.0), (far - 4, half - 4, 6.0), (near + 4, 0, 6.0)])
    lift = abs(roll) * 3 * stock["width"] + abs(pitch) * 2 * stock["length"]
    by = [chance.length(-2, 2, 2), chance.length(-2, 2, 2), lift]
    found = Rotation.from_euler("ZXY", (turn, roll, pitch)).apply(at) + by
    tables["measured"] = [{"at": one, "found": other}
                          for one, other in zip(at.round(3).tolist(), found.round(3).tolist(), strict=True)]


def _small_machine(chance: Chance, tables: Own) -> None:
    """That hardly reaches round the blank, now and then not quite; its spindle has the speeds that are asked for."""
    stock, along = tables["stock"], tables["setup"]["along"]
    reach = [round(stock["length"] + chance.length(-10, 20), 1), round(stock["width"] + chance.length(-5, 20), 1)]
    tables["machine"] |= {"travel": [*(reach if along == "x" else reach[::-1]), chance.one(40.0, 60.0, 80.0)],
                          "spindle": [8000, 24000]}
