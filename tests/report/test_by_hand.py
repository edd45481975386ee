"""What is to be ready by hand: all that the page asks for later, and nothing that it does not."""

import math
import re
from types import SimpleNamespace

import pytest
import shapely

import pathgen
from pathgen.job.bench import side_dot_clamping
from pathgen.job.clamping import clamping_of
from pathgen.job.nut_and_saddle import nut_and_saddle_clampings
from pathgen.job.pieces import piece_sheets
from pathgen.programs.instructions import before_start
from pathgen.report.filling import _coat
from pathgen.report.filltext import measured_with, to_buy
from pathgen.report.sheet.by_hand import ASKED, by_hand
from pathgen.work.fill_words import to_measure
from tests import small_board
from tests.programs.test_instructions import plan_of
from tests.programs.test_marks import AT, MARKS, PLACES, found
from tests.whole.test_let_in_jobs import EXAMPLE

V = small_board.cutter(name="v", shape="v", angle=60.0, diameter=6.0, speed=16000, feed=600.0, plunge=200.0,
                       stepdown=1.0)


def small_coat(*, radius, deep):
    area = shapely.Point(0, 0).buffer(radius, 64)
    return _coat(SimpleNamespace(area=area), [SimpleNamespace(area=area.area, depth=(deep, deep))])


def asked(clamping, starts=None, more=()):
    each = zip(clamping.steps, starts or [None] * len(clamping.steps), strict=True)
    return by_hand(clamping, [SimpleNamespace(step=step, start=start) for step, start in each], more)


def test_what_the_lists_ask_for_is_to_be_ready(tmp_path):
    job = small_board.job(tmp_path, changes={'cutters = ["flat"]': 'cutters = ["flat", "v"]'},
                          extra=V + '[marks]\ncutter = "flat"\n[outline]\ncutter = "flat"\ntabs = 2\n')
    planned = plan_of(clamping_of(pathgen.load_job(job)))
    full = asked(planned.clamping, planned.starts, ["a pointed cutter or a wiggler"])
    things = ("a feeler or paper 0.1 mm thick", "if the tip is not to touch the bed itself", "a caliper",
              "flat scrap for the trial of the v cutter",
              "a spoilboard", "a loupe", "a pointed cutter for the marks", "a depth gauge for the height of cured fill",
              "double-sided tape for the whole face, or vacuum", "a thickener", "a fine saw",
              "a hard narrow straight bar; abrasive paper", "a scraper", "a pin to prick", "cups and sticks", "gloves",
              "a small brush", "warm water", "a dry cover", "paper to pack hollows with")
    assert [thing for thing in things if thing not in full] == []
    assert "glue" not in full
    assert "dowels" not in full
    plain = plan_of(clamping_of(pathgen.load_job(small_board.job(tmp_path, changes={
        "overfill = 0.7": 'fill = "none"'}))))
    few = asked(plain.clamping, plain.starts)
    assert not any(word in few for word in (
        "scraper", "pin to prick", "cups", "gloves", "first coat", "loupe", "scrap", "depth gauge", "thickener", "saw",
        "tape for the whole"))
    assert "a caliper" in few


def test_what_a_fill_needs_is_to_be_ready_while_a_pocket_that_is_done_may_not_be_filled(tmp_path):
    """Of a pocket cut before the work moved the page says how to fill it, where that was not done."""
    def moved(before):
        extra = f"{MARKS}{AT}{found(*PLACES.tolist())}[moved]\nbefore = {before}\n"
        return clamping_of(pathgen.load_job(small_board.job(tmp_path, extra=extra)))

    steps = moved(2).steps
    pocket, level = (next(s for s in steps if fact(s.operation)) for fact in (lambda o: o.opens, lambda o: o.levels))
    for order, needed in ((pocket.order + 1, True), (level.order + 1, False)):
        clamping = moved(order)
        assert clamping.done(clamping.steps[pocket.order - 1])
        things = asked(clamping).split("; ")
        assert ["a brush, a vacuum" in things, "a thickener that the resin's maker allows" in things] == [needed] * 2


