"""What lies on top, what is left out, and structure."""

import itertools
import time
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pathgen.artwork import paint, stack
from pathgen.artwork.areas import _winding, filled
from pathgen.artwork.flatten import Polylines
from pathgen.artwork.stack import stacked
from pathgen.artwork.unions import without_slivers
from pathgen.base.errors import ArtworkError
from tests.artwork.conftest import Read

SQUARES = '<rect width="20" height="20" fill="{}"/><rect x="10" width="20" height="20" fill="{}"/>'


def areas(art) -> dict[str, float]:  # type: ignore[no-untyped-def]
    return {region.colour: region.polygon.area for region in art.regions}


def test_the_top_hides_the_bottom_and_one_colour_merges(read: Read) -> None:
    assert areas(read(SQUARES.format("red", "blue"))) == pytest.approx({"#ff0000": 200, "#0000ff": 400})
    assert areas(read(SQUARES.format("red", "red"))) == pytest.approx({"#ff0000": 600})


def test_background_cuts_its_shape_out(read: Read) -> None:
    assert areas(read(SQUARES.format("red", "#0000FF"), background=["blue"])) == pytest.approx({"#ff0000": 200})
    assert areas(read(SQUARES.format("red", "white"), white_is_background=True)) == pytest.approx({"#ff0000": 200})
    assert set(areas(read(SQUARES.format("red", "white")))) == {"#ff0000", "#ffffff"}


def test_a_curve_that_folds_onto_its_line_opens_no_face(read: Read) -> None:
    # a hole whose sides hold curves of no width: its crossings lie within rounding of one another
    art = read('<path transform="scale(3.7)" d="M3.8 0C2.849 0 2 .793 2 1.746v6.613c0 .953.849 1.746 1.868 1.746h5.264'
               'c1.02 0 1.868-.793 1.868-1.746V1.746C11 .793 10.151 0 9.132 0z'
               'M4 2h5c0 .317 0-.316 0 0v6H4s0 .044 0 0V2c0-.044 0 0 0 0z"/>')
    (region,) = art.regions
    (hole,) = region.polygon.interiors
    assert shapely.Polygon(hole).area == pytest.approx(5 * 6 * 3.7**2, rel=1e-6)


@pytest.mark.in_every_run(6)
@pytest.mark.parametrize("apart", [0.0, 1e-15, 1e-13, 1e-11, 1e-9, 1e-7])
@pytest.mark.parametrize("rule", ["nonzero", "evenodd"])
def test_nearly_coinciding_edges_are_filled_by_the_rule(rule: str, apart: float) -> None:
    # against the definition (SVG 1.1, section 11.3): turns of the outline round a point, summed as angles
    rng = np.random.default_rng(2)
    for _ in range(60):
        size = rng.integers(3, 14, rng.integers(1, 5))
        points = rng.integers(0, 8, (size.sum(), 2)) * [1, 0.1] + rng.uniform(0, apart, (size.sum(), 2))
        points = points @ np.array([[0.6, 0.8], [-0.8, 0.6]])
        start = np.append(0, np.cumsum(size))
        lines = Polylines(points, start, np.ones(len(points), bool), np.ones(len(size), bool), np.zeros(len(size), int))
        area = filled(lines, [rule], [""])[0]
        tests = rng.uniform(points.min(axis=0), points.max(axis=0), (100, 2))
        turns = np.zeros(100)
        for k, end in itertools.pairwise(start):
            ring = points[[*range(k, end), k]]
            z = (ring - tests[:, None]) @ [1, 1j]
            turns += np.angle(z[:, 1:] / z[:, :-1]).sum(axis=1) / (2 * np.pi)
        winding = np.round(turns).astype(int)
        clear = shapely.distance(shapely.multilinestrings([shapely.linearrings(points[k:e])
                                                           for k, e in itertools.pairwise(start)]),
                                 shapely.points(tests)) > 1e-9 + 2 * apart
        inside = winding % 2 != 0 if rule == "evenodd" else winding != 0
        assert (shapely.contains_xy(area, *tests.T) == inside)[clear].all()


def test_the_same_colour_shows_again_above_what_hides_it(read: Read) -> None:
    art = read('<rect width="30" height="30" fill="red"/><rect width="20" height="20" fill="blue"/>'
               '<rect width="10" height="10" fill="red"/>')
    assert areas(art) == pytest.approx({"#ff0000": 900 - 400 + 100, "#0000ff": 300})


