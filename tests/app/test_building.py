"""What a build says of faults in programs that it has just planned itself."""

import json
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import pathgen
from pathgen.app import building
from pathgen.app.cli import main
from pathgen.app.two_builds import cut_alike
from pathgen.base.errors import PathgenError
from pathgen.base.toolpath import Toolpath
from pathgen.verify.findings import AGAIN, Finding
from pathgen.work.operations import Operation, Outline, Pocket, Slot
from tests.small_board import SLOT_CUTTER, SLOTS, job

EXAMPLES = Path(__file__).parents[2] / "examples" / "boards"
STEPS = '\n[slots]\ncutter = "slot"\nwidth = 0.6\ndepth = 1.4\nends = "through"\n[outline]\ncutter = "flat"\n'


@pytest.mark.parametrize(("where", "instead"), [
    ("inlay 2, 40.0 mm along, 3.0 mm across", Pocket.instead), ("inlay 12", Operation.instead), ("inlay 1", None),
])
def test_what_may_work_meanwhile_is_told_of_the_inlay_that_is_meant(where, instead):
    """Dots are "inlay 2 (dots)" in other words than the verifier's, and 12 began with what 1 is called."""
    def pocket(index, name, instead):
        return SimpleNamespace(file_name=f"0{index}.nc", operation=SimpleNamespace(
            opens=SimpleNamespace(index=index, name=name), instead=instead))

    steps = [pocket(0, "inlay 1", "another drawing"), pocket(1, "inlay 2 (dots)", Pocket.instead)]
    told = building._of_fresh(Finding(code="pocket-uncut", where=where, got="", allowed="", remedy=AGAIN), steps)
    assert told.remedy.endswith(f"What may work meanwhile: {instead or 'another drawing'}")


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("kind", [Slot, Outline])
def test_nobody_is_told_to_make_fresh_programs_again(tmp_path, monkeypatch, kind):
    """A path spoilt on its way to the text: the remedy names what of the job may be tried."""
    small = pathgen.load_job(job(tmp_path, extra=SLOT_CUTTER + STEPS))
    planned, _ = building.plans_of(small)
    place = next(i for i, step in enumerate(planned.clamping.steps) if type(step.operation) is kind)
    path = planned.paths[place]
    aside = Toolpath(path.points + [0.3, 0.3, 0.0], path.kinds)
    spoilt = replace(planned, paths=(*planned.paths[:place], aside, *planned.paths[place + 1 :]))
    monkeypatch.setattr(building, "plans_of", lambda job, clamping=None: (spoilt, None))
    built = building.build(small, resolution=0.3)
    assert any(kind.instead in f.remedy for f in built.verification.findings if f.severity == "forbid")
    assert not any(AGAIN in f.remedy for f in built.verification.findings)
    with pytest.raises(PathgenError, match="nothing was written"):
        built.refuse_faults()


def rebuilt(folder, capsys, **changed):
    """What a build into a folder says last, and all that it says."""
    assert main(["build", str(job(folder, **changed)), "--out", str(folder / "out"), "--resolution", "0.5",
                 "--no-pictures"]) == 0
    said = capsys.readouterr()
    return said.out.splitlines()[-1], said.out + said.err


def test_a_rebuild_says_which_programs_differ(tmp_path, capsys):
    outline = '[outline]\ncutter = "flat"\n'
    more = {"extra": SLOTS + outline}
    assert "files written to" in rebuilt(tmp_path, capsys, **more)[0]  # the first: nothing to compare with
    assert rebuilt(tmp_path, capsys, **more)[0] == "Programs 1 to 5 are the same as in the build before."
    other = {"extra": SLOTS.replace("depth = 1.8", "depth = 1.9") + outline}
    line, err = rebuilt(tmp_path, capsys, **other)
    assert line == "Program 4 differs from the build before; programs 1 to 3 and 5 are the same."
    assert "pieces" not in err
    # without the outline one program is gone, and the pocket is cut at another feed
    line, _ = rebuilt(tmp_path, capsys, extra=SLOTS.replace("depth = 1.8", "depth = 1.9"),
                      changes={"feed = 1200.0": "feed = 1100.0"})
    assert line == ("Program 2 differs from the build before, but only in feeds, lifts or how moves are divided; "
                    "programs 1, 3 and 4 are the same; 1 of before is gone. Read the head of program 1 again: "
                    "what to do before pressing start has changed.")  # no cutter comes into the bed now
    line, _ = rebuilt(tmp_path, capsys, changes={"feed = 1200.0": "feed = 1100.0"}, **other)
    assert line.startswith("Programs 1 to 4 are the same as in the build before; program 5 is new. Read the head of ")
    line, _ = rebuilt(tmp_path, capsys, changes={'units = "mm"': 'title = "other"\nunits = "mm"'}, **other)
    assert line.startswith('Programs 2 and 5 differ from the build before (of "job"), but only in feeds')
    line, _ = rebuilt(tmp_path, capsys, changes={'finish = "ball"': 'finish = "ball"\nrough = "flat"'}, **other)
    assert line.startswith('Program 6 differs from the build before (of "other"); programs 2 to 5 are the '
                           "same; program 1 is new; programs 1 to 5 of before are now 2 to 6. Read the heads of ")


