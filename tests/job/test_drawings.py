"""Drawings on the board: at a point, between frets, at several frets, along an edge."""

import re
from pathlib import Path

import numpy as np
import pytest
import shapely

from pathgen import ArtworkError, JobError, load_job
from pathgen.job.clamping import clamping_of
from pathgen.job.doubts import doubts_of
from pathgen.job.load import drawings_named
from pathgen.report.placed import placed_sizes, placed_words
from pathgen.report.text import _inlay_words
from tests import small_board

EXAMPLE = Path(__file__).parents[2] / "examples" / "fern-and-moth.toml"

# a lens off the middle of its page, with a white ring on it and a line of text
LENS = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20">
<path fill="#2f6f4f" d="M2,10 C8,2 18,2 24,10 C18,18 8,18 2,10 Z"/>
<circle fill="#ffffff" cx="13" cy="10" r="3"/>{more}</svg>"""


@pytest.fixture
def inlay(tmp_path):
    """The one inlay of a job whose [[inlay]] table holds the given lines."""

    def make(lines, more="", head="width='40mm' height='20mm' "):
        drawing = LENS.replace('width="40mm" height="20mm" ', head).replace("{more}", more)
        (tmp_path / "lens.svg").write_text(drawing)
        text = EXAMPLE.read_text()
        start, end = text.index("[[inlay]]"), text.index("[resurface]")
        table = f'[[inlay]]\nartwork = "lens.svg"\ndepth = 1.2\ncutters = ["flat 3", "flat 1"]\n{lines}\n\n'
        (tmp_path / "job.toml").write_text(text[:start] + table + text[end:])
        clamping = clamping_of(load_job(tmp_path / "job.toml"))
        return clamping.inlays[0], clamping

    return make


def bounds(inlay):
    # curves are flattened to 0.002 mm
    return np.round(inlay.area.bounds, 2)


def test_the_pages_origin_without_a_place(inlay):
    one, _ = inlay("")
    assert bounds(one).tolist() == [2.0, 4.0, 24.0, 16.0]


def test_the_page_or_the_drawing_at_a_point(inlay):
    page, _ = inlay("place = { at = [100.0, 0.0] }")
    assert bounds(page).tolist() == [82.0, -6.0, 104.0, 6.0]
    drawn, _ = inlay('place = { at = [100.0, 0.0], centre = "drawing", width = 44.0 }')
    assert bounds(drawn).tolist() == [78.0, -12.0, 122.0, 12.0]
    turned, _ = inlay('place = { at = [100.0, 0.0], centre = "drawing", rotate = 90.0 }')
    assert bounds(turned).tolist() == [94.0, -11.0, 106.0, 11.0]
    mirrored, _ = inlay("place = { at = [100.0, 0.0], mirror = true }")
    assert bounds(mirrored).tolist() == [96.0, -6.0, 118.0, 6.0]


def test_between_two_frets(inlay):
    one, clamping = inlay("place = { between = [4, 5], margin = 2.0 }")
    low, high = clamping.board.frets.distance[[3, 4]]
    x0, y0, x1, y1 = one.area.bounds
    assert (x0 + x1) / 2 == pytest.approx((low + high) / 2, abs=0.005)
    assert (y0 + y1) / 2 == pytest.approx(0.0, abs=0.005)
    # from the slot's edge: the example's slots are 0.58 mm wide
    assert x0 - low == pytest.approx(2.0 + 0.58 / 2, abs=0.01)
    assert high - x1 == pytest.approx(2.0 + 0.58 / 2, abs=0.01)


def test_a_zero_fret_is_the_nut_and_counts_as_none(inlay, tmp_path):
    between, _ = inlay("place = { between = [0, 2], margin = 2.0 }")
    at_frets, _ = inlay("place = { at_frets = [3, 5], margin = 2.0 }")
    for lines, plain in (("between = [0, 2]", between), ("at_frets = [3, 5]", at_frets)):
        inlay(f"place = {{ {lines}, margin = 2.0 }}")
        text = (tmp_path / "job.toml").read_text().replace("[board]\n", "[board]\nzero_fret = true\nbehind_nut = 8.0\n")
        (tmp_path / "job.toml").write_text(text)
        one, = clamping_of(load_job(tmp_path / "job.toml")).inlays
        assert one.area.bounds == pytest.approx(plain.area.bounds)


def test_a_copy_before_each_of_several_frets(inlay):
    one, clamping = inlay('place = { at_frets = [3, 5, 7, 9, 12], margin = 1.5, width = 16.0 }\ncolours = ["#2f6f4f"]')
    parts = list(one.area.geoms)
    assert len(parts) == 5
    frets = np.concatenate([[0.0], clamping.board.frets.distance])
    for part, n in zip(sorted(parts, key=lambda p: p.bounds[0]), [3, 5, 7, 9, 12], strict=True):
        x0, _, x1, _ = part.bounds
        assert (x0 + x1) / 2 == pytest.approx((frets[n - 1] + frets[n]) / 2, abs=0.005)
        assert x1 - x0 <= min(16.0, frets[n] - frets[n - 1] - 3.0) + 0.005
        assert x0 - frets[n - 1] >= 1.5 + 0.58 / 2 - 0.005


DISC = small_board.svg('<circle cx="5" cy="5" r="4" fill="#2f6f4f"/><path d="M0 0h1v1h-1z" fill="#c8962e"/>', 10, 10)


def test_several_drawings_are_one_inlay(inlay, tmp_path):
    """Each where it would lie alone; a change of any is another job, and all are watched."""
    (tmp_path / "disc.svg").write_text(DISC)
    alone, _ = inlay('colours = ["#2f6f4f"]\nplace = { at = [100.0, 0.0] }')
    own = 'also = [{ artwork = "disc.svg", place = { at_frets = [9, 12], width = 10.0, margin = 1.0 } }]'
    both, _ = inlay(f'colours = ["#2f6f4f", "#c8962e"]\nplace = {{ at = [100.0, 0.0] }}\n{own}')
    assert both.colours == ["#2f6f4f", "#c8962e"]
    first, second = (shape for _, shape in both.regions)
    assert first.intersection(alone.area).area == pytest.approx(alone.area.area)
    scale = both.placed[1].share
    assert first.area - alone.area.area == pytest.approx(2 * np.pi * (4.0 * scale) ** 2, rel=1e-3)
    assert second.area == pytest.approx(2 * scale**2, rel=1e-3)
    assert len(both.placed) == 3
    job = load_job(tmp_path / "job.toml")
    assert tmp_path / "disc.svg" in drawings_named(tmp_path / "job.toml")
    (tmp_path / "disc.svg").write_text(DISC.replace('r="4"', 'r="3"'))
    assert load_job(tmp_path / "job.toml").fingerprint != job.fingerprint


@pytest.mark.parametrize(("also", "words"), [
    ('artwork = "dics.svg", place = { at = [250.0, 0.0] }', r"inlay 1 also 1 artwork: .*did you mean disc\.svg"),
    ('artwork = "disc.svg", place = { rotate = 3.0 }', "inlay 1 also 1 place: neither at"),
    ('artwork = "disc.svg"', "also 1: place is missing"),
    ('artwork = "disc.svg", place = { at = [88.0, 0.0] }', r"also: two of its drawings lie on each other, near \d"),
    ('artwork = "disc.svg", place = { at_frets = [33] }', "inlay 1 also 1 place: at_frets names 33"),
])
def test_further_drawings_are_refused_by_their_place(inlay, tmp_path, also, words):
    (tmp_path / "disc.svg").write_text(DISC)
    with pytest.raises(JobError, match=words):
        inlay(f"place = {{ at = [100.0, 0.0] }}\nalso = [{{ {also} }}]")


def test_a_drawing_without_any_of_the_colours_is_refused(inlay, tmp_path):
    (tmp_path / "disc.svg").write_text(DISC.replace("#2f6f4f", "#123456"))
    with pytest.raises(JobError, match=r"inlay 1 also 1 artwork: disc\.svg has none of the inlay's colours"):
        inlay('colours = ["#2f6f4f"]\nplace = { at = [100.0, 0.0] }\n'
              'also = [{ artwork = "disc.svg", place = { at = [200.0, 0.0] } }]')


@pytest.mark.parametrize(("colour", "remedy"), [
    ("#2f6f4f", "leave also 1 out of this inlay, where others cut it, or add"),
    ("#123456", "leave the first drawing out of this inlay, where others cut it (the first of also is then its "
                "artwork), or"),
])
def test_a_drawing_that_has_nothing_of_a_stage_is_advised_to_be_left_out_there(inlay, tmp_path, colour, remedy):
    """To add a colour of another stage was advised first: it would then be cut in both."""
    (tmp_path / "disc.svg").write_text(DISC.replace("#2f6f4f", "#123456"))
    with pytest.raises(JobError) as wrong:
        inlay(f'colours = ["{colour}"]\nplace = {{ at = [100.0, 0.0] }}\n'
              'also = [{ artwork = "disc.svg", place = { at = [200.0, 0.0] } }]')
    assert wrong.value.remedy.startswith(remedy)


def test_the_size_that_each_copy_became(inlay):
    # the lens is 22 by 12 mm on a page of 40 by 20
    def sizes(lines):
        return [(round(p.width, 1), round(p.height, 1), round(p.share, 3)) for p in inlay(lines)[0].placed]

    assert sizes("") == sizes("place = { at = [100.0, 0.0], rotate = 90.0 }") == [(22.0, 12.0, 1.0)]
    assert sizes("place = { at = [100.0, 0.0], width = 20.0 }") == [(11.0, 6.0, 0.5)]
    drawing = 'place = { at = [100.0, 0.0], height = 18.0, centre = "drawing" }'
    assert sizes(drawing) == [(33.0, 18.0, 1.5)]
    fitted, clamping = inlay("place = { at_frets = [3, 12], width = 16.0 }")
    frets = clamping.board.frets.distance
    widths = [min(16.0, frets[n - 1] - frets[n - 2] - 2.0 - 0.58) for n in (3, 12)]
    assert [p.width for p in fitted.placed] == pytest.approx(widths, abs=0.01)
    assert [p.share for p in fitted.placed] == pytest.approx([w / 22 for w in widths], abs=1e-3)


@pytest.mark.parametrize("mirror", [True, False])
def test_a_mirrored_drawing_is_said_to_be(inlay, mirror):
    one, _ = inlay(f"place = {{ at = [200.0, 0.0], mirror = {str(mirror).lower()} }}")
    assert ("mirrored" in placed_words(placed_sizes(one), "mm")) is mirror


def test_sizes_in_words():
    def words(*sizes, units="mm"):
        return placed_words([{"width": w, "height": h, "share_of_drawn": s} for w, h, s in sizes], units)

    assert words((34.3, 20.1, 0.71)) == ", the whole drawing placed 34.3 mm by 20.1 mm, 71 % of its drawn size"
    assert words((22.0, 12.0, 1.0)) == ", the whole drawing placed 22 mm by 12 mm, as drawn"
    twice = [{"width": 22.0, "height": 12.0, "share_of_drawn": 1.0, "mirrored": True},
             {"width": 22.0, "height": 12.0, "share_of_drawn": 1.0}]
    assert placed_words(twice[:1], "mm") == ", the whole drawing placed 22 mm by 12 mm, as large as drawn, mirrored"
    assert placed_words(twice, "mm") == ", 2 drawings placed 22 mm by 12 mm, as large as drawn, 1 of them mirrored"
    assert words((25.4, 12.7, None), units="in") == ", the whole drawing placed 1 in by 0.5 in"
    several = words((16.0, 8.0, 0.8), (12.0, 6.0, 0.6))
    size = "12 mm by 6 mm to 16 mm by 8 mm"
    assert several == f", 2 drawings placed {size}, 60 to 80 % of their drawn size"
    unsized = words((5.2, 6.3, 0.05), (9.0, 8.0, 0.08), (14.1, 6.1, None))  # "5 to None %" was said
    assert unsized.endswith(" 6.1 mm, 5 to 8 % of their drawn size, where their file says one")
    assert words((5.2, 6.3, None), (9.0, 8.0, None)) == ", 2 drawings placed 5.2 mm by 6.3 mm to 9 mm by 8 mm"


def test_along_the_taper(inlay):
    one, clamping = inlay('place = { at = [200.0, 15.0], along = "treble" }')
    slope = np.degrees(np.arctan(clamping.board.edges.slope))
    points = shapely.get_coordinates(one.regions[0][1])
    tip, root = points[np.argmax(points[:, 0])], points[np.argmin(points[:, 0])]
    assert np.degrees(np.arctan2(*(tip - root)[::-1])) == pytest.approx(slope, abs=0.02)


def test_white_and_named_colours_cut_out_of_what_lies_below(inlay):
    assert inlay("place = { at = [100.0, 0.0] }")[0].colours == ["#2f6f4f", "#ffffff"]
    for line in ("white_is_background = true", 'background = ["#fff"]'):
        one, _ = inlay(f"place = {{ at = [100.0, 0.0] }}\n{line}")
        assert one.colours == ["#2f6f4f"]
        assert len(one.area.interiors) == 1


def test_what_cannot_be_cut_is_refused_or_listed(inlay):
    text = '<text id="name" x="5" y="5">Fern</text>'
    with pytest.raises(ArtworkError, match=r"'name'.*artwork_missing = \"report\"$"):
        inlay("place = { at = [100.0, 0.0] }", more=text)
    _, clamping = inlay('place = { at = [100.0, 0.0] }\nartwork_missing = "report"', more=text)
    assert len(clamping.left_out) == 1
    assert "name" in clamping.left_out[0]


@pytest.mark.parametrize(("lines", "words"), [
    ("place = { rotate = 3.0 }", "neither at, between nor at_frets.*write at, .* to turn, mirror or size it; or leave "
                                 "place out"),
    ("place = { at = [1.0, 1.0], between = [1, 2] }", "at and between given"),
    ("place = { at_frets = [5, 40], width = 9.0 }", r"place: at_frets names 40 \(allowed: frets from 1 to \d+\)"),
    ("place = { between = [4, 40] }", "inlay 1 place.*between frets 4 and 40.*two different frets, from 0"),
    ("place = { between = [4, 4] }", "inlay 1 place.*between frets 4 and 4.*two different frets"),
    ("place = { between = [4, 5], margin = 20.0 }", "leaves no room"),
    ("place = { at_frets = [5, 7, 5] }", "place at_frets: 5 is there twice"),
    ('place = { at_frets = [5], centre = "page" }', 'place centre: "page", and at_frets centres what is drawn'),
    ('place = { between = [4, 5], centre = "page" }', 'place centre: "page", and between centres what is drawn'),
    ("place = { at = [100.0, 0.0], margin = 2.0 }", "place margin: given, .*: at says where"),
    ("place = { between = [4, 5], width = 9.0, margin = 2.0 }", "place margin: given, .*: width or height"),
    ("place = { at = [100.0, 0.0], width = 20.0, height = 20.0 }", "stretch"),
])
def test_places_that_make_no_sense(inlay, lines, words):
    with pytest.raises((JobError, ArtworkError), match=words):
        inlay(lines)


def test_a_drawing_without_a_size_needs_one(inlay):
    with pytest.raises(ArtworkError, match="gives no size"):
        inlay("place = { at = [100.0, 0.0] }", head="")
    with pytest.raises(JobError, match="no physical size"):
        inlay("", head="")
    one, _ = inlay("place = { at = [100.0, 0.0], width = 60.0 }", head="")
    assert bounds(one).tolist() == [73.0, -9.0, 106.0, 9.0]


def test_the_resin_needed_is_said_in_millilitres():
    inlay = {"name": "inlay 1", "area": 200.0, "area_cut": 200.4, "reachable_area": 150.0, "colours": ["#2f6f4f"],
             "placed": [], "slanting": False, "pocket_volume": 1800.0, "floor_high": 0.0, "round_end": False,
             "depth": 1.6, "deepest": 1.6, "amounts": [{"needed_volume": 2100.0, "pocket_volume": 1500.0},
                                         {"needed_volume": 400.0, "pocket_volume": 200.0}], "thickened": []}
    assert "75.0 % of it within reach" in _inlay_words(inlay, "mm")
    # what it holds, as in the table of the fill; of what is not poured what was cut out
    assert "pocket 1.70 ml, resin needed 2.50 ml" in _inlay_words(inlay, "mm")
    assert "pocket 1.80 ml." in _inlay_words(inlay | {"amounts": []}, "mm")
    assert "about 1.2 mm deep, where its walls meet" in _inlay_words(inlay | {"deepest": 1.2}, "mm")
    # the pocket is as large as it is when it is filled
    assert "200 mm2 (303 mm2 as first cut" in _inlay_words(inlay | {"area_cut": 303.0}, "mm")
    let_in = inlay | {"piece": {"gained_area": 7.4}}
    assert "75.0 % of it within reach of the cutters, and 7.40 mm2 of wood beside it cut" in _inlay_words(let_in, "mm")
    assert "first cut" not in _inlay_words(inlay, "mm")
    walls = _inlay_words(inlay | {"floor_high": 0.1, "slanting": True}, "mm")
    assert walls.endswith("up to 0.1 mm above its depth; less deep along walls and in corners that a v cutter opens.")
    inlay |= {"floor_high": 0.1, "round_end": True}
    assert "up to 0.1 mm above its depth between passes, and walls that round in to it" in _inlay_words(inlay, "mm")


@pytest.mark.parametrize(("body", "extra", "words"), [
    ('<linearGradient id="g"><stop stop-color="red"/><stop offset="1"/></linearGradient><path d="M1 1h9v9z" '
     'fill="url(#g)"/>', "", r"nothing else .*: linearGradient .* is left out: give it one plain colour$"),
    ('<path d="M1 1h9v9z" fill="white"/>', "white_is_background = true\n", r"cut: show .* with white_is_background"),
    ("<g/>", "", r"shows nothing that could be cut: show its shapes where they are hidden, "
     r"and fill or stroke them with plain colours$"),
    ('<path d="M1 1h9v9z" fill="#2f6f4f"/>', 'background = ["#2f6f4f"]\n',
     "shows only what is background, #2f6f4f: leave out of background what is to be cut"),
])
def test_why_a_drawing_shows_nothing_is_told(tmp_path, body, extra, words):
    changes = {"depth = 1.5\n": f'depth = 1.5\nartwork_missing = "report"\n{extra}'}
    with pytest.raises(JobError, match=words):
        clamping_of(load_job(small_board.job(tmp_path, art=small_board.svg(body), changes=changes)))


@pytest.mark.parametrize(("ids", "told"), [(["disc"], None), (["disk"], "disk"), (["disk", "dot"], "disk")])
def test_a_copy_of_what_is_not_there_is_told(tmp_path, ids, told):
    """A browser draws nothing of it, and so a petal of a flower was missing without a word."""
    uses = "".join(f'<use href="#{one}" x="9"/>' for one in ids)
    art = small_board.svg(f'<circle id="disc" cx="8" cy="8" r="4" fill="#225577"/>{uses}')
    job = load_job(small_board.job(tmp_path, art=art))
    found = [one for one in doubts_of(job, clamping_of(job)) if "nothing is called so" in one.problem]
    assert [one.problem.split('"')[1] for one in found] == ([f"#{told}"] if told else [])
    assert all(one.grave and ("first of 2" in one.problem) == (len(ids) == 2) for one in found)


@pytest.mark.parametrize("what", ["clip-path", "mask", "marker-end"])
def test_a_name_of_what_is_not_there_is_told(tmp_path, what):
    body = f'<path id="it" d="M4 4h8v8h-8z" fill="#225577" {what}="url(#disk)"/>'
    job = load_job(small_board.job(tmp_path, art=small_board.svg(body)))
    (found,) = (one.problem for one in doubts_of(job, clamping_of(job)) if one.where == "art.svg line 1, path 'it'")
    assert found == f"{what} = 'url(#disk)', and nothing is called so: passed over, as a browser does"


def test_a_layer_that_shows_nothing_of_a_plates_own_drawing_is_refused(tmp_path):
    flat = '<g id="logo"><path d="M9 9h9h-9z" fill="#aa2222"/></g>'
    (tmp_path / "head.svg").write_text(small_board.svg(
        f'<g id="edge"><rect width="60" height="40" fill="#2f6f4f"/></g>{flat}', 60, 40))
    (tmp_path / "head.toml").write_text('''
cutter = [{ name = "flat", shape = "flat-end", diameter = 1, speed = 16000, feed = 600, plunge = 200, stepdown = 1 }]
stock = { length = 80, width = 60, thickness = 3 }
plate = { thickness = 3, face = false, artwork = "head.svg", artwork_layers = ["edge"] }
inlay = [{ artwork = "head.svg", layers = ["logo"], depth = 1, cutters = ["flat"], fill = "none" }]
outline = { cutter = "flat" }
''')
    with pytest.raises(JobError, match="shows nothing that could be cut"):
        clamping_of(load_job(tmp_path / "head.toml"))


SHEET = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20">
<g id="guides"><text x="2" y="4">5</text><rect x="0" y="9.9" width="40" height="0.2" fill="#ff0000"/></g>
<g id="leaf"><circle cx="8" cy="10" r="4" fill="#2f6f4f"/></g>
<g id="moth"><circle cx="30" cy="10" r="5" fill="#b5762b"/><circle cx="30" cy="10" r="2" fill="#2f6f4f"/></g></svg>"""


