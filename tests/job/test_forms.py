"""Jobs of a form: what is left of the sheet by formulas, and what is refused with its place and numbers."""

import math
import re
from contextlib import nullcontext

import pytest

from pathgen import ArtworkError, JobError, load_job
from pathgen.job.clamping import clamping_of
from pathgen.job.doubts import doubts_of
from pathgen.job.form import parts_of
from pathgen.job.part import part_of
from pathgen.report.flat_text import form_lines
from tests.job.test_plates import PLATE

FORM = PLATE[: PLATE.index("[plate]")] + """[form]
artwork = "line.svg"
place = { at = [150.0, 0.0] }
cut = "halves"
gap = 2.4
length = 300.0
width = 240.0
wall = 20.0
""" + PLATE[PLATE.index("[stock]"):].replace("length = 120.0\nwidth = 80.0\nthickness = 3.0", """length = 340.0
width = 260.0
thickness = 9.0""")
DRAWING = '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="240mm" viewBox="0 0 300 240">{}</svg>'
ARC = '<circle cx="150" cy="360" r="250" fill="#885522"/>'
"""Its centre is 240 mm below the middle of the page: an arc that runs out through both ends of the form."""
DISC = '<circle cx="150" cy="120" r="60" fill="#885522"/>'


def read(folder, text=FORM, shape=ARC):
    (folder / "line.svg").write_text(DRAWING.format(shape))
    path = folder / "form.toml"
    path.write_text(text)
    return load_job(path)


def under_the_arc(radius):
    """Area under a circle round (150, -240), from the form's lower edge at -120 up, over its 300 mm."""
    half = 150.0
    return half * math.sqrt(radius**2 - half**2) + radius**2 * math.asin(half / radius) - 120.0 * 2 * half


@pytest.mark.parametrize(("line", "radii"), [("inside", (250.0, 252.4)), ("outside", (247.6, 250.0))])
def test_two_halves_have_the_areas_of_their_formulas(tmp_path, line, radii):
    job = read(tmp_path, FORM.replace("gap = 2.4", f'gap = 2.4\nline = "{line}"'))
    inside, outside = (part_of(one) for one in parts_of(job))
    assert inside.outline.area == pytest.approx(under_the_arc(radii[0]), rel=1e-4)
    assert outside.outline.area == pytest.approx(300.0 * 240.0 - under_the_arc(radii[1]), rel=1e-4)
    assert [part.form.half for part in (inside, outside)] == ["inside", "outside"]
    # each lies from X 0 in the middle of its own sheet
    high = radii[0] - 120.0
    assert inside.outline.bounds == pytest.approx((0.0, -high / 2, 300.0, high / 2), abs=0.01)


def test_the_wall_is_measured_square_to_the_line(tmp_path):
    inside, outside = (part_of(one).form for one in parts_of(read(tmp_path)))
    # outward least 50 mm of the line from where it runs out, to the end of the form that it runs out through, 150 mm
    # from the circle's centre; inward at its very ends, to the lower edge, 120 mm above the centre
    # (to half a millimetre: a line's direction is that of its straight pieces)
    angle = math.acos(150.0 / 252.4) + 50.0 / 252.4
    assert outside.wall == pytest.approx(150.0 / math.cos(angle) - 252.4, abs=1.0)
    assert inside.wall == pytest.approx(250.0 - 120.0 / (200.0 / 250.0), abs=0.5)


@pytest.mark.in_every_run(0)
def test_the_least_wall_is_the_same_whatever_is_asked_for(tmp_path):
    """A hump near the end: what is measured once began as far from the end as the wall that was asked for."""
    hump = '<path d="M-1 140 Q40 140 60 60 Q90 140 301 140 V241 H-1 Z" fill="#885522"/>'
    found = []
    for wall in (10.0, 30.0, 44.0):
        _, outside = parts_of(read(tmp_path, FORM.replace("wall = 20.0", f"wall = {wall}"), hump))
        found.append(part_of(outside).form.wall)
    assert found[1:] == pytest.approx([found[0]] * 2, abs=1e-9)
    for wall, fits in ((found[0] - 0.01, True), (found[0] + 0.01, False)):
        with nullcontext() if fits else pytest.raises(JobError, match=r"wall: 44\.8\d* mm of the outside form"):
            read(tmp_path, FORM.replace("wall = 20.0", f"wall = {wall}"), hump)


