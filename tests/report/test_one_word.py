"""One word for one thing: what is read at the bench, on a screen or in the README never says a second word for it."""

import ast
import json
import re
from pathlib import Path

import pytest

from pathgen.app.cli import main

ROOT = Path(__file__).parents[2]

INSTEAD_OF = {
    "drawing": r"\b(?:an|the|this|each|every|your) artworks?\b|\bartworks\b|\bartwork's\b|\bmotifs?\b",
    "ridge": r"\b(?:a|the|each|highest) scallops?\b(?! height)|\bscallops\b|\bcusps?\b",
    "second cut": r"\bre-?surfac(?:ed|es|ing)\b|\b(?:a|the|each|second|before|after) re-?surface\b|\bre-?cuts?\b"
                  r"|\b(?:is|are) cut again\b|\bcut(?:ting)? the (?:radius|surface|face) again\b|\blevelled\b",
    "blank": r"\bwork ?pieces?\b|\bof the stock\b(?<!underside of the stock)|\bthicker stock\b",
    "board": r"\bfret ?boards?\b|\bfinger boards\b",
    "cutter": r"\b(?:router|drill) bits?\b|\bend ?mills?\b|\btool (?:bit|change|diameter|path)s?\b|\b(?:a|the) tool\b",
    "resin": r"\bepox(?:y|ies)\b",
    "fill": r"\bfillers?\b",
    "pocket": r"\bcavit(?:y|ies)\b|\brecess(?:es)?\b",
    "lift": r"\bretract(?:s|ed|ion)?\b",
    "rapid": r"\btraverses?\b|\brapid moves?\b|\bG0 moves?\b",
    "clamp": r"\bfixtures?\b|\bhold-?downs?\b|\bworkholding\b",
    "program": r"\bg-?codes?\b|\bNC (?:file|program)s?\b|\bsteps? (?:\d|among)",
    "witness mark": r"\bfiducials?\b|\bregistration (?:mark|hole)s?\b",
    "feeler": r"\bshims?\b",
    "colour": r"\bcolors?\b",
    "centre-line": r"\bcenter ?-?lines?\b|\bcentre lines?\b|\bcentrelines?\b",
    "fret slot": r"\bkerfs?\b|\bsaw ?cuts?\b",
    "stepdown": r"\bstep-downs?\b|\bpass depths?\b|\bdepths? per pass\b|\bdepths? of cut\b",
    "stepover": r"\bstep-overs?\b|\bside ?steps?\b",
    "run-out": r"\brunouts?\b",
    "bed": r"\b(?:machine|work|router) tables?\b|\bworktables?\b",
    "underside": r"\bbottom face\b|\bback face\b",
}
"""The word that is used for a thing, and those that are not. The fixed keys of job and report keep their names
(`artwork`, `scallop`, `[resurface]`, `[stock]`); pieces are cut from stock, everything else from a blank."""

NO_WORDS = ("report/sheet/style.py", "app/page_server.py", "report/sheet/coupon.py")
"""Modules with style sheets, which say colour as CSS does."""


def other_words(text):
    """[(word used, what stands there)] of a text, without keys, code and names of files."""
    text = re.sub(r"\[+\w+\]+(?: \w+)?|`[^`]*`|\"[^\"]*\"|\b[\w-]+\.(?:nc|toml|svg|html|json|txt)\b", " # ", text)
    return [(chosen, text[max(found.start() - 30, 0) : found.end() + 30])
            for chosen, others in INSTEAD_OF.items() for found in re.finditer(others, text, re.IGNORECASE)]


def said_in(path):
    """The sentences of a module: its strings with more than one word, but for docstrings, which programmers read."""
    tree = ast.parse(path.read_text())
    docs = {id(node.value) for parent in ast.walk(tree) if isinstance(getattr(parent, "body", None), list)
            for node in parent.body if isinstance(node, ast.Expr)}
    return [node.value for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
            and " " in node.value.strip()]


def test_what_is_not_to_be_said_is_found():
    text = "Cut again: the resurface takes the artwork's scallops. Lift the workpiece off the tool, retract. Colors"
    text += "; step 6 of 13"
    assert [word for word, _ in other_words(text)] == [
        "drawing", "ridge", "second cut", "blank", "cutter", "lift", "program", "colour"]
    assert not other_words("make scallop smaller, [resurface] skim 0; `the artwork`; 05-resurface-1.nc; scallop height")


@pytest.mark.in_every_run(50)
@pytest.mark.parametrize("path", sorted((ROOT / "pathgen").rglob("*.py")), ids=lambda path: path.stem)
def test_errors_findings_and_pages_say_it_one_way(path):
    if not str(path).endswith(NO_WORDS):
        assert other_words("\n".join(said_in(path))) == []


@pytest.mark.parametrize("name", ["README.md", *(str(path.relative_to(ROOT)) for path in
                                                 sorted((ROOT / "examples").rglob("*.toml")))])
def test_readme_and_examples_say_it_one_way(name):
    text = (ROOT / name).read_text()
    if name.endswith(".toml"):
        text = "\n".join(re.findall(r"#(?![0-9a-f]{6}\b)(.*)$", text, re.MULTILINE))
    else:
        text = re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    assert other_words(text) == []


@pytest.mark.in_every_run(0)
def test_report_page_and_terminal_say_it_one_way(tmp_path, capsys):
    job = ROOT / "examples" / "boards" / "dots-and-fall-away.toml"
    assert main(["build", str(job), "--out", str(tmp_path / "out"), "--resolution", "0.4"]) == 0
    texts = [capsys.readouterr().out, (tmp_path / "out" / "report.txt").read_text()]
    texts.append(re.sub(r"<style>.*?</style>|<[^>]*>", " ", (tmp_path / "out" / "setup.html").read_text(), flags=re.S))
    texts += [program.read_text() for program in (tmp_path / "out").glob("*.nc")]
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    texts += [json.dumps(row["got"] + row["remedy"]).strip('"') for row in report["checks"]["findings"]]
    assert len(texts) > 6
    for text in texts:
        assert other_words(text) == []
