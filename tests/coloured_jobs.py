"""Boards with a drawing of many colours, for `tests.random_jobs`: ``... --drawings FOLDER --coloured``.

One whole drawing of the folder lies on the board of a seed as one inlay, or as two or three that are cut, filled and
levelled one after the other, each of some of its colours; with walls, laps and backgrounds now and then.
"""

import tempfile
import tomllib
from pathlib import Path
from typing import Any

import pathgen
from tests.random_jobs import Chance, RandomJob, _icon, _svg, _toml, random_job

MOST = 12
"""Colours of a drawing that are cut: one with more keeps those that are seen most of."""


def coloured_job(seed: int, drawings: list[Path]) -> RandomJob:
    """The job of a seed, whose icons one drawing in its own colours takes the place of."""
    chance = Chance(seed + 20_000_000)
    job = random_job(seed, drawings=drawings)
    tables = tomllib.loads(job.toml)
    inches = tables.pop("units") == "in"
    (inlay,) = tables["inlay"]
    inlay.pop("also", None)
    text, colours = next(found for found in iter(lambda: _whole(chance.one(*drawings)), None) if len(found[1]) > 1)
    board = tables["board"]
    wide = round(board["nut_width"] - (8.0 / 25.4 if inches else 8.0), 4)
    inlay["place"] = {"at": inlay["place"]["at"], "rotate": chance.one(0, 90, 180), "width": wide,
                      "mirror": inlay["place"].get("mirror", False)}
    tables["inlay"] = _stages(chance, inlay, colours, 1 / 25.4 if inches else 1.0)
    _twice(Chance(seed + 21_000_000), tables["inlay"], wide)
    if len(tables["inlay"]) > 1 or chance.now_and_then(0.8):
        for each in tables["inlay"]:
            each["fill"] = "resin"
    return RandomJob(_written(tables, inches), {**job.drawings, "a0.svg": text})


def _whole(drawing: Path) -> tuple[str, list[str]]:
    """A drawing 40 mm wide and its colours, those that are seen most of first; none of one that cannot be read."""
    text = _svg(40.0, 40.0, _icon(drawing.read_text(), 0.0, 0.0, 40.0))
    with tempfile.TemporaryDirectory() as scratch:
        file = Path(scratch) / "a.svg"
        file.write_text(text)
        try:
            regions = pathgen.read_artwork(file, missing="report").regions
        except pathgen.PathgenError:  # what is read of drawings is for the fuzzer
            return text, []
    return text, [region.colour for region in sorted(regions, key=lambda region: -region.polygon.area)][:MOST]


def _stages(chance: Chance, inlay: dict[str, Any], colours: list[str], mm: float) -> list[dict[str, Any]]:
    """The inlay as one to three, each of some of the colours; as one also with a wall between them."""
    count = min(chance.one(1, 1, 2, 2, 3), len(colours))
    if count == 1:
        apart = {"wall": chance.length(0.4, 1.0) * mm} if chance.now_and_then(0.7) else {}
        ground = {"background": [chance.one(*colours)]} if chance.now_and_then(0.2) else {}
        return [inlay | {"colours": [c for c in colours if c not in ground.get("background", ())]} | apart | ground]
    turn = chance.whole(0, count - 1)
    lap = {"lap": chance.one(0.2, 0.5) * mm} if chance.now_and_then(0.4) else {}
    return [inlay | {"colours": colours[(nth + turn) % count :: count]} | (lap if nth < count - 1 else {})
            for nth in range(count)]


def _twice(chance: Chance, stages: list[dict[str, Any]], wide: float) -> None:
    """Now and then the drawing a second time, further down the board, poured with the first in every stage."""
    if not chance.now_and_then(0.25):
        return
    place = stages[0]["place"]
    (x, y), apart = place["at"], round(wide * chance.one(1.05, 1.1, 1.3), 4)
    for each in stages:
        each["place"] = place | {"at": [round(x - apart / 2, 4), y]}
        each["also"] = [{"artwork": each["artwork"], "place": place | {
            "at": [round(x + apart / 2, 4), y], "rotate": (place["rotate"] + 180) % 360}}]


def _written(tables: dict[str, Any], inches: bool) -> str:
    """As TOML again; numbers of a job in inches are in inches already."""
    text = _toml(tables, inches=False)
    return text.replace('units = "mm"', 'units = "in"', 1) if inches else text
