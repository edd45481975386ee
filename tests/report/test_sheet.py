"""The setup sheet, read as a browser would: one page, whole in itself, nothing in it that a name could break."""

import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from pathgen.base.markup import as_html, element
from pathgen.base.picture import BLANK, PALE, WOOD
from pathgen.report.pictures.above import CLAMP_EDGE
from pathgen.report.sheet.page import setup_sheet
from pathgen.report.sheet.programs import _running
from pathgen.report.sheet.style import STYLE, TEXT_ON_GROUND
from pathgen.verify import Finding
from tests.report.conftest import HOSTILE

VOID = {"meta", "br", "hr", "img", "link", "input"}  # HTML Living Standard, 13.1.2 void elements


class Page(HTMLParser):
    """Elements in order as (tag, attributes, text directly inside), with a check of their nesting."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.elements, self.open = [], []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"{tag} says an attribute twice"
        self.elements.append([tag, dict(attrs), "", [e[0] for e in self.open]])
        if tag not in VOID:
            self.open.append(self.elements[-1])

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop()[0] == tag

    def handle_data(self, data):
        for e in self.open:
            e[2] += data

    def all(self, tag):
        return [e for e in self.elements if e[0] == tag]

    def by_id(self, name):
        return next(e for e in self.elements if e[1].get("id") == name)


@pytest.fixture(scope="module")
def html(built):
    return built.files()["setup.html"]


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


def test_the_page_is_small_and_whole_in_itself(html, page):
    assert len(html.encode()) < 300_000
    assert not page.all("script") + page.all("link") + page.all("iframe")
    assert page.all("img")
    assert all(attributes["alt"] for _, attributes, *_ in page.all("img"))
    for tag, attributes, *_ in page.elements:
        for name, value in attributes.items():
            assert not name.startswith("on"), f"{tag} {name}"
            if name in ("src", "href", "action", "data", "xlink:href", "srcset"):
                assert value.startswith("data:image/jpeg;base64," if tag == "img" else "#"), f"{tag} {name}={value}"
    assert not re.search(r"url\(|@import|https?:", html.replace("http://www.w3.org/2000/svg", ""))


def test_links_lead_somewhere_and_ids_are_unique(page):
    ids = [e[1]["id"] for e in page.elements if "id" in e[1]]
    assert len(ids) == len(set(ids)) > 5
    links = [e[1]["href"][1:] for e in page.all("a")]
    assert len(links) > 5
    named = [e[1]["aria-labelledby"] for e in page.elements if "aria-labelledby" in e[1]]
    assert set(links + named) <= set(ids)


def test_a_hostile_title_is_only_text(page):
    shown = HOSTILE.replace("\u202e", "").replace("\u0007", "")
    assert page.all("h1")[0][2] == shown
    assert page.all("title")[0][2] == f"{shown}: setup sheet"
    assert "ball & <b>8</b>" in page.by_id("ready")[2]
    assert not [e for e in page.all("b") if e[2] == "8"]


def test_every_program_is_there_in_order_with_its_figures(page, built):
    articles = page.all("article")
    assert [a[1]["id"] for a in articles] == [f"program-{p.order}" for p in built.programs]
    for article, program in zip(articles, built.report["programs"], strict=True):
        text = article[2]
        assert program["file"] in text
        assert f"lowest Z {program['z_min']:.2f}".rstrip("0").rstrip(".") in text
        assert f"{program['cut_length'] / 1000:.1f} m of cutting" in text
        assert "Before you start" in text
    eased = [any(float(f) == pytest.approx(p.cutter.eased_feed, abs=0.01) for f in re.findall(r"F([\d.]+)", p.text))
             for p in built.programs]
    assert [f"{p.cutter.eased_feed:.0f} mm/min in full width" in article[2]
            for p, article in zip(built.programs, articles, strict=True)] == eased
    assert sum(eased) == 2  # the pocket and the outline
    pocket = next(p for p in built.programs if p.operation == "pocket")
    same = replace(pocket, step=replace(pocket.step, cutter=replace(pocket.cutter, stepover=1.0)))
    assert same.cutter.eased_feed == same.cutter.feed
    assert "full width" not in _running(same, "mm")
    lengths = [len(re.findall(r"Stop here for the fill", a[2])) for a in articles]
    assert sum(lengths) == 1


def test_fret_table_is_the_report(page, built):
    cells = [e[2] for e in page.all("td") if "section" in e[3]]
    for fret in built.report["frets"]:
        assert f"{fret['distance']:.3f}" in cells
        assert f"{fret['bass'][0]:.3f}, {fret['bass'][1]:.3f}" in cells
    assert page.by_id("frets")[2].count("\n") == 0


def test_fill_by_colour_is_what_the_simulation_measured(page, built):
    ready = page.by_id("ready")[2]
    amounts = {a["colour"]: a for a in built.report["inlays"][0]["amounts"]}
    swatches = [e[1]["style"] for e in page.elements if e[1].get("class") == "swatch"]
    assert swatches == [f"background:{colour}" for colour in amounts]
    for amount in amounts.values():
        volumes = (f"{amount[f'{name}_volume'] / 1000:.2f} ml" for name in ("pocket", "needed", "total"))
        assert "".join(volumes) in ready
    # the rectangle's pocket: area times depth, less what the cutter's corners leave: closed form
    corner = (4 - 3.141592653589793) * 1.5**2
    assert amounts["#2f6f4f"]["pocket_volume"] == pytest.approx((240 - corner) * 1.2, rel=0.02)


def test_what_the_display_shows_is_in_the_programs(page, turned):
    """Every X and Y of the program's text lies in the range that the sheet gives."""
    cells = [e[2] for e in Page(turned.files()["setup.html"]).all("td")]
    ranges = [tuple(map(float, c.split(" to "))) for c in cells if re.fullmatch(r"-?[\d.]+ to -?[\d.]+", c)]
    for program, both in zip(turned.programs, zip(ranges[::2], ranges[1::2], strict=True), strict=True):
        for axis, (low, high) in zip("XY", both, strict=True):
            found = [float(v) for v in re.findall(rf"\b{axis}(-?[\d.]+)", program.text.partition("M3")[2])]
            assert min(found) == pytest.approx(low, abs=0.006)
            assert max(found) == pytest.approx(high, abs=0.006)


