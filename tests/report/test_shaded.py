"""The pictures of the wood against the drawing, placed: colours where they should be, nothing mirrored."""

import io
import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from PIL import Image

from pathgen.app.cli import main
from pathgen.base.contrast import contrast_ratio
from pathgen.base.shading import TILT, TURN
from pathgen.report.pictures.poured import as_poured, pours_of
from pathgen.report.pictures.shaded import BED, PLAIN_WOOD, shaded_board
from pathgen.verify import simulate
from tests import small_board
from tests.report.conftest import written_job


@pytest.fixture(params=["built", "turned"])
def build(request):
    return request.getfixturevalue(request.param)


def pixels(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def rgb(colour):
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])


def places(picture, bounds):
    """The place that each pixel shows, by nothing but the extent: X to the right, Y up."""
    x0, y0, x1, y1 = bounds
    rows, columns = picture.shape[:2]
    xs = x0 + (np.arange(columns) + 0.5) / columns * (x1 - x0)
    ys = y1 - (np.arange(rows) + 0.5) / rows * (y1 - y0)
    return np.meshgrid(xs, ys)


def shares_seen(picture, clamping):
    """For each colour of each inlay, the share of its pixels, well inside it, that show it.

    Shading changes how light a colour is, not which it is.
    """
    colours = [*{colour for inlay in clamping.inlays for colour in inlay.colours}, PLAIN_WOOD]
    tones = np.array([rgb(colour) / rgb(colour).sum() for colour in colours])
    shown = picture / np.maximum(picture.sum(axis=2, keepdims=True), 1)
    nearest = np.abs(shown[..., None, :] - tones).sum(axis=3).argmin(axis=2)
    xs, ys = places(picture, clamping.board.outline.bounds)
    for inlay in clamping.inlays:
        for colour, shape in inlay.regions:
            inside = shapely.contains_xy(shape.buffer(-0.6), xs, ys)
            assert inside.sum() > 100
            yield (nearest[inside] == colours.index(colour)).mean()


def test_fills_are_seen_where_they_were_drawn_and_not_mirrored(build):
    picture, clamping = pixels(build.shaded_pictures()["finished.png"]), build.plan.clamping
    straight = min(shares_seen(picture, clamping))
    for mirrored in (picture[::-1], picture[:, ::-1], picture[::-1, ::-1]):
        assert min(shares_seen(mirrored, clamping)) < straight - 0.05
    assert straight > 0.9


def test_the_first_picture_shows_the_whole_blank_and_the_last_the_board_cut_free(build):
    found = {name: pixels(data) for name, data in build.shaded_pictures().items()}
    assert not (found["after-01.png"] == BED).all(axis=2).any()
    outline = build.plan.clamping.board.outline
    x0, y0, x1, y1 = outline.bounds
    gone = (found["finished.png"] == BED).all(axis=2).mean()
    assert gone == pytest.approx(1 - outline.area / ((x1 - x0) * (y1 - y0)), abs=0.01)


def test_a_png_holds_its_scale(build):
    picture = Image.open(io.BytesIO(build.shaded_pictures()["finished.png"]))
    x0, _, x1, _ = build.plan.clamping.board.outline.bounds
    assert picture.width / picture.info["dpi"][0] * 25.4 == pytest.approx(x1 - x0, abs=0.7)


def test_the_page_shows_the_board_first_one_picture_for_each_program_and_four_for_each_inlay(build):
    page = build.files()["setup.html"]
    assert page.index('id="finished"') < page.index('id="board"')
    words = re.findall(r'<img src="data:image/jpeg;base64,[^"]+" alt="([^"]+)"', page)
    assert sum(w.startswith("The work from above after program") for w in words) == len(build.programs)
    assert [w.partition(":")[0] for w in words if w.startswith("The finished")] == [
        "The finished board from above", "The finished board at an angle, heights are drawn 4 times as high."]
    assert sum(w.startswith("inlay") for w in words) == 4 * len(build.plan.clamping.inlays)
    angled = re.findall("<figcaption>[^<]*heights are drawn 4 times as high", page)
    assert len(angled) == 1 + len(build.plan.clamping.inlays)
    assert "<img" not in build.files(shaded=False)["setup.html"]