def test_programs_of_another_job_or_kind_are_not_replaced(tmp_path, capsys, monkeypatch):
    """Those of the same job are, by its title, or by its file where both were moved and it has another title."""
    here = tmp_path / "here"
    here.mkdir()
    mine, other, out = here / "mine.toml", here / "other.toml", here / "out"
    mine.write_text(job(here, extra='[gauges]\ncutter = "flat"\n').read_text())
    other.write_text(mine.read_text())

    def run(command, job, out):
        return main([command, str(job), "--out", str(out), "--resolution", "0.5"])

    assert run("build", mine, out) == 0
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    for command, job_file, what in (("build", other, "other"), ("gauges", mine, "mine, gauges")):
        capsys.readouterr()
        with monkeypatch.context() as here_only:
            for where in ("building", "bench_commands"):
                here_only.setattr(f"pathgen.app.{where}.build", None)  # it is told before anything is built
            assert run(command, job_file, out) == 2
        assert (f"{out}: holds 3 programs of mine (allowed: an empty folder, or an earlier build of {what}): name "
                "another folder with --out, or empty this one") in capsys.readouterr().err
        assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    mine.write_text('title = "another"\n' + mine.read_text())
    here.rename(tmp_path / "there")
    assert run("build", tmp_path / "there" / "mine.toml", tmp_path / "there" / "out") == 0


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize(("old", "new", "told"), [
    ("feed = 600.0", "feed = 550.0", False), ("diameter = 1.0", "diameter = 0.9", True),
    # work that moved takes its pockets with it
    ("tabs = 4", "tabs = 4\n" + "".join(f"[[measured]]\nat = [{x}, {y}, 7.5]\nfound = [{x}, {y + 0.2}, 7.5]\n"
                                       for x in (-15, 430) for y in (-30, 30)) + "[moved]\nbefore = 2\n", False),
])
def test_pieces_cut_for_other_pockets_are_warned_of(tmp_path, capsys, old, new, told):
    text = (EXAMPLES / "let-in-leaf.toml").read_text()
    (tmp_path / "let-in-leaf.svg").write_bytes((EXAMPLES / "let-in-leaf.svg").read_bytes())
    for words in (text, text.replace(old, new)):
        (tmp_path / "leaf.toml").write_text(words)
        assert main(["build", str(tmp_path / "leaf.toml"), "--out", str(tmp_path / "out"), "--resolution", "0.5",
                     "--no-pictures"]) == 0
        said = capsys.readouterr()
    assert "differ from the build before" in said.out or "differs from the build before" in said.out
    warning = "warning: inlay 1: its pockets are cut otherwise than in the build before: pieces cut already may not"
    assert (warning in said.err) is told


@pytest.mark.in_every_run(0)
def test_a_program_that_was_run_and_would_now_be_another_is_warned_of(tmp_path, capsys):
    moved = "".join(f"[[measured]]\nat = [{x}, {y}, 8.0]\nfound = [{x}, {y + 0.2}, 8.0]\n"
                    for x in (-15, 100) for y in (-30, 30)) + "[moved]\nbefore = {}\n"
    rebuilt(tmp_path, capsys, extra=SLOTS)
    deeper = {"depth = 1.5": "depth = 1.4"}
    for extra, changes, told in ((SLOTS + moved.format(3), {}, False), (SLOTS + moved.format(3), deeper, True),
                                 (SLOTS + moved.format(2), {}, False),
                                 (SLOTS + moved.format(3), {"feed = 1200.0": "feed = 1100.0"}, False)):
        _, err = rebuilt(tmp_path, capsys, extra=extra, changes=changes)
        told_of = "program 2: it counts as done and has changed: what is in the wood is not what"
        for said in (err, (tmp_path / "out" / "report.txt").read_text(),
                     re.sub(r"<[^>]+>", "", (tmp_path / "out" / "setup.html").read_text())):
            assert (told_of in " ".join(said.split())) is told
        codes = [f["code"] for f in json.loads((tmp_path / "out" / "report.json").read_text())["checks"]["findings"]]
        assert ("done-otherwise" in codes) is told


