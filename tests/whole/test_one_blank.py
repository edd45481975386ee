"""Several parts of one blank: their places in the text, the order of cutters, and each part on its own share."""

import copy
import html
import itertools
import json
import random
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import box

from pathgen import JobError, PathgenError, build, check, load_job
from pathgen.app import blank as app_blank
from pathgen.app.blank import build_blank
from pathgen.app.building import check_data
from pathgen.app.cli import main
from pathgen.app.earlier_done import _moves_in
from pathgen.app.earlier_marks import marks_moved
from pathgen.app.two_builds import number_of
from pathgen.job.blank import blank_clampings, blank_plans, origin_of, parts_on_blank
from pathgen.job.doubts import doubts_of
from pathgen.job.doubts.blank import zero_under
from pathgen.job.turns import Task, merged
from pathgen.programs.afterwards import afterwards
from pathgen.programs.around import Around
from pathgen.programs.instructions import before_start
from pathgen.programs.sticking import whole_face
from pathgen.programs.zero_check import _bed, zero_checks
from pathgen.programs.zero_words import zero_words
from pathgen.report.blank import blank_summary, fill_rows, fittings_words, origin_words
from pathgen.report.data import of_all_parts
from pathgen.report.moving import moved_data, moved_lines, moving_findings
from pathgen.report.sheet.blank import told_once
from pathgen.report.text import before_next, go_on_lines
from pathgen.verify.findings import Finding
from pathgen.work.operations import WitnessMarks
from tests.as_made import hold
from tests.job.test_forms import DISC, DRAWING, FORM
from tests.job.test_plates import HOLE, PLATE, RING
from tests.plain_cutting import Wood
from tests.small_board import moves

EXAMPLE = Path(__file__).parents[2] / "examples" / "one-blank" / "three-plates.toml"
BLANK = """
[stock]
length = 300.0
width = 130.0
thickness = 3.0
margin_nut = 0.0
[[part]]
job = "drilled.toml"
at = [65.0, 0.0]
[[part]]
job = "ringed.toml"
at = [170.0, 4.0]
turn = 90
[[part]]
job = "drilled.toml"
at = [255.0, 2.0]
turn = 270
"""
DRILLED = PLATE + HOLE.replace("at = [50.0, 0.0]", "at = [20.0, 11.0]") + '''
[[hole]]
cutter = "flat 3"
at = [70.0, -15.0]
diameter = 4.0
length = 14.0
depth = 1.0
'''
RINGED = PLATE + RING.replace("at = [50.0, 0.0]", "at = [70.0, 8.0]").replace(
    'fill = "none"', "") + HOLE.replace("at = [50.0, 0.0]", "at = [20.0, -11.0]")


def blank(folder, text=BLANK, **more):
    """Writes the job of a blank and those of its parts."""
    for name, own in {"drilled": DRILLED, "ringed": RINGED, **more}.items():
        (folder / f"{name}.toml").write_text(own)
    (folder / "blank.toml").write_text(text)
    return folder / "blank.toml"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = blank(tmp_path_factory.mktemp("blank"))
    return path, build_blank(load_job(path), resolution=0.3)