def test_pieces_are_measured_at_their_highest_point():
    """Of "the pieces .. it" nobody knew which."""
    clamping = clamping_of(pathgen.load_job(EXAMPLE))
    said = " ".join(to_measure(clamping.inlays[0], clamping))
    assert "Measure the highest point of the pieces above the surface beside that point: it must be no higher" in said
    assert "a depth gauge for the height of pieces" in asked(clamping)
    assert "a cloth for the glue" in asked(clamping)


def test_the_resin_to_buy_is_counted_over_all_fills():
    """By hand: two fills, one of two colours in one batch of two pours, each with a first coat of the least batch."""
    def batch(total, parts, pours=1, unit="ml"):
        return {"total_volume": total, "parts": parts, "parts_unit": unit, "pours": pours, "measure": 0.1}

    coat = batch(3000.0, {"resin": 2.0, "hardener": 1.0})
    two = [batch(9000.0, {"resin": 6.0, "hardener": 3.0}) | {"colour": colour} for colour in ("#111111", "#222222")]
    one = [batch(6000.0, {"resin": 4.0, "hardener": 2.0}) | {"colour": "#333333"}]
    words = to_buy([(two, batch(12000.0, {"resin": 4.0, "hardener": 2.0}, pours=2), coat), (one, None, coat)])
    assert "24.00 ml mixed (resin 16 ml, hardener 8 ml); 30.00 ml if each colour is mixed by itself." in words
    assert "6.00 ml of it is clear" in words
    assert "have tints for #111111, #222222 and #333333." in words
    weighed, unknown = batch(6000.0, {"resin": 4.0}, unit="g"), batch(6000.0, {})
    assert measured_with([coat, coat, weighed, unknown]) == [
        "measuring cups or syringes that show 0.1 ml", "scales that show 0.1 g",
        "scales or measures, as the resin's sheet mixes"]
    coated = small_coat(radius=10.0, deep=1.5)
    assert coated == pytest.approx(0.2 * (math.pi * 100 + 1.5 * 20 * math.pi), rel=0.01)  # floor and walls


def test_what_a_nut_or_side_dots_are_held_with_is_to_be_ready(tmp_path):
    """What holds them was in none of their lists; how a board stands on its edge was told twice over."""
    job = small_board.dotted_job(tmp_path)
    nut, edge = plan_of(nut_and_saddle_clampings(job)[0]), side_dot_clamping(job)
    things = set(asked(nut.clamping, nut.starts).split("; "))
    assert {"double-sided tape for the whole face", "a caliper", "a file"} <= things
    assert {"a vice", "two straight pieces of wood", "a square"} <= set(asked(edge).split("; "))
    assert re.search("; a block or wedge [0-9.]+ mm high(;|$)", asked(edge))
    held = [line for line in before_start(edge, edge.steps[0]) if re.match("(Put|Hold) the board", line)]
    assert [line.split(",")[0] for line in held] == ["Put the board between two straight pieces of wood in a vice"]


def test_no_pattern_asks_for_what_nothing_says(tmp_path):
    marked = small_board.job(tmp_path, changes={'cutters = ["flat"]': 'cutters = ["flat", "v"]'},
                             extra=V + '[marks]\ncutter = "flat"\n[outline]\ncutter = "flat"\n')
    planned = plan_of(clamping_of(pathgen.load_job(marked)))
    wide = 'finish = "ball"', 'finish = "wide"'
    ball = small_board.cutter(name="wide", shape="ball-end", diameter=20.0, speed=16000, feed=2400.0, plunge=600.0,
                              stepdown=3.0)
    pinned = clamping_of(pathgen.load_job(small_board.job(tmp_path, changes=dict([wide]), extra=ball)))
    let_in = pathgen.load_job(EXAMPLE)
    turned = clamping_of(pathgen.load_job("examples/boards/truss-rod.toml"))
    said = "; ".join((asked(planned.clamping, planned.starts, ["a pointed cutter"]), asked(pinned),
                      asked(clamping_of(let_in)), asked(piece_sheets(let_in)[0].clamping), asked(turned),
                      asked(side_dot_clamping(small_board.dotted_job(tmp_path))),
                      asked(nut_and_saddle_clampings(small_board.dotted_job(tmp_path))[0])))
    assert [thing for _, thing in ASKED if not re.search(re.sub(r"\{\d\}", ".+", thing), said)] == []