@pytest.mark.in_every_run(0)
def test_a_look_over_the_marks_that_now_lies_elsewhere_has_changed_nothing_in_the_wood(tmp_path, capsys):
    """Built when the look showed that the work had moved, and once more, that look being done, for what follows it."""
    marks = [[-15.0, -30.0, 8.0], [-15.0, 30.0, 8.0], [100.0, -30.0, 8.0], [100.0, 30.0, 8.0]]
    moved = f'{SLOTS}[marks]\ncutter = "flat"\ndrilled = {marks}\n' + "".join(
        f"[[measured]]\nfound = [{x - 0.002 * y:.3f}, {y + 0.002 * x:.3f}, {z}]\n" for x, y, z in marks)  # turned
    # nor have the marks, written down as drilled together with where they were found, a little off their plan
    planned = [[x + 0.04 * (x < 0), y] for x, y, _ in marks]
    rebuilt(tmp_path, capsys, extra=f'{SLOTS}[marks]\ncutter = "flat"\nat = {planned}\n')
    line, err = rebuilt(tmp_path, capsys, extra=moved)
    assert line.startswith("Programs 4 to 6 differ")  # of 1, that is done, another line would tell
    assert "as done and ha" not in err
    line, err = rebuilt(tmp_path, capsys, extra=moved + "[moved]\nbefore = 5\n")
    assert "differ" not in line
    assert "as done and ha" not in err


@pytest.mark.in_every_run(0)
def test_work_that_moves_a_second_time_has_nothing_changed_that_was_cut_between(tmp_path, capsys):
    """A program cut on work that had moved is written as of before, once it is done: the maker was told to begin a new
    blank. Nor has a lift over a higher fill changed what is in the wood."""
    marks = [[x, y, 8.0] for x in (-15.0, 100.0) for y in (-30.0, 30.0)]

    def moved(before, turn, aside):
        return SLOTS + "".join(
            f"[[measured]]\nat = {[x, y, z]}\nfound = [{x - turn * y:.3f}, {y + turn * x + aside:.3f}, "
            f"{z + 0.0004 * x:.3f}]\n" for x, y, z in marks) + f"[moved]\nbefore = {before}\n"

    rebuilt(tmp_path, capsys, extra=SLOTS)
    higher = {"overfill = 0.7": "overfill = 1.6"}
    for extra, changes, told in (
        (moved(3, 0.002, 0.2), {}, False), (moved(3, 0.002, 0.2), higher, False), (moved(3, 0.002, 0.2), {}, False),
        (moved(4, 0.002, 0.2), {}, False), (moved(3, 0.002, 0.2), {}, False), (moved(4, 0.003, -0.3), {}, False),
        (moved(3, 0.002, 0.2), {}, False), (moved(4, 0.003, -0.3), {"scallop = 0.05": "scallop = 0.049"}, True),
    ):
        _, err = rebuilt(tmp_path, capsys, extra=extra, changes=changes)
        assert ("as done and ha" in err) is told


@pytest.mark.in_every_run(0)
def test_programs_that_only_lift_otherwise_are_told_apart(tmp_path, capsys):
    rebuilt(tmp_path, capsys)
    line, _ = rebuilt(tmp_path, capsys, changes={"overfill = 0.7": "overfill = 1.9"})
    assert line == ("Programs 1 to 3 differ from the build before, programs 1 and 2 only in feeds, lifts or how moves "
                    "are divided. Read the heads of programs 1 and 2 again: what to do before pressing start and "
                    "what to do afterwards have changed.")


@pytest.mark.parametrize(("new", "same"), [
    ("G0 X11 Y2\nG1 Z-0.5 F90\nX13", True), ("G0 X11 Y2\nG1 Z-0.5\nX13.1", False), ("G0 X11 Y2\nG1 Z-0.5", False),
    ("G1 X11 Y2\nG1 Z-0.5\nX13", False), ("G0 X11 Y2\nG1 Z-0.6 F80\nX13", True),
    ("G0 X11 Y2\nZ4\nG1 Z-0.5\nX12 F50\nX13", True), ("G0 X11 Y2\nG1 Z-0.5\nX12 Z-0.52\nX13 Z-0.5", False),
])
def test_a_program_that_is_shifted_cuts_the_same(new, same):
    """Lifted otherwise, and its moves divided, too."""
    begun = "G21 G90 G17 G94\nG0 Z9\nM3 S9000\n"
    ended = "\nG0 Z9\nM5\nM30\n"
    old = f"(head)\n{begun}G0 X1 Y2\nG1 Z-0.5 F80\nX3{ended}"
    assert cut_alike(old, f"{begun}F70\n{new}{ended}", shifted=True) is same
    assert not cut_alike(old, f"{begun}F70\n{new}{ended}")


