"""Several parts of one blank as data and in words: the programs in the order in which all are run, and the stops."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pathgen.report.data import finding_rows
from pathgen.report.programs import Program
from pathgen.report.tables import table
from pathgen.report.text import finding_lines, minutes_words
from pathgen.verify.findings import Finding

Row = dict[str, Any]


def blank_data(
    title: str, units: str, fingerprint: str, parts: Sequence[Row], programs: Sequence[Sequence[Program]],
    together: Sequence[Finding],
) -> Row:
    """What report.json holds: `parts` are {name, job, at, turn, report}, each with its own report whole."""
    rows = sorted((_row(part, program, number, parts)
                   for number, (part, own) in enumerate(zip(parts, programs, strict=True), 1) for program in own),
                  key=lambda row: row["number"])
    found = [*_findings(parts), *finding_rows(together)]
    return {
        "title": title, "units": "mm", "job_units": units, "job_fingerprint": fingerprint, "programs": rows,
        "minutes": round(sum(row["minutes"] for row in rows), 2),
        "fittings": sum(row["fit"] for row in rows),
        "pours": sum(row["fill_after"] for row in rows),
        "parts": list(parts),
        "checks": {"passed": not any(f["severity"] == "forbid" for f in found), "findings": found},
    }


def _findings(parts: Sequence[Row]) -> list[Row]:
    """What was found of each part; what is said of their common set-up once."""
    each = [part["report"]["checks"]["findings"] for part in parts]
    of_all = [f for f in each[0] if f["where"].startswith("[setup]") and all(f in others for others in each[1:])]
    return of_all + [f | {"where": f"part {number}, {part['name']}: {f['where']}"}
                     for number, (part, own) in enumerate(zip(parts, each, strict=True), 1)
                     for f in own if f not in of_all]


def _row(part: Row, program: Program, number: int, parts: Sequence[Row]) -> Row:
    own = next(p for p in part["report"]["programs"] if p["file"] == program.file_name)
    turn = program.step.turn
    assert turn is not None
    return own | {"number": turn.number, "part": number, "name": part["name"], "fit": not turn.stays,
                  "fill_after": turn.fill_after == turn.number}


def blank_summary(report: Row) -> list[str]:
    """The programs of all parts in the order they are run, the cutters to fit, the stops."""
    rows = []
    for row in report["programs"]:
        cutter = f"fit {row['cutter']['name']}" if row["fit"] else f"    {row['cutter']['name']}"
        rows.append([str(row["number"]), cutter, f"{row['part']} {row['name']}", row["file"],
                     f"{row['minutes']:.1f} min"])
        if row["fill_after"]:
            rows.append(["", "STOP: fill", "", "", ""])
    return [
        *table(["", "cutter", "part", "program", "time"], rows, right=(0, 4)), "",
        f"In all {minutes_words(report['minutes'])} at the machine, {fittings_words(report)}.",
    ]


def fittings_words(report: Row) -> str:
    """How often a cutter is fitted, and a fill poured: ``8 cutters to fit, 2 stops for fills``."""
    pours = f", {report['pours']} stop{'s' if report['pours'] > 1 else ''} for fills" if report["pours"] else ""
    return f"{report['fittings']} cutter{'s' if report['fittings'] > 1 else ''} to fit{pours}"


def blank_text(report: Row, part_texts: Sequence[str]) -> str:
    """The whole of report.txt: the run of all programs, then each part's own report."""
    head = [report["title"], "=" * len(report["title"]), "", *blank_summary(report), "", "Checks", "",
            *finding_lines(report["checks"], report["job_units"]), ""]
    return "\n".join(head) + "\n" + "\n\n".join(part_texts)