@pytest.mark.parametrize(("cut", "area"), [
    ("outside", math.pi * 3600.0), ("on", math.pi * 58.5**2), ("inside", 160.0**2 - math.pi * 3600.0),
])
def test_templates_on_each_side_of_a_closed_line(tmp_path, cut, area):
    text = FORM.replace('cut = "halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0', f'cut = "{cut}"')
    (job,) = parts_of(read(tmp_path, text, DISC))
    part = part_of(job)
    assert part.outline.area - sum(shape.area for shape in part.openings) == pytest.approx(area, rel=2e-4)
    assert part.form.wall == (pytest.approx(20.0, abs=0.01) if cut == "inside" else None)
    assert [step.operation.name for step in clamping_of(job).steps] == ["openings"] * (cut == "inside") + ["outline"]


@pytest.mark.parametrize("cut", ["on", "outside"])
def test_what_is_kept_inside_a_line_all_round_has_no_wall(tmp_path, cut):
    """With wall = 0 the drawing touches the frame round it: rays went across the kept piece to there."""
    text = FORM.replace('cut = "halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0\nwall = 20.0',
                        f'cut = "{cut}"\nwall = 0')
    (job,) = parts_of(read(tmp_path, text, '<path d="M90 120 a60 40 0 0 1 120 0 v50 h-120 z" fill="#885522"/>'))
    assert part_of(job).form.wall is None


def test_the_line_of_a_layer_alone(tmp_path):
    shapes = f'<g id="body">{DISC}</g><g id="notes"><rect width="30" height="30"/>{{}}</g>'
    text = FORM.replace('cut = "halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0', 'artwork_layers = ["body"]')
    assert part_of(read(tmp_path, text, shapes.format("<text>words</text>"))).outline.area == pytest.approx(
        math.pi * 3600.0, rel=2e-4)
    with pytest.raises(JobError, match="leaves 2 pieces inside the line"):
        read(tmp_path, text.replace('artwork_layers = ["body"]', ""), shapes.format(""))
    with pytest.raises(ArtworkError, match=r"the drawing, or name the layers to cut in artwork_layers$"):
        part_of(read(tmp_path, text.replace('artwork_layers = ["body"]', ""), shapes.format("<text>words</text>")))


def test_dowel_holes_go_to_the_half_that_they_lie_in(tmp_path):
    hole = '\n[[hole]]\ncutter = "flat 3"\nat = [60.0, {}]\ndiameter = 8.0\ncount = 2\npitch = 180.0\n'
    job = read(tmp_path, FORM + hole.format(-100.0) + hole.format(90.0))
    for one, y in zip(parts_of(job), (-100.0, 90.0), strict=True):
        part = part_of(one)
        found = [(x - part.form.moved[0], y - part.form.moved[1]) for x, y in (bore.at for bore in part.bores)]
        assert found == [pytest.approx((60.0, y)), pytest.approx((240.0, y))]
    assert [clamping_of(half).kind for half in parts_of(job)] == ["inside form", "outside form"]


HOLE = '\n[[hole]]\ncutter = "flat 3"\nat = [150.0, {}]\ndiameter = 8.0\n'