@pytest.mark.in_every_run(0)
def test_what_is_not_cut_for_want_of_its_table_is_said(tmp_path):
    slots, outline = "the fret slots (no [slots])", "the outline (no [outline])"
    for extra, missing in (("", f"{slots} and {outline}"), (SLOTS, outline), (SLOT_CUTTER + STEPS, None)):
        built = building.build(pathgen.load_job(job(tmp_path, extra=extra)), resolution=0.5, pictures=False)
        line = f"Not cut by these programs: {missing}."
        files = built.files(shaded=False)
        assert all((line in files[name]) == bool(missing) for name in ("report.txt", "setup.html")), extra
        assert ("Not cut" in files["report.txt"]) == bool(missing)


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("new", "told"), [
    ("02-pocket-1-flat.tap", "If 02-pocket-1-flat.tap is it, give that the name 02-pocket-1-flat.nc; else make"),
    ("copy of the pocket.nc", "If copy of the pocket.nc is it, give that the name 02-pocket-1-flat.nc; else make"),
    ("02-pocket-1-flat.png", '"flat"). Make the programs again'),  # its picture
    ("notes.md", '"flat"). Make the programs again'),
])
def test_a_program_under_another_name_is_found(tmp_path, capsys, new, told):
    made = pathgen.build(pathgen.load_job(job(tmp_path)), resolution=0.4, pictures=False)
    out = tmp_path / "out"
    made.write(out)
    pocket = "02-pocket-1-flat.nc"
    (out / pocket).rename(out / new)
    assert main(["check", str(made.job.path), str(out), "--resolution", "0.4"]) == 1
    said = capsys.readouterr().out
    assert f"{pocket}: no such program" in said
    assert told in said


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    made = pathgen.build(pathgen.load_job(job(tmp_path_factory.mktemp("made"))), resolution=0.4, pictures=False)
    return made.job, made.write(made.job.path.parent / "out")


def found_in_copy(written, folder, *, name="02-pocket-1-flat.nc", change=None, more=()):
    """What is found in a copy of a build with one program changed, and `more` files of (name, text) beside."""
    read, paths = written
    for path in paths:
        (folder / path.name).write_text(path.read_text())
    if change is not None:
        before = (folder / name).read_text()
        (folder / name).write_text(change(before))
        assert (folder / name).read_text() != before
    for other, text in more:
        (folder / other).write_text((folder / name).read_text() if text is None else text)
    return pathgen.check(read, folder, resolution=0.4).findings


@pytest.mark.in_every_run(2)
@pytest.mark.parametrize(("old", "new", "says"), [
    ("(afterwards: Stop here", "(afterwards: Go on here", "its head says: afterwards: Go on here"),
    ("\n(afterwards: Stop here[^\n]*", "", "its head leaves out a line"),
    ("(cutter flat: ", "(cutter fine: ", "its head says: cutter fine: flat-end"),
    ("\n(cutter flat: [^\n]*", "", "its head leaves out a line"),
    ("(zero: X 0 Y 0 is the nut", "(zero: X 0 Y 0 is the far", "its head says: zero: X 0 Y 0 is the far"),
    ("Z 8.1", "Z 9.1", "Z 9.1"),
    ("(- Do not move the work", "(- Move the work", "its head says: Move the work"),
    ("(- Wear eye", "(- Bear eye", ""), ("\n(about [^\n]*", "", ""),
    ("(operation:", "(.. a note)\n(operation:", ""), ("(job: ", "(job: Another ", ""),
    ("(before pressing", "(mine: bought in May)\n(before pressing", ""),
])
def test_a_head_must_have_the_maker_set_what_the_job_has(written, tmp_path, old, new, says):
    def change(text):
        return re.sub(re.escape(old) if old[0] == "(" or old[0] == "Z" else old.replace("(", "\\("), new, text, count=1)

    found = {f.code: f for f in found_in_copy(written, tmp_path, change=change)}
    assert ("other-head" in found) == bool(says)
    # what is only for knowing is told, and what the maker added is his own; neither is a change of what is cut
    assert ("other-comment" in found) == (not says and not new.endswith(f"\n{old}"))
    assert not {f.severity for f in found.values() if f.code == "other-comment"} - {"note"}
    assert "edited" not in found
    if says:
        assert says in found["other-head"].got
        assert "as the job gives it" in found["other-head"].allowed
        assert found["other-head"].where.startswith("02-pocket-1-flat.nc, line ")
    # a fingerprint that was taken out with it hides nothing
    folder = tmp_path / "without"
    folder.mkdir()
    for which in ("program", "job|program"):
        codes = {f.code for f in found_in_copy(
            written, folder, change=lambda text, which=which: re.sub(
                rf"\(({which}) fingerprint.*\n", "", change(text)))}
        assert ("other-head" in codes) == bool(says)
        assert ("no-job-fingerprint" in codes) == (which != "program")


