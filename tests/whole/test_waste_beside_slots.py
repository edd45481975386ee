"""Slots run out into waste that a small finishing ball left standing high beside the board, at both ends: by no more
than a stepdown at once, by the tests' own simulation, which shares nothing with the program."""

import pytest

import pathgen
from tests import random_jobs
from tests.small_board import SLOT_CUTTER, job

SHORT = {"scale_length = 300.0": "scale_length = 100.0", "length = 125.0": "length = 70.0",
         "diameter = 12.7": "diameter = 1.5"}
SLIM = SLOT_CUTTER.split("[slots]")[0].replace("stepdown = 0.5", "stepdown = 0.25")


@pytest.mark.in_every_run(1)
@pytest.mark.parametrize(("entry", "width"), [("ramp", 0.6), ("peck", 1.4)])
def test_waste_at_either_end_is_come_into_by_steps(tmp_path, entry, width):
    slots = f'[slots]\ncutter = "slot"\nwidth = {width}\ndepth = 1.8\nentry = "{entry}"\n'
    path = job(tmp_path, changes=SHORT, extra=SLIM + slots)
    text = path.read_text()
    path.write_text(text[: text.index("[[inlay]]")] + text[text.index("[[cutter]]", text.index("[resin]")):])
    built = pathgen.build(pathgen.load_job(path), resolution=0.2, pictures=False)
    assert built.passed
    assert random_jobs.cut_again(built, cell=0.2) == []
