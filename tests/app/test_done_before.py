"""What a build says of programs that were run before the work moved, as earlier builds in its folder had them."""

import base64
import json
import re
import zlib
from types import SimpleNamespace

import pytest

import pathgen
from pathgen.app import earlier_done
from pathgen.app.cli import main
from pathgen.app.earlier import compared
from pathgen.app.folders import RECORD
from pathgen.app.two_builds import cuts
from tests.small_board import SLOTS, job

MOVED = "".join(f"[[measured]]\nat = [{x}, {y}, 8.0]\nfound = [{x}, {y + 0.2}, 8.0]\n"
                for x in (-15, 100) for y in (-30, 30))
ROUGH = {'finish = "ball"': 'finish = "ball"\nrough = "flat"'}
"""One program more, before all others."""


def build(folder, capsys, *, before=None, extra=SLOTS, changes=None, path=None):
    """Whether a job was built into a folder, and all that was said."""
    text = extra if before is None else f"{extra}{MOVED}[moved]\nbefore = {before}\n"
    made = path or job(folder, extra=text, changes=changes)
    status = main(["build", str(made), "--out", str(folder / "out"), "--resolution", "0.5", "--no-pictures"])
    said = capsys.readouterr()
    return status == 0, " ".join((said.out + said.err).split())


@pytest.mark.in_every_run(0)
def test_a_number_that_now_means_another_program_is_refused_until_it_is_decided(tmp_path, capsys):
    """A program that falls away gave the next, which was never run, its number: it counted as done."""
    assert build(tmp_path, capsys, before=4, changes=ROUGH)[0]
    held = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    for _ in range(2):
        good, said = build(tmp_path, capsys, before=4)
        assert not good
        assert ("04-second-cut-1-ball.nc, which was still to be run, is now 03-second-cut-1-ball.nc and would count as "
                "done: write before = 3 ") in said
        assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == held
    for _ in range(2):
        good, said = build(tmp_path, capsys, before=3)
        assert good
        assert said.count("01-surface-rough-flat.nc: it was done, and the job has it no more: what is in") == 1
        assert "count as done and" not in said
    good, said = build(tmp_path, capsys, before=3, changes=ROUGH)
    assert not good
    assert ("02-pocket-1-flat.nc, which was run, is now 03-pocket-1-flat.nc and would be run again: write before = 4 "
            in said)
    good, said = build(tmp_path, capsys, before=4, changes=ROUGH)  # as it was cut
    assert (good, "in the wood" in said) == (True, False)
    assert "program 1 is new; programs 1 to 4 of before are now 2 to 5." in said
    good, said = build(tmp_path, capsys, before=5, changes=ROUGH)
    assert good
    assert ("[moved] before: program 4 counts as run before the work moved, and an earlier build wrote it for the work "
            "as it lies now. If it was run since it moved, write before = 4 and build again") in said


@pytest.mark.in_every_run(1)
def test_what_was_run_since_the_work_moved_is_no_reason_for_another_number(tmp_path, capsys):
    """The sentence that asked for it had programs written for where the work lay before, and said that of them."""
    def before_last():
        return "counts as run before the work last moved" in (tmp_path / "out" / "03-second-cut-1-ball.nc").read_text()

    _, said = build(tmp_path, capsys, before=3)
    assert ("If one of them was not run to its end before the marks were measured, or more were, write the number of "
            "the first that was not as [moved] before, and build again. When programs have been run "
            "since, leave that number as it is: they are written for the work as it lies now.") in said
    written = {path.name: path.read_bytes() for path in (tmp_path / "out").glob("*.nc")}
    for _ in range(2):
        _, said = build(tmp_path, capsys, before=4)
        assert ("[moved] before: program 3 counts as run before the work moved, and an earlier build wrote it for the "
                "work as it lies now. If it was run since it moved, write before = 3 and build again") in said
        assert before_last()
    found = json.loads((tmp_path / "out" / "report.json").read_text())["checks"]["findings"]
    assert [(f["code"], f["severity"]) for f in found if f["where"] == "[moved] before"] == [("before-raised", "warn")]
    _, said = build(tmp_path, capsys, before=3)
    assert "[moved] before:" not in said
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").glob("*.nc")} == written
    build(tmp_path, capsys)  # run before it moved: so it is cut, as all is written for where it lay
    assert "[moved] before:" not in build(tmp_path, capsys, before=4)[1]


