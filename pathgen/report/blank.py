"""Several parts of one blank as data and in words: the programs in the order in which all are run, and the stops."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pathgen.base.plain import capital, in_runs, joined
from pathgen.base.units import format_length, volume_words
from pathgen.report.data import finding_rows, of_all_parts
from pathgen.report.filltext import ONE_BATCH, ONE_BATCH_WORDS, batch_cells, display_lines
from pathgen.report.programs import Program
from pathgen.report.text import finding_lines, go_on_lines, minutes_words, much_less_lines
from pathgen.report.wording import headed, table
from pathgen.verify.findings import Finding

Row = dict[str, Any]
AT_STOPS = {"resin": "fill", "piece": "glue in the pieces"}
"""What is done at a stop, by what its inlays take, in that order."""


def blank_data(
    title: str, units: str, fingerprint: str, parts: Sequence[Row], programs: Sequence[Sequence[Program]],
    together: Sequence[Finding], *, fills: Sequence[Row], origin: Sequence[float], done: Sequence[str] = (),
) -> Row:
    """What report.json holds: `parts` are {name, job, at, turn, report}, each with its own report whole.

    `fills` is what is mixed at each stop; `origin` is where along 0, across 0 of the job lies on the machine, mm;
    `done` are the programs that were run before the blank moved.
    """
    rows = sorted((_row(part, program, number)
                   for number, (part, own) in enumerate(zip(parts, programs, strict=True), 1) for program in own),
                  key=lambda row: row["number"])
    rows = [row | {"done": row["file"] in done,
                   **(_stop_at(row["number"], programs, done) if row["fill_after"] else {})} for row in rows]
    left = [row for row in rows if not row["done"]]
    found = [*findings_of_parts([part["name"] for part in parts],
                                [part["report"]["checks"]["findings"] for part in parts]), *finding_rows(together)]
    return {
        "title": title, "units": "mm", "job_units": units, "job_fingerprint": fingerprint, "programs": rows,
        "minutes": round(sum(row["minutes"] for row in rows), 2),
        # where to go on when the blank has moved, and the minutes left from there
        **({"go_on_with": left[0]["number"], "minutes_left": round(sum(row["minutes"] for row in left), 2)}
           if done else {}),
        "fittings": sum(row["fit"] for row in rows),
        "pours": sum(row["fill_after"] for row in rows),
        "fills": list(fills),
        "origin": list(origin),
        "parts": list(parts),
        "checks": {"passed": not any(f["severity"] == "forbid" for f in found),
                   **of_all_parts([part["report"]["checks"] for part in parts]), "findings": found},
    }


def findings_of_parts(names: Sequence[str], each: Sequence[Sequence[Row]]) -> list[Row]:
    """What was found of each part, by number and name; what several share, and what is of the set-up, once."""
    of_all = [f for f in each[0] if f["where"].startswith(("[setup]", "[machine]"))
              and all(f in others for others in each[1:])]
    return of_all + [
        f | {"where": f"{_parts_words([k for k, others in enumerate(each) if f in others], names)}: {f['where']}"}
        for k, own in enumerate(each) for f in own
        if f not in of_all and not any(f in before for before in each[:k])]


def _parts_words(found: Sequence[int], names: Sequence[str]) -> str:
    """``part 1, lid`` or ``parts 1 and 3, lid-1 and lid-2``."""
    numbers = joined(in_runs([k + 1 for k in found]))
    return f"part{'s' if len(found) > 1 else ''} {numbers}, {joined([names[k] for k in found])}"


def _row(part: Row, program: Program, number: int) -> Row:
    own = next(p for p in part["report"]["programs"] if p["file"] == program.file_name)
    turn = program.step.turn
    assert turn is not None
    return own | {"number": turn.number, "part": number, "name": part["name"], "fit": not turn.stays,
                  "fill_after": turn.fill_after == turn.number}


def _stop_at(number: int, programs: Sequence[Sequence[Program]], done: Sequence[str]) -> Row:
    """What is done at the stop after a program, and for which parts; nothing where all were cut level before a move."""
    level = [id(p.step.operation.levels) for own in programs for p in own if p.file_name in done]
    opened = [(part, p.step.operation.opens) for part, own in enumerate(programs, 1) for p in own
              if p.step.turn is not None and p.step.turn.fill_after == number]
    waiting = [(part, inlay.fill) for part, inlay in opened
               if inlay is not None and inlay.fill != "none" and id(inlay) not in level]
    parts = {what: sorted({part for part, own in waiting if own == fill})
             for fill, what in AT_STOPS.items()}
    each = {what: own for what, own in parts.items() if own}
    return {"stop": ", and ".join(each), "stop_for": sorted({part for part, _ in waiting}), "stop_each": each} \
        if waiting else {}


def blank_summary(report: Row) -> list[str]:
    """The programs of all parts in the order they are run, the cutters to fit, the stops."""
    rows = []
    for row in report["programs"]:
        fit = "done" if row["done"] else "fit " * row["fit"] or "   "
        rows.append([str(row["number"]), f"{fit.strip():3} {row['cutter']['name']}", f"{row['part']} {row['name']}",
                     row["file"], f"{row['minutes']:.1f} min"])
        if "stop" in row:
            rows.append(["", f"STOP{', if not done yet' * row['done']}: {row['stop']}", "", "", ""])
    every = minutes_words(report["minutes"])
    time = f"{capital(minutes_words(report['minutes_left']))} left at the machine, of {every} in all" \
        if "minutes_left" in report else f"In all {every} at the machine"
    return [
        *table(["", "cutter", "part", "program", "time"], rows, right=(0, 4)), "", f"{time}, {fittings_words(report)}.",
        *go_on_lines(report),
        *(f"Part {number}, {part['name']}: {line}" for number, part in enumerate(report["parts"], 1)
          for line in much_less_lines(part["report"])),
    ]


def fittings_words(report: Row) -> str:
    """``a cutter to fit 8 times, 2 stops for fills``; of what is left where the blank has moved."""
    left = [row for row in report["programs"] if not row["done"]]
    fittings, stops = sum(row["fit"] for row in left), [row["stop"] for row in left if "stop" in row]
    what = "for fills and pieces" if any("pieces" in stop for stop in stops) else "for fills"
    pours = f", {len(stops)} stop{'s' if len(stops) > 1 else ''} {what}" if stops else ""
    often = f"a cutter to fit {fittings} times" if fittings > 1 else "1 cutter to fit"
    return f"{often}{pours}"


def origin_words(report: Row) -> str:
    """Where the places of the job are counted from, as the machine shows it."""
    x, y = (format_length(v, report["job_units"]) for v in report["origin"])
    return (f"Places in the job of the blank (at, keep_out): along 0, across 0 lies at X {x}, Y {y}, in the middle of "
            "its width, [stock] margin_nut inside its near end.")


def marks_lines(report: Row) -> list[str]:
    """Where the marks of all parts are, and that a move of the blank holds for all; nothing where there are none."""
    units = report["job_units"]
    marks = [f"Part {number}, {part['name']}: {line}" for number, part in enumerate(report["parts"], 1)
             if part["report"]["marks"] for line in display_lines(part["report"]["marks"], units)]
    return marks and [*marks, (
        "If the blank moves, it moves for all parts: measure the marks of all, and write them into the job of the "
        "common blank, as the sheets of these parts have them under How to measure the marks.")]


def fill_rows(report: Row, after: int) -> tuple[list[str], list[list[str]], list[str]]:
    """What is mixed at the stop after a program, for the parts poured then: head and cells, none without resin, nor
    where some of these parts were cut level before the blank moved."""
    waits = {part for row in report["programs"] if row["number"] == after for part in row.get("stop_for", ())}
    names = [f"{number} {part['name']}" for number, part in enumerate(report["parts"], 1)]
    rows, poured = [], set[int]()
    for fill in report["fills"]:
        if fill["after"] != after or not waits.issuperset(k for one in fill["colours"] for k in one["parts_for"]):
            continue
        poured |= {k for one in fill["colours"] for k in one["parts_for"]}
        if fill["batch"]:
            rows.append([ONE_BATCH, "", volume_words(fill["batch"]["needed_volume"]), *batch_cells(fill["batch"])])
        rows += [[one["colour"], ", ".join(dict.fromkeys(names[k - 1] for k in one["parts_for"])),
                  volume_words(one["needed_volume"]), *batch_cells(one)] for one in fill["colours"]]
    head = ["colour", "for", "needed", "mix", "weighs", "parts"]
    keep = [k for k in range(len(head)) if k < 4 or any(row[k] for row in rows)]
    together = ["Mixed together for all parts that are poured now: what each part's own sheet counts is a batch for "
                "that part alone."]
    notes = [*(together if len(poured) > 1 else []),
             *([ONE_BATCH_WORDS] if any(row[0] == ONE_BATCH for row in rows) else [])]
    return [head[k] for k in keep], [[row[k] for k in keep] for row in rows], notes


def _fill_parts(report: Row) -> Iterator[tuple[str, list[str]]]:
    """What is mixed at each stop, with a head."""
    for row in report["programs"]:
        head, rows, notes = fill_rows(report, row["number"])
        if rows:
            title = f"The fill after program {row['number']}{', if not poured yet' * row['done']}"
            yield title, [*table(head, rows, right=(2, 3)), *notes]


def blank_text(report: Row, part_texts: Sequence[str]) -> str:
    """The whole of report.txt: the run of all programs, then each part's own report."""
    head = [report["title"], "=" * len(report["title"]), "", *blank_summary(report), origin_words(report),
            *headed([*_fill_parts(report), ("Witness marks", marks_lines(report)),
                     ("Checks", finding_lines(report["checks"], report["job_units"]))]), ""]
    return "\n".join(head) + "\n" + "\n\n".join(part_texts)
