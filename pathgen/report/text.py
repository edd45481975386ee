"""The report in words: report.txt, and what the terminal shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from pathgen.base.cutters import LOAD_FACTOR
from pathgen.base.plain import counted, in_runs, joined, one_line, time_words
from pathgen.base.units import (
    area_words,
    coarse_length,
    fine_length,
    format_length,
    in_units,
    tiny_length,
    tiny_unit_words,
    volume_words,
    way_length,
)
from pathgen.report.board_text import dot_lines, frame_lines, fret_lines, string_lines, stringing_lines, wood_lines
from pathgen.report.budget import budget_lines
from pathgen.report.filltext import fill_parts, thicken_words
from pathgen.report.flat_text import form_lines, hole_part, own_sheet_lines
from pathgen.report.fretting import fretting_lines
from pathgen.report.neck import neck_lines
from pathgen.report.out_of_reach import CUT_AWAY, MUCH_CLOSED, is_reached
from pathgen.report.placed import placed_words
from pathgen.report.programs import number_in
from pathgen.report.saving import ALWAYS_SAID, LEAST_MINUTES, LEAST_SAID, MUCH, MUCH_OF_IT
from pathgen.report.wood_left import between_words, wall_words
from pathgen.report.wording import GRAVE, each_said, finding_line, headed, left_out_lines, table
from pathgen.report.zero import zero_lines
from pathgen.strategies.reach import SMALLEST
from pathgen.verify.findings import EDITED, EXCHANGED, OTHER_JOB, TOO_LONG, rank

_FEW_MINUTES = 3.0  # times under so much are told to a tenth, as tables have them
_MOST_FOLLOWING = 5  # findings listed after those that all the rest likely comes of
_MOST_CLOSED = 3  # warnings of what stays closed that the verdict repeats


def report_text(report: dict[str, Any], units: str) -> str:
    """The whole report as plain text, in the job's units."""
    parts = [
        ("What the pockets' cutters open",
         opened_lines(report["reach"], units, what="pocket" if "coupon" in report else "inlay")),
        ("Zero, checked on the work before each program that a cutter is fitted for",
         zero_lines(report["zero_checks"], units)),
        ("What can be off, and what it does", budget_lines(report["budget"], units)),
        *fill_parts(report, units),
        ("What a tooth takes, in straight-line cuts; and over how many degrees the cutter is in wood",
         load_lines(report["programs"])),
        *(board_parts(report, units) if report["frets"] else ()),
        hole_part(report, units),
        *((head, lines(report[key], units)) for head, key, lines in (
            ("Fretting sheet", "fretting", fretting_lines), ("Nut and saddle", "stringing", stringing_lines),
            ("Neck", "neck", neck_lines)) if report[key]),
        ("Checks", finding_lines(report["checks"], units)),
        (f"The same {report['part']} in fewer minutes",
         saved_lines(report["fewer_minutes"], report["saved_by_leave"] or 0.0)),
    ]
    lines = [report["title"], "=" * len(report["title"]), "", *summary_lines(report, units), *headed(parts)]
    return "\n".join(map(one_line, lines)) + "\n"


def board_parts(report: dict[str, Any], units: str) -> list[tuple[str, list[str]]]:
    """The fret table and what goes with it, each with its head."""
    frets = report["frets"]
    return [("Frets", [*frame_lines(report["board"], units), "", *fret_lines(frets, report["board"]["nut"], units)]),
            ("Widths and wood left", wood_lines(frets, units)),
            ("Strings", string_lines(report["strings"], units)),
            ("Side dots", dot_lines(report["side_dots"], units) if report["side_dots"] else [])]