@pytest.mark.in_every_run(8)
@pytest.mark.parametrize(("old", "new", "said"), [
    ("wall = 20.0", "wall = 120.0", r"\[form\] wall: 100\.0\d* mm of the inside form is left between the line and its "
     r"edge at 0 mm along, -40\.\d* mm across \(allowed: 120 mm or more: a thin form bends under clamps\)"),
    ("width = 240.0\nwall = 20.0\n", "width = 120.0\n", r"\[form\] wall: 25\.0\d* mm of the inside .*50 mm or more"),
    ("gap = 2.4\n", "", r'\[form\] gap: missing, or 0, with cut = "halves"'),
    ('"halves"', '"on"', r"\[form\] gap: 2\.4 mm with cut = \"on\""),
    ("length = 300.0\nwidth = 240.0", "length = 300.0", r"\[form\]: length without the other"),
    ("at = [150.0, 0.0]", "at = [150.0, -140.0]", r"leaves 0 pieces inside the line"),
    ("[stock]", '[surface]\nfinish = "ball"\n[stock]', r"\[surface\]: the job is of a \[form\]"),
    ("[stock]", '[[inlay]]\nartwork = "line.svg"\ndepth = 1.0\ncutters = ["flat 3"]\nfill = "none"\n'
     'place = { at = [9.0, 0.0] }\n[stock]', r"\[\[inlay\]\]: the job is of a \[form\]"),
    ("[stock]", "[frets]\n[stock]", r"\[frets\]: the job is of a \[form\], which is cut from sheet"),
    ('[outline]\ncutter = "flat 3"\n', HOLE.format(-60.0), r"\[outline\]: is missing: it says which cutter cuts the"),
    ("[form]", '[plate]\nthickness = 3.0\n[form]', r"\[plate\] and \[form\] are both given"),
    ("width = 260.0", "width = 130.0", r"the form does not lie within the blank: .* on the lower side"),
    ("line.svg", "other.svg", r"\[form\] artwork: other\.svg is not there"),
    ('artwork = "line.svg"', 'artwork = "line.svg"\ncolours = ["#123456"]', r"\[form\] colours: #123456 is not in"),
    ('[outline]', HOLE.format(13.0) + "[outline]",
     r"\[\[hole\]\] 1 at: the hole at 150 mm along, 13 mm across leaves the form: its edge lies 3\.40 mm outside"),
])
def test_refused(tmp_path, old, new, said):
    with pytest.raises(JobError, match=said):
        read(tmp_path, FORM.replace(old, new, 1))


HIGH = '<path fill="#885522" d="M-1,60Q150,0 301,60V241H-1Z"/>'
"""A line near the page's upper edge, which ends at both its ends."""


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("asked", "shape", "ways"), [
    ("width = 240.0\nwall = 120.0", ARC, ["write wall = 100.04"]),
    ("width = 120.0\nwall = 50.0", ARC, ["make width 169.99 mm or more", "write wall = 25"]),
    ("width = 240.0\nwall = 60.0", DISC, ["make width 244.78 mm or more", "write wall = 57.61"]),
    ("width = 240.0\nwall = 45.0", HIGH, ["move the drawing 17.4 mm towards the lower side with place",
                                          "write wall = 27.6"]),
])
def test_what_a_refused_wall_names_works(tmp_path, asked, shape, ways):
    """A larger form was named where the line ends at the page's edge, and may be no larger than its page."""
    text = FORM.replace("width = 240.0\nwall = 20.0", asked)
    with pytest.raises(JobError, match=r"\[form\] wall: ") as refused:
        read(tmp_path, text, shape)
    assert str(refused.value).split("under clamps): ")[1].split(", or ") == ways
    for words in ways:
        value = re.search(r"[\d.]+", words)[0]
        read(tmp_path, {"make": re.sub("width = .*\nwall", f"width = {value}\nwall", text),
                        "move": text.replace("[150.0, 0.0]", f"[150.0, -{value}]"),
                        "writ": re.sub("wall = .*", f"wall = {value}", text)}[words[:4]], shape)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize("wall", [58.29, 59.66, 61.03])
def test_what_a_refused_wall_names_in_inches_works(tmp_path, wall):
    """Four places of an inch were rounded to the nearest: one size in 24 left too little."""
    def inches(text):
        return re.sub(r"(?<=[\[ ])(\d+\.\d+)(?=[,\]\n])", lambda found: f"{float(found[1]) / 25.4:.9f}", text)

    text = 'units = "in"\n' + inches(FORM.replace("wall = 20.0", f"wall = {wall}"))
    with pytest.raises(JobError, match=r"\[form\] wall: ") as refused:
        read(tmp_path, text, DISC)
    wide, most = re.search(r"make width ([\d.]+) in or more, or write wall = ([\d.]+)$", str(refused.value)).groups()
    read(tmp_path, re.sub("width = .*\nwall", f"width = {wide}\nwall", text), DISC)
    read(tmp_path, re.sub("wall = .*", f"wall = {most}", text), DISC)


