"""Broken and hostile files: a clear error, soon."""

import gzip
import re
import time
from contextlib import nullcontext

import numpy as np
import pytest
import shapely

from pathgen.artwork import read_artwork
from pathgen.artwork.areas import _check_edges
from pathgen.base.errors import ArtworkError
from tests.artwork.conftest import OPEN, Read, drawing

USES = "".join(f'<g id="a{i + 1}">' + f'<use href="#a{i}"/>' * 10 + "</g>" for i in range(9))
CLIPS = "".join(
    f'<clipPath id="c{i + 1}">' + f'<rect width="9" height="9" clip-path="url(#c{i})"/>' * 10 + "</clipPath>"
    for i in range(9)
)

HOSTILE = {
    "entity bomb": (f'<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>{OPEN}>&b;</svg>', "entities"),
    "external entity": (f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>{OPEN}><g id="&x;"/></svg>',
                        "entities"),
    "parameter entity": (f'<!DOCTYPE svg [<!ENTITY % x SYSTEM "x.dtd">%x;]>{OPEN}/>', "entities"),
    "deep": (drawing("<g>" * 100_000), r"line 1: elements nested too deep .* levels\): ungroup the drawing$"),
    "large": (drawing("<!--" + "x" * 50_000_000 + "-->"), "larger than 32 MB"),
    "packed bomb": (gzip.compress(b"a" * 60_000_000, 1), "larger than 32 MB"),
    "packed, cut short": (gzip.compress(b"abc" * 999)[:20], "cannot be unpacked"),
    "packed, broken within": (gzip.compress(drawing("").encode())[:12] + b"\xff" * 90, "cannot be unpacked"),
    "a style nested deep": (drawing(f'<rect width="5" height="5" style="fill:{"(" * 1500}"/>'), "nested too deep"),
    "no numbers cut in two": (drawing('<path d="M0 0l1 2 3 45 66"/>'), "'66': numbers left over"),
    "an endless turn": (drawing('<path d="M0 0A5 5 1e400 0 1 9 9"/>'), "too large"),
    "utf-7": (b"<?xml version='1.0' encoding='utf-7'?><svg/>", "encoding"),
    "a multibyte encoding": (b"<?xml version='1.0' encoding='euc-jp'?><svg/>", "encoding"),
    "a million pieces": (drawing('<path d="M0 0' + "l1 1 2 3" * 500_000 + '"/>'), "too many line"),
    "a million points": (drawing(f'<polygon points="{"1 2," * 1_000_000}0 0"/>'), "too many line"),
    "pieces by their signs": (drawing(f'<path d="M0 0l{"1-1" * 1_000_000}"/>'), "too many line"),
    "points by their points": (drawing(f'<polyline points="0{".5" * 3_000_001}"/>'), "too many line"),
    "a million numbers in a map": (drawing(f'<g transform="matrix({"1 " * 3_000_000})"/>'), "more numbers, allowed 6"),
    "a million numbers in a viewBox": (drawing(f'<svg viewBox="{"1 " * 3_000_000}"/>'), "more numbers, allowed 4"),
    "a million declarations": (drawing(f'<rect style="{"fill:red;" * 1_000_000}"/>'), "too much style"),
    "a million rules": (drawing(f"<style>{'a{fill:red}' * 500_000}</style>"), "too much style"),
    "many long styles": (drawing("".join(f'<g style="/*{k}{"," * 40_000}*/"/>' for k in range(30))),
                         "too much style"),
    "a million elements": (drawing("<g/>" * 1_000_000),
                           r"line 1: too many elements .*: split or simplify the drawing$"),
    "use loop": (drawing('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'), "loop"),
    "use of itself": (drawing('<g id="a"><use href="#a"/></g>'), "loop"),
    "uses of uses": (drawing(f'<defs><g id="a0"/>{USES}</defs><use href="#a9"/>'), "counting each use"),
    "clips of clips": (drawing(f'<clipPath id="c0"/>{CLIPS}<rect width="9" height="9" clip-path="url(#c9)"/>'),
                       "counting each use"),
    "clip loop": (drawing('<clipPath id="k" clip-path="url(#k)"><rect width="9" height="9"/></clipPath>'
                          '<rect width="9" height="9" clip-path="url(#k)"/>'), "loop"),
    "no page": (f'{OPEN} width="0" height="5"/>', "page of 0 x 5"),
    "negative page": (f'{OPEN} width="5" height="-5"/>', "page of 5 x -5"),
    "endless page": (f'{OPEN} width="1e400" height="5"/>', "too large"),
    "flat viewBox": (f'{OPEN} width="5" height="5" viewBox="0 0 0 5"/>', "viewBox of 0 x 5"),
    "not XML": ("so it goes", "not well-formed"),
    "one mark left open": ("<svg>\n<g>\n</svg>", r"line 3, column \d: not well-formed XML \(mismatched tag\)"),
    "empty": ("", "not well-formed"),
    "a page": ("%PDF-1.7 and so on", r"is a page \(PDF\), no SVG file: open it in a drawing program"),
    "a picture": ("GIF89a and so on", r"is a picture \(GIF\), no SVG file: trace it to paths"),
    "not SVG": ("<?xml version='1.0'?><html/>", "outermost element is 'html'"),
    "no name space": ("<?xml version='1.0'?><svg/>", "xmlns"),
    "unknown encoding": ("<?xml version='1.0' encoding='elvish'?><svg/>", "encoding"),
    "not a number": (drawing('<rect width="NaN" height="5"/>'), "width: 'NaN' is not a length"),
    "infinite": (drawing('<circle r="1e400"/>'), "too large"),
    "infinite map": (drawing('<rect width="5" height="5" transform="scale(1e400)"/>'), "too large"),
    "a far point": (drawing('<polygon points="0 0 9 1e308 5 5 7 1.1"/>'), "of 309 digits .allowed: up to 1000000000.:"),
    "a map too large": (drawing('<rect width="5" height="5" transform="scale(1e154)"/>'), "bounds: a number of 155 d"),
    "maps past counting": (drawing('<g transform="scale(1e200) scale(1e200)"><rect width="9" height="9"/></g>'),
                           "reaches out of all bounds: a number past counting, in mm"),
    "a map with a square past counting": (drawing('<rect width="5" height="5" transform="scale(1e200)"/>'), "201 dig"),
    "a line too wide": (drawing('<path d="M0 0h5" stroke="#111" stroke-width="9" transform="scale(1e9)"/>'), "reaches"),
    "a clip too large": (drawing('<clipPath id="c"><rect width="5" height="5" transform="translate(1e99)"/></clipPath>'
                                 '<rect width="5" height="5" clip-path="url(#c)"/>'), "of 99 digits"),
    "not a map": (drawing('<rect width="5" height="5" transform="turn(5)"/>'), r"'turn\(5\)' at character 1"),
    "units in a map": (drawing('<rect width="5" height="5" transform="rotate(5deg)"/>'), "deg"),
    "odd points": (drawing('<polygon points="1 2 3"/>'), "3 numbers"),
    "bad points": (drawing('<polygon points="1 2 3 4 5 six"/>'), "'six' at character 11"),
    # digits are 0 to 9, blanks space, tab and ends of lines (SVG 1.1, 8.3.9 and 4.2): browsers show none of these
    "digits of another script": (drawing('<path d="M\u0661 1H9V9z"/>'), "character 2: '\u0661 1H9V9z'"),
    "no digit after the point": (drawing('<rect width="20." height="5"/>'), "width: '20.' is not a length"),
    "wide digits": (drawing('<rect width="\uff15" height="5"/>'), "'\uff15' is not a length"),
    "a hard blank": (drawing('<polygon points="1 2 9\u00a02 5 6"/>'), r"'\\xa02 5 6' at character 6 is not a number"),
    "a hard blank in a map": (drawing('<g transform="scale(1)\u2003scale(2)"/>'), "at character 9 is not a transform"),
    "tangle": (drawing('<path d="M0 0' + "".join(f"L{i * 7919 % 200} {i * 104729 % 199}" for i in range(4000)) + '"/>'),
               "crosses itself"),
    "endless style sheet": (drawing("<style>" + ".a," * 4000 + ".b{fill:red}</style>" + '<g class="a"/>' * 600),
                            "too many rules"),
    "many selectors": (drawing("<style>" + "".join(f"g .c{k % 9},i:first-child{{fill:red}}" for k in range(6000))
                               + "</style>" + "".join(f'<g class="c{k}"/>' for k in range(9))), "too many selectors"),
    "style sheet elsewhere": (f'<?xml-stylesheet href="a.css"?>{drawing("")}', "other files"),
    "many scribbles": (drawing("".join(
        f'<path d="M{k} 0' + "".join(f"L{i * 7919 % 200} {(i * 104729 + k) % 199}" for i in range(60)) + 'z"/>'
        for k in range(200))), "too often"),
    "crossing lines": (drawing('<g stroke="#000" stroke-width=".01">' + "".join(
        f'<path d="M0 {k * 7919 % 200}L200 {k * 104729 % 199}"/>' for k in range(2000)) + "</g>"), "too often"),
    "lattice": (drawing("".join(
        f'<rect x="{k / 3}" width=".1" height="200" fill="red"/><rect y="{k / 3}" width="200" height=".1" fill="blue"/>'
        for k in range(600))), "too often"),
    "map of a symbol": (drawing('<symbol id="s" transform="scale(.5)"><rect width="9" height="9"/></symbol>'
                                '<use href="#s"/>'), "put the transform on the use"),
    "variable": (drawing('<rect width="9" height="9" style="--a:red;fill:var(--a)"/>'), "fill is 'var"),
    "sum": (drawing('<style>rect{stroke-width:calc(1px + 2px)}</style><rect width="9" height="9"/>'), "calc"),
    # P: CSS Values 3, Font-relative Lengths: half an em only where the font is not known, and browsers know one
    "by a font's letters": (drawing('<rect width="9ex" height="9"/>'), "letters of a font: write it in mm"),
    "a stroke by a font's letters": (drawing('<path d="M0 0h9" stroke="red" stroke-width="1ex"/>'), "width is '1ex'"),
    "window of no size": (drawing('<svg width="0" height="9"/>'), "a window of 0 x 9"),
    "flat viewBox inside": (drawing('<svg viewBox="0 0 9 0"/>'), "viewBox of 9 x 0"),
    "page half in per cent": (f'{OPEN} width="50%" height="5" viewBox="0 0 5 5"/>', "width is 50%"),
    "sheet for some media": (drawing('<style media="(min-width: 9px)">rect{fill:red}</style>'), "media"),
    "import": (drawing('<style>@import "a.css";</style>'), "@import"),
}