SECOND = """[[inlay]]
artwork = "art.svg"
depth = 1.2
cutters = ["flat"]
place = { at = [80.0, 0.0], width = 12.0 }
"""


@pytest.mark.in_every_run(0)
def test_what_leaves_the_wood_alike_is_no_reason_for_a_new_blank(tmp_path, capsys):
    """A second cut reached less far once another inlay came after it."""
    build(tmp_path, capsys, before=4)
    deeper = {"thickness = 6.5": "thickness = 6.4"}
    for changes, told in (({}, False), ({}, False), (deeper, True)):
        good, said = build(tmp_path, capsys, before=4, extra=SECOND + SLOTS, changes=changes)
        assert good
        assert ("as done and ha" in said) is told, changes
        kept = json.loads((tmp_path / "out" / RECORD).read_text())["/kept"]["done"]["programs"]
        assert kept["03-second-cut-1-ball.nc"] is not None  # its text as it was run


def test_a_program_that_only_hovers_leaves_nothing_and_is_known_by_its_name():
    """By its M30 it was taken to cut."""
    first, second = "G21\nG0 X1\nM30\n", "G21\nG0 X2\nM30\n"
    assert compared({"04-hover-1-drill.nc": second}, {"04-hover-1-drill.nc": first, "07-hover-2-drill.nc": second}) == [
        "Program 4 differs from the build before, but only in feeds, lifts or how moves are divided; program 7 is new."]
    assert not cuts(["M30"])
    assert cuts(["M3S1000", "M30"])


@pytest.mark.in_every_run(0)
def test_a_program_that_counts_as_done_and_never_was_is_told_of(tmp_path, capsys):
    build(tmp_path, capsys, before=3)
    for _ in range(2):
        _, said = build(tmp_path, capsys, before=4, changes=ROUGH)
        assert "program 1: it counts as done, and no build before had it: what is in the wood is not what" in said
        assert "done and has changed" not in said
    _, said = build(tmp_path, capsys, before=3)
    assert "in the wood" not in said


@pytest.mark.in_every_run(1)
def test_a_number_from_before_the_programs_were_others_is_told_of(tmp_path, capsys):
    """Read off the page of the build before, while the job has lost a program with the same edit."""
    build(tmp_path, capsys, changes=ROUGH)
    for _ in range(2):
        good, said = build(tmp_path, capsys, before=4)
        assert good
        assert ("[moved] before: programs have other numbers than in the build before the work moved: program 4 of "
                "that is now 3. See that 4 is the number that the first still to be run has now") in said
    codes = [f["code"] for f in json.loads((tmp_path / "out" / "report.json").read_text())["checks"]["findings"]]
    assert "before-renumbered" in codes
    assert "other numbers" not in build(tmp_path, capsys, before=3)[1]


@pytest.mark.in_every_run(0)
def test_what_was_cut_is_told_until_it_is_put_back_or_all_is_cut_anew(tmp_path, capsys):
    """Said once it was forgotten, and obeyed it was said again; another title silenced it."""
    deeper, as_cut = {"depth = 1.5": "depth = 1.4"}, {}
    titled = {**deeper, 'units = "mm"': 'title = "Möwe"\nunits = "mm"'}
    build(tmp_path, capsys)
    was = as_cut
    for changes, before, told in ((as_cut, 3, False), (titled, 3, True), (deeper, 3, True), (as_cut, 3, False),
                                  (deeper, None, False), (deeper, 3, False), (as_cut, 3, True), (deeper, 2, False),
                                  (as_cut, 3, True)):
        _, said = build(tmp_path, capsys, before=before, changes=changes)
        assert ("it counts as done and has changed" in said) is told, (changes, before)
        assert ('the build before (of "Möwe")' in said) is (was is titled)  # in the heads of programs it is Mowe
        was = changes


@pytest.mark.in_every_run(0)
def test_check_tells_of_what_is_done_too(tmp_path, capsys):
    for deep, told in (("1.5", False), ("1.4", True)):
        build(tmp_path, capsys, before=3, changes={"depth = 1.5": f"depth = {deep}"})
        assert main(["check", str(tmp_path / "job.toml"), str(tmp_path / "out"), "--resolution", "0.5"]) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert ("warning: program 2: it counts as done and has changed" in said) is told