boxes = st.lists(
    st.tuples(st.integers(0, 3), st.integers(0, 20), st.integers(0, 20), st.integers(1, 9), st.integers(1, 9)),
    min_size=1, max_size=40,
)


@given(boxes, st.booleans())
@settings(max_examples=60, deadline=None)
def test_hiding_is_the_painters_algorithm(shapes: list[tuple[int, ...]], layers: bool) -> None:
    # against painting unit squares one after another; both ways of hiding are tried
    areas_ = shapely.box(*[[s[1] for s in shapes], [s[2] for s in shapes],
                           [s[1] + s[3] for s in shapes], [s[2] + s[4] for s in shapes]])
    colours = [f"#{s[0]}" for s in shapes]
    canvas: dict[tuple[int, int], str] = {}
    for (_, x, y, w, h), colour in zip(shapes, colours, strict=True):
        canvas.update(dict.fromkeys(itertools.product(range(x, x + w), range(y, y + h)), colour))
    shown = stacked(colours, areas_).visible if layers else paint._shown(colours, areas_)
    for colour in set(colours):
        visible = shapely.union_all(shown.get(colour, []))
        assert visible.area == pytest.approx(list(canvas.values()).count(colour), abs=1e-9)


def test_a_colour_that_only_others_together_hide_shows_nowhere() -> None:
    boxes = [box for _ in range(40) for box in ((0, 0, 20, 9), (0, 0, 11, 9), (9, 0, 20, 9))]
    shown = paint._shown([f"#{i:06x}" for i in range(len(boxes))], shapely.box(*np.transpose(boxes)))
    assert {colour: shapely.area(parts).sum() for colour, parts in shown.items()} == {"#000076": 81.0, "#000077": 99.0}


@pytest.mark.in_every_run(0)
def test_thousands_of_colours_on_one_another_are_refused_soon() -> None:
    x, y = np.arange(4000) * 7919 % 150, np.arange(4000) * 104729 % 100
    boxes = shapely.box(x, y, x + 9, y + 9)
    began = time.process_time()
    with pytest.raises(ArtworkError, match="one another too often"):
        stacked([f"#{i:06x}" for i in range(4000)], boxes)
    assert time.process_time() - began < 8.0  # 2 s on an idle machine


def test_all_that_is_worked_through_is_counted() -> None:
    """Squares of five corners each; one whose corner another covers has seven left."""
    low, high = np.array([shapely.box(0, 0, 2, 2)]), np.array([shapely.box(1, 1, 3, 3)])
    laid, merged, apart = (stack._Effort(1000.0) for _ in range(3))
    stack._uncovered(low, high, laid)
    assert 1000.0 - laid.left == stack._PAIR + 5 + 5 + 7
    over = stack._Effort(1000.0)
    stack._over(*(stack.Layer({name: some}, {name: some}) for name, some in (("red", low), ("blue", high))), over)
    assert 1000.0 - over.left == stack._COLOURS + stack._PAIR + 5 + 5 + 7
    stack._merged(low, high, merged)
    assert 1000.0 - merged.left == 5 + 5
    stack._merged(low, np.array([shapely.box(5, 5, 6, 6)]), apart)
    assert apart.left == 1000.0


def test_a_deep_stack_shows_its_rims(read: Read) -> None:
    # D: squares of two colours in turn, each half a unit smaller all round than the one below: rims of a ladder
    art = read("".join(
        f'<rect x="{k / 4}" y="{k / 4}" width="{190 - k / 2}" height="{190 - k / 2}" fill="{("red", "blue")[k % 2]}"/>'
        for k in range(300)
    ))
    side = 190 - np.arange(301) / 2
    rims = side[:-1] ** 2 - side[1:] ** 2
    rims[-1] = side[299] ** 2
    assert areas(art) == pytest.approx({"#ff0000": rims[::2].sum(), "#0000ff": rims[1::2].sum()})
    assert all(region.polygon.is_valid for region in art.regions)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("seed", range(4))
