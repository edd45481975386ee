"""What the maker is told before the first program: where the work lies, and what to trust when Z looks wrong."""

from __future__ import annotations

import pytest

import pathgen
from pathgen.job.clamping import clamping_of
from pathgen.programs.instructions import before_start
from pathgen.programs.zero_check import zero_checks
from pathgen.programs.zeroing import references
from tests.small_board import SLOT_CUTTER, job

OUTLINE = '[outline]\ncutter = "flat"\nthrough = 0.3\n'


def told(folder, order, **changed):
    clamping = clamping_of(pathgen.load_job(job(folder, **changed)))
    return before_start(clamping, clamping.steps[order - 1], zero=zero_checks(clamping).get(order))


@pytest.mark.parametrize(("setup", "spans"), [
    ("", "X -20 mm to 105 mm and from Y -33 mm to 33 mm"),
    ('zero = "blank-nut-bass"\n', "X 0 mm to 125 mm and from Y 0 mm to 66 mm"),
    ('along = "y"\n', "X -33 mm to 33 mm and from Y -20 mm to 105 mm"),
])
def test_the_blank_is_found_by_its_edges(tmp_path, setup, spans):
    """125 by 66 mm, 20 mm before the nut; the ball has a radius of 6.35 mm."""
    (line,) = [line for line in told(tmp_path, 1, extra=f"[setup]\n{setup}") if line.startswith("Set X 0 and Y 0")]
    assert f"The blank then reaches from {spans}: " in line
    assert line.endswith("half the cutter, 6.35 mm, beyond that.")


def test_a_blank_of_another_thickness_is_not_mended_at_z_0(tmp_path):
    lines = told(tmp_path, 1)
    assert any(line.startswith("Measure the blank: the job says 8 mm thick.") for line in lines)
    assert any("over the bare raw top" in line for line in lines)
    assert "leave Z 0, write [stock] thickness as measured, and build again." in lines[-1]
    assert not any("leave Z 0" in line or "Measure the blank" in line for line in told(tmp_path, 2))
    top = told(tmp_path, 1, extra='[setup]\nz_zero = "stock-top"\n')  # it is where Z 0 is: nothing to measure
    assert not any("leave Z 0" in line or "Measure the blank" in line for line in top)


def test_a_spoilboard_is_asked_for_before_the_first_cut(tmp_path):
    (line,) = [line for line in told(tmp_path, 1, extra=OUTLINE) if "spoilboard" in line]
    assert "a cutter comes 0.3 mm into it" in line
    assert not any("spoilboard" in line for line in told(tmp_path, 1))


def test_a_cutter_that_stays_is_not_zeroed_again(tmp_path):
    assert any(line.startswith("Fit flat ") for line in told(tmp_path, 4, extra=OUTLINE))  # after the ball
    more = '[[inlay]]\nartwork = "art.svg"\ndepth = 1.0\ncutters = ["flat"]\nfill = "none"\n' \
           "place = { at = [45.0, 0.0] }\n"
    stays = told(tmp_path, 3, extra=OUTLINE, changes={"overfill = 0.7": 'fill = "none"', "[resin]": more + "[resin]"})
    assert "flat (flat-end, 2 mm) stays in the spindle, and its Z 0 as it is." in stays


def test_the_surface_is_gone_under_fill_from_the_pour_until_it_is_cut_again(tmp_path):
    slots = SLOT_CUTTER + '[slots]\ncutter = "slot"\ndepth = 2.0\n'
    clamping = clamping_of(pathgen.load_job(job(tmp_path, extra=slots)))
    covered = ["the cut surface, under fill" in one.gone for one in references(clamping)]
    fill = next(k for k, s in enumerate(clamping.steps) if s.operation.opens is not None)
    again = next(k for k, s in enumerate(clamping.steps) if s.operation.levels is not None)
    assert covered == [fill < k <= again for k in range(len(clamping.steps))]
