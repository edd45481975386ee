"""The report as data: what report.json holds. Always millimetres, minutes and degrees."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np

from pathgen.base import overlay
from pathgen.base.markup import as_table
from pathgen.base.plain import in_json, rounded
from pathgen.base.units import volume_words
from pathgen.programs.plan import Plan
from pathgen.report.budget import budget_data
from pathgen.report.feeding import feed_findings, flute_findings, layer_findings
from pathgen.report.fill_findings import filling_findings
from pathgen.report.filling import filling_data, floor_high, inlay_filling, measure_of
from pathgen.report.fitting import cutter_lengths
from pathgen.report.fretting import fretting_findings
from pathgen.report.holding import holding_findings, last_lap_findings, standing_out_findings
from pathgen.report.letting_in import piece_data
from pathgen.report.neck import neck_findings
from pathgen.report.out_of_reach import (
    CUT_AWAY,
    MUCH_CLOSED,
    depth_findings,
    idle_findings,
    little_findings,
    reach_findings,
)
from pathgen.report.placed import placed_sizes
from pathgen.report.programs import Program
from pathgen.report.reaching import cut_later, reach_data, reach_of_plan
from pathgen.report.saving import fewer_minutes, saved_by_leave
from pathgen.report.wood_left import both_sides_data, thin_wood_findings
from pathgen.report.zero import zero_findings, zero_rows
from pathgen.strategies.reach import Reach, seen
from pathgen.strategies.surfacing import surface_area
from pathgen.verify import Verification
from pathgen.verify.findings import Finding
from pathgen.verify.loads import Load
from pathgen.work.clamping import Clamping, Step


class Report(dict[str, Any]):
    """What report.json holds; shows the main figures as a table in a notebook."""

    def _repr_html_(self) -> str:
        rows = [("program", "cutter", "cutting", "time")]
        rows += [(p["file"], p["cutter"]["name"], f"{p['cut_length'] / 1000:.2f} m", f"{p['minutes']:.1f} min")
                 for p in self["programs"]]
        rows.append(("in all", "", "", f"{self['minutes']:.0f} min"))
        if surface := self["surface"]:
            rows.append(("ridges", f"{surface['scallop_measured']} mm", f"allowed {surface['scallop_limit']} mm",
                         f"{surface['passes']} passes"))
        rows += [(f"inlay {number}", f"{inlay['depth']:g} mm deep", f"{inlay['reachable_area']:.1f} mm2 opened",
                  f"{volume_words(inlay['fill_volume'])} of fill") for number, inlay in enumerate(self["inlays"], 1)]
        checks = self["checks"]
        rows.append(("checks", "passed" if checks["passed"] else "do not cut", "", ""))
        rows += [(f["severity"], f["where"], f["got"], f["remedy"]) for f in checks["findings"]]
        return as_table(rows)


def report_data(planned: Plan, programs: Sequence[Program], checked: Verification, *, fingerprint: str) -> Report:
    """Everything that the report says, as plain values ready for JSON."""
    part = part_data(planned.clamping)
    with planned.around.remembering():  # the last of the sets is what all the cutters open
        reached = reach_of_plan(planned, programs)
    more = [*plan_findings(planned, checked, reached), *fretting_findings(part["fretting"]),
            *neck_findings(part["neck"], planned.clamping.units)]
    placed = ("frets", "board", "strings", "side_dots", "fretting", "stringing", "neck")  # each where it stands below
    more_of_part: dict[str, Any] = {key: value for key, value in part.items() if key not in placed}
    return Report({
        "title": planned.clamping.title,
        "part": planned.clamping.board.names.part,
        "units": "mm",
        "job_units": planned.clamping.units,
        "job_fingerprint": fingerprint,
        "programs": [_program(p, planned.clamping) | _load(checked.loads.get(p.order), p.step, planned.clamping)
                     for p in programs],
        "cutters": cutter_lengths(planned),
        "minutes": round(sum(p.minutes for p in programs), 2),
        **_left(programs, planned.clamping),
        **({"not_cut": list(planned.asked.not_cut)} if planned.asked.not_cut else {}),
        "fewer_minutes": fewer_minutes(planned, programs),
        "saved_by_leave": saved_by_leave(planned, programs),
        "surface": _surface(planned, programs, checked),
        "both_sides": both_sides_data(planned.clamping, checked),
        **{key: part[key] for key in ("frets", "board", "strings", "side_dots")},
        "inlays": [_inlay(planned, checked, index, one) for index, one in enumerate(reached)],
        "budget": budget_data(planned.clamping, part["frets"]),
        "zero_checks": zero_rows(programs, planned.clamping.units),
        "reach": [reach_data(one) for one in reached],
        "fretting": part["fretting"],
        "stringing": part["stringing"],
        **more_of_part,
        "neck": part["neck"],
        "left_out": list(planned.clamping.left_out),
        **filling_data(planned),
        "checks": checks_data(checked, more),
    })


def part_data(clamping: Clamping) -> dict[str, Any]:
    """What a part says of itself, and its size; tables that it does not have are empty."""
    part, own = clamping.board, clamping.board.rows(clamping)
    size = {
        "length": rounded(part.length), "thickness": part.surface.thickness,
        "radius_nut": rounded(part.surface.radius_nut), "radius_end": rounded(part.surface.radius_end),
    }
    none: dict[str, Any] = {"frets": [], "strings": [], "side_dots": [], "fretting": None, "stringing": None,
                            "neck": None}
    return none | own | {"board": size | own.get("board", {})}


def plan_findings(planned: Plan, checked: Verification, reached: Sequence[Reach]) -> list[Finding]:
    """Warnings and notes about the plan itself, whatever its programs say; no paths are needed."""
    return [
        *_doubts(planned), *idle_findings(planned.clamping), *little_findings(planned),
        *reach_findings(planned.clamping, reached, planned.asked.cutters),
        *depth_findings(planned.clamping, checked.pockets),
        *filling_findings(planned, checked, reached), *zero_findings(planned), *feed_findings(planned.clamping),
        *layer_findings(planned.clamping), *flute_findings(planned.clamping), *holding_findings(planned.clamping),
        *last_lap_findings(planned.clamping),
        *thin_wood_findings(planned.clamping, [one.open for one in reached]),
        *standing_out_findings(planned.clamping, checked.programs),
    ]


def _doubts(planned: Plan) -> Iterator[Finding]:
    """What was doubted as the job was read, but of drawings that have been cut already."""
    cut = {inlay.name for inlay in planned.clamping.inlays if planned.clamping.cut_before(inlay)}
    for doubt in planned.asked.doubts:
        key = re.match(r"inlay \d+\b(?!\()", doubt.where)
        if not key or key[0] not in cut or "overfill" in doubt.where:
            code = MUCH_CLOSED if doubt.closed else CUT_AWAY if doubt.beside else "doubt"
            yield Finding(code=code, severity="warn" if doubt.grave else "note",
                          where=doubt.where, got=doubt.problem, allowed=doubt.allowed, remedy=doubt.remedy)


def checks_data(checked: Verification, more: Sequence[Finding] = ()) -> dict[str, Any]:
    """What verification found, and `more` that was found in the plan."""
    return {
        "passed": checked.passed,
        "surface_low": rounded(checked.surface_low),
        "surface_high": rounded(checked.surface_high),
        "findings": finding_rows((*checked.findings, *more)),
    }


def of_all_parts(checks: Sequence[dict[str, Any]]) -> dict[str, float | None]:
    """How far off their surfaces several parts are at most, from what was found of each; None where none is cut."""
    low, high = ([one[key] for one in checks if one[key] is not None] for key in ("surface_low", "surface_high"))
    return {"surface_low": min(low, default=None), "surface_high": max(high, default=None)}


def finding_rows(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    """Each as plain words by name."""
    return [dict(vars(finding)) for finding in findings]


def with_findings(report: dict[str, Any], more: Iterable[Finding]) -> dict[str, Any]:
    """A report, of its own type, with more findings, but for those that it has already."""
    checks = report["checks"]
    rows = [row for row in finding_rows(more) if row not in checks["findings"]]
    return type(report)(report | {"checks": checks | {"findings": [*checks["findings"], *rows]}})


def as_json(report: dict[str, Any]) -> str:
    """The report as JSON text; no NaN or infinity ever."""
    return in_json(json.dumps(report, indent=2, ensure_ascii=False, allow_nan=False)) + "\n"


def _program(program: Program, clamping: Clamping) -> dict[str, Any]:
    cutter = program.cutter
    words: dict[str, Any] = {"name": cutter.name, "shape": cutter.shape, "diameter": cutter.diameter}
    if cutter.angle is not None:
        words["angle"] = cutter.angle
    return {
        **program.step.numbers,
        "file": program.file_name,
        "operation": program.operation,
        "cutter": words,
        "cut_length": rounded(program.toolpath.cut_length if program.step.operation.spins else 0.0, 2),
        "rapid_length": rounded(program.toolpath.rapid_length, 2),
        "minutes": rounded(program.minutes, 2),
        "cutting_minutes": rounded(program.times.cutting, 2),
        "rapid_minutes": rounded(program.times.rapid, 2),
        # as the program has it: from the zero of the set-up
        "z_min": rounded(clamping.to_machine(program.toolpath.points, program.step)[:, 2].min(), 4),
    }


def _left(programs: Sequence[Program], clamping: Clamping) -> dict[str, Any]:
    """Where to go on when the work has moved, and the minutes left from there; nothing where it has not."""
    left = [p for p in programs if not clamping.done(p.step)]
    if len(left) == len(programs):
        return {}
    # none is left of a part that is done, while others of its blank go on
    return {"go_on_with": clamping.moved_number, "minutes_left": round(sum(p.minutes for p in left), 2),
            **({"turned_over": True} if clamping.turned_over else {})}


def _load(load: Load | None, step: Step, clamping: Clamping) -> dict[str, Any]:
    """Volume per tooth beside a straight-line cut's; nothing where it was not measured."""
    if load is None:  # too small a cutter for the grid, or none that clears wood
        return {"load": None} if clamping.clears_wood(step) else {}
    return {"load": {"median": rounded(load.median, 2), "high": rounded(load.high, 2),
                     "largest": rounded(load.largest, 2),
                     "angles_deg": [rounded(angle, 1) for angle in load.angles]}}