def test_a_stack_of_stars_is_what_painting_one_after_another_leaves(seed: int) -> None:
    # against the definition: each shape taken off all that was painted before it
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    reach = rng.uniform(3, 12, (60, 24))
    points = np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=2) + rng.uniform(-9, 9, (60, 1, 2))
    stars, colours = shapely.polygons(points), [f"#{k % 3}" for k in range(60)]
    canvas = {colour: shapely.Polygon() for colour in colours}
    for colour, star in zip(colours, stars, strict=True):
        canvas = {other: shapely.difference(area, star) for other, area in canvas.items()}
        canvas[colour] = shapely.union(canvas[colour], star)
    shown = stacked(colours, stars).visible
    for colour, area in canvas.items():
        assert shapely.symmetric_difference(shapely.union_all(shown[colour]), area).area == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(("name", "inside"), [
    ("text", "<text id='it'>Moth</text>"),
    ("image", "<image id='it' href='a.png' width='5' height='5'/>"),
    ("linearGradient", "<linearGradient id='g'><stop stop-color='red'/><stop stop-color='blue'/></linearGradient>"
                       "<rect id='it' width='5' height='5' fill='url(#g)'/>"),
    ("pattern", "<pattern id='g'/><rect id='it' width='5' height='5' fill='url(#g)'/>"),
    ("mask", "<mask id='g'/><rect id='it' width='5' height='5' mask='url(#g)'/>"),
    ("filter", "<filter id='g'/><rect id='it' width='5' height='5' filter='url(#g)'/>"),
    ("marker", "<marker id='g'><path d='M0 0h1v1z'/></marker>"
               "<path id='it' fill='none' d='M0 0h5v5z' marker-end='url(#g)'/>"),
    ("foreignObject", "<foreignObject id='it'><p>x</p></foreignObject>"),
    ("use", "<use id='it' href='other.svg#a'/>"),
    ("vector-effect", "<path id='it' d='M0 0h5' stroke='red' vector-effect='non-scaling-stroke'/>"),
    ("whatnot", "<whatnot id='it'/>"),
    # P, SVG 2, Compositing 1, Filter Effects 2, CSS Transforms 2, Motion Path 1: each changes what is seen
    ("mix-blend-mode", "<rect id='it' width='5' height='5' mix-blend-mode='multiply'/>"),
    ("mix-blend-mode", "<g id='it' style='mix-blend-mode:screen'><rect width='5' height='5'/></g>"),
    ("mix-blend-mode", "<style>.a{mix-blend-mode:color-burn}</style><rect id='it' width='5' height='5' class='a'/>"),
    ("backdrop-filter", "<rect id='it' width='5' height='5' style='backdrop-filter:invert(1)'/>"),
    ("translate", "<rect id='it' width='5' height='5' style='translate:9px 3px'/>"),
    ("rotate", "<rect id='it' width='5' height='5' style='rotate:45deg'/>"),
    ("scale", "<style>#it{scale:2}</style><rect id='it' width='5' height='5'/>"),
    ("offset-path", "<rect id='it' width='5' height='5' style='offset-path:path(\"M9 9h9\")'/>"),
    ("d", "<path id='it' d='M0 0h5v5z' style='d:path(\"M0 0h9v9z\")'/>"),
    ("clip", "<svg id='it' width='9' height='9' clip='rect(0 5 5 0)'><rect width='9' height='9'/></svg>"),
    # P, CSS Cascading 5, section 3.2; SVG 2, sections 5.6; SVG Animations 2: seen or not, and moved or not, by renderer
    ("all", "<rect id='it' width='5' height='5' fill='red' style='all:initial'/>"),
    ("all", "<style>#it{all:unset}</style><g id='it'><rect width='5' height='5'/></g>"),
    # P, SVG 2, section 13.5.5: joins that may be left out of a renderer, which then takes what is inherited
    ("stroke-linejoin", "<path id='it' d='M0 0h9v9' fill='none' stroke='red' stroke-linejoin='miter-clip'/>"),
    ("stroke-linejoin", "<path id='it' d='M0 0h9v9' fill='none' stroke='red' stroke-linejoin='arcs'/>"),
    ("refX, refY", "<symbol id='it' refX='3'><rect width='5' height='5'/></symbol><use href='#it'/>"),
    ("refX, refY", "<symbol id='it' viewBox='-9 0 18 18' refX='0'><rect width='5' height='5'/></symbol>"
                   "<use href='#it' width='18' height='18'/>"),
    ("refX, refY", "<symbol id='it' refY='center'><rect width='5' height='5'/></symbol><use href='#it'/>"),
    ("x, y", "<symbol id='it' x='3' width='5'><rect width='5' height='5'/></symbol><use href='#it'/>"),
    ("width", "<symbol id='it' style='width:3px'><rect width='5' height='5'/></symbol><use href='#it'/>"),
    ("set", "<rect id='it' width='5' height='5'><set attributeName='fill' to='red'/></rect>"),
    ("set", "<rect id='it' width='5' height='5' display='none'><set attributeName='display' to='inline'/></rect>"),
    ("animate", "<g id='it'><animate attributeName='opacity' to='0' begin='2s; it.click'/><path d='M0 0h5v5'/></g>"),
    ("animate", "<clipPath><rect id='it' width='5' height='5'><animate attributeName='x' to='1'/></rect></clipPath>"),
    ("animateTransform", "<rect id='it' width='5' height='5'/><animateTransform href='#it' type='scale' to='2'/>"),
    # P, SVG Animations 2: a stop's colour may change too, of a gradient that another refers to as well
    ("animate", "<linearGradient id='g'><stop stop-color='red'><animate attributeName='stop-color' to='blue'/></stop>"
                "</linearGradient><rect id='it' width='5' height='5' fill='url(#g)'/>"),
    ("set", "<radialGradient id='o'><stop id='s' stop-color='red'/></radialGradient><radialGradient id='g' href='#o'/>"
            "<set href='#s' attributeName='stop-opacity' to='0'/><path id='it' d='M0 0h5' stroke='url(#g)'/>"),
    # P, Compatibility Standard, section 3; CSS Masking 1, section 7: the same by other names
    ("mask", "<mask id='g'/><rect id='it' width='5' height='5' style='mask-image:url(#g)'/>"),
    ("mask", "<mask id='g'/><rect id='it' width='5' height='5' style='-webkit-mask:url(#g)'/>"),
    ("filter", "<rect id='it' width='5' height='5' style='-webkit-filter:blur(2px)'/>"),
    ("clip-path", "<g id='g'/><rect id='it' width='5' height='5' style='-webkit-clip-path:url(#g)'/>"),
])
def test_what_cannot_be_cut_is_named_or_listed(read: Read, name: str, inside: str) -> None:
    with pytest.raises(ArtworkError, match=f"{name} 'it' .*:"):
        read(inside)
    art = read(inside + '<rect x="50" width="5" height="5"/>', missing="report")
    assert (art.left_out[0].name, art.left_out[0].id) == (name, "it")
    assert art.left_out[0].remedy
    assert shapely.box(49, 194, 56, 201).contains(art.regions[-1].polygon.centroid)