def staged(tmp_path, *tables):
    (tmp_path / "sheet.svg").write_text(SHEET)
    text = EXAMPLE.read_text()
    start, end = text.index("[[inlay]]"), text.index("[resurface]")
    (tmp_path / "job.toml").write_text(text[:start] + "".join(
        f'[[inlay]]\nartwork = "sheet.svg"\ndepth = 1.2\ncutters = ["flat 3", "flat 1"]\n{lines}\n\n'
        for lines in tables) + text[end:])
    return load_job(tmp_path / "job.toml")


def test_layers_of_one_drawing_are_cut_each_by_itself_and_fit_each_other(tmp_path):
    """Beside a layer of guides, with words and a line over all, which is no concern of theirs: not a word of it."""
    at = 'place = { at = [140.0, 0.0], width = 60.0 }'
    clamping = clamping_of(staged(tmp_path, f'layers = ["leaf"]\n{at}', f'layers = ["moth"]\n{at}'))
    leaf, moth = clamping.inlays
    assert [colour for colour, _ in leaf.regions] == ["#2f6f4f"]
    assert [colour for colour, _ in moth.regions] == ["#b5762b", "#2f6f4f"]
    assert leaf.area.centroid.x == pytest.approx(140.0 - 12.0 * 1.5, abs=1e-3)
    assert moth.area.centroid.x == pytest.approx(140.0 + 10.0 * 1.5, abs=1e-3)
    assert 'what it has in "moth" placed 15 mm by 15 mm, 150 % of' in placed_words(placed_sizes(moth), "mm")
    assert (leaf.area.area, moth.area.area) == pytest.approx((np.pi * 36, np.pi * 56.25), rel=2e-3)
    said = "; ".join((*clamping.left_out, *(f"{one.problem}: {one.remedy}" for one in clamping.doubts)))
    assert not re.search("text|guides|cut by no inlay|#ff0000", said)


