"""What else random boards ask for, seeded, for `tests.random_jobs`: ``python -m tests.random_jobs --workpieces``.

Hollow block, gauges, blanks for nut and saddle, side dots, test piece, pieces to let in.
"""

import time
import tomllib
import traceback
import warnings
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from tests.random_jobs import Chance, Ending, RandomJob, _cutter, _toml, random_job


def random_workpieces(seed: int) -> RandomJob:
    """The small board of a seed, with a table for every workpiece beside it."""
    chance, job = Chance(seed + 5_000_000), random_job(seed, small=True)
    tables = tomllib.loads(job.toml)
    units = tables.pop("units")
    if units == "in":  # whose lengths would be new ones in mm
        return random_workpieces(seed + 10_000)
    cutters = {cutter["name"]: cutter for cutter in tables["cutter"]}

    def flat(*sizes: float) -> str:
        return _cutter(cutters, chance, "flat-end", chance.one(*sizes))

    def now_and_then(**keys: Any) -> dict[str, Any]:
        return keys if chance.now_and_then() else {}

    frets = tables["board"]["frets"]
    first = chance.whole(0, frets - 1)
    ball, engraver = (_cutter(cutters, chance, *one) for one in (("ball-end", 8.0, 3.0), ("v", 60.0)))
    tables["block"] = {
        "cutter": ball, "thickness": chance.length(12, 40), "margin": chance.length(6, 20), "scallop": 0.05,
        "least": chance.length(2, 8), **now_and_then(frets=[first, chance.whole(first + 1, frets)]),
        **now_and_then(outline=flat(3.0, 6.0)), **now_and_then(width=chance.length(30, 80)),
    }
    tables["gauges"] = {
        "cutter": flat(1.0, 2.0, 3.0), "thickness": chance.length(1, 6), "height": chance.length(10, 40),
        "tabs": chance.whole(2, 3), "tab_height": chance.length(0.3, 0.9), **now_and_then(along=True),
        **now_and_then(engraver=engraver),
    }
    drill = flat(1.5, 2.0)
    tables["side_dots"] = {"cutter": drill, "depth": chance.length(1, 5),
                           "diameter": round(chance.one(1.0, 1.2, 1.5) * cutters[drill]["diameter"], 2)}
    tables["board"] |= {"side_dots": list(range(1, frets + 1)), "strings": chance.whole(3, 12)}
    for name in ("nut_blank", "saddle_blank"):
        tables[name] = {
            "cutter": flat(1.0, 2.0, 3.0), "thickness": chance.length(2, 7), "height": chance.length(5, 12),
            "overhang": chance.length(0, 5), "tabs": chance.one(0, 2, 2), "tab_height": chance.length(0.3, 1),
            **now_and_then(engraver=engraver),
        }
    tables["coupon"] = now_and_then(thickness=chance.length(5, 15))
    for inlay in tables.get("inlay", []):
        if all(cutters[name]["shape"] == "flat-end" for name in inlay["cutters"]):
            inlay |= {"fill": "piece", "overfill": 1.0, "piece": {
                "cutter": inlay["cutters"][-1], "thickness": round(inlay["depth"] + 0.5, 1),
                "gap": chance.one(0.02, 0.05, 0.1), "from_back": chance.now_and_then()}}
            inlay.pop("resin", None)
    for cutter in cutters.values():
        cutter |= {**now_and_then(ramp=chance.length(1, 20)),
                   **now_and_then(stepdown=round(cutter["stepdown"] * chance.length(0.4, 1.5, 2), 2))}
    tables["cutter"] = list(cutters.values())
    return RandomJob(_toml(tables, inches=False), job.drawings)


def workpieces_ending(folder: Path, *, resolution: float = 0.1, made: list[Any] | None = None) -> Ending:
    """Builds all of them, as `tests.random_jobs.ending` does a job; refused is what none of them can be cut for."""
    import pathgen
    from pathgen.app.building import build

    start, said = time.perf_counter(), []
    warnings.simplefilter("error")
    try:
        job = pathgen.load_job(folder / "job.toml")
        for clampings in _makers(job):
            try:
                builds = [build(job, clamping=one, resolution=resolution) for one in clampings()]
            except pathgen.PathgenError as error:
                said.append(str(error))
            else:
                if made is not None:
                    made += builds
                found = [f for one in builds for f in one.verification.findings if f.severity == "forbid"]
                if found:
                    message = "\n".join(map(str, found))
                    return Ending("refused by its own check", message, time.perf_counter() - start)
        kind = "refused" if len(said) == len(_makers(job)) else "built"
    except pathgen.PathgenError as error:
        kind, said = "refused", [str(error)]
    except Exception:
        kind, said = "crashed", [traceback.format_exc()]
    return Ending(kind, "\n".join(said), time.perf_counter() - start)


def _makers(job: Any) -> list[Callable[[], Iterable[Any]]]:
    """For each workpiece what gives its clampings; it raises where there is none, or it cannot be cut."""
    from pathgen.job.bench import block_clamping, gauge_clampings, side_dot_clamping
    from pathgen.job.coupon import coupon_clamping
    from pathgen.job.nut_and_saddle import nut_and_saddle_clampings
    from pathgen.job.pieces import piece_sheets

    return [lambda: [block_clamping(job, job.block.frets)], lambda: gauge_clampings(job),
            lambda: nut_and_saddle_clampings(job), lambda: [side_dot_clamping(job)], lambda: [coupon_clamping(job)],
            lambda: [sheet.clamping for sheet in piece_sheets(job)]]