@pytest.mark.parametrize(("radius", "half"), [(1.0, "inside"), (0.3, "outside")])
def test_a_line_that_turns_tighter_than_the_cutter(tmp_path, radius, half):
    """A step in the line, its corners rounded: the inner one in the inside half, the outer one in the other."""
    inner, outer = (radius, 9.0) if half == "inside" else (9.0, radius)
    shape = (f'<path fill="#885522" d="M-10,250 V150 H{140 - inner} A{inner},{inner} 0 0 0 140,{150 - inner} '
             f'V{100 + outer} A{outer},{outer} 0 0 1 {140 + outer},100 H310 V250 Z"/>')
    with pytest.raises(JobError, match=rf"turns tighter than the 3.* cutter near 1\d\d.* of the {half} form standing"):
        read(tmp_path, FORM.replace("gap = 2.4", "gap = 1.0"), shape)


@pytest.mark.parametrize(("radius", "gap", "fits"), [
    (1.1, 0.4, True), (1.05, 0.4, False), (0.51, 1.0, True), (0.5, 0.4, False)])
def test_a_closed_line_turns_no_tighter_in_the_half_round_it(tmp_path, radius, gap, fits):
    """The corners of its opening have the line's radius and the gap; they were left as the cutter rounds them."""
    shape = f'<rect x="50" y="50" width="100" height="80" rx="{radius}" fill="#885522"/>'
    text = FORM.replace("gap = 2.4\nlength = 300.0\nwidth = 240.0", f"gap = {gap}")
    with nullcontext() if fits else pytest.raises(JobError, match=r"tighter than the 3.* of the outside form standing"):
        read(tmp_path, text, shape)


def test_a_corner_as_round_as_a_refusal_asks_for_is_none(tmp_path):
    """Its arcs come in chords within 0.005 mm: 1.5 to 2 mm, with a cutter of 3 mm, were refused."""
    shape = '<path fill="#885522" d="M-10,250V150H138.5A1.5,1.5 0 0 0 140,148.5V109A9,9 0 0 1 149,100H310V250Z"/>'
    read(tmp_path, FORM.replace("gap = 2.4", "gap = 1.0"), shape)


@pytest.mark.parametrize(("long", "said"), [(300.005, None), (300.5, r"the page's edge is cut as part of the line")])
def test_a_form_that_ends_past_its_page(tmp_path, long, said):
    """But for what a size in inches was rounded by, it ends there; else the page is named, not only the line."""
    text = FORM.replace("length = 300.0", f'length = {long}\nline = "outside"')
    with pytest.raises(JobError, match=said) if said else nullcontext():
        halves = [part_of(one) for one in parts_of(read(tmp_path, text))]
        assert [half.outline.bounds[2] for half in halves] == pytest.approx([300.0, 300.0], abs=1e-6)


def test_a_line_that_leaves_two_pieces(tmp_path):
    with pytest.raises(JobError, match=r"leaves 2 pieces outside the line, near 150 mm along, -71\.2 mm across; 150 "):
        read(tmp_path, shape='<rect x="-10" y="100" width="320" height="40"/>')


def test_halves_are_no_single_part(tmp_path):
    with pytest.raises(JobError, match=r'\[form\] cut: "halves" makes two parts'):
        clamping_of(read(tmp_path))


@pytest.mark.parametrize("key", ["colours", "artwork_layers"])
def test_an_empty_list_of_colours_or_layers_is_refused(tmp_path, key):
    with pytest.raises(JobError, match=rf"\[form\] {key}"):
        read(tmp_path, FORM.replace('cut = "halves"', f'cut = "halves"\n{key} = []'))