def test_layers_that_lie_apart_are_drawings_of_their_own(tmp_path):
    """Of one sheet, one motif goes here and one there: that they will not fit each other is no matter."""
    def doubts(*of):
        places = [f"place = {{ at = [{x}, 0.0] }}" for x in (90.0, 200.0)]
        job = staged(tmp_path, *map("\n".join, zip(of, places, strict=True)))
        return list(doubts_of(job, clamping_of(job)))

    leaf, moth = 'layers = ["leaf"]', 'layers = ["moth"]'
    assert doubts(f'{leaf}\ncolours = ["#2f6f4f"]', f'{moth}\ncolours = ["#b5762b"]') == []
    (alike,) = doubts(leaf, moth)
    assert "also = [{ artwork = .., layers = .., place = .. }, ..]" in alike.remedy
    (apart,) = doubts(f'{moth}\ncolours = ["#2f6f4f"]', f'{moth}\ncolours = ["#b5762b"]')
    assert "they will not fit each other" in apart.problem


@pytest.mark.parametrize(("extra", "words"), [
    ("", "all of #2f6f4f in .*svg lies under other colours .allowed: #b5762b.: bring it to the front"),
    ('background = ["#2f6f4f"]\n', "#2f6f4f is background too, .*allowed: #b5762b.: leave it out of colours, or"),
])
def test_why_a_colour_that_the_drawing_holds_is_not_shown(tmp_path, extra, words):
    """It was said not to be in the drawing, where anybody finds it."""
    body = '<path d="M2 2h5v5z" fill="#2f6f4f"/><path d="M1 1h9v9h-9z" fill="#b5762b"/>'
    changes = {"depth = 1.5\n": f'depth = 1.5\ncolours = ["#2f6f4f"]\n{extra}'}
    with pytest.raises(JobError, match=words):
        clamping_of(load_job(small_board.job(tmp_path, art=small_board.svg(body), changes=changes)))