def test_a_plain_colour_beside_one_that_a_browser_works_out_is_taken(read: Read) -> None:
    """As drawing programs write colours of a wider screen: the plain one for whoever cannot read the other."""
    wide = "fill:color(display-p3 0.9 0.1 0.1)"
    for written in (f'style="fill:#f00;{wide}"', f'style="{wide};fill:#f00"', f'fill="#f00" style="{wide}"'):
        assert areas(read(f'<rect width="5" height="5" {written}/>')) == pytest.approx({"#ff0000": 25})


@pytest.mark.parametrize("mixed", [
    "color-mix(in srgb,red,blue)", "light-dark(red,blue)", "rgb(from red b g r)", "oklch(from red l c 240)",
])
def test_a_colour_made_from_others_is_refused_though_a_plain_one_stands_beside_it(read: Read, mixed: str) -> None:
    """No two are the same: a browser shows the mixed one, where it comes last (P, CSS Cascading 5, section 6)."""
    for written in (f'style="fill:#f00;fill:{mixed}"', f'fill="#f00" style="fill:{mixed}"',
                    f'class="a" style="fill:{mixed}"', f'style="fill:{mixed} !important;fill:#f00"'):
        with pytest.raises(ArtworkError, match=r"its fill is .* worked out by a browser"):
            read(f'<style>.a{{fill:#f00}}</style><rect width="5" height="5" {written}/>')
    assert areas(read(f'<rect width="5" height="5" style="fill:{mixed};fill:#f00"/>')) == pytest.approx({"#ff0000": 25})


def test_rules_within_rules_are_told(read: Read) -> None:
    art = read("<style>rect{fill:red;@media screen{fill:blue}}</style><rect width='5' height='5'/>", missing="report")
    assert [one.name for one in art.left_out] == ["style sheet rules within rules"]


