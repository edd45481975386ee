"""The report in words: report.txt, and what the terminal shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pathgen.report.filltext import fill_lines
from pathgen.report.tables import table
from pathgen.units import format_length


def report_text(report: dict[str, Any], units: str) -> str:
    """The whole report as plain text, in the job's units."""
    parts = [
        [report["title"], "=" * len(report["title"]), ""],
        summary_lines(report, units),
        fill_lines(report, units),
        ["", "Frets", ""],
        fret_lines(report["frets"], units),
        ["", "Checks", ""],
        finding_lines(report["checks"]),
    ]
    return "\n".join(line for part in parts for line in part) + "\n"


def summary_lines(report: dict[str, Any], units: str) -> list[str]:
    """Programs, surface and fills."""
    rows = [
        [str(p["order"]), p["file"], f"{p['cut_length'] / 1000:.1f} m", f"{p['minutes']:.1f} min"]
        for p in report["programs"]
    ]
    lines = table(["", "program", "cutting", "time"], rows, right=(0, 2, 3))
    lines += ["", f"In all about {report['minutes']:.0f} minutes at the machine."]
    lines += _surface_lines(report["surface"], units)
    lines += [_inlay_line(number, inlay) for number, inlay in enumerate(report["inlays"], 1)]
    return lines + [f"Left out: {words}" for words in report["left_out"]]


def fret_lines(frets: Sequence[dict[str, Any]], units: str) -> list[str]:
    """The fret table: distances from the nut and where each fret meets the edges of the cut board."""
    def pair(point: Sequence[float]) -> str:
        return ", ".join(format_length(v, units, decimals={"mm": 3, "in": 4}[units]) for v in point)

    rows = [
        [str(f["fret"]), format_length(f["distance"], "mm"), format_length(f["distance"], "in"), pair(f["bass"]),
         pair(f["treble"])]
        for f in frets
    ]
    return table(["fret", "from nut", "from nut", "bass edge X, Y", "treble edge X, Y"], rows, right=(0, 1, 2, 3, 4))


def finding_lines(checks: dict[str, Any]) -> list[str]:
    """What verification found, the grave first."""
    order = {"forbid": 0, "warn": 1, "note": 2}
    words = {"forbid": "DO NOT CUT", "warn": "warning", "note": "note"}
    lines = []
    for f in sorted(checks["findings"], key=lambda f: order[f["severity"]]):
        allowed = f" (allowed: {f['allowed']})" if f["allowed"] else ""
        lines.append(f"{words[f['severity']]}: {f['where']}: {f['got']}{allowed}. {f['remedy']}")
    verdict = "Verified: the programs, read back and simulated, cut the part as asked."
    return lines + [verdict if checks["passed"] else "Not verified: these programs must not be cut."]


def _surface_lines(surface: dict[str, Any] | None, units: str) -> list[str]:
    if surface is None:
        return []

    def um(value: float | None) -> str:
        return "not measured" if value is None else f"{value * 1000:.1f} um"

    return [
        f"Surface: {surface['passes']} passes, {format_length(surface['stepover'], units)} apart; ridges "
        f"{um(surface['scallop_measured'])} in the simulation, {um(surface['scallop_predicted'])} by the formula, "
        f"{um(surface['scallop_limit'])} allowed."
    ]


def _inlay_line(number: int, inlay: dict[str, Any]) -> str:
    share = 100.0 * inlay["reachable_area"] / inlay["area"]
    fill = f", fill {inlay['fill_volume'] / 1000:.2f} ml" if inlay["fill_volume"] else ""
    return (
        f"Inlay {number} ({', '.join(inlay['colours'])}): {inlay['area']:.0f} mm2, {share:.1f} % of it within reach "
        f"of the cutters; pocket {inlay['pocket_volume'] / 1000:.2f} ml{fill}."
    )