@pytest.mark.in_every_run(0)
def test_a_record_that_was_spoilt_says_nothing_of_what_was_run(tmp_path, capsys):
    build(tmp_path, capsys, before=3)
    build(tmp_path, capsys, before=3, changes={"depth = 1.5": "depth = 1.4"})
    whole = {"before": 3, "gone": {}, "numbers": {}}
    program = b"G21 G90 G94 G17 G54\nG0 Z9\nM3 S9000\nG0 X1 Y1\nG1 Z1 F100\nX2\nG0 Z9\nM5\nM30\n"
    packed = base64.b64encode(zlib.compress(program)).decode()
    flat = {key: [0.0] for key in ("rotation", "shift", "centre")}
    for spoilt in ({"before": 3}, [], *(whole | {"programs": {"02-pocket-1-flat.nc": {"text": text, "moved": moved}}}
                                        for text, moved in (("x", 1), (packed, flat), (7, None)))):
        record = json.loads((tmp_path / "out" / RECORD).read_text())
        (tmp_path / "out" / RECORD).write_text(json.dumps(record | {"/kept": record["/kept"] | {"done": spoilt}}))
        good, said = build(tmp_path, capsys, before=3)
        assert good, said


PLATE = """plate = { length = 30, width = 20, thickness = 3, face = false }
stock = { length = 50, width = 40, thickness = 3, margin_nut = 10 }
outline = { cutter = "flat 3" }
[[cutter]]
name = "flat 3"
shape = "flat-end"
diameter = 3
flute_length = 12
speed = 12000
feed = 1200
plunge = 300
stepdown = 1
"""


def test_parts_of_a_blank_that_change_their_turns_are_refused(tmp_path, capsys):
    """One part's cut that was never made had the number of the other's, and counted as done."""
    for name in ("one", "two"):
        (tmp_path / f"{name}.toml").write_text(PLATE)
    parts = [f'[[part]]\njob = "{name}.toml"\nat = [{x}, 0]\n' for name, x in (("one", 28), ("two", 82))]
    both, blank = tmp_path / "both.toml", "stock = { length = 110, width = 50, thickness = 3, margin_nut = 0 }\n"
    moved = "[moved]\nbefore = {}\n" + "".join(
        f"[[measured]]\nat = [{x}, {y}, 3.0]\nfound = [{x}, {y + 0.2}, 3.0]\n" for x in (2, 108) for y in (2, 48))

    def built(order, before):
        both.write_text(blank + "".join(order) + moved.format(before))
        return build(tmp_path, capsys, path=both)

    assert built(parts, 2)[0]
    good, said = built(parts[::-1], 2)
    assert not good
    assert "02-two-outline-flat-3.nc, which was still to be run, is now 01-two-outline-flat-3.nc and would" in said
    assert "01-one-outline-flat-3.nc, which was run, is now 02-one-outline-flat-3.nc and would be run again:" in said
    assert "back as it was; or write before = 1, and do not run program 2" in said
    good, said = built(parts[::-1], 1)
    assert (good, "replaced" in said) == (True, False)
    assert "programs 2 and 1 of before are now 1 and 2." in said


def test_a_head_that_has_the_maker_do_otherwise_is_told_of():
    head = ("(job: a)\n(operation: {})\n(cutter flat: flat-end, 3 mm)\n(zero: X 0 is the nut face,)\n(.. Z 0 {})\n"
            "(about 9 s)\n")
    rest = "(afterwards: Go on with program {}.)\nG21\nG0 X1\n"

    def texts(zero="the bed", then=2, slow="9"):
        one = head.format("slots", zero).replace("9 s", f"{slow} s") + rest.format(then)
        return {"01-slots-flat.nc": one, "02-outline-flat.nc": head.format("outline", "the bed") + "G0 X2\n"}

    same = "Programs 1 and 2 are the same as in the build before."
    assert compared(texts(), texts()) == compared(texts(), texts(then=3, slow="8")) == [same]
    told = f"{same} Read the head of program 1 again: the zero has changed."
    assert compared(texts(), texts(zero="the top")) == [told]
    kept = {"programs": {"01-slots-flat.nc": None}, "as_cut": []}
    assert compared(texts(), texts(zero="the top"), done=kept) == [same]


