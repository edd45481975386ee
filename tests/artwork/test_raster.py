"""The regions against what an independent renderer shows, over drawings of many kinds."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from pathgen.artwork import read_artwork
from tests.artwork.conftest import OPEN, Read, drawing
from tests.artwork.raster import disagreement, shown

PX = 'width="200" height="200" viewBox="0 0 200 200"'
ICON = 'viewBox="0 0 24 24" width="24" height="24"'
LINES = f'{ICON} fill="none" stroke="currentColor" stroke-width="2" stroke-linecap="round" stroke-linejoin="round"'
BENT = "M20 80L60 20L100 80L180 75L20 150z"
CLIP = '<clipPath id="k"{}>{}</clipPath><rect x="20" y="20" width="60" height="60" clip-path="url(#k)"/>'
DISC = '<circle cx="60" cy="60" r="30" {}/>'
SYMBOL = ('<symbol id="s" {}><rect width="100" height="100"/><circle cx="100" cy="100" r="30"/></symbol>'
          '<use href="#s" {}/>')

CASES: dict[str, tuple[str, str]] = {
    "icon, home": ('<path d="m3 9 9-7 9 7v11a2 2 0 0 1-2 2H5a2 2 0 0 1-2-2z"/><path d="M9 22V12h6v10"/>', LINES),
    "icon, dots": ('<circle cx="12" cy="12" r="1"/><circle cx="19" cy="12" r="1"/><circle cx="5" cy="12" r="1"/>',
                   LINES),
    "icon, help": ('<circle cx="12" cy="12" r="10"/><path d="M9.09 9a3 3 0 0 1 5.83 1c0 2-3 3-3 3M12 17h.01"/>', LINES),
    "icon, leaf": ('<path d="M11 20A7 7 0 019.8 6.1C15.5 5 17 4.48 19 2c1 2 2 4.18 2 8 0 5.5-4.78 10-10 10zM2 21c0-3 '
                   '1.85-5.36 5.08-6"/>', LINES),
    "icon, filled": ('<path fill-rule="evenodd" d="M4 5a2 2 0 00-2 2v8a2 2 0 002 2h12a2 2 0 002-2V7a2 2 0 00-2-2h'
                     '-1.6a1 1 0'
                     '  01-.7-.3l-1.1-1.1A2 2 0 0011.2 3H8.8a2 2 0 00-1.4.6L6.3 4.7a1 1 0 01-.7.3H4zm6 9a3 3 0 100-6 '
                     '3 3 0 000 6z" clip-rule="evenodd"/>', 'viewBox="0 0 20 20" fill="currentColor"'),
    "icon, gear": ('<path d="M12.22 2h-.44a2 2 0 0 0-2 2v.18a2 2 0 0 1-1 1.73l-.43.25a2 2 0 0 1-2 0l-.15-.08a2 2 0 0 '
                   '0-2.73.73l-.22.38"/><circle cx="12" cy="12" r="3"/>', LINES),
    "smooth commands": ('<path d="M10 50S80 100 100 50s40 -60 60 10T190 190t-90 -20Q30 180 10 50"/>', PX),
    "compact numbers": ('<path d="M.5.5L80.5.5.5 80M1e1 1E2l8e+1-.5.5 10z"/>', PX),
    "subpaths after z": ('<path d="M10 10h50v20zh20v60M80 80h20v20"/>', PX),
    "crossing subpaths": ('<path d="M20 20h100v100h-100zM60 60h100v100h-100zM80 40v100h20v-100z"/>', PX),
    "crossing, evenodd": ('<path fill-rule="evenodd" d="M20 20h100v100h-100zM60 60h100v100h-100z"/>', PX),
    "nested rings": ('<path d="M10 10h150v150h-150zM30 30v110h110v-110zM50 50h60v60h-60zM60 60h30v30h-30z"/>', PX),
    "figure of eight": ('<path d="M20 20C200 20 0 180 180 180S0 20 20 180"/>', PX),
    "clip": (CLIP.format("", DISC.format("")), PX),
    "clip, box units": (CLIP.format(' clipPathUnits="objectBoundingBox"', '<circle cx=".5" cy=".5" r=".5"/>'), PX),
    "clip, nothing in it": (CLIP.format("", "") + DISC.format(""), PX),
    "clip, moved": (CLIP.format(' transform="scale(.5)"', DISC.format("")), PX),
    "clip, group ignored": (CLIP.format("", f"<g>{DISC.format('')}</g>") + '<rect width="9" height="9"/>', PX),
    "clip, hidden child": (CLIP.format("", DISC.format('visibility="hidden"') + '<rect width="50" height="50"/>'), PX),
    "clip, clipped": ('<clipPath id="b"><rect width="50" height="90"/></clipPath>'
                      + CLIP.format(' clip-path="url(#b)"', DISC.format("")), PX),
    "clip, clipped child": ('<clipPath id="b"><rect width="50" height="90"/></clipPath>'
                            + CLIP.format("", DISC.format('clip-path="url(#b)"')), PX),
    "clip, use": ('<g transform="translate(90)">' + DISC.format('id="q"') + "</g>"
                  + CLIP.format("", '<use href="#q"/>'), PX),
    "clip on a moved use": ('<clipPath id="k"><circle r="30"/></clipPath>'
                            '<defs><rect id="r" width="50" height="50"/></defs>'
                            '<use href="#r" x="40" y="30" clip-path="url(#k)"/>', PX),
    "symbol": (SYMBOL.format("", ""), PX),
    "symbol, sized": (SYMBOL.format('viewBox="0 0 100 50"', 'x="20" y="30" width="80" height="60"'), PX),
    "symbol, overflow": (SYMBOL.format('viewBox="0 0 100 100" overflow="visible"', 'width="90" height="60"'), PX),
    "symbol, slice": (SYMBOL.format('viewBox="20 30 100 60" preserveAspectRatio="xMinYMax slice"', ""), PX),
    "nested svg": ('<svg x="10%" y="10%" width="50%" height="50%" viewBox="0 0 10 10"><rect width="50%" height="90%"/>'
                   '</svg>', PX),
    "context paint": ('<defs><rect id="r" width="50" height="50" fill="context-stroke"/></defs>'
                      '<use href="#r" fill="red" x="99"/><use href="#r" stroke="red"/>', PX),
    "map list": ('<g transform="translate(40,10) rotate(30 50 50),skewX(10)scale(1 .5)"><rect x="20" y="20" width="60" '
                 'height="60" fill="none" stroke="#000" stroke-width="9"/></g>', PX),
    "slice": ('<rect x="10" y="10" width="50" height="30"/><circle cx="100" cy="60" r="30"/>',
              'width="200" height="200" viewBox="0 0 200 100" preserveAspectRatio="xMinYMin slice"'),
    "page runs past its box": ('<circle cx="0" cy="0" r="90"/><circle cx="190" cy="100" r="60"/>',
                               'width="200" height="150" viewBox="0 0 100 100"'),
    "style sheet": ('<style>/* c */ g > .a, #b { fill: none; stroke: #000 ; stroke-width: 6px } </style>'
                    '<g><rect class="a x" x="20" y="20" width="60" height="60"/></g>'
                    '<circle id="b" cx="99" cy="99" r="30"/>',
                    PX),
    "visible in hidden": ('<g visibility="hidden"><rect width="90" height="9"/>' + DISC.format('visibility="visible"')
                          + "</g>", PX),
    "switch": ('<switch><g systemLanguage="fr"><rect width="50" height="50"/></g><circle r="80"/></switch>', PX),
    "line under a wide pen": ('<path d="M20 20c60 0 60 60 10 60s0 40 90 -60" fill="none" stroke="#000" '
                              'stroke-width="40"/>',
                              PX),
    "stretched pen": ('<g transform="skewX(20) scale(1 .5)"><path d="M20 80L60 20L100 280" fill="none" stroke="#000" '
                      'stroke-width="14" stroke-dasharray="30 9"/></g>', PX),
}
CASES |= {
    f"join {join}, limit {limit}": (
        f'<path d="{BENT}" fill="none" stroke="#000" stroke-width="14" stroke-linejoin="{join}" '
        f'stroke-miterlimit="{limit}"/>', PX,
    )
    for join in ("miter", "miter-clip", "round", "bevel") for limit in (1, 2, 10)
}
CASES |= {
    f"cap {cap}, {d}": (f'<path d="{d}" fill="none" stroke="#000" stroke-width="20" stroke-linecap="{cap}"/>', PX)
    for cap in ("butt", "round", "square")
    for d in ("M50 50z", "M50 50h0", "M20 20h90M90 90z", "M20 20L80 20L20 20", "M30 30h60v40", "M20 20L80 90z")
}
CASES |= {
    f"dashes {dashes} from {offset}": (
        f'<rect x="30" y="30" width="90" height="70" fill="none" stroke="#000" stroke-width="8" '
        f'stroke-dasharray="{dashes}" stroke-dashoffset="{offset}"/>', PX,
    )
    for dashes in ("10", "10 5", "10,5,3", "5 -5", "10%", "5mm 3mm") for offset in (0, 5, -7, "50%")
}


@pytest.mark.parametrize("name", CASES)
def test_covers_what_the_renderer_shows(read: Read, tmp_path: Path, name: str) -> None:
    inside, page = CASES[name]
    art = read(drawing(inside, page))
    assert disagreement(art, tmp_path / "drawing.svg") <= 0.01


@pytest.mark.parametrize("name", [name for name in CASES if name.startswith(("icon", "clip", "nested", "crossing"))])
def test_covered_area_agrees_to_one_per_cent(read: Read, tmp_path: Path, name: str) -> None:
    inside, page = CASES[name]
    art = read(drawing(inside, page))
    whole, touched = shown(tmp_path / "drawing.svg", width=480)
    drawn = shapely.union_all([region.polygon for region in art.regions]).intersection(shapely.box(0, 0, *art.page))
    area = drawn.area * whole.size / (art.page[0] * art.page[1])
    assert whole.sum() * 0.99 <= area <= touched.sum() * 1.01


def test_random_drawings(tmp_path: Path) -> None:
    rng = np.random.default_rng(20)
    path = tmp_path / "random.svg"
    for _ in range(25):
        path.write_text(drawing("".join(_random_element(rng) for _ in range(5)), PX))
        assert disagreement(read_artwork(path), path) <= 0.01, path.read_text()


def _random_element(rng: np.random.Generator) -> str:
    """A path of random curves, filled or stroked, under a random map."""
    letters = rng.choice(list("LlHvCcSsQqTtAaz"), size=6)
    counts = {"l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "z": 0}
    d = "M{:.1f} {:.1f}".format(*rng.uniform(20, 180, 2))
    for letter in letters:
        high, low = (190, 10) if letter.isupper() else (60, -60)
        if letter in "Aa":
            d += "{}{:.1f} {:.1f} {:.0f} {:d} {:d} {:.1f} {:.1f}".format(
                letter, *rng.uniform(5, 80, 2), rng.uniform(0, 180), *rng.integers(0, 2, 2), *rng.uniform(low, high, 2)
            )
        else:
            d += letter + " ".join(f"{v:.1f}" for v in rng.uniform(low, high, counts[letter.lower()]))
    paint = rng.choice(['fill="#a00"', 'fill="#0a0" fill-rule="evenodd"', 'fill="none" stroke="#00a" stroke-width="6"',
                        'fill="none" stroke="#a0a" stroke-width="9" stroke-linejoin="round" stroke-linecap="round"'])
    turn = f"rotate({rng.uniform(-40, 40):.0f} 100 100) skewX({rng.uniform(-20, 20):.0f})"
    return f'<path d="{d}" {paint} transform="{turn}"/>'


def test_a_page_of_no_size_shows_all(read: Read, tmp_path: Path) -> None:
    art = read(f'{OPEN}><rect x="10" y="10" width="50" height="30"/><circle cx="100" cy="60" r="30"/></svg>')
    assert not art.physical
    assert art.page == pytest.approx((130 * 25.4 / 96, 90 * 25.4 / 96))