def summary_lines(report: dict[str, Any], units: str) -> list[str]:
    """Programs, surface and fills."""
    back = report.get("back")
    rows = [[f"{side}{number_in(p)}", p["file"], way_length(p["cut_length"], units), time_words(p["minutes"])]
            for side, programs in (("back ", back["programs"] if back else ()), ("", report["programs"]))
            for p in programs]
    lines = table(["", "program", "cutting", "time"], rows, right=(0, 2, 3))
    minutes = report["minutes"] + (back["minutes"] if back else 0.0)
    lines += ["", f"In all {minutes_words(minutes)} at the machine.", *go_on_lines(report), *not_cut_lines(report)]
    lines += much_less_lines(report) + (much_less_lines(back) if back else [])
    lines += [between_words(report["both_sides"], units)] if report["both_sides"] else []
    lines += form_lines(report, units)
    lines += [] if report.get("holes") else own_sheet_lines(report.get("form"), units)
    lines += _surface_lines(report["surface"], units)
    lines += each_said((inlay["name"], _inlay_words(inlay, units)) for inlay in report["inlays"])
    return lines + left_out_lines(report["left_out"], units)


def much_less_lines(report: dict[str, Any]) -> list[str]:
    """What would save so many minutes, or so much of all, that it is worth a word beside the time of the whole."""
    much = [row for place, row in enumerate(report["fewer_minutes"]) if row["minutes_saved"] >= MUCH or (
        place == 0 and row["minutes_saved"] >= min(max(MUCH_OF_IT * report["minutes"], LEAST_SAID), ALWAYS_SAID))]
    return [f"{row['minutes_saved']:.0f} minutes less with {row['change']}: {row['cost']}." for row in much]


def not_cut_lines(report: dict[str, Any]) -> list[str]:
    """What such a part mostly has cut, and this job does not ask for."""
    return [f"Not cut by these programs: {joined(report['not_cut'])}."] if "not_cut" in report else []


def go_on_lines(report: dict[str, Any]) -> list[str]:
    """Where to go on when the work has moved: programs before that one count as done, which only the maker knows."""
    if "go_on_with" not in report:
        return []
    order = next_program(report)
    if order is None:
        whose, since = ("side", "blank was turned over") if "turned_over" in report else ("part", "work last moved")
        return [f"All programs of this {whose} count as run before the {since}: do not run them again."]
    before = [number for row in report["programs"] if (number := number_in(row)) < order]
    one = len(before) == 1 and "back" not in report
    done = f"{'those of the back and ' * ('back' in report)}program{'s' * (len(before) > 1)} " \
           f"{joined(in_runs(before))} count{'s' * one}"
    whose = " of this part" if "turn" in report["programs"][0] and "parts" not in report else ""
    return [f"Go on with program {order}{whose}, {minutes_words(report['minutes_left'])} from there on: {done} as "
            f"done, do not run {'it' if one else 'them'} again. If {'it was' if one else 'one of them was'} not run to "
            "its end before the marks were measured, or more were, write the number of the first that was not as "
            "[moved] before, and build again. When programs have been run since, leave that number as it is: they are "
            "written for the work as it lies now."]


def next_program(report: dict[str, Any]) -> int | None:
    """The number of the program to be run next; None of a part with none left, while others of its blank go on."""
    return report.get("go_on_with", number_in(report["programs"][0]))


def before_next(report: dict[str, Any]) -> str:
    """When warnings are to be read."""
    number = next_program(report)
    if number is None:
        return f"before you go on with the {'top' if 'turned_over' in report else 'other parts'}"
    return f"before program {number}"


def opened_lines(reached: list[dict[str, Any]], units: str, *, what: str) -> list[str]:
    """What the cutters of each inlay, or `what` else it is, open in how long; the narrowest wood left standing."""
    if not reached:
        return []
    rows, walls = [], []
    for number, inlay in enumerate(reached, 1):
        rows += [
            [str(number), " then ".join(one["cutters"]), f"{100 * one['share']:.1f} %", f"{one['minutes']:.1f} min"]
            for one in inlay["sets"]
        ]
        if wall := inlay["narrowest_wall"]:
            walls.append(f"Narrowest wood between the edges of {what} {number}: "
                         f"{wall_words(wall['width'], wall['at'], units)}")
    return [*table([what, "cutters, one after the other", "opened", "time"], rows, right=(0, 2, 3)), *walls,
            "pathgen reach tries the job's other cutters too, and lists the details that stay closed."]


