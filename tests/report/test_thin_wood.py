"""Wood left standing too thin: found where it was drawn, and not where there is none."""

import re

import pytest

import pathgen
from pathgen.job.clamping import clamping_of
from pathgen.report.thin_wood import thin_wood_findings
from tests.small_board import job

SLOTS = """
[[cutter]]
name = "slot"
shape = "flat-end"
diameter = 0.6
speed = 18000
feed = 400.0
plunge = 100.0
stepdown = 0.5
[slots]
cutter = "slot"
width = 0.6
depth = 1.8
"""


def drawing(gap, x=10):
    """Two squares of 5 mm with so much wood between them, in a page of 40 by 30 mm about X 45, Y 0."""
    return ('<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
            f'<rect x="{x}" y="12" width="5" height="5" fill="#225577"/>'
            f'<rect x="{x + 5 + gap}" y="12" width="5" height="5" fill="#225577"/></svg>')


def found(folder, art, extra=""):
    return thin_wood_findings(clamping_of(pathgen.load_job(job(folder, art=art, extra=extra))))


@pytest.mark.parametrize(("gap", "count"), [(0.3, 1), (0.39, 1), (0.41, 0), (0.04, 0), (2.0, 0)])
def test_between_pockets(tmp_path, gap, count):
    warned = found(tmp_path, drawing(gap))
    assert len(warned) == count
    if count:
        # the page's left edge lies at X 25: the wood is at 25 + 15 + gap / 2
        along, across = (float(w) for w in re.findall(r"(-?[0-9.]+) mm", warned[0].where))
        assert along == pytest.approx(25 + 15 + gap / 2, abs=0.006)
        assert -2.0 <= across <= 3.0
        assert warned[0].got.startswith(f"{gap:.2f} mm of wood is left standing between pockets")
        assert (warned[0].severity, warned[0].allowed) == ("warn", "0.4 mm")


@pytest.mark.parametrize(("gap", "count"), [(0.2, 1), (0.5, 0), (-0.2, 0)])
def test_between_a_pocket_and_a_slot(tmp_path, gap, count):
    fret = 300.0 - 300.0 / 2 ** (2 / 12)  # equal temperament
    x = fret + 0.3 + gap - 25.0
    warned = found(tmp_path, drawing(3.0, x), SLOTS)
    assert len(warned) == count
    assert all("0.20 mm of wood is left standing between a pocket and the slot of fret 2" in f.got for f in warned)