def test_a_pocket_is_dark_and_a_fill_has_its_colour_where_they_were_drawn(build):
    (one,), files = build.verification.simulation.closeups, build.shaded_pictures()
    grid, clamping = one.opened.grid, build.plan.clamping
    half = one.opened.spacing / 2
    bounds = (grid.xs[0] - half, grid.ys[0] - half, grid.xs[-1] + half, grid.ys[-1] + half)
    opened, filled, done = (pixels(files[f"inlay-1-{name}.png"]) for name in ("opened", "filled", "finished"))
    xs, ys = places(opened, bounds)
    for colour, shape in clamping.inlays[0].regions:
        inside = shapely.contains_xy(shape.buffer(-0.6), xs, ys)
        beside = shapely.contains_xy(shape.buffer(2.5).difference(shape.buffer(0.6)), xs, ys)
        assert opened[inside].sum(axis=1).mean() < 0.7 * opened[beside].sum(axis=1).mean()
        assert np.abs(filled[inside] - rgb(colour)).mean() < 12
        share = np.abs(done[inside] / done[inside].sum(axis=1, keepdims=True) - rgb(colour) / rgb(colour).sum())
        assert np.median(share) < 0.01
        assert np.abs(np.median(filled[beside], axis=0) - rgb(PLAIN_WOOD)).max() > 30, "proud fill lies over the edge"


def test_resin_stands_level_inside_its_dam_and_nowhere_else(build):
    """As it is counted: 2 mm out from the hull of each colour by default, over the highest place of the drawing."""
    (one,), plan, stages = build.verification.simulation.closeups, build.plan, build.verification.simulation.stages
    (pour,) = pours_of(plan)
    inlay = plan.clamping.inlays[0]
    hulls = shapely.union_all([shape.convex_hull for _, shape in inlay.regions])
    shown = as_poured(plan, stages, [pour])
    assert [place for place, stage in enumerate(stages) if shown[place] is not stage] == [
        p.order - 1 for p in build.programs if p.step.operation.opens is inlay][-1:]
    poured = next(a for a, b in zip(shown, stages, strict=True) if a is not b)
    for stage, simulated in ((pour.over(one.opened, one.filled), one.filled), (poured, stages[poured.order - 1])):
        xs, ys = np.meshgrid(stage.grid.xs, stage.grid.ys)
        near, filled = shapely.contains_xy(shapely.box(*hulls.bounds).buffer(4.0), xs, ys), stage.fill > 0
        far = np.full(xs.shape, np.inf)
        far[near] = shapely.distance(hulls, shapely.points(xs[near], ys[near]))
        assert far[simulated.fill > 0].max() > 2.5, "the verification knows of no dam"
        assert far[filled].max() <= 2.0
        assert filled[shapely.contains_xy(inlay.area, xs, ys)].all()
        for _, shape in inlay.regions:
            here = filled & shapely.dwithin(shape.convex_hull, shapely.points(xs, ys), 2.0)
            edge = plan.clamping.surface.height(xs[here], ys[here])
            assert np.ptp(stage.heights[here]) == 0
            assert stage.heights[here][0] == pytest.approx(edge.min() + inlay.overfill, abs=0.03)  # the fall is less
        assert (stage.heights[~filled & (far > 3.5)] == simulated.heights[~filled & (far > 3.5)]).all()
        bare = ~filled & (simulated.fill > 0)
        surface = plan.clamping.surface.height(xs[bare], ys[bare])
        assert np.abs(stage.heights[bare] - surface).max() < 0.06, "outside the dam is the wood"
    picture = shaded_board(plan.clamping, poured, None, dam=pour.dam)[::-1]
    assert (picture == 255).all(axis=2).any(), "the dam is drawn"
    assert not (shaded_board(plan.clamping, poured, None) == 255).all(axis=2).any()


def test_fill_that_runs_over_has_the_colour_of_its_own_pocket(tmp_path):
    """Two discs 12 mm apart: the fill is taken to lie 3 mm round each."""
    built = small_board.built(tmp_path, art=small_board.svg(
        '<circle cx="10" cy="15" r="5" fill="#2266cc"/><circle cx="32" cy="15" r="5" fill="#cc8833"/>'))
    (one,) = built.verification.simulation.closeups
    picture = shaded_board(built.plan.clamping, one.filled, None)[::-1].astype(int)
    xs, ys = np.meshgrid(one.filled.grid.xs, one.filled.grid.ys)
    for (_, shape), blue in zip(built.plan.clamping.inlays[0].regions, (True, False), strict=True):
        ring = shapely.contains_xy(shape.buffer(2.5).difference(shape.buffer(0.5)), xs, ys)
        red, _, sky = picture[ring].mean(axis=0)
        assert (sky > red) == blue


