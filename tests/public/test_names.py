"""What stands in `pathgen` itself: all of it documented, its examples run, its types hold for a strict user."""

import ast
import doctest
import importlib
import inspect
import math
import pydoc
import re
import subprocess
import sys
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

import pathgen
from pathgen.app.starting import start_job

ROOT = Path(__file__).parents[2]
HOMES = sorted({getattr(pathgen, name).__module__ for name in pathgen.__all__})


@pytest.mark.parametrize("name", pathgen.__all__)
def test_every_public_name_is_documented(name):
    assert re.search(rf"[`(]{name}[`(]", pathgen.__doc__), "the first that is read names it"
    value = getattr(pathgen, name)
    assert len((value.__doc__ or "").split()) > 3
    assert not value.__doc__.startswith(f"{name}(")  # what a dataclass writes by itself
    if inspect.isclass(value):
        own = {key: member for key, member in vars(value).items() if not key.startswith("_")}
        for key, member in own.items():
            member = member.fget if isinstance(member, property) else getattr(member, "__func__", member)
            assert not inspect.isfunction(member) or member.__doc__, f"{name}.{key}"


# of the language and of the libraries that a user works with; `clamping` of build says that it is not for him
KNOWN = {"None", "True", "False", "Path", "Polygon", "MultiPolygon", "Any", "Literal", "Sequence", "Iterable",
         "Callable", "ArrayLike", "Floats", "Text", "Bounds", "Clamping"}


@pytest.mark.parametrize("name", pathgen.__all__)
def test_types_that_docstrings_and_signatures_name_can_be_imported(name):
    thing = getattr(pathgen, name)
    doc = inspect.getdoc(thing)
    said = re.findall(r"^[\w, ]+ : (.+)$|^(?:Returns|Raises)\n-+\n(\w+)$|`([A-Z]\w+)`", doc, re.M)
    words = [word for row in said for part in row for word in re.findall(r"\b[A-Z]\w+", part)]
    if inspect.isfunction(thing):
        words += [word for one in thing.__annotations__.values() for word in re.findall(r"\b[A-Z]\w+", str(one))]
    assert {word for word in words if word not in KNOWN and not hasattr(pathgen, word)} == set()


@pytest.mark.parametrize("name", [name for name in pathgen.__all__
                                  if is_dataclass(getattr(pathgen, name)) and name != "Job"])  # `pathgen keys` tells
def test_every_attribute_of_a_public_value_is_told_of(name):
    """In the docstring of the class, which `help` shows first, or of one it is made from; or in one of its own."""
    thing = getattr(pathgen, name)
    told = " ".join(inspect.getdoc(one) or "" for one in thing.__mro__)
    own = "".join(inspect.getsource(one) for one in thing.__mro__[:-1])
    inner = {"plan", "pocket", "job", "scene", "background"}  # what it was made from
    lacks = [one.name for one in fields(thing) if not re.search(rf"\b{one.name}\b", told)
             and not re.search(rf'^    {one.name}: [^\n]*\n    """', own, re.M)]
    assert set(lacks) - inner == set()


