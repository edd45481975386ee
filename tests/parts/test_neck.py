"""The neck against a drawing of it that is turned as a whole, and against the rule that makers use."""

import math
from dataclasses import replace

import pytest
import shapely
from shapely import affinity

from pathgen.base.errors import JobError
from pathgen.base.units import fine_length
from pathgen.job.clamping import clamping_of
from pathgen.job.doubts import doubts_of
from pathgen.parts.fingerboard.neck import Neck, neck_rows, neck_table
from pathgen.report.neck import neck_faults, neck_findings, neck_lines, neck_pairs, side_picture
from tests import small_board
from tests.boards import fingerboard
from tests.report.labels import cut_off, labels

NECK = Neck(kind="steel", angle=1.7, joint_fret=14, fret_height=1.1, action_12=2.2, action_nut=0.4, joint_height=1.3,
            body_at_bridge=-0.6, head_angle=14.0, head_length=170.0, head_thickness=15.0, tenon=55.0)
BOARD = {"scale_length": 640.0, "joint": 355.0, "thickness": 6.0}


def drawn(neck, *, scale_length, joint, thickness):
    """Saddle over body, by drawing nut, board and string level and turning the drawing round the joint."""
    string = shapely.LineString([(0.0, thickness + neck.fret_height + neck.action_nut),
                                 (scale_length / 2, thickness + neck.fret_height + neck.action_12)])
    (x0, y0), (x1, y1) = string.coords
    saddle = shapely.Point(scale_length, y1 + (y1 - y0) / (x1 - x0) * (scale_length - x1))
    turned = affinity.rotate(saddle, neck.angle, origin=(joint, 0.0))
    return turned.x - joint, turned.y + neck.joint_height - neck.body_at_bridge


@pytest.mark.parametrize("angle", [-1.0, 0.0, 1.7, 4.0])
def test_the_saddle_stands_where_the_turned_drawing_has_it(angle):
    neck = replace(NECK, angle=angle)
    found = neck_table(neck, **BOARD)
    x, height = drawn(neck, **BOARD)
    assert found.saddle == pytest.approx(height, abs=1e-9)
    assert found.saddle_at[0] == pytest.approx(x, abs=1e-9)
    more = drawn(replace(neck, angle=angle + 0.1), **BOARD)[1]
    assert found.per_tenth == pytest.approx(more - height, abs=1e-9)


def test_the_angle_for_a_wanted_saddle_gives_it():
    found = neck_table(replace(NECK, saddle=13.25), **BOARD)
    assert drawn(replace(NECK, angle=found.angle_for), **BOARD)[1] == pytest.approx(13.25, abs=1e-9)


def test_the_plane_of_the_frets_rises_with_the_tangent():
    """Derived (trigonometry): the plane rises tan(a) for each mm, the action doubles to the bridge."""
    neck = Neck(kind="steel", angle=1.5, joint_fret=14, fret_height=1.0, action_12=2.0, action_nut=0.0)
    found = neck_table(neck, **BOARD)
    rise = math.tan(math.radians(1.5)) * found.saddle_at[0]
    assert found.saddle == pytest.approx(rise + (6.0 + 1.0 + 2 * 2.0) / math.cos(math.radians(1.5)), abs=1e-9)


def test_the_blank_holds_neck_and_turned_head():
    head = affinity.rotate(shapely.box(-170.0, -15.0, 0.0, 0.0), 14.0, origin=(0.0, 0.0))
    x0, y0, x1, y1 = head.bounds
    found = neck_table(replace(NECK, blank=590.0), **BOARD)
    assert found.least_blank == pytest.approx(x1 - x0 + 355.0 + 55.0 + 20.0, abs=1e-9)
    assert found.least_blank_depth == pytest.approx(y1 - y0, abs=1e-9)
    assert found.blank_short == pytest.approx(found.least_blank - 590.0)
    assert found.blank_short > 8


def test_usual_ranges_say_too_high_and_too_low():
    """M, common practice: steel strings 10 to 14 mm over a flat top, nylon 9 to 12."""
    assert neck_table(replace(NECK, kind="nylon", saddle=10.5, angle=0.4), **BOARD).wanted == (9.0, 12.0)
    assert neck_table(replace(NECK, angle=4.0), **BOARD).too_high > 10
    assert neck_table(replace(NECK, angle=-2.0), **BOARD).too_high < 0
    assert neck_table(replace(NECK, saddle=12.0, angle=0.4), **BOARD).wanted == (10.0, 14.0)


@pytest.mark.parametrize(("change", "where"), [
    ({"action_12": -0.1}, "action_12"), ({"action_nut": -0.1}, "action_nut"), ({"action_nut": 5.0}, "action_nut"),
    ({"kind": "other"}, "saddle_range"), ({"saddle": 400.0}, "saddle"),
    ({"saddle": 15.6, "saddle_range": (6.0, 14.0)}, r"saddle: 15.6 mm, and saddle_range is 6 to 14 mm"),
])
def test_what_cannot_be_is_refused(change, where):
    with pytest.raises(JobError, match=where):
        neck_table(replace(NECK, **change), **BOARD)