@pytest.mark.parametrize(("lines", "words"), [
    ('layers = ["moths"]', r'no layer "moths" \(allowed: guides, leaf, moth\)'),
    ("layers = []", "inlay.* layers"),
    ('layers = ["leaf"]\ncolours = ["#b5762b"]', "#b5762b is not in these layers of sheet.svg .allowed: #2f6f4f."),
    ('layers = ["leaf"]\nalso = [{ artwork = "sheet.svg", place = { at = [250.0, 0.0] } }]', "text"),
])
def test_what_is_wrong_with_layers_is_told(tmp_path, lines, words):
    with pytest.raises((JobError, ArtworkError), match=words):
        clamping_of(staged(tmp_path, f"{lines}\nplace = {{ at = [140.0, 0.0] }}"))


def test_further_drawings_have_layers_of_their_own(tmp_path):
    also = 'also = [{ artwork = "sheet.svg", layers = ["moth"], place = { at = [250.0, 0.0] } }]'
    (one,) = clamping_of(staged(tmp_path, f'layers = ["leaf"]\n{also}\nplace = {{ at = [140.0, 0.0] }}')).inlays
    assert one.area.area == pytest.approx(np.pi * (16 + 25), rel=2e-3)


@pytest.mark.parametrize(("head", "place", "told"), [
    ("width='151.2' height='75.6px' ", "at = [140.0, 0.0]", True),
    ("width='40mm' height='20mm' ", "at = [140.0, 0.0]", False),
    ("width='151.2' height='75.6' ", "at = [140.0, 0.0], width = 41.0", False),
    ("", "at = [140.0, 0.0], width = 40.0", False),
])
def test_a_page_that_is_sized_in_px_is_told_as_large_as_it_comes_out(inlay, head, place, told):
    """CSS counts 96 px to the inch (CSS Values and Units 3, 5.2); drawings of 72 came out three quarters as large."""
    _, clamping = inlay(f"place = {{ {place} }}\nbackground = ['#ffffff']", head=head)
    said = [one for one in clamping.doubts if "sized in px" in one.problem]
    assert [(one.where, one.grave) for one in said] == [("lens.svg", False)] * told
    assert all("at 96 to the inch it is 40 mm by 20 mm" in one.problem for one in said)