@pytest.mark.parametrize("same", [
    "mix-blend-mode:normal", "isolation:isolate", "mask:none", "filter:none", "translate:none", "translate:0px 0",
    "rotate:0deg", "scale:1 1", "mix-blend-mode:whatnot", "clip:rect(0 1px 1px 0)", "mask-type:alpha",
    "offset-path:none", "all:whatnot", "enable-background:new 0 0 24 24", "d:path('M0 0h9')",
])
def test_what_changes_nothing_is_not_refused(read: Read, same: str) -> None:
    name, value = same.split(":", 1)
    assert areas(read(f'<rect width="5" height="5" style="{same}"/>')) == pytest.approx({"#000000": 25})
    assert areas(read(f'<g {name}="{value}"><rect width="5" height="5"/></g>')) == pytest.approx({"#000000": 25})


@pytest.mark.parametrize("begin", ["indefinite", "click", "it.mouseover + 1s", "accessKey(s)"])
def test_an_animation_that_waits_changes_nothing(read: Read, begin: str) -> None:
    """P, SVG Animations 2, begin: such are begun by a click, a key or a script."""
    waits = f'<rect width="5" height="5"><set attributeName="fill" to="red" begin="{begin}"/></rect>'
    assert areas(read(waits)) == pytest.approx({"#000000": 25})
    stop = f'<linearGradient id="g"><stop><set attributeName="stop-color" to="red" begin="{begin}"/></stop>'
    assert areas(read(f'{stop}</linearGradient><rect width="5" height="5" fill="url(#g)"/>')) == \
        pytest.approx({"#000000": 25})
    assert read(f"<defs>{waits}</defs><rect width='5' height='5'/>").left_out == ()
    unseen = "<symbol refX='3' id='s'/><defs><rect width='5' height='5'><set attributeName='x' to='1'/></rect></defs>"
    assert areas(read(unseen + '<rect width="5" height="5"/>')) == pytest.approx({"#000000": 25})


@pytest.mark.parametrize("nothing", ["filter", "mask", "clip-path"])
def test_a_reference_to_nothing_is_none(read: Read, nothing: str) -> None:
    """An invalid value is passed over (P, CSS 2.1, section 4.2)."""
    assert areas(read(f'<rect width="5" height="5" {nothing}=""/>')) == pytest.approx({"#000000": 25})


@pytest.mark.parametrize("colour", [
    "oklch(60% 0.2 40)", "lab(50% 20 30)", "color-mix(in srgb, red, blue)", "light-dark(red, blue)",
    "color(display-p3 1 0 0)", "rgb(from red r g b)", "var(--c)",
])
def test_colours_that_a_browser_works_out_are_refused(read: Read, colour: str) -> None:
    """They are valid (P, CSS Color 4 and 5): passed over, they would come out black, or as what they stand over."""
    for written in (f'fill="{colour}"', f'style="fill:{colour}"'):
        with pytest.raises(ArtworkError, match=r"rect 'it': its fill is .* worked out by a browser"):
            read(f'<rect id="it" width="5" height="5" {written}/>')


@pytest.mark.parametrize("inside", [
    "<title>t</title>", "<metadata><x xmlns='y'/></metadata>", "<text/>", "<image/>", "<text display='none'>a</text>",
    "<path d='M0 0h1' marker-end='url(#no)' fill='none'/>", "<defs><text>a</text></defs>", "<use href='#no'/>",
    "<switch><foreignObject requiredExtensions='x'/><g/></switch>",
])
def test_what_shows_nothing_is_not_refused(read: Read, inside: str) -> None:
    assert read(inside).regions == ()


@pytest.mark.parametrize(("rule", "alike"), [
    ("g.x rect{fill:red}", False), ("svg rect{fill:red}", False), ("g>rect{fill:red}", False),
    ("circle+rect{fill:red}", False), ("rect:first-child{fill:red}", False), ("rect:nth-child(2){fill:red}", False),
    ("rect{fill:red}", True), (".y , #r{fill:red}", True), ("g.x circle{fill:red}", True), ("g.x rect{--a:red}", True),
])
def test_a_copy_that_rules_reach_by_where_its_original_lies_is_refused(read: Read, rule: str, alike: bool) -> None:
    """By SVG 2, section 5.6.3, a copy is alone in its tree; SVG 1.1 and many programs copy the original's style."""
    shape = '<g class="x"><circle/><rect id="r" class="y" width="5" height="5"/></g>'
    art = read(f'<style>{rule}</style><defs>{shape}</defs><use href="#r" id="it"/>', missing="report")
    assert [(one.name, one.id) for one in art.left_out] == ([] if alike else [("use", "it")])
    whole = f'<style>{rule}</style><defs><g id="g" class="x"><circle/><rect width="5" height="5"/></g></defs>'
    assert read(f'{whole}<use href="#g"/>', missing="report").left_out == () or rule.startswith("svg")