def test_what_a_program_left_as_it_was_is_pale(build):
    stages, clamping = build.verification.simulation.stages, build.plan.clamping
    for before, stage in itertools.pairwise(stages):
        plain = shaded_board(clamping, stage, None).astype(int)
        shown = shaded_board(clamping, stage, None, before=before).astype(int)
        changed = (np.abs(stage.heights - before.heights) > 0.05)[::-1]
        same = (stage.heights == before.heights)[::-1] & (stage.heights > 0.1)[::-1]
        stands = changed & (stage.heights > 0.1)[::-1]
        assert changed.any()
        assert (shown[stands] == plain[stands]).all()
        np.testing.assert_allclose(shown[same], 255 - 0.4 * (255 - plain[same]), rtol=0, atol=1.5)


def test_at_an_angle_fills_lie_where_the_drawing_and_the_radius_put_them(build):
    """Places are worked out here point by point from the surface, not from the picture's own painting."""
    clamping, picture = build.plan.clamping, pixels(build.shaded_pictures()["finished-at-an-angle.png"])
    x0, y0, x1, y1 = clamping.board.outline.bounds
    step = build.verification.simulation.stages[-1].spacing
    rows = (y1 - y0) / step

    def seen(at):
        x, y = at
        along, across = (x - x0) / step, (y - y0) / step
        z = float(clamping.finished_surface.height(x, y)) / step
        right = along * np.cos(TURN) - across * np.sin(TURN) + rows * np.sin(TURN)
        away = along * np.sin(TURN) + across * np.cos(TURN)
        up = away * np.sin(TILT) + 4 * z * np.cos(TILT)
        return round(picture.shape[0] - 1 - up + lowest), round(right)

    front = np.flatnonzero((picture != BED).any(axis=2).any(axis=1))[-1]
    near = min((((x - x0) * np.sin(TURN) + (y - y0) * np.cos(TURN)) for x, y in clamping.board.outline.exterior.coords))
    lowest = near / step * np.sin(TILT) - (picture.shape[0] - 1 - front)
    tones = {c: rgb(c) / rgb(c).sum() for c in (*clamping.inlays[0].colours, PLAIN_WOOD)}
    regions = [*clamping.inlays[0].regions,
               (PLAIN_WOOD, clamping.board.outline.buffer(-2).difference(clamping.inlays[0].area.buffer(0.9)))]
    for colour, shape in regions:
        xs, ys = np.meshgrid(np.arange(x0, x1, 1.1), np.arange(y0, y1, 0.7))
        inside = shapely.contains_xy(shape.buffer(-0.9), xs, ys)
        shown = np.array([picture[seen(at)] for at in zip(xs[inside], ys[inside], strict=True)])
        tone = shown / shown.sum(axis=1, keepdims=True)
        nearest = np.abs(tone[:, None] - np.array(list(tones.values()))).sum(axis=2).argmin(axis=1)
        assert (nearest == list(tones).index(colour)).mean() > 0.98, colour


def test_bare_and_finished_wood_are_shown_side_by_side_with_their_contrast(build):
    plan = replace(build.plan, asked=replace(build.plan.asked, wood=("#c8a878", "#7a5630")))
    page = replace(build, plan=plan).files()["setup.html"]
    words = re.findall(r"<figcaption>[^<]*Contrast with the wood as seen here: ([^<.]+(?:\.\d[^<.]*)*)", page)
    assert len(words) == 2
    for found, wood in zip(words, ("#c8a878", "#7a5630"), strict=True):
        for colour in build.plan.clamping.inlays[0].colours:
            ratio = float(re.search(rf"{colour} ([\d.]+):1", found)[1])
            assert ratio == pytest.approx(contrast_ratio(colour, wood), rel=0.12)
    pair = re.search(r'<div class="pair">(.*?)</div>', page, re.S)[1]  # a grid of as many columns as there is room for
    assert re.findall(r'<figure><img[^>]*alt="([^:]*): ', pair) == ["Bare wood", "Under its finish"]


def test_without_pictures_nothing_is_kept_for_them(tmp_path, monkeypatch):
    monkeypatch.setattr(simulate, "stage_after", None)  # whoever copies heights calls it
    assert main(["build", str(written_job(tmp_path)), "--out", str(tmp_path / "out"), "--no-pictures", "--pictures",
                 "--resolution", "0.4"]) == 0
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"setup.html", "board.svg"} <= names
    assert not any(name.endswith(".png") for name in names)
    assert "data:image" not in (tmp_path / "out" / "setup.html").read_text()