@pytest.mark.parametrize(("art", "colours", "share"), [
    # D: of circles of 8 and 3 mm; a pale one over a full one of its colour, and of another; under a full one; one in a
    # colour that is not cut
    ('<circle cx="12" cy="15" r="8"/><circle cx="32" cy="15" r="3" opacity=".4"/>', "", 9 / 73),
    ('<circle cx="12" cy="15" r="8"/><circle cx="12" cy="15" r="4" opacity=".4"/>', "", None),
    ('<circle cx="12" cy="15" r="8"/><circle cx="12" cy="15" r="4" opacity=".4" fill="#ff0000"/>', "", 16 / 64),
    ('<circle cx="12" cy="15" r="4" opacity=".4"/><circle cx="12" cy="15" r="8"/>', "", None),
    ('<circle cx="12" cy="15" r="8"/><circle cx="32" cy="15" r="3" opacity=".4" fill="#ff0000"/>',
     'colours = ["#000000"]', None),
    ('<circle cx="12" cy="15" r="8"/><circle cx="32" cy="15" r="2" opacity=".4"/>', "", 4 / 68),
    ('<circle cx="12" cy="15" r="8" opacity="0.6"/>', "", None),
])
def test_much_that_is_drawn_paler_than_half_is_warned_of_with_its_share(tmp_path, art, colours, share):
    """A drawing of which 69 % was tints came out as one black blob, and a note named the palest of 26 shapes."""
    changes = {"overfill = 0.7": f"overfill = 0.7\n{colours}"}
    read = load_job(small_board.job(tmp_path, art=small_board.svg(art), changes=changes))
    (told,) = [doubt for doubt in clamping_of(read).doubts if "see-through" in doubt.problem]
    said = re.search(r"; so is (\d+) % of all that is cut, drawn paler than half", told.problem)
    assert (said and int(said[1])) == (share and round(100 * share))
    assert told.grave == ((share or 0) >= 0.1)