def test_gradient_of_one_colour_is_that_colour(read: Read) -> None:
    art = read('<linearGradient id="b"><stop stop-color="blue"/></linearGradient><radialGradient id="a" href="#b"/>'
               '<rect width="5" height="5" fill="url(#a)"/>')
    assert areas(art) == pytest.approx({"#0000ff": 25})


@pytest.mark.parametrize(("inside", "passed_over"), [
    ("<g>{}</g>", "g"), ("<switch>{}</switch>", "switch"), ("<svg>{}</svg>", "svg"), ("<a><use href='#c'/></a>", "a"),
    ("<use href='#s'/>", "symbol"), ("<use href='#g'/>", "g"), ("<circl r='5'/>", "circl"),
    ("<title/><g/><g display='none'>{}</g><g><title/></g><use href='#e'/>", ""), ("", ""),
])
def test_what_a_clip_holds_that_is_no_shape_is_told(read: Read, inside: str, passed_over: str) -> None:
    """P, SVG 1.1, section 14.3.5: only shapes, text and uses of them count in a clipPath."""
    shape = '<circle id="c" r="5"/>'
    art = read(f'<defs>{shape}<symbol id="s">{shape}</symbol><g id="g">{shape}</g><g id="e"/></defs>'
               f'<clipPath id="k">{inside.format(shape)}</clipPath><rect width="9" height="9" clip-path="url(#k)"/>')
    assert art.regions == ()
    scene = art.scene
    assert scene is not None
    assert [what.split(" within")[0] for _, what in scene.not_read] == ([passed_over] if passed_over else [])


@pytest.mark.parametrize(("inside", "name"), [
    ("<use href='#u' id='it'/>", "use"), ("<use href='#t'/>", "text"), ("<use href='other.svg#a' id='it'/>", "use"),
    ("<image href='a.png' id='it'/>", "image"), ("<circle r='5' style='translate:3px' id='it'/>", "translate"),
    ("<circle r='5' id='it' clip-path='circle(3px)'/>", "clip-path circle(3px)"),
    ("<circle r='5' id='it' clip-path='url(#c)'/>", "clip-path"),
])
def test_what_cannot_be_read_in_a_clip_is_refused(read: Read, inside: str, name: str) -> None:
    """Of a use of a use renderers disagree: by the format it is an error, yet some draw it."""
    defs = "<defs><circle id='c' r='5'/><use href='#c' id='u'/><text id='t'>a</text></defs>"
    art = read(f'{defs}<clipPath id="k">{inside}</clipPath><rect width="9" height="9" clip-path="url(#k)"/>',
               missing="report")
    assert [(one.name, one.id) for one in art.left_out] == [(name, "t" if name == "text" else "it")]


def test_what_is_for_others_clips_nothing_and_slips_in_a_clip_are_told(read: Read) -> None:
    art = read('<clipPath id="k"><circle r="5" requiredExtensions="x"/><use href="#no"/><rect width="2" height="2" '
               'clip-rule="even-odd"/></clipPath><rect width="9" height="9" clip-path="url(#k)"/>')
    assert areas(art) == pytest.approx({"#000000": 4})
    scene = art.scene
    assert scene is not None
    assert [said for _, said in (*scene.no_targets, *scene.not_read)] == ['a copy of "#no"', "clip-rule = 'even-odd'"]


