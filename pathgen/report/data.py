"""The report as data: what report.json holds. Always millimetres, minutes and degrees."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from pathgen.base.plain import in_json
from pathgen.parts.fingerboard.fretting import FretWire
from pathgen.parts.fingerboard.part import Fingerboard
from pathgen.parts.fingerboard.stringing import Strings
from pathgen.programs.plan import Plan
from pathgen.report.board import dot_rows, fret_rows, plain, string_rows
from pathgen.report.feeding import feed_findings
from pathgen.report.filling import filling_data, filling_findings, inlay_filling
from pathgen.report.fretting import fretting_data, fretting_findings
from pathgen.report.holding import holding_findings
from pathgen.report.letting_in import piece_data
from pathgen.report.programs import Program
from pathgen.report.reaching import idle_findings, reach_data, reach_findings, reach_of_plan
from pathgen.report.stringing import stringing_data
from pathgen.strategies.reach import Reach
from pathgen.strategies.surfacing import least_length
from pathgen.verify import Verification
from pathgen.verify.findings import Finding
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Slot


def report_data(
    planned: Plan, programs: Sequence[Program], checked: Verification, *, fingerprint: str,
    strings: int = 6, side_dots: Sequence[int] = (), wire: FretWire | None = None, set_of: Strings | None = None,
) -> dict[str, Any]:
    """Everything that the report says, as plain values ready for JSON."""
    board, made = planned.clamping.board, planned.clamping.feature(Slot)
    fretted = board if isinstance(board, Fingerboard) else None
    sheet = fretting_data(fretted, made, wire) if fretted and wire else None
    crown = wire.crown.height if wire else None
    reached = reach_of_plan(planned, programs)
    return {
        "title": planned.clamping.title,
        "units": "mm",
        "job_units": planned.clamping.units,
        "job_fingerprint": fingerprint,
        "programs": [_program(p, planned.clamping) for p in programs],
        "minutes": round(sum(p.minutes for p in programs), 2),
        "surface": _surface(planned, programs, checked),
        **board_data(planned.clamping, strings=strings, side_dots=side_dots),
        "inlays": [_inlay(planned, checked, index) for index in range(len(planned.clamping.inlays))],
        "reach": [reach_data(one) for one in reached],
        "fretting": sheet,
        "stringing": stringing_data(fretted, set_of, crown=crown) if fretted and set_of else None,
        "left_out": list(planned.clamping.left_out),
        **filling_data(planned),
        "checks": checks_data(checked, [*plan_findings(planned, checked, reached), *fretting_findings(sheet)]),
    }


def board_data(clamping: Clamping, *, strings: int, side_dots: Sequence[int]) -> dict[str, Any]:
    """The fret table, the surface under each string, places for side dots; of another part its size alone."""
    board = clamping.board
    size = {
        "length": plain(board.length), "thickness": board.surface.thickness,
        "radius_nut": plain(board.surface.radius_nut), "radius_end": plain(board.surface.radius_end),
        "bass_side": board.bass_side,
    }
    if not isinstance(board, Fingerboard):
        return {"frets": [], "board": size, "strings": [], "side_dots": []}
    return {
        "frets": fret_rows(
            board, clamping.feature(Slot), inlays=clamping.inlays, finished=clamping.finished_surface,
            resolution=clamping.machine.resolution,
        ),
        "board": {**size, "behind_nut": plain(board.behind_nut), "binding": board.binding},
        "strings": string_rows(board, strings),
        "side_dots": dot_rows(board, side_dots),
    }


def plan_findings(planned: Plan, checked: Verification, reached: Sequence[Reach]) -> list[Finding]:
    """Warnings and notes about the plan itself, whatever its programs say; no paths are needed."""
    doubts = [Finding(code="doubt", severity="warn" if doubt.grave else "note", where=doubt.where, got=doubt.problem,
                      allowed=doubt.allowed, remedy=doubt.remedy) for doubt in planned.asked.doubts]
    return [
        *doubts, *idle_findings(planned.clamping), *reach_findings(planned.clamping, reached),
        *filling_findings(planned, checked), *feed_findings(planned.clamping), *holding_findings(planned.clamping),
    ]


def checks_data(checked: Verification, more: Sequence[Finding] = ()) -> dict[str, Any]:
    """What verification found, and `more` that was found in the plan."""
    return {
        "passed": checked.passed,
        "surface_low": _round(checked.surface_low),
        "surface_high": _round(checked.surface_high),
        "findings": [
            {"code": f.code, "severity": f.severity, "where": f.where, "got": f.got, "allowed": f.allowed,
             "remedy": f.remedy}
            for f in (*checked.findings, *more)
        ],
    }


def as_json(report: dict[str, Any]) -> str:
    """The report as JSON text; no NaN or infinity ever."""
    return in_json(json.dumps(report, indent=2, ensure_ascii=False, allow_nan=False)) + "\n"


def _program(program: Program, clamping: Clamping) -> dict[str, Any]:
    cutter = program.cutter
    words: dict[str, Any] = {"name": cutter.name, "shape": cutter.shape, "diameter": cutter.diameter}
    if cutter.angle is not None:
        words["angle"] = cutter.angle
    return {
        "order": program.order,
        "file": program.file_name,
        "operation": program.operation,
        "cutter": words,
        "cut_length": _round(program.toolpath.cut_length, 2),
        "rapid_length": _round(program.toolpath.rapid_length, 2),
        "minutes": _round(program.minutes, 2),
        "cutting_minutes": _round(program.times.cutting, 2),
        "rapid_minutes": _round(program.times.rapid, 2),
        # as the program has it: from the zero of the set-up
        "z_min": _round(clamping.to_machine(program.toolpath.points, program.step)[:, 2].min(), 4),
    }


def _surface(planned: Plan, programs: Sequence[Program], checked: Verification) -> dict[str, Any] | None:
    surfacing, finish, board = planned.clamping.surfacing, planned.finish, planned.clamping.board
    if surfacing is None or finish is None:
        return None
    run = np.linalg.norm(np.diff(finish.run, axis=0), axis=1).sum()
    return {
        "scallop_limit": _round(surfacing.scallop, 6),
        "stepover": _round(finish.stepover, 6),
        "passes": len(finish.y),
        "scallop_predicted": _round(finish.scallop, 6),
        "scallop_measured": _round(checked.scallop_measured, 6),
        "cut_length": _round(run, 2),
        "least_length": _round(least_length(board.outline, board.surface, finish.stepover), 2),
        "program": next(p.file_name for p in programs if p.step.operation.finishes),
    }


def _inlay(planned: Plan, checked: Verification, index: int) -> dict[str, Any]:
    inlay, cuts = planned.clamping.inlays[index], planned.pockets[index]
    volume = checked.pockets[index].volume
    proud = inlay.overfill * cuts[-1].opened.area
    return {
        "colours": inlay.colours,
        "depth": inlay.depth,
        "placed": [
            {"width": _round(one.width, 3), "height": _round(one.height, 3), "share_of_drawn": _round(one.share)}
            for one in inlay.placed
        ],
        "area": _round(inlay.area.area, 3),
        "reachable_area": _round(cuts[-1].opened.area, 3),
        "pocket_volume": _round(volume, 3),
        "floor_high": _round(max(cut.ridge for cut in cuts), 3),
        "fill_volume": _round(volume + proud if inlay.fill == "resin" else 0.0, 3),
        **inlay_filling(planned, checked, index),
        **piece_data(planned, index),
    }


def _round(value: float | None, places: int = 5) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), places) + 0.0
