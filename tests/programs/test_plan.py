"""What is planned for a job is planned once."""

import pytest

from pathgen.base.memory import content_key
from pathgen.programs import plan
from pathgen.strategies import roughing, surfacing
from tests.small_board import SLOTS, built

pytestmark = pytest.mark.usefixtures("afresh")
ROUGHED = {"scallop = 0.05": 'scallop = 0.05\nrough = "flat"', "[resin]": "[resurface]\nstepdown = 0.4\n[resin]"}


def test_a_build_plans_each_cut_and_looks_for_places_to_try_zero_once(tmp_path, monkeypatch):
    """Where programs cut is asked for zero too, and passes by the advice on minutes."""
    asked = {"roughing_runs": [], "_widest": [], "zero_checks": []}
    for module, name in ((roughing, "roughing_runs"), (surfacing, "_widest"), (plan, "zero_checks")):
        monkeypatch.setattr(module, name, _counted(asked[name], getattr(module, name)))
    made = built(tmp_path, resolution=0.4, changes=ROUGHED, extra=SLOTS)
    assert {"surface-rough", "slots"} <= {p.operation for p in made.programs}
    assert made.report["zero_checks"]
    assert len(asked["roughing_runs"]) == len(asked["zero_checks"]) == 1
    passes = [content_key(args) for args in asked["_widest"]]
    assert len(passes) == len(set(passes)) >= 2


def _counted(calls, function):
    def asked(*args, **kwargs):
        calls.append(args)
        return function(*args, **kwargs)

    return asked