PLAIN = fingerboard(scale_lengths=(640.0, 640.0), frets=20, nut_width=43.0, end_width=55.0, past_last_fret=10.0,
                    thickness=6.0, radius=(300.0, 300.0))


def test_the_side_picture_is_the_turned_drawing():
    data = neck_rows(NECK, PLAIN)
    joint = 640.0 * (1 - 2 ** (-14 / 12))
    level = shapely.box(0.0, 0.0, PLAIN.length, 6.0)
    turned = affinity.translate(affinity.rotate(level, NECK.angle, origin=(joint, 0.0)), -joint, NECK.joint_height)
    assert shapely.Polygon(data["side"]["board"]).symmetric_difference(turned).area < 0.05  # points to 0.01 um
    x, height = drawn(NECK, scale_length=640.0, joint=joint, thickness=6.0)
    assert data["side"]["string"][1] == pytest.approx([x, height + NECK.body_at_bridge], abs=1e-5)
    assert data["side"]["body"][1] == pytest.approx([x, -0.6], abs=1e-5)
    picture = side_picture(data, "mm")
    _, _, wide, high = (float(v) for v in picture.get("viewBox").split())
    assert picture.get("width") == f"{wide:g}mm"
    assert picture.get("height") == f"{high:g}mm"
    ((words, _),) = labels(picture)
    assert words == fine_length(data["saddle"], "mm")
    assert float(next(picture.iter("text")).get("font-size")) / wide * 186.0 >= 2.47  # mm: 7 points across A4
    assert cut_off(picture) == []


def test_too_high_and_too_short_are_said():
    data = neck_rows(replace(NECK, angle=4.0, blank=500.0), PLAIN)
    high, short = neck_findings(data)
    assert [(f.code, f.severity) for f in (high, short)] == [("saddle-height", "warn"), ("neck-blank", "warn")]
    over = drawn(replace(NECK, angle=4.0), scale_length=640.0, joint=640.0 * (1 - 2 ** (-14 / 12)), thickness=6.0)[1]
    assert f"{over:.2f} mm over the body, {over - 14.0:.2f} mm too high" in high.got
    assert "of a smaller instrument measure its bridge, and give saddle_range" in high.remedy
    (wanted,) = neck_findings(neck_rows(replace(NECK, angle=4.0, saddle=15.6), PLAIN))  # which is too high itself
    assert "for 15.6 mm" in wanted.remedy
    assert "or for such a saddle, measure its bridge, and give saddle_range" in wanted.remedy
    assert neck_faults([short])[0].startswith("warning: 500 mm long, ")
    own = neck_findings(neck_rows(replace(NECK, kind="other", saddle_range=(5.0, 6.0)), PLAIN))
    assert [f.severity for f in own] == ["warn"]  # the build warned of what this command forbade
    assert "saddle_range" not in own[0].remedy
    assert neck_findings(neck_rows(replace(NECK, saddle_range=(5.0, 60.0)), PLAIN)) == []
    assert any("range 10 mm to 14 mm" in line for line in neck_lines(data, "mm"))


def test_what_is_wrong_in_inches_is_what_the_table_says():
    """Of millimetres that were rounded first it said 1.0988 in, and the table 1.0986 in."""
    data = neck_rows(replace(NECK, angle=3.0), PLAIN)
    high = dict(neck_pairs(data, "in"))["top of the saddle over the body"].split(" (")[0]
    assert f": the saddle stands {high} over" in neck_faults(neck_findings(data, "in"), "in")[0]


def test_a_joint_at_no_fret_is_refused():
    with pytest.raises(JobError, match=r"no fret 21 \(allowed: 1 to 20\)"):
        neck_rows(replace(NECK, joint_fret=21), PLAIN)


@pytest.mark.parametrize(("zero", "nut", "clear", "told"), [
    ("false", "", "", 0.2), ("false", "", "clear = 0.5", 0.5), ("true", "", "", 0.0),
    ("false", "action_nut = 0.0", "", "0 mm, and [strings] clear is 0.2 mm, as it is where it is not written"),
    ("false", "action_nut = 0.3", "clear = 0.5", "0.3 mm, and [strings] clear is 0.5 mm"),
    ("true", "action_nut = 0.3", "", "0.3 mm, and [strings] clear is -0.2 mm"),
])
def test_how_high_the_strings_lie_at_the_nut_is_said_once(tmp_path, zero, nut, clear, told):
    """The saddle was reckoned with none at the nut, unsaid, where [strings] said how much: 0.2 mm too high."""
    job = small_board.dotted_job(tmp_path, ("[board]\n", f"[board]\nzero_fret = {zero}\nbehind_nut = 5.0\n"),
                                 ("action_12 = 2.0", f"action_12 = 2.0\n{nut}"), ("[neck]", f"{clear}\n[neck]"))
    found = [one.problem for one in doubts_of(job, clamping_of(job)) if one.where == "[neck] action_nut"]
    assert (found or job.neck.action_nut) == ([told] if isinstance(told, str) else told)