def load_lines(programs: list[dict[str, Any]]) -> list[str]:
    """How hard the cutters work, beside a straight-line cut at their stepover and stepdown."""
    rows = [[p["file"], *(f"{p['load'][key]:.2f}" for key in ("median", "high", "largest")),
             *(f"{angle:.0f}" for angle in p["load"]["angles_deg"])] for p in programs if p.get("load")]
    coarse = [p["file"] for p in programs if p.get("load", True) is None]
    unknown = [f"Not measured, as the grid is too coarse for so small a cutter: {', '.join(coarse)}. A smaller "
               "--resolution tells."] if coarse else []
    left = [p["file"] for p in programs if "load" not in p]
    unknown += ["Not listed, as they do not clear wood side by side and layer by layer (passes over a surface that was "
                "roughed, second cuts, slots at their cutter's feed, drilled holes, marks and the like): "
                f"{', '.join(left)}."] if left else []
    if not rows and not coarse:
        return []
    listed = table(["program", "half of the way", "95 % of the way", "at most", "degrees, half", "95 %", "at most"],
                   rows, right=(1, 2, 3, 4, 5, 6))
    return [*([*listed, "Each over as much way as the cutter is wide: in a sharp turn a tooth takes more for a moment. "
               f"{LOAD_FACTOR:g} is allowed; more, without a warning, is of laps so thin that the grid may count so "
               "much too much. Wider cuts go at an eased feed."] if rows else []), *unknown]


def saved_lines(rows: Sequence[dict[str, Any]], by_leave: float) -> list[str]:
    """The minutes that changes to a job save, in a table, after those that its `leave` saves."""
    lines = [f"[surface] leave saves about {by_leave:.0f} minutes beside repeating the first finish."] \
        if by_leave > LEAST_MINUTES else []
    cells = [[row["change"], f"{row['minutes_saved']:.1f} min", row["cost"]] for row in rows]
    lines += table(["change to the job", "saves", "costs"], cells, right=(1,)) if rows else []
    if rows[1:]:
        changes = [row["change"] for row in rows]
        both = all(any(change.startswith(key) for change in changes) for key in ("[surface] leave", "[resurface] area"))
        lines.append("Each saves so much alone: together they may save less than their sum."
                     + " With leave, area changes nothing: take one of them." * both)
    return lines


def shown_findings(checks: dict[str, Any], units: str) -> list[dict[str, Any]]:
    """The findings for people: what the rest may come of first, then the grave, lengths in the job's units."""
    return [f | {key: in_units(f[key], units, beside=f"{f['got']}; {f['allowed']}")
                 for key in ("where", "got", "allowed", "remedy")}
            for f in sorted(checks["findings"], key=lambda f: rank(f["code"], f["severity"]))]


def minutes_words(minutes: float) -> str:
    """A time in words: ``less than a minute``, ``about 1 minute``, ``about 1.5 minutes``, ``about 52 minutes``."""
    told = round(minutes, 1 if minutes < _FEW_MINUTES else None)
    return "less than a minute" if told < 1 else f"about {told:g} minute{'s' if told != 1 else ''}"


def finding_lines(checks: dict[str, Any], units: str) -> list[str]:
    """What verification found, the grave first, in the job's units; of programs in wrong places little else."""
    shown = shown_findings(checks, units)
    lines = [finding_line(f["severity"], f["where"], f["got"], f["allowed"], f["remedy"]) for f in shown]
    first = sum(f["code"] in (EXCHANGED, OTHER_JOB, EDITED) for f in shown)
    if {OTHER_JOB, EXCHANGED} & {f["code"] for f in shown} and len(lines) > first + _MOST_FOLLOWING:
        lines = [*lines[:first], "What follows likely comes of that:", *lines[first : first + _MOST_FOLLOWING],
                 f"and {len(lines) - first - _MOST_FOLLOWING} more; --json lists them all"]
    return [*lines, verdict(checks, units)[1]]


def warning_lines(checks: dict[str, Any], units: str) -> list[str]:
    """The warnings alone, without the word that they begin with."""
    return [finding_line("warn", f["where"], f["got"], f["allowed"], f["remedy"]).removeprefix(f"{GRAVE['warn']}: ")
            for f in shown_findings(checks, units) if f["severity"] == "warn"]