def there(part, at, turn):
    """A place of a part as it lies on the blank: own blank 120 by 80, its middle 50 mm from X 0."""
    x, y = part[0] - 50.0, part[1]
    for _ in range(turn // 90):
        x, y = -y, x
    return at[0] + x, at[1] + y


def test_it_is_as_made(made):
    hold("blank", *made[1].builds, pages=True)


PLACES = (("drilled", (65.0, 0.0), 0), ("ringed", (170.0, 4.0), 90), ("drilled", (255.0, 2.0), 270))


def test_the_whole_blank_by_the_tests_own_cutting(made):
    """All texts in the order of their numbers over one blank: each part is where it should be, the rest untouched."""
    _, result = made
    assert result.passed, result.report["checks"]["findings"]
    assert result._repr_svg_().count('class="part"') == 3
    assert [f["where"] for f in result.report["checks"]["findings"] if "keep_out" in f["where"]] == ["[setup] keep_out"]
    cell = 0.75
    wood = Wood((0.0, 300.0), (0.0, 130.0), 3.0, cell)  # zero is the near lower corner
    texts = {p.file_name: (p.text, p.cutter) for one in result.builds for p in one.programs}
    for name in sorted(texts):
        text, cutter = texts[name]
        wood.cut(text, shape=cutter.shape, diameter=cutter.diameter)
    gx, gy = np.meshgrid(np.arange(400) * cell, np.arange(174) * cell - 65.0, indexing="ij")
    expected = np.full(wood.heights.shape, 3.0)
    sure = np.ones(expected.shape, bool)

    def shape(mask_in, mask_near, height):
        expected[mask_in] = height
        sure[mask_near & ~mask_in] = False

    for name, at, turn in PLACES:
        middle = there((50.0, 0.0), at, turn)
        half = (50.0, 30.0) if turn % 180 == 0 else (30.0, 50.0)
        dx, dy = abs(gx - middle[0]), abs(gy - middle[1])
        groove = (dx < half[0] + 2.9) & (dy < half[1] + 2.9) & ((dx > half[0]) | (dy > half[1]))
        sure[(dx < half[0] + 4) & (dy < half[1] + 4) & ((dx > half[0] - 0.6) | (dy > half[1] - 0.6))] = False
        assert (wood.heights[groove] < 0).mean() > 0.6, name  # tabs stand
        if name == "drilled":
            away = np.hypot(gx - there((20.0, 11.0), at, turn)[0], gy - there((20.0, 11.0), at, turn)[1])
            shape(away < 4.5, away < 5.6, -0.2)
            sx, sy = there((70.0, -15.0), at, turn)
            run = (gx - sx, gy - sy) if turn % 180 == 0 else (gy - sy, gx - sx)
            shape((abs(run[0]) < 6.0) & (abs(run[1]) < 1.3), (abs(run[0]) < 7.6) & (abs(run[1]) < 2.6), 2.0)
        else:
            away = np.hypot(gx - there((20.0, -11.0), at, turn)[0], gy - there((20.0, -11.0), at, turn)[1])
            shape(away < 4.5, away < 5.6, -0.2)
            away = np.hypot(gx - there((70.0, 8.0), at, turn)[0], gy - there((70.0, 8.0), at, turn)[1])
            shape((away > 10.6) & (away < 13.4), (away > 9.4) & (away < 14.6), 1.5)
    assert sure.mean() > 0.8
    assert wood.heights[sure] == pytest.approx(expected[sure], abs=1e-3)


def test_parts_keep_their_own_order_and_come_free_last(made):
    _, result = made
    rows = result.report["programs"]
    assert [row["number"] for row in rows] == list(range(1, len(rows) + 1))
    assert [row["file"] for row in rows] == sorted(row["file"] for row in rows)
    for part in range(1, 4):
        own = [row["order"] for row in rows if row["part"] == part]
        assert own == list(range(1, len(own) + 1))
    outlines = [row["operation"] == "outline" for row in rows]
    assert outlines == sorted(outlines)
    assert result.report["fittings"] == 1  # one cutter does all
    assert sum("stays in the spindle" in p.text for one in result.builds for p in one.programs) == len(rows) - 1
    assert sum("Hold the blank" in p.text for one in result.builds for p in one.programs) == 1


def fewest(parts):
    """(fills, fittings) of the best order by trying every one: breadth first over all interleavings."""
    best = {}
    start = (tuple(0 for _ in parts), "")
    level = {start: (0, 0)}
    while level:
        following = {}
        for (at, fitted), cost in level.items():
            if all(k == len(own) for k, own in zip(at, parts, strict=True)):
                best[at] = min(best.get(at, (9, 99)), cost)
            free = all(last for k, own in zip(at, parts, strict=True) for _, last in own[k:])
            ready = [p for p, (k, own) in enumerate(zip(at, parts, strict=True))
                     if k < len(own) and (free or not own[k][1])]
            # one step of any part, or one pour for any of those that wait for it
            pouring = [p for p in ready if not parts[p][at[p]][0]]
            moves_on = [(p,) for p in ready if parts[p][at[p]][0]]
            moves_on += [some for n in range(1, len(pouring) + 1) for some in itertools.combinations(pouring, n)]
            for some in moves_on:
                there_now = tuple(k + (p in some) for p, k in enumerate(at))
                cutter = parts[some[0]][at[some[0]]][0]
                new = (cost[0] + (not cutter), cost[1] + (bool(cutter) and cutter != fitted))
                key = (there_now, cutter or fitted)
                following[key] = min(following.get(key, (9, 99)), new)
        level = following
    return min(best.values())


def test_no_order_changes_cutters_less_often():
    """Against every interleaving of random small parts; fills waited for come before cutters changed."""
    chance = random.Random(17)
    for _ in range(60):
        parts = [[(chance.choice("abc"), False) if chance.random() < 0.8 else ("", False)
                  for _ in range(chance.randint(1, 4))] + [(chance.choice("ab"), True)]
                 for _ in range(chance.randint(1, 3))]
        order = merged([[Task(*one, step=k) for k, one in enumerate(own)] for own in parts])
        assert sorted(order) == [(p, k) for p, own in enumerate(parts) for k in range(len(own))]
        for p in range(len(parts)):
            assert [k for q, k in order if q == p] == list(range(len(parts[p])))
        first_last = next(n for n, (p, k) in enumerate(order) if parts[p][k][1])
        assert all(parts[p][k][1] for p, k in order[first_last:])
        fills = changes = 0
        fitted, before = "", "x"
        poured = set()
        for p, k in order:
            cutter = parts[p][k][0]
            if not cutter:
                fills += bool(before) or p in poured  # several parts pour at one stop, one part once
                poured = {p} if before or p in poured else poured | {p}
            elif cutter != fitted:
                changes, fitted = changes + 1, cutter
            before = cutter
        assert (fills, changes) == fewest(parts)


SURFACED = PLATE
for _old, _new in (("face = false\n", ""), ("thickness = 3.0\nmargin", "thickness = 3.4\nmargin"),
                   ("length = 120.0\nwidth = 80.0", "length = 130.0\nwidth = 90.0"),
                   ("margin_nut = 10.0", "margin_nut = 15.0")):
    SURFACED = SURFACED.replace(_old, _new)
SURFACED += '\n[surface]\nfinish = "ball"\nscallop = 0.2\n'
FILLED = SURFACED + RING + 'fill = "resin"\n'
TWO = BLANK[: BLANK.rindex("[[part]]")]
for _old, _new in (("thickness = 3.0", "thickness = 3.4"), ("drilled", "filled"), ("[65.0, 0.0]", "[66.0, 0.0]"),
                   ("ringed", "filled"), ("[170.0, 4.0]", "[178.0, 0.0]")):
    TWO = TWO.replace(_old, _new)


def test_fills_are_poured_together(tmp_path, capsys):
    """Two parts with a fill each: one stop, and the first says to wait."""
    result = build_blank(load_job(path := blank(tmp_path, TWO, filled=FILLED)), resolution=0.4)
    assert result.passed, result.report["checks"]["findings"]
    result.write(tmp_path / "out", shaded=False)
    assert main(["check", str(path), str(tmp_path / "out"), "--resolution", "0.4", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == result.report["checks"]
    off = [{"surface_low": low, "surface_high": high} for low, high in ((-0.1, 0.2), (None, None), (-0.3, 0.1))]
    assert (of_all_parts(off), of_all_parts(off[1:2])) == ({"surface_low": -0.3, "surface_high": 0.2}, off[1])
    assert result.report["checks"]["surface_high"] > 0
    assert result.report["pours"] == 1
    # the ball, the pockets, stop, the ball again, the outlines
    assert result.report["fittings"] == 4
    pockets = [p for one in result.builds for p in one.programs if p.operation == "pocket"]
    words = [" ".join(re.findall(r"\((?:\.\. )?(.*)\)", p.text)) for p in pockets]
    assert "the fills of all parts are poured together, after program 4: the sheet " in words[0]
    assert "Stop here" not in words[0]
    assert "Stop here for the fill" in words[1]
    assert "Fill now too: filled-1: the sheet of the whole blank says how." in words[1]
    page = result.files(shaded=False)["setup.html"]
    assert "<li>Hold the blank over its whole face, by double-sided tape or vacuum: held by " in page
    assert page.count("Stop after program") == 1
    # what is to be ready for all parts; the numbers of programs alone stand in black squares
    ready = html.unescape(re.sub("<[^>]+>", " ", page[page.index('id="ready"'): page.index('id="programs"')]))
    assert re.search(r"ball-end.* 1, 2, 5, 6 ", ready)
    things = ("By hand: eye and ear protection", "a brush, a vacuum", "a thickener that the resin's maker allows",
              "a depth gauge for the height of cured fill", "a fine saw")
    assert [thing for thing in things if thing not in ready] == []
    assert '<span class="order">' not in page
    assert "<h3>Fit flat 3: programs 3 and 4</h3>" in page
    assert "part-2-filled-2.html#program-2" in page
    # one number for each, that of its file: a part's sheet had its own, and named others by it
    files = result.files(shaded=False)
    assert re.search(r"^   program .*\n1  01-filled-1-.*\n3  03-filled-1-pocket", files["report.txt"], flags=re.M)
    for one in result.builds:  # what scripts join them by
        numbers = {row["order"]: row["turn"] for row in one.report["programs"]}
        assert [(row["order"], row["turn"]) for row in one.report["references"]] == list(numbers.items())
        assert all(row["turn"] == numbers[row["order"]] for row in one.report["zero_checks"])
    own = files["part-1-filled-1.html"]
    assert '<span class="order">3</span>' in own
    assert '<li value="3"><a href="#program-2">' in own
    assert "Read before program 2" in files["part-2-filled-2.html"]
    assert "program 3 of 8 for all parts, 2 of 4 for this one" in words[0]
    # what is said of the parts is said by name, of both at once, by check too
    result.write(tmp_path / "out", shaded=False)
    found = result.report["checks"]["findings"]
    assert {f["where"].split(":")[0] for f in found} >= {"parts 1 and 2, filled-1 and filled-2"}
    assert check_data(load_job(tmp_path / "blank.toml"), tmp_path / "out", resolution=0.4)["findings"] == found


def test_a_blank_that_any_part_needs_stuck_down_is_so_before_the_first_program_of_all(tmp_path):
    """Only what the first part needs was told: program 1 said "flat and firmly", the last threw its part."""
    clamp = "[setup]\nkeep_out = [{ along = [0, 4], across = [-60, 60], height = 15 }]\n[stock]"
    third = '"drilled.toml"\nat = [255'
    path = blank(tmp_path, BLANK.replace("[stock]", clamp).replace(third, third.replace("drilled", "loose")),
                 loose=DRILLED.replace("[outline]", "[outline]\ntabs = 0"))
    plans = blank_plans(load_job(path))
    told = {step.number: [line for line in before_start(plan.clamping, step, start) if "whole face" in line]
            for plan in plans for step, start in zip(plan.clamping.steps, plan.starts, strict=True)}
    why = "over its whole face, by double-sided tape or vacuum: nothing else holds part 3 once its outline is cut, " \
          "and the cutter would throw it; clamps hold the waste alone"
    own = plans[2].clamping.steps[0].number
    assert own > 1
    assert {number: lines for number, lines in told.items() if lines} == {
        1: [f"Hold the blank flat and firmly, {why}; keep clamps out of the cutter's way."],
        own: [f"See that the blank is still held {why}."]}
    assert all("spoilboard or tape it lies on" in zero_words(plan.clamping) for plan in plans)
    (line,) = whole_face(replace(plans[2].clamping, shared=plans[0].clamping.shared), plans[2].clamping)
    assert "nothing else holds parts 1 and 3, each once its outline is cut" in line


def test_what_several_parts_say_at_a_stop_is_said_once():
    """Sentences that hang together were parted: "What is poured deeper than that" stood before the depths."""
    deep, deeper = (f"The pour is {deep}. What is poured deeper than that shrinks." for deep in (2.1, 2.8))
    told = told_once([["Stop.", "Find it by mark 1.", "Coat.", deep, "Prick.", "Dam."],
                      ["Stop.", "Coat.", deeper, "Prick."],
                      ["Stop.", "Find it by mark 2.", "Coat.", deep, "Prick.", "Thicken."]])
    assert told == [("Stop.", [0, 1, 2]), ("Find it by mark 1.", [0]), ("Find it by mark 2.", [2]),
                    ("Coat.", [0, 1, 2]), (deep, [0, 2]), (deeper, [1]), ("Prick.", [0, 1, 2]), ("Dam.", [0]),
                    ("Thicken.", [2])]
    assert told_once([["A", "B"], ["B", "A"]]) == [("B", [1]), ("A", [0, 1]), ("B", [0])]  # in what order they come
    assert told_once([["A", "A", "B"], ["A", "B"]]) == [("A", [0, 1]), ("A", [0]), ("B", [0, 1])]


LET_IN = SURFACED + """[[inlay]]
artwork = "square.svg"
depth = 1.0
cutters = ["flat 3"]
fill = "piece"
place = { at = [50.0, 0.0] }
"""
SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="20mm"><rect width="20mm" height="20mm"/></svg>'


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("other", "stop", "stops", "wait", "too"), [
    (LET_IN, "glue in the pieces", "1 stop for fills and pieces",
     "Do not glue the pieces in yet: the pockets of all parts are filled together, after program 4: the sheet",
     "filled now too"),
    (FILLED, "fill, and glue in the pieces", "1 stop for fills and pieces",
     "Do not fill yet: the fills of all parts are poured together, after program 4: the sheet", "filled now too"),
])
def test_where_pieces_are_glued_in_no_fill_is_asked_for(tmp_path, other, stop, stops, wait, too):
    (tmp_path / "square.svg").write_text(SQUARE)
    two = TWO.replace("filled.toml", "other.toml", 1)
    result = build_blank(load_job(blank(tmp_path, two, filled=LET_IN, other=other)), resolution=0.4)
    assert result.passed, result.report["checks"]["findings"]
    run = "\n".join(blank_summary(result.report))
    assert re.findall(r"STOP: (.*\w)", run) == [stop]
    assert stops in run
    pockets = [p for one in result.builds for p in one.programs if p.operation == "pocket"]
    words = [" ".join(re.findall(r"\((?:\.\. )?(.*)\)", p.text)) for p in pockets]
    assert wait in words[0]
    assert too in words[1]
    assert (f"{stop} of 1 other, 2 filled" if other == LET_IN else
            "fill 1 other, and glue in the pieces of 2 filled") in result.files(shaded=False)["setup.html"]


def poured(*parts, waste=lambda ml: max(0.2 * ml, 1.0)):
    """ml that the amounts of some parts come to from one cup: share and least of the waste as README has them."""
    net = sum(one["pocket_volume"] + one["overfill_volume"] for own in parts for one in own) / 1000.0
    return net + waste(net)


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("other", "mixed"), [
    (FILLED, [(1, [[1, 2]])]),
    (FILLED + 'colour = "#aa3322"\n', [(1, [[1], [2]])]),
    (FILLED + "[resin]\nleast = 8.0\n", [(1, [[1]]), (1, [[2]])]),
    (FILLED + "[resin]\ndam = 4.0\n", [(1, [[1, 2]])]),
])
def test_what_is_mixed_at_a_stop_for_all_parts(tmp_path, other, mixed):
    """One cup for each colour of all parts; resins that are not mixed alike apart, however far out their dams stand."""
    text = TWO.replace('"filled.toml"\nat = [178', '"other.toml"\nat = [178')
    result = build_blank(load_job(blank(tmp_path, text, filled=FILLED, other=other)), resolution=0.4)
    amounts = [part["report"]["inlays"][0]["amounts"] for part in result.report["parts"]]
    fills = result.report["fills"]
    assert [(1, [row["parts_for"] for row in fill["colours"]]) for fill in fills] == mixed
    assert {fill["after"] for fill in fills} == {4}
    for row in (row for fill in fills for row in fill["colours"]):
        own = [amounts[number - 1] for number in row["parts_for"]]
        assert row["needed_volume"] / 1000.0 == pytest.approx(poured(*own), abs=1e-4)
        assert row["total_volume"] == (8000.0 if "least" in other and row["parts_for"] == [2] else 5000.0)
    batches = [fill["batch"] for fill in fills]
    if "#aa3322" in other:
        each = [row["needed_volume"] for row in fills[0]["colours"]]
        assert batches[0]["needed_volume"] == pytest.approx(sum(each), abs=0.02)
    else:
        assert batches == [None] * len(mixed)
    files = result.files(shaded=False)
    for name in ("setup.html", "report.txt"):
        for row in (row for fill in fills for row in fill["colours"]):
            assert f"{row['needed_volume'] / 1000:.2f} ml" in files[name]
        assert "Mixed together for all parts that are poured now" in files[name]
        assert ("all in one batch" in files[name].split("Checks")[0]) == ("#aa3322" in other)


@pytest.mark.parametrize("of", [[1], [1, 2]])
def test_what_one_part_alone_pours_is_not_mixed_together(of):
    batch = {"needed_volume": 3000.0, "total_volume": 5000.0, "mass": None, "parts": {}, "pours": 1, "measure": 1.0}
    report = {"programs": [{"number": 4, "stop_for": of}], "parts": [{"name": "one"}, {"name": "two"}],
              "fills": [{"after": 4, "batch": None, "colours": [{"colour": "#aa3322", "parts_for": of, **batch}]}]}
    _, rows, notes = fill_rows(report, 4)
    assert rows[0][1] == ("1 one" if of == [1] else "1 one, 2 two")
    assert any("Mixed together" in line for line in notes) == (len(of) > 1)


@pytest.mark.parametrize(("setup", "origin"), [
    ("", (20.0, 65.0)), ('zero = "blank-far-lower"\n', (-280.0, 65.0)), ('along = "y"\n', (-65.0, 20.0)),
])
def test_where_the_places_of_the_common_job_are_counted_from(tmp_path, setup, origin):
    """300 by 130 mm, 20 mm before along 0; along Y all is turned a quarter counter-clockwise."""
    text = BLANK.replace("margin_nut = 0.0", "margin_nut = 20.0").replace("[stock]", f"[setup]\n{setup}[stock]")
    for at, moved in (("[65.0", "[45.0"), ("[170.0", "[150.0"), ("[255.0", "[235.0")):
        text = text.replace(at, moved)
    job = load_job(blank(tmp_path, text))
    assert origin_of(job) == origin
    # where the first part's middle lies, by its own clamping
    first = blank_clampings(job)[0]
    x, y = first.to_machine(np.array([[50.0, 0.0, 0.0]]))[0, :2]
    along, across = (45.0, 0.0) if "along" not in setup else (0.0, 45.0)
    assert (x, y) == pytest.approx((origin[0] + along, origin[1] + across))
    words = origin_words({"origin": origin, "job_units": "mm"})
    assert f"along 0, across 0 lies at X {origin[0]:g} mm, Y {origin[1]:g} mm" in words


def test_a_part_without_a_fill_does_not_take_the_stop_from_those_that_have_one(tmp_path):
    """Its hole is cut with the pockets' cutter after them: the stop stands at the last pocket still."""
    text = TWO.replace('"filled.toml"\nat = [178', '"plain.toml"\nat = [178')
    filled, plain = blank_clampings(load_job(blank(tmp_path, text, filled=FILLED, plain=SURFACED + HOLE)))
    pocket = next(step for step in filled.steps if step.operation.opens)
    hole = plain.steps[1]
    assert hole.turn.number == pocket.turn.number + 1
    assert any("Stop here for the fill" in line for line in afterwards(filled, pocket))
    assert pocket.turn.fill_after == pocket.turn.number


@pytest.mark.in_every_run(1)
def test_check_takes_the_folder_and_finds_a_program_on_anothers_share(made, tmp_path, capsys):
    path, result = made
    result.write(tmp_path / "out", shaded=False)
    assert check(load_job(path), tmp_path / "out", resolution=0.4).findings == ()
    changed = sorted((tmp_path / "out").glob("*ringed-outline*"))[0]
    # 40 mm toward the third part
    changed.write_text("\n".join(
        line if line.startswith("(") else re.sub(r"X(-?[\d.]+)", lambda m: f"X{float(m[1]) + 40:g}", line)
        for line in changed.read_text().splitlines()) + "\n")
    found = check(load_job(path), tmp_path / "out", resolution=0.4)
    assert "off-its-share" in {f.code for f in found.findings}
    assert not found.passed
    assert main(["check", str(path), str(tmp_path / "out"), "--resolution", "0.4"]) == 1
    assert "off the part's share of the blank" in capsys.readouterr().out


CENTRED = BLANK + '[setup]\nzero = "blank-centre"\n[machine]\ntravel = [{}, 140.0, 90.0]\n'


def test_a_machine_too_short_for_all_parts_together_is_refused_in_words(tmp_path):
    """Each part alone, with X 0 in the middle, spans half of the 273.4 mm: only our own verification said so."""
    with pytest.raises(JobError, match=r"\[machine\] travel: .* spans 273.4 mm in X, from -136.7 mm \(program 7, outl"
                                       r"ine\) to 136.7 mm \(program 9, outline\)") as refused:
        build_blank(load_job(blank(tmp_path, CENTRED.format(273.0))), resolution=0.5)
    assert refused.value.remedy == ("write [[part]] at so that the parts lie nearer to each other, or take a larger "
                                    "machine")


@pytest.mark.in_every_run(0)
def test_edges_of_a_common_blank_past_the_travel_are_told_once_and_on_the_first_card(tmp_path):
    """Its own cuts left room for them; those of all parts do not."""
    made = build_blank(load_job(blank(tmp_path, CENTRED.format(275.0))), resolution=0.5)
    (found,) = [f for f in made.report["checks"]["findings"] if f["code"] == "edges-past-travel"]
    assert (found["where"], found["allowed"]) == ("[machine] travel", "travel 275 mm in X")
    assert "span 288.2 mm in X" in found["got"]  # 136.7 and, beside the blank, 150 and half of 3 mm
    cards = [text for one in made.builds for text in one.texts.values()]
    said = [" ".join(re.findall(r"\((?:\.\. )?(.*)\)", text)) for text in sorted(cards) if "Set X 0 and Y 0" in text]
    assert len(said) == 1
    assert f"Neither edge in X lies within the machine's travel: {found['remedy']}." in said[0]
    places = [p.zero.display[0] for one in made.builds for p in one.programs if p.zero]
    assert np.ptp([*places, -136.7, 136.7]) <= 275.0
    assert {words for one in made.builds for row in one.report["references"] for words in row["xy"]} == {
        "Y alone from the edges of the common blank, as its other edges cannot be touched"}


@pytest.mark.in_every_run(0)
def test_what_forbids_all_parts_together_is_not_written_either(tmp_path, monkeypatch):
    fault = Finding(code="cuts-a-neighbour", where="parts 1 and 2", got="one cuts the other", allowed="its share")
    monkeypatch.setattr(app_blank, "together_findings", lambda clampings, checked: [fault])
    made = build_blank(load_job(blank(tmp_path)), resolution=0.6)
    with pytest.raises(PathgenError, match=r"parts 1 and 2: cuts-a-neighbour: one cuts the other.*nothing was written"):
        made.write(tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_beside_a_parts_share_lies_the_common_blank_and_no_bed(tmp_path):
    """Zero of a part without raw top or surface left was to be tried on the bare bed, in the middle of the blank."""
    job = load_job(blank(tmp_path))
    for clamping in blank_clampings(job):
        for place in _bed(Around(clamping=clamping), clamping.steps[0], 2.0):
            assert not place.is_empty
            assert not place.intersects(box(*clamping.shared.blank))


@pytest.mark.in_every_run(0)
def test_a_clamp_on_the_common_zero_is_told_once_and_in_no_parts_places(tmp_path):
    clamp = "[setup]\nkeep_out = [{ along = [-5, 5], across = [-65, -60], height = 12 }]\n"
    path = blank(tmp_path, BLANK.replace("[[part]]", f"{clamp}[[part]]", 1))
    found = [one for one in build_blank(load_job(path), resolution=0.5).report["checks"]["findings"]
             if "stands on the place" in one["got"]]
    assert [one["where"] for one in found] == ["[setup] keep_out 1"]
    assert found[0]["got"] == ("stands on the place of X 0 Y 0, the common blank's near corner, the lower one in the "
                               "picture of the whole blank from above: over it the tip can be seen from above alone")
    assert found[0]["severity"] == "note"  # X and Y are set from edges
    assert found[0]["remedy"] == ('write zero = "blank-near-centre", which no clamp covers, or move the clamp clear of '
                                  'it; or set both axes from edges, as the page says')


def test_a_common_zero_that_no_clamp_covers_is_named_in_all_parts_frames(tmp_path):
    """By hand: clamps on the near end's lower corner and its middle leave the far end's middle, of all that are left
    the first; each part says it of clamps in its own frame, turned or not."""
    clamps = ('[setup]\nkeep_out = [{ along = [-5, 5], across = [-65, -60], height = 12 }, '
              '{ along = [-10, 5], across = [-5, 5], height = 12 }]\n')
    path = blank(tmp_path, BLANK.replace("[[part]]", f"{clamps}[[part]]", 1))
    for clamping in blank_clampings(load_job(path)):
        (told,) = [one for box in clamping.setup.keep_out for one in zero_under(clamping, "clamp", box, "mm")]
        assert told.remedy.startswith('write zero = "blank-far-centre", which no clamp covers, or ')


def test_a_parts_sheet_calls_its_share_so_and_counts_it_from_the_parts_own_end(made):
    """X 0 lies at the corner of the whole blank: nothing stands out before that."""
    page = html.unescape(made[1].files()["part-2-ringed.html"])
    assert "<dt>Share of the blank</dt><dd>120 mm by 80 mm by 3 mm, standing out 10 mm before the plate's near" in page
    assert "this part's share of the blank" in page


def test_no_part_is_taken_up_before_the_last_program_of_all(made):
    """The tabs of the first part stand in a blank that the others are still cut from."""
    pages, builds = made[1].files(), made[1].builds
    for number, one in enumerate(builds, 1):
        step = one.plan.clamping.steps[-1]
        said, last = " ".join(afterwards(one.plan.clamping, step)), step.number == 9
        assert said.startswith("Cut the tabs") == last
        assert ("programs of other parts follow. After program 9, the last of all parts: Cut the tabs" in said) != last
        page = html.unescape(next(pages[name] for name in pages if name.startswith(f"part-{number}")))
        freed = said.split(": ")[-1]  # once: under the heading that comes last, or on the card of the last program
        heading = '<h3>After program 9, the last of all parts</h3><ol class="tick"><li>'
        assert (page.count(freed), f"{heading}{freed}" in page) == (1, not last)
        cut_before = " ".join(afterwards(replace(one.plan.clamping, turned_over=True), step))
        assert cut_before == ("" if last else f"After program 9, the last of all parts: {freed}")
        assert ("afterwards: Leave the part where it is" in one.programs[-1].text) != last
    assert "No part is taken up before the last program" in pages["setup.html"]


def test_what_would_save_much_time_is_said_of_each_part(made):
    _, result = made
    report = copy.deepcopy(result.report)
    row = {"change": "[x] y = 1", "minutes_saved": 41.0, "cost": "nothing"}
    report["parts"][1]["report"]["fewer_minutes"] = [row, row | {"minutes_saved": 5.0}]
    assert blank_summary(report)[-1] == "Part 2, ringed: 41 minutes less with [x] y = 1: nothing."
    assert "at the machine, 1 cutter to fit" in blank_summary(result.report)[-1]
    rows = [{"fit": k < 7, "done": False} | ({"stop": "fill"} if k in (3, 6) else {}) for k in range(9)]
    assert fittings_words({"programs": rows}) == "a cutter to fit 7 times, 2 stops for fills"


def test_commands(tmp_path, monkeypatch, capsys):
    path = blank(tmp_path)
    monkeypatch.chdir(tmp_path)
    assert main(["show", str(path)]) == 0
    assert (tmp_path / "blank-placing.svg").read_text().count('class="part"') == 3
    assert main(["build", str(path), "--out", "out", "--no-pictures", "--resolution", "0.5"]) == 0
    said = capsys.readouterr().out
    assert "fit flat 3" in said
    assert "1 cutter to fit" in said
    for command in (["frets"], ["reach"], ["compare"], ["coupon", "--out", "no"], ["pieces", "--out", "no"]):
        assert main([command[0], str(path), *command[1:]]) == 2
        assert "is a job of several parts" in capsys.readouterr().err, command
    with pytest.raises(JobError, match="is a job of several parts"):
        build(load_job(path))


@pytest.mark.parametrize(("old", "new", "where", "words"), [
    ("at = [170.0, 4.0]", "at = [150.0, 4.0]", "[[part]] 2 at", "overlaps that of part 1 by 15 mm along "
     "and 80 mm across, round 117.5 mm along, 0 mm across"),
    ("at = [65.0, 0.0]", "at = [55.0, 0.0]", "[[part]] 1 at", "5.00 mm past the near end of the common one"),
    ("turn = 270", "turn = 45", "[[part]] 3 turn", "45 given"),
    ("thickness = 3.0", "thickness = 4.0", "[[part]] 1 job", "for a blank of 3 mm"),
    ('"ringed.toml"', '"missing.toml"', "missing.toml", "No such file"),
    ("[stock]", '[[part]]\njob = "ringed.toml"\nat = [0.0, 0.0]\n' * 18 + "[stock]", "[[part]]",
     "21 parts (allowed: 20 or fewer)"),
    ('"ringed.toml"', '"blank.toml"', "[[part]] 2, blank.toml", "is itself a job of several parts"),
    ("[stock]", "[outline]\ncutter = \"flat 3\"\n[stock]", "[outline]", "each with a job file of its own"),
    ("[stock]", '[[hole]]\ncutter = "flat 3"\nat = [5.0, 0.0]\ndiameter = 4.0\n[stock]', "[[hole]]",
     "each with a job file of its own"),
    ("[stock]", "[setup]\nzero = \"near-centre\"\n[stock]", "[setup] zero", '"near-centre"'),
    ("[stock]", "[setup]\nkeep_out = [ { along = [100.0, 118.0], across = [-5.0, 5.0], height = 20.0 } ]\n[stock]",
     "[[part]] 1, drilled.toml, program 7, outline, keep_out 1",
     "5 mm to 125 mm along, -40 mm to 40 mm across, the blank 0 mm to 300 mm along, -65 mm to 65 mm across"),
])
def test_refused_with_place_and_numbers(tmp_path, old, new, where, words):
    with pytest.raises(JobError) as wrong:
        build_blank(load_job(blank(tmp_path, BLANK.replace(old, new, 1))), resolution=0.6)
    assert where in wrong.value.where
    assert words in str(wrong.value)


def test_a_blank_in_inches_for_parts_in_millimetres(tmp_path):
    text = BLANK.replace("thickness = 3.0", 'thickness = "0.1181 in"')
    assert build_blank(load_job(blank(tmp_path, text)), resolution=0.6).passed


@pytest.mark.parametrize(("own", "where", "words"), [
    (RINGED.replace("diameter = 3.0", "diameter = 3.2", 1), '[[part]] 2, [[cutter]] "flat 3"',
     "says other things of it than drilled.toml"),
    (RINGED.replace("length = 120.0", "length = 104.0").replace("margin_nut = 10.0", "margin_nut = 2.0"),
     "[[part]] 2, ringed.toml", 'outline with "flat 3" comes 1.20 mm off its own blank'),
    (RINGED.replace("outer = 14.0", "outer = 40.0"), "[[part]] 2, [[ring]] 1 outer", "past the edge of the plate"),
    (RINGED + '[holes]\ncutter = "flat 3"\nat = [[-5.0, 0.0], [105.0, 0.0]]\ndiameter = 4.0\nthrough = 4.0\n'
     '[channel]\ncutter = "flat 3"\nalong = [5.0, 15.0]\ndepth = 1.0\n', "[[part]] 2 job", "ringed.toml has [channel]"),
])
def test_parts_that_do_not_share_a_blank(tmp_path, own, where, words):
    with pytest.raises(JobError) as wrong:
        build_blank(load_job(blank(tmp_path, ringed=own)), resolution=0.6)
    assert wrong.value.where == where
    assert words in str(wrong.value)
    if "off its own blank" in words:  # what changes with it
        assert "make its [stock] larger where it is full, and move the at of each part" in str(wrong.value)


def test_a_form_has_sheets_of_its_own(tmp_path):
    """It is cut from one side too: that is not why."""
    (tmp_path / "line.svg").write_text(DRAWING.format(DISC))
    template = FORM.replace('cut = "halves"\ngap = 2.4', 'cut = "on"')
    with pytest.raises(JobError, match=r"have sheets of their own.*a template as a .plate. with that artwork"):
        load_job(blank(tmp_path, ringed=template))


@pytest.mark.in_every_run(0)
def test_the_example_has_three_parts_and_fits_each_cutter_as_often_as_its_head_plate_alone():
    """The head plate's own order changes cutters 8 times, and no order of all three can do with fewer."""
    result = build_blank(load_job(EXAMPLE), resolution=0.6)
    assert result.passed
    alone = [step.cutter.name for step in result.builds[0].plan.clamping.steps]
    assert 1 + sum(a != b for a, b in itertools.pairwise(alone)) == 8
    assert result.report["fittings"] == 8
    assert result.report["pours"] == 2
    # a hole of the cover, 8 mm from its near end: turned a quarter, from a blank 112 mm long whose middle is 36 mm on
    holes = [p for p in result.builds[1].programs if p.operation == "round-holes"][-1]
    _, ends, rapid = moves(holes.text)
    low = ends[~rapid & (ends[:, 2] < 0.0), :2]
    assert low.min(axis=0) == pytest.approx([246.0, 60.0 - 28.0], abs=0.01)
    assert low.max(axis=0) == pytest.approx([246.0, 60.0 + 28.0], abs=0.01)


def test_each_part_sees_the_common_blank_from_where_it_lies():
    """Turned back by the part's own quarter turns about the middle of its share, it is the blank again."""
    job = load_job(EXAMPLE)
    x0, y0, x1, y1 = job.stock.bounds
    for table, part, clamping in zip(job.parts, job.part_jobs, blank_clampings(job), strict=True):
        a0, b0, a1, b1 = clamping.shared.blank
        assert a0 < a1
        assert b0 < b1
        u0, v0, u1, v1 = part.stock.bounds
        seen = complex((a0 + a1 - u0 - u1) / 2, (b0 + b1 - v0 - v1) / 2) * 1j ** round(table.turn / 90)
        assert complex(*table.at) + seen == pytest.approx(complex((x0 + x1) / 2, (y0 + y1) / 2))
        size = (a1 - a0, b1 - b0) if table.turn % 180 == 0 else (b1 - b0, a1 - a0)
        assert size == pytest.approx((x1 - x0, y1 - y0))


def test_a_blank_is_drawn_though_something_is_wrong_with_a_part_which_is_told_after_it(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    off = RINGED.replace("[70.0, 8.0]", "[98.0, 8.0]")
    for wrong, words in ({"ringed": off}, "[[part]] 2, ringed.toml"), \
            ({"drilled": DRILLED.replace("[70.0, -15.0]", "[120.0, -15.0]")}, "[[part]] 1, "):
        assert main(["show", str(blank(tmp_path, **wrong)), "--picture", "a.svg"]) == 2
        assert words in capsys.readouterr().err
        assert "<svg" in Path("a.svg").read_text()
        Path("a.svg").unlink()
    assert main(["show", str(blank(tmp_path, BLANK.replace("[170.0", "[150.0"))), "--picture", "a.svg"]) == 2
    assert "overlaps" in capsys.readouterr().err
    assert "<svg" in Path("a.svg").read_text()


def test_clamps_in_a_parts_own_job_are_told_to_be_unused_where_the_blank_has_none(tmp_path):
    """They hold the part's own blank; where the job of the common one has some, all is checked against these."""
    clamps = "[setup]\nkeep_out = [{ along = [-5, 5], across = [-65, -60], height = 12 }]\n"
    told = []
    for text in (BLANK, BLANK.replace("[[part]]", f"{clamps}[[part]]", 1)):
        job = load_job(blank(tmp_path, text, ringed=RINGED.replace("[stock]", f"{clamps}[stock]", 1)))
        for (_, part), clamping in zip(parts_on_blank(job), blank_clampings(job), strict=True):
            told.append([one.problem for one in doubts_of(part, clamping) if one.where == "[setup] keep_out"])
    assert [words[0].split(",")[0] for words in told[:3]] == [
        "no clamps are given",
        "what ringed.toml says of clamps is for that part alone: on the common blank it is not used",
        "no clamps are given"]
    assert told[3:] == [[], [], []]


def _with_room(job):
    """The job of a part with so much waste round it that marks have room there."""
    return job.replace("width = 90.0", "width = 130.0").replace("length = 130.0", "length = 180.0").replace(
        "margin_nut = 15.0", "margin_nut = 40.0")


MARKED = TWO.replace("width = 130.0", "width = 190.0").replace("length = 300.0", "length = 370.0").replace(
    "[66.0, 0.0]", "[91.0, 0.0]").replace("[178.0, 0.0]", "[275.0, 3.0]")
MARKS = '[marks]\ncutter = "ball"\n'
ANGLE, ABOUT, SHIFT = np.radians(0.1), np.array([150.0, 60.0]), np.array([0.5, -0.3])


def as_moved(xyz, up=0.0):
    """(n, 3) places of the display where the blank turned and slid to."""
    cos, sin = np.cos(ANGLE), np.sin(ANGLE)
    xy = (np.reshape(xyz, (-1, 3))[:, :2] - ABOUT) @ np.array([[cos, sin], [-sin, cos]]) + ABOUT + SHIFT
    return np.column_stack([xy, np.reshape(xyz, (-1, 3))[:, 2] + up])


@pytest.fixture(scope="module")
def marked(tmp_path_factory):
    """Two parts of the same file, one turned, each with marks: the folder, and what was built."""
    folder = tmp_path_factory.mktemp("marked")
    path = blank(folder, MARKED, filled=_with_room(FILLED) + MARKS)
    return folder, build_blank(load_job(path), resolution=0.5)


def printed(result):
    """What the sheets of both parts have to copy: a line for [[part]] and the tables, as report.txt has them."""
    text = result.files(shaded=False)["report.txt"]
    return re.findall(r"^drilled = .*$", text, re.M), re.findall(
        r"^\[\[measured\]\]\nat = .*\nfound = .*$", text, re.M)


def with_drilled(lines):
    head, one, two = MARKED.split("[[part]]\n")
    return f"{head}[[part]]\n{one.rstrip()}\n{lines[0]}\n[[part]]\n{two.rstrip()}\n{lines[1]}\n"


def moved_job(result, *, before=None):
    """The job of the blank with all that the sheets have to copy, measured where the blank slid to."""
    lines, tables = printed(result)
    found = []
    for one in tables:
        at = json.loads(re.search(r"at = (.*)", one)[1])
        found.append(re.sub("found = .*", f"found = {np.round(as_moved(at)[0], 3).tolist()}", one))
    return "\n".join([with_drilled(lines), *found, f"[moved]\nbefore = {before}\n" if before else ""])


def texts_of(result):
    return {p.file_name: p.text for one in result.builds for p in one.programs}


def test_marks_are_written_down_in_the_job_of_the_blank_as_the_parts_pages_have_them(marked):
    """The same file twice: each has its own marks, in the display's X, Y, Z of the common blank."""
    folder, first = marked
    assert first.passed
    lines, tables = printed(first)
    assert (len(lines), len(tables)) == (2, 8)
    (folder / "again.toml").write_text(with_drilled(lines))
    again = blank_clampings(load_job(folder / "again.toml"))
    for one, clamping in zip(first.builds, again, strict=True):
        was, now = (own.step(WitnessMarks).operation.feature for own in (one.plan.clamping, clamping))
        assert now.tops is not None
        assert now.places == pytest.approx(was.places, abs=1e-6)
    files = first.files(shaded=False)
    page = files["setup.html"]
    assert "If the blank moves, it moves for all parts" in html.unescape(page)
    # its picture has the marks that the words tell of; the sheets of the parts showed them without X 0, Y 0
    assert (page.count('class="mark"'), len(re.findall(">mark [1-4]</text>", page))) == (8, 8)
    assert "# [[part]] 2\ndrilled = " in html.unescape(files["part-2-filled-2.html"])
    assert "write them into the job of the common blank, as [[part]] 1 drilled: " in \
        html.unescape(files["part-1-filled-1.html"])
    # a part's own page has the marks of the other to find X and Y again by, once they are in the wood
    rows = first.report["parts"][1]["report"]["references"]
    assert all("the witness marks" in row["xy"] for row in rows)


def test_marks_of_a_part_that_lie_elsewhere_now_are_written_down_in_the_job_of_the_blank(marked, tmp_path):
    folder, first = marked
    first.write(tmp_path / "out", shaded=False)
    now = copy.deepcopy(first.report)
    own = now["parts"][1]["report"]["marks"]
    own["machine"], own["places"] = ([[x + 5.0, y] for x, y in own[key]] for key in ("machine", "places"))
    (told,) = marks_moved(tmp_path / "out", first.job, now)
    lines, _ = printed(first)
    assert told.where == "filled-2, [marks]"
    assert f"write {lines[1]} into [[part]] 2, with the Z that you measured" in told.remedy
    (folder / "again.toml").write_text(with_drilled(lines))
    (told, *_) = marks_moved(tmp_path / "out", load_job(folder / "again.toml"), now)  # a slip of the pen
    assert told.where == "filled-2, [[part]] 2 drilled"
    assert marks_moved(tmp_path / "out", load_job(folder / "again.toml"), first.report) == []


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize("before", [None, 5])
def test_a_blank_that_moved_is_cut_to_its_end_where_it_lies(marked, before):
    """Every later program of both parts is that of before, turned and shifted as the blank; earlier ones stay."""
    folder, first = marked
    (folder / "moved.toml").write_text(moved_job(first, before=before))
    now = build_blank(load_job(folder / "moved.toml"), resolution=0.5)
    assert now.passed, now.report["checks"]["findings"]
    rows = {row["file"]: row["number"] for row in first.report["programs"]}
    stop = next(row["number"] for row in first.report["programs"] if row["fill_after"])
    begins = before or stop + 1
    assert now.report["go_on_with"] == begins
    texts, were = texts_of(now), texts_of(first)
    assert texts.keys() == were.keys()
    for name, text in texts.items():
        is_at, was_at = moves(text)[1], moves(were[name])[1]
        if rows[name] < begins:
            assert is_at == pytest.approx(was_at, abs=1e-9, nan_ok=True), name
            continue
        placed = np.isfinite(was_at).all(axis=1)
        assert placed.sum() > 3
        last = slice(-100 if "outline" in name else None, None)  # moved, it leaves nothing out in the air
        assert is_at[placed][last] == pytest.approx(as_moved(was_at[placed])[last], abs=2e-3), name
    page = html.unescape(now.files(shaded=False)["setup.html"])
    assert f"Go on with program {begins}, " in page
    first_left = next(row for row in now.report["programs"] if row["number"] == begins)
    assert f"Go on with program {begins} of this part" in \
        html.unescape(now.files(shaded=False)[f"part-{first_left['part']}-filled-{first_left['part']}.html"])
    _page_of_what_is_left(now, begins, stop)
    now.write(folder / f"moved-{before}", shaded=False)
    assert check(load_job(folder / "moved.toml"), folder / f"moved-{before}", resolution=0.5).passed
    assert {name for name in rows if number_of(name) in _moves_in(folder / f"moved-{before}")} == {
        name for name, number in rows.items() if number >= begins}


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("turn", [180, 90])
def test_the_move_of_a_blank_is_told_of_all_parts_alike_and_its_marks_by_part(marked, turn):
    """One part lies turned on the blank: of it the words were of a move the other way, and mark 6 is on no page."""
    path = marked[0] / "lies.toml"
    text = re.sub("turn = .*", f"turn = {turn}", MARKED)

    def clampings(*tables):
        path.write_text("\n".join([text, *tables]))
        return blank_clampings(load_job(path))

    at = np.array([[*xy, 3.4] for one in clampings()
                   for xy in one.display(one.step(WitnessMarks).operation.feature.places).round(3).tolist()])
    found = as_moved(at).round(3)

    def refused(found):
        with pytest.raises(JobError) as wrong:
            clampings(*measured(found))
        return str(wrong.value)

    def measured(found):
        pairs = zip(at.tolist(), found.tolist(), strict=True)
        return [f"[[measured]]\nat = {one}\nfound = {now}" for one, now in pairs]

    one, two = (moved_data(clamping) for clamping in clampings(*measured(found)))
    said = [moved_lines(data, "mm")[0].partition("taken to lie ")[2] for data in (one, two)]
    shift = re.match(r"(\S+) mm in X, (\S+) mm in Y, 0 mm up from where it was", said[0]).groups()
    assert np.array(shift, float) == pytest.approx((found - at).mean(axis=0)[:2], abs=2e-3)
    assert "degrees along X and " in said[0]
    assert said[0] == said[1]
    assert one["shift"] != two["shift"]
    # where the pockets of one part are cut already, and the fill of all comes after those of the other
    first, last = (next(step for step in clamping.steps if step.operation.opens) for clamping in clampings())
    early, _ = clampings(*measured(found), f"[moved]\nbefore = {last.number}\n")
    _, late = clampings(*measured(found), f"[moved]\nbefore = {last.number + 1}\n")
    wait = f"Do not fill yet: the fills of all parts are poured together, after program {last.number}: "
    pocket = early.steps[first.order - 1]
    assert early.done(pocket)
    assert afterwards(early, pocket) == [f"{wait}the sheet of the whole blank says how."]
    # filled for all before the next program of any
    assert afterwards(late, late.steps[last.order - 1])[0].endswith(
        f"go on with program {late.moved_number}. Where it was not, fill it before program {last.number + 1}:")
    assert late.moved_number > last.number + 1
    swapped, high = found.copy(), found.copy()
    swapped[[5, 6]] = found[[6, 5]]
    high[5, 2] += 0.6
    assert "mark 2 of part 2 and mark 3 of part 2 are likely swapped" in refused(swapped)
    assert re.search("mark 2 of part 2 is .* from where the others put it", refused(high))


def _page_of_what_is_left(now, begins, stop):
    """The common page goes on where the parts' own do: done programs are marked, their cutters not fitted again, and a
    fill that may have been poured is asked for only where it was not."""
    rows = now.report["programs"]
    left = [row for row in rows if row["number"] >= begins]
    cards = html.unescape(now.files(shaded=False)["setup.html"]).split("<article")[1:]
    numbers = [[int(n) for n in re.findall(r"#program-\d+.*?<code>(\d+)-", card, re.S)] for card in cards]
    assert list(itertools.chain(*numbers)) == [row["number"] for row in rows]
    for card, own in zip(cards, numbers, strict=True):
        assert len({n < begins for n in own}) == 1
        assert ("Done with " in card, ">Fit " in card, "do not run " in card) == (
            (True, False, True) if own[0] < begins else (False, True, False))
        assert card.count("<td>done") == (len(own) if own[0] < begins else 0)
    (words,) = re.findall(rf"Stop after program {stop}(.*?): fill", "".join(cards))
    asked = f"before the blank moved, go on with program {begins}. Where it was not, do it before that:"
    was_poured = stop < begins
    assert (words, asked in "".join(cards)) == ((", if it was not done", True) if was_poured else ("", False))
    summary = "\n".join(blank_summary(now.report))
    assert summary.count("  done ") == begins - 1
    assert re.findall("STOP.*?:", summary) == [f"STOP{', if not done yet' * was_poured}:"]
    fits = sum(row["fit"] for row in left)
    often = f"a cutter to fit {fits} times{'' if was_poured else ', 1 stop for fills'}."
    assert f"left at the machine, of about {now.report['minutes']:.0f} minutes in all, {often}" in summary
    page = html.unescape(now.files(shaded=False)["setup.html"])
    assert f"{len(left)} left, of {len(rows)}; {often[:-1]}<" in page
    assert f"for what is left, of about {now.report['minutes']:.0f} minutes, without" in page


@pytest.mark.in_every_run(0)
def test_what_was_cut_level_before_the_blank_moved_is_not_poured_again(marked):
    """The stop stays for the part whose second cut is to come, with no amounts that are of both."""
    folder, first = marked
    rows = first.report["programs"]
    second = [row for row in rows if "second-cut" in row["file"]]
    assert len(second) == 2
    (folder / "levelled.toml").write_text(moved_job(first, before=second[1]["number"]))
    now = build_blank(load_job(folder / "levelled.toml"), resolution=0.8)
    stops = [row["stop_for"] for row in now.report["programs"] if "stop" in row]
    assert stops == [[second[1]["part"]]]
    files = now.files(shaded=False)
    assert all("Mixed together for all" in first.files(shaded=False)[name] for name in ("setup.html", "report.txt"))
    assert not any("Mixed together for all" in files[name] for name in ("setup.html", "report.txt"))
    assert f"if it was not done: fill {second[1]['part']} filled-{second[1]['part']}<" in html.unescape(
        files["setup.html"])
    (folder / "all.toml").write_text(moved_job(first, before=second[1]["number"] + 1))
    now = build_blank(load_job(folder / "all.toml"), resolution=0.8)
    assert not any("stop" in row for row in now.report["programs"])
    assert "Stop after" not in now.files(shaded=False)["setup.html"]


@pytest.mark.in_every_run(0)
def test_a_part_that_was_done_before_the_blank_moved_stays_so(marked):
    folder, first = marked
    last = len(first.report["programs"])
    (folder / "late.toml").write_text(moved_job(first, before=last))
    late = build_blank(load_job(folder / "late.toml"), resolution=0.8)
    done, left = (one.report for one in late.builds)
    assert ["do not run them again" in line for report in (done, left) for line in go_on_lines(report)] == [True, True]
    assert "All programs of this part" in go_on_lines(done)[0]
    # nor is it told a number, which would be that of another part's program, of work that none of its own meets
    files = late.files(shaded=False)
    own, other = (html.unescape(files[f"part-{number}-filled-{number}.html"]) for number in (1, 2))
    notes = [[f["code"] for f in report["checks"]["findings"] if f["code"] in ("work-moved", "height-unchecked")]
             for report in (done, left)]
    assert (notes[0], "work-moved" in notes[1]) == ([], True)
    assert ["is taken to lie" in page for page in (own, other)] == [False, True]
    assert not re.search(r"[Gg]o on with program \d|[Bb]efore program \d", own)
    assert (done["go_on_with"], done["minutes_left"], done["moved"]["first_program"]) == (None, 0, None)
    assert (before_next(done), before_next(left)) == ("before you go on with the other parts", f"before program {last}")
    # a fill that no program of its own follows is only asked for
    clamping = late.builds[0].plan.clamping
    steps = tuple(step for step in clamping.steps if step.operation.levels is None)
    pocket = next(step for step in steps if step.operation.opens)
    assert afterwards(replace(clamping, steps=steps), pocket)[0] == \
        f"Where {pocket.operation.opens.name} was not filled before the work moved, fill it now:"
    late.write(folder / "late", shaded=False)
    assert check(load_job(folder / "late.toml"), folder / "late", resolution=0.8).passed
    # its marks went with the blank
    assert np.array(done["marks"]["now"]) == pytest.approx(
        as_moved([[*xy, z] for xy, z in zip(done["marks"]["machine"], done["marks"]["z"], strict=True)]), abs=2e-3)


def wrong_of(folder, text, **parts):
    with pytest.raises(JobError) as wrong:
        blank_clampings(load_job(blank(folder, text, **{"filled": _with_room(FILLED) + MARKS, **parts})))
    return wrong.value


@pytest.mark.in_every_run(0)
def test_what_is_wrong_with_marks_of_a_blank_is_told_where_it_stands(marked, tmp_path):
    _, first = marked
    lines, _ = printed(first)
    own = wrong_of(tmp_path, MARKED, filled=_with_room(FILLED) + MARKS + lines[0])
    assert (own.where, "under [[part]] 1 of blank.toml" in own.remedy) == ("[[part]] 1 job", True)
    assert wrong_of(tmp_path, with_drilled(lines), filled=_with_room(FILLED)).where == "[[part]] 1 drilled"
    assert wrong_of(tmp_path, with_drilled([lines[1], lines[0]])).where == "[[part]] 1 drilled"
    text = moved_job(first)
    no_at = wrong_of(tmp_path, re.sub("^at = .*\n", "", text.split("[[measured]]")[0] + "[[measured]]" +
                                      text.split("[[measured]]")[1].replace("at = ", "# ")))
    assert (no_at.where, "as the page of its part has it" in no_at.remedy) == ("[[measured]] 1", True)
    drills = wrong_of(tmp_path, moved_job(first, before=1))
    assert (drills.where, drills.allowed.split(" ")[0] != "1") == ("[moved] before", True)
    assert wrong_of(tmp_path, moved_job(first, before=99)).where == "[moved] before"
    assert drills.remedy == f"write {drills.allowed.split(' ')[0]}"
    of_part = wrong_of(tmp_path, MARKED, filled=_with_room(FILLED) + MARKS + "[moved]\naccuracy = 0.02\n")
    assert (of_part.where, "into blank.toml" in of_part.remedy) == ("[[part]] 1 job", True)
    blank_clampings(load_job(blank(tmp_path, MARKED + "[moved]\naccuracy = 0.02\n",
                                   filled=_with_room(FILLED) + MARKS)))  # as a remedy says


def test_measured_marks_of_one_part_alone_ask_for_those_of_the_other_where_they_are_drilled(marked, tmp_path):
    """A blank of which only one part's marks were measured, by the errors that they leave at the other."""
    _, first = marked
    drills = [row["number"] for row in first.report["programs"] if row["operation"] == "witness-marks"]

    def told(own, job, before=6, limit=0.1):
        head, *tables = job.split("[[measured]]")
        tables[-1] = tables[-1].split("[moved]")[0]
        tables = [tables[k] for k in own]
        return wrong_of(tmp_path, "[[measured]]".join([head, *tables]) + f"[moved]\nbefore = {before}\n"
                        f"board_limit = {limit}\n")

    text = moved_job(first, before=6)
    undrilled = re.sub("^drilled = .*\n", "", text, flags=re.M)
    for own, other in ((range(4), "part 2"), (range(4, 8), "part 1")):
        for job in (text, undrilled):  # the latter has them drilled by the programs before
            wrong = told(own, job)
            assert (wrong.where, "too near each other for parts" in str(wrong)) == ("[[measured]]", True)
            assert wrong.remedy.startswith(f"measure the marks of {other} too")
    assert told((0, 1, 4, 5), text, limit=0.02).remedy.startswith("measure the marks of parts 1 and 2 too")
    assert told(range(8), text, limit=0.02).remedy.startswith("measure marks further apart")
    assert told(range(4), undrilled, before=max(drills)).remedy.startswith("measure marks further apart")


def test_parts_too_far_from_the_marks_of_the_others_are_told_of(tmp_path):
    """Marks of the first part alone: what they leave open at the second, before they are drilled; and nothing where
    both have some, or none has."""
    marks = _with_room(FILLED) + MARKS
    text = MARKED.replace("filled.toml", "other.toml", 1)
    told = []
    for one, other in ((marks, marks), (_with_room(FILLED), marks), (_with_room(FILLED),) * 2):
        both = blank_clampings(load_job(blank(tmp_path, text, filled=one, other=other)))
        told.append([[f.code for f in moving_findings(clamping)] for clamping in both])
    assert told == [[[], []], [[], ["marks-too-near"]], [[], []]]


@pytest.mark.parametrize("z_zero", ["bed", "stock-top"])
def test_zero_of_all_parts_is_tried_at_one_place(tmp_path, z_zero):
    """A place of its own for each part came when others were cut already: it said to correct the thickness then."""
    text = TWO.replace("[[part]]", f'[setup]\nz_zero = "{z_zero}"\n[[part]]', 1)
    text = text.replace('"filled.toml"\nat = [178', '"other.toml"\nat = [178')
    other = FILLED.replace('cutters = ["flat 3"]', 'cutters = ["flat 2"]') + """
[[cutter]]
name = "flat 2"
shape = "flat-end"
diameter = 2.0
flute_length = 12.0
speed = 12000
feed = 1200.0
plunge = 300.0
stepdown = 1.0
"""
    plans = blank_plans(load_job(blank(tmp_path, text, filled=FILLED, other=other)))
    tried = {plan.clamping.steps[order - 1].number: one for plan in plans for order, one in plan.zero_checks.items()}
    assert [one.like for _, one in sorted(tried.items())] == [None, *[1] * (len(tried) - 1)]
    assert len(tried) >= 5
    # beside both plates by more than the widest cutter, and on the blank: zero is its near lower corner
    (x, y, _), = {tuple(np.round(one.display, 6)) for one in tried.values()}
    assert 0 < x < 300
    assert 0 < y < 130
    for plan in plans:
        first = plan.zero_checks[min(plan.zero_checks)]
        there = plan.clamping.to_machine(np.array([[first.x, first.y, 0.0]]))[0]
        assert there[:2] == pytest.approx([x, y], abs=1e-6)
        assert plan.clamping.board.outline.distance(shapely.Point(first.x, first.y)) > 3.0
    said = [line for plan in plans for step, start in zip(plan.clamping.steps, plan.starts, strict=True)
            if step.number > 1 for line in before_start(plan.clamping, step, start)]
    assert not [line for line in said if "If it stays off" in line]
    # with no such place that all reach, a part's own is no cause to change what is half cut
    second = plans[1]
    own = zero_checks(second.around)
    first = second.clamping.steps[min(own) - 1]
    alone = before_start(second.clamping, first, replace(second.starts[first.order - 1], zero=own[first.order]))
    off = [line for line in alone if "If it stays off" in line]
    assert [("leave Z 0" in line, "build again" in line) for line in off] == [(True, False)]


def test_marks_keep_off_the_clamps_of_the_common_blank(tmp_path):
    """Those in a part's own job stand round its own blank; these may stand on its share."""
    clamp = "[setup]\nkeep_out = [{ along = [0, 20], across = [-70, -40], height = 12 }]\n"
    for text in (MARKED, MARKED.replace("[[part]]", f"{clamp}[[part]]", 1)):
        job = load_job(blank(tmp_path, text, filled=_with_room(FILLED) + MARKS))
        first = blank_clampings(job)[0]
        x, y = first.to_machine(np.insert(first.feature(WitnessMarks).places, 2, 3.4, axis=1))[:, :2].T
        near = (x < 28.0) & (y < 95.0 - 40.0 + 8.0)  # zero is the near lower corner; 8 mm off a clamp
        assert near.any() == ("keep_out" not in text)


def test_after_marks_have_been_measured_the_cutter_is_fitted_again_whatever_part_comes_next(tmp_path):
    """The ball that drills a part's marks surfaces it, and drills those of the other part: a pointed one came between.
    """
    parts = blank_clampings(load_job(blank(tmp_path, MARKED, filled=_with_room(SURFACED) + MARKS)))
    steps = sorted((step for one in parts for step in one.steps), key=lambda step: step.number)
    assert [step.turn.stays for last, step in itertools.pairwise(steps)
            if last.operation.name == "witness-marks"] == [False] * 2