@pytest.mark.parametrize(("inside", "expected"), [
    ('<defs><rect id="r" width="5" height="5"/></defs><use href="#r" x="9"/><use xlink:href="#r" y="9"/>', 50),
    ('<symbol id="s" viewBox="0 0 10 10"><rect width="20" height="5"/></symbol><use href="#s" width="20" height="20"/>',
     200),
    # P: SVG 2, sections 5.5 and 5.6: a symbol's own size counts where its use has none, and the use's before it
    ('<symbol id="s" viewBox="0 0 10 6" width="10" height="6"><rect width="10" height="6"/></symbol>'
     '<use href="#s" x="2" y="2"/>', 60),
    ('<symbol id="s" width="10" height="6"><rect width="20" height="9"/></symbol><use href="#s"/>', 60),
    ('<symbol id="s" width="10" height="6"><rect width="20" height="20"/></symbol><use href="#s" height="9"/>', 90),
    ('<svg x="5" width="20" height="10" viewBox="0 0 10 10"><rect width="10" height="10"/></svg>', 100),
    ('<svg width="20" height="10"><rect width="50%" height="50"/></svg>', 100),
    ('<clipPath id="k"><rect width="5" height="50"/></clipPath><g clip-path="url(#k)"><rect width="9" height="9"/></g>',
     45),
    ('<clipPath id="k" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
     '<rect x="7" width="9" height="9" clip-path="url(#k)"/>', 40.5),
    ('<clipPath id="k"><rect x="2" width="3" height="9" transform="scale(2 1)"/></clipPath>'
     '<g transform="translate(20 5)"><rect width="15" height="9" clip-path="url(#k)"/></g>', 54),
    ('<clipPath id="k" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
     '<g clip-path="url(#k)"><svg x="10" width="8" height="9"><rect width="12" height="9"/></svg></g>', 54),
    ('<clipPath id="k" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
     '<defs><rect id="r" width="8" height="9"/></defs><g clip-path="url(#k)"><use href="#r" x="10"/></g>', 36),
    ('<g transform="translate(10) scale(2)"><rect width="5" height="5" transform="rotate(45)"/></g>', None),
    ('<rect width="10" height="10" transform="rotate(180)" transform-origin="5 5"/>', 100),
    ('<switch><g systemLanguage="xx"><rect width="9" height="9"/></g><rect width="3" height="3"/></switch>', 9),
    ('<rect x="195" width="20" height="10"/>', 50),
])
def test_structure(read: Read, inside: str, expected: float | None) -> None:
    if expected is None:  # the half of the turned square that lies to the left of the page's edge at x 0
        expected = 100.0
    assert sum(areas(read(inside)).values()) == pytest.approx(expected)


def test_slivers_are_parts_and_holes_of_less_mean_width_than_asked():
    """Mean width: twice the area by the length, that of a long strip (plane geometry)."""
    square, hole = shapely.box(0, 0, 9, 9), shapely.box(1, 1, 3, 3)
    strip, thin_hole = shapely.box(20, 0, 30, 0.012), shapely.box(4, 1, 4.012, 8)
    area = shapely.union(shapely.difference(shapely.difference(square, hole), thin_hole), strip)
    assert without_slivers(area, 0.011).equals(area)
    assert without_slivers(area, 0.013).equals(shapely.difference(square, hole))
    assert without_slivers(strip, 0.013).is_empty
    assert without_slivers(shapely.Polygon(), 0.0).is_empty


def test_a_point_level_with_corners_is_counted_once():
    diamond = shapely.linearrings([[(0, -1), (1, 0), (0, 1), (-1, 0)]])
    places = np.array([[0.0, 0.0], [0.9, 0.0], [-2.0, 0.0], [2.0, 0.0], [-1.0, 1.0], [-1.0, -1.0], [0.0, 0.5]])
    assert _winding(places, diamond).tolist() == [1, 1, 0, 0, 0, 0, 1]
    assert _winding(places, shapely.reverse(diamond)).tolist() == [-1, -1, 0, 0, 0, 0, -1]


@pytest.mark.parametrize(("width", "scale", "shift"), [(2e9, 1.0, 0.0), (2e8, 10.0, 0.0), (1e9, 1.0, 5e8)])
def test_half_the_width_of_a_stroke_counts_to_how_far_it_reaches(width, scale, shift):
    def reaching(width):
        return SimpleNamespace(stroke=SimpleNamespace(width=width), matrix=(scale, 0.0, 0.0, scale, shift, 0.0),
                               curves=SimpleNamespace(points=np.zeros((1, 4, 2))), where="a line")

    paint._check_reach(reaching(width))
    with pytest.raises(ArtworkError, match="out of all bounds"):
        paint._check_reach(reaching(1.01 * width))
