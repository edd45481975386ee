"""Layers of a drawing: what lies in groups that are named, as if all others were hidden in the drawing program."""

import numpy as np
import pytest
import shapely

from pathgen import ArtworkError

LABEL = 'xmlns:d="urn:a-drawing-program" d:label'
LAYERS = f"""\
<defs><g id="dot"><circle r="3" fill="#204060"/></g></defs>
<g id="guides" filter="url(#blur)"><text x="5" y="9">12</text><rect width="200" height="10" fill="#ff0000"/></g>
<g {LABEL}="leaf"><g><rect x="20" y="20" width="40" height="30" fill="#2f6f4f"/></g></g>
<g id="moth" transform="translate(100 0)">
  <rect x="0" y="20" width="20" height="20" fill="#b5762b"/><use href="#dot" x="10" y="30"/>
</g>
<rect id="over" x="30" y="20" width="100" height="10" fill="#ff0000"/>
"""


def areas(art):
    return {region.colour: region.polygon.area for region in art.regions}


@pytest.mark.parametrize(("layers", "seen"), [
    (["leaf"], {"#2f6f4f": 1200.0}),
    (["moth"], {"#b5762b": 400.0 - 9 * np.pi, "#204060": 9 * np.pi}),
    (["moth", "leaf"], {"#2f6f4f": 1200.0, "#b5762b": 400.0 - 9 * np.pi, "#204060": 9 * np.pi}),
    (["over", "leaf"], {"#2f6f4f": 900.0, "#ff0000": 1000.0}),
])
def test_other_layers_are_as_if_hidden(read, layers, seen):
    """What lies over a layer, and what could not be cut elsewhere in the drawing, is none of it."""
    art = read(LAYERS, layers=layers)
    assert areas(art) == pytest.approx(seen, rel=2e-3)
    assert art.left_out == ()
    assert art.page == pytest.approx((200.0, 200.0))


def test_each_lies_where_it_lies_in_the_whole(read):
    whole = read(LAYERS.replace('filter="url(#blur)"', "").replace("<text", "<desc").replace("/text", "/desc")
                 .replace('<rect id="over"', '<rect display="none"'))
    for colour, layer in (("#2f6f4f", "leaf"), ("#b5762b", "moth"), ("#204060", "moth")):
        one, same = (next(r.polygon for r in art.regions if r.colour == colour) for art in (
            whole, read(LAYERS, layers=[layer])))
        assert shapely.symmetric_difference(one, same).area < 1e-9


@pytest.mark.parametrize(("inside", "layers", "seen"), [
    ('<g id="a"><g id="b"><rect width="5" height="5"/></g><rect x="9" width="5" height="5"/></g>', ["b"], 25.0),
    ('<g id="a"><g id="b"><rect width="5" height="5"/></g><rect x="9" width="5" height="5"/></g>', ["a"], 50.0),
    ('<defs><g id="a"><rect width="5" height="5"/></g></defs><use href="#a"/><rect x="9" width="5" height="5"/>',
     ["a"], 25.0),
    ('<symbol id="s"><rect width="5" height="5"/></symbol><g id="a"><use href="#s"/></g><use href="#s" x="9"/>',
     ["a"], 25.0),
    ('<defs><g id="a"><rect width="5" height="5"/></g></defs><g><use href="#a"/><rect x="9" width="5" height="5"/></g>',
     ["a"], 25.0),
    ('<defs><g id="a"><rect width="5" height="5"/></g><use id="u" href="#a"/></defs><g><use href="#u"/></g>',
     ["a"], 25.0),
    ('<g transform="scale(2)"><g id="a"><rect width="5" height="5"/></g></g>', ["a"], 100.0),
    ('<g style="opacity:0"><g id="b"><rect width="5" height="5"/></g></g><g id="a"><rect width="5" height="5"/></g>',
     ["a"], 25.0),
])
def test_layers_within_layers_and_by_reference(read, inside, layers, seen):
    assert sum(areas(read(inside, layers=layers)).values()) == pytest.approx(seen)


@pytest.mark.parametrize("name", ['id="Layer 1"', 'id="Layer_1" data-name="Layer 1"', f'{LABEL}="Layer 1"',
                                  'id="Layer-1" xmlns:d="urn:a-drawing-program" d:id="Layer 1"'])
def test_names_as_drawing_programs_write_them(read, name):
    """An id holds no spaces: where they were replaced, the name that is shown stands in an attribute of their own."""
    art = read(f'<g {name}><rect width="5" height="5"/></g><rect x="9" width="5" height="5"/>', layers=["Layer 1"])
    assert sum(areas(art).values()) == pytest.approx(25.0)


@pytest.mark.parametrize(("inside", "layers", "words"), [
    (LAYERS, ["wings"], r'drawing.svg: no layer "wings" \(allowed: dot, guides, leaf, moth\): name a group'),
    (LAYERS, ["leaf", "guides"], "filter"),
    ('<g id="a"><g/></g>', ["a"], 'nothing is seen in its layer "a".*leave it out'),
    ('<g id="a" display="none"><rect width="5" height="5"/></g>', ["a"], "nothing is seen.*: show it in the drawing"),
    ('<rect width="5" height="5"/>', ["a"], "allowed: no layer has a name"),
])
def test_what_a_layer_lacks_is_told(read, inside, layers, words):
    with pytest.raises(ArtworkError, match=words):
        read(inside, layers=layers)


@pytest.mark.parametrize(("inside", "layers", "offered"), [
    (LAYERS, (), True), (LAYERS, ["leaf", "guides"], False),
    ('<text x="5" y="9">12</text><rect width="5"/>', (), False),
])
def test_layers_are_a_way_round_what_cannot_be_cut_where_there_are_any(read, inside, layers, offered):
    with pytest.raises(ArtworkError, match="holds what cannot be cut") as wrong:
        read(inside, layers=layers)
    assert ("name the layers to cut in layers" in wrong.value.remedy) == offered


@pytest.mark.parametrize(("beside", "offered"), [("", False), ('<rect width="5" height="5"/>', True)])
def test_to_leave_out_what_cannot_be_cut_is_a_way_where_that_leaves_something(read, beside, offered):
    """Next it was told that the drawing shows nothing else that could be cut."""
    with pytest.raises(ArtworkError, match="holds what cannot be cut") as wrong:
        read('<text x="5" y="9">12</text>' + beside)
    assert ("leave these out" in wrong.value.remedy) is offered
    assert ("; besides that it shows nothing to cut" in wrong.value.problem) is not offered


def test_a_page_that_is_sized_by_what_lies_on_it_needs_a_size(read):
    """The page of a layer alone would be smaller: two layers of one drawing would not fit each other."""
    with pytest.raises(ArtworkError, match=r"a page without a size.*: give the drawing a viewBox"):
        read('<g id="a"><rect width="5" height="5"/></g>', page="", layers=["a"])