@pytest.mark.parametrize(("shape", "size", "place", "said"), [
    (ARC, "", "", ["what is filled reaches the page's edge along 460 mm, and the form goes further"]),
    (ARC, "length = 300.0\nwidth = 240.0\n", "", []),
    (ARC, "length = 320.0\nwidth = 260.0\n", "", ["what is filled reaches the page's edge along 380 mm"]),
    (ARC, "", "place = { at = [20.0, 10.0], rotate = 30.0, width = 150.0 }\n", ["the page's edge along 230 mm"]),
    (DISC, "", "", []), ('<rect width="300" height="240"/>', "", "", []),
])
def test_a_line_that_is_the_pages_edge_is_told_with_what_to_write(tmp_path, shape, size, place, said):
    """An arc of 250 mm whose ends lie 80 mm over the page's lower edge: 300 mm and twice as much of its edge."""
    text = FORM.replace("length = 300.0\nwidth = 240.0\n", size).replace("place = { at = [150.0, 0.0] }\n", place)
    job = read(tmp_path, text.replace('cut = "halves"\ngap = 2.4', 'cut = "outside"'), shape)
    told = [one for one in doubts_of(job, clamping_of(job)) if one.where == "[form] artwork"]
    assert len(told) == len(said)
    for one, words in zip(told, said, strict=True):
        assert words in one.problem
        size = "length and width so that it does" if place else "length 300 mm and width 240 mm, or less"
        assert f"write [form] {size}" in one.remedy


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("count", "layers", "told"), [(1, 3, 2), (1, 1, 0), (2, 3, 0), (0, 3, 0)])
def test_layers_on_one_dowel_are_told_of_each_half(tmp_path, count, layers, told):
    hole = '\n[[hole]]\ncutter = "flat 3"\nat = [{}, {}]\ndiameter = 8.0\n'
    holes = "".join(hole.format(x, y) for x in (60.0, 240.0)[:count] for y in (-100.0, 90.0))
    job = read(tmp_path, FORM.replace("[stock]", f"layers = {layers}\n[stock]", 1) + holes)
    found = [[one.problem for one in doubts_of(half, clamping_of(half)) if one.where == "[[hole]]"]
             for half in parts_of(job)]
    assert found == [[f"one hole through each of the 3 layers of the {half} form: they turn on its dowel"]
                     for half in ("inside", "outside")] if told else [[], []]


def test_a_mould_that_its_cutter_would_cut_in_two(tmp_path):
    rooms = '<path fill="#885522" d="M60,60H130V118H170V60H240V180H170V122H130V180H60Z"/>'
    text = FORM.replace('cut = "halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0', 'cut = "inside"')
    with pytest.raises(JobError, match=r'\[outline\] cutter: "flat 3", 5 mm, cuts the opening in 2 .*4\.00 mm or less'):
        read(tmp_path, text.replace("diameter = 3.0", "diameter = 5.0"), rooms)
    read(tmp_path, text, rooms)


@pytest.mark.parametrize(("layers", "hole", "said"), [
    (2, "", "No hole goes through them: line them up by their edges"), (1, "", ""),
    (2, HOLE.format(-60.0) + "depth = 4.0\n", "No hole goes through"),
    (2, HOLE.format(-60.0), "so that the holes come to lie over each other"),
])
def test_layers_without_dowels_are_lined_up_by_their_edges(tmp_path, layers, hole, said):
    text = FORM.replace('"halves"\ngap = 2.4', f'"outside"\nlayers = {layers}') + hole
    clamping = clamping_of(read(tmp_path, text))
    words = " ".join(form_lines(clamping.board.rows(clamping), "mm"))
    assert said in words
    assert ("each other" in words, "edges" in words) == ("each other" in said, "No hole" in said)


def test_a_form_is_told_of_its_own_tables(tmp_path):
    """It was told of [plate] artwork, and of the cutter of [plate] openings."""
    text = FORM.replace('"halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0', '"inside"')
    for cut, shape in (("outside", '<path fill="#885522" d="M60,60H200V180H120V120H60Z"/>'),
                       ("inside", '<rect fill="#885522" x="60" y="60" width="90" height="90"/>')):
        job = read(tmp_path, text.replace('"inside"', f'"{cut}"'), shape)
        told = [one.where for one in doubts_of(job, clamping_of(job)) if "point inward" in one.problem]
        assert told == ["[form] artwork"]
    with pytest.raises(JobError) as refused:
        read(tmp_path, text.replace('shape = "flat-end"', 'shape = "ball-end"'), DISC)
    assert [line.split(":")[0] for line in refused.value.lines] == ["[outline] cutter"]


def test_holes_and_openings_through_a_form_are_counted_apart(tmp_path):
    text = FORM.replace('cut = "halves"\ngap = 2.4\nlength = 300.0\nwidth = 240.0', 'cut = "inside"')
    text += '\n[[hole]]\ncutter = "flat 3"\nat = [80.0, -10.0]\ndiameter = 8.0\n'
    (job,) = parts_of(read(tmp_path, text, DISC))
    assert part_of(job).names.holds == "1 hole and 1 opening through it"
