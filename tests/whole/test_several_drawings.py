"""Several drawings of one inlay: one pour, one second cut."""

import numpy as np
import pytest

from tests.small_board import built, svg


def test_several_drawings_are_cut_poured_and_cut_level_at_once(tmp_path):
    (tmp_path / "other.svg").write_text(svg('<path d="M1 1h10v10H1z" fill="#225577"/>', 12, 12))
    also = "also = [{ artwork = \"other.svg\", place = { at = [80.0, 4.0] } }]"
    made = built(tmp_path, resolution=0.1, changes={"overfill = 0.7": f"overfill = 0.7\n{also}",
                                                            "waste = 0.25": "waste = 0.25\ndam = 0.5"})
    assert made.passed
    assert [p.operation for p in made.programs if p.operation in ("pocket", "resurface")] == ["pocket", "resurface"]
    (inlay,), (measure,) = made.report["inlays"], made.verification.pockets
    # a disc of 8 mm, a rectangle of 12 by 9 and a square of 10, less the cutter's rounding of eight corners
    drawn = np.pi * 8.0**2 + 12.0 * 9.0 + 10.0**2
    assert inlay["area"] == pytest.approx(drawn, rel=1e-3)
    assert measure.area == pytest.approx(drawn - 8 * (1 - np.pi / 4), rel=0.01)
    # level resin inside a dam round each of the three, 0.5 mm outside it, and no taut thread across the board
    (dams,) = made.plan.dams
    assert sorted(one.inside.area for one in dams) == pytest.approx(sorted(
        area + 0.5 * round_ + np.pi * 0.5**2 for area, round_ in (
            (np.pi * 8.0**2, 2 * np.pi * 8.0), (12.0 * 9.0, 2 * (12.0 + 9.0)), (10.0**2, 4 * 10.0))), rel=0.005)