@pytest.mark.parametrize("home", HOMES)
def test_examples_in_docstrings_run(home, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    start_job("board")  # what `pathgen new board` writes: examples that need a job or a drawing read these
    assert doctest.testmod(importlib.import_module(home)).failed == 0


@pytest.mark.parametrize("name", pathgen.__all__)
def test_each_public_name_has_an_example(name):
    doc = inspect.getdoc(getattr(pathgen, name))
    assert re.search(r">>> import (.*, )?pathgen\b", doc)  # it runs as it is pasted
    assert len(doctest.DocTestParser().get_examples(doc)) > 1


def test_no_other_public_name():
    """Homes, the list and what a type checker sees are the same names; every value may be imported by `*`."""
    assert sorted(pathgen.__all__) == sorted(pathgen._HOMES)
    assert {name for name in dir(pathgen) if not name.startswith("_")} == set(pathgen.__all__)
    seen = {alias.name for node in ast.walk(ast.parse(Path(pathgen.__file__).read_text()))
            if isinstance(node, ast.ImportFrom) and node.module != "importlib" for alias in node.names}
    assert seen - {"annotations", "TYPE_CHECKING", "Any"} == set(pathgen.__all__)


def test_python_blocks_of_the_readme_run(monkeypatch):
    """All of them in turn, as a reader pastes them, from the project's folder; without writing anything."""
    monkeypatch.chdir(ROOT)
    blocks = re.findall(r"^```python\n(.*?)^```", (ROOT / "README.md").read_text(), re.M | re.S)
    assert len(blocks) >= 4
    names = {}
    for block in blocks:
        exec(compile(block, "README.md", "exec"), names)
    assert pathgen.read_program(names["text"]).ended
    assert pathgen.read_program(names["again"]).ended
    assert 0.009 < names["ridge"] < 0.0102


def test_help_tells_the_whole_story():
    text = pydoc.plain(pydoc.render_doc(pathgen))
    for name in pathgen.__all__:
        assert name in text
    assert "x along the work" in text


def test_import_is_quick():
    """Under 30 ms of the processor, in a process of its own: the least of several, since others work beside it.

    It was 1 ms when nothing but the names was loaded; arrays and geometry come with the first name that needs them.
    """
    code = "import time; t = time.process_time(); import pathgen; print(time.process_time() - t)"
    spent = [float(subprocess.check_output([sys.executable, "-c", code], cwd=ROOT)) for _ in range(7)]
    assert min(spent) < 0.030


@pytest.mark.in_every_run(1)
def test_types_hold_for_a_strict_user(tmp_path):
    sample = Path(__file__).with_name("sample.py")
    used = sample.read_text()
    assert [name for name in pathgen.__all__ if f"pathgen.{name}" not in used] == []
    settings = tmp_path / "mypy.ini"  # the geometry library ships no types
    settings.write_text("[mypy]\nstrict = True\nfollow_imports = silent\n"
                        "[mypy-shapely.*]\nignore_missing_imports = True\n")
    found = subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", str(settings), str(sample)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )
    assert found.returncode == 0, found.stdout + found.stderr


# D: what each takes where nothing is given; mm, degrees, mm per minute, seconds
DEFAULTS = {
    "Cutter": {"stepover": 0.45, "flutes": 2, "flute_length": math.inf, "ramp": 5.0, "plunges": True},
    "Machine": {"clearance": 10.0, "rapid": 5000.0, "acceleration": 400.0, "arcs": False, "resolution": 0.005,
                "spin_up": 3.0, "repeatability": 0.05},
    "build": {"resolution": 0.1, "pictures": True}, "build_blank": {"resolution": 0.1, "pictures": True},
    "check": {"resolution": 0.1}, "check_program": {"zero": (0.0, 0.0, 0.0), "resolution": 0.1},
    "finish": {"allowance": 0.4, "clear": 10.0}, "fret_distances": {"divisions": 12},
    "outline": {"bottom": 0.0, "tabs": 4, "tab_height": 1.5, "tab_width": 6.0, "finish": 0.2, "clear": 10.0},
    "placed": {"rotate": 0.0, "mirror": False, "stretch": False}, "program": {"zero": (0, 0, 0)},
    "pocket": {"allowance": 0.1, "floor_ridge": 0.1, "smallest": 0.05, "clear": 10.0},
    "read_artwork": {"tolerance": 0.005, "background": (), "white_is_background": False,
                     "layers": ()},
    "ridges": {"zero": (0.0, 0.0, 0.0), "section_spacing": 5.0, "section_step": 0.005},
    "rough": {"allowance": 0.4, "clear": 10.0}, "scallop_height": {"surface_radius": math.inf},
    "second_cut": {"blend": 5.0, "clear": 10.0}, "simulate": {"resolution": 0.1, "zero": (0.0, 0.0, 0.0)},
    "slots": {"through": True, "clear": 10.0}, "stepover_for": {"surface_radius": math.inf},
}


def test_what_is_taken_where_nothing_is_given():
    values = ("Artwork", "HeightField", "Job", "Move")  # made by others
    for name in set(pathgen.__all__) - {*values}:
        thing = getattr(pathgen, name)
        taken = inspect.signature(thing).parameters.values() if inspect.isroutine(thing) or name in DEFAULTS else ()
        numbers = {one.name: one.default for one in taken if isinstance(one.default, int | float | tuple)}
        assert numbers == DEFAULTS.get(name, {}), name