@pytest.mark.in_every_run(24)
@pytest.mark.parametrize("name", HOSTILE)
def test_is_refused_with_a_reason_and_soon(read: Read, name: str) -> None:
    content, words = HOSTILE[name]
    # well under 1 s on an idle machine; processor time, since others may be at work on this one
    begin = time.process_time()
    with pytest.raises(ArtworkError, match=words) as refused:
        read(content)
    assert time.process_time() - begin < (30.0 if name == "lattice" else 8.0)  # its crossings are counted
    assert "drawing.svg" in refused.value.where  # of the drawings of a job, which


def test_no_such_file(tmp_path) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ArtworkError, match=r"missing\.svg: cannot be read"):
        read_artwork(tmp_path / "missing.svg")


@pytest.mark.parametrize(("skip", "refused"), [(167, False), (168, True)])
def test_crossings_of_a_few_hundred_edges_are_counted(skip: int, refused: bool) -> None:
    """The star of n points, each joined to the k-th after it, crosses itself n (k - 1) times (plane geometry)."""
    turn = 2 * np.pi * skip * np.arange(601) / 601
    ring = shapely.linearrings(np.stack([np.cos(turn), np.sin(turn)], axis=1))
    with pytest.raises(ArtworkError, match=r"crosses itself about 10+ times") if refused else nullcontext():
        _check_edges(np.array([ring]), "star")