def _surface(planned: Plan, programs: Sequence[Program], checked: Verification) -> dict[str, Any] | None:
    surfacing, finish, board = planned.clamping.surfacing, planned.around.finish, planned.clamping.board
    if surfacing is None or finish is None:
        return None
    run = np.linalg.norm(np.diff(finish.run, axis=0), axis=1).sum()
    return {
        "scallop_limit": rounded(surfacing.scallop, 6),
        "stepover": rounded(finish.stepover, 6),
        "passes": len(finish.y),
        "scallop_predicted": rounded(finish.scallop, 6),
        "scallop_measured": rounded(checked.scallop_measured, 6),
        "cut_length": rounded(run, 2),
        "least_length": rounded(surface_area(board.outline, board.surface) / finish.stepover, 2),
        "program": next(p.file_name for p in programs if p.step.operation.finishes),
    }


def _inlay(planned: Plan, checked: Verification, index: int, reached: Reach) -> dict[str, Any]:
    inlay, cuts = planned.clamping.inlays[index], planned.pockets[index]
    later = cut_later(planned.clamping, index)
    opened = overlay.intersection(cuts[-1].opened, inlay.shown_area) if inlay.drawn else cuts[-1].opened
    area, reached_area = (seen(shape, later).area for shape in (inlay.shown_area, opened))
    measure = measure_of(checked, index)  # none where not all of it could be simulated
    volume, deepest = (measure.volume, measure.deepest) if measure else (math.nan, math.nan)
    proud = inlay.overfill * cuts[-1].opened.area
    return {
        "colours": inlay.colours,
        "depth": inlay.depth,
        "placed": placed_sizes(inlay),
        "area": rounded(area, 3),
        # with what later inlays cut of it
        "area_cut": rounded(inlay.shown_area.area, 3),
        # a cutter as wide as what it opens takes a little of its walls
        "reachable_area": rounded(min(reached_area, area), 3),
        "pocket_volume": rounded(volume, 3),
        "deepest": rounded(deepest, 3),
        "floor_high": rounded(floor_high(planned, index), 3),
        "round_end": any(cut.cutter.shape == "ball-end" for cut in cuts if len(cut.toolpath.points)),
        "slanting": any(cut.cutter.angle is not None for cut in cuts if len(cut.toolpath.points)),
        "fill_volume": rounded(volume + proud if inlay.fill == "resin" else 0.0, 3),
        **inlay_filling(planned, checked, index, reached),
        **piece_data(planned, index),
    }