def test_of_programs_that_are_done_it_is_told_whether_they_are_as_they_were_cut():
    """They were left out of what differs and of what is the same, as if they were lost."""
    before, now = ({f"0{n}-{word}-flat.nc": f"G0 X{x + n}\n"
                    for n, word in enumerate(("pocket", "slots", "outline"), 1)} for x in (0, 1))
    now["03-outline-flat.nc"] = before["03-outline-flat.nc"]
    kept = {"programs": {"01-pocket-flat.nc": None, "02-slots-flat.nc": {"text": ""}}, "as_cut": ["01-pocket-flat.nc"]}
    told = ["Program 3 is the same as in the build before; program 1, done, is as it was cut; program 2, done, is "
            "written otherwise than before."]
    assert compared(before, now, done=kept) == told
    (told,), none = compared({}, now, done=kept), compared({}, now)
    assert (told[:26], none) == ("No build was there before:", [])


PIECE = {"overfill = 0.7": 'fill = "piece"\npiece = { cutter = "flat", thickness = 2.0 }'}


@pytest.mark.in_every_run(0)
def test_pieces_are_not_to_be_cut_again_for_pockets_that_are_cut_already(tmp_path, capsys):
    other = {**PIECE, "diameter = 2.0": "diameter = 1.8"}
    for before, changes, again in ((None, PIECE, False), (None, other, True), (None, PIECE, True), (3, other, False),
                                   (3, PIECE, False)):
        good, said = build(tmp_path, capsys, before=before, changes=changes)
        assert (good, "pieces cut already may not go in" in said) == (True, again), (before, changes)
    for before, told in ((3, True), (2, False)):
        made = job(tmp_path, changes=PIECE, extra=f"{SLOTS}{MOVED}[moved]\nbefore = {before}\n")
        assert main(["pieces", str(made), "--out", str(tmp_path / "pieces"), "--resolution", "0.5"]) == 0
        assert ("inlay 1: the pockets count as cut already" in capsys.readouterr().err) is told


def test_a_first_build_for_work_that_moved_says_what_it_cannot_know(tmp_path, capsys):
    said = build(tmp_path, capsys, before=3)[1]
    assert "No build was there before: only the folder that was cut from knows" in said
    assert "No build was there" not in build(tmp_path, capsys, before=3)[1]


@pytest.mark.in_every_run(0)
def test_ends_of_lines_are_no_change_and_all_that_is_in_the_way_is_named_at_once(tmp_path, capsys):
    build(tmp_path, capsys)
    out = tmp_path / "out"
    for path in out.iterdir():
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    good, said = build(tmp_path, capsys)
    assert good
    assert "Programs 1 to 4 are the same as in the build before." in said
    for name in ("01-surface-finish-ball.nc", "report.txt"):
        (out / name).write_text("x")
    (out / "mine.nc").write_text("x")
    good, said = build(tmp_path, capsys)
    assert not good
    assert ("holds mine.nc, which no build wrote there; 01-surface-finish-ball.nc and report.txt were changed since "
            "they were written: move those files away, if you want to keep them, else delete them; or name another "
            "folder, which does not know where marks were and what was run") in said


def test_a_copy_without_the_hidden_record_is_known_for_what_it_is(tmp_path, capsys):
    made = pathgen.build(pathgen.load_job(job(tmp_path)), resolution=0.5, pictures=False)
    made.write(tmp_path / "out")
    (tmp_path / "out" / RECORD).write_text('{"01-surface')
    assert ("and .pathgen.json cannot be read: by that a build knows what it wrote: if you have that hidden file "
            "elsewhere, copy it again; or name") in build(tmp_path, capsys, extra="")[1]
    (tmp_path / "out" / RECORD).unlink()
    good, said = build(tmp_path, capsys, extra="")
    assert not good
    assert re.search(r"holds 01-\S+\.nc, 02-\S+\.nc, 03-\S+\.nc, report\.json and 2 more, but no \.pathgen\.json: by "
                     "that a build knows what it wrote: if this is a copy of what a build wrote, copy that hidden file "
                     "too; or name another folder, which does not know where marks were", said)


@pytest.mark.parametrize(("fill", "alike"), [("resin", True), ("piece", False)])
def test_pockets_that_pieces_fit_are_never_passed_by_what_is_left_of_the_wood(monkeypatch, fill, alike):
    monkeypatch.setattr(earlier_done, "left_alike", lambda clamping, ran: True)
    opens = SimpleNamespace(fill=fill)
    run = SimpleNamespace(step=SimpleNamespace(operation=SimpleNamespace(opens=opens)), clamping=None)
    assert earlier_done._left_alike(["02-pocket.nc"], {}, {"02-pocket.nc": run}) == alike