def test_a_program_without_any_comment_is_warned_of_alone(written, tmp_path):
    """Some machines take none: its maker goes by the setup sheet."""
    found = found_in_copy(written, tmp_path, change=lambda text: re.sub(r"\(.*\n", "", text))
    assert {f.code: f.severity for f in found if f.where == "02-pocket-1-flat.nc"} == {"no-job-fingerprint": "warn"}
    assert "setup.html" in next(f.remedy for f in found if f.code == "no-job-fingerprint")


@pytest.mark.in_every_run(0)
def test_a_head_with_another_cutter_is_one_fault_with_its_line(written, tmp_path):
    """It was told twice, of the cutter and of the head."""
    found = found_in_copy(written, tmp_path, change=lambda text: re.sub(
        r"(\(cutter flat: flat-end), [\d.]+ mm", r"\1, 9 mm", text))
    (told,) = [f for f in found if f.severity == "forbid"]
    assert told.code == "other-cutter"
    assert told.where.startswith("02-pocket-1-flat.nc, line ")


@pytest.mark.in_every_run(4)
@pytest.mark.parametrize(("change", "codes"), [
    (lambda text: text.replace("\nM5\n", "\nM5 (mine)\n(and mine)\n"), []),
    (lambda text: text.replace("\nM5\n", "\n m5\n\n"), []),
    (lambda text: re.sub(r"\(program fingerprint: ..", "(program fingerprint: zz", text), ["other-comment"]),
    (lambda text: text.replace("(program fingerprint: ", "(program fingerprint: 0"), ["other-comment"]),
    (lambda text: re.sub(r"\(program fingerprint: .*\n", "", text), ["other-comment"]),
    (lambda text: text.replace("\nM5\n", "\n"), ["edited"]),
    (lambda text: re.sub(r"\(program fingerprint: .*\n", "", text.replace("\nM5\n", "\n")),
     ["edited", "other-comment"]),
])
def test_only_what_is_true_is_told_of_an_edit(written, tmp_path, change, codes):
    """A comment of the maker's own gave "read the other findings with care", and there were none; a fingerprint of his
    own was given as the one that is allowed; with none, nothing was said of changed lines. M30 stops the spindle."""
    found = found_in_copy(written, tmp_path, change=change)
    assert sorted(f.code for f in found) == codes
    assert {f.code for f in found if f.severity != "note"} <= {"edited"}
    made = next(path for path in written[1] if path.name == "02-pocket-1-flat.nc").read_text()
    own = re.search(r"program fingerprint: (\w+)", made)[1]
    assert all(own in f.allowed for f in found if f.code == "other-comment")


def test_programs_under_other_endings_are_not_passed_over(written, tmp_path):
    own = "02-pocket-1-flat"
    assert not found_in_copy(written, tmp_path, more=[(f"{own}.ngc", None), ("._a.nc", ""), ("notes.txt", "x")])
    others = [(f"{own}.ngc", "G0 Z5"), ("other.TAP", None), (f"{own}.NC", "G1 Z0")]
    found = found_in_copy(written, tmp_path, more=others)
    assert [(f.code, f.severity) for f in found] == [("program-unexpected", "forbid")] * 3
    assert {f.where for f in found} == {f"{own}.ngc", f"{own}.NC", "other.TAP"}


def test_a_folder_without_programs_is_told_in_one_line(tmp_path, capsys):
    made = pathgen.build(pathgen.load_job(job(tmp_path)), resolution=0.4, pictures=False)
    out = tmp_path / "out"
    made.write(out)
    for path in out.glob("*.nc"):
        path.rename(path.with_suffix(".tap"))
    check = ["check", str(made.job.path), str(out)]
    assert main(check) == 2
    assert "holds no program, but 01-surface-finish-ball.tap (allowed: programs, whose names end in .nc)" in (
        capsys.readouterr().err)
    for path in out.glob("*.tap"):
        path.unlink()
    assert main(check) == 2
    assert "holds no program (allowed: programs, whose names end in .nc): name the folder" in capsys.readouterr().err
    assert main([*check[:2], str(out / "report.txt")]) == 2
    assert "report.txt: is no folder, but a file: name the folder that it lies in" in capsys.readouterr().err