def verdict(checks: dict[str, Any], units: str) -> tuple[Literal["good", "doubt", "bad"], str]:
    """Whether to cut; and whether that leaves much of a drawing closed."""
    if not checks["passed"]:
        unknown = all(f["code"] == TOO_LONG for f in checks["findings"] if f["severity"] == "forbid")
        return "bad", "Not verified: these programs " + (
            "were not simulated to the end, and nobody knows whether they are good. Do not cut them so."
            if unknown else "must not be cut.")
    closed = [f for f in shown_findings(checks, units) if f["code"] in (MUCH_CLOSED, CUT_AWAY)]
    told = ", and ".join(words for code, words in (
        (MUCH_CLOSED, "not all that is drawn is cut"), (CUT_AWAY, "wood beside what is drawn is cut away"))
        if code in {f["code"] for f in closed})
    if not closed:
        return "good", "Verified: the programs, read back and simulated, cut the part as asked."
    parts = [f"{f['where'].partition(',')[0]}: {f['got'].partition(' with ')[0]}" for f in closed]
    more = f"; and {counted(len(parts) - _MOST_CLOSED, 'more warning')} of that" if parts[_MOST_CLOSED:] else ""
    return "doubt", f"Verified in part: the programs cut as planned, but {told}. " \
                    f"{'; '.join(parts[:_MOST_CLOSED])}{more}."


def _surface_lines(surface: dict[str, Any] | None, units: str) -> list[str]:
    if surface is None:
        return []

    def um(value: float | None) -> str:
        return "not measured" if value is None else tiny_length(value, units)

    if not surface["scallop_limit"]:
        return [f"Surface: {surface['passes']} passes, {format_length(surface['stepover'], units)} apart, of a flat "
                f"end on a level top: no ridges by the formula, {um(surface['scallop_measured'])} in the simulation."]
    return [f"Surface: {surface['passes']} passes, {format_length(surface['stepover'], units)} apart; ridges "
            f"{um(surface['scallop_measured'])} in the simulation, {um(surface['scallop_predicted'])} by the formula, "
            f"{um(surface['scallop_limit'])} allowed{tiny_unit_words(units)}."]


def _inlay_words(inlay: dict[str, Any], units: str) -> str:
    share = 100.0 * inlay["reachable_area"] / inlay["area"]
    whole = f" ({area_words(inlay['area_cut'], units, decimals=0)} as first cut, before later inlays cut into it)" \
        if inlay["area_cut"] >= inlay["area"] + 1.0 else ""
    needed = sum(one["needed_volume"] for one in inlay["amounts"])
    fill = f", resin needed {volume_words(needed)} with what stands above and stays in the cup" if needed else ""
    fill += f" ({thicken_words(inlay)})" if inlay["thickened"] else ""
    # where it is poured what it holds, as the table of the fill has it: without the ridges over it
    volume = sum(one["pocket_volume"] for one in inlay["amounts"]) or inlay["pocket_volume"]
    high = fine_length(inlay["floor_high"], units)
    # what pieces take is not poured
    pocket = "" if volume is None or inlay.get("fill") == "piece" else f"; pocket {volume_words(volume)}"
    floor = f"; floor up to {high} above its depth" if inlay["floor_high"] else ""
    if inlay["slanting"]:
        floor += "; less deep along walls and in corners that a v cutter opens"
    if not is_reached(inlay["depth"], inlay["deepest"]):
        floor = f"; about {coarse_length(inlay['deepest'], units)} deep, where its walls meet"
    if inlay["round_end"]:
        floor = f"; a round end leaves its floor up to {high} above its depth between passes, and walls that round " \
                "in to it: along them it is less deep"
    beside = inlay.get("piece", {}).get("gained_area", 0.0)
    more = f", and {area_words(beside, units)} of wood beside it cut away" if beside >= SMALLEST else ""
    return (f", {', '.join(inlay['colours'])}: {area_words(inlay['area'], units, decimals=0)}"
            f"{whole}, {share:.1f} % of it within reach "
            f"of the cutters{more}{placed_words(inlay['placed'], units)}{pocket}{fill}{floor}.")