def test_findings_are_told_first_and_escaped(built):
    finding = Finding(code="x", severity="forbid", where="<i>line</i> 3", got="5 < 6 & 7", allowed="", remedy="stop")
    checked = replace(built.verification, findings=(finding,))
    report = {**built.report, "checks": {**built.report["checks"], "passed": False, "findings": [finding.__dict__]}}
    page = Page(setup_sheet(built.plan, built.programs, checked, report, shaded=False))
    assert not page.all("i")
    assert "<i>line</i> 3: 5 < 6 & 7. Stop." in page.by_id("warnings")[2]
    ids = [e[1].get("id") for e in page.elements]
    assert ids.index("warnings") < ids.index("programs") < ids.index("findings")  # on paper links are of no help
    assert "5 < 6" not in page.by_id("findings")[2]
    verdict = next(e for e in page.elements if e[1].get("class", "").startswith("verdict"))
    assert "must not be cut" in verdict[2]
    assert verdict[1]["class"] == "verdict bad"


def luminance(colour):
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first, second):
    """WCAG 2.2, contrast ratio."""
    high, low = sorted((luminance(first), luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_words_have_contrast():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2: the greatest there is
    pictures = itertools.product((PALE, CLAMP_EDGE), ("#ffffff", BLANK, WOOD))
    for words, ground in (*TEXT_ON_GROUND, *pictures):
        assert contrast(words, ground) >= 4.5, (words, ground)  # WCAG 2.2, 1.4.3 for text of any size
    # and the style sheet uses no colour for words or ground that is not among those pairs
    used = set(re.findall(r"(?<![-\w])(?:color|background): (#\w+)", STYLE))
    assert used <= {colour for pair in TEXT_ON_GROUND for colour in pair}


def test_markup_never_lets_text_through():
    node = element("p", "<b>", ["a", None, element("i", "&")], class_='"><script>')
    assert as_html(node) == '<p class="&quot;&gt;<script&gt;">&lt;b&gt;a<i>&amp;</i></p>'


def test_a_path_has_the_whole_width_of_paper_where_no_picture_of_the_wood_stands_beside_it():
    columns = re.findall(r"\n *(\.shown[^ ]*) {[^}]*grid-template-columns: 3fr 2fr", STYLE)
    assert columns == [".shown:has(img)"]


def test_figures_of_tables_stay_with_their_unit_on_paper(built):
    """That no word is broken in the middle is looked at in a browser, `tests/browser/look.py`."""
    page = built.files(shaded=False)["setup.html"]
    assert re.search(r"@media print .*\.scroll td\.size { white-space: nowrap; }", page, re.S)
    cells = re.findall(r'<td( class="size")?>([-+]?[\d.]+ (?:mm|ml|g))</td>', page)
    assert len(cells) > 10
    assert all(kept for kept, _ in cells)


def test_whatever_scrolls_says_so(page):
    scrolling = [attributes for _, attributes, *_ in page.elements if attributes.get("class") == "scroll"]
    hints = [attributes for _, attributes, *_ in page.elements if attributes.get("class") == "hint"]
    assert len(scrolling) == len(hints) > 5
    assert all(attributes["aria-hidden"] == "true" for attributes in hints)  # read out it would say nothing


def test_every_column_of_what_the_display_shows_has_its_unit(html):
    table = html[html.index('id="by-hand"') : html.index('id="programs"')]
    heads = re.findall(r"<th[^>]*>([^<]*)</th>", table)
    assert len(heads) == 5
    assert all(head.endswith("(mm)") for head in heads[1:])


def test_the_words_for_a_path_say_what_is_cut(built, html):
    for program in built.programs:
        assert f"Path of program {program.order} from above: {program.step.operation.purpose}, with " in html


def test_on_paper_what_introduces_boxes_to_tick_stays_with_them():
    """`Each program in the air first` and its sentence stood at the foot of a sheet, all five boxes on the next."""
    rule = next(line for line in STYLE.splitlines() if "break-after: avoid" in line and "p:has" in line)
    assert {".tick", "table", ".copy"} <= set(re.search(r"p:has\(\+ :is\((.*?)\)\)", rule)[1].split(", "))
