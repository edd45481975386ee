"""What a build says of faults in programs that it has just planned itself."""

from dataclasses import replace

import pytest

import pathgen
from pathgen.app import building
from pathgen.base.errors import PathgenError
from pathgen.base.toolpath import Toolpath
from pathgen.verify.findings import AGAIN
from pathgen.work.operations import Outline, Slot
from tests.small_board import SLOT_CUTTER, job

STEPS = '\n[slots]\ncutter = "slot"\nwidth = 0.6\ndepth = 1.4\nends = "through"\n[outline]\ncutter = "flat"\n'


@pytest.mark.parametrize("kind", [Slot, Outline])
def test_nobody_is_told_to_make_fresh_programs_again(tmp_path, monkeypatch, kind):
    """A path spoilt on its way to the text: the remedy names what of the job may be tried."""
    small = pathgen.load_job(job(tmp_path, extra=SLOT_CUTTER + STEPS))
    planned = building.planned_of(small)
    place = next(i for i, step in enumerate(planned.clamping.steps) if type(step.operation) is kind)
    path = planned.paths[place]
    aside = Toolpath(path.points + [0.3, 0.3, 0.0], path.kinds)
    spoilt = replace(planned, paths=(*planned.paths[:place], aside, *planned.paths[place + 1 :]))
    monkeypatch.setattr(building, "planned_of", lambda job, clamping=None: spoilt)
    built = building.build(small, resolution=0.3)
    assert any(kind.instead in f.remedy for f in built.verification.findings if f.severity == "forbid")
    assert not any(AGAIN in f.remedy for f in built.verification.findings)
    with pytest.raises(PathgenError, match="nothing was written"):
        built.refuse_faults()