def test_edges_whose_lines_cross_but_not_they_are_no_crossings() -> None:
    """A snake of level bars, and beside it one of upright bars as high as the first."""
    i = np.arange(700)
    level = np.stack([1.0 - (i + 1) // 2 % 2, i // 2 / 350], axis=1)
    upright = np.stack([2 + i // 2 / 350, 1.0 - (i + 1) // 2 % 2], axis=1)
    _check_edges(np.array([shapely.linearrings(np.concatenate([level, upright]))]), "two snakes")


def test_errors_name_the_line_and_the_element(read: Read) -> None:
    with pytest.raises(ArtworkError, match=r"drawing\.svg line 3, path 'leaf': path data, character 5"):
        read(drawing('\n\n<path id="leaf" d="M0 0X"/>'))


@pytest.mark.parametrize("inside", [
    '<circle r="9" stroke="#000" transform="scale(1e-9)"/>',
    '<circle r="9" fill="none" stroke="#000" transform="scale(1e7)"/>',
    '<path d="M0 0h1" stroke-width="1e-9" stroke="#000"/>',
    '<path d="M1 1c0 0 0 0 0 0z" stroke="#000"/>',
    '<path d="M0 0h9v9z M0 0h9v9z M0 0h9v9z"/>',
    '<path d="M0 0L50 50L0 0L50 50z" stroke="#000"/>',
])
def test_extremes_give_valid_regions(read: Read, inside: str) -> None:
    assert all(region.polygon.is_valid for region in read(inside).regions)


def test_packed_and_other_encodings(read: Read) -> None:
    square = '<rect width="10" height="10"/>'
    for content in (
        gzip.compress(drawing(square).encode()),
        ('<?xml version="1.0" encoding="UTF-16"?>' + drawing(square)).encode("utf-16"),
        ('<?xml version="1.0" encoding="ISO-8859-1"?>' + drawing(f'<!--\xe9-->{square}')).encode("latin-1"),
        ('<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
         + drawing(square)).encode(),
    ):
        assert read(content).regions[0].polygon.area == pytest.approx(100)


def test_a_number_that_ends_in_a_point_is_one_number(read: Read):
    """SVG 1.1, 8.3.9 allows ``5.``; two numbers may stand with nothing between (``1.5.5``)."""
    (plain,) = read(drawing('<path d="M0 0Q5 10 10 0Q15 5.5 0.5 0.5"/>')).regions
    (short,) = read(drawing('<path d="M0,0Q5.,10.,10.,0Q15.,5.5.5.5"/>')).regions
    assert short.polygon.equals(plain.polygon)


def test_a_radius_of_next_to_nothing_is_a_line(read: Read):
    """SVG 1.1, F.6.2: a radius of 0 is a line."""
    (plain,) = read(drawing('<path d="M0 0A0 5 0 0 1 9 9L9 0z"/>')).regions
    (tiny,) = read(drawing('<path d="M0 0A1e-320 5 0 0 1 9 9L9 0z"/>')).regions
    assert tiny.polygon.equals(plain.polygon)


def test_very_many_elements_that_cannot_be_cut_are_listed_soon(read: Read):
    began = time.process_time()
    found = read(drawing("".join(f'<text id="t{i}">a</text>' for i in range(30_000))), missing="report")
    assert len(found.left_out) == 30_000
    assert time.process_time() - began < 10.0  # 1 s on an idle machine


def test_the_remedy_for_what_cannot_be_cut_is_one_that_python_takes(tmp_path):
    (path := tmp_path / "a.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm">'
                                            '<rect width="3" height="3"/><text x="1" y="5">a</text></svg>')
    with pytest.raises(ArtworkError) as wrong:
        read_artwork(path)
    said = re.search(r'(\w+)="(\w+)"$', wrong.value.remedy)
    assert len(read_artwork(path, **{said[1]: said[2]}).left_out) == 1


@pytest.mark.parametrize(("identity", "words"), [
    ('id="name"', "text 'name' (letters depend on fonts): convert text to paths"),
    ("", "text on line 2 (letters depend on fonts): convert text to paths"),
])
def test_what_has_no_name_is_told_by_its_line(read, identity, words):
    with pytest.raises(ArtworkError) as refused:
        read(drawing(f"\n<text {identity}>Fern</text>"))
    assert words in str(refused.value)
